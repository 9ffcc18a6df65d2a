"""A triangulated area as a net of corners, where its edge lets water go, and how high water stands before it can."""

from __future__ import annotations

import heapq
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from .ground import OUT_OF_LINE, Ground
from .pieces import cut_pieces, shares_above
from .plane import Floats, frozen
from .triangles import doubled, edges_of

Indices = NDArray[np.intp]
Adjacency = tuple[list[int], list[int]]  # of corner v: the second list from the first's entry v to its entry v + 1
DRY = 1e-7  # m: less depth than this is what the last digits leave of nought
NOTHING = 1e-12  # m²: a triangle that holds no place
SAME = 1e-7  # m: corners made by cutting that lie nearer to each other are one
ON = 2e-6  # m: how far off a line a corner may lie and still be on it, the slivers that the ground leaves out included
TAPE = 0.05  # m: an edge of the area lies along a wall where it comes this near; tapes are no finer


@dataclass(frozen=True, eq=False)
class Net:
    """The triangles of a ground inside an area, joined at their corners. Made by `net_of`.

    `places` (v, 2) of the corners in m from `middle`; `spots` (v, 3) of the ground and `weights` (v, 3), the linear share of
    their levels in that of each corner; `triangles` (t, 3) of corners, `plan` (t,) their areas in m²; `edges` (e, 2) of corners;
    `border` (b, 2) those of them with a triangle on one side alone.
    """

    middle: Floats
    places: Floats
    spots: Indices
    weights: Floats
    triangles: Indices
    plan: Floats
    edges: Indices
    border: Indices

    def levels(self, of_spots: Floats) -> Floats:
        """Levels (v,) of the corners from those of the spots (n,), m."""
        return np.asarray((of_spots[self.spots] * self.weights).sum(axis=1), dtype=np.float64)

    @cached_property
    def tree(self) -> Any:
        """Search tree of the triangles, m from the middle."""
        shapes = shapely.polygons(self.places[self.triangles])
        shapes[self.plan < NOTHING] = shapely.Polygon()  # what the cutting leaves, in which no corner has a share
        return shapely.STRtree(shapes)

    @cached_property
    def adjacency(self) -> Adjacency:
        """The neighbours of each corner."""
        return adjacency(len(self.places), self.edges)

    def held(self, places: Floats) -> tuple[Indices, Floats]:
        """For places (k, 2) from the middle the triangle that holds each, −1 for none, and the shares (k, 3) of its corners."""
        points = shapely.points(places)
        found = np.full(len(places), -1, dtype=np.intp)
        inside, triangle = self.tree.query(points, predicate="intersects")
        found[inside[::-1]] = triangle[::-1]
        left = np.flatnonzero(found < 0)
        near, triangle = self.tree.query_nearest(points[left], max_distance=OUT_OF_LINE, all_matches=False)
        found[left[near]] = triangle
        return found, shares(self.places[self.triangles[found]], places)


def shares(corners: Floats, places: Floats) -> Floats:
    """Shares (k, 3) of the corners (k, 3, 2) of a triangle in a place (k, 2) in it; they add up to one."""
    off = corners - places[:, None]
    parts = np.stack([off[:, one, 0] * off[:, two, 1] - off[:, one, 1] * off[:, two, 0] for one, two in ((1, 2), (2, 0), (0, 1))],
                     axis=1)
    return np.asarray(parts / parts.sum(axis=1, keepdims=True))


