"""A screed as a job folder asks for it: read, refused in sentences, shown pad by pad, changed by its form."""

import re
from dataclasses import replace
from typing import Any

import pytest
import shapely
from messages import refused, went_well
from sheet_pages import texts

from sitelevels import SurveyError, workbook
from sitelevels.design.finish_file import floor_written
from sitelevels.workbook import forms, screeding
from sitelevels.workbook.pads_page import _page, _pages, _short, save_pads

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
        ('outlet = "Q1"\nfall = "1:80"\n', "Q1 was not read"), ('edge = ["B1"]\nfall = "1:80"\n', "is given as B1"),
        ('outlet = "B5"\nedge = ["B1", "B2"]\nfall = "1:80"\n', "both an outlet and an edge"), ('fall = "1:80"\n', "fall"),
        ('outlet = "B5"\nfall = "soon"\n', "soon"), ("least_mm = -5\n", "least"), ("pads_m = 0\n", "0"),
        ("mix = [1]\n", "mix")])
    def test_what_cannot_be_is_refused_with_its_part(self, room: Any, more: str, said: str) -> None:
        room.write(brief=BRIEF + more)
        screed = room.open().screeding
        assert any("brief.toml, [screed]" in fault and said in fault for fault in screed.faults)
        assert screed.tried("pads") is None

    def test_what_is_wrong_elsewhere_is_not_told_of_this_part(self, room: Any) -> None:
        room.write(brief=BRIEF + '[[wall]]\nname = "back"\nfirst = "Q1"\nsecond = "B2"\n')
        assert [fault.count("rief.toml") for fault in room.open().screeding.faults] == [1]

    def test_an_unknown_kind_and_no_line(self, room: Any) -> None:
        room.write(brief=BRIEF.replace("unbonded", "sticky"))
        assert any("there is no kind of screed called 'sticky'" in fault for fault in room.open().screeding.faults)
        room.write(brief=BRIEF, book=BOOK.replace("LINE,0,1.000,,,,line", "LINE,0,1.000,,,,benchmark"))
        with pytest.raises(SurveyError, match="no line to measure down from"):
            _ = room.open().screeding.line

    def test_a_job_without_a_screed_says_so_and_the_demonstration_stands_in(self, hand: Any) -> None:
        assert not hand.open().screeding.there
        assert "asks for no screed" in hand.open().screeding.faults[0]
        assert workbook.in_its_place(workbook.screed_job()) == (
            "Pottery yard asks for no screed, so this is Seed store wash-down room, an invented one. To screed a room of your "
            "own: in 0-start, start a new job like seed-store.")
        assert workbook.in_its_place(workbook.current_job()) == "Pottery yard"
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


TILTED = """point,bs,rl,down,x,y,feature
LINE,0,1.000,,,,line
B1,,,1.060,0,0,corner
B2,,,1.060,4,0,corner
B3,,,1.040,4,3,corner
B4,,,1.040,0,3,corner
P1,,,0.990,1.0,3,edge
P2,,,0.990,1.8,3,edge
"""
DOOR = """[[demand]]
kind = "meet"
points = "edge"
within_mm = 3
"""


