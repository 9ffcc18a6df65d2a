"""`python -m sitelevels JOB_FOLDER`: write a job's sheet, or the pads of a screed, and say what was found, without a notebook.

`python -m sitelevels --class-set FOLDER` writes the pages of a class set instead.
"""

from __future__ import annotations

import argparse
import io
import sys
from collections.abc import Iterator
from contextlib import suppress
from typing import TYPE_CHECKING, Any

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
        with suppress(SurveyError):  # all that can be told without a sheet
            yield from _judged(job)
        yield from _as_laid(job)
        raise
    yield from _judged(job)
    yield from _as_laid(job)
    cuts = [] if job.outdoor.tried("units") is None else [CUTS]
    yield f"Written: {', '.join([*SHEET_FILES, *cuts])} in {job.folder.name}/sheet."


def _judged(job: Job) -> Iterator[str]:
    """The checks, the verdicts and the quantities."""
    yield from (f"Doubtful: {doubt}" for doubt in job.doubts)
    yield job.reduced.closing
    yield from _verdicts(job.verdicts)
    out = job.outdoor
    parts = [out.tried(name) for name in ("dig", "fit", "materials", "units", "catchments", "soakaway")]
    yield from (part.sentence() for part in parts if part is not None)
    yield from (f"Not worked out: {fault}" for fault in out.faults)
    yield from (f"Doubtful: {doubt}" for doubt in out.doubts)


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


def _class_set(folder: str, asked: dict[str, Any]) -> Iterator[str]:
    """The pages of a class set, and what they are."""
    from .workbook.class_set import CLASS_FILES, save_class_set
    save_class_set(folder, **asked)
    yield f"Written: {', '.join(CLASS_FILES)} in {folder}."
    yield "The same seed and choices write the same pages again. Keep answers.pdf apart."


def _number(text: str) -> int:
    if not (text.isascii() and text.isdecimal() and len(text) < 10):
        raise argparse.ArgumentTypeError(f"{text[:20]!r} is not a whole number of up to nine digits.")
    return int(text)


def _arguments(arguments: list[str] | None) -> tuple[str | None, str | None, dict[str, Any]]:
    """The job folder or the folder of the class set, and what is asked of the set."""
    parser = argparse.ArgumentParser(prog="python -m sitelevels", description="Write the sheet of a job, or a class set.",
                                     allow_abbrev=False)
    parser.add_argument("job_folder", nargs="?", help="a folder with brief.toml and survey.csv, e.g. data/pottery-yard")
    group = parser.add_argument_group("class set", "an exercise page for each learner, the answers, and the exercise outdoors")
    group.add_argument("--class-set", metavar="FOLDER", help="where to write exercises.pdf, answers.pdf and outdoor.pdf")
    group.add_argument("--seed", type=_number, help="a whole number, the same for the same pages; 1 if not given")
    group.add_argument("--learners", type=_number, help="how many pages; 12 if not given")
    group.add_argument("--kind", action="append", dest="kinds", help='e.g. "change points"; again for more, in turn')
    group.add_argument("--difficulty", help="easy, usual or hard")
    group.add_argument("--slip", help='none, perhaps, any, or a kind of slip, e.g. "two digits swapped"')
    given = {name: value for name, value in vars(parser.parse_args(arguments)).items() if value is not None}
    job, place = given.pop("job_folder", None), given.pop("class_set", None)
    if (job is None) == (not place):
        parser.error("give either a job_folder, or --class-set with a folder to write into.")
    if given and not place:
        first = next(iter(given))
        parser.error(f"--{'kind' if first == 'kinds' else first} goes with --class-set only.")
    if given.get("slip") == "none":
        del given["slip"]
    return job, place, {"seed": 1} | given


def main(arguments: list[str] | None = None) -> int:
    """Write the sheet of a job folder, or a class set; 0 if it was written, 1 if it cannot be (the reason is printed)."""
    folder, place, asked = _arguments(arguments)
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")  # a screen that cannot show a letter shows a question mark
    import matplotlib
    matplotlib.use("Agg")  # no screen is needed
    from .workbook import open_job
    try:
        if folder is None:
            said = _class_set(str(place), asked)
        else:
            job = open_job(folder)
            said = _screeded(job) if job.screeding.there else _laid_out(job)
        for line in said:
            print(line)
    except SurveyError as error:
        print(*error.problems, sep="\n", file=sys.stderr)
        return 1
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
