"""Standing water against a grid, a spanning tree, finer triangles, the same site elsewhere, and one flood after the other."""

from __future__ import annotations

import heapq
import time
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.ndimage import label
from scipy.sparse import coo_array
from scipy.sparse.csgraph import breadth_first_order, minimum_spanning_tree
from scipy.spatial.distance import pdist

from sitelevels import Ground, SurveyError
from sitelevels.surface.flood import _border, net_of
from sitelevels.surface.ponding import Ponding, ponding

Floats = NDArray[np.float64]
steady = settings(deadline=None, max_examples=25, derandomize=True)
SIDE = 10.0
SQUARE = shapely.box(0, 0, SIDE, SIDE)
SIDES = [((0, 0), (10, 0)), ((10, 0), (10, 10)), ((10, 10), (0, 10)), ((0, 10), (0, 0))]
BENT = shapely.Polygon([(1, 1), (9, 0.5), (8, 9), (4, 5), (0.5, 8)]) - shapely.box(5.5, 2, 6.5, 4)


def hilly(seed: int, count: int = 25) -> Ground:
    """Random ground over the square of 10 m, ± 50 mm about a fall of 1:200."""
    draw = np.random.default_rng(seed)
    x, y = np.concatenate([[[0, 10, 10, 0], [0, 0, 10, 10]], draw.uniform(0.3, 9.7, (2, count)).round(3)], axis=1)
    return Ground(x, y, draw.uniform(-0.05, 0.05, len(x)) + x / 200)


def figures(found: Ponding) -> tuple[float, float, float]:
    return found.depth, found.area, found.volume


def of_basins(found: Ponding) -> Floats:
    table: Floats = np.array(sorted((one.level, one.depth, one.area, one.volume) for one in found.basins)).reshape(-1, 4)
    return table


def on_a_grid(level: Callable[[Any, Any], Any], count: int, free: list[int]) -> tuple[Floats, Floats]:
    """Levels and water on a grid of places over the square, water going to any of eight neighbours; `free` numbers of SIDES."""
    ways = np.linspace(0, SIDE, count + 1)
    x, y = np.meshgrid(ways, ways, indexing="ij")
    ground = np.asarray(level(x, y), dtype=float)
    out = np.zeros(ground.shape, dtype=bool)
    for side in free:
        out[((slice(None), 0), (-1, slice(None)), (slice(None), -1), (0, slice(None)))[side]] = True
    water = np.full(ground.shape, np.inf)
    water[out] = ground[out]
    heap = [(float(ground[i, j]), int(i), int(j)) for i, j in np.argwhere(out)]
    heapq.heapify(heap)
    while heap:
        reached, i, j = heapq.heappop(heap)
        if reached > water[i, j]:
            continue
        for k in range(max(i - 1, 0), min(i + 2, count + 1)):
            for m in range(max(j - 1, 0), min(j + 2, count + 1)):
                higher = max(reached, float(ground[k, m]))
                if higher < water[k, m]:
                    water[k, m] = higher
                    heapq.heappush(heap, (higher, k, m))
    return ground, water


