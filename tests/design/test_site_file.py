"""brief.toml: layers, the old floor, footings, edges that are kept; what is wrong with them is told in sentences, at once."""

from __future__ import annotations

import contextlib
import warnings
from typing import Any

import pytest
import tomlkit
from hypothesis import given, settings
from hypothesis import strategies as st

from sitelevels import Brief, Range, ReducedLevels, SurveyError, read_book, reduce_book
from sitelevels.design.brief_file import brief_of, read_brief, with_value

steady = settings(deadline=None, max_examples=150, derandomize=True)

# HPC 10.000 + 1.500 = 11.500 m
BOOK = """point,bs,is,fs,rl,x,y,feature
BM,1.500,,,10.000,,,benchmark
C1,,1.600,,,0.0,0.0,corner
C2,,1.600,,,4.0,0.0,corner
C3,,1.650,,,4.0,3.0,corner
C4,,1.650,,,0.0,3.0,corner
F1,,1.700,,,1.0,1.0,footing
F2,,1.720,,,2.0,1.0,footing
F3,,1.690,,,2.0,2.0,footing
S1,,1.600,,,1.0,2.5,floor
N1,,1.500,,,,,nowhere
"""
SITE = 'format = 1\n[area]\ncorners = "corner"\n'.replace('"corner"', '["C1", "C2", "C3", "C4"]')


@pytest.fixture(scope="module")
def reduced() -> ReducedLevels:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return reduce_book(read_book(BOOK))


def told(text: str, reduced: ReducedLevels) -> Brief:
    return brief_of(read_brief(SITE + text), reduced)


def problems(text: str, reduced: ReducedLevels) -> list[str]:
    with pytest.raises(SurveyError) as caught:
        told(text, reduced)
    for problem in caught.value.problems:
        assert problem.strip().endswith((".", "?", "!")), problem
    return list(caught.value.problems)


class TestLayers:
    def test_every_key(self, reduced: ReducedLevels) -> None:
        layer = told("""[[layer]]
name = "sub-base"
thickness_mm = 250
kind = "compacted"
tolerance_mm = 12
loose = [1.15, 1.2, 1.5]
density_kg_m3 = 1950
waste_percent = [2, 5, 10]
lift_mm = 100
price = 32.5
price_per = "bulk bag"
""", reduced).layers[0]
        assert (layer.name, layer.kind, layer.lifts) == ("sub-base", "compacted", 3)
        assert (layer.thickness, layer.tolerance, layer.lift) == pytest.approx((0.250, 0.012, 0.100), abs=1e-12)
        assert (layer.loose, layer.density) == (Range(1.15, 1.2, 1.5), Range(1950.0, 1950.0, 1950.0))
        assert layer.waste.values == pytest.approx((0.02, 0.05, 0.10), abs=1e-12)
        assert layer.price == (32.5, "bulk bag")

    def test_a_mix_and_kinds_by_place(self, reduced: ReducedLevels) -> None:
        brief = told('[[layer]]\nname = "slab"\nthickness_mm = 38\n[[layer]]\nname = "bed"\nthickness_mm = 50\nmix = [1, 4]\n'
                     '[[layer]]\nname = "base"\nthickness_mm = 100\n', reduced)
        assert [layer.kind for layer in brief.layers] == ["units", "bedding", "compacted"]
        assert brief.layers[1].mix == (1.0, 4.0)
        assert brief.build_up == pytest.approx(0.188, abs=1e-12)
        assert brief.beyond_edge == 0.150

    def test_a_price_without_unit_is_for_a_tonne(self, reduced: ReducedLevels) -> None:
        assert told('[[layer]]\nname = "a"\nthickness_mm = 38\nprice = 9\n', reduced).layers[0].price == (9.0, "t")

    @pytest.mark.parametrize("line", [
        "thickness_mm = -5", "thickness_mm = nan", "thickness_mm = inf", 'thickness_mm = "40"', "thickness_mm = true",
        "thickness_mm = 1e400", "thickness_mm = [40]", 'kind = "slab"', "kind = 5", 'kind = ["units"]', "tolerance_mm = -1",
        "tolerance_mm = 60", 'tolerance_mm = "5"', "loose = 0.5", "loose = [1.1, 1.2]", 'loose = ["1.1", 1.2, 1.3]',
        "loose = [1.3, 1.2, 1.1]", "density_kg_m3 = 0", "density_kg_m3 = 99999", "waste_percent = 101", "waste_percent = -1",
        'waste_percent = "10 %"', "lift_mm = 0", "mix = 4", 'mix = "1:4"', "mix = [1]", "mix = [1, [4]]", "mix = [0, 4]",
        "price = -1", 'price = "3"', 'price = 3\nprice_per = "kg"', "price = 3\nprice_per = 7", 'price = 3\nprice_per = ["t"]',
        "mix = [1, 4]\nprice = 3"])
    def test_what_cannot_be_is_told_of_its_part(self, line: str, reduced: ReducedLevels) -> None:
        thick = "" if line.startswith("thickness") else "thickness_mm = 50\n"
        said = problems(f'[[layer]]\nname = "base"\nthickness_mm = 100\n[[layer]]\nname = "bed"\n{thick}{line}\n', reduced)
        assert len(said) == 1
        assert said[0].startswith("brief.toml, [[layer]] number 2")

    @pytest.mark.parametrize("text", ["[[layer]]\nthickness_mm = 5\n", '[[layer]]\nname = "a"\n',
                                      '[[layer]]\nname = ""\nthickness_mm = 5\n', "[[layer]]\nname = 7\nthickness_mm = 5\n",
                                      "[[layer]]\n"])
    def test_name_and_thickness_are_asked_for(self, text: str, reduced: ReducedLevels) -> None:
        assert problems(text, reduced)[0].startswith("brief.toml, [[layer]] number 1")

    @pytest.mark.parametrize(("text", "key"), [("[[layer]]\nthickness_mm = 5\n", "name"),
                                               ('[[layer]]\nname = "a"\n', "thickness_mm"),
                                               ('[[footing]]\ncorners_m = [[0, 0], [1, 0], [1, 1]]\ntop_m = 9\n', "name"),
                                               ('[old_floor]\ncorners = ["C1", "C2", "C3"]\n', "thickness_mm")])
    def test_a_key_that_is_not_there_is_missing_and_never_none(self, text: str, key: str, reduced: ReducedLevels) -> None:
        (said,) = problems(text, reduced)
        assert f": {key} is missing." in said
        assert "None" not in said


