"""Outlines laid over each other, brought onto one fine grid first: parts of those that nearly coincide get lost otherwise."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import Any

import numpy as np
import shapely

GRID = 1e-9  # m: so fine that areas keep nine digits, so coarse that outlines which nearly coincide do
DIGITS = 16  # last digits of the largest coordinate that the grid must not fall below: far from the origin it is coarser
NEAR = 1000.0  # m: places no farther from the origin than this are as near as need be
CRUMB = 1e-6  # m² for each m of outline: narrower parts are what the cutting leaves


def _overlaid(shapes: Sequence[Any], work: Callable[[list[Any], float], Any]) -> shapely.MultiPolygon:
    """What `work` makes of shapes that were brought onto one grid, near the origin, where numbers have digits to spare."""
    ends = [shape.bounds for shape in shapes if not shape.is_empty]
    if not ends:
        return shapely.MultiPolygon()
    grid = max(GRID, DIGITS * float(np.spacing(np.abs(ends).max())))
    origin = np.trunc(np.array(ends[0][:2]) / NEAR) * NEAR
    moved = [_flat(shapely.transform(shape, lambda places: places - origin), grid) for shape in shapes]
    return shapely.transform(_flat(work(moved, grid), grid), lambda places: places + origin)


def _flat(shape: Any, grid: float) -> shapely.MultiPolygon:
    parts = shapely.get_parts(shapely.set_precision(shape, grid))
    return shapely.MultiPolygon([part for part in parts if part.geom_type == "Polygon"])


def both(one: Any, other: Any) -> shapely.MultiPolygon:
    """Where two shapes lie over each other."""
    return _overlaid((one, other), lambda shapes, grid: shapely.intersection(*shapes, grid_size=grid))


def less(one: Any, other: Any) -> shapely.MultiPolygon:
    """What is left of a shape outside another."""
    return _overlaid((one, other), lambda shapes, grid: shapely.difference(*shapes, grid_size=grid))


def together(shapes: Iterable[Any]) -> shapely.MultiPolygon:
    """What any of the shapes covers."""
    return _overlaid(list(shapes), lambda given, grid: shapely.union_all(given, grid_size=grid))


def polygons(shape: Any) -> list[shapely.Polygon]:
    """The polygons of a shape, crumbs left out."""
    return [part for part in shapely.get_parts(shape)
            if part.geom_type == "Polygon" and part.area > CRUMB * max(part.length, 1.0)]


def small_triangles(area: shapely.Polygon, step: float) -> Any:
    """The triangles that make up a polygon, its sides cut every `step` m: small ones for a strip hardly wider than that."""
    coarse = shapely.get_parts(shapely.constrained_delaunay_triangles(area))
    return shapely.get_parts(shapely.delaunay_triangles(shapely.segmentize(coarse, step)))
