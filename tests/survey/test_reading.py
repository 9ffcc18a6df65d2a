"""Files, text and tables into level books."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from sitelevels import LevelBook, SurveyWarning, read_book, reduce_book

BOOK = "point,bs,is,fs,rl\nBM,1.500,,,10.000\nA,,1.250,,\nB,,,1.750,\n"


def readings(book: LevelBook) -> list[tuple[str, float | None, float | None, float | None]]:
    return [(row.point, row.bs, row.is_, row.fs) for row in book.rows]


EXPECTED = [("BM", 1.5, None, None), ("A", None, 1.25, None), ("B", None, None, 1.75)]


@pytest.mark.parametrize("text", [
    BOOK,
    BOOK.replace(",", ";"),
    BOOK.replace(",", "\t"),
    BOOK.replace("\n", "\r\n"),
    "\ufeff" + BOOK,
    "# booked in the rain\n\n" + BOOK + "\n# the end\n",
    BOOK.replace("point,bs,is,fs,rl", " Point, BS , IS,Fs,RL"),
    BOOK.replace("1.750,\n", "1.750\n"),  # a short row: the cells left out are empty
    BOOK.replace("A,,1.250", '"A",,"1.250"'),
])
def test_a_book_reads_the_same_however_its_cells_are_parted(text: str) -> None:
    book = read_book(text)
    assert readings(book) == EXPECTED
    assert book.known == {"BM": 10.0}
    assert [row.number for row in book.rows] == [1, 2, 3]


def test_path_name_file_and_table_give_the_same_book(tmp_path: Path) -> None:
    path = tmp_path / "survey.csv"
    path.write_text(BOOK, encoding="utf-8")
    frame = pd.DataFrame({"point": ["BM", "A", "B"], "bs": [1.5, np.nan, np.nan], "is": [np.nan, 1.25, np.nan],
                          "fs": [np.nan, np.nan, 1.75], "rl": [10.0, np.nan, np.nan]})
    for source in (path, str(path), io.StringIO(BOOK), frame):
        assert readings(read_book(source)) == EXPECTED
    assert read_book(path).source == "survey.csv"


def test_a_table_is_left_as_it_was() -> None:
    frame = pd.DataFrame({"point": ["BM", "A"], "bs": [1.5, np.nan], "is": [np.nan, 1.25], "rl": [10.0, np.nan]})
    before = frame.copy()
    read_book(frame)
    pd.testing.assert_frame_equal(frame, before)


def test_names_that_are_numbers_stay_as_they_were_booked() -> None:
    frame = pd.DataFrame({"point": [1.0, 2.0], "bs": [1.5, np.nan], "is": [np.nan, 1.25]})
    assert [row.point for row in read_book(frame).rows] == ["1", "2"]
    assert [row.point for row in read_book("point,bs,is\n007,1.5,\n7,,1.2\n").rows] == ["007", "7"]


UNITS = {
    "m": "point,bs,is,fs,x,y,rl,hand_level,sight\nBM,1.524,,,3.048,6.096,9.144,,15.24\nA,,-0.6096,,0,0,,11.2776,3.048\n",
    "cm": "point,bs,is,fs,x,y,rl,hand_level,sight\nBM,152.4,,,304.8,609.6,914.4,,1524\nA,,-60.96,,0,0,,1127.76,304.8\n",
    "mm": "point,bs,is,fs,x,y,rl,hand_level,sight\nBM,1524,,,3048,6096,9144,,15240\nA,,-609.6,,0,0,,11277.6,3048\n",
    "ft": "point,bs,is,fs,x,y,rl,hand_level,sight\nBM,5,,,10,20,30,,50\nA,,-2,,0,0,,37,10\n",
}
"""One book in four units, by the international foot of 0.3048 m exactly (International Yard and Pound Agreement, 1959)."""


@pytest.mark.filterwarnings("ignore:.*on the ground:sitelevels.SurveyWarning")
@pytest.mark.parametrize("unit", UNITS)
def test_every_unit_gives_the_same_metres(unit: str) -> None:
    book = read_book(UNITS[unit], unit=unit)
    first, second = book.rows
    found = (first.bs, first.x, first.y, first.rl, first.sight_back)
    assert found == pytest.approx((1.524, 3.048, 6.096, 9.144, 15.24), abs=1e-9)
    assert (second.is_, second.hand_level, second.sight) == pytest.approx((-0.6096, 11.2776, 3.048), abs=1e-9)
    reduced = reduce_book(book)
    assert reduced.level("A") == pytest.approx(9.144 + 1.524 + 0.6096, abs=1e-9)
    assert reduced.hand_slip is None


def test_a_minus_of_either_kind_is_a_staff_held_upside_down() -> None:
    book = read_book("point,bs,is\nBM,−1.5,\nA,,-1.25\n")
    assert (book.rows[0].bs, book.rows[1].is_) == (-1.5, -1.25)


def test_plus_sign_and_bare_point_are_numbers() -> None:
    assert readings(read_book("point,bs,is\nBM,+1.5,\nA,,.25\n"))[1] == ("A", None, 0.25, None)


def test_a_sight_is_one_length_or_forward_and_back() -> None:
    book = read_book("point,bs,fs,sight\nBM,1.5,,20\nTP,1.4,1.2,30 / 10\nA,,1.1,25\n")
    assert [(row.sight, row.sight_back) for row in book.rows] == [(20, 20), (30, 10), (25, 25)]


class TestPlainList:
    def test_the_first_reading_is_the_backsight_and_the_last_on_its_point_the_check(self) -> None:
        book = read_book("point,reading\nBM,1.500\nA,1.250\nB,1.750\nBM,1.501\n")
        assert readings(book) == [("BM", 1.5, None, None), ("A", None, 1.25, None), ("B", None, 1.75, None),
                                  ("BM", None, None, 1.501)]

    def test_without_a_check_the_last_is_a_shot_like_any_other(self) -> None:
        assert readings(read_book("point,reading\nBM,1.500\nA,1.250\n"))[1] == ("A", None, 1.25, None)

    def test_it_reduces_from_the_level_called(self) -> None:
        reduced = reduce_book(read_book("point,reading\nBM,1.500\nA,1.250\nBM,1.501\n").with_known("BM", 10.0))
        assert reduced.level("A") == pytest.approx(10.0 + (1.500 + 1.501) / 2 - 1.250, abs=1e-9)  # backsight and check meaned
        assert reduced.misclosure == pytest.approx(-0.001, abs=1e-9)

    def test_a_known_level_may_stand_on_any_row(self) -> None:
        reduced = reduce_book(read_book("point,reading,rl\nA,1.250,\nB,1.750,\nBM,1.500,10.000\n"))
        assert [reduced.level(point) for point in "AB"] == pytest.approx([10.25, 9.75], abs=1e-9)


def test_a_row_for_the_instrument_needs_no_reading() -> None:
    book = read_book("point,bs,is,x,y,feature\nBM,1.5,,,,\nP1,,,3,4,instrument\nA,,1.2,,,ground\n")
    assert (book.rows[1].x, book.rows[1].y) == (3.0, 4.0)
    assert reduce_book(book.with_known("BM", 10.0)).table["point"].tolist() == ["BM", "A"]


class TestDoubts:
    @pytest.mark.parametrize(("text", "unit", "said"), [
        ("point,bs,is\nBM,1.5,\nA,,5.2\nBM,,1.5\n", "m", "Row 2, point A: 'is' is 5.200 m, longer than a 5 m staff"),
        ("point,bs,is\nBM,1500,\nBM,,1.5\n", "m", "Row 1, point BM: 'bs' is 1500.000 m"),
        ("point,bs,is\nBM,1.5,\nBM,,1500\n", "m", "Row 2, point BM: 'is' is 1500.000 m"),
        ("point,bs,is\nBM,1500,\nA,,1.452\nBM,,1500\n", "mm", "Row 2, point A: 'is' is 1.5 mm. Is the unit right? In m it would "
                                                              "be 1.452 m"),
        ("point,bs,is\nBM,1.5,\nA,,-5.2\nBM,,1.5\n", "m", "Row 2, point A: 'is' is -5.200 m"),
        ("point,bs,is,feature\nBM,1.5,,benchmark\nA,,1.2,gravel\nBM,,1.5,\n", "m",
         "Row 2, point A: the feature 'gravel' is not known"),
        ("point,bs,is,colour\nBM,1.5,,red\nBM,,1.5,\n", "m", "The column 'colour'"),
    ])
    def test_what_is_possible_but_doubtful_is_questioned_and_kept(self, text: str, unit: str, said: str) -> None:
        with pytest.warns(SurveyWarning) as warned:
            book = read_book(text, unit=unit)
        assert len(warned) == 1
        assert str(warned[0].message).startswith(said)
        assert book.doubts == (str(warned[0].message),)
        assert warned[0].filename == __file__

    def test_a_staff_of_exactly_five_metres_is_not_questioned(self) -> None:
        assert read_book("point,bs,is\nBM,5,\nA,,-5\nBM,,5\n").doubts == ()


class TestTheBookItself:
    def test_its_table_has_every_column_and_a_new_one_each_time(self) -> None:
        book = read_book(BOOK)
        table = book.table
        table.loc[1, "bs"] = 99.0
        assert list(book.table.columns) == ["point", "feature", "x", "y", "bs", "is", "fs", "rl", "hand_level", "sight", "wall",
                                            "remarks"]
        assert book.table.loc[1, "bs"] == 1.5
        assert book.table.index.tolist() == [1, 2, 3]

    def test_calling_a_point_a_level_leaves_the_first_book_alone(self) -> None:
        book = read_book("point,bs,is\nBM,1.5,\nA,,1.2\n")
        assert book.with_known("A", 20.0).known == {"A": 20.0}
        assert book.known == {}

    def test_what_it_shows_in_a_notebook_is_escaped(self) -> None:
        shown = read_book("point,bs,is,remarks\nBM,1.5,,<b>wet</b>\nBM,,1.5,\n")._repr_html_()
        assert "<b>wet" not in shown
        assert "&lt;b&gt;wet" in shown
