"""Verdicts in three where errors are counted: every standard uncertainty worked by hand from the figures of the budget.

The law of propagation is that of JCGM 100:2008, 5.1.2 and 5.2.2, the guard band that of JCGM 106:2012, 8.3; how a surface is set
out, pegged and laid is what `check_finish` says of it (common practice, no source).
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import fields, replace
from typing import Any

import numpy as np
import pytest
from scipy.stats import multivariate_normal, norm

from sitelevels import AccessCover, Brief, Clearance, ClosedEdge, ErrorBudget, Finish, Plane, Verdicts, Wall, check_finish
from sitelevels.design.conditions import AtSpots, Demand
from sitelevels.design.demands import (
    Cover,
    FallAlong,
    FallAway,
    FallToDrain,
    Gully,
    KeepBelow,
    MaxGradient,
    Meet,
    Step,
    Thickness,
)
from sitelevels.design.lipping import Lip
from sitelevels.design.propagation import LevelErrors
from sitelevels.design.verdicts import Finding
from sitelevels.errors import SurveyError
from sitelevels.survey.book import LevelBook, Row
from sitelevels.survey.reduction import reduce_book

Place = tuple[float, float]
TERMS = [one.name for one in fields(ErrorBudget) if one.name not in ("sure", "sources")]
MET, CLOSE, NOT_MET = "met", "too close to call", "not met"

# No two figures are alike, so that none can stand in for another. Lengths in m, slopes in m/m.
READING, HARD, SOFT, BURIED, BACK, ZERO = 0.0011, 0.0007, 0.0023, 0.0031, 0.0013, 0.0005
BODY, SELF, CONE, TAPE, LAYING = 0.00012, 0.00005, 0.00009, 0.012, 0.0029
OWN = ErrorBudget(READING, HARD, SOFT, BURIED, BACK, ZERO, BODY, SELF, CONE, TAPE, LAYING)
TILT2 = BODY**2 + SELF**2
PEG2 = READING**2 + HARD**2 + LAYING**2  # a peg read on a hard mark, and laid to

YARD = [(0.0, 0.0), (6.0, 0.0), (6.0, 4.0), (0.0, 4.0)]
MIDDLE = (3.0, 2.0)
STOOD = (4.0, -1.0)  # where the instrument stood for the survey
BM = (2.0, -3.0)
FALL = 0.02
SLOPING = Plane(9.84, 0.0, -FALL)
"""9.840 at the wall, 20 mm/m away from it."""
SHOTS = {"D1": (-3.0, 0.0), "D2": (9.0, 0.0)}
AT = {"sill": (1.0, 0.5), "old": (5.0, 3.5), "frame": (2.0, 2.5), "pipe": (4.5, 1.5), "vent": (5.5, 0.2), "grate": (0.5, 3.0)}
FEATURE = {"sill": "threshold", "old": "edge", "frame": "cover", "pipe": "buried", "vent": "airbrick", "grate": "gully"}
HPC = 11.0


def level_of(name: str) -> float:
    """A level that leaves every demand room: the true ones do not matter for an uncertainty."""
    return {"D1": 10.0, "D2": 10.1, "sill": 9.93, "old": 9.77, "frame": 9.79, "pipe": 9.6, "vent": 9.92, "grate": 9.775}[name]


def book(*, placed: bool = True) -> LevelErrors:
    """One set-up on the benchmark, from which every point is read once."""
    rows = [Row(1, "BM", bs=HPC - 9.5, rl=9.5, feature="benchmark", **(dict(zip("xy", BM, strict=True)) if placed else {}))]
    for name, place in (SHOTS | AT).items():
        where: dict[str, Any] = dict(zip("xy", place, strict=True)) if placed else {}
        rows.append(Row(len(rows) + 1, name, is_=HPC - level_of(name), feature=FEATURE.get(name, "dpc"), **where))
    return OWN.errors(reduce_book(LevelBook(tuple(rows))), instruments={1: STOOD} if placed else None)


def spot(name: str) -> tuple[str, float, float, float]:
    return (name, *AT[name], level_of(name))


WALL = Wall("house", (-3, 0), (9, 0), dpc=[(0, level_of("D1")), (12, level_of("D2"))], points=("D1", "D2"))


def briefed(*demands: Demand) -> Brief:
    return Brief(YARD, walls=[WALL], demands=demands)  # type: ignore[arg-type]


def judged(*demands: Demand, plane: Plane = SLOPING, errors: Any = None) -> Verdicts:
    return check_finish(Finish.plane(plane, YARD), briefed(*demands), budget=book() if errors is None else errors)


def on_the_day(place: Place) -> float:
    """Variance (m²) of the laid level at a place: backsight, tilt about the benchmark, cone, peg, laying, taped place."""
    cone = math.dist(place, MIDDLE) - math.dist(BM, MIDDLE)
    return BACK**2 + TILT2 * math.dist(place, BM)**2 + CONE**2 * cone**2 + PEG2 + (TAPE * FALL)**2


def by_survey(place: Place, placing: float) -> float:
    """Variance (m²) of the level of a point that was read once."""
    cone = math.dist(BM, STOOD) - math.dist(place, STOOD)
    return BACK**2 + TILT2 * math.dist(place, BM)**2 + CONE**2 * cone**2 + READING**2 + placing**2


def against(name: str, placing: float = HARD) -> float:
    return math.sqrt(by_survey(AT[name], placing) + on_the_day(AT[name]))


def clearance_at_the_corner() -> float:
    """Above (0, 0), a quarter of the way from D1 to D2: the DPC is three quarters of the one and a quarter of the other."""
    cone = math.dist(BM, STOOD) - 0.75 * math.dist(SHOTS["D1"], STOOD) - 0.25 * math.dist(SHOTS["D2"], STOOD)
    dpc = (BACK**2 + TILT2 * math.dist((0, 0), BM)**2 + CONE**2 * cone**2
           + (0.75**2 + 0.25**2) * (READING**2 + HARD**2))
    return math.sqrt(dpc + on_the_day((0, 0)))


# Pegs at the corners of a rectangle 6 m by 4 m: the fall over 4 m is (far pair - near pair) / 2 / 4, of variance peg² / 4²; the
# corners are as far from the middle, so the cone does nothing; a tilt on that axis is a fall.
OVER_4, OVER_6 = math.sqrt(PEG2 / 4**2 + TILT2), math.sqrt(PEG2 / 6**2 + TILT2)

BY_HAND: list[tuple[Demand, float]] = [
    (Clearance("house"), clearance_at_the_corner()), (FallAway("house"), OVER_4), (FallAlong("house"), OVER_6),
    (MaxGradient(0.03), OVER_4), (ClosedEdge((0, 0), (0, 4)), OVER_6), (ClosedEdge((0, 4), (6, 4)), OVER_4),
    (Meet([spot("old")]), against("old")), (AccessCover([spot("frame")]), against("frame")),
    (Step([spot("sill")], 0.075, 0.15), against("sill")), (Step([spot("grate")], 0, 0.03, up=True), against("grate")),
    (Cover([spot("pipe")], 0.15), against("pipe", BURIED)), (KeepBelow(spot("vent"), 0.075), against("vent")),
    (Gully(spot("grate")), against("grate")), (Thickness([spot("pipe")], 0.025), against("pipe", BURIED))]


class TestUncertaintyByHand:
    @pytest.mark.parametrize(("demand", "u"), BY_HAND, ids=lambda value: type(value).__name__)
    def test_of_each_demand(self, demand: Demand, u: float) -> None:
        verdicts = judged(demand)
        at_corner = [one for one in verdicts.everywhere if one.condition.place in ("house, 3.00 m along", *AT)]
        assert (at_corner or verdicts.everywhere)[0].u == pytest.approx(u, rel=1e-9)

    def test_of_the_falls_to_a_channel(self) -> None:
        """Each half is 2 m deep, its corners at √13 m and 3 m from the middle: the cone is a fall of (√13 − 3) / 2 of itself."""
        channel = Finish.channel(((0, 2), (6, 2)), YARD, level=9.8, left=0.02, right=0.02, fall=0.01)
        found = check_finish(channel, briefed(FallToDrain()), budget=book()).everywhere
        towards = math.sqrt(PEG2 / 2**2 + TILT2 + CONE**2 * ((math.sqrt(13) - 3) / 2)**2)
        assert sorted(one.u or 0.0 for one in found) == pytest.approx([OVER_6, OVER_6, towards, towards], rel=1e-9)

    def test_no_kind_of_demand_is_left_out(self) -> None:
        kinds = {kind for kind in [*Demand.__subclasses__(), *AtSpots.__subclasses__()] if kind.title}
        assert {type(demand) for demand, _ in BY_HAND} | {FallToDrain, Lip} == kinds  # lips: see test_lipping

    def test_the_true_fall_is_as_uncertain_as_the_fall_on_its_way(self) -> None:
        """Three parts of five along, four of five away: 0.6² / 6² and 0.8² / 4² of a peg's variance."""
        plane = Plane(9.84, -0.012, -0.016)
        (found,) = judged(MaxGradient(0.03), plane=plane).everywhere
        assert found.u == pytest.approx(math.sqrt(PEG2 * (0.6**2 / 6**2 + 0.8**2 / 4**2) + TILT2), rel=1e-9)

    def test_upside_down_the_zero_counts_twice(self) -> None:
        """A backsight read upright and a soffit read upside down: the zero is added to the one and taken from the other."""
        rows = (Row(1, "BM", bs=0.2, rl=9.5, feature="benchmark", x=BM[0], y=BM[1]),
                Row(2, "vent", is_=-0.3, feature="airbrick", x=AT["vent"][0], y=AT["vent"][1]))
        errors = OWN.errors(reduce_book(LevelBook(rows)), instruments={1: STOOD})
        (found,) = judged(KeepBelow(("vent", *AT["vent"], 10.0), 0.1), errors=errors).everywhere
        assert found.u == pytest.approx(math.sqrt(against("vent")**2 + (2 * ZERO)**2), rel=1e-9)

    def test_kinds_add_up_to_the_whole(self) -> None:
        for one in judged(*(demand for demand, _ in BY_HAND)).everywhere:
            assert math.fsum(one.kinds) == pytest.approx((one.u or 0.0)**2, rel=1e-9)


