"""Pages of one small book with one slip each, worked on paper: which cell is wrong, why, and what is carried."""

from __future__ import annotations

import time
from decimal import Decimal

import pandas as pd
import pytest

import sitelevels as sl
from sitelevels.teaching.exercise import Exercise, Question
from sitelevels.teaching.marking import Mark, Marked, mark_book

# An invented book, worked on paper. HPCs 10.000 + 1.384 = 11.384, 10.019 + 1.412 = 11.431, 9.798 + 1.207 = 11.005.
# ΣBS = 4.003, ΣFS = 4.005: the level found at BM is 2 mm low.
BOOK = """point,bs,is,fs,rl,remarks
BM,1.384,,,10.000,
S1,,1.500,,,
D1,,-1.385,,,staff inverted
CP1,1.412,,1.365,,
S2,,1.256,,,
CP2,1.207,,1.633,,
S3,,0.948,,,
BM,,,1.007,,
"""
RISE = {3: "2.885", 5: "0.156", 7: "0.259"}
FALL = {2: "0.116", 4: "2.750", 6: "0.377", 8: "0.059"}
HPC = {1: "11.384", 4: "11.431", 6: "11.005"}
LEVEL = {1: "10.000", 2: "9.884", 3: "12.769", 4: "10.019", 5: "10.175", 6: "9.798", 7: "10.057", 8: "9.998"}
LEVELS_ONLY = {"level": LEVEL}
BY_HPC = {"hpc": HPC, "level": LEVEL}
BY_STEPS = {"rise": RISE, "fall": FALL, "level": LEVEL}
BOTH = {**BY_STEPS, **BY_HPC}
Columns = dict[str, dict[int, str]]


def page(columns: Columns, changes: dict[tuple[int, str], str] | None = None, rows: int = 8) -> pd.DataFrame:
    """A page with the columns filled in, and cells changed."""
    cells = {(row, name): text for name, texts in columns.items() for row, text in texts.items()} | (changes or {})
    lines = [{"row": str(row)} | {name: cells.get((row, name), "") for name in ("rise", "fall", "hpc", "level")}
             for row in range(1, rows + 1)]
    return pd.DataFrame(lines)


@pytest.fixture(scope="module")
def book() -> sl.LevelBook:
    return sl.read_book(BOOK)


def by_verdict(marked: Marked, verdict: str) -> list[tuple[int, str]]:
    return [(mark.row, mark.column) for mark in marked.marks if mark.verdict == verdict]


def only(marked: Marked) -> Mark:
    assert len(marked.slips) == 1, marked.words
    return marked.slips[0]


@pytest.mark.parametrize("columns", [BY_HPC, BY_STEPS, BOTH], ids=["hpc", "steps", "both"])
def test_a_right_page_is_right_in_every_cell(book: sl.LevelBook, columns: Columns) -> None:
    marked = mark_book(book, page(columns))
    asked = sum(len(texts) for texts in columns.values())
    assert marked.score == (asked, asked)
    assert marked.sentence() == f"{asked} of {asked} right. No slip in the working."
    assert marked.words == ()


# Each slip once: what was written where, and the kind. The sums are beside them.
SLIPS = [
    (BY_HPC, {(2, "level"): "12.884"}, "added", "11.384 + 1.500"),
    (BY_HPC, {(4, "level"): "12.749", (4, "hpc"): "14.161", (5, "level"): "12.905", (6, "level"): "12.528", (6, "hpc"): "13.735",
              (7, "level"): "12.787", (8, "level"): "12.728"}, "added", "11.384 + 1.365"),  # all 2.730 too high from there on
    (BY_HPC, {(5, "level"): "10.128"}, "other set-up", "11.384 − 1.256"),
    (BY_HPC, {(3, "level"): "9.999"}, "sign", "11.384 − 1.385"),
    (BY_STEPS, {(3, "rise"): "0.115", (3, "level"): "9.999", (4, "level"): "7.249", (5, "level"): "7.405", (6, "level"): "7.028",
                (7, "level"): "7.287", (8, "level"): "7.228"}, "sign", "1.500 − 1.385"),  # 2.770 too low from there on
    (BY_STEPS, {(5, "rise"): "", (5, "fall"): "0.156", (5, "level"): "9.863", (6, "level"): "9.486", (7, "level"): "9.745",
                (8, "level"): "9.686"}, "rise for fall", "1.412 − 1.256 = 0.156"),  # 0.312 too low from there on
    (BY_HPC, {(4, "hpc"): "8.607", (5, "level"): "7.351", (6, "level"): "6.974", (6, "hpc"): "8.181", (7, "level"): "7.233",
              (8, "level"): "7.174"}, "backsight subtracted", "10.019 − 1.412"),  # 2.824 too low from there on
    (BY_HPC, {(4, "hpc"): "11.384", (5, "level"): "10.128", (6, "level"): "9.751", (6, "hpc"): "10.958", (7, "level"): "10.010",
              (8, "level"): "9.951"}, "other reading", "10.019 + 1.365"),  # the foresight, which also gives the old HPC
    (BY_HPC, {(4, "level"): "9.972", (4, "hpc"): "11.384", (5, "level"): "10.128", (6, "level"): "9.751", (6, "hpc"): "10.958",
              (7, "level"): "10.010", (8, "level"): "9.951"}, "other reading", "11.384 − 1.412"),  # the backsight: 0.047 too low
    (BY_HPC, {(2, "level"): "12.769"}, "other reading", "11.384 − (−1.385)"),  # the next row's
    (BY_STEPS, {(5, "rise"): "0.109", (5, "level"): "10.128", (6, "level"): "9.751", (7, "level"): "10.010",
                (8, "level"): "9.951"}, "across the change point", "1.365 − 1.256"),  # 0.047 too low from there on
    (BY_STEPS, {(6, "level"): "10.552", (7, "level"): "10.811", (8, "level"): "10.752"}, "wrong way", "10.175 + 0.377"),
    (BY_STEPS, {(5, "level"): "12.925", (6, "level"): "12.548", (7, "level"): "12.807", (8, "level"): "12.748"}, "other level",
     "12.769 + 0.156"),  # on row 3
    (BY_HPC, {(8, "level"): "10.000"}, "known level", "known level of BM"),
    (BY_HPC, {(5, "level"): "10.715"}, "digits swapped", "10.175"),
    (BY_HPC, {(2, "level"): "9.834"}, "reading miscopied", "1.500 as 1.550"),
    (BY_HPC, {(7, "level"): "10.657"}, "reading miscopied", "0.948 as 0.348"),
    (BY_HPC, {(7, "level"): "9.957"}, "carry", "100 mm"),
    (BY_HPC, {(7, "level"): "11.057"}, "carry", "exactly 1.000 m"),
    (BY_HPC, {(7, "level"): "10.056"}, "carry", "1 mm"),
    (BY_HPC, {(7, "level"): "10057"}, "unit", "in mm"),
    (BY_HPC, {(7, "level"): "10.081"}, "arithmetic", "24 mm too high, which no simple slip gives"),
]


