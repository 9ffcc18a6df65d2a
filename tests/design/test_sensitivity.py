"""What moves a verdict, against readings changed in the book; simulated surveys, against normal distributions of SciPy."""

from __future__ import annotations

import math
import tracemalloc
from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pandas as pd
import pytest
import shapely
from drawn_yards import drawn_yard
from own_errors import Book, Yard, drawer
from scipy.stats import multivariate_normal, norm
from scipy.stats import t as student

from sitelevels import (
    Brief,
    ErrorBudget,
    Finish,
    KeepBelow,
    MaxGradient,
    Plane,
    Sensitivity,
    Spot,
    SurveyError,
    Verdicts,
    Wall,
    check_finish,
    read_book,
    reduce_book,
    sensitivity,
)

pytestmark = pytest.mark.filterwarnings("ignore::sitelevels.SurveyWarning")  # what is doubtful has tests of its own

MM = 1000
BUILT = [drawn_yard(seed) for seed in range(12)]
EXISTING = [drawn_yard(seed, exists=True) for seed in range(4)]


def brief_by(yard: Yard, book: Book) -> Brief:
    """The brief with the levels of another book."""
    levels = book.reduced()

    def moved(demand: Any) -> Any:
        if not hasattr(demand, "spots"):
            return demand
        spots = tuple(spot._replace(level=levels.level(spot.point)) for spot in demand.spots)
        return replace(demand, **{demand._field: spots if len(spots) > 1 else spots[0]})
    wall = Wall("house", (0, 0), (yard.width, 0), dpc=[(0, levels.level("D1")), (yard.width, levels.level("D2"))],
                points=["D1", "D2"])
    return replace(yard.brief, walls=(wall,), demands=tuple(moved(one) for one in yard.brief.demands))


@cache
def as_surveyed(yard: Yard) -> tuple[Any, Any]:
    """What each spot adds to the fitted plane, and its level, m: no weight hangs on a single reading."""
    levels = yard.book.reduced()
    return yard.book.errors().plane_fit(yard.surveyed).weights, np.array([levels.level(point) for point in yard.surveyed])


def with_change(yard: Yard, row: int, by: float) -> Verdicts:
    """The verdicts of the book with one reading changed, m; a surface to be built is the same one."""
    readings = list(yard.book.readings)
    readings[row] += by
    book = replace(yard.book, readings=tuple(readings))
    if not yard.surveyed:
        return check_finish(yard.finish, brief_by(yard, book))
    weights, before = as_surveyed(yard)
    plane, levels = yard.finish.facets[0].plane, book.reduced()
    found = weights @ (np.array([levels.level(point) for point in yard.surveyed]) - before)
    other = Plane(plane.level + found[0], plane.gx + found[1], plane.gy + found[2], plane.at)
    return check_finish(Finish.plane(other, yard.area), brief_by(yard, book))


def margin_at(verdicts: Verdicts, row: int, side: int) -> float:
    """Room to the limit on one side, at one place."""
    one = verdicts.everywhere[row]
    return one.condition.room(one.found)[side]


