"""What is taken up and dug: old concrete, soil, and what is to be filled, over the paving and the strip beyond its edges."""

from __future__ import annotations

import math
import warnings
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from html import escape
from typing import Any, NamedTuple

import numpy as np
import pandas as pd
import shapely

from ..design.brief import Brief
from ..errors import SurveyWarning, must_be
from ..surface.facet import Facet
from ..surface.finish import Finish
from ..surface.ground import Ground
from ..surface.overlay import both, less, polygons, small_triangles, together
from ..surface.pieces import cut_pieces
from ..surface.plane import Plane
from ..wording import html_table, word_area, word_distance, word_mm, word_volume
from .earthworks import LEVEL, SHOWN, Earthworks, between, cut_and_fill

PAVING, BEYOND, FLOOR, SOIL, FOOTING = "paving", "beyond the edge", "old floor", "soil", "over a footing"
MOST_PIECES = 5000  # of the strip, where no spot lies beyond it
STEP = 0.25  # m: how finely the strip is cut where no spot lies beyond it


@dataclass(frozen=True, eq=False)
class Part:
    """Part of the dig with one treatment: `works` down to its bottom, the `concrete` that is broken out of it first and the
    `fill` that brings it up to the formation, m³, and how far its bottom lies below today's surface at the most, m.
    """

    place: str
    what: str
    works: Earthworks
    concrete: float
    fill: float
    deepest: float


class Carried(NamedTuple):
    """What is counted where the ground was not read: m³, and the greatest depth, m."""

    concrete: float
    soil: float
    fill: float
    deepest: float


Held = tuple[shapely.Polygon, Plane, Plane | None]  # of a footing: area, top, the formation where it lies above the top


@dataclass(frozen=True, eq=False)
class Dig:
    """What is to be taken up and dug for a finished surface. Made by `dig_out`.

    `formation` is the underside of all layers, over the paving and its strip; `strip` the strip beyond the bare edges in
    plan; `carried` what is dug where no spot surrounds the strip, with the ground as it is at the nearest place that is known;
    `floor_outside` the plan area of an old floor that lies outside the dig, m².
    """

    ground: Ground
    finish: Finish
    brief: Brief
    formation: Finish
    strip: Any
    parts: tuple[Part, ...]
    carried: Carried
    floor_outside: float

    @property
    def concrete(self) -> float:
        """Old concrete broken out, m³ as it lies."""
        return sum(part.concrete for part in self.parts) + self.carried.concrete

    @property
    def soil(self) -> float:
        """Soil dug, m³ in the ground, with what is `carried` over to the strip."""
        return sum(part.works.cut for part in self.parts) + self.carried.soil

    @property
    def fill(self) -> float:
        """Fill needed under the layers, m³ in place."""
        return sum(part.fill for part in self.parts) + self.carried.fill

    @property
    def deepest(self) -> float:
        """Greatest depth from today's surface to the bottom of the dig, m; nought where nothing is dug."""
        return max([part.deepest for part in self.parts] + [self.carried.deepest])

    @cached_property
    def paved(self) -> Any:
        """The paving in plan, without the strip."""
        return together(facet.area for facet in self.finish.facets)

    @cached_property
    def strip_area(self) -> float:
        """Plan area of the strip, m²."""
        return float(self.strip.area)

    @cached_property
    def displaced(self) -> float:
        """Volume of footings that reaches up into the layers, m³."""
        return self.displaced_between(0.0, self.brief.build_up)

    def displaced_between(self, low: float, high: float, within: Any = None) -> float:
        """Volume of footings in m³ between two heights above the formation, in m; `within` a shape in plan, else everywhere."""
        return self._above(low, within) - self._above(high, within)

    def _above(self, height: float, within: Any) -> float:
        formation, volume = self.formation.lowered(-height), 0.0
        for area, top, plane in _footings(formation, self.brief):
            for part in polygons(area if within is None else both(area, within)) if plane is None else ():
                x, y = part.centroid.x, part.centroid.y
                volume += part.area * (top.level - formation.facet_at(x, y).plane.level_at(x, y))
        return volume

    @property
    def table(self) -> pd.DataFrame:
        """A new table, a row a part: place what area (m²) concrete soil fill (m³)."""
        lines = [(part.place, part.what, part.works.covered, part.concrete, part.works.cut, part.fill)
                 for part in self.parts]
        if any(self.carried):
            lines.append((BEYOND, "no spots there: as at the edge", self._unread, *self.carried[:3]))
        return pd.DataFrame(lines, columns=["place", "what", "area", "concrete", "soil", "fill"])

    @property
    def strip_dug(self) -> float:
        """What comes out of the strip, less what is filled there, m³ in the ground."""
        out = sum(part.concrete + part.works.cut - part.fill for part in self.parts if part.place == BEYOND)
        return out + self.carried.concrete + self.carried.soil - self.carried.fill

    @property
    def _unread(self) -> float:
        return max(self.strip_area - sum(part.works.covered for part in self.parts if part.place == BEYOND), 0.0)

    @property
    def uncovered(self) -> float:
        """Plan area of the paving in m² that no triangle of the ground covers; nothing is said about it."""
        return max(self.finish.area - sum(part.works.covered for part in self.parts if part.place == PAVING), 0.0)

    def __repr__(self) -> str:
        return f"Dig: {self.sentence()}"

    def sentence(self) -> str:
        """The totals in words."""
        said = [f"{'dig' if self.concrete else 'Dig'} {word_volume(self.soil)} of soil, measured in the ground"]
        if self.concrete:
            said.insert(0, f"Break out {word_volume(self.concrete)} of old concrete, measured as it lies")
        if self.fill >= 0.005:
            said.append(f"fill {word_volume(self.fill)} under the layers")
        told = f"{'; '.join(said)}."
        if self.strip_area:
            told += (f" The dig reaches {word_distance(float(self.brief.beyond_edge or 0))} past the open edges "
                     f"({word_area(self.strip_area)}).")
        if self.carried.soil >= 0.005:
            told += (f" {word_volume(self.carried.soil)} of it lies beyond the spots, and is counted with the ground as it is at "
                     "the nearest place that was read.")
        bare = self.brief.area.area - self.finish.area
        for area, where in ((bare, "of the area have no finished surface"),
                            (self.uncovered, "of the paving lie outside the spots"),
                            (self.floor_outside, "of the old floor lie outside the dig")):
            if area >= SHOWN:
                told += f" {word_area(area)} {where} and are not counted."
        return f"{told} The bottom of the dig lies at most {word_mm(self.deepest)} below today's surface."

    def _repr_html_(self) -> str:
        table = self.table
        table["area"] = table["area"].map(word_area)
        for name in ("concrete", "soil", "fill"):
            table[name] = table[name].map(word_volume)
        return f"<p>{escape(self.sentence())}</p>{html_table(table, words=True)}"


