"""Layers, old floors and footings: what is taken as usual, what is refused, and what of a brief hangs on them."""

from __future__ import annotations

import math
import warnings
from typing import Any

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from sitelevels import Brief, Layer, Meet, Range, SurveyError, SurveyWarning, Wall
from sitelevels.design.handbook import BULKING, DENSITIES, range_of
from sitelevels.design.layers import BEYOND_LEAST, KINDS, USUAL, Footing, Underside, placed, room_in

steady = settings(deadline=None, max_examples=60, derandomize=True)
YARD = [(0, 0), (4, 0), (4, 3), (0, 3)]
ODD: list[Any] = [None, "0.1", math.nan, math.inf, -math.inf, -0.1, True, [0.1], {}, 10**400, 1j]


class TestKinds:
    @pytest.mark.parametrize(("count", "kinds"), [
        (0, []), (1, ["units"]), (2, ["units", "compacted"]), (3, ["units", "bedding", "compacted"]),
        (5, ["units", "bedding", "bedding", "bedding", "compacted"])])
    def test_by_the_place(self, count: int, kinds: list[str]) -> None:
        layers = [Layer(f"layer {number}", 0.05) for number in range(count)]
        assert [layer.kind for layer in placed(layers)] == kinds
        assert [layer.kind for layer in Brief(YARD, layers=layers).layers] == kinds

    def test_one_that_is_said_stays(self) -> None:
        said = placed([Layer("slab", 0.1, kind="bedding"), Layer("base", 0.1, kind="bedding"), Layer("sand", 0.2, kind="units")])
        assert [layer.kind for layer in said] == ["bedding", "bedding", "units"]

    @pytest.mark.parametrize(("name", "kind"), [
        ("bed", "bedding"), ("Bedding mortar", "bedding"), ("sharp sand", "bedding"), ("laying course", "bedding"),
        ("SCREED", "bedding"), ("bed of crushed stone", "compacted"), ("sub-base", "compacted"), ("Base 2", "compacted"),
        ("hardcore", "compacted"), ("capping", "compacted"), ("crushed concrete", "compacted"), ("slabs", "units"),
        ("flag", "units"), ("pavers", "units"), ("granite setts", "units"), ("bricks", "units"), ("block paving", "units"),
        ("tiles", "units"), ("bed under the slabs", "bedding")])
    def test_by_the_name_wherever_it_lies(self, name: str, kind: str) -> None:
        """In each of five places, most of which suggest another kind."""
        for place in range(5):
            layers = [Layer(f"layer {number}", 0.05) for number in range(4)]
            layers.insert(place, Layer(name, 0.05))
            assert placed(layers)[place].kind == kind, place

    @pytest.mark.parametrize("name", ["sandstone", "sandy loam", "embedded stone", "basement waste", "tilestone", "mortarless",
                                      "concrete", "unity"])
    def test_part_of_a_word_says_nothing(self, name: str) -> None:
        for place, kind in enumerate(["units", "bedding", "compacted"]):
            layers = [Layer(f"layer {number}", 0.05) for number in range(2)]
            layers.insert(place, Layer(name, 0.05))
            assert placed(layers)[place].kind == kind

    def test_what_is_mixed_is_bedding_wherever_it_lies_and_whatever_its_name(self) -> None:
        mixed = Layer("base", 0.1, mix=(1, 2, 4))
        assert [layer.kind for layer in placed([mixed])] == ["bedding"]
        assert [layer.kind for layer in placed([Layer("top", 0.1), mixed])] == ["units", "bedding"]
        assert placed([Layer("slab", 0.1, kind="compacted", mix=(1, 4))])[0].kind == "compacted"  # said

    def test_units_with_a_mix_are_refused(self) -> None:
        with pytest.raises(SurveyError, match="'bed' is units and has a mix"):
            Layer("bed", 0.05, kind="units", mix=(1, 4))

    def test_what_was_given_outlives_the_placing(self) -> None:
        told = Layer("base", 0.1, loose=1.5, waste=(0, 0.01, 0.02), density=2000, tolerance=0.003, lift=0.08, price=(30, "t"))
        base = placed([Layer("slab", 0.05), told])[1]
        assert (base.loose, base.waste, base.density) == (Range(1.5, 1.5, 1.5), Range(0, 0.01, 0.02), Range(2000, 2000, 2000))
        assert (base.tolerance, base.lift, base.price, base.kind) == (0.003, 0.08, (30.0, "t"), "compacted")

    def test_a_thick_layer_is_warned_of_once(self) -> None:
        with warnings.catch_warnings(record=True) as caught:
            warnings.simplefilter("always")
            Brief(YARD, layers=[Layer("slab", 38)])
        assert [str(one.message).count("millimetres") for one in caught] == [1]


