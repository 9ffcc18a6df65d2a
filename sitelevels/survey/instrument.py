"""Tests of the instrument: two pegs, turning a laser, reading the same mark again."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from numbers import Real
from types import MappingProxyType
from typing import Any

import numpy as np

from ..errors import SurveyError, finite, finite_list, must_be, rows_named
from ..wording import InWords, word_distance, word_mm
from .book import LevelBook

COLLIMATION_LIMIT = 0.003 / 50
"""m per m: less than 3 mm between pegs 30 to 50 m apart, taken at 50 m; from a surveying supplier's method note (text read)."""

CURVATURE_AND_REFRACTION = 6.73e-8
"""m per m²: how much too high a long sight reads, 0.0673 m over one kilometre; the figure of most survey textbooks."""


@dataclass(frozen=True)
class PegSetup:
    """The readings on two pegs from one set-up, and the lengths of the sights, all in m.

    `a` and `b` may be several readings, one for each heading of a rotating laser: they are meaned, so that its tilt drops out
    and what the test finds is the cone. Refuses what is no finite number, and a sight shorter than nought.

    Source: the two-peg test of any survey textbook, where the sights are booked beside the readings.

    >>> round(PegSetup(1.283, 0.860, 25, 25).difference, 3)  # m: B is the higher
    0.423
    """

    a: float | Sequence[float]
    b: float | Sequence[float]
    to_a: float
    to_b: float
    counts: tuple[int, ...] = field(init=False, repr=False)

    def __post_init__(self) -> None:
        counts = []
        for name in ("a", "b"):
            value, said = getattr(self, name), f"the reading on peg {name.upper()}"
            each = [finite(value, said)] if isinstance(value, Real) else finite_list(value, said, "It is in m, or several are.")
            object.__setattr__(self, name, math.fsum(each) / len(each))
            counts.append(len(each))
        for name in ("to_a", "to_b"):
            sight = finite(getattr(self, name), f"the length of the sight {name}", "It must be a length in m.", least=0)
            object.__setattr__(self, name, sight)
        object.__setattr__(self, "counts", tuple(counts))

    @property
    def difference(self) -> float:
        """What the readings say: level of B minus level of A, m."""
        return self.a - self.b  # type: ignore[operator]


def two_peg_test(first: PegSetup, second: PegSetup | None = None, *, true_difference: float | None = None,
                 limit: float = COLLIMATION_LIMIT, curvature: float = 0.0) -> TwoPegTest:
    """Collimation of a level from two set-ups between two pegs, or from one where the true difference is known.

    Parameters
    ----------
    first, second : PegSetup
        Any two set-ups whose sights differ: midway and near one peg, or close to each peg in turn (sight 0).
    true_difference : float, optional
        Level of B minus level of A, m, instead of the second set-up.
    limit : float
        Greatest collimation in m per m.
    curvature : float
        m per m² by which a long sight reads too high; CURVATURE_AND_REFRACTION for sights of hundreds of metres.

    Raises
    ------
    SurveyError
        If the sights of the two set-ups differ alike, so that nothing tells the collimation.

    Notes
    -----
    A level whose line of sight points up by c reads c × sight too high, so a − b = (level B − level A) + c (to_a − to_b).
    The test of any survey textbook; no conformity to a standard for field tests is claimed.

    >>> test = two_peg_test(PegSetup(1.283, 0.860, 25, 25), PegSetup(1.612, 1.219, 55, 5))
    >>> round(test.collimation * 50, 3), round(test.difference, 3)
    (-0.03, 0.423)
    """
    must_be(first, PegSetup, "the first set-up")
    if (second is None) == (true_difference is None):
        raise SurveyError("the test needs a second set-up or the true difference, and not both")
    if second is not None:
        must_be(second, PegSetup, "the second set-up")
    known = None if true_difference is None else finite(true_difference, "true_difference")
    limit = finite(limit, "the limit", "It must be over nought, in m per m.", over=0)
    curvature = finite(curvature, "the curvature", "It must not be under nought, in m per m².", least=0)
    test = TwoPegTest(first, second, known, limit, curvature)
    if test.reach < 1.0:
        raise SurveyError(f"the sights differ by only {word_distance(test.reach)} between the two",
                          rule="The collimation shows only where the sights to the pegs are unequal.",
                          remedy="Set up midway once, and once close to one peg.")
    return test


