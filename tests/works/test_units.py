"""Units over an area: hand-worked cases, refusals, speed and the picture."""

from __future__ import annotations

import math
import re
import time
import warnings
from typing import Any

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from matplotlib.figure import Figure

from sitelevels.errors import SurveyError, SurveyWarning
from sitelevels.workbook.figures import in_words
from sitelevels.workbook.figures.units import units as picture
from sitelevels.works import units
from sitelevels.works.offcuts import cut_from_units
from sitelevels.works.posts import Post
from sitelevels.works.units import UnitLayout, lay_out_units

steady = settings(deadline=None, max_examples=25, derandomize=True)


def box(width: float, depth: float) -> list[tuple[float, float]]:
    return [(0, 0), (width, 0), (width, depth), (0, depth)]


def counts(layout: UnitLayout) -> tuple[int, int, int, int]:
    return layout.whole, layout.cut, layout.slivers, layout.units


class TestByHand:
    def test_slabs_of_450_with_joints_of_10_repeat_every_460(self) -> None:
        """Common practice, no source: four of them are 4 × 460 − 10 = 1830 mm."""
        layout = lay_out_units(box(1.83, 0.91), (0.45, 0.45), joint=0.01, bonds=("stack",))
        assert counts(layout) == (8, 0, 0, 8)
        lefts = sorted({piece.polygon.bounds[0] for piece in layout.pieces})
        assert lefts == pytest.approx([0, 0.46, 0.92, 1.38], abs=1e-12)
        assert layout.order == 9  # 8 × 1.05 = 8.4
        assert layout.laid_area == pytest.approx(8 * 0.45**2, abs=1e-12)

    def test_three_by_two_metres_of_600_by_300(self) -> None:
        """5 columns and 6 rows of 300 with a row of 200: 30 whole, 5 cut; an offcut of 600 × 96 serves nobody. Turned: 10 cut."""
        layout = lay_out_units(box(3, 2), (0.6, 0.3), joint=0, bonds=("stack",))
        assert counts(layout) == (30, 5, 0, 35)
        assert layout.order == 37  # 36.75
        assert layout.sizes.to_dict("records") == [
            {"length": 0.6, "width": 0.3, "shape": "whole", "count": 30, "sliver": False},
            {"length": 0.6, "width": 0.2, "shape": "straight cut", "count": 5, "sliver": False}]
        turned = layout.table[layout.table.turned]
        assert turned.cut.min() == 10

    def test_sizes_by_hand(self) -> None:
        """3.3 × 1.8 m of 600 × 300 from the corner: six rows of five whole and one half, and no unit gives two halves of 300."""
        layout = lay_out_units(box(3.3, 1.8), (0.6, 0.3), joint=0, bonds=("stack",), start=(0, 0), turned=False)
        assert counts(layout) == (30, 6, 0, 36)
        assert layout.sizes[["length", "width", "shape", "count"]].to_numpy().tolist() == [
            [0.6, 0.3, "whole", 30], [pytest.approx(0.3), 0.3, "straight cut", 6]]
        assert layout.order == 38  # 37.8
        assert layout.laid_area == pytest.approx(3.3 * 1.8, abs=1e-12)

    def test_equal_cuts_at_both_ends_avoid_slivers(self) -> None:
        """2.06 m of slabs of 0.5: four leave 60 mm, a sliver; three and two of 280 do not."""
        layout = lay_out_units(box(2.06, 0.5), (0.5, 0.5), joint=0, bonds=("stack",))
        assert counts(layout) == (3, 2, 0, 5)
        assert layout.sizes.length.tolist() == pytest.approx([0.5, 0.28])
        assert lay_out_units(box(2.06, 0.5), (0.5, 0.5), joint=0, bonds=("stack",), start=(0, 0)).slivers == 1

    def test_running_bond_moves_every_second_row_by_half(self) -> None:
        """2.0 × 0.9 m of 400 × 300 from the corner: rows of 5, of 4 and two halves, of 5."""
        layout = lay_out_units(box(2, 0.9), (0.4, 0.3), joint=0, bonds=("running",), start=(0, 0), turned=False)
        assert layout.bond == "running along"
        assert counts(layout) == (14, 2, 0, 16)  # the saw takes 4 mm, so that one unit gives only one half
        assert lay_out_units(box(2, 0.9), (0.4, 0.3), joint=0, bonds="running", start=(0, 0), turned=False, kerf=0).units == 15

    def test_half_a_pitch_leaves_half_a_unit_less_half_a_joint(self) -> None:
        """5 × 400 + 4 × 10 = 2040; a half is (400 − 10) / 2 = 195, and a saw of 4 mm gets two out of one."""
        layout = lay_out_units(box(2.04, 0.92), (0.4, 0.3), joint=0.01, bonds=("running",), start=(0, 0), turned=False)
        assert counts(layout) == (14, 2, 0, 15)
        assert layout.sizes.length.tolist() == pytest.approx([0.4, 0.195])

    def test_a_joint_is_kept_along_an_edge_that_stays(self) -> None:
        """From 10 mm on, 490 + 10 + 490 reaches 1 m across; up, 490 + 10 + 490 leaves the width of a joint."""
        layout = lay_out_units(box(1, 1), (0.49, 0.49), joint=0.01, kept=[((0, 0), (0, 1))], bonds=("stack",))
        assert counts(layout) == (4, 0, 0, 4)
        assert layout.drawn_in.bounds == pytest.approx((0.01, 0, 1, 1))
        assert min(piece.polygon.bounds[0] for piece in layout.pieces) == pytest.approx(0.01)

    def test_a_joint_is_kept_along_that_stretch_only(self) -> None:
        layout = lay_out_units(box(1, 1), (0.3, 0.3), joint=0.01, kept=[((0, 0.3), (0, 0.7))])
        assert layout.drawn_in.area == pytest.approx(1 - 0.4 * 0.01, abs=1e-12)

    def test_two_edges_that_stay_meet_in_a_corner(self) -> None:
        layout = lay_out_units([(0, 0), (2, 0), (2, 1), (1, 1), (1, 2), (0, 2)], (0.3, 0.3), joint=0.02,
                               kept=[((1, 1), (2, 1)), ((1, 1), (1, 2))])
        assert layout.drawn_in.area == pytest.approx(3 - 2 * 0.02 - 0.02**2, abs=1e-12)

    def test_a_joint_is_kept_round_a_hole(self) -> None:
        """A cover of 100 mm in the middle of one slab of 500: legs of 200 less the joint of 10 are over a third (167)."""
        layout = lay_out_units(box(1.01, 0.5), (0.5, 0.5), joint=0.01, holes=[[(0.2, 0.2), (0.3, 0.2), (0.3, 0.3), (0.2, 0.3)]],
                               start=(0, 0), bonds=("stack",))
        _, piece = layout.pieces
        assert (piece.shape, piece.sliver) == ("with a hole", False)
        assert piece.polygon.area == pytest.approx(0.25 - 0.12**2, abs=1e-12)
        tight = lay_out_units(box(1.01, 0.5), (0.5, 0.5), joint=0.01, holes=[shapely.box(0.2, 0.2, 0.3, 0.3)], hole_joint=0.04,
                              start=(0, 0), bonds=("stack",))
        assert tight.pieces[1].sliver  # legs of 160
        assert tight.laid_area == pytest.approx(0.5 - 0.18**2, abs=1e-12)

    def test_a_hole_of_the_area_is_like_a_hole(self) -> None:
        gully = shapely.box(0.7, 0.4, 0.9, 0.6)
        given = lay_out_units(box(3, 2), (0.6, 0.3), joint=0.01, holes=[gully])
        cut_out = lay_out_units(shapely.Polygon(box(3, 2)) - gully, (0.6, 0.3), joint=0.01)
        assert counts(given) == counts(cut_out)
        assert given.laid_area == pytest.approx(cut_out.laid_area, abs=1e-12)

    def test_a_hole_on_the_edge_makes_a_notch(self) -> None:
        layout = lay_out_units(box(1.2, 0.6), (0.6, 0.6), joint=0, holes=[shapely.box(0.2, -0.3, 0.3, 0.2)], start=(0, 0))
        assert sorted(piece.shape for piece in layout.layout(1).pieces) == ["L or notched", "whole"]

    def test_a_post_may_be_a_hole(self) -> None:
        layout = lay_out_units(box(1.8, 0.6), (0.6, 0.6), joint=0, holes=[Post("A", at=(0.6, 0.3))], start=(0, 0),
                               bonds=("stack",))
        assert counts(layout) == (1, 2, 0, 3)
        assert layout.laid_area == pytest.approx(1.08 - 0.01, abs=1e-12)

    def test_strips_under_5_mm_are_left_to_the_joint(self) -> None:
        layout = lay_out_units(box(1.204, 0.6), (0.6, 0.6), joint=0, bonds=("stack",), start=(0, 0))
        assert (layout.whole, layout.cut, layout.trimmed) == (2, 0, 1)
        assert "1 strip under 5 mm" in layout.sentence()
        assert layout.laid_area == pytest.approx(1.204 * 0.6, abs=1e-12)

    def test_a_triangle_is_slanted(self) -> None:
        layout = lay_out_units([(0, 0), (1.2, 0), (0, 1.2)], (0.6, 0.6), joint=0, bonds=("stack",), start=(0, 0))
        assert counts(layout) == (1, 2, 0, 3)
        assert {piece.shape for piece in layout.pieces} == {"whole", "slanted"}

    def test_a_narrow_strip_at_a_slant_is_a_sliver(self) -> None:
        """A strip 150 mm wide from corner to corner of slabs, and on to 1.2 m.

        Slabs of 390 (a third: 130): three pieces lie along the diagonal, the strip has a tip of 30 in the fourth, and at each of
        three corners it cuts two triangles with legs of 106. Slabs of 460 (a third: 153): here the three along it are too
        narrow as well, though the least side of their bounding rectangles is 280.
        """
        half = 0.075 * math.sqrt(2)
        strip = [(0, half), (0, 0), (half, 0), (1.2, 1.2 - half), (1.2, 1.2), (1.2 - half, 1.2)]
        for side, cut, slivers in ((0.39, 10, 7), (0.46, 7, 7)):
            with pytest.warns(SurveyWarning, match="No whole unit"):
                layout = lay_out_units(strip, (side, side), joint=0, bonds=("stack",), start=(0, 0))
            assert (layout.cut, layout.slivers) == (cut, slivers)

    def test_units_across_have_their_length_across(self) -> None:
        layout = lay_out_units(box(0.9, 0.6), (0.6, 0.3), joint=0, bonds=("stack",))
        assert counts(layout) == (3, 0, 0, 3)
        assert layout.turned
        assert {(piece.length, piece.width) for piece in layout.pieces} == {(0.6, 0.3)}
        assert lay_out_units(box(0.9, 0.6), (0.6, 0.3), joint=0, bonds=("stack",), turned=False).cut == 2


