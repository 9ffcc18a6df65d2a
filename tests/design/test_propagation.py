"""Linear propagation against simulation, the uncertainties package, closed formulas and finite differences."""

from __future__ import annotations

import math
import statistics
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
import pytest
import uncertainties
from drawn_books import Job, budget_for, by_pencil, drawn, headings_for, staff_readings

from sitelevels import ErrorBudget, ReducedLevels, SurveyError, read_book, reduce_book

pytestmark = pytest.mark.filterwarnings("ignore::sitelevels.SurveyWarning")  # what is doubtful has tests of its own

JOBS = 50
TRIALS = 20_000
JOBS_DRAWN = [drawn(seed) for seed in range(JOBS)]


def simulated(seed: int, job: Job, budget: ErrorBudget, headings: Mapping[int, Any] | None = None,
              lost: Mapping[str, tuple[Any, Any]] | None = None) -> Any:
    """Levels found in many trials, (points, TRIALS)."""
    rng = np.random.default_rng([86, seed])
    readings = staff_readings(job, budget, lambda sd, _: rng.normal(0, sd, TRIALS), headings, lost)
    return np.array(list(by_pencil(job, readings).values()))


def reduced(job: Job, **options: Any) -> ReducedLevels:
    return reduce_book(job.book(without=options.pop("without", ())), **options)


class TestThePencil:
    """The reduction of the simulation is that of the package; its readings are those of the book where nothing is wrong."""

    def test_the_drawn_books_are_of_every_kind(self) -> None:
        kinds = [{job.marks[shot.point].how for shot in job.shots} for job in JOBS_DRAWN]
        assert sum(len(kind) == 3 for kind in kinds) > JOBS / 2
        assert {len(job.stands) for job in JOBS_DRAWN} == {1, 2, 3, 4}
        assert {mark.feature for job in JOBS_DRAWN for mark in job.marks.values()} >= {"", "ground", "dpc", "buried"}
        assert sum(job.shots[-1].point == "BM" for job in JOBS_DRAWN) > 10
        assert sum(job.shots[-1].point == "BM2" for job in JOBS_DRAWN) > 10
        backs = [[shot.point for shot in job.shots if shot.column == "is_"] for job in JOBS_DRAWN]
        assert sum("BM" in points or any(point.startswith("TP") for point in points) for points in backs) > 20
        assert sum(job.marks[one.point].how == "upside down" for job in JOBS_DRAWN for one in job.shots if one.column == "bs") > 5

    @pytest.mark.parametrize("size", [0.0, 0.1])
    def test_it_finds_the_levels_of_reduce_book(self, size: float) -> None:
        rng = np.random.default_rng(87)
        for seed, job in enumerate(JOBS_DRAWN):
            readings = staff_readings(job, budget_for(seed, size), lambda sd, _: float(rng.normal(0, sd)))
            result = reduce_book(job.with_readings(readings), allowable=1.0)
            assert result.stability["steady"].all()
            for point, level in by_pencil(job, readings).items():
                assert result.level(point) == pytest.approx(level, abs=1e-9)
                assert abs(level - job.marks[point].height) < (0.01 if size else 1e-9)


def strays(sample: Any, expected: Any, error: Any) -> Any:
    return ((np.cov(sample) - expected) / error)[np.triu_indices(len(expected))]


@pytest.mark.parametrize("which", ["none", "all", "some"])
def test_simulated_covariances(which: str) -> None:
    """A sample covariance of N normal trials has the variance (s_ii s_jj + s_ij²)/(N − 1).

    Anderson, An Introduction to Multivariate Statistical Analysis, 3rd ed. 2003, on the Wishart distribution; from memory. The
    bound is what the largest of so many normal strays passes once in a thousand runs (Bonferroni), a tenth wider because
    chi-squared leans; the mean of their squares is 1, within five of its own standard deviations if a book has ten free ones.
    """
    found = []
    for seed, job in enumerate(JOBS_DRAWN):
        budget, headings = budget_for(seed), headings_for(seed, job, which)
        table = budget.covariance(reduced(job), instruments=job.instruments, headings=headings)
        expected = table.loc[job.unknown, job.unknown].to_numpy()
        error = np.sqrt((np.outer(np.diag(expected), np.diag(expected)) + expected**2) / (TRIALS - 1))
        found.append(strays(simulated(seed, job, budget, headings), expected, error))
        assert not table.loc[list(job.known)].to_numpy().any()  # a known level does not move
    every = np.concatenate(found)
    most = 1.1 * statistics.NormalDist().inv_cdf(1 - 0.001 / 2 / len(every))
    assert np.abs(every).max() < most
    assert abs(np.mean([np.mean(one**2) for one in found]) - 1) < 5 * math.sqrt(2 / (10 * JOBS))


