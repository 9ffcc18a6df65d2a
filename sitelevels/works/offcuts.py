"""Whole and cut units of one pattern: where they lie, what shape cut pieces have, and which units they are sawn out of."""

from __future__ import annotations

from bisect import bisect_left, insort
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from ..surface.plane import Floats
from ..wording import html_table, whole_up, word_mm

NEAR = 1e-7  # m: nearer than this is the same place
FIT = 1e-6  # m: what a saw does not see
FAR = 1e18
NOTHING = 1e-15  # m²: what the last binary digits leave
SLIVER = 1 / 3  # of the unit's size in that direction; common practice, no source
SHAVING = 0.005  # m: a strip narrower than this is left to the joint, no saw cuts it
STRAIGHT, NOTCHED, SLANTED, HOLED = "straight cut", "L or notched", "slanted", "with a hole"

Bools = NDArray[np.bool_]
Texts = NDArray[np.str_]
Pair = tuple[float, float]


@dataclass(frozen=True)
class Cut:
    """Where one piece is cut from: the number of the unit, and the piece's corner and size in that unit, m.

    `turned` says that the piece's length lies across the unit's length.
    """

    piece: int
    unit: int
    x: float
    y: float
    length: float
    width: float
    turned: bool


@dataclass(frozen=True, eq=False)
class CuttingPlan:
    """Which piece is cut from which unit. Made by `cut_from_units`; lengths in m, `cuts` in the order of `sizes`."""

    sizes: tuple[Pair, ...]
    unit: Pair
    kerf: float
    cuts: tuple[Cut, ...]

    @property
    def units(self) -> int:
        """How many units the pieces take."""
        return max((cut.unit for cut in self.cuts), default=0)

    @cached_property
    def least(self) -> int:
        """No plan can do with fewer units: the area of the pieces as rectangles over that of a unit, rounded up."""
        return whole_up(sum(length * width for length, width in self.sizes) / (self.unit[0] * self.unit[1]))

    @property
    def table(self) -> pd.DataFrame:
        """A new table in m, a row a piece: piece unit x y length width turned."""
        columns = ["piece", "unit", "x", "y", "length", "width", "turned"]
        return pd.DataFrame([[getattr(cut, name) for name in columns] for cut in self.cuts], columns=columns)

    def sentence(self) -> str:
        """The count in words."""
        return (f"{len(self.cuts)} cut pieces come out of {self.units} units with {word_mm(self.kerf, digits=1)} lost at each "
                f"saw cut; by area no plan could do with fewer than {self.least}.")

    def _repr_html_(self) -> str:
        return f"<p>{self.sentence()}</p>" + html_table(self.table)


def cut_from_units(sizes: Sequence[Pair], unit: Pair, *, kerf: float = 0.004) -> CuttingPlan:
    """Which units cut pieces come out of when offcuts are used again.

    `sizes` (length, width) are the rectangles that hold the pieces, none larger than the `unit`; `kerf` is the width that the saw
    takes away; all in m. The largest piece comes first, each from the smallest offcut that holds it, else from a new unit; every
    cut runs right through. It may take more units than the best plan, never fewer.

    >>> plan = cut_from_units([(0.29, 0.3), (0.29, 0.3), (0.1, 0.3)], (0.6, 0.3))
    >>> plan.units, plan.least
    (2, 2)
    """
    order = sorted(range(len(sizes)), key=lambda one: (-int(sizes[one][0] * sizes[one][1] / FIT), -max(sizes[one]), one))
    smallest = min((min(size) for size in sizes), default=0.0) - FIT
    free: list[tuple[float, ...]] = []  # offcuts, the smallest first: area length width unit x y
    taken, found = 0, []
    for piece in order:
        size = sizes[piece]
        ways = [size] if abs(size[0] - size[1]) < FIT else [size, size[::-1]]
        least = bisect_left(free, ((size[0] - FIT) * (size[1] - FIT),))
        best = next((place for place in range(least, len(free))
                     if _fits(*size, *free[place][1:3]) or _fits(*size[::-1], *free[place][1:3])), None)
        taken += best is None
        _, long, wide, number, x, y = (0.0, *unit, taken, 0.0, 0.0) if best is None else free.pop(best)
        chosen, rests = min(((way, _rests(way, long, wide, kerf)) for way in ways if _fits(*way, long, wide)),
                            key=lambda one: -max(rest[2] * rest[3] for rest in one[1]))
        found.append(Cut(piece, int(number), x, y, *chosen, chosen is not ways[0]))
        for right, up, length, width in rests:
            if min(length, width) >= smallest:
                insort(free, (length * width, length, width, number, x + right, y + up))
    return CuttingPlan(tuple(sizes), unit, kerf, tuple(sorted(found, key=lambda cut: cut.piece)))


