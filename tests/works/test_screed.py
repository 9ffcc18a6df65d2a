"""Screeds worked out by hand: nine spots of a concrete base, measured down from a line one metre above finished floor."""

from __future__ import annotations

import re
import warnings
from typing import Any

import numpy as np
import pytest

from sitelevels import Brief, ErrorBudget, Gully, Layer, Meet, Step, SurveyError, SurveyWarning
from sitelevels.design.demands import FallToDrain
from sitelevels.surface.ground import Ground
from sitelevels.surface.shapes import Channel, Outlet
from sitelevels.works.lift import unit_floor
from sitelevels.works.pegs import pegs_at
from sitelevels.works.screed import Screed, base_to_screed

ROOM = [(0, 0), (3, 0), (3, 2), (0, 2)]
NAMES = ["A1", "A2", "A3", "B1", "B2", "B3", "C1", "C2", "C3"]
DOWN = [1.050, 1.052, 1.049, 1.047, 1.053, 1.048, 1.051, 1.046, 1.050]  # m below the line; finished floor is meant to be 0.000
X, Y = [0, 1.5, 3] * 3, [0] * 3 + [1] * 3 + [2] * 3
TO_MIDDLE = [("A1", "B2"), ("A3", "B2"), ("C1", "B2"), ("C3", "B2")]
"""Breaks, so that the diagonals of the rectangles of spots do not hang on the last digit."""
LOWER = ((3, 0), (3, 2))  # the side that water runs to


def base(down: list[float] = DOWN, *, shift: tuple[float, float] = (0.0, 0.0)) -> Ground:
    return Ground(np.array(X) + shift[0], np.array(Y) + shift[1], [1.0 - one for one in down], points=NAMES, breaks=TO_MIDDLE)


def sloping(fall: float) -> Ground:
    """A base that falls along x."""
    return Ground([0, 3, 3, 0], [0, 0, 2, 2], [0, -3 * fall, -3 * fall, 0], points="PQRS")


def to_the_side(*demands: Any, **options: Any) -> Screed:
    return base_to_screed(base(), Brief(ROOM, demands=demands), **{"to": LOWER, "fall": 1 / 80, "most": 0.080, **options})


def mm(values: Any) -> Any:
    return np.asarray(values, dtype=float) * 1000


