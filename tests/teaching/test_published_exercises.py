"""Published books as exercises, their own printed answers typed in: the right is marked right, the misprinted is found."""

from __future__ import annotations

import warnings
from typing import Any

import pandas as pd
import pytest
from finding import FOOT, Case, booked_rows, csv_text
from published import cases

import sitelevels as sl
from sitelevels.teaching.exercise import Exercise
from sitelevels.teaching.marking import Mark, Marked, mark_book

CASES = cases()
WORKED = ("rise", "fall", "hpc", "level", "adjusted")
Cells = dict[tuple[int, str], str]  # what is typed, by row and column


def exercise_of(name: str, rows: list[Case] | None = None) -> Exercise:
    """The book of a case as an exercise, in the unit it was printed in."""
    case = CASES[name]
    unit = "ft" if case["units"].startswith("ft") else "m"
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", sl.SurveyWarning)
        book = sl.read_book(csv_text(rows or booked_rows(case)), unit=unit)
    return Exercise(book, adjusts="adjusted_rl" in case["expected"])


def marked(exercise: Exercise, typed: Cells, **options: Any) -> Marked:
    page = exercise.sheet().set_index("row")
    for (row, column), text in typed.items():
        assert column in page.columns
        page.loc[str(row), column] = text
    return mark_book(exercise, page.reset_index(), **options)


def verdicts(marks: tuple[Mark, ...], typed: Cells) -> dict[tuple[int, str], str]:
    """The verdict on each cell that was typed."""
    found = {(mark.row, mark.column): mark.verdict for mark in marks}
    return {cell: found.get(cell, "not marked") for cell in typed}


def level_cells(case: Case, rows: list[Case]) -> Cells:
    """The printed levels, by the row or by the point that they are printed for."""
    printed = case["expected"]["rl"]
    if isinstance(printed, dict):
        return {(number, "level"): f"{printed[row['point']]:.3f}"
                for number, row in enumerate(rows, start=1) if row["point"] in printed}
    return {(number, "level"): f"{level:.3f}" for number, level in enumerate(printed, start=1)}


def step_cells(steps: list[float]) -> Cells:
    """Printed rises (positive) and falls, from the second row on."""
    return {(number, "rise" if step > 0 else "fall"): f"{abs(step):.3f}" for number, step in enumerate(steps, start=2)}


def hpc_cells(case: Case, printed: list[float]) -> Cells:
    """Printed HPCs, each in the row of its backsight."""
    rows = [number for number, row in enumerate(booked_rows(case), start=1) if "bs" in row]
    return {(number, "hpc"): f"{hpc:.3f}" for number, hpc in zip(rows, printed, strict=True)}


def typed_of(name: str) -> Cells:
    """All that a source prints for the columns of its book, as it prints it (corrected of its errata)."""
    case, expected = CASES[name], CASES[name]["expected"]
    rows = booked_rows(case)
    typed: Cells = {}
    if "rl" in expected:
        typed |= level_cells(case, rows)
    if "hpc" in expected or "hi" in expected:
        printed = expected.get("hpc", expected.get("hi"))
        typed |= hpc_cells(case, printed if isinstance(printed, list) else [printed])
    if "rise_fall" in expected:
        typed |= step_cells(expected["rise_fall"])
    if "elevations" in expected:
        typed |= {(number, "level"): f"{level:.1f}" for number, level in enumerate(expected["elevations"], start=2)}
    if "adjusted_rl" in expected:
        typed |= {(number, "adjusted"): f"{level:.2f}" for number, level in enumerate(expected["adjusted_rl"], start=1)}
    for key in ("last_rl", "closing_rl", "rl_x", "rl_soffit"):
        if key in expected:
            typed[len(rows), "level"] = f"{expected[key]:.3f}"
    return typed | {(number, "level"): f"{expected['RL_' + row['point']]:.3f}"
                    for number, row in enumerate(rows, start=1) if "RL_" + row["point"] in expected}


PUBLISHED = {  # name: how many cells are printed, counted by hand in the file
    "LB01": 10 + 5 + 10,  # levels, HPCs, adjusted levels
    "LB02": 9 + 4,  # levels, HPCs
    "LB03": 9 + 8,  # levels, rises and falls
    "LB04": 18,  # levels; the only benchmark stands in row 10
    "LB06": 1,  # the last level
    "LB07": 5 + 4,  # levels, HPCs, in ft
    "LB09": 5,  # rises and falls
    "LB10": 34,  # 35 rows, all but BM have a printed level
    "INV02": 2,  # HPC, soffit
    "FT01": 1 + 2,  # HPC, two levels printed to 0.1 ft
    "FT03": 1,
    "FT04": 1,
    "W15": 6,  # levels A to E and TBM
}


