"""Units against programs of the test's own: clipping by half-planes, and cells counted in whole quarters of a millimetre."""

from __future__ import annotations

import math
import random
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
import shapely

from sitelevels.works.offcuts import Cut, CuttingPlan, cut_from_units
from sitelevels.works.units import UnitLayout, lay_out_units

Places = list[tuple[float, float]]
Block = tuple[int, int, int, int]
MIDDLE = (20.0, 30.0)


def clipped(ring: Places, corner: Places) -> float:
    """Area of a ring within a convex one that runs anticlockwise, after Sutherland and Hodgman (1974)."""
    for (ax, ay), (bx, by) in pairwise([*corner, corner[0]]):
        kept: Places = []
        for (px, py), (qx, qy) in pairwise([*ring, ring[0]]) if ring else []:
            p = (bx - ax) * (py - ay) - (by - ay) * (px - ax)
            q = (bx - ax) * (qy - ay) - (by - ay) * (qx - ax)
            if (p < 0) != (q < 0):
                t = p / (p - q)
                kept.append((px + t * (qx - px), py + t * (qy - py)))
            if q >= 0:
                kept.append((qx, qy))
        ring = kept
    return abs(sum(px * qy - qx * py for (px, py), (qx, qy) in pairwise([*ring, ring[0]]))) / 2 if ring else 0.0


def rectangles(layout: UnitLayout, reach: float) -> list[Places]:
    """All units of the pattern within so many metres of its start, by counting on from there."""
    (length, width), joint = layout.unit, layout.joint
    a, b = (width, length) if layout.turned else (length, width)
    (dx, dy), (sx, sy) = layout.along, layout.start
    found = []
    for i in range(-int(reach / (a + joint)) - 2, int(reach / (a + joint)) + 3):
        for j in range(-int(reach / (b + joint)) - 2, int(reach / (b + joint)) + 3):
            u = i * (a + joint) + (j % 2 * (a + joint) / 2 if layout.bond == "running along" else 0)
            v = j * (b + joint) + (i % 2 * (b + joint) / 2 if layout.bond == "running across" else 0)
            corners = [(sx + p * dx - q * dy, sy + p * dy + q * dx) for p, q in ((u, v), (u + a, v), (u + a, v + b), (u, v + b))]
            if math.dist(corners[0], MIDDLE) < 3.5:  # the area reaches 2.5 m out, a unit 0.9 m
                found.append(corners)
    return found


def ragged(draw: random.Random) -> tuple[Places, list[Places]]:
    """A star-shaped outline of 5 to 9 corners about (20, 30), 1.2 to 2.5 m out, with up to three triangles inside it."""
    count = draw.randint(5, 9)
    turns = [2 * math.pi * (k + draw.uniform(-0.3, 0.3)) / count for k in range(count)]
    outline = [(20 + r * math.cos(t), 30 + r * math.sin(t)) for t in turns for r in [draw.uniform(1.2, 2.5)]]
    holes = []
    for k in range(draw.randint(0, 3)):
        x, y, r, t = 20 + 0.45 * math.cos(2.1 * k), 30 + 0.45 * math.sin(2.1 * k), draw.uniform(0.05, 0.3), draw.uniform(0, 6)
        holes.append([(x + r * math.cos(t + s), y + r * math.sin(t + s)) for s in (0, 2, 4)])
    return outline, holes