class TestToOneSide:
    """Levels of the base in mm: −50 −52 −49, −47 −53 −48, −51 −46 −50, row by row. The floor falls 12.5 mm/m along x.

    With c at x = 0 the screed over a spot is c − 12.5 x − base; 25 mm everywhere asks for c of at least base + 25 + 12.5 x:
    −25 −8.25 13.5, −22 −9.25 14.5, −26 −2.25 12.5. B3 holds it up, at c = 14.5 mm.
    """

    def test_the_lowest_floor(self) -> None:
        screed = to_the_side()
        assert screed.fits
        assert mm(screed.level) == pytest.approx(14.5, abs=1e-9)
        assert mm(screed.outlet_level) == pytest.approx(14.5 - 37.5, abs=1e-9)
        assert screed.thinnest.point == "B3"
        assert screed.thickest.point == "C1"
        assert mm(screed.table["thickness"]) == pytest.approx([64.5, 47.75, 26, 61.5, 48.75, 25, 65.5, 41.75, 27], abs=1e-9)
        assert screed.table["point"].tolist() == NAMES

    def test_the_volume(self) -> None:
        """Eight triangles of 0.75 m²: B2 is a corner of all, every other spot of two. A third of 0.75 m² each time.

        0.25 m² × (8 × 48.75 + 2 × (64.5 + 47.75 + 26 + 61.5 + 25 + 65.5 + 41.75 + 27)) mm = 0.25 × 1108 = 277 m² mm.
        """
        screed = to_the_side()
        assert screed.volume == pytest.approx(0.277, abs=1e-12)
        assert mm(screed.mean) == pytest.approx(277 / 6, abs=1e-9)
        assert (screed.area, screed.uncovered) == (6.0, 0.0)

    def test_what_is_bought(self) -> None:
        """Loose 0.277 m³ × 1.25, × 1.05 × 1.33, × 1.10 × 1.4; a fifth cement of 1440 kg/m³ in bags of 25 kg."""
        cement, sand = to_the_side().materials
        assert cement.loose.values == pytest.approx((0.34625 / 5, 0.38683050 / 5, 0.42658 / 5), abs=1e-9)
        assert cement.mass.values == pytest.approx((99.72, 111.407184, 122.85504), abs=1e-6)
        assert "4 to 5 bags of 25 kg of cement" in to_the_side().sentence()  # 3.99, 4.46 and 4.91 bags
        assert sand.loose.values == pytest.approx((0.277, 0.3094644, 0.341264), abs=1e-9)
        assert sand.bags is None
        plain = to_the_side(mix=(1, 3), waste=0.0).materials[0]
        assert plain.loose.likely == pytest.approx(0.277 * 1.33 / 4, abs=1e-12)
        assert base_to_screed(base(), Brief(ROOM), kind="calcium sulphate, bonded").materials == ()

    def test_measuring_down_from_the_line(self) -> None:
        pads = to_the_side().pads(["B3", "C1", ("pad", 1.5, 0.5)], 1.000)
        assert pads["base_reading"].tolist() == pytest.approx([1.048, 1.051, 1.0525], abs=1e-12)  # between A2 and B2
        assert pads["screed_reading"].tolist() == pytest.approx([1.023, 0.9855, 1.00425], abs=1e-12)
        assert pads["thickness"].tolist() == pytest.approx([0.025, 0.0655, 0.04825], abs=1e-12)
        assert to_the_side().pads(pegs_at(Brief(ROOM), grid=1.0), 1.0)["base_reading"].notna().all()

    def test_a_line_below_the_floor_is_refused(self) -> None:
        """The floor lies at 1.000 - 1.023 = -0.023 m at B3 and at 1.000 - 0.9855 = 0.0145 m at C1, as above."""
        floor = to_the_side()
        assert floor.pads(["C1"], 0.0145)["screed_reading"].tolist() == pytest.approx([0.0], abs=1e-12)
        with pytest.raises(SurveyError, match=r"Pad C1: the floor would lie 14.5 mm above the line. Measure from a line that"):
            floor.pads(["B3", "C1"], 0.0)

    def test_high_spots(self) -> None:
        """B3 down by 1.0 to A3's 13.5; both until C3's 12.5; all three until C2's −2.25 holds the floor up.

        The floor sinks by 1, 2 and 16.75 mm over 6 m². A spot that goes down by 1 mm takes two thirds of 0.75 m² mm with it:
        6 − 0.5 × 1, 12 − 0.5 × (2 + 1), 100.5 − 0.5 × (16.75 + 15.75 + 14.75) m² mm are saved.
        """
        ranks = to_the_side().high_spots
        assert ranks["spot"].tolist()[:3] == ["B3", "A3", "C3"]
        assert mm(ranks["scabble"][:3]) == pytest.approx([1, 1, 14.75], abs=1e-9)
        assert mm(ranks["sinks"][:3]) == pytest.approx([1, 2, 16.75], abs=1e-9)
        assert mm(ranks["saves"][:3]) == pytest.approx([5.5, 10.5, 76.875], abs=1e-9)
        assert "Scabbling 1.0 mm off the base at B3" in to_the_side().words
        assert "silica dust" in to_the_side().words

    def test_two_spots_of_one_height_save_nothing_one_by_one(self) -> None:
        down = [*DOWN[:2], 1.048, *DOWN[3:]]  # A3 as high as B3
        ranks = base_to_screed(base(down), Brief(ROOM), to=LOWER, fall=1 / 80, most=0.08).high_spots
        assert mm(ranks["sinks"][:2]) == pytest.approx([0, 2], abs=1e-9)


