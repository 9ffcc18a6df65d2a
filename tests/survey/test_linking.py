"""Set-ups that carry their levels to each other, in whatever order and from whatever side."""

from __future__ import annotations

import pytest

from sitelevels import LevelBook, ReducedLevels, SurveyError, read_book, reduce_book

pytestmark = pytest.mark.filterwarnings("ignore::sitelevels.SurveyWarning")  # short books; doubts have tests of their own


def book(*rows: str) -> LevelBook:
    """Rows of point,bs,is,fs,rl."""
    return read_book("point,bs,is,fs,rl\n" + "\n".join(rows) + "\n")


def reduced(*rows: str) -> ReducedLevels:
    return reduce_book(book(*rows))


def levels(*rows: str) -> dict[str, float]:
    spots = reduced(*rows).spots()
    return dict(zip(spots["point"], spots["level"], strict=True))


def test_one_set_up() -> None:
    found = levels("BM,1.500,,,10.000", "A,,1.250,,", "B,,,1.750,")
    assert found == pytest.approx({"BM": 10.0, "A": 10.25, "B": 9.75}, abs=1e-9)


CHAIN = {"BM": 10.0, "A": 10.25, "TP": 9.7, "B": 9.6, "C": 9.1}
"""By hand: HPC 11.500 and, from 9.700 + 0.900, 10.600."""


def test_a_change_point_on_one_row() -> None:
    found = levels("BM,1.500,,,10.000", "A,,1.250,,", "TP,0.900,,1.800,", "B,,1.000,,", "C,,,1.500,")
    assert found == pytest.approx(CHAIN, abs=1e-9)


def test_a_change_point_on_two_rows_is_the_same_and_counts_once() -> None:
    result = reduced("BM,1.500,,,10.000", "A,,1.250,,", "TP,,,1.800,", "TP,0.900,,,", "B,,1.000,,", "C,,,1.500,")
    spots = result.spots().set_index("point")
    assert spots["level"].to_dict() == pytest.approx(CHAIN, abs=1e-9)
    assert spots["n"].to_dict() == {"BM": 1, "A": 1, "TP": 1, "B": 1, "C": 1}


@pytest.mark.parametrize("known", CHAIN)
@pytest.mark.parametrize("rows", [1, 2], ids=["one row", "two rows"])
def test_the_known_level_may_be_any_point_of_the_chain(known: str, rows: int) -> None:
    change = ["TP,0.900,,1.800,"] if rows == 1 else ["TP,,,1.800,", "TP,0.900,,,"]
    lines = book("BM,1.500,,,", "A,,1.250,,", *change, "B,,1.000,,", "C,,,1.500,").with_known(known, CHAIN[known])
    result = reduce_book(lines)
    spots = result.spots().set_index("point")
    assert spots["level"].to_dict() == pytest.approx(CHAIN, abs=1e-9)
    assert result.arithmetic["agrees"].all()
    assert spots["n"].drop("TP").tolist() == [1, 1, 1, 1]
    if known != "TP":
        assert spots.loc["TP", "n"] == 1  # shot from two set-ups, but one of the two shots carried the level on


def test_a_set_up_may_stand_on_a_point_shot_long_before() -> None:
    found = levels("BM,1.500,,,10.000", "A,,1.250,,", "TP,0.900,,1.800,", "B,,1.000,,", "A,1.100,,,", "D,,1.350,,")
    assert found["D"] == pytest.approx(10.25 + 1.1 - 1.35, abs=1e-9)


def test_a_set_up_may_stand_on_a_point_shot_later() -> None:
    found = levels("A,1.100,,,", "D,,1.350,,", "BM,1.500,,,10.000", "A,,1.250,,")
    assert found == pytest.approx({"A": 10.25, "D": 10.0, "BM": 10.0}, abs=1e-9)


def test_three_set_ups_booked_in_the_opposite_order_are_linked() -> None:
    found = levels("B,1.000,,,", "C,,2.000,,", "A,1.000,,,", "B,,2.000,,", "BM,1.000,,,10.000", "A,,2.000,,")
    assert found == pytest.approx({"BM": 10.0, "A": 9.0, "B": 8.0, "C": 7.0}, abs=1e-9)