SADDLE = 0.004
CORNER_LEVELS = [9.84 + SADDLE, 9.84 - SADDLE, 9.76 + SADDLE, 9.76 - SADDLE]
POINTS = ["c1", "c2", "c3", "c4"]


def corners_read() -> LevelErrors:
    """The yard's corners read from its middle: they lie 4 mm high and low in turn about a plane of 20 mm/m; and its middle."""
    rows = [Row(1, "BM", bs=1.5, rl=9.5, feature="benchmark", x=BM[0], y=BM[1])]
    rows += [Row(number, name, is_=HPC - level, feature="corner", x=x, y=y) for number, name, level, (x, y) in
             zip(range(2, 6), POINTS, CORNER_LEVELS, YARD, strict=True)]
    rows.append(Row(6, "hook", is_=HPC - 9.9, feature="cover", x=3.0, y=2.0))
    return OWN.errors(reduce_book(LevelBook(tuple(rows))), instruments={1: MIDDLE})


class TestPavingThatExists:
    """Four corners leave one degree of freedom, which a saddle of ± e fills: the residuals show a spot's variance to be 4 e²."""

    def test_uncertainty_of_its_fall(self) -> None:
        """Unevenness and reading, placing and tape make 4 e² at each corner between them, so 4 e² / 4² in all."""
        verdicts = self.held(FallAway("house"))
        assert verdicts.everywhere[0].u == pytest.approx(math.sqrt(4 * SADDLE**2 / 4**2 + TILT2), rel=1e-4)

    def test_uncertainty_of_its_level(self) -> None:
        """The hook's own reading; a quarter of each corner; the place itself, uneven and taped; the cone over √13 m."""
        uneven = 4 * SADDLE**2 - READING**2 - SOFT**2 - (TAPE * FALL)**2
        expected = READING**2 + HARD**2 + 4 * SADDLE**2 / 4 + uneven + (TAPE * FALL)**2 + CONE**2 * 13
        verdicts = self.held(KeepBelow(("hook", 3.0, 2.0, 9.9), 0.05))
        assert verdicts.everywhere[0].u == pytest.approx(math.sqrt(expected), rel=1e-4)

    def held(self, demand: Demand) -> Verdicts:
        errors = corners_read()
        finish = Finish.plane(errors.plane_fit(POINTS).plane, YARD)
        return check_finish(finish, briefed(demand), budget=errors, surveyed=POINTS)

    def test_another_plane_is_refused(self) -> None:
        with pytest.raises(SurveyError, match="not the plane through the points surveyed"):
            check_finish(Finish.plane(Plane(9.80, 0.0, -0.021, MIDDLE), YARD), briefed(), budget=corners_read(), surveyed=POINTS)

    def test_without_errors_it_is_refused(self) -> None:
        with pytest.raises(SurveyError, match=r"no errors are to be counted\. Give the errors"):
            check_finish(Finish.plane(SLOPING, YARD), briefed(FallAway("house")), surveyed=POINTS)

    @pytest.mark.parametrize("budget", [OWN, "book"])
    def test_points_that_were_not_read_are_refused_by_name(self, budget: object) -> None:
        with pytest.raises(SurveyError, match="c1, c2, c3, c4 were not read"):
            check_finish(Finish.plane(SLOPING, YARD), briefed(FallAway("house")), surveyed=POINTS,
                         budget=book() if budget == "book" else OWN)


