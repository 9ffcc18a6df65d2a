"""`catchments` against areas worked out by hand."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
import shapely
from hypothesis import example, given, settings
from hypothesis import strategies as st

from sitelevels import Brief, Facet, Finish, Gully, Plane, SurveyError, SurveyWarning, Wall
from sitelevels.design.conditions import Spot
from sitelevels.works.catchment import Catchments, catchments

steady = settings(deadline=None, max_examples=40, derandomize=True)
YARD = [(0, 0), (6, 0), (6, 4), (0, 4)]
BACK = Wall("back wall", (0, 0), (6, 0), dpc=10.2)
ELL = [(0, 0), (6, 0), (6, 2), (3, 2), (3, 4), (0, 4)]


def areas(found: Catchments) -> dict[tuple[str, float, float], float]:
    """Area by kind and place of the sink, places to the micrometre."""
    return {(row.sink, round(row.x, 6) + 0.0, round(row.y, 6) + 0.0): row.area for row in found.table.itertuples()}


def one_plane(away: float, along: float, area: Any = YARD, **edges: Any) -> Catchments:
    return catchments(Finish.plane(Plane(10.0, -along, -away), area), Brief(area, walls=[BACK], **edges))


class TestOnePlane:
    def test_straight_away_from_the_wall_everything_goes_over_the_far_edge(self) -> None:
        found = one_plane(1 / 60, 0.0)
        assert areas(found) == pytest.approx({("free edge", 3, 4): 24.0}, abs=1e-9)
        assert found.dead == ()
        assert "24.0 m² over the edge from x 6 y 4 to x 0 y 4" in found.sentence()

    def test_a_fall_along_parts_it_between_two_edges(self) -> None:
        """At 1:4 aside over a depth of 4 m the way from the corner ends 1 m along: a triangle of 1 m × 4 m goes over the side."""
        assert areas(one_plane(0.02, 0.005)) == pytest.approx({("free edge", 3, 4): 22.0, ("free edge", 6, 2): 2.0}, abs=1e-9)

    def test_a_closed_far_edge_leads_it_to_its_lower_end_and_out(self) -> None:
        found = one_plane(0.02, 0.005, closed=[((6, 4), (0, 4))])
        assert areas(found) == pytest.approx({("free edge", 6, 2): 24.0}, abs=1e-9)

    def test_naming_a_free_edge_closes_the_others(self) -> None:
        found = one_plane(0.02, 0.005, free=[((0, 4), (6, 4))])
        assert areas(found) == pytest.approx({("free edge", 3, 4): 24.0}, abs=1e-9)

    def test_an_edge_may_be_closed_in_part(self) -> None:
        """Closed from x 4 to 6, level: what comes down to that stays."""
        found = one_plane(0.02, 0.0, closed=[((6, 4), (4, 4))])
        assert areas(found) == pytest.approx({("free edge", 2, 4): 16.0, ("dead spot", 5, 4): 8.0}, abs=1e-9)

    def test_falling_to_a_wall_with_a_closed_side_it_stays_in_the_corner(self) -> None:
        found = one_plane(-0.02, -0.005, closed=[((0, 4), (0, 0))])
        assert areas(found) == pytest.approx({("dead spot", 0, 0): 24.0}, abs=1e-9)
        assert found.dead == ("Water of 24.0 m² stays at the low corner at x 0 y 0: it is held by the back wall and the "
                              "closed edge from x 0 y 4 to x 0 y 0.",)

    def test_falling_straight_to_a_wall_it_stays_along_it(self) -> None:
        found = one_plane(-0.02, 0.0)
        assert areas(found) == pytest.approx({("dead spot", 3, 0): 24.0}, abs=1e-9)
        assert "foot of the back wall" in found.dead[0]

    def test_falling_along_and_to_a_wall_it_runs_along_it_and_out(self) -> None:
        assert areas(one_plane(-0.02, 0.005)) == pytest.approx({("free edge", 6, 2): 24.0}, abs=1e-9)

    def test_a_level_plane_is_dead_altogether(self) -> None:
        found = one_plane(0.0, 0.0)
        assert list(found.table.area) == pytest.approx([24.0], abs=1e-9)
        assert "level: water does not leave" in found.dead[0]

    def test_an_ell(self) -> None:
        """Straight away: 3 m × 2 m over the near arm's edge, 3 m × 4 m over the far one."""
        assert areas(one_plane(0.02, 0.0, ELL)) == pytest.approx(
            {("free edge", 1.5, 4): 12.0, ("free edge", 4.5, 2): 6.0}, abs=1e-9)

    def test_an_ell_with_a_fall_along(self) -> None:
        """At 1:4 aside the way to (3, 4) starts at x 2 by the wall, the ways to (3, 2) and (6, 2) at 2.5 and 5.5.

        The far edge has a trapezium of 2 m and 3 m by 4 m; the notch's side a strip of ½ m by 2 m and a triangle of ½ m by 2 m;
        the near edge a strip of 3 m by 2 m; the right side a triangle of ½ m by 2 m.
        """
        found = areas(one_plane(0.02, 0.005, ELL))
        assert found == pytest.approx({("free edge", 6, 1): 0.5, ("free edge", 4.5, 2): 6.0, ("free edge", 3, 3): 1.5,
                                       ("free edge", 1.5, 4): 10.0}, abs=1e-9)


