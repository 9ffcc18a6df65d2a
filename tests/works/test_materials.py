"""What goes away and what is bought: a small job by hand, and the same sums by another route."""

from __future__ import annotations

import json
import math
import sys
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from sitelevels import Brief, Finish, Ground, Layer, Plane, Range, SurveyError, SurveyWarning
from sitelevels.design.layers import Footing, Underside
from sitelevels.works.dig import Dig, dig_out
from sitelevels.works.heaps import BARROW, BULK_BAG, Carrier, Heap
from sitelevels.works.materials import Materials, materials
from sitelevels.works.units import lay_out_units

REFERENCE = Path(__file__).parents[1] / "reference"
sys.path.insert(0, str(REFERENCE))
from finding_quantities import QUANTITIES, drive, foundation, mix_of_feet  # noqa: E402
from published import compare  # noqa: E402

CASES = {case["id"]: case for case in json.loads((REFERENCE / "quantities.json").read_text(encoding="utf-8"))}

steady = settings(deadline=None, max_examples=60, derandomize=True)
YARD = [(0, 0), (4, 0), (4, 3), (0, 3)]  # 12 m²
GROUND = Ground([-2, 6, 6, -2], [-2, -2, 5, 5], [10.0] * 4)
SLAB, BED, BASE = Layer("slab", 0.05), Layer("bed", 0.03), Layer("base", 0.10)
KN = 1000 / 9.81  # kg of a kilonewton
CLAY, RUBBLE = (0.30, 0.40, 0.60), (0.40, 0.50, 0.60)
SOIL_MASS = (1500, 1602, 1900)


def yard(*layers: Layer, finish: float = 9.95, **brief: Any) -> Dig:
    """Ground at 10.000, finished surface at 9.950, no margin unless said."""
    told = Brief(YARD, **{"layers": layers or (SLAB, BED, BASE), "beyond_edge": 0.0} | brief)
    return dig_out(GROUND, Finish.plane(Plane(finish, 0, 0), YARD), told)


def small_job(*layers: Layer, **options: Any) -> Materials:
    """100 mm of concrete to break out, 130 mm of clay below it: 1.20 and 1.56 m³."""
    return materials(yard(*layers, underside=Underside(0.10)), **{"soil": "clay"} | options)


def about(*numbers: float) -> Any:
    return pytest.approx(numbers, rel=1e-8, abs=1e-9)


def times(number: float, *ranges: tuple[float, ...]) -> list[float]:
    return [number * math.prod(ends) for ends in zip(*ranges, strict=True)]


def ranges_of(heap: Heap) -> list[Range]:
    return [one for one in (heap.in_place, heap.loose, heap.mass, heap.area, heap.bags, heap.cost) if one is not None]