class TestInputs:
    @staticmethod
    def rows_of(table: pd.DataFrame) -> pd.DataFrame:
        told = table[table["input"].str.contains(r", row \d+$")]
        return told.assign(row=told["input"].str.extract(r"row (\d+)$")[0].astype(int) - 1)

    @pytest.mark.parametrize("drawn", [BUILT, EXISTING], ids=["to be built", "existing"])
    def test_a_reading_changed_in_the_book_moves_the_margin_as_told_and_flips_it(self, drawn: list[Yard]) -> None:
        asked = 0
        for yard in drawn[:8]:
            found = sensitivity(yard.verdicts)
            for number, worst in enumerate(yard.verdicts.worst):
                place = yard.verdicts.everywhere.index(worst)
                side = int(worst.margin != worst.condition.room(worst.found)[0])
                bent = worst.condition.at is None and worst.condition.toward is None  # a steepest fall is no straight line
                for _, one in self.rows_of(found.inputs(number)).iterrows():
                    step, row = 1e-5, int(one["row"])
                    up, down = (margin_at(with_change(yard, row, by), place, side) for by in (step, -step))
                    assert one["moves"] / one["sd"] == pytest.approx((up - down) / (2 * step), rel=1e-4, abs=1e-7)
                    flip = one["flips"] / MM * -np.sign(one["moves"]) * np.sign(worst.margin)
                    if abs(flip) < 0.002 and not bent:  # what a book bears before its checks refuse it
                        after = margin_at(with_change(yard, row, float(flip)), place, side)
                        assert after == pytest.approx(0, abs=1e-6 if not yard.surveyed else 1e-5)
                        asked += 1
        assert asked > 10

    @pytest.mark.parametrize("drawn", [BUILT, EXISTING], ids=["to be built", "existing"])
    def test_every_reading_of_the_book_that_moves_a_margin_is_told(self, drawn: list[Yard]) -> None:
        for yard in drawn[:3]:
            found = sensitivity(yard.verdicts)
            for number, worst in enumerate(yard.verdicts.worst):
                place = yard.verdicts.everywhere.index(worst)
                side = int(worst.margin != worst.condition.room(worst.found)[0])
                told = set(self.rows_of(found.inputs(number))["row"])
                for row in set(range(len(yard.book.shots))) - told:
                    up, down = (margin_at(with_change(yard, row, by), place, side) for by in (1e-4, -1e-4))
                    assert up - down == pytest.approx(0, abs=1e-8)

    def test_squares_of_the_moves_add_up_to_that_of_u_and_the_largest_come_first(self) -> None:
        for yard in (*BUILT, *EXISTING):
            found = sensitivity(yard.verdicts)
            for number, worst in enumerate(yard.verdicts.worst):
                table = found.inputs(number)
                assert math.sqrt((table["moves"]**2).sum()) == pytest.approx((worst.u or 0.0) * MM, rel=1e-9)
                assert table["moves"].abs().is_monotonic_decreasing
                assert table["flips"].to_numpy() == pytest.approx(
                    abs(worst.margin) * MM / (table["moves"].abs() / table["sd"]).to_numpy(), rel=1e-9)

    def test_kinds_share_out_the_whole_and_are_those_of_the_inputs(self) -> None:
        for yard in (*BUILT, *EXISTING):
            found = sensitivity(yard.verdicts)
            table = found.kinds
            assert len(table) == len(yard.verdicts.worst)
            shares = table.drop(columns=["demand", "place"])
            assert shares.sum(axis=1).to_numpy() == pytest.approx(np.ones(len(table)), abs=1e-12)
            for number in range(len(table)):  # inputs of one kind only
                inputs = found.inputs(number)
                whole = (inputs["moves"]**2).sum()
                for kind in {"backsight", "zero", "tilt", "collimation"} & set(shares.columns):
                    share = (inputs.loc[inputs["kind"] == kind, "moves"]**2).sum() / whole
                    assert shares.loc[number, kind] == pytest.approx(share, abs=1e-12)

    @pytest.mark.parametrize("demand", [-1, 99, True, "0", 1.0])
    def test_a_demand_that_is_not_there_is_refused(self, demand: Any) -> None:
        with pytest.raises(SurveyError, match="no demand number"):
            sensitivity(BUILT[0].verdicts).inputs(demand)


COUNT = 100_000


def test_a_point_that_nobody_booked_has_no_row() -> None:
    reduced = reduce_book(read_book("point,bs,is,rl,x,y\nBM,1.5,,10,9,9\nA,,1.2,,0,0\nB,,1.2,,4,0\n"))
    area = [(0, 0), (4, 0), (4, 3), (0, 3)]
    brief = Brief(area, demands=[KeepBelow(Spot("V", 1.0, 0.0, 10.3), 0.075)])
    verdicts = check_finish(Finish.plane(Plane(10.2, 0.0, -0.02), area), brief, budget=ErrorBudget().errors(reduced))
    told = sensitivity(verdicts).inputs(0)["input"]
    own = told[told.str.contains(" V| its |not in")]
    assert {"reading on V, not in the book", "backsight on its benchmark, not in the book"} <= set(own)
    assert not own.str.contains("row|set-up 1").any()


def covariance_of(yard: Yard, number: int, survey: bool) -> Any:
    """Covariance of the numbers of one demand, m², by sums of one's own: of the survey's errors alone, or of all."""
    conditions = [yard.verdicts.everywhere[row].condition for row in yard.verdicts.places_of(number)]
    mine, other = yard.effects(conditions, yard.book, yard.surveyed)
    return mine @ mine.T + (0.0 if survey else other @ other.T)