class TestGrid:
    def test_a_finer_and_finer_grid_comes_to_the_same(self) -> None:
        """A grid may miss a spill by half a cell's way uphill, here some mm: so far may its water be out, and less when finer."""
        errors = []
        for seed in range(12):
            ground, free = hilly(seed), [0, 2] if seed % 2 else [seed % 4]
            found = ponding(ground, SQUARE, free=[SIDES[side] for side in free])
            steepest = np.hypot(*ground.facet_gradients()[0].T).max()
            out = []
            for count in (40, 120):
                level, water = on_a_grid(ground.level_at, count, free)
                weight = np.outer(*[np.where(np.arange(count + 1) % count == 0, 0.5, 1.0)] * 2) * (SIDE / count) ** 2
                volume = float(((water - level) * weight).sum())
                assert abs(volume - found.volume) < steepest * SIDE / count * (found.area + 1)
                assert (water - level).max() == pytest.approx(found.depth, abs=steepest * SIDE / count * 1.5)
                out.append(abs(volume - found.volume))
            errors.append(out)
        coarse, fine = np.array(errors).sum(axis=0)
        assert fine < coarse / 2
        assert fine / 12 < 0.01  # m³, of a mean of some 0.5

    def test_place_by_place(self) -> None:
        ground = hilly(3)
        found = ponding(ground, SQUARE, free=[SIDES[1]])
        ways = np.linspace(0, SIDE, 161)
        level, water = on_a_grid(ground.level_at, 160, [1])
        off = np.abs(found.depth_at(*np.meshgrid(ways, ways, indexing="ij")) - (water - level))
        assert np.median(off) < 1e-3
        assert off.max() < 0.01

    def test_filling_on_a_grid(self) -> None:
        """The water joined to the deepest place, counted cell by cell, at levels between the bottom and the brim."""
        ways = (np.arange(400) + 0.5) / 400 * SIDE
        x, y = np.meshgrid(ways, ways, indexing="ij")
        several = 0
        for seed in (1, 4, 7, 9):
            ground = hilly(seed, 40)
            basin = ponding(ground, SQUARE, free=[SIDES[1]]).basins[0]
            level, cell = ground.level_at(x, y), (SIDE / 400) ** 2
            at = tuple(np.unravel_index(((x - basin.place[0]) ** 2 + (y - basin.place[1]) ** 2).argmin(), x.shape))
            for share in (0.3, 0.6, 0.8, 0.95):
                reached = basin.level - (1 - share) * basin.depth
                parts, count = label(level < reached, structure=np.ones((3, 3)))
                several += count > 1
                joined = parts == parts[at]
                volume = float(np.where(joined, reached - level, 0.0).sum() * cell)
                assert basin.level_after(volume) == pytest.approx(reached, abs=1e-3)
        assert several


    def test_filling_never_lowers(self) -> None:
        found = ponding(hilly(5, 40), SQUARE, walls=SIDES[:2])
        assert len(found.basins) > 2
        for basin in found.basins:
            levels = [basin.level_after(share * basin.volume) for share in np.linspace(0, 1, 25)]
            assert (np.diff(levels) >= 0).all()
            assert levels[0] == pytest.approx(basin.level - basin.depth, abs=1e-12)
            assert levels[-1] == basin.level


class TestSpanningTree:
    @steady
    @given(st.integers(0, 10**6), st.integers(0, 3), st.booleans())
    def test_the_water_at_each_spot(self, seed: int, side: int, outlet: bool) -> None:
        """The least greatest level on the way is that along the least spanning tree, whose sides are as high as their ends."""
        ground = hilly(seed)
        spot = 4 + seed % 20
        outlets = [(ground.x[spot], ground.y[spot])] if outlet else []
        found = ponding(ground, SQUARE, free=[SIDES[side]], outlets=outlets)
        pairs = np.concatenate([ground.triangles[:, pair] for pair in ([0, 1], [1, 2], [2, 0])])
        edges = np.unique(np.sort(pairs, axis=1), axis=0)
        count, raised = len(ground.x), ground.level + 1.0  # a side of nought would count as none
        away = np.hypot(ground.x - SIDES[side][0][0], ground.y - SIDES[side][0][1])
        on = np.flatnonzero([shapely.LineString(SIDES[side]).distance(shapely.Point(place)) < 1e-9
                             for place in zip(ground.x, ground.y, strict=True)])
        assert {0.0, 10.0} <= set(away[on])
        drains = [*on, *([spot] if outlet else [])]
        one = np.concatenate([edges[:, 0], drains])
        two = np.concatenate([edges[:, 1], np.full(len(drains), count)])
        high = np.concatenate([raised[edges].max(axis=1), raised[drains]])
        ends = one.astype(np.int32), two.astype(np.int32)
        tree = minimum_spanning_tree(coo_array((high, ends), shape=(count + 1, count + 1)))
        both = (tree + tree.T).tocsr()
        order, before = breadth_first_order(both, count, directed=False)
        water = np.zeros(count + 1)
        for corner in order[1:]:
            water[corner] = max(water[before[corner]], both[corner, before[corner]])
        assert found.depth_at(ground.x, ground.y) == pytest.approx(water[:count] - raised, abs=1e-9)


