"""Outlines laid over each other, brought onto one fine grid first: parts of those that nearly coincide get lost otherwise."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import shapely

GRID = 1e-9  # m: so fine that areas keep nine digits, so coarse that outlines which nearly coincide do
CRUMB = 1e-6  # m² for each m of outline: narrower parts are what the cutting leaves


def flat(shape: Any) -> shapely.MultiPolygon:
    """The parts of a shape that have an area."""
    parts = shapely.get_parts(shapely.set_precision(shape, GRID))
    return shapely.MultiPolygon([part for part in parts if part.geom_type == "Polygon"])


def both(one: Any, other: Any) -> shapely.MultiPolygon:
    """Where two shapes lie over each other."""
    return flat(shapely.intersection(flat(one), flat(other), grid_size=GRID))


def less(one: Any, other: Any) -> shapely.MultiPolygon:
    """What is left of a shape outside another."""
    return flat(shapely.difference(flat(one), flat(other), grid_size=GRID))


def together(shapes: Iterable[Any]) -> shapely.MultiPolygon:
    """What any of the shapes covers."""
    return flat(shapely.union_all([flat(shape) for shape in shapes], grid_size=GRID))


def polygons(shape: Any) -> list[shapely.Polygon]:
    """The polygons of a shape, crumbs left out."""
    return [part for part in shapely.get_parts(shape)
            if part.geom_type == "Polygon" and part.area > CRUMB * max(part.length, 1.0)]


def small_triangles(area: shapely.Polygon, step: float) -> list[shapely.Polygon]:
    """Triangles that make up a polygon, none with a side much longer than `step` m."""
    coarse = shapely.get_parts(shapely.constrained_delaunay_triangles(area))
    return [small for one in coarse for small in shapely.get_parts(shapely.delaunay_triangles(one.segmentize(step)))]
