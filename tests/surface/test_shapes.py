"""Channels and outlets: levels, falls and volumes against hand geometry, a fine grid and brute force."""

from __future__ import annotations

import math
from itertools import combinations, pairwise

import numpy as np
import pytest
import shapely
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from sitelevels import Channel, Finish, Ground, SurveyError, cut_and_fill

Place = tuple[float, float]
Floats = NDArray[np.float64]
steady = settings(deadline=None, max_examples=40, derandomize=True)
NEAR, FAR = (0.0, 0.0), (450_000.0, 4_500_000.0)  # a plan of one's own, and a national grid
OBLONG = [(0, 0), (6, 0), (6, 4), (0, 4)]
ELL = [(0, 0), (6, 0), (6, 2), (3, 2), (3, 5), (0, 5)]
NOTCHED = [(0, 0), (6, 0), (6, 4), (4, 4), (3, 2.5), (2, 4), (0, 4)]
PI_SHAPE = [(0, 0), (10, 0), (10, 6), (7, 6), (7, 2), (3, 2), (3, 6), (0, 6)]
"""Two arms, 3 m wide, on a strip 2 m deep."""


def level_ground(level: float, area: object = OBLONG, shift: Place = NEAR) -> Ground:
    x_min, y_min, x_max, y_max = shapely.Polygon(area).bounds  # type: ignore[call-overload]
    return Ground([x_min + shift[0], x_max + shift[0], x_max + shift[0], x_min + shift[0]],
                  [y_min + shift[1], y_min + shift[1], y_max + shift[1], y_max + shift[1]], [level] * 4)


def volumes(finish: Finish, ground: Ground, area: object) -> tuple[float, float]:
    works = cut_and_fill(ground, finish, area)
    assert works.uncovered == 0
    return works.cut, works.fill


def moved(places: object, shift: Place) -> list[Place]:
    return [(float(x) + shift[0], float(y) + shift[1]) for x, y in places]  # type: ignore[attr-defined]


def stars(convex: bool = False) -> st.SearchStrategy[list[Place]]:
    """Outlines all seen from the origin, to the millimetre: corners about evenly round it; on a circle they are convex."""
    corner = st.tuples(st.floats(-0.3, 0.3), st.just(3.0) if convex else st.floats(1.0, 4.0))
    return st.lists(corner, min_size=4, max_size=9).map(lambda corners: [
        (round(far * math.cos(turn), 3), round(far * math.sin(turn), 3)) for number, (aside, far) in enumerate(corners)
        for turn in [2 * math.pi * (number + aside) / len(corners)]])


def continuous(finish: Finish) -> int:
    """Both planes agree along every line in which two facets meet; how many such lines."""
    met = 0
    for one, other in combinations(finish.facets, 2):
        for line in shapely.get_parts(one.area.buffer(1e-7).intersection(other.area.buffer(1e-7))):
            if line.length > 0.02:  # else they touch at a point
                met += 1
                for x, y in shapely.get_coordinates(line):
                    assert one.plane.level_at(x, y) == pytest.approx(other.plane.level_at(x, y), abs=2e-7)
    return met


def gauge(places: Floats, outlet: Place, corners: list[Place]) -> Floats:
    """How far each place (k, 2) lies on the straight way from the outlet (0) to the outline (1), by triangles from it."""
    found = np.full(len(places), np.nan)
    for first, second in pairwise([*corners, corners[0]]):
        sides = np.array([first, second]) - outlet
        if abs(np.linalg.det(sides)) < 1e-9:
            continue
        shares = (places - outlet) @ np.linalg.inv(sides)
        here = (shares >= -1e-9).all(axis=1)
        found[here] = shares[here].sum(axis=1)
    return found


def grid_in(polygon: shapely.Polygon, step: float, edge: float = 0.0) -> Floats:
    x_min, y_min, x_max, y_max = polygon.bounds
    x, y = np.meshgrid(np.arange(x_min + step / 2, x_max, step), np.arange(y_min + step / 2, y_max, step))
    places = np.column_stack([x.ravel(), y.ravel()])
    return np.asarray(places[shapely.contains_xy(polygon.buffer(-edge), places[:, 0], places[:, 1])])


