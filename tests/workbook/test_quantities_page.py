"""The page with what is dug, bought, laid and where water goes, and the page of the units to cut: numbers by hand, and room."""

from typing import Any

import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from sheet_pages import drawn, flowing, in_order, off_the_paper, pages, said, table, texts, written_over

from sitelevels import workbook
from sitelevels.errors import SurveyError
from sitelevels.workbook.cuts_page import cuts_page

UNITS = '[units]\nlength_mm = {}\nwidth_mm = {}\njoint_mm = 0\nbond = "stack"\nstart = "C1"\n'
LONG = "crushed rock from the old quarry behind the hill beyond the river, number {}"


@pytest.fixture
def bare(hand: Any) -> Any:
    """The yard worked by hand, dug no farther than its edges."""
    return hand.change("[[wall]]", "beyond_edge_mm = 0\n[[wall]]")


def added(folder: Any, more: str) -> Any:
    return folder.write(brief=folder.brief + more)


class TestWhatItSays:
    def test_the_yard_worked_by_hand(self, bare: Any) -> None:
        page = drawn(bare.open())[1]
        in_order(page)
        told = flowing(page)
        # slabs 12 m² and 10 % for waste; soil 0.24 m³ and 30 % (common earth, 20 % to 45 %), 0.06 m³ a barrow: 5.2, so 6
        for words in ("Dig 0.24 m³ of soil, measured in the ground; fill 0.06 m³ under the layers", "at most 60 mm below",
                      "0.31 m³ (0.29 to 0.35 m³) of dug soil", "6 barrow loads", "13.2 m²",
                      "Rain on 12.0 m² goes 12.0 m² over the edge from x 4 y 3 to x 0 y 3"):
            assert words in told
        for caution in workbook.CAUTIONS:
            assert caution in told

    def test_the_table_beside_it_says_the_same(self, bare: Any) -> None:
        soil, slabs, bed, *_ = table(workbook.save_sheet(bare.open()), "materials")
        assert (soil["done"], float(soil["in_place_m3_likely"]), float(soil["loose_m3_likely"])) == ("take away", 0.24, 0.312)
        assert float(slabs["area_m2"]) == pytest.approx(13.2)
        assert float(bed["in_place_m3_likely"]) == pytest.approx(0.48)  # 12 m² x 40 mm

    def test_a_price(self, bare: Any) -> None:
        page = drawn(bare.change('name = "slabs"\n', 'name = "slabs"\nprice = 20\nprice_per = "m2"\n').open())[1]
        in_order(page)
        assert "264.00" in said(page)  # 13.2 m² at 20

    def test_water(self, bare: Any) -> None:
        added(bare, '[rain]\nintensity_mm_h = 36\ncoefficient = 1.0\nchannel_mm = [100, 50]\nfall = "1:100"\nroughness = 0.01\n'
                    "[soakaway]\nsize_m = [1.0, 1.0, 1.0]\nrate_m_s = 5e-5\nfactor = 1\n"
                    "storms = [[5, 5], [10, 20], [20, 20.5]]\n")
        told = flowing(drawn(bare.open())[1])
        # 12 m² x 36 mm/h = 0.12 l/s. Manning: 5000 mm² x (5000/200 mm)^(2/3) x root(1/100) / 0.01 = 4.27 l/s.
        assert "channel carries 4.27 l/s at 1:100 (10.0 mm/m); 0.12 l/s comes: enough" in told
        # 12 m² x 20 mm less 2 m² (half of the sides) x 0.05 mm/s x 600 s; 1 m³ with 30 % between the stones
        assert "0.18 m³ to be stored, 0.30 m³ of room between the stones: enough" in told
        bare.change("channel_mm = [100, 50]", "channel_mm = [20, 5]").change("[1.0, 1.0, 1.0]", "[0.5, 0.5, 0.5]")
        assert flowing(drawn(bare.open())[1]).count("NOT ENOUGH") == 2

    def test_lifts(self, bare: Any) -> None:
        bare.change('name = "hardcore"\nthickness_mm = 100', 'name = "hardcore"\nthickness_mm = 300\nkind = "compacted"')
        assert "Compact the hardcore in 2 lifts" in flowing(drawn(bare.open())[1])  # of 225 mm at the most


