"""Surfaces that are found with errors counted: k·u is kept inside every limit, or it is said where that cannot be."""

from __future__ import annotations

import math
from dataclasses import fields, replace
from typing import Any

import numpy as np
import pytest
from random_jobs import KINDS, RandomJob, bare_job, demand_on, solvable_job

from sitelevels import (
    Brief,
    Clearance,
    Cover,
    ErrorBudget,
    FallAlong,
    FallAway,
    Finish,
    Ground,
    KeepBelow,
    MaxGradient,
    Meet,
    Plane,
    SurveyError,
    Wall,
    check_finish,
    read_book,
    reduce_book,
    solve_finish,
)
from sitelevels.design.conditions import Demand

MET, CLOSE, NOT_MET = "met", "too close to call", "not met"
TERMS = [one.name for one in fields(ErrorBudget) if one.name not in ("sure", "sources")]
YARD = [(0, 0), (6, 0), (6, 4), (0, 4)]
X, Y, VENT = 5.5, 0.2, 9.92
K = 1.644854  # of 0.95, one-sided: JCGM 106:2012, 9.5.2
LAYING = replace(ErrorBudget(**dict.fromkeys(TERMS, 0.0)), laying=0.004)
"""Nothing but laying, 4 mm: u of a level is 4 mm, that of a fall over 4 m is 1 mm/m."""


def scaled(by: float) -> ErrorBudget:
    usual = ErrorBudget()
    return replace(usual, **{name: getattr(usual, name) * by for name in TERMS})


def briefed(*demands: Demand) -> Brief:
    return Brief(YARD, walls=[Wall("house", (0, 0), (6, 0), dpc=10.0)], demands=demands)  # type: ignore[arg-type]


def flat(level: float) -> Ground:
    return Ground([0, 6, 6, 0], [0, 0, 4, 4], [level] * 4)


def proved(job: RandomJob, budget: ErrorBudget) -> tuple[list[str], tuple[str, ...]]:
    """The verdicts on the surface that is found with a budget, and what it says cannot be proved."""
    found = solve_finish(job.brief, job.ground, budget=budget)
    assert found.finish is not None
    verdicts = check_finish(found.finish, job.brief, budget=budget)
    close = [one for one, (verdict, _) in zip(verdicts.worst, verdicts.judged, strict=True) if verdict == CLOSE]
    assert len(found.unproved) == len(close)
    for one, said in zip(close, found.unproved, strict=True):
        assert said.startswith(one.demand.words())
        assert one.condition.place in said
        assert said.endswith(one.aim)
    return [verdict for verdict, _ in verdicts.judged], found.unproved


class TestRandomJobs:
    def test_small_errors_are_kept_inside_every_limit(self) -> None:
        """Errors of a hundredth of the usual ones: of sixty jobs whose demands leave that room, every demand is met."""
        kept = 0
        for seed in range(60):
            verdicts, unproved = proved(solvable_job(np.random.default_rng([824, seed])), scaled(0.01))
            assert NOT_MET not in verdicts
            assert (set(verdicts) == {MET}) == (not unproved)
            kept += not unproved
        assert kept >= 50

    def test_usual_errors_are_kept_or_named(self) -> None:
        for seed in range(20):
            verdicts, unproved = proved(solvable_job(np.random.default_rng([825, seed])), ErrorBudget())
            assert NOT_MET not in verdicts
            assert (set(verdicts) == {MET}) == (not unproved)

    @pytest.mark.parametrize("seed", range(40))
    def test_a_budget_of_noughts_gives_the_verdicts_of_none(self, seed: int) -> None:
        rng = np.random.default_rng([823, seed])
        job = bare_job(rng)
        demands = [demand_on(rng, job, str(kind), f"P{number}", spoil=0.02) for number, kind in enumerate(rng.choice(KINDS, 8))]
        brief = job.with_demands(*dict.fromkeys(demands)).brief
        finish = Finish.plane(Plane(float(job.hidden[0]), *map(float, job.hidden[1:]), tuple(map(float, job.middle))), brief.area)
        without, noughts = check_finish(finish, brief), check_finish(finish, brief, budget=scaled(0.0))
        assert [verdict for verdict, _ in noughts.judged] == [verdict for verdict, _ in without.judged]
        assert noughts.too_close == 0
        assert [one.condition for one in noughts.worst] == [one.condition for one in without.worst]


