"""The sheet to take outside: two A4 pages at most, the same bytes twice, and what it says is what was worked out."""

import csv
import io
import re
import warnings
from itertools import combinations
from pathlib import Path
from typing import Any

import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.text import Text

from sitelevels import workbook
from sitelevels.errors import SurveyError
from sitelevels.workbook import sheet


def pages(pdf: bytes) -> list[tuple[float, float]]:
    """Width and height in points of every page."""
    count = len(re.findall(rb"/Type /Page\b(?!s)", pdf))
    boxes = re.findall(rb"/MediaBox \[ ?([\d.]+) ([\d.]+) ([\d.]+) ([\d.]+) ?\]", pdf)
    assert len(boxes) == count
    return [(float(right) - float(left), float(top) - float(bottom)) for left, bottom, right, top in boxes]


def drawn(job: Any, backsight: float | None = None) -> tuple[Figure, Figure]:
    pegs = job.pegs(backsight)
    both = (sheet._first_page(job, pegs), sheet._second_page(job, pegs))
    for page in both:
        FigureCanvasAgg(page).draw()
    return both


def texts(page: Figure) -> list[Text]:
    return [text for text in page.findobj(Text) if text.get_visible() and text.get_text().strip()]


def said(page: Figure) -> str:
    return "\n".join(text.get_text().replace(r"\$", "$") for text in texts(page))


def flowing(page: Figure) -> str:
    """The same with lines broken for the sheet put together again."""
    return re.sub(r"\s+", " ", said(page))


def written_over(page: Figure, allowed: float = 2.0) -> list[tuple[str, str]]:
    boxes = [(text.get_text(), text.get_window_extent()) for text in texts(page)]
    return [(one, two) for (one, a), (two, b) in combinations(boxes, 2)
            if min(a.x1, b.x1) - max(a.x0, b.x0) > allowed and min(a.y1, b.y1) - max(a.y0, b.y0) > allowed]


def off_the_paper(page: Figure) -> list[str]:
    paper = page.bbox
    return [text.get_text() for text in texts(page) if not (paper.x0 <= text.get_window_extent().x0
            and text.get_window_extent().x1 <= paper.x1 and paper.y0 <= text.get_window_extent().y0
            and text.get_window_extent().y1 <= paper.y1)]


def table(folder: Path, name: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO((folder / f"{name}.csv").read_bytes().decode("utf-8-sig"))))