def test_no_published_book_is_left_out() -> None:
    """INV01 prints a height above the floor and no level; MD01, W17 and W61 print no book."""
    books = {name for name, case in CASES.items()
             if case["published"] and case["source"] and name[:2] in ("LB", "IN", "FT", "W1") and "rows" in case["inputs"]}
    assert books - set(PUBLISHED) == {"INV01"}


@pytest.mark.parametrize("name", PUBLISHED)
def test_printed_answers_are_marked_right(name: str) -> None:
    # LB01 prints adjusted levels to 0.01 m, FT01 levels to 0.1 ft
    digit = {"LB01": 0.01, "FT01": 0.1 * FOOT}.get(name, 0.001)
    typed = typed_of(name)
    assert len(typed) == PUBLISHED[name]
    result = marked(exercise_of(name), typed, digit=digit)
    assert verdicts(result.marks, typed) == dict.fromkeys(typed, "right")
    assert result.slips == ()


@pytest.mark.parametrize("name", [name for name in PUBLISHED if name not in ("LB01", "FT01")])
def test_a_last_digit_more_is_not_right(name: str) -> None:
    """So that the test above could fail: the last cell that is printed, 2 mm (0.01 ft) up."""
    typed = typed_of(name)
    cell = list(typed)[-1]
    typed[cell] = f"{float(typed[cell]) + (0.01 if CASES[name]['units'].startswith('ft') else 0.002):.3f}"
    assert verdicts(marked(exercise_of(name), typed).marks, typed)[cell] == "wrong"


# Misprints

def the_slip(result: Marked) -> Mark:
    """The one mark that is wrong."""
    (slip,) = result.slips
    return slip


def test_lb02_the_last_level_is_a_millimetre_out() -> None:
    """102.900 - 3.265 = 99.635, printed 99.636 in the check line.

    Out by exactly 1 mm: a figure carried wrongly. That the reading was taken as 3.264 is less likely, and not to be said.
    """
    typed = typed_of("LB02") | {(9, "level"): "99.636"}
    result = marked(exercise_of("LB02"), typed)
    slip = the_slip(result)
    assert (slip.row, slip.column) == (9, "level")
    assert slip.kind == "carry"
    assert "exactly 1 mm" in slip.reason
    assert verdicts(result.marks, typed) == dict.fromkeys(typed, "right") | {(9, "level"): "wrong"}


def test_lb03_the_printed_rise_does_not_give_the_printed_level() -> None:
    """147.660 + 1.740 = 149.400, printed 149.450: 50 mm out, and the next level, 150.535 = 149.400 + 1.135, is right.

    The rise 1.740 itself is printed right beside it, so the slip was made in adding it.
    """
    typed = typed_of("LB03") | {(8, "level"): "149.450"}
    result = marked(exercise_of("LB03"), typed)
    slip = the_slip(result)
    assert (slip.row, slip.column) == (8, "level")
    assert slip.kind == "arithmetic"
    assert "50 mm too high" in slip.reason
    assert verdicts(result.marks, typed) == dict.fromkeys(typed, "right") | {(8, "level"): "wrong"}


def test_lb03_the_level_alone() -> None:
    """Only levels typed in. 149.450 = 147.660 + 2.305 - 0.515 as well: 2.305 is the backsight booked in the same row.

    So "other reading" is a true reason here; "arithmetic", 50 mm, is another. The last level is right.
    """
    typed = {cell: text for cell, text in typed_of("LB03").items() if cell[1] == "level"} | {(8, "level"): "149.450"}
    result = marked(exercise_of("LB03"), typed)
    slip = the_slip(result)
    assert (slip.row, slip.column) == (8, "level")
    assert slip.kind in ("other reading", "reading miscopied", "arithmetic")
    assert verdicts(result.marks, typed) == dict.fromkeys(typed, "right") | {(8, "level"): "wrong"}


def test_lb03_a_digit_too_many_in_a_fall() -> None:
    """0.125 - 1.915 = -1.790, printed 1.7290: the level 148.040 beside it was worked with 1.790 and is right.

    1.729 is 61 mm less than 1.790: two digits differ, none are swapped, it is no difference of two readings next to it.
    """
    typed = typed_of("LB03") | {(3, "fall"): "1.7290"}
    result = marked(exercise_of("LB03"), typed)
    slip = the_slip(result)
    assert (slip.row, slip.column) == (3, "fall")
    assert slip.kind == "arithmetic"
    assert "61 mm too small" in slip.reason
    assert verdicts(result.marks, typed) == dict.fromkeys(typed, "right") | {(3, "fall"): "wrong"}