class TestHowSure:
    def test_one_place(self) -> None:
        """JCGM 106:2012, 9.5.2, and any table of the normal distribution."""
        assert ErrorBudget().k == pytest.approx(1.645, abs=5e-4)
        assert ErrorBudget(sure=0.99).k == pytest.approx(2.326, abs=5e-4)
        assert ErrorBudget(sure=0.5).k == pytest.approx(0.0, abs=1e-12)

    @pytest.mark.parametrize("sure", [0.9, 0.95, 0.99])
    @pytest.mark.parametrize("places", [1, 2, 5, 40])
    def test_several_places_share_the_chance_of_being_wrong(self, sure: float, places: int) -> None:
        assert ErrorBudget(sure=sure).k_of(places) == pytest.approx(norm.isf(1 - sure**(1 / places)), rel=1e-9)

    def test_of_several_places_one_must_be_farther_outside(self) -> None:
        """With four places the guard is 2.234 u instead of 1.645 u: two u outside is not met for one, too close for four."""
        assert norm.isf(1 - 0.95**0.25) == pytest.approx(2.234, abs=5e-4)
        u = against("pipe", BURIED)
        low = ("pipe", *AT["pipe"], SLOPING.level_at(*AT["pipe"]) - 0.15 + 2 * u)
        deep = [(name, *AT["pipe"], 9.0) for name in ("p2", "p3", "p4")]
        assert judged(Cover([low], 0.15)).judged[0][0] == NOT_MET
        assert judged(Cover([low, *deep], 0.15)).judged[0][0] == CLOSE

    @pytest.mark.parametrize(("off", "verdict"), [(1.66, MET), (1.63, CLOSE), (0.0, CLOSE), (-1.63, CLOSE), (-1.66, NOT_MET)])
    def test_the_guard_is_k_u_on_both_sides(self, off: float, verdict: str) -> None:
        vent = ("vent", *AT["vent"], SLOPING.level_at(*AT["vent"]) + 0.1 + off * against("vent"))
        assert judged(KeepBelow(vent, 0.1)).judged[0][0] == verdict


