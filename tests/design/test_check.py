"""Verdicts on finished surfaces, every number worked by hand."""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Callable

import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from sitelevels import (
    Brief,
    Clearance,
    Cover,
    Facet,
    FallAlong,
    FallAway,
    Finish,
    Gully,
    KeepBelow,
    MaxGradient,
    Meet,
    Plane,
    Step,
    SurveyError,
    Verdicts,
    Wall,
    check_finish,
)
from sitelevels.design.conditions import Demand
from sitelevels.design.point_demands import MeetFloor
from sitelevels.design.verdicts import Finding

steady = settings(deadline=None, max_examples=30, derandomize=True)
YARD = [(0, 0), (6, 0), (6, 4), (0, 4)]
WALL = Wall("wall", (0, 0), (6, 0), dpc=10.0)


def check(plane: Plane, *demands: object, area: object = YARD, walls: tuple[Wall, ...] = (WALL,)) -> Verdicts:
    return check_finish(Finish.plane(plane, area), Brief(area, walls=walls, demands=demands))  # type: ignore[arg-type]


def only(verdicts: Verdicts) -> tuple[float, float, str]:
    """Found and margin, in mm or mm/m, and the verdict."""
    (row,) = verdicts.table.to_dict("records")
    return row["found"], row["margin"], row["verdict"]


P = ("P", 3.0, 2.0, 9.9)
SLOPING = Plane(9.84, 0.0, -0.02)
"""9.840 at the wall, 20 mm/m away from it: 9.800 at P."""


@pytest.mark.parametrize(("demand", "found", "margin", "verdict"), [
    (Clearance("wall", 0.150), 160, 10, "met"), (Clearance("wall", 0.165), 160, -5, "not met"),
    (FallAway("wall", 1 / 80), 20, 7.5, "met"), (FallAway("wall", 0.03), 20, -10, "not met"),
    (FallAway("wall", 0.01, most=0.018), 20, -2, "not met"), (FallAway("wall", 0.01, most=0.021), 20, 1, "met"),
    (FallAlong("wall", 0.01), 0, 10, "met"), (MaxGradient(0.025), 20, 5, "met"), (MaxGradient(0.015), 20, -5, "not met"),
    (Meet([P], 0.006), -100, -94, "not met"), (Meet([("P", 3, 2, 9.802)], 0.006), -2, 4, "met"),
    (Step([P], 0.075, 0.15), 100, 25, "met"), (Step([P], 0.11, 0.15), 100, -10, "not met"),
    (Step([P], 0.01, 0.09), 100, -10, "not met"),
    (Cover([("P", 3, 2, 9.6)], 0.15), 200, 50, "met"), (Cover([("P", 3, 2, 9.7)], 0.15), 100, -50, "not met"),
    (KeepBelow(P, 0.075), 100, 25, "met"), (KeepBelow(P, 0.11), 100, -10, "not met"),
    (Gully(("P", 3, 2, 9.795), (0.003, 0.01)), 5, 2, "met"), (Gully(("P", 3, 2, 9.799), (0.003, 0.01)), 1, -2, "not met"),
    (Gully(("P", 3, 2, 9.78), (0.003, 0.01)), 20, -10, "not met"),
], ids=lambda value: f"{type(value).__name__}" if not isinstance(value, (int, float, str)) else str(value))
def test_each_demand_by_hand(demand: object, found: float, margin: float, verdict: str) -> None:
    assert only(check(SLOPING, demand)) == (pytest.approx(found, abs=1e-9), pytest.approx(margin, abs=1e-9), verdict)


