"""Channels and outlets that are solved for, and what the trade does where one plane is not enough: numbers worked by hand."""

from __future__ import annotations

import re
from itertools import pairwise

import pytest

from sitelevels import (
    LIMITS,
    Brief,
    Channel,
    Clearance,
    Cover,
    Facet,
    FallAway,
    FallToDrain,
    Finish,
    Ground,
    Layer,
    MaxGradient,
    Meet,
    Outlet,
    Plane,
    Solution,
    Step,
    SurveyError,
    Wall,
    check_finish,
    cut_and_fill,
    set_out,
    solve_finish,
)
from sitelevels.design.cures import Cure
from sitelevels.design.demands import Demand

YARD = [(0, 0), (6, 0), (6, 4), (0, 4)]
SOUTH, NORTH = Wall("south", (0, 0), (6, 0), dpc=10.0), Wall("north", (0, 4), (6, 4), dpc=10.0)
WEST = Wall("west", (0, 0), (0, 4), dpc=10.0)
MIDDLE = Channel(((0, 2), (6, 2)))


def level_ground(level: float = 9.9, width: float = 6.0, depth: float = 4.0) -> Ground:
    return Ground([0, width, width, 0], [0, 0, depth, depth], [level] * 4)


def solved(shape: object, *demands: Demand, area: object = YARD, walls: tuple[Wall, ...] = (SOUTH, NORTH),
           ground: Ground | None = None, layers: tuple[Layer, ...] = (), aim: str = "target fall") -> Solution:
    brief = Brief(area, walls=walls, demands=demands, layers=layers)  # type: ignore[arg-type]
    return solve_finish(brief, ground or level_ground(), shape=shape, aim=aim)  # type: ignore[arg-type]


def met(solution: Solution) -> Finish:
    """The surface, once every one of its verdicts is "met"."""
    assert solution.finish is not None, solution.sentence()
    verdicts = check_finish(solution.finish, solution.brief)
    assert verdicts.table["verdict"].tolist() == ["met"] * len(verdicts.worst)
    assert len(verdicts.worst) >= len(solution.brief.demands)
    return solution.finish


def cure(solution: Solution, start: str) -> Cure:
    (found,) = [one for one in solution.cures if one.name.startswith(start)]
    assert (found.solution is not None and found.solution.solved) == found.works
    if found.works:
        assert found.solution is not None
        met(found.solution)
    return found


BOTH = (Clearance("south"), Clearance("north"), FallAway("south"), FallAway("north"))