class TestUsual:
    @pytest.mark.parametrize(("kind", "tolerance", "loose", "waste", "lift"), [
        ("units", 0.0, (1, 1, 1), (0.10, 0.10, 0.15), None),
        ("bedding", 0.005, (1.2, 1.3, 1.4), (0.05, 0.10, 0.10), None),
        ("compacted", 0.020, (1.15, 1.2, 1.5), (0.025, 0.05, 0.10), 0.225)])
    def test_by_kind(self, kind: str, tolerance: float, loose: Any, waste: Any, lift: float | None) -> None:
        layer = Layer("one", 0.1, kind=kind)
        assert (layer.tolerance, layer.loose.values, layer.waste.values, layer.lift) == (tolerance, loose, waste, lift)

    @pytest.mark.parametrize(("kind", "unit_weights"), [
        ("units", (24, 24, 25)), ("bedding", (19, 21, 23))])
    def test_densities_come_from_unit_weights(self, kind: str, unit_weights: tuple[float, ...]) -> None:
        """kN/m³ of EN 1991-1-1 by 9.81 m/s²."""
        masses = [one * 1000 / 9.81 for one in unit_weights]
        assert Layer("one", 0.1, kind=kind).density.values == pytest.approx(masses, rel=1e-12)

    def test_compacted_stone_is_from_memory(self) -> None:
        assert Layer("one", 0.1, kind="compacted").density == Range(1950, 2100, 2200)
        assert "from memory" in DENSITIES["crushed stone"].source
        assert "loose fill" in DENSITIES["hardcore"].what

    @pytest.mark.parametrize(("name", "masses"), [
        ("granite", (27_000 / 9.81, 28_500 / 9.81, 30_000 / 9.81)), ("hardcore", (18_500 / 9.81, 19_000 / 9.81, 19_500 / 9.81)),
        ("crushed stone", (1950, 2100, 2200)), ("cement", (1440, 1440, 1440))])
    def test_a_density_may_be_a_name(self, name: str, masses: tuple[float, ...]) -> None:
        assert Layer("sett", 0.1, density=name).density.values == pytest.approx(masses, rel=1e-12)
        assert placed([Layer("sett", 0.1, density=name)])[0].density.values == pytest.approx(masses, rel=1e-12)

    @pytest.mark.parametrize(("mix", "loose", "waste"), [
        ((1, 4), (1.25, 1.33, 1.4), (0.05, 0.10, 0.10)), ((1, 2, 4), (1.54, 1.54, 1.54), (0, 0, 0))])
    @pytest.mark.parametrize("kind", [None, "bedding"])
    def test_the_dry_parts_of_a_mix(self, mix: tuple[float, ...], loose: Any, waste: Any, kind: str | None) -> None:
        (layer,) = placed([Layer("bed", 0.03, mix=mix, kind=kind)])
        assert (layer.loose.values, layer.waste.values, layer.tolerance) == (loose, waste, 0.005)
        (own,) = placed([Layer("bed", 0.03, mix=mix, kind=kind, loose=1.5, waste=0.07)])
        assert (own.loose, own.waste) == (Range(1.5, 1.5, 1.5), Range(0.07, 0.07, 0.07))

    def test_every_range_says_where_it_comes_from(self) -> None:
        for kind in KINDS:
            for one in USUAL[kind].values():
                assert one.source
                assert one.what
        for table in (BULKING, DENSITIES):
            for one in table.values():
                assert one.source
                assert one.range.low > 0

    def test_a_thin_layer_is_as_uneven_as_it_is_thick_and_no_more(self) -> None:
        assert Layer("skim", 0.004, kind="compacted").spread == Range(0.0, 0.004, 0.008)
        assert Layer("base", 0.1, kind="compacted").spread.values == pytest.approx((0.08, 0.10, 0.12), abs=1e-12)
        with pytest.raises(SurveyError, match="tolerance of the layer 'skim' is 5 mm"):
            Layer("skim", 0.004, tolerance=0.005)

    @pytest.mark.parametrize(("thickness", "lift", "lifts"), [
        (0.250, 0.225, 2), (0.225, 0.225, 1), (0.2251, 0.225, 2), (0.450, 0.225, 2), (0.3, 0.1, 3), (0.0, 0.225, 1)])
    def test_lifts(self, thickness: float, lift: float, lifts: int) -> None:
        assert Layer("base", thickness, kind="compacted", lift=lift).lifts == lifts
        assert Layer("base", 0.250, kind="compacted").lifts == 2  # 225 mm in NHBC 10.2.6
        assert Layer("bed", 0.250, kind="bedding").lifts == 1


