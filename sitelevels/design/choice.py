"""The choice of one plane laid open: for each level at a wall and fall away from it, is it allowed and what is moved?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely

from ..errors import SurveyError, finite_list
from ..surface.ground import Ground
from ..surface.pieces import cut_pieces
from ..surface.plane import Floats
from ..surface.shapes import OnePlane
from ..wording import word_fall, word_level, word_volume
from .asked import ROUNDING
from .brief import Brief
from .rows import Rows, rows_of
from .volume import Volume

MOST_DEPTHS = 60_000  # depths worked out for one picture: what a slider can wait for
TIGHT = 2 * ROUNDING  # m or m/m: an edge is named for the demand whose limit is so near
HAIR = 5e-5  # m or m/m: choices that differ by less are shown as one
NEAR = 0.12  # m: how far above and below a surface the choice is laid open
ROOM = 0.02  # m: what is shown beyond the outermost level; a quarter of it in m/m beyond the steepest fall
Side = tuple[str, tuple[float, float], tuple[float, float]]


@dataclass(frozen=True, eq=False)
class Choice:
    """What every plane with one fall along a wall comes to. Made by `lay_open`.

    `levels` (p,) at the wall's first end in m and `falls` (q,) away from it in m/m are those of `volume` (q, p), dig and fill
    together in m³. `allowed` is the part of that plan, as (level, fall), where every demand is met, empty where there is none;
    `edges` names each demand that bounds it, with the middle of one side and the way out over it.
    """

    brief: Brief
    wall_name: str
    along: float
    levels: Floats
    falls: Floats
    volume: Floats
    allowed: shapely.Polygon
    edges: tuple[Side, ...]

    def sentence(self) -> str:
        """The choice in words."""
        if self.allowed.is_empty:
            return f"With a fall of {word_fall(self.along)} along the {self.wall_name} no level and fall away meet every demand."
        low, flat, high, steep = self.allowed.bounds
        if high - low < HAIR and steep - flat < HAIR:
            return (f"With a fall of {word_fall(self.along)} along the {self.wall_name} one level and fall away alone meet every "
                    f"demand, with nothing in hand: {word_level((low + high) / 2)} at its first end and "
                    f"{word_fall((flat + steep) / 2)} away from it.")
        corners = shapely.get_coordinates(self.allowed)
        place = corners.mean(axis=0)
        at = self.volume[np.abs(self.falls - place[1]).argmin(), np.abs(self.levels - place[0]).argmin()]
        return (f"With a fall of {word_fall(self.along)} along the {self.wall_name}, the white part, where every demand is met, "
                f"reaches in this picture from {word_level(low)} to {word_level(high)} at its first end and from "
                f"{word_fall(flat)} to {word_fall(steep)} away from it, not every level with every fall; about "
                f"{word_volume(float(at))} are moved in its middle.")


@dataclass(frozen=True, eq=False)
class Choosing:
    """A brief and a ground made ready to lay open the choice of one plane beside a wall, again and again."""

    brief: Brief
    ground: Ground
    wall_name: str

    @cached_property
    def _rows(self) -> Rows:
        return rows_of(self.brief, OnePlane(), float(self.ground.level.mean()) + self.brief.build_up)

    @cached_property
    def _volume(self) -> Volume:
        return Volume(self._rows, cut_pieces(self.ground, [self.brief.area]), self.brief.build_up)

    def about(self, along: float, surfaces: Sequence[tuple[float, float]], like: Choice | None = None) -> Choice:
        """The choice about some surfaces, each a level (m) and a fall away (m/m), and all that is allowed near them.

        Its ends are those of `like` where all of that lies within them.
        """
        given = [finite_list(one, "a surface", "It is a level in m and a fall away in m/m.", count=2) for one in surfaces]
        if not given:
            raise SurveyError("there is no surface to lay the choice open about", remedy="Give one: its level and fall away.")
        level, fall = given[0]
        allowed, _ = self.allowed(along, (level - NEAR, level + NEAR), (min(fall, 0.0) - 0.01, max(fall, 0.05) + 0.01))
        levels, falls = zip(*given, *allowed.exterior.coords, strict=True)
        if like is not None and _within(levels, like.levels) and _within(falls, like.falls):
            return self.lay_open(along, (like.levels[0], like.levels[-1]), (like.falls[0], like.falls[-1]))
        return self.lay_open(along, (min(levels) - ROOM, max(levels) + 2 * ROOM), (min(falls) - ROOM / 4, max(falls) + ROOM / 4))

    def lay_open(self, along: float, levels: tuple[float, float], falls: tuple[float, float]) -> Choice:
        """The choice between two levels (m) and two falls away (m/m) for a fall `along` the wall (m/m).

        Raises SurveyError where the ranges are empty.
        """
        rule = "It is the lowest and the highest, in m or m/m."
        levels, falls = (tuple(finite_list(one, f"the range of {name}", rule, count=2))  # type: ignore[assignment]
                         for one, name in ((levels, "levels"), (falls, "falls")))
        if not (levels[0] < levels[1] and falls[0] < falls[1]):
            raise SurveyError("the range of levels or falls is empty", rule="Give each as lowest, highest.")
        count = int(np.clip(np.sqrt(MOST_DEPTHS / (3 * len(self._volume.plan))), 4, 15))
        level, fall = np.linspace(*levels, count), np.linspace(*falls, count)
        start, by_level, by_fall = self._lines(along)
        grid = start + level[None, :, None] * by_level + fall[:, None, None] * by_fall
        volume = self._volume.many(grid.reshape(count * count, -1)).reshape(count, count)
        allowed, edges = self.allowed(along, levels, falls)
        return Choice(self.brief, self.wall_name, along, level, fall, volume, allowed, edges)

    def _lines(self, along: float) -> tuple[Floats, Floats, Floats]:
        """The scaled unknowns as start + level · by_level + fall away · by_fall."""
        rows = self._rows

        def unknowns(level: float, away: float) -> Floats:
            plane = self.brief.plane_from(self.wall_name, level, away=away, along=along)
            own = np.array([plane.level_at(*rows.parts[0].origin), plane.gx, plane.gy])
            return (own - rows.base) * rows.scale
        start = unknowns(0.0, 0.0)
        return start, unknowns(1.0, 0.0) - start, unknowns(0.0, 1.0) - start

    def allowed(self, along: float, levels: tuple[float, float], falls: tuple[float, float]) -> tuple[
            shapely.Polygon, tuple[Side, ...]]:
        """`allowed` and `edges` of the choice alone."""
        rows = self._rows
        start, by_level, by_fall = self._lines(along)
        a, b = rows.upper(np.ones(len(rows.a), dtype=bool))
        slopes, room = np.column_stack([a @ by_level, a @ by_fall]), b - a @ start
        for slack in (0.0, ROUNDING):  # a surface with nothing in hand is met as the verdicts have it
            ring = np.array([(levels[0], falls[0]), (levels[1], falls[0]), (levels[1], falls[1]), (levels[0], falls[1])])
            for slope, most in zip(slopes, room + slack, strict=True):
                ring = _cut_off(ring, slope, most)
            if len(ring) >= 3 and shapely.Polygon(ring).area > 0:
                break
        else:
            return shapely.Polygon(), ()
        sides = [(ring[place - 1] + ring[place]) / 2 for place in range(len(ring))]
        below, above = np.isfinite(rows.high), np.isfinite(rows.low)
        owner = np.concatenate([rows.owner[below], rows.owner[above]])
        edges: dict[str, Side] = {}
        for level, fall in sides:
            for row in np.flatnonzero(np.abs(slopes @ [level, fall] - room) < TIGHT)[:1]:
                title, (out_level, out_fall) = rows.demands[owner[row]].title, slopes[row]
                edges.setdefault(title, (title, (float(level), float(fall)), (float(out_level), float(out_fall))))
        return shapely.Polygon(ring), tuple(edges.values())


def _cut_off(ring: Floats, slope: Floats, most: float) -> Floats:
    """The corners of a convex polygon (k, 2) cut to slope · corner ≤ most."""
    over = ring @ slope - most if len(ring) else np.empty(0)
    kept = []
    for place in range(len(ring)):
        if (over[place - 1] > 0) != (over[place] > 0):
            share = over[place - 1] / (over[place - 1] - over[place])
            kept.append(ring[place - 1] + share * (ring[place] - ring[place - 1]))
        if over[place] <= 0:
            kept.append(ring[place])
    return np.array(kept).reshape(-1, 2)


def _within(values: Sequence[float], ends: Floats) -> bool:
    return bool(ends[0] <= min(values) and max(values) <= ends[-1])
