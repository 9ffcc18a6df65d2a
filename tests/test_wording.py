"""Falls and lengths in and out of words."""

from __future__ import annotations

import math
import re
import time

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sitelevels import SurveyError, parse_fall, word_fall
from sitelevels.wording import html_table, word_area, word_level, word_mm, word_number, word_rate, word_time, word_volume

steady = settings(deadline=None, max_examples=100, derandomize=True)


@pytest.mark.parametrize(("words", "fall"), [
    ("1:60", 1 / 60), ("1 : 60", 1 / 60), ("1 in 60", 1 / 60), ("1in60", 1 / 60), ("1/60", 1 / 60), (" 1:60 ", 1 / 60),
    ("1 IN 60", 1 / 60), ("2:120", 1 / 60), ("1:62.5", 0.016),
    ("16.7 mm/m", 0.0167), ("16.7mm/m", 0.0167), ("16.7 mm per m", 0.0167), ("1.67 cm/m", 0.0167), ("1.67 cm per m", 0.0167),
    ("1.67 %", 0.0167), ("1.67%", 0.0167), ("2 per cent", 0.02), ("2 percent", 0.02), (".5 %", 0.005),
    ("0.95°", math.tan(0.95 * math.pi / 180)), ("1 deg", math.tan(math.pi / 180)), ("2 degrees", math.tan(math.pi / 90)),
    ("0.25 in/ft", 1 / 48), ("0.25 in per ft", 1 / 48),
    ("level", 0.0), ("Flat", 0.0), ("none", 0.0), ("0:60", 0.0),
    ("1:60 uphill", -1 / 60), ("-1:60", -1 / 60), ("−12.5 mm/m", -0.0125), ("1:60 (16.7 mm/m)", 1 / 60), ("1:1", 1.0),
])
def test_a_fall_is_understood(words: str, fall: float) -> None:
    assert parse_fall(words) == pytest.approx(fall, rel=1e-12, abs=1e-15)


@pytest.mark.parametrize("words", ["", "60", "1.67", "steep", "1:", ":60", "1:sixty", "1,67 %", "1:60:2", "1 in 60 or so", "nan",
                                   "inf %", "1:nan"])
def test_what_is_not_a_fall_is_refused_with_the_words_seen_and_how_to_write_it(words: str) -> None:
    with pytest.raises(SurveyError, match="1 in 60") as caught:
        parse_fall(words)
    assert repr(words) in str(caught.value)


@pytest.mark.parametrize("number", [60, 0.0167, None, math.nan])
def test_a_bare_number_is_refused_for_it_could_mean_two_things(number: object) -> None:
    with pytest.raises(SurveyError, match="could be 1:60 or 60 %"):
        parse_fall(number)  # type: ignore[arg-type]


@pytest.mark.parametrize("words", ["60:1", "101 %", "1001 mm/m", "46°", "90°", "91°", "179°", "-46°"])
def test_a_fall_steeper_than_one_in_one_is_refused(words: str) -> None:
    with pytest.raises(SurveyError, match="steeper than 1:1"):
        parse_fall(words)


def test_a_fall_over_no_length_is_refused() -> None:
    with pytest.raises(SurveyError, match="no length"):
        parse_fall("1:0")


@pytest.mark.parametrize("text", ["1:-60 uphill", "-1e-3 % uphill", "1:60 (uphill)", "uphill (1:60)", "level uphill", "1:1e400",
                                  "1" * 50_000 + "x", "1:" + "1" * 5000])
def test_a_fall_whose_way_or_length_is_in_doubt_is_refused_and_soon(text: str) -> None:
    before = time.process_time()
    with pytest.raises(SurveyError) as told:
        parse_fall(text)
    assert len(str(told.value)) < 300
    assert time.process_time() - before < 0.5


def test_a_small_exponent_is_no_minus() -> None:
    assert parse_fall("16e-1 % uphill") == pytest.approx(-0.016)
    assert word_fall(1e-320, never="flatter") == "level (0.0 mm/m)"


def test_uphill_and_a_minus_together_are_refused_for_they_could_mean_either() -> None:
    with pytest.raises(SurveyError):
        parse_fall("-1:60 uphill")


@pytest.mark.parametrize(("fall", "words"), [
    (1 / 60, "1:60 (16.7 mm/m)"), (-1 / 80, "1:80 uphill (12.5 mm/m)"), (0.0, "level (0.0 mm/m)"),
    (1 / 62.5, "1:62.5 (16.0 mm/m)"),
    (1 / 99.96, "1:100 (10.0 mm/m)"), (1 / 250, "1:250 (4.0 mm/m)"), (1 / 1234, "1:1230 (0.8 mm/m)"), (1.0, "1:1 (1000.0 mm/m)"),
    (0.00004, "level (0.0 mm/m)"),
])
def test_a_fall_in_words(fall: float, words: str) -> None:
    assert word_fall(fall) == words


