"""Wrong books of a laid surface: each is refused, or asked about, in a sentence that names the thing."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sitelevels import Brief, Clearance, ErrorBudget, FallAway, Finish, Plane, Wall, read_book
from sitelevels.design.conditions import Demand
from sitelevels.design.demands import FallAlong, KeepBelow, MaxGradient, Step
from sitelevels.design.laid import Laid, check_laid
from sitelevels.design.mending import where_to_lift
from sitelevels.errors import SurveyError
from sitelevels.survey.book import LevelBook, Row
from sitelevels.survey.reduction import ReducedLevels, reduce_book

Spots = Mapping[str, tuple[float | None, float | None, float]]
steady = settings(deadline=None, max_examples=60, derandomize=True)

LONG = [(0.0, 0.0), (8.0, 0.0), (8.0, 3.0), (0.0, 3.0)]
WIDE = [(0.0, 0.0), (6.0, 0.0), (6.0, 4.0), (0.0, 4.0)]
DESIGN = Plane(9.84, 0.0, -0.02)
BM = {"BM": (2.0, -3.0, 9.5)}
HPC = 11.0


def design_at(x: float, y: float) -> float:
    """9.840 at the wall, 20 mm/m away from it."""
    return 9.84 - 0.02 * y


def marks_for(area: list[tuple[float, float]]) -> dict[str, tuple[float, float, float]]:
    return {"D1": (0.0, 0.0, 10.0), "D2": (area[1][0], 0.0, 10.0)}


def laid_spots(area: list[tuple[float, float]] = LONG, name: str = "P", off: Any = 0.0) -> dict[str, tuple[float, float, float]]:
    """Spots along and across, `off` m above the design."""
    places = [(float(x), float(y)) for x in np.linspace(0, area[1][0], 5) for y in np.linspace(0, area[2][1], 3)]
    return {f"{name}{number}": (x, y, design_at(x, y) + above)
            for number, ((x, y), above) in enumerate(zip(places, np.broadcast_to(off, len(places)), strict=True), start=1)}


def book(spots: Spots, marks: Spots | None = None, *, bm: float = 9.5, feature: str = "", mark_feature: str = "dpc",
         shift: float = 0.0) -> ReducedLevels:
    """One set-up on the benchmark; `bm` is the level that it is given, `shift` by how much (m) every level comes out higher."""
    x, y, level = BM["BM"]
    rows = [Row(1, "BM", bs=HPC - level, rl=bm, feature="benchmark", x=x, y=y)]
    for told, named in ((mark_feature, marks_for(LONG) if marks is None else marks), (feature, spots)):
        rows += [Row(len(rows) + number, name, is_=HPC - (height + shift), x=east, y=north, feature=told)
                 for number, (name, (east, north, height)) in enumerate(named.items(), start=1)]
    return reduce_book(LevelBook(tuple(rows)))


def briefed(area: list[tuple[float, float]] = LONG, *demands: Demand) -> Brief:
    wall = Wall("house", (0, 0), area[1], dpc=[(0, 10.0), (area[1][0], 10.0)], points=("D1", "D2"))
    return Brief(area, walls=[wall], demands=demands or (Clearance("house"), FallAway("house", 1 / 80)))  # type: ignore[arg-type]


def check(reduced: ReducedLevels, *, area: list[tuple[float, float]] = LONG, survey: ReducedLevels | None = None,
          demands: tuple[Demand, ...] = ()) -> Laid:
    return check_laid(reduced, Finish.plane(DESIGN, area), briefed(area, *demands), survey=survey)


def ground(area: list[tuple[float, float]] = LONG, name: str = "G") -> dict[str, tuple[float, float, float]]:
    """The old ground: 60 to 110 mm above the design, uneven."""
    off = np.random.default_rng(1).uniform(0.06, 0.11, 15)
    return laid_spots(area, name, off)


FIRST = book(ground())
"""The first survey, with its marks."""


class TestAGoodBook:
    def test_it_is_taken_without_a_word(self) -> None:
        laid = check(book(laid_spots()), survey=FIRST)
        assert laid.doubts == ()
        assert len(laid.spots) == 15

    def test_the_mark_and_the_benchmark_are_no_spots(self) -> None:
        laid = check(book(laid_spots()))
        assert not {"BM", "D1", "D2"} & set(laid.spots["point"])

    def test_a_sill_read_again_without_a_feature_is_no_spot(self) -> None:
        """The paving is at 9.840 at the sill at 9.950: a step of 110 mm."""
        sill = {"sill": (4.0, 0.0, 9.95)}
        laid = check(book(laid_spots(), sill, mark_feature=""), demands=(Step([("sill", 4.0, 0.0, 9.95)], 0.075, 0.15),))
        assert "sill" not in set(laid.spots["point"])
        assert laid.doubts[0] == "sill: a mark of the first survey, so not counted as a spot of what was laid."
        assert laid.worst[0].found == pytest.approx(0.11, abs=1e-9)


class TestPlaces:
    def test_x_and_y_changed_about(self) -> None:
        turned = {name: (y, x, level) for name, (x, y, level) in laid_spots().items()}
        with pytest.raises(SurveyError, match=r"spots lie outside the area, P\d+.*change the two columns about"):
            check(book(turned))

    def test_x_and_y_changed_about_on_an_area_that_is_nearly_square(self) -> None:
        turned = {name: (y, x, level) for name, (x, y, level) in laid_spots(WIDE).items()}
        try:
            said = " ".join(check(book(turned, marks_for(WIDE)), area=WIDE).doubts)
        except SurveyError as error:
            said = str(error)
        assert "changed about" in said

    def test_another_job(self) -> None:
        far = {name: (x + 40, y + 25, level) for name, (x, y, level) in laid_spots().items()}
        with pytest.raises(SurveyError, match=r"15 of 15 spots lie outside the area, P1, P2, P3.*book of another job"):
            check(book(far))

    def test_a_few_spots_outside_are_named_and_left_out(self) -> None:
        spots = {**laid_spots(), "far": (4.0, 7.0, 9.7)}
        laid = check(book(spots))
        assert any(re_named("far", doubt) and "outside the area" in doubt for doubt in laid.doubts)
        assert "far" not in set(laid.spots["point"])

    def test_spots_without_places(self) -> None:
        spots: dict[str, tuple[float | None, float | None, float]] = {**laid_spots(), "lost": (None, None, 9.8)}
        laid = check(book(spots))
        assert any(doubt.startswith("lost: no x and y") for doubt in laid.doubts)
        with pytest.raises(SurveyError, match=r"no spot with a place.*Fill in x and y"):
            check(book({name: (None, None, level) for name, (_, _, level) in laid_spots().items()}))

    @pytest.mark.parametrize("half", [
        (None, 1.0), (4.0, None)])
    def test_a_spot_with_half_a_place(self, half: tuple[float | None, float | None]) -> None:
        spots: dict[str, tuple[float | None, float | None, float]] = {**laid_spots(), "half": (*half, 9.8)}
        laid = check(book(spots))
        assert "half" not in set(laid.spots["point"])
        assert any(doubt.startswith("half: no x and y") for doubt in laid.doubts)

    @pytest.mark.parametrize("feature", ["dpc", "threshold", "gully", "edge", "cover"])
    def test_a_book_whose_spots_all_have_a_feature(self, feature: str) -> None:
        with pytest.raises(SurveyError, match=r"no spot with a place.*no feature, or the feature ground or corner"):
            check(book(laid_spots(), feature=feature))

    @pytest.mark.parametrize("feature", ["ground", "corner"])
    def test_spots_of_ground_and_corners_count(self, feature: str) -> None:
        assert len(check(book(laid_spots(), feature=feature)).spots) == 15

    def test_names_of_the_first_survey_at_other_places(self) -> None:
        """Every spot has the name of one of the first survey that stands 1 m and more away."""
        places = list(ground().values())
        moved = {name: (*places[(number + 4) % 15][:2], 0.0) for number, name in enumerate(ground())}
        spots = {name: (x, y, design_at(x, y)) for name, (x, y, _) in moved.items()}
        with pytest.raises(SurveyError, match="points that both books name stand elsewhere, G1"):
            check(book(spots), survey=FIRST)

    def test_one_name_at_another_place_is_asked_about(self) -> None:
        spots = {**laid_spots(), "G1": (4.0, 1.0, design_at(4, 1))}
        assert any(doubt.startswith("G1: stands more than 100 mm from") for doubt in check(book(spots), survey=FIRST).doubts)

    def test_a_facet_with_too_few_spots(self) -> None:
        finish = Finish.channel(((0, 1.5), (8, 1.5)), LONG, level=9.8, left=0.02, right=0.02)
        near = {f"N{number}": (x, y, 9.8 + 0.02 * (1.5 - y)) for number, (x, y) in
                enumerate((x, y) for x in (0.0, 4.0, 8.0) for y in (0.0, 1.0))}
        far = {"F1": (2.0, 2.5, 9.82), "F2": (6.0, 2.5, 9.82)}
        with pytest.raises(SurveyError, match=r"the part of the surface between .* has 2 laid spots.*needs 3"):
            check_laid(book({**near, **far}), finish, briefed())
        three = book({**near, **far, "F3": (4.0, 3.0, 9.83)})
        assert len(check_laid(three, finish, briefed()).parts) == 2
        with pytest.raises(SurveyError, match=r"has 3 laid spots.*needs 4"):
            check_laid(three, finish, briefed(), budget=ErrorBudget())

    def test_spots_in_a_line(self) -> None:
        with pytest.raises(SurveyError, match="in a line"):
            check(book({name: (x, 1.5, design_at(x, 1.5)) for name, (x, _, _) in laid_spots().items() if int(name[1:]) % 3 == 0}))


def re_named(point: str, doubt: str) -> bool:
    return point in doubt.split(":", maxsplit=1)[0].split(", ")


class TestDatum:
    def test_all_levels_higher(self) -> None:
        """The marks that were read again tell of it by name."""
        with pytest.raises(SurveyError, match=r"marks that were read again, D1, D2, lie 1200.0 mm higher"):
            check(book(laid_spots(), shift=1.2), survey=FIRST)

    def test_all_levels_higher_and_no_mark(self) -> None:
        with pytest.raises(SurveyError, match=r"every spot lies about 1.20 m above the design.*another datum"):
            check(book(laid_spots(), {}, shift=1.2))

    @pytest.mark.parametrize(("shift", "way"), [(0.012, "higher"), (-0.012, "lower")])
    def test_twelve_millimetres_show_by_the_marks(self, shift: float, way: str) -> None:
        """The benchmark was moved, or its backsight is misread: both marks lie alike."""
        with pytest.raises(SurveyError, match=rf"D1, D2, lie 12.0 mm {way} than in the first survey.*whether it was moved"):
            check(book(laid_spots(), shift=shift), survey=FIRST)

    def test_twelve_millimetres_do_not_show_without_a_mark(self) -> None:
        laid = check(book(laid_spots(), {}, shift=0.012), survey=FIRST)
        assert any("No mark of the first survey was read again" in doubt for doubt in laid.doubts)
        assert laid.spots["deviation"].to_numpy() == pytest.approx(0.012, abs=1e-9)

    def test_thirty_millimetres_are_asked_about(self) -> None:
        laid = check(book(laid_spots(), {}, shift=0.030))
        assert any("Every spot lies about 30.0 mm above the design" in doubt for doubt in laid.doubts)

    @pytest.mark.parametrize("given", [9.512, 10.0, 0.0])
    def test_the_benchmark_given_another_level(self, given: float) -> None:
        with pytest.raises(SurveyError, match=r"the level of BM is given as .* and was 9.500 m in the first survey"):
            check(book(laid_spots(), bm=given), survey=FIRST)

    def test_one_mark_eight_millimetres_off(self) -> None:
        marks = {"D1": (0.0, 0.0, 10.008), "D2": (8.0, 0.0, 10.0)}
        laid = check(book(laid_spots(), marks), survey=FIRST)
        (doubt,) = laid.doubts
        assert doubt.startswith("D1: lies 8.0 mm higher than in the first survey")
        assert "the only mark" not in doubt

    def test_the_only_mark_eight_millimetres_off_may_be_the_whole_book(self) -> None:
        laid = check(book(laid_spots(), {"D1": (0.0, 0.0, 10.008)}), survey=FIRST)
        assert any(doubt.startswith("D1: lies 8.0 mm higher") and "the only mark" in doubt for doubt in laid.doubts)

    def test_no_mark_read_again(self) -> None:
        laid = check(book(laid_spots(), {}), survey=FIRST)
        assert any(doubt.startswith("No mark of the first survey was read again") for doubt in laid.doubts)

    def test_marks_of_both_books_that_the_brief_does_not_name(self) -> None:
        """D1 and D2 stand in both books, 12 mm higher in the second; the wall has its DPC as one level."""
        brief = Brief(LONG, walls=[Wall("house", (0, 0), (8, 0), dpc=10.0)], demands=[FallAway("house", 1 / 80)])
        with pytest.raises(SurveyError, match="D1, D2"):
            check_laid(book(laid_spots(), shift=0.012), Finish.plane(DESIGN, LONG), brief, survey=FIRST)

    @pytest.mark.filterwarnings("ignore::sitelevels.errors.SurveyWarning")
    def test_millimetres(self) -> None:
        """Readings booked in mm under headings without a unit: read_book asks about each, and the check refuses the book."""
        lines = ["point,bs,is,rl,x,y", "BM,1500,,9.5,2,-3"]
        lines += [f"{name},,{1000 * (HPC - level):.0f},,{x},{y}" for name, (x, y, level) in laid_spots().items()]
        with pytest.raises(SurveyError, match="Are they in mm, and taken for m"):
            check(reduce_book(read_book("\n".join(lines))))

    def test_readings_in_millimetres_that_came_through(self) -> None:
        rows = [Row(1, "BM", bs=1500.0, rl=9.5, feature="benchmark", x=2.0, y=-3.0)]
        rows += [Row(number, name, is_=1000 * (HPC - level), x=x, y=y)
                 for number, (name, (x, y, level)) in enumerate(laid_spots().items(), start=2)]
        with pytest.raises(SurveyError, match="design"):
            check(reduce_book(LevelBook(tuple(rows))))

    def test_levels_scattered_wildly(self) -> None:
        wild = np.random.default_rng(2).uniform(-0.5, 0.5, 15)
        with pytest.raises(SurveyError, match=r"off the design, this way and that.*another surface"):
            check(book(laid_spots(off=wild)))

    def test_a_single_spot_mistyped(self) -> None:
        """One of 15 booked 100 mm too low: the book stays usable, and that spot is the farthest."""
        off = np.zeros(15)
        off[6] = -0.1
        laid = check(book(laid_spots(off=off)), survey=FIRST)
        (doubt,) = laid.doubts
        assert doubt.startswith("P7: lies 100.0 mm below the design, farther off the rest than chance allows")
        assert "the farthest is P7, 100.0 mm below" in laid.sentence()
        assert laid.spots_words["point"].iloc[0] == "P7"


class TestBooksChangedAbout:
    def test_the_first_survey_as_the_laid_book(self) -> None:
        with pytest.raises(SurveyError, match=r"15 of 15 spots have the level that the old ground had.*changed about"):
            check(FIRST, survey=FIRST)

    def test_read_again_before_it_was_laid(self) -> None:
        """The same points of the old ground, each a millimetre or two off its first level."""
        again = {name: (x, y, level + by) for (name, (x, y, level)), by in zip(
            ground().items(), np.random.default_rng(3).uniform(-0.002, 0.002, 15), strict=True)}
        with pytest.raises(SurveyError, match="level that the old ground had"):
            check(book(again), survey=FIRST)

    def test_the_two_changed_about(self) -> None:
        """The old ground lies 60 to 110 mm above the design, the other book on it."""
        laid = book(laid_spots(name="G"))
        try:
            said = " ".join(check(FIRST, survey=laid).doubts)
        except SurveyError as error:
            said = str(error)
        assert "changed about" in said

    def test_the_two_changed_about_where_the_ground_lay_about_the_design(self) -> None:
        """The book that is given as laid scatters by 60 mm either way, the one that is given as the survey by nothing."""
        mild = laid_spots(name="G", off=np.random.default_rng(1).uniform(-0.06, 0.06, 15))
        try:
            said = " ".join(check(book(mild), survey=book(laid_spots(name="G"))).doubts)
        except SurveyError as error:
            said = str(error)
        assert said

    def test_laid_where_the_ground_was_already_right(self) -> None:
        """The old ground was the design to a millimetre or two: no reason to refuse the book."""
        right = book(laid_spots(name="G"))
        assert check(book(laid_spots(name="G", off=0.001)), survey=right).judged[0][0] == "met"


class TestOddInput:
    @pytest.mark.parametrize("odd", [None, "book.csv", 3, [], {"a": 1}])
    def test_other_kinds_are_refused(self, odd: Any) -> None:
        good = book(laid_spots())
        finish, brief = Finish.plane(DESIGN, LONG), briefed()
        for told in ((odd, finish, brief), (good, odd, brief), (good, finish, odd)):
            with pytest.raises(SurveyError):
                check_laid(*told)
        if odd is not None:
            for option in ("budget", "survey"):
                with pytest.raises(SurveyError):
                    check_laid(good, finish, brief, **{option: odd})

    def test_two_spots_at_one_place(self) -> None:
        with pytest.raises(SurveyError, match="stand at one place"):
            check(book({**laid_spots(), "twin": (0.0, 0.0, 9.835)}))

    def test_a_brief_without_demands(self) -> None:
        for budget in (None, ErrorBudget()):
            laid = check_laid(book(laid_spots()), Finish.plane(DESIGN, LONG), Brief(LONG), budget=budget)
            assert len(laid.spots) == 15
            assert laid.table.empty

    @pytest.mark.filterwarnings("ignore::sitelevels.errors.SurveyWarning")
    @steady
    @given(st.data())
    def test_random_books_raise_nothing_but_sentences_and_give_no_nan(self, data: st.DataObject) -> None:
        rough = st.floats(-1.0, 9.0, allow_nan=False)
        near = st.sampled_from([0.5, 1.0, 1.4, 2.3, 2.9, 5.0, 8.0])
        place = st.one_of(near, near, near, rough, st.none())
        off = data.draw(st.sampled_from([0.002, 0.002, 0.02, 0.2, 5.0]))
        random = np.random.default_rng(data.draw(st.integers(0, 10**6)))
        kept = random.random(15) < data.draw(st.sampled_from([0.2, 0.6, 1.0]))
        spots: dict[str, tuple[float | None, float | None, float]] = {
            name: told for (name, told), keep in
            zip(laid_spots(off=random.uniform(-off, off, 15)).items(), kept, strict=True) if keep}
        for number in range(data.draw(st.integers(0, 3))):
            x = data.draw(place)
            y = None if x is None else data.draw(place.filter(lambda one: one is not None))
            spots[f"Q{number}"] = (x, y, design_at(x or 0.0, y or 0.0) + data.draw(st.floats(-off, off, allow_nan=False)))
        shifted = st.sampled_from([0.0, 0.0, 0.003, 0.02])
        marks = {name: (x, y, level + data.draw(shifted)) for name, (x, y, level) in marks_for(LONG).items()
                 if data.draw(st.booleans())}
        feature = data.draw(st.sampled_from(["", "", "", "ground", "corner", "dpc"]))
        drained = data.draw(st.booleans())
        finish = Finish.channel(((0, 1.5), (8, 1.5)), LONG, level=9.8, left=0.02, right=0.02) if drained \
            else Finish.plane(DESIGN, LONG)
        demands = (FallAway("house", 1 / 80), FallAlong("house"), MaxGradient(0.05), Clearance("house"),
                   KeepBelow(("vent", 4.0, 0.0, 10.0), 0.1))
        budget = data.draw(st.sampled_from([None, ErrorBudget()]))
        survey = data.draw(st.sampled_from([None, FIRST]))
        try:
            laid = check_laid(book(spots, marks, feature=feature), finish, briefed(LONG, *demands), budget=budget, survey=survey)
            mending = where_to_lift(laid)
        except SurveyError:
            return
        for one in (laid, mending.after):
            numbers = [value for finding in one.everywhere for value in (finding.found, finding.margin, finding.u or 0.0)]
            assert all(map(math.isfinite, numbers))
            assert np.isfinite(one.spots[["x", "y", "level", "design", "deviation"]].to_numpy()).all()
            assert np.isfinite(one.leans).all()
            assert np.isfinite(one.falls[["design", "laid"]].to_numpy(dtype=float)).all()
            assert one.ground.level.size >= 3
            assert one.sentence() in one._repr_html_()
        assert mending.sentence()
