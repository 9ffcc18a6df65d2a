"""The section square to a wall and the choice of a plane beside it, by hand; their pictures are tested with the workbook.

A yard of 6 m by 4 m lies out from a wall along y = 0 with its DPC at 10.000 m. Today's ground falls from 9.900 m at the wall to
9.860 m at the far edge, with a spot in the middle at 9.950 m.
"""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from sitelevels import Brief, Clearance, FallAway, Finish, Ground, Layer, Plane, SurveyError, Wall
from sitelevels.design.choice import Choosing
from sitelevels.design.section import Section, cut_section

WIDE = [(0.0, 0.0), (6.0, 0.0), (6.0, 4.0), (0.0, 4.0)]
WALL = Wall("wall", (0, 0), (6, 0), dpc=10.0)
BRIEF = Brief(WIDE, walls=[WALL], layers=(Layer("slab", 0.1),), demands=[Clearance("wall", 0.150), FallAway("wall", 1 / 80)])
GROUND = Ground([0, 6, 6, 0, 3], [0, 0, 4, 4, 2], [9.9, 9.9, 9.86, 9.86, 9.95])
PLANE = Finish.plane(Plane(9.84, 0.0, -0.02), WIDE)


def section(along: float, finish: Finish = PLANE, brief: Brief = BRIEF) -> Section:
    return cut_section(brief, finish, GROUND, "wall", along)


class TestSection:
    def test_it_bends_where_the_ground_does_and_nowhere_twice(self) -> None:
        found = section(3.0)
        assert found.out == pytest.approx([0.0, 2.0, 4.0])
        assert found.finished == pytest.approx([9.84, 9.80, 9.76])
        assert found.existing == pytest.approx([9.9, 9.95, 9.86])

    def test_what_stands_at_the_wall(self) -> None:
        found = section(1.0)
        assert (found.out[0], found.dpc, found.asked) == (0.0, 10.0, 0.150)
        assert found.clearance == pytest.approx(0.160)

    def test_the_deepest_dig_is_down_to_the_formation(self) -> None:
        assert section(3.0).deepest == pytest.approx(9.95 - 9.80 + 0.1)

    def test_one_plane_has_one_fall(self) -> None:
        assert section(3.0).falls == (pytest.approx((0.0, 4.0, 0.02)),)

    def test_two_planes_to_a_channel_have_two(self) -> None:
        # looking along the channel from x 0 to x 6, the wall is on the right
        found = section(2.0, Finish.channel(((0, 3), (6, 3)), WIDE, level=9.78, left=1 / 40, right=1 / 50))
        (start, bend, away), (again, end, back) = found.falls
        assert (start, bend, again, end) == pytest.approx((0.0, 3.0, 3.0, 4.0))
        assert (away, back) == pytest.approx((1 / 50, -1 / 40))

    def test_beyond_the_spots_there_is_no_ground(self) -> None:
        near = Ground([0, 6, 6, 0], [0, 0, 2, 2], [9.9] * 4)
        found = cut_section(BRIEF, PLANE, near, "wall", 1.0)
        assert np.isnan(found.existing[found.out > 2.001]).all()
        assert not np.isnan(found.existing[found.out < 1.999]).any()

    @pytest.mark.parametrize("along", [-0.5, 6.5])
    def test_no_section_is_cut_beyond_the_wall(self, along: float) -> None:
        wider = Brief([(-2, 0), (8, 0), (8, 4), (-2, 4)], walls=[WALL])
        with pytest.raises(SurveyError, match=f"No paving lies out from the wall at {along:.2f} m along"):
            cut_section(wider, Finish.plane(Plane(9.84, 0.0, -0.02), wider.area), GROUND, "wall", along)

    def test_it_ends_where_a_notch_begins(self) -> None:
        notched = Brief(shapely.Polygon(WIDE) - shapely.box(2, 1, 4, 2), walls=[WALL])
        found = cut_section(notched, Finish.plane(Plane(9.84, 0.0, -0.02), notched.area), GROUND, "wall", 3.0)
        assert (found.out[0], found.out[-1]) == pytest.approx((0.0, 1.0))


