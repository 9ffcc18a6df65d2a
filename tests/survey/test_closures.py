"""Closures, allowances, the sharing out of a misclosure, and the steadiness of a set-up."""

from __future__ import annotations

import math

import pytest

from sitelevels import ALLOWANCES, ReducedLevels, SurveyError, read_book, reduce_book

HEAD = "point,bs,is,fs,rl,sight\n"
RUN = HEAD + "BM1,1.500,,,10.000,20\nA,,1.250,,,25\nTP,0.900,,1.800,,30 / 10\nC,,1.000,,,15\nBM2,,,0.598,10.000,20\n"
"""By hand: 2 mm high at BM2 after two set-ups; sights on the way 20 + 30 m and 10 + 20 m."""


def adjusted(result: ReducedLevels) -> list[float]:
    found: list[float] = result.table["adjusted_level"].tolist()
    return found


def run_of(*, short: float, setups: int = 2) -> ReducedLevels:
    """A level run of so many set-ups whose last foresight is short by so many metres: the misclosure is +short."""
    rows = ["BM1,1.500,,,10.000,20"] + [f"T{number},1.500,,1.500,,20" for number in range(1, setups)]
    return reduce_book(read_book(HEAD + "\n".join([*rows, f"BM2,,,{1.5 - short:.4f},10.000,20"]) + "\n"))


class TestClosures:
    def test_misclosure_is_observed_minus_known(self) -> None:
        result = reduce_book(read_book(RUN))
        (closure,) = result.closures.to_dict("records")
        assert closure == pytest.approx({"from": "BM1", "to": "BM2", "setups": 2, "misclosure": 0.002,
                                         "allowable": 0.005 * math.sqrt(2), "closes": True}, abs=1e-9)
        assert (result.misclosure, result.allowable) == pytest.approx((0.002, 0.0070711), abs=1e-7)
        assert result.closes is True

    def test_where_nothing_closes_there_is_none(self) -> None:
        result = reduce_book(read_book("point,bs,is,rl\nBM,1.5,,10\nA,,1.2,\n"))
        assert (result.misclosure, result.allowable, result.closes) == (None, None, None)
        assert result.closures.empty
        assert list(result.closures.columns) == ["from", "to", "setups", "misclosure", "allowable", "closes"]

    def test_several_benchmarks_each_close_and_the_last_is_the_answer(self) -> None:
        result = reduce_book(read_book("point,bs,is,fs,rl\nBM1,1.500,,,10.000\nBM2,,1.249,,10.250\nBM3,1.000,,2.002,9.500\n"
                                       "A,,1.100,,\nBM1,,,0.503,10.000\n"))
        assert result.closures["to"].tolist() == ["BM2", "BM3", "BM1"]
        assert result.closures["misclosure"].tolist() == pytest.approx([0.001, -0.002, -0.003], abs=1e-9)
        assert result.closures["from"].tolist() == ["BM1", "BM1", "BM3"]
        assert result.closures["setups"].tolist() == [1, 1, 1]
        assert result.misclosure == pytest.approx(-0.003, abs=1e-9)

    @pytest.mark.parametrize(("short", "closes"), [(0.007, True), (-0.007, True), (0.0071, False), (-0.0071, False)])
    def test_two_set_ups_are_allowed_seven_millimetres(self, short: float, closes: bool) -> None:
        assert run_of(short=short).closes is closes

    def test_a_misclosure_of_exactly_the_allowance_closes(self) -> None:
        assert run_of(short=0.010, setups=4).closes is True


