"""What a brief asks of one surface: which conditions, and of which of its facets."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

import shapely

from ..errors import SurveyError
from ..surface.facet import REACH, Facet
from ..surface.finish import Finish
from ..wording import word_distance, word_mm
from .brief import Brief
from .conditions import Condition, Corners, Demand
from .demands import FallToDrain

ROUNDING = 1e-6  # m or m/m: a margin of minus a thousandth of a millimetre is still met


def demands_on(finish: Finish, brief: Brief) -> tuple[Demand, ...]:
    """Everything that a brief demands of a surface; where it drains to a channel or an outlet, a fall to that too.

    Raises SurveyError for a fall to a drain demanded of a surface that has none.
    """
    drains = any(facet.towards for facet in finish.facets)
    told = any(isinstance(demand, FallToDrain) for demand in brief.demands)
    if told and not drains:
        raise SurveyError("a fall to a drain is demanded, and the surface has neither channel nor outlet",
                          remedy="Choose a surface with a channel or an outlet, or take that demand out.")
    return (*brief.every_demand, FallToDrain()) if drains and not told else brief.every_demand


def asked_of(finish: Finish, brief: Brief) -> tuple[tuple[Demand, ...], list[tuple[int, Condition, Facet]]]:
    """The demands on a surface; and each of their conditions with each facet that it speaks of, by the number of the demand."""
    demands, corners = demands_on(finish, brief), corners_of(finish)
    return demands, [(number, condition, facet) for number, demand in enumerate(demands)
                     for condition in conditions_on(demand, finish, brief, corners)
                     for facet in facets_for(finish, brief, condition, corners)]


def conditions_on(demand: Demand, finish: Finish, brief: Brief, corners: Corners) -> list[Condition]:
    """What a demand comes to on a surface: something else may be asked for where all of it falls to a drain."""
    conditions = demand.conditions(brief, corners)
    return demand.beside_a_drain(conditions) if all(facet.towards for facet in finish.facets) else conditions


def corners_of(finish: Finish) -> list[tuple[float, float]]:
    """Plan positions of the corners of all facets, m."""
    return [(float(x), float(y)) for facet in finish.facets for x, y in facet.area.exterior.coords]


def facets_for(finish: Finish, brief: Brief, condition: Condition, corners: Corners) -> Iterator[Facet]:
    """The facets that a condition speaks of: all that meet at its place, all beside its wall, or all."""
    if condition.at is not None:
        place = shapely.Point(condition.at)
        distances = [facet.area.distance(place) for facet in finish.facets]
        if not min(distances) <= REACH:
            raise SurveyError(f"the place is {word_distance(min(distances))} outside the finished surface",
                              where=f"point {condition.place}",
                              rule=f"A demand can be checked at most {word_mm(REACH)} beyond its edge.",
                              remedy="Check the position in the book, or the corners of the area.")
        near = min(distances) + ROUNDING
        yield from (facet for facet, distance in zip(finish.facets, distances, strict=True) if distance <= near)
    elif condition.drain:
        yield from (facet for facet in finish.facets if condition.way_on(facet) is not None)
    elif condition.wall is not None:
        wall = condition.wall
        middles = [shapely.Point(wall.place((start + end) / 2)) for start, end in pairwise(brief.stations(wall, corners))]
        beside = [min(finish.facets, key=lambda facet: facet.area.distance(middle)) for middle in middles]
        yield from (facet for facet in finish.facets if facet in beside)
    else:
        yield from finish.facets
