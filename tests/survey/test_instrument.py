"""Two pegs, turning a laser, reading a mark again: readings made with a known fault, which the tests must find again."""

from __future__ import annotations

import math
import warnings
from collections.abc import Sequence
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from sitelevels import PegSetup, SurveyError, SurveyWarning, read_book, reduce_book, two_peg_test

steady = settings(deadline=None, max_examples=80, derandomize=True)

PEG_A, PEG_B = 10.000, 10.437  # levels of our own making, m
RISE = 0.437
CURVED = 0.0673 / 1000**2  # 0.0673 m in one kilometre: printed in the reciprocal levelling case TP05 of tests/reference


def staff(line: float, level: float, sight: float, collimation: float, curved: float = 0.0) -> float:
    """What the staff shows: a line of sight that points up by `collimation` strikes it that much higher for each metre."""
    return line + collimation * sight + curved * sight**2 - level


def set_up(to_a: float, to_b: float, collimation: float, curved: float = 0.0, *, line: float = 11.5) -> PegSetup:
    return PegSetup(staff(line, PEG_A, to_a, collimation, curved), staff(line, PEG_B, to_b, collimation, curved), to_a, to_b)


# Two pegs

ARRANGEMENTS = [
    ((25, 25), (55, 5)),  # midway, then beyond B
    ((40, 40), (10, 90)),  # midway, then beyond A
    ((0, 60), (60, 0)),  # beside each peg in turn
    ((2, 48), (48, 2)),
    ((30, 30), (50, 0)),  # midway but not in line with the pegs
    ((20, 35), (41, 8)),  # nowhere in particular
    ((33, 12), (12, 33)),
]


@pytest.mark.parametrize(("first", "second"), ARRANGEMENTS)
@pytest.mark.parametrize("collimation", [0.0006, -0.0006, 0.00002, -0.00002, 0.0])
@pytest.mark.parametrize("curved", [0.0, CURVED])
def test_the_planted_collimation_is_found_from_any_two_setups(
    first: tuple[float, float], second: tuple[float, float], collimation: float, curved: float
) -> None:
    test = two_peg_test(set_up(*first, collimation, curved), set_up(*second, collimation, curved, line=11.83), curvature=curved)
    assert test.collimation == pytest.approx(collimation, abs=1e-12)
    assert test.difference == pytest.approx(RISE, abs=1e-12)
    other_way = two_peg_test(test.second, test.first, curvature=curved)
    assert other_way.collimation == pytest.approx(collimation, abs=1e-12)
    assert other_way.difference == pytest.approx(RISE, abs=1e-12)


@steady
@given(sights=st.tuples(*[st.floats(0, 120)] * 4), collimation=st.floats(-0.002, 0.002), line=st.floats(10.5, 14))
def test_the_planted_collimation_is_found_whatever_the_sights(sights: tuple, collimation: float, line: float) -> None:
    reach = abs((sights[0] - sights[1]) - (sights[2] - sights[3]))
    assume(reach > 1.001)
    test = two_peg_test(set_up(*sights[:2], collimation), set_up(*sights[2:], collimation, line=line))
    assert test.reach == pytest.approx(reach, abs=1e-9)
    assert test.collimation == pytest.approx(collimation, abs=1e-11)
    assert test.difference == pytest.approx(RISE, abs=1e-9)
    one = two_peg_test(set_up(60, 10, collimation), true_difference=RISE)
    assert one.collimation == pytest.approx(collimation, abs=1e-12)


@pytest.mark.parametrize("collimation", [0.0004, -0.0004])
@pytest.mark.parametrize("curved", [0.0, CURVED])
def test_one_setup_is_enough_where_the_difference_is_known(collimation: float, curved: float) -> None:
    test = two_peg_test(set_up(70, 15, collimation, curved), true_difference=RISE, curvature=curved)
    assert test.collimation == pytest.approx(collimation, abs=1e-12)
    assert test.difference == RISE
    assert test.reach == 55


