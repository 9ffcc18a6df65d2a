"""Planes, and the plane that fits measured levels best."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import cached_property
from numbers import Real
from typing import Any, overload

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from ..errors import SurveyError, must_be
from ..wording import word_angle, word_fall, word_mm, word_place

Floats = NDArray[np.float64]

FARTHEST = 1e9  # m: no grid on earth has a coordinate so large
THIN = 1e-6  # spots whose band is narrower than this share of its length lie in a line
NOTHING = 1e-6  # m: a residual of a thousandth of a millimetre is rounding
SUSPECT = 0.05  # chance, shared over all spots (Bonferroni), below which a residual is suspected


def frozen(values: ArrayLike) -> Floats:
    """A read-only copy as floats."""
    array = np.array(values, dtype=np.float64)
    array.setflags(write=False)
    return array


def plan_places(x: ArrayLike, y: ArrayLike) -> tuple[Floats, Floats]:
    """Plan positions as two float arrays of one shape; SurveyError for what is no finite number, and for unlike shapes."""
    try:
        xs, ys = np.broadcast_arrays(np.asarray(x, float), np.asarray(y, float))
    except (TypeError, ValueError, OverflowError):
        raise SurveyError("a position is not a number, or x and y differ in number", rule="x and y are in m.") from None
    if not (np.isfinite(xs).all() and np.isfinite(ys).all()):
        raise SurveyError("a position is not a finite number", rule="x and y are in m.")
    return xs, ys


@dataclass(frozen=True)
class Plane:
    """A plane: `level` in m at the plan point `at` (m), gradients `gx`, `gy` in m/m, positive uphill along x and y.

    >>> yard = Plane(10.0, 0.0, -1 / 60)
    >>> round(yard.level_at(2.0, 3.0), 3), yard.direction
    (9.95, (0.0, 1.0))
    """

    level: float
    gx: float
    gy: float
    at: tuple[float, float] = (0.0, 0.0)

    def __post_init__(self) -> None:
        for name, value in (("level", self.level), ("gx", self.gx), ("gy", self.gy), ("at", self.at)):
            try:
                finite = bool(np.isfinite(np.asarray(value, dtype=float)).all())
            except (TypeError, ValueError, OverflowError):
                finite = False
            if not finite:
                raise SurveyError(f"the plane's {name} is {value!r}", rule="It must be a finite number.")

    @overload
    def level_at(self, x: float, y: float) -> float: ...
    @overload
    def level_at(self, x: ArrayLike, y: ArrayLike) -> Any: ...
    def level_at(self, x: ArrayLike, y: ArrayLike) -> Any:
        """Level in m at x, y in m: a float for a point, an array for arrays."""
        xs, ys = plan_places(x, y)
        level = self.level + self.gx * (xs - self.at[0]) + self.gy * (ys - self.at[1])
        return float(level) if np.ndim(level) == 0 else level

    @property
    def fall(self) -> float:
        """The true (greatest) fall, m/m, never negative."""
        return math.hypot(self.gx, self.gy)

    @property
    def direction(self) -> tuple[float, float]:
        """Unit vector (dx, dy) in plan of the steepest way down; (0.0, 0.0) for a level plane."""
        if self.fall == 0:
            return (0.0, 0.0)
        return (0.0 - self.gx / self.fall, 0.0 - self.gy / self.fall)

    def fall_towards(self, dx: float, dy: float) -> float:
        """Fall in m/m towards the plan direction (dx, dy) of any length; positive downhill.

        Raises SurveyError for a direction of no length.
        """
        must_be(dx, Real, "dx")
        must_be(dy, Real, "dy")
        length = math.hypot(dx, dy)
        if not 0 < length < math.inf:
            raise SurveyError(f"the direction ({dx}, {dy}) has no length", remedy="Give two finite numbers, not both nought.")
        return -(self.gx * dx + self.gy * dy) / length

    def lowered(self, depth: float) -> Plane:
        """The parallel plane `depth` m below."""
        return Plane(self.level - depth, self.gx, self.gy, self.at)


@dataclass(frozen=True, eq=False)
class PlaneFit:
    """The plane of least squares through spots. Made by `fit_plane`.

    `x`, `y`, `observed` (n,) in m; `plane` stands at the centroid of the spots; `covariance` (3, 3) is of the level at
    the centroid (m²), gx and gy, or None where three spots leave nothing to judge by; `sd` is the standard deviation of a
    spot about the plane in m, from the residuals, or None; `residuals` (n,) in m, observed minus fitted, so a high spot is
    positive; `leverage` (n,), the share of a spot's own level in its fitted level; `weights` (3, n), what each spot's level
    adds to the level at the centroid, gx and gy.
    """

    x: Floats
    y: Floats
    observed: Floats
    plane: Plane
    covariance: Floats | None
    sd: float | None
    residuals: Floats
    leverage: Floats
    weights: Floats
    points: tuple[str, ...] | None
    _scaled: Floats | None = field(repr=False)  # residuals over the standard deviations given; None with a covariance
    _sd: Floats | None = field(repr=False)

    @property
    def checked(self) -> bool:
        """Whether there are spots to spare; three spots fit any plane exactly, so prove nothing."""
        return len(self.x) > 3

    def fall_sd(self, dx: float, dy: float) -> float:
        """Standard deviation in m/m of the fall towards (dx, dy). Raises SurveyError where three spots leave none."""
        self.plane.fall_towards(dx, dy)
        if self.covariance is None:
            raise SurveyError("the fall has no standard deviation", rule="Three spots fit any plane exactly.",
                              remedy="Read a fourth spot, or give the standard deviation of a level as sd.")
        way = np.array([dx, dy]) / math.hypot(dx, dy)
        return float(np.sqrt(way @ self.covariance[1:, 1:] @ way))

    @cached_property
    def studentised(self) -> Floats:
        """Externally studentised residuals (n,): each against the spread of the others; nought where that says nothing.

        A residual below a thousandth of a millimetre, or of a spot that alone fixes the plane, counts as nought; so do all
        with fewer than five spots, or where a full covariance was given.
        """
        count = len(self.x)
        telling = (np.abs(self.residuals) > NOTHING) & (self.leverage < 1 - 1e-9)
        if self._scaled is None or count < 5 or not telling.any():
            return np.zeros(count)
        squares = np.divide(self._scaled**2, 1 - self.leverage, out=np.zeros(count), where=telling)
        others = np.maximum(self._scaled @ self._scaled - squares, 1e-30 * (self._scaled @ self._scaled))
        return np.asarray(np.copysign(np.sqrt(squares / (others / (count - 4))), self.residuals))

    @property
    def suspects(self) -> pd.DataFrame:
        """A new table of spots that stand out: point residual t chance fall_without, worst first.

        Externally studentised residuals (t) against Student's t with n − 4 degrees of freedom and the Bonferroni share
        (Cook and Weisberg, Residuals and Influence in Regression, 1982, section 2.2.2); residual in m, fall_without
        is the true fall in m/m of the plane through the others. With fewer than five spots there are none.
        """
        from scipy.stats import t as student
        size = self.studentised
        count = len(size)
        chance = np.minimum(2 * student.sf(np.abs(size), count - 4) * count, 1.0) if size.any() else np.ones(count)
        lines = []
        for index in map(int, np.flatnonzero(chance < SUSPECT)):
            keep = np.arange(count) != index
            try:
                sd = None if self._sd is None else self._sd[keep]
                without = fit_plane(self.x[keep], self.y[keep], self.observed[keep], sd=sd).plane.fall
            except SurveyError:  # the others lie in a line: this spot alone gives the fall
                continue
            lines.append((name_of(self.points, index), self.residuals[index], size[index], chance[index], without))
        table = pd.DataFrame(lines, columns=["point", "residual", "t", "chance", "fall_without"])
        return table.sort_values("chance", ignore_index=True)

    @property
    def table(self) -> pd.DataFrame:
        """A new table of the spots: point x y level residual leverage (m)."""
        names = [name_of(self.points, index) for index in range(len(self.x))]
        return pd.DataFrame({"point": names, "x": self.x, "y": self.y, "level": self.observed, "residual": self.residuals,
                             "leverage": self.leverage})

    def _repr_html_(self) -> str:
        spread = "three spots fit exactly, unchecked" if self.sd is None else f"spots lie {word_mm(self.sd, digits=1)} about it"
        return f"<p>A plane through {len(self.x)} spots falls {word_fall(self.plane.fall)}; {spread}.</p>"


def name_of(points: tuple[str, ...] | None, index: int) -> str:
    """What a spot is called: its own name, else its number counted from 1."""
    return str(index + 1) if points is None else points[index]


def spots_as_arrays(x: ArrayLike, y: ArrayLike, level: ArrayLike,
                    points: Iterable[object] | None) -> tuple[Floats, Floats, Floats, tuple[str, ...] | None]:
    """Three read-only arrays of one length, finite, with names; SurveyError names what is not."""
    arrays = []
    for name, values in (("x", x), ("y", y), ("level", level)):
        try:
            arrays.append(frozen(values).reshape(-1))
        except (TypeError, ValueError, OverflowError):
            raise SurveyError(f"{name} holds something that is not a number", remedy="Give numbers in metres.") from None
    must_be(points, (Iterable, type(None)), "points")
    names = None if points is None else tuple(str(name) for name in points)
    lengths = [len(array) for array in arrays] + ([] if names is None else [len(names)])
    if len(set(lengths)) != 1:
        raise SurveyError(f"x, y, level and points have {', '.join(map(str, lengths))} values",
                          rule="They must have the same number.")
    for name, array in zip(("x", "y", "level"), arrays, strict=True):
        if not (np.abs(array) < FARTHEST).all():
            bad = int(np.flatnonzero(~(np.abs(array) < FARTHEST))[0])
            raise SurveyError(f"{name} is {array[bad]}", where=f"point {name_of(names, bad)}",
                              rule="It must be a finite number in m.", remedy="Fill it in, or leave the point out.")
    return arrays[0], arrays[1], arrays[2], names


class _Whitener:
    """Turns values with correlated or unequal errors into values with errors of one size and no correlation."""

    def __init__(self, count: int, sd: ArrayLike | None, covariance: ArrayLike | None) -> None:
        self.given = sd is not None or covariance is not None
        self.sd: Floats | None = None
        self._factor: Floats | None = None
        if sd is not None and covariance is not None:
            raise SurveyError("both sd and covariance are given", remedy="Give the one or the other.")
        if sd is not None:
            try:
                self.sd = np.broadcast_to(np.asarray(sd, float), count)
            except (TypeError, ValueError, OverflowError):
                self.sd = np.zeros(count)
            if not (np.isfinite(self.sd) & (self.sd > 0)).all():
                raise SurveyError(f"sd is {sd!r}", rule=f"It must be one finite length above nought in m, or {count} of them.")
        if covariance is not None:
            try:
                matrix = np.asarray(covariance, float)
            except (TypeError, ValueError, OverflowError):
                matrix = np.empty(0)
            if matrix.shape != (count, count) or not np.isfinite(matrix).all() or not np.allclose(
                    matrix, matrix.T, rtol=1e-9, atol=0.0):
                raise SurveyError(f"the covariance has the shape {matrix.shape}",
                                  rule=f"It must be a symmetric table of finite numbers, {count} by {count}, in m².")
            try:
                self._factor = np.linalg.inv(np.linalg.cholesky(matrix))
            except np.linalg.LinAlgError:
                raise SurveyError("the covariance is not positive definite",
                                  rule="No combination of levels can have a variance of nought or less.") from None

    def __call__(self, values: Floats) -> Floats:
        if self._factor is not None:
            return np.asarray(self._factor @ values)
        return values if self.sd is None else values / self.sd

    def back(self, rows: Floats) -> Floats:
        """Rows (3, n) of whitened values, whitened once more from the other side."""
        if self._factor is not None:
            return np.asarray(rows @ self._factor)
        return rows if self.sd is None else rows / self.sd


def fit_plane(x: ArrayLike, y: ArrayLike, level: ArrayLike, *, sd: ArrayLike | None = None, covariance: ArrayLike | None = None,
              points: Iterable[object] | None = None) -> PlaneFit:
    """The plane of least squares through spots.

    Parameters
    ----------
    x, y, level : array_like, shape (n,)
        Plan position and level in m, n ≥ 3.
    sd : float or array_like (n,), optional
        Standard deviation of each level in m, when it is known beforehand; weights are 1/sd².
    covariance : array_like (n, n), optional
        Full covariance of the levels in m², instead of `sd` (generalised least squares).
    points : sequence of str, optional
        Names for messages; 1, 2, 3 … if not given.

    Returns
    -------
    PlaneFit
        With sd or covariance given, its covariance is the one propagated from them; else it is scaled by the residuals.

    Raises
    ------
    SurveyError
        Fewer than three spots; spots in a line (the direction is named); numbers that are not finite; a covariance that is
        not one.

    Notes
    -----
    Coordinates are centred, turned onto their principal axes and scaled, so that grid coordinates of a million metres lose
    nothing (Björck, Numerical Methods for Least Squares Problems, 1996, section 2.7, on scaling and conditioning; from
    memory).

    >>> fit = fit_plane([0, 4, 4, 0], [0, 0, 3, 3], [10.00, 10.00, 9.95, 9.95])
    >>> round(fit.plane.fall_towards(0, 1), 5)
    0.01667
    """
    xs, ys, levels, names = spots_as_arrays(x, y, level, points)
    count = len(xs)
    if count < 3:
        raise SurveyError(f"there {'is' if count == 1 else 'are'} only {count} spot{'' if count == 1 else 's'}",
                          rule="A plane needs three that are not in a line.", remedy="Read more spots.")
    whiten = _Whitener(count, sd, covariance)
    centre = np.array([xs.mean(), ys.mean()])
    offsets = np.vstack([xs - centre[0], ys - centre[1]])
    spread, axes = np.linalg.eigh(offsets @ offsets.T / count)
    if spread[1] <= 0 or spread[0] <= THIN**2 * spread[1]:
        along = math.degrees(math.atan2(axes[1, 1], axes[0, 1])) % 180
        raise SurveyError("the spots lie in a line" if spread[1] > 0 else "all spots are at one place",
                          where=f"{count} spots, from {word_place(xs[0], ys[0])}",
                          rule=f"They run {word_angle(along)} from the x axis, and say nothing about the fall across that.",
                          remedy="Read a spot to the side of the line.")
    turned = (axes / np.sqrt(spread)).T @ offsets
    design = np.vstack([whiten(row) for row in (np.ones(count), *turned)])
    normal = design @ design.T
    if not np.isfinite(normal).all() or np.linalg.matrix_rank(normal) < 3:
        raise SurveyError("the weights of the spots are too unlike to fit a plane", remedy="Check the standard deviations.")
    base = levels.mean()
    answer = np.linalg.solve(normal, design @ whiten(levels - base))
    residuals = levels - base - answer[0] - answer[1:] @ turned
    to_plan = np.eye(3)
    to_plan[1:, 1:] = axes / np.sqrt(spread)
    slopes = to_plan[1:, 1:] @ answer[1:]
    plane = Plane(float(base + answer[0]), float(slopes[0]), float(slopes[1]), (float(centre[0]), float(centre[1])))
    white = whiten(residuals)
    freedom = count - 3
    scale = 1.0 if whiten.given else float(white @ white) / freedom if freedom else None
    fitted = None if scale is None else frozen(to_plan @ np.linalg.inv(normal) @ to_plan.T * scale)
    plain = np.vstack([np.ones(count), turned])
    weights = whiten.back(np.asarray(np.linalg.solve(normal, design), np.float64))
    leverage = (plain * weights).sum(axis=0)
    return PlaneFit(xs, ys, levels, plane, fitted, math.sqrt(residuals @ residuals / freedom) if freedom else None,
                    frozen(residuals), frozen(leverage), frozen(to_plan @ weights), names,
                    None if covariance is not None else frozen(white), whiten.sd)
