"""The ground as triangles: its hull, its levels and the breaks that no triangle crosses."""

from __future__ import annotations

import itertools
import math
from typing import Any

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from sitelevels import Ground, SurveyError

steady = settings(deadline=None, max_examples=60, derandomize=True)
Floats = NDArray[np.float64]
SQUARE = ([0, 4, 4, 0], [0, 0, 4, 4])


def turned(places: Floats, turn: float) -> Floats:
    cos, sin = math.cos(turn), math.sin(turn)
    return np.asarray(places @ np.array([[cos, sin], [-sin, cos]]))


def outlines(ground: Ground) -> list[shapely.Polygon]:
    places = np.column_stack([ground.x, ground.y]) - [ground.x[0], ground.y[0]]
    return list(shapely.polygons(places[ground.triangles]))


def crossed(ground: Ground, ends: tuple[int, int]) -> float:
    """Length in m over which a segment between two spots runs inside triangles."""
    places = np.column_stack([ground.x, ground.y]) - [ground.x[0], ground.y[0]]
    line = shapely.LineString(places[list(ends)])
    return float(sum(line.intersection(outline.buffer(-1e-7)).length for outline in outlines(ground)))


class TestLevels:
    def test_every_spot_has_its_own_level(self) -> None:
        x, y, level = np.random.default_rng(1).uniform(0, 20, (3, 40))
        assert Ground(x, y, level).level_at(x, y) == pytest.approx(level, abs=1e-9)

    def test_between_three_spots_the_ground_is_flat(self) -> None:
        ground = Ground([0, 4, 0], [0, 0, 4], [10.0, 10.4, 9.6])
        assert ground.level_at(1, 2) == pytest.approx(10 + 0.1 - 0.2, abs=1e-12)
        assert ground.level_at([0.0, 2.0], [0.0, 2.0]) == pytest.approx([10.0, 10.0], abs=1e-12)

    def test_a_pyramid_by_hand(self) -> None:
        ground = Ground([*SQUARE[0], 2], [*SQUARE[1], 2], [0, 0, 0, 0, 1])
        assert ground.level_at([1, 3, 2, 2], [2, 2, 1, 3]) == pytest.approx([0.5] * 4, abs=1e-12)
        assert len(ground.triangles) == 4

    @steady
    @given(st.floats(-0.1, 0.1), st.floats(-0.1, 0.1), st.integers(0, 10**6), st.sampled_from([0.0, 450_000.0]))
    def test_a_plane_stays_a_plane(self, gx: float, gy: float, seed: int, shift: float) -> None:
        draw = np.random.default_rng(seed)
        x, y = draw.uniform(0, 20, (2, 15)).round(3)
        ground = Ground(x + shift, y + shift, 10 + gx * x + gy * y)
        weights = draw.dirichlet(np.ones(15), 20)
        levels = ground.level_at(weights @ x + shift, weights @ y + shift)
        assert levels == pytest.approx(10 + gx * (weights @ x) + gy * (weights @ y), abs=1e-7)

    def test_a_flat_scatter_is_its_own_plane(self) -> None:
        fit = Ground([*SQUARE[0], 1], [*SQUARE[1], 2], [10, 10.4, 10, 9.6, 9.9]).plane_fit()
        assert (fit.plane.gx, fit.plane.gy) == pytest.approx((0.1, -0.1), abs=1e-12)

    def test_arrays_cannot_be_written_over(self) -> None:
        ground = Ground(*SQUARE, [1, 2, 3, 4])
        with pytest.raises(ValueError, match="read-only"):
            ground.level[0] = 9
        assert ground.table["level"].tolist() == [1, 2, 3, 4]


