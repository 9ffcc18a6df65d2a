"""Text as a table of cells: what is a row, what is a note, and one cell changed without touching the rest."""

from __future__ import annotations

import csv
import io

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sitelevels import SurveyError, read_book
from sitelevels.survey.cells import Page, csv_line, decimals, page_of, plain, safe

steady = settings(deadline=None, max_examples=150, derandomize=True)


def cells(page: Page) -> list[list[str]]:
    return [record[0] for record in page.records]


class TestPageOf:
    @pytest.mark.parametrize("delimiter", [",", ";", "\t"])
    @pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
    @pytest.mark.parametrize("mark", ["", "\ufeff"])
    def test_cells_are_found_whatever_parts_them_and_ends_a_line(self, delimiter: str, end: str, mark: str) -> None:
        text = mark + end.join(["point,bs,is", "BM,1.5,", "A,,1.2"]).replace(",", delimiter) + end
        page = page_of(text)
        assert cells(page) == [["point", "bs", "is"], ["BM", "1.5", ""], ["A", "", "1.2"]]
        assert page.delimiter == delimiter

    @pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
    def test_a_last_line_without_its_end_is_a_row(self, end: str) -> None:
        assert cells(page_of(f"point,bs{end}A,1")) == [["point", "bs"], ["A", "1"]]

    def test_line_ends_may_be_mixed(self) -> None:
        assert cells(page_of("point,bs\r\nA,1\rB,2\nC,3")) == [["point", "bs"], ["A", "1"], ["B", "2"], ["C", "3"]]

    @pytest.mark.parametrize("delimiter", [",", ";", "\t"])
    def test_a_quoted_cell_may_hold_what_parts_cells(self, delimiter: str) -> None:
        text = delimiter.join(["point", "remarks"]) + "\n" + delimiter.join(["A", f'"wet{delimiter}cold"']) + "\n"
        assert cells(page_of(text))[1] == ["A", f"wet{delimiter}cold"]

    def test_what_stands_in_quotation_marks_in_a_heading_does_not_part_cells(self) -> None:
        assert page_of('point;bs;"remarks, kind, and, more"\nA;1;\n').delimiter == ";"

    def test_nor_does_what_stands_in_a_heading_that_runs_over_two_lines(self) -> None:
        page = page_of('point;bs;"remarks, kind,\nand, more";fs\nA;1;;2\n')
        assert cells(page) == [["point", "bs", "remarks, kind,\nand, more", "fs"], ["A", "1", "", "2"]]

    @pytest.mark.parametrize("inside", ["\n", "\r\n", "\r", "\n\n", "\n# no note\n", "\n   \n"])
    def test_line_breaks_blank_lines_and_hashes_in_quotation_marks_stay_in_the_cell(self, inside: str) -> None:
        page = page_of(f'point,remarks\nA,"wet{inside}cold"\nB,dry\n')
        assert cells(page) == [["point", "remarks"], ["A", f"wet{inside}cold"], ["B", "dry"]]

    @pytest.mark.parametrize("sign", ["\x0b", "\x0c", "\x1c", "\x85", "\u2028", "\u2029"])
    def test_other_signs_that_some_take_for_line_ends_are_part_of_a_cell(self, sign: str) -> None:
        assert cells(page_of(f"point,remarks\nA,wet{sign}cold\n"))[1] == ["A", f"wet{sign}cold"]

    def test_a_doubled_quotation_mark_is_one(self) -> None:
        assert cells(page_of('point,remarks\nA,"the ""old"" wall"\n'))[1] == ["A", 'the "old" wall']

    def test_inches_in_a_remark_without_quotation_marks_are_kept(self) -> None:
        assert cells(page_of('point,remarks\nA,2" pipe\nB,dry\n')) == [["point", "remarks"], ["A", '2" pipe'], ["B", "dry"]]

    def test_blank_lines_and_notes_are_no_rows(self) -> None:
        text = "\n  \n# booked in the rain\npoint,bs\n\nA,1\n   # indented note, with, commas\nB,2\n\n"
        assert cells(page_of(text)) == [["point", "bs"], ["A", "1"], ["B", "2"]]

    @pytest.mark.parametrize("note", ['# the "old" wall', '# 2" pipe', '# "', '# a "quote that never ends'])
    def test_quotation_marks_in_a_note_swallow_nothing(self, note: str) -> None:
        text = f"{note}\npoint,bs\n{note}\nA,1\n{note}\nB,2\n{note}"
        assert cells(page_of(text)) == [["point", "bs"], ["A", "1"], ["B", "2"]]

    def test_a_row_of_empty_cells_is_a_row(self) -> None:
        assert cells(page_of("point,bs\n,\nA,1\n"))[1] == ["", ""]
        assert cells(page_of("point\tbs\n\t\nA\t1\n"))[1] == ["", ""]

    def test_a_row_parted_by_tabs_whose_first_cell_is_empty_is_no_note(self) -> None:
        page = page_of("bs\tpoint\tis\n1.5\tBM\t\n\t#7\t1.2\n")
        assert cells(page) == [["bs", "point", "is"], ["1.5", "BM", ""], ["", "#7", "1.2"]]

    def test_a_name_in_quotation_marks_may_start_with_a_hash(self) -> None:
        assert cells(page_of('point,bs\n"#7",1\n')) == [["point", "bs"], ["#7", "1"]]

    @pytest.mark.parametrize("text", ["", "\n", "\ufeff", "\ufeff\n", "# only a note\n", "  \n\r\n"])
    def test_a_text_with_no_line_in_it_is_refused(self, text: str) -> None:
        with pytest.raises(SurveyError, match=r"The level book is empty\. It needs a line of headings"):
            page_of(text)

    @pytest.mark.parametrize("text", ['point,bs\n"A,1\nB,2\n', 'point,bs\nA,1\n"', '"point,bs\nA,1\n'])
    def test_a_quotation_mark_that_is_not_closed_is_refused_in_words(self, text: str) -> None:
        with pytest.raises(SurveyError, match="Look for a quotation mark that is not closed"):
            page_of(text)

    def test_the_lines_put_together_are_the_text(self) -> None:
        text = "# note\r\npoint,bs\n\nA,\"1\r2\"\rB,2"
        assert "".join(page_of(text).lines) == text