class TestAllowances:
    @pytest.mark.parametrize(("name", "metres"), [
        # coefficient × √2 set-ups, or × √0.08 km of sights; coefficients as their sources print them
        ("ordinary", 0.005 * math.sqrt(2)), ("steel and concrete", 0.003 * math.sqrt(2)), ("earthworks", 0.030 * math.sqrt(2)),
        ("third order", 0.012 * math.sqrt(0.08)), ("construction layout", 0.024 * math.sqrt(0.08))])
    def test_each_by_name(self, name: str, metres: float) -> None:
        result = reduce_book(read_book(RUN), allowable=name)
        assert result.allowable == pytest.approx(metres, rel=1e-12)
        assert result.closes is (metres >= 0.002)

    def test_no_name_is_left_out_above_and_each_has_its_source(self) -> None:
        assert set(ALLOWANCES) == {"ordinary", "steel and concrete", "earthworks", "third order", "construction layout"}
        assert all(len(allowance.source) > 10 for allowance in ALLOWANCES.values())

    def test_metres_are_taken_as_they_are(self) -> None:
        assert reduce_book(read_book(RUN), allowable=0.0015).closes is False
        assert reduce_book(read_book(RUN), allowable=0.002).closes is True
        assert reduce_book(read_book(RUN), allowable=0).closes is False

    @pytest.mark.parametrize("adjust", ["setups", "distance", None])
    def test_by_distance_a_sight_not_booked_is_refused_at_once_by_its_row(self, adjust: str | None) -> None:
        book = read_book(RUN.replace("30 / 10", "30 /"))
        with pytest.raises(SurveyError, match="Row 3, point TP: the length of this sight is not booked"):
            reduce_book(book, adjust=adjust, allowable="third order")  # type: ignore[arg-type]


class TestSharing:
    def test_by_set_ups_each_carries_its_k_of_n(self) -> None:
        assert adjusted(reduce_book(read_book(RUN))) == pytest.approx([10.0, 10.249, 9.699, 9.598, 10.0], abs=1e-9)

    def test_by_distance_each_carries_its_part_of_the_way(self) -> None:
        found = adjusted(reduce_book(read_book(RUN), adjust="distance"))  # 50 of 80 m, then 80 of 80 m
        assert found == pytest.approx([10.0, 10.24875, 9.69875, 9.598, 10.0], abs=1e-9)

    def test_not_at_all(self) -> None:
        found = adjusted(reduce_book(read_book(RUN), adjust=None))
        assert found == pytest.approx([10.0, 10.25, 9.7, 9.6, 10.002], abs=1e-9)

    def test_the_level_before_adjustment_is_kept_beside(self) -> None:
        assert reduce_book(read_book(RUN)).table["level"].tolist() == pytest.approx([10.0, 10.25, 9.7, 9.6, 10.002], abs=1e-9)

    def test_outside_its_allowance_nothing_is_shared(self) -> None:
        result = run_of(short=0.008)
        assert result.closes is False
        assert adjusted(result) == pytest.approx([10.0, 10.0, 10.008], abs=1e-9)

    def test_four_set_ups_share_in_quarters(self) -> None:
        assert adjusted(run_of(short=0.008, setups=4)) == pytest.approx([10.0, 9.998, 9.996, 9.994, 10.0], abs=1e-9)

    def test_a_branch_carries_what_its_point_carries(self) -> None:
        text = RUN + "A,1.000,,,,10\nD,,1.100,,,10\n"
        result = reduce_book(read_book(text))
        assert result.level("D") == pytest.approx(10.249 + 1.0 - 1.1, abs=1e-9)

    def test_a_change_point_has_one_adjusted_level_on_both_its_rows(self) -> None:
        text = RUN.replace("TP,0.900,,1.800,,30 / 10", "TP,,,1.800,,30\nTP,0.900,,,,10")
        table = reduce_book(read_book(text)).table
        assert table.loc[table["point"] == "TP", "adjusted_level"].tolist() == pytest.approx([9.699, 9.699], abs=1e-9)

    def test_a_point_that_hands_a_level_on_keeps_it_when_the_next_set_up_is_reduced_from_it(self) -> None:
        """The run goes BM, TP, CP, BM and closes 4 mm low, 2 mm to each set-up; TP is carried into one that backsights Q."""
        text = ("point,bs,is,fs,rl\nQ,1.500,,,\nTP,,1.200,,\nR,,,1.000,\nBM,1.000,,,10.000\nTP,,1.204,,\nCP,1.200,,1.100,\n"
                "BM,,,1.104,\n")
        table = reduce_book(read_book(text)).table
        assert table.loc[table["point"] == "TP", "level"].tolist() == pytest.approx([9.796, 9.796], abs=1e-9)
        assert table.loc[table["point"] == "TP", "adjusted_level"].tolist() == pytest.approx([9.798, 9.798], abs=1e-9)

    def test_a_set_up_that_ends_on_a_known_level_hangs_on_that_and_not_on_a_spot(self) -> None:
        """TP by hand: 10.000 + 1.000 - 1.200 from BM1, 10.000 + 1.000 - 1.204 from BM2; meaned."""
        text = "point,bs,is,fs,rl\nQ,1.500,,,\nTP,,1.200,,\nBM1,,,1.000,10.000\nBM2,1.000,,,10.000\nTP,,1.204,,\n"
        reduced = reduce_book(read_book(text))
        assert reduced.table.loc[reduced.table["point"] == "TP", "level"].tolist() == pytest.approx([9.8, 9.796], abs=1e-9)
        assert reduced.level("TP") == pytest.approx(9.798, abs=1e-9)

    def test_sights_of_no_length_cannot_share(self) -> None:
        book = read_book(RUN.replace("30 / 10", "0").replace(",20\n", ",0\n"))
        with pytest.raises(SurveyError, match="no length"):
            reduce_book(book, adjust="distance")


