"""Level networks: against the weighted regressions of statsmodels, exact fractions, simulation and sums by hand."""

from __future__ import annotations

import math
from collections.abc import Mapping
from fractions import Fraction
from itertools import combinations
from typing import Any

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from sitelevels import NetworkAdjustment, adjust_network

steady = settings(deadline=None, max_examples=60, derandomize=True)
Line = tuple[Any, Any, Any, Any]


def lines_of(rows: list[Line], weighing: str = "sd") -> pd.DataFrame:
    return pd.DataFrame(rows, columns=["from", "to", "dh", weighing])


def adjusted(rows: list[Line], known: Mapping[Any, Any], weighing: str = "sd", **options: Any) -> NetworkAdjustment:
    return adjust_network(lines_of(rows, weighing), known, **options)


def equations(rows: list[Line], known: Mapping[str, float]) -> tuple[list[str], np.ndarray, np.ndarray]:
    """Points sought, design and right-hand side of dh = level of to - level of from, written down anew."""
    sought = sorted({point for start, end, *_ in rows for point in (start, end)} - set(known))
    design, right = np.zeros((len(rows), len(sought))), np.zeros(len(rows))
    for place, (start, end, dh, _) in enumerate(rows):
        right[place] = dh
        for point, sign in ((end, 1.0), (start, -1.0)):
            if point in known:
                right[place] -= sign * known[point]
            else:
                design[place, sought.index(point)] += sign
    return sought, design, right


WEIGHT_OF = {"length_km": lambda given: 1 / given, "sd": lambda given: 1 / given**2, "weight": lambda given: given}


def a_network(rng: np.random.Generator, points: int, extra: int, weighing: str, hold: int = 1) -> tuple[list[Line], dict]:
    """A tree that ties every point, and lines across it; noise of millimetres; the first few points known."""
    names = [f"P{number}" for number in range(points)]
    level = dict(zip(names, rng.uniform(40, 60, points), strict=True))
    pairs = [(names[rng.integers(place)], names[place]) for place in range(1, points)]
    pairs += [tuple(rng.choice(names, 2, replace=False).tolist()) for _ in range(extra)]
    size = {"length_km": (0.1, 5.0), "sd": (0.0005, 0.01), "weight": (0.2, 50.0)}[weighing]
    rows = [(start, end, round(level[end] - level[start] + rng.normal(0, 0.003), 4), rng.uniform(*size))
            for start, end in pairs]
    return rows, {name: round(level[name], 3) for name in names[:hold]}


def assert_as_statsmodels(rows: list[Line], known: Mapping[str, float], weighing: str) -> None:
    """statsmodels 0.14 or later, WLS: params, bse, scale, resid; and GLS with the matrix of variances."""
    sought, design, right = equations(rows, known)
    weights = np.array([WEIGHT_OF[weighing](row[3]) for row in rows])
    ours, wls = adjusted(rows, known, weighing), sm.WLS(right, design, weights=weights).fit()
    gls = sm.GLS(right, design, sigma=np.diag(1 / weights)).fit()
    assert ours.redundancy == wls.df_resid == len(rows) - len(sought)
    for theirs in (wls, gls):
        np.testing.assert_allclose(ours.levels[sought], theirs.params, rtol=0, atol=1e-9)
        np.testing.assert_allclose(ours.residuals, -theirs.resid, rtol=0, atol=1e-9)  # theirs: observed minus adjusted
        np.testing.assert_allclose(ours.sd[sought], theirs.bse, rtol=1e-5, atol=1e-9)
        assert ours.reference_sd**2 == pytest.approx(theirs.scale, rel=1e-5, abs=1e-12)
    assert ours.sd[list(known)].tolist() == [0.0] * len(known)
    assert ours.levels[list(known)].to_dict() == known


PAIRS = [pair for pair in combinations("ABCDEFG", 2) if pair not in {("A", "G"), ("B", "F")}]