class TestSimulatedDirectionsNotKnown:
    """Mixtures are not normal: the error of a sample covariance is that of the mean of its own products, 1/√N of their spread."""

    @staticmethod
    def compare(sample: Any, expected: Any) -> None:
        off = sample - sample.mean(axis=1, keepdims=True)
        error = np.array([[np.std(one * other) for one in off] for other in off]) / math.sqrt(TRIALS)
        found = strays(sample, expected, error)
        assert np.abs(found).max() < 5.5  # once in a thousand runs for 25,000 strays

    def test_an_instrument_that_stands_any_way_round(self) -> None:
        """One tilt of the body, turned by an angle drawn at each set-up: as if drawn afresh."""
        for seed in range(2, 22):
            job, budget, rng = JOBS_DRAWN[seed], replace(budget_for(seed), tilt_body=4e-4), np.random.default_rng([88, seed])
            headings = {number: rng.uniform(0, 360, TRIALS) for number in job.instruments}
            table = budget.covariance(reduced(job), instruments=job.instruments)
            self.compare(simulated(seed, job, budget, headings), table.loc[job.unknown, job.unknown].to_numpy())

    @pytest.mark.parametrize("which", ["none", "all"])
    def test_points_without_x_and_y_lie_ten_metres_off_some_way(self, which: str) -> None:
        for seed in range(2, 22):
            job, budget, rng = JOBS_DRAWN[seed], replace(budget_for(seed), tilt_body=3e-4), np.random.default_rng([89, seed])
            names = [name for name in job.marks if name in ("BM", "TP1", "P2")]
            cells = [row | {"x": None, "y": None} if row["point"] in names else row for row in job.cells]
            errors = budget.errors(reduced(replace(job, cells=cells), without=["sight"]), instruments=job.instruments,
                                   headings=headings_for(seed, job, which))
            angles = {name: rng.uniform(0, 2 * math.pi, TRIALS) for name in names}
            sample = simulated(seed, job, budget, headings_for(seed, job, which),
                               {name: (np.cos(angle), np.sin(angle)) for name, angle in angles.items()})
            rows = [errors.where[point] for point in job.unknown]
            self.compare(sample, errors.covariance[np.ix_(rows, rows)])


def with_uncertainties(job: Job, budget: ErrorBudget, headings: Mapping[int, float] | None = None) -> dict[str, Any]:
    """Levels of the drawn instrument as numbers of the uncertainties package, each error tagged with its kind."""
    return by_pencil(job, staff_readings(job, budget, lambda sd, kind: uncertainties.ufloat(0, sd, tag=kind), headings))


def assert_same(found: pd.DataFrame, expected: Any, points: Sequence[str]) -> None:
    scale = np.sqrt(np.outer(np.diag(expected), np.diag(expected)))
    assert (np.abs(found.loc[list(points), list(points)].to_numpy() - expected) < 1e-12 * scale).all()


