"""Standing water against solids worked out by hand."""

from __future__ import annotations

import math
import warnings
from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest
import shapely

from sitelevels import Ground, SurveyError
from sitelevels.errors import SurveyWarning
from sitelevels.surface.ponding import Basin, Ponding, ponding

STRIP = [(0, 0), (6, 0), (6, 2), (0, 2)]
PLATE = [(0, 0), (6, 0), (6, 6), (0, 6)]
YARD = [(0, 0), (6, 0), (6, 4), (0, 4)]
ENDS = [((0, 0), (0, 2)), ((6, 0), (6, 2))]
BACK, FRONT = ((0, 0), (6, 0)), ((0, 4), (6, 4))
LEFT, RIGHT = ((0, 0), (0, 4)), ((6, 0), (6, 4))


def trough(left: float = 0.06, right: float = 0.06, fall: float = 0.0) -> Ground:
    """A valley along y = 1 whose sides rise to `left` at y = 0 and `right` at y = 2, falling to x = 0."""
    x = np.array([0, 6, 0, 6, 0, 6])
    return Ground(x, [0, 0, 1, 1, 2, 2], np.array([left, left, 0, 0, right, right]) + fall * x, breaks=[(2, 3)])


def pit(depth: float = 0.09, tilt: float = 0.0) -> Ground:
    """A square pit, 2 m wide and falling to its middle, in a plate of 6 m that rises by `tilt` along x."""
    x, y = np.array([0, 6, 6, 0, 2, 4, 4, 2, 3]), [0, 0, 6, 6, 2, 2, 4, 4, 3]
    return Ground(x, y, tilt * x - depth * (np.arange(9) == 8))


def plane(gx: float, gy: float) -> Ground:
    x, y = np.array([0, 6, 6, 0]), np.array([0, 0, 4, 4])
    return Ground(x, y, 10.0 + gx * x + gy * y)


def figures(found: Ponding) -> tuple[float, float, float]:
    return found.depth, found.area, found.volume


def only(found: Ponding) -> Basin:
    (basin,) = found.basins
    assert (basin.depth, basin.area, basin.volume) == pytest.approx(figures(found), abs=1e-12)
    return basin


class TestTroughs:
    def test_with_closed_ends_it_fills_to_its_sides(self) -> None:
        """A triangle 2 m wide and 60 mm deep, 6 m long."""
        assert figures(ponding(trough(), STRIP, walls=ENDS)) == pytest.approx((0.06, 12.0, 0.06 * 6), abs=1e-12)

    def test_the_lower_side_decides(self) -> None:
        """At 60 mm the far side is reached in full, the near one, 1:10, at 0.6 m: ½ × 1.6 × 0.06 × 6."""
        found = ponding(trough(left=0.10), STRIP, walls=ENDS)
        assert figures(found) == pytest.approx((0.06, 9.6, 0.288), abs=1e-12)
        basin = only(found)
        assert (basin.level, basin.place[1], basin.spill[1]) == pytest.approx((0.06, 1.0, 2.0), abs=1e-9)

    def test_a_wall_along_the_lower_side_makes_the_higher_decide(self) -> None:
        """The water then stands 40 mm up the wall: 0.288 with 60 mm, and from there on both sides."""
        found = ponding(trough(left=0.10), STRIP, walls=[*ENDS, ((0, 2), (6, 2))])
        section = 0.10 * 1.0 / 2 + (0.10 + 0.04) / 2
        assert figures(found) == pytest.approx((0.10, 12.0, 6 * section), abs=1e-12)

    @pytest.mark.parametrize("end", ENDS)
    def test_one_free_end_empties_it(self, end: Any) -> None:
        found = ponding(trough(), STRIP, walls=[end])
        assert figures(found) == (0.0, 0.0, 0.0)
        assert found.basins == ()
        sides = [((0, 0), (6, 0)), ((0, 2), (6, 2))]
        assert figures(ponding(trough(), STRIP, walls=[end, *sides])) == (0.0, 0.0, 0.0)

    def test_a_falling_one_with_a_wall_at_its_lower_end(self) -> None:
        """Depth s − t x − s |y − 1|: half as wide as (s − t x) / s at x, so ∫ (s − t x)² / s dx = s² / 3t, over s / t m²."""
        s, t = 0.06, 0.02
        found = ponding(trough(s, s, fall=t), STRIP, walls=ENDS[:1])
        assert figures(found) == pytest.approx((s, s / t, s * s / (3 * t)), abs=1e-12)
        assert only(found).place == pytest.approx((0.0, 1.0), abs=1e-12)
        assert only(found).spill[0] == pytest.approx(0.0, abs=1e-12)

    def test_a_falling_one_with_its_lower_end_free(self) -> None:
        assert figures(ponding(trough(fall=0.02), STRIP, walls=ENDS[1:])) == (0.0, 0.0, 0.0)


