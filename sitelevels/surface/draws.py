"""Errors of levels drawn at random from their covariance."""

from __future__ import annotations

from numbers import Real

import numpy as np
from numpy.typing import ArrayLike

from ..errors import SurveyError, finite, whole
from .plane import Floats, symmetric

FEWEST, MOST = 20, 10_000  # runs: fewer tell of no share, more take long and tell no more


def covariance_of(given: ArrayLike, count: int) -> Floats:
    """A covariance (count, count) in m², from one or from the standard deviation of each level in m.

    Raises SurveyError for what is neither, is not symmetric, or lets a sum of levels have a variance below nought.
    """
    rule = f"It must be a standard deviation in m, or the covariance of {count} levels, {count} by {count}, in m²."
    if isinstance(given, Real) or getattr(given, "ndim", 1) == 0:
        return np.asarray(finite(given, "the standard deviation of the levels", rule, least=0.0)**2 * np.eye(count))
    if (table := symmetric(given, count, exact=1e-15)) is None:
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
    runs, seed = whole(runs, "the number of runs", FEWEST, MOST), whole(seed, "the seed", 0, 2**63)
    return np.random.default_rng(seed).standard_normal((count, runs))


def drawn(given: ArrayLike, count: int, *, runs: int, seed: int) -> Floats:
    """Errors (count, runs) in m of levels with that covariance or standard deviation; see `covariance_of`."""
    return np.asarray(root_of(covariance_of(given, count)) @ standard(count, runs, seed))
