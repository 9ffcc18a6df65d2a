"""The brief: its numbers, and its whole text."""

from __future__ import annotations

import re
from dataclasses import replace
from html import escape
from typing import Any

import ipywidgets as widgets

from ...design.brief_file import toml, with_demands, with_value
from ...errors import SurveyError
from ...survey.cells import number_of
from ...wording import parse_fall, word_number
from ..job import Job
from .base import Form, Number, button, heed, paragraphs, row, wide

_WORDS = {"least_mm": "at least, mm", "most_mm": "at most, mm", "within_mm": "within, mm", "by_mm": "by, mm",
          "thickness_mm": "thick, mm", "tolerance_mm": "tolerance, mm", "drained_mm": "drained, mm", "lower_mm": "lower, mm",
          "higher_mm": "higher, mm", "proud_mm": "proud, mm: least, most",
          "channel": "channel", "least": "at least", "target": "aim for", "most": "at most"}
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
                controls = [self._field(part, number, key, value) for key, value in entry.items() if key in _WORDS] or [
                    widgets.HTML("its limits as usual: to set others, write them under it in the text below")]
                rows.append(row(widgets.HTML(f"<div style='width:17em'>{escape(named)}</div>"), *controls))
        self.unasked = widgets.VBox()
        self.children = [*rows, self.unasked, button("Save the brief", self.save_brief), self.message]
        self.unasked.children = self._unasked() if can_reduce(job) else []

    def _unasked(self) -> list[widgets.Widget]:
        """What was read and no demand speaks of, and a button that adds the usual demands."""
        try:
            found = self.needed().unasked
        except SurveyError:  # told by the text of the brief below
            return []
        add = [button("Add the usual demands", self.add_usual)] if any(one.demand is not None for one in found) else []
        return [widgets.HTML(paragraphs(one.words for one in found)), *add] if found else []

    def add_usual(self) -> None:
        """Write the usual demand for each mark that none speaks of into brief.toml."""
        def changed() -> str:
            job = self.needed()
            text = with_demands(job.brief_text, [one.demand for one in job.unasked if one.demand is not None])
            replace(job, brief_text=text).brief  # noqa: B018 - refused now rather than when the notebook is run
            return text
        if self.change_brief(changed, "Added with their usual limits, and saved. Choose Run, then Run All Cells; then set the "
                             "limits here."):
            self.unasked.children = self._unasked()

    def _field(self, part: str, at: int, key: str, value: Any) -> widgets.Widget:
        number = key.endswith("_mm") and isinstance(value, (int, float)) and not isinstance(value, bool)
        kind: Any = Number if number else widgets.Text
        shown = ", ".join(map(_plain, value)) if isinstance(value, list) else value
        field = kind(value=shown if number or isinstance(shown, str) else str(shown), description=_WORDS[key],
                     **wide("24em", "14em") if isinstance(value, list) else wide("17em", "8.5em"))
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
                text = with_value(text, part, number, key, _listed(value) if key == "proud_mm" else toml(value))
        if text != job.brief_text and can_reduce(job):
            replace(job, brief_text=text).brief  # noqa: B018 - refused now rather than when the notebook is run
        return text


class BriefTextForm(Form):
    """The whole of brief.toml to edit: walls, corners, points, new demands. It is checked when the cursor leaves the box."""

    terms = ("brief", "along", "away", "bare side", "bed", "clearance", "cover", "demand", "DPC", "feature", "fall", "finish",
             "footing", "gully", "layer", "limit", "sub-base", "target", "tolerance", "unit", "wall")

    def __init__(self, job: Job) -> None:
        super().__init__(job)
        self.opened = self.needed()
        self.text = widgets.Textarea(value=self.opened.brief_text, continuous_update=False,
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
        if self.save(f"{words} Choose Run, then Run All Cells.", since=self.opened, brief_text=self.text.value):
            self.opened = self.needed()
            self.message.value += "" if good else said


def _plain(value: Any) -> str:
    """A number as it is typed."""
    return word_number(value, figures=9) if isinstance(value, (int, float)) and not isinstance(value, bool) else str(value)


def _listed(typed: str) -> str:
    """Numbers, each with a point or a comma, as a list in TOML; as a text, which the brief refuses, where they are none."""
    parts = re.split(r"\s*;\s*|,\s+|\s+", typed.strip())
    numbers = [number_of(one) for one in (parts if len(parts) > 1 else typed.split(","))]
    return toml(typed) if None in numbers else f"[{', '.join(toml(float(one or 0)) for one in numbers)}]"


def can_reduce(job: Job) -> bool:
    """Whether the level book gives levels; where it does not, the brief cannot be held against them yet."""
    try:
        return job.reduced is not None
    except SurveyError:
        return False