class TestSteadiness:
    TEXT = "point,bs,is,fs,rl\nBM,1.500,,,10.000\nA,,1.250,,\nBM,,{},,10.000\nB,,1.400,,\n"

    def test_a_second_look_within_the_allowance_is_meaned_with_the_first(self) -> None:
        result = reduce_book(read_book(self.TEXT.format("1.504")))
        assert [result.level(point) for point in "AB"] == pytest.approx([10.252, 10.102], abs=1e-9)
        assert result.level("BM") == 10.0
        (look,) = result.stability.to_dict("records")
        assert look == pytest.approx({"setup": 1, "point": "BM", "difference": -0.004, "steady": True}, abs=1e-9)

    def test_two_second_looks_are_meaned_in_thirds(self) -> None:
        text = self.TEXT.format("1.503") + "BM,,1.503,,\n"
        assert reduce_book(read_book(text)).level("A") == pytest.approx(10.252, abs=1e-9)

    def test_outside_the_allowance_nothing_is_meaned_and_it_says_so(self) -> None:
        result = reduce_book(read_book(self.TEXT.format("1.506")))
        assert [result.level(point) for point in "AB"] == pytest.approx([10.25, 10.1], abs=1e-9)
        assert result.stability["steady"].tolist() == [False]

    def test_one_look_outside_spoils_the_mean_of_the_others_too(self) -> None:
        text = self.TEXT.format("1.503") + "BM,,1.520,,\n"
        assert reduce_book(read_book(text)).level("A") == pytest.approx(10.25, abs=1e-9)

    def test_without_adjustment_nothing_is_meaned(self) -> None:
        result = reduce_book(read_book(self.TEXT.format("1.504")), adjust=None)
        assert result.table.loc[2, "adjusted_level"] == pytest.approx(10.25, abs=1e-9)

    def test_a_second_look_is_not_a_closure_unless_it_is_the_last_sight(self) -> None:
        assert reduce_book(read_book(self.TEXT.format("1.504"))).closures.empty
        closing = reduce_book(read_book("point,bs,is,fs,rl\nBM,1.500,,,10.000\nA,,1.250,,\nBM,,,1.504,\n"))
        assert closing.misclosure == pytest.approx(-0.004, abs=1e-9)
        assert closing.level("A") == pytest.approx(10.252, abs=1e-9)  # the mean, never k of n

    def test_a_set_up_that_stands_on_the_point_again_takes_its_level_and_not_the_second_look(self) -> None:
        text = ("point,bs,is,fs,rl\nBM,1.500,,,10.000\nTP,1.500,,1.500,\nA,,1.400,,\nTP,,,1.504,\nTP,1.000,,,\nD,,1.000,,\n")
        result = reduce_book(read_book(text))
        assert result.level("TP") == pytest.approx(10.0, abs=1e-9)
        assert result.level("D") == pytest.approx(10.0, abs=1e-9)

    def test_steadiness_of_a_later_set_up_and_the_run_are_both_put_right(self) -> None:
        """Second backsight 0.900 looked at again 0.902: mean 0.901 lifts its shots 1 mm; the run then misses by 3 mm."""
        text = ("point,bs,is,fs,rl\nBM1,1.500,,,10.000\nTP,0.900,,1.800,\nC,,1.000,,\nTP,,0.902,,\nBM2,,,0.598,10.000\n")
        result = reduce_book(read_book(text))
        # TP: 9.700 − 3 × 1/2 mm; C: 9.600 + 1 − 3 mm
        assert result.table["adjusted_level"].iloc[[1, 2]].tolist() == pytest.approx([9.6985, 9.598], abs=1e-9)
        assert result.level("BM2") == 10.0


