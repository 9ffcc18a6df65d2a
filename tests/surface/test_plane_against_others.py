"""`fit_plane` beside statsmodels and hand geometry.

The other library gets coordinates that are already centred: on raw grid coordinates its own normal equations
lose digits, and the question here is whether ours do.
"""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

import sitelevels as sl

Floats = NDArray[np.float64]
PLANES = Path(__file__).parents[1] / "reference" / "planes.json"
SAME = 1e-9  # relative, and of the size of the spread: far below a millimetre on any site
ROUNDED = 1e-8  # the same on grid coordinates: 6,200,000 m holds only 1e-9 m in a double
NOUGHT = 1e-6  # m: a residual below a thousandth of a millimetre counts as nought, as `studentised` says


def topo() -> tuple[Floats, Floats, Floats]:
    """52 spot heights of a 310 ft square, x and y in units of 50 ft, height in ft: case PL01."""
    cases = {case["id"]: case for case in json.loads(PLANES.read_text(encoding="utf-8"))}
    points = cases["PL01"]["inputs"]["points"]
    return tuple(np.array([float(point[name]) for point in points]) for name in "xyz")


def design(x: Floats, y: Floats) -> Floats:
    """The model of a plane with its level taken at the centroid."""
    return np.column_stack([np.ones(len(x)), x - x.mean(), y - y.mean()])


def site(seed: int, count: int, origin: tuple[float, float]) -> tuple[Floats, Floats, Floats]:
    """Spots on 12 m × 8 m of a sloping yard, uneven by 5 mm, at an origin of our own choice."""
    rng = np.random.default_rng(seed)
    u, v = rng.uniform(0, 12, count), rng.uniform(0, 8, count)
    level = 99.85 - u / 80 + v / 60 + rng.normal(0, 0.005, count)
    return origin[0] + u, origin[1] + v, level


def telling(resid: Floats, student: Floats) -> Floats:
    """The other library's studentised residuals under the rule that rounding is no residual."""
    return np.where(np.abs(resid) > NOUGHT, student, 0.0)


def assert_same(fit: Any, other: Any, x: Floats, y: Floats, covariance: Floats, within: float) -> None:
    """Level at the centroid, gradients and their covariance."""
    ours = [fit.plane.level_at(x.mean(), y.mean()), fit.plane.gx, fit.plane.gy]
    np.testing.assert_allclose(ours, other.params, rtol=within, atol=within)
    size = np.sqrt(np.outer(np.diag(covariance), np.diag(covariance)))
    np.testing.assert_allclose(np.asarray(fit.covariance) / size, covariance / size, atol=within)


@pytest.mark.parametrize("origin", [(0.0, 0.0), (450000.0, 6200000.0)])
def test_topo_by_ordinary_least_squares(origin: tuple[float, float]) -> None:
    x, y, z = topo()
    other = sm.OLS(z, design(x, y)).fit()
    x, y = x + origin[0], y + origin[1]
    fit = sl.fit_plane(x, y, z)
    within = ROUNDED if origin[0] else SAME
    assert_same(fit, other, x, y, other.cov_params(), within)
    influence = other.get_influence()
    np.testing.assert_allclose(fit.residuals, other.resid, atol=within * np.ptp(z))
    np.testing.assert_allclose(fit.leverage, influence.hat_matrix_diag, atol=within)
    theirs = telling(other.resid, influence.resid_studentized_external)
    np.testing.assert_allclose(fit.studentised, theirs, rtol=1e-6, atol=within)
    assert fit.sd == pytest.approx(math.sqrt(other.mse_resid), rel=within)


def test_topo_as_found_by_another_program() -> None:
    """z = 913.80002 - 1.69504 x - 25.25172 y, sd 37.0289: by numpy for the reference list, not printed."""
    x, y, z = topo()
    fit = sl.fit_plane(x, y, z)
    assert fit.plane.level_at(0.0, 0.0) == pytest.approx(913.80002, abs=0.000006)
    assert (fit.plane.gx, fit.plane.gy) == pytest.approx((-1.69504, -25.25172), abs=0.000006)
    assert fit.sd == pytest.approx(37.0289, abs=0.00006)