def test_curvature_left_out_comes_out_as_collimation() -> None:
    """Beside each peg in turn over 500 m: curvature bends both ways alike and drops out of the difference of level."""
    first, second = set_up(0, 500, 0.0, CURVED), set_up(500, 0, 0.0, CURVED)
    test = two_peg_test(first, second)
    assert test.difference == pytest.approx(RISE, abs=1e-12)
    assert test.collimation * 500 == pytest.approx(CURVED * 500**2, abs=1e-12)  # 16.8 mm, taken for collimation
    assert two_peg_test(first, second, curvature=CURVED).collimation == pytest.approx(0.0, abs=1e-12)


def test_a_corrected_reading_is_what_a_level_line_shows() -> None:
    test = two_peg_test(set_up(25, 25, 0.0005, CURVED), set_up(55, 5, 0.0005, CURVED), curvature=CURVED)
    for sight in (0.0, 5.0, 55.0, 300.0):
        seen = staff(11.5, 9.2, sight, 0.0005, CURVED)
        assert test.correct(seen, sight) == pytest.approx(11.5 - 9.2, abs=1e-9)
    # by hand: 0.5 mm in each metre, 30 m and no curvature, so 15 mm
    plain = two_peg_test(set_up(25, 25, 0.0005), set_up(55, 5, 0.0005))
    assert plain.correct(1.512, 30) == pytest.approx(1.497, abs=1e-9)


@pytest.mark.parametrize(
    ("collimation", "limit", "within"),
    [
        (0.003 / 50, 0.003 / 50, True),
        (-0.003 / 50, 0.003 / 50, True),
        (0.0031 / 50, 0.003 / 50, False),
        (-0.0031 / 50, 0.003 / 50, False),
        (0.0031 / 50, 0.004 / 50, True),
    ],
)
def test_the_limit_itself_passes_and_beyond_it_does_not(collimation: float, limit: float, within: bool) -> None:
    """3 mm in 50 m is the limit printed by the method note W18 of tests/reference."""
    test = two_peg_test(set_up(25, 25, collimation), set_up(50, 0, collimation), limit=limit)
    assert test.within is within
    assert ("passes" in test.words) is within
    assert f"points {'up' if collimation > 0 else 'down'} by 3.{'0' if abs(collimation) < 0.000061 else '1'} mm" in test.words
    assert two_peg_test(set_up(25, 25, 0.00006), set_up(50, 0, 0.00006)).within  # 3 mm unless told otherwise
    assert not two_peg_test(set_up(25, 25, 0.000062), set_up(50, 0, 0.000062)).within
    assert "points" in test._repr_html_()


HEADINGS = (0, 90, 180, 270)


def with_tilt(to_a: float, to_b: float, cone: float, tilt: tuple[float, float], b_lies: float) -> PegSetup:
    """Four readings on each peg, the instrument turned; peg B lies `b_lies` degrees round from peg A."""
    def read(level: float, sight: float, towards: float) -> list[float]:
        angles = [math.radians(heading - towards) for heading in HEADINGS]
        return [11.5 + sight * (cone + tilt[0] * math.cos(angle) + tilt[1] * math.sin(angle)) - level for angle in angles]
    return PegSetup(read(PEG_A, to_a, 0.0), read(PEG_B, to_b, b_lies), to_a, to_b)


@pytest.mark.parametrize("cone", [0.0001, -0.0001])
@pytest.mark.parametrize("b_lies", [0, 180, 57])
def test_readings_at_four_headings_leave_the_cone_without_the_tilt(cone: float, b_lies: float) -> None:
    tilt = (0.0008, -0.0005)
    first, second = with_tilt(25, 25, cone, tilt, b_lies), with_tilt(52, 4, cone, tilt, b_lies)
    test = two_peg_test(first, second)
    assert test.collimation == pytest.approx(cone, abs=1e-12)
    assert test.difference == pytest.approx(RISE, abs=1e-12)


