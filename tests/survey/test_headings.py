"""Headings as people write them: names, units, columns that somebody worked out, and the decimal comma."""

from __future__ import annotations

import warnings

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sitelevels import LevelBook, SurveyError, SurveyWarning, read_book

steady = settings(deadline=None, max_examples=100, derandomize=True)

SPELLINGS = {
    "point": ["point", "Points", "Pt", "pt.", "Point name", "Point no.", "Station", "Stn.", "Peg", "Name", "ID", "Mark",
              "Location"],
    "bs": ["BS", "b.s.", "B. S.", "Back", "Backsight", "back sight", "Back-Sight", "backsights"],
    "is": ["IS", "i.s.", "Inter", "Inter.", "Intermediate", "intermediate sight"],
    "fs": ["FS", "f.s.", "Fore", "Foresight", "Fore sight", "fore_sights"],
    "up": ["up", "Up from the line", "up from line"],
    "down": ["down", "Down from the line", "down from line"],
    "x": ["x", "X", "Along", "E", "Easting", "eastings"],
    "y": ["y", "Y", "Out", "N", "Northing", "Northings"],
    "feature": ["feature", "Kind", "TYPE"],
    "rl": ["rl", "R.L.", "Reduced level", "Reduced Levels", "Level", "Known level", "known", "Elevation", "elev."],
    "hand_level": ["hand_level", "Hand level", "Worked level", "worked out"],
    "sight": ["sight", "Sight length", "Length of sight"],
    "wall": ["wall", "Wall"],
    "remarks": ["remarks", "Remark", "Notes", "note", "Comments"],
}
LENGTHS = ("bs", "is", "fs", "up", "down", "x", "y", "rl", "hand_level", "sight")
ROW = {"point": "BM", "bs": "1.5", "rl": "10", "x": "1", "y": "2", "feature": "benchmark", "wall": "east", "remarks": "wet",
       "sight": "20"}
SECOND = {"point": "A", "is": "1.25", "hand_level": "10.25"}
THIRD = {"point": "B", "up": "0.5"}
LAST = {"point": "BM", "fs": "1.5"}


def quiet(text: object, unit: str = "m") -> LevelBook:
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        return read_book(text, unit=unit)  # type: ignore[arg-type]


def problems(text: str, unit: str = "m") -> tuple[str, ...]:
    with pytest.raises(SurveyError) as caught:
        read_book(text, unit=unit)
    return caught.value.problems


def taken(book: LevelBook) -> dict[str, str]:
    return dict(zip(book.understood["heading"], book.understood["taken as"], strict=True))


class TestSpellings:
    @pytest.mark.parametrize(("name", "heading"), [(name, heading) for name, all_ in SPELLINGS.items() for heading in all_])
    def test_each_is_understood_without_a_word(self, name: str, heading: str) -> None:
        others = [other for other in ("point", "bs", "is") if other != name]
        cell = {"point": "BM", "bs": "1.5", "rl": "10", "sight": "20", "feature": "benchmark"}
        text = ",".join([heading, *others]) + "\n" + ",".join(cell.get(one, "") for one in (name, *others)) + "\n"
        text += ",".join({"point": "BM", "is": "1.5"}.get(one, "") for one in (name, *others)) + "\n"
        assert taken(quiet(text))[heading] == name

    @pytest.mark.parametrize("heading", ["reading", "Readings", "Staff", "Staff reading"])
    def test_a_plain_list_by_any_of_its_names(self, heading: str) -> None:
        book = quiet(f"Peg,{heading}\nBM,1.5\nA,1.25\nBM,1.5\n")
        assert [(row.bs, row.is_, row.fs) for row in book.rows] == [(1.5, None, None), (None, 1.25, None), (None, None, 1.5)]

    @steady
    @given(st.data())
    def test_any_order_case_and_spelling_gives_the_same_rows(self, data: st.DataObject) -> None:
        names = data.draw(st.permutations([name for name in SPELLINGS if name != "down"]))
        headings = []
        for name in names:
            heading = data.draw(st.sampled_from(SPELLINGS[name]))
            heading = data.draw(st.sampled_from([heading, heading.upper(), heading.lower(), f"  {heading} "]))
            unit = data.draw(st.sampled_from(["", " (m)", " [m]", "(metres)"])) if name in ("x", "y", "sight", "rl") else ""
            headings.append(heading + unit)
        lines = [";".join(headings)] + [";".join(row.get(name, "") for name in names) for row in (ROW, SECOND, THIRD, LAST)]
        first, second, third, last = quiet("\n".join(lines) + "\n").rows
        assert (first.point, first.bs, first.rl, first.x, first.y) == ("BM", 1.5, 10.0, 1.0, 2.0)
        assert (first.feature, first.wall, first.remarks, first.sight_back) == ("benchmark", "east", "wet", 20.0)
        assert (second.is_, second.hand_level, third.is_, third.taped, last.fs) == (1.25, 10.25, -0.5, True, 1.5)


