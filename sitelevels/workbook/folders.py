"""The folder of jobs: which there are, which is chosen."""

from __future__ import annotations

import os
import re
from contextlib import suppress
from pathlib import Path

from ..design.brief_file import read_brief, toml, with_value
from ..errors import SurveyError
from .job import DEMONSTRATION, DEMONSTRATIONS, SCREEDED, Job, open_job, read_file
from .saving import write_whole

NAMES = ("Up to 61 letters, digits, spaces, dots and dashes, with no dot or space at either end; not learning or class-set, nor "
         "what Windows keeps for a device, such as con or nul.")
_STARTER = Path(__file__).with_name("starter")
RESERVED = ("learning", "class-set",  # folders beside the jobs, for what learners type and for class sets
            "con", "prn", "aux", "nul", *(f"{port}{number}" for port in ("com", "lpt") for number in range(1, 10)))  # devices
_INVENTED = re.compile(r"(?m)^# .*\binvented\b.*\n")  # a line of notes that says so
FOLDER_NAME = re.compile(r"\w([\w .-]{0,59}[\w-])?")


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


def in_its_place(job: Job) -> str:
    """That a job stands in for the chosen one, which asks for no screed, in a sentence; else its name. No numbers.

    Raises SurveyError where the chosen one cannot be read.
    """
    chosen = current_job()
    return job.name if chosen.folder == job.folder else (
        f"{chosen.name} asks for no screed, so this is {job.name}, an invented one. To screed a room of your own: in 0-start, "
        f"start a new job like {job.folder.name}.")


def current_job() -> Job:
    """The job chosen in notebook 0-start; the demonstration where none was, or it is gone. No numbers.

    The environment variable SITELEVELS_JOB names another for one run. Raises SurveyError where the job cannot be read.
    """
    name = os.environ.get("SITELEVELS_JOB", "")
    chosen = data_folder() / ".chosen"
    if not name and chosen.is_file():
        name = chosen.read_bytes().decode(errors="replace").strip()
    return open_job(data_folder() / (name if name in job_names() else DEMONSTRATION))


def of_the_example(job: Job) -> bool:
    """Whether the surface chosen by hand is still the one of the files that a new job starts from. No numbers.

    Nothing is refused: without the demonstration only the blank starter is looked at.
    """
    if job.folder.name in (DEMONSTRATION, SCREEDED):
        return False
    texts = [read_file(_STARTER / "brief.toml")]
    with suppress(SurveyError):
        texts.append(demonstration().brief_text)
    chosen = job.told.get("finish", {})
    return any(all(chosen.get(key) == example.get(key) for key in ("level_at_wall_m", "fall_away", "fall_along"))
               for example in (read_brief(text).get("finish", {}) for text in texts) if "level_at_wall_m" in example)


def own_brief(before: Job, typed: Job) -> str:
    """The brief of a job as `typed`, without the mark *invented* once its book holds none of the starter's readings any more.

    A job that held none of them `before` either keeps its mark: somebody put it there. No numbers; nothing is refused.
    """
    starter = _readings(Job(_STARTER, read_file(_STARTER / "brief.toml"), read_file(_STARTER / "survey.csv")))
    held, holds = _readings(before), _readings(typed)
    if before.invented and before.folder.name not in DEMONSTRATIONS and holds and not holds & starter and (
            not held or held & starter):
        return with_value(typed.brief_text, "job", 1, "invented", None)
    return typed.brief_text


def _readings(job: Job) -> set[tuple[str, str, float]]:
    """What was read in the book of a job, in m; nothing of one that cannot be read."""
    with suppress(SurveyError):
        return {(row.point, *reading) for row in job.read(job.survey_text).rows for reading in row.readings()}
    return set()


def new_job(folder: str | Path, like: str | Path | Job | None = None) -> Job:
    """Start a job in a new `folder`: a copy of the files of the job `like`, or the blank starter. No numbers.

    A copy of a demonstration is somebody's own: it is not marked as invented any more, and has no note on the invented place.
    Raises SurveyError if the folder is there already and is not empty, its name is not a plain one, or it cannot be written.
    """
    place = Path(folder)
    if not FOLDER_NAME.fullmatch(place.name) or place.name.partition(".")[0].casefold() in RESERVED:
        raise SurveyError(f"{place.name!r} cannot be the name of a job folder", rule=NAMES)
    if os.path.lexists(place) and (not place.is_dir() or any(place.iterdir())):
        raise SurveyError(f"there is something called {place.name!r} already", remedy="Choose another name.")
    if like is None:
        source = Job(place, read_file(_STARTER / "brief.toml"), read_file(_STARTER / "survey.csv"))
    else:
        source = like if isinstance(like, Job) else open_job(like)
    brief_text, example = with_value(source.brief_text, "job", 1, "name", toml(place.name)), source.folder.name in DEMONSTRATIONS
    for key in ("invented", "note") if example else ():
        brief_text = with_value(brief_text, "job", 1, key, None)
    place.mkdir(parents=True, exist_ok=True)
    for name, text in (("survey.csv", source.survey_text), ("ties.csv", source.ties_text), ("laid.csv", source.laid_text),
                       ("brief.toml", brief_text)):  # the last makes it a job: a process that is stopped leaves half of none
        if text:
            write_whole(place / name, (_INVENTED.sub("", text) if example else text).encode())
    return open_job(place)
