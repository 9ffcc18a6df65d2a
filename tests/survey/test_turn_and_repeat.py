"""A laser turned before a mark, and one mark read again: against plain geometry, numpy, scipy and sums by hand."""

from __future__ import annotations

import itertools
import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from sitelevels import PegSetup, SurveyError, repeat_readings, turn_test, two_peg_test

steady = settings(deadline=None, max_examples=80, derandomize=True)


def seen(heading: float, distance: float, front: float, left: float, *, level: float = 1.5, cone: float = 0.0) -> float:
    """The reading on a mark due north: the instrument's axes drawn in plan, the plane of light rising along them."""
    turned = math.radians(heading)  # clockwise from the mark, seen from above
    to_front = np.array([math.sin(turned), math.cos(turned)])  # east, north
    to_left = np.array([-to_front[1], to_front[0]])  # a quarter turn against the clock
    mark = distance * np.array([0.0, 1.0])
    return float(level + front * (mark @ to_front) + left * (mark @ to_left) + cone * distance)


# Turning


@pytest.mark.parametrize("headings", [(0, 120, 240), (0, 90, 180, 270), (45, 135, 225, 315), (0, 60, 120, 180, 240, 300),
                                      (10, 100, 250), (0, 90, 180), (-90, 0, 450)], ids=str)
@pytest.mark.parametrize(("front", "left"), [(0.0005, 0.0), (-0.0005, 0.0), (0.0, 0.0003), (0.0, -0.0003), (0.0004, -0.0007)])
def test_the_planted_tilt_is_found_in_both_axes(headings: tuple, front: float, left: float) -> None:
    test = turn_test({heading: seen(heading, 30, front, left) for heading in headings}, 30)
    assert test.tilt == pytest.approx((front, left), abs=1e-12)
    assert test.mean == pytest.approx(1.5, abs=1e-12)
    assert test.steepest == pytest.approx(math.hypot(front, left), abs=1e-12)
    assert test.misfit == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize("order", list(itertools.permutations((0, 90, 180, 270))), ids=str)
def test_the_order_of_the_headings_does_not_matter(order: tuple) -> None:
    assert turn_test({heading: seen(heading, 20, 0.0004, -0.0002) for heading in order}, 20).tilt == pytest.approx(
        (0.0004, -0.0002), abs=1e-12)


@steady
@given(front=st.floats(-0.01, 0.01), left=st.floats(-0.01, 0.01), distance=st.floats(1, 200), first=st.floats(-360, 360),
       count=st.integers(3, 12))
def test_the_planted_tilt_is_found_whatever_the_distance(
    front: float, left: float, distance: float, first: float, count: int
) -> None:
    headings = [first + 360 * step / count for step in range(count)]
    test = turn_test({heading: seen(heading, distance, front, left) for heading in headings}, distance)
    assert test.tilt == pytest.approx((front, left), abs=1e-12)


def test_signs_by_hand() -> None:
    """Front high: facing the mark reads more than facing away. Left high: turned right, so the left looks at the mark, more."""
    front_high = turn_test({0: 1.503, 90: 1.500, 180: 1.497, 270: 1.500}, 30).tilt
    assert front_high == pytest.approx((0.003 / 30, 0.0), abs=1e-12)
    left_high = turn_test({0: 1.500, 90: 1.503, 180: 1.500, 270: 1.497}, 30).tilt
    assert left_high == pytest.approx((0.0, 0.003 / 30), abs=1e-12)


def test_a_misfit_by_hand() -> None:
    """Four headings a quarter turn apart leave (r0 + r180 - r90 - r270) / 4 at each: (3.004 - 3.000) / 4 = 1 mm."""
    test = turn_test({0: 1.505, 90: 1.502, 180: 1.499, 270: 1.498}, 30)
    assert test.misfit == pytest.approx(0.001, abs=1e-12)
    assert test.mean == pytest.approx(1.501, abs=1e-12)  # the mean of the four
    assert test.tilt == pytest.approx((0.003 / 30, 0.002 / 30), abs=1e-12)  # half of 6 mm, half of 4 mm
    assert "within 1.0 mm" in test.words