class TestChannel:
    @pytest.mark.parametrize("aim", ["target fall", "least dig"])
    def test_between_two_walls(self, aim: str) -> None:
        """150 mm below the DPCs at both walls, 25 mm down at 1:80 to a level channel 2 m off: 50 + 12.5 mm of 24 m² are dug."""
        solution = solved(MIDDLE, *BOTH, FallToDrain(channel=0.0), aim=aim)
        finish = met(solution)
        assert finish.level_at([0, 6, 3, 3], [0, 4, 2, 1]) == pytest.approx([9.85, 9.85, 9.825, 9.8375], abs=2e-6)
        assert solution.volume == pytest.approx(24 * 0.0625, rel=1e-5)

    def test_facet_by_facet(self) -> None:
        """With a fall of its own of 1:100 it drops 60 mm in 6 m: 30 mm more in the mean, and 1:80 on either side."""
        solution = solved(MIDDLE, *BOTH, FallToDrain())
        finish = met(solution)
        told = check_finish(finish, solution.brief).places
        told = told[told["demand"] == "fall to the drain"]
        assert told["place"].tolist() == ["to its drain"] * 2 + ["along the channel"] * 2
        assert told["found"].tolist() == pytest.approx([12.5, 12.5, 10, 10], abs=1e-3)
        assert [facet.plane.fall_towards(*facet.towards) for facet in finish.facets if facet.towards] == pytest.approx(
            [1 / 80, 1 / 80], abs=2e-6)
        assert solution.volume == pytest.approx(24 * 0.0925, rel=1e-5)

    def test_the_usual_fall_to_a_drain_is_demanded_unasked(self) -> None:
        asked, unasked = solved(MIDDLE, *BOTH, FallToDrain()), solved(MIDDLE, *BOTH)
        assert unasked.volume == pytest.approx(asked.volume)
        assert "fall to the drain" in check_finish(met(unasked), unasked.brief).table["demand"].tolist()

    def test_target_and_most(self) -> None:
        finish = met(solved(MIDDLE, *BOTH, FallToDrain(1 / 80, target=1 / 60, most=1 / 50, channel=1 / 200)))
        assert finish.table["to_drain"].tolist() == pytest.approx([1 / 60, 1 / 60], abs=2e-6)
        assert finish.table["along_channel"].tolist() == pytest.approx([1 / 200, 1 / 200], abs=2e-6)

    def test_a_most_that_old_paving_breaks(self) -> None:
        """The channel may lie at 9.80 at the lowest, paving at the wall 2 m off at 9.85 at the highest: at most 1:40."""
        low = Cover([("pipe", 3, 2, 9.65)], 0.15)
        steep = FallToDrain(1 / 39, channel=0.0)
        assert not solved(MIDDLE, *BOTH, low, steep).solved
        assert solved(MIDDLE, *BOTH, low, FallToDrain(1 / 41, channel=0.0)).solved

    def test_pegs_and_volumes_facet_by_facet(self) -> None:
        """Under 100 mm of layers each facet of 12 m² is dug 9.9 − (9.8375 − 0.1) = 162.5 mm deep in the mean: 1.95 m³."""
        ground = level_ground()
        solution = solved(MIDDLE, *BOTH, FallToDrain(channel=0.0), layers=(Layer("slab", 0.04), Layer("bed", 0.06)))
        finish = met(solution)
        formation = finish.lowered(solution.brief.build_up)
        each = [cut_and_fill(ground, formation, facet.area) for facet in finish.facets]
        assert [works.cut for works in each] == pytest.approx([1.95, 1.95], rel=1e-5)
        assert solution.volume == pytest.approx(3.9, rel=1e-5)
        pegs = set_out(finish, solution.brief, [("W", 1, 0), ("C", 3, 2), ("N", 5, 3)], hpc=11.0, ground=ground).table
        assert pegs["reading_finished"].tolist() == pytest.approx([1.15, 1.175, 1.1625], abs=2e-6)
        assert pegs["reading_formation"].tolist() == pytest.approx([1.25, 1.275, 1.2625], abs=2e-6)
        assert pegs["dig"].tolist() == pytest.approx([0.15, 0.175, 0.1625], abs=2e-6)

    def test_a_channel_that_divides_nothing_is_refused(self) -> None:
        with pytest.raises(SurveyError, match="does not divide the area"):
            solved(Channel(((0, 9), (6, 9))), *BOTH)


class TestOutlet:
    def test_falls_to_the_target_on_every_facet_of_a_square(self) -> None:
        """2 m to each side at 1:60: 33.3 mm; a pyramid, so that 16 m² move 10 mm more or less than at one level."""
        solution = solved(Outlet((2, 2)), FallToDrain(1 / 80, target=1 / 60, most=1 / 50), Meet([("door", 2, 0, 9.9)], 0.0),
                          area=[(0, 0), (4, 0), (4, 4), (0, 4)], walls=(), ground=level_ground(9.9, 4, 4))
        finish = met(solution)
        assert finish.table["to_drain"].tolist() == pytest.approx([1 / 60] * 4, abs=2e-6)
        assert finish.level_at([2, 0], [2, 0]) == pytest.approx([9.9 - 1 / 30, 9.9], abs=2e-6)
        assert solution.volume == pytest.approx(16 / 30 / 3, rel=1e-4)

    @pytest.mark.parametrize(("ratio", "there_is"), [(1.0, True), (1.59, True), (1.61, False), (3.0, False)])
    def test_between_two_falls_a_centre_suits_no_room_much_longer_than_wide(self, ratio: float, there_is: bool) -> None:
        """Half the short way at 1:50 is as high as half the long one at 1:80 where that is 80/50 = 1.6 times as long."""
        area = [(0, 0), (2 * ratio, 0), (2 * ratio, 2), (0, 2)]
        solution = solved(Outlet((ratio, 1)), FallToDrain(1 / 80, most=1 / 50), area=area, walls=(),
                          ground=level_ground(9.9, 2 * ratio, 2))
        assert solution.solved == there_is
        if there_is:
            met(solution)
            return
        assert [len(conflict.demands) for conflict in solution.conflicts] == [1]
        told = re.search(r"falls (\S+) times as steeply as the longest \((\S+) m\), and the limits allow (\S+) times",
                         solution.sentence())
        assert told, solution.sentence()
        assert float(told[2]) == pytest.approx(ratio, abs=0.005)
        assert float(told[3]) == pytest.approx(1.6)
        assert float(told[1]) > float(told[3]), "the sentence does not show why"

    def test_from_two_long_sides_the_same_room_has_one(self) -> None:
        """6 m by 2 m: the sides along it lie 1 m off, and nothing falls from the ends."""
        area = [(0, 0), (6, 0), (6, 2), (0, 2)]
        sides = (((0.0, 0.0), (6.0, 0.0)), ((0.0, 2.0), (6.0, 2.0)))
        solution = solved(Outlet((3, 1), sides), FallToDrain(1 / 80, most=1 / 50), area=area, walls=(),
                          ground=level_ground(9.9, 6, 2))
        assert len(met(solution).facets) == 2

    def test_verdicts_facet_by_facet(self) -> None:
        """The outlet 1 and 1.5 m from the sides of 2.5 m by 2.5 m, 30 mm down: 30 and 20 mm/m; the limits are 15 and 25."""
        area = [(0, 0), (2.5, 0), (2.5, 2.5), (0, 2.5)]
        finish = Finish.outlet((1, 1), area, level=9.97, perimeter=10.0)
        verdicts = check_finish(finish, Brief(area, demands=[FallToDrain(0.015, most=0.025)]))
        assert sorted(verdicts.places["found"]) == pytest.approx([20, 20, 30, 30])
        assert sorted(verdicts.places["margin"]) == pytest.approx([-5, -5, 5, 5])
        assert verdicts.table["verdict"].tolist() == ["not met"]


