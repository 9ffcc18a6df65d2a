"""What holds a floor up on its base, or down, while its fall is given: one height that each place bounds; quarrels and cures."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np
import pandas as pd

from ..design.asked import ROUNDING, conditions_on, corners_of, facets_for
from ..design.brief import Brief
from ..design.conditions import Demand, Spot
from ..design.conflict import SHOWN, Change, Conflict
from ..design.edges import Edge
from ..design.published import LIMITS
from ..design.workmanship import ScreedKind
from ..errors import SurveyError
from ..surface.facet import Facet
from ..surface.finish import Finish
from ..surface.ground import Ground
from ..surface.pieces import Pieces, cut_pieces
from ..surface.plane import Floats, Plane, name_of
from ..surface.shapes import NEAR, Outlet, facets_of
from ..wording import word_change, word_distance, word_level, word_mm, word_place, word_volume
from .earthworks import levels_over

SPOT = 1e-3  # m: a corner of the pieces nearer than this to a spot is that spot
SHARE = 1e-6  # a spot with less than this of a place's level is not named for it
MOVED = 1 - 1e-6  # share of a scabbled depth by which what stands at the same place goes down


class Hold(NamedTuple):
    """Where a demand holds a floor: its level at a place must lie from `low` to `high`, m.

    The level there is that of the highest part of the floor plus `rise` (nought or negative, m for a fall of 1 m/m) times the
    fall; `low_of` and `high_of` name the fields of the demand that the two limits come from.
    """

    demand: Demand
    place: str
    x: float
    y: float
    rise: float
    low: float
    high: float
    low_of: str
    high_of: str


class Sunk(NamedTuple):
    """A floor's highest `level` (m) with its base scabbled to `ground`, last at x, y (a `spot` or none); `saves` in m³."""

    spot: str
    x: float
    y: float
    level: float
    saves: float
    ground: Ground


def unit_floor(brief: Brief, to: Outlet | Edge | None) -> tuple[Facet, ...]:
    """The facets of a floor that falls 1 m/m on its flattest part, its highest corner at nought; a level one if `to` is None.

    Raises SurveyError for an outlet or a side that does not suit the area.
    """
    facets = Finish.plane(Plane(0.0, 0.0, 0.0), brief.area).facets
    if isinstance(to, Outlet):
        parts = to.parts(brief.area)
        if not parts:
            raise SurveyError("no part of the area is large enough to fall to the outlet",
                              remedy="Check x and y of the corners, and their unit.")
        drop = 1.0 / min(part.facet([0.0, 1.0]).plane.fall for part in parts)
        facets = facets_of(parts, [-drop, 0.0])
    elif to is not None:
        side = brief.edge(to, "lower")
        up = brief.outward(side)
        facets = (Facet(Plane(0.0, up[0], up[1], side.first), brief.area, (0.0 - up[0], 0.0 - up[1])),)
    top = max(facet.plane.level_at(x, y) for facet in facets for x, y in facet.area.exterior.coords)
    return tuple(replace(facet, plane=facet.plane.lowered(top)) for facet in facets)


def floor_of(unit: Sequence[Facet], level: float, fall: float) -> Finish:
    """The floor whose highest part lies at `level` m, with that fall on its flattest part."""
    return Finish(tuple(replace(facet, plane=Plane(level + fall * facet.plane.level, fall * facet.plane.gx, fall * facet.plane.gy,
                                                   facet.plane.at)) for facet in unit))


def corner_spots(base: Ground, pieces: Pieces, to: Outlet | Edge | None) -> tuple[Spot, ...]:
    """Every corner of the pieces once: by the name of the spot where one was read there, else told by its place."""
    places, level = pieces.corners.reshape(-1, 2), pieces.level.reshape(-1)
    _, first = np.unique(np.rint((places - places[0]) / NEAR), axis=0, return_index=True)
    found = []
    for number in sorted(map(int, first)):
        x, y = map(float, places[number])
        found.append(Spot(called(base, x, y, to), x, y, float(level[number])))
    return tuple(found)


def called(base: Ground, x: float, y: float, to: Outlet | Edge | None) -> str:
    """A place of the base in words: the spot that was read there, else the outlet, else between which spots it lies."""
    if one := spot_at(base, x, y):
        return one
    if isinstance(to, Outlet) and math.dist(to.point, (x, y)) < SPOT:
        return f"the outlet at {word_place(x, y)} (not read: read the base beside it)"
    corners, shares, _ = base.shares_at(x, y)
    *first, last = [name_of(base.points, number) for number in sorted(map(int, corners[shares > SHARE]))]
    return f"{word_place(x, y)} (between {', '.join(first)} and {last}, not read)"


def spot_at(base: Ground, x: float, y: float) -> str:
    """The name of the spot at a place; empty where none was read."""
    off = np.hypot(base.x - x, base.y - y)
    return name_of(base.points, int(off.argmin())) if off.min() < SPOT else ""


