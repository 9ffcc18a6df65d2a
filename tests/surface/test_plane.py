"""Planes, and the plane of least squares, on numbers worked by hand."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import t as student

from sitelevels import Finish, Ground, Plane, SurveyError, fit_plane

steady = settings(deadline=None, max_examples=60, derandomize=True)
slope = st.floats(-0.1, 0.1)


class TestPlane:
    def test_levels_run_from_the_point_it_stands_at(self) -> None:
        plane = Plane(10.0, 0.01, -0.02, (2.0, 1.0))
        assert plane.level_at(2.0, 1.0) == 10.0
        assert plane.level_at(5.0, 3.0) == pytest.approx(10.0 + 0.03 - 0.04, abs=1e-12)
        assert plane.level_at([2.0, 5.0], [1.0, 3.0]) == pytest.approx([10.0, 9.99], abs=1e-12)

    def test_the_true_fall_and_where_it_goes(self) -> None:
        plane = Plane(10.0, 0.03, -0.04)
        assert plane.fall == pytest.approx(0.05, abs=1e-15)
        assert plane.direction == pytest.approx((-0.6, 0.8), abs=1e-12)

    def test_a_level_plane_goes_nowhere(self) -> None:
        assert Plane(10.0, 0.0, 0.0).direction == (0.0, 0.0)
        assert Plane(10.0, 0.0, 0.0).fall == 0.0

    def test_the_fall_towards_a_direction_is_downhill_positive_and_needs_no_unit_length(self) -> None:
        plane = Plane(10.0, 0.0, -1 / 60)
        assert plane.fall_towards(0, 5) == pytest.approx(1 / 60, abs=1e-15)
        assert plane.fall_towards(0, -1) == pytest.approx(-1 / 60, abs=1e-15)
        assert plane.fall_towards(1, 1) == pytest.approx(1 / 60 / math.sqrt(2), abs=1e-15)

    def test_lowered_it_is_parallel_and_below(self) -> None:
        plane = Plane(10.0, 0.01, -0.02, (1.0, 1.0)).lowered(0.18)
        assert plane.level_at(1.0, 1.0) == pytest.approx(9.82, abs=1e-12)
        assert (plane.gx, plane.gy) == (0.01, -0.02)

    def test_a_direction_of_no_length_is_refused(self) -> None:
        with pytest.raises(SurveyError, match="no length"):
            Plane(10.0, 0.0, 0.0).fall_towards(0, 0)

    @pytest.mark.parametrize("odd", [math.nan, math.inf, 10**400, 1e308, True, "1", None], ids=lambda odd: f"{odd!r:.9}")
    @pytest.mark.parametrize(("call", "named"), [
        (lambda odd: Plane(1, 0, 0).fall_towards(odd, 1), "direction's dx"), (lambda odd: Plane(odd, 0, 0), "plane's level"),
        (lambda odd: Plane(1, 0, 0).fall_towards(1, odd), "direction's dy"), (lambda odd: Plane(1, 0, odd), "plane's gy"),
        (lambda odd: Plane(1, 0, 0, (odd, 0)), "plane's at"), (lambda odd: Plane(1, 0, 0).lowered(odd), "depth")])
    def test_what_is_no_number_is_refused_with_its_name(self, call: Callable[[object], object], named: str, odd: object) -> None:
        with pytest.raises(SurveyError, match=f"{named} is"):
            call(odd)

    @pytest.mark.parametrize("odd", [1e9, -1e308, math.nan, 10**400], ids=lambda odd: f"{odd!r:.9}")
    def test_places_farther_than_any_grid_reaches_are_refused(self, odd: float) -> None:
        """A distance to 1e308 m is beyond all numbers."""
        plane = Plane(10.0, 0.0, 0.0)
        for surface in (plane, Finish.plane(plane, [(0, 0), (1, 0), (0, 1)]), Ground([0, 4, 0], [0, 0, 3], [1, 2, 3])):
            with pytest.raises(SurveyError, match="A position is"):
                surface.level_at(0.1, odd)

    @pytest.mark.parametrize("numbers", [(math.nan, 0, 0), (10, math.inf, 0), (10, 0, math.nan)])
    def test_numbers_that_are_not_finite_are_refused(self, numbers: tuple[float, float, float]) -> None:
        with pytest.raises(SurveyError, match="finite"):
            Plane(*numbers)

    @steady
    @given(slope, slope, st.floats(0, 2 * math.pi))
    def test_no_direction_falls_more_than_the_true_fall(self, gx: float, gy: float, turn: float) -> None:
        plane = Plane(10.0, gx, gy)
        assert plane.fall_towards(math.cos(turn), math.sin(turn)) <= plane.fall + 1e-15


class TestFit:
    def test_four_spots_by_hand(self) -> None:
        """One corner of a square is 4 mm high: the plane takes 1 mm at the centre, gradients ½ mm/m, residuals ±1 mm."""
        fit = fit_plane([0, 4, 4, 0], [0, 0, 4, 4], [10.0, 10.0, 10.004, 10.0])
        assert fit.plane.level_at(2, 2) == pytest.approx(10.001, abs=1e-12)
        assert (fit.plane.gx, fit.plane.gy) == pytest.approx((0.0005, 0.0005), abs=1e-12)
        assert fit.residuals == pytest.approx([0.001, -0.001, 0.001, -0.001], abs=1e-12)
        assert fit.sd == pytest.approx(0.002, abs=1e-12)  # √(4 × 1² / (4 − 3)) mm
        assert fit.leverage == pytest.approx([0.75] * 4, abs=1e-12)

    def test_its_covariance_by_hand(self) -> None:
        """With 1 mm a spot: the centre 1²/4, each gradient 1²/Σ(offset²) = 1/16, nothing between them."""
        fit = fit_plane([0, 4, 4, 0], [0, 0, 4, 4], [10.0, 10.0, 10.004, 10.0], sd=0.001)
        assert fit.covariance == pytest.approx(np.diag([1e-6 / 4, 1e-6 / 16, 1e-6 / 16]), abs=1e-18)
        assert fit.fall_sd(1, 0) == pytest.approx(0.00025, rel=1e-12)
        assert fit.fall_sd(3, 4) == pytest.approx(0.00025, rel=1e-12)

    def test_three_spots_fit_exactly_and_are_said_to_prove_nothing(self) -> None:
        fit = fit_plane([0, 4, 0], [0, 0, 3], [10.0, 10.4, 9.7])
        assert (fit.plane.gx, fit.plane.gy) == pytest.approx((0.1, -0.1), abs=1e-12)
        assert not fit.checked
        assert fit.sd is None
        assert fit.covariance is None
        assert "unchecked" in fit._repr_html_()
        with pytest.raises(SurveyError, match="Three spots fit any plane exactly"):
            fit.fall_sd(1, 0)

    def test_three_spots_of_known_standard_deviation_have_one_for_their_fall(self) -> None:
        fit = fit_plane([0, 4, 0], [0, 0, 3], [10.0, 10.4, 9.7], sd=0.002)
        assert fit.fall_sd(1, 0) == pytest.approx(0.002 * math.sqrt(2) / 4, rel=1e-12)
        assert fit.fall_sd(0, 1) == pytest.approx(0.002 * math.sqrt(2) / 3, rel=1e-12)

    def test_a_spot_of_small_standard_deviation_draws_the_plane_to_itself(self) -> None:
        """Two levels at each end of a strip, one of them ten times as sure: the weighted mean, by hand."""
        fit = fit_plane([0, 0, 4, 4, 0, 4], [0, 1, 0, 1, 1, 0], [10, 10, 10, 10, 10.101, 10],
                        sd=[1, 0.01, 1, 1, 0.1, 1])
        mean = (10 / 0.01**2 + 10.101 / 0.1**2) / (1 / 0.01**2 + 1 / 0.1**2)
        assert fit.plane.level_at(0, 1) == pytest.approx(mean, abs=1e-4)

    def test_a_diagonal_covariance_is_the_same_as_standard_deviations(self) -> None:
        x, y, level = [0, 4, 4, 0, 2], [0, 0, 3, 3, 1], [10, 10.01, 9.95, 9.96, 10]
        sd = np.array([1, 2, 3, 2, 1]) / 1000
        one, two = fit_plane(x, y, level, sd=sd), fit_plane(x, y, level, covariance=np.diag(sd**2))
        assert (one.plane.level, one.plane.gx, one.plane.gy) == pytest.approx((two.plane.level, two.plane.gx, two.plane.gy))
        assert one.covariance == pytest.approx(two.covariance)

    def test_what_all_levels_share_moves_the_level_and_not_the_fall(self) -> None:
        x, y, level = [0, 4, 4, 0], [0, 0, 4, 4], [10, 10, 9.9, 9.9]
        shared = fit_plane(x, y, level, covariance=1e-6 * np.eye(4) + 4e-6).covariance
        assert shared == pytest.approx(np.diag([1e-6 / 4 + 4e-6, 1e-6 / 16, 1e-6 / 16]), abs=1e-15)

    def test_results_cannot_be_written_over_and_inputs_are_left_alone(self) -> None:
        x = np.array([0.0, 4, 4, 0])
        fit = fit_plane(x, [0, 0, 4, 4], [10, 10, 10, 10])
        x[0] = 99
        assert fit.x[0] == 0
        with pytest.raises(ValueError, match="read-only"):
            fit.residuals[0] = 1.0

    @steady
    @given(st.floats(-100, 100), slope, slope, st.integers(0, 10**6))
    def test_an_exact_plane_on_grid_coordinates_is_found(self, level: float, gx: float, gy: float, seed: int) -> None:
        x, y = np.random.default_rng(seed).uniform(0, 30, (2, 12)).round(3)
        levels = level + gx * (x - 15) + gy * (y - 15)
        fit = fit_plane(x + 450_000, y + 6_200_000, levels)
        assert (fit.plane.gx, fit.plane.gy) == pytest.approx((gx, gy), abs=1e-9)
        assert fit.plane.level_at(450_015, 6_200_015) == pytest.approx(level, abs=1e-9)

    @steady
    @given(st.floats(0, 2 * math.pi), st.integers(0, 10**6))
    def test_turning_the_site_turns_the_fall_and_leaves_the_residuals(self, turn: float, seed: int) -> None:
        x, y, level = np.random.default_rng(seed).uniform(0, 10, (3, 9))
        cos, sin = math.cos(turn), math.sin(turn)
        one, two = fit_plane(x, y, level), fit_plane(cos * x - sin * y, sin * x + cos * y, level)
        assert two.residuals == pytest.approx(one.residuals, abs=1e-9)
        assert two.plane.gx == pytest.approx(cos * one.plane.gx - sin * one.plane.gy, abs=1e-9)
        assert two.plane.fall == pytest.approx(one.plane.fall, abs=1e-9)


class TestSuspects:
    X, Y = np.meshgrid(np.arange(4.0), np.arange(3.0))

    def spots(self, slip: float) -> np.ndarray:
        wobble = 0.001 * np.array([1, -1, 0, 1, -1, 1, 0, -1, 1, 0, -1, 1])
        level = 10 - self.Y.ravel() / 60 + wobble
        level[5] += slip
        return np.asarray(level)

    def test_a_spot_fifty_millimetres_high_stands_out_with_the_fall_without_it(self) -> None:
        fit = fit_plane(self.X.ravel(), self.Y.ravel(), self.spots(0.05), points=[f"S{number}" for number in range(12)])
        (suspect,) = fit.suspects.to_dict("records")
        assert suspect["point"] == "S5"
        assert suspect["residual"] > 0
        assert suspect["fall_without"] == pytest.approx(1 / 60, abs=0.001)
        assert 0 <= suspect["chance"] < 0.05

    def test_its_t_and_chance_are_those_of_a_plane_through_the_others(self) -> None:
        """Left out, the spot lies off the plane of the other eleven by r, in units of their own spread and leverage."""
        x, y, level = self.X.ravel(), self.Y.ravel(), self.spots(0.05)
        keep = np.arange(12) != 5
        design = np.column_stack([np.ones(12), x, y])
        answer, squares = np.linalg.lstsq(design[keep], level[keep], rcond=None)[:2]
        spread = squares[0] / (11 - 3)
        share = design[5] @ np.linalg.inv(design[keep].T @ design[keep]) @ design[5]
        size = (level[5] - design[5] @ answer) / math.sqrt(spread * (1 + share))
        (suspect,) = fit_plane(x, y, level).suspects.to_dict("records")
        assert suspect["t"] == pytest.approx(size, rel=1e-6)
        assert suspect["chance"] == pytest.approx(12 * 2 * student.sf(size, 8), rel=1e-6)  # Bonferroni: twelve spots, two sides

    def test_honest_scatter_suspects_nobody(self) -> None:
        assert fit_plane(self.X.ravel(), self.Y.ravel(), self.spots(0.0)).suspects.empty

    def test_four_spots_cannot_accuse_each_other(self) -> None:
        assert fit_plane([0, 4, 4, 0], [0, 0, 4, 4], [10, 10, 10.5, 10]).suspects.empty

    def test_a_perfect_plane_with_one_slip_is_no_division_by_nought(self) -> None:
        level = 10 - self.Y.ravel() / 60
        level[5] += 0.02
        assert fit_plane(self.X.ravel(), self.Y.ravel(), level).suspects["point"].tolist() == ["6"]


class TestRefusals:
    @pytest.mark.parametrize(("x", "y", "level", "said"), [
        ([], [], [], "only 0 spots"), ([0], [0], [1], "is only 1 spot"), ([0, 1], [0, 1], [1, 2], "are only 2 spots"),
        ([0, 1, 2], [0, 1, 2], [1, 2, 3], "lie in a line"), ([5, 5, 5], [1, 1, 1], [1, 2, 3], "at one place"),
        ([0, 1e-150, 0], [0, 0, 1e-150], [1, 2, 3], "at one place"),
        ([0, 1e9, 0], [0, 0, 1], [1, 2, 3], "x is 1000000000.0. It must be a finite number in m, under a million km"),
        (np.ma.array([0, 1, 0], mask=[0, 0, 1]), [0, 0, 1], [1, 2, 3], "x holds something"),
        ([0, 1, 0], [0, 0, 1], np.array(["2026-01-01"] * 3, "M8[D]"), "level holds something"),
        ([0, 1, 0], [0, 0, 1], np.array([1, 2, 3], "m8[s]"), "level holds something"),
        ([0, 1, 2], [0, 1], [1, 2, 3], "3, 2, 3 values"), ([0, 1, math.nan], [0, 1, 3], [1, 2, 3], "x is nan"),
        ([0, 1, 0], [0, 1, 3], [1, 2, math.inf], "level is inf"), ([0, 1, 0], [0, 1, 3], ["a", 2, 3], "level holds something"),
    ])
    def test_spots_that_give_no_plane(self, x: list[float], y: list[float], level: list[float], said: str) -> None:
        with pytest.raises(SurveyError, match=f"(?i){said}"):
            fit_plane(x, y, level)

    def test_spots_at_one_place_are_not_said_to_run_anywhere(self) -> None:
        with pytest.raises(SurveyError, match="all spots are at one place") as told:
            fit_plane([2.0] * 4, [1.0] * 4, [10.0, 10.1, 10.0, 10.1])
        assert "axis" not in str(told.value)

    @pytest.mark.parametrize(("x", "y", "degrees"), [([0, 1, 2, 3], [0, 0, 0, 0], "0°"), ([0, 0, 0], [0, 1, 2], "90°"),
                                                     ([0, 1, 2], [0, 1, 2], "45°"), ([0, 1, 2], [2, 1, 0], "135°")])
    def test_spots_in_a_line_are_told_their_direction(self, x: list[float], y: list[float], degrees: str) -> None:
        with pytest.raises(SurveyError, match=f"run {degrees} from the x axis"):
            fit_plane(x, y, x)

    def test_a_line_on_a_national_grid_is_seen_as_one(self) -> None:
        with pytest.raises(SurveyError, match="lie in a line"):
            fit_plane([450_000.1, 450_001.1, 450_002.1], [6_200_000.3, 6_200_001.3, 6_200_002.3], [1, 2, 3])

    @pytest.mark.parametrize("sd", [1e-300, 1e-160])
    def test_standard_deviations_that_no_weight_can_be_made_of_are_refused(self, sd: float) -> None:
        with pytest.raises(SurveyError, match="weights of the spots are too unlike"):
            fit_plane([0, 4, 4, 0], [0, 0, 3, 3], [1, 1, 1, 1.01], sd=sd)

    def test_the_spot_at_fault_is_named(self) -> None:
        with pytest.raises(SurveyError, match="Point C: level is nan"):
            fit_plane([0, 1, 0], [0, 0, 1], [1, 2, math.nan], points=["A", "B", "C"])

    SQUARE = ([0, 4, 4, 0], [0, 0, 4, 4], [10, 10, 10.5, 10])

    @pytest.mark.parametrize("options", [
        {"sd": 0.0}, {"sd": -1.0}, {"sd": math.nan}, {"sd": [1, 2]}, {"sd": "small"}, {"sd": 1.0, "covariance": np.eye(4)},
        {"covariance": np.eye(3)}, {"covariance": np.full((4, 4), 1.0)}, {"covariance": -np.eye(4)},
        {"covariance": np.diag([1, 1, 1, math.nan])}, {"covariance": np.eye(4) + np.triu(np.full((4, 4), 0.5), 1)},
        {"covariance": 1e-8 * (np.eye(4) + np.triu(np.full((4, 4), 0.5), 1))}],
        ids=["nought", "negative", "nan", "too few", "a word", "both", "shape", "singular", "negative definite", "not finite",
             "one-sided", "one-sided and small"])
    def test_errors_that_make_no_sense(self, options: dict[str, object]) -> None:
        with pytest.raises(SurveyError):
            fit_plane(*self.SQUARE, **options)  # type: ignore[arg-type]
