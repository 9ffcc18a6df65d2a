"""The error budget: how far readings, instrument, tape and laying may be out, each with where the figure comes from."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from html import escape
from statistics import NormalDist
from types import MappingProxyType
from typing import Any

import pandas as pd

from ..errors import SurveyError, finite, must_be
from ..survey.instrument import RepeatReadings, TurnTest, TwoPegTest
from ..survey.reduction import ReducedLevels
from ..wording import html_table, word_number
from .propagation import LevelErrors, propagate
from .published import MEMORY, PRACTICE

SUREST = 0.9999
MANY = 1000.0  # degrees of freedom: from here on Student's t is the normal distribution to a thousandth of k
RESOLUTION = 0.001 / math.sqrt(12)  # m: a reading to the millimetre says no more (JCGM 100:2008, F.2.2.1)


@dataclass(frozen=True)
class Term:
    """A term of the budget: what it is, its unit ("m" or "m/m"), and the source of its default."""

    what: str
    unit: str
    source: str


_LIMIT = "taken as a limit, any value within it as likely (JCGM 100:2008, 4.3.7)"
TERMS: Mapping[str, Term] = MappingProxyType({
    "reading": Term("reading the staff, or the receiver's beep", "m", f"1 mm, {MEMORY}"),
    "placing_hard": Term("placing the staff on a hard mark: DPC, sill, paving, benchmark", "m", f"0.5 mm, {PRACTICE}"),
    "placing_ground": Term("placing the staff on ground or worn paving", "m", f"2 mm, {PRACTICE}"),
    "placing_buried": Term("placing the staff on something at the bottom of a hole", "m", f"3 mm, {PRACTICE}"),
    "backsight": Term("a backsight, placing included", "m", f"as a reading, {MEMORY}"),
    "zero": Term("where the staff's or the receiver's zero is", "m", f"0.5 mm, {PRACTICE}"),
    "tilt_body": Term("tilt of the plane of light that turns with the instrument, on each axis", "m/m",
                      f"3 mm in 30 m, the coarsest figure of a retail overview (quoted by others), {_LIMIT}"),
    "tilt_level": Term("tilt drawn afresh each time the instrument levels itself, on each axis", "m/m",
                       f"0.5 mm in 10 m, {_LIMIT}; {PRACTICE}"),
    "collimation": Term("collimation of a level, or the cone of a laser", "m/m",
                        f"3 mm in 50 m, the limit of the two-peg test in a surveying supplier's method note, {_LIMIT}"),
    "tape": Term("a taped position, each way; counts where the surface slopes", "m", f"10 mm, {PRACTICE}"),
    "laying": Term("laying the finished surface to its level", "m",
                   f"a tolerance of 6 mm either way taken as two standard deviations; {MEMORY}"),
})
"""The terms of `ErrorBudget` by field."""


@dataclass(frozen=True)
class ErrorBudget:
    """Standard deviations of everything that can put a verdict out, and how sure a verdict must be.

    Lengths in m, slopes in m/m; what each means stands in TERMS. The staff is placed on what is `placing_buried` in a hole,
    `placing_ground` on ground, corners and unmarked points, `placing_hard` on everything else. `sure` is the chance with which a
    number just at its limit is not called "met": 0.95 gives k = 1.645, one-sided. `sources` says where one's own figures come
    from.

    Refuses a figure that is negative, not finite or over 0.1, and a `sure` outside 0.5 to SUREST.

    Source: TERMS, figure by figure.

    >>> round(ErrorBudget().k, 3), ErrorBudget(reading=0.002).reading
    (1.645, 0.002)
    """

    reading: float = 0.001
    placing_hard: float = 0.0005
    placing_ground: float = 0.002
    placing_buried: float = 0.003
    backsight: float = 0.001
    zero: float = 0.0005
    tilt_body: float = 0.003 / 30 / math.sqrt(3)
    tilt_level: float = 0.0005 / 10 / math.sqrt(3)
    collimation: float = 0.003 / 50 / math.sqrt(3)
    tape: float = 0.010
    laying: float = 0.003
    sure: float = 0.95
    sources: Mapping[str, str] = field(default_factory=dict, repr=False)

    def __post_init__(self) -> None:
        for name, term in TERMS.items():
            value = finite(getattr(self, name), f"{name} of the error budget", f"It is a standard deviation in {term.unit}.",
                           least=0)
            if value > 0.1:
                raise SurveyError(f"{name} of the error budget is {word_number(value)} {term.unit}",
                                  rule="Nothing on a site is so far out.", remedy="Look at the unit: 1 mm is 0.001 m.")
            object.__setattr__(self, name, value)
        sure = finite(self.sure, "how sure a verdict must be", "It is a chance, e.g. 0.95.")
        if not 0.5 <= sure <= SUREST:
            raise SurveyError(f"how sure a verdict must be is {sure}", rule=f"It lies between 0.5 and {SUREST}, e.g. 0.95.")
        must_be(self.sources, Mapping, "the sources of the error budget")
        object.__setattr__(self, "sources", MappingProxyType(dict(self.sources)))

    @property
    def k(self) -> float:
        """How many standard uncertainties a margin must be wide, one-sided (JCGM 106:2012, 9.5.2, as quoted by others)."""
        return self.k_of(1)

    def k_of(self, places: int, freedom: float = math.inf) -> float:
        """The same for each of so many places, so that all together keep the chance of being wrong (Šidák's share).

        That is exact for places that are independent, cautious where they go together; where they go against each other the
        chance may be a little more (by Bonferroni 5.13 % for 5 % at the most). With a `freedom` that is finite u rests on so many
        degrees of freedom, and k is that of Student's t (JCGM 100:2008, G.4).
        """
        if freedom < MANY:
            from scipy.special import stdtrit  # what scipy.stats takes too, which takes long to load
            return float(stdtrit(freedom, self.sure**(1 / places)))
        return NormalDist().inv_cdf(self.sure**(1 / places))

    @property
    def tilt(self) -> float:
        """Tilt on each axis, both parts together, m/m."""
        return math.hypot(self.tilt_body, self.tilt_level)

    def placing(self, feature: str) -> float:
        """Placing the staff on a point of that feature, m."""
        if feature == "buried":
            return self.placing_buried
        return self.placing_ground if feature in ("", "ground", "corner") else self.placing_hard

    def measured(self, *, pegs: TwoPegTest | None = None, turn: TurnTest | None = None,
                 repeats: RepeatReadings | None = None) -> ErrorBudget:
        """The budget with one's own tests in place of its figures.

        Repeat readings give `reading` and `backsight`; the turn test gives `tilt_body`, half of its square on each axis, for
        nobody books which way the instrument faced; the two-peg test gives `collimation`, what was found and its own
        uncertainty together, for a book that was not corrected.
        """
        own: dict[str, Any] = {}
        if repeats is not None:
            must_be(repeats, RepeatReadings, "repeats")
            own["reading"] = own["backsight"] = max(repeats.sd, RESOLUTION)
        if turn is not None:
            must_be(turn, TurnTest, "turn")
            own["tilt_body"] = turn.steepest / math.sqrt(2)
        if pegs is not None:
            must_be(pegs, TwoPegTest, "pegs")
            own["collimation"] = math.hypot(pegs.collimation, pegs.collimation_sd(own.get("reading", self.reading)))
        told = {"reading": "your repeat readings", "backsight": "your repeat readings", "tilt_body": "your turn test",
                "collimation": "your two-peg test"}
        return replace(self, **own, sources={**self.sources, **{name: told[name] for name in own}})

    def errors(self, reduced: ReducedLevels, *, instruments: Mapping[int, Sequence[float]] | None = None,
               headings: Mapping[int, float] | None = None) -> LevelErrors:
        """What the budget does to the levels of a book.

        Parameters
        ----------
        reduced : ReducedLevels
        instruments : mapping, optional
            Where the instrument stood, (x, y) in m, by set-up from 1. Else a booked row of feature "instrument" says so, or the
            booked sights tell the lengths; or it is taken to have stood in the middle of what was read from it.
        headings : mapping, optional
            By how many degrees it was turned clockwise at each set-up, from 1. Without it nothing is known of that, and the
            tilt that turns with the instrument is drawn afresh at each set-up.

        Refuses a set-up that is not there, and a place that is none.

        Source: JCGM 100:2008, 5.1 and 5.2, linear propagation; exact, for levels are linear in all of it.

        >>> import sitelevels as sl
        >>> rows = "BM,1.000,,,10.000,benchmark\\nA,,1.150,,,\\nBM,,,1.000,,benchmark"
        >>> reduced = sl.reduce_book(sl.read_book(f"point,bs,is,fs,rl,feature\\n{rows}"))
        >>> budget = ErrorBudget(reading=0, placing_hard=0.006, placing_ground=0.004, backsight=0, zero=0, tilt_body=0,
        ...                      tilt_level=0, collimation=0)
        >>> budget.errors(reduced).sd[1:].round(6)  # 4 mm at A, and half of 6 mm, for the HPC is the mean of two shots on BM
        array([0.005])
        """
        must_be(reduced, ReducedLevels, "the reduced levels")
        return propagate(self, reduced, instruments, headings)

    def covariance(self, reduced: ReducedLevels, *, instruments: Mapping[int, Sequence[float]] | None = None,
                   headings: Mapping[int, float] | None = None) -> pd.DataFrame:
        """Covariance of all levels of a book in m², a new table over its points; see `errors`.

        Known levels count as exact. What a taped position adds on a slope is no error of a level, and comes in where planes,
        verdicts and volumes are made from it.
        """
        errors = self.errors(reduced, instruments=instruments, headings=headings)
        return pd.DataFrame(errors.covariance, index=list(errors.points), columns=list(errors.points))

    @property
    def table(self) -> pd.DataFrame:
        """A new table: term, what it is, sd (mm, or mm in 10 m), unit, source."""
        lines = []
        for name, term in TERMS.items():
            scale, unit = (1000, "mm") if term.unit == "m" else (10_000, "mm in 10 m")
            usual = getattr(self, name) == next(one.default for one in fields(self) if one.name == name)
            source = self.sources.get(name, term.source if usual else "your own figure")
            lines.append((name, term.what, getattr(self, name) * scale, unit, source))
        return pd.DataFrame(lines, columns=["term", "what", "sd", "unit", "source"])

    def _repr_html_(self) -> str:
        said = (f"Standard deviations; a number just at its limit is not called met in {word_number(self.sure * 100)} of 100 "
                "cases.")
        return f"<p>{escape(said)}</p>" + html_table(self.table.assign(sd=self.table["sd"].map(
            lambda sd: word_number(sd, figures=2))), words=True)
