"""Marks that were read as what a demand could speak of, and that none does; and the usual demand there."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd
import shapely

from ..errors import must_be
from ..surface.facet import REACH
from .brief import Brief
from .conditions import AtSpots, Demand, Spot
from .demands import AccessCover, Clearance, Cover, FallAway, FallToDrain, Gully, KeepBelow, Meet, Step

_MARKS: dict[str, tuple[str, type[AtSpots]]] = {
    "threshold": ("a threshold", Step), "edge": ("paving that stays", Meet), "buried": ("something buried", Cover),
    "gully": ("a gully", Gully), "cover": ("an access cover", AccessCover), "airbrick": ("an air brick", KeepBelow)}
MARKS = tuple(_MARKS)


@dataclass(frozen=True)
class Unasked:
    """Marks of one kind, or a wall, that no demand speaks of, in `words`; `demand` is the usual one (m), None without a place."""

    words: str
    demand: Demand | None = None


def unasked(brief: Brief, spots: pd.DataFrame) -> tuple[Unasked, ...]:
    """Marks among `spots` that could have a demand and that no demand of a brief speaks of.

    Parameters
    ----------
    brief : Brief
    spots : DataFrame
        Columns point, feature, x, y, level (m), as `ReducedLevels.spots` gives them.

    Returns
    -------
    tuple of Unasked
        One for each kind of mark, one for each gully and air brick, and those of walls: each has a DPC, and rain must leave it.
        What lies farther outside the area than a demand reaches is passed over. Raises SurveyError for what is no brief.

    Reason: somebody who reads a threshold means the paving to suit it, and a verdict that leaves it out looks as good as one that
    counts it.

    >>> sill = pd.DataFrame([("T", "threshold", 1.0, 0.0, 10.15)], columns=["point", "feature", "x", "y", "level"])
    >>> unasked(Brief([(0, 0), (6, 0), (6, 4), (0, 4)]), sill)[0].words
    'T is booked as a threshold, and no demand speaks of it. Usual is a step of 75 mm to 150 mm down from T.'
    """
    must_be(brief, Brief, "the brief")
    asked = {spot.point for demand in brief.demands if isinstance(demand, AtSpots) for spot in demand.spots}
    found = []
    drained = any(isinstance(demand, FallToDrain) for demand in brief.demands)
    for wall in brief.walls:
        named = {type(demand) for demand in brief.demands if getattr(demand, "wall", None) == wall.name}
        if Clearance not in named:
            usual = Clearance(wall.name)
            found.append(Unasked(f"No demand keeps the paving below the DPC of the {wall.name}. Usual is {usual.words()}.",
                                 usual))
        if FallAway not in named and not drained:
            away = FallAway(wall.name)
            found.append(Unasked(f"No demand lets the paving fall away from the {wall.name}. Usual is {away.words()}.", away))
    for feature, (said, kind) in _MARKS.items():
        free = spots[(spots["feature"] == feature) & ~spots["point"].isin(asked)]
        lost = [str(point) for point in free.loc[free["x"].isna() | free["y"].isna(), "point"]]
        here = [Spot(*one) for one in free[["point", "x", "y", "level"]].dropna().itertuples(index=False, name=None)]
        here = [spot for spot in here if brief.area.distance(shapely.Point(spot.x, spot.y)) <= REACH]
        if lost:
            found.append(Unasked(f"{_booked(lost, said)} without x and y, so no demand can speak of {_them(lost)}. "
                                 "Fill them in in 1-survey."))
        single = kind in (Gully, KeepBelow)
        for group in [[spot] for spot in here] if single else [here] if here else []:
            demand = kind(group[0] if single else tuple(group))  # type: ignore[call-arg]
            names = [spot.point for spot in group]
            found.append(Unasked(f"{_booked(names, said)}, and no demand speaks of {_them(names)}. Usual is {demand.words()}.",
                                 demand))
    return tuple(found)


def _booked(names: list[str], said: str) -> str:
    return f"{', '.join(names)} {'is' if len(names) == 1 else 'are'} booked as {said}"


def _them(names: list[str]) -> str:
    return "it" if len(names) == 1 else "them"
