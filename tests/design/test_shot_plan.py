"""The shot plan: its order and places, surveys simulated by it, names that collide, and odd areas."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import replace
from itertools import groupby
from typing import Any

import numpy as np
import pytest
import shapely
from own_errors import BENCHMARK, Book, Mark, drawer

from sitelevels import (
    Brief,
    Clearance,
    ClosedEdge,
    Cover,
    ErrorBudget,
    FallAlong,
    FallAway,
    Finish,
    Gully,
    KeepBelow,
    MaxGradient,
    Meet,
    Plane,
    ReducedLevels,
    ShotPlan,
    Step,
    SurveyError,
    Wall,
    check_finish,
    shot_plan,
)

SQUARE = [(0, 0), (6, 0), (6, 4), (0, 4)]
ELL = [(0, 0), (8, 0), (8, 3), (4, 3), (4, 7), (0, 7)]
PAGE = 34  # rows of a booking page on A4, as the plan promises
HOUSE = Wall("house", (0, 0), (6, 0), dpc=[(0, 10.150), (6, 10.144)])
DEMANDS = (Clearance("house", 0.150), FallAway("house", 1 / 60), FallAlong("house", 0.010), MaxGradient(1 / 20),
           Meet([("kerb 1", 2, 4, 9.9), ("kerb 2", 5, 4, 9.9)], 0.020), Step(("sill", 3, 0, 10.1), 0.05, 0.2),
           Cover([("pipe", 1, 2, 9.4)], 0.3), KeepBelow(("vent", 4, 0, 10.3), 0.075),
           Gully(("gully", 5.5, 3.5, 9.9), (0.003, 0.03)))


def briefs() -> dict[str, Brief]:
    """Invented yards of every sort."""
    named = [Wall("west", (0, 7), (0, 0), dpc=[(0, 10.1), (7, 10.1)]), Wall("south", (0, 0), (8, 0), dpc=10.1),
             Wall("inner", (8, 3), (4, 3), dpc=10.2)]
    stepped = Wall("house", (0, 0), (6, 0), dpc=[(0, 10.3), (3, 10.3), (3, 10.15), (6, 10.15)])
    turned = shapely.affinity.rotate(shapely.Polygon(ELL), 33, origin=(0, 0))
    return {
        "a wall": Brief(SQUARE, walls=[HOUSE], demands=DEMANDS),
        "no walls": Brief(SQUARE, demands=[MaxGradient(1 / 20), *DEMANDS[4:]]),
        "nothing asked": Brief(SQUARE),
        "an L": Brief(ELL, walls=named[:1], demands=[Clearance("west"), FallAway("west")]),
        "an L that is turned": Brief(turned, demands=[MaxGradient(0.05)]),
        "several walls": Brief(ELL, walls=named, demands=[*map(Clearance, ("west", "south", "inner")), FallAway("west")]),
        "a step in the DPC": Brief(SQUARE, walls=[stepped], demands=[Clearance("house", 0.150)]),
        "tiny": Brief([(0, 0), (0.3, 0), (0.3, 0.2), (0, 0.2)], demands=[MaxGradient(0.05)]),
        "long and narrow": Brief([(0, 0), (40, 0), (40, 0.9), (0, 0.9)], demands=[MaxGradient(0.05)]),
        "forty corners": Brief([(5 * math.cos(math.tau * i / 40), 5 * math.sin(math.tau * i / 40)) for i in range(40)]),
        "a closed edge": Brief(SQUARE, demands=[ClosedEdge((0, 0), (6, 0))], closed=[((0, 4), (6, 4))]),
        "a full page": Brief(SQUARE, demands=[Meet([(f"P{i}", 0.15 * i, 2.0, 9.9) for i in range(32)], 0.02)]),
    }


PLANS = {name: shot_plan(brief) for name, brief in briefs().items()}
TIGHT = {name: shot_plan(brief, margin=0.0075, fall_margin=0.0012) for name, brief in briefs().items()}
TURNED = shot_plan(briefs()["a wall"], budget=ErrorBudget(tilt_body=3e-4, laying=0.0005), margin=0.012, benchmark=(-9, -9))
EVERY = [*PLANS.values(), *TIGHT.values(), TURNED]


def setups_of(plan: ShotPlan) -> list[list[Any]]:
    found: list[list[Any]] = []
    for shot in plan.shots:
        if shot.column == "bs":
            found.append([])
        found[-1].append(shot)
    return found


class TestOrder:
    def test_the_plans_are_of_every_sort(self) -> None:
        assert {plan.setups for plan in EVERY} == {1, 2}
        assert any(max(Counter(shot.point for shot in plan.shots[1:-1]).values()) > 1 for plan in TIGHT.values())
        assert {all(plan.provable) for plan in EVERY} == {True, False}

    def test_numbers_follow_one_another(self) -> None:
        for plan in EVERY:
            assert [shot.number for shot in plan.shots] == list(range(1, len(plan.shots) + 1))
            assert plan.table["number"].tolist() == [shot.number for shot in plan.shots]
            assert list(plan.table.columns) == ["number", "point", "column", "feature", "wall", "x", "y"]

    def test_each_set_up_begins_and_ends_on_the_benchmark_and_fills_a_page_at_most(self) -> None:
        for plan in EVERY:
            setups = setups_of(plan)
            assert len(setups) == plan.setups
            for shots in setups:
                assert len(shots) <= PAGE
                assert (shots[0].point, shots[0].column, shots[0].feature) == (BENCHMARK, "bs", "benchmark")
                assert (shots[-1].point, shots[-1].column, shots[-1].feature) == (BENCHMARK, "fs", "benchmark")
                assert {shot.column for shot in shots[1:-1]} <= {"is"}
                assert [shot.point for shot in shots] == [shot.point for shot in setups[0]]

    def test_corners_and_ground_then_the_walls_then_what_demands_name_then_again(self) -> None:
        for plan in EVERY:
            for shots in setups_of(plan):
                once = [shot for place, shot in enumerate(shots[1:-1]) if shot.point not in
                        {before.point for before in shots[1:-1][:place]}]
                order = {"corner": 0, "ground": 1, "dpc": 2}
                ranks = [order.get(shot.feature, 3) for shot in once]
                assert ranks == sorted(ranks)
                assert once == shots[1:1 + len(once)]  # second readings come when everything was read once
                rounds = [[shot.point for shot in group] for _, group in groupby(
                    shots[1:-1], key=lambda shot, seen=Counter(): seen.update([shot.point]) or seen[shot.point])]
                assert all(len(set(one)) == len(one) for one in rounds)

    def test_second_readings_are_few_enough(self) -> None:
        for plan in EVERY:
            for shots in setups_of(plan):
                assert max(Counter(shot.point for shot in shots[1:-1]).values(), default=1) <= 4


class TestPlaces:
    @pytest.mark.parametrize("name", [name for name in briefs() if name != "forty corners"])
    def test_every_corner_is_read_and_the_ground_lies_inside(self, name: str) -> None:
        for plan in (PLANS[name], TIGHT[name]):
            area = plan.brief.area
            corners = sorted((shot.x, shot.y) for shot in plan.shots if shot.feature == "corner")
            if name != "a full page":  # where there is no room left
                assert np.array(corners) == pytest.approx(np.array(sorted(area.exterior.coords[:-1])), abs=1e-9)
            for shot in plan.shots:
                if shot.feature == "ground":
                    assert area.buffer(1e-9).covers(shapely.Point(shot.x, shot.y))
            places = [(shot.x, shot.y) for shot in plan.shots if shot.feature == "ground"]
            assert len({*places}) == len({shot.point for shot in plan.shots if shot.feature == "ground"})

    @pytest.mark.parametrize("name", ["a wall", "no walls", "nothing asked", "an L", "an L that is turned", "several walls",
                                      "long and narrow"])
    def test_the_grid_leaves_no_part_of_the_area_far_from_a_spot(self, name: str) -> None:
        """Within 1.5 times the side of the square that each spot has to itself (common practice, no source)."""
        for plan in (PLANS[name], shot_plan(briefs()[name], margin=0.02)):
            places = [(shot.x, shot.y) for shot in plan.shots if shot.feature in ("corner", "ground")]
            assert len(places) >= 12
            reach = 1.5 * math.sqrt(plan.brief.area.area / len(places))
            assert plan.brief.area.difference(shapely.MultiPoint(places).buffer(reach)).area < 0.02 * plan.brief.area.area

    @pytest.mark.parametrize("name", ["a wall", "an L", "several walls"])
    def test_the_dpc_is_read_at_both_ends_of_each_stretch_of_paving(self, name: str) -> None:
        given, plan = briefs()[name], PLANS[name]
        for wall in given.walls:
            along = sorted(wall.along(shot.x, shot.y) for shot in plan.shots if shot.feature == "dpc" and shot.wall == wall.name)
            touching = shapely.LineString([wall.first, wall.second]).intersection(given.area.exterior)
            ends = sorted({round(wall.along(*end), 6) for part in shapely.get_parts(touching) for end in part.coords})
            assert [along[0], along[-1]] == pytest.approx([ends[0], ends[-1]], abs=1e-6)
            for shot in plan.shots:
                if shot.wall == wall.name:
                    assert shapely.LineString([wall.first, wall.second]).distance(shapely.Point(shot.x, shot.y)) < 1e-6

    def test_a_step_in_the_dpc_is_read_from_both_sides(self) -> None:
        """Between shots at its ends alone a step would be booked as a slope, up to half of it out."""
        along = sorted(shot.x for shot in PLANS["a step in the DPC"].shots if shot.feature == "dpc")
        assert along == pytest.approx([0, 3, 3, 6], abs=0.31)

    def test_points_of_demands_are_read_where_they_are_with_their_features(self) -> None:
        for plan in (PLANS["a wall"], TIGHT["a wall"], TURNED):
            told = {shot.point: (shot.feature, shot.x, shot.y) for shot in plan.shots}
            assert {name: told[name] for name in ("kerb 1", "kerb 2", "sill", "pipe", "vent", "gully")} == {
                "kerb 1": ("edge", 2, 4), "kerb 2": ("edge", 5, 4), "sill": ("threshold", 3, 0), "pipe": ("buried", 1, 2),
                "vent": ("airbrick", 4, 0), "gully": ("gully", 5.5, 3.5)}

    def test_the_place_of_the_benchmark_is_booked_where_it_is_given(self) -> None:
        assert {(shot.x, shot.y) for shot in TURNED.shots if shot.point == BENCHMARK} == {(-9, -9)}
        assert {(shot.x, shot.y) for shot in PLANS["a wall"].shots if shot.point == BENCHMARK} == {(None, None)}


class TestNames:
    @pytest.mark.parametrize("name", ["C1", "S1", "D1", "DA1", "C4", "S20", "D2", "CP1", "BM", "BM1", "TP1"])
    def test_no_two_places_have_one_name(self, name: str) -> None:
        walls = [HOUSE, Wall("west", (0, 4), (0, 0), dpc=10.1)]
        for chosen in (walls[:1], walls):
            brief = Brief(SQUARE, walls=chosen, demands=[Meet([(name, 2, 3.9, 9.9)], 0.02), *map(Clearance, ["house"])])
            plan = shot_plan(brief, benchmark=(-3, -3))
            for point in {shot.point for shot in plan.shots}:
                assert len({(shot.x, shot.y) for shot in plan.shots if shot.point == point}) == 1, point
            assert [(shot.x, shot.y) for shot in plan.shots if shot.point == name and shot.feature == "edge"][:1] == [(2, 3.9)]

    def test_many_collisions_at_once(self) -> None:
        spots = [(name, 0.5 * number, 2.0, 9.9) for number, name in enumerate(("C1", "CP1", "CPP2", "S3", "SP3", "D1", "DP9"))]
        plan = shot_plan(Brief(SQUARE, walls=[HOUSE], demands=[Meet(spots, 0.02)]))
        places = {(shot.point, shot.x, shot.y) for shot in plan.shots}
        assert len(places) == len({point for point, _, _ in places})


def surveyed(plan: ShotPlan, seed: int, share: float = 1.0) -> tuple[Book, ReducedLevels]:
    """A book by the plan, its marks at the levels of the plan's plane and about it, misread by a share of the budget's errors."""
    plane = plan.verdicts.finish.facets[0].plane
    marks = {}
    for shot in plan.shots:
        placed = shot.x is not None and shot.y is not None
        x, y = (shot.x or 0.0, shot.y or 0.0)
        up = {"dpc": 0.16, "buried": -0.35, "airbrick": 0.2, "threshold": 0.1}.get(shot.feature, 0.0)
        level = 10.0 if shot.point == BENCHMARK else 9.9 + float(plane.level_at(x, y)) + up
        marks[shot.point] = Mark(x, y, level, shot.feature, placed)
    shots = tuple((shot.point, shot.column) for shot in plan.shots)
    headings = {1: 0.0, 2: 180.0} if plan.setups == 2 else {}
    exact = Book(marks, shots, tuple(11.4 - marks[point].level for point, _ in shots), plan.budget, {}, headings)
    out = exact.misreadings(drawer(np.random.default_rng([161, seed])))
    book = replace(exact, readings=tuple(float(a + share * b) for a, b in zip(exact.readings, out, strict=True)))
    return book, book.reduced()


def brief_by(plan: ShotPlan, levels: ReducedLevels) -> Brief:
    """The plan's brief with the levels that were found."""
    demands = []
    for demand in plan.brief.demands:
        given = demand
        if hasattr(demand, "spots"):
            spots = tuple(spot._replace(level=levels.level(spot.point)) for spot in demand.spots)
            given = replace(demand, **{demand._field: spots if len(spots) > 1 else spots[0]})  # type: ignore[attr-defined]
        demands.append(given)
    walls = [Wall(wall.name, wall.first, wall.second, points=wall.points,
                  dpc=[(along, levels.level(point)) for (along, _), point in zip(wall.shots, wall.points, strict=True)])
             for wall in plan.brief.walls]
    return replace(plan.brief, walls=tuple(walls), demands=tuple(demands))


