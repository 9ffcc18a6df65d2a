"""What is taken up and dug: old concrete, soil, and what is to be filled, over the paving and the strip beyond its edges."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cached_property
from html import escape
from typing import Any, NamedTuple

import numpy as np
import pandas as pd
import shapely

from ..design.brief import Brief
from ..errors import must_be
from ..surface.facet import Facet
from ..surface.finish import Finish
from ..surface.ground import Ground
from ..surface.overlay import both, less, polygons, small_triangles, together
from ..surface.pieces import cut_pieces
from ..surface.plane import Plane
from ..wording import html_table, word_area, word_distance, word_mm, word_volume
from .earthworks import SHOWN, Earthworks, between, cut_and_fill

PAVING, BEYOND, FLOOR, SOIL, FOOTING = "paving", "beyond the edge", "old floor", "soil", "over a footing"
STEP = 0.25  # m: how finely the strip is cut where no spot lies beyond it


@dataclass(frozen=True, eq=False)
class Part:
    """Part of the dig with one treatment: `works` down to its bottom, the `concrete` that is broken out of it first, m³, and how
    far its bottom lies below today's surface at the most, m.
    """

    place: str
    what: str
    works: Earthworks
    concrete: float
    deepest: float

    @property
    def fill(self) -> float:
        """Volume to fill, m³; a footing that stays is filled up to by nobody."""
        return 0.0 if FOOTING in self.what else self.works.fill


class Carried(NamedTuple):
    """What is counted where the ground was not read: m³, and the greatest depth, m."""

    concrete: float
    soil: float
    fill: float
    deepest: float


@dataclass(frozen=True, eq=False)
class Dig:
    """What is to be taken up and dug for a finished surface. Made by `dig_out`.

    `formation` is the underside of all layers, over the paving and its strip; `strip` the strip beyond the bare edges in
    plan; `carried` what is dug where no spot surrounds the strip, with the ground as it is at the nearest place that is known;
    `floor_outside` the plan area of an old floor that
    lies outside the dig, m².
    """

    ground: Ground
    finish: Finish
    brief: Brief
    formation: Finish
    strip: Any
    parts: tuple[Part, ...]
    carried: Carried
    floor_outside: float

    def _sum(self, values: Iterable[float]) -> float:
        return float(sum(values))

    @property
    def concrete(self) -> float:
        """Old concrete broken out, m³ as it lies."""
        return self._sum(part.concrete for part in self.parts) + self.carried.concrete

    @property
    def soil(self) -> float:
        """Soil dug, m³ in the ground, with what is `carried` over to the strip."""
        return self._sum(part.works.cut for part in self.parts) + self.carried.soil

    @property
    def fill(self) -> float:
        """Fill needed under the layers, m³ in place."""
        return self._sum(part.fill for part in self.parts) + self.carried.fill

    @property
    def deepest(self) -> float:
        """Greatest depth from today's surface to the bottom of the dig, m; nought where nothing is dug."""
        return max([part.deepest for part in self.parts] + [self.carried.deepest])

    @cached_property
    def strip_area(self) -> float:
        """Plan area of the strip, m²."""
        return float(self.strip.area)

    @cached_property
    def displaced(self) -> float:
        """Volume of footings that reaches up into the layers, m³."""
        return float(sum(facet.area.area * max(facet.plane.level_at(*_middle(facet)) - lower.level_at(*_middle(facet)), 0.0)
                         for facet, lower in _raised(self.formation, self.brief)))

    @property
    def table(self) -> pd.DataFrame:
        """A new table, a row a part: place what area (m²) concrete soil fill (m³)."""
        lines = [(part.place, part.what, part.works.covered, part.concrete, part.works.cut, part.fill)
                 for part in self.parts]
        if any(self.carried):
            lines.append((BEYOND, "no spots there: as at the edge", self._unread, *self.carried[:3]))
        return pd.DataFrame(lines, columns=["place", "what", "area", "concrete", "soil", "fill"])

    @property
    def _unread(self) -> float:
        return max(self.strip_area - sum(part.works.covered for part in self.parts if part.place == BEYOND), 0.0)

    @property
    def uncovered(self) -> float:
        """Plan area of the paving in m² that no triangle of the ground covers; nothing is said about it."""
        return max(self.finish.area - sum(part.works.covered for part in self.parts if part.place == PAVING), 0.0)

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
        for area, where in ((self.uncovered, "of the paving lie outside the spots"),
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
        Today's surface; of the old floor, where there is one.
    finish : Finish
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
        Where no spot's triangle reaches into the paving.

    >>> from sitelevels import Layer, Plane
    >>> ground = Ground([-1, 5, 5, -1], [-1, -1, 4, 4], [10.0] * 4)
    >>> area = [(0, 0), (4, 0), (4, 3), (0, 3)]
    >>> brief = Brief(area, layers=[Layer("slab", 0.05), Layer("base", 0.10)], beyond_edge=0.0)
    >>> round(dig_out(ground, Finish.plane(Plane(9.95, 0, 0), area), brief).soil, 6)
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
    raised = [facet for facet, _ in _raised(formation, brief)]
    over = together(facet.area for facet in raised)
    bottom = Finish((*_within(formation, less(whole, over)), *raised))
    floor = brief.underside
    old = shapely.Polygon() if floor is None else floor.area or paved
    under = ground if floor is None else ground.with_levels(ground.level - floor.thickness_at(ground.x, ground.y))
    known = shapely.Polygon(ground.hull)
    parts = []
    for place, region in ((PAVING, paved), (BEYOND, strip)):
        for what, within in ((FLOOR, both(region, old)), (SOIL, less(region, old))):
            for how, shape in (("", less(within, over)), (f" {FOOTING}", both(within, over))):
                facets = [facet for facet in _within(bottom, shape) if polygons(both(known, facet.area))]
                if facets:
                    parts.append(_part(place, what + how, ground, under if what == FLOOR else ground, facets, float(shape.area)))
    if not any(part.place == PAVING for part in parts):
        cut_and_fill(ground, paving, brief.area)  # says why nothing is known there
    carried = _carried(ground, bottom, less(strip, known), brief, old)
    return Dig(ground, finish, brief, formation, strip, tuple(parts), carried, float(less(old, whole).area))


def _part(place: str, what: str, ground: Ground, under: Ground, facets: list[Facet], whole: float) -> Part:
    """A part of the dig: soil under its concrete, and the concrete itself, which ends at the top of a footing."""
    areas, bottom = [facet.area for facet in facets], Finish(tuple(facets))
    works = between(under, bottom, areas, whole)
    above = cut_pieces(ground, areas).level - works.pieces.level  # how thick the concrete is
    down = np.maximum(works.depth, 0.0) + above
    concrete = float((works.pieces.plan * above.mean(axis=1)).sum())
    if FOOTING in what and under is not ground:
        all_of_it = between(ground, bottom, areas, whole)
        down, concrete = all_of_it.depth, all_of_it.cut - works.cut
    return Part(place, what, works, concrete, max(float(down.max(initial=0.0)), 0.0))


def _within(finish: Finish, shape: Any) -> list[Facet]:
    """The parts of the facets inside a shape in plan."""
    return [replace(facet, area=part) for facet in finish.facets for part in polygons(both(facet.area, shape))]


def _beyond(formation: Finish, brief: Brief) -> tuple[Any, list[Facet]]:
    """The strip past the bare sides, and the formation carried on over it, each facet past its own part of the sides."""
    reach = float(brief.beyond_edge or 0.0)
    lines = shapely.MultiLineString(brief.bare)
    if not reach or lines.is_empty:
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


def _raised(formation: Finish, brief: Brief) -> list[tuple[Facet, Plane]]:
    """The parts of footings that stand above the formation, each with the formation below it; of two, the higher."""
    found: list[tuple[Facet, Plane]] = []
    for footing in sorted(brief.footings, key=lambda one: -one.top):
        free = less(footing.area, together(facet.area for facet, _ in found))
        for facet in formation.facets:
            for part in polygons(both(facet.area, free)):
                found += [(Facet(Plane(footing.top, 0.0, 0.0, facet.plane.at), piece), facet.plane)
                          for piece in polygons(both(part, _below(facet.plane, footing.top, part)))]
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


def _middle(facet: Facet) -> tuple[float, float]:
    middle = facet.area.centroid
    return float(middle.x), float(middle.y)


def _carried(ground: Ground, bottom: Finish, unread: Any, brief: Brief, old: Any) -> Carried:
    """What is dug where the strip lies outside the spots, the ground there as at the nearest place that is known."""
    found = [Carried(0.0, 0.0, 0.0, 0.0)]
    known = shapely.Polygon(ground.hull)
    for facet in _within(bottom, unread):
        for piece in small_triangles(facet.area, STEP):
            at = float(piece.centroid.x), float(piece.centroid.y)
            level = ground.level_at(*shapely.shortest_line(known, piece.centroid).coords[0])
            floor = brief.underside is not None and shapely.intersects_xy(old, *at)
            thick = float(brief.underside.thickness_at([at[0]], [at[1]])[0]) if floor and brief.underside else 0.0
            deep = level - thick - facet.plane.level_at(*at)
            found.append(Carried(piece.area * thick, piece.area * max(deep, 0.0), piece.area * max(-deep, 0.0),
                                 max(deep, 0.0) + thick))
    concrete, soil, fill, deepest = zip(*found, strict=True)
    return Carried(float(sum(concrete)), float(sum(soil)), float(sum(fill)), max(deepest))
