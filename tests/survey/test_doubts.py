"""What is possible but doubtful in a book: each doubt where it belongs, once, with its row and point, and nowhere else."""

from __future__ import annotations

import warnings

import pytest

from sitelevels import LevelBook, ReducedLevels, SurveyWarning, read_book, reduce_book

HEAD = "point,bs,is,fs,rl,feature,remarks,up,down\n"
CLOSING = "BM,,1.5,,,,,,\n"


def doubts(text: str, *, unit: str = "m") -> tuple[str, ...]:
    """What is doubtful, which must be what is warned of."""
    with warnings.catch_warnings(record=True) as told:
        warnings.simplefilter("always")
        book = read_book(text, unit=unit)
    assert [str(one.message) for one in told] == list(book.doubts)
    assert all(issubclass(one.category, SurveyWarning) for one in told)
    assert all(doubt.endswith((".", "?", "!")) for doubt in book.doubts)
    return book.doubts


def between(*rows: str, unit: str = "m") -> tuple[str, ...]:
    """Doubts of rows between a backsight of 1.5 m on the known benchmark and a closing shot on it."""
    scale = {"m": "1.5", "cm": "150", "mm": "1500", "ft": "5"}[unit]
    level = {"m": "10", "cm": "1000", "mm": "10000", "ft": "30"}[unit]
    return doubts(f"{HEAD}BM,{scale},,,{level},,,,\n" + "".join(f"{row}\n" for row in rows) + f"BM,,{scale},,,,,,\n", unit=unit)


def test_an_ordinary_book_has_none() -> None:
    assert between("A,,1.25,,,ground,,,", "B,,1.75,,,corner,,,", "D,,-0.4,,,dpc,,,", "E,,,,,,,0.2,") == ()


class TestLongReadings:
    @pytest.mark.parametrize(("row", "said"), [
        ("A,,5.001,,,dpc,,,", "'is' is 5.001 m"), ("A,,-5.001,,,dpc,,,", "'is' is -5.001 m"),
        ("A,,,,,,,5.2,", "'up' is 5.200 m"), ("A,,,,,,,,5.2", "'down' is 5.200 m")])
    def test_over_five_metres(self, row: str, said: str) -> None:
        assert between(row) == (f"Row 2, point A: {said}, longer than a 5 m staff. Is the unit right?",)

    @pytest.mark.parametrize("reading", ["5", "-5", "4.999"])
    def test_not_up_to_five_metres(self, reading: str) -> None:
        assert between(f"A,,{reading},,,dpc,,,") == ()

    def test_a_backsight_and_a_foresight_are_questioned_too(self) -> None:
        told = doubts(HEAD + "BM,5.1,,,10,,,,\nTP,5.2,,5.3,,,,,\nBM,,,5,,,,,\n")
        assert [one.split(",")[0] + one.split(":")[1][:3] for one in told] == ["Row 1 'b", "Row 2 'b", "Row 2 'f"]

    @pytest.mark.parametrize(("unit", "long", "short"), [("cm", "501", "499"), ("mm", "5001", "4999"), ("ft", "16.5", "16.4")])
    def test_in_every_unit(self, unit: str, long: str, short: str) -> None:
        """5 m are 16.404 ft."""
        assert len(between(f"A,,{long},,,dpc,,,", unit=unit)) == 1
        assert between(f"A,,{short},,,dpc,,,", unit=unit) == ()

    def test_millimetres_among_metres_are_offered_as_metres(self) -> None:
        (told,) = between("A,,1452,,,dpc,,,")
        assert told == ("Row 2, point A: 'is' is 1452.000 m, longer than a 5 m staff. Is the unit right? "
                        "In mm it would be 1.452 m.")

    def test_a_whole_book_of_them_is_told_in_one_sentence_by_its_own_headings(self) -> None:
        (told,) = doubts("Peg,down from the line (m),rl (m)\nline,,1.000\n"
                         "A,1068,\nB,1071,\nC,1069,\nA,1068,\n")
        assert told == ("Rows 2, 3, 4 and 5 have readings longer than a 5 m staff, such as 'down from the line' 1068.000 m on A. "
                        "In mm that would be 1.068 m: choose mm under Unit, or write the unit in the headings.")

    @pytest.mark.parametrize("heading", ["is", "Inter.", "Intermediate"])
    def test_the_heading_of_the_book_is_named(self, heading: str) -> None:
        (told,) = doubts(f"point,bs,{heading},fs,rl\nBM,1.5,,,10\nA,,5.2,,\nBM,,,1.5,\n")
        assert told.startswith(f"Row 2, point A: '{heading}' is 5.200 m, ")