def times_u(yard: Yard, number: int) -> float:
    """k for 95 % on one side; Student's t where u rests on a few residuals (JCGM 100:2008, G.4.1, Welch and Satterthwaite)."""
    if not yard.surveyed:
        return float(norm.ppf(0.95))
    _, other = yard.effects([yard.verdicts.worst[number].condition], yard.book, yard.surveyed)
    own, tape = yard.uneven**2 + (yard.book.budget.tape * yard.fall)**2, (yard.book.budget.tape * yard.fall)**2
    effect = yard.book.effects(list(yard.surveyed))
    places = np.array([(yard.book.marks[point].x, yard.book.marks[point].y) for point in yard.surveyed])
    flat = np.linalg.qr(np.column_stack([np.ones(len(places)), places - places.mean(axis=0)]))[0]
    off = np.eye(len(places)) - flat @ flat.T  # what a plane leaves of levels
    seen = np.trace(off @ (effect @ effect.T + tape * np.eye(len(places)))) / (len(places) - 3)
    share, spots = min(2 / (len(places) - 3), 1.0), len(places)
    rough = float(((other[0, :spots]**2).sum() * (yard.uneven**2 + seen)
                   + (other[0, spots:]**2).sum() * (yard.uneven**2 + share * seen)) / own)
    whole = float(covariance_of(yard, number, survey=False)[0, 0])
    return float(student.ppf(0.95, (len(yard.surveyed) - 3) * (whole / max(rough, 1e-30))**2))


@pytest.fixture(scope="module")
def found() -> list[tuple[Yard, Sensitivity]]:
    return [(yard, sensitivity(yard.verdicts, trials=COUNT, seed=4)) for yard in (*BUILT[:4], *EXISTING[:2])]


class TestTrials:
    def test_the_same_seed_gives_the_same_numbers_and_another_others(self) -> None:
        one, same, other = (sensitivity(BUILT[0].verdicts, trials=5000, seed=seed).trials for seed in (7, 7, 8))
        for name in ("met", "not_met", "too_close", "inside"):
            assert (getattr(one, name) == getattr(same, name)).all()
        assert any((getattr(one, name) != getattr(other, name)).any() for name in ("met", "not_met", "too_close", "inside"))
        assert (one.count, one.seed) == (5000, 7)

    def test_shares_add_up_to_the_whole(self, found: list[tuple[Yard, Sensitivity]]) -> None:
        for _, one in found:
            trials = one.trials
            assert trials.met + trials.not_met + trials.too_close == pytest.approx(np.ones(len(trials.met)), abs=1e-12)

    def test_the_chance_to_be_inside_is_that_of_the_normal_distribution(self, found: list[tuple[Yard, Sensitivity]]) -> None:
        """SciPy's multivariate normal over the box of all places; a share of N trials has √(p(1 − p)/N)."""
        asked = 0
        for yard, one in found:
            verdicts = yard.verdicts
            for number, worst in enumerate(verdicts.worst):
                if isinstance(worst.demand, MaxGradient):
                    continue  # its true fall is no normal number
                places = [verdicts.everywhere[row] for row in verdicts.places_of(number)]
                below, above = np.array([each.condition.room(each.found) for each in places]).T
                far = 50 * max(each.u or 0.0 for each in places)
                spread = covariance_of(yard, number, survey=False)
                law = multivariate_normal(np.zeros(len(places)), spread, allow_singular=True, seed=1)
                chance = float(law.cdf(np.minimum(above, far), lower_limit=-np.minimum(below, far)))
                error = math.sqrt(max(chance * (1 - chance), 1 / COUNT) / COUNT)
                assert one.trials.inside[number] == pytest.approx(chance, abs=4 * error + 1e-4)
                asked += 1
        assert asked > 25

    def test_verdicts_of_one_place_have_the_shares_of_the_survey_alone(self, found: list[tuple[Yard, Sensitivity]]) -> None:
        """What is found is normal about what was found, with the spread of the survey; the limits stand k·u to either side."""
        asked = 0
        for yard, one in found:
            for number, worst in enumerate(yard.verdicts.worst):
                room = worst.condition.room(worst.found)
                if len(yard.verdicts.places_of(number)) > 1 or isinstance(worst.demand, MaxGradient):
                    continue
                u, k = yard.u(worst.condition, yard.book, yard.surveyed), times_u(yard, number)
                spread = math.sqrt(covariance_of(yard, number, survey=True)[0, 0])
                if spread == 0:
                    assert one.trials.met[number] in (0, 1)
                    continue
                below, above = room
                met = norm.cdf((above - k * u) / spread) - norm.cdf((k * u - below) / spread)
                inside_by_less = norm.cdf((above + k * u) / spread) - norm.cdf((-k * u - below) / spread)
                told = one.trials.met[number], 1 - one.trials.not_met[number]
                for share, chance in zip(told, (max(met, 0.0), inside_by_less), strict=True):
                    error = math.sqrt(max(chance * (1 - chance), 1 / COUNT) / COUNT)
                    assert share == pytest.approx(chance, abs=4 * error)
                asked += 1
        assert asked > 6

    def test_a_greatest_gradient_takes_both_parts_of_the_true_fall(self) -> None:
        """A surface next to level: both parts of its fall err by s, so its size squared is s² of a chi-squared one of two."""
        for exists in (False, True):
            yard = drawn_yard(4, exists=True)
            gentle = Finish.plane(Plane(9.7, 1e-7, 0.0, (2.0, 2.0)), shapely.box(0, 0, 4, 4))
            errors = yard.book.errors()
            if not exists:
                brief = Brief(gentle.facets[0].area, demands=[MaxGradient(0.001)])
                verdicts = check_finish(gentle, brief, budget=errors)
                plain = replace(yard, area=gentle.facets[0].area, finish=gentle, surveyed=())
                u = plain.u(replace(verdicts.worst[0].condition, toward=(1.0, 0.0)), yard.book)
                inside = sensitivity(verdicts, trials=COUNT).trials.inside[0]
                # a square with the stand in its middle: a cone gives it no fall, and both parts err alike, apart
                chance = 1 - math.exp(-0.001**2 / (2 * u**2))
                assert 0.05 < chance < 0.95
            else:
                verdicts = yard.verdicts
                number = [type(one.demand) for one in verdicts.worst].index(MaxGradient)
                inside = sensitivity(verdicts, trials=COUNT).trials.inside[number]
                chance = self.by_refits(yard, number)
            assert inside == pytest.approx(chance, abs=4 * math.sqrt(chance * (1 - chance) / COUNT) + (0.012 if exists else 1e-4))

    @staticmethod
    def by_refits(yard: Yard, number: int) -> float:
        """The share of 20,000 simulated surveys whose errors, taken off, leave a fall that is no steeper than allowed."""
        condition = yard.verdicts.worst[number].condition
        parts = []
        for way in ((1.0, 0.0), (0.0, 1.0)):
            draw = drawer(np.random.default_rng(6), 20_000)
            parts.append(yard.simulated(replace(condition, toward=way), yard.book, draw, yard.surveyed))
        plane = yard.finish.facets[0].plane
        true = np.hypot(-plane.gx - parts[0], -plane.gy - parts[1])
        assert condition.high is not None
        return float((true <= condition.high).mean())

    def test_memory_is_bounded(self) -> None:
        verdicts = drawn_yard(3, exists=True).verdicts
        tracemalloc.start()
        try:
            sensitivity(verdicts, trials=COUNT).trials  # noqa: B018
            _, peak = tracemalloc.get_traced_memory()
        finally:
            tracemalloc.stop()
        assert peak < 150e6