class TestHull:
    @pytest.mark.parametrize("place", [(-0.001, 2), (5, 2), (2, 4.01), (-3, -3)])
    def test_beyond_the_spots_no_guess_is_made(self, place: tuple[float, float]) -> None:
        ground = Ground(*SQUARE, [1, 2, 3, 4])
        with pytest.raises(SurveyError, match="lies outside the spots"):
            ground.level_at(*place)
        assert ground.covers(*place).tolist() == [False]

    def test_on_the_edge_it_is_known(self) -> None:
        ground = Ground(*SQUARE, [1.0, 2.0, 3.0, 4.0])
        assert ground.level_at([2, 4, 0], [0, 2, 0]) == pytest.approx([1.5, 2.5, 1.0], abs=1e-12)
        assert ground.covers([2, 4, 0], [0, 2, 0]).all()

    def test_one_place_outside_refuses_all_and_is_named(self) -> None:
        with pytest.raises(SurveyError, match=r"(?i)x 7 y 1 lies outside"):
            Ground(*SQUARE, [1, 2, 3, 4]).level_at([1, 7], [1, 1])

    def test_a_place_on_a_national_grid_is_told_in_full(self) -> None:
        ground = Ground(np.array(SQUARE[0]) + 450_000, np.array(SQUARE[1]) + 6_200_000, [1, 2, 3, 4])
        with pytest.raises(SurveyError, match=r"450007\.25 y 6200001\.5"):
            ground.level_at(450_007.25, 6_200_001.5)

    @pytest.mark.parametrize("place", [(math.nan, 1), (1, math.inf)])
    def test_a_place_that_is_no_place_is_refused(self, place: tuple[float, float]) -> None:
        with pytest.raises(SurveyError, match="not a finite number"):
            Ground(*SQUARE, [1, 2, 3, 4]).level_at(*place)

    def test_its_corners_go_round_anticlockwise(self) -> None:
        ground = Ground([*SQUARE[0], 2], [*SQUARE[1], 1], [1, 2, 3, 4, 5])
        outline = shapely.Polygon(ground.hull)
        assert outline.equals(shapely.box(0, 0, 4, 4))
        assert outline.exterior.is_ccw

    @steady
    @given(st.integers(0, 10**6), st.sampled_from(["random", "grid"]), st.floats(0, 6.28), st.sampled_from([0.0, 6_200_000.0]))
    def test_the_triangles_tile_it(self, seed: int, kind: str, turn: float, shift: float) -> None:
        draw = np.random.default_rng(seed)
        places = np.array(list(itertools.product(range(5), range(4))), float) if kind == "grid" else draw.uniform(0, 9, (25, 2))
        places = turned(places, turn) + shift
        ground = Ground(*places.T, draw.uniform(0, 1, len(places)))
        whole = shapely.MultiPoint(places - places[0]).convex_hull.area
        assert sum(outline.area for outline in outlines(ground)) == pytest.approx(whole, rel=1e-7)
        assert all(outline.exterior.is_ccw for outline in outlines(ground))

    def test_top_and_foot_of_a_step_at_the_corner_of_the_site_keep_their_own_levels(self) -> None:
        ground = Ground([0, 0.004, 6, 6, 0], [0, 0.004, 0, 4, 4], [10.0, 10.1, 10.0, 10.0, 10.0])
        assert ground.level_at([0, 0.004], [0, 0.004]) == pytest.approx([10.0, 10.1], abs=1e-6)

    def test_a_spot_a_millimetre_off_the_line_of_its_neighbours_still_counts_at_that_line(self) -> None:
        """Three spots along a wall by tape, the middle one 40 mm lower and 1 mm out from it: no sliver may bridge it."""
        ground = Ground([0, 3, 6, 0, 6], [0, 0.001, 0, 4, 4], [10.0, 9.96, 10.0, 9.9, 9.9])
        assert ground.level_at([1.5, 3.0], [0.0, 0.0]) == pytest.approx([9.98, 9.96], abs=0.001)

    @pytest.mark.parametrize("shift", [(0.0, 0.0), (450_000.1, 6_200_000.3)], ids=["local", "national grid"])
    @pytest.mark.parametrize("seed", range(8))
    def test_half_way_between_two_spots_on_the_edge_the_level_is_their_mean(self, seed: int, shift: tuple[float, float]) -> None:
        """A square grid of spots, turned; its sides are straight save for the last digit of the coordinates."""
        draw = np.random.default_rng(seed)
        places = turned(np.array(list(itertools.product(range(5), range(5))), float), draw.uniform(0, 6.28)) + shift
        level = draw.uniform(9.5, 10.5, 25)
        ground = Ground(*places.T, level)
        for one, two in [*((place, place + 1) for place in range(4)), *((place, place + 5) for place in range(0, 20, 5))]:
            middle = (places[one] + places[two]) / 2
            assert ground.level_at(*middle) == pytest.approx((level[one] + level[two]) / 2, abs=1e-6)


