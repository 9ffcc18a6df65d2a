"""brief.toml in and out: the site, the demands, the layers, the surface chosen by hand."""

from __future__ import annotations

import math
import re
import tomllib
import warnings
from collections.abc import Callable, Iterable
from itertools import pairwise
from typing import Any

import pandas as pd
import shapely
import tomlkit
import tomlkit.exceptions
import tomlkit.items

from ..errors import SurveyError, SurveyWarning
from ..survey.faults import places_in
from ..survey.reduction import ReducedLevels
from ..wording import tidy, word_distance, word_mm, word_number
from . import demands
from .brief import BEYOND_SHOTS, Brief, Wall
from .conditions import AtSpots, Demand, Spot
from .parts import LISTS, SECTIONS, YES, Reader, is_a, named
from .site_file import footing_of, layer_of, outline_of, underside_of

FORMAT = 1
LEAST_AREA = 0.25  # m²: less is nothing that is paved or screeded, but lengths in a wrong unit
COURSE, UNEVEN = 0.075, 0.010  # m: a course of bricks; a DPC laid to 5 mm and read to 5 mm: common practice, no source

_DEMANDS: dict[str, tuple[type[Demand], dict[str, str]]] = {
    "below the DPC": (demands.Clearance, {"wall": "wall", "least_mm": "least", "drained_mm": "drained"}),
    "fall away": (demands.FallAway, {"wall": "wall", "least": "least", "target": "target", "most": "most"}),
    "fall along": (demands.FallAlong, {"wall": "wall", "most": "most"}),
    "fall to drain": (demands.FallToDrain, {"least": "least", "target": "target", "most": "most", "channel": "channel"}),
    "meet": (demands.Meet, {"points": "points", "within_mm": "within"}),
    "access cover": (demands.AccessCover,
                     {"points": "points", "within_mm": "within", "lower_mm": "lower", "higher_mm": "higher"}),
    "step": (demands.Step, {"points": "at", "least_mm": "least", "most_mm": "most", "up": "up"}),
    "cover": (demands.Cover, {"points": "points", "least_mm": "least"}),
    "keep below": (demands.KeepBelow, {"point": "point", "by_mm": "by"}),
    "gully": (demands.Gully, {"point": "point", "proud_mm": "proud"}),
    "gradient": (demands.MaxGradient, {"most": "most"}),
}


def read_brief(text: str) -> dict[str, Any]:
    """The tables of a brief.toml, with every key checked.

    Raises SurveyError, all at once, for text that is not TOML, a later format, and keys that mean nothing.
    """
    try:
        told = tomllib.loads(text)
    except (ValueError, RecursionError) as error:  # a number of thousands of digits is a ValueError of its own
        place = re.search(r"line (\d+)", str(error))
        lines = text.splitlines()
        line = f", line {place[1]}: {lines[min(int(place[1]), len(lines)) - 1].strip()}" if place and lines else ""
        raise SurveyError(f"brief.toml cannot be read{line} ({error})",
                          rule="Texts and falls stand in straight quotation marks; numbers do not, and have a decimal point.",
                          remedy="Mend that line.") from None
    version = told.pop("format", None)
    if version != FORMAT or isinstance(version, bool):
        raise SurveyError(f"brief.toml has format {version!r}", rule=f"This workbook reads format = {FORMAT}.",
                          remedy="Bring the workbook up to date." if isinstance(version, int) and version > FORMAT
                          else f"Write format = {FORMAT} at the top.")
    faults: list[SurveyError] = []
    for name, table in told.items():
        lists = name in LISTS or name == "demand"
        if not lists and name not in SECTIONS:
            faults.append(SurveyError(f"brief.toml has a part [{name}] that is not known",
                                      rule=f"Parts are {', '.join([*SECTIONS, *LISTS, 'demand'])}."))
            continue
        entries = table if lists else [table]
        if not isinstance(entries, list) or not all(isinstance(entry, dict) for entry in entries):
            faults.append(SurveyError(f"brief.toml: {name} is not a part",
                                      remedy=f"Its heading is [[{name}]]." if lists else f"Its heading is [{name}]."))
            continue
        for number, entry in enumerate(entries, start=1):
            where = f"brief.toml, [[{name}]] number {number}" if lists else f"brief.toml, [{name}]"
            faults += _unknown(entry, set(SECTIONS.get(name, ())) or LISTS.get(name), where)
            faults += [SurveyError(f"{key} is {entry[key]!r}", where=where, rule=f"It must be {wanted}.")
                       for key, wanted in SECTIONS.get(name, {}).items() if key in entry and not is_a(wanted, entry[key])]
            if name == "variant":
                _check_variant(entry, where, faults)
                if entry.get("name") in [other.get("name") for other in entries[:number - 1]]:
                    faults.append(SurveyError(f"two variants are called {entry.get('name')!r}", where=where))
    if faults:
        raise SurveyError.together(faults)
    return told


