"""Headings as people write them, and the units they declare, into the columns of a level book."""

from __future__ import annotations

import re
from collections.abc import Sequence

from ..errors import SurveyError
from .book import METRES_PER, Column, Row

_SPELLINGS = {
    "point": "point points pt pts pointname pointno station sta stn peg name id mark location place",
    "reading": "reading readings staff staffreading",
    "bs": "bs back backsight backsights",
    "is": "is int intsight inter intersight intermediate intermediatesight intermediates",
    "fs": "fs fore foresight foresights",
    "up": "up upfromtheline upfromline",
    "down": "down downfromtheline downfromline",
    "x": "x along e east easting eastings",
    "y": "y out n north northing northings",
    "feature": "feature kind type",
    "rl": "rl reducedlevel reducedlevels level levels knownlevel known elevation elev",
    "hand_level": "handlevel workedlevel workedout",
    "sight": "sight sightlength lengthofsight",
    "wall": "wall",
    "remarks": "remarks remark note notes comment comments",
}
_NAMES = {spelling: name for name, spellings in _SPELLINGS.items() for spelling in spellings.split()}
_WORKED_OUT = ("rise", "fall", "hpc", "hi", "hoc", "heightofcollimation", "collimation", "heightofinstrument", "adjustedlevel",
               "adjustedrl", "correction")
_UNITS = {"metre": "m", "metres": "m", "meter": "m", "meters": "m", "millimetre": "mm", "millimetres": "mm", "centimetre": "cm",
          "centimetres": "cm", "feet": "ft", "foot": "ft"} | {unit: unit for unit in METRES_PER}
_NOT_READ = ("in", "inch", "inches", '"', "″", "''", "'", "′", "yd", "yard", "yards", "km", "dm")
_WITH_UNIT = re.compile(r"^(.*?)(?:[\[(]\s*([^\])]*?)\s*[\])]|[ ,_/]\s*(m|cm|mm|ft))\s*$")

READINGS = ("reading", "bs", "is", "fs", "up", "down")
LENGTHS = (*READINGS, "x", "y", "rl", "hand_level", "sight")
TAPED = ("x", "y", "sight")  # often in m where the staff is read in mm: their headings may say so in a book of any unit


def columns_of(headings: Sequence[str], unit: str) -> tuple[list[Column], list[str]]:
    """The columns behind the headings, and what is doubtful about them; `unit` is of every length whose heading says none.

    Raises SurveyError for headings that make no level book, all faults at once.
    """
    columns: list[Column] = []
    faults, doubts = [], []
    declared: dict[str, str] = {}
    for heading in headings:
        shown = " ".join(heading.split())[:100]
        name, said = _name_and_unit(shown)
        if name in LENGTHS and said and not _unit_words(said):
            doubts.append(f"What stands behind the heading {shown!r} is taken for a remark, not for a unit.")
        elif name in LENGTHS and said:
            if said not in _UNITS or (unit not in ("m", _UNITS[said]) and name not in TAPED):
                rule = "It can be m, cm, mm or ft." if said not in _UNITS else f"The book is said to be in {unit}."
                faults.append(SurveyError(f"the heading {shown!r} gives the unit {said!r}", rule=rule))
            else:
                declared[name] = _UNITS[said]
        if name == "point" and any(column.name == "point" for column in columns):
            name = ""  # a book may have a location beside the point: the first names it, and the other is told below
        columns.append(Column(shown, name, declared.get(name, unit) if name in LENGTHS else ""))
        if not name and shown and _plain(bare(shown)) not in _WORKED_OUT:
            doubts.append(f"The column {shown!r} is not one that a level book has, and is not used.")
    faults += _faults_of(columns)
    names = [column.name for column in columns]
    silent = [name for name in names if name in LENGTHS and name not in declared]
    if declared and set(silent) & set(READINGS) and set(declared) & set(READINGS):
        faults.append(SurveyError(f"the headings of {', '.join(map(repr, declared))} give a unit and those of "
                                  f"{', '.join(map(repr, silent))} do not",
                                  remedy="Write the unit behind every reading, or behind none."))
    elif silent and unit == "m" and any(one != unit for one in declared.values()):
        doubts.append(f"The headings {', '.join(silent)} give no unit and are taken in {unit}.")
    if faults:
        raise SurveyError.together(faults)
    return columns, doubts


def heading_of(columns: Sequence[Column], row: Row, name: str) -> str:
    """What a person has called the column in which a reading (bs, is or fs) of a row was booked, the unit left out."""
    if row.taped and name == "is":
        name = "up" if (row.is_ or 0) < 0 else "down"
    headings = {column.name: bare(column.heading) for column in columns}
    return headings.get(name) or headings.get("reading") or name


def _name_and_unit(heading: str) -> tuple[str, str]:
    """The column that a heading means, "" for none, and the unit that it declares, "" for none."""
    if (name := _NAMES.get(_plain(heading))) and not re.search("[\"″'′]", heading):
        return name, ""
    found = _WITH_UNIT.match(heading)
    said = (found[2] or found[3] or "").lower().replace(".", "").removeprefix("decimal ") if found else ""
    return _NAMES.get(_plain(bare(heading)), ""), said


def _unit_words(said: str) -> list[str]:
    """Words for units, in what stands in brackets behind a heading."""
    return [word for word in re.findall(r"[\"″'′]+|[^\W\d_]+", said) if word in _UNITS or word in _NOT_READ]


def _plain(text: str) -> str:
    return re.sub(r"\W|_", "", text.lower())


def bare(heading: str) -> str:
    """A heading without the unit behind it."""
    found = _WITH_UNIT.match(heading)
    return found[1].strip() if found else heading


def _faults_of(columns: Sequence[Column]) -> list[SurveyError]:
    faults = []
    names = [column.name for column in columns]
    listed = ", ".join(column.heading for column in columns if column.heading) or "empty"
    found = f"The headings found are {listed}."
    if not any(names):
        return [SurveyError(f"the first line {','.join(column.heading for column in columns)!r} is not a line of headings",
                            rule="A book starts with one: point,bs,is,fs or, for a plain list, point,reading.",
                            remedy="Add it above the readings.")]
    if "point" not in names:
        faults.append(SurveyError("the level book has no column 'point'", rule=found,
                                  remedy="Give that heading to the column that names the points."))
    if "reading" in names and {"bs", "is", "fs"} & set(names):
        faults.append(SurveyError("the level book has 'reading' beside bs, is or fs", remedy="Keep the one or the others."))
    elif not {"reading", "bs", "up", "down"} & set(names):
        faults.append(SurveyError("the level book has no column 'bs'", rule=found,
                                  remedy="Use point, bs, is, fs, or the plain list point, reading."))
    elif not {"reading", "is", "fs", "up", "down"} & set(names):
        faults.append(SurveyError("the level book has neither a column 'is' nor a column 'fs'", rule=found))
    for name in dict.fromkeys(filter(None, names)):
        twice = [repr(column.heading) for column in columns if column.name == name]
        if len(twice) > 1:
            faults.append(SurveyError(f"the columns {' and '.join(twice)} are both {name}", remedy="Rename one of them."))
    return faults
