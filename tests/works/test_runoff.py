"""Flows, channels and pipes against sums by hand, other forms of Manning's formula, scaling laws and printed examples."""

from __future__ import annotations

import json
import math
import sys
import warnings
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.constants import foot, g
from scipy.integrate import quad

from sitelevels import SurveyError, SurveyWarning
from sitelevels.design.handbook import COEFFICIENTS, INTENSITIES, ROUGHNESS
from sitelevels.works.runoff import WHERE_WATER_GOES, Conduit, Flow, pipe, rectangular_channel, runoff

REFERENCE = Path(__file__).parents[1] / "reference"
CASES = {case["id"]: case for case in json.loads((REFERENCE / "drainage.json").read_text(encoding="utf-8"))}
FLOWS = ["W39", "D23", "W40", "W41", "W42", "W43", "W44", "D29", "W47", "W48", "W50"]
steady = settings(deadline=None, max_examples=60, derandomize=True)
sizes = st.floats(0.02, 2.0)
falls = st.floats(0.001, 0.2)
roughs = st.floats(0.005, 0.1)
anything = st.one_of(
    st.none(), st.booleans(), st.text(max_size=5), st.floats(), st.integers(), st.just(10**400), st.dates(), st.complex_numbers(),
    st.lists(st.floats(), max_size=3), st.just(math.nan), st.just(np.float64("inf")), st.floats(0.001, 1),
)


@pytest.fixture
def works(monkeypatch: pytest.MonkeyPatch) -> Any:
    """What the public names make of worked examples, by the id of the case."""
    monkeypatch.setattr(sys, "path", [str(REFERENCE), *sys.path])
    import finding_works

    return finding_works.WORKS


