"""Odd input to the error budget and what follows from it: told in sentences, or borne."""

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
import shapely

from sitelevels import (
    Brief,
    Clearance,
    Cover,
    ErrorBudget,
    FallAway,
    Finish,
    Ground,
    LevelErrors,
    MaxGradient,
    Meet,
    Plane,
    SurveyError,
    Verdicts,
    Wall,
    check_finish,
    next_shot,
    reduce_book,
    sensitivity,
    shot_plan,
    solve_finish,
)
from sitelevels.survey.book import LevelBook, Row

YARD = [(0.0, 0.0), (6.0, 0.0), (6.0, 4.0), (0.0, 4.0)]
WALL = Wall("house", (0, 0), (6, 0), dpc=[(0, 10.0), (6, 10.0)], points=["D1", "D2"])
FALLING = 1 / 60


def errors(budget: ErrorBudget, fall: float = FALLING, places: Any = None) -> LevelErrors:
    """A level book of two DPC shots and spots that lie exactly on a plane."""
    spots = [(float(x), float(y)) for x in range(0, 7, 2) for y in range(0, 5, 2)] if places is None else places
    rows = [Row(1, "BM", bs=1.0, rl=9.8, x=-3.0, y=2.0, feature="benchmark"),
            Row(2, "D1", is_=0.8, x=0.0, y=0.0, feature="dpc"), Row(3, "D2", is_=0.8, x=6.0, y=0.0, feature="dpc")]
    rows += [Row(number, f"S{number}", is_=1.0 + fall * y, x=x, y=y) for number, (x, y) in enumerate(spots, start=4)]
    return budget.errors(reduce_book(LevelBook(tuple(rows))), instruments={1: (3.0, 2.0)})


def judged(budget: ErrorBudget, fall: float = FALLING) -> Verdicts:
    found = errors(budget, fall)
    points = found.ground_points()
    brief = Brief(YARD, walls=[WALL], demands=[Clearance("house"), FallAway("house", 1 / 80)])
    return check_finish(Finish.plane(found.plane_fit(points).plane, YARD), brief, budget=found, surveyed=points)


@pytest.mark.parametrize(("fall", "wanted"), [(FALLING, ["met", "met"]), (0.0, ["met", "not met"])])
def test_errors_of_nought_on_paving_that_exists_go_by_the_margin(fall: float, wanted: list[str]) -> None:
    """Clearance 10.0 less 9.8 m; the fall 1:60 or none against 1:80."""
    assert [verdict for verdict, _ in judged(ErrorBudget(*[0.0] * 11), fall).judged] == wanted


NOTHING = check_finish(Finish.plane(Plane(9.8, 0.0, 0.0), YARD), Brief(YARD), budget=ErrorBudget())
NAMED_TWICE = Brief(YARD, demands=[Meet([("a", 1, 1, 9.8), ("a", 3, 2, 9.8)])])


@pytest.mark.parametrize(("act", "said"), [
    (lambda: ErrorBudget(sure=1 - 1e-16), "between 0.5 and 0.9999"),
    (lambda: sensitivity(NOTHING), "nothing is demanded"),
    (lambda: next_shot(judged(ErrorBudget()), demand=9), "no demand number 9"),
    (lambda: sensitivity(judged(ErrorBudget()), trials=10**30), "trials is"),
    (lambda: sensitivity(judged(ErrorBudget())).inputs_words(99), "no demand number 99"),
    (lambda: errors(ErrorBudget()).plane_fit("S4"), "a list of names"),
    (lambda: errors(ErrorBudget()).plane_fit([None]), "a list of names"),  # type: ignore[list-item]
    (lambda: errors(ErrorBudget()).plane_fit(["S4", "S5", "S7", "S4"]), "named twice"),
    (lambda: errors(ErrorBudget()).plane_fit(uneven=-0.001), "how uneven"),
    (lambda: errors(ErrorBudget()).plane_fit(uneven=float("inf")), "how uneven"),
    (lambda: shot_plan(NAMED_TWICE), "a name of its own"),
    (lambda: shot_plan(Brief(YARD, demands=[MaxGradient()]), benchmark=(1e6, 0)), "A sight is no longer")])
def test_is_told_in_sentences(act: Callable[[], object], said: str) -> None:
    with pytest.raises(SurveyError, match="(?i)" + said):
        act()


def test_three_spots_tell_nothing_of_unevenness() -> None:
    found = errors(ErrorBudget(), places=[(0.0, 0.0), (6.0, 0.0), (0.0, 4.0)])
    points = found.ground_points()
    brief = Brief(YARD, walls=[WALL], demands=[FallAway("house")])
    with pytest.raises(SurveyError, match="Three fit any plane"):
        check_finish(Finish.plane(found.plane_fit(points).plane, YARD), brief, budget=found, surveyed=points)


def test_nothing_demanded_is_solved_with_a_budget_too() -> None:
    ground = Ground([0, 6, 6, 0], [0, 0, 4, 4], [9.9] * 4)
    assert solve_finish(Brief(YARD), ground, budget=ErrorBudget()).solved


def test_covariances_cannot_be_changed_from_outside() -> None:
    with pytest.raises(ValueError, match="read-only"):
        errors(ErrorBudget()).covariance[0, 0] = 9.0


def test_a_rounded_outline_is_planned_all_the_way_round() -> None:
    """A circle of 240 corners: those that are read lie in every quarter of it, and there are spots inside."""
    circle = list(shapely.Point(0, 0).buffer(5, quad_segs=60).exterior.coords[:-1])
    shots = shot_plan(Brief(circle, demands=[MaxGradient()])).shots
    corners = np.array([(shot.x, shot.y) for shot in shots if shot.feature == "corner"], dtype=float)
    assert {(x > 0, y > 0) for x, y in corners} == {(True, True), (True, False), (False, True), (False, False)}
    assert any(shot.feature == "ground" for shot in shots)
    assert len(shots) <= 34


def test_a_place_asked_for_twice_is_two_demands() -> None:
    """The same demand twice in a brief: each counts its own places."""
    demand = Cover([("pipe", 3, 2, 9.6)], 0.1)
    finish = Finish.plane(Plane(9.8, 0.0, -FALLING), YARD)
    found = check_finish(finish, Brief(YARD, demands=[demand, demand]), budget=ErrorBudget())
    assert [found.places_of(number) for number in (0, 1)] == [[0], [1]]