class TestChoice:
    """Level at the wall up to 9.850 m, fall away 1:80 or more: a rectangle of the picture, cut by its frame."""

    CHOOSING = Choosing(BRIEF, GROUND, "wall")

    def test_what_is_allowed_is_a_rectangle(self) -> None:
        allowed, edges = self.CHOOSING.allowed(0.0, (9.75, 9.95), (0.0, 0.05))
        assert allowed.bounds == pytest.approx((9.75, 1 / 80, 9.85, 0.05), abs=1e-7)
        assert allowed.area == pytest.approx(0.1 * (0.05 - 1 / 80), rel=1e-6)
        assert {title for title, *_ in edges} == {demand.title for demand in BRIEF.demands}
        ways = {title: out for title, _, out in edges}
        assert ways[Clearance.title][0] > 0
        assert ways[Clearance.title][1] == pytest.approx(0.0, abs=1e-9)
        assert ways[FallAway.title][1] < 0

    @pytest.mark.parametrize(("levels", "falls"), [
        ((-np.inf, 9.9), (0.0, 0.05)), ((9.7, 9.9), (0.0, np.inf)), (("9.7", "9.9"), (0, 1)), ((9.7,), (0, 1)), (None, (0, 1)),
        ((9.9, 9.7), (0, 1))])
    def test_a_range_that_is_none_is_refused(self, levels: object, falls: object) -> None:
        with pytest.raises(SurveyError, match="range of"):
            self.CHOOSING.lay_open(0.0, levels, falls)  # type: ignore[arg-type]

    @pytest.mark.parametrize("surfaces", [[], [(9.8,)], [("a", 0.02)], [(9.8, np.inf)]])
    def test_the_choice_is_laid_open_about_surfaces_and_nothing_else(self, surfaces: object) -> None:
        with pytest.raises(SurveyError, match=r"surface"):
            self.CHOOSING.about(0.0, surfaces)  # type: ignore[arg-type]

    def test_nothing_is_allowed_where_the_frame_lies_above_the_dpc(self) -> None:
        allowed, edges = self.CHOOSING.allowed(0.0, (9.86, 9.95), (0.0, 0.05))
        assert allowed.is_empty
        assert edges == ()

    def test_the_volume_is_that_of_the_surface_drawn(self) -> None:
        found = self.CHOOSING.lay_open(0.0, (9.80, 9.90), (0.0, 0.04))
        level, fall = float(found.levels[2]), float(found.falls[3])
        finish = Finish.plane(Plane(level, 0.0, -fall), WIDE)
        x, y = np.meshgrid(np.linspace(0.005, 5.995, 600), np.linspace(0.005, 3.995, 400))
        depth = GROUND.level_at(x.ravel(), y.ravel()) - finish.level_at(x.ravel(), y.ravel()) + 0.1
        assert found.volume[3, 2] == pytest.approx(np.abs(depth).mean() * 24, rel=1e-4)

    def test_what_is_laid_open_reaches_round_the_surfaces_told(self) -> None:
        found = self.CHOOSING.about(0.0, [(9.84, 0.02), (9.80, 0.015)])
        # allowed within 120 mm of the first are 9.720 to 9.850 m and 1:80 to 0.06; 20 mm below, 40 mm above, 5 mm/m either way
        assert (found.levels[0], found.levels[-1]) == pytest.approx((9.72 - 0.02, 9.85 + 0.04), abs=1e-6)
        assert (found.falls[0], found.falls[-1]) == pytest.approx((1 / 80 - 0.005, 0.06 + 0.005), abs=1e-6)
        assert "reaches in this picture from" in found.sentence()


class TestWallsAtAnyAngle:
    """Rectangles whose corners are taped to the millimetre: at either end of the wall the section reaches the far side."""

    @pytest.mark.parametrize("degrees", [0, 20, 45, 90, 137, 200, 311])
    def test_a_section_at_the_end_of_a_wall_reaches_the_far_side(self, degrees: float) -> None:
        turn = np.radians(degrees)
        across = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
        corners = [tuple(map(float, np.round(across @ corner + [12.3, -4.5], 3))) for corner in WIDE]
        brief = Brief(corners, walls=[Wall("wall", corners[0], corners[1], dpc=10.0)])
        finish = Finish.plane(Plane(9.8, 0.0, 0.0), corners)
        ground = Ground(*zip(*corners, strict=True), [9.8, 9.8, 9.7, 9.7])
        stations = brief.stations(brief.walls[0])
        for along in (stations[0], stations[-1], stations[0] - 1e-9, stations[-1] + 1e-9):
            found = cut_section(brief, finish, ground, "wall", along)
            assert (found.out[0], found.out[-1]) == (pytest.approx(0.0, abs=2e-3), pytest.approx(4.0, abs=2e-3))
            assert len(found.falls) == 1

    def test_it_stands_where_it_was_asked_for_though_a_little_farther_on_it_would_be_longer(self) -> None:
        slanted = [(0.0, 0.0), (6.0, 0.0), (6.0, 5.0), (0.0, 2.0)]  # 2 m deep at one end, 5 m at the other
        brief = Brief(slanted, walls=[WALL])
        finish = Finish.plane(Plane(9.84, 0.01, -0.02), slanted)
        for along in (0.0, 1.0, 3.0, 6.0):
            found = cut_section(brief, finish, GROUND, "wall", along)
            assert found.out[-1] == pytest.approx(2.0 + along / 2)
            assert found.finished[0] == pytest.approx(9.84 + 0.01 * along)

    @pytest.mark.parametrize("along", [float("nan"), float("inf"), "3", None, [3], 10**400])
    def test_what_is_no_place_along_the_wall_is_refused(self, along: object) -> None:
        with pytest.raises(SurveyError, match="place along the wall"):
            section(along)  # type: ignore[arg-type]

    def test_at_the_tip_of_a_triangle_the_section_is_short_and_can_be_drawn(self) -> None:
        tip = [(0.0, 0.0), (6.0, 0.0), (6.0, 4.0)]
        brief = Brief(tip, walls=[WALL])
        found = cut_section(brief, Finish.plane(Plane(9.84, 0.0, -0.02), tip), GROUND, "wall", 1e-8)
        assert 0.001 < found.out[-1] - found.out[0] < 0.05
        assert [fall for _, _, fall in found.falls] == pytest.approx([0.02])
