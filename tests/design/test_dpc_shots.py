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