def test_readings_at_one_heading_mix_the_tilt_into_it() -> None:
    """Front tilted up by 0.8 mm/m, both pegs in front: it reads as collimation, 0.1 + 0.8 = 0.9 mm/m."""
    one = [PegSetup(staff(11.5, PEG_A, a, 0.0009), staff(11.5, PEG_B, b, 0.0009), a, b) for a, b in ((25, 25), (52, 4))]
    assert two_peg_test(*one).collimation == pytest.approx(0.0009, abs=1e-12)


@pytest.mark.parametrize("kind", [list, tuple, np.array])
def test_several_readings_of_a_peg_are_meaned(kind: Any) -> None:
    one = PegSetup(kind([1.500, 1.504, 1.499]), kind([1.2]), 10, 20)
    assert one.a == pytest.approx(4.503 / 3, abs=1e-12)
    assert one.difference == pytest.approx(0.301, abs=1e-12)


def simulated_sd(setups: Sequence[PegSetup], sd: float, readings: int, known: bool) -> float:
    """Standard deviation of 3,000 collimations, each from readings with normal errors."""
    rng, found = np.random.default_rng(5), []
    for _ in range(3000):
        noisy = [PegSetup(list(one.a + rng.normal(0, sd, readings)), list(one.b + rng.normal(0, sd, readings)),
                          one.to_a, one.to_b) for one in setups]
        found.append((two_peg_test(noisy[0], true_difference=RISE) if known else two_peg_test(*noisy)).collimation)
    return float(np.std(found, ddof=1))


@pytest.mark.parametrize(("known", "setups"), [(False, ((25, 25), (55, 5))), (False, ((0, 60), (60, 0))), (True, ((70, 10),))])
def test_how_sure_the_collimation_is_agrees_with_simulation(known: bool, setups: Sequence[tuple[float, float]]) -> None:
    made = [set_up(*sights, 0.0003) for sights in setups]
    test = two_peg_test(made[0], true_difference=RISE) if known else two_peg_test(*made)
    assert test.collimation_sd(0.001) == pytest.approx(simulated_sd(made, 0.001, 1, known), rel=0.05)  # 1.3 % is one sd


def test_how_sure_the_collimation_is_by_hand() -> None:
    """Four readings of 1 mm: √4 = 2 mm over 50 m; two of them: √2 mm over 60 m."""
    assert two_peg_test(set_up(25, 25, 0), set_up(55, 5, 0)).collimation_sd(0.001) == pytest.approx(0.002 / 50, rel=1e-9)
    assert two_peg_test(set_up(70, 10, 0), true_difference=RISE).collimation_sd(0.001) == pytest.approx(
        math.sqrt(2) * 0.001 / 60, rel=1e-9)


REFUSED_PEGS: list[tuple[str, Any]] = [
    ("differ by only", lambda: two_peg_test(set_up(25, 25, 0), set_up(40, 40, 0))),
    ("differ by only", lambda: two_peg_test(set_up(25, 10, 0), set_up(40, 25, 0))),
    ("differ by only", lambda: two_peg_test(set_up(25, 24.5, 0), true_difference=RISE)),
    ("a second set-up or the true difference", lambda: two_peg_test(set_up(25, 25, 0))),
    ("not both", lambda: two_peg_test(set_up(25, 25, 0), set_up(50, 0, 0), true_difference=RISE)),
    ("The first set-up is a tuple", lambda: two_peg_test((1.5, 1.2, 25, 25), set_up(50, 0, 0))),
    ("The second set-up is an int", lambda: two_peg_test(set_up(50, 0, 0), 7)),
    ("True_difference is '0.4'", lambda: two_peg_test(set_up(50, 0, 0), true_difference="0.4")),
    ("The limit is 0", lambda: two_peg_test(set_up(50, 0, 0), true_difference=RISE, limit=0)),
    ("The curvature is -1", lambda: two_peg_test(set_up(50, 0, 0), true_difference=RISE, curvature=-1)),
    (r"The reading on peg A is \[\]", lambda: PegSetup([], 1.2, 25, 25)),
    ("The reading on peg A is nan", lambda: PegSetup(math.nan, 1.2, 25, 25)),
    ("The reading on peg B is 'l.2'", lambda: PegSetup(1.5, "l.2", 25, 25)),
    ("The reading on peg B is None", lambda: PegSetup(1.5, [1.2, None], 25, 25)),
    ("The length of the sight to_a is -1", lambda: PegSetup(1.5, 1.2, -1, 25)),
    ("The length of the sight to_b is inf", lambda: PegSetup(1.5, 1.2, 25, math.inf)),
    ("The book is a str", lambda: two_peg_test(set_up(50, 0, 0), true_difference=RISE).corrected("point,bs")),
    ("Reading_sd is 'x'", lambda: two_peg_test(set_up(50, 0, 0), true_difference=RISE).collimation_sd("x")),
]


