"""Reduced levels of books worked by hand: both routes, the arithmetic, spots and hand-worked levels."""

from __future__ import annotations

import math

import pandas as pd
import pytest

from sitelevels import ReducedLevels, SurveyError, SurveyWarning, read_book, reduce_book

TWO_SETUPS = """point,bs,is,fs,x,y,feature,rl,remarks
BM1,1.500,,,,,benchmark,10.000,
A,,1.250,,1,0,ground,,wet
B,,-2.100,,2,0,dpc,,
TP,0.900,,1.800,,,,,
C,,1.000,,3,1,ground,,
BM2,,,0.598,,,benchmark,10.000,
"""
"""Worked by hand: HPC 11.500 and 10.600."""


@pytest.fixture
def two() -> ReducedLevels:
    return reduce_book(read_book(TWO_SETUPS))


def test_levels_rise_and_fall_as_worked_by_hand(two: ReducedLevels) -> None:
    table = two.table
    assert table["level"].tolist() == pytest.approx([10.0, 10.25, 13.6, 9.7, 9.6, 10.002], abs=1e-9)
    assert table["rise"].fillna(-1).tolist() == pytest.approx([-1, 0.25, 3.35, -1, -1, 0.402], abs=1e-9)
    assert table["fall"].fillna(-1).tolist() == pytest.approx([-1, -1, -1, 3.9, 0.1, -1], abs=1e-9)
    assert table["hpc"].fillna(-1).tolist() == pytest.approx([11.5, -1, -1, 10.6, -1, -1], abs=1e-9)


def test_the_table_keeps_booking_order_and_what_was_booked(two: ReducedLevels) -> None:
    table = two.table
    assert list(table.columns) == ["point", "feature", "x", "y", "bs", "is", "fs", "rise", "fall", "hpc", "level",
                                   "adjusted_level", "remarks"]
    assert table["point"].tolist() == ["BM1", "A", "B", "TP", "C", "BM2"]
    assert table.index.tolist() == [1, 2, 3, 4, 5, 6]
    assert table.loc[2, "remarks"] == "wet"
    table.loc[1, "level"] = 99.0
    assert two.table.loc[1, "level"] == 10.0


def test_the_second_route_reaches_the_same_levels(two: ReducedLevels) -> None:
    table = two.table
    level = 10.0
    for rise, fall, found in table[["rise", "fall", "level"]].iloc[1:].fillna(0).itertuples(index=False):
        level += rise - fall
        assert found == pytest.approx(level, abs=1e-9)


def test_the_sums_as_worked_by_hand(two: ReducedLevels) -> None:
    (sums,) = two.sums.to_dict("records")
    assert sums == pytest.approx({"run": 1, "sum_bs": 2.4, "sum_fs": 2.398, "sum_rise": 4.002, "sum_fall": 4.0, "first": 10.0,
                                  "last": 10.002}, abs=1e-9)


def test_the_arithmetic_shows_both_sides_and_agrees(two: ReducedLevels) -> None:
    arithmetic = two.arithmetic
    # HPC × shots: 3 × 11.5 + 2 × 10.6 = 55.7; IS and FS: 1.25 − 2.1 + 1.8 + 1.0 + 0.598 = 2.548
    assert arithmetic["left"].tolist() == pytest.approx([0.002, 0.002, 55.7 - 2.548], abs=1e-9)
    assert arithmetic["right"].tolist() == pytest.approx([0.002, 0.002, 10.25 + 13.6 + 9.7 + 9.6 + 10.002], abs=1e-9)
    assert arithmetic["agrees"].all()


def test_a_last_shot_booked_as_intermediate_closes_the_sums() -> None:
    result = reduce_book(read_book("point,bs,is,fs,rl\nBM,1.500,,,10.000\nA,,1.250,,\nB,,1.800,,\n"))
    assert result.sums["sum_fs"].tolist() == pytest.approx([1.8], abs=1e-9)
    assert result.arithmetic["agrees"].all()


def test_equal_readings_are_a_rise_of_nought() -> None:
    table = reduce_book(read_book("point,bs,is,rl\nBM,1.500,,10\nA,,1.500,\n")).table
    assert table.loc[2, "rise"] == 0.0
    assert math.isnan(table.loc[2, "fall"])


