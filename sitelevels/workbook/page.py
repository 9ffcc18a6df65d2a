"""What the pages of the sheet are made of: a page with its head, paragraphs, plain tables; nothing is wider than its place."""

from __future__ import annotations

import io
import re
from collections.abc import Iterable, Sequence
from functools import lru_cache
from itertools import accumulate, takewhile

from matplotlib.axes import Axes
from matplotlib.backends.backend_pdf import PdfPages
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties
from matplotlib.textpath import text_to_path

from .figures import style
from .job import Job

A4 = (8.27, 11.69)  # inches
TALL = A4[1] * 72  # pt
LINE = 0.0165  # height of a line of text as a share of the page
LEFT, ACROSS = 0.07, 0.86  # of the page: where the text begins, and how wide it is
WIDE = ACROSS * A4[0] * 72 - 2  # pt
NEXT = 11.0  # pt: from one line of a cell to the next
DEEPEST = 7  # lines in a cell
COLOURS = {"met": style.MET, "too close to call": style.TOO_CLOSE, "not met": style.NOT_MET,
           "met, with nothing in hand": style.MET}


@lru_cache(maxsize=4096)
def _letter(letter: str, bold: bool) -> float:
    """Width of a letter at 100 pt."""
    font = FontProperties(size=100, weight="bold" if bold else "normal")
    shown = letter if style.has_glyph(letter) else style.NO_GLYPH
    return float(text_to_path.get_text_width_height_descent(shown, font, False)[0])


def wide(words: str, size: float = style.TEXT, *, bold: bool = False) -> float:
    """How wide words come out, in pt."""
    return sum(_letter(letter, bold) for letter in words) * size / 100


def broken(words: str, width: float = WIDE, size: float = style.TEXT, *, bold: bool = False) -> list[str]:
    """Lines no wider than so many pt, broken between words; a word that is wider is cut."""
    lines: list[str] = []
    for word in re.findall(r"(?:[^ \t\n\r\f\v]|(?<=\d) (?=(?:mm|m|t|kg|l)\b))+", words):  # a number keeps its unit
        if lines and wide(f"{lines[-1]} {word}", size, bold=bold) <= width:
            lines[-1] += f" {word}"
            continue
        while len(word) > 1:
            reached = accumulate(_letter(letter, bold) * size / 100 for letter in word)
            fits = max(sum(1 for _ in takewhile(width.__ge__, reached)), 1)
            if fits == len(word):
                break
            lines.append(word[:fits])
            word = word[fits:]
        lines.append(word)
    return lines or [""]


def fitted(words: str, width: float, size: float = style.TEXT, *, most: int = 1, bold: bool = False) -> list[str]:
    """The same on so many lines at most, the last of which then ends with …"""
    lines = broken(words, width, size, bold=bold)
    if len(lines) <= most:
        return lines
    last = lines[most - 1]
    while last and wide(f"{last}…", size, bold=bold) > width:
        last = last[:-1]
    return [*lines[:most - 1], f"{last}…"]


def page_of(job: Job, named: str, by: str = "set out by") -> Figure:
    """An empty page with the job's name, what the page is, and a line to sign."""
    page = Figure(figsize=A4)
    made_up = " (invented)" if job.invented else ""
    room = WIDE - wide(named) - wide(made_up, 14, bold=True) - 12
    page.text(LEFT, 0.965, fitted(job.name, room, 14, bold=True)[0] + made_up, fontsize=14, fontweight="bold",
              color=style.INK, va="top")
    page.text(LEFT + ACROSS, 0.965, named, fontsize=style.TEXT, color=style.INK, ha="right", va="top")
    page.text(LEFT + ACROSS, 0.035, f"date ____________   {by} ____________________", fontsize=style.TEXT, color=style.INK,
              ha="right")
    return page


def as_pdf(title: str, pages: Iterable[Figure]) -> bytes:
    """The pages as a file that is the same whenever it is written."""
    buffer = io.BytesIO()
    with PdfPages(buffer, metadata={"Title": title, "CreationDate": None}) as pdf:
        for page in pages:
            pdf.savefig(page)
    return buffer.getvalue()


def paragraphs(page: Figure, top: float, told: Sequence[str]) -> float:
    """Write them from `top` down; where they end is given back."""
    lines = [line for paragraph in told for line in broken(paragraph)]
    page.text(LEFT, top, "\n".join(lines), fontsize=style.TEXT, color=style.INK, va="top", linespacing=1.4)
    return top - LINE * len(lines)


def fitting(told: Sequence[str], room: int, rest: str) -> list[str]:
    """As many of the paragraphs as there are lines for, whole sentences of the last; `rest` says where the others are."""
    if sum(len(broken(one)) for one in told) <= room:
        return list(told)
    kept: list[str] = []
    room -= len(broken(rest))
    for one in told:
        if len(broken(one)) > room:
            sentences = re.split(r"(?<=\.) ", one)
            part = next((" ".join(sentences[:count]) for count in range(len(sentences) - 1, 0, -1)
                         if len(broken(" ".join(sentences[:count]))) <= room), None)
            return [*kept, *([part] if part else []), rest]
        kept.append(one)
        room -= len(broken(one))
    return [*kept, rest]


def plain_table(ax: Axes, title: str, headings: Sequence[str], at: Sequence[float], rows: Sequence[Sequence[str]], *,
                step: float = 12.3, floor: float = 0.0) -> tuple[float, int]:
    """A plain table from the top of the axes; how far down it came, and how many rows there was room for above `floor`.

    `at` are the places of the columns as shares of the width, `step` is the height of a row in pt; cells are broken to fit.
    """
    ax.set_axis_off()
    ax.set_xlim(0, 1)
    ax.set_ylim(0, 1)
    ax.set_title(title, fontsize=style.TEXT + 2, fontweight="bold", loc="left", color=style.INK, x=0)
    place = ax.get_position(original=True)
    across, high = place.width * A4[0] * 72, place.height * TALL
    widths = [(end - x) * across - 4 for x, end in zip(at, [*at[1:], 1.0 + 4 / across], strict=True)]
    for x, heading in zip(at, headings, strict=True):
        ax.text(x, 1.0, heading, fontsize=style.TEXT, fontweight="bold", color=style.INK, va="top")
    down = 1.0 - 1.05 * step / high
    for number, row in enumerate(rows):
        cells = [fitted(cell, width, most=DEEPEST, bold=cell in COLOURS) for cell, width in zip(row, widths, strict=True)]
        lower = down - (step + NEXT * (max(map(len, cells)) - 1)) / high
        if lower < floor - 1e-9:
            return down, number
        ax.plot([0, 1], [down + 0.12 * step / high] * 2, color="#c9cfd3", linewidth=0.6, clip_on=False)
        for x, cell, lines in zip(at, row, cells, strict=True):
            ax.text(x, down, "\n".join(lines), fontsize=style.TEXT, color=COLOURS.get(cell, style.INK), va="top",
                    linespacing=1.02, fontweight="bold" if cell in COLOURS else "normal")
        down = lower
    return down, len(rows)
