"""Where to lift a laid surface: cases whose answer is plain, and small ones against every set of up to three spots."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import combinations
from typing import Any

import numpy as np
import pytest
import shapely

from sitelevels import Brief, Clearance, ErrorBudget, FallAway, Finish, Plane, Wall
from sitelevels.design.conditions import Demand
from sitelevels.design.demands import FallAlong, KeepBelow, MaxGradient, Meet
from sitelevels.design.laid import Laid, check_laid
from sitelevels.design.mending import where_to_lift
from sitelevels.errors import SurveyError
from sitelevels.survey.book import LevelBook, Row
from sitelevels.survey.reduction import ReducedLevels, reduce_book

AREA = [(0.0, 0.0), (6.0, 0.0), (6.0, 4.0), (0.0, 4.0)]
GRID = [(x, y) for x in (0.0, 2.0, 4.0, 6.0) for y in (0.0, 2.0, 4.0)]
DESIGN = Plane(9.84, 0.0, -0.02)
"""9.840 at the wall, 20 mm/m away from it."""
FINISH = Finish.plane(DESIGN, AREA)
WALL = Wall("house", (0, 0), (6, 0), dpc=[(0, 10.0), (6, 10.0)], points=("D1", "D2"))
HPC = 11.0
Spots = Mapping[str, tuple[float, float, float]]


def on_design(off: Mapping[str, float] | Sequence[float] = (), places: Sequence[tuple[float, float]] = GRID) -> Any:
    """Spots P1, P2 … at the design, some of them `off` m above it."""
    above = off if isinstance(off, Mapping) else {f"P{number}": by for number, by in enumerate(off, start=1)}
    return {f"P{number}": (x, y, 9.84 - 0.02 * y + above.get(f"P{number}", 0.0)) for number, (x, y) in enumerate(places, start=1)}


def book(spots: Spots) -> ReducedLevels:
    """Both DPC marks and every spot read once from one set-up."""
    rows = [Row(1, "BM", bs=1.5, rl=9.5, feature="benchmark", x=2.0, y=-3.0),
            Row(2, "D1", is_=1.0, feature="dpc", x=0.0, y=0.0), Row(3, "D2", is_=1.0, feature="dpc", x=6.0, y=0.0)]
    rows += [Row(number, name, is_=HPC - level, x=x, y=y) for number, (name, (x, y, level)) in enumerate(spots.items(), start=4)]
    return reduce_book(LevelBook(tuple(rows)))


def check(spots: Spots, *demands: Demand, budget: ErrorBudget | None = None, finish: Finish = FINISH) -> Laid:
    return check_laid(book(spots), finish, Brief(AREA, walls=[WALL], demands=demands), budget=budget)  # type: ignore[arg-type]


def under(spots: Spots, point: str, within: float = 0.006) -> Meet:
    """Old paving beside a spot, at the level of the design there."""
    x, y, _ = spots[point]
    return Meet([(f"old at {point}", x, y, 9.84 - 0.02 * y)], within)


class TestPlainCases:
    @pytest.mark.parametrize("by", [-0.012, 0.009])
    @pytest.mark.parametrize("point", ["P1", "P5", "P12"])
    def test_one_corner_alone(self, point: str, by: float) -> None:
        spots = on_design({point: by})
        mending = where_to_lift(check(spots, under(spots, point), FallAway("house", 1 / 80)))
        (lift,) = mending.lifts
        assert (lift.point, lift.why) == (point, "found outside its limit")
        assert lift.by == pytest.approx(-by, abs=1e-9)
        assert (lift.x, lift.y) == spots[point][:2]
        assert mending.mended
        assert mending.after.worst[0].found == pytest.approx(0.0, abs=1e-9)
        assert f"Lift round {point}" in mending.sentence()
        assert mending.words["what to do"].tolist() == [f"{'raise' if by < 0 else 'lower'} by {abs(by) * 1000:.1f} mm"]

    def test_two_far_apart(self) -> None:
        spots = on_design({"P1": -0.012, "P12": 0.015, "P6": 0.004})
        mending = where_to_lift(check(spots, under(spots, "P1"), under(spots, "P12"), under(spots, "P6")))
        assert {one.point: pytest.approx(one.by, abs=1e-9) for one in mending.lifts} == {"P1": 0.012, "P12": -0.015}
        assert mending.mended

    def test_what_turns_out_not_to_be_needed_is_put_back(self) -> None:
        """Along the wall P1, P4, P7 lie 10, 11.9 and 10 mm low; 6 are allowed at P1, at P7 and halfway on either side of P4.

        P4 alone would mend both places halfway, 10.95 mm low, so it helps most at first. P1 and P7 have to be lifted anyway, and
        then halfway is 5.95 mm low, which is allowed.
        """
        spots = on_design({"P1": -0.010, "P4": -0.0119, "P7": -0.010})
        old = [(f"old {x}", x, 0.0, 9.84) for x in (0.0, 1.0, 3.0, 4.0)]
        mending = where_to_lift(check(spots, Meet(old, 0.006)))
        assert {one.point for one in mending.lifts} == {"P1", "P7"}
        assert mending.mended

    def test_a_low_spot_where_nothing_is_asked_stays(self) -> None:
        spots = on_design({"P1": -0.012, "P8": -0.02})
        mending = where_to_lift(check(spots, under(spots, "P1")))
        assert [one.point for one in mending.lifts] == ["P1"]

    def test_a_surface_tilted_as_a_whole(self) -> None:
        """Laid to 10 mm/m instead of 20, 1:80 asked for: every lift is to the design, and it is met after them.

        A fall of 12.5 is a quarter of the way from 10 to 20 mm/m. In the fall over rows at 0, 2 and 4 m only the far and the
        near row count. One spot of the far row (40 mm high) lifted gives 40/4/4 = 2.5 mm/m: all that is wanted.
        """
        spots = {f"P{number}": (x, y, 9.84 - 0.01 * y) for number, (x, y) in enumerate(GRID, start=1)}
        mending = where_to_lift(check(spots, FallAway("house", 1 / 80)))
        assert mending.mended
        (lift,) = mending.lifts
        assert lift.y == 4.0
        assert lift.by == pytest.approx(-0.04, abs=1e-9)

    def test_a_surface_tilted_along_the_wall(self) -> None:
        """30 mm/m along and 5 asked for at the most: 25 of 30 must go, five sixths.

        Rows of three at −3, −1, 1, 3 m off the middle: lifting a spot of an end row takes 9/60 of the tilt, one of an inner row
        1/60. Five end spots take 45/60, six 54/60: fewer than six cannot do it.
        """
        tilted = [0.03 * (x - 3) for x, _ in GRID]
        mending = where_to_lift(check(on_design(tilted), FallAlong("house", 0.005)))
        assert mending.mended
        assert {one.x for one in mending.lifts} == {0.0, 6.0}
        assert len(mending.lifts) == 6

    def test_a_tilt_over_many_spots_is_not_put_down_to_one_place(self) -> None:
        """A spot at the end takes 3 / (5 x 33.75 m²) x 90 mm = 1.6 mm/m of 25 mm/m, less than a tenth: no place is to blame."""
        places = [(float(x), float(y)) for x in np.linspace(0, 6, 9) for y in range(5)]
        mending = where_to_lift(check(on_design([0.03 * (x - 3) for x, _ in places], places), FallAlong("house", 0.005)))
        assert mending.lifts == ()
        assert "No place is to blame" in mending.sentence()
        assert "that part must be laid again" in mending.sentence()

    def test_a_design_that_breaks_a_demand_itself(self) -> None:
        """1:40 is asked for, the design falls 1:50: no lift for that."""
        spots = on_design({"P1": -0.012})
        mending = where_to_lift(check(spots, FallAway("house", 1 / 40)))
        assert mending.lifts == ()
        assert not mending.mended
        assert "Nothing laid to the design itself would make sure of: fall away" in mending.sentence()

    def test_such_a_design_and_a_low_corner(self) -> None:
        spots = on_design({"P1": -0.012})
        mending = where_to_lift(check(spots, FallAway("house", 1 / 40), under(spots, "P1")))
        assert [one.point for one in mending.lifts] == ["P1"]
        assert [verdict for verdict, _ in mending.after.judged] == ["not met", "met"]
        assert "fall away" in mending.sentence()

    @pytest.mark.parametrize("budget", [None, ErrorBudget()])
    def test_all_met_already(self, budget: ErrorBudget | None) -> None:
        spots = on_design({"P8": -0.002})
        mending = where_to_lift(check(spots, Clearance("house", 0.1), FallAway("house", 1 / 80), budget=budget))
        assert mending.lifts == ()
        assert mending.sentence() == "Every demand is met: nothing need be lifted."
        assert mending.table.empty
        assert mending._repr_html_()

    def test_nobody_lifts_for_less_than_a_millimetre(self) -> None:
        spots = on_design({"P1": -0.0009})
        assert where_to_lift(check(spots, under(spots, "P1", 0.0005))).lifts == ()

    def test_a_cured_screed_is_not_ground_for_less_than_is_worth_it(self) -> None:
        spots = on_design({"P1": -0.0025, "P12": 0.0035})
        laid = check(spots, under(spots, "P1", 0.002), under(spots, "P12", 0.002))
        assert {one.point for one in where_to_lift(laid).lifts} == {"P1", "P12"}
        assert {one.point for one in where_to_lift(laid, worth=0.003).lifts} == {"P12"}
        with pytest.raises(SurveyError, match="least that is worth it"):
            where_to_lift(laid, worth=-0.001)

    def test_to_be_sure_of_it(self) -> None:
        """5.5 mm low where 6 is allowed: found inside, not sure; lifting makes it so."""
        spots = on_design({"P5": -0.0055})
        budget = ErrorBudget(reading=0.0005, backsight=0.0005)
        laid = check_laid(book(spots), FINISH, Brief(AREA, walls=[WALL], demands=[under(spots, "P5")]),
                          budget=budget, survey=ErrorBudget(*([0.0] * 11)).errors(book(spots)))
        assert laid.judged[0][0] == "too close to call"
        mending = where_to_lift(laid)
        assert [(one.point, one.why) for one in mending.lifts] == [("P5", "to be sure of it")]
        assert "Nothing is found outside its limit" in mending.sentence()
        assert mending.mended

    @pytest.mark.parametrize("odd", [None, "laid", 3, FINISH])
    def test_other_kinds_are_refused(self, odd: Any) -> None:
        with pytest.raises(SurveyError):
            where_to_lift(odd)


DEMANDS = (Clearance("house"), FallAway("house", 1 / 80, None, 1 / 40), FallAlong("house", 1 / 200), MaxGradient(1 / 40),
           KeepBelow(("vent", 3.0, 0.0, 9.93), 0.085), Meet([("old", 0.0, 4.0, 9.76), ("set", 6.0, 4.0, 9.76)], 0.006))


def least_set(laid: Laid, spots: Spots) -> int | None:
    """The fewest spots that, brought to the design, meet all demands: every set of up to three tried with a book of its own."""
    names = list(spots)
    for count in range(4):
        for chosen in combinations(names, count):
            lifted = {name: (x, y, 9.84 - 0.02 * y if name in chosen else level) for name, (x, y, level) in spots.items()}
            if check(lifted, *DEMANDS).all_met:
                return count
    return None


class TestAgainstEverySet:
    @pytest.fixture(scope="module")
    @staticmethod
    def jobs() -> list[tuple[Laid, Any, int]]:
        """Small jobs of seven spots that some set of one to three lifts would mend."""
        found = []
        places = [(0.0, 0.0), (6.0, 0.0), (6.0, 4.0), (0.0, 4.0), (3.0, 0.0), (3.0, 4.0), (3.0, 2.0)]
        for seed in range(60):
            random = np.random.default_rng(seed)
            off = random.normal(0, 0.002, 7) + (random.random(7) < 0.4) * random.normal(0, 0.012, 7)
            spots = on_design(off.tolist(), places)
            laid = check(spots, *DEMANDS)
            if laid.all_met:
                continue
            least = least_set(laid, spots)
            if least is not None:
                found.append((laid, spots, least))
            if len(found) == 10:
                return found
        raise AssertionError("too few jobs")

    def test_never_more_than_one_above_the_least(self, jobs: Any) -> None:
        more = []
        for laid, _, least in jobs:
            mending = where_to_lift(laid)
            assert mending.mended
            more.append(len(mending.lifts) - least)
        assert min(more) >= 0
        assert max(more) <= 1

    def test_every_lift_is_needed(self, jobs: Any) -> None:
        """Put back alone, each leaves something that is not met."""
        for laid, spots, _ in jobs:
            lifted = {one.point for one in where_to_lift(laid).lifts}
            for back in lifted:
                levels = {name: (x, y, 9.84 - 0.02 * y if name in lifted - {back} else level)
                          for name, (x, y, level) in spots.items()}
                assert not check(levels, *DEMANDS).all_met

    @pytest.mark.parametrize("budget", [None, ErrorBudget()], ids=["margin", "errors"])
    def test_what_is_found_after_is_what_such_a_book_shows(self, jobs: Any, budget: ErrorBudget | None) -> None:
        for _, spots, _ in jobs[:5]:
            mending = where_to_lift(check(spots, *DEMANDS, budget=budget))
            lifted = {one.point: one.by for one in mending.lifts}
            levels = {name: (x, y, level + lifted.get(name, 0.0)) for name, (x, y, level) in spots.items()}
            after = check(levels, *DEMANDS, budget=budget)
            assert [verdict for verdict, _ in after.judged] == [verdict for verdict, _ in mending.after.judged]
            for one, other in zip(after.everywhere, mending.after.everywhere, strict=True):
                assert (other.found, other.margin) == pytest.approx((one.found, one.margin), abs=1e-8)
                assert (other.u or 0.0) == pytest.approx(one.u or 0.0, abs=1e-8)


class TestUnits:
    def test_counted_by_the_nearest_spot(self) -> None:
        """Flags of 0.6 by 0.5 m in rows, the middle of each given to its nearest spot one by one."""
        units = [shapely.box(x, y, x + 0.6, y + 0.5) for x in np.arange(10) * 0.6 for y in np.arange(8) * 0.5]
        spots = on_design({"P1": -0.012, "P5": 0.015})
        mending = where_to_lift(check(spots, under(spots, "P1"), under(spots, "P5")), units=units)
        names = list(spots)
        count = dict.fromkeys(names, 0)
        for unit in units:
            middle = ((unit.bounds[0] + unit.bounds[2]) / 2, (unit.bounds[1] + unit.bounds[3]) / 2)
            count[min(names, key=lambda name: (spots[name][0] - middle[0])**2 + (spots[name][1] - middle[1])**2)] += 1
        assert {one.point: one.units for one in mending.lifts} == {"P1": count["P1"], "P5": count["P5"]}
        assert 0 < count["P1"] < count["P5"]
        assert mending.words["units"].tolist() == [str(count[one.point]) for one in mending.lifts]

    def test_without_units_none_is_told(self) -> None:
        spots = on_design({"P1": -0.012})
        mending = where_to_lift(check(spots, under(spots, "P1")))
        assert mending.table["units"].isna().all()
        assert "units" not in mending.words

    @pytest.mark.parametrize("units", [3, [1], ["flag"], shapely.box(0, 0, 1, 1)], ids=["number", "numbers", "words", "one unit"])
    def test_units_that_are_none(self, units: Any) -> None:
        spots = on_design({"P1": -0.012})
        with pytest.raises(SurveyError):
            where_to_lift(check(spots, under(spots, "P1")), units=units)
