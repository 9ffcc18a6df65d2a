"""The part [finish] of brief.toml: the surface that was chosen, in and out."""

from __future__ import annotations

import math
from collections.abc import Callable
from itertools import pairwise
from typing import Any

import tomlkit

from ..errors import SurveyError, finite
from ..surface.facet import Facet
from ..surface.finish import Finish
from ..surface.plane import Plane
from ..surface.shapes import Channel, OnePlane, Outlet, Shape
from ..wording import parse_fall, word_fall, word_number
from .brief import Brief
from .brief_file import toml
from .edges import Edge
from .solve import Solution

WHERE = "brief.toml, [finish]"
NOUGHT = 1e-9  # m: a level no farther from the datum is rounding
SHAPES = ("plane", "channel", "outlet", "side")
Place = Callable[[str], tuple[float, float]]


def chosen_shape(told: dict[str, Any], place_of: Place) -> Shape:
    """The shape that [finish] names, places by the names of points or as [x, y] in m.

    Raises SurveyError where it is not whole.
    """
    name = told.get("shape", SHAPES[0])
    if name not in SHAPES:
        raise SurveyError(f"the shape is {name!r}", where=WHERE, rule=f"It is one of {', '.join(SHAPES)}.")
    try:
        if name == "channel":
            return Channel(_places(_needed(told, "line"), place_of))
        if name == "outlet":
            sides = told.get("sides") or None  # an empty list stands for all of them
            return Outlet(_place(_needed(told, "outlet"), place_of),
                          None if sides is None else tuple(_places(side, place_of) for side in sides))
    except SurveyError as error:
        raise error.at(WHERE) from None
    return OnePlane()


def chosen_by_hand(told: dict[str, Any]) -> tuple[float, float, float]:
    """The level (m) of one plane at its wall's first end, its falls away and along (m/m). Raises SurveyError without a level."""
    level = told.get("level_at_wall_m")
    if isinstance(level, bool) or not isinstance(level, (int, float)):
        raise SurveyError(f"level_at_wall_m is {level!r}", where=WHERE, rule="It must be a level in m.",
                          remedy="Choose a surface with the sliders of notebook 3-finish and save it.")
    return float(level), parse_fall(told.get("fall_away", "level")), parse_fall(told.get("fall_along", "level"))


def chosen_finish(told: dict[str, Any], brief: Brief, place_of: Place) -> Finish:
    """The surface of a channel, an outlet or a side that [finish] holds. Raises SurveyError where it is not whole."""
    shape = chosen_shape(told, place_of)
    try:
        if isinstance(shape, OnePlane):  # down to a side of the area, which lies level; no wall is needed
            side, fall = brief.edge(_places(_needed(told, "line"), place_of), "lower"), parse_fall(_needed(told, "fall"))
            if fall < 0:
                raise SurveyError(f"the fall towards the side is {word_fall(fall)}",
                                  rule="The floor falls to its lower side: the fall is nought or more.",
                                  remedy="Name the side that lies lower, and the fall towards it.")
            up = brief.outward(side)
            return Finish((Facet(Plane(_level(told, "level_m"), fall * up[0], fall * up[1], side.first), brief.area,
                                 (0.0 - up[0], 0.0 - up[1]) if fall else None),))
        if isinstance(shape, Channel):
            fall, left, right = (parse_fall(_needed(told, key)) for key in ("fall", "left", "right"))
            return Finish.channel(shape.line, brief.area, level=_level(told, "level_m"), fall=fall, left=left, right=right)
        assert isinstance(shape, Outlet)
        return Finish.outlet(shape.point, brief.area, level=_level(told, "level_m"), perimeter=_level(told, "perimeter_m"),
                             sides=shape.sides)
    except SurveyError as error:
        raise error.at(WHERE) from None