IN_UNITS = {"m": ("1.524", "9.144"), "cm": ("152.4", "914.4"), "mm": ("1524", "9144"), "ft": ("5", "30")}
"""1.524 m and 9.144 m, by the international foot of 0.3048 m exactly."""


class TestUnits:
    @pytest.mark.parametrize("unit", IN_UNITS)
    @pytest.mark.parametrize("form", ["{} ({})", "{}({})", "{} [{}]", "{}[ {} ]", "{}, {}", "{}_{}", "{} {}"])
    def test_a_unit_behind_the_heading_is_heeded(self, unit: str, form: str) -> None:
        heads = [form.format(name, unit) for name in ("Backsight", "Inter.", "RL")]
        bs, rl = IN_UNITS[unit]
        book = quiet(f"point;{';'.join(heads)};;\nBM;{bs};;{rl}\nBM;;{bs};\n")
        assert (book.rows[0].bs, book.rows[1].is_, book.rows[0].rl) == pytest.approx((1.524, 1.524, 9.144), abs=1e-12)

    @pytest.mark.parametrize(("word", "unit"), [("metres", "m"), ("Metre", "m"), ("MM", "mm"), ("millimetres", "mm"),
                                                ("centimetres", "cm"), ("feet", "ft"), ("Ft.", "ft"), ("foot", "ft")])
    def test_a_unit_may_be_written_out(self, word: str, unit: str) -> None:
        bs, _ = IN_UNITS[unit]
        book = quiet(f"point;bs ({word});is ({word})\nBM;{bs};\nBM;;{bs}\n")
        assert book.rows[0].bs == pytest.approx(1.524, abs=1e-12)
        assert book.unit_of("bs") == unit

    @pytest.mark.parametrize("heads", ["point;Backsight, m;Inter., m;RL, m", "Peg;Staff, m;RL, m;Sight length, m"])
    def test_semicolons_part_the_cells_though_as_many_commas_stand_before_units(self, heads: str) -> None:
        rows = "BM;1.5;;\nBM;;1.5;\n" if "Inter." in heads else "BM;1.5;;\nBM;1.5;;\n"
        assert quiet(f"{heads}\n{rows}").rows[0].bs == 1.5

    def test_levels_in_metres_and_readings_in_millimetres_stand_side_by_side(self) -> None:
        book = quiet("point,bs (mm),is (mm),rl (m)\nBM,1524,,9.144\nBM,,1524,\n")
        assert (book.rows[0].bs, book.rows[0].rl) == pytest.approx((1.524, 9.144), abs=1e-12)

    def test_an_option_that_says_the_same_does_no_harm(self) -> None:
        assert quiet("point,bs (mm),is (mm),rl\nBM,1524,,9144\nBM,,1524,\n", unit="mm").rows[0].rl == pytest.approx(9.144)

    def test_a_heading_without_a_unit_beside_some_with_one_is_told(self) -> None:
        with pytest.warns(SurveyWarning, match="The headings rl give no unit and are taken in m"):
            read_book("point,bs (mm),is (mm),rl\nBM,1524,,9.144\nBM,,1524,\n")

    def test_a_heading_against_the_option_is_refused(self) -> None:
        assert problems("point,bs (mm),is (mm)\nBM,1524,\nBM,,1524\n", unit="ft") == (
            "The heading 'bs (mm)' gives the unit 'mm'. The book is said to be in ft.",
            "The heading 'is (mm)' gives the unit 'mm'. The book is said to be in ft.")

    def test_places_in_metres_stand_in_a_book_of_millimetres(self) -> None:
        book = quiet("point,bs,is,rl,x (m),y (m),sight (m)\nBM,1524,,9144,,,\nA,,1400,,4.2,3.1,20\nBM,,1524,,,,\n", unit="mm")
        row = book.rows[1]
        assert (row.x, row.y, row.sight, row.is_) == pytest.approx((4.2, 3.1, 20.0, 1.4), abs=1e-12)
        assert quiet(book.text, unit="mm").rows == book.rows

    def test_readings_some_with_and_some_without_a_unit_are_refused(self) -> None:
        (told,) = problems("point,bs (mm),is\nBM,1524,\nBM,,1.524\n")
        assert told == ("The headings of 'bs' give a unit and those of 'is' do not. Write the unit behind every reading, or "
                        "behind none.")

    @pytest.mark.parametrize("unit", ["in", "inch", "inches", "yards", "km"])
    def test_inches_and_other_units_are_refused_by_name(self, unit: str) -> None:
        told = problems(f"point,bs ({unit}),is ({unit})\nBM,60,\nBM,,60\n")
        assert told[0] == f"The heading 'bs ({unit})' gives the unit {unit!r}. It can be m, cm, mm or ft."

    @pytest.mark.parametrize("said", ["in", "IN", "Inches", "in.", '"', "″", "''"])
    def test_inches_are_never_taken_for_metres(self, said: str) -> None:
        quoted = f"bs ({said})".replace('"', '""')
        with pytest.raises(SurveyError):
            read_book(f'point,"{quoted}",is\nBM,2,\nBM,,2\n')

    @pytest.mark.parametrize("form", ["bs in", "bs, in", "bs_in", "bs inches"])
    def test_nor_are_they_without_brackets(self, form: str) -> None:
        with pytest.raises(SurveyError):
            read_book(f"point;{form};is\nBM;2;\nBM;;2\n")

    def test_readings_in_two_units_are_each_taken_in_their_own(self) -> None:
        book = quiet("point,bs (m),is (mm)\nBM,1.524,\nBM,,1524\n")
        assert (book.rows[0].bs, book.rows[1].is_) == pytest.approx((1.524, 1.524), abs=1e-12)

    def test_a_remark_in_brackets_that_is_no_unit_is_told_and_passed_over(self) -> None:
        with pytest.warns(SurveyWarning, match=r"behind the heading '(bs \(red\)|is \(black\))' is taken for a remark") as warned:
            book = read_book("point (as chalked),bs (red),is (black)\nBM,1.5,\nBM,,1.5\n")
        assert len(warned) == 2
        assert book.rows[0].bs == 1.5

    @pytest.mark.parametrize("unit", ["US ft", "survey ft", "tenths of mm", "feet and inches", "1/100 ft"])
    def test_a_unit_that_is_not_read_is_refused_and_never_taken_for_metres(self, unit: str) -> None:
        told = problems(f"point,bs ({unit}),is ({unit})\nBM,1.5,\nBM,,1.5\n")
        assert [f"({unit})" in each and "gives the unit" in each for each in told] == [True, True]

    def test_decimal_feet_are_feet(self) -> None:
        book = quiet("point,BS (decimal feet),IS (decimal feet)\nBM,5.00,\nBM,,5.00\n")
        assert book.rows[0].bs == pytest.approx(5 * 0.3048)


