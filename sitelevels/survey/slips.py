"""Single slips that would explain why a level book disagrees with itself: suspicions, never applied."""

from __future__ import annotations

import math
import warnings
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from html import escape
from itertools import combinations
from statistics import NormalDist
from typing import Any

import numpy as np
import pandas as pd

from ..errors import SurveyError, SurveyWarning, finite, must_be, plainly
from ..wording import as_booked, digits_of, html_table, last_digit, word_exactly, word_mm
from .book import ALLOWANCES, GROUND_FEATURES, METRES_PER, LevelBook, Row
from .headings import heading_of
from .linking import Sight
from .reduction import ReducedLevels, reduce_book

READING_SD = 0.001  # m: a staff read to the millimetre (common practice, no source); `repeat_readings` gives one's own
CHANCE = 0.01  # of suspecting a book that holds no slip
MOST = 1500  # readings that hang together: the search looks at every one beside every other
SURELY = 4.5  # standard deviations that the right correction leaves at the most, once in a hundred thousand readings
HOPELESS = 9.0  # in logarithms of the chance: what is over 8,000 times less likely than the first is not listed
MOST_TOLD, MOST_LISTED = 5, 30  # rows in one sentence, and in the table
NEIGHBOURS = 8  # spots that a spot left out is held against
ODD_MARK = 0.5  # m: marks of one kind on one wall, steps in a DPC among them, hardly lie farther apart
ODD = 0.010  # m: what the neighbours of a spot on rough ground may leave unexplained

# How likely each kind of slip is beside the others: the judgement of those who wrote this, no source.
_SWAPPED, _APART, _MISREAD, _METRE, _TENTH, _SIGN = 0.30, 0.05, 0.35, 0.12, 0.08, 0.10
_DROPPED = 0.8  # the share of a metre or 100 mm dropped; the rest is one too many
_RARELY_INVERTED = 0.1  # the share of the last kind on points where a staff is seldom held upside down


@dataclass(frozen=True)
class Suspicion:
    """One reading, `booked` and `corrected` in m, and the slip that would have turned the one into the other.

    `leaves` is the largest misclosure or disagreement of repeats that is left then, or how far a spot stands above its
    neighbours as it is, m; `seen_by` is "checks" or "neighbours"; `also` is a second explanation on the same row, in words.
    The words give readings in the `unit` of the book, down to `digit` m, under the `heading` that its column has there.
    """

    row: int
    point: str
    column: str
    booked: float
    corrected: float
    slip: str
    leaves: float
    seen_by: str
    also: str = ""
    unit: str = "m"
    digit: float = 0.001
    heading: str = ""

    def _in_unit(self, reading: float) -> str:
        return f"{word_exactly(reading, METRES_PER[self.unit], digit=self.digit)} {self.unit}"

    @property
    def words(self) -> str:
        """What was perhaps read, in words."""
        return (f"{self.heading or self.column} {self._in_unit(self.booked)} was perhaps {self._in_unit(self.corrected)} "
                f"({self.slip}){self.also}")


