"""Where rain goes that falls on a finished surface: which part of it drains to which edge, channel, outlet or dead spot."""

from __future__ import annotations

import math
import re
import warnings
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from html import escape
from itertools import pairwise
from typing import Any, NamedTuple

import numpy as np
import pandas as pd
import shapely

from ..design.brief import Brief
from ..design.demands import Gully
from ..design.edges import AGAINST
from ..errors import SurveyError, SurveyWarning, finite, must_be
from ..surface.facet import REACH
from ..surface.finish import Finish
from ..surface.overlay import together
from ..surface.plane import Floats
from ..wording import html_table, word_area, word_distance, word_place
from .watercourse import LIP, NEAR, Course, Sink

ROUND = 32  # corners of the polygon that stands for the reach of an outlet
MOST_CORNERS = 600  # of all facets: following water round more takes longer than anybody waits
_INTO = {"free edge": "over the", "outlet": "into", "channel": "into the", "level channel": "into the level",
         "dead spot": "nowhere from the", "gap": "into the"}


class Piece(NamedTuple):
    """A part of a facet (numbered from 1) all of which drains to one sink; `area` is its polygon in plan, m."""

    area: shapely.Polygon
    facet: int
    sink: Sink


@dataclass(frozen=True, eq=False)
class Catchments:
    """Which part of a finished surface drains where. Made by `catchments`.

    `outlets` are those that counted (name, x, y); `roofs` roof water with its sink (area in m², x, y, sink); `sinks` stand in the
    order of what they take.
    """

    finish: Finish
    brief: Brief
    outlets: tuple[tuple[str, float, float], ...]
    pieces: tuple[Piece, ...]
    roofs: tuple[tuple[float, float, float, Sink], ...]
    sinks: tuple[Sink, ...]

    @property
    def area(self) -> float:
        """Plan area of all pieces, m²."""
        return math.fsum(piece.area.area for piece in self.pieces)

    def taken(self, sink: Sink) -> tuple[float, float]:
        """Plan area and roof that drain to a sink, m²."""
        return (math.fsum(piece.area.area for piece in self.pieces if piece.sink == sink),
                math.fsum(area for area, _, _, end in self.roofs if end == sink))

    def _words(self, sink: Sink) -> str:
        area, roof = self.taken(sink)
        return word_area(area) + (f" and {word_area(roof)} of roof" if roof else "")

    def region(self, sink: Sink) -> Any:
        """The pieces of a sink as one shape for drawing; its corners may be a thousandth of a millimetre out."""
        with np.errstate(all="ignore"):  # a sliver has sides that its corners do not tell
            grown = [piece.area.buffer(NEAR, join_style="mitre") for piece in self.pieces if piece.sink == sink]
            return shapely.union_all(grown).buffer(-NEAR, join_style="mitre")

    @property
    def table(self) -> pd.DataFrame:
        """A new table, a row a sink: sink (its kind), place, x, y (m), area, roof (m²), facets, held_by."""
        rows = [(sink.kind, sink.place, sink.x, sink.y, *self.taken(sink), ", ".join(map(str, sorted(
            {piece.facet for piece in self.pieces if piece.sink == sink}))), sink.held_by) for sink in self.sinks]
        return pd.DataFrame(rows, columns=["sink", "place", "x", "y", "area", "roof", "facets", "held_by"])

    @property
    def by_facet(self) -> pd.DataFrame:
        """A new table: facet (numbered from 1), sink, place, area (m²)."""
        rows = [(piece.facet, piece.sink.kind, piece.sink.place, piece.area.area) for piece in self.pieces]
        table = pd.DataFrame(rows, columns=["facet", "sink", "place", "area"])
        return table.groupby(["facet", "sink", "place"])["area"].sum().reset_index()

    @property
    def dead(self) -> tuple[str, ...]:
        """A sentence for each place that water does not leave."""
        return tuple(f"Water of {self._words(sink)} stays at the {sink.place}: {sink.held_by}." for sink in self.sinks
                     if sink.kind == "dead spot")

    @property
    def arrows(self) -> list[tuple[float, float, float, float, float]]:
        """Up to three for what drains to a sink from a facet: x, y (m), unit vector downhill, fall (m/m)."""
        found, largest = [], {(piece.facet, piece.sink): piece for piece in sorted(self.pieces, key=lambda one: one.area.area)}
        for (facet, _), piece in largest.items():
            dx, dy = self.finish.facets[facet - 1].plane.direction
            aside = shapely.get_coordinates(piece.area) @ np.array([-dy, dx])
            for share in (-0.3, 0.0, 0.3) if np.ptp(aside) > 0.3 * math.sqrt(self.area) else (0.0,):
                off = share * float(np.ptp(aside))
                place = shapely.Point(piece.area.centroid.x - off * dy, piece.area.centroid.y + off * dx)
                if (dx or dy) and piece.area.contains(place):
                    found.append((place.x, place.y, dx, dy, self.finish.facets[facet - 1].plane.fall))
        return found

    def named(self, name_of: Callable[[float, float], str]) -> Catchments:
        """The same with the places in its words called as `name_of` calls a place (x, y) in m."""
        def called(words: str) -> str:
            return re.sub(r"x (-?[\d.]+) y (-?[\d.]+)", lambda place: name_of(float(place[1]), float(place[2])), words)

        new = {sink: replace(sink, place=called(sink.place), held_by=called(sink.held_by)) for sink in self.sinks}
        return replace(self, pieces=tuple(piece._replace(sink=new[piece.sink]) for piece in self.pieces),
                       roofs=tuple((area, x, y, new[sink]) for area, x, y, sink in self.roofs), sinks=tuple(new.values()))

    @property
    def drained(self) -> str:
        """How much of the paving drains to channels and outlets, in a sentence; empty where there are none, or they take all."""
        drains = [sink for sink in self.sinks if sink.kind in ("outlet", "channel", "level channel")]
        taken = word_area(math.fsum(self.taken(sink)[0] for sink in drains))
        where = " and ".join(f"{'the ' * (sink.kind != 'outlet')}{sink.place}" for sink in drains)
        return f" Only {taken} of {word_area(self.area)} reaches {where}." if drains and taken != word_area(self.area) else ""

    def sentence(self) -> str:
        """Where the water goes, in words."""
        told = "; ".join(f"{self._words(sink)} {_INTO[sink.kind]} {sink.place}" for sink in self.sinks)
        doubt = " A level channel drains only where its units have a fall built in." if any(
            sink.kind == "level channel" for sink in self.sinks) else ""
        return f"Rain on {word_area(self.area)} goes {told}.{self.drained}{doubt}"

    def __repr__(self) -> str:
        return f"Catchments: {self.sentence()}"

    def _repr_html_(self) -> str:
        said = (self.sentence(), *self.dead)
        table = self.table.rename(columns={"x": "x, m", "y": "y, m", "area": "area, m²", "roof": "roof, m²"})
        facets = html_table(self.by_facet.rename(columns={"area": "area, m²"})) if len(self.finish.facets) > 1 else ""
        return "".join(f"<p>{escape(one)}</p>" for one in said) + html_table(table) + facets