@pytest.mark.parametrize(("columns", "changes", "kind", "said"), SLIPS)
def test_a_slip_gets_its_reason_and_what_follows_is_carried(book: sl.LevelBook, columns: Columns,
                                                            changes: dict[tuple[int, str], str], kind: str, said: str) -> None:
    marked = mark_book(book, page(columns, changes))
    first, *rest = [place for place, text in changes.items() if text]
    mark = only(marked)
    assert ((mark.row, mark.column), mark.kind) == (first, kind), marked.words
    assert said in mark.reason
    assert sorted(by_verdict(marked, "carried")) == sorted(rest)
    assert by_verdict(marked, "missing") == []
    good, asked = marked.score
    assert good == asked - 1


def test_what_is_said_of_a_slip(book: sl.LevelBook) -> None:
    columns, changes, *_ = SLIPS[1]
    assert mark_book(book, page(columns, changes)).words == (
        "Row 4, CP1, level: you wrote 12.749; you added the foresight: 11.384 + 1.365. Level = HPC − reading = 10.019 m. "
        "What follows from it is right, carried. ΣBS − ΣFS = last − first would have shown it.",)
    assert mark_book(book, page(columns, changes)).sentence() == (
        "10 of 11 right, 6 of them carried from an earlier slip. 1 slip: look first at row 4, CP1, level.")


@pytest.mark.parametrize(("columns", "changes", "check"), [
    (BY_HPC, {(2, "level"): "12.884"}, "Σ(HPC × shots) − Σ(IS + FS) = Σ levels"),
    (BY_HPC, {(8, "level"): "10.000"}, "ΣBS − ΣFS = last − first"),
    (BY_STEPS, {(5, "rise"): "0.155", (5, "level"): "10.174", (6, "level"): "9.797", (7, "level"): "10.056",
                (8, "level"): "9.997"}, "Σrise − Σfall = ΣBS − ΣFS"),
    (BY_STEPS, {(6, "level"): "10.552", (7, "level"): "10.811", (8, "level"): "10.752"}, "ΣBS − ΣFS = last − first"),
    # 1.256 read as 1.265 in both sums that it stands in: the two cancel in every sum, and CP2 is right.
    (BY_STEPS, {(5, "rise"): "0.147", (6, "fall"): "0.368", (5, "level"): "10.166"}, "HPC and level beside it"),
])
def test_the_check_is_one_that_shows_the_slip(book: sl.LevelBook, columns: Columns, changes: dict[tuple[int, str], str],
                                              check: str) -> None:
    assert only(mark_book(book, page(columns, changes))).check == check


def test_a_reading_misread_is_wrong_once_though_two_steps_hang_on_it(book: sl.LevelBook) -> None:
    marked = mark_book(book, page(BY_STEPS, {(5, "rise"): "0.147", (6, "fall"): "0.368", (5, "level"): "10.166"}))
    assert (only(marked).row, only(marked).kind) == (5, "reading miscopied")
    assert "1.256 as 1.265" in only(marked).reason
    assert by_verdict(marked, "again") == [(6, "fall")]
    assert by_verdict(marked, "carried") == [(5, "level")]
    assert marked.score == (13, 14)  # 15 cells; the fall out of S2 is not counted again


def test_a_sign_lost_by_both_methods_is_wrong_once(book: sl.LevelBook) -> None:
    """Rise into D1 1.500 − 1.385 = 0.115, fall out of it 1.385 − 1.365 = 0.020, a rise; its level 11.384 − 1.385 = 9.999."""
    marked = mark_book(book, page(BOTH, {(3, "rise"): "0.115", (3, "level"): "9.999", (4, "fall"): "", (4, "rise"): "0.020"}))
    assert (only(marked).row, only(marked).kind) == (3, "sign")
    assert by_verdict(marked, "again") == [(3, "level"), (4, "rise")]


def test_one_wrong_way_in_every_row_is_wrong_once(book: sl.LevelBook) -> None:
    """Every reading added: 11.384 + 1.500 = 12.884, + (−1.385) = 9.999, + 1.365 = 12.749; HPC 14.161; + 1.256, + 1.633 = 15.794;
    HPC 17.001; + 0.948 = 17.949, + 1.007 = 18.008."""
    wrong = {(2, "level"): "12.884", (3, "level"): "9.999", (4, "level"): "12.749", (4, "hpc"): "14.161", (5, "level"): "15.417",
             (6, "level"): "15.794", (6, "hpc"): "17.001", (7, "level"): "17.949", (8, "level"): "18.008"}
    marked = mark_book(book, page(BY_HPC, wrong))
    assert (only(marked).row, only(marked).kind) == (2, "added")
    assert by_verdict(marked, "again") == [(row, "level") for row in (3, 4, 5, 6, 7, 8)]
    assert by_verdict(marked, "carried") == [(4, "hpc"), (6, "hpc")]
    assert marked.score == (4, 5)
    assert "It is there again in rows 3, 4, 5, 6, 7 and 8, which costs nothing more." in marked.words[0]
    assert len(marked.words) == 1


def test_right_from_there_on_is_not_said_where_it_is_not(book: sl.LevelBook) -> None:
    """Every fall added: 10.116, 13.001, 15.751, 15.907, 16.284, 16.543, 16.602; the rises follow."""
    wrong = {(2, "level"): "10.116", (3, "level"): "13.001", (4, "level"): "15.751", (5, "level"): "15.907",
             (6, "level"): "16.284", (7, "level"): "16.543", (8, "level"): "16.602"}
    marked = mark_book(book, page(BY_STEPS, wrong))
    assert only(marked).kind == "wrong way"
    assert "What follows from it is right, carried. It is there again in rows 4, 6 and 8" in marked.words[0]
    assert "there on" not in marked.words[0]
    assert "follows" not in mark_book(book, page(BY_HPC, {(2, "level"): "12.884"})).words[0]  # nothing hangs on S1


def test_a_slip_made_again_belongs_to_one_of_two_in_a_row(book: sl.LevelBook) -> None:
    """Row 4: level 11.384 + 1.365 = 12.749, HPC 12.749 − 1.412 = 11.337. Then 11.337 − 1.256 = 10.081 and 11.337 − 1.633 = 9.704,
    HPC 9.704 − 1.207 = 8.497, levels 8.497 + 0.948 = 9.445 and 8.497 − 1.007 = 7.490."""
    wrong = {(4, "level"): "12.749", (4, "hpc"): "11.337", (5, "level"): "10.081", (6, "level"): "9.704", (6, "hpc"): "8.497",
             (7, "level"): "9.445", (8, "level"): "7.490"}
    marked = mark_book(book, page(BY_HPC, wrong))
    assert [(mark.key, mark.kind) for mark in marked.slips] == [((4, "level"), "added"), ((4, "hpc"), "backsight subtracted")]
    assert "It is there again in row 7, which" in marked.words[0]
    assert "It is there again in row 6, which" in marked.words[1]
    assert {mark.key: mark.since for mark in marked.marks if mark.verdict == "again"} == {
        (6, "hpc"): ((4, "hpc"),), (7, "level"): ((4, "level"),)}


