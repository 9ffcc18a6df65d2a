"""The sheet to take outside: A4 pages, the same bytes twice, and what it says is what was worked out."""

import re
import time
import warnings
from typing import Any

import pytest
from sheet_pages import drawn, flowing, in_grid, in_order, off_the_paper, pages, rows, said, table, texts, written_over

from sitelevels import workbook
from sitelevels.errors import SurveyError
from sitelevels.workbook.page import broken, wide

WALLS = re.compile(r'\[\[wall\]\]\n(.*\n){3}|\[\[demand\]\]\nkind = "(below|fall).*\n(.*\n){2}')
FINISH = re.compile(r"\[finish\]\n(.*\n){4}")


@pytest.mark.parametrize("name", ["demo", "starter", "hand"])
class TestEverySheet:
    @staticmethod
    def job_folder(name: str, request: pytest.FixtureRequest) -> Any:
        folder = request.getfixturevalue(name)
        return folder.change("# backsight_m = 1.400", "backsight_m = 1.400") if name == "starter" else folder

    def test_pages_of_a4_the_same_bytes_twice_and_no_more_files(self, name: str, request: pytest.FixtureRequest) -> None:
        folder = self.job_folder(name, request)
        place = workbook.save_sheet(folder.open())
        first = {one.name: one.read_bytes() for one in place.iterdir()}
        units = {"cuts.pdf"} if name == "demo" else set()
        assert set(first) == {"sheet.pdf", "pegs.csv", "verdicts.csv", "levels.csv", "materials.csv", "cuts.csv"} | units
        sizes = pages(first["sheet.pdf"])
        assert len(sizes) == 3
        assert [len(pages(first[one])) for one in units] == [1] * len(units)
        for width, height in sizes:
            assert (width, height) == (pytest.approx(595.3, abs=1.5), pytest.approx(841.9, abs=1.5))  # 210 x 297 mm
        workbook.save_sheet(folder.open())
        assert {one.name: one.read_bytes() for one in place.iterdir()} == first

    def test_no_text_is_over_another_or_off_the_paper_or_small(self, name: str, request: pytest.FixtureRequest) -> None:
        every = drawn(self.job_folder(name, request).open())
        for number, page in enumerate(every, start=1):
            assert f"page {number} of {len(every)}" in said(page)
            in_order(page)