class TestTheUncertaintiesPackage:
    @pytest.mark.parametrize("which", ["none", "all", "some"])
    def test_it_says_the_same(self, which: str) -> None:
        for seed, job in enumerate(JOBS_DRAWN):
            budget, headings = budget_for(seed), headings_for(seed, job, which)
            levels = with_uncertainties(job, budget, headings)
            found = budget.covariance(reduced(job), instruments=job.instruments, headings=headings)
            assert_same(found, np.array(uncertainties.covariance_matrix(list(levels.values()))), job.unknown)

    def test_each_kind_has_its_share(self) -> None:
        for seed, job in enumerate(JOBS_DRAWN):
            budget = budget_for(seed)
            shown = budget.errors(reduced(job), instruments=job.instruments).table.set_index("point")
            for point, level in with_uncertainties(job, budget).items():
                parts = dict.fromkeys(("reading", "placing", "backsight", "zero", "tilt", "collimation"), 0.0)
                for one, sd in level.error_components().items():
                    parts[one.tag] += sd**2 / level.std_dev**2
                assert shown.loc[point, list(parts)].to_dict() == pytest.approx(parts, abs=1e-9)
                assert shown.loc[point, "u"] == pytest.approx(level.std_dev, rel=1e-12)

    def test_sights_as_booked_tell_the_lengths(self) -> None:
        for seed, job in enumerate(JOBS_DRAWN):
            levels = with_uncertainties(replace(job, rounded=True), budget_for(seed))
            found = budget_for(seed).covariance(reduced(job))
            assert_same(found, np.array(uncertainties.covariance_matrix(list(levels.values()))), job.unknown)

    @pytest.mark.parametrize("after", [0, 1], ids=["before each backsight", "after each backsight"])
    def test_rows_of_the_instrument_tell_where_it_stood(self, after: int) -> None:
        """Change points on two rows, so that it is plain which set-up is open."""
        asked = 0
        for seed in range(120):
            job = drawn(seed, setups=2 + seed % 2)
            if any({"bs", "fs"} <= set(cells) for cells in job.cells):
                continue
            cells = list(job.cells)
            opening = [shot.row for shot in job.shots if shot.column == "bs"]
            for number, row in reversed(list(enumerate(opening))):
                x, y = job.stands[number]
                cells.insert(row + after, {"point": f"stand {number + 1}", "x": x, "y": y, "feature": "instrument"})
            expected = uncertainties.covariance_matrix(list(with_uncertainties(job, budget_for(seed)).values()))
            found = budget_for(seed).covariance(reduced(replace(job, cells=cells), without=["sight"]))
            assert_same(found, np.array(expected), job.unknown)
            asked += 1
        assert asked > 20


@dataclass
class OneSetup:
    """A job of one set-up, no mark read twice, in arrays by reading; the first is the backsight."""

    job: Job
    budget: ErrorBudget

    def covariance(self, lengths: Sequence[float]) -> Any:
        """(s_r² + s_p²) I + s_b² 11ᵀ + τ² (ex exᵀ + ey eyᵀ) + c² ed edᵀ + s_z² w wᵀ of all but the backsight, worked by hand."""
        marks, told = [self.job.marks[shot.point] for shot in self.job.shots], self.budget
        placing = [told.placing_ground if one.feature in ("", "ground", "corner") else
                   told.placing_buried if one.feature == "buried" else told.placing_hard for one in marks[1:]]
        sign = {"upright": 1.0, "upside down": -1.0, "taped": 0.0}
        ex, ey, ed, w = (np.array(one[1:]) - one[0] for one in (
            [one.x for one in marks], [one.y for one in marks], lengths, [-sign[one.how] for one in marks]))
        own = np.diag(told.reading**2 + np.array(placing)**2) + told.backsight**2
        tau = told.tilt_body**2 + told.tilt_level**2
        return (own + tau * (np.outer(ex, ex) + np.outer(ey, ey)) + told.collimation**2 * np.outer(ed, ed)
                + told.zero**2 * np.outer(w, w))

    @property
    def points(self) -> list[str]:
        return [shot.point for shot in self.job.shots[1:]]

    def lengths(self, x: float, y: float) -> list[float]:
        marks = [self.job.marks[shot.point] for shot in self.job.shots]
        return [math.dist((x, y), (one.x, one.y)) for one in marks]