@pytest.mark.parametrize("columns", [BY_HPC, BY_STEPS, BOTH], ids=["hpc", "steps", "both"])
def test_a_right_page_all_in_mm_is_one_slip_and_all_else_counts(book: sl.LevelBook, columns: Columns) -> None:
    in_mm = {name: {row: text.replace(".", "").lstrip("0") for row, text in texts.items()} for name, texts in columns.items()}
    marked = mark_book(book, page(in_mm))
    asked = sum(len(texts) for texts in columns.values())
    assert (only(marked).kind, only(marked).check, marked.score) == ("unit", "", (asked - 1, asked))
    assert "It is there again in rows" in marked.words[0]
    assert "follows" not in marked.words[0]
    assert "would have shown" not in marked.words[0]
    assert marked.sentence().startswith(f"{asked - 1} of {asked} right. 1 slip")


def test_a_page_in_mm_has_its_other_slips_found(book: sl.LevelBook) -> None:
    """11384 + 1500 = 12884 is the reading added, in mm or not; 10.657 is right but for the digit of 0.948 read as 0.348."""
    in_mm = {name: {row: text.replace(".", "") for row, text in texts.items()} for name, texts in BY_HPC.items()}
    marked = mark_book(book, page(in_mm, {(2, "level"): "12884", (7, "level"): "10657"}))
    assert [(mark.key, mark.kind) for mark in marked.slips] == [
        ((1, "level"), "unit"), ((2, "level"), "added"), ((7, "level"), "reading miscopied")]
    assert marked.score == (8, 11)


@pytest.mark.parametrize(("changes", "where", "again"), [
    ({(2, "level"): "9.88"}, 2, []), ({(7, "level"): "10.060"}, 7, []), ({(8, "level"): "10.00"}, 8, []),
    ({(2, "level"): "9.88", (3, "level"): "12.77", (4, "level"): "10.02", (5, "level"): "10.18", (6, "level"): "9.80",
      (7, "level"): "10.06", (8, "level"): "10.00"}, 2, [3, 4, 5, 6, 7]),  # row 8 follows: 9.80 + 1.207 − 1.007 = 10.000
])
def test_rounded_to_the_centimetre(book: sl.LevelBook, changes: dict[tuple[int, str], str], where: int, again: list[int]) -> None:
    marked = mark_book(book, page(BY_HPC, changes))
    assert (only(marked).row, only(marked).kind) == (where, "rounded")
    assert "rounded to the centimetre: the millimetre is asked for" in marked.words[0]
    assert by_verdict(marked, "again") == [(row, "level") for row in again]


def test_a_minus_under_fall_is_wrong_once_and_turns_nothing(book: sl.LevelBook) -> None:
    """The fall into S1 is 0.116: −0.126 is 10 mm out, not 242. The other falls are those into rows 4, 6 and 8."""
    mark = only(mark_book(book, page(BY_STEPS, {(2, "fall"): "-0.126"})))
    assert (mark.kind, mark.written, mark.right) == ("carry", "-0.126", "0.116 m")
    assert "exactly 10 mm" in mark.reason
    falls = {(row, "fall"): f"−{text}" for row, text in BY_STEPS["fall"].items()}
    marked = mark_book(book, page(BY_STEPS, falls))
    assert "a fall is written without a sign: its column says that it goes down" in only(marked).reason
    assert (only(marked).row, only(marked).column) == min(falls)
    assert [(mark.verdict, mark.reason) for mark in marked.marks if mark.column == "fall"][1:] == [
        ("carried", "Right but for the sign, as in row 2.")] * (len(falls) - 1)
    assert marked.score == (marked.score[1] - 1, sum(map(len, BY_STEPS.values())))


@pytest.mark.parametrize(("rise", "fall", "check"), [
    ("0.156", "0.156", "Σrise − Σfall = ΣBS − ΣFS"), ("0.500", "0.344", ""), ("0.156", "0.100", "Σrise − Σfall = ΣBS − ΣFS")])
def test_a_row_has_a_rise_or_a_fall(book: sl.LevelBook, rise: str, fall: str, check: str) -> None:
    """0.500 − 0.344 = 0.156, which is the rise into S2, so no sum shows it."""
    marked = mark_book(book, page(BY_STEPS, {(5, "rise"): rise, (5, "fall"): fall}))
    mark = only(marked)
    assert (mark.row, mark.kind, mark.written, mark.right, mark.check) == (5, "both", f"{rise} and fall {fall}", "0.156 m", check)
    assert "a row has a rise or a fall, not both" in mark.reason
    assert marked.score == (14, 15)


def test_levels_go_on_from_either_of_a_rise_and_a_fall(book: sl.LevelBook) -> None:
    """From 10.019 with the fall of 0.100: 9.919, 9.542, 9.801, 9.742."""
    wrong = {(5, "fall"): "0.100", (5, "level"): "9.919", (6, "level"): "9.542", (7, "level"): "9.801", (8, "level"): "9.742"}
    marked = mark_book(book, page(BY_STEPS, wrong))
    assert only(marked).kind == "both"
    assert len(by_verdict(marked, "carried")) == 4


@pytest.mark.parametrize(("level", "said"), [("-9.884", "there is a minus too much"), ("−12.769", "there is a minus too much")])
def test_a_level_with_a_minus_too_much(book: sl.LevelBook, level: str, said: str) -> None:
    mark = only(mark_book(book, page(BY_HPC, {(3 if "12" in level else 2, "level"): level})))
    assert mark.kind == "sign"
    assert said in mark.reason


def test_a_level_below_the_datum_with_its_minus_lost() -> None:
    """1.500 − 1.625 = −0.125."""
    low = sl.read_book("point,bs,is,fs,rl\nBM,1.500,,,0.000\nA,,1.625,,\nBM,,,1.501,")
    mark = only(mark_book(low, page({"hpc": {1: "1.500"}, "level": {2: "0.125", 3: "-0.001"}}, rows=3)))
    assert (mark.row, mark.kind, mark.right) == (2, "sign", "−0.125 m")
    assert "you lost the minus" in mark.reason


def test_rises_and_falls_are_shown_as_they_were_typed(book: sl.LevelBook) -> None:
    mark = only(mark_book(book, page(BY_STEPS, {(8, "fall"): "0.077"})))
    assert (mark.column, mark.written, mark.right) == ("fall", "0.077", "0.059 m")
    assert mark_book(book, page(BY_STEPS, {(8, "fall"): "0.077"})).words[0].startswith("Row 8, BM, fall: you wrote 0.077; ")
    mark = only(mark_book(book, page(BY_STEPS, {(8, "fall"): "", (8, "rise"): "0.059"})))
    assert (mark.column, mark.written, mark.right, mark.kind) == ("rise", "0.059", "fall 0.059 m", "rise for fall")