class TestRefusals:
    @pytest.mark.parametrize("thickness", ODD)
    def test_of_thickness(self, thickness: Any) -> None:
        with pytest.raises(SurveyError, match=r"base.*A thickness is a length in m"):
            Layer("base", thickness)

    def test_a_layer_without_thickness(self) -> None:
        with pytest.raises((SurveyError, TypeError)):
            Layer("base")  # type: ignore[call-arg]

    @pytest.mark.parametrize("name", [5, None, "", "  "])
    def test_of_a_name(self, name: Any) -> None:
        with pytest.raises(SurveyError):
            Layer(name, 0.1)

    @pytest.mark.parametrize("given", [
        {"waste": 1.01}, {"waste": 10}, {"waste": -0.01}, {"waste": (0, 0.5, 1.2)}, {"waste": (0.2, 0.1, 0.3)},
        {"waste": (0.1, 0.2)},
        {"waste": "10 %"}, {"waste": math.nan}, {"waste": (0, 0.5, math.inf)}, {"loose": 0.99}, {"loose": 3.01},
        {"loose": (0.9, 1.2, 1.3)}, {"loose": (1.3, 1.2, 1.4)}, {"loose": True}, {"density": 0}, {"density": -2400},
        {"density": "lead"},
        {"density": 24_000}, {"density": math.inf}, {"tolerance": -0.001}, {"tolerance": 0.051}, {"tolerance": "5"}, {"lift": 0},
        {"lift": -0.1}, {"lift": math.nan}, {"kind": "gravel"}, {"kind": ""}, {"kind": ["units"]}, {"kind": 3},
        {"mix": (1,)}, {"mix": (1, 2, 3, 4)}, {"mix": "1:4"}, {"mix": (1, 0)}, {"mix": (1, -4)}, {"mix": (1, math.nan)},
        {"mix": 4},
        {"mix": {1: 4}}, {"mix": (1, "4")}, {"price": 30}, {"price": (30,)}, {"price": (30, "kg")}, {"price": (-1, "t")},
        {"price": ("30", "t")}, {"price": (30, ["t"])}, {"price": "30"}, {"mix": (1, 4), "price": (3, "t")}], ids=str)
    def test_of_the_rest_names_the_layer(self, given: dict[str, Any]) -> None:
        with pytest.raises(SurveyError) as caught:
            Layer("bed", 0.05, **given)
        assert "bed" in str(caught.value)

    @pytest.mark.parametrize("value", [np.array(1.2), Range, object(), b"12", {1.2, 1.3, 1.4}.__iter__()],
                             ids=lambda value: type(value).__name__)
    def test_odd_ranges_get_a_sentence(self, value: Any) -> None:
        with pytest.raises(SurveyError):
            Layer("bed", 0.05, loose=value)

    @pytest.mark.parametrize("ends", [(3, 2, 1), (1, 2, math.nan), (1, math.nan, 2), (None, 1, 2), ("a", "b", "c"),
                                      (1, 2, math.inf)], ids=str)
    def test_a_range_is_three_numbers_in_order(self, ends: Any) -> None:
        with pytest.raises(SurveyError):
            Range(*ends)

    def test_whole_numbers_and_arrays_will_do(self) -> None:
        assert range_of(np.array([1, 1.2, 1.3]), "it", "") == Range(1.0, 1.2, 1.3)
        assert range_of(np.float32(2), "it", "") == Range(2.0, 2.0, 2.0)

    def test_millimetres_are_questioned(self) -> None:
        with pytest.warns(SurveyWarning, match="Are those millimetres"):
            Layer("slab", 38)
        with pytest.warns(SurveyWarning, match="Are those millimetres"):
            Underside(120)
        with pytest.warns(SurveyWarning, match="Are those millimetres"):
            Brief(YARD, beyond_edge=1.5)
        with pytest.raises(SurveyError, match=r"The dig reaches 150\.00 m past the edge"):
            Brief(YARD, beyond_edge=150)


