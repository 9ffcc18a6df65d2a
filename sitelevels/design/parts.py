"""The parts of brief.toml, what each key must be, and reading values out of them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import pandas as pd

from ..errors import SurveyError
from ..wording import parse_fall, word_number
from .budget_file import KEYS
from .conditions import Spot

TEXT, NUMBER, YES, LIST = "a text in quotation marks", "a number", "true or false", "a list in [ ]"
READINGS = "a list in [ ] of numbers or texts"
PLACE = "the name of a point, or x and y in m in [ ]"
RANGE = "a number, or three in [ ]: the least, the likeliest, the greatest"
NAMED = "a number, or a name in quotation marks"
NUMBERS = "a list in [ ] of numbers"
ROOFS = 'a list of roofs, each its area in m² and where its water lands, as [[6.0, "C1"]]'
STORMS = "a list of storms, each its minutes and mm, as [[10, 12.7], [30, 19.8]]"
MIXED = "a number, or a list in [ ]"
CORNERS = 8  # that are named where a name is wrong
JOINTS = 'a list of joints, each its name and the lip in mm, as [["by the door", 2.5]]'

SECTIONS = {  # what each key of the parts that stand once must be
    "job": {"name": TEXT, "note": TEXT, "invented": YES},
    "survey": {"unit": TEXT, "adjust": TEXT, "allowance": TEXT, "allowable_mm": NUMBER, "breaks": LIST},
    "area": {"corners": LIST, "corners_m": LIST, "closed": LIST, "free": LIST, "kept": LIST, "beyond_edge_mm": NUMBER},
    "finish": {"shape": TEXT, "wall": TEXT, "level_at_wall_m": NUMBER, "fall_away": TEXT, "fall_along": TEXT,
               "line": LIST, "level_m": NUMBER, "fall": TEXT, "left": TEXT, "right": TEXT,
               "outlet": PLACE, "sides": LIST, "perimeter_m": NUMBER},
    "instrument": dict.fromkeys(("pegs", "turn", "repeats"), READINGS),
    "errors": {**dict.fromkeys(KEYS.values(), NUMBER), "sure_percent": NUMBER, "headings": READINGS},
    "old_floor": {"thickness_mm": MIXED, "corners": LIST, "corners_m": LIST},
    "taking_up": {"soil": TEXT, "bulking_percent": RANGE, "density_kg_m3": RANGE, "reuse_percent": NUMBER,
                  "barrow_litres": NUMBER, "bulk_bag_m3": NUMBER, "skip_m3": NUMBER, "skip_t": NUMBER,
                  "price_of_a_skip": NUMBER},
    "units": {"length_mm": NUMBER, "width_mm": NUMBER, "joint_mm": NUMBER, "bond": TEXT, "breakage_percent": NUMBER,
              "start": PLACE},
    "rain": {"intensity_mm_h": NAMED, "coefficient": NAMED, "roofs": ROOFS, "channel_mm": NUMBERS, "pipe_mm": NUMBER,
             "roughness": NAMED, "fall": TEXT, "pipe_fall": TEXT},
    "soakaway": {"size_m": NUMBERS, "void_percent": NUMBER, "rate_m_s": NAMED, "hole_seconds": NUMBERS, "storms": STORMS,
                 "factor": NUMBER, "to_building_m": NUMBER, "to_boundary_m": NUMBER, "to_water_m": NUMBER},
    "laid": {"unit": TEXT, "paving": TEXT, "measured_by": TEXT, "joints_mm": JOINTS},
    "screed": {"kind": TEXT, "least_mm": NUMBER, "most_mm": NUMBER, "outlet": PLACE, "edge": LIST, "fall": TEXT, "steepest": TEXT,
               "higher_mm": NUMBER, "on_top_mm": NUMBER, "mix": NUMBERS, "pads_m": NUMBER, "line_m": NUMBER},
    "setting_out": {"benchmark": TEXT, "backsight_m": NUMBER, "pegs": LIST, "edges_m": NUMBER, "grid_m": NUMBER,
                    "string_mm": NUMBER},
}
LISTS = {"wall": {"name", "first", "second", "dpc_m"},
         "layer": {"name", "thickness_mm", "kind", "tolerance_mm", "loose", "density_kg_m3", "waste_percent", "lift_mm", "mix",
                   "price", "price_per"},
         "footing": {"name", "corners", "corners_m", "top_m", "points"},
         "post": {"name", "at", "size_mm", "footing"},
         "hole": {"name", "at", "size_mm"},
         "variant": {"name", "note", "demand"}}


def is_number(value: Any) -> bool:
    """Whether a value is a number that a person could mean."""
    return isinstance(value, (int, float)) and not isinstance(value, bool) and abs(value) < 1e7


def _sound(value: Any) -> bool:
    """Whether every number in lists within lists is one that a person could mean."""
    return all(_sound(one) if isinstance(one, list) else not isinstance(one, (int, float)) or isinstance(one, bool)
               or is_number(one) for one in value)


def is_a(wanted: str, value: Any) -> bool:
    """Whether a value is what a key asks for."""
    if wanted == LIST:
        return isinstance(value, list) and all(isinstance(one, (str, list)) for one in value) and _sound(value)
    if wanted in (ROOFS, STORMS, JOINTS):
        return isinstance(value, list) and all(isinstance(one, list) for one in value) and _sound(value)
    if wanted == MIXED:
        return is_number(value) or is_a(LIST, value)
    if wanted == PLACE:
        return isinstance(value, str) or (isinstance(value, list) and len(value) == 2 and all(map(is_number, value)))
    if wanted == READINGS:  # as typed, in m; texts where a test is not finished
        return isinstance(value, list) and all(isinstance(one, str) or is_number(one) for one in value)
    if wanted in (RANGE, NUMBERS):
        listed = isinstance(value, list) and all(map(is_number, value)) and (wanted == NUMBERS or len(value) == 3)
        return listed or (wanted == RANGE and is_number(value))
    if wanted == NAMED:
        return isinstance(value, str) or is_number(value)
    return is_number(value) if wanted == NUMBER else isinstance(value, bool if wanted == YES else str)


@dataclass
class Reader:
    """Reads values out of a part of the brief; what is wrong goes into `faults`, told of `where`."""

    where: str
    entry: dict[str, Any]
    faults: list[SurveyError]

    def keep(self, read: Callable[..., Any], *given: Any) -> Any:
        """What `read` gives, or None with the fault noted."""
        try:
            return read(*given)
        except SurveyError as error:
            self.faults.append(error.at(self.where))
        return None

    def number(self, key: str, scale: float = 1.0) -> float:
        """A number, scaled to m."""
        value = self.entry.get(key)
        if not is_number(value):
            said = "missing" if value is None else repr(value)
            large = isinstance(value, (int, float)) and not isinstance(value, bool)
            raise SurveyError(f"{key} is {said}", rule="Nothing on a site is so large." if large else
                              "It must be a number, without quotation marks.")
        return float(value) * scale  # type: ignore[arg-type]

    def per_cent(self, key: str, most: float = 100.0) -> float | None:
        """A share typed as per cent, where the key is there."""
        value = self.maybe(key)
        if value is not None and not 0 <= value <= most:
            raise SurveyError(f"{key} is {self.entry[key]!r}", rule=f"It is per cent: nought to {word_number(most)}.")
        return None if value is None else value * 0.01

    def maybe(self, key: str, scale: float = 1.0) -> float | None:
        """A number where the key is there."""
        return self.number(key, scale) if key in self.entry else None

    def span(self, key: str, scale: float = 1.0) -> tuple[float, ...] | None:
        """A number or three, scaled, where the key is there."""
        value = self.entry.get(key)
        if value is not None and not is_a(RANGE, value):
            raise SurveyError(f"{key} is {value!r}", rule=f"It must be {RANGE}.")
        return None if value is None else tuple(one * scale for one in (value if isinstance(value, list) else [value] * 3))

    def text(self, key: str) -> str:
        """A text that is not empty."""
        value = self.entry.get(key)
        if not isinstance(value, str) or not value.strip():
            said = "missing" if value is None else repr(value)
            raise SurveyError(f"{key} is {said}", rule="It must be a text in quotation marks.")
        return value

    def pair(self, key: str, scale: float = 1.0) -> tuple[float, float]:
        """Two numbers, scaled to m."""
        value = self.entry.get(key)
        if not isinstance(value, list) or len(value) != 2 or not all(map(is_number, value)):
            raise SurveyError(f"{key} is {value!r}", rule="It must be two numbers in [ ], parted by a comma.")
        return float(value[0]) * scale, float(value[1]) * scale

    def place(self, key: str, spots: pd.DataFrame) -> tuple[float, float]:
        """The name of a point, or a pair x, y in m."""
        if isinstance(self.entry.get(key), str):
            spot = named([self.text(key)], spots)[0]
            return spot.x, spot.y
        return self.pair(key)

    def fall(self, key: str) -> float:
        """A fall in words."""
        return parse_fall(self.text(key))


def _points(names: list[str], one: str, many: str) -> str:
    """Points as the subject of a sentence, with its verb."""
    return f"the point{'s' * (len(names) > 1)} {', '.join(names)} {many if len(names) > 1 else one}"


def named(names: Any, spots: pd.DataFrame) -> list[Spot]:
    """Spots by a list of point names, or all of one feature."""
    if isinstance(names, str):
        chosen = spots[spots["feature"] == names]
        if chosen.empty:
            raise SurveyError(f"no point of the book has the feature {names!r}",
                              remedy="Mark the points in the column 'feature', or list their names in [ ].")
    else:
        if not isinstance(names, list) or not names or not all(isinstance(name, str) for name in names):
            raise SurveyError(f"the points are {names!r}", rule="They are a feature, or names of points in [ ].")
        missing = [name for name in dict.fromkeys(names) if name not in set(spots["point"])]
        if missing:
            were, corners = _points(missing, "was", "were"), spots[spots["feature"] == "corner"]["point"].tolist()
            booked = f": booked as corners are {', '.join(corners[:CORNERS])}" if corners else ""
            raise SurveyError(f"{were} not read", rule="Points are named as in the book.",
                              remedy=f"Write your own names here, in 3-finish{booked}.")
        chosen = spots.set_index("point").loc[names].reset_index()
    placeless = chosen[chosen["x"].isna()]["point"].tolist()
    if placeless:
        raise SurveyError(f"{_points(placeless, 'has', 'have')} no x and y", remedy="Fill them in in the book.")
    return [Spot(str(point), float(x), float(y), float(level))
            for point, x, y, level in chosen[["point", "x", "y", "level"]].itertuples(index=False, name=None)]