class TestClearance:
    def test_a_sloping_damp_proof_course_is_nearest_at_its_low_end(self) -> None:
        sloping = Wall("wall", (0, 0), (6, 0), dpc=[(0, 10.0), (6, 9.97)])
        verdicts = check(SLOPING, Clearance("wall"), walls=(sloping,))
        assert only(verdicts) == (pytest.approx(130), pytest.approx(-20), "not met")
        assert verdicts.table.loc[0, "place"] == "wall, 6.00 m along"

    def test_a_stepped_one_just_past_the_step(self) -> None:
        """Paving rises 10 mm/m along the wall under a DPC that steps down 100 mm at 3 m and up again at 4 m."""
        stepped = Wall("wall", (0, 0), (6, 0), dpc=[(0, 10.1), (3, 10.1), (3, 10.0), (4, 10.0), (4, 10.1), (6, 10.1)])
        verdicts = check(Plane(9.8, 0.01, -0.02), Clearance("wall"), walls=(stepped,))
        assert only(verdicts) == (pytest.approx(160), pytest.approx(10), "met")
        assert verdicts.table.loc[0, "place"] == "wall, 4.00 m along"

    def test_where_the_paving_runs_on_past_the_wall_its_far_end_counts_too(self) -> None:
        """The wall ends at 6 m, the paving at 10: it rises 10 mm/m, so 100 mm are left at the wall's end."""
        verdicts = check(Plane(9.84, 0.01, -0.02), Clearance("wall"), area=[(0, 0), (10, 0), (10, 4), (0, 4)])
        assert only(verdicts) == (pytest.approx(100), pytest.approx(-50), "not met")

    def test_round_the_corner_of_a_house_every_wall_counts(self) -> None:
        ell = [(0, 2), (3, 2), (3, 0), (6, 0), (6, 5), (0, 5)]
        back, side = Wall("back", (0, 2), (3, 2), dpc=10.0), Wall("side", (3, 2), (3, 0), dpc=10.0)
        table = check(Plane(9.8, 0.0, -0.02), Clearance("back"), Clearance("side"), FallAway("back"), FallAway("side"),
                      area=ell, walls=(back, side)).table
        # 9.760 all along the back; along the side from 9.760 to 9.800; away from the side it does not fall
        assert table["found"].tolist() == pytest.approx([240, 200, 20, 0], abs=1e-9)
        assert table["verdict"].tolist() == ["met", "met", "met", "not met"]

    def test_a_facet_corner_at_the_wall_is_looked_at(self) -> None:
        """A ridge runs out from the middle of the wall: both facets are 50 mm below the DPC there."""
        ridge = Finish((Facet(Plane(9.80, 0.05, -0.02), shapely.box(0, 0, 3, 4)),
                        Facet(Plane(9.95, -0.05, -0.02, (3.0, 0.0)), shapely.box(3, 0, 6, 4))))
        verdicts = check_finish(ridge, Brief(YARD, walls=[WALL], demands=[Clearance("wall")]))
        assert only(verdicts) == (pytest.approx(50), pytest.approx(-100), "not met")
        assert verdicts.table.loc[0, "place"] == "wall, 3.00 m along"

    @pytest.mark.parametrize(("short", "verdict"), [(0.0, "met"), (9e-7, "met"), (1.1e-6, "not met"), (1e-5, "not met")])
    def test_exactly_at_the_limit_it_is_met_to_a_thousandth_of_a_millimetre(self, short: float, verdict: str) -> None:
        assert only(check(Plane(9.85 + short, 0.0, -0.02), Clearance("wall", 0.150)))[2] == verdict


class TestFalls:
    @pytest.mark.parametrize(("gx", "found", "margin"), [(0.05, -50, -25), (-0.05, 50, -25), (0.02, -20, 5), (-0.02, 20, 5)])
    def test_along_the_wall_either_way_is_held_against_the_limit(self, gx: float, found: float, margin: float) -> None:
        assert only(check(Plane(9.8, gx, -0.02), FallAlong("wall", 0.025)))[:2] == (pytest.approx(found), pytest.approx(margin))

    def test_the_true_gradient_is_that_of_both_together(self) -> None:
        assert only(check(Plane(9.8, 0.03, -0.04), MaxGradient(0.05))) == (pytest.approx(50), pytest.approx(0, abs=1e-9), "met")

    CHANNEL = Finish((Facet(Plane(9.8, 0.0, -0.02), shapely.box(0, 0, 6, 2)), Facet(Plane(9.76, 0.0, 0.03, (0.0, 2.0)),
                                                                                  shapely.box(0, 2, 6, 4))))

    def test_only_facets_beside_the_wall_must_fall_away_from_it(self) -> None:
        assert only(check_finish(self.CHANNEL, Brief(YARD, walls=[WALL], demands=[FallAway("wall")])))[0] == pytest.approx(20)

    def test_the_steepest_facet_of_all_is_the_gradient(self) -> None:
        assert only(check_finish(self.CHANNEL, Brief(YARD, demands=[MaxGradient(0.05)])))[0] == pytest.approx(30)

    def test_a_facet_that_touches_the_wall_at_one_point_does_not_lie_beside_it(self) -> None:
        parts = [([(0, 0), (3, 0), (0, 1.5)], -0.02), ([(3, 0), (6, 0), (6, 1.5)], -0.02),
                 ([(3, 0), (6, 1.5), (6, 4), (0, 4), (0, 1.5)], 0.02)]
        fan = Finish(tuple(Facet(Plane(9.8, 0.0, gy), shapely.Polygon(corners)) for corners, gy in parts))
        assert only(check_finish(fan, Brief(YARD, walls=[WALL], demands=[FallAway("wall")])))[0] == pytest.approx(20)


