"""Errors of levels drawn at random from their covariance."""

from __future__ import annotations

from numbers import Integral, Real

import numpy as np
from numpy.typing import ArrayLike

from ..errors import SurveyError, finite
from .plane import Floats

FEWEST, MOST = 20, 10_000  # runs: fewer tell of no share, more take long and tell no more


def covariance_of(given: ArrayLike, count: int) -> Floats:
    """A covariance (count, count) in m², from one or from the standard deviation of each level in m.

    Raises SurveyError for what is neither, is not symmetric, or lets a sum of levels have a variance below nought.
    """
    rule = f"It must be a standard deviation in m, or the covariance of {count} levels, {count} by {count}, in m²."
    if isinstance(given, Real) or getattr(given, "ndim", 1) == 0:
        return np.asarray(finite(given, "the standard deviation of the levels", rule, least=0.0)**2 * np.eye(count))
    try:
        table = np.empty(0) if np.iscomplexobj(given) else np.array(given, dtype=float)
    except (TypeError, ValueError, OverflowError):
        table = np.empty(0)
    if table.shape != (count, count) or not np.isfinite(table).all() or not np.allclose(table, table.T, rtol=1e-9, atol=1e-15):
        raise SurveyError("the covariance of the levels is none", rule=rule)
    if float(np.linalg.eigvalsh(table)[0]) < -1e-9 * np.abs(table).sum():
        raise SurveyError("the covariance of the levels is none", rule="No sum of levels can have a variance below nought.")
    return table


def root_of(table: Floats) -> Floats:
    """The symmetric root of a covariance, so that like errors make like draws."""
    sizes, axes = np.linalg.eigh(table)
    return np.asarray(axes * np.sqrt(np.maximum(sizes, 0)) @ axes.T)


def standard(count: int, runs: int, seed: int) -> Floats:
    """Standard normal numbers (count, runs), the same for the same seed. Raises SurveyError for runs or a seed that is none."""
    for value, name, least, most in ((runs, "the number of runs", FEWEST, MOST), (seed, "the seed", 0, 2**63)):
        if isinstance(value, bool) or not isinstance(value, Integral) or not least <= value <= most:
            raise SurveyError(f"{name} is {value!r}", rule=f"It is a whole number, {least} to {most}.")
    return np.random.default_rng(int(seed)).standard_normal((count, int(runs)))


def drawn(given: ArrayLike, count: int, *, runs: int, seed: int) -> Floats:
    """Errors (count, runs) in m of levels with that covariance or standard deviation; see `covariance_of`."""
    return np.asarray(root_of(covariance_of(given, count)) @ standard(count, runs, seed))