class TestDrains:
    def test_of_a_plane_no_fall_to_a_drain_can_be_asked(self) -> None:
        with pytest.raises(SurveyError, match="neither channel nor outlet"):
            solved(None, FallToDrain())
        with pytest.raises(SurveyError, match="neither channel nor outlet"):
            check_finish(Finish.plane(Plane(9.8, 0, -0.02), YARD), Brief(YARD, demands=[FallToDrain()]))

    @pytest.mark.parametrize(("wrong", "said"), [
        ({"least": 0.03, "most": 0.02}, "contradicts itself"), ({"least": 0.02, "target": 0.01}, "contradicts itself"),
        ({"least": -0.01}, "not negative"), ({"channel": float("nan")}, "finite number"), ({"most": "1:50"}, "finite number")])
    def test_limits_that_are_none(self, wrong: dict[str, float], said: str) -> None:
        with pytest.raises(SurveyError, match=said):
            FallToDrain(**wrong)

    @pytest.mark.parametrize(("below", "drains", "verdict"), [
        (0.15, False, "met"), (0.12, False, "not met"), (0.12, True, "met"), (0.099, True, "not met")])
    def test_a_reduced_clearance_counts_beside_a_drain_only(self, below: float, drains: bool, verdict: str) -> None:
        brief = Brief(YARD, walls=[SOUTH], demands=[Clearance("south", 0.150, drained=0.100)])
        finish = Finish.channel(((0, 2), (6, 2)), YARD, level=10 - below - 0.04, left=0.02, right=0.02) if drains \
            else Finish.plane(Plane(10 - below, 0, -0.02), YARD)
        assert check_finish(finish, brief).table.loc[0, "verdict"] == verdict

    def test_a_facet_that_drains_elsewhere_does_not_reduce_it(self) -> None:
        """The paving at the wall is plain and 120 mm below its DPC; only the far half drains."""
        plain = Facet(Plane(9.88, 0.0, -0.02), Finish.plane(Plane(0, 0, 0), [(0, 0), (6, 0), (6, 2), (0, 2)]).facets[0].area)
        drained = Finish.channel(((0, 3), (6, 3)), [(0, 2), (6, 2), (6, 4), (0, 4)], level=9.82, left=0.02, right=0.02)
        brief = Brief(YARD, walls=[SOUTH], demands=[Clearance("south", 0.150, drained=0.100)])
        assert check_finish(Finish((plain, *drained.facets)), brief).table.loc[0, "verdict"] == "not met"


