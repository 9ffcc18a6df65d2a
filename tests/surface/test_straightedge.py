"""The straightedge: by hand on simple surfaces, and against a search of another kind on rough ones.

Run as a script, it makes 20,000 placings on each of fifty surfaces and prints by how much the worst beats the search.
"""

from __future__ import annotations

import itertools
import math
from functools import cache
from typing import Any

import numpy as np
import pytest
import shapely
from matplotlib.tri import LinearTriInterpolator, Triangulation
from numpy.typing import NDArray
from scipy.optimize import minimize

from sitelevels import Finish, Ground, SurveyError
from sitelevels.surface.straightedge import BETWEEN, Straightedge, gap_at, straightedge

Floats = NDArray[np.float64]
MM = 1e-3


def grid_of(width: int, depth: int, step: float = 1.0) -> Floats:
    return np.array(list(itertools.product(range(width + 1), range(depth + 1))), float) * step


def scalar_gap(t: Any, z: Any) -> float:
    """The gap under the upper hull of a profile, by the chain of Andrew, one point after the other."""
    chain: list[int] = []
    for here in range(len(t)):
        while len(chain) > 1:
            one, two = chain[-2:]
            if (z[two] - z[one]) * (t[here] - t[one]) > (z[here] - z[one]) * (t[two] - t[one]):
                break
            chain.pop()
        chain.append(here)
    worst = 0.0
    for one, two in itertools.pairwise(chain):
        for here in range(one + 1, two):
            worst = max(worst, z[one] + (z[two] - z[one]) * (t[here] - t[one]) / (t[two] - t[one]) - z[here])
    return worst


def scalar_offset(t: Any, z: Any) -> float:
    return max(abs(z[0] + (z[-1] - z[0]) * (one - t[0]) / (t[-1] - t[0]) - other) for one, other in zip(t, z, strict=True))


