"""Which classes of surface regularity a surface keeps, by straightedge, and what errors of the readings alone would show."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from typing import Any

import numpy as np
import pandas as pd
import shapely

from ..errors import SurveyError, finite, must_be
from ..surface.draws import drawn
from ..surface.facet import polygon_of
from ..surface.finish import Finish
from ..surface.ground import Ground
from ..surface.plane import Floats
from ..surface.straightedge import BETWEEN, FitsNowhereError, Straightedge, straightedge
from ..wording import html_table, whole_up, word_distance, word_mm, word_place, word_share
from .asked import ROUNDING
from .budget import ErrorBudget
from .laid import Laid
from .verdicts import MET, NOT_MET, TOO_CLOSE
from .workmanship import REGULARITY, TESTS, Regularity, one_of

RUNS = 200
LENGTHS = (1.0, 2.0, 3.0)  # m: the straightedges that classes speak of


@dataclass(frozen=True, eq=False)
class Bar:
    """The straightedge of one length: `found` where its gap is greatest, `offset` where its equal offset is.

    `gap_alone`, `offset_alone` (m) are what errors of the readings alone would show, None where they are not counted.
    """

    length: float
    found: Straightedge
    offset: Straightedge
    gap_alone: float | None = None
    offset_alone: float | None = None

    def shown(self, kind: Regularity) -> tuple[float, float | None]:
        """What a class speaks of, and what errors alone would show of it, m."""
        return (self.offset.equal_offset, self.offset_alone) if kind.offset else (self.found.gap, self.gap_alone)


@dataclass(frozen=True, eq=False)
class Flatness:
    """Straightedges over a surface. Made by `flatness`: `bars` by length, those that fit; `area` in m²; `sure` a chance.

    `paving` are the classes that matter first; empty for none.
    """

    bars: tuple[Bar, ...]
    area: float
    sure: float
    paving: tuple[str, ...] = ()

    def bar(self, length: float) -> Bar | None:
        """The bar of that length in m; None where none fits."""
        return next((one for one in self.bars if one.length == length), None)

    def verdict(self, kind: Regularity) -> str:
        """Whether a class is kept: errors add to what was found, or take from it, at most what they show alone.

        Empty where its straightedge fits nowhere.
        """
        bar = self.bar(kind.length)
        if bar is None:
            return ""
        shown, alone = bar.shown(kind)
        give, limit = alone or 0.0, kind.limit + ROUNDING
        return MET if shown + give <= limit else NOT_MET if shown - give > limit else TOO_CLOSE

    @property
    def table(self) -> pd.DataFrame:
        """A new table, a row a class: name length limit found alone (m) offset verdict source; `alone` empty without errors."""
        lines = []
        for kind in REGULARITY.values():
            bar = self.bar(kind.length)
            shown, alone = (None, None) if bar is None else bar.shown(kind)
            lines.append((kind.name, kind.length, kind.limit, shown, alone, kind.offset, self.verdict(kind), kind.source))
        return pd.DataFrame(lines, columns=["name", "length", "limit", "found", "alone", "offset", "verdict", "source"])

    @property
    def words(self) -> pd.DataFrame:
        """The same for reading, the classes whose straightedge fits."""
        lines = [(kind.name, kind.words, *map(_mm, bar.shown(kind)), self.verdict(kind), kind.source)
                 for kind in REGULARITY.values() if (bar := self.bar(kind.length)) is not None]
        return pd.DataFrame(lines, columns=["class", "limit", "found", "readings alone would show", "verdict", "source"])

    @property
    def bars_words(self) -> pd.DataFrame:
        """Each straightedge for reading: the greatest gap and where, and the equal offset and where."""
        lines = [(word_distance(one.length), _mm(one.found.gap), _mm(one.gap_alone), word_place(*one.found.where),
                  f"{_mm(one.offset.equal_offset)} {'hump' if one.offset.hump else 'hollow'}", _mm(one.offset_alone),
                  word_place(*one.offset.offset_where)) for one in self.bars]
        return pd.DataFrame(lines, columns=["straightedge", "greatest gap", "readings alone", "at", "ends held off equally",
                                            "readings alone ", "at "])

    @property
    def classes(self) -> str:
        """What comes of the classes that matter first, in a sentence; empty where there is none, or no straightedge fits."""
        told = [f"{kind.name}, {kind.words}: {verdict}" for kind in map(REGULARITY.__getitem__, self.paving)
                if (verdict := self.verdict(kind))]
        return f"{'; '.join(told)}." if told else ""

    def sentence(self) -> str:
        """What was found, how far it can be believed, and what to do on site, in words."""
        if not self.bars:
            return f"No straightedge of {word_distance(min(LENGTHS))} fits on any flat part. {BETWEEN}"
        bar = self.bar(2.0) or self.bars[-1]
        said = f"Under {word_distance(bar.length)} the greatest gap is {_mm(bar.found.gap)}, at {word_place(*bar.found.where)}."
        if bar.gap_alone is not None:
            said += (f" On a surface that is truly flat, errors of the readings alone would show up to "
                     f"{_mm(bar.gap_alone)} in {word_share(self.sure)} of surveys.")
        tests = whole_up(self.area / TESTS.range.likely)
        return (f"{said} {BETWEEN} A real straightedge with a wedge or a feeler under it does: where no number was agreed, at "
                f"least {tests} test{'s' * (tests > 1)} for this area ({TESTS.source}).")

    def __repr__(self) -> str:
        return f"Flatness: {self.sentence()}"

    def _repr_html_(self) -> str:
        words = self.words
        mine = words["class"].isin(self.paving)
        first = html_table(words[mine], words=True) if mine.any() else ""
        return (f"<p>{escape(self.sentence())}</p>{html_table(self.bars_words, words=True)}{first}"
                f"<details{'' if first else ' open'}><summary>{'Other classes' if first else 'The classes'}</summary>"
                f"{html_table(words[~mine], words=True)}</details>")


def _mm(metres: float | None) -> str:
    return "" if metres is None else word_mm(metres, digits=1)


def flatness(surface: Laid | Ground, *, within: Any = None, covariance: Floats | None = None,
             sure: float = ErrorBudget().sure, paving: str | Sequence[str] = ()) -> Flatness:
    """Straightedges of 1, 2 and 3 m over a surface, each flat part by itself, held against classes of regularity.

    Parameters
    ----------
    surface : Laid or Ground
        A laid surface with its parts and errors; or triangulated spots, with the area they belong to and their covariance.
    within : list of corners, polygon or Finish, optional
        Of a Ground: where the bar may lie (plan, m).
    covariance : (n, n), optional
        Of the levels of a Ground, m².
    sure : float
        The chance with which errors alone show no more than is said; that of the budget for a laid surface.
    paving : str or sequence of str
        A class in REGULARITY that is shown first, or several.

    Refuses something else, an area or a covariance for a laid surface, which has both, and what `straightedge` refuses other
    than a bar that is too long.

    Source: `REGULARITY`, class by class.

    >>> valley = Ground([0, 1, 2, 0, 1, 2], [0, 0, 0, 2, 2, 2], [0.0, -0.004, 0.0] * 2)
    >>> found = flatness(valley)
    >>> round(found.bar(2.0).found.gap, 6), found.verdict(REGULARITY["SR1"]), found.verdict(REGULARITY["SR2"])
    (0.004, 'not met', 'met')
    """
    must_be(surface, (Laid, Ground), "the surface")
    if not 0 < finite(sure, "how sure it must be", "It is a chance, e.g. 0.95.") < 1:
        raise SurveyError(f"how sure it must be is {sure}", rule="It is a chance, between nought and one.")
    must_be(paving, (str, list, tuple), "the classes to show first")
    first = tuple(one_of(REGULARITY, name, "class of regularity").name
                  for name in ([paving] * bool(paving) if isinstance(paving, str) else paving))
    if isinstance(surface, Laid) and not (within is None and covariance is None):
        raise SurveyError("an area or a covariance is given for a laid surface", rule="It has both already.",
                          remedy="Leave them out, or give its ground.")
    drawn_errors: Floats | None = None
    if isinstance(surface, Ground):
        areas = [facet.area for facet in within.facets] if isinstance(within, Finish) else [
            shapely.Polygon(surface.hull) if within is None else polygon_of(within)]
        if covariance is not None:
            drawn_errors = drawn(covariance, len(surface.x), runs=RUNS, seed=1)
        parts = [(surface, one, drawn_errors) for one in areas]
        area = sum(one.area for one in areas)
    else:
        parts, errors = [], surface.errors
        if errors is not None:  # drawn once: parts share a set-up, and spots along a fold
            drawn_errors = drawn(errors.covariance, len(errors.points), runs=RUNS, seed=1)
        for part, facet in zip(surface.parts, surface.design.facets, strict=True):
            rows = [] if errors is None else [errors.where[point] for point in part.ground.points or ()]
            parts.append((part.ground, facet.area, None if drawn_errors is None else drawn_errors[rows]))
        area = surface.design.area
        sure = surface.budget.sure if surface.budget else sure
    bars = (_bar(length, parts, sure) for length in LENGTHS)
    return Flatness(tuple(one for one in bars if one is not None), area, sure, first)


def _bar(length: float, parts: Sequence[tuple[Ground, shapely.Polygon, Floats | None]], sure: float) -> Bar | None:
    """The straightedge of one length over all parts on which it fits; None where it fits on none."""
    found, shown = [], []
    for ground, area, errors in parts:
        try:
            one = straightedge(ground, length=length, within=area)
        except FitsNowhereError:
            continue
        found.append(one)
        if errors is not None:
            shown.append(one.shown_by(errors))
    if not found:
        return None
    alone = np.quantile(np.max(shown, axis=0), sure, axis=1) if shown else (None, None)  # the greatest of all parts, run by run
    gap, offset = (None if one is None else float(one) for one in alone)
    return Bar(length, max(found, key=lambda one: one.gap), max(found, key=lambda one: one.equal_offset), gap, offset)