def catchments(finish: Finish, brief: Brief, *, outlets: Iterable[Any] = (), roof: Iterable[Any] = (),
               reach: float = REACH) -> Catchments:
    """Where rain goes that falls on a finished surface.

    Parameters
    ----------
    finish : Finish
    brief : Brief
        Water does not run over its walls and closed edges; its Gully demands count as outlets.
    outlets : sequence of (name, x, y), m
        Further places where water leaves. A channel, and the lowest point of facets that fall to an outlet, count by themselves.
    roof : sequence of (area, x, y)
        Roof in m² whose water lands on the paving at x, y in m.
    reach : float
        Water that comes as near as this to a named outlet or gully runs into it, m; 300 mm is common practice, no source.

    Returns
    -------
    Catchments

    Raises
    ------
    SurveyError
        An outlet outside the area; a name given twice; a surface that reaches outside the area; roof water that misses it.

    Warns
    -----
    SurveyWarning
        Where the facets leave part of the area without a surface.

    Notes
    -----
    Exact for flat facets: water runs straight down each plane, so each is cut along its fall at every corner, and at every place
    from which water comes to a corner further down; between two cuts all water takes one way. Along a wall, a closed edge or a
    valley it runs to the lower end. Water has no depth here. The reach of an outlet is a polygon of 32 corners.

    >>> from sitelevels import Plane, Wall
    >>> area = [(0, 0), (6, 0), (6, 4), (0, 4)]
    >>> yard = Finish.plane(Plane(9.85, 0.0, -1 / 60), area)
    >>> print(catchments(yard, Brief(area, walls=[Wall("back wall", (0, 0), (6, 0), dpc=10.0)])).sentence())
    Rain on 24.0 m² goes 24.0 m² over the edge from x 6 y 4 to x 0 y 4.
    """
    must_be(finish, Finish, "the finish")
    must_be(brief, Brief, "the brief")
    reach = finite(reach, "the reach of an outlet", "It must be a length in m over nought.", over=0.0)
    named = _outlets(outlets, brief)
    for wall in brief.walls:
        brief.outward(wall)  # refuses one that runs through the area
    corners = sum(len(shapely.get_coordinates(facet.area)) for facet in finish.facets)
    if corners > MOST_CORNERS:
        raise SurveyError(f"the outlines of the facets have {corners} corners", rule=f"No more than {MOST_CORNERS} are followed.",
                          remedy="Draw the outline with fewer corners.")
    _covered(finish, brief)
    start = np.array(brief.area.bounds[:2])
    areas = [shapely.transform(facet.area, lambda places: places - start) for facet in finish.facets]
    discs: list[tuple[Any, Sink]] = []
    pieces, taken = [], shapely.Polygon()
    for name, x, y in named:
        at, turns = np.array([x, y]) - start, 2 * math.pi * np.arange(ROUND) / ROUND
        nearest = min(range(len(areas)), key=lambda number: float(areas[number].distance(shapely.Point(at))))
        dx, dy = finish.facets[nearest].plane.direction  # two corners aside of the fall make it as wide as the reach
        turns += math.atan2(dy, dx)
        discs.append((shapely.Polygon(at + reach * np.column_stack([np.cos(turns), np.sin(turns)])), Sink("outlet", name, x, y)))
        pieces += [Piece(part, number, discs[-1][1]) for number, area in enumerate(areas)
                   for part in _polygons(area.intersection(discs[-1][0]).difference(taken))]
        taken = taken.union(discs[-1][0])
    parts = [(number, shapely.orient_polygons(part)) for number, area in enumerate(areas)
             for part in _polygons(area.difference(taken))]
    course = Course(finish, brief, parts, discs, start) if parts else None
    if course is not None:
        pieces += [Piece(area, parts[part][0], course.flow(part, shapely.get_coordinates(area.representative_point())[0]))
                   for part, cuts in enumerate(course.cuts()) for area in _strips(parts[part][1], course.way[part], cuts)]
    pieces = [Piece(shapely.transform(area, lambda places: places + start), number + 1, sink) for area, number, sink in pieces]
    roofs = []
    for area, x, y in _roofs(roof):
        off = min(float(facet.area.distance(shapely.Point(x, y))) for facet in finish.facets)
        if off > REACH:
            raise SurveyError(f"roof water lands at {word_place(x, y)}, {word_distance(off)} outside the finished surface",
                              remedy="Check its x and y, or leave out a roof that does not drain to the paving.")
        roofs.append((area, x, y, _landing(np.array([x, y]) - start, parts, discs, course)))
    amounts = dict.fromkeys([sink for _, sink in discs] + [sink for *_, sink in roofs], 0.0)
    for area, _, sink in pieces:
        amounts[sink] = amounts.get(sink, 0.0) + area.area
    return Catchments(finish, brief, named, tuple(pieces), tuple(roofs), tuple(sorted(amounts, key=lambda sink: -amounts[sink])))