class TestPits:
    def test_a_pyramid(self) -> None:
        """a² h / 3, over the a² of its mouth."""
        found = ponding(pit(0.09), PLATE)
        assert figures(found) == pytest.approx((0.09, 4.0, 4 * 0.09 / 3), abs=1e-12)
        assert (only(found).place, only(found).level) == (pytest.approx((3, 3)), pytest.approx(0.0, abs=1e-12))

    def test_in_a_tilted_plate(self) -> None:
        """Depth h (1 − m) − t (1 + u), u from the middle and m = max(|u|, |v|): a pyramid (h − t) high in the middle.

        It reaches the rim at the low side, u = −1, and on the other side u₀ = (h − t) / (h + t), along the diagonals too: so the
        mouth is the triangle to the low rim, 1 m², one of u₀² m² and two of u₀ m² each, (1 + u₀)² in all.
        """
        h, t = 0.09, 0.02
        u0 = (h - t) / (h + t)
        found = ponding(pit(h, tilt=t), PLATE)
        assert figures(found) == pytest.approx((h - t, (1 + u0) ** 2, (h - t) * (1 + u0) ** 2 / 3), abs=1e-12)
        basin = only(found)
        assert (basin.level, basin.spill[0]) == pytest.approx((2 * t, 2.0), abs=1e-12)
        assert basin.path[0] == pytest.approx((3, 3))
        assert basin.path[-1][0] == pytest.approx(0.0, abs=1e-9)  # over the low edge of the plate
        assert any(np.allclose(place, basin.spill) for place in basin.path)

    def test_a_pit_so_tilted_that_it_runs_empty(self) -> None:
        assert ponding(pit(0.09, tilt=0.1), PLATE).depth == 0.0

    def test_depth_from_place_to_place(self) -> None:
        found = ponding(pit(0.09), PLATE)
        assert found.depth_at(3, 3) == pytest.approx(0.09, abs=1e-12)
        assert isinstance(found.depth_at(3, 3), float)
        assert found.depth_at([[3.5, 3.0, 2.5], [4.5, 1.0, 3.9]], [[3.2, 2.25, 3.5], [3.0, 1.0, 3.0]]) == pytest.approx(
            np.array([[0.045, 0.0225, 0.045], [0.0, 0.0, 0.009]]), abs=1e-12)

    def test_two_pits_are_told_deepest_first(self) -> None:
        x = [0, 8, 8, 0, 1, 2, 2, 1, 1.5, 5, 7, 7, 5, 6]
        y = [0, 0, 4, 4, 1, 1, 2, 2, 1.5, 1, 1, 3, 3, 2]
        level = np.where(np.arange(14) == 8, -0.03, np.where(np.arange(14) == 13, -0.06, 0.0))
        found = ponding(Ground(x, y, level), shapely.box(0, 0, 8, 4))
        assert found.table[["depth", "area", "volume", "x", "y"]].to_numpy() == pytest.approx(
            np.array([[0.06, 4, 0.08, 6, 2], [0.03, 1, 0.01, 1.5, 1.5]]), abs=1e-12)
        assert figures(found) == pytest.approx((0.06, 5, 0.09), abs=1e-12)

    def test_the_wet_triangles_hold_all_of_the_water(self) -> None:
        found = ponding(pit(0.09), PLATE)
        corners, depth = found.wet
        (ax, ay), (bx, by) = (corners[:, 1] - corners[:, 0]).T, (corners[:, 2] - corners[:, 0]).T
        assert (np.abs(ax * by - ay * bx) / 2 * depth.mean(axis=1)).sum() == pytest.approx(0.12, abs=1e-12)  # none is dry in part