ENDS = st.lists(st.floats(0, 1e5), min_size=3, max_size=3).map(sorted)


class TestRanges:
    @steady
    @given(ENDS, ENDS)
    def test_sums_and_products_stay_in_order(self, one: list[float], other: list[float]) -> None:
        a, b = Range(*one), Range(*other)
        for found in (a * b, a + b, a * 2.0, a + 2.0):
            assert found.low <= found.likely <= found.high
        assert (a + b).values == (one[0] + other[0], one[1] + other[1], one[2] + other[2])
        assert (a * b).values == (one[0] * other[0], one[1] * other[1], one[2] * other[2])


    @pytest.mark.parametrize("other", ["2", None, [1.0, 2.0], float("nan"), 10**400],
                             ids=["word", "none", "list", "nan", "digits"])
    def test_what_is_no_number_is_refused(self, other: Any) -> None:
        for sum_of in (lambda: Range(1, 2, 3) * other, lambda: Range(1, 2, 3) + other):
            with pytest.raises(SurveyError, match="number, or a Range"):
                sum_of()


class TestRoom:
    def test_the_published_dig_of_150_mm(self) -> None:
        """Common practice, no source: a slab of 38, a bed of 50, 50 to 60 mm of sub-base leave 2 to 12 mm."""
        layers = [Layer("slab", 0.038, tolerance=0), Layer("bed", 0.050, tolerance=0), Layer("sub-base", 0.055, tolerance=0.005)]
        assert room_in(0.150, layers).values == pytest.approx((0.002, 0.007, 0.012), abs=1e-12)

    def test_tolerances_add_up_and_what_is_missing_is_negative(self) -> None:
        layers = placed([Layer("slab", 0.04), Layer("bed", 0.03), Layer("base", 0.10)])
        assert room_in(0.16, layers).values == pytest.approx((-0.035, -0.010, 0.015), abs=1e-12)  # 5 and 20 mm either way
        assert room_in(0.16, []).values == pytest.approx((0.16,) * 3)

    @pytest.mark.parametrize("depth", [one for one in ODD if one != -0.1])
    def test_a_depth_that_is_none(self, depth: Any) -> None:
        with pytest.raises(SurveyError):
            room_in(depth, [])

    @pytest.mark.parametrize("layers", [5, ["slab"], None, Layer("slab", 0.1)], ids=str)
    def test_layers_that_are_none(self, layers: Any) -> None:
        with pytest.raises(SurveyError):
            room_in(0.15, layers)


