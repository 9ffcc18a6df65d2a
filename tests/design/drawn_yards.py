"""Invented random yards with a level book, whose demands are met or missed by a few millimetres: no tests here."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import shapely
from own_errors import BENCHMARK, Book, Mark, Yard, drawer

from sitelevels import (
    Brief,
    Clearance,
    Cover,
    ErrorBudget,
    FallAway,
    Finish,
    KeepBelow,
    MaxGradient,
    Meet,
    Plane,
    Step,
    Wall,
)


def budget_of(rng: np.random.Generator) -> ErrorBudget:
    """Every figure of its own, from two thirds of the usual one to half as much again; the laying down to a sixth."""
    usual = ErrorBudget()
    names = ("reading", "placing_hard", "placing_ground", "placing_buried", "backsight", "zero", "tilt_body", "tilt_level",
             "collimation", "tape")
    own = {name: getattr(usual, name) * 1.5 ** rng.uniform(-1, 1) for name in names}
    return replace(usual, **own, laying=float(rng.uniform(0.0005, 0.003)))


def drawn_yard(seed: int, *, setups: int = 0, exists: bool = False, budget: ErrorBudget | None = None,
               margin: float | None = None) -> Yard:
    """A random yard and a book of 1 to 3 set-ups; `margin` in m is what each demand has in hand, drawn if not given."""
    rng = np.random.default_rng([131, seed])
    setups = setups or 1 + seed % 3
    width, depth = rng.uniform(4, 8), rng.uniform(3, 6)
    corners = [(0, 0), (width, 0), (width, depth), (0, depth)]
    if seed % 2:
        corners[2:3] = [(width, depth / 2), (width / 2, depth / 2), (width / 2, depth)]
    area = shapely.Polygon(corners)
    plane = Plane(9.7, float(rng.uniform(-0.006, 0.006)), float(-rng.uniform(0.015, 0.025)), (width / 2, depth / 2))
    told = budget_of(rng) if budget is None else budget

    def spare() -> float:
        return float(rng.uniform(-0.004, 0.009)) if margin is None else margin

    def place() -> tuple[float, float]:
        while True:
            x, y = float(rng.uniform(0, width)), float(rng.uniform(0, depth))
            if area.buffer(-0.1).covers(shapely.Point(x, y)):
                return x, y
    placed = exists or seed % 5 != 4
    marks = {BENCHMARK: Mark(*map(float, rng.uniform(-6, 0, 2)), 10.0, "benchmark", placed)}

    def mark(name: str, feature: str, up: float, at: tuple[float, float] | None = None) -> None:
        x, y = at or place()
        marks[name] = Mark(x, y, float(plane.level_at(x, y)) + up, feature)
    for name, x in (("D1", 0.0), ("D2", float(width))):
        mark(name, "dpc", 0.150 + spare(), (x, 0.0))
    for name in ("E1", "E2"):
        mark(name, "edge", 0.020 - spare())
    for name in ("B1", "B2"):
        mark(name, "buried", -0.100 - spare())
    mark("T", "threshold", 0.100 + spare())
    mark("V", "airbrick", 0.900 + spare())
    spots = [f"S{number}" for number in range(1, 9)] if exists else ["S1"]
    for name in spots:
        mark(name, "ground", float(rng.normal(0, 0.002)))
    order = [name for name in marks if name != BENCHMARK]
    order = [order[number] for number in rng.permutation(len(order))]
    order += [str(name) for name in rng.choice(order, 2)] if seed % 4 == 1 else []
    shots: list[tuple[str, str]] = []
    for number, part in enumerate(np.array_split(np.array(order, dtype=object), setups)):
        shots.append((f"TP{number}" if number else BENCHMARK, "bs"))
        shots += [(str(point), "is") for point in part]
        if number < setups - 1:
            marks[f"TP{number + 1}"] = Mark(*map(float, rng.uniform(-5, 5, 2)), 9.8, str(rng.choice(["edge", "ground"])))
            shots.append((f"TP{number + 1}", "fs"))
    if rng.random() < 0.6:
        shots.append((BENCHMARK, "fs"))
    stands = {number: (float(rng.uniform(-4, width + 4)), float(rng.uniform(-4, depth + 4))) for number in range(1, setups + 1)}
    headings = {number: float(rng.uniform(0, 360)) for number in stands} if seed % 4 == 3 else {}
    lines = rng.uniform(10.3, 10.5, setups)
    exact = Book(marks, tuple(shots), (1.0,) * len(shots), told, stands, headings)
    true = [lines[number - 1] - marks[point].level for number, (point, _) in zip(exact.setup, shots, strict=True)]
    signed = replace(exact, readings=tuple(true))
    out = signed.misreadings(drawer(np.random.default_rng([132, seed])))
    book = replace(exact, readings=tuple(round(float(a + 0.5 * b), 4) for a, b in zip(true, out, strict=True)))
    levels = book.reduced()

    def spot(name: str) -> tuple[str, float, float, float]:
        return name, marks[name].x, marks[name].y, levels.level(name)
    wall = Wall("house", (0, 0), (width, 0), dpc=[(0, levels.level("D1")), (width, levels.level("D2"))], points=["D1", "D2"])
    demands: list[Any] = [Clearance("house", 0.150), Meet([spot("E1"), spot("E2")], 0.020), Cover([spot("B1"), spot("B2")], 0.1),
                          Step(spot("T"), 0.1, 0.2), KeepBelow(spot("V"), 0.9)]
    if exists or seed % 6 == 0:
        demands += [FallAway("house", 1 / 60), MaxGradient(1 / 40)]
    brief = Brief(area, walls=[wall], demands=demands)
    if exists:
        plane = book.errors().plane_fit(spots).plane
    return Yard(area, float(width), book, brief, Finish.plane(plane, area), tuple(spots) if exists else ())
