"""How far a floor that was to be level departs from its datum, and how far it is out of level."""

from __future__ import annotations

import math
from dataclasses import dataclass
from html import escape
from typing import Any

import numpy as np
import pandas as pd

from ..design.asked import ROUNDING
from ..design.propagation import LevelErrors
from ..design.verdicts import MET, NOT_MET, TOO_CLOSE
from ..design.workmanship import DEPARTURE, DEPARTURE_GRID, LARGE_FLOOR, OUT_OF_LEVEL, OUT_OF_LEVEL_MOST
from ..errors import SurveyError, finite, must_be
from ..surface.ground import Ground
from ..surface.plane import Floats, name_of
from ..wording import html_table, word_distance, word_level, word_mm
from .lift import in_words

SLACK = 0.05  # m: by which the crossings of a grid set out by tape may be off


@dataclass(frozen=True, eq=False)
class Departure:
    """How far the spots of a floor without a fall lie off its datum, and out of level. Made by `departure_from_datum`; m.

    `off` (n,) is each spot's level less the `datum`, the mean level if `of_mean`; `u` (n,) its standard uncertainty, `each` (n,)
    its verdict, `verdict` that on all. `pairs` are the rows of `.out_of_level`; `wide` is how far apart spots stand somewhere if
    that is more than DEPARTURE_GRID, else nought.
    """

    ground: Ground
    datum: float
    of_mean: bool
    most: float
    errors: LevelErrors | None
    off: Floats
    u: Floats | None
    each: tuple[str, ...]
    verdict: str
    pairs: tuple[dict[str, Any], ...]
    wide: float

    @property
    def table(self) -> pd.DataFrame:
        """A new table, a row a spot: point x y level departure margin u verdict, m; `u` is empty where errors are not counted."""
        return self.ground.table.assign(departure=self.off, margin=self.most - np.abs(self.off),
                                        u=np.nan if self.u is None else self.u, verdict=self.each)

    @property
    def out_of_level(self) -> pd.DataFrame:
        """A new table of two pairs of spots: which first second apart difference allowed margin u verdict, m.

        The clause speaks of the furthest points across the whole floor: the pair "furthest apart". That "of the greatest
        difference" is held against the same rule at its own distance, which asks more than the clause does.
        """
        return pd.DataFrame(list(self.pairs))

    def sentence(self) -> str:
        """What was found, in words."""
        names = self.ground.table["point"]
        up, down = int(self.off.argmax()), int(self.off.argmin())
        level = word_level(self.datum, digits=3 + self.of_mean)
        told = (f"Against {f'the mean of its spots, {level},' if self.of_mean else level} the floor departs from "
                f"{word_mm(self.off[down], digits=1)} at {names[down]} to {word_mm(self.off[up], digits=1)} at {names[up]}; "
                f"{word_mm(self.most, digits=1)} either way is asked: {self.verdict}.")
        for one in self.pairs:
            told += (f" The two spots {one['which']}, {one['first']} and {one['second']}, differ by "
                     f"{word_mm(one['difference'], digits=1)} over {word_distance(one['apart'])}, where "
                     f"{word_mm(one['allowed'], digits=1)} is allowed: {one['verdict']}.")
        if self.wide:
            told += (f" Somewhere spots stand {word_distance(self.wide)} apart; usual is a grid of "
                     f"{word_distance(DEPARTURE_GRID.range.likely)} ({DEPARTURE_GRID.source}).")
        return told

    @property
    def sources(self) -> tuple[str, ...]:
        """Where the limits are written."""
        return tuple(f"{word_mm(one.value)}: {one.what} ({one.source})" for one in (DEPARTURE, OUT_OF_LEVEL, OUT_OF_LEVEL_MOST))

    def __repr__(self) -> str:
        return f"Departure: {self.sentence()}"

    def _repr_html_(self) -> str:
        basis = f"Errors of the readings are {'not ' * (self.u is None)}counted. Between the spots the floor was not read."
        return (f"<p>{escape(f'{self.sentence()} {basis}')}</p>{html_table(in_words(self.table), words=True)}"
                f"{html_table(in_words(self.out_of_level), words=True)}<p>{escape('; '.join(self.sources))}</p>")


