"""Whatever is thrown at it, a level book is read or refused in words: no traceback, no level that is no number."""

from __future__ import annotations

import math
import os
import tempfile
import time
import warnings
from collections.abc import Iterator
from decimal import Decimal
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from sitelevels import ALLOWANCES, LevelBook, SurveyError, SurveyWarning, read_book, reduce_book, suspect_slips


def examples(number: int) -> settings:
    return settings(deadline=None, max_examples=number, derandomize=True,
                    suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture])


UNITS = st.sampled_from(["m", "cm", "mm", "ft"])
WAYS = [(adjust, allowable) for adjust in ("setups", "distance", None) for allowable in (None, 0, 0.001, 1e6, *ALLOWANCES)]


@pytest.fixture(scope="module")
def folder() -> Iterator[Path]:
    with tempfile.TemporaryDirectory() as place:
        yield Path(place)


def in_words(error: SurveyError, rows: int | None) -> None:
    """A refusal has sentences with an end, and parts whose rows are rows of the book."""
    assert error.problems
    assert [part.problems for part in error.parts] == [(problem,) for problem in error.problems]
    for problem in error.problems:
        assert problem.strip()
        assert problem.endswith((".", "?", "!")), problem
    for part in error.parts:
        assert isinstance(part.row, int)
        assert 0 <= part.row <= (part.row if rows is None else rows), part.row


def read(source: Any, unit: str, rows: int | None = None) -> LevelBook | None:
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        warnings.simplefilter("ignore", SurveyWarning)
        try:
            book = read_book(source, unit=unit)
        except SurveyError as error:
            in_words(error, rows)
            return None
    for doubt in book.doubts:
        assert doubt.endswith((".", "?", "!")), doubt
    for row in book.rows:
        assert row.point
        for value in (row.bs, row.is_, row.fs, row.x, row.y, row.rl, row.hand_level, row.sight, row.sight_back):
            assert value is None or math.isfinite(value)
    assert len(book.understood) == len(book.columns)
    assert book.known_words.endswith(".")
    return book


def worked_through(book: LevelBook, ways: list[tuple[Any, Any]]) -> None:
    """Everything that can be asked of a book that was read."""
    last = max(row.number for row in book.rows)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        warnings.simplefilter("ignore", SurveyWarning)
        assert read_book(book.text).rows == book.rows
        if not book.known:
            book = book.with_known(next(row.point for row in book.rows if row.readings()), 10.0) if any(
                row.readings() for row in book.rows) else book
        for adjust, allowable in ways:
            try:
                reduced = reduce_book(book, adjust=adjust, allowable=allowable)
            except SurveyError as error:
                in_words(error, last)
                continue
            table = reduced.table
            assert np.isfinite(table[["level", "adjusted_level"]].to_numpy(float)).all()
            assert np.isfinite(table["hpc"].dropna().to_numpy(float)).all()
            assert np.isfinite(reduced.closures[["misclosure", "allowable"]].to_numpy(float)).all()
            assert reduced.arithmetic["agrees"].all()
            for sentence in (reduced.closing, *reduced.doubts, *reduced.steadiness):
                assert sentence.endswith((".", "?", "!")), sentence
            try:
                assert np.isfinite(reduced.spots()[["level", "spread"]].to_numpy(float)).all()
            except SurveyError as error:
                in_words(error, last)
            assert reduced._repr_html_()
        try:
            found = suspect_slips(book)
        except SurveyError as error:
            in_words(error, last)
        else:
            assert all(sentence.endswith((".", "?", "!")) for sentence in found.words)
            assert np.isfinite(found.table[["booked", "corrected", "leaves"]].to_numpy(float)).all()