class TestDrains:
    def test_a_channel_with_a_fall_ends_at_its_lower_end(self) -> None:
        """Both sides at 2 %, along at ½ %: on the way to the line, 2 m off, ½ m is gained; two triangles of ½ × 2 / 2 run out."""
        finish = Finish.channel(((0, 2), (6, 2)), YARD, level=9.8, fall=0.005, left=0.02, right=0.02)
        assert areas(catchments(finish, Brief(YARD))) == pytest.approx(
            {("channel", 6, 2): 23.0, ("free edge", 6, 2): 1.0}, abs=1e-6)

    def test_a_channel_that_is_drawn_uphill(self) -> None:
        finish = Finish.channel(((0, 2), (6, 2)), YARD, level=9.8, fall=-0.005, left=0.02, right=0.02)
        assert areas(catchments(finish, Brief(YARD)))[("channel", 0, 2)] == pytest.approx(23.0, abs=1e-6)

    def test_a_level_channel_is_said_to_be_level(self) -> None:
        found = catchments(Finish.channel(((0, 2), (6, 2)), YARD, level=9.8, left=0.02, right=0.02), Brief(YARD))
        assert areas(found) == pytest.approx({("level channel", 3, 2): 24.0}, abs=1e-6)
        assert "level channel drains only where" in found.sentence()

    def test_a_floor_that_falls_to_an_outlet(self) -> None:
        found = catchments(Finish.outlet((4, 1), YARD, level=9.8, perimeter=9.85), Brief(YARD))
        assert areas(found) == pytest.approx({("outlet", 4, 1): 24.0}, abs=1e-6)
        assert found.by_facet.area.tolist() == pytest.approx([3.0, 4.0, 9.0, 8.0], abs=1e-6)  # base × height / 2 of each facet

    def test_four_planes_that_meet_in_a_hollow_without_a_drain_are_dead(self) -> None:
        facets = [Facet(facet.plane, facet.area) for facet in Finish.outlet((4, 1), YARD, level=9.8, perimeter=9.85).facets]
        assert areas(catchments(Finish(facets), Brief(YARD))) == pytest.approx({("dead spot", 4, 1): 24.0}, abs=1e-6)

    def test_a_gully_takes_the_strip_above_it(self) -> None:
        """0.6 m wide and 2 m long, and the half of the polygon of 32 corners that lies below: 16 × ½ × 0.3² × sin 11.25°."""
        brief = Brief(YARD, walls=[BACK], demands=[Gully(Spot("G1", 3, 2, 9.9), (0.003, 0.006))])
        found = catchments(Finish.plane(Plane(10.0, 0.0, -0.02), YARD), brief)
        below = 16 * 0.5 * 0.09 * math.sin(math.radians(11.25))
        assert areas(found) == pytest.approx({("outlet", 3, 2): 1.2 + below, ("free edge", 3, 4): 22.8 - below}, abs=1e-9)
        named = catchments(found.finish, Brief(YARD, walls=[BACK]), outlets=[("G1", 3, 2)])
        assert areas(named) == pytest.approx(areas(found), abs=1e-12)

    def test_an_outlet_that_no_water_comes_to_is_listed(self) -> None:
        found = catchments(Finish.plane(Plane(10.0, 0.0, -0.02), YARD), Brief(YARD), outlets=[("high", 3, 0)], reach=1e-3)
        assert areas(found)[("outlet", 3, 0)] < 1e-5