class TestWhatItSays:
    def test_first_page_of_the_yard_worked_by_hand(self, hand: Any) -> None:
        first = flowing(drawn(hand.open())[0])
        for words in ("Worked by hand", "10.000 m at the first end of the house", "1:40 (25.0 mm/m) away",
                      "level (0.0 mm/m) along", "Build-up 180 mm: 40 mm slabs, 40 mm bed, 100 mm hardcore", "200.0 mm",
                      "50.0 mm", "12.5 mm/m", "errors of the readings are not counted",
                      "is 0.0 mm out; 5.0 mm is allowed. It closes"):
            assert words in first
        assert "invented" not in first

    def test_marks_are_named_on_the_plan_and_have_their_readings(self, hand: Any) -> None:
        hand.change_book("C1,,1.620", "T,,1.350,,,2.0,0.0,threshold,,\nE1,,1.569,,,0.0,3.0,edge,,\nC1,,1.620")
        every = drawn(hand.open())
        assert {"T", "E1"} <= {text.get_text() for text in texts(every[0])}
        assert "LOOK AGAIN: T is booked as a threshold, and no demand speaks of it." in flowing(every[0])
        # finish 10.000 m at T (10.150 m), 9.925 m at E1 (9.931 m); HPC 11.500 m
        assert ("At the marks the staff on the finished surface reads T 1.500 m (150 mm below it), E1 1.575 m (6 mm below "
                "it).") in flowing(every[2])
        assert not any(map(written_over, every))

    def test_what_has_nothing_in_hand_is_told_so_and_dpc_shots_are_named(self, hand: Any) -> None:
        first = drawn(hand.change("least_mm = 150", "least_mm = 200").open())[0]  # 10.200 − 10.000 m
        assert [text.get_text().replace("\n", " ") for text in texts(first) if text.get_text().startswith("met")] == [
            "met, with nothing in hand", "met", "met"]
        assert {"D1", "D2"} <= {text.get_text() for text in texts(first)}
        in_order(first)

    def test_readings_of_the_yard_worked_by_hand(self, hand: Any) -> None:
        page = drawn(hand.open())[2]
        # HPC 11.500 m; at C1 finished 10.000, bed 9.960, hardcore 9.920, formation 9.820 m; at C3 75 mm lower
        assert rows(page) == {"C1": ["dig 60 mm", "1.680", "1.580", "1.540", "1.500"],
                              "C2": ["dig 60 mm", "1.680", "1.580", "1.540", "1.500"],
                              "C3": ["fill 30 mm", "1.755", "1.655", "1.615", "1.575"],
                              "C4": ["fill 30 mm", "1.755", "1.655", "1.615", "1.575"]}
        told = flowing(page)
        assert "plane of collimation 11.500 m" in told
        assert "25.0 mm at 1 m, 30.0 mm at 1.2 m, 45.0 mm at 1.8 m, 50.0 mm at 2 m" in told  # 25 mm/m by the length
        headings = [re.sub(r"\s", " ", text.get_text()) for text in texts(page) if text.get_verticalalignment() == "bottom"]
        assert headings == ["peg", "how deep", "formation", "top of hardcore", "top of bed", "finished"]

    def test_readings_are_those_of_setting_out_and_can_be_read_at_arms_length(self, demo: Any) -> None:
        job = demo.open()
        page, pegs = drawn(job)[2], job.pegs()
        found = rows(page)
        assert len(found) == len(pegs.pegs)
        for peg in pegs.pegs:
            assert [float(cell) for cell in found[peg.point][1:]] == [
                pytest.approx(value, abs=0.0005001) for value in list(peg.readings.values())[::-1]]
        numbers = [text for text in texts(page) if re.fullmatch(r"\d\.\d{3}", text.get_text())]
        assert len(numbers) == 4 * len(pegs.pegs)  # formation, sub-base, laying course, finished
        assert min(text.get_fontsize() for text in numbers) >= 15

    def test_one_walks_from_peg_to_peg(self, hand: Any) -> None:
        assert list(rows(drawn(hand.open())[2])) in (["C1", "C2", "C3", "C4"], ["C1", "C4", "C3", "C2"])  # never across

    def test_under_an_old_floor_the_dig_goes_down_and_comes_up_again(self, hand: Any) -> None:
        """The floor ends 95 mm down, at 9.785 m at C1 and 9.620 m at C3; the formations lie 35 and 125 mm above that."""
        page = drawn(hand.write(brief=hand.brief + "[old_floor]\nthickness_mm = 95\n").open())[2]
        in_order(page)
        assert {name: cells[0] for name, cells in rows(page).items()} == {
            "C1": "dig 95 mm fill 35 mm", "C2": "dig 95 mm fill 35 mm", "C3": "dig 95 mm fill 125 mm",
            "C4": "dig 95 mm fill 125 mm"}
        assert said(page).count("dig 95 mm\nfill") == 4  # on two lines

    def test_invert_of_a_channel(self, hand: Any) -> None:
        """HPC 11.500 m; beside the channel 9.930 and 9.890 m, its invert 75 mm below."""
        finish = FINISH.sub('[finish]\nshape = "channel"\nline = [[0.0, 2.0], [4.0, 2.0]]\nlevel_m = 9.930\n'
                            'fall = "1:100"\nleft = "1:50"\nright = "1:50"\n', hand.brief)
        hand.write(brief=finish)
        assert "invert" not in said(drawn(hand.open())[2])
        page = drawn(hand.write(brief=finish + "[rain]\nchannel_mm = [100, 75]\n").open())[2]
        in_order(page)
        told = flowing(page)
        assert "The invert of the channel lies 75 mm below the paving beside it" in told
        assert "reads 1.645 m at the channel start, 1.685 m at the channel end" in told

    def test_how_near_a_peg_must_read_after_a_move(self, hand: Any) -> None:
        assert "it must read what this page then says, within 7 mm." in flowing(drawn(hand.open())[2])  # 5 mm x root 2 = 7.07

    def test_string_above_the_finish(self, hand: Any) -> None:
        page = drawn(hand.change("backsight_m = 1.500", "backsight_m = 1.500\nstring_mm = 50").open())[2]
        assert ("measure down 50 mm to the finished surface, 90 mm to the top of bed, 130 mm to the top of hardcore, "
                "230 mm to the formation") in flowing(page)

    def test_another_reading_on_the_benchmark(self, hand: Any) -> None:
        page = drawn(hand.open(), 1.300)[2]
        assert "1.300 m read on BM" in flowing(page)
        assert rows(page)["C1"] == ["dig 60 mm", "1.480", "1.380", "1.340", "1.300"]  # HPC 11.300 m
        folder = workbook.save_sheet(hand.open(), backsight=1.300)
        assert table(folder, "pegs")[0]["reading_formation"] == "1.4800"

    def test_tables(self, hand: Any) -> None:
        folder = workbook.save_sheet(hand.open())
        pegs = {row["point"]: row for row in table(folder, "pegs")}
        assert {name: float(pegs["C3"][name]) for name in ("x", "y", "existing", "finished", "formation", "dig", "fill")} == {
            "x": 4.0, "y": 3.0, "existing": 9.715, "finished": 9.925, "formation": 9.745, "dig": 0.0, "fill": 0.030}
        layers = {name: float(value) for name, value in pegs["C3"].items() if name.startswith("reading_")}
        assert layers == {"reading_formation": 1.755, "reading_finished": 1.575, "reading_top of bed": 1.615,
                          "reading_top of hardcore": 1.655}
        below, away, gradient = table(folder, "verdicts")
        assert (below["found"], below["margin"], below["verdict"]) == ("200.0 mm", "50.0 mm", "met")
        assert (away["found"], gradient["found"]) == ("1:40 (25.0 mm/m)", "1:40 (25.0 mm/m)")
        levels = table(folder, "levels")
        assert [row["point"] for row in levels] == ["BM", "D1", "D2", "C1", "C2", "C3", "C4", "BM"]
        assert [float(row["adjusted_level"]) for row in levels] == [10, 10.2, 10.2, 9.88, 9.88, 9.715, 9.715, 10]
        assert table(folder, "cuts") == []
        assert [row["what"] for row in table(folder, "materials")][:4] == ["dug soil", "slabs", "bed", "hardcore"]

    def test_a_demand_that_is_not_met_says_so_with_its_mend(self, hand: Any) -> None:
        first = drawn(hand.change("least_mm = 150", "least_mm = 250").open())[0]
        assert "not met" in said(first)
        assert "Lower the finished surface by 50.0 mm at house" in flowing(first)

    def test_a_book_that_does_not_close_says_so(self, hand: Any) -> None:
        hand.change_book("BM,,,1.500,,,", "BM,,,1.520,,,")
        first = flowing(drawn(hand.open())[0])
        assert "does NOT close" in first
        assert "is 20.0 mm" in first
        assert "does NOT close" in first

    def test_a_book_that_closes_on_nothing_says_so(self, hand: Any) -> None:
        hand.change_book("BM,,,1.500,,,,benchmark,,\n", "")
        assert "Nothing closes" in flowing(drawn(hand.open())[0])

    def test_a_wall_that_runs_past_its_last_shot_is_questioned_on_the_sheet(self, hand: Any) -> None:
        hand.change_book("D2,,1.300,,,4.0", "D2,,1.300,,,2.0")
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            first = flowing(drawn(hand.open())[0])
        assert "past the last DPC shot" in first


