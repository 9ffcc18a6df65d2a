"""Where pegs go, and in which order one walks to them."""

from __future__ import annotations

import math
from itertools import pairwise, permutations

import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from sitelevels import Brief, Finish, Plane, SurveyError, Wall, set_out
from sitelevels.works.pegs import pegs_at
from sitelevels.works.setout import PegTable, walking_order

steady = settings(deadline=None, max_examples=40, derandomize=True)
AREA = [(0, 0), (6, 0), (6, 4), (0, 4)]
BRIEF = Brief(AREA)
FINISH = Finish.plane(Plane(9.8, 0, -0.0125), AREA)
ELL = [(0, 0), (4, 0), (4, 2), (2, 2), (2, 4), (0, 4)]


def rows(table: pd.DataFrame) -> list[tuple[str, float, float]]:
    return [(str(point), float(x), float(y)) for point, x, y in table.itertuples(index=False, name=None)]


def places(table: pd.DataFrame) -> set[tuple[int, int]]:
    """In whole mm."""
    return {(round(x * 1000), round(y * 1000)) for x, y in table[["x", "y"]].to_numpy()}


def nearest_pair(table: pd.DataFrame) -> float:
    return min((math.dist(one, other) for number, one in enumerate(table[["x", "y"]].to_numpy())
                for other in table[["x", "y"]].to_numpy()[:number]), default=math.inf)


class TestCorners:
    def test_they_are_named_in_the_order_of_the_outline(self) -> None:
        table = pegs_at(BRIEF)
        assert table.columns.tolist() == ["point", "x", "y"]
        assert rows(table) == [("C1", 0, 0), ("C2", 6, 0), ("C3", 6, 4), ("C4", 0, 4)]

    def test_those_of_a_hole_follow(self) -> None:
        holed = Brief(shapely.Polygon(AREA, [[(2, 1), (3, 1), (3, 2), (2, 2)]]))
        assert pegs_at(holed)["point"].tolist() == [f"C{number}" for number in range(1, 9)]

    @pytest.mark.parametrize(("off", "first"), [(0.0, ["sill", "C1", "C3", "C4"]), (0.05, ["sill", "C1", "C3", "C4"]),
                                                (0.051, ["sill", "C1", "C2", "C3", "C4"])])
    def test_a_named_point_takes_the_place_of_one_within_50_mm(self, off: float, first: list[str]) -> None:
        assert pegs_at(BRIEF, points=[("sill", 6, off)])["point"].tolist() == first

    def test_a_point_with_the_name_of_another_corner(self) -> None:
        assert rows(pegs_at(BRIEF, points=[("C2", 3, 1)]))[:3] == [("C2", 3, 1), ("C1", 0, 0), ("C2 of the area", 6, 0)]

    def test_only_points(self) -> None:
        spots = pd.DataFrame({"point": ["A"], "x": [1.0], "y": [2.0], "level": [9.9]})
        assert rows(pegs_at(BRIEF, corners=False, points=spots)) == [("A", 1, 2)]


class TestEdges:
    def test_equal_spaces_by_hand(self) -> None:
        """6 m in threes of 2.00 m, 4 m in twos of 2.00 m: at most 2.5 m."""
        assert rows(pegs_at(BRIEF, corners=False, edges=2.5)) == [
            ("e1.1", 2, 0), ("e1.2", 4, 0), ("e2.1", 6, 2), ("e3.1", 4, 4),
            ("e3.2", 2, 4), ("e4.1", 0, 2)]

    @pytest.mark.parametrize(("space", "count"), [(2.0, 6), (1.999, 10), (6.0, 0), (3.0, 4), (0.1, 196)])
    def test_a_space_that_goes_in_exactly_is_used(self, space: float, count: int) -> None:
        """2.0 m makes three spaces of 6 m and two of 4 m: 2 + 1 pegs, and so opposite; 1.999 m four and three: 3 + 2."""
        assert len(pegs_at(BRIEF, edges=space)) == 4 + count

    @steady
    @given(st.floats(0.2, 5))
    def test_no_space_is_wider_and_all_on_a_side_are_alike(self, space: float) -> None:
        table = pegs_at(BRIEF, edges=space)
        bottom = sorted(table.loc[table["y"] == 0, "x"])
        spaces = np.diff(bottom)
        assert spaces.max() <= space + 1e-6
        assert spaces == pytest.approx(spaces[0], abs=1e-9)
        assert 6 / (len(bottom) - 2) > space - 1e-6  # one space fewer would have been too wide