def net_of(ground: Ground, area: shapely.Polygon) -> Net:
    """The net of a ground inside an area in plan, m.

    Raises SurveyError where no spot's triangle reaches into it.
    """
    middle = np.array([ground.x.mean(), ground.y.mean()])
    spots = np.column_stack([ground.x, ground.y]) - middle
    pieces = cut_pieces(ground, [area])
    proper = np.zeros(len(ground.triangles), dtype=bool)
    proper[ground.proper] = True  # a sliver that bridges spots along an edge would hold water that runs off
    kept = proper[pieces.triangle] if proper[pieces.triangle].any() else np.ones(len(pieces.plan), dtype=bool)
    corners, owners = pieces.corners[kept] - middle, ground.triangles[pieces.triangle[kept]]
    off = np.abs(corners[:, :, None] - spots[owners][:, None]).max(axis=3)  # (k, corner, spot of the owner)
    number = np.where(off.min(axis=2) < SAME, np.take_along_axis(owners, off.argmin(axis=2), axis=1), -1)
    cut = np.argwhere(number < 0)
    made = corners[cut[:, 0], cut[:, 1]]
    number[cut[:, 0], cut[:, 1]] = len(spots) + _as_one(made)
    used, back, numbers = np.unique(number, return_index=True, return_inverse=True)
    piece, corner = np.divmod(back, 3)
    own = used < len(spots)
    places = np.where(own[:, None], spots[np.where(own, used, 0)], corners[piece, corner])
    on = np.where(own[:, None], used[:, None], owners[piece])
    weights = np.maximum(shares(spots[owners[piece]], places), 0.0)
    weights = np.where(own[:, None], [1.0, 0.0, 0.0], weights / weights.sum(axis=1, keepdims=True))
    triangles = numbers.reshape(-1, 3)
    triangles = triangles[(triangles != np.roll(triangles, 1, axis=1)).all(axis=1)]
    plan = np.abs(doubled(places[triangles])) / 2
    edges, times = _counted(edges_of(triangles))
    return Net(frozen(middle), places, on, weights, triangles, plan, edges, _border(places, edges[times == 1]))


def _as_one(places: Floats) -> Indices:
    """A number for each place (k, 2), the same for those that lie together."""
    from scipy.spatial import cKDTree
    if not len(places):
        return np.empty(0, dtype=np.intp)
    return _linked(len(places), cKDTree(places).query_pairs(SAME, output_type="ndarray"))


def _linked(count: int, pairs: Indices) -> Indices:
    """A number for each of so many, the same for those that pairs (k, 2) hold together."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components
    links = coo_array((np.ones(len(pairs)), pairs.T), shape=(count, count))
    return np.asarray(connected_components(links, directed=False)[1], dtype=np.intp)


def _counted(sides: Indices) -> tuple[Indices, Indices]:
    """Each side (k, 2) once, and how many times it was there."""
    width = int(sides.max(initial=0)) + 1
    keys, times = np.unique(sides[:, 0] * width + sides[:, 1], return_counts=True)
    return np.stack([keys // width, keys % width], axis=1), times


def _border(places: Floats, single: Indices) -> Indices:
    """Of sides with one triangle, those of the border: the others have a corner of the next triangle between their ends."""
    ends = np.unique(single)
    side, found = shapely.STRtree(shapely.points(places[ends])).query(
        shapely.linestrings(places[single]), predicate="dwithin", distance=ON)
    between = ends[found]
    strange = (between != single[side, 0]) & (between != single[side, 1])
    split = np.unique(side[strange])
    parts = [np.delete(single, split, axis=0)]
    for number in split:
        inner = between[strange & (side == number)]
        first, last = single[number]
        along = np.argsort((places[inner] - places[first]) @ (places[last] - places[first]), kind="stable")
        parts.append(np.sort(list(pairwise([first, *inner[along], last])), axis=1))
    edges, times = _counted(np.concatenate(parts))
    return np.asarray(edges[times == 1])


def stretch_of(edge: tuple[Floats, Floats], line: tuple[Floats, Floats]) -> tuple[float, float] | None:
    """From where to where, in m from its first end, an edge lies along a line; ends near a corner are at it."""
    (a, b), (p, q) = edge, line
    length = float(np.hypot(*(b - a)))
    along = (b - a) / length
    (s, t), (off, of) = (np.array([p, q]) - a) @ along, (np.array([p, q]) - a) @ np.array([-along[1], along[0]])
    whole = shapely.LineString(line)
    if all(whole.distance(shapely.Point(end)) <= TAPE for end in (a, b)):
        return 0.0, length
    reach = [0.0, 1.0]  # the part of the line that is near enough sideways
    if off != of:
        sides = sorted(((-TAPE - off) / (of - off), (TAPE - off) / (of - off)))
        reach = [max(0.0, sides[0]), min(1.0, sides[1])]
    elif abs(off) > TAPE:
        return None
    if reach[0] > reach[1]:
        return None
    ends = np.clip(sorted(s + (t - s) * part for part in reach), 0.0, length)
    start, stop = (0.0 if end <= min(TAPE, length / 2) else length if end >= length - TAPE else float(end) for end in ends)
    return (start, stop) if stop > start else None


def stretches(area: shapely.Polygon, walls: list[tuple[Floats, Floats]],
              free: list[tuple[Floats, Floats]] | None) -> tuple[Floats, NDArray[np.bool_], set[int]]:
    """The edge of an area in straight stretches (k, 2, 2), whether water may leave over each, and the `free` lines along it."""
    lines, open_, met = [], [], set()
    held_by, freed_by = (shapely.linestrings(np.array(given or [], dtype=float).reshape(-1, 2, 2)) for given in (walls, free))
    for ring in (area.exterior, *area.interiors):
        for a, b in pairwise(shapely.get_coordinates(ring)):
            if not (length := float(np.hypot(*(b - a)))):
                continue
            side = shapely.LineString([a, b])
            held = _joined(stretch_of((a, b), walls[near]) for near in np.flatnonzero(shapely.dwithin(held_by, side, TAPE)))
            let = {near: stretch_of((a, b), (free or [])[near]) for near in np.flatnonzero(shapely.dwithin(freed_by, side, TAPE))}
            met |= {int(number) for number, part in let.items() if part}
            freed = [(0.0, length)] if free is None else _joined(let.values())
            stops = sorted({0.0, length, *(end for part in held + freed for end in part)})
            for one, two in pairwise(stops):
                inside = [any(start < (one + two) / 2 < stop for start, stop in parts) for parts in (freed, held)]
                lines.append(a + np.outer([one, two], b - a) / length)
                open_.append(inside[0] and not inside[1])
    return np.array(lines), np.array(open_, dtype=bool), met


def _joined(parts: Iterable[tuple[float, float] | None]) -> list[tuple[float, float]]:
    """Stretches in order, those with no more than a tape's tolerance between them as one."""
    found: list[tuple[float, float]] = []
    for start, stop in sorted(part for part in parts if part):
        if found and start <= found[-1][1] + TAPE:
            found[-1] = (found[-1][0], max(stop, found[-1][1]))
        else:
            found.append((start, stop))
    return found


