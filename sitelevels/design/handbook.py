"""Published ranges that quantities and drainage rest on, each with its document and how sure we are of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from ..errors import SurveyError, finite
from .published import MEMORY, PRACTICE, QUOTED, READ, Sourced

EUROCODE = ("EN 1991-1-1", "Annex A", "2002")
GRAVITY = 9.81  # m/s²: the standard's unit weights in kN/m³ become masses by it


@dataclass(frozen=True)
class Range:
    """The least, the likeliest and the greatest value of something that is not known exactly, all in one unit: m, kg/m³, a share.

    Refuses a value that is no finite number, and values out of order.

    Reason: what hangs on several such values is told at its ends too, with all that makes it little or much together.

    >>> Range(1.15, 1.2, 1.3) * Range(2, 2, 3)
    Range(low=2.3, likely=2.4, high=3.9000000000000004)
    """

    low: float
    likely: float
    high: float

    def __post_init__(self) -> None:
        for value in self.values:
            finite(value, "a value of the range", "It is a finite number.")
        if not self.low <= self.likely <= self.high:
            raise SurveyError(f"the range {self.low!r}, {self.likely!r}, {self.high!r} is not in order",
                              rule="It is the least, the likeliest and the greatest value.")

    @property
    def values(self) -> tuple[float, float, float]:
        """Low, likely, high."""
        return self.low, self.likely, self.high

    def __mul__(self, other: Range | float) -> Range:
        """The product, ends with ends; both must be nought or more."""
        times = other.values if isinstance(other, Range) else (finite(other, "the factor", "It is a number, or a Range."),) * 3
        return Range(*(one * by for one, by in zip(self.values, times, strict=True)))

    def __add__(self, other: Range | float) -> Range:
        """The sum, ends with ends."""
        more = other.values if isinstance(other, Range) else (finite(other, "what is added", "It is a number, or a Range."),) * 3
        return Range(*(one + by for one, by in zip(self.values, more, strict=True)))


def range_of(value: Any, what: str, rule: str) -> Range:
    """One number as a range of no width, or three in order (least, likeliest, greatest). Raises SurveyError for anything else."""
    if isinstance(value, Range):
        return value
    given = tuple(value) if isinstance(value, Sequence) or getattr(value, "ndim", 0) == 1 else (value,) * 3
    if len(given) != 3 or isinstance(value, str):
        raise SurveyError(f"{what} is {value!r}", rule="It is one number, or three: the least, the likeliest, the greatest.")
    low, likely, high = (finite(one, what, rule) for one in given)
    if not low <= likely <= high:
        raise SurveyError(f"{what} is {value!r}", rule="Three numbers are the least, the likeliest, the greatest, in that order.")
    return Range(low, likely, high)


@dataclass(frozen=True)
class Published(Sourced):
    """A range from outside the project: `range` in `unit`, where it is written and how sure we are of it.

    Units are those of site work: "m", "m³", "kg/m³", "mm/h" and the like; none of a mere number. Nothing is refused.

    Reason: as for a `Limit`; what is handed down as a range is kept as one.

    >>> INTENSITIES["paved areas"].range.likely, INTENSITIES["paved areas"].unit
    (50.4, 'mm/h')
    """

    range: Range
    unit: str
    what: str
    document: str = ""
    clause: str = ""
    edition: str = ""
    confidence: str = PRACTICE


def _share(low: float, likely: float, high: float, what: str, *source: str) -> Published:
    return Published(Range(low, likely, high), "of the volume in the ground", what, *source)


_HANDBOOK = ("Peurifoy, Construction Planning, Equipment and Methods", "Table 4-1", "as quoted on an engineers' list", QUOTED)
BULKING = {
    "sand or gravel": _share(0.05, 0.12, 0.15, "sand or gravel", *_HANDBOOK),
    "topsoil": _share(0.10, 0.18, 0.25, "topsoil", *_HANDBOOK),
    "loam": _share(0.10, 0.25, 0.35, "loam", *_HANDBOOK),
    "common earth": _share(0.20, 0.30, 0.45, "common earth", *_HANDBOOK),
    "clay": _share(0.30, 0.40, 0.60, "clay", *_HANDBOOK),
    "rock": _share(0.50, 0.65, 0.80, "solid rock", *_HANDBOOK),
    "broken concrete": _share(0.40, 0.50, 0.60, "broken-out concrete", "", "", "", MEMORY),
}
"""How much more room ground takes once dug, as a share of its volume in the ground, by kind. The likeliest values lie inside the
ranges; those of gravel, loam and clay are the single values of an engineer's reference page (text read), the others ours."""

_TONNES = 1000.0


def _weight(low: float, likely: float, high: float, what: str) -> Published:
    """Unit weights in kN/m³ as masses."""
    return Published(Range(*(value * _TONNES / GRAVITY for value in (low, likely, high))), "kg/m³", what, *EUROCODE, QUOTED)