class TestFinerTriangles:
    @pytest.mark.parametrize("seed", range(8))
    def test_further_corners_change_nothing(self, seed: int) -> None:
        ground, draw = hilly(seed), np.random.default_rng(seed + 99)
        finer = ground.with_corners(*draw.uniform(0.5, 9.5, (2, 40)))
        assert len(finer.triangles) > len(ground.triangles) + 60
        for area, given_ in ((SQUARE, {"walls": SIDES[:2]}), (BENT, {"outlets": [(4.2, 3.1), ((1, 3), (3, 6))]}),
                             (BENT, {"free": [], "outlets": [(2.0, 2.0)]})):
            one, two = (ponding(each, area, **given_) for each in (ground, finer))  # type: ignore[arg-type]
            assert figures(two) == pytest.approx(figures(one), abs=1e-9)
            assert of_basins(two) == pytest.approx(of_basins(one), abs=1e-9)
            for first, second in zip(one.basins, two.basins, strict=True):
                for share in (0.1, 0.4, 0.7, 0.9):
                    assert second.level_after(share * first.volume) == pytest.approx(first.level_after(share * first.volume),
                                                                                    abs=1e-7)
            x, y = draw.uniform(0, 10, (2, 200))
            held = one.covers(x, y) & two.covers(x, y)
            assert held.sum() > 60
            assert two.depth_at(x[held], y[held]) == pytest.approx(one.depth_at(x[held], y[held]), abs=1e-9)

    def test_a_trough_of_many_triangles_is_that_of_four(self) -> None:
        """s² / 3t with a wall at its lower end; see the trough of four triangles."""
        x, y = (each.reshape(-1) for each in np.meshgrid(np.linspace(0, 6, 37), np.linspace(0, 2, 21)))
        found = ponding(Ground(x, y, 0.06 * np.abs(y - 1) + 0.02 * x), shapely.box(0, 0, 6, 2), walls=[((0, 0), (0, 2))])
        assert figures(found) == pytest.approx((0.06, 3.0, 0.06**2 / 0.06), abs=1e-9)

    def test_a_refined_area_of_the_same_outline(self) -> None:
        one, two = ponding(hilly(2), BENT), ponding(hilly(2), BENT.segmentize(0.07))
        assert figures(two) == pytest.approx(figures(one), abs=1e-9)


def ringed(corners: int, rings: int, shape: Callable[[Any], Any]) -> Ground:
    """A dish of radius 2 m in a level plate, `shape` of the share of the radius; one ring of spots after the other."""
    turns = 2 * np.pi * np.arange(corners) / corners
    share = np.repeat(np.arange(1, rings + 1) / rings, corners)
    x, y = 2 * share * np.cos(np.tile(turns, rings)), 2 * share * np.sin(np.tile(turns, rings))
    plate = np.array([(-4, -4), (4, -4), (4, 4), (-4, 4)])
    return Ground(np.concatenate([[0], x, plate[:, 0]]), np.concatenate([[0], y, plate[:, 1]]),
                  np.concatenate([[shape(0.0)], shape(share), np.zeros(4)]))