def _covered(finish: Finish, brief: Brief) -> None:
    """Refuse a surface that reaches outside the area, and warn of one that leaves some of it bare."""
    whole = together(facet.area for facet in finish.facets)
    outside, bare = whole.difference(brief.area.buffer(AGAINST)), brief.area.buffer(-AGAINST).difference(whole.buffer(NEAR))
    place = (bare if outside.is_empty else outside).representative_point()
    if not outside.is_empty:
        raise SurveyError(f"the finished surface reaches outside the area at {word_place(place.x, place.y)}",
                          rule="It covers the area of the brief.", remedy="Give both the same corners.")
    if bare.area > NEAR:
        warnings.warn(f"The finished surface leaves a gap about {word_place(place.x, place.y)}; nothing is said about rain "
                      "on it, and water that comes to it is counted as lost there.", SurveyWarning, stacklevel=3)


def _triples(given: Iterable[Any], what: str, rule: str) -> Iterator[tuple[Any, float, float]]:
    must_be(given, Iterable, f"the list of {what}s")
    for one in given:
        try:
            first, x, y = one
        except (TypeError, ValueError):
            raise SurveyError(f"the {what} {one!r} cannot be read", rule=rule) from None
        yield first, finite(x, f"x of the {what} {first!r}"), finite(y, f"y of the {what} {first!r}")


