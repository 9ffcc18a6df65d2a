"""How sure the numbers of a finished surface are that a brief speaks of: one that is still to be built, or one that exists."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from ..errors import SurveyError
from ..surface.facet import Facet
from ..surface.plane import Floats
from ..survey.book import LevelBook, Row
from ..survey.reduction import reduce_book
from ..wording import word_place
from .budget import MANY, ErrorBudget
from .conditions import Condition
from .propagation import KINDS, LEAST, MOSTLY, UNPLACED, Inputs, LevelErrors, inputs_of

Asked = tuple[Condition, Facet]
DRAWS = 20_000  # of several margins at once, for the chance that all are inside
CLEAR = 1e-3  # of a chance: bounds that lie nearer together are not told apart


@dataclass(frozen=True, eq=False)
class Certainty:
    """How errors move numbers: `effect` (k, q) of the `inputs` on each, in m or m/m for a unit of it.

    The first `survey` inputs are those of the survey; the others come in on the day of building, or with the surface itself.
    `scatter` (k,) is the part of each variance that the residuals of a plane had to tell, with `spare` (k,) spots beyond three.
    """

    effect: Floats
    inputs: Inputs
    survey: int
    scatter: Floats | None = None
    spare: Floats | None = None

    @property
    def freedom(self) -> Floats:
        """Effective degrees of freedom of each u (k,), by the formula of Welch and Satterthwaite (JCGM 100:2008, G.4.1)."""
        found = np.full(len(self.u), np.inf)
        if self.scatter is not None and self.spare is not None:
            np.divide(self.spare * self.u**4, self.scatter**2, out=found, where=self.scatter > LEAST**2)
        return found

    @cached_property
    def u(self) -> Floats:
        """Standard uncertainty of each number (k,), m or m/m."""
        return np.sqrt(self.effect**2 @ self.inputs.total)

    def of(self, rows: Sequence[int]) -> Certainty:
        """That of some of the numbers."""
        return replace(self, effect=self.effect[rows], scatter=None if self.scatter is None else self.scatter[rows],
                       spare=None if self.spare is None else self.spare[rows])

    @property
    def by_kind(self) -> Floats:
        """Variance of each number from each of KINDS (k, KINDS)."""
        return np.asarray(self.effect**2 @ self.inputs.variance.T)


class _Collected:
    """Inputs of the day of building, gathered place by place."""

    def __init__(self, errors: LevelErrors, middle: tuple[float, float]) -> None:
        self.budget = errors.budget
        known = [place for point in errors.reduced.book.known if (place := errors.place(point))]
        self.benchmark = known[0] if known else None
        self.middle = middle
        self.columns: dict[tuple[object, ...], int] = {}
        self.lines: list[tuple[str, dict[str, float]]] = [
            ("backsight on the day", {"setting out": self.budget.backsight}),
            *((f"tilt on the day, {axis}", {"setting out": self.budget.tilt})
              for axis in ("along x", "along y", "to the benchmark (no place)")),
            ("collimation or cone on the day", {"setting out": self.budget.collimation})]

    def column(self, name: str, x: float, y: float, kinds: dict[str, float]) -> int:
        """The number of an input at a place; the same for the same name, place and size."""
        key = (name, word_place(x, y), *kinds.values())  # pegs within a millimetre are one
        if key not in self.columns:
            self.columns[key] = len(self.lines)
            self.lines.append((f"{name} at {word_place(x, y)}", kinds))
        return self.columns[key]

    def set_out(self, x: float, y: float, share: float, row: dict[int, float]) -> None:
        """Add `share` of what a peg read and laid to at a place may be out."""
        away = (x - self.benchmark[0], y - self.benchmark[1], 0.0) if self.benchmark else (
            x - self.middle[0], y - self.middle[1], UNPLACED)
        back = math.dist(self.benchmark, self.middle) if self.benchmark else UNPLACED
        for column, effect in enumerate((1.0, *away, math.dist((x, y), self.middle) - back)):
            row[column] = row.get(column, 0.0) + share * effect
        local = self.column("setting out and laying", x, y, {
            "setting out": math.hypot(self.budget.reading, self.budget.placing_hard), "laying": self.budget.laying})
        row[local] = row.get(local, 0.0) + share


def to_be_built(asked: Sequence[Asked], errors: LevelErrors, middle: tuple[float, float]) -> Certainty:
    """How sure the numbers will be once the surface is built: the survey, the setting out on another day, the laying.

    `middle` of the surface (m) is where the instrument will stand. A level is set out at its place; the fall of a facet is
    that of the plane through pegs at its corners. The staff's zero cancels on the day, for everything is then read upright.
    """
    errors = with_missing(errors, asked)
    day = _Collected(errors, middle)
    hangs = np.zeros((len(asked), len(errors.points)))
    rows: list[dict[int, float]] = [{} for _ in asked]
    for number, ((condition, facet), row) in enumerate(zip(asked, rows, strict=True)):
        for point, share in condition.on:
            hangs[number, errors.where[point]] += share
        if condition.at is not None:
            x, y = condition.at
            day.set_out(x, y, condition.sign, row)
            tape = day.column("taped position", x, y, {"tape": errors.budget.tape * facet.plane.fall})
            row[tape] = row.get(tape, 0.0) + 1.0
        else:
            corners, shares = fall_shares(condition, facet)
            for (x, y), share in zip(corners, shares, strict=True):
                day.set_out(float(x), float(y), float(share), row)
    built = np.zeros((len(asked), len(day.lines)))
    for number, row in enumerate(rows):
        built[number, list(row)] = list(row.values())
    return Certainty(np.concatenate([hangs @ errors.effect, built], axis=1), errors.inputs.joined(inputs_of(day.lines)),
                     len(errors.inputs.names))


def fall_shares(condition: Condition, facet: Facet) -> tuple[Floats, Floats]:
    """Corners of a facet (k, 2) and what each adds (k,) to the fall that a condition speaks of, for 1 m of its level."""
    corners = np.array(facet.area.exterior.coords[:-1])
    from_middle = corners - corners.mean(axis=0)
    return corners, -np.linalg.pinv(from_middle).T @ np.array(fall_way(condition, facet))


def fall_way(condition: Condition, facet: Facet) -> tuple[float, float]:
    """Unit vector of the fall that a condition speaks of; that of the steepest way down for the true fall."""
    way = condition.way_on(facet) or facet.plane.direction
    length = math.hypot(*way)
    return (way[0] / length, way[1] / length) if length else (1.0, 0.0)


def as_it_is(asked: Sequence[Asked], errors: LevelErrors, points: Sequence[str], uneven: float | None = None) -> Certainty:
    """How sure the numbers of a surface are that exists, and is taken for the plane through `points` of the survey.

    The survey counts, with what spots and walls have in common, and the unevenness (m) that the residuals of the plane show
    unless it is given.
    """
    if len(points) < 4:
        raise SurveyError(f"the surface is known by {len(points)} spots",
                          rule="Three fit any plane, so how uneven it is does not show.",
                          remedy="Read at least a fourth; the more, the surer.")
    errors = with_missing(errors, asked)
    uneven = errors.uneven(points) if uneven is None else uneven
    fit = errors.plane_fit(points, uneven=uneven)
    slope = errors.budget.tape * fit.plane.fall
    rows = [errors.where[point] for point in points]
    own = inputs_of([*((f"the surface at {point}", {"unevenness": uneven, "tape": slope}) for point in points),
                     *((f"the surface at {condition.place}", {"unevenness": uneven, "tape": slope}) for condition, _ in asked)])
    hangs = np.zeros((len(asked), len(errors.points)))
    there = np.zeros((len(asked), len(points) + len(asked)))
    for number, (condition, facet) in enumerate(asked):
        for point, share in condition.on:
            hangs[number, errors.where[point]] += share
        if condition.at is not None:
            x, y = condition.at[0] - fit.plane.at[0], condition.at[1] - fit.plane.at[1]
            weights = condition.sign * (fit.weights[0] + x * fit.weights[1] + y * fit.weights[2])
            there[number, len(points) + number] = 1.0
        else:
            dx, dy = fall_way(condition, facet)
            weights = -(dx * fit.weights[1] + dy * fit.weights[2])
        np.add.at(hangs[number], rows, weights)
        there[number, :len(points)] = weights
    spare, seen = len(points) - 3, errors.seen(points)
    # what few residuals tell of the place itself may be nought by chance: so much of the errors in them is counted there too
    scatter = there**2 @ np.append(np.full(len(points), uneven**2 + seen),
                                   np.full(len(asked), uneven**2 + seen * min(2 / spare, 1.0)))
    return Certainty(np.concatenate([hangs @ errors.effect, there], axis=1), errors.inputs.joined(own), len(errors.inputs.names),
                     scatter, np.full(len(asked), float(spare)))


def with_missing(errors: LevelErrors, asked: Sequence[Asked]) -> LevelErrors:
    """With the measured points that conditions name and the book does not hold: each one shot from one set-up of their own."""
    missing = {point: condition.staff_on for condition, _ in asked for point, _ in condition.on if point not in errors.where}
    if not missing:
        return errors
    other = one_setup(errors.budget, missing)
    blocks = ((errors.effect, np.zeros((len(errors.points), other.effect.shape[1]))),
              (np.zeros((len(missing), errors.effect.shape[1])), other.effect[1:]))
    return LevelErrors(errors.budget, errors.reduced, (*errors.points, *missing), np.block([list(row) for row in blocks]),
                       errors.inputs.joined(other.inputs), (*errors.doubts, *other.doubts), errors.instruments, errors.headings)


def one_setup(budget: ErrorBudget, points: Mapping[str, str]) -> LevelErrors:
    """What a budget does to points, with their features, each read once from one set-up on a benchmark; their places unknown."""
    mark = " ".join(["benchmark", *points])  # a name that none of them has
    rows = (Row(1, mark, bs=1.0, rl=0.0, feature="benchmark"),
            *(Row(number, point, is_=1.0, feature=feature) for number, (point, feature) in enumerate(points.items(), start=2)))
    errors = budget.errors(reduce_book(LevelBook(rows)))
    names = [re.sub(r", row \d+$", ", not in the book", name.replace(mark, "its benchmark").replace(" set-up 1", " its set-up"))
             for name in errors.inputs.names]  # no row that anybody booked, nor the set-up 1 of the book
    doubts = [one.replace(f"{mark}, ", "").replace("Set-up 1:", "Their set-up:") for one in errors.doubts]
    return replace(errors, inputs=replace(errors.inputs, names=tuple(names)), doubts=tuple(doubts))


def nothing_read(budget: ErrorBudget) -> LevelErrors:
    """A budget before anything was read."""
    return one_setup(budget, {})


def chance(margins: Floats, certainty: Certainty) -> float:
    """The chance that all numbers lie inside their limits, for the room (below, above) that each has (k, 2), m or m/m.

    One number: the normal distribution, JCGM 106:2012, clause 7, or Student's t where u rests on few spots. Several: DRAWS of
    them together with a fixed seed, which tells it within 1 %; where the bounds that hold for any dependence agree, the lower.
    """
    below, above = margins.T
    u, freedom = np.maximum(certainty.u, 1e-12), certainty.freedom
    single = np.array([_below(high, spare) - _below(-low, spare)
                       for low, high, spare in zip(below / u, above / u, freedom, strict=True)])
    lower, upper = max(0.0, 1.0 - float((1.0 - single).sum())), float(single.min())
    if len(single) == 1 or upper - lower < CLEAR:
        return lower
    scaled = certainty.effect * certainty.inputs.sd
    spread, axes = np.linalg.eigh(scaled @ scaled.T)
    random = np.random.default_rng(1)
    drawn = random.standard_normal((DRAWS, len(u))) @ (axes * np.sqrt(np.maximum(spread, 0.0))).T
    if (least := float(freedom.min())) < MANY:
        drawn *= np.sqrt(least / random.chisquare(least, (DRAWS, 1)))
    return min(max(float(((-drawn <= below) & (drawn <= above)).all(axis=1).mean()), lower), upper)


def _below(z: float, freedom: float) -> float:
    """The chance of less than z standard deviations."""
    if freedom < MANY:
        from scipy.special import stdtr
        return float(stdtr(freedom, z))
    return 0.5 * math.erfc(-z / math.sqrt(2))


def mostly(freedom: float = math.inf) -> float:
    """How many standard uncertainties hold 19 of 20, either way: by Student's t where u rests on few spots."""
    if freedom < MANY:
        from scipy.special import stdtrit
        return float(stdtrit(freedom, 0.975))
    return MOSTLY


def biggest_kind(by_kind: Floats) -> tuple[str, float]:
    """Which kind of error brings most of a variance (KINDS,), and its share."""
    whole = float(by_kind.sum())
    most = int(by_kind.argmax())
    return KINDS[most], float(by_kind[most]) / whole if whole else 0.0
