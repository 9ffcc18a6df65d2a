"""Finished surfaces of plane facets, and the areas that they cover."""

from __future__ import annotations

import math

import pytest
import shapely

from sitelevels import Facet, Finish, Plane, SurveyError
from sitelevels.surface.facet import polygon_of

SQUARE = [(0, 0), (4, 0), (4, 4), (0, 4)]


@pytest.fixture
def valley() -> Finish:
    """Two facets that fall 1:50 to a channel at y = 2."""
    return Finish((Facet(Plane(10.0, 0.0, -0.02), shapely.box(0, 0, 4, 2)), Facet(Plane(9.96, 0.0, 0.02, (0.0, 2.0)),
                                                                                 shapely.box(0, 2, 4, 4))))


def test_a_plane_over_an_area_has_the_levels_of_the_plane() -> None:
    finish = Finish.plane(Plane(10.0, 0.01, -0.02), SQUARE)
    assert finish.level_at(1, 1) == pytest.approx(9.99, abs=1e-12)
    assert finish.level_at([[1.0], [2.0]], [[1.0], [0.0]]).tolist() == [[pytest.approx(9.99)], [pytest.approx(10.02)]]
    assert finish.area == pytest.approx(16.0, abs=1e-12)


def test_each_facet_gives_the_levels_over_its_own_ground(valley: Finish) -> None:
    assert valley.level_at(1, 1) == pytest.approx(9.98, abs=1e-12)
    assert valley.level_at(1, 2) == pytest.approx(9.96, abs=1e-12)
    assert valley.level_at(1, 4) == pytest.approx(10.0, abs=1e-12)
    assert valley.area == pytest.approx(16.0, abs=1e-12)


def test_lowered_every_facet_goes_down_alike(valley: Finish) -> None:
    assert valley.lowered(0.18).level_at([1, 1], [1, 4]) == pytest.approx([9.8, 9.82], abs=1e-12)
    assert valley.level_at(1, 1) == pytest.approx(9.98, abs=1e-12)


def test_a_staff_beside_the_paving_is_carried_on_to_and_no_further_than_300_millimetres() -> None:
    finish = Finish.plane(Plane(10.0, 0.0, -0.02), SQUARE)
    assert finish.level_at(1, -0.3) == pytest.approx(10.006, abs=1e-12)
    with pytest.raises(SurveyError, match=r"(?i)x 1 y -0\.31 is 0\.31 m outside the finished surface"):
        finish.level_at(1, -0.31)


@pytest.mark.parametrize("place", [(math.nan, 1), (1, math.inf)])
def test_a_place_that_is_no_place_is_refused(place: tuple[float, float]) -> None:
    with pytest.raises(SurveyError):
        Finish.plane(Plane(10.0, 0.0, 0.0), SQUARE).level_at(*place)


def test_a_place_on_a_national_grid_is_told_in_full() -> None:
    finish = Finish.plane(Plane(10.0, 0.0, 0.0), [(x + 450_000, y + 6_200_000) for x, y in SQUARE])
    with pytest.raises(SurveyError, match=r"(?i)x 450007\.25 y 6200001\.5"):
        finish.level_at(450_007.25, 6_200_001.5)


def test_no_facets_are_no_surface() -> None:
    with pytest.raises(SurveyError, match="no facet"):
        Finish(())


def test_facets_that_lie_over_each_other_are_refused() -> None:
    """A place under two facets would be dug twice."""
    with pytest.raises(SurveyError):
        Finish((Facet(Plane(10.0, 0.0, 0.0), shapely.box(0, 0, 4, 2)), Facet(Plane(9.0, 0.0, 0.0), shapely.box(0, 1, 4, 4))))


def test_its_page_says_the_true_falls(valley: Finish) -> None:
    assert valley._repr_html_().count("1:50 (20.0 mm/m)") == 2


class TestAreas:
    @pytest.mark.parametrize("corners", [SQUARE, [*SQUARE, SQUARE[0]], SQUARE[::-1]], ids=["open", "closed", "clockwise"])
    def test_corners_may_go_either_way_round_and_close_or_not(self, corners: list[tuple[float, float]]) -> None:
        assert polygon_of(corners).area == pytest.approx(16.0, abs=1e-12)

    def test_a_hole_is_kept(self) -> None:
        assert polygon_of(shapely.box(0, 0, 4, 4) - shapely.box(1, 1, 2, 2)).area == pytest.approx(15.0, abs=1e-12)

    @pytest.mark.parametrize("area", [[], [(0, 0), (1, 1)], "square", None, [(0, 0, 0), (1, 0, 0), (1, 1, 0)], 7,
                                      [(0, 0), (1, "a"), (1, 1)], [(0, 0), (1,), (1, 1)]])
    def test_what_is_not_a_list_of_corners_is_refused(self, area: object) -> None:
        with pytest.raises(SurveyError, match="not a list of corners"):
            polygon_of(area)

    def test_a_corner_that_is_not_finite_is_counted(self) -> None:
        with pytest.raises(SurveyError, match="Corner 3 of the area"):
            polygon_of([(0, 0), (1, 0), (1, math.nan), (0, 1)])

    def test_an_outline_that_crosses_itself_is_refused_with_the_place(self) -> None:
        with pytest.raises(SurveyError, match=r"crosses or touches itself at x 2 y 2\b"):
            polygon_of([(0, 0), (4, 4), (4, 0), (0, 4)])

    @pytest.mark.parametrize("area", [[(0, 0), (1, 1), (2, 2)], [(0, 0), (0, 0), (0, 0)], shapely.Polygon(),
                                      [(0.0, 0.0), (1e-300, 4.0), (0.0, 4.0)]])
    def test_an_area_of_nought_is_refused(self, area: object) -> None:
        with pytest.raises(SurveyError):
            polygon_of(area)

    @pytest.mark.parametrize("shape", [shapely.MultiPolygon([shapely.box(0, 0, 1, 1), shapely.box(2, 0, 3, 1)]),
                                       shapely.Point(0, 0), shapely.LineString([(0, 0), (1, 1)])])
    def test_two_areas_a_point_or_a_line_are_refused(self, shape: object) -> None:
        with pytest.raises(SurveyError, match="one polygon"):
            polygon_of(shape)