class TestChannel:
    @pytest.mark.parametrize("fall", [0.0, 0.01, -0.01])
    def test_levels_and_falls_by_hand(self, fall: float) -> None:
        """Along y = 1 from x = 0: 9.8 − fall · x there; 3 m to the left rise 60 mm at 1:50, 1 m to the right 25 mm at 1:40."""
        finish = Finish.channel(((0, 1), (6, 1)), OBLONG, level=9.8, fall=fall, left=1 / 50, right=1 / 40)
        for x in (0.0, 2.0, 6.0):
            assert finish.level_at([x] * 3, [0, 1, 4]) == pytest.approx([9.825 - fall * x, 9.8 - fall * x, 9.86 - fall * x])
        left, right = sorted(finish.facets, key=lambda facet: -facet.area.area)
        assert (left.area.area, right.area.area) == (pytest.approx(18), pytest.approx(6))
        assert (left.towards, right.towards) == ((0.0, -1.0), (0.0, 1.0))
        assert left.along == right.along == (1.0, 0.0)
        assert left.plane.fall_towards(0, -1) == pytest.approx(1 / 50)
        assert right.plane.fall_towards(0, 1) == pytest.approx(1 / 40)
        assert left.plane.fall_towards(1, 0) == pytest.approx(fall)
        assert left.plane.fall == pytest.approx(math.hypot(1 / 50, fall))

    def test_turned_round_left_and_right_change_places(self) -> None:
        one = Finish.channel(((0, 1), (6, 1)), OBLONG, level=9.8, fall=0.01, left=0.02, right=0.03)
        other = Finish.channel(((6, 1), (0, 1)), OBLONG, level=9.74, fall=-0.01, left=0.03, right=0.02)
        places = grid_in(shapely.Polygon(OBLONG), 0.5).T
        assert one.level_at(*places) == pytest.approx(other.level_at(*places), abs=1e-12)

    @pytest.mark.parametrize("shift", [NEAR, FAR])
    def test_volume_of_two_wedges_and_a_prism(self, shift: Place) -> None:
        """Ground at 10.000. Left of the channel 3 m wide at 1:50: depths 200 to 140 mm, mean 170; right 1 m at 1:40: 200 to
        175, mean 187.5. Over 6 m: 6 · (3 · 0.170 + 1 · 0.1875) = 4.185 m³; a fall of 1:100 adds 30 mm in the mean: 0.72 m³.
        """
        area = moved(OBLONG, shift)
        for fall, more in ((0.0, 0.0), (0.01, 0.72)):
            finish = Finish.channel(moved([(0, 1), (6, 1)], shift), area, level=9.8, fall=fall, left=1 / 50, right=1 / 40)
            assert volumes(finish, level_ground(10.0, OBLONG, shift), area) == (pytest.approx(4.185 + more, abs=1e-6), 0)

    def test_cut_and_fill_where_the_floor_crosses_the_ground(self) -> None:
        """Both sides 2 m wide at 1:50, channel 20 mm under level ground: it is cut for 1 m each side, a triangle of
        20 mm · 1 m / 2, and filled alike beyond: 2 · 0.01 m² · 6 m = 0.12 m³ each.
        """
        finish = Finish.channel(((0, 2), (6, 2)), OBLONG, level=9.98, left=1 / 50, right=1 / 50)
        assert volumes(finish, level_ground(10.0), OBLONG) == (pytest.approx(0.12), pytest.approx(0.12))

    def test_a_hole_is_no_part_of_the_volume(self) -> None:
        """A hole 1 m by 1 m, 1 m to 2 m from the channel: at 1:50 its mean depth is 200 − 30 = 170 mm, so 0.170 m³ less."""
        area = shapely.Polygon(OBLONG) - shapely.box(2, 2, 3, 3)
        finish = Finish.channel(((0, 1), (6, 1)), area, level=9.8, left=1 / 50, right=1 / 40)
        assert volumes(finish, level_ground(10.0), area) == (pytest.approx(4.185 - 0.170), 0)

    def test_a_hole_in_its_way_leaves_both_sides(self) -> None:
        area = shapely.Polygon(OBLONG) - shapely.box(2, 0.5, 3, 1.5)
        finish = Finish.channel(((0, 1), (6, 1)), area, level=9.8, left=0.02, right=0.02)
        assert sorted(facet.area.area for facet in finish.facets) == pytest.approx([5.5, 17.5])

    def test_one_that_leaves_the_area_and_comes_back_is_refused(self) -> None:
        """Across both arms at y = 4 there is no paving between them to fall to it."""
        with pytest.raises(SurveyError, match="leaves the area and comes back"):
            Finish.channel(((0, 4), (1, 4)), PI_SHAPE, level=9.8, left=0.02, right=0.01)

    @pytest.mark.parametrize("line", [((0, 0), (6, 0)), ((6, 0), (6, 4)), ((0, -1), (6, -1)), ((7, 0), (7, 9))])
    def test_outside_or_along_an_edge_it_divides_nothing(self, line: object) -> None:
        with pytest.raises(SurveyError, match=r"does not divide the area.*one plane only"):
            Finish.channel(line, OBLONG, level=9.8, left=0.02, right=0.02)

    @pytest.mark.parametrize(("line", "said"), [
        (((1, 1), (1, 1)), "has no length"), (((1, 1), (1, 1 + 1e-9)), "has no length"), (((1, 1),), "must be a p"),
        (((1, 1), (math.nan, 2)), "must be a place"), ("ab", "must be a p"), (None, "must be a p"),
        (((1, 1), ("a", 2)), "must be a place")])
    def test_no_line_is_refused(self, line: object, said: str) -> None:
        with pytest.raises(SurveyError, match=said):
            Channel(line)  # type: ignore[arg-type]

    @steady
    @given(stars(), st.floats(0, math.pi), st.integers(-500, 500).map(lambda mm: mm / 1000), st.floats(-0.02, 0.02),
           st.floats(0.01, 0.05), st.floats(0.01, 0.05), st.sampled_from([NEAR, FAR]))
    def test_on_any_outline(self, corners: list[Place], turn: float, aside: float, fall: float, left: float, right: float,
                            shift: Place) -> None:
        area = shapely.Polygon(moved(corners, shift))
        way = np.array([math.cos(turn), math.sin(turn)])
        start = np.array(shift) + aside * np.array([-way[1], way[0]])
        finish = Finish.channel((tuple(start), tuple(start + 2 * way)), area, level=9.8, fall=fall, left=left, right=right)
        assert finish.area == pytest.approx(area.area, rel=1e-7)
        assert continuous(finish) >= 1
        places = grid_in(area, 0.4)
        along, off = (places - start) @ way, (places - start) @ np.array([-way[1], way[0]])
        by_hand = 9.8 - fall * along + np.where(off > 0, left, -right) * off
        assert finish.level_at(*places.T) == pytest.approx(by_hand, abs=1e-7)