class TestNet:
    @pytest.mark.parametrize("turn", [0.0, 0.3, 2.0])
    @pytest.mark.parametrize("seed", range(12))
    def test_its_border_is_that_of_the_area(self, seed: int, turn: float) -> None:
        """Corners of the area on spots, on sides of triangles and in them: no inner side counts as border."""
        draw = np.random.default_rng(seed)
        matrix = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
        x, y = (each.reshape(-1) for each in np.meshgrid(np.arange(7.0), np.arange(7.0)))
        corners = draw.integers(0, 13, (8, 2)) / 2 - 3
        area = shapely.convex_hull(shapely.MultiPoint(corners)) - shapely.box(-0.5, -0.5, 0.25, 0.75)
        assert area.geom_type == "Polygon"
        far = np.array([450_000.0, 6_200_000.0]) * bool(seed % 2)
        place = np.array([x - 3, y - 3]).T @ matrix.T + far
        net = net_of(Ground(*place.T, draw.normal(0, 0.03, 49)), shapely.transform(area, lambda one: one @ matrix.T + far))
        ends = net.places[net.border]
        assert np.hypot(*(ends[:, 1] - ends[:, 0]).T).sum() == pytest.approx(area.length, abs=1e-6)
        assert net.plan.sum() == pytest.approx(area.area, abs=1e-7)
        if not turn:  # nothing lies beside a line by its last digits, so that Euler's count holds
            assert len(net.places) - len(net.edges) + len(net.triangles) == 1 - len(area.interiors)

    def test_corners_cut_from_two_sides_are_one(self) -> None:
        """The area's corners stand on sides of triangles, where the last digits of the two cuts differ."""
        for seed in range(20):
            ground, draw = hilly(seed), np.random.default_rng(seed)
            ends = np.stack([ground.x, ground.y], axis=1)[draw.choice(ground.triangles, 6)[:, :2]]
            share = draw.uniform(0.1, 0.9, (6, 1))
            net = net_of(ground, shapely.convex_hull(shapely.MultiPoint(ends[:, 0] * share + ends[:, 1] * (1 - share))))
            assert pdist(net.places).min() > 1e-7

    def test_a_side_with_a_corner_of_the_next_triangle_in_it_is_no_border(self) -> None:
        """One triangle on two that meet in the middle of its side: only the four outer sides are left."""
        places = np.array([(0, 0), (2, 0), (1, 0), (1, 1), (1, -1)], dtype=float)
        single = np.array([(0, 1), (0, 3), (1, 3), (0, 2), (1, 2), (0, 4), (1, 4)])
        assert _border(places, single).tolist() == [[0, 3], [0, 4], [1, 3], [1, 4]]


class TestRoundSolids:
    """Twice as many spots along each way bring the volume four times as near to the round solid."""

    @pytest.mark.parametrize(("rings", "shape", "volume"), [
        (1, lambda share: 0.08 * (share - 1), np.pi * 4 * 0.08 / 3),  # cone
        (4, lambda share: 0.08 * (share**2 - 1), np.pi * 4 * 0.08 / 2),  # paraboloid
    ], ids=["cone", "bowl"])
    def test_more_spots_come_nearer(self, rings: int, shape: Callable[[Any], Any], volume: float) -> None:
        errors = []
        for times in (1, 2, 4, 8):
            found = ponding(ringed(8 * times, rings * times if rings > 1 else 1, shape), shapely.box(-4, -4, 4, 4))
            assert found.depth == pytest.approx(0.08, abs=1e-12)
            errors.append(volume - found.volume)
        ratios = np.array(errors[:-1]) / errors[1:]
        assert (np.abs(ratios - 4) < 0.4).all()
        assert 0 < errors[-1] < 0.004 * volume

    def test_the_cone_is_a_pyramid_on_a_polygon(self) -> None:
        found = ponding(ringed(12, 1, lambda share: 0.08 * (share - 1)), shapely.box(-4, -4, 4, 4))
        assert found.volume == pytest.approx(0.08 / 3 * 12 * 4 / 2 * np.sin(np.pi / 6), abs=1e-12)