DENSITIES = {
    "concrete": _weight(24.0, 24.0, 25.0, "plain to reinforced concrete, hardened"),
    "mortar": _weight(19.0, 21.0, 23.0, "cement mortar, hardened"),
    "sandstone": _weight(21.0, 24.0, 27.0, "sandstone"),
    "granite": _weight(27.0, 28.5, 30.0, "granite"),
    "limestone": _weight(20.0, 25.0, 29.0, "dense limestone"),
    "hardcore": _weight(18.5, 19.0, 19.5, "hardcore as loose fill"),
    "crushed stone": Published(Range(1950.0, 2100.0, 2200.0), "kg/m³", "graded crushed stone, compacted", "", "", "", MEMORY),
    "sand, dry": _weight(15.0, 15.5, 16.0, "dry sand, loose"),
    "soil": Published(Range(1500.0, 1602.0, 1900.0), "kg/m³", "soil in the ground: over 1.5 t/m³ (HSE, excavations), 100 lb/ft³ "
                      "(an estimating text), the upper end from memory", "HSE excavations page and an estimating text", "", "",
                      MEMORY),
    "cement": Published(Range(1440.0, 1440.0, 1440.0), "kg/m³", "cement as tipped", "estimating examples (India)", "", "", READ),
}
"""Masses of a cubic metre; of what has a range only, halfway is taken as likeliest, but for limestone, which is mostly dense."""

CARRIERS = {
    "barrow": Published(Range(0.060, 0.060, 0.060), "m³", "a builder's barrow, not heaped"),
    "bulk bag": Published(Range(0.50, 0.50, 0.50), "m³", "what a bulk bag of about 850 kg holds"),
}
"""What a load holds."""

BAG_MASS = 850.0  # kg in a bulk bag at the most: common practice, no source
BARROW_MASS = 100.0  # kg in a barrow at the most: common practice, no source

INTENSITIES = {
    "paved areas": Published(Range(50.4, 50.4, 50.4), "mm/h", "0.014 l/s per m² of paved area in normal situations",
                             "Approved Document H (England)", "H3, section 2", "", QUOTED),
    "roof": Published(Range(75.0, 75.0, 150.0), "mm/h", "roofs; up to 150 mm/h where an overflow would be serious",
                      "BS 6367", "", "1983, as a plumbing textbook quotes it", QUOTED),
    "threshold drain": Published(Range(50.0, 50.0, 50.0), "mm/h", "a shielded drain before a flat threshold",
                                 "BRE Building Elements: Walls, windows and doors", "chapter 5.2", "", READ),
}
"""Rain to design for."""

_COURSE = ("University of Illinois, course table of runoff coefficients", "", "", READ)
COEFFICIENTS = {
    "concrete": Published(Range(0.80, 0.95, 0.95), "", "concrete paving", *_COURSE),
    "asphalt": Published(Range(0.70, 0.95, 0.95), "", "asphalt", *_COURSE),
    "brick": Published(Range(0.70, 0.85, 0.85), "", "brick paving", *_COURSE),
    "roof": Published(Range(0.90, 0.90, 1.00), "", "pavement and roofs; another city, Austin, takes about 1.0",
                      "City of Everett, storm-sewer runoff table", "", "1979", READ),
    "lawn, sandy": Published(Range(0.05, 0.15, 0.20), "", "lawn on sandy soil, flat to over 7 %", *_COURSE),
    "lawn, heavy": Published(Range(0.13, 0.22, 0.35), "", "lawn on heavy soil, flat to over 7 %", *_COURSE),
}
"""The share of the rain that runs off; for paving the likeliest is the upper end, on the safe side."""

_WORKSHEET = ("a published worksheet of Manning's formula", "", "", READ)
ROUGHNESS = {
    "concrete, finished": Published(Range(0.012, 0.012, 0.012), "", "finished concrete", *_WORKSHEET),
    "clay": Published(Range(0.014, 0.014, 0.014), "", "clay tile", *_WORKSHEET),
    "brick": Published(Range(0.015, 0.015, 0.015), "", "brickwork", *_WORKSHEET),
    "smooth plastic": Published(Range(0.009, 0.010, 0.011), "", "smooth plastic pipe or channel; 0.009 and 0.011 in other tables",
                                "City of Austin, Drainage Criteria Manual", "Table 5-2", "", READ),
    "cast iron": Published(Range(0.012, 0.012, 0.012), "", "new cast iron", *_WORKSHEET),
}
"""Manning's n."""

_MM_H = 1 / 3.6e6


def _soil(low: float, high: float, what: str) -> Published:
    """A range of mm/h as m/s; in the middle of it what is halfway by ratio."""
    return Published(Range(low * _MM_H, (low * high) ** 0.5 * _MM_H, high * _MM_H), "m/s", what,
                     "an annex on infiltration rates, believed to be of the FAO irrigation training manual", "", "", QUOTED)


INFILTRATION = {
    "sandy loam": _soil(20.0, 30.0, "sandy loam"),
    "loam": _soil(10.0, 20.0, "loam"),
    "clay loam": _soil(5.0, 10.0, "clay loam"),
    "clay": _soil(1.0, 5.0, "clay"),
}
"""How fast soils take water in once wet. No design: test a hole."""