class TestRaw:
    @examples(200)
    @given(st.binary(max_size=200) | st.binary(max_size=80).map(lambda more: b"point,bs,is,rl\nBM,1.5,,10\n" + more), UNITS)
    def test_bytes_in_a_file(self, folder: Path, content: bytes, unit: str) -> None:
        path = folder / "survey.csv"
        path.write_bytes(content)
        if book := read(path, unit):
            worked_through(book, WAYS[:1])

    @examples(200)
    @given(st.text(max_size=200) | st.text(st.sampled_from('point,bsifrl;\t"\'\n\r#0123456789.-+=@ \ufeff'), max_size=120).map(
        lambda more: "point,bs,is,rl\nBM,1.5,,10\n" + more), UNITS)
    def test_text(self, text: str, unit: str) -> None:
        if book := read(text + "\n", unit):
            worked_through(book, WAYS[:1])

    @examples(50)
    @given(st.text(max_size=30).filter(lambda text: "\n" not in text and "\r" not in text and not os.path.exists(text)), UNITS)
    def test_a_name_of_no_file(self, name: str, unit: str) -> None:
        with pytest.raises(SurveyError) as caught:
            read_book(name, unit=unit)
        in_words(caught.value, 0)


HEADINGS = [
    "point", "Peg", "Stn.", "bs", "Backsight", "b.s.", "BS (mm)", "is", "Inter.", "IS [ft]", "fs", "Fore sight", "fs, m",
    "reading",
    "Staff (cm)", "up", "Down (mm)", "x", "y", "Easting", "N", "x (mm)", "feature", "rl", "Level (m)", "RL (ft)", "hand_level",
    "Worked level", "sight", "Length of sight", "wall", "remarks", "Notes", "Rise", "Fall", "HPC", "HPC (m)", "", " ", "colour",
    "bs (inch)", "(m)", "m", "point (m)", "[", "bs (", "1.5", "#", "İs", "ＢＳ", "'bs", "=bs"]
NUMBERS = ["1.5", "1.25", "0.9", "10", "10.25", "-1.1", "−0.7", "1500", "1452", "0", "0.000", "3.25", "20", ".5", "5."]
NEARLY = [
    "1,5", "1,412", "l.5", "1.5m", "1.5 m", "1e3", "1e400", "nan", "inf", "-inf", "--1", "1.2.3", "1 5", "20 / 10", "20/", "/",
    "1/2/3", "-5 / 3", "0x10", "1_0", "٣", "½", "²", "9" * 400, "1" * 7, "-", "+", "0.0000000001", "1234567.12345678901", "-0",
    "+1.5 ", "-1.5 "]
NAMES = ["BM", "A", "B", "C", "TP", "TBM 1", "moved", "the laser moved", "line", "Line", "007", "7", "peg\u202e7", "<b>",
         "x" * 300]
JUNK = ["", "", "", " ", "\u00a0", "'", '"', ",", "\n", "#", "benchmark", "dpc", "ground", "instrument", "line", "gravel",
        "upside down", "None", "\x00", "\x1b[31m", "\u2028", "\ufeff", "'=1", "=1+1", "👷", "True"]
CELLS = st.one_of(st.sampled_from(NUMBERS), st.sampled_from(NUMBERS), st.sampled_from(NEARLY), st.sampled_from(NAMES),
                  st.sampled_from(JUNK), st.text(max_size=4))


def quoted(cell: str) -> str:
    return '"' + cell.replace('"', '""') + '"'


@st.composite
def wild(draw: st.DrawFn) -> tuple[list[str], list[list[str]]]:
    """Any headings over any cells."""
    heads = draw(st.lists(st.sampled_from(HEADINGS), min_size=1, max_size=7))
    rows = draw(st.lists(st.lists(CELLS, min_size=0, max_size=len(heads) + 1), max_size=6))
    return heads, rows


