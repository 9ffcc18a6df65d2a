"""The sheet a person takes outside: A4, at most two pages; and the tables beside it."""

from __future__ import annotations

import io
import textwrap
from collections.abc import Sequence
from pathlib import Path

import pandas as pd
from matplotlib.axes import Axes
from matplotlib.backends.backend_pdf import PdfPages
from matplotlib.figure import Figure

from ..design.published import CAUTIONS
from ..errors import SurveyError
from ..survey.cells import safe
from ..wording import word_level, word_mm
from ..works.setout import Peg, PegTable
from .figures import style
from .figures.falls import draw_falls
from .figures.ground import mark_points
from .job import Job
from .saving import write_whole

SHEET_FILES = ("levels.csv", "pegs.csv", "sheet.pdf", "verdicts.csv")
A4 = (8.27, 11.69)  # inches
ROWS = 50  # pegs in one column of the second page
MOST = 2 * ROWS
LINE = 0.047  # height of a line of text below the verdicts, as a share of their part of the page
NEEDED = "Need: how wide a margin must be to be sure; errors of survey, setting out and laying are counted."
NAME = 10  # characters of a name that a column holds
_COLOURS = {"met": style.MET, "too close to call": style.TOO_CLOSE, "not met": style.NOT_MET}


def save_sheet(job: Job, *, backsight: float | None = None) -> Path:
    """Write sheet.pdf, pegs.csv, verdicts.csv and levels.csv into the job's folder `sheet`.

    Parameters
    ----------
    job : Job
    backsight : float, optional
        Today's reading on the benchmark in m; the one in the brief if not given.

    Returns
    -------
    Path
        The folder written to; SHEET_FILES names what is in it.

    Raises
    ------
    SurveyError
        Whatever keeps the job from being worked out or the files from being written; a folder `sheet` that leads out of the
        job's own.
    """
    pegs = job.pegs(backsight)
    contents = (_csv(job.reduced.table), _csv(pegs.table), _pdf(job, pegs), _csv(job.verdicts.words))
    folder = sheet_folder(job)
    for name, content in zip(SHEET_FILES, contents, strict=True):
        write_whole(folder / name, content)
    return folder


def sheet_folder(job: Job) -> Path:
    """The folder `sheet` of a job, made if it is not there. Raises SurveyError where it leads out of the job's own, or cannot."""
    folder = job.folder / "sheet"
    if folder.is_symlink() or (folder.exists() and not folder.is_dir()):
        raise SurveyError(f"{job.folder.name}/sheet is not a folder of the job's own",
                          rule="Nothing is written outside a job folder.", remedy="Remove it and write the sheet again.")
    try:
        folder.mkdir(exist_ok=True)
    except OSError as error:
        raise SurveyError(f"the folder sheet cannot be made in {job.folder.name}: {error.strerror}",
                          remedy="Look whether the job's folder is still there and can be written to.") from None
    return folder


def _csv(table: pd.DataFrame) -> bytes:
    """A table as CSV, levels to a tenth of a millimetre; a text that a spreadsheet would take for a sum is quoted with '."""
    guarded = table.map(lambda cell: safe(cell) if isinstance(cell, str) else cell)
    return guarded.to_csv(index=False, float_format="%.4f").encode("utf-8-sig")  # the mark lets a spreadsheet see m³ and Σ


def _pdf(job: Job, pegs: PegTable) -> bytes:
    buffer = io.BytesIO()
    with PdfPages(buffer, metadata={"Title": f"Levels sheet: {job.name}", "CreationDate": None}) as pages:
        pages.savefig(_first_page(job, pegs))
        pages.savefig(_second_page(job, pegs))
    return buffer.getvalue()


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


def _distinct(names: Sequence[str]) -> dict[str, str]:
    """Names that a column holds, cut in the middle where they must be, and no two alike; whole on the plan and in pegs.csv."""
    cut = {name: name if len(name) <= NAME else f"{name[:NAME - 4]}…{name[-3:]}" for name in names}
    return {name: short if list(cut.values()).count(short) == 1 else f"{name[:NAME - 4]}…{number}"
            for number, (name, short) in enumerate(cut.items(), start=1)}


