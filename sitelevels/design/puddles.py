"""Standing water on a surface: how sure it is, the published limit, and the bucket of water that shows it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from ..errors import SurveyError, finite, must_be
from ..surface.plane import Floats
from ..surface.ponding import Ponding, Reruns
from ..wording import html_table, word_area, word_chance, word_mm, word_number, word_place
from .conditions import Spot
from .verdicts import MET, NOT_MET, TOO_CLOSE
from .workmanship import STANDING_DEEP, STANDING_WIDE

RUNS = 200
DEPTHS = (0.001, 0.003, 0.005)  # m: what a map of chances tells of
FILM = 0.001  # m: what stays on any wet paving
BUCKET = 0.010  # m³
HOUR = ("An hour after rain some of it will have dried or soaked away, and joints drain: what is told here is the most that can "
        "stay. Between spots nothing was seen.")


@dataclass(frozen=True, eq=False)
class StandingWater:
    """Where water stands and how sure that is. Made by `standing_water`.

    `again` holds re-runs over the error budget, None where errors are not counted; `doors` are places beside which none may
    stand; `sure` is the chance asked of a verdict.
    """

    ponding: Ponding
    again: Reruns | None
    doors: tuple[Spot, ...]
    sure: float

    def _verdict(self, broken: bool, chance: float | None) -> str:
        """By the chance that the limit is broken; by what was found where errors are not counted."""
        if chance is None:
            return NOT_MET if broken else MET
        return MET if chance <= 1 - self.sure else NOT_MET if chance >= self.sure else TOO_CLOSE

    @property
    def table(self) -> pd.DataFrame:
        """A new table: what, limit and found (m, m²), chance that the limit is broken (empty without errors), verdict."""
        pond, runs = self.ponding, self.again
        widest = max((basin.area for basin in pond.basins), default=0.0)
        lines = [("depth", STANDING_DEEP.value, pond.depth, None if runs is None else runs.chance_deeper(STANDING_DEEP.value)),
                 ("area", STANDING_WIDE.value, widest, None if runs is None else runs.chance_wider(STANDING_WIDE.value))]
        for door in self.doors:
            if pond.covers(door.x, door.y):
                lines.append((f"depth beside the door {door.point}", FILM, pond.depth_at(door.x, door.y),
                              None if runs is None else runs.chance(door.x, door.y, FILM)))
        return pd.DataFrame([(*line, self._verdict(line[2] > line[1], line[3])) for line in lines],
                            columns=["what", "limit", "found", "chance", "verdict"])

    @property
    def words(self) -> pd.DataFrame:
        """The same for reading, with the source of each limit."""
        lines = []
        for what, limit, found, chance, verdict in self.table.itertuples(index=False, name=None):
            word = word_area if what == "area" else _mm
            source = (STANDING_WIDE if what == "area" else STANDING_DEEP).source
            asked = "no more than a film" if "door" in what else f"at most {word(limit)}"
            lines.append((what, asked, word(found), "" if chance is None or np.isnan(chance) else word_chance(chance), verdict,
                          source))
        return pd.DataFrame(lines, columns=["standing water", "limit", "found", "chance that it is more", "verdict", "source"])

    def chances(self, x: ArrayLike, y: ArrayLike) -> Floats:
        """The chance that water stands deeper than each of DEPTHS at places: (3, ...). Raises SurveyError without errors."""
        if self.again is None:
            raise SurveyError("errors are not counted", remedy="Give the covariance of the levels.")
        return np.stack([np.asarray(self.again.chance(x, y, depth), dtype=float) for depth in DEPTHS])

    def bucket(self, volume: float = BUCKET) -> str:
        """What a bucket of water (m³) would show on site, in sentences."""
        volume = finite(volume, "the bucket", "It is a volume in m³.", over=0.0)
        litres = f"{word_number(volume * 1000, figures=2)} litres"
        if not self.ponding.basins:
            return (f"Wet the surface first. Then pour {litres} of water out slowly along the top: it should all run off, and a "
                    "coin laid anywhere should stand out of what is left.")
        first = self.ponding.basins[0]
        deep, holds = first.depth_after(volume), f"{word_number(first.volume * 1000, figures=2)} litres"
        after = (f"it stands {_mm(deep)} deep there and has not run over yet; that takes {holds}" if volume < first.volume else
                 f"it stands {_mm(first.depth)} deep there and runs over at {word_place(*first.spill)}: the hollow holds {holds}")
        return (f"Wet the surface first. Then pour {litres} of water out slowly at {word_place(*first.place)}: if the surface is "
                f"as it was read, {after}. Measure with a rule on edge.")

    def sentence(self) -> str:
        """What stands, and how sure that is, in words."""
        said = self.ponding.sentence()
        if self.again is not None:
            chances = ", ".join(f"{_mm(depth)} {word_chance(self.again.chance_deeper(depth))}" for depth in DEPTHS)
            said += f" The chance, by the errors of the readings, that it stands deeper somewhere than: {chances}."
        return f"{said} {HOUR}"

    def __repr__(self) -> str:
        return f"StandingWater: {self.sentence()}"

    def _repr_html_(self) -> str:
        return (f"<p>{escape(self.sentence())}</p>{html_table(self.ponding.words.head(12), words=True)}"
                f"{html_table(self.words, words=True)}<p>{escape(self.bucket())}</p>")


def standing_water(ponding: Ponding, *, covariance: Floats | None = None, doors: Sequence[Spot] = (), sure: float = 0.95,
                   runs: int = RUNS, seed: int = 1) -> StandingWater:
    """How sure it is where water stands, held against the limit for an hour after rain.

    Parameters
    ----------
    ponding : Ponding
    covariance : (n, n), optional
        Of the levels of its spots, m²; the ponding is worked out again for so many `runs` of levels drawn from it.
    doors : sequence of Spot
        Entrance doors, beside which no water may stand.
    sure : float
        The chance asked of "met" and of "not met".

    Raises SurveyError for a covariance of another size, or a chance that is none.
    """
    must_be(ponding, Ponding, "the ponding")
    if not 0.5 <= finite(sure, "how sure a verdict must be", "It is a chance, e.g. 0.95.") < 1:
        raise SurveyError(f"how sure a verdict must be is {sure}", rule="It lies between 0.5 and 1.")
    again = None
    if covariance is not None:
        count = len(ponding.ground.x)
        given = np.asarray(covariance, dtype=float)
        if given.shape != (count, count) or not np.isfinite(given).all():
            raise SurveyError(f"the covariance has the shape {given.shape}",
                              rule=f"It has {count} rows and columns, one for each spot.")
        spread, axes = np.linalg.eigh(given)
        drawn = np.random.default_rng(seed).standard_normal((runs, count)) @ (axes * np.sqrt(np.maximum(spread, 0.0))).T
        again = ponding.again(ponding.ground.level + drawn)
    return StandingWater(ponding, again, tuple(doors), float(sure))


def _mm(metres: float) -> str:
    return word_mm(metres, digits=1)
