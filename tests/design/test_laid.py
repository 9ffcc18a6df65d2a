"""A laid surface: its numbers against interpolation and least squares of the tests' own, its uncertainties by hand and by chance.

The law of propagation is that of JCGM 100:2008, 5.1.2 and 5.2.2; that what a surface does between spots follows a variogram that
rises in proportion to distance up to the usual distance of spots is what `check_laid` says of it (common practice, no source).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
import pytest
from scipy.interpolate import LinearNDInterpolator

from sitelevels import Brief, Clearance, ErrorBudget, Facet, Finish, Plane, Wall
from sitelevels.design.conditions import Demand
from sitelevels.design.demands import FallAlong, FallAway, KeepBelow, MaxGradient, Meet, Step
from sitelevels.design.laid import Laid, _folds, _outstanding, check_laid, judged
from sitelevels.errors import SurveyError
from sitelevels.surface.plane import fit_plane
from sitelevels.survey.book import LevelBook, Row
from sitelevels.survey.reduction import ReducedLevels, reduce_book

Place = tuple[float, float]
Spots = Mapping[str, tuple[float, float, float]]

# No two figures are alike, so that none can stand in for another. Lengths in m, slopes in m/m.
READING, HARD, SOFT, BACK, ZERO = 0.0011, 0.0007, 0.0023, 0.0013, 0.0005
BODY, SELF, CONE = 0.00012, 0.00005, 0.00009
OWN = ErrorBudget(READING, HARD, SOFT, 0.0031, BACK, ZERO, BODY, SELF, CONE, tape=0.0)
TILT2 = BODY**2 + SELF**2
SURE = ErrorBudget(*([0.0] * 11))
"""No errors at all."""

AREA = [(0.0, 0.0), (6.0, 0.0), (6.0, 4.0), (0.0, 4.0)]
BM, BM_LEVEL, HPC = (2.0, -3.0), 9.5, 11.0
STOOD = (4.0, -1.0)
DESIGN = Plane(9.84, 0.0, -0.02)
"""9.840 at the wall, 20 mm/m away from it."""
FINISH = Finish.plane(DESIGN, AREA)
DPC = {"D1": (-3.0, 0.0, 10.0), "D2": (9.0, 0.0, 10.0)}
WALL = Wall("house", (-3, 0), (9, 0), dpc=[(0, 10.0), (12, 10.0)], points=("D1", "D2"))
GRID = [(x, y) for x in (0.0, 2.0, 4.0, 6.0) for y in (0.0, 2.0, 4.0)]


def on(plane: Plane, places: list[Place], off: Any = 0.0) -> dict[str, tuple[float, float, float]]:
    """Spots on a plane, `off` m above it."""
    return {f"P{number}": (x, y, plane.level + plane.gx * x + plane.gy * y + above) for number, ((x, y), above) in
            enumerate(zip(places, np.broadcast_to(off, len(places)), strict=True), start=1)}


def book(spots: Spots, marks: Spots = DPC, feature: str = "dpc") -> ReducedLevels:
    """One set-up on the benchmark, from which every mark and every spot is read once, upright."""
    rows = [Row(1, "BM", bs=HPC - BM_LEVEL, rl=BM_LEVEL, feature="benchmark", x=BM[0], y=BM[1])]
    for told, named in ((feature, marks), ("", spots)):
        rows += [Row(len(rows) + number, name, is_=HPC - level, x=x, y=y, feature=told)
                 for number, (name, (x, y, level)) in enumerate(named.items(), start=1)]
    return reduce_book(LevelBook(tuple(rows)))


def briefed(*demands: Demand) -> Brief:
    return Brief(AREA, walls=[WALL], demands=demands)  # type: ignore[arg-type]


def counted(reduced: ReducedLevels, budget: ErrorBudget = OWN) -> Any:
    return budget.errors(reduced, instruments={1: STOOD})


USUAL = (Clearance("house"), FallAway("house", 1 / 80), FallAlong("house"))


def bumps(seed: int, count: int, size: float = 0.004) -> Any:
    return np.random.default_rng(seed).normal(0, size, count)


def scattered(seed: int, count: int = 20) -> list[Place]:
    """Irregular places with the corners of the area, so that their triangles are told apart."""
    random = np.random.default_rng(seed)
    return [*AREA, *map(tuple, random.uniform((0.2, 0.2), (5.8, 3.8), (count, 2)).tolist())]


def least_squares(spots: Spots, among: Any = None) -> Any:
    """Level at the origin, gx, gy by numpy's lstsq."""
    x, y, level = np.array(list(spots.values())).T
    keep = np.ones(len(x), bool) if among is None else among(x, y)
    return np.linalg.lstsq(np.column_stack([np.ones(keep.sum()), x[keep], y[keep]]), level[keep], rcond=None)[0]


