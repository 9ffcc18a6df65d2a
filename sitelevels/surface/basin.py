"""Basins: pieces of standing water, how they fill and where they run over."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from ..errors import finite
from .flood import Drains, Indices, Standing, adjacency, flood
from .pieces import shares_above
from .plane import Floats, frozen
from .triangles import edges_of

HERE = 1e-9  # m: a corner nearer than this to a drain is its place


@dataclass(frozen=True, eq=False)
class Basin:
    """One piece of standing water, filled to where it runs over. Made by `ponding`.

    `depth` (m) at its deepest, `area` (m²), `volume` (m³) and `level` (m) when full; `place` (x, y in m) where it is deepest,
    `spill` where it runs over; `path` (k, 2) in m from the one over the other to where the water leaves the area.
    """

    depth: float
    area: float
    volume: float
    level: float
    place: tuple[float, float]
    spill: tuple[float, float]
    path: Floats = field(repr=False)
    _corners: Indices = field(repr=False)  # (k, 3) of its triangles
    _below: Floats = field(repr=False)  # (k, 3) of their corners below the level, m
    _plan: Floats = field(repr=False)  # (k,) m²

    @cached_property
    def _joins(self) -> Floats:
        """How far below the level (k,), in m, the water of the deepest place comes to each triangle."""
        _, first, corners = np.unique(self._corners, return_index=True, return_inverse=True)
        levels, corners = -self._below.reshape(-1)[first], corners.reshape(-1, 3)
        seeds = np.full(len(levels), np.inf)
        seeds[levels.argmin()] = levels.min()
        rise, _ = flood(levels, adjacency(len(levels), edges_of(corners)), seeds)
        return np.asarray(-rise[corners[np.arange(len(corners)), self._below.argmax(axis=1)]])

    def _holds(self, drop: float) -> float:
        """Volume in m³ of the water that is joined to the deepest place `drop` m below the level."""
        joined = self._joins > drop
        below = self._below[joined] - drop
        return float((shares_above(below, self._plan[joined]) * below).sum())

    def _drop(self, volume: float) -> float:
        """How far below the level, in m, so many m³ stand; halved until no number lies between."""
        volume = finite(volume, "the volume", "It must be in m³, nought or more.", least=0.0)
        less, more = 0.0, self.depth
        while volume < self.volume and less < (middle := (less + more) / 2) < more:
            less, more = (less, middle) if self._holds(middle) <= volume else (middle, more)
        return more if volume < self.volume else 0.0

    def level_after(self, volume: float) -> float:
        """Level in m to which so many m³ rise that are poured in at the deepest place of the dry basin.

        At a ridge inside the basin it waits until the neighbour is full; it never rises above `level`. Raises SurveyError for a
        volume that is negative or not finite.
        """
        return self.level - self._drop(volume)

    def depth_after(self, volume: float) -> float:
        """Depth in m at the deepest place after so many m³; see `level_after`."""
        return self.depth - self._drop(volume)


def basins_of(one: Standing, drains: Drains, datum: float) -> tuple[Basin, ...]:
    """The basins of a flood, deepest first."""
    from scipy.spatial import cKDTree
    net, (count, of, number) = one.net, one.basins
    areas, volumes = (np.bincount(number, each, minlength=count).tolist() for each in (one.areas, one.volumes))
    order = np.argsort(number, kind="stable")
    groups = np.split(order, np.cumsum(np.bincount(number, minlength=count))[:-1]) if count else []
    at_drain = np.isfinite(cKDTree(drains.places).query(net.places, distance_upper_bound=HERE)[0]).tolist() if count else []
    parent, drain, member = one.parent.tolist(), one.drain.tolist(), of.tolist()
    found = []
    for basin, group in enumerate(groups):
        depth = one.below[group].max(axis=1)
        deepest = int(one.lowest[group[depth == depth.max()]].min())
        chain = [deepest]
        while parent[chain[-1]] >= 0:
            chain.append(parent[chain[-1]])
        leaves = [step for step, corner in enumerate(chain) if step and at_drain[corner]]  # a free edge: at its first place
        way = net.places[chain[:leaves[0] + 1]] if leaves else np.concatenate(
            [net.places[chain], drains.places[[drain[chain[-1]]]]])
        path = way + net.middle
        spill = next((step for step, corner in enumerate(chain) if member[corner] != basin), -1)
        found.append(Basin(
            float(one.water[deepest] - one.level[deepest]), areas[basin], volumes[basin], datum + float(one.water[deepest]),
            (float(path[0, 0]), float(path[0, 1])), (float(path[spill, 0]), float(path[spill, 1])), frozen(path),
            net.triangles[one.wet[group]], one.below[group], net.plan[one.wet[group]]))
    return tuple(sorted(found, key=lambda basin: -basin.depth))
