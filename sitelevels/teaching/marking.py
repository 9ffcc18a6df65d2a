"""A page that a learner filled in, marked: what is right, what follows from an earlier slip, and which slip it was."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from html import escape
from itertools import product

import pandas as pd

from ..errors import SurveyError, finite, must_be, plainly, rows_named
from ..survey.book import LevelBook
from ..survey.cells import number_of
from ..survey.linking import EXACT
from ..wording import html_table, parse_fall
from .chain import Chain
from .exercise import Exercise, Own, Question, Value
from .filled import length_of, read_filled
from .judging import Judge, Mark, missing
from .reasons import Figures, Guess, no_reason, of_answer

ORDER = ("rise", "fall", "level", "hpc", "adjusted")


def mark_book(exercise: Exercise | LevelBook, answers: pd.DataFrame | str, *, digit: float = 0.001) -> Marked:
    """Mark a page that a learner filled in, with the reason for each slip.

    Parameters
    ----------
    exercise : Exercise or LevelBook
        What was to be worked out; a book alone asks for its columns.
    answers : DataFrame or str
        The page as `Exercise.sheet` gives it, filled in, or the same as CSV text. Rows go by `row`, else by order; questions by
        name. Numbers are in the unit of the book unless they name their own; decimal commas are read.
    digit : float
        The last digit of a level, m: numbers are the same within half of it.

    Returns
    -------
    Marked

    Raises
    ------
    SurveyError
        If the page has none of the columns, a heading twice, more cells than headings, lines that belong to no row or question,
        or two answers for one cell; if the book cannot be reduced; if the digit is not a number over 0; for a wrong type.

    Notes
    -----
    Each cell is held against the right number, then against what follows from the learner's own earlier numbers by either method.
    Only what fits neither is a slip, and it is looked for among the ways to work wrongly with those numbers.

    >>> from sitelevels import read_book
    >>> book = read_book("point,bs,is,fs,rl\\nBM,1.500,,,10.000\\nA,,1.625,,\\nBM,,,1.501,")
    >>> marked = mark_book(book, "row,hpc,level\\n1,11.500,\\n2,,13.125\\n3,,9.999")
    >>> print(marked.words[0])
    Row 2, A, level: you wrote 13.125; you added the intermediate sight: 11.500 + 1.625. Level = HPC − reading = 9.875 m. \
