"""The layers between finished surface and formation: their tops, and whether they fit above what is buried."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from html import escape
from typing import Any

import pandas as pd

from ..design.brief import Brief
from ..design.conditions import Spot
from ..design.handbook import Range
from ..design.layers import room_in
from ..errors import SurveyError, finite, must_be
from ..surface.finish import Finish
from ..wording import html_table, word_between, word_mm

FITS, MAYBE, NO = "fits", "too close to call", "does not fit"


def layer_tops(finish: Finish, brief: Brief) -> tuple[tuple[str, Finish], ...]:
    """The top of each layer as a surface, from the top down, and the formation under them all.

    Parameters
    ----------
    finish : Finish
        The finished surface, levels in m.
    brief : Brief
        Its layers.

    Returns
    -------
    tuple of (str, Finish)
        The name of each layer with its top, then "formation"; the top of the first layer is the finished surface itself.

    Raises
    ------
    SurveyError
        For what is no Finish, or no Brief.

    Notes
    -----
    Layers are measured vertically, as they are set out, so every top is the finish lowered by the thicknesses above it.

    >>> from sitelevels import Layer, Plane
    >>> area = [(0, 0), (6, 0), (6, 4), (0, 4)]
    >>> brief = Brief(area, layers=[Layer("slab", 0.04), Layer("bed", 0.03), Layer("sub-base", 0.10)])
    >>> [(name, round(top.level_at(0, 0), 3)) for name, top in layer_tops(Finish.plane(Plane(9.80, 0, 0), area), brief)]
    [('slab', 9.8), ('bed', 9.76), ('sub-base', 9.73), ('formation', 9.63)]
    """
    must_be(finish, Finish, "the finish")
    must_be(brief, Brief, "the brief")
    tops, down = [], 0.0
    for layer in brief.layers:
        tops.append((layer.name, finish.lowered(down)))
        down += layer.thickness
    return (*tops, ("formation", finish.lowered(down)))


@dataclass(frozen=True, eq=False)
class LayersFit:
    """Whether the layers fit at each buried point. Made by `layers_fit`; `rooms` is what is left in hand there, m."""

    brief: Brief
    points: tuple[str, ...]
    depths: tuple[float, ...]
    rooms: tuple[Range, ...]

    @property
    def table(self) -> pd.DataFrame:
        """A new table in m: point depth (finished surface above what is buried) needed least likely most verdict."""
        lines = [(point, depth, self.brief.build_up, *room.values, self._verdict(room))
                 for point, depth, room in zip(self.points, self.depths, self.rooms, strict=True)]
        return pd.DataFrame(lines, columns=["point", "depth", "needed", "least", "likely", "most", "verdict"])

    @staticmethod
    def _verdict(room: Range) -> str:
        return FITS if room.low >= -1e-6 else NO if room.high < -1e-6 else MAYBE

    def __repr__(self) -> str:
        return f"LayersFit: {self.sentence()}"

    def sentence(self) -> str:
        """The tightest place in words."""
        if not self.rooms:
            return "Nothing buried is named."
        worst = min(range(len(self.rooms)), key=lambda number: self.rooms[number].likely)
        room, point = self.rooms[worst], self.points[worst]
        left = (f"{word_between(*room.values, word_mm)} in hand" if room.likely >= 0 else
                f"{word_between(-room.high, -room.likely, -room.low, word_mm)} missing")
        only = "no thicker" if room.likely >= -1e-6 else "thinner"
        said = {FITS: "the layers fit", NO: "the layers do NOT fit",
                MAYBE: f"the layers fit only if they come out {only} than they should"}[self._verdict(room)]
        return (f"Tightest at {point}: the finished surface lies {word_mm(self.depths[worst])} above it and the layers take "
                f"{word_mm(self.brief.build_up)}; {left}, tolerances counted: {said}.")

    def _repr_html_(self) -> str:
        words = self.table
        for name in ("depth", "needed", "least", "likely", "most"):
            words[name] = words[name].map(word_mm)
        return f"<p>{escape(self.sentence())}</p>{html_table(words, words=True)}"


def layers_fit(finish: Finish, brief: Brief, points: Iterable[Any]) -> LayersFit:
    """Whether the layers fit between the finished surface and what is buried.

    Parameters
    ----------
    finish : Finish
    brief : Brief
        Its layers, each with its tolerance.
    points : sequence of Spot or (name, x, y, level)
        What is buried and stays, m; the top of a footing or the crown of a pipe.

    Returns
    -------
    LayersFit
        At each point: what is left in hand if every layer comes out as thick, as it should be, and as thin as its tolerance
        allows.

    Raises
    ------
    SurveyError
        A point that is no place, or lies more than 300 mm outside the finished surface.

    Notes
    -----
    All layers are thick, or thin, together, which asks the most. Layers and dig of the example: common practice, no source; in
    150 mm a slab of 38, a bed of 50 and 50 to 60 mm of sub-base leave 2 to 12 mm.

    >>> from sitelevels import Layer, Plane
    >>> area = [(0, 0), (6, 0), (6, 4), (0, 4)]
    >>> brief = Brief(area, layers=[Layer("slab", 0.038), Layer("bed", 0.05, tolerance=0), Layer("base", 0.055, tolerance=0.005)])
    >>> round(layers_fit(Finish.plane(Plane(9.85, 0, 0), area), brief, [("F1", 2, 2, 9.70)]).rooms[0].low, 3)  # m
    0.002
    """
    must_be(finish, Finish, "the finish")
    must_be(brief, Brief, "the brief")
    must_be(points, Iterable, "the list of points")
    spots = [_spot(point) for point in points]
    depths = []
    for spot in spots:
        try:
            depths.append(finish.level_at(spot.x, spot.y) - spot.level)
        except SurveyError as error:
            raise error.at(f"point {spot.point}") from None
    return LayersFit(brief, tuple(spot.point for spot in spots), tuple(depths),
                     tuple(room_in(depth, brief.layers) for depth in depths))


def _spot(point: Any) -> Spot:
    try:
        name, x, y, level = point
    except (TypeError, ValueError):
        raise SurveyError(f"a buried point is {point!r}", rule="It is a Spot, or (name, x, y, level) in m.") from None
    return Spot(str(name), *(finite(value, f"the {what} of {name}", "It is in m.")
                             for what, value in (("x", x), ("y", y), ("level", level))))
