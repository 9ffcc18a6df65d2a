"""Sizes, sides and edges of triangles; triangles that no break line crosses: edges are flipped until each break is one."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Sequence
from itertools import combinations, pairwise

import numpy as np
from numpy.typing import NDArray

from ..errors import SurveyError

Edge = tuple[int, int]


def doubled(corners: NDArray[np.float64]) -> NDArray[np.float64]:
    """Twice the signed areas (m,) of triangles (m, 3, 2) in m², positive anticlockwise."""
    (ax, ay), (bx, by) = (corners[:, 1] - corners[:, 0]).T, (corners[:, 2] - corners[:, 0]).T
    return np.asarray(ax * by - ay * bx)


def sides_of(corners: NDArray[np.float64]) -> NDArray[np.float64]:
    """Lengths (m, 3) in m of the sides of triangles (m, 3, 2), each from a corner to the next."""
    return np.asarray(np.hypot(*(np.roll(corners, -1, axis=1) - corners).transpose(2, 0, 1)))


def edges_of(triangles: NDArray[np.intp]) -> NDArray[np.intp]:
    """The edges (3 m, 2) of triangles (m, 3), the lower number first: each from a corner to the next, so some of them twice."""
    return np.sort(np.stack([triangles, np.roll(triangles, -1, axis=1)], axis=2), axis=2).reshape(-1, 2)


def _turn(places: NDArray[np.float64], one: int, two: int, three: int) -> float:
    """Twice the signed area of a triangle: positive anticlockwise, nought where the three are in a line."""
    (ax, ay), (bx, by), (cx, cy) = places[one], places[two], places[three]
    return float((bx - ax) * (cy - ay) - (by - ay) * (cx - ax))


def _key(one: int, two: int) -> Edge:
    return (one, two) if one < two else (two, one)


def force_breaks(places: NDArray[np.float64], triangles: NDArray[np.intp], breaks: Sequence[Edge],
                 called: Callable[[int], str]) -> NDArray[np.intp]:
    """The triangles (m, 3) after flipping edges so that every break is one of them (Sloan, Advances in Engineering
    Software, 1987, volume 9, pages 34-55; the paper's method from memory).

    `places` (n, 2) in m. A break that runs through another spot is broken there. Raises SurveyError for breaks that cross.
    """
    size = float(np.ptp(places, axis=0).max())
    flat = 1e-12 * size**2
    pieces = [piece for pair in breaks for piece in _pieces(places, pair, flat)]
    for (one, two), (three, four) in combinations(pieces, 2):
        if len({one, two, three, four}) == 4 and _cross(places, (one, two), (three, four), flat):
            raise SurveyError(f"the breaks {called(one)} to {called(two)} and {called(three)} to {called(four)} cross",
                              rule="A step has one level on each side of its edge.", remedy="Read a spot where they meet.")
    corners = {index: list(map(int, triangle)) for index, triangle in enumerate(triangles)}
    beside: dict[Edge, set[int]] = {}
    for index, triangle in corners.items():
        for place in range(3):
            beside.setdefault(_key(triangle[place - 1], triangle[place]), set()).add(index)
    for piece in pieces:
        crossing = deque(edge for edge in beside if not set(edge) & set(piece) and _cross(places, edge, piece, flat))
        stuck = 0
        while crossing:
            edge = crossing.popleft()
            new = _flip(places, corners, beside, edge, flat)
            if new is None:
                stuck += 1
                if stuck > len(crossing):
                    raise SurveyError(f"the break {called(piece[0])} to {called(piece[1])} cannot be drawn",
                                      rule="Some spots lie too nearly in line with it.", remedy="Leave one of them out.")
                crossing.append(edge)  # not convex yet: its neighbours go first
                continue
            stuck = 0
            if not set(new) & set(piece) and _cross(places, new, piece, flat):
                crossing.append(new)
    return np.array([corners[index] for index in sorted(corners)], dtype=np.intp)


def _pieces(places: NDArray[np.float64], pair: Edge, flat: float) -> list[Edge]:
    """The break cut at every spot that lies on it."""
    start, end = places[pair[0]], places[pair[1]]
    along = (places - start) @ (end - start) / float((end - start) @ (end - start))
    off = np.abs((end[0] - start[0]) * (places[:, 1] - start[1]) - (end[1] - start[1]) * (places[:, 0] - start[0]))
    on_it = [int(index) for index in np.flatnonzero((off <= flat) & (along > 0) & (along < 1)) if index not in pair]
    chain = [pair[0], *sorted(on_it, key=lambda index: float(along[index])), pair[1]]
    return list(pairwise(chain))


def _cross(places: NDArray[np.float64], first: Edge, second: Edge, flat: float) -> bool:
    """Whether two segments cross at a point inside both."""
    one, two = _turn(places, *first, second[0]), _turn(places, *first, second[1])
    three, four = _turn(places, *second, first[0]), _turn(places, *second, first[1])
    return min(one, two) < -flat and max(one, two) > flat and min(three, four) < -flat and max(three, four) > flat


def _flip(places: NDArray[np.float64], corners: dict[int, list[int]], beside: dict[Edge, set[int]], edge: Edge,
          flat: float) -> Edge | None:
    """Swap the diagonal of the two triangles at an edge; None if their outline is not convex."""
    left, right = sorted(beside[edge])
    across = [next(corner for corner in corners[index] if corner not in edge) for index in (left, right)]
    if not _cross(places, edge, (across[0], across[1]), flat):
        return None
    del beside[edge]
    for index, keep in ((left, edge[0]), (right, edge[1])):
        triangle = [keep, *across]
        corners[index] = triangle if _turn(places, *triangle) > 0 else triangle[::-1]
        moved = across[1] if index == left else across[0]
        sides = beside[_key(keep, moved)]
        sides.discard(right if index == left else left)
        sides.add(index)
    new = _key(across[0], across[1])
    beside[new] = {left, right}
    return new
