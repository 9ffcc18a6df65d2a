"""Questions asked of a drawn book, each with its right working and the wrong ways that are usual."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import TypeVar

from ..errors import rows_named
from ..survey.book import ALLOWANCES
from ..survey.linking import EXACT
from ..wording import whole_mm, word_level, word_mm
from .drawing import Booked
from .exercise import Own, Question, Slip, Unit, Value
from .planting import COUNTED

Way = Callable[[Own], Value]
Same = TypeVar("Same", float, str)
ALLOWED = ALLOWANCES["ordinary"]


def m(mm: float) -> str:
    """Whole mm as metres in words."""
    return word_level(mm / 1000)


def always(value: Same) -> Callable[[object], Same]:
    """An answer, or a working, that hangs on nothing before it."""
    return lambda _: value


def length(mm: int) -> str:
    """A length along the ground in mm as metres in words."""
    return word_level(mm / 1000, digits=2 if mm % 100 else 1)


class Asking:
    """Questions in the order asked: each working is written with the right answers to those before."""

    def __init__(self, levels: Mapping[int, float] | None = None, hpcs: Mapping[int, float] | None = None) -> None:
        self.questions: list[Question] = []
        self.right = Own(levels or {}, hpcs or {}, {})

    def ask(self, name: str, unit: Unit, ask: str, answer: Way, how: Callable[[Asking], str], mistakes: Mapping[str, Way], *,
            choices: tuple[str, ...] = (), also: tuple[str, ...] = (), check: str = "") -> None:
        """One more question; `how` writes its working up to the answer."""
        value = answer(self.right)
        plain = Question(name, ask, unit, answer, "", mistakes, choices, also, check)
        self.right = Own(self.right.levels, self.right.hpcs, {**self.right.answers, name: value})
        joined = " = " if unit in ("m", "mm", "fall") else ": " if unit == "choice" else " Answer: "
        self.questions.append(replace(plain, working=f"{how(self)}{joined}{plain.rights(value)}."))

    def either(self, name: str, choices: tuple[str, str], ask: str, first: Callable[[Own], bool], how: Callable[[Asking], str],
               mistakes: Mapping[str, Callable[[Own], bool]]) -> None:
        """One more question with two answers: the first of `choices` where `first` says so, else the second."""
        def by(test: Callable[[Own], bool]) -> Way:
            return lambda own: choices[0] if test(own) else choices[1]
        self.ask(name, "choice", ask, by(first), how, {said: by(test) for said, test in mistakes.items()}, choices=choices)

    def said(self, name: str) -> str:
        """The right answer to a question asked before, in words; of a length in m, in m."""
        question = next(one for one in self.questions if one.name == name)
        return question.word(self.right.answers[name])


def ask_closing(asking: Asking, booked: Booked) -> None:
    """By how much the last shot misses the known level, and whether that is allowed."""
    last, setups = booked.shots[-1], len(booked.heights)
    point, known, row = last.point, booked.known[last.point] / 1000, last.row
    allowed = ALLOWED.of(setups)
    asking.ask("misclosure", "mm", f"How far is the level found at {point} in row {row} above the known one? Below is minus.",
               lambda own: own.levels[row] - known,
               lambda _: f"Observed − known at {point}: {m(booked.levels[-1])} − {word_level(known)}",
               {"that is known minus observed: the misclosure is observed minus known": lambda own: known - own.levels[row],
                "that is the level found, not how far it is from the known one": lambda own: own.levels[row]},
               check="known level + misclosure = level found")
    times = f"5 mm × √{setups} = {word_mm(allowed, digits=1)}"
    mistakes: dict[str, Callable[[Own], bool]] = {
        "a minus does not make a misclosure small: its size counts": lambda own: own.number("misclosure") <= allowed + EXACT}
    if setups > 1:
        mistakes["that holds for one set-up only, 5 mm: more set-ups are allowed more"] = (
            lambda own: abs(own.number("misclosure")) <= ALLOWED.of(1) + EXACT)
    asking.either("closes", ("yes", "no"), "Is the misclosure within 5 mm × √set-ups? Its sign does not matter here.",
                  lambda own: abs(own.number("misclosure")) <= allowed + EXACT,
                  lambda a: f"{word_mm(abs(a.right.number('misclosure')))} against {times}", mistakes)


def ask_slip(asking: Asking, slip: Slip | None, also: tuple[str, ...], others: Mapping[str, str]) -> None:
    """Where the slip is, if there is one; `others` are wrong rows with what is said of them."""
    row, seen = (str(slip.row), slip.caught_by) if slip and slip.caught_by else ("none", "no check")
    rows = sorted(map(int, (row, *also))) if row != "none" else []
    more = "; none was planted" if slip is None else f"; one was planted in row {slip.row} all the same"
    if rows:
        more = f"; a slip of {'any one of ' if also else ''}{rows_named(rows)}, put right, lets every check pass"
    how = f"{seen[:1].upper()}{seen[1:]} shows a slip{more}."
    asking.ask("row of the slip", "row", "In which row was a reading booked wrongly? Write the number of the row, or none if no "
               f"check shows a slip. Slips are, in one reading: {COUNTED[0]}; or a knock of the instrument, which puts every "
               f"reading of a set-up from some row on out by the same {COUNTED[1]}. Any row where one such slip, put right, "
               "lets every check pass is right.",
               always(row), always(how), {said: always(other) for other, said in others.items()}, also=also)


def fall_of(drop: float, over: float) -> str:
    """The working of a fall, lengths in m."""
    return f"{word_mm(drop)} / {word_level(over)} = {word_level(drop / over, digits=4).removesuffix(' m')}"


def ask_drop(asking: Asking, booked: Booked, high: str, low: str, run: int) -> None:
    """The drop from one spot to another, and the fall over `run` mm."""
    first, last, over = booked.row(high), booked.row(low), run / 1000
    drop, fall = f"drop {high} to {low}", f"fall {high} to {low}"
    asking.ask(drop, "mm", f"How far does the ground drop from {high} to {low}? Plus when {low} is lower.",
               lambda own: whole_mm(own.levels[first] - own.levels[last]),
               lambda _: f"{m(booked.by_row[first])} − {m(booked.by_row[last])}",
               {f"that is {low} minus {high}: a drop is plus when the far end is lower":
                lambda own: own.levels[last] - own.levels[first],
                "that is a level, not a drop": lambda own: own.levels[last]},
               check=f"reading on {low} − reading on {high}")
    asking.ask(fall, "fall", f"What is the fall from {high} to {low}, {length(run)} apart, as 1:N?",
               lambda own: own.number(drop) / over, lambda a: fall_of(a.right.number(drop), over),
               {"that is the fall in mm to the metre, not N: N is length over drop":
                lambda own: 1 / (1000 * own.number(drop) / over) if own.number(drop) else 0.0,
                "the drop and the length were not in the same unit, mm over m": lambda own: own.number(drop) / over * 1000,
                "the fall runs the other way: uphill for downhill": lambda own: -own.number(drop) / over},
               check=f"N × drop = {length(run)}")
