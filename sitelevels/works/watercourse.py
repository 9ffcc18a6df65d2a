"""The way of water over facets: from place to place, down planes, along walls and valleys, to where it ends."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
import shapely

from ..design.brief import Brief
from ..design.demands import ClosedEdge
from ..design.edges import AGAINST
from ..surface.finish import LEVEL, Finish
from ..surface.plane import Floats
from ..wording import word_place

NEAR = 1e-6  # m, or sine of an angle: what the last digits leave of nought
LIP = 0.001  # m: a lip between facets lower than this is what rounded levels leave, and holds no water


@dataclass(frozen=True)
class Sink:
    """Where water ends: `kind` is "free edge", "outlet", "channel", "level channel", "dead spot" or "gap"; x, y in m."""

    kind: str
    place: str
    x: float
    y: float
    held_by: str = ""


class Course:
    """The way of water over parts (facet number, polygon), whose places are counted from `start`."""

    def __init__(self, finish: Finish, brief: Brief, parts: list[tuple[int, Any]], discs: list[Any], start: Floats) -> None:
        self.parts, self.start, self.facets = parts, start, [finish.facets[number] for number, _ in parts]
        self.gradient = np.array([(facet.plane.gx, facet.plane.gy) for facet in self.facets])
        self.gradient[np.abs(self.gradient) < 1e-6 * LEVEL] = 0.0  # or lines of numbers next to nought meet too far off
        self.level0 = np.array([facet.plane.level_at(*start) for facet in self.facets])
        self.fall = np.hypot(*self.gradient.T)
        self.way = -self.gradient / np.where(self.fall > 0, self.fall, 1.0)[:, None]
        sides = [(part, *ends) for part, (_, area) in enumerate(parts) for ring in (area.exterior, *area.interiors)
                 for ends in pairwise(shapely.get_coordinates(ring)) if math.dist(*ends) > NEAR]
        self.part = np.array([part for part, *_ in sides])
        self.a, self.b = (np.array([side[end] for side in sides]) for end in (1, 2))
        self.along = (self.b - self.a) / np.hypot(*(self.b - self.a).T)[:, None]
        self.out = self.along[:, ::-1] * (1, -1)
        self.q = (self.out * self.way[self.part]).sum(axis=1)
        self.rim = list(_stretches(brief, start))
        covered = [area for _, area in parts] + [disc for disc, _ in discs]
        self.border = shapely.union_all([area.buffer(NEAR) for area in covered]).boundary
        self.catch: list[tuple[Any, Sink]] = [(disc.boundary, sink) for disc, sink in discs]
        self.catch += [(shapely.LineString(ends), sink) for ends, sink in self._channels()]
        feet = [_foot(end, a, b, AGAINST) for line, *_ in self.rim for end in line for a, b in zip(self.a, self.b, strict=True)]
        self.corners = np.array([*self.a, *(foot for foot in feet if foot is not None)])

    def level(self, part: int, place: Floats) -> float:
        """Level of a part at a place, m."""
        return float(self.level0[part] + place @ self.gradient[part])

    def touching(self, place: Floats) -> Any:
        """Numbers of the sides that a place lies on."""
        along = np.clip(((place - self.a) * self.along).sum(axis=1), 0, np.hypot(*(self.b - self.a).T))
        return np.flatnonzero(np.hypot(*(self.a + along[:, None] * self.along - place).T) <= 2 * NEAR)

    def _channels(self) -> Iterator[tuple[Floats, Sink]]:
        """The sides of facets that fall to a channel between them, each with the lower end of the whole channel."""
        groups: list[list[int]] = []
        for k, part in enumerate(self.part):
            facet, middle = self.facets[part], (self.a[k] + self.b[k]) / 2
            if facet.along and facet.towards and self.out[k] @ facet.towards > 0.999 and any(
                    self.facets[self.part[j]].along and self.part[j] != part for j in self.touching(middle)):
                same = [group for group in groups if abs((middle - self.a[group[0]]) @ self.out[group[0]]) < LIP
                        and abs(self.out[group[0]] @ self.out[k]) > 0.999]
                if same:
                    same[0].append(k)
                else:
                    groups.append([k])
        for group in groups:
            way = self.along[group[0]]
            ends = sorted(((place, self.level(self.part[k], place)) for k in group for place in (self.a[k], self.b[k])),
                          key=lambda end: float(end[0] @ way))
            (first, high), (last, low) = sorted((ends[0], ends[-1]), key=lambda end: -end[1])
            x, y = (float(value) for value in last + self.start)
            sink = Sink("channel", f"channel to {word_place(x, y)}", x, y)
            if high - low < LEVEL * math.dist(first, last):
                sink = _line("level channel", "channel", np.array([ends[0][0], ends[-1][0]]) + self.start)
            yield from ((np.array([self.a[k], self.b[k]]), sink) for k in group)

    def hit(self, part: int, place: Floats, sign: int) -> Floats:
        """Where a straight way down (sign 1) or up (−1) a part leaves it."""
        way, aside = sign * self.way[part], np.array([-self.way[part][1], self.way[part][0]])
        ends = np.minimum(np.hypot(*(self.a - place).T), np.hypot(*(self.b - place).T))
        sides = np.flatnonzero((self.part == part) & (sign * self.q > NEAR) & (ends > 2 * NEAR))
        one, two = self.a[sides] - place, self.b[sides] - place
        share = one @ aside / (one @ aside - two @ aside)
        ahead = (one + share[:, None] * (two - one)) @ way
        for slack in (0.0, 10 * NEAR):  # a way along a side, or through a corner, may miss by the last digits
            on = (np.abs(share - 0.5) <= 0.5 + slack / np.hypot(*(two - one).T)) & (ahead > -NEAR)
            if on.any():
                return np.asarray(place + ahead[on].min() * way)
        own = self.a[self.part == part]
        return np.asarray(own[np.hypot(*(own - place - max(((own - place) @ way).max(), 0.0) * way).T).argmin()])

    def enters(self, part: int, place: Floats, sign: int) -> bool:
        """Whether the way down (sign 1) or up (−1) a part leads into it from a place on its border."""
        sides = [k for k in self.touching(place) if self.part[k] == part]
        inwards = [bool(sign * self.q[k] < -NEAR) for k in sides]
        if len(sides) == 2:
            first, second = sorted(sides, key=lambda k: math.dist(self.b[k], place))
            if self.out[second] @ self.along[first] < 0:  # the corner juts into the part
                return any(inwards)
        return bool(sides) and all(inwards)

    def step(self, place: Floats, came: Floats) -> Sink | tuple[int, Floats]:
        """What becomes of water that `came` so to a place on a border: its sink, or the part that it runs into, and where."""
        for _ in range(len(self.corners) + 9):
            at, sides = shapely.Point(place), self.touching(place)
            caught: list[Sink] = [end for line, end in self.catch if line.distance(at) <= 2 * NEAR]
            if caught:
                return caught[0]
            rim = self._rim_at(at, sides)
            lowest = min(self.level(self.part[k], place) for k in sides)
            ways: list[tuple[float, int, int, Floats]] = []  # fall, side (−1: into the part), part, to
            for k in sides:
                if self.level(part := int(self.part[k]), place) <= lowest + LIP:
                    ways += [((self.level(part, place) - self.level(part, end)) / gone, int(k), part, end)
                             for end in (self.a[k], self.b[k]) if (gone := math.dist(end, place)) > 2 * NEAR]
                    ways += [(float(self.fall[part]), -1, part, place)] if self.enters(part, place, 1) else []
            fall, k, part, end = max(ways, key=lambda way: way[0])
            free = [(float(came @ _out(line)), sink) for line, sink, _ in rim if sink]
            over, sink = max(free, key=lambda one: one[0], default=(0.0, None))
            if sink and (fall <= LEVEL or over > NEAR):  # what runs out over a free edge does not turn back at it
                return sink
            if fall > LEVEL and k < 0:
                return part, place
            if fall <= LEVEL:
                break
            ahead = (self.corners - place) @ (came := (end - place) / math.dist(end, place))
            on = (np.hypot(*(self.corners - place - ahead[:, None] * came).T) <= 2 * NEAR) & (ahead > 2 * NEAR)
            place = self.corners[on][ahead[on].argmin()]
        return self._held(place, sides, rim)

    def _rim_at(self, at: Any, sides: Any) -> list[tuple[Floats, Sink | None, str]]:
        """The stretches of the outline that a place lies on; at a corner those that meet there."""
        if self.border.distance(at) > 4 * NEAR:
            return []
        off = [float(shapely.LineString(line).distance(at)) for line, *_ in self.rim]
        if min(off) > 1.5 * AGAINST:
            ends = np.array([self.a[sides[0]], self.b[sides[0]]])
            return [(ends, _line("gap", "gap", ends + self.start), "")]
        most = 1.5 * AGAINST if len(sides) > 1 else min(off) + 10 * NEAR
        return [one for one, distance in zip(self.rim, off, strict=True) if distance <= most]

    def _held(self, place: Floats, sides: Any, rim: list[Any]) -> Sink:
        """The sink at a place that water does not leave."""
        parts = {int(self.part[k]) for k in sides}
        flat = [part for part in parts if self.fall[part] < LEVEL]
        if flat:
            return self._flat(flat[0])
        x, y = (float(value) for value in place + self.start)
        holders = " and the ".join(sorted({held for *_, held in rim} - {""})) or "facets that fall to it"
        if min(math.dist(end, place) for k in sides for end in (self.a[k], self.b[k])) > 2 * NEAR:
            longest = max(sides, key=lambda k: math.dist(self.a[k], self.b[k]))
            ends = rim[0][0] if rim else np.array(sorted([tuple(self.a[longest]), tuple(self.b[longest])]))
            return _line("dead spot", f"foot of the {holders}" if rim else "line where facets meet", ends + self.start,
                         f"it is held by the {holders}, along which there is no fall")
        if len(parts) > 1 and all(self.facets[part].towards and not self.facets[part].along for part in parts):
            return Sink("outlet", f"outlet at {word_place(x, y)}", x, y)
        return Sink("dead spot", f"low corner at {word_place(x, y)}", x, y, f"it is held by the {holders}")

    def _flat(self, part: int) -> Sink:
        middle = self.facets[part].area.representative_point()
        return Sink("dead spot", f"facet about {word_place(middle.x, middle.y)}", middle.x, middle.y,
                    "level: water does not leave")

    def flow(self, part: int, place: Floats) -> Sink:
        """Where water goes from a place on a part."""
        after = self.step(place, self.way[part]) if len(self.touching(place)) and self.fall[part] > LEVEL else (part, place)
        for _ in range(len(self.corners) + 9):
            if isinstance(after, Sink) or self.fall[after[0]] < LEVEL:
                break
            place = self.hit(*after, 1)
            after = self.step(place, self.way[after[0]])
        return after if isinstance(after, Sink) else self._flat(after[0]) if self.fall[after[0]] < LEVEL else \
            self._held(place, self.touching(place), [])

    def cuts(self) -> list[list[float]]:
        """For each part, how far aside lie the ways of water to each of its corners, or to one of a part further down."""
        found: list[list[float]] = [[] for _ in self.parts]
        for corner in self.corners:
            for part in {int(self.part[k]) for k in self.touching(corner)}:
                place, here = corner, part
                while here >= 0:
                    found[here].append(float(place @ (-self.way[here][1], self.way[here][0])))
                    if self.fall[here] < LEVEL or (place is corner and not self.enters(here, place, -1)):
                        break
                    place = self.hit(here, place, -1)
                    above = [int(k) for k in self.part[self.touching(place)] if k != here and self.enters(int(k), place, -1)]
                    after = self.step(place, self.way[above[0]]) if above else None
                    here = above[0] if isinstance(after, tuple) and after[0] == here else -1
        return found


def _line(kind: str, name: str, ends: Floats, held: str = "") -> Sink:
    """A sink along a line."""
    x, y = (float(value) for value in ends.mean(axis=0))
    return Sink(kind, f"{name} from {word_place(*ends[0])} to {word_place(*ends[1])}", x, y, held)


def _out(line: Floats) -> Floats:
    """Unit vector out over a stretch of an outline that runs anticlockwise."""
    return np.asarray((line[1] - line[0])[::-1] * (1, -1) / math.dist(*line))


def _foot(place: Floats, one: Floats, two: Floats, within: float) -> Floats | None:
    """The foot of a place on a line, where it lies between the ends and not far off."""
    way = (two - one) / math.dist(one, two)
    along = float((place - one) @ way)
    foot = one + along * way
    return np.asarray(foot) if within < along < math.dist(one, two) - within and math.dist(foot, place) <= within else None


def _stretches(brief: Brief, start: Floats) -> Iterator[tuple[Floats, Sink | None, str]]:
    """The outline of the area less `start`, anticlockwise: two ends, the sink over a free stretch, or what holds water."""
    holds = [(np.array([wall.first, wall.second]) - start, wall.name) for wall in brief.walls]
    holds += [(np.array([demand.first, demand.second]) - start, f"closed {demand.who}") for demand in brief.every_demand
              if isinstance(demand, ClosedEdge)]
    outline = shapely.orient_polygons(brief.area)
    for ring in (outline.exterior, *outline.interiors):
        corners = shapely.get_coordinates(shapely.LinearRing(ring).simplify(NEAR / 10)) - start
        for one, two in pairwise(corners):
            feet = [foot for hold, _ in holds for end in hold if (foot := _foot(end, one, two, 1.5 * AGAINST)) is not None]
            runs: list[tuple[Floats, str]] = []
            stops = [feet[k] for k in np.argsort([math.dist(foot, one) for foot in feet])]
            for low, high in pairwise([one, *stops, two]):
                middle = shapely.Point((low + high) / 2)
                held = next((name for hold, name in holds if shapely.LineString(hold).distance(middle) <= AGAINST), "")
                runs[-1:] = [(np.array([runs[-1][0][0], high]), held)] if runs and runs[-1][1] == held else \
                    [*runs[-1:], (np.array([low, high]), held)]
            yield from ((ends, None if held else _line("free edge", "edge", ends + start), held) for ends, held in runs)
