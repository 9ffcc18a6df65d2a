"""Planes, and the plane that fits measured levels best."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any, TypeGuard, overload

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from ..errors import SurveyError, finite, finite_list, must_be
from ..wording import word_angle, word_fall, word_mm, word_place

Floats = NDArray[np.float64]

FARTHEST = 1e9  # m: no grid on earth has a coordinate so large
THIN = 1e-6  # spots whose band is narrower than this share of its length lie in a line
NOTHING = 1e-6  # m: a residual of a thousandth of a millimetre is rounding
BLOCK = 32768  # spots at once: their sums are taken while they are near the processor
BROAD = 1e-4  # of its length squared: bands broader than this lose nothing when the plane is found from sums of products
TELLING = 1e-6  # of the squares of the levels: less than this is not told from their sums, but spot by spot
SUSPECT = 0.05  # chance, shared over all spots (Bonferroni), below which a residual is suspected


def frozen(values: ArrayLike) -> Floats:
    """A read-only copy as floats."""
    (array := np.array(values, dtype=np.float64)).setflags(write=False)
    return array


def plan_places(x: ArrayLike, y: ArrayLike) -> tuple[Floats, Floats]:
    """Plan positions as two float arrays of one shape; SurveyError for what is no finite number, and for unlike shapes."""
    try:
        xs, ys = np.broadcast_arrays(np.asarray(x, float), np.asarray(y, float))
    except (TypeError, ValueError, OverflowError):
        raise SurveyError("a position is not a number, or x and y differ in number", rule="x and y are in m.") from None
    if not ((np.abs(xs) < FARTHEST).all() and (np.abs(ys) < FARTHEST).all()):
        raise SurveyError("a position is not a finite number", rule="x and y are in m.")
    return xs, ys


def shaped(values: ArrayLike, shape: tuple[int, ...]) -> Any:
    """Values for places in the shape of these: a float for one place, an array for arrays."""
    return np.reshape(values, shape) if shape else float(np.ravel(values)[0])


def numbers(values: Any) -> Floats | None:
    """Values as a new array of floats; None where one of them is no number, is masked or is a date."""
    try:
        return None if np.ma.is_masked(values) or np.asarray(values).dtype.kind in "cmM" else np.array(values, dtype=float)
    except (TypeError, ValueError, OverflowError):
        return None


def symmetric(table: Any, count: int, *, exact: float = 0.0) -> Floats | None:
    """A symmetric table (count, count) of finite numbers, like ones to within `exact`; None for any other."""
    given = numbers(table)
    if given is None or given.shape != (count, count) or not np.isfinite(given).all():
        return None
    return given if np.allclose(given, given.T, rtol=1e-9, atol=exact) else None


@dataclass(frozen=True)
class Plane:
    """A plane: `level` in m at the plan point `at` (m), gradients `gx`, `gy` in m/m, positive uphill along x and y.

    Refuses what is no finite number.

    Reason: level and gradients add up and change their signs; a greatest fall with its direction does not.

    >>> yard = Plane(10.0, 0.0, -1 / 60)
    >>> round(yard.level_at(2.0, 3.0), 3), yard.direction
    (9.95, (0.0, 1.0))
    """

    level: float
    gx: float
    gy: float
    at: tuple[float, float] = (0.0, 0.0)

    def __post_init__(self) -> None:
        for name in ("level", "gx", "gy"):
            finite(getattr(self, name), f"the plane's {name}", "It must be a finite number.")
        finite_list(self.at, "the plane's at", "It must be a place (x, y) in m.", count=2)

    @overload
    def level_at(self, x: float, y: float) -> float: ...
    @overload
    def level_at(self, x: ArrayLike, y: ArrayLike) -> Any: ...
    def level_at(self, x: ArrayLike, y: ArrayLike) -> Any:
        """Level in m at x, y in m: a float for a point, an array for arrays."""
        xs, ys = plan_places(x, y)
        return shaped(self.level + self.gx * (xs - self.at[0]) + self.gy * (ys - self.at[1]), xs.shape)

    @property
    def fall(self) -> float:
        """The true (greatest) fall, m/m, never negative."""
        return math.hypot(self.gx, self.gy)

    @property
    def direction(self) -> tuple[float, float]:
        """Unit vector (dx, dy) in plan of the steepest way down; (0.0, 0.0) for a level plane."""
        return (0.0 - self.gx / self.fall, 0.0 - self.gy / self.fall) if self.fall else (0.0, 0.0)

    def fall_towards(self, dx: float, dy: float) -> float:
        """Fall in m/m towards the plan direction (dx, dy) of any length; positive downhill.

        Raises SurveyError for a direction of no length.
        """
        dx, dy = (finite(one, f"the direction's {name}", "It must be a number.") for one, name in ((dx, "dx"), (dy, "dy")))
        length = math.hypot(dx, dy)
        if not length:
            raise SurveyError(f"the direction ({dx}, {dy}) has no length", remedy="Give two numbers, not both nought.")
        return -(self.gx * dx + self.gy * dy) / length

    def lowered(self, depth: float) -> Plane:
        """The parallel plane `depth` m below."""
        return replace(self, level=self.level - finite(depth, "the depth"))


@dataclass(frozen=True, eq=False)
class PlaneFit:
    """The plane of least squares through spots. Made by `fit_plane`.

    `x`, `y`, `observed` (n,) in m; `plane` stands at the centroid of the spots; `covariance` (3, 3) is of the level at
    the centroid (m²), gx and gy, or None where three spots leave nothing to judge by; `sd` is the standard deviation of a
    spot about the plane in m, from the residuals, or None. What there is one of for each spot is worked out when it is asked for.
    """

    x: Floats
    y: Floats
    observed: Floats
    plane: Plane
    covariance: Floats | None
    sd: float | None
    points: tuple[str, ...] | None
    _cofactor: Floats = field(repr=False)  # covariance of level, gx and gy, with the errors given, or for 1 m² of each level
    _errors: _Errors = field(repr=False)

    @cached_property
    def residuals(self) -> Floats:
        """Observed minus fitted (n,), m: a high spot is positive."""
        return frozen(_off(self.plane, self.x, self.y, self.observed))

    @property
    def _design(self) -> Floats:
        return np.vstack([np.ones(len(self.x)), self.x - self.plane.at[0], self.y - self.plane.at[1]])

    @cached_property
    def weights(self) -> Floats:
        """What each spot's level adds to the level at the centroid, gx and gy, (3, n)."""
        return frozen(self._cofactor @ self._errors.precise(self._design))

    @cached_property
    def leverage(self) -> Floats:
        """The share (n,) of a spot's own level in its fitted level."""
        return frozen((self._design * self.weights).sum(axis=0))

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
        if self._errors.factor is not None or count < 5 or not telling.any():
            return np.zeros(count)
        scaled = self.residuals if self._errors.sd is None else self.residuals / self._errors.sd
        squares = np.divide(scaled**2, 1 - self.leverage, out=np.zeros(count), where=telling)
        others = np.maximum(scaled @ scaled - squares, 1e-30 * (scaled @ scaled))
        return np.asarray(np.copysign(np.sqrt(squares / (others / (count - 4))), self.residuals))

    @property
    def suspects(self) -> pd.DataFrame:
        """A new table of spots that stand out: point residual t chance fall_without, worst first.

        Externally studentised residuals (t) against Student's t with n − 4 degrees of freedom and the Bonferroni share
        (Cook and Weisberg, Residuals and Influence in Regression, 1982, section 2.2.2); residual in m, fall_without
        is the true fall in m/m of the plane through the others. With fewer than five spots there are none.
        """
        from scipy.special import stdtr  # the same as scipy.stats.t, which takes most of a second to load
        size = self.studentised
        count = len(size)
        chance = np.minimum(2 * stdtr(count - 4, -np.abs(size)) * count, 1.0) if size.any() else np.ones(count)
        lines = []
        for index in map(int, np.flatnonzero(chance < SUSPECT)):
            keep = np.arange(count) != index
            try:
                sd = None if self._errors.sd is None else self._errors.sd[keep]
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


