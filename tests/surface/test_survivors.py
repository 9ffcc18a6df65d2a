"""Cases added while small faults were planted in the package, each for one that went unnoticed or was likely to."""

from __future__ import annotations

import dataclasses
import importlib
import math
import pkgutil
import re

import numpy as np
import pytest
import shapely
from scipy.optimize import brentq
from scipy.stats import t as student

from sitelevels import Channel, Finish, Ground, Outlet, Plane, SurveyError, fit_plane, ponding, straightedge, surface
from sitelevels.surface.facet import polygon_of
from sitelevels.surface.flood import _joined
from sitelevels.surface.pieces import cut_pieces
from sitelevels.surface.shapes import _sees
from sitelevels.surface.straightedge import SAME, TURN, _Bars, _gaps
from sitelevels.surface.triangles import _pieces

MODULES = [importlib.import_module(f"sitelevels.surface.{one.name}") for one in pkgutil.iter_modules(surface.__path__)]
RESULTS = {thing for module in MODULES for thing in vars(module).values()
           if isinstance(thing, type) and dataclasses.is_dataclass(thing) and thing.__module__.startswith(surface.__name__)
           and dataclasses.fields(thing)}


@pytest.mark.parametrize("result", sorted(RESULTS, key=lambda one: one.__name__), ids=lambda one: one.__name__)
def test_a_result_cannot_be_changed(result: type) -> None:
    (first, *_) = dataclasses.fields(result)
    with pytest.raises(dataclasses.FrozenInstanceError):
        setattr(object.__new__(result), first.name, None)


def test_two_finishes_of_the_same_parts_are_two() -> None:
    # results are compared as things: some hold arrays, which have no one answer to ==
    facets = Finish.plane(Plane(10.0, 0.0, -0.02), [(0, 0), (4, 0), (4, 3), (0, 3)]).facets
    assert Finish(facets) != Finish(facets)


@pytest.mark.parametrize("made", [lambda corners: corners, shapely.Polygon], ids=["corners", "polygon"])
@pytest.mark.parametrize("end", [1e9, -1e9])
def test_a_corner_a_million_kilometres_off_is_no_place(end: float, made: object) -> None:
    with pytest.raises(SurveyError, match="is not a finite number"):
        polygon_of(made([(0.0, 0.0), (end, 0.0), (0.0, 1.0)]))  # type: ignore[operator]
    assert polygon_of(made([(0.0, 0.0), (0.999 * end, 0.0), (0.0, 1.0)])).area > 0  # type: ignore[operator]


SIDES = ((0.0, 0.0), (4.0, 0.0)), ((4.0, 0.0), (4.0, 3.0))


@pytest.mark.parametrize(("sides", "said"), [
    (None, "a level perimeter"), (SIDES[:1], "1 level side"), (SIDES, "2 level sides")])
def test_how_many_sides_an_outlet_is_said_to_have(sides: tuple[tuple[tuple[float, float], ...], ...] | None, said: str) -> None:
    assert Outlet((2.0, 1.5), sides=sides).words().startswith(f"a floor falling from {said} to an outlet at ")


def test_the_spot_that_is_no_place_is_named() -> None:
    with pytest.raises(SurveyError, match="Point C: x is inf"):
        fit_plane([0, 4, np.inf, 0], [0, 0, 3, 3], [10, 10, 10, 10], points="ABCD")


@pytest.mark.parametrize("least", [1e-140, 1e-160])
def test_spots_whose_weights_leave_nothing_of_the_others_are_refused(least: float) -> None:
    # beside a weight of 1e280 those of 1 are lost in rounding; 1e320 is no number any more
    with pytest.raises(SurveyError, match="weights of the spots are too unlike"), np.errstate(over="ignore", invalid="ignore"):
        fit_plane([0, 4, 4, 0], [0, 0, 3, 3], [10.0, 10.0, 9.95, 9.95], sd=[least, 1.0, 1.0, 1.0])


