"""A sheet of A4 measured in mm from its upper left corner and filled from the top down: words, lines, ruled tables."""

from __future__ import annotations

from collections.abc import Container, Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

from matplotlib.collections import LineCollection
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from ..wording import true_minus
from .figures import style
from .page import A4, broken, fitted, wide

WIDE, TALL = 210.0, 297.0  # mm
LEFT, RIGHT, TOP, BOTTOM = 14.0, 196.0, 13.0, 279.0  # mm: between which everything stands; the foot is below
STEP = 4.15  # mm: from one line of text to the next
PT = 72 / 25.4  # in a mm
Align = Literal["left", "center", "right"]
PALE, RULED, TINT = "#c9cfd3", "#8a9399", "#eef0f1"
BY_HAND = 7.2  # mm: a row that somebody can write in


@dataclass(frozen=True)
class Column:
    """A column of a ruled table: its name, what stands over it, its width in mm."""

    name: str
    heading: str
    width: float
    words: bool = False


class Paper:
    """One page. `down` is how far it is filled, in mm."""

    def __init__(self, title: str, named: str, foot: str) -> None:
        self.figure = Figure(figsize=A4)
        self.ax = self.figure.add_axes((0, 0, 1, 1))
        self.ax.set_axis_off()
        self.ax.set_xlim(0, WIDE)
        self.ax.set_ylim(TALL, 0)
        self._ruled: dict[tuple[str, float], list[tuple[tuple[float, float], tuple[float, float]]]] = {}
        self.down = TOP
        room = (RIGHT - LEFT - 6) * PT - wide(named, bold=True)
        self.put(fitted(title, room, 14, bold=True)[0], LEFT, TOP, size=14, bold=True)
        self.put(named, RIGHT, TOP + 1, bold=True, align="right")
        for number, line in enumerate(fitted(foot, (RIGHT - LEFT) * PT, most=2)):
            self.put(line, LEFT, BOTTOM + 2 + number * STEP)
        self.down += 8.5

    @property
    def room(self) -> float:
        """What is left of the page, in mm."""
        return BOTTOM - self.down

    def put(self, line: str, x: float, down: float, *, size: float = style.TEXT, bold: bool = False, align: Align = "left",
            colour: str = style.INK) -> None:
        """One line of words at a place in mm, as it is."""
        if line:
            self.figure.text(x, down, line, fontsize=size, color=colour, ha=align, va="top", transform=self.ax.transData,
                             fontweight="bold" if bold else "normal", parse_math=False)

    def write(self, words: str, *, left: float = LEFT, width: float = RIGHT - LEFT, bold: bool = False,
              colour: str = style.INK) -> float:
        """Words where the page is filled to, broken to fit a width in mm; how tall they came out is given back, in mm."""
        lines = broken(true_minus(words), width * PT, bold=bold)
        for number, line in enumerate(lines):
            self.put(line, left, self.down + number * STEP, bold=bold, colour=colour)
        return STEP * len(lines)

    def told(self, words: str, *, bold: bool = False) -> None:
        """A paragraph, under which the page goes on."""
        self.down += self.write(words, bold=bold) + 0.8

    def rule(self, x: float, y: float, to_x: float, to_y: float, *, colour: str = RULED, thick: float = 0.6) -> None:
        """A line."""
        self._ruled.setdefault((colour, thick), []).append(((x, y), (to_x, to_y)))

    def blank(self, left: float, down: float, width: float) -> None:
        """A line to write on, under text that stands at `down`."""
        self.rule(left, down + STEP - 0.4, left + width, down + STEP - 0.4, colour=style.INK)

    def heading(self, columns: Sequence[Column]) -> None:
        """The headings of a ruled table, on two lines at most."""
        top, x = self.down, LEFT
        for column in columns:
            lines = column.heading.split("\n")
            for number, line in enumerate(lines):
                self.put(line, x + column.width / 2, top + 1.2 + number * STEP, bold=True, align="center")
            x += column.width
        self.down += 2 * STEP + 1.8
        self.ax.add_patch(Rectangle((LEFT, top), x - LEFT, self.down - top, facecolor=TINT, edgecolor="none", zorder=0))
        for y in (top, self.down):
            self.rule(LEFT, y, x, y, colour=style.INK, thick=1.0)
        self._uprights(columns, top)

    def row(self, columns: Sequence[Column], cells: dict[str, str], *, least: float, bold: Iterable[str] = (),
            thick: float = 0.6) -> float:
        """A row of the table, cells broken to fit; where it began is given back."""
        top, strong = self.down, set(bold)
        lines = _in_cells(columns, cells, strong)
        tall, x = max(least, row_height(columns, cells, strong)), LEFT
        for column in columns:
            start = top + (tall - STEP * len(lines[column.name])) / 2 + 0.6
            place = 1.4 if column.words else column.width - 1.5
            align: Align = "left" if column.words else "right"
            for number, line in enumerate(lines[column.name]):
                self.put(line, x + place, start + number * STEP, bold=column.name in strong, align=align)
            x += column.width
        self.down += tall
        self.rule(LEFT, self.down, x, self.down, colour=style.INK if thick > 0.6 else RULED, thick=thick)
        self._uprights(columns, top)
        return top

    def _uprights(self, columns: Sequence[Column], top: float) -> None:
        x = LEFT
        for width in (0.0, *(column.width for column in columns)):
            x += width
            self.rule(x, top, x, self.down)

    def finished(self) -> Figure:
        """The page as a figure."""
        for (colour, thick), lines in self._ruled.items():
            self.ax.add_collection(LineCollection(lines, colors=colour, linewidths=thick, zorder=1), autolim=False)
        self._ruled = {}
        style.plain_text(self.figure)
        return self.figure


def row_height(columns: Sequence[Column], cells: dict[str, str], bold: Container[str] = ()) -> float:
    """How tall a row with these words is at the least, in mm."""
    return STEP * max(map(len, _in_cells(columns, cells, bold).values())) + 0.8


def _in_cells(columns: Sequence[Column], cells: dict[str, str], bold: Container[str]) -> dict[str, list[str]]:
    """The words of a row, broken to fit."""
    return {column.name: broken(true_minus(cells.get(column.name, "")), (column.width - 2.4) * PT, bold=column.name in bold)
            for column in columns}
