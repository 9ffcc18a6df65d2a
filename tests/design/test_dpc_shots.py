"""DPC shots that a slip of the pen would take from their wall, or put on one where they do not stand."""

from typing import Any

import pytest

from sitelevels import Brief, Clearance, Finish, Plane, SurveyError, Wall, check_finish

GOVERNS = "D3,,1.460,,,2.0,0.0,dpc,{},\n"  # 160 mm lower than the shots at the ends: 40 mm above the finish at 10.000 m


def with_shot(hand: Any, wall: str, row: str = GOVERNS) -> Any:
    return hand.change_book("C1,,1.620", row.format(wall) + "C1,,1.620").open()


@pytest.mark.parametrize("wall", ["house", "House", " house ", ""])
def test_a_shot_counts_however_its_wall_is_written(hand: Any, wall: str) -> None:
    job = with_shot(hand, wall)
    assert job.verdicts.table.loc[0, "found"] == pytest.approx(40)
    assert job.doubts == ()


def test_a_shot_on_a_wall_that_the_brief_does_not_have_is_told(hand: Any) -> None:
    job = with_shot(hand, "huose")
    assert job.verdicts.table.loc[0, "found"] == pytest.approx(200)
    assert any("Row 4, point D3" in doubt and "'huose'" in doubt for doubt in job.doubts)


def test_a_shot_out_in_the_yard_is_refused_by_name(hand: Any) -> None:
    job = with_shot(hand, "house", "D3,,1.460,,,2.0,2.5,dpc,{},\n")
    with pytest.raises(SurveyError, match=r"D3 \(2\.50 m\) do not stand on the wall 'house'"):
        job.brief  # noqa: B018


@pytest.mark.parametrize("dpc", [[(0, 10.0), (4, 10.0), (4, 10.2)], [(0, 10.0), (4, 10.2), (4, 10.0)]])
def test_a_step_at_the_end_is_put_in_order_however_it_was_booked(dpc: list[tuple[float, float]]) -> None:
    assert Wall("w", (0, 0), (4, 0), dpc=dpc).dpc_at(3.0) == pytest.approx(10.0, abs=1e-12)


@pytest.mark.parametrize("last", [[(4, 10.0), (4, 10.2)], [(4, 10.2), (4, 10.0)]])
def test_a_step_with_shots_on_one_side_only_keeps_to_its_neighbour(last: list[tuple[float, float]]) -> None:
    wall = Wall("w", (0, 0), (4.2, 0), dpc=[(0, 10.2), (2, 10.2), *last])
    assert wall.dpc_at(3.0) == pytest.approx(10.2, abs=1e-12)


def test_an_edge_that_leaves_the_wall_obliquely_does_not_reach_past_its_corner() -> None:
    area = [(0, 0), (4, 0), (6, 4), (0, 4)]
    wall = Wall("w", (0, 0), (8, 0), dpc=[(0, 10.2), (4, 10.2), (4, 10.0), (8, 10.0)])
    brief = Brief(area, walls=[wall], demands=[Clearance("w", 0.15)])
    assert brief.stations(wall) == pytest.approx([0, 4], abs=1e-9)
    assert check_finish(Finish.plane(Plane(9.95, 0, 0), area), brief).table.loc[0, "found"] == pytest.approx(250)


# D1 reads 1.300 m, D2 that much more, 4 m along: level to 5 mm and read to 5 mm, or courses of 75 mm
@pytest.mark.parametrize(("lower", "told"), [
    (0, False), (10, False), (11, True), (40, True), (64, True), (65, False), (75, False), (85, False), (86, True), (150, False),
    (164, True), (225, False)])
def test_two_shots_that_are_neither_level_nor_courses_apart_are_questioned(hand: Any, lower: int, told: bool) -> None:
    hand.change_book("D2,,1.300", f"D2,,{1.3 + lower / 1000:.3f}")
    said = (f"D1 and D2 are on the DPC of the house and differ by {lower} mm in 4.00 m. A DPC is usually level, or steps by "
            "whole courses of 75 mm: read both again.")
    assert hand.open().brief_doubts == ((said,) if told else ())


def test_neighbours_are_compared_in_their_order_along_the_wall(hand: Any) -> None:
    job = with_shot(hand, "house", "D3,,1.330,,,2.0,0.0,dpc,{},\n")
    assert [doubt.partition(" are")[0] for doubt in job.brief_doubts] == ["D1 and D3", "D3 and D2"]
