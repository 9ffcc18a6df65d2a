"""Does a finished surface do what the brief demands, where does it fail, and what would mend it?"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from html import escape
from itertools import pairwise

import pandas as pd
import shapely

from ..errors import SurveyError, must_be
from ..surface.facet import REACH, Facet
from ..surface.finish import Finish
from ..wording import html_table, word_change, word_distance, word_fall, word_mm
from .brief import Brief
from .conditions import Condition, Corners, Demand
from .demands import FallToDrain
from .published import LIMITS, MEMORY, PRACTICE

ROUNDING = 1e-6  # m or m/m: a margin of minus a thousandth of a millimetre is still met


@dataclass(frozen=True)
class Finding:
    """One number of the surface held against one condition; `found` and `margin` in m or m/m."""

    demand: Demand
    condition: Condition
    found: float
    margin: float

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
                return f"at most {self._word(high)} either way"
            return f"{self._word(low)} to {self._word(high)}"
        return f"at least {self._word(low)}" if low is not None else f"at most {self._word(high or 0.0)}"

    @property
    def found_words(self) -> str:
        """What was found, in words."""
        return word_mm(self.found, digits=1) if self.demand.unit == "mm" else word_fall(self.found)

    @property
    def in_hand(self) -> str:
        """The margin in words."""
        return word_mm(self.margin, digits=1) + ("" if self.demand.unit == "mm" else "/m")

    def _word(self, value: float) -> str:
        return word_mm(value) if self.demand.unit == "mm" else word_fall(value)

    @property
    def mend(self) -> str:
        """What would mend it, in a sentence; empty where it is met."""
        if self.met:
            return ""
        low, high = self.condition.low, self.condition.high
        too_small = low is not None and self.found < low
        limit = (low if too_small else high) or 0.0
        if self.condition.at is not None:
            way = "Raise" if too_small == (self.condition.sign > 0) else "Lower"
            return f"{way} the finished surface by {word_change(-self.margin, 'mm')} at {self.condition.place}."
        way = "Turn" if self.found * limit < 0 else "Steepen" if abs(self.found) < abs(limit) else "Ease"
        wanted = word_fall(limit, never="steeper" if way == "Ease" else "flatter")
        of = "" if self.condition.toward or self.condition.drain else "of "
        return f"{way} the fall {of}{self.condition.place} to {wanted}, a change of {word_change(-self.margin, 'mm/m')}."


@dataclass(frozen=True, eq=False)
class Verdicts:
    """What was found for each demand. Made by `check_finish`.

    `worst` holds the finding of least margin for each demand, `everywhere` all of them.
    """

    finish: Finish
    brief: Brief
    worst: tuple[Finding, ...]
    everywhere: tuple[Finding, ...]

    basis = "By the margin alone: errors of the readings are not counted."

    @property
    def failed(self) -> int:
        """How many demands are not met."""
        return sum(not finding.met for finding in self.worst)

    @property
    def all_met(self) -> bool:
        """Whether every demand is met."""
        return self.failed == 0

    @property
    def table(self) -> pd.DataFrame:
        """A new table, a row a demand: demand place required found margin unit u probability verdict mend.

        `found` and `margin` are numbers in `unit`, at the place of least margin; u and probability stay empty where errors
        of the readings are not counted.
        """
        lines = [(one.demand.title, one.condition.place, one.required, one.found * 1000, one.margin * 1000, one.demand.unit,
                  None, None, "met" if one.met else "not met", one.mend) for one in self.worst]
        return pd.DataFrame(lines, columns=["demand", "place", "required", "found", "margin", "unit", "u", "probability",
                                            "verdict", "mend"])

    @property
    def places(self) -> pd.DataFrame:
        """A new table, a row for each place of each demand: demand place found margin unit verdict."""
        lines = [(one.demand.title, one.condition.place, one.found * 1000, one.margin * 1000, one.demand.unit,
                  "met" if one.met else "not met") for one in self.everywhere]
        return pd.DataFrame(lines, columns=["demand", "place", "found", "margin", "unit", "verdict"])

    @property
    def words(self) -> pd.DataFrame:
        """A new table for reading, every number with its unit: demand place required found margin verdict mend."""
        lines = [(one.demand.title, one.condition.place, one.required, one.found_words,
                  one.in_hand, "met" if one.met else "not met", one.mend) for one in self.worst]
        return pd.DataFrame(lines, columns=["demand", "place", "required", "found", "margin", "verdict", "mend"])

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
        return f"Verdicts on {len(self.worst)} demands, {self.failed} not met"

    def _repr_html_(self) -> str:
        return f"<p>{escape(self.basis)}</p>" + html_table(self.words, words=True)


def check_finish(finish: Finish, brief: Brief, *, budget: None = None) -> Verdicts:
    """Hold a finished surface against every demand of a brief.

    Parameters
    ----------
    finish : Finish
    brief : Brief
    budget : None
        The place for errors of the readings, which are not counted yet; anything but None is refused.

    Returns
    -------
    Verdicts
        Each demand "met" or "not met" by its least margin, with the place and what would mend it.

    Raises
    ------
    SurveyError
        A point of a demand more than 300 mm outside the surface.

    >>> from sitelevels import Brief, Clearance, Finish, Plane, Wall
    >>> area = [(0, 0), (6, 0), (6, 4), (0, 4)]
    >>> brief = Brief(area, walls=[Wall("wall", (0, 0), (6, 0), dpc=10.0)], demands=[Clearance("wall", 0.150)])
    >>> check_finish(Finish.plane(Plane(9.848, 0.0, -1 / 60), area), brief).words.loc[0, ["found", "verdict"]].tolist()
    ['152.0 mm', 'met']
    """
    must_be(finish, Finish, "the finish")
    must_be(brief, Brief, "the brief")
    if budget is not None:
        raise SurveyError("errors of the readings are not counted yet", rule="A verdict goes by the margin alone.",
                          remedy="Leave the budget out.")
    corners = corners_of(finish)
    worst, everywhere = [], []
    for demand in demands_on(finish, brief):
        findings = [Finding(demand, condition, found := condition.found(facet), condition.margin(found))
                    for condition in conditions_on(demand, finish, brief, corners)
                    for facet in facets_for(finish, brief, condition, corners)]
        everywhere += findings
        worst.append(min(findings, key=lambda finding: finding.margin))
    return Verdicts(finish, brief, tuple(worst), tuple(everywhere))


def demands_on(finish: Finish, brief: Brief) -> tuple[Demand, ...]:
    """Everything that a brief demands of a surface; where it drains to a channel or an outlet, a fall to that too.

    Raises SurveyError for a fall to a drain demanded of a surface that has none.
    """
    drains = any(facet.towards for facet in finish.facets)
    told = any(isinstance(demand, FallToDrain) for demand in brief.demands)
    if told and not drains:
        raise SurveyError("a fall to a drain is demanded, and the surface has neither channel nor outlet",
                          remedy="Choose a surface with a channel or an outlet, or take that demand out.")
    if not drains:
        return brief.every_demand
    return (*brief.every_demand, *(() if told else (FallToDrain(),)))


def conditions_on(demand: Demand, finish: Finish, brief: Brief, corners: Corners) -> list[Condition]:
    """What a demand comes to on a surface: something else may be asked for where all of it falls to a drain."""
    conditions = demand.conditions(brief, corners)
    return demand.beside_a_drain(conditions) if all(facet.towards for facet in finish.facets) else conditions


def corners_of(finish: Finish) -> list[tuple[float, float]]:
    """Plan positions of the corners of all facets, m."""
    return [(float(x), float(y)) for facet in finish.facets for x, y in facet.area.exterior.coords]


def facets_for(finish: Finish, brief: Brief, condition: Condition, corners: Corners) -> Iterator[Facet]:
    """The facets that a condition speaks of: all that meet at its place, all beside its wall, or all."""
    if condition.at is not None:
        place = shapely.Point(condition.at)
        distances = [facet.area.distance(place) for facet in finish.facets]
        if not min(distances) <= REACH:
            raise SurveyError(f"the place is {word_distance(min(distances))} outside the finished surface",
                              where=f"point {condition.place}",
                              rule=f"A demand can be checked at most {word_mm(REACH)} beyond its edge.",
                              remedy="Check the position in the book, or the corners of the area.")
        near = min(distances) + ROUNDING
        yield from (facet for facet, distance in zip(finish.facets, distances, strict=True) if distance <= near)
    elif condition.drain:
        yield from (facet for facet in finish.facets if condition.way_on(facet) is not None)
    elif condition.wall is not None:
        wall = condition.wall
        stations = brief.stations(wall, corners)
        middles = [shapely.Point(wall.place((start + end) / 2)) for start, end in pairwise(stations)]
        near = [min(finish.facets, key=lambda facet: facet.area.distance(middle)) for middle in middles]
        yield from (facet for facet in finish.facets if facet in near)
    else:
        yield from finish.facets
