"""Staff readings to look for at pegs."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from sitelevels import (
    Brief,
    Facet,
    Finish,
    Ground,
    Layer,
    Plane,
    SurveyError,
    SurveyWarning,
    read_book,
    reduce_book,
    set_out,
)
from sitelevels.design.layers import Footing, Underside
from sitelevels.works.dig import dig_out

steady = settings(deadline=None, max_examples=60, derandomize=True)

AREA = [(0, 0), (6, 0), (6, 4), (0, 4)]
BRIEF = Brief(AREA, layers=[Layer("slab", 0.04), Layer("bed", 0.03), Layer("sub-base", 0.1)])
FINISH = Finish.plane(Plane(9.80, 0.0, -0.0125), AREA)
"""9.800 at y = 0 and 9.750 at y = 4; the formation 170 mm lower."""


def row(pegs: object, **options: object) -> dict[str, object]:
    (found,) = set_out(FINISH, BRIEF, pegs, **options).table.to_dict("records")  # type: ignore[arg-type]
    return found


def test_a_peg_by_hand() -> None:
    assert row([("A", 2, 4, 9.80)], hpc=11.0) == {
        "point": "A", "x": 2.0, "y": 4.0, "existing": 9.8, "finished": pytest.approx(9.75), "formation": pytest.approx(9.58),
        "dig": pytest.approx(0.22), "fill": 0.0, "reading_formation": pytest.approx(1.42),
        "reading_finished": pytest.approx(1.25), "note": ""}


def test_where_the_ground_is_too_low_it_is_filled_and_not_dug() -> None:
    found = row([("A", 2, 4, 9.50)], hpc=11.0)
    assert (found["dig"], found["fill"]) == (0.0, pytest.approx(0.08))


def test_a_backsight_gives_the_height_of_the_instrument() -> None:
    assert set_out(FINISH, BRIEF, [("A", 2, 4)], backsight=(10.0, 1.234)).hpc == pytest.approx(11.234, abs=1e-12)


def test_an_upside_down_backsight_does_too() -> None:
    assert set_out(FINISH, BRIEF, [("A", 2, 4)], backsight=(12.4, -1.4)).hpc == pytest.approx(11.0, abs=1e-12)


def test_reading_and_level_make_up_the_height_of_the_instrument() -> None:
    for peg in set_out(FINISH, BRIEF, [("A", 0, 0), ("B", 6, 4), ("C", 3, 2)], hpc=11.0).pegs:
        assert peg.finished + peg.reading_finished == pytest.approx(11.0, abs=1e-12)
        assert peg.formation + peg.reading_formation == pytest.approx(11.0, abs=1e-12)
        assert peg.reading_formation - peg.reading_finished == pytest.approx(0.17, abs=1e-12)


def test_ground_not_read_leaves_the_dig_empty_and_says_so() -> None:
    found = row([("A", 2, 4)], hpc=11.0)
    assert (found["existing"], found["dig"], found["fill"]) == (None, None, None)
    assert found["note"] == "ground not read here"


def test_the_ground_gives_what_the_peg_does_not_bring() -> None:
    ground = Ground([0, 6, 6, 0], [0, 0, 3, 3], [9.9, 9.9, 9.6, 9.6])
    table = set_out(FINISH, BRIEF, [("A", 3, 1), ("B", 3, 4), ("C", 3, 2, 10.0)], hpc=11.0, ground=ground).table
    assert table["existing"].iloc[0] == pytest.approx(9.8, abs=1e-9)
    assert math.isnan(table["existing"].iloc[1])
    assert table["existing"].iloc[2] == 10.0
    assert table["note"].tolist() == ["", "ground not read here", ""]


def test_paving_above_the_line_of_sight_is_noted() -> None:
    assert row([("A", 2, 0, 9.9)], hpc=9.79)["note"] == "above the line of sight: set the instrument higher"
    assert row([("A", 2, 0, 9.9)], hpc=9.81)["note"] == ""


def test_pegs_may_come_as_the_spots_of_a_book() -> None:
    text = "point,bs,is,x,y,rl\nBM,1.500,,1,1,10.000\nA,,1.700,2,4,\nB,,1.800,3,0,\n"
    table = set_out(FINISH, BRIEF, reduce_book(read_book(text)).spots(), hpc=11.0).table
    assert table["point"].tolist() == ["BM", "A", "B"]
    assert table["existing"].tolist() == pytest.approx([10.0, 9.8, 9.7], abs=1e-9)


def test_a_table_without_levels_will_do() -> None:
    table = set_out(FINISH, BRIEF, pd.DataFrame({"point": ["A"], "x": [1.0], "y": [1.0]}), hpc=11.0).table
    assert table["finished"].tolist() == pytest.approx([9.7875], abs=1e-12)


def test_each_peg_has_the_level_of_its_own_facet() -> None:
    valley = Finish((Facet(Plane(9.8, 0.0, -0.02), Finish.plane(Plane(0, 0, 0), [(0, 0), (6, 0), (6, 2), (0, 2)]).facets[0].area),
                     Facet(Plane(9.76, 0.0, 0.02, (0.0, 2.0)),
                           Finish.plane(Plane(0, 0, 0), [(0, 2), (6, 2), (6, 4), (0, 4)]).facets[0].area)))
    table = set_out(valley, BRIEF, [("A", 1, 1), ("B", 1, 3), ("C", 1, 2)], hpc=11.0).table
    assert table["finished"].tolist() == pytest.approx([9.78, 9.78, 9.76], abs=1e-12)


def test_what_it_shows_is_escaped_and_names_the_height() -> None:
    shown = set_out(FINISH, BRIEF, [("<b>", 2, 4, 9.8)], hpc=11.0)._repr_html_()
    assert "<b>" not in shown
    assert "11.000 m" in shown


class TestRefusals:
    @pytest.mark.parametrize("height", [
        {}, {"hpc": 11.0, "backsight": (10.0, 1.0)}, {"hpc": math.nan}, {"hpc": math.inf}, {"backsight": (10.0, math.nan)},
        {"backsight": (10.0,)}, {"backsight": ("10.0", 1.2)}, {"backsight": 11.0},
        {"backsight": (10.0, 1.0, 0.5)}, {"backsight": ()}], ids=str)
    def test_a_height_that_is_not_clear(self, height: dict[str, object]) -> None:
        with pytest.raises(SurveyError):
            set_out(FINISH, BRIEF, [("A", 2, 4)], **height)  # type: ignore[arg-type]

    def test_no_pegs(self) -> None:
        with pytest.raises(SurveyError, match="no pegs"):
            set_out(FINISH, BRIEF, [], hpc=11.0)

    def test_a_peg_off_the_paving_is_named(self) -> None:
        with pytest.raises(SurveyError, match=r"Peg B: .* is 1\.00 m outside the finished surface"):
            set_out(FINISH, BRIEF, [("A", 2, 4), ("B", 2, 5)], hpc=11.0)

    def test_all_pegs_off_the_paving_are_named_at_once(self) -> None:
        with pytest.raises(SurveyError) as caught:
            set_out(FINISH, BRIEF, [("B", 2, 5), ("A", 2, 4), ("C", 9, 1)], hpc=11.0)
        assert [problem.split(":")[0] for problem in caught.value.problems] == ["Peg B", "Peg C"]

    def test_a_spot_without_a_place_is_told_so(self) -> None:
        text = "point,bs,is,x,y,rl\nBM,1.500,,,,10.000\nA,,1.700,2,4,\n"
        with pytest.raises(SurveyError, match="BM") as caught:
            set_out(FINISH, BRIEF, reduce_book(read_book(text)).spots(), hpc=11.0)
        assert "nan" not in str(caught.value)
        assert "inf" not in str(caught.value)

    @pytest.mark.parametrize("pegs", [[("A", 2)], [("A", 2, 4, "low")], [("A", 2, 4, math.inf)], [("A", "two", 4)],
                                      [("A", 1e308, 4)], [("A", 2, 4, 1e308)], pd.DataFrame({"name": ["A"], "x": [1], "y": [1]})],
                             ids=["no y", "level a word", "level infinite", "x a word", "x endless", "level endless",
                                  "no column point"])
    def test_pegs_that_cannot_be_read(self, pegs: object) -> None:
        with pytest.raises(SurveyError):
            set_out(FINISH, BRIEF, pegs, hpc=11.0)  # type: ignore[arg-type]


YARD = set_out(FINISH, BRIEF, [("A", 2, 4, 9.80), ("B", 0, 0), ("C", 6, 2)], backsight=(10.0, 1.0))
"""Plane of collimation 11.000 m; A finished at 9.750 m, B at 9.800 m, C at 9.775 m."""
VALLEY = Finish((Facet(Plane(9.8, 0.0, -0.02), Finish.plane(Plane(0, 0, 0), [(0, 0), (6, 0), (6, 2), (0, 2)]).facets[0].area),
                 Facet(Plane(9.76, 0.0, 0.02, (0.0, 2.0)),
                       Finish.plane(Plane(0, 0, 0), [(0, 2), (6, 2), (6, 4), (0, 4)]).facets[0].area)))


class TestLayers:
    def test_readings_by_hand(self) -> None:
        """Slab 40, bed 30, sub-base 100 mm: from 1.250 m at A down to 1.290, 1.320 and 1.420 m."""
        table = YARD.readings
        assert table.columns.tolist() == ["point", "finished", "top of bed", "top of sub-base", "formation"]
        assert table.iloc[0].tolist() == ["A", *map(pytest.approx, (1.250, 1.290, 1.320, 1.420))]
        assert table.iloc[1].tolist() == ["B", *map(pytest.approx, (1.200, 1.240, 1.270, 1.370))]

    def test_levels_by_hand(self) -> None:
        assert YARD.peg("C").levels == {"finished": pytest.approx(9.775), "top of bed": pytest.approx(9.735),
                                        "top of sub-base": pytest.approx(9.705), "formation": pytest.approx(9.605)}

    def test_without_layers_the_formation_is_the_finish(self) -> None:
        bare = set_out(FINISH, Brief(AREA), [("A", 2, 4)], hpc=11.0)
        assert bare.readings.iloc[0].tolist() == ["A", pytest.approx(1.25), pytest.approx(1.25)]

    @pytest.mark.parametrize(("names", "tops"), [
        (["bed", "Bed"], ["top of Bed, layer 2"]), (["slab", "bed", "bed"], ["top of bed, layer 2", "top of bed, layer 3"]),
        (["slab", "bed", "bed", "bed, layer 3"], ["top of bed, layer 2", "top of bed, layer 3", "top of bed, layer 3, layer 4"]),
        (["slab", "bed, layer 3", "bed", "bed"],
         ["top of bed, layer 3", "top of bed, layer 3, layer 3", "top of bed, layer 4"]),
        (["slab", " bed "], ["top of bed"]), (["slab", "layer", "formation"], ["top of layer", "top of formation"]),
        (["slab"], [])], ids=str)
    def test_layers_of_one_name_are_told_apart(self, names: list[str], tops: list[str]) -> None:
        layers = [Layer(name, 0.01 * number) for number, name in enumerate(names, start=1)]
        levels = set_out(FINISH, Brief(AREA, layers=layers), [("A", 2, 4)], hpc=11.0).pegs[0].levels
        assert list(levels) == ["finished", *tops, "formation"]
        assert -np.diff(list(levels.values())) == pytest.approx([layer.thickness for layer in layers], abs=1e-12)

    @steady
    @given(st.lists(st.floats(0, 0.5), min_size=1, max_size=6), st.floats(-3, 3), st.floats(0, 6), st.floats(0, 4))
    def test_one_reading_less_the_one_above_is_the_thickness(self, thick: list[float], hpc: float, x: float, y: float) -> None:
        brief = Brief(AREA, layers=[Layer("course", one) for one in thick])
        readings = list(set_out(FINISH, brief, [("A", x, y)], hpc=10 + hpc).pegs[0].readings.values())
        assert np.diff(readings) == pytest.approx(thick, abs=1e-12)
        assert readings[0] == pytest.approx(10 + hpc - (9.80 - 0.0125 * y), abs=1e-12)

    def test_a_staff_too_short_is_noted(self) -> None:
        assert row([("A", 2, 4, 9.8)], hpc=14.57)["note"] == ""
        assert row([("A", 2, 4, 9.8)], hpc=14.59)["note"] == "longer than a 5 m staff: set the instrument lower"

    def test_a_backsight_longer_than_a_staff_is_questioned(self) -> None:
        with pytest.warns(SurveyWarning, match=r"The backsight is 5\.200 m, longer than a 5 m staff"):
            set_out(FINISH, BRIEF, [("A", 2, 4)], backsight=(5.8, 5.2))


def over(top: float, *more: float) -> list[Footing]:
    """Footings under A with their tops."""
    return [Footing(f"old {number}", shapely.box(1, 3, 3, 4), one) for number, one in enumerate((top, *more))]


class TestBottom:
    """A is finished at 9.750 m, its formation lies at 9.580; ground 9.800 unless told."""

    @pytest.mark.parametrize(("existing", "floor", "tops", "dig", "fill", "note"), [
        (9.80, None, [], 0.22, 0.0, ""),
        (9.80, 0.10, [], 0.22, 0.0, ""),  # underside 9.700
        (9.80, 0.22, [], 0.22, 0.0, ""),
        (9.80, 0.30, [], 0.30, 0.08, "below the old floor fill 80 mm"),  # underside 9.500
        (9.50, None, [], 0.0, 0.08, ""),
        (9.50, 0.10, [], 0.10, 0.18, "below the old floor fill 180 mm"),  # underside 9.400, and the ground is low as well
        (9.80, None, [9.65], 0.15, 0.0, "a footing stays 70 mm above the formation"),
        (9.80, 0.30, [9.65], 0.15, 0.0, "a footing stays 70 mm above the formation"),
        (9.80, 0.30, [9.55], 0.25, 0.03, "below the old floor fill 30 mm"),  # its top between underside and formation
        (9.80, 0.30, [9.45], 0.30, 0.08, "below the old floor fill 80 mm"),  # its top under the underside
        (9.80, None, [9.55], 0.22, 0.0, ""),
        (9.80, None, [9.60, 9.65, 9.55], 0.15, 0.0, "a footing stays 70 mm above the formation"),
        (9.60, None, [9.65], 0.0, 0.0, "a footing stays 70 mm above the formation"),
        (9.50, None, [9.65], 0.0, 0.08, "a footing stays 70 mm above the formation")])
    def test_by_hand(self, existing: float, floor: float | None, tops: list[float], dig: float, fill: float, note: str) -> None:
        brief = Brief(AREA, layers=BRIEF.layers, underside=None if floor is None else Underside(floor),
                      footings=over(*tops) if tops else [])
        table = set_out(FINISH, brief, [("A", 2, 4, existing)], hpc=11.0)
        peg = table.pegs[0]
        assert (peg.dig, peg.fill, table.note(peg)) == (pytest.approx(dig, abs=1e-9), pytest.approx(fill, abs=1e-9), note)

    def test_what_there_is_to_say_is_said_in_one_line(self) -> None:
        brief = Brief(AREA, layers=BRIEF.layers, footings=over(9.65))
        (note,) = set_out(FINISH, brief, [("A", 2, 4)], hpc=9.70).table["note"]
        assert note == ("above the line of sight: set the instrument higher; a footing stays 70 mm above the formation; "
                        "ground not read here")

    def test_beside_floor_and_footing(self) -> None:
        brief = Brief(AREA, layers=BRIEF.layers, underside=Underside(0.3, shapely.box(0, 0, 6, 2)), footings=over(9.65))
        notes = set_out(FINISH, brief, [("A", 5, 3, 9.8), ("B", 5, 1, 9.8), ("C", 2, 3.5, 9.8)], hpc=11.0).table["note"]
        assert [note[:9] for note in notes] == ["", "below the", "a footing"]

    @pytest.mark.parametrize("top", [9.60, 9.72, 9.75, 9.80, 9.85, 9.95])
    @pytest.mark.parametrize("floor", [0.1, 0.3])
    def test_it_is_what_the_dig_comes_to_over_level_ground(self, top: float, floor: float) -> None:
        """The other way: volumes of the whole yard, all of it over the footing, by its 24 m²."""
        level, ground = Finish.plane(Plane(10.0, 0, 0), AREA), Ground([-1, 7, 7, -1], [-1, -1, 5, 5], [10.0] * 4)
        brief = Brief(AREA, layers=[Layer("slab", 0.2)], beyond_edge=0.0, underside=Underside(floor),
                      footings=[Footing("old", shapely.box(-1, -1, 7, 5), top)])
        whole, peg = dig_out(ground, level, brief), set_out(level, brief, [("A", 3, 2)], hpc=11.0, ground=ground).pegs[0]
        assert (24 * (peg.dig or 0), 24 * (peg.fill or 0)) == (pytest.approx(whole.concrete + whole.soil, abs=1e-7),
                                                               pytest.approx(whole.fill, abs=1e-7))
        bottom = max(top, min(9.8, 10 - floor))
        assert (peg.dig, peg.fill) == (pytest.approx(10 - bottom, abs=1e-9), pytest.approx(max(9.8 - bottom, 0), abs=1e-9))

    def test_a_floor_of_several_thicknesses_is_as_thick_as_in_the_dig(self) -> None:
        """100 mm at the corners and 200 in the middle: 150 halfway, by the straight line; 50 mm of it lie over the formation."""
        floor = Underside([(0, 0, 0.1), (6, 0, 0.1), (6, 4, 0.1), (0, 4, 0.1), (3, 2, 0.2)])
        level, ground = Finish.plane(Plane(10.0, 0, 0), AREA), Ground([0, 6, 6, 0], [0, 0, 4, 4], [10.0] * 4)
        pegs = [("A", 0, 0), ("B", 1.5, 1), ("C", 3, 2), ("D", 3, 0)]
        table = set_out(level, Brief(AREA, layers=[Layer("slab", 0.05)], underside=floor), pegs, hpc=11.0, ground=ground).table
        assert table["dig"].tolist() == pytest.approx([0.1, 0.15, 0.2, 0.1], abs=1e-9)
        assert table["fill"].tolist() == pytest.approx([0.05, 0.1, 0.15, 0.05], abs=1e-9)


class TestStrings:
    def test_by_hand(self) -> None:
        """100 mm above the finish of A at 9.750 m: level 9.850, reading 1.150; down 100, 140, 170 and 270 mm."""
        table = YARD.strings(0.1)
        assert table.columns.tolist() == ["point", "string_level", "reading_string", "down to finished", "down to top of bed",
                                          "down to top of sub-base", "down to formation", "note"]
        assert table.iloc[0].tolist() == ["A", *map(pytest.approx, (9.850, 1.150, 0.100, 0.140, 0.170, 0.270)),
                                          "one plane: the same all along a string"]

    def test_down_is_the_same_at_every_peg(self) -> None:
        down = YARD.strings(0.15).filter(like="down to").to_numpy()
        assert np.ptp(down, axis=0) == pytest.approx(0.0, abs=1e-12)
        assert down[0] == pytest.approx([0.15, 0.19, 0.22, 0.32], abs=1e-12)

    @steady
    @given(st.tuples(*[st.floats(0, 1)] * 5), st.floats(0, 1))
    def test_between_two_pegs_the_string_is_as_far_above_the_plane(self, places: tuple[float, ...], height: float) -> None:
        """The other way: the string is straight in space, so its level goes by shares of the way between its ends."""
        x, y, to_x, to_y, share = places
        ends = set_out(FINISH, BRIEF, [("A", 6 * x, 4 * y), ("B", 6 * to_x, 4 * to_y)], hpc=11.0)
        one, other = ends.strings(height)["string_level"]
        level = FINISH.level_at(6 * (x + share * (to_x - x)), 4 * (y + share * (to_y - y)))
        assert one + share * (other - one) - level == pytest.approx(ends.strings(height)["down to finished"][0], abs=1e-12)

    def test_over_several_facets_each_peg_names_its_own(self) -> None:
        notes = set_out(VALLEY, BRIEF, [("A", 1, 1), ("B", 1, 3), ("C", 1, 2)], hpc=11.0).strings()["note"].tolist()
        assert [note.split(":")[0] for note in notes] == ["facet 1", "facet 2", "facet 1 or 2"]
        stepped = Finish((VALLEY.facets[0], Facet(VALLEY.facets[1].plane.lowered(0.1), VALLEY.facets[1].area)))
        (note,) = set_out(stepped, BRIEF, [("C", 1, 2)], hpc=11.0).strings()["note"]
        assert note.startswith("facet 1:")

    def test_a_string_above_the_line_of_sight_is_noted(self) -> None:
        low = set_out(FINISH, BRIEF, [("A", 2, 4)], hpc=9.80)
        assert low.strings(0.04)["note"][0].startswith("one plane")
        assert low.strings(0.06)["note"][0].startswith("string above the line of sight")
        assert low.strings(0.06)["reading_string"][0] == pytest.approx(-0.01)

    def test_a_string_from_the_top_of_a_peg(self) -> None:
        """Plane of collimation 11.000: a peg top that reads 1.200 stands at 9.800, 50 mm above the finish of A at 9.750."""
        peg = YARD.peg("A")
        assert peg.string_above(1.200) == pytest.approx(-0.05)
        assert peg.string_above(1.200, height=0.1) == pytest.approx(0.05)
        assert peg.string_above(peg.reading_finished) == pytest.approx(0.0, abs=1e-12)

    @pytest.mark.parametrize("height", [-0.1, math.nan, "0.1", None])
    def test_heights_that_will_not_do(self, height: object) -> None:
        for ask in (YARD.strings, lambda high: YARD.pegs[0].string_above(1.2, height=high)):
            with pytest.raises(SurveyError, match="height of the string"):
                ask(height)

    def test_a_height_in_millimetres_is_questioned(self) -> None:
        with pytest.warns(SurveyWarning, match=r"100\.000 m"):
            YARD.strings(100)
        with pytest.warns(SurveyWarning, match=r"reading on peg A is 1200\.000 m"):
            YARD.pegs[0].string_above(1200)


class TestMoved:
    @steady
    @given(st.floats(-1, 4), st.floats(8, 12))
    def test_every_reading_goes_by_the_difference_of_the_two_heights(self, reading: float, level: float) -> None:
        there = YARD.moved(backsight=(level, reading))
        shift = there.readings.iloc[:, 1:].to_numpy() - YARD.readings.iloc[:, 1:].to_numpy()
        assert shift == pytest.approx(level + reading - 11.0, abs=1e-12)
        assert (there.backsight, there.check, there.doubt) == ((level, reading), None, "")

    def test_it_is_what_setting_out_anew_would_give(self) -> None:
        there = YARD.moved((10.2, 1.345))
        anew = set_out(there.finish, there.brief, [(peg.point, peg.x, peg.y, peg.existing) for peg in YARD.pegs],
                       backsight=(10.2, 1.345), ground=there.ground)
        pd.testing.assert_frame_equal(there.table, anew.table)
        assert YARD.hpc == 11.0

    @pytest.mark.parametrize(("reading", "check", "doubted"), [
        (1.750, 0.0, False), (1.757, 0.007, False), (1.743, -0.007, False), (1.7575, 0.0075, True), (1.742, -0.008, True)])
    def test_a_peg_read_again_by_hand(self, reading: float, check: float, doubted: bool) -> None:
        """HPC 11.500: A, finished at 9.750 m, is to read 1.750; 5 mm × √2 = 7.07 mm is allowed."""
        there = YARD.moved(backsight=(10.0, 1.5), check=("A", reading))
        assert there.check == pytest.approx(check, abs=1e-9)
        assert bool(there.doubt) is doubted

    def test_what_the_doubt_says(self) -> None:
        there = YARD.moved((10.0, 1.5), check=("A", 1.932, "formation"))
        assert there.doubt.startswith("The laser or the benchmark has moved: peg A, formation, reads 1.932 m where 1.920 m is "
                                      "due, 12.0 mm lower than it was set out; 7.07 mm is allowed (5 mm × √2 set-ups).")
        assert "11.9 mm higher" in YARD.moved((10.0, 1.5), check=("A", 1.7781, "top of bed")).doubt
        assert "The laser or the benchmark" in there._repr_html_()
        again = there.moved((10.0, 1.4))
        assert again.check is None
        assert "The laser" not in again._repr_html_()

    def test_a_name_in_the_doubt_is_escaped(self) -> None:
        odd = set_out(FINISH, BRIEF, [("<b>", 2, 4)], hpc=11.0).moved((10.0, 1.5), check=("<b>", 1.9))
        assert "<b>" in odd.doubt
        assert "<b>" not in odd._repr_html_()

    @pytest.mark.parametrize(("check", "told"), [
        (("Z", 1.7), "No pegs are called 'Z'. Among the pegs are A, B, C"), (("A", "1.7"), "reading on peg A"),
        (("A", math.nan), "reading on peg A"), (("A",), "The check is"), ((), "The check is"),
        ("AB", "The check is"), (5, "The check is"),
        (("A", 1.7, "top of slab"), "Its surfaces are finished, top of bed, top of sub-base, formation"),
        (("A", 1.7, []), "no surface"), (("A", 1.7, "finished", 1), "The check is"), ((["A"], 1.7), "name of a peg")], ids=str)
    def test_checks_that_will_not_do(self, check: object, told: str) -> None:
        with pytest.raises(SurveyError, match=told):
            YARD.moved((10.0, 1.5), check=check)  # type: ignore[arg-type]

    def test_a_name_that_two_pegs_bear(self) -> None:
        with pytest.raises(SurveyError, match="2 pegs are called 'A'"):
            set_out(FINISH, BRIEF, [("A", 2, 4), ("A", 2, 1)], hpc=11.0).moved((10.0, 1.5), check=("A", 1.7))

    @pytest.mark.parametrize("backsight", [(10.0,), 11.5, (10.0, math.nan), None, ("a", 1.0)], ids=str)
    def test_backsights_that_will_not_do(self, backsight: object) -> None:
        with pytest.raises(SurveyError):
            YARD.moved(backsight)  # type: ignore[arg-type]

    def test_long_readings_are_questioned(self) -> None:
        with pytest.warns(SurveyWarning, match="The reading on peg A is 1750"):
            assert YARD.moved((10.0, 1.5), check=("A", 1750)).doubt
        with pytest.warns(SurveyWarning, match="The backsight is 1500"):
            YARD.moved((10.0, 1500))

    def test_a_negative_reading_is_one_above_the_line_of_sight(self) -> None:
        high = "above the line of sight: set the instrument higher"
        unread = f"{high}; ground not read here"
        assert YARD.moved((9.0, 0.7)).table["note"].tolist() == [high, unread, unread]
