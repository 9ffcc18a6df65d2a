"""Packers under a level."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sitelevels import SurveyError, SurveyWarning
from sitelevels.works.packer import fall_of_packer, packer, packers

steady = settings(deadline=None, max_examples=60, derandomize=True)


class TestPacker:
    def test_published_block_of_50_mm_at_2_m_is_1_in_40(self) -> None:
        """UK garden DIY guide, stylegardens.co.uk, diyprojects2e: a 50 mm spacer at 2 m sets a fall of 1:40."""
        assert packer(1 / 40, 2.0) == pytest.approx(0.050, abs=0.0005)
        assert 1 / fall_of_packer(0.050, 2.0) == pytest.approx(40, abs=0.5)

    @pytest.mark.parametrize(("fall", "length", "block"), [
        ("1:60", 1.2, 0.020), ("1:80", 2.0, 0.025), ("12.5 mm/m", 1.0, 0.0125), ("level", 1.8, 0.0), (0.02, 0.0, 0.0),
        (1, 1.2, 1.2)])
    def test_by_hand(self, fall: float | str, length: float, block: float) -> None:
        assert packer(fall, length) == pytest.approx(block, abs=1e-12)

    @steady
    @given(st.floats(0, 1), st.floats(0.1, 3))
    def test_the_two_undo_each_other(self, fall: float, length: float) -> None:
        assert fall_of_packer(packer(fall, length), length) == pytest.approx(fall, abs=1e-12)

    @steady
    @given(st.floats(0, 1), st.floats(0.1, 2), st.floats(0.1, 2))
    def test_blocks_of_two_lengths_add_up(self, fall: float, one: float, other: float) -> None:
        assert packer(fall, one) + packer(fall, other) == pytest.approx(packer(fall, one + other), abs=1e-12)

    def test_the_block_is_the_drop_of_a_plane_over_the_level(self) -> None:
        from sitelevels import Plane
        plane = Plane(9.8, 0.0, -1 / 60)
        assert packer(plane.fall, 1.2) == pytest.approx(plane.level_at(0, 0) - plane.level_at(0, 1.2), abs=1e-12)


class TestTable:
    def test_by_hand(self) -> None:
        table = packers(["1:40", 1 / 80])
        assert table.columns.tolist() == ["fall", "mm at 1 m", "mm at 1.2 m", "mm at 1.8 m", "mm at 2 m"]
        assert table["fall"].tolist() == ["1:40 (25.0 mm/m)", "1:80 (12.5 mm/m)"]
        assert table.iloc[0, 1:].tolist() == pytest.approx([25, 30, 45, 50], abs=1e-9)
        assert table.iloc[1, 1:].tolist() == pytest.approx([12.5, 15, 22.5, 25], abs=1e-9)

    def test_one_fall_will_do(self) -> None:
        assert packers("1:50", lengths=[0.5]).iloc[0].tolist() == ["1:50 (20.0 mm/m)", pytest.approx(10)]
        assert packers(0.02, lengths=[0.5])["mm at 0.5 m"].tolist() == pytest.approx([10])

    @pytest.mark.parametrize("lengths", [[], 1.2, "1.2", [1.2, math.nan], [1.2, 1.2], [1.2, -1.0]], ids=str)
    def test_lengths_that_will_not_do(self, lengths: object) -> None:
        with pytest.raises(SurveyError):
            packers([0.02], lengths)  # type: ignore[arg-type]

    def test_falls_that_are_no_list(self) -> None:
        with pytest.raises(SurveyError, match="list of falls"):
            packers(None)  # type: ignore[arg-type]


class TestRefusals:
    @pytest.mark.parametrize(("fall", "told"), [
        (math.nan, "nan"), (math.inf, "inf"), (1.001, "steeper than 1:1"), (60, "steeper than 1:1"), (-0.02, "uphill"),
        ("1:60 uphill", "uphill"), ("60", "not understood"), (None, "None"), (True, "True")], ids=str)
    def test_falls(self, fall: object, told: str) -> None:
        with pytest.raises(SurveyError, match=told):
            packer(fall, 1.2)  # type: ignore[arg-type]

    @pytest.mark.parametrize("length", [-0.1, math.nan, math.inf, "1.2", None], ids=str)
    def test_lengths(self, length: object) -> None:
        for sum_of in (packer, fall_of_packer):
            with pytest.raises(SurveyError, match="length of the level"):
                sum_of(0.02, length)  # type: ignore[operator]

    @pytest.mark.parametrize(("block", "length"), [(-0.01, 1.2), (math.nan, 1.2), (0.05, 0.0), (0.0, 0.0), (20, 1.2), ("50", 2)])
    def test_blocks(self, block: object, length: float) -> None:
        with pytest.raises(SurveyError, match="block"):
            fall_of_packer(block, length)  # type: ignore[arg-type]

    def test_a_length_in_millimetres_is_questioned(self) -> None:
        with pytest.warns(SurveyWarning, match=r"1200\.00 m long"):
            assert packer(0.02, 1200) == pytest.approx(24)