class TestSmallJob:
    def test_what_goes_away(self) -> None:
        found = small_job()
        soil, rubble = found.heap("take away", "dug soil"), found.heap("take away", "broken concrete")
        assert soil.in_place.values == about(1.56, 1.56, 1.56)
        assert soil.loose.values == about(2.028, 2.184, 2.496)
        assert soil.mass.values == about(*times(1.56, SOIL_MASS))
        assert rubble.in_place.values == about(1.2, 1.2, 1.2)
        assert rubble.loose.values == about(1.68, 1.80, 1.92)
        assert rubble.mass.values == about(*times(1.2 * KN, (24, 24, 25)))

    def test_what_is_bought(self) -> None:
        """Bed 12 m² × 25, 30, 35 mm; base × 80, 100, 120 mm; each with its loosening and waste."""
        found = small_job()
        slab, bed, base = (found.heap("buy", name) for name in ("slab", "bed", "base"))
        assert slab.loose.values == about(0.66, 0.66, 0.69)
        assert slab.area is not None
        assert slab.area.values == about(13.2, 13.2, 13.8)
        assert bed.in_place.values == about(0.30, 0.36, 0.42)
        assert bed.loose.values == about(0.3780, 0.5148, 0.6468)
        assert bed.mass.values == about(0.315 * 19 * KN, 0.396 * 21 * KN, 0.462 * 23 * KN)
        assert base.in_place.values == about(0.96, 1.20, 1.44)
        assert base.loose.values == about(0.984 * 1.15, 1.26 * 1.2, 1.584 * 1.5)
        assert base.mass.values == about(0.984 * 1950, 1.26 * 2100, 1.584 * 2200)

    def test_half_the_concrete_goes_back(self) -> None:
        """0.6 m³ solid make 0.6 × 1.5 / 1.2 = 0.75 m³ compacted, 0.9 loose."""
        found = small_job(reuse=0.5)
        back, away = (found.heap(done, "broken concrete") for done in ("goes back", "take away"))
        base = found.heap("buy", "base")
        assert back.in_place.values == about(0.6 * 1.4 / 1.5, 0.75, 0.6 * 1.6 / 1.15)
        assert back.loose.likely == pytest.approx(0.9, abs=1e-9)
        assert away.loose.likely == pytest.approx(0.9, abs=1e-9)
        assert back.mass.likely + away.mass.likely == pytest.approx(1.2 * 24 * KN, rel=1e-9)
        assert base.in_place.values == about(0.96 - 0.6 * 1.6 / 1.15, 0.45, 1.44 - 0.6 * 1.4 / 1.5)
        assert base.loose.likely == pytest.approx(0.45 * 1.26, abs=1e-9)
        assert found.reusable.likely == pytest.approx(1.2, abs=1e-9)  # 1.5 m³ could, and the base takes 1.2

    def test_no_more_goes_back_than_the_base_takes(self) -> None:
        """A base of 30 mm takes 0.36 m³, which is 0.432 loose."""
        found = small_job(SLAB, BED, Layer("base", 0.03, tolerance=0), reuse=1.0)
        back, base = found.heap("goes back", "broken concrete"), found.heap("buy", "base")
        assert (back.in_place.likely, back.loose.likely, base.in_place.likely) == about(0.36, 0.432, 0)
        assert found.heap("take away", "broken concrete").loose.likely == pytest.approx(1.8 - 0.432, abs=1e-9)

    def test_without_a_base_nothing_goes_back(self) -> None:
        with pytest.warns(SurveyWarning, match="None of the broken concrete goes back: no layer is compacted"):
            found = small_job(Layer("concrete", 0.18, kind="bedding"), reuse=1.0)
        assert found.heap("take away", "broken concrete").loose.likely == pytest.approx(1.8, abs=1e-9)
        assert found.reusable.values == (0, 0, 0)
        assert {heap.done for heap in found.heaps} == {"take away", "buy"}

    def test_the_margin_belongs_to_the_base_alone(self) -> None:
        """150 mm all round are 2.19 m² more."""
        found = materials(yard(beyond_edge=None))
        assert found.heap("buy", "base").in_place.likely == pytest.approx(14.19 * 0.10, abs=1e-6)
        assert found.heap("buy", "bed").in_place.likely == pytest.approx(12 * 0.03, abs=1e-9)

    def test_what_lies_too_low_is_made_up_with_what_the_base_is_made_of(self) -> None:
        """Finish 10.28: formation 10.100, so 100 mm to fill, in a heap of its own that has no tolerance."""
        found = materials(yard(SLAB, BED, Layer("base", 0.10, price=(30, "t")), finish=10.28))
        base, fill = found.heap("buy", "base"), found.heap("buy", "base, as fill under the layers")
        assert base.in_place.values == about(0.96, 1.20, 1.44)
        assert fill.in_place.values == about(1.2, 1.2, 1.2)
        assert fill.loose.values == about(1.2 * 1.15 * 1.025, 1.2 * 1.2 * 1.05, 1.2 * 1.5 * 1.1)
        assert fill.mass.values == about(1.23 * 1950, 1.26 * 2100, 1.32 * 2200)
        assert fill.cost is not None
        assert fill.cost.likely == pytest.approx(30 * 1.26 * 2.1, abs=1e-6)

    def test_a_footing_leaves_base_out(self) -> None:
        """Formation 9.770; 2 m² of a footing stand 40 mm above it."""
        found = materials(yard(footings=[Footing("old", shapely.box(1, 1, 3, 2), 9.81)]))
        assert found.heap("buy", "base").in_place.likely == pytest.approx(1.2 - 0.08, abs=1e-8)

    def test_only_the_lowest_of_two_compacted_layers_takes_rubble_and_gives_its_name_to_the_fill(self) -> None:
        layers = (SLAB, Layer("base", 0.10, kind="compacted"), Layer("capping", 0.15, kind="compacted"))
        found = materials(yard(*layers, finish=10.35, underside=Underside(0.01)), reuse=1.0)  # formation 10.05, underside 9.99
        assert found.heap("buy", "base").in_place.likely == pytest.approx(1.2, abs=1e-9)
        assert found.heap("buy", "capping").in_place.likely == pytest.approx(1.8 - 0.12 * 1.5 / 1.2, abs=1e-8)
        assert found.heap("buy", "capping, as fill under the layers").in_place.likely == pytest.approx(12 * 0.06, abs=1e-8)