def at_the_margin(plan: ShotPlan, brief: Brief, number: int) -> Finish:
    """A plane on which one demand turns out inside its limit by just the margin of the plan, and sloping as the plan takes it."""
    plane = plan.verdicts.finish.facets[0].plane
    where = [plan.verdicts.everywhere[row].condition for row in plan.verdicts.places_of(number)]
    if where[0].at is None:
        (way, low, high) = where[0].toward, where[0].low, where[0].high
        fall = low + plan.fall_margin if low is not None and low >= 0 else (high or 0.0) - plan.fall_margin
        x, y = way if way is not None else (0.0, 1.0)
        return Finish.plane(Plane(9.9, -fall * x, -fall * y), brief.area)
    found = check_finish(Finish.plane(plane, brief.area), brief)
    mine = [one for one in found.everywhere if one.demand == found.worst[number].demand]
    sign = mine[0].condition.sign
    if mine[0].condition.low is not None:
        short = plan.margin - min(one.found - (one.condition.low or 0.0) for one in mine)
    else:
        short = max(one.found - (one.condition.high or 0.0) for one in mine) + plan.margin
        sign = -sign
    return Finish.plane(Plane(plane.level + sign * short, plane.gx, plane.gy, plane.at), brief.area)


class TestSurveysByThePlan:
    @pytest.mark.parametrize("plan", [*(pytest.param(one, id=name) for name, one in PLANS.items()),
                                      *(pytest.param(one, id=f"{name}, tight") for name, one in TIGHT.items()),
                                      pytest.param(TURNED, id="turned")])
    def test_what_was_said_to_be_provable_is_proved(self, plan: ShotPlan) -> None:
        """Misread by a fifth of the usual, so that no repeat is refused; what errors are counted is the whole budget."""
        for seed in range(2):
            book, levels = surveyed(plan, seed, share=0.2)
            errors, brief = book.errors(), brief_by(plan, levels)
            for number, proved in enumerate(plan.provable):
                found = check_finish(at_the_margin(plan, brief, number), brief, budget=errors)
                title, told = found.worst[number].demand.title, plan.verdicts
                if found.worst[number].condition.at is not None:
                    mine = [found.everywhere[row].u for row in found.places_of(number)]
                    planned = [told.everywhere[row].u or 0.0 for row in told.places_of(number)]
                    assert mine == pytest.approx(planned, rel=1e-6), title
                    margin = min(found.everywhere[row].margin for row in found.places_of(number))
                    assert margin == pytest.approx(plan.margin, abs=1e-9) or not proved, title
                if proved:
                    assert found.judged[number][0] == "met", title

    def test_the_standard_uncertainties_are_those_of_sums_of_ones_own(self) -> None:
        """Of the levels alone: how sure each named point is by central differences of the reduction."""
        for plan in (PLANS["a wall"], TIGHT["a wall"], TURNED):
            book, _ = surveyed(plan, 3, share=0.0)
            points = ["sill", "pipe", "vent", "kerb 1"]
            own = np.sqrt((book.effects(points)**2).sum(axis=1))
            assert plan.verdicts.errors is not None
            rows = [plan.verdicts.errors.where[point] for point in points]
            assert plan.verdicts.errors.sd[rows] == pytest.approx(own, rel=1e-6)

    def test_what_could_not_be_proved_is_named_and_is_just_too_unsure(self) -> None:
        asked = 0
        for plan in EVERY:
            titles = [one.demand.title for one in plan.verdicts.worst]
            assert len(plan.provable) == len(titles)
            assert len(plan.words) == 1 + plan.provable.count(False)
            for number, proved in enumerate(plan.provable):
                rows = [plan.verdicts.everywhere[row] for row in plan.verdicts.places_of(number)]
                room = plan.margin if rows[0].demand.unit == "mm" else plan.fall_margin
                limits = [(one.condition.low, one.condition.high) for one in rows]
                narrow = any(low is not None and high is not None and 2 * one.give > high - low
                             for one, (low, high) in zip(rows, limits, strict=True))
                assert proved == (max(one.give for one in rows) <= room and not narrow)
                named = any(told.startswith(f"'{titles[number]}'") for told in plan.words[1:])
                assert named or proved
                asked += not proved
            assert f"{sum(plan.provable)} of {len(plan.provable)} demands" in plan.words[0]
        assert asked > 5

    def test_more_is_proved_with_repeats_and_with_the_laser_turned(self) -> None:
        for plan in (*TIGHT.values(), TURNED):
            once = [shot for place, shot in enumerate(plan.shots) if place in (0, len(plan.shots) // plan.setups - 1) or (
                place < len(plan.shots) // plan.setups and shot.point not in {one.point for one in plan.shots[:place]})]
            if len(once) < len(plan.shots):
                fewer = replace(plan, shots=tuple(once), setups=1)
                book, levels = surveyed(fewer, 0, share=0.0)
                found = check_finish(plan.verdicts.finish, brief_by(plan, levels), budget=book.errors())
                before, now = (np.array([one.u or 0.0 for one in told.everywhere]) for told in (found, plan.verdicts))
                assert (now <= before * 1.001).all()  # the middle of what was read moves a little
                assert (now < before * 0.99).any()

    def test_repeats_that_it_asks_for_are_seldom_refused(self) -> None:
        """Misread as the budget says, hardly a book in twenty may come back as having two levels of one point."""
        brief = Brief(SQUARE, demands=[Cover([("pipe", 1, 2, 9.4)], 0.3)])
        plan = shot_plan(brief, margin=0.0072)
        assert Counter(shot.point for shot in plan.shots)["pipe"] > 1
        refused = 0
        for seed in range(100):
            _, levels = surveyed(plan, seed)
            try:
                levels.level("pipe")
            except SurveyError:
                refused += 1
        assert refused <= 10, f"{refused} of 100 books by the plan are refused"


class TestRefusals:
    @pytest.mark.parametrize("value", [0, -0.001, math.nan, math.inf, "10 mm", None, True, [0.01]])
    @pytest.mark.parametrize(("name", "told"), [("margin", "The margin is"), ("fall_margin", "The margin of a fall is")])
    def test_margins_that_are_none(self, name: str, told: str, value: Any) -> None:
        with pytest.raises(SurveyError, match=told):
            shot_plan(briefs()["a wall"], **{name: value})

    @pytest.mark.parametrize("place", [(1,), (1, 2, 3), "ab", 5, (math.nan, 0), (None, 1)])
    def test_a_benchmark_that_stands_nowhere(self, place: Any) -> None:
        with pytest.raises(SurveyError, match="place of the benchmark"):
            shot_plan(briefs()["a wall"], benchmark=place)

    def test_more_points_than_a_page_holds(self) -> None:
        spots = [(f"P{number}", 0.15 * number, 2.0, 9.9) for number in range(33)]
        with pytest.raises(SurveyError, match=r"name 33 points.*34 readings"):
            shot_plan(Brief(SQUARE, demands=[Meet(spots, 0.02)]))

    def test_what_is_no_brief_or_no_budget(self) -> None:
        with pytest.raises(SurveyError, match="must be a Brief"):
            shot_plan("a yard")  # type: ignore[arg-type]
        with pytest.raises(SurveyError, match="must be"):
            shot_plan(briefs()["a wall"], budget=0.002)  # type: ignore[arg-type]
