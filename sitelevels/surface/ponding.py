"""Where rain stands on a triangulated surface once everything that can run off has run off."""

from __future__ import annotations

import warnings
from collections.abc import Iterable
from dataclasses import dataclass, field
from html import escape
from typing import Any, Literal, NamedTuple

import numpy as np
import pandas as pd
import shapely
from numpy.typing import ArrayLike, NDArray

from ..errors import SurveyError, SurveyWarning, finite, must_be
from ..wording import html_table, word_area, word_distance, word_level, word_mm, word_number, word_place, word_share, word_volume
from .basin import Basin, basins_of
from .facet import REACH, polygon_of
from .flood import TAPE, Drains, Indices, Net, Standing, depth_in, drains_of, net_of, stretches
from .ground import Ground
from .plane import FARTHEST, Floats, frozen, numbers, plan_places, shaped

SAID = 0.005  # share of the area without spots from which on the sentence tells of it
SHOWN = 12  # basins in a notebook; the table has all of them

Line = tuple[Floats, Floats]


class Wet(NamedTuple):
    """Triangles with water for drawing: `corners` (k, 3, 2) in plan, m, and `depth` (k, 3) there, m, negative where it is dry."""

    corners: Floats
    depth: Floats


@dataclass(frozen=True, eq=False)
class Ponding:
    """Where rain stands on a surface once the rest has run off. Made by `ponding`.

    `depth` (m) of the deepest standing water, `area` (m²) and `volume` (m³) of all of it, nought where none stands; `basins`,
    deepest first; `uncovered` (m²) of the area that has no spots around it, and of which nothing is said. `drains` (where water
    leaves) and `flooded` (the net of triangles, its levels and its water) count from the mean place and level of the spots, m.
    """

    ground: Ground
    outline: shapely.Polygon
    depth: float
    area: float
    volume: float
    basins: tuple[Basin, ...]
    uncovered: float
    drains: Drains
    flooded: Standing

    def _held(self, x: ArrayLike, y: ArrayLike, *, everywhere: bool = True) -> tuple[tuple[int, ...], Indices, Floats]:
        """The shape of places, the triangle (k,) that holds each, −1 for none unless all must be held, and its shares (k, 3)."""
        places = np.stack(plan_places(x, y), axis=-1)
        held, share = self.flooded.net.held(places.reshape(-1, 2) - self.flooded.net.middle)
        if everywhere and (held < 0).any():
            out = places.reshape(-1, 2)[int((held < 0).argmax())]
            raise SurveyError(f"{word_place(*out)} lies outside the area, or outside the spots",
                              rule="Only between spots, inside the area, is it known where water stands.")
        return places.shape[:-1], held, share

    def covers(self, x: ArrayLike, y: ArrayLike) -> NDArray[np.bool_]:
        """Whether each place lies on the part of the area that has spots around it."""
        shape, held, _ = self._held(x, y, everywhere=False)
        return np.asarray((held >= 0).reshape(shape))

    def depth_at(self, x: ArrayLike, y: ArrayLike) -> Any:
        """Depth in m of the standing water at x, y in m: a float for a place, an array for arrays.

        Raises SurveyError outside the area or the spots.
        """
        (shape, held, share), one = self._held(x, y), self.flooded
        return shaped(depth_in(one.level, one.water, one.net.triangles[held], share), shape)

    @property
    def wet(self) -> Wet:
        """The triangles that are wet, wholly or in part, for drawing."""
        one = self.flooded
        return Wet(frozen(one.net.places[one.net.triangles[one.wet]] + one.net.middle), frozen(one.below))

    @property
    def table(self) -> pd.DataFrame:
        """A new table, a row a basin: basin depth (m) area (m²) volume (m³) level x y spill_x spill_y (m)."""
        rows = [(number, one.depth, one.area, one.volume, one.level, *one.place, *one.spill)
                for number, one in enumerate(self.basins, start=1)]
        return pd.DataFrame(rows, columns=["basin", "depth", "area", "volume", "level", "x", "y", "spill_x", "spill_y"])

    @property
    def words(self) -> pd.DataFrame:
        """A new table for reading, a row a basin, deepest first."""
        rows = [(word_mm(one.depth, digits=1), word_place(*one.place), _area(one.area), _volume(one.volume),
                 word_level(one.level), word_place(*one.spill)) for one in self.basins]
        return pd.DataFrame(rows, columns=["deepest", "at", "over", "holds", "fills to", "runs over at"])

    def sentence(self) -> str:
        """What stands, in words."""
        left = "" if self.uncovered <= SAID * self.outline.area else (
            f" {word_area(self.uncovered)} ({word_share(self.uncovered / self.outline.area)} of the area) have no spots around "
            "them, and nothing is said of them.")
        if not self.basins:
            return f"No water stands: all rain can run off.{left}"
        first, count = self.basins[0], len(self.basins)
        where = "in one place" if count == 1 else f"in {count} places"
        return (f"Water stands {where}, over {_area(self.area)} and {_volume(self.volume)} in all; it is deepest, "
                f"{word_mm(self.depth, digits=1)}, at {word_place(*first.place)}, and runs over there at "
                f"{word_place(*first.spill)}.{left}")

    def __repr__(self) -> str:
        return f"Ponding: {self.sentence()}"

    def _repr_html_(self) -> str:
        more = len(self.basins) - SHOWN
        return (f"<p>{escape(self.sentence())}</p>" + (html_table(self.words.head(SHOWN), words=True) if self.basins else "")
                + (f"<p>Shallower ones, not shown: {more}.</p>" if more > 0 else ""))

    def again(self, levels: ArrayLike) -> Reruns:
        """The same area and drains with other levels (runs, n) in m of the n spots of the ground, each row flooded anew.

        Raises SurveyError for levels of another shape, or that are not finite.
        """
        rule = f"They are rows of {len(self.ground.x)} levels in m, one for each spot of the ground."
        if (runs := numbers(levels)) is None:
            raise SurveyError("the levels of the runs are not all numbers", rule=rule)
        if runs.ndim != 2 or runs.shape[1] != len(self.ground.x) or not len(runs):
            raise SurveyError(f"the levels of the runs have the shape {runs.shape}", rule=rule)
        if not (np.abs(runs) < FARTHEST).all():
            raise SurveyError("a level of the runs is not a finite number", rule=rule)
        net, found = self.flooded.net, np.empty((4, len(runs)))
        water = np.empty((len(runs), len(net.places)))
        for number, run in enumerate(runs):
            one = Standing(net, self.drains, net.levels(run - self.ground.level.mean()))
            water[number] = one.water
            found[:, number] = one.below.max(initial=0.0), one.areas.sum(), one.volumes.sum(), one.widest
        depth, area, volume, widest = map(frozen, found)
        return Reruns(self, frozen(runs), depth, area, volume, widest, frozen(water))


