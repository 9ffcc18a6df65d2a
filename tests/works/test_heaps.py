"""Heaps and what of the dig they hang on: the strip, fill under the layers, footings by layer, thicknesses between spots."""

from __future__ import annotations

import warnings
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
import shapely

from sitelevels import Brief, Finish, Ground, Layer, Plane, SurveyWarning
from sitelevels.design.layers import Footing, Underside
from sitelevels.works.dig import Dig, dig_out
from sitelevels.works.heaps import BARROW, Carrier, Heap
from sitelevels.works.materials import Materials, materials

YARD = [(0, 0), (4, 0), (4, 3), (0, 3)]  # 12 m²
GROUND = Ground([-2, 6, 6, -2], [-2, -2, 5, 5], [10.0] * 4)
SLAB, BED, BASE = Layer("slab", 0.05), Layer("bed", 0.03), Layer("base", 0.10)
ROOM = [(0, 0), (6, 0), (6, 4), (0, 4)]  # 24 m²
KN = 1000 / 9.81
OVER = "dug soil over the strip"
STRIP = 0.5  # m: 5 × 4 m are dug, 8 m² of them past the edges


def yard(*layers: Layer, finish: float = 9.95, ground: Ground = GROUND, **brief: Any) -> Dig:
    """Ground at 10.000, finished surface at 9.950, formation of the usual layers at 9.770; no margin unless said."""
    told = Brief(YARD, **{"layers": layers or (SLAB, BED, BASE), "beyond_edge": 0.0} | brief)
    return dig_out(ground, Finish.plane(Plane(finish, 0, 0), YARD), told)


def room(floor: Any, tops: dict[float, Any] | None = None, plane: Plane | None = None, spots: Any = None) -> Dig:
    """24 m² of ground at 10.000, finished level with it; one layer of 200 mm, so the formation is 9.800."""
    ground = Ground(*(spots or ([0, 6, 6, 0], [0, 0, 4, 4], [10.0] * 4)))
    footings = [Footing(f"top at {top}", shape, top) for top, shape in (tops or {}).items()]
    brief = Brief(ROOM, layers=[Layer("slab", 0.20)], beyond_edge=0.0, underside=floor and Underside(floor), footings=footings)
    return dig_out(ground, Finish.plane(plane or Plane(10.0, 0, 0), ROOM), brief)


def about(*numbers: float) -> Any:
    return pytest.approx(numbers, rel=1e-8, abs=1e-8)


def names(found: Materials) -> list[tuple[str, str]]:
    return [(heap.done, heap.what) for heap in found.heaps]


def in_place(found: Materials, what: str) -> float:
    """All that is bought under a name, likely, m³."""
    return sum(heap.in_place.likely for heap in found.heaps if (heap.done, heap.what) == ("buy", what))


CORNERS = [(0, 0, 0.1), (6, 0, 0.1), (6, 4, 0.1), (0, 4, 0.1)]


class TestThickness:
    def test_thicker_in_the_middle_between_spots(self) -> None:
        """Four triangles of 6 m², each with a mean of (0.1 + 0.1 + 0.2) / 3; to the formation 200 mm lower the rest is soil."""
        dig = room([*CORNERS, (3, 2, 0.2)])
        assert (dig.concrete, dig.soil, dig.fill) == about(3.2, 4.8 - 3.2, 0.0)

    def test_a_spot_read_there_changes_nothing(self) -> None:
        read = room([*CORNERS, (3, 2, 0.2)], spots=([0, 6, 6, 0, 3], [0, 0, 4, 4, 2], [10.0] * 5))
        assert (read.concrete, read.soil) == about(3.2, 1.6)

    def test_nor_does_ground_that_slopes(self) -> None:
        slope = ([0, 6, 6, 0], [0, 0, 4, 4], [10.0, 10.3, 10.34, 10.04])
        dig = room([*CORNERS, (3, 2, 0.2)], spots=slope, plane=Plane(10.0, 0.05, 0.01))
        assert (dig.concrete, dig.soil) == about(3.2, 1.6)

    def test_off_the_middle(self) -> None:
        """At (2, 1): triangles on the four sides of 3, 8, 9 and 4 m², as their heights 1, 4, 3, 2 say, or less by the diagonal:
        whichever way that runs, the place lies in one of two triangles of 12 m², which alone is thicker: 12 × 0.1 / 3 more.
        """
        assert room([*CORNERS, (2, 1, 0.2)]).concrete == pytest.approx(2.4 + 0.4, abs=1e-8)

    def test_thicker_than_the_dig_there(self) -> None:
        """400 mm in the middle: 24 × 0.6 / 3. Thickness and depth are linear from a side (100) to the middle (400): 200 mm are
        passed a third of the way, so fill is a pyramid of 200 mm over (2/3)² of the area and soil 4.8 less what is left."""
        dig = room([*CORNERS, (3, 2, 0.4)])
        fill = 24 * (2 / 3)**2 * 0.2 / 3
        assert (dig.concrete, dig.fill, dig.soil) == about(4.8, fill, 4.8 - (4.8 - fill))


