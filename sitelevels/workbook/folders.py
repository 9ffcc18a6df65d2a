"""The folder of jobs: which there are, which is chosen."""

from __future__ import annotations

import os
from pathlib import Path

from ..errors import SurveyError
from .job import DEMONSTRATION, FOLDER_NAME, NAMES, SCREEDED, Job, open_job
from .saving import write_whole


def data_folder() -> Path:
    """The folder with the jobs: `data` here or in a folder above. Raises SurveyError if there is none. No numbers."""
    here = Path.cwd()
    for place in (here, *here.parents):
        if (place / "data" / DEMONSTRATION).is_dir():
            return place / "data"
    raise SurveyError("the folder 'data' with the jobs was not found", remedy="Start JupyterLab from the workbook's own folder.")


def demonstration() -> Job:
    """The demonstration job, whichever was chosen. Raises SurveyError where it is not there or cannot be read. No numbers."""
    return open_job(data_folder() / DEMONSTRATION)


def job_folder(name: str) -> Path:
    """The folder of a job by its plain name. Raises SurveyError for a name that could lead elsewhere."""
    if not FOLDER_NAME.fullmatch(name):
        raise SurveyError(f"{name!r} cannot be the name of a job", rule=NAMES)
    return data_folder() / name


def job_names() -> list[str]:
    """Names of the job folders, in order of the alphabet. Raises SurveyError without a folder `data`. No numbers."""
    return sorted(place.parent.name for place in data_folder().glob("*/brief.toml"))


def choose_job(name: str) -> Job:
    """Open the job called `name` and remember it for the other notebooks. No numbers.

    Raises SurveyError where there is no such job in the folder `data`, or it cannot be read.
    """
    if name not in job_names():
        raise SurveyError(f"there is no job {name!r} in the folder data", rule=f"Jobs there are {', '.join(job_names())}.")
    job = open_job(data_folder() / name)
    write_whole(data_folder() / ".chosen", name.encode())
    return job


def screed_job() -> Job:
    """The job chosen in notebook 0-start where it asks for a screed; else the demonstration of one. No numbers.

    Raises SurveyError where that job cannot be read.
    """
    job = current_job()
    return job if job.screeding.there else open_job(data_folder() / SCREEDED)


def current_job() -> Job:
    """The job chosen in notebook 0-start; the demonstration where none was, or it is gone. No numbers.

    The environment variable SITELEVELS_JOB names another for one run. Raises SurveyError where the job cannot be read.
    """
    name = os.environ.get("SITELEVELS_JOB", "")
    chosen = data_folder() / ".chosen"
    if not name and chosen.is_file():
        name = chosen.read_bytes().decode(errors="replace").strip()
    return open_job(data_folder() / (name if name in job_names() else DEMONSTRATION))