class TestUnderside:
    @pytest.mark.parametrize("place", [math.nan, math.inf, "here", None], ids=str)
    def test_a_place_that_is_none_has_no_thickness(self, place: object) -> None:
        with pytest.raises(SurveyError, match="position"):
            Underside([(0, 0, 0.10), (4, 0, 0.14)]).thickness_at([1.0, place], [0.0, 0.0])

    def test_uniform(self) -> None:
        assert Underside(0.12).thickness_at([0, 500_000], [3, 180_000]) == pytest.approx([0.12, 0.12], rel=1e-12)
        assert Underside(0.12).spread == Range(0.12, 0.12, 0.12)

    def test_by_the_inverse_square_of_the_distance(self) -> None:
        """From (1, 0) it is 1 m to the first and √10 m to the second: weights 1 and 1/10."""
        floor = Underside([(0, 0, 0.10), (4, 1, 0.21)])
        assert floor.thickness_at([1, 0, 4], [0, 0, 1]) == pytest.approx([(0.10 + 0.021) / 1.1, 0.10, 0.21], abs=1e-9)

    @steady
    @given(st.lists(st.tuples(st.integers(0, 9), st.integers(0, 9), st.floats(0.02, 0.4)), min_size=1, max_size=5,
                    unique_by=lambda one: one[:2]), st.floats(-20, 20), st.floats(-20, 20))
    def test_never_beyond_what_was_measured(self, places: Any, x: float, y: float) -> None:
        floor = Underside(places)
        thick = [place[2] for place in places]
        assert min(thick) - 1e-12 <= floor.thickness_at([x], [y])[0] <= max(thick) + 1e-12
        assert floor.spread.low <= floor.spread.likely <= floor.spread.high
        assert floor.thickness_at([float(places[0][0])], [float(places[0][1])])[0] == pytest.approx(thick[0], abs=1e-9)

    @pytest.mark.parametrize("thickness", [*ODD, 0, 0.0, [], [()], [(1, 2)], [(0, 0, -0.1)], [(0, 0, 0)], [(math.nan, 0, 0.1)],
                                           [("a", 0, 0.1)], ["abc"], [None], np.array(0.1), "abc"], ids=str)
    def test_refusals(self, thickness: Any) -> None:
        with pytest.raises(SurveyError):
            Underside(thickness)

    def test_two_thicknesses_at_one_place_are_refused(self) -> None:
        with pytest.raises(SurveyError):
            Underside([(1, 1, 0.10), (1, 1, 0.20)])

    @pytest.mark.parametrize("area", ["floor", [(0, 0), (1, 1)], [(0, 0), (1, 1), (1, 0), (0, 1)], shapely.Point(0, 0)], ids=str)
    def test_outlines_that_enclose_nothing(self, area: Any) -> None:
        with pytest.raises(SurveyError):
            Underside(0.1, area)
        with pytest.raises(SurveyError):
            Footing("old", area, 9.8)

    @pytest.mark.parametrize("top", ODD[:4] + ODD[6:])
    def test_a_footing_has_a_level_and_a_name(self, top: Any) -> None:
        with pytest.raises(SurveyError, match="old footing"):
            Footing("old footing", YARD, top)  # type: ignore[arg-type]
        with pytest.raises(SurveyError):
            Footing(7, YARD, 9.8)  # type: ignore[arg-type]


class TestBeyondTheEdge:
    @pytest.mark.parametrize(("base", "reach"), [
        ([0.10], 0.150), ([0.15], 0.150), ([0.20], 0.20), ([0.10, 0.12], 0.22), ([], 0.0)])
    def test_the_greater_of_150_mm_and_the_base(self, base: list[float], reach: float) -> None:
        layers = [Layer("slab", 0.05, kind="units"), *(Layer("base", one, kind="compacted") for one in base)]
        assert Brief(YARD, layers=layers).beyond_edge == pytest.approx(reach, abs=1e-12)
        assert BEYOND_LEAST.range.likely == 0.150
        assert "ICPI" in BEYOND_LEAST.source

    @pytest.mark.parametrize("reach", [one for one in ODD if one is not None])
    def test_refusals(self, reach: Any) -> None:
        with pytest.raises(SurveyError, match="It is a length in m"):
            Brief(YARD, beyond_edge=reach)

    @pytest.mark.parametrize("given", [{"underside": 0.1}, {"footings": "ab"}, {"footings": [YARD]}, {"layers": ["slab"]},
                                       {"layers": 5}, {"kept": "ab"}, {"kept": [((0, 0), (9, 9))]}, {"kept": [5]},
                                       {"kept": [((0, 0), (0, 0))]}, {"kept": [((0, 0), (math.nan, 0))]}], ids=str)
    def test_odd_parts_of_a_brief(self, given: dict[str, Any]) -> None:
        with pytest.raises(SurveyError):
            Brief(YARD, **given)


