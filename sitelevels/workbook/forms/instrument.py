"""Tests of the instrument: type what was read, see what it says; kept in the brief."""

from __future__ import annotations

from collections.abc import Callable
from html import escape
from typing import Any

import ipywidgets as widgets

from ...design.brief_file import toml, with_value
from ...errors import SurveyError
from ...survey.cells import number_of
from ...survey.faults import LONGEST_READING
from ...survey.instrument import PegSetup, repeat_readings, turn_test, two_peg_test
from ...wording import word_level
from ..job import Job
from .base import Form, button, heed, row, wide

_READ = "reading on A, m", "reading on B, m", "from the instrument to A, m", "from the instrument to B, m"
_TURNED = "front towards the mark", "a quarter clockwise", "half round", "three quarters"
_FIELDS = {
    "pegs": ("Two pegs", [f"{which} set-up: {name}" for which in ("first", "second") for name in _READ]),
    "turn": ("A laser turned before one far mark",
             ["from the instrument to the mark, m", *(f"{way}: reading, m" for way in _TURNED)]),
    "repeats": ("The same mark again and again", ["readings with spaces between, m"]),
}
_RESULTS: dict[str, Callable[..., Any]] = {
    "pegs": lambda *m: two_peg_test(PegSetup(*m[:4]), PegSetup(*m[4:])),
    "turn": lambda distance, *m: turn_test(dict(zip((0, 90, 180, 270), m, strict=True)), distance),
    "repeats": lambda *m: repeat_readings(m),
}


class InstrumentForm(Form):
    """The two-peg test, the turn test of a laser and repeat readings; each says its result as soon as it is complete."""

    terms = ("instrument", "laser", "two-peg test", "turn test", "collimation", "cone", "tilt", "heading", "line of sight",
             "reading", "set-up", "standard deviation", "staff")

    def __init__(self, job: Job) -> None:
        super().__init__(job)
        self.fields: dict[str, list[widgets.Text]] = {}
        self.results: dict[str, widgets.HTML] = {}
        self.beyond: dict[str, list[str]] = {}  # entries of the brief that no field stands for
        blocks = []
        for key, (title, names) in _FIELDS.items():
            kept = [str(one) for one in self.needed().told.get("instrument", {}).get(key, [])]
            kept = [" ".join(kept)] if key == "repeats" else kept + [""] * (len(names) - len(kept))
            self.beyond[key] = kept[len(names):]
            self.fields[key] = [self._field(name, value, key) for name, value in zip(names, kept, strict=False)]
            self.results[key] = widgets.HTML()
            pairs = [row(*self.fields[key][place:place + 2]) for place in range(0, len(names), 2)]
            blocks += [widgets.HTML(f"<b>{title}</b>"), *pairs, self.results[key]]
        self.children = [*blocks, button("Save", self.save_tests), self.message]
        self._loaded = {key: self._typed(key) for key in self.fields}
        self._stored = dict(self.needed().told.get("instrument", {}))
        for key in self.fields:
            self.follow(key)
        if extra := [key for key, entries in self.beyond.items() if entries]:
            self.refuse((f"brief.toml, [instrument]: {', '.join(extra)} holds more figures than the test has.",))

    def _field(self, name: str, value: str, key: str) -> widgets.Text:
        field = widgets.Text(value=value, description=name, continuous_update=False,
                             **wide("46em" if key == "repeats" else "30em", "22em"))
        heed(lambda: self.follow(key), field)
        return field

    def numbers(self, key: str) -> list[float | None]:
        """What is typed for one test, in m, None for a field that is empty. Raises SurveyError for what cannot be."""
        typed = [(field.description, text) for field in self.fields[key]
                 for text in ([one.rstrip(",;") for one in field.value.split()] if key == "repeats" else [field.value.strip()])]
        numbers = [number_of(text) if text else None for _, text in typed]
        for (name, text), number in zip(typed, numbers, strict=True):
            if text and number is None:
                raise SurveyError(f"{text!r} is not a number", where=name, rule="It is a number in m.")
            if number is not None and "reading" in name and abs(number) > LONGEST_READING:
                raise SurveyError(f"{word_level(number)} is longer than a 5 m staff", where=name, remedy="Type metres.")
        return numbers

    def _typed(self, key: str) -> list[str]:
        fields = self.fields[key]
        return fields[0].value.split() if key == "repeats" else [field.value.strip() for field in fields]

    def follow(self, key: str) -> None:
        """Say what one test says, once it is complete, or what is wrong with it."""
        def said() -> str:
            numbers = self.numbers(key)
            missing = [field.description for field, number in zip(self.fields[key], numbers, strict=False) if number is None]
            if key != "repeats" and missing:
                return "" if len(missing) == len(numbers) else f"Still to type: {'; '.join(missing)}."
            return str(_RESULTS[key](*numbers).words) if numbers else ""
        self.message.value = ""
        words = self.attempt(said)
        shown = self.message.value if words is None else f"<p>{escape(words)}</p>"
        self.results[key].value, self.message.value = shown, ""

    def save_tests(self) -> None:
        """Keep what is typed in brief.toml, finished or not."""
        def changed() -> str:
            text = self.needed().brief_text
            stored = self.needed().told.get("instrument", {})
            for key in self.fields:
                typed = self._typed(key)
                if typed != self._loaded[key]:
                    if stored.get(key) != self._stored.get(key):
                        raise SurveyError(f"the test '{_FIELDS[key][0]}' was saved by another form meanwhile",
                                          remedy="Note your figures, choose Run, then Run All Cells, and type them again.")
                    text = with_value(text, "instrument", 1, key, f"[{', '.join(map(toml, typed + self.beyond[key]))}]")
            return text
        if self.change_brief(changed, "Saved."):
            written = [key for key in self.fields if self._typed(key) != self._loaded[key]]
            self._loaded.update({key: self._typed(key) for key in written})
            self._stored.update({key: self.needed().told["instrument"][key] for key in written})