class TestLaidToTheDesign:
    def test_it_has_the_numbers_of_the_design(self) -> None:
        laid = check_laid(book(on(DESIGN, GRID)), FINISH, briefed(*USUAL))
        clearance, away, along = laid.worst
        assert (clearance.found, away.found, along.found) == pytest.approx((0.16, 0.02, 0.0), abs=1e-9)
        assert (clearance.margin, away.margin, along.margin) == pytest.approx((0.01, 0.02 - 1 / 80, 1 / 40), abs=1e-9)
        assert [verdict for verdict, _ in laid.judged] == ["met"] * 3
        assert laid.spots["deviation"].abs().max() < 1e-9
        assert laid.doubts == ()

    def test_without_errors_a_verdict_goes_by_the_margin(self) -> None:
        """Two levels 1 mm to either side of the limit of 150 mm below the DPC at 10 m."""
        for level, verdict in ((9.849, "met"), (9.851, "not met")):
            laid = check_laid(book(on(Plane(level, 0, -0.02), GRID)), FINISH, briefed(Clearance("house")))
            assert laid.judged == ((verdict, None),)

    def test_deviation_at_every_point(self) -> None:
        off = bumps(1, len(GRID))
        spots = check_laid(book(on(DESIGN, GRID, off)), FINISH, briefed(*USUAL)).spots
        assert spots["point"].tolist() == [f"P{number}" for number in range(1, 13)]
        assert spots["deviation"].to_numpy() == pytest.approx(off, abs=1e-9)
        assert spots["design"].to_numpy() == pytest.approx([9.84 - 0.02 * y for _, y in GRID], abs=1e-9)

    def test_what_is_shown(self) -> None:
        off = np.zeros(len(GRID))
        off[4] = -0.007
        laid = check_laid(book(on(DESIGN, GRID, off)), FINISH, briefed(*USUAL), budget=OWN)
        assert "the farthest is P5, 7.0 mm below" in laid.sentence()
        assert laid.spots_words["off the design"].iloc[0] == "7.0 mm low"
        assert laid.sentence() in laid._repr_html_()
        assert laid.table is not laid.table

    def test_a_level_design_without_a_wall_is_shown_too(self) -> None:
        level = Plane(9.8, 0, 0)
        laid = check_laid(book(on(level, GRID, bumps(2, 12, 0.001)), {}), Finish.plane(level, AREA),
                          Brief(AREA, demands=[MaxGradient(0.03)]))
        assert len(laid.falls) >= 1
        assert laid.sentence() in laid._repr_html_()