class TestFlow:
    def test_a_millimetre_on_a_square_metre_is_a_litre(self) -> None:
        assert runoff(1.0, 3.6, 1.0).flow == pytest.approx(1e-6, rel=1e-12)  # 3.6 litres an hour

    def test_a_yard_by_hand(self) -> None:
        """40 m² in 50.4 mm/h is 40 × 0.0504 m³ in 3600 s, 95 % of it."""
        assert runoff(40, 50.4, 0.95).flow == pytest.approx(40 * 0.0504 / 3600 * 0.95, rel=1e-12)

    def test_names_take_the_likeliest_value_and_keep_the_source(self) -> None:
        named = runoff(40, "paved areas", "concrete")
        assert named.flow == pytest.approx(runoff(40, 50.4, 0.95).flow, rel=1e-12)
        assert "Approved Document H" in named.source
        assert "quoted by others" in named.source
        assert "University of Illinois" in named.source
        assert named.source in named.sentence()
        assert runoff(40, 50.4, 0.95).source == ""
        assert "Looked up" not in runoff(40, 50.4, 0.95).sentence()

    def test_flows_add_and_keep_their_parts(self) -> None:
        both = runoff(40, 50, 1.0) + runoff(12, 75, 0.9)
        assert both.flow == pytest.approx((40 * 50 + 12 * 75 * 0.9) / 3.6e6, rel=1e-12)
        assert [part.area for part in both.parts] == [40, 12]
        assert both.table["flow_l_s"].tolist() == pytest.approx([40 * 50 / 3600, 12 * 75 * 0.9 / 3600], rel=1e-12)
        spoilt = both.table
        spoilt.loc[0, "area"] = 0.0
        assert both.table["area"].tolist() == [40, 12]
        assert "<table" in both._repr_html_()
        assert "<table" not in runoff(40, 50, 1.0)._repr_html_()

    def test_a_source_is_told_once(self) -> None:
        both = runoff(1, "roof", 1.0) + runoff(2, "roof", 1.0)
        assert both.source.count("BS 6367") == 1

    @steady
    @given(st.floats(0.1, 500), st.floats(0.1, 500), st.floats(1, 500), st.floats(0, 1))
    def test_a_surface_in_two_parts_sheds_as_much(self, one: float, two: float, rain: float, share: float) -> None:
        parts = runoff(one, rain, share) + runoff(two, rain, share)
        assert parts.flow == pytest.approx(runoff(one + two, rain, share).flow, rel=1e-9, abs=1e-18)

    def test_in_words(self) -> None:
        assert runoff(40, 50.4, 1.0).sentence() == "0.56 l/s from 40.0 m² in rain of 50.4 mm/h, 100% of it running off."

    def test_html_is_escaped(self) -> None:
        assert "<b>" not in Conduit("<b>pipe</b>", (0.1,), 0.01, 0.01, "", 0.01, 0.3)._repr_html_()

    @pytest.mark.parametrize(("arguments", "said"), [
        ((0, 50, 1), "area"), ((-4, 50, 1), "area"), (("40", 50, 1), "area"), ((math.nan, 50, 1), "area"),
        ((True, 50, 1), "area"),
        ((40, 0, 1), "intensity"), ((40, -50, 1), "intensity"), ((40, math.inf, 1), "intensity"),
        ((40, "a shower", 1), "'a shower' is not in the handbook.*paved areas; roof; threshold drain"),
        ((40, 50, "tarmac"), "'tarmac' is not in the handbook.*concrete; asphalt"),
        ((40, 50, 95), "coefficient is 95.*per cent"), ((40, 50, 1.0001), "per cent"), ((40, 50, -0.1), "coefficient is -0.1"),
        ((40, 50, None), "coefficient is None"),
    ])
    def test_what_cannot_be_is_refused(self, arguments: tuple[Any, ...], said: str) -> None:
        with pytest.raises(SurveyError, match=said):
            runoff(*arguments)

    def test_per_cent_is_only_asked_of_what_is_over_one(self) -> None:
        with pytest.raises(SurveyError) as refusal:
            runoff(40, 50, -0.1)
        assert "per cent" not in str(refusal.value)

    def test_only_flows_are_added(self) -> None:
        with pytest.raises(SurveyError, match="What is added to the flow is a float"):
            runoff(40, 50, 1.0) + 0.3  # type: ignore[operator]

    def test_litres_a_second_a_square_metre_are_questioned(self) -> None:
        with pytest.warns(SurveyWarning, match=r"0\.014 mm/h.*0\.014 is l/s per m²\? That is 50\.4 mm/h"):
            assert runoff(40, 0.014, 1.0).flow > 0

    def test_rain_that_never_falls_is_questioned(self) -> None:
        with pytest.warns(SurveyWarning, match="501 mm/h"):
            runoff(40, 501, 1.0)

    @pytest.mark.parametrize("rain", [1, 500])
    def test_the_ends_are_not_questioned(self, rain: float) -> None:
        assert runoff(40, rain, 0.0).flow == 0

    @pytest.mark.parametrize("rain", INTENSITIES)
    @pytest.mark.parametrize("surface", COEFFICIENTS)
    def test_every_name_of_the_handbook_will_do(self, rain: str, surface: str) -> None:
        expected = 10 * INTENSITIES[rain].range.likely * COEFFICIENTS[surface].range.likely / 3.6e6
        assert runoff(10, rain, surface).flow == pytest.approx(expected, rel=1e-12)