class TestBarOnAFlat:
    SPOTS = Ground([0, 3, 3, 0], [0, 0, 3, 3], [10.0, 10.0, 9.94, 9.94])

    def test_no_gap_is_shown(self) -> None:
        assert straightedge(self.SPOTS, length=2.0).gap == pytest.approx(0.0, abs=1e-9)

    def test_a_gap_of_just_so_much_that_it_counts_is_told(self) -> None:
        flat = straightedge(self.SPOTS, length=2.0)
        least = dataclasses.replace(flat, gap=SAME, equal_offset=0.0)
        assert least.sentence().startswith("The greatest gap under a ")
        assert dataclasses.replace(flat, gap=SAME / 2, equal_offset=0.0).sentence().startswith("The surface is as straight as")


def test_a_bar_across_a_valley_shows_its_depth() -> None:
    # 10 mm/m down to the line x = 2 m from either side: 1 m off on both sides the bar rests 10 mm above it
    valley = Ground([0, 0, 2, 2, 4, 4], [0, 3, 0, 3, 0, 3], [0.020, 0.020, 0.0, 0.0, 0.020, 0.020])
    found = straightedge(valley, length=2.0)
    assert found.gap == pytest.approx(0.010, abs=1e-6)
    assert found.where[0] == pytest.approx(2.0, abs=1e-3)


def test_an_edge_that_is_no_edge_is_named_where_it_was_given() -> None:
    # the middle of the spots lies far from nought, and both ends off it
    far = Ground([100, 104, 104, 100], [50, 50, 54, 54], [10.0, 10.0, 9.9, 9.9])
    corners = [(100, 50), (104, 50), (104, 54), (100, 54)]
    with pytest.raises(SurveyError, match=r"The free edge from x 101 y 52 to x 103 y 52 lies along no edge"):
        ponding(far, corners, free=[((101, 52), (103, 52))])


class TestGroundByHand:
    """A triangle with sides of 3, 4 and 5 m."""

    GROUND = Ground([0, 4, 0], [0, 0, 3], [10.0, 10.1, 10.2])

    def test_the_usual_distance_between_spots_is_the_middle_side(self) -> None:
        assert self.GROUND.spacing == pytest.approx(4.0, abs=1e-12)

    @pytest.mark.parametrize(("place", "expected", "found_at"), [
        ((1, 1), (5 / 12, 1 / 4, 1 / 3), (1, 1)), ((-1, 1), (2 / 3, 0, 1 / 3), (0, 1))], ids=["inside", "outside"])
    def test_the_share_of_each_corner_in_a_place(
            self, place: tuple[float, float], expected: tuple[float, ...], found_at: tuple[float, float]) -> None:
        # x = 4 b and y = 3 c with shares a + b + c = 1; outside, at the nearest place of the hull
        corners, shares, at = self.GROUND.shares_at(*place)
        assert dict(zip(corners.tolist(), shares, strict=True)) == pytest.approx(dict(enumerate(expected)), abs=1e-9)
        assert at == pytest.approx(found_at, abs=1e-9)


class TestOutletByHand:
    def test_an_outline_may_begin_in_the_middle_of_a_side(self) -> None:
        # the outlet in the middle of 4 m by 2 m: four facets of 2 m² each, wherever the outline begins
        parts = Outlet((2, 1)).parts([(1, 0), (4, 0), (4, 2), (0, 2), (0, 0)])
        assert [part.area.area for part in parts] == pytest.approx([2.0] * 4, abs=1e-6)

    def test_an_outlet_five_millimetres_from_a_corner_stands_in_it(self) -> None:
        # 3 mm along one side and 4 mm along the other
        parts = Outlet((0.003, 0.004)).parts([(0, 0), (4, 0), (4, 3), (0, 3)])
        assert [part.facet((9.9, 10.0)).plane.level_at(0.0, 0.0) for part in parts] == pytest.approx([9.9] * len(parts), abs=1e-9)