class TestFootingInAFloor:
    """A footing of 6 × 2 m under a floor of 300 mm: underside 9.700, formation 9.800."""

    HALF = shapely.box(0, 0, 6, 2)

    @pytest.mark.parametrize(("top", "concrete", "fill", "displaced"), [
        (9.65, 7.2, 2.4, 0.0), (9.70, 7.2, 2.4, 0.0), (9.75, 6.6, 1.8, 0.0), (9.80, 6.0, 1.2, 0.0), (9.90, 4.8, 1.2, 1.2),
        (10.0, 3.6, 1.2, 2.4), (10.1, 3.6, 1.2, 2.4)])
    def test_wherever_its_top_is(self, top: float, concrete: float, fill: float, displaced: float) -> None:
        """Over it 12 m² are broken out down to its top, or to the underside where that is higher, and filled from there.

        What stands above the finished surface takes nothing from a layer.
        """
        dig = room(0.3, {top: self.HALF})
        assert (dig.concrete, dig.soil, dig.fill, dig.displaced) == about(concrete, 0.0, fill, displaced)
        assert dig.deepest == pytest.approx(0.3, abs=1e-8)

    def test_each_part_has_its_own_fill(self) -> None:
        dig = room(0.3, {9.75: self.HALF})
        assert {part.what: part.fill for part in dig.parts} == {"old floor": pytest.approx(1.2, abs=1e-8),
                                                                "old floor over a footing": pytest.approx(0.6, abs=1e-8)}
        assert dig.table["fill"].tolist() == pytest.approx([part.fill for part in dig.parts], abs=1e-12)
        assert dig.fill == pytest.approx(sum(part.fill for part in dig.parts), abs=1e-12)

    def test_of_two_the_higher_counts(self) -> None:
        """9.75 over 12 m², 9.78 over the 6 m² of them from x = 3 on: 50 and 20 mm to fill, 100 elsewhere."""
        dig = room(0.3, {9.75: self.HALF, 9.78: shapely.box(3, 0, 6, 2)})
        assert (dig.concrete, dig.fill) == about(12 * 0.3 + 6 * 0.25 + 6 * 0.22, 12 * 0.1 + 6 * 0.05 + 6 * 0.02)

    @pytest.mark.parametrize(("slope", "floor", "top"), [
        ((0.02, 0.0), 0.30, 9.75), ((0.03, -0.02), 0.20, 9.78), ((-0.05, 0.04), 0.15, 9.85), ((0.06, 0.03), 0.25, 9.80)])
    def test_a_sloping_formation_column_by_column(self, slope: tuple[float, float], floor: float, top: float) -> None:
        """The other way: 600 × 400 columns of 1 dm² a piece, each dug to max(top, min(formation, underside))."""
        plane = Plane(10.0, *slope, (3.0, 2.0))
        dig = room(floor, {top: self.HALF}, plane, ([0, 6, 6, 0], [0, 0, 4, 4], [10.0, 10.06, 10.02, 9.96]))
        x, y = np.meshgrid(np.arange(600) / 100 + 0.005, np.arange(400) / 100 + 0.005)
        today, formation = 10.0 + 0.01 * x - 0.01 * y, 9.8 + slope[0] * (x - 3) + slope[1] * (y - 2)
        least = np.where(y < 2, top, -np.inf)
        under, bottom = np.maximum(today - floor, least), np.maximum(least, np.minimum(formation, today - floor))
        columns = (np.maximum(today - under, 0), np.maximum(np.minimum(under, today) - bottom, 0),
                   np.maximum(formation - np.maximum(bottom, 0), 0))
        assert (dig.concrete, dig.soil, dig.fill) == pytest.approx([1e-4 * float(one.sum()) for one in columns], abs=2e-4)