def test_levels_of_one_set_up_that_are_out_alike_are_one_slip(book: sl.LevelBook) -> None:
    """100 mm too high in rows 2 to 4, from HPC 11.384, and carried; 24 mm is no figure carried wrongly."""
    wrong = {(2, "level"): "9.984", (3, "level"): "12.869", (4, "level"): "10.119", (4, "hpc"): "11.531", (5, "level"): "10.275",
             (6, "level"): "9.898", (6, "hpc"): "11.105", (7, "level"): "10.157", (8, "level"): "10.098"}
    marked = mark_book(book, page(BY_HPC, wrong))
    assert (only(marked).row, only(marked).kind) == (2, "carry")
    assert "3 levels of this set-up are 100 mm too high, as if from HPC 11.484 m" in only(marked).reason
    assert by_verdict(marked, "again") == [(3, "level"), (4, "level")]
    assert marked.score == (8, 9)  # 11 cells, rows 3 and 4 not counted again
    marked = mark_book(book, page(BY_HPC, {(2, "level"): "9.908", (3, "level"): "12.793"}))
    assert (only(marked).kind, by_verdict(marked, "again")) == ("arithmetic", [(3, "level")])


def test_two_slips_of_the_pen_are_two(book: sl.LevelBook) -> None:
    marked = mark_book(book, page(BY_HPC, {(2, "level"): "9.848", (7, "level"): "10.157"}))
    assert [(mark.row, mark.kind) for mark in marked.slips] == [(2, "digits swapped"), (7, "carry")]


def test_a_slip_that_was_not_carried_leaves_the_rest_right(book: sl.LevelBook) -> None:
    marked = mark_book(book, page(BY_STEPS, {(4, "level"): "10.091"}))
    assert (only(marked).row, only(marked).kind) == (4, "digits swapped")
    assert by_verdict(marked, "carried") == []


def test_one_of_the_two_slips_before_may_be_carried_alone(book: sl.LevelBook) -> None:
    """Row 2 is 1 m too high; row 4 has two digits swapped on the page, and the sum went on without that: 11.019 + 0.156."""
    wrong = {(2, "level"): "10.884", (3, "level"): "13.769", (4, "level"): "11.091", (5, "level"): "11.175",
             (6, "level"): "10.798", (7, "level"): "11.057", (8, "level"): "10.998"}
    marked = mark_book(book, page(BY_STEPS, wrong))
    assert [(mark.row, mark.kind) for mark in marked.slips] == [(2, "carry"), (4, "digits swapped")]
    assert next(mark for mark in marked.marks if mark.row == 5 and mark.column == "level").reason == "Right, carried from row 2."


def test_blank_cells_are_missing_and_break_no_chain(book: sl.LevelBook) -> None:
    """CP1 is left out of a page that is 1 m too high from row 2 by rise and fall; row 5 still follows from row 3."""
    wrong = {(2, "level"): "10.884", (3, "level"): "13.769", (4, "level"): "", (5, "level"): "11.175", (6, "level"): "10.798",
             (7, "level"): "11.057", (8, "level"): "10.998", (5, "rise"): ""}
    marked = mark_book(book, page(BY_STEPS, wrong))
    assert only(marked).row == 2
    assert by_verdict(marked, "missing") == [(4, "level"), (5, "rise")]
    assert len(by_verdict(marked, "carried")) == 5
    assert marked.words[-1] == "Left empty: rows 4 and 5."


def test_an_empty_page_is_missing_and_not_wrong(book: sl.LevelBook) -> None:
    marked = mark_book(book, page({}))
    assert {mark.verdict for mark in marked.marks} == {"missing"}
    assert marked.score == (0, 10)  # three HPCs, and seven levels beside the one that is given
    assert marked.slips == ()


def test_levels_alone_leave_the_hpcs_missing(book: sl.LevelBook) -> None:
    marked = mark_book(book, page(LEVELS_ONLY))
    assert by_verdict(marked, "missing") == [(1, "hpc"), (4, "hpc"), (6, "hpc")]
    assert marked.score == (8, 11)


@pytest.mark.parametrize(("text", "right"), [
    ("9,884", True), ("9.884 m", True), ("9884 mm", True), ("9884mm", True), ("9.8844", True), ("9.8846", False),
    ("+9.884", True), ("−9.884", False), (" 9.884 ", True)])
def test_how_a_number_may_be_written(book: sl.LevelBook, text: str, right: bool) -> None:
    marked = mark_book(book, page(BY_HPC, {(2, "level"): text}))
    assert (marked.slips == ()) is right
    assert by_verdict(marked, "missing") == []


@pytest.mark.parametrize("text", ["abc", "1.2.3", "∞", "inf", "nan", "1e400", "9" * 400, "=11.384-1.5", "<b>9.884</b>",
                                  "9.884 kg", "--9"])
def test_what_is_no_number_counts_as_empty_and_is_shown(book: sl.LevelBook, text: str) -> None:
    marked = mark_book(book, page(BY_HPC, {(2, "level"): text}))
    mark = next(mark for mark in marked.marks if (mark.row, mark.column) == (2, "level"))
    assert mark.verdict == "missing"
    assert mark.written[:10] == text[:10]
    assert "cannot be read" in mark.reason
    assert "<b>9" not in marked._repr_html_()


def test_numbers_in_cells_do_as_well_as_texts(book: sl.LevelBook) -> None:
    frame = page(BY_HPC).replace("", None).astype(float)
    assert mark_book(book, frame).score == (11, 11)


def test_a_heading_may_have_its_unit_behind_it(book: sl.LevelBook) -> None:
    text = page(BY_HPC).rename(columns={"level": "Level (m)", "hpc": "HPC, m", "bs": "bs, m"}).to_csv(index=False)
    assert mark_book(book, text).score == (11, 11)
    in_mm = page(BY_HPC).rename(columns={"level": "level, mm"})
    in_mm["level, mm"] = [cell.replace(".", "") for cell in in_mm["level, mm"]]
    assert mark_book(book, in_mm).score == (11, 11)


@pytest.mark.parametrize("cell", [10**400, 10**5000, [1, 2], pd.Series([1.0]), Decimal("sNaN"), pd.NA, float("inf")],
                         ids=["401 digits", "5001 digits", "list", "series", "decimal", "NA", "inf"])
def test_a_cell_of_any_kind_is_read_or_counts_as_empty(book: sl.LevelBook, cell: object) -> None:
    marked = mark_book(book, pd.DataFrame({"row": [2], "level": [cell]}, dtype=object))
    assert [mark.verdict for mark in marked.marks if (mark.row, mark.column) == (2, "level")] == ["missing"]


