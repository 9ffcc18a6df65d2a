"""Outlines laid over each other, above all those that nearly coincide."""

from __future__ import annotations

import math
from itertools import pairwise

import pytest
import shapely
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from shapely.affinity import rotate, translate

from sitelevels.surface.overlay import both, less, polygons, small_triangles, together

steady = settings(deadline=None, max_examples=80, derandomize=True)
YARD = shapely.box(0, 0, 4, 3)
HAIRS = [0.0, 1e-15, -1e-15, 1e-13, -1e-13, 1e-11, -1e-11, 1e-10, -1e-10]


def area(value: float) -> object:
    """Nine digits of what some 12 m² come to."""
    return pytest.approx(value, abs=1e-9)


class TestNearlyCoincident:
    @pytest.mark.parametrize("hair", HAIRS)
    def test_the_same_outline_but_for_a_hair(self, hair: float) -> None:
        other = shapely.box(hair, hair, 4 + hair, 3 - hair)
        assert both(YARD, other).area == area(12)
        assert less(YARD, other).area == area(0)
        assert together([YARD, other]).area == area(12)
        assert len(polygons(both(YARD, other))) == 1
        assert polygons(less(YARD, other)) == []

    @pytest.mark.parametrize("hair", HAIRS)
    def test_half_of_it_with_a_common_side_but_for_a_hair(self, hair: float) -> None:
        """The half from x = 2 on, and as much again beyond."""
        other = shapely.box(2, hair, 6, 3 + hair)
        assert (both(YARD, other).area, less(YARD, other).area, less(other, YARD).area) == (area(6), area(6), area(6))
        assert together([YARD, other]).area == area(18)

    @pytest.mark.parametrize("hair", HAIRS)
    def test_side_by_side_but_for_a_hair(self, hair: float) -> None:
        beside = shapely.box(4 + hair, 0, 8, 3)
        assert both(YARD, beside).area == area(0)
        assert polygons(both(YARD, beside)) == []
        assert together([YARD, beside]).area == area(24)

    @pytest.mark.parametrize("gap", HAIRS[:7])
    def test_strips_side_by_side_make_one_without_a_seam(self, gap: float) -> None:
        whole = together([shapely.box(0.1 * number + gap * (number % 2), 0, 0.1 * number + 0.1, 3) for number in range(40)])
        assert whole.area == area(12)
        assert [len(part.interiors) for part in whole.geoms] == [0]

    @pytest.mark.parametrize("turn", [1e-13, 0.3, 1.0, 2.2, math.pi / 4])
    def test_a_turned_yard_cut_along_a_line_through_its_corners(self, turn: float) -> None:
        """Its two halves by the diagonal are 6 m² each, worked out with corners that are no exact numbers."""
        turned = rotate(YARD, turn, origin=(0, 0), use_radians=True)
        one, two, three, four = turned.exterior.coords[:4]
        halves = [shapely.Polygon([one, two, three]), shapely.Polygon([one, three, four])]
        for half, other in (halves, halves[::-1]):
            assert both(turned, half).area == pytest.approx(6, rel=1e-9)
            assert less(turned, half).area == pytest.approx(6, rel=1e-9)
            assert polygons(both(half, other)) == []
            assert less(less(turned, half), other).area == area(0)
        assert together(halves).area == pytest.approx(12, rel=1e-9)

    def test_on_a_national_grid(self) -> None:
        there = translate(rotate(YARD, 0.4, origin=(0, 0), use_radians=True), 512_345.0, 187_654.0)
        half = translate(rotate(shapely.box(0, 0, 2, 3), 0.4, origin=(0, 0), use_radians=True), 512_345.0, 187_654.0)
        assert both(there, half).area == pytest.approx(6, abs=1e-7)
        assert less(there, half).area == pytest.approx(6, abs=1e-7)


CORNERS = st.lists(st.tuples(st.floats(1.0, 3.0), st.floats(0.2, 1.0)), min_size=3, max_size=9)


def star(corners: list[tuple[float, float]]) -> shapely.Polygon:
    """An outline round (0, 0): corners by how far out they lie and by their share of the turn."""
    whole, turned, places = sum(share for _, share in corners), 0.0, []
    for reach, share in corners:
        turned += 2 * math.pi * share / whole
        places.append((reach * math.cos(turned), reach * math.sin(turned)))
    return shapely.Polygon(places)