def open_parts(net: Net, lines: Floats, free: NDArray[np.bool_]) -> tuple[Indices, Floats]:
    """Where water may leave over the border of a net: border edges (c, 2) of corners, and how far along each (c,), 0 to 1.

    Both ends of each part over which it may are given. Each part of the border goes by the nearest stretch of the area's edge.
    """
    if not free.any():
        return np.empty((0, 2), dtype=np.intp), np.empty(0)
    first, last = net.places[net.border[:, 0]], net.places[net.border[:, 1]]
    ways = shapely.linestrings(np.stack([first, last], axis=1))
    rim = shapely.STRtree(shapely.linestrings(lines))
    reach = np.max([rim.query_nearest(shapely.points(places), return_distance=True, all_matches=False)[1]
                    for places in (first, last, (first + last) / 2)], axis=0)
    marks = np.unique(lines.reshape(-1, 2), axis=0)
    edge, mark = shapely.STRtree(shapely.points(marks)).query(ways, predicate="dwithin", distance=reach + ON)
    run = last - first
    share = ((marks[mark] - first[edge]) * run[edge]).sum(axis=1) / (run[edge] ** 2).sum(axis=1)
    inner = (share > 1e-9) & (share < 1 - 1e-9)
    count = len(ways)
    of = np.concatenate([np.arange(count), np.arange(count), edge[inner]])
    at = np.concatenate([np.zeros(count), np.ones(count), share[inner]])
    order = np.lexsort([at, of])
    of, at = of[order], at[order]
    same = np.flatnonzero(of[1:] == of[:-1])
    middles = first[of[same]] + ((at[same] + at[same + 1]) / 2)[:, None] * run[of[same]]
    nearest = rim.query_nearest(shapely.points(middles), all_matches=False)[1]
    same = same[free[nearest]]
    ends = np.concatenate([same, same + 1])
    return net.border[of[ends]], at[ends]