class TestGrid:
    def test_by_hand(self) -> None:
        found = pegs_at(BRIEF, corners=False, grid=2.0)
        assert places(found) == {(x * 1000, y * 1000) for x in (0, 2, 4, 6) for y in (0, 2, 4)}
        assert found["point"].tolist()[:3] == ["g0.0", "g1.0",
                                               "g2.0"]

    def test_nothing_in_the_notch(self) -> None:
        assert places(pegs_at(Brief(ELL), corners=False, grid=1.5)) == {
            (x, y) for x in (0, 1500, 3000) for y in (0, 1500, 3000) if not (x > 2000 and y > 2000)}

    def test_along_the_first_wall_from_the_corner_at_its_first_end(self) -> None:
        """A wall along y at x = 6 that begins at (6, 4): along is −y, out is −x."""
        wall = Wall("house", (6, 4), (6, 0), dpc=10.0)
        found = rows(pegs_at(Brief(AREA, walls=[wall]), corners=False, grid=2.5))
        assert found[:3] == [("g0.0", 6, 4), ("g1.0", 6, 1.5),
                             ("g0.1", 3.5, 4)]
        assert len(found) == 2 * 3

    def test_a_yard_that_widens_has_pegs_before_the_first_end(self) -> None:
        """From 4 m at the wall to 8 m at 4 m out: along from 0 to 4, from −1 to 5 and from −2 to 6 m."""
        brief = Brief([(0, 0), (4, 0), (6, 4), (-2, 4)], walls=[Wall("house", (0, 0), (4, 0), dpc=10.0)])
        found = pegs_at(brief, corners=False, grid=2.0)
        assert places(found) == {(x * 1000, y * 1000) for y, row in ((0, (0, 2, 4)), (2, (0, 2, 4)), (4, (-2, 0, 2, 4, 6)))
                                 for x in row}
        assert "g-1.2" in set(found["point"])

    def test_a_yard_that_runs_round_the_wall_has_pegs_behind_it(self) -> None:
        brief = Brief([(0, 0), (4, 0), (4, -2), (8, -2), (8, 4), (0, 4)], walls=[Wall("house", (0, 0), (4, 0), dpc=10.0)])
        assert places(pegs_at(brief, corners=False, grid=2.0)) == {
            (x * 1000, y * 1000) for x in (0, 2, 4, 6, 8) for y in (-2, 0, 2, 4) if x >= 4 or y >= 0}

    @pytest.mark.parametrize("degrees", [0, 17, 90, 200, 333])
    def test_a_turned_and_shifted_yard_has_the_same_grid(self, degrees: float) -> None:
        c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
        turn = np.array([[c, s], [-s, c]])
        far = np.array([450_000.0, 120_000.0])
        area = np.array(AREA) @ turn + far
        brief = Brief(area, walls=[Wall("house", area[0], area[1], dpc=10.0)])
        expected = np.array([(x, y) for y in (0, 1, 2, 3, 4) for x in range(7)]) @ turn + far
        assert pegs_at(brief, corners=False, grid=1.0)[["x", "y"]].to_numpy() == pytest.approx(expected, abs=1e-8)

    @steady
    @given(st.floats(0.3, 3), st.floats(-3.1, 3.1))
    def test_all_lie_inside_and_none_is_missed(self, space: float, angle: float) -> None:
        """The other route: every place of a far too large grid is asked whether the area covers it."""
        turn = np.array([[math.cos(angle), math.sin(angle)], [-math.sin(angle), math.cos(angle)]])
        area = np.array(ELL) @ turn
        brief = Brief(area, walls=[Wall("house", area[0], area[1], dpc=10.0)])
        steps = np.arange(-20, 21) * space
        mesh = np.stack(np.meshgrid(steps, steps), axis=-1).reshape(-1, 2)
        here = mesh[shapely.distance(shapely.Polygon(ELL), shapely.points(mesh)) < 1e-7] @ turn
        found = pegs_at(brief, corners=False, grid=space)[["x", "y"]].to_numpy()
        assert len(found) == len(here)
        assert max(np.hypot(*(here - place).T).min() for place in found) < 1e-8


class TestTogether:
    def test_corners_edges_and_grid_share_places(self) -> None:
        table = pegs_at(BRIEF, edges=2.0, grid=2.0)
        assert len(table) == 4 * 3
        assert [name for name in table["point"] if name.startswith("g")] == [
            "g1.1", "g2.1"]

    @steady
    @given(st.floats(0.5, 4), st.floats(0.5, 4),
           st.lists(st.tuples(st.integers(0, 12), st.integers(0, 8)), unique=True, max_size=6))
    def test_no_two_pegs_are_near_and_no_two_names_alike(self, edges: float, grid: float, halves: list[tuple[int, int]]) -> None:
        points = [(f"P{x},{y}", x / 2, y / 2) for x, y in halves]
        table = pegs_at(Brief(ELL), edges=edges, grid=grid, points=points)
        assert nearest_pair(table) > 0.05
        assert table["point"].is_unique
        assert rows(table)[:len(points)] == points

    def test_they_can_be_set_out(self) -> None:
        table = set_out(FINISH, BRIEF, pegs_at(BRIEF, edges=2), hpc=11.0).table
        assert table["reading_finished"].tolist()[:4] == pytest.approx([1.2, 1.2, 1.25, 1.25])