def test_the_page_of_another_exercise_is_refused(book: sl.LevelBook) -> None:
    other = page(BY_HPC)
    other.loc[1, "is"] = "1.111"
    with pytest.raises(sl.SurveyError, match=r"Row 2, .*: the page is that of another exercise: is is '1\.111' there"):
        mark_book(book, other)


@pytest.mark.filterwarnings("ignore:Not columns of the page, and not used. weather:sitelevels.SurveyWarning")
def test_the_page_as_csv_text_in_any_order_with_columns_more(book: sl.LevelBook) -> None:
    frame = page(BY_HPC, {(2, "level"): "12.884"}).iloc[::-1].assign(weather="dry")
    assert mark_book(book, frame.to_csv(index=False)).slips == mark_book(book, page(BY_HPC, {(2, "level"): "12.884"})).slips
    text = frame.to_csv(index=False, sep=";", decimal=",").replace(".", ",")
    assert only(mark_book(book, text)).kind == "added"


def test_rows_go_by_order_where_they_have_no_number(book: sl.LevelBook) -> None:
    assert mark_book(book, page(BY_HPC).drop(columns="row")).score == (11, 11)
    assert mark_book(book, page(BY_HPC).set_index("row")).score == (11, 11)


def test_fewer_rows_leave_the_others_missing(book: sl.LevelBook) -> None:
    marked = mark_book(book, page(BY_HPC).iloc[:4])
    assert by_verdict(marked, "missing") == [(5, "level"), (6, "level"), (6, "hpc"), (7, "level"), (8, "level")]


@pytest.mark.parametrize(("answers", "said"), [
    (pd.DataFrame(), "no column to fill in"), ("", "empty"),
    (pd.DataFrame({"row": ["1"], "height": ["3"]}), "no column to fill in"),
    ("row,level\n99,9.884", "neither a row of the book nor one of its questions"),
    ("row,level\nx,9.884", "neither a row of the book nor one of its questions"),
    ("row,level\n2,9.884\n2,9.885", "two answers"), ("row,level,level\n2,9.884,9.885", "twice"),
    ("row,level\n2,9,884", "more cells than there are headings"), ("row,level\n2,\"9.884", "not a table"),
    ("level\n" + "1\n" * 9, "neither a row of the book nor one of its questions"),
    ("point,level\nS2,9.884", "neither a row of the book nor one of its questions"),
])
def test_a_page_that_fits_no_book_is_refused_in_words(book: sl.LevelBook, answers: pd.DataFrame | str, said: str) -> None:
    with pytest.raises(sl.SurveyError, match=said):
        mark_book(book, answers)


def test_what_is_no_page_or_no_book_is_refused_in_words(book: sl.LevelBook) -> None:
    for wrong in (None, 3, [["1"]]):
        with pytest.raises(sl.SurveyError, match="It must be a"):
            mark_book(book, wrong)  # type: ignore[arg-type]
    with pytest.raises(sl.SurveyError, match="It must be a"):
        mark_book("BM", page({}))  # type: ignore[arg-type]
    for digit in (0, -1, float("nan"), "1"):
        with pytest.raises(sl.SurveyError, match="digit"):
            mark_book(book, page({}), digit=digit)  # type: ignore[arg-type]


def test_the_same_row_twice_is_one_where_both_agree(book: sl.LevelBook) -> None:
    assert mark_book(book, pd.concat([page(BY_HPC), page(LEVELS_ONLY)])).score == (11, 11)


# The known level in the middle: HPC of row 1 = 10.000 + 1.365 = 11.365, of row 3 = 10.000 + 1.412 = 11.412.
MIDDLE = "point,bs,is,fs,rl\nA,1.384,,,\nS1,,1.500,,\nBM,1.412,,1.365,10.000\nS2,,1.250,,\nC,,,1.433,\n"


@pytest.mark.filterwarnings("ignore::sitelevels.SurveyWarning")
def test_a_book_reduced_backwards_from_a_benchmark_in_its_middle() -> None:
    book = sl.read_book(MIDDLE)
    right = {"hpc": {1: "11.365", 3: "11.412"}, "level": {1: "9.981", 2: "9.865", 4: "10.162", 5: "9.979"}}
    assert mark_book(book, page(right, rows=5)).score == (6, 6)
    slip = mark_book(book, page(right, {(1, "hpc"): "8.635", (1, "level"): "7.251", (2, "level"): "7.135"}, rows=5))
    assert (only(slip).row, only(slip).kind) == (1, "backsight subtracted")  # 10.000 − 1.365
    assert by_verdict(slip, "carried") == [(1, "level"), (2, "level")]
    steps = {"fall": {2: "0.116", 5: "0.183"}, "rise": {3: "0.135", 4: "0.162"}, "level": right["level"]}
    assert mark_book(book, page(steps, rows=5)).score == (8, 8)
    # 10.000 + 0.135 in place of 10.000 − 0.135, and S1 to A carried: 10.135 + 0.116 = 10.251
    slip = mark_book(book, page(steps, {(2, "level"): "10.135", (1, "level"): "10.251"}, rows=5))
    assert (only(slip).row, only(slip).kind) == (2, "wrong way")
    assert by_verdict(slip, "carried") == [(1, "level")]


@pytest.mark.filterwarnings("ignore::sitelevels.SurveyWarning")
def test_a_book_in_feet() -> None:
    """HPC 100.00 + 4.20 = 104.20 ft; levels 104.20 − 5.10 = 99.10 and 104.20 − 4.20 = 100.00 ft."""
    book = sl.read_book("point,bs (ft),is (ft),fs (ft),rl (ft)\nBM,4.20,,,100.00\nA,,5.10,,\nBM,,,4.20,")
    right = {"hpc": {1: "104.20"}, "level": {2: "99.10", 3: "100.00"}}
    assert mark_book(book, page(right, rows=3)).score == (3, 3)
    mark = only(mark_book(book, page(right, {(2, "level"): "109.30"}, rows=3)))
    assert (mark.kind, mark.right) == ("added", "99.100 ft")
    assert only(mark_book(book, page(right, {(2, "level"): "98.10"}, rows=3))).reason.startswith("it is out by exactly 1.000 ft")
    assert mark_book(book, page(right, {(2, "level"): "30.206 m"}, rows=3)).slips == ()  # 99.10 × 0.3048 = 30.20568