class TestPlanes:
    @pytest.mark.parametrize(("gx", "gy"), [(0.0, -0.02), (0.011, -0.017), (1e-5, -1 / 80), (0.0, 0.0)])
    def test_nothing_stands_on_one_that_falls_away(self, gx: float, gy: float) -> None:
        found = ponding(plane(gx, gy), YARD, walls=[BACK])
        assert max(figures(found)) < 1e-9
        assert found.sentence() == "No water stands: all rain can run off."

    def test_one_that_falls_to_a_wall_runs_out_at_the_sides(self) -> None:
        """Level along the wall: at its ends the free sides are as low as anything."""
        assert max(figures(ponding(plane(0.0, 0.02), YARD, walls=[BACK]))) < 1e-9
        assert max(figures(ponding(plane(0.01, 0.02), YARD, walls=[BACK]))) < 1e-9
        assert max(figures(ponding(plane(0.01, 0.02), YARD, walls=[BACK, RIGHT]))) < 1e-9

    def test_between_three_walls_a_wedge_stands(self) -> None:
        """80 mm at the wall, nought at the edge 4 m off, 6 m long."""
        found = ponding(plane(0.0, 0.02), YARD, walls=[BACK, LEFT, RIGHT])
        assert figures(found) == pytest.approx((0.08, 24, 0.08 * 24 / 2), abs=1e-12)
        assert only(found).spill[1] == pytest.approx(4.0)

    def test_in_the_corner_of_two_walls(self) -> None:
        """It runs over at the far end of the back wall, 60 mm up; at 20 mm/m that is 3 m along the other: a tetrahedron."""
        found = ponding(plane(0.01, 0.02), YARD, walls=[BACK, LEFT])
        assert figures(found) == pytest.approx((0.06, 6 * 3 / 2, 9 * 0.06 / 3), abs=1e-12)
        assert only(found).spill == pytest.approx((6.0, 0.0), abs=1e-9)

    def test_one_free_stretch_alone(self) -> None:
        """From x 2 on the edge is free, 20 mm up: 2 m along the edge and 1 m out."""
        found = ponding(plane(0.01, 0.02), YARD, free=[((2, 0), (3, 0))])
        assert figures(found) == pytest.approx((0.02, 1.0, 0.02 / 3), abs=1e-12)
        assert only(found).spill == pytest.approx((2.0, 0.0), abs=1e-9)
        held = ponding(plane(0.01, 0.02), YARD, free=[((2, 0), (3, 0)), FRONT], walls=[((0, 0), (2.5, 0))])
        assert held.depth == pytest.approx(0.025, abs=1e-12)

    def test_spots_taped_a_little_off_the_edge_bridge_no_low_place(self) -> None:
        """The middle one, 3 mm in, is 20 mm low: water leaves there, and none stands behind a triangle that means nothing."""
        low = Ground([0, 3, 6, 6, 0], [0, 0.003, 0, 4, 4], [0, -0.02, 0, 0.1, 0.1])
        assert max(figures(ponding(low, YARD))) < 1e-9
        assert max(figures(ponding(low, YARD, free=[], outlets=[((0, 0), (6, 0))]))) < 1e-9