@pytest.mark.parametrize("fall", [math.nan, math.inf, -math.inf, 10**400, -10**5000, True, "1:60", None],
                         ids=lambda fall: f"{type(fall).__name__}")
def test_a_fall_that_is_no_number_is_never_worded(fall: float) -> None:
    with pytest.raises(SurveyError, match="The fall is"):
        word_fall(fall)


@steady
@given(st.floats(0.0001, 1.0), st.sampled_from([1, -1]))
def test_words_read_back_give_the_fall_to_the_digits_shown(size: float, sign: int) -> None:
    back = parse_fall(word_fall(sign * size))
    run = 1 / size
    shown = 0.05 if run < 100 else 0.5 if run < 1000 else 5  # half of the last digit of the run
    assert math.copysign(1, back) == sign
    assert abs(1 / abs(back) - run) <= shown * (1 + 1e-9)


@pytest.mark.parametrize(("length", "digits", "words"), [
    (0.1523, 0, "152 mm"), (0.1523, 1, "152.3 mm"), (-0.0123, 0, "-12 mm"), (-0.0004, 0, "0 mm"), (-0.00004, 1, "0.0 mm"),
    (2.0, 0, "2000 mm")])
def test_millimetres(length: float, digits: int, words: str) -> None:
    assert word_mm(length, digits=digits) == words


@pytest.mark.parametrize(("level", "words"), [(10, "10.000 m"), (9.9996, "10.000 m"), (-0.0004, "0.000 m"), (-1.5, "-1.500 m"),
                                              (123.4567, "123.457 m"), (10.0005, "10.001 m"), (10.0015, "10.002 m"),
                                              (9.9985, "9.999 m"), (-0.0005, "-0.001 m"), (10.00049, "10.000 m")])
def test_levels_are_to_the_millimetre(level: float, words: str) -> None:
    assert word_level(level) == words


def test_volumes_and_areas_carry_their_unit() -> None:
    assert word_volume(3.456) == "3.46 m³"
    assert word_volume(-0.001) == "0.00 m³"
    assert word_area(29.74) == "29.7 m²"
    assert word_area(-0.01) == "0.0 m²"


@pytest.mark.parametrize(("rate", "words"), [
    (2.5e-5, "90 mm/h (2.5e-05 m/s)"), (1e-6, "3.6 mm/h (1.0e-06 m/s)"), (1e-3, "3600 mm/h (1.0e-03 m/s)"),
    (1 / 3.6e6, "1 mm/h (2.8e-07 m/s)"), (1.234e-4, "440 mm/h (1.2e-04 m/s)")])  # 444 mm/h to two figures
def test_how_fast_ground_takes_water(rate: float, words: str) -> None:
    assert word_rate(rate) == words


@pytest.mark.parametrize(("seconds", "words"), [
    (0.4, "0 s"), (30, "30 s"), (119, "119 s"), (120, "2 min"), (300, "5 min"), (7140, "119 min"), (7200, "2.0 h"),
    (86400, "24.0 h")])
def test_times_below_two_minutes_are_in_seconds(seconds: float, words: str) -> None:
    assert word_time(seconds) == words


@pytest.mark.parametrize(("number", "figures", "words"), [
    (150.0, 6, "150"), (1 / 80, 6, "0.0125"), (1234.0, 2, "1200"), (444.24, 2, "440"), (0.0154, 2, "0.015"), (250.0, 2, "250"),
    (1e6, 6, "1000000"), (1.25e-5, 6, "0.0000125"), (1234567.0, 3, "1230000"), (-0.5, 3, "-0.5"), (0.0, 6, "0")])
def test_a_number_of_few_figures_is_rounded_and_never_in_powers_of_ten(number: float, figures: int, words: str) -> None:
    assert word_number(number, figures=figures) == words


def test_a_table_is_escaped_and_its_empty_cells_are_empty() -> None:
    shown = html_table(pd.DataFrame({"point": ["<script>"], "level": [math.nan], "fall": [-0.0001]}))
    assert "<script>" not in shown
    assert "&lt;script&gt;" in shown
    assert "NaN" not in shown
    assert re.search(r"<td[^>]*></td>", shown)
    assert re.search(r"<td[^>]*>0\.000</td>", shown)