def _outlets(outlets: Iterable[Any], brief: Brief) -> tuple[tuple[str, float, float], ...]:
    found = [(demand.point.point, float(demand.point.x), float(demand.point.y)) for demand in brief.demands
             if isinstance(demand, Gully)]
    for name, x, y in _triples(outlets, "outlet", "An outlet is a name, x and y in m."):
        beyond = float(brief.area.distance(shapely.Point(x, y)))
        if name is None or not str(name).strip():
            raise SurveyError(f"the outlet at {word_place(x, y)} has no name", remedy="Give it one of its own.")
        if beyond > LIP:
            raise SurveyError(f"the outlet {name!r} lies {word_distance(beyond, never='less')} outside the area",
                              remedy="Check its x and y, or the corners of the area.")
        found += [(str(name), x, y)] if (str(name), x, y) not in found else []
    names = [name for name, *_ in found]
    if len(set(names)) < len(names):
        raise SurveyError(f"two outlets have one name among {', '.join(names)}", remedy="Give each its own.")
    return tuple(found)


def _roofs(roof: Iterable[Any]) -> Iterator[tuple[float, float, float]]:
    for area, x, y in _triples(roof, "roof", "A roof is its area in m², x and y in m."):
        yield finite(area, f"the area of the roof at {word_place(x, y)}", "It must be in m², nought or more.", least=0.0), x, y


def _landing(place: Floats, parts: list[Any], discs: list[tuple[Any, Sink]], course: Course | None) -> Sink:
    """The sink of roof water that lands at a place."""
    at = shapely.Point(place)
    near = sorted(discs, key=lambda one: float(one[0].distance(at)))  # where discs overlap the first has it, as of the rain
    if course is None or (near and near[0][0].distance(at) <= NEAR):
        return near[0][1]
    part = min(range(len(parts)), key=lambda number: float(parts[number][1].distance(at)))
    return course.flow(part, shapely.get_coordinates(shapely.shortest_line(parts[part][1], at))[0])


def _polygons(shape: Any) -> list[shapely.Polygon]:
    return [part for part in shapely.get_parts(shape) if isinstance(part, shapely.Polygon) and part.area > 0]


def _strips(area: shapely.Polygon, way: Floats, cuts: list[float]) -> Iterator[shapely.Polygon]:
    """A polygon cut along a way, so far aside as is told."""
    turn = np.array([way, [-way[1], way[0]]]) if way.any() else np.eye(2)
    turned = shapely.transform(area, lambda places: places @ turn.T)
    low, left, high, right = turned.bounds
    stops = [left]
    for cut in sorted(cuts) if way.any() else []:
        stops += [cut] if stops[-1] + NEAR / 10 < cut < right - NEAR / 10 else []
    for one, two in pairwise([*stops, right]):
        for piece in _polygons(turned.intersection(shapely.box(low - 1, one, high + 1, two))):
            # parts above and below a corner on the cut may hang together there by what the last digits leave
            ends = sorted(part.bounds for part in _polygons(piece.buffer(-NEAR / 100, join_style="mitre")))
            across = [low - 1, *((first[2] + second[0]) / 2 for first, second in pairwise(ends)), high + 1]
            for start, stop in pairwise(across):
                for part in _polygons(piece.intersection(shapely.box(start, one - 1, stop, two + 1))):
                    yield shapely.transform(part, lambda places: places @ turn)
