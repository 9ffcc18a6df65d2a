"""The page to take outside before anything is read: the plan with numbered points, their places, a booking page to fill in."""

from __future__ import annotations

import io
from pathlib import Path

from matplotlib.axes import Axes
from matplotlib.backends.backend_pdf import PdfPages
from matplotlib.figure import Figure

from ..design.shot_plan import MOST_ROWS, Shot, ShotPlan
from ..survey.cells import csv_line, safe
from ..wording import word_exactly, word_level
from .figures import style
from .figures.sensitivity import shot_plan
from .job import Job
from .page import page_of, paragraphs, shortened
from .saving import write_whole
from .sheet import sheet_folder

HEADINGS = ("row", "point", "bs", "is", "fs", "rl", "x", "y", "feature", "wall", "remarks")  # as the level book is typed
_AT = (0.0, 0.05, 0.13, 0.225, 0.32, 0.415, 0.50, 0.565, 0.63, 0.74, 0.87, 1.0)
SHOT_FILES = ("shots.csv", "shots.pdf")


def save_shot_plan(job: Job, plan: ShotPlan) -> Path:
    """Write shots.pdf, to print, and shots.csv, the same as a level book without readings, into the job's folder `sheet`.

    Raises SurveyError where they cannot be written.
    """
    folder = sheet_folder(job)
    for name, content in zip(SHOT_FILES, (_csv(plan).encode("utf-8-sig", errors="replace"), _pdf(job, plan)), strict=True):
        write_whole(folder / name, content)
    return folder


def _csv(plan: ShotPlan) -> str:
    lines = [csv_line(HEADINGS[1:])]
    for shot in plan.shots:
        place = ["" if value is None else word_exactly(value, 1.0) for value in (shot.x, shot.y)]
        lines.append(csv_line([safe(shot.point), "", "", "", "", *place, shot.feature, safe(shot.wall), ""]))
    return "\n".join(lines) + "\n"


def _pdf(job: Job, plan: ShotPlan) -> bytes:
    buffer = io.BytesIO()
    with PdfPages(buffer, metadata={"Title": f"Shot plan: {job.name}", "CreationDate": None}) as pages:
        for start in range(0, len(plan.shots), MOST_ROWS):
            pages.savefig(_page(job, plan, start))
    return buffer.getvalue()


def _page(job: Job, plan: ShotPlan, start: int) -> Figure:
    page = page_of(job, f"shot plan, page {start // MOST_ROWS + 1} of {-(-len(plan.shots) // MOST_ROWS)}", "read by")
    page.text(0.07, 0.045, "Fill in the white cells; under rl the level of the benchmark, 10.000 m if nobody gave you one.",
              fontsize=style.TEXT, color=style.INK, va="bottom")
    told = plan.words if not start else ("Turn the instrument half round, and read the same points again.",)
    bottom = paragraphs(page, 0.938, told)
    if not start:
        ax = page.add_axes((0.10, 0.575, 0.83, bottom - 0.625))
        shot_plan(plan, ax=ax)
    rows = page.add_axes((0.07, 0.06, 0.88, 0.47))
    _booking(rows, plan.shots[start:start + MOST_ROWS])
    style.plain_text(page)
    return page


def _booking(ax: Axes, shots: tuple[Shot, ...]) -> None:
    """Lines to fill in by hand, in the order and under the headings of the level book."""
    ax.set_axis_off()
    ax.set_xlim(0, 1)
    ax.set_ylim(MOST_ROWS + 1, 0)
    for place in (*range(1, len(shots) + 2),):
        ax.plot([0, 1], [place, place], color="#8a9399", linewidth=0.6, clip_on=False)
    for x in _AT:
        ax.plot([x, x], [0, len(shots) + 1], color="#c9cfd3", linewidth=0.6, clip_on=False)
    for x, heading in zip(_AT, HEADINGS, strict=False):
        unit = ", m" if heading in ("bs", "is", "fs", "rl", "x", "y") else ""
        ax.text(x + 0.006, 0.5, heading + unit, fontsize=style.TEXT, fontweight="bold", color=style.INK, va="center")
    for place, shot in enumerate(shots):
        plan = ["" if value is None else word_level(value, digits=2).removesuffix(" m") for value in (shot.x, shot.y)]
        told = (str(shot.number), shortened(shot.point, 7), "", "", "", "", *plan, shot.feature, shortened(shot.wall, 12))
        for x, words in zip(_AT, told, strict=False):
            ax.text(x + 0.006, place + 1.5, words, fontsize=style.TEXT, color=style.INK, va="center")
        for number, column in enumerate(("bs", "is", "fs"), start=2):
            if column != shot.column:  # only the box that is to be filled in is white
                ax.fill_between([_AT[number], _AT[number + 1]], place + 1, place + 2, color="#e6e9eb", linewidth=0)