def departure_from_datum(ground: Ground, datum: float | None = None, *, most: float = DEPARTURE.value,
                         errors: LevelErrors | None = None) -> Departure:
    """How far a floor that was to be level departs from its datum.

    Parameters
    ----------
    ground : Ground
        The floor as it was read; its names are those of the book where errors are counted.
    datum, most : float
        The level that it was to have, m, the mean of its spots if not given; how far off a spot may be, either way, m.
    errors : LevelErrors, optional
        Those of the level book (`ErrorBudget.errors`); without it a verdict goes by the margin.

    Returns
    -------
    Departure
        Each spot "met" where its margin is at least k·u, "not met" where it is −k·u or less, else "too close to call"; all
        together met where every one is, not met by the Šidák share over the spots, as `check_finish` does. Out of level: 3 mm for
        each metre between two spots up to 6 m apart, 20 mm at most beyond.

    Raises
    ------
    SurveyError
        A limit of nought, a level that is none, a spot that the book of the errors does not hold.

    Notes
    -----
    15 mm either way as on large floors: `DEPARTURE`. Out of level: NHBC Standards 9.1.5, 2020. `.sources` has both in words.

    >>> floor = Ground([0, 3, 3, 0], [0, 0, 3, 3], [0.004, 0.0, -0.018, 0.002], points="ABCD")
    >>> departure_from_datum(floor, 0.0).table[["point", "verdict"]].values.tolist()
    [['A', 'met'], ['B', 'met'], ['C', 'not met'], ['D', 'met']]
    """
    must_be(ground, Ground, "the floor")
    must_be(errors, (LevelErrors, type(None)), "the errors")
    limit = finite(most, "how far the floor may be off", "It is a length in m, above nought.", over=0.0)
    known = float(ground.level.mean()) if datum is None else finite(datum, "the datum", "It is a level in m.")
    count, off = len(ground.x), ground.level - known
    u = _u_of(np.eye(count) - (1.0 / count if datum is None else 0.0), ground, errors)
    sure, spare = (0.0, 0.0) if errors is None else (errors.budget.k_of(1), errors.budget.k_of(count))
    margin = limit - np.abs(off)
    each = tuple(_verdict(one, sure * wide, sure * wide) for one, wide in zip(margin, u, strict=True))
    whole = MET if set(each) == {MET} else NOT_MET if any(
        _verdict(one, sure * wide, spare * wide) == NOT_MET for one, wide in zip(margin, u, strict=True)) else TOO_CLOSE
    apart = np.hypot(ground.x[:, None] - ground.x, ground.y[:, None] - ground.y)
    differ = np.abs(ground.level[:, None] - ground.level)
    pairs = []
    furthest = np.where(apart >= apart.max() - SLACK, 1 + differ, 0.0)  # of two diagonals the one that tells more
    for which, most_of in (("of the greatest difference", differ), ("furthest apart", furthest)):
        one, two = map(int, np.unravel_index(int(most_of.argmax()), most_of.shape))
        far, step = float(apart[one, two]), float(differ[one, two])
        allowed = OUT_OF_LEVEL.value * far if far <= LARGE_FLOOR + ROUNDING else OUT_OF_LEVEL_MOST.value
        spread = float(_u_of(np.eye(count)[[one]] - np.eye(count)[[two]], ground, errors)[0])
        pairs.append({"which": which, "first": name_of(ground.points, one), "second": name_of(ground.points, two), "apart": far,
                      "difference": step, "allowed": allowed, "margin": allowed - step,
                      "u": math.nan if errors is None else spread,
                      "verdict": _verdict(allowed - step, sure * spread, sure * spread)})
    sides = np.sort(apart[ground.triangles, np.roll(ground.triangles, -1, axis=1)], axis=1)
    gap = float(sides[:, 1].max())  # the longest side of a triangle is a diagonal of the grid
    return Departure(ground, known, datum is None, limit, errors, off, None if errors is None else u, each, whole, tuple(pairs),
                     gap if gap > DEPARTURE_GRID.range.likely + SLACK else 0.0)


def _verdict(margin: float, met: float, not_met: float) -> str:
    """On a margin that must be so wide to be sure that it is met, or as far outside that it is not."""
    return MET if margin + ROUNDING >= met else NOT_MET if margin <= -not_met else TOO_CLOSE


def _u_of(rows: Floats, ground: Ground, errors: LevelErrors | None) -> Floats:
    """Standard uncertainty of sums of the spots' levels, the rows (m, n), m; noughts where errors are not counted."""
    if errors is None:
        return np.zeros(len(rows))
    places = [errors.where.get(name_of(ground.points, number), -1) for number in range(len(ground.x))]
    if -1 in places:
        raise SurveyError(f"the level book of the errors holds no spot {name_of(ground.points, places.index(-1))}",
                          rule="Every spot of the floor is a point of that book.", remedy="Give the floor's spots their names.")
    return np.asarray(np.sqrt(np.einsum("ij,jk,ik->i", rows, errors.covariance[np.ix_(places, places)], rows)))