class TestRoofAndSteps:
    @pytest.mark.parametrize("names", ["GH", "HG"])
    def test_where_outlets_take_the_whole_floor_roof_water_goes_where_rain_does(self, names: str) -> None:
        at = {"G": 1.5, "H": 4.5}
        found = catchments(Finish.plane(Plane(10, 0, -0.02), YARD), Brief(YARD), reach=4.0,
                           outlets=[(name, at[name], 2.0) for name in names],
                           roof=[(20.0, 0.2, 3.0), (30.0, 5.9, 3.0), (40.0, 3.4, 2.0), (50.0, 6.2, 2.0), (60.0, -0.2, 2.0)])
        # both reach x 3.4 m, where the rain is the first one's; a fifth of a metre outside the floor it is the nearest one's
        assert [sink.place for *_, sink in found.roofs] == ["G", "H", names[0], "H", "G"]

    @pytest.mark.parametrize(("outlets", "reach", "place"), [
        ([("G", 1.5, 2.0), ("H", 4.5, 2.0)], 4.0, (100.0, 300.0)), ([("G", 1.5, 0.5)], 3.0, (1.5, -2.3)), ([], 0.3, (1.5, -2.3))])
    def test_roof_water_that_misses_the_floor_is_refused_whatever_an_outlet_reaches(
            self, outlets: Any, reach: float, place: tuple[float, float]) -> None:
        with pytest.raises(SurveyError, match="outside the finished surface"):
            catchments(Finish.plane(Plane(10, 0, -0.02), YARD), Brief(YARD), outlets=outlets, reach=reach, roof=[(5.0, *place)])

    def test_roof_water_is_counted_where_it_lands(self) -> None:
        finish, brief = Finish.plane(Plane(10.0, -0.005, -0.02), YARD), Brief(YARD, walls=[BACK])
        table = catchments(finish, brief, roof=[(30, 0, 0), (12, 5.9, 0), (3, 1, 1)]).table.set_index("x")
        assert table.roof.to_dict() == {3.0: 33.0, 6.0: 12.0}

    @pytest.mark.parametrize(("lower", "expected"), [
        (0.1, {("free edge", 3, 4): 24.0}),  # a step down: it drops over
        (-0.1, {("free edge", 3, 4): 12.0, ("dead spot", 3, 2): 12.0})])  # a step up holds it, level along
    def test_a_step_across(self, lower: float, expected: dict[Any, float]) -> None:
        near, far = shapely.box(0, 0, 6, 2), shapely.box(0, 2, 6, 4)
        finish = Finish([Facet(Plane(10, 0, -0.02), near), Facet(Plane(10 - lower, 0, -0.02), far)])
        assert areas(catchments(finish, Brief(YARD, walls=[BACK]))) == pytest.approx(expected, abs=1e-9)

    def test_a_facet_below_that_is_split_splits_what_comes_from_above(self) -> None:
        """A ridge at x 2 in the lower half: 2 m × 2 m run on to each side of it, less what the sides give off."""
        lower = [Facet(Plane(9.96 - 0.02 * 2, 0.02, 0, (0, 2)), shapely.box(0, 2, 2, 4)),
                 Facet(Plane(9.96, -0.02, 0, (2, 2)), shapely.box(2, 2, 6, 4))]
        finish = Finish([Facet(Plane(10, 0, -0.02), shapely.box(0, 0, 6, 2)), *lower])
        assert areas(catchments(finish, Brief(YARD, walls=[BACK]))) == pytest.approx(
            {("free edge", 0, 2): 8.0, ("free edge", 6, 2): 16.0}, abs=1e-9)