class TestRoom:
    @pytest.mark.parametrize(("count", "all_shown"), [(4, True), (12, False), (40, False)])
    def test_many_materials_with_long_names_leave_room_for_cautions(self, bare: Any, count: int, all_shown: bool) -> None:
        layers = "".join(f'[[layer]]\nname = "{LONG.format(number)}"\nthickness_mm = 50\nkind = "compacted"\n'
                         for number in range(count))
        bare.change("[[demand]]", f"{layers}[[demand]]")
        page = drawn(bare.open())[1]
        in_order(page)
        for caution in workbook.CAUTIONS:
            assert caution in flowing(page)
        rows = table(workbook.save_sheet(bare.open()), "materials")
        shown = [row for row in rows if row["what"] in flowing(page)]
        left = len(rows) - len(shown)
        assert len(rows) >= 4 + count
        assert (f"{left} more are in materials.csv." in said(page)) == bool(left)
        assert (left == 0) == all_shown

    def test_many_posts(self, bare: Any) -> None:
        posts = "".join(f'[[post]]\nname = "post of the canopy, number {number}"\nat = [{0.3 + 0.35 * (number % 10):.2f}, '
                        f'{0.5 + 0.9 * (number // 10):.1f}]\nsize_mm = 90\n' for number in range(30))
        added(bare, posts + UNITS.format(500, 500))
        job = bare.open()
        page = drawn(job)[1]
        in_order(page)
        lines = said(page).splitlines()
        assert lines[lines.index("The rest is in notebook 4-cut-and-fill.") - 1].endswith(".")  # no sentence is cut in two
        for caution in workbook.CAUTIONS:
            assert caution in flowing(page)
        cuts = cuts_page(job)
        FigureCanvasAgg(cuts).draw()
        assert off_the_paper(cuts) == []
        assert "The rest is in notebook 4-cut-and-fill." in said(cuts)


class TestCuts:
    def test_no_page_where_no_units_are_laid_out(self, bare: Any) -> None:
        with pytest.raises(SurveyError, match="size of the units"):
            cuts_page(bare.open())

    def test_units_that_are_no_longer_in_the_brief_leave_no_page(self, bare: Any) -> None:
        without = bare.brief
        added(bare, UNITS.format(500, 500))
        folder = workbook.save_sheet(bare.open())
        assert len(pages((folder / "cuts.pdf").read_bytes())) == 1
        bare.write(brief=without)
        workbook.save_sheet(bare.open())
        assert not (folder / "cuts.pdf").exists()

    def test_sizes_by_hand(self, bare: Any) -> None:
        # 600 mm squares from C1: six whole along 4 m and 400 mm to cut, in five rows; no two such pieces come out of one
        job = added(bare, UNITS.format(600, 600) + "breakage_percent = 0\n").open()
        cuts = table(workbook.save_sheet(job), "cuts")
        assert sorted({float(row[name]) for row in cuts for name in ("length", "width")}) == pytest.approx([0.4, 0.6])
        assert len(cuts) == 5
        page = cuts_page(job)
        FigureCanvasAgg(page).draw()
        assert off_the_paper(page) == []
        assert min(text.get_fontsize() for text in texts(page)) >= 9
        told = flowing(page)
        assert "Cut wet and wear a mask" in told
        assert "30 whole units and 5 cut pieces" in told
        assert "Order 35" in told

    def test_the_demonstration(self, demo: Any) -> None:
        page = cuts_page(demo.open())
        FigureCanvasAgg(page).draw()
        assert off_the_paper(page) == []
        over = written_over(page)  # the title of a picture ends with an empty line, which its second line stands on
        assert [pair for pair in over if not any(one.endswith("\n") for one in pair)] == []
