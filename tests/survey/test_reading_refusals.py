"""What a wrong level book gets: every fault at once, each with its row and point."""

from __future__ import annotations

import io
import math
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from sitelevels import SurveyError, read_book


def problems(source: object, **options: str) -> tuple[str, ...]:
    with pytest.raises(SurveyError) as caught:
        read_book(source, **options)  # type: ignore[arg-type]
    assert str(caught.value) == "\n".join(caught.value.problems)
    return caught.value.problems


HEAD = "point,bs,is,fs,x,y,rl\n"


@pytest.mark.parametrize(("text", "where", "what"), [
    ("bs,is\n1.5,\n", "The level book has no column 'point'", "headings found are bs, is"),
    ("point,is,fs\nA,1.5,\n", "The level book has no column 'bs'", "headings found are point, is, fs"),
    ("point,bs\nA,1.5\n", "The level book has neither a column 'is' nor a column 'fs'", "headings found"),
    ("point,reading,bs\nA,1.5,\n", "The level book has 'reading' beside bs", "Keep the one"),
    ("point,bs,is,bs\nA,1.5,,\n", "The columns 'bs' and 'bs' are both bs", "Rename"),
    ("point,B.S.,is,Backsight\nA,1.5,,\n", "The columns 'B.S.' and 'Backsight' are both bs", "Rename"),
    ("point,bs,is\n", "The level book has headings but no rows", ""),
    (HEAD + "BM,1.5,,,,,10\nA,,,,1,2,\n", "Row 2, point A: ", "no reading"),
    (HEAD + "BM,1.5,,,,,10\n,,1.2,,,,\n", "Row 2: ", "the point has no name"),
    (HEAD + "BM,1.5,,,,,10\nA,,1.2,1.3,,,\n", "Row 2, point A: ", "'is' and 'fs' cannot stand on one row"),
    (HEAD + "BM,1.5,1.2,,,,10\n", "Row 1, point BM: ", "'bs' and 'is' cannot stand on one row"),
    (HEAD + "BM,1.5,,,,,10\nA,1.1,1.2,1.3,,,\n", "Row 2, point A: ", "cannot stand on one row"),
    (HEAD + "BM,1.5,,,,,10\nA,,l.2,,,,\n", "Row 2, point A: ", "'is' holds 'l.2', which is not a number"),
    (HEAD + "BM,1.5,,,,,10\nA,,1.2m,,,,\n", "Row 2, point A: ", "'is' holds '1.2m', which is not a number"),
    (HEAD + "BM,1.5,,,,,10\nA,,nan,,,,\n", "Row 2, point A: ", "'is' holds 'nan', which is not a number"),
    (HEAD + "BM,1.5,,,,,inf\nA,,1.2,,,,\n", "Row 1, point BM: ", "'rl' holds 'inf', which is not a number"),
    (HEAD + "BM,1.5,,,,,10\nA,,1e2,,,,\n", "Row 2, point A: ", "'is' holds '1e2', which is not a number"),
    ("point;bs;is\nBM;1,5;\nA;;1.2\n", "Row 1, point BM: ", "Write 1.5"),
    (HEAD + "BM,1.5,,,,,10\nA,,1.2,,3,,\n", "Row 2, point A: ", "one of x and y without the other"),
    (HEAD + "BM,1.5,,,,,10\nA,,1.2,,,3,\n", "Row 2, point A: ", "one of x and y without the other"),
    (HEAD + "BM,1.5,,,,,10\nA,,1.2,,1,1,\nA,,1.2,,2,1,\n", "Rows 2 and 3, point A: ", "at two places, x 1 y 1 and x 2 y 1"),
    (HEAD + "BM,1.5,,,,,10\nA,,1.2,,,,\nBM,,,1.5,,,11\n", "Rows 1 and 3, point BM: ", "two known levels, 10.000 m and 11.000 m"),
    (HEAD + "A,,1.2,,,,\nBM,1.5,,,,,10\n", "Row 1, point A: ", "read before any backsight"),
    (HEAD + "BM,1.5,,,,,10\nA,,,1.2,,,\nB,,1.2,,,,\nC,,1.2,,,,\n", "Row 3, point B: ", "after the foresight of row 2"),
    (HEAD + "BM,1.5,,,,,10\nA,,1.2,,,,,note, more\n", "Row 2, point A: ", "more cells than headings"),
    ("point,bs,is,sight\nBM,1.5,,long\n", "Row 1, point BM: ", "'sight' holds 'long', which is not a number"),
    ("point,bs,is,sight\nBM,1.5,,-3\n", "Row 1, point BM: ", "'sight' holds '-3'"),
    ("point,bs,is,sight\nBM,1.5,,1/2/3\n", "Row 1, point BM: ", "'sight' holds '1/2/3'"),
    ("point,bs,is,feature\nBM,1.5,,\nP,,,instrument\n", "Row 2, point P: ", "the instrument has no x and y"),
    ('point,bs,is,remarks\nBM,1.5,,"not closed\nA,,1.2,\n', "The text is not a table", "quotation mark that is not closed"),
    ("# nothing but a note\n\n", "The level book is empty", "point,bs,is,fs"),
    ("\n", "The level book is empty", ""),
])
def test_a_fault_is_told_once_with_its_place(text: str, where: str, what: str) -> None:
    told = problems(text)
    assert len(told) == 1
    assert told[0].startswith(where)
    assert what in told[0]


