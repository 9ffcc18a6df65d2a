"""Which edges an outlet sees, where a second one would stand, and the way of the water over a shaped floor."""

from __future__ import annotations

import math
import re
from itertools import pairwise

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from sitelevels import Finish, Outlet, SurveyError

Place = tuple[float, float]
ELL = [(0, 0), (6, 0), (6, 2), (3, 2), (3, 5), (0, 5)]
ARMS = [(0, 0), (10, 0), (10, 6), (7, 6), (7, 2), (3, 2), (3, 6), (0, 6)]
"""Two arms, 3 m wide and 4 m long, on a strip 2 m deep."""
OBLONG = [(0, 0), (6, 0), (6, 4), (0, 4)]
PLACE = r"x (\S+) y (\S+)"
TOLD = re.compile(rf"(?i)the edge from {PLACE} to {PLACE} is not seen from the outlet at .*second outlet(?:, about {PLACE})?\.")


def refused(outlet: Place, area: object, shift: Place = (0.0, 0.0)) -> tuple[shapely.LineString, Place | None]:
    """The edge that is said not to be seen, and the place offered for a second outlet if there is one."""
    corners = [(x + shift[0], y + shift[1]) for x, y in area]  # type: ignore[attr-defined]
    with pytest.raises(SurveyError, match="second outlet") as caught:
        Outlet((outlet[0] + shift[0], outlet[1] + shift[1])).parts(corners)
    told = TOLD.match(str(caught.value))
    assert told, str(caught.value)
    x1, y1, x2, y2, *second = (float(number.rstrip(",.")) for number in told.groups() if number)
    return shapely.LineString([(x1, y1), (x2, y2)]), (second[0], second[1]) if second else None


def seen(edge: shapely.LineString, place: Place, area: object) -> bool:
    """Whether every place of an edge is joined to a place by a straight way inside the area: 51 ways are tried."""
    inside = shapely.Polygon(area).buffer(0.002)  # type: ignore[call-overload] # the sentence tells places to the millimetre
    ways = [shapely.LineString([place, edge.interpolate(share, normalized=True)]) for share in np.linspace(0, 1, 51)]
    return bool(shapely.covers(inside, ways).all())


class TestUnseen:
    @pytest.mark.parametrize(("outlet", "ends"), [((4.5, 1), {(3, 5), (0, 5)}), ((1.5, 4), {(6, 0), (6, 2)})])
    @pytest.mark.parametrize("shift", [(0.0, 0.0), (450_000.0, 4_500_000.0)])
    def test_from_one_arm_of_an_l_the_end_of_the_other_is_not(self, outlet: Place, ends: set[Place], shift: Place) -> None:
        edge, second = refused(outlet, ELL, shift)
        there = [(x + shift[0], y + shift[1]) for x, y in ELL]
        assert edge.length > 0.5
        assert not seen(edge, (outlet[0] + shift[0], outlet[1] + shift[1]), there)
        assert second is not None
        assert shapely.Polygon(there).covers(shapely.Point(second))
        assert seen(edge, second, there)
        assert not seen(shapely.LineString([(x + shift[0], y + shift[1]) for x, y in ends]),
                        (outlet[0] + shift[0], outlet[1] + shift[1]), there)

    def test_an_edge_seen_end_on_falls_nowhere(self) -> None:
        """From x 4 y 2.0 on the line of the edge that ends at the inner corner the floor would be a step along it."""
        area = [(0, 0), (6, 0), (6, 4), (3, 4), (3, 2), (0, 2)]
        edge, _ = refused((4, 2), area)
        assert {tuple(end) for end in edge.coords} == {(3.0, 2.0), (0.0, 2.0)}

    @pytest.mark.parametrize("outlet", [(5, 1), (5, 0.3), (1.5, 5), (8.5, 4)])
    def test_from_an_area_with_two_arms_the_place_sees_the_edge_that_is_named(self, outlet: Place) -> None:
        edge, second = refused(outlet, ARMS)
        assert not seen(edge, outlet, ARMS)
        assert second is not None
        assert seen(edge, second, ARMS), f"from {second} the edge {edge} is not seen"

    def test_narrow_arms_too(self) -> None:
        """An arm 100 mm wide, far narrower than a sixteenth of the whole: better no place than one that does not see it."""
        area = [(0, 0), (10, 0), (10, 1), (4.15, 1), (4.15, 6), (4.05, 6), (4.05, 1), (0, 1)]
        edge, second = refused((9, 0.5), area)
        assert second is None or seen(edge, second, area), f"from {second} the edge {edge} is not seen"

    def test_a_hole_hides_part_of_the_outline(self) -> None:
        area = shapely.Polygon(OBLONG) - shapely.box(3, 1, 4, 2)
        with pytest.raises(SurveyError, match="is not seen from the outlet"):
            Outlet((1, 1)).parts(area)

    @pytest.mark.parametrize(("point", "said"), [
        ((7, 2), "1.00 m outside the area"), ((3, -0.01), "0.01 m outside"), ((math.nan, 1), "must be a place"),
        ((1, 2, 3), "must be a place"), ("a", "must be a place"), (None, "must be a place"), (("a", "b"), "must be a place")])
    def test_no_place_for_an_outlet(self, point: object, said: str) -> None:
        with pytest.raises(SurveyError, match=said):
            Finish.outlet(point, OBLONG, level=9.9, perimeter=10.0)

    @pytest.mark.parametrize("value", [math.nan, math.inf, "high", None])
    def test_levels_that_are_none_are_refused(self, value: float) -> None:
        for values in ({"level": value, "perimeter": 10.0}, {"level": 9.9, "perimeter": value}):
            with pytest.raises(SurveyError, match="must be a"):
                Finish.outlet((3, 2), OBLONG, **values)
        for name in ("level", "fall", "left", "right"):
            with pytest.raises(SurveyError, match="must be a"):
                Finish.channel(((0, 2), (6, 2)), OBLONG, **{"level": 9.9, "fall": 0.0, "left": 0.02, "right": 0.02, name: value})