def suspect_slips(book: LevelBook, *, allowable: float | str | None = None, reading_sd: float = READING_SD) -> Suspicions:
    """The single slips that would explain a misclosure or a repeat that disagrees, the likeliest first.

    Parameters
    ----------
    book : LevelBook
    allowable : float or str, optional
        As in `reduce_book`.
    reading_sd : float
        Standard deviation of one reading, m.

    Returns
    -------
    Suspicions

    Raises
    ------
    SurveyError
        As `reduce_book` does; and where more than 1,500 readings hang together.

    Notes
    -----
    All readings on points that are known or read more than once are adjusted together by least squares. Correcting reading j
    by δ turns the sum of squared residuals Σv² into Σv² + 2 δ vⱼ + δ² rⱼ, with the redundancy number rⱼ (data snooping: Baarda,
    A testing procedure for use in geodetic networks, 1968, from memory). A slip explains the book if, once it is corrected,
    every check of `reduce_book` passes and no |v|/√r is over 4.5 standard deviations, or a √2nd of what a shot back may be out.
    Those are ranked by fit and by how common each kind of slip is. The search begins where a check fails, or where the largest
    |v|/√r is greater than readings of that standard deviation give once in a hundred books; the standard deviation is taken
    larger where more than the ordinary misclosure is allowed.

    >>> from sitelevels import read_book
    >>> book = read_book("point,bs,is,fs,rl\\nBM,1.412,,,10\\nA,1.238,,1.346,\\nB,1.705,,1.523,\\nBM,,,1.469,")
    >>> first = suspect_slips(book).on_the_line[0]
    >>> first.point, first.column, first.booked, first.corrected, first.slip
    ('A', 'fs', 1.346, 1.364, 'two digits swapped')
    """
    must_be(book, LevelBook, "the book")
    finite(reading_sd, "reading_sd", "It must be over nought, in m.", over=0)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", SurveyWarning)
        reduced = reduce_book(book, allowable=allowable)
    generous = max(1.0, reduced.adjustment.for_one_setup / ALLOWANCES["ordinary"].of(1))
    line = _Line(reduced, reading_sd * generous)
    return Suspicions(reduced, line.disagrees, line.spare > 0, tuple(line.suspicions()) if line.disagrees else ())


@dataclass(frozen=True, eq=False)
class Suspicions:
    """Slips that would explain what the checks of a book say, readings in m. Made by `suspect_slips`.

    `noticed`: the checks disagree by more than readings explain. `checked`: anything is checked at all. `on_the_line`: what would
    explain it, the likeliest first.
    """

    reduced: ReducedLevels
    noticed: bool
    checked: bool
    on_the_line: tuple[Suspicion, ...]

    @cached_property
    def odd_spots(self) -> tuple[Suspicion, ...]:
        """Spots read once that stand off the surface through their neighbours, the oddest first."""
        return tuple(_odd_spots(self.reduced))

    @property
    def table(self) -> pd.DataFrame:
        """A new table, numbered from 1: row point column booked corrected slip leaves seen_by, in m, the likeliest first."""
        names = list(Suspicion.__dataclass_fields__)
        table = pd.DataFrame([vars(one) for one in (*self.on_the_line, *self.odd_spots)], columns=names)
        table.index = pd.RangeIndex(1, len(table) + 1)
        return table

    @property
    def said(self) -> str:
        """What the checks say, in a sentence or two."""
        if not self.checked:
            return "No point is read twice and nothing closes, so no slip can show."
        if not self.noticed:
            return "The checks agree as well as the readings can: no slip shows on the line."
        if not self.on_the_line:
            return ("The checks disagree, and no single slip explains it: look for two slips, a change point held at two places, "
                    "or an instrument that moved.")
        told = "; or at ".join(f"row {one.row}, point {one.point}: {one.words}" for one in self.on_the_line[:MOST_TOLD])
        more = len(self.on_the_line) - MOST_TOLD
        rest = f" {more} more row{'s' if more > 1 else ''} could explain it." if more > 0 else ""
        only = " Only reading again tells which." if len(self.on_the_line) > 1 else ""
        return plainly(f"The checks disagree. Look first at {told}.{rest}{only}")

    @property
    def words(self) -> tuple[str, ...]:
        """What was found, in sentences: by the checks, and among the spots that no check sees."""
        once = len(read_once(self.reduced))
        unseen = (f"{once} intermediate sight{'s are' if once > 1 else ' is'} on points read once, where no closing shot sees a "
                  "slip. Where their places are known they are held against the surface through their neighbours, which shows "
                  "large slips only.") if once else ""
        odd = [plainly(f"Row {one.row}, point {one.point}, stands {word_mm(abs(one.leaves))} "
                       f"{'above' if one.leaves > 0 else 'below'} its neighbours: "
                       f"{one.words if one.booked != one.corrected else one.slip + one.also}.") for one in self.odd_spots]
        return tuple(filter(None, [self.said, unseen, *odd]))

    def __repr__(self) -> str:
        return "\n".join(self.words)

    def _repr_html_(self) -> str:
        told = "".join(f"<p>{escape(sentence)}</p>" for sentence in self.words)
        return told + (html_table(self.table, index=True, words=True) if len(self.table) else "")


