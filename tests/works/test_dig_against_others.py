"""`dig_out` beside two sums that share nothing with it.

One is exact: convex parts cut by half-planes of our own, and Green's theorem for a linear depth over an outline. The other
samples random places, whose own scatter gives the standard error.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pytest
import shapely
from numpy.typing import NDArray

from sitelevels import Brief, Finish, Ground, Layer, Plane
from sitelevels.design.layers import Footing, Underside
from sitelevels.works.dig import Dig, dig_out

Place = tuple[float, float]
Outline = list[Place]
Line = tuple[float, float, float]  # a x + b y + c
Floats = NDArray[np.float64]
ERRORS = 4.5  # standard errors allowed: chance of a false alarm about 1 in 150,000 for each number
SPOTS = 18


def clipped(points: Outline, line: Line) -> Outline:
    """The part of a convex outline where the line's value is nought or more."""
    a, b, c = line
    found = []
    for (x0, y0), (x1, y1) in zip(points, points[1:] + points[:1], strict=True):
        v0, v1 = a * x0 + b * y0 + c, a * x1 + b * y1 + c
        if v0 >= 0:
            found.append((x0, y0))
        if v0 * v1 < 0:
            share = v0 / (v0 - v1)
            found.append((x0 + share * (x1 - x0), y0 + share * (y1 - y0)))
    return found


def other(line: Line) -> Line:
    return -line[0], -line[1], -line[2]


def sides(convex: Outline) -> list[Line]:
    """The sides of an anticlockwise outline, each nought or more on its left."""
    return [(py - qy, qx - px, px * qy - qx * py) for (px, py), (qx, qy) in zip(convex, convex[1:] + convex[:1], strict=True)]


def inside(points: Outline, convex: Outline) -> Outline:
    for line in sides(convex):
        points = clipped(points, line)
    return points


def outside(points: Outline, convex: Outline) -> list[Outline]:
    """The convex parts of an outline that lie outside another."""
    found = []
    for line in sides(convex):
        found.append(clipped(points, other(line)))
        points = clipped(points, line)
    return found


def integral(points: Outline, line: Line) -> float:
    """∫(a x + b y + c) over an outline by Green's theorem, about its own first corner."""
    if len(points) < 3:
        return 0.0
    a, b, c = line
    (east, north), places = points[0], np.array(points)
    x, y = (places - points[0]).T
    x1, y1 = np.roll(x, -1), np.roll(y, -1)
    cross = x * y1 - x1 * y
    c = c + a * east + b * north
    return float(a * (cross * (x + x1)).sum() / 6 + b * (cross * (y + y1)).sum() / 6 + c * cross.sum() / 2)


def positive(points: Outline, line: Line) -> float:
    return integral(clipped(points, line), line)


def less(one: Line, two: Line) -> Line:
    return one[0] - two[0], one[1] - two[1], one[2] - two[2]


def line_of(plane: Plane, lower: float) -> Line:
    return plane.gx, plane.gy, plane.level - lower - plane.gx * plane.at[0] - plane.gy * plane.at[1]


def through(places: Floats, levels: Floats) -> Line:
    a, b, c = np.linalg.solve(np.column_stack([places, np.ones(3)]), levels)
    return float(a), float(b), float(c)


