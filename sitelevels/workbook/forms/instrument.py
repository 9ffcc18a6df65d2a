"""Tests of the instrument: type what was read, see what it says; kept in the brief."""

from __future__ import annotations

from collections.abc import Callable
from html import escape
from typing import Any

import ipywidgets as widgets

from ...design.brief_file import with_value
from ...errors import SurveyError
from ...survey.cells import PLAIN_NUMBER
from ...survey.instrument import PegSetup, repeat_readings, turn_test, two_peg_test
from ..job import Job
from .base import Form, button, row

_PEGS = ("first set-up: reading on A, m", "reading on B, m", "from the instrument to A, m", "to B, m",
         "second set-up: reading on A, m", "reading on B, m", "from the instrument to A, m", "to B, m")
_TURN = ("from the instrument to the mark, m", "front towards the mark: reading, m", "a quarter clockwise: reading, m",
         "half round: reading, m", "three quarters: reading, m")
_REPEATS = "readings of one mark, m, with spaces between"


class InstrumentForm(Form):
    """The two-peg test, the turn test of a laser and repeat readings; each says its result as soon as it is complete."""

    def __init__(self, job: Job) -> None:
        super().__init__(job)
        self.fields: dict[str, list[widgets.Text]] = {}
        self.results: dict[str, widgets.HTML] = {}
        told = job.told.get("instrument", {})
        blocks = []
        for key, title, names in (("pegs_m", "Two pegs", _PEGS), ("turn_m", "A laser turned before one far mark", _TURN),
                                  ("repeats_m", "The same mark again and again", (_REPEATS,))):
            kept = [str(one) for one in told.get(key, [])]
            kept = [" ".join(kept)] if len(names) == 1 else kept
            kept += [""] * (len(names) - len(kept))
            self.fields[key] = [self._field(name, value, key) for name, value in zip(names, kept, strict=False)]
            self.results[key] = widgets.HTML()
            half = len(names) // 2 if key == "pegs_m" else len(names)
            blocks += [widgets.HTML(f"<b>{title}</b>"), row(*self.fields[key][:half]), row(*self.fields[key][half:]),
                       self.results[key]]
        self.children = [*blocks, button("Save", self.save_tests), self.message]
        for key in self.fields:
            self.follow(key)

    def _field(self, name: str, value: str, key: str) -> widgets.Text:
        wide = name == _REPEATS
        field = widgets.Text(value=value, description=name, continuous_update=False, style={"description_width": "18em"},
                             layout=widgets.Layout(width="46em" if wide else "26em", max_width="100%"))
        field.observe(lambda _: self.follow(key), "value")
        return field

    def numbers(self, key: str) -> list[float]:
        """What is typed for one test, in m. Raises SurveyError for what is no number."""
        texts = " ".join(field.value for field in self.fields[key]).split()
        wrong = [text for text in texts if not PLAIN_NUMBER.fullmatch(text)]
        if wrong:
            raise SurveyError(f"{wrong[0]!r} is not a number", rule="Readings and distances are numbers in m.")
        return [float(text.replace(",", ".").replace("−", "-")) for text in texts]

    def follow(self, key: str) -> None:
        """Say what one test says, once it is complete."""
        self.message.value = self.results[key].value = ""
        numbers = self.attempt(lambda: self.numbers(key)) or []
        acts: dict[str, tuple[int, Callable[..., Any]]] = {
            "pegs_m": (8, lambda *m: two_peg_test(PegSetup(*m[:4]), PegSetup(*m[4:]))),
            "turn_m": (5, lambda distance, *m: turn_test(dict(zip((0, 90, 180, 270), m, strict=True)), distance)),
            "repeats_m": (2, lambda *m: repeat_readings(m))}
        needed, act = acts[key]
        if len(numbers) >= needed:
            result = self.attempt(lambda: act(*numbers))
            self.results[key].value = f"<p>{escape(result.words)}</p>" if result is not None else ""
        elif numbers:
            self.results[key].value = f"<p>{needed - len(numbers)} more to type.</p>"

    def save_tests(self) -> None:
        """Keep what is typed in brief.toml."""
        def changed() -> str:
            text = self.needed().brief_text
            for key in self.fields:
                numbers = self.numbers(key)
                if numbers or key in self.needed().told.get("instrument", {}):
                    text = with_value(text, "instrument", 1, key, repr(numbers))
            return text
        text = self.attempt(changed)
        if text is not None:
            self.save("Saved.", brief_text=text)