class TestToAnOutlet:
    """An outlet in the middle, over B2: the sides at x = 0 and 3 lie 1.5 m off, those at y = 0 and 2 lie 1.0 m off.

    1:80 on the flatter ones is a drop of 18.75 mm, so the others fall 18.75 mm/m. B2: perimeter ≥ −53 + 25 + 18.75 = −9.25;
    the highest spot of the perimeter, C2, asks for −21 only. The valleys run along the diagonals, so no corner is added.
    """

    screed = base_to_screed(base(), Brief(ROOM), to=Outlet((1.5, 1.0)), fall=1 / 80, most=0.080)

    def test_levels(self) -> None:
        assert self.screed.fits
        assert mm(self.screed.level) == pytest.approx(-9.25, abs=1e-9)
        assert mm(self.screed.outlet_level) == pytest.approx(-28, abs=1e-9)
        assert sorted(mm([facet.plane.fall for facet in self.screed.finish.facets])) == pytest.approx([12.5, 12.5, 18.75, 18.75])
        assert self.screed.thinnest.point == "B2"
        assert mm(self.screed.table["thickness"]) == pytest.approx(
            [40.75, 42.75, 39.75, 37.75, 25, 38.75, 41.75, 36.75, 40.75], abs=1e-9)

    def test_volume(self) -> None:
        assert self.screed.volume == pytest.approx(0.25e-3 * (8 * 25 + 2 * 319), abs=1e-12)  # 319: the other eight together

    def test_an_outlet_between_the_spots_is_told_by_its_place(self) -> None:
        """At x 0.75 y 0.5 on the diagonal the base lies at −51.5; the far side is 2.25 m off, a drop of 28.125 mm."""
        screed = base_to_screed(base(), Brief(ROOM), to=Outlet((0.75, 0.5)), fall=1 / 80, most=0.080)
        assert screed.thinnest.point == "the outlet at x 0.75 y 0.5 (not read: read the base beside it)"
        assert mm(screed.level) == pytest.approx(-51.5 + 25 + 28.125, abs=1e-9)
        assert screed.high_spots["spot"][0] == ""

    def test_a_facet_that_is_too_steep_is_said(self) -> None:
        near = base_to_screed(base(), Brief(ROOM), to=Outlet((1.5, 0.3)), fall=1 / 80, most=0.080)  # 1.7 × 12.5 / 0.3
        assert any("falls 1:14.1 (70.8 mm/m), steeper than 1:20" in one for one in near.doubts)
        flat = base_to_screed(base(), Brief(ROOM), to=Outlet((1.5, 1.0)), fall=1 / 80, steepest=1 / 60, most=0.08)
        assert any("steeper than 1:60" in one for one in flat.doubts)

    def test_the_steepest_part_keeps_to_the_steepest_that_may_be(self) -> None:
        """From the sides, 1 m off, the floor falls 1.5 times as steeply as from the ends: 1:35 there is 1:52.5 on the flattest.

        The base falls 1:35 from the ends and 1:23.3 from the sides: a floor as steep as that would take the least screed.
        """
        hollow = Ground(X, Y, [0, 0, 0, 0, -1.5 * 2 / 70, 0, 0, 0, 0], points=NAMES, breaks=TO_MIDDLE)
        found = base_to_screed(hollow, Brief(ROOM), to=Outlet((1.5, 1.0)), fall=1 / 80, steepest=1 / 35, most=0.2)
        assert found.fall == pytest.approx(1 / 52.5)
        assert max(facet.plane.fall for facet in found.finish.facets) == pytest.approx(1 / 35)
        assert found.sentence().startswith("It fits by the readings")
        assert "to 1:52.5 (19.0 mm/m), with which the steepest part falls 1:35 (28.6 mm/m), " in found.gained
        assert not any("steeper than" in one for one in found.doubts)

    @pytest.mark.parametrize(("x", "steepest", "verdict"), [(1.5, 1 / 35, "met"), (0.5, 1 / 35, "not met")])
    def test_the_steepest_that_may_be_has_a_verdict(self, x: float, steepest: float, verdict: str) -> None:
        found = base_to_screed(base(), Brief(ROOM), to=Outlet((x, 1.0)), fall=1 / 80, steepest=steepest, most=0.2)
        told = found.verdicts().words.query("demand == 'gradient'")
        assert told["verdict"].tolist() == [verdict]
        without = base_to_screed(base(), Brief(ROOM), to=Outlet((x, 1.0)), fall=1 / 80, most=0.2)
        assert "gradient" not in without.verdicts().words["demand"].tolist()

    def test_a_shape_that_breaks_the_steepest_by_itself_is_not_said_to_fit_it(self) -> None:
        """0.5 m from one end and 2.5 m from the other it falls 5 times as steeply: 1:16 for 1:80, and 1:35 for 1:175."""
        found = base_to_screed(base(), Brief(ROOM), to=Outlet((0.5, 1.0)), fall=1 / 80, steepest=1 / 35, most=0.2)
        assert found.fits
        assert found.fall == pytest.approx(1 / 80)
        assert found.gained == ""
        assert found.sentence().startswith(
            "In level it fits by the readings, thick enough everywhere; but its steepest part falls 1:16 (62.5 mm/m), where no "
            "part was to be steeper than 1:35 (28.6 mm/m). ")
        assert any("the flattest part may fall no more than 1:175 (5.7 mm/m)" in one for one in found.doubts)

    def test_verdicts(self) -> None:
        found = self.screed.verdicts()
        assert found.all_met
        assert {one.demand.title for one in found.worst} == {"thickness", "fall to the drain"}
        with pytest.warns(SurveyWarning, match=r"1:100 .* is not between 1:80"):
            flat = base_to_screed(base(), Brief(ROOM, demands=[FallToDrain(1 / 80)]), to=Outlet((1.5, 1)), fall=0.01, most=0.08)
        assert flat.fits  # its level fits; its fall is told by the verdicts
        assert flat.verdicts().table.set_index("demand").loc["fall to the drain", "verdict"] == "not met"

    def test_three_verdicts(self) -> None:
        budget = ErrorBudget()
        thin = self.screed.verdicts(budget).table.set_index("demand")
        assert thin.loc["thickness", "verdict"] == "too close to call"  # it lies just at its limit
        brief = Brief(ROOM, demands=[Meet(("next room", 3, 1, 0.050), 0.006)])  # far above, so that there is screed to spare
        thick = base_to_screed(base(), brief, to=Outlet((1.5, 1.0)), fall=1 / 80, most=0.2).verdicts(budget)
        assert thick.table.set_index("demand").loc["thickness", "verdict"] == "met"
        high = Brief(ROOM, demands=[Meet(("next room", 3, 1, 0.5), 0.006)])
        broken = base_to_screed(base(), high, to=Outlet((1.5, 1.0)), fall=1 / 80, most=0.2)
        assert broken.verdicts(budget).table.set_index("demand").loc["meet the old paving", "verdict"] == "not met"