def words_of(shape: Shape, finish: Finish, told: dict[str, Any], name_of: Callable[..., str]) -> str:
    """The surface of a channel, an outlet or a side in a sentence; `name_of` says what stands at a place x, y in m."""
    falls = ", ".join(word_fall(facet.plane.fall) for facet in finish.facets)
    if not isinstance(shape, OnePlane):
        return f"{shape.words()}; true fall of each facet: {falls}."
    ends = " to ".join(one if isinstance(one, str) else name_of(*one) for one in told["line"])
    return f"one plane, {falls}{f' down to the side from {ends}' if finish.facets[0].towards else ''}."


def written(solution: Solution, wall_name: str) -> dict[str, str]:
    """What [finish] holds for a solved surface: each key with its value as written in TOML, to the last digit."""
    shape, values = solution.shape, solution.unknowns
    if isinstance(shape, Channel):
        level, *falls = values
        return {"shape": toml("channel"), "line": _listed(shape.line), "level_m": toml(level),
                **{key: _fall(fall) for key, fall in zip(("fall", "left", "right"), falls, strict=True)}}
    if isinstance(shape, Outlet):
        return {"shape": toml("outlet"), "outlet": _listed(shape.point), "sides": _listed(shape.sides or ()),
                "level_m": toml(values[0]), "perimeter_m": toml(values[1])}
    level, away, along = at_wall(solution.finish, solution.brief, wall_name)
    return {"shape": toml("plane"), "level_at_wall_m": toml(level), "fall_away": _fall(away), "fall_along": _fall(along)}


def floor_written(finish: Finish, brief: Brief, to: Outlet | Edge | None, fall: float) -> dict[str, str]:
    """The same for a floor that falls to an outlet from a level perimeter, to a side as one plane, or nowhere."""
    corners = brief.area.exterior.coords
    line = max(pairwise(corners), key=lambda ends: math.dist(*ends)) if to is None else to  # a short side is no edge
    if isinstance(line, Outlet):
        rim = max(corners, key=lambda corner: math.dist(corner, line.point))
        return {"shape": toml("outlet"), "outlet": _listed(line.point), "sides": "[]",
                "level_m": _level_of(finish, line.point), "perimeter_m": _level_of(finish, rim)}
    return {"shape": toml("side"), "line": _listed(line), "level_m": _level_of(finish, line[0]),
            "fall": _fall(fall) if fall else toml("level")}


def at_wall(finish: Finish | None, brief: Brief, wall_name: str) -> tuple[float, float, float]:
    """Level (m) of one plane at a wall's first end, and its falls away from the wall and along it (m/m)."""
    assert finish is not None
    plane, wall = finish.facets[0].plane, brief.wall(wall_name)
    return plane.level_at(*wall.first), plane.fall_towards(*brief.outward(wall)), plane.fall_towards(*wall.direction)


def _level_of(finish: Finish, place: tuple[float, ...]) -> str:
    level = float(finish.level_at(*place[:2]))
    return toml(level if abs(level) > NOUGHT else 0.0)


def _fall(fall: float) -> str:
    return toml(f"{word_number(fall * 1000, figures=12)} mm/m")


def _listed(value: Any) -> str:
    def lists(one: Any) -> Any:
        return [lists(part) for part in one] if isinstance(one, tuple) else one
    return str(tomlkit.item(lists(value)).as_string())


def _needed(told: dict[str, Any], key: str) -> Any:
    if key not in told:
        raise SurveyError(f"the key {key!r} is missing", rule=f"The shape {told.get('shape')!r} needs it.",
                          remedy="Press *Save this floor as the finish* in notebook 7-screed." if told.get("shape") == "side"
                          else "Find the surface in notebook 3-finish and save it.")
    return told[key]


def _level(told: dict[str, Any], key: str) -> float:
    return finite(_needed(told, key), key)


def _places(values: Any, place_of: Place) -> Any:
    return tuple(_place(value, place_of) for value in values) if isinstance(values, list) else values


def _place(value: Any, place_of: Place) -> Any:
    """The place of a named point, or x and y as they are told."""
    if isinstance(value, list) and any(isinstance(one, (bool, str)) for one in value):
        raise SurveyError(f"the place {value!r} is none", rule="A place is the name of a point, or x and y in m in [ ].")
    return place_of(value) if isinstance(value, str) else tuple(value) if isinstance(value, list) else value