class TestManning:
    def test_a_channel_by_hand(self) -> None:
        """100 × 50 mm at 1:100: R = 0.005 / 0.2 = 0.025 m; 0.025^(2/3) = 0.08550; × 0.1 / 0.01 = 0.8550 m/s; × 0.005 m²."""
        channel = rectangular_channel(0.1, 0.05, 0.01, 0.01)
        assert (channel.area, channel.hydraulic_radius) == pytest.approx((0.005, 0.025), rel=1e-12)
        assert channel.velocity == pytest.approx(0.8550, abs=5e-5)
        assert channel.flow == pytest.approx(0.004275, abs=5e-7)

    @steady
    @given(sizes, sizes, falls, roughs)
    def test_in_feet_by_the_us_form(self, width: float, depth: float, fall: float, n: float) -> None:
        """1.486 is itself rounded: 1.4859 = (1 / 0.3048)^(1/3)."""
        b, y = width / foot, depth / foot
        cubic_feet = 1.486 / n * b * y * (b * y / (b + 2 * y)) ** (2 / 3) * fall**0.5
        assert rectangular_channel(width, depth, fall, n).flow == pytest.approx(cubic_feet * foot**3, rel=1e-4)

    @steady
    @given(sizes, falls, roughs)
    def test_by_darcy_and_weisbach(self, bore: float, fall: float, n: float) -> None:
        """v = √(2 g S D / f) with the friction factor f = 8 g n² / R^(1/3), R a quarter of the bore."""
        friction = 8 * g * n**2 / (bore / 4) ** (1 / 3)
        assert pipe(bore, fall, n).velocity == pytest.approx(math.sqrt(2 * g * fall * bore / friction), rel=1e-9)

    @steady
    @given(sizes, falls, roughs)
    def test_a_pipe_twice_as_wide_carries_two_to_the_eight_thirds(self, bore: float, fall: float, n: float) -> None:
        assert pipe(bore, fall, n).flow == pytest.approx(2 ** (8 / 3) * pipe(bore / 2, fall, n).flow, rel=1e-9)

    @steady
    @given(sizes, sizes, st.floats(0.001, 0.05), roughs)
    def test_four_times_the_fall_twice_the_flow(self, width: float, depth: float, fall: float, n: float) -> None:
        flat, steep = (rectangular_channel(width, depth, slope, n) for slope in (fall, 4 * fall))
        assert steep.flow == pytest.approx(2 * flat.flow, rel=1e-9)
        assert rectangular_channel(width, depth, fall, n / 2 if n > 0.01 else n).flow >= flat.flow

    def test_a_shallow_wide_channel_has_its_depth_for_a_radius(self) -> None:
        assert rectangular_channel(2.0, 0.001, 0.01, 0.012).hydraulic_radius == pytest.approx(0.001, rel=0.002)

    @steady
    @given(sizes, falls, roughs)
    def test_half_a_pipe_by_integration(self, bore: float, fall: float, n: float) -> None:
        """Chords for the area, the arc by its slope for the perimeter."""
        radius = bore / 2
        area = 2 * quad(lambda depth: math.sqrt(radius**2 - (radius - depth) ** 2), 0, radius)[0]
        wetted = 2 * quad(lambda angle: radius, 0, math.pi / 2)[0]
        half = pipe(bore, fall, n).half_full
        assert (half.area, half.perimeter) == pytest.approx((area, wetted), rel=1e-6)
        assert half.flow == pytest.approx(area * (area / wetted) ** (2 / 3) * fall**0.5 / n, rel=1e-6)
        assert half.velocity == pytest.approx(pipe(bore, fall, n).velocity, rel=1e-12)

    @steady
    @given(sizes, sizes, falls, roughs)
    def test_half_a_channel_is_a_channel_half_as_deep(self, width: float, depth: float, fall: float, n: float) -> None:
        half = rectangular_channel(width, depth, fall, n).half_full
        assert half.flow == pytest.approx(rectangular_channel(width, depth / 2, fall, n).flow, rel=1e-12)

    def test_half_of_a_half_is_refused(self) -> None:
        with pytest.raises(SurveyError, match="half again"):
            _ = pipe(0.1, 0.01, 0.01).half_full.half_full

    @steady
    @given(sizes, sizes, falls, roughs, st.floats(0.1, 1.9))
    def test_at_the_fall_for_a_flow_it_just_carries_it(self, width: float, depth: float, fall: float, n: float,
                                                       times: float) -> None:
        channel = rectangular_channel(width, depth, fall, n)
        needed = channel.fall_for(times * channel.flow)
        if 0.00005 < needed <= 0.2:
            assert rectangular_channel(width, depth, needed, n).flow == pytest.approx(times * channel.flow, rel=1e-9)
        assert channel.share(times * channel.flow) == pytest.approx(times, rel=1e-12)

    def test_a_flow_and_its_number_are_one(self) -> None:
        drain, water = pipe(0.1, 1 / 80, "smooth plastic"), runoff(40, 50.4, 1.0)
        assert drain.share(water) == drain.share(water.flow) == pytest.approx(0.00056 / drain.flow, rel=1e-12)
        assert drain.share(0) == drain.fall_for(0.0) == 0

    @pytest.mark.parametrize("name", ROUGHNESS)
    def test_names_of_surfaces(self, name: str) -> None:
        named = rectangular_channel(0.1, 0.1, 0.01, name)
        assert named.n == ROUGHNESS[name].range.likely
        assert ROUGHNESS[name].source in named.source
        assert ROUGHNESS[name].source in named.sentence()

    def test_in_words(self) -> None:
        channel = rectangular_channel(0.1, 0.05, 0.01, 0.01)
        said = "The rectangular channel, 100 × 50 mm at 1:100 (10.0 mm/m), carries 4.27 l/s at 0.85 m/s (Manning's n 0.01)."
        assert channel.sentence() == said
        assert channel.sentence(runoff(40, 50.4, 1.0)) == said + " 0.56 l/s is 14% of that: enough."  # 0.131, never less
        # 6 l/s is 1.4035 of it: 0.01 × 1.9699 is 1:50.76, steeper than which 1:50.7 is
        assert channel.sentence(0.006) == (said + " 6.00 l/s is 141% of that: too much. This size needs 1:50.7 (19.7 mm/m) or "
                                           "steeper for it.")
        assert channel._repr_html_() == f"<p>{said.replace(chr(39), '&#x27;')}</p>"


