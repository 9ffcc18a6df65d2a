"""How often verdicts are wrong where the truth is drawn: simulated books, setting out and laying, hundreds of yards each.

Nothing here uses the package's propagation: staff readings are drawn from the true levels one by one, and pegs are set out and
laid one by one; then the book is reduced and checked as anybody's would be. The rates that are expected come from the normal
distribution: a guard band of k·u leaves 5 % at the limit on each side (JCGM 106:2012, 8.3 and 9.5.2), and Šidák's share holds
that over several places (Šidák, Journal of the American Statistical Association, 1967, volume 62, pages 626-633; from memory).

Run as a script it prints the rates, of four times as many jobs.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from copy import copy
from dataclasses import dataclass, fields, replace
from functools import cache
from typing import Any

import numpy as np
import pytest
import shapely
from scipy.stats import norm

from sitelevels import Brief, Cover, ErrorBudget, FallAway, Finish, KeepBelow, Plane, Verdicts, Wall, check_finish, reduce_book
from sitelevels.design.propagation import LevelErrors
from sitelevels.survey.book import LevelBook, Row

Array = Any
Demanded = tuple[float, ...]  # margins of the places of one demand, in standard uncertainties
TIMES = 4 if __name__ == "__main__" else 1
JOBS = 500 * TIMES
LOW, HIGH = (0.05 + by * math.sqrt(0.05 * 0.95 / JOBS) for by in (-2.5, 2.8))  # so many standard deviations either side of 5 %
MET, CLOSE, NOT_MET = "met", "too close to call", "not met"
BELOW, LEAST = 0.9, 0.150  # m: the limits at the edge of which every job is drawn
TERMS = [one.name for one in fields(ErrorBudget) if one.name not in ("sure", "sources")]


def drawn_budget(rng: np.random.Generator) -> ErrorBudget:
    """Every figure of its own, from a third of the usual one to three times as much."""
    return ErrorBudget(**{name: getattr(ErrorBudget(), name) * 3 ** rng.uniform(-1, 1) for name in TERMS})


def scaled(budget: ErrorBudget, by: float) -> ErrorBudget:
    return replace(budget, **{name: getattr(budget, name) * by for name in TERMS})


@dataclass(frozen=True)
class Mark:
    """A point as it truly is, m."""

    name: str
    x: float
    y: float
    level: float
    feature: str


BENCHMARK_LEVEL = 10.000


@dataclass(frozen=True, eq=False)
class Luck:
    """All that is drawn once for a survey: where the instrument stood, how it leant, each reading's own error."""

    stood: Array
    height: Array
    tilt: Array
    zero: float
    collimation: float
    own: Array
    change: tuple[float, float]
    split: int
    closing: bool


def luck_of(rng: np.random.Generator, budget: ErrorBudget, area: shapely.Polygon, marks: int) -> Luck:
    (low, high), setups = np.array(area.bounds).reshape(2, 2), int(rng.integers(1, 3))
    x, y = rng.uniform(low, high)
    return Luck(rng.uniform(low - 3, high + 3, (setups, 2)), rng.uniform(0.35, 0.75, setups),
                rng.normal(0, budget.tilt_body, (setups, 2)) + rng.normal(0, budget.tilt_level, (setups, 2)),
                rng.normal(0, budget.zero), rng.normal(0, budget.collimation), rng.normal(size=marks + 4), (float(x), float(y)),
                int(rng.integers(0, marks)) if setups == 2 else marks, bool(rng.random() < 0.5))


