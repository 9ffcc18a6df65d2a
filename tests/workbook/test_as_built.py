"""What was laid, as a job folder holds it: places and levels from the first book, refusals in sentences, forms that keep all."""

import re
from typing import Any

import numpy as np
import pytest
from messages import refused, went_well
from scipy.spatial import cKDTree

from sitelevels import SurveyError, workbook
from sitelevels.workbook import forms

# The yard worked by hand, laid: HPC 10.000 + 1.400 = 11.400 m. Design 10.000 m at the wall and 9.925 m at 3 m: 1.400 and 1.475.
# C3 reads 1.483: it lies 8 mm low. Corners and DPC have the places of the first book.
LAID = """point,bs,is,fs,rl,x,y,feature
BM,1.400,,,,,,benchmark
C1,,1.400,,,,,corner
C2,,1.400,,,,,corner
C3,,1.483,,,,,corner
C4,,1.475,,,,,corner
M1,,1.438,,,1.0,1.5,
M2,,1.437,,,3.0,1.5,
D1,,1.200,,,,,dpc
BM,,,1.400,,,,benchmark
"""


SHIFTED = LAID.replace("BM,1.400,", "BM,2.600,").replace("BM,,,1.400", "BM,,,2.600")


def laid(folder: Any, book: str = LAID, *, more: str = "") -> Any:
    (folder.path / "laid.csv").write_bytes(book.encode())
    if more:
        folder.write(brief=folder.brief + more)
    return folder.open().as_built


class TestTheBook:
    def test_levels_and_places_come_from_the_first_book_and_that_is_said(self, hand: Any) -> None:
        built = laid(hand)
        spots = built.check.spots.set_index("point")
        assert spots.loc["C3", ["x", "y"]].tolist() == [4.0, 3.0]
        assert spots.loc["C3", "level"] == pytest.approx(9.917, abs=1e-9)  # 11.400 - 1.483
        assert spots.loc["C3", "deviation"] == pytest.approx(-0.008, abs=1e-9)
        said = " ".join(built.doubts)
        assert "BM is taken to lie at 10.000 m, as in the first survey" in said
        assert "No x and y are booked for BM" not in said
        assert "C1, C2, C3, C4, D1" in said

    def test_a_level_that_is_booked_counts(self, hand: Any) -> None:
        built = laid(hand, LAID.replace("BM,1.400,,,,", "BM,1.400,,,10.000,"))
        assert not any("is taken to lie" in doubt for doubt in built.doubts)

    def test_without_a_book_it_is_not_ready_and_says_so(self, hand: Any) -> None:
        built = hand.open().as_built
        assert not built.ready
        assert "there is no book of what was laid" in built.missing
        assert built.tried("check") is None
        with pytest.raises(SurveyError, match="no book of what was laid"):
            _ = built.check

    @pytest.mark.parametrize(("book", "said"), [
        (LAID.replace("BM,1.400,,,,", "BM,1.400,,,12.000,"), "the level of BM is given as 12.000 m"),
        (SHIFTED, "D1, lie 1200.0 mm higher than in the first survey"),
        (SHIFTED.replace("D1,", "X1,"), "every spot lies about 1.20 m above"),
        (LAID.replace("BM,", "XX,"), "o level is known"),
        (re.sub(r",1\.0,1\.5,|,3\.0,1\.5,", ",,,", LAID).replace("C1", "Q1").replace("C2", "Q2").replace(
            "C3", "Q3").replace("C4", "Q4"), "no spot with a place")])
    def test_a_wrong_book_is_told_in_the_notebook(self, hand: Any, book: str, said: str) -> None:
        built = laid(hand, book)
        assert not built.ready
        assert said in built.missing

    def test_the_first_book_in_place_of_the_laid_one(self, demo: Any) -> None:
        built = laid(demo, demo.book)
        assert "have the level that the old ground had there" in built.missing

    def test_both_books_changed_about(self, demo: Any) -> None:
        """The survey is then the paving, and points that the brief names stand in the other book."""
        new = (workbook.data_folder() / "pottery-yard" / "laid.csv").read_bytes()
        old = demo.book
        (demo.path / "laid.csv").write_bytes(old.encode())
        demo.write(book=new.decode())
        with pytest.raises(SurveyError, match="Were the two books changed about"):
            _ = demo.open().as_built.check


