"""Areas, walls and their damp-proof courses, on geometry worked by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely

from sitelevels import (
    Brief,
    Clearance,
    FallAlong,
    FallAway,
    Gully,
    KeepBelow,
    Layer,
    MaxGradient,
    Meet,
    SurveyError,
    SurveyWarning,
    Wall,
)

YARD = [(0, 0), (6, 0), (6, 4), (0, 4)]


def wall(first: tuple[float, float] = (0, 0), second: tuple[float, float] = (6, 0), dpc: object = 10.0, *,
         name: str = "wall") -> Wall:
    return Wall(name, first, second, dpc=dpc)  # type: ignore[arg-type]


class TestWall:
    def test_length_direction_and_distance_along(self) -> None:
        found = wall((1, 1), (4, 5))
        assert found.length == pytest.approx(5.0, abs=1e-12)
        assert found.direction == pytest.approx((0.6, 0.8), abs=1e-12)
        assert found.along(1 + 0.6 - 0.8, 1 + 0.8 + 0.6) == pytest.approx(1.0, abs=1e-12)
        assert found.place(2.5) == pytest.approx((2.5, 3.0), abs=1e-12)

    def test_one_level_holds_all_along(self) -> None:
        assert [wall(dpc=10.15).dpc_at(along) for along in (0, 3, 6)] == [10.15] * 3

    def test_a_level_from_an_array_is_a_level(self) -> None:
        assert [wall(dpc=level).dpc_at(3) for level in (np.float64(10.0), np.int64(10), np.float32(10.0))] == [10.0] * 3

    def test_a_sloping_damp_proof_course_is_straight_between_its_shots(self) -> None:
        assert wall(dpc=[(0, 10.150), (6, 10.144)]).dpc_at(2.0) == pytest.approx(10.148, abs=1e-12)
        assert wall(dpc=[(6, 10.144), (0, 10.150)]).dpc_at(2.0) == pytest.approx(10.148, abs=1e-12)

    STEPPED = ((0, 10.1), (3, 10.1), (3, 10.0), (6, 10.0))

    @pytest.mark.parametrize("along", [math.nan, math.inf, "3", None, 10**400], ids=["nan", "inf", "word", "none", "digits"])
    def test_a_distance_that_is_no_number_has_no_level(self, along: object) -> None:
        with pytest.raises(SurveyError, match="distance along the wall"):
            wall().dpc_at(along)  # type: ignore[arg-type]

    def test_at_a_step_the_lower_side_governs(self) -> None:
        stepped = wall(dpc=self.STEPPED)
        levels = [stepped.dpc_at(along) for along in (0, 2.9, 3.0, 3.1, 6)]
        assert levels == pytest.approx([10.1, 10.1, 10.0, 10.0, 10.0], abs=1e-12)

    def test_shots_listed_from_the_far_end_are_the_same_step(self) -> None:
        stepped = wall(dpc=self.STEPPED[::-1])
        assert [stepped.dpc_at(along) for along in (1.5, 3.0, 4.5)] == pytest.approx([10.1, 10.0, 10.0], abs=1e-12)

    @pytest.mark.parametrize("dpc", [1e300, -1e9, [(0, 10.0), (6, 1e9)]])
    def test_a_level_that_no_place_has_is_refused(self, dpc: object) -> None:
        with pytest.raises(SurveyError, match="The DPC of the wall"):
            wall(dpc=dpc)

    @pytest.mark.parametrize("dpc", [[(0, 10.0), (5, 10.0)], [(1, 10.0), (6, 10.0)], [(3, 10.0)]])
    def test_running_past_the_last_shot_is_warned_of(self, dpc: list[tuple[float, float]]) -> None:
        with pytest.warns(SurveyWarning, match=r"past the last DPC shot.*carried on"):
            wall(dpc=dpc)

    def test_a_shot_within_300_millimetres_of_the_end_is_near_enough(self) -> None:
        assert wall(dpc=[(0.3, 10.0), (5.7, 10.0)]).dpc_at(6.0) == 10.0

    def test_a_shot_off_the_wall_is_refused(self) -> None:
        with pytest.raises(SurveyError, match=r"7 m along the wall 'wall'. The wall is 6\.00 m long"):
            wall(dpc=[(0, 10.0), (7, 10.0)])

    @pytest.mark.parametrize(("first", "second"), [((0, 0), (0, 0)), ((0, 0), (math.nan, 1)), ((0, 0, 0), (1, 1, 1)),
                                                   ((0, 0), (1e308, 2))])
    def test_a_wall_of_no_length_or_without_end_is_refused(self, first: tuple[float, float], second: tuple[float, float]) -> None:
        with pytest.raises(SurveyError, match=r"^The wall 'wall' cannot run from"):
            wall(first, second)

    @pytest.mark.parametrize("dpc", [[], [10.0, 10.1], [(0, math.nan)], math.nan, "10.1", [(0, "high")], None, [(0, 10), (1,)]],
                             ids=str)
    def test_a_damp_proof_course_without_levels_is_refused_in_words(self, dpc: object) -> None:
        with pytest.raises(SurveyError, match="The DPC of the wall 'wall'"):
            wall(dpc=dpc)


class TestOutward:
    @pytest.mark.parametrize(("first", "second", "way"), [
        ((0, 0), (6, 0), (0, 1)), ((6, 0), (0, 0), (0, 1)), ((6, 0), (6, 4), (-1, 0)), ((0, 4), (6, 4), (0, -1)),
        ((0, 0), (0, 4), (1, 0))])
    def test_it_is_the_side_of_the_area_whichever_end_is_first(self, first: tuple[float, float], second: tuple[float, float],
                                                               way: tuple[float, float]) -> None:
        side = wall(first, second)
        assert Brief(YARD, walls=[side]).outward(side) == pytest.approx(way, abs=1e-12)

    def test_at_a_re_entrant_corner_each_wall_has_its_own_side(self) -> None:
        """The yard goes round the corner of a house that fills x < 3, y < 2."""
        ell = [(0, 2), (3, 2), (3, 0), (6, 0), (6, 5), (0, 5)]
        back, side = wall((0, 2), (3, 2), name="back"), wall((3, 2), (3, 0), name="side")
        brief = Brief(ell, walls=[back, side])
        assert brief.outward(back) == pytest.approx((0, 1), abs=1e-12)
        assert brief.outward(side) == pytest.approx((1, 0), abs=1e-12)

    def test_inside_a_corner_of_two_walls(self) -> None:
        one, two = wall((0, 0), (6, 0), name="one"), wall((0, 0), (0, 4), name="two")
        brief = Brief(YARD, walls=[one, two])
        assert (brief.outward(one), brief.outward(two)) == ((pytest.approx(0), 1.0), (1.0, pytest.approx(0)))

    def test_an_area_that_the_tape_left_short_of_the_wall_still_lies_against_it(self) -> None:
        side = wall()
        assert Brief([(0, 0.04), (6, 0.04), (6, 4), (0, 4)], walls=[side]).outward(side) == pytest.approx((0, 1), abs=1e-12)

    def test_an_area_that_the_tape_put_into_the_wall_does_too(self) -> None:
        side = wall()
        assert Brief([(0, -0.04), (6, -0.04), (6, 4), (0, 4)], walls=[side]).outward(side) == pytest.approx((0, 1), abs=1e-12)

    def test_a_wall_through_the_middle_has_no_side(self) -> None:
        with pytest.raises(SurveyError, match="both sides"):
            Brief(YARD, walls=[wall((1, 2), (5, 2))], demands=[FallAway("wall")])

    def test_a_wall_that_only_touches_a_corner_is_not_lain_against(self) -> None:
        with pytest.raises(SurveyError, match="does not lie against the wall"):
            Brief(YARD, walls=[wall((0, 0), (-5, 0))], demands=[FallAway("wall")])

    def test_a_wall_out_of_reach_is_told_how_far(self) -> None:
        with pytest.raises(SurveyError, match=r"no nearer than 0\.20 m"):
            Brief(YARD, walls=[wall((0, -0.2), (6, -0.2))], demands=[Clearance("wall")])


class TestStations:
    def stations(self, area: object, side: Wall, corners: tuple[tuple[float, float], ...] = ()) -> list[float]:
        return Brief(area, walls=[side]).stations(side, corners)  # type: ignore[arg-type]

    def test_the_ends_of_the_wall(self) -> None:
        assert self.stations(YARD, wall()) == pytest.approx([0, 6], abs=1e-9)

    def test_the_ends_of_the_area_where_the_wall_is_longer(self) -> None:
        assert self.stations(YARD, wall((-3, 0), (9, 0))) == pytest.approx([3, 9], abs=1e-9)

    def test_the_ends_of_the_wall_where_the_area_is_longer_both_ways(self) -> None:
        assert self.stations(YARD, wall((1, 0), (5, 0))) == pytest.approx([0, 4], abs=1e-9)

    @pytest.mark.parametrize(("first", "second"), [((0, 0), (4, 0)), ((2, 0), (6, 0)), ((4, 0), (0, 0))])
    def test_both_ends_of_the_wall_where_the_area_runs_on_past_one_of_them(self, first: tuple[float, float],
                                                                           second: tuple[float, float]) -> None:
        assert self.stations(YARD, wall(first, second)) == pytest.approx([0, 4], abs=1e-9)

    def test_where_the_area_starts_along_the_wall_and_runs_on_past_its_end(self) -> None:
        assert self.stations(YARD, wall((-2, 0), (4, 0))) == pytest.approx([2, 6], abs=1e-9)

    def test_a_corner_of_the_area_in_the_middle_of_a_straight_side_takes_nothing_away(self) -> None:
        assert self.stations([(0, 0), (3, 0), (6, 0), (6, 4), (0, 4)], wall((1, 0), (5, 0))) == pytest.approx([0, 4], abs=1e-9)

    def test_the_shots_and_the_corners_of_facets_in_between(self) -> None:
        side = wall(dpc=[(0, 10.0), (2.5, 9.9), (6, 10.0)])
        assert self.stations(YARD, side, ((4.0, 0.0), (4.0, 3.0))) == pytest.approx([0, 2.5, 4, 6], abs=1e-9)

    def test_a_notch_leaves_two_stretches(self) -> None:
        notched = [(0, 0), (2, 0), (2, 1), (4, 1), (4, 0), (6, 0), (6, 4), (0, 4)]
        assert self.stations(notched, wall()) == pytest.approx([0, 2, 4, 6], abs=1e-9)

    def test_an_area_just_short_of_the_wall_keeps_its_own_ends(self) -> None:
        assert self.stations([(1, 0.04), (5, 0.04), (5, 4), (1, 4)], wall()) == pytest.approx([1, 5], abs=1e-9)

    def test_no_place_comes_twice_on_a_turned_wall_on_a_national_grid(self) -> None:
        cos, sin = math.cos(2.0), math.sin(2.0)
        area = [(450_000 + cos * x - sin * y, 6_200_000 + sin * x + cos * y) for x, y in YARD]
        found = self.stations(area, wall(area[0], area[1], dpc=[(0, 10.0), (6, 10.0)]))
        assert found == pytest.approx([0, 6], abs=1e-6)

    def test_round_a_pillar_inside_the_area(self) -> None:
        area = shapely.box(0, 0, 6, 4) - shapely.box(2, 1, 3, 2)
        assert self.stations(area, wall((2, 1), (3, 1))) == pytest.approx([0, 1], abs=1e-9)


class TestBrief:
    def test_the_build_up_is_all_layers_together(self) -> None:
        brief = Brief(YARD, layers=[Layer("slab", 0.04), Layer("bed", 0.03), Layer("sub-base", 0.1)])
        assert brief.build_up == pytest.approx(0.17, abs=1e-12)
        assert Brief(YARD).build_up == 0

    def test_a_plane_from_a_wall_falls_as_asked(self) -> None:
        side = wall((6, 4), (0, 4))
        plane = Brief(YARD, walls=[side]).plane_from("wall", 10.0, away=0.02, along=0.01)
        assert plane.level_at(6, 4) == 10.0
        assert plane.level_at(6, 3) == pytest.approx(9.98, abs=1e-12)
        assert plane.level_at(5, 4) == pytest.approx(9.99, abs=1e-12)

    @pytest.mark.parametrize("thickness", [-0.01, math.nan, math.inf, "0.1", None])
    def test_a_layer_of_no_thickness_at_all_is_refused(self, thickness: float) -> None:
        with pytest.raises(SurveyError, match="layer 'bed'"):
            Layer("bed", thickness)

    @pytest.mark.parametrize("bad", [None, "1:60", math.nan, 10**400], ids=["none", "words", "nan", "digits"])
    def test_a_plane_of_a_fall_that_is_no_number_is_refused(self, bad: object) -> None:
        with pytest.raises(SurveyError, match="fall away"):
            Brief(YARD, walls=[wall()]).plane_from("wall", 9.85, away=bad)  # type: ignore[arg-type]
        with pytest.raises(SurveyError, match="fall along"):
            Brief(YARD, walls=[wall()]).plane_from("wall", 9.85, away=0.01, along=bad)  # type: ignore[arg-type]

    def test_two_walls_of_one_name_are_refused(self) -> None:
        with pytest.raises(SurveyError, match="Two walls have one name"):
            Brief(YARD, walls=[wall(), wall((0, 4), (6, 4))])

    def test_a_demand_on_a_wall_that_is_not_there_names_those_that_are(self) -> None:
        with pytest.raises(SurveyError, match=r"no wall 'north'\. Its walls are wall"):
            Brief(YARD, walls=[wall()], demands=[FallAlong("north")])

    @pytest.mark.parametrize("demand", [Meet([("P", 100, 100, 9.9)]), KeepBelow(("P", 3, -0.31, 9.9)), Gully(("P", 3, 5, 9.9))])
    def test_a_point_far_outside_the_area_is_refused_by_name(self, demand: object) -> None:
        with pytest.raises(SurveyError, match="P"):
            Brief(YARD, demands=[demand])  # type: ignore[list-item]

    def test_an_outline_that_crosses_itself_is_refused(self) -> None:
        with pytest.raises(SurveyError, match="crosses"):
            Brief([(0, 0), (6, 4), (6, 0), (0, 4)])

    def test_its_page_says_the_demands_and_is_escaped(self) -> None:
        shown = Brief(YARD, walls=[wall(name="<b>")], demands=[Clearance("<b>"), MaxGradient(1 / 20)])._repr_html_()
        assert "<b>" not in shown
        assert "at least 150 mm below the DPC of the &lt;b&gt;" in shown
        assert "nowhere steeper than 1:20 (50.0 mm/m)" in shown
        assert "24.0 m²" in shown