class TestPoints:
    def test_the_worst_of_several_is_the_verdict_and_all_are_listed(self) -> None:
        verdicts = check(SLOPING, Cover([("A", 1, 1, 9.6), ("B", 1, 3, 9.7), ("C", 1, 2, 9.6)]))
        assert verdicts.table.loc[0, "place"] == "B"
        assert verdicts.places["place"].tolist() == ["A", "B", "C"]
        assert verdicts.places["found"].tolist() == pytest.approx([220, 80, 200], abs=1e-9)
        assert not verdicts.all_met

    def test_a_point_just_outside_the_paving_is_held_against_its_nearest_edge(self) -> None:
        assert only(check(SLOPING, KeepBelow(("vent", 3, -0.1, 9.95))))[0] == pytest.approx(108, abs=1e-9)

    def test_a_point_beyond_that_is_refused_by_name(self) -> None:
        with pytest.raises(SurveyError, match="vent"):
            check(SLOPING, KeepBelow(("vent", 3, -0.4, 9.95)))


DEMANDS: list[Callable[[], object]] = [
    lambda: Clearance("wall", 0.1723), lambda: FallAway("wall", 1 / 33.36), lambda: FallAway("wall", 0.0, most=1 / 83.33),
    lambda: FallAlong("wall", 1 / 133.4), lambda: MaxGradient(1 / 83.33), lambda: Meet([("P", 3, 2, 9.82344)], 0.006),
    lambda: Meet([("P", 3, 2, 9.78031)], 0.006), lambda: Step([P], 0.11234, 0.15), lambda: Step([P], 0.01, 0.08777),
    lambda: Cover([("P", 3, 2, 9.66666)], 0.15), lambda: KeepBelow(P, 0.11114),
    lambda: Gully(("P", 3, 2, 9.79876), (0.003, 0.01)),
    lambda: Gully(("P", 3, 2, 9.78123), (0.003, 0.01))]