@pytest.mark.parametrize("y", [0.04, 3.96])
def test_a_strip_of_four_centimetres_beside_a_channel_is_no_paving(y: float) -> None:
    with pytest.raises(SurveyError, match="does not divide the area"):
        Channel(((0, y), (6, y))).parts([(0, 0), (6, 0), (6, 4), (0, 4)])
    off = 0.06 if y < 1 else 3.94
    assert len(Channel(((0, off), (6, off))).parts([(0, 0), (6, 0), (6, 4), (0, 4)])) == 2


def test_a_channel_runs_from_edge_to_edge_however_short_its_line_is_given() -> None:
    start, end = Channel(((2, 1), (2.5, 1))).ends([(0, 0), (6, 0), (6, 4), (0, 4)])
    assert (start, end) == (pytest.approx((0, 1)), pytest.approx((6, 1)))


class TestSuspects:
    """A spot stands out where the chance of its residual, times the number of spots, is below 5 %.

    The residual is held against the plane through the other spots alone, fitted by numpy's least squares: (y − ŷ) / (s √(1 + h)),
    with n − 4 degrees of freedom (Cook and Weisberg, 1982, section 2.2.2, in its leave-one-out form).
    """

    X, Y = np.array([0.0, 1, 2, 3, 0, 1, 2, 3, 0, 1, 2, 3]), np.array([0.0, 0, 0, 0, 1, 1, 1, 1, 2, 2, 2, 2])
    NOISE = np.array([1.0, -2, 1, 0, -1, 2, -2, 1, 1, -1, 0, 1]) / 1000

    def chance(self, off: float) -> float:
        level = self.NOISE.copy()
        level[5] = off
        design = np.column_stack([np.ones(12), self.X, self.Y])
        others = np.arange(12) != 5
        answer, square_sum, *_ = np.linalg.lstsq(design[others], level[others], rcond=None)
        freedom = 11 - 3
        far = design[5] @ np.linalg.inv(design[others].T @ design[others]) @ design[5]
        size = (level[5] - design[5] @ answer) / np.sqrt(square_sum[0] / freedom * (1 + far))
        return float(12 * 2 * student.sf(size, freedom))

    def test_residuals_are_off_the_plane_when_spots_weigh_differently(self) -> None:
        sd = np.where(np.arange(12) < 6, 0.002, 0.010)
        design = np.column_stack([np.ones(12), self.X, self.Y])
        level = 10 + 0.02 * self.X + 5 * self.NOISE
        answer, *_ = np.linalg.lstsq(design / sd[:, None], level / sd, rcond=None)
        assert fit_plane(self.X, self.Y, level, sd=sd).residuals == pytest.approx(level - design @ answer, abs=1e-9)

    @pytest.mark.parametrize(("chance", "points"), [(0.049, ["5"]), (0.051, []), (0.054, [])])
    def test_one_in_twenty_is_where_a_spot_begins_to_stand_out(self, chance: float, points: list[str]) -> None:
        level = 10 + self.NOISE
        level[5] = 10 + brentq(lambda off: self.chance(off) - chance, 0.002, 0.05, xtol=1e-12)
        found = fit_plane(self.X, self.Y, level, points=[str(number) for number in range(12)]).suspects
        assert found["point"].tolist() == points
        assert found["chance"].tolist() == pytest.approx([chance] * len(points), rel=1e-6)


def test_a_small_part_that_lies_on_a_large_one_is_an_overlap() -> None:
    large = Finish.plane(Plane(10.0, 0.0, 0.0), [(0, 0), (100, 0), (100, 100), (0, 100)]).facets
    with pytest.raises(SurveyError, match=r"lie over each other at x 50\.005 y 50\.005"):
        Finish([*large, *Finish.plane(Plane(10.0, 0.0, 0.0), [(50, 50), (50.01, 50), (50.01, 50.01), (50, 50.01)]).facets])


def test_five_spots_are_enough_to_tell_one_from_the_others_and_four_are_not() -> None:
    five = fit_plane([0, 4, 4, 0, 2], [0, 0, 3, 3, 1.5], [10.0, 10.001, 10.0, 10.001, 10.02])
    assert (five.studentised != 0).any()
    assert not fit_plane([0, 4, 4, 0], [0, 0, 3, 3], [10.0, 10.0, 10.0, 10.02]).studentised.any()


