"""The tops of the layers, and whether they fit above what is buried."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from sitelevels import Brief, Finish, Ground, Layer, Plane, Spot, SurveyError, cut_and_fill
from sitelevels.works.build_up import layer_tops, layers_fit

steady = settings(deadline=None, max_examples=40, derandomize=True)
YARD = [(0, 0), (6, 0), (6, 4), (0, 4)]
LAYERS = [Layer("slab", 0.038, tolerance=0), Layer("bed", 0.050, tolerance=0), Layer("sub-base", 0.055, tolerance=0.005)]


def falling(level: float = 9.85) -> Finish:
    """Falls 1:50 along y."""
    return Finish.plane(Plane(level, 0.0, -0.02), YARD)


class TestTops:
    def test_by_hand(self) -> None:
        """At y = 4 the finished surface is 9.85 − 0.08."""
        tops = layer_tops(falling(), Brief(YARD, layers=LAYERS))
        assert [name for name, _ in tops] == ["slab", "bed", "sub-base", "formation"]
        assert [top.level_at(3, 4) for _, top in tops] == pytest.approx([9.770, 9.732, 9.682, 9.627], abs=1e-12)

    def test_without_layers_the_formation_is_the_surface(self) -> None:
        ((name, top),) = layer_tops(falling(), Brief(YARD))
        assert name == "formation"
        assert top.level_at(3, 4) == pytest.approx(9.77, abs=1e-12)

    def test_every_facet_goes_down_alike(self) -> None:
        yard = Finish.channel(((0, 2), (6, 2)), YARD, level=9.8, fall=0.01, left=0.02, right=0.03)
        formation = layer_tops(yard, Brief(YARD, layers=LAYERS))[-1][1]
        for x, y in ((0, 0), (6, 0), (3, 2), (2, 4)):
            assert formation.level_at(x, y) == pytest.approx(yard.level_at(x, y) - 0.143, abs=1e-12)

    @pytest.mark.parametrize("given", [
        (None, Brief(YARD)), (Plane(9, 0, 0), Brief(YARD)), (falling(), None), (falling(), LAYERS)])
    def test_refusals(self, given: Any) -> None:
        with pytest.raises(SurveyError):
            layer_tops(*given)


class TestFits:
    """The finished surface at (2, 2) is 9.85 − 0.04 = 9.81."""

    @pytest.mark.parametrize(("top", "rooms", "verdict", "said"), [
        # 9.81 less the level of what is buried, less 143 mm ± 5
        (9.660, (0.002, 0.007, 0.012), "fits", "the layers fit."),
        (9.662, (0.000, 0.005, 0.010), "fits", "the layers fit."),
        (9.663, (-0.001, 0.004, 0.009), "too close to call", "only if they come out no thicker than they should"),
        (9.671, (-0.009, -0.004, 0.001), "too close to call", "only if they come out"),
        (9.673, (-0.011, -0.006, -0.001), "does not fit", "do NOT fit"),
        (9.900, (-0.238, -0.233, -0.228), "does not fit", "do NOT fit")])
    def test_verdicts(self, top: float, rooms: tuple[float, ...], verdict: str, said: str) -> None:
        found = layers_fit(falling(), Brief(YARD, layers=LAYERS), [("F1", 2.0, 2.0, top)])
        assert found.rooms[0].values == pytest.approx(rooms, abs=1e-9)
        row = found.table.iloc[0]
        assert row["verdict"] == verdict
        assert (row["point"], row["depth"], row["needed"]) == ("F1", pytest.approx(9.81 - top), pytest.approx(0.143))
        assert said in found.sentence()

    def test_layers_that_should_come_out_too_thick_do_not_fit_if_no_thicker_than_they_should(self) -> None:
        """4 mm are missing with every layer as thick as it should be: only thinner ones would fit."""
        found = layers_fit(falling(), Brief(YARD, layers=LAYERS), [("F1", 2.0, 2.0, 9.671)])
        assert "no thicker than they should" not in found.sentence()

    def test_the_published_dig_of_150_mm(self) -> None:
        """Common practice, no source: 2 to 12 mm are left."""
        found = layers_fit(falling(), Brief(YARD, layers=LAYERS), [Spot("pipe", 0.0, 0.0, 9.70)])
        assert (found.rooms[0].low, found.rooms[0].high) == pytest.approx((0.002, 0.012), abs=1e-9)

    def test_the_tightest_is_told(self) -> None:
        found = layers_fit(falling(), Brief(YARD, layers=LAYERS), [("A", 0, 0, 9.5), ("B", 0, 4, 9.64), ("C", 6, 0, 9.6)])
        assert "Tightest at B" in found.sentence()
        assert found.table["verdict"].tolist() == ["fits", "does not fit", "fits"]
        assert found.table is not found.table

    def test_none_is_named(self) -> None:
        found = layers_fit(falling(), Brief(YARD, layers=LAYERS), [])
        assert "Nothing buried is named" in found.sentence()
        assert len(found.table) == 0
        assert found._repr_html_()

    def test_names_are_escaped(self) -> None:
        page = layers_fit(falling(), Brief(YARD, layers=LAYERS), [("<b>F</b>", 2, 2, 9.66)])._repr_html_()
        assert "<b>F" not in page

    def test_a_point_just_beyond_the_edge_counts_and_one_far_off_is_named(self) -> None:
        brief = Brief(YARD, layers=LAYERS)
        assert layers_fit(falling(), brief, [("F1", -0.2, 2.0, 9.6)]).depths[0] == pytest.approx(0.21, abs=1e-9)
        with pytest.raises(SurveyError, match=r"[Pp]oint F9"):
            layers_fit(falling(), brief, [("F1", 2, 2, 9.6), ("F9", 9, 9, 9.6)])

    @pytest.mark.parametrize("point", [
        "F1", ("F1", 1, 2), ("F1", 1, 2, 3, 4), 5, None, ("F1", math.nan, 2, 9.6), ("F1", 2, 2, math.nan), ("F1", 2, 2, math.inf),
        ("F1", "a", 2, 9.6), ("F1", 2, 2, None), ("F1", 2, 2, "9.6"), {}], ids=str)
    def test_points_that_are_none(self, point: Any) -> None:
        with pytest.raises(SurveyError):
            layers_fit(falling(), Brief(YARD, layers=LAYERS), [point])

    @pytest.mark.parametrize("points", [None, 5, 9.6])
    def test_lists_that_are_none(self, points: Any) -> None:
        with pytest.raises(SurveyError):
            layers_fit(falling(), Brief(YARD, layers=LAYERS), points)

    @steady
    @given(st.lists(st.tuples(st.floats(0.01, 0.2), st.floats(0, 0.01)), max_size=5), st.floats(0.05, 0.8))
    def test_against_own_sums(self, thick: list[tuple[float, float]], depth: float) -> None:
        layers = [Layer("one", one, tolerance=give) for one, give in thick]
        room = layers_fit(Finish.plane(Plane(10.0, 0, 0), YARD), Brief(YARD, layers=layers), [("F", 1, 1, 10.0 - depth)]).rooms[0]
        total, give = math.fsum(one for one, _ in thick), math.fsum(one for _, one in thick)
        assert room.values == pytest.approx((depth - total - give, depth - total, depth - total + give), abs=1e-9)


def clipped(points: list[tuple[float, float]], a: float, b: float, c: float) -> list[tuple[float, float]]:
    """The part of a convex polygon where a x + b y + c is nought or more."""
    found = []
    for (x0, y0), (x1, y1) in zip(points, points[1:] + points[:1], strict=True):
        v0, v1 = a * x0 + b * y0 + c, a * x1 + b * y1 + c
        if v0 >= 0:
            found.append((x0, y0))
        if v0 * v1 < 0:
            share = v0 / (v0 - v1)
            found.append((x0 + share * (x1 - x0), y0 + share * (y1 - y0)))
    return found


def integral(points: list[tuple[float, float]], a: float, b: float, c: float) -> float:
    """∫(a x + b y + c) by Green's theorem: the moments of the outline of any simple polygon."""
    x, y = np.array(points).T if points else (np.empty(0), np.empty(0))
    x1, y1 = np.roll(x, -1), np.roll(y, -1)
    cross = x * y1 - x1 * y
    return float(a * (cross * (x + x1)).sum() / 6 + b * (cross * (y + y1)).sum() / 6 + c * cross.sum() / 2)


