"""Sides of an outline: which of them lie along a wall, an edge that was named, or paving that stays."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from itertools import pairwise

import shapely

Edge = tuple[tuple[float, float], tuple[float, float]]
AGAINST = 0.05  # m: the area lies against a wall where it comes this near; tapes are no finer on an old wall
KEPT_NEAR = 0.1  # m: paving to be met that stands no farther than this from a side lies along it


def sides_without(area: shapely.Polygon, edges: Iterable[Edge], *, outer: bool = False) -> list[Edge]:
    """The sides of an outline (plan, m), of its `outer` ring alone if so told, or their parts, that lie along no edge given."""
    known = shapely.union_all([shapely.LineString(ends) for ends in edges]).buffer(AGAINST, cap_style="flat")
    return [_to_corners(part, ends) for ring in (area.exterior, *(() if outer else area.interiors))
            for ends in pairwise(ring.coords)
            for part in shapely.get_parts(shapely.LineString(ends).difference(known)) if part.length > 2 * AGAINST]


def sides_met(area: shapely.Polygon, met: Sequence[tuple[float, float]]) -> list[Edge]:
    """Sides of the outer ring along which places of paving that stays lie: beside them, or at both of their ends."""
    found = []
    for first, second in pairwise(area.exterior.coords):
        line = shapely.LineString([first, second])
        near = [[math.dist(place, end) <= KEPT_NEAR for end in (first, second)] for place in met
                if line.distance(shapely.Point(place)) <= KEPT_NEAR]
        if any(not any(ends) for ends in near) or all(any(ends[end] for ends in near) for end in (0, 1)):
            found.append((first[:2], second[:2]))
    return found


def _to_corners(part: shapely.LineString, corners: Sequence[tuple[float, ...]]) -> Edge:
    """The ends of part of a side; one that stands within the tape's tolerance of a corner is that corner."""
    first, second = (next((corner for corner in corners if math.dist(end, corner) <= 1.5 * AGAINST), end)
                     for end in (part.coords[0], part.coords[-1]))
    return (float(first[0]), float(first[1])), (float(second[0]), float(second[1]))
