"""`python -m sitelevels JOB_FOLDER`: write a job's sheet, or the pads of a screed, and say what was found, without a notebook."""

from __future__ import annotations

import argparse
import io
import sys
from collections.abc import Iterator
from typing import TYPE_CHECKING

from .errors import SurveyError

if TYPE_CHECKING:
    from .design.verdicts import Verdicts
    from .workbook.job import Job


def _laid_out(job: Job) -> Iterator[str]:
    """What a job comes to, a line each, its sheet being written first."""
    from .workbook.sheet import CUTS, SHEET_FILES, save_sheet
    try:
        save_sheet(job)
    except SurveyError:
        yield from _as_laid(job)  # what was laid can be told without a sheet
        raise
    yield from (f"Doubtful: {doubt}" for doubt in job.doubts)
    yield job.reduced.closing
    yield from _verdicts(job.verdicts)
    out = job.outdoor
    parts = [out.tried(name) for name in ("dig", "fit", "materials", "units", "catchments", "soakaway")]
    yield from (part.sentence() for part in parts if part is not None)
    yield from (f"Not worked out: {fault}" for fault in out.faults)
    yield from (f"Doubtful: {doubt}" for doubt in out.doubts)
    yield from _as_laid(job)
    cuts = [] if out.tried("units") is None else [CUTS]
    yield f"Written: {', '.join([*SHEET_FILES, *cuts])} in {job.folder.name}/sheet."


def _as_laid(job: Job) -> Iterator[str]:
    """What was found of what was laid, where there is a book of it."""
    built = job.as_built
    if not built.there:
        return
    yield from (f"Not worked out: {fault}" for fault in built.faults)
    if built.ready:
        yield f"As laid: {built.check.sentence()}"
        yield from (f"Doubtful: {doubt}" for doubt in built.doubts)
        yield from _verdicts(built.check)
        if pond := built.tried("pond"):
            yield pond.sentence()
        yield from (f"To do, {row.where}: {row[2]} ({row.why})" for row in built.to_do.itertuples(index=True))


def _screeded(job: Job) -> Iterator[str]:
    """What a job with a screed comes to, a line each, its pads being written first."""
    from .workbook.pads_page import PAD_FILES, save_pads
    save_pads(job)
    found = job.screeding.found
    yield from (f"Doubtful: {doubt}" for doubt in (*job.doubts, *job.screeding.doubts, *found.doubts))
    yield from (one for one in (found.sentence(), found.gained, *found.quarrel, *found.cures) if one)
    yield from _verdicts(job.screeding.verdicts)
    yield f"Written: {', '.join(PAD_FILES)} in {job.folder.name}/sheet."


def _verdicts(verdicts: Verdicts) -> Iterator[str]:
    for row in verdicts.words.itertuples():
        yield f"{row.verdict:17} {row.demand} ({row.place}): {row.found} found, {row.required} required. {row.mend}".rstrip()
    yield verdicts.basis


def main(arguments: list[str] | None = None) -> int:
    """Write the sheet of a job folder; 0 if it was written, 1 if the job cannot be worked out (the reason is printed)."""
    parser = argparse.ArgumentParser(prog="python -m sitelevels", description="Write the sheet and tables of a job.")
    parser.add_argument("job_folder", help="a folder with brief.toml and survey.csv, e.g. data/pottery-yard")
    folder = parser.parse_args(arguments).job_folder
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")  # a screen that cannot show a letter shows a question mark
    import matplotlib
    matplotlib.use("Agg")  # no screen is needed
    from .workbook import open_job
    try:
        job = open_job(folder)
        for said in _screeded(job) if job.screeding.there else _laid_out(job):
            print(said)
    except SurveyError as error:
        print(*error.problems, sep="\n", file=sys.stderr)
        return 1
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