def test_a_blunder_in_topo_is_suspected_by_both() -> None:
    """One height booked 200 ft high: its probability and the fall without it as in the other library."""
    x, y, z = topo()
    z[20] += 200.0
    suspects = sl.fit_plane(x, y, z).suspects
    other = sm.OLS(z, design(x, y)).fit()
    student, _, shared = np.asarray(other.outlier_test(method="bonf")).T
    assert (
        suspects["point"].astype(str).tolist()
        == [str(1 + i) for i in np.flatnonzero(shared < 0.05)]
        == ["21"]
    )
    assert suspects["t"].iloc[0] == pytest.approx(student[20], rel=1e-9)
    assert suspects["chance"].iloc[0] == pytest.approx(shared[20], rel=1e-6)
    rest = np.arange(len(x)) != 20
    slopes = sm.OLS(z[rest], design(x[rest], y[rest])).fit().params[1:]
    assert suspects["fall_without"].iloc[0] == pytest.approx(np.hypot(*slopes), rel=1e-9)


def test_topo_as_it_is_has_one_suspect_by_a_hair() -> None:
    """Its first spot, a corner on a steep flank, has a shared probability of 0.0492 in both."""
    x, y, z = topo()
    shared = np.asarray(sm.OLS(z, design(x, y)).fit().outlier_test(method="bonf"))[:, 2]
    suspects = sl.fit_plane(x, y, z).suspects
    assert np.flatnonzero(shared < 0.05).tolist() == [0]
    assert suspects["point"].tolist() == ["1"]
    assert suspects["chance"].iloc[0] == pytest.approx(shared[0], rel=1e-6)


def test_topo_without_that_spot_has_none() -> None:
    x, y, z = (values[1:] for values in topo())
    shared = np.asarray(sm.OLS(z, design(x, y)).fit().outlier_test(method="bonf"))[:, 2]
    assert (shared >= 0.05).all()
    assert sl.fit_plane(x, y, z).suspects.empty


@pytest.mark.parametrize("origin", [(0.0, 0.0), (450000.0, 6200000.0)])
@settings(deadline=None, derandomize=True, max_examples=60)
@given(seed=st.integers(0, 10**6), count=st.integers(6, 40))
def test_any_design_by_ordinary_least_squares(origin: tuple[float, float], seed: int, count: int) -> None:
    x, y, level = site(seed, count, origin)
    other = sm.OLS(level, design(x, y)).fit()
    fit = sl.fit_plane(x, y, level)
    assert_same(fit, other, x, y, other.cov_params(), 1e-7)
    np.testing.assert_allclose(fit.residuals, other.resid, atol=1e-9)
    np.testing.assert_allclose(fit.leverage, other.get_influence().hat_matrix_diag, atol=1e-9)
    theirs = telling(other.resid, other.get_influence().resid_studentized_external)
    np.testing.assert_allclose(fit.studentised, theirs, rtol=1e-5, atol=1e-5)


@settings(deadline=None, derandomize=True, max_examples=60)
@given(seed=st.integers(0, 10**6), count=st.integers(6, 40))
def test_known_standard_deviations_are_weights(seed: int, count: int) -> None:
    """sd known beforehand: weights 1/sd², covariance propagated from them and not scaled by the residuals."""
    x, y, level = site(seed, count, (450000.0, 6200000.0))
    sd = np.random.default_rng(seed + 1).uniform(0.001, 0.010, count)
    fit = sl.fit_plane(x, y, level, sd=sd)
    other = sm.WLS(level, design(x, y), weights=sd**-2).fit()
    assert_same(fit, other, x, y, other.normalized_cov_params, 1e-7)
    np.testing.assert_allclose(fit.residuals, other.resid, atol=1e-9)
    whitened = sm.OLS(level / sd, design(x, y) / sd[:, None]).fit().get_influence()
    np.testing.assert_allclose(fit.leverage, whitened.hat_matrix_diag, atol=1e-9)
    theirs = telling(other.resid, whitened.resid_studentized_external)
    np.testing.assert_allclose(fit.studentised, theirs, rtol=1e-5, atol=1e-5)
    assert fit.sd == pytest.approx(math.sqrt(other.resid @ other.resid / (count - 3)), rel=1e-9)


