"""What is taken up and dug, by hand: old floors, footings, the margin beyond the edges."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
import shapely

from sitelevels import Brief, Finish, Ground, Layer, Meet, Plane, SurveyError, SurveyWarning, Wall
from sitelevels.design.layers import Footing, Underside
from sitelevels.works.dig import Dig, dig_out

YARD = [(0, 0), (4, 0), (4, 3), (0, 3)]  # 12 m²
LAYERS = [Layer("slab", 0.05), Layer("base", 0.10)]  # 150 mm
HOUSE = Wall("house", (0, 0), (4, 0), dpc=10.1)


def flat(level: float = 10.0, reach: float = 2.0) -> Ground:
    return Ground([-reach, 4 + reach, 4 + reach, -reach], [-reach, -reach, 3 + reach, 3 + reach], [level] * 4)


def box(*bounds: float) -> shapely.Polygon:
    return shapely.box(*bounds)


def dug(finish: Any = 9.95, *, ground: Ground | None = None, area: Any = None, **brief: Any) -> Dig:
    """The yard with its ground at 10.000 and the finished surface at 9.950: formation 9.800, 200 mm to dig; no margin."""
    area = YARD if area is None else area
    plane = finish if isinstance(finish, (Plane, Finish)) else Plane(finish, 0, 0)
    surface = plane if isinstance(plane, Finish) else Finish.plane(plane, area)
    return dig_out(ground or flat(), surface, Brief(area, **{"layers": LAYERS, "beyond_edge": 0.0} | brief))


def volumes(dig: Dig) -> tuple[float, float, float]:
    """Concrete, soil, fill, m³."""
    return dig.concrete, dig.soil, dig.fill


def about(*numbers: float) -> Any:
    return pytest.approx(numbers, abs=1e-8)


class TestPlainDig:
    def test_a_prism(self) -> None:
        dig = dug()
        assert volumes(dig) == about(0, 12 * 0.2, 0)
        assert (dig.deepest, dig.strip_area, dig.carried.soil, dig.uncovered, dig.displaced) == about(0.2, 0, 0, 0, 0)

    def test_fill_where_the_formation_lies_above(self) -> None:
        assert volumes(dug(10.25)) == about(0, 0, 12 * 0.1)
        assert dug(10.25).deepest == 0

    def test_half_cut_half_fill(self) -> None:
        """Formation from 9.9 at x 0 to 10.1 at x 4: a wedge of each, ½ × 0.1 × 2 × 3."""
        assert volumes(dug(Plane(10.05, 0.05, 0.0))) == about(0, 0.3, 0.3)

    def test_a_notch_and_a_hole(self) -> None:
        notched = [(0, 0), (1, 0), (1, 1), (2, 1), (2, 0), (4, 0), (4, 3), (0, 3)]
        assert dug(area=notched).soil == pytest.approx(11 * 0.2, abs=1e-8)
        assert dug(area=box(0, 0, 4, 3) - box(1, 1, 2, 2)).soil == pytest.approx(11 * 0.2, abs=1e-8)

    def test_a_channel_with_two_facets(self) -> None:
        """Channel at 9.85 along y = 1.5, sides up at 1:50: mean finish 9.85 + 0.015, formation 150 mm lower."""
        yard = Finish.channel(((0, 1.5), (4, 1.5)), YARD, level=9.85, left=0.02, right=0.02)
        assert dug(yard).soil == pytest.approx(12 * (10.0 - (9.865 - 0.15)), abs=1e-8)
        assert len(dug(yard).formation.facets) == 2

    def test_an_outlet_with_four_facets(self) -> None:
        """A pyramid upside down, 60 mm deep: its mean lies two thirds of that above the outlet."""
        yard = Finish.outlet((2, 1.5), YARD, level=9.89, perimeter=9.95)
        assert dug(yard).soil == pytest.approx(12 * (10.0 - (9.89 + 0.06 * 2 / 3 - 0.15)), abs=1e-8)
        assert dug(yard).deepest == pytest.approx(0.26, abs=1e-8)

    def test_ground_that_covers_half(self) -> None:
        dig = dug(ground=Ground([0, 2, 2, 0], [0, 0, 3, 3], [10.0] * 4))
        assert (dig.soil, dig.uncovered) == about(6 * 0.2, 6.0)
        assert "6.0 m² of the paving lie outside the spots" in dig.sentence()

    @pytest.mark.parametrize("given", [(None, 1, 2), (flat(), Plane(9, 0, 0), Brief(YARD)), (flat(), None, Brief(YARD)),
                                       (flat(), Finish.plane(Plane(9, 0, 0), YARD), None)], ids=str)
    def test_refusals(self, given: Any) -> None:
        with pytest.raises(SurveyError):
            dig_out(*given)

    def test_ground_elsewhere_is_refused(self) -> None:
        with pytest.raises(SurveyError, match="spots lie outside"):
            dug(ground=Ground([11, 12, 12], [1, 1, 2], [10.0] * 3))

    def test_only_the_margin_is_read(self) -> None:
        """Spots beside the yard and none in it: nothing is known of the paving."""
        with pytest.raises(SurveyError):
            dug(ground=Ground([4.02, 4.12, 4.12, 4.02], [0, 0, 3, 3], [10.0] * 4), beyond_edge=0.15)

    def test_table_and_page(self) -> None:
        dig = dug(underside=Underside(0.1, box(0, 0, 2, 3)), footings=[Footing("old", box(3, 0, 4, 1), 9.9)], beyond_edge=0.15)
        table = dig.table
        assert table.columns.tolist() == ["place", "what", "area", "concrete", "soil", "fill"]
        assert table["soil"].sum() == pytest.approx(dig.soil, abs=1e-9)
        assert table["concrete"].sum() == pytest.approx(dig.concrete, abs=1e-9)
        assert table["area"].sum() == pytest.approx(12 + dig.strip_area, abs=1e-6)
        assert dig.table is not table
        assert "Break out 0.60 m³" in dig.sentence()
        assert dig._repr_html_().count("<tr>") >= len(table)


class TestOldFloor:
    @pytest.mark.parametrize(("floor", "expected"), [
        (0.10, (1.2, 1.2, 0.0)),  # thinner than the dig of 200 mm: concrete and 100 mm of soil
        (0.20, (2.4, 0.0, 0.0)),  # just as thick
        (0.26, (3.12, 0.0, 0.72)),  # thicker: 60 mm to fill
    ])
    def test_the_lower_of_formation_and_underside(self, floor: float, expected: tuple[float, ...]) -> None:
        dig = dug(underside=Underside(floor))
        assert volumes(dig) == about(*expected)
        assert dig.deepest == pytest.approx(max(floor, 0.2), abs=1e-8)

    def test_half_the_yard(self) -> None:
        dig = dug(underside=Underside(0.26, box(0, 0, 2, 3)))
        assert volumes(dig) == about(6 * 0.26, 6 * 0.2, 6 * 0.06)
        assert dig.floor_outside == pytest.approx(0, abs=1e-9)

    def test_beside_the_yard_it_is_told_and_not_counted(self) -> None:
        dig = dug(underside=Underside(0.10, box(2, 0, 9, 3)))
        assert volumes(dig) == about(6 * 0.1, 6 * 0.1 + 6 * 0.2, 0)
        assert dig.floor_outside == pytest.approx(15.0, abs=1e-6)
        assert "15.0 m² of the old floor lie outside the dig" in dig.sentence()

    def test_under_the_margin(self) -> None:
        """The floor runs on under the margin of 0.5 m along x = 4 where it is said to."""
        walls = [HOUSE, Wall("shed", (4, 3), (0, 3), dpc=10.1), Wall("fence", (0, 3), (0, 0), dpc=10.1)]
        told = Underside(0.10, box(0, 0, 9, 3))
        assert dug(underside=told, walls=walls, beyond_edge=0.5).concrete == pytest.approx(1.35, abs=1e-8)
        assert dug(underside=Underside(0.10), walls=walls, beyond_edge=0.5).concrete == pytest.approx(1.2, abs=1e-8)

    @pytest.mark.parametrize("places", [[(0.5, 0.5, 0.08), (3.0, 2.0, 0.14)], [(0, 0, 0.10), (4, 0, 0.12), (1.0, 2.5, 0.17)]])
    def test_several_thicknesses(self, places: list[tuple[float, float, float]]) -> None:
        """As measured there, 1/d² at the six spots, flat over triangles with corners at both: a third of its corners each."""
        xs, ys = [0.0, 4.0, 4.0, 0.0, 1.7, 2.9], [0.0, 0.0, 3.0, 3.0, 1.2, 2.2]
        ground = Ground(xs, ys, [10.0, 10.1, 10.05, 9.95, 10.0, 10.02])
        triangles = [[(xs[corner], ys[corner]) for corner in one] for one in ground.triangles]
        for x, y, _ in places:
            held = [one for one in triangles if shapely.Polygon(one).distance(shapely.Point(x, y)) < 1e-9 and (x, y) not in one]
            triangles = [one for one in triangles if one not in held]
            new = [[one[side - 1], one[side], (x, y)] for one in held for side in range(3)]
            triangles += [one for one in new if shapely.Polygon(one).area > 1e-9]  # on a side of two triangles it makes four
        expected = 0.0
        for one in triangles:
            thick = []
            for x, y in one:
                squares = [(x - px)**2 + (y - py)**2 for px, py, _ in places]
                at = [place[2] for place, square in zip(places, squares, strict=True) if square == 0]
                shares = [0.0] if at else [1 / square for square in squares]
                thick.append(at[0] if at else sum(p[2] * by for p, by in zip(places, shares, strict=True)) / sum(shares))
            expected += shapely.Polygon(one).area * sum(thick) / 3
        assert dug(ground=ground, underside=Underside(places)).concrete == pytest.approx(expected, rel=1e-8)


class TestFootings:
    """Formation 9.800, ground 10.000."""

    def test_under_a_flat_formation(self) -> None:
        """Its top 9.900 stands 100 mm above the formation: half as deep a dig over its 2 m × 0.5 m."""
        dig = dug(footings=[Footing("old", box(1, 1, 3, 1.5), 9.9)])
        assert volumes(dig) == about(0, 2.4 - 0.1, 0)
        assert dig.displaced == pytest.approx(0.1, abs=1e-8)

    def test_below_the_formation_it_changes_nothing(self) -> None:
        dig = dug(footings=[Footing("old", box(1, 1, 3, 1.5), 9.8)])
        assert (dig.soil, dig.displaced) == about(2.4, 0)

    def test_above_the_ground_nothing_is_dug_or_filled_over_it(self) -> None:
        dig = dug(footings=[Footing("plinth", box(1, 1, 3, 1.5), 10.1)])
        assert volumes(dig) == about(0, 2.4 - 0.2, 0)
        assert dig.displaced == pytest.approx(0.15, abs=1e-8)  # no more than the layers are thick

    def test_a_sloping_formation_cuts_its_top_in_half(self) -> None:
        """Formation 9.80 + 0.05 (x − 2) meets the top 9.80 at x = 2: to the left a wedge ½ × 0.05 × 1 × 1 × 1 m stays."""
        dig = dug(Plane(9.95, 0.05, 0.0, (2.0, 0.0)), footings=[Footing("old", box(1, 1, 3, 2), 9.80)])
        assert dig.soil == pytest.approx(2.4 - 0.025, abs=1e-8)
        assert dig.displaced == pytest.approx(0.025, abs=1e-8)
        over = dig.table[dig.table["what"].str.contains("footing")]
        assert over["area"].sum() == pytest.approx(2.0, abs=1e-6)  # the half below the formation is told apart too

    def test_a_formation_that_slopes_askew(self) -> None:
        """Along x + y the same: the half square below the diagonal; depth 0.03 (2 − u − v) over it is 0.03 × 2 × ½ × ⅓."""
        footing = Footing("old", box(1, 1, 3, 3), 9.80)
        dig = dug(Plane(9.95, 0.03, 0.03, (2.0, 2.0)), footings=[footing])
        assert dig.displaced == pytest.approx(2.0 * 0.03 * 2 / 3, abs=1e-8)

    def test_under_two_facets(self) -> None:
        """Channel formation at 9.70, sides up at 1:20: at 9.75 the top stands above it within 1 m: two wedges of 25 l/m."""
        yard = Finish.channel(((0, 1.5), (4, 1.5)), YARD, level=9.85, left=0.05, right=0.05)
        dig = dug(yard, footings=[Footing("haunch", box(1, 0, 2, 3), 9.75)])
        assert dig.displaced == pytest.approx(2 * 0.025, abs=1e-8)
        assert dig.soil == pytest.approx(12 * (0.3 - 0.0375) - 0.05, abs=1e-8)

    def test_outside_the_area_or_beside_it(self) -> None:
        for shape in (box(10, 0, 12, 1), box(4, 0, 5, 3)):
            with pytest.warns(SurveyWarning, match="The footing 'old' lies outside the dig"):
                assert volumes(dug(footings=[Footing("old", shape, 9.9)])) == about(0, 2.4, 0)

    def test_on_the_line_of_a_wall(self) -> None:
        """Half of it lies under the wall: 4 m × 0.1 m in the yard, 100 mm above the formation."""
        dig = dug(walls=[HOUSE], footings=[Footing("the wall's", box(0, -0.2, 4, 0.1), 9.9)])
        assert (dig.soil, dig.displaced) == about(2.4 - 0.04, 0.04)

    def test_in_the_margin(self) -> None:
        dig = dug(footings=[Footing("old", box(3.5, 1, 4.1, 2), 9.9)], beyond_edge=0.15)
        assert dig.displaced == pytest.approx(0.06, abs=1e-8)
        assert dig.soil == pytest.approx((12 + dig.strip_area) * 0.2 - 0.06, abs=1e-7)

    @pytest.mark.parametrize(("second", "top", "stays"), [
        (box(2, 1, 3.5, 2), 9.9, 0.1 * (2 + 1.5 - 1)), (box(2, 1, 3.5, 2), 9.85, 0.1 * 2 + 0.05 * 0.5),
        (box(1, 1, 3, 2), 9.9, 0.2),
        (box(2, 1, 3.5, 2), 9.95, 0.15 * 1.5 + 0.1 * 1)])
    def test_two_that_lie_over_each_other_count_once_by_the_higher(self, second: Any, top: float, stays: float) -> None:
        dig = dug(footings=[Footing("one", box(1, 1, 3, 2), 9.9), Footing("two", second, top)])
        assert dig.displaced == pytest.approx(stays, abs=1e-8)
        assert dig.soil == pytest.approx(2.4 - stays, abs=1e-8)

    def test_side_by_side(self) -> None:
        dig = dug(footings=[Footing("one", box(1, 1, 2, 2), 9.9), Footing("two", box(2, 1, 3, 2), 9.85)])
        assert dig.displaced == pytest.approx(0.15, abs=1e-8)

    def test_under_an_old_floor(self) -> None:
        """150 mm of concrete come off down to 9.850; over the footing (1 m², top 9.820) 30 mm of soil are left, else 50."""
        dig = dug(underside=Underside(0.15), footings=[Footing("old", box(1, 1, 2, 2), 9.82)])
        assert volumes(dig) == about(1.8, 11 * 0.05 + 0.03, 0)

    def test_that_reaches_into_a_thick_floor(self) -> None:
        """The floor's underside 9.740 lies below formation and top: nothing is filled over the footing, 60 mm elsewhere."""
        dig = dug(underside=Underside(0.26), footings=[Footing("old", box(1, 1, 2, 2), 9.82)])
        assert (dig.soil, dig.fill) == about(0, 11 * 0.06)

    def test_concrete_is_broken_out_above_its_top_only(self) -> None:
        """A pier of 1 m² that comes up through the floor: its 0.1 m³ are not the floor's."""
        dig = dug(underside=Underside(0.1), footings=[Footing("pier", box(1, 1, 2, 2), 10.0)])
        assert (dig.concrete, dig.soil) == about(11 * 0.1, 11 * 0.1)