class TestDisplaced:
    def test_by_height(self) -> None:
        """2 m² that reach 120 mm above the formation at 9.770."""
        dig = yard(footings=[Footing("old", shapely.box(1, 1, 3, 2), 9.89)])
        assert dig.displaced == pytest.approx(0.24, abs=1e-8)
        bands = [dig.displaced_between(*one) for one in ((0, 0.1), (0.1, 0.13), (0.13, 0.18), (0.05, 0.06), (0, 9))]
        assert bands == pytest.approx([0.2, 0.04, 0.0, 0.02, 0.24], abs=1e-8)

    def test_under_a_sloping_formation(self) -> None:
        """Formation 9.77 + 0.05 (x − 2), top 9.77: a wedge over 1 m, 50 mm high at one end; above 25 mm half as long and high."""
        dig = dig_out(GROUND, Finish.plane(Plane(9.95, 0.05, 0.0, (2.0, 0.0)), YARD), Brief(
            YARD, layers=(SLAB, BED, BASE), beyond_edge=0.0, footings=[Footing("old", shapely.box(1, 1, 3, 2), 9.77)]))
        assert (dig.displaced, dig.displaced_between(0.025, 1.0)) == about(0.025, 0.025 / 4)


class TestFootingsByLayer:
    @pytest.mark.parametrize(("top", "base", "bed", "slab"), [
        (9.77, 1.2, 0.36, 0.6), (9.81, 1.2 - 0.08, 0.36, 0.6), (9.89, 1.0, 0.36 - 0.04, 0.6), (9.92, 1.0, 0.30, 0.6 - 0.04),
        (9.95, 1.0, 0.30, 0.5), (10.2, 1.0, 0.30, 0.5)])
    def test_each_layer_loses_what_stands_in_it(self, top: float, base: float, bed: float, slab: float) -> None:
        """2 m²; the base lies from 9.770 to 9.870, the bed up to 9.900, the slabs up to 9.950."""
        found = materials(yard(footings=[Footing("old", shapely.box(1, 1, 3, 2), top)]))
        assert [in_place(found, name) for name in ("base", "bed", "slab")] == about(base, bed, slab)

    def test_in_the_strip_only_the_base_loses(self) -> None:
        """1.5 m² beside the paving, 120 mm above the formation: there is neither bed nor slab over the strip."""
        found = materials(yard(beyond_edge=STRIP, footings=[Footing("old", shapely.box(4, 0, 4.5, 3), 9.89)]))
        assert [in_place(found, name) for name in ("base", "bed", "slab")] == about(2.0 - 0.15, 0.36, 0.6)

    def test_one_layer_laid_twice(self) -> None:
        """The lower loses 2 m² × 100 mm, the upper × 20."""
        base = Layer("base", 0.10, kind="compacted")
        found = materials(yard(SLAB, base, base, footings=[Footing("old", shapely.box(1, 1, 3, 2), 9.82)]))  # formation 9.700
        assert in_place(found, "base") == pytest.approx(2.4 - 0.2 - 0.04, abs=1e-8)