@pytest.mark.parametrize(("told", "call"), REFUSED_PEGS, ids=[told for told, _ in REFUSED_PEGS])
def test_what_no_peg_test_can_use_is_refused_in_words(told: str, call: Any) -> None:
    with pytest.raises(SurveyError, match="(?s).*" + told.replace(".", r"\.")):
        call()


# A book corrected

LEVELS = {"BM": 10.000, "soffit": 12.850, "near": 9.600, "CP": 9.250, "far": 8.900, "ceiling": 11.980}


def book_with(collimation: float) -> str:
    """Two set-ups at 11.500 and 10.400, sights far from equal, the staff upside down under two soffits.

    Upside down, the staff shows level - line, booked with a minus: line - level again, so the line is too high all the same.
    """
    def read(line: float, point: str, sight: float) -> str:
        return f"{staff(line, LEVELS[point], sight, collimation):.6f}"
    return "\n".join([
        "point,bs,is,fs,rl,sight",
        f"BM,{read(11.5, 'BM', 12)},,,10.000,12",
        f"soffit,,{read(11.5, 'soffit', 45)},,,45",
        f"near,,{read(11.5, 'near', 3)},,,3",
        f"CP,{read(10.4, 'CP', 8)},,{read(11.5, 'CP', 60)},,60/8",
        f"far,,{read(10.4, 'far', 70)},,,70",
        f"ceiling,,{read(10.4, 'ceiling', 25)},,,25",
        f"CP,,,{read(10.4, 'CP', 8)},,8",
    ]) + "\n"


def levels_of(book: Any) -> dict[str, float]:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", SurveyWarning)
        reduced = reduce_book(book, adjust=None)
    return {point: reduced.level(point) for point in LEVELS}


def booked(text: str) -> Any:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", SurveyWarning)
        return read_book(text)


@pytest.mark.parametrize("collimation", [0.0004, -0.0004])
def test_a_corrected_book_gives_the_true_levels_soffits_among_them(collimation: float) -> None:
    test = two_peg_test(set_up(25, 25, collimation), set_up(55, 5, collimation))
    book = booked(book_with(collimation))
    assert min(row.is_ for row in book.rows if row.is_ is not None) < 0  # the staff was held upside down
    assert levels_of(test.corrected(book)) == pytest.approx(LEVELS, abs=1e-9)
    # uncorrected: level too low by collimation × (sight - backsight), summed over the set-ups
    off = {"BM": 0, "soffit": 33, "near": -9, "CP": 48, "far": 48 + 62, "ceiling": 48 + 17}
    assert levels_of(book) == pytest.approx({point: LEVELS[point] - collimation * off[point] for point in LEVELS}, abs=1e-9)


def test_a_corrected_book_keeps_everything_but_the_readings() -> None:
    test = two_peg_test(set_up(25, 25, 0.001), set_up(55, 5, 0.001))
    book = booked("point,bs,is,fs,rl,sight,remarks,feature\nBM,1.500,,,10.000,20,by the gate,benchmark\nX,,1.400,,,35,,ground\n")
    before, after = book.rows, test.corrected(book).rows
    assert [row.bs for row in after] == pytest.approx([1.480, None], abs=1e-12)
    assert after[1].is_ == pytest.approx(1.400 - 0.035, abs=1e-12)
    for name in ("number", "point", "rl", "sight", "sight_back", "remarks", "feature"):
        assert [getattr(row, name) for row in after] == [getattr(row, name) for row in before]
    assert before[0].bs == 1.5