class TestOldFloor:
    def test_one_thickness(self, reduced: ReducedLevels) -> None:
        floor = told("[old_floor]\nthickness_mm = 120\n", reduced).underside
        assert floor is not None
        assert floor.area is None
        assert floor.thickness_at([3], [2]) == pytest.approx([0.120], abs=1e-12)

    def test_several_places_and_an_outline(self, reduced: ReducedLevels) -> None:
        floor = told('[old_floor]\nthickness_mm = [["S1", 110], [3.0, 0.5, 140]]\ncorners_m = [[0, 0], [4, 0], [4, 2]]\n',
                     reduced).underside
        assert floor is not None
        assert floor.thickness_at([1, 3], [2.5, 0.5]) == pytest.approx([0.110, 0.140], abs=1e-9)
        assert floor.area is not None
        assert floor.area.area == 4.0

    def test_an_outline_of_points(self, reduced: ReducedLevels) -> None:
        floor = told('[old_floor]\nthickness_mm = 100\ncorners = ["C1", "C2", "C3"]\n', reduced).underside
        assert floor is not None
        assert floor.area is not None
        assert floor.area.area == 6.0

    def test_a_part_without_keys_is_none(self, reduced: ReducedLevels) -> None:
        assert told("[old_floor]\n", reduced).underside is None

    @pytest.mark.parametrize("line", [
        "thickness_mm = 0", "thickness_mm = -1", "thickness_mm = nan", 'thickness_mm = "100"', "thickness_mm = []",
        "thickness_mm = [100]", "thickness_mm = [[100]]", 'thickness_mm = [["S9", 100]]', 'thickness_mm = [["N1", 100]]',
        'thickness_mm = [["S1", "100"]]', "thickness_mm = [[1, 2, 3, 4]]", 'thickness_mm = [["S1", 1, 100]]',
        "thickness_mm = [[1, 2, -3]]", "thickness_mm = [[inf, 2, 30]]", 'thickness_mm = ["S1"]', "thickness_mm = [[5, 100]]",
        "thickness_mm = 100\ncorners = []", 'thickness_mm = 100\ncorners = ["C1"]', 'thickness_mm = 100\ncorners = ["C1", "Z"]',
        "thickness_mm = 100\ncorners_m = [[0, 0], [1, 1]]", "thickness_mm = 100\ncorners_m = [[0, 0], [1]]",
        "thickness_mm = 100\ncorners_m = [[0, 0], [4, 3], [4, 0], [0, 3]]", "thickness_mm = 100\ncorners_m = 5",
        "depth_mm = 100", "thickness_mm = 100\nname = 3"])
    def test_what_cannot_be(self, line: str, reduced: ReducedLevels) -> None:
        assert all(one.startswith("brief.toml, [old_floor]") for one in problems(f"[old_floor]\n{line}\n", reduced))