class TestStrip:
    def soil(self, found: Materials) -> tuple[Heap, Heap]:
        return found.heap("take away", "dug soil"), found.heap("goes back", OVER)

    def test_by_hand(self) -> None:
        """230 mm are dug over 8 m²: 1.84 m³, of which the base takes 0.80."""
        dig = yard(beyond_edge=STRIP)
        found = materials(dig, soil="clay")
        away, back = self.soil(found)
        assert (dig.strip_area, dig.strip_dug) == about(8.0, 1.84)
        assert back.in_place.values == about(1.04, 1.04, 1.04)
        assert back.loose.values == about(1.04 * 1.3, 1.04 * 1.4, 1.04 * 1.6)
        assert back.mass.values == about(1.04 * 1500, 1.04 * 1602, 1.04 * 1900)
        assert away.in_place.likely == pytest.approx(12 * 0.23 + 8 * 0.10, abs=1e-8)  # the yard, and what makes room for the base
        assert found.away(Carrier("cart", 1.0)) == (5, 5, 6)  # 3.56 m³ × 1.3, 1.4, 1.6: what goes back is not carted
        assert "take away" in found.table.set_index("what")["done"]["dug soil"]

    def test_two_compacted_layers_take_their_part(self) -> None:
        """50 mm deeper, all of it taken by the second."""
        found = materials(yard(SLAB, BED, BASE, Layer("capping", 0.05), beyond_edge=STRIP))
        assert self.soil(found)[1].in_place.likely == pytest.approx(1.04, abs=1e-8)

    def test_where_the_spots_end_it_is_the_same(self) -> None:
        dig = yard(beyond_edge=STRIP, ground=Ground([0, 4, 4, 0], [0, 0, 3, 3], [10.0] * 4))
        assert dig.carried.soil == pytest.approx(1.84, abs=1e-6)
        assert dig.strip_dug == pytest.approx(1.84, abs=1e-6)
        assert self.soil(materials(dig))[1].in_place.likely == pytest.approx(1.04, abs=1e-6)

    def test_concrete_over_it_is_replaced_with_soil(self) -> None:
        """100 mm of floor over all 20 m², 130 mm of soil under it: the hole is as big."""
        dig = yard(beyond_edge=STRIP, underside=Underside(0.1, shapely.box(-1, -1, 5, 4)))
        away, back = self.soil(materials(dig))
        assert dig.strip_dug == pytest.approx(1.84, abs=1e-8)
        assert (back.in_place.likely, away.in_place.likely) == about(1.04, 2.6 - 1.04)

    def test_no_more_than_there_is(self) -> None:
        """200 mm of floor leave 30 mm of soil, 0.60 m³: all of it goes back, and none is taken away."""
        found = materials(yard(beyond_edge=STRIP, underside=Underside(0.2, shapely.box(-1, -1, 5, 4))), soil="clay")
        assert found.heap("goes back", OVER).in_place.likely == pytest.approx(0.6, abs=1e-8)
        assert ("take away", "dug soil") not in names(found)
        assert [line for line in found.sources if line.startswith("clay, bulking")]
        assert [line for line in found.sources if line.startswith("dug soil, density")]

    @pytest.mark.parametrize(("finish", "strip_dug"), [(10.08, 8 * 0.10), (10.10, 8 * 0.08), (10.28, -8 * 0.10)])
    def test_none_where_the_base_takes_it_all(self, finish: float, strip_dug: float) -> None:
        dig = yard(finish=finish, beyond_edge=STRIP)
        assert dig.strip_dug == pytest.approx(strip_dug, abs=1e-8)
        assert ("goes back", OVER) not in names(materials(dig))

    def test_no_strip_no_heap(self) -> None:
        assert ("goes back", OVER) not in names(materials(yard()))
        assert yard().strip_dug == 0

    def test_beside_a_footing_as_much_goes_back(self) -> None:
        """It stands 40 mm into the base over 1.5 m²: less is dug there, and the base takes as much less."""
        dig = yard(beyond_edge=STRIP, footings=[Footing("old", shapely.box(4, 0, 4.5, 3), 9.81)])
        assert dig.strip_dug == pytest.approx(1.84 - 0.06, abs=1e-8)
        assert self.soil(materials(dig))[1].in_place.likely == pytest.approx(1.04, abs=1e-8)