class TestOutlets:
    def test_at_the_bottom_it_empties_the_pit(self) -> None:
        assert figures(ponding(pit(), PLATE, outlets=[(3, 3)])) == (0.0, 0.0, 0.0)

    def test_half_way_up_it_leaves_the_half_as_high_pyramid(self) -> None:
        for outlet in ((3.5, 3.0), (3.2, 2.5), ((1.0, 3.0), (2.5, 3.0)), ((3.5, 3.0), (5.0, 5.0)), ((2.5, 2.6), (2.5, 3.4))):
            found = ponding(pit(0.08), PLATE, outlets=[outlet])
            assert figures(found) == pytest.approx((0.04, 1.0, 0.04 / 3), abs=1e-12)
            assert only(found).level == pytest.approx(-0.04, abs=1e-12)
            assert max(abs(np.array(only(found).spill) - 3)) == pytest.approx(0.5, abs=1e-9)
            assert only(found).path[-1] == pytest.approx(only(found).spill, abs=1e-9)

    def test_a_channel_across_the_pit_takes_all_that_lies_above_its_lowest_place(self) -> None:
        """Along y = 3.25 the pit is ¾ deep, and the water left is ¼ of its depth."""
        found = ponding(pit(0.08), PLATE, outlets=[((0, 3.25), (6, 3.25))])
        assert figures(found) == pytest.approx((0.02, 0.25, 0.02 * 0.25 / 3), abs=1e-12)

    def test_elsewhere_it_does_nothing_for_the_pit(self) -> None:
        found = ponding(pit(0.09), PLATE, free=[], outlets=[(1, 1)])
        assert figures(found) == pytest.approx((0.09, 4.0, 0.12), abs=1e-12)

    def test_one_a_little_outside_stands_at_the_edge(self) -> None:
        assert ponding(plane(0.0, 0.02), YARD, free=[], outlets=[(3, -0.2)]).depth < 1e-9
        assert ponding(plane(0.0, 0.02), shapely.box(0, -0.03, 6, 4), free=[], outlets=[(3, -0.03)]).depth < 1e-9
        channel = ponding(plane(0.0, 0.02), YARD, free=[], outlets=[((1, -0.2), (5, -0.2))])
        assert channel.depth < 1e-9