def walked(finish: Finish, area: shapely.Polygon, start: Place, most: int, outlet: Place | None = None) -> list[Place]:
    """The way of the water in steps of 20 mm: down the facet it is on; where that leaves the area, along its edge."""
    step, way, edges = 0.02, [start], list(pairwise(area.exterior.coords))
    for _ in range(most):
        x, y = way[-1]
        if outlet is not None and math.dist(way[-1], outlet) < 3 * step:
            break
        down = np.array(finish.facet_at(x, y).plane.direction)
        ahead = np.array([x, y]) + step * down
        if not area.covers(shapely.Point(ahead)):
            near = min(edges, key=lambda edge: shapely.LineString(edge).distance(shapely.Point(ahead)))
            along = np.subtract(near[1], near[0]) / math.dist(*near)
            foot = np.array(near[0]) + (np.array([x, y]) - near[0]) @ along * along
            ahead = foot + step * math.copysign(1.0, down @ along) * along
        way.append((float(ahead[0]), float(ahead[1])))
    return way


places = st.tuples(st.floats(0.05, 0.95), st.floats(0.05, 0.95))
walks = settings(deadline=None, max_examples=12, derandomize=True)


class TestWater:
    @walks
    @given(places, st.sampled_from([(3.0, 2.0), (1.0, 3.5), (6.0, 1.0), (0.0, 0.0)]))
    def test_reaches_an_outlet_from_anywhere(self, share: Place, outlet: Place) -> None:
        area = shapely.Polygon(OBLONG)
        finish = Finish.outlet(outlet, area, level=9.9, perimeter=10.0)
        assert math.dist(walked(finish, area, (6 * share[0], 4 * share[1]), 600, outlet)[-1], outlet) < 0.06

    @walks
    @given(places)
    def test_round_the_inner_corner_of_an_l_it_does_too(self, share: Place) -> None:
        area = shapely.Polygon(ELL)
        start = (6 * share[0], 2 * share[1]) if share[0] > 0.5 else (6 * share[0], 5 * share[1])
        finish = Finish.outlet((1.5, 1.0), area, level=9.9, perimeter=10.0)
        assert math.dist(walked(finish, area, start, 600, (1.5, 1.0))[-1], (1.5, 1.0)) < 0.06

    @walks
    @given(places)
    def test_from_three_sides_it_reaches_an_outlet_in_the_fourth(self, share: Place) -> None:
        area = shapely.Polygon(OBLONG)
        finish = Finish.outlet((2, 0), area, level=9.9, perimeter=10.0, sides=[((0, 0), (0, 4)), ((0, 4), (6, 4)),
                                                                               ((6, 4), (6, 0))])
        assert math.dist(walked(finish, area, (6 * share[0], 4 * share[1]), 600, (2, 0))[-1], (2, 0)) < 0.06

    @walks
    @given(places, st.sampled_from([0.0, 0.01, -0.01]))
    def test_comes_to_the_channel_and_down_it(self, share: Place, fall: float) -> None:
        """The channel ends at the edges of the area: its lower end where it has a fall, anywhere along it where it has none."""
        area = shapely.Polygon(OBLONG)
        finish = Finish.channel(((1, 1.5), (2, 1.5)), area, level=9.9, fall=fall, left=0.02, right=0.03)
        start = (6 * share[0], 4 * share[1])
        way = walked(finish, area, start, 900)
        assert min(abs(y - 1.5) for _, y in way) < 0.03
        x, y = way[-1]
        assert abs(y - 1.5) < 0.05
        assert x == pytest.approx({0.0: start[0], 0.01: 6.0, -0.01: 0.0}[fall], abs=0.05)
