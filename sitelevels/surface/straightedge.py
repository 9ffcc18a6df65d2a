"""The straightedge: the greatest gap under a bar laid anywhere on the surface, in any direction."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray

from ..errors import SurveyError, finite, finite_list, must_be
from ..wording import InWords, word_distance, word_mm, word_place
from .draws import covariance_of, root_of, standard
from .facet import polygon_of
from .finish import Finish
from .ground import OUT_OF_LINE, Ground
from .overlay import both, polygons
from .plane import Floats
from .triangles import edges_of

Place = tuple[float, float]
Measure = Callable[..., Floats]

BETWEEN = "Spots cannot see what lies between them: a hump or a hollow that no spot stood on is not in these figures."
SHORTEST, LONGEST = 0.05, 100.0  # m: no straightedge is shorter or longer
TOUCH = 1e-7  # m: how far beyond the side of the area a bar may reach, so that it can lie along it
SAME = 1e-9  # m: places along the bar that are no farther apart are one
TURN = 7.5  # degrees between the directions of the scan
PAIRED = 150  # spots: of so many, bars are laid through every two that one reaches; else along the edges of triangles
CURVED, CROSSED = 300, 4_000_000  # corners of an outline that is followed as it is; lines times sides looked at in one go
SEEDS, LAID = 1000, 10_000  # about the most spots that the scan starts from; the most bars that errors alone are laid under
KEPT = ((200, 6), (60, 8), (16, 20))  # so many of the best placings are moved about, so many times


class FitsNowhereError(SurveyError):
    """The straightedge is longer than any line in the area."""


@dataclass(frozen=True, eq=False, repr=False)
class Straightedge(InWords):
    """The greatest gap under a straightedge, and the greatest offset with both its ends held off equally.

    Made by `straightedge`.

    `gap` in m is under a bar that rests on its `contacts`: at `where` (x, y), the bar lying between `ends` along the unit vector
    `direction`. `equal_offset` in m is the distance of the surface from the line between its levels at the two `offset_ends`, at
    `offset_where`; `hump` says whether it stands above that line there. `parts` are the polygons that the bar was laid in.
    """

    ground: Ground
    length: float
    gap: float
    where: Place
    direction: Place
    ends: tuple[Place, Place]
    contacts: tuple[Place, Place]
    equal_offset: float
    offset_where: Place
    offset_ends: tuple[Place, Place]
    hump: bool
    parts: tuple[shapely.Polygon, ...]

    def sentence(self) -> str:
        """What was found, in words."""
        bar = f"a {word_distance(self.length)} straightedge"
        if max(self.gap, self.equal_offset) < SAME:
            return f"The surface is as straight as {bar} wherever it is laid. {BETWEEN}"
        gap = f"There is no gap under {bar} wherever it is laid."
        if self.gap >= SAME:
            gap = (f"The greatest gap under {bar} is {word_mm(self.gap, digits=1)}, at {word_place(*self.where)}, "
                   f"where it rests at {' and at '.join(word_place(*place) for place in self.contacts)}.")
        return (f"{gap} With equal blocks under its ends the surface is {word_mm(self.equal_offset, digits=1)} "
                f"{'too high' if self.hump else 'too low'} at worst, at {word_place(*self.offset_where)}. {BETWEEN}")

    words = property(sentence)

    def errors_alone(self, covariance: ArrayLike, *, sure: float = 0.95, runs: int = 200, seed: int = 1) -> tuple[float, float]:
        """The gap and the equal offset (m) that errors of the levels alone would show on a surface that is truly a plane.

        Parameters
        ----------
        covariance : array_like (n, n) in m², or float
            Covariance of the levels of the n spots of `ground`, or the standard deviation of each, in m. What all have in
            common, a shift or a tilt, has no effect.
        sure : float
            The share of all surveys in which errors show no more.
        runs, seed : int
            How many surveys are drawn, and what the random numbers start from.

        Raises SurveyError for a covariance that is none, a share not between nought and one, fewer than twenty runs.

        Gap and offset are each the greatest of many sums of levels with fixed weights, so what errors show alone also bounds
        how far off they put what was found. The bars are a fixed set, through spots and along sides: on 48 surfaces of 25 to 150
        spots with errors alone, they showed 2 % less than the full search on average, and 11 % less at worst.
        """
        sure = finite(sure, "the share that is sure", "It must be between nought and one.", over=0.0, under=1.0)
        gap, offset = np.quantile(self.shown_by(_draws(self.ground, covariance, runs, seed)), sure, axis=1)
        return float(gap), float(offset)

    def shown_by(self, errors: Floats) -> Floats:
        """The gap and the equal offset (2, runs), m, that errors (n, runs) in m of the levels alone show; see `errors_alone`."""
        runs = errors.shape[1]
        worst = np.zeros((2, runs))
        for part in self.parts:
            bars = _Bars(self.ground, part, self.length)
            start, way = bars.laid(*bars.lines(2 * TURN))
            every = np.arange(0, len(start), 1 + len(start) // LAID)
            for some in np.array_split(every, 1 + len(every) * runs // 10_000):
                t, spots, weights = bars.kinks(start[some], way[some])
                z = np.einsum("kmc,kmcr->rkm", weights, errors[spots]).reshape(-1, t.shape[1])
                along = np.tile(t, (runs, 1))
                for most, measure in zip(worst, MEASURES, strict=True):
                    shown = measure(along, z, np.repeat(most, len(t)))[0]
                    np.maximum(most, shown.reshape(runs, -1).max(axis=1), out=most)
        return worst


def straightedge(ground: Ground, *, length: float = 2.0, within: Any = None) -> Straightedge:
    """The greatest gap under a straightedge laid anywhere, in any direction, on the triangulated surface.

    Parameters
    ----------
    ground : Ground
        The surface as surveyed.
    length : float
        Length of the straightedge in m.
    within : list of corners (k, 2) or polygon (plan, m), or Finish, optional
        The area that the bar must lie in, besides the hull of the spots; or one facet, for across a ridge it says nothing.

    Raises SurveyError for a length that is none, an area without spots, a straightedge that fits nowhere.

    Notes
    -----
    The bar rests on two points of the profile beneath it and the gap is measured upright from the line between them, so that
    what the surface falls has no part in it. Placings over the whole area in directions every 7.5° and along all sides are
    compared, then the best are moved about until nothing is gained.

    >>> spots = [(x, y) for x in range(5) for y in range(4)]
    >>> yard = Ground(*zip(*spots), [0.0 if spot != (2, 2) else -0.006 for spot in spots])
    >>> round(straightedge(yard, length=2.0).gap, 6)
    0.006
    """
    must_be(ground, Ground, "the ground")
    rule = f"It must be from {word_distance(SHORTEST)} to {word_distance(LONGEST)}."
    length = finite(length, "the length of the straightedge", rule, least=SHORTEST, most=LONGEST)
    best: list[tuple[Floats, Floats]] = []
    parts, longest = [], 0.0
    for part in _parts(ground, within):
        bars = _Bars(ground, part, length)
        found = bars.search()
        longest = max(longest, bars.longest)
        if found:
            parts.append(part)
            best = [max(pair, key=lambda one: float(one[1][0])) for pair in zip(best, found, strict=True)] if best else found
    if not best:
        raise FitsNowhereError(f"a straightedge of {word_distance(length)} fits nowhere in the area",
                          rule=f"The longest that fits is about {word_distance(longest)}.", remedy="Use a shorter one.")
    (bar, gap), (other, offset) = best
    (deep, one, two, first, last), (off, start, end) = (
        [(float(x), float(y)) for x, y in line[:2] + np.outer(far, line[2:])]
        for line, far in ((bar, [*gap[1:4], 0, length]), (other, [offset[1], 0, length])))
    if (bar[2] if abs(bar[2]) > 1e-9 else bar[3]) < 0:  # told one way round, whichever way the bar was laid
        bar, one, two, first, last = -bar, two, one, last, first
    return Straightedge(ground, length, float(gap[0]), deep, (float(bar[2]), float(bar[3])), (first, last), (one, two),
                        float(offset[0]), off, (start, end), bool(offset[4] > 0), tuple(parts))


def gap_at(ground: Ground, first: ArrayLike, second: ArrayLike) -> float:
    """The gap in m under a bar that lies from the place `first` to `second`, each (x, y) in m, whatever its length.

    Raises SurveyError for two places that are one, and outside the hull.

    >>> round(gap_at(Ground([0, 2, 2, 0, 1], [0, 0, 2, 2, 1], [0, 0, 0, 0, -0.005]), (0, 1), (2, 1)), 6)
    0.005
    """
    must_be(ground, Ground, "the ground")
    rule = "It must be a pair (x, y) in m."
    one, two = (np.array(finite_list(place, "the end of the bar", rule, count=2)) for place in (first, second))
    length = math.dist(one, two)
    if length < SAME:
        raise SurveyError("the bar has no length", remedy="Give two places.")
    bars = _Bars(ground, shapely.Polygon(ground.hull), length)
    return float(bars.exactly(one - bars.origin, (two - one) / length, _gaps)[0])


def _parts(ground: Ground, within: Any) -> list[shapely.Polygon]:
    """The polygons that a bar must not leave."""
    hull = shapely.Polygon(ground.hull)
    areas = [facet.area for facet in within.facets] if isinstance(within, Finish) else [within]
    parts = [hull] if within is None else [part for area in areas for part in polygons(both(polygon_of(area), hull))]
    if parts:  # an outline of many corners is a curve, which a tape has no finer than this
        return [part if shapely.get_num_coordinates(part) <= CURVED else part.simplify(0.001) for part in parts]
    raise SurveyError("all spots lie outside the area", rule="Only between spots is the surface known.",
                      remedy="Check the corners of the area, or read spots in it.")


class _Bars:
    """The bars of one length in one part of the area, over the ground less its plane, near the origin."""

    def __init__(self, ground: Ground, part: shapely.Polygon, length: float) -> None:
        self.length, self.origin = length, np.array([ground.x.mean(), ground.y.mean()])
        self.flat = ground.with_levels(ground.plane_fit().residuals)
        self.places = np.column_stack([ground.x, ground.y]) - self.origin
        self.edges = np.unique(edges_of(ground.triangles), axis=0)
        self.tree = shapely.STRtree(shapely.linestrings(self.places[self.edges]))
        self.faces = shapely.STRtree(shapely.polygons(self.places[ground.triangles]))
        self.part = shapely.transform(part, lambda places: places - self.origin)
        self.room = self.part.buffer(TOUCH, join_style="mitre")
        rings = [shapely.get_coordinates(ring) for ring in (self.room.exterior, *self.room.interiors)]
        self.sides = np.concatenate([np.stack([ring[:-1], ring[1:]], axis=1) for ring in rings])
        self.longest = 0.0

    def lines(self, turn: float) -> tuple[Floats, Floats]:
        """Lines to lay bars along, a place inside and a unit vector each: through spots and places on the sides every so many
        degrees and as the sides run, through two spots, between corners of the area."""
        outline, spots = shapely.get_coordinates(self.part), self.places[:: 1 + len(self.places) // SEEDS]
        apart = max(math.sqrt(self.part.convex_hull.area / len(self.places)) / 2, self.part.length / SEEDS)
        places = np.concatenate([spots, shapely.get_coordinates(self.part.segmentize(apart))])
        places = places[shapely.intersects_xy(self.room, *places.T)]
        along = np.diff(outline, axis=0)[:36]
        angles = np.concatenate([np.radians(np.arange(0, 180, turn)), np.arctan2(along[:, 1], along[:, 0]) % math.pi])
        ways = np.column_stack([np.cos(angles), np.sin(angles)])
        two = self.places[self.edges[:: 1 + len(self.edges) // SEEDS]]
        if len(self.places) <= PAIRED:
            two = self.places[np.column_stack(np.triu_indices(len(self.places), 1))]
            two = two[np.hypot(*(two[:, 1] - two[:, 0]).T) < self.length]
        corners = outline[:: 1 + len(outline) // 60]
        two = np.concatenate([two, corners[np.column_stack(np.triu_indices(len(corners), 1))]])
        run = two[:, 1] - two[:, 0]
        size = np.hypot(*run.T)[:, None]
        run, two = run[size[:, 0] > 0] / size[size[:, 0] > 0], two[size[:, 0] > 0, 0]
        return np.concatenate([np.repeat(places, len(ways), axis=0), two]), np.concatenate([np.tile(ways, (len(places), 1)), run])

    def chord(self, seed: Floats, way: Floats) -> tuple[Floats, Floats]:
        """How far each line stays inside behind and ahead of its seed, m; nought both where the seed lies outside."""
        if len(seed) > (most := max(CROSSED // len(self.sides), 1)):
            parts = [self.chord(seed[some:some + most], way[some:some + most]) for some in range(0, len(seed), most)]
            low, high = (np.concatenate(one) for one in zip(*parts, strict=True))
            return low, high
        aside, ahead = np.zeros((2, len(seed), len(self.sides), 2))
        for end in (0, 1):
            (x, y), (dx, dy) = (self.sides[:, end] - seed[:, None]).transpose(2, 0, 1), way.T[..., None]
            aside[..., end], ahead[..., end] = dx * y - dy * x, dx * x + dy * y
        cut = (aside[..., 0] < 0) != (aside[..., 1] < 0)
        share = np.divide(aside[..., 0], aside[..., 0] - aside[..., 1], out=np.zeros(cut.shape), where=cut)
        far = ahead[..., 0] + (ahead[..., 1] - ahead[..., 0]) * share
        inside = (cut & (far > 0)).sum(axis=1) % 2 == 1
        low, high = np.where(cut & (far <= 0), far, -np.inf).max(axis=1), np.where(cut & (far > 0), far, np.inf).min(axis=1)
        return np.where(inside, low, 0.0), np.where(inside, high, 0.0)

    def laid(self, seed: Floats, way: Floats) -> tuple[Floats, Floats]:
        """Starts and directions of bars that begin, halve or end at each seed."""
        low, high = self.chord(seed, way)
        self.longest = float((high - low).max())
        fits = high - low >= self.length
        seed, way, low, high = seed[fits], way[fits], low[fits], high[fits] - self.length
        starts = [seed + np.clip(-share * self.length, low, high)[:, None] * way for share in (0.0, 0.5, 1.0)]
        return np.concatenate(starts), np.tile(way, (3, 1))

    def kinks(self, start: Floats, way: Floats, reach: float = 1e-6) -> tuple[Floats, NDArray[np.intp], Floats]:
        """Where the profile under each bar bends: how far along (k, m), in order, and the three spots and weights there. `reach`
        is how far beyond the end of an edge still counts as on it. Rows are filled up by their last place."""
        count, end = len(start), start + self.length * way
        low, high = np.minimum(start, end) - reach, np.maximum(start, end) + reach
        bar, edge = self.tree.query(shapely.box(*low.T, *high.T))
        one, two = self.edges[edge].T
        off, side = self.places[one] - start[bar], self.places[two] - self.places[one]
        across = way[bar, 0] * side[:, 1] - way[bar, 1] * side[:, 0]
        size = np.hypot(*side.T)
        with np.errstate(divide="ignore", invalid="ignore"):
            t = (off[:, 0] * side[:, 1] - off[:, 1] * side[:, 0]) / across
            share = (off[:, 0] * way[bar, 1] - off[:, 1] * way[bar, 0]) / across
            met = (np.abs(across) > 1e-9 * size) & (t > 0) & (t < self.length) & (np.abs(share - 0.5) <= 0.5 + reach / size)
        one, two, share = one[met], two[met], np.clip(share[met], 0, 1)
        bars, ts = np.append(bar[met], [*range(count)] * 2), np.append(t[met], np.repeat([0, self.length], count))
        order, number = np.lexsort((ts, bars)), np.bincount(bars)
        last = np.cumsum(number)[:, None]
        index = order[np.minimum(last - number[:, None] + np.arange(number.max()), last - 1)]
        spots, weights = self.weights(np.concatenate([start, end]))
        return (ts[index], np.concatenate([np.stack([one, two, two], axis=1), spots])[index],
                np.concatenate([np.stack([1 - share, share, 0 * share], axis=1), weights])[index])

    def weights(self, places: Floats) -> tuple[NDArray[np.intp], Floats]:
        """The corners of the triangle at each place and the share of each in the level there."""
        place, face = self.faces.query(shapely.points(places), predicate="dwithin", distance=1e-6)
        found = np.zeros(len(places), dtype=np.intp)
        found[place] = face
        spots = self.flat.triangles[found]
        off = self.places[spots] - places[:, None]
        after, then = np.roll(off, -1, axis=1), np.roll(off, -2, axis=1)
        doubled = np.maximum(after[..., 0] * then[..., 1] - after[..., 1] * then[..., 0], 0)
        return spots, doubled / doubled.sum(axis=1, keepdims=True)

    def measured(self, start: Floats, way: Floats, measures: Sequence[Measure]) -> Floats:
        """What each measure says of each bar on the triangles, (measures, 5, k)."""
        found = np.zeros((len(measures), 5, len(start)))
        for some in np.array_split(np.arange(len(start)), 1 + len(start) // 2000):
            t, spots, weights = self.kinks(start[some], way[some])
            z = (self.flat.level[spots] * weights).sum(axis=-1)
            found[..., some] = [measure(t, z) for measure in measures]
        return found

    def exactly(self, start: Floats, way: Floats, measure: Measure) -> Floats:
        """What `measure` says of one bar with the levels that the ground itself gives, slivers along its hull and all."""
        t = self.kinks(start[None], way[None], OUT_OF_LINE)[0]
        x, y = (start + self.origin)[:, None] + way[:, None] * t
        return measure(t, self.flat.level_at(x, y)[None])[:, 0]

    def search(self) -> list[tuple[Floats, Floats]]:
        """For gap and offset, the bar (x, y, dx, dy) that shows most and what it shows (5,)."""
        starts, ways = self.laid(*self.lines(TURN))
        if not len(starts):
            return []
        angle = np.arctan2(ways[:, 1], ways[:, 0]) % math.pi
        alike = np.column_stack([(starts + ways * self.length / 2) // (self.length / 10), angle // (math.pi / 12)])
        answer = []
        for measure, scanned in zip(MEASURES, self.measured(starts, ways, MEASURES), strict=True):
            order = np.argsort(-scanned[0], kind="stable")[: 20 * KEPT[0][0]]
            order = order[np.sort(np.unique(alike[order], axis=0, return_index=True)[1])]  # the best of those nearly alike
            start, way, found = starts[order], ways[order], scanned[:, order]
            step, draw = np.full(len(order), self.length / 10), np.random.default_rng(0)
            for count, times in KEPT:
                kept = np.argsort(-found[0], kind="stable")[:count]
                start, way, step, found = start[kept], way[kept], step[kept], found[:, kept]
                for _ in range(times):
                    self.move(start, way, step, found, measure, draw)
            exact = [self.exactly(*bar, measure) for bar in zip(start, way, strict=True)]
            best = int(np.argmax([one[0] for one in exact]))
            answer.append((np.concatenate([start[best] + self.origin, way[best]]), exact[best]))
        return answer

    def move(self, start: Floats, way: Floats, step: Floats, found: Floats, measure: Measure, draw: np.random.Generator) -> None:
        """Turn each bar about its ends, contacts, middle and deepest place, slide, shift it by a step, where that is better."""
        on = np.flatnonzero(step > 1e-5)
        if not len(on):
            return
        size, middle, none = step[on], np.full(len(on), self.length / 2), np.zeros(len(on))
        by = size / middle
        moves = [(pivot, sign * by, none, none) for pivot in (middle, none, 2 * middle, *found[1:4, on]) for sign in (-1, 1)]
        moves += [(middle, none, sign * size, none) for sign in (-1, 1)] + [(middle, none, none, sign * size) for sign in (-1, 1)]
        moves += [(middle, *(draw.uniform(-1, 1, (3, len(on))) * [by, size, size])) for _ in range(4)]
        pivot, turn, slide, shift = np.array(moves).transpose(1, 0, 2).reshape(4, -1)  # all bars for the first move, and so on
        (dx, dy), cos, sin = np.tile(way[on].T, len(moves)), np.cos(turn), np.sin(turn)
        seeds = np.tile(start[on], (len(moves), 1)) + np.stack([pivot * dx - shift * dy, pivot * dy + shift * dx], axis=1)
        ways = np.stack([cos * dx - sin * dy, sin * dx + cos * dy], axis=1)
        low, high = self.chord(seeds, ways)
        fits = high - low >= self.length
        starts = seeds + np.clip(slide - pivot, low, np.maximum(high - self.length, low))[:, None] * ways
        tried = np.full((5, len(fits)), -1.0)
        tried[:, fits] = self.measured(starts[fits], ways[fits], [measure])[0]
        best = tried[0].reshape(-1, len(on)).argmax(axis=0) * len(on) + np.arange(len(on))
        better = tried[0, best] > found[0, on]
        step[on] *= np.where(better, 1.2, 0.4)
        on, best = on[better], best[better]
        start[on], way[on], found[:, on] = starts[best], ways[best], tried[:, best]


def _gaps(t: Floats, z: Floats, over: Any = -1.0) -> Floats:
    """The greatest gap below the concave hull of each profile (k, m), where it is, the two contacts, and −1: (5, k)."""
    found = np.zeros((5, len(t)))
    found[1], found[3], found[4] = t[:, -1] / 2, t[:, -1], -1.0
    off = z - z[:, :1] - (z[:, -1:] - z[:, :1]) * (t / t[:, -1:])
    rows = np.flatnonzero(off.max(axis=1) - off.min(axis=1) > over)  # no gap can be more than that
    t, z, at = t[rows], z[rows], np.zeros(len(rows), dtype=np.intp)
    while len(rows):  # from contact to contact by the steepest way up, all profiles at once
        every = np.arange(len(rows))
        run, rise = t - t[every, at][:, None], z - z[every, at][:, None]
        slope = np.divide(rise, run, out=np.full(run.shape, -np.inf), where=run > SAME)
        to = slope.argmax(axis=1)
        depth = np.where((run > 0) & (run < run[every, to][:, None]), slope[every, to][:, None] * run - rise, 0.0)
        deepest = depth.argmax(axis=1)
        depth = depth[every, deepest]
        more = depth > found[0, rows]
        found[:4, rows[more]] = np.stack([depth, t[every, deepest], t[every, at], t[every, to]])[:, more]
        on = t[every, to] < t[:, -1] - SAME
        rows, at, t, z = rows[on], to[on], t[on], z[on]
    return found


def _offsets(t: Floats, z: Floats, over: Any = 0.0) -> Floats:
    """The greatest distance of each profile (k, m) from the line between its ends, where, the ends, and 1 for a hump: (5, k)."""
    off, every = z - z[:, :1] - (z[:, -1:] - z[:, :1]) * (t / t[:, -1:]), np.arange(len(t))
    most = np.abs(off).argmax(axis=1)
    return np.stack([np.abs(off[every, most]), t[every, most], t[:, 0], t[:, -1], np.sign(off[every, most])])


MEASURES = (_gaps, _offsets)


def _draws(ground: Ground, covariance: ArrayLike, runs: int, seed: int) -> Floats:
    """Errors (n, runs) of the levels in m, less the plane through them, so that what is common to all has no part in them."""
    count = len(ground.x)
    plane = np.linalg.qr(np.column_stack([np.ones(count), ground.x - ground.x.mean(), ground.y - ground.y.mean()]))[0]
    rest = np.eye(count) - plane @ plane.T
    return np.asarray(root_of(rest @ covariance_of(covariance, count) @ rest) @ (rest @ standard(count, runs, seed)))
