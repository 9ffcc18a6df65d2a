"""Ground cut along outlines: the parts cover what ground and outline have in common, by shapely's own sum."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
import shapely

from sitelevels import Ground, SurveyError
from sitelevels.surface.pieces import MANY_SIDES, _clipped, cut_pieces

YARD = shapely.box(2, 2, 8, 6)


def rough(seed: int) -> Ground:
    x, y = np.random.default_rng(seed).uniform(0, 10, (2, 120))
    return Ground(x, y, 10 - x / 60 + np.random.default_rng(seed).normal(0, 0.005, 120))


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("area", [
    YARD, shapely.Polygon([(1, 1), (9, 1), (9, 9), (5, 3), (1, 9)]), YARD.difference(shapely.Point(5, 4).buffer(1.0)),
    shapely.Point(5, 5).buffer(3, quad_segs=MANY_SIDES), shapely.box(-5, -5, 20, 20), shapely.box(5, 5, 5.001, 5.001)],
    ids=["yard", "notch", "hole", "round", "all of it", "in one triangle"])
def test_the_pieces_cover_what_ground_and_area_have_in_common(seed: int, area: shapely.Polygon) -> None:
    ground = rough(seed)
    pieces = cut_pieces(ground, [area])
    assert pieces.plan.sum() == pytest.approx(shapely.Polygon(ground.hull).intersection(area).area, rel=1e-9)
    proper = np.isin(pieces.triangle, ground.proper)  # a sliver along the hull gives no level to a place
    middle = pieces.corners[proper].mean(axis=1)
    assert pieces.level[proper].mean(axis=1) == pytest.approx(ground.level_at(*middle.T), abs=1e-9)


def test_every_part_of_a_shape_in_parts_is_kept() -> None:
    """An outline that crosses itself by its last digits may come apart once it is brought onto a grid."""
    places = np.array([(0, 0), (10, 0), (10, 10), (0, 10)], dtype=float)
    triangles = places[[[0, 1, 2], [0, 2, 3]]]
    shape: Any = shapely.MultiPolygon([shapely.box(1, 1, 2, 3), shapely.box(6, 5, 9, 9)])
    parts, of = _clipped(triangles, shape)
    assert shapely.area(shapely.polygons(parts)).sum() == pytest.approx(2 + 12, rel=1e-12)
    assert set(of) == {0, 1}


def test_ground_beside_the_area_is_refused() -> None:
    with pytest.raises(SurveyError, match="All spots lie outside the area"):
        cut_pieces(rough(0), [shapely.box(50, 50, 60, 60)])
