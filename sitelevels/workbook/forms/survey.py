"""The level book: paste it or type it row by row, see at once what is wrong with it, save it."""

from __future__ import annotations

import csv
import io
import re
from dataclasses import replace
from html import escape
from pathlib import Path
from typing import Any

import ipywidgets as widgets

from ...design.brief_file import with_value
from ...errors import SurveyError
from ...survey.book import METRES_PER
from ...survey.cells import Page, page_of
from ...survey.headings import columns_of
from ...survey.reading import with_known_level
from ...survey.reduction import ReducedLevels
from ...survey.slips import suspect_slips
from ...wording import html_table, word_level
from ..drafts import Draft
from ..job import DEMONSTRATION, Job
from .base import BAD, Form, button, row, scrolled
from .grid import Grid

_OFFERED = 10.0  # m: the level that a first point is called where no benchmark is to hand
_HEADINGS = "point,bs,is,fs,rl,x,y,feature,remarks\n"  # of a book that is begun in the grid
_MORE = ("up from the line", "down from the line", "x", "y", "feature", "wall", "sight", "hand_level", "remarks")
_WIDE = {"point": 6, "feature": 7, "wall": 7, "remarks": 14, "up": 8, "down": 9}
_ROWS = 400  # a longer book is pasted and looked at as text