def together(names: Sequence[str], placing: float) -> np.ndarray:
    """Covariance (m²) of the margins at several points: backsights, tilts and cones are common to them."""
    places = np.array([AT[name] for name in names])
    from_bm = places - BM
    by_stand = [math.dist(BM, STOOD) - math.dist(place, STOOD) for place in places]
    by_middle = [math.dist(place, MIDDLE) - math.dist(BM, MIDDLE) for place in places]
    own = READING**2 + placing**2 + PEG2 + (TAPE * FALL)**2
    cone = CONE**2 * (np.outer(by_stand, by_stand) + np.outer(by_middle, by_middle))
    return np.asarray(2 * BACK**2 + 2 * TILT2 * from_bm @ from_bm.T + cone + own * np.eye(len(names)))


def moved_to(name: str, below: float) -> tuple[str, float, float, float]:
    """A point so far below the surface, m."""
    return (name, *AT[name], SLOPING.level_at(*AT[name]) - below)


class TestChance:
    @pytest.mark.parametrize("off", [-2.5, -1.0, 0.0, 0.4, 1.7, 3.0])
    def test_one_place_against_the_normal_distribution(self, off: float) -> None:
        vent = moved_to("vent", -0.1 - off * against("vent"))
        assert judged(KeepBelow(vent, 0.1)).judged[0][1] == pytest.approx(norm.cdf(off), abs=1e-9)

    @pytest.mark.parametrize("above", [-0.004, 0.0, 0.003, 0.008])
    def test_between_two_limits(self, above: float) -> None:
        u = against("old")
        chance = judged(Meet([moved_to("old", above)], 0.005)).judged[0][1]
        assert chance == pytest.approx(norm.cdf((0.005 - above) / u) - norm.cdf((-0.005 - above) / u), abs=1e-9)

    @pytest.mark.parametrize("seed", range(12))
    def test_several_places_against_the_multivariate_normal_distribution(self, seed: int) -> None:
        rng = np.random.default_rng([821, seed])
        names = list(rng.choice(list(AT), int(rng.integers(2, 7)), replace=False))
        off = rng.uniform(-0.5, 2.0, len(names)) * 0.005
        wanted = multivariate_normal(np.zeros(len(names)), self.placed(names), seed=1).cdf(off)
        chance = judged(Cover([moved_to(name, 0.15 + one) for name, one in zip(names, off, strict=True)], 0.15)).judged[0][1]
        assert chance == pytest.approx(wanted, abs=0.01)

    @staticmethod
    def placed(names: Sequence[str]) -> np.ndarray:
        """The pipe alone lies in a hole; the other points were booked as hard marks."""
        return together(names, HARD) + np.diag([BURIED**2 - HARD**2 if name == "pipe" else 0.0 for name in names])

    @pytest.mark.parametrize("seed", range(6))
    def test_several_places_between_two_limits(self, seed: int) -> None:
        rng = np.random.default_rng([822, seed])
        off, names = rng.uniform(-0.004, 0.004, 3), ["old", "frame", "sill"]
        wanted = multivariate_normal(np.zeros(3), together(names, HARD), seed=1).cdf(0.006 - off, lower_limit=-0.006 - off)
        chance = judged(Meet([moved_to(name, one) for name, one in zip(names, off, strict=True)], 0.006)).judged[0][1]
        assert chance == pytest.approx(wanted, abs=0.01)