def line_parts(net: Net, line: Floats) -> tuple[Indices, Floats]:
    """The triangles (c,) that a line (2, 2), or a place twice, touches, and where it enters and leaves each (c, 2, 2)."""
    near = net.tree.query(shapely.LineString(line), predicate="dwithin", distance=SAME)
    corners = net.places[net.triangles[near]]
    exact, about = (_within(line, corners, slack) for slack in (0.0, SAME))
    ends = np.where(exact[:, :1] <= exact[:, 1:], exact, about)  # a line along a side may miss it by the last digits
    inside = ends[:, 0] <= ends[:, 1]
    return near[inside], line[0] + ends[inside, :, None] * (line[1] - line[0])


def _within(line: Floats, corners: Floats, slack: float) -> Floats:
    """From which to which share of its length (k, 2) a line (2, 2) is inside triangles (k, 3, 2), or `slack` m outside."""
    low, high = np.zeros(len(corners)), np.ones(len(corners))
    for one, two, three in ((0, 1, 2), (1, 2, 0), (2, 0, 1)):
        side = corners[:, two] - corners[:, one]
        square = np.stack([-side[:, 1], side[:, 0]], axis=1) / np.hypot(*side.T)[:, None]
        square *= np.sign((square * (corners[:, three] - corners[:, one])).sum(axis=1))[:, None]
        start, stop = (((line[end] - corners[:, one]) * square).sum(axis=1) + slack for end in (0, 1))  # inside from nought up
        crossed = np.divide(start, start - stop, out=np.zeros_like(start), where=start != stop)
        low = np.where(start < 0, np.where(stop < 0, 2.0, np.maximum(low, crossed)), low)
        high = np.where((start >= 0) & (stop < 0), np.minimum(high, crossed), high)
    return np.stack([low, high], axis=1)


@dataclass(frozen=True, eq=False)
class Drains:
    """Places (c, 2) in m from the middle where water leaves a net at the surface's own level.

    Each lies between `corners` (c, 3) of the net with the `weights` (c, 3), and takes what comes to any of them.
    """

    places: Floats
    corners: Indices
    weights: Floats

    def seeds(self, level: Floats) -> tuple[Floats, Indices]:
        """For corners at such levels (v,) how high water has to stand there to leave at once, and by which drain; inf and −1."""
        own = level[self.corners]
        water = np.maximum(own, (own * self.weights).sum(axis=1)[:, None]).reshape(-1)
        corners, drain = self.corners.reshape(-1), np.repeat(np.arange(len(own)), 3)
        order = np.argsort(-water, kind="stable")
        seeds, by = np.full(len(level), np.inf), np.full(len(level), -1)
        seeds[corners[order]], by[corners[order]] = water[order], drain[order]  # the lowest comes last, and stays
        return seeds, by


def drains_of(net: Net, lines: Floats, free: NDArray[np.bool_], outlets: list[Floats]) -> tuple[Drains, list[int]]:
    """The drains of a net along the `free` ones of the stretches of its edge, and at outlets (2, 2) in m from the middle.

    Also the numbers of the outlets that touch no triangle.
    """
    edges, share = open_parts(net, lines, free)
    corners, weights = [edges[:, [0, 1, 1]]], [np.stack([1 - share, share, np.zeros(len(share))], axis=1)]
    lost = []
    for number, line in enumerate(outlets):
        near, places = line_parts(net, line)
        if not len(near):
            lost.append(number)
        held = net.triangles[np.repeat(near, 2)]
        part = np.maximum(shares(net.places[held], places.reshape(-1, 2)), 0.0)
        rim = np.unique(net.border) if (line[0] != line[1]).any() else np.empty(0, dtype=np.intp)
        rim = rim[shapely.distance(shapely.points(net.places[rim]), shapely.LineString(line)) < OUT_OF_LINE]
        # spots taped along a channel at the edge stand a little off it
        corners += [held, np.repeat(rim[:, None], 3, axis=1)]
        weights += [part / part.sum(axis=1, keepdims=True), np.tile([1.0, 0.0, 0.0], (len(rim), 1))]
    joined, shared = np.concatenate(corners), np.concatenate(weights)
    return Drains((net.places[joined] * shared[:, :, None]).sum(axis=1), joined, shared), lost


