"""The pages with the staff readings to look for: large type, in the order in which one walks."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from matplotlib.figure import Figure

from ..wording import word_fall, word_level, word_mm, word_number
from ..works.packer import packer
from ..works.setout import Peg, PegTable
from .figures import style
from .job import Job
from .page import LINE, page_of, paragraphs, shortened

LARGE = 15  # pt: read at arm's length, a staff in the other hand
ROWS = 24  # pegs on a page
MOST = 4 * ROWS
SURFACES = 5  # columns of readings that fit
NOTES = 3  # lines for pegs about which there is more to say; pegs.csv has all
NAME = 8  # characters of a name in large type
LEVELS = (1.0, 1.2, 1.8, 2.0)  # m: usual lengths of a level


def peg_pages(job: Job, pegs: PegTable, number: int, of: int) -> list[Figure]:
    """The pages with the readings, numbered from `number` of `of`."""
    walked = pegs.walked().pegs if len(pegs.pegs) <= 500 else pegs.pegs
    names = distinct([peg.point for peg in walked])
    found: list[Figure] = []
    for start in range(0, min(len(walked), MOST), ROWS):
        page = page_of(job, f"levels sheet, page {number + len(found)} of {of}")
        top = paragraphs(page, 0.938, _told(job, pegs)) if not start else 0.938
        part = walked[start:start + ROWS]
        _rows(page, top - 0.012, part, names)
        noted = [f"{names[peg.point]}: {note}." for peg in part if (note := pegs.note(peg))]
        paragraphs(page, 0.062 + LINE * len(noted[:NOTES]), noted[:NOTES])
        found.append(page)
    if len(walked) > MOST:
        found[-1].text(0.07, 0.05, f"{len(walked) - MOST} more pegs are in pegs.csv.", fontsize=style.TEXT, color=style.NOT_MET)
    for page in found:
        style.plain_text(page)
    return found


def page_count(pegs: PegTable) -> int:
    """How many pages the pegs take."""
    return -(-min(len(pegs.pegs), MOST) // ROWS)


def _told(job: Job, pegs: PegTable) -> list[str]:
    known, reading = pegs.backsight or (pegs.hpc, 0.0)
    steepest = max(job.finish.facets, key=lambda facet: facet.plane.fall).plane.fall
    blocks = ", ".join(f"{word_mm(packer(steepest, length), digits=1)} at {word_number(length)} m" for length in LEVELS)
    told = [
        f"Staff readings in m, in the order in which one walks. They hold with {word_level(reading)} read on {job.benchmark} "
        f"({word_level(known)}; plane of collimation {word_level(pegs.hpc)}). With another reading on {job.benchmark}, add the "
        f"difference (yours minus {word_level(reading)}) to every reading here, or print the sheet again. After moving the "
        "instrument, read a peg that is already set as well: it must read what this page then says.",
        f"Steepest fall {word_fall(steepest)}: the block under the lower end of a level is {blocks}."]
    height = job.told.get("setting_out", {}).get("string_mm")
    if height:
        first = pegs.pegs[0]
        down = ", ".join(f"{word_mm(first.finished + height / 1000 - level)} to the {name}"
                         for name, level in first.levels.items() if name != "finished")
        told.append(f"String {word_mm(height / 1000)} above the finished surface, where the staff reads that much less: measure "
                    f"down {word_mm(height / 1000)} to the finished surface, {down}.")
    return told


def _rows(page: Figure, top: float, pegs: Sequence[Peg], names: dict[str, str]) -> None:
    surfaces = list(pegs[0].readings)[::-1]  # in the order of the work: formation first
    if len(surfaces) > SURFACES:
        surfaces = [*surfaces[:SURFACES - 1], surfaces[-1]]
    foot = 0.065 + NOTES * LINE
    ax = page.add_axes((0.07, foot, 0.86, top - foot))
    ax.set_axis_off()
    ax.set_xlim(0, 1)
    ax.set_ylim(ROWS + 1.5, 0)
    at = [0.0, 0.185, *(0.40 + 0.6 * (number + 1) / len(surfaces) for number in range(len(surfaces)))]
    for x, heading in zip(at, ("peg", "how deep", *surfaces), strict=True):
        lines = textwrap.wrap(heading.replace("top of ", "top of\n") if x > 0.3 else heading, 12)
        ax.text(x, 1.35, "\n".join(lines), fontsize=style.TEXT + 2, fontweight="bold", color=style.INK, va="bottom",
                ha="left" if x < 0.3 else "right", linespacing=1.1)
    for row, peg in enumerate(pegs, start=2):
        ax.plot([0, 1], [row - 0.55] * 2, color="#c9cfd3", linewidth=0.8, clip_on=False)
        depth = "—" if peg.dig is None else f"fill {word_mm(peg.fill or 0.0)}" if peg.fill else f"dig {word_mm(peg.dig)}"
        cells = (names[peg.point], depth, *(word_level(peg.readings[name]).removesuffix(" m") for name in surfaces))
        for x, cell in zip(at, cells, strict=True):
            ax.text(x, row, cell, fontsize=LARGE, color=style.INK, va="center", ha="left" if x < 0.3 else "right",
                    fontweight="bold" if x == 0.0 else "normal")


def distinct(names: Sequence[str]) -> dict[str, str]:
    """Names that a column holds, cut in the middle where they must be, and no two alike; whole on the plan and in pegs.csv."""
    cut = {name: name if len(name) <= NAME else f"{name[:NAME - 4]}…{name[-3:]}" for name in names}
    return {name: short if list(cut.values()).count(short) == 1 else f"{shortened(name, NAME - 2)}{number}"
            for number, (name, short) in enumerate(cut.items(), start=1)}