def noisy(rng: np.random.Generator, blunder: dict[int, float] | None = None, sd: float = 0.002) -> list[Line]:
    """Nineteen lines between seven points of level nought; errors in m added to some lines."""
    return [(start, end, rng.normal(0, sd) + (blunder or {}).get(place, 0.0), sd)
            for place, (start, end) in enumerate(PAIRS)]


# Against a general-purpose library


@pytest.mark.parametrize("weighing", ["length_km", "sd", "weight"])
@pytest.mark.parametrize(("points", "extra", "hold"), [(3, 1, 1), (5, 4, 2), (12, 15, 1), (30, 40, 4)])
def test_agrees_with_statsmodels(weighing: str, points: int, extra: int, hold: int) -> None:
    rows, known = a_network(np.random.default_rng(points + extra), points, extra, weighing, hold)
    assert_as_statsmodels(rows, known, weighing)


@steady
@given(seed=st.integers(0, 2**32 - 1), points=st.integers(3, 8), extra=st.integers(1, 8),
       weighing=st.sampled_from(["length_km", "sd", "weight"]), hold=st.integers(1, 2))
def test_agrees_with_statsmodels_on_networks_of_any_shape(
    seed: int, points: int, extra: int, weighing: str, hold: int
) -> None:
    rows, known = a_network(np.random.default_rng(seed), points, extra, weighing, hold)
    assert_as_statsmodels(rows, known, weighing)


def test_standard_deviation_of_a_kilometre_scales_weights_only() -> None:
    """Weights 1 / (sd² × km), as in statsmodels WLS; levels and their sds stay, reference_sd is divided by it."""
    rows, known = a_network(np.random.default_rng(8), 6, 6, "length_km")
    bare, told = adjusted(rows, known, "length_km"), adjusted(rows, known, "length_km", sd_per_root_km=0.004)
    _, design, right = equations(rows, known)
    theirs = sm.WLS(right, design, weights=[1 / (0.004**2 * row[3]) for row in rows]).fit()
    assert told.reference_sd**2 == pytest.approx(theirs.scale, rel=1e-8)
    assert bare.reference_sd == pytest.approx(0.004 * told.reference_sd, rel=1e-9)
    np.testing.assert_allclose(told.levels, bare.levels, rtol=0, atol=1e-10)
    np.testing.assert_allclose(told.sd, bare.sd, rtol=1e-9, atol=0)


@pytest.mark.parametrize("seed", range(5))
def test_redundancy_numbers_and_studentised_residuals_are_those_of_statsmodels(seed: int) -> None:
    """OLS of the weighted equations: 1 - hat_matrix_diag, resid_studentized_external (of the other sign)."""
    rng, known = np.random.default_rng(seed), {"A": 0.0}
    rows = [(*row[:3], rng.uniform(0.0005, 0.01)) for row in noisy(rng)]
    _, design, right = equations(rows, known)
    root = np.array([1 / row[3] for row in rows])
    influence = sm.OLS(root * right, root[:, None] * design).fit().get_influence()
    ours, hat = adjusted(rows, known), influence.hat_matrix_diag
    np.testing.assert_allclose(ours.redundancy_numbers, 1 - hat, rtol=0, atol=1e-9)
    np.testing.assert_allclose(ours.table["studentised"], -influence.resid_studentized_external, rtol=1e-5)


# Sums by hand


def test_a_triangle_by_hand() -> None:
    """1.000 + 2.003 - 3.000: 3 mm to share, 1 mm each; s0 = √(3 mm² / 1); cofactors of B and C 2/3."""
    ours = adjusted([("A", "B", 1.0, 1), ("A", "C", 3.0, 1), ("B", "C", 2.003, 1)], {"A": 10.0}, "length_km")
    assert ours.levels.to_dict() == pytest.approx({"A": 10.0, "B": 10.999, "C": 13.001}, abs=1e-12)
    assert ours.residuals.tolist() == pytest.approx([-0.001, 0.001, -0.001], abs=1e-12)
    assert ours.redundancy == 1
    assert ours.reference_sd == pytest.approx(math.sqrt(3) / 1000, rel=1e-9)
    assert ours.sd.to_dict() == pytest.approx({"A": 0.0, "B": math.sqrt(2) / 1000, "C": math.sqrt(2) / 1000}, rel=1e-9)
    assert ours.redundancy_numbers.tolist() == pytest.approx([1 / 3] * 3, rel=1e-9)


