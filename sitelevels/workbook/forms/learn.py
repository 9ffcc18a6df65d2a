"""The learner's own number, and questions to predict before they are worked out."""

from __future__ import annotations

import re
from dataclasses import replace
from html import escape
from random import Random

import ipywidgets as widgets
import traitlets

from ...errors import SurveyError
from ...survey.cells import PLAIN_NUMBER, number_of
from ...teaching.exercise import Exercise, Question
from ...teaching.lessons import Lesson, lesson
from ...teaching.planting import SLIPS
from ...teaching.practice import DIFFICULTIES, KINDS, SEEDS, practice_book
from ...wording import parse_fall, word_mm
from .base import BAD, GOOD, Form, button, row

NO_SLIP, PERHAPS, ANY = "none", "perhaps", "any"
_OVER = re.compile(r"(\S+) ?mm (?:over|in|on) (\S+) ?m")
_SIZED = re.compile(r"(\S+?) ?(mm|m)?")


class LearnerForm(Form):
    """Whose numbers these are, how hard the books are, and whether slips are planted in them. The other forms follow `choice`."""

    terms = ("exercise", "planted", "slip")
    choice = traitlets.Tuple((1, "usual", NO_SLIP))

    def __init__(self) -> None:
        super().__init__(None)
        narrow = widgets.Layout(width="17em")
        self.number = widgets.Text(value="1", description="My number", continuous_update=False, layout=narrow)
        self.difficulty = widgets.Dropdown(options=list(DIFFICULTIES), value="usual", description="How hard", layout=narrow)
        self.slips = widgets.Dropdown(options=[NO_SLIP, PERHAPS, ANY, *SLIPS], value=NO_SLIP, description="Slip", layout=narrow)
        self.children = [row(self.number, self.difficulty, self.slips), self.message]
        for control in (self.number, self.difficulty, self.slips):
            control.observe(lambda _: self.attempt(self.choose), "value")

    def choose(self) -> None:
        """Take what is typed and chosen, and tell the forms that follow."""
        typed = self.number.value.strip()
        if not (re.fullmatch("[0-9]{1,10}", typed) and int(typed) <= SEEDS):
            raise SurveyError(f"{typed!r} cannot be a learner's number", rule=f"It is a whole number from 0 to {SEEDS}.",
                              remedy=f"The exercises below are still those of number {self.choice[0]}.")
        self.message.value = ""
        self.choice = (int(typed), self.difficulty.value, self.slips.value)

    def exercise(self, kind: str) -> Exercise:
        """The learner's exercise of a kind. Of "perhaps" nobody can tell by the questions whether there is a slip in it."""
        number, difficulty, slip = self.choice
        plain = practice_book(number, kind=kind, difficulty=difficulty)
        if plain.book is None or slip == NO_SLIP:
            return plain
        try:
            spoilt = practice_book(number, kind=kind, difficulty=difficulty, slip=ANY if slip == PERHAPS else slip)
        except SurveyError:  # this kind cannot have it
            return plain
        if slip == PERHAPS and Random(number * len(KINDS) + list(KINDS).index(kind)).random() < 0.5:
            own = {one.name: one for one in plain.questions}
            return replace(plain, questions=tuple(own.get(one.name) or _with_none(one) for one in spoilt.questions))
        return spoilt

    def without(self, exercise: Exercise) -> bool:
        """Whether a slip was asked for that a book of this kind cannot have."""
        return self.choice[2] not in (NO_SLIP, PERHAPS) and exercise.slip is None

    def file_name(self, kind: str) -> str:
        """What the file of the answers to an exercise is called, without its ending."""
        number, difficulty, slip = self.choice
        parts = [str(number), kind, difficulty, *([] if slip == NO_SLIP else ["slip", slip])]
        return "-".join(parts).replace(" ", "-")


def _with_none(question: Question) -> Question:
    """The question for the row of a slip, of a book that has none."""
    return replace(question, answer=lambda _: "none", working="No slip was planted in this book.", mistakes={}, also=(), check="")


