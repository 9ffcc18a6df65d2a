"""The brief: its numbers, and its whole text."""

from __future__ import annotations

import re
from dataclasses import replace
from html import escape
from typing import Any

import ipywidgets as widgets

from ...design.brief_file import toml, with_value
from ...errors import SurveyError
from ...wording import parse_fall
from ..job import Job
from .base import Form, Number, button, heed, row, wide

_WORDS = {"least_mm": "at least, mm", "most_mm": "at most, mm", "within_mm": "within, mm", "by_mm": "by, mm",
          "thickness_mm": "thick, mm", "tolerance_mm": "tolerance, mm", "drained_mm": "drained, mm", "lower_mm": "lower, mm",
          "higher_mm": "higher, mm", "channel": "channel", "least": "at least", "target": "aim for", "most": "at most"}
OUTDOOR = tuple(f"brief.toml, [{part}" for part in ("taking_up", "units", "[post", "[hole", "rain", "soakaway"))


_LINE = re.compile(r"brief\.toml cannot be read, line (\d+)")


class BriefForm(Form):
    """The thicknesses and limits of brief.toml; walls, points and new demands are written in the file itself."""

    terms = ("along", "away", "air brick", "clearance", "cover", "demand", "DPC", "fall", "gradient", "gully", "layer", "limit",
             "meet", "proud", "step", "target", "threshold", "tolerance", "access cover", "drain", "screed")

    def __init__(self, job: Job) -> None:
        super().__init__(job)
        self.fields: dict[tuple[str, int, str], widgets.Widget] = {}
        self.shown_at_first: dict[tuple[str, int, str], Any] = {}
        rows = []
        for part, title in (("layer", "name"), ("demand", "kind")):
            for number, entry in enumerate(job.told.get(part, []), start=1):
                of = entry.get("wall") or entry.get("point") or entry.get("points") or ""
                of = ", ".join(map(str, of)) if isinstance(of, list) else of
                named = f"{entry.get(title, '')}{f': {of}' if of else ''}"
                controls = [self._field(part, number, key, value) for key, value in entry.items() if key in _WORDS]
                rows.append(row(widgets.HTML(f"<div style='width:17em'>{escape(named)}</div>"), *controls))
        self.children = [*rows, button("Save the brief", self.save_brief), self.message]

    def _field(self, part: str, at: int, key: str, value: Any) -> widgets.Widget:
        number = key.endswith("_mm") and isinstance(value, (int, float)) and not isinstance(value, bool)
        kind: Any = Number if number else widgets.Text
        field = kind(value=value if number or isinstance(value, str) else str(value), description=_WORDS[key],
                     **wide("17em", "8.5em"))
        self.fields[part, at, key] = field
        self.shown_at_first[part, at, key] = field.value
        return field

    def save_brief(self) -> None:
        """Write the changed numbers into brief.toml, if the brief still holds together."""
        if self.change_brief(self._typed, "Saved. Move a slider below to see what it changes; save the surface before you "
                             "choose Run All Cells."):
            self.shown_at_first = {key: field.value for key, field in self.fields.items()}

    def _typed(self) -> str:
        """The brief with what is typed, if it holds together as far as the level book lets one tell."""
        job = self.needed()
        text = job.brief_text
        for (part, number, key), field in self.fields.items():
            if field.value != self.shown_at_first[part, number, key]:
                try:
                    value: Any = field.number if isinstance(field, Number) else field.value
                except SurveyError as error:
                    raise error.at(f"brief.toml, [[{part}]] number {number}") from None
                if not key.endswith("_mm"):
                    parse_fall(value)
                text = with_value(text, part, number, key, toml(value))
        if text != job.brief_text and can_reduce(job):
            replace(job, brief_text=text).brief  # noqa: B018 - refused now rather than when the notebook is run
        return text


class BriefTextForm(Form):
    """The whole of brief.toml to edit: walls, corners, points, new demands. It is checked when the cursor leaves the box."""

    terms = ("brief", "along", "away", "bare side", "bed", "clearance", "cover", "demand", "DPC", "feature", "fall", "finish",
             "footing", "gully", "layer", "limit", "sub-base", "target", "tolerance", "unit", "wall")

    def __init__(self, job: Job) -> None:
        super().__init__(job)
        self.text = widgets.Textarea(value=job.brief_text, continuous_update=False,
                                     layout=widgets.Layout(width="100%", height="24em"))
        self.near = widgets.HTML()
        self.children = [self.text, row(button("Check", self.check), button("Save", self.save_text)), self.message, self.near]
        heed(self.check, self.text)
        self.check()

    def check(self) -> bool:
        """Say what is wrong with what is typed, or what it comes to."""
        job = replace(self.needed(), brief_text=self.text.value)
        self.message.value = ""
        brief = self.attempt(lambda: job.brief)
        self.near.value = self._near_the_fault()
        faults = () if brief is None else tuple(fault for fault in job.outdoor.faults if fault.startswith(OUTDOOR))
        if faults:
            self.refuse(faults)
        elif brief is not None:
            saved = "" if self.text.value == self.needed().brief_text else " Not saved yet."
            self.say(f"The brief holds together: {brief.sentence()}{saved}")
        return brief is not None and not faults

    def _near_the_fault(self) -> str:
        """The line that the message names with those about it, numbered, for the box numbers none."""
        named, lines = _LINE.search(self.message.value), self.text.value.splitlines()
        at = int(named[1]) if named else 0
        told = "".join(f"{number:4}  {escape(lines[number - 1])}{'  &lt;' if number == at else ''}\n"
                       for number in range(max(at - 2, 1), min(at + 2, len(lines) + 1)))
        return f"<pre style='line-height:1.3'>{told}</pre>" if named else ""

    def save_text(self) -> None:
        """Save what is typed if it can be read as a brief; the message says what is still wrong with it."""
        good = self.check()
        said = self.message.value
        words = "Saved." if good else "Saved as it stands; the job cannot be worked out yet."
        if self.save(f"{words} Choose Run, then Run All Cells.", brief_text=self.text.value) and not good:
            self.message.value += said


def can_reduce(job: Job) -> bool:
    """Whether the level book gives levels; where it does not, the brief cannot be held against them yet."""
    try:
        return job.reduced is not None
    except SurveyError:
        return False
