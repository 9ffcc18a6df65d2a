"""Pick a job, or start one."""

from __future__ import annotations

from html import escape

import ipywidgets as widgets

from ..folders import choose_job, current_job, job_folder, job_names, new_job
from ..job import Job
from .base import WIDE, Form, button, row

_BLANK = "a small made-up example"


class StartForm(Form):
    """Choose the job that all notebooks open, or start a new one."""

    terms = ("level book", "brief", "level", "fall", "DPC")

    def __init__(self) -> None:
        super().__init__(None)
        chosen = self.attempt(current_job)
        names = self.attempt(job_names) or []
        self.pick = widgets.Dropdown(options=names, value=chosen.folder.name if chosen else None, description="Job", layout=WIDE)
        self.name = widgets.Text(description="New job", placeholder="a name for its folder", layout=WIDE, continuous_update=False)
        self.like = widgets.Dropdown(options=[_BLANK, *names], value=_BLANK, description="Start from", layout=WIDE)
        self.now = widgets.HTML()
        self._tell(chosen)
        self.children = [self.now, row(self.pick, button("Use this job", self.use)),
                         row(self.name, self.like, button("Start it", self.start)), self.message]

    def _tell(self, job: Job | None) -> None:
        """Say which job is chosen."""
        made_up = ", an invented job" if job and job.invented else ""
        self.now.value = f"<p>The job chosen now is <b>{escape(job.name)}</b>{made_up}.</p>" if job else ""

    def use(self) -> None:
        """Open the job picked and remember it."""
        job = self.attempt(lambda: choose_job(self.pick.value))
        if job is not None:
            self._tell(job)
            self.say(f"{job.name} is chosen. In the other notebooks choose Run, then Run All Cells.")

    def start(self) -> None:
        """Make a folder for a new job and choose it."""
        like = None if self.like.value == _BLANK else self.like.value
        name = self.name.value.strip()
        job = self.attempt(lambda: new_job(job_folder(name), None if like is None else job_folder(like)))
        if job is not None:
            self.pick.options = job_names()
            self.like.options = [_BLANK, *job_names()]
            self.pick.value = name
            self.use()
            after = "In notebook 7-screed type your readings over those of the example, and go on there." if job.screeding.there \
                else "Type your readings in notebook 1-survey, then your demands in 3-finish."
            self.say(f"The folder data/{name} is made and chosen. {after}")