class TestLevelPerimeter:
    def test_levels_and_falls_by_hand(self) -> None:
        """The outlet 1 m from the left edge, 1 m from the bottom, of 6 m by 4 m: ways of 1, 1, 5 and 3 m, each 30 mm down."""
        finish = Finish.outlet((1, 1), OBLONG, level=9.97, perimeter=10.0)
        falls = {facet.towards: facet.plane.fall for facet in finish.facets}
        assert falls == {(0.0, 1.0): pytest.approx(0.03), (1.0, 0.0): pytest.approx(0.03), (-1.0, 0.0): pytest.approx(0.006),
                         (0.0, -1.0): pytest.approx(0.01)}
        assert sorted(facet.area.area for facet in finish.facets) == pytest.approx([2, 3, 9, 10])
        assert finish.level_at([1, 0.5, 3.5, 1], [1, 1, 1, 2.5]) == pytest.approx([9.97, 9.985, 9.985, 9.985])

    @pytest.mark.parametrize("shift", [NEAR, FAR])
    @pytest.mark.parametrize("outlet", [(3, 2), (1, 1), (5.9, 0.1), (3, 0), (6, 1), (0, 0), (6, 4)])
    def test_the_volume_is_a_pyramid_wherever_the_outlet(self, outlet: Place, shift: Place) -> None:
        """Under the perimeter lies a pyramid on its head, 24 m² by 60 mm: 24 · 0.06 / 3 = 0.48 m³; ground at half its height
        leaves one half as tall, an eighth of it, to cut (0.06 m³), and 24 · 0.03 − (0.48 − 0.06) = 0.30 m³ to fill.
        """
        area = moved(OBLONG, shift)
        finish = Finish.outlet(moved([outlet], shift)[0], area, level=9.94, perimeter=10.0)
        assert volumes(finish, level_ground(10.0, OBLONG, shift), area) == (pytest.approx(0.48, abs=1e-6), pytest.approx(0))
        assert volumes(finish, level_ground(9.97, OBLONG, shift), area) == (pytest.approx(0.06, abs=1e-6),
                                                                           pytest.approx(0.30, abs=1e-6))

    def test_in_an_edge_that_edge_falls_to_it_from_both_ends(self) -> None:
        finish = Finish.outlet((2, 0), OBLONG, level=9.94, perimeter=10.0)
        assert len(finish.facets) == 3
        assert finish.level_at([0, 1, 2, 4, 6], [0] * 5) == pytest.approx([10, 9.97, 9.94, 9.97, 10])

    def test_in_a_corner_two_edges_do(self) -> None:
        finish = Finish.outlet((0, 0), OBLONG, level=9.94, perimeter=10.0)
        assert {facet.towards for facet in finish.facets} == {(-1.0, 0.0), (0.0, -1.0)}
        assert finish.level_at([0, 3, 6, 0, 6], [0, 0, 0, 2, 4]) == pytest.approx([9.94, 9.97, 10, 9.97, 10])

    def test_corners_in_the_middle_of_an_edge_make_no_facets(self) -> None:
        finish = Finish.outlet((1, 1), [(0, 0), (2, 0), (4, 0), (6, 0), (6, 4), (0, 4), (0, 2)], level=9.97, perimeter=10.0)
        assert len(finish.facets) == 4

    def test_from_inside_the_kernel_of_an_l_all_edges_are_seen(self) -> None:
        """Pyramid on its head over 6·2 + 3·3 = 21 m², 30 mm deep: 0.21 m³."""
        finish = Finish.outlet((1.5, 1), ELL, level=9.97, perimeter=10.0)
        assert len(finish.facets) == 6
        assert volumes(finish, level_ground(10.0, ELL), ELL) == (pytest.approx(0.21), pytest.approx(0))
        assert finish.level_at([3, 4.5], [2, 1]) == pytest.approx([10.0, 9.99])  # the ridge at the inner corner; 3 of 4.5 m out

    @steady
    @given(stars(), st.floats(0.01, 0.2), st.sampled_from([NEAR, FAR]), st.floats(0, 0.3), st.floats(0, 2 * math.pi))
    def test_on_any_outline(self, corners: list[Place], deep: float, shift: Place, off: float, turn: float) -> None:
        outlet = moved([(off * math.cos(turn), off * math.sin(turn))], shift)[0]
        corners = moved(corners, shift)
        area = shapely.Polygon(corners)
        edges = list(pairwise([*corners, corners[0]]))
        assume(min(np.linalg.det(np.array(edge) - outlet) for edge in edges) > 0.05)  # all are seen, none end on
        finish = Finish.outlet(outlet, area, level=10.0 - deep, perimeter=10.0)
        assert len(finish.facets) == len(edges)
        assert finish.area == pytest.approx(area.area, rel=1e-7)
        assert continuous(finish) >= len(edges)
        for facet, edge in zip(finish.facets, edges, strict=True):
            side = np.subtract(*edge) / math.dist(*edge)
            away = abs(np.linalg.det(np.array(edge) - outlet)) / math.dist(*edge)
            assert facet.towards is not None
            assert abs(side @ facet.towards) < 1e-7
            assert facet.plane.fall_towards(*facet.towards) == pytest.approx(facet.plane.fall) == pytest.approx(deep / away)
            assert facet.plane.level_at(*outlet) == pytest.approx(10.0 - deep, abs=1e-7)
        places = grid_in(area, 0.4)
        assert finish.level_at(*places.T) == pytest.approx(10.0 - deep * (1 - gauge(places, outlet, corners)), abs=1e-6)

    @pytest.mark.parametrize("gap", [0.006, 0.02, 0.1])
    @pytest.mark.parametrize("turn", [0.0, 0.3, 1.1, 2.5])
    def test_close_to_an_edge_on_a_national_grid(self, gap: float, turn: float) -> None:
        cos, sin = math.cos(turn), math.sin(turn)
        *area, outlet = moved([(cos * x - sin * y, sin * x + cos * y) for x, y in [*OBLONG, (3, gap)]], FAR)
        finish = Finish.outlet(outlet, area, level=9.97, perimeter=10.0)
        assert sorted(facet.area.area for facet in finish.facets)[0] == pytest.approx(3 * gap, abs=1e-6)
        assert finish.area == pytest.approx(24, abs=1e-6)


