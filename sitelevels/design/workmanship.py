"""Published classes and limits for finished work, and ranges for screeds, each with its document and how sure we are of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from ..errors import SurveyError
from ..wording import word_distance, word_mm
from .handbook import Published, Range
from .published import ICPI, QUOTED, READ, Limit, Sourced


@dataclass(frozen=True)
class Regularity(Sourced):
    """A class of surface regularity: what may at most show under a straightedge of `length` m, `limit` in m.

    With `offset` its ends are held off equally and the surface may lie `limit` above or below the line between them; else it
    rests on the surface and the limit is that of the gap beneath. `document` and the rest say where it is written. Nothing is
    refused.

    Reason: some documents rest the straightedge on the surface and others hold its ends off; the two do not compare.

    >>> REGULARITY["SR1"].words
    'at most 3 mm of gap under 2.00 m'
    """

    name: str
    limit: float
    length: float
    offset: bool
    document: str
    clause: str
    edition: str
    confidence: str

    @property
    def words(self) -> str:
        """The limit in words."""
        way = "either way, ends held off equally," if self.offset else "of gap"
        return f"at most {word_mm(self.limit)} {way} under {word_distance(self.length)}"


_FLOORS = ("BS 8204", "as a technical note of the Concrete Society gives it", "current edition; that of 1987 took 3 m", QUOTED)
_CLAUSE = "a national specification clause in a project specification"
REGULARITY = {one.name: one for one in (
    Regularity("SR1", 0.003, 2.0, False, *_FLOORS),
    Regularity("SR2", 0.005, 2.0, False, *_FLOORS),
    Regularity("SR3", 0.010, 2.0, False, *_FLOORS),
    Regularity("flags and natural stone", 0.003, 3.0, False, "BS 7533", f"635 of {_CLAUSE}", "", QUOTED),
    Regularity("block paving", 0.010, 3.0, False, "BS 7533", f"635 of {_CLAUSE}", "", QUOTED),
    Regularity("accessible paving", 0.003, 1.0, False, "BS 8300", f"637 of {_CLAUSE}", "", QUOTED),
    Regularity("drives, paths and terraces", 0.010, 2.0, True, "NHBC Standards", "9.1.11", "2018", READ),
    Regularity("floors of new homes", 0.005, 2.0, True, "NHBC Standards", "9.1.5", "2020", READ),
    Regularity("interlocking paving", 0.010, 3.0, True, *ICPI),
    Regularity("compacted base", 0.010, 3.0, True, *ICPI),
    Regularity("external tiles on a screed", 0.003, 2.0, False, "a tile retailer's installation note (United Kingdom)", "", "",
               READ),
)}
"""Classes by name, limits and lengths in m. Falls into gullies and channels are excepted: no straightedge is laid across them."""

FLOOR_CLASSES = ("SR1", "SR2", "SR3")  # of a screed or a floor, the finest first

TESTS = Published(Range(20.0, 20.0, 20.0), "m²", "floor area for one straightedge test where no rate was agreed",
                  "floor-measurement consultants' note", "", "", READ)

LIPPING: dict[str, Limit] = {
    "flags and natural stone": Limit(0.002, "m", "lip between flags", "BS 7533", f"635 of {_CLAUSE}", "", QUOTED),
    "block paving": Limit(0.002, "m", "lip between blocks", "BS 7533", f"635 of {_CLAUSE}", "", QUOTED),
    "interlocking paving": Limit(0.003, "m", "lip on pedestrian access routes", *ICPI),
    "accessible paving, flush joint": Limit(0.005, "m", "lip at a flush joint; twice the width of the joint if that is less",
                                            "BS 8300", f"637 of {_CLAUSE}", "", QUOTED),
    "accessible paving, open joint": Limit(0.002, "m", "lip at a recessed or unfilled joint", "BS 8300", f"637 of {_CLAUSE}",
                                           "", QUOTED),
}
"""Greatest lip at a joint in m, by kind of paving."""

_WATER = ("NHBC Standards", "9.1.11", "2018", READ)
STANDING_DEEP = Limit(0.005, "m", "depth of water that may stand an hour after rain; none beside an entrance door", *_WATER)
STANDING_WIDE = Limit(1.0, "m²", "area of water that may stand an hour after rain; none beside an entrance door", *_WATER)

_DATUM = ("BS 8204-1", "as a note of the Concrete Society and a screeding contractor give it", "", QUOTED)
DEPARTURE = Limit(0.015, "m", "departure of a level floor from datum, large areas in ordinary use; less near doors", *_DATUM)
DEPARTURE_GRID = Published(Range(3.0, 3.0, 3.0), "m", "levels are taken at the crossings of a square grid",
                           "Concrete Society note on departure from datum", "", "", READ)
OUT_OF_LEVEL = Limit(0.003, "m/m", "out of level for each metre between the furthest points, floors up to 6 m across",
                     "NHBC Standards", "9.1.5", "2020", READ)
OUT_OF_LEVEL_MOST = Limit(0.020, "m", "out of level at the most, larger floors", "NHBC Standards", "9.1.5", "2020", READ)
LARGE_FLOOR = 6.0  # m across: from here on OUT_OF_LEVEL_MOST holds (the same clause)


@dataclass(frozen=True)
class ScreedKind:
    """A kind of screed: how thin it may be anywhere, and where that is told how thick, in m, with sources."""

    name: str
    least: Limit
    most: Limit | None = None


def _kind(name: str, least: float, *source: str, most: Limit | None = None) -> ScreedKind:
    return ScreedKind(name, Limit(least, "m", f"least thickness of a screed, {name}", *source), most)


_STANDARD = ("BS 8204-1", "as a screeding company quotes it", "2003 + A1:2009", QUOTED)
_CENTRE = ("The Concrete Centre, floor screeds", "", "", READ)
SCREEDS = {one.name: one for one in (
    _kind("bonded", 0.025, *_STANDARD, most=Limit(0.040, "m", "bonded screeds do best between 25 and 40 mm; thicker, they may "
                                                  "come loose", "Concrete Society note on screeds, on BS 8204", "", "", READ)),
    _kind("unbonded", 0.050, *_STANDARD),
    _kind("unbonded, heating pipes in it", 0.065, *_CENTRE),
    _kind("floating, light use", 0.065, *_STANDARD),
    _kind("floating, heavier use", 0.075, "Concrete Society note on screeds, on BS 8204", "", "", READ),
    _kind("floating, heating pipes in it", 0.075, *_CENTRE),
    _kind("calcium sulphate, bonded", 0.025, *_CENTRE),
    _kind("calcium sulphate, unbonded", 0.030, *_CENTRE),
    _kind("calcium sulphate, floating", 0.035, *_CENTRE),
    _kind("under external tiles", 0.050, "a tile retailer's installation note (United Kingdom)", "", "", READ),
)}
"""Kinds of screed by name, thicknesses in m.