@dataclass
class Job:
    """Convex parts that make up the dig, each with its own plane; the floor and the footing are convex too."""

    parts: list[tuple[Outline, Plane]]
    ground: Ground
    brief: Brief
    finish: Finish
    floor: Outline | None
    footing: tuple[Outline, float] | None

    @property
    def measured(self) -> Ground:
        """Today's surface with a corner at each place where the old floor was measured."""
        if self.brief.underside is None:
            return self.ground
        places = np.array(self.brief.underside.thickness)
        return self.ground.with_corners(places[:, 0], places[:, 1])

    def thickness(self) -> Floats:
        """Of the old floor at its corners, weighted by the inverse square of the distance; as measured where it was measured."""
        floor, ground = self.brief.underside, self.measured
        assert floor is not None
        found = []
        for x, y in zip(ground.x, ground.y, strict=True):
            squares = [((x - px)**2 + (y - py)**2, t) for px, py, t in floor.thickness]
            here = [t for square, t in squares if square < 1e-12]
            weights = [1 / square for square, _ in squares if square >= 1e-12]
            found.append(here[0] if here else math.fsum(w * t for w, (_, t) in zip(weights, squares, strict=True))
                         / math.fsum(weights))
        return np.array(found)

    def sums(self) -> dict[str, float]:
        """Concrete, soil, fill, what footings displace, ∫(surface that is dug from − formation) and the plan area."""
        total = dict.fromkeys(("concrete", "soil", "fill", "displaced", "net", "plan"), 0.0)
        build_up = math.fsum(layer.thickness for layer in self.brief.layers)
        thick, ground = None if self.floor is None else self.thickness(), self.measured
        places = np.column_stack([ground.x, ground.y])
        for triangle in ground.triangles:
            corners = [(float(x), float(y)) for x, y in places[triangle]]
            today = through(places[triangle], ground.level[triangle])
            for part, plane in self.parts:
                formation = line_of(plane, build_up)
                piece = inside(corners, part)
                zones: list[tuple[Outline, Line]] = [
                    (one, today) for one in ([piece] if self.floor is None else outside(piece, self.floor))]
                if self.floor is not None and thick is not None:
                    zones.append((inside(piece, self.floor), less(today, through(places[triangle], thick[triangle]))))
                for zone, surface in zones:
                    total["net"] += integral(zone, less(surface, formation))
                    total["plan"] += integral(zone, (0, 0, 1))
                    free = [zone]
                    if self.footing is not None:
                        outline, top = self.footing
                        self.held(inside(zone, outline), (0, 0, top), today, surface, formation, total)
                        free = outside(zone, outline)
                    for one in free:
                        total["concrete"] += integral(one, less(today, surface))
                        total["soil"] += positive(one, less(surface, formation))
                        total["fill"] += positive(one, less(formation, surface))
        return total

    @staticmethod
    def held(zone: Outline, top: Line, today: Line, surface: Line, formation: Line, total: dict[str, float]) -> None:
        """Over a footing everything ends at its top: cut by where that lies above the formation, and above the underside."""
        high, low = clipped(zone, less(top, formation)), clipped(zone, less(formation, top))
        total["displaced"] += integral(high, less(top, formation))
        total["soil"] += positive(high, less(surface, top)) + positive(low, less(surface, formation))
        for part in (high, low):
            clear, covered = clipped(part, less(surface, top)), clipped(part, less(top, surface))
            total["concrete"] += integral(clear, less(today, surface)) + positive(covered, less(today, top))
            if part is low:
                total["fill"] += positive(clear, less(formation, surface)) + integral(covered, less(formation, top))


def turned(points: Outline, angle: float, east: float, north: float) -> Outline:
    cos, sin = math.cos(angle), math.sin(angle)
    return [(east + x * cos - y * sin, north + x * sin + y * cos) for x, y in points]


def rectangle(x0: float, y0: float, x1: float, y1: float) -> Outline:
    return [(x0, y0), (x1, y0), (x1, y1), (x0, y1)]