class TestSpots:
    REPEATS = "point,bs,is,x,y,feature,rl\nBM,1.500,,,,benchmark,10.000\nA,,1.250,1,2,ground,\nB,,1.300,,,edge,\nA,,{},,,,\n"

    def test_repeats_within_five_millimetres_are_meaned_with_their_spread(self) -> None:
        spots = reduce_book(read_book(self.REPEATS.format("1.254"))).spots().set_index("point")
        assert spots.loc["A", "level"] == pytest.approx(10.248, abs=1e-9)
        assert spots.loc["A", "spread"] == pytest.approx(0.004, abs=1e-9)
        assert spots.loc["A", ["n", "x", "y", "feature"]].tolist() == [2, 1.0, 2.0, "ground"]

    def test_exactly_five_millimetres_are_still_meaned(self) -> None:
        assert reduce_book(read_book(self.REPEATS.format("1.255"))).level("A") == pytest.approx(10.2475, abs=1e-9)

    def test_more_are_refused_and_both_rows_named(self) -> None:
        result = reduce_book(read_book(self.REPEATS.format("1.256")))
        told = r"Rows 2 and 4, point A: the levels 10\.250 m and 10\.244 m of one point differ by 6\.0 mm"
        with pytest.raises(SurveyError, match=told):
            result.level("A")
        with pytest.raises(SurveyError, match=told):
            result.spots()
        assert result.level("B") == pytest.approx(10.2, abs=1e-9)

    def test_all_points_whose_repeats_disagree_are_named_at_once(self) -> None:
        text = "point,bs,is,rl\nBM,1.5,,10\nA,,1.0,\nB,,1.0,\nA,,1.1,\nB,,1.1,\n"
        with pytest.raises(SurveyError) as caught:
            reduce_book(read_book(text)).spots()
        assert [problem.split(":")[0] for problem in caught.value.problems] == ["Rows 2 and 4, point A", "Rows 3 and 5, point B"]

    def test_they_can_be_kept_by_feature(self, two: ReducedLevels) -> None:
        assert two.spots("ground")["point"].tolist() == ["A", "C"]
        assert two.spots("")["point"].tolist() == ["TP"]
        assert two.spots("gully").empty
        assert two.spots("gully").columns.tolist() == ["point", "feature", "x", "y", "level", "n", "spread"]

    def test_a_known_point_keeps_its_known_level(self, two: ReducedLevels) -> None:
        assert two.level("BM2") == 10.0

    def test_a_point_that_was_not_read_is_refused_with_those_that_were(self, two: ReducedLevels) -> None:
        with pytest.raises(SurveyError, match=r"'Z' was not read.*A, B"):
            two.level("Z")

    def test_a_second_look_at_a_change_point_leaves_its_level_alone(self) -> None:
        """Backsight 1.500 and repeat 1.504 share the height of collimation, so together they say 10.000 m again."""
        text = "point,bs,is,fs,rl\nBM,1.500,,,10.000\nTP,1.500,,1.500,\nA,,1.400,,\nTP,,,1.504,\n"
        result = reduce_book(read_book(text))
        assert result.level("A") == pytest.approx(10.0 + 1.502 - 1.400, abs=1e-9)
        assert result.level("TP") == pytest.approx(10.0, abs=1e-9)


class TestHandLevels:
    HAND = "point,bs,is,fs,rl,hand_level\nBM,1.500,,,10.000,10.000\nA,,1.250,,,10.250\nB,,1.300,,,{}\nC,,,1.400,,{}\n"

    def test_right_ones_are_believed_without_a_word(self) -> None:
        result = reduce_book(read_book(self.HAND.format("10.200", "10.100")))
        assert result.hand_slip is None
        assert result.hand_levels["agrees"].tolist() == [True] * 4

    def test_the_first_wrong_row_is_named_with_the_difference(self) -> None:
        with pytest.warns(SurveyWarning, match="Row 3, point B: the hand-worked level 10.180 m is 20.0 mm too low; the readings "
                                               "give 10.200 m"):
            result = reduce_book(read_book(self.HAND.format("10.180", "10.100")))
        assert result.hand_levels["difference"].tolist() == pytest.approx([0, 0, -0.02, 0], abs=1e-9)
        assert result.level("B") == pytest.approx(10.2, abs=1e-9)  # compared, never believed

    @pytest.mark.filterwarnings("ignore::sitelevels.errors.SurveyWarning")
    def test_one_later_wrong_row_is_counted_in_good_english(self) -> None:
        slip = reduce_book(read_book(self.HAND.format("10.180", "10.090"))).hand_slip
        assert slip is not None
        assert slip.endswith("1 later hand-worked level is wrong too.")

    def test_one_is_right_within_half_its_last_digit(self) -> None:
        text = "point,bs,is,fs,rl,hand_level\nBM,1.5000,,,10.000,\nA,,1.2504,,,10.250\n"
        assert reduce_book(read_book(text)).hand_slip is None

    @pytest.mark.filterwarnings("ignore::sitelevels.errors.SurveyWarning")
    def test_one_millimetre_is_a_slip_where_millimetres_are_written(self) -> None:
        assert reduce_book(read_book(self.HAND.format("10.201", "10.100"))).hand_slip is not None

    @pytest.mark.filterwarnings("ignore::sitelevels.errors.SurveyWarning")
    def test_a_table_of_numbers_has_lost_its_noughts_and_forty_millimetres_are_a_slip_all_the_same(self) -> None:
        frame = pd.DataFrame({"point": ["BM", "A"], "bs": [1.5, None], "is": [None, 1.36], "rl": [10.0, None],
                              "hand_level": [None, 10.1]})
        assert reduce_book(read_book(frame)).hand_slip is not None

    @pytest.mark.filterwarnings("ignore::sitelevels.errors.SurveyWarning")
    def test_a_slip_is_shown_escaped(self) -> None:
        text = "point,bs,is,rl,hand_level\n<b>,1.500,,10.000,\n<i>,,1.250,,10.350\n"
        shown = reduce_book(read_book(text))._repr_html_()
        assert "<i>" not in shown
        assert "&lt;i&gt;" in shown


@pytest.mark.parametrize(("options", "said"), [
    ({"adjust": "length"}, "the adjustment 'length' is not known"),
    ({"allowable": "rough"}, "the allowance 'rough' is not known"),
    ({"allowable": -0.001}, "it is a length in m"), ({"allowable": math.nan}, "it is a length in m"),
    ({"allowable": math.inf}, "it is a length in m")])
def test_options_that_make_no_sense_are_refused(options: dict[str, object], said: str) -> None:
    with pytest.raises(SurveyError, match=f"(?i){said}"):
        reduce_book(read_book(TWO_SETUPS), **options)  # type: ignore[arg-type]