class TestTries:
    def test_every_start_and_its_rank(self) -> None:
        layout = lay_out_units([(0, 0), (3.1, 0), (3.1, 1.4), (1.7, 1.4), (1.7, 2.9), (0, 2.9)], (0.6, 0.3), joint=0.01)
        table = layout.table
        assert list(table) == ["bond", "turned", "start_x", "start_y", "whole", "cut", "slivers", "units", "trimmed"]
        assert 100 < len(table) <= 200
        keys = table[["slivers", "cut", "units"]].to_numpy().tolist()
        assert keys == sorted(keys)
        assert set(table.bond) == {"stack", "running along", "running across"}
        assert set(table.turned) == {True, False}

    def test_starts_are_distinct_patterns(self) -> None:
        table = lay_out_units(box(3.1, 2.9), (0.6, 0.3), joint=0.01, bonds=("stack",), turned=False).table
        places = np.mod(table[["start_x", "start_y"]].to_numpy(), [0.61, 0.31])
        apart = np.abs(places[:, None] - places[None])
        apart = np.minimum(apart, np.array([0.61, 0.31]) - apart).max(axis=2)
        assert (apart[~np.eye(len(apart), dtype=bool)] > 1e-6).all()
        # whole or half against either edge, and equal cuts with a joint or a unit in the middle
        along = {0.0, 3.1 - 0.6, 1.55 + 0.005, 1.55 - 0.3, 0.305, 3.1 - 0.6 + 0.305}
        for x in along:
            assert (np.minimum(np.mod(places[:, 0] - x, 0.61), np.mod(x - places[:, 0], 0.61)) < 1e-9).any()

    def test_a_start_given_is_the_only_one(self) -> None:
        layout = lay_out_units(box(3, 2), (0.6, 0.3), joint=0.01, start=(0.25, 0.1))
        assert len(layout.table) == 6  # three bonds, two ways round
        off = np.mod(layout.table[~layout.table.turned & (layout.table.bond == "stack")][["start_x", "start_y"]].to_numpy()
                     - (0.25, 0.1) + 1e-9, [0.61, 0.31])
        assert np.abs(off).max() < 1e-8

    @pytest.mark.parametrize(("work", "tries"), [(1e9, 36), (900, 9), (1, 3)])
    def test_the_more_there_is_to_lay_the_fewer_are_tried(self, work: int, tries: int, monkeypatch: pytest.MonkeyPatch) -> None:
        """4.9 × 4.7 m are 92.1 units of 0.5 m and 5 places of an outline: 97.1 go into 900 nine times; three at the least.

        Against 0.5 m the starts along and across are at 0, 0.4, 0.2, 0.45, 0.25, 0.15 and 0, 0.2, 0.1, 0.35, 0.25, 0.45 m: 36.
        """
        monkeypatch.setattr(units, "MOST_WORK", work)
        layout = lay_out_units(box(4.9, 4.7), (0.5, 0.5), joint=0, bonds=("stack",))
        assert len(layout.tries) == tries
        assert layout.laid_area == pytest.approx(4.9 * 4.7, rel=1e-9)

    def test_another_layout_and_its_counts(self) -> None:
        layout = lay_out_units([(0, 0), (3.1, 0), (3.1, 1.4), (1.7, 1.4), (1.7, 2.9), (0, 2.9)], (0.6, 0.3), joint=0.01)
        for number in (1, 2, 17, len(layout.tries)):
            other = layout.layout(number)
            row = layout.table.iloc[number - 1]
            kinds = [piece.kind for piece in other.pieces]
            assert (row.whole, row.cut, row.trimmed) == (kinds.count("whole"), kinds.count("cut"), kinds.count("shaving"))
            assert row.slivers == sum(piece.sliver for piece in other.pieces)
            assert row.units == other.units
            assert (row.start_x, row.start_y) == other.start
        for number in (0, len(layout.tries) + 1):
            with pytest.raises(SurveyError, match="There is no layout"):
                layout.layout(number)

    @pytest.mark.parametrize(("angle", "shift"), [(0.3, (0, 0)), (2.0, (0, 0)), (0.7, (450_000, 120_000))])
    def test_turning_and_moving_the_plan_changes_no_count(self, angle: float, shift: tuple[float, float]) -> None:
        ell = np.array([(0, 0), (3.13, 0), (3.13, 1.42), (1.71, 1.42), (1.71, 2.97), (0, 2.97)])
        c, s = math.cos(angle), math.sin(angle)
        moved = ell @ np.array([[c, s], [-s, c]]) + shift
        one, two = lay_out_units(ell, (0.6, 0.3), joint=0.011), lay_out_units(moved, (0.6, 0.3), joint=0.011, along=(c, s))
        columns = ["bond", "turned", "whole", "cut", "slivers", "units", "trimmed"]
        assert sorted(one.table[columns].to_numpy().tolist()) == sorted(two.table[columns].to_numpy().tolist())
        assert one.laid_area == pytest.approx(two.laid_area, abs=1e-7)

    def test_two_thousand_units_and_five_notches_in_five_seconds(self) -> None:
        ell = shapely.Polygon([(0, 0), (26, 0), (26, 10), (12, 10), (12, 20), (0, 20)])
        for corners in [(3, 0, 3.7, 0.5), (10, 0, 11.3, 0.4), (0, 7, 0.6, 8), (25.5, 4, 26, 5.2), (5, 19.3, 6.1, 20)]:
            ell = ell - shapely.box(*corners)
        began = time.process_time()
        layout = lay_out_units(ell, (0.6, 0.3), joint=0.01)
        assert time.process_time() - began < 5
        assert len(layout.tries) > 150
        assert 1950 < layout.units < 2150