class TestOtherColumns:
    @pytest.mark.parametrize("heading", ["Rise", "Fall", "HPC", "H.P.C.", "HI", "H.I.", "Height of collimation", "rise_",
                                         "Adjusted RL"])
    def test_what_somebody_worked_out_is_passed_over_without_a_word(self, heading: str) -> None:
        book = quiet(f"point,bs,is,{heading},rl\nBM,1.5,,11.5,10\nBM,,1.5,0.25,\n")
        assert taken(book)[heading] == "not used"

    @pytest.mark.parametrize("heading", ["Rise (m)", "Fall (m)", "HPC (m)", "HI [m]", "rise, m", "Fall mm"])
    def test_so_is_it_with_a_unit_behind(self, heading: str) -> None:
        book = quiet(f"point;bs;is;{heading};rl\nBM;1.5;;11.5;10\nBM;;1.5;0.25;\n")
        assert taken(book)[heading] == "not used"

    @pytest.mark.parametrize("heading", ["colour", "Operator", "bs2", "is it wet"])
    def test_a_column_that_no_book_has_is_told(self, heading: str) -> None:
        with pytest.warns(SurveyWarning) as warned:
            read_book(f"point,bs,is,{heading}\nBM,1.5,,red\nBM,,1.5,\n")
        assert [str(one.message) for one in warned] == [
            f"The column {heading!r} is not one that a level book has, and is not used."]

    def test_values_under_no_heading_are_counted(self) -> None:
        with pytest.warns(SurveyWarning, match="A column without a heading holds 2 values, which are not used"):
            read_book("point,bs,is,\nBM,1.5,,a\nBM,,1.5,b\n")

    def test_empty_columns_without_a_heading_are_passed_over_without_a_word(self) -> None:
        assert quiet("point,bs,is,,\nBM,1.5,,,\nBM,,1.5,,\n").rows[0].bs == 1.5

    @pytest.mark.parametrize(("one", "two"), [("bs", "Backsight"), ("feature", "Kind"), ("rl", "Level"), ("x", "Easting"),
                                              ("is (m)", "Inter.")])
    def test_two_columns_of_one_meaning_are_refused_and_both_named(self, one: str, two: str) -> None:
        heads = [one, two, *(name for name in ("point", "bs", "is") if name not in (one.split()[0], two))]
        told = problems(",".join(heads) + "\n" + ",".join("1" * len(heads)) + "\n")
        assert any(f"{one!r} and {two!r} are both" in each and "Rename one of them." in each for each in told)

    def test_how_the_book_was_understood_is_a_table(self) -> None:
        book = quiet("Peg,Backsight (mm),Inter. (mm),Rise,RL (m),Remarks\nBM,1500,,,10.000,\nA,,1250,250,,wet\nBM,,1500,,,\n")
        table = book.understood
        assert table.to_numpy().tolist() == [
            ["Peg", "point", "", 3], ["Backsight (mm)", "bs", "mm", 1], ["Inter. (mm)", "is", "mm", 2],
            ["Rise", "not used", "", 1], ["RL (m)", "rl", "m", 1], ["Remarks", "remarks", "", 1]]
        assert table.columns.tolist() == ["heading", "taken as", "unit", "filled cells"]
        table.loc[0, "taken as"] = "spoilt"
        assert book.understood.loc[0, "taken as"] == "point"
        assert book.known_words == "Taken as known: BM 10.000 m (row 1)."