def job(seed: int, *, shape: str, floor: bool, footing: bool) -> Job:
    """A job drawn at random: a yard, an L, one with a hole, one with a channel, or one with a margin all round."""
    draw = np.random.default_rng(seed)
    w, h = (float(one) for one in draw.uniform(1.5, 2.5, 2).round(3))
    boxes = {"yard": [(0, 0, 2 * w, 2 * h)], "l": [(0, 0, 2 * w, h), (0, h, w, 2 * h)],
             "hole": [(0, 0, 3 * w, h), (0, h, w, 2 * h), (2 * w, h, 3 * w, 2 * h), (0, 2 * h, 3 * w, 3 * h)],
             "channel": [(0, 0, 2 * w, h), (0, h, 2 * w, 2 * h)], "margin": [(0, 0, 2 * w, 2 * h)]}[shape]
    angle, (east, north) = float(draw.uniform(0, 6.28)), (float(one) for one in draw.uniform(-40, 40, 2))
    outlines = [turned(rectangle(*bounds), angle, east, north) for bounds in boxes]
    area = shapely.union_all([shapely.Polygon(one) for one in outlines], grid_size=1e-9)
    middle = turned([(w, h)], angle, east, north)[0]
    layers = [Layer("slab", 0.04), Layer("bed", 0.03), Layer("base", round(float(draw.uniform(0.08, 0.2)), 3))]
    build_up = 0.07 + layers[2].thickness
    level = 10.0 + build_up - float(draw.uniform(0.0, 0.15))
    if shape == "channel":
        line = turned([(0, h), (2 * w, h)], angle, east, north)
        finish = Finish.channel(line, area, level=level, fall=0.01, left=0.02, right=0.03)
        plane_of = [min(finish.facets, key=lambda facet, one=one: facet.area.distance(shapely.Polygon(one).centroid)).plane
                    for one in outlines]
    else:
        plane = Plane(level, *map(float, draw.uniform(-0.02, 0.02, 2)), middle)
        finish, plane_of = Finish.plane(plane, area), [plane] * len(outlines)
    reach = round(float(draw.uniform(0.1, 0.5)), 2) if shape == "margin" else 0.0
    if reach:
        outlines = [turned(rectangle(-reach, -reach, 2 * w + reach, 2 * h + reach), angle, east, north)]
    spread = 5 * max(w, h)
    x, y = np.concatenate([[[-spread, spread, spread, -spread], [-spread, -spread, spread, spread]],
                           draw.uniform(-spread / 2, spread / 2, (2, SPOTS))], axis=1)
    ground = Ground(x + middle[0], y + middle[1], 10.0 + draw.uniform(-0.1, 0.1, len(x)))
    old = turned(rectangle(-0.5, -0.7, 1.2 * w, 0.8 * h), angle + 0.3, east, north) if floor else None
    stays = turned(rectangle(0.3, 0.3, 0.9 * w, 0.7 * h), angle - 0.4, east, north) if footing else None
    top = 10.0 - float(draw.uniform(0.0, 0.2))
    places = [(middle[0] + float(dx), middle[1] + float(dy), float(t)) for dx, dy, t in
              zip(*draw.uniform(-3, 3, (2, 3)), draw.uniform(0.06, 0.3, 3), strict=True)]
    brief = Brief(area, layers=layers, beyond_edge=reach, underside=None if old is None else Underside(places, old),
                  footings=() if stays is None else [Footing("old", stays, top)])
    return Job(list(zip(outlines, plane_of, strict=True)), ground, brief, finish, old, None if stays is None else (stays, top))


SHAPES = ("yard", "l", "hole", "channel", "margin")


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize(("floor", "footing"), [(False, False), (True, False), (False, True), (True, True)],
                         ids=["plain", "floor", "footing", "both"])
@pytest.mark.parametrize("seed", range(4))
def test_exact_sums_agree(shape: str, floor: bool, footing: bool, seed: int) -> None:
    one = job(seed + 10 * SHAPES.index(shape), shape=shape, floor=floor, footing=footing)
    dig, own = dig_out(one.ground, one.finish, one.brief), one.sums()
    close = 1e-7 * max(own["plan"], 1.0) if shape in ("channel", "margin") or floor or footing else 1e-8
    assert one.brief.area.area + dig.strip_area == pytest.approx(own["plan"], rel=1e-7)
    for name in ("concrete", "soil", "fill", "displaced"):
        assert getattr(dig, name) == pytest.approx(own[name], abs=close), name


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("shape", ["yard", "l", "hole"])
def test_volume_balance_without_anything_in_the_ground(shape: str, seed: int) -> None:
    """Soil − fill = ∫(ground − finish) + Σ thickness × plan area, to a billionth."""
    one = job(100 + seed, shape=shape, floor=False, footing=False)
    dig, own = dig_out(one.ground, one.finish, one.brief), one.sums()
    build_up = math.fsum(layer.thickness for layer in one.brief.layers)
    above = own["net"] - build_up * own["plan"]  # ∫(ground − finish)
    assert dig.soil - dig.fill == pytest.approx(above + build_up * one.brief.area.area, abs=1e-9 * max(dig.soil + dig.fill, 1.0))


@pytest.mark.parametrize("seed", range(6))
def test_volume_balance_with_an_old_floor(seed: int) -> None:
    """Concrete + soil − fill = ∫(ground − formation): what goes down to the underside and comes up again is counted in both."""
    one = job(200 + seed, shape="l", floor=True, footing=False)
    dig, own = dig_out(one.ground, one.finish, one.brief), one.sums()
    assert dig.concrete + dig.soil - dig.fill == pytest.approx(own["net"] + own["concrete"], abs=1e-8)