def test_readings_with_errors_give_the_least_squares_of_numpy() -> None:
    rng, headings = np.random.default_rng(2), np.array([0, 45, 90, 170, 200, 300])
    readings = 1.4 + rng.normal(0, 0.001, 6)
    angle = np.radians(headings)
    design = np.column_stack([np.ones(6), 25 * np.cos(angle), 25 * np.sin(angle)])
    theirs, *_ = np.linalg.lstsq(design, readings, rcond=None)
    test = turn_test(dict(zip(headings.tolist(), readings.tolist(), strict=True)), 25)
    assert (test.mean, *test.tilt) == pytest.approx(tuple(theirs), abs=1e-12)
    assert test.misfit == pytest.approx(np.abs(readings - design @ theirs).max(), abs=1e-12)


def test_a_cone_does_not_show_by_turning_and_does_by_two_pegs() -> None:
    headings = (0, 90, 180, 270)
    test = turn_test({heading: seen(heading, 30, 0.0002, 0.0001, cone=0.0005) for heading in headings}, 30)
    assert test.tilt == pytest.approx((0.0002, 0.0001), abs=1e-12)
    assert test.misfit == pytest.approx(0.0, abs=1e-12)
    pegs = [PegSetup(*([seen(heading, sight, 0.0002, 0.0001, cone=0.0005) for heading in headings] for sight in sights), *sights)
            for sights in ((25, 25), (50, 5))]
    assert two_peg_test(*pegs).collimation == pytest.approx(0.0005, abs=1e-12)


def test_words_of_a_turn_test_are_those_of_a_sum_by_hand() -> None:
    """Tilt 3 and 4 mm in 30 m: 5 mm in 30 m, so 1.67 mm in 10 m and 10 mm between two readings half a turn apart."""
    test = turn_test({0: 1.503, 90: 1.504, 180: 1.497, 270: 1.496}, 30)
    assert "tilted by 1.67 mm in 10 m" in test.words
    assert "reads up to 10.0 mm otherwise at 30.00 m" in test.words
    assert "1.67 mm" in test._repr_html_()


@pytest.mark.parametrize(
    ("readings", "distance", "told"),
    [
        ({0: 1.5, 180: 1.5}, 30, "2 headings were read"),
        ({}, 30, "0 headings were read"),
        ({0: 1.5, 180: 1.5, 360: 1.5}, 30, "well apart"),
        ({0: 1.5, 1: 1.5, 2: 1.5}, 30, "well apart"),
        ({0: 1.5, 90: 1.5, 180: "1.5"}, 30, "reading at heading 180 is '1.5'"),
        ({0: 1.5, 90: None, 180: 1.5}, 30, "reading at heading 90 is None"),
        ({0: 1.5, 90: 1.5, "south": 1.5}, 30, "heading is 'south'. It must be in degrees."),
        ({0: 1.5, 90: 1.5, math.nan: 1.5}, 30, "heading is nan"),
        ({0: 1.5, 90: 1.5, 180: math.inf}, 30, "reading at heading 180 is inf"),
        ({0: 1.5, 90: 1.5, 180: 1.5}, 0.5, "distance is 0.5. It must be at least 1 m"),
        ({0: 1.5, 90: 1.5, 180: 1.5}, -30, "distance is -30"),
        ({0: 1.5, 90: 1.5, 180: 1.5}, None, "distance is None"),
        ([1.5, 1.5, 1.5], 30, "is a list. It must be a Mapping"),
    ],
)
def test_what_no_turn_test_can_use_is_refused_in_words(readings: Any, distance: Any, told: str) -> None:
    with pytest.raises(SurveyError, match=told):
        turn_test(readings, distance)


# The same mark again


@pytest.mark.parametrize("count", [2, 3, 5, 40])
@pytest.mark.parametrize("datum", [1.4, 100_000.0])
def test_standard_deviation_is_that_of_numpy(count: int, datum: float) -> None:
    """numpy.std with ddof=1."""
    readings = datum + np.random.default_rng(count).normal(0, 0.001, count)
    found = repeat_readings(readings.tolist())
    assert found.sd == pytest.approx(np.std(readings - datum, ddof=1), rel=1e-6)
    assert found.degrees_of_freedom == count - 1
    assert repeat_readings(readings).sd == found.sd