def paragraphs(page: Figure, top: float, told: Sequence[str]) -> float:
    """Write them from `top` down; where they end is given back."""
    lines = [line for paragraph in told for line in textwrap.wrap(paragraph, 105)]
    page.text(0.07, top, "\n".join(lines), fontsize=style.TEXT, color=style.INK, va="top", linespacing=1.4)
    return top - 0.0165 * len(lines)


def _first_page(job: Job, pegs: PegTable) -> Figure:
    page = page_of(job, "levels sheet, page 1 of 2")
    layers = ", ".join(f"{word_mm(layer.thickness)} {layer.name}" for layer in job.brief.layers)
    top = paragraphs(page, 0.938, [
        f"Finished surface: {job.finish_words}", f"Build-up {word_mm(job.brief.build_up)}: {layers or 'none'}."])
    failed = job.verdicts.failed
    if failed:
        page.text(0.07, top, f"THIS SURFACE DOES NOT DO WHAT WAS ASKED: {failed} demand(s) not met. Do not dig to it.",
                  fontsize=style.TEXT + 1, fontweight="bold", color=style.NOT_MET, va="top")
    plan = page.add_axes((0.10, 0.515, 0.83, 0.345))
    _peg_plan(plan, job, pegs)
    verdicts = page.add_axes((0.07, 0.095, 0.86, 0.33))
    words = job.verdicts.words.sort_values("verdict", key=_news, kind="stable")  # worst news first
    if "give or take" in words:  # beside what is in hand, what would be needed to be sure
        words["margin"] = [f"{margin.partition(' ')[0]} of {give}" for margin, give in
                           zip(words["margin"], words["give or take"], strict=True)]
    rows = [tuple(row) for row in words[["demand", "place", "required", "found", "margin", "verdict"]].itertuples(index=False)]
    headings = ("demand", "where closest", "required", "found", "in hand, need" if job.counted else "in hand", "verdict")
    bottom, shown = _table(verdicts, "Does it do what was asked?", headings, (0.0, 0.145, 0.305, 0.55, 0.735, 0.90), rows,
                            widths=(13, 15, 24, 18, 17, 10), floor=0.30)
    left = [f"{len(rows) - shown} more demands are in verdicts.csv."] if shown < len(rows) else []
    unsure = [f"{title} ({how})" for title, how in job.verdicts.unsure]
    told = [*(f"LOOK AGAIN: {doubt}" for doubt in job.doubts), *left, job.earthworks.sentence(), job.reduced.closing,
            *(f"{'What would mend the design' if verdict == 'not met' else 'To be sure'}, {demand} ({place}): {mend}"
              for demand, place, verdict, mend in words[["demand", "place", "verdict", "mend"]].itertuples(index=False) if mend),
            NEEDED if job.counted else job.verdicts.basis,
            *([f"Usual limits that no document seen bears out: {', '.join(unsure)}."] if unsure else [])]
    lines = [part for line in told for part in textwrap.wrap(line, 105)]
    room = int((bottom + 0.12) / LINE)
    if len(lines) > room:
        lines = [*lines[:room - 1], "The rest is in verdicts.csv and in the notebooks."]
    verdicts.text(0, bottom - 0.03, "\n".join(lines), va="top", fontsize=style.TEXT, color=style.INK, linespacing=1.4)
    style.plain_text(page)
    return page


def _news(verdicts: pd.Series) -> pd.Series:
    """Order of verdicts, the worst first."""
    return -verdicts.map(list(_COLOURS).index)


