"""brief.toml in and out: the site, the demands, the layers, the surface chosen by hand."""

from __future__ import annotations

import math
import re
import tomllib
import warnings
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import pandas as pd
import shapely
import tomlkit
import tomlkit.exceptions

from ..errors import SurveyError, SurveyWarning
from ..surface.facet import polygon_of
from ..survey.reduction import ReducedLevels
from ..wording import parse_fall, word_distance, word_mm
from .brief import BEYOND_SHOTS, Brief, Layer, Wall
from .budget_file import KEYS
from .conditions import Demand, Spot
from .demands import (
    AccessCover,
    Clearance,
    Cover,
    FallAlong,
    FallAway,
    FallToDrain,
    Gully,
    KeepBelow,
    MaxGradient,
    Meet,
    Step,
)

FORMAT = 1

_TEXT, _NUMBER, _YES, _LIST = "a text in quotation marks", "a number", "true or false", "a list in [ ]"
_READINGS = "a list in [ ] of numbers or texts"
_PLACE = "the name of a point, or x and y in m in [ ]"
_SECTIONS = {  # what each key of the parts that stand once must be
    "job": {"name": _TEXT, "note": _TEXT, "invented": _YES},
    "survey": {"unit": _TEXT, "adjust": _TEXT, "allowance": _TEXT, "allowable_mm": _NUMBER, "breaks": _LIST},
    "area": {"corners": _LIST, "corners_m": _LIST, "closed": _LIST, "free": _LIST},
    "finish": {"shape": _TEXT, "wall": _TEXT, "level_at_wall_m": _NUMBER, "fall_away": _TEXT, "fall_along": _TEXT,
               "line": _LIST, "level_m": _NUMBER, "fall": _TEXT, "left": _TEXT, "right": _TEXT,
               "outlet": _PLACE, "sides": _LIST, "perimeter_m": _NUMBER},
    "instrument": dict.fromkeys(("pegs", "turn", "repeats"), _READINGS),
    "errors": {**dict.fromkeys(KEYS.values(), _NUMBER), "sure_percent": _NUMBER, "headings": _READINGS},
    "setting_out": {"benchmark": _TEXT, "backsight_m": _NUMBER, "pegs": _LIST},
}
_LISTS = {"wall": {"name", "first", "second", "dpc_m"}, "layer": {"name", "thickness_mm"},
          "variant": {"name", "note", "demand"}}
_DEMANDS: dict[str, tuple[type[Demand], dict[str, str]]] = {
    "below the DPC": (Clearance, {"wall": "wall", "least_mm": "least", "drained_mm": "drained"}),
    "fall away": (FallAway, {"wall": "wall", "least": "least", "target": "target", "most": "most"}),
    "fall along": (FallAlong, {"wall": "wall", "most": "most"}),
    "fall to drain": (FallToDrain, {"least": "least", "target": "target", "most": "most", "channel": "channel"}),
    "meet": (Meet, {"points": "points", "within_mm": "within"}),
    "access cover": (AccessCover, {"points": "points", "within_mm": "within", "lower_mm": "lower", "higher_mm": "higher"}),
    "step": (Step, {"points": "at", "least_mm": "least", "most_mm": "most", "up": "up"}),
    "cover": (Cover, {"points": "points", "least_mm": "least"}),
    "keep below": (KeepBelow, {"point": "point", "by_mm": "by"}),
    "gully": (Gully, {"point": "point", "proud_mm": "proud"}),
    "gradient": (MaxGradient, {"most": "most"}),
}


def read_brief(text: str) -> dict[str, Any]:
    """The tables of a brief.toml, with every key checked.

    Raises SurveyError, all at once, for text that is not TOML, a later format, and keys that mean nothing.
    """
    try:
        told = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
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
        lists = name in _LISTS or name == "demand"
        if not lists and name not in _SECTIONS:
            faults.append(SurveyError(f"brief.toml has a part [{name}] that is not known",
                                      rule=f"Parts are {', '.join([*_SECTIONS, *_LISTS, 'demand'])}."))
            continue
        entries = table if lists else [table]
        if not isinstance(entries, list) or not all(isinstance(entry, dict) for entry in entries):
            faults.append(SurveyError(f"brief.toml: {name} is not a part",
                                      remedy=f"Its heading is [[{name}]]." if lists else f"Its heading is [{name}]."))
            continue
        for number, entry in enumerate(entries, start=1):
            where = f"brief.toml, [[{name}]] number {number}" if lists else f"brief.toml, [{name}]"
            known = set(_SECTIONS.get(name, ())) or _LISTS.get(name) or _keys_of_demand(entry, where, faults)
            rule = f"Keys are {', '.join(sorted(known))}."
            faults += [SurveyError(f"the key {key!r} is not known here", where=where, rule=rule)
                       for key in entry if known and key not in known]
            faults += [SurveyError(f"{key} is {entry[key]!r}", where=where, rule=f"It must be {wanted}.")
                       for key, wanted in _SECTIONS.get(name, {}).items() if key in entry and not _is(wanted, entry[key])]
            if name == "variant":
                _check_variant(entry, where, faults)
                if entry.get("name") in [other.get("name") for other in entries[:number - 1]]:
                    faults.append(SurveyError(f"two variants are called {entry.get('name')!r}", where=where))
    if faults:
        raise SurveyError.together(faults)
    return told


