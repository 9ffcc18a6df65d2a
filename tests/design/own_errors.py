"""How sure the numbers of a yard with a level book are, by sums of variances and by simulation: no tests here.

The sums rest on central differences of `reduce_book`; the simulation reduces arrays of staff readings by pencil. Neither
shares code with the package's propagation. Errors are those of the budget's terms, JCGM 100:2008, 5.1.2.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

import numpy as np
import shapely

from sitelevels import (
    Brief,
    ErrorBudget,
    Finish,
    LevelBook,
    ReducedLevels,
    Verdicts,
    check_finish,
    reduce_book,
)
from sitelevels.survey.book import Row

Array = Any
Draw = Callable[[str, float], Any]  # an error by its name and standard deviation: the same name, the same error
LOST = 10.0  # m: how far off a mark without a place is taken to be, in a direction not known (common practice, no source)
BENCHMARK = "BM"


@dataclass(frozen=True)
class Mark:
    """A mark, m; `placed` says whether its x and y are booked."""

    x: float
    y: float
    level: float
    feature: str
    placed: bool = True


class _Units:
    """One standard deviation of each error as a vector of its own, by name."""

    def __init__(self, room: int) -> None:
        self.names: dict[str, int] = {}
        self.room = room

    def __call__(self, name: str, sd: float) -> Array:
        one = np.zeros(self.room)
        one[self.names.setdefault(name, len(self.names))] = sd
        return one


@dataclass(frozen=True, eq=False)
class Book:
    """Shots (point, column), one a row, and what was read; where the instrument stood by set-up from 1."""

    marks: Mapping[str, Mark]
    shots: tuple[tuple[str, str], ...]
    readings: tuple[float, ...]
    budget: ErrorBudget
    stands: Mapping[int, tuple[float, float]]
    headings: Mapping[int, float] = field(default_factory=dict)

    def rows(self, readings: Array) -> tuple[Row, ...]:
        made = []
        for number, ((point, column), reading) in enumerate(zip(self.shots, readings, strict=True), start=1):
            mark = self.marks[point]
            place: dict[str, Any] = {"x": mark.x, "y": mark.y} if mark.placed else {}
            made.append(Row(number, point, **{{"is": "is_"}.get(column, column): float(reading)}, **place, feature=mark.feature,
                            rl=mark.level if point == BENCHMARK else None))
        return tuple(made)

    def reduced(self, readings: Array | None = None) -> ReducedLevels:
        return reduce_book(LevelBook(self.rows(self.readings if readings is None else readings)))

    def errors(self) -> Any:
        return self.budget.errors(self.reduced(), instruments=self.stands, headings=self.headings)

    @cached_property
    def setup(self) -> list[int]:
        """The set-up of each shot, from 1."""
        return list(map(int, np.cumsum([column == "bs" for _, column in self.shots])))

    def again(self, points: list[str]) -> Book:
        """With further shots from where the instrument stands: reading = height of collimation − level."""
        reduced = self.reduced()
        hpc = float(reduced.table["hpc"].dropna().iloc[-1])
        return self._more([(point, "is") for point in points], [hpc - self.level(reduced, point) for point in points])

    def fresh(self, points: list[str]) -> Book:
        """With further shots from a new set-up on the benchmark, 1 m above it."""
        reduced, hpc = self.reduced(), self.marks[BENCHMARK].level + 1.0
        return self._more([(BENCHMARK, "bs"), *((point, "is") for point in points)],
                          [1.0, *(hpc - self.level(reduced, point) for point in points)])

    def level(self, reduced: ReducedLevels, point: str) -> float:
        return reduced.level(point) if point in {name for name, _ in self.shots} else self.marks[point].level

    def _more(self, shots: list[tuple[str, str]], readings: list[float]) -> Book:
        return replace(self, shots=(*self.shots, *shots), readings=(*self.readings, *readings))

    def where(self, number: int) -> tuple[Array, Array]:
        """Where the marks of a set-up lie, (shots, 3) m, a lost one on an axis of its own; and lengths of the sights."""
        mine = [self.marks[point] for (point, _), one in zip(self.shots, self.setup, strict=True) if one == number]
        placed = [(mark.x, mark.y) for mark in mine if mark.placed]
        middle = np.mean(placed or [(0.0, 0.0)], axis=0)
        stand = np.array(self.stands.get(number, middle))
        places = np.array([(mark.x, mark.y, 0.0) if mark.placed else (*stand, LOST) for mark in mine])
        lengths = np.array([math.dist((mark.x, mark.y), stand) if mark.placed else LOST for mark in mine])
        return places, lengths

    def misreadings(self, draw: Draw) -> list[Any]:
        """By how much each shot is misread, errors drawn by name."""
        zero, dip = draw("zero", self.budget.zero), draw("cone", self.budget.collimation)
        body = [draw(f"body {axis}", self.budget.tilt_body) for axis in range(4)]
        found = []
        for number in range(1, self.setup[-1] + 1):
            places, lengths = self.where(number)
            if number in self.headings:  # turned clockwise, x to the right and y up the page
                cos, sin = (one(math.radians(self.headings[number])) for one in (math.cos, math.sin))
                turned = [body[0] * cos + body[1] * sin, body[1] * cos - body[0] * sin, body[2] * cos + body[3] * sin]
            else:
                turned = [draw(f"body at {number}, {axis}", self.budget.tilt_body) for axis in range(3)]
            tilt = [one + draw(f"levelling {number}, {axis}", self.budget.tilt_level) for axis, one in enumerate(turned)]
            rows = [row for row, one in enumerate(self.setup) if one == number]
            for row, place, length in zip(rows, places, lengths, strict=True):
                point, column = self.shots[row]
                sign = -1.0 if self.readings[row] < 0 else 1.0  # upside down a reading is booked with a minus
                own = draw(f"shot {row}", self.budget.backsight) if column == "bs" else (
                    draw(f"shot {row}", self.budget.reading) + draw(f"foot {row}", self.placing(self.marks[point].feature)))
                found.append(dip * length + sign * zero + own + sum(a * b for a, b in zip(tilt, place, strict=True)))
        return found

    def placing(self, feature: str) -> float:
        told = self.budget
        return {"buried": told.placing_buried, "ground": told.placing_ground}.get(feature, told.placing_hard)

    @cached_property
    def disturbed(self) -> Array:
        """What one standard deviation of each error does to each reading, (shots, errors)."""
        unit = _Units(len(self.shots) * 8 + 8)
        return np.array(self.misreadings(unit))[:, :len(unit.names)]

    @cached_property
    def jacobian(self) -> tuple[dict[str, int], Array]:
        """By central differences, what each reading does to each level: the row of each point, (points, shots)."""
        step, points = 1e-4, list(dict.fromkeys(point for point, _ in self.shots))
        columns = []
        for number in range(len(self.shots)):
            shift = step * np.eye(len(self.shots))[number]
            up, down = (self.reduced(np.array(self.readings) + one) for one in (shift, -shift))
            columns.append([(up.level(point) - down.level(point)) / (2 * step) for point in points])
        return {point: row for row, point in enumerate(points)}, np.array(columns).T

    def effects(self, points: list[str]) -> Array:
        """What one standard deviation of each error does to the levels of points, (points, errors)."""
        where, jacobian = self.jacobian
        return jacobian[[where[point] for point in points]] @ self.disturbed

    def by_pencil(self, draw: Draw) -> dict[str, Any]:
        """Errors of all levels: set-up after set-up, backsights meaned with their repeats, misclosures shared out k/n."""
        out = self.misreadings(draw)
        chain: list[int] = []
        back: dict[str, Any] = {BENCHMARK: 0.0}
        told: list[tuple[int, str, Any]] = []
        ends: list[Any] = []
        for number in range(1, self.setup[-1] + 1):
            rows = [row for row, one in enumerate(self.setup) if one == number]
            start = self.shots[rows[0]][0]
            same = [out[row] for row in rows if self.shots[row][0] == start]
            line = back[start] + sum(same) / len(same)
            chain = [number] if start == BENCHMARK else [*chain, number]
            for row in rows[1:]:
                point = self.shots[row][0]
                if point == BENCHMARK and len(chain) > 1:
                    ends.append((list(chain), line - out[row]))
                elif point not in (BENCHMARK, start):
                    told.append((number, point, line - out[row]))
                    if self.shots[row][1] == "fs":
                        back[point] = line - out[row]
        shares: dict[int, Any] = {}
        if ends:
            path = ends[0][0]
            missed = sum(one for _, one in ends) / len(ends)
            shares = {one: missed * place / len(path) for place, one in enumerate(path, start=1)}
        levels: dict[str, list[Any]] = {}
        for number, point, level in told:
            levels.setdefault(point, []).append(level - shares.get(number, 0.0))
        return {BENCHMARK: 0.0} | {point: sum(each) / len(each) for point, each in levels.items()}


@dataclass(frozen=True, eq=False)
class Yard:
    """A yard against a wall along y = 0, `width` m long, its DPC read at both ends (D1, D2); `exists` says it is laid."""

    area: shapely.Polygon
    width: float
    book: Book
    brief: Brief
    finish: Finish
    surveyed: tuple[str, ...] = ()

    @cached_property
    def verdicts(self) -> Verdicts:
        return check_finish(self.finish, self.brief, budget=self.book.errors(), surveyed=self.surveyed)

    @property
    def fall(self) -> float:
        return self.finish.facets[0].plane.fall

    def hangs(self, condition: Any) -> dict[str, float]:
        """How much of the error of each level comes into a number."""
        if condition.at is None:
            return {}
        if condition.place in self.book.marks:
            return {condition.place: -condition.sign}
        along = condition.at[0] / self.width  # straight between the shots at the ends of the wall
        return {point: share for point, share in (("D1", 1 - along), ("D2", along)) if abs(share) > 1e-12}

    def _way(self, condition: Any) -> Array:
        plane = self.finish.facets[0].plane
        return np.array(condition.toward or (-plane.gx / plane.fall, -plane.gy / plane.fall))

    def built(self, condition: Any, draw: Draw) -> Any:
        """By how much a number comes out other than designed: pegs from a middle stand, the benchmark's backsight, the laying."""
        budget, mark = self.book.budget, self.book.marks[BENCHMARK]
        middle = self.area.centroid.coords[0]
        tilt = [draw(f"body on the day, {axis}", budget.tilt_body) + draw(f"levelling on the day, {axis}", budget.tilt_level)
                for axis in range(3)]
        zero = np.array((mark.x, mark.y, 0.0) if mark.placed else (*middle, LOST))
        far = math.dist((mark.x, mark.y), middle) if mark.placed else LOST
        back, dip = draw("backsight on the day", budget.backsight), draw("cone on the day", budget.collimation)

        def peg(name: str, x: float, y: float) -> Any:
            away = np.array((x, y, 0.0)) - zero
            return (back + sum(a * b for a, b in zip(tilt, away, strict=True)) + dip * (math.dist((x, y), middle) - far)
                    + draw(f"{name}, read", budget.reading) + draw(f"{name}, foot", budget.placing_hard)
                    + draw(f"{name}, laid", budget.laying))
        if condition.at is not None:
            return condition.sign * peg(condition.place, *condition.at) + draw(f"tape {condition.place}", budget.tape * self.fall)
        corners = np.array(self.area.exterior.coords[:-1])
        pegs = np.array([peg(f"corner {number}", *corner) for number, corner in enumerate(corners)])
        slopes = np.linalg.lstsq(np.column_stack([np.ones(len(corners)), corners]), pegs, rcond=None)[0][1:]
        return -self._way(condition) @ slopes

    def weights(self, condition: Any, book: Book, spots: tuple[str, ...], covariance: Array) -> Array:
        """What each spot adds to a number of the plane of generalised least squares through spots."""
        places = np.array([(book.marks[point].x, book.marks[point].y) for point in spots])
        design = np.column_stack([np.ones(len(spots)), places])
        solved = np.linalg.inv(covariance)
        plane = np.linalg.solve(design.T @ solved @ design, design.T @ solved)
        if condition.at is not None:
            return condition.sign * np.array([1.0, *condition.at]) @ plane
        return -self._way(condition) @ plane[1:]

    @cached_property
    def uneven(self) -> float:
        """How far off its plane the surface lies beyond the errors of the readings, m: by expected squares of residuals."""
        spots = list(self.surveyed)
        design = np.column_stack([np.ones(len(spots)), [self.book.marks[point].x for point in spots],
                                  [self.book.marks[point].y for point in spots]])
        off = np.eye(len(spots)) - design @ np.linalg.inv(design.T @ design) @ design.T
        levels = self.book.reduced()
        residuals = off @ [levels.level(point) for point in spots]
        effect = self.book.effects(spots)
        measured = effect @ effect.T + (self.book.budget.tape * self.fall)**2 * np.eye(len(spots))
        return math.sqrt(max(float(residuals @ residuals - np.trace(off @ measured)) / (len(spots) - 3), 0.0))

    def effects(self, conditions: Sequence[Any], book: Book, spots: tuple[str, ...] = ()) -> tuple[Array, Array]:
        """What one standard deviation of each error does to numbers: (k, errors of the survey), (k, all others)."""
        hung = np.array([sum((share * book.effects([point])[0] for point, share in self.hangs(one).items()),
                             np.zeros(book.disturbed.shape[1])) for one in conditions])
        if not spots:
            unit = _Units(100 * len(conditions))
            return hung, np.array([self.built(one, unit) for one in conditions])
        effect, count = book.effects(list(spots)), len(spots)
        own = self.uneven**2 + (self.book.budget.tape * self.fall)**2
        weights = np.array([self.weights(one, book, spots, effect @ effect.T + own * np.eye(count)) for one in conditions])
        there = np.diag([float(one.at is not None) for one in conditions])
        return hung + weights @ effect, math.sqrt(own) * np.hstack([weights, there])

    def u(self, condition: Any, book: Book, spots: tuple[str, ...] = ()) -> float:
        """Standard uncertainty of a number with another book, by sums of variances."""
        survey, other = self.effects([condition], book, spots)
        return math.sqrt((survey**2).sum() + (other**2).sum())

    def simulated(self, condition: Any, book: Book, draw: Draw, spots: tuple[str, ...] = ()) -> Array:
        """Errors of a number in many trials of the survey with another book, and of what is built or lies there."""
        levels = book.by_pencil(draw)
        hung = sum(share * levels[point] for point, share in self.hangs(condition).items())
        if not spots:
            return hung + self.built(condition, draw)
        slope = self.book.budget.tape * self.fall
        effect = book.effects(list(spots))
        own = self.uneven**2 + slope**2
        weights = self.weights(condition, book, spots, effect @ effect.T + own * np.eye(len(spots)))
        found = [levels[point] + draw(f"lies {point}", self.uneven) + draw(f"tape {point}", slope) for point in spots]
        there = draw("lies there", self.uneven) + draw("tape there", slope) if condition.at is not None else 0.0
        return hung + weights @ np.array(found) + there


def drawer(rng: np.random.Generator, count: int | None = None) -> Draw:
    """Errors drawn once by name."""
    kept: dict[str, Any] = {}

    def draw(name: str, sd: float) -> Any:
        if name not in kept:
            kept[name] = rng.normal(size=count)
        return sd * kept[name]
    return draw