def _check_variant(entry: dict[str, Any], where: str, faults: list[SurveyError]) -> None:
    """Note what is wrong with the demands of a variant of the brief."""
    entries = entry.get("demand", [])
    parts = isinstance(entries, list) and all(isinstance(one, dict) for one in entries)
    if not isinstance(entry.get("name"), str) or not entry["name"].strip() or not parts:
        faults.append(SurveyError("the variant has no name, or its demands are no parts", where=where,
                                  remedy="Write name = \"…\", and each demand under a heading [[variant.demand]]."))
        return
    for demand in entries:
        faults += _unknown(demand, None, where)


def _unknown(entry: dict[str, Any], known: set[str] | None, where: str) -> list[SurveyError]:
    """What is wrong with the keys of a part: those that it may have, or else those of its kind of demand, are known."""
    kind = entry.get("kind")
    if known is None and not (isinstance(kind, str) and kind in _DEMANDS):
        return [SurveyError(f"the kind of demand is {kind!r}", where=where, rule=f"Kinds are {', '.join(_DEMANDS)}.")]
    known = known or {"kind", *_DEMANDS[str(kind)][1]}
    return [SurveyError(f"the key {key!r} is not known here", where=where, rule=f"Keys are {', '.join(sorted(known))}.")
            for key in entry if key not in known]


def brief_of(told: dict[str, Any], reduced: ReducedLevels, variant: str | None = None) -> Brief:
    """The brief of a job from its file and its levels; with a `variant`, its demands in place of those of the same kind.

    Points are named as in the book; a wall's DPC comes from the shots with feature dpc and that wall's name, or from dpc_m.
    Raises SurveyError with every problem at once, and warns (SurveyWarning) of DPC shots on walls that it does not know.
    """
    faults: list[SurveyError] = []
    spots = reduced.spots()
    area = Reader("brief.toml, [area]", told.get("area", {}), faults)
    corners = area.keep(outline_of, area, spots, "corner")  # all points marked so, in the order in which they were booked

    def each(part: str, make: Callable[..., Any], *given: Any) -> list[Any]:
        readers = [Reader(f"brief.toml, [[{part}]] number {number}", entry, faults)
                   for number, entry in enumerate(told.get(part, []), start=1)]
        return [reader.keep(make, reader, *given) for reader in readers]

    names = [entry.get("name") for entry in told.get("wall", [])]
    for row in reduced.book.rows:
        if row.feature == "dpc" and row.wall and not any(_same(row.wall, str(name)) for name in names):
            warnings.warn(f"Row {row.number}, point {row.point}: this DPC shot is not used, for the brief has no wall "
                          f"{row.wall!r}. Its walls are {', '.join(map(str, names)) or 'none'}.", SurveyWarning, stacklevel=3)
    if corners is not None and corners.area < LEAST_AREA:
        faults.append(_too_small(corners, area, reduced))
    walls = each("wall", _wall, spots, reduced, names)
    layers = each("layer", layer_of)
    footings = each("footing", footing_of, spots)
    floor = Reader("brief.toml, [old_floor]", told["old_floor"], faults) if told.get("old_floor") else None
    underside = None if floor is None else floor.keep(underside_of, floor, spots)
    own = [(f"brief.toml, [[demand]] number {number}", entry) for number, entry in enumerate(told.get("demand", []), start=1)]
    chosen = own if variant is None else None
    for other, entries in _variants(told).items():
        varied = [(f"brief.toml, [[variant.demand]] number {number} of {other!r}", entry)
                  for number, entry in enumerate(entries, start=1)]
        if other == variant:
            kinds = {entry["kind"] for entry in entries}
            chosen = [*((where, entry) for where, entry in own if entry["kind"] not in kinds), *varied]
        elif variant is None:  # what is wrong with a variant is told before it is asked for
            for reader in (Reader(*one, faults) for one in varied):
                reader.keep(_demand, reader, spots, names)
    if chosen is None:
        raise SurveyError(f"the brief has no variant {variant!r}",
                          rule=f"Its variants are {', '.join(_variants(told)) or 'none'}.")
    asked = [reader.keep(_demand, reader, spots, names) for reader in (Reader(*one, faults) for one in chosen)]
    if told.get("screed"):  # what it meets is a floor, and tiles may come on it
        screed = Reader("brief.toml, [screed]", told["screed"], faults)
        on_top = screed.keep(screed.maybe, "on_top_mm", 0.001) or 0.0
        if on_top < 0:
            faults.append(SurveyError(f"on_top_mm is {told['screed']['on_top_mm']}", where=screed.where,
                                      rule="Tile and bed are nought mm or more thick."))
        asked = [demands.MeetFloor(one.points, one.within, max(on_top, 0.0)) if type(one) is demands.Meet else one
                 for one in asked]
    closed, free, kept = (tuple(area.keep(_edge, edge, spots) for edge in area.entry.get(key, []))
                          for key in ("closed", "free", "kept"))
    beyond = area.keep(area.maybe, "beyond_edge_mm", 0.001)
    if faults:
        raise SurveyError.together(faults)
    return Brief(corners, walls=tuple(walls), layers=tuple(layers), demands=tuple(asked), closed=closed, free=free,
                 kept=kept, beyond_edge=beyond, underside=underside, footings=tuple(footings))