def _kept(values: ArrayLike) -> TypeGuard[Floats]:
    """Whether values are an array that nobody can change: there is no need of a copy."""
    return (isinstance(values, np.ndarray) and values.dtype == np.float64 and values.ndim == 1 and values.flags.owndata
            and not values.flags.writeable)


def spots_as_arrays(x: ArrayLike, y: ArrayLike, level: ArrayLike,
                    points: Iterable[object] | None) -> tuple[Floats, Floats, Floats, tuple[str, ...] | None]:
    """Three read-only arrays of one length, with names; SurveyError names what is none."""
    arrays = []
    for name, values in (("x", x), ("y", y), ("level", level)):
        if (array := values if _kept(values) else numbers(values)) is None:
            raise SurveyError(f"{name} holds something that is not a number", remedy="Give numbers in metres.")
        array = array if array.ndim == 1 else array.reshape(-1)
        array.setflags(write=False)
        arrays.append(array)
    must_be(points, (Iterable, type(None)), "points")
    names = None if points is None else tuple(str(name) for name in points)
    lengths = [len(array) for array in arrays] + ([] if names is None else [len(names)])
    if len(set(lengths)) != 1:
        raise SurveyError(f"x, y, level and points have {', '.join(map(str, lengths))} values",
                          rule="They must have the same number.")
    return arrays[0], arrays[1], arrays[2], names