class TestFootings:
    def test_corners_and_a_level(self, reduced: ReducedLevels) -> None:
        footing = told('[[footing]]\nname = "old wall"\ncorners_m = [[0, 0], [2, 0], [2, 0.4], [0, 0.4]]\ntop_m = 9.75\n',
                       reduced).footings[0]
        assert (footing.name, footing.top) == ("old wall", 9.75)
        assert footing.area.area == pytest.approx(0.8)

    @pytest.mark.parametrize("points", ['"footing"', '["F1", "F2", "F3"]'])
    def test_the_highest_of_its_points(self, points: str, reduced: ReducedLevels) -> None:
        """11.500 − 1.690 is higher than 11.500 − 1.700 and − 1.720."""
        footing = told(f'[[footing]]\nname = "haunch"\ncorners = ["F1", "F2", "F3"]\npoints = {points}\n', reduced).footings[0]
        assert footing.top == pytest.approx(9.810, abs=1e-9)
        assert footing.area.area == 0.5

    @pytest.mark.parametrize("lines", [
        "", 'name = "a"', 'name = "a"\ntop_m = 9.8', 'name = "a"\ncorners_m = [[0, 0], [1, 0], [1, 1]]',
        'corners_m = [[0, 0], [1, 0], [1, 1]]\ntop_m = 9.8', 'name = "a"\ncorners_m = [[0, 0], [1, 0]]\ntop_m = 9.8',
        'name = "a"\ncorners_m = [[0, 0], [1, 0], [1, 1]]\ntop_m = "9.8"', 'name = "a"\ncorners_m = "floor"\ntop_m = 9.8',
        'name = "a"\ncorners_m = [[0, 0], [1, 0], [1, 1]]\ntop_m = nan', 'name = "a"\ncorners = ["Q"]\ntop_m = 9.8',
        'name = "a"\ncorners = 5\ntop_m = 9.8', 'name = "a"\ncorners_m = [[0, 0], [1, 0], [1, 1]]\npoints = []',
        'name = "a"\ncorners_m = [[0, 0], [1, 0], [1, 1]]\npoints = ["N1"]',
        'name = "a"\ncorners_m = [[0, 0], [1, 0], [1, 1]]\npoints = [3]',
        'name = 3\ncorners_m = [[0, 0], [1, 0], [1, 1]]\ntop_m = 9'])
    def test_what_cannot_be(self, lines: str, reduced: ReducedLevels) -> None:
        assert problems(f"[[footing]]\n{lines}\n", reduced)[0].startswith("brief.toml, [[footing]] number 1")


class TestEdges:
    def test_kept_and_beyond(self, reduced: ReducedLevels) -> None:
        brief = told('kept = [["C2", "C3"], [[4, 3], "C4"]]\nbeyond_edge_mm = 80\n', reduced)
        assert brief.kept == (((4.0, 0.0), (4.0, 3.0)), ((4.0, 3.0), (0.0, 3.0)))
        assert brief.beyond_edge == pytest.approx(0.080, abs=1e-12)
        assert len(brief.bare) == 2

    def test_the_usual_reach_stands_where_nothing_is_said(self, reduced: ReducedLevels) -> None:
        assert told("", reduced).beyond_edge == 0.0
        assert told("beyond_edge_mm = 0\n", reduced).beyond_edge == 0.0

    @pytest.mark.parametrize("line", ["beyond_edge_mm = -1", 'beyond_edge_mm = "80"', "beyond_edge_mm = nan", "kept = 3",
                                      'kept = ["C1", "C2"]', 'kept = [["C1", "C3"]]', 'kept = [["C1", "Q"]]', 'kept = [["C1"]]',
                                      "kept = [[1, 2]]", "kept = [[[0, 0], [0, 0]]]", 'kept = [["N1", "C1"]]', "kept = [[]]"])
    def test_what_cannot_be(self, line: str, reduced: ReducedLevels) -> None:
        problems(line + "\n", reduced)