def test_a_corner_a_millionth_of_a_millimetre_off_a_long_side_lies_on_it() -> None:
    # the square is two triangles, and their common side becomes two: four triangles of a quarter each
    ground = Ground([0, 100, 100, 0], [0, 0, 100, 100], [10.0, 10.0, 10.0, 11.0])
    one, two = set(ground.triangles[0].tolist()) & set(ground.triangles[1].tolist())
    along = np.sign(ground.x[two] - ground.x[one]), np.sign(ground.y[two] - ground.y[one])
    finer = ground.with_corners(50 - 1e-9 * along[1], 50 + 1e-9 * along[0])
    corners = np.stack([finer.x[finer.triangles], finer.y[finer.triangles]], axis=2)
    areas = [shapely.Polygon(corner).area for corner in corners]
    assert areas == pytest.approx([2500.0] * 4, rel=1e-6)


@pytest.mark.parametrize(("apart", "same"), [(1e-7, True), (1e-5, False)])
def test_spots_nearer_than_a_thousandth_of_a_millimetre_have_one_place(apart: float, same: bool) -> None:
    x, y = [0.0, 4.0, 4.0, 0.0, 2.0, 2.0 + apart], [0.0, 0.0, 3.0, 3.0, 1.0, 1.0]
    assert len(Ground(x, y, [10.0] * 6).x) == (5 if same else 6)


def test_no_basin_is_wider_than_nought_where_water_runs_off_in_every_run() -> None:
    ground = Ground([0, 4, 4, 0], [0, 0, 3, 3], [10.0, 10.0, 9.9, 9.9])
    again = ponding(ground, [(0, 0), (4, 0), (4, 3), (0, 3)]).again(np.tile(ground.level, (3, 1)))
    assert again.chance_wider(0.0) == 0.0


def test_a_place_a_little_outside_counts_as_on_the_edge() -> None:
    """Spots taped along one line may stand 5 mm off it."""
    ground = Ground([0, 4, 4, 0], [0, 0, 3, 3], [10.0, 10.0, 9.9, 9.9])
    pond = ponding(ground, [(0, 0), (4, 0), (4, 3), (0, 3)])
    assert pond.covers([2.0, 2.0, 2.0], [1.0, -0.004, -0.006]).tolist() == [True, True, False]
    assert pond.depth_at(2.0, -0.004) == 0.0


def test_stretches_that_touch_are_one_and_others_are_left_alone() -> None:
    assert _joined([(6.0, 7.0), (0.0, 1.0), None, (5.0, 6.0), (5.2, 5.4)]) == [(0.0, 1.0), (5.0, 7.0)]


@pytest.mark.parametrize(("width", "line"), [(0.5e-6, True), (2e-6, False)])
def test_spots_in_a_band_of_a_millionth_of_its_length_lie_in_a_line(width: float, line: bool) -> None:
    # four corners of an oblong: the spread along is half the length, across half the width
    x, y = np.array([0.0, 10, 10, 0]), np.array([0.0, 0, 1, 1]) * 10 * width
    if line:
        with pytest.raises(SurveyError, match="the spots lie in a line"):
            fit_plane(x, y, [10.0, 9.9, 9.9, 10.0])
    else:
        assert fit_plane(x, y, [10.0, 9.9, 9.9, 10.0]).plane.fall_towards(1, 0) == pytest.approx(0.01, abs=1e-6)


@pytest.mark.parametrize("table", [np.triu(np.ones((4, 4))), np.full((4, 4), np.nan), np.eye(3), "none"])
def test_what_is_no_table_of_covariances_is_told_so(table: object) -> None:
    with pytest.raises(SurveyError, match="covariance of the levels is none"):
        fit_plane([0, 4, 4, 0], [0, 0, 3, 3], [10.0, 10.0, 9.9, 9.9], covariance=table)  # type: ignore[arg-type]