class TestHigher:
    """The level floor that `TestLevel` has at −46 + 25 = −21 mm, 32 mm thick at most; 40 mm is the most of a bonded one."""

    def test_laid_higher_all_of_it_is_thicker(self) -> None:
        screed = base_to_screed(base(), Brief(ROOM), higher=0.005)
        assert screed.fits
        assert mm(screed.level) == pytest.approx(-16, abs=1e-9)
        assert mm([screed.thinnest.level, screed.thickest.level]) == pytest.approx([30, 37], abs=1e-9)
        assert mm(screed.volume) == pytest.approx(176.5 + 5 * 6, abs=1e-9)
        assert screed.high_spots.empty
        assert "5.0 mm higher than need be" in screed.sentence()
        assert mm(screed.room[0]) == pytest.approx(3, abs=1e-9)

    def test_as_high_as_the_limits_let_it_and_no_higher(self) -> None:
        assert base_to_screed(base(), Brief(ROOM), higher=0.008).fits
        with pytest.raises(SurveyError, match=r"cannot lie 8\.1 mm higher than need be: B2 \(thickness\) leaves it 8\.0 mm more"):
            base_to_screed(base(), Brief(ROOM), higher=0.0081)

    def test_the_fall_is_chosen_with_room_for_it(self) -> None:
        """The base falls 20 mm/m, the steepest floor 28.6 mm/m: 15 mm more leave all of it under 80 mm."""
        low, high = (base_to_screed(sloping(0.020), Brief(ROOM), to=LOWER, fall=1 / 80, steepest=1 / 35, most=0.08, higher=by)
                     for by in (0.0, 0.015))
        assert high.fall == pytest.approx(low.fall)
        assert mm(high.level - low.level) == pytest.approx(15, abs=1e-9)

    def test_what_does_not_fit_is_not_laid_higher(self) -> None:
        low, high = (to_the_side(most=None, higher=by) for by in (0.0, 0.002))
        assert not high.fits
        assert high.level == low.level
        assert high.doubts == (*low.doubts, "Laying it 2.0 mm higher waits until it fits.")

    @pytest.mark.parametrize("by", [-0.001, float("nan"), "5"])
    def test_what_is_no_length_is_refused(self, by: Any) -> None:
        with pytest.raises(SurveyError, match="How much higher the floor is laid is"):
            base_to_screed(base(), Brief(ROOM), higher=by)


