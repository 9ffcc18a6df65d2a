"""Lessons: each answer worked again from the numbers that stand in its question, by the formula of a textbook."""

from __future__ import annotations

import math
import random
import re
from collections.abc import Callable

import pytest

from sitelevels import SurveyError
from sitelevels.teaching.lessons import LESSONS, Lesson, lesson

SEEDS = [*range(48), 7003, 10**9]

BY_HAND: dict[str, Callable[..., float]] = {
    "a reading": lambda step, gully: gully - step,
    "HPC": lambda known, bs, spot: known + bs - spot,
    "rise and fall": lambda known, bs, first, second: known + (bs - first) + (first - second),
    "change points": lambda known, bs, fs, back, spot: known + bs - fs + back - spot,
    "closing": lambda known, bs, fs, back, last: (known + bs - fs + back - last) - known,
    "two pegs": lambda apart, a, b, near, far: near + (a - b),
    "falls": lambda drop, length, *examples: drop / 1000 / length,
    "a plane": lambda wide, deep, a, b, c: c + (b - a),
    "more shots": lambda sd, side, same, shots: sd / 1000 / math.sqrt(shots),
    "a tilt": lambda shots, drop, length, climbs, over: (drop - climbs * length / over) / 1000 / length,
    "150 mm": lambda left, right, least, one, ratio, length: min(left, right) - least / 1000 - length / ratio,
    "a dig": lambda finished, ground, *layers: ground - (finished - sum(layers) / 1000),
}


WRONG: dict[str, dict[str, Callable[..., float]]] = {
    "a reading": {"That would be higher": lambda step, gully: step - gully, "added the two": lambda step, gully: step + gully,
                  "reading on the gully": lambda step, gully: gully, "reading on the step": lambda step, gully: step},
    "HPC": {"added the reading": lambda known, bs, spot: known + bs + spot, "That is the HPC": lambda known, bs, spot: known + bs,
            "took the backsight off": lambda known, bs, spot: known - bs - spot,
            "Both ways round": lambda known, bs, spot: known - bs + spot, "left out": lambda known, bs, spot: known - spot},
    "rise and fall": {"changed places": lambda known, bs, one, two: known + two - bs,
                      "the level of A": lambda known, bs, one, two: known + bs - one,
                      "left out": lambda known, bs, one, two: known + one - two,
                      "added the reading": lambda known, bs, one, two: known + bs + two,
                      "That is the HPC": lambda known, bs, one, two: known + bs},
    "change points": {"the old HPC": lambda known, bs, fs, back, spot: known + bs - spot,
                      "backsight on CP off": lambda known, bs, fs, back, spot: known + bs - fs - back - spot,
                      "added the reading on S": lambda known, bs, fs, back, spot: known + bs - fs + back + spot,
                      "the level of CP": lambda known, bs, fs, back, spot: known + bs - fs,
                      "the second HPC": lambda known, bs, fs, back, spot: known + bs - fs + back},
    "closing": {"known less found": lambda known, bs, fs, back, last: fs + last - bs - back,
                "the level found, not": lambda known, bs, fs, back, last: known + bs - fs + back - last},
    "two pegs": {"the other way round": lambda apart, a, b, near, far: near + b - a,
                 "what it did read": lambda apart, a, b, near, far: far, "reading on B": lambda apart, a, b, near, far: near,
                 "shares the error out": lambda apart, a, b, near, far: (far + near + a - b) / 2},
    "falls": {"called per cent: per cent is the mm/m": lambda drop, length, *_: drop / length / 100,
              "called mm/m": lambda drop, length, *_: drop / length / 10_000,
              "N of 1:N called per cent": lambda drop, length, *_: length * 1000 / drop / 100,
              "changed places": lambda drop, length, *_: length / drop,
              "called degrees": lambda drop, length, *_: math.tan(math.radians(drop / length / 10))},
    "a plane": {"from A to B was taken the wrong way": lambda wide, deep, a, b, c: c + a - b,
                "from A to C was taken the wrong way": lambda wide, deep, a, b, c: b + a - c,
                "the mean of B and C": lambda wide, deep, a, b, c: (b + c) / 2, "That is C": lambda wide, deep, a, b, c: c,
                "That is B": lambda wide, deep, a, b, c: b},
    "more shots": {"by the number of shots": lambda sd, side, same, shots: sd / 1000 / shots,
                   "one shot": lambda sd, *_: sd / 1000, "multiplied": lambda sd, side, *_: sd / 1000 * side},
    "a tilt": {"added the tilt": lambda shots, drop, length, climbs, over: (drop + climbs * length / over) / 1000 / length,
               "as read": lambda shots, drop, length, *_: drop / 1000 / length,
               "the tilt alone": lambda shots, drop, length, climbs, over: climbs / 1000 / over},
    "150 mm": {"the higher end": lambda left, right, least, one, n, out: max(left, right) - least / 1000 - out / n,
               "the level at the wall": lambda left, right, least, *_: min(left, right) - least / 1000,
               "added the fall": lambda left, right, least, one, n, out: min(left, right) - least / 1000 + out / n,
               "was left out": lambda left, right, least, one, n, out: min(left, right) - out / n,
               "added the distance": lambda left, right, least, one, n, out: min(left, right) + least / 1000 - out / n},
    "a dig": {"left the layers out": lambda finished, ground, *_: ground - finished,
              "took the layers off": lambda finished, ground, *layers: ground - finished - sum(layers) / 1000,
              "the layers alone": lambda finished, ground, *layers: sum(layers) / 1000,
              "Ground and finished": lambda finished, ground, *layers: finished - ground + sum(layers) / 1000},
}
"""Usual mistakes: words out of what is said of each, and what it gives."""


