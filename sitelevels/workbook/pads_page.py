"""The page to pour by: the plan of the screed with its pads, and what to measure down to at each."""

from __future__ import annotations

import re
from pathlib import Path

import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from ..wording import word_level, word_mm
from ..works.lift import spot_at
from ..works.screed_notes import too_steep
from .figures import style
from .figures.screed import screed
from .job import Job
from .page import as_pdf, fitting, page_of, paragraphs, plain_table
from .saving import table_text, write_all
from .sheet import sheet_folder

MOST, MORE = 22, 48  # pads on the first page, and on each of the next
LINES, PLACES, REST = 10, 3, "The rest is in notebook 7-screed."  # of text above the plan; places told in one sentence of it
STOP, UNREAD = "DO NOT POUR", "not read here, taken from the spots about it"
PAD_FILES = ("pads.csv", "pads.pdf")


def save_pads(job: Job) -> Path:
    """Write pads.pdf, to print, and pads.csv with all pads, into the job's folder `sheet`.

    Raises SurveyError where the screed cannot be worked out, or they cannot be written.
    """
    content = _csv(job).encode("utf-8-sig", errors="replace"), as_pdf(f"Pads: {job.name}", _pages(job))
    return write_all(sheet_folder(job), PAD_FILES, content)


def _csv(job: Job) -> str:
    found = job.screeding.found
    fits = STOP if not found.fits else "fits in level, steeper than asked for" if too_steep(found) else "fits by the readings"
    rows = [[point, *("" if one != one else word_level(one, digits=4).removesuffix(" m") for one in (x, y, *down)),
             fits, "" if spot_at(found.base, x, y) else UNREAD]
            for point, x, y, *down in job.screeding.pads.itertuples(index=False, name=None)]
    return table_text(["pad", "x (m)", "y (m)", "down to the base (m)", "down to the screed (m)", "thick (m)", "floor", "base"],
                      rows)


def _short(told: str) -> str:
    """The same with no more places of a list than fit a page."""
    listed = re.split(r", (?=\d+\.\d mm at )", told)
    after = re.search(r"(; |\. |\.$).*", listed[-1])
    return told if len(listed) <= PLACES else \
        f"{', '.join(listed[:PLACES])} and {len(listed) - PLACES} more places{after[0] if after else ''}"


def _pages(job: Job) -> list[Figure]:
    """The plan with the first pads, and pages of their own for the others."""
    rows = job.screeding.pads_words
    pages = [_page(job)]
    for start in range(MOST, len(rows), MORE):
        pages.append(page := page_of(job, f"pads of the screed, page {len(pages) + 1}", "set by"))
        _table(page.add_axes((0.07, 0.07, 0.86, 0.84)), rows.iloc[start:start + MORE])
        style.plain_text(page)
    return pages


def _table(ax: Axes, rows: pd.DataFrame) -> None:
    plain_table(ax, "What to measure down to", ["place, m" if name == "place" else str(name) for name in rows.columns],
                (0.0, 0.17, 0.40, 0.60, 0.82), [tuple(map(str, row)) for row in rows.itertuples(index=False, name=None)])


def _page(job: Job) -> Figure:
    found, rows = job.screeding.found, job.screeding.pads_words
    page = page_of(job, f"{'' if found.fits else f'{STOP}: '}pads of the screed", "set by")
    sentence = found.sentence() if found.fits else f"{STOP}: {found.sentence()}"
    told = fitting([sentence, *map(_short, (*found.cures, *found.quarrel, *found.doubts))], LINES, REST)
    bottom = paragraphs(page, 0.938, told)
    screed(found, brief=job.brief, pads=job.screeding.pads, ax=page.add_axes((0.10, 0.48, 0.83, bottom - 0.54), anchor="W"))
    table = page.add_axes((0.07, 0.07, 0.86, 0.34))
    on_top = job.told["screed"].get("on_top_mm")
    come = f"; {word_mm(on_top * 0.001)} of tile and bed come on top" if on_top else ""
    table.set_title(f"All in mm down from the line at {word_level(job.screeding.line)}{come}.", fontsize=style.TEXT, loc="right",
                    color=style.INK)
    _table(table, rows.head(MOST))
    if len(rows) > MOST:
        page.text(0.07, 0.065, f"{len(rows) - MOST} more pads are on the next page.", fontsize=style.TEXT, color=style.NOT_MET)
    style.plain_text(page)
    return page