class TestRefusals:
    @pytest.mark.parametrize(("options", "words"), [
        ({"outlets": [("yard gully", 9, 9)]}, "'yard gully' lies .* outside the area"),
        ({"outlets": [("yard gully", math.nan, 1)]}, "yard gully"),
        ({"outlets": [("G", 1, 1), ("G", 2, 2)]}, "Two outlets have one name"),
        ({"outlets": [3]}, "cannot be read"),
        ({"outlets": 3}, "list of outlets"),
        ({"roof": [(-1, 1, 1)]}, "nought or more"),
        ({"roof": [(1, 1, math.inf)]}, "Y of the roof"),
        ({"roof": [(1, 20, 1)]}, "outside the finished surface"),
        ({"reach": 0}, "reach")])
    def test_wrong_input_is_told(self, options: Any, words: str) -> None:
        with pytest.raises(SurveyError, match=words):
            catchments(Finish.plane(Plane(10, 0, -0.02), YARD), Brief(YARD), **options)

    def test_a_surface_of_another_yard(self) -> None:
        with pytest.raises(SurveyError, match="reaches outside the area"):
            catchments(Finish.plane(Plane(10, 0, -0.02), [(9, 9), (12, 9), (12, 12)]), Brief(YARD))

    def test_a_wall_through_the_area(self) -> None:
        with pytest.raises(SurveyError, match="area lies on both sides of the wall 'middle'"):
            catchments(Finish.plane(Plane(10, 0, -0.02), YARD), Brief(YARD, walls=[Wall("middle", (0, 2), (6, 2), dpc=10.2)]))

    def test_an_outline_of_very_many_corners(self) -> None:
        round_yard = shapely.Point(3, 2).buffer(2, quad_segs=200)
        with pytest.raises(SurveyError, match=r"corners. No more than 600 are followed. Draw the outline with fewer"):
            catchments(Finish.plane(Plane(10, 0, -0.02), round_yard), Brief(round_yard))

    def test_a_gap_is_warned_of_and_takes_what_comes_to_it(self) -> None:
        finish = Finish([Facet(Plane(10, 0, -0.02), shapely.box(0, 0, 6, 1.5)),
                         Facet(Plane(10, 0, -0.02), shapely.box(0, 2, 6, 4))])
        with pytest.warns(SurveyWarning, match="leaves a gap"):
            found = catchments(finish, Brief(YARD, walls=[BACK]))
        assert sorted(areas(found).values()) == pytest.approx([9.0, 12.0], abs=1e-9)
        assert "gap" in set(found.table.sink)