def test_a_chain_with_its_level_at_the_end_only_is_reduced_backwards() -> None:
    found = levels("A,1.000,,,", "B,1.200,,1.500,", "C,1.400,,0.800,", "BM,,,2.000,20.000")
    # HPC 22.0 at the last: C = 20.6; HPC 21.4: B = 20.2; HPC 21.7: A = 20.7
    assert found == pytest.approx({"A": 20.7, "B": 20.2, "C": 20.6, "BM": 20.0}, abs=1e-9)


def test_a_known_level_backsighted_is_preferred_to_one_found() -> None:
    result = reduced("BM,1.500,,,10.000", "BM2,1.000,,1.498,10.000", "A,,1.000,,")
    assert result.table["hpc"].dropna().tolist() == pytest.approx([11.5, 11.0], abs=1e-9)
    assert result.misclosure == pytest.approx(0.002, abs=1e-9)


def test_the_latest_shot_before_the_set_up_is_the_one_carried_on() -> None:
    result = reduced("BM,1.500,,,10.000", "P,,1.500,,", "P,,1.504,,", "P,1.000,,,", "A,,1.000,,")
    assert result.table["hpc"].dropna().tolist() == pytest.approx([11.5, 9.996 + 1.0], abs=1e-9)


def test_a_change_point_carries_its_own_foresight_on_whatever_was_shot_on_it_before() -> None:
    result = reduced("BM,1.500,,,10.000", "P,,1.500,,", "P,1.000,,1.504,", "A,,1.000,,")
    assert result.table["hpc"].dropna().tolist() == pytest.approx([11.5, 9.996 + 1.0], abs=1e-9)


def test_a_staff_upside_down_on_the_backsight() -> None:
    found = levels("soffit,-2.400,,,12.600", "A,,1.000,,", "lintel,,-2.100,,", "B,,,1.200,")
    assert found == pytest.approx({"soffit": 12.6, "A": 9.2, "lintel": 12.3, "B": 9.0}, abs=1e-9)


def test_a_change_point_with_both_staffs_upside_down() -> None:
    found = levels("BM,1.000,,,10.000", "hook,-1.500,,-2.000,", "A,,1.250,,")
    assert found == pytest.approx({"BM": 10.0, "hook": 13.0, "A": 10.25}, abs=1e-9)


class TestRefusals:
    def test_without_a_known_level_the_first_point_is_offered_as_ten_metres(self) -> None:
        with pytest.raises(SurveyError, match=r"Row 1, point A: no level is known.*call A 10\.000 m"):
            reduced("A,1.500,,,", "B,,1.250,,")

    def test_every_set_up_on_an_unknown_point_is_named(self) -> None:
        with pytest.raises(SurveyError) as caught:
            reduced("BM,1.500,,,10.000", "A,,1.250,,", "Q,1.000,,,", "B,,1.100,,", "R,1.000,,,", "C,,1.100,,")
        assert [problem.split(":")[0] for problem in caught.value.problems] == ["Row 3, point Q", "Row 5, point R"]
        assert "spelling" in str(caught.value)

    def test_a_letter_of_another_case_is_another_point(self) -> None:
        with pytest.raises(SurveyError, match="Row 3, point a: this set-up is on a point that nothing links"):
            reduced("BM,1.500,,,10.000", "A,,1.250,,", "a,1.000,,,", "B,,1.100,,")


class TestRuns:
    def test_change_points_join_set_ups_and_a_branch_starts_anew(self) -> None:
        sums = reduced("BM,1.500,,,10.000", "A,,1.250,,", "TP,0.900,,1.800,", "C,,,1.500,", "A,1.100,,,", "D,,1.350,,").sums
        assert sums["sum_bs"].tolist() == pytest.approx([2.4, 1.1], abs=1e-9)
        assert sums["sum_fs"].tolist() == pytest.approx([3.3, 1.35], abs=1e-9)
        assert sums["first"].tolist() == pytest.approx([10.0, 10.25], abs=1e-9)
        assert sums["last"].tolist() == pytest.approx([9.1, 10.0], abs=1e-9)

    def test_a_backsight_with_nothing_read_from_it_adds_to_no_sum(self) -> None:
        result = reduced("BM,1.500,,,10.000", "A,,,1.250,", "A,1.100,,,")
        assert result.sums["sum_bs"].tolist() == pytest.approx([1.5], abs=1e-9)
        assert result.arithmetic["agrees"].all()