class TestMends:
    @pytest.mark.parametrize("number", range(len(DEMANDS)))
    @pytest.mark.parametrize("gx", [0.012, -0.012])
    def test_doing_what_the_sentence_says_meets_the_demand(self, number: int, gx: float) -> None:
        plane, demand = Plane(9.84 - 3 * gx, gx, -0.02), DEMANDS[number]()
        verdicts = check(plane, demand)
        (row,) = verdicts.table.to_dict("records")
        if row["verdict"] == "met":
            assert row["mend"] == ""
            return
        if moved := re.match(r"(Raise|Lower) the finished surface by ([\d.]+) mm at ", row["mend"]):
            mended = plane.lowered(float(moved[2]) / 1000 * (1 if moved[1] == "Lower" else -1))
        else:
            told = re.match(r"(Steepen|Ease|Turn) .* to (.*), a change of ([\d.]+) mm/m\.", row["mend"])
            assert told, row["mend"]
            wanted = float(re.match(r"1:([\d.]+)", told[2])[1]) ** -1 * (-1 if "uphill" in told[2] else 1)  # type: ignore[index]
            if isinstance(demand, FallAway):
                mended = Plane(9.84, gx, -wanted)
            elif isinstance(demand, FallAlong):
                mended = Plane(9.84, -wanted, -0.02)
            else:
                mended = Plane(9.84, gx * wanted / plane.fall, -0.02 * wanted / plane.fall)
        assert only(check(mended, demand))[2] == "met", row["mend"]

    @pytest.mark.parametrize(("plane", "demand", "said"), [
        (SLOPING, FallAway("wall", 0.025), "Steepen the fall away from the wall to 1:40 (25.0 mm/m), a change of 5.0 mm/m."),
        (SLOPING, FallAway("wall", 0.0, most=0.0125),
         "Ease the fall away from the wall to 1:80 (12.5 mm/m), a change of 7.5 mm/m."),
        (Plane(9.8, 0, 0.01), FallAway("wall", 0.0125),
         "Turn the fall away from the wall to 1:80 (12.5 mm/m), a change of 22.5 mm/m."),
        (Plane(9.8, -0.05, 0), FallAlong("wall", 0.025),
         "Ease the fall along the wall to 1:40 (25.0 mm/m), a change of 25.0 mm/m."),
        (Plane(9.8, 0.05, 0), FallAlong("wall", 0.025),
         "Ease the fall along the wall to 1:40 uphill (25.0 mm/m), a change of 25.0 mm/m."),
        (SLOPING, Clearance("wall", 0.165), "Lower the finished surface by 5.0 mm at wall, 0.00 m along."),
        (SLOPING, Cover([("P", 3, 2, 9.7)]), "Raise the finished surface by 50.0 mm at P."),
        (SLOPING, Step([P], 0.11), "Lower the finished surface by 10.0 mm at P."),
        (SLOPING, Step([P], 0.01, 0.09), "Raise the finished surface by 10.0 mm at P."),
        (SLOPING, Gully(("P", 3, 2, 9.78)), "Lower the finished surface by 10.0 mm at P."),
    ], ids=lambda value: type(value).__name__)
    def test_the_sentence(self, plane: Plane, demand: object, said: str) -> None:
        assert check(plane, demand).table.loc[0, "mend"] == said

    def test_that_of_the_gradient_is_english(self) -> None:
        mend = check(SLOPING, MaxGradient(0.0125)).table.loc[0, "mend"]
        assert mend.startswith("Ease the fall")
        assert "the fall the whole area" not in mend

    def test_what_is_met_by_a_hair_and_what_is_missed_by_one_do_not_read_alike(self) -> None:
        verdicts = check(Plane(9.85004, 0.0, -0.02), Clearance("wall", 0.150))
        assert verdicts.table.loc[0, "verdict"] == "not met"
        assert "by 0.0 mm" not in verdicts.table.loc[0, "mend"]
        assert verdicts.words.loc[0, "margin"] != "-0.0 mm"


class TestTurning:
    """Turning the whole job in plan, or moving it onto a national grid, changes no number of any verdict."""

    @steady
    @given(st.floats(0, 2 * math.pi), st.sampled_from([(0.0, 0.0), (450_000.0, 6_200_000.0)]), st.floats(-0.04, 0.04),
           st.floats(-0.04, 0.04))
    def test_verdicts_turn_with_the_job(self, turn: float, shift: tuple[float, float], gx: float, gy: float) -> None:
        ell = [(0, 2), (3, 2), (3, 0), (6, 0), (6, 5), (0, 5)]

        def job(turn: float, shift: tuple[float, float]) -> Verdicts:
            cos, sin = math.cos(turn), math.sin(turn)

            def moved(x: float, y: float) -> tuple[float, float]:
                return (cos * x - sin * y + shift[0], sin * x + cos * y + shift[1])

            back = Wall("back", moved(0, 2), moved(3, 2), dpc=[(0, 10.0), (1.4, 9.98), (3, 9.99)])
            side = Wall("side", moved(3, 2), moved(3, 0), dpc=10.0)
            brief = Brief([moved(*corner) for corner in ell], walls=[back, side], demands=[
                Clearance("back"), Clearance("side"), FallAway("back"), FallAway("side"), FallAlong("back"), MaxGradient(),
                Meet([("M", *moved(6, 3), 9.8)]), KeepBelow(("V", *moved(3, 1), 9.95)), Gully(("G", *moved(5, 4), 9.7))])
            plane = Plane(9.84, cos * gx - sin * gy, sin * gx + cos * gy, moved(3, 2))
            return check_finish(Finish.plane(plane, brief.area), brief)

        still, turned = job(0.0, (0.0, 0.0)), job(turn, shift)
        assert turned.table["found"].tolist() == pytest.approx(still.table["found"].tolist(), abs=1e-5)
        assert turned.table["margin"].tolist() == pytest.approx(still.table["margin"].tolist(), abs=1e-5)

    def test_the_numbers_that_are_turned_are_right_to_begin_with(self) -> None:
        side = Wall("side", (3, 2), (3, 0), dpc=10.0)
        table = check(Plane(9.84, -0.03, 0.01, (3, 2)), Clearance("side"), FallAway("side"), FallAlong("side"),
                      area=[(0, 2), (3, 2), (3, 0), (6, 0), (6, 5), (0, 5)], walls=(side,)).table
        assert table["found"].tolist() == pytest.approx([160, 30, 10], abs=1e-9)


