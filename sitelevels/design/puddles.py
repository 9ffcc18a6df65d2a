"""Standing water on a surface: how sure it is, the published limit, and the bucket of water that shows it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from ..errors import SurveyError, finite, finite_list, must_be
from ..surface.draws import drawn
from ..surface.facet import REACH
from ..surface.plane import Floats
from ..surface.ponding import Ponding, Reruns
from ..wording import html_table, word_area, word_chance, word_mm, word_number, word_place
from .asked import ROUNDING
from .conditions import Spot
from .verdicts import MET, NOT_MET, TOO_CLOSE
from .workmanship import STANDING_DEEP, STANDING_WIDE

RUNS = 400  # none of so many means a chance under 1 %
DEPTHS = (0.001, 0.003, 0.005)  # m: what a map of chances tells of
FILM = 0.001  # m: what stays on any wet paving
BUCKET = 0.010  # m³
LAST = 1e-9  # of a chance: what the last binary digit takes
HOUR = ("An hour after rain some of it will have dried or soaked away, and joints drain: what is told here is the most that can "
        "stay. Between spots nothing was seen.")


@dataclass(frozen=True, eq=False)
class StandingWater:
    """Where water stands, how deep (m) and wide (m²), and how sure that is. Made by `standing_water`.

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
        return MET if chance <= 1 - self.sure + LAST else NOT_MET if chance >= self.sure - LAST else TOO_CLOSE

    @property
    def table(self) -> pd.DataFrame:
        """A new table: what, limit and found (m, m²), chance that the limit is broken (empty without errors), verdict."""
        pond, runs = self.ponding, self.again
        widest = max((basin.area for basin in pond.basins), default=0.0)
        deep, wide = STANDING_DEEP.value, STANDING_WIDE.value
        lines = [("depth", deep, pond.depth, None if runs is None else runs.chance_deeper(deep + ROUNDING)),
                 ("area", wide, widest, None if runs is None else runs.chance_wider(wide + ROUNDING))]
        for door in self.doors:
            x, y = self._beside(door)
            if len(x):
                lines.append((f"depth beside the door {door.point}", FILM, float(pond.depth_at(x, y).max()),
                              None if runs is None else runs.chance_at_any(x, y, FILM + ROUNDING)))
        return pd.DataFrame([(*line, self._verdict(line[2] > line[1] + ROUNDING, line[3])) for line in lines],
                            columns=["what", "limit", "found", "chance", "verdict"])

    def _beside(self, door: Spot) -> tuple[Floats, Floats]:
        """Places beside a door at which the surface is known: none where that lies farther off than REACH."""
        turn, far = np.meshgrid(np.linspace(0, 2 * np.pi, 24, endpoint=False), REACH * np.array([0.2, 0.4, 0.6, 0.8, 1.0]))
        ground = self.ponding.ground
        near = np.hypot(ground.x - door.x, ground.y - door.y) <= REACH  # water is deepest at a spot
        x = np.concatenate([[door.x], ground.x[near], door.x + (far * np.cos(turn)).ravel()])
        y = np.concatenate([[door.y], ground.y[near], door.y + (far * np.sin(turn)).ravel()])
        known = self.ponding.covers(x, y)
        return x[known], y[known]

    @property
    def unknown(self) -> tuple[str, ...]:
        """Doors beside which the surface is not known, a sentence each."""
        return tuple(f"Beside the door {door.point} no spot was read within {word_mm(REACH)}: whether water stands there is not "
                     "known." for door in self.doors if not len(self._beside(door)[0]))

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

    def bucket(self, volume: float = BUCKET) -> str:
        """What a bucket of water (m³) would show on site, in sentences."""
        volume = finite(volume, "the bucket", "It is a volume in m³.", over=0.0)
        number = word_number(volume * 1000, figures=2)
        litres = f"{number} litre{'s' * (number != '1')}"
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
        return " ".join([said, *self.unknown, HOUR])

    def __repr__(self) -> str:
        return f"StandingWater: {self.sentence()}"

    def _repr_html_(self) -> str:
        return (f"<p>{escape(self.sentence())}</p>"
                f"{html_table(self.ponding.words.head(12), words=True) if self.ponding.basins else ''}"
                f"{html_table(self.words, words=True)}<p>{escape(self.bucket())}</p>")


def standing_water(ponding: Ponding, *, covariance: ArrayLike | None = None, doors: Sequence[Spot] = (), sure: float = 0.95,
                   runs: int = RUNS, seed: int = 1) -> StandingWater:
    """How sure it is where water stands, held against the limit for an hour after rain.

    Parameters
    ----------
    ponding : Ponding
    covariance : (n, n) or float, optional
        Of the levels of its spots, m², or the standard deviation of each, m; the ponding is worked out again for so many `runs`
        of levels drawn from it.
    doors : sequence of Spot
        Entrance doors, beside which no water may stand.
    sure : float
        The chance asked of "met" and of "not met".
    seed : int
        Of the random numbers: the same seed gives the same levels.

    Refuses a covariance of another size, a chance under 0.5 or from 1 on, and a door without a place.

    Source: `STANDING_DEEP`, `STANDING_WIDE`: NHBC Standards, 9.1.11, 2018 (text read).

    >>> from sitelevels import Ground, ponding
    >>> dish = Ground([0, 4, 4, 0, 2], [0, 0, 4, 4, 2], [10.0, 10.0, 10.0, 10.0, 9.97])  # 30 mm deep
    >>> found = standing_water(ponding(dish, [(0, 0), (4, 0), (4, 4), (0, 4)])).table
    >>> found["what"][0], round(float(found["found"][0]), 6), found["verdict"][0]
    ('depth', 0.03, 'not met')
    """
    must_be(ponding, Ponding, "the ponding")
    if not 0.5 <= finite(sure, "how sure a verdict must be", "It is a chance, e.g. 0.95.") < 1:
        raise SurveyError(f"how sure a verdict must be is {sure}", rule="It lies between 0.5 and 1.")
    again = None
    if covariance is not None:
        errors = drawn(covariance, len(ponding.ground.x), runs=runs, seed=seed)
        again = ponding.again(ponding.ground.level + errors.T)
    must_be(doors, (list, tuple), "the doors")
    for door in doors:
        must_be(door, Spot, "one of the doors")
        finite_list(door[1:3], f"the place of the door {door.point}", "It is a pair (x, y) in m.", count=2)
    return StandingWater(ponding, again, tuple(doors), float(sure))


def _mm(metres: float) -> str:
    return word_mm(metres, digits=1)