class TestSmallSites:
    BOOK = "point,bs,is,fs,rl,{x},{y},feature\nBM,1500,,,10000,,,\nA,,1400,,,0,0,corner\nB,,1410,,,4.2,0,corner\n" \
           "C,,1420,,,4.2,3.1,corner\nBM,,,1500,,,,\n"

    def test_metres_in_a_book_of_millimetres(self) -> None:
        assert doubts(self.BOOK.format(x="x", y="y"), unit="mm") == (
            "All places lie within 4.2 mm by 3.1 mm. Is that the site? x and y are in the unit of the book, mm: for 4.2 m write "
            "4200, or say the unit in the headings, x (m) and y (m).",)

    def test_metres_in_a_book_of_centimetres(self) -> None:
        book = self.BOOK.format(x="x", y="y").replace("1400", "140").replace("1410", "141").replace("1420", "142")
        (told,) = doubts(book.replace("1500", "150"), unit="cm")
        assert "x and y are in the unit of the book, cm: for 4.2 m write 420, " in told

    def test_not_where_the_headings_say_metres(self) -> None:
        assert doubts(self.BOOK.format(x="x (m)", y="y (m)"), unit="mm") == ()

    @pytest.mark.parametrize(("unit", "long"), [("mm", "4200"), ("mm", "501")])
    def test_not_a_site_as_large_as_one_is(self, unit: str, long: str) -> None:
        assert doubts(self.BOOK.format(x="x", y="y").replace("4.2", long), unit=unit) == ()

    def test_not_a_place_alone(self) -> None:
        assert doubts("point,bs,is,x,y\nBM,1500,,,\nA,,1400,4.2,3.1\nBM,,1500,,\n", unit="mm") == ()


class TestShortReadings:
    @pytest.mark.parametrize("unit", ["cm", "mm"])
    @pytest.mark.parametrize("reading", ["1.452", "-1.452"])
    def test_metres_among_millimetres_are_offered_as_metres(self, unit: str, reading: str) -> None:
        told = between(f"A,,{reading},,,dpc,,,", unit=unit)
        assert len(told) == 1
        assert told[0].startswith("Row 2, point A: 'is' is ")
        assert told[0].endswith(f"Is the unit right? In m it would be {reading} m.")

    @pytest.mark.parametrize(("unit", "reading"), [("mm", "20"), ("mm", "0"), ("cm", "2"), ("m", "0.004"), ("ft", "0.05")])
    def test_not_what_a_staff_or_another_unit_can_show(self, unit: str, reading: str) -> None:
        assert between(f"A,,{reading},,,dpc,,,", unit=unit) == ()

    def test_a_few_millimetres_taped_from_the_line_are_no_metres(self) -> None:
        """A DPC 8 mm above the line is what a tape is good for."""
        assert between("D,,,,,dpc,,8,", unit="mm") == ()

    @pytest.mark.parametrize(("unit", "level"), [("mm", "10"), ("mm", "99"), ("cm", "9.9"), ("ft", "0.3")])
    def test_a_small_known_level_in_another_unit_than_metres(self, unit: str, level: str) -> None:
        scale = {"cm": "150", "mm": "1500", "ft": "5"}[unit]
        (told,) = doubts(f"point,bs,is,rl\nBM,{scale},,{level}\nBM,,{scale},\n", unit=unit)
        assert told.startswith("Row 1, point BM: the known level comes to ")
        assert told.endswith("rl is in the unit of the book.")

    @pytest.mark.parametrize(("unit", "level"), [("m", "0.05"), ("m", "0"), ("mm", "0"), ("mm", "100"), ("cm", "10"),
                                                 ("ft", "1")])
    def test_not_one_in_metres_or_nought_or_ten_centimetres(self, unit: str, level: str) -> None:
        scale = {"m": "1.5", "cm": "150", "mm": "1500", "ft": "5"}[unit]
        assert doubts(f"point,bs,is,rl\nBM,{scale},,{level}\nBM,,{scale},\n", unit=unit) == ()

    def test_nor_one_whose_own_heading_says_metres(self) -> None:
        """The finished floor is 0.05 m above datum, and its heading says m: there is nothing to ask."""
        assert doubts("point,bs (mm),is (mm),rl (m)\nBM,1500,,0.050\nBM,,1500,\n") == ()