class TestAtOnce:
    def test_faults_of_every_part_are_told_together(self, reduced: ReducedLevels) -> None:
        said = problems('[old_floor]\nthickness_mm = 0\n[[layer]]\nname = "a"\nthickness_mm = -1\n'
                        '[[layer]]\nname = "b"\nthickness_mm = 5\n'
                        '[[layer]]\nname = "c"\nthickness_mm = 5\nwaste_percent = 200\n'
                        '[[footing]]\nname = "d"\ntop_m = 9\n', reduced)
        assert [one.partition(": ")[0] for one in said] == [
            "brief.toml, [[layer]] number 1", "brief.toml, [[layer]] number 3", "brief.toml, [[footing]] number 1",
            "brief.toml, [old_floor]"]

    def test_unknown_keys_are_told_together_with_those_that_are_known(self) -> None:
        with pytest.raises(SurveyError) as caught:
            read_brief(SITE + 'keep = []\n[old_floor]\nthick = 3\n[[layer]]\nname = "a"\nthickness = 40\n[[footing]]\ntop = 9\n')
        said = "\n".join(caught.value.problems)
        for word in ("'keep'", "'thick'", "'thickness'", "'top'", "thickness_mm", "beyond_edge_mm", "top_m"):
            assert word in said
        assert len(caught.value.problems) == 4

    @pytest.mark.parametrize(("text", "heading"), [("[layer]\nname = 3\n", "[[layer]]"),
                                                   ("[footing]\ntop_m = 3\n", "[[footing]]"),
                                                   ("[[old_floor]]\nthickness_mm = 3\n", "[old_floor]")])
    def test_a_heading_with_the_wrong_brackets(self, text: str, heading: str) -> None:
        with pytest.raises(SurveyError, match="is not a part") as caught:
            read_brief(SITE + text)
        assert heading in str(caught.value)

    def test_a_value_changed_keeps_the_notes(self) -> None:
        text = SITE + '[[layer]]\nname = "bed"   # sharp sand\nthickness_mm = 40\n'
        changed = with_value(text, "layer", 1, "thickness_mm", "35")
        assert "# sharp sand" in changed
        assert read_brief(changed)["layer"] == [{"name": "bed", "thickness_mm": 35}]


NUMBERS = st.one_of(st.integers(-10**20, 10**20), st.integers(-5, 300), st.floats(), st.floats(0, 300))
WORDS = ["", "a", "C1", "C2", "S1", "N1", "corner", "units", "t", "1:4", "each"]
LEAF = st.one_of(NUMBERS, st.booleans(), st.sampled_from(WORDS),
                 st.text(max_size=3), st.dates())
ANY = st.recursive(LEAF, lambda inner: st.one_of(st.lists(inner, max_size=4),
                                                 st.dictionaries(st.text(max_size=2), inner, max_size=2)), max_leaves=8)


def part(*keys: str) -> st.SearchStrategy[dict[str, Any]]:
    return st.fixed_dictionaries({}, optional=dict.fromkeys(keys, ANY))


SOUND_LAYER = {"name": "base", "thickness_mm": 100}
SOUND_FOOTING = {"name": "old", "corners_m": [[0, 0], [1, 0], [1, 1]], "top_m": 9.8}


class TestOddTypes:
    """Whatever the tables hold, `brief_of` gives a brief or sentences."""

    @steady
    @given(part("name", "thickness_mm", "kind", "tolerance_mm", "loose", "density_kg_m3", "waste_percent", "lift_mm", "mix",
                "price", "price_per"))
    def test_layers(self, reduced: ReducedLevels, entry: dict[str, Any]) -> None:
        self.withstands({"layer": [SOUND_LAYER | entry]}, reduced)

    @steady
    @given(part("thickness_mm", "corners", "corners_m"))
    def test_old_floors(self, reduced: ReducedLevels, entry: dict[str, Any]) -> None:
        self.withstands({"old_floor": {"thickness_mm": 100} | entry}, reduced)

    @steady
    @given(part("name", "corners", "corners_m", "top_m", "points"))
    def test_footings(self, reduced: ReducedLevels, entry: dict[str, Any]) -> None:
        self.withstands({"footing": [SOUND_FOOTING | entry]}, reduced)

    @steady
    @given(part("kept", "beyond_edge_mm"))
    def test_edges(self, reduced: ReducedLevels, entry: dict[str, Any]) -> None:
        self.withstands({"area": {"corners": ["C1", "C2", "C3", "C4"]} | entry}, reduced)

    @steady
    @given(st.dictionaries(st.sampled_from(["layer", "footing", "old_floor", "area", "taking_up", "units"]), ANY, max_size=3))
    def test_parts_that_are_none(self, reduced: ReducedLevels, parts: dict[str, Any]) -> None:
        self.withstands(parts, reduced)

    @steady
    @given(st.text(alphabet='[]{}="\'\n#.,-+0123456789layerfoting_m \u202e\x00', max_size=40))
    def test_rubbish(self, reduced: ReducedLevels, tail: str) -> None:
        self.through_text(SITE + tail, reduced)

    @staticmethod
    def withstands(parts: dict[str, Any], reduced: ReducedLevels) -> None:
        """A file with these parts, as far as it can be written, gives a brief or sentences."""
        try:
            text = tomlkit.dumps({"format": 1, "area": {"corners": ["C1", "C2", "C3", "C4"]}} | parts)
        except (ValueError, TypeError, AttributeError):
            return
        TestOddTypes.through_text(text, reduced)

    @staticmethod
    def through_text(text: str, reduced: ReducedLevels) -> None:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            with contextlib.suppress(SurveyError):
                assert isinstance(brief_of(read_brief(text), reduced), Brief)