class TestOneShapeOrAnother:
    def test_at_an_inside_corner_one_plane_falls_from_both_walls(self) -> None:
        """9.85 in the corner, 1:80 from each: 50 mm + (3 + 2) m / 80 = 112.5 mm in the mean of 24 m²."""
        solution = solved(None, Clearance("south"), Clearance("west"), FallAway("south"), FallAway("west"), walls=(SOUTH, WEST))
        assert met(solution).level_at([0, 6], [0, 4]) == pytest.approx([9.85, 9.725], abs=2e-6)
        assert solution.volume == pytest.approx(2.7, rel=1e-5)

    def test_between_opposite_walls_it_cannot_and_a_channel_can(self) -> None:
        solution = solved(None, *BOTH)
        assert [set(conflict.demands) for conflict in solution.conflicts] == [{FallAway("south"), FallAway("north")}]
        channel = cure(solution, "A drained channel half-way between the south and the north")
        assert channel.works
        assert channel.solution is not None
        assert channel.solution.shape == MIDDLE
        assert channel.solution.volume == pytest.approx(1.5, rel=1e-5)
        assert "that does it, moving 1.50 m³" in channel.words
        assert [one.name for one in solution.cures] == [channel.name]

    def test_a_solved_job_needs_no_cure(self) -> None:
        assert solved(MIDDLE, *BOTH).cures == ()


