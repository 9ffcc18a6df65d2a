"""The error budget to type in, and the shot plan to print."""

from __future__ import annotations

from html import escape

import ipywidgets as widgets

from ...design.brief_file import toml, with_value
from ...design.budget import TERMS, ErrorBudget
from ...design.budget_file import KEYS, PER, fault_of
from ...design.check import check_finish
from ...design.shot_plan import FALL_MARGIN, MARGIN, ShotPlan, shot_plan
from ...errors import SurveyError
from ...wording import tidy
from ..job import Job
from ..shots_page import save_shot_plan
from .base import Form, Number, button, heed, link, paragraphs, row, scrolled, wide

_SURE = "sure"


class BudgetForm(Form):
    """How far everything may be out. The verdicts on the saved surface follow as a figure is changed: what if it were better?"""

    terms = ("at its limit", "budget", "collimation", "cone", "day of setting out", "demand", "give or take", "laying", "margin",
             "placing", "reading", "set-up", "standard deviation", "tilt", "too close to call", "variance", "verdict")

    def __init__(self, job: Job) -> None:
        super().__init__(job)
        self.fields: dict[str, Number] = {}
        self.shown = widgets.HTML()
        self.children = [self.message]
        self.attempt(self._build)

    def _build(self) -> None:
        job = self.needed()
        budget = job.budget
        about = budget.table.set_index("term")
        rows = []
        for name, key in KEYS.items():
            value = tidy(getattr(budget, name) / PER[key.removeprefix(name)])
            self._field(name, value, f"{name.replace('_', ' ')}, {about['unit'][name]}")
            told = f"{about['what'][name]}: {about['source'][name]}"
            rows.append(_told(self.fields[name], told))
        self._field(_SURE, tidy(budget.sure * 100), "sure, %")
        rows.append(_told(self.fields[_SURE], "of 100 numbers that lie just at a limit, how many are not called met"))
        self.loaded = {name: field.value for name, field in self.fields.items()}
        self.children = [*rows, button("Save the error budget", self.save_budget), self.message, self.shown]
        self.follow()

    def _field(self, name: str, value: float, said: str) -> None:
        self.fields[name] = Number(value, description=said, **wide("20em", "13em"))
        heed(self.follow, self.fields[name])

    def typed(self) -> ErrorBudget:
        """The budget as it is typed; a figure that was not touched keeps all its digits."""
        budget = self.needed().budget
        own = {name: self.fields[name].number * PER[key.removeprefix(name)] for name, key in KEYS.items()
               if self.fields[name].value != self.loaded[name]}
        faults = [fault for name in own if (fault := fault_of(name, self.fields[name].value))]
        sure = budget.sure if self.fields[_SURE].value == self.loaded[_SURE] else self.fields[_SURE].number / 100
        faults += [fault for fault in [fault_of(_SURE, sure * 100)] if fault]
        if faults:
            raise SurveyError.together(faults)
        return ErrorBudget(**{name: getattr(budget, name) for name in TERMS} | own, sure=sure)

    def follow(self) -> None:
        """The verdicts on the saved surface, were the errors those that are typed."""
        self.message.value = ""
        self.shown.value = self.attempt(self._verdicts) or ""

    def _verdicts(self) -> str:
        job = self.needed()
        errors = self.typed().errors(job.reduced, headings=job.errors.headings)
        verdicts = check_finish(job.finish, job.brief, budget=errors)
        unsaved = "" if all(self.fields[name].value == value for name, value in self.loaded.items()) else "<i>Not saved yet.</i> "
        if job.counted is None:
            unsaved += ("<p>This job has no error budget yet: these are the usual figures and your own tests. Save, and the "
                        "other notebooks and the sheet count them too.</p>")
        return (f"{unsaved}<b>{escape(verdicts.counted or 'Every demand met')}.</b>{scrolled(verdicts.html(), tall=60)}"
                f"{paragraphs(errors.doubts)}")

    def save_budget(self) -> None:
        """Write what was changed into [errors] of brief.toml; from then on every verdict of the job counts errors."""
        if self.attempt(self.typed) is None:
            return

        def changed() -> str:
            text = self.needed().brief_text
            if "errors" not in self.needed().told or self.fields[_SURE].value != self.loaded[_SURE]:
                text = with_value(text, "errors", 1, "sure_percent", toml(self.fields[_SURE].value))
            for name, key in KEYS.items():
                if self.fields[name].value != self.loaded[name]:
                    text = with_value(text, "errors", 1, key, toml(self.fields[name].value))
            return text
        if self.change_brief(changed, "Saved. Choose Run, then Run All Cells; the verdicts of the other notebooks count these "
                             "errors too."):
            shown = self.message.value
            self._build()  # the sources beside the figures are others now
            self.message.value = shown


def _told(field: Number, told: str) -> widgets.HBox:
    """A field with what it means beside it, however narrow the page."""
    said = widgets.HTML(f"<div style='line-height:1.3;padding-top:4px'>{escape(told)}</div>")
    said.layout = widgets.Layout(flex="1 1 0", min_width="0")
    field.layout.flex = "0 0 auto"
    return widgets.HBox([field, said])


class ShotPlanForm(Form):
    """Where to put the staff before going out: choose how close to its limits the ground may turn out, and write the page."""

    terms = ("demand", "fall", "give or take", "limit", "margin", "set-up", "spot", "staff", "verdict")

    def __init__(self, job: Job) -> None:
        super().__init__(job)
        self.margin = Number(MARGIN * 1000, description="margin of a level, mm", **wide("20em", "13em"))
        self.fall = Number(FALL_MARGIN * 1000, description="margin of a fall, mm/m", **wide("20em", "13em"))
        self.shown = widgets.HTML()
        self.children = [row(self.margin, self.fall, button("Write the page", self.write)), self.message, self.shown]
        heed(self.follow, self.margin, self.fall)
        self.follow()

    def follow(self) -> None:
        """What the plan would come to."""
        self.message.value = ""
        self.shown.value = paragraphs(self.attempt(lambda: self._plan().words) or ())

    def _plan(self) -> ShotPlan:
        job = self.needed()
        return shot_plan(job.brief, budget=job.budget, margin=self.margin.number / 1000, fall_margin=self.fall.number / 1000)

    def write(self) -> None:
        """Write shots.pdf and shots.csv into the job's folder `sheet`."""
        job = self.needed()
        if self.attempt(lambda: save_shot_plan(job, self._plan())) is not None:
            self.say(f"Written: data/{job.folder.name}/sheet/shots.pdf, to print, and shots.csv, to paste into notebook 1-survey "
                     "and fill in.")
            self.message.value += f"<p>{link(f'data/{job.folder.name}/sheet/shots.pdf', 'Open the page')}</p>"
