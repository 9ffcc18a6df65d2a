"""The workbook a person opens: job folders, pictures, forms and the printed sheet."""

from importlib import import_module
from typing import TYPE_CHECKING, Any

from ..design.published import CAUTIONS
from ..works.runoff import WHERE_WATER_GOES
from . import figures
from .folders import choose_job, current_job, data_folder, demonstration, in_its_place, job_names, new_job, screed_job
from .job import Job, open_job
from .say import glossary_table, say, shown_or, units_table, words_table
from .sheet import save_sheet
from .shots_page import save_shot_plan

if TYPE_CHECKING:
    from . import forms


def __getattr__(name: str) -> Any:
    """`forms`, loaded when it is asked for: without a notebook nobody needs its controls."""
    if name == "forms":
        return import_module(f"{__name__}.forms")
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


__all__ = ["CAUTIONS", "WHERE_WATER_GOES", "Job", "choose_job", "current_job", "data_folder", "demonstration", "figures",
           "forms", "glossary_table", "in_its_place", "job_names", "new_job", "open_job", "save_sheet", "save_shot_plan", "say",
           "screed_job", "shown_or", "units_table", "words_table"]