def _fits(length: float, width: float, long: float, wide: float) -> bool:
    return length <= long + FIT and width <= wide + FIT


def _rests(size: Pair, long: float, wide: float, kerf: float) -> tuple[tuple[float, float, float, float], ...]:
    """What is left of an offcut, x y length width each, by the first cut that leaves the largest piece in one."""
    right, up = max(long - size[0] - kerf, 0.0), max(wide - size[1] - kerf, 0.0)
    if max(right * wide, size[0] * up) >= max(right * size[1], long * up):
        return (size[0] + kerf, 0.0, right, wide), (0.0, size[1] + kerf, size[0], up)
    return (size[0] + kerf, 0.0, right, size[1]), (0.0, size[1] + kerf, long, up)


def _extent(parts: Any) -> Floats:
    """Sizes (k, 2) of the rectangles along the axes that hold polygons."""
    bounds = shapely.bounds(parts)
    return np.asarray(bounds[:, 2:] - bounds[:, :2])


def _odd(parts: Any) -> Bools:
    """Which polygons are no rectangles along the axes."""
    size = _extent(parts)
    return np.asarray(shapely.area(parts) < size.prod(axis=1) - 4 * NEAR * size.sum(axis=1))


def _solid(shapes: Any) -> Any:
    """The polygons of shapes, what the last digits leave apart."""
    parts = shapely.get_parts(shapes)
    return parts[shapely.area(parts) > NOTHING]


def _shorn(parts: Any) -> Any:
    """Polygons with hairs cut off them, the hairs among them: where an edge of a unit all but runs in an edge of the area, what
    the last digits leave would join pieces and make them seem larger."""
    odd = np.flatnonzero(_odd(parts))
    near = shapely.set_precision(parts[odd], NEAR)
    same = (shapely.get_type_id(near) == 3) & (shapely.get_num_coordinates(near) == shapely.get_num_coordinates(parts[odd]))
    fresh = [np.delete(parts, odd[~same])]
    for part, lumps in zip(parts[odd[~same]], near[~same], strict=True):
        kept = shapely.intersection(part, shapely.buffer(shapely.get_parts(lumps), 2 * NEAR, join_style="mitre"))
        fresh.append(_solid([*kept, shapely.difference(part, shapely.union_all(kept))]))
    return np.concatenate(fresh)


def judged(parts: Any, side: Floats) -> tuple[Floats, Texts, Floats, Floats]:
    """What cut pieces look like, for polygons (k,) in axes that run with a unit of `side` (x, y) m.

    Returns bounding sizes (k, 2) in m; the word for the shape; the narrowest place as a share of the unit's size in that
    direction; and the narrowest size in m. A leg beside a notch or a hole counts; a slanted piece is as narrow as the gap that
    it passes through, measured against the shorter side of the unit.
    """
    size = _extent(parts)
    shape = np.full(len(size), STRAIGHT, dtype="<U12")
    share, least = (size / side).min(axis=1), size.min(axis=1)
    odd = _odd(parts)
    corners, rings = shapely.get_num_coordinates(parts), shapely.get_num_interior_rings(parts)
    for count in np.unique(corners[odd & (rings == 0)]):
        group = np.flatnonzero(odd & (rings == 0) & (corners == count))
        places = shapely.get_coordinates(parts[group]).reshape(len(group), count, 2)
        along = np.diff(places, axis=1)
        slanted = (np.abs(along).min(axis=2) > FIT).any(axis=1)
        shape[group] = np.where(slanted, SLANTED, NOTCHED)
        some, bent = group[slanted], along[slanted]
        length = np.maximum(np.hypot(bent[..., 0], bent[..., 1]), 1e-300)
        square = np.stack([-bent[..., 1], bent[..., 0]], axis=2) / length[..., None]
        across = np.where(length > FIT, np.ptp(np.einsum("kec,knc->ken", square, places[slanted]), axis=2), FAR).min(axis=1)
        share[some], least[some] = np.minimum(share[some], across / side.min()), np.minimum(least[some], across)
        some = group[~slanted]
        share[some] = np.minimum(share[some], _legs(places[~slanted, :-1], places[~slanted, 1:], side))
    for one in np.flatnonzero(odd & (rings > 0)):
        loops = [shapely.get_coordinates(ring) for ring in (parts[one].exterior, *parts[one].interiors)]
        starts, ends = np.concatenate([loop[:-1] for loop in loops]), np.concatenate([loop[1:] for loop in loops])
        shape[one], share[one] = HOLED, min(share[one], _legs(starts[None], ends[None], side)[0])
    return size, shape, share, least