@settings(deadline=None, derandomize=True, max_examples=60)
@given(seed=st.integers(0, 10**6), count=st.integers(5, 30))
def test_a_full_covariance_by_generalised_least_squares(seed: int, count: int) -> None:
    """1 mm readings from one 2 mm backsight with a tilted instrument: correlated, as on a real site."""
    x, y, level = site(seed, count, (450000.0, 6200000.0))
    ex, ey = x - x[0], y - y[0]
    tilt = 0.0002**2 * (np.outer(ex, ex) + np.outer(ey, ey))
    covariance = 0.001**2 * np.eye(count) + 0.002**2 * np.ones((count, count)) + tilt
    fit = sl.fit_plane(x, y, level, covariance=covariance)
    other = sm.GLS(level, design(x, y), sigma=covariance).fit()
    assert_same(fit, other, x, y, other.normalized_cov_params, 1e-6)
    np.testing.assert_allclose(fit.residuals, other.resid, atol=1e-8)


def test_one_standard_deviation_for_all_is_the_same_plane() -> None:
    x, y, level = site(3, 12, (0.0, 0.0))
    plain, weighed = sl.fit_plane(x, y, level), sl.fit_plane(x, y, level, sd=0.004)
    assert (weighed.plane.gx, weighed.plane.gy) == pytest.approx((plain.plane.gx, plain.plane.gy), rel=1e-9)
    whole = np.linalg.inv(design(x, y).T @ design(x, y)) * 0.004**2
    np.testing.assert_allclose(weighed.covariance, whole, rtol=1e-9, atol=1e-18)


@pytest.mark.parametrize("towards", [(1.0, 0.0), (0.0, 1.0), (3.0, 4.0), (-5.0, 12.0)])
def test_standard_deviation_of_a_fall(towards: tuple[float, float]) -> None:
    """Against the other library's t-test of the same combination of gradients."""
    x, y, level = site(7, 15, (450000.0, 6200000.0))
    fit = sl.fit_plane(x, y, level)
    way = np.array(towards) / math.hypot(*towards)
    asked = sm.OLS(level, design(x, y)).fit().t_test([0.0, -way[0], -way[1]])
    assert fit.fall_sd(*towards) == pytest.approx(float(np.squeeze(asked.sd)), rel=1e-7)
    assert fit.plane.fall_towards(*towards) == pytest.approx(float(np.squeeze(asked.effect)), rel=1e-7)


def test_three_spots_by_hand() -> None:
    """Down 100 mm over 4 m along x and 30 mm over 3 m along y: 25 and 10 mm/m, worked by hand."""
    fit = sl.fit_plane([0.0, 4.0, 0.0], [0.0, 0.0, 3.0], [10.000, 9.900, 9.970])
    assert (fit.plane.gx, fit.plane.gy) == pytest.approx((-0.025, -0.010), abs=1e-12)
    assert fit.plane.fall == pytest.approx(math.sqrt(0.025**2 + 0.010**2), abs=1e-12)
    assert fit.plane.fall_towards(3, 4) == pytest.approx((3 * 0.025 + 4 * 0.010) / 5, abs=1e-12)
    assert fit.plane.fall_towards(-4, 3) == pytest.approx((-4 * 0.025 + 3 * 0.010) / 5, abs=1e-12)
    assert fit.plane.direction == pytest.approx((2.5 / math.sqrt(7.25), 1.0 / math.sqrt(7.25)), abs=1e-12)
    assert fit.plane.fall_towards(2, -5) == pytest.approx(0.0, abs=1e-12)  # along the contour


@settings(deadline=None, derandomize=True)
@given(
    one_in=st.floats(5, 500),
    down=st.floats(-math.pi, math.pi),
    off=st.floats(-math.pi, math.pi),
    reach=st.floats(0.01, 100),
)
def test_apparent_fall_is_true_fall_times_the_cosine(
    one_in: float, down: float, off: float, reach: float
) -> None:
    """Turned from the fall line by an angle, a plane falls by the cosine of it (method of case W11)."""
    plane = sl.Plane(10.0, -math.cos(down) / one_in, -math.sin(down) / one_in)
    ahead = (reach * math.cos(down + off), reach * math.sin(down + off))
    found = plane.fall_towards(*ahead)
    assert found == pytest.approx(math.cos(off) / one_in, abs=1e-12)
    assert plane.level_at(0.0, 0.0) - plane.level_at(*ahead) == pytest.approx(reach * found, abs=1e-11)