CELL = st.text(st.sampled_from('ab1 ,;\t"\n\r#=+-@\'.é'), max_size=6)
TABLES = st.integers(2, 4).flatmap(lambda wide: st.lists(st.lists(CELL, min_size=wide, max_size=wide), max_size=4).map(
    lambda rows: [[f"heading {place}" for place in range(wide)], *rows]))


def written(rows: list[list[str]], delimiter: str, end: str) -> list[str]:
    """Each row as the csv module writes it, everything quoted, so that no cell can be taken for a note or a blank line."""
    made = []
    for row in rows:
        out = io.StringIO()
        csv.writer(out, delimiter=delimiter, lineterminator=end, quoting=csv.QUOTE_ALL).writerow(row)
        made.append(out.getvalue())
    return made


class TestAgainstTheCsvModule:
    @steady
    @given(TABLES, st.sampled_from(["\n", "\r\n", "\r"]))
    def test_every_table_reads_as_csv_reads_it(self, rows: list[list[str]], end: str) -> None:
        assert cells(page_of("".join(written(rows, ",", end)))) == rows

    @steady
    @given(TABLES, st.sampled_from(["\n", "\r\n", "\r"]), st.data())
    def test_changing_one_cell_leaves_every_other_byte(
            self, rows: list[list[str]], end: str, data: st.DataObject) -> None:
        lines = written(rows, ",", end)
        notes = [data.draw(st.sampled_from(["", "# note, \"with\" marks" + end, end])) for _ in lines]
        at, column = data.draw(st.integers(0, len(rows) - 1)), data.draw(st.integers(0, len(rows[0]) - 1))
        value = data.draw(CELL)
        changed = page_of("".join(note + line for note, line in zip(notes, lines, strict=True))).with_cells({(at, column): value})
        before = "".join(note + line for note, line in zip(notes[:at], lines[:at], strict=True)) + notes[at]
        after = "".join(note + line for note, line in zip(notes[at + 1:], lines[at + 1:], strict=True))
        assert changed.startswith(before)
        assert changed.endswith(after)
        middle = changed[len(before):len(changed) - len(after)]
        (found,) = csv.reader(io.StringIO(middle, newline=""), strict=True)
        wanted = [*rows[at][:column], safe(value), *rows[at][column + 1:]]
        assert found == wanted

    @steady
    @given(TABLES, st.data())
    def test_what_is_written_into_a_cell_is_read_back(self, rows: list[list[str]], data: st.DataObject) -> None:
        at, column = data.draw(st.integers(1, len(rows))), data.draw(st.integers(0, len(rows[0]) - 1))
        value = data.draw(CELL)
        page = page_of(page_of("".join(written(rows, ",", "\n"))).with_cells({(at, column): value}))
        assert page.cell(at, column) == value
        assert len(page.records) == max(len(rows), at + 1)

    @steady
    @given(st.lists(CELL, min_size=2, max_size=5), st.sampled_from(",;\t"))
    def test_a_line_of_csv_is_one_record_again(self, row: list[str], delimiter: str) -> None:
        heading = delimiter.join(["h"] * len(row))
        assert cells(page_of(f"{heading}\n{csv_line(row, delimiter)}\n"))[1] == row