def test_places_may_be_given_as_a_column() -> None:
    fit = fit_plane(np.array([[0.0], [4], [4], [0]]), np.array([[0.0, 0], [3, 3]]), [10.0, 10.0, 9.95, 9.95])
    assert (fit.x.tolist(), fit.y.tolist()) == ([0.0, 4.0, 4.0, 0.0], [0.0, 0.0, 3.0, 3.0])
    assert fit.plane.fall_towards(0, 1) == pytest.approx(1 / 60)


class TestPiecesByHand:
    # a notch whose tip ends a last digit above the bottom side: seen from another origin it crosses it
    AREA = shapely.Polygon([(0, 0), (4, 0.1), (4, 3), (2, 3), (0.9957262816724306, 0.0248931570418109), (1.5, 3), (0, 3)])
    MIDDLE = np.array([2.583850488533005, 2.6296112892497416])

    def test_a_notch_to_within_a_last_digit_of_another_side_loses_nothing(self) -> None:
        moved = shapely.transform(self.AREA, lambda places: places - self.MIDDLE)
        assert self.AREA.is_valid
        assert not moved.is_valid
        x, y = (self.MIDDLE + np.array([[-9.0, -9], [9, -9], [9, 9], [-9, 9]])).T
        pieces = cut_pieces(Ground(x, y, [10.0, 10.1, 10.3, 10.2]), [self.AREA])
        areas = [shapely.Polygon(corners).area for corners in pieces.corners]
        assert sum(areas) == pytest.approx(self.AREA.area, abs=1e-8)
        assert min(shapely.Polygon(corners).distance(self.AREA) for corners in pieces.corners) == 0.0

    def test_an_outline_that_keeps_its_shape_keeps_its_digits(self) -> None:
        area = shapely.Polygon([(0, 0), (1 / 3, 0), (1 / 3, 1 / 7), (0, 1 / 7)])
        ground = Ground([-1, 1, 1, -1], [-1, -1, 1, 1], [10.0, 10.0, 10.0, 10.0])
        corners = cut_pieces(ground, [area]).corners.reshape(-1, 2)
        assert {(1 / 3, 1 / 7), (1 / 3, 0.0), (0.0, 1 / 7)} <= {(float(x), float(y)) for x, y in corners}

    def test_a_break_is_cut_at_the_spots_on_it_in_their_order(self) -> None:
        places = np.array([[0.0, 0], [4, 0], [3, 0], [1, 0], [2, 1], [6, 0], [-1, 0]])
        assert _pieces(places, (0, 1), 1e-12) == [(0, 3), (3, 2), (2, 1)]


class TestPondingByHand:
    """Two hollows, 20 mm and 10 mm deep, on a level yard whose water leaves over its sides."""

    X, Y = (one.ravel() for one in np.meshgrid(np.arange(7.0), np.arange(3.0)))
    GROUND = Ground(X, Y, 10 - 0.020 * ((X == 1) & (Y == 1)) - 0.010 * ((X == 4) & (Y == 1)))
    AREA = ((0, 0), (6, 0), (6, 2), (0, 2))

    def test_basins_are_numbered_from_one_the_deepest_first(self) -> None:
        table = ponding(self.GROUND, self.AREA).table
        assert table["basin"].tolist() == [1, 2]
        assert table["depth"].tolist() == pytest.approx([0.020, 0.010], abs=1e-6)

    def test_results_that_hold_arrays_are_compared_as_things_and_shown_without_them(self) -> None:
        pond = ponding(self.GROUND, self.AREA)
        assert pond != dataclasses.replace(pond)
        again = pond.again(np.tile(self.GROUND.level, (2, 1)))
        assert again != dataclasses.replace(again)
        assert "levels" not in repr(again)
        assert "water" not in repr(again)