@pytest.mark.filterwarnings("ignore::sitelevels.SurveyWarning")
def test_a_book_in_mm() -> None:
    book = sl.read_book("point,bs (mm),is (mm),fs (mm),rl (mm)\nBM,1500,,,10000\nA,,1625,,\nBM,,,1501,")
    right = {"hpc": {1: "11500"}, "level": {2: "9875", 3: "9999"}}
    assert mark_book(book, page(right, rows=3)).score == (3, 3)
    assert only(mark_book(book, page(right, {(2, "level"): "9.875"}, rows=3))).kind == "unit"
    assert mark_book(book, page(right, {(2, "level"): "9.875 m"}, rows=3)).slips == ()
    assert only(mark_book(book, page(right, {(2, "level"): "9785"}, rows=3))).reason == (
        "two digits changed places: the sum gives 9875 mm. Level = HPC − reading = 9875 mm.")


# The backsight on its own row. HPCs 11.384 and 10.019 + 1.412 = 11.431.
OWN_ROW = "point,bs,is,fs,rl\nBM,1.384,,,10.000\nCP1,,,1.365,\nCP1,1.412,,,\nS2,,1.256,,\nBM,,,1.431,\n"


def test_a_book_with_the_backsight_on_its_own_row() -> None:
    book = sl.read_book(OWN_ROW)
    right = {"hpc": {1: "11.384", 3: "11.431"}, "level": {2: "10.019", 4: "10.175", 5: "10.000"}}
    assert mark_book(book, page(right, rows=5)).score == (5, 5)
    assert mark_book(book, page(right, {(3, "level"): "10.019"}, rows=5)).score == (6, 6)
    steps = {"rise": {2: "0.019", 4: "0.156"}, "fall": {5: "0.175"}, "level": right["level"]}
    assert mark_book(book, page(steps, rows=5)).score == (6, 6)
    # 1.365 − 1.412 = −0.047 booked as a fall in row 3, and carried: 10.019 − 0.047 = 9.972
    wrong = {(3, "fall"): "0.047", (3, "level"): "9.972", (4, "level"): "10.128", (5, "level"): "9.953"}
    slip = mark_book(book, page(steps, wrong, rows=5))
    assert (only(slip).row, only(slip).kind) == (3, "across the change point")
    assert by_verdict(slip, "carried") == [(3, "level"), (4, "level"), (5, "level")]


def test_a_number_where_none_belongs(book: sl.LevelBook) -> None:
    every = {row: HPC[max(one for one in HPC if one <= row)] for row in range(1, 9)}
    assert mark_book(book, page({"hpc": every, "level": LEVEL})).score == (11, 11)  # the HPC once more in every row
    assert only(mark_book(book, page(BY_HPC, {(5, "hpc"): "12.687"}))).row == 5
    assert mark_book(book, page(BY_STEPS, {(1, "rise"): "0.000", (2, "rise"): "0", (5, "fall"): "0"})).slips == ()
    assert mark_book(book, page(BY_STEPS, {(4, "rise"): "-2.750", (4, "fall"): ""})).slips == ()


def test_a_benchmark_copied_1_mm_wrong_does_not_show_in_the_misclosure(book: sl.LevelBook) -> None:
    """All 1 mm up: the book closes 1 mm low in place of 2 mm low, within 8.7 mm (5 mm × √3)."""
    up = {(row, name): f"{float(text) + 0.001:.3f}" for name, texts in BY_HPC.items() for row, text in texts.items()}
    marked = mark_book(book, page(BY_HPC, up))
    assert (only(marked).row, only(marked).check) == (1, "the level given under rl")
    assert len(by_verdict(marked, "carried")) == 10


def test_a_given_level_may_be_left_out_but_not_be_wrong(book: sl.LevelBook) -> None:
    assert mark_book(book, page(BY_HPC, {(1, "level"): ""})).score == (10, 10)
    wrong = {(row, "level"): text for row, text in {1: "10.100", 2: "9.984", 3: "12.869", 4: "10.119", 5: "10.275", 6: "9.898",
                                                    7: "10.157", 8: "10.098"}.items()}
    marked = mark_book(book, page(BY_HPC, wrong | {(1, "hpc"): "11.484", (4, "hpc"): "11.531", (6, "hpc"): "11.105"}))
    assert (only(marked).row, only(marked).kind, only(marked).check) == (1, "carry", "the misclosure")
    assert len(by_verdict(marked, "carried")) == 10


# From BM1 10.000 to BM2 9.996. HPCs 11.500, 11.300; the level found is 11.300 − 1.300 = 10.000: 4 mm too high, 2 mm to a set-up.
CLOSING = Exercise(sl.read_book("point,bs,is,fs,rl\nBM1,1.500,,,10.000\nA,,1.600,,\nCP,1.200,,1.400,\nB,,1.100,,\n"
                                "BM2,,,1.300,9.996\n"), adjusts=True)
CLOSED = {"hpc": {1: "11.500", 3: "11.300"}, "level": {2: "9.900", 3: "10.100", 4: "10.200", 5: "10.000"}}
ADJUSTED = {2: "9.898", 3: "10.098", 4: "10.196", 5: "9.996"}


def closing(adjusted: dict[int, str], changes: dict[tuple[int, str], str] | None = None) -> Marked:
    frame = page(CLOSED, changes, rows=5)
    return mark_book(CLOSING, frame.assign(adjusted=[adjusted.get(row, "") for row in range(1, 6)]))


@pytest.mark.parametrize(("adjusted", "again"), [
    ({2: "9.902", 3: "10.102", 4: "10.204", 5: "10.004"}, 3),  # added, not taken off
    ({2: "9.896", 3: "10.096"}, 1),  # the share of the other set-up
    ({2: "9.900", 3: "10.100", 4: "10.200"}, 2),  # not shared out
])
def test_adjusted_levels_with_a_wrong_correction(adjusted: dict[int, str], again: int) -> None:
    assert closing(ADJUSTED).score == (10, 10)
    marked = closing(ADJUSTED | adjusted)
    assert (only(marked).row, only(marked).column, only(marked).kind) == (2, "adjusted", "correction")
    assert len(by_verdict(marked, "again")) == again


def test_the_check_of_an_adjusted_level_is_the_closing_row_where_it_is_wrong_there() -> None:
    assert only(closing(ADJUSTED | {5: "10.000"})).check == "the known level in the closing row"
    assert only(closing(ADJUSTED | {2: "9.885"})).check == ""
    assert only(closing(ADJUSTED | {1: "10.010"})).check == ""


# The same with 1.300 booked for 1.270 on BM2: 11.300 − 1.300 against 10.030, 30 mm low, so nothing is shared out.
def test_no_known_level_checks_an_adjusted_level_where_the_book_does_not_close() -> None:
    book = sl.read_book("point,bs,is,fs,rl\nBM1,1.500,,,10.000\nA,,1.600,,\nCP,1.200,,1.400,\nB,,1.100,,\nBM2,,,1.300,10.030\n")
    adjusted = {2: "9.900", 3: "10.100", 4: "10.200", 5: "10.018"}
    frame = page(CLOSED, rows=5).assign(adjusted=[adjusted.get(row, "") for row in range(1, 6)])
    mark = only(mark_book(Exercise(book, adjusts=True), frame))
    assert (mark.key, mark.right, mark.check) == ((5, "adjusted"), "10.000 m", "")


