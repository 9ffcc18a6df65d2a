"""Laying out slabs and pavers over an area: where to start, what is cut, how many to order."""

from __future__ import annotations

import math
import warnings
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd
import shapely

from ..errors import SurveyError, SurveyWarning, finite, finite_list, must_be
from ..surface.facet import polygon_of
from ..surface.plane import Floats
from ..wording import html_table, whole_mm, whole_up, word_area, word_distance, word_mm, word_place, word_share
from .offcuts import FIT, NEAR, SHAVING, CuttingPlan, Grid, Pair, Piece, Try

LONGEST = 3.0  # m: a unit longer than this was more likely typed in mm
OFF_EDGE = 0.005  # m: how far an edge that is kept may lie off the outline
MOST_UNITS, MOST_TRIES = 200_000, 200
MOST_WORK = 500_000  # units and corners, times tries: what is laid out within some seconds
BONDS = {"stack": ("stack",), "running": ("running along", "running across")}


@dataclass(frozen=True, eq=False)
class UnitLayout:
    """Units laid over an area, by one of the starts that were tried. Made by `lay_out_units`; lengths in m.

    `drawn_in` is the part of the area to be covered, clear of what is kept and of holes; `tries` are ranked, the best first, and
    this is number `number` of them. `cutting` says how the cut pieces are sawn, in their order among `pieces`.
    """

    area: shapely.Polygon
    unit: Pair
    joint: float
    holes: tuple[shapely.Polygon, ...]
    hole_joint: float
    kept: tuple[tuple[Pair, Pair], ...]
    waste: float
    along: Pair
    drawn_in: shapely.Polygon | shapely.MultiPolygon
    tries: tuple[Try, ...]
    number: int
    pieces: tuple[Piece, ...]
    cutting: CuttingPlan
    grid: Grid

    @property
    def tried(self) -> Try:
        """This one among the tries."""
        return self.tries[self.number - 1]

    @property
    def whole(self) -> int:
        """Units that are not cut."""
        return self.tried.whole

    @property
    def cut(self) -> int:
        """Cut pieces, shavings apart."""
        return self.tried.cut

    @property
    def slivers(self) -> int:
        """Cut pieces narrower somewhere than a third of the unit in that direction (common practice, no source)."""
        return self.tried.slivers

    @property
    def trimmed(self) -> int:
        """Shavings narrower than 5 mm, left to the joint."""
        return self.tried.trimmed

    @property
    def units(self) -> int:
        """Whole units, and those that the cut pieces come out of."""
        return self.whole + self.cutting.units

    @property
    def order(self) -> int:
        """Units with the share for breakage, rounded up."""
        return whole_up(self.units * (1 + self.waste))

    @property
    def bond(self) -> str:
        """"stack", "running along" or "running across"."""
        return self.tried.bond

    @property
    def turned(self) -> bool:
        """Whether the units lie with their length across."""
        return self.tried.turned

    @property
    def start(self) -> Pair:
        """A corner of a unit (x, y) in plan; the unit lies along and to the left of it."""
        return self.tried.start

    @cached_property
    def laid_area(self) -> float:
        """Plan area of all pieces in m², shavings included and joints not."""
        return float(sum(piece.polygon.area for piece in self.pieces))

    @property
    def sizes(self) -> pd.DataFrame:
        """A new table of pieces to the millimetre, shavings apart: length width shape count sliver."""
        rows = [(whole_mm(one.length), whole_mm(one.width), one.shape, one.sliver) for one in self.pieces
                if one.kind in ("whole", "cut")]
        table = pd.DataFrame(rows, columns=["length", "width", "shape", "sliver"])
        table = table.groupby(["length", "width", "shape", "sliver"], as_index=False, sort=False).size()
        table = table.sort_values(["length", "width", "shape"], ascending=False, ignore_index=True)
        return table.rename(columns={"size": "count"})[["length", "width", "shape", "count", "sliver"]]

    @property
    def table(self) -> pd.DataFrame:
        """A new table of every try, ranked: bond turned start_x start_y whole cut slivers units trimmed."""
        rows = [(one.bond, one.turned, *one.start, one.whole, one.cut, one.slivers, one.units, one.trimmed) for one in self.tries]
        return pd.DataFrame(rows, columns=["bond", "turned", "start_x", "start_y", "whole", "cut", "slivers", "units", "trimmed"])

    def layout(self, number: int) -> UnitLayout:
        """The layout of another row of the table, counted from 1."""
        must_be(number, int, "the number of a layout")
        if not 1 <= number <= len(self.tries):
            raise SurveyError(f"there is no layout {number}", rule=f"Rows of the table count from 1 to {len(self.tries)}.")
        pieces, cutting = self.grid.pieces(self.tries[number - 1])
        return replace(self, number=number, pieces=pieces, cutting=cutting)

    def sentence(self) -> str:
        """What to lay and to order, in words."""
        way = "turned across, " if self.turned else ""
        narrow = "no piece is narrower than" if not self.slivers else f"{_count(self.slivers, 'piece')} narrower than"
        strips = f" {_count(self.trimmed, 'strip')} under {word_mm(SHAVING)} wide left to the joint." if self.trimmed else ""
        sawn = f" The cut pieces come out of {_count(self.cutting.units, 'unit')}." if self.cut else ""
        return (f"{_count(self.whole, 'whole unit')} and {_count(self.cut, 'cut piece')} in {self.bond} bond, {way}from a corner "
                f"at {word_place(*self.start)}; {narrow} a third of the unit (common practice, no source).{sawn} Order "
                f"{self.order}, which is {self.units} and {word_share(self.waste)} for breakage.{strips}")

    def __repr__(self) -> str:
        return f"UnitLayout: {self.sentence()}"

    def _repr_html_(self) -> str:
        return f"<p>{self.sentence()}</p>" + html_table(self.sizes)


