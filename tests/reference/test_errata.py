"""Misprints of published books: typed in as hand-worked levels, each must be named with its row and point."""

from __future__ import annotations

import math
import warnings

import pytest
from finding import Case, booked_rows, csv_text, drop, falling, from_book, one_in, shared_by_setups
from finding_pegs_and_networks import from_network, from_two_pegs, network, two_pegs
from published import cases

import sitelevels as sl

CASES = cases()


def reduced_with_hand_levels(rows: list[Case]) -> tuple[sl.ReducedLevels, list[str]]:
    """The reduced book and the warnings that it gave."""
    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always")
        reduced = sl.reduce_book(sl.read_book(csv_text(rows)))
    return reduced, [str(one.message) for one in caught if issubclass(one.category, sl.SurveyWarning)]


def printed_rows(name: str) -> list[Case]:
    """The book of a case with its printed levels as hand levels, misprint and all."""
    case = CASES[name]
    rows, misprint = booked_rows(case), case["misprints"]
    if isinstance(levels := case["expected"].get("rl"), dict):
        place = next(i for i, row in enumerate(rows) if row["point"] == misprint["setup_on"] and "bs" in row)
        rows.insert(place + 1, {"point": misprint["point"], "is": misprint["is"]})
        for row in rows:
            if row["point"] in levels and "bs" not in row:
                row["hand_level"] = f"{levels[row['point']]:.3f}"
    elif levels is not None:
        for row, level in zip(rows, levels, strict=True):
            row["hand_level"] = f"{level:.3f}"
    wrong = misprint.get("row", place + 2 if isinstance(levels, dict) else 0)
    rows[wrong - 1]["hand_level"] = f"{misprint['hand_level']:.3f}"
    return rows


@pytest.mark.parametrize(
    ("name", "row", "point", "difference"),
    [
        # row under the headings; printed level less right level, m, from the errata of the case
        ("LB02", 9, "9", 99.636 - 99.635),
        ("LB03", 8, "TP7", 149.450 - 149.400),
        ("LB10", 9, "9", 40.165 - 40.185),
        ("FLAG02", 12, "12", 189.180 - 184.150),
    ],
    ids=["LB02", "LB03", "LB10", "FLAG02"],
)
def test_the_misprinted_row_is_named_and_no_other(name: str, row: int, point: str, difference: float) -> None:
    reduced, told = reduced_with_hand_levels(printed_rows(name))
    wrong = reduced.hand_levels[~reduced.hand_levels["agrees"].astype(bool)]
    assert wrong["row"].tolist() == [row]
    assert wrong["point"].tolist() == [point]
    assert wrong["difference"].tolist() == pytest.approx([difference], abs=1e-9)
    assert reduced.hand_slip is not None
    assert f"row {row}, point {point}:" in reduced.hand_slip.replace("Row", "row")
    assert reduced.hand_slip in told


@pytest.mark.parametrize("name", ["LB01", "LB02", "LB03", "LB04"])
def test_right_levels_raise_no_question(name: str) -> None:
    rows = booked_rows(CASES[name])
    for row, level in zip(rows, CASES[name]["expected"]["rl"], strict=True):
        row["hand_level"] = f"{level:.3f}"
    reduced, told = reduced_with_hand_levels(rows)
    assert reduced.hand_levels["agrees"].all()
    assert len(reduced.hand_levels) == len(rows)
    assert reduced.hand_slip is None
    assert not [one for one in told if "hand-worked" in one]


def test_a_misprinted_foresight_shows_at_its_own_row() -> None:
    """W15: the foresight on C is printed 1.497, the levels were worked with 1.496: C is first to differ."""
    case = CASES["W15"]
    rows, misprint = booked_rows(case), case["misprints"]
    rows[misprint["row"] - 1]["fs"] = misprint["fs"]
    for row in rows[1:]:
        row["hand_level"] = f"{case['expected']['RL_' + row['point']]:.3f}"
    reduced, told = reduced_with_hand_levels(rows)
    first_wrong = reduced.hand_levels[~reduced.hand_levels["agrees"].astype(bool)].iloc[0]
    assert (first_wrong["row"], first_wrong["point"]) == (4, "C")
    assert first_wrong["difference"] == pytest.approx(0.001, abs=1e-9)
    assert reduced.hand_slip is not None
    assert "row 4, point C" in reduced.hand_slip.replace("Row", "row")
    assert reduced.hand_slip in told