class TestAgainstAFineGrid:
    """Sloping ground; the sums of positive and of negative depths over squares of 10 mm, by numpy alone."""

    GROUND = Ground([0, 6, 6, 0], [0, 0, 4, 4], [10.0, 9.97, 9.94, 9.97])  # one plane: −5 mm/m in x, −7.5 mm/m in y
    PLACES = grid_in(shapely.Polygon(OBLONG), 0.01)
    UNDER = 10.0 - 0.005 * PLACES[:, 0] - 0.0075 * PLACES[:, 1]

    def compared(self, finish: Finish, levels: Floats) -> None:
        depth = self.UNDER - levels
        by_grid = (depth.clip(0).sum() * 1e-4, (-depth).clip(0).sum() * 1e-4)
        assert min(by_grid) > 0.02  # both sorts, or nothing is tried
        assert volumes(finish, self.GROUND, OBLONG) == pytest.approx(by_grid, abs=2e-5)

    def test_channel(self) -> None:
        (x, y), way = self.PLACES.T, np.array([6.0, 1.0]) / math.hypot(6, 1)
        off = (y - 1.5) * way[0] - x * way[1]
        levels = 9.95 - 0.004 * (x * way[0] + (y - 1.5) * way[1]) + np.where(off > 0, 0.02, -0.03) * off
        finish = Finish.channel(((0, 1.5), (6, 2.5)), OBLONG, level=9.95, fall=0.004, left=0.02, right=0.03)
        self.compared(finish, levels)

    @pytest.mark.parametrize("outlet", [(3, 2), (1.2, 3.1), (6, 3)])
    def test_outlet(self, outlet: Place) -> None:
        levels = 9.93 + 0.07 * gauge(self.PLACES, outlet, [(0, 0), (6, 0), (6, 4), (0, 4)])
        self.compared(Finish.outlet(outlet, OBLONG, level=9.93, perimeter=10.0), levels)

    def test_chosen_sides(self) -> None:
        """From the left edge and the top one to an outlet in the bottom right corner: the higher of two planes."""
        levels = 9.93 + 0.07 * np.maximum(1 - self.PLACES[:, 0] / 6, self.PLACES[:, 1] / 4)
        finish = Finish.outlet((6, 0), OBLONG, level=9.93, perimeter=10.0, sides=[((0, 0), (0, 4)), ((0, 4), (6, 4))])
        self.compared(finish, levels)