class TestAreasAddUp:
    @steady
    @given(CORNERS, CORNERS, st.floats(-1, 1), st.floats(-1, 1))
    def test_of_any_two_outlines(self, one: list[tuple[float, float]], other: list[tuple[float, float]], x: float,
                                 y: float) -> None:
        a, b = star(one), translate(star(other), x, y)
        assume(a.is_valid and b.is_valid)
        common, left, right = both(a, b).area, less(a, b).area, less(b, a).area
        assert common + left == pytest.approx(a.area, rel=1e-9, abs=1e-8)
        assert common + right == pytest.approx(b.area, rel=1e-9, abs=1e-8)
        assert together([a, b]).area == pytest.approx(left + common + right, rel=1e-9, abs=1e-8)
        assert common == pytest.approx(both(b, a).area, abs=1e-9)
        assert common == pytest.approx(a.intersection(b).area, rel=1e-8, abs=1e-8)

    @steady
    @given(CORNERS, st.sampled_from(HAIRS), st.floats(0, 6.3))
    def test_of_an_outline_and_itself_moved_by_a_hair(self, corners: list[tuple[float, float]], hair: float,
                                                      way: float) -> None:
        a = star(corners)
        assume(a.is_valid)
        b = translate(a, hair * math.cos(way), hair * math.sin(way))
        assert both(a, b).area == pytest.approx(a.area, rel=1e-9, abs=1e-8)
        assert together([a, b]).area == pytest.approx(a.area, rel=1e-9, abs=1e-8)
        assert polygons(less(a, b)) == polygons(less(b, a)) == []


class TestShapes:
    def test_a_hole_stays_a_hole(self) -> None:
        ring = less(YARD, shapely.box(1, 1, 2, 2))
        assert ring.area == area(11)
        assert both(ring, shapely.box(0, 0, 1.5, 3)).area == area(4)  # 1.5 × 3 less half of the hole
        assert together([ring, shapely.box(1, 1, 2, 2)]).area == area(12)

    def test_lines_and_points_are_no_area(self) -> None:
        assert together([shapely.LineString([(0, 0), (1, 1)])]).is_empty
        mixture = shapely.GeometryCollection([shapely.Point(0, 0), YARD, shapely.LineString([(5, 5), (6, 6)])])
        assert together([mixture]).area == area(12)
        assert less(mixture, shapely.box(0, 0, 1, 3)).area == area(9)
        assert both(YARD, shapely.LineString([(0, 0), (4, 3)])).is_empty

    def test_nothing_with_nothing(self) -> None:
        nothing = shapely.Polygon()
        assert (both(YARD, nothing).area, less(nothing, YARD).area, less(YARD, nothing).area) == (0, 0, area(12))
        assert together([]).is_empty
        assert polygons(together([nothing])) == []

    @pytest.mark.parametrize(("wide", "kept"), [(1e-7, 0), (1e-3, 1)])
    def test_what_the_cutting_leaves_is_no_part(self, wide: float, kept: int) -> None:
        """3 m long and a tenth of a micrometre wide, or a millimetre."""
        assert len(polygons(shapely.MultiPolygon([shapely.box(0, 0, wide, 3)]))) == kept

    @pytest.mark.parametrize("shape", [YARD, shapely.box(0, 0, 4, 0.15), YARD - shapely.box(1, 1, 2, 2),
                                       shapely.Polygon([(0, 0), (4, 0), (4, 1), (2, 1), (2, 3), (0, 3)])], ids=str)
    def test_small_triangles_cover_it_once(self, shape: shapely.Polygon) -> None:
        found = small_triangles(shape, 0.25)
        assert sum(one.area for one in found) == area(shape.area)
        assert shapely.union_all(found).symmetric_difference(shape).area == area(0)
        assert {len(one.exterior.coords) for one in found} == {4}

    def test_triangles_of_a_narrow_strip_have_small_sides(self) -> None:
        """A strip 150 mm wide cut every 250 mm: no side reaches farther than two steps."""
        found = small_triangles(shapely.box(0, 0, 4, 0.15), 0.25)
        wide = [one for one in found if one.area > 1e-9]  # along a straight side rounding leaves some that cover nothing
        assert max(math.dist(*side) for one in wide for side in pairwise(one.exterior.coords)) <= 2 * 0.25
