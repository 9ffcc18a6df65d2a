"""A screed on a base that is there: how low the floor can lie, what holds it up, and what is ordered."""

from __future__ import annotations

import math
import warnings
from collections.abc import Iterable
from contextlib import suppress
from dataclasses import dataclass, replace
from functools import cached_property
from html import escape
from typing import Any

import numpy as np
import pandas as pd
import shapely

from ..design.asked import ROUNDING
from ..design.brief import Brief
from ..design.budget import ErrorBudget
from ..design.check import check_finish
from ..design.conditions import Spot
from ..design.demands import MaxGradient, Thickness
from ..design.edges import Edge
from ..design.layers import BEDDING, Layer
from ..design.propagation import LevelErrors
from ..design.rows import least as least_of
from ..design.verdicts import Verdicts
from ..design.workmanship import SCREED_WASTE, SCREEDS, ScreedKind, one_of
from ..errors import SurveyError, SurveyWarning, finite, must_be
from ..surface.facet import Facet
from ..surface.finish import Finish
from ..surface.ground import Ground
from ..surface.pieces import Pieces, cut_pieces
from ..surface.plane import Floats, frozen
from ..surface.shapes import Outlet
from ..wording import html_table, word_change, word_fall, word_mm, word_place, word_volume
from . import lift
from .earthworks import levels_over
from .heaps import Heap, exactly
from .materials import mixed
from .pegs import standing
from .screed_notes import FALLS, doubts_of, gained_by, sentence_of, sources_of

RANKED, TRIED = 5, 12  # high spots in the table; spots to be scabbled before that is no cure any more
SCABBLING = ("Scabble only where the base may be cut: not through reinforcement, a membrane or pipes; where nobody read, "
             "measure before you cut. It sets free silica dust and shakes the hands: work wet or with suction, wear a mask that "
             "fits, and rest from the tool.")