class TestEdges:
    def closed(self, *walls: Any) -> float:
        """Depth in a plane that falls 80 mm to the back, where `walls` stand, between two side walls."""
        return ponding(plane(0.0, 0.02), YARD, walls=[LEFT, RIGHT, *walls]).depth

    def test_a_wall_counts_as_near_as_a_tape_tells(self) -> None:
        assert self.closed(((0, -0.04), (6, -0.04))) == pytest.approx(0.08, abs=1e-12)
        assert self.closed(((0, -0.06), (6, -0.06))) == 0.0
        assert self.closed(((-1, 0), (7, 0))) == pytest.approx(0.08, abs=1e-12)
        assert self.closed(((0.04, 0), (5.97, 0))) == pytest.approx(0.08, abs=1e-12)
        assert self.closed(((0.04, 0), (3, 0)), ((3, 0), (5.96, 0))) == pytest.approx(0.08, abs=1e-12)
        assert self.closed(((0.06, 0), (3, 0)), ((3, 0), (6, 0))) == 0.0

    def test_two_walls_in_a_line(self) -> None:
        assert self.closed(((0, 0), (3, 0)), ((6, 0), (3.04, 0))) == pytest.approx(0.08, abs=1e-12)
        assert self.closed(((0, 0), (3, 0)), ((6, 0), (3.2, 0))) == 0.0

    def test_a_wall_that_comes_off_the_edge_holds_as_far_as_it_is_near(self) -> None:
        """1 in 100 off the edge: within 50 mm for 5 m of the 6."""
        assert self.closed(((0, 0), (6, -0.06))) == 0.0
        found = ponding(plane(0.01, 0.02), YARD, walls=[LEFT, ((0, 0), (6, -0.06))])
        assert found.depth == pytest.approx(0.05, abs=1e-12)

    def test_a_wall_at_a_corner_does_not_hold_the_next_edge(self) -> None:
        assert ponding(plane(0.01, 0.02), YARD, walls=[BACK]).depth == 0.0

    def test_small_steps_in_a_wall_are_held_with_it(self) -> None:
        stepped = [(0, 0), (2, 0), (2, 0.03), (4, 0.03), (4, 0), (6, 0), (6, 4), (0, 4)]
        assert ponding(plane(0.0, 0.02), stepped, walls=[BACK, LEFT, RIGHT]).depth == pytest.approx(0.08, abs=1e-12)

    def test_whatever_has_two_ends_is_a_wall(self) -> None:
        @dataclass
        class Built:
            first: tuple[float, float]
            second: tuple[float, float]

        assert self.closed(Built((0, 0), (6, 0))) == pytest.approx(0.08, abs=1e-12)
        assert self.closed(np.array(BACK)) == pytest.approx(0.08, abs=1e-12)

    def test_a_hole_has_edges_like_any_other(self) -> None:
        """Its edge reaches down to a fifth of the depth: 0.2² s of section. With walls round it only its own water is missing."""
        s, hole = 0.06, shapely.box(2, 0.5, 4, 0.8)
        sides = list(zip(hole.exterior.coords[:-1], hole.exterior.coords[1:], strict=True))
        found = ponding(trough(s, s), shapely.Polygon(STRIP) - hole, walls=ENDS)
        assert figures(found) == pytest.approx((0.2 * s, 0.4 * 6, 0.04 * s * 6), abs=1e-12)
        assert only(found).spill[1] == pytest.approx(0.8)
        walled = ponding(trough(s, s), shapely.Polygon(STRIP) - hole, walls=[*ENDS, *sides])
        missing = 2 * s * (0.8**2 - 0.5**2) / 2  # depth s y under the hole's 2 m
        assert figures(walled) == pytest.approx((s, 12 - 0.6, 6 * s - missing), abs=1e-12)

    def test_a_notch_lets_water_out_too(self) -> None:
        notched = [(0, 0), (2, 0), (2, 0.8), (4, 0.8), (4, 0), (6, 0), (6, 2), (0, 2)]
        found = ponding(trough(0.06, 0.06), notched, walls=ENDS)
        assert figures(found) == pytest.approx((0.2 * 0.06, 0.4 * 6, 0.04 * 0.06 * 6), abs=1e-12)

    def test_a_notch_in_a_valley_parts_the_water(self) -> None:
        notched = [(0, 0), (2, 0), (2, 1.5), (4, 1.5), (4, 0), (6, 0), (6, 2), (0, 2)]
        walls = [*ENDS, ((2, 0), (2, 1.5)), ((2, 1.5), (4, 1.5)), ((4, 1.5), (4, 0))]
        found = ponding(trough(0.10, 0.06), notched, walls=walls)
        section = (0.06 * 0.6 + 0.06 * 1) / 2
        assert found.volume == pytest.approx(4 * section + 2 * 0.03 * 0.5 / 2, abs=1e-12)
        assert len(found.basins) == 1  # joined by the strip beside the notch, 30 mm deep

    def test_where_the_spots_end_short_of_the_edge_the_nearest_edge_counts(self) -> None:
        wide = [(-0.2, -0.2), (6.2, -0.2), (6.2, 2.2), (-0.2, 2.2)]
        walls = [((-0.2, -0.2), (-0.2, 2.2)), ((6.2, -0.2), (6.2, 2.2))]
        found = ponding(trough(), wide, walls=walls)
        assert figures(found) == pytest.approx((0.06, 12.0, 0.36), abs=1e-12)
        assert found.uncovered == pytest.approx(6.4 * 2.4 - 12, abs=1e-9)
        assert "3.4 m² (22% of the area) have no spots around them" in found.sentence()
        half = ponding(trough(), wide, walls=walls[:1])
        assert half.depth == 0.0
        near = ponding(trough(), shapely.box(-0.01, 0, 6, 2), walls=[((-0.01, 0), (-0.01, 2)), ENDS[1]])
        assert near.uncovered == pytest.approx(0.02)
        assert "spots" not in near.sentence()

    def test_a_free_part_of_an_edge_that_the_spots_do_not_reach(self) -> None:
        """The border of the spots is free where the edge 0.2 m off is: from x 2 on, 20 mm up."""
        found = ponding(plane(0.01, 0.02), shapely.box(0, -0.2, 6, 4), free=[((2, -0.2), (3, -0.2))])
        assert found.depth == pytest.approx(0.02, abs=1e-12)