def test_a_loop_shares_its_misclosure_by_length() -> None:
    """The loop closes 6 mm high over 1 + 2 + 3 km: 1, 2 and 3 mm are taken off."""
    rows = [("A", "B", 2.004, 1), ("B", "C", -1.0, 2), ("C", "A", -0.998, 3)]
    assert adjusted(rows, {"A": 0.0}, "length_km").residuals.tolist() == pytest.approx([-0.001, -0.002, -0.003], abs=1e-12)


def test_nothing_redundant_gives_levels_and_no_standard_deviations() -> None:
    ours = adjusted([("A", "B", 1.25, 0.001), ("C", "B", 0.75, 0.001)], {"A": 10.0})
    assert ours.levels.to_dict() == pytest.approx({"A": 10.0, "B": 11.25, "C": 10.5}, abs=1e-12)
    assert ours.residuals.tolist() == pytest.approx([0.0, 0.0], abs=1e-12)
    assert ours.redundancy == 0
    assert (ours.sd, ours.reference_sd, ours.global_probability) == (None, None, None)
    assert ours.suspects.empty
    assert ours.table["studentised"].isna().all()
    assert "Nothing is redundant" in ours.words
    assert "11.25" in ours._repr_html_()


def test_all_points_known_leaves_only_residuals() -> None:
    """Known rise 2.1 - 1.0 = 1.1 against 1.0 and 1.3 observed: 0.1 and -0.2; s0² = (0.01 + 0.04) / 2 at weight one."""
    ours = adjusted([("A", "B", 1.0, 1.0), ("A", "B", 1.3, 1.0)], {"A": 1.0, "B": 2.1}, "weight")
    assert ours.residuals.tolist() == pytest.approx([0.1, -0.2], abs=1e-12)
    assert ours.reference_sd == pytest.approx(math.sqrt(0.025), rel=1e-9)
    assert ours.redundancy == 2
    assert ours.levels.to_dict() == {"A": 1.0, "B": 2.1}
    assert ours.sd.to_dict() == {"A": 0.0, "B": 0.0}
    assert ours.redundancy_numbers.tolist() == [1.0, 1.0]


def test_a_known_point_that_no_line_touches_stays_as_it_is() -> None:
    ours = adjusted([("A", "B", 1.0, 1.0), ("A", "B", 1.2, 1.0)], {"A": 1.0, "far": 77.7})
    assert ours.levels.to_dict() == pytest.approx({"A": 1.0, "B": 2.1, "far": 77.7}, abs=1e-12)
    assert ours.redundancy == 1


def test_points_may_be_numbered() -> None:
    ours = adjusted([(1, 2, 1.0, 1.0), (1, "2", 1.2, 1.0)], {1: 5.0})
    assert ours.levels.to_dict() == pytest.approx({"1": 5.0, "2": 6.1}, abs=1e-12)


# What must make no difference


@steady
@given(seed=st.integers(0, 2**32 - 1), turned=st.lists(st.booleans(), min_size=12, max_size=12))
def test_a_line_run_the_other_way_with_the_other_sign_changes_nothing(seed: int, turned: list[bool]) -> None:
    rows, known = a_network(np.random.default_rng(seed), 7, 6, "sd")
    other = [(end, start, -dh, sd) if turn else (start, end, dh, sd)
             for (start, end, dh, sd), turn in zip(rows, turned, strict=True)]
    first, second, sign = adjusted(rows, known), adjusted(other, known), np.where(turned, -1, 1)
    names = sorted(first.levels.index)
    np.testing.assert_allclose(second.levels[names], first.levels[names], rtol=0, atol=1e-10)
    np.testing.assert_allclose(second.sd[names], first.sd[names], rtol=1e-6, atol=1e-12)
    np.testing.assert_allclose(second.residuals * sign, first.residuals, rtol=0, atol=1e-10)