class TestAlways:
    @steady
    @example(0.0, 7.5e-301, YARD, 1.0, 1.0)  # next to level: no number is left to divide by
    @example(2.3e-293, 0.015625, YARD, 1.0, 1.0)
    @given(st.floats(-0.03, 0.03), st.floats(-0.03, 0.03), st.sampled_from([YARD, ELL]), st.floats(0.5, 2.5), st.floats(0.4, 1.6))
    def test_nothing_is_lost(self, away: float, along: float, area: Any, x: float, y: float) -> None:
        found = catchments(Finish.plane(Plane(10.0, -along, -away), area), Brief(area, walls=[BACK]), outlets=[("G", x, y)])
        assert found.area == pytest.approx(shapely.Polygon(area).area, abs=1e-9)
        assert found.table.area.sum() == pytest.approx(found.area, abs=1e-9)
        assert found.by_facet.area.sum() == pytest.approx(found.area, abs=1e-9)

    @steady
    @given(st.floats(0, 2 * math.pi), st.booleans(), st.floats(-1000, 1000))
    def test_turning_and_mirroring_the_job_changes_no_area(self, angle: float, mirrored: bool, far: float) -> None:
        turn = np.array([[math.cos(angle), -math.sin(angle)], [math.sin(angle), math.cos(angle)]])
        turn = turn @ np.diag([-1 if mirrored else 1, 1])

        def moved(places: Any) -> list[tuple[float, float]]:
            return [(float(x), float(y)) for x, y in np.atleast_2d(places) @ turn.T + far]
        gradient = turn @ (-0.004, -0.018)
        first, second = moved([BACK.first, BACK.second])
        place = moved([(2.0, 1.5)])[0]
        found = catchments(Finish.plane(Plane(10.0, float(gradient[0]), float(gradient[1]), moved([(0, 0)])[0]), moved(ELL)),
                           Brief(moved(ELL), walls=[Wall("back wall", first, second, dpc=10.2)]), outlets=[("G", *place)])
        still = catchments(Finish.plane(Plane(10.0, -0.004, -0.018), ELL), Brief(ELL, walls=[BACK]), outlets=[("G", 2.0, 1.5)])
        assert sorted(found.table.area) == pytest.approx(sorted(still.table.area), abs=1e-6)

    def test_arrows_point_downhill(self) -> None:
        arrows = one_plane(0.02, 0.005).arrows
        assert len(arrows) >= 3
        for x, y, dx, dy, fall in arrows:
            assert (0 < x < 6, 0 < y < 4) == (True, True)
            assert (dx * fall, dy * fall) == pytest.approx((0.005, 0.02), abs=1e-12)

    def test_places_are_called_by_their_names_and_nothing_else_changes(self) -> None:
        corners = {(0.0, 0.0): "C1", (6.0, 0.0): "C2", (6.0, 4.0): "C3", (0.0, 4.0): "C4"}
        found = catchments(Finish.plane(Plane(10, 0, -0.02), YARD), Brief(YARD, walls=[BACK]), roof=[(5.0, 1.0, 1.0)])
        told = found.named(lambda x, y: corners[x, y])
        assert told.sentence() == "Rain on 24.0 m² goes 24.0 m² and 5.0 m² of roof over the edge from C3 to C4."
        assert told.table.drop(columns="place").equals(found.table.drop(columns="place"))

    def test_how_little_comes_to_an_outlet_is_summed_up(self) -> None:
        finish = Finish.plane(Plane(10, 0, -0.02), YARD)
        few = catchments(finish, Brief(YARD, walls=[BACK]), outlets=[("G", 3.0, 3.9)])
        # water within 300 mm of it, and all that lies above between: 0.6 m × 3.9 m, and as much of the reach as lies below
        taken = 0.6 * 3.9 + shapely.box(0, 3.9, 6, 4).intersection(
            shapely.Point(3.0, 3.9).buffer(0.3, quad_segs=64)).area
        assert few.drained == f" Only {taken:.1f} m² of 24.0 m² reaches G."
        assert catchments(finish, Brief(YARD, walls=[BACK])).drained == ""
        held = Brief(YARD, walls=[BACK], closed=[((6, 0), (6, 4)), ((0, 4), (6, 4)), ((0, 0), (0, 4))])
        every = catchments(Finish.plane(Plane(10, -0.01, -0.02), YARD), held, outlets=[("G", 6.0, 4.0)])
        assert every.drained == ""

    def test_names_are_escaped(self) -> None:
        found = catchments(Finish.plane(Plane(10, 0, -0.02), YARD), Brief(YARD), outlets=[("<b>", 3, 3)])
        assert "<b>" not in found._repr_html_()


@pytest.mark.parametrize("name", [None, "", "  "])
def test_an_outlet_without_a_name_is_refused(name: Any) -> None:
    with pytest.raises(SurveyError, match="outlet at x 3 y 2 has no name"):
        catchments(Finish.plane(Plane(10, 0, -0.02), YARD), Brief(YARD), outlets=[(name, 3.0, 2.0)])


@pytest.mark.filterwarnings("error")
def test_slivers_between_many_outlets_are_drawn_without_a_warning() -> None:
    outlets = [(f"o{i}{j}", 0.25 + i / 2, 0.25 + j / 2) for i in range(12) for j in range(8)]
    found = catchments(Finish.plane(Plane(9.85, 0, -1 / 60), YARD), Brief(YARD, walls=[BACK]), outlets=outlets)
    assert sum(found.region(sink).area for sink in found.sinks) == pytest.approx(24.0, abs=1e-3)
