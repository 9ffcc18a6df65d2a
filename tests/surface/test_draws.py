"""Errors drawn from a covariance: their moments against those asked for, within what so many draws can scatter."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sitelevels import SurveyError
from sitelevels.surface.draws import FEWEST, covariance_of, drawn, root_of, standard

MM = 1e-3
RUNS = 10_000
TABLE = MM**2 * np.array([[4.0, 1.5, 0.0], [1.5, 2.0, -1.0], [0.0, -1.0, 3.0]])


class TestCovariance:
    def test_a_standard_deviation_is_that_of_each(self) -> None:
        assert covariance_of(2 * MM, 3) == pytest.approx(np.diag([4e-6] * 3), abs=1e-18)

    def test_a_table_stays_as_it_is_and_is_not_the_same(self) -> None:
        found = covariance_of(TABLE.tolist(), 3)
        assert np.array_equal(found, TABLE)
        assert covariance_of(TABLE, 3) is not TABLE

    def test_common_errors_alone_are_a_covariance(self) -> None:
        """Of rank one: rounding makes nought a little negative."""
        assert np.array_equal(covariance_of(np.full((9, 9), 1e-6), 9), np.full((9, 9), 1e-6))

    @pytest.mark.parametrize("given", [
        "2", "two", None, True, -1 * MM, np.nan, np.inf, [1.0, 2.0, 3.0], np.eye(2), np.eye(4), np.ones((3, 3, 3)), [[]],
        [["a"] * 3] * 3, np.full((3, 3), np.nan), np.diag([1.0, np.inf, 1.0]), 1e-6 * np.triu(np.ones((3, 3))),
        np.diag([1e-6, 1e-6, -1e-9]), 1e-6 * np.array([[1, 2, 0], [2, 1, 0], [0, 0, 1]]), [[10**400] * 3] * 3], ids=str)
    def test_what_is_none_is_refused(self, given: Any) -> None:
        with pytest.raises(SurveyError, match=r"standard deviation of the levels|covariance of the levels"):
            covariance_of(given, 3)

    def test_why_it_is_none_is_said(self) -> None:
        with pytest.raises(SurveyError, match="variance below nought"):
            covariance_of(1e-6 * np.array([[1.0, 2.0], [2.0, 1.0]]), 2)  # the difference: 1 + 1 - 2 × 2
        with pytest.raises(SurveyError, match="5 by 5"):
            covariance_of(np.eye(4), 5)

    def test_rows_of_different_lengths_are_refused(self) -> None:
        with pytest.raises(SurveyError):
            covariance_of([[1e-6], [1e-6, 2e-6]], 2)

    @pytest.mark.filterwarnings("ignore::numpy.exceptions.ComplexWarning")
    def test_complex_numbers_are_refused(self) -> None:
        with pytest.raises(SurveyError):
            covariance_of(np.array([[1e-6 + 1e-6j, 0], [0, 1e-6]]), 2)


class TestRoot:
    @given(st.integers(0, 10_000), st.integers(1, 6), st.integers(1, 6))
    @settings(derandomize=True, max_examples=40, deadline=None)
    def test_its_square_is_the_table(self, seed: int, size: int, rank: int) -> None:
        random = np.random.default_rng(seed).normal(0, MM, (size, rank))
        table = random @ random.T
        root = root_of(table)
        assert root @ root == pytest.approx(table, abs=1e-9 * np.abs(table).max())
        assert root == pytest.approx(root.T, abs=1e-12)

    def test_by_hand(self) -> None:
        """[[5, 4], [4, 5]] = [[2, 1], [1, 2]]²."""
        assert root_of(np.array([[5.0, 4.0], [4.0, 5.0]])) == pytest.approx(np.array([[2.0, 1.0], [1.0, 2.0]]), abs=1e-12)

    def test_a_rounding_below_nought_makes_no_nan(self) -> None:
        assert np.isfinite(root_of(np.full((7, 7), 1e-6))).all()


class TestDraws:
    def test_mean_and_covariance_within_sampling(self) -> None:
        """A mean scatters by √(vᵢᵢ / N), a covariance by √((vᵢᵢ vⱼⱼ + vᵢⱼ²) / N); five of each."""
        errors = drawn(TABLE, 3, runs=RUNS, seed=5)
        assert errors.shape == (3, RUNS)
        own = np.diag(TABLE)
        assert (np.abs(errors.mean(axis=1)) < 5 * np.sqrt(own / RUNS)).all()
        assert (np.abs(np.cov(errors) - TABLE) < 5 * np.sqrt((np.outer(own, own) + TABLE**2) / RUNS)).all()

    def test_they_are_normal(self) -> None:
        """95 of 100 within 1.95996 standard deviations, 99 within 2.57583; five standard deviations of the count."""
        one = np.abs(drawn(3 * MM, 2, runs=RUNS, seed=6)) / (3 * MM)
        for wide, share in ((1.95996, 0.95), (2.57583, 0.99)):
            assert abs((one < wide).mean() - share) < 5 * np.sqrt(share * (1 - share) / (2 * RUNS))

    def test_runs_do_not_hang_together(self) -> None:
        one = drawn(1.0, 2, runs=RUNS, seed=7)
        for left, right in ((one[0, :-1], one[0, 1:]), (one[0], one[1])):
            assert abs(np.mean(left * right)) < 5 / np.sqrt(RUNS)

    def test_what_all_have_in_common_is_the_same_for_all(self) -> None:
        errors = drawn(np.full((5, 5), 4e-6), 5, runs=200, seed=1)
        assert np.ptp(errors, axis=0).max() < 1e-9
        assert errors[0].std() == pytest.approx(2 * MM, rel=0.25)

    def test_a_fixed_sum_stays_fixed(self) -> None:
        """Residuals about a mean: I − 1/n has no variance along 1."""
        table = 1e-6 * (np.eye(6) - 1 / 6)
        assert np.abs(drawn(table, 6, runs=200, seed=1).sum(axis=0)).max() < 1e-9

    def test_a_level_that_is_sure_does_not_move(self) -> None:
        errors = drawn(np.diag([0.0, 1e-6]), 2, runs=50, seed=1)
        assert np.abs(errors[0]).max() == 0.0
        assert np.abs(errors[1]).min() > 0.0

    def test_same_seed_same_numbers(self) -> None:
        one, same, other = (drawn(TABLE, 3, runs=50, seed=seed) for seed in (3, 3, 4))
        assert np.array_equal(one, same)
        assert np.abs(one - other).max() > 1e-4

    def test_a_deviation_is_its_table(self) -> None:
        assert drawn(2 * MM, 4, runs=30, seed=2) == pytest.approx(drawn(4e-6 * np.eye(4), 4, runs=30, seed=2), rel=1e-12)

    def test_twice_the_deviation_twice_the_errors(self) -> None:
        """Like errors make like draws, so that two surveys can be compared."""
        assert drawn(4 * TABLE, 3, runs=30, seed=2) == pytest.approx(2 * drawn(TABLE, 3, runs=30, seed=2), rel=1e-9, abs=1e-15)

    def test_none_at_all(self) -> None:
        assert not drawn(0.0, 3, runs=20, seed=1).any()

    @pytest.mark.parametrize(("options", "said"), [
        ({"runs": FEWEST - 1}, "number of runs is 19"), ({"runs": 100.0}, "number of runs"), ({"runs": "100"}, "number of runs"),
        ({"runs": True}, "number of runs"), ({"runs": None}, "number of runs"), ({"runs": -100}, "number of runs"),
        ({"runs": 10**9}, "number of runs"),
        ({"seed": -1}, "seed is -1"), ({"seed": 1.0}, "seed"), ({"seed": "1"}, "seed"), ({"seed": False}, "seed"),
        ({"seed": None}, "seed")], ids=str)
    def test_runs_and_seeds_that_are_none(self, options: dict[str, Any], said: str) -> None:
        with pytest.raises(SurveyError, match=said):
            drawn(MM, 3, **{"runs": 100, "seed": 1, **options})

    def test_whole_numbers_of_other_kinds_will_do(self) -> None:
        assert standard(2, np.int64(20), np.int32(0)).shape == (2, 20)
        assert np.array_equal(standard(2, np.int64(20), np.int32(3)), standard(2, 20, 3))