class TestWithCells:
    TEXT = "point;bs;is\r\nBM;1.5;\r\nA;;1.2\r\n# the end\r\n"

    def test_the_end_of_its_lines_is_kept(self) -> None:
        assert page_of(self.TEXT).with_cells({(2, 2): "1.25"}) == "point;bs;is\r\nBM;1.5;\r\nA;;1.25\r\n# the end\r\n"

    def test_a_row_below_the_last_is_added(self) -> None:
        assert page_of(self.TEXT).with_cells({(3, 0): "B"}) == self.TEXT + "B;;\r\n"

    @pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
    def test_a_row_is_added_below_a_line_without_its_end(self, end: str) -> None:
        assert page_of(f"point,bs{end}A,1").with_cells({(2, 0): "B"}) == f"point,bs{end}A,1{end}B,{end}"

    def test_a_text_of_headings_alone_gets_its_first_row(self) -> None:
        assert page_of("point,bs").with_cells({(1, 1): "1.5"}) == "point,bs\n,1.5\n"

    def test_a_short_row_is_filled_up_to_the_cell(self) -> None:
        assert page_of("point,bs,is,fs\nA\n").with_cells({(1, 2): "1.2"}) == "point,bs,is,fs\nA,,1.2,\n"

    def test_a_column_may_be_added_to_the_headings(self) -> None:
        assert page_of("point,bs\nA,1\n").with_cells({(0, 2): "rl"}) == "point,bs,rl\nA,1\n"

    def test_a_first_cell_that_starts_with_a_hash_does_not_become_a_note(self) -> None:
        page = page_of(page_of("point,bs\nA,1\n").with_cells({(1, 0): "#7"}))
        assert (page.cell(1, 0), page.cell(1, 1)) == ("#7", "1")

    def test_a_cell_that_runs_over_two_lines_is_replaced_whole(self) -> None:
        page = page_of('point,remarks\nA,"wet\nand cold"\nB,dry\n')
        assert page.with_cells({(1, 1): "fine"}) == "point,remarks\nA,fine\nB,dry\n"

    def test_a_cell_that_a_spreadsheet_would_run_is_written_safely_and_read_plainly(self) -> None:
        text = page_of("point,remarks\nA,\n").with_cells({(1, 1): "=1+1"})
        assert text == "point,remarks\nA,'=1+1\n"
        assert page_of(text).cell(1, 1) == "=1+1"

    def test_a_line_break_of_any_kind_in_a_cell_tears_no_row(self) -> None:
        for inside in ("\n", "\r\n", "\r"):
            page = page_of(page_of("point,remarks\nA,\nB,dry\n").with_cells({(1, 1): f"wet{inside}cold"}))
            assert cells(page) == [["point", "remarks"], ["A", f"wet{inside}cold"], ["B", "dry"]]

    def test_several_cells_are_changed_at_once_and_several_rows_added(self) -> None:
        page = page_of('point,remarks\n# a note\nA,"wet\nand cold"\n\nB,dry')
        assert page.with_cells({(1, 1): "fine", (2, 0): "C", (4, 0): "E", (3, 1): "new"}) == (
            "point,remarks\n# a note\nA,fine\n\nC,dry\n,new\nE,\n")

    def test_no_change_is_no_change(self) -> None:
        assert page_of(self.TEXT).with_cells({}) == self.TEXT

    def test_a_cell_beyond_the_end_is_empty(self) -> None:
        page = page_of("point,bs\nA\n")
        assert (page.cell(1, 1), page.cell(7, 0)) == ("", "")