def holds_of(unit: Sequence[Facet], brief: Brief) -> tuple[Hold, ...]:
    """What all demands on levels at places ask of a floor."""
    floor, found = Finish(tuple(unit)), []
    corners = corners_of(floor)
    for demand in brief.every_demand:
        for one in conditions_on(demand, floor, brief, corners):
            if one.at is None:
                continue
            low, high = -math.inf if one.low is None else one.low, math.inf if one.high is None else one.high
            ends = (low, high, one.low_of, one.high_of) if one.sign > 0 else (-high, -low, one.high_of, one.low_of)
            of_line = one.sign * one.constant
            found += [Hold(demand, one.place, *one.at, facet.plane.level_at(*one.at), ends[0] - of_line, ends[1] - of_line,
                           *ends[2:]) for facet in facets_for(floor, brief, one, corners)]
    return tuple(found)


def lift_rows(holds: Sequence[Hold], level: float) -> tuple[Floats, Floats]:
    """What holds ask, as rows a x ≤ b (m, 2) and (m,) of x: how far above `level` the highest part lies (m), and the fall."""
    rows = [(sign, sign * one.rise, sign * (limit - level)) for one in holds for sign, limit in ((-1.0, one.low), (1.0, one.high))
            if math.isfinite(limit)]
    table = np.array(rows).reshape(-1, 3)
    return table[:, :2], table[:, 2]


def window(holds: Sequence[Hold], fall: float) -> tuple[Floats, Floats]:
    """How low and how high each hold lets the highest part of the floor lie, m, two arrays (n,)."""
    rise, low, high = np.array([(one.rise, one.low, one.high) for one in holds]).T
    return low - fall * rise, high - fall * rise


def lifted(holds: Sequence[Hold], fall: float, mine: Demand) -> tuple[float, bool]:
    """The lowest level of the highest part that all holds let pass, m, else the lowest for the demand `mine`; whether all do."""
    lows, highs = window(holds, fall)
    fits = bool(lows.max() <= highs.min() + ROUNDING)
    return float(lows.max() if fits else lows[[one.demand is mine for one in holds]].max()), fits


def quarrels(holds: Sequence[Hold], fall: float, kind: ScreedKind, mine: Demand) -> tuple[str, ...]:
    """Every two demands that cannot be met together, by how much, and what each alone would have to give.

    With the fall fixed all is a matter of one level, so that a smallest set is one demand that wants the floor up and one that
    wants it down. `mine` is the thickness of the screed, whose published limits are those of its `kind`.
    """
    lows, highs = window(holds, fall)
    demands = list({id(one.demand): one.demand for one in holds}.values())
    rows = [np.array([one.demand is demand for one in holds]) for demand in demands]
    told = []
    for lower, of_lower in zip(demands, rows, strict=True):
        for upper, of_upper in zip(demands, rows, strict=True):
            low, high = float(lows[of_lower].max()), float(highs[of_upper].min())
            if low - high <= ROUNDING:
                continue
            up = [holds[number] for number in np.argsort(-lows, kind="stable") if of_lower[number] and lows[number] > high]
            down = [holds[number] for number in np.argsort(highs, kind="stable") if of_upper[number] and highs[number] < low]
            gives = [given for concerned in (up, down)
                     if (given := _given(concerned, low - high, kind, mine, up=concerned is up))]
            told.append(f"{Conflict(tuple(dict.fromkeys((lower, upper)))).words} For {up[0].place} the floor must lie at "
                        f"{word_level(low)} or higher where it is highest, for {down[0].place} at {word_level(high)} or lower, "
                        f"{word_mm(low - high, digits=1)} apart. "
                        + (f"Alone, {'; or '.join(gives)}." if gives else "No change to one of them alone is enough."))
    return tuple(told)


def fillings(holds: Sequence[Hold], fall: float, mine: Demand) -> str:
    """Which hollows of a base to fill, and by how much, where the screed would be too thick; empty where there are none."""
    lows, highs = window(holds, fall)
    up, thick = float(lows.max()), np.array([one.demand is mine for one in holds])
    deep = {holds[number].place: up - float(highs[number]) for number in np.argsort(highs, kind="stable")
            if thick[number] and up - highs[number] > ROUNDING}
    told = ", ".join(f"{word_change(deep[place], 'mm')} at {place}" for place in list(deep)[:SHOWN])
    more = f" and less at {len(deep) - SHOWN} more places" if len(deep) > SHOWN else ""
    enough = "then it fits" if highs[np.logical_not(thick)].min(initial=math.inf) >= up - ROUNDING else "that alone is too little"
    return f"Fill hollows of the base first, with concrete or a levelling coat: {told}{more}; {enough}." if deep else ""