class TestLevel:
    def test_the_highest_spot_holds_it_up(self) -> None:
        screed = base_to_screed(base(), Brief(ROOM))
        assert mm(screed.level) == pytest.approx(-46 + 25, abs=1e-9)
        assert screed.outlet_level is None
        assert mm(screed.thickest.level) == pytest.approx(32, abs=1e-9)
        # 0.25 × (8 × 32 + 2 × (29 + 31 + 28 + 26 + 27 + 30 + 25 + 29))
        assert mm(screed.volume) == pytest.approx(176.5, abs=1e-9)
        assert any("40 mm" in one for one in screed.doubts)  # what a bonded screed is designed for

    def test_a_fixed_floor_lifts_it(self) -> None:
        screed = base_to_screed(base(), Brief(ROOM, demands=[Meet(("next room", 3, 1, 0.0), 0.006)]), most=0.080)
        assert mm(screed.level) == pytest.approx(-6, abs=1e-9)
        assert screed.fits
        assert screed.high_spots.empty  # no spot of the base holds it up
        assert screed.limits.iloc[0][["demand", "place", "needs"]].tolist() == ["meet the old paving", "next room", "at least"]

    def test_spots_that_leave_a_part_out(self) -> None:
        wide = base_to_screed(base(), Brief([(0, 0), (4, 0), (4, 2), (0, 2)]))
        assert wide.uncovered == pytest.approx(2.0, abs=1e-9)
        assert mm(wide.volume) == pytest.approx(176.5, abs=1e-9)
        assert any("2.0 m² of the 8.0 m² no spot" in one for one in wide.doubts)
        pads = wide.pads([("out", 3.5, 1.0)], 1.0)
        assert pads["base_reading"].isna().all()
        assert pads["screed_reading"].tolist() == pytest.approx([1.021], abs=1e-9)

    def test_layers_are_said_not_to_count(self) -> None:
        assert any("10 mm" in one for one in base_to_screed(base(), Brief(ROOM, layers=[Layer("tiles", 0.01)])).doubts)


class TestSteeper:
    def test_a_base_that_falls_by_itself(self) -> None:
        """At 12.5 mm/m the screed is 25 mm at x = 0 and 47.5 at x = 3, 217.5 m² mm; at the base's own 20 mm/m 150 m² mm."""
        screed = base_to_screed(sloping(0.020), Brief(ROOM), to=LOWER, fall=1 / 80, steepest=1 / 35, most=0.08)
        assert screed.fall == pytest.approx(0.020, abs=1e-9)
        assert mm(screed.volume) == pytest.approx(150, abs=1e-6)
        assert "0.07 m³ less than 1:80" in screed.gained

    def test_a_level_base_keeps_the_flattest(self) -> None:
        screed = base_to_screed(sloping(0.0), Brief(ROOM), to=LOWER, fall=1 / 80, steepest=1 / 35, most=0.2)
        assert screed.fall == pytest.approx(1 / 80, abs=1e-12)

    def test_a_fall_that_alone_fits(self) -> None:
        """Screed of 25 to 40 mm: 3 × (20 − fall) mm may be 15 at the most, so 15 mm/m is the flattest that fits."""
        screed = base_to_screed(sloping(0.020), Brief(ROOM), to=LOWER, fall=1 / 80, steepest=0.018)
        assert screed.fits
        assert screed.fall == pytest.approx(0.018, abs=1e-9)
        assert "does not fit" in screed.gained