class TestTheClosedFormulaOfOneSetUp:
    """Worked out by hand from level = known + backsight − reading."""

    ALL = tuple(OneSetup(drawn(seed, setups=1, closing="open", again=False), budget_for(seed)) for seed in range(30))

    def test_with_the_instrument_told(self) -> None:
        for one in self.ALL:
            for headings in (None, {1: 77.0}):  # all marks of one set-up lean together, whichever way it faced
                found = one.budget.covariance(reduced(one.job), instruments=one.job.instruments, headings=headings)
                assert_same(found, one.covariance(one.lengths(*one.job.stands[0])), one.points)
            moved = one.budget.covariance(reduced(one.job), instruments={np.int64(1): np.array([3.0, -40.0])})
            assert_same(moved, one.covariance(one.lengths(3.0, -40.0)), one.points)  # it comes before the booked sights

    def test_with_booked_sights(self) -> None:
        for one in self.ALL:
            booked = [float(f"{length:.3f}") for length in one.lengths(*one.job.stands[0])]
            assert_same(one.budget.covariance(reduced(one.job)), one.covariance(booked), one.points)

    def test_with_a_booked_instrument(self) -> None:
        row = {"point": "stand", "x": 4.0, "y": 7.5, "feature": "instrument"}
        for one in self.ALL:
            for cells in ([row, *one.job.cells], [*one.job.cells, row], [*one.job.cells[:2], row, *one.job.cells[2:]]):
                found = one.budget.covariance(reduced(replace(one.job, cells=cells)))
                assert_same(found, one.covariance(one.lengths(4.0, 7.5)), one.points)

    def test_with_nothing_told_it_stood_in_the_middle_of_what_was_read(self) -> None:
        for one in self.ALL:
            marks = [one.job.marks[shot.point] for shot in one.job.shots]
            errors = one.budget.errors(reduced(one.job, without=["sight"]))
            assert ["middle" in doubt for doubt in errors.doubts] == [True]
            middle = statistics.fmean(mark.x for mark in marks), statistics.fmean(mark.y for mark in marks)
            assert_same(one.budget.covariance(errors.reduced), one.covariance(one.lengths(*middle)), one.points)


def test_sixty_points_take_under_five_milliseconds() -> None:
    """The median of nine: three set-ups of twenty points each, closed on the benchmark."""
    cells = []
    for number in range(3):
        cells.append(f"T{number},1.500,,{1.5 if number else ''},{'' if number else 10.0},0,{number}")
        cells += [f"P{number}-{place},,1.4,,,{place % 5},{place // 5}" for place in range(20 - (number > 0))]
    result = reduce_book(read_book("\n".join(["point,bs,is,fs,rl,x,y", *cells, "T0,,,1.5,,0,0"])))
    assert len(result.spots()) == 61  # the benchmark, two change points and 58 others
    took = []
    for _ in range(9):
        start = time.perf_counter()
        ErrorBudget().covariance(result)
        took.append(time.perf_counter() - start)
    assert statistics.median(took) < 0.005


class TestLinesOfKnownLevel:
    """Worked by hand: nothing is read on a line of known level that is measured from, and no light leans or dips."""

    BUDGET = ErrorBudget(reading=0.003, placing_hard=0.004, placing_ground=0.005, zero=0.006, backsight=0.007)

    def test_a_tape_down_from_it_has_its_own_errors_and_a_staff_its_zero_too(self) -> None:
        text = "point,down,is,rl,feature,x,y\nM,,,1.000,line,0,0\nA,1.012,,,dpc,20,0\nB,,0.991,,ground,0,20\n"
        found = self.BUDGET.covariance(reduce_book(read_book(text)), instruments={1: (50, 50)}, headings={1: 30})
        expected = np.diag([0.0, 0.003**2 + 0.004**2, 0.003**2 + 0.005**2 + 0.006**2])
        assert found.to_numpy() == pytest.approx(expected, abs=1e-18)

    def test_one_that_was_read_from_an_instrument_is_a_backsight_like_any_other(self) -> None:
        text = "point,bs,is,rl,feature,x,y\nM,0.300,,1.000,line,0,0\nA,,1.200,,ground,20,0\nB,,-0.300,,dpc,0,20\n"
        budget = replace(self.BUDGET, collimation=0.0)
        found = budget.covariance(reduce_book(read_book(text)))
        own, tau = np.diag([0.003**2 + 0.005**2, 0.003**2 + 0.004**2]), budget.tilt_body**2 + budget.tilt_level**2
        upside_down = np.diag([0.0, 4 * 0.006**2])  # zero: upright less upside down
        expected = own + 0.007**2 + tau * np.diag([20.0**2, 20.0**2]) + upside_down
        assert found.loc[["A", "B"], ["A", "B"]].to_numpy() == pytest.approx(expected, rel=1e-12, abs=0)


