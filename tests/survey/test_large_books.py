"""Books far larger than any yard: the time grows with the size and no faster."""

from __future__ import annotations

import time
from collections.abc import Callable

import pytest

from sitelevels import SurveyError, read_book, reduce_book, suspect_slips

pytestmark = pytest.mark.filterwarnings("ignore::sitelevels.SurveyWarning")

HEAD = "point,bs,is,fs,rl\n"


def chain(count: int) -> str:
    return HEAD + "BM,1.5,,,10\n" + "".join(f"C{one},1.5,,1.5,\n" for one in range(count)) + "BM,,,1.5,\n"


def repeats(count: int) -> str:
    return HEAD + "BM,1.5,,,10\n" + "BM,,1.5,,\n" * count


def on_one_unknown_point(count: int) -> str:
    return HEAD + "BM,1.5,,,10\nQ,,1.5,,\n" + "".join(f"Q,1.5,,,\nA{one},,1.4,,\n" for one in range(count)) + "Q,,1.5,,\n"


def unsteady(count: int) -> str:
    return HEAD + "".join(f"BM,1.5,,,{'' if one else 10}\nX{one},,1.4,,\nBM,,1.9,,\n" for one in range(count))


def seconds(act: Callable[[], object]) -> float:
    began = time.process_time()
    act()
    return time.process_time() - began


@pytest.mark.parametrize("made", [chain, repeats, on_one_unknown_point, unsteady])
def test_four_times_the_book_takes_nothing_like_sixteen_times_as_long(made: Callable[[int], str]) -> None:
    def work(count: int) -> float:
        return seconds(lambda: reduce_book(read_book(made(count))).doubts)
    assert min(work(12_000) for _ in range(3)) < 12 * max(min(work(3_000) for _ in range(3)), 0.02)


@pytest.mark.parametrize("text", [
    HEAD + "BM,1.5,,,10\nA,,-" + "1" * 120_000 + "x,,\n",
    "point,bs,is," + "(" * 20_000 + "\nBM,1.5,,\n",
    "point,bs,is,a" + " " * 100_000 + "b\nBM,1.5,,\n"], ids=["digits", "brackets", "blanks"])
def test_one_endless_cell_does_not_hold_it_up(text: str) -> None:
    told = []

    def work() -> None:
        try:
            told.extend(read_book(text).doubts)
        except SurveyError as error:
            told.extend(error.problems)
    assert seconds(work) < 2
    assert told
    assert max(map(len, told)) < 1000  # cut where nobody would read on


def test_the_search_for_a_slip_in_hundreds_of_set_ups() -> None:
    found = []
    assert seconds(lambda: found.append(suspect_slips(read_book(chain(600).replace("BM,,,1.5,", "BM,,,1.6,"))))) < 8
    assert len(found[0].on_the_line) == 30  # all are alike: the table shows so many
