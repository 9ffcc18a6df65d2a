"""Shapes of a finished surface: where its facets lie in plan, and how each follows from a few unknowns."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

import numpy as np
import shapely

from ..errors import SurveyError, finite_list, must_be
from ..wording import word_distance, word_mm, word_place
from .facet import Facet, Way, polygon_of
from .plane import Floats, Plane

NEAR = 1e-6  # m: a corner nearer than this to a line stands on it
ON_EDGE = 0.005  # m: an outlet nearer than this to an edge stands in it; it is wider than that itself
STRIP = 0.05  # m: a strip of paving beside a channel narrower than this is none
SLIVER = 1e-9  # share of the area: a facet smaller than this is what the last binary digits leave of nothing


@dataclass(frozen=True, eq=False)
class Part:
    """One facet of a shape: its `area` in plan, and its plane as a matrix `basis` (3, n) on the n unknowns of the shape.

    The three rows give the level at `origin` (m), gx and gy (m/m). It is meant to fall `towards` a drain and, beside a
    channel, that falls `along` it.
    """

    area: shapely.Polygon
    basis: Floats
    origin: tuple[float, float]
    towards: Way | None = None
    along: Way | None = None

    def facet(self, unknowns: Sequence[float] | Floats) -> Facet:
        """The facet for values of the unknowns."""
        level, gx, gy = (float(value) for value in self.basis @ np.asarray(unknowns, dtype=float))
        return Facet(Plane(level, gx, gy, self.origin), self.area, self.towards, self.along)


def facets_of(parts: Iterable[Part], unknowns: Sequence[float] | Floats) -> tuple[Facet, ...]:
    """The facets of a shape for values of its unknowns."""
    return tuple(part.facet(unknowns) for part in parts)


@dataclass(frozen=True)
class Channel:
    """Two planes that fall to a line, which has a fall of its own.

    `line` is two places (x, y) in m; it is carried on straight to the edges of the area. The unknowns are the level of the
    line at its first place (m), its own fall from the first to the second, and the falls to it from the left and from the
    right of somebody who looks that way (m/m, all positive downhill). Refuses a line of no length; `parts` one that does not
    divide the area, or leaves it and comes back.

    Reason: a level is linear in these four, and so are the falls that a brief asks for.

    >>> left, right = Channel(((0, 2), (6, 2))).parts([(0, 0), (6, 0), (6, 4), (0, 4)])
    >>> unknowns = 9.8, 0.01, 0.02, 0.025
    >>> round(left.facet(unknowns).plane.level_at(0, 4), 3), round(right.facet(unknowns).plane.level_at(0, 0), 3)  # m
    (9.84, 9.85)
    """

    line: tuple[tuple[float, float], tuple[float, float]]

    def __post_init__(self) -> None:
        object.__setattr__(self, "line", _line(self.line, "the channel"))

    def flat(self, level: float) -> Floats:
        """The unknowns (4,) of a level surface at `level` m."""
        return np.array([level, 0.0, 0.0, 0.0])

    def parts(self, area: Any) -> tuple[Part, ...]:
        """The facets over an area. Raises SurveyError where the line does not divide it."""
        polygon = polygon_of(area)
        (x, y), second = self.line
        length = math.dist(*self.line)
        along = ((second[0] - x) / length, (second[1] - y) / length)
        left = (-along[1], along[0])
        found = []
        for number, side in ((2, 1.0), (3, -1.0)):
            square = (side * left[0], side * left[1])
            across = np.zeros((3, 4))
            middle = _middle(polygon)
            across[:, 0] = 1.0, 0.0, 0.0
            across[:, 1] = -_off(middle, (x, y), along), -along[0], -along[1]
            across[:, number] = _off(middle, (x, y), square), square[0], square[1]
            towards = (0.0 - square[0], 0.0 - square[1])
            found.append([Part(piece, across, middle, towards, along)
                          for piece in _pieces(_half(polygon, (x, y), square), polygon)])
        off = (shapely.get_coordinates(polygon) - (x, y)) @ left
        if not all(found) or min(off.max(), -off.min()) < STRIP:
            raise SurveyError(f"the channel from {word_place(x, y)} to {word_place(*second)} does not divide the area",
                              rule=f"There is paving on both sides of it, {word_mm(STRIP)} wide at the least, falling to it.",
                              remedy="Move the line into the area; a channel along an edge needs one plane only.")
        if self._stretches(shapely.Polygon(polygon.exterior)) > 1:  # holes, such as posts and covers, are passed by
            raise SurveyError(f"the channel from {word_place(x, y)} to {word_place(*second)} leaves the area and comes back",
                              rule="It runs over paving from one edge to another.",
                              remedy="Move it, or divide the area and give each part its own.")
        return (*found[0], *found[1])

    def _within(self, polygon: shapely.Polygon) -> tuple[Any, Floats]:
        """The line, carried on as far as it takes, where it lies in a polygon, and the unit vector along it."""
        (x, y), second = self.line
        along = np.array([second[0] - x, second[1] - y]) / math.dist(*self.line)
        off = (shapely.get_coordinates(polygon) - (x, y)) @ along
        reach = np.array([[x, y]]) + np.outer([off.min() - 1, off.max() + 1], along)
        return shapely.LineString(reach).intersection(polygon), along

    def _stretches(self, polygon: shapely.Polygon) -> int:
        """How many stretches of the line lie in a polygon; what the last digits part is one, and what they join is none."""
        within, along = self._within(polygon)
        spans = sorted(tuple(sorted(shapely.get_coordinates(part) @ along)) for part in shapely.get_parts(within)
                       if part.length > NEAR)
        return 1 + sum(bool(after[0] - before[-1] > NEAR) for before, after in pairwise(spans))

    def ends(self, area: Any) -> tuple[tuple[float, float], tuple[float, float]]:
        """Where the channel runs into the edges of an area, m: its start and its end."""
        (x, y), _ = self.line
        within, along = self._within(polygon_of(area))
        places = shapely.get_coordinates(within)
        order = np.argsort((places - (x, y)) @ along)
        start, end = ((float(x), float(y)) for x, y in places[order[[0, -1]]])
        return start, end

    def words(self) -> str:
        """The shape in words."""
        (x, y), second = self.line
        return f"two planes falling to a channel from {word_place(x, y)} to {word_place(*second)}"


@dataclass(frozen=True)
class Outlet:
    """A floor that falls to one point.

    From a perimeter that is level all round: facets square to the edges. Or from chosen `sides` only, each two places (x, y)
    in m along one edge of the area: at each place the highest of the planes through a chosen side and the outlet. An edge in
    which the outlet itself stands falls to it from both ends. The unknowns are the level of the outlet and that of the
    perimeter or the chosen sides, m. Refuses a place or a side that is none; `parts` an outlet outside the area, an edge that is
    not seen from it, a place that would lie below it.

    Reason: through a level edge and a point below it goes one plane, and its fall is square to the edge.

    >>> parts = Outlet((2, 1)).parts([(0, 0), (4, 0), (4, 2), (0, 2)])
    >>> [round(1 / part.facet((9.98, 10.0)).plane.fall) for part in parts]  # 20 mm in 1 m and in 2 m: 1:50 and 1:100
    [50, 100, 50, 100]
    """

    point: tuple[float, float]
    sides: tuple[tuple[tuple[float, float], tuple[float, float]], ...] | None = None

    def __post_init__(self) -> None:
        object.__setattr__(self, "point", _place(self.point, "the outlet"))
        if self.sides is not None:
            must_be(self.sides, (list, tuple), "the list of sides")
            sides = tuple(_line(side, "a side") for side in self.sides)
            if not sides:
                raise SurveyError("no side is chosen", remedy="Name the sides that the floor falls from, or none for all.")
            object.__setattr__(self, "sides", sides)

    def flat(self, level: float) -> Floats:
        """The unknowns (2,) of a level surface at `level` m."""
        return np.array([level, level])

    def parts(self, area: Any) -> tuple[Part, ...]:
        """The facets over an area.

        Raises SurveyError where the outlet lies outside it, an edge is not seen from it (with the place of a second outlet),
        or a place would lie below it.
        """
        polygon = polygon_of(area)
        at = shapely.Point(self.point)
        outside = float(polygon.distance(at))
        rim = polygon.exterior
        if 0 < rim.distance(at) <= ON_EDGE:  # it stands in the edge, or in the corner
            near = [corner for corner in rim.coords if math.dist(corner, self.point) <= ON_EDGE]
            foot = near[0] if near else rim.interpolate(rim.project(at)).coords[0]
            if math.dist(foot, self.point) > NEAR / 1000:
                return replace(self, point=foot).parts(area)
        if outside > NEAR:
            raise SurveyError(f"the outlet at {word_place(*self.point)} lies {word_distance(outside)} outside the area",
                              remedy="Correct its x and y, or the corners of the area.")
        edges = list(_edges(polygon))
        self._all_seen(polygon, edges)
        if self.sides is None:
            return self._fan(polygon, [edge for edge in edges if _distance(self.point, edge) > ON_EDGE])
        return self._from_sides(polygon, edges)

    def _all_seen(self, polygon: shapely.Polygon, edges: list[Any]) -> None:
        unseen = [edge for edge in edges if not _sees(polygon, self.point, edge)]
        if not unseen:
            return
        x_min, y_min, x_max, y_max = polygon.bounds
        grid = [(float(x), float(y)) for x in np.linspace(x_min, x_max, 17)[1:-1] for y in np.linspace(y_min, y_max, 17)[1:-1]
                if polygon.contains(shapely.Point(x, y))]
        middle = shapely.MultiLineString(unseen).centroid
        second = max((place for place in grid if _sees(polygon, place, unseen[0])), default=None, key=lambda place: (
            sum(math.dist(*edge) for edge in unseen if _sees(polygon, place, edge)), -math.dist(place, (middle.x, middle.y))))
        edge = " to ".join(word_place(*end) for end in unseen[0])
        there = "" if second is None else f", about {word_place(*second)}"
        raise SurveyError(f"the edge from {edge} is not seen from the outlet at {word_place(*self.point)}",
                          rule="Water from every edge must find the outlet straight, with no corner, hole or edge in its way.",
                          remedy=f"Move it to where it sees every side, or divide the area and give the other part a second "
                          f"outlet{there}.")

    def _plane(self, area: shapely.Polygon, edge: Any) -> Part:
        """The plane through the outlet and an edge, over part of the area."""
        square = _square(edge, self.point)
        away = _off(edge[0], self.point, square)
        rise = np.array([-1.0, 1.0]) / away
        middle = _middle(area)
        level = np.array([1.0, 0.0]) + rise * _off(middle, self.point, square)
        return Part(area, np.stack([level, rise * square[0], rise * square[1]]), middle, (0.0 - square[0], 0.0 - square[1]))

    def _fan(self, polygon: shapely.Polygon, edges: list[Any]) -> tuple[Part, ...]:
        return tuple(self._plane(piece, edge) for edge in edges
                     for piece in _pieces(shapely.Polygon([self.point, *edge]).intersection(polygon), polygon))

    def _from_sides(self, polygon: shapely.Polygon, edges: list[Any]) -> tuple[Part, ...]:
        chosen = []
        for side in self.sides or ():
            line = shapely.LineString(side)
            found = [edge for edge in edges if shapely.LineString(edge).buffer(ON_EDGE).covers(line)]
            if not found:
                raise SurveyError(f"the side from {word_place(*side[0])} to {word_place(*side[1])} is no edge of the area",
                                  rule=f"Both its ends stand within {word_mm(ON_EDGE)} of one edge.",
                                  remedy="Give two places on one edge.")
            if _distance(self.point, found[0]) <= ON_EDGE:
                raise SurveyError(f"the outlet stands in the chosen side from {word_place(*side[0])} to {word_place(*side[1])}",
                                  rule="The floor cannot fall from a level side to an outlet in it.",
                                  remedy="Leave that side out, or move the outlet.")
            if found[0] not in chosen:
                chosen.append(found[0])
        heights = [(square := _square(edge, self.point), _off(edge[0], self.point, square)) for edge in chosen]
        below, parts = polygon, []
        for number, (square, away) in enumerate(heights):
            below = _half(below, self.point, (-square[0], -square[1]))
            here = polygon
            for other, (other_square, other_away) in enumerate(heights):
                if other != number:  # where this plane is the higher
                    higher = (square[0] / away - other_square[0] / other_away, square[1] / away - other_square[1] / other_away)
                    if math.hypot(*higher) * polygon.length > SLIVER:
                        here = _half(here, self.point, higher)
                    elif other < number:  # two edges in one line have one plane
                        here = shapely.Polygon()
            parts += [self._plane(piece, chosen[number]) for piece in _pieces(here, polygon)]
        if any(_pieces(below.buffer(-ON_EDGE), polygon)):
            place = shapely.Point(self.point)
            far = max(shapely.get_coordinates(below).tolist(), key=lambda corner: float(place.distance(shapely.Point(corner))))
            raise SurveyError(f"with these sides the floor about {word_place(*far)} would lie below the outlet",
                              rule="Every place lies higher than the outlet, or water stays there.",
                              remedy="Choose one more side beyond the outlet, or move the outlet to that edge.")
        return tuple(parts)

    def words(self) -> str:
        """The shape in words."""
        sides = "a level perimeter" if self.sides is None else f"{len(self.sides)} level side{'s' * (len(self.sides) > 1)}"
        return f"a floor falling from {sides} to an outlet at {word_place(*self.point)}"


@dataclass(frozen=True)
class OnePlane:
    """One plane; the unknowns are its level at the middle of the area (m), gx and gy (m/m)."""

    def flat(self, level: float) -> Floats:
        """The unknowns (3,) of a level surface at `level` m."""
        return np.array([level, 0.0, 0.0])

    def parts(self, area: Any) -> tuple[Part, ...]:
        """The one facet."""
        polygon = polygon_of(area)
        return (Part(polygon, np.eye(3), _middle(polygon)),)

    def words(self) -> str:
        """The shape in words."""
        return "one plane"


Shape = OnePlane | Channel | Outlet


def _place(place: Any, what: str) -> tuple[float, float]:
    x, y = finite_list(place, what, "It must be a place (x, y) in m.", count=2)
    return x, y


def _line(ends: Any, what: str) -> tuple[tuple[float, float], tuple[float, float]]:
    """Two places in plan, some way apart."""
    try:
        first, second = ends
    except (TypeError, ValueError):
        raise SurveyError(f"{what} is {ends!r}", rule="It must be a pair of places (x, y) in m.") from None
    places = _place(first, f"an end of {what}"), _place(second, f"an end of {what}")
    if math.dist(*places) < NEAR:
        raise SurveyError(f"{what} at {word_place(*places[0])} has no length", remedy="Give two places some way apart.")
    return places


def _middle(area: shapely.Polygon) -> tuple[float, float]:
    return float(area.centroid.x), float(area.centroid.y)


def _off(place: Sequence[float], start: Sequence[float], way: Sequence[float]) -> float:
    """How far a place lies from a start in a direction, m."""
    return (place[0] - start[0]) * way[0] + (place[1] - start[1]) * way[1]


def _half(shape: Any, start: Sequence[float], way: Sequence[float]) -> Any:
    """The part of a shape that lies from `start` in the direction `way`."""
    base, ahead = np.array(start), np.array(way) / math.hypot(*way)
    aside = np.array([-ahead[1], ahead[0]])
    far = 2 * max([1.0, *np.hypot(*(shapely.get_coordinates(shape) - start).T)])
    return shape.intersection(shapely.Polygon([base - far * aside, base + far * aside, base + far * (aside + ahead),
                                               base + far * (ahead - aside)]))


def _pieces(shape: Any, whole: shapely.Polygon) -> list[shapely.Polygon]:
    """The polygons of a shape that are more than slivers.

    Their corners lie on a grid of a millionth of a millimetre: corners that differ by the last binary digits alone would make
    two that only touch seem to overlap. It is counted from a corner of the whole, for grid coordinates are long numbers.
    """
    start = np.array(whole.bounds[:2])
    near = shapely.set_precision(shapely.transform(shape, lambda places: places - start), NEAR / 1000)
    return [shapely.transform(piece, lambda places: places + start) for piece in shapely.get_parts(near)
            if isinstance(piece, shapely.Polygon) and piece.area > SLIVER * whole.area]


def _edges(polygon: shapely.Polygon) -> Iterator[tuple[tuple[float, float], tuple[float, float]]]:
    """The edges of the outline, those in one line joined."""
    corners = shapely.get_coordinates(polygon.exterior.simplify(NEAR / 10))
    ends = [(float(x), float(y)) for x, y in corners]
    if len(ends) > 4 and shapely.LineString([ends[-2], ends[1]]).distance(shapely.Point(ends[0])) < NEAR / 10:
        ends = [*ends[1:-1], ends[1]]
    yield from pairwise(ends)


def _distance(place: Sequence[float], edge: Any) -> float:
    return float(shapely.LineString(edge).distance(shapely.Point(place)))


def _square(edge: Any, place: Sequence[float]) -> tuple[float, float]:
    """Unit vector square to an edge, away from a place."""
    length = math.dist(*edge)
    square = ((edge[1][1] - edge[0][1]) / length, (edge[0][0] - edge[1][0]) / length)
    side = math.copysign(1.0, _off(edge[0], place, square))
    return (side * square[0], side * square[1])


def _sees(polygon: shapely.Polygon, place: Sequence[float], edge: Any) -> bool:
    """Whether the whole of an edge is seen from a place; the edge in which the place stands counts as seen."""
    if _distance(place, edge) <= ON_EDGE:
        return True
    if abs(_off(edge[0], place, _square(edge, place))) <= ON_EDGE:  # seen end on
        return False
    return bool(polygon.buffer(NEAR).covers(shapely.Polygon([place, *edge])))