class TestFilling:
    def test_a_pyramid_fills_with_the_third_root(self) -> None:
        basin = only(ponding(pit(0.09), PLATE))
        for share in (0.0, 1e-6, 0.125, 0.5, 0.999):
            assert basin.depth_after(share * 0.12) == pytest.approx(0.09 * share ** (1 / 3), abs=1e-12)
            assert basin.level_after(share * 0.12) == pytest.approx(-0.09 + 0.09 * share ** (1 / 3), abs=1e-12)

    def test_it_stops_where_it_runs_over(self) -> None:
        basin = only(ponding(pit(0.09), PLATE))
        assert basin.level_after(basin.volume) == basin.level
        assert basin.level_after(1e6) == basin.level
        assert basin.depth_after(1e6) == basin.depth

    def test_the_level_waits_at_a_ridge_inside(self) -> None:
        """Two valleys across: 0 at x 1 and 20 mm at x 3, a ridge of 50 mm between, the edges at 100 mm; 2 m wide.

        To the ridge the first holds ½ × 1.5 × 0.05 × 2 = 0.075 m³ and the second ½ × 1.375 × 0.03 × 2 = 0.04125 m³. From there
        up the two are one: all 4 m hold 0.46 m³ to the brim, and 0.02 m³ to 60 mm more than to the ridge by wedges and slab.
        """
        x = np.repeat([0, 1, 2, 3, 4], 2)
        ground = Ground(x, [0, 2] * 5, np.repeat([0.10, 0.0, 0.05, 0.02, 0.10], 2),
                        breaks=[(0, 1), (2, 3), (4, 5), (6, 7), (8, 9)])
        area = shapely.box(0, 0, 4, 2)
        basin = only(ponding(ground, area, walls=[((0, 0), (4, 0)), ((0, 2), (4, 2))]))
        assert (basin.volume, basin.level, basin.place[0]) == pytest.approx((0.46, 0.10, 1.0), abs=1e-12)
        assert basin.level_after(0.0749) < 0.05
        for volume in (0.0750001, 0.09, 0.11624):
            assert basin.level_after(volume) == pytest.approx(0.05, abs=1e-12)
        to_60 = 0.11625 + 2 * (0.01 * 2.875 + 0.01 * (0.1 + 0.125) / 2)  # 10 mm over 1.5 + 1.375 m, and a wedge at each end
        assert basin.level_after(to_60) == pytest.approx(0.06, abs=1e-12)
        assert basin.level_after(0.02) == pytest.approx(math.sqrt(2 * 0.02 / 2 / 30), abs=1e-12)  # 10 + 20 m wide per m of depth

    def test_of_two_places_as_deep_the_one_that_is_named_fills_first(self) -> None:
        """Valleys of one depth, 1.5 m and 2.5 m wide at the ridge of 50 mm, hold 0.075 and 0.125 m³ to it."""
        for order in (1, -1):
            x = np.repeat([0, 1, 2, 3.5, 5.5], 2)[::order]
            ground = Ground(x, [0, 2] * 5, np.repeat([0.10, 0.0, 0.05, 0.0, 0.10], 2)[::order])
            basin = only(ponding(ground, shapely.box(0, 0, 5.5, 2), walls=[((0, 0), (5.5, 0)), ((0, 2), (5.5, 2))]))
            own = {1.0: 0.075, 3.5: 0.125}[basin.place[0]]
            assert basin.level_after(0.99 * own) < 0.0499
            assert basin.level_after(1.01 * own) == pytest.approx(0.05, abs=1e-12)

    @pytest.mark.parametrize("volume", [-0.1, math.nan, math.inf, "much", None])
    def test_what_is_no_volume_is_refused(self, volume: Any) -> None:
        basin = only(ponding(pit(0.09), PLATE))
        with pytest.raises(SurveyError, match="volume"):
            basin.level_after(volume)
        with pytest.raises(SurveyError, match="volume"):
            basin.depth_after(volume)