def rings(seed: int) -> tuple[shapely.Polygon, list[list[tuple[float, float]]]]:
    """An area, turned and shifted, and convex parts of it that make it up, each anticlockwise."""
    draw = np.random.default_rng(seed)
    w, h = draw.uniform(1, 2.5, 2)
    w, h = float(w), float(h)
    boxes = [[(0, 0, 2 * w, h), (0, h, w, 2 * h)],  # an L
             [(0, 0, 3 * w, h), (0, h, w, 2 * h), (2 * w, h, 3 * w, 2 * h), (0, 2 * h, 3 * w, 3 * h)],  # with a hole
             [(0, 0, w, 2 * h), (w, 0, 2 * w, h), (2 * w, 0, 3 * w, 2 * h)],  # notched
             [(0, 0, 2 * w, 2 * h)]][seed % 4]
    turn, (east, north) = draw.uniform(0, 2 * math.pi), draw.uniform(-50, 50, 2)
    parts = [[(float(east + x * math.cos(turn) - y * math.sin(turn)), float(north + x * math.sin(turn) + y * math.cos(turn)))
              for x, y in ((x0, y0), (x1, y0), (x1, y1), (x0, y1))] for x0, y0, x1, y1 in boxes]
    return shapely.union_all([shapely.Polygon(part) for part in parts], grid_size=1e-9), parts


