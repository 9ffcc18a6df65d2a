"""Parts of brief.toml to fill in, and what they come to: taking up and materials, units, water."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from html import escape
from typing import Any, ClassVar

import ipywidgets as widgets

from ...design.brief_file import toml, with_value
from ...design.handbook import BULKING, COEFFICIENTS, INFILTRATION, INTENSITIES, ROUGHNESS
from ...design.parts import LIST, NUMBERS, PLACE, SECTIONS, TEXT
from ...errors import SurveyError
from ...wording import html_table
from ..job import Job
from .base import Form, button, heed, paragraphs, row, scrolled, wide

Field = tuple[str, str, str, tuple[str, ...]]  # part, key, what it is called, the names it may have
EXAMPLES = {"thickness_mm": "110", "start": "C1", "roofs": '[[12, "C1"]]', "channel_mm": "100 x 75", "fall": "1:100",
            "pipe_fall": "1:80", "size_m": "1 x 1 x 1", "hole_seconds": "1500, 1700, 1800",
            "storms": "[[10, 12.7], [60, 24.8]]"}  # of what is typed


class PartsForm(Form):
    """Fields for keys of brief.toml, a line of them under each heading; what they come to follows as one is changed.

    An empty field leaves its key out. Numbers are typed with a point or a comma, lists as in brief.toml.
    """

    groups: ClassVar[tuple[tuple[str, tuple[Field, ...]], ...]] = ()

    def __init__(self, job: Job) -> None:
        super().__init__(job)
        self.fields: dict[tuple[str, str], widgets.Widget] = {}
        rows: list[widgets.Widget] = []
        for title, fields in self.groups:
            rows += [widgets.HTML(f"<b>{escape(title)}</b>"), row(*(self._field(*field) for field in fields))]
        self.loaded = {key: field.value for key, field in self.fields.items()}
        self.shown = widgets.HTML()
        self.children = [*rows, button("Save", self.save_parts), self.message, self.shown]
        heed(self.follow, *self.fields.values())
        self.follow()

    def _field(self, part: str, key: str, said: str, names: tuple[str, ...]) -> widgets.Widget:
        value = self.needed().told.get(part, {}).get(key)
        told = "" if value is None else value if isinstance(value, str) else _typed_as(value)
        kind, more = (widgets.Combobox, {"options": names}) if names else (widgets.Text, {"placeholder": EXAMPLES.get(key, "")})
        room = max(27, min(17 + len(told) // 2, 62))  # em: a list is as wide as it is long
        field = kind(value=told, description=said, continuous_update=False, **wide(f"{room}em", "15em"), **more)
        self.fields[part, key] = field
        return field

    def typed(self) -> Job:
        """The job with what is typed, nothing saved."""
        job, text, faults = self.needed(), self.needed().brief_text, []
        for (part, key), field in self.fields.items():
            if field.value == self.loaded[part, key]:
                continue
            given = field.value.strip()
            if not given and key not in job.told.get(part, {}):
                continue
            try:
                text = with_value(text, part, 1, key, _as_toml(part, key, given) if given else None)
            except SurveyError as error:
                faults.append(error.at(f"the field {field.description!r}"))
        if faults:
            raise SurveyError.together(faults)
        return job if text == job.brief_text else replace(job, brief_text=text)

    def follow(self) -> None:
        """Show what it comes to, and what is wrong or doubtful in it."""
        self.message.value = ""
        job = self.attempt(self.typed)
        said = None if job is None else self.attempt(lambda: self.outcome(job))
        unsaved = "<i>Not saved yet.</i>" if said and job is not self.needed() else ""
        self.shown.value = unsaved + (said or "")
        if said and job is not None:
            part = self.part_of(job)
            if part.faults:
                self.refuse(part.faults)
            elif part.doubts:
                self.question(part.doubts)

    def part_of(self, job: Job) -> Any:
        """What the fields belong to, with its `faults` and `doubts`."""
        return job.outdoor

    def outcome(self, job: Job) -> str:
        """What a job comes to, as HTML: nothing, unless a form says more."""
        return ""

    def save_parts(self) -> None:
        """Write what was changed into brief.toml, if it can be worked out; what was wrong before may be saved."""
        job = self.attempt(self.typed)
        if job is None:
            return
        before = set(self.part_of(self.needed()).faults)
        wrong = [fault for fault in self.part_of(job).faults if fault not in before]
        if wrong:
            self.refuse(("Nothing was saved: what is typed cannot be worked out.", *wrong))
        elif self.save("Saved. Choose Run, then Run All Cells.", brief_text=job.brief_text):
            self.loaded = {key: field.value for key, field in self.fields.items()}
            self.told_again()

    def told_again(self) -> None:
        """What it comes to now, below what was just said."""
        said = self.message.value
        self.follow()
        self.message.value = said + self.message.value


def _typed_as(value: Any) -> str:
    """A number or a list as it is typed in brief.toml."""
    if isinstance(value, list):
        return f"[{', '.join(map(_typed_as, value))}]"
    return toml(float(value)) if isinstance(value, (int, float)) and not isinstance(value, bool) else toml(value)


def _as_toml(part: str, key: str, given: str) -> str:
    """What is typed, as written in brief.toml: a list as it stands or made of what is parted by × or commas, a number, a text."""
    wanted = SECTIONS[part][key]
    if given.startswith("["):
        return given
    if wanted == LIST:
        return f"[{', '.join(toml(one) for one in re.split(r'[ ,;]+', given) if one)}]"
    parts = [_number(one) for one in re.split(r"\s*[x×;:]\s*|,\s+|\s+|(?<=\d\d),(?=\d\d\d)", given) if one]
    if wanted == NUMBERS or (wanted == PLACE and len(parts) == 2 and not any(one.startswith('"') for one in parts)):
        return f"[{', '.join(parts)}]"
    return toml(given) if wanted in (TEXT, PLACE) else _number(given)


def _number(given: str) -> str:
    """A number with a point or a comma, else a text, as in brief.toml."""
    plain = given.replace(",", ".").replace("−", "-")  # the true minus sign
    try:
        number = float(plain if plain.isascii() and "_" not in plain else "")
    except ValueError:
        return toml(given)
    return toml(number if math.isfinite(number) else given)


class MaterialsForm(PartsForm):
    """What lies there, what it is taken away in, and the units; the quantities follow."""

    terms = ("bare side", "bond", "breakage", "bulking", "cut piece", "joint", "layer", "loose", "range", "shaving", "sliver",
             "sub-base", "underside", "unit", "waste", "cut", "fill", "formation", "footing", "post")

    groups = (
        ("Taking up", (
            ("old_floor", "thickness_mm", "old floor thick, mm", ()),
            ("taking_up", "reuse_percent", "of it back as sub-base, %", ()),
            ("taking_up", "soil", "kind of soil", tuple(kind for kind in BULKING if kind != "broken concrete")),
            ("area", "beyond_edge_mm", "dig past open edges, mm", ()),
            ("taking_up", "barrow_litres", "a barrow holds, litres", ()),
            ("taking_up", "bulk_bag_m3", "a bulk bag holds, m³", ()),
            ("taking_up", "skip_m3", "a skip holds, m³", ()),
            ("taking_up", "price_of_a_skip", "price of a skip", ()))),
        ("Units", (
            ("units", "length_mm", "length, mm", ()), ("units", "width_mm", "width, mm", ()),
            ("units", "joint_mm", "joint, mm", ()),
            ("units", "bond", "bond", ("stack", "running", "either")),
            ("units", "breakage_percent", "for breakage, %", ()), ("units", "start", "a corner to start from", ()))),
    )

    def outcome(self, job: Job) -> str:
        """Dig, materials, units and posts."""
        dig, found, units, posts = map(job.outdoor.tried, ("dig", "materials", "units", "post_check"))
        said = paragraphs(part.sentence() for part in (dig, found) if part is not None)
        table = "" if found is None else scrolled(html_table(found.words, words=True), tall=36)
        return said + table + paragraphs(part.sentence() for part in (units, posts) if part is not None)


class WaterForm(PartsForm):
    """Rain, channel, pipe and soakaway; whether they are enough follows."""

    terms = ("catchment", "channel", "dead spot", "fall", "infiltration", "Manning's n", "outlet", "rainfall", "rational method",
             "runoff", "sink", "soakaway", "void")

    groups = (
        ("Rain and where it runs", (
            ("rain", "intensity_mm_h", "rain, mm/h", tuple(INTENSITIES)),
            ("rain", "coefficient", "share that runs off", tuple(COEFFICIENTS)),
            ("rain", "roofs", "roofs: m² and place", ()), ("rain", "channel_mm", "channel: width, depth, mm", ()),
            ("rain", "fall", "channel: fall along", ()),
            ("rain", "pipe_mm", "pipe, mm inside", ()), ("rain", "pipe_fall", "pipe: its fall", ()),
            ("rain", "roughness", "Manning's n of both", tuple(ROUGHNESS)))),
        ("Soakaway", (
            ("soakaway", "size_m", "length, width, depth, m", ()), ("soakaway", "hole_seconds", "times of the test hole, s", ()),
            ("soakaway", "rate_m_s", "or the rate, m/s, or soil", tuple(INFILTRATION)),
            ("soakaway", "void_percent", "room between stones, %", ()),
            ("soakaway", "factor", "factor of safety", ()), ("soakaway", "storms", "storms: minutes and mm", ()),
            ("soakaway", "to_building_m", "to the building, m", ()), ("soakaway", "to_boundary_m", "to the boundary, m", ()),
            ("soakaway", "to_water_m", "base above water, m", ()))),
    )

    def outcome(self, job: Job) -> str:
        """Where the water goes and whether it is taken."""
        names = ("catchments", "flow", "conduits", "infiltration", "soakaway")
        rain, flow, conduits, tested, hole = map(job.outdoor.tried, names)
        said = [] if rain is None else [rain.sentence(), *rain.dead]
        if flow is not None:
            said += [flow.sentence(), *(conduit.sentence(flow) for conduit in conduits or ())]
        said += [] if tested is None else [tested.sentence()]
        return paragraphs(said) + ("" if hole is None else hole._repr_html_())