def test_the_wrong_answer_of_flag02_is_not_ours() -> None:
    """The posted answer takes the change of instrument for a rise: last level 189.180 m, fall 1 in 248."""
    found = from_book(CASES["FLAG02"])
    assert found["last_rl"] == pytest.approx(190.750 - 6.600, abs=1e-9)  # 6.600 m down over 11 x 30 m
    assert found["gradient_1_in"] == pytest.approx(330 / 6.600, abs=0.05)


def test_md01_corrections_are_taken_off() -> None:
    """The slide prints +0.04 at the fourth point; a line that closes 0.05 high is brought down."""
    printed = CASES["MD01"]["misprints"]["correction_at_point"]
    assert shared_by_setups(CASES["MD01"])["correction_at_point"] == pytest.approx(-printed, abs=1e-9)


def test_percentages_printed_ten_times_too_small() -> None:
    """W07: 30 and 45 mm in 7 m were printed as 0.04 and 0.06 %."""
    given = CASES["W07"]["inputs"]
    for fall_mm, printed in zip(given["falls_mm"], CASES["W07"]["misprints"]["pct"], strict=True):
        right = falling(given["run_m"], fall_mm / 1000).fall
        assert 10 < right / sl.parse_fall(f"{printed} %") < 11
        assert (
            drop(f"{printed} %", given["run_m"]) < 0.005
        )  # metres: not the 30 mm or 45 mm that it stands for


def test_a_quarter_inch_per_foot_is_not_20_mm_per_metre() -> None:
    """W13: the answer takes 1/4 in per ft (1:48) for 20 mm/m (1:50)."""
    quarter = sl.parse_fall(f"{CASES['W13']['inputs']['drawing_in_per_ft']} in/ft")
    printed = sl.parse_fall(f"{CASES['W13']['misprints']['mm_per_m']} mm/m")
    assert quarter - printed == pytest.approx(0.25 / 12 - 0.020, abs=1e-12)
    assert (one_in(quarter), one_in(printed)) == (48, 50)


def test_the_reference_sd_of_nw01_is_not_the_one_in_the_book() -> None:
    """Ghilani and Wolf print 0.6575; Krumm 0.6512, which is √(1.27212 / 3), his sum of squares over the redundancy."""
    found, printed = from_network(CASES["NW01"])["s0"], CASES["NW01"]["misprints"]["s0"]
    assert found == pytest.approx(math.sqrt(1.27212 / 3), abs=2e-6)
    assert abs(found - printed) > 0.006


def test_the_posted_answer_of_flag03_is_not_ours() -> None:
    """It takes the first set-up as free of error; with the level at each peg in turn the fall is the mean of both."""
    found = from_two_pegs(CASES["FLAG03"])
    assert found["true_difference_fall_A_to_B"] == pytest.approx((0.520 + 0.900) / 2, abs=1e-9)
    assert found["corrected_reading_A_setup2"] == pytest.approx(3.045 - 0.710, abs=1e-9)
    assert found["rl_B"] == pytest.approx(450.000 - 0.710, abs=1e-9)
    for quantity, printed in CASES["FLAG03"]["misprints"].items():
        assert abs(found[quantity] - printed) > 0.18


def test_the_error_in_100_m_of_tp05_is_rounded_and_not_cut_off() -> None:
    """Printed -0.0023; ((1.155 - 2.595 + 0.016825) - (0.985 - 2.415 - 0.016825)) / -1000 is -0.002365 in 100 m."""
    found, printed = from_two_pegs(CASES["TP05"]), CASES["TP05"]["misprints"]
    assert found["collimation_error_m_per_100m"] == pytest.approx(-0.002365, abs=1e-9)
    assert round(found["collimation_error_m_per_100m"], 4) == -0.0024
    assert abs(found["collimation_error_m_per_100m"] - printed["collimation_error_m_per_100m"]) > 0.00005
    assert abs(found["collimation_error_in_500m"] - printed["collimation_error_in_500m"]) > 0.006


def test_the_level_of_w18_passes_the_limit_of_its_source() -> None:
    """1 mm in 50 m, 3 mm allowed; with half a millimetre allowed it would not pass."""
    test = two_pegs(CASES["W18"])
    assert test.within
    assert not sl.two_peg_test(test.first, test.second, limit=0.0005 / 50).within


def test_the_mean_of_nw08_is_what_its_printed_fractions_give() -> None:
    """The mean itself is cut off on the page: a cross-check with (1601/800 + 161/90 + 202/125) / (121/360)."""
    by_fractions = (1601 / 800 + 161 / 90 + 202 / 125) / (121 / 360)
    assert network(CASES["NW08"]).levels["end"] == pytest.approx(by_fractions, abs=1e-9)
