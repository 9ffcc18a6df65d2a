"""Triangulated ground cut along the outlines of facets, and closed integrals of a linear depth over the pieces."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import chain, pairwise
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from ..errors import SurveyError
from .ground import Ground
from .plane import Floats
from .triangles import doubled

MANY_SIDES = 200  # of an outline: looking along each costs more than it saves


@dataclass(frozen=True, eq=False)
class Pieces:
    """The triangles over each of which ground and finished surface are flat. Made by `cut_pieces`.

    `corners` (k, 3, 2) in plan, m; `level` (k, 3) of the ground there, m; `facet` (k,) the number of the area that each lies
    in, `triangle` (k,) that of the ground's triangle.
    """

    corners: Floats
    level: Floats
    facet: NDArray[np.intp]
    triangle: NDArray[np.intp]

    @cached_property
    def plan(self) -> Floats:
        """Plan area of each piece, m²."""
        return np.abs(doubled(self.corners)) / 2


def cut_pieces(ground: Ground, areas: Sequence[shapely.Polygon]) -> Pieces:
    """The ground cut to areas in plan (m) that lie side by side.

    Raises SurveyError where no spot's triangle reaches into any of them.
    """
    middle = np.array([ground.x.mean(), ground.y.mean()])
    triangles = np.stack([ground.x - middle[0], ground.y - middle[1]], axis=1)[ground.triangles]
    gradients, base = ground.facet_gradients()
    corners, levels, facets, triangle = [], [], [], []
    for number, area in enumerate(areas):
        moved = shapely.transform(area, lambda places: places - middle)  # a spike may cross itself by its last digits
        pieces, owner = _clipped(triangles, moved if moved.is_valid else shapely.set_precision(moved, 1e-10))
        rise = gradients[owner][:, None, :] * (pieces - triangles[owner, 0][:, None, :])
        corners.append(pieces + middle)
        levels.append(base[owner][:, None] + rise.sum(axis=2))
        facets.append(np.full(len(pieces), number))
        triangle.append(owner)
    if not any(map(len, corners)):
        raise SurveyError("all spots lie outside the area, or outside the finished surface",
                          rule="Only between spots is the ground known.",
                          remedy="Check the corners of the area, or read spots in it.")
    return Pieces(np.concatenate(corners), np.concatenate(levels), np.concatenate(facets), np.concatenate(triangle))


def _clipped(triangles: Floats, shape: Any) -> tuple[Floats, NDArray[np.intp]]:
    """The parts of triangles (m, 3, 2) inside a shape, as triangles (k, 3, 2), and the number of the triangle of each."""
    shapely.prepare(shape)
    inside = shapely.contains_xy(shape, triangles[:, 0])
    near = np.flatnonzero(_near(triangles, shape))
    outlines = shapely.polygons(triangles[near])
    inside[near] = shapely.contains_properly(shape, outlines)
    met = ~inside[near] & shapely.intersects(shape, outlines)
    cut = near[met]
    parts, part_of = shapely.get_parts(shapely.intersection(outlines[met], shape), return_index=True)
    flat = shapely.area(parts) > 0
    pieces, piece_of = shapely.get_parts(shapely.constrained_delaunay_triangles(parts[flat]), return_index=True)
    rings = shapely.get_coordinates(pieces).reshape(-1, 4, 2)[:, :3]
    whole = np.flatnonzero(inside)
    return np.concatenate([triangles[whole], rings]), np.concatenate([whole, cut[part_of[flat][piece_of]]])


def _near(triangles: Floats, shape: Any) -> NDArray[np.bool_]:
    """Which triangles may meet a side of a shape: making polygons of all the others would take half of the time."""
    rings = [shapely.get_coordinates(ring).tolist() for ring in shapely.get_rings(shapely.get_parts(shape))]
    found = np.full(len(triangles), sum(map(len, rings)) > MANY_SIDES)
    if not found.any():
        (low_x, low_y), (high_x, high_y) = triangles.min(axis=1).T, triangles.max(axis=1).T
        for (x1, y1), (x2, y2) in chain.from_iterable(map(pairwise, rings)):
            found |= (low_x <= max(x1, x2)) & (high_x >= min(x1, x2)) & (low_y <= max(y1, y2)) & (high_y >= min(y1, y2))
    return found


def shares_above(depth: Floats, plan: Floats) -> Floats:
    """For each corner of each triangle, the integral over the part where the depth is above nought of that corner's share.

    `depth` (k, 3) in m at the corners, linear between them; `plan` (k,) in m². The shares of the three corners add up to one
    everywhere, so the sum of the result (k, 3) is the plan area of the part in m², and that of result times depth its volume
    in m³, of which the result is also the gradient. With corner depths a ≥ b ≥ c: all above, a third of the area each; only a
    above, the part is a triangle cut off at a by s = a/(a−b) and t = a/(a−c); only c below, the whole less the triangle at c.
    """
    order = np.argsort(depth, axis=1)
    low, middle, high = np.take_along_axis(depth, order, axis=1).T
    third = plan / 3
    shares = np.where(low >= 0, third, 0.0)[:, None] * np.ones(3)
    one = np.flatnonzero((high > 0) & (middle <= 0) & (low < 0))
    shares[one] = _tip(high[one], middle[one], low[one], third[one])[:, [2, 1, 0]]
    two = np.flatnonzero((middle > 0) & (low < 0))
    shares[two] = third[two, None] - _tip(-low[two], -middle[two], -high[two], third[two])
    found = np.empty_like(shares)
    np.put_along_axis(found, order, shares, axis=1)
    return found


def _tip(tip: Floats, near: Floats, far: Floats, third: Floats) -> Floats:
    """Shares (k, 3) of tip, near and far corner over the triangle that the zero line cuts off at the tip."""
    to_near, to_far = tip / (tip - near), tip / (tip - far)
    return np.stack([3 - to_near - to_far, to_near, to_far], axis=1) * (third * to_near * to_far)[:, None]