class TestMargin:
    def test_round_a_yard_without_walls(self) -> None:
        """The greater of 150 mm and the base of 100; corners square."""
        dig = dug(beyond_edge=None)
        assert dig.strip_area == pytest.approx(4.3 * 3.3 - 12, abs=1e-6)
        assert dig.soil == pytest.approx(4.3 * 3.3 * 0.2, abs=1e-6)
        assert dig.carried.soil == 0

    def test_a_thick_base_reaches_as_far_as_it_is_thick(self) -> None:
        dig = dug(layers=[Layer("slab", 0.05), Layer("base", 0.25)], beyond_edge=None)
        assert dig.strip_area == pytest.approx(4.5 * 3.5 - 12, abs=1e-6)

    def test_none_without_a_base(self) -> None:
        assert dug(layers=[Layer("slab", 0.05, kind="units")], beyond_edge=None).strip_area == 0

    def test_not_against_a_wall(self) -> None:
        """Three sides; at the house it ends flush with the wall's line."""
        assert dug(walls=[HOUSE], beyond_edge=0.15).strip_area == pytest.approx(2 * 3 * 0.15 + 4.3 * 0.15, abs=1e-6)

    @pytest.mark.parametrize("how", [{"kept": [((4, 3), (0, 3))]}, {"demands": [Meet([("E", 2.0, 3.05, 9.9)], 0.006)]}],
                             ids=["said", "met"])
    def test_nor_along_paving_that_stays(self, how: dict[str, Any]) -> None:
        assert dug(walls=[HOUSE], beyond_edge=0.15, **how).strip_area == pytest.approx(2 * 3 * 0.15, abs=1e-6)
        beside = dug(walls=[HOUSE], beyond_edge=0.15, kept=[((4, 0), (4, 3))])
        assert beside.strip_area == pytest.approx(3 * 0.15 + 4.15 * 0.15, abs=1e-6)

    def test_an_l(self) -> None:
        """Round the L: 14 m of sides, five outer corners add a square each, at the inner one two strips share one."""
        ell = [(0, 0), (4, 0), (4, 1), (2, 1), (2, 3), (0, 3)]
        assert dug(area=ell, beyond_edge=0.15).strip_area == pytest.approx(14 * 0.15 + (5 - 1) * 0.15**2, abs=1e-6)

    def test_a_wall_in_the_inner_corner_of_an_l(self) -> None:
        """The wall stands along x = 2 from y 1 to 3; past y = 1 the strip stops at its face."""
        ell = [(0, 0), (4, 0), (4, 1), (2, 1), (2, 3), (0, 3)]
        wall = Wall("shed", (2, 1), (2, 3), dpc=10.1)
        assert dug(area=ell, walls=[wall], beyond_edge=0.15).strip_area <= 12 * 0.15 + 4 * 0.15**2 + 1e-6

    def test_a_notch_narrower_than_twice_the_margin_is_dug_once(self) -> None:
        notched = [(0, 0), (4, 0), (4, 3), (2.1, 3), (2.1, 2), (1.9, 2), (1.9, 3), (0, 3)]
        assert dug(area=notched, beyond_edge=0.15).strip_area == pytest.approx(4.3 * 3.3 - 11.8, abs=1e-6)

    def test_a_side_oblique_to_the_others(self) -> None:
        """A triangle of 3, 4, 5: its sharp corners are cut off where they would run out further than twice the margin."""
        area = dug(area=[(0, 0), (4, 0), (0, 3)], beyond_edge=0.15).strip_area
        whole = 0.15 * 12 + 0.15**2 * sum(1 / math.tan(turn / 2) for turn in (math.pi / 2, math.atan2(3, 4), math.atan2(4, 3)))
        assert 12 * 0.15 < area <= whole + 1e-6

    def test_the_formation_is_carried_on_past_the_edge(self) -> None:
        """Finish up 1:10 along x: past x = 4 the formation goes on rising, past x = 0 on falling."""
        dig = dug(Plane(9.75, 0.1, 0.0), walls=[HOUSE], kept=[((4, 3), (0, 3))], beyond_edge=0.2)
        assert dig.soil == pytest.approx(3 * (4.0 * 0.2 + 0.2 * (0.4 + 0.01) + 0) - 0.0, abs=1e-8)
        assert dig.fill == pytest.approx(3 * 0.2 * 0.01, abs=1e-8)

    def test_each_facet_past_its_own_part_of_a_side(self) -> None:
        yard = Finish.channel(((0, 1.5), (4, 1.5)), YARD, level=9.85, left=0.02, right=0.02)
        dig = dug(yard, walls=[HOUSE], kept=[((0, 3), (0, 0)), ((4, 3), (0, 3))], beyond_edge=0.5)
        assert dig.strip_area == pytest.approx(1.5, abs=1e-6)
        assert dig.soil == pytest.approx((12 + 1.5) * (10.0 - (9.865 - 0.15)), abs=1e-6)

    def test_no_spots_beyond_the_edge(self) -> None:
        """The ground is carried on as at the nearest place: here level, so the volume is as if it had been read."""
        ground = Ground([0, 4, 4, 0], [0, 0, 3, 3], [10.0] * 4)
        dig = dug(ground=ground, beyond_edge=0.15)
        assert (dig.carried.soil, dig.soil) == pytest.approx(((4.3 * 3.3 - 12) * 0.2, 4.3 * 3.3 * 0.2), abs=1e-6)
        assert "beyond the spots" in dig.sentence()
        assert dig.table["area"].sum() == pytest.approx(4.3 * 3.3, abs=1e-6)

    def test_carried_on_from_a_slope_the_nearest_level_counts(self) -> None:
        """Ground 10.0 + 0.1 x, read in the yard only: past x = 4 it stays at 10.4, past x = 0 at 10.0."""
        ground = Ground([0, 4, 4, 0], [0, 0, 3, 3], [10.0, 10.4, 10.4, 10.0])
        dig = dug(ground=ground, walls=[HOUSE], kept=[((4, 3), (0, 3))], beyond_edge=0.15)
        assert dig.carried.soil == pytest.approx(3 * 0.15 * (0.6 + 0.2), abs=1e-6)

    def test_what_is_filled_there_is_carried_on_too(self) -> None:
        """Ground 100 mm below the formation in the yard, and so beyond it."""
        dig = dug(ground=Ground([0, 4, 4, 0], [0, 0, 3, 3], [9.7] * 4), beyond_edge=0.15)
        assert dig.fill == pytest.approx(4.3 * 3.3 * 0.1, abs=1e-6)

    def test_concrete_is_carried_on_too(self) -> None:
        ground = Ground([0, 4, 4, 0], [0, 0, 3, 3], [10.0] * 4)
        dig = dug(ground=ground, underside=Underside(0.1, box(-1, -1, 5, 4)), beyond_edge=0.15)
        assert dig.concrete == pytest.approx(4.3 * 3.3 * 0.1, abs=1e-6)
        assert dig.carried.concrete == pytest.approx((4.3 * 3.3 - 12) * 0.1, abs=1e-6)

    def test_the_deepest_counts_the_margin_that_was_not_read(self) -> None:
        """Finish down 1:10 along x: 200 mm at x = 0, 600 at x = 4, 650 at the end of the margin."""
        ground = Ground([0, 4, 4, 0], [0, 0, 3, 3], [10.0] * 4)
        assert dug(Plane(9.95, -0.1, 0.0), ground=ground, beyond_edge=0.5).deepest == pytest.approx(0.65, abs=0.03)