class BookForm(Form):
    """A box to paste a whole book into, a grid to type and correct it in, and the reduction beside it.

    What is typed is kept in a draft as each cell is left, and offered again when the form is opened after a mishap.
    """

    def __init__(self, job: Job) -> None:
        super().__init__(job)
        self.draft = Draft(job.folder)
        self._base = job.survey_text  # what this form started from, or saved
        self._before: str | None = None
        self._faults: tuple[SurveyError, ...] = ()
        self._offered = ""
        self._waiting: Path | None = None
        self.text = widgets.Textarea(value=job.survey_text, continuous_update=False, description="Book",
                                     layout=widgets.Layout(width="98%", height="9em"))
        self.grid = Grid(worked_headings=["HPC, m", "level, m"])
        unit = job.told.get("survey", {}).get("unit", "m")
        self.unit = widgets.Dropdown(options=list(METRES_PER), value=unit if unit in METRES_PER else "m", description="Unit",
                                     layout=widgets.Layout(width="10em"))
        self.column = widgets.Dropdown(options=["", *_MORE], description="Add a column",
                                       style={"description_width": "initial"}, layout=widgets.Layout(width="20em"))
        self.offer = button("", self.call_it_ten)
        self.offer.layout.display = "none"
        self.levels, self.found = widgets.HTML(), widgets.HTML()
        self.again = row(self.found, button("Take it up again", self.take_up), button("Throw it away", self.throw_away))
        buttons = [button("Check", self.check), button("Undo", self.undo), button("Save", self.save_book), self.offer]
        self.children = [self.again, self.text, self.grid, row(self.unit, self.column, *buttons), self.message, self.levels]
        self.grid.on_msg(lambda _, content, __: self.attempt(lambda: self._typed_in_grid(content)))
        self.text.observe(self._changed, "value")
        self.unit.observe(lambda _: self.check(), "value")
        self.column.observe(lambda _: self.attempt(self._add_column), "value")
        self._look_for_drafts()
        self.check()

    # What comes in

    def _page(self) -> Page:
        return page_of(self.text.value if self.text.value.strip() else _HEADINGS)

    def _typed_in_grid(self, content: dict[str, Any]) -> None:
        """One cell that was left changed, or a block pasted into it."""
        first, column, value = int(content["row"]) + 1, int(content["column"]), str(content["value"])
        block = list(csv.reader(io.StringIO(value, newline=""), delimiter="\t")) if content.get("paste") else [[value]]
        self.text.value = self._page().with_cells({(first + down, column + along): cell for down, cells in enumerate(block)
                                                   for along, cell in enumerate(cells)})

    def _add_column(self) -> None:
        if self.column.value:
            page = self._page()
            heading, self.column.value = self.column.value, ""
            self.text.value = page.with_cells({(0, len(page.records[0][0])): heading})

    def _changed(self, change: dict[str, Any]) -> None:
        """Keep what was typed before anything else is done with it."""
        self._before = change["old"]
        self.message.value = ""
        self.attempt(self._keep)
        not_kept = self.message.value
        self.check()
        self.message.value = not_kept + self.message.value

    def _keep(self) -> None:
        if self.text.value == self._base:
            self.draft.drop()
        elif self.needed().folder.name != DEMONSTRATION:
            self.draft.keep(self.text.value)

    def undo(self) -> None:
        """Take back the last change; once more brings it back again."""
        if self._before is None:
            self.say("There is nothing to undo.")
        else:
            self.text.value = self._before

    # What it says

    def _typed(self) -> Job:
        """The job as it would be with what is typed."""
        brief_text = self.needed().brief_text
        if self.unit.value != self.needed().told.get("survey", {}).get("unit", "m"):
            brief_text = with_value(brief_text, "survey", 1, "unit", f'"{self.unit.value}"')
        return replace(self.needed(), brief_text=brief_text, survey_text=self.text.value)

    def _reduced(self) -> ReducedLevels:
        try:
            return self._typed().reduced
        except SurveyError as error:
            self._faults = error.parts
            raise

    def check(self) -> bool:
        """Reduce what is typed and show it, or say what is wrong and where."""
        self.offer.layout.display = "none"
        self.levels.value = ""
        self._faults = ()
        reduced = self.attempt(self._reduced)
        shown = self.attempt(lambda: self._fill_grid(reduced))
        self.grid.layout.display = "" if shown else "none"
        if reduced is None:
            self._offer_a_level()
            return False
        doubts = [*reduced.doubts, *reduced.book.doubts]
        if reduced.doubts:
            found = self.attempt(lambda: suspect_slips(reduced.book, allowable=reduced.adjustment.allowable))
            doubts += [found.said] if found and found.noticed else []
        if doubts:
            self.refuse(tuple(doubts))
        else:
            unsaved = self._typed().survey_text != self._base
            demo = " This is the demonstration: what you change here is not kept." if unsaved and (
                self.needed().folder.name == DEMONSTRATION) else ""
            self.say(f"{len(reduced.table)} rows read and reduced; no check failed."
                     f"{demo or (' Not saved yet, but kept as you type.' if unsaved else '')}")
        told = "".join(f"<p>{escape(one)}</p>" for one in (reduced.book.known_words, *reduced.steadiness))
        self.levels.value = (f"{told}<details><summary>How the book was understood</summary>"
                             f"{html_table(reduced.book.understood, words=True)}</details>{scrolled(reduced._repr_html_())}")
        return True

    def _fill_grid(self, reduced: ReducedLevels | None) -> bool:
        """The cells as they stand in the text, with levels, faults and doubts beside them; whether there are any to show."""
        page = self._page()
        if len(page.records) > _ROWS:
            return False
        headings = [page.cell(0, place) for place in range(len(page.records[0][0]))]
        try:
            names = [column.name for column in columns_of(headings, self.unit.value)[0]]
        except SurveyError:
            names = [heading.lower() for heading in headings]
        count = len(page.records) - 1
        worked = [["", ""] for _ in range(count)]
        if reduced is not None:
            table = reduced.table
            for number, hpc, level in zip(table.index, table["hpc"], table["adjusted_level"], strict=True):
                worked[number - 1] = ["" if one != one else word_level(one).removesuffix(" m") for one in (hpc, level)]
        marks = [{"row": fault.row - 1, "column": names.index(fault.column) if fault.column in names else -1,
                  "said": fault.problems[0], "doubt": False} for fault in self._faults if fault.row]
        doubts = reduced.book.doubts if reduced is not None else ()
        marks += [{"row": int(found[1]) - 1, "column": -1, "said": doubt, "doubt": True} for doubt in doubts
                  if (found := re.match(r"Row (\d+), point", doubt))]
        with self.grid.hold_sync():
            self.grid.headings, self.grid.widths = headings, [_WIDE.get(name, 5) for name in names]
            self.grid.cells = [[page.cell(at, place) for place in range(len(headings))] for at in range(1, count + 1)]
            self.grid.worked, self.grid.marks = worked, marks
        return True

    def _offer_a_level(self) -> None:
        """Where all that is missing is a known level, offer to call the first point 10.000 m."""
        try:
            book = self._typed().book
        except SurveyError:
            return
        if not book.known:
            self._offered = book.rows[0].point
            self.offer.description = f"Call {self._offered} {word_level(_OFFERED)}"
            self.offer.layout.display = ""

    def call_it_ten(self) -> None:
        """Write the offered level into the text."""
        changed = self.attempt(lambda: with_known_level(self.text.value, self._offered, _OFFERED, unit=self.unit.value))
        if changed is not None:
            self.text.value = changed

    # What is kept

    def _look_for_drafts(self) -> None:
        self._waiting = next(iter(self.attempt(lambda: self.draft.waiting(self._base)) or []), None)
        self.again.layout.display = "none" if self._waiting is None else ""
        if self._waiting is not None:
            self.found.value = (f"<p role='status' style='color:{BAD}'>A book that was typed and not saved was found "
                                f"({escape(self._waiting.name)}).</p>")

    def take_up(self) -> None:
        """Go on with a book that was typed and not saved."""
        if (waiting := self._waiting) is not None:
            text = self.attempt(lambda: self.draft.take_up(waiting))
            self._look_for_drafts()
            if text is not None:
                self.text.value = text

    def throw_away(self) -> None:
        """Take away a book that was typed and not saved."""
        if self._waiting is not None:
            self._waiting.unlink(missing_ok=True)
            self._look_for_drafts()

    def save_book(self) -> None:
        """Save the book, checked or not: what is typed is never lost. The message says which."""
        good = self.check()
        said, typed = self.message.value, self.attempt(self._typed)
        words = "Saved." if good else "Saved as it stands; it cannot be reduced yet."
        if typed is None:
            return
        if self.needed().survey_text != self._base:  # another form of this notebook saved a book: bring it to the same refusal
            started = replace(self.needed(), survey_text=self._base)
            self.attempt(lambda: started.saved(survey_text=typed.survey_text))
        elif self.save(words, survey_text=_safe(typed.survey_text), brief_text=typed.brief_text):
            self._base = self.needed().survey_text
            self.text.value = self._base
            self.draft.drop()
            self.message.value += said


def _safe(text: str) -> str:
    """The text with no cell that a spreadsheet would run; as it is where it is no table yet."""
    try:
        return page_of(text).made_safe()
    except SurveyError:
        return text