def _check_variant(entry: dict[str, Any], where: str, faults: list[SurveyError]) -> None:
    """Note what is wrong with the demands of a variant of the brief."""
    demands = entry.get("demand", [])
    parts = isinstance(demands, list) and all(isinstance(one, dict) for one in demands)
    if not isinstance(entry.get("name"), str) or not entry["name"].strip() or not parts:
        faults.append(SurveyError("the variant has no name, or its demands are no parts", where=where,
                                  remedy="Write name = \"…\", and each demand under a heading [[variant.demand]]."))
        return
    for demand in demands:
        known = _keys_of_demand(demand, where, faults)
        faults += [SurveyError(f"the key {key!r} is not known here", where=where, rule=f"Keys are {', '.join(sorted(known))}.")
                   for key in demand if known and key not in known]


def _keys_of_demand(entry: dict[str, Any], where: str, faults: list[SurveyError]) -> set[str]:
    kind = entry.get("kind")
    if not isinstance(kind, str) or kind not in _DEMANDS:
        faults.append(SurveyError(f"the kind of demand is {kind!r}", where=where, rule=f"Kinds are {', '.join(_DEMANDS)}."))
        return set()
    return {"kind", *_DEMANDS[kind][1]}


@dataclass
class _Reader:
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
        if not _is_number(value):
            raise SurveyError(f"{key} is {value!r}", rule="It must be a number, without quotation marks.")
        return float(value) * scale  # type: ignore[arg-type]

    def text(self, key: str) -> str:
        """A text that is not empty."""
        value = self.entry.get(key)
        if not isinstance(value, str) or not value.strip():
            raise SurveyError(f"{key} is {value!r}", rule="It must be a text in quotation marks.")
        return value

    def pair(self, key: str, scale: float = 1.0) -> tuple[float, float]:
        """Two numbers, scaled to m."""
        value = self.entry.get(key)
        if not isinstance(value, list) or len(value) != 2 or not all(map(_is_number, value)):
            raise SurveyError(f"{key} is {value!r}", rule="It must be two numbers in [ ], parted by a comma.")
        return float(value[0]) * scale, float(value[1]) * scale

    def fall(self, key: str) -> float:
        """A fall in words."""
        return parse_fall(self.text(key))


def _is(wanted: str, value: Any) -> bool:
    if wanted == _LIST:
        return isinstance(value, list) and all(isinstance(one, (str, list)) for one in value)
    if wanted == _PLACE:
        return isinstance(value, str) or (isinstance(value, list) and len(value) == 2 and all(map(_is_number, value)))
    if wanted == _READINGS:  # as typed, in m; texts where a test is not finished
        return isinstance(value, list) and all(isinstance(one, str) or _is_number(one) for one in value)
    return _is_number(value) if wanted == _NUMBER else isinstance(value, bool if wanted == _YES else str)


def _is_number(value: Any) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool) and abs(value) < 1e7