@dataclass(frozen=True, eq=False)
class Reruns:
    """What stands if the spots had other levels. Made by `Ponding.again`.

    `levels` (runs, n) of the spots in m; `depth` (runs,) of the deepest water in m, `area` (runs,) and `volume` (runs,) of all
    of it in m² and m³, `widest` (runs,) the area of the greatest basin in m²; `water` (runs, v) as in the ponding.
    """

    ponding: Ponding
    levels: Floats = field(repr=False)
    depth: Floats
    area: Floats
    volume: Floats
    widest: Floats
    water: Floats = field(repr=False)

    def chance(self, x: ArrayLike, y: ArrayLike, depth: float) -> Any:
        """Share of the runs in which water stands deeper than `depth` m at each place: a float, or an array for arrays.

        Raises SurveyError outside the area or the spots, and for a depth below nought.
        """
        shape, runs = self._deeper(x, y, depth)
        deeper = np.zeros(int(np.prod(shape)))
        for deep in runs:  # run by run, so that large maps need little room
            deeper += deep
        return shaped(deeper / len(self.levels), shape)

    def chance_at_any(self, x: ArrayLike, y: ArrayLike, depth: float) -> float:
        """Share of the runs in which water stands deeper than `depth` m at any of the places; see `chance`."""
        _, runs = self._deeper(x, y, depth)
        return sum(bool(deep.any()) for deep in runs) / len(self.levels)

    def _deeper(self, x: ArrayLike, y: ArrayLike, depth: float) -> tuple[tuple[int, ...], Iterable[NDArray[np.bool_]]]:
        """The shape of the places, and for each run at which of them water stands deeper."""
        depth = finite(depth, "the depth", "It must be in m, nought or more.", least=0.0)
        (shape, held, share), net = self.ponding._held(x, y), self.ponding.flooded.net
        datum, corners = self.ponding.ground.level.mean(), net.triangles[held]
        return shape, (depth_in(net.levels(run - datum), water, corners, share) > depth
                       for run, water in zip(self.levels, self.water, strict=True))

    def chance_deeper(self, depth: float) -> float:
        """Share of the runs in which water stands deeper than so many m somewhere."""
        return float((self.depth > finite(depth, "the depth", "It must be in m, nought or more.", least=0.0)).mean())

    def chance_wider(self, area: float) -> float:
        """Share of the runs in which one basin is wider than so many m²."""
        return float((self.widest > finite(area, "the area", "It must be in m², nought or more.", least=0.0)).mean())