def dig_out(ground: Ground, finish: Finish, brief: Brief) -> Dig:
    """What is taken up and dug for a finished surface.

    Parameters
    ----------
    ground : Ground
        Today's surface, m; of the old floor, where there is one.
    finish : Finish
        The finished surface, m.
    brief : Brief
        Its layers give the formation, `beyond_edge` the strip, `underside` the old floor, `footings` what stays.

    Returns
    -------
    Dig
        Inside the old floor the dig goes to the lower of formation and underside; above the top of a footing that stays it
        stops there. Volumes are exact for the triangulated ground, but for the part of the strip that no spot surrounds.

    Raises
    ------
    SurveyError
        For what is no Ground, Finish or Brief, and where no spot's triangle reaches into the paving. A SurveyWarning for a
        footing that lies outside the dig.

    Notes
    -----
    The ground is flat over each of its triangles and the bottom of the dig over each facet, so each depth is linear over the
    pieces into which they cut each other, and its integral closed. Depths are vertical, volumes m³ as they lie.

    >>> from sitelevels import Layer, Plane
    >>> ground = Ground([-1, 5, 5, -1], [-1, -1, 4, 4], [10.0] * 4)
    >>> area = [(0, 0), (4, 0), (4, 3), (0, 3)]
    >>> brief = Brief(area, layers=[Layer("slab", 0.05), Layer("base", 0.10)], beyond_edge=0.0)
    >>> round(dig_out(ground, Finish.plane(Plane(9.95, 0, 0), area), brief).soil, 6)  # 4 m × 3 m × 200 mm, in m³
    2.4
    """
    must_be(ground, Ground, "the ground")
    must_be(finish, Finish, "the finish")
    must_be(brief, Brief, "the brief")
    paving = finish.lowered(brief.build_up)
    paved = together(facet.area for facet in finish.facets)
    strip, beyond = _beyond(paving, brief)
    formation = Finish((*paving.facets, *beyond))
    whole = together(facet.area for facet in formation.facets)
    for footing in brief.footings:
        if not both(whole, footing.area).area:
            warnings.warn(f"The footing {footing.name!r} lies outside the dig. Are its corners in m?", SurveyWarning,
                          stacklevel=2)
    stay = _footings(formation, brief)
    over = together(area for area, _, _ in stay)
    floor = brief.underside
    old = shapely.Polygon() if floor is None else floor.area or paved
    today, under = old_floor(ground, brief)
    known = shapely.Polygon(ground.hull)
    parts = []
    for place, region in ((PAVING, paved), (BEYOND, strip)):
        for what, within in ((FLOOR, both(region, old)), (SOIL, less(region, old))):
            below = under if what == FLOOR else today
            facets = [facet for facet in _within(formation, less(within, over)) if polygons(both(known, facet.area))]
            if facets:
                parts.append(_open(place, what, today, below, facets))
            held = [(piece, top, plane) for area, top, plane in stay for piece in polygons(both(area, within))
                    if polygons(both(known, piece))]
            if held:
                parts.append(_over(place, what, today, below, held))
    if not any(part.place == PAVING for part in parts):
        cut_and_fill(ground, paving, brief.area)  # says why nothing is known there
    carried = _carried(ground, formation, stay, less(strip, known), brief, old)
    return Dig(ground, finish, brief, formation, strip, tuple(parts), carried, float(less(old, whole).area))


