"""The brief: the area, the walls it lies against, the build-up and the demands."""

from __future__ import annotations

import math
import warnings
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from html import escape
from numbers import Real
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from ..errors import SurveyError, SurveyWarning, finite, must_be
from ..surface.facet import REACH, polygon_of
from ..surface.plane import FARTHEST, Plane
from ..wording import word_area, word_distance, word_level, word_mm, word_number, word_place
from .conditions import Demand
from .demands import ClosedEdge, Meet
from .edges import AGAINST, Edge, sides_met, sides_without
from .layers import BEYOND_LEAST, COMPACTED, Footing, Layer, Underside, placed

FARTHEST_BEYOND = 1.0  # m: a dig that reaches farther past the edge than this is questioned
SAME_STATION = 1e-6  # m: places along a wall nearer than this are one
BEYOND_SHOTS = 0.3  # m: how far past the last DPC shot the wall may run before the person is warned


def _numbers(values: Any) -> NDArray[np.float64]:
    """Values as an array of floats; an empty one if they are none."""
    try:
        return np.array(list(values), dtype=float)
    except (TypeError, ValueError, OverflowError):
        return np.empty(0)


class Wall:
    """A wall in plan with its damp-proof course.

    Parameters
    ----------
    name : str
    first, second : (x, y)
        Its ends in m. Along the wall is from the first to the second; away from it is the side on which the area lies.
    dpc : float or sequence of (distance along, level)
        Level of the damp-proof course in m: one for the whole wall, or shots at distances in m from `first`, straight
        between them. Two shots at one distance make a step.
    points : sequence of str, optional
        Names of the shots in the level book, in the order in which they are given; made from the wall's name if not.

    Raises
    ------
    SurveyError
        A wall of no length, no DPC shot, a shot off the wall, three at one distance.

    Warns
    -----
    SurveyWarning
        When the wall runs more than 300 mm past its last shot; the level of that shot is carried on.

    Reason: between shots a DPC is taken to be straight, as bricklayers lay it to a line.

    >>> Wall("north wall", (0, 0), (6, 0), dpc=[(0, 10.150), (6, 10.144)]).dpc_at(3.0)
    10.147
    """

    name: str
    first: tuple[float, float]
    second: tuple[float, float]
    length: float
    direction: tuple[float, float]
    shots: tuple[tuple[float, float], ...]
    points: tuple[str, ...]

    def __init__(self, name: str, first: Sequence[float], second: Sequence[float], *,
                 dpc: float | Sequence[Sequence[float]], points: Sequence[str] = ()) -> None:
        own = self.__dict__  # set here once; `__setattr__` refuses any change
        own["name"] = str(name)
        ends = _numbers([first, second])
        if ends.shape != (2, 2) or not (np.abs(ends) < FARTHEST).all() or math.dist(*ends) < 1e-6:
            raise SurveyError(f"the wall {self.name!r} cannot run from {first!r} to {second!r}",
                              remedy="Give its two ends as x, y in m, some way apart.")
        own["first"], own["second"] = ((float(x), float(y)) for x, y in ends)
        own["length"] = math.dist(self.first, self.second)
        own["direction"] = ((self.second[0] - self.first[0]) / self.length, (self.second[1] - self.first[1]) / self.length)
        shots = _numbers([(0.0, dpc)] if isinstance(dpc, Real) else dpc)
        if shots.ndim != 2 or shots.shape[1] != 2 or not len(shots) or not (np.abs(shots) < FARTHEST).all():
            raise SurveyError(f"the DPC of the wall {self.name!r} is {dpc!r}",
                              rule="It must be one level, or pairs of distance along the wall and level, in m.")
        if isinstance(points, str) or len(points) not in (0, len(shots)):
            raise SurveyError(f"the DPC of the wall {self.name!r} has {len(shots)} shots and {points!r} for their names")
        called = {(float(along), float(level)): str(point) for (along, level), point in zip(shots, points, strict=False)}
        shots = _in_order(shots[np.argsort(shots[:, 0], kind="stable")], self.name)
        off = [float(distance) for distance in shots[:, 0] if not -BEYOND_SHOTS <= distance <= self.length + BEYOND_SHOTS]
        if off:
            raise SurveyError(f"a DPC shot stands {word_number(off[0])} m along the wall {self.name!r}",
                              rule=f"The wall is {word_distance(self.length)} long.",
                              remedy="Check the distance and the wall's ends.")
        own["shots"] = tuple((float(along), float(level)) for along, level in shots)
        own["points"] = tuple(called.get(shot, f"DPC of the {self.name}, shot {number}")
                              for number, shot in enumerate(self.shots, start=1))
        short = max(self.shots[0][0], self.length - self.shots[-1][0])
        if not isinstance(dpc, Real) and short > BEYOND_SHOTS:
            warnings.warn(f"The wall {self.name!r} runs {word_distance(short)} past the last DPC shot; its level is carried on "
                          "unchanged. Read the DPC at both ends.", SurveyWarning, stacklevel=2)

    def __setattr__(self, name: str, value: object) -> None:
        raise AttributeError("a wall cannot be changed once made")

    def __repr__(self) -> str:
        return f"Wall({self.name!r}, {self.first}, {self.second}, dpc={list(self.shots)})"

    def along(self, x: float, y: float) -> float:
        """Distance in m along the wall of the foot of a plan position."""
        return (x - self.first[0]) * self.direction[0] + (y - self.first[1]) * self.direction[1]

    def place(self, along: float) -> tuple[float, float]:
        """Plan position (m) of a distance along the wall."""
        return (self.first[0] + along * self.direction[0], self.first[1] + along * self.direction[1])

    def dpc_at(self, along: float, towards: int = 0) -> float:
        """Level of the DPC in m at a distance along.

        At a step it is the lower of the two, which is the one that governs; or that of the wall beyond it, `towards` 1, or
        before it, −1.
        """
        along = finite(along, "the distance along the wall")
        at_step = [level for distance, level in self.shots if abs(distance - along) < SAME_STATION]
        if at_step:
            return min(at_step) if towards == 0 else at_step[-1 if towards > 0 else 0]
        distances, levels = zip(*self.shots, strict=True)
        return float(np.interp(along, distances, levels))

    def dpc_from(self, along: float, towards: int = 0) -> tuple[tuple[str, float], ...]:
        """The shots that `dpc_at` hangs on, by name, each with its share of the level."""
        level = self.dpc_at(along, towards)
        at_step = [point for (distance, found), point in zip(self.shots, self.points, strict=True)
                   if abs(distance - along) < SAME_STATION and found == level]
        if at_step:
            return ((at_step[0], 1.0),)
        distances = [distance for distance, _ in self.shots]
        shares = [float(np.interp(along, distances, one)) for one in np.eye(len(distances))]
        return tuple((point, share) for point, share in zip(self.points, shares, strict=True) if share)