class TestRefusals:
    @pytest.mark.parametrize("name", ["edges", "grid"])
    @pytest.mark.parametrize("space", [0, -1.0, 0.05, math.nan, math.inf, "2", True], ids=str)
    def test_spaces(self, name: str, space: object) -> None:
        with pytest.raises(SurveyError, match="It is a length in m, over 50 mm"):
            pegs_at(BRIEF, **{name: space})  # type: ignore[arg-type]

    def test_five_hundred_pegs_and_one_more(self) -> None:
        """A grid of 1 m on 24 m × 19 m has 25 × 20 pegs."""
        field = Brief([(0, 0), (24, 0), (24, 19), (0, 19)])
        assert len(pegs_at(field, grid=1.0)) == 500
        with pytest.raises(SurveyError, match=r"would be 501 pegs.*At most 500"):
            pegs_at(field, grid=1.0, points=[("A", 0.5, 0.5)])

    @pytest.mark.parametrize("spaces", [{"edges": 0.06}, {"grid": 0.06}, {"grid": 0.06, "edges": 0.06}])
    def test_far_too_many_are_refused_at_once(self, spaces: dict[str, float]) -> None:
        with pytest.raises(SurveyError, match=r"would be as many as \d{5,} pegs"):
            pegs_at(Brief([(0, 0), (5000, 0), (5000, 4000), (0, 4000)]), **spaces)  # type: ignore[arg-type]

    def test_nothing_asked_for(self) -> None:
        with pytest.raises(SurveyError, match="No pegs"):
            pegs_at(BRIEF, corners=False)

    @pytest.mark.parametrize(("points", "told"), [
        ([("A", 1, 1), ("A", 2, 2)], "Peg A: two of the points have this name"),
        ([("A", 1, 1), ("B", 1.03, 1.04)], "Pegs A and B: they stand within 50 mm"),
        ([("A", math.nan, 1), ("B", 1, math.inf)], "Peg A: it has no x and y"), ([("A", 1)], "cannot be read"),
        ([("A", "x", 1)], "cannot be read"), (5, "list of points"), (pd.DataFrame({"point": ["A"]}), "no column x, y"),
        ([(f"P{number}", number, 0) for number in range(501)], "501 pegs")],
        ids=["name twice", "near", "no place", "no y", "x a word", "no list", "no columns", "many"])
    def test_points(self, points: object, told: str) -> None:
        with pytest.raises(SurveyError, match=told):
            pegs_at(BRIEF, points=points)  # type: ignore[arg-type]

    def test_all_points_without_a_place_are_named_at_once(self) -> None:
        with pytest.raises(SurveyError) as caught:
            pegs_at(BRIEF, points=[("A", math.nan, 1), ("C", 1, 1), ("B", 1, math.inf), ("D", 1, math.nan)])
        assert [problem.split(":")[0] for problem in caught.value.problems] == ["Peg A", "Peg B", "Peg D"]

    @pytest.mark.parametrize("unsure", [np.array([1, 2]), pd.NA, 1])
    def test_corners_neither_asked_for_nor_not(self, unsure: object) -> None:
        with pytest.raises(SurveyError, match="Whether corners have pegs"):
            pegs_at(BRIEF, corners=unsure)  # type: ignore[arg-type]

    def test_no_brief(self) -> None:
        with pytest.raises(SurveyError, match="The brief"):
            pegs_at(AREA)  # type: ignore[arg-type]


def way(places: list[tuple[float, float]], order: list[int]) -> float:
    return sum(math.dist(places[one], places[other]) for one, other in pairwise(order))


def named(places: list[tuple[float, float]]) -> list[tuple[str, float, float]]:
    return [(f"P{number}", *place) for number, place in enumerate(places)]


PLACE = st.tuples(st.integers(0, 60), st.integers(0, 40)).map(lambda place: (place[0] / 10, place[1] / 10))


