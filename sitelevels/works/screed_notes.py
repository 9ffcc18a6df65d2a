"""What else there is to say about a screed."""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import pairwise
from typing import TYPE_CHECKING

import shapely

from ..design.asked import ROUNDING, corners_of
from ..design.edges import AGAINST
from ..design.handbook import DENSITIES
from ..design.layers import MORTAR_MIX
from ..design.published import LIMITS
from ..design.workmanship import FLOOR_FALLS, SCREED_DESIGN, SCREED_MIX, SCREED_PIPES, SCREED_WASTE
from ..surface.shapes import Outlet
from ..wording import whole_up, word_area, word_fall, word_level, word_mm, word_place, word_volume
from .earthworks import SHOWN as SHOWN_AREA
from .heaps import BAGS

if TYPE_CHECKING:
    from .screed import Screed

FALLS = FLOOR_FALLS["wet room, tiled"]
ONTO = 0.1  # sine of the angle at which water runs onto a side; along it, it does not


def sentence_of(screed: Screed) -> str:
    """Whether it fits, how the floor lies, how thick the screed is and what it takes, in words."""
    where = "outlet" if isinstance(screed.to, Outlet) else "lower side"
    falls = "" if screed.outlet_level is None else (f" where it is highest, {word_level(screed.outlet_level)} at the {where}, "
                                                    f"falling {word_fall(screed.fall)} where it is flattest")
    thin, thick = screed.thinnest, screed.thickest
    bought = ""
    for one in screed.materials:
        least, _, most = map(word_volume, one.loose.values) if one.bags is None else map(whole_up, one.bags.values)
        counted = f"{least}" if least == most else f"{least} to {most}"
        bought += f"; {counted}{'' if one.bags is None else f' {BAGS}'} of {one.what}"
    higher = f", {word_mm(screed.higher, digits=1)} higher than need be" if screed.higher else ""
    return (f"{_verdict(screed)}Screed, {screed.kind.name}, over {word_area(screed.area)}: the floor lies "
            f"at {word_level(screed.level)}{falls}{higher}. It is {word_mm(thin.level, digits=1)} thick at {thin.point}, where "
            f"it is thinnest, {word_mm(thick.level, digits=1)} at {thick.point}, where it is thickest, "
            f"{word_mm(screed.mean, digits=1)} on average: {word_volume(screed.volume)}{bought}.")


def _verdict(screed: Screed) -> str:
    """Whether it fits by the readings, or where a floor that is thick enough goes wrong most, in a sentence."""
    if screed.fits and too_steep(screed):
        return ("In level it fits by the readings, thick enough everywhere; but its steepest part falls "
                f"{word_fall(_steepest(screed))}, where no part was to be steeper than {word_fall(screed.steepest or 0.0)}. ")
    if screed.fits:
        return "It fits by the readings, thick enough everywhere and within every limit on its level. "
    demand, place, needs, level, floor, _ = screed.limits.iloc[0]
    return (f"It does not fit: thick enough everywhere, the floor lies {word_mm(abs(floor - level), digits=1)} too "
            f"{'high' if needs == 'at most' else 'low'} at {place} ({demand}). ")


def _steepest(screed: Screed) -> float:
    """The fall of its steepest part, m/m."""
    return max(facet.plane.fall for facet in screed.finish.facets)


def too_steep(screed: Screed) -> bool:
    """Whether its steepest part falls more steeply than was asked for."""
    return screed.steepest is not None and _steepest(screed) > screed.steepest + 1e-9


def gained_by(flat: float, used: float, top: float, steepest: float, saved: float | None) -> str:
    """The fall chosen for the flattest part, and what it saves (m³) on `flat`; None if that one does not fit."""
    than = f", and {word_fall(flat)} does not fit" if saved is None else f": {word_volume(saved)} less than {word_fall(flat)}"
    told = ("the flattest takes the least screed" if saved is not None and used - flat < ROUNDING else
            f"{word_fall(used)} takes the least screed{than}")
    of_top = f", with which the steepest part falls {word_fall(steepest)}" if top < steepest - ROUNDING else ""
    return f"Of all falls of the flattest part from {word_fall(flat)} to {word_fall(top)}{of_top}, {told}."


def sources_of(screed: Screed) -> tuple[str, ...]:
    """Where each usual value comes from."""
    used = [one for one in (screed.kind.least, screed.kind.most) if one] + [FALLS] * bool(screed.fall)
    mixed = [SCREED_MIX, SCREED_WASTE, MORTAR_MIX["loose"], DENSITIES["cement"], DENSITIES["sand, dry"]]
    return tuple(f"{one.what}: {one.source}" for one in (*used, *mixed * bool(screed.materials)))


def doubts_of(screed: Screed) -> Iterator[str]:
    """What else there is to say about a screed."""
    lowest, most = screed.outlet_level, LIMITS["gradient"].value if screed.steepest is None else screed.steepest
    if screed.uncovered >= SHOWN_AREA:
        yield (f"Over {word_area(screed.uncovered)} of the {word_area(screed.area)} no spot of the base was read: neither "
               "thickness nor volume is known there, and none is counted. Read spots on the edge of the area or beyond.")
    if (steep := _steepest(screed)) > most + 1e-9:
        yield (f"Its steepest part falls {word_fall(steep)}, steeper than {word_fall(most)}: to keep to that the flattest part "
               f"may fall no more than {word_fall(screed.fall * most / steep, never='steeper')}, or the outlet must move.")
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
