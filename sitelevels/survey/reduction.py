"""Reduced levels by height of collimation and by rise and fall, always both, with every check on them."""

from __future__ import annotations

import math
import warnings
from dataclasses import dataclass
from functools import cached_property
from html import escape
from itertools import pairwise
from typing import Any

import numpy as np
import pandas as pd

from ..errors import SurveyError, SurveyWarning, finite, must_be, plainly, rows_named
from ..wording import html_table, word_level, word_mm
from .adjustment import Adjust, Adjustment, Closure
from .book import ALLOWANCES, LevelBook, Row
from .linking import EXACT, Linkage, Sight, gives_level, link

SAME_SPOT = 0.005  # m: repeats of one point that differ by more are refused (common practice, no source)
SAME_IN_A_HOLE = 0.015  # m: the same for what is buried, where the staff finds no firm place (common practice, no source)
MOST_READINGS = 3000  # a table of what each does to each level takes 72 MB
ROUTES_AGREE = 1e-6  # m: a thousandth of a millimetre, far below any digit that is booked


def reduce_book(book: LevelBook, *, adjust: Adjust = "setups", allowable: float | str | None = None) -> ReducedLevels:
    """Reduced levels of a book by height of collimation and by rise and fall.

    Parameters
    ----------
    book : LevelBook
    adjust : {"setups", "distance", None}
        How runs of two or more set-ups between known levels share their misclosure: every shot from set-up k of n
        carries k/n of it, or the share of the sights' length up to the end of that set-up; None shares nothing. Repeat
        sights on a set-up's own backsight point are meaned with the backsight instead. Nothing outside its allowance is
        shared out or meaned.
    allowable : float or str, optional
        Greatest misclosure in m, or a name from `ALLOWANCES`; 5 mm × √set-ups if not given.

    Returns
    -------
    ReducedLevels

    Raises
    ------
    SurveyError
        If no level is known, or set-ups are linked to none; names every such row.

    Warns
    -----
    SurveyWarning
        If a hand-worked level is wrong: names the first such row.

    Notes
    -----
    Booking, both routes and the arithmetic checks are those of any survey textbook; the share k/n is that of the worked
    example of Universiti Sains Malaysia, School of Civil Engineering (height of collimation, five set-ups).

    >>> from sitelevels import read_book
    >>> reduced = reduce_book(read_book("point,bs,is,fs,rl\\nBM,1.500,,,10.000\\nA,,1.625,,\\nBM,,,1.501,"))
    >>> round(reduced.misclosure, 3), reduced.closes
    (-0.001, True)
    """
    must_be(book, LevelBook, "the book")
    if adjust not in ("setups", "distance", None):
        raise SurveyError(f"the adjustment {adjust!r} is not known", rule="It can be 'setups', 'distance' or None.")
    if isinstance(allowable, str) and allowable not in ALLOWANCES:
        raise SurveyError(f"the allowance {allowable!r} is not known", rule=f"It can be {', '.join(ALLOWANCES)}, or metres.")
    if allowable is not None and not isinstance(allowable, str):
        allowable = finite(allowable, "the allowance", "It is a length in m, e.g. 0.005, or a name.", least=0)
    rows = tuple(row for row in book.rows if (row.bs, row.is_, row.fs) != (None, None, None))
    reduced = ReducedLevels(book, Adjustment(link(rows, book.known), book.known, adjust, allowable))
    reduced.adjustment.closures, reduced._adjusted  # noqa: B018 - a run that cannot be shared out is refused now, not later
    if reduced.hand_slip:
        warnings.warn(reduced.hand_slip, SurveyWarning, stacklevel=2)
    return reduced