Σ(HPC × shots) − Σ(IS + FS) = Σ levels would have shown it.
    """
    must_be(exercise, (Exercise, LevelBook), "the exercise")
    digit = finite(digit, "the digit", "It is the last digit of a level in m, e.g. 0.001.", over=0)
    whole = exercise if isinstance(exercise, Exercise) else Exercise(exercise)
    filled = read_filled(whole, answers)
    judge = Judge(Figures(whole.unit, digit))
    own = Chain(whole, whole.reduced, filled, judge).own if whole.reduced else Own()
    columns = sorted(judge.marks.values(), key=lambda mark: (mark.row, ORDER.index(mark.column)))
    return Marked(whole, answers, (*columns, *_questions(whole, filled.answers, own, judge)))


@dataclass(frozen=True, eq=False)
class Marked:
    """A page with its marks, numbers in the unit of its book, such as m. Made by `mark_book`."""

    exercise: Exercise
    answers: pd.DataFrame | str
    marks: tuple[Mark, ...]

    @property
    def table(self) -> pd.DataFrame:
        """A new table, a line for each mark: where column written right verdict reason check."""
        names = ["where", "column", "written", "right", "verdict", "reason", "check"]
        return pd.DataFrame([[getattr(mark, name) for name in names] for mark in self.marks], columns=names)

    @property
    def slips(self) -> tuple[Mark, ...]:
        """The marks that are wrong, each slip once."""
        return tuple(mark for mark in self.marks if mark.verdict == "wrong")

    @property
    def score(self) -> tuple[int, int]:
        """How many cells are right or carried, and how many were asked; a slip made again is not counted again."""
        good = sum(mark.verdict in ("right", "carried") for mark in self.marks)
        return good, sum(mark.verdict != "again" for mark in self.marks)

    def sentence(self) -> str:
        """How it went, in a sentence or two."""
        good, asked = self.score
        carried = sum(mark.verdict == "carried" and not mark.kind for mark in self.marks)
        missing = sum(mark.verdict == "missing" for mark in self.marks)
        more = f", {carried} of them carried from an earlier slip" if carried else ""
        empty = f" {missing} {'is' if missing == 1 else 'are'} left empty." if missing else ""
        if not self.slips:
            return f"{good} of {asked} right{more}.{empty}" + ("" if missing else " No slip in the working.")
        first = self.slips[0]
        return (f"{good} of {asked} right{more}.{empty} {len(self.slips)} slip{'s' if len(self.slips) > 1 else ''}: "
                f"look first at {first.where}{'' if first.column == 'answer' else f', {first.column}'}.")

    @property
    def words(self) -> tuple[str, ...]:
        """What to look at: each slip in sentences, answers that would do as well, then what is empty."""
        found = []
        for mark in self.marks:
            said = f"{mark.where[:1].upper()}{mark.where[1:]}{'' if mark.column == 'answer' else f', {mark.column}'}"
            if mark.verdict == "wrong":
                follows = any(other.verdict == "carried" and not other.kind and mark.key in other.since for other in self.marks)
                found.append(" ".join(filter(None, (
                    f"{said}: you wrote {mark.written.removesuffix('.')}; {mark.reason}",
                    "What follows from it is right, carried." if follows else "",
                    self._again(mark), f"{mark.check[:1].upper()}{mark.check[1:]} would have shown it." if mark.check else ""))))
            elif mark.reason and mark.verdict == "right":
                found.append(f"{said}: {mark.written.removesuffix('.')}. {mark.reason}")
            elif mark.verdict == "missing" and mark.written:
                found.append(f"{said}: you wrote {mark.written}. {mark.reason}")
        empty = [mark for mark in self.marks if mark.verdict == "missing" and not mark.written]
        return (*found, f"Left empty: {_places(empty)}.") if empty else tuple(found)

    def _again(self, first: Mark) -> str:
        """Where a slip was made again, in a sentence."""
        again = [mark for mark in self.marks if mark.kind and mark.since[:1] == (first.key,)]
        return f"It is there again in {_places(again)}, which costs nothing more." if again else ""

    def __repr__(self) -> str:
        return "\n".join([self.sentence(), *self.words])

    def _repr_html_(self) -> str:
        told = "".join(f"<p>{escape(one)}</p>" for one in (self.sentence(), *self.words))
        return told + html_table(self.table, words=True)


def _places(marks: list[Mark]) -> str:
    """The rows of marks, then the questions."""
    rows = list(dict.fromkeys(mark.row for mark in marks if mark.row))
    return ", ".join([*([rows_named(rows)] if rows else []), *(mark.where for mark in marks if not mark.row)])


def _questions(exercise: Exercise, typed: Mapping[str, str], own: Own, judge: Judge) -> Iterator[Mark]:
    """The marks of the questions, each worked from right numbers and from the learner's."""
    answers: dict[str, Value] = {}
    for question in exercise.questions:
        right = exercise.own.answers[question.name]
        before = {name: value for name, value in exercise.own.answers.items() if name in answers}
        basis = [Own(numbers.levels, numbers.hpcs, given)
                 for numbers, given in product((own, exercise.own), (dict(answers), before))]
        follows = [value for one in basis if (value := _asked(question.answer, one)) is not None] or [right]
        text = typed.get(question.name, "")
        wrote = _read(question, text)
        mark = Mark(0, question.name, "answer", plainly(text), question.word(right), "right")
        if wrote is None:
            mark = missing(mark, _WANTED[question.unit].format(", ".join(question.choices)))
        elif wrote in question.also and not _same(question, wrote, right):
            mark = replace(mark, reason="No check shows it; you found it all the same." if right == "none" else
                           "It would explain it too.")
        elif not _same(question, wrote, right):
            if any(_same(question, wrote, one) for one in follows):
                itself = f" (the book itself: {mark.right})" if question.unit == "choice" and exercise.book else ""
                mark = replace(mark, verdict="carried", reason=f"Right, carried from your own numbers{itself}.")
            else:
                mark = _slip(question, wrote, follows, basis, judge, mark)
        answers[question.name] = follows[0] if wrote is None or mark.kind == "unit" else wrote
        yield mark