class TestLargeAndOdd:
    @pytest.mark.parametrize(("count", "sheets"), [(20, 1), (21, 2), (44, 2), (45, 3)])  # and the four corners; 24 on a page
    def test_pegs_on_as_many_pages_as_they_need(self, hand: Any, count: int, sheets: int) -> None:
        first, _, *others = drawn(in_grid(hand, count).open())
        assert len(others) == sheets
        found = [list(rows(page)) for page in others]
        every = [*(f"P{number}" for number in range(count)), "C1", "C2", "C3", "C4"]
        assert sorted(name for page in found for name in page) == sorted(every)
        assert max(map(len, found)) <= 24
        for page in (first, *others):
            in_order(page)

    def test_more_than_a_hundred_pegs(self, hand: Any) -> None:
        job = in_grid(hand, 130).open()
        first, second, *others = drawn(job)
        assert "38 more pegs are in pegs.csv." in said(others[-1])  # 4 corners and 130 spots less 4 x 24
        listed = {name for page in others for name in rows(page)}
        assert len(listed) == 96
        named = {text.get_text() for text in texts(first) if re.fullmatch(r"P\d+|C\d", text.get_text())}
        assert named <= listed  # the plan shows the pegs that the pages list, and no others
        without = re.search(r"(\d+) pegs have no room for their names on the plan", flowing(first))
        assert len(listed - named) == (int(without[1]) if without else 0) <= 10
        for page in (first, second, *others):
            in_order(page)
        folder = workbook.save_sheet(job)
        assert len(pages((folder / "sheet.pdf").read_bytes())) == 6
        assert len(table(folder, "pegs")) == 134

    @pytest.mark.parametrize("count", [4, 5, 7, 31])
    def test_many_layers(self, hand: Any, count: int) -> None:
        layers = "".join(f'[[layer]]\nname = "layer called {number}"\nthickness_mm = 10\n' for number in range(1, count + 1))
        hand.write(brief=re.sub(r"(\[\[layer\]\]\n(.*\n){2})+", layers, hand.brief))
        every = drawn(hand.open())
        for page in every:
            in_order(page)
        cells = rows(every[2])["C1"][1:]  # finished 1.500; each layer is 10 mm
        assert (cells[0], cells[1], cells[-1]) == (f"{1.5 + 0.01 * count:.3f}", f"{1.5 + 0.01 * (count - 1):.3f}", "1.500")
        assert len(cells) == min(count + 1, 5)
        missing = re.search(r"Readings on (\d+) more layers are in pegs.csv", said(every[2]))
        assert (int(missing[1]) if missing else 0) == max(count + 1 - 5, 0)
        columns = table(workbook.save_sheet(hand.open()), "pegs")[0]
        assert len([name for name in columns if name.startswith("reading_top of ")]) == count - 1

    def test_layers_with_long_names_alike(self, hand: Any) -> None:
        for old, new in (("bed", "sharp sand from the quarry behind the hill, screeded"),
                         ("hardcore", "sharp sand from the quarry behind the hill, compacted")):
            hand.change(f'"{old}"', f'"{new}"')
        page = drawn(hand.open())[2]
        in_order(page)
        headings = [text.get_text() for text in texts(page) if text.get_verticalalignment() == "bottom"]
        assert len(headings) == len(set(headings)) == 6

    def test_pegs_above_the_line_of_sight_are_told(self, hand: Any) -> None:
        page = drawn(in_grid(hand, 16).change("backsight_m = 1.500", "backsight_m = -0.100").open())[2]
        in_order(page)
        assert "above the line of sight: set the instrument higher." in flowing(page)  # HPC 9.900 m, finished 10.000 m
        assert rows(page)["C1"][-1] == "-0.100"

    def test_an_outlet_and_no_wall(self, hand: Any) -> None:
        brief = FINISH.sub('[finish]\nshape = "outlet"\noutlet = [2.0, 1.5]\nlevel_m = 9.900\nperimeter_m = 9.980\n',
                           WALLS.sub("", hand.brief))
        hand.write(brief=brief.replace('corners = ["C1", "C2", "C3", "C4"]',
                                       "corners_m = [[0, 0], [4, 0], [4, 1.5], [2, 1.5], [2, 3], [0, 3]]"))
        every = drawn(hand.open())
        for page in every:
            in_order(page)
        assert rows(every[2])["outlet"][-1] == "1.600"  # HPC 11.500 m
        assert rows(every[2])["C1"][-1] == "1.520"
        assert "THIS SURFACE DOES NOT DO WHAT WAS ASKED" in said(every[0])  # 80 mm in 1.5 m is steeper than 1:20

    def test_a_channel(self, hand: Any) -> None:
        hand.write(brief=FINISH.sub('[finish]\nshape = "channel"\nline = [[0.0, 2.0], [4.0, 2.0]]\nlevel_m = 9.930\n'
                                    'fall = "1:100"\nleft = "1:50"\nright = "1:50"\n', hand.brief))
        every = drawn(hand.open())
        for page in every:
            in_order(page)
        found = rows(every[2])
        assert {name: found[name][-1] for name in ("channel start", "channel end", "C1", "C3")} == {
            "channel start": "1.570", "channel end": "1.610", "C1": "1.530", "C3": "1.590"}  # 9.93, 9.89, 9.97, 9.91 m

    def test_no_wall(self, hand: Any) -> None:
        brief = re.sub(r"\[\[wall\]\]\n(.*\n){3}", "", hand.brief)
        brief = re.sub(r'\[\[demand\]\]\nkind = "(below|fall).*\n(.*\n){2}', "", brief)
        hand.write(brief=brief)
        with pytest.raises(SurveyError, match="no wall"):
            workbook.save_sheet(hand.open())
        assert not (hand.path / "sheet").exists()

    @pytest.mark.parametrize("name", ["The yard behind the old bakery, second go, after the drains", "x" * 90, "W" * 90],
                             ids=["words", "one word", "wide letters"])
    def test_a_long_name_of_the_job(self, hand: Any, name: str) -> None:
        for page in drawn(hand.change("Worked by hand", name).open()):
            in_order(page)

    def test_long_names_of_walls_and_layers(self, hand: Any) -> None:
        hand.write(brief=hand.brief.replace('"house"', '"rear wall of the house beside the kitchen door"').replace(
            '"slabs"', '"reclaimed riven sandstone flags of mixed sizes"'),
            book=hand.book.replace(",house,", ",rear wall of the house beside the kitchen door,"))
        for page in drawn(hand.open()):
            in_order(page)

    @pytest.mark.parametrize("count", [0, 30])
    @pytest.mark.parametrize("names", [("corner by the gate", "corner by the drain"), ("C3", "channel start"),
                                       ("the corner by the garden gate and the drain",
                                        "the corner by the garden wall and the drain"),
                                       ("W" * 40, "W" * 41)], ids=["two lines", "one line", "alike", "wide letters"])
    def test_long_names_of_pegs_fit_and_can_be_told_apart(self, hand: Any, count: int, names: tuple[str, str]) -> None:
        hand.write(brief=hand.brief.replace('"C3"', f'"{names[0]}"').replace('"C4"', f'"{names[1]}"'),
                   book=hand.book.replace("C3,", f"{names[0]},").replace("C4,", f"{names[1]},"))
        first, _, *others = drawn(in_grid(hand, count).open() if count else hand.open())
        for page in (first, *others):
            in_order(page)
        found = {name: cells for page in others for name, cells in rows(page).items() if not re.fullmatch(r"P\d+|C[12]", name)}
        assert [cells[-1] for cells in found.values()] == ["1.575", "1.575"]
        plan = {text.get_text().replace("\n", " ") for text in texts(first)}
        assert set(found) <= plan or "no room for their names on the plan" in flowing(first)  # called the same on the plan
        if len(names[0]) < 25:
            assert set(found) == set(names)

    def test_long_names_close_together_are_left_out_of_the_plan_and_said_to_be(self, hand: Any) -> None:
        first, _, *others = drawn(in_grid(hand, 60, "a peg by the garden gate {} of all").open())
        for page in (first, *others):
            in_order(page)
        named = [text.get_text() for text in texts(first) if text.get_text().startswith("a peg by the")]
        assert f"{60 - len(named)} pegs have no room for their names on the plan: pegs.csv has their x and y." in flowing(first)
        assert 0 < len(named) < 60
        assert len({name for page in others for name in rows(page)}) == 64

    def test_many_demands(self, hand: Any) -> None:
        more = "".join(f'[[demand]]\nkind = "below the DPC"\nwall = "house"\nleast_mm = {100 + number}\n' for number in range(20))
        first = drawn(hand.change("[finish]", f"{more}[finish]").open())[0]
        assert off_the_paper(first) == []
        assert written_over(first) == []

    def test_many_demands_that_are_not_met(self, hand: Any) -> None:
        more = "".join(f'[[demand]]\nkind = "below the DPC"\nwall = "house"\nleast_mm = {300 + number}\n' for number in range(8))
        first = drawn(hand.change("[finish]", f"{more}[finish]").open())[0]
        assert off_the_paper(first) == []
        assert written_over(first) == []
        assert "THIS SURFACE DOES NOT DO WHAT WAS ASKED: 8 demand(s) not met" in said(first)

    def test_a_sign_without_a_glyph_is_a_box(self, hand: Any) -> None:
        hand.write(brief=hand.brief.replace("Worked by hand", "Hof \u6771").replace('"house"', '"Haus \U0001f9f1"'),
                   book=hand.book.replace(",house,", ",Haus \U0001f9f1,"))
        workbook.save_sheet(hand.open())
        first, *others = drawn(hand.open())
        assert "Haus □" in flowing(first)
        for page in (first, *others):
            assert "Hof □" in said(page)
            in_order(page)

    @pytest.mark.parametrize("name", ["5 $ wall", "$x_1$ wall", r"$\\oops$", "$ and $ again"])
    def test_a_dollar_sign_is_a_dollar_sign(self, hand: Any, name: str) -> None:
        as_booked = name.replace("\\\\", "\\")
        hand.write(brief=hand.brief.replace('"house"', f'"{name}"').replace('"C1"', f'"{name}"').replace("slabs", name).replace(
            "Worked by hand", name), book=hand.book.replace(",house,", f",{as_booked},").replace("C1", as_booked))
        folder = workbook.save_sheet(hand.open())
        assert len(pages((folder / "sheet.pdf").read_bytes())) == 3
        for page in drawn(hand.open()):
            assert as_booked in said(page)
            for text in texts(page):
                assert text._preprocess_math(text.get_text())[1] is False, text.get_text()

    def test_a_sheet_that_is_refused_leaves_the_old_one(self, hand: Any) -> None:
        folder = workbook.save_sheet(hand.open())
        before = hand.files()
        hand.change("level_at_wall_m = 10.000", 'level_at_wall_m = "x"')
        with pytest.raises(SurveyError):
            workbook.save_sheet(hand.open())
        assert {name: hand.files()[name] for name in before if name.startswith("sheet")} == {
            f"sheet/{one.name}": one.read_bytes() for one in folder.iterdir()}


def test_a_word_wider_than_the_page_is_cut_into_lines_that_fit_and_soon() -> None:
    before = time.process_time()
    lines = broken("y" * 20_000, 200.0)
    assert time.process_time() - before < 2
    assert "".join(lines) == "y" * 20_000
    assert all(wide(line) <= 200.0 < wide(f"{line}y") for line in lines[:-1])
    assert broken("W", 1.0) == ["W"]  # a letter is not cut
    assert broken("WW x", 1.0) == ["W", "W", "x"]
