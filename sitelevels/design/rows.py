"""The demands of a brief as linear conditions on the few unknowns of a shape, and the linear programmes on them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from ..errors import SurveyError
from ..surface.facet import Facet
from ..surface.finish import Finish
from ..surface.plane import Floats, Plane
from ..surface.shapes import Part, Shape, facets_of
from .asked import asked_of
from .brief import Brief
from .check import certainty_of
from .conditions import Condition, Demand
from .propagation import LevelErrors

SAME = 2e-7  # m or m/m: a limit broken by less is kept; `check_finish` forgives five times as much
STEEP = 1 / 20  # m/m: the steepest walking surface that is no ramp
TANGENTS = 32  # sides of the polygon inside the circle of greatest gradients: at most 0.5 % cautious
INSIDE = float(np.cos(np.pi / TANGENTS))
Bools = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Rows:
    """What a brief demands of a shape: each row of `a` (m, n) times the unknowns lies between `low` and `high` (m,).

    The unknowns are shifted and scaled so that nought is a level surface and one moves no corner of the area by more than
    1 m: unknowns = base + x / scale. `owner` (m,) is the number of the demand that a row belongs to, `of` its condition, `part`
    the number of its part, `share` (m,) how much of a limit's change it feels: less than one on the tangents of a greatest
    gradient.
    """

    brief: Brief
    shape: Shape
    parts: tuple[Part, ...]
    demands: tuple[Demand, ...]
    base: Floats
    scale: Floats
    a: Floats
    low: Floats
    high: Floats
    owner: NDArray[np.intp]
    of: tuple[Condition, ...]
    part: tuple[int, ...]
    share: Floats

    def finish(self, x: Floats) -> Finish:
        """The surface for scaled unknowns (n,)."""
        return Finish(facets_of(self.parts, self.base + x / self.scale))

    def upper(self, rows: Bools) -> tuple[Floats, Floats]:
        """The two sides of some rows (m,) as `a x <= b`."""
        below, above = rows & np.isfinite(self.high), rows & np.isfinite(self.low)
        return np.concatenate([self.a[below], -self.a[above]]), np.concatenate([self.high[below], -self.low[above]])

    def given(self, number: int, limit: str) -> tuple[Floats, Floats]:
        """How much low and high (m,) of each row give for a change of one limit of a demand."""
        mine = self.share * (self.owner == number)
        return (mine * [limit in condition.low_of.split() for condition in self.of],
                mine * [limit in condition.high_of.split() for condition in self.of])

    def eased(self, number: int, limit: str, by: float) -> Rows:
        """The same with one limit of a demand `by` m or m/m easier."""
        low, high = self.given(number, limit)
        return replace(self, low=self.low - by * low, high=self.high + by * high)

    def guarded(self, errors: LevelErrors, steep: float = STEEP) -> Rows:
        """The same with every limit drawn in by k·u, but those of demands for which that would leave no room at all.

        A taped position counts as on a surface that falls by `steep` m/m.
        """
        flat = self.finish(np.zeros(len(self.base)))
        sloping = {facet: Facet(Plane(0.0, -steep, 0.0), facet.area, facet.towards, facet.along) for facet in flat.facets}
        asked = [(condition, sloping[flat.facets[part]]) for condition, part in zip(self.of, self.part, strict=True)]
        give = errors.budget.k * certainty_of(asked, flat, errors).u * self.share
        none = (self.share < 1) & (give > self.high)  # of a greatest gradient: a true fall is never less than nought
        finer = np.unique(self.owner[none | (2 * give > self.high - self.low)])
        give = np.where(np.isin(self.owner, finer), 0.0, give)
        return replace(self, low=self.low + give, high=self.high - give)

    def broken(self, x: Floats) -> Floats:
        """By how much each demand (k,) is broken, m or m/m; nought or less where it is met."""
        found = self.a @ x
        worst = np.full(len(self.demands), -np.inf)
        np.maximum.at(worst, self.owner, np.maximum(self.low - found, found - self.high))
        return worst

    def nearest(self, keep: Bools) -> tuple[float, Floats]:
        """The least by which the worst kept of some demands (k,) must be broken, m or m/m, and unknowns (n,) that do so.

        Raises SurveyError, in words, where HiGHS finds none.
        """
        a, b = self.upper(keep[self.owner])
        n = len(self.base)
        if not len(b):
            return 0.0, np.zeros(n)
        found = least(np.append(np.zeros(n), 1.0), np.column_stack([a, -np.ones(len(b))]), b, [(None, None)] * n + [(0.0, None)])
        if found is None:
            raise SurveyError("no surface could be worked out from these demands",
                              rule="Levels, limits and positions that differ a millionfold cannot be weighed against each other.",
                              remedy="Look for one with a digit or a unit too many.")
        return float(found[n]), found[:n]


def least(cost: Floats, a: Floats, b: Floats, bounds: Any = (None, None)) -> Floats | None:
    """The x (n,) of least cost · x with a x ≤ b, by HiGHS; None where there is none."""
    from scipy.optimize import linprog
    found = linprog(cost, A_ub=a, b_ub=b, bounds=bounds, method="highs",
                    options={"primal_feasibility_tolerance": 1e-9, "dual_feasibility_tolerance": 1e-9})
    return None if found.x is None else np.asarray(found.x, dtype=float)


def rows_of(brief: Brief, shape: Shape, level: float) -> Rows:
    """What a brief demands of a shape that will lie at about `level` m.

    Raises SurveyError where the shape does not suit the area, or a demand does not suit the shape.
    """
    parts = shape.parts(brief.area)
    base = shape.flat(level)
    finish = Finish(facets_of(parts, base))
    demands, asked = asked_of(finish, brief)
    held = [(number, place, *row) for number, condition, facet in asked for place in [finish.facets.index(facet)]
            for row in _linear(condition, facet, parts[place])]
    owner, part, rows, low, high, share, of = zip(*held, strict=True) if held else ((),) * 7
    a = np.array(rows).reshape(-1, len(base))
    shift = a @ base
    scale = np.max([np.abs(moved(part, *shapely.get_coordinates(part.area).T)).max(axis=0) for part in parts], axis=0)
    return Rows(brief, shape, parts, demands, base, scale, a / scale, np.array(low) - shift, np.array(high) - shift,
                np.array(owner, dtype=np.intp), of, part, np.array(share))


def moved(part: Part, x: Any, y: Any) -> Floats:
    """How each unknown moves the level at places (k,) of a part: (k, n)."""
    return np.stack([np.ones_like(x), x - part.origin[0], y - part.origin[1]], axis=-1) @ part.basis


def _linear(condition: Condition, facet: Facet, part: Part) -> Iterator[tuple[Floats, float, float, float, Condition]]:
    """A condition on a facet as rows on the unknowns, with their limits and how much of a change of these they feel.

    A greatest gradient is one condition for each of the directions in which it is held.
    """
    low, high = condition.ends
    if condition.at is not None:
        x, y = map(np.array, condition.at)
        yield condition.sign * moved(part, x, y), low - condition.constant, high - condition.constant, 1.0, condition
    elif (way := condition.way_on(facet)) is not None:
        length = float(np.hypot(*way))
        yield -(way[0] * part.basis[1] + way[1] * part.basis[2]) / length, low, high, 1.0, condition
    elif high < np.inf:
        for tangent, (x, y) in zip(tangents(part), _round(), strict=True):
            yield tangent, -np.inf, high * INSIDE, INSIDE, replace(condition, toward=(-float(x), -float(y)))


def tangents(part: Part) -> Floats:
    """Gradients (TANGENTS, n) of a part in directions all round, on the unknowns."""
    return np.asarray(_round() @ part.basis[1:])


def _round() -> Floats:
    """Directions (TANGENTS, 2) all round, evenly spaced."""
    angles = 2 * np.pi * np.arange(TANGENTS) / TANGENTS
    return np.column_stack([np.cos(angles), np.sin(angles)])
