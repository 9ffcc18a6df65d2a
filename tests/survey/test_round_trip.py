"""A book written as text reads back the same, whatever its unit, its names and its gaps; what is shown of it is harmless."""

from __future__ import annotations

import csv
import io
import re
import warnings

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sitelevels import LevelBook, SurveyError, read_book, reduce_book

pytestmark = pytest.mark.filterwarnings("ignore::sitelevels.SurveyWarning")  # doubts have tests of their own

steady = settings(deadline=None, max_examples=120, derandomize=True)

MARKS = ["\u061c", "\u200e", "\u200f", "\u202a", "\u202b", "\u202c", "\u202d", "\u202e", "\u2066", "\u2067", "\u2068", "\u2069"]
HOSTILE = ["<b>bold</b>", "<script>alert(1)</script>", "&amp;", '"', 'say "hello"', "a,b", "a;b", "'", "''",
           "'7", "=1+1", "+44", "-A", "@home", "#7", "##", "＝1", "-1.5", "1.5", "007", "1e5", "line 2", "moved on", "peg\u202e7",
           "\u200fאב", "👷🏽\u200d♀️", "e\u0301", "x" * 10_000, "{0}", "%s", "nan", "None", "\\n", "$x$", "`a`"]
NAMES = st.sampled_from(HOSTILE) | st.from_regex(r"[A-Z][0-9]{1,2}", fullmatch=True) | st.text(
    st.characters(exclude_categories=["Cs", "Cc", "Zl", "Zp"]), min_size=1, max_size=5).filter(lambda name: name.strip())
WORDS = st.just("") | NAMES | st.sampled_from(["wet\nand cold", "wet\r\nand cold", "#", "upside down", "wet\u2028cold"])


@st.composite
def numbers(draw: st.DrawFn, *, least: int = -99999, most: int = 99999) -> str:
    """A number as somebody books it: up to five digits, up to four of them decimals, perhaps with noughts at its end."""
    whole, places = draw(st.integers(least, most)), draw(st.integers(0, 4))
    text = f"{abs(whole):05d}"
    digits = f"{int(text[:5 - places])}.{text[5 - places:]}" if places else str(int(text))
    return draw(st.sampled_from(["-", "−"])) + digits if whole < 0 else draw(st.sampled_from(["", "", "+"])) + digits


@st.composite
def books(draw: st.DrawFn) -> tuple[str, str]:
    """A text that is a level book, and its unit."""
    names = draw(st.lists(NAMES, min_size=1, max_size=4, unique_by=str.strip))
    places = {name.strip(): (draw(numbers()), draw(numbers())) for name in names}
    known = {name.strip(): draw(numbers()) for name in names}
    length = {"up": numbers(least=0), "down": numbers(least=0)}
    rows: list[dict[str, str]] = []
    for number in range(draw(st.integers(1, 7))):
        name = draw(st.sampled_from(names))
        row = {"point": name, "wall": draw(WORDS), "remarks": draw(WORDS), "feature": draw(st.sampled_from(
            ["", "ground", "DPC", "benchmark", "gully", "strange thing"]))}
        kind = "bs" if number == 0 else draw(st.sampled_from(["is", "is", "up", "down", "bs", "fs bs", "line", "instrument"]))
        if kind == "line":
            row |= {"feature": "line", "rl": known[name.strip()]}
        elif kind == "instrument":
            row["feature"] = "instrument"
        else:
            row |= {column: draw(length.get(column, numbers())) for column in kind.split()}
        if kind == "instrument" or draw(st.booleans()):
            row |= dict(zip("xy", places[name.strip()], strict=True))
        if draw(st.integers(0, 2)) == 0:
            row["rl"] = known[name.strip()]
        if draw(st.integers(0, 2)) == 0:
            row["hand_level"] = draw(numbers())
        if draw(st.booleans()):
            sights = [draw(numbers(least=0).filter(lambda text: text[0] != "-")) for _ in range(2)]
            row["sight"] = draw(st.sampled_from([sights[0], " / ".join(sights), f"{sights[0]}/", f"/{sights[1]}"]))
        rows.append(row)
        rows += [{}] * draw(st.sampled_from([0, 0, 0, 1, 2]))
    heads = ["point", "bs", "is", "fs", "up", "down", "x", "y", "feature", "rl", "hand_level", "sight", "wall", "remarks"]
    out = io.StringIO()
    writer = csv.writer(out, quoting=csv.QUOTE_ALL, lineterminator="\n")
    writer.writerow(heads)
    writer.writerows([row.get(head, "") for head in heads] for row in rows)
    return out.getvalue(), draw(st.sampled_from(["m", "cm", "mm", "ft"]))


