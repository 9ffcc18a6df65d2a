"""How large a slip at one spot could hide: held against a fit by other means, and against the spots that then stand out."""

import math

import numpy as np
import pytest
from scipy.stats import t as student

from sitelevels import SurveyError, fit_plane
from sitelevels.surface.hiding import hidden_slip

X = np.array([0.0, 5.2, 5.2, 0.0, 2.6, 1.3, 3.9])
Y = np.array([0.0, 0.0, 3.8, 3.8, 1.9, 2.6, 0.9])
LEVEL = 10.05 - Y / 60 + np.array([1, -2, 2, 0, 3, -3, -1]) / 1000


def test_the_slip_is_that_of_textbook_sums_at_the_spot_where_it_is_largest() -> None:
    """By the spread of the other spots about a plane of their own, and the share of a spot in its own fitted level."""
    count, hides = len(X), []
    design = np.column_stack([np.ones(count), X, Y])
    hat = design @ np.linalg.inv(design.T @ design) @ design.T
    for spot in range(count):
        others = np.arange(count) != spot
        plane = np.linalg.lstsq(design[others], LEVEL[others], rcond=None)[0]
        spread = math.sqrt(float(((LEVEL[others] - design[others] @ plane) ** 2).sum()) / (count - 4))
        hides.append(float(student.ppf(1 - 0.05 / 2 / count, count - 4)) * spread / math.sqrt(1 - hat[spot, spot]))
    spot, slip = hidden_slip(fit_plane(X, Y, LEVEL))
    assert spot == int(np.argmax(hides))
    assert slip == pytest.approx(max(hides), rel=1e-9)


@pytest.mark.parametrize(("share", "seen"), [(0.99, False), (1.01, True)])
def test_a_little_more_than_it_stands_out(share: float, seen: bool) -> None:
    spot, slip = hidden_slip(fit_plane(X, Y, LEVEL))
    others = np.arange(len(X)) != spot
    told = LEVEL.copy()
    told[spot] = float(fit_plane(X[others], Y[others], LEVEL[others]).plane.level_at(X[spot], Y[spot])) + share * slip
    assert fit_plane(X, Y, told).suspects["point"].isin([str(spot + 1)]).any() == seen


def test_four_spots_and_a_spot_on_its_own_hide_any_slip() -> None:
    assert hidden_slip(fit_plane(X[:4], Y[:4], LEVEL[:4]))[1] == math.inf
    alone = fit_plane([0, 1, 2, 3, 4, 2], [0, 0, 0, 0, 0, 3], [0.0, 0.001, 0.0, 0.002, 0.0, 0.05])
    assert hidden_slip(alone) == (5, math.inf)


def test_what_is_no_fit_is_refused() -> None:
    with pytest.raises(SurveyError, match="The fit is"):
        hidden_slip(3)  # type: ignore[arg-type]
