"""An exercise to fill in: the book as a grid, the questions as fields, marked with the reasons."""

from __future__ import annotations

from html import escape
from typing import Any

import ipywidgets as widgets
import pandas as pd

from ...errors import SurveyError
from ...survey.headings import LENGTHS
from ...teaching.exercise import WORKED, Exercise, Question
from ...teaching.filled import FILLED, Page, read_page, unused_words
from ...teaching.marking import Marked, mark_book
from ...teaching.worked import worked_steps
from ...wording import html_table, true_minus
from ..answers import LEARNING, AnswerFile
from .base import BAD, CLOSE, GOOD, Form, button, listed, row, scrolled
from .grid import Grid
from .learn import LearnerForm

_WIDTHS = {"point": 5, "rise": 5, "fall": 5, "hpc": 5, "bs": 4, "is": 4, "fs": 4, "rl": 5}
_HEADS = {"bs": "BS", "is": "IS", "fs": "FS", "hpc": "HPC"}  # as on paper
_STYLE = "<style>.jupyter-widget-Collapse-header { color: var(--jp-ui-font-color1) }</style>"  # its own grey is too faint
_COLOURS = {"right": GOOD, "wrong": BAD}


class ExerciseForm(Form):
    """The exercise of a kind with the learner's own numbers. What is typed is kept in a file for each, as each cell is left."""

    terms = ("benchmark", "set-up", "backsight", "intermediate sight", "foresight", "change point", "rl", "HPC", "rise", "fall",
             "level", "adjusted level", "misclosure", "arithmetic", "upside down", "soffit", "slip", "collimation",
             "two-peg test", "DPC", "governs", "threshold", "formation", "sub-base")

    def __init__(self, learner: LearnerForm, kind: str) -> None:
        super().__init__(None)
        self.learner, self.kind = learner, kind
        self.exercise: Exercise | None = None
        self.fields: dict[str, widgets.Text | widgets.Dropdown] = {}
        self.beside: dict[str, widgets.HTML] = {}
        self._filling = False
        self.told, self.marked, self.answers = (widgets.HTML() for _ in range(3))
        self.grid, self.questions = Grid(), widgets.VBox()
        self.pasted = widgets.Textarea(placeholder="the page as CSV, with its line of headings",
                                       layout=widgets.Layout(width="98%", height="6em"))
        inside = [row(button("Save the blank page as CSV", self.save_blank)), self.pasted,
                  row(button("Take this page", self.take_in))]
        elsewhere = widgets.Accordion([widgets.VBox(inside)], titles=("Fill it in elsewhere: in a spreadsheet",))
        self.show = button("Show me the answers", self.show_answers)
        self.body = widgets.VBox([self.grid, self.questions, row(button("Mark", self.mark), self.show,
                                                                 button("Start again", self.start_again))])
        self.children = [self.told, self.body, elsewhere, self.message, self.marked, self.answers]
        self.grid.on_msg(lambda _, content, __: self.attempt(lambda: self._typed_in_grid(content)))
        learner.observe(lambda _: self.follow(), "choice")
        self.follow()

    # The page

    def follow(self) -> None:
        """Show the exercise of the learner, with what was typed into it before."""
        self.message.value = self.marked.value = ""
        self.exercise = None  # what is typed meanwhile belongs to none
        exercise = self.attempt(lambda: self.learner.exercise(self.kind))
        self.body.layout.display = "none" if exercise is None else ""
        if exercise is None:
            self.told.value = ""
            return
        self.exercise, self.blank = exercise, exercise.sheet()
        self.file = AnswerFile(self.learner.file_name(self.kind))
        kept = self.attempt(lambda: self.file.read(exercise))
        self.page = self.blank.copy() if kept is None else kept
        given = [*exercise.given]
        if self.learner.without(exercise):
            given.append("There is no slip in it: this kind cannot have the one that was asked for.")
        self._hide_answers()
        self._ask(exercise)
        self._fill()
        # who reads the title finds the rest there
        self.told.value = (f"{_STYLE}<div style='line-height:1.5'><p><b>{escape(exercise.title)}</b></p>"
                           f"<p>{escape(exercise.task)}</p><ul>{listed(given)}</ul></div>")

    def _ask(self, exercise: Exercise) -> None:
        """A field for each question, with room for its mark."""
        self.fields = {one.name: self._field(one) for one in exercise.questions}
        self.beside = {one.name: widgets.HTML() for one in exercise.questions}
        self.questions.children = [
            widgets.VBox([widgets.HTML(f"<span style='line-height:1.5'><b>{escape(one.heading)}</b>: {escape(one.ask)}</span>"),
                          row(self.fields[one.name], self.beside[one.name])]) for one in exercise.questions]

    def _field(self, asked: Question) -> widgets.Text | widgets.Dropdown:
        layout = widgets.Layout(width="14em")
        field = (widgets.Dropdown(options=["", *asked.choices], value="", layout=layout) if asked.choices else
                 widgets.Text(continuous_update=False, layout=layout))
        field.observe(lambda change: self.attempt(lambda: self._answered(asked.name, str(change["new"]))), "value")
        return field

    @property
    def _rows(self) -> pd.DataFrame:
        """The lines of the page that stand for rows of the book."""
        rows: pd.DataFrame = self.page.loc[self.page["row"] != ""]
        return rows

    @property
    def _columns(self) -> list[str]:
        """The columns of the grid, in the order of the page on paper."""
        return [str(name) for name in self.page.columns if name not in ("row", "rl", "answer")]

    @property
    def _cells(self) -> list[list[str]]:
        """The texts of the grid; as on paper a level that is known stands among the remarks."""
        rows = self._rows
        if self.exercise is not None:
            rows = rows.assign(remarks=[*map(self.exercise.remarked, rows["remarks"], rows["rl"])])
        cells: list[list[str]] = rows[self._columns].to_numpy().tolist()
        return cells

    def _fill(self) -> None:
        """Show what the page holds."""
        columns, cells = self._columns, self._cells
        self.grid.layout.display = "" if cells else "none"
        with self.grid.hold_sync():
            self.grid.headings = [self._head(name) for name in columns]
            longest = max((len(line[columns.index("remarks")]) for line in cells), default=0)  # given, and no cell can be widened
            self.grid.widths = [max(11, longest * 3 // 5) if name == "remarks" else _WIDTHS.get(name, 6) for name in columns]
            self.grid.locked = [place for place, name in enumerate(columns) if name not in WORKED]
            self.grid.cells = cells
            self.grid.marks, self.grid.worked_headings, self.grid.worked = [], [], []
        self._filling = True
        for name, answer in self.page.loc[self.page["row"] == "", ["point", "answer"]].itertuples(index=False):
            field = self.fields[name]
            if isinstance(field, widgets.Dropdown) and answer not in field.options:
                field.options = [*field.options, answer]  # as it was typed elsewhere
            field.value, self.beside[name].value = answer, ""
        self._filling = False

    def _head(self, name: str) -> str:
        """A column as it is headed on paper, lengths with the unit of the book."""
        unit = f", {self.exercise.unit}" if self.exercise and name in (*LENGTHS, *WORKED) else ""
        return f"{_HEADS.get(name, name)}{unit}"

    def _typed_in_grid(self, content: dict[str, Any]) -> None:
        """One cell that was left changed, or a block pasted into it; what is given stays as it is."""
        deep, columns = len(self._rows), self._columns
        first, column, block = self.grid.heard(content, deep, len(columns))
        cells = [(first + down, column + along, cell.strip())
                 for down, line in enumerate(block) for along, cell in enumerate(line)]
        inside = [(at, place, cell) for at, place, cell in cells
                  if at < deep and place < len(columns) and columns[place] in WORKED]
        for at, place, cell in inside:
            self.page.loc[self._rows.index[at], columns[place]] = cell
        self.grid.cells = self._cells
        changed = {(at, place) for at, place, _ in inside}
        self.grid.worked = [["" if at in {row for row, _ in changed} else line[0]] for at, line in enumerate(self.grid.worked)]
        self.grid.marks = [mark for mark in self.grid.marks if (mark["row"], mark["column"]) not in changed]
        self._keep()
        if len(inside) < len(cells):
            raise SurveyError("the readings and what else is given cannot be overwritten",
                              rule=f"The columns to fill in are {', '.join(name for name in columns if name in WORKED)}.")

    def _answered(self, name: str, answer: str) -> None:
        if not self._filling:
            self.page.loc[(self.page["row"] == "") & (self.page["point"] == name), "answer"] = answer.strip()
            self.beside[name].value = ""
            self._keep()

    def _keep(self) -> None:
        """Keep the page as it is now, and say that the marks below are older."""
        self.message.value = ""
        if self.marked.value:
            self.marked.value = "<p>Changed since it was marked: press Mark again.</p>"
        if aside := self.file.keep(self.page):
            self.question((f"This exercise was changed elsewhere too. What stood there is put aside as {aside} in "
                           f"data/{LEARNING}; here is what stands in this form.",))

    # The buttons

    def mark(self) -> None:
        """Say of each cell and each answer whether it is right, and if not, why."""
        self.message.value = self.marked.value = ""
        exercise = self.exercise
        found = None if exercise is None else self.attempt(lambda: mark_book(exercise, self.page))
        if found is not None:
            self._show_marks(found)

    def _show_marks(self, found: Marked) -> None:
        columns = self._columns
        numbers = [int(number) for number in self._rows["row"]]
        self.grid.marks = [{"row": numbers.index(mark.row), "column": columns.index(mark.column),
                            "said": f"{mark.column} {mark.written}: {mark.reason}", "doubt": mark.verdict in ("carried", "again")}
                           for mark in found.marks if mark.row and mark.written and mark.verdict != "right"]
        self.grid.worked_headings, self.grid.worked = ["right"], [[self._ticked(found, number)] for number in numbers]
        for mark in found.marks:
            if not mark.row:
                colour = _COLOURS.get(mark.verdict, CLOSE)
                said = mark.reason or {"right": "Right.", "missing": "Left empty."}.get(mark.verdict, "")
                self.beside[mark.where].value = f"<span style='color:{colour};line-height:1.5'>{escape(said)}</span>"
        right, asked = found.score
        colour = GOOD if right == asked else BAD if found.slips else CLOSE
        whole = f"<p role='status' style='color:{colour}'>{escape(found.sentence())}</p>"
        self.marked.value = f"<div style='line-height:1.5'>{whole}<ul>{listed(found.words)}</ul></div>"

    @staticmethod
    def _ticked(found: Marked, number: int) -> str:
        """Which cells of a row are right: all that are asked, or their columns; a word and no colour."""
        marks = [mark for mark in found.marks if mark.row == number]
        right = [mark.column.replace("hpc", "HPC") for mark in marks if mark.verdict == "right"]
        return "" if not right else "✓ all" if len(right) == len(marks) else f"✓ {', '.join(right)}"

    def show_answers(self) -> None:
        """Show the page filled in and every step of the working; pressed again, hide them."""
        if self.exercise is None or self.answers.value:
            self._hide_answers()
            return
        self.attempt(self._show_answers)

    def _hide_answers(self) -> None:
        self.answers.value, self.show.description = "", "Show me the answers"

    def _show_answers(self) -> None:
        exercise = self.exercise
        assert exercise is not None
        ways = [("Step by step, by HPC", worked_steps(exercise, method="hpc"))]
        if exercise.book is not None:
            ways.append(("Step by step, by rise and fall", worked_steps(exercise, method="rise and fall")))
        told = "".join(f"<details{'' if place else ' open'}><summary>{name}</summary><ol>"
                       f"{listed(steps)}</ol></details>"
                       for place, (name, steps) in enumerate(ways))
        sheet = exercise.sheet(filled=True).rename(columns=self._head).rename(columns={"point": "point or question"})
        self.answers.value = scrolled(html_table(sheet.map(true_minus), words=True) + told, tall=44)
        self.show.description = "Hide the answers"

    def start_again(self) -> None:
        """A blank page; what was typed is put aside."""
        if self.exercise is None:
            return
        aside = self._aside()
        if aside is not None and self._take(self.blank.copy()):
            self.say(f"A blank page. What you had is put aside as {aside} in data/{LEARNING}." if aside else "The page is blank.")

    def save_blank(self) -> None:
        """Write the blank page as CSV."""
        name = None if self.exercise is None else self.attempt(lambda: self.file.save_blank(self.blank))
        if name:
            self.say(f"Saved as {name} in the folder data/{LEARNING}. Fill in the columns {', '.join(self._to_fill)}; then paste "
                     "all of it, headings too, into the box.")

    @property
    def _to_fill(self) -> list[str]:
        return [str(name) for name in self.page.columns if name in FILLED]

    def take_in(self) -> None:
        """Take a page that was filled in elsewhere, in place of this one, which is put aside."""
        exercise = self.exercise
        page: Page | None = None if exercise is None else self.attempt(lambda: read_page(exercise, self.pasted.value))
        aside = None if page is None else self._aside()
        if page is not None and aside is not None and self._take(page.table):
            self.say("The page is taken. Press Mark." + (f" What stood here is put aside as {aside}." if aside else "")
                     + (f" {unused_words(page.unused)}" if page.unused else ""))

    def _aside(self) -> str | None:
        """Put aside what is on the page; the name of that file, "" where nothing is typed yet, None where it cannot be done."""
        blank = bool((self.page[self._to_fill] == "").all(axis=None))
        return "" if blank else self.attempt(lambda: self.file.put_aside(self.page))

    def _take(self, page: pd.DataFrame) -> bool:
        """Another page in place of this one, which stays where the other cannot be kept."""
        if self.attempt(lambda: self.file.keep(page)) is None:
            return False
        self.page = page
        self._hide_answers()
        self._fill()
        self.marked.value = ""
        return True