class Judge:
    """Levels and gaps by other means: interpolation of another library over the same triangles, hulls point by point."""

    def __init__(self, ground: Ground, length: float, within: Any = None) -> None:
        self.ground, self.length = ground, length
        self.middle = np.array([ground.x.mean(), ground.y.mean()])
        self.places = np.column_stack([ground.x, ground.y]) - self.middle
        design = np.column_stack([np.ones(len(self.places)), self.places])
        self.z = ground.level - design @ np.linalg.lstsq(design, ground.level, rcond=None)[0]
        self.levels = LinearTriInterpolator(Triangulation(*self.places.T, ground.triangles), self.z)
        hull = shapely.MultiPoint(self.places).convex_hull
        inside = hull if within is None else hull.intersection(shapely.transform(shapely.Polygon(within),
                                                                                lambda corners: corners - self.middle))
        self.area = inside.buffer(-1e-9)
        shapely.prepare(self.area)

    def level(self, place: Floats) -> float:
        """From the triangle that holds the place best, so that places on the hull have a level too."""
        corners = self.places[self.ground.triangles]
        (ax, ay), (bx, by) = (corners[:, 1] - corners[:, 0]).T, (corners[:, 2] - corners[:, 0]).T
        px, py = (place - corners[:, 0]).T
        doubled = ax * by - ay * bx
        two, three = (px * by - py * bx) / doubled, (ax * py - ay * px) / doubled
        shares = np.stack([1 - two - three, two, three])
        best = int(shares.min(axis=0).argmax())
        return float(shares[:, best] @ self.z[self.ground.triangles[best]])

    def profile(self, ends: Any) -> tuple[list[float], list[float]]:
        """Every bend of the profile between two places, found edge by edge."""
        first, second = np.asarray(ends, float) - self.middle
        size = math.dist(first, second)
        ux, uy = (second - first) / size
        found = {0.0, size}
        for corners in self.ground.triangles:
            for one, two in ((0, 1), (1, 2), (2, 0)):
                (ax, ay), (bx, by) = self.places[corners[one]] - first, self.places[corners[two]] - first
                above, below = ux * ay - uy * ax, ux * by - uy * bx
                if min(above, below) <= 1e-9 and max(above, below) >= -1e-9 and abs(above - below) > 1e-12:
                    share = min(max(above / (above - below), 0.0), 1.0)
                    t = (ax + (bx - ax) * share) * ux + (ay + (by - ay) * share) * uy
                    if 1e-9 < t < size - 1e-9:
                        found.add(t)
        t = sorted(found)
        return t, [self.level(first + one * np.array([ux, uy])) for one in t]

    def sampled(self, middles: Floats, angles: Floats) -> Floats:
        """Levels (k, 49) under bars; not a number where one leaves the area."""
        way = np.column_stack([np.cos(angles), np.sin(angles)]) * self.length / 2
        bars = shapely.linestrings(np.stack([middles - way, middles + way], axis=1))
        z = np.full((len(bars), 49), np.nan)
        kept = shapely.covers(self.area, bars)
        at = middles[kept, None] + np.linspace(-1, 1, 49)[:, None] * way[kept, None]
        z[kept] = np.ma.filled(self.levels(at[..., 0], at[..., 1]), np.nan)
        return z

    def values(self, middles: Floats, angles: Floats, measure: Any) -> Floats:
        t = np.linspace(0, self.length, 49).tolist()
        return np.array([-1.0 if math.isnan(sum(z)) else measure(t, z) for z in self.sampled(middles, angles).tolist()])

    def greatest(self, measure: Any, placings: int, moved: int, times: int, polished: int, seed: int = 5) -> float:
        """The best of so many random placings, of which the best are moved about and the best of those polished."""
        draw = np.random.default_rng(seed)
        low, high = np.reshape(self.area.bounds, (2, 2))
        middles, angles = draw.uniform(low, high, (placings, 2)), draw.uniform(0, math.pi, placings)
        value = self.values(middles, angles, measure)
        best = np.argsort(-value)[:moved]
        middles, angles, value = middles[best], angles[best], value[best]
        for number in range(times):
            size = self.length / 5 * 0.85**number
            others, turned = middles + draw.normal(0, size, middles.shape), angles + draw.normal(0, 1.5 * size, angles.shape)
            tried = self.values(others, turned, measure)
            better = tried > value
            middles[better], angles[better], value[better] = others[better], turned[better], tried[better]
        greatest = float(value.max())

        def lost(at: Floats) -> float:
            way = np.array([math.cos(at[2]), math.sin(at[2])]) * self.length / 2
            if not shapely.covers(self.area, shapely.LineString([at[:2] - way, at[:2] + way])):
                return 1.0
            return -float(measure(*self.profile((at[:2] - way + self.middle, at[:2] + way + self.middle))))

        for index in np.argsort(-value)[:polished]:
            start = np.array([*middles[index], angles[index]])
            simplex = np.vstack([start, start + np.diag([0.02, 0.02, 0.02])])
            found = minimize(lost, start, method="Nelder-Mead", options={"initial_simplex": simplex, "maxfev": 150})
            greatest = max(greatest, -float(found.fun))
        return greatest


