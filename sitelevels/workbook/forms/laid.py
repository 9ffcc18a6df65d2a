"""What was laid: its level book, and the joints that were measured."""

from __future__ import annotations

import re
from dataclasses import replace

import ipywidgets as widgets

from ...design.brief_file import toml, with_value
from ...design.lipping import MEASURES
from ...design.workmanship import LIPPING
from ...errors import SurveyError
from ...survey.reduction import ReducedLevels
from ..as_built import NO_JOINTS, PAVING
from ..job import Job
from .base import Form, button, row, wide
from .survey import BookForm

_HALF = wide("26em", "9em")


class LaidBookForm(BookForm):
    """The level book of what was laid, in the same datum as the first survey: kept as laid.csv."""

    terms = (*BookForm.terms, "datum", "deviation", "DPC", "laid", "mark", "sill")

    file, part = "laid_text", "laid"

    def _levels_of(self, job: Job) -> ReducedLevels:
        if not job.as_built.there:
            stays = "the floor at the door" if job.screeding.there else "a DPC mark or the sill"
            raise SurveyError("nothing is booked yet", remedy=f"Begin with the benchmark or the line; read {stays} again too.",
                              rule="Spots of what was laid have x and y, or the names of points that the first survey has.")
        return job.as_built.reduced

    def _tell(self, reduced: ReducedLevels) -> None:
        """As for any book; then whether it is the book of the surface that was designed."""
        super()._tell(reduced)
        built = self._typed().as_built
        if built.faults:
            self.refuse(built.faults)
        elif built.check.doubts:
            self.question((*reduced.book.doubts, *built.check.doubts))


class JointsForm(Form):
    """Lips measured at joints, one to a line: a name and mm."""

    terms = ("joint", "lip", "unit", "proud", "laid")

    def __init__(self, job: Job) -> None:
        super().__init__(job)
        told = self._kept = self.needed().told.get("laid", {})
        lines = "\n".join(": ".join(map(str, one)) for one in told.get("joints_mm", []))
        kind, by = told.get("paving", PAVING), told.get("measured_by", "rule")
        self.paving = widgets.Dropdown(options=list(LIPPING), value=kind if kind in LIPPING else PAVING, description="Paving",
                                       **_HALF)
        self.by = widgets.Dropdown(options=list(MEASURES), value=by if by in MEASURES else "rule", description="Measured with a",
                                   **_HALF)
        self.joints = widgets.Textarea(value=lines, continuous_update=False, description="Joint: mm", rows=5,
                                       placeholder="by the door: 1.5", **_HALF)
        self.shown = widgets.HTML()
        self.children = [row(self.paving, self.by), self.joints, button("Check and save", self.check), self.message, self.shown]
        self._loaded = (self.paving.value, self.by.value, self.joints.value)
        if lines:
            self.attempt(lambda: self.needed().as_built.lips)
        elif self.needed().screeding.there:
            self.children = [widgets.HTML(NO_JOINTS)]

    def check(self) -> None:
        """Hold the lips against the limit, and save them."""
        self.message.value = self.shown.value = ""
        text = self.attempt(self._changed)
        if text is None:
            return
        job = self.needed()
        found = self.attempt(lambda: replace(job, brief_text=text).as_built.lips)
        if found is not None:
            self.shown.value = found.html()
        if not self.message.value and self.save("Saved. Choose Run, then Run All Cells, to see it below.", brief_text=text):
            self._kept = self.needed().told.get("laid", {})
            self._loaded = (self.paving.value, self.by.value, self.joints.value)

    def _changed(self) -> str:
        """The brief with what was changed here."""
        if self.needed().told.get("laid", {}) != self._kept:
            raise SurveyError("the part [laid] of the brief was changed since this form was opened", rule="It was left as it is.",
                              remedy="Keep what you typed elsewhere, choose Run, then Run All Cells, and type it again.")
        joints = []
        for number, line in enumerate(self.joints.value.splitlines(), start=1):
            if not line.strip():
                continue
            name, _, lip = line.rpartition(":")
            typed = re.fullmatch(r"\s*(-?\d{1,6}(?:[.,]\d{1,6})?)\s*(?:mm)?\s*", lip)
            if typed is None:
                raise SurveyError(f"{line!r} is no name and number of mm", where=f"line {number}",
                                  rule="Each line is a joint, a colon and how far one unit stands above the next, in mm.",
                                  remedy="Write it like 'by the door: 1.5'.")
            joints.append((name.strip(), float(typed[1].replace(",", "."))))
            if not name.strip():
                raise SurveyError(f"{line!r} names no joint", where=f"line {number}", remedy="Write it like 'by the door: 1.5'.")
        quoted = ", ".join(f"[{toml(name)}, {toml(lip)}]" for name, lip in joints)
        text = self.needed().brief_text
        paving, by, lines = self._loaded
        for key, value, changed in (("paving", toml(self.paving.value), self.paving.value != paving),
                                    ("measured_by", toml(self.by.value), self.by.value != by),
                                    ("joints_mm", f"[{quoted}]", self.joints.value != lines)):
            text = with_value(text, "laid", 1, key, value) if changed else text
        return text