@pytest.mark.parametrize("seed", range(20))
def test_the_pieces_are_what_lies_of_the_area_in_the_units(seed: int) -> None:
    draw = random.Random(seed)
    outline, holes = ragged(draw)
    angle = draw.choice([0.0, draw.uniform(0, 6.3)])
    layout = lay_out_units(outline, (draw.uniform(0.3, 0.7), draw.uniform(0.2, 0.5)), joint=draw.choice([0.0, 0.008, 0.03]),
                           holes=holes, hole_joint=0, along=(math.cos(angle), math.sin(angle)))
    for number in (1, 2, len(layout.tries) // 2, len(layout.tries)):
        one = layout.layout(number)
        units = rectangles(one, 6.0)
        expected = sum(clipped(outline, unit) - sum(clipped(hole, unit) for hole in holes) for unit in units)
        assert sum(piece.polygon.area for piece in one.pieces) == pytest.approx(expected, abs=1e-9)
        assert one.laid_area == pytest.approx(expected, abs=1e-9)
        full = sum(all(abs(clipped(outline, unit) - one.unit[0] * one.unit[1]) < 1e-9 and clipped(hole, unit) < 1e-9
                       for hole in (holes or [unit[:1]])) for unit in units)
        assert one.whole == full
        together = shapely.union_all([shapely.Polygon(unit) for unit in units])
        rest = shapely.Polygon(outline, holes).intersection(together)
        assert one.laid_area == pytest.approx(rest.area, abs=1e-9)
        assert shapely.union_all([piece.polygon for piece in one.pieces]).symmetric_difference(rest).area < 1e-7


class Cells:
    """Pieces of one pattern over blocks less blocks, all in whole quarters of a millimetre: no number is ever inexact."""

    def __init__(self, out: Block, gone: list[Block], side: tuple[int, int], joint: int, bond: str,
                 start: tuple[int, int]) -> None:
        self.whole = self.cut = self.slivers = self.slips = self.area = 0
        self.sizes: list[tuple[int, int]] = []
        (a, b), (p, q) = side, (side[0] + joint, side[1] + joint)
        assert p % 2 == q % 2 == 0
        columns = range((out[0] - start[0]) // p - 2, (out[2] - start[0]) // p + 2)
        rows = range((out[1] - start[1]) // q - 2, (out[3] - start[1]) // q + 2)
        for i in columns:
            for j in rows:
                x = start[0] + i * p + (p // 2 if bond == "running along" and j % 2 else 0)
                y = start[1] + j * q + (q // 2 if bond == "running across" and i % 2 else 0)
                self._unit((x, y, x + a, y + b), out, gone)

    def _unit(self, unit: Block, out: Block, gone: list[Block]) -> None:
        x0, y0, x1, y1 = max(unit[0], out[0]), max(unit[1], out[1]), min(unit[2], out[2]), min(unit[3], out[3])
        if x0 >= x1 or y0 >= y1:
            return
        xs = sorted({x0, x1, *(x for block in gone for x in (block[0], block[2]) if x0 < x < x1)})
        ys = sorted({y0, y1, *(y for block in gone for y in (block[1], block[3]) if y0 < y < y1)})
        free = {(i, j) for i in range(len(xs) - 1) for j in range(len(ys) - 1)
                if not any(block[0] <= xs[i] < block[2] and block[1] <= ys[j] < block[3] for block in gone)}
        while free:
            piece, edge = set(), [free.pop()]
            while edge:
                i, j = edge.pop()
                piece.add((i, j))
                for near in ((i + 1, j), (i - 1, j), (i, j + 1), (i, j - 1)):
                    if near in free:
                        free.remove(near)
                        edge.append(near)
            self._piece(piece, xs, ys, unit)

    def _piece(self, piece: set[tuple[int, int]], xs: list[int], ys: list[int], unit: Block) -> None:
        area = sum((xs[i + 1] - xs[i]) * (ys[j + 1] - ys[j]) for i, j in piece)
        self.area += area
        a, b = unit[2] - unit[0], unit[3] - unit[1]
        if area == a * b:
            self.whole += 1
            return
        along = xs[max(i for i, _ in piece) + 1] - xs[min(i for i, _ in piece)]
        across = ys[max(j for _, j in piece) + 1] - ys[min(j for _, j in piece)]
        if min(along, across) < 20:  # 5 mm
            self.slips += 1
            return
        self.cut += 1
        self.sizes.append((along, across))
        rows = [run for row in {j for _, j in piece} for run in runs(i for i, j in piece if j == row)]
        columns = [run for column in {i for i, _ in piece} for run in runs(j for i, j in piece if i == column)]
        self.slivers += (any(3 * (xs[last + 1] - xs[first]) < a for first, last in rows)
                         or any(3 * (ys[last + 1] - ys[first]) < b for first, last in columns))


def runs(numbers: Any) -> list[tuple[int, int]]:
    """First and last of each unbroken run."""
    found: list[tuple[int, int]] = []
    for number in sorted(numbers):
        if found and number == found[-1][1] + 1:
            found[-1] = (found[-1][0], number)
        else:
            found.append((number, number))
    return found


def quarters(metres: float) -> int:
    number = metres * 4000
    assert abs(number - np.rint(number)) < 1e-6
    return int(np.rint(number))


@pytest.mark.parametrize("seed", range(20))
def test_the_counts_are_those_of_cells(seed: int) -> None:
    draw = random.Random(1000 + seed)
    wide, deep = (4 * draw.randrange(1800, 3600) for _ in range(2))
    side = 4 * draw.randrange(200, 700, 2), 4 * draw.randrange(100, 400, 2)
    joint = 4 * draw.choice([0, 2, 6, 10])
    bite = (4 * draw.randrange(300, 1200), 4 * draw.randrange(300, 1200))
    gone = [(wide - bite[0], deep - bite[1], wide, deep)] * draw.randint(0, 1)  # the corner that makes an L
    area: Any = shapely.box(0, 0, wide / 4000, deep / 4000)
    for x0, y0, x1, y1 in gone:
        area = area - shapely.box(x0 / 4000, y0 / 4000, x1 / 4000, y1 / 4000)
    holes, taken = [], []
    for _ in range(draw.randint(0, 5)):
        x, y, w, h = (4 * draw.randrange(low, high)
                      for low, high in ((0, wide // 4 - 150), (0, deep // 4 - 150), (60, 300), (60, 300)))
        block = (max(x - 400, 0) if draw.random() < 0.2 else x, y, x + w, y + h)
        plan = shapely.box(*(number / 4000 for number in block))
        if not any(plan.buffer(0.05).intersects(other) for other in holes) and plan.intersection(area).area > 1e-3:
            holes.append(plan)
            taken.append((block[0] - joint, block[1] - joint, block[2] + joint, block[3] + joint))
    kept = [((0, 0), (0, deep / 4000))] if draw.random() < 0.5 else []
    layout = lay_out_units(area, (side[0] / 4000, side[1] / 4000), joint=joint / 4000, holes=holes, kept=kept)
    out = (joint if kept else 0, 0, wide, deep)
    numbers = {1, 2, 3, len(layout.tries), *(draw.randrange(1, len(layout.tries) + 1) for _ in range(8))}
    for number in sorted(numbers):
        one = layout.tries[number - 1]
        own = Cells(out, gone + taken, side[::-1] if one.turned else side, joint, one.bond,
                    (quarters(one.start[0]), quarters(one.start[1])))
        assert (one.whole, one.cut, one.slivers, one.trimmed) == (own.whole, own.cut, own.slivers, own.slips)
    best = layout.tries[0]
    own = Cells(out, gone + taken, side[::-1] if best.turned else side, joint, best.bond,
                (quarters(best.start[0]), quarters(best.start[1])))
    assert layout.laid_area == pytest.approx(own.area / 4000**2, abs=1e-9)
    sizes = [(piece.length, piece.width) for piece in layout.pieces if piece.kind == "cut"]
    mine = [(across, along) if best.turned else (along, across) for along, across in own.sizes]
    assert sorted((quarters(length), quarters(width)) for length, width in sizes) == sorted(mine)
    packed(layout.cutting)
    assert layout.units == layout.whole + layout.cutting.units


def test_the_best_is_best_among_all_that_were_tried() -> None:
    layout = lay_out_units([(0, 0), (3.1, 0), (3.1, 1.4), (1.7, 1.4), (1.7, 2.9), (0, 2.9)], (0.6, 0.3), joint=0.01)
    table = layout.table
    fewest = table[table.slivers == table.slivers.min()]
    assert layout.slivers == table.slivers.min()
    assert layout.cut == fewest.cut.min()
    assert layout.units == fewest[fewest.cut == fewest.cut.min()].units.min()


def narrowest(polygon: Any) -> float:
    """Least width over every half degree of turn."""
    places = np.asarray(polygon.exterior.coords)
    turns = np.radians(np.arange(0, 180, 0.5))
    return float(np.ptp(places @ np.stack([np.cos(turns), np.sin(turns)]), axis=0).min())


def test_slanted_slivers_by_turning_them_about() -> None:
    layout = lay_out_units([(0, 0), (3, 0), (3, 2), (0, 2)], (0.5, 0.4), joint=0.01, along=(2, 1))
    seen = 0
    for number in (1, 50, 100, 150):
        for piece in layout.layout(number).pieces:
            if piece.shape != "slanted" or piece.kind != "cut":
                continue
            share = min(piece.length / 0.5, piece.width / 0.4, narrowest(piece.polygon) / 0.4)
            if abs(share - 1 / 3) > 0.002:
                seen += 1
                assert piece.sliver == (share < 1 / 3)
    assert seen > 50


def sawn(cuts: list[Cut], kerf: float) -> bool:
    """Whether straight cuts right through part all pieces from each other, the saw taking its kerf."""
    if len(cuts) < 2:
        return True
    for low, high in ((lambda c: c.x, lambda c: c.x + c.length), (lambda c: c.y, lambda c: c.y + c.width)):
        order = sorted(cuts, key=low)
        for k in range(1, len(order)):
            if max(high(one) for one in order[:k]) + kerf <= low(order[k]) + 5e-6:
                return sawn(order[:k], kerf) and sawn(order[k:], kerf)
    return False


def packed(plan: CuttingPlan) -> None:
    """The plan can be sawn, and takes no more units than pieces and no fewer than their area."""
    assert [cut.piece for cut in plan.cuts] == list(range(len(plan.sizes)))
    by_unit: dict[int, list[Cut]] = {}
    for cut, size in zip(plan.cuts, plan.sizes, strict=True):
        assert (cut.length, cut.width) == (size[::-1] if cut.turned else size)
        assert min(cut.x, cut.y) >= 0
        assert cut.x + cut.length <= plan.unit[0] + 5e-6
        assert cut.y + cut.width <= plan.unit[1] + 5e-6
        by_unit.setdefault(cut.unit, []).append(cut)
    assert all(sawn(cuts, plan.kerf) for cuts in by_unit.values())
    assert sorted(by_unit) == list(range(1, plan.units + 1))
    area = sum(length * width for length, width in plan.sizes) / (plan.unit[0] * plan.unit[1])
    assert area - 1e-9 <= plan.least <= plan.units <= len(plan.sizes)


@pytest.mark.parametrize("seed", range(40))
def test_a_cutting_plan_can_be_sawn(seed: int) -> None:
    draw = random.Random(seed)
    unit = (draw.uniform(0.2, 0.9), draw.uniform(0.1, 0.6))
    sizes = [(unit[0] * draw.uniform(0.05, 1), unit[1] * draw.uniform(0.05, 1)) for _ in range(draw.randint(0, 60))]
    packed(cut_from_units(sizes, unit, kerf=draw.choice([0, 0.004])))


def fewest(lengths: list[float], long: float, kerf: float) -> int:
    """The true least for strips of full width, by trying every way to share them out."""
    best = len(lengths)

    def place(k: int, used: list[float]) -> None:
        nonlocal best
        if len(used) >= best:
            return
        if k == len(lengths):
            best = len(used)
            return
        for number, taken in enumerate(used):
            if taken + kerf + lengths[k] <= long + 1e-9:
                place(k + 1, [*used[:number], taken + kerf + lengths[k], *used[number + 1:]])
        place(k + 1, [*used, lengths[k]])

    place(0, [])
    return best


@pytest.mark.parametrize("seed", range(15))
def test_never_fewer_than_the_true_least(seed: int) -> None:
    draw = random.Random(seed)
    lengths = [0.6 * draw.uniform(0.15, 0.8) for _ in range(9)]
    plan = cut_from_units([(length, 0.3) for length in lengths], (0.6, 0.3))
    least = fewest(lengths, 0.6, 0.004)
    assert least <= plan.units <= 1.5 * least
