"""How large a slip at one spot could hide among the spots of a plane fit."""

from __future__ import annotations

import math

import numpy as np

from ..errors import must_be
from .plane import SUSPECT, PlaneFit


def hidden_slip(fit: PlaneFit) -> tuple[int, float]:
    """The spot (by its number from 0) at which the largest slip would not stand out, and that slip in m, up or down.

    Infinite where no slip would show: with fewer than five spots, or at a spot that alone fixes the plane.

    Parameters
    ----------
    fit : PlaneFit
        Of spots that are equally sure, as `fit_plane` gives it without errors.

    Returns
    -------
    (int, float)

    Raises
    ------
    SurveyError
        What is no plane fit.

    Notes
    -----
    A slip d at spot i moves its residual by (1 − h) d, h its leverage, and leaves the spread s of the others about their own
    plane. A residual stands out from t s √(1 − h) (Cook and Weisberg, Residuals and Influence in Regression, 1982, section
    2.2.2), so a slip up to t s / √(1 − h) hides where the rest of the residual is nought.

    >>> from sitelevels import fit_plane
    >>> hidden_slip(fit_plane([0, 4, 4, 0], [0, 0, 3, 3], [10.0, 10.01, 9.95, 9.94]))
    (0, inf)
    """
    must_be(fit, PlaneFit, "the fit")
    count, open_share = len(fit.x), 1 - fit.leverage
    free = open_share < 1e-9
    if count < 5 or free.any():
        return int(free.argmax()), math.inf
    from scipy.special import stdtrit
    squares = np.maximum(fit.residuals @ fit.residuals - fit.residuals**2 / open_share, 0.0)
    hides = float(stdtrit(count - 4, 1 - SUSPECT / (2 * count))) * np.sqrt(squares / (count - 4) / open_share)
    return int(hides.argmax()), float(hides.max())
