"""Random level books with their truth, an instrument that reads them with errors, and a pencil reduction: no tests here.

The reduction takes floats, arrays of trials or numbers with uncertainties alike, and shares no code with the package.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import pandas as pd

from sitelevels import ErrorBudget, LevelBook, read_book

Draw = Callable[[float, str], Any]  # a new error of that standard deviation and kind
FEATURES = {"upright": ("", "ground", "corner", "dpc", "buried", "threshold", "gully", "edge"),
            "upside down": ("dpc", "airbrick", ""), "taped": ("dpc", "airbrick", "buried")}
HEIGHTS = {"upright": (9300, 10500), "upside down": (11900, 13000), "taped": (10500, 12000)}  # mm; lines lie between


@dataclass
class Mark:
    """A mark, m; `how` it is read: "upright", "upside down" or "taped"."""

    x: float
    y: float
    height: float
    how: str
    feature: str


@dataclass
class Shot:
    """A reading of a mark from a set-up (from 0), in a cell of the book."""

    setup: int
    point: str
    row: int
    column: str


@dataclass
class Job:
    """A level book whose readings are exact, and the truth behind it; `stands` and `lines` by set-up, m."""

    marks: dict[str, Mark] = field(default_factory=dict)
    shots: list[Shot] = field(default_factory=list)
    stands: list[tuple[float, float]] = field(default_factory=list)
    lines: list[float] = field(default_factory=list)
    known: dict[str, float] = field(default_factory=dict)
    cells: list[dict[str, Any]] = field(default_factory=list)
    rounded: bool = False  # lengths of sights as they are booked, to the millimetre

    def read(self, setup: int, point: str, column: str, *, row: int | None = None) -> None:
        mark = self.marks[point]
        if row is None:
            row = len(self.cells)
            self.cells.append({"point": point, "x": mark.x, "y": mark.y, "feature": mark.feature, "rl": self.known.get(point)})
        reading, length = round(self.lines[setup] - mark.height, 3), f"{self.length(setup, point):.3f}"
        if mark.how == "taped":
            self.cells[row]["up" if reading < 0 else "down"] = abs(reading)
        else:
            self.cells[row][column] = reading
        before = self.cells[row].get("sight", "")
        self.cells[row]["sight"] = f"{before.split('/')[0]}/{length}" if column == "bs" else f"{length}/"
        self.shots.append(Shot(setup, point, row, "is_" if mark.how == "taped" or column == "is" else column))

    def length(self, setup: int, point: str) -> float:
        length = math.dist(self.stands[setup], (self.marks[point].x, self.marks[point].y))
        return float(f"{length:.3f}") if self.rounded else length

    @property
    def instruments(self) -> dict[int, tuple[float, float]]:
        return {number + 1: stand for number, stand in enumerate(self.stands)}

    def book(self, *, without: Sequence[str] = ()) -> LevelBook:
        columns = ["point", "bs", "is", "fs", "up", "down", "x", "y", "feature", "rl", "sight"]
        return read_book(pd.DataFrame(self.cells, columns=[name for name in columns if name not in without]))

    def with_readings(self, readings: Sequence[float]) -> LevelBook:
        """The book with all digits of what was read."""
        book = self.book()
        rows = list(book.rows)
        for shot, reading in zip(self.shots, readings, strict=True):
            rows[shot.row] = replace(rows[shot.row], **{shot.column: float(reading)})
        return replace(book, rows=tuple(rows))

    @property
    def unknown(self) -> list[str]:
        return [point for point in dict.fromkeys(shot.point for shot in self.shots) if point not in self.known]


def drawn(seed: int, *, setups: int = 0, closing: str = "", again: bool = True) -> Job:
    """A random job: 1 to 4 set-ups joined by change points; open, or closing on its benchmark or on another."""
    rng = np.random.default_rng([83, seed])
    setups = setups or 1 + seed % 4
    closing = closing or ("open", "its own", "another")[seed // 4 % 3]
    job = Job()

    def mark(name: str, how: str, feature: str | None = None) -> str:
        x, y = rng.uniform(-15, 15, 2).round(3).tolist()
        job.marks[name] = Mark(x, y, int(rng.integers(*HEIGHTS[how])) / 1000, how,
                               str(rng.choice(FEATURES[how])) if feature is None else feature)
        return name

    def way(upside_down: float) -> str:
        return "upside down" if rng.random() < upside_down else "upright"

    mark("BM", way(0.2), "benchmark")
    job.known["BM"] = job.marks["BM"].height
    spots: list[str] = []
    point, row = "BM", None
    for number in range(setups):
        job.stands.append(tuple(rng.uniform(-15, 15, 2).round(2).tolist()))
        job.lines.append(int(rng.integers(10_800, 11_600)) / 1000)
        job.read(number, point, "bs", row=row)
        repeats = [point] if again and rng.random() < 0.5 else []
        for place in range(int(rng.integers(3, 7))):
            if again and spots and rng.random() < 0.15:
                job.read(number, str(rng.choice(spots)), "is")
            else:
                spots.append(mark(f"P{len(spots) + 1}", str(rng.choice(list(HEIGHTS), p=[0.6, 0.25, 0.15]))))
                job.read(number, spots[-1], "is")
            if repeats and (place == 1 or rng.random() < 0.1):
                job.read(number, repeats[0], "is")
        if number < setups - 1:
            point = mark(f"TP{number + 1}", way(0.15), str(rng.choice(["", "ground", "cover"])))
            job.read(number, point, "fs")
            row = len(job.cells) - 1 if rng.random() < 0.7 else None  # else its backsight has a row of its own
    if closing == "its own":
        job.read(setups - 1, "BM", "fs")
    elif closing == "another":
        mark("BM2", way(0.2), "benchmark")
        job.known["BM2"] = job.marks["BM2"].height
        job.read(setups - 1, "BM2", "fs")
    return job


def budget_for(seed: int, size: float = 1.0) -> ErrorBudget:
    """A budget in which every term tells: about 1 mm at each mark by itself, times `size`."""
    share = size * np.random.default_rng([84, seed]).uniform(0.5, 1.5, 9)
    usual = {"reading": 0.001, "placing_hard": 0.0005, "placing_ground": 0.001, "placing_buried": 0.002, "backsight": 0.0012,
             "zero": 0.0008, "tilt_body": 8e-5, "tilt_level": 5e-5, "collimation": 1e-4}
    return ErrorBudget(**{name: sd * part for (name, sd), part in zip(usual.items(), share, strict=True)})


def headings_for(seed: int, job: Job, which: str) -> dict[int, float] | None:
    rng = np.random.default_rng([85, seed])
    told = {number + 1: float(rng.uniform(-360, 720)) for number in range(len(job.stands)) if which == "all" or number % 2 == 0}
    return None if which == "none" else told


def clockwise(way: Sequence[Any], degrees: Any) -> tuple[Any, Any]:
    """A vector turned clockwise in plan, x to the right and y up the page."""
    cos, sin = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    return way[0] * cos + way[1] * sin, way[1] * cos - way[0] * sin


def tilts(job: Job, budget: ErrorBudget, draw: Draw, headings: Mapping[int, Any] | None) -> list[tuple[Any, Any]]:
    """By how much the plane of light rises along x and y at each set-up."""
    body = draw(budget.tilt_body, "tilt"), draw(budget.tilt_body, "tilt")
    found = []
    for number in range(len(job.stands)):
        if headings and number + 1 in headings:
            mine = clockwise(body, headings[number + 1])
        else:
            mine = draw(budget.tilt_body, "tilt"), draw(budget.tilt_body, "tilt")
        found.append((mine[0] + draw(budget.tilt_level, "tilt"), mine[1] + draw(budget.tilt_level, "tilt")))
    return found


def staff_readings(job: Job, budget: ErrorBudget, draw: Draw, headings: Mapping[int, Any] | None = None,
                   lost: Mapping[str, tuple[Any, Any]] | None = None) -> list[Any]:
    """What is booked: the staff or tape spans from the mark to a line of light that leans and dips.

    `lost` marks lie 10 m from the instrument of each set-up, in the direction given.
    """
    lean, zero, dip = tilts(job, budget, draw, headings), draw(budget.zero, "zero"), draw(budget.collimation, "collimation")
    placing = {"": budget.placing_ground, "ground": budget.placing_ground, "corner": budget.placing_ground,
               "buried": budget.placing_buried}
    readings = []
    for shot, before in zip(job.shots, [None, *job.shots], strict=False):
        mark, (x, y) = job.marks[shot.point], job.stands[shot.setup]
        if lost and shot.point in lost:
            dx, dy = (10 * lost[shot.point][axis] for axis in (0, 1))
            length = 10.0
        else:
            dx, dy, length = mark.x - x, mark.y - y, job.length(shot.setup, shot.point)
        above = job.lines[shot.setup] + dip * length + lean[shot.setup][0] * dx + lean[shot.setup][1] * dy - mark.height
        if before is None or before.setup != shot.setup:
            own = draw(budget.backsight, "backsight")
        else:
            own = draw(budget.reading, "reading") + draw(placing.get(mark.feature, budget.placing_hard), "placing")
        readings.append({"taped": above + own, "upright": above + zero + own, "upside down": -(-above + zero + own)}[mark.how])
    return readings


def by_pencil(job: Job, readings: Sequence[Any]) -> dict[str, Any]:
    """Levels by height of collimation; repeats of a backsight are meaned with it, set-up k of n carries k/n of a misclosure."""
    level: Any = job.known["BM"]
    lines, found = [], []
    for number in range(len(job.stands)):
        mine = [(shot.point, reading) for shot, reading in zip(job.shots, readings, strict=True) if shot.setup == number]
        back = [reading for point, reading in mine if point == mine[0][0]]
        line = level + sum(back) / len(back)
        lines.append(line)
        found.append([(point, line - reading) for point, reading in mine if point != mine[0][0]])
        level = line - mine[-1][1]
    last = job.shots[-1].point
    missed = level - job.known[last] if last in job.known and len(lines) > 1 else 0.0
    gathered: dict[str, list[Any]] = {}
    for number, spots in enumerate(found, start=1):
        for point, one in spots:
            gathered.setdefault(point, []).append(one - missed * (number / len(lines)))
    return {point: sum(gathered[point]) / len(gathered[point]) for point in job.unknown}