class TestRefusals:
    @pytest.mark.parametrize(("changes", "words"), [
        ({"unit": (0.0, 0.3)}, "a side of the unit is 0.0"),
        ({"unit": (0.6, -0.3)}, "a side of the unit is -0.3"),
        ({"unit": (0.6, math.nan)}, "nan"),
        ({"unit": 0.6}, "the unit is 0.6"),
        ({"unit": (0.6, 0.3, 0.05)}, "the unit is"),
        ({"joint": -0.01}, "the joint is -0.01"),
        ({"joint": math.inf}, "the joint is inf"),
        ({"joint": 0.4}, "wider than the unit"),
        ({"waste": 1.5}, "the waste is 1.5. It must be a share from 0 to 1"),
        ({"waste": -0.1}, "the waste is -0.1"),
        ({"kerf": -1}, "the kerf"),
        ({"kerf": 4}, "the kerf is 4000 mm. The unit is 300 mm wide. Give it in m"),
        ({"kerf": 0.3}, "the kerf is 300 mm"),
        ({"along": (0, 0)}, "no length"),
        ({"bonds": ("herringbone",)}, "stack, running"),
        ({"bonds": ()}, "stack, running"),
        ({"bonds": np.array("stack")}, "stack, running"),
        ({"start": (1,)}, "the start"),
        ({"hole_joint": -1}, "the joint round holes"),
        ({"unit": (3.0, 2.5)}, "one unit covers 7.5 m², more than the 6.0 m²"),
        ({"unit": (450, 450)}, "typed in mm"),
        ({"holes": [shapely.box(5, 5, 6, 6)]}, "hole 1: it lies outside"),
        ({"holes": [Post("gate", at=(5, 5))]}, r"hole 1 \(gate\): it lies outside"),
        ({"holes": [shapely.box(1, 1, 2, 1.5), shapely.box(1.5, 1.2, 2.5, 1.7)]}, "hole 2: it overlaps hole 1"),
        ({"holes": [[(0, 0), (1, 1)]]}, "hole 1: "),
        ({"holes": [shapely.box(-1, -1, 4, 3)]}, "nothing of the area is left"),
        ({"kept": [((0, 1), (3, 1))]}, "is no edge of the area"),
        ({"kept": [((0, 0), (0, 0))]}, "is no edge of the area"),
        ({"kept": [(0, 0, 3)]}, "kept edge 1"),
        ({"area": [(0, 0), (1, 1), (1, 0), (0, 1)]}, "crosses"),
    ])
    def test_said_in_words(self, changes: dict[str, Any], words: str) -> None:
        given: dict[str, Any] = {"area": box(3, 2), "unit": (0.6, 0.3), "joint": 0.01, **changes}
        with pytest.raises(SurveyError, match=f"(?i){words}"):
            lay_out_units(given.pop("area"), given.pop("unit"), **given)

    def test_two_hundred_thousand_units_are_too_many_and_quickly_refused(self) -> None:
        began = time.process_time()
        with pytest.raises(SurveyError, match=r"about 100,000,000 units.*200,000"):
            lay_out_units(box(1000, 1000), (0.1, 0.1), joint=0)
        with pytest.raises(SurveyError, match="units"):  # a long thin strip at a slant spans a large grid
            lay_out_units([(0, 0), (3000, 3000), (3000, 3001)], (0.1, 0.1), joint=0)
        assert time.process_time() - began < 0.5

    def test_a_unit_longer_than_the_area_is_questioned(self) -> None:
        with pytest.warns(SurveyWarning, match="No whole unit of 2000 mm by 300 mm"):
            layout = lay_out_units(box(1.5, 1.5), (2.0, 0.3), joint=0)
        assert layout.whole == 0
        assert layout.units >= layout.cutting.least == 4  # 2.25 m² / 0.6 m²

    def test_a_unit_over_three_metres_is_questioned(self) -> None:
        with pytest.warns(SurveyWarning, match="typed in mm"):
            layout = lay_out_units(box(3.6, 0.4), (3.6, 0.1), joint=0)
        assert counts(layout) == (4, 0, 0, 4)

    def test_a_result_is_shown_and_cannot_be_changed(self) -> None:
        layout = lay_out_units(box(3, 2), (0.6, 0.3), joint=0.01)
        assert layout.sentence() in layout._repr_html_()
        assert re.search(r"Order \d+, which is \d+ and 5% for breakage", repr(layout))
        with pytest.raises(AttributeError):
            layout.number = 2  # type: ignore[misc]

    odd = st.one_of(st.floats(), st.integers(-3, 3), st.none(), st.text(max_size=2), st.floats(0.01, 3), st.booleans())

    @steady
    @given(st.tuples(odd, odd), odd, odd, st.tuples(odd, odd), st.one_of(st.none(), st.tuples(odd, odd)))
    def test_odd_input_is_laid_or_refused(self, unit: Any, joint: Any, waste: Any, along: Any, start: Any) -> None:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", SurveyWarning)
            try:
                layout = lay_out_units(box(3, 2), unit, joint=joint, waste=waste, along=along, start=start)
            except SurveyError as error:
                told = str(error)
            else:
                told = layout.sentence()
                assert 0 < layout.laid_area <= 6 + 1e-9
                assert layout.order >= layout.units >= layout.whole
        assert told.endswith((".", "?"))

    @steady
    @given(st.floats(0.25, 1), st.floats(0.25, 1), st.just(0.0) | st.floats(0, 0.05), st.floats(0.3, 3), st.floats(0.3, 3),
           st.floats(0, 6.3))
    def test_what_is_laid_adds_up(self, length: float, width: float, joint: float, x: float, y: float, angle: float) -> None:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", SurveyWarning)
            if length * width > x * y:
                with pytest.raises(SurveyError, match="more than"):
                    lay_out_units(box(x, y), (length, width), joint=joint)
                return
            layout = lay_out_units(box(x, y), (length, width), joint=joint, along=(math.cos(angle), math.sin(angle)))
        full = sum(piece.polygon.area for piece in layout.pieces if piece.kind == "whole")
        assert full == pytest.approx(layout.whole * length * width, abs=1e-6)
        assert layout.laid_area <= x * y + 1e-9
        if joint == 0:
            assert layout.laid_area == pytest.approx(x * y, abs=1e-9)
        assert layout.cutting.least <= layout.cutting.units <= layout.cut