class TestWhatFollows:
    def test_mending_straightness_and_water(self, hand: Any) -> None:
        built = laid(hand)
        assert built.ready
        assert {one.length for one in built.flatness.bars} == {1.0, 2.0, 3.0}
        assert built.pond.depth == 0.0
        assert "nothing that stays was read to lie higher" in built.kept_words
        assert built.water.table["verdict"].tolist() == ["met", "met"]
        assert built.mending.laid is built.check
        assert built.lips is None
        assert built.lips_words == ("No two spots stand on either side of one joint.",)

    def test_a_hollow_by_the_wall_holds_water(self, hand: Any) -> None:
        """A spot at (2, 0.5) 30 mm under the design, 10.000 - 0.0125 - 0.030 = 9.9575: about it the ground is higher on all sides
        down to the wall; the water runs over where the rim is lowest."""
        built = laid(hand, LAID.replace("D1,,1.200", "P1,,1.4425,,,2.0,0.5,\nD1,,1.200"))
        spots = built.check.ground
        lowest = built.pond.basins[0]
        assert lowest.place == pytest.approx((2.0, 0.5))
        assert lowest.level > 9.9575
        assert lowest.depth == pytest.approx(lowest.level - 9.9575, abs=1e-9)
        assert spots.level_at(*lowest.spill) == pytest.approx(lowest.level, abs=1e-9)
        assert "litres" in built.water.bucket()

    def test_lips_from_the_brief(self, hand: Any) -> None:
        built = laid(hand, more='[laid]\npaving = "block paving"\njoints_mm = [["A", 1.0], ["B", 3.5]]\n')
        assert built.lips.places[["place", "verdict"]].to_numpy().tolist() == [["A", "met"], ["B", "not met"]]
        assert built.lips.words["verdict"].tolist() == ["met", "not met"]

    @pytest.mark.parametrize("told", ['joints_mm = [["A"]]', 'joints_mm = [["A", "x"]]', 'joints_mm = [["A", 900]]',
                                      'paving = "cheese"\njoints_mm = [["A", 1]]', 'measured_by = "eye"\njoints_mm = [["A", 1]]'])
    def test_a_joint_that_is_none_is_refused_with_its_part(self, hand: Any, told: str) -> None:
        built = laid(hand, more=f"[laid]\n{told}\n")
        with pytest.raises(SurveyError, match=r"brief\.toml, \[laid\]"):
            _ = built.lips

    def test_the_demonstration_has_one_low_corner_and_one_proud_unit(self) -> None:
        built = workbook.demonstration().as_built
        far = built.check.spots.iloc[int(np.abs(built.check.spots["deviation"]).argmax())]
        assert (far["point"], round(1000 * far["deviation"])) == ("C6", -8)
        assert [(one.point, round(1000 * one.by)) for one in built.mending.lifts] == [("C6", 8)]
        layout, spots = built.job.outdoor.units, built.check.spots[["x", "y"]].to_numpy()
        nearest = cKDTree(spots).query([piece.polygon.centroid.coords[0] for piece in layout.pieces])[1]
        assert built.mending.lifts[0].units == (nearest == built.check.spots.index[built.check.spots["point"] == "C6"][0]).sum()
        assert built.lips.worst[0].condition.place == "J1 to J2"
        assert built.lips.judged[0][0] == "not met"