def _count(number: int, word: str) -> str:
    return f"{number} {word}{'s' * (number != 1)}"


def lay_out_units(area: Any, unit: Pair, *, joint: float, holes: Sequence[Any] = (), kept: Sequence[Any] = (),
                  bonds: Sequence[str] = ("stack", "running"), along: Pair = (1.0, 0.0), turned: bool = True, waste: float = 0.05,
                  start: Pair | None = None, kerf: float = 0.004, hole_joint: float | None = None) -> UnitLayout:
    """The best of up to 200 ways to lay rectangular units over an area; of fewer where there are thousands to lay.

    Parameters
    ----------
    area : list of corners (k, 2) or polygon
        Plan, m; may be L-shaped, notched or have holes, which count as `holes` do.
    unit : (length, width)
        m.
    joint : float
        Width of the joints, m; nought for none.
    holes : sequence of polygons, lists of corners, or posts
        What stands in the paving: posts, covers, gullies. One on the edge makes a notch.
    kept : sequence of ((x, y), (x, y))
        Edges of the area along which there is a wall, or paving that stays: a joint is left there.
    bonds : sequence of str
        "stack": joints run through both ways. "running": every second row is moved by half a unit and half a joint; tried with
        rows along `along` and across it.
    along : (dx, dy)
        Direction that the length of a unit lies in.
    turned : bool
        Whether units with their length across are tried too.
    waste : float
        Share for breakage, 0 to 1.
    start : (x, y), optional
        A corner of a unit, the unit lying along and to the left of it; only this start is then tried.
    kerf : float
        Width that a saw cut takes away, m.
    hole_joint : float, optional
        Width of the joint round holes, m; else that of the others.

    Returns
    -------
    UnitLayout
        The starts put a whole unit, a half unit or equal cuts against the outermost edges, or a whole unit against a long edge.
        Ranked by slivers, then cut pieces, then units needed, then even cuts on both sides.

    Raises
    ------
    SurveyError
        A size that is not above nought; a joint wider than the unit; waste over 100 %; a hole outside the area; holes that
        overlap; an edge that is kept off the outline; a unit larger than the area; more than 200,000 units. A SurveyWarning for a
        unit longer than 3 m, and where no whole unit fits.

    Notes
    -----
    The share for breakage, the saw cut of 4 mm, the third of a unit under which a piece is a sliver, and what is ranked before
    what: common practice, no source. A try counts units by a cutting plan, so that offcuts are used again.

    >>> layout = lay_out_units([(0, 0), (1.83, 0), (1.83, 0.91), (0, 0.91)], (0.45, 0.45), joint=0.01, bonds=("stack",))
    >>> layout.whole, layout.cut
    (8, 0)
    """
    polygon = polygon_of(area)
    sides = finite_list(unit, "the unit", "It must be a pair (length, width) in m.", count=2)
    length, width = (finite(side, "a side of the unit", "It must be a length in m, above nought.", over=0.0) for side in sides)
    gap = finite(joint, "the joint", "It must be a width in m, not below nought.", least=0.0)
    clear = gap if hole_joint is None else finite(hole_joint, "the joint round holes", "It must be a width in m.", least=0.0)
    saw = finite(kerf, "the kerf", "It must be a width in m, not below nought.", least=0.0)
    must_be(turned, bool, "whether units are turned")
    if saw >= min(length, width):
        raise SurveyError(f"the kerf is {word_mm(saw)}", rule=f"The unit is {word_mm(min(length, width))} wide.",
                          remedy="Give it in m: 4 mm is 0.004.")
    if gap > min(length, width):
        raise SurveyError(f"the joint of {word_mm(gap)} is wider than the unit of {word_mm(length)} by {word_mm(width)}",
                          remedy="Correct the one or the other; both are in m.")
    share = finite(waste, "the waste", "It must be a share from 0 to 1, as 0.05 for 5 %.", least=0.0, most=1.0)
    dx, dy = finite_list(along, "the direction of the units", "It must be a pair (dx, dy).", count=2)
    run = math.hypot(dx, dy)
    if run < NEAR:
        raise SurveyError("the direction of the units has no length", rule="It is a pair (dx, dy), not both nought.")
    several = isinstance(bonds, Iterable) and getattr(bonds, "ndim", 1) > 0  # an array of no dimension cannot be gone through
    listed = [bonds] if isinstance(bonds, str) else list(bonds) if several else []
    if not listed or any(not isinstance(bond, str) or bond not in BONDS for bond in listed):
        raise SurveyError(f"the bonds are {bonds!r}", rule=f"Give one or more of {', '.join(BONDS)}.")
    solid = _holes(holes, polygon)
    edges = _kept(kept, polygon)
    drawn = _drawn_in(polygon, solid, edges, gap, clear)
    long = max(length, width) > LONGEST
    typed = f"A unit longer than {word_distance(LONGEST)} may have been typed in mm; 450 mm is 0.45." if long else ""
    if length * width > drawn.area:
        raise SurveyError(f"one unit covers {word_area(length * width)}, more than the {word_area(drawn.area)} to be laid",
                          remedy=typed or "Correct the unit or the area; both are in m.")
    if long:
        warnings.warn(f"The unit is {word_distance(length)} by {word_distance(width)}. {typed}", SurveyWarning, stacklevel=2)
    grid = Grid(drawn, (length, width), gap, saw, (dx / run, dy / run), drawn.bounds[:2])
    corner = grid.back([shapely.transform(drawn, grid.into).bounds[:2]])[0]  # from here on the sides of a yard have tidy places
    grid = replace(grid, origin=(float(corner[0]), float(corner[1])))
    grid = replace(grid, area=shapely.transform(drawn, grid.into))
    low_x, low_y, high_x, high_y = grid.area.bounds
    pitch = (length + gap) * (width + gap)
    if max(drawn.area, (high_x - low_x) * (high_y - low_y) / 10) > MOST_UNITS * pitch:
        raise SurveyError(f"the area takes about {whole_up(drawn.area / pitch):,} units",
                          rule=f"No more than {MOST_UNITS:,} are laid out.",
                          remedy="Divide the area, or look whether the unit was typed in another unit of length.")
    ways = [(bond, turn) for name in dict.fromkeys(listed) for bond in BONDS[name]
            for turn in ((False, True) if turned and abs(length - width) > NEAR else (False,))]
    shapely.prepare(grid.area)
    if start is None:
        work = drawn.area / pitch + len(shapely.get_coordinates(drawn))  # the more there is to lay, the fewer ways are tried
        most = max(min(MOST_TRIES, int(MOST_WORK / work)), 3 * len(ways))
        starts = [(*way, at) for way in ways for at in _starts(grid, *way, most // len(ways))]
    else:
        place = grid.into([finite_list(start, "the start", "It must be a place (x, y) in m.", count=2)])[0]
        starts = [(*way, (float(place[0]), float(place[1]))) for way in ways]
    tries = tuple(sorted((grid.tried(*one) for one in starts), key=lambda one: one.rank))
    if not any(one.whole for one in tries):
        warnings.warn(f"No whole unit of {word_mm(length)} by {word_mm(width)} lies in the area, however it was started. "
                      "Are both in m?", SurveyWarning, stacklevel=2)
    pieces, cutting = grid.pieces(tries[0])
    return UnitLayout(polygon, grid.unit, gap, solid, clear, edges, share, grid.along, drawn, tries, 1, pieces, cutting, grid)


def _holes(holes: Sequence[Any], area: shapely.Polygon) -> tuple[shapely.Polygon, ...]:
    """The holes as polygons, each at least partly in the area and clear of the others."""
    must_be(holes, Sequence, "the list of holes")
    found: list[tuple[str, shapely.Polygon]] = []
    for number, hole in enumerate(holes, 1):
        name = f"hole {number}" + (f" ({hole.name})" if hasattr(hole, "name") else "")
        try:
            polygon = polygon_of(hole.shape if hasattr(hole, "name") else hole)
        except SurveyError as error:
            raise error.at(name) from None
        if polygon.intersection(area).area < NEAR:
            raise SurveyError("it lies outside the area", where=name, remedy="Correct its corners, or leave it out.")
        for other, before in found:
            if polygon.intersection(before).area > NEAR:
                raise SurveyError(f"it overlaps {other}", where=name, remedy="Give what stands together as one hole.")
        found.append((name, polygon))
    return tuple(polygon for _, polygon in found)


def _kept(kept: Sequence[Any], area: shapely.Polygon) -> tuple[tuple[Pair, Pair], ...]:
    """The edges that are kept, each along the outline."""
    must_be(kept, Sequence, "the list of edges that are kept")
    found = []
    for number, edge in enumerate(kept, 1):
        try:
            first, second = edge
        except (TypeError, ValueError):
            raise SurveyError(f"kept edge {number} is {edge!r}", rule="It must be a pair of places (x, y) in m.") from None
        (x1, y1), (x2, y2) = (finite_list(end, f"an end of kept edge {number}", "It must be a place (x, y) in m.", count=2)
                              for end in (first, second))
        line = shapely.LineString([(x1, y1), (x2, y2)])
        if line.length < NEAR or not area.boundary.buffer(OFF_EDGE).covers(line):
            raise SurveyError(f"kept edge {number}, {word_place(x1, y1)} to {word_place(x2, y2)}, is no edge of the area",
                              rule=f"It must lie along the outline, within {word_mm(OFF_EDGE)}.", remedy="Correct its two ends.")
        found.append(((x1, y1), (x2, y2)))
    return tuple(found)


def _drawn_in(area: shapely.Polygon, holes: Sequence[Any], kept: Sequence[Any], joint: float, clear: float) -> Any:
    """What is left of the area beside holes with their joint, and beside edges that are kept."""
    taken = [shapely.Polygon(ring) for ring in area.interiors] + list(holes)
    taken = [hole.buffer(clear, join_style="mitre") if clear else hole for hole in taken]
    if kept and joint:
        lines = shapely.line_merge(shapely.union_all(shapely.linestrings(kept)))
        taken.append(lines.buffer(joint, cap_style="flat", join_style="mitre"))
    left = shapely.Polygon(area.exterior) - shapely.union_all(taken)
    if left.area < NEAR:
        raise SurveyError("nothing of the area is left to lay", rule="Holes and joints must leave some of it.",
                          remedy="Correct the holes or the joint.")
    return left


def _same(bond: str, pitch: Floats, one: Pair, other: Pair) -> bool:
    """Whether two starts give the same pattern."""
    off = np.subtract(one, other)
    if bond != "stack":
        row = 1 if bond == "running along" else 0
        off[1 - row] -= np.rint(off[row] / pitch[row]) * pitch[1 - row] / 2
    return bool((np.abs(off - np.rint(off / pitch) * pitch) < 10 * NEAR).all())


def _starts(grid: Grid, bond: str, turned: bool, most: int) -> list[Pair]:
    """Whole units, half units (half a pitch less a joint) and equal cuts at the outermost edges; whole ones at long edges."""
    side = grid.side(turned)
    pitch, bounds = side + grid.joint, grid.area.bounds
    offsets: list[list[tuple[int, float]]] = []
    for axis in (0, 1):
        low, high, half = bounds[axis], bounds[axis + 2], pitch[axis] / 2
        straight = np.abs(grid.edges[:, 1, axis] - grid.edges[:, 0, axis]) < NEAR
        run = (grid.edges[:, 1, 1 - axis] - grid.edges[:, 0, 1 - axis]) * (2 * axis - 1)
        long = np.flatnonzero(straight)[np.argsort(-np.rint(np.abs(run[straight]) / FIT), kind="stable")][:6]
        # an edge that runs so has the paving on its near side, and a whole unit ends there
        sides = [(3, float(grid.edges[one, 0, axis]) - (side[axis] if run[one] > 0 else 0.0)) for one in long]
        middle = (low + high - side[axis]) / 2
        offsets.append([(0, low), (1, high - side[axis]), (2, middle), (2, middle + half), (3, low + half),
                        (3, high - side[axis] + half), *sides])
    pairs = sorted(((i + j, x, y) for i, x in offsets[0] for j, y in offsets[1]), key=lambda one: one[0])
    found: list[Pair] = []
    for _, x, y in pairs:
        if len(found) < most and not any(_same(bond, pitch, (x, y), other) for other in found):
            found.append((float(x), float(y)))
    return found