def test_standard_deviation_by_hand() -> None:
    """1.412, 1.413, 1.411, 1.412: squares 0 + 1 + 1 + 0 = 2 mm² over 3, so 0.816 mm."""
    found = repeat_readings([1.412, 1.413, 1.411, 1.412])
    assert found.sd == pytest.approx(0.001 * math.sqrt(2 / 3), rel=1e-9)
    assert "0.82 mm (3 degrees of freedom" in found.words
    assert "0.82 mm" in found._repr_html_()


def test_groups_are_pooled_each_about_its_own_mean() -> None:
    """By hand in mm²: 1, 2 about 1.5 give 0.5; 10, 13, 16 about 13 give 18; a single 99 nothing: √(18.5 / 3) mm."""
    found = repeat_readings([[0.001, 0.002], [0.010, 0.013, 0.016], [0.099]])
    assert found.degrees_of_freedom == 3
    assert found.sd == pytest.approx(0.001 * math.sqrt(18.5 / 3), rel=1e-9)


def test_pooled_standard_deviation_is_that_of_numpy() -> None:
    rng = np.random.default_rng(9)
    groups = [list(level + rng.normal(0, 0.002, count)) for level, count in ((1.2, 4), (2.9, 7), (0.3, 2))]
    weighted = sum((len(each) - 1) * np.var(each, ddof=1) for each in groups) / (3 + 6 + 1)
    assert repeat_readings(groups).sd == pytest.approx(math.sqrt(weighted), rel=1e-9)


@pytest.mark.parametrize("sure", [0.5, 0.9, 0.95, 0.99])
@pytest.mark.parametrize("count", [2, 5, 10, 60])
def test_interval_is_the_chi_square_of_scipy(sure: float, count: int) -> None:
    found = repeat_readings((1.5 + np.random.default_rng(count).normal(0, 0.001, count)).tolist())
    low, high = stats.chi2(count - 1).interval(sure)
    assert found.interval(sure) == pytest.approx(
        (math.sqrt((count - 1) * found.sd**2 / high), math.sqrt((count - 1) * found.sd**2 / low)), rel=1e-9)


def test_interval_of_ten_readings_from_printed_tables() -> None:
    """Chi-square with nine degrees of freedom, 2.5 and 97.5 %: 2.700 and 19.023 in any printed table (from memory)."""
    found = repeat_readings([1.500, 1.501, 1.499, 1.500, 1.502, 1.498, 1.500, 1.501, 1.499, 1.500])
    low, high = found.interval()
    assert low / found.sd == pytest.approx(math.sqrt(9 / 19.023), rel=1e-4)
    assert high / found.sd == pytest.approx(math.sqrt(9 / 2.700), rel=2e-4)


def test_the_interval_holds_the_true_value_as_often_as_it_says() -> None:
    """1,500 times five readings with 1 mm: three standard deviations of the share are 1.7 %."""
    rng, held = np.random.default_rng(77), 0
    for _ in range(1500):
        low, high = repeat_readings(rng.normal(1.5, 0.001, 5)).interval(0.95)
        held += low <= 0.001 <= high
    assert held / 1500 == pytest.approx(0.95, abs=0.017)


@pytest.mark.parametrize(
    ("groups", "told"),
    [
        ([], "They are a list"),
        ([1.5], "No mark was read twice"),
        ([[1.5], [1.4]], "No mark was read twice"),
        ([[], []], "No mark was read twice"),
        ("1.5, 1.4", "They are a list"),
        (None, "They are a list"),
        (1.5, "They are a list"),
        ([1.5, "1.4"], "A reading is '1.4'"),
        ([1.5, math.nan], "A reading is nan"),
        ([1.5, None], "A reading is None"),
        ([1.5, True], "A reading is True"),
        ([1.5, [1.4, 1.3]], r"A reading is \[1.4, 1.3\]"),
        ([[1.5, 1.4], ["x", 1.3]], "A reading is 'x'"),
    ],
    ids=repr,
)
def test_what_tells_no_standard_deviation_is_refused_in_words(groups: Any, told: str) -> None:
    with pytest.raises(SurveyError, match=told):
        repeat_readings(groups)