class TestByHand:
    def test_room_is_taken_under_a_vent(self) -> None:
        """Under higher ground paving wants to lie as high as it may: 100 mm and k·u below the vent, k·u flatter than 1:50."""
        brief = briefed(KeepBelow(("vent", X, Y, VENT), 0.1), MaxGradient(0.02))
        found, plain = solve_finish(brief, flat(10.2), budget=LAYING), solve_finish(brief, flat(10.2))
        assert plain.finish is not None
        assert found.finish is not None
        assert plain.finish.level_at(X, Y) == pytest.approx(VENT - 0.1, abs=2e-6)
        assert found.finish.level_at(X, Y) == pytest.approx(VENT - 0.1 - K * 0.004, abs=2e-6)
        assert found.unproved == ()

    def test_room_is_taken_on_a_fall(self) -> None:
        """1:80 from the house with 1 mm/m of uncertainty, and no steeper than it must be over level ground."""
        found = solve_finish(briefed(FallAway("house", 1 / 80)), flat(9.8), budget=LAYING)
        assert found.finish is not None
        assert found.finish.facets[0].plane.fall_towards(0, 1) == pytest.approx(1 / 80 + K * 0.001, abs=2e-6)

    def test_room_is_taken_for_a_taped_place_on_a_steep_surface(self) -> None:
        """Nothing but the tape, 50 mm: on a fall of 80 mm/m a level at a taped place is out by 4 mm."""
        tape = replace(LAYING, laying=0.0, tape=0.05)
        brief = briefed(KeepBelow(("vent", X, Y, VENT), 0.1), FallAway("house", 0.08, most=0.0801), FallAlong("house", 0.0001))
        found = solve_finish(brief, flat(10.2), budget=tape)
        assert found.finish is not None
        assert found.finish.level_at(X, Y) == pytest.approx(VENT - 0.1 - K * 0.004, abs=2e-5)

    def test_where_two_demands_leave_too_little_room_they_are_named(self) -> None:
        """1 mm between a pipe and a vent at one place: no surface keeps k·u from both, so limits are kept by the margin."""
        brief = briefed(KeepBelow(("vent", X, Y, VENT), 0.1), Cover([("pipe", X, Y, VENT - 0.251)], 0.15))
        found = solve_finish(brief, flat(9.8), budget=LAYING)
        assert found.solved
        below, cover = found.unproved
        assert below.startswith("at least 100 mm below vent")
        assert below.endswith("To be 95% sure of at least 100 mm, aim for 107 mm.")
        assert cover.startswith("at least 150 mm of cover over pipe")
        assert cover.endswith("To be 95% sure of at least 150 mm, aim for 157 mm.")

    def test_a_limit_finer_than_levels_show_is_named_and_the_rest_is_kept(self) -> None:
        brief = briefed(Meet([("old", 5.0, 3.5, 9.77)], 0.003), Clearance("house", 0.15), FallAway("house", 1 / 80))
        found = solve_finish(brief, flat(9.8), budget=LAYING)
        assert found.finish is not None
        (said,) = found.unproved
        assert said.startswith("within 3 mm of the paving that stays at old")
        assert "Finer than levels can show: 19 times of 20 the number is known within 7.8 mm either way" in said
        verdicts = check_finish(found.finish, brief, budget=LAYING)
        assert [verdict for verdict, _ in verdicts.judged] == [CLOSE, MET, MET]


@pytest.mark.parametrize(("given", "said"), [
    ({"reading": -0.001}, "reading of the error budget"), ({"laying": math.nan}, "laying of the error budget"),
    ({"tape": math.inf}, "tape of the error budget"), ({"zero": "1 mm"}, "zero of the error budget"),
    ({"reading": 1.0}, r"reading of the error budget is 1 m.*1 mm is 0\.001 m"), ({"tilt_body": 3.0}, "tilt_body.* is 3 m/m"),
    ({"collimation": 1e300}, "collimation of the error budget"), ({"sure": 1.2}, r"is 1\.2\. It lies between 0\.5 and 0\.9999"),
    ({"sure": 95}, "is 95"), ({"sure": 1.0}, r"is 1\.0"), ({"sure": 0.3}, r"is 0\.3"), ({"sure": math.nan}, "how sure"),
    ({"sure": None}, "how sure")])
def test_a_budget_that_is_none_is_refused_in_words(given: dict[str, Any], said: str) -> None:
    with pytest.raises(SurveyError, match=f"(?is){said}"):
        ErrorBudget(**given)


@pytest.mark.filterwarnings("ignore::sitelevels.SurveyWarning")
def test_a_gradient_finer_than_levels_can_show_leaves_the_others_their_room() -> None:
    wall = Wall("wall", (0, 0), (4, 0), dpc=10.3)
    brief = Brief([(0, 0), (4, 0), (4, 3), (0, 3)], walls=[wall], demands=[Clearance("wall", 0.150)])
    reduced = reduce_book(read_book("point,bs,is,rl,x,y\nBM,1.5,,10,,\nA,,1.2,,0,0\nB,,1.2,,4,0\nC,,1.2,,4,3\nD,,1.2,,0,3\n"))
    errors, ground = ErrorBudget().errors(reduced), Ground([0, 4, 4, 0], [0, 0, 3, 3], [10.3] * 4)
    for most in (0.01, 0.001, 0.0):
        found = solve_finish(replace(brief, demands=[Clearance("wall", 0.150), MaxGradient(most)]), ground, budget=errors)
        assert found.finish is not None
        met = [one.verdict for one in check_finish(found.finish, brief, budget=errors).worst]
        assert met == ["met"], most
