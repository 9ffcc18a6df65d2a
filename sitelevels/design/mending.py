"""Where to lift and lay again: the fewest places at which a laid surface would come to meet every demand, by trying."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from ..errors import SurveyError, finite, must_be
from ..surface.plane import Floats
from ..wording import html_table, word_change, word_place
from .asked import ROUNDING
from .laid import Laid, judged
from .propagation import LEAST
from .verdicts import MET

WORTH = 0.001  # m: nobody lifts a unit for less (common practice, no source)
SLIGHT = 1e-6  # standard uncertainties: what sums leave of nothing
LEAST_HELP = 0.1  # of what is short: a lift that brings less is not worth its trouble
OUTSIDE, UNSURE = "found outside its limit", "to be sure of it"


@dataclass(frozen=True)
class Lift:
    """One place to lift: the units round a spot go `by` m up (down where negative), to their design level; and why."""

    point: str
    x: float
    y: float
    by: float
    why: str
    units: int | None = None


@dataclass(frozen=True, eq=False)
class Mending:
    """What to lift of a laid surface, by how many m, and what is found `after` that. Made by `where_to_lift`.

    `design` is what would be found with every spot at its design level: no lifting to it does better; `act` what it is called.
    """

    laid: Laid
    lifts: tuple[Lift, ...]
    after: Laid
    design: Laid
    act: str = "lift"

    @property
    def mended(self) -> bool:
        """Whether every demand is met after it."""
        return self.after.all_met

    @property
    def table(self) -> pd.DataFrame:
        """A new table, a row a place: point x y by (m, positive upwards) why units (how many, where their outlines are known)."""
        lines = [(one.point, one.x, one.y, one.by, one.why, one.units) for one in self.lifts]
        return pd.DataFrame(lines, columns=["point", "x", "y", "by", "why", "units"]).astype({"units": "Int64"})

    @property
    def words(self) -> pd.DataFrame:
        """The same for reading."""
        lines = [(one.point, word_place(one.x, one.y),
                  f"{'raise' if one.by > 0 else 'lower'} by {word_change(abs(one.by), 'mm')}", one.why,
                  "" if one.units is None else str(one.units)) for one in self.lifts]
        table = pd.DataFrame(lines, columns=["round the spot", "place", "what to do", "why", "units"])
        return table if any(table["units"]) else table.drop(columns="units")

    def sentence(self) -> str:
        """What to lift, and what is left, in words."""
        if self.laid.all_met:
            return f"Every demand is met: nothing need be {self.act}ed."
        hopeless = dict.fromkeys(one.demand.title for one, (verdict, _) in zip(self.design.worst, self.design.judged, strict=True)
                                 if verdict != MET)
        design = (f" Nothing laid to the design itself would make sure of: {', '.join(hopeless)}; readings say no more, or the "
                  "design lies too near that limit." if hopeless else "")
        if not self.lifts:
            return (f"No place is to blame: {self.act}ing to the design round any one spot helps too little. Where a fall is "
                    f"wrong as a whole, that part must be laid again. {self.laid.counted}.{design}")
        must = [one.point for one in self.lifts if one.why == OUTSIDE]
        may = [one.point for one in self.lifts if one.why == UNSURE]
        said = f"{self.act.capitalize()} round {', '.join(must)}: something there is found outside its limit." if must else \
            "Nothing is found outside its limit."
        if may:
            said += (f" {self.act.capitalize()}ing round {', '.join(may)}{' as well' * bool(must)} would "
                     f"{'make sure of' if self.after.all_met else 'bring farther inside'} what is too close to call.")
        after = "every demand is then met" if self.after.all_met else f"after that, {self.after.counted}"
        return (f"{said} By the sums {after}.{design} Found by trying one spot after another, the most useful first: a good way "
                "to begin, not proved to be the least; what lies between spots was not seen.")

    def __repr__(self) -> str:
        return f"Mending: {self.sentence()}"

    def _repr_html_(self) -> str:
        return f"<p>{escape(self.sentence())}</p>" + (html_table(self.words, words=True) if self.lifts else "")


def where_to_lift(laid: Laid, *, units: Sequence[shapely.Polygon] = (), act: str = "lift", worth: float = WORTH) -> Mending:
    """Which spots to bring to their design level so that every demand is met, the fewest first.

    Parameters
    ----------
    laid : Laid
    units : sequence of polygons, optional
        The units as they lie, plan, m; those nearer to a spot than to any other are lifted with it, and are counted.
    act : str
        What bringing a place to its design is called: "lift" of units, "mend" of a screed.
    worth : float
        The least, m, that anything is brought up or down by; a millimetre if not given (common practice, no source).

    Returns
    -------
    Mending
        A heuristic: spot after spot is taken whose lift brings the numbers that break their limits (then those too close to
        call) nearest to where they should be, until all are; then each is put back that turns out not to be needed.

    Refuses what is no laid surface, units that are no polygons, and a `worth` that is negative or no number.

    Reason: no list of spots is proved the shortest without trying all; one found by trying says so.

    >>> import sitelevels as sl
    >>> area, rows = [(0, 0), (4, 0), (4, 2), (0, 2)], "A,,1.160,,,0,0\\nB,,1.150,,,4,0\\nC,,1.150,,,4,2\\nD,,1.150,,,0,2"
    >>> book = sl.read_book(f"point,bs,is,fs,rl,x,y\\nBM,1.000,,,10.000,,\\n{rows}\\nBM,,,1.000,,,")
    >>> brief = sl.Brief(area, demands=[sl.Meet([("E", 0, 0, 9.850)], 0.006)])
    >>> laid = sl.check_laid(sl.reduce_book(book), sl.Finish.plane(sl.Plane(9.850, 0, 0), area), brief)
    >>> where_to_lift(laid).words.loc[0, ["round the spot", "what to do"]].tolist()
    ['A', 'raise by 10.0 mm']
    """
    must_be(laid, Laid, "the laid surface")
    if not isinstance(units, (list, tuple)) or not all(isinstance(one, shapely.Polygon) for one in units):
        raise SurveyError("the units are no list of polygons", rule="Each is its outline in plan, in m.")
    must_be(act, str, "what it is called")
    least = finite(worth, "the least that is worth it", "It is a length in m, nought or more.", least=0.0)
    chosen: dict[int, str] = {}
    now, design = laid, _with(laid, dict.fromkeys(range(len(laid.spots)), ""))
    for why in (OUTSIDE, UNSURE):
        within = _reach(design, why)
        while (best := _most_useful(now, why, chosen, within, least)) is not None:
            chosen[best] = why
            now = _with(laid, chosen)
        for spot in [one for one, said in chosen.items() if said == why]:
            without = _with(laid, {one: said for one, said in chosen.items() if one != spot})
            if _short(without, why, within) <= _short(now, why, within) + SLIGHT:
                del chosen[spot]
                now = without
    spots = laid.spots
    counts = _counted(spots[["x", "y"]].to_numpy(), units)
    lifts = tuple(Lift(str(spots["point"].iloc[one]), float(spots["x"].iloc[one]), float(spots["y"].iloc[one]),
                       -float(spots["deviation"].iloc[one]), why, None if counts is None else int(counts[one]))
                  for one, why in chosen.items())
    return Mending(laid, lifts, now, design, act)


def _with(laid: Laid, chosen: dict[int, str]) -> Laid:
    """The surface with some spots at their design level."""
    levels = laid.spots["level"].to_numpy().copy()
    levels[list(chosen)] = laid.spots["design"].to_numpy()[list(chosen)]
    return judged(laid.found, levels, laid.design, laid.brief, laid.reduced, laid.errors, laid.marks)


def _wanted(laid: Laid, why: str) -> Floats:
    """How far inside its limits each number should lie, m or m/m; what is finer than levels can show need only lie inside."""
    return np.array([0.0 if why == OUTSIDE or one.beyond else one.give for one in laid.everywhere])


def _reach(design: Laid, why: str) -> NDArray[np.bool_]:
    """Which numbers lie as far inside their limits on the design itself: those that lifting to it can help."""
    return np.array([one.margin for one in design.everywhere]) >= _wanted(design, why) - ROUNDING


def _shortfall(laid: Laid, found: Floats, why: str, within: NDArray[np.bool_]) -> Floats:
    """By how many of their standard uncertainties numbers (..., k) fall short, summed over those `within` reach."""
    low, high = np.array([one.condition.ends for one in laid.everywhere]).reshape(-1, 2).T
    size = np.array([max(one.u or 0.0, LEAST if one.demand.unit == "mm" else LEAST / 10) for one in laid.everywhere])
    short = _wanted(laid, why) - np.minimum(found - low, high - found)
    return np.asarray((np.maximum(short - ROUNDING, 0.0) / size * within).sum(axis=-1))


def _short(laid: Laid, why: str, within: NDArray[np.bool_]) -> float:
    return float(_shortfall(laid, np.array([one.found for one in laid.everywhere]), why, within))


def _most_useful(laid: Laid, why: str, chosen: dict[int, str], within: NDArray[np.bool_], worth: float) -> int | None:
    """The spot whose lift to the design helps most; None where none does."""
    by = -laid.spots["deviation"].to_numpy()
    tried = [spot for spot in np.flatnonzero(np.abs(by) >= worth) if int(spot) not in chosen]
    before = _short(laid, why, within)
    if not tried or before <= SLIGHT:
        return None
    found = np.array([one.found for one in laid.everywhere])
    scores = _shortfall(laid, found + (laid.leans[:, tried] * by[tried]).T, why, within)
    best = int(scores.argmin())
    return int(tried[best]) if scores[best] < before - max(SLIGHT, LEAST_HELP * before) else None


def _counted(spots: Floats, units: Sequence[shapely.Polygon]) -> Floats | None:
    """How many units lie nearer to each spot than to any other."""
    if not len(units):
        return None
    middles = shapely.get_coordinates(shapely.centroid(np.array(list(units), dtype=object)))
    nearest = np.hypot(*(middles[:, None] - spots[None]).transpose(2, 0, 1)).argmin(axis=1)
    return np.bincount(nearest, minlength=len(spots)).astype(float)