class TestQuarrel:
    """A door whose sill is at 31 mm, stepped down 0 to 15, wants 16 mm at x = 0; a floor at x = 3 that stays at −35 ± 6 mm
    wants 37.5 − 35 + 6 = 8.5 mm at the most; the screed wants 14.5.
    """

    door, room = Step(("door", 0, 1, 0.031), 0.0, 0.015), Meet(("room", 3, 1, -0.035), 0.006)

    def test_who_fights_and_what_each_would_give(self) -> None:
        screed = to_the_side(self.door, self.room)
        assert not screed.fits
        assert mm(screed.level) == pytest.approx(14.5, abs=1e-9)  # the least thickness is kept
        step, thickness = screed.quarrel
        assert "7.5 mm apart" in step
        assert "let the step at door be as high as 22.5 mm instead of 15 mm" in step
        assert "let the new paving stand 13.5 mm proud of the old at room instead of 6 mm" in step
        assert "greatest upstand of an accessible threshold" in step  # 15 mm, which 22.5 would break
        assert "6.0 mm apart" in thickness
        assert "let the screed be as thin as 19.0 mm at B3, A3, C3 instead of 25 mm (That is beyond 25 mm" in thickness
        assert "stand 12.0 mm proud of the old" in thickness
        assert not any("scabbled" in one for one in screed.cures)  # the door would still not fit

    def test_scabbling_cures_it(self) -> None:
        cures = to_the_side(self.room).cures
        assert cures[0].startswith("It fits once the base is scabbled: 6.0 mm at B3, 5.0 mm at A3, 4.0 mm at C3.")
        assert len(cures) == 1  # no thinner kind; a flatter floor keeps its screed over B3; nothing is too thick

    def test_a_sill_below_what_the_screed_needs(self) -> None:
        """The floor at the door would have to stand over the sill: no height of step mends that, only a thinner screed."""
        screed = to_the_side(Step(("door", 0, 1, 0.010), 0.0, 0.015))
        assert "4.5 mm apart" in screed.quarrel[0]
        assert "as thin as 20.5 mm at B3, A3, C3" in screed.quarrel[0]
        assert "or let" not in screed.quarrel[0]

    def test_too_thick_alone(self) -> None:
        """25 to 40 mm: C1 lets x = 0 lie at −51 + 40 = −11, B3 wants 3 × fall − 23; they meet at 4 mm/m."""
        screed = to_the_side(most=None)
        assert "cannot be met even alone" in screed.quarrel[0]
        assert "25.5 mm apart" in screed.quarrel[0]
        assert "as thick as 65.5 mm at C1, A1, B1 and others instead of 40 mm" in screed.quarrel[0]
        assert any("flatter fall: 1:250 (4.0 mm/m); that is flatter than 1:80" in one for one in screed.cures)
        assert any("25.5 mm at C1, 24.5 mm at A1, 21.5 mm at B1 and less at 3 more places; then it fits" in one
                   for one in screed.cures)

    def test_a_thinner_kind(self) -> None:
        """Unbonded, 50 mm, wants 39.5; the room lets 15, so that 25.5 mm would do: of the thinner kinds those of 25 mm."""
        room = Meet(("room", 3, 1, -0.0285), 0.006)
        found = [one for one in to_the_side(room, kind="unbonded").cures if "thinner kind" in one]
        assert "bonded (at least 25 mm" in found[0]
        assert "calcium sulphate, bonded (at least 25 mm" in found[0]
        assert "calcium sulphate, unbonded" not in found[0]

    def test_a_gully_too_low(self) -> None:
        """The outlet's grating at −40: the floor may stand 10 proud, at −30, and wants −28: 2 mm apart."""
        screed = base_to_screed(base(), Brief(ROOM, demands=[Gully(("gully", 1.5, 1, -0.040))]), to=Outlet((1.5, 1.0)),
                                fall=1 / 80, most=0.080)
        assert "2.0 mm apart" in screed.quarrel[0]
        assert "as much as 12.0 mm proud of the gully gully instead of 10 mm" in screed.quarrel[0]
        assert "as thin as 23.0 mm at B2" in screed.quarrel[0]