def surveyed(luck: Luck, budget: ErrorBudget, benchmark: Mark, marks: list[Mark], *, given: ErrorBudget | None = None,
             booked: Array | None = None) -> LevelErrors:
    """The book of one survey, reduced, with the errors of the `given` budget; `booked` are taped places, else the true ones."""
    placing = {"": budget.placing_ground, "benchmark": budget.placing_hard, "edge": budget.placing_hard,
               "airbrick": budget.placing_hard, "buried": budget.placing_buried}
    own = iter(luck.own)

    def read(setup: int, mark: Mark, kind: str) -> float:
        away = np.subtract((mark.x, mark.y), luck.stood[setup])
        light = BENCHMARK_LEVEL + luck.height[setup] + luck.tilt[setup] @ away + luck.collimation * math.hypot(*away)
        sd = budget.backsight if kind == "bs" else math.hypot(budget.reading, placing[mark.feature])
        out = luck.zero + sd * next(own)
        upright = light - mark.level  # a staff held upside down is booked with a minus
        return float(upright + out if upright > 0 else upright - out)
    places = [(mark.x, mark.y) for mark in marks] if booked is None else [tuple(map(float, place)) for place in booked]
    rows = [Row(1, "BM", bs=read(0, benchmark, "bs"), x=benchmark.x, y=benchmark.y, rl=BENCHMARK_LEVEL, feature="benchmark")]
    for number, (mark, (x, y)) in enumerate(zip(marks, places, strict=True)):
        if number == luck.split:
            turn = Mark("TP", *luck.change, BENCHMARK_LEVEL - 0.2, "edge")
            over = {"fs": read(0, turn, "fs"), "bs": read(1, turn, "bs")}
            rows.append(Row(len(rows) + 1, "TP", **over, x=turn.x, y=turn.y, feature="edge"))
        reading = read(int(number >= luck.split), mark, "is")
        rows.append(Row(len(rows) + 1, mark.name, is_=reading, x=x, y=y, feature=mark.feature))
    if luck.closing:
        rows.append(Row(len(rows) + 1, "BM", fs=read(len(luck.stood) - 1, benchmark, "fs"), feature="benchmark"))
    instruments = {number: tuple(map(float, place)) for number, place in enumerate(luck.stood, start=1)}
    return (given or budget).errors(reduce_book(LevelBook(tuple(rows))), instruments=instruments)