class TestLevelsBetweenSpots:
    def test_by_another_interpolation(self) -> None:
        places = scattered(3)
        spots = on(DESIGN, places, bumps(4, len(places)))
        x, y, level = np.array(list(spots.values())).T
        between = LinearNDInterpolator(np.column_stack([x, y]), level)
        marks = {f"M{number}": (a, b, 9.99) for number, (a, b) in enumerate(
            np.random.default_rng(5).uniform((0.1, 0.1), (5.9, 3.9), (25, 2)))}
        laid = check_laid(book(spots, {}), FINISH, briefed(*(KeepBelow((name, *told), 0.1) for name, told in marks.items())))
        assert [one.found for one in laid.everywhere] == pytest.approx(
            [9.99 - float(between(a, b)) for a, b, _ in marks.values()], abs=1e-9)

    def test_signs_and_limits_on_either_side(self) -> None:
        """Between spots at 9.800 and 9.760: 9.780 in the middle. A sill at 9.900 is a step of 120 mm, old paving at 9.777 is
        3 mm lower."""
        laid = check_laid(book(on(DESIGN, GRID), {}), FINISH, briefed(
            Step([("sill", 2.0, 3.0, 9.9)], 0.1, 0.15), Meet([("old", 2.0, 3.0, 9.777)], 0.005)))
        step, meet = laid.worst
        assert (step.found, step.margin, meet.found, meet.margin) == pytest.approx((0.12, 0.02, 0.003, 0.002), abs=1e-9)

    def test_beyond_the_spots_the_fall_of_the_facet_carries_on(self) -> None:
        """The sill is 0.5 m from the line of the outermost spots, square to it: the level there, and 0.5 m of the fitted fall."""
        places = [(x, y) for x in (0.5, 2.5, 5.5) for y in (0.5, 2.0, 3.5)]
        spots = on(DESIGN, places, bumps(6, 9))
        middle = (spots["P4"][2] + spots["P7"][2]) / 2  # at (4.0, 0.5), halfway from P4 (2.5, 0.5) to P7 (5.5, 0.5)
        laid = check_laid(book(spots, {}), FINISH, briefed(KeepBelow(("sill", 4.0, 0.0, 10.0), 0.1)))
        gy = least_squares(spots)[2]
        assert laid.worst[0].found == pytest.approx(10.0 - (middle - 0.5 * gy), abs=1e-9)

    def test_a_mark_that_was_read_again_counts_as_now(self) -> None:
        marks = {"D1": (-3.0, 0.0, 10.004), "D2": (9.0, 0.0, 10.0)}
        laid = check_laid(book(on(DESIGN, GRID), marks), FINISH, briefed(Clearance("house")))
        found = {one.condition.place: one.found for one in laid.everywhere}
        assert found["house, 3.00 m along"] == pytest.approx(0.16 + 0.75 * 0.004, abs=1e-9)
        assert found["house, 9.00 m along"] == pytest.approx(0.16 + 0.25 * 0.004, abs=1e-9)
        assert not laid.doubts  # 4 mm is less than what is asked about