class TestBreaks:
    def test_a_step_is_as_steep_as_it_was_read(self) -> None:
        """Top of a 150 mm step at y = 2.00, foot at 2.01, read at their ends and once more in between at each."""
        x = [0, 6, 0, 6, 0, 6, 0, 6, 3.1, 2.9]
        y = [0, 0, 2.0, 2.0, 2.01, 2.01, 4, 4, 0.3, 3.7]
        level = [10.15] * 4 + [10.0] * 4 + [10.15, 10.0]
        ground = Ground(x, y, level, breaks=[(2, 3), (4, 5)])
        assert ground.level_at([1, 3, 5], [1.99, 2.0, 1.0]) == pytest.approx([10.15] * 3, abs=1e-9)
        assert ground.level_at([1, 3, 5], [2.02, 2.01, 3.0]) == pytest.approx([10.0] * 3, abs=1e-9)

    def test_without_the_break_the_diagonal_would_be_the_other(self) -> None:
        places = ([0, 5, 6, 0.5], [0, 0, 3, 4])
        level = [1.0, 2.0, 3.0, 4.0]
        one, two = Ground(*places, level, breaks=[(0, 2)]), Ground(*places, level, breaks=[(1, 3)])
        assert crossed(one, (0, 2)) == 0
        assert crossed(one, (1, 3)) > 1
        assert crossed(two, (1, 3)) == 0
        assert one.level_at(3, 1.5) == pytest.approx(2.0, abs=1e-9)  # half-way along the break from 1.0 to 3.0

    @steady
    @given(st.integers(0, 10**6), st.sampled_from([0.0, 450_000.0]))
    def test_no_triangle_crosses_a_break(self, seed: int, shift: float) -> None:
        draw = np.random.default_rng(seed)
        places = draw.uniform(0, 10, (int(draw.integers(5, 40)), 2)).round(3)
        lines: list[shapely.LineString] = []
        breaks: list[tuple[int, int]] = []
        for _ in range(8):
            one, two = map(int, draw.choice(len(places), 2, replace=False))
            line = shapely.LineString(places[[one, two]])
            if not any(line.crosses(other) or line.equals(other) for other in lines):
                lines.append(line)
                breaks.append((one, two))
        level = draw.uniform(0, 1, len(places))
        ground = Ground(*(places + shift).T, level, breaks=breaks)
        assert [ends for ends in breaks if crossed(ground, ends) > 1e-6] == []
        whole = shapely.MultiPoint(places).convex_hull.area
        assert sum(outline.area for outline in outlines(ground)) == pytest.approx(whole, rel=1e-7)
        for one, two in breaks:  # with a spot on the way the level bends there; without, it is straight
            if sum(shapely.LineString(places[[one, two]]).distance(shapely.points(places)) < 1e-3) == 2:
                middle = places[[one, two]].mean(axis=0) + shift
                assert ground.level_at(*middle) == pytest.approx(level[[one, two]].mean(), abs=1e-6)

    def test_the_checker_sees_a_crossing(self) -> None:
        assert crossed(Ground([0, 5, 6, 0.5], [0, 0, 3, 4], [1, 2, 3, 4], breaks=[(0, 2)]), (1, 3)) > 1

    def test_a_spot_on_a_break_parts_it(self) -> None:
        ground = Ground([0, 4, 4, 0, 2], [0, 0, 4, 4, 2], [0, 0, 0, 0, 1], breaks=[(0, 2)])
        assert crossed(ground, (0, 2)) == 0
        assert ground.level_at([1, 3], [1, 3]) == pytest.approx([0.5, 0.5], abs=1e-12)

    def test_breaks_that_meet_at_a_spot_are_let_be(self) -> None:
        ground = Ground([0, 4, 4, 0, 2], [0, 0, 4, 4, 2.2], [0, 0, 0, 0, 1], breaks=[(0, 4), (4, 2), (1, 4)])
        assert [crossed(ground, ends) for ends in ground.breaks] == [0, 0, 0]

    def test_breaks_that_cross_are_refused_by_the_names_of_their_spots(self) -> None:
        with pytest.raises(SurveyError, match="breaks A to C and B to D cross"):
            Ground(*SQUARE, [1, 2, 3, 4], points="ABCD", breaks=[("A", "C"), ("B", "D")])

    @pytest.mark.parametrize(("ends", "said"), [
        ((0, 9), "names 9, which is no spot"), ((0, -1), "names -1, which is no spot"), ((1, 1), "has no length"),
        ("AB", "not a pair"),
        ((0, 1, 2), "not a pair"), (("A", "C"), "names 'A', which is no spot"), ((0, 1.5), "names 1.5, which is no spot")])
    def test_a_break_that_is_none_is_refused(self, ends: object, said: str) -> None:
        with pytest.raises(SurveyError, match=said):
            Ground(*SQUARE, [1, 2, 3, 4], breaks=[ends])  # type: ignore[list-item]

    def test_breaks_are_given_by_name_where_spots_have_names_and_a_number_can_be_a_name(self) -> None:
        ground = Ground([0, 5, 6, 0.5], [0, 0, 3, 4], [1, 2, 3, 4], points=[1, 2, 3, 4], breaks=[(1, 3)])
        assert crossed(ground, (0, 2)) == 0

    def test_a_repeated_spot_does_not_shift_the_numbers_of_the_others(self) -> None:
        ground = Ground([0, 0, 5, 6, 0.5], [0, 0, 0, 3, 4], [1, 1, 2, 3, 4], breaks=[(2, 4)])
        assert crossed(ground, (1, 3)) == 0