def refuse_far(x: Floats, y: Floats, level: Floats, names: tuple[str, ...] | None) -> None:
    """SurveyError for the first number that is not finite, or farther from nought than any place on earth."""
    for name, array in (("x", x), ("y", y), ("level", level)):
        if len(array) and not (array.min() > -FARTHEST and array.max() < FARTHEST):
            bad = int(np.flatnonzero(~(np.abs(array) < FARTHEST))[0])
            raise SurveyError(f"{name} is {array[bad]}", where=f"point {name_of(names, bad)}",
                              rule="It must be a finite number in m, under a million km.", remedy="Fill it in, or leave it out.")


class _Errors:
    """Errors of levels as they are given: their standard deviations `sd`, the Cholesky `factor` of a covariance, or neither."""

    def __init__(self, count: int, sd: ArrayLike | None, covariance: ArrayLike | None) -> None:
        self.given = sd is not None or covariance is not None
        self.sd: Floats | None = None
        self.factor: Floats | None = None
        if sd is not None and covariance is not None:
            raise SurveyError("both sd and covariance are given", remedy="Give the one or the other.")
        if sd is not None:
            given = numbers(sd)
            if given is None or given.shape not in ((), (1,), (count,)) or not ((given > 0) & (given < FARTHEST)).all():
                raise SurveyError(f"sd is {sd!r}", rule=f"It must be one finite length above nought in m, or {count} of them.")
            self.sd = np.broadcast_to(given, count)
        if covariance is not None:
            if (matrix := symmetric(covariance, count)) is None:
                raise SurveyError("the covariance of the levels is none",
                                  rule=f"It must be a symmetric table of finite numbers, {count} by {count}, in m².")
            try:
                self.factor = np.asarray(np.linalg.cholesky(matrix), dtype=np.float64)
            except np.linalg.LinAlgError:
                raise SurveyError("the covariance is not positive definite",
                                  rule="No combination of levels can have a variance of nought or less.") from None

    def precise(self, rows: Floats) -> Floats:
        """Rows (k, n) times the inverse of the covariance; as they are where no errors are given."""
        if self.factor is not None:
            from scipy.linalg import cho_solve
            return np.asarray(cho_solve((self.factor, True), rows.T).T)
        return rows if self.sd is None else rows / self.sd**2


