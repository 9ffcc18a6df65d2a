"""`catchments` beside drops that are let run.

Thousands of drops fall on random places of a yard. A program of its own moves each one in small steps to the lowest place within
reach, from levels alone: it knows no facets' borders, no valleys and no cuts. The share of drops that end at a sink is its share
of the area within the scatter of the sample.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
import shapely
from numpy.typing import NDArray
from scipy.spatial import Delaunay

from sitelevels import Brief, Channel, Facet, Finish, Outlet, Plane, Wall
from sitelevels.works.catchment import Catchments, catchments

Floats = NDArray[np.float64]
DROPS = 300  # a yard; nearly eight thousand over all yards
STEP = 0.03  # m
ERRORS = 4.5  # standard errors allowed: chance of a false alarm about 1 in 150,000 for each number
TURNS = 2 * np.pi * np.arange(64) / 64
ROUND = np.column_stack([np.cos(TURNS), np.sin(TURNS)])


@dataclass
class Yard:
    """Corners in order; planes as (polygon, level at the origin, gx, gy); the numbers of the held edges."""

    corners: Floats
    planes: list[tuple[Any, float, float, float]]
    held: set[int] = field(default_factory=set)
    gullies: list[tuple[str, float, float]] = field(default_factory=list)
    channel: tuple[Floats, Floats] | None = None
    lowest: Floats | None = None  # of an outlet

    def edge(self, number: int) -> tuple[Floats, Floats]:
        return self.corners[number], self.corners[(number + 1) % len(self.corners)]


def run_down(yard: Yard, places: Floats) -> list[str]:
    """Where each drop ends: "edge 2", the name of a gully, "channel", "outlet", or "dead"."""
    ends = np.array(["" for _ in places], dtype=object)
    falls = np.array([(gx, gy) for *_, gx, gy in yard.planes])
    zero = np.array([one for _, one, *_ in yard.planes])
    borders = shapely.union_all([polygon.boundary for polygon, *_ in yard.planes])
    shapely.prepare(borders)
    sides = [yard.edge(number) for number in range(len(yard.corners))]

    def facet_of(spots: Floats) -> NDArray[np.intp]:
        """Number of the plane under each spot, −1 outside the yard."""
        found = np.full(len(spots), -1)
        for number, (polygon, *_) in enumerate(yard.planes):
            found[shapely.intersects_xy(polygon, spots[:, 0], spots[:, 1])] = number
        return found

    def edge_near(spots: Floats) -> NDArray[np.intp]:
        off = []
        for one, two in sides:
            along = np.clip((spots - one) @ (two - one) / ((two - one) @ (two - one)), 0, 1)
            off.append(np.hypot(*(spots - one - along[:, None] * (two - one)).T))
        return np.argmin(off, axis=0)

    on = facet_of(places)
    assert (on >= 0).all()
    for _ in range(4000):
        for name, x, y in yard.gullies:
            ends[(ends == "") & (np.hypot(*(places - (x, y)).T) < 0.3)] = name
        if yard.lowest is not None:
            ends[(ends == "") & (np.hypot(*(places - yard.lowest).T) < 2 * STEP)] = "outlet"
        if yard.channel is not None:
            way = (yard.channel[1] - yard.channel[0]) / np.hypot(*(yard.channel[1] - yard.channel[0]))
            ends[(ends == "") & (np.abs((places - yard.channel[0]) @ (-way[1], way[0])) < STEP)] = "channel"
        going = np.flatnonzero(ends == "")
        if not len(going):
            break
        down = -falls[on[going]] / np.hypot(*falls[on[going]].T)[:, None]
        near = shapely.distance(borders, shapely.points(places[going])) <= 1.5 * STEP
        places[going[~near]] += STEP * down[~near]
        slow, down = going[near], down[near]
        if not len(slow):
            continue
        spots = places[slow][:, None] + STEP * np.concatenate([down[:, None], np.broadcast_to(ROUND, (len(slow), 64, 2))], axis=1)
        flat = spots.reshape(-1, 2)
        own = np.repeat(on[slow], 65)
        under = facet_of(flat)
        at = np.where(under >= 0, under, own)
        level = zero[at] + (falls[at] * flat).sum(axis=1)
        crossed = edge_near(flat)
        level[(under < 0) & np.isin(crossed, list(yard.held))] = np.inf
        beyond = np.flatnonzero(under < 0)  # round the end of a held edge the nearest edge is not the one that is crossed
        ways = shapely.linestrings(np.stack([np.repeat(places[slow], 65, axis=0)[beyond], flat[beyond]], axis=1))
        for k in yard.held:
            level[beyond[shapely.intersects(shapely.LineString(sides[k]), ways)]] = np.inf
        here = zero[on[slow]] + (falls[on[slow]] * places[slow]).sum(axis=1)
        best = level.reshape(-1, 65).argmin(axis=1) + 65 * np.arange(len(slow))
        dead = level[best] > here - 1e-9
        out = ~dead & (under[best] < 0)
        ends[slow[dead]] = "dead"
        ends[slow[out]] = [f"edge {k}" for k in crossed[best[out]]]
        on_it = ~dead & ~out
        places[slow[on_it]], on[slow[on_it]] = flat[best[on_it]], under[best[on_it]]
    return [end or "dead" for end in ends]


def drops(yard: Yard, seed: int) -> Counter[str]:
    rng = np.random.default_rng(seed)
    polygon = shapely.Polygon(yard.corners)
    places = rng.uniform(polygon.bounds[:2], polygon.bounds[2:], (4 * DROPS, 2))
    return Counter(run_down(yard, places[shapely.contains_xy(polygon, *places.T)][:DROPS].copy()))


def shares(found: Catchments, yard: Yard) -> Counter[str]:
    """Areas of a result under the names that drops end with."""
    named: Counter[str] = Counter()
    for sink in found.sinks:
        if sink.kind == "free edge":
            at = shapely.Point(sink.x, sink.y)
            name = f"edge {min(range(len(yard.corners)), key=lambda k: shapely.LineString(yard.edge(k)).distance(at))}"
        else:
            name = {"dead spot": "dead", "channel": "channel", "level channel": "channel"}.get(sink.kind, sink.place)
            name = "outlet" if name.startswith("outlet at") else name
        named[name] += found.taken(sink)[0]  # type: ignore[assignment]
    return named


def assert_as_dropped(found: Catchments, yard: Yard, seed: int) -> None:
    ends, named, area = drops(yard, seed), shares(found, yard), shapely.Polygon(yard.corners).area
    assert sum(named.values()) == pytest.approx(found.finish.area, abs=1e-9)
    for name in ends.keys() | named.keys():
        share = (ends[name] + 1) / (DROPS + 2)
        scatter = ERRORS * np.sqrt(share * (1 - share) / DROPS) * area
        allowed = scatter + 2 * STEP * np.sqrt(area)
        assert named[name] == pytest.approx(ends[name] / DROPS * area, abs=allowed), (name, ends, named)


def outline(rng: np.random.Generator, kind: int) -> Floats:
    w, d = rng.uniform(4, 8), rng.uniform(3, 6)
    a, b = rng.uniform(0.4, 0.6) * w, rng.uniform(0.4, 0.6) * d
    corners = [[(0, 0), (w, 0), (w, d), (0, d)], [(0, 0), (w, 0), (w, b), (a, b), (a, d), (0, d)],
               [(0, 0), (w, 0.4), (w + 0.5, d), (-0.6, d - 0.3)]][kind]
    turn = rng.uniform(0, 2 * np.pi)
    return np.array(corners) @ np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]]) + rng.uniform(-20, 20, 2)


def planes_of(finish: Finish) -> list[tuple[Any, float, float, float]]:
    return [(facet.area, facet.plane.level - facet.plane.gx * facet.plane.at[0] - facet.plane.gy * facet.plane.at[1],
             facet.plane.gx, facet.plane.gy) for facet in finish.facets]


def brief_of(yard: Yard) -> Brief:
    """The held edges by turns as walls and closed edges."""
    held = sorted(yard.held)
    ends = [tuple(tuple(float(value) for value in end) for end in yard.edge(number)) for number in held]
    return Brief([tuple(corner) for corner in yard.corners], closed=ends[1::2],
                 walls=[Wall(f"wall {number}", *ends[number], dpc=20.0) for number in range(0, len(ends), 2)])


def some(rng: np.random.Generator, count: int, most: int) -> set[int]:
    return {int(one) for one in rng.choice(count, rng.integers(0, most + 1), replace=False)}


def inside(rng: np.random.Generator, corners: Floats) -> Floats:
    polygon = shapely.Polygon(corners).buffer(-0.4)
    while not polygon.contains(shapely.Point(place := rng.uniform(corners.min(axis=0), corners.max(axis=0)))):
        pass
    return place


@pytest.mark.parametrize("seed", range(8))
def test_one_plane(seed: int) -> None:
    rng = np.random.default_rng([1, seed])
    corners = outline(rng, seed % 3)
    finish = Finish.plane(Plane(10.0, *rng.uniform(-0.03, 0.03, 2)), corners)
    yard = Yard(corners, planes_of(finish), some(rng, len(corners), 3))
    if seed % 2:
        yard.gullies = [("gully", *(float(value) for value in inside(rng, corners)))]
    assert_as_dropped(catchments(finish, brief_of(yard), outlets=yard.gullies), yard, seed)


@pytest.mark.parametrize("seed", range(10))
def test_a_folded_floor(seed: int) -> None:
    """A net of triangles with a level drawn for each spot: ridges, valleys, hollows, ways from facet to facet.

    The corners of the yard stand high: a valley that ran right into one would leave over either edge, by a hair's breadth.
    """
    rng = np.random.default_rng([2, seed])
    corners = outline(rng, 2 * (seed % 2))
    sides = [one + rng.uniform(0.3, 0.7) * (two - one) for one, two in pairwise([*corners, corners[0]])][:seed % 5]
    spots = np.vstack([corners, *sides, *(inside(rng, corners) for _ in range(2 + seed % 4))])
    levels = 10 + spots @ rng.uniform(-0.03, 0.03, 2) + rng.uniform(-0.03, 0.03, len(spots))
    levels[:len(corners)] += 0.06
    planes, facets = [], []
    for net in Delaunay(spots).simplices:
        triangle = shapely.Polygon(spots[net])
        if triangle.area > 1e-9:
            zero, gx, gy = np.linalg.solve(np.column_stack([np.ones(3), spots[net]]), levels[net])
            planes.append((triangle, zero, gx, gy))
            facets.append(Facet(Plane(float(zero), float(gx), float(gy)), triangle))
    yard = Yard(corners, planes, some(rng, len(corners), 4))
    if seed % 3 == 0:
        yard.gullies = [("gully", *(float(value) for value in inside(rng, corners)))]
    assert_as_dropped(catchments(Finish(facets), brief_of(yard), outlets=yard.gullies), yard, seed)


@pytest.mark.parametrize("seed", range(4))
def test_a_channel(seed: int) -> None:
    rng = np.random.default_rng([3, seed])
    corners = outline(rng, 0)
    first, second = ((1 - share) * corners[one] + share * corners[two]
                     for one, two, share in ((0, 3, rng.uniform(0.3, 0.7)), (1, 2, rng.uniform(0.3, 0.7))))
    line = tuple(tuple(float(value) for value in end) for end in (first, second))
    finish = Finish.channel(line, corners, level=9.8, fall=rng.uniform(0, 0.01), left=rng.uniform(0.01, 0.03),
                            right=rng.uniform(0, 0.03))
    yard = Yard(corners, planes_of(finish), some(rng, 4, 2), channel=(first, second))
    assert len(Channel(line).parts(corners)) == 2
    assert_as_dropped(catchments(finish, brief_of(yard)), yard, seed)


@pytest.mark.parametrize("seed", range(4))
def test_an_outlet(seed: int) -> None:
    rng = np.random.default_rng([4, seed])
    corners = outline(rng, 2 * (seed % 2))
    lowest = inside(rng, corners)
    point = (float(lowest[0]), float(lowest[1]))
    finish = Finish.outlet(point, corners, level=9.9, perimeter=9.95)
    yard = Yard(corners, planes_of(finish), some(rng, 4, 2), lowest=lowest)
    assert len(Outlet(point).parts(corners)) == 4
    found = catchments(finish, brief_of(yard))
    assert shares(found, yard)["outlet"] == pytest.approx(finish.area, abs=1e-9)
    assert_as_dropped(found, yard, seed)
