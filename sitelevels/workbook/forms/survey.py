"""The level book: type or paste it, see at once what is wrong with it, save it."""

from __future__ import annotations

from dataclasses import replace

import ipywidgets as widgets

from ...design.brief_file import with_value
from ...errors import SurveyError
from ...survey.reading import METRES_PER, with_known_level
from ...wording import word_level
from ..job import Job
from .base import Form, button, row, scrolled

_OFFERED = 10.0  # m: the level that a first point is called where no benchmark is to hand


class BookForm(Form):
    """Type or paste the level book; it is checked whenever the cursor leaves the box."""

    def __init__(self, job: Job) -> None:
        super().__init__(job)
        self.text = widgets.Textarea(value=job.survey_text, continuous_update=False, description="Book",
                                     layout=widgets.Layout(width="100%", height="22em"))
        unit = job.told.get("survey", {}).get("unit", "m")
        self.unit = widgets.Dropdown(options=list(METRES_PER), value=unit if unit in METRES_PER else "m", description="Unit")
        self.offer = button("", self.call_it_ten)
        self.offer.layout.display = "none"
        self.levels = widgets.HTML()
        self._offered = ""
        buttons = [button("Check", self.check), button("Save", self.save_book), self.offer]
        self.children = [self.text, row(self.unit, *buttons), self.message, self.levels]
        for control in (self.text, self.unit):
            control.observe(lambda _: self.check(), "value")
        self.check()

    def _typed(self) -> Job:
        """The job as it would be with what is typed."""
        brief_text = self.needed().brief_text
        if self.unit.value != self.needed().told.get("survey", {}).get("unit", "m"):
            brief_text = with_value(brief_text, "survey", 1, "unit", f'"{self.unit.value}"')
        return replace(self.needed(), brief_text=brief_text, survey_text=self.text.value)

    def check(self) -> bool:
        """Reduce what is typed and show it, or say what is wrong."""
        self.offer.layout.display = "none"
        self.levels.value = ""
        reduced = self.attempt(lambda: self._typed().reduced)
        if reduced is None:
            self._offer_a_level()
            return False
        doubts = [*reduced.doubts, *reduced.book.doubts]
        if doubts:
            self.refuse(tuple(doubts))
        else:
            saved = "" if self._typed().survey_text == self.needed().survey_text else " Not saved yet."
            self.say(f"{len(reduced.table)} rows read and reduced; no check failed.{saved}")
        self.levels.value = scrolled(reduced._repr_html_())
        return True

    def _offer_a_level(self) -> None:
        """Where all that is missing is a known level, offer to call the first point 10.000 m."""
        try:
            book = self._typed().book
        except SurveyError:
            return
        if not book.known:
            self._offered = book.rows[0].point
            self.offer.description = f"Call {self._offered} {word_level(_OFFERED)}"
            self.offer.layout.display = ""

    def call_it_ten(self) -> None:
        """Write the offered level into the text."""
        level = _OFFERED / METRES_PER[self.unit.value]
        changed = self.attempt(lambda: with_known_level(self.text.value, self._offered, level))
        if changed is not None:
            self.text.value = changed

    def save_book(self) -> None:
        """Save the book, checked or not: what is typed is never lost. The message says which."""
        good = self.check()
        said, typed = self.message.value, self.attempt(self._typed)
        words = "Saved." if good else "Saved as it stands; it cannot be reduced yet."
        if typed is not None and self.save(words, survey_text=typed.survey_text, brief_text=typed.brief_text):
            self.message.value += said