def numbers_in(text: str) -> list[float]:
    return [float(number) for number in re.findall(r"\d+(?:\.\d+)?", text)]


def test_there_is_a_formula_for_each_lesson() -> None:
    assert list(BY_HAND) == list(LESSONS)


@pytest.mark.parametrize("key", LESSONS)
def test_the_answer_is_that_of_the_textbook(key: str) -> None:
    for seed in SEEDS:
        asked = lesson(key, seed)
        expected = BY_HAND[key](*numbers_in(asked.question))
        assert asked.answer == pytest.approx(expected, abs=1e-9)
        assert asked.agrees(expected)
        assert not asked.agrees(expected + 3 * asked.within)
        shown = numbers_in(asked.word(abs(asked.answer)))[-1]
        assert shown in [number for step in asked.working for number in numbers_in(step)]  # the working comes to it
        assert asked.question.startswith("Invented: ")
        assert not re.search(r"nan|None|--|\+ -|− -", " ".join((asked.question, *asked.working, asked.meaning)))


@pytest.mark.parametrize("key", LESSONS)
def test_a_usual_mistake_is_told_from_its_number(key: str) -> None:
    for seed in SEEDS:
        asked = lesson(key, seed)
        assert len(asked.mistakes) == len(WRONG[key])
        for words, formula in WRONG[key].items():
            assert words in asked.why(formula(*numbers_in(asked.question))), (seed, words)


@pytest.mark.parametrize(("key", "times", "said"), [
    ("HPC", -1, "The size is right, the sign is not."), ("HPC", 1000, "That is in mm, and m are asked for."),
    ("a dig", 0.001, "That is in m, and mm are asked for."), ("falls", -1, "The size is right, the sign is not."),
    ("HPC", 2, "")])
def test_a_sign_or_a_unit_is_told_in_every_lesson(key: str, times: float, said: str) -> None:
    known = BY_HAND[key](*numbers_in(lesson(key, 1).question))
    assert lesson(key, 1).why(times * known) == said


def test_where_two_mistakes_give_one_number_both_are_said() -> None:
    both = Lesson("?", "m", 1.0, (), "", mistakes={"You added.": 3.0, "You doubled.": 3.0004, "You halved.": 0.5})
    assert both.why(3.0) == "You added. Or: You doubled."