@st.composite
def likely(draw: st.DrawFn) -> tuple[list[str], list[list[str]]]:
    """Tables that are nearly books: a name and one reading on most rows, and now and then a cell of something else."""
    plain = draw(st.booleans())
    kinds = ["reading", "up"] if plain else ["bs", "is", "fs", "up", "down"]
    heads = ["point", *kinds, "rl", "hand_level", "x", "y", "feature", "sight", "remarks"]
    rows = []
    for number in range(draw(st.integers(1, 10))):
        row = dict.fromkeys(heads, "")
        row["point"] = draw(st.sampled_from(NAMES[:6] + NAMES[:6] + NAMES))
        kind = draw(st.sampled_from(["is", "is", "is", "bs", "bs", "up", "down", "both"]))
        first = "reading" if plain else "bs" if number == 0 else kind
        number_of = st.sampled_from(NUMBERS)
        row |= {"bs": draw(number_of), "fs": draw(number_of)} if first == "both" else {first: draw(number_of)}
        row["rl"] = {"BM": "10", "TP": "10.25"}.get(row["point"], "") if number else {"TP": "10.25"}.get(row["point"], "10")
        row["hand_level"] = draw(st.sampled_from(["", "", "10.25", "9.9"]))
        row["sight"] = draw(st.sampled_from(["20", "20", "0", "", "20 / 10", "5/"]))
        row["feature"] = draw(st.sampled_from(["", "", "dpc", "benchmark", "line", "instrument", "gravel"]))
        if draw(st.booleans()):
            row["x"], row["y"] = str(len(row["point"])), str(ord(row["point"][0]))
        if draw(st.integers(0, 12)) == 0:
            row[draw(st.sampled_from(heads))] = draw(CELLS)
        rows.append([row[head] for head in heads])
    return heads, rows


def text_of(table: tuple[list[str], list[list[str]]], delimiter: str = ",", end: str = "\n") -> str:
    heads, rows = table
    return end.join(delimiter.join(map(quoted, row)) for row in [heads, *rows]) + end


class TestTables:
    @examples(250)
    @given(wild(), UNITS, st.sampled_from(",;\t"), st.sampled_from(["\n", "\r\n", "\r"]))
    def test_any_headings_over_any_cells(self, table: tuple[list[str], list[list[str]]], unit: str, delimiter: str,
                                         end: str) -> None:
        if book := read(text_of(table, delimiter, end), unit, len(table[1])):
            worked_through(book, WAYS[:1])

    def test_tables_that_are_nearly_books(self) -> None:
        came_through = []

        @examples(200)
        @given(likely(), UNITS)
        def each(table: tuple[list[str], list[list[str]]], unit: str) -> None:
            text = text_of(table)
            if book := read(text, unit, len(table[1])):
                worked_through(book, [WAYS[0], WAYS[len(text) % len(WAYS)]])
                came_through.append(len(book.rows))
        each()
        assert len(came_through) > 50
        assert max(came_through) > 3

    @examples(15)
    @given(likely())
    def test_every_adjustment_with_every_allowance(self, table: tuple[list[str], list[list[str]]]) -> None:
        if book := read(text_of(table), "m", len(table[1])):
            worked_through(book, WAYS)


OBJECTS: list[Any] = [
    None, math.nan, pd.NA, pd.NaT, True, np.True_, 1, 1.5, -0.0, np.float32(1.5), np.int8(3), Decimal("1.5"), Decimal("NaN"),
    Decimal("sNaN"), Fraction(3, 2), 1 + 2j, math.inf, 10**400, "1.5", "BM", "", b"1.5", [1.5], (), {}, {1}, object,
    np.array([1.5, 2.5]), np.array([]), pd.Timestamp("2020-01-01"), pd.Series([1.5]), pd.Interval(0, 1), 1e-320, 1.23456789e-9,
    lambda: 1, range(3), np.datetime64("NaT", "s"), np.timedelta64(1, "s"),  # numpy 2.5 asks for a unit
    "\ud800", float]
COLUMNS: list[Any] = [
    "point", "bs", "is", "fs", "rl", "reading", "x", "y", "sight", "feature", "remarks", "hand_level", 0, 1.5, None,
    ("bs", "m"), ("point",), pd.NaT, math.nan, b"bs", True, "\ud800", pd.Timestamp("2020-01-01")]