WIDE = 1.645 * against("old")
FINE: list[tuple[Demand, str]] = [
    (Meet([moved_to("old", 0.0)], 0.98 * WIDE), "a straightedge held from the one to the other, and a rule"),
    (AccessCover([moved_to("frame", 0.0)], 0.9 * WIDE), "a straightedge held from the one to the other, and a rule"),
    (Gully(moved_to("grate", 0.005), (0.003, 0.007)), "a straightedge held from the one to the other, and a rule"),
    (Step([moved_to("sill", -0.1)], 0.098, 0.102), "a straightedge held from the one to the other, and a rule"),
    (FallAlong("house", 0.98 * 1.6448 * OVER_6), "a long spirit level on the laid surface, read both ways round"),
    (FallAway("house", 0.0195, most=0.0205), "a long spirit level on the laid surface, read both ways round")]


class TestFinerThanLevelsShow:
    @pytest.mark.parametrize(("demand", "shown_by"), FINE, ids=lambda value: type(value).__name__)
    def test_the_sentence_names_what_shows_it(self, demand: Demand, shown_by: str) -> None:
        (found,) = judged(demand).everywhere
        assert found.beyond
        assert found.verdict == CLOSE
        assert found.aim.startswith("Finer than levels can show: 19 times of 20 the number is known within ")
        assert found.aim.endswith(f"What shows it is {shown_by}.")

    def test_it_says_how_well_the_number_is_known_and_why(self) -> None:
        """Nothing but laying, 4 mm: 1.96 times 4 mm is 7.8 mm, either way 95 of 100 times."""
        only_laying = replace(scaled(OWN, 0.0), laying=0.004)
        (found,) = judged(Meet([moved_to("old", 0.0)], 0.006), errors=only_laying).everywhere
        assert "19 times of 20 the number is known within 7.8 mm either way; 100% of the variance is laying." in found.aim

    @pytest.mark.parametrize(("demand", "plane"), [
        (Meet([moved_to("old", 0.0)], 1.02 * WIDE), SLOPING), (FallAlong("house", 1.02 * 1.645 * OVER_6), SLOPING),
        (Step([moved_to("sill", -0.1)], 0.1 - 1.02 * 1.645 * against("sill"), 0.1 + 1.02 * 1.645 * against("sill")), SLOPING)],
        ids=["meet", "along", "step"])
    def test_limits_a_little_wider_can_be_met_in_their_middle(self, demand: Demand, plane: Plane) -> None:
        (found,) = judged(demand, plane=plane).everywhere
        assert not found.beyond
        assert found.verdict == MET


