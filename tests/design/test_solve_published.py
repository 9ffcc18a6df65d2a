"""Published formulas and limits as solved problems.

The cases W09 and W11 stand in tests/reference/gradients.json with their sources: the formula, or the method and its inputs, are
printed there; the expected numbers were computed from them by whoever compiled that list, and are not printed. The limits are
written out here as their documents have them; `LIMITS` says which text was read, quoted or remembered.
"""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from sitelevels import (
    LIMITS,
    Brief,
    Clearance,
    FallAlong,
    FallAway,
    Ground,
    MaxGradient,
    Meet,
    Plane,
    Solution,
    Step,
    SurveyWarning,
    Wall,
    solve_finish,
)

CASES = json.loads((Path(__file__).parents[1] / "reference" / "gradients.json").read_text(encoding="utf-8"))
YARD = [(0, 0), (6, 0), (6, 4), (0, 4)]
SOUTH, WEST = Wall("south", (0, 0), (6, 0), dpc=10.15), Wall("west", (0, 0), (0, 4), dpc=10.15)
GROUND = Ground([0, 6, 6, 0], [0, 0, 4, 4], [9.9, 9.9, 9.8, 9.8])
TENTH = 1e-4  # m
HUNDREDTH = 1e-5  # m/m


def case(number: str) -> dict[str, Any]:
    def every(part: Any) -> Any:
        if isinstance(part, dict):
            yield part
        for one in part.values() if isinstance(part, dict) else part if isinstance(part, list) else ():
            yield from every(one)
    return next(one for one in every(CASES) if one.get("id") == number)


def solved(*demands: Any) -> Solution:
    return solve_finish(Brief(YARD, walls=[SOUTH, WEST], demands=demands), GROUND)


def plane_of(solution: Solution) -> Plane:
    assert solution.finish is not None
    (facet,) = solution.finish.facets
    return facet.plane


class TestTrueAndApparentFalls:
    def test_a_full_fall_of_1_in_5_is_seen_at_45_degrees_as_1_in_7_071(self) -> None:
        told = case("W11")
        full = 1 / told["inputs"]["full_one_in"]
        with pytest.warns(SurveyWarning, match="Is the unit right"):  # 200 mm/m is questioned, not refused
            demand = FallAway("south", full, full, full)
        plane = plane_of(solved(demand, FallAlong("south", 0.0)))
        angle = math.radians(90 - told["inputs"]["off_angle_deg"])
        seen = plane.fall_towards(math.cos(angle), math.sin(angle))
        assert 1 / seen == pytest.approx(told["expected"]["apparent_one_in"], abs=told["rounding"]["apparent_one_in"] / 2)

    def test_and_at_60_degrees_as_1_in_10(self) -> None:
        told = case("W11")
        full = 1 / told["inputs"]["second_full"]
        with pytest.warns(SurveyWarning, match="Is the unit right"):
            demand = FallAway("south", full, full, full)
        plane = plane_of(solved(demand, FallAlong("south", 0.0)))
        angle = math.radians(90 - told["expected"]["angle_for_1_in_10_deg"])
        seen = plane.fall_towards(math.cos(angle), math.sin(angle))
        assert 1 / seen == pytest.approx(told["inputs"]["second_apparent"], abs=0.05)

    def test_1_in_100_and_1_in_80_away_from_two_walls_combine_to_1_in_62_47(self) -> None:
        told = case("W09")
        across, down = told["inputs"]["fall_x"], told["inputs"]["fall_y"]
        plane = plane_of(solved(FallAway("west", across, across, across), FallAway("south", down, down, down)))
        rounding = told["rounding"]
        assert plane.fall == pytest.approx(told["expected"]["true_fall"], abs=rounding["true_fall"] / 2)
        assert 1 / plane.fall == pytest.approx(told["expected"]["one_in"], abs=rounding["one_in"] / 2)
        direction = math.degrees(math.atan2(-plane.gy, -plane.gx))
        assert direction == pytest.approx(told["expected"]["direction_deg_from_x"], abs=rounding["direction_deg_from_x"] / 2)

    def test_so_that_they_fight_with_a_greatest_gradient_below_it_and_not_above(self) -> None:
        """The solver keeps a greatest gradient by 32 sides inside the circle: 0.5 % above the true fall is always enough."""
        told = case("W09")
        falls = [FallAway("west", told["inputs"]["fall_x"]), FallAway("south", told["inputs"]["fall_y"])]
        true = told["expected"]["true_fall"]
        assert solved(*falls, MaxGradient(true / math.cos(math.pi / 32) + 1e-6)).solved
        below = solved(*falls, MaxGradient(true - HUNDREDTH))
        assert len(below.conflicts) == 1
        assert len(below.conflicts[0].demands) == 3


def pinned(level: float) -> Meet:
    """The paving at a door, held to a level."""
    return Meet([("paving", 3.0, 0.5, level)], 0.0)


def step(rise: float, least: float, most: float) -> bool:
    """Whether paving so far below a tread at 10.000 m makes a step within the limits; if not, the two fight and nothing else."""
    demands = [Step([("tread", 3.0, 0.5, 10.0)], least, most), pinned(10.0 - rise)]
    solution = solved(*demands)
    if not solution.solved:
        assert [set(one.demands) for one in solution.conflicts] == [set(demands)]
    return solution.solved


