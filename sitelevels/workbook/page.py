"""What the pages of the sheet are made of: a page with its head, paragraphs, plain tables."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from .figures import style
from .job import Job

A4 = (8.27, 11.69)  # inches
LINE = 0.0165  # height of a line of text as a share of the page
WIDE = 105  # characters across the page
COLOURS = {"met": style.MET, "too close to call": style.TOO_CLOSE, "not met": style.NOT_MET}


def page_of(job: Job, named: str, by: str = "set out by") -> Figure:
    """An empty page with the job's name, what the page is, and a line to sign."""
    page = Figure(figsize=A4)
    made_up = " (invented)" if job.invented else ""
    page.text(0.07, 0.965, shortened(job.name, 38) + made_up, fontsize=14, fontweight="bold", color=style.INK, va="top")
    page.text(0.93, 0.965, named, fontsize=style.TEXT, color=style.INK, ha="right", va="top")
    page.text(0.93, 0.035, f"date ____________   {by} ____________________", fontsize=style.TEXT, color=style.INK,
              ha="right")
    return page


def shortened(name: str, length: int) -> str:
    """A name that is no longer than a column."""
    return name if len(name) <= length else name[:length - 1] + "…"


def paragraphs(page: Figure, top: float, told: Sequence[str]) -> float:
    """Write them from `top` down; where they end is given back."""
    lines = [line for paragraph in told for line in textwrap.wrap(paragraph, WIDE)]
    page.text(0.07, top, "\n".join(lines), fontsize=style.TEXT, color=style.INK, va="top", linespacing=1.4)
    return top - LINE * len(lines)


def plain_table(ax: Axes, title: str, headings: Sequence[str], at: Sequence[float], rows: Sequence[Sequence[str]], *,
           widths: Sequence[int] | None = None, step: float = 0.044, floor: float = -1.0) -> tuple[float, int]:
    """A plain table from the top of the axes; how far down it came, and how many rows there was room for above `floor`.

    `widths` wrap columns, in characters.
    """
    ax.set_axis_off()
    ax.set_xlim(0, 1)
    ax.set_ylim(0, 1)
    ax.set_title(title, fontsize=style.TEXT + 2, fontweight="bold", loc="left", color=style.INK, x=0)
    for x, heading in zip(at, headings, strict=True):
        ax.text(x, 1.0, heading, fontsize=style.TEXT, fontweight="bold", color=style.INK, va="top")
    down = 1.0 - step
    for number, row in enumerate(rows):
        if down < floor:
            return down, number
        ax.plot([0, 1], [down + 0.12 * step] * 2, color="#c9cfd3", linewidth=0.6, clip_on=False)
        deepest = 1
        for place, (x, cell) in enumerate(zip(at, row, strict=True)):
            lines = textwrap.wrap(cell, widths[place]) if widths else [cell]
            deepest = max(deepest, len(lines))
            colour = COLOURS.get(cell, style.INK)
            ax.text(x, down, "\n".join(lines), fontsize=style.TEXT, color=colour, va="top", linespacing=1.15,
                    fontweight="bold" if cell in COLOURS else "normal")
        down -= step * (1 + 0.82 * (deepest - 1))
    return down, len(rows)
