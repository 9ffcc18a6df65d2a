"""What a learner filled in: a page of texts, each cell found by its row and column."""

from __future__ import annotations

import math
import re
import warnings
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from numbers import Real

import pandas as pd

from ..errors import SurveyError, SurveyWarning, must_be, plainly
from ..survey.book import METRES_PER
from ..survey.cells import number_of, page_of, plain
from ..wording import word_exactly
from .exercise import GIVEN, WORKED, Exercise

FILLED = (*WORKED, "answer")
"""Columns of a page that a learner fills in."""
HUGE = 1e9  # m: no level is written so
LONGEST_PAGE, LONGEST_CELL = 2_000_000, 200  # signs
_LENGTH = re.compile(r"(.*?)\s*(mm|cm|m|ft)?", re.IGNORECASE | re.DOTALL)
_HEADING = re.compile(r"(.*?)[\s,(\[]*(?:(?<!\w)(mm|cm|m|ft))?[\s)\]]*", re.DOTALL)
_CALLED = {"adjusted level": "adjusted", "adjusted_level": "adjusted", "reduced level": "level", "point or question": "point"}
_REMEDY = "Fill in the page as it was given out."


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


@dataclass(frozen=True, eq=False)
class Page:
    """A page as it was taken in: the table of its texts, and the headings that it has no column for."""

    table: pd.DataFrame
    unused: tuple[str, ...]


def length_of(text: str, per: float) -> float | None:
    """The length in m that a text is, in the unit that is `per` m long unless it names its own; None if it is none.

    >>> length_of("9,884", 1.0), length_of("−12 mm", 1.0), length_of("1.2.3", 1.0)
    (9.884, -0.012, None)
    """
    found = _LENGTH.fullmatch(text.strip()) if len(text) <= LONGEST_CELL else None
    number = number_of(found[1]) if found else None
    if found is None or number is None:
        return None
    metres = number * (METRES_PER[found[2].lower()] if found[2] else per)
    return metres if abs(metres) < HUGE else None


def read_filled(exercise: Exercise, answers: pd.DataFrame | str) -> Filled:
    """The filled cells of a page; refusals as `read_page`, a SurveyWarning for headings that are not used."""
    page = read_page(exercise, answers)
    if page.unused:
        warnings.warn(unused_words(page.unused), SurveyWarning, stacklevel=3)
    per = METRES_PER[exercise.unit]
    lines = page.table.to_dict("records")
    cells = {(int(line["row"]), name): Cell(line[name], length_of(line[name], per))
             for line in lines if line["row"] for name in exercise.columns if line[name].strip("-–—− ")}  # a dash is no answer
    return Filled(cells, {line["point"]: line["answer"] for line in lines if not line["row"] and line["answer"]})


def unused_words(headings: Sequence[str]) -> str:
    """That columns were passed over, in a sentence.

    >>> unused_words(["rize", "mood"])
    'Not columns of the page, and not used: rize, mood.'
    """
    return plainly(f"Not columns of the page, and not used: {', '.join(headings)}.")


def read_page(exercise: Exercise, answers: pd.DataFrame | str) -> Page:
    """A page that was filled in, as a table like `Exercise.sheet`; what is given stays as it was given out.

    Columns go by their headings, a unit behind them or not; rows of the book by `row`, else in order; questions by their names
    under `point`. Raises SurveyError for a text that is no page, for the page of another exercise, a line that belongs to no
    row and no question, and two answers for one cell.
    """
    must_be(answers, (pd.DataFrame, str), "the page")
    sheet = exercise.sheet()
    headings, records = _from_frame(answers) if isinstance(answers, pd.DataFrame) else _from_text(answers)
    names, units = zip(*(_named(heading) for heading in headings), strict=True) if headings else ((), ())
    if not set(names) & {*exercise.columns, "answer"}:
        raise SurveyError("the page has no column to fill in", rule=f"Its headings are {', '.join(map(str, sheet.columns))}.",
                          remedy=_REMEDY)
    twice = next((name for name in sheet.columns if names.count(name) > 1), None)
    if twice is not None:
        raise SurveyError(f"the page has the heading {twice!r} twice", rule="Each column stands once.")
    lines = []
    for cells in records:
        line = {name: text.strip() for name, text in zip(names, cells, strict=False) if name in sheet.columns}
        for name, unit in zip(names, units, strict=True):
            if unit and unit != exercise.unit and name in WORKED and number_of(line.get(name, "")) is not None:
                line[name] += f" {unit}"
        lines.append(line)
    typed: dict[tuple[int, str], str] = {}
    for place, line in _placed(exercise, sheet, lines):
        answered = {name: line[name] for name in ("answer", *exercise.columns) if line.get(name)}
        if not sheet["row"].iloc[place]:
            answered = dict(zip(["answer"], answered.values(), strict=False))  # also one typed beside its column
        for name, text in answered.items():
            if typed.setdefault((place, name), text) != text:
                where = f"row {sheet['row'].iloc[place]}, {name}" if sheet["row"].iloc[place] else sheet["point"].iloc[place]
                raise SurveyError(f"two answers stand here, {typed[place, name]!r} and {text!r}", where=where,
                                  remedy="Leave one.")
    for (place, name), text in typed.items():
        sheet.loc[sheet.index[place], name] = text
    unused = (heading for heading, name in zip(headings, names, strict=True) if heading.strip() and name not in sheet.columns)
    return Page(sheet, tuple(unused))


