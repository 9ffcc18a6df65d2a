"""The next shot: each candidate fitted again by other means and simulated, how many shots settle a verdict, and the tilt."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
import pytest
import shapely
from drawn_yards import drawn_yard
from own_errors import BENCHMARK, Book, Mark, Yard, drawer

from sitelevels import Brief, ErrorBudget, Finish, Meet, NextShot, Plane, SurveyError, check_finish, next_shot
from sitelevels.survey.book import Row

pytestmark = pytest.mark.filterwarnings("ignore::sitelevels.SurveyWarning")  # what is doubtful has tests of its own

TRIALS = 4_000
FRESH, AGAIN, NEW = "fresh", "again", "a new spot"
HARD = ("dpc", "threshold", "edge", "buried", "benchmark")


def with_shots(book: Book, shots: Sequence[tuple[str, str]]) -> Book:
    """What is read again from where the instrument stands first, then one fresh set-up for the rest."""
    for way in (AGAIN, FRESH):
        if points := [point for point, how in shots if way in how]:
            book = (book.fresh if way == FRESH else book.again)(points)
    return book


@dataclass(frozen=True, eq=False)
class Case:
    """A yard, the next shot for one of its demands, and every candidate as a book of its own with the spots it goes by."""

    yard: Yard
    shot: NextShot

    @property
    def condition(self) -> Any:
        return self.yard.verdicts.worst[self.shot.number].condition

    def candidate(self, point: str, how: str) -> tuple[Book, tuple[str, ...]]:
        yard = self.yard
        if not point.startswith(NEW):
            return with_shots(yard.book, [(point, how)]), yard.surveyed
        x, y = place_of(point)
        mark = replace(yard.book.marks["S1"], x=x, y=y, level=float(yard.finish.level_at(x, y)))
        return replace(yard.book, marks={**yard.book.marks, point: mark}).again([point]), (*yard.surveyed, point)

    @cached_property
    def candidates(self) -> list[tuple[Book, tuple[str, ...]]]:
        return [self.candidate(point, how) for point, how, _ in self.shot.tried]

    @cached_property
    def own(self) -> list[float]:
        """The standard uncertainty with each candidate, fitted again."""
        return [self.yard.u(self.condition, *one) for one in self.candidates]


def place_of(spot: str) -> tuple[float, float]:
    found = re.search(r"x (\S+) y (\S+)$", spot)
    assert found is not None
    return float(found[1]), float(found[2])


@pytest.fixture(scope="module")
def built() -> list[Case]:
    return [Case(yard, next_shot(yard.verdicts)) for yard in map(drawn_yard, range(20))]


@pytest.fixture(scope="module")
def existing() -> list[Case]:
    yards = [drawn_yard(seed, exists=True) for seed in range(3)]
    return [Case(yard, next_shot(yard.verdicts, demand=demand)) for yard, demand in zip(yards, (None, 0, 5), strict=True)]


def test_the_random_yards_are_of_every_kind(built: list[Case], existing: list[Case]) -> None:
    assert {max(case.yard.book.setup) for case in built} == {1, 2, 3}
    assert {case.yard.verdicts.worst[case.shot.number].demand.title for case in built} == {
        "below the DPC", "meet the old paving", "cover", "step", "keep below"}
    assert any(case.yard.book.headings for case in built)
    assert any(not case.yard.book.marks[BENCHMARK].placed for case in built)
    assert sum(case.yard.book.shots[-1] == (BENCHMARK, "fs") for case in built) in range(5, 16)
    assert any(reading < 0 for case in built for reading in case.yard.book.readings)
    assert {len(case.yard.area.exterior.coords) for case in built} == {5, 7}
    assert any(point.startswith(NEW) for case in existing for point, _, _ in case.shot.tried)


def test_the_pencil_moves_levels_as_the_package_does(built: list[Case], existing: list[Case]) -> None:
    """Two ways of reducing, arrays of errors by pencil and central differences of `reduce_book`, say the same."""
    for case in (*built[:10], *existing):
        for book in (case.yard.book, case.candidates[0][0], case.candidates[-1][0]):
            where, jacobian = book.jacobian
            misread = np.array(book.misreadings(drawer(np.random.default_rng(5), 3)))
            found = book.by_pencil(drawer(np.random.default_rng(5), 3))
            for point, row in where.items():
                assert jacobian[row] @ misread == pytest.approx(found[point] * np.ones(3), abs=1e-9)


class TestCandidates:
    @pytest.mark.parametrize("which", ["built", "existing"])
    def test_each_has_the_standard_uncertainty_of_a_fit_of_ones_own(self, which: str, request: pytest.FixtureRequest) -> None:
        """On a surface that exists to a thousandth: its slope, by which the tape counts, hangs on the weights a little."""
        for case in request.getfixturevalue(which):
            now = case.yard.u(case.condition, case.yard.book, case.yard.surveyed)
            assert case.shot.u == pytest.approx(now, rel=1e-8 if which == "built" else 1e-3)
            told = [u for _, _, u in case.shot.tried]
            assert told == pytest.approx(case.own, rel=1e-8 if which == "built" else 1e-3)

    @pytest.mark.parametrize("which", ["built", "existing"])
    def test_the_suggested_one_leaves_the_least(self, which: str, request: pytest.FixtureRequest) -> None:
        for case in request.getfixturevalue(which):
            assert case.shot.best is not None
            assert case.shot.best == case.shot.tried[0]
            assert case.own[0] <= min(case.own) * (1 + (1e-8 if which == "built" else 1e-4))
            assert case.own[0] < case.shot.u

    @pytest.mark.parametrize("which", ["built", "existing"])
    def test_in_simulated_surveys_no_other_beats_it(self, which: str, request: pytest.FixtureRequest) -> None:
        """The same errors in every survey but for the shot itself; a difference of variances has the error of its own mean."""
        compared = 0
        for seed, case in enumerate(request.getfixturevalue(which)):
            draw = drawer(np.random.default_rng([141, seed]), TRIALS)
            squares = [case.yard.simulated(case.condition, book, draw, spots)**2 for book, spots in case.candidates]
            for other, u in zip(squares, case.own, strict=True):
                assert other.mean() == pytest.approx(u**2, rel=4.5 * math.sqrt(2 / TRIALS))
                more = other - squares[0]
                assert more.mean() >= -3 * more.std() / math.sqrt(TRIALS)
                compared += 1
        assert compared > 100

    def test_every_point_of_note_is_one_and_so_is_what_the_demand_hangs_on(self, built: list[Case], existing: list[Case]) -> None:
        for case in (*built, *existing):
            book = case.yard.book
            noted = {point for point in {name for name, _ in book.shots} if book.marks[point].feature in HARD}
            places = [case.yard.verdicts.everywhere[row] for row in case.yard.verdicts.places_of(case.shot.number)]
            hung = {point for one in places for point in case.yard.hangs(one.condition)}
            tried = [(point, AGAIN if AGAIN in how else FRESH) for point, how, _ in case.shot.tried if not point.startswith(NEW)]
            assert len(set(tried)) == len(tried)
            for point in noted | hung | set(case.yard.surveyed):
                assert (point, AGAIN) in tried
                assert (point, FRESH) in tried

    def test_on_a_surface_that_exists_there_is_a_grid_of_new_spots(self, existing: list[Case]) -> None:
        for case in existing:
            places = [place_of(point) for point, _, _ in case.shot.tried if point.startswith(NEW)]
            step = max(1.0, math.sqrt(case.yard.area.area / 60))
            assert len(set(places)) == len(places)
            grid = shapely.MultiPoint(places)
            assert case.yard.area.buffer(1e-6).covers(grid)
            x, y = (np.unique(np.round(each, 6)) for each in zip(*places, strict=True))
            assert np.diff(x) == pytest.approx(step, abs=1e-3)
            assert np.diff(y) == pytest.approx(step, abs=1e-3)
            far = case.yard.area.buffer(-step / 2).difference(grid.buffer(step * 0.75))  # half the diagonal of a square
            assert far.area < 1e-6

    def test_a_surface_to_be_built_has_none(self, built: list[Case]) -> None:
        assert not any(point.startswith(NEW) for case in built for point, _, _ in case.shot.tried)


def judged(yard: Yard, shots: Sequence[tuple[str, str]], demand: int) -> str:
    """The verdict with further shots and the same levels."""
    errors = with_shots(yard.book, shots).errors()
    return check_finish(yard.finish, yard.brief, budget=errors).judged[demand][0]


@pytest.fixture(scope="module")
def too_close() -> list[Case]:
    """Every verdict too close to call of yards to be built."""
    return [Case(yard, next_shot(yard.verdicts, demand=number)) for yard in map(drawn_yard, range(20))
            for number, (verdict, _) in enumerate(yard.verdicts.judged) if verdict == "too close to call"]


@pytest.fixture(scope="module")
def too_close_existing() -> list[Case]:
    """Every verdict too close to call of surfaces that exist."""
    return [Case(yard, next_shot(yard.verdicts, demand=number)) for yard in (drawn_yard(seed, exists=True) for seed in range(6))
            for number, (verdict, _) in enumerate(yard.verdicts.judged) if verdict == "too close to call"]


class TestHowManyShots:
    def test_those_told_settle_it_and_without_the_last_they_do_not(self, too_close: list[Case]) -> None:
        counts = []
        for case in too_close:
            if case.shot.shots is not None:
                settled = "met" if case.shot.verdicts.worst[case.shot.number].margin > 0 else "not met"
                assert judged(case.yard, case.shot.shots, case.shot.number) == settled
                fewer = with_shots(case.yard.book, case.shot.shots[:-1]).errors()
                found = check_finish(case.yard.finish, case.yard.brief, budget=fewer)
                rows = found.places_of(case.shot.number)
                assert any(found.everywhere[row].give > found.everywhere[row].margin for row in rows)
                counts.append(len(case.shot.shots))
        assert 1 in counts
        assert sum(count > 1 for count in counts) > 5

    @pytest.mark.parametrize("which", ["too_close", "too_close_existing"])
    def test_the_first_of_them_is_the_one_suggested(self, which: str, request: pytest.FixtureRequest) -> None:
        """The words tell that "it" settles the verdict, or the others "after it"."""
        cases = [case for case in request.getfixturevalue(which) if case.shot.shots is not None]
        assert len(cases) > 2
        assert [case.shot.words for case in cases if case.shot.shots[0] != (case.shot.best or ())[:2]] == []

    def thirty(self, case: Case) -> list[str]:
        """Verdicts after thirty repeats, shared out evenly over the points that the demand hangs on."""
        rows = case.yard.verdicts.places_of(case.shot.number)
        hung = {point for row in rows for point in case.yard.hangs(case.yard.verdicts.everywhere[row].condition)}
        points = sorted(hung) * (30 // max(len(hung), 1))
        mixed = [(point, (AGAIN, FRESH)[place // max(len(hung), 1) % 2]) for place, point in enumerate(points)]
        return [judged(case.yard, shots, case.shot.number)
                for shots in ([(point, AGAIN) for point in points], [(point, FRESH) for point in points], mixed)]

    @pytest.mark.parametrize("inside", [True, False], ids=["found inside the limit", "found outside the limit"])
    def test_where_none_are_told_thirty_repeats_do_not_settle_it(self, too_close: list[Case], inside: bool) -> None:
        cases = [case for case in too_close if case.shot.shots is None
                 and (case.yard.verdicts.worst[case.shot.number].margin > 0) == inside]
        assert len(cases) > 10
        found = [(case.shot.words, verdict) for case in cases for verdict in self.thirty(case)]
        assert [one for one in found if one[1] != "too close to call"] == []

    @pytest.mark.parametrize("which", ["too_close", "too_close_existing"])
    def test_what_would_be_left_is_told_only_where_it_is_more_than_is_in_hand(self, which: str,
                                                                              request: pytest.FixtureRequest) -> None:
        """"No number of shots" is true only if k·u of all but the survey, whatever is read, is more than the margin."""
        wrong = []
        for case in request.getfixturevalue(which):
            finding = case.yard.verdicts.worst[case.shot.number]
            if "no number of shots" in case.shot.words and finding.k * case.shot.floor < abs(finding.margin):
                wrong.append(case.shot.words)
        assert wrong == []

    def test_many_places_that_each_want_one_more_shot(self) -> None:
        """Six frames in a row, each read once: a second reading of each settles it, so six or so are told."""
        yard = many_frames()
        points = [f"F{number}" for number in range(6)]
        assert yard.verdicts.judged[0][0] == "too close to call"
        assert judged(yard, [(point, AGAIN) for point in points], 0) == "met"
        shot = next_shot(yard.verdicts, demand=0)
        assert shot.shots is not None, shot.words


def many_frames() -> Yard:
    """Six frames to meet, 4.6 mm in hand at each; a reading is 2 mm out and all else next to nothing."""
    budget = ErrorBudget(reading=0.002, placing_hard=1e-5, backsight=1e-5, zero=1e-5, tilt_body=1e-7, tilt_level=1e-7,
                         collimation=1e-7, tape=1e-5, laying=1e-5)
    area = shapely.box(0, 0, 6, 4)
    marks = {BENCHMARK: Mark(-1.0, -1.0, 10.0, "benchmark")}
    marks |= {f"F{number}": Mark(0.5 + number, 2.0, 9.7, "edge") for number in range(6)}
    readings = (0.5, *[0.8] * 6)
    book = Book(marks, ((BENCHMARK, "bs"), *((f"F{number}", "is") for number in range(6))), readings, budget, {1: (3.0, -1.0)})
    spots = [(f"F{number}", 0.5 + number, 2.0, 9.7) for number in range(6)]
    brief = Brief(area, demands=[Meet(spots, 0.0044)])
    return Yard(area, 6.0, book, brief, Finish.plane(Plane(9.7, 0.0, 0.0), area))


class TestTilt:
    BUDGET = ErrorBudget(tilt_body=2e-3, tilt_level=1e-5, placing_ground=0.0005, laying=0.0005)

    def cases(self, exists: bool) -> list[Case]:
        """Verdicts too close to call for the tilt of a laser that was set up once."""
        yards = [drawn_yard(seed, exists=exists, budget=self.BUDGET, margin=0.003, setups=1) for seed in (0, 2, 4, 6)]
        found = [Case(yard, next_shot(yard.verdicts, demand=number)) for yard in yards
                 for number, (verdict, _) in enumerate(yard.verdicts.judged) if verdict == "too close to call"]
        half = [abs(case.yard.verdicts.worst[case.shot.number].margin) < 0.6 * case.yard.verdicts.worst[case.shot.number].give
                for case in found]  # beyond that a fresh set-up, with a tilt of its own, may settle it
        return [case for case, far in zip(found, half, strict=True) if far and case.shot.kind == "tilt"]

    @pytest.mark.parametrize("exists", [True, False])
    def test_no_number_of_shots_settles_it_and_turning_half_round_is_told(self, exists: bool) -> None:
        cases = self.cases(exists)
        assert len(cases) > 1
        for case in cases:
            words = case.shot.words
            assert case.shot.shots is None
            assert "no number of shots will settle it" in words or "No further shot makes it surer" in words
            assert "Turn the laser half round and shoot the same points again" in words
            assert "that cancels the tilt that turns with the instrument" in words
            assert "not what each levelling brings anew, and not the cone" in words
            assert case.shot.share > 0.4

    @pytest.mark.parametrize("exists", [True, False])
    def test_what_it_would_leave_is_that_of_the_book_read_twice(self, exists: bool) -> None:
        for case in self.cases(exists):
            book = case.yard.book
            turned = replace(book, shots=book.shots * 2, readings=book.readings * 2, headings={1: 0.0, 2: 180.0},
                             stands={1: book.stands[1], 2: book.stands[1]})
            own = case.yard.u(case.condition, turned, case.yard.surveyed)
            assert case.shot.turned == pytest.approx(own, rel=2e-3)
            assert case.shot.turned < case.shot.u

    def test_more_spots_from_the_same_stand_do_not_bring_a_fall_below_the_tilt(self) -> None:
        """From one set-up the plane of light leans with the levels (Rao, Linear Statistical Inference, 1973, 4a; from memory)."""
        asked = 0
        for case in self.cases(True):
            if case.condition.at is None:
                book = case.yard.book.again(list(case.yard.surveyed) * 10)
                assert case.yard.u(case.condition, book, case.yard.surveyed) > self.BUDGET.tilt
                asked += 1
        assert asked > 0


class TestWhichDemandAndRefusals:
    def test_of_those_too_close_the_one_nearest_to_being_sure(self, built: list[Case]) -> None:
        for case in built:
            close = [abs(one.margin) / (one.u or 0.0) for one, (verdict, _) in zip(
                case.yard.verdicts.worst, case.yard.verdicts.judged, strict=True) if verdict == "too close to call"]
            chosen = case.yard.verdicts.worst[case.shot.number]
            assert case.yard.verdicts.judged[case.shot.number][0] == "too close to call"
            assert abs(chosen.margin) / (chosen.u or 0.0) == pytest.approx(max(close), rel=1e-12)

    @pytest.mark.parametrize("demand", [-1, 5, True, "0", 1.0, math.nan])
    def test_a_demand_that_is_not_there_is_refused(self, demand: Any) -> None:
        with pytest.raises(SurveyError, match="no demand number"):
            next_shot(drawn_yard(1).verdicts, demand=demand)

    def test_verdicts_that_count_no_errors_or_no_book_are_refused(self) -> None:
        yard = drawn_yard(1)
        for budget in (None, ErrorBudget()):
            with pytest.raises(SurveyError, match="no errors of a level book"):
                next_shot(check_finish(yard.finish, yard.brief, budget=budget))
        with pytest.raises(SurveyError, match="must be a SurfaceVerdicts"):
            next_shot(Row(1, "A"))  # type: ignore[arg-type]


def test_where_no_shot_helps_there_is_no_table_of_shots() -> None:
    found = next_shot(many_frames().verdicts, demand=0)
    assert "one more shot on" in found._repr_html_()
    useless = replace(found, tried=tuple((point, how, found.u) for point, how, _ in found.tried))
    assert "No further shot makes it surer" in useless._repr_html_()
    assert "<table" not in useless._repr_html_()