def _in_order(shots: NDArray[np.float64], name: str) -> NDArray[np.float64]:
    """DPC shots by distance; the two of a step so that each lies next to the neighbour whose level is nearer."""
    ordered = shots.copy()
    for place in range(len(shots) - 1):
        if ordered[place + 1, 0] - ordered[place, 0] > SAME_STATION:
            continue
        if place + 2 < len(shots) and ordered[place + 2, 0] - ordered[place, 0] <= SAME_STATION:
            raise SurveyError(f"three DPC shots of the wall {name!r} stand {word_distance(ordered[place, 0])} along",
                              rule="A step has two levels.", remedy="Correct a distance.")
        one, two = ordered[place, 1], ordered[place + 1, 1]
        as_booked = swapped = 0.0
        if place:
            as_booked, swapped = abs(ordered[place - 1, 1] - one), abs(ordered[place - 1, 1] - two)
        if place + 2 < len(shots):
            as_booked, swapped = as_booked + abs(two - ordered[place + 2, 1]), swapped + abs(one - ordered[place + 2, 1])
        if swapped < as_booked:
            ordered[[place, place + 1], 1] = two, one
    return ordered


@dataclass(frozen=True, eq=False)
class Brief:
    """A job's brief.

    Parameters
    ----------
    area : list of corners (k, 2) or polygon
        The paving in plan, m; may be L-shaped or notched.
    walls : sequence of Wall
    demands : sequence of Demand
    layers : sequence of Layer
        The build-up from the top down.
    closed : sequence of pairs of places
        Edges of the area over which no water may run, each from (x, y) to (x, y) along one side, m.
    free : sequence of pairs of places
        Edges over which it may; where any are named, every edge that is neither free nor against a wall is closed.
    kept : sequence of pairs of places
        Edges along which paving stays; if none is named, the sides within 100 mm of which a point of a demand `Meet` stands.
    beyond_edge : float
        How far the dig and the compacted layers reach past every edge without a wall or paving that stays, m; the greater of
        150 mm and the thickness of those layers if not given (BEYOND_LEAST has the source), nought where there are none.
    underside : Underside
        An old floor that is taken up.
    footings : sequence of Footing
        What stays in the ground.

    Raises
    ------
    SurveyError
        An outline that crosses itself, two walls of one name, a demand on a wall that is not there or that the area does
        not touch, a point of a demand far outside the area.

    Reason: outline, walls and demands are what a person can measure on site; everything else is worked out from them.

    >>> from sitelevels import Clearance
    >>> Brief([(0, 0), (6, 0), (6, 4), (0, 4)], walls=[Wall("north wall", (0, 0), (6, 0), dpc=10.150)],
    ...       demands=[Clearance("north wall")])
    Brief with 1 demand: 24.0 m² against north wall (DPC 10.150 m); build-up 0 mm.
    """

    area: shapely.Polygon
    walls: tuple[Wall, ...] = field(default=(), kw_only=True)
    demands: tuple[Demand, ...] = field(default=(), kw_only=True)
    layers: tuple[Layer, ...] = field(default=(), kw_only=True)
    closed: tuple[Edge, ...] = field(default=(), kw_only=True)
    free: tuple[Edge, ...] = field(default=(), kw_only=True)
    kept: tuple[Edge, ...] = field(default=(), kw_only=True)
    beyond_edge: float | None = field(default=None, kw_only=True)
    underside: Underside | None = field(default=None, kw_only=True)
    footings: tuple[Footing, ...] = field(default=(), kw_only=True)

    def __post_init__(self) -> None:
        object.__setattr__(self, "area", polygon_of(self.area))
        for name, kind in (("walls", Wall), ("demands", Demand), ("layers", Layer), ("footings", Footing)):
            given = getattr(self, name)
            given = (given,) if isinstance(given, kind) else given
            must_be(given, Iterable, f"the list of {name}")
            object.__setattr__(self, name, tuple(given))
            for one in getattr(self, name):
                must_be(one, kind, f"one of the {name}")
        names = [wall.name for wall in self.walls]
        if len(set(names)) < len(names):
            raise SurveyError(f"two walls have one name among {', '.join(names)}", remedy="Give each its own.")
        object.__setattr__(self, "layers", placed(self.layers))
        must_be(self.underside, (Underside, type(None)), "the underside")
        if self.beyond_edge is None:
            base = sum(layer.thickness for layer in self.layers if layer.kind == COMPACTED)
            object.__setattr__(self, "beyond_edge", max(base, BEYOND_LEAST.range.likely) if base else 0.0)
        beyond = finite(self.beyond_edge, "how far the dig reaches past the edge", "It is a length in m.", least=0.0)
        if beyond > 10 * FARTHEST_BEYOND:
            raise SurveyError(f"the dig reaches {word_distance(beyond)} past the edge",
                              rule=f"It reaches {word_distance(10 * FARTHEST_BEYOND)} at the most.", remedy="Give it in m.")
        if beyond > FARTHEST_BEYOND:
            warnings.warn(f"The dig reaches {word_distance(beyond)} past the edge. Are those millimetres?", SurveyWarning,
                          stacklevel=3)
        twice = [footing.name for number, footing in enumerate(self.footings)
                 if footing.name in [other.name for other in self.footings[:number]]]
        if twice:
            raise SurveyError(f"two footings are called {twice[0]!r}", remedy="Give each its own name.")
        for name in ("closed", "free", "kept"):
            must_be(getattr(self, name), (list, tuple), f"the list of {name} edges")
            object.__setattr__(self, name, tuple(
                (edge.first, edge.second) for edge in (self.edge(ends, name) for ends in getattr(self, name))))
        for demand in self.every_demand:
            for condition in demand.conditions(self):  # refuses a demand on a wall that is not there
                beyond = 0.0 if condition.at is None else self.area.distance(shapely.Point(condition.at))
                if beyond > REACH:
                    raise SurveyError(f"it lies {word_distance(beyond)} outside the area", where=f"point {condition.place}",
                                      rule=f"A demand can be held against a surface at most {word_mm(REACH)} beyond its edge.",
                                      remedy="Check its x and y, or the corners of the area.")

    def edge(self, ends: Any, name: str) -> Wall:
        """An edge of the area as a wall without a height, so that falls along it and away from it can be told.

        Raises SurveyError for what is no part of the outline; `name` says what it was meant for.
        """
        places = _numbers(ends)
        if places.shape != (2, 2) or not np.isfinite(places).all() or math.dist(*places) <= 2 * AGAINST:
            raise SurveyError(f"the {name} edge {ends!r} is no edge", rule="It is two places (x, y) in m, some way apart.")
        there = " to ".join(word_place(*end) for end in places)
        if not self.area.boundary.buffer(AGAINST).covers(shapely.LineString(places)):
            raise SurveyError(f"the {name} edge from {there} does not lie along the outline of the area",
                              rule=f"It may stand {word_mm(AGAINST)} off it.", remedy="Name two corners of one side.")
        return Wall(f"edge from {there}", *places, dpc=0.0)

    def sides_without(self, edges: Iterable[Edge], *, outer: bool = False) -> list[Edge]:
        """The sides of the outline, of its `outer` ring alone if so told, or their parts, that lie along none of these edges."""
        return sides_without(self.area, edges, outer=outer)

    @cached_property
    def bare(self) -> list[Edge]:
        """The outer sides past which the dig and the base reach: neither against a wall nor along paving that stays."""
        met = [(spot.x, spot.y) for demand in self.demands if isinstance(demand, Meet) for spot in demand.points]
        kept = self.kept or sides_met(self.area, met)
        return self.sides_without([*kept, *((wall.first, wall.second) for wall in self.walls)], outer=True)

    @cached_property
    def every_demand(self) -> tuple[Demand, ...]:
        """The demands, and one for each edge that is closed to water."""
        closed = list(self.closed)
        if self.free:
            told = [*self.closed, *self.free, *((wall.first, wall.second) for wall in self.walls)]
            closed += self.sides_without(told)
        return (*self.demands, *(ClosedEdge(*ends) for ends in {frozenset(edge): edge for edge in closed}.values()))

    @property
    def build_up(self) -> float:
        """Thickness of all layers together, in m."""
        return sum(layer.thickness for layer in self.layers)

    def wall(self, name: str) -> Wall:
        """The wall of that name. Raises SurveyError if there is none."""
        for wall in self.walls:
            if wall.name == name:
                return wall
        raise SurveyError(f"the brief has no wall {name!r}",
                          rule=f"Its walls are {', '.join(wall.name for wall in self.walls) or 'none'}.")

    def _contacts(self, wall: Wall) -> list[tuple[float, float]]:
        """Stretches (from, to) in m along a wall against which the area lies, in order."""
        line = shapely.LineString([wall.first, wall.second])
        beside = shapely.get_parts(self.area.intersection(line.buffer(AGAINST, cap_style="flat")))
        spans = sorted((min(along), max(along)) for part in beside if part.geom_type == "Polygon" and not part.is_empty
                       for along in [[wall.along(*corner) for corner in part.exterior.coords]])
        stretches: list[tuple[float, float]] = []
        for start, end in map(self._squared_off, [wall] * len(spans), spans):
            if stretches and start <= stretches[-1][1] + SAME_STATION:  # one part on each side of the line
                start, end = stretches[-1][0], max(end, stretches.pop()[1])
            stretches.append((start, end))
        stretches = [(start, end) for start, end in stretches if end - start > 2 * AGAINST]  # less only touches at a corner
        if not stretches:
            raise SurveyError(f"the area does not lie against the wall {wall.name!r}",
                              rule=f"It comes no nearer than {word_distance(self.area.distance(line))} along any length.",
                              remedy="Correct the wall's ends or the corners of the area.")
        return stretches

    def _squared_off(self, wall: Wall, span: tuple[float, float]) -> tuple[float, float]:
        """A stretch less what an edge that leaves the wall obliquely adds at its ends, within the tape's tolerance."""
        corners = [corner for ring in (self.area.exterior, *self.area.interiors) for corner in ring.coords[:-1]]
        line = shapely.LineString([wall.place(span[0]), wall.place(span[1])])
        near = [wall.along(*corner) for corner in corners if shapely.Point(corner).distance(line) <= AGAINST]
        start = max((along for along in near if 0 <= along - span[0] <= AGAINST), default=span[0])
        end = min((along for along in near if 0 <= span[1] - along <= AGAINST), default=span[1])
        return start, end

    def stations(self, wall: Wall, corners: Iterable[tuple[float, float]] = ()) -> list[float]:
        """Distances along a wall (m) at which a straight DPC and a flat facet can come nearest to each other.

        They are the ends of each stretch against which the area lies, the DPC shots within it, and those `corners` of
        facets (plan, m) that lie against the wall.
        """
        line = shapely.LineString([wall.first, wall.second])
        between = [wall.along(*corner) for corner in corners if shapely.Point(corner).distance(line) <= AGAINST]
        between += [distance for distance, _ in wall.shots]
        found: list[float] = []
        for start, end in self._contacts(wall):
            for one in (start, *sorted(place for place in between if start < place < end), end):
                if not found or one > found[-1] + SAME_STATION:
                    found.append(one)
        return found

    def dpc_stations(self, wall: Wall, corners: Iterable[tuple[float, float]] = ()) -> list[tuple[float, int]]:
        """The same distances, each with the side (−1, 0, 1) from which the DPC counts where the paving ends at a step of it."""
        starts, ends = zip(*self._contacts(wall), strict=True)
        found = []
        for along in self.stations(wall, corners):
            first = any(abs(along - start) < SAME_STATION for start in starts)
            last = any(abs(along - end) < SAME_STATION for end in ends)
            found.append((along, first - last))
        return found

    def outward(self, wall: Wall) -> tuple[float, float]:
        """Unit vector square to a wall, towards the side on which the area lies against it."""
        left = (-wall.direction[1], wall.direction[0])
        score = 0.0
        for start, end in self._contacts(wall):
            for step in (0.1, 0.3, 0.5, 0.7, 0.9):  # of the way: enough to outvote a corner or a notch
                x, y = wall.place(start + step * (end - start))
                for side in (1, -1):
                    probe = shapely.Point(x + side * 2 * AGAINST * left[0], y + side * 2 * AGAINST * left[1])
                    score += side * self.area.contains(probe) * (end - start)
        if score == 0:
            raise SurveyError(f"the area lies on both sides of the wall {wall.name!r}, or on neither",
                              remedy="Correct the wall's ends or the corners of the area.")
        sign = math.copysign(1.0, score)
        return (0.0 + sign * left[0], 0.0 + sign * left[1])

    def plane_from(self, wall_name: str, level: float, *, away: float, along: float = 0.0) -> Plane:
        """The plane at `level` m at the wall's first end that falls `away` from it and `along` it (m/m, positive down)."""
        wall = self.wall(wall_name)
        away, along = (finite(fall, f"the fall {way}", "It is in m/m.") for way, fall in (("away", away), ("along", along)))
        out = self.outward(wall)
        gx = 0.0 - away * out[0] - along * wall.direction[0]
        gy = 0.0 - away * out[1] - along * wall.direction[1]
        return Plane(level, gx, gy, wall.first)

    def sentence(self) -> str:
        """Area, walls and build-up in words."""
        walls = ", ".join(f"{wall.name} (DPC {word_level(min(level for _, level in wall.shots))})" for wall in self.walls)
        return f"{word_area(self.area.area)} against {walls or 'no wall'}; build-up {word_mm(self.build_up)}."

    def __repr__(self) -> str:
        count = len(self.every_demand)
        return f"Brief with {count} demand{'s' * (count != 1)}: {self.sentence()}"

    def _repr_html_(self) -> str:
        demands = "".join(f"<li>{escape(demand.words())}</li>" for demand in self.every_demand)
        return f"<p>{escape(self.sentence())}</p><ul>{demands}</ul>"