class TestVolumeBalance:
    """∫cut − ∫fill = ∫(ground − finish) + Σ thickness × plan area, the integral by Green's theorem on own clippings."""

    @pytest.mark.parametrize("seed", range(24))
    @pytest.mark.parametrize("raised", [-0.4, 0.0, 2.0], ids=["all cut", "a zero line", "all fill"])
    def test_random_areas(self, seed: int, raised: float) -> None:
        area, parts = rings(seed)
        draw = np.random.default_rng(1000 + seed)
        x0, y0, x1, y1 = area.bounds
        xs = np.concatenate([[x0 - 1, x1 + 1, x1 + 1, x0 - 1], draw.uniform(x0 - 1, x1 + 1, 20)])
        ys = np.concatenate([[y0 - 1, y0 - 1, y1 + 1, y1 + 1], draw.uniform(y0 - 1, y1 + 1, 20)])
        ground = Ground(xs, ys, 10.0 + draw.uniform(-0.15, 0.15, len(xs)))
        layers = [Layer("slab", 0.04), Layer("bed", 0.03), Layer("base", float(draw.uniform(0.08, 0.2)))]
        middle = (float(area.centroid.x), float(area.centroid.y))
        plane = Plane(10.0 + layers[2].thickness + 0.07 + raised, *map(float, draw.uniform(-0.02, 0.02, 2)), middle)
        brief = Brief(area, layers=layers)
        works = cut_and_fill(ground, Finish.plane(plane, area).lowered(brief.build_up), area)

        total = cut = plan = 0.0
        drop = math.fsum(layer.thickness for layer in layers)
        for triangle in ground.triangles:
            places = [(float(ground.x[one]), float(ground.y[one])) for one in triangle]
            matrix = np.array([[*place, 1.0] for place in places])
            a, b, c = np.linalg.solve(matrix, ground.level[triangle] - [plane.level_at(*place) for place in places])
            for part in parts:
                piece = places
                for (px, py), (qx, qy) in zip(part, part[1:] + part[:1], strict=True):
                    piece = clipped(piece, py - qy, qx - px, px * qy - qx * py)
                total += integral(piece, a, b, c)
                plan += integral(piece, 0, 0, 1)
                cut += integral(clipped(piece, a, b, c + drop), a, b, c + drop)
        scale = max(abs(total) + drop * plan, 1.0)
        assert plan == pytest.approx(area.area, rel=1e-9)
        assert works.cut - works.fill == pytest.approx(total + drop * plan, abs=1e-9 * scale)
        assert works.cut == pytest.approx(cut, abs=2e-9 * scale)
        assert works.fill == pytest.approx(cut - total - drop * plan, abs=3e-9 * scale)
        assert (works.cut > 0, works.fill > 0) == {-0.4: (True, False), 0.0: (True, True), 2.0: (False, True)}[raised]
