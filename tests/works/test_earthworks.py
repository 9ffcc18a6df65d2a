"""Volumes against closed forms of solid geometry."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from sitelevels import Earthworks, Facet, Finish, Ground, Plane, SurveyError, cut_and_fill

steady = settings(deadline=None, max_examples=40, derandomize=True)
LEVEL = Plane(0.0, 0.0, 0.0)
SQUARE = [(0, 0), (4, 0), (4, 4), (0, 4)]
TRIANGLE = [(0, 0), (3, 0), (0, 2)]  # 3 m²


def flat(level: float) -> Ground:
    return Ground([0, 4, 4, 0], [0, 0, 4, 4], [level] * 4)


def corners(one: float, two: float, three: float) -> Earthworks:
    """One triangle of ground of 3 m² over a formation at nought."""
    return cut_and_fill(Ground([0, 3, 0], [0, 0, 2], [one, two, three]), LEVEL, TRIANGLE)


def figures(works: Earthworks) -> tuple[float, float, float, float]:
    return works.cut, works.fill, works.cut_area, works.fill_area


def hilly(seed: int, *, shift: tuple[float, float] = (0.0, 0.0)) -> Ground:
    """Random ground over the square of 10 m, from −½ to ½ m."""
    draw = np.random.default_rng(seed)
    x, y = np.concatenate([[[0, 10, 10, 0], [0, 0, 10, 10]], draw.uniform(0, 10, (2, 25)).round(3)], axis=1)
    return Ground(x + shift[0], y + shift[1], draw.uniform(-0.5, 0.5, len(x)))


class TestSolids:
    def test_a_prism(self) -> None:
        assert figures(cut_and_fill(flat(0.25), LEVEL, SQUARE)) == pytest.approx((4.0, 0, 16, 0), abs=1e-12)
        assert figures(cut_and_fill(flat(-0.25), LEVEL, SQUARE)) == pytest.approx((0, 4.0, 0, 16), abs=1e-12)

    def test_a_wedge_is_half_its_prism(self) -> None:
        works = cut_and_fill(Ground([0, 4, 4, 0], [0, 0, 4, 4], [0, 0.3, 0.3, 0]), LEVEL, SQUARE)
        assert figures(works) == pytest.approx((16 * 0.3 / 2, 0, 16, 0), abs=1e-12)

    def test_a_pyramid_is_a_third_of_its_prism(self) -> None:
        works = cut_and_fill(Ground([0, 4, 4, 0, 2], [0, 0, 4, 4, 2], [0, 0, 0, 0, 1.5]), LEVEL, SQUARE)
        assert figures(works) == pytest.approx((16 * 1.5 / 3, 0, 16, 0), abs=1e-12)
        assert (works.deepest, works.deepest_at) == (1.5, (2.0, 2.0))

    def test_the_top_of_a_pyramid_is_like_the_whole(self) -> None:
        """Cut at 0.6 of 1.5 m the top is (0.9 / 1.5)³ of the pyramid, on (0.9 / 1.5)² of its foot."""
        works = cut_and_fill(Ground([0, 4, 4, 0, 2], [0, 0, 4, 4, 2], [0, 0, 0, 0, 1.5]), Plane(0.6, 0, 0), SQUARE)
        top = 8 * 0.6**3
        assert figures(works) == pytest.approx((top, 16 * 0.6 - (8 - top), 16 * 0.36, 16 * 0.64), abs=1e-12)

    def test_two_wedges_about_a_line_in_the_middle(self) -> None:
        works = cut_and_fill(Ground([0, 4, 4, 0], [0, 0, 4, 4], [-0.2, 0.2, 0.2, -0.2]), LEVEL, SQUARE)
        assert figures(works) == pytest.approx((0.8, 0.8, 8, 8), abs=1e-12)
        assert (works.deepest, works.highest_fill) == pytest.approx((0.2, 0.2), abs=1e-12)


class TestOneTriangle:
    @pytest.mark.parametrize(("levels", "cut", "fill", "cut_area", "fill_area"), [
        ((0.3, 0.6, 0.9), 3 * 0.6, 0, 3, 0),
        # one corner above by 0.2, the others below by 0.2: a tip of ½ × ½ of the area, a third of 0.2 deep
        ((0.2, -0.2, -0.2), 3 / 4 * 0.2 / 3, 3 / 4 * 0.2 / 3 + 3 * 0.2 / 3, 3 / 4, 9 / 4),
        # two above by 0.2, one below by 0.6: the tip below is ¾ × ¾ of the area; both together are −0.2 m³
        ((0.2, 0.2, -0.6), 3 * 9 / 16 * 0.6 / 3 - 0.2, 3 * 9 / 16 * 0.6 / 3, 3 * 7 / 16, 3 * 9 / 16),
        ((0, 0.3, 0.3), 3 * 0.2, 0, 3, 0),  # the zero line touches a corner
        ((0, 0, 0.3), 3 * 0.1, 0, 3, 0),  # the zero line runs along an edge
        ((0, 0, -0.3), 0, 3 * 0.1, 0, 3),
        ((0, 0.3, -0.3), 1.5 * 0.1, 1.5 * 0.1, 1.5, 1.5),  # through a corner and the middle of the side across
        ((0, 0, 0), 0, 0, 0, 0),
    ], ids=["all above", "one above", "two above", "corner", "edge", "edge below", "through a corner", "nothing"])
    def test_by_hand(self, levels: tuple[float, float, float], cut: float, fill: float, cut_area: float,
                     fill_area: float) -> None:
        for turn in range(3):
            works = corners(*levels[turn:], *levels[:turn])
            assert figures(works) == pytest.approx((cut, fill, cut_area, fill_area), abs=1e-12)

    @steady
    @given(st.tuples(*[st.floats(-1, 1)] * 3))
    def test_cut_less_fill_is_the_mean_depth_times_the_area(self, levels: tuple[float, float, float]) -> None:
        works = corners(*levels)
        assert works.cut - works.fill == pytest.approx(sum(levels), abs=1e-9)  # 3 m² × a third of the sum
        assert works.cut >= 0
        assert works.fill >= 0
        assert works.cut_area + works.fill_area <= 3 + 1e-9

    @steady
    @given(st.tuples(*[st.floats(-1, 1)] * 3))
    def test_turning_it_upside_down_swaps_cut_and_fill(self, levels: tuple[float, float, float]) -> None:
        works, mirrored = corners(*levels), corners(*(-level for level in levels))
        assert (mirrored.cut, mirrored.fill) == pytest.approx((works.fill, works.cut), abs=1e-12)
        assert mirrored.highest_fill == works.deepest


class TestAreas:
    def test_a_notch_and_a_hole_take_out_their_own(self) -> None:
        notched = [(0, 0), (1, 0), (1, 1), (3, 1), (3, 0), (4, 0), (4, 4), (0, 4)]
        assert cut_and_fill(flat(0.5), LEVEL, notched).cut == pytest.approx(14 * 0.5, abs=1e-12)
        holed = shapely.box(0, 0, 4, 4) - shapely.box(1, 1, 2, 3)
        works = cut_and_fill(Ground([0, 4, 4, 0], [0, 0, 4, 4], [0, 0.4, 0.4, 0]), LEVEL, holed)
        assert works.cut == pytest.approx(16 * 0.2 - 2 * 0.15, abs=1e-12)  # the hole's own middle is at x 1.5, depth 0.15
        assert works.uncovered == 0

    def test_what_no_spot_surrounds_is_reported_and_not_guessed_at(self) -> None:
        works = cut_and_fill(flat(0.5), LEVEL, [(2, 0), (6, 0), (6, 4), (2, 4)])
        assert works.cut == pytest.approx(8 * 0.5, abs=1e-12)
        assert works.covered == pytest.approx(8.0, abs=1e-12)
        assert works.uncovered == pytest.approx(8.0, abs=1e-12)
        assert "8.0 m² (50%) lie outside the spots" in works.sentence()

    def test_spots_that_all_lie_elsewhere_are_refused(self) -> None:
        with pytest.raises(SurveyError):
            cut_and_fill(flat(0.5), LEVEL, [(10, 10), (12, 10), (12, 12)])

    def test_an_area_within_one_triangle(self) -> None:
        assert cut_and_fill(flat(0.5), LEVEL, [(0.1, 0.1), (0.3, 0.1), (0.3, 0.2)]).cut == pytest.approx(0.005, abs=1e-12)

    @steady
    @given(st.integers(0, 10**6), st.floats(0.5, 9.5), st.floats(0.5, 9.5))
    def test_splitting_the_area_adds_up(self, seed: int, x: float, y: float) -> None:
        ground, plane = hilly(seed), Plane(0.05, 0.01, -0.02)
        whole = cut_and_fill(ground, plane, shapely.box(0, 0, 10, 10))
        ell = [(0, 0), (10, 0), (10, 10), (x, 10), (x, y), (0, y)]
        parts = [cut_and_fill(ground, plane, ell), cut_and_fill(ground, plane, shapely.box(0, y, x, 10))]
        assert np.sum([figures(part) for part in parts], axis=0) == pytest.approx(figures(whole), abs=1e-9)
        assert max(part.deepest for part in parts) == pytest.approx(whole.deepest, abs=1e-9)
        assert whole.uncovered == 0

    def test_an_area_that_crosses_itself_is_refused(self) -> None:
        with pytest.raises(SurveyError, match="crosses"):
            cut_and_fill(flat(1), LEVEL, [(0, 0), (4, 4), (4, 0), (0, 4)])


def mean_depth(ground: Ground, plane: Plane, area: shapely.Polygon) -> float:
    """∫(ground − plane) over an area in m³ by the three mid-edge points of each triangle, exact for a flat one."""
    places: NDArray[np.float64] = np.column_stack([ground.x, ground.y])
    total = 0.0
    for triangle in ground.triangles:
        (ax, ay), (bx, by), (cx, cy) = places[triangle]
        size = abs((bx - ax) * (cy - ay) - (by - ay) * (cx - ax)) / 2
        middle = places[triangle].mean(axis=0)
        assert area.contains(shapely.Point(middle))
        total += size * (ground.level[triangle].mean() - plane.level_at(*middle))
    return float(total)


class TestIdentities:
    @steady
    @given(st.integers(0, 10**6), st.floats(-0.05, 0.05), st.floats(-0.05, 0.05), st.floats(-0.3, 0.3))
    def test_cut_less_fill_is_the_ground_less_the_formation(self, seed: int, gx: float, gy: float, level: float) -> None:
        ground, plane, area = hilly(seed), Plane(level, gx, gy, (5.0, 5.0)), shapely.box(0, 0, 10, 10)
        works = cut_and_fill(ground, plane, area)
        assert works.cut - works.fill == pytest.approx(mean_depth(ground, plane, area), abs=1e-9)
        assert works.net == pytest.approx(works.cut - works.fill, abs=1e-9)
        assert works.cut_area + works.fill_area == pytest.approx(100, abs=1e-9)
        assert works.deepest == pytest.approx(max((ground.level - plane.level_at(ground.x, ground.y)).max(), 0), abs=1e-9)

    @steady
    @given(st.integers(0, 10**6))
    def test_on_a_national_grid_nothing_changes(self, seed: int) -> None:
        shift = (450_000.0, 6_200_000.0)
        corners = np.array([(1, 1), (9, 0.5), (8, 9), (4, 5), (0.5, 8)])
        here = cut_and_fill(hilly(seed), Plane(0.0, 0.01, -0.02, (5.0, 5.0)), corners)
        there = cut_and_fill(hilly(seed, shift=shift), Plane(0.0, 0.01, -0.02, (450_005.0, 6_200_005.0)), corners + shift)
        assert figures(there) == pytest.approx(figures(here), abs=1e-6)
        assert there.deepest == pytest.approx(here.deepest, abs=1e-6)
        assert there.uncovered == 0

    @steady
    @given(st.integers(0, 10**6), st.floats(0.1, 10))
    def test_a_site_so_many_times_as_large_has_the_cube_of_its_volume(self, seed: int, size: float) -> None:
        ground = hilly(seed)
        large = Ground(ground.x * size, ground.y * size, ground.level * size)
        one = figures(cut_and_fill(ground, Plane(0, 0.01, -0.02), shapely.box(1, 1, 9, 9)))
        two = figures(cut_and_fill(large, Plane(0, 0.01, -0.02), shapely.box(size, size, 9 * size, 9 * size)))
        assert two[:2] == pytest.approx(np.array(one[:2]) * size**3, rel=1e-9, abs=1e-12)
        assert two[2:] == pytest.approx(np.array(one[2:]) * size**2, rel=1e-9, abs=1e-12)

    @steady
    @given(st.integers(0, 10**6), st.floats(0, 2 * math.pi))
    def test_turning_the_site_changes_nothing(self, seed: int, turn: float) -> None:
        ground, cos, sin = hilly(seed), math.cos(turn), math.sin(turn)
        area = shapely.Polygon([(1, 1), (9, 0.5), (8, 9), (4, 5), (0.5, 8)])
        turned = shapely.transform(area, lambda places: places @ np.array([[cos, sin], [-sin, cos]]))
        there = Ground(cos * ground.x - sin * ground.y, sin * ground.x + cos * ground.y, ground.level)
        plane = Plane(0.0, cos * 0.01 + sin * 0.02, sin * 0.01 - cos * 0.02)
        assert figures(cut_and_fill(there, plane, turned)) == pytest.approx(
            figures(cut_and_fill(ground, Plane(0.0, 0.01, -0.02), area)), abs=1e-9)


class TestFinishes:
    def test_a_valley_under_flat_ground_is_two_wedges(self) -> None:
        """Facets fall 0.4 m from both sides to y = 2: two wedges of 8 m², 0.2 m deep in the mean."""
        valley = Finish((Facet(Plane(0.0, 0.0, -0.2), shapely.box(0, 0, 4, 2)),
                         Facet(Plane(-0.4, 0.0, 0.2, (0.0, 2.0)), shapely.box(0, 2, 4, 4))))
        works = cut_and_fill(flat(0.0), valley, SQUARE)
        assert figures(works) == pytest.approx((16 * 0.2, 0, 16, 0), abs=1e-12)
        assert works.deepest == pytest.approx(0.4, abs=1e-12)
        assert works.deepest_at is not None
        assert works.deepest_at[1] == pytest.approx(2.0, abs=1e-9)

    def test_one_plane_in_three_facets_is_still_one_plane(self) -> None:
        ground, plane = hilly(3), Plane(0.0, 0.01, -0.02)
        facets = [shapely.box(0, 0, 10, 4), shapely.box(0, 4, 3, 10), shapely.box(3, 4, 10, 10)]
        parts = Finish(tuple(Facet(plane, facet) for facet in facets))
        whole = cut_and_fill(ground, plane, shapely.box(0, 0, 10, 10))
        assert figures(cut_and_fill(ground, parts, shapely.box(0, 0, 10, 10))) == pytest.approx(figures(whole), abs=1e-9)

    def test_what_no_facet_covers_is_reported_and_not_blamed_on_the_spots(self) -> None:
        works = cut_and_fill(flat(0.5), Finish.plane(LEVEL, shapely.box(0, 0, 4, 1)), SQUARE)
        assert works.cut == pytest.approx(2.0, abs=1e-12)
        assert works.uncovered == pytest.approx(12.0, abs=1e-12)
        assert "lie outside the spots" not in works.sentence()

    def test_a_facet_that_meets_the_area_along_an_edge_as_well_counts_once(self) -> None:
        around = shapely.Polygon([(2, 0), (3, 0), (3, 3), (0, 3), (0, 1), (1, 1), (1, 2), (2, 2)])
        assert cut_and_fill(flat(0.5), Finish.plane(LEVEL, around), shapely.box(0, 0, 2, 2)).cut == pytest.approx(0.5, abs=1e-12)

    def test_the_layers_lower_the_formation_by_their_thickness(self) -> None:
        finish = Finish.plane(Plane(0.0, 0.01, -0.02), SQUARE)
        ground = flat(0.5)
        above, below = cut_and_fill(ground, finish, SQUARE), cut_and_fill(ground, finish.lowered(0.18), SQUARE)
        assert below.net - above.net == pytest.approx(0.18 * 16, abs=1e-9)


class TestWords:
    def test_the_totals_in_a_sentence(self) -> None:
        sentence = cut_and_fill(flat(0.25), LEVEL, SQUARE).sentence()
        assert sentence.startswith("Dig 4.00 m³ over 16.0 m², fill 0.00 m³ over 0.0 m², measured in the ground.")
        assert "The deepest dig is 250 mm" in sentence
        assert "spots" not in sentence

    def test_where_nothing_is_dug_no_deepest_place_is_named(self) -> None:
        works = cut_and_fill(flat(-0.25), LEVEL, SQUARE)
        assert (works.deepest, works.deepest_at, works.highest_fill) == (0.0, None, 0.25)
        assert "deepest" not in works.sentence()

    def test_ground_that_is_already_right_is_not_said_to_be_dug(self) -> None:
        """Spots on the formation itself, so that only the last digits of the sums differ."""
        plane = Plane(9.9, 0.013, -1 / 60)
        x, y = np.random.default_rng(1).uniform(0, 6, (2, 30))
        works = cut_and_fill(Ground(x, y, plane.level_at(x, y)), plane, shapely.box(1, 1, 5, 5))
        assert works.cut == pytest.approx(0, abs=1e-9)
        assert "over 0.0 m², fill 0.00 m³ over 0.0 m²" in works.sentence()
        assert "deepest" not in works.sentence()
