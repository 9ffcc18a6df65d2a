"""Worked steps: every sum in them is done again here, from the text alone."""

from __future__ import annotations

import re
from decimal import Decimal

import numpy as np
import pytest

from sitelevels import read_book
from sitelevels.errors import SurveyError
from sitelevels.teaching.exercise import Exercise
from sitelevels.teaching.practice import DIFFICULTIES, KINDS, practice_book
from sitelevels.teaching.worked import METHODS, worked_steps

NUMBER = r"\(?(−?\d+\.\d{3})\)?"
SUM = re.compile(rf"{NUMBER} ([+−]) {NUMBER} = (−?\d+\.\d{{3}}|−?\d+ mm)")


def number(text: str) -> Decimal:
    plain = text.replace("−", "-")
    return Decimal(plain.removesuffix(" mm")) / 1000 if plain.endswith("mm") else Decimal(plain)


def sums(steps: tuple[str, ...]) -> list[tuple[str, str, str, str]]:
    return [found for step in steps if step.startswith(("Row", "Σ", "Level")) for found in SUM.findall(step)]


@pytest.mark.parametrize("method", METHODS)
@pytest.mark.parametrize("kind", KINDS)
def test_every_sum_is_right_and_every_row_is_told(kind: str, method: str) -> None:
    for seed in range(6):
        difficulty = [*DIFFICULTIES][seed % 3]
        exercise = practice_book(seed, kind=kind, difficulty=difficulty, slip="any" if seed > 2 and kind != "two pegs" else None)
        steps = worked_steps(exercise, method=method)  # type: ignore[arg-type]
        for first, sign, second, result in sums(steps):
            assert number(first) + (number(second) if sign == "+" else -number(second)) == number(result), steps
        levels = exercise.sheet(filled=True)
        for row, point, level in levels.loc[levels["row"] != "", ["row", "point", "level"]].itertuples(index=False) if (
                exercise.book) else ():
            assert any(step.startswith(f"Row {row}, {point}") and level.replace("-", "−") in step for step in steps), steps
        for question in exercise.questions:
            assert any(step.endswith(question.working) for step in steps)
        assert (exercise.slip.words == steps[-1]) if exercise.slip else "planted" not in " ".join(steps)
        if exercise.book:
            assert len(sums(steps)) >= len(exercise.book.rows)


def test_the_three_ways_of_a_step() -> None:
    """By hand: change point, staff upside down, misclosure of 3 mm shared over two set-ups is 1.5 mm each."""
    book = read_book("point,bs,is,fs,rl,remarks\nBM1,1.000,,,10.000,\nD,,-1.385,,,staff inverted\nCP,1.200,,0.800,,\n"
                     "BM2,,,1.100,10.303,")
    steps = worked_steps(Exercise(book, adjusts=True))
    assert steps == (
        "Row 1, BM1: HPC = 10.000 + 1.000 = 11.000 m.",
        "Row 2, D, staff upside down: level = 11.000 − (−1.385) = 12.385 m.",
        "Row 3, CP: level = 11.000 − 0.800 = 10.200 m.",
        "Row 3, CP: HPC = 10.200 + 1.200 = 11.400 m.",
        "Row 4, BM2: level = 11.400 − 1.100 = 10.300 m.",
        "ΣBS − ΣFS = 2.200 − 1.900 = 0.300. Last − first level = 10.300 − 10.000 = 0.300: they agree.",
        "Level found at BM2 − known level = 10.300 − 10.303 = −3 mm. Allowed is 7.1 mm over 2 set-ups: it closes.",
        "The misclosure of −3 mm is shared out over 2 set-ups; to each level add 1.5 mm from set-up 1, 3 mm from set-up 2.",
        "Row 2, D: adjusted = 12.385 + 0.0015 = 12.3865 m.",
        "Row 3, CP: adjusted = 10.200 + 0.0015 = 10.2015 m.",
        "Row 4, BM2: adjusted = 10.300 + 0.003 = 10.303 m.")


def test_no_misclosure_is_not_shared_out() -> None:
    book = read_book("point,bs,is,fs,rl\nBM1,1.000,,,10.000\nCP,1.200,,0.800,\nBM2,,,1.100,10.300")
    steps = worked_steps(Exercise(book, adjusts=True))
    assert steps[-1] == "There is nothing to share out."
    assert "0 mm" in steps[-2]
    assert not any("shared out over" in step for step in steps)


def test_rise_and_fall() -> None:
    book = read_book("point,bs,is,fs,rl\nBM,1.000,,,10.000\nCP,0.500,,1.250,\nBM,,,0.251,")
    assert worked_steps(Exercise(book), method="rise and fall") == (
        "Row 1, BM: known level 10.000 m.",
        "Row 2, CP: 1.000 − 1.250 = −0.250, a fall; level = 10.000 − 0.250 = 9.750 m.",
        "Row 2, CP: the instrument has moved, so go on from the new reading 0.500; level = 9.750 m.",
        "Row 3, BM: 0.500 − 0.251 = 0.249, a rise; level = 9.750 + 0.249 = 9.999 m.",
        "ΣBS − ΣFS = 1.500 − 1.501 = −0.001. Last − first level = 9.999 − 10.000 = −0.001: they agree.",
        "Σrise − Σfall = 0.249 − 0.250 = −0.001. Last − first level = 9.999 − 10.000 = −0.001: they agree.",
        "Level found at BM − known level = 9.999 − 10.000 = −1 mm. Allowed is 7.1 mm over 2 set-ups: it closes.")


def test_a_benchmark_at_the_end_is_worked_backwards() -> None:
    book = read_book("point,bs,is,fs,rl\nA,1.200,,,\nB,,1.500,,\nBM,,,0.700,20.000")
    assert worked_steps(Exercise(book))[:3] == (
        "Row 3, BM: HPC = 20.000 + 0.700 = 20.700 m.", "Row 1, A: level = 20.700 − 1.200 = 19.500 m.",
        "Row 2, B: level = 20.700 − 1.500 = 19.200 m.")
    back = worked_steps(Exercise(book), method="rise and fall")
    assert back[1].startswith("Row 2, B: 0.700 − 1.500 = −0.800, a fall; level = 20.000 − 0.800 = 19.200 m")
    assert back[2].startswith("Row 1, A: 1.500 − 1.200 = 0.300, a rise; level = 19.200 + 0.300 = 19.500 m")


def test_wrong_ways_are_refused() -> None:
    with pytest.raises(SurveyError, match=r"The method array\(\['hpc', 'hpc'\], dtype='<U3'\) is not known"):
        worked_steps(practice_book(1), method=np.array(["hpc", "hpc"]))  # type: ignore[arg-type]
    with pytest.raises(SurveyError, match=r"The method 'both' is not known\. It can be 'hpc' or 'rise and fall'\."):
        worked_steps(practice_book(1), method="both")  # type: ignore[arg-type]
    with pytest.raises(SurveyError, match=r"The exercise is a str\. It must be an Exercise\."):
        worked_steps("book")  # type: ignore[arg-type]
    with pytest.raises(SurveyError, match="no level is known"):
        worked_steps(Exercise(read_book("point,bs,is,fs,rl\nA,1.000,,,\nB,,,1.100,")))
