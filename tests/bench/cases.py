"""What the benchmarks are run on: invented books, yards and briefs of any size, from seeds that stay."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sitelevels import (
    Brief,
    Clearance,
    Cover,
    ErrorBudget,
    FallAlong,
    FallAway,
    Finish,
    Ground,
    KeepBelow,
    Layer,
    LevelBook,
    MaxGradient,
    Meet,
    Plane,
    ReducedLevels,
    Step,
    Verdicts,
    Wall,
    check_finish,
    read_book,
    reduce_book,
)

Floats = NDArray[np.float64]
SIDE = 100.0  # m: of the square that the spots of a site lie in
WITHIN = [(5.0, 5.0), (95.0, 5.0), (95.0, 95.0), (5.0, 95.0)]
MIDDLE = Plane(9.5, 0.01, -0.02)  # the mean surface of a site, so that about as much is cut as is filled
WIDE, DEEP = 10.0, 8.0
YARD = [(0.0, 0.0), (WIDE, 0.0), (WIDE, DEEP), (0.0, DEEP)]


def site(spots: int, seed: int = 1) -> tuple[Floats, Floats, Floats]:
    """x, y and level of spots on a rough slope, m, the first four at the corners of the square."""
    random = np.random.default_rng(seed)
    x, y = random.uniform(0, SIDE, (2, spots))
    x[:4], y[:4] = [0, SIDE, SIDE, 0], [0, 0, SIDE, SIDE]
    return x, y, MIDDLE.level + MIDDLE.gx * x + MIDDLE.gy * y + 0.05 * random.normal(size=spots)


def yard(spots: int, seed: int = 3) -> Ground:
    """Rough ground that falls from the wall, about 20 mm up and down, with spots at its four corners."""
    random = np.random.default_rng(seed)
    x, y = random.uniform(0, WIDE, spots), random.uniform(0, DEEP, spots)
    x[:4], y[:4] = [0, WIDE, WIDE, 0], [0, 0, DEEP, DEEP]
    return Ground(x, y, 10 - 0.012 * y + 0.004 * x + 0.02 * random.normal(size=spots))


def paving(spots: int, seed: int = 4) -> Ground:
    """A laid surface: spots that lie about 3 mm off a plane."""
    random = np.random.default_rng(seed)
    x, y = random.uniform(0, WIDE, spots), random.uniform(0, DEEP, spots)
    return Ground(x, y, 10 - 0.012 * y + 0.003 * random.normal(size=spots))


def twelve_demands(corners: int = 4, *, far: float = 10.0, reach: float = 0.15) -> Brief:
    """A yard with twelve demands; with more corners its far side is a curve.

    They fight where old paving at the `far` edge lies high, or must be met within a close `reach`, m.
    """
    more = np.linspace(WIDE, 0, corners - 2)
    area = [(0.0, 0.0), *((float(x), DEEP + 0.02 * float(x) * (WIDE - float(x))) for x in more), (0.0, 0.0)][:-1]
    area.insert(1, (WIDE, 0.0))
    wall = Wall("wall", (0, 0), (WIDE, 0), dpc=[(0, 10.30), (5, 10.31), (WIDE, 10.32)])
    old = [("e1", 1, 7.9, far), ("e2", 5, 7.9, far + 0.01)]
    return Brief(area, walls=[wall], layers=[Layer("slab", 0.05), Layer("bed", 0.10)], demands=[
        Clearance("wall"), FallAway("wall", 1 / 80, target=1 / 60, most=1 / 20), FallAlong("wall", 1 / 50), MaxGradient(1 / 15),
        Step([("tread", 2, 0, 10.2)], 0.05, 0.35), Cover([("pipe", 6, 2, 9.3)]), Cover([("footing", 8, 1, 9.3)]),
        KeepBelow(("air brick", 3, 0, 10.3)), KeepBelow(("vent", 7, 0, 10.32)), Meet(old, reach),
        Cover([("cable", 4, 6, 9.2)]), Step([("path", 9, 7.9, 10.5)], 0.0, 0.7)])


def book(points: int, seed: int = 5) -> str:
    """A level book of one set-up: a benchmark, two shots of the DPC, and spots on rough ground that falls from the wall."""
    random = np.random.default_rng(seed)
    lines = ["point,bs,is,fs,rl,x,y,feature", "BM,1.400,,,10.000,-3,2,benchmark",
             "D1,,1.050,,,0,0,dpc", "D2,,1.052,,,10,0,dpc"]
    for number in range(1, points - 2):
        x, y = random.uniform((0, 0), (WIDE, DEEP))
        lines.append(f"S{number},,{1.30 + 0.02 * y + 0.003 * random.normal():.3f},,,{x:.2f},{y:.2f},ground")
    return "\n".join([*lines, "BM,,,1.400,,-3,2,benchmark"])


def reduced(points: int) -> ReducedLevels:
    """The levels of such a book."""
    return reduce_book(read_book(book(points)))


def long_book(rows: int) -> str:
    """A line of levels: twenty spots from each set-up, and back to the benchmark at its end."""
    random = np.random.default_rng(6)
    lines, carried = ["point,bs,is,fs,rl,x,y,remarks", "BM,1.500,,,100.000,0,0,start"], 0
    for row in range(1, rows - 1):
        x, y = row * 0.5, float(random.uniform(0, 20))
        if row % 21:
            lines.append(f"P{row},,{random.uniform(1.2, 1.8):.3f},,,{x:.2f},{y:.2f},")
        else:
            back = round(random.uniform(1.4, 1.6), 3)
            fore = round(back + 0.0005 * carried + random.uniform(-0.1, 0.1), 3)  # back towards the level it started from
            carried += round(1000 * (back - fore))
            lines.append(f"T{row},{back:.3f},,{fore:.3f},,{x:.2f},{y:.2f},change point")
    return "\n".join([*lines, f"BM,,,{(1500 + carried) / 1000:.3f},,0,0,end"])


def judged(points: int) -> Verdicts:
    """A surface that exists, judged by its spots."""
    errors = ErrorBudget().errors(reduced(points), instruments={1: (5.0, 3.0)})
    wall = Wall("wall", (0, 0), (WIDE, 0), dpc=[(0, 10.35), (WIDE, 10.348)], points=["D1", "D2"])
    brief = Brief(YARD, walls=[wall], demands=[Clearance("wall", 0.15), FallAway("wall", 1 / 80), FallAlong("wall", 1 / 100),
                                              MaxGradient(1 / 20)])
    spots = errors.ground_points()
    return check_finish(Finish.plane(errors.plane_fit(spots).plane, YARD), brief, budget=errors, surveyed=spots)


def page(points: int) -> tuple[LevelBook, pd.DataFrame]:
    """A book and the levels that a learner worked out for it, one of them 10 mm too high."""
    whole = read_book(book(points))
    table = reduce_book(whole).table
    levels = table["level"].round(3)
    levels.iloc[points // 2] += 0.010
    return whole, pd.DataFrame({"row": table.index, "level": levels.map("{:.3f}".format)})