class TestOddInput:
    TWO = "point,bs,is,fs,rl,x,y\nBM,1.500,,,10.000,,\nA,,1.250,,,1,0\nT,0.900,,1.800,,4,5\nC,,1.000,,,3,1\nBM,,,0.600,,,\n"

    @pytest.fixture
    def two(self) -> ReducedLevels:
        return reduce_book(read_book(self.TWO))

    @pytest.mark.parametrize("number", [0, 3, -1, 1.0, "1", True, None, math.nan])
    def test_a_set_up_that_is_not_there_is_refused(self, two: ReducedLevels, number: Any) -> None:
        with pytest.raises(SurveyError, match=r"Headings speaks of the set-up .*set-ups 1 to 2"):
            ErrorBudget().covariance(two, headings={number: 0.0})
        with pytest.raises(SurveyError, match=r"Instruments speaks of the set-up .*set-ups 1 to 2"):
            ErrorBudget().covariance(two, instruments={number: (0.0, 0.0)})

    @pytest.mark.parametrize("angle", [math.nan, math.inf, "90", None, True, (90,)])
    def test_a_heading_that_is_no_number_is_refused(self, two: ReducedLevels, angle: Any) -> None:
        with pytest.raises(SurveyError, match="A heading is"):
            ErrorBudget().covariance(two, headings={1: angle})

    @pytest.mark.parametrize("place", [(math.nan, 0), (0, math.inf), (1,), (1, 2, 3), "ab", 7, None, (None, 1), ("1", "2")])
    def test_a_place_that_is_none_is_refused(self, two: ReducedLevels, place: Any) -> None:
        with pytest.raises(SurveyError, match="The place of an instrument is"):
            ErrorBudget().covariance(two, instruments={1: place})

    @pytest.mark.parametrize("given", [{"instruments": [(0, 0)]}, {"headings": 90.0}])
    def test_what_is_no_mapping_is_refused(self, two: ReducedLevels, given: Any) -> None:
        with pytest.raises(SurveyError, match="must be a Mapping"):
            ErrorBudget().covariance(two, **given)

    def test_a_book_that_is_not_reduced_is_refused(self) -> None:
        with pytest.raises(SurveyError, match="reduced levels"):
            ErrorBudget().covariance(read_book(self.TWO))  # type: ignore[arg-type]

    @pytest.mark.parametrize("value", [math.nan, math.inf, -1e-9, "1", None, True, 1.0])
    @pytest.mark.parametrize("name", ["reading", "zero", "tilt_body", "tape", "laying"])
    def test_a_budget_that_makes_no_sense_is_refused(self, name: str, value: Any) -> None:
        with pytest.raises(SurveyError, match=f"(?i){name} of the error budget"):
            ErrorBudget(**{name: value})

    def test_without_errors_nothing_is_out(self, two: ReducedLevels) -> None:
        errors = self.only().errors(two, headings={1: 0, 2: 90})
        assert not errors.covariance.any()
        assert not errors.table[["u", "reading", "placing", "backsight", "zero", "tilt", "collimation"]].to_numpy().any()

    def test_a_point_without_x_and_y_is_named_and_leans_as_if_ten_metres_off(self, two: ReducedLevels) -> None:
        """Ten metres is the author's choice (common practice, no source). One set-up: BM lost, so A leans against it."""
        assert any(doubt.startswith("BM: no x and y") for doubt in ErrorBudget().errors(two).doubts)
        lean = self.only(tilt_body=1e-4)
        one = reduce_book(read_book("point,bs,is,rl,x,y\nBM,1.500,,10.000,,\nA,,1.250,,1,0\nB,,1.250,,4,4\n"))
        # A and B lie 2.5 m to either side of their middle; BM 10 m off it: 10² + 2.5² and 10² − 2.5²
        assert lean.covariance(one).loc["A", ["A", "B"]].tolist() == pytest.approx([106.25e-8, 93.75e-8], rel=1e-12, abs=0)

    @staticmethod
    def only(**told: float) -> ErrorBudget:
        nought = dict.fromkeys(("reading", "placing_hard", "placing_ground", "placing_buried", "backsight", "zero", "tilt_body",
                                "tilt_level", "collimation", "tape", "laying"), 0.0)
        return ErrorBudget(**nought | told)
