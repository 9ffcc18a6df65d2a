"""What else there is to say about a screed."""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import pairwise
from typing import TYPE_CHECKING

import shapely

from ..design.asked import ROUNDING, corners_of
from ..design.edges import AGAINST
from ..design.workmanship import SCREED_DESIGN, SCREED_PIPES
from ..surface.shapes import Outlet
from ..wording import word_area, word_fall, word_mm, word_place
from .earthworks import SHOWN as SHOWN_AREA

if TYPE_CHECKING:
    from .screed import Screed

ONTO = 0.1  # sine of the angle at which water runs onto a side; along it, it does not


def doubts_of(screed: Screed, steepest: float) -> Iterator[str]:
    """What else there is to say about a screed."""
    lowest = screed.outlet_level
    if screed.uncovered >= SHOWN_AREA:
        yield (f"Over {word_area(screed.uncovered)} of the {word_area(screed.area)} no spot of the base was read: neither "
               "thickness nor volume is known there, and none is counted. Read spots on the edge of the area or beyond.")
    steep = max(facet.plane.fall for facet in screed.finish.facets)
    if steep > steepest + 1e-9:
        yield f"Its steepest part falls {word_fall(steep)}, steeper than {word_fall(steepest)}."
    low, place = min((screed.finish.level_at(x, y), (x, y)) for x, y in corners_of(screed.finish))
    if lowest is not None and low < lowest - ROUNDING:
        yield f"At {word_place(*place)} the floor lies {word_mm(lowest - low)} below its lower side: water stays there."
    if screed.kind.name == "bonded" and screed.mean < SCREED_DESIGN.value:
        yield (f"On average it is {word_mm(screed.mean)} thick; {SCREED_DESIGN.what} is {word_mm(SCREED_DESIGN.value)} "
               f"({SCREED_DESIGN.source}): the least thickness is for high spots of the base.")
    if screed.brief.layers:
        yield f"The layers of the brief ({word_mm(screed.brief.build_up)}) are not counted: demands bear on the screed's top."
    if "pipes" in screed.kind.name:
        yield (f"At least {word_mm(SCREED_PIPES.value)} of it lie over the highest pipe or its lagging ({SCREED_PIPES.source}): "
               "measure that.")
    if not screed.materials:
        yield "Its mix is the maker's: order by volume, and follow the maker for thickness."
    for one, two in _other_low_sides(screed):
        yield (f"Water also runs onto the side from {word_place(*one)} to {word_place(*two)}, which is not the one that it is to "
               "leave by: give that part an outlet of its own, or close it off and drain it.")


def _other_low_sides(screed: Screed) -> Iterator[tuple[tuple[float, ...], tuple[float, ...]]]:
    """Sides that a floor falling to a named one runs onto as well: the inner walls of a room that is no rectangle."""
    if screed.to is None or isinstance(screed.to, Outlet):
        return
    way = screed.finish.facets[0].plane.direction
    named = shapely.LineString(screed.to).buffer(AGAINST)
    outline = shapely.orient_polygons(screed.brief.area)
    for ring in (outline.exterior, *outline.interiors):
        for one, two in pairwise(ring.coords):
            onto = ((two[1] - one[1]) * way[0] - (two[0] - one[0]) * way[1]) / max(math.dist(one, two), ROUNDING)
            if onto > ONTO and not named.covers(shapely.LineString([one, two])):
                yield one, two