def _off(plane: Plane, x: Floats, y: Floats, level: Floats) -> Floats:
    return np.asarray(level - plane.level - plane.gx * (x - plane.at[0]) - plane.gy * (y - plane.at[1]))


def _moments(*values: Floats) -> tuple[Floats, Floats]:
    """Means (k,) of k arrays and the sums of products about them (k, k), each number read from memory once.

    Counted from the means of the first block, so that large coordinates lose nothing (Chan, Golub and LeVeque, Algorithms for
    Computing the Sample Variance, The American Statistician 37, 1983, on shifted data; from memory).
    """
    count, about = len(values[0]), np.array([one[:BLOCK].mean() for one in values])
    room = np.ones((len(values) + 1, min(BLOCK, count)))  # the last row stays: it gives the sums
    sums = np.zeros((len(values) + 1, len(values)))
    for start in range(0, count, BLOCK):
        block = room[:, :count - start]
        for one, middle, into in zip(values, about, block, strict=False):
            np.subtract(one[start:start + BLOCK], middle, out=into)
        sums += block @ block[:-1].T
    off = sums[-1] / count
    return about + off, sums[:-1] - count * np.outer(off, off)


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
    with np.errstate(all="ignore"):
        centre, products = _moments(xs, ys, levels)
        near = np.abs(centre) + np.sqrt(np.diagonal(products)) < FARTHEST  # no spot lies farther from the mean than that
    if not near.all():
        refuse_far(xs, ys, levels, names)
    errors = _Errors(count, sd, covariance)
    spread, axes = np.linalg.eigh(products[:2, :2] / count)
    if spread[1] <= NOTHING**2:
        raise SurveyError("all spots are at one place", where=f"{count} spots, {word_place(xs[0], ys[0])}",
                          rule="Spots tell a fall where they lie apart.")
    if spread[0] <= THIN**2 * spread[1]:
        along = math.degrees(math.atan2(axes[1, 1], axes[0, 1])) % 180
        raise SurveyError("the spots lie in a line", where=f"{count} spots, from {word_place(xs[0], ys[0])}",
                          rule=f"They run {word_angle(along)} from the x axis, and say nothing about the fall across that.",
                          remedy="Read a spot to the side of the line.")
    to_plan = np.eye(3)
    to_plan[1:, 1:] = axes / np.sqrt(spread)
    alike = not errors.given and spread[0] > BROAD * spread[1]
    if alike:  # turned and scaled, the spots have these sums of products
        normal, answer = count * np.eye(3), np.append(0.0, to_plan[1:, 1:].T @ products[:2, 2] / count)
    else:
        turned = np.vstack([np.ones(count), to_plan[1:, 1:].T @ np.vstack([xs - centre[0], ys - centre[1]])])
        with np.errstate(all="ignore"):  # what is not finite is refused
            weighed = errors.precise(turned)
            normal = weighed @ turned.T
        if not np.isfinite(normal).all() or np.linalg.matrix_rank(normal) < 3:
            raise SurveyError("the weights of the spots are too unlike to fit a plane", remedy="Check the standard deviations.")
        answer = np.linalg.solve(normal, weighed @ (levels - centre[2]))
    slopes = to_plan[1:, 1:] @ answer[1:]
    plane = Plane(float(centre[2] + answer[0]), float(slopes[0]), float(slopes[1]), (float(centre[0]), float(centre[1])))
    freedom, squares = count - 3, float(products[2, 2] - count * answer[1:] @ answer[1:])
    if not alike or count <= BLOCK or squares < TELLING * products[2, 2]:
        residuals = _off(plane, xs, ys, levels)
        squares = float(residuals @ residuals)
    scale = 1.0 if errors.given else squares / freedom if freedom else None
    cofactor = to_plan @ np.linalg.inv(normal) @ to_plan.T
    return PlaneFit(xs, ys, levels, plane, None if scale is None else frozen(cofactor * scale),
                    math.sqrt(squares / freedom) if freedom else None, names, cofactor, errors)
