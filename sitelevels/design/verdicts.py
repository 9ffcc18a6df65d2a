"""Verdicts: each number of a surface held against its limits, and what would mend it."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from html import escape
from typing import Literal

import numpy as np
import pandas as pd

from ..errors import SurveyError
from ..wording import html_table, true_minus, word_chance, word_change, word_fall, word_mm, word_number, word_share
from .asked import ROUNDING
from .budget import ErrorBudget
from .certainty import biggest_kind, mostly
from .conditions import Condition, Demand
from .published import LIMITS, MEMORY, PRACTICE

MET, TOO_CLOSE, NOT_MET = "met", "too close to call", "not met"


@dataclass(frozen=True)
class Finding:
    """One number of the surface held against one condition; `found` and `margin` in m or m/m.

    Where errors are counted, `u` is the standard uncertainty of the margin, `k` how many of them it must be wide, `sure` the
    chance with which that is right, `kinds` the variance from each of KINDS, `freedom` the degrees that `u` rests on; else `u`
    is None.
    """

    demand: Demand
    condition: Condition
    found: float
    margin: float
    u: float | None = None
    k: float = 0.0
    sure: float = 0.0
    kinds: tuple[float, ...] = ()
    freedom: float = math.inf

    @property
    def give(self) -> float:
        """k·u, m or m/m: nought where errors are not counted."""
        return self.k * (self.u or 0.0)

    @property
    def verdict(self) -> str:
        """On this place alone."""
        return MET if self.margin + ROUNDING >= self.give else NOT_MET if self.margin <= -self.give else TOO_CLOSE

    @property
    def beyond(self) -> bool:
        """Whether its limits lie so near together that no finding between them could be sure."""
        low, high = self.condition.low, self.condition.high
        if low is None and self.condition.of_true_fall:  # which is never less than nought
            return high is not None and self.give > high
        return low is not None and high is not None and 2 * self.give > high - low

    @property
    def aim(self) -> str:
        """What to aim for to be sure of the limit, in a sentence; empty where errors are not counted."""
        if self.u is None:
            return ""
        low, high, sure = self.condition.low, self.condition.high, word_share(self.sure)
        if self.beyond:
            kind, share = biggest_kind(np.array(self.kinds))
            within = self.wide(mostly(self.freedom) * self.u)
            return (f"Finer than levels can show: 19 times of 20 the number is known within {within} either way; "
                    f"{word_share(share)} of the variance is {kind}. What shows it is {self.demand.shown_by}.")
        least = "" if low is None else self._word(low + self.give, never="less")
        most = "" if high is None else self._word(high - self.give, never="more")
        between = true_minus(f"between {least} and {most}" if least and most and least != most else least or most)
        if low is not None and high is not None and low < 0 and least != most and self.demand.unit == "mm":
            between = f"at most {most} either way" if low == -high else self._span(low + self.give, high - self.give, self._word)
        of = self.required.removesuffix(" either way")
        return f"To be {sure} sure of {of}, aim for {between}."

    @property
    def met(self) -> bool:
        """By the margin alone."""
        return self.margin >= -ROUNDING

    @property
    def at_limit(self) -> bool:
        """Whether less than half a millimetre, or a twentieth of a mm/m, is in hand: nothing that a spirit level shows."""
        return self.met and self.margin < (5e-4 if self.demand.unit == "mm" else 5e-5)

    @property
    def required(self) -> str:
        """The limits in words."""
        low, high = self.condition.low, self.condition.high
        if low is not None and high is not None:
            if low == -high:
                return f"at most {self._limit(high)} either way"
            return self._span(low, high, lambda one, _: self._limit(one))
        return true_minus(f"at least {self._limit(low)}" if low is not None else f"at most {self._limit(high or 0.0)}")

    @property
    def found_words(self) -> str:
        """What was found, in words."""
        if self.demand.unit != "mm":
            return word_fall(self.found)
        said, side = word_mm(self.found, digits=1), self.demand.sides[self.found < 0]
        return f"{said.removeprefix('-')} {side}" if side and said != "0.0 mm" else true_minus(said)

    @property
    def in_hand(self) -> str:
        """The margin in words."""
        return true_minus(self.wide(self.margin))

    def _span(self, low: float, high: float, word: Callable[[float, Literal["more", "less"]], str]) -> str:
        """Two lengths as one span, each on the side of nought that the demand has a name for; `word` rounds them inwards."""
        above, below = self.demand.sides
        if low >= 0 or not below:
            return true_minus(f"{word(low, 'less')} to {word(high, 'more')}")
        if high <= 0:
            return f"{word(0.0 - high, 'less')} to {word(0.0 - low, 'more')} {below}"
        return f"{word(0.0 - low, 'more')} {below} to {word(high, 'more')} {above}"

    def _limit(self, value: float) -> str:
        """A limit in words, as fine as it was asked for."""
        return word_mm(value, digits=1).replace(".0 mm", " mm") if self.demand.unit == "mm" else word_fall(value)

    def _word(self, value: float, never: Literal["more", "less"] | None = None) -> str:
        if self.demand.unit == "mm":
            return word_mm(value, never=never)
        steep = (never == "more") == (value > 0)  # to which side of nought the number must not be rounded
        return word_fall(value, never=None if never is None else "steeper" if steep else "flatter")

    def wide(self, value: float) -> str:
        """A length or a difference of falls in words."""
        return word_mm(value, digits=1) + ("" if self.demand.unit == "mm" else "/m")

    @property
    def mend(self) -> str:
        """What would mend it, in a sentence or two; empty where it is met."""
        if self.verdict == MET or (self.u is None and self.met):
            return ""
        return " ".join(part for part in ("" if self.met and self.beyond else self._change, self.aim) if part)

    @property
    def _change(self) -> str:
        """What would bring it to its limit, or as far inside as it takes to be sure."""
        if self.demand.to_mend:
            return self.demand.to_mend.format(place=self.condition.place)
        low, high = self.condition.low, self.condition.high
        below, above = self.condition.room(self.found)
        too_small = below < above
        sure = 0.0 if self.beyond else self.give
        limit = (low if too_small else high) or 0.0
        limit += sure if too_small else -sure
        if self.condition.at is not None:
            way = "Raise" if too_small == (self.condition.sign > 0) else "Lower"
            return f"{way} the finished surface by {word_change(sure - self.margin, 'mm')} at {self.condition.place}."
        way = "Turn" if self.found * limit < 0 else "Steepen" if abs(self.found) < abs(limit) else "Ease"
        wanted = word_fall(limit, never="steeper" if way == "Ease" else "flatter")
        of = "" if self.condition.toward or self.condition.drain else "of "
        return f"{way} the fall {of}{self.condition.place} to {wanted}, a change of {word_change(sure - self.margin, 'mm/m')}."


@dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class Verdicts:
    """What was found for each demand, numbers in m or m/m. Made by `check_finish`, `check_laid`, `lipping`, `lips_by_levels`.

    `worst` holds for each demand the finding nearest to trouble, `everywhere` all of them, with the number of the demand
    (`owners`) of each; `judged` (verdict, chance that it is met) of each demand over all its places, the chance None where
    errors are not counted. `budget` holds the errors that are counted; `few` says that spots were few.
    """

    worst: tuple[Finding, ...]
    everywhere: tuple[Finding, ...]
    owners: tuple[int, ...]
    judged: tuple[tuple[str, float | None], ...]
    budget: ErrorBudget | None = None
    few: bool = False

    @property
    def counted(self) -> str:
        """How many demands are not met or too close to call, in words; empty where all are met."""
        outside = sum(one.margin < -ROUNDING for one, (verdict, _) in zip(self.worst, self.judged, strict=True)
                      if verdict == TOO_CLOSE)
        told = [f"{number} of {len(self.worst)} demands {verdict}" for number, verdict in (
            (self.failed, NOT_MET), (self.too_close, TOO_CLOSE)) if number]
        return ", ".join(told) + (f" ({outside} of them found outside the limit)" if outside else "")

    def places_of(self, number: int) -> list[int]:
        """The rows of `everywhere` that belong to a demand, by its number in `worst`."""
        return [row for row, owner in enumerate(self.owners) if owner == number]

    def worst_row(self, number: int) -> int:
        """The row of `everywhere` that is nearest to trouble for a demand. Raises SurveyError for a demand that is not there."""
        if isinstance(number, bool) or not isinstance(number, (int, np.integer)) or not 0 <= number < len(self.worst):
            raise SurveyError(f"there is no demand number {number!r}", rule=f"They go from 0 to {len(self.worst) - 1}.")
        return next(row for row in self.places_of(int(number)) if self.everywhere[row] is self.worst[number])

    @property
    def basis(self) -> str:
        """What the verdicts go by, in words."""
        if self.budget is None:
            return "By the margin alone: errors of the readings are not counted."
        few = ", more where few spots tell how uneven the surface is" if self.few else ""
        return (f"Errors are counted: 'met' where every margin is at least {word_number(self.budget.k, figures=4)} times its "
                f"standard uncertainty{few}, so that of 100 numbers just at their limit no more than "
                f"{word_number(100 * (1 - self.budget.sure), figures=2)} are called met; 'not met' where one is as far outside "
                "(farther, where there are many places); else too close to call. The give or take is that of one place, the "
                "chance that of all places of a demand together.")

    @property
    def failed(self) -> int:
        """How many demands are not met."""
        return [verdict for verdict, _ in self.judged].count(NOT_MET)

    @property
    def too_close(self) -> int:
        """How many demands are too close to call."""
        return [verdict for verdict, _ in self.judged].count(TOO_CLOSE)

    @property
    def all_met(self) -> bool:
        """Whether every demand is met."""
        return all(verdict == MET for verdict, _ in self.judged)

    @property
    def table(self) -> pd.DataFrame:
        """A new table, a row a demand: demand place required found margin unit u probability verdict mend.

        `found`, `margin` and its standard uncertainty `u` are numbers in `unit`, at the place nearest to trouble; `probability`
        is the chance that the demand is met at all its places; both are empty where errors are not counted.
        """
        lines = [(one.demand.title, one.condition.place, one.required, one.found * 1000, one.margin * 1000, one.demand.unit,
                  None if one.u is None else one.u * 1000, chance_met, verdict, one.mend)
                 for one, (verdict, chance_met) in zip(self.worst, self.judged, strict=True)]
        return pd.DataFrame(lines, columns=["demand", "place", "required", "found", "margin", "unit", "u", "probability",
                                            "verdict", "mend"])

    @property
    def places(self) -> pd.DataFrame:
        """A new table, a row for each place of each demand: demand place found margin unit u verdict, the place's own."""
        lines = [(one.demand.title, one.condition.place, one.found * 1000, one.margin * 1000, one.demand.unit,
                  None if one.u is None else one.u * 1000, one.verdict) for one in self.everywhere]
        return pd.DataFrame(lines, columns=["demand", "place", "found", "margin", "unit", "u", "verdict"])

    @property
    def words(self) -> pd.DataFrame:
        """A new table for reading, every number with its unit: demand place required found margin verdict mend.

        Where errors are counted, `give or take` (k·u) and the chance that it is met, at all its places together, stand before the
        verdict.
        """
        table = pd.DataFrame([(one.demand.title, one.condition.place, one.required, one.found_words, one.in_hand, verdict,
                               one.mend) for one, (verdict, _) in zip(self.worst, self.judged, strict=True)],
                             columns=["demand", "place", "required", "found", "margin", "verdict", "mend"])
        if self.budget is not None:
            table.insert(5, "give or take", [one.wide(one.give) for one in self.worst])
            table.insert(6, "chance, all places", [word_chance(chance_met or 0.0) for _, chance_met in self.judged])
        return table

    @property
    def sources(self) -> pd.DataFrame:
        """A new table of where the usual limits of these demands come from: demand limit source.

        The job may set another limit; this says what is usual and how sure we are of it.
        """
        lines = dict.fromkeys((one.demand.title, f"{one._word(LIMITS[name].value)}: {LIMITS[name].what}", LIMITS[name].source)
                              for one in self.worst for name in one.demand.limits)
        return pd.DataFrame(list(lines), columns=["demand", "limit", "source"])

    @property
    def unsure(self) -> list[tuple[str, str]]:
        """Demands whose usual limit rests on memory or common practice, each with which of the two."""
        return list(dict.fromkeys((one.demand.title, LIMITS[name].confidence) for one in self.worst
                                  for name in one.demand.limits[:1] if LIMITS[name].confidence in (MEMORY, PRACTICE)))

    def __repr__(self) -> str:
        close = "" if self.budget is None else f", {self.too_close} too close to call"
        count = len(self.worst)
        return f"Verdicts on {count} demand{'s' * (count != 1)}, {self.failed} not met{close}"

    def _repr_html_(self) -> str:
        return self.html()

    @property
    def nothing_in_hand(self) -> str:
        """The demands that are met with nothing in hand, in a sentence; empty where there are none, or errors are counted."""
        bare = [f"{one.demand.title} ({one.condition.place})" for one in self.worst if one.u is None and one.at_limit]
        return f"Met with nothing in hand: {', '.join(bare)}. A millimetre's error breaks that: see 5-sensitivity before you " \
               "rely on it." if bare else ""

    @property
    def verdicts_told(self) -> list[str]:
        """The verdict on each demand in words, and whether it is met with nothing in hand."""
        return [f"{verdict}, with nothing in hand" if one.u is None and one.at_limit else verdict
                for (verdict, _), one in zip(self.judged, self.worst, strict=True)]

    def html(self) -> str:
        """The basis, the table `words` and, below it, what has nothing in hand, and what would mend or prove the others."""
        table = self.words
        table["verdict"] = self.verdicts_told
        mends = "".join(f"<li>{escape(f'{demand} ({place}): {mend}')}</li>"
                        for demand, place, mend in zip(table["demand"], table["place"], table["mend"], strict=True) if mend)
        return (f"<details><summary>How this is judged</summary><p>{escape(self.basis)}</p></details>"
                + html_table(table.drop(columns="mend"), words=True)
                + (f"<p>{escape(self.nothing_in_hand)}</p>" if self.nothing_in_hand else "")
                + (f"<ul>{mends}</ul>" if mends else ""))