class TestRefusals:
    def test_two_levels_at_one_place_are_refused_by_both_names(self) -> None:
        with pytest.raises(SurveyError, match=r"Points C and E: the levels 3\.000 m and 5\.000 m stand at one place"):
            Ground([0, 4, 4, 0, 4], [0, 0, 4, 4, 4], [1, 2, 3, 4, 5], points="ABCDE")

    def test_one_level_at_one_place_is_the_same_spot_twice(self) -> None:
        assert len(Ground([0, 4, 4, 0, 4], [0, 0, 4, 4, 4], [1, 2, 3, 4, 3]).x) == 4

    @pytest.mark.parametrize(("x", "y", "level", "said"), [
        ([0, 1], [0, 1], [1, 2], "only 2 spots"), ([0, 1, 2], [0, 1, 2], [1, 2, 3], "lie in a line"),
        ([0, 1, math.nan], [0, 0, 1], [1, 2, 3], "x is nan"), ([0, 1, 0], [0, 0, 1], [1, 2, math.nan], "level is nan"),
        ([0, 1, 0], [0, 0], [1, 2, 3], "3, 2, 3 values"), ([0, 0, 1], [0, 0, 1], [1, 1, 2], "only 2 spots")])
    def test_spots_that_make_no_ground(self, x: list[float], y: list[float], level: list[float], said: str) -> None:
        with pytest.raises(SurveyError, match=said):
            Ground(x, y, level)


class TestOtherLevelsAndCorners:
    GROUND = Ground([0, 4, 4, 0, 2], [0, 0, 3, 3, 1], [1, 1, 1.1, 1.1, 1.06])

    @pytest.mark.parametrize("levels", ["a", [[1, 1, 1, 1, 1]], [1, 1, 1], None, 1.0])
    def test_levels_are_one_for_each_spot(self, levels: Any) -> None:
        with pytest.raises(SurveyError, match="not one number for each spot"):
            self.GROUND.with_levels(levels)

    def test_places_that_differ_in_number_are_refused(self) -> None:
        with pytest.raises(SurveyError, match="x and y differ in number"):
            self.GROUND.with_corners([1, 2], [1, 2, 3])

    def test_a_break_from_a_name_that_two_spots_have_is_refused(self) -> None:
        with pytest.raises(SurveyError, match="names 'a', as 2 spots are called"):
            Ground([0, 4, 4, 0, 2], [0, 0, 3, 3, 1], [1, 1, 1.1, 1.1, 1.06], points=list("aabcd"), breaks=[("a", "b")])