The Concrete Centre asks for 40 mm of a bonded one: 25 mm are for a high spot of the base, not to design for. Flowing screeds
and heating: follow the maker.
"""
SCREED_PIPES = Limit(0.025, "m", "screed above the highest point of a pipe or its lagging",
                     "NHBC Standards", "8.3-S2(b)", "2011", READ)
SCREED_DESIGN = Limit(0.040, "m", "thickness of a bonded screed to design for", *_CENTRE)
SCREED_MIX = Published(Range(3.0, 4.0, 4.5), "parts of sand to one of cement", "mix of a screed; over 40 mm concrete may be used",
                       "NHBC Standards", "9.3.4", "2020", READ)
SCREED_WASTE = Published(Range(0.0, 0.05, 0.10), "of what is needed", "screed lost in mixing and laying")
PADS = Published(Range(1.5, 2.0, 2.5), "m", "pads or rails stand as far apart as the straightedge reaches")


def _falls(flattest: float, steepest: float, what: str, *source: str) -> Published:
    return Published(Range(1 / flattest, 2 / (flattest + steepest), 1 / steepest), "m/m", what, *source)


FLOOR_FALLS = {
    "wet room, tiled": _falls(80, 35, "tiled floor of a wet room (United Kingdom)", "BS 5385-3",
                              "as an architects' journal quotes it", "", QUOTED),
    "external tiles": _falls(80, 35, "sub-floor of external tiles, away from the building",
                             "a tile retailer's installation note (United Kingdom)", "", "", READ),
    "level-access shower": _falls(40, 40, "for 1 m round the floor drain (United Kingdom)",
                                  "a building journal's specification note", "", "", READ),
    "shower, South Australia": _falls(80, 60, "shower area", "NCC Volume Two", "SA 3.2.2", "2016", READ),
    "other wet area, South Australia": _falls(100, 80, "wet area outside the shower", "NCC Volume Two", "SA 3.2.2", "2016", READ),
    "wet area to a floor waste, Australia": _falls(80, 50, "each plane square to its wall", "NCC Housing Provisions", "10.2.12",
                                                   "2022", QUOTED),
    "shower, United States": _falls(48, 24, "1/4 to 1/2 inch in a foot", "IRC", "P2709", "", QUOTED),
}
"""Falls of floors to an outlet, flattest to steepest; the likeliest is in the middle."""


def one_of(table: dict[str, Any], name: Any, what: str) -> Any:
    """The entry of that name. Raises SurveyError that lists the names."""
    if not isinstance(name, str) or name not in table:
        raise SurveyError(f"there is no {what} called {name!r}", rule=f"There are {', '.join(map(repr, table))}.")
    return table[name]
