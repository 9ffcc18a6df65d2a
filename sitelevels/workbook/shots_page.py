"""The page to take outside before anything is read: the plan with numbered points, their places, a booking page to fill in."""

from __future__ import annotations

from pathlib import Path

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from ..design.shot_plan import MOST_ROWS, Shot, ShotPlan
from ..wording import word_exactly, word_level
from .figures import style
from .figures.sensitivity import shot_plan
from .job import Job
from .page import A4, as_pdf, fitted, page_of, paragraphs
from .saving import table_text, write_all
from .sheet import sheet_folder

HEADINGS = ("row", "point", "bs", "is", "fs", "rl", "x", "y", "feature", "wall", "remarks")  # as the level book is typed
_AT = (0.0, 0.05, 0.13, 0.225, 0.32, 0.415, 0.50, 0.565, 0.63, 0.74, 0.87, 1.0)
_ACROSS = 0.88  # of the page: how wide the booking is
SHOT_FILES = ("shots.csv", "shots.pdf")


def save_shot_plan(job: Job, plan: ShotPlan) -> Path:
    """Write shots.pdf, to print, and shots.csv, the same as a level book without readings, into the `job`'s folder `sheet`.

    `plan` is what `shot_plan` gives; places are written in m. Raises SurveyError where they cannot be written.
    """
    pages = [_page(job, plan, start) for start in range(0, len(plan.shots), MOST_ROWS)]
    contents = _csv(plan).encode("utf-8-sig", errors="replace"), as_pdf(f"Shot plan: {job.name}", pages)
    return write_all(sheet_folder(job), SHOT_FILES, contents)


def _csv(plan: ShotPlan) -> str:
    return table_text(HEADINGS[1:], [
        [shot.point, "", "", "", "", *("" if value is None else word_exactly(value, 1.0) for value in (shot.x, shot.y)),
         shot.feature, shot.wall, ""] for shot in plan.shots])


def _page(job: Job, plan: ShotPlan, start: int) -> Figure:
    page = page_of(job, f"shot plan, page {start // MOST_ROWS + 1} of {-(-len(plan.shots) // MOST_ROWS)}", "read by")
    page.text(0.07, 0.045, "Fill in the white cells; under rl the level of the benchmark, 10.000 m if nobody gave you one.",
              fontsize=style.TEXT, color=style.INK, va="bottom")
    told = plan.words if not start else ("Turn the instrument half round, and read the same points again.",)
    bottom = paragraphs(page, 0.938, told)
    if not start:
        shot_plan(plan, ax=page.add_axes((0.10, 0.575, 0.83, bottom - 0.625)))
    _booking(page.add_axes((0.07, 0.06, _ACROSS, 0.47)), plan.shots[start:start + MOST_ROWS])
    style.plain_text(page)
    return page


def _booking(ax: Axes, shots: tuple[Shot, ...]) -> None:
    """Lines to fill in by hand, in the order and under the headings of the level book."""
    ax.set_axis_off()
    ax.set_xlim(0, 1)
    ax.set_ylim(MOST_ROWS + 1, 0)
    for place in range(1, len(shots) + 2):
        ax.plot([0, 1], [place, place], color="#8a9399", linewidth=0.6, clip_on=False)
    for x in _AT:
        ax.plot([x, x], [0, len(shots) + 1], color="#c9cfd3", linewidth=0.6, clip_on=False)
    for x, heading in zip(_AT, HEADINGS, strict=False):
        unit = ", m" if heading in ("bs", "is", "fs", "rl", "x", "y") else ""
        ax.text(x + 0.006, 0.5, heading + unit, fontsize=style.TEXT, fontweight="bold", color=style.INK, va="center")
    for place, shot in enumerate(shots):
        plan = ["" if value is None else word_level(value, digits=2).removesuffix(" m") for value in (shot.x, shot.y)]
        told = (str(shot.number), shot.point, "", "", "", "", *plan, shot.feature, shot.wall)
        for x, end, words in zip(_AT, _AT[1:], told, strict=False):
            room = (end - x - 0.008) * _ACROSS * A4[0] * 72
            ax.text(x + 0.006, place + 1.5, fitted(words, room)[0], fontsize=style.TEXT, color=style.INK, va="center")
        for number, column in enumerate(("bs", "is", "fs"), start=2):
            if column != shot.column:  # only the box that is to be filled in is white
                ax.fill_between([_AT[number], _AT[number + 1]], place + 1, place + 2, color="#e6e9eb", linewidth=0)