# Two benchmarks, BM2 given 3 mm lower than 11.080 − 1.078 = 10.002, which is found there.
TWO_MARKS = "point,bs,is,fs,rl\nBM1,1.500,,,10.000\nA,,1.625,,\nCP,1.345,,1.765,\nC,,1.876,,\nBM2,,,1.078,9.999\n"


@pytest.mark.parametrize("first", ["9.997", ""])
def test_a_page_worked_back_from_the_other_benchmark(first: str) -> None:
    """9.999 + 1.078 = 11.077, − 1.876 = 9.201, − 1.345 = 9.732, + 1.765 = 11.497, − 1.625 = 9.872, − 1.500 = 9.997."""
    right = {"hpc": {1: "11.497", 3: "11.077"}, "level": {1: first, 2: "9.872", 3: "9.732", 4: "9.201", 5: "9.999"}}
    marked = mark_book(sl.read_book(TWO_MARKS), page(right, rows=5))
    assert (only(marked).row, only(marked).kind) == (1, "other level")
    assert "you worked back from the known level of BM2" in only(marked).reason
    assert len(by_verdict(marked, "carried")) == (6 if first else 5)


def test_a_known_level_put_in_the_row_of_another_point() -> None:
    """BM2's 9.999 put in the row of BM1, and all 1 mm down from there."""
    down = {"hpc": {1: "11.499", 3: "11.079"}, "level": {1: "9.999", 2: "9.874", 3: "9.734", 4: "9.203", 5: "10.001"}}
    marked = mark_book(sl.read_book(TWO_MARKS), page(down, rows=5))
    assert (only(marked).row, only(marked).kind, only(marked).check) == (1, "other level", "the level given under rl")
    assert "the known level of BM2 in row 1" in only(marked).reason


@pytest.mark.filterwarnings("ignore::sitelevels.SurveyWarning")
def test_the_benchmark_in_the_middle_put_in_the_first_row() -> None:
    """10.000 put on A, worked on from there: HPC 11.384, 9.884, 10.019, HPC 11.431, 10.181, 9.998."""
    wrong = {"hpc": {1: "11.384", 3: "11.431"}, "level": {1: "10.000", 2: "9.884", 3: "10.019", 4: "10.181", 5: "9.998"}}
    marked = mark_book(sl.read_book(MIDDLE), page(wrong, rows=5))
    assert (only(marked).row, only(marked).kind) == (3, "other level")
    assert "you put the known level of BM in row 1 and worked from there" in only(marked).reason
    assert len(by_verdict(marked, "carried")) == 6


def test_adjusted_levels_follow_from_the_learners_own_misclosure() -> None:
    """Row 5 is written 10.002: 6 mm too high, 3 mm to a set-up."""
    marked = closing({2: "9.897", 3: "10.097", 4: "10.194", 5: "9.996"}, {(5, "level"): "10.002"})
    assert (only(marked).row, only(marked).column) == (5, "level")
    assert by_verdict(marked, "carried") == [(2, "adjusted"), (3, "adjusted"), (4, "adjusted")]


DROP = Question("drop", "How far does S3 lie below S1?", "mm", lambda own: own.levels[2] - own.levels[7],
                "9.884 − 10.057 = −173 mm", mistakes={"you took S1 from D1": lambda own: own.levels[3] - own.levels[2]},
                check="the rise and fall between them")
FALLS = Question("fall", "What is the fall over 9 m?", "fall", lambda own: own.number("drop") / 9, "173 mm in 9 m",
                 mistakes={"you used 10 m": lambda own: own.number("drop") / 10})
CLOSES = Question("closes", "Does it close?", "choice", lambda own: "yes" if abs(own.levels[8] - 10.0) < 0.008 else "no",
                  "−2 mm is within 8 mm", choices=("yes", "no"))
SLIP_ROW = Question("row of the slip", "Where is it?", "row", lambda own: "4", "CP1", also=("6",))


@pytest.fixture(scope="module")
def asked(book: sl.LevelBook) -> Exercise:
    return Exercise(book, questions=(DROP, FALLS, CLOSES, SLIP_ROW))


def answers(exercise: Exercise, *given: str, changes: dict[tuple[int, str], str] | None = None) -> dict[str, Mark]:
    frame = page(BY_HPC, changes).assign(point="", answer="")
    lines = pd.DataFrame([{"row": "", "point": question.name, "answer": text} for question, text in
                          zip(exercise.questions, given, strict=True)])
    return {mark.where: mark for mark in mark_book(exercise, pd.concat([frame, lines])).marks if not mark.row}


@pytest.mark.parametrize("fall", ["1:52 uphill", "1:-52", "-52", "−52,0", "19.2 mm/m uphill", "-1.92 %", "1 in 52 uphill"])
def test_right_answers(asked: Exercise, fall: str) -> None:
    """173 mm in 9 m is 1:52.0, uphill."""
    marks = answers(asked, "-173", fall, "Yes", "row 6")
    assert {mark.verdict for mark in marks.values()} == {"right"}, marks
    assert marks["row of the slip"].reason == "It would explain it too."


def test_answers_follow_from_the_learners_own_levels(asked: Exercise) -> None:
    """S3 1 m too high: the drop is −1.173 m, and 9 / 1.173 = 7.67."""
    marks = answers(asked, "-1173", "1:7.7 uphill", "yes", "4", changes={(7, "level"): "11.057"})
    assert [mark.verdict for mark in marks.values()] == ["carried", "carried", "right", "right"]


def test_a_carried_verdict_says_what_the_book_itself_gives(asked: Exercise) -> None:
    """BM 100 mm too high: the learner's own page does not close, the book does, 2 mm low."""
    mark = answers(asked, "-173", "1:52 uphill", "no", "4", changes={(8, "level"): "10.098"})["closes"]
    assert (mark.verdict, mark.reason) == ("carried", "Right, carried from your own numbers (the book itself: yes).")


def test_an_answer_follows_from_the_answer_before(asked: Exercise) -> None:
    """The sign lost in the first; 9 / 0.173 = 52.0."""
    marks = answers(asked, "173", "1:52", "no", "none")
    assert [(mark.verdict, mark.kind) for mark in marks.values()] == [("wrong", "sign"), ("carried", ""), ("wrong", "question"),
                                                                     ("wrong", "question")]
    assert marks["drop"].check == "the rise and fall between them"


def test_the_row_of_a_slip_that_no_check_shows_is_found_all_the_same(book: sl.LevelBook) -> None:
    hidden = Question("row of the slip", "Where is it?", "row", lambda own: "none", "no check shows it", also=("4",))
    mark = answers(Exercise(book, questions=(hidden,)), "4")["row of the slip"]
    assert (mark.verdict, mark.reason) == ("right", "No check shows it; you found it all the same.")