class TestRefusals:
    def test_verdicts_that_count_no_errors(self) -> None:
        with pytest.raises(SurveyError, match="count no errors"):
            sensitivity(check_finish(BUILT[0].finish, BUILT[0].brief))

    @pytest.mark.parametrize("given", [{"trials": 0}, {"trials": -5}, {"trials": 1.5}, {"trials": True}, {"trials": "9"},
                                       {"seed": -1}, {"seed": 1.0}, {"seed": False}, {"seed": None}, {"trials": math.nan}])
    def test_trials_and_seeds_that_are_none(self, given: dict[str, Any]) -> None:
        with pytest.raises(SurveyError, match="must be a whole number"):
            sensitivity(BUILT[0].verdicts, **given)

    @pytest.mark.parametrize("given", [{"verdicts": "met"}, {"verdicts": BUILT[0].verdicts, "ground": [1, 2]}])
    def test_what_is_of_another_kind(self, given: dict[str, Any]) -> None:
        with pytest.raises(SurveyError, match="must be a"):
            sensitivity(**given)


def test_a_margin_of_nothing_is_at_its_limit_already() -> None:
    """Flat, where 1:20 is the most: 50 mm/m in hand; and 1:20, where nothing is."""
    yard = BUILT[0]
    for fall, at_limit in ((0.0, False), (1 / 20, True)):
        finish = Finish.plane(Plane(10.0, 0.0, -fall), yard.brief.area)
        brief = replace(yard.brief, demands=(MaxGradient(1 / 20),))
        words = sensitivity(check_finish(finish, brief, budget=yard.book.errors())).inputs_words(0)
        column = words["an error that brings it to the limit"]
        assert (column == "it is at the limit already").all() == at_limit
        assert (column == "it is at the limit already").any() == at_limit