class TestLoads:
    def test_the_greater_of_volume_and_mass(self) -> None:
        """Clay loose 2.184 m³ or 2499 kg: 36.4 or 25 barrows of 60 l or 100 kg, 4.4 or 2.9 bags of 0.5 m³ or 850 kg."""
        soil = small_job().heap("take away", "dug soil")
        assert BARROW.loads(soil.loose, soil.mass) == (34, 37, 42)
        assert BULK_BAG.loads(soil.loose, soil.mass) == (5, 5, 5)

    @pytest.mark.parametrize(("volume", "mass", "loads"), [
        (3.0, 10.0, 1), (3.0000000001, 10.0, 1), (3.01, 10.0, 2), (0.1, 6001.0, 4), (0.0, 0.0, 0), (0.01, 1.0, 1)])
    def test_whole_loads(self, volume: float, mass: float, loads: int) -> None:
        skip = Carrier("skip", 3.0, 2000.0)
        assert skip.loads(Range(volume, volume, volume), Range(mass, mass, mass)) == (loads,) * 3

    def test_the_skip_takes_everything_that_goes_away_and_fetches_nothing(self) -> None:
        """Loose 3.708, 3.984, 4.416 m³; mass up to 1.56 × 1900 + 1.2 × 25 kN = 6022 kg: one skip of 4 m³ and 6 t, or two."""
        skip = Carrier("skip", 4.0, 6000.0, price=250.0, only_away=True)
        found = small_job(carriers=[skip])
        assert found.away(skip) == (1, 1, 2)
        assert found.cost is not None
        assert found.cost.values == (250.0, 250.0, 500.0)
        counted = found.table.set_index("what")["loads_skip"]
        assert counted[["broken concrete", "dug soil"]].tolist() == [1, 1]
        assert counted[["slab", "bed", "base"]].isna().all()

    def test_carriers_may_come_one_by_one(self) -> None:
        assert small_job(carriers=(one for one in (BARROW,))).carriers == (BARROW,)

    def test_a_carrier_never_hides_a_column(self) -> None:
        table = small_job(carriers=[Carrier("area", 1.0), Carrier("what", 1.0)]).table
        assert table["what"].tolist()[:2] == ["broken concrete", "dug soil"]
        assert table.set_index("what")["area"]["slab"] == pytest.approx(13.2)

    @pytest.mark.parametrize("given", [
        ("bag", 0), ("bag", -1), ("bag", math.nan), ("bag", "1"), ("bag", 1, 0), ("bag", 1, math.inf), (7, 1.0),
        ("bag", True)], ids=str)
    def test_carriers_that_hold_nothing(self, given: tuple[Any, ...]) -> None:
        with pytest.raises(SurveyError):
            Carrier(*given)
        with pytest.raises(SurveyError):
            Carrier("bag", 1.0, price=-1.0)