class TestJumps:
    def test_over_a_metre_between_spots(self) -> None:
        (told,) = between("A,,1.2,,,,,,", "B,,2.201,,,,,,", "C,,2.3,,,,,,")
        assert told == ("Row 3, point B: 'is' goes from 1.200 m to 2.201 m, more than a metre from one spot to the next. Is a "
                        "metre or a digit wrong?")

    def test_not_of_a_metre_exactly(self) -> None:
        assert between("A,,1.2,,,,,,", "B,,2.2,,,,,,", "C,,1.2,,,,,,") == ()

    def test_a_lone_spike_is_told_once(self) -> None:
        told = between("A,,1.2,,,,,,", "B,,2.35,,,,,,", "C,,1.3,,,,,,")
        assert [one.split(":")[0] for one in told] == ["Row 3, point B"]

    def test_a_second_spike_is_told_too(self) -> None:
        told = between("A,,1.2,,,,,,", "B,,2.35,,,,,,", "C,,1.3,,,,,,", "D,,1.2,,,,,,", "E,,2.5,,,,,,", "F,,1.2,,,,,,")
        assert [one.split(":")[0] for one in told] == ["Row 3, point B", "Row 6, point E"]

    @pytest.mark.parametrize(("one", "other"), [
        ("A,,1.2,,,,,,", "B,,-0.9,,,,,,"), ("A,,1.2,,,,,,", "B,,2.9,,,dpc,,,"), ("A,,1.2,,,threshold,,,", "B,,2.9,,,,,,"),
        ("A,,1.2,,,,,,", "B,,2.9,,7,,,,"), ("A,,1.2,,,,,,", "BM,,2.9,,,,,,"), ("A,,1.2,,,,,,", "B,,,,,,,,2.9"),
        ("A,,1.2,,,,,,", "B,,2.9,,,gully,,,"), ("A,,1.2,,,,,,", "B,,2.9,,,buried,,,")],
        ids=["upside down", "dpc", "threshold", "known", "backsighted", "taped", "gully", "buried"])
    def test_not_where_something_else_than_ground_is_read(self, one: str, other: str) -> None:
        assert between(one, other, "C,,1.2,,,dpc,,,") == ()

    def test_not_over_a_foresight_or_into_the_next_set_up(self) -> None:
        assert doubts(HEAD + "BM,1.5,,,10,,,,\nA,,1.2,,,,,,\nTP,3.6,,1.4,,,,,\nB,,3.3,,,,,,\nBM,,,3.6,,,,,\n") == ()

    def test_a_reading_that_is_too_long_is_questioned_once(self) -> None:
        assert len(between("A,,1.2,,,,,,", "B,,12.52,,,,,,", "C,,1.3,,,,,,")) == 1