class TestFalls:
    def test_by_least_squares_without_errors(self) -> None:
        places = scattered(7)
        spots = on(DESIGN, places, bumps(8, len(places)))
        laid = check_laid(book(spots), FINISH, briefed(*USUAL))
        _, gx, gy = least_squares(spots)
        assert (laid.worst[1].found, laid.worst[2].found) == pytest.approx((-gy, -gx), abs=1e-9)
        assert laid.falls["laid"].tolist() == pytest.approx([-gy, -gx], abs=1e-9)
        assert laid.falls["design"].tolist() == pytest.approx([0.02, 0.0], abs=1e-12)
        assert laid.falls["u"].isna().all()
        (steepest,) = check_laid(book(spots), FINISH, briefed(MaxGradient(0.05))).worst
        assert steepest.found == pytest.approx(math.hypot(gx, gy), abs=1e-9)

    def test_by_own_generalised_least_squares_with_errors(self) -> None:
        spots = on(DESIGN, scattered(9), bumps(10, 24))
        reduced = book(spots)
        laid = check_laid(reduced, FINISH, briefed(*USUAL), budget=counted(reduced))
        answer, u = generalised(spots)
        assert (laid.worst[1].found, laid.worst[2].found) == pytest.approx((-answer[2], -answer[1]), abs=1e-8)
        assert (laid.worst[1].u, laid.worst[2].u) == pytest.approx((u[2], u[1]), rel=1e-4)
        assert laid.falls["u"].tolist() == pytest.approx([u[2], u[1]], rel=1e-4)

    @pytest.mark.parametrize("count", [4, 8, 40])
    def test_more_spots_make_a_fall_surer(self, count: int) -> None:
        """Spots in pairs at the two ends, 4 m apart, all on the plane: errors alone, (READING² + SOFT²)·4/n/4², and the tilt."""
        places = [(float(x), y) for y in (0.0, 4.0) for x in np.linspace(0, 6, count // 2)]
        reduced = book(on(DESIGN, places))
        stood_square = ErrorBudget(READING, HARD, SOFT, 0.0031, BACK, ZERO, BODY, SELF, 0.0, tape=0.0)  # no cone
        (away,) = check_laid(reduced, FINISH, briefed(FallAway("house")), budget=counted(reduced, stood_square)).worst
        assert away.u == pytest.approx(math.sqrt((READING**2 + SOFT**2) * 4 / count / 4**2 + TILT2), rel=1e-4)

    def test_channel_facet_by_facet(self) -> None:
        """The near half was laid to 25 mm/m and the far one to 15, the channel to 8; the design asks for 20, 20 and 10."""
        finish = Finish.channel(((0, 2), (6, 2)), AREA, level=9.76, fall=0.01, left=0.02, right=0.02)
        places = [(x, y) for x in (0.0, 2.0, 4.0, 6.0) for y in (0.0, 1.0, 2.0, 3.0, 4.0)]
        spots = {f"P{number}": (x, y, 9.76 - 0.008 * x + (0.025 * (2 - y) if y < 2 else 0.015 * (y - 2)))
                 for number, (x, y) in enumerate(places)}
        laid = check_laid(book(spots, {}), finish, Brief(AREA))
        falls = laid.falls.set_index(["facet", "direction"])["laid"]
        for number, facet in enumerate(finish.facets, start=1):
            near = facet.area.centroid.y < 2
            assert falls[number, "to its drain"] == pytest.approx(0.025 if near else 0.015, abs=1e-9)
            assert falls[number, "along the channel"] == pytest.approx(0.008, abs=1e-9)
        assert laid.falls["spots"].tolist() == [12, 12, 12, 12]  # those on the fold count on either side
        assert sorted(one.found for one in laid.everywhere) == pytest.approx([0.008, 0.008, 0.015, 0.025], abs=1e-9)
        (verdict, _), = laid.judged
        assert verdict == "not met"  # the channel asks for 1:100
        assert laid.ground.level_at(3.0, 2.0) == pytest.approx(9.736, abs=1e-9)

    def test_outlet_facet_by_facet(self) -> None:
        """A square floor with its outlet in the middle and a spot at every metre: each facet by its own lstsq."""
        square = [(0.0, 0.0), (4.0, 0.0), (4.0, 4.0), (0.0, 4.0)]
        finish = Finish.outlet((2, 2), square, level=9.76, perimeter=9.8)
        places = [(float(x), float(y)) for x in range(5) for y in range(5)]
        off = bumps(11, 25, 0.002)
        spots = {f"P{number}": (x, y, 9.76 + 0.02 * max(abs(x - 2), abs(y - 2)) + above)
                 for number, ((x, y), above) in enumerate(zip(places, off, strict=True))}
        laid = check_laid(book(spots, {}), finish, Brief(square))
        falls = laid.falls
        assert falls["spots"].tolist() == [9] * 4  # of a side and its row inwards 5 + 3, and the outlet
        for number, facet in enumerate(finish.facets):
            to_x, to_y = facet.towards or (0.0, 0.0)

            def mine(x: Any, y: Any, to_x: float = to_x, to_y: float = to_y) -> Any:
                return -(x - 2) * to_x - (y - 2) * to_y >= np.maximum(np.abs(x - 2), np.abs(y - 2)) - 1e-9
            _, gx, gy = least_squares(spots, mine)
            assert falls["laid"][number] == pytest.approx(-(gx * to_x + gy * to_y), abs=1e-9)
        for x, y, level in spots.values():
            assert laid.ground.level_at(x, y) == pytest.approx(level, abs=1e-9)


def table_of(places: list[Place], soft: float = SOFT) -> Any:
    """Covariance (m²) of levels read once from one set-up: backsight, tilt about the benchmark, cone, own reading and placing."""
    away = np.array(places) - BM
    cone = CONE * (math.dist(BM, STOOD) - np.hypot(*(np.array(places) - STOOD).T))
    return BACK**2 + TILT2 * away @ away.T + np.outer(cone, cone) + (READING**2 + soft**2) * np.eye(len(places))


def uneven_of(spots: Spots) -> float:
    """Variance (m²) of the residuals of the plain plane beyond what the errors of the readings would leave in them."""
    x, y, level = np.array(list(spots.values())).T
    columns = np.column_stack([np.ones(len(x)), x, y])
    off = np.eye(len(x)) - columns @ np.linalg.solve(columns.T @ columns, columns.T)
    left = off @ level
    return float((left @ left - np.trace(off @ table_of(list(zip(x, y, strict=True))))) / (len(x) - 3))


def generalised(spots: Spots) -> tuple[Any, Any]:
    """Level at the origin, gx and gy, and their standard uncertainties, with the weights of the whole covariance."""
    x, y, level = np.array(list(spots.values())).T
    whole = table_of(list(zip(x, y, strict=True))) + max(uneven_of(spots), 0.0) * np.eye(len(x))
    columns, heavy = np.column_stack([np.ones(len(x)), x, y]), np.linalg.inv(whole)
    table = np.linalg.inv(columns.T @ heavy @ columns)
    return table @ columns.T @ heavy @ level, np.sqrt(np.diag(table))


class TestUncertaintyByHand:
    """The clearance at the corner (0, 0), a quarter of the way from D1 to D2; a spot stands there."""

    PLACE = "house, 3.00 m along"

    def found(self, laid: Laid) -> float:
        return next(one.u or 0.0 for one in laid.everywhere if one.condition.place == self.PLACE)

    def test_of_a_mark_in_the_same_book_the_set_up_cancels(self) -> None:
        """No backsight and no tilt: the DPC above the corner is read from the same set-up; the cone stays."""
        reduced = book(on(DESIGN, GRID))
        laid = check_laid(reduced, FINISH, briefed(Clearance("house")), budget=counted(reduced))
        cone = CONE * (0.75 * math.dist((-3, 0), STOOD) + 0.25 * math.dist((9, 0), STOOD) - math.dist((0, 0), STOOD))
        dpc = (0.75**2 + 0.25**2) * (READING**2 + HARD**2)
        assert self.found(laid) == pytest.approx(math.sqrt(READING**2 + SOFT**2 + dpc + cone**2), rel=1e-6)

    def test_of_a_mark_in_the_first_survey_two_set_ups_count(self) -> None:
        """Each has its backsight, its tilt about the benchmark and its cone."""
        reduced, first = book(on(DESIGN, GRID), {}), book({}, DPC)
        laid = check_laid(reduced, FINISH, briefed(Clearance("house")), budget=counted(reduced), survey=counted(first))
        tilt = TILT2 * math.dist((0, 0), BM)**2
        back = math.dist(BM, STOOD)
        spot = BACK**2 + tilt + CONE**2 * (back - math.dist((0, 0), STOOD))**2 + READING**2 + SOFT**2
        dpc = BACK**2 + tilt + CONE**2 * (back - 0.75 * math.dist((-3, 0), STOOD) - 0.25 * math.dist((9, 0), STOOD))**2 \
            + (0.75**2 + 0.25**2) * (READING**2 + HARD**2)
        assert self.found(laid) == pytest.approx(math.sqrt(spot + dpc), rel=1e-6)
        assert "No mark of the first survey was read again" in laid.doubts[0]

    def test_of_marks_in_both_books_only_the_new_reading_counts(self) -> None:
        reduced = book(on(DESIGN, GRID))
        alone = check_laid(reduced, FINISH, briefed(Clearance("house")), budget=counted(reduced))
        rough = counted(book({}, DPC), replace(OWN, reading=0.01, backsight=0.01))
        both = check_laid(reduced, FINISH, briefed(Clearance("house")), budget=counted(reduced), survey=rough)
        assert self.found(both) == pytest.approx(self.found(alone), rel=1e-12)

    def test_from_a_mark_as_the_benchmark_only_the_new_readings_count(self) -> None:
        """The benchmark is gone, so the laid book starts from the DPC mark at its level of the first survey.

        The clearance below that mark is a reading less a backsight: how sure the mark's own level was falls out.
        """
        rows = [Row(1, "D1", bs=1.0, rl=10.0, feature="dpc", x=-3.0, y=0.0)]
        rows += [Row(number, name, is_=HPC - level, x=x, y=y)
                 for number, (name, (x, y, level)) in enumerate(on(DESIGN, GRID).items(), start=2)]
        reduced = reduce_book(LevelBook(tuple(rows)))
        demand = KeepBelow(("D1", 0.0, 0.0, 10.0), 0.1)
        errors = counted(reduced)
        laid = check_laid(reduced, FINISH, briefed(demand), budget=errors, survey=counted(book({}, DPC)))
        cone = CONE * (math.dist((-3, 0), STOOD) - math.dist((0, 0), STOOD))
        expected = BACK**2 + READING**2 + SOFT**2 + TILT2 * 3**2 + cone**2
        assert laid.worst[0].u == pytest.approx(math.sqrt(expected), rel=1e-6)

    def test_between_two_spots_half_of_the_unevenness_counts(self) -> None:
        """Halfway between spots 2 m apart, the usual distance: 2·½ − 2·¼·1 = ½ of its variance; the spots' own errors are halved.

        The mark is read from the same set-up at the same place.
        """
        spots = on(DESIGN, GRID, bumps(12, 12, 0.006))
        marks = {"vent": (1.0, 2.0, 10.0)}
        reduced = book(spots, marks, "airbrick")
        laid = check_laid(reduced, FINISH, briefed(KeepBelow(("vent", 1.0, 2.0, 10.0), 0.1)), budget=counted(reduced))
        uneven = uneven_of(spots)
        assert uneven > 1e-6
        cone = CONE * (math.dist((1, 2), STOOD) - (math.dist((0, 2), STOOD) + math.dist((2, 2), STOOD)) / 2)
        expected = (READING**2 + SOFT**2) / 2 + READING**2 + HARD**2 + cone**2 + uneven / 2
        assert laid.worst[0].u == pytest.approx(math.sqrt(expected), rel=1e-6)

    def test_of_the_slope_under_the_tape_at_the_place(self) -> None:
        """Sure readings: what is left is the place, 12 mm out on 20 mm/m, and as much for the spot's own place."""
        taped = replace(SURE, tape=0.012)
        reduced = book(on(DESIGN, GRID))
        laid = check_laid(reduced, FINISH, briefed(Clearance("house")), budget=counted(reduced, taped))
        assert self.found(laid) >= 0.012 * 0.02 * (1 - 1e-6)

    def test_the_tape_counts_at_the_spots_too(self) -> None:
        """At a spot: its own place and that of the corner may each be 12 mm out, apart from each other."""
        taped = replace(SURE, tape=0.012)
        reduced = book(on(DESIGN, GRID))
        laid = check_laid(reduced, FINISH, briefed(Clearance("house")), budget=counted(reduced, taped))
        assert self.found(laid) == pytest.approx(math.sqrt(2) * 0.012 * 0.02, rel=1e-3)

    def test_a_budget_takes_new_paving_for_a_hard_mark(self) -> None:
        """Given a budget alone, the staff stands on laid paving: READING and HARD at the spot."""
        reduced = book(on(DESIGN, GRID))
        no_cone = replace(OWN, collimation=0.0)
        laid = check_laid(reduced, FINISH, briefed(Clearance("house")), budget=no_cone)
        assert self.found(laid) == pytest.approx(math.sqrt((READING**2 + HARD**2) * (1 + 0.75**2 + 0.25**2)), rel=1e-6)

    def test_a_budget_leaves_the_first_survey_its_worn_paving(self) -> None:
        """Old paving of no feature was read once in the first survey: placed on as on worn paving, SOFT."""
        reduced, first = book(on(DESIGN, GRID), {}), book({"old": (2.0, 4.0, 9.76)}, {})
        budget = replace(OWN, tilt_body=0.0, tilt_level=0.0, collimation=0.0)
        laid = check_laid(reduced, FINISH, briefed(Meet([("old", 2.0, 4.0, 9.76)])), budget=budget, survey=first)
        assert laid.worst[0].u == pytest.approx(math.sqrt(2 * BACK**2 + 2 * READING**2 + HARD**2 + SOFT**2), rel=1e-6)


class TestThreeVerdicts:
    @pytest.mark.parametrize(("inside", "verdict"), [(1.01, "met"), (0.99, "too close to call"), (-0.99, "too close to call"),
                                                     (-1.01, "not met")])
    def test_by_k_times_u(self, inside: float, verdict: str) -> None:
        """A mark over a spot, no unevenness: u by hand, k = 1.6449, one place."""
        u = math.sqrt(2 * READING**2 + SOFT**2 + HARD**2)
        marks = {"vent": (2.0, 2.0, 10.0)}
        reduced = book(on(DESIGN, GRID), marks, "airbrick")
        demand = KeepBelow(("vent", 2.0, 2.0, 10.0), 0.2 - inside * 1.6448536 * u)
        laid = check_laid(reduced, FINISH, briefed(demand), budget=counted(reduced))
        assert laid.worst[0].found == pytest.approx(0.2, abs=1e-9)
        assert laid.worst[0].u == pytest.approx(u, rel=1e-6)
        assert laid.judged[0][0] == verdict

    @pytest.mark.parametrize(("places", "k"), [([*AREA, (3.0, 2.0)], 2.919986), (GRID, 1.833113)], ids=["5 spots", "12 spots"])
    def test_few_spots_ask_for_more(self, places: list[Place], k: float) -> None:
        """Sure readings: the residuals alone tell the unevenness. Student's t, 0.95, of 2 and of 9 degrees of freedom."""
        reduced = book(on(DESIGN, places, bumps(13, len(places))), {"vent": (1.0, 0.0, 10.0)}, "airbrick")
        laid = check_laid(reduced, FINISH, briefed(FallAway("house", 1 / 80), KeepBelow(("vent", 1.0, 0.0, 10.0), 0.1)),
                          budget=counted(reduced, SURE))
        assert [one.k for one in laid.everywhere] == pytest.approx([k, k], rel=1e-4)

    def test_no_errors_at_all_is_the_margin_alone(self) -> None:
        reduced = book(on(DESIGN, GRID))
        bare = check_laid(reduced, FINISH, briefed(*USUAL))
        sure = check_laid(reduced, FINISH, briefed(*USUAL), budget=counted(reduced, SURE))
        assert [verdict for verdict, _ in sure.judged] == [verdict for verdict, _ in bare.judged]
        assert max(one.u or 0.0 for one in sure.everywhere) < 1e-6

    def test_errors_of_another_book_are_refused(self) -> None:
        with pytest.raises(SurveyError, match="errors are those of another book"):
            check_laid(book(on(DESIGN, GRID)), FINISH, briefed(*USUAL), budget=counted(book(on(DESIGN, GRID))))


DRAWS, UNEVEN = 2000, 0.002


@pytest.fixture(scope="module")
def drawn() -> Any:
    tape, fall = 0.004, 1 / 60
    budget = replace(OWN, tape=tape)
    true = Plane(9.84, 0.0, -fall)
    marks = {"vent": (2.0, 2.0, 10.0), "hole": (1.0, 2.0, 10.0)}
    finish = Finish.plane(true, AREA)
    brief = briefed(FallAway("house", fall), KeepBelow(("vent", *marks["vent"]), 0.1), KeepBelow(("hole", *marks["hole"]), 0.1))
    reduced = book(on(true, GRID), marks, "airbrick")
    first = check_laid(reduced, finish, brief, budget=counted(reduced, budget))
    places = [*GRID, (2.0, 2.0), (1.0, 2.0)]
    common = table_of(places) - (READING**2 + SOFT**2) * np.eye(14)  # of the set-up
    own = np.diag([READING**2 + SOFT**2 + (tape * fall)**2] * 12 + [READING**2 + HARD**2 + (tape * fall)**2] * 2)
    random = np.random.default_rng(20)
    errors = random.multivariate_normal(np.zeros(14), common + own, DRAWS, method="cholesky")
    uneven = random.normal(0, UNEVEN, (DRAWS, 12))
    left, right, vent = (GRID.index(place) for place in ((0.0, 2.0), (2.0, 2.0), (2.0, 2.0)))
    halfway = (uneven[:, left] + uneven[:, right]) / 2 + random.normal(0, UNEVEN * math.sqrt(0.5), DRAWS)
    plane = np.array([level for _, _, level in on(true, GRID).values()])
    off, u, verdicts = [], [], []
    for error, rough, mid in zip(errors, uneven, halfway, strict=True):
        above_vent, above_hole = true.level_at(2, 2) + rough[vent] + 0.1, true.level_at(1, 2) + mid + 0.1  # just at the limit
        again = {"vent": above_vent + error[12] - 10.0, "hole": above_hole + error[13] - 10.0}
        laid = judged(replace(first.found, again=again), plane + rough + error[:12], finish, brief, reduced, first.errors,
                      first.marks)
        off.append([one.margin for one in laid.worst])
        u.append([one.u for one in laid.worst])
        verdicts.append([verdict for verdict, _ in laid.judged])
    return np.array(off), np.array(u), np.array(verdicts)


class TestByChance:
    """A true surface of exactly the least fall, uneven by 2 mm, read again and again with errors of the budget.

    Three numbers are just at their limits in truth: the fall, the level at a spot, and the level halfway between two spots 2 m
    apart, where the unevenness is half as in the variogram: (e₁ + e₂)/2 and an error of its own of half the variance.
    """

    @pytest.mark.parametrize("number", [0, 1, 2], ids=["fall", "at a spot", "between spots"])
    def test_the_scatter_is_as_claimed(self, drawn: Any, number: int) -> None:
        off, u, _ = (one[:, number] for one in drawn)
        assert abs(off.mean()) < 4 * off.std() / math.sqrt(DRAWS)
        assert math.sqrt((u**2).mean()) == pytest.approx(off.std(), rel=0.10)

    @pytest.mark.parametrize("verdict", ["met", "not met"])
    @pytest.mark.parametrize("number", [0, 1, 2], ids=["fall", "at a spot", "between spots"])
    def test_a_number_at_its_limit_is_rarely_called_either(self, drawn: Any, number: int, verdict: str) -> None:
        """At most 5 of 100, and three standard deviations of sampling."""
        wrong = (drawn[2][:, number] == verdict).mean()
        assert 0.01 < wrong <= 0.05 + 3 * math.sqrt(0.05 * 0.95 / DRAWS)


def test_what_the_readings_leave_is_no_slip() -> None:
    """A truly plane surface, one spot 4 mm high: it stands out of the others, and 1.645 × √(1.1² + 2.3² + …) mm leave as much.

    Readings leave no 10 mm; and by less than 3 mm nobody reads it again.
    """
    brief = Brief(AREA, walls=[WALL], demands=[FallAway("house", 1 / 80)])

    def said(by: float, budget: ErrorBudget | None) -> int:
        spots = on(DESIGN, GRID, [0.0] * 5 + [by] + [0.0] * 6)
        return sum(one.startswith("P6: lies") for one in check_laid(book(spots), FINISH, brief, budget=budget).doubts)
    assert [said(by, budget) for by in (0.004, 0.010, 0.0029) for budget in (None, OWN)] == [1, 0, 1, 1, 0, 0]


@pytest.mark.parametrize("order", [[0, 1, 2, 3, 4, 5], [5, 4, 3, 2, 1, 0]])
def test_a_spot_that_one_low_one_drags_out_is_not_told(order: list[int]) -> None:
    """Four spots in a line, L 20 mm low and I right beside it: without either the rest lie on a plane to 0.1 mm."""
    x, y, off = np.array([[0, 1, 2, 3, 0, 2], [0, 0, 0, 0, 2, 2], [0, 0.0001, 0, 0.0001, -0.020, 0.0005]])[:, order]
    fit = fit_plane(x, y, off, points=["ABCDLI"[one] for one in order])
    assert set(fit.suspects["point"]) == {"I", "L"}
    assert _outstanding(fit, off) == ("L",)
    assert _outstanding(fit, off + 0.02) == ("L",)  # the floor lies 20 mm high as a whole, and L on the design


def test_two_slips_are_both_told() -> None:
    x, y = (part.ravel() for part in np.meshgrid(np.arange(8.0), np.arange(5.0)))
    off = bumps(3, 40, 0.0005)
    off[[9, 30]] = 0.030, -0.025
    fit = fit_plane(x, y, off, points=[f"P{number}" for number in range(40)])
    assert _outstanding(fit, off) == ("P9", "P30")


def test_a_part_whose_spots_lie_in_a_line_is_named() -> None:
    brief = Brief(AREA, walls=[WALL], demands=[FallAway("house", 1 / 80)])
    with pytest.raises(SurveyError, match=r"between x 0 y 0, x 6 y 0, x 6 y 4 and x 0 y 4: 4 spots, .*in a line"):
        check_laid(book(on(DESIGN, [(0.0, 0.0), (2.0, 0.0), (4.0, 0.0), (6.0, 0.0)])), FINISH, brief)


@pytest.mark.parametrize(("shared", "fold"), [(0.06, False), (0.1, True)])
def test_parts_that_share_a_hand_s_breadth_of_side_have_a_fold_there_and_others_none(shared: float, fold: bool) -> None:
    """Spots are joined across a fold where two parts share 80 mm of side or more."""
    one = Facet(Plane(10.0, 0.0, -0.01), [(0, 0), (2, 0), (2, 2), (0, 2)])
    other = Facet(Plane(10.0, 0.0, -0.02), [(2 - shared, 2), (4, 2), (4, 4), (2 - shared, 4)])
    spots = pd.DataFrame({"point": ["A", "B"], "x": [2 - shared, 2.0], "y": [2.0, 2.0]})
    assert _folds(Finish([one, other]), spots) == ([("A", "B")] if fold else [])