class TestElsewhere:
    @steady
    @given(st.integers(0, 10**6), st.floats(0, 2 * np.pi), st.booleans())
    def test_turned_and_mirrored(self, seed: int, turn: float, mirror: bool) -> None:
        ground = hilly(seed)
        matrix = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]]) @ np.diag([1, -1 if mirror else 1])
        moved = Ground(*(matrix @ [ground.x, ground.y]), ground.level)
        walls = np.array([((1, 1), (9, 0.5)), ((9, 0.5), (8, 9)), ((0.5, 8), (1, 1))], dtype=float)
        outlet = np.array([3.0, 3.0])
        there = ponding(moved, shapely.transform(BENT, lambda places: places @ matrix.T), walls=walls @ matrix.T,
                        outlets=[matrix @ outlet])
        here = ponding(ground, BENT, walls=walls, outlets=[outlet])
        assert figures(there) == pytest.approx(figures(here), abs=1e-9)
        assert of_basins(there) == pytest.approx(of_basins(here), abs=1e-9)

    @steady
    @given(st.integers(0, 10**6))
    def test_on_a_national_grid(self, seed: int) -> None:
        shift, height = np.array([450_000.0, 6_200_000.0]), 1234.5
        ground, walls = hilly(seed), np.array([((1, 1), (9, 0.5)), ((9, 0.5), (8, 9))], dtype=float)
        there = ponding(Ground(ground.x + shift[0], ground.y + shift[1], ground.level + height),
                        shapely.transform(BENT, lambda places: places + shift), walls=walls + shift, outlets=[shift + 3])
        here = ponding(ground, BENT, walls=walls, outlets=[(3, 3)])
        assert figures(there) == pytest.approx(figures(here), abs=1e-7)
        assert of_basins(there) == pytest.approx(of_basins(here) + [height, 0, 0, 0] * bool(here.basins), abs=1e-7)
        for one, two in zip(here.basins, there.basins, strict=True):
            assert np.array(two.place) - shift == pytest.approx(np.array(one.place), abs=1e-6)

    @steady
    @given(st.integers(0, 10**6), st.floats(0.1, 10))
    def test_higher_levels_hold_more_in_proportion(self, seed: int, times: float) -> None:
        ground = hilly(seed)
        one, two = ponding(ground, BENT), ponding(ground.with_levels(times * ground.level), BENT)
        assert figures(two) == pytest.approx((times * one.depth, one.area, times * one.volume), abs=1e-9)

    @steady
    @given(st.integers(0, 10**6))
    def test_more_drains_leave_no_more_water(self, seed: int) -> None:
        ground = hilly(seed)
        volumes = [ponding(ground, SQUARE, **given_).volume for given_ in (  # type: ignore[arg-type]
            {"walls": SIDES[:3]}, {"walls": SIDES[:2]}, {}, {"outlets": [(5, 5)]}, {"outlets": [(5, 5), ((2, 2), (8, 3))]})]
        assert (np.diff(volumes) <= 1e-12).all()

    def test_the_same_twice(self) -> None:
        one, two = ponding(hilly(8), BENT), ponding(hilly(8), BENT)
        assert figures(one) == figures(two)
        assert [basin.path.tolist() for basin in one.basins] == [basin.path.tolist() for basin in two.basins]


class TestPaths:
    @steady
    @given(st.integers(0, 10**6))
    def test_it_runs_over_at_its_level_and_then_no_higher(self, seed: int) -> None:
        ground = hilly(seed)
        for basin in ponding(ground, BENT, walls=[((1, 1), (9, 0.5))], outlets=[(3, 3)]).basins:
            levels = ground.level_at(*basin.path.T)
            assert levels.max() == pytest.approx(basin.level, abs=1e-9)
            assert ground.level_at(*basin.spill) == pytest.approx(basin.level, abs=1e-9)
            assert ground.level_at(*basin.place) == pytest.approx(basin.level - basin.depth, abs=1e-9)
            assert basin.path[0] == pytest.approx(basin.place)
            end = shapely.Point(basin.path[-1])
            assert min(BENT.boundary.distance(end), end.distance(shapely.Point(3, 3))) < 1e-6