class TestUnitsMixAndMoney:
    @pytest.mark.parametrize("real", [True, False], ids=["layout", "stand-in"])
    def test_units_of_a_layout_are_counted(self, real: bool) -> None:
        """8 × 6 units of half a metre, 5 % for breakage: 50.4, so 51, of 0.25 m²."""
        layout: Any = SimpleNamespace(order=51, unit=(0.5, 0.5))
        if real:
            layout = lay_out_units(YARD, (0.5, 0.5), joint=0, bonds=("stack",))
        found = small_job(Layer("slab", 0.05, price=(3.5, "each")), BED, BASE, units=layout)
        slab = found.heap("buy", "slab")
        assert slab.pieces == 51
        assert slab.area is not None
        assert slab.area.values == about(12.75, 12.75, 12.75)
        assert slab.loose.values == about(0.6375, 0.6375, 0.6375)
        assert slab.cost is not None
        assert slab.cost.values == about(178.5, 178.5, 178.5)
        assert found.table.set_index("what")["pieces"]["slab"] == 51

    def test_a_mix_of_cement_and_sand(self) -> None:
        """Of 0.36 × 1.33 × 1.1 = 0.52668 m³ a fifth is cement, 0.105336 m³ or 151.7 kg, seven bags of 25 kg; the rest is sand."""
        found = small_job(SLAB, Layer("bed", 0.03, mix=(1, 4)), BASE)
        cement, sand = found.heap("buy", "cement for the bed"), found.heap("buy", "sand for the bed")
        assert (cement.loose.likely, cement.mass.likely) == about(0.105336, 0.105336 * 1440)
        assert (sand.loose.likely, sand.mass.likely) == about(0.421344, 0.421344 * 15.5 * KN)
        assert found.table.set_index("what")["bags"]["cement for the bed"] == 7
        assert cement.loose.values == about(0.30 * 1.25 * 1.05 / 5, 0.105336, 0.42 * 1.4 * 1.1 / 5)

    def test_a_mix_of_three(self) -> None:
        """1.54 m³ of dry parts for 1 m³, waste counted."""
        found = small_job(SLAB, Layer("bed", 0.03, mix=(1, 2, 4)), BASE)
        parts = [found.heap("buy", f"{name} for the bed").loose.likely for name in ("cement", "sand", "aggregate")]
        assert parts == about(0.36 * 1.54 / 7, 0.36 * 1.54 * 2 / 7, 0.36 * 1.54 * 4 / 7)

    @pytest.mark.parametrize(("layer", "likely"), [
        (Layer("bed", 0.03, price=(40, "m3")), 40 * 0.5148), (Layer("bed", 0.03, price=(30, "t")), 30 * 0.396 * 21 / 9.81),
        (Layer("bed", 0.03, price=(55, "bulk bag")), 55 * 2)])
    def test_prices(self, layer: Layer, likely: float) -> None:
        found = small_job(SLAB, layer, BASE)
        assert found.cost is not None
        assert found.cost.likely == pytest.approx(likely, rel=1e-9)
        assert "What has a price comes to" in found.sentence()

    def test_prices_add_up(self) -> None:
        layers = (Layer("slab", 0.05, price=(25, "m2")),
                  Layer("bed", 0.03, price=(40, "m3")), Layer("base", 0.1, price=(30, "t")))
        found = small_job(*layers, carriers=[BARROW, Carrier("skip", 4.0, 6000.0, price=250.0)])
        assert found.cost is not None
        assert found.cost.likely == pytest.approx(25 * 13.2 + 40 * 0.5148 + 30 * 1.26 * 2.1 + 250, rel=1e-9)
        assert found.table["cost_likely"].sum() == pytest.approx(found.cost.likely - 250, rel=1e-9)

    def test_no_price_no_cost(self) -> None:
        assert small_job().cost is None
        assert "cost" not in small_job().words

    @pytest.mark.parametrize("layers", [
        (Layer("slab", 0.05, price=(3, "each")), BASE), (SLAB, Layer("base", 0.1, price=(3, "m2"))),
        (SLAB, Layer("base", 0.1, price=(3, "each")))])
    def test_prices_for_what_is_not_counted(self, layers: tuple[Layer, ...]) -> None:
        with pytest.raises(SurveyError, match="price of"):
            small_job(*layers)


def mixed(value: tuple[float, ...], share: float) -> float:
    """A place in a range: 0 its low end, 1 its high end."""
    return value[0] + share * (value[-1] - value[0])


SHARE = st.floats(0, 1)
DEEP = st.integers(1, 250).map(lambda mm: mm / 1000)
THICK = st.integers(20, 200).map(lambda mm: mm / 1000)