def same(one: LevelBook, other: LevelBook) -> None:
    assert other.rows == one.rows
    assert other.hand_digit == pytest.approx(one.hand_digit, rel=1e-12)
    assert dict(other.known) == dict(one.known)
    pd.testing.assert_frame_equal(other.table, one.table, check_exact=True)


class TestIdentity:
    @steady
    @given(books())
    def test_what_is_written_is_what_was_read(self, made: tuple[str, str]) -> None:
        text, unit = made
        book = read_book(text, unit=unit)
        again = read_book(book.text)
        same(book, again)
        assert again.text == book.text
        assert again.unit_of("bs") == unit

    @steady
    @given(books())
    def test_no_cell_of_what_is_written_is_run_as_a_formula(self, made: tuple[str, str]) -> None:
        text, unit = made
        for row in csv.reader(io.StringIO(read_book(text, unit=unit).text, newline=""), strict=True):
            for cell in row:
                assert not cell.startswith(("=", "@", "\t", "\r"))
                assert not cell.startswith(("+", "-")) or re.fullmatch(r"[-+][0-9.]+(/[0-9.]*)?", cell)

    @pytest.mark.parametrize("text", [
        "point,reading,rl\nBM,1.5,10\nA,1.25,\nmoved,,\nA,1.1,\nBM,1.4,\n",
        "point;bs;is;rl\nBM;1,5;;10,25\nA;;1,25;\nBM;;1,5;\n",
        "Peg,Backsight (mm),Inter. (mm),RL (m),Sight (cm)\nBM,1500,,10.000,2000\nA,,1250.5,,\nBM,,1500,,\n",
        "point,bs,is,fs,rl\n\n# note\nBM,1.5,,,10\n,,,,\n,,,,\nA,,1.2,,\n,,,,\nBM,,,1.5,\n",
        "point,bs,is,rl\nBM,1.5,,10.00\nA,,1.2,10.30\nB,,1.3,10.20\nBM,,1.5,10.00\n",
        "point,bs,is,hand_level,rl\nBM,1.5,,10.0,10\nA,,1.2,10.30,\nBM,,1.5,,\n",
    ], ids=["plain list", "decimal comma", "three units", "gaps", "worked-out levels", "digits by hand"])
    def test_so_is_a_book_booked_in_another_way(self, text: str) -> None:
        same(read_book(text), read_book(read_book(text).text))

    @pytest.mark.parametrize("unit", ["m", "cm", "mm", "ft"])
    def test_worked_out_levels_under_rl_keep_the_digit_they_were_written_to(self, unit: str) -> None:
        text = "point,bs,is,rl\nBM,1.53,,10.07\nA,,1.21,10.39\nB,,1.31,10.29\nBM,,1.53,10.07\n"
        same(read_book(text, unit=unit), read_book(read_book(text, unit=unit).text))

    @pytest.mark.parametrize("heads", ["bs (ft),is (m)", "bs (mm),is (ft)", "bs (m),is (ft)", "bs (cm),is (m)"])
    def test_readings_in_two_units_do_not_change_when_written_in_one(self, heads: str) -> None:
        rows = "".join(f"P{number},,{number * 0.0137 + 0.001:.4f}\n" for number in range(1, 100))
        book = read_book(f"point,{heads}\nBM,1.37,\n{rows}")
        same(book, read_book(book.text))

    @pytest.mark.parametrize("row", ["L,1.5,,,10,line", "L,1.5,,1.2,10,line"])
    def test_a_backsight_booked_on_a_line_is_not_lost(self, row: str) -> None:
        book = read_book(f"point,bs,is,fs,rl,feature\nBM,1.4,,,10,\n{row}\nA,,1.2,,,\n")
        same(book, read_book(book.text))

    @pytest.mark.parametrize("inside", ["\n", "\r\n", "\r", "\n\n", "\n# ", "\u2028", "\x0b", "\x85"])
    def test_a_remark_keeps_its_line_breaks(self, inside: str) -> None:
        book = read_book(f'point,bs,is,remarks\nBM,1.5,,"wet{inside}cold"\nBM,,1.5,\n')
        assert book.rows[0].remarks == f"wet{inside}cold"
        same(book, read_book(book.text))

    def test_a_level_called_known_is_written_too(self) -> None:
        book = read_book("point,bs,is\nBM,1.5,\nA,,1.2\nBM,,1.5\n", unit="m").with_known("BM", 10.1234567)
        assert read_book(book.text).known == {"BM": 10.1234567}

    def test_levels_called_known_one_after_the_other_stay_known(self) -> None:
        book = read_book("point,bs,is\nA,1.5,\nB,,1.2\nC,,1.1\nD,,1.0\n")
        for point, level in (("A", 10.0), ("B", 10.3), ("C", 10.4)):
            book = book.with_known(point, level)
        assert read_book(book.text).known == dict(book.known)

    def test_levels_of_a_table_worked_to_four_places_keep_their_digit(self) -> None:
        frame = pd.DataFrame({"point": ["BM", "A"], "bs": [1.5, None], "is": [None, 1.2], "rl": [10.0, None],
                              "hand_level": [None, 10.2996]})
        book = read_book(frame)
        same(book, read_book(book.text))
        assert (reduce_book(book).hand_slip is None) is (reduce_book(read_book(book.text)).hand_slip is None)


