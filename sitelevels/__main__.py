"""`python -m sitelevels JOB_FOLDER`: write a job's sheet and tables, and say what was found, without a notebook."""

from __future__ import annotations

import argparse
import io
import sys

from .errors import SurveyError


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
    from .workbook import open_job, save_sheet
    from .workbook.sheet import CUTS, SHEET_FILES
    try:
        job = open_job(folder)
        save_sheet(job)
        for doubt in job.doubts:
            print(f"Doubtful: {doubt}")
        print(job.reduced.closing)
        for row in job.verdicts.words.itertuples():
            said = f"{row.demand} ({row.place}): {row.found} found, {row.required} required. {row.mend}"
            print(f"{row.verdict:17} {said}".rstrip())
        print(job.verdicts.basis)
        out = job.outdoor
        parts = [out.tried(name) for name in ("dig", "fit", "materials", "units", "catchments", "soakaway")]
        print(*(part.sentence() for part in parts if part is not None), sep="\n")
        for said in (*(f"Not worked out: {fault}" for fault in out.faults), *(f"Doubtful: {doubt}" for doubt in out.doubts)):
            print(said)
        cuts = [] if out.tried("units") is None else [CUTS]
        print(f"Written: {', '.join([*SHEET_FILES, *cuts])} in {job.folder.name}/sheet.")
    except SurveyError as error:
        print(*error.problems, sep="\n", file=sys.stderr)
        return 1
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