@pytest.mark.parametrize("datum", [1e5, -1e5, 4e6])
def test_a_high_datum_costs_no_digits(datum: float) -> None:
    """The same lines on 0 and on the datum: levels differ by it to the last binary digit or two, the rest stays."""
    rows, _ = a_network(np.random.default_rng(3), 9, 9, "sd")
    low, high = adjusted(rows, {"P0": 0.0}), adjusted(rows, {"P0": datum})
    np.testing.assert_allclose(high.levels - datum, low.levels, rtol=0, atol=2 * np.spacing(abs(datum)))
    np.testing.assert_allclose(high.residuals, low.residuals, rtol=0, atol=1e-13)
    np.testing.assert_allclose(high.sd, low.sd, rtol=1e-9, atol=0)


def test_the_table_of_the_caller_is_not_kept() -> None:
    lines, known = lines_of([("A", "B", 1.0, 1.0), ("A", "B", 1.2, 1.0)]), {"A": 1.0}
    ours = adjust_network(lines, known)
    lines.loc[0, "dh"] = 99.0
    known["A"] = 50.0
    assert ours.levels.to_dict() == pytest.approx({"A": 1.0, "B": 2.1}, abs=1e-12)


def test_an_index_of_the_callers_own_stays_on_every_row_even_if_it_repeats() -> None:
    lines = lines_of([("A", "B", 1.0, 1.0), ("A", "B", 1.002, 1.0), ("A", "B", 1.001, 1.0)]).set_axis([7, 7, 9])
    ours = adjust_network(lines, {"A": 0.0})
    assert ours.table.index.tolist() == [7, 7, 9]
    assert ours.table["residual"].tolist() == pytest.approx([0.001, -0.001, 0.0], abs=1e-12)  # mean 1.001


def exact_levels(rows: list[Line], known: Mapping[str, float]) -> dict[str, Fraction]:
    """Normal equations in exact fractions, by elimination: slow, and without any rounding."""
    sought = sorted({point for start, end, *_ in rows for point in (start, end)} - set(known))
    size = len(sought)
    matrix = [[Fraction(0)] * (size + 1) for _ in range(size)]
    for start, end, dh, weight in rows:
        row, right = [Fraction(0)] * size, Fraction(dh)
        for point, sign in ((end, 1), (start, -1)):
            if point in known:
                right -= sign * Fraction(known[point])
            else:
                row[sought.index(point)] += sign
        for one in range(size):
            for other in range(size):
                matrix[one][other] += Fraction(weight) * row[one] * row[other]
            matrix[one][size] += Fraction(weight) * row[one] * right
    for column in range(size):
        pivot = next(line for line in range(column, size) if matrix[line][column])
        matrix[column], matrix[pivot] = matrix[pivot], matrix[column]
        matrix[column] = [value / matrix[column][column] for value in matrix[column]]
        for line in range(size):
            if line != column and (factor := matrix[line][column]):
                matrix[line] = [a - factor * b for a, b in zip(matrix[line], matrix[column], strict=True)]
    return {point: matrix[place][size] for place, point in enumerate(sought)}


@pytest.mark.parametrize("ratio", [1e8, 1e10, 1e12])
@pytest.mark.parametrize("seed", range(3))
def test_weights_far_apart_cost_no_digits(ratio: float, seed: int) -> None:
    """Against the normal equations in exact fractions, weights from 1 to 1 / ratio in one network."""
    rng = np.random.default_rng(seed)
    rows, known = a_network(rng, 6, 7, "weight")
    rows = [(*row[:3], float(ratio ** -rng.integers(0, 2))) for row in rows]
    rows[0], rows[1] = (*rows[0][:3], 1.0), (*rows[1][:3], 1 / ratio)
    ours, exact = adjusted(rows, known, "weight").levels, exact_levels(rows, known)
    for point, level in exact.items():
        assert ours[point] == pytest.approx(float(level), abs=1e-9)


# How sure