class TestRefusals:
    @pytest.mark.parametrize("fall", [0, 0.0, -0.0, 0.00004, -0.00004])
    def test_no_fall_is_refused_by_name(self, fall: float) -> None:
        with pytest.raises(SurveyError, match=r"(?s)zero-fall channel.*no flow.*built-in fall.*maker's table"):
            rectangular_channel(0.1, 0.1, fall, 0.012)
        with pytest.raises(SurveyError, match="zero-fall pipe"):
            pipe(0.1, fall, 0.012)

    @pytest.mark.parametrize(("fall", "said"), [(-0.01, "way that water is to run"), (80, "1/80"), (1.01, "1/80"),
                                               ("1:80", "m/m"), (math.nan, "m/m"), (None, "m/m")])
    def test_falls_that_cannot_be(self, fall: Any, said: str) -> None:
        with pytest.raises(SurveyError, match=said):
            pipe(0.1, fall, 0.012)

    @pytest.mark.parametrize("size", [0, -0.1, 0.0009, "0.1", math.nan, math.inf, None, True])
    def test_sizes_that_cannot_be(self, size: Any) -> None:
        for make in (lambda: pipe(size, 0.01, 0.012), lambda: rectangular_channel(size, 0.1, 0.01, 0.012),
                     lambda: rectangular_channel(0.1, size, 0.01, 0.012)):
            with pytest.raises(SurveyError, match="length in m"):
                make()

    @pytest.mark.parametrize(("n", "said"), [
        (0, "between"), (-0.012, "between"), (12, "between"), (0.0009, "between"), (None, "number"), (math.nan, "number"),
        ("glass", "not in the handbook.*smooth plastic")])
    def test_roughness_that_cannot_be(self, n: Any, said: str) -> None:
        with pytest.raises(SurveyError, match=said):
            pipe(0.1, 0.01, n)

    def test_what_is_doubtful_is_questioned(self) -> None:
        for make, said in ((lambda: pipe(100, 0.01, 0.012), "diameter of the pipe is 100 m. Are those millimetres"),
                           (lambda: rectangular_channel(0.1, 50, 0.01, 0.012), "depth of the channel is 50 m"),
                           (lambda: rectangular_channel(2.001, 1, 0.01, 0.012), "width of the channel"),
                           (lambda: pipe(0.1, 0.25, 0.012), r"1:4 .* steeper than 1:5"),
                           (lambda: pipe(0.1, 0.01, 0.12), r"n of 0\.12 is odd"), (lambda: pipe(0.1, 0.01, 0.004), r"0\.004")):
            with pytest.warns(SurveyWarning, match=said):
                make()

    def test_the_ends_are_not_questioned(self) -> None:
        for n in (0.005, 0.1):
            assert rectangular_channel(2.0, 2.0, 0.2, n).flow > 0

    @pytest.mark.parametrize("flow", [-0.001, math.nan, "0.5 l/s", None, [0.1]])
    def test_flows_that_cannot_be(self, flow: Any) -> None:
        drain = pipe(0.1, 0.01, 0.01)
        for ask in (drain.share, drain.fall_for):
            with pytest.raises(SurveyError, match="The flow is"):
                ask(flow)

    @steady
    @given(st.tuples(anything, anything, anything))
    def test_odd_input_gives_a_finite_number_or_a_sentence(self, values: tuple[Any, Any, Any]) -> None:
        for make in (runoff, pipe, lambda *three: rectangular_channel(three[0], *three)):
            with warnings.catch_warnings():
                warnings.simplefilter("ignore", SurveyWarning)
                try:
                    made: Any = make(*values)
                except SurveyError:
                    continue
            assert math.isfinite(made.flow)
            assert made.flow >= 0
            assert made.sentence()