class TestChosenSides:
    SOUTH, EAST, NORTH, WEST = pairwise([*OBLONG, OBLONG[0]])

    def test_one_side_is_one_plane(self) -> None:
        """From the north side, 80 mm over 4 m to an outlet in the south one: a wedge of 24 m² · 80 mm / 2 = 0.96 m³."""
        finish = Finish.outlet((2, 0), OBLONG, level=9.92, perimeter=10.0, sides=[self.NORTH])
        assert len(finish.facets) == 1
        assert finish.facets[0].plane.fall == pytest.approx(0.02)
        assert volumes(finish, level_ground(10.0), OBLONG) == (pytest.approx(0.96), pytest.approx(0))

    def test_two_sides_make_a_pyramid(self) -> None:
        """max(u, v) of two shares from 0 to 1 is 2/3 in the mean: 24 m² · 60 mm · (1 − 2/3) = 0.48 m³ below the sides."""
        finish = Finish.outlet((6, 0), OBLONG, level=9.94, perimeter=10.0, sides=[self.WEST, self.NORTH])
        assert volumes(finish, level_ground(10.0), OBLONG) == (pytest.approx(0.48), pytest.approx(0))
        assert finish.level_at([0, 6, 0, 3], [0, 4, 4, 2]) == pytest.approx([10, 10, 10, 9.97])

    def test_all_sides_are_a_level_perimeter(self) -> None:
        named = Finish.outlet((1, 1), OBLONG, level=9.94, perimeter=10.0, sides=[self.SOUTH, self.EAST, self.NORTH, self.WEST])
        places = grid_in(shapely.Polygon(OBLONG), 0.3).T
        whole = Finish.outlet((1, 1), OBLONG, level=9.94, perimeter=10.0)
        assert named.level_at(*places) == pytest.approx(whole.level_at(*places), abs=1e-12)

    @pytest.mark.parametrize("chosen", [(1, 3, 6), (0, 3, 5), (0, 1, 4, 5), (0, 1, 2, 3, 4), (0, 1, 2, 3, 4, 5, 6)])
    def test_seven_sides_round_an_outlet(self, chosen: tuple[int, ...]) -> None:
        half = [(1.87, 2.345), (-0.668, 2.925), (-2.703, 1.302)]
        corners = [(3.0, 0.0), *half, *((x, -y) for x, y in half[::-1])]
        edges = list(pairwise([*corners, corners[0]]))
        finish = Finish.outlet((0, 0), corners, level=9.94, perimeter=10.0, sides=[edges[number] for number in chosen])
        assert len(finish.facets) == len(chosen)
        assert finish.area == pytest.approx(shapely.Polygon(corners).area)

    def test_part_of_an_edge_names_it_and_twice_is_once(self) -> None:
        finish = Finish.outlet((2, 0), OBLONG, level=9.92, perimeter=10.0, sides=[((1, 4), (2, 4)), ((5, 4), (3, 4.004))])
        assert len(finish.facets) == 1

    @pytest.mark.parametrize(("corners", "outlet", "chosen"), [
        (ELL, (1.5, 1.0), [0, 1, 2, 3, 4, 5]), (ELL, (1.5, 1.0), [1, 4, 5, 0]), (ELL, (0, 0), [1, 4]),
        (ELL, (0, 0), [1, 2, 3, 4]),
        (NOTCHED, (3, 1), [0, 2, 5]), (NOTCHED, (3, 0), [2, 5]), (NOTCHED, (3, 0), [1, 2, 5, 6]),
        (NOTCHED, (3, 0), [1, 3, 4, 6])])
    @pytest.mark.parametrize("shift", [NEAR, FAR])
    def test_round_inner_corners_and_from_two_sides_in_one_line(self, corners: list[Place], outlet: Place, chosen: list[int],
                                                                shift: Place) -> None:
        (outlet,), corners = moved([outlet], shift), moved(corners, shift)
        edges = list(pairwise([*corners, corners[0]]))
        finish = Finish.outlet(outlet, corners, level=9.9, perimeter=10.0, sides=[edges[number] for number in chosen])
        inside = grid_in(shapely.Polygon(corners), 0.05)
        shares = []
        for number in chosen:
            first, second = np.array(edges[number])
            square = np.array([second[1] - first[1], first[0] - second[0]])
            shares.append((inside - outlet) @ square / ((first - outlet) @ square))
        assert finish.level_at(*inside.T) == pytest.approx(9.9 + 0.1 * np.max(shares, axis=0), abs=1e-6)
        assert finish.area == pytest.approx(shapely.Polygon(corners).area, abs=1e-6)
        continuous(finish)

    @pytest.mark.parametrize(("sides", "said"), [
        ([((0, 0), (6, 4))], "is no edge of the area"), ([((0, 4.1), (6, 4.1))], "is no edge"), ([], "no side is chosen"),
        ([((0, 0), (6, 0))], "stands in the chosen side"), ([((1, 4), (1, 4))], "has no length"), ([(1, 4)], "must be a p"),
        (7, "sides"),
        ([((0, 4), (6, 4), (6, 0))], "must be a p"), ([((0, 4), (6, math.inf))], "must be a place")])
    def test_what_is_no_side_is_refused(self, sides: object, said: str) -> None:
        with pytest.raises(SurveyError, match=f"(?i){said}"):
            Finish.outlet((2, 0), OBLONG, level=9.92, perimeter=10.0, sides=sides)

    def test_places_below_the_outlet_are_refused_and_named(self) -> None:
        with pytest.raises(SurveyError, match=r"about x [06] y 0 would lie below the outlet"):
            Finish.outlet((2, 1), OBLONG, level=9.92, perimeter=10.0, sides=[self.NORTH])

    @settings(steady, max_examples=80)
    @given(stars(convex=True), st.data(), st.floats(0, 2.0), st.floats(0, 2 * math.pi), st.sampled_from([NEAR, FAR]))
    def test_the_highest_of_the_planes_or_a_refusal(self, corners: list[Place], data: st.DataObject, off: float, turn: float,
                                                    shift: Place) -> None:
        outlet = moved([(off * math.cos(turn), off * math.sin(turn))], shift)[0]
        corners = moved(corners, shift)
        area = shapely.Polygon(corners)
        edges = list(pairwise([*corners, corners[0]]))
        assume(area.contains(shapely.Point(outlet)) and area.exterior.distance(shapely.Point(outlet)) > 0.1)
        chosen = [edges[number] for number in data.draw(st.sets(st.integers(0, len(edges) - 1), min_size=1))]
        ends = np.array(chosen)
        along = (ends[:, 1] - ends[:, 0]) / np.hypot(*(ends[:, 1] - ends[:, 0]).T)[:, None]
        square = np.column_stack([along[:, 1], -along[:, 0]])  # outwards, for corners anticlockwise
        away = ((ends[:, 0] - outlet) * square).sum(axis=1)

        def highest(places: Floats) -> Floats:
            """The level of each place as a share of the rise from the outlet to the sides."""
            return np.asarray(((places - outlet) @ square.T / away).max(axis=1))
        inside = grid_in(area, 0.1, edge=0.02)
        rim = shapely.get_coordinates(shapely.line_interpolate_point(area.exterior, np.arange(0, area.length, 0.002)))
        if highest(rim).min() * away.min() < -0.02:  # deeper than the width of an outlet somewhere
            with pytest.raises(SurveyError, match="would lie below the outlet"):
                Finish.outlet(outlet, area, level=9.9, perimeter=10.0, sides=chosen)
            return
        finish = Finish.outlet(outlet, area, level=9.9, perimeter=10.0, sides=chosen)
        assert highest(inside).min() > -0.02 / away.min()
        assert finish.level_at(*inside.T) == pytest.approx(9.9 + 0.1 * highest(inside), abs=1e-6)
        assert finish.area == pytest.approx(area.area, rel=1e-6)
        continuous(finish)
