"""What errors of reading, placing, zero, tilt and collimation do to the levels of a book."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from html import escape
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from ..errors import SurveyError, finite, finite_list, must_be
from ..surface.plane import Floats, PlaneFit, fit_plane, frozen
from ..survey.book import Row
from ..survey.linking import Sight
from ..survey.reduction import ReducedLevels
from ..wording import html_table, word_distance, word_level, word_mm, word_share

if TYPE_CHECKING:
    from .budget import ErrorBudget

UNPLACED = 10.0  # m: how far off, in a direction not known, a point without x and y is taken to be (common practice, no source)
MOSTLY = 1.96  # standard deviations: 19 of 20 fall within them, either way
LEAST = 1e-7  # m: no level is surer, so that every table of covariances can be turned round
KINDS = ("reading", "placing", "backsight", "zero", "tilt", "collimation", "tape", "setting out", "laying", "unevenness")


@dataclass(frozen=True, eq=False)
class Inputs:
    """Errors that come in, independent of each other: `names` (q,), and the variance of each by kind, (KINDS, q)."""

    names: tuple[str, ...]
    variance: Floats

    @property
    def total(self) -> Floats:
        """Variance of each (q,)."""
        return np.asarray(self.variance.sum(axis=0))

    @property
    def sd(self) -> Floats:
        """Standard deviation of each (q,)."""
        return np.sqrt(self.total)

    def joined(self, other: Inputs) -> Inputs:
        """These and others after them."""
        return Inputs((*self.names, *other.names), np.concatenate([self.variance, other.variance], axis=1))


def inputs_of(lines: Sequence[tuple[str, Mapping[str, float]]]) -> Inputs:
    """Inputs from (name, {kind: standard deviation})."""
    variance = np.zeros((len(KINDS), len(lines)))
    for column, (_, kinds) in enumerate(lines):
        for kind, sd in kinds.items():
            variance[KINDS.index(kind), column] += sd**2
    return Inputs(tuple(name for name, _ in lines), variance)


@dataclass(frozen=True, eq=False)
class LevelErrors:
    """What an error budget does to the levels of a book. Made by `ErrorBudget.errors`.

    `points` (n,); `effect` (n, q), by how many m each of the `inputs` moves a level for a unit of it; `doubts` say what had to
    be assumed; `instruments` and `headings` are what was given.
    """

    budget: ErrorBudget
    reduced: ReducedLevels
    points: tuple[str, ...]
    effect: Floats
    inputs: Inputs
    doubts: tuple[str, ...] = ()
    instruments: Mapping[int, Sequence[float]] = field(default_factory=dict)
    headings: Mapping[int, float] = field(default_factory=dict)

    @cached_property
    def covariance(self) -> Floats:
        """Covariance of the levels (n, n), m²."""
        scaled = self.effect * self.inputs.sd
        return frozen(scaled @ scaled.T)

    @property
    def sd(self) -> Floats:
        """Standard uncertainty of each level (n,), m."""
        return np.sqrt(np.diag(self.covariance))

    @cached_property
    def where(self) -> dict[str, int]:
        """The row of each point."""
        return {point: row for row, point in enumerate(self.points)}

    def place(self, point: str) -> tuple[float, float] | None:
        """Where a point stands, m; None where the book has no x and y."""
        told = self.reduced.about.get(point)
        return None if told is None or told["x"] is None or told["y"] is None else (told["x"], told["y"])

    @property
    def table(self) -> pd.DataFrame:
        """A new table, a row a point: point feature level u (m), and the share of its variance from each kind of error."""
        table = pd.DataFrame({"point": self.points, "feature": [self.reduced.about[point]["feature"] for point in self.points],
                              "level": [self.reduced.level(point) for point in self.points], "u": self.sd})
        whole = np.maximum(self.covariance.diagonal(), LEAST**2)
        for number, kind in enumerate(KINDS[:6]):
            table[kind] = (self.effect**2 @ self.inputs.variance[number]) / whole
        return table

    def plane_fit(self, points: Sequence[str] | None = None, *, uneven: float | None = None) -> PlaneFit:
        """The plane of generalised least squares through points of the book, with its full covariance.

        `points` are those of the ground that have a place if not given. `uneven` is the standard deviation in m of a spot about
        the plane because the surface is not flat; if not given it is what the residuals of plain least squares show beyond the
        errors of the readings. A taped position counts by the slope.
        """
        named = self.ground_points() if points is None else names_of(points)
        if uneven is not None:
            uneven = finite(uneven, "how uneven the surface is", "It is a standard deviation in m.", least=0)
        x, y, levels = self._spots(named)
        plain, measured = self._plainly(named)
        own = unevenness(plain, measured)[0] if uneven is None else uneven**2
        return fit_plane(x, y, levels, covariance=measured + (own + LEAST**2) * np.eye(len(named)), points=named)

    def uneven(self, points: Sequence[str]) -> float:
        """By how much (m, standard deviation) a surface lies off its plane at a spot beyond what the readings may be out."""
        return math.sqrt(unevenness(*self._plainly(points))[0])

    def seen(self, points: Sequence[str]) -> float:
        """What errors of the readings and the tape alone would leave in the residuals of a plane, a variance in m²."""
        return unevenness(*self._plainly(points))[1]

    def _plainly(self, points: Sequence[str]) -> tuple[PlaneFit, Floats]:
        """The plane of plain least squares, and the covariance of the levels (m²) with what the tape adds by its slope."""
        x, y, levels = self._spots(points)
        rows = [self.where[point] for point in points]
        plain = fit_plane(x, y, levels, points=points)
        return plain, self.covariance[np.ix_(rows, rows)] + (self.budget.tape * plain.plane.fall)**2 * np.eye(len(rows))

    def ground_points(self) -> list[str]:
        """The points of the ground that have a place."""
        return [point for point in self.points if self.reduced.about[point]["feature"] in ("", "ground", "corner")
                and self.place(point) is not None]

    def _spots(self, points: Sequence[str]) -> tuple[Floats, Floats, Floats]:
        twice = [point for place, point in enumerate(points) if point in points[:place]]
        if twice:
            raise SurveyError(f"the points {', '.join(dict.fromkeys(twice))} are named twice", rule="A plane takes each once.")
        missing = [point for point in points if point not in self.where or self.place(point) is None]
        if missing:
            raise SurveyError(f"the points {', '.join(missing)} were not read, or have no x and y",
                              rule="A plane goes through points of the book that have a place.")
        x, y = np.array([self.place(point) for point in points], dtype=float).reshape(-1, 2).T
        return x, y, np.array([self.reduced.level(point) for point in points])

    @property
    def words(self) -> str:
        """What it comes to, in sentences, for a person who has never heard of a standard deviation."""
        worst = int(self.sd.argmax())
        shares = (self.effect[worst]**2 @ self.inputs.variance.T) / max(float(self.sd[worst]), LEAST)**2
        return (f"Least sure is the level of {self.points[worst]}: done 20 times, this survey would find it within "
                f"{word_mm(MOSTLY * float(self.sd[worst]), digits=1)} of the truth about 19 times. Of its variance "
                f"{word_share(float(shares.max()))} comes from {KINDS[int(shares.argmax())]}.")

    def __repr__(self) -> str:
        least, most = (word_mm(end, digits=1) for end in (self.sd.min(), self.sd.max()))
        return f"LevelErrors of {len(self.points)} points, u from {least} to {most}"

    def _repr_html_(self) -> str:
        table = self.table
        shown = pd.DataFrame({"point": table["point"], "level": table["level"].map(word_level),
                              "standard uncertainty": table["u"].map(lambda u: word_mm(u, digits=1))})
        return html_table(shown, words=True) + "".join(f"<p>{escape(doubt)}</p>" for doubt in self.doubts)


def names_of(points: object) -> list[str]:
    """Names of points, one by one. Raises SurveyError for what is no list of names."""
    if isinstance(points, (str, bytes)) or not isinstance(points, Iterable):
        raise SurveyError(f"the points are {points!r}", rule="They are a list of names of the book.")
    names = list(points)
    if not all(isinstance(name, str) for name in names):
        raise SurveyError(f"one of the points is {next(name for name in names if not isinstance(name, str))!r}",
                          rule="They are a list of names of the book.")
    return names


def unevenness(plain: PlaneFit, measured: Floats) -> tuple[float, float]:
    """Variance in m² of a surface about its plane, beyond a covariance of the levels (n, n); and what that alone leaves."""
    freedom = len(plain.x) - 3
    if not freedom:
        return 0.0, 0.0
    design = np.column_stack([np.ones(len(plain.x)), plain.x - plain.x.mean(), plain.y - plain.y.mean()])
    taken = np.linalg.qr(design)[0].T  # (3, n): what the plane takes of the levels
    left = float(np.trace(measured) - (taken @ measured * taken).sum()) / freedom
    return max(float(plain.residuals @ plain.residuals) / freedom - left, 0.0), left


def propagate(budget: ErrorBudget, reduced: ReducedLevels, instruments: Mapping[int, Sequence[float]] | None,
              headings: Mapping[int, float] | None) -> LevelErrors:
    """See `ErrorBudget.errors`."""
    points, sights, moves = reduced.influence()
    setups = reduced.linkage.setups
    stood = _by_setup(instruments, len(setups), "instruments", "(x, y) in m", lambda place: finite_list(
        place, "the place of an instrument", "It is a pair (x, y) in m.", count=2))
    turned = _by_setup(headings, len(setups), "headings", "degrees", lambda angle: math.radians(finite(angle, "a heading")))
    places = _Places(reduced, sights, _booked_instruments(reduced) | stood)
    lines = [_reading(budget, reduced, sight) for sight in sights]
    columns = [np.eye(len(sights))]
    signs = np.array([_sign(reduced, sight) for sight in sights])
    lines.append(("zero of the staff or receiver", {"zero": budget.zero}))
    columns.append(signs[:, None])
    lines.append(("collimation or cone", {"collimation": budget.collimation}))
    columns.append((places.lengths * places.by_light)[:, None])
    for number in range(len(setups)):  # what turns with an instrument whose heading is not known turns anywhere
        mine = np.array([sight.setup == number for sight in sights]) & places.by_light
        own = budget.tilt_level if number in turned else budget.tilt
        lines += [(f"tilt at set-up {number + 1}, {axis}", {"tilt": own}) for axis in places.axes]
        columns.append(places.offsets * mine[:, None])
    if turned:
        angle = np.array([turned.get(sight.setup, 0.0) for sight in sights])
        mine = np.array([sight.setup in turned for sight in sights]) & places.by_light
        x, y = places.offsets[:, :2].T
        cos, sin = np.cos(angle) * mine, np.sin(angle) * mine
        lines += [(f"tilt that turns with the instrument, {axis}", {"tilt": budget.tilt_body}) for axis in ("front", "left")]
        columns.append(np.column_stack([x * cos - y * sin, x * sin + y * cos]))
        for place, axis in enumerate(places.axes[2:], start=2):
            lines += [(f"tilt that turns with the instrument, {axis}", {"tilt": budget.tilt_body})] * 2
            columns.append(places.offsets[:, [place]] * np.column_stack([cos, sin]))
    return LevelErrors(budget, reduced, points, moves @ np.concatenate(columns, axis=1), inputs_of(lines), places.doubts,
                       dict(instruments or {}), dict(headings or {}))


def _by_setup(given: Mapping[int, Any] | None, count: int, name: str, what: str, read: Any) -> dict[int, Any]:
    must_be(given, (Mapping, type(None)), name)
    for number in given or {}:
        if isinstance(number, bool) or not isinstance(number, (int, np.integer)) or not 1 <= number <= count:
            raise SurveyError(f"{name} speaks of the set-up {number!r}",
                              rule=f"The book has the set-ups 1 to {count}; each is followed by {what}.")
    return {number - 1: read(value) for number, value in (given or {}).items()}


def _booked_instruments(reduced: ReducedLevels) -> dict[int, list[float]]:
    """Where rows of feature "instrument" say that it stood: in the set-up that is open, or where that is told, in the next."""
    found: dict[int, list[float]] = {}
    starts = [reduced.linkage.rows[setup.back.row].number for setup in reduced.linkage.setups]
    for row in reduced.book.rows:
        if row.feature == "instrument" and row.x is not None and row.y is not None:
            open_ = sum(start <= row.number for start in starts) - 1
            found[open_ + 1 if open_ < 0 or open_ in found else open_] = [row.x, row.y]
    return {number: place for number, place in found.items() if number < len(starts)}


def _from_line(row: Row) -> bool:
    """Whether a set-up that begins at a row is no set-up of an instrument, but measured from a line of known level."""
    return row.feature == "line" and row.bs == 0


def _reading(budget: ErrorBudget, reduced: ReducedLevels, sight: Sight) -> tuple[str, dict[str, float]]:
    """Name and standard deviations of one reading. A line of known level that is measured from is not read."""
    row = reduced.linkage.rows[sight.row]
    if sight.place == 0:
        return f"backsight on {row.point}, row {row.number}", {"backsight": 0.0 if _from_line(row) else budget.backsight}
    return (f"reading on {row.point}, row {row.number}",
            {"reading": budget.reading, "placing": budget.placing(reduced.about[row.point]["feature"])})


def _sign(reduced: ReducedLevels, sight: Sight) -> float:
    """How a reading takes the zero: 1 upright, −1 upside down, 0 taped from a mark without a staff."""
    row = reduced.linkage.rows[sight.row]
    taped = _from_line(row) if sight.place == 0 else row.taped
    return 0.0 if taped else -1.0 if sight.reading < 0 else 1.0


class _Places:
    """Where each sight goes, beside where its set-up's other sights go.

    A point without x and y is taken to lie its sight, or UNPLACED m, from the instrument, in a direction not known:
    what a tilt does to it has the same variance as if it lay that far off on an axis of its own.
    """

    def __init__(self, reduced: ReducedLevels, sights: Sequence[Sight], stood: Mapping[int, Sequence[float]]) -> None:
        rows = reduced.linkage.rows
        names = [rows[sight.row].point for sight in sights]
        about = [reduced.about[name] for name in names]
        placed = np.array([told["x"] is not None and told["y"] is not None for told in about])
        plan = np.array([(told["x"], told["y"]) if has else (0.0, 0.0) for told, has in zip(about, placed, strict=True)])
        setup = np.array([sight.setup for sight in sights])
        lost = list(dict.fromkeys(name for name, has in zip(names, placed, strict=True) if not has))
        self.by_light = np.array([not _from_line(rows[reduced.linkage.setups[number].back.row]) for number in setup])
        self.axes = ("along x", "along y", *(f"to {name} (no place)" for name in lost))
        self.offsets = np.zeros((len(sights), len(self.axes)))
        self.lengths = np.zeros(len(sights))
        unsure = []
        for number in range(len(reduced.linkage.setups)):
            here = np.flatnonzero(setup == number)
            known = here[placed[here]]
            middle = plan[known].mean(axis=0) if len(known) else np.zeros(2)
            instrument = np.array(stood.get(number, middle))
            for place in map(int, here):
                booked = sights[place].length
                if placed[place]:
                    self.offsets[place, :2] = plan[place] - instrument
                    told = booked if number not in stood else None
                    self.lengths[place] = math.dist(plan[place], instrument) if told is None else told
                else:
                    self.lengths[place] = UNPLACED if booked is None else booked
                    self.offsets[place, 2 + lost.index(names[place])] = self.lengths[place]
            if number not in stood and any(sights[place].length is None for place in map(int, here)):
                unsure.append(str(number + 1))
        self.doubts: tuple[str, ...] = ()
        if lost:
            self.doubts += (f"{', '.join(lost)}: no x and y in the book, so taken to lie {word_distance(UNPLACED)} off, "
                            "or as far as the sight that is booked, in a direction not known.",)
        if unsure:
            self.doubts += (f"Set-up {', '.join(unsure)}: where the instrument stood is not booked, nor every sight, so it is "
                            "taken to have stood in the middle of what was read.",)