def _given(holds: Sequence[Hold], gap: float, kind: ScreedKind, mine: Demand, *, up: bool) -> str:
    """What the demand of these holds, the worst first, would have to give, with the published limits that this would break."""
    demand = holds[0].demand
    field = (holds[0].low_of if up else holds[0].high_of).split(" ")[-1]  # a cover is reset rather than left standing out
    bound, old = demand.bounds.get(field), demand.value(field) if field in demand.bounds else None
    if bound is None or old is None or (bound.least and old < gap):
        return ""
    way = -1.0 if bound.least else 1.0
    new = old + way * gap
    known = [getattr(kind, field)] if demand is mine else [LIMITS[name] for name in bound.limits]
    breaks = tuple(one for one in known if one and way * (new - one.value) > 1e-9
                   and (one is known[0] or way * (old - one.value) < 1e-9))  # a limit that was kept so far, or the usual one
    places = list(dict.fromkeys(hold.place for hold in holds))
    words = bound.words.format(new=word_mm(new, digits=1, never="more" if bound.least else "less"), old=word_mm(old),
                               who=demand.who, way="below" if up else "proud of",
                               where=", ".join(places[:SHOWN]) + " and others" * (len(places) > SHOWN))
    warning = Change(demand, True, {field: new}, None, words, breaks).warning
    return f"{words} ({warning.removesuffix('.')})" if warning else words


def sinking(base: Ground, unit: Sequence[Facet], level: float, fall: float, least: float, to: float,
            most: int) -> Iterator[Sunk]:
    """How a floor with `least` m over its base sinks, down `to` a level of its highest part, as the base is scabbled.

    At each step one place more, the one that holds the floor up, becomes a corner of the base's triangles, and all such corners
    go down together until another place holds the floor: it goes down by its share of that, and takes over where its level and
    the floor's meet on their way down. At most `most` steps, none where the whole base would go down.
    """
    areas = [facet.area for facet in unit]
    pieces = cut_pieces(base, areas)
    over = fall * levels_over(unit, pieces) - least
    before = float(((over - pieces.level).mean(axis=1) * pieces.plan).sum()) + level * float(pieces.plan.sum())
    ground, rates = base, np.zeros(len(base.x))  # how fast each corner goes down, for 1 m of the floor
    holding = (pieces.level - over).ravel()
    at = pieces.corners.reshape(-1, 2)[holding.argmax()]
    for _ in range(most if holding.max() > level - ROUNDING else 0):
        if level <= to + ROUNDING:
            return
        x, y = map(float, at)
        ground = ground.with_corners([x], [y])
        near = int(np.hypot(ground.x - x, ground.y - y).argmin())
        only = np.isin(np.arange(len(ground.x)), near).astype(float)
        rates = np.append(rates, np.zeros(len(only) - len(rates)))
        rates[near] = 1.0 / max(ground.with_levels(only).level_at(x, y), 0.5)  # a place beside a spot goes down by that spot
        pieces = cut_pieces(ground, areas)
        over = fall * levels_over(unit, pieces) - least
        moves = cut_pieces(ground.with_levels(rates), areas).level.ravel()
        places, holding = pieces.corners.reshape(-1, 2), (pieces.level - over).ravel()
        free = moves < MOVED
        meets = np.full(len(holding), -math.inf)
        meets[free] = level - np.maximum(level - holding[free], 0.0) / (1.0 - moves[free])
        at = places[meets.argmax()]
        if not math.isfinite(max(float(meets.max()), to)):
            return  # the whole base would go down
        down = level - max(float(meets.max()), to)
        level -= down
        ground = ground.with_levels(ground.level - down * rates)
        depth = over - (pieces.level - down * moves.reshape(-1, 3))
        yield Sunk(spot_at(base, x, y), x, y, level,
                   before - float((depth.mean(axis=1) * pieces.plan).sum()) - level * float(pieces.plan.sum()), ground)


def in_words(table: pd.DataFrame) -> pd.DataFrame:
    """A table of places and lengths in m, and of volumes in m³, each with its unit; what is empty stays so."""
    words: dict[str, Callable[[float], str]] = {"base": word_level, "level": word_level, "saves": word_volume,
                                                "apart": word_distance}
    found = table.drop(columns="place", errors="ignore")
    for name in found.columns:
        word = words.get(str(name), _tenths)
        if found[name].dtype.kind == "f" and name not in ("x", "y"):
            found[name] = ["" if value != value else word(value) for value in found[name]]
    if "y" in found:
        found["x"] = [word_place(x, y) for x, y in zip(found["x"], found["y"], strict=True)]
    return found.drop(columns="y", errors="ignore").rename(columns={"x": "at", "u": "standard uncertainty"})


def _tenths(metres: float) -> str:
    return word_mm(metres, digits=1)