def test_lb10_point_9() -> None:
    """40.140 + 1.120 - 1.075 = 40.185, printed 40.165: what a reading of 1.095 would give, one digit misread.

    No other reading is 1.095, no other HPC 41.240, and 20 mm is no figure carried.
    """
    case = CASES["LB10"]
    rows = booked_rows(case)
    rows.insert(8, {"point": "9", "is": 1.075})  # under row 8, the set-up on point 1
    typed = level_cells(case, rows) | {(9, "level"): "40.165"}
    result = marked(exercise_of("LB10", rows), typed)
    slip = the_slip(result)
    assert (slip.row, slip.column) == (9, "level")
    assert slip.kind == "reading miscopied"
    assert "1.075 as 1.095" in slip.reason
    assert verdicts(result.marks, typed) == dict.fromkeys(typed, "right") | {(9, "level"): "wrong"}


FLAG02 = [  # the levels that lead to the posted answer, worked by hand: from row to row the reading before less the reading,
    190.750, 189.975, 189.575, 189.100, 188.545, 188.050,
    189.570,  # 188.050 + 3.380 - 1.860: from the foresight; from the backsight it would be 1.055 - 1.860, a fall
    189.165, 187.890,
    190.485,  # 187.890 + 3.540 - 0.945: the same again
    189.900, 189.180,
]


def test_flag02_the_change_of_instrument_taken_for_a_rise() -> None:
    """Wrong in row 7 for a rise over the change point from its foresight, the same again in row 10, all else follows."""
    typed = {(row, "level"): f"{level:.3f}" for row, level in enumerate(FLAG02, start=1)}
    for row in range(2, 13):
        step = round(FLAG02[row - 1] - FLAG02[row - 2], 3)
        typed[row, "rise" if step > 0 else "fall"] = f"{abs(step):.3f}"
    result = marked(exercise_of("FLAG02"), typed)
    slip = the_slip(result)
    assert (slip.row, slip.column, slip.kind) == (7, "rise", "across the change point")
    assert "3.380" in slip.reason
    found = verdicts(result.marks, typed)
    assert found[10, "rise"] == "again"
    assert {found[row, "level"] for row in range(1, 7)} == {"right"}
    assert {found[row, "level"] for row in range(7, 13)} == {"carried"}
    assert {found[row, "fall"] for row in (2, 3, 4, 5, 6, 8, 9, 11, 12)} == {"right"}


def test_flag02_the_levels_alone() -> None:
    """The same with the columns rise and fall left empty: the level of row 7 does not follow, for the same reason.

    188.050 + 3.380 is 191.430, the HPC of the first set-up: said in either way it is the same slip.
    """
    typed = {(row, "level"): f"{level:.3f}" for row, level in enumerate(FLAG02, start=1)}
    result = marked(exercise_of("FLAG02"), typed)
    slip = the_slip(result)
    assert (slip.row, slip.column) == (7, "level")
    assert slip.kind in ("across the change point", "other reading", "other set-up")
    assert "3.380" in slip.reason or "191.430" in slip.reason
    found = verdicts(result.marks, typed)
    assert found[10, "level"] == "again"
    assert {found[row, "level"] for row in (8, 9, 11, 12)} == {"carried"}


def test_flag02_the_posted_answer_alone() -> None:
    """Only 189.180 typed in, which is 5.030 m too high: two rises that were none, 2.325 and 2.705. It is wrong, once."""
    slip = the_slip(marked(exercise_of("FLAG02"), {(12, "level"): "189.180"}))
    assert (slip.row, slip.column) == (12, "level")


def test_w15_a_foresight_is_a_millimetre_out() -> None:
    """The foresight on C is printed 1.497, the levels were worked with 1.496: 52.063 - 1.496 = 50.567.

    Wrong at C, a level exactly 1 mm out; D 51.073, E 50.775 and TBM 48.710 follow from it.
    """
    rows = booked_rows(CASES["W15"])
    rows[3]["fs"] = 1.497
    typed = typed_of("W15")
    result = marked(exercise_of("W15", rows), typed)
    slip = the_slip(result)
    assert (slip.row, slip.column) == (4, "level")
    assert slip.kind == "carry"
    assert "exactly 1 mm" in slip.reason
    assert verdicts(result.marks, typed) == {(2, "level"): "right", (3, "level"): "right", (4, "level"): "wrong",
                                             (5, "level"): "carried", (6, "level"): "carried", (7, "level"): "carried"}


def test_a_page_filled_in_right_is_marked_right() -> None:
    """`sheet(filled=True)` of a book in feet and of one that is linked backwards."""
    for name in ("LB07", "LB04"):
        exercise = exercise_of(name)
        page = exercise.sheet(filled=True)
        assert isinstance(page, pd.DataFrame)
        assert {mark.verdict for mark in mark_book(exercise, page).marks} == {"right"}