@dataclass(frozen=True, eq=False)
class ReducedLevels:
    """Reduced levels with their checks, in m. Made by `reduce_book`."""

    book: LevelBook
    adjustment: Adjustment

    @property
    def linkage(self) -> Linkage:
        """How the set-ups hang together."""
        return self.adjustment.linkage

    @property
    def _rows(self) -> tuple[Row, ...]:
        return self.linkage.rows

    def _level_sights(self) -> list[Sight]:
        """The sight that gives each row its level: its foresight or intermediate sight, else its backsight."""
        chosen = {sight.row: sight for sight in reversed(self.linkage.sights)}  # the first on its row
        return [chosen[index] for index in range(len(self._rows))]

    @cached_property
    def _levels(self) -> list[float]:
        """By height of collimation: HPC − reading."""
        return [self.linkage.setups[sight.setup].hpc - sight.reading for sight in self._level_sights()]

    @cached_property
    def _by_rise_and_fall(self) -> dict[Sight, float]:
        return self.linkage.rise_and_fall(self.book.known)

    @cached_property
    def _adjusted(self) -> list[float]:
        if self.adjustment.adjust is None:
            return self._levels
        missed = {closure.sight for closure in self.adjustment.closures if not closure.closes}
        return [known if (known := self.book.known.get(self.linkage.point(sight))) is not None and sight not in missed
                else self._level_of(sight) for sight in self._level_sights()]

    def _level_of(self, sight: Sight) -> float:
        """Level that one sight gives its point, m, with what its set-up is corrected by."""
        correction = self.adjustment.corrections[self._carrier(sight)] if self.adjustment.adjust is not None else 0.0
        return self.linkage.setups[sight.setup].hpc - sight.reading + correction

    def _carrier(self, sight: Sight) -> int:
        """The set-up whose correction a sight's level carries: of a level that was carried in, the one that gave it."""
        setup = self.linkage.setups[sight.setup]
        return setup.source.setup if sight is setup.anchor and setup.source is not None else sight.setup

    def influence(self) -> tuple[tuple[str, ...], list[Sight], np.ndarray]:
        """How each reading moves each level: points (n,), sights (m,), metres for each metre (n, m).

        Levels are linear in the readings, misclosures shared out and repeats meaned as they were; known levels do not move.
        Raises SurveyError for a book of more than MOST_READINGS.
        """
        sights = self.linkage.sights
        if len(sights) > MOST_READINGS:
            raise SurveyError(f"the book has {len(sights)} readings", rule=f"Errors are worked out for {MOST_READINGS} at most.",
                              remedy="Work them out for a part of the book.")
        units = dict(zip(sights, np.eye(len(sights)), strict=True))
        hpc, corrections = self.adjustment.carried(units.__getitem__, lambda _: np.zeros(len(sights)))
        moves = np.zeros((len(self._determinations), len(sights)))
        for number, (point, given) in enumerate(self._determinations.items()):
            if point not in self.book.known:
                for sight in given:
                    shared = corrections[self._carrier(sight)] if self.adjustment.adjust is not None else 0.0
                    moves[number] += (hpc[sight.setup] - units[sight] + shared) / len(given)
        return tuple(self._determinations), sights, moves

    @property
    def table(self) -> pd.DataFrame:
        """A new table in booking order: point feature x y bs is fs rise fall hpc level adjusted_level remarks, in m."""
        table = self.book.table.loc[[row.number for row in self._rows]]
        rise, fall, hpc = ([math.nan] * len(self._rows) for _ in range(3))  # empty cells of a table, never levels
        for setup in self.linkage.setups:
            hpc[setup.back.row] = setup.hpc
            for previous, sight in pairwise(setup.sights):
                step = previous.reading - sight.reading
                rise[sight.row], fall[sight.row] = (step, math.nan) if step >= 0 else (math.nan, -step)
        columns = ["point", "feature", "x", "y", "bs", "is", "fs"]
        return table[columns].assign(rise=rise, fall=fall, hpc=hpc, level=self._levels, adjusted_level=self._adjusted,
                                     remarks=table["remarks"])

    @property
    def closures(self) -> pd.DataFrame:
        """A new table of the checks on known levels: from to setups misclosure allowable closes (m)."""
        lines = [(self.linkage.point(one.start), self.linkage.point(one.sight),
                  len(one.path), one.misclosure, one.allowable, one.closes) for one in self.adjustment.closures]
        return pd.DataFrame(lines, columns=["from", "to", "setups", "misclosure", "allowable", "closes"])

    @property
    def misclosure(self) -> float | None:
        """Observed minus known level at the last closure, in m; None where nothing closes on a known level."""
        return self.adjustment.closures[-1].misclosure if self.adjustment.closures else None

    @property
    def allowable(self) -> float | None:
        """Allowance for the last closure, in m; None where there is none."""
        return self.adjustment.closures[-1].allowable if self.adjustment.closures else None

    @property
    def closes(self) -> bool | None:
        """Whether the last closure is within its allowance; None where there is none."""
        return self.adjustment.closures[-1].closes if self.adjustment.closures else None

    @property
    def closing(self) -> str:
        """What the closures say, in a sentence: the last of them, and every one that does not close."""
        if not self.adjustment.closures and any(row.feature == "line" for row in self.book.rows):
            return "It was read from a line, so there is no closing sight: read some points again at the end, and compare."
        if not self.adjustment.closures:
            return "Nothing closes on a known level, so a slip would not show: read the benchmark again at the end."
        failed = [one for one in self.adjustment.closures if not one.closes]
        told = [self._told(one) for one in failed or self.adjustment.closures[-1:]]
        return " ".join([*told, "Find the slip before you dig." if failed else "It closes."])

    def _told(self, one: Closure) -> str:
        side = "high" if one.misclosure > EXACT else "low" if one.misclosure < -EXACT else "out"
        verdict = "" if one.closes else ", so it does NOT close"
        return plainly(f"The level found at {self.linkage.point(one.sight)}, carried from {self.linkage.point(one.start)} over "
                f"{len(one.path)} set-up{'s' if len(one.path) > 1 else ''}, is {word_mm(abs(one.misclosure), digits=1)} {side}; "
                f"{word_mm(one.allowable, digits=1)} is allowed{verdict}.")

    @property
    def doubts(self) -> tuple[str, ...]:
        """Sentences on every check that failed: closures, unsteady set-ups, points with two levels, hand-worked levels."""
        found = [self._told(one) for one in self.adjustment.closures if not one.closes]
        found += [f"Set-up {setup}: on {point} the instrument moved or settled by {word_mm(abs(difference), digits=1)}, or one "
                  "of the two readings is wrong. Read that set-up's points again."
                  for setup, point, difference, steady in self.stability.itertuples(index=False, name=None) if not steady]
        for point in self._determinations:
            try:
                self._mean_level(point)
            except SurveyError as error:
                found += error.problems
        return (*map(plainly, found), *filter(None, [self.hand_slip]))

    @property
    def stability(self) -> pd.DataFrame:
        """A new table of repeat sights on a set-up's own backsight point: setup point difference (m), steady.

        The difference is the level found again minus the level carried in; set-ups count from 1.
        """
        lines = []
        for number, setup in enumerate(self.linkage.setups):
            for sight in self.linkage.repeats(number):
                difference = setup.back.reading - sight.reading
                steady = abs(difference) <= self.adjustment.steady + EXACT
                lines.append((number + 1, self.linkage.point(sight), difference, steady))
        return pd.DataFrame(lines, columns=["setup", "point", "difference", "steady"])

    @property
    def steadiness(self) -> tuple[str, ...]:
        """A sentence for each set-up: by how much the instrument moved or settled, or the closing shot that is asked for."""
        told = []
        closed = {one.path[-1] for one in self.adjustment.closures}
        for number, setup in enumerate(self.linkage.setups):
            back, again = self._rows[setup.back.row], self.linkage.repeats(number)
            where = f"Set-up {number + 1}, from row {back.number}:"
            if back.feature == "line":
                told.append(f"{where} measured from a line of known level, {back.point}.")
            elif again:
                moved = max(abs(setup.back.reading - sight.reading) for sight in again)
                alone = ", which reading alone can do" if moved <= self.adjustment.steady + EXACT else ""
                said = f"the instrument moved or settled by {word_mm(moved, digits=1)}{alone}" if moved > EXACT else "the same"
                told.append(f"{where} {back.point} read again: {said}.")
            elif number in closed:
                told.append(f"{where} it ends on a known level.")
            else:
                told.append(f"{where} no shot back to {back.point} at its end, so an instrument that settles would not show. "
                            "Read it again before the instrument moves.")
        return tuple(map(plainly, told))

    @property
    def sums(self) -> pd.DataFrame:
        """A new table, a row for each unbroken run: run sum_bs sum_fs sum_rise sum_fall first last, in m.

        A last shot booked as intermediate counts as the closing foresight.
        """
        lines = []
        for run, numbers in enumerate(self.linkage.runs(), start=1):
            setups = [self.linkage.setups[number] for number in numbers]
            steps = [previous.reading - sight.reading for setup in setups for previous, sight in pairwise(setup.sights)]
            lines.append((run, sum(setup.back.reading for setup in setups), sum(setup.sights[-1].reading for setup in setups),
                          sum(step for step in steps if step > 0), -sum(step for step in steps if step < 0),
                          setups[0].hpc - setups[0].back.reading, setups[-1].hpc - setups[-1].sights[-1].reading))
        return pd.DataFrame(lines, columns=["run", "sum_bs", "sum_fs", "sum_rise", "sum_fall", "first", "last"])

    @property
    def arithmetic(self) -> pd.DataFrame:
        """A new table of the sums that must agree: run check left right agrees, in m.

        The last check of each run covers the intermediate sights, which the height of collimation alone does not; its
        right side and that of rise and fall are taken from the levels by the second route.
        """
        lines = []
        for (run, bs, fs, rise, fall, first, last), numbers in zip(
                self.sums.itertuples(index=False, name=None), self.linkage.runs(), strict=True):
            setups = [self.linkage.setups[number] for number in numbers]
            shots = [(setup, sight) for setup in setups for sight in setup.sights[1:]]
            second = self._by_rise_and_fall
            lines += [(run, "ΣBS − ΣFS = last − first", bs - fs, last - first),
                      (run, "Σrise − Σfall = last − first", rise - fall, second[setups[-1].sights[-1]] - second[setups[0].back]),
                      (run, "Σ(HPC × shots) − Σ(IS + FS) = Σ levels",
                       sum(setup.hpc for setup, _ in shots) - sum(sight.reading for _, sight in shots),
                       sum(second[sight] for _, sight in shots))]
        table = pd.DataFrame(lines, columns=["run", "check", "left", "right"])
        return table.assign(agrees=(table["left"] - table["right"]).abs() <= ROUTES_AGREE)

    @property
    def hand_levels(self) -> pd.DataFrame:
        """A new table of hand-worked levels against ours, before adjustment: row point hand_level level difference agrees.

        In m; a hand level agrees within half of the last digit to which the column is written.
        """
        return pd.DataFrame(self._hand, columns=["row", "point", "hand_level", "level", "difference", "agrees"])

    @cached_property
    def _hand(self) -> list[tuple[int, str, float, float, float, bool]]:
        return [(row.number, row.point, row.hand_level, level, row.hand_level - level,
                 abs(row.hand_level - level) <= self.book.hand_digit / 2 + EXACT)
                for row, level in zip(self._rows, self._levels, strict=True) if row.hand_level is not None]

    @property
    def hand_slip(self) -> str | None:
        """A sentence on the first hand-worked level that is wrong; None if all agree or there are none."""
        wrong = [line for line in self._hand if not line[-1]]
        if not wrong:
            return None
        number, point, hand_level, level, difference, _ = wrong[0]
        side = "high" if difference > 0 else "low"
        later = len(wrong) - 1
        others = f" {later} later hand-worked level{' is' if later == 1 else 's are'} wrong too." if later else ""
        return plainly(f"Row {number}, point {point}: the hand-worked level {word_level(hand_level)} is "
                f"{word_mm(abs(difference), digits=1)} too {side}; the readings give {word_level(level)}."
                f"{others}")

    @cached_property
    def _determinations(self) -> dict[str, list[Sight]]:
        """Sights that give each point a level, a known one any level."""
        given: dict[str, list[Sight]] = {}
        for sight in self.linkage.sights:
            point = self.linkage.point(sight)
            if point in self.book.known or gives_level(self._rows, self.linkage.setups[sight.setup], sight):
                given.setdefault(point, []).append(sight)
        return given

    def _mean_level(self, point: str) -> tuple[float, int, float]:
        """Level, number and spread of the levels of a point; a known point keeps its known level."""
        sights = self._determinations[point]
        levels = [self._level_of(sight) for sight in sights]
        spread = max(levels) - min(levels)
        if point in self.book.known:
            return self.book.known[point], len(levels), spread
        allowed = SAME_IN_A_HOLE if self.about[point]["feature"] == "buried" else SAME_SPOT
        if spread > allowed + EXACT:
            pair = sorted((levels.index(min(levels)), levels.index(max(levels))))
            numbers = [self._rows[sights[place].row].number for place in pair]
            raise SurveyError(f"the levels {word_level(levels[pair[0]])} and {word_level(levels[pair[1]])} of one point differ "
                              f"by {word_mm(spread, digits=1)}", where=f"{rows_named(dict.fromkeys(numbers))}, point {point}",
                              rule=f"Repeats within {word_mm(allowed)} are meaned.",
                              remedy="Read it again, or if these are two places give the second a name of its own.")
        return sum(levels) / len(levels), len(levels), spread

    def level(self, point: str) -> float:
        """Adjusted level of a point in m: known, or the mean of its repeats.

        Raises SurveyError for a point that was not read and for repeats more than 5 mm apart, 15 mm of what is buried.
        """
        if point not in self._determinations:
            raise SurveyError(f"the point {point!r} was not read", rule=f"Points read: {', '.join(self._determinations)}.")
        return self._mean_level(point)[0]

    @cached_property
    def about(self) -> dict[str, dict[str, Any]]:
        """What the book says of each point: its feature, x and y (m, or None), the last that was booked."""
        said: dict[str, dict[str, Any]] = {}
        for row in self.book.rows:
            known = said.setdefault(row.point, {"feature": "", "x": None, "y": None})
            known.update({name: value for name, value in (("feature", row.feature), ("x", row.x), ("y", row.y))
                          if value not in ("", None)})
        return said

    def spots(self, feature: str | None = None) -> pd.DataFrame:
        """A new table, one row a point: point feature x y level n spread, in m; n counts the shots that were meaned.

        `feature` keeps only such points ("" keeps those with none). Raises SurveyError, all at once, for repeats more
        than 5 mm apart.
        """
        lines, faults = [], []
        said = self.about
        for point in self._determinations:
            if feature is None or said[point]["feature"] == feature:
                try:
                    lines.append((point, said[point]["feature"], said[point]["x"], said[point]["y"], *self._mean_level(point)))
                except SurveyError as error:
                    faults.append(error)
        if faults:
            raise SurveyError.together(faults)
        table = pd.DataFrame(lines, columns=["point", "feature", "x", "y", "level", "n", "spread"])
        return table.astype({"x": float, "y": float})

    def __repr__(self) -> str:
        return f"ReducedLevels of {len(self._rows)} rows. {self.closing}"

    def _repr_html_(self) -> str:
        closed = f"<p>{escape(self.closing)}</p>"
        slip = f"<p>{escape(self.hand_slip)}</p>" if self.hand_slip else ""
        columns = ["point", "bs", "is", "fs", "rise", "fall", "hpc", "level", "adjusted_level", "remarks"]
        return closed + slip + "<p>All in m.</p>" + html_table(self.table[columns], index=True, words=True)