def test_a_number_is_no_error_budget() -> None:
    brief = Brief(YARD, walls=[WALL], demands=[Clearance("wall")])
    assert check_finish(Finish.plane(SLOPING, YARD), brief, budget=None).all_met
    with pytest.raises(SurveyError, match="The budget is a float"):
        check_finish(Finish.plane(SLOPING, YARD), brief, budget=0.002)  # type: ignore[arg-type]


class TestTables:
    VERDICTS = check(SLOPING, Clearance("wall", 0.165), MaxGradient(), Cover([("<b>", 3, 2, 9.6)]))

    def test_numbers_stay_numbers_and_words_carry_units(self) -> None:
        assert list(self.VERDICTS.table.columns) == ["demand", "place", "required", "found", "margin", "unit", "u", "probability",
                                                     "verdict", "mend"]
        assert self.VERDICTS.table["unit"].tolist() == ["mm", "mm/m", "mm"]
        assert self.VERDICTS.words["found"].tolist() == ["160.0 mm", "1:50 (20.0 mm/m)", "200.0 mm"]
        assert self.VERDICTS.words["required"].tolist() == ["at least 165 mm", "at most 1:20 (50.0 mm/m)", "at least 150 mm"]

    def test_it_says_on_what_it_rests_and_is_escaped(self) -> None:
        shown = self.VERDICTS._repr_html_()
        assert "errors of the readings are not counted" in shown
        assert "<b>" not in shown

    def test_every_usual_limit_is_shown_with_its_source(self) -> None:
        sources = self.VERDICTS.sources
        assert sources["demand"].tolist() == ["below the DPC", "below the DPC", "gradient", "gradient", "gradient", "cover"]
        assert all(len(source) > 10 for source in sources["source"])

    def test_without_demands_there_is_nothing_to_say(self) -> None:
        empty = check(SLOPING)
        assert empty.all_met
        assert len(list(itertools.chain(empty.worst, empty.everywhere))) == 0
        assert "verdict" in empty.table.columns


@pytest.mark.parametrize(("demand", "required"), [
    (Meet([P], 0.0125), "at most 12.5 mm either way"), (MeetFloor([P], 0.003, 0.014), "11 mm to 17 mm below the next floor"),
    (MeetFloor([P], 0.003, 0.002), "5 mm below the next floor to 1 mm above the next floor"),
    (Gully(P, (0.003, 0.010)), "3 mm to 10 mm")])
def test_limits_are_told_on_their_side_and_as_fine_as_they_were_asked(demand: object, required: str) -> None:
    assert check(SLOPING, demand).table["required"].tolist() == [required]


@pytest.mark.parametrize(("demand", "aim"), [
    (Meet([P], 0.006), "at most 6 mm, aim for at most 4 mm either way."),
    (MeetFloor([P], 0.003, 0.014), "11 mm to 17 mm below the next floor, aim for 13 mm to 15 mm below the next floor.")])
def test_what_to_aim_for_is_told_on_its_side(demand: Demand, aim: str) -> None:
    """2 mm on either side, for 1 mm of uncertainty and twice that to be sure."""
    (condition,) = demand.conditions(Brief(YARD))
    assert Finding(demand, condition, 0.0, 0.0, u=0.001, k=2.0, sure=0.95, kinds=(1.0,)).aim == f"To be 95% sure of {aim}"