def old_floor(ground: Ground, brief: Brief) -> tuple[Ground, Ground]:
    """Today's surface and the underside of the old floor, in the same triangles, with a corner wherever it was measured."""
    floor = brief.underside
    if floor is None:
        return ground, ground
    places = np.array(floor.thickness)
    today = ground.with_corners(places[:, 0], places[:, 1]) if len(places) > 1 else ground
    return today, today.with_levels(today.level - floor.thickness_at(today.x, today.y))


def _works(ground: Ground, pieces: Sequence[tuple[shapely.Polygon, Plane]]) -> Earthworks:
    """Cut and fill down to planes over their areas."""
    bottom = Finish(tuple(Facet(plane, area) for area, plane in pieces))
    return between(ground, bottom, [area for area, _ in pieces], bottom.area)


def _open(place: str, what: str, today: Ground, under: Ground, facets: list[Facet]) -> Part:
    """A part where nothing stays: concrete down to the underside, soil down to the formation, fill up to it."""
    works = _works(under, [(facet.area, facet.plane) for facet in facets])
    thick = cut_pieces(today, [facet.area for facet in facets]).level - works.pieces.level
    down = np.maximum(works.depth, 0.0) + thick
    concrete = float((works.pieces.plan * thick.mean(axis=1)).sum())
    return Part(place, what, works, concrete, works.fill, float(down.max(initial=0.0)))


def _over(place: str, what: str, today: Ground, under: Ground, held: list[Held]) -> Part:
    """A part over footings: each of concrete, soil and fill ends at their tops.

    Over the top T of a footing, with today's surface g, underside u and formation F, concrete is (g − T)⁺ − (u − T)⁺ deep and
    soil (u − max(F, T))⁺; fill is (F − T)⁺ less (u − T)⁺ − (u − F)⁺, where ⁺ stands for what is above nought: linear over parts
    of each triangle, so that every integral is exact.
    """
    tops, lower = [(area, top) for area, top, _ in held], [(area, plane) for area, _, plane in held if plane is not None]
    works = _works(under, [(area, plane or top) for area, top, plane in held])
    above, below = _works(today, tops), _works(under, tops)
    fill = 0.0
    if lower:  # tops that lie below the formation
        deep, free = (_works(under, [(area, top) for area, top, plane in held if plane is not None]), _works(under, lower))
        height = deep.depth - free.depth
        fill = float((free.pieces.plan * height.mean(axis=1)).sum()) - deep.cut + free.cut
    down = np.minimum(above.depth.max(axis=1), np.maximum(works.depth, 0.0).max(axis=1) + (above.depth - below.depth).max(axis=1))
    return Part(place, f"{what} {FOOTING}", works, above.cut - below.cut, max(fill, 0.0), float(down.max(initial=0.0)))


def _within(finish: Finish, shape: Any) -> list[Facet]:
    """The parts of the facets inside a shape in plan."""
    return [replace(facet, area=part) for facet in finish.facets for part in polygons(both(facet.area, shape))]


