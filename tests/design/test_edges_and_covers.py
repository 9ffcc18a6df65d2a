"""Edges that no water may cross, access covers and steps up, every number worked by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely

from sitelevels import (
    AccessCover,
    Brief,
    ClosedEdge,
    Facet,
    FallAway,
    Finish,
    Ground,
    Plane,
    Step,
    SurveyError,
    Verdicts,
    Wall,
    check_finish,
    solve_finish,
)

YARD = [(0, 0), (6, 0), (6, 4), (0, 4)]
BOTTOM, RIGHT, TOP, LEFT = ((0, 0), (6, 0)), ((6, 0), (6, 4)), ((6, 4), (0, 4)), ((0, 4), (0, 0))
WALL = Wall("wall", (0, 0), (6, 0), dpc=10.0)
SLOPING = Plane(9.84, 0.005, -0.02)
"""20 mm/m down in y, 5 mm/m up in x: water leaves by the top and the left edge. 9.815 at (3, 2)."""


def check(plane: Plane, *demands: object, **more: object) -> Verdicts:
    return check_finish(Finish.plane(plane, YARD), Brief(YARD, demands=demands, **more))  # type: ignore[arg-type]


def only(verdicts: Verdicts) -> tuple[float, float, str]:
    """Found and margin, in mm or mm/m, and the verdict."""
    (row,) = verdicts.table.to_dict("records")
    return row["found"], row["margin"], row["verdict"]


def edges_of(brief: Brief) -> set[frozenset[tuple[float, float]]]:
    """The ends of each closed edge, to half a metre: the tolerance of a wall, 50 mm, may shorten it."""
    return {frozenset((round(2 * x) / 2, round(2 * y) / 2) for x, y in (one.first, one.second)) for one in brief.every_demand
            if isinstance(one, ClosedEdge)}


def ends(*edges: tuple[tuple[float, float], tuple[float, float]]) -> set[frozenset[tuple[float, float]]]:
    return {frozenset((float(x), float(y)) for x, y in edge) for edge in edges}


class TestClosedEdges:
    @pytest.mark.parametrize(("edge", "found", "verdict"), [
        (BOTTOM, 20, "met"), (RIGHT, 5, "met"), (TOP, -20, "not met"), (LEFT, -5, "not met"), (TOP[::-1], -20, "not met")])
    def test_the_fall_away_from_each_edge(self, edge: object, found: float, verdict: str) -> None:
        for verdicts in (check(SLOPING, ClosedEdge(*edge)), check(SLOPING, closed=[edge])):  # type: ignore[misc]
            assert only(verdicts) == (pytest.approx(found), pytest.approx(found), verdict)
            assert verdicts.table.loc[0, "unit"] == "mm/m"

    @pytest.mark.parametrize(("gy", "verdict"), [(0.0, "met"), (9e-7, "met"), (2e-6, "not met")])
    def test_along_the_edge_water_may_run(self, gy: float, verdict: str) -> None:
        assert only(check(Plane(9.8, 0.03, -gy), closed=[TOP]))[2] == verdict

    def test_part_of_a_side_speaks_of_the_facets_beside_it_only(self) -> None:
        """A ridge at x = 3: only the left half falls over the top edge."""
        left, right = shapely.box(0, 0, 3, 4), shapely.box(3, 0, 6, 4)
        halves = Finish((Facet(Plane(9.8, 0, -0.02), left), Facet(Plane(9.8, 0, 0.01), right)))
        for edge, found in ((((0, 4), (3, 4)), -20), (((3, 4), (6, 4)), 10), (TOP, -20)):
            assert only(check_finish(halves, Brief(YARD, closed=[edge])))[0] == pytest.approx(found)

    def test_the_sentence_that_mends_it(self) -> None:
        mend = check(SLOPING, closed=[TOP]).table.loc[0, "mend"]
        assert "away from the edge from x 6 y 4 to x 0 y 4" in mend
        assert "a change of 20.0 mm/m" in mend

    def test_an_oblique_edge(self) -> None:
        """The long side of a triangle 4 m by 3 m; square to it, into the area, points (−3, −4) / 5: 20 · 0.8 − 5 · 0.6."""
        area = [(0, 0), (4, 0), (0, 3)]
        plane = Plane(9.8, -0.005, 0.02)
        found = only(check_finish(Finish.plane(plane, area), Brief(area, closed=[((4, 0), (0, 3))])))
        assert found == (pytest.approx(13), pytest.approx(13), "met")

    def test_the_edge_of_a_hole(self) -> None:
        area = shapely.box(0, 0, 6, 4) - shapely.box(2, 1, 4, 3)
        table = check_finish(Finish.plane(SLOPING, area), Brief(area, closed=[((2, 3), (4, 3)), ((2, 1), (4, 1))])).table
        assert table["found"].tolist() == pytest.approx([20, -20])  # beyond it water runs off from it, before it into it

    def test_on_a_national_grid(self) -> None:
        shift = np.array([450_000.0, 4_500_000.0])
        area = shift + YARD
        plane = Plane(9.84, 0.005, -0.02, tuple(shift))
        found = only(check_finish(Finish.plane(plane, area), Brief(area, closed=[tuple(map(tuple, shift + TOP))])))
        assert found[0] == pytest.approx(-20, abs=1e-5)

    def test_solved_between_two_closed_sides_the_floor_runs_along_them(self) -> None:
        """No water over left and right: no fall in x at all; 1:80 from the wall."""
        ground = Ground([0, 6, 6, 0], [0, 0, 4, 4], [9.9, 10.0, 10.0, 9.9])
        brief = Brief(YARD, walls=[WALL], demands=[FallAway("wall", target=1 / 80)], closed=[LEFT, RIGHT])
        solution = solve_finish(brief, ground)
        assert solution.finish is not None
        plane = solution.finish.facets[0].plane
        assert (plane.gx, plane.gy) == (pytest.approx(0, abs=2e-6), pytest.approx(-1 / 80, abs=2e-6))

    def test_a_quarrel_says_to_let_the_water_leave(self) -> None:
        ground = Ground([0, 6, 6, 0], [0, 0, 4, 4], [9.9] * 4)
        solution = solve_finish(Brief(YARD, walls=[WALL], demands=[FallAway("wall")], closed=[TOP]), ground)
        (conflict,) = solution.conflicts
        assert [type(demand) for demand in conflict.demands] == [FallAway, ClosedEdge]
        words = {type(one.demand): (one.words, one.enough) for one in solution.quarrel.changes}
        assert words[ClosedEdge] == ("let water leave over the edge from x 6 y 4 to x 0 y 4", True)


class TestFreeEdges:
    def test_none_named_none_closed(self) -> None:
        assert edges_of(Brief(YARD)) == set()

    def test_every_edge_that_is_neither_free_nor_a_wall_is_closed(self) -> None:
        assert edges_of(Brief(YARD, walls=[WALL], free=[TOP])) == ends(LEFT, RIGHT)
        assert edges_of(Brief(YARD, free=[TOP])) == ends(LEFT, RIGHT, BOTTOM)
        assert edges_of(Brief(YARD, walls=[WALL], free=[TOP, LEFT, RIGHT])) == set()

    def test_of_an_edge_free_in_part_the_rest_is_closed(self) -> None:
        brief = Brief(YARD, walls=[WALL], free=[((1, 4), (3, 4)), LEFT, RIGHT])
        assert edges_of(brief) == ends(((0, 4), (1, 4)), ((3, 4), (6, 4)))

    def test_so_is_the_rest_of_one_with_a_short_wall(self) -> None:
        short = Wall("short", (2, 0), (5, 0), dpc=10.0)
        assert edges_of(Brief(YARD, walls=[short], free=[TOP, LEFT, RIGHT])) == ends(((0, 0), (2, 0)), ((5, 0), (6, 0)))

    def test_closed_and_named_so_it_is_one(self) -> None:
        verdicts = check(SLOPING, walls=[WALL], free=[TOP], closed=[RIGHT])
        assert len(verdicts.worst) == 2, "the right edge is held twice"

    def test_it_is_called_by_its_corners(self) -> None:
        words = [demand.words() for demand in Brief(YARD, walls=[WALL], free=[TOP, LEFT]).every_demand]
        assert words == ["no water over the edge from x 6 y 0 to x 6 y 4"]

    def test_an_edge_of_a_hole_is_closed_too(self) -> None:
        area = shapely.box(0, 0, 6, 4) - shapely.box(2, 1, 4, 3)
        assert ends(((2, 1), (4, 1)), ((2, 3), (4, 3))) <= edges_of(Brief(area, free=[TOP]))

    def test_verdicts(self) -> None:
        table = check(SLOPING, walls=[WALL], free=[TOP]).table
        assert sorted(table["found"]) == pytest.approx([-5, 5])
        assert sorted(table["verdict"]) == ["met", "not met"]


NAN = float("nan")
NO_EDGES = [
    (((0, 0), (3, 2)), "does not lie along the outline"), (((0, 0), (6, 4)), "does not lie along the outline"),
    (((0, 4.06), (6, 4.06)), "does not lie along the outline"), (((0, 4), (7, 4)), "does not lie along the outline"),
    (((0, 0), (0, 0)), "is no edge"), (((0, 0), (0.1, 0)), "is no edge"), (((0, 0), (NAN, 0)), "is no edge"),
    (((0, 0), (math.inf, 0)), "is no edge"), (((0, 0),), "is no edge"), (((0, 0, 0), (6, 0, 0)), "is no edge"),
    ("top", "is no edge"), (None, "is no edge"), (7, "is no edge"), ((("a", 0), (6, 0)), "is no edge")]


class TestWrongEdges:
    @pytest.mark.parametrize("name", ["closed", "free"])
    @pytest.mark.parametrize(("edge", "said"), NO_EDGES)
    def test_each_is_refused_in_a_sentence(self, name: str, edge: object, said: str) -> None:
        with pytest.raises(SurveyError, match=rf"(?i)^the {name} edge .*{said}.*\."):
            Brief(YARD, **{name: [edge]})  # type: ignore[arg-type]

    @pytest.mark.parametrize("edges", [7, 1.5, "top", {"a": 1}])
    @pytest.mark.parametrize("name", ["closed", "free"])
    def test_so_is_what_is_no_list_of_edges(self, name: str, edges: object) -> None:
        with pytest.raises(SurveyError):
            Brief(YARD, **{name: edges})  # type: ignore[arg-type]

    def test_one_edge_that_is_not_in_a_list_is_not_taken_for_two(self) -> None:
        """((0, 0), (6, 0)) holds two pairs of numbers, not two edges."""
        with pytest.raises(SurveyError, match="is no edge"):
            Brief(YARD, closed=BOTTOM)  # type: ignore[arg-type]

    @pytest.mark.parametrize(("first", "second"), [
        ((0, 0), (0, 0)), ((0, 0), (NAN, 0)), ("a", "b"), (None, (6, 0)), ((0,), (6, 0)), ((0, 2), (6, 2)), ((9, 0), (9, 4))])
    def test_a_demand_on_no_edge(self, first: object, second: object) -> None:
        with pytest.raises(SurveyError):
            Brief(YARD, demands=[ClosedEdge(first, second)])  # type: ignore[arg-type]

    def test_within_the_tolerance_of_a_tape_it_is_the_edge(self) -> None:
        assert only(check(SLOPING, closed=[((0.5, 3.96), (5.5, 4.04))]))[2] == "not met"


COVER = ("lid", 3.0, 2.0, 9.800)
"""SLOPING lies 15 mm above it."""


class TestCovers:
    @pytest.mark.parametrize(("within", "lower", "higher", "margin", "verdict"), [
        (0.006, 0.0, 0.0, -9, "not met"), (0.020, 0.0, 0.0, 5, "met"), (0.006, 0.0, 0.010, 1, "met"),
        (0.006, 0.0, 0.008, -1, "not met"), (0.006, 0.050, 0.0, -9, "not met"), (0.0, 0.0, 0.015, 0, "met")])
    def test_fixed_or_reset_higher(self, within: float, lower: float, higher: float, margin: float, verdict: str) -> None:
        found = only(check(SLOPING, AccessCover([COVER], within, lower, higher)))
        assert found == (pytest.approx(15), pytest.approx(margin, abs=1e-9), verdict)

    @pytest.mark.parametrize(("lower", "margin", "verdict"), [(0.0, -9, "not met"), (0.008, -1, "not met"), (0.010, 1, "met")])
    def test_reset_lower(self, lower: float, margin: float, verdict: str) -> None:
        """The frame 15 mm above the paving."""
        found = only(check(SLOPING, AccessCover([("lid", 3, 2, 9.83)], 0.006, lower, 0.0)))
        assert found == (pytest.approx(-15), pytest.approx(margin, abs=1e-9), verdict)

    def test_the_worst_of_its_corners(self) -> None:
        """Paving at 9.7725, 9.8125 and 9.825 at three corners of a frame at 9.800."""
        frame = [("a", 2.5, 4.0, 9.8), ("b", 2.5, 2.0, 9.8), ("c", 3.0, 1.5, 9.8)]
        verdicts = check(SLOPING, AccessCover(frame, 0.02))
        assert verdicts.places["found"].tolist() == pytest.approx([-27.5, 12.5, 25])
        assert only(verdicts) == (pytest.approx(-27.5), pytest.approx(-7.5), "not met")

    def test_the_words_say_whether_it_may_be_reset(self) -> None:
        assert AccessCover([COVER]).words() == "within 6 mm of the cover at lid"
        assert AccessCover([COVER], 0.006, 0.02, 0.03).words().endswith("which may be reset 20 mm lower to 30 mm higher")

    def test_what_it_would_have_to_give(self) -> None:
        """The top at 9.9 at both ends of the wall: one plane falling 1:80 or more is at 9.875 or below at 2 m; the lid asks
        for 9.894: 19 mm from the lid that it may stand within, or as much that the lid may come down.
        """
        ground = Ground([0, 6, 6, 0], [0, 0, 4, 4], [9.9] * 4)
        brief = Brief(YARD, walls=[WALL], demands=[Step([("a", 0, 0, 9.95), ("b", 6, 0, 9.95)], 0.05, 0.2), FallAway("wall"),
                                                   AccessCover([("lid", 3, 2, 9.9)], 0.006)])
        (change,) = [one for one in solve_finish(brief, ground).quarrel.changes if isinstance(one.demand, AccessCover)]
        assert change.enough
        assert change.values == {"lower": pytest.approx(0.019, abs=1e-6)}  # reset rather than left standing out

    @pytest.mark.parametrize(("more", "said"), [
        ({"within": -0.001}, "not negative"), ({"lower": -0.001}, "not negative"), ({"higher": NAN}, "finite number"),
        ({"within": "6"}, "finite number"), ({"lower": True}, "finite number"), ({"higher": math.inf}, "finite number")])
    def test_limits_that_are_none(self, more: dict[str, float], said: str) -> None:
        with pytest.raises(SurveyError, match=said):
            AccessCover([COVER], **more)

    @pytest.mark.parametrize("points", [[], [("lid", 3, 2)], [("lid", 3, 2, NAN)], "lid", None, 7, [("lid", "a", 2, 9.8)]])
    def test_points_that_are_none(self, points: object) -> None:
        with pytest.raises(SurveyError, match=r"(?i)the demand AccessCover|points of the demand"):
            AccessCover(points)  # type: ignore[arg-type]

    def test_far_outside_the_area(self) -> None:
        with pytest.raises(SurveyError, match=r"lid.*outside the area"):
            Brief(YARD, demands=[AccessCover([("lid", 3, 4.4, 9.8)])])


class TestStepsUp:
    @pytest.mark.parametrize(("old", "found", "margin", "verdict"), [
        (9.715, 100, 25, "met"), (9.755, 60, -15, "not met"), (9.635, 180, -30, "not met"), (9.9, -85, -160, "not met")])
    def test_up_to_the_new_paving(self, old: float, found: float, margin: float, verdict: str) -> None:
        """The new paving at 9.815, 75 to 150 mm above the old."""
        verdicts = check(SLOPING, Step([("old", 3, 2, old)], 0.075, 0.150, up=True))
        assert only(verdicts) == (pytest.approx(found), pytest.approx(margin), verdict)

    def test_down_is_the_other_way(self) -> None:
        assert only(check(SLOPING, Step([("sill", 3, 2, 9.915)], 0.075, 0.150)))[0] == pytest.approx(100)

    def test_the_words_and_the_mend(self) -> None:
        step = Step([("old", 3, 2, 9.755)], 0.075, 0.150, up=True)
        assert step.words() == "a step of 75 mm to 150 mm up from old"
        assert check(SLOPING, step).table.loc[0, "mend"] == "Raise the finished surface by 15.0 mm at old."

    def test_a_step_up_is_no_level_access(self) -> None:
        assert Step([("sill", 3, 0, 9.9)], 0.0, 0.015).level_access
        assert not Step([("sill", 3, 0, 9.9)], 0.0, 0.015, up=True).level_access

    @pytest.mark.parametrize("up", ["yes", "down", 2, None])
    def test_up_is_yes_or_no(self, up: object) -> None:
        with pytest.raises(SurveyError):
            Step([("old", 3, 2, 9.7)], 0.075, 0.150, up=up)  # type: ignore[arg-type]