@dataclass(frozen=True, eq=False, repr=False)
class TwoPegTest(InWords):
    """A two-peg test. Made by `two_peg_test`; lengths in m, `limit` in m per m."""

    first: PegSetup
    second: PegSetup | None
    true_difference: float | None
    limit: float
    curvature: float

    def _seen(self, setup: PegSetup) -> float:
        """Level of B minus level of A by one set-up, free of curvature."""
        return setup.difference - self.curvature * (setup.to_a**2 - setup.to_b**2)

    @property
    def _sights(self) -> float:
        other = self.second.to_a - self.second.to_b if self.second else 0.0
        return self.first.to_a - self.first.to_b - other

    @property
    def reach(self) -> float:
        """The length in m over which the collimation was seen: the difference of the sights of the one less that of the other."""
        return abs(self._sights)

    @property
    def collimation(self) -> float:
        """m per m, positive when the line of sight points up."""
        other = self._seen(self.second) if self.second else self.true_difference
        return (self._seen(self.first) - (other or 0.0)) / self._sights

    def collimation_sd(self, reading_sd: float) -> float:
        """Standard deviation of the collimation, m per m, from that of one reading, m."""
        counts = [count for setup in (self.first, self.second) if setup for count in setup.counts]
        return finite(reading_sd, "reading_sd", least=0) * math.sqrt(math.fsum(1 / count for count in counts)) / self.reach

    @property
    def difference(self) -> float:
        """True difference: level of B minus level of A, m."""
        if self.true_difference is not None:
            return self.true_difference
        return self._seen(self.first) - self.collimation * (self.first.to_a - self.first.to_b)

    def correct(self, reading: float, sight: float) -> float:
        """What a reading over a sight of this length (both m) would be with a line of sight that is level."""
        sight = finite(sight, "the length of the sight", least=0)
        return finite(reading, "the reading") - self.collimation * sight - self.curvature * sight**2

    @property
    def within(self) -> bool:
        """Whether the collimation is within its limit."""
        return abs(self.collimation) <= self.limit + 1e-12

    @property
    def words(self) -> str:
        """What the test says, in sentences."""
        side = "up" if self.collimation > 0 else "down"
        found, allowed = (word_mm(abs(slope) * 50, digits=1) for slope in (self.collimation, self.limit))
        verdict = ("passes." if self.within else "does NOT pass. Have it adjusted; until then keep the sights of a set-up "
                   "equally long, or correct the book for it.")
        points = f"points {side} by {found} in 50 m" if abs(self.collimation) > 1e-6 else "is level"
        return f"The line of sight {points}; {allowed} in 50 m is allowed, so it {verdict}"

    def corrected(self, book: LevelBook) -> LevelBook:
        """The book with every reading as a level line of sight would have given it.

        Raises SurveyError naming each reading whose sight has no length.
        """
        must_be(book, LevelBook, "the book")
        rows, missing = [], []
        from_line = False
        for row in book.rows:
            if row.bs is not None:
                from_line = row.feature == "line"
            if from_line and (row.taped or row.bs is not None):  # a line of known level is no line of sight
                rows.append(row)
                continue
            lengths = {"bs": row.sight_back, "is_": row.sight, "fs": row.sight}
            sights: dict[str, Any] = {name: length for name, length in lengths.items() if getattr(row, name) is not None}
            if None in sights.values():
                missing.append(row.number)
            else:
                changed: dict[str, Any] = {name: self.correct(getattr(row, name), length) for name, length in sights.items()}
                rows.append(replace(row, **changed))
        if missing:
            raise SurveyError("the length of the sight is not booked", where=rows_named(missing),
                              rule="A reading is corrected by collimation × sight.", remedy="Fill in the column 'sight'.")
        return replace(book, rows=tuple(rows))


def turn_test(readings_by_heading: Mapping[float, float], distance: float) -> TurnTest:
    """Tilt of a rotating laser from readings on one far mark with the instrument turned.

    Parameters
    ----------
    readings_by_heading : mapping
        Reading in m by heading in degrees: by how much the front of the instrument is turned clockwise, seen from above, away
        from the mark. Four are usual: 0, 90, 180, 270. At least three that are not on one line through the instrument.
    distance : float
        From the instrument to the mark, m.

    Raises
    ------
    SurveyError
        Fewer than three headings, or headings nearly on one line; a distance under 1 m; what is no finite number.

    Notes
    -----
    reading = mean + distance × (front × cos heading + left × sin heading), by least squares. The cone, which reads high or low
    at every heading, does not show here: it takes the two-peg test.

    >>> front, left = turn_test({0: 1.503, 90: 1.499, 180: 1.497, 270: 1.501}, 30).tilt
    >>> round(front * 30, 4), round(left * 30, 4)
    (0.003, -0.001)
    """
    must_be(readings_by_heading, Mapping, "readings_by_heading")
    distance = finite(distance, "the distance", "It must be at least 1 m; 30 m tells more.", least=1)
    readings = {finite(heading, "a heading", "It must be in degrees."): finite(reading, f"the reading at heading {heading}")
                for heading, reading in readings_by_heading.items()}
    turned = [math.radians(heading) for heading in readings]
    design = np.array([[1.0, distance * math.cos(angle), distance * math.sin(angle)] for angle in turned])
    if len(turned) < 3 or np.linalg.matrix_rank(design / [1.0, distance, distance], tol=0.05) < 3:
        raise SurveyError(f"{len(turned)} headings were read, not well apart", rule="Tilt in two axes takes three or more.",
                          remedy="Read the mark at 0°, 90°, 180° and 270°.")
    design.flags.writeable = False
    return TurnTest(MappingProxyType(readings), distance, design)