class TestAsFinish:
    """The floor of 7-screed as the finish that 6-laid judges by."""

    @pytest.mark.parametrize(("more", "levels", "words"), [
        ("", {(0, 0): 0.0, (2, 1.5): 0.0}, "one plane, level (0.0 mm/m)."),
        # 1:80 over 2 m, the longest way to the outlet: 25 mm; B5 asks for -0.050 + 0.050 = 0.000 m there
        ('outlet = "B5"\nfall = "1:80"\n', {(0, 0): 0.025, (2, 1.5): 0.0, (1, 1.5): 0.0125}, "1:80 (12.5 mm/m)"),
        # B4 governs: -0.060 + 0.050 = -0.010 m at the side, 3 m × 12.5 mm/m above that at the top
        ('edge = ["B3", "B4"]\nfall = "1:80"\n', {(0, 0): 0.0275, (4, 3): -0.010, (2, 1): 0.015},
         "one plane, 1:80 (12.5 mm/m) down to the side from B3 to B4."),
        # from the sides that it is not on, 4 m and 3 m off: 1:80 over 4 m is 50 mm; B1 governs: -0.060 + 0.050 m
        ('outlet = "B1"\nfall = "1:80"\n', {(0, 0): -0.010, (4, 3): 0.040, (2, 1.5): 0.015}, "to an outlet at x 0 y 0")])
    def test_saved_and_read_back(self, room: Any, more: str, levels: dict[tuple[float, float], float], words: str) -> None:
        room.write(brief=BRIEF + more)
        form = forms.ScreedForm(room.open())
        form.keep()
        assert "Saved as the finish" in went_well(form)
        job = room.open()
        for place, level in levels.items():
            assert job.finish.level_at(*place) == pytest.approx(level, abs=1e-9)
        assert job.screeding.moved == ""
        assert words in job.finish_words

    def test_the_side_that_a_level_floor_is_measured_along_is_no_short_one(self, room: Any) -> None:
        room.write(brief=BRIEF.replace('["B1",', '["B1", "B6",'), book=BOOK + "B6,,,1.060,0.08,0,corner\n")
        form = forms.ScreedForm(room.open())
        form.keep()
        went_well(form)
        assert room.open().told["finish"] == {"shape": "side", "line": [[4.0, 3.0], [0.0, 3.0]], "level_m": 0, "fall": "level"}
        assert room.open().finish.level_at(4, 3) == 0.0

    def test_a_floor_that_cannot_be_read_back_as_it_is_is_not_saved(self, room: Any, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr(screeding, "floor_written",
                            lambda finish, brief, to, fall: floor_written(finish.lowered(0.002), brief, to, fall))
        form = forms.ScreedForm(room.open())
        form.keep()
        assert "Read back, the floor would lie 2.0 mm off this one." in refused(form)
        assert "finish" not in room.open().told

    @pytest.mark.parametrize(("told", "said"), [
        ('line = ["B3", "B4"]\nlevel_m = 0.0\nfall = "-12.5 mm/m"\n', "the fall towards the side is 1:80 uphill (12.5 mm/m)"),
        ('line = [[true, 3], [0, 3]]\nlevel_m = 0.0\nfall = "1:80"\n', "the place [True, 3] is none"),
        ('line = [["4", "3"], ["0", "3"]]\nlevel_m = 0.0\nfall = "1:80"\n', "the place ['4', '3'] is none"),
        ('line = ["B3", "B4"]\nfall = "1:80"\n', "Press *Save this floor as the finish* in notebook 7-screed.")])
    def test_a_side_told_wrongly_is_refused(self, room: Any, told: str, said: str) -> None:
        room.write(brief=f'{BRIEF}[finish]\nshape = "side"\n{told}')
        with pytest.raises(SurveyError, match=re.escape(said)):
            room.open().finish  # noqa: B018

    def test_a_plane_left_over_is_not_shown_as_the_finish(self, room: Any) -> None:
        room.write(brief=BRIEF + """[[wall]]
name = "back"
first = "B1"
second = "B2"
dpc_m = 0.3
[finish]
shape = "side"
line = ["B3", "B4"]
level_m = -0.010
fall = "1:80"
level_at_wall_m = 0.1
""")
        said = forms.SurfaceForm(room.open()).said.value
        assert "Not saved yet." in said
        assert "The surface that is saved is another: one plane, 1:80 (12.5 mm/m) down to the side from B3 to B4." in said

    def test_once_saved_it_is_no_longer_said_to_lie_off_the_finish(self, room: Any) -> None:
        forms.ScreedForm(room.open()).keep()
        room.change_book("B5,,,1.050", "B5,,,1.046")
        form = forms.ScreedForm(room.open())
        assert "4.0 mm above the finish that is saved" in form.shown.value
        form.keep()
        assert "Saved as the finish" in form.message.value
        assert "the finish that is saved" not in form.shown.value

    def test_a_base_read_anew_moves_the_floor_and_says_so(self, room: Any) -> None:
        forms.ScreedForm(room.open()).keep()
        room.change_book("B5,,,1.050", "B5,,,1.046")
        assert "4.0 mm above the finish that is saved" in room.open().screeding.moved

    def test_what_does_not_fit_or_is_not_saved_is_no_finish(self, room: Any) -> None:
        room.write(brief=BRIEF + "most_mm = 55\n")
        form = forms.ScreedForm(room.open())
        form.keep()
        assert "this floor does not fit" in refused(form).lower()
        form.fields["screed", "most_mm"].value = "70"
        form.keep()
        assert "Press Save first" in refused(form)
        assert "finish" not in room.open().told

    def test_without_one_the_laid_floor_and_the_finder_say_where_it_is_set(self, room: Any) -> None:
        (room.path / "laid.csv").write_text(BOOK)
        assert room.open().as_built.missing == \
            "No finish is saved. Press *Save this floor as the finish* in 7-screed first."
        assert "is set in notebook 7-screed" in refused(forms.SolveForm(room.open()))

    def test_a_cured_screed_is_judged_by_the_classes_of_floors(self, room: Any) -> None:
        """A level floor, one spot 6 mm low: 6 mm under a bar of 2 m that rests on its neighbours."""
        forms.ScreedForm(room.open()).keep()
        rows = [f"S{x}{y},,,{1.006 if (x, y) == (2, 1) else 1.0:.3f},{x},{y},ground" for x in range(5) for y in range(4)]
        (room.path / "laid.csv").write_text("\n".join([*BOOK.splitlines()[:2], *rows]))
        built = room.open().as_built
        assert built.floor_words[0].startswith("Worst under 2.00 m: 6.0 mm, at x 2 y 1. SR1, at most 3 mm of gap under 2.00 m: ")
        assert built.shown_bar is not None
        assert built.shown_bar.length == 2.0
        assert built.flatness.paving == ("SR1", "SR2", "SR3")
        assert built.mending.sentence() == "Every demand is met: nothing need be mended."

    def test_the_spot_that_breaks_the_class_is_named(self, room: Any) -> None:
        """40 mm low: farther than readings can be out from the 10 mm that the last class lets be."""
        forms.ScreedForm(room.open()).keep()
        rows = [f"S{x}{y},,,{1.040 if (x, y) == (2, 1) else 1.0:.3f},{x},{y},ground" for x in range(5) for y in range(4)]
        (room.path / "laid.csv").write_text("\n".join([*BOOK.splitlines()[:2], *rows]))
        where, what, why = room.open().as_built.to_do.iloc[0]
        assert (where, "grind" in what) == ("S21, x 2 y 1", True)
        assert why.startswith("40.0 mm under 2.00 m; at most 10 mm")

    def test_a_screed_is_asked_for_no_joints_and_no_dpc(self, room: Any) -> None:
        job = room.open()
        assert forms.JointsForm(job).children[0].value == job.as_built.lips_missing == "A screed has no joints between units."
        book = forms.BookForm(job)
        assert "read again what matters most, the floor at the door and the highest spots." in book.message.value
        assert "DPC" not in book.message.value + refused(forms.LaidBookForm(job))


class TestTheOutlet:
    """The floor falls 1:80 from 0.025 m at the sides to 0.000 m at the outlet B5, which is told by its place."""

    SPOTS = "B1,,,0.975,,,\nB2,,,0.975,,,\nB3,,,0.975,,,\nB4,,,0.975,,,\nN,,,0.975,2,0,\nS,,,0.975,2,3,\nW,,,0.9875,1,1.5,\n" \
            "E,,,0.9875,3,1.5,\nT,,,0.9875,2,0.75,\nU,,,0.9875,2,2.25,\n"

    def laid(self, room: Any, more: str) -> Any:
        room.write(brief=BRIEF + 'outlet = [2.0, 1.5]\nfall = "1:80"\n')
        forms.ScreedForm(room.open()).keep()
        (room.path / "laid.csv").write_text("\n".join(BOOK.splitlines()[:2]) + "\n" + self.SPOTS + more)
        return room.open().as_built

    def test_the_floor_at_a_gully_is_a_spot_of_it(self, room: Any) -> None:
        built = self.laid(room, "G1,,,1.004,2,1.5,gully\n")
        assert built.check.spots.set_index("point").loc["G1", "deviation"] == pytest.approx(-0.004, abs=1e-9)
        assert built.floor_words[1] == "At the outlet, x 2 y 1.5, the floor lies at -0.004 m, 4.0 mm below the design; no spot " \
                                       "lies more than 1 mm lower."

    def test_spots_and_water_are_shown_though_one_part_cannot_be_judged(self, room: Any) -> None:
        """W and B1, B4 alone stand in the part at x = 0; the outlet lies 4 mm low, and all water runs to it."""
        built = self.laid(room, "B5,,,1.004,,,\n")
        (room.path / "laid.csv").write_text((room.path / "laid.csv").read_text().replace("W,,,0.9875,1,1.5,\n", ""))
        built = room.open().as_built
        assert "between x 0 y 0, x 0 y 3 and x 2 y 1.5 has 3 laid spots" in built.missing
        assert built.farthest.iloc[0].tolist() == ["B5", "-0.004 m", "0.000 m", "4.0 mm low"]
        assert built.pond.depth == 0.0

    def test_a_gully_elsewhere_is_none(self, room: Any) -> None:
        built = self.laid(room, "B5,,,1.0,,,\nG2,,,1.050,0.5,0.5,gully\n")
        assert "G2" not in built.check.spots["point"].tolist()

    def test_no_level_is_told_that_nobody_read(self, room: Any) -> None:
        assert self.laid(room, "").floor_words[-1] == \
            "At the outlet, x 2 y 1.5, nobody read the floor: whether water gets there is not known. Read it there."


class TestWater:
    def test_sides_keep_water_in_and_the_door_lets_it_out(self, room: Any) -> None:
        """The base falls 20 mm away from the door: without it as the one way out nothing would stand at all.

        Up to the level of the door, -0.040 m: 20 mm at y = 0, none at y = 3; 12 m² × 10 mm = 0.12 m³.
        """
        room.write(brief=BRIEF + DOOR, book=TILTED)
        built = room.open().as_built
        assert built.before.depth == pytest.approx(0.020, abs=1e-6)
        assert built.before.volume == pytest.approx(0.12, abs=1e-5)
        assert built.kept_words == "The sides of the room keep water in: it leaves over the door at P1, P2, and nowhere else."

    def test_a_door_at_a_corner_opens_no_more_than_itself(self, room: Any) -> None:
        """Of the side from B4 to B1 0.1 m at the corner is open: 4 m × 2.9 m × 19.33 mm / 2 of water stays."""
        at_corner = TILTED.replace("1.0,3,edge", "0,3,edge").replace("1.8,3,edge", "0.8,3,edge")
        room.write(brief=BRIEF + DOOR, book=at_corner)
        job = room.open()
        assert max(3 - y for edge in job.screeding.ways_out.free for _, y in edge) == pytest.approx(0.1)
        assert job.as_built.before.volume == pytest.approx(4 * 2.9 * 0.020 * 2.9 / 3 / 2, abs=1e-6)

    def test_nothing_lets_it_out(self, room: Any) -> None:
        assert room.open().as_built.kept_words.endswith("nothing lets it out.")
        assert room.open().as_built.why("before").startswith("Nothing lets water out of the room.")


class TestHigher:
    def test_what_is_said_makes_the_thickness_met_and_a_millimetre_less_does_not(self, room: Any) -> None:
        said = room.open().screeding.higher_words
        more = int(said.split("Lay the floor ")[1].split(" mm")[0])
        assert more > 0
        verdicts = []
        for by in (more - 1, more):
            room.write(brief=f"{BRIEF}higher_mm = {by}\n")
            screed = room.open().screeding
            assert screed.found.level == pytest.approx(by / 1000, abs=1e-9)
            verdicts.append(screed.verdicts.table["verdict"].tolist())
        assert verdicts == [["too close to call"], ["met"]]
        assert room.open().screeding.higher_words == ""
        assert said.endswith("the thickness is then met, errors counted. Nothing keeps it down.")

    def test_a_whole_millimetre_that_would_be_too_high_is_not_advised(self, room: Any) -> None:
        """The form takes whole millimetres; the floor is 60 mm thick at the corners before it is laid higher."""
        more = int(room.open().screeding.higher_words.split("Lay the floor ")[1].split(" mm")[0])
        for left, began in ((more, "Lay the floor"), (more - 0.1, "For the thickness to be met")):
            room.write(brief=f"{BRIEF}most_mm = {60 + left}\n")
            assert room.open().screeding.higher_words.startswith(began)

    def test_no_higher_than_the_door_allows(self, room: Any) -> None:
        """The floor lies at -0.040 + 0.050 = 0.010 m, level with the door, which allows 3 mm."""
        room.write(brief=f"{BRIEF}higher_mm = 4\n{DOOR}", book=TILTED)
        assert any("cannot lie 4.0 mm higher than need be" in one
                   and "(meet the next floor) leaves it 3.0 mm more. Lay it higher by no more than that" in one
                   for one in room.open().screeding.faults)
        room.change("higher_mm = 4", "higher_mm = 3")
        assert room.open().screeding.found.level == pytest.approx(0.013, abs=1e-9)

    def test_tile_and_bed_still_to_come(self, room: Any) -> None:
        """With 2 mm to come the floor at 0.010 m would stand 2 mm above the door at 0.010 m; with 4 mm, a millimetre too high."""
        for on_top, fits in ((2, True), (4, False)):
            room.write(brief=f"{BRIEF}on_top_mm = {on_top}\n{DOOR}", book=TILTED)
            found = room.open().screeding.found
            assert found.fits is fits
        assert "let the floor and what lies on it stand 4.0 mm proud of the next at P1" in found.quarrel[0]

    @pytest.mark.parametrize("door", ["", DOOR])
    def test_tile_and_bed_under_nought_are_refused_once(self, room: Any, door: str) -> None:
        room.write(brief=f"{BRIEF}on_top_mm = -3\n{door}", book=TILTED)
        assert room.open().screeding.faults == (
            "brief.toml, [screed]: on_top_mm is -3. Tile and bed are nought mm or more thick.",)

    def test_tile_and_bed_with_no_floor_to_meet_are_questioned(self, room: Any) -> None:
        for door, told in (("", 1), (DOOR, 0)):
            room.write(brief=f"{BRIEF}on_top_mm = 1\n{door}", book=TILTED)
            screed = room.open().screeding
            assert screed.faults == ()
            assert sum("1 mm of tile and bed is told (on_top_mm) and no floor is to be met" in one
                       for one in screed.doubts) == told


class TestTheLine:
    def test_two_levels_of_it_are_compared(self, room: Any) -> None:
        room.write(brief=BRIEF + "line_m = 1.1\n")
        screed = room.open().screeding
        assert screed.line == 1.1
        assert any("1.100 m by the form (line_m), and at 1.000 m by the book, 100.0 mm apart" in one for one in screed.doubts)
        room.write(brief=BRIEF + "line_m = 1.0\n")
        screed = room.open().screeding
        assert (screed.line, screed.doubts) == (1.0, ())

    def test_read_again_it_keeps_its_level(self, room: Any) -> None:
        forms.ScreedForm(room.open()).keep()
        (room.path / "laid.csv").write_text("point,bs,down,x,y,feature\nLINE,0,,,,line\nB1,,1.000,,,\nB2,,1.001,,,\n"
                                            "B3,,1.000,,,\nB4,,1.000,,,\nB5,,0.999,,,\n")
        built = room.open().as_built
        assert built.reduced.level("B2") == pytest.approx(-0.001)
        assert "LINE is taken to lie at 1.000 m, as in the first survey." in built.doubts
        (room.path / "laid.csv").write_text("point,bs,down,x,y,feature\nOTHER,0,,,,line\nB1,,1.000,,,\n")
        assert "the line has no level" in room.open().as_built.missing

    def test_no_closing_sight_is_asked_of_it(self, room: Any) -> None:
        assert room.open().reduced.closing.startswith("It was read from a line, so there is no closing sight")


class TestPads:
    def test_readings_and_thickness_agree_in_whole_mm_and_unread_bases_are_marked(self, room: Any) -> None:
        """Along the side from B1 to B2 the base lies at -0.060 m; nobody read it between them."""
        words = room.open().screeding.pads_words.set_index("pad")
        assert words.loc["B1"].tolist() == ["x 0 y 0", "1060 mm", "1000 mm", "60 mm"]
        assert words.loc["pad 1"].tolist()[1:] == ["1060 mm, not read", "1000 mm", "60 mm"]

    def test_pads_of_the_grid_leave_the_sides_to_their_own(self, room: Any) -> None:
        pads = room.open().screeding.pads
        beside = pads[(pads["y"] == 0) & (pads["x"] > 0) & (pads["x"] < 4)]
        assert sorted(beside["x"]) == pytest.approx([4 / 3, 8 / 3])  # 2 m from pad to pad, 15 % less: three spaces

    def test_every_part_has_a_pad_off_its_edges(self) -> None:
        """So that 6-laid can judge it when it is read at the pads: four spots that are not in a line."""
        screed = workbook.screed_job().screeding
        places = screed.pads[["x", "y"]].to_numpy()
        for facet in screed.found.finish.facets:
            assert shapely.contains_xy(facet.area.buffer(-0.04), *places.T).any()
            assert (shapely.distance(facet.area, shapely.points(places)) < 0.01).sum() >= 4

    def test_the_page_says_what_is_measured_down_from(self, room: Any) -> None:
        room.write(brief=f"{BRIEF}on_top_mm = 14\n{DOOR}", book=TILTED)
        said = [text.get_text() for text in texts(_page(room.open()))]
        assert "All in mm down from the line at 1.000 m; 14 mm of tile and bed come on top." in said
        assert {"place, m", "P1", "P2"} <= set(said)

    def test_a_page_tells_three_places_of_a_list(self) -> None:
        three, after = "Cut 9.0 mm at B7, 8.0 mm at x 1 y 2.5 (between A, B and C, not read), 7.0 mm at D", "; then it fits. So."
        assert _short(f"{three}, 6.0 mm at E, 5.0 mm at F{after}") == f"{three} and 2 more places{after}"
        assert _short("Fill: 9.0 mm at B7, 8.0 mm at C; then it fits.") == "Fill: 9.0 mm at B7, 8.0 mm at C; then it fits."

    def test_pads_that_find_no_room_on_the_first_page_stand_on_the_next(self, room: Any, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr("sitelevels.workbook.pads_page.MOST", 3)
        monkeypatch.setattr("sitelevels.workbook.pads_page.MORE", 4)
        job = room.open()
        pads = job.screeding.pads_words["pad"].tolist()
        pages = [[text.get_text() for text in texts(page)] for page in _pages(job)]
        assert len(pages) == 1 + -(-(len(pads) - 3) // 4)
        assert {said for page in pages for said in page} >= set(pads)
        assert f"{len(pads) - 3} more pads are on the next page." in pages[0]
        assert "pads of the screed, page 2" in pages[1]

    def test_a_floor_that_does_not_fit_says_do_not_pour(self, room: Any) -> None:
        room.write(brief=BRIEF + "most_mm = 55\n")
        rows = (save_pads(room.open()) / "pads.csv").read_text(encoding="utf-8-sig").splitlines()[1:]
        assert all(row.split(",")[6] == "DO NOT POUR" for row in rows)


def test_a_job_from_the_example_is_ones_own(tmp_path: Any) -> None:
    own = workbook.new_job(tmp_path / "own", like=workbook.screed_job())
    assert not own.invented
    assert "invented" not in own.brief_text + own.survey_text
    assert "note" not in own.told["job"]
    assert own.screeding.found.level == workbook.screed_job().screeding.found.level


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


def test_a_gully_whose_rim_lies_under_the_floor_is_told_by_how_much() -> None:
    """The demonstration: read 1.104 m down from the line at 1.000 m, where the floor at the outlet lies at −0.029 m."""
    job = workbook.open_job("data/seed-store")
    floor = float(job.screeding.found.finish.level_at(3.0, 1.5))
    (told,) = job.screeding.doubts
    assert told == (f"The rim of G1 was read at −0.104 m, {1000 * (floor + 0.104):.1f} mm below the floor there: set it higher "
                    "by that, or water stands round it.")


def test_the_rim_of_a_gully_is_held_against_the_tiles_that_come_on_the_screed(room: Any) -> None:
    def below(job: Any) -> float:
        return float(re.findall(r"m, (\S+) mm below the floor there", " ".join(job.screeding.doubts))[0])
    job = workbook.open_job("data/seed-store")
    tiled = replace(job, brief_text=job.brief_text.replace("[screed]", "[screed]\non_top_mm = 12", 1))
    moved = 1000 * float(tiled.screeding.found.finish.level_at(3.0, 1.5) - job.screeding.found.finish.level_at(3.0, 1.5))
    assert below(tiled) - below(job) == pytest.approx(12 + moved, abs=0.11)