class TestClosingShot:
    def test_an_end_without_one_is_told_at_the_last_shot(self) -> None:
        (told,) = doubts("point,bs,is,rl\nBM,1.5,,10\nA,,1.2,\nB,,1.3,\n")
        assert told == ("Row 3, point B: the book ends here without a closing shot, so a slip or an instrument that moved would "
                        "not show. Read the benchmark again at the end.")

    @pytest.mark.parametrize("last", ["BM,,1.5,", "BM2,,1.4,10.1", "A,,1.2,"])
    def test_a_shot_on_the_benchmark_a_known_point_or_a_point_read_before_closes(self, last: str) -> None:
        assert doubts(f"point,bs,is,rl\nBM,1.5,,10\nA,,1.2,\nB,,1.3,\n{last}\n") == ()

    def test_it_may_stand_anywhere_in_the_last_set_up(self) -> None:
        assert doubts("point,bs,is,rl\nBM,1.5,,10\nA,,1.2,\nBM,,1.5,\nB,,1.3,\n") == ()

    @pytest.mark.parametrize("rows", ["line,,,1.000\nA,1.012,,\nB,,0.150,\n", "line,,,1.000\nA,1.012,,\n"])
    def test_a_line_drawn_on_the_wall_has_no_end_that_could_be_closed(self, rows: str) -> None:
        """There is no instrument that could move, and no benchmark that could be read again."""
        assert not any("instrument" in told or "benchmark" in told for told in doubts(f"point,down,up,rl\n{rows}"))

    def test_a_check_in_the_first_set_up_does_not_close_the_last(self) -> None:
        told = doubts("point,bs,is,fs,rl\nBM,1.5,,,10\nBM,,1.5,,\nTP,1.4,,1.6,\nA,,1.2,,\nB,,1.3,,\n")
        assert [one.split(":")[0] for one in told] == ["Row 5, point B"]


class TestSetUps:
    def test_one_from_which_nothing_is_read(self) -> None:
        told = doubts("point,bs,is,rl\nBM,1.5,,10\nA,,1.2,\nBM,,1.5,\nBM,1.4,,\n")
        assert told == ("Row 4, point BM: nothing is read from this set-up, number 2.",)

    def test_one_in_the_middle_from_which_nothing_is_read(self) -> None:
        told = doubts("point,bs,is,rl\nBM,1.5,,10\nBM,1.4,,\nA,,1.2,\nBM,,1.4,\n")
        assert told == ("Row 1, point BM: nothing is read from this set-up, number 1.",)

    def test_one_with_a_single_shot_that_nothing_checks(self) -> None:
        told = doubts("point,bs,is,rl\nBM,1.5,,10\nA,,1.2,\nBM,1.4,,\nB,,1.3,\nBM,,1.4,\n")
        assert told == ("Row 2, point A: it is the one shot of set-up 1, and nothing checks it.",)

    @pytest.mark.parametrize("shots", ["A,,1.2,\nC,,1.1,", "BM,,1.5,", "B,,1.2,"])
    def test_not_two_shots_or_one_that_is_checked(self, shots: str) -> None:
        assert doubts(f"point,bs,is,rl\nBM,1.5,,10\n{shots}\nBM,1.4,,\nB,,1.1,\nBM,,1.4,\n") == ()

    def test_not_a_change_point_that_the_next_set_up_stands_on(self) -> None:
        assert doubts("point,bs,is,fs,rl\nBM,1.5,,,10\nTP,1.4,,1.6,\nBM,,,1.3,\n") == ()


class TestRemarks:
    @pytest.mark.parametrize("remark", ["upside down", "Upside-down", "staff inverted", "INVERTED", "invert staff"])
    def test_a_remark_that_the_staff_was_upside_down_without_a_minus(self, remark: str) -> None:
        (told,) = between(f"A,,0.8,,,dpc,{remark},,")
        assert told == ("Row 2, point A: the remark says that the staff was upside down, and 'is' 0.800 m has no minus. Book it "
                        "as −0.800 m if it was.")

    @pytest.mark.parametrize("row", ["A,,-0.8,,,dpc,upside down,,", "A,,0.8,,,dpc,upright,,", "A,,,,,dpc,upside down,0.8,",
                                     "A,,0,,,dpc,inverted,,"])
    def test_not_with_a_minus_or_another_remark_or_a_tape_going_up(self, row: str) -> None:
        assert between(row) == ()

    def test_not_the_invert_of_a_pipe(self) -> None:
        """The invert is the lowest line inside a pipe or a gully: the staff stands upright on it."""
        assert between("A,,2.1,,,gully,invert of pipe,,") == ()