def _legs(starts: Floats, ends: Floats, side: Floats) -> Floats:
    """The shortest way (k,) through pieces along either axis, as a share of the unit; edges run from (k, e, 2) to (k, e, 2)."""
    least = np.full(len(starts), np.inf)
    for axis in (0, 1) if len(starts) else ():
        at, other = (starts[..., axis] + ends[..., axis]) / 2, (starts[..., 1 - axis], ends[..., 1 - axis])
        levels = np.sort(other[0], axis=1)
        scan = (levels[:, 1:] + levels[:, :-1]) / 2
        crossed = (np.minimum(*other)[:, None] < scan[..., None]) & (np.maximum(*other)[:, None] > scan[..., None])
        met = np.sort(np.where(crossed, at[:, None], FAR), axis=2)
        met = met[..., : met.shape[2] // 2 * 2].reshape(*met.shape[:2], -1, 2)
        through = np.where(met[..., 1] < FAR, met[..., 1] - met[..., 0], FAR)
        through[np.diff(levels, axis=1) < FIT] = FAR
        least = np.minimum(least, through.min(axis=(1, 2)) / side[axis])
    return least


@dataclass(frozen=True)
class Piece:
    """A unit or a part of one: its polygon in plan, its kind, and its size along the unit in m.

    `kind` is "whole", "cut", "shaving" (narrower than 5 mm and left to the joint) or "hair" (what the last digits of coordinates
    leave; kept so that areas add up). `shape` is "whole", "straight cut", "L or notched", "slanted" or "with a hole"; `sliver`
    says that it is narrower somewhere than a third of the unit in that direction.
    """

    polygon: shapely.Polygon
    kind: str
    length: float
    width: float
    shape: str
    sliver: bool


@dataclass(frozen=True)
class Try:
    """One way to start, with its counts; `start` is a corner of a unit in plan, m, the unit lying along and to the left of it."""

    bond: str
    turned: bool
    start: Pair
    local: Pair
    whole: int
    cut: int
    slivers: int
    units: int
    trimmed: int
    uneven: float

    @property
    def rank(self) -> tuple[Any, ...]:
        """The smaller, the better."""
        return self.slivers, self.cut, self.units, self.trimmed, int(self.uneven / SHAVING)


@dataclass(frozen=True, eq=False)
class Grid:
    """What all tries have in common. The plan is turned so that x runs along the units, `origin` being nought."""

    area: shapely.Polygon | shapely.MultiPolygon
    unit: Pair
    joint: float
    kerf: float
    along: Pair
    origin: Pair

    @cached_property
    def edges(self) -> Floats:
        """Edges (e, 2, 2) of the area, the paving on their left."""
        rings = [shapely.get_coordinates(ring) for part in shapely.get_parts(shapely.orient_polygons(self.area))
                 for ring in (part.exterior, *part.interiors)]
        return np.concatenate([np.stack([ring[:-1], ring[1:]], axis=1) for ring in rings])

    def side(self, turned: bool) -> Floats:
        return np.array(self.unit[::-1] if turned else self.unit)

    def into(self, places: Any) -> Floats:
        """Places (k, 2) of the plan, turned."""
        (c, s), off = self.along, np.asarray(places) - self.origin
        return np.stack([off[:, 0] * c + off[:, 1] * s, off[:, 1] * c - off[:, 0] * s], axis=1)

    def back(self, places: Any) -> Floats:
        """Turned places (k, 2) in plan."""
        (c, s), off = self.along, np.asarray(places)
        return np.stack([off[:, 0] * c - off[:, 1] * s, off[:, 1] * c + off[:, 0] * s], axis=1) + self.origin

    def corners(self, bond: str, side: Floats, start: Pair) -> Floats:
        """The lower left corners (n, 2) of all units that may touch the area."""
        pitch, bounds = side + self.joint, np.array(self.area.bounds)
        first, last = np.floor((bounds[:2] - start) / pitch) - 2, np.ceil((bounds[2:] - start) / pitch) + 2
        i, j = (part.ravel() for part in np.meshgrid(*(np.arange(one, two) for one, two in zip(first, last, strict=True))))
        moved = {"stack": (0, 0), "running along": (j % 2 / 2, 0), "running across": (0, i % 2 / 2)}[bond]
        places = start + np.stack([i + moved[0], j + moved[1]], axis=1) * pitch
        return places[((places < bounds[2:]) & (places + side > bounds[:2])).all(axis=1)]

    def touched(self, corners: Floats, side: Floats, grown: float) -> Bools:
        """Which units an edge of the area runs through, each unit grown by so much on every side."""
        half = side / 2 + grown
        x, y = (corners + side / 2).T
        found = np.zeros(len(corners), dtype=bool)
        for (x1, y1), (x2, y2) in self.edges.tolist():
            near = ((x > min(x1, x2) - half[0]) & (x < max(x1, x2) + half[0])
                    & (y > min(y1, y2) - half[1]) & (y < max(y1, y2) + half[1]))
            if abs(x2 - x1) > NEAR and abs(y2 - y1) > NEAR:
                reach = half[0] * abs(y2 - y1) + half[1] * abs(x2 - x1)
                near &= np.abs((x - x1) * (y2 - y1) - (y - y1) * (x2 - x1)) < reach
            found |= near
        return found

    def cut(self, corners: Floats, side: Floats) -> Any:
        """The parts of units that lie in the area, polygons (k,)."""
        return _shorn(_solid(shapely.intersection(self.area, shapely.box(*corners.T, *(corners + side).T))))

    def divided(self, bond: str, turned: bool, start: Pair) -> tuple[Floats, Bools, Any, tuple[Floats, Texts, Floats, Floats]]:
        """Corners of all units that touch the area, which of them are whole, the other pieces and what `judged` says of them."""
        side = self.side(turned)
        corners = self.corners(bond, side, start)
        touched = self.touched(corners, side, -NEAR)
        whole = ~touched
        whole[whole] = shapely.contains_xy(self.area, corners[whole] + side / 2)
        parts = self.cut(corners[touched], side)
        return corners, whole, parts, judged(parts, side)

    def plan(self, turned: bool, sizes: Floats) -> CuttingPlan:
        """The cutting plan of pieces of these sizes (k, 2), x and y in m."""
        tidy = np.minimum(np.rint(sizes / NEAR) * NEAR, self.side(turned))
        pieces = [(length, width) for length, width in (tidy[:, ::-1] if turned else tidy).tolist()]
        return cut_from_units(pieces, self.unit, kerf=self.kerf)

    def tried(self, bond: str, turned: bool, start: Pair) -> Try:
        """The counts of one start."""
        corners, whole, _, (size, _, share, least) = self.divided(bond, turned, start)
        cut = least >= SHAVING - NEAR
        side, low = self.side(turned), np.array(self.area.bounds[:2])
        first = (start - low) % (side + self.joint) - self.joint  # what is left before the first joint, at either edge
        last = (np.array(self.area.bounds[2:]) - start) % (side + self.joint)
        uneven = np.abs(np.where(first < NEAR, side, first) - np.where(last < NEAR, side, np.minimum(last, side))).sum()
        inside = corners[whole] if whole.any() else corners
        at = inside[np.argmin(((inside - low)**2).sum(axis=1))] if len(inside) else np.array(start)
        x, y = self.back(at[None])[0].tolist()
        count, slivers = int(whole.sum()), int((cut & (share < SLIVER - NEAR)).sum())
        return Try(bond, turned, (x, y), start, count, int(cut.sum()), slivers, count + self.plan(turned, size[cut]).units,
                   int((~cut & (least > NEAR)).sum()), float(uneven))

    def pieces(self, tried: Try) -> tuple[tuple[Piece, ...], CuttingPlan]:
        """Every piece of one try, and how the cut ones are sawn; what lies within a hair of an edge is clipped to it."""
        side = self.side(tried.turned)
        corners, whole, parts, (size, shape, share, least) = self.divided(tried.bond, tried.turned, tried.local)
        full = shapely.box(*corners[whole].T, *(corners[whole] + side).T)
        flush = self.touched(corners[whole], side, NEAR)
        clipped = shapely.intersection(self.area, full[flush])
        full[flush] = np.where(shapely.get_type_id(clipped) == 3, clipped, full[flush])
        beside = ~whole & ~self.touched(corners, side, -NEAR) & self.touched(corners, side, NEAR)
        hairs = self.cut(corners[beside], side)
        cut = least >= SHAVING - NEAR
        plan = self.plan(tried.turned, size[cut])
        parts, kind = np.concatenate([full, parts, hairs]), ["whole"] * len(full)
        kind += np.select([cut, least > NEAR], ["cut", "shaving"], "hair").tolist() + ["hair"] * len(hairs)
        size = np.concatenate([np.tile(side, (len(full), 1)), size, _extent(hairs)])
        size = size[:, ::-1] if tried.turned else size
        words = ["whole"] * len(full) + shape.tolist() + [STRAIGHT] * len(hairs)
        narrow = [False] * len(full) + (cut & (share < SLIVER - NEAR)).tolist() + [False] * len(hairs)
        polygons = shapely.transform(parts, self.back)
        return tuple(Piece(*one) for one in zip(polygons, kind, *size.T.tolist(), words, narrow, strict=True)), plan