class TestDecimalComma:
    WANTED = ("BM", 1.5, None), ("A", None, 1.25), ("BM", None, 1.5)

    @pytest.mark.parametrize("text", [
        "point;bs;is\nBM;1,500;\nA;;1,250\nBM;;1,500\n",
        "point\tbs\tis\nBM\t1,500\t\nA\t\t1,250\nBM\t\t1,500\n",
        'point,bs,is\nBM,"1,500",\nA,,"1,250"\nBM,,"1,500"\n',
    ], ids=["semicolons", "tabs", "quoted"])
    def test_it_is_read_whatever_parts_the_cells(self, text: str) -> None:
        book = quiet(text)
        assert [(row.point, row.bs, row.is_) for row in book.rows] == list(self.WANTED)
        assert book.decimal_sign == ","

    def test_a_comma_in_a_name_or_a_remark_is_no_decimal_sign(self) -> None:
        book = quiet("point;bs;is;remarks\nA,1;1,5;;wet, 2,5 deep\nA,1;;1,5;\n")
        assert (book.rows[0].point, book.rows[0].remarks, book.rows[0].bs) == ("A,1", "wet, 2,5 deep", 1.5)

    def test_a_point_in_a_name_or_a_remark_does_not_make_it_a_mixed_book(self) -> None:
        book = quiet("point;bs;is;remarks\nA.1;1,5;;No. 4\nA.1;;1,5;\n")
        assert (book.rows[0].point, book.rows[0].bs) == ("A.1", 1.5)

    def test_sights_both_ways_and_whole_numbers_have_it_too(self) -> None:
        book = quiet("point;bs;fs;sight\nBM;1,5;;20\nTP;1,4;1,2;30,5 / 10,25\nBM;;1,6;25,5\n")
        assert [(row.sight, row.sight_back) for row in book.rows] == [(20, 20), (30.5, 10.25), (25.5, 25.5)]

    def test_levels_worked_by_hand_keep_their_last_digit(self) -> None:
        assert quiet("point;bs;is;rl;hand_level\nBM;1,500;;10,000;10,00\nBM;;1,500;;10,00\n").hand_digit == pytest.approx(0.01)

    def test_a_book_that_mixes_comma_and_point_is_refused_cell_by_cell(self) -> None:
        told = problems("point;bs;is\nBM;1,500;\nA;;1.250\nB;;1,300\nBM;;1.500\n")
        assert [each.split(":")[0] for each in told] == ["Row 1, point BM", "Row 3, point B"]
        assert "Write 1.500." in told[0]
        assert "Write 1.300." in told[1]

    @pytest.mark.parametrize("heads", ["point;bs (mm);is (mm)", "point;bs;is"])
    def test_a_comma_that_may_part_thousands_of_millimetres_is_not_silently_taken(self, heads: str) -> None:
        told = problems(f"{heads}\nBM;1,412;\nA;;1,250\nBM;;1,412\n", unit="mm")
        assert len(told) == 3
        assert told[0].startswith("Row 1, point BM: 'bs' holds '1,412', which is not a number")

    def test_nor_is_a_reading_of_one_millimetre_and_a_half_advised_then(self) -> None:
        """'1,412' among millimetres is 1412 mm with its thousands parted: 'Write 1.412.' would make it a thousandth of that."""
        assert not any("Write 1.412." in each for each in problems("point;bs;is\nBM;1,412;\nBM;;1,412\n", unit="mm"))

    @pytest.mark.parametrize("unit", ["mm", "cm", "ft"])
    def test_nor_is_it_where_only_one_cell_could_be_thousands_among_whole_numbers(self, unit: str) -> None:
        told = problems("point;bs;is\nBM;1,412;\nA;;950\nBM;;1,412\n", unit=unit)
        assert [each.split(":")[0] for each in told] == ["Row 1, point BM", "Row 3, point BM"]

    def test_tenths_of_millimetres_show_that_it_is_a_decimal_comma(self) -> None:
        assert quiet("point;bs;is\nBM;1412,5;\nBM;;1412,5\n", unit="mm").rows[0].bs == pytest.approx(1.4125)

    def test_levels_in_metres_do_not_decide_for_readings_in_millimetres(self) -> None:
        """'1,412' mm beside a level of '10,000' m is either 1.412 m or 1.4 mm: it must not be taken without a word."""
        with pytest.warns(SurveyWarning) as warned:
            read_book("point;bs (mm);is (mm);rl (m)\nBM;1,412;;10,000\nBM;;1,412;\n")
        assert [str(one.message).split(":")[0] for one in warned] == ["Row 1, point BM", "Row 2, point BM"]


def test_a_location_beside_the_point_is_told_and_not_used() -> None:
    with pytest.warns(SurveyWarning, match="The column 'Location' is not one that a level book has"):
        book = read_book("Point,Location,B.S.,Int. sight\nBM,gate,1.5,\nBM,gate,,1.5\n")
    assert [row.point for row in book.rows] == ["BM", "BM"]
