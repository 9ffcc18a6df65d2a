"""Today's reading on the benchmark, the readings to look for at the pegs, and the sheet."""

from __future__ import annotations

import math
from html import escape

import ipywidgets as widgets

from ...design.brief_file import toml, with_value
from ...errors import SurveyError
from ...survey.cells import number_of
from ...survey.faults import LONGEST_READING
from ...wording import html_table, word_level, word_mm
from ...works.setout import PegTable
from ..job import DEMONSTRATIONS, Job
from ..sheet import save_sheet
from .base import Form, Number, button, heed, link, row, scrolled, wide


class DigForm(Form):
    """Type today's reading on the benchmark; the readings to look for follow. The button writes the sheet to print."""

    terms = ("benchmark", "backsight", "HPC", "line of sight", "reading", "staff", "peg", "formation", "layer", "finish",
             "set-up", "setting out")

    def __init__(self, job: Job) -> None:
        super().__init__(job)
        told = job.told.get("setting_out", {}).get("backsight_m", 0.0)
        self.backsight = Number(told, description="Today's reading on the benchmark, m", **wide("30em"))
        self.peg, self.reading = (
            widgets.Text(description=said, placeholder=like, continuous_update=False, **wide(width))
            for said, like, width in (("After a move: a peg that is set", "C1", "25em"), ("reads, m", "1.345", "14em")))
        self.surface = widgets.Dropdown(description="on", options=["finished", "formation"], **wide("16em"))
        self.shown = widgets.HTML()
        self.children = [row(self.backsight, button("Write the sheet", self.write)), row(self.peg, self.surface, self.reading),
                         self.message, self.shown]
        heed(self.follow, self.backsight, self.peg, self.surface, self.reading)
        self.follow()

    def pegs(self) -> PegTable:
        """The peg table for the reading typed."""
        if not math.isfinite(self.backsight.value):
            raise SurveyError(f"today's reading is {self.backsight.typed!r}", rule="It is a number in m.")
        if self.backsight.value == 0:
            raise SurveyError(f"today's reading on {self.needed().benchmark} is not typed yet",
                              remedy="Set the instrument up, read the staff there, and type the reading in m.")
        if abs(self.backsight.value) > LONGEST_READING:
            raise SurveyError(f"a reading of {word_level(self.backsight.value)} is longer than a 5 m staff",
                              remedy="Type metres, with a decimal point.")
        pegs = self.needed().pegs(self.backsight.value)
        if not self.peg.value.strip() or not self.reading.value.strip() or pegs.backsight is None:
            return pegs
        return pegs.moved(pegs.backsight, check=(self.peg.value.strip(), self._read(), self.surface.value))

    def _read(self) -> float:
        """The reading on the peg that is already set."""
        number = number_of(self.reading.value.strip())
        if number is None:
            raise SurveyError(f"the reading on peg {self.peg.value} is {self.reading.value!r}", rule="It is a number in m.")
        return number

    def follow(self) -> None:
        """Show the peg table."""
        self.message.value = self.shown.value = ""
        pegs = self.attempt(self.pegs)
        if pegs is not None:
            said = f"{self.needed().benchmark} read {word_level(self.backsight.value)}."
            if pegs.check is not None and not pegs.doubt:
                said += f" Peg {self.peg.value.strip()} reads as it should, within {word_mm(abs(pegs.check), digits=1)}: go on."
            walked = pegs.walked().readings
            if tuple(self.surface.options) != tuple(walked.columns[1:]):
                self.surface.options = list(walked.columns[1:])
            walked = html_table(walked[["point", *walked.columns[:0:-1]]])  # formation first, in the order of the work
            if bool(self.peg.value.strip()) != bool(self.reading.value.strip()):
                said += " To check a peg after a move, give the peg and what it reads."
            self.shown.value = (f"<p>{escape(said)}</p>{scrolled(pegs._repr_html_())}<p>Readings for every layer, in m, in the "
                                f"order in which one walks:</p>{scrolled(walked)}")

    def write(self) -> None:
        """Write sheet.pdf and the tables into the job folder, and keep the reading in the brief."""
        pegs = self.attempt(self.pegs)
        if pegs is None:
            return
        job = self.needed()
        if job.folder.name not in DEMONSTRATIONS:
            reading = toml(float(self.backsight.value))
            if not self.change_brief(lambda: with_value(job.brief_text, "setting_out", 1, "backsight_m", reading), ""):
                return
        folder = self.attempt(lambda: save_sheet(self.needed(), backsight=self.backsight.value))
        if folder is not None:
            failed, outdoor = self.needed().verdicts.failed, self.needed().outdoor
            warning = f" Mind: {failed} demand(s) are NOT met by this surface." if failed else ""
            bad = (*((pegs.doubt,) if pegs.doubt else ()), *(f"Not worked out: {fault}" for fault in outdoor.faults))
            self.say(f"Written: data/{job.folder.name}/sheet/sheet.pdf, to print, and the tables beside it.{warning}")
            written = self.message.value
            if bad:
                self.refuse(bad)
                written += self.message.value
            self.message.value = f"{written}<p>{link(f'data/{job.folder.name}/sheet/sheet.pdf', 'Open the sheet')}</p>"