class TestCures:
    def test_a_channel_a_stride_from_the_wall(self) -> None:
        """Old paving at 9.900 ± 6 mm, 4 m off: one plane is down at 9.850 − 4 / 80 = 9.800 there, 94 mm too low. From a channel
        at 9.850 − 0.5 / 80 = 9.84375 it rises to 9.894 at 14.4 mm/m.
        """
        edge = Meet([("old", 3, 4, 9.9)], 0.006)
        solution = solved(None, Clearance("south"), FallAway("south"), edge, walls=(SOUTH,))
        assert [set(conflict.demands) for conflict in solution.conflicts] == [set(solution.brief.demands)]
        (change,) = [one for one in solution.quarrel.changes if isinstance(one.demand, Meet)]
        assert change.values["within"] == pytest.approx(0.1, abs=1e-6)
        channel = cure(solution, "A drained channel 500 mm from the south")
        assert channel.works
        assert channel.solution is not None
        finish = channel.solution.finish
        assert finish is not None
        assert finish.level_at(3, 0.5) <= 9.84375 + 1e-6
        assert finish.level_at(3, 4) >= 9.894 - 1e-6
        assert "100 mm" not in channel.said

    def test_it_may_take_the_clearance_beside_a_drain(self) -> None:
        """A pipe at the wall, 150 mm under paving at 9.87: 130 mm below the DPC, which a drained channel allows."""
        solution = solved(None, Clearance("south"), FallAway("south"), Cover([("pipe", 3, 0, 9.72)]), walls=(SOUTH,))
        channel = cure(solution, "A drained channel 500 mm from the south")
        assert channel.works
        assert "It takes a clearance of 100 mm beside the channel" in channel.words
        assert not cure(solved(None, Clearance("south"), FallAway("south"), Cover([("pipe", 3, 0, 9.76)]), walls=(SOUTH,)),
                        "A drained channel").works  # 90 mm below the DPC

    def test_half_way_between_two_walls_it_may_take_that_of_both(self) -> None:
        """The same pipe at each of two opposite walls: 130 mm below either DPC, which a drained channel allows at both."""
        pipes = Cover([("p", 3, 0, 9.72)]), Cover([("q", 3, 4, 9.72)])
        kept = [Clearance("south", 0.15, drained=0.1), Clearance("north", 0.15, drained=0.1)]
        falls = FallAway("south"), FallAway("north")
        met(solved(MIDDLE, *kept, *falls, *pipes, FallToDrain(channel=0.0)))
        assert cure(solved(None, *BOTH, *pipes), "A drained channel half-way").works

    def test_where_a_stride_is_off_the_area_it_says_so(self) -> None:
        area = [(0, 0), (6, 0), (6, 0.4), (0, 0.4)]
        solution = solved(None, Clearance("south"), FallAway("south"), Cover([("pipe", 3, 0, 9.76)]), area=area, walls=(SOUTH,))
        channel = cure(solution, "A drained channel 500 mm")
        assert channel.solution is None
        assert "it does not fit here (The channel" in channel.words

    @pytest.mark.parametrize(("pipe", "works"), [(9.72, True), (9.849, True), (9.851, False)])
    def test_gravel_along_the_wall(self, pipe: float, works: bool) -> None:
        """Beyond the gravel paving may come up to the DPC at 10.000; over the pipe lie 150 mm."""
        solution = solved(None, Clearance("south"), FallAway("south"), Cover([("pipe", 3, 0, pipe)]), walls=(SOUTH,))
        assert cure(solution, "A strip of gravel along the south").works == works

    @pytest.mark.parametrize(("pipe", "works"), [(9.649, True), (9.651, False)])
    def test_a_step_where_old_paving_was_met(self, pipe: float, works: bool) -> None:
        """Old paving at 9.900: 75 to 150 mm down is 9.825 to 9.750. One plane is at 9.800 there at most, 150 mm over a pipe."""
        solution = solved(None, Clearance("south"), FallAway("south"), Meet([("old", 3, 4, 9.9)]), Cover([("pipe", 3, 4, pipe)]),
                          walls=(SOUTH,))
        down = cure(solution, "A step of 75 mm to 150 mm down to the new paving at old")
        assert down.works == works
        assert not cure(solution, "A step of 75 mm to 150 mm up to").works

    @pytest.mark.parametrize(("level", "works"), [(9.828, True), (9.829, False)])
    def test_one_more_row(self, level: float, works: bool) -> None:
        """A row of 450 mm at 1:20 makes up 22.5 mm: from 9.800 at most, with 6 mm, old paving up to 9.8285 is met."""
        assert LIMITS["row of paving"].value * LIMITS["gradient"].value == pytest.approx(0.0225)
        solution = solved(None, Clearance("south"), FallAway("south"), Meet([("old", 3, 4, level)], 0.006), walls=(SOUTH,))
        assert cure(solution, "One more row of the old paving (450 mm").works == works

    def test_level_access_and_its_ramp(self) -> None:
        """Sill at the height of the DPC: paving 15 mm below the one is 135 mm too near the other. At 9.850 it wants a ramp of
        0.135 m · 12 = 1.62 m, or · 20 = 2.70 m.
        """
        solution = solved(None, Clearance("south"), FallAway("south"), Step([("sill", 3, 0, 10.0)], 0, 0.015), walls=(SOUTH,))
        (conflict,) = solution.conflicts
        assert conflict.level_access
        assert "Level access and clearance below the DPC pull against each other" in solution._repr_html_()
        asked = {type(one.demand).__name__: one.values for one in solution.quarrel.changes}
        assert asked["Clearance"] == {"least": pytest.approx(0.015, abs=1e-6)}
        assert asked["Step"] == {"most": pytest.approx(0.150, abs=1e-6)}
        ramp = cure(solution, "A ramp or raised landing at the door alone")
        assert ramp.works
        for said in ("135 mm too low for level access at sill", "a ramp of 1.62 m at 1:12", "a level landing of 1.2 m"):
            assert said in ramp.words

    def test_a_proper_step_is_no_level_access(self) -> None:
        solution = solved(None, Clearance("south"), Step([("sill", 3, 0, 10.0)], 0.0, 0.075), walls=(SOUTH,))
        assert not solution.solved
        assert not solution.quarrel.level_access
        assert not [one for one in solution.cures if one.name.startswith("A ramp")]

    def test_what_no_cure_does_is_said(self) -> None:
        """200 mm over 3 m, nowhere steeper than 1:25: 80 mm too much. One more row makes up 22.5 mm at either end, and steps
        of 75 to 150 mm at both ends differ by 75 mm at most.
        """
        solution = solved(None, Meet([("a", 1, 1, 9.9)], 0.0), Meet([("b", 4, 1, 9.7)], 0.0), MaxGradient(0.04), walls=())
        assert solution.cures
        assert not any(one.works for one in solution.cures)
        assert all("that alone does not do it" in one.words for one in solution.cures)

    def test_what_a_demand_would_have_to_give_is_nobodys_doubtful_input(self) -> None:
        """300 mm over 1 m: to give way alone the gradient must be 1:3.5. Nobody typed that, so nobody is asked about its unit."""
        solution = solved(None, Meet([("a", 1, 1, 9.9), ("b", 2, 1, 9.6)], 0.006), MaxGradient(0.05), walls=())
        (gradient,) = [one for one in solution.quarrel.changes if isinstance(one.demand, MaxGradient)]
        assert gradient.values["most"] == pytest.approx(0.3 - 0.012, rel=0.006)  # 32 tangents: 0.5 % cautious


def test_the_sides_of_a_chosen_outlet_and_a_channel_keep_walls_clear() -> None:
    """From the south wall alone to an outlet in the opposite side: 9.85 to 9.80, one facet, and away from the wall too."""
    sides = tuple(pairwise([(0.0, 0.0), (6.0, 0.0)]))
    solution = solved(Outlet((3, 4), sides), Clearance("south"), FallAway("south"), walls=(SOUTH,))
    assert met(solution).level_at([0, 3], [0, 4]) == pytest.approx([9.85, 9.8], abs=2e-6)