class TestReruns:
    def test_run_by_run(self) -> None:
        """Each run is that of a new ground, triangulated and cut anew."""
        ground, draw = hilly(6), np.random.default_rng(2)
        levels = ground.level + draw.normal(0, 0.01, (40, len(ground.x)))
        given_ = {"walls": [((1, 1), (9, 0.5))], "outlets": [(3, 3), ((7, 5), (8, 7))]}
        runs = ponding(ground, BENT, **given_).again(levels)  # type: ignore[arg-type]
        x, y = draw.uniform(1, 9, (2, 300))
        held = runs.ponding.covers(x, y)
        alone = [ponding(Ground(ground.x, ground.y, row), BENT, **given_) for row in levels]  # type: ignore[arg-type]
        for got, wanted in ((runs.depth, [one.depth for one in alone]), (runs.area, [one.area for one in alone]),
                            (runs.volume, [one.volume for one in alone]),
                            (runs.widest, [max(basin.area for basin in one.basins) for one in alone])):
            assert got == pytest.approx(np.array(wanted), abs=1e-9)
        deeper = np.mean([one.depth_at(x[held], y[held]) > 0.008 for one in alone], axis=0)
        assert 0 < deeper.mean() < 1
        assert runs.chance(x[held], y[held], 0.008) == pytest.approx(deeper, abs=1e-12)
        assert runs.chance_deeper(0.05) == np.mean([one.depth > 0.05 for one in alone])
        assert runs.chance_wider(3.0) == np.mean([max(basin.area for basin in one.basins) > 3.0 for one in alone])

    def test_what_is_certain_and_what_is_impossible(self) -> None:
        """A pit of 100 mm in a plate, with levels 1 mm out; and a plane that falls 1:40 away."""
        draw = np.random.default_rng(4)
        x, y = np.array([0, 6, 6, 0, 2, 4, 4, 2, 3]), np.array([0, 0, 6, 6, 2, 2, 4, 4, 3])
        pit = Ground(x, y, -0.1 * (np.arange(9) == 8))
        runs = ponding(pit, shapely.box(0, 0, 6, 6)).again(pit.level + draw.normal(0, 0.001, (50, 9)))
        assert (runs.chance(3, 3, 0.09), runs.chance(3, 3, 0.12), runs.chance(0.5, 3, 0.02)) == (1.0, 0.0, 0.0)
        assert isinstance(runs.chance(3, 3, 0.09), float)
        assert runs.chance([[3.0, 0.5]], [[3.0, 0.5]], 0.05).tolist() == [[1.0, 0.0]]
        assert (runs.chance_deeper(0.09), runs.chance_deeper(0.12), runs.chance_wider(3), runs.chance_wider(36)) == (1, 0, 1, 0)
        away = Ground(x, y, -y / 40)
        dry = ponding(away, shapely.box(0, 0, 6, 6), walls=[((0, 0), (6, 0))]).again(away.level + draw.normal(0, 0.001, (50, 9)))
        assert (dry.chance_deeper(0.0), dry.area.max(), dry.chance(3, 3, 0)) == (0.0, 0.0, 0.0)

    def test_the_ground_itself_as_one_run(self) -> None:
        ground = hilly(11)
        found = ponding(ground, BENT)
        runs = found.again([ground.level])
        assert (runs.depth[0], runs.area[0], runs.volume[0]) == figures(found)
        assert runs.widest[0] == max(basin.area for basin in found.basins)

    @pytest.mark.parametrize("levels", [np.zeros(29), np.zeros((3, 28)), np.zeros((0, 29)), [["high"] * 29], [[np.nan] * 29], 3.0,
                                        [[0.0] * 29, [0.0]]])
    def test_levels_that_are_none(self, levels: Any) -> None:
        with pytest.raises(SurveyError, match=r"(?i)level"):
            ponding(hilly(0), SQUARE).again(levels)

    @pytest.mark.parametrize("depth", [-0.001, np.nan, "deep", None])
    def test_depths_that_are_none(self, depth: Any) -> None:
        runs = ponding(hilly(0), SQUARE).again([hilly(0).level])
        for ask in (lambda: runs.chance(5, 5, depth), lambda: runs.chance_deeper(depth), lambda: runs.chance_wider(depth)):
            with pytest.raises(SurveyError, match="nought or more"):
                ask()
        with pytest.raises(SurveyError, match="outside"):
            runs.chance(11, 5, 0.01)


class TestSpeed:
    def test_ten_thousand_spots_within_a_second(self) -> None:
        draw = np.random.default_rng(1)
        x, y = draw.uniform(0, 100, (2, 10_000))
        ground = Ground(x, y, draw.normal(0, 0.02, 10_000))
        start = time.process_time()
        found = ponding(ground, shapely.box(1, 1, 99, 99))
        assert time.process_time() - start < 1.0
        assert len(found.basins) > 100

    def test_two_hundred_runs_with_three_maps_within_five_seconds(self) -> None:
        draw = np.random.default_rng(1)
        ground = hilly(1, 96)
        found = ponding(ground, SQUARE, walls=SIDES[:1])
        x, y = np.meshgrid(*[np.linspace(0.1, 9.9, 40)] * 2)
        start = time.process_time()
        runs = found.again(ground.level + draw.normal(0, 0.005, (200, 100)))
        maps = [runs.chance(x, y, depth) for depth in (0.002, 0.005, 0.010)]
        assert time.process_time() - start < 5.0
        assert maps[0].mean() > maps[1].mean() > maps[2].mean() > 0
