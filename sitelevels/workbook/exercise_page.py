"""An exercise on paper: the page to fill in by hand, ruled as a field book, and the same filled in with the working."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import count

import pandas as pd

from ..teaching.exercise import WORKED, Exercise, Question
from ..teaching.worked import worked_steps
from ..wording import true_minus, word_level, word_mm
from .figures import style
from .page import broken
from .paper import BOTTOM, BY_HAND, LEFT, PALE, PT, RIGHT, STEP, Column, Paper, row_height

SUMMED = ("bs", "is", "fs", "rise", "fall")
_TYPED, _ANSWERED = 5.2, 9.0  # mm: a row of the answers; a question with the place for its answer
_WORKINGS = 22.0  # mm: the least room for workings
_QUESTIONS = (Column("name", "question", 33.0, words=True), Column("ask", "what is asked", 101.0, words=True),
              Column("answer", "answer", 48.0, words=True))
_GAP = 6.0  # mm between two columns of text


def book_columns(unit: str = "m", *, adjusted: bool = False) -> tuple[Column, ...]:
    """The columns of a field book; the remarks take what the others leave."""
    level, reading, step = (18.0, 14.5, 14.5) if adjusted else (20.0, 16.0, 16.5)
    first = [Column("row", "row\n", 9.0), Column("point", "point\n", 16.0, words=True),
             *(Column(name, f"{name.upper()}\n{unit}", reading) for name in ("bs", "is", "fs")),
             *(Column(name, f"{name}\n{unit}", step) for name in ("rise", "fall")),
             Column("hpc", f"HPC\n{unit}", level), Column("level", f"level\n{unit}", level)]
    if adjusted:
        first.append(Column("adjusted", f"adjusted\n{unit}", level))
    rest = RIGHT - LEFT - sum(column.width for column in first)
    return (*first, Column("remarks", "remarks\n", rest, words=True))


class _Pages:
    """The pages of one exercise, each with the same head and foot."""

    def __init__(self, title: str, named: str, foot: str) -> None:
        self._head = title, named, foot
        self.all = [Paper(*self._head)]

    @property
    def page(self) -> Paper:
        """The page that is being filled."""
        return self.all[-1]

    def turn(self) -> Paper:
        """Go on to a new page."""
        title, named, foot = self._head
        self.all.append(Paper(title, f"{named}, page {len(self.all) + 1}", foot))
        return self.page


def exercise_pages(exercise: Exercise, foot: str) -> list[Paper]:
    """The pages that a learner is given; `foot` says how to have them marked."""
    pages = _Pages(_title(exercise), f"exercise {exercise.seed}", foot)
    page = pages.page
    page.down += 2.5
    for said, left, width in (("Name", LEFT, 88.0), ("date", LEFT + 106, 34.0)):
        page.write(said, left=left)
        page.blank(left + 12, page.down, width)
    page.down += STEP + 3.5
    _opening(page, exercise)
    if exercise.book:
        _field_book(pages, exercise, BY_HAND)
        checks_to_fill(pages.page if pages.page.room > STEP + 5 else pages.turn())
    if exercise.questions:
        _questions(pages, exercise)
    page = pages.page if pages.page.room >= _WORKINGS else pages.turn()
    page.down += 2.0
    page.told("Workings", bold=True)
    for number in count():
        y = page.down + number * BY_HAND
        if y > BOTTOM:
            break
        page.rule(LEFT, y, RIGHT, y, colour=PALE)
    return pages.all


def answer_pages(exercise: Exercise, foot: str) -> list[Paper]:
    """The same filled in, with what was planted, the sums with both their sides, and every step."""
    pages = _Pages(f"Answers: {_title(exercise)}", f"exercise {exercise.seed}", foot)
    if exercise.slip:
        page = pages.page
        page.down += page.write(exercise.slip.words, bold=True, colour=style.NOT_MET) + 1.2
    if exercise.reduced is not None:
        _field_book(pages, exercise, _TYPED, filled=True)
        _in_columns(pages, [*_both_sides(exercise), exercise.reduced.closing], 1)
    else:
        _in_columns(pages, exercise.given, 1)
    if exercise.questions:
        _answers(pages, exercise)
    steps = [one for one in worked_steps(exercise) if not (exercise.slip and one == exercise.slip.words)]  # it stands above
    if pages.page.room < 4 * STEP:
        pages.turn()
    pages.page.down += 1.5
    pages.page.told("Worked by HPC" if exercise.book else "Worked", bold=True)
    _in_columns(pages, steps, 2)
    return pages.all


def _title(exercise: Exercise) -> str:
    """Without the number, which stands opposite."""
    return f"{exercise.kind[:1].upper()}{exercise.kind[1:]} (invented)" if exercise.kind else exercise.title


def _opening(page: Paper, exercise: Exercise) -> None:
    page.told(exercise.task, bold=True)
    for fact in exercise.given:
        page.write("–", left=LEFT)
        page.down += page.write(fact, left=LEFT + 3, width=RIGHT - LEFT - 3) + 0.4
    page.down += 2.5


def _field_book(pages: _Pages, exercise: Exercise, least: float, *, filled: bool = False) -> None:
    unit = exercise.book.unit_of("bs") if exercise.book else "m"
    columns, lines = book_columns(unit, adjusted="adjusted" in exercise.columns), _lines(exercise, filled=filled)
    last = row_height(columns, {}) if filled else BY_HAND
    pages.page.heading(columns)
    changed = [(str(change.row), change.column) for change in exercise.slip.changes] if exercise.slip and filled else []
    for cells in lines:
        spoilt = [column for row, column in changed if row == cells["row"]]
        bold = [*WORKED, *spoilt, *(["remarks"] if spoilt else [])]
        if pages.page.room < max(least, row_height(columns, cells, bold)) + last:
            pages.turn().heading(columns)
        pages.page.row(columns, cells, least=least, bold=bold)
    sums = _column_sums(exercise) if filled else {}
    pages.page.row(columns, {"point": "sums", **sums}, least=least, bold=["point", *SUMMED], thick=1.0)
    pages.page.down += 1.5


def _lines(exercise: Exercise, *, filled: bool) -> list[dict[str, str]]:
    """The rows of the book as texts; what is known, and what was planted, under the remarks."""
    sheet = exercise.sheet(filled=filled)
    lines: list[dict[str, str]] = [{str(name): str(cell) for name, cell in line.items()}
                                   for line in sheet[sheet["row"] != ""].to_dict("records")]
    meant: dict[int, list[str]] = {}
    if filled and exercise.slip:
        how = "but for the knock" if exercise.slip.kind == "the instrument was knocked" else "was read"
        for change in exercise.slip.changes:
            meant.setdefault(change.row, []).append(f"{change.column.upper()} {word_level(change.meant)} {how}")
    for line in lines:
        said = exercise.remarked(line["remarks"], line["rl"])
        line["remarks"] = "; ".join(filter(None, [said, *meant.get(int(line["row"]), [])]))
    return lines


def _column_sums(exercise: Exercise) -> dict[str, str]:
    """What stands in each column, added up."""
    sheet = exercise.sheet(filled=True)
    columns = [name for name in SUMMED if name in sheet.columns]
    added = {name: float(pd.to_numeric(sheet[name], errors="coerce").sum()) for name in columns}
    return {name: word_level(value).removesuffix(" m") for name, value in added.items()}


def checks_to_fill(page: Paper) -> None:
    """A line for each side of the check on the arithmetic."""
    page.down += 3.5
    third = (RIGHT - LEFT) / 3
    for place, (said, width) in enumerate((("ΣBS − ΣFS =", 24.0), ("Σrise − Σfall =", 26.0), ("last − first level =", 32.0))):
        left = LEFT + place * third
        page.put(said, left, page.down)
        page.blank(left + width, page.down, third - width - 8)
        page.put("m", left + third - 7, page.down)
    page.down += STEP + 3.0


def _both_sides(exercise: Exercise) -> list[str]:
    """The sums that must agree, in sentences."""
    assert exercise.reduced is not None
    table = exercise.reduced.arithmetic
    several = table["run"].nunique() > 1
    return [f"{f'Run {run}: ' if several else ''}{check}: {word_level(left)} and {word_level(right)}."
            for run, check, left, right in table[["run", "check", "left", "right"]].itertuples(index=False, name=None)]


def _answers(pages: _Pages, exercise: Exercise) -> None:
    """Each question with its answer; how it is found stands among the steps."""
    told = [f"{question.name}: {question.rights(exercise.own.answers[question.name])}" for question in exercise.questions]
    pages.page.down += 1.5
    pages.page.told("Answers", bold=True)
    _in_columns(pages, told, 3)


def _questions(pages: _Pages, exercise: Exercise) -> None:
    started = False
    for question in exercise.questions:
        choice = f"ring one: {' / '.join(question.choices)}" if question.unit == "choice" else ""
        cells = {"name": question.name, "ask": question.ask, "answer": choice}
        tall = max(_ANSWERED, row_height(_QUESTIONS, cells, ["name"]))
        if pages.page.room < tall + (0 if started else 14.0):
            pages.turn()
            started = False
        page = pages.page
        if not started:
            page.told("Questions", bold=True)
            page.rule(LEFT, page.down, RIGHT, page.down, thick=1.0, colour=style.INK)
            started = True
        top = page.row(_QUESTIONS, cells, least=_ANSWERED, bold=["name"])
        if not choice:
            _place_to_answer(page, question, top + (page.down - top - STEP) / 2 + 0.6)
    pages.page.down += 1.5


def _place_to_answer(page: Paper, question: Question, down: float) -> None:
    left = RIGHT - _QUESTIONS[-1].width + 2
    before = {"fall": "1 :", "row": "row"}.get(question.unit, "")
    page.put(before, left, down)
    page.blank(left + (8 if before else 0), down, 36 - (8 if before else 0))
    page.put(question.unit if question.unit in ("m", "mm") else "", left + 37.5, down)


def _in_columns(pages: _Pages, told: Sequence[str], columns: int) -> None:
    """Sentences in so many columns side by side, about equally long, on more pages where they do not fit."""
    width = (RIGHT - LEFT - _GAP * (columns - 1)) / columns
    waiting = [broken(true_minus(one), (width - 3) * PT) for one in told]
    while waiting:
        page, deepest = pages.page, 0
        fits = int(page.room / STEP)
        aim = min(fits, -(-sum(map(len, waiting)) // columns))
        for place in range(columns):
            left, down = LEFT + place * (width + _GAP), 0
            while waiting and down < aim and down + len(waiting[0]) <= fits:
                for number, line in enumerate(waiting.pop(0)):
                    page.put(line, left + (3 if number else 0), page.down + down * STEP)
                    down += 1
            deepest = max(deepest, down)
        page.down += deepest * STEP + 0.8
        if waiting:
            pages.turn()


def last_level(exercise: Exercise) -> str:
    """The level found in the last row of the book, in m; a word where there is no book."""
    levels = exercise.own.levels
    return word_level(levels[max(levels)]) if levels else "no book"


def misclosure(exercise: Exercise) -> str:
    """Observed minus known, in mm; a word where nothing closes."""
    found = exercise.reduced.misclosure if exercise.reduced else None
    return "none" if found is None else word_mm(found)