@pytest.mark.parametrize("seed", SEEDS)
def test_a_fall_is_said_in_every_way(seed: int) -> None:
    asked = lesson("falls", seed)
    drop, length = numbers_in(asked.question)[:2]
    fall = drop / 1000 / length
    told = " ".join(asked.working)
    for number, pattern in ((1000 * fall, r"= ([\d.]+) mm/m"), (1 / fall, r"1 in ([\d.]+),"), (1 / fall, r"1:([\d.]+)\."),
                            (100 * fall, r"per cent: ([\d.]+) %"), (math.degrees(math.atan(fall)), r"degrees: ([\d.]+)°"),
                            (2000 * fall, r"([\d.]+) mm over 2 m")):
        found = re.search(pattern, told)
        assert found, pattern
        assert float(found[1]) == pytest.approx(number, rel=0.005)  # three figures are shown
    assert f"{drop:.0f} mm ÷ {length:.1f} m" in told


@pytest.mark.parametrize("seed", SEEDS)
def test_the_dig_tells_the_reading_to_look_for(seed: int) -> None:
    finished, _, *layers = numbers_in(lesson("a dig", seed).question)
    hpc, _, formation, reading, *_ = numbers_in(lesson("a dig", seed).working[-1])
    assert formation == pytest.approx(finished - sum(layers) / 1000, abs=1e-9)
    assert reading == pytest.approx(hpc - formation, abs=1e-9)


def test_the_dpc_lesson_names_its_sources_and_that_local_rules_decide() -> None:
    meaning = lesson("150 mm", 1).meaning
    assert "NHBC Standards, 10.2.6, 2021 (text read)" in meaning
    assert "Approved Document C (England), 5.5b, July 2015 (quoted by others; the document itself was not seen)" in meaning
    assert "local rules decide" in meaning


def test_the_tilt_does_not_shrink_with_the_number_of_shots() -> None:
    by_shots: dict[float, set[bool]] = {}
    for seed in range(200):
        asked = lesson("a tilt", seed)
        shots, drop, length, climbs, _ = numbers_in(asked.question)
        by_shots.setdefault(shots, set()).add(abs((drop / length - climbs / 10) / 1000 - asked.answer) < 1e-9)
    assert by_shots == {9: {True}, 16: {True}, 25: {True}}


def test_numbers_come_from_random_alone_so_that_they_are_the_same_everywhere() -> None:
    for seed in (0, 1, 7003, 10**9):
        draw = random.Random(100 * seed + 1).random
        draw()  # which yard
        known, bs, spot = 12_000 + int(draw() * 56_001), 700 + int(draw() * 1_201), 900 + int(draw() * 1_501)
        assert numbers_in(lesson("HPC", seed).question) == [known / 1000, bs / 1000, spot / 1000]


def test_learners_have_different_numbers_and_each_their_own_again() -> None:
    for key in LESSONS:
        asked = [lesson(key, seed).question for seed in range(12)]
        assert len(set(asked)) >= 9
        assert asked == [lesson(key, seed).question for seed in range(12)]


def test_a_closing_that_is_too_large_is_said_not_to_close() -> None:
    verdicts = set()
    for seed in range(60):
        asked = lesson("closing", seed)
        closes = abs(asked.answer) <= 0.005 * math.sqrt(2)
        assert asked.working[-1].endswith("It closes." if closes else "Find the slip before you dig.")
        verdicts.add(closes)
    assert verdicts == {True, False}


@pytest.mark.parametrize("seed", [-1, 10**9 + 1, True, 1.0, "1", None])
def test_another_seed_is_refused(seed: object) -> None:
    with pytest.raises(SurveyError, match="whole number from 0 to 1,000,000,000"):
        lesson("HPC", seed)  # type: ignore[arg-type]


def test_what_finds_a_misread_staff() -> None:
    """On a spot no sum and no closing reading does."""
    meaning = lesson("rise and fall", 1).meaning
    assert meaning.endswith("on a change point a closing reading finds it, on a spot only a second reading.")


def test_another_lesson_is_refused() -> None:
    with pytest.raises(SurveyError, match=r"There is no lesson \['HPC'\]"):
        lesson(["HPC"], 1)  # type: ignore[arg-type]
    with pytest.raises(SurveyError, match="There is no lesson 'hpc'"):
        lesson("hpc", 1)


def test_a_prediction_is_right_to_its_last_figure() -> None:
    asked = Lesson("?", "mm", 0.0123, (), "")
    assert asked.word(asked.answer) == "12 mm"
    assert asked.agrees(0.0123 + 0.0005)
    assert not asked.agrees(0.0123 + 0.0006)