class TestPublished:
    @pytest.mark.parametrize("name", FLOWS)
    def test_agrees_to_half_the_last_printed_digit(self, name: str, works: Any) -> None:
        case, found = CASES[name], works[name](CASES[name])
        for quantity, printed in case["expected"].items():
            rounding = case["rounding"][quantity] if isinstance(case["rounding"], dict) else case["rounding"]
            allowed = case.get("tolerance", {}).get(quantity, rounding / 2) + 1e-9
            assert found[quantity] == pytest.approx(printed, rel=0, abs=allowed)

    def test_the_wrong_answer_of_w42_is_that_of_another_rain(self, works: Any) -> None:
        case, printed = CASES["W42"], CASES["W42"]["misprints"]
        assert abs(works["W42"](case)["Q_m3s"] - printed["Q_m3s"]) > 17
        slip = {**case, "inputs": {**case["inputs"], "i_mm_h": printed["i_mm_h"]}}
        assert works["W42"](slip)["Q_m3s"] == pytest.approx(printed["Q_m3s"], abs=0.005)

    def test_every_case_has_a_function_and_a_source(self, works: Any) -> None:
        assert set(CASES) <= set(works)
        assert all(case["source"] and case["source_url"].startswith("http") for case in CASES.values())


def test_where_water_goes_names_sources_and_how_sure_they_are() -> None:
    assert all("text read" in line or "quoted by others" in line or "no source" in line for line in WHERE_WATER_GOES)
    told = " ".join(WHERE_WATER_GOES)
    for fact in ("5 m² of paving", "lawn or border", "onto the highway", "neighbour", "soakaway or other infiltration", "50 m²"):
        assert fact in told


def test_the_table_is_a_frame_of_plain_columns() -> None:
    assert isinstance(runoff(1, 50, 1).table, pd.DataFrame)
    assert isinstance(runoff(1, 50, 1), Flow)
    assert list(runoff(1, 50, 1).table) == ["area", "intensity_mm_h", "coefficient", "flow_l_s", "source"]