def scaled(budget: ErrorBudget, by: float) -> ErrorBudget:
    return replace(budget, **{name: getattr(budget, name) * by for name in TERMS})


class TestWhatToAimFor:
    @pytest.mark.parametrize("by", [0.3, 0.7, 1.0, 1.3, 2.0])
    def test_in_words_and_a_surface_built_to_it_is_met(self, by: float) -> None:
        errors = scaled(OWN, by).errors(book().reduced, instruments={1: STOOD})
        (found,) = judged(KeepBelow(moved_to("vent", -0.15), 0.15), errors=errors).everywhere
        wanted = math.ceil(150 + 1.644854 * by * against("vent") * 1000)
        assert found.aim == f"To be 95% sure of at least 150 mm, aim for {wanted} mm."
        for millimetres, verdict in ((wanted, MET), (wanted - 1, CLOSE)):
            vent = moved_to("vent", -millimetres / 1000)
            assert judged(KeepBelow(vent, 0.15), errors=errors).judged[0][0] == verdict

    @pytest.mark.parametrize("by", [0.3, 0.7, 1.0, 1.3, 2.0])
    def test_a_fall_by_either_of_its_numbers(self, by: float) -> None:
        errors = scaled(OWN, by).errors(book().reduced, instruments={1: STOOD})
        (found,) = judged(FallAway("house", 1 / 80), errors=errors).everywhere
        said = re.fullmatch(r"To be 95% sure of at least 1:80 \(12\.5 mm/m\), aim for 1:([\d.]+) \(([\d.]+) mm/m\)\.", found.aim)
        assert said
        wanted = 1 / 80 + 1.644854 * by * OVER_4
        for fall in (1 / float(said[1]), float(said[2]) / 1000):
            assert 0 <= fall - wanted < 4e-4
            assert judged(FallAway("house", 1 / 80), plane=Plane(9.84, 0.0, -fall), errors=errors).judged[0][0] == MET

    def test_at_most_is_rounded_down(self) -> None:
        (found,) = judged(MaxGradient(0.025)).everywhere
        said = re.fullmatch(r"To be 95% sure of at most 1:40 \(25\.0 mm/m\), aim for 1:([\d.]+) \(([\d.]+) mm/m\)\.", found.aim)
        assert said
        for fall in (1 / float(said[1]), float(said[2]) / 1000):
            assert 0 <= 0.025 - 1.644854 * OVER_4 - fall < 4e-4
            assert judged(MaxGradient(0.025), plane=Plane(9.84, 0.0, -fall)).judged[0][0] == MET

    def test_between_two_limits(self) -> None:
        give = 1.644854 * against("sill") * 1000
        low, high = math.ceil(75 + give), math.floor(150 - give)
        (found,) = judged(Step([spot("sill")], 0.075, 0.15)).everywhere
        assert found.aim == f"To be 95% sure of 75 mm to 150 mm, aim for between {low} mm and {high} mm."
        for millimetres, verdict in ((low, MET), (high, MET), (low - 1, CLOSE), (high + 1, CLOSE)):
            sill = moved_to("sill", -millimetres / 1000)
            assert judged(Step([sill], 0.075, 0.15)).judged[0][0] == verdict

    def test_along_a_wall_either_way(self) -> None:
        (found,) = judged(FallAlong("house", 0.01)).everywhere
        said = re.fullmatch(r"To be 95% sure of at most 1:100 \(10\.0 mm/m\), aim for between 1:(\d+) uphill \(([\d.]+) mm/m\) "
                            r"and 1:\1 \(\2 mm/m\)\.", found.aim)
        assert said, found.aim
        for fall in (1 / float(said[1]), -1 / float(said[1]), float(said[2]) / 1000, -float(said[2]) / 1000):
            assert judged(FallAlong("house", 0.01), plane=Plane(9.84, fall, -0.02)).judged[0][0] == MET

    def test_a_gradient_finer_than_levels_show_is_not_to_be_built_uphill(self) -> None:
        """1 mm/m at most, known within 1.4 mm/m."""
        (found,) = judged(MaxGradient(0.001)).everywhere
        assert "uphill" not in found.aim

    def test_what_is_met_is_told_nothing(self) -> None:
        assert judged(KeepBelow(moved_to("vent", -0.2), 0.15)).worst[0].mend == ""
        (close,) = judged(KeepBelow(moved_to("vent", -0.151), 0.15)).worst
        more = math.ceil((1.644854 * against("vent") - 0.001) * 1e4 - 1e-6) / 10
        assert close.mend == f"Lower the finished surface by {more:.1f} mm at vent. {close.aim}"