class _Line:
    """The readings that check each other, adjusted together: HPC of each set-up and level of each point from all of them."""

    def __init__(self, reduced: ReducedLevels, reading_sd: float) -> None:
        self.reduced, self.sd = reduced, reading_sd
        known, linkage = reduced.book.known, reduced.linkage
        times = Counter(map(linkage.point, linkage.sights))
        self.sights = [sight for sight in linkage.sights if linkage.point(sight) in known or times[linkage.point(sight)] > 1]
        if len(self.sights) > MOST:
            raise SurveyError(f"{len(self.sights)} readings hang together", rule=f"Slips are sought among up to {MOST}.",
                              remedy="Look at a part of the book at a time.")
        columns: dict[int | str, int] = {}
        for sight in self.sights:
            columns.setdefault(sight.setup, len(columns))
            if (point := linkage.point(sight)) not in known:
                columns.setdefault(point, len(columns))
        self.spare = len(self.sights) - len(columns)
        design = np.zeros((len(self.sights), len(columns)))
        told = np.empty(len(self.sights))
        base = next(iter(known.values()))
        for place, sight in enumerate(self.sights):
            design[place, columns[sight.setup]] = 1.0
            told[place] = sight.reading
            if (point := linkage.point(sight)) in known:
                told[place] += known[point] - base
            else:
                design[place, columns[point]] = -1.0
        q = np.linalg.qr(design)[0]
        self.free = np.eye(len(self.sights)) - q @ q.T  # what an error in one reading leaves in the residuals of all
        self.residuals = self.free @ told
        self.redundancy = np.clip(np.diag(self.free), 0.0, 1.0)
        self.passes = max(reduced.adjustment.steady / math.sqrt(2), SURELY * self.sd)  # of |v|/√r
        self.unit, self.digit = _unit_and_digit(reduced.book)

    @property
    def disagrees(self) -> bool:
        """Whether a check fails, or all agree worse than readings of this standard deviation would."""
        if self.spare < 1:
            return False
        failed = any(doubt != self.reduced.hand_slip for doubt in self.reduced.doubts)
        return failed or bool(self._largest(self.residuals) > self.sd * NormalDist().inv_cdf(1 - CHANCE / 2 / self.spare))

    def _largest(self, residuals: np.ndarray) -> float:
        seen = self.redundancy > 1e-9
        return float(np.max(np.abs(residuals[seen]) / np.sqrt(self.redundancy[seen]), initial=0.0))

    def suspicions(self) -> list[Suspicion]:
        """The best explanation that each row has, the likeliest first."""
        # as likely but for the last binary digits, which differ from machine to machine: in the order of booking
        candidates = sorted(self._candidates(), key=lambda one: (-int(one[0] * 1e6), one[1].row))
        ranked: dict[int, Suspicion] = {}
        found: set[tuple[int, str]] = set()
        worst = -math.inf
        for score, sight, corrected, slip in candidates[:MOST]:
            row, column = _booked(self.reduced, sight)
            if score <= worst or len(ranked) == MOST_LISTED:
                break
            if (row.number, column) in found or (leaves := self._leaves(row, column, corrected)) is None:
                continue
            found.add((row.number, column))
            worst = max(worst, score - HOPELESS)
            one = Suspicion(row.number, row.point, column, sight.reading, corrected, slip, leaves, "checks", unit=self.unit,
                            digit=self.digit, heading=heading_of(self.reduced.book.columns, row, column))
            if row.number in ranked:  # a change point: its other reading stands behind the likelier one
                ranked[row.number] = replace(ranked[row.number], also=f", or {one.words}")
            else:
                ranked[row.number] = one
        return list(ranked.values())

    def _candidates(self) -> Iterator[tuple[float, Sight, float, str]]:
        """Slips that leave nothing much, with their score in logarithms of the chance, and the corrected reading in m."""
        whole = float(self.residuals @ self.residuals)
        for place, sight in enumerate(self.sights):
            redundancy = self.redundancy[place]
            if redundancy < 1e-9:
                continue
            for corrected, slip, prior in _slips(_booked(self.reduced, sight)[0], sight.reading, self.unit, self.digit):
                change = corrected - sight.reading
                squares = whole + 2 * change * self.residuals[place] + change**2 * redundancy
                own = abs(self.residuals[place] + change * redundancy)
                if squares <= whole and own <= self.passes * math.sqrt(redundancy) and (
                        self._largest(self.residuals + change * self.free[place]) <= self.passes):
                    yield math.log(prior) - squares / (2 * self.sd**2), sight, corrected, slip

    def _leaves(self, row: Row, column: str, corrected: float) -> float | None:
        """The largest disagreement in m with one reading corrected; None where a check of the book still fails."""
        changes: dict[str, Any] = {"is_" if column == "is" else column: corrected}
        changed = replace(row, **changes)
        book = replace(self.reduced.book, rows=tuple(changed if one is row else one for one in self.reduced.book.rows))
        adjustment = self.reduced.adjustment
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", SurveyWarning)
            again, shared = (reduce_book(book, adjust=how, allowable=adjustment.allowable) for how in (None, adjustment.adjust))
        if any(doubt not in (again.hand_slip, shared.hand_slip) for doubt in (*again.doubts, *shared.doubts)):
            return None
        found = [abs(value) for value in (*again.closures["misclosure"], *again.stability["difference"])]
        return max((*found, *again.spots()["spread"]), default=0.0)


