"""Demands: what they ask for, their usual limits, and limits that make no sense."""

from __future__ import annotations

import math
from dataclasses import FrozenInstanceError

import pytest

from sitelevels import (
    LIMITS,
    Brief,
    Clearance,
    Cover,
    FallAlong,
    FallAway,
    Gully,
    KeepBelow,
    MaxGradient,
    Meet,
    Spot,
    Step,
    SurveyError,
    Wall,
)
from sitelevels.design.published import MEMORY, PRACTICE, QUOTED, READ

P, Q = ("P", 1.0, 2.0, 9.9), ("Q", 3.0, 2.0, 9.8)
BRIEF = Brief([(0, 0), (6, 0), (6, 4), (0, 4)], walls=[Wall("wall", (0, 0), (6, 0), dpc=10.0)])


@pytest.mark.parametrize(("demand", "words"), [
    (Clearance("wall", 0.15), "at least 150 mm below the DPC of the wall"),
    (FallAway("wall", 1 / 80), "a fall of at least 1:80 (12.5 mm/m) away from the wall"),
    (FallAway("wall", 1 / 80, most=1 / 40),
     "a fall of at least 1:80 (12.5 mm/m) and at most 1:40 (25.0 mm/m) away from the wall"),
    (FallAlong("wall", 1 / 100), "a fall of at most 1:100 (10.0 mm/m) along the wall, either way"),
    (Meet([P, Q], 0.003), "within 3 mm of the paving that stays at P, Q"),
    (Step([P], 0.1, 0.15), "a step of 100 mm to 150 mm down from P"),
    (Cover([P], 0.15), "at least 150 mm of cover over P"),
    (KeepBelow(P, 0.075), "at least 75 mm below P"),
    (Gully(P, (0.003, 0.01)), "3 mm to 10 mm proud of the gully P"),
    (MaxGradient(1 / 20), "nowhere steeper than 1:20 (50.0 mm/m)"),
])
def test_each_is_said_in_words(demand: object, words: str) -> None:
    assert demand.words() == words  # type: ignore[attr-defined]


@pytest.mark.parametrize(("demand", "limits"), [
    (Clearance("wall"), {"least": 0.150}), (FallAway("wall"), {"least": 0.0125, "target": None, "most": None}),
    (FallAlong("wall"), {"most": 0.025}), (Meet([P]), {"within": 0.006}), (Step([P]), {"least": 0.075, "most": 0.150}),
    (Cover([P]), {"least": 0.150}), (KeepBelow(P), {"by": 0.075}), (Gully(P), {"proud": (0.003, 0.010)}),
    (MaxGradient(), {"most": 0.05}),
], ids=lambda value: type(value).__name__)
def test_what_is_left_out_is_the_usual_limit(demand: object, limits: dict[str, object]) -> None:
    """The values as the documents in LIMITS print them: 150 mm, 1:80, 1:40, 6 mm, 75 and 150 mm, 3 and 10 mm, 1:20."""
    assert {name: getattr(demand, name) for name in limits} == limits


@pytest.mark.parametrize("demand", [Meet(P), Meet([P]), Meet((Spot(*P),)), Meet(Spot(*P))])
def test_one_point_may_stand_alone(demand: Meet) -> None:
    assert demand.points == (Spot("P", 1.0, 2.0, 9.9),)


def test_a_demand_cannot_be_changed_once_made() -> None:
    with pytest.raises(FrozenInstanceError):
        Clearance("wall").least = 0.1  # type: ignore[misc]


@pytest.mark.parametrize(("make", "named"), [
    (lambda: FallAway("wall", 1 / 40, most=1 / 80), "FallAway from wall contradicts itself: least 0.025 is above most 0.0125"),
    (lambda: FallAway("wall", 1 / 60, target=1 / 80),
     "FallAway from wall contradicts itself: least 0.0166667 is above target 0.0125"),
    (lambda: FallAway("wall", 1 / 80, target=1 / 30, most=1 / 40), "FallAway from wall contradicts itself: target"),
    (lambda: Step([P], 0.2, 0.1), "Step at P contradicts itself: least 0.2 is above most 0.1"),
    (lambda: Step([P], 0.2), "Step at P contradicts itself: least 0.2 is above most 0.15"),
    (lambda: Gully(P, (0.01, 0.003)), "Gully P contradicts itself: least 0.01 is above most 0.003"),
])
def test_limits_that_contradict_each_other_are_refused_by_name(make, named: str) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(SurveyError) as caught:
        make()
    assert named in str(caught.value)