class TestHostileNames:
    @pytest.mark.parametrize("name", [name for name in HOSTILE if name != "moved on"])
    def test_a_name_is_kept_to_the_letter(self, name: str) -> None:
        frame = pd.DataFrame({"point": [name, "Q"], "bs": [1.5, None], "is": [None, 1.25], "rl": [10.0, None]})
        book = read_book(read_book(frame).text)
        assert reduce_book(book).level("Q") == pytest.approx(10.25, abs=1e-9)
        assert [row.point for row in book.rows] == [read_book(frame).rows[0].point, "Q"]
        if not name.startswith("''") and not re.match("'[=+@＝-]", name):
            assert book.rows[0].point == name

    @pytest.mark.parametrize("column", ["point", "remarks", "feature", "wall"])
    def test_nothing_typed_becomes_a_tag_when_it_is_shown(self, column: str) -> None:
        cells: dict[str, list[object]] = {"point": ["BM", "A"], "bs": [1.5, None], "is": [None, 1.25], "rl": [10.0, None],
                                          "hand_level": [None, 99.0], "remarks": ["", ""], "feature": ["", ""], "wall": ["", ""]}
        cells[column][1] = "<img src=x onerror=alert(1)>"
        book = read_book(pd.DataFrame(cells))
        for shown in (book._repr_html_(), reduce_book(book)._repr_html_()):
            assert "<img" not in shown
        assert "&lt;img" in book._repr_html_()

    def test_the_closing_sentence_is_escaped(self) -> None:
        reduced = reduce_book(read_book("point,bs,is,rl\n<i>,1.5,,10\nA,,1.25,\n<i>,,1.7,\n"))
        assert "<i>" in reduced.closing
        assert "<i>" not in reduced._repr_html_()


class TestDirectionMarks:
    BOOKS = (
        "point,bs,is,rl\n{0},1.5,,10\n{0},,1.2,11\n", "point,bs,is\nBM,1.5,\n{0},,l.2\n", "point,bs,is\nBM,1.5,\n{0},1.2,1.3\n",
        "point,bs,is,x,y\nBM,1.5,,,\n{0},,1.2,1,\n", "point,bs,is\n{0},,1.5\n", "point,bs,is,feature\nBM,1.5,,\n{0},,,line\n",
        "{0},bs,is\nBM,1.5,\n", "bs,is,{0}\n1,2,3\n", "point,bs,is\nBM,1.5,\nA,,{0}\n", "point,bs,is,sight\nBM,1.5,,{0}\n",
        "point,bs,is,x,y\nBM,1.5,,,\n{0},,1.2,1,1\n{0},,1.2,2,2\n", "point,bs ({0}),bs\nBM,1.5,\n")

    @pytest.mark.parametrize("text", BOOKS)
    def test_no_error_carries_one(self, text: str) -> None:
        for mark in MARKS:
            with pytest.raises(SurveyError) as caught:
                reduce_book(read_book(text.format(f"peg{mark}7")))
            for sentence in (str(caught.value), *caught.value.problems):
                assert not set(MARKS) & set(sentence)

    def test_no_warning_carries_one(self) -> None:
        name = f"peg{''.join(MARKS)}7"
        with warnings.catch_warnings(record=True) as told:
            warnings.simplefilter("always")
            reduce_book(read_book(f"point,bs,is,rl,feature,hand_level,{name}\nBM,1.5,,10,,,\n{name},,7.2,,{name},99,1\n"))
        assert len(told) >= 5  # over 5 m, no closing shot, the feature, the column, the hand-worked level
        for one in told:
            assert not set(MARKS) & set(str(one.message))
