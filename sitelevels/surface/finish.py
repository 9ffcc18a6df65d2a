"""Finished surfaces made of plane facets, and the plan areas that they cover."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from numbers import Real
from typing import Any

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray
from shapely.geometry.base import BaseGeometry
from shapely.validation import explain_validity

from ..errors import SurveyError, must_be
from ..wording import word_distance, word_fall, word_mm, word_place
from .plane import FARTHEST, Floats, Plane, plan_places

REACH = 0.3  # m: a facet is carried on this far beyond its edge, for a staff held on the paving or the sill next to it


def polygon_of(area: Any) -> shapely.Polygon:
    """An area as a shapely polygon in plan, m: from a list of corners (k, 2) or from a polygon, which may have holes.

    Raises SurveyError for fewer than three corners, an outline that crosses itself (the place is named) or no area.
    """
    if isinstance(area, BaseGeometry):
        polygon = area
    else:
        try:
            corners = np.asarray(area, dtype=float)
        except (TypeError, ValueError, OverflowError):
            corners = np.empty(0)
        if corners.ndim != 2 or corners.shape[1] != 2 or len(corners) < 3:
            raise SurveyError(f"the area {area!r} is not a list of corners", rule="It needs three or more pairs x, y in m.")
        if not (np.abs(corners) < FARTHEST).all():
            bad = int(np.argwhere(~(np.abs(corners) < FARTHEST))[0][0])
            raise SurveyError(f"corner {bad + 1} of the area is not a finite number", rule="Corners are in m.")
        polygon = shapely.Polygon(corners)
    if not isinstance(polygon, shapely.Polygon):
        raise SurveyError(f"the area is a {polygon.geom_type}", rule="It must be one polygon.")
    if not polygon.is_valid:
        found = re.search(r"\[(\S+) (\S+)\]", explain_validity(polygon))
        place = f" at {word_place(float(found[1]), float(found[2]))}" if found else ""
        raise SurveyError(f"the outline of the area crosses or touches itself{place}",
                          rule="Corners go round in order, each once.", remedy="Swap the corners that are out of order.")
    if polygon.area <= 0:
        raise SurveyError("the area is nought", remedy="Give corners that enclose something.")
    return polygon


@dataclass(frozen=True, eq=False)
class Facet:
    """One flat part of a finished surface: `plane` over the polygon `area` (plan, m)."""

    plane: Plane
    area: shapely.Polygon

    def __post_init__(self) -> None:
        must_be(self.plane, Plane, "the plane of a facet")
        object.__setattr__(self, "area", polygon_of(self.area))


@dataclass(frozen=True, eq=False)
class Finish:
    """A finished surface: facets side by side.

    >>> yard = Finish.plane(Plane(9.85, 0.0, -1 / 60), [(0, 0), (6, 0), (6, 4), (0, 4)])
    >>> round(yard.level_at(3.0, 3.0), 3), round(yard.lowered(0.18).level_at(3.0, 3.0), 3)
    (9.8, 9.62)
    """

    facets: tuple[Facet, ...]

    def __post_init__(self) -> None:
        must_be(self.facets, Iterable, "the list of facets")
        object.__setattr__(self, "facets", tuple(self.facets))
        for facet in self.facets:
            must_be(facet, Facet, "one of the facets")
        if not self.facets:
            raise SurveyError("the finished surface has no facet", rule="It needs at least one plane over an area.")
        for number, facet in enumerate(self.facets):
            for other in self.facets[:number]:
                common = facet.area.intersection(other.area)
                if common.area > 1e-6 * min(facet.area.area, other.area.area):
                    middle = common.representative_point()
                    where = word_place(middle.x, middle.y)
                    raise SurveyError(f"two facets of the finished surface lie over each other at {where}",
                                      rule="Facets lie side by side.", remedy="Correct the area of one of them.")

    @classmethod
    def plane(cls, plane: Plane, area: Any) -> Finish:
        """One plane over an area (corners or polygon, plan, m)."""
        return cls((Facet(plane, polygon_of(area)),))

    def facet_at(self, x: float, y: float) -> Facet:
        """The facet at a plan position, or the nearest within 300 mm. Raises SurveyError beyond that."""
        xs, ys = plan_places(x, y)
        return self.facets[int(self._nearest(xs.reshape(-1), ys.reshape(-1))[0])]

    def _nearest(self, x: Floats, y: Floats) -> NDArray[np.intp]:
        """Number of the facet at each place, or the nearest within reach."""
        places = shapely.points(x, y)
        distances = np.array([shapely.distance(facet.area, places) for facet in self.facets])
        out = np.flatnonzero(distances.min(axis=0) > REACH)
        if len(out):
            first = int(out[0])
            raise SurveyError(f"{word_place(x[first], y[first])} is {word_distance(distances[:, first].min())} outside the "
                              "finished surface", rule=f"Levels are carried on at most {word_mm(REACH)} beyond its edge.",
                              remedy="Check the position, or the corners of the area.")
        return np.asarray(distances.argmin(axis=0))

    def level_at(self, x: ArrayLike, y: ArrayLike) -> Any:
        """Level in m at x, y in m: a float for a point, an array for arrays; see `facet_at` for places beyond the edge."""
        wanted_x, wanted_y = plan_places(x, y)
        xs, ys = wanted_x.reshape(-1), wanted_y.reshape(-1)
        nearest = self._nearest(xs, ys)
        levels = np.empty(len(xs))
        for number, facet in enumerate(self.facets):
            here = nearest == number
            levels[here] = facet.plane.level_at(xs[here], ys[here])
        return float(levels[0]) if wanted_x.ndim == 0 else levels.reshape(wanted_x.shape)

    def lowered(self, depth: float) -> Finish:
        """The surface `depth` m below, e.g. the formation under all layers."""
        must_be(depth, Real, "the depth")
        return Finish(tuple(Facet(facet.plane.lowered(depth), facet.area) for facet in self.facets))

    @property
    def area(self) -> float:
        """Plan area in m²."""
        return float(sum(facet.area.area for facet in self.facets))

    def _repr_html_(self) -> str:
        falls: Sequence[str] = [word_fall(facet.plane.fall) for facet in self.facets]
        return f"<p>A finished surface of {len(self.facets)} plane facet(s), true fall {', '.join(falls)}.</p>"
