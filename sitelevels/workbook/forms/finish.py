"""The brief's numbers, and the surface chosen by hand with its verdicts."""

from __future__ import annotations

from dataclasses import replace
from html import escape
from typing import Any

import ipywidgets as widgets

from ...design.brief_file import toml, with_value
from ...design.check import Verdicts, check_finish
from ...design.published import LIMITS
from ...errors import SurveyError
from ...wording import html_table, parse_fall, whole_mm, word_fall, word_level, word_number
from .. import figures
from ..job import Job
from .base import BAD, GOOD, WIDE, Form, button, png, row, scrolled

SLIDER = widgets.Layout(width="34em", max_width="100%")
_WORDS = {"least_mm": "at least, mm", "most_mm": "at most, mm", "within_mm": "within, mm", "by_mm": "by, mm",
          "thickness_mm": "thick, mm", "least": "at least", "target": "aim for", "most": "at most"}


class BriefForm(Form):
    """The thicknesses and limits of brief.toml; walls, points and new demands are written in the file itself."""

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
        kind = widgets.FloatText if number else widgets.Text
        field = kind(value=value if number or isinstance(value, str) else str(value), description=_WORDS[key],
                     style={"description_width": "6.5em"}, layout=widgets.Layout(width="15em"))
        self.fields[part, at, key] = field
        self.shown_at_first[part, at, key] = field.value
        return field

    def save_brief(self) -> None:
        """Write the changed numbers into brief.toml, if the brief still holds together."""
        text = self.attempt(self._typed)
        if text is not None and self.save("Saved. Move a slider below to see what it changes; save the surface before "
                                          "you choose Run All Cells.", brief_text=text):
            self.shown_at_first = {key: field.value for key, field in self.fields.items()}

    def _typed(self) -> str:
        """The brief with what is typed, if it holds together as far as the level book lets one tell."""
        job = self.needed()
        text = job.brief_text
        for (part, number, key), field in self.fields.items():
            if field.value != self.shown_at_first[part, number, key]:
                if not key.endswith("_mm"):
                    parse_fall(field.value)
                text = with_value(text, part, number, key, toml(field.value))
        if text != job.brief_text and can_reduce(job):
            replace(job, brief_text=text).brief  # noqa: B018 - refused now rather than when the notebook is run
        return text


class BriefTextForm(Form):
    """The whole of brief.toml to edit: walls, corners, points, new demands. It is checked when the cursor leaves the box."""

    def __init__(self, job: Job) -> None:
        super().__init__(job)
        self.text = widgets.Textarea(value=job.brief_text, continuous_update=False,
                                     layout=widgets.Layout(width="100%", height="24em"))
        self.children = [self.text, row(button("Check", self.check), button("Save", self.save_text)), self.message]
        self.text.observe(lambda _: self.check(), "value")
        self.check()

    def check(self) -> bool:
        """Say what is wrong with what is typed, or what it comes to."""
        brief = self.attempt(lambda: replace(self.needed(), brief_text=self.text.value).brief)
        if brief is not None:
            saved = "" if self.text.value == self.needed().brief_text else " Not saved yet."
            self.say(f"The brief holds together: {brief.sentence()}{saved}")
        return brief is not None

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