def _too_small(corners: shapely.Polygon, area: Reader, reduced: ReducedLevels) -> SurveyError:
    """What is wrong with an outline that nobody paves."""
    x_low, y_low, x_high, y_high = corners.bounds
    wide, deep, unit = x_high - x_low, y_high - y_low, "m" if "corners_m" in area.entry else reduced.book.unit_of("x")
    return SurveyError(f"the corners span {word_mm(wide, digits=1)} by {word_mm(deep, digits=1)}", where=area.where,
                       rule=f"An area is {word_number(LEAST_AREA)} m² at the least.",
                       remedy=places_in(unit, max(wide, deep)) if unit in ("mm", "cm") else "Correct x and y of the corners.")


def _variants(told: dict[str, Any]) -> dict[str, list[dict[str, Any]]]:
    """The demands of each variant by its name."""
    return {entry["name"]: entry.get("demand", []) for entry in told.get("variant", [])}


def _edge(edge: Any, spots: pd.DataFrame) -> Any:
    """An edge: its two ends, each the name of a point or a pair x, y in m."""
    if not isinstance(edge, list):
        return edge
    return tuple(named([end], spots)[0][1:3] if isinstance(end, str) else end for end in edge)


def _wall(reader: Reader, spots: pd.DataFrame, reduced: ReducedLevels, walls: list[Any]) -> Wall:
    name = reader.text("name")
    if ends := [end for end in map(reader.entry.get, ("first", "second")) if isinstance(end, str) and end.strip()]:
        named(ends, spots)  # what is wrong with both is told at once
    first, second = (reader.place(key, spots) for key in ("first", "second"))
    if "dpc_m" in reader.entry:
        return Wall(name, first, second, dpc=reader.number("dpc_m"))
    bare = Wall(name, first, second, dpc=0.0)
    marked = [row for row in reduced.book.rows if row.feature == "dpc" and _same(row.wall, name)]
    unnamed = [row for row in reduced.book.rows if row.feature == "dpc" and not row.wall]
    if len(walls) > 1:  # a shot that names no wall serves those that it stands on
        unnamed = [row for row in unnamed if row.x is not None and row.y is not None and _off(bare, row.x, row.y) <= BEYOND_SHOTS]
    shots = list(dict.fromkeys(row.point for row in (*marked, *unnamed)))
    if not shots:
        raise SurveyError(f"no DPC shot is booked for {name!r}",
                          remedy="Mark shots with feature dpc and the wall's name, or give dpc_m.")
    spots_on_it = named(shots, spots)
    off = [f"{spot.point} ({word_distance(_off(bare, spot.x, spot.y))})" for spot in spots_on_it
           if _off(bare, spot.x, spot.y) > BEYOND_SHOTS]
    if off:
        raise SurveyError(f"the DPC shots {', '.join(off)} do not stand on the wall {name!r}",
                          rule=f"A shot may stand {word_mm(BEYOND_SHOTS)} off it at the most.",
                          remedy="Correct x and y, or the wall.")
    _question(bare, spots_on_it)
    return Wall(name, first, second, dpc=[(bare.along(spot.x, spot.y), spot.level) for spot in spots_on_it],
                points=[spot.point for spot in spots_on_it])


def _question(wall: Wall, shots: Iterable[Spot]) -> None:
    """Warn of neighbouring DPC shots that are neither level with each other nor whole courses apart."""
    for one, other in pairwise(sorted(shots, key=lambda spot: wall.along(spot.x, spot.y))):
        apart = abs(one.level - other.level)
        if abs(math.remainder(apart, COURSE)) > UNEVEN + 1e-9:
            off = wall.along(other.x, other.y) - wall.along(one.x, one.y)
            warnings.warn(f"{one.point} and {other.point} are on the DPC of the {wall.name} and differ by {word_mm(apart)} in "
                          f"{word_distance(off)}. A DPC is usually level, or steps by whole courses of {word_mm(COURSE)}: read "
                          "both again.", SurveyWarning, stacklevel=2)


def _same(one: str, other: str) -> bool:
    return one.strip().casefold() == other.strip().casefold()


