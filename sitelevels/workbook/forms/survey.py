"""The level book: paste it or type it row by row, see at once what is wrong with it, save it."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import replace
from html import escape
from pathlib import Path
from typing import Any, ClassVar

import ipywidgets as widgets

from ...design.brief_file import with_value
from ...errors import SurveyError
from ...survey.book import METRES_PER
from ...survey.cells import Page, guarded, page_of
from ...survey.headings import LENGTHS, bare, columns_of
from ...survey.reading import with_known_level
from ...survey.reduction import ReducedLevels
from ...survey.slips import MOST_TOLD, Suspicions, read_once, suspect_slips
from ...wording import html_table, true_minus, word_level
from ..drafts import Draft
from ..folders import own_brief
from ..job import DEMONSTRATIONS, Job
from .base import BAD, Form, button, heed, paragraphs, row, scrolled, wide
from .grid import Grid

_OFFERED = 10.0  # m: the level that a first point is called where no benchmark is to hand
_HEADINGS = "point,bs,is,fs,rl,x,y,feature,remarks\n"  # of a book that is begun in the grid
_MORE = ("up from the line", "down from the line", "x", "y", "feature", "wall", "sight", "hand_level", "remarks")
_WIDE = {"point": 6, "feature": 7, "wall": 7, "remarks": 12, "up": 8, "down": 9, "x": 4, "y": 4, "sight": 6, "hand_level": 6}
_STEPS = 100  # that can be taken back
_SEARCHED = 300  # rows: in a longer book the slip is searched for by a cell of the notebook
_ROWS = 400  # a longer book is pasted and looked at as text


class BookForm(Form):
    """A box to paste a whole book into, a grid to type and correct it in, and the reduction beside it.

    What is typed is kept in a draft as each cell is left, and offered again when the form is opened after a mishap. `file` is the
    part of a job that holds the book.
    """

    terms: ClassVar[tuple[str, ...]] = (
        "HPC", "backsight", "benchmark", "change point", "closing", "draft", "fall", "feature", "foresight", "hand level",
        "intermediate sight", "known level", "level", "level book", "line", "misclosure", "point", "reading", "rise", "rl",
        "set-up", "sight", "slip", "staff", "suspicion", "taped", "upside down")

    file: ClassVar[str] = "survey_text"
    part: ClassVar[str] = "survey"  # of brief.toml, that holds its unit

    def __init__(self, job: Job) -> None:
        super().__init__(job)
        self.draft = Draft(job.folder, self.file.removesuffix("_text"))
        job = self.needed()  # as another form of this notebook may have saved it
        self._base = str(getattr(job, self.file))  # what this form started from, or saved
        self._past: list[str] = []
        self._future: list[str] = []
        self._faults: tuple[SurveyError, ...] = ()
        self._suspected: Suspicions | None = None
        self._offered = ""
        self._waiting: Path | None = None
        self.text = widgets.Textarea(value=self._base, continuous_update=False, description="Book",
                                     layout=widgets.Layout(width="98%", height="9em"))
        self.grid = Grid(worked_headings=["HPC, m", "level, m"])
        self._base_unit = self._stored_unit()
        self.unit = widgets.Dropdown(options=list(METRES_PER), value=self._base_unit, description="Unit", **wide("9em"))
        self.column = widgets.Dropdown(options=_MORE, layout=widgets.Layout(width="12em"))
        self.offer = button("", self.call_it_ten)
        self.offer.layout.display = "none"
        self.levels, self.found = widgets.HTML(layout=widgets.Layout(width="98%")), widgets.HTML()
        self.again = row(self.found, button("Take it up again", self.take_up), button("Throw it away", self.throw_away))
        changes = [button("Insert a row above", self.insert_row), button("Delete the row", self.delete_row),
                   self.column, button("Add this column", self.add_column)]
        buttons = [button("Undo", self.undo), button("Redo", self.redo), button("Save", self.save_book), self.offer]
        self.children = [self.again, self.text, self.grid, row(*changes), row(self.unit, *buttons), self.message, self.levels]
        self.grid.on_msg(lambda _, content, __: self.attempt(lambda: self._typed_in_grid(content)))
        self.text.observe(self._changed, "value")
        heed(self._kept_and_checked, self.unit)
        self._look_for_drafts()
        self.check()

    # What comes in

    def _page(self) -> Page:
        return page_of(self.text.value if self.text.value.strip() else _HEADINGS)

    def _typed_in_grid(self, content: dict[str, Any]) -> None:
        """One cell that was left changed, or a block pasted into it; a block with headings in an empty grid is a whole book."""
        page = self._page()
        row, column, block = self.grid.heard(content, len(page.records) + _ROWS, len(page.records[0][0]))
        if content.get("paste") and len(page.records) == 1 and _is_book(content["value"]):
            self.text.value = content["value"].replace("\r\n", "\n") + "\n"
        else:
            self.text.value = page.with_cells({(row + 1 + down, column + along): cell for down, cells in enumerate(block)
                                               for along, cell in enumerate(cells)})

    def add_column(self) -> None:
        """Put the column chosen in behind the readings."""
        def changed() -> str:
            page = self._page()
            names = self._names(page)
            wanted = columns_of(["point", "bs", "is", self.column.value], "m")[0][-1].name
            if wanted in names:
                raise SurveyError(f"the book has a column {self.column.value!r} already")
            place = max(names.index(name) for name in ("point", "reading", "bs", "is", "fs", "up", "down") if name in names)
            return page.with_column(place + 1, self.column.value)
        self._take(changed)

    def insert_row(self) -> None:
        """An empty row above the one that was last typed into."""
        self._take(lambda: self._page().with_row(self.grid.row + 1))

    def delete_row(self) -> None:
        """Take the row away that was last typed into."""
        self._take(lambda: self._page().without_row(self.grid.row + 1))

    def _take(self, changed: Callable[[], str]) -> None:
        text = self.attempt(changed)
        if text is not None:
            self.text.value = text

    def _names(self, page: Page) -> list[str]:
        """What each column of the grid is."""
        headings = [page.cell(0, place) for place in range(len(page.records[0][0]))]
        try:
            return [column.name for column in columns_of(headings, self.unit.value)[0]]
        except SurveyError:
            return [heading.lower() for heading in headings]

    def _changed(self, change: dict[str, Any]) -> None:
        """Keep what was typed before anything else is done with it."""
        self._past = [*self._past[-_STEPS:], change["old"]]
        self._future = []
        self._kept_and_checked()

    def _kept_and_checked(self) -> None:
        self.message.value = ""
        self.attempt(self._keep)
        not_kept = self.message.value
        self.check()
        self.message.value = not_kept + self.message.value

    def _keep(self) -> None:
        if (self.text.value, self.unit.value) == (self._base, self._base_unit):
            self.draft.drop()
        elif self.needed().folder.name not in DEMONSTRATIONS:
            self.draft.keep(self.text.value, self.unit.value)

    def undo(self) -> None:
        """Take back the last change."""
        self._step(self._past, self._future, "There is nothing to undo.")

    def redo(self) -> None:
        """Bring back what was undone last."""
        self._step(self._future, self._past, "There is nothing to bring back.")

    def _step(self, out_of: list[str], into: list[str], nothing: str) -> None:
        if not out_of:
            self.say(nothing)
            return
        text, now = out_of.pop(), self.text.value
        past, future = self._past, self._future
        self.text.value = text
        self._past, self._future = past, future
        into.append(now)

    # What it says

    def _typed(self) -> Job:
        """The job as it would be with what is typed."""
        brief_text = self.needed().brief_text
        if self.unit.value == self._base_unit:  # not chosen here: as another form may have saved it meanwhile
            self._base_unit = self.unit.value = self._stored_unit()
        elif self.unit.value != self._stored_unit():
            brief_text = with_value(brief_text, self.part, 1, "unit", f'"{self.unit.value}"')
        return self._with(replace(self.needed(), brief_text=brief_text), self.text.value)

    def _with(self, job: Job, text: str) -> Job:
        """The job with another text of the book."""
        return replace(job, laid_text=text) if self.file == "laid_text" else replace(job, survey_text=text)

    def _levels_of(self, job: Job) -> ReducedLevels:
        """The reduced levels of the book."""
        return job.reduced

    def _stored_unit(self) -> str:
        told = self.needed().told
        unit = told.get(self.part, {}).get("unit", told.get("survey", {}).get("unit", "m"))
        return unit if unit in METRES_PER else "m"

    def _reduced(self) -> ReducedLevels:
        try:
            return self._levels_of(self._typed())
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
        self.attempt(lambda: self._tell(reduced))
        return True

    def _tell(self, reduced: ReducedLevels) -> None:
        doubts = reduced.book.doubts
        if reduced.doubts:
            self.refuse((*reduced.doubts, *([self._suspected.said] if self._suspected else []), *doubts))
        elif doubts:
            self.question(doubts)
        else:
            hand = len(reduced.hand_levels)
            agree = f" {hand} hand-worked levels agree." if hand else ""
            once = len(read_once(reduced))
            matters = "the floor at the door and the highest spots" if self.needed().screeding.there else "the DPC and sills"
            alone = (f" {once} point{' was' if once == 1 else 's were'} read once, where no check sees a slip: read again what "
                     f"matters most, {matters}." if once else "")
            unsaved = self.text.value != self._base
            demo = " This is the demonstration: what you change here is not kept." if unsaved and (
                self.needed().folder.name in DEMONSTRATIONS) else ""
            self.say(f"{len(reduced.table)} rows read and reduced; no check failed.{agree}{alone}"
                     f"{demo or (' Not saved yet, but kept as you type.' if unsaved else '')}")
        told = paragraphs((reduced.book.known_words, *reduced.steadiness))
        self.levels.value = (f"{told}<details><summary>How the book was understood</summary>"
                             f"{html_table(reduced.book.understood, words=True)}</details>"
                             f"{scrolled(reduced._repr_html_()) if len(reduced.table) <= _ROWS else escape(reduced.closing)}")

    def _fill_grid(self, reduced: ReducedLevels | None) -> bool:
        """The cells as they stand in the text, with levels, faults and doubts beside them; whether there are any to show."""
        page = self._page()
        if len(page.records) > _ROWS:
            return False
        names, count = self._names(page), len(page.records) - 1
        headings = [page.cell(0, place) for place in range(len(names))]
        shown = [f"{heading}, {self.unit.value}" if heading.lower() in LENGTHS else heading for heading in headings]
        worked = [["", ""] for _ in range(count)]
        if reduced is not None:
            table = reduced.table
            for number, *both in zip(table.index, table["hpc"], table["level"], strict=True):
                worked[number - 1] = ["" if one != one else true_minus(word_level(one)).removesuffix(" m") for one in both]
        marks = [{"row": fault.row - 1, "column": names.index(fault.column) if fault.column in names else -1,
                  "said": fault.problems[0], "doubt": False} for fault in self._faults if fault.row]
        marks += [{"row": at - 1, "column": names.index(column) if column in names else -1, "said": said, "doubt": True}
                  for at, column, said in self._doubtful(reduced)]
        with self.grid.hold_sync():
            self.grid.headings, self.grid.widths = shown, [_WIDE.get(name, 5) for name in names]
            self.grid.cells = [[page.cell(at, place) for place in range(len(headings))] for at in range(1, count + 1)]
            self.grid.worked, self.grid.marks = worked, marks
        return True

    def _doubtful(self, reduced: ReducedLevels | None) -> Iterator[tuple[int, str, str]]:
        """Row, column and sentence of what is doubtful; the readings that a slip is suspected in are found here."""
        self._suspected = None
        if reduced is None:
            return
        columns = {bare(column.heading): column.name for column in reduced.book.columns}
        for doubt in reduced.book.doubts:
            if found := re.match(r"Row (\d+), point .*?: ('([^']+)')?", doubt):
                yield int(found[1]), columns.get(found[3], ""), doubt
        for at, point, hand, level in reduced.hand_levels.query("not agrees")[["row", "point", "hand_level", "level"]].itertuples(
                index=False):
            yield at, "hand_level", (f"Row {at}, point {point}: worked by hand {word_level(hand)}, the readings give "
                                     f"{word_level(level)}.")
        if reduced.doubts and len(reduced.table) <= _SEARCHED:
            found = self.attempt(lambda: suspect_slips(reduced.book, allowable=reduced.adjustment.allowable))
            self._suspected = found if found and found.noticed else None
            for one in found.on_the_line[:MOST_TOLD] if self._suspected else ():
                yield one.row, one.column, f"Row {one.row}, point {one.point}: {one.words}."

    def _offer_a_level(self) -> None:
        """Where all that is missing is a known level, offer to call the first point 10.000 m."""
        try:
            book = self._typed().book if self.file == "survey_text" else None  # what was laid keeps the datum of the first
        except Exception:  # told already
            return
        if book is not None and not book.known:
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
            taken = self.attempt(lambda: self.draft.take_up(waiting))
            self._look_for_drafts()
            if taken is not None:
                self.unit.value = taken[1]
                self.text.value = taken[0]

    def throw_away(self) -> None:
        """Take away a book that was typed and not saved."""
        if (waiting := self._waiting) is not None:
            thrown = self.attempt(lambda: self.draft.throw_away(waiting))
            if thrown:
                self.say(f"It is put aside as {self.draft.thrown}.")
            told = self.message.value
            self._look_for_drafts()
            self.message.value = told

    def save_book(self) -> None:
        """Save the book, checked or not: what is typed is never lost. The message says which."""
        good, typed = self.check(), self.attempt(self._typed)
        if typed is None:
            return
        brief_text = own_brief(self.needed(), typed) if self.file == "survey_text" else typed.brief_text
        if self.save("", since=self._with(self.needed(), self._base),
                     **{self.file: _safe(self.text.value), "brief_text": brief_text}):
            self._base, self._base_unit = str(getattr(self.needed(), self.file)), self._stored_unit()
            self.text.value = self._base
            self.attempt(self.draft.drop)
            self.check()
            checks, at_ease = self.message.value, "role='status'" in self.message.value
            self.say("Saved." if at_ease else "Saved. Mind what the checks say." if good else
                     "Saved as it stands; it cannot be reduced yet.")
            self.message.value += checks


def _is_book(block: str) -> bool:
    """Whether a block of cells begins with the headings of a level book."""
    try:
        return bool(columns_of(page_of(block).records[0][0], "m"))
    except SurveyError:
        return False


def _safe(text: str) -> str:
    """The text with no cell that a spreadsheet would run; as it is where it is no table yet."""
    try:
        return page_of(text).made_safe()
    except SurveyError:
        return guarded(text)
