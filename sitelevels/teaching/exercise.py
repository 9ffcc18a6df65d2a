"""An exercise: a book to reduce, questions beside it, and the page that a learner fills in."""

from __future__ import annotations

import warnings
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from html import escape
from typing import Literal

import pandas as pd

from ..errors import SurveyWarning
from ..survey.book import METRES_PER, LevelBook
from ..survey.reduction import ReducedLevels, reduce_book
from ..wording import html_table, text_table, true_minus, word_exactly, word_fall, word_level, word_mm

Value = float | str
Unit = Literal["m", "mm", "fall", "choice", "row"]

GIVEN = ("row", "point", "bs", "is", "fs", "rl", "remarks")
"""Columns of the page that are filled in for the learner."""
WORKED = ("rise", "fall", "hpc", "level", "adjusted")
"""Columns that the learner fills in; a page leaves out "adjusted" where no misclosure is shared out."""


@dataclass(frozen=True)
class Own:
    """What a learner has so far: levels and HPCs in m by row, answers by the name of their question.

    The same question asked of the right numbers gives the right answer; of a learner's own, the answer that follows from them.
    """

    levels: Mapping[int, float] = field(default_factory=dict)
    hpcs: Mapping[int, float] = field(default_factory=dict)
    answers: Mapping[str, Value] = field(default_factory=dict)

    def number(self, name: str) -> float:
        """The answer to a question asked before, as a number."""
        return float(self.answers[name])


@dataclass(frozen=True, eq=False)
class Question:
    """Something to work out beside the columns of the book. Made by `practice_book`.

    `answer` gives it from what the learner has so far: in m for "m" and "mm", in m/m for "fall", one of `choices`, or the number
    of a row as text ("none" where there is none). `working` says how, with the right numbers. `mistakes` are wrong ways: what
    is said of each, and what it gives; the first that fits is said. `also` are other answers that are right. `check` names what
    would have caught a slip. `within` is how near in m an answer must be, where it is a length.
    """

    name: str
    ask: str
    unit: Unit
    answer: Callable[[Own], Value]
    working: str
    mistakes: Mapping[str, Callable[[Own], Value]] = field(default_factory=dict)
    choices: tuple[str, ...] = ()
    also: tuple[str, ...] = ()
    check: str = ""
    within: float = 0.0005

    @property
    def heading(self) -> str:
        """Its name with the unit to answer in."""
        unit = "1:N" if self.unit == "fall" else self.unit if self.unit in ("m", "mm") else ""
        return f"{self.name}, {unit}" if unit else self.name

    def word(self, value: Value) -> str:
        """An answer in words."""
        if isinstance(value, str):
            return value
        said = word_fall(value) if self.unit == "fall" else word_mm(value) if self.unit == "mm" else word_level(value)
        return true_minus(said)

    def rights(self, value: Value) -> str:
        """The right answer in words, and the others that are right too."""
        return self.word(value) + (f" (or {', '.join(self.also)})" if self.also else "")


@dataclass(frozen=True)
class Change:
    """One reading of a book that was changed: `booked` stands where `meant` was read, both in m."""

    row: int
    column: Literal["bs", "is", "fs"]
    meant: float
    booked: float


@dataclass(frozen=True)
class Slip:
    """A slip planted in a book: its kind, the readings it changed, in m, and the check that shows it ("" where none does).

    Made by `practice_book`.
    """

    kind: str
    point: str
    changes: tuple[Change, ...]
    caught_by: str

    @property
    def row(self) -> int:
        """The row where it was made."""
        return self.changes[0].row

    @property
    def words(self) -> str:
        """What was planted, and which check shows it, in sentences."""
        first = self.changes[0]
        more = f", and {len(self.changes) - 1} more after it" if len(self.changes) > 1 else ""
        seen = (f"{self.caught_by[:1].upper()}{self.caught_by[1:]} shows it." if self.caught_by else
                "No check of this book shows it: only reading the point a second time would.")
        read = "would have been read" if more else "was read"
        return (f"A slip was planted in row {first.row}, point {self.point}: {self.kind}. "
                f"{true_minus(f'{word_level(first.booked)} is booked where {word_level(first.meant)}')} {read}{more}. {seen}")


