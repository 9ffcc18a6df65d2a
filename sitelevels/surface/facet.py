"""One flat part of a finished surface, and the plan areas that such parts cover."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry
from shapely.validation import explain_validity

from ..errors import SurveyError, must_be
from ..wording import word_place
from .plane import FARTHEST, Plane, numbers

Way = tuple[float, float]
NARROW = 1e-9  # m: an outline narrower than this encloses nothing that numbers can tell
REACH = 0.3  # m: a facet is carried on this far beyond its edge, for a staff held on the paving or the sill next to it


def polygon_of(area: Any) -> shapely.Polygon:
    """An area as a shapely polygon in plan, m: from a list of corners (k, 2) or from a polygon, which may have holes.

    Raises SurveyError for fewer than three corners, an outline that crosses itself (the place is named) or no area.
    """
    if isinstance(area, BaseGeometry):
        polygon = shapely.force_2d(area)
        if not (np.abs(shapely.get_coordinates(polygon)) < FARTHEST).all():
            raise SurveyError("a corner of the area is not a finite number nearer nought than a million km",
                              rule="Corners are in m.")
    else:
        corners = numbers(area)
        if corners is None or corners.ndim != 2 or corners.shape[1] != 2 or len(corners) < 3:
            raise SurveyError(f"the area {area!r} is not a list of corners", rule="It needs three or more pairs x, y in m.")
        if not (np.abs(corners) < FARTHEST).all():
            bad = int(np.argwhere(~(np.abs(corners) < FARTHEST))[0][0])
            raise SurveyError(f"corner {bad + 1} of the area is not a finite number nearer nought than a million km",
                              rule="Corners are in m.")
        polygon = shapely.Polygon(corners)
    if not isinstance(polygon, shapely.Polygon):
        raise SurveyError(f"the area is a {polygon.geom_type}", rule="It must be one polygon.")
    if not polygon.is_valid:
        found = re.search(r"\[(\S+) (\S+)\]", explain_validity(polygon))
        place = f" at {word_place(float(found[1]), float(found[2]))}" if found else ""
        raise SurveyError(f"the outline of the area crosses or touches itself{place}",
                          rule="Corners go round in order, each once.", remedy="Swap the corners that are out of order.")
    if polygon.area <= NARROW * polygon.length:
        raise SurveyError("the area is nought", remedy="Give corners that enclose something.")
    return polygon


@dataclass(frozen=True, eq=False)
class Facet:
    """One flat part of a finished surface: `plane` over the polygon `area` (plan, m).

    Where it drains to a channel or an outlet, `towards` is the direction (dx, dy) square to that line or edge in which it is
    to fall, and `along` the one in which the channel runs. Refuses an area that crosses itself or is nought.

    Reason: over a flat part the fall is the same everywhere, so one number says whether it drains.

    >>> Facet(Plane(10.0, 0.0, -1 / 60), [(0, 0), (6, 0), (6, 4), (0, 4)]).area.area  # m²
    24.0
    """

    plane: Plane
    area: shapely.Polygon
    towards: Way | None = None
    along: Way | None = None

    def __post_init__(self) -> None:
        must_be(self.plane, Plane, "the plane of a facet")
        object.__setattr__(self, "area", polygon_of(self.area))