def _off(wall: Wall, x: float, y: float) -> float:
    """Distance in m of a place from the line of a wall."""
    return math.dist(wall.place(wall.along(x, y)), (x, y))


def _demand(reader: Reader, spots: pd.DataFrame, walls: list[Any]) -> Demand | None:
    maker, keys = _DEMANDS[reader.entry["kind"]]
    before = len(reader.faults)
    given: dict[str, Any] = {}
    for key, parameter in keys.items():
        if key in reader.entry:
            given[parameter] = reader.keep(_value, reader, key, spots, walls)
        elif key in ("wall", "points", "point"):
            reader.faults.append(SurveyError(f"the key {key!r} is missing", where=reader.where))
    return maker(**given) if len(reader.faults) == before else None


def _value(reader: Reader, key: str, spots: pd.DataFrame, walls: list[Any]) -> Any:
    """The value of one key of a demand, in m or m/m."""
    if key == "wall":
        name = reader.text(key)
        if name not in walls:
            raise SurveyError(f"there is no wall {name!r}", rule=f"Walls are {', '.join(map(str, walls)) or 'none'}.")
        return name
    if key == "points":
        return named(reader.entry[key], spots)
    if key == "point":
        return named([reader.text(key)], spots)[0]
    if key == "up":
        if not isinstance(reader.entry[key], bool):
            raise SurveyError(f"{key} is {reader.entry[key]!r}", rule=f"It must be {YES}.")
        return reader.entry[key]
    if key == "proud_mm":
        return reader.pair(key, 0.001)
    return reader.number(key, 0.001) if key.endswith("_mm") else reader.fall(key)


def toml(value: float | str) -> str:
    """A number or a text as written in TOML; whole numbers without a point.

    >>> toml(60.0), toml('1:70 (the "slow" side)')
    ('60', '"1:70 (the \\\\"slow\\\\" side)"')
    """
    whole = isinstance(value, float) and value.is_integer() and abs(value) < 1e15
    return tomlkit.item(int(value) if whole else value).as_string()


def with_demands(text: str, added: Iterable[Demand]) -> str:
    """The text of a brief with demands at walls and points added, lengths (m) in mm, falls as usual; all else as it was.

    Raises SurveyError where its demands stand in one list instead of under headings.
    """
    read_brief(text)
    document = tomlkit.parse(text if text.endswith("\n") else f"{text}\n")
    if "demand" not in document:
        document.add("demand", tomlkit.aot())
    elif not isinstance(document["demand"], tomlkit.items.AoT):
        raise SurveyError("the demands stand in one list", where="brief.toml", remedy="Write each under a heading [[demand]].")
    for demand in added:
        kind, keys = next((kind, keys) for kind, (maker, keys) in _DEMANDS.items() if maker is type(demand))
        entry: dict[str, Any] = {"kind": kind}
        for key, field in keys.items():
            value = getattr(demand, field)
            if key == "wall":
                entry[key] = value
            elif isinstance(demand, AtSpots) and key in ("point", "points"):
                names = [spot.point for spot in demand.spots]
                entry[key] = names[0] if key == "point" else names
            elif key.endswith("_mm") and value is not None:
                entry[key] = [_in_mm(one) for one in value] if isinstance(value, tuple) else _in_mm(value)
        table = tomlkit.table()
        table.update(entry)
        table.add(tomlkit.nl())
        document["demand"].append(table)
    changed = tomlkit.dumps(document)
    read_brief(changed)
    return changed


def _in_mm(metres: float) -> float:
    """A limit as it is typed: 6, not 6.000000000000001."""
    number = tidy(metres * 1000)
    return int(number) if number.is_integer() else number


def with_value(text: str, part: str, number: int, key: str, value: str | None) -> str:
    """The text of a brief with one value changed and everything else, notes included, as it was.

    `part` is a heading without brackets, `number` which of that name (from 1), `value` as written in TOML, None to leave the
    key out. A key that is not there is added to the part, and a part that stands once to the file. Raises SurveyError where
    there is no such part, or the result would not be a brief.
    """
    read_brief(text)
    document = tomlkit.parse(text)
    if part in SECTIONS and part not in document:
        document.add(part, tomlkit.table())
    found = document.get(part)
    tables: list[Any] = found if isinstance(found, list) else [] if found is None else [found]
    if len(tables) < number:
        raise SurveyError(f"brief.toml has no part [{part}] number {number}", remedy="Add it in the file.")
    if value is None:
        tables[number - 1].pop(key, None)
        return tomlkit.dumps(document)
    try:
        tables[number - 1][key] = tomlkit.value(value)
    except tomlkit.exceptions.ParseError as error:
        raise SurveyError(f"the value {value!r} of {key} cannot be read: {error}") from None
    changed = tomlkit.dumps(document)
    read_brief(changed)
    return changed