class Yard:
    """A yard with a wall, a benchmark, and one day of setting out and laying; what is asked for is at the limit, or off it.

    `covers` holds a demand for cover for each, over as many places as it has margins; there is always one more demand to keep
    below an air brick, and one to fall away from the wall.
    """

    def __init__(self, rng: np.random.Generator, covers: tuple[Demanded, ...], below: float = 0.0, away: float = 0.0) -> None:
        self.budget, self.covers, self.below, self.away = drawn_budget(rng), covers, below, away
        width, depth = rng.uniform(4.0, 12.0), rng.uniform(3.0, 9.0)
        self.corners = np.array([(0, 0), (width, 0), (width + rng.uniform(-1, 1), depth),
                                 (rng.uniform(-1, 1), depth + rng.uniform(-1, 1))])
        self.area = shapely.Polygon(self.corners)
        self.benchmark = Mark("BM", *map(float, rng.uniform((-5, -5), (width + 5, depth + 5))), BENCHMARK_LEVEL, "benchmark")
        count = sum(map(len, covers))
        inside = self.area.buffer(-0.2)
        low, high = np.array(self.area.bounds).reshape(2, 2)
        kept: list[Array] = [np.array([rng.uniform(0.5, width - 1.5), 0.1])]
        while len(kept) < count + 1:
            place = rng.uniform(low, high)
            if inside.contains(shapely.Point(place)):
                kept.append(place)
        self.places = np.array(kept)
        self.luck = luck_of(rng, self.budget, self.area, count + 1)
        self.least_fall = float(rng.uniform(1 / 80, 1 / 40))
        self.across, self.level = rng.uniform(-0.01, 0.01), BENCHMARK_LEVEL - 0.3
        self._build(rng)

    def _build(self, rng: np.random.Generator) -> None:
        """Errors (m) of pegs set out and laid at the corners and the places, and of the taped places themselves."""
        budget, middle = self.budget, np.array(self.area.centroid.coords[0])
        where, benchmark = np.vstack([self.corners, self.places]), (self.benchmark.x, self.benchmark.y)
        tilt = rng.normal(0, budget.tilt_body, 2) + rng.normal(0, budget.tilt_level, 2)
        lengths = np.hypot(*(where - middle).T) - math.dist(benchmark, middle)
        own = np.sum([rng.normal(0, sd, len(where)) for sd in (budget.reading, budget.placing_hard, budget.laying)], axis=0)
        out = (rng.normal(0, budget.backsight) + rng.normal(0, budget.collimation) * lengths
               + (where - benchmark) @ tilt + own)
        self.at_corners, self.at_places = out[:4], out[4:]
        self.off_tape = rng.normal(0, budget.tape, self.places.shape)

    def fall_error(self) -> float:
        """By how much the fall away of the plane through the pegs at the corners is more than was designed, m/m."""
        columns = np.column_stack([np.ones(4), self.corners])
        return -float(np.linalg.lstsq(columns, self.at_corners, rcond=None)[0][2])

    def units(self) -> list[Array]:
        """The standard uncertainty of every place of each demand, as the check tells it for a margin of nought."""
        alone = copy(self)
        alone.covers, alone.below, alone.away = tuple((0.0,) for margins in self.covers for _ in margins), 0.0, 0.0
        every = iter([one.u for one in alone.verdicts().everywhere])
        return [np.array([next(every) for _ in margins]) for margins in (*self.covers, (0.0,), (0.0,))]

    def verdicts(self, units: list[Array] | None = None, *, given: ErrorBudget | None = None) -> Verdicts:
        """What the check says of it, with a budget of its own or the one given; `units` are u of every place of each demand."""
        units = units if units is not None else [np.zeros(len(margins)) for margins in (*self.covers, [0], [0])]
        fall = self.least_fall + self.away * float(units[-1][0]) - self.fall_error()
        plane = Plane(self.level, self.across, -fall, tuple(map(float, self.corners.mean(axis=0))))
        truly = np.array([plane.level_at(*place) for place in self.places + self.off_tape]) + self.at_places
        vent = float(truly[0]) + BELOW + self.below * float(units[-2][0])
        marks = [Mark("vent", *map(float, self.places[0]), vent, "airbrick")]
        for number, (margins, u) in enumerate(zip(self.covers, units, strict=False)):
            for margin, one in zip(margins, u, strict=True):
                place = len(marks)
                marks.append(Mark(f"pipe {number}-{place}", *map(float, self.places[place]),
                                  float(truly[place]) - LEAST - margin * float(one), "buried"))
        errors = surveyed(self.luck, self.budget, self.benchmark, marks, given=given)
        spots = [(mark.name, mark.x, mark.y, errors.reduced.level(mark.name)) for mark in marks]
        ends = itertools.accumulate(map(len, self.covers), initial=1)
        covers = [Cover(spots[start:end], LEAST) for start, end in itertools.pairwise(ends)]
        wall = Wall("house", *map(tuple, self.corners[:2]), dpc=BENCHMARK_LEVEL)
        brief = Brief(self.area, walls=[wall], demands=[*covers, KeepBelow(spots[0], BELOW), FallAway("house", self.least_fall)])
        return check_finish(Finish.plane(plane, self.area), brief, budget=errors)


def rate(verdicts: Sequence[str], wanted: str) -> float:
    return verdicts.count(wanted) / len(verdicts)


AT_THE_EDGE: dict[str, Demanded] = {"cover, 1 place": (0.0,), "cover, 2 places": (0.0,) * 2, "cover, 5 places": (0.0,) * 5,
                                    "cover, 10 places": (0.0,) * 10}
SINGLE = ("cover, 1 place", "keep below", "fall away")
SEVERAL = tuple(AT_THE_EDGE)[1:]


@dataclass(frozen=True)
class Edge:
    """What the jobs at the limit were called, the chances told, and the margins found over their u, by demand."""

    called: dict[str, tuple[str, ...]]
    chances: dict[str, tuple[float, ...]]
    scaled: dict[str, tuple[float, ...]]


@cache
def at_the_edge() -> Edge:
    lines = []
    for seed in range(JOBS):
        found = Yard(np.random.default_rng([811, seed]), tuple(AT_THE_EDGE.values())).verdicts()
        lines.append([(*judged, one.margin / (one.u or 0.0)) for judged, one in zip(found.judged, found.worst, strict=True)])
    columns = [zip(*column, strict=True) for column in zip(*lines, strict=True)]
    return Edge(*(dict(zip((*AT_THE_EDGE, *SINGLE[1:]), column, strict=True)) for column in zip(*columns, strict=True)))