class TestAnyGrid:
    def test_grid_coordinates_change_nothing(self) -> None:
        shift = (450_000.0, 1_200_000.0)
        moved = [(x + shift[0], y + shift[1]) for x, y in ROOM]
        for to in (Outlet((1.1, 0.7)), LOWER, None):
            there: Any = to
            if isinstance(to, Outlet):
                there = Outlet((to.point[0] + shift[0], to.point[1] + shift[1]))
            elif to:
                there = tuple((x + shift[0], y + shift[1]) for x, y in to)
            near = base_to_screed(base(), Brief(ROOM), to=to, fall=1 / 80 if to else 0.0, most=0.08)
            far = base_to_screed(base(shift=shift), Brief(moved), to=there, fall=1 / 80 if to else 0.0, most=0.08)
            assert far.level == pytest.approx(near.level, abs=1e-8)
            assert far.volume == pytest.approx(near.volume, abs=1e-8)
            assert far.high_spots["saves"].tolist() == pytest.approx(near.high_spots["saves"].tolist(), abs=1e-7)


class TestOdd:
    @pytest.mark.parametrize(("options", "said"), [
        ({"kind": "wet"}, "no kind of screed called 'wet'"),
        ({"kind": 3}, "no kind of screed called 3"),
        ({"least": 0.05}, "at least 50 mm and at most 40 mm"),
        ({"least": -0.01}, "the least thickness is -0.01"),
        ({"most": float("nan")}, "the greatest thickness is nan"),
        ({"fall": 0.0125}, "Give `to` and `fall` together"),
        ({"to": LOWER}, "Give `to` and `fall` together"),
        ({"to": LOWER, "fall": 0.02, "steepest": 0.0125}, "no steeper than the steepest"),
        ({"steepest": 0.02}, "a level one has none"),
        ({"to": LOWER, "fall": "1:80"}, "the fall is '1:80'"),
        ({"to": Outlet((5, 1)), "fall": 0.0125}, "outside the area"),
        ({"to": ((0, 0), (3, 2)), "fall": 0.0125}, "does not lie along the outline"),
        ({"to": Channel(((0, 1), (3, 1))), "fall": 0.0125}, "is no edge"),
        ({"mix": (1, -4)}, "mix"),
        ({"mix": "1:4"}, "mix"),
        ({"waste": 5}, "waste"),
    ])
    def test_refused_in_a_sentence(self, options: dict[str, Any], said: str) -> None:
        with pytest.raises(SurveyError) as error:
            base_to_screed(base(), Brief(ROOM), **options)
        assert said.casefold() in str(error.value).casefold()

    def test_a_base_elsewhere(self) -> None:
        with pytest.raises(SurveyError, match="All spots lie outside the area"):
            base_to_screed(base(shift=(50, 0)), Brief(ROOM))

    def test_pads_that_cannot_be(self) -> None:
        screed = to_the_side()
        for places in (["B9"], [("far", 9, 9)], [("half", 1)], 3):
            with pytest.raises(SurveyError):
                screed.pads(places, 1.0)  # type: ignore[arg-type]
        with pytest.raises(SurveyError, match="The line is"):
            screed.pads(["B3"], float("inf"))

    def test_doubtful_falls_and_thicknesses_are_warned_of(self) -> None:
        with pytest.warns(SurveyWarning, match="is not between 1:80"):
            to_the_side(fall=1 / 30)
        with pytest.warns(SurveyWarning, match=r"20 mm is under 25 mm.*BS 8204-1"):
            to_the_side(least=0.020)
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            to_the_side(fall=1 / 35)

    def test_an_edge_with_floor_beyond_it(self) -> None:
        """An L whose inner side is named: the leg beyond it lies lower, and water stays there."""
        ell = [(0, 0), (3, 0), (3, 1), (1, 1), (1, 2), (0, 2)]
        screed = base_to_screed(base(), Brief(ell), to=((3, 1), (1, 1)), fall=1 / 80, most=0.2)
        assert any("At x 0 y 2 the floor lies 12 mm below its lower side" in one or "x 1 y 2" in one for one in screed.doubts)

    def test_what_is_shown_is_escaped(self) -> None:
        odd = Ground(X, Y, [1 - one for one in DOWN], points=[f"<b>{name}" for name in NAMES])
        shown = base_to_screed(odd, Brief(ROOM), to=LOWER, fall=1 / 80)._repr_html_()
        assert "<b>" not in shown
        assert "&lt;b&gt;B3" in shown
        assert repr(to_the_side()).startswith("Screed: It fits by the readings, thick enough everywhere and within every limit "
                                              "on its level. Screed, bonded")
        assert any("BS 8204-1" in one for one in to_the_side().sources)
        assert "BS 8204-1" in to_the_side().words