def _area(area: float) -> str:
    return word_area(area) if area >= 0.05 else f"under {word_area(0.1)}"


def _volume(volume: float) -> str:
    litres = f"{word_number(volume * 1000, figures=2)} l" if volume >= 1e-4 else "under 0.1 l"
    return word_volume(volume) if volume >= 1.0 else litres


def ponding(ground: Ground, area: Any, *, walls: Iterable[Any] = (), outlets: Iterable[Any] = (),
            free: Iterable[Any] | Literal["rest"] = "rest") -> Ponding:
    """Where rain stands on a surface once everything that can run off has run off.

    Parameters
    ----------
    ground : Ground
        The spots of the surface, joined by triangles.
    area : list of corners (k, 2) or polygon
        Plan, m; may have notches and holes, whose edges count like any other.
    walls : sequence of pairs of places ((x, y), (x, y)), m, or of what has `first` and `second`
        What holds water along the edge of the area, where that comes within 0.05 m of it.
    outlets : sequence of places (x, y), of pairs of places, m, or of `Outlet` and `Channel`
        A gully, or a channel from one place to another: water leaves there at the surface's own level.
    free : "rest" or sequence of pairs of places, m
        Over which edges water leaves: all that no wall holds, or those along the lines given alone.

    Returns
    -------
    Ponding

    Raises
    ------
    SurveyError
        Water can leave nowhere; an outlet lies more than 0.3 m outside the area, or outside the spots; a free edge lies along no
        edge of the area; spots that all lie outside the area.

    Warns
    -----
    SurveyWarning
        Where a wall runs through the area: it is taken to hold nothing there.

    Notes
    -----
    Exact on the triangles. At a corner water stands at the least, over all ways to a drain, of the greatest level on the way.
    From any place of a triangle water runs straight to its lowest corner, so that all of the triangle fills to the level there;
    the depth is linear and its integrals closed. Where the spots do not reach the edge of the area, the border of the triangles
    goes by the nearest part of the edge. Rain alone: soaking in, joints and time do not come in.

    >>> dish = Ground([0, 4, 4, 0, 2], [0, 0, 4, 4, 2], [10.0, 10.0, 10.0, 10.0, 9.97])
    >>> stands = ponding(dish, [(0, 0), (4, 0), (4, 4), (0, 4)])
    >>> round(stands.depth, 6), round(stands.volume, 6)
    (0.03, 0.16)
    """
    must_be(ground, Ground, "the ground")
    outline = polygon_of(area)
    net = net_of(ground, outline)
    moved = shapely.transform(outline, lambda places: places - net.middle)
    held = _lines(walls, "wall", net.middle)
    given = None if isinstance(free, str) and free == "rest" else _lines(free, "free edge", net.middle)
    for line in held:
        if shapely.LineString(line).intersection(moved.buffer(-TAPE)).length > TAPE:
            warnings.warn(f"The wall {_between(line, net.middle)} runs through the area and is taken to hold no water there; "
                          "leave a notch or a hole in the area where it stands.", SurveyWarning, stacklevel=2)
    lines, open_, met = stretches(moved, held, given)
    for number, line in enumerate(given or ()):
        if number not in met:
            raise SurveyError(f"the free edge {_between(line, net.middle)} lies along no edge of the area",
                              rule=f"It must come within {word_mm(TAPE)} of one.", remedy="Check its ends.")
    named = list(_outlets(outlets, net, moved))
    drains, lost = drains_of(net, lines, open_, named)
    if lost:
        raise SurveyError(f"outlet {lost[0] + 1}, at {word_place(*(named[lost[0]][0] + net.middle))}, lies outside the spots",
                          rule="Water leaves at the surface's own level, which is known between spots alone.",
                          remedy="Read a spot there, or beyond it.")
    one = Standing(net, drains, net.levels(ground.level - ground.level.mean()))
    if not np.isfinite(one.water).all():
        x, y = net.places[int(np.isinf(one.water).argmax())] + net.middle
        raise SurveyError(f"water can leave nowhere from {word_place(x, y)}, and would rise without end",
                          remedy="Name an outlet or a free edge.")
    left = float(outline.area - net.plan.sum())
    basins = basins_of(one, drains, float(ground.level.mean()))
    return Ponding(ground, outline, basins[0].depth if basins else 0.0, float(one.areas.sum()), float(one.volumes.sum()), basins,
                   left if left > 1e-9 * outline.area else 0.0, drains, one)