class TestForms:
    def test_a_laid_book_typed_and_saved(self, hand: Any) -> None:
        form = forms.LaidBookForm(hand.open())
        assert "Nothing is booked yet" in refused(form)
        form.text.value = LAID
        assert (form.grid.cells[0][0], form.grid.worked[3]) == ("BM", ["", "9.917"])
        form.save_book()
        assert (hand.path / "laid.csv").read_bytes().decode() == LAID
        assert hand.book == (hand.path / "survey.csv").read_bytes().decode()
        assert "Saved" in form.message.value

    def test_what_is_typed_is_kept_under_a_name_of_its_own(self, hand: Any) -> None:
        forms.LaidBookForm(hand.open()).text.value = LAID
        drafts = [path.name for path in hand.path.glob("*draft*")]
        assert len(drafts) == 1
        assert drafts[0].startswith("laid-draft-")
        again = forms.LaidBookForm(hand.open())
        again.take_up()
        assert again.text.value == LAID
        assert forms.BookForm(hand.open()).again.layout.display == "none"

    def test_another_datum_is_told_under_the_book(self, hand: Any) -> None:
        form = forms.LaidBookForm(hand.open())
        form.text.value = LAID.replace("BM,1.400,,,,", "BM,1.400,,,12.000,")
        assert "the level of BM is given as 12.000 m" in refused(form)

    def test_joints_are_kept(self, hand: Any) -> None:
        form = forms.JointsForm(hand.open())
        form.joints.value = "by the door: 1,5\nat the gully: 3 mm\n\n"
        form.paving.value = "block paving"
        form.check()
        assert "Saved" in went_well(form)
        assert hand.open().told["laid"] == {"paving": "block paving",
                                            "joints_mm": [["by the door", 1.5], ["at the gully", 3]]}
        assert "not met" in form.shown.value
        again = forms.JointsForm(hand.open())
        assert again.joints.value == "by the door: 1.5\nat the gully: 3"

    @pytest.mark.parametrize("line", ["by the door", "by the door: a bit", ": 3", "x: nan", "x: 2000"])
    def test_a_line_that_is_no_joint_is_refused_and_kept(self, hand: Any, line: str) -> None:
        form = forms.JointsForm(hand.open())
        form.joints.value = line
        form.check()
        refused(form)
        assert form.joints.value == line
        assert "laid" not in hand.open().told

    def test_a_new_job_takes_the_laid_book_along(self, hand: Any, tmp_path: Any) -> None:
        laid(hand)
        copy = workbook.new_job(tmp_path / "copy", hand.open())
        assert copy.laid_text == LAID
        assert workbook.new_job(tmp_path / "blank").laid_text == ""

    def test_the_unit_of_the_laid_book_is_its_own(self, hand: Any) -> None:
        before = hand.open().reduced.level("C1")
        laid(hand)
        form = forms.LaidBookForm(hand.open())
        form.unit.value = "mm"
        form.text.value = "\n".join(re.sub(r",(\d\.\d{3}),", lambda found: f",{1000 * float(found[1]):.0f},", line)
                                    for line in LAID.splitlines()) + "\n"
        form.save_book()
        job = hand.open()
        assert job.told["laid"]["unit"] == "mm"
        assert job.reduced.level("C1") == before
        assert job.as_built.check.spots.set_index("point").loc["C3", "level"] == pytest.approx(9.917, abs=1e-9)

    def test_two_forms_of_joints_lose_nothing(self, hand: Any) -> None:
        one, other = forms.JointsForm(hand.open()), forms.JointsForm(hand.open())
        one.joints.value = "A: 1"
        one.check()
        other.joints.value = "B: 2"
        other.check()
        assert "was changed since this form was opened" in refused(other)
        assert other.joints.value == "B: 2"
        assert hand.open().told["laid"]["joints_mm"] == [["A", 1]]

    def test_what_the_form_cannot_show_is_told_and_kept(self, hand: Any) -> None:
        hand.write(brief=hand.brief + '[laid]\npaving = "cobbles"\njoints_mm = [["A", 1], ["lone"]]\n')
        form = forms.JointsForm(hand.open())
        refused(form)
        form.check()
        assert "'lone' is no name and number of mm" in refused(form)
        assert hand.open().told["laid"] == {"paving": "cobbles", "joints_mm": [["A", 1], ["lone"]]}


class TestOddJobs:
    def test_where_water_can_leave_nowhere_the_rest_still_stands(self, hand: Any) -> None:
        hand.change("[area]\n", '[area]\nclosed = [["C2", "C3"], ["C3", "C4"], ["C4", "C1"]]\n')
        built = laid(hand)
        assert built.ready
        assert built.tried("pond") is None
        assert "brief.toml, [area] and its closed and free sides: water can leave nowhere" in built.why("water")

    def test_a_refused_lip_says_why(self, hand: Any) -> None:
        built = laid(hand, more='[laid]\njoints_mm = [["A", 151]]\n')
        assert "joint A: the lip is 151 mm" in built.lips_missing

    def test_no_lip_says_so(self, hand: Any) -> None:
        assert laid(hand).lips_missing == "No joint has been measured yet: type it above."