def _peg_plan(ax: Axes, job: Job, pegs: PegTable) -> None:
    style.axes(ax, A4)
    style.plan_axes(ax, job.brief)
    mark_points(ax, job, below=True)
    for peg in pegs.pegs[:MOST]:
        ax.plot([peg.x], [peg.y], "+", color=style.INK, markersize=6)
        ax.annotate(peg.point, (peg.x, peg.y), xytext=(3, -4), textcoords="offset points", fontsize=style.TEXT,
                    va="top", color=style.INK, zorder=6, bbox=style.BACKED)
    draw_falls(ax, job.finish)
    ax.set_title("Where are the pegs, and which way does the finish fall?", fontsize=style.TEXT + 2, fontweight="bold",
                 loc="left", color=style.INK)


def _second_page(job: Job, pegs: PegTable) -> Figure:
    page = page_of(job, "levels sheet, page 2 of 2")
    known, reading = pegs.backsight or (pegs.hpc, 0.0)
    paragraphs(page, 0.938, [
        f"Levels, readings, x and y in m. Look for these readings with {word_level(reading)} read on {job.benchmark} "
        f"({word_level(known)}; plane of collimation {word_level(pegs.hpc)}). If today's reading on {job.benchmark} is another, "
        f"add the difference (yours minus {word_level(reading)}) to every reading below, or print the sheet again."])
    shown = pegs.pegs[:MOST]
    columns = [shown[:ROWS], shown[ROWS:]] if len(shown) > ROWS else [shown]
    for number, part in enumerate(columns):
        width = 0.86 if len(columns) == 1 else 0.415
        ax = page.add_axes((0.07 + number * 0.445, 0.235, width, 0.63))
        _peg_rows(ax, part, wide=len(columns) == 1)
    if len(pegs.pegs) > MOST:
        page.text(0.07, 0.232, f"{len(pegs.pegs) - MOST} more pegs are in pegs.csv.", fontsize=style.TEXT, color=style.NOT_MET,
                  va="top")
    cautions = "\n".join("\n".join(textwrap.wrap(f"• {caution}", 108, subsequent_indent="   ")) for caution in CAUTIONS)
    page.text(0.07, 0.213, "Before you dig", fontsize=style.TEXT + 2, fontweight="bold", color=style.INK, va="top")
    page.text(0.07, 0.195, cautions, fontsize=style.TEXT, color=style.INK, va="top", linespacing=1.25)
    style.plain_text(page)
    return page


def _peg_rows(ax: Axes, pegs: Sequence[Peg], *, wide: bool) -> None:
    rows = []
    names = _distinct([peg.point for peg in pegs])
    for peg in pegs:
        depth = "—" if peg.dig is None else f"fill {word_mm(peg.fill)}" if peg.fill else f"dig {word_mm(peg.dig)}"
        levels = [word_level(value).removesuffix(" m") for value in (peg.finished, peg.formation)]
        now = "—" if peg.existing is None else word_level(peg.existing).removesuffix(" m")
        reads = [word_level(value).removesuffix(" m") for value in (peg.reading_formation, peg.reading_finished)]
        name = names[peg.point]
        plan = [word_level(value, digits=2).removesuffix(" m") for value in (peg.x, peg.y)]
        rows.append((name, *plan, now, *levels, depth, *reads) if wide else (name, depth, *reads))
    headings: Sequence[str] = ("peg", "how deep", "formation", "finished")
    at: Sequence[float] = (0.0, 0.25, 0.5, 0.81)
    if wide:
        headings = ("peg", "x", "y", "ground", "finished", "formation", "how deep", "READ formation", "READ finished")
        at = (0.0, 0.115, 0.185, 0.255, 0.345, 0.445, 0.56, 0.69, 0.86)
    _table(ax, "What must the staff read?" if wide else "Readings on the staff", headings, at, rows, step=1 / (ROWS + 2))


def _table(ax: Axes, title: str, headings: Sequence[str], at: Sequence[float], rows: Sequence[Sequence[str]], *,
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
            colour = _COLOURS.get(cell, style.INK)
            ax.text(x, down, "\n".join(lines), fontsize=style.TEXT, color=colour, va="top", linespacing=1.15,
                    fontweight="bold" if cell in _COLOURS else "normal")
        down -= step * (1 + 0.82 * (deepest - 1))
    return down, len(rows)