class TestFill:
    def test_without_a_base_it_is_stone(self) -> None:
        """One layer of 180 mm cast in place; finish 10.25, formation 10.07: 0.84 m³."""
        found = materials(yard(Layer("concrete", 0.18, kind="bedding"), finish=10.25))
        stone = found.heap("buy", "stone, as fill under the layers")
        assert stone.in_place.values == about(0.84, 0.84, 0.84)
        assert stone.loose.values == about(0.861 * 1.15, 0.882 * 1.2, 0.924 * 1.5)
        assert stone.mass.values == about(0.861 * 1950, 0.882 * 2100, 0.924 * 2200)
        assert [line for line in found.sources if line.startswith("stone") and "from memory" in line]

    def test_a_lot_of_stone_is_no_thick_layer(self) -> None:
        """Finish 10.40, formation 10.22: 2.64 m³, of which no warning speaks as of metres."""
        with warnings.catch_warnings(record=True) as caught:
            warnings.simplefilter("always")
            found = materials(yard(Layer("concrete", 0.18, kind="bedding"), finish=10.40))
        assert in_place(found, "stone, as fill under the layers") == pytest.approx(2.64, abs=1e-8)
        assert [str(one.message) for one in caught] == []

    def test_over_the_strip_too(self) -> None:
        """100 mm over 20 m²."""
        assert in_place(materials(yard(finish=10.28, beyond_edge=STRIP)), "base, as fill under the layers") == (
            pytest.approx(2.0, abs=1e-7))

    def test_none_where_nothing_is_filled(self) -> None:
        assert not [what for _, what in names(materials(yard())) if "as fill" in what]


class TestReuse:
    def test_what_is_left_to_buy_goes_by_the_same_ends_as_what_goes_back(self) -> None:
        """A base of 20, 30, 40 mm over 12 m² is less than the 1.2 m³ of old concrete make: nothing is left to buy, at no end."""
        found = materials(yard(SLAB, BED, Layer("base", 0.03, tolerance=0.01), underside=Underside(0.1)), reuse=1.0)
        assert found.heap("goes back", "broken concrete").in_place.values == about(0.24, 0.36, 0.48)
        assert found.heap("buy", "base").in_place.values == about(0, 0, 0)
        assert found.heap("take away", "broken concrete").loose.values == about(1.68 - 0.48 * 1.5, 1.8 - 0.36 * 1.2,
                                                                                1.92 - 0.24 * 1.15)

    def test_one_layer_laid_twice_takes_it_once(self) -> None:
        """0.6 m³ solid make 0.75 compacted, which two courses of 1.2 m³ each need no longer."""
        base = Layer("base", 0.10, kind="compacted")
        found = materials(yard(SLAB, base, base, underside=Underside(0.05)), reuse=1.0)
        assert found.heap("goes back", "broken concrete").in_place.likely == pytest.approx(0.75, abs=1e-8)
        assert in_place(found, "base") == pytest.approx(2.4 - 0.75, abs=1e-8)

    def test_it_is_said_where_there_is_no_layer_for_it(self) -> None:
        dig = yard(Layer("concrete", 0.18, kind="bedding"), underside=Underside(0.1))
        with pytest.warns(SurveyWarning, match="None of the broken concrete goes back: no layer is compacted"):
            assert ("goes back", "broken concrete") not in names(materials(dig, reuse=0.5))
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            materials(dig)  # nobody asked
            materials(yard(Layer("concrete", 0.18, kind="bedding")), reuse=0.5)  # there is none
            materials(yard(underside=Underside(0.1)), reuse=0.5)