def brief_of(told: dict[str, Any], reduced: ReducedLevels, variant: str | None = None) -> Brief:
    """The brief of a job from its file and its levels; with a `variant`, its demands in place of those of the same kind.

    Points are named as in the book; a wall's DPC comes from the shots with feature dpc and that wall's name, or from dpc_m.
    Raises SurveyError with every problem at once, and warns (SurveyWarning) of DPC shots on walls that it does not know.
    """
    faults: list[SurveyError] = []
    spots = reduced.spots()
    area = _Reader("brief.toml, [area]", told.get("area", {}), faults)
    corners = area.keep(_area, area, spots)

    def each(part: str, make: Callable[..., Any], *given: Any) -> list[Any]:
        readers = [_Reader(f"brief.toml, [[{part}]] number {number}", entry, faults)
                   for number, entry in enumerate(told.get(part, []), start=1)]
        return [reader.keep(make, reader, *given) for reader in readers]

    names = [entry.get("name") for entry in told.get("wall", [])]
    for row in reduced.book.rows:
        if row.feature == "dpc" and row.wall and not any(_same(row.wall, str(name)) for name in names):
            warnings.warn(f"Row {row.number}, point {row.point}: this DPC shot is not used, for the brief has no wall "
                          f"{row.wall!r}. Its walls are {', '.join(map(str, names)) or 'none'}.", SurveyWarning, stacklevel=3)
    walls = each("wall", _wall, spots, reduced, names)
    layers = each("layer", lambda reader: Layer(reader.text("name"), reader.number("thickness_mm", 0.001)))
    own = [(f"brief.toml, [[demand]] number {number}", entry) for number, entry in enumerate(told.get("demand", []), start=1)]
    chosen = own if variant is None else None
    for other, entries in _variants(told).items():
        varied = [(f"brief.toml, [[variant.demand]] number {number} of {other!r}", entry)
                  for number, entry in enumerate(entries, start=1)]
        if other == variant:
            kinds = {entry["kind"] for entry in entries}
            chosen = [*((where, entry) for where, entry in own if entry["kind"] not in kinds), *varied]
        elif variant is None:  # what is wrong with a variant is told before it is asked for
            for reader in (_Reader(*one, faults) for one in varied):
                reader.keep(_demand, reader, spots, names)
    if chosen is None:
        raise SurveyError(f"the brief has no variant {variant!r}",
                          rule=f"Its variants are {', '.join(_variants(told)) or 'none'}.")
    demands = [reader.keep(_demand, reader, spots, names) for reader in (_Reader(*one, faults) for one in chosen)]
    closed, free = (tuple(area.keep(_edge, edge, spots) for edge in area.entry.get(key, [])) for key in ("closed", "free"))
    if faults:
        raise SurveyError.together(faults)
    return Brief(corners, walls=tuple(walls), layers=tuple(layers), demands=tuple(demands), closed=closed, free=free)


def _variants(told: dict[str, Any]) -> dict[str, list[dict[str, Any]]]:
    """The demands of each variant by its name."""
    return {entry["name"]: entry.get("demand", []) for entry in told.get("variant", [])}


def _edge(edge: Any, spots: pd.DataFrame) -> Any:
    """An edge: its two ends, each the name of a point or a pair x, y in m."""
    if not isinstance(edge, list):
        return edge
    return tuple(_named([end], spots)[0][1:3] if isinstance(end, str) else end for end in edge)


def _named(names: Any, spots: pd.DataFrame) -> list[Spot]:
    """Spots by a list of point names, or all of one feature."""
    if isinstance(names, str):
        chosen = spots[spots["feature"] == names]
        if chosen.empty:
            raise SurveyError(f"no point of the book has the feature {names!r}",
                              remedy="Mark the points in the column 'feature', or list their names in [ ].")
    else:
        if not isinstance(names, list) or not names or not all(isinstance(name, str) for name in names):
            raise SurveyError(f"the points are {names!r}", rule="They are a feature, or names of points in [ ].")
        missing = [name for name in names if name not in set(spots["point"])]
        if missing:
            raise SurveyError(f"the points {', '.join(missing)} were not read", rule="Points are named as in the book.")
        chosen = spots.set_index("point").loc[names].reset_index()
    placeless = chosen[chosen["x"].isna()]["point"].tolist()
    if placeless:
        raise SurveyError(f"the points {', '.join(placeless)} have no x and y", remedy="Fill them in in the book.")
    return [Spot(str(point), float(x), float(y), float(level))
            for point, x, y, level in chosen[["point", "x", "y", "level"]].itertuples(index=False, name=None)]


def _area(reader: _Reader, spots: pd.DataFrame) -> shapely.Polygon:
    if "corners_m" in reader.entry:
        return polygon_of(reader.entry["corners_m"])
    corners = reader.entry.get("corners", "corner")  # all points marked so, in the order in which they were booked
    return polygon_of([(spot.x, spot.y) for spot in _named(corners, spots)])