def _listed(given: Any, what: str, rule: str, *shapes: tuple[int, ...]) -> list[Floats]:
    """What was given, each as two places (2, 2) in m; a single place as the same twice."""
    if isinstance(given, str) or not isinstance(given, Iterable) or getattr(given, "ndim", 1) == 0:
        raise SurveyError(f"the {what}s are {given!r}", rule=f"They are a list. {rule}")
    found = []
    for number, one in enumerate(given, start=1):
        ends = [one.first, one.second] if hasattr(one, "first") and hasattr(one, "second") else getattr(  # a wall
            one, "point", getattr(one, "line", one))  # an outlet, a channel, or what is given as places
        places = numbers(ends)
        if places is None or places.shape not in shapes or not (np.abs(places) < FARTHEST).all():
            raise SurveyError(f"{what} {number} is {one!r}", rule=rule)
        found.append(np.broadcast_to(places, (2, 2)))
    return found


def _lines(given: Any, what: str, middle: Floats) -> list[Line]:
    """Pairs of places in m from the middle."""
    ends = _listed(given, what, f"A {what} is a pair of places ((x, y), (x, y)) in m.", (2, 2))
    if any((one[0] == one[1]).all() for one in ends):
        raise SurveyError(f"a {what} has no length", rule="It runs from one place to another.")
    return [(one[0] - middle, one[1] - middle) for one in ends]


def _between(line: Line, middle: Floats) -> str:
    return f"from {word_place(*(line[0] + middle))} to {word_place(*(line[1] + middle))}"


def _outlets(given: Any, net: Net, area: shapely.Polygon) -> Iterable[Floats]:
    """Outlets (2, 2) in m from the middle, each end on the area, and on the triangles where these come as near as a tape."""
    rule = "An outlet is a place (x, y), or a channel of two places, in m."
    for number, ends in enumerate(_listed(given, "outlet", rule, (2,), (2, 2)), start=1):
        line = np.empty((2, 2))
        for end, point in enumerate(map(shapely.Point, ends - net.middle)):
            if (beyond := float(area.distance(point))) > REACH:
                raise SurveyError(f"outlet {number}, at {word_place(*ends[end])}, lies {word_distance(beyond)} outside the area",
                                  remedy="Check its x and y, or the corners of the area.")
            point = shapely.get_point(shapely.shortest_line(area, point), 0)
            near = net.tree.query_nearest(point, max_distance=TAPE, all_matches=False)
            on = shapely.shortest_line(net.tree.geometries[near[0]], point) if len(near) else point
            line[end] = shapely.get_coordinates(on)[0]
        yield line
