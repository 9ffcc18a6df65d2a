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
                      "Rain on 12.0 m² goes 12.0 m² over the edge from C3 to C4"):
            assert words in told
        for caution in workbook.CAUTIONS:
            assert caution in told

    def test_the_table_beside_it_says_the_same(self, bare: Any) -> None:
        soil, slabs, bed, *_ = table(workbook.save_sheet(bare.open()), "materials")
        assert (soil["done"], float(soil["in_place_m3_likely"]), float(soil["loose_m3_likely"])) == ("take away", 0.24, 0.312)
        assert float(slabs["area_m2"]) == pytest.approx(13.2)
        assert float(bed["in_place_m3_likely"]) == pytest.approx(0.48)  # 12 m² x 40 mm

    def test_the_table_has_units_in_its_headings(self, bare: Any) -> None:
        soil, *_ = table(workbook.save_sheet(added(bare, "[taking_up]\nskip_m3 = 4\n").open()), "materials")
        spread = [f"{name}_{end}" for name in ("in_place_m3", "loose_m3", "mass_kg") for end in ("low", "likely", "high")]
        assert list(soil)[:2 + len(spread)] == ["done", "what", *spread]
        assert {"area_m2", "pieces", "bags", "loads_barrow", "loads_bulk_bag", "loads_skip"} <= set(soil)
        assert not {"area", "in_place_likely", "loose_likely", "mass_likely"} & set(soil)
        assert [float(soil[f"loose_m3_{end}"]) for end in ("low", "likely", "high")] == [0.288, 0.312, 0.348]
        assert (soil["loads_barrow"], soil["loads_bulk_bag"], soil["loads_skip"]) == ("6", "1", "1")

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

    def test_water_stands_before_laying_and_what_is_too_near_before_all(self, bare: Any) -> None:
        added(bare, UNITS.format(500, 500) + "[rain]\nintensity_mm_h = 36\nchannel_mm = [100, 50]\nfall = \"1:100\"\n"
                    "[soakaway]\nsize_m = [1.0, 1.0, 1.0]\nrate_m_s = 5e-5\nto_building_m = 4\nto_boundary_m = 3\n"
                    "storms = [[5, 5], [10, 20], [20, 20.5]]\n")
        page = drawn(bare.open())[1]
        in_order(page)
        told = flowing(page)
        order = ["Water and laying", "Building: too near, at 4.00 m", "Water: not given how far", "channel carries",
                 "Soakaway 1.00 m × 1.00 m × 1.00 m", "Rain on 12.0 m²", "48 whole units", "Before you dig"]
        assert [told.count(words) > 0 for words in order] == [True] * len(order)
        assert sorted(order, key=told.index) == order
        assert "Boundary" not in told.partition("Before you dig")[0]  # 3 m is far enough

    def test_barrows_off_and_bags_in(self, bare: Any) -> None:
        """Soil 0.312 m³ in barrows of 0.06 m³; bed 0.686 m³ of 1.13 t in bags of 0.5 m³ or 0.85 t; units come as they are."""
        lines: dict[float, list[tuple[float, str]]] = {}
        for text in texts(drawn(added(bare, UNITS.format(500, 500)).open())[1]):
            if text.axes is not None:
                x, y = text.get_position()
                lines.setdefault(round(float(y), 4), []).append((float(x), text.get_text()))
        cells = {row[1]: row[2:] for row in ([cell for _, cell in sorted(line)] for line in lines.values()) if len(row) > 3}
        assert cells["dug soil"][-1] == "6 barrows"
        assert cells["bed"][-1] == "2 bags"
        assert cells["slabs"][-1].startswith("51 units")  # 48 and 5 %: 50.4; no loads
        assert not any("bag" in cell or "barrow" in cell for cell in cells["slabs"])

    def test_a_part_that_is_wrong_is_told_and_the_rest_is_there(self, bare: Any) -> None:
        added(bare, UNITS.format(500, 500).replace('"C1"', '"Z"') + '[taking_up]\nsoil = "moon"\n')
        page = drawn(bare.open())[1]
        in_order(page)
        told = flowing(page)
        assert "NOT WORKED OUT: brief.toml, [units]: the point Z was not read" in told
        assert "NOT WORKED OUT: brief.toml, [taking_up]: the kind of soil is 'moon'" in told
        for words in ("Dig 0.24 m³ of soil", "Rain on 12.0 m²", *workbook.CAUTIONS):
            assert words in told
        folder = workbook.save_sheet(bare.open())
        assert (table(folder, "materials"), table(folder, "cuts")) == ([], [])
        assert (folder / "materials.csv").read_text(encoding="utf-8-sig").startswith("done,what")
        assert (folder / "cuts.csv").read_text(encoding="utf-8-sig").startswith("piece,unit")
        assert not (folder / "cuts.pdf").exists()
        assert len(table(folder, "pegs")) == 4

    def test_a_doubt_is_told(self, bare: Any) -> None:
        added(bare, "[soakaway]\nsize_m = [1.0, 1.0, 1.0]\nhole_seconds = [1000]\nstorms = [[5, 5], [10, 20], [20, 20.5]]\n")
        assert "LOOK AGAIN: The hole was filled once" in flowing(drawn(bare.open())[1])

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

    def test_where_each_piece_lies_and_its_outline(self, bare: Any) -> None:
        """A cover of 200 mm in the corner of the unit from 1.0 m, a post of 100 mm in the middle of the one from 2.0 m.

        The first leaves an L: (0.25 × 0.25 − 0.04 × 0.1) / 0.21 = 0.27857 m from its corner to its middle.
        """
        added(bare, UNITS.format(500, 500) + '[[hole]]\nname = "cover"\nat = [1.1, 1.1]\nsize_mm = 200\n'
                    '[[post]]\nname = "P"\nat = [2.25, 0.25]\nsize_mm = 100\n')
        found = {row["shape"]: row for row in table(workbook.save_sheet(bare.open()), "cuts")}
        notched, holed = found["L or notched"], found["with a hole"]
        assert [float(notched[name]) for name in ("plan_x", "plan_y")] == pytest.approx([1.27857, 1.27857], abs=6e-5)
        assert [float(holed[name]) for name in ("plan_x", "plan_y")] == pytest.approx([2.25, 0.25], abs=6e-5)
        assert set(notched["outline_mm"].split("; ")) == {"200 0", "500 0", "500 500", "0 500", "0 200", "200 200"}
        outer, inner = holed["outline_mm"].split(" / ")
        assert set(outer.split("; ")) == {"0 0", "500 0", "500 500", "0 500"}
        assert set(inner.split("; ")) == {"200 200", "300 200", "300 300", "200 300"}

    def test_a_straight_piece_has_no_outline(self, bare: Any) -> None:
        cuts = table(workbook.save_sheet(added(bare, UNITS.format(600, 600)).open()), "cuts")
        assert [row["outline_mm"] for row in cuts] == [""] * 5
        # 400 mm wide at the end of each row of 600 mm: middles at 3.8 m along
        assert {(float(row["plan_x"]), float(row["plan_y"])) for row in cuts} == {(3.8, y) for y in (0.3, 0.9, 1.5, 2.1, 2.7)}
        assert {"saw_x", "saw_y"} <= set(cuts[0])

    def test_the_demonstration(self, demo: Any) -> None:
        page = cuts_page(demo.open())
        FigureCanvasAgg(page).draw()
        assert off_the_paper(page) == []
        over = written_over(page)  # the title of a picture ends with an empty line, which its second line stands on
        assert [pair for pair in over if not any(one.endswith("\n") for one in pair)] == []
