"""What is taken up and dug: old concrete, soil, and what is to be filled, over the paving and the margin beyond its edges."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cached_property
from html import escape
from typing import Any

import numpy as np
import pandas as pd
import shapely

from ..design.brief import Brief
from ..errors import must_be
from ..surface.facet import Facet
from ..surface.finish import Finish
from ..surface.ground import Ground
from ..surface.pieces import cut_pieces
from ..surface.plane import Plane
from ..wording import html_table, word_area, word_distance, word_mm, word_volume
from .earthworks import SHOWN, Earthworks, between, cut_and_fill

CRUMB = 1e-9  # m²: parts that the cutting of outlines leaves, and nobody digs
PAVING, BEYOND, FLOOR, SOIL, FOOTING = "paving", "beyond the edge", "old floor", "soil", "over a footing"
STEP = 0.25  # m: how finely the margin is cut where no spot lies beyond it


@dataclass(frozen=True, eq=False)
class Part:
    """Part of the dig with one treatment: `works` down to its bottom, and the `concrete` that is broken out of it first, m³."""

    place: str
    what: str
    works: Earthworks
    concrete: float = 0.0

    @property
    def fill(self) -> float:
        """Volume to fill, m³; a footing that stays is filled up to by nobody."""
        return 0.0 if FOOTING in self.what else self.works.fill


@dataclass(frozen=True, eq=False)
class Dig:
    """What is to be taken up and dug for a finished surface. Made by `dig_out`.

    `formation` is the underside of all layers, over the paving and its margin; `margin` the strip beyond the bare edges in
    plan; `carried` and `carried_concrete` the volumes in m³ that are dug and broken out where no spot surrounds the margin,
    counted with the ground as it is at the nearest place that is known; `floor_outside` the plan area of an old floor that
    lies outside the dig, m².
    """

    ground: Ground
    finish: Finish
    brief: Brief
    formation: Finish
    margin: Any
    parts: tuple[Part, ...]
    carried: float
    carried_concrete: float
    floor_outside: float

    def _sum(self, values: Iterable[float]) -> float:
        return float(sum(values))

    @property
    def concrete(self) -> float:
        """Old concrete broken out, m³ as it lies."""
        return self._sum(part.concrete for part in self.parts) + self.carried_concrete

    @property
    def soil(self) -> float:
        """Soil dug, m³ in the ground, with what is `carried` over to the margin."""
        return self._sum(part.works.cut for part in self.parts) + self.carried

    @property
    def fill(self) -> float:
        """Fill needed under the layers, m³ in place."""
        return self._sum(part.fill for part in self.parts)

    @property
    def deepest(self) -> float:
        """Greatest depth from today's surface to the bottom of the dig, m; nought where nothing is dug."""
        return max((self._down(part) for part in self.parts), default=0.0)

    def _down(self, part: Part) -> float:
        corners = part.works.pieces.corners.reshape(-1, 2)
        depth = part.works.depth.reshape(-1)
        if part.concrete:
            floor = self.brief.underside
            assert floor is not None
            depth = np.maximum(depth, 0.0) + floor.thickness_at(*corners.T)
        return max(float(depth.max(initial=0.0)), 0.0)

    @cached_property
    def margin_area(self) -> float:
        """Plan area of the margin, m²."""
        return float(self.margin.area)

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
        if self.carried:
            lines.append((BEYOND, "no spots there: as at the edge", self._unread, self.carried_concrete, self.carried, 0.0))
        return pd.DataFrame(lines, columns=["place", "what", "area", "concrete", "soil", "fill"])

    @property
    def _unread(self) -> float:
        return max(self.margin_area - sum(part.works.covered for part in self.parts if part.place == BEYOND), 0.0)

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
        if self.margin_area:
            told += (f" The dig reaches {word_distance(float(self.brief.beyond_edge or 0))} past the open edges "
                     f"({word_area(self.margin_area)}).")
        if self.carried >= 0.005:
            told += (f" {word_volume(self.carried)} of it lies beyond the spots, and is counted with the ground as it is at the "
                     "nearest place that was read.")
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
        Its layers give the formation, `beyond_edge` the margin, `underside` the old floor, `footings` what stays.

    Returns
    -------
    Dig
        Inside the old floor the dig goes to the lower of formation and underside; above the top of a footing that stays it
        stops there. Volumes are exact for the triangulated ground, but for the part of the margin that no spot surrounds.

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
    finish_area = shapely.union_all([facet.area for facet in finish.facets])
    margin, beyond = _beyond(paving, brief)
    formation = Finish((*paving.facets, *beyond))
    whole = shapely.union_all([facet.area for facet in formation.facets])
    raised = [facet for facet, _ in _raised(formation, brief)]
    over = shapely.union_all([facet.area for facet in raised])
    bottom = Finish((*_within(formation, whole.difference(over)), *raised))
    floor = brief.underside
    old = shapely.Polygon() if floor is None else floor.area or finish_area
    under = ground if floor is None else ground.with_levels(ground.level - floor.thickness_at(ground.x, ground.y))
    known = shapely.Polygon(ground.hull)
    parts = []
    for place, region in ((PAVING, finish_area), (BEYOND, margin)):
        for what, within in ((FLOOR, region & old), (SOIL, region - old)):
            for how, shape in (("", within - over), (f" {FOOTING}", within & over)):
                facets = tuple(facet for facet in _within(bottom, shape) if (known & facet.area).area > CRUMB)
                if not facets:
                    continue
                areas = [facet.area for facet in facets]
                works = between(under if what == FLOOR else ground, Finish(facets), areas, float(shape.area))
                concrete = 0.0
                if what == FLOOR:
                    above, below = (cut_pieces(top, areas) for top in (ground, under))
                    concrete = float((above.plan * (above.level - below.level).mean(axis=1)).sum())
                parts.append(Part(place, what + how, works, concrete))
    if not any(part.place == PAVING for part in parts):
        cut_and_fill(ground, paving, brief.area)  # says why nothing is known there
    carried = _carried(ground, bottom, margin - known, brief, old)
    return Dig(ground, finish, brief, formation, margin, tuple(parts), *carried, float((old - whole).area))