class TestSteps:
    """75 mm: Approved Document M volume 1, M4(1), from memory. 150 mm: Part M as a self-build centre summarises it.

    220 mm: NHBC Standards 10.2.5 (2020). 15 mm: NHBC Standards 7.1.11 (2020).
    """

    @pytest.mark.parametrize(("name", "value"), [
        ("step least", 0.075), ("step most", 0.150), ("step most, garden", 0.220), ("threshold, level access", 0.015),
        ("ramp", 1 / 12), ("level approach", 1 / 60), ("clearance", 0.150), ("fall away", 1 / 80)])
    def test_the_package_has_the_limits_as_written_here(self, name: str, value: float) -> None:
        assert LIMITS[name].value == value
        assert LIMITS[name].source

    @pytest.mark.parametrize(("rise", "fits"), [(0.075, True), (0.075 - TENTH, False), (0.150, True), (0.150 + TENTH, False)])
    def test_of_an_approach_to_a_dwelling(self, rise: float, fits: bool) -> None:
        assert step(rise, 0.075, 0.150) == fits

    def test_these_are_the_limits_of_a_step_that_names_none(self) -> None:
        demand = Step([("tread", 3.0, 0.5, 10.0)])
        assert (demand.least, demand.most) == (0.075, 0.150)

    @pytest.mark.parametrize(("rise", "fits"), [(0.220, True), (0.220 + TENTH, False)])
    def test_of_a_garden(self, rise: float, fits: bool) -> None:
        assert step(rise, 0.075, 0.220) == fits

    @pytest.mark.parametrize(("rise", "fits"), [(0.0, True), (-TENTH, False), (0.015, True), (0.015 + TENTH, False)])
    def test_of_a_threshold_with_level_access(self, rise: float, fits: bool) -> None:
        assert step(rise, 0.0, 0.015) == fits

    def test_level_access_under_a_dpc_as_high_as_the_sill_fights_with_150_mm(self) -> None:
        """Sill 10.150 m, as high as the DPC, over paving at least 150 mm below it: 135 mm apart; a sill at 10.015 m is not."""
        for sill, fits in ((10.15, False), (10.015 + TENTH, False), (10.015, True)):
            solution = solved(Clearance("south", 0.150), Step([("sill", 3.0, 0.0, sill)], 0.0, 0.015))
            assert solution.solved == fits
            assert solution.quarrel.level_access == (not fits)


def ramp(fall: float, way: tuple[float, float]) -> Meet:
    """Paving held to a fall over 3 m in a direction; what is square to that is left free."""
    x, y = 3.0 - 1.5 * way[0], 2.0 - 1.5 * way[1]
    return Meet([("top", x, y, 9.9), ("foot", x + 3 * way[0], y + 3 * way[1], 9.9 - 3 * fall)], 0.0)


class TestSlopes:
    """1:12: Lifetime Homes, criterion 2. 1:60: Approved Document M as an industry page quotes it. 1:80: BS 7533, old edition."""

    @pytest.mark.parametrize("limit", [1 / 12, 1 / 60])
    @pytest.mark.parametrize(("more", "fits"), [(0.0, True), (HUNDREDTH, False)])
    def test_a_greatest_fall_away_and_one_along(self, limit: float, more: float, fits: bool) -> None:
        for demand, way in ((FallAway("south", 0.0, most=limit), (0.0, 1.0)), (FallAlong("south", limit), (1.0, 0.0)),
                            (FallAlong("south", limit), (-1.0, 0.0))):
            held = ramp(limit + more, way)
            solution = solved(demand, held)
            assert solution.solved == fits
            if not fits:
                assert [set(one.demands) for one in solution.conflicts] == [{demand, held}]

    @pytest.mark.parametrize(("fall", "fits"), [(1 / 80, True), (1 / 80 - HUNDREDTH, False)])
    def test_a_least_fall_away(self, fall: float, fits: bool) -> None:
        assert solved(FallAway("south", 1 / 80), ramp(fall, (0.0, 1.0))).solved == fits

    @pytest.mark.parametrize("limit", [1 / 12, 1 / 60])
    def test_a_greatest_gradient_in_any_direction(self, limit: float) -> None:
        """By 32 sides inside the circle: half a per cent below the limit is met, a hundredth of a mm/m beyond it is not."""
        for angle in np.linspace(0, 2 * math.pi, 7, endpoint=False):
            way = (math.cos(angle), math.sin(angle))
            assert solved(MaxGradient(limit), ramp(limit * math.cos(math.pi / 32), way)).solved
            assert not solved(MaxGradient(limit), ramp(limit + HUNDREDTH, way)).solved

    @pytest.mark.parametrize(("dpc_over", "fits"), [(0.150, True), (0.150 - TENTH, False)])
    def test_150_mm_below_the_damp_proof_course(self, dpc_over: float, fits: bool) -> None:
        """NHBC Standards 10.2.6 (2021). The DPC lies at 10.150 m."""
        demands = [Clearance("south", 0.150), Meet([("paving", 3.0, 0.0, 10.15 - dpc_over)], 0.0), FallAlong("south", 0.0)]
        assert solved(*demands).solved == fits
