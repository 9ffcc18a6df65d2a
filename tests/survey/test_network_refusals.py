"""Level networks that cannot be adjusted: each fault in a sentence, all of them at once, and never another kind of error."""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import date
from decimal import Decimal
from fractions import Fraction
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sitelevels import SurveyError, adjust_network

Line = tuple[Any, Any, Any, Any]


def lines_of(rows: list[Line], weighing: str = "sd") -> pd.DataFrame:
    return pd.DataFrame(rows, columns=["from", "to", "dh", weighing])


GOOD: list[Line] = [("A", "B", 1.0, 0.001), ("B", "C", 1.0, 0.001), ("A", "C", 2.0, 0.001)]


def refusal(rows: list[Line], known: Mapping[Any, Any] | None = None, weighing: str = "sd", **options: Any) -> SurveyError:
    with pytest.raises(SurveyError) as caught:
        adjust_network(lines_of(rows, weighing), {"A": 0.0} if known is None else known, **options)
    return caught.value


def test_a_network_in_two_pieces_names_the_points_of_the_loose_one() -> None:
    error = refusal([*GOOD, ("X", "Y", 1.0, 0.001), ("Y", "Z", 1.0, 0.001)])
    assert "X, Y, Z" in str(error)
    assert len(error.problems) == 1
    assert "A," not in str(error)
    assert "level, or observe a line" in str(error)


def test_every_loose_piece_is_named_at_once() -> None:
    error = refusal([*GOOD, ("X", "Y", 1.0, 0.001), ("U", "V", 1.0, 0.001)])
    assert [("X, Y" in one, "U, V" in one) for one in error.problems] == [(True, False), (False, True)]


def test_two_pieces_that_each_hold_a_known_level_are_one_network() -> None:
    ours = adjust_network(lines_of([*GOOD, ("X", "Y", 1.0, 0.001)]), {"A": 0.0, "X": 5.0})
    assert ours.levels["Y"] == pytest.approx(6.0, abs=1e-12)


@pytest.mark.parametrize("known", [{}, {"Q": 1.0}])
def test_a_network_without_a_known_level_floats(known: dict) -> None:
    assert "A, B, C" in str(refusal(GOOD, known))


def test_a_long_list_of_loose_points_is_cut() -> None:
    rows = [(f"L{place:02d}", f"L{place + 1:02d}", 0.0, 0.001) for place in range(40)]
    text = str(refusal([*GOOD, *rows]))
    assert "L00, L01" in text
    assert "…" in text
    assert "L39" not in text


def test_every_bad_cell_is_told_at_once_with_its_observation() -> None:
    rows = [("A", "B", "1.O", 0.001), ("B", "C", 1.0, -0.001), ("A", "C", 2.0, 0.001), ("C", "C", 0.0, 0.001),
            ("", "C", 0.0, 0.001), ("A", None, 0.0, 0.001), ("A", "B", math.nan, 0.001), ("A", "B", 1.0, math.inf)]
    error = refusal(rows)
    assert [one.partition(":")[0] for one in error.problems] == [f"Observation {number}" for number in (1, 2, 4, 5, 6, 7, 8)]
    assert "'1.O'" in error.problems[0]
    assert "-0.001" in error.problems[1]
    assert "C to the same point" in error.problems[2]
    assert "no name" in error.problems[3]


BAD = ["one", None, math.nan, math.inf, -math.inf, pd.NA, True, 1 + 2j, Decimal(1), [1.0], date(2024, 5, 1), 1e13]


@pytest.mark.parametrize("bad", BAD, ids=repr)
@pytest.mark.parametrize("weighing", ["length_km", "sd", "weight"])
def test_a_cell_that_is_no_number_is_refused(bad: Any, weighing: str) -> None:
    assert "Observation 2: dh" in str(refusal([GOOD[0], ("B", "C", bad, 0.001)], weighing=weighing))
    assert f"Observation 2: {weighing}" in str(refusal([GOOD[0], ("B", "C", 1.0, bad)], weighing=weighing))


@pytest.mark.parametrize("bad", [0, 0.0, -1, -1e-9])
@pytest.mark.parametrize("weighing", ["length_km", "sd", "weight"])
def test_a_weight_must_be_over_nought(bad: float, weighing: str) -> None:
    assert f"Observation 1: {weighing} is {bad!r}. It must be a number over nought, up to 1e12." == str(
        refusal([("A", "B", 1.0, bad)], weighing=weighing))


@pytest.mark.parametrize("bad", BAD, ids=repr)
def test_a_known_level_that_is_no_number_is_refused_with_its_point(bad: Any) -> None:
    assert "known level of A" in str(refusal(GOOD, {"A": bad}))


@pytest.mark.parametrize(
    ("columns", "told"),
    [
        (["from", "to", "dh", "sd", "weight"], "2 columns give weights"),
        (["from", "to", "dh"], "0 columns give weights"),
        (["from", "to", "rise", "sd"], "dh is missing"),
        (["start", "end", "dh", "sd"], "from, to are missing"),
        (["from", "from", "to", "dh", "sd"], "same name"),
        (["from", "to", "dh", "sd", "sd"], "same name"),
        (["from", "to", "dh", "dh", "sd"], "same name"),
        ([], "from, to, dh are missing"),
    ],
    ids=lambda value: ",".join(value) if isinstance(value, list) else "",
)
def test_wrong_columns_are_told(columns: list[str], told: str) -> None:
    lines = pd.DataFrame([[1.0] * len(columns)] * 2, columns=columns)
    with pytest.raises(SurveyError, match=told):
        adjust_network(lines, {"A": 0.0})


