"""What a learner filled in: a page of texts, each cell found by its row and column."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from numbers import Real

import pandas as pd

from ..errors import SurveyError, must_be
from ..survey.book import METRES_PER
from ..survey.cells import number_of, page_of, plain
from ..wording import word_exactly
from .exercise import WORKED, Exercise, Question

HUGE = 1e9  # m: no level is written so
_LENGTH = re.compile(r"(.*?)\s*(mm|cm|m|ft)?", re.IGNORECASE | re.DOTALL)
_HEADINGS = ("row", "point", *WORKED, "answer")


@dataclass(frozen=True)
class Cell:
    """A cell as it was filled in; `value` in m, None where the text is no number."""

    text: str
    value: float | None


@dataclass(frozen=True)
class Filled:
    """Filled cells by row and column, and the answers to questions by name, as typed."""

    cells: Mapping[tuple[int, str], Cell]
    answers: Mapping[str, str]

    def number(self, row: int, column: str) -> float | None:
        """The number in a cell, in m; None where there is none."""
        cell = self.cells.get((row, column))
        return None if cell is None else cell.value

    def uses(self, *columns: str) -> bool:
        """Whether anything is filled in in any of the columns."""
        return any(column in columns for _, column in self.cells)


def length_of(text: str, per: float) -> float | None:
    """The length in m that a text is, in the unit that is `per` m long unless it names its own; None if it is none.

    >>> length_of("9,884", 1.0), length_of("−12 mm", 1.0), length_of("1.2.3", 1.0)
    (9.884, -0.012, None)
    """
    found = _LENGTH.fullmatch(text.strip())
    number = number_of(found[1]) if found else None
    if found is None or number is None:
        return None
    metres = number * (METRES_PER[found[2].lower()] if found[2] else per)
    return metres if abs(metres) < HUGE else None


def read_filled(exercise: Exercise, answers: pd.DataFrame | str) -> Filled:
    """The filled cells of a page, with a SurveyError for what belongs to no row and no question."""
    must_be(answers, (pd.DataFrame, str), "the page")
    lines = _from_frame(answers) if isinstance(answers, pd.DataFrame) else _from_text(answers)
    book = exercise.book
    per = METRES_PER[book.unit_of("bs")] if book else 1.0
    rows = {row.number: row.point for row in book.rows} if book else {}
    names = {name.casefold(): one for one in exercise.questions for name in (one.name, one.heading)}
    numbered = any(line.get("row") for line in lines)
    waiting: list[int | Question] = [] if numbered else [*rows, *exercise.questions]
    found: dict[tuple[int, str] | str, str] = {}
    for line in lines:
        key: int | Question | None = names.get(line.get("point", "").casefold())
        if line.get("row"):
            number = number_of(re.sub(r"^row\s*", "", line["row"], flags=re.IGNORECASE))
            key = int(number) if number is not None and number in rows else None
        elif key is None and waiting and line.get("point", "").casefold() in ("", rows.get(_number(waiting[0]), "").casefold()):
            key = waiting[0]
        if key in waiting:
            waiting.remove(key)
        typed = {column: line[column] for column in ("answer", *WORKED) if line.get(column)}
        typed = dict([*typed.items()][:1]) if isinstance(key, Question) else typed  # an answer typed beside its column
        if key is None and typed:
            called = " ".join(filter(None, (line.get("row"), line.get("point")))) or "without a row or a point"
            raise SurveyError(f"the line {called!r} of the page is neither a row of the book nor one of its questions",
                              rule="Each line has the number of its row, or the name of its question under 'point'.",
                              remedy="Fill in the page as it was given out.")
        for column, text in typed.items():
            place = (key, column) if isinstance(key, int) else key.name if key else ""
            if found.setdefault(place, text) != text:
                where = f"row {key}, {column}" if isinstance(key, int) else str(place)
                raise SurveyError(f"two answers stand here, {found[place]!r} and {text!r}", where=where, remedy="Leave one.")
    cells = {place: Cell(text, length_of(text, per)) for place, text in found.items() if isinstance(place, tuple)}
    return Filled(cells, {place: text for place, text in found.items() if isinstance(place, str)})


def _number(key: int | Question) -> int:
    return key if isinstance(key, int) else 0


def _lines(headings: list[str], records: list[list[str]]) -> list[dict[str, str]]:
    """The cells of each line by the heading of their column, other columns passed over."""
    if not set(headings) & {*WORKED, "answer"}:
        raise SurveyError("the page has no column to fill in", rule=f"Its headings are {', '.join(_HEADINGS)}.",
                          remedy="Fill in the page as it was given out.")
    twice = [name for name in _HEADINGS if headings.count(name) > 1]
    if twice:
        raise SurveyError(f"the page has the heading {twice[0]!r} twice", rule="Each column stands once.")
    return [{name: text.strip() for name, text in zip(headings, cells, strict=False) if name in _HEADINGS} for cells in records]


def _from_frame(frame: pd.DataFrame) -> list[dict[str, str]]:
    if "row" not in frame.columns and frame.index.name == "row":
        frame = frame.reset_index()
    return _lines([str(name).strip().casefold() for name in frame.columns],
                  [[_text(value) for value in values] for values in frame.itertuples(index=False, name=None)])


def _from_text(text: str) -> list[dict[str, str]]:
    page = page_of(text, named="page", headings=",".join(_HEADINGS))
    records = [[plain(cell) for cell in cells] for cells, *_ in page.records]
    wide = next((cells for cells in records if any(cell.strip() for cell in cells[len(records[0]):])), None)
    if wide is not None:
        raise SurveyError(f"the line {page.delimiter.join(wide)!r} has more cells than there are headings",
                          remedy="Put a number with a decimal comma in quotation marks, or part the cells by semicolons.")
    return _lines([name.strip().casefold() for name in records[0]], records[1:])


def _text(value: object) -> str:
    """A cell as somebody would type it."""
    if value is None or value is pd.NA or value is pd.NaT or value != value:
        return ""
    if isinstance(value, Real) and not isinstance(value, bool):
        return word_exactly(float(value), 1.0) if math.isfinite(value) else str(value)
    return plain(str(value))