def sides(brief: Brief) -> set[frozenset[tuple[float, float]]]:
    return {frozenset(edge) for edge in brief.bare}


def side(first: tuple[float, float], second: tuple[float, float]) -> frozenset[tuple[float, float]]:
    return frozenset([first, second])


class TestBareSides:
    WALL = Wall("house", (0, 0), (4, 0), dpc=10.0)

    def test_all_but_the_wall(self) -> None:
        assert sides(Brief(YARD)) == {side((0, 0), (4, 0)), side((4, 0), (4, 3)), side((4, 3), (0, 3)), side((0, 3), (0, 0))}
        assert sides(Brief(YARD, walls=[self.WALL])) == {side((4, 0), (4, 3)), side((4, 3), (0, 3)), side((0, 3), (0, 0))}

    def test_a_wall_along_half_a_side_leaves_the_other_half(self) -> None:
        short = Wall("shed", (0, 0), (1.5, 0), dpc=10.0)
        assert side((1.5, 0), (4, 0)) in sides(Brief(YARD, walls=[short]))

    def test_kept_edges_are_not_dug_past(self) -> None:
        brief = Brief(YARD, walls=[self.WALL], kept=[((4, 0), (4, 3))])
        assert sides(brief) == {side((4, 3), (0, 3)), side((0, 3), (0, 0))}
        assert sides(Brief(YARD, kept=[((4, 1), (4, 2))])) >= {side((4, 0), (4, 1)), side((4, 2), (4, 3))}

    @pytest.mark.parametrize(("off", "kept"), [(0.0, True), (0.099, True), (0.101, False)])
    def test_paving_to_be_met_is_kept_within_100_mm(self, off: float, kept: bool) -> None:
        brief = Brief(YARD, walls=[self.WALL], demands=[Meet([("E1", 2.0, 3.0 + off, 9.9)], 0.006)])
        assert (side((4, 3), (0, 3)) not in sides(brief)) is kept

    def test_what_is_said_goes_before_what_is_met(self) -> None:
        brief = Brief(YARD, demands=[Meet([("E1", 2.0, 3.0, 9.9)], 0.006)], kept=[((4, 0), (4, 3))])
        assert side((4, 3), (0, 3)) in sides(brief)
        assert side((4, 0), (4, 3)) not in sides(brief)

    def test_points_at_both_ends_of_a_kept_side_do_not_keep_its_neighbours(self) -> None:
        """Paving along y = 3 is read at its two ends, which are corners of the area: the sides at x = 0 and 4 stay bare."""
        met = Meet([("E1", 0.0, 3.0, 9.9), ("E2", 2.0, 3.0, 9.9), ("E3", 4.0, 3.0, 9.9)], 0.006)
        assert sides(Brief(YARD, walls=[self.WALL], demands=[met])) == {side((4, 0), (4, 3)), side((0, 3), (0, 0))}

    def test_sides_of_an_l_and_of_a_hole(self) -> None:
        ell = [(0, 0), (4, 0), (4, 1), (2, 1), (2, 3), (0, 3)]
        assert len(Brief(ell, walls=[self.WALL]).bare) == 5
        holed = shapely.box(0, 0, 4, 3) - shapely.box(1, 1, 2, 2)
        assert sum(math.dist(*edge) for edge in Brief(holed).sides_without([])) == pytest.approx(14 + 4)