# Odd input

ODD = st.one_of(
    st.sampled_from([None, "1.5", "", math.nan, math.inf, True, 1 + 2j, (), {}, object(), [1.5], [None], [[1.5, 1.4]],
                     np.array([1.5, 1.4]), np.array([[1.5], [1.4]]), {1.5}, range(3)]),
    st.floats(-1e13, 1e13), st.integers(-(10**13), 10**13), st.text(max_size=3), st.lists(st.floats(0, 3), max_size=3),
)


@settings(deadline=None, max_examples=300, derandomize=True)
@given(a=ODD, b=ODD, to_a=ODD, to_b=ODD, known=ODD, other=st.booleans(), limit=st.one_of(st.just(6e-5), ODD),
       curvature=st.one_of(st.just(0.0), ODD))
def test_odd_pegs_give_an_answer_or_a_sentence(
    a: Any, b: Any, to_a: Any, to_b: Any, known: Any, other: bool, limit: Any, curvature: Any
) -> None:
    second = {"second": PegSetup(1.5, 1.2, 25, 25)} if other else {}
    for setup in ((a, b, to_a, to_b), (1.4, 1.2, to_a, to_b), (a, b, 50, 5)):
        try:
            test = two_peg_test(PegSetup(*setup), true_difference=known, limit=limit, curvature=curvature, **second)
        except SurveyError as error:
            told = str(error)
        else:
            told = test.words
            assert math.isfinite(test.collimation)
            assert math.isfinite(test.difference)
        assert told.endswith(".")


@settings(deadline=None, max_examples=200, derandomize=True)
@given(pairs=st.lists(st.tuples(ODD.filter(lambda odd: getattr(odd, "__hash__", None) and not isinstance(odd, range)), ODD),
                      max_size=5), distance=st.one_of(st.just(30), ODD), whole=st.booleans())
def test_odd_headings_give_an_answer_or_a_sentence(pairs: list, distance: Any, whole: bool) -> None:
    readings = dict(pairs) | ({0: 1.5, 90: 1.501, 180: 1.5} if whole else {})
    try:
        test = turn_test(readings, distance)
    except SurveyError as error:
        told = str(error)
    else:
        told = test.words
        assert all(math.isfinite(value) for value in (*test.tilt, test.mean, test.misfit))
    assert told.endswith(".")


@settings(deadline=None, max_examples=200, derandomize=True)
@given(groups=st.one_of(ODD, st.lists(ODD, max_size=4)))
def test_odd_readings_give_an_answer_or_a_sentence(groups: Any) -> None:
    try:
        found = repeat_readings(groups)
    except SurveyError as error:
        told = str(error)
    else:
        told = found.words
        assert math.isfinite(found.sd)
    assert told.endswith(".")


# Odd input: each is right, or a sentence


@pytest.mark.parametrize("call", [
    lambda: turn_test({0: 1.5, 90: 1.5, 180: 10**400}, 30),
    lambda: repeat_readings(np.array(1.5)),
    lambda: repeat_readings(b"abc"),
    lambda: repeat_readings([1.5, 1.4, 1.3]).interval(2),
    lambda: repeat_readings([1.5, 1.4, 1.3]).interval(1),
    lambda: repeat_readings([1.5, 1.4, 1.3]).interval(-0.5),
    lambda: repeat_readings([1.5, 1.4, 1.3]).interval("95 %"),
    lambda: repeat_readings([1.5, 1.4, 1.3]).interval(math.nan),
], ids=["endless number", "array without length", "bytes", "sure 2", "sure 1", "sure -0.5", "sure in words", "sure nan"])
def test_nonsense_is_refused_in_words(call: Any) -> None:
    with pytest.raises(SurveyError):
        call()