class TestTruthLiesBetween:
    @steady
    @given(THICK, THICK, DEEP, SHARE, st.sampled_from([9.7, 9.95, 10.2]), st.lists(SHARE, min_size=8, max_size=8))
    def test_for_whatever_the_ranges_turn_out_to_be(self, bed: float, base: float, floor: float, reuse: float, finish: float,
                                                    at: list[float]) -> None:
        """Own sums with every range settled somewhere within its ends."""
        layers = (SLAB, Layer("bed", bed, kind="bedding"), Layer("base", base, kind="compacted"))
        found = materials(yard(*layers, finish=finish, underside=Underside(floor)), soil="clay", reuse=reuse)
        formation = finish - 0.05 - bed - base
        solid, soil, fill = 12 * floor, 12 * max(10 - floor - formation, 0), 12 * max(formation - 10 + floor, 0)
        grown, ratio = 1 + mixed(RUBBLE, at[0]), mixed((1.15, 1.2, 1.5), at[1])
        need = 12 * (base + mixed((-0.02, 0.02), at[2]))
        back = min(reuse * solid * grown / ratio, need)
        truth = {("take away", "dug soil"): soil * (1 + mixed(CLAY, at[3])),
                 ("take away", "broken concrete"): solid * grown - back * ratio, ("goes back", "broken concrete"): back * ratio,
                 ("buy", "base"): (need - back) * ratio * (1 + mixed((0.025, 0.1), at[4])),
                 ("buy", "base, as fill under the layers"): fill * ratio * (1 + mixed((0.025, 0.1), at[4])),
                 ("buy", "bed"): (12 * (bed + mixed((-0.005, 0.005), at[5])) * mixed((1.2, 1.4), at[6])
                                  * (1 + mixed((0.05, 0.1), at[7])))}
        for heap in found.heaps:
            for one in ranges_of(heap):
                assert 0 <= one.low <= one.likely <= one.high
            if heap.what != "slab":
                assert heap.loose.low - 1e-6 <= truth[heap.done, heap.what] <= heap.loose.high + 1e-6, heap

    @steady
    @given(THICK, DEEP, SHARE, st.sampled_from(["clay", "rock", "topsoil", "sand or gravel"]))
    def test_likely_values_balance(self, base: float, floor: float, reuse: float, soil: str) -> None:
        """Concrete away and back is all of it; what is bought and goes back is what is needed."""
        layers = (SLAB, BED, Layer("base", base, kind="compacted"))
        dig = yard(*layers, underside=Underside(floor))
        found = materials(dig, soil=soil, reuse=reuse)
        away, back = (sum(heap.mass.likely for heap in found.heaps if (heap.done, heap.what) == (done, "broken concrete"))
                      for done in ("take away", "goes back"))
        used = sum(heap.in_place.likely for heap in found.heaps if heap.done == "goes back")
        assert away + back == pytest.approx(12 * floor * 24 * KN, abs=0.01)
        assert found.heap("buy", "base").in_place.likely + used == pytest.approx(12 * base, abs=1e-7)
        assert used <= min(found.reusable.likely, 12 * base) + 1e-9
        filled = sum(heap.in_place.likely for heap in found.heaps if heap.what == "base, as fill under the layers")
        assert filled == pytest.approx(12 * max(9.95 - 0.08 - base - (10 - floor), 0), abs=0.005)  # less than 5 l is no heap

    @pytest.mark.parametrize("thick", np.linspace(0.011, 0.24, 40).round(4).tolist())
    def test_all_of_it_goes_back(self, thick: float) -> None:
        """Into a base that takes more than there is: what the last digits leave is no heap and no range out of order."""
        found = materials(yard(SLAB, Layer("base", 0.9, tolerance=0), finish=10.8, underside=Underside(thick)), reuse=1.0)
        assert ("take away", "broken concrete") not in [(heap.done, heap.what) for heap in found.heaps]
        assert found.heap("goes back", "broken concrete").mass.likely == pytest.approx(12 * thick * 24 * KN, rel=1e-8)