def _wall(reader: _Reader, spots: pd.DataFrame, reduced: ReducedLevels, walls: list[Any]) -> Wall:
    name = reader.text("name")
    first, second = (_end(reader, key, spots) for key in ("first", "second"))
    if "dpc_m" in reader.entry:
        return Wall(name, first, second, dpc=reader.number("dpc_m"))
    bare = Wall(name, first, second, dpc=0.0)
    named = [row for row in reduced.book.rows if row.feature == "dpc" and _same(row.wall, name)]
    unnamed = [row for row in reduced.book.rows if row.feature == "dpc" and not row.wall]
    if len(walls) > 1:  # a shot that names no wall serves those that it stands on
        unnamed = [row for row in unnamed if row.x is not None and row.y is not None and _off(bare, row.x, row.y) <= BEYOND_SHOTS]
    shots = list(dict.fromkeys(row.point for row in (*named, *unnamed)))
    if not shots:
        raise SurveyError(f"no DPC shot is booked for {name!r}",
                          remedy="Mark shots with feature dpc and the wall's name, or give dpc_m.")
    spots_on_it = _named(shots, spots)
    off = [f"{spot.point} ({word_distance(_off(bare, spot.x, spot.y))})" for spot in spots_on_it
           if _off(bare, spot.x, spot.y) > BEYOND_SHOTS]
    if off:
        raise SurveyError(f"the DPC shots {', '.join(off)} do not stand on the wall {name!r}",
                          rule=f"A shot may stand {word_mm(BEYOND_SHOTS)} off it at the most.",
                          remedy="Correct x and y, or the wall.")
    return Wall(name, first, second, dpc=[(bare.along(spot.x, spot.y), spot.level) for spot in spots_on_it],
                points=[spot.point for spot in spots_on_it])


def _same(one: str, other: str) -> bool:
    return one.strip().casefold() == other.strip().casefold()


def _off(wall: Wall, x: float, y: float) -> float:
    """Distance in m of a place from the line of a wall."""
    foot = wall.place(wall.along(x, y))
    return math.dist(foot, (x, y))


def _end(reader: _Reader, key: str, spots: pd.DataFrame) -> tuple[float, float]:
    """An end of a wall: the name of a point, or a pair x, y in m."""
    if isinstance(reader.entry.get(key), str):
        spot = _named([reader.text(key)], spots)[0]
        return spot.x, spot.y
    return reader.pair(key)


def _demand(reader: _Reader, spots: pd.DataFrame, walls: list[Any]) -> Demand | None:
    maker, keys = _DEMANDS[reader.entry["kind"]]
    before = len(reader.faults)
    given: dict[str, Any] = {}
    for key, parameter in keys.items():
        if key in reader.entry:
            given[parameter] = reader.keep(_value, reader, key, spots, walls)
        elif key in ("wall", "points", "point"):
            reader.faults.append(SurveyError(f"the key {key!r} is missing", where=reader.where))
    return maker(**given) if len(reader.faults) == before else None


def _value(reader: _Reader, key: str, spots: pd.DataFrame, walls: list[Any]) -> Any:
    """The value of one key of a demand, in m or m/m."""
    if key == "wall":
        name = reader.text(key)
        if name not in walls:
            raise SurveyError(f"there is no wall {name!r}", rule=f"Walls are {', '.join(map(str, walls)) or 'none'}.")
        return name
    if key == "points":
        return _named(reader.entry[key], spots)
    if key == "point":
        return _named([reader.text(key)], spots)[0]
    if key == "up":
        if not isinstance(reader.entry[key], bool):
            raise SurveyError(f"{key} is {reader.entry[key]!r}", rule=f"It must be {_YES}.")
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


def with_value(text: str, part: str, number: int, key: str, value: str) -> str:
    """The text of a brief with one value changed and everything else, notes included, as it was.

    `part` is a heading without brackets, `number` which of that name (from 1), `value` as written in TOML. A key that is not
    there is added to the part, and a part that stands once to the file. Raises SurveyError where there is no such part, or the
    result would not be a brief.
    """
    read_brief(text)
    document = tomlkit.parse(text)
    if part in _SECTIONS and part not in document:
        document.add(part, tomlkit.table())
    found = document.get(part)
    tables: list[Any] = found if isinstance(found, list) else [] if found is None else [found]
    if len(tables) < number:
        raise SurveyError(f"brief.toml has no part [{part}] number {number}", remedy="Add it in the file.")
    try:
        tables[number - 1][key] = tomlkit.value(value)
    except tomlkit.exceptions.ParseError as error:
        raise SurveyError(f"the value {value!r} of {key} cannot be read: {error}") from None
    changed = tomlkit.dumps(document)
    read_brief(changed)
    return changed