def test_water_leaves_where_the_free_part_of_a_far_edge_ends() -> None:
    """Spots stand 1.5 m inside the outline: over their border water leaves opposite the seven metres of side that are free."""
    x, y = (one.ravel() for one in np.meshgrid(np.linspace(1.5, 18.5, 2), np.linspace(1.5, 8.5, 2)))
    pond = ponding(Ground(x, y, 10 + y / 100), [(0, 0), (20, 0), (20, 10), (0, 10)], free=[((0, 0), (7, 0))])
    places = pond.drains.places + pond.flooded.net.middle
    assert places[:, 1] == pytest.approx([1.5] * len(places))
    assert (places[:, 0].min(), places[:, 0].max()) == pytest.approx((1.5, 7.0))


def test_the_scan_lays_bars_through_a_place_every_seven_and_a_half_degrees() -> None:
    x, y = (one.ravel() for one in np.meshgrid(np.arange(13.0), np.arange(13.0)))
    ground = Ground(x, y, 10 + 0.001 * np.sin(x * y))
    places, ways = _Bars(ground, shapely.Polygon(ground.hull), 3.0).lines(TURN)
    middle = np.hypot(*places.T) < 1e-9  # the origin is the mean of the spots
    angles = np.degrees(np.arctan2(ways[middle, 1], ways[middle, 0])) % 180
    assert set(np.arange(0, 180, 7.5)) <= set(np.round(angles, 6))


def test_a_straight_profile_rests_on_its_ends() -> None:
    found = _gaps(np.array([[0.0, 1.0, 2.0]]), np.array([[0.0, 0.01, 0.02]]), 1e-9)
    assert found[:, 0].tolist() == [0.0, 1.0, 0.0, 2.0, -1.0]


def test_a_second_outlet_is_offered_where_it_sees_most_of_what_the_first_does_not() -> None:
    # an arm 2 m wide and 6 m long with a foot at its end; the first unseen side is seen from the foot's corners too
    area = [(0, 0), (10, 0), (10, 8), (13, 8), (13, 10), (8, 10), (8, 2), (0, 2)]
    polygon = shapely.Polygon(area)
    edges = list(zip(area, [*area[1:], area[0]], strict=True))
    outlet = (1.0, 1.0)
    with pytest.raises(SurveyError, match="second outlet") as told:
        Outlet(outlet).parts(area)
    place = [float(number) for number in re.findall(r"about x (\S+) y (\S+?)\.$", str(told.value))[0]]
    unseen = [edge for edge in edges if not _sees(polygon, outlet, edge)]

    def seen_from(x: float, y: float) -> float:
        return sum(math.dist(*edge) for edge in unseen if _sees(polygon, (x, y), edge))
    tried = [(float(x), float(y)) for x in np.linspace(0, 13, 17)[1:-1] for y in np.linspace(0, 10, 17)[1:-1]
             if polygon.contains(shapely.Point(x, y)) and _sees(polygon, (float(x), float(y)), unseen[0])]
    assert seen_from(*place) == max(seen_from(*one) for one in tried) > min(seen_from(*one) for one in tried)


@pytest.mark.parametrize("level", [10.0, 10.0 + 1e-10])
def test_a_floor_to_an_outlet_may_lie_level_and_not_rise_to_it(level: float) -> None:
    area = [(0, 0), (4, 0), (4, 2), (0, 2)]
    assert Finish.outlet((2, 1), area, level=level, perimeter=10.0).facets[0].plane.fall == pytest.approx(0.0, abs=1e-9)
    with pytest.raises(SurveyError, match=r"perimeter at 10\.000 m lies below the outlet at 10\.010 m"):
        Finish.outlet((2, 1), area, level=10.010, perimeter=10.0)


@pytest.mark.parametrize("sd", [[0.001, 0.001, 0.0, 0.001], [0.001, -0.001, 0.001, 0.001], [0.001, 0.001, np.nan, 0.001]])
def test_each_standard_deviation_is_above_nought(sd: list[float]) -> None:
    with pytest.raises(SurveyError, match="one finite length above nought"):
        fit_plane([0, 4, 4, 0], [0, 0, 3, 3], [10.0, 10.0, 9.9, 9.9], sd=sd)
