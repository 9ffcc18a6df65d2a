"""The same ground with further corners of triangles: the surface stays, and what is measured there holds there."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from sitelevels import Ground

steady = settings(deadline=None, max_examples=60, derandomize=True)
Floats = NDArray[np.float64]
YARD = ([0.0, 6.0, 6.0, 0.0], [0.0, 0.0, 4.0, 4.0])


def areas(ground: Ground) -> Floats:
    """Of each triangle by its corners, m², anticlockwise over nought."""
    places = np.column_stack([ground.x - ground.x[0], ground.y - ground.y[0]])[ground.triangles]
    (ax, ay), (bx, by) = (places[:, 1] - places[:, 0]).T, (places[:, 2] - places[:, 0]).T
    return np.asarray((ax * by - ay * bx) / 2)


def volume(ground: Ground) -> float:
    """Under the surface, m³: each triangle by the mean of its three corners."""
    return float((areas(ground) * ground.level[ground.triangles].mean(axis=1)).sum())


def off_their_sides(ground: Ground) -> list[tuple[int, tuple[int, int]]]:
    """Corners that lie within a side of a triangle which does not know of them: there the surface would be torn."""
    places = np.column_stack([ground.x - ground.x.mean(), ground.y - ground.y.mean()])
    found = []
    for one, two in {(min(pair), max(pair)) for t in ground.triangles.tolist() for pair in zip(t, t[1:] + t[:1], strict=True)}:
        side = places[two] - places[one]
        long = float(np.hypot(*side))
        for number in set(ground.triangles.flat) - {one, two}:
            way = places[number] - places[one]
            off, along = abs(way[0] * side[1] - way[1] * side[0]) / long, float(way @ side) / long
            if off < 1e-7 and 1e-6 < along < long - 1e-6:
                found.append((int(number), (one, two)))
    return found


class TestByHand:
    def test_a_floor_thicker_in_the_middle(self) -> None:
        """100 mm at four corners, 200 in the middle of 6 × 4 m: four triangles of (0.1 + 0.1 + 0.2) / 3 over 24 m² are 3.2 m³."""
        floor = Ground(*YARD, [10.0] * 4).with_corners([3.0], [2.0]).with_levels([0.1, 0.1, 0.1, 0.1, 0.2])
        assert volume(floor) == pytest.approx(3.2, abs=1e-12)
        assert floor.level_at([3.0, 1.5, 0.0], [2.0, 1.0, 2.0]) == pytest.approx([0.2, 0.15, 0.1], abs=1e-12)

    @pytest.mark.parametrize(("place", "triangles"), [
        ((3.0, 2.0), 4),  # on the diagonal, whichever it is: two triangles become four
        ((1.0, 1.5), 4),  # within one: it becomes three
        ((3.0, 0.0), 3),  # on the outline: one becomes two
        ((0.0, 4.0), 2), ((0.0005, 4.0), 2),  # at a spot, or as good as there
        ((7.0, 2.0), 2), ((3.0, -0.1), 2)])  # off the spots
    def test_how_many_triangles(self, place: tuple[float, float], triangles: int) -> None:
        ground = Ground(*YARD, [10.0, 10.1, 9.9, 10.0])
        more = ground.with_corners([place[0]], [place[1]])
        assert len(more.triangles) == triangles
        assert len(more.x) == 4 + (triangles > 2)
        assert areas(more).sum() == pytest.approx(24, abs=1e-12)
        assert areas(more).min() > 0.1

    def test_one_place_twice_is_one_corner(self) -> None:
        more = Ground(*YARD, [10.0] * 4).with_corners([3.0, 3.0, 3.0004], [1.0, 1.0, 1.0])
        assert (len(more.x), len(more.triangles)) == (5, 4)

    def test_one_number_will_do_and_none_too(self) -> None:
        ground = Ground(*YARD, [10.0] * 4)
        assert len(ground.with_corners(3.0, 2.0).triangles) == 4
        assert len(ground.with_corners([], []).triangles) == 2

    def test_the_ground_itself_stays_and_the_new_one_cannot_be_changed(self) -> None:
        ground = Ground(*YARD, [10.0] * 4)
        more = ground.with_corners([3.0], [2.0])
        assert (len(ground.x), len(ground.triangles)) == (4, 2)
        for part in (more.x, more.y, more.level, more.triangles):
            with pytest.raises(ValueError, match="read-only"):
                part[0] = 1

    def test_beside_a_step_each_side_keeps_its_level(self) -> None:
        """A step of 300 mm along x = 3, top and foot 10 mm apart; a place either side of it."""
        x, y = [0, 3, 3.01, 6, 6, 3.01, 3, 0], [0, 0, 0, 0, 4, 4, 4, 4]
        ground = Ground(x, y, [10.3, 10.3, 10.0, 10.0, 10.0, 10.0, 10.3, 10.3], breaks=[(1, 6), (2, 5)])
        more = ground.with_corners([2.5, 3.5, 3.005], [2.0, 2.0, 2.0])
        assert more.level_at([2.5, 2.9, 3.1, 3.5, 3.005], [2.0] * 5) == pytest.approx([10.3, 10.3, 10.0, 10.0, 10.15], abs=1e-9)
        assert areas(more).sum() == pytest.approx(24, abs=1e-9)
        assert volume(more) == pytest.approx(volume(ground), abs=1e-9)


class TestSameSurface:
    @steady
    @given(st.integers(0, 10**6), st.sampled_from([0.0, 450_000.0]))
    def test_wherever_the_corners_are(self, seed: int, shift: float) -> None:
        """Some at random, some in the middle of a side of a triangle, some off the spots."""
        draw = np.random.default_rng(seed)
        x, y = draw.uniform(0, 6, (2, 12)).round(3)
        ground = Ground(x + shift, y + shift, 10 + draw.uniform(-0.2, 0.2, 12))
        ends = ground.triangles[draw.integers(0, len(ground.triangles), 4)][:, :2]
        at_x = np.append(draw.uniform(-1, 7, 6) + shift, ground.x[ends].mean(axis=1))
        at_y = np.append(draw.uniform(-1, 7, 6) + shift, ground.y[ends].mean(axis=1))
        more = ground.with_corners(at_x, at_y)
        assert areas(more).min() > 0
        assert areas(more).sum() == pytest.approx(areas(ground).sum(), abs=1e-7)
        assert volume(more) == pytest.approx(volume(ground), abs=1e-6)
        assert off_their_sides(more) == []
        inside = ground.covers(at_x, at_y)
        assert more.level_at(at_x[inside], at_y[inside]) == pytest.approx(ground.level_at(at_x[inside], at_y[inside]), abs=1e-7)
        weights = draw.dirichlet(np.ones(12), 30)
        places = weights @ ground.x, weights @ ground.y
        assert more.level_at(*places) == pytest.approx(ground.level_at(*places), abs=1e-6)

    @pytest.mark.parametrize("turn", [0.0, 0.1, 0.3, 0.7, 0.9, 1.05, 1.3, 1.55, 1.8])
    @pytest.mark.parametrize("middle", ["of a side", "of the diagonal"])
    def test_in_the_middle_of_a_long_side_on_a_national_grid(self, turn: float, middle: str) -> None:
        """A floor of 40 × 30 m askew on the grid, 100 mm at its corners and 200 at one more place.

        In the middle of a side that place belongs to one triangle, of 600 m², which becomes two of 300 with means of 0.4 / 3:
        600 × 0.1 + 600 × 0.4 / 3. On the diagonal it belongs to both: 1200 × 0.4 / 3.
        """
        corners = np.array([(0, 0), (40, 0), (40, 30), (0, 30)]) @ [[math.cos(turn), math.sin(turn)],
                                                                   [-math.sin(turn), math.cos(turn)]]
        places = corners.round(3) + np.array([512_345.0, 187_654.0])
        ground = Ground(places[:, 0], places[:, 1], [10.0] * 4)
        one, two = (0, 1) if middle == "of a side" else sorted(set(ground.triangles[0]) & set(ground.triangles[1]))
        x, y = (places[one] + places[two]) / 2
        more = ground.with_corners([x], [y])
        assert off_their_sides(more) == []
        expected = 600 * 0.1 + 600 * 0.4 / 3 if middle == "of a side" else 1200 * 0.4 / 3
        assert volume(more.with_levels([0.1, 0.1, 0.1, 0.1, 0.2])) == pytest.approx(expected, abs=0.02)  # corners to the mm
