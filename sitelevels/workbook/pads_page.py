"""The page to pour by: the plan of the screed with its pads, and what to measure down to at each."""

from __future__ import annotations

from pathlib import Path

from ..wording import word_level
from .figures import style
from .figures.screed import screed
from .job import Job
from .page import as_pdf, fitting, page_of, paragraphs, plain_table
from .saving import table_text, write_all
from .sheet import sheet_folder

MOST = 22  # pads on the page; pads.csv has all of them
PAD_FILES = ("pads.csv", "pads.pdf")


def save_pads(job: Job) -> Path:
    """Write pads.pdf, to print, and pads.csv with all pads, into the job's folder `sheet`.

    Raises SurveyError where the screed cannot be worked out, or they cannot be written.
    """
    content = _csv(job).encode("utf-8-sig", errors="replace"), _pdf(job)
    return write_all(sheet_folder(job), PAD_FILES, content)


def _csv(job: Job) -> str:
    rows = [[point, *("" if value != value else word_level(value, digits=4).removesuffix(" m") for value in values)]
            for point, *values in job.screeding.pads.itertuples(index=False, name=None)]
    return table_text(["pad", "x (m)", "y (m)", "down to the base (m)", "down to the screed (m)", "thick (m)"], rows)


def _pdf(job: Job) -> bytes:
    found, rows = job.screeding.found, job.screeding.pads_words
    page = page_of(job, "pads of the screed", "set by")
    told = fitting([found.sentence(), *found.quarrel, *found.doubts], 12, "The rest is in notebook 7-screed.")
    bottom = paragraphs(page, 0.938, told)
    screed(found, brief=job.brief, pads=job.screeding.pads, ax=page.add_axes((0.10, 0.48, 0.83, bottom - 0.54), anchor="W"))
    table = page.add_axes((0.07, 0.07, 0.86, 0.34))
    plain_table(table, "What to measure down to", list(rows.columns), (0.0, 0.17, 0.40, 0.60, 0.82),
                [tuple(map(str, row)) for row in rows.head(MOST).itertuples(index=False, name=None)])
    if len(rows) > MOST:
        page.text(0.07, 0.065, f"{len(rows) - MOST} more pads are in pads.csv.", fontsize=style.TEXT, color=style.NOT_MET)
    style.plain_text(page)
    return as_pdf(f"Pads: {job.name}", [page])
