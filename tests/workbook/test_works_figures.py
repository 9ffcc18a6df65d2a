"""Pictures of units and of where rain goes, read back from what was drawn and held against hand-worked yards."""

import re
from itertools import combinations
from typing import Any

import matplotlib.pyplot as plt
import numpy as np
import pytest
import shapely
from matplotlib.axes import Axes
from matplotlib.collections import PathCollection
from matplotlib.patches import PathPatch

from sitelevels import Brief, Finish, Layer, Plane, Wall, catchments, lay_out_units
from sitelevels.workbook import figures

AREA = [(0, 0), (1.83, 0), (1.83, 1.15), (0, 1.15)]  # 4 slabs of 450 with joints of 10; 2 rows and 230 mm


@pytest.fixture(autouse=True)
def _closed() -> Any:
    yield
    plt.close("all")


def group(ax: Axes, name: str) -> int:
    return sum(len(one.get_paths()) for one in ax.findobj(PathCollection) if one.get_gid() == name)


def words(ax: Axes) -> list[str]:
    return [text.get_text() for text in ax.texts]


def area_of(patch: PathPatch) -> float:
    return sum(shapely.Polygon(ring).area for ring in patch.get_path().to_polygons() if len(ring) > 3)


class TestUnits:
    def test_whole_and_cut_units_are_drawn_apart(self) -> None:
        """Four by two whole, and a row of four cut to 230 mm: 2 × 460 = 920, 1150 − 920 = 230."""
        layout = lay_out_units(AREA, (0.45, 0.45), joint=0.01, bonds=("stack",), start=(0, 0))
        ax = figures.units(layout)
        assert (group(ax, "whole"), group(ax, "cut"), group(ax, "sliver")) == (8, 4, 0)
        assert "450 × 230" in words(ax)
        assert "start" in words(ax)
        assert "8 whole units and 4 cut pieces" in figures.in_words(ax)

    def test_slivers_are_marked_with_their_word(self) -> None:
        """1000 mm deep: 2 × 460 = 920 leaves 80 mm, narrower than a third of 450."""
        area = [(0, 0), (1.83, 0), (1.83, 1.0), (0, 1.0)]
        layout = lay_out_units(area, (0.45, 0.45), joint=0.01, bonds=("stack",), start=(0, 0))
        ax = figures.units(layout)
        assert group(ax, "sliver") == 4
        assert any(one.startswith("sliver 450 × 80") for one in words(ax))
        heavy = next(one for one in ax.findobj(PathCollection) if one.get_gid() == "sliver")
        assert heavy.get_hatch()
        assert float(heavy.get_linewidths()[0]) >= 2

    def test_a_hole_is_drawn_solid(self) -> None:
        post = [(0.8, 0.5), (0.9, 0.5), (0.9, 0.6), (0.8, 0.6)]
        ax = figures.units(lay_out_units(AREA, (0.45, 0.45), joint=0.01, holes=[post], bonds=("stack",)))
        assert any(area_of(one) == pytest.approx(0.01, abs=1e-9) for one in ax.findobj(PathPatch) if one.get_fill())


class TestCatchments:
    """A yard of 6 m by 4 m with the wall along y = 0."""

    BOX = ((0, 0), (6, 0), (6, 4), (0, 4))

    def drawn(self, plane: Plane, **more: Any) -> Axes:
        brief = Brief(self.BOX, walls=[Wall("house", (0, 0), (6, 0), dpc=10.15)], layers=[Layer("slab", 0.04)], **more)
        return figures.catchments(catchments(Finish.plane(plane, self.BOX), brief), brief=brief)

    def test_all_water_over_the_far_edge(self) -> None:
        ax = self.drawn(Plane(10.0, 0.0, -1 / 60))
        assert "1: 24.0 m² over this edge" in words(ax)
        filled = [one for one in ax.findobj(PathPatch) if one.get_fill() and one.get_zorder() == 1]
        assert sum(map(area_of, filled)) == pytest.approx(24.0, abs=1e-4)
        arrows = [text for text in ax.texts if getattr(text, "arrow_patch", None) is not None]
        assert arrows
        for arrow in arrows:
            assert np.subtract(arrow.xy, arrow.xyann) @ np.array([0, 1]) > 0  # downhill, out from the wall

    def test_words_stand_in_their_own_area_or_where_its_water_leaves(self) -> None:
        """1:100 both ways: a triangle of 4 m by 4 m over the right edge, and by it the strip of a gully at x 4.5 y 3.5."""
        from sitelevels import Gully
        plane = Plane(10.0, -1 / 100, -1 / 100)
        ax = self.drawn(plane, demands=[Gully(("G1", 4.5, 3.5, float(plane.level_at(4.5, 3.5)) - 0.005))])
        ax.figure.draw_without_rendering()
        told = {text.get_text()[0]: text for text in ax.texts if ":" in text.get_text()}
        numbers = {text.get_text(): text.xy for text in ax.texts if text.get_text() in told}
        regions = [one for one in ax.findobj(PathPatch) if one.get_fill() and one.get_zorder() == 1]
        assert len(told) == len(regions) == 3
        outside = 0
        for number, text in told.items():
            box = shapely.box(*text.get_window_extent().transformed(ax.transData.inverted()).extents)
            rings = [shapely.Polygon(ring) for ring in regions[int(number) - 1].get_path().to_polygons() if len(ring) > 3]
            if not any(ring.covers(box) for ring in rings):
                outside += 1
                assert text.xy == numbers[number]
        assert outside == 1  # the strip to the gully is too narrow
        boxes = [text.get_window_extent() for text in told.values()]
        assert not any(one.overlaps(two) for one, two in combinations(boxes, 2))

    def test_a_dead_spot_is_marked_by_its_word(self) -> None:
        """Falling to the wall, level along it: nothing leaves."""
        ax = self.drawn(Plane(10.0, 0.0, 1 / 60))
        assert any(one.startswith("1: 24.0 m² stays: dead spot") for one in words(ax))
        assert re.search(r"stays at the .*house", figures.in_words(ax))

    def test_a_fall_along_parts_the_water(self) -> None:
        """1:60 away and 1:120 along: over the right edge goes the triangle of 2 m by 4 m, 4 m²; the rest over the far edge."""
        ax = self.drawn(Plane(10.0, -1 / 120, -1 / 60))
        assert "1: 20.0 m² over this edge" in words(ax)
        assert "2: 4.0 m² over this edge" in words(ax)