class TestRobust:
    """Outlines that computers find hard: facets cut at an angle, whose corners are not exact numbers."""

    def test_no_facet_is_lost(self) -> None:
        """A yard with a hole, cut in two by a channel that crosses it askew: all of it is dug."""
        outline = [(1.2989399588813186, -0.31143279633851584), (-0.006797462459031356, -1.2428995000709762),
                   (-2.233004645799054, -0.011834559551261266), (-1.8237611936011424, 0.5783774262920564),
                   (-1.8120559996539165, 1.3144947078894311), (-1.228084698738303, 2.6980259512837397),
                   (-0.2857835466717281, 1.3646012198377828)]
        hole = [(-0.8541543361700465, 1.2464360670907437), (-1.1541543361700466, 0.9464360670907437),
                (-0.8541543361700465, 0.6464360670907436), (-0.5541543361700465, 0.9464360670907437)]
        area = shapely.Polygon(outline, [hole])
        line = (-4, 0.4382930253508438), (4, -0.25481198932789395)
        yard = Finish.channel(line, area, level=9.95, fall=0.01, left=0.02, right=0.03)
        dig = dig_out(flat(10.0, 9.0), yard, Brief(area, layers=LAYERS))
        assert dig.uncovered == pytest.approx(0.0, abs=1e-6)
        assert sum(part.works.covered for part in dig.parts if part.place == "paving") == pytest.approx(area.area, abs=1e-6)

    @pytest.mark.parametrize("seed", range(30))
    def test_no_facet_is_lost_at_random(self, seed: int) -> None:
        draw = np.random.default_rng(seed)
        for _ in range(6):
            turns = np.sort(draw.uniform(0, 2 * math.pi, int(draw.integers(5, 10))))
            reach = draw.uniform(1.2, 3.0, len(turns))
            area = shapely.Polygon(np.column_stack([reach * np.cos(turns), reach * np.sin(turns)]))
            if not area.is_valid or not area.contains(shapely.Point(0, 0).buffer(0.3)):
                continue
            middle = shapely.Point(0, 0).buffer(0.2, quad_segs=1)
            area = area - middle if draw.uniform() < 0.4 else area
            try:
                line = (-4, float(draw.uniform(-0.5, 0.5))), (4, float(draw.uniform(-0.5, 0.5)))
                yard = Finish.channel(line, area, level=9.95, fall=0.01, left=0.02, right=0.03)
            except SurveyError:
                continue
            about_it = shapely.Point(draw.uniform(-1, 1, 2)).buffer(1.3, quad_segs=2)
            old = Underside(0.08, about_it) if draw.uniform() < 0.5 else None
            stays = shapely.Point(draw.uniform(-2, 2, 2)).buffer(0.5, quad_segs=1)
            footings = [Footing("old", stays, 9.95)] if stays.intersects(area) else []
            ground = Ground([-9, 9, 9, -9, *draw.uniform(-4, 4, 9)], [-9, -9, 9, 9, *draw.uniform(-4, 4, 9)],
                            10.1 + draw.uniform(-0.05, 0.05, 13))
            dig = dig_out(ground, yard, Brief(area, layers=LAYERS, underside=old, footings=footings))
            covered = sum(part.works.covered for part in dig.parts)
            assert dig.uncovered == pytest.approx(0.0, abs=1e-6)
            assert covered == pytest.approx(area.area + dig.strip_area, abs=1e-5)

    def test_spots_a_hair_out_of_line(self) -> None:
        """Nearly straight sides of the spots' outline: 2 mm off line, and the margin reaches past them."""
        turn = 0.4
        x, y = np.array([[0, 2.1, 4, 4, 0], [0, 0.002, 0, 3, 3.0]])
        ground = Ground(x * math.cos(turn) - y * math.sin(turn), x * math.sin(turn) + y * math.cos(turn), [10.0] * 5)
        corners = [(a * math.cos(turn) - b * math.sin(turn), a * math.sin(turn) + b * math.cos(turn)) for a, b in YARD]
        dig = dug(ground=ground, area=corners, beyond_edge=0.15)
        assert dig.soil == pytest.approx(4.3 * 3.3 * 0.2, abs=1e-5)

    @pytest.mark.parametrize("scale", [1e-2, 1e3])
    def test_tiny_and_huge(self, scale: float) -> None:
        area = [(x * scale, y * scale) for x, y in YARD]
        ground = Ground([-scale, 5 * scale, 5 * scale, -scale], [-scale, -scale, 4 * scale, 4 * scale], [10.0] * 4)
        assert dug(ground=ground, area=area).soil == pytest.approx(12 * scale**2 * 0.2, rel=1e-6)

    def test_on_a_national_grid(self) -> None:
        east, north = 512_345.0, 187_654.0
        area = [(east + x, north + y) for x, y in YARD]
        ground = Ground([east - 2, east + 6, east + 6, east - 2], [north - 2, north - 2, north + 5, north + 5], [10.0] * 4)
        dig = dig_out(ground, Finish.plane(Plane(9.95, 0, 0, (east, north)), area), Brief(area, layers=LAYERS))
        assert dig.soil == pytest.approx(4.3 * 3.3 * 0.2, abs=1e-5)
