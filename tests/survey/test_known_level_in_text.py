"""A known level written into the text of a level book, as a form does it."""

from __future__ import annotations

import warnings

import pytest

from sitelevels import SurveyError, SurveyWarning, read_book
from sitelevels.survey.reading import with_known_level

TEXT = "# yard\npoint,bs,is,remarks\nBM,1.500,,\"wet, cold\"\n\nA,,1.250,\nBM,,1.500,again\n"


def test_it_stands_on_the_first_row_of_the_point_and_the_rest_is_untouched() -> None:
    written = with_known_level(TEXT, "BM", 10.0)
    assert read_book(written).known == {"BM": 10.0}
    assert [row.rl for row in read_book(written).rows] == [10.0, None, None]
    assert read_book(written).rows[0].remarks == "wet, cold"
    assert [line for line in written.splitlines() if not line.startswith(("point", "BM,1.500"))] == [
        "# yard", "", "A,,1.250,", "BM,,1.500,again"]


def test_an_older_level_on_that_row_is_replaced() -> None:
    assert read_book(with_known_level("point;bs;is;rl\nBM;1.5;;9.9\nA;;1.2;\n", "BM", 10.5)).known == {"BM": 10.5}


@pytest.mark.parametrize(("level", "unit", "written"), [
    (10.1234, "m", "10.1234"), (123.4567, "m", "123.4567"), (1234.567, "m", "1234.567"), (123.4567, "mm", "123456.7"),
    (1234.567, "mm", "1234567"), (-0.00005, "m", "-0.00005"), (30.48, "ft", "100"), (10, "cm", "1000")])
def test_no_digit_of_the_level_is_lost(level: float, unit: str, written: str) -> None:
    """In the unit of the book: 30.48 m are 100 ft by the international foot of 0.3048 m."""
    text = with_known_level("point,bs,is\nBM,1,\nA,,2\nBM,,1\n", "BM", level, unit=unit)
    assert text.splitlines()[1] == f"BM,1,,{written}"
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", SurveyWarning)
        assert read_book(text, unit=unit).known["BM"] == level


def test_a_heading_with_a_unit_is_heeded() -> None:
    text = with_known_level("point,bs,is,rl (mm)\nBM,1.5,,\nBM,,1.5,\n", "BM", 10.0)
    assert text.splitlines()[1] == "BM,1.5,,10000"


def test_a_remark_that_runs_over_two_lines_is_not_torn() -> None:
    text = 'point,bs,is,remarks\nBM,1.5,,"wet\nand cold"\nA,,1.2,\n'
    assert [row.remarks for row in read_book(text).rows] == ["wet\nand cold", ""]
    written = read_book(with_known_level(text, "BM", 10.0))
    assert written.known == {"BM": 10.0}
    assert [row.remarks for row in written.rows] == ["wet\nand cold", ""]


@pytest.mark.parametrize("level", [float("nan"), float("inf")])
def test_a_level_that_is_no_number_is_not_written(level: float) -> None:
    with pytest.raises(SurveyError):
        with_known_level(TEXT, "BM", level)


def test_a_point_that_was_not_read_is_refused() -> None:
    with pytest.raises(SurveyError, match="'Z'"):
        with_known_level(TEXT, "Z", 10.0)


@pytest.mark.parametrize("text", ["", "bs,is\n1,2\n"])
def test_a_text_that_is_no_level_book_is_refused(text: str) -> None:
    with pytest.raises(SurveyError):
        with_known_level(text, "BM", 10.0)