class TestMoneyAndUnits:
    @pytest.mark.parametrize(("carriers", "bags"), [
        ((BARROW,), (1, 2, 2)), ((Carrier("bulk bag", 0.8, 1400.0),), (1, 1, 1)),
        ((BARROW, Carrier("bulk bag", 0.3, 1400.0)), (2, 2, 3)), ((Carrier("bulk bag", 5.0, 100.0),), (7, 9, 11)),
        ((Carrier("bag", 0.1),), (1, 2, 2))])
    def test_a_price_for_bags_goes_by_the_bag_that_comes(self, carriers: Any, bags: tuple[int, int, int]) -> None:
        """The bed: 0.378, 0.5148, 0.6468 m³ loose and 610, 848, 1083 kg; a usual bag holds half a m³ or 850 kg."""
        cost = materials(yard(SLAB, Layer("bed", 0.03, price=(55, "bulk bag")), BASE), carriers=carriers).heap("buy", "bed").cost
        assert cost is not None
        assert cost.values == tuple(55.0 * one for one in bags)

    def test_units_that_are_laid_out(self) -> None:
        """12 m² are needed, 51 of 0.25 m² are ordered; a second layer of units goes by its area and its waste."""
        layout: Any = SimpleNamespace(order=51, unit=(0.5, 0.5))
        found = materials(yard(SLAB, Layer("old tiles", 0.02), BED, BASE), units=layout)
        slab, tiles = found.heap("buy", "slab"), found.heap("buy", "old tiles")
        assert slab.in_place.values == about(0.6, 0.6, 0.6)
        assert slab.loose.values == about(0.6375, 0.6375, 0.6375)
        assert slab.mass.values == about(0.6375 * 24 * KN, 0.6375 * 24 * KN, 0.6375 * 25 * KN)
        assert (slab.pieces, tiles.pieces) == (51, None)
        assert slab.area is not None
        assert tiles.area is not None
        assert slab.area.values == about(12.75, 12.75, 12.75)
        assert tiles.area.values == about(13.2, 13.2, 13.8)
        assert tiles.loose.values == about(0.264, 0.264, 0.276)


class TestSources:
    def test_of_what_was_used(self) -> None:
        """One line for each usual range: the two old things, three layers; units have no loosening of their own."""
        said = materials(yard(underside=Underside(0.1)), soil="clay").sources
        due = ["broken concrete, bulking 40% to 60%", "clay, bulking 30% to 60%", "broken concrete, density",
               "dug soil, density", "slab, tolerance", "slab, density", "slab, waste 10% to 15%", "bed, tolerance 5 mm",
               "bed, loose 1.2 to 1.4 m³ fetched for 1 m³ in place, likeliest 1.3:",
               "bed, density", "bed, waste 5% to 10%", "base, tolerance 20 mm",
               "base, loose 1.15 to 1.5 m³ fetched for 1 m³ in place, likeliest 1.2:", "base, density", "base, waste"]
        assert len(said) == len(due)
        for line, start in zip(said, due, strict=True):
            assert line.startswith(start)

    def test_half_per_cents_are_not_lost(self) -> None:
        (line,) = [line for line in materials(yard()).sources if line.startswith("base, waste")]
        assert "2.5" in line

    def test_figures_are_rounded_and_have_their_unit(self) -> None:
        """EN 1991-1-1, Annex A: concrete weighs 24 to 25 kN/m³, by 9.81 m/s² 2446.5 to 2548.4 kg/m³."""
        (line,) = [line for line in materials(yard()).sources if line.startswith("slab, density")]
        assert line.startswith("slab, density 2450 to 2550 kg/m³: EN 1991-1-1")

    def test_what_was_told_has_none(self) -> None:
        base = Layer("base", 0.10, tolerance=0.01, loose=1.3, density=2000, waste=0.01)
        said = "\n".join(materials(yard(SLAB, BED, base), bulking=0.3, density=1700).sources)
        assert "soil" not in said
        assert "base" not in said
        assert "concrete, " not in said

    def test_waste_of_units_that_are_laid_out(self) -> None:
        layout: Any = SimpleNamespace(order=51, unit=(0.5, 0.5))
        assert not [line for line in materials(yard(), units=layout).sources if line.startswith("slab, waste")]
        assert [line for line in materials(yard()).sources if line.startswith("slab, waste")]

    @pytest.mark.parametrize(("mix", "source"), [((1, 4), "from memory"), ((1, 2, 4), "estimating examples (India)")])
    def test_of_a_mix(self, mix: tuple[float, ...], source: str) -> None:
        said = materials(yard(SLAB, Layer("bed", 0.03, mix=mix), BASE)).sources
        assert [line for line in said if line.startswith("bed, densities of cement and sand") and "EN 1991-1-1" in line]
        assert [line for line in said if line.startswith("bed, loose") and source in line]
        assert not [line for line in said if line.startswith("bed, density")]
