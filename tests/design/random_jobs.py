"""Invented random jobs for trials of the solver: areas, walls, ground and demands, all drawn from one generator.

Each job is drawn round a hidden plane. It keeps what the area's outline alone says about a wall (which way is away from it, and
where along it the damp-proof course is nearest), so that trials need not ask the package.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

import numpy as np
import shapely

from sitelevels import (
    AccessCover,
    Brief,
    Clearance,
    Cover,
    FallAlong,
    FallAway,
    Ground,
    Gully,
    KeepBelow,
    Layer,
    MaxGradient,
    Meet,
    Step,
    Wall,
)

Array = Any


@dataclass(frozen=True, eq=False)
class Beside:
    """A wall as the outline has it: unit vectors away from it and along it, and places (x, y, level of the DPC), m."""

    wall: Wall
    out: Array
    along: Array
    stations: tuple[tuple[float, float, float], ...]


@dataclass(frozen=True, eq=False)
class RandomJob:
    """A brief, its ground and the hidden plane: `hidden` is its level (m) at `middle` and its gradient (m/m)."""

    brief: Brief
    ground: Ground
    walls: dict[str, Beside]
    middle: Array
    hidden: Array
    edges: dict[Any, Array]

    def with_demands(self, *demands: Any, closed: tuple[Any, ...] = ()) -> RandomJob:
        return replace(self, brief=replace(self.brief, demands=demands, closed=closed))


def outline(rng: np.random.Generator) -> Array:
    """Corners (k, 2) in m, anticlockwise: a rectangle, an L, one with a notch, or a skew quadrilateral; turned and moved."""
    w, d = rng.uniform(4.0, 12.0), rng.uniform(3.5, 9.0)
    a, b = rng.uniform(0.35, 0.65) * w, rng.uniform(0.35, 0.65) * d
    kind = rng.integers(4)
    if kind == 0:
        corners = [(0, 0), (w, 0), (w, d), (0, d)]
    elif kind == 1:
        corners = [(0, 0), (w, 0), (w, b), (a, b), (a, d), (0, d)]
    elif kind == 2:
        e = a - rng.uniform(0.15, 0.3) * w
        corners = [(0, 0), (w, 0), (w, d), (a, d), (a, b), (e, b), (e, d), (0, d)]
    else:
        corners = [(0, 0), (w, rng.uniform(-0.5, 0.5)), (w + rng.uniform(-1, 1), d), (rng.uniform(-1, 1), d + rng.uniform(-1, 1))]
    turn = rng.uniform(0, 2 * np.pi)
    turned = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    return np.array(corners, dtype=float) @ turned + rng.uniform(-50, 50, 2)


def unit(vector: Array) -> Array:
    return vector / np.hypot(*vector)


def sides(corners: Array) -> list[tuple[Array, Array, Array]]:
    """Each edge of an anticlockwise outline: its two ends and the unit vector from it into the area."""
    found = []
    for first, second in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        way = unit(second - first)
        found.append((first, second, np.array([-way[1], way[0]])))
    return found


def ends_of_slopes(shots: list[tuple[float, float]], start: float, end: float) -> list[tuple[float, float]]:
    """Both ends (distance, level) of each straight piece of a DPC between two distances: it is nearest at one of these."""
    knots = [(-1e6, shots[0][1]), *shots, (1e6, shots[-1][1])]
    found = []
    for (s, low), (e, high) in pairwise(knots):
        a, b = max(s, start), min(e, end)
        if b - a > 1e-6:
            found += [(one, low + (high - low) * (one - s) / (e - s)) for one in (a, b)]
    return found


def make_wall(rng: np.random.Generator, name: str, side: tuple[Array, Array, Array], level_at: Any, lift: float) -> Beside:
    """A wall along an edge, whole or in part, its DPC level, sloping or stepped, at least 150 mm + `lift` above the plane."""
    first, second, out = side
    length = np.hypot(*(second - first))
    start, end = (0.0, 1.0) if rng.random() < 0.7 or length < 3 else (rng.uniform(0, 0.3), rng.uniform(0.7, 1.0))
    first, second = first + start * (second - first), first + end * (second - first)
    if rng.random() < 0.5:
        first, second = second, first
    length, along = float(np.hypot(*(second - first))), unit(second - first)

    def above(s: float) -> float:
        return float(level_at(first + s * along)) + 0.15 + lift + rng.uniform(0, 0.03)
    kind, middle = rng.integers(3), float(rng.uniform(0.3, 0.7) * length)
    if kind == 0:
        one = max(above(0.0), above(length))
        shots = [(0.0, one)]
    elif kind == 1:
        shots = [(0.0, above(0.0)), (length, above(length))]
    else:
        one, two = max(above(0.0), above(middle)), max(above(middle), above(length)) + rng.choice([0.0, 0.075])
        shots = [(0.0, one), (middle, one), (middle, two), (length, two)]
    wall = Wall(name, tuple(first), tuple(second), dpc=shots[0][1] if kind == 0 else shots)
    places = tuple((*(first + s * along), level) for s, level in ends_of_slopes(shots, 0.0, length))
    return Beside(wall, out, along, places)


def place_in(rng: np.random.Generator, area: shapely.Polygon) -> Array:
    low, high = np.array(area.bounds[:2]), np.array(area.bounds[2:])
    while True:
        place = rng.uniform(low, high)
        if area.contains(shapely.Point(place)):
            return place


def bare_job(rng: np.random.Generator, *, walls: int | None = None, lift: float = 0.0) -> RandomJob:
    """Area, walls, layers and ground of a job without demands."""
    while True:
        corners = outline(rng)
        area = shapely.Polygon(corners)
        middle = np.array(area.centroid.coords[0])
        every = [side for side in sides(corners) if np.hypot(*(side[1] - side[0])) > 1.0]
        count = int(rng.integers(1, 3)) if walls is None else walls
        chosen = [every[number] for number in rng.choice(len(every), count, replace=False)]
        falls = rng.uniform(0.013, 0.03, 2)
        if count == 1:
            across = rng.uniform(-0.012, 0.012)
            out = chosen[0][2]
            gradient = -falls[0] * out - across * np.array([out[1], -out[0]])
            break
        outs = np.array([side[2] for side in chosen])
        if abs(np.linalg.det(outs)) > 0.6:  # neither side by side nor looking at each other
            gradient = -np.linalg.solve(outs, falls)
            break
    level = float(rng.uniform(40.0, 60.0))

    def level_at(place: Array) -> Array:
        return level + (np.asarray(place) - middle) @ gradient
    made = [make_wall(rng, name, side, level_at, lift) for name, side in zip(("back", "side"), chosen, strict=False)]
    layers = [Layer("flags", float(rng.uniform(0.02, 0.08))), Layer("bed", 0.04),
              Layer("sub-base", float(rng.uniform(0.0, 0.15)))]
    brief = Brief(area, walls=[one.wall for one in made], layers=layers[:rng.integers(0, 4)])
    count, (low, high) = int(rng.integers(20, 151)), np.array(area.bounds).reshape(2, 2)
    reach = rng.choice([0.6, 1.1, 1.3], p=[0.15, 0.55, 0.3]) / 2  # of the extent: some grounds cover part of the area only
    spots = (low + high) / 2 + rng.uniform(-reach, reach, (count, 2)) * (high - low)
    tilt, waves = rng.normal(0, 0.015, 2), rng.uniform(0.3, 1.5, 2)
    lie = rng.normal(0.0, 0.06) + (spots - middle) @ tilt + 0.05 * np.sin((spots - middle) @ waves) + rng.normal(0, 0.01, count)
    ground = Ground(*spots.T, level_at(spots) - brief.build_up + lie)
    edges = {(tuple(map(float, first)), tuple(map(float, second))): out for first, second, out in sides(corners)}
    return RandomJob(brief, ground, {one.wall.name: one for one in made}, middle, np.array([level, *gradient]), edges)


def demand_on(rng: np.random.Generator, job: RandomJob, kind: str, name: str, spoil: float = 0.0) -> Any:
    """A demand of a kind that the hidden plane meets; or may break by as much as `spoil` m, or a third of it in m/m."""
    level, gradient = job.hidden[0], job.hidden[1:]
    beside = job.walls[str(rng.choice(list(job.walls)))]
    away, along = -gradient @ beside.out, -gradient @ beside.along
    off = rng.uniform(-spoil, spoil)
    tight = max(0.0, float(rng.uniform(-0.3, 1.0)))  # nought now and then: the hidden plane is at the limit

    def spot(up: float) -> tuple[str, float, float, float]:
        place = place_in(rng, job.brief.area)
        return (name, *map(float, place), float(level + (place - job.middle) @ gradient + up + off))
    if kind == "clearance":
        return Clearance(beside.wall.name, 0.15 + max(off, 0.0))
    if kind == "away":
        least = max(0.0, away - 0.008 * tight + off / 3)
        target = least + rng.uniform(0, 0.012) if rng.random() < 0.6 else None
        most = max(away, target or 0.0, least) + rng.uniform(0, 0.01) if rng.random() < 0.4 else None
        return FallAway(beside.wall.name, least, target, most)
    if kind == "along":
        return FallAlong(beside.wall.name, max(abs(along) + 0.008 * tight - abs(off) / 3, 0.0))
    if kind == "gradient":
        return MaxGradient(float(np.hypot(*gradient)) * (1.01 + 0.4 * tight) - abs(off) / 4)
    if kind == "meet":
        within = float(rng.uniform(0.003, 0.02))
        return Meet([spot(within * rng.uniform(-0.95, 0.95)) for _ in range(rng.integers(1, 4))], within)
    if kind == "access":
        within, lower, higher = rng.uniform(0.002, 0.01), rng.uniform(0, 0.02), rng.uniform(0, 0.02)
        return AccessCover([spot(rng.uniform(-within - higher, within + lower))], within, lower, higher)
    if kind == "step":
        rise, up = rng.uniform(0.06, 0.2), rng.random() < 0.3
        return Step([spot(-rise if up else rise)], rise - 0.03 * tight, rise + rng.uniform(0, 0.03), up)
    if kind == "cover":
        least = rng.uniform(0.08, 0.2)
        return Cover([spot(-least - 0.05 * tight)], least)
    if kind == "below":
        by = rng.uniform(0.03, 0.1)
        return KeepBelow(spot(by + 0.05 * tight), by)
    assert kind == "gully"
    proud = (0.003, float(rng.uniform(0.006, 0.015)))
    return Gully(spot(-rng.uniform(*proud)), proud)


KINDS = ("clearance", "away", "along", "gradient", "meet", "access", "step", "cover", "below", "gully")


def solvable_job(rng: np.random.Generator) -> RandomJob:
    """A job of 4 to 12 demands that its hidden plane meets."""
    job = bare_job(rng)
    count = int(rng.integers(4, 13))
    kinds = ["clearance", "away", *rng.choice(KINDS, count - 2, p=np.array([1, 2, 1, 1, 1, 1, 2, 2, 2, 1]) / 14)]
    demands = dict.fromkeys(demand_on(rng, job, kind, f"P{number}") for number, kind in enumerate(kinds))
    closed = [ends for ends, out in job.edges.items() if -job.hidden[1:] @ out > 0]
    return job.with_demands(*demands, closed=tuple(closed[:1]) if closed and rng.random() < 0.3 else ())


def quarrelling_job(rng: np.random.Generator, *, parted: bool) -> RandomJob:
    """A job of at most 8 demands that may fight; `parted`: with two quarrels planted that share no demand."""
    job = bare_job(rng, walls=2 if parted else None)
    demands: list[Any] = []
    if parted:
        (x, y), (u, v) = place_in(rng, job.brief.area), place_in(rng, job.brief.area)
        level, grip = job.hidden[0], rng.uniform(0.005, 0.03, 3)
        demands = [Cover([("duct", x, y, level - 0.1)], 0.12), KeepBelow(("vent", x, y, level + 0.1), float(0.08 + grip[0])),
                   Meet([("old", u, v, level + 0.05)], 0.006), Gully(("gully", u, v, float(level + 0.03 - grip[1])))]
        if rng.random() < 0.5:
            demands = demands[:2]
            one, two = job.walls["back"], job.walls["side"]
            if abs(one.along @ two.out) > 0.99:  # what falls away from one falls along the other
                demands += [FallAlong("back", 0.006), FallAway("side", float(0.0125 + grip[2] / 10))]
    kinds = rng.choice(KINDS, int(rng.integers(5, 9)) - len(demands))
    for number, kind in enumerate(kinds):
        spoil = 0.0 if parted else float(rng.choice([0.0, 0.03, 0.06]))
        demands.append(demand_on(rng, job, str(kind), f"P{number}", spoil=spoil))
    places = rng.permutation(len(demands))
    return job.with_demands(*dict.fromkeys(demands[place] for place in places))