def test_every_fault_of_a_book_is_told_at_once_each_with_its_own_row() -> None:
    told = problems(HEAD + "BM,1.5,,,,,10\nA,,l.2,,,,\nB,1.3,1.2,,,,\nC,,,,,,\n,,1.1,,,,\nD,,1.0,,5,,\nE,,1.0,,1,1,\n"
                           "E,,1.0,,9,1,\nBM,,,1.5,,,11\n")
    assert len(told) == 7
    for number, row in enumerate(["Row 2, point A", "Row 5", "Row 3, point B", "Row 4, point C", "Row 6, point D",
                                  "Rows 7 and 8, point E", "Rows 1 and 9, point BM"]):
        assert sum(problem.startswith(row + ":") for problem in told) == 1, (number, row, told)


def test_two_faulty_cells_of_one_row_are_both_told() -> None:
    told = problems(HEAD + "BM,l.5,,,,,1O\n")
    assert [("'bs' holds" in problem, "'rl' holds" in problem) for problem in told] == [(True, False), (False, True)]


def test_a_backsight_that_cannot_be_read_does_not_make_the_next_row_wrong() -> None:
    told = problems(HEAD + "BM,l.5,,,,,10\nA,,1.2,,,,\nB,,,1.3,,,\n")
    assert [problem.split(":")[0] for problem in told] == ["Row 1, point BM"]


@pytest.mark.parametrize("text", ["", "no such file.csv", "point,bs,is"])
def test_a_missing_file_is_named(text: str) -> None:
    told = problems(text)
    assert told[0].startswith(f"There is no level book to read at {text!r}")


def test_a_folder_is_not_a_level_book(tmp_path: Path) -> None:
    assert "no level book to read" in problems(tmp_path)[0]


@pytest.mark.parametrize("content", [bytes(range(256)), "point,bs\nBäume,1\n".encode("latin-1"),
                                     "point,bs\n".encode("utf-16") + b"x"])
def test_a_file_that_is_not_plain_text_is_refused_by_name(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "survey.xls"
    path.write_bytes(content)
    assert problems(path)[0].startswith("The file survey.xls is not plain text")


def test_an_empty_file_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "survey.csv"
    path.write_bytes(b"")
    assert problems(path)[0].startswith("The level book is empty")


@pytest.mark.parametrize("source", [None, 7, io.BytesIO(b"point,bs,is\nBM,1.5,\n"), [["point", "bs"], ["A", 1.5]]],
                         ids=["None", "number", "bytes", "list"])
def test_a_source_of_another_kind_is_refused_in_words(source: object) -> None:
    assert problems(source)


@pytest.mark.parametrize("value", [math.inf, -math.inf, True, np.True_, "1.2 m", 1 + 2j, pd.Timestamp("2020-01-01"), [1.2], 1e9])
@pytest.mark.parametrize("column", ["is", "rl"])
def test_a_table_cell_that_is_no_finite_number_is_refused(value: object, column: str) -> None:
    cells: dict[str, list[object]] = {"point": ["BM", "A"], "bs": [1.5, None], "is": [None, 1.2], "rl": [10.0, None]}
    cells[column][1] = value
    told = problems(pd.DataFrame({name: pd.Series(column_cells, dtype=object) for name, column_cells in cells.items()}))
    assert told[0].startswith(f"Row 2, point A: {column!r} holds")


@pytest.mark.parametrize("empty", [math.nan, None, pd.NA, "", "  "])
def test_an_empty_cell_where_a_reading_must_be_is_refused(empty: object) -> None:
    frame = pd.DataFrame({"point": ["BM", "A"], "bs": [1.5, None], "is": pd.Series([None, empty], dtype=object)})
    assert problems(frame)[0].startswith("Row 2, point A: there is no reading")


def test_a_number_too_long_to_be_one_is_refused() -> None:
    assert "Row 2, point A" in problems("point,bs,is\nBM,1.5,\nA,," + "9" * 400 + "\n")[0]


@pytest.mark.parametrize("unit", ["yd", "", "M", "metre", "inch"])
def test_an_unknown_unit_is_refused_with_those_that_are_known(unit: str) -> None:
    assert problems(HEAD + "BM,1.5,,,,,10\n", unit=unit) == (f"The unit {unit!r} is not known. It can be m, cm, mm, ft.",)


def test_two_places_on_a_national_grid_are_told_to_the_millimetre() -> None:
    told = problems("point,bs,is,x,y\nBM,1.5,,,\nA,,1.2,450000.25,6200000.5\nA,,1.2,450001.75,6200000.5\n")
    assert "450000.25" in told[0]
    assert "6200000.5" in told[0]


def test_a_point_that_no_row_has_cannot_be_called_a_level() -> None:
    book = read_book("point,bs,is\nBM,1.5,\nA,,1.2\n")
    with pytest.raises(SurveyError, match="'Z'"):
        book.with_known("Z", 10.0)


@pytest.mark.parametrize("level", [math.nan, math.inf])
def test_a_level_that_is_no_number_cannot_be_called(level: float) -> None:
    book = read_book("point,bs,is\nBM,1.5,\nA,,1.2\n")
    with pytest.raises(SurveyError):
        book.with_known("BM", level)