@dataclass(frozen=True, eq=False)
class Exercise:
    """A book to reduce by hand, with questions. Made by `practice_book`, or `Exercise(book)` of any level book.

    `task` says what to do, `given` what is known beside the book, a sentence each. `adjusts` says that the misclosure is shared
    out. A book that cannot be reduced raises SurveyError when its right levels, in m, are first asked for.

    >>> from sitelevels import read_book
    >>> page = Exercise(read_book("point,bs,is,fs,rl\\nBM,1.500,,,10.000\\nA,,1.625,,\\nBM,,,1.501,"))
    >>> page.sheet(filled=True)["level"].tolist()
    ['10.000', '9.875', '9.999']
    """

    book: LevelBook | None
    title: str = "A level book"
    task: str = "Reduce the book: HPC and levels, or rises, falls and levels."
    given: tuple[str, ...] = ()
    questions: tuple[Question, ...] = ()
    slip: Slip | None = None
    adjusts: bool = False
    seed: int = 0
    kind: str = ""
    difficulty: str = ""

    @cached_property
    def reduced(self) -> ReducedLevels | None:
        """The book reduced, misclosure shared out by set-ups; None where the exercise has no book."""
        if self.book is None:
            return None
        with warnings.catch_warnings(action="ignore", category=SurveyWarning):
            return reduce_book(self.book)

    @cached_property
    def right(self) -> pd.DataFrame:
        """The right columns, indexed by row: rise fall hpc level adjusted, in m; nan where a cell stays empty."""
        if self.reduced is None:
            return pd.DataFrame(columns=list(WORKED), dtype=float)
        return self.reduced.table.rename(columns={"adjusted_level": "adjusted"})[list(WORKED)]

    @cached_property
    def own(self) -> Own:
        """All right numbers, the answers to the questions among them."""
        levels = {int(row): float(level) for row, level in self.right["level"].items()}  # type: ignore[call-overload]
        hpcs = {int(row): float(hpc) for row, hpc in self.right["hpc"].dropna().items()}  # type: ignore[call-overload]
        answers: dict[str, Value] = {}
        for question in self.questions:
            answers[question.name] = question.answer(Own(levels, hpcs, answers))
        return Own(levels, hpcs, answers)

    @property
    def unit(self) -> str:
        """The unit that the book was booked in, and its columns are filled in."""
        return self.book.unit_of("bs") if self.book else "m"

    @property
    def columns(self) -> tuple[str, ...]:
        """The columns to fill in."""
        return () if self.book is None else WORKED if self.adjusts else WORKED[:-1]

    def sheet(self, *, filled: bool = False) -> pd.DataFrame:
        """A new page to fill in, of texts: row point bs is fs, the columns to fill in, rl remarks answer.

        A row for each row of the book, lengths in the unit it was booked in, then one for each question, named under `point`,
        answered under `answer`. `filled` gives the right answers.
        """
        columns = [*GIVEN[:5], *self.columns, *GIVEN[5:], "answer"]
        per = METRES_PER[self.unit]
        digit = 0.001 if per == 1.0 else 0.0
        lines = []
        for row in self.book.rows if self.book else ():
            known = [] if row.rl is None else [("rl", row.rl)]
            cells = {name: word_exactly(value, per, digit=digit) for name, value in (*row.readings(), *known)}
            if filled and row.number in self.right.index:
                worked = self.right.loc[row.number, list(self.columns)].dropna().to_dict()
                cells |= {str(name): word_level(value / per).removesuffix(" m") for name, value in worked.items()}
            lines.append(cells | {"row": str(row.number), "point": row.point, "remarks": row.remarks})
        for question in self.questions:
            lines.append({"point": question.name, "answer": question.word(self.own.answers[question.name]) if filled else ""})
        return pd.DataFrame([[line.get(name, "") for name in columns] for line in lines], columns=columns)

    def remarked(self, remarks: str, rl: str) -> str:
        """The remarks of a row of the page, a level that is known among them."""
        known = f"known: {rl} {self.book.unit_of('rl')}" if self.book and rl else ""
        return "; ".join(filter(None, (remarks, known)))

    def __repr__(self) -> str:
        return "\n".join([self.title, self.task, *self.given, text_table(self.sheet())])

    def _repr_html_(self) -> str:
        told = "".join(f"<p>{escape(one)}</p>" for one in (self.title, self.task, *self.given))
        return told + html_table(self.sheet(), words=True)