def _unit_and_digit(book: LevelBook) -> tuple[str, float]:
    """The unit in which the readings of a book were booked, and their last digit in m."""
    unit = book.unit_of("bs")
    return unit, last_digit([value for row in book.rows for _, value in row.readings()], METRES_PER[unit])


def _booked(reduced: ReducedLevels, sight: Sight) -> tuple[Row, str]:
    row = reduced.linkage.rows[sight.row]
    return row, "bs" if sight.place == 0 else "is" if row.is_ is not None else "fs"


def _slips(row: Row, reading: float, unit: str, digit: float) -> Iterator[tuple[float, str, float]]:
    """What could have been meant by a reading, in m, the slip that was made, and how likely it is beforehand.

    The reading was booked in `unit`, down to `digit` m.
    """
    per = METRES_PER[unit]
    sign, digits = (-1.0 if reading < 0 else 1.0), digits_of(reading, digit)
    pairs = [(i, j) for i, j in combinations(range(len(digits)), 2) if digits[i] != digits[j]]
    beside = sum(j == i + 1 for i, j in pairs)
    for i, j in pairs:
        swapped = [*digits]
        swapped[i], swapped[j] = digits[j], digits[i]
        prior = _SWAPPED / beside if j == i + 1 else _APART / (len(pairs) - beside)
        yield as_booked(sign * int("".join(swapped)) * digit, per), "two digits swapped", prior
    for place, old in enumerate(digits):
        for new in "0123456789":
            if new != old:
                misread = digits[:place] + new + digits[place + 1:]
                meant = as_booked(sign * int(misread) * digit, per)
                yield meant, f"a digit misread, {old} for {new}", _MISREAD / 9 / len(digits)
    whole, named = (per, ("1 ft", "a tenth of a foot")) if per == METRES_PER["ft"] else (1.0, ("1 m", "100 mm"))
    for step, name, prior in ((whole, named[0], _METRE), (whole / 10, named[1], _TENTH)):
        yield as_booked(reading + sign * step, per), f"{name} dropped", prior * _DROPPED
        if abs(reading) > step:
            yield as_booked(reading - sign * step, per), f"{name} too much", prior * (1 - _DROPPED)
    likely = 1.0 if row.feature == "dpc" or "upside" in row.remarks or "inverted" in row.remarks else _RARELY_INVERTED
    yield -reading, "the sign lost" if reading > 0 else "a sign too much", _SIGN * likely


def read_once(reduced: ReducedLevels) -> list[Sight]:
    """Intermediate sights on points that are neither known nor read again."""
    linkage = reduced.linkage
    times = Counter(map(linkage.point, linkage.sights))
    return [sight for sight in linkage.sights
            if sight.place and times[linkage.point(sight)] == 1 and linkage.point(sight) not in reduced.book.known]