class TestScabbleInAll:
    def test_a_base_cut_as_it_is_told_lets_the_floor_sink_as_far(self) -> None:
        """Three humps on a base 50 mm under; each row of the words, carried out, gives the floor that it promises."""
        x, y = (part.ravel() for part in np.meshgrid(np.arange(5.0), np.arange(4.0)))
        level = np.full(20, -0.050)
        level[[6, 8, 13]] = -0.030, -0.034, -0.041
        names = [f"S{number}" for number in range(20)]
        base, brief = Ground(x, y, level, points=names), Brief([(0, 0), (4, 0), (4, 3), (0, 3)])
        screed = base_to_screed(base, brief, most=0.080)
        assert screed.level == pytest.approx(-0.005)  # -0.030 + 0.025
        rows = screed.high_words
        assert rows.iloc[0].tolist()[:2] == ["to sink the floor 4.0 mm", "S6 4.0 mm"]
        assert rows.iloc[1].tolist()[:2] == ["to sink the floor 11.0 mm", "S6 11.0 mm, S8 7.0 mm"]
        for sinks, told in rows.iloc[:, :2].itertuples(index=False, name=None):
            cut = dict(re.findall(r"(S\d+) ([\d.]+) mm", told))
            lower = np.array([float(cut.get(name, 0.0)) for name in names]) / 1000
            again = base_to_screed(Ground(x, y, level - lower, points=names), brief, most=0.080)
            assert screed.level - again.level == pytest.approx(float(re.findall(r"[\d.]+", sinks)[0]) / 1000, abs=2e-4)

    def test_spots_of_one_height_make_one_row(self) -> None:
        x, y = (part.ravel() for part in np.meshgrid(np.arange(5.0), np.arange(4.0)))
        level = np.full(20, -0.050)
        level[[6, 13]] = -0.030
        screed = base_to_screed(Ground(x, y, level), Brief([(0, 0), (4, 0), (4, 3), (0, 3)]), most=0.080)
        assert not any(" 0.0 mm" in one for one in screed.high_words.iloc[:, 0])
        assert "0.0 mm off" not in screed.words

    def test_the_flattest_fall_is_not_compared_with_itself(self) -> None:
        base = Ground([0, 3, 3, 0], [0, 0, 2, 2], [0.0] * 4)
        screed = base_to_screed(base, Brief([(0, 0), (3, 0), (3, 2), (0, 2)]), to=((0, 2), (3, 2)), fall=1 / 60, steepest=1 / 40,
                                most=0.2)
        assert screed.fall == pytest.approx(1 / 60)
        assert screed.gained.endswith("the flattest takes the least screed.")


def test_a_room_of_millimetres_is_refused_in_a_sentence() -> None:
    tiny = Brief([(0, 0), (0.004, 0), (0.004, 0.003), (0, 0.003)])
    with pytest.raises(SurveyError, match="No part of the area is large enough to fall to the outlet"):
        unit_floor(tiny, Outlet((0.002, 0.0015)))