def _polygons(shape: Any) -> list[shapely.Polygon]:
    return [part for part in shapely.get_parts(shape) if part.geom_type == "Polygon" and part.area > CRUMB]


def _within(finish: Finish, shape: Any) -> list[Facet]:
    """The parts of the facets inside a shape in plan."""
    return [replace(facet, area=part) for facet in finish.facets for part in _polygons(facet.area.intersection(shape))]


def _beyond(formation: Finish, brief: Brief) -> tuple[Any, list[Facet]]:
    """The margin past the bare sides, and the formation carried on over it, each facet past its own part of the sides."""
    reach = float(brief.beyond_edge or 0.0)
    lines = shapely.MultiLineString(brief.bare)
    if not reach or lines.is_empty:
        return shapely.Polygon(), []
    joined = shapely.line_merge(lines)
    margin = joined.buffer(reach, cap_style="flat", join_style="mitre", mitre_limit=2.0).difference(brief.area)
    for wall in brief.walls:  # nothing is dug under the wall
        out = brief.outward(wall)
        back = [tuple(place - 2 * reach * way for place, way in zip(end, out, strict=True)) for end in (wall.second, wall.first)]
        margin = margin.difference(shapely.Polygon([wall.first, wall.second, *back]))
    rest, found = margin, []
    for facet in formation.facets:
        side = lines.intersection(facet.area.buffer(1e-6))
        mine = rest.intersection(side.buffer(reach, cap_style="flat", join_style="mitre"))
        found += [Facet(facet.plane, part) for part in _polygons(mine)]
        rest = rest.difference(mine)
    for part in _polygons(rest):  # corners between two sides
        nearest = min(formation.facets, key=lambda facet: facet.area.distance(part))
        found.append(Facet(nearest.plane, part))
    return shapely.union_all([facet.area for facet in found]), found


def _raised(formation: Finish, brief: Brief) -> list[tuple[Facet, Plane]]:
    """The parts of footings that stand above the formation, each with the formation below it."""
    found = []
    for footing in brief.footings:
        for facet in formation.facets:
            for part in _polygons(facet.area.intersection(footing.area)):
                found += [(Facet(Plane(footing.top, 0.0, 0.0, facet.plane.at), piece), facet.plane)
                          for piece in _polygons(part.intersection(_below(facet.plane, footing.top, part)))]
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


def _carried(ground: Ground, bottom: Finish, unread: Any, brief: Brief, old: Any) -> tuple[float, float]:
    """Soil and concrete in m³ where the margin lies outside the spots, the ground there as at the nearest place that is known."""
    soil = concrete = 0.0
    known = shapely.Polygon(ground.hull)
    for facet in _within(bottom, unread):
        for piece in shapely.get_parts(shapely.constrained_delaunay_triangles(facet.area.segmentize(STEP))):
            at = float(piece.centroid.x), float(piece.centroid.y)
            x, y = shapely.shortest_line(known, piece.centroid).coords[0]
            thick = 0.0
            if brief.underside is not None and shapely.intersects_xy(old, *at):
                thick = float(brief.underside.thickness_at([at[0]], [at[1]])[0])
            soil += piece.area * max(ground.level_at(x, y) - thick - facet.plane.level_at(*at), 0.0)
            concrete += piece.area * thick
    return soil, concrete
