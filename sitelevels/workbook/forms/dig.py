"""Today's reading on the benchmark, the readings to look for at the pegs, and the sheet."""

from __future__ import annotations

from html import escape

import ipywidgets as widgets

from ...errors import SurveyError
from ...survey.reading import LONGEST_READING
from ...wording import html_table, word_level
from ...works.setout import PegTable
from ..job import Job
from ..sheet import save_sheet
from .base import Form, button, scrolled


class DigForm(Form):
    """Type today's reading on the benchmark; the readings to look for follow. The button writes the sheet to print."""

    def __init__(self, job: Job) -> None:
        super().__init__(job)
        told = job.told.get("setting_out", {}).get("backsight_m", 0.0)
        self.backsight = widgets.FloatText(value=told, step=0.001, description="Today's reading on the benchmark, m",
                                           style={"description_width": "initial"}, layout=widgets.Layout(width="30em"))
        self.shown = widgets.HTML()
        self.children = [widgets.HBox([self.backsight, button("Write the sheet", self.write)]), self.message, self.shown]
        self.backsight.observe(lambda _: self.follow(), "value")
        self.follow()

    def pegs(self) -> PegTable:
        """The peg table for the reading typed."""
        if self.backsight.value == 0:
            raise SurveyError(f"today's reading on {self.needed().benchmark} is not typed yet",
                              remedy="Set the instrument up, read the staff there, and type the reading in m.")
        return self.needed().pegs(self.backsight.value)

    def follow(self) -> None:
        """Show the peg table."""
        self.message.value = self.shown.value = ""
        pegs = self.attempt(self.pegs)
        if pegs is not None:
            if abs(self.backsight.value) > LONGEST_READING:
                self.refuse((f"Doubtful: a reading of {word_level(self.backsight.value)} is longer than a 5 m staff.",))
            self.shown.value = (f"<p>{escape(self.needed().benchmark)} read {word_level(self.backsight.value)}: plane of "
                                f"collimation {word_level(pegs.hpc)}. All in m.</p>"
                                f"{scrolled(html_table(pegs.table))}")

    def write(self) -> None:
        """Write sheet.pdf and the tables into the job folder."""
        folder = self.attempt(lambda: save_sheet(self.needed(), backsight=self.backsight.value) if self.pegs() else None)
        if folder is not None:
            self.say(f"Written: data/{self.needed().folder.name}/sheet/sheet.pdf, to print, and the tables beside it.")
