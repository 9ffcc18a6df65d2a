"""The part [finish] of brief.toml: the surface that was chosen, in and out."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import tomlkit

from ..errors import SurveyError, finite
from ..surface.finish import Finish
from ..surface.shapes import Channel, OnePlane, Outlet, Shape
from ..wording import parse_fall, word_number
from .brief import Brief
from .brief_file import toml
from .solve import Solution

WHERE = "brief.toml, [finish]"
SHAPES = ("plane", "channel", "outlet")
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


def chosen_finish(told: dict[str, Any], brief: Brief, place_of: Place) -> Finish:
    """The surface of a channel or an outlet that [finish] holds. Raises SurveyError where it is not whole."""
    shape = chosen_shape(told, place_of)
    try:
        if isinstance(shape, Channel):
            fall, left, right = (parse_fall(_needed(told, key)) for key in ("fall", "left", "right"))
            return Finish.channel(shape.line, brief.area, level=_level(told, "level_m"), fall=fall, left=left, right=right)
        assert isinstance(shape, Outlet)
        return Finish.outlet(shape.point, brief.area, level=_level(told, "level_m"), perimeter=_level(told, "perimeter_m"),
                             sides=shape.sides)
    except SurveyError as error:
        raise error.at(WHERE) from None


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


def at_wall(finish: Finish | None, brief: Brief, wall_name: str) -> tuple[float, float, float]:
    """Level (m) of one plane at a wall's first end, and its falls away from the wall and along it (m/m)."""
    assert finish is not None
    plane, wall = finish.facets[0].plane, brief.wall(wall_name)
    return plane.level_at(*wall.first), plane.fall_towards(*brief.outward(wall)), plane.fall_towards(*wall.direction)


def _fall(fall: float) -> str:
    return toml(f"{word_number(fall * 1000, figures=12)} mm/m")


def _listed(value: Any) -> str:
    def lists(one: Any) -> Any:
        return [lists(part) for part in one] if isinstance(one, tuple) else one
    return str(tomlkit.item(lists(value)).as_string())


def _needed(told: dict[str, Any], key: str) -> Any:
    if key not in told:
        raise SurveyError(f"the key {key!r} is missing", rule=f"The shape {told.get('shape')!r} needs it.",
                          remedy="Find the surface in notebook 3-finish and save it.")
    return told[key]


def _level(told: dict[str, Any], key: str) -> float:
    return finite(_needed(told, key), key)


def _places(values: Any, place_of: Place) -> Any:
    return tuple(_place(value, place_of) for value in values) if isinstance(values, list) else values


def _place(value: Any, place_of: Place) -> Any:
    return place_of(value) if isinstance(value, str) else tuple(value) if isinstance(value, list) else value