def test_chi_square_probability_is_that_of_scipy_and_of_simulation() -> None:
    """scipy.stats.chi2.sf of Σ (residual / sd)²; and the share of 40,000 drawn sums at least so large."""
    rows, known = a_network(np.random.default_rng(11), 6, 6, "sd")
    ours = adjusted(rows, known)
    assert 0.0 < ours.global_probability < 1.0
    sds = np.array([row[3] for row in rows])
    _, design, right = equations(rows, known)
    for widen in (0.6, 1.0, 1.6):
        wider = adjusted([(*row[:3], row[3] * widen) for row in rows], known)
        white = design / (sds * widen)[:, None]
        left = np.eye(len(rows)) - white @ np.linalg.pinv(white)
        seen = float(np.sum((left @ (right / (sds * widen))) ** 2))
        assert wider.global_probability == pytest.approx(stats.chi2.sf(seen, len(rows) - design.shape[1]), rel=1e-6)
        drawn = np.random.default_rng(12).normal(size=(40_000, len(rows))) @ left
        assert wider.global_probability == pytest.approx(np.mean((drawn**2).sum(axis=1) >= seen), abs=0.012)


def test_global_probability_is_spread_evenly_when_the_standard_deviations_are_right() -> None:
    """300 networks drawn with their own sds: scipy.stats.kstest against the uniform; twice too good is found out."""
    pairs, rng = list(combinations("ABCD", 2)), np.random.default_rng(21)
    right, too_good = [], []
    for _ in range(300):
        errors = rng.normal(0, 0.002, len(pairs))
        for sd, found in ((0.002, right), (0.001, too_good)):
            rows = [(start, end, error, sd) for (start, end), error in zip(pairs, errors, strict=True)]
            found.append(adjusted(rows, {"A": 0.0}).global_probability)
    assert stats.kstest(right, "uniform").pvalue > 0.01
    assert stats.kstest(too_good, "uniform").pvalue < 1e-9


def test_global_probability_takes_standard_deviations_told_beforehand() -> None:
    rows = [("A", "B", 1.0, 0.5), ("A", "B", 1.002, 0.5)]
    assert adjusted(rows, {"A": 0.0}, "length_km").global_probability is None
    assert adjusted(rows, {"A": 0.0}, "weight").global_probability is None
    # two lines of half a kilometre at 2 mm per √km, 2 mm apart: (0.002)² / (2 × 0.002² × 0.5) = 1 on one degree
    told = adjusted(rows, {"A": 0.0}, "length_km", sd_per_root_km=0.002)
    assert told.global_probability == pytest.approx(0.3173105, abs=1e-6)  # outside one sd of a normal: tables
    assert "The residuals fit" in told.words
    wild = adjusted(rows, {"A": 0.0}, "length_km", sd_per_root_km=0.0002)
    assert "do NOT fit" in wild.words


def test_standard_deviations_are_those_of_repeated_surveys() -> None:
    """One network drawn 400 times: sd of the levels found, against the root mean square of the sds stated."""
    rows, known = a_network(np.random.default_rng(31), 5, 6, "sd")
    rng, found, stated = np.random.default_rng(32), [], []
    for _ in range(400):
        ours = adjusted([(start, end, dh + rng.normal(0, sd), sd) for start, end, dh, sd in consistent(rows, known)], known)
        found.append(ours.levels)
        stated.append(ours.sd)
    drawn, claimed = pd.DataFrame(found).std(), np.sqrt((pd.DataFrame(stated) ** 2).mean())
    unknown = [name for name in drawn.index if name not in known]
    np.testing.assert_allclose(claimed[unknown], drawn[unknown], rtol=0.12)  # 400 draws: 3.5 % each, times three


def consistent(rows: list[Line], known: Mapping[str, float]) -> list[Line]:
    """The same lines with errors taken out: levels of our own making, 1.5 m apart."""
    names = sorted({point for start, end, *_ in rows for point in (start, end)})
    first = next(iter(known))
    level = {name: known[first] + 1.5 * (place - names.index(first)) for place, name in enumerate(names)}
    return [(start, end, level[end] - level[start], sd) for start, end, _, sd in rows]


