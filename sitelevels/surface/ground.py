"""The ground as it is: spots joined by triangles."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from ..errors import SurveyError
from ..wording import word_level, word_place
from .plane import Floats, PlaneFit, fit_plane, frozen, name_of, numbers, plan_places, refuse_far, shaped, spots_as_arrays
from .triangles import doubled, edges_of, force_breaks, sides_of

SAME_PLACE = 1e-6  # m: tapes are booked to a millimetre, so nearer spots have one and the same place
OUT_OF_LINE = 0.005  # m: how far spots taped along one line may stand off it
ON_THE_EDGE = 1e-6  # m: how far outside the hull still counts as on it


class Ground:
    """The ground through measured spots, flat within each triangle of their Delaunay triangulation.

    Parameters
    ----------
    x, y, level : array_like, shape (n,)
        Plan position and level in m, n ≥ 3, not in a line.
    breaks : sequence of pairs, optional
        Pairs of spots (names if `points` is given, else indices from 0) that no triangle may cross: the top or the foot of a
        step, the edge of a slab. Top and foot of a step are two spots close together.
    points : sequence of str, optional
        Names for messages; 1, 2, 3 … if not given.

    Attributes
    ----------
    x, y, level : (n,) arrays in m;  triangles : (m, 3) array of indices into them, anticlockwise

    Raises
    ------
    SurveyError
        Fewer than three spots; all in a line; two levels at one place (both spots are named); breaks that cross.

    Notes
    -----
    Of all triangles through given spots those of Delaunay are the least narrow, so that a level comes from spots nearby (any
    textbook of computational geometry).

    >>> ground = Ground([0, 4, 4, 0], [0, 0, 3, 3], [10.00, 10.00, 9.94, 9.94])
    >>> round(ground.level_at(2.0, 1.5), 3)
    9.97
    """

    x: Floats
    y: Floats
    level: Floats
    points: tuple[str, ...] | None
    breaks: tuple[tuple[int, int], ...]
    triangles: NDArray[np.intp]
    _fit: PlaneFit

    def __init__(self, x: ArrayLike, y: ArrayLike, level: ArrayLike, *, breaks: Iterable[Sequence[Any]] = (),
                 points: Iterable[object] | None = None) -> None:
        xs, ys, levels, names = spots_as_arrays(x, y, level, points)
        refuse_far(xs, ys, levels, names)
        keep = self._one_per_place(xs, ys, levels, names)
        own = self.__dict__  # set here once; `__setattr__` refuses any change
        own.update(x=frozen(xs[keep]), y=frozen(ys[keep]), level=frozen(levels[keep]))
        own["points"] = None if names is None else tuple(names[index] for index in keep)
        if isinstance(breaks, str) or not isinstance(breaks, Iterable):
            raise SurveyError(f"the breaks are {breaks!r}", rule="They are pairs of spots.")
        own["breaks"] = tuple(self._indices(pair, names, keep, len(xs)) for pair in breaks)
        own["_fit"] = fit_plane(self.x, self.y, self.level, points=self.points)  # refuses too few spots, or spots in a line
        triangles = self._delaunay()
        if self.breaks:
            triangles = force_breaks(self._centred, triangles, self.breaks, self._called)
        triangles.setflags(write=False)
        own["triangles"] = triangles

    def __setattr__(self, name: str, value: object) -> None:
        raise AttributeError("a Ground cannot be changed once made")

    def with_levels(self, level: ArrayLike) -> Ground:
        """The same spots and triangles with other levels (n,), in m, as of an underside. Refuses any not one for each."""
        if (levels := numbers(level)) is None or levels.shape != self.x.shape:
            raise SurveyError("the levels are not one number for each spot", rule=f"The ground has {len(self.x)} spots.")
        return self._made(x=self.x, y=self.y, level=frozen(levels), triangles=self.triangles)

    def _made(self, **parts: NDArray[Any]) -> Ground:
        other = object.__new__(Ground)
        other.__dict__.update(parts, points=None, breaks=(), _fit=fit_plane(parts["x"], parts["y"], parts["level"]))
        return other

    def with_corners(self, x: ArrayLike, y: ArrayLike) -> Ground:
        """The same surface with corners of triangles at further places too; those off the hull or at a corner are left out."""
        xs, ys, levels, triangles = self.x, self.y, self.level, self.triangles
        for east, north in zip(*map(np.ravel, plan_places(x, y)), strict=True):
            if not self.covers(east, north)[0] or np.hypot(xs - east, ys - north).min() < 1e-3:
                continue
            corners = np.stack([xs[triangles] - east, ys[triangles] - north], axis=2)
            off = []  # how far inside each side the place lies, m
            for one, two in ((1, 2), (2, 0), (0, 1)):
                (ax, ay), (bx, by) = corners[:, one].T, corners[:, two].T
                off.append((ax * by - ay * bx) / np.hypot(bx - ax, by - ay))
            held = np.flatnonzero(np.min(off, axis=0) >= -ON_THE_EDGE)  # two of them where it lies on a side
            new = [[place if number != corner else len(xs) for number, place in enumerate(triangles[one])]
                   for one in held for corner in range(3) if off[corner][one] > ON_THE_EDGE]
            xs, ys = np.append(xs, east), np.append(ys, north)
            levels = np.append(levels, self.level_at(east, north))
            triangles = np.concatenate([np.delete(triangles, held, axis=0), np.array(new, dtype=np.intp).reshape(-1, 3)])
        triangles.setflags(write=False)
        return self._made(x=frozen(xs), y=frozen(ys), level=frozen(levels), triangles=triangles)

    def _called(self, index: int) -> str:
        return name_of(self.points, index)

    @staticmethod
    def _one_per_place(x: NDArray[np.float64], y: NDArray[np.float64], level: NDArray[np.float64],
                       names: tuple[str, ...] | None) -> NDArray[np.intp]:
        """Indices of the spots to keep: the first of those at one place with one level; two levels there are refused."""
        from scipy.spatial import cKDTree
        pairs = cKDTree(np.column_stack([x, y])).query_pairs(SAME_PLACE, output_type="ndarray")
        faults = [SurveyError(f"the levels {word_level(level[one])} and {word_level(level[two])} stand at one place, "
                              f"{word_place(x[one], y[one])}", where=f"points {name_of(names, one)} and {name_of(names, two)}",
                              remedy="Correct one; for the top and foot of a step set the two some 10 mm apart in plan.")
                  for one, two in pairs if abs(level[one] - level[two]) > 1e-9]
        if faults:
            raise SurveyError.together(faults)
        keep = np.ones(len(x), dtype=bool)
        keep[pairs.max(axis=1)] = False
        return np.flatnonzero(keep)

    @staticmethod
    def _indices(pair: Sequence[Any], names: tuple[str, ...] | None, keep: NDArray[np.intp], count: int) -> tuple[int, int]:
        if isinstance(pair, str) or not isinstance(pair, Sequence) or len(pair) != 2:
            raise SurveyError(f"the break {pair!r} is not a pair of spots")
        found = []
        for end in pair:
            index = end if names is None else names.index(str(end)) if str(end) in names else None
            if not isinstance(index, (int, np.integer)) or not 0 <= index < count:
                raise SurveyError(f"the break {tuple(pair)} names {end!r}, which is no spot of the ground")
            if names is not None and names.count(str(end)) > 1:
                raise SurveyError(f"the break {tuple(pair)} names {end!r}, as {names.count(str(end))} spots are called",
                                  remedy="Give each its own name.")
            same = np.flatnonzero(keep == index)
            if not len(same):
                raise SurveyError(f"the break {tuple(pair)} ends at {end!r}, which repeats another spot",
                                  remedy="Name the first spot at that place.")
            found.append(int(same[0]))
        if found[0] == found[1]:
            raise SurveyError(f"the break {tuple(pair)} has no length")
        return found[0], found[1]

    @property
    def _centred(self) -> NDArray[np.float64]:
        """Plan positions (n, 2) from their middle, so that grid coordinates lose no digits."""
        return np.column_stack([self.x - self.x.mean(), self.y - self.y.mean()])

    def _delaunay(self) -> NDArray[np.intp]:
        from scipy.spatial import Delaunay
        triangles = Delaunay(self._centred).simplices.astype(np.intp)
        corners = self._centred[triangles]
        size = doubled(corners)
        triangles[size < 0] = triangles[size < 0][:, [0, 2, 1]]
        # along a straight side of the hull rounding leaves slivers that cover nothing and whose gradient is chance
        kept: NDArray[np.intp] = triangles[np.abs(size) > ON_THE_EDGE * sides_of(corners).max(axis=1)]
        return kept

    @cached_property
    def _trees(self) -> tuple[Any, Any, NDArray[np.intp]]:
        """Search trees of the proper triangles and of the slivers along the hull, and the numbers of the former.

        Spots taped along a wall lie a few mm out of line. The flat triangle that bridges three of them would say, a millimetre
        away from the middle one, that its level does not count.
        """
        import shapely
        corners = self._centred[self.triangles]
        sides = sides_of(corners)
        longest = np.arange(len(corners)), sides.argmax(axis=1)
        _, edge, times = np.unique(edges_of(self.triangles), axis=0, return_inverse=True, return_counts=True)
        on_hull = (times[edge] == 1).reshape(-1, 3)[longest]
        height = np.abs(doubled(corners)) / sides[longest]
        sliver = on_hull & (height < OUT_OF_LINE) & (height < sides[longest] / 200)
        kept = np.zeros(len(self.x), dtype=bool)
        kept[self.triangles[~sliver]] = True
        sliver &= kept[self.triangles].all(axis=1)  # a spot with no other triangle keeps this one
        shapes = shapely.polygons(corners)
        return shapely.STRtree(shapes[~sliver]), shapely.STRtree(shapes[sliver]), np.flatnonzero(~sliver)

    @property
    def hull(self) -> NDArray[np.float64]:
        """Corners (k, 2) in m of the convex outline of the spots, anticlockwise."""
        from scipy.spatial import ConvexHull
        corners = ConvexHull(self._centred).vertices
        return np.column_stack([self.x[corners], self.y[corners]])

    @property
    def proper(self) -> NDArray[np.intp]:
        """Numbers of the triangles that are no slivers along the hull: those that hold places."""
        return self._trees[2]

    def covers(self, x: ArrayLike, y: ArrayLike) -> NDArray[np.bool_]:
        """Whether each plan position lies within the hull, its edge included."""
        xs, ys = plan_places(x, y)
        return self._triangle_of(xs.reshape(-1), ys.reshape(-1)) >= 0

    def _triangle_of(self, x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.intp]:
        """Index of a triangle that holds each position, −1 outside the hull."""
        import shapely
        places = shapely.points(x - self.x.mean(), y - self.y.mean())
        proper, slivers, of_proper = self._trees
        found = np.full(len(x), -1, dtype=np.intp)
        inside, triangle = proper.query(places, predicate="intersects")
        found[inside] = of_proper[triangle]
        beside = slivers.query(places[found < 0], predicate="dwithin", distance=ON_THE_EDGE)[0]
        for reach, missed in ((OUT_OF_LINE, beside), (ON_THE_EDGE, None)):
            left = np.flatnonzero(found < 0)
            left = left if missed is None else left[np.unique(missed)]
            near, triangle = proper.query_nearest(places[left], max_distance=reach, all_matches=False)
            found[left[near]] = of_proper[triangle]
        return found

    def level_at(self, x: ArrayLike, y: ArrayLike) -> Any:
        """Level in m at x, y in m: a float for a point, an array for arrays.

        Raises SurveyError outside the hull of the spots: no guess is made there.
        """
        wanted_x, wanted_y = plan_places(x, y)
        xs, ys = wanted_x.reshape(-1), wanted_y.reshape(-1)
        triangle = self._triangle_of(xs, ys)
        if (triangle < 0).any():
            out = int(np.flatnonzero(triangle < 0)[0])
            raise SurveyError(f"{word_place(xs[out], ys[out])} lies outside the spots that were read",
                              rule="Between spots the level is known; beyond them it would be a guess.",
                              remedy="Read a spot there, or beyond it.")
        gradients, base = self._facets
        corner = self.triangles[triangle, 0]
        level = base[triangle] + gradients[triangle, 0] * (xs - self.x[corner]) + gradients[triangle, 1] * (ys - self.y[corner])
        return shaped(level, wanted_x.shape)

    def shares_at(self, x: float, y: float) -> tuple[NDArray[np.intp], Floats, tuple[float, float]]:
        """Which three spots the level at a place hangs on, the share of each, and the place itself.

        For a place outside the hull they are those of the nearest place on it, which is given back. Raises SurveyError for what
        is no place.
        """
        import shapely
        east, north = plan_places(x, y)
        if east.ndim:
            raise SurveyError("more than one place is given", rule="One place x, y in m.")
        here = shapely.Point(float(east), float(north))
        if not self.covers(x, y)[0]:
            hull = shapely.Polygon(self.hull)
            here = shapely.get_point(shapely.shortest_line(hull, here), 0)
        triangle = int(self._triangle_of(np.array([here.x]), np.array([here.y]))[0])
        corners = self.triangles[triangle]
        places = np.column_stack([self.x, self.y])[corners] - (here.x, here.y)
        shares = np.linalg.solve(np.vstack([places.T, np.ones(3)]), [0.0, 0.0, 1.0])
        return corners, frozen(shares), (here.x, here.y)

    @cached_property
    def spacing(self) -> float:
        """The usual distance in m from a spot to its neighbours: the median side of the triangles."""
        return float(np.median(sides_of(self._centred[self.triangles])))

    def facet_gradients(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Gradients (m, 2) of the triangles in m/m, positive uphill, and the level in m (m,) at the first corner of each."""
        return self._facets

    @cached_property
    def _facets(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        places, levels = self._centred[self.triangles], self.level[self.triangles]
        sides = places[:, 1:] - places[:, :1]
        gradients = np.linalg.solve(sides, (levels[:, 1:] - levels[:, :1])[..., None])[..., 0]
        return gradients.astype(np.float64), levels[:, 0]

    def plane_fit(self) -> PlaneFit:
        """The plane of least squares through the spots."""
        return self._fit

    @property
    def table(self) -> pd.DataFrame:
        """A new table of the spots: point x y level (m)."""
        return pd.DataFrame({"point": [self._called(index) for index in range(len(self.x))], "x": self.x, "y": self.y,
                             "level": self.level})

    def __repr__(self) -> str:
        return f"Ground through {len(self.x)} spots"

    def _repr_html_(self) -> str:
        return (f"<p>Ground through {len(self.x)} spots and {len(self.triangles)} triangles, from "
                f"{word_level(self.level.min())} to {word_level(self.level.max())}.</p>")