class TestOptions:
    def test_bulking_and_density_of_ones_own(self) -> None:
        soil = small_job(bulking=0.25, density=(1700, 1800, 1900)).heap("take away", "dug soil")
        assert soil.loose.values == about(1.95, 1.95, 1.95)
        assert soil.mass.values == about(1.56 * 1700, 1.56 * 1800, 1.56 * 1900)

    @pytest.mark.parametrize("given", [
        {"soil": "granite"}, {"soil": None}, {"soil": ["clay"]}, {"bulking": -0.1}, {"bulking": 30}, {"bulking": "0.3"},
        {"bulking": (0.3, 0.2, 0.4)}, {"bulking": (0.3, 0.4)}, {"bulking": math.nan}, {"bulking": np.array(0.3)}, {"bulking": {}},
        {"density": -5}, {"density": 0}, {"density": 1e11}, {"density": math.inf}, {"density": "1600"}, {"density": (1, 2)},
        {"density": (1500, 1600, math.inf)}, {"reuse": -0.1}, {"reuse": 1.01}, {"reuse": 50},
        {"reuse": math.nan}, {"reuse": "half"}, {"reuse": True}, {"carriers": None}, {"carriers": 5}, {"carriers": "ab"},
        {"carriers": [("skip", 4.0)]}, {"units": 5}, {"units": "slabs"}, {"units": SimpleNamespace(order=3)}], ids=str)
    def test_refusals(self, given: dict[str, Any]) -> None:
        with pytest.raises(SurveyError):
            small_job(**given)

    @pytest.mark.parametrize("dig", [None, 5, "dig", Brief(YARD)], ids=["none", "number", "text", "brief"])
    def test_what_is_no_dig(self, dig: Any) -> None:
        with pytest.raises(SurveyError):
            materials(dig)

    def test_a_heap_that_is_not_there(self) -> None:
        with pytest.raises(SurveyError, match="There are take away broken concrete, "):
            small_job().heap("buy", "sand")

    def test_sources_of_what_was_used_and_of_nothing_else(self) -> None:
        said = "\n".join(small_job(bulking=0.3).sources)
        assert "clay" not in said
        assert "broken concrete, bulking" in said
        assert "clay, bulking" in "\n".join(small_job().sources)
        assert "base, loose" not in "\n".join(small_job(SLAB, BED, Layer("base", 0.1, loose=1.5)).sources)

    def test_pages_and_tables(self) -> None:
        found = small_job(Layer("<i>slab</i>", 0.05), BED, BASE, reuse=0.3)
        assert "<i>slab" not in found._repr_html_()
        assert found.table is not found.table
        assert found.table["done"].tolist() == ["take away", "goes back", "take away", "buy", "buy", "buy"]
        assert list(found.table.columns[2:5]) == ["in_place_low", "in_place_likely", "in_place_high"]
        assert "Broken small and compacted" in found.sentence()
        assert small_job(carriers=[]).sentence().count(": .") == 0

    def test_no_layers_and_nothing_to_dig(self) -> None:
        found = materials(dig_out(GROUND, Finish.plane(Plane(10.0, 0, 0), YARD), Brief(YARD)))
        assert found.heaps == ()
        assert (len(found.table), found.cost, found.sentence()) == (0, None, "To take away, loose: nothing.")
        assert found._repr_html_()


class TestPublished:
    """What other people printed, and what they should have."""

    @pytest.mark.parametrize("name", CASES)
    def test_agrees_with_what_was_printed(self, name: str) -> None:
        check = compare(CASES[name], QUANTITIES[name](CASES[name]))
        assert check.agrees, (check.expected, check.found, check.tolerance)

    def test_every_case_has_a_function_and_every_slip_a_reason(self) -> None:
        assert QUANTITIES.keys() == CASES.keys()
        for case in CASES.values():
            assert case["source_url"].startswith("http")
            assert bool(case.get("misprints")) == bool(case["errata"])
            assert case["note"] or not case.get("tolerance")

    def test_w33_states_22_ft_and_works_with_20(self) -> None:
        """(22 + 8) / 2 × 30 is 450 ft²; 4 in of it are 150 ft³, 27 to the yd³."""
        case = CASES["W33"]
        found = drive(case["misprints"]["widths_ft"], case)
        assert [found[name] for name in ("area_ft2", "net_yd3", "order_yd3")] == about(450, 150 / 27, 157.5 / 27)
        assert found["order_yd3"] - case["expected"]["order_yd3"] > 0.38

    def test_w37_takes_shares_of_the_cement(self) -> None:
        """Of 1:2:4 sand is twice and aggregate four times the cement; printed are 2/7 and 4/7 of it."""
        found, printed = mix_of_feet(CASES["W37"]), CASES["W37"]["misprints"]
        for name, share in (("sand_ft3", 2), ("agg_ft3", 4)):
            assert found[name] == pytest.approx(share * 359.128 / 7, abs=1e-6)
            assert printed[name] == pytest.approx(found["cement_ft3"] * share / 7, abs=0.01)
            assert found[name] > 6.9 * printed[name]

    def test_w63_misses_a_digit_and_rounds_an_order_down(self) -> None:
        found, printed = foundation(CASES["W63"]), CASES["W63"]["misprints"]
        assert found["footing_1_ft3"] == pytest.approx(2 * 33.33 * 2, abs=1e-6)
        assert found["footing_1_ft3"] - printed["footing_1_ft3"] == pytest.approx(0.288, abs=1e-6)
        assert printed["yd3"] < found["yd3"] == pytest.approx(580.14 / 27, abs=1e-3)


def test_units_come_as_they_are_and_are_counted_in_no_loads() -> None:
    found = small_job()
    words = found.words.set_index("what")
    assert (words["barrows"]["slab"], words["bulk bags"]["slab"]) == ("", "")
    assert words["bulk bags"]["base"]
    assert found.table.set_index("what")["loads_barrow"].isna()["slab"]
