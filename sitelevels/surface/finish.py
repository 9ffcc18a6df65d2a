"""Finished surfaces made of plane facets."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from itertools import combinations
from typing import Any

import numpy as np
import pandas as pd
import shapely
from numpy.typing import ArrayLike, NDArray

from ..errors import SurveyError, finite, must_be
from ..wording import html_table, word_area, word_distance, word_fall, word_level, word_mm, word_place
from .facet import REACH, Facet, polygon_of
from .overlay import both
from .plane import Floats, Plane, plan_places, shaped
from .shapes import Channel, Outlet, facets_of

LEVEL = 1e-6  # m or m/m: what the last digits leave of nought


@dataclass(frozen=True, eq=False)
class Finish:
    """A finished surface: facets side by side, levels and places in m.

    Refuses a surface without one, and facets that lie over each other.

    Reason: where two lay over each other, a place would have two levels.

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
        for one, other in combinations((facet.area for facet in self.facets), 2):
            common = both(one, other) if one.intersects(other) else shapely.Polygon()
            smaller = min(one, other, key=lambda area: area.area)
            if common.area > 1e-6 * (smaller.area + smaller.length):
                place = common.representative_point()
                raise SurveyError(f"two facets of the finished surface lie over each other at {word_place(place.x, place.y)}",
                                  rule="Facets lie side by side.", remedy="Correct the area of one of them.")

    @classmethod
    def plane(cls, plane: Plane, area: Any) -> Finish:
        """One plane over an area (corners or polygon, plan, m)."""
        return cls((Facet(plane, polygon_of(area)),))

    @classmethod
    def channel(cls, line: Any, area: Any, *, level: float, fall: float = 0.0, left: float, right: float) -> Finish:
        """Two planes falling to a line.

        Parameters
        ----------
        line : two places (x, y), m
            The channel, carried on straight to the edges of the area.
        area : list of corners (k, 2) or polygon, m
        level : float
            Level of the channel at its first place, m.
        fall : float
            Its own fall from the first place to the second, m/m, positive downhill.
        left, right : float
            Falls to it, square to it, from the left and from the right of somebody who looks along it, m/m.

        Raises
        ------
        SurveyError
            A line of no length, or one that does not divide the area; a side that falls away from it.

        >>> area = [(0, 0), (6, 0), (6, 4), (0, 4)]
        >>> yard = Finish.channel(((0, 2), (6, 2)), area, level=9.8, fall=0.01, left=0.02, right=0.025)
        >>> round(yard.level_at(0, 0), 3), round(yard.level_at(6, 2), 3), round(yard.level_at(0, 4), 3)
        (9.85, 9.74, 9.84)
        """
        given = [finite(level, "the level of the channel"), *(
            finite(value, f"the fall {name} the channel", "It must be a number in m/m.")
            for name, value in (("along", fall), ("from the left to", left), ("from the right to", right)))]
        if min(given[2:]) < -LEVEL:
            raise SurveyError("a side of the channel falls away from it", remedy="Correct the sign of that fall.",
                              rule="Both sides fall to it: positive is downhill to it.")
        return cls(facets_of(Channel(line).parts(area), given))

    @classmethod
    def outlet(cls, point: Any, area: Any, *, level: float, perimeter: float, sides: Any = None) -> Finish:
        """A floor falling to a point from a level perimeter, or from chosen sides only.

        Parameters
        ----------
        point : (x, y), m
            The outlet.
        area : list of corners (k, 2) or polygon, m
        level, perimeter : float
            Level of the outlet, and of the perimeter or the chosen sides, m.
        sides : sequence of pairs of places, optional
            The sides that the floor falls from, each as two places (x, y) on one edge, m; all if not given. With chosen sides
            the level at each place is that of the highest of the planes through a chosen side and the outlet.

        Raises
        ------
        SurveyError
            An edge that is not seen from the outlet (with the place of a second outlet), a place that would lie below it, an
            outlet outside the area.

        >>> floor = Finish.outlet((2, 1), [(0, 0), (4, 0), (4, 2), (0, 2)], level=9.98, perimeter=10.0)
        >>> [round(1 / facet.plane.fall) for facet in floor.facets]
        [50, 100, 50, 100]
        """
        given = [finite(level, "the level of the outlet"), finite(perimeter, "the level of the perimeter")]
        if given[1] < given[0] - LEVEL:
            raise SurveyError(f"the perimeter at {word_level(given[1])} lies below the outlet at {word_level(given[0])}",
                              rule="Every place lies higher than the outlet, or water stays there.",
                              remedy="Change the two about.")
        return cls(facets_of(Outlet(point, sides).parts(area), given))

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
        return shaped(levels, wanted_x.shape)

    def lowered(self, depth: float) -> Finish:
        """The surface `depth` m below, e.g. the formation under all layers."""
        finite(depth, "the depth")
        return Finish(tuple(replace(facet, plane=facet.plane.lowered(depth)) for facet in self.facets))

    @property
    def table(self) -> pd.DataFrame:
        """A new table, a row a facet: facet area (m²) level (m, at its middle) fall (true, m/m) to_drain along_channel (m/m)."""
        lines = []
        for number, facet in enumerate(self.facets, start=1):
            middle = facet.area.centroid
            drains = (None if way is None else facet.plane.fall_towards(*way) + 0.0 for way in (facet.towards, facet.along))
            lines.append((number, facet.area.area, facet.plane.level_at(middle.x, middle.y), facet.plane.fall, *drains))
        return pd.DataFrame(lines, columns=["facet", "area", "level", "fall", "to_drain", "along_channel"])

    @property
    def words(self) -> pd.DataFrame:
        """A new table for reading, a row a facet: about where, its area, its true fall, its falls to and along a drain."""
        lines = []
        for facet in self.facets:
            middle = facet.area.representative_point()
            drains = ("" if way is None else word_fall(facet.plane.fall_towards(*way)) for way in (facet.towards, facet.along))
            lines.append((word_place(middle.x, middle.y), word_area(facet.area.area), word_fall(facet.plane.fall), *drains))
        return pd.DataFrame(lines, columns=["facet about", "area", "true fall", "fall to its drain", "fall along the channel"])

    @property
    def area(self) -> float:
        """Plan area in m²."""
        return float(sum(facet.area.area for facet in self.facets))

    def _repr_html_(self) -> str:
        return f"<p>Facets of the finished surface: {len(self.facets)}.</p>{html_table(self.words, words=True)}"