def test_sights_that_have_no_length_are_named() -> None:
    test = two_peg_test(set_up(25, 25, 0.001), set_up(55, 5, 0.001))
    book = booked("point,bs,is,fs,rl,sight\nBM,1.500,,,10,20\nX,,1.400,,,\nCP,1.2,,1.7,,\nY,,1.3,,,5\n")
    with pytest.raises(SurveyError, match="Rows 2 and 3: the length of the sight is not booked"):
        test.corrected(book)
    with pytest.raises(SurveyError, match="Row 1: the length"):
        test.corrected(booked("point,bs,is,fs,rl,sight\nBM,1.500,,,10,\nX,,1.400,,,9\n"))


# Odd input: each is right, or a sentence


def test_sights_may_be_whole_numbers_of_any_kind() -> None:
    """The reciprocal case TP05 of tests/reference, its 500 m as 16-bit numbers; and 5 - 55 as unsigned ones."""
    near_a, near_b = [PegSetup(a, b, np.int16(to_a), np.int16(500 - to_a)) for a, b, to_a in
                      ((1.155, 2.595, 0), (0.985, 2.415, 500))]
    assert two_peg_test(near_a, near_b, curvature=CURVED).collimation * 500 == pytest.approx(-0.0118, abs=0.00005)
    last = set_up(5, 55, 0.0006)
    beyond = two_peg_test(set_up(25, 25, 0.0006), PegSetup(last.a, last.b, np.uint8(5), np.uint8(55)))
    assert beyond.collimation == pytest.approx(0.0006, abs=1e-12)


def test_more_readings_of_a_peg_make_the_collimation_surer() -> None:
    made = [set_up(25, 25, 0.0003), set_up(55, 5, 0.0003)]
    four = two_peg_test(*[PegSetup([one.a] * 4, [one.b] * 4, one.to_a, one.to_b) for one in made])
    assert four.collimation_sd(0.001) == pytest.approx(simulated_sd(made, 0.001, 4, False), rel=0.05)


def test_what_was_taped_from_a_line_of_known_level_is_no_line_of_sight() -> None:
    """A string at 10.200 m: 0.400 m down from it is 9.800 m whatever the level does."""
    test = two_peg_test(set_up(25, 25, 0.0004), set_up(55, 5, 0.0004))
    book = booked("point,down,rl,sight,feature\nline,,10.200,,line\nY,0.300,,,\nZ,0.400,,12,\n")
    assert [row.is_ for row in test.corrected(book).rows] == [row.is_ for row in book.rows]


@pytest.mark.parametrize("call", [
    lambda: PegSetup(np.array(1.5), 1.2, 25, 25),
    lambda: PegSetup(b"12", 1.2, 25, 25),
    lambda: PegSetup(10**400, 1.2, 25, 25),
    lambda: two_peg_test(set_up(25, 25, 0), set_up(50, 0, 0)).collimation_sd(-0.001),
    lambda: two_peg_test(set_up(25, 25, 0), set_up(50, 0, 0)).correct("1.5", 30),
    lambda: two_peg_test(set_up(25, 25, 0), set_up(50, 0, 0)).correct(math.nan, 30),
    lambda: two_peg_test(set_up(25, 25, 0), set_up(50, 0, 0)).correct(1.5, -30),
], ids=["array without length", "bytes", "endless number", "negative sd", "word", "nan", "negative sight"])
def test_nonsense_is_refused_in_words(call: Any) -> None:
    with pytest.raises(SurveyError):
        call()


def test_a_level_without_fault_points_neither_up_nor_down() -> None:
    test = two_peg_test(PegSetup(1.0, 1.0, 25, 25), PegSetup(1.0, 1.0, 55, 5))
    assert "down" not in test.words
    assert "passes" in test.words
