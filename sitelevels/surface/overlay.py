"""Outlines laid over each other, brought onto one fine grid first: parts of those that nearly coincide get lost otherwise."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np
import shapely

GRID = 1e-9  # m: so fine that areas keep nine digits, so coarse that outlines which nearly coincide do
DIGITS = 16  # last digits of the largest coordinate that the grid must not fall below: far from the origin it is coarser
CRUMB = 1e-6  # m² for each m of outline: narrower parts are what the cutting leaves


def _grid(*shapes: Any) -> float:
    reach = max((abs(end) for shape in shapes for end in shape.bounds if end == end), default=0.0)
    return max(GRID, DIGITS * float(np.spacing(reach)))


def _flat(shape: Any, grid: float) -> shapely.MultiPolygon:
    parts = shapely.get_parts(shapely.set_precision(shape, grid))
    return shapely.MultiPolygon([part for part in parts if part.geom_type == "Polygon"])


def both(one: Any, other: Any) -> shapely.MultiPolygon:
    """Where two shapes lie over each other."""
    grid = _grid(one, other)
    return _flat(shapely.intersection(_flat(one, grid), _flat(other, grid), grid_size=grid), grid)


def less(one: Any, other: Any) -> shapely.MultiPolygon:
    """What is left of a shape outside another."""
    grid = _grid(one, other)
    return _flat(shapely.difference(_flat(one, grid), _flat(other, grid), grid_size=grid), grid)


def together(shapes: Iterable[Any]) -> shapely.MultiPolygon:
    """What any of the shapes covers."""
    given = list(shapes)
    grid = _grid(*given)
    return _flat(shapely.union_all([_flat(shape, grid) for shape in given], grid_size=grid), grid)


def polygons(shape: Any) -> list[shapely.Polygon]:
    """The polygons of a shape, crumbs left out."""
    return [part for part in shapely.get_parts(shape)
            if part.geom_type == "Polygon" and part.area > CRUMB * max(part.length, 1.0)]


def small_triangles(area: shapely.Polygon, step: float) -> list[shapely.Polygon]:
    """Triangles that make up a polygon, its sides cut every `step` m: small ones for a strip that is hardly wider than that."""
    coarse = shapely.get_parts(shapely.constrained_delaunay_triangles(area))
    return [small for one in coarse for small in shapely.get_parts(shapely.delaunay_triangles(one.segmentize(step)))]