def in_grid(hand: Any, count: int, name: str = "P{}") -> Any:
    """The yard worked by hand with `count` more spots on its own ground: 9.880 m less 55 mm a metre out; 100 in rows of ten."""
    rows = []
    for number in range(count):
        x, y = 0.2 + 3.6 * (number % 10) / 10, 0.2 + 2.6 * (number // 10) / (count // 10 + 1)
        rows.append(f"{name.format(number)},,{1.620 + 0.055 * y:.4f},,,{x:.3f},{y:.3f},ground,,")
    return hand.change_book("BM,,,1.500,,,,benchmark,,\n", "\n".join([*rows, "BM,,,1.500,,,,benchmark,,", ""]))


@pytest.mark.parametrize("name", ["demo", "starter", "hand"])
class TestEverySheet:
    @staticmethod
    def job_folder(name: str, request: pytest.FixtureRequest) -> Any:
        folder = request.getfixturevalue(name)
        return folder.change("# backsight_m = 1.400", "backsight_m = 1.400") if name == "starter" else folder

    def test_two_pages_of_a4_the_same_bytes_twice_and_no_more_files(self, name: str, request: pytest.FixtureRequest) -> None:
        folder = self.job_folder(name, request)
        place = workbook.save_sheet(folder.open())
        first = {one.name: one.read_bytes() for one in place.iterdir()}
        assert set(first) == {"sheet.pdf", "pegs.csv", "verdicts.csv", "levels.csv"}
        sizes = pages(first["sheet.pdf"])
        assert len(sizes) == 2
        for width, height in sizes:
            assert (width, height) == (pytest.approx(595.3, abs=1.5), pytest.approx(841.9, abs=1.5))  # 210 x 297 mm
        workbook.save_sheet(folder.open())
        assert {one.name: one.read_bytes() for one in place.iterdir()} == first

    def test_no_text_is_over_another_or_off_the_paper_or_small(self, name: str, request: pytest.FixtureRequest) -> None:
        for page in drawn(self.job_folder(name, request).open()):
            assert written_over(page) == []
            assert off_the_paper(page) == []
            assert min(text.get_fontsize() for text in texts(page)) >= 9


class TestWhatItSays:
    def test_first_page_of_the_yard_worked_by_hand(self, hand: Any) -> None:
        first = flowing(drawn(hand.open())[0])
        for words in ("Worked by hand", "10.000 m at the first end of the house", "1:40 (25.0 mm/m) away",
                      "level (0.0 mm/m) along", "Build-up 180 mm: 40 mm slabs, 40 mm bed, 100 mm hardcore", "200.0 mm",
                      "50.0 mm", "12.5 mm/m", "Dig 0.24 m³ over 8.0 m², fill 0.06 m³ over 4.0 m²", "60 mm",
                      "errors of the readings are not counted", "is 0.0 mm out; 5.0 mm is allowed. It closes"):
            assert words in first
        assert "invented" not in first

    def test_second_page_of_the_yard_worked_by_hand(self, hand: Any) -> None:
        second = drawn(hand.open())[1]
        words = [text.get_text() for text in texts(second)]
        for row in (("C1", "0.00", "0.00", "9.880", "10.000", "9.820", "dig 60 mm", "1.680", "1.500"),
                    ("C3", "4.00", "3.00", "9.715", "9.925", "9.745", "fill 30 mm", "1.755", "1.575")):
            at = words.index(row[0])
            assert tuple(words[at:at + 9]) == row
        assert "plane of collimation 11.500 m" in flowing(second)
        for caution in workbook.CAUTIONS:
            assert caution in flowing(second)

    def test_another_reading_on_the_benchmark(self, hand: Any) -> None:
        second = drawn(hand.open(), 1.300)[1]
        assert "1.300 m read on BM" in flowing(second)
        assert "1.480" in said(second)  # 11.300 - 9.820 m
        folder = workbook.save_sheet(hand.open(), backsight=1.300)
        assert table(folder, "pegs")[0]["reading_formation"] == "1.4800"

    def test_tables(self, hand: Any) -> None:
        folder = workbook.save_sheet(hand.open())
        pegs = {row["point"]: row for row in table(folder, "pegs")}
        assert {name: float(pegs["C3"][name]) for name in ("x", "y", "existing", "finished", "formation", "dig", "fill")} == {
            "x": 4.0, "y": 3.0, "existing": 9.715, "finished": 9.925, "formation": 9.745, "dig": 0.0, "fill": 0.030}
        below, away, gradient = table(folder, "verdicts")
        assert (below["found"], below["margin"], below["verdict"]) == ("200.0 mm", "50.0 mm", "met")
        assert (away["found"], gradient["found"]) == ("1:40 (25.0 mm/m)", "1:40 (25.0 mm/m)")
        levels = table(folder, "levels")
        assert [row["point"] for row in levels] == ["BM", "D1", "D2", "C1", "C2", "C3", "C4", "BM"]
        assert [float(row["adjusted_level"]) for row in levels] == [10, 10.2, 10.2, 9.88, 9.88, 9.715, 9.715, 10]

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

    def test_ground_that_was_not_read_everywhere_is_told(self, hand: Any) -> None:
        hand.change('corners = ["C1", "C2", "C3", "C4"]', "corners_m = [[0, 0], [4, 0], [4, 3.2], [0, 3.2]]")
        assert "0.8 m² (6%) lie outside the spots" in flowing(drawn(hand.open())[0])  # 4 x 0.2 m


class TestLargeAndOdd:
    @pytest.mark.parametrize("count", [40, 80])
    def test_pegs_in_one_column_and_in_two(self, hand: Any, count: int) -> None:
        _, second = drawn(in_grid(hand, count).open())
        words = said(second).splitlines()
        assert [f"P{number}" in words for number in range(count)] == [True] * count
        assert written_over(second) == []
        assert off_the_paper(second) == []

    def test_more_than_a_hundred_pegs(self, hand: Any) -> None:
        job = in_grid(hand, 130).open()
        first, second = drawn(job)
        assert "34 more pegs are in pegs.csv." in said(second)  # 4 corners and 130 spots less 100
        assert len([line for line in said(second).splitlines() if re.fullmatch(r"P\d+|C\d", line)]) == 100
        assert written_over(second) == []
        assert not off_the_paper(first) + off_the_paper(second)
        folder = workbook.save_sheet(job)
        assert len(pages((folder / "sheet.pdf").read_bytes())) == 2
        assert len(table(folder, "pegs")) == 134

    def test_no_wall(self, hand: Any) -> None:
        brief = re.sub(r"\[\[wall\]\]\n(.*\n){3}", "", hand.brief)
        brief = re.sub(r'\[\[demand\]\]\nkind = "(below|fall).*\n(.*\n){2}', "", brief)
        hand.write(brief=brief)
        with pytest.raises(SurveyError, match="no wall"):
            workbook.save_sheet(hand.open())
        assert not (hand.path / "sheet").exists()

    @pytest.mark.parametrize("name", ["The yard behind the old bakery, second go, after the drains", "x" * 90],
                             ids=["words", "one word"])
    def test_a_long_name_of_the_job(self, hand: Any, name: str) -> None:
        for page in drawn(hand.change("Worked by hand", name).open()):
            assert written_over(page) == []
            assert off_the_paper(page) == []

    def test_long_names_of_walls_and_layers(self, hand: Any) -> None:
        hand.write(brief=hand.brief.replace('"house"', '"rear wall of the house beside the kitchen door"').replace(
            '"slabs"', '"reclaimed riven sandstone flags of mixed sizes"'),
            book=hand.book.replace(",house,", ",rear wall of the house beside the kitchen door,"))
        for page in drawn(hand.open()):
            assert written_over(page) == []
            assert off_the_paper(page) == []

    @pytest.mark.parametrize("count", [0, 60])
    def test_long_names_of_pegs(self, hand: Any, count: int) -> None:
        hand.write(brief=hand.brief.replace('"C3"', '"corner by the gate"'), book=hand.book.replace("C3", "corner by the gate"))
        _, second = drawn(in_grid(hand, count).open() if count else hand.open())
        assert written_over(second) == []

    @pytest.mark.parametrize("count", [0, 60])
    def test_pegs_with_names_that_begin_alike_can_be_told_apart(self, hand: Any, count: int) -> None:
        for old, new in (("C3", "corner by the gate"), ("C4", "corner by the drain")):
            hand.write(brief=hand.brief.replace(f'"{old}"', f'"{new}"'), book=hand.book.replace(old, new))
        _, second = drawn(in_grid(hand, count).open() if count else hand.open())
        names = [text.get_text() for text in texts(second) if text.get_text().startswith("corner")]
        assert len(names) == len(set(names)) == 2

    def test_many_demands(self, hand: Any) -> None:
        more = "".join(f'[[demand]]\nkind = "below the DPC"\nwall = "house"\nleast_mm = {100 + number}\n' for number in range(20))
        first, _ = drawn(hand.change("[finish]", f"{more}[finish]").open())
        assert off_the_paper(first) == []
        assert written_over(first) == []

    def test_many_demands_that_are_not_met(self, hand: Any) -> None:
        more = "".join(f'[[demand]]\nkind = "below the DPC"\nwall = "house"\nleast_mm = {300 + number}\n' for number in range(8))
        first, _ = drawn(hand.change("[finish]", f"{more}[finish]").open())
        assert off_the_paper(first) == []
        assert "Dig 0.24 m³" in flowing(first)

    @pytest.mark.parametrize("name", ["5 $ wall", "$x_1$ wall", r"$\\oops$", "$ and $ again"])
    def test_a_dollar_sign_is_a_dollar_sign(self, hand: Any, name: str) -> None:
        as_booked = name.replace("\\\\", "\\")
        hand.write(brief=hand.brief.replace('"house"', f'"{name}"').replace('"C1"', f'"{name}"').replace("slabs", name).replace(
            "Worked by hand", name), book=hand.book.replace(",house,", f",{as_booked},").replace("C1", as_booked))
        folder = workbook.save_sheet(hand.open())
        assert len(pages((folder / "sheet.pdf").read_bytes())) == 2
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