@dataclass(frozen=True, eq=False)
class Screed:
    """A screed on a base. Made by `base_to_screed`; lengths in m.

    `finish` is the floor, whose highest part lies at `level`, as low as the least thickness and, where it `fits`, all other
    demands let it, or so much `higher`; else as low as the thickness alone lets it. `fall` is that of its flattest part, and no
    part was to fall more than `steepest`. `judged` is the brief with the thickness demanded at each corner of the `pieces`, whose
    `depth` (k, 3) it is; `holds` are what each demand asks, `asked` the options given, `unit` the floor for a fall of 1 m/m.
    """

    base: Ground
    brief: Brief
    judged: Brief
    kind: ScreedKind
    least: float
    most: float | None
    to: Outlet | Edge | None
    fall: float
    finish: Finish
    level: float
    fits: bool
    pieces: Pieces
    depth: Floats
    demand: Thickness
    steepest: float | None
    holds: tuple[lift.Hold, ...]
    unit: tuple[Facet, ...]
    materials: tuple[Heap, ...]
    doubts: tuple[str, ...]
    asked: dict[str, Any]
    gained: str = ""
    higher: float = 0.0

    @property
    def outlet_level(self) -> float | None:
        """Level of the floor at the outlet or along the lower side, m; None for a level floor."""
        if self.to is None:
            return None
        place = self.to.point if isinstance(self.to, Outlet) else self.to[0]
        return float(self.finish.level_at(*place))

    @property
    def volume(self) -> float:
        """Volume in m³ where the base is known: the mean depth of each piece times its area, which is exact."""
        return float((self.depth.mean(axis=1) * self.pieces.plan).sum())

    @property
    def area(self) -> float:
        """Plan area asked about, m²."""
        return float(self.brief.area.area)

    @property
    def uncovered(self) -> float:
        """Plan area in m² where no spot of the base was read; no volume is guessed at there."""
        left = self.area - float(self.pieces.plan.sum())
        return left if left > 1e-9 * self.area else 0.0

    @property
    def mean(self) -> float:
        """Mean thickness where the base is known, m."""
        return self.volume / float(self.pieces.plan.sum())

    @property
    def thinnest(self) -> Spot:
        """Where it is thinnest: point, x, y and, as `level`, the thickness, m."""
        return min(self._thick, key=lambda one: one.level)

    @property
    def thickest(self) -> Spot:
        """Where it is thickest, in the same way."""
        return max(self._thick, key=lambda one: one.level)

    @property
    def _thick(self) -> list[Spot]:
        return [Spot(one.place, one.x, one.y, self.level + self.fall * one.rise - one.low + self.least) for one in self.holds
                if one.demand is self.demand]

    @property
    def table(self) -> pd.DataFrame:
        """A new table of the base's spots on the area: point x y base level thickness, m."""
        near = shapely.distance(self.brief.area, shapely.points(self.base.x, self.base.y)) <= lift.SPOT
        table = self.base.table[near].rename(columns={"level": "base"}).reset_index(drop=True)
        level = self.finish.level_at(table["x"], table["y"])
        return pd.DataFrame(table.assign(level=level, thickness=level - table["base"]))

    @property
    def limits(self) -> pd.DataFrame:
        """A new table, tightest first: demand place needs ("at least", "at most") level floor in_hand, m."""
        lines = [(one.demand.title, one.place, needs, limit, floor := self.level + self.fall * one.rise, sign * (floor - limit))
                 for one in self.holds for needs, limit, sign in (("at least", one.low, 1), ("at most", one.high, -1))]
        table = pd.DataFrame(lines, columns=["demand", "place", "needs", "level", "floor", "in_hand"])
        table = table[np.isfinite(table["level"]) & ~table.duplicated(["demand", "place", "needs"])]  # facets meet at a corner
        return pd.DataFrame(table.sort_values("in_hand", ignore_index=True, kind="stable"))

    @property
    def room(self) -> tuple[float, str]:
        """How much higher the floor might lie by the readings, m, and what keeps it from more, in a sentence."""
        table = self.limits
        most = table[table["needs"] == "at most"]
        if most.empty:
            return math.inf, "Nothing keeps it down."
        demand, place, *_, left = most.iloc[0]
        return float(left), f"{place} ({demand}) leaves it {word_mm(max(left, 0.0), digits=1, never='more')} more."

    @property
    def _ends(self) -> tuple[Floats, Floats, Floats, Floats]:
        """How low and how high the highest part may lie for the thickness, and for each other demand, m."""
        (low, high), mine = lift.window(self.holds, self.fall), np.array([one.demand is self.demand for one in self.holds])
        return low[mine], high[mine], low[np.logical_not(mine)], high[np.logical_not(mine)]

    def _sunk(self, most: int, to: float | None = None) -> list[lift.Sunk]:
        """The floor sunk `to` a level, else as low as the other demands let it, in at most so many steps."""
        low = self._ends[2].max(initial=-math.inf) if to is None else to
        return list(lift.sinking(self.base, self.unit, self.level, self.fall, self.least, low, most))

    @property
    def high_spots(self) -> pd.DataFrame:
        """A new table of the places that hold the floor up: rank spot place x y scabble sinks saves.

        In each row this place and all above it are scabbled until the next one holds the floor up: `scabble` is how deep at
        this one, `sinks` how much lower the floor may then lie (m), `saves` how much less screed that takes (m³). An earlier
        place goes down further by as much as the floor sinks further. `spot` is empty where none was read; the base there goes
        by the spots about it. The table is empty where the thickness does not hold the floor up.
        """
        lines = [(rank, one.spot, word_place(one.x, one.y), one.x, one.y, self._off(one, one.ground), self.level - one.level,
                  one.saves) for rank, one in enumerate(self._sunk(RANKED), start=1)]
        return pd.DataFrame(lines, columns=["rank", "spot", "place", "x", "y", "scabble", "sinks", "saves"])

    @property
    def high_words(self) -> pd.DataFrame:
        """`high_spots` for reading: to sink the floor so far, how deep to scabble at each place in all."""
        ranks, lines, said = self._sunk(RANKED), [], word_mm(0.0, digits=1)
        for rank, now in enumerate(ranks, start=1):
            if (down := word_mm(self.level - now.level, digits=1)) == said:
                continue  # places of one height go down together
            deep = [(one, self._off(one, now.ground)) for one in ranks[:rank]]
            told = (f"{lift.called(self.base, one.x, one.y, self.to)} {word_change(off, 'mm')}" for one, off in deep
                    if off > ROUNDING)
            lines.append((f"to sink the floor {down}", ", ".join(told), word_volume(now.saves)))
            said = down
        return pd.DataFrame(lines, columns=["", "scabble in all", "saves"])

    @cached_property
    def quarrel(self) -> tuple[str, ...]:
        """Which demands cannot be met together, by how much, and what each would have to give; empty where it fits."""
        return () if self.fits else lift.quarrels(self.holds, self.fall, self.kind, self.demand)

    @cached_property
    def cures(self) -> tuple[str, ...]:
        """What the trade could do, each tried on this base and brief; empty where it fits."""
        tried = () if self.fits else (self._scabbled(), self._of_other_kind(), self._flatter(),
                                      lift.fillings(self.holds, self.fall, self.demand))
        return tuple(cure for cure in tried if cure)

    def _tried(self, base: Ground, **changed: Any) -> bool:
        with warnings.catch_warnings(action="ignore", category=SurveyWarning), suppress(SurveyError):
            return base_to_screed(base, self.brief, **{**self.asked, "fall": self.fall, **changed}).fits
        return False

    def _off(self, place: lift.Sunk, ground: Ground) -> float:
        """How deep the base is scabbled at a place, m."""
        return float(self.base.level_at(place.x, place.y) - ground.level_at(place.x, place.y))

    def _scabbled(self) -> str:
        target = float(np.concatenate(self._ends[1::2]).min())
        steps = self._sunk(TRIED, target)
        if not steps or steps[-1].level > target + ROUNDING or not self._tried(steps[-1].ground):
            return ""
        off = [(self._off(one, steps[-1].ground), lift.called(self.base, one.x, one.y, self.to)) for one in steps]
        told = ", ".join(f"{word_change(deep, 'mm')} at {place}" for deep, place in off if deep > ROUNDING)
        return f"It fits once the base is scabbled: {told}. {SCABBLING}"

    def _of_other_kind(self) -> str:
        found = [f"{name} (at least {word_mm(kind.least.value)}: {kind.least.source})" for name, kind in SCREEDS.items()
                 if kind.least.value < self.least - 1e-9 and self._tried(self.base, kind=name, least=None)]
        return f"A thinner kind would fit, if the floor can be built that way: {'; '.join(found)}." if found else ""

    def _flatter(self) -> str:
        found = least_of(np.array([0.0, -1.0]), *lift.lift_rows(self.holds, self.level), [(None, None), (0.0, self.fall)])
        flat = 0.0 if found is None else float(found[1])
        changed = {"fall": flat} if flat > ROUNDING else {"to": None, "fall": 0.0}
        if self.fall == 0 or found is None or not self._tried(self.base, **changed):
            return ""
        said = f"It fits with a flatter fall: {word_fall(flat, never='steeper')}."
        return said if flat >= FALLS.range.low - 1e-9 else (
            f"{said.removesuffix('.')}; that is flatter than {word_fall(FALLS.range.low)}, {FALLS.what} ({FALLS.source}): water "
            "may stand.")

    def verdicts(self, errors: ErrorBudget | LevelErrors | None = None) -> Verdicts:
        """The floor held against brief, thickness and steepest fall, by the margin or, with errors, in three verdicts."""
        steep = () if self.steepest is None else (MaxGradient(self.steepest),)
        return check_finish(self.finish, replace(self.judged, demands=(*self.judged.demands, *steep)), budget=errors)

    def pads(self, places: pd.DataFrame | Iterable[Any], line: float) -> pd.DataFrame:
        """What to measure down from a line at `line` m: a new table of point x y base_reading screed_reading thickness, m.

        `places` are columns or tuples of point, x, y (as `pegs_at` gives), or names of spots. The base's is empty where
        it was not read. Raises SurveyError for a spot or a place that is not there, and for a line below the floor.
        """
        height = finite(line, "the line", "It is a level in m.")
        must_be(places, Iterable, "the list of pads")
        spots = {point: (point, x, y) for point, x, y, _ in self.base.table.itertuples(index=False, name=None)}
        listed = places if isinstance(places, pd.DataFrame) else [spots.get(one, one) if isinstance(one, str) else one
                                                                  for one in places]
        lines: list[tuple[object, ...]] = []
        for point, x, y in standing(listed):
            try:
                floor = float(self.finish.level_at(x, y))
            except SurveyError as error:
                raise error.at(f"pad {point}") from None
            if floor > height + ROUNDING:
                raise SurveyError(f"the floor would lie {word_mm(floor - height, digits=1)} above the line", where=f"pad {point}",
                                  remedy="Measure from a line that lies higher.")
            base = float(self.base.level_at(x, y)) if self.base.covers(x, y)[0] else None
            lines.append((point, x, y, None, height - floor, None) if base is None else
                         (point, x, y, height - base, height - floor, floor - base))
        return pd.DataFrame(lines, columns=["point", "x", "y", "base_reading", "screed_reading", "thickness"])

    def sentence(self) -> str:
        """How the floor lies, how thick the screed is and what it takes, in words."""
        return sentence_of(self)

    @property
    def words(self) -> str:
        """All there is to say, in sentences."""
        said = [self.sentence(), self.gained, *self.quarrel, *self.cures, *self.doubts]
        for one in self._sunk(1) if self.fits else []:
            if self.level - one.level < ROUNDING:
                continue
            said.append(f"Scabbling {word_change(self.level - one.level, 'mm')} off the base at "
                        f"{lift.called(self.base, one.x, one.y, self.to)} would let the floor sink by as much and save "
                        f"{word_volume(one.saves)}. {SCABBLING}")
        return " ".join(one for one in (*said, f"Sources: {'; '.join(self.sources)}.") if one)

    @property
    def sources(self) -> tuple[str, ...]:
        """Where each usual value comes from."""
        return sources_of(self)

    def __repr__(self) -> str:
        return f"Screed: {self.sentence()}"

    def _repr_html_(self) -> str:
        told = "".join(f"<p>{escape(one)}</p>" for one in (self.sentence(), self.gained, *self.doubts) if one)
        fight = "".join(f"<li>{escape(one)}</li>" for one in (*self.quarrel, *self.cures))
        ranks = self.high_words
        high = f"<p>What holds the floor up. {escape(SCABBLING)}</p>{html_table(ranks, words=True)}" if len(ranks) else ""
        return (f"{told}{f'<ul>{fight}</ul>' * bool(fight)}{high}<details><summary>Every spot of the base</summary>"
                f"{html_table(lift.in_words(self.table), words=True)}</details><p>Sources: {escape('; '.join(self.sources))}</p>")