def test_limits_that_leave_one_number_to_aim_for_name_it_once() -> None:
    """±3 mm less 1.64 × 1.8 mm either way: from -0.05 mm to 0.05 mm, 0 mm in whole millimetres."""
    demand = Meet(("E", 0.0, 0.0, 10.0), 0.003)
    (condition,) = demand.conditions(briefed(demand))
    assert Finding(demand, condition, 0.0, 0.003, u=0.0018, k=1.64, sure=0.95).aim.endswith("aim for 0 mm.")


class TestBudgetAlone:
    DEMANDS = (Clearance("house"), FallAway("house"), FallAlong("house"), Cover([spot("pipe")], 0.15),
               KeepBelow(spot("vent"), 0.1), Meet([spot("old"), spot("frame")], 0.006))

    def test_it_is_as_if_each_point_was_read_once_from_one_set_up(self) -> None:
        """A book that knows no place: both must find the same, point by point and together."""
        alone, read = judged(*self.DEMANDS, errors=OWN), judged(*self.DEMANDS, errors=book(placed=False))
        assert [one.u for one in alone.everywhere] == pytest.approx([one.u for one in read.everywhere], rel=1e-9)
        assert [verdict for verdict, _ in alone.judged] == [verdict for verdict, _ in read.judged]
        assert [chance for _, chance in alone.judged] == pytest.approx([chance for _, chance in read.judged], abs=0.01)

    def test_by_hand(self) -> None:
        """Each place 10 m off in a direction not known: a tilt over 10 m and 10 m; on the day over 10 m and from the middle."""
        away = math.dist(AT["vent"], MIDDLE)
        survey = BACK**2 + READING**2 + HARD**2 + TILT2 * 200
        day = BACK**2 + PEG2 + TILT2 * (away**2 + 100) + CONE**2 * (away - 10)**2 + (TAPE * FALL)**2
        (found,) = judged(KeepBelow(spot("vent"), 0.1), errors=OWN).everywhere
        assert found.u == pytest.approx(math.sqrt(survey + day), rel=1e-9)