def test_limits_that_are_equal_leave_one_value_and_are_no_contradiction() -> None:
    assert FallAway("wall", 1 / 60, target=1 / 60, most=1 / 60).most == 1 / 60
    assert Gully(P, (0.005, 0.005)).proud == (0.005, 0.005)


@pytest.mark.parametrize("bad", [-0.001, math.nan, math.inf, "1:80", "150 mm"], ids=str)
@pytest.mark.parametrize("make", [
    lambda bad: Clearance("wall", bad), lambda bad: FallAway("wall", bad), lambda bad: FallAway("wall", 0.0, most=bad),
    lambda bad: FallAlong("wall", bad), lambda bad: Meet([P], bad), lambda bad: Step([P], bad, 0.1), lambda bad: Cover([P], bad),
    lambda bad: KeepBelow(P, bad), lambda bad: Gully(P, (0.0, bad)), MaxGradient],
    ids=["Clearance", "FallAway", "FallAway most", "FallAlong", "Meet", "Step", "Cover", "KeepBelow", "Gully", "MaxGradient"])
def test_a_limit_that_is_no_length_or_fall_is_refused(make, bad: object) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(SurveyError):
        make(bad)


@pytest.mark.parametrize("make", [
    lambda: Clearance("wall", None), lambda: FallAlong("wall", None), lambda: Meet([P], None), lambda: Step([P], None),
    lambda: Step([P], 0.1, None), lambda: Cover([P], None), lambda: KeepBelow(P, None), lambda: Gully(P, (None, 0.01)),
    lambda: MaxGradient(None)])
def test_a_limit_that_there_must_be_is_refused_where_it_is_none(make) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(SurveyError, match="is None"):
        make()


def test_a_limit_that_need_not_be_there_may_be_none() -> None:
    assert FallAway("wall", 1 / 80, target=None, most=None).most is None
    assert Clearance("wall", drained=None).drained is None


def test_a_level_out_of_this_world_is_refused_where_the_point_is_named() -> None:
    with pytest.raises(SurveyError, match="point P"):
        Meet([("P", 1.0, 2.0, 1e308)])


@pytest.mark.parametrize("make", [Meet, Step, Cover])
@pytest.mark.parametrize(("points", "said"), [
    ([], "names no point"), ([("P", 1, 2)], "name, x, y, level"), ([("P", 1, 2, "high")], "name, x, y, level"),
    ([("P", 1, 2, math.nan)], "point P"), ([P, ("Q", math.nan, 2, 9.9)], "point Q")])
def test_points_without_place_or_level_are_refused(make, points: list[object], said: str) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(SurveyError, match=said):
        make(points)


@pytest.mark.parametrize("make", [KeepBelow, Gully])
def test_where_one_point_is_asked_for_two_are_refused_rather_than_one_dropped(make) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(SurveyError):
        make([P, Q])


def test_a_gully_needs_a_pair() -> None:
    with pytest.raises(SurveyError, match="pair"):
        Gully(P, (0.003,))  # type: ignore[arg-type]


def test_a_demand_comes_to_limits_on_levels_and_falls() -> None:
    """Signs by hand: clearance = DPC − level; cover, meet, proud = level − point; step, below = point − level."""
    level = 9.85
    for demand, found in [(Clearance("wall"), 0.15), (Meet([P]), -0.05), (Cover([P]), -0.05), (Gully(P), -0.05),
                          (Step([P]), 0.05), (KeepBelow(P), 0.05)]:
        for condition in demand.conditions(BRIEF):  # type: ignore[attr-defined]
            assert condition.constant + condition.sign * level == pytest.approx(found, abs=1e-12), demand


class TestLimits:
    @pytest.mark.parametrize("name", LIMITS)
    def test_each_names_its_document_or_says_that_it_is_practice_and_how_sure_we_are(self, name: str) -> None:
        limit = LIMITS[name]
        assert limit.confidence in (READ, QUOTED, MEMORY, PRACTICE)
        assert bool(limit.document) != (limit.confidence == PRACTICE)
        assert limit.confidence in limit.source
        assert limit.document in limit.source
        assert limit.what

    @pytest.mark.parametrize("name", LIMITS)
    def test_each_is_a_sensible_length_or_fall(self, name: str) -> None:
        limit = LIMITS[name]
        assert limit.unit in ("m", "m/m")
        assert 0 < limit.value <= (0.5 if limit.unit == "m" else 0.1)

    def test_every_limit_that_a_demand_names_is_there(self) -> None:
        kinds = (Clearance, FallAway, FallAlong, Meet, Step, Cover, KeepBelow, Gully, MaxGradient)
        assert all(kind.limits for kind in kinds)
        assert {name for kind in kinds for name in kind.limits} <= set(LIMITS)