class TestDataFrames:
    @examples(200)
    @given(st.lists(st.sampled_from(COLUMNS), min_size=0, max_size=7), st.data(), UNITS)
    def test_any_columns_of_any_objects(self, names: list[Any], data: st.DataObject, unit: str) -> None:
        rows = data.draw(st.integers(0, 4))
        frame = pd.DataFrame(np.empty((rows, len(names)), dtype=object))
        for place in range(len(names)):
            for row in range(rows):
                frame.iat[row, place] = data.draw(st.sampled_from(OBJECTS))
        columns = np.empty(len(names), dtype=object)
        columns[:] = names
        frame.columns = pd.Index(columns, dtype=object, tupleize_cols=False)
        if book := read(frame, unit, rows):
            worked_through(book, WAYS[:1])

    @pytest.mark.parametrize("value", OBJECTS, ids=lambda value: type(value).__name__)
    @pytest.mark.parametrize("column", ["point", "bs", "is", "rl", "sight", "feature", "remarks", "x"])
    def test_one_odd_object_in_a_good_book(self, value: Any, column: str) -> None:
        cells: dict[str, list[Any]] = {"point": ["BM", "A", "BM"], "bs": [1.5, None, None], "is": [None, 1.25, 1.5],
                                       "rl": [10.0, None, None], "sight": [20, 20, 20], "feature": ["", "", ""],
                                       "remarks": ["", "", ""], "x": [None, 1, None], "y": [None, 1, None]}
        cells[column][1] = value
        frame = pd.DataFrame({name: pd.Series(held, dtype=object) for name, held in cells.items()})
        if book := read(frame, "m", 3):
            worked_through(book, WAYS[:1])

    @pytest.mark.parametrize("dtype", ["float32", "Float64", "Int64", "string", "category", "object", "complex", "bool",
                                       "datetime64[ns]", "timedelta64[ns]", "int8"])
    def test_columns_of_any_dtype(self, dtype: str) -> None:
        frame = pd.DataFrame({"point": ["BM", "A"], "bs": [1.5, None], "is": pd.Series([2, 1]).astype(dtype)})
        if book := read(frame.assign(point=frame["point"].astype("category")), "m", 2):
            worked_through(book, WAYS[:1])

    @pytest.mark.parametrize("frame", [
        pd.DataFrame(), pd.DataFrame({"point": []}), pd.DataFrame(index=range(3)), pd.DataFrame(np.zeros((2, 4))),
        pd.DataFrame([["BM", 1.5, 1.5]], columns=["point", "bs", "bs"]),
        pd.DataFrame({("point", "a"): ["BM"], ("bs", "m"): [1.5]}),
        pd.DataFrame({"point": ["BM"], "bs": [1.5], "is": [None]}, index=["x"]).T], ids=range(7))
    def test_tables_of_an_odd_shape(self, frame: pd.DataFrame) -> None:
        with pytest.raises(SurveyError) as caught:
            read_book(frame)
        in_words(caught.value, len(frame))


@pytest.mark.filterwarnings("ignore::sitelevels.SurveyWarning")
@pytest.mark.parametrize("setups", [1, 2_000])
def test_a_hundred_thousand_rows_are_read_and_reduced_in_a_few_seconds(setups: int, capsys: pytest.CaptureFixture[str]) -> None:
    shots = 100_000 // setups - 2
    lines = ["point,bs,is,fs,x,y,rl,remarks", "BM,1.500,,,,,10.000,"]
    for number in range(setups):
        lines += [f"P{number}-{shot},,{1.2 + shot % 400 / 1000:.3f},,{shot % 300},{shot // 300},,wet" for shot in range(shots)]
        lines.append(f"T{number},1.500,,1.500,,,," if number < setups - 1 else "BM,,,1.500,,,,")
    lines[1:1] = ["# invented"] * 3
    text = "\n".join(lines) + "\n"
    started = time.process_time()
    book = read_book(text)
    between = time.process_time()
    reduced = reduce_book(book)
    table = reduced.table
    closing = reduced.closing
    ended = time.process_time()
    with capsys.disabled():
        print(f"\n{len(book.rows)} rows in {setups} set-ups: read in {between - started:.2f} s, "
              f"reduced in {ended - between:.2f} s of computing")
    assert len(table) > 95_000
    assert closing.endswith("It closes.")
    assert ended - started < 15.0  # 1.5 to 9 s, by the machine