class TestSections:
    """Known levels on the way part a run into sections, whether they are read in passing or as change points."""

    IN_PASSING = ("BM1,1.500,,,10.000\nA,,1.500,,\nC1,1.500,,1.500,\nBM2,,1.494,,10.000\nB,,2.000,,\nC2,1.500,,1.500,\n"
                  "D,,1.400,,\nC3,1.500,,1.500,\nE,,1.300,,\nBM3,,,{},10.000\n")
    AS_CHANGE_POINT = ("BM1,1.500,,,10.000\nA,,1.500,,\nC1,1.500,,1.500,\nB,,2.000,,\nBM2,1.494,,1.494,10.000\n"
                       "D,,1.400,,\nC3,1.500,,1.500,\nE,,1.300,,\nBM3,,,{},10.000\n")

    def test_both_bookings_give_the_same_levels(self) -> None:
        """BM2 is found 6 mm high, BM3 2 mm high, so 4 mm low from BM2; by hand with k of n in each section."""
        by_hand = {"A": 9.997, "B": 9.494, "D": 10.1 - 0.006 + 0.002, "E": 10.2 - 0.002}
        for text in (self.IN_PASSING, self.AS_CHANGE_POINT):
            result = reduce_book(read_book("point,bs,is,fs,rl\n" + text.format("1.498")))
            assert {point: result.level(point) for point in by_hand} == pytest.approx(by_hand, abs=1e-9)
            assert result.closures[["from", "to", "setups"]].to_numpy().tolist() == [["BM1", "BM2", 2], ["BM2", "BM3", 2]]
            assert result.closures["misclosure"].tolist() == pytest.approx([0.006, -0.004], abs=1e-9)

    def test_a_section_that_does_not_close_is_told_though_the_last_one_does(self) -> None:
        text = "BM1,1.500,,,10.000\nC1,1.500,,1.500,\nBM2,1.500,,1.530,10.000\nC3,1.500,,1.500,\nBM3,,,1.501,10.000\n"
        result = reduce_book(read_book("point,bs,is,fs,rl\n" + text))
        assert result.closes is True  # the last
        assert "BM2, carried from BM1 over 2 set-ups, is 30.0 mm low" in result.closing
        assert "does NOT close" in result.closing
        assert len(result.doubts) == 1

    def test_a_loop_that_disagrees_with_itself_on_a_point_of_no_known_level_is_told(self) -> None:
        text = "P,1.500,,,\nCP1,1.200,,1.400,\nBM,,1.100,,10.000\nCP2,1.300,,1.250,\nP,,,1.250,\n"
        result = reduce_book(read_book("point,bs,is,fs,rl\n" + text))
        assert any("point CP1" in doubt and "100.0 mm" in doubt for doubt in result.doubts)
        with pytest.raises(SurveyError, match=r"100\.0 mm"):
            result.level("CP1")

    def test_an_instrument_that_moved_is_told(self) -> None:
        text = "BM,1.500,,,10.000\nA,,1.300,,\nBM,,1.480,,\nC,1.400,,1.400,\nBM,,,1.500,\n"
        result = reduce_book(read_book("point,bs,is,fs,rl\n" + text))
        assert any("Set-up 1: on BM the instrument moved or settled by 20.0 mm" in doubt for doubt in result.doubts)

    def test_a_wide_allowance_for_the_run_does_not_excuse_an_instrument_that_moved(self) -> None:
        text = "point,bs,is,fs,rl\nBM,1.500,,,10.000\nA,,1.250,,\nBM,,1.480,,\nC,,,1.300,\n"
        result = reduce_book(read_book(text), allowable="earthworks")
        assert result.stability["steady"].tolist() == [False]
        assert result.level("A") == pytest.approx(10.25, abs=1e-9)