def test_an_answer_in_the_wrong_unit_is_one_slip_and_is_built_on_as_it_was_meant(book: sl.LevelBook) -> None:
    """S3 1 m too high: −1.173 m where mm are asked for, twice; 9 / 1.173 = 7.67, and twice the drop is −2.346 m."""
    twice = Question("twice", "?", "mm", lambda own: 2 * own.number("drop"), "−346 mm", check="the drop")
    exercise = Exercise(book, questions=(DROP, FALLS, twice))
    marks = answers(exercise, "-1.173", "1:7.7 uphill", "-2.346", changes={(7, "level"): "11.057"})
    assert [(mark.verdict, mark.kind, mark.check) for mark in marks.values()] == [
        ("wrong", "unit", ""), ("carried", "", ""), ("carried", "unit", "")]


def test_a_mistake_that_the_question_knows(asked: Exercise) -> None:
    """12.769 − 9.884 = 2.885 m; 10 / 0.173 = 57.8."""
    marks = answers(asked, "2885", "", "", "")
    assert (marks["drop"].kind, marks["drop"].reason) == ("question", "you took S1 from D1. 9.884 − 10.057 = −173 mm")
    assert answers(asked, "-173", "1:57.8 uphill", "", "")["fall"].kind == "question"
    assert answers(asked, "-173", "1:0.5", "", "")["fall"].kind == "arithmetic"
    assert answers(asked, "-204", "", "", "")["drop"].reason.startswith("it is 31 mm too low, which no simple slip gives")
    assert {answers(asked, "", "", "", "")[name].verdict for name in ("drop", "fall", "closes", "row of the slip")} == {"missing"}


@pytest.mark.parametrize("text", ["abc", "1:0", "0", "level-ish", "1:x", "∞", "1:1e-9"])
def test_answers_that_cannot_be_read(asked: Exercise, text: str) -> None:
    marks = answers(asked, "abc", text, text, "x")
    assert {mark.verdict for mark in marks.values()} == {"missing"}
    assert "cannot be read" in marks["fall"].reason


def test_a_page_of_questions_alone() -> None:
    pegs = Exercise(None, given=("0.050 m over 30 m.",), questions=(Question("error", "?", "mm", lambda own: 0.05, "50 mm"),))
    assert mark_book(pegs, pegs.sheet(filled=True)).score == (1, 1)
    assert mark_book(pegs, "answer\n60").slips[0].kind == "carry"
    assert mark_book(pegs, "point,answer\n\"error, mm\",0.05").slips[0].kind == "unit"


def test_the_filled_page_of_an_exercise_is_right(asked: Exercise) -> None:
    assert mark_book(asked, asked.sheet(filled=True)).slips == ()
    assert by_verdict(mark_book(asked, asked.sheet(filled=True)), "missing") == []
    assert mark_book(CLOSING, CLOSING.sheet(filled=True)).score == (16, 16)
    assert mark_book(asked, asked.sheet().to_csv(index=False)).score[0] == 0


def test_names_and_cells_are_escaped_on_the_page() -> None:
    book = sl.read_book("point,bs,is,fs,rl\nBM,1.500,,,10\n<i>A</i>,,1.625,,\nBM,,,1.500,")
    html = mark_book(book, page({"level": {2: "13.125"}, "hpc": {1: "11.500"}}, rows=3))._repr_html_()
    assert "<i>" not in html
    assert "&lt;i&gt;A" in html


def test_the_marks_as_a_table(book: sl.LevelBook) -> None:
    marked = mark_book(book, page(BY_HPC, {(2, "level"): "12.884"}))
    assert list(marked.table.columns) == ["where", "column", "written", "right", "verdict", "reason", "check"]
    line = marked.table[marked.table["verdict"] == "wrong"].iloc[0]
    assert list(line)[:5] == ["row 2, S1", "level", "12.884", "9.884 m", "wrong"]
    table = marked.table
    table.loc[0, "verdict"] = "spoilt"
    assert "spoilt" not in set(marked.table["verdict"])


def test_a_long_page_wrong_throughout_is_marked_in_seconds() -> None:
    """Every cell of 200 rows out by another amount: what each might have been is not sought all over the page."""
    rows = "".join(f"S{number},,{1 + number * 37 % 900 / 1000:.3f},,\n" for number in range(200))
    exercise = Exercise(sl.read_book(f"point,bs,is,fs,rl\nBM,1.500,,,10.000\n{rows}BM,,,1.501,"))
    wrong = exercise.sheet(filled=True)
    for column in ("rise", "fall", "hpc", "level"):
        wrong[column] = [f"{float(cell) + (place * 53 % 890 + 3) / 1000:.3f}" if cell else ""
                         for place, cell in enumerate(wrong[column])]
    start = time.process_time()
    marked = mark_book(exercise, wrong)
    assert time.process_time() - start < 10
    assert len(marked.slips) > 100


def test_what_follows_from_the_wrong_mark_that_governs_is_carried() -> None:
    """A capstone answered with the higher DPC mark: the finished level 150 mm under that mark is right from there."""
    exercise = sl.practice_book(1, kind="a yard")
    right = str(exercise.own.answers["governing DPC"])
    chosen = "DPC2" if right == "DPC1" else "DPC1"
    filled = exercise.sheet(filled=True)
    level = Decimal(filled.loc[filled["point"] == chosen, "level"].iloc[0]) - Decimal("0.150")
    for name, answer in (("governing DPC", chosen), ("finished level at the wall", f"{level} m")):
        filled.loc[filled["point"] == name, "answer"] = answer
    marks = {mark.where: mark.verdict for mark in mark_book(exercise, filled).marks if not mark.row}
    assert (marks["governing DPC"], marks["finished level at the wall"]) == ("wrong", "carried")


def test_a_dash_is_no_answer_and_spoils_none(book: sl.LevelBook) -> None:
    dashed = page(BY_HPC)
    for column in ("rise", "fall"):
        dashed[column] = "–"
    assert mark_book(book, dashed).score == (11, 11)


def test_a_misclosure_shared_by_rows_is_one_slip() -> None:
    """4 rows, 6 mm too high over two set-ups: by rows 2, 4 and 6 mm come off, by set-ups 3, 3 and 6 mm."""
    text = "point,bs,is,fs,rl\nBM1,1.500,,,10.000\nS1,,1.400,,\nCP,1.300,,1.200,\nBM2,,,1.306,10.288"
    exercise = Exercise(sl.read_book(text), adjusts=True)
    filled = exercise.sheet(filled=True)
    assert filled["level"].tolist() == ["10.000", "10.100", "10.300", "10.294"]
    filled["adjusted"] = ["10.000", "10.098", "10.296", "10.288"]
    marked = mark_book(exercise, filled)
    assert [(mark.row, mark.kind) for mark in marked.slips] == [(2, "correction")]
    assert "shared it by rows" in marked.slips[0].reason
