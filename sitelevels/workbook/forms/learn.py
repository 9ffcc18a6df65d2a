"""The learner's own number, and questions to predict before they are worked out."""

from __future__ import annotations

import re
from html import escape

import ipywidgets as widgets
import traitlets

from ...errors import SurveyError, whole
from ...survey.cells import PLAIN_NUMBER, number_of
from ...teaching.exercise import Exercise
from ...teaching.lessons import Lesson, lesson
from ...teaching.practice import DIFFICULTIES, SEEDS, SLIP_CHOICES, practice_book
from ...wording import parse_fall, true_minus, word_mm, word_number
from ..answers import read_last, write_last
from .base import BAD, GOOD, Form, button, heed, listed, row, wide

NO_SLIP = "none"
_PAPER = ("For a page on paper, choose what stands at its foot, the slip as well, even <i>none</i>. If the first row here is not "
          "the first row on paper, one of the fields differs.")
_OVER = re.compile(r"(\S+) ?mm (?:over|in|on) (\S+) ?m")
_SIZED = re.compile(r"(\S+?) ?(mm|m)?")


class LearnerForm(Form):
    """Whose numbers these are, how hard the books are, and whether slips are planted in them. The other forms follow `choice`."""

    terms = ("exercise", "planted", "slip")
    choice = traitlets.Tuple((1, "usual", NO_SLIP))

    def __init__(self) -> None:
        super().__init__(None)
        narrow = wide("18em", "6em")
        self.number = widgets.Text(value="1", description="My number", continuous_update=False, **narrow)
        self.difficulty = widgets.Dropdown(options=list(DIFFICULTIES), value="usual", description="How hard", **narrow)
        self.slips = widgets.Dropdown(options=[NO_SLIP, *SLIP_CHOICES], value=NO_SLIP, description="Slip",
                                      **wide("22em", "6em"))
        paper = widgets.HTML(f"<p style='line-height:1.4'>{_PAPER}</p>")
        self.children = [row(self.number, self.difficulty, self.slips), paper, self.message]
        self.attempt(self._as_last_time)
        heed(lambda: self.attempt(self.choose), self.number, self.difficulty, self.slips)

    def choose(self) -> None:
        """Take what is typed and chosen, and tell the forms that follow."""
        typed = self.number.value.strip()
        number = whole(int(typed) if re.fullmatch("[0-9]{1,10}", typed) else typed, "the learner's number", 0, SEEDS,
                       remedy=f"The exercises below are still those of number {self.choice[0]}.")
        self.message.value = ""
        self.choice = (number, self.difficulty.value, self.slips.value)
        write_last(*map(str, self.choice))

    def _as_last_time(self) -> None:
        """Begin with what was chosen last, where that can be read and is still there."""
        number, difficulty, slip = (*read_last(), "", "", "")[:3]
        if re.fullmatch("[0-9]{1,9}", number) and difficulty in DIFFICULTIES and slip in self.slips.options:
            self.number.value, self.difficulty.value, self.slips.value = number, difficulty, slip
            self.choice = (int(number), difficulty, slip)

    def exercise(self, kind: str) -> Exercise:
        """The learner's exercise of a kind, without the slip if this kind cannot have it."""
        number, difficulty, slip = self.choice
        try:
            return practice_book(number, kind=kind, difficulty=difficulty, slip=None if slip == NO_SLIP else slip)
        except SurveyError:
            return practice_book(number, kind=kind, difficulty=difficulty)

    def without(self, exercise: Exercise) -> bool:
        """Whether a slip was asked for that a book of this kind cannot have."""
        return self.choice[2] != NO_SLIP and all(question.unit != "row" for question in exercise.questions)

    def file_name(self, kind: str) -> str:
        """What the file of the answers to an exercise is called, without its ending."""
        number, difficulty, slip = self.choice
        parts = [str(number), kind, difficulty, *([] if slip == NO_SLIP else ["slip", slip])]
        return "-".join(parts).replace(" ", "-")


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
        self.field = widgets.Text(continuous_update=False, **wide("20em"))
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
    if PLAIN_NUMBER.fullmatch(plain):
        raise SurveyError(f"{text!r} does not say how the fall is meant", rule=f"It could be 1:{text}, {text} mm/m or {text} %.",
                          remedy="Write it in one of these ways.")
    return parse_fall(plain)


def _compared(asked: Lesson, predicted: float) -> str:
    """The answer beside the prediction, the working and the meaning."""
    apart = predicted - asked.answer
    if asked.agrees(predicted):
        verdict, colour = "You had it.", GOOD
    else:
        more, less = ("too steep", "too flat") if asked.unit == "fall" else ("too much", "too little")
        size = f"{word_mm(abs(apart), digits=1)}/m" if asked.unit == "fall" else asked.word(abs(apart))
        verdict, colour = f"You said {size} {more if apart > 0 else less}. {asked.why(predicted)}".rstrip(), BAD
    said = f"{word_number(predicted * 1000, figures=9)} mm" if asked.unit == "mm" else asked.word(predicted)
    rows = [("You predicted", said), ("It comes out at", asked.word(asked.answer))]
    table = "".join(f"<tr><td style='padding-right:1.5em'>{name}</td><td><b>{escape(true_minus(value))}</b></td></tr>"
                    for name, value in rows)
    return (f"<div style='line-height:1.5'><table>{table}</table><p role='status' style='color:{colour}'>{escape(verdict)}</p>"
            f"<ul>{listed(asked.working)}</ul><p>{escape(asked.meaning)}</p></div>")