@pytest.mark.parametrize("weighing", ["length_km", "sd", "weight"])
def test_redundancy_numbers_sum_to_the_redundancy(weighing: str) -> None:
    rows, known = a_network(np.random.default_rng(41), 9, 8, weighing, hold=2)
    ours = adjusted(rows, known, weighing)
    assert ours.redundancy == len(rows) - 7  # nine points, two of them known
    assert ours.redundancy_numbers.sum() == pytest.approx(ours.redundancy, abs=1e-9)
    assert ours.redundancy_numbers.between(0, 1).all()


# Suspects


@pytest.mark.parametrize("place", range(len(PAIRS)))
@pytest.mark.parametrize("sign", [1, -1])
def test_a_planted_blunder_is_the_first_suspect(place: int, sign: int) -> None:
    rows = noisy(np.random.default_rng(100 + place), {place: sign * 10 * 0.002})
    ours = adjusted(rows, {"A": 0.0})
    assert ours.redundancy_numbers.min() > 0.5  # well braced
    first = ours.suspects.iloc[0]
    assert (first["from"], first["to"]) == PAIRS[place]
    assert first["residual"] * sign < 0  # adjusted minus observed
    assert f"The line {PAIRS[place][0]} to {PAIRS[place][1]} stands out" in ours.words


def test_the_largest_suspect_comes_first() -> None:
    """Thirty lines from A to B that agree to 1 mm but for the first two, 36 and 40 mm out."""
    errors = [0.036, 0.040, *[0.001, -0.001] * 14]
    assert adjusted([("A", "B", error, 0.001) for error in errors], {"A": 0.0}).suspects.index.tolist() == [1, 0]


def test_suspects_are_found_whatever_the_weights_are_scaled_by() -> None:
    """Only the ratio of weights is known with `weight`: a common factor must not change who is suspected."""
    rows = noisy(np.random.default_rng(7), {4: 0.02})
    for factor in (1e-6, 1.0, 1e6):
        ours = adjusted([(*row[:3], factor) for row in rows], {"A": 0.0}, "weight")
        assert ours.suspects.index.tolist() == [4]


def test_clean_networks_raise_a_suspect_in_about_one_of_twenty() -> None:
    """At most 5 % by Bonferroni, little less with 19 lines: 500 networks, three standard deviations of the count."""
    rng = np.random.default_rng(51)
    alarms = sum(not adjusted(noisy(rng), {"A": 0.0}).suspects.empty for _ in range(500))
    spread = 3 * math.sqrt(500 * 0.05 * 0.95)
    assert 25 - spread < alarms < 25 + spread


def test_a_small_redundancy_says_that_nobody_can_be_blamed() -> None:
    ours = adjusted([("A", "B", 1.0, 0.001), ("B", "C", 1.0, 0.001), ("A", "C", 2.5, 0.001)], {"A": 0.0})
    assert ours.redundancy == 1
    assert ours.suspects.empty
    assert ours.table["studentised"].isna().all()
    assert "too small to tell" in ours.words


def test_a_line_that_nothing_checks_is_named() -> None:
    spur = ("G", "spur", 3.0, 0.002)
    ours = adjusted([*noisy(np.random.default_rng(1)), spur], {"A": 0.0})
    assert ours.redundancy_numbers.iloc[-1] == pytest.approx(0.0, abs=1e-12)
    assert math.isnan(ours.table["studentised"].iloc[-1])
    assert "No other line checks G to spur." in ours.words
    assert ours.suspects.empty


@pytest.mark.parametrize("last", [0.1 + 0.2, 0.7 - 0.4, 0.3])
def test_lines_that_fit_to_the_last_digit_raise_no_suspect(last: float) -> None:
    """Rounding of binary numbers is no blunder: 0.1 + 0.2 is 0.30000000000000004."""
    ours = adjusted([("A", "B", dh, 0.001) for dh in [*[0.3] * 8, last]], {"A": 0.0})
    assert ours.suspects.empty
    assert "No line stands out" in ours.words