@cache
def at_the_edge_by_half() -> dict[str, list[str]]:
    """What the same sort of jobs are called by somebody who takes every error for half of what it is."""
    lines = []
    for seed in range(JOBS // 2):
        yard = Yard(np.random.default_rng([811, seed]), ((0.0,),))
        lines.append([verdict for verdict, _ in yard.verdicts(given=scaled(yard.budget, 0.5)).judged])
    return {name: list(column) for name, column in zip(SINGLE, zip(*lines, strict=True), strict=True)}


class TestAtTheLimit:
    @pytest.mark.parametrize("demand", SINGLE)
    @pytest.mark.parametrize("verdict", [MET, NOT_MET])
    def test_one_place_is_called_met_and_not_met_in_one_case_of_twenty_each(self, demand: str, verdict: str) -> None:
        assert LOW <= rate(at_the_edge().called[demand], verdict) <= HIGH

    @pytest.mark.parametrize("demand", SEVERAL)
    @pytest.mark.parametrize("verdict", [MET, NOT_MET])
    def test_several_places_are_called_so_no_oftener_than_one(self, demand: str, verdict: str) -> None:
        assert rate(at_the_edge().called[demand], verdict) <= HIGH

    @pytest.mark.parametrize("demand", SINGLE)
    def test_margins_scatter_about_the_truth_by_their_standard_uncertainty(self, demand: str) -> None:
        """Three standard deviations of the root of the mean square of so many normal numbers, and of their mean."""
        found = np.array(at_the_edge().scaled[demand])
        assert math.sqrt(np.mean(found**2)) == pytest.approx(1.0, abs=3 / math.sqrt(2 * JOBS))
        assert found.mean() == pytest.approx(0.0, abs=3 / math.sqrt(JOBS))

    @pytest.mark.parametrize("demand", SINGLE)
    def test_the_chance_told_of_one_place_is_as_likely_to_be_any(self, demand: str) -> None:
        """At the limit it is spread evenly from 0 to 1, as any distribution function of its own variable is."""
        counts, _ = np.histogram(at_the_edge().chances[demand], bins=10, range=(0, 1))
        assert counts == pytest.approx(JOBS / 10, abs=4 * math.sqrt(JOBS * 0.1 * 0.9))

    @pytest.mark.parametrize("demand", SINGLE)
    @pytest.mark.parametrize("verdict", [MET, NOT_MET])
    def test_with_errors_taken_for_half_these_rates_are_far_off(self, demand: str, verdict: str) -> None:
        """Half of u reaches 0.82 u, which 20.5 of 100 exceed: the trial would show it."""
        found = rate(at_the_edge_by_half()[demand], verdict)
        assert not LOW <= found <= HIGH
        assert found == pytest.approx(norm.sf(1.645 / 2), abs=sampling(norm.sf(1.645 / 2), JOBS // 2))


MARGINS = (-3.0, -2.0, -1.0, 0.0, 1.0, 2.0, 3.0)
SPREAD_JOBS = 210 * TIMES
TOGETHER = 3
ONE_AT_THE_EDGE = (0.0, 3.0, 3.0)  # one place at the limit and two far inside


def sampling(chance: float, jobs: int = SPREAD_JOBS) -> float:
    """Three standard deviations of a rate over so many jobs."""
    return 3 * math.sqrt(max(chance * (1 - chance), 1 / jobs) / jobs)


@dataclass(frozen=True)
class Spread:
    """What jobs are called by their true margin in u: one place, three that share it, and one demand of another kind."""

    one: dict[float, list[str]]
    together: dict[float, list[str]]
    mixed: list[str]
    others: dict[str, dict[float, list[str]]]


@cache
def over_margins() -> Spread:
    covers = (*((margin,) for margin in MARGINS), *((margin,) * TOGETHER for margin in MARGINS), ONE_AT_THE_EDGE)
    lines = []
    for seed in range(SPREAD_JOBS):
        off = MARGINS[seed % len(MARGINS)]
        yard = Yard(np.random.default_rng([812, seed]), covers, below=off, away=off)
        lines.append([verdict for verdict, _ in yard.verdicts(yard.units()).judged])
    columns, count = [list(column) for column in zip(*lines, strict=True)], len(MARGINS)
    others = {name: {margin: column[place::count] for place, margin in enumerate(MARGINS)}
              for name, column in zip(SINGLE[1:], columns[-2:], strict=True)}
    return Spread(dict(zip(MARGINS, columns[:count], strict=True)), dict(zip(MARGINS, columns[count:2 * count], strict=True)),
                  columns[2 * count], others)


class TestOverMargins:
    @pytest.mark.parametrize("margin", MARGINS)
    def test_one_place_is_called_as_often_as_the_normal_distribution_says(self, margin: float) -> None:
        called = over_margins().one[margin]
        for verdict, expected in ((MET, norm.cdf(margin - 1.645)), (NOT_MET, norm.cdf(-margin - 1.645))):
            assert rate(called, verdict) == pytest.approx(expected, abs=sampling(expected))

    @pytest.mark.parametrize("name", SINGLE[1:])
    @pytest.mark.parametrize("margin", MARGINS)
    def test_so_are_the_other_kinds(self, name: str, margin: float) -> None:
        called = over_margins().others[name][margin]
        for verdict, expected in ((MET, norm.cdf(margin - 1.645)), (NOT_MET, norm.cdf(-margin - 1.645))):
            assert rate(called, verdict) == pytest.approx(expected, abs=sampling(expected, len(called)))

    @pytest.mark.parametrize("margin", MARGINS)
    def test_several_places_are_called_wrong_in_at_most_one_case_of_twenty(self, margin: float) -> None:
        called = over_margins().together[margin]
        wrong = [verdict for verdict, is_wrong in ((NOT_MET, margin >= 0), (MET, margin <= 0)) if is_wrong]
        for verdict in wrong:
            assert rate(called, verdict) <= 0.05 + sampling(0.05)

    @pytest.mark.parametrize("verdict", [MET, NOT_MET])
    def test_one_place_at_the_limit_among_others_far_inside_is_called_so_too(self, verdict: str) -> None:
        assert rate(over_margins().mixed, verdict) <= 0.05 + sampling(0.05)

    @pytest.mark.parametrize("places", [1, TOGETHER])
    def test_more_room_is_called_met_oftener_and_not_met_less_often(self, places: int) -> None:
        called = over_margins().one if places == 1 else over_margins().together
        met, not_met = ([rate(called[margin], verdict) for margin in MARGINS] for verdict in (MET, NOT_MET))
        assert met == sorted(met)
        assert not_met == sorted(not_met, reverse=True)
        assert met[0] == 0 < 0.7 < met[-1]  # three places that had nothing in common: 0.912 to the third power
        assert not_met[-1] == 0 < 0.7 < not_met[0]


SURVEYED_JOBS, FEW_JOBS = 500 * TIMES, 250 * TIMES


class Laid:
    """Paving that exists: a plane of known fall with spots off it by a normal unevenness, its spots taped and read."""

    def __init__(self, rng: np.random.Generator, count: int) -> None:
        self.budget = drawn_budget(rng)
        width, depth = rng.uniform(4.0, 12.0), rng.uniform(3.0, 9.0)
        self.area = shapely.Polygon([(0, 0), (width, 0), (width, depth), (0, depth)])
        self.least_fall, across = float(rng.uniform(1 / 80, 1 / 40)), rng.uniform(-0.01, 0.01)
        uneven = rng.uniform(0.001, 0.006)
        benchmark = Mark("BM", *map(float, rng.uniform((-5, -5), (width + 5, depth + 5))), BENCHMARK_LEVEL, "benchmark")
        booked = np.vstack([[rng.uniform(0.5, width - 0.5), 0.1], rng.uniform((0, 0), (width, depth), (count, 2))])
        truly = booked + rng.normal(0, self.budget.tape, booked.shape)
        level = BENCHMARK_LEVEL - 0.3 + truly @ (across, -self.least_fall) + rng.normal(0, uneven, len(truly))
        marks = [Mark("vent", *map(float, truly[0]), float(level[0]) + BELOW, "airbrick"),
                 *(Mark(f"spot {number}", *map(float, place), float(height), ("edge", "")[number % 2])
                   for number, (place, height) in enumerate(zip(truly[1:], level[1:], strict=True)))]
        self.errors = surveyed(luck_of(rng, self.budget, self.area, len(marks)), self.budget, benchmark, marks, booked=booked)
        self.points = [mark.name for mark in marks[1:]]
        self.vent = ("vent", *map(float, booked[0]), self.errors.reduced.level("vent"))
        self.width = float(width)

    def verdicts(self) -> Verdicts:
        wall = Wall("house", (0, 0), (self.width, 0), dpc=BENCHMARK_LEVEL)
        brief = Brief(self.area, walls=[wall], demands=[KeepBelow(self.vent, BELOW), FallAway("house", self.least_fall)])
        plane = self.errors.plane_fit(self.points).plane
        return check_finish(Finish.plane(plane, self.area), brief, budget=self.errors, surveyed=self.points)


@cache
def laid(least: int, most: int, jobs: int = SURVEYED_JOBS, seed: int = 0) -> dict[str, list[str]]:
    """What paving at the limit is called, read at a number of spots."""
    lines = []
    for job in range(jobs):
        rng = np.random.default_rng([813, seed, job])
        lines.append([verdict for verdict, _ in Laid(rng, int(rng.integers(least, most + 1))).verdicts().judged])
    return {name: list(column) for name, column in zip(SINGLE[1:], zip(*lines, strict=True), strict=True)}


class TestPavingThatExists:
    @pytest.mark.parametrize("demand", SINGLE[1:])
    @pytest.mark.parametrize("verdict", [MET, NOT_MET])
    def test_at_the_limit_it_is_called_wrong_in_one_case_of_twenty_each(self, demand: str, verdict: str) -> None:
        assert rate(laid(15, 40)[demand], verdict) == pytest.approx(0.05, abs=sampling(0.05, SURVEYED_JOBS))

    @pytest.mark.parametrize("demand", SINGLE[1:])
    @pytest.mark.parametrize("spots", [4, 5, 8])
    @pytest.mark.parametrize("verdict", [MET, NOT_MET])
    def test_nor_is_it_oftener_where_few_spots_were_read(self, demand: str, spots: int, verdict: str) -> None:
        """An unevenness from so few degrees of freedom is judged by Student's t (JCGM 100:2008, G.4)."""
        assert rate(laid(spots, spots, FEW_JOBS)[demand], verdict) <= 0.05 + sampling(0.05, FEW_JOBS)


if __name__ == "__main__":
    spread = over_margins()
    told: dict[str, Sequence[str]] = {f"at the limit: {name}": called for name, called in at_the_edge().called.items()}
    told |= {f"at the limit, u halved: {name}": called for name, called in at_the_edge_by_half().items()}
    told |= {f"paving that exists, at the limit, {least} to {most} spots: {name}": called
             for least, most in ((5, 5), (15, 40)) for name, called in laid(least, most).items()}
    told |= {f"margin {margin:+.0f} u, 1 place": called for margin, called in spread.one.items()}
    told |= {f"margin {margin:+.0f} u, {TOGETHER} places": called for margin, called in spread.together.items()}
    told |= {"one place at the limit, two far inside": spread.mixed}
    told |= {f"margin {margin:+.0f} u, {name}": called for name, each in spread.others.items() for margin, called in each.items()}
    print(f"{'':65}" + "".join(f"{verdict:>18}" for verdict in (MET, CLOSE, NOT_MET)))
    for name, called in told.items():
        print(f"{name:65}" + "".join(f"{100 * rate(called, verdict):16.1f} %" for verdict in (MET, CLOSE, NOT_MET)))