def adjacency(count: int, edges: Indices) -> Adjacency:
    """The neighbours of each of so many corners, from the edges (e, 2) between them."""
    one, two = np.concatenate([edges, edges[:, ::-1]]).T
    order = np.lexsort([two, one])
    starts = np.concatenate([[0], np.cumsum(np.bincount(one, minlength=count))])
    return starts.tolist(), two[order].tolist()


def flood(level: Floats, neighbours: Adjacency, seeds: Floats) -> tuple[Floats, Indices]:
    """How high water stands before it can leave, and whither.

    `level` (v,) of the corners; `seeds` (v,): to where water has to rise at a corner to leave there at once, infinite where it
    cannot. For each corner the least, over all ways to a seed, of the greatest level on the way, m; and the next corner of that
    way, −1 at its end. Corners are settled from the lowest water upwards, so each is settled once.
    """
    starts, ends = neighbours
    levels, best = level.tolist(), seeds.tolist()
    parent, settled = [-1] * len(levels), [False] * len(levels)
    heap = [(water, corner) for corner, water in enumerate(best) if water < np.inf]
    heapq.heapify(heap)
    while heap:
        water, corner = heapq.heappop(heap)
        if settled[corner]:
            continue
        settled[corner] = True
        for other in ends[starts[corner]:starts[corner + 1]]:
            if not settled[other]:
                reached = levels[other] if levels[other] > water else water
                if reached < best[other]:
                    best[other], parent[other] = reached, corner
                    heapq.heappush(heap, (reached, other))
    return np.array(best), np.array(parent, dtype=np.intp)


class Standing:
    """One flood of a net whose corners have such levels (v,) in m.

    `water` (v,) at the corners in m, with the next corner (`parent`) or the drain by which it leaves; `wet` numbers of the
    triangles with water, the `lowest` corner of each, the depth `below` (k, 3) of its corners in m, negative where they are dry,
    and the `areas` (m²) and `volumes` (m³) of the water in it.
    """

    def __init__(self, net: Net, drains: Drains, level: Floats) -> None:
        self.net, self.level = net, frozen(level)
        seeds, self.drain = drains.seeds(level)
        water, self.parent = flood(level, net.adjacency, seeds)
        self.water = frozen(water)
        corners = level[net.triangles]
        lowest = net.triangles[np.arange(len(corners)), corners.argmin(axis=1)]
        self.wet = np.flatnonzero(water[lowest] - level[lowest] > DRY)
        self.lowest = lowest[self.wet]
        self.below = water[self.lowest][:, None] - corners[self.wet]
        part = shares_above(self.below, net.plan[self.wet])
        self.areas, self.volumes = part.sum(axis=1), (part * self.below).sum(axis=1)

    @cached_property
    def basins(self) -> tuple[int, Indices, Indices]:
        """How many, and the number of each corner's (v,), −1 if dry, and of each wet triangle's: wet neighbours share water."""
        wet = self.water - self.level > DRY
        label = _linked(len(wet), self.net.edges[wet[self.net.edges].all(axis=1)])
        found, number = np.unique(label[self.lowest], return_inverse=True)
        of = np.full(len(wet), -1)
        of[wet] = np.searchsorted(found, label[wet])
        return len(found), of, number

    @property
    def widest(self) -> float:
        """Area of the greatest basin, m²."""
        count, _, number = self.basins
        return float(np.bincount(number, self.areas, minlength=count).max(initial=0.0))


def depth_in(level: Floats, water: Floats, corners: Indices, share: Floats) -> Floats:
    """Depth (k,) in m at places in triangles: water stands at the level of the lowest corner's, or not at all."""
    own = level[corners]
    lowest = corners[np.arange(len(corners)), own.argmin(axis=1)]
    depth = water[lowest] - (own * share).sum(axis=1)
    return np.where(water[lowest] - level[lowest] > DRY, np.maximum(depth, 0.0), 0.0)