TEXTS = st.text(max_size=8) | st.text(st.sampled_from("=+-@'\t\r＝＋－＠1.,a"), max_size=6)


class TestSafe:
    @steady
    @given(TEXTS)
    def test_plain_takes_away_what_safe_put_there(self, text: str) -> None:
        assert plain(safe(text)) == text

    @steady
    @given(TEXTS)
    def test_no_cell_starts_as_a_formula_does_unless_it_is_a_number(self, text: str) -> None:
        cell = safe(text)
        if cell.startswith(("=", "+", "-", "@", "\t", "\r")):
            digits = cell[1:].replace(",", ".")
            assert digits.isascii()
            assert set(digits) <= set("0123456789.")
            assert digits.count(".") <= 1
            assert float(digits) >= 0

    @pytest.mark.parametrize("text", ["-1.25", "+1.25", "-.5", "1.25", "-1,25", "-5."])
    def test_numbers_with_a_sign_stay_numbers(self, text: str) -> None:
        assert safe(text) == text

    @pytest.mark.parametrize("text", ["-1+1", "+1-2", "-A1", "-1.2.3", "-", "+", "-1\n", "-1 ", "-٣"])
    def test_what_only_begins_as_a_number_is_made_safe(self, text: str) -> None:
        assert safe(text) == "'" + text

    @pytest.mark.parametrize("text", ["", "A", "D'1", "1=1", "a+b", " =1"])
    def test_other_text_stays_as_it_is(self, text: str) -> None:
        assert safe(text) == text

    def test_an_apostrophe_that_was_typed_is_kept(self) -> None:
        assert plain(safe("'7")) == "'7"
        assert plain("'7") == "'7"  # in a file of one's own, where nothing was made safe


class TestMadeSafe:
    def test_only_what_a_spreadsheet_would_run_is_changed(self) -> None:
        text = "# =1\r\npoint,is,remarks\r\n=A,-1.25,\r\n\r\nB,  +1.5,@home\r\n'C,1,'7\r\n"
        assert page_of(text).made_safe() == text.replace("=A", "'=A").replace("@home", "'@home")

    @steady
    @given(TABLES)
    def test_made_safe_once_it_is_safe_and_says_the_same(self, rows: list[list[str]]) -> None:
        page = page_of("".join(written(rows, ",", "\n")))
        text = page.made_safe()
        again = page_of(text)
        assert [[plain(cell) for cell in row] for row in cells(again)] == [[plain(cell) for cell in row] for row in cells(page)]
        assert again.made_safe() == text

    @pytest.mark.parametrize("cell", ["-1.250", "-1.250 ", "+1.250 ", " -1.250", '"-1.250\t"', '"\t1.250"', "-1.250\u00a0"])
    def test_a_reading_stays_a_reading(self, cell: str) -> None:
        text = f"point,bs,is\nBM,1.5,\nA,,{cell}\nBM,,1.5\n"
        assert read_book(page_of(text).made_safe()).rows[1].is_ == read_book(text).rows[1].is_


class TestDecimals:
    @pytest.mark.parametrize(("texts", "digits"), [
        ([], 0), (["10"], 0), (["10."], 0), (["10.1"], 1), (["10.1", "9.250", "8"], 3), ([" 10.10 "], 2), (["-0.0001"], 4),
        ([".5"], 1), (["", "  "], 0), (["1.25 m"], 2), (["about 1.2"], 1)])
    def test_the_most_digits_that_any_shows(self, texts: list[str], digits: int) -> None:
        assert decimals(texts) == digits