def _beyond(formation: Finish, brief: Brief) -> tuple[Any, list[Facet]]:
    """The strip past the bare sides, and the formation carried on over it, each facet past its own part of the sides."""
    reach = float(brief.beyond_edge or 0.0)
    lines = shapely.MultiLineString(brief.bare)
    if reach < LEVEL or lines.is_empty:
        return shapely.Polygon(), []
    joined = shapely.line_merge(lines)
    strip: Any = less(joined.buffer(reach, cap_style="flat", join_style="mitre", mitre_limit=2.0), brief.area)
    for wall in brief.walls:  # nothing is dug under the wall
        out = brief.outward(wall)
        back = [tuple(place - 2 * reach * way for place, way in zip(end, out, strict=True)) for end in (wall.second, wall.first)]
        strip = less(strip, shapely.Polygon([wall.first, wall.second, *back]))
    rest, found = strip, []
    for facet in formation.facets:
        side = lines.intersection(facet.area.buffer(1e-6))
        mine = both(rest, side.buffer(reach, cap_style="flat", join_style="mitre"))
        found += [Facet(facet.plane, part) for part in polygons(mine)]
        rest = less(rest, mine)
    for part in polygons(rest):  # corners between two sides
        nearest = min(formation.facets, key=lambda facet: facet.area.distance(part))
        found.append(Facet(nearest.plane, part))
    return together(facet.area for facet in found), found


def _footings(formation: Finish, brief: Brief) -> list[Held]:
    """Pieces of footings, of two the higher: the area, the top as a plane, and the formation where that lies above the top."""
    found: list[Held] = []
    for footing in sorted(brief.footings, key=lambda one: -one.top):
        free = less(footing.area, together(area for area, _, _ in found if area.intersects(footing.area)))
        for facet in formation.facets:
            if not facet.area.intersects(footing.area):
                continue
            top = Plane(footing.top, 0.0, 0.0, facet.plane.at)
            for part in polygons(both(facet.area, free)):
                raised = both(part, _below(facet.plane, footing.top, part))
                found += [(piece, top, None) for piece in polygons(raised)]
                found += [(piece, top, facet.plane) for piece in polygons(less(part, raised))]
    return found


def _below(plane: Plane, level: float, about: shapely.Polygon) -> shapely.Polygon:
    """A shape that holds all of `about` where the plane lies below a level."""
    x_min, y_min, x_max, y_max = about.bounds
    box, size = shapely.box(x_min, y_min, x_max, y_max), 2.0 * (x_max - x_min + y_max - y_min)
    middle = (x_min + x_max) / 2, (y_min + y_max) / 2
    steep = float(np.hypot(plane.gx, plane.gy))
    over = level - plane.level_at(*middle)
    if steep < 1e-12:
        return box if over > 0 else shapely.Polygon()
    up = np.array([plane.gx, plane.gy]) / steep
    across = np.array([-up[1], up[0]])
    edge = np.array(middle) + up * min(max(over / steep, -size), size)  # where the plane reaches the level
    return shapely.Polygon([edge - size * across, edge + size * across, edge + size * across - 2 * size * up,
                            edge - size * across - 2 * size * up])


def _carried(ground: Ground, formation: Finish, stay: list[Held], unread: Any, brief: Brief, old: Any) -> Carried:
    """What is dug where the strip lies outside the spots, the ground there as at the nearest place that is known."""
    found = [Carried(0.0, 0.0, 0.0, 0.0)]
    known = shapely.Polygon(ground.hull)
    free = less(unread, together(area for area, _, _ in stay))
    pieces: list[tuple[Any, Plane, float | None]] = [(facet.area, facet.plane, None) for facet in _within(formation, free)]
    pieces += [(part, plane or top, top.level) for area, top, plane in stay for part in polygons(both(area, unread))]
    for area, bottom, top in pieces:
        small = small_triangles(area, max(STEP, math.sqrt(area.area / MOST_PIECES)))
        plan, middles = shapely.area(small), shapely.centroid(small)
        x, y = shapely.get_coordinates(middles).T
        level = ground.level_at(*shapely.get_coordinates(shapely.shortest_line(known, middles))[::2].T)
        thick = brief.underside.thickness_at(x, y) * shapely.intersects_xy(old, x, y) if brief.underside is not None else 0.0
        formed, least = bottom.level_at(x, y), -np.inf if top is None else top
        kept = np.maximum(level - thick, least)
        concrete, soil = np.maximum(level - kept, 0.0), np.maximum(level - thick - np.maximum(formed, least), 0.0)
        fill = np.maximum(formed - kept, 0.0)
        found.append(Carried(plan @ concrete, plan @ soil, plan @ fill, (concrete + soil).max()))
    concretes, soils, fills, deepest = zip(*found, strict=True)
    return Carried(float(sum(concretes)), float(sum(soils)), float(sum(fills)), float(max(deepest)))