class SurfaceForm(Form):
    """Choose the level at the wall and the falls; section, verdicts and volumes follow."""

    def __init__(self, job: Job) -> None:
        super().__init__(job)
        self.said, self.shown = widgets.HTML(), widgets.HTML()
        self.picture = widgets.Image(format="png", layout=widgets.Layout(width="760px", max_width="100%", height="auto"))
        self.children = [self.message]
        self.verdicts: Verdicts | None = None
        self.start: tuple[float, float, float] | None = None
        self.attempt(self._build)

    def _build(self) -> None:
        job = self.needed()
        wall = job.brief.wall(job.wall_name)
        stations = job.brief.stations(wall)
        dpc = wall.dpc_at(stations[0])
        if "level_at_wall_m" in job.told.get("finish", {}):
            self.start = job.choice
        else:  # somewhere to begin from
            self.start = (dpc - LIMITS["clearance"].value, 1 / 60, 0.0)
        level, away, along = self._began()
        self.exact = [level, away, along]
        style_of = {"description_width": "13em"}
        top = whole_mm(max(level, dpc))
        self.level = widgets.FloatSlider(value=level, min=whole_mm(min(level, dpc - 0.4)), max=top, step=0.001,
                                         readout_format=".3f", description="Level at the wall, m", style=style_of, layout=WIDE)
        self.away = widgets.FloatSlider(value=away * 1000, min=min(-10.0, away * 1000), max=max(60.0, away * 1000), step=0.1,
                                        readout=False, description="Fall away", style=style_of, layout=SLIDER)
        self.along = widgets.FloatSlider(value=along * 1000, min=min(-25.0, along * 1000), max=max(25.0, along * 1000), step=0.1,
                                         readout=False, description="Fall along", style=style_of, layout=SLIDER)
        self.place = widgets.FloatSlider(value=(stations[0] + stations[-1]) / 2, min=stations[0], max=stations[-1], step=0.05,
                                         description="Section at, m along", style=style_of, layout=WIDE)
        self.away_words, self.along_words = (widgets.Text(continuous_update=False, layout=widgets.Layout(width="13em"))
                                             for _ in range(2))
        for which, slider, words in ((1, self.away, self.away_words), (2, self.along, self.along_words)):
            words.observe(lambda change, which=which, slider=slider: self.attempt(
                lambda: self._typed_fall(which, slider, change["new"])), "value")
        for slider in (self.level, self.away, self.along, self.place):
            slider.observe(lambda _: self.attempt(self.follow), "value")
        self.children = [self.level, row(self.away, self.away_words), row(self.along, self.along_words), self.place,
                         button("Save this surface", self.save_surface), self.message, self.said, self.picture, self.shown]
        self.follow()

    def _typed_fall(self, which: int, slider: widgets.FloatSlider, words: str) -> None:
        """Take a fall that was typed, e.g. 1:60, and move the slider there; what the form wrote itself is passed over."""
        if words != word_fall(self.chosen()[which]):
            fall = self.exact[which] = parse_fall(words)
            slider.max, slider.min = max(slider.max, fall * 1000), min(slider.min, fall * 1000)  # never cut down what is typed
            slider.value = self.exact[which] * 1000
            self.follow()  # the slider may have stood there already, to its step

    def _began(self) -> tuple[float, float, float]:
        """The surface that the sliders started from."""
        assert self.start is not None
        return self.start

    def chosen(self) -> tuple[float, float, float]:
        """Level (m) and falls (m/m): as typed or read from the file, to the last digit, until a slider is moved off it."""
        sliders = (self.level.value, self.away.value / 1000, self.along.value / 1000)
        steps = (0.0005, 0.00005, 0.00005)  # half of a slider's step
        level, away, along = (exact if abs(slider - exact) <= step else slider
                              for exact, slider, step in zip(self.exact, sliders, steps, strict=True))
        return level, away, along

    def follow(self) -> None:
        """Numbers first, then the picture."""
        self.message.value = ""
        job = self.needed()
        level, away, along = self.chosen()
        finish = job.finish_of(level, away, along)
        self.verdicts = check_finish(finish, job.brief)
        works = job.earthworks_of(finish)
        failed = self.verdicts.failed
        colour, said = (BAD, f"{failed} of {len(self.verdicts.worst)} demands not met") if failed else (GOOD, "every demand met")
        unsaved = "" if self.chosen() == self._began() else " <i>Not saved yet.</i>"
        self.away_words.value, self.along_words.value = word_fall(away), word_fall(along)
        self.said.value = (
            f"<p>{word_level(level)} at the wall, {word_fall(away)} away from it, {word_fall(along)} along it: "
            f"<b class='surface-said' style='color:{colour}'>{said}</b>.{unsaved}<br>{escape(works.sentence())}</p>")
        self.shown.value = f"{scrolled(html_table(self.verdicts.words, words=True))}<p>{escape(self.verdicts.basis)}</p>"
        cut = job.section(finish, self.place.value)
        self.picture.value = png(lambda ax: figures.section(cut, ax=ax), (7.6, 3.9))

    def save_surface(self) -> None:
        """Write the choice into brief.toml."""
        if self.start is None:  # the job cannot be worked out yet: say again why
            self.attempt(self._build)
            return
        level, away, along = self.chosen()
        falls = [toml(f"{word_number(fall * 1000, figures=12)} mm/m") for fall in (away, along)]
        written = zip(("level_at_wall_m", "fall_away", "fall_along"), (toml(level), *falls), strict=True)

        def changed() -> str:
            text = self.needed().brief_text
            told = self.needed().told.get("finish", {})
            for (key, value), new, old in zip(written, self.chosen(), self._began(), strict=True):
                if new != old or key not in told:
                    text = with_value(text, "finish", 1, key, value)
            return text
        text = self.attempt(changed)
        if text is not None and self.save("Saved. Choose Run, then Run All Cells, to see it below and in notebook 4.",
                                          brief_text=text):
            self.start = self.needed().choice
            self.exact = list(self.start)
            self.said.value = self.said.value.replace(" <i>Not saved yet.</i>", "")