def _placed(exercise: Exercise, sheet: pd.DataFrame, lines: list[dict[str, str]]) -> Iterator[tuple[int, dict[str, str]]]:
    """Each line with its place on the sheet."""
    given = [{str(name): str(cell) for name, cell in line.items()} for line in sheet.to_dict("records")]
    by_row = {line["row"]: place for place, line in enumerate(given) if line["row"]}
    asked = len(given) - len(exercise.questions)
    by_name = {name.casefold(): asked + place for place, question in enumerate(exercise.questions)
               for name in (question.name, question.heading)}
    waiting = [] if any(line.get("row") for line in lines) else list(range(len(given)))
    for line in lines:
        point = line.get("point", "").casefold()
        place = None if line.get("row") else by_name.get(point)
        if line.get("row"):
            number = number_of(re.sub(r"^row\s*", "", line["row"], flags=re.IGNORECASE))
            place = None if number is None or number % 1 or number > 1e9 else by_row.get(str(int(number)))
        elif place is None and waiting and point in ("", given[waiting[0]]["point"].casefold()):
            place = waiting[0]
        if place in waiting:
            waiting.remove(place)
        if place is None:
            if any(line.get(name) for name in FILLED):
                called = " ".join(filter(None, (line.get("row"), line.get("point")))) or "without a row or a point"
                raise SurveyError(f"the line {called!r} of the page is neither a row of the book nor one of its questions",
                                  rule="Each line has the number of its row, or the name of its question under 'point'.",
                                  remedy=_REMEDY)
            continue
        if line.get("row") or place < asked:
            _same_exercise(line, given[place])
        yield place, line


def _same_exercise(line: Mapping[str, str], given: Mapping[str, str]) -> None:
    """Refuse a line whose readings are others; a spreadsheet may have dropped noughts and put in commas."""
    for name in GIVEN[1:-1]:
        typed, right = line.get(name, ""), given[name]
        if typed and typed.casefold() != right.casefold() and (
                number_of(typed) is None or number_of(typed) != number_of(right)):
            raise SurveyError(f"the page is that of another exercise: {name} is {typed!r} there and {right or 'empty'!r} here",
                              where=f"row {given['row']}, point {given['point']}",
                              remedy="Look at the number, the difficulty and the slip at the foot of the page.")


def _named(heading: str) -> tuple[str, str]:
    """The column that a heading names, and the unit behind it."""
    found = _HEADING.fullmatch(heading.strip().casefold()) if len(heading) <= LONGEST_CELL else None
    name, unit = (found[1], found[2] or "") if found else (heading, "")
    return _CALLED.get(name, name), unit


def _from_frame(frame: pd.DataFrame) -> tuple[list[str], list[list[str]]]:
    if "row" not in frame.columns and frame.index.name == "row":
        frame = frame.reset_index()
    return ([str(name) for name in frame.columns],
            [[_text(value) for value in values] for values in frame.itertuples(index=False, name=None)])


def _from_text(text: str) -> tuple[list[str], list[list[str]]]:
    if len(text) > LONGEST_PAGE:
        raise SurveyError(f"the page has {len(text)} signs", rule=f"A page has {LONGEST_PAGE} at most.", remedy=_REMEDY)
    page = page_of(text, named="page", headings=",".join(("row", "point", *FILLED)))
    records = [[plain(cell) for cell in cells] for cells, *_ in page.records]
    wide = next((cells for cells in records if any(cell.strip() for cell in cells[len(records[0]):])), None)
    if wide is not None:
        raise SurveyError(f"the line {page.delimiter.join(wide)!r} has more cells than there are headings",
                          remedy="Put a number with a decimal comma in quotation marks, or part the cells by semicolons.")
    return records[0], records[1:]


def _text(value: object) -> str:
    """A cell as somebody would type it."""
    if value is None or value is pd.NA or value is pd.NaT or (isinstance(value, Real) and value != value):
        return ""
    try:
        if isinstance(value, Real) and not isinstance(value, bool) and math.isfinite(value):
            return word_exactly(float(value), 1.0)
        return plain(str(value))
    except (ArithmeticError, ValueError):  # a number of hundreds of digits: shown as what it is, and read as none
        return f"a {type(value).__name__} that is no length"