class PredictForm(Form):
    """A question with the learner's own numbers, a field for a prediction; then what comes out, how, and what it means."""

    terms = ()

    def __init__(self, learner: LearnerForm, key: str) -> None:
        super().__init__(None)
        self.learner, self.key = learner, key
        self.lesson: Lesson | None = None
        self._number = 0
        self._typed: dict[int, str] = {}  # what was typed for each number
        self.asked, self.shown = widgets.HTML(), widgets.HTML()
        self.field = widgets.Text(continuous_update=False, style={"description_width": "initial"},
                                  layout=widgets.Layout(width="20em"))
        self.children = [self.asked, row(self.field, button("Run it", self.run)), self.message, self.shown]
        learner.observe(lambda _: self.attempt(self.follow), "choice")
        self.attempt(self.follow)

    def follow(self) -> None:
        """Ask anew, with the numbers of the learner; what was typed for them before comes back."""
        number = self.learner.choice[0]
        if self.lesson is not None:
            self._typed[self._number] = self.field.value
        self._number, self.lesson = number, lesson(self.key, number)
        self.asked.value = f"<p style='line-height:1.5'>{escape(self.lesson.question)}</p>"
        unit = "" if self.lesson.unit == "fall" else f", {self.lesson.unit}"
        self.field.description, self.field.value = f"I predict{unit}", self._typed.get(number, "")
        self.message.value = self.shown.value = ""

    def predicted(self) -> float:
        """What was predicted, in m or m/m. Raises SurveyError for what is none."""
        text = self.field.value.strip()
        if not text:
            raise SurveyError("nothing is predicted yet", rule="A guess teaches more than none.",
                              remedy="Type what you expect, and press the button then.")
        if self.lesson is not None and self.lesson.unit == "fall":
            return _fall(text)
        sized = _SIZED.fullmatch(text)
        number = number_of(sized[1]) if sized else None
        if number is None or sized is None or abs(number) > 1e6:
            raise SurveyError(f"{text!r} is not a length", rule="It is a number in the unit that the question asks for.")
        unit = sized[2] or (self.lesson.unit if self.lesson else "m")
        return number if unit == "m" else number / 1000

    def run(self) -> None:
        """Show what was predicted beside what comes out."""
        self.message.value = self.shown.value = ""
        predicted = self.attempt(self.predicted)
        if predicted is not None and self.lesson is not None:
            self.shown.value = _compared(self.lesson, predicted)


def _fall(text: str) -> float:
    """A fall said in any way, "50 mm over 3 m" among them."""
    plain = text.replace(",", ".")
    over = _OVER.fullmatch(plain)
    if over and PLAIN_NUMBER.fullmatch(over[1]) and PLAIN_NUMBER.fullmatch(over[2]) and float(over[2]) > 0:
        return parse_fall(f"{over[1]}/{float(over[2]) * 1000}")
    return parse_fall(plain)


def _compared(asked: Lesson, predicted: float) -> str:
    """The answer beside the prediction, the working and the meaning."""
    apart = predicted - asked.answer
    if asked.agrees(predicted):
        verdict, colour = "You had it.", GOOD
    else:
        more, less = ("too steep", "too flat") if asked.unit == "fall" else ("too much", "too little")
        size = f"{word_mm(abs(apart), digits=1)}/m" if asked.unit == "fall" else asked.word(abs(apart))
        verdict, colour = f"You said {size} {more if apart > 0 else less}.", BAD
    rows = [("You predicted", asked.word(predicted)), ("It comes out at", asked.word(asked.answer))]
    table = "".join(f"<tr><td style='padding-right:1.5em'>{name}</td><td><b>{escape(value)}</b></td></tr>"
                    for name, value in rows)
    steps = "".join(f"<li>{escape(step)}</li>" for step in asked.working)
    return (f"<div style='line-height:1.5'><table>{table}</table><p role='status' style='color:{colour}'>{verdict}</p>"
            f"<ul>{steps}</ul><p>{escape(asked.meaning)}</p></div>")