class TestRefusals:
    @pytest.mark.parametrize(("given", "said"), [
        ({"free": []}, "leave nowhere"),
        ({"walls": [BACK, FRONT, LEFT, RIGHT]}, "outlet or a free edge"),
        ({"free": "none"}, "free edges are 'none'"),
        ({"free": [(0, 0)]}, "free edge 1"),
        ({"free": [((1, 1), (2, 1))]}, "no edge of the area"),
        ({"free": 3}, "free edges are 3"),
        ({"walls": [((0, 0), (0, 0))]}, "no length"),
        ({"walls": [((0, 0), (math.nan, 0))]}, "wall 1"),
        ({"walls": ["north"]}, "wall 1 is 'north'"),
        ({"walls": np.array(3.0)}, "list"),
        ({"outlets": [(9, 2)]}, "3.00 m outside the area"),
        ({"outlets": [(1, 1), (3, 4.5)]}, "Outlet 2"),
        ({"outlets": [((1, 1), (3, 9))]}, "outside the area"),
        ({"outlets": (1, 1)}, "outlet 1 is 1"),
        ({"outlets": [(1, 1, 1)]}, "channel of two places"),
        ({"outlets": "gully"}, "outlets are 'gully'"),
        ({"outlets": 5}, "outlets are 5"),
    ])
    def test_each_in_a_sentence(self, given: Any, said: str) -> None:
        with pytest.raises(SurveyError, match=f"(?i){said}"):
            ponding(plane(0.01, 0.02), YARD, **given)

    def test_an_outlet_where_no_spot_was_read(self) -> None:
        with pytest.raises(SurveyError, match=r"(?i)outlet 1, at x 8 y 2, lies outside the spots"):
            ponding(plane(0.01, 0.02), shapely.box(0, 0, 9, 4), outlets=[(8, 2)])

    def test_what_is_no_ground_or_area(self) -> None:
        with pytest.raises(SurveyError, match="ground"):
            ponding([(0, 0, 1)], YARD)  # type: ignore[arg-type]
        with pytest.raises(SurveyError, match="crosses"):
            ponding(plane(0, 0), [(0, 0), (4, 4), (4, 0), (0, 4)])
        with pytest.raises(SurveyError, match="spots lie outside"):
            ponding(plane(0, 0), shapely.box(10, 10, 12, 12))

    def test_a_part_that_the_rest_does_not_reach(self) -> None:
        """A U whose two legs alone have spots, only one of them with a free edge."""
        u = shapely.box(0, 0, 6, 8) - shapely.box(2, -1, 4, 7)
        with pytest.raises(SurveyError, match="leave nowhere"):
            ponding(plane(0.01, 0.02), u, free=[((0, 0), (0, 3))])

    def test_places_outside(self) -> None:
        found = ponding(plane(0.01, 0.02), shapely.box(1, 1, 3, 3))
        for x, y in ((0.5, 2.0), ([2.0, 3.5], [2.0, 2.0])):
            with pytest.raises(SurveyError, match="outside the area"):
                found.depth_at(x, y)
        with pytest.raises(SurveyError, match="finite"):
            found.depth_at(math.nan, 1)
        assert found.covers([2.0, 3.5, 1.0], [2.0, 2.0, 1.0]).tolist() == [True, False, True]

    def test_a_wall_through_the_area_is_doubtful(self) -> None:
        with pytest.warns(SurveyWarning, match="runs through the area"):
            ponding(plane(0.01, 0.02), YARD, walls=[((3, -1), (3, 3))])
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            ponding(plane(0.01, 0.02), YARD, walls=[((-2, 1), (0, 1)), ((8, 0), (8, 4))])  # outside it, or up to it


class TestWords:
    def test_the_sentence_and_the_tables(self) -> None:
        found = ponding(pit(0.09), PLATE)
        assert found.sentence().startswith("Water stands in one place, over 4.0 m² and 120 l in all; it is deepest, 90.0 mm, at "
                                           "x 3 y 3, and runs over there at x ")
        assert repr(found) == f"Ponding: {found.sentence()}"
        assert list(found.table) == ["basin", "depth", "area", "volume", "level", "x", "y", "spill_x", "spill_y"]
        assert found.words.iloc[0].tolist()[:5] == ["90.0 mm", "x 3 y 3", "4.0 m²", "120 l", "0.000 m"]
        assert "<td" in found._repr_html_()
        assert "<td" not in ponding(plane(0.0, 0.02), YARD)._repr_html_()

    def test_more_than_a_cubic_metre(self) -> None:
        assert "1.20 m³" in ponding(pit(0.9), PLATE).sentence()

    def test_nothing_can_be_changed(self) -> None:
        found = ponding(pit(0.09), PLATE)
        with pytest.raises(AttributeError):
            found.depth = 0.0  # type: ignore[misc]
        for array in (found.wet.depth, found.wet.corners, found.basins[0].path, found.flooded.water):
            with pytest.raises(ValueError, match="read-only"):
                array[0] = 0.0
