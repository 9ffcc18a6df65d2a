"""The search for the best surface among those that meet every demand: one aim after the other."""

from __future__ import annotations

import numpy as np

from ..errors import SurveyError
from ..surface.plane import Floats
from .rows import Rows, least
from .volume import Volume

CLOSE = 1e-8  # share of the volume: how near the least the search stops; a thousandth would do for a spade
SHALLOW = 1e-8  # m: a mean depth below which nothing is worth saving
DIGITS = 1e-9  # m or m/m: room for the last binary digits where limits meet in a point
STAY = 1e-6  # of an aim, m/m or m for each m: what moving a corner must gain, so that what does not matter stays where it is
TRIES = 12  # of surfaces that serve an aim, before the present one stays
MOST_CUTS = 300  # of the convex volume; some thirty are usual


class Search:
    """One aim after the other: each is brought to its least, and held there while the next one is.

    The unknowns `x` are those of the surface and, after them, how far each wish is missed.
    """

    def __init__(self, rows: Rows, volume: Volume) -> None:
        self.n = len(rows.base)
        self.volume = volume
        self.a, self.b = rows.upper(np.ones(len(rows.a), dtype=bool))
        self.cuts: list[tuple[Floats, float]] = []
        self.most: float | None = None
        missed, self.x = rows.nearest(np.ones(len(rows.demands), dtype=bool))
        self.b = self.b + missed + DIGITS

    def come_near(self, a: Floats, wanted: Floats) -> None:
        """The least sum of |a x − wanted|; nothing where nothing is wanted."""
        if not len(wanted):
            return
        self._widen(len(wanted))
        missed = -np.eye(self.a.shape[1])[-len(wanted):]
        for sign in (1.0, -1.0):
            self._limit(sign * self._padded(a) + missed, sign * wanted)
        self._settle(-missed.sum(axis=0))

    def flattest(self, gradients: Floats) -> None:
        """The least of the greatest gradient (k, n)."""
        self._widen(1)
        steepest = np.eye(self.a.shape[1])[-1]
        self._limit(self._padded(gradients) - steepest, np.zeros(len(gradients)))
        self._settle(steepest)

    def highest(self, level: Floats) -> None:
        """The highest mean level, as a row (n,)."""
        self._settle(-self._padded(level[None, :])[0])

    def least_volume(self) -> None:
        """The least volume, between the tangents found so far and the best surface found so far."""
        reach = 1.0
        middle = self.x[:self.n]
        goal = np.append(np.zeros(self.a.shape[1]), 1.0)
        best = self._cut(middle)
        for _ in range(MOST_CUTS):
            a, b = self._with_cuts(np.column_stack([self.a, np.zeros(len(self.b))]), self.b, -1.0, 0.0)
            box = [*((one - reach, one + reach) for one in middle), *[(None, None)] * (len(goal) - self.n)]
            found = least(goal, a, b, box)
            if found is None:  # there is no room but for the surface that is there
                break
            moved_ = self._cut(found[:self.n])
            if moved_ < best:
                best, self.x = moved_, found[:-1]
            if best - found[-1] <= CLOSE * best + self._nothing:
                if np.abs(self.x[:self.n] - middle).max() < 0.999 * reach:
                    break
                middle, reach = self.x[:self.n], 4 * reach  # the least may lie farther out
        else:
            raise SurveyError("the least volume was not found", rule=f"{MOST_CUTS} tries are made.",
                              remedy="Look for a level or a position with a digit or a unit too many.")
        self.most = best

    @property
    def _nothing(self) -> float:
        return SHALLOW * float(self.volume.plan.sum())

    def _cut(self, x: Floats) -> float:
        """The volume at x; its tangent there is kept."""
        moved_, slope = self.volume(x)
        self.cuts.append((slope, moved_ - float(slope @ x)))
        return moved_

    def _with_cuts(self, a: Floats, b: Floats, last: float, most: float) -> tuple[Floats, Floats]:
        """Limits with those of all tangents: slope · x + start + last · (the last unknown) ≤ most."""
        slopes = np.zeros((len(self.cuts), a.shape[1]))
        slopes[:, :self.n] = [slope for slope, _ in self.cuts]
        slopes[:, -1] += last
        return np.vstack([a, slopes]), np.concatenate([b, [most - start for _, start in self.cuts]])

    def _widen(self, extra: int) -> None:
        self.a = np.column_stack([self.a, np.zeros((len(self.b), extra))])
        self.x = np.append(self.x, np.zeros(extra))

    def _padded(self, a: Floats) -> Floats:
        return np.column_stack([a, np.zeros((len(a), self.a.shape[1] - self.n))])

    def _limit(self, a: Floats, b: Floats) -> None:
        self.a, self.b = np.vstack([self.a, a]), np.concatenate([self.b, b])

    def _settle(self, cost: Floats) -> None:
        """Bring cost · x to its least without moving more than the least volume, if that is found yet, and hold it there.

        Of surfaces that serve the aim as well, one near the present is taken. Where no room is left, to the last digits or as
        far as some more tangents show, the present one stays.
        """
        width, n = self.a.shape[1], self.n
        near = np.block([[sign * np.eye(n, width), -np.eye(n)] for sign in (1.0, -1.0)])
        here = np.concatenate([self.x[:n], -self.x[:n]])
        goal = np.concatenate([cost, np.full(n, 0.0 if self.most is None else STAY)])
        for _ in range(TRIES):
            a, b = (self.a, self.b) if self.most is None else self._with_cuts(self.a, self.b, 0.0, self.most)
            found = least(goal, np.vstack([np.column_stack([a, np.zeros((len(b), n))]), near]), np.concatenate([b, here]))
            if found is None:
                return
            moved_ = 0.0 if self.most is None else self._cut(found[:n])
            if self.most is None or moved_ <= self.most * (1 + 10 * CLOSE) + 2 * self._nothing:
                self.x = found[:width]
                self.most = None if self.most is None else max(self.most, moved_)
                self._limit(cost[None, :], np.array([float(cost @ self.x) + DIGITS]))
                return
