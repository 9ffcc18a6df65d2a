"""Staff readings to look for at pegs."""

from __future__ import annotations

import math

import pandas as pd
import pytest

from sitelevels import Brief, Facet, Finish, Ground, Layer, Plane, SurveyError, read_book, reduce_book, set_out

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
                                      pd.DataFrame({"name": ["A"], "x": [1], "y": [1]})],
                             ids=["no y", "level a word", "level infinite", "x a word", "no column point"])
    def test_pegs_that_cannot_be_read(self, pegs: object) -> None:
        with pytest.raises(SurveyError):
            set_out(FINISH, BRIEF, pegs, hpc=11.0)  # type: ignore[arg-type]