def test_columns_that_nobody_asked_for_are_left_alone() -> None:
    lines = lines_of(GOOD).assign(remarks="windy")
    assert adjust_network(lines, {"A": 0.0}).levels["C"] == pytest.approx(2.0, abs=1e-12)


def test_too_few_and_too_many_observations_are_refused() -> None:
    assert "0 observations" in str(refusal([]))
    assert "3001 observations" in str(refusal([GOOD[0]] * 3001))


def test_a_standard_deviation_of_a_kilometre_needs_lengths_and_a_number() -> None:
    assert "without length_km" in str(refusal(GOOD, sd_per_root_km=0.001))
    for bad in (0, -0.001, math.nan, math.inf, "1 mm", True):
        assert "Sd_per_root_km is" in str(refusal(GOOD, weighing="length_km", sd_per_root_km=bad))


@pytest.mark.parametrize("odd", [None, 3, "A,B,1.0", [GOOD], {"from": ["A"]}], ids=repr)
def test_observations_must_be_a_table(odd: Any) -> None:
    with pytest.raises(SurveyError, match="It must be a DataFrame"):
        adjust_network(odd, {"A": 0.0})


@pytest.mark.parametrize("odd", [None, 3, "A", [("A", 0.0)], pd.Series({"A": 0.0})], ids=repr)
def test_known_levels_must_be_a_mapping(odd: Any) -> None:
    with pytest.raises(SurveyError, match="It must be a Mapping"):
        adjust_network(lines_of(GOOD), odd)


ODD = st.one_of(
    st.sampled_from([*BAD, 0, -1, 0.5, 1, 2.5, 1e-6, "A", "B", " ", "", b"A", (), {}, object, pd.NaT, np.float32(1.5),
                     np.bool_(True), Fraction(1, 3)]),
    st.floats(-1e13, 1e13).filter(lambda value: value == 0 or abs(value) > 1e-9),
    st.integers(-(10**13), 10**13),
    st.text(max_size=3),
)


@settings(deadline=None, max_examples=150, derandomize=True)
@given(rows=st.lists(st.tuples(ODD, ODD, ODD, ODD), max_size=4), known=st.dictionaries(st.sampled_from("ABC"), ODD, max_size=2),
       weighing=st.sampled_from(["length_km", "sd", "weight", "other"]), spread=st.one_of(st.none(), ODD), good=st.booleans())
def test_odd_input_gives_an_answer_or_a_sentence(
    rows: list[Line], known: dict, weighing: str, spread: Any, good: bool
) -> None:
    table = lines_of([*rows, *GOOD] if good else rows, weighing).astype(object)
    try:
        ours = adjust_network(table, known, sd_per_root_km=spread)
    except SurveyError as error:
        told = error.problems
    else:
        told = (ours.words,)
        assert np.isfinite(ours.levels).all()
        assert np.isfinite(ours.residuals).all()
    assert told
    assert all(one.endswith(".") for one in told)


# Odd input: each is right, or a sentence


def test_a_number_of_hundreds_of_digits_is_refused() -> None:
    assert "Observation 2: dh" in str(refusal([GOOD[0], ("B", "C", 10**400, 0.001)]))


@pytest.mark.parametrize(
    ("weighing", "given_weight", "spread"),
    [("sd", 1e-200, None), ("weight", 1e-300, None), ("length_km", 5e-324, None), ("length_km", 1.0, 1e-200)],
)
def test_a_weight_beyond_all_measure_is_refused_or_gives_levels(weighing: str, given_weight: float, spread: float) -> None:
    rows = [("A", "B", 1.0, given_weight), ("B", "C", 1.0, 1.0), ("A", "C", 2.0, 1.0)]
    try:
        levels = adjust_network(lines_of(rows, weighing), {"A": 0.0}, sd_per_root_km=spread).levels
    except SurveyError as error:
        told = str(error)
    else:
        told = "levels"
        assert np.isfinite(levels).all()
    assert told


def test_one_point_with_two_known_levels_is_refused() -> None:
    assert "1" in str(refusal([(1, "B", 1.0, 0.001), ("1", "B", 1.0, 0.001)], {1: 1.0, "1": 2.0}))


def test_blanks_around_the_name_of_a_known_point_do_not_matter() -> None:
    assert adjust_network(lines_of(GOOD), {"A ": 0.0}).levels["C"] == pytest.approx(2.0, abs=1e-12)


def test_lines_that_nothing_tells_apart_are_suspected_together() -> None:
    """A to B to C is the only way through B: its 50 mm may be in either line, and both residuals are equally large."""
    rows = [("A", "C", dh, 0.001) for dh in (2.000, 2.001, 1.9995, 2.0005, 2.000)]
    ours = adjust_network(lines_of([*rows, ("A", "B", 1.05, 0.001), ("B", "C", 1.0, 0.001)]), {"A": 0.0})
    assert sorted(ours.suspects.index) == [5, 6]
    assert "A to B" in ours.words
    assert "B to C" in ours.words