class TestOffcuts:
    def test_by_hand(self) -> None:
        """Of 600 × 300 with 4 mm of saw: 400 and 196 come out of one, 400 and 197 do not."""
        assert cut_from_units([(0.4, 0.3), (0.196, 0.3)], (0.6, 0.3)).units == 1
        assert cut_from_units([(0.4, 0.3), (0.197, 0.3)], (0.6, 0.3)).units == 2
        assert cut_from_units([(0.4, 0.3), (0.197, 0.3)], (0.6, 0.3), kerf=0.003).units == 1
        assert cut_from_units([], (0.6, 0.3)).units == cut_from_units([], (0.6, 0.3)).least == 0

    def test_turning_a_piece(self) -> None:
        """Beside 300 × 300 there is room for 296 × 300, so a piece of 300 × 250 must be turned."""
        sizes = [(0.3, 0.3), (0.3, 0.25)]
        plan = cut_from_units(sizes, (0.6, 0.3))
        assert plan.units == 1
        assert plan.table.turned.tolist() == [False, True]


class TestPicture:
    def test_what_is_drawn(self) -> None:
        layout = lay_out_units(box(2.06, 1.3), (0.5, 0.5), joint=0, start=(0, 0), holes=[Post("A", at=(1.0, 1.0))])
        ax = picture(layout, ax=Figure(figsize=(7, 5)).add_subplot())
        drawn = {one.get_gid(): len(one.get_paths()) for one in ax.collections}
        assert drawn == {"whole": layout.whole, "cut": layout.cut - layout.slivers, "sliver": layout.slivers}
        assert layout.slivers > 0
        words = [text.get_text() for text in ax.texts]
        assert "start" in words
        assert any(word.startswith("sliver") for word in words)
        assert f"order {layout.order} units" in " ".join(words)
        assert ax.get_title(loc="left").strip().endswith("?")
        assert layout.sentence() in in_words(ax)
        assert min(text.get_fontsize() for text in ax.texts) >= 9
        assert np.asarray(ax.lines[0].get_xydata()).tolist()[0] == list(layout.start)