class TestFeatures:
    def test_one_that_is_not_known_is_told_with_those_that_are(self) -> None:
        (told,) = between("A,,1.2,,,gravel,,,")
        assert told.startswith("Row 2, point A: the feature 'gravel' is not known, so these points serve for nothing but their "
                               "level. Known are ground, corner, dpc,")

    def test_all_its_rows_are_named_in_one_sentence(self) -> None:
        told = between("A,,1.2,,,gravel,,,", "B,,1.3,,,gravel,,,", "C,,1.3,,,moss,,,")
        assert [one.split(":")[0] for one in told] == ["Rows 2 and 3", "Row 4, point C"]

    @pytest.mark.parametrize("feature", ["", "ground", "Ground", "DPC", "corner", "threshold", "edge", "buried", "gully", "cover",
                                         "airbrick", "benchmark"])
    def test_not_those_that_are(self, feature: str) -> None:
        assert between(f"A,,1.2,,,{feature},,,") == ()


class TestSteadiness:
    def reduced(self, *rows: str) -> ReducedLevels:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", SurveyWarning)
            book: LevelBook = read_book("point,bs,is,fs,rl\n" + "".join(f"{row}\n" for row in rows))
            return reduce_book(book)

    def test_a_sentence_for_each_set_up(self) -> None:
        told = self.reduced("BM,1.500,,,10", "A,,1.200,,", "BM,,1.503,,", "TP,1.400,,1.600,", "B,,1.100,,",
                            "BM,,,1.301,").steadiness
        assert told == ("Set-up 1, from row 1: BM read again: the instrument moved or settled by 3.0 mm, which reading alone can "
                        "do.",
                        "Set-up 2, from row 4: it ends on a known level.")

    def test_a_set_up_that_is_neither_is_asked_for_its_shot(self) -> None:
        (told,) = self.reduced("BM,1.500,,,10", "A,,1.200,,").steadiness
        assert told == ("Set-up 1, from row 1: no shot back to BM at its end, so an instrument that settles would not show. Read "
                        "it again before the instrument moves.")

    def test_the_largest_of_several_looks_is_told(self) -> None:
        (told,) = self.reduced("BM,1.500,,,10", "BM,,1.501,,", "A,,1.2,,", "BM,,1.4975,,", "BM,,1.500,,").steadiness
        assert "moved or settled by 2.5 mm" in told

    def test_of_a_line_drawn_on_the_wall_nothing_is_said_that_needs_an_instrument(self) -> None:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", SurveyWarning)
            told = reduce_book(read_book("point,down,rl\nline,,1.000\nA,1.012,\nB,0.991,\n")).steadiness
        assert not any("instrument" in sentence for sentence in told)

    @pytest.mark.parametrize(("again", "moved"), [("1.506", "6.0 mm"), ("1.494", "6.0 mm"), ("1.520", "20.0 mm")])
    def test_an_instrument_that_moved_by_more_than_is_allowed_is_a_doubt(self, again: str, moved: str) -> None:
        found = self.reduced("BM,1.500,,,10", "A,,1.200,,", f"BM,,{again},,", "B,,1.3,,").doubts
        assert [one for one in found if f"the instrument moved or settled by {moved}" in one] == [found[0]]
        assert found[0].startswith("Set-up 1: on BM ")

    @pytest.mark.parametrize("again", ["1.505", "1.495", "1.500"])
    def test_not_by_what_is_allowed(self, again: str) -> None:
        assert self.reduced("BM,1.500,,,10", "A,,1.200,,", f"BM,,{again},,", "B,,1.3,,").doubts == ()