def wander(seed: int, dig: Dig, count: int = 60_000) -> tuple[Floats, Floats, float]:
    """Random places in the paving and its margin, and its plan area."""
    whole = shapely.union_all([facet.area for facet in dig.formation.facets], grid_size=1e-8)
    x0, y0, x1, y1 = whole.bounds
    draw = np.random.default_rng(seed)
    x, y = draw.uniform(x0, x1, count), draw.uniform(y0, y1, count)
    within = shapely.contains_xy(whole, x, y)
    return x[within], y[within], float(whole.area)


@dataclass
class Sampled:
    """Depths in m at random places: of concrete, of soil below it, and of fill up to the formation."""

    dig: Dig
    plan: float
    concrete: Floats
    soil: Floats
    fill: Floats


def sampled(seed: int) -> Sampled:
    """What each place asks for, from its definition."""
    one = job(300 + seed, shape=SHAPES[seed % 5], floor=seed % 2 == 0, footing=seed % 3 != 0)
    dig = dig_out(one.ground, one.finish, one.brief)
    x, y, plan = wander(seed, dig)
    formation: Floats = dig.formation.level_at(x, y)
    today: Floats = one.ground.level_at(x, y)
    under, top = today, np.full(len(x), -np.inf)
    if one.floor is not None:
        thick = one.measured.with_levels(one.thickness()).level_at(x, y)
        under = np.where(shapely.contains_xy(shapely.Polygon(one.floor), x, y), today - thick, today)
    if one.footing is not None:
        top = np.where(shapely.contains_xy(shapely.Polygon(one.footing[0]), x, y), one.footing[1], top)
    return Sampled(dig, plan, np.maximum(today - np.maximum(under, top), 0), np.maximum(under - np.maximum(formation, top), 0),
                   np.maximum(formation - np.maximum(under, top), 0))


@pytest.mark.parametrize("seed", range(20))
def test_random_places_agree(seed: int) -> None:
    """∫max(ground − bottom, 0) within the sampling error, and so concrete and fill."""
    one = sampled(seed)
    for found, values in ((one.dig.concrete, one.concrete), (one.dig.soil, one.soil), (one.dig.fill, one.fill)):
        assert abs(found - one.plan * values.mean()) <= ERRORS * one.plan * values.std() / math.sqrt(len(values)) + 1e-7


@pytest.mark.parametrize("seed", range(20))
def test_no_random_place_is_deeper_than_the_deepest(seed: int) -> None:
    """From today's surface: the concrete, and the soil below it."""
    one = sampled(seed)
    assert one.dig.deepest >= (one.concrete + one.soil).max() - 1e-9


@pytest.mark.parametrize("angle", [0.1, 0.7, 1.3, 2.9])
@pytest.mark.parametrize("far", [(450_000.0, 6_200_000.0), (-3_000.0, -70_000.0)], ids=["national grid", "south-west"])
def test_the_same_yard_far_from_the_origin(far: Place, angle: float) -> None:
    """An L with a footing and an old floor, rounded to a millimetre, has the same volumes wherever its plan grid begins."""
    def volumes(east: float, north: float) -> tuple[float, ...]:
        def put(points: Outline) -> Outline:
            return [(east + round(x, 3), north + round(y, 3)) for x, y in turned(points, angle, 0.0, 0.0)]

        area = put([(0, 0), (6, 0), (6, 2), (3, 2), (3, 4), (0, 4)])
        footing = put(rectangle(1, 1, 2, 1.5))
        x, y = np.array([-9, 9, 9, -9, 1.0]) + east, np.array([-9, -9, 9, 9, 1.0]) + north
        brief = Brief(area, layers=[Layer("slab", 0.05), Layer("base", 0.1)], footings=[Footing("old", footing, 9.85)],
                      underside=Underside(0.1, put(rectangle(1.3, 1.3, 2.3, 1.8))))
        dig = dig_out(Ground(x, y, [10.0, 10.02, 10.05, 10.0, 10.03]), Finish.plane(Plane(9.95, 0.01, 0.01, (east, north)), area),
                      brief)
        return dig.concrete, dig.soil, dig.fill, dig.displaced, dig.strip_area

    assert volumes(*far) == pytest.approx(volumes(0.0, 0.0), abs=1e-6)
