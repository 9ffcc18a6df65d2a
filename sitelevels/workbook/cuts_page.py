"""The page with the units as they lie and the sizes to cut, to print beside the sheet."""

from __future__ import annotations

from matplotlib.figure import Figure

from ..errors import SurveyError
from .figures import style
from .figures.units import units
from .job import Job
from .page import fitting, page_of, paragraphs, plain_table

MOST = 16  # sizes in the table


def cuts_page(job: Job) -> Figure:
    """The page. Raises SurveyError where no units are laid out."""
    layout, cuts = job.outdoor.units, job.outdoor.cuts
    if layout is None or cuts is None:
        raise SurveyError("the size of the units is not given", remedy="Give it in notebook 4-cut-and-fill.")
    page = page_of(job, "units to lay and to cut", "cut by")
    check = job.outdoor.tried("post_check")
    posts = [] if check is None else [check.sentence()]
    told = fitting([layout.sentence(), *posts], 11, "The rest is in notebook 4-cut-and-fill.")
    bottom = paragraphs(page, 0.938, [*told, "Cut wet and wear a mask that fits: the dust harms the lungs."])
    picture = page.add_axes((0.10, 0.44, 0.83, bottom - 0.50), anchor="W")  # what stands above it runs to the right
    units(layout, ax=picture, brief=job.brief)
    rows = [(f"{length} × {width}", str(shape), str(count), str(sliver))
            for length, width, shape, count, sliver in cuts.itertuples(index=False, name=None)]
    ax = page.add_axes((0.07, 0.07, 0.86, 0.30))
    plain_table(ax, "Sizes to cut", ("length × width", "shape", "how many", "sliver"), (0.0, 0.35, 0.62, 0.80), rows[:MOST])
    if len(rows) > MOST:
        page.text(0.07, 0.065, f"{len(rows) - MOST} more sizes are in cuts.csv.", fontsize=style.TEXT, color=style.NOT_MET)
    style.plain_text(page)
    return page