_WANTED = {"m": "a length in m", "mm": "a length in mm", "fall": "a fall, such as 1:60", "choice": "one of these: {}",
           "row": "the number of a row"}


def _asked(answer: Callable[[Own], Value], own: Own) -> Value | None:
    """An answer from a learner's numbers; None where they give none, two levels alike for a fall between them."""
    try:
        value = answer(own)
    except (ArithmeticError, LookupError, TypeError, ValueError):
        return None
    return value if isinstance(value, str) or math.isfinite(value) else None


def _read(question: Question, text: str) -> Value | None:
    """An answer as typed, in m or m/m where it is a number; None where it cannot be read. A bare fall is N of 1:N."""
    plain = " ".join(text.casefold().split()).removesuffix(".")
    if question.unit == "choice":
        return next((one for one in question.choices if one.casefold() == plain), None)
    number = number_of(plain.removeprefix("row").strip())
    if question.unit == "row":
        return "none" if plain == "none" else str(int(number)) if number is not None and number == number // 1 < 1e9 else None
    if question.unit != "fall":
        return length_of(text, 0.001 if question.unit == "mm" else 1.0)
    if number is not None and abs(number) > 1:
        return 1 / number
    try:
        return parse_fall(text.replace(",", "."))
    except SurveyError:  # steeper than 1:1, as a slip with units may be
        ratio = re.fullmatch(r"1 ?(?::|in|/) ?(.+?)( uphill)?", plain)
        run = number_of(ratio[1]) if ratio else None
        return None if ratio is None or not run or not 1e-6 < abs(run) < 1 else -1 / run if ratio[2] else 1 / run


def _same(question: Question, one: Value, other: Value) -> bool:
    """Whether two answers are the same: falls to half a unit of N, 1 % of it or 0.05 mm/m, which is half of what is shown."""
    if isinstance(one, str) or isinstance(other, str):
        return one == other
    if question.unit != "fall":
        return abs(one - other) <= question.within + EXACT
    if abs(one - other) <= 0.00005 + EXACT:
        return True
    return one * other > 0 and abs(1 / one - 1 / other) <= max(0.5, 0.01 / abs(other)) + EXACT


def _slip(question: Question, wrote: Value, follows: list[Value], basis: list[Own], judge: Judge, mark: Mark) -> Mark:
    """The mark of an answer that fits nothing: a mistake that the question knows, from any of the numbers, or another."""
    guess = next((Guess("question", 0.0, said, f"question {said}") for said, way in question.mistakes.items() for one in basis
                  if (value := _asked(way, one)) is not None and _same(question, wrote, value)), None)
    if guess is None:
        said = (f"your numbers give {follows[0]}" if question.unit != "row" else f"no check shows a slip in row {wrote}"
                if follows[0] == "none" else f"row {wrote} does not explain what the checks show")
        guess = (Guess("question", 0.0, said) if isinstance(wrote, str) else
                 _number_slip(question, wrote, [one for one in follows if not isinstance(one, str)]))
    made = judge.slip(mark, replace(guess, said=guess.said.removesuffix(".")), question.working, judge.made.get(guess.same))
    return replace(made, check=question.check if made.verdict == "wrong" and made.kind != "unit" else "")


def _number_slip(question: Question, wrote: float, follows: list[float]) -> Guess:
    """A slip in a length or a fall that the question does not know of."""
    if question.unit == "fall":
        ways = [Guess("sign", -right, "that is uphill for downhill, or the reverse") for right in follows]
        out = Guess("arithmetic", wrote, f"your numbers give {question.word(follows[0])}")
    else:
        ways = [way for right in follows for way in of_answer(question.unit, wrote, right)]
        right = min(follows, key=lambda one: abs(one - wrote))
        out = no_reason(Figures(), wrote, right)
        if abs(right - follows[-1]) > EXACT:  # measured from the learner's own numbers, not from those of the working
            out = replace(out, said=f"{out.said}: your numbers give {question.word(right)}")
    return next((way for way in ways if _same(question, wrote, way.value)), out)