def base_to_screed(base: Ground, brief: Brief, *, kind: str = "bonded", least: float | None = None, most: float | None = None,
                   to: Any = None, fall: float = 0.0, steepest: float | None = None,
                   mix: tuple[float, float] = (1, 4), waste: Any = None, higher: float = 0.0) -> Screed:
    """The lowest floor that a screed of the least thickness makes on a base, or one laid `higher` than that.

    Parameters
    ----------
    base : Ground
        The base as it was read, m.
    brief : Brief
        The area, and demands on the finished floor; those on levels hold it, the others are told by `verdicts`.
    kind, least, most
        A kind of SCREEDS by name, and thicknesses in m in place of its least and its greatest.
    to : Outlet, a place or a pair of places, optional
        An outlet or its place, to which the floor falls from a level perimeter (or chosen sides); or two places (x, y), m, along
        the lower side of the area, to which it falls as one plane. If not given the floor is level.
    fall, steepest : float
        The fall of the flattest part, m/m; with `steepest` no part falls more steeply than that, if the shape allows it, and the
        flattest so much more than `fall` as fits and takes the least screed.
    mix, waste
        Parts of cement and sand by volume; the share lost in place of SCREED_WASTE, as of a `Layer`.
    higher : float
        How far above the lowest the floor is laid, m, so that errors of the readings leave it thick enough.

    Raises
    ------
    SurveyError
        More `higher` than the other demands allow; where no floor fits, none is laid higher, and `doubts` say so.
        An unknown kind; a least thickness above the greatest; a fall without `to` or `to` without a fall; an outlet or a side
        that does not suit the area; a base with no spot in it. A SurveyWarning for a least thickness under the published one,
        and a fall flatter than 1:80 or steeper than 1:35.

    Notes
    -----
    With the fall given, each corner where the base is cut along the facets asks for at least one height of the floor, and the
    greatest of them holds it up; the volume is the mean depth of each piece times its area. Thicknesses and falls have the
    sources of `SCREEDS` and `FLOOR_FALLS`, told by `.sources`.

    >>> base = Ground([0, 3, 3, 0], [0, 0, 2, 2], [0.0, 0.006, 0.006, 0.0])
    >>> screed = base_to_screed(base, Brief([(0, 0), (3, 0), (3, 2), (0, 2)]), least=0.03)
    >>> round(screed.level, 3), round(screed.volume, 3)
    (0.036, 0.198)
    """
    must_be(base, Ground, "the base")
    must_be(brief, Brief, "the brief")
    if np.shape(to) == (2,):  # one place can only be an outlet
        to = Outlet(to)
    what = one_of(SCREEDS, kind, "kind of screed")
    asked = {"kind": kind, "least": least, "most": most, "to": to, "mix": mix, "waste": waste}
    long, rule, usual = "It is a length in m, nought or more.", "It is in m/m, downhill: 1:80 is 0.0125.", FALLS.range
    thin = what.least.value if least is None else finite(least, "the least thickness", long, least=0.0)
    thick = finite(most, "the greatest thickness", long, least=0.0) if most is not None else what.most and what.most.value
    if thick is not None and thin > thick:
        raise SurveyError(f"the screed is to be at least {word_mm(thin)} and at most {word_mm(thick)} thick",
                          remedy="Change the one or the other, or the kind of screed.")
    flat = finite(fall, "the fall", rule, least=0.0)
    steep = flat if steepest is None else finite(steepest, "the steepest fall", rule, least=0.0)
    if (to is None) != (flat == 0) or steep < flat or (to is None and steep) or steep > 1:
        where = "an outlet" if isinstance(to, Outlet) else "nowhere" if to is None else "a side"
        raise SurveyError(f"the fall is {word_fall(flat)}, the steepest {word_fall(steep)}, and the floor is to fall to {where}",
                          rule="A floor that falls has an outlet or a lower side and a fall above nought, no steeper than the "
                               "steepest; a level one has none of them.", remedy="Give `to` and `fall` together, or neither.")
    doubtful = [f"A fall of {word_fall(one)} is not between {word_fall(usual.low)} and {word_fall(usual.high)}, {FALLS.what} "
                f"({FALLS.source})." for one in {flat, steep} if one and not usual.low <= one + 1e-9 <= usual.high + 2e-9]
    if thin < what.least.value - 1e-9:
        doubtful.append(f"{word_mm(thin)} is under {word_mm(what.least.value)}, {what.least.what} ({what.least.source}).")
    more = finite(higher, "how much higher the floor is laid", long, least=0.0)
    unit = lift.unit_floor(brief, to)
    pieces = cut_pieces(base, [facet.area for facet in unit])
    demand = Thickness(lift.corner_spots(base, pieces, to), thin, thick)
    judged = replace(brief, demands=(*brief.demands, demand))
    holds, rise = lift.holds_of(unit, judged), levels_over(unit, pieces)
    below = [one._replace(high=one.high - more) for one in holds]  # where the lowest floor must lie for this to be laid higher
    plan, shift = float(pieces.plan.sum()), float((rise.mean(axis=1) * pieces.plan).sum())
    top = max(flat, steep / max(facet.plane.fall for facet in unit)) if to else flat  # of the flattest part
    best = None if top == flat else least_of(np.array([plan, shift]), *lift.lift_rows(below, float(pieces.level.mean())),
                                               [(None, None), (flat, top)])
    used = flat if best is None else min(max(float(best[1]), flat), top)
    (lowest, fits), (other, fitted) = lift.lifted(below, used, demand), lift.lifted(below, flat, demand)
    if more and not fits:
        lower = base_to_screed(base, brief, **asked, fall=fall, steepest=steepest)
        if lower.fits:
            raise SurveyError(f"the floor cannot lie {word_mm(more, digits=1)} higher than need be: {lower.room[1]}",
                              remedy="Lay it higher by no more than that, or cut the base where it holds the floor up.")
        return replace(lower, doubts=(*lower.doubts, f"Laying it {word_mm(more, digits=1)} higher waits until it fits."))
    level, gained = lowest + more, ""
    if best is not None:
        gained = gained_by(flat, used, top, steep, (other - lowest) * plan + (flat - used) * shift if fitted else None)
    depth = frozen(level + used * rise - pieces.level)
    volume = float((depth.mean(axis=1) * pieces.plan).sum())
    layer = Layer("screed", volume / plan, kind=BEDDING, mix=mix, waste=SCREED_WASTE.range if waste is None else waste)
    heaps = () if kind.startswith("calcium sulphate") else tuple(
        mixed(layer.mix or (), exactly(volume), exactly(volume) * (layer.waste + 1.0) * layer.loose))
    for sentence in doubtful:
        warnings.warn(sentence, SurveyWarning, stacklevel=2)
    finish = lift.floor_of(unit, level, used)
    screed = Screed(base, brief, judged, what, thin, thick, to, used, finish, level, fits, pieces, depth, demand,
                    None if steepest is None else steep, holds, unit, heaps, (), asked, gained, more)
    return replace(screed, doubts=tuple(doubts_of(screed)))
