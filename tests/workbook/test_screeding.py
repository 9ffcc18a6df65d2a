"""A screed as a job folder asks for it: read, refused in sentences, shown pad by pad, changed by its form."""

from typing import Any

import pytest
from messages import refused

from sitelevels import SurveyError, workbook
from sitelevels.workbook import forms

# Room 4 m by 3 m. Line at 1.000 m. Base measured down: 1.060 at the corners, 1.050 in the middle (2, 1.5): levels -0.060, -0.050.
# Level floor, unbonded, 50 mm: the middle governs, -0.050 + 0.050 = 0.000 m; 60 mm at the corners.
# The base is a pyramid of 10 mm over 12 m²: 4 triangles. Volume 12 x 0.060 - 12 x 0.010 / 3 = 0.720 - 0.040 = 0.680 m³.
BOOK = """point,bs,rl,down,x,y,feature
LINE,0,1.000,,,,line
B1,,,1.060,0,0,corner
B2,,,1.060,4,0,corner
B3,,,1.060,4,3,corner
B4,,,1.060,0,3,corner
B5,,,1.050,2,1.5,ground
B1,,,1.060,0,0,corner
"""
BRIEF = """format = 1
[job]
name = "By hand"
[area]
corners = ["B1", "B2", "B3", "B4"]
[screed]
kind = "unbonded"
"""


@pytest.fixture
def room(hand: Any) -> Any:
    return hand.write(brief=BRIEF, book=BOOK)


class TestReading:
    def test_a_level_floor_by_hand(self, room: Any) -> None:
        screed = room.open().screeding
        assert screed.faults == ()
        assert screed.line == 1.0
        assert screed.found.level == pytest.approx(0.0, abs=1e-9)
        assert screed.found.volume == pytest.approx(0.680, abs=1e-9)
        pads = screed.pads.set_index("point")
        assert pads.loc["B1"].tolist()[2:] == pytest.approx([1.060, 1.000, 0.060])
        said = " ".join(screed.by_hand)
        assert "1.000 m − 1.050 m measured down = -0.050 m is the base" in said
        assert "12 m² × 56.7 mm on average = 0.68 m³" in said

    def test_a_fall_to_a_side(self, room: Any) -> None:
        """1:80 over 3 m to the side B4 B3: 37.5 mm. B5 asks for 0.000 at 1.5 m, B4 for -0.060 + 0.050 at 3 m: B5 needs
        0.000 + 18.75 mm = 0.01875 m at the top; B4 -0.010 + 37.5 mm = 0.0275 m: the side governs."""
        room.write(brief=BRIEF + 'edge = ["B3", "B4"]\nfall = "1:80"\npads_m = 1.5\n')
        screed = room.open().screeding
        assert screed.found.level == pytest.approx(0.0275, abs=1e-9)
        assert len(screed.pads) > 6
        assert screed.pads_words.columns.tolist() == ["pad", "place", "down to the base", "down to the screed", "thick"]

    @pytest.mark.parametrize(("more", "said"), [
        ('outlet = "Q1"\nfall = "1:80"\n', "Q1 were not read"), ('edge = ["B1"]\nfall = "1:80"\n', "is given as B1"),
        ('outlet = "B5"\nedge = ["B1", "B2"]\nfall = "1:80"\n', "both an outlet and an edge"), ('fall = "1:80"\n', "fall"),
        ('outlet = "B5"\nfall = "soon"\n', "soon"), ("least_mm = -5\n", "least"), ("pads_m = 0\n", "0"),
        ("mix = [1]\n", "mix")])
    def test_what_cannot_be_is_refused_with_its_part(self, room: Any, more: str, said: str) -> None:
        room.write(brief=BRIEF + more)
        screed = room.open().screeding
        assert any("brief.toml, [screed]" in fault and said in fault for fault in screed.faults)
        assert screed.tried("pads") is None

    def test_an_unknown_kind_and_no_line(self, room: Any) -> None:
        room.write(brief=BRIEF.replace("unbonded", "sticky"))
        assert any("there is no kind of screed called 'sticky'" in fault for fault in room.open().screeding.faults)
        room.write(brief=BRIEF, book=BOOK.replace("LINE,0,1.000,,,,line", "LINE,0,1.000,,,,benchmark"))
        with pytest.raises(SurveyError, match="no line to measure down from"):
            _ = room.open().screeding.line

    def test_a_job_without_a_screed_says_so_and_the_demonstration_stands_in(self, hand: Any) -> None:
        assert not hand.open().screeding.there
        assert "asks for no screed" in hand.open().screeding.faults[0]
        assert workbook.screed_job().folder.name == "seed-store"

    def test_the_demonstration_is_a_quarrel_of_six_mm_between_b7_and_the_door(self) -> None:
        """B7 lies at -0.055; 50 mm of screed and 1.05 m of the fall to the outlet 3 m away, 37.5 mm: 13.125 mm.

        -0.055 + 0.050 + 0.013125 = 0.008125 m; P2 at -0.001 m allows 0.002 m: 6.125 mm.
        """
        found = workbook.screed_job().screeding.found
        assert not found.fits
        assert found.thinnest.point == "B7"
        assert found.level == pytest.approx(0.008125, abs=1e-9)
        assert "6.1 mm apart" in found.quarrel[0]
        assert any("6.2 mm at B7" in cure for cure in found.cures)  # rounded up: 6.125 mm


class TestForm:
    def test_typing_follows(self, room: Any) -> None:
        form = forms.ScreedForm(room.open())
        assert "0.68 m³" in form.shown.value
        form.fields["screed", "kind"].value = "bonded"
        assert "0.38 m³" in form.shown.value  # 25 mm less: 0.680 - 12 x 0.025
        form.fields["screed", "edge"].value = "B3, B4"
        assert "fall" in refused(form)
        form.fields["screed", "fall"].value = "1:80"
        form.save_parts()
        assert room.open().told["screed"] == {"kind": "bonded", "edge": ["B3", "B4"], "fall": "1:80"}

    def test_a_mix_typed_as_one_says_it(self, room: Any) -> None:
        form = forms.ScreedForm(room.open())
        form.fields["screed", "mix"].value = "1:3"
        form.save_parts()
        assert room.open().told["screed"]["mix"] == [1, 3]

    def test_nothing_is_saved_over_the_demonstration(self) -> None:
        job = workbook.screed_job()
        form = forms.ScreedForm(job)
        form.fields["screed", "least_mm"].value = "40"
        form.save_parts()
        assert "the demonstration stays as it is" in refused(form)
        assert workbook.screed_job().brief_text == job.brief_text