class TestWalking:
    @steady
    @given(st.lists(PLACE, min_size=1, max_size=7))
    def test_against_every_order(self, places: list[tuple[float, float]]) -> None:
        found = walking_order(named(places))
        shortest = min(way(places, [0, *rest]) for rest in permutations(range(1, len(places))))
        assert sorted(found) == list(range(len(places)))
        assert found[0] == 0
        assert shortest - 1e-9 <= way(places, found) <= 1.25 * shortest + 1e-9

    @steady
    @given(st.lists(PLACE, min_size=2, max_size=40), PLACE)
    def test_never_longer_than_the_order_given(self, places: list[tuple[float, float]], start: tuple[float, float]) -> None:
        assert way(places, walking_order(named(places))) <= way(places, list(range(len(places)))) + 1e-9
        found = walking_order(named(places), start)
        assert math.dist(places[found[0]], start) == min(math.dist(place, start) for place in places)
        rest = [number for number in range(len(places)) if number != found[0]]
        assert way(places, found) <= way(places, [found[0], *rest]) + 1e-9

    def test_the_shortest_order_of_all_is_kept(self) -> None:
        """Pegs given in the order that trying all 5040 finds."""
        draw, orders = np.random.default_rng(11), np.array([(0, *rest) for rest in permutations(range(1, 8))])
        for _ in range(60):
            drawn = draw.uniform(0, 5, (8, 2)) * [1.0, 0.5]
            apart = np.hypot(*(drawn[:, None] - drawn).transpose(2, 0, 1))
            lengths = apart[orders[:, :-1], orders[:, 1:]].sum(axis=1)
            places = [(float(x), float(y)) for x, y in drawn[orders[lengths.argmin()]]]
            assert way(places, walking_order(named(places))) == pytest.approx(lengths.min(), abs=1e-9)

    def test_along_a_line_it_goes_straight(self) -> None:
        places = [(float(x), 0.0) for x in (0, 7, 3, 9, 1, 4)]
        assert walking_order(named(places)) == [0, 4, 2, 5, 1, 3]

    def test_five_hundred_in_a_grid_are_walked_without_a_detour(self) -> None:
        """25 × 20 pegs 1 m apart: 499 steps of 1 m at the best."""
        draw = np.random.default_rng(3).permutation(500)
        places = [(float(number % 25), float(number // 25)) for number in draw]
        pegs = pd.DataFrame(named(places), columns=["point", "x", "y"])
        found = walking_order(pegs, (0, 0))
        assert sorted(found) == list(range(500))
        assert way(places, found) <= 1.05 * 499
        assert found == walking_order(pegs, (0, 0))

    def test_coordinates_of_a_country_do(self) -> None:
        places = [(450_000.0 + x, 120_000.0) for x in (0.0, 2.0, 1.0, 3.0)]
        assert walking_order(named(places)) == [0, 2, 1, 3]

    def test_all_at_one_place(self) -> None:
        assert walking_order(named([(1.0, 1.0)] * 4))[0] == 0

    def test_the_table_is_walked_from_the_first_end_of_the_first_wall(self) -> None:
        brief = Brief(AREA, walls=[Wall("house", (6, 0), (0, 0), dpc=10.0)])
        table = set_out(FINISH, brief, pegs_at(brief, edges=3), hpc=11.0)
        walked = table.walked()
        assert isinstance(walked, PegTable)
        assert walked.pegs[0].point == "C2"
        assert set(walked.pegs) == set(table.pegs)
        places = [(peg.x, peg.y) for peg in walked.pegs]
        assert way(places, list(range(8))) == pytest.approx(17, abs=1e-9)  # round 20 m of edges, less the last space of 3 m
        assert table.walked((0, 4)).pegs[0].point == "C4"

    def test_without_a_wall_it_begins_at_the_first_peg(self) -> None:
        pegs = [("A", 5, 1), ("B", 0, 1), ("C", 3, 1), ("D", 6, 1)]  # by D 1 + 3 + 3 m, by C 2 + 3 + 6 m
        assert [peg.point for peg in set_out(FINISH, BRIEF, pegs, hpc=11.0).walked().pegs] == ["A", "D", "C", "B"]

    @pytest.mark.parametrize("start", [(1,), (math.nan, 0), "ab", 5, (1, 2, 3)], ids=str)
    def test_starts_that_will_not_do(self, start: object) -> None:
        with pytest.raises(SurveyError, match="start"):
            set_out(FINISH, BRIEF, [("A", 2, 4)], hpc=11.0).walked(start)  # type: ignore[arg-type]

    @pytest.mark.parametrize(("pegs", "told"), [
        ([], "are 0 pegs"), ([("A", 0, 0)] * 501, "are 501 pegs"), ([("A", math.nan, 0)], "Peg A: it has no x and y"),
        (5, "list of pegs"), ([("A", 1)], "cannot be read")], ids=["none", "many", "no place", "no list", "no y"])
    def test_pegs_that_will_not_do(self, pegs: object, told: str) -> None:
        with pytest.raises(SurveyError, match=told):
            walking_order(pegs)  # type: ignore[arg-type]