@dataclass(frozen=True, eq=False, repr=False)
class TurnTest(InWords):
    """A turn test. Made by `turn_test`; readings in m by heading in degrees, distance in m."""

    readings: Mapping[float, float]
    distance: float
    design: np.ndarray

    @cached_property
    def _fitted(self) -> np.ndarray:
        return np.asarray(np.linalg.lstsq(self.design, np.array(list(self.readings.values()), dtype=float), rcond=None)[0])

    @property
    def mean(self) -> float:
        """The reading in m that a plane without tilt would give."""
        return float(self._fitted[0])

    @property
    def tilt(self) -> tuple[float, float]:
        """Tilt in m per m: how fast the plane of light rises towards the front of the instrument, and towards its left."""
        return float(self._fitted[1]), float(self._fitted[2])

    @property
    def steepest(self) -> float:
        """The whole tilt, m per m."""
        return math.hypot(*self.tilt)

    @property
    def misfit(self) -> float:
        """The largest difference in m between a reading and what the tilt says: errors of reading and levelling."""
        return float(np.abs(np.array(list(self.readings.values())) - self.design @ self._fitted).max())

    @property
    def words(self) -> str:
        """What the test says, in sentences."""
        return (f"The plane of light is tilted by {word_mm(self.steepest * 10, digits=2)} in 10 m; turned half round it reads "
                f"up to {word_mm(2 * self.steepest * self.distance, digits=1)} otherwise at {word_distance(self.distance)}. The "
                f"readings fit that within {word_mm(self.misfit, digits=1)}. A tilt goes straight into every fall; "
                "turning the instrument half round and meaning both takes out the part that turns with it.")


def repeat_readings(groups: Sequence[float] | Sequence[Sequence[float]]) -> RepeatReadings:
    """Standard deviation of a reading from readings of the same mark, again and again.

    `groups` holds readings in m of one mark, or a list of such lists, one for each mark; they are pooled. Refuses readings of
    which no mark was read twice, and what is no finite number.

    Source: the pooled estimate of variance, JCGM 100:2008, clause 4.2.4, from memory.

    >>> round(repeat_readings([1.412, 1.413, 1.411, 1.412]).sd * 1000, 2)  # mm: the root of 2/3
    0.82
    """
    rule = "They are a list of readings in m, or a list of such lists."
    if isinstance(groups, (str, bytes)) or not isinstance(groups, (Sequence, np.ndarray)) or not getattr(groups, "shape", (1,)):
        raise SurveyError(f"the readings are {groups!r}", rule=rule)
    nested = [one for one in groups if isinstance(one, (list, tuple, np.ndarray))]
    lists = nested if nested and len(nested) == len(groups) else [groups]
    readings = tuple(tuple(finite(one, "a reading", rule) for one in each) for each in lists)
    if not len(groups):
        raise SurveyError("there are no readings", rule=rule)
    if not any(len(each) > 1 for each in readings):
        raise SurveyError("no mark was read twice", remedy="Read one mark at least five times, lifting the staff between.")
    return RepeatReadings(readings)


@dataclass(frozen=True, eq=False, repr=False)
class RepeatReadings(InWords):
    """Readings in m of the same marks. Made by `repeat_readings`."""

    readings: tuple[tuple[float, ...], ...]

    @property
    def degrees_of_freedom(self) -> int:
        """Readings less marks."""
        return sum(len(each) - 1 for each in self.readings if each)

    @property
    def sd(self) -> float:
        """Pooled standard deviation of one reading, m."""
        squares = [(one - math.fsum(each) / len(each))**2 for each in self.readings for one in each]
        return math.sqrt(math.fsum(squares) / self.degrees_of_freedom)

    def interval(self, sure: float = 0.95) -> tuple[float, float]:
        """The standard deviation lies between these, m, with this confidence (chi-square)."""
        sure = finite(sure, "the confidence", "It lies between 0 and 1.", over=0, under=1)
        from scipy import stats
        low, high = stats.chi2.ppf([(1 + sure) / 2, (1 - sure) / 2], self.degrees_of_freedom)
        return self.sd * math.sqrt(self.degrees_of_freedom / low), self.sd * math.sqrt(self.degrees_of_freedom / high)

    @property
    def words(self) -> str:
        """What the readings say, in a sentence."""
        low, high = self.interval()
        return (f"One reading has a standard deviation of {word_mm(self.sd, digits=2)} ({self.degrees_of_freedom} degrees of "
                f"freedom: 95 % between {word_mm(low, digits=2)} and {word_mm(high, digits=2)}).")