def _odd_spots(reduced: ReducedLevels) -> Iterator[Suspicion]:
    """Spots read once that stand off their neighbours or their like, with the slip that would explain it, the oddest first."""
    sights = {reduced.linkage.point(sight): sight for sight in read_once(reduced)}
    rows = {row.point: row for row in reduced.linkage.rows if row.point in sights}
    levels = {name: reduced.linkage.setups[sight.setup].hpc - sight.reading for name, sight in sights.items()}
    unit, digit = _unit_and_digit(reduced.book)
    for name, off, rough in sorted((*_odd_ground(rows, levels), *_odd_marks(rows, levels)), key=lambda one: -abs(one[1])):
        row, sight = rows[name], sights[name]
        fits = [(prior, corrected, slip) for corrected, slip, prior in _slips(row, sight.reading, unit, digit)
                if abs(off - (corrected - sight.reading)) <= rough]
        _, corrected, slip = max(fits, default=(0.0, sight.reading, "no simple slip explains it"))
        column = _booked(reduced, sight)[1]
        yield Suspicion(row.number, row.point, column, sight.reading, corrected, slip, off, "neighbours",
                        f", or {'the ground' if row.feature in GROUND_FEATURES else 'it'} is so", unit, digit,
                        heading_of(reduced.book.columns, row, column))


def _odd_ground(rows: Mapping[str, Row], levels: Mapping[str, float]) -> Iterator[tuple[str, float, float]]:
    """Spots of the ground off the plane through their neighbours: point, m above it, and how exactly that is known, m."""
    names = [name for name, row in rows.items() if row.x is not None and row.feature in GROUND_FEATURES]
    if len(names) <= NEIGHBOURS:
        return
    places = np.array([(rows[name].x, rows[name].y) for name in names], dtype=float)
    found = np.array([levels[name] for name in names])
    off = _off_the_neighbours(places, found, np.ones(len(names), dtype=bool))
    rough = 1.4826 * float(np.median(np.abs(off)))  # the standard deviation, were they normal
    odd = np.abs(off) > max(ODD, 4 * rough)
    off = _off_the_neighbours(places, found, ~odd)  # so that an odd spot does not make its neighbours odd
    yield from ((name, float(one), max(ODD, 2 * rough)) for name, one in zip(names, off, strict=True)
                if abs(one) > max(ODD, 4 * rough))


def _odd_marks(rows: Mapping[str, Row], levels: Mapping[str, float]) -> Iterator[tuple[str, float, float]]:
    """Marks of one kind on one wall (a DPC, an edge) far off their middle: a lost sign, a metre."""
    alike: dict[tuple[str, str], list[str]] = {}
    for name, row in rows.items():
        if row.feature not in GROUND_FEATURES:
            alike.setdefault((row.feature, row.wall), []).append(name)
    for names in alike.values():
        middle = float(np.median([levels[name] for name in names]))
        if len(names) > 2:
            yield from ((name, levels[name] - middle, ODD_MARK) for name in names if abs(levels[name] - middle) > ODD_MARK)


def _off_the_neighbours(places: np.ndarray, levels: np.ndarray, trusted: np.ndarray) -> np.ndarray:
    """Level of each spot above the plane through its nearest trusted neighbours, itself left out, m."""
    from scipy.spatial import cKDTree
    trusted = trusted if trusted.sum() > NEIGHBOURS else np.ones(len(levels), dtype=bool)
    use = np.flatnonzero(trusted)
    _, near = cKDTree(places[use]).query(places, k=NEIGHBOURS + 1)
    own = use[near] == np.arange(len(levels))[:, None]
    own[~own.any(axis=1), -1] = True  # where a spot is not among its neighbours, the farthest is left out
    beside = use[near][~own].reshape(len(levels), NEIGHBOURS)
    design = np.concatenate([np.ones((*beside.shape, 1)), places[beside] - places[:, None]], axis=2)
    return np.asarray(-np.einsum("ij,ij->i", np.linalg.pinv(design)[:, 0], levels[beside] - levels[:, None]))