def rough(seed: int) -> tuple[Ground, float, Any]:
    """A surface, the length of a bar and an area, of the kinds that are built."""
    draw = np.random.default_rng(seed)
    width, depth = draw.uniform(3.5, 8, 2)
    count = int(draw.integers(20, 150))
    if seed % 2:
        across = max(4, round(math.sqrt(count * width / depth)))
        along = max(4, round(count / across))
        places = np.array(list(itertools.product(np.linspace(0, width, across), np.linspace(0, depth, along))))
    else:
        places = np.vstack([draw.uniform(0, [width, depth], (count, 2)), [[0, 0], [width, 0], [width, depth], [0, depth]]])
    x, y = places.T
    turn, size, wave = draw.uniform(0, math.pi), draw.uniform(0.004, 0.01), draw.uniform(1.0, 4.0)
    level = draw.normal(0, draw.uniform(0.001, 0.005), len(x))
    if seed % 3 == 0:
        level = level / 5 + size * np.sin(2 * math.pi * (x * math.cos(turn) + y * math.sin(turn)) / wave) * np.cos(y)
    within = None
    if seed % 5 == 4:
        within = [(0, 0), (width, 0), (width, depth * 0.45), (width * 0.5, depth * 0.45), (width * 0.5, depth), (0, depth)]
    return Ground(x, y, 10 + 0.012 * x - 0.017 * y + level), (1.0, 2.0, 3.0)[seed // 2 % 3], within


@cache
def found_on(seed: int) -> Straightedge:
    ground, length, within = rough(seed)
    return straightedge(ground, length=length, within=within)


class TestByHand:
    @pytest.mark.parametrize("length", [2.0, 3.0])
    def test_one_low_spot_on_a_grid_is_as_deep_as_it_is_low(self, length: float) -> None:
        """All triangles around the spot end at its neighbours 1 m (or 1.41 m) off, which stand on the plane: a bar along a row
        of the grid reaches from one neighbour to the next but one, 2 m apart, and lies 6 mm above the spot."""
        places = grid_of(5, 4)
        low = np.where((places == [2, 2]).all(axis=1), -6 * MM, 0.0)
        found = straightedge(Ground(*places.T, 10 + 0.02 * places[:, 0] - 0.01 * places[:, 1] + low), length=length)
        assert found.gap == pytest.approx(6 * MM, abs=1e-7)
        assert found.where == pytest.approx((2, 2), abs=1e-4)

    def test_a_bar_too_short_for_its_neighbours_hangs_lower(self) -> None:
        """A bar of 1 m over the same spot rests 0.5 m to either side of it, half-way up to the neighbours: 3 mm."""
        level = np.where((grid_of(4, 0) == [2, 0]).all(axis=1), -6 * MM, 0.0)
        places, levels = np.vstack([grid_of(4, 0), grid_of(4, 0) + np.array([0, 0.001])]), np.tile(level, 2)
        found = straightedge(Ground(*places.T, levels), length=1.0)
        assert found.gap == pytest.approx(3 * MM, abs=0.02 * MM)
        assert found.equal_offset == pytest.approx(3 * MM, abs=0.02 * MM)
        assert not found.hump

    @staticmethod
    def folded(slope: float) -> Ground:
        """Two planes that meet along x = 3, spots every metre, ridge or valley."""
        places = grid_of(6, 4)
        return Ground(*places.T, 10 - slope * np.abs(places[:, 0] - 3) + 0.01 * places[:, 1])

    @pytest.mark.parametrize("length", [1.0, 2.0, 3.0])
    def test_a_ridge_has_no_gap_and_shows_with_blocks_under_the_ends(self, length: float) -> None:
        """The bar across the ridge: its ends lie slope · L/2 below it."""
        found = straightedge(self.folded(0.01), length=length)
        assert found.gap < 1e-9
        assert found.equal_offset == pytest.approx(0.01 * length / 2, abs=1e-6)
        assert found.hump
        assert found.offset_where[0] == pytest.approx(3, abs=1e-3)

    @pytest.mark.parametrize("length", [1.0, 2.0, 3.0])
    def test_a_valley_is_as_deep_as_the_ends_stand_above_it(self, length: float) -> None:
        found = straightedge(self.folded(-0.01), length=length)
        assert found.gap == pytest.approx(0.01 * length / 2, abs=1e-6)
        assert found.equal_offset == pytest.approx(found.gap, abs=1e-6)
        assert not found.hump
        assert abs(found.direction[0]) == pytest.approx(1, abs=1e-3)
        assert math.hypot(*found.direction) == pytest.approx(1, abs=1e-12)
        assert sorted(place[0] for place in found.contacts) == pytest.approx([3 - length / 2, 3 + length / 2], abs=1e-3)

    def test_a_dip_on_the_side_of_the_area(self) -> None:
        """A spot on the wall itself, 5 mm low: only a bar along the wall rests on both of its neighbours there."""
        places = grid_of(5, 3)
        low = np.where((places == [3, 0]).all(axis=1), -5 * MM, 0.0)
        found = straightedge(Ground(*places.T, low), length=2.0)
        assert found.gap == pytest.approx(5 * MM, abs=1e-6)
        assert found.where == pytest.approx((3, 0), abs=1e-4)
        assert [place[1] for place in found.ends] == pytest.approx([0, 0], abs=1e-4)

    def test_a_dip_at_a_corner_of_the_area_is_no_gap_but_an_offset(self) -> None:
        """A bar cannot rest beyond the corner. With blocks, one end on the corner 4 mm low, the surface is level up to the
        diagonal edge, nearest to the corner (√½ m) square to it, where the line has fallen by 4 mm · (2 − √½)/2."""
        places = grid_of(4, 4)
        low = np.where((places == [0, 0]).all(axis=1), -4 * MM, 0.0)
        found = straightedge(Ground(*places.T, low, breaks=[(1, 5)]), length=2.0)  # from (0, 1) to (1, 0)
        assert found.gap < 1e-7
        assert found.equal_offset == pytest.approx(4 * MM * (2 - math.sqrt(0.5)) / 2, abs=1e-6)
        assert found.hump

    @pytest.mark.parametrize("shift", [(0.0, 0.0, 10.0), (451234.0, 1234567.0, 10.0), (451234.0, 1234567.0, 1000.0)])
    def test_a_plane_is_straight(self, shift: tuple[float, float, float]) -> None:
        x, y = np.random.default_rng(3).uniform(0, 6, (2, 40)).round(3)
        found = straightedge(Ground(x + shift[0], y + shift[1], shift[2] + 0.0125 * x - 0.02 * y))
        assert 0 <= found.gap < 1e-9
        assert 0 <= found.equal_offset < 1e-9
        assert "as straight as" in found.sentence()

    @pytest.mark.parametrize("seed", [3, 4])
    def test_shifting_and_tilting_the_surface_changes_nothing(self, seed: int) -> None:
        ground, length, within = rough(seed)
        shift = np.array([451234.0, 1234567.0])
        moved = Ground(ground.x + shift[0], ground.y + shift[1], ground.level + 1000 + 0.03 * ground.x + 0.02 * ground.y)
        area = None if within is None else np.array(within) + shift
        one, two = straightedge(ground, length=length, within=within), straightedge(moved, length=length, within=area)
        assert two.gap == pytest.approx(one.gap, abs=0.02 * MM)
        assert two.equal_offset == pytest.approx(one.equal_offset, abs=0.02 * MM)
        assert two.where == pytest.approx(one.where + shift, abs=0.02)


class TestWhereItFits:
    def test_it_fits_nowhere(self) -> None:
        ground = Ground(*grid_of(2, 1).T, np.arange(6.0))
        with pytest.raises(SurveyError, match=r"2\.50 m fits nowhere.* about 2\.24 m.* Use a shorter one"):  # √(2² + 1²)
            straightedge(ground, length=2.5)

    def test_in_a_strip_it_lies_along(self) -> None:
        """Steps of 8 mm across a strip 0.5 m wide do not count; the hollow of 3 mm along it does."""
        x = np.repeat(np.arange(0, 7.0), 2)
        y = np.tile([0.0, 0.5], 7)
        found = straightedge(Ground(x, y, 8 * MM * (y > 0) - 3 * MM * (x == 3)), length=2.0)
        assert found.gap == pytest.approx(3 * MM, abs=1e-6)
        assert abs(found.direction[1]) <= 0.25 + 1e-6

    def test_a_strip_just_as_long_as_the_bar(self) -> None:
        found = straightedge(Ground([0, 1, 2, 0, 1, 2], [0, 0, 0, 0.3, 0.3, 0.3], [0, -0.004, 0, 0, -0.002, 0]), length=2.0)
        assert found.gap == pytest.approx(4 * MM, abs=1e-6)

    def test_it_does_not_cut_the_corner_of_an_l(self) -> None:
        """A dip outside the L and one inside: only the one inside counts, and the bar lies wholly inside."""
        places = grid_of(6, 6)
        low = np.where((places == [4, 4]).all(axis=1), -20 * MM, 0.0) + np.where((places == [1, 4]).all(axis=1), -4 * MM, 0.0)
        area = [(0, 0), (6, 0), (6, 2), (2, 2), (2, 6), (0, 6)]
        found = straightedge(Ground(*places.T, low), length=2.0, within=area)
        assert found.gap == pytest.approx(4 * MM, abs=1e-6)
        assert found.where == pytest.approx((1, 4), abs=1e-3)
        for ends in (found.ends, found.offset_ends):
            assert shapely.Polygon(area).buffer(1e-6).covers(shapely.LineString(ends))

    def test_never_across_a_channel(self) -> None:
        """Two sides falling to a channel at 1:50 would show 20 mm under 2 m; each side by itself has one dip, of 2 mm."""
        places = grid_of(6, 4)
        level = 10 + 0.02 * np.abs(places[:, 1] - 2) - np.where((places == [3, 1]).all(axis=1), 2 * MM, 0.0)
        ground, area = Ground(*places.T, level), [(0, 0), (6, 0), (6, 4), (0, 4)]
        finish = Finish.channel(((0, 2), (6, 2)), area, level=10, left=0.02, right=0.02)
        assert straightedge(ground, within=area).gap == pytest.approx(20 * MM, abs=0.5 * MM)
        found = straightedge(ground, within=finish)
        assert found.gap == pytest.approx(2 * MM, abs=1e-6)
        assert found.where == pytest.approx((3, 1), abs=1e-3)

    def test_a_facet_too_small_for_the_bar_is_passed_over(self) -> None:
        places = grid_of(6, 4)
        ground = Ground(*places.T, np.where((places == [3, 2]).all(axis=1), -2 * MM, 0.0))
        area = [(0, 0), (6, 0), (6, 4), (0, 4)]
        corner = Finish.channel(((0, 0.8), (0.8, 0)), area, level=10, left=0.02, right=0.02)  # cuts off 0.8 m by 0.8 m
        assert straightedge(ground, within=corner).gap == pytest.approx(2 * MM, abs=1e-6)

    def test_far_from_the_spots(self) -> None:
        with pytest.raises(SurveyError, match="All spots lie outside"):
            straightedge(Ground(*grid_of(3, 3).T, np.zeros(16)), within=[(10, 0), (14, 0), (14, 4)])


class TestAgainstAnotherSearch:
    @pytest.mark.parametrize("seed", range(6))
    def test_no_placing_shows_more(self, seed: int) -> None:
        ground, length, within = rough(seed)
        found, judge = found_on(seed), Judge(ground, length, within)
        assert judge.greatest(scalar_gap, 2000, 60, 12, 4) <= found.gap + 0.2 * MM
        assert judge.greatest(scalar_offset, 1000, 40, 12, 2) <= found.equal_offset + 0.2 * MM

    @pytest.mark.parametrize("seed", range(6))
    def test_the_placing_told_shows_what_is_told(self, seed: int) -> None:
        ground, length, within = rough(seed)
        found, judge = found_on(seed), Judge(ground, length, within)
        assert math.dist(*found.ends) == pytest.approx(length, abs=1e-9)
        assert math.dist(*found.offset_ends) == pytest.approx(length, abs=1e-9)
        assert scalar_gap(*judge.profile(found.ends)) == pytest.approx(found.gap, abs=1e-6)
        assert scalar_offset(*judge.profile(found.offset_ends)) == pytest.approx(found.equal_offset, abs=1e-6)
        first, second = (judge.level(np.array(place) - judge.middle) for place in found.contacts)
        share = math.dist(found.contacts[0], found.where) / math.dist(*found.contacts)
        deepest = judge.level(np.array(found.where) - judge.middle)
        assert first + share * (second - first) - deepest == pytest.approx(found.gap, abs=1e-6)

    @pytest.mark.parametrize("seed", range(4))
    def test_one_bar_by_itself(self, seed: int) -> None:
        ground, length, _ = rough(2 * seed)
        judge, draw = Judge(ground, length), np.random.default_rng(seed)
        for _ in range(20):
            ends = draw.uniform(judge.area.bounds[:2], judge.area.bounds[2:], (2, 2))
            if judge.area.covers(shapely.LineString(ends)):
                t, z = judge.profile(ends + judge.middle)
                assert gap_at(ground, *(ends + judge.middle)) == pytest.approx(scalar_gap(t, z), abs=1e-9)

    def test_the_other_way_round_it_is_the_same(self) -> None:
        ground = rough(0)[0]
        assert gap_at(ground, (1, 1), (2.5, 2)) == pytest.approx(gap_at(ground, (2.5, 2), (1, 1)), abs=1e-12)

    def test_a_spot_a_millimetre_off_the_wall_still_counts_at_the_wall(self) -> None:
        """As for levels: no sliver along the hull may bridge a spot 4 mm low that was taped 1 mm out from the wall."""
        ground = Ground([0, 1, 2, 0, 2], [0, 0.001, 0, 3, 3], [10.0, 9.996, 10.0, 10.0, 10.0])
        assert gap_at(ground, (0, 0), (2, 0)) == pytest.approx(4 * MM, abs=0.02 * MM)
        assert straightedge(ground, length=2.0).gap == pytest.approx(4 * MM, abs=0.05 * MM)


class TestErrorsAlone:
    @staticmethod
    @cache
    def yard() -> Straightedge:
        x, y = np.random.default_rng(8).uniform(0, 5, (2, 25))
        return straightedge(Ground(x, y, 10 + 0.01 * x))

    def test_against_the_full_search_on_drawn_surfaces(self) -> None:
        """Six surfaces of nothing but errors: their middle gap is near the middle of what is said."""
        found, draw = self.yard(), np.random.default_rng(4)
        full = [straightedge(found.ground.with_levels(draw.normal(0, 2 * MM, 25))) for _ in range(6)]
        gap, offset = found.errors_alone(2 * MM, sure=0.5)
        assert np.median([one.gap for one in full]) == pytest.approx(gap, rel=0.15)
        assert np.median([one.equal_offset for one in full]) == pytest.approx(offset, rel=0.15)
        most = found.errors_alone(2 * MM, sure=0.99)
        assert max(one.gap for one in full) < most[0] * 1.1

    def test_what_all_spots_have_in_common_has_no_effect(self) -> None:
        found = self.yard()
        x, y = found.ground.x, found.ground.y
        common = 0.05**2 * np.ones((25, 25)) + 0.01**2 * np.outer(x, x) + 0.02**2 * np.outer(y, y)
        alone = found.errors_alone((2 * MM) ** 2 * np.eye(25))
        assert found.errors_alone((2 * MM) ** 2 * np.eye(25) + common) == pytest.approx(alone, rel=1e-6)
        assert found.errors_alone(common) == pytest.approx((0, 0), abs=1e-7)
        assert found.errors_alone(2 * MM) == pytest.approx(alone, rel=1e-9)

    def test_it_grows_with_the_errors_and_with_how_sure_one_is(self) -> None:
        found = self.yard()
        assert found.errors_alone(4 * MM) == pytest.approx(2 * np.array(found.errors_alone(2 * MM)), rel=1e-9)
        assert found.errors_alone(2 * MM, sure=0.5) < found.errors_alone(2 * MM, sure=0.95)
        assert found.errors_alone(0.0) == (0.0, 0.0)

    def test_one_spot_that_is_out_by_hand(self) -> None:
        """Errors of the middle spot of a grid alone, sd 1 mm: a gap of e where it reads e too low, none where it reads too
        high; the offset |e| either way. At 0.95 these are the normal quantiles 1.645 (one-sided) and 1.960."""
        places = grid_of(4, 4)
        only = np.diag(np.where((places == [2, 2]).all(axis=1), MM**2, 0.0))
        gap, offset = straightedge(Ground(*places.T, np.zeros(25))).errors_alone(only, runs=600)
        assert gap == pytest.approx(1.645 * MM, rel=0.12)
        assert offset == pytest.approx(1.960 * MM, rel=0.12)

    @pytest.mark.parametrize(("covariance", "said"), [
        (-1.0, "standard deviation"), ("much", "standard deviation"), (np.eye(3), "is none. It must be"),
        (-np.eye(25), "below nought"), (np.full((25, 25), math.nan), "25 by 25"), ([["a"]], "25 by 25")])
    def test_what_is_no_covariance_is_refused(self, covariance: Any, said: str) -> None:
        with pytest.raises(SurveyError, match=said):
            self.yard().errors_alone(covariance)

    @pytest.mark.parametrize("options", [{"sure": 1.0}, {"sure": 0.0}, {"runs": 3}])
    def test_options_that_make_no_sense_are_refused(self, options: dict[str, Any]) -> None:
        with pytest.raises(SurveyError, match=r"must be|whole number"):
            self.yard().errors_alone(MM, **options)


class TestWords:
    def test_the_sentence_tells_both_and_what_spots_cannot_see(self) -> None:
        places = grid_of(4, 4)
        found = straightedge(Ground(*places.T, np.where((places == [2, 2]).all(axis=1), -6 * MM, 0.0)))
        assert found.sentence().startswith("The greatest gap under a 2.00 m straightedge is 6.0 mm, at x 2 y 2")
        assert "6.0 mm too low at worst" in found.sentence()
        assert found.sentence().endswith(BETWEEN)
        assert repr(found) == found.sentence()
        assert found._repr_html_() == f"<p>{found.sentence()}</p>"

    @pytest.mark.parametrize("length", [0, -1, math.nan, math.inf, "two", 0.04, 101, None, True])
    def test_a_length_that_is_none_is_refused(self, length: Any) -> None:
        with pytest.raises(SurveyError, match="length of the straightedge"):
            straightedge(Ground(*grid_of(3, 3).T, np.zeros(16)), length=length)

    def test_what_is_no_ground_and_no_bar_is_refused(self) -> None:
        with pytest.raises(SurveyError, match="The ground is a list"):
            straightedge([1, 2, 3])  # type: ignore[arg-type]
        ground = Ground(*grid_of(3, 3).T, np.zeros(16))
        with pytest.raises(SurveyError, match="no length"):
            gap_at(ground, (1, 1), (1, 1))
        with pytest.raises(SurveyError, match="lies outside"):
            gap_at(ground, (1, 1), (5, 1))


def full_check(seeds: Any = range(50)) -> None:
    """By how much the best of 20,000 placings on each surface is greater than what the search found, in m."""
    worst = np.full(2, -1.0)
    for seed in seeds:
        ground, length, within = rough(seed)
        found, judge = straightedge(ground, length=length, within=within), Judge(ground, length, within)
        excess = np.array([judge.greatest(scalar_gap, 20_000, 1500, 25, 20) - found.gap,
                           judge.greatest(scalar_offset, 20_000, 1500, 25, 20) - found.equal_offset])
        worst = np.maximum(worst, excess)
        print(seed, length, len(ground.x), found.gap, found.equal_offset, excess, worst, flush=True)


if __name__ == "__main__":
    full_check()
