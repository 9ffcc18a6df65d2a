"""Published classes and ranges for finished work: every value typed again from its source, none read from the code.

Standards were not seen where a source quotes them; what is typed here is what the source says.
"""

from __future__ import annotations

import math
from typing import Any

import pytest

from sitelevels.design import workmanship
from sitelevels.design.handbook import Published
from sitelevels.design.published import MEMORY, PRACTICE, QUOTED, READ, Limit
from sitelevels.design.workmanship import (
    DEPARTURE,
    DEPARTURE_GRID,
    FLOOR_FALLS,
    LARGE_FLOOR,
    LIPPING,
    OUT_OF_LEVEL,
    OUT_OF_LEVEL_MOST,
    PADS,
    REGULARITY,
    SCREED_DESIGN,
    SCREED_MIX,
    SCREED_PIPES,
    SCREED_WASTE,
    SCREEDS,
    STANDING_DEEP,
    STANDING_WIDE,
    TESTS,
    Regularity,
    ScreedKind,
    one_of,
)
from sitelevels.errors import SurveyError

NHBC, ICPI, RETAILER = "NHBC Standards", "ICPI construction tolerances guide", "a tile retailer's installation note"
CENTRE, SOCIETY = "The Concrete Centre, floor screeds", "Concrete Society note on screeds, on BS 8204"

CLASSES: dict[str, tuple[float, float, bool, str, str, str]] = {
    # greatest gap or departure in mm, straightedge in m, ends held off equally, document, clause, edition
    "SR1": (3, 2, False, "BS 8204", "Concrete Society", "current"),
    "SR2": (5, 2, False, "BS 8204", "Concrete Society", "current"),
    "SR3": (10, 2, False, "BS 8204", "Concrete Society", "current"),
    "flags and natural stone": (3, 3, False, "BS 7533", "635", ""),
    "block paving": (10, 3, False, "BS 7533", "635", ""),
    "accessible paving": (3, 1, False, "BS 8300", "637", ""),
    "drives, paths and terraces": (10, 2, True, NHBC, "9.1.11", "2018"),
    "floors of new homes": (5, 2, True, NHBC, "9.1.5", "2020"),
    "interlocking paving": (10, 3, True, ICPI, "", ""),
    "compacted base": (10, 3, True, ICPI, "", ""),
    "external tiles on a screed": (3, 2, False, RETAILER, "", ""),
}
SEEN = {"NHBC Standards", ICPI, CENTRE, SOCIETY}
"""Documents whose own text was read."""

LIPS = {"flags and natural stone": (2, "BS 7533", "635"), "block paving": (2, "BS 7533", "635"),
        "interlocking paving": (3, ICPI, ""), "accessible paving, flush joint": (5, "BS 8300", "637"),
        "accessible paving, open joint": (2, "BS 8300", "637")}

SCREED: dict[str, tuple[float, float | None, tuple[str, ...]]] = {
    # least and greatest thickness in mm, the documents that have the least
    "bonded": (25, 40, ("BS 8204-1", SOCIETY)),
    "unbonded": (50, None, ("BS 8204-1", SOCIETY, CENTRE)),
    "unbonded, heating pipes in it": (65, None, (CENTRE,)),
    "floating, light use": (65, None, ("BS 8204-1", SOCIETY, CENTRE)),
    "floating, heavier use": (75, None, (SOCIETY,)),
    "floating, heating pipes in it": (75, None, (CENTRE,)),
    "calcium sulphate, bonded": (25, None, (CENTRE,)),
    "calcium sulphate, unbonded": (30, None, (CENTRE,)),
    "calcium sulphate, floating": (35, None, (CENTRE,)),
    "under external tiles": (50, None, (RETAILER,)),
}

FALLS: dict[str, tuple[float, float, str, str, str, str]] = {
    # flattest and steepest 1 in N, document, clause, edition, how sure
    "wet room, tiled": (80, 35, "BS 5385-3", "", "", QUOTED),
    "external tiles": (80, 35, RETAILER, "", "", READ),
    "level-access shower": (40, 40, "a building journal's specification note", "", "", READ),
    "shower, South Australia": (80, 60, "NCC Volume Two", "SA 3.2.2", "2016", READ),
    "other wet area, South Australia": (100, 80, "NCC Volume Two", "SA 3.2.2", "2016", READ),
    "wet area to a floor waste, Australia": (80, 50, "NCC Housing Provisions", "10.2.12", "2022", QUOTED),
    "shower, United States": (12 / 0.25, 12 / 0.5, "IRC", "P2709", "", QUOTED),
}


class TestStraightedge:
    def test_classes(self) -> None:
        assert set(REGULARITY) == set(CLASSES)

    @pytest.mark.parametrize("name", CLASSES)
    def test_as_published(self, name: str) -> None:
        most, length, offset, document, clause, edition = CLASSES[name]
        one = REGULARITY[name]
        assert one.name == name
        assert one.limit * 1000 == pytest.approx(most, abs=1e-12)
        assert one.length == length
        assert one.offset is offset
        assert document in one.document
        assert clause in one.clause
        assert edition in one.edition
        assert one.confidence == (QUOTED if one.document.startswith("BS") else READ)
        assert one.document in one.source
        assert one.confidence in one.source

    def test_in_words(self) -> None:
        assert REGULARITY["SR1"].words == "at most 3 mm of gap under 2.00 m"
        assert "10 mm either way" in REGULARITY["drives, paths and terraces"].words

    def test_how_many_tests(self) -> None:
        """Area / 20 m², by a floor-measurement consultants' note."""
        assert TESTS.range.values == (20, 20, 20)
        assert TESTS.unit == "m²"
        assert TESTS.confidence == READ


class TestLipsAndWater:
    def test_lips(self) -> None:
        assert {name: one.value * 1000 for name, one in LIPPING.items()} == pytest.approx(
            {name: most for name, (most, _, _) in LIPS.items()})
        for name, (_, document, clause) in LIPS.items():
            assert document in LIPPING[name].document
            assert clause in LIPPING[name].clause
        assert "twice the width of the joint" in LIPPING["accessible paving, flush joint"].what

    def test_standing_water(self) -> None:
        """One hour after rain not deeper than 5 mm nor larger than 1 m², none by entrance doors: NHBC Standards 2018, 9.1.11."""
        assert (STANDING_DEEP.value, STANDING_DEEP.unit) == (0.005, "m")
        assert (STANDING_WIDE.value, STANDING_WIDE.unit) == (1.0, "m²")
        for one in (STANDING_DEEP, STANDING_WIDE):
            assert (one.document, one.clause, one.edition, one.confidence) == (NHBC, "9.1.11", "2018", READ)
            assert "hour after rain" in one.what
            assert "entrance door" in one.what


class TestFloors:
    def test_departure_from_datum(self) -> None:
        """15 mm either way on large areas, levels on a 3 m square grid: BS 8204-1, by the Concrete Society."""
        assert DEPARTURE.value == 0.015
        assert DEPARTURE_GRID.range.values == (3, 3, 3)
        assert "BS 8204-1" in DEPARTURE.document
        assert "Concrete Society" in DEPARTURE_GRID.source

    def test_the_grid_has_its_own_source(self) -> None:
        assert "Concrete Society" in DEPARTURE_GRID.document
        assert DEPARTURE_GRID.confidence == READ

    def test_out_of_level(self) -> None:
        """3 mm for each metre up to 6 m across, 20 mm at most on larger floors: NHBC Standards 2020, 9.1.5."""
        assert (OUT_OF_LEVEL.value, OUT_OF_LEVEL.unit) == (0.003, "m/m")
        assert (OUT_OF_LEVEL_MOST.value, OUT_OF_LEVEL_MOST.unit) == (0.020, "m")
        assert LARGE_FLOOR == 6.0
        for one in (OUT_OF_LEVEL, OUT_OF_LEVEL_MOST):
            assert (one.document, one.clause, one.edition, one.confidence) == (NHBC, "9.1.5", "2020", READ)

    def test_kinds_of_fall(self) -> None:
        assert set(FLOOR_FALLS) == set(FALLS)

    @pytest.mark.parametrize("name", FALLS)
    def test_falls_as_published(self, name: str) -> None:
        flattest, steepest, document, clause, edition, sure = FALLS[name]
        one = FLOOR_FALLS[name]
        assert 1 / one.range.low == pytest.approx(flattest, rel=1e-12)
        assert 1 / one.range.high == pytest.approx(steepest, rel=1e-12)
        assert one.range.low <= one.range.likely <= one.range.high
        assert document in one.document
        assert (one.clause or "").startswith(clause)
        assert one.edition == edition
        assert one.confidence == sure

    def test_about_25_mm_in_the_metre_round_a_shower(self) -> None:
        """The specification note gives both: 1:40 for a metre, a depression of 25 mm."""
        assert FLOOR_FALLS["level-access shower"].range.likely * 1.0 == pytest.approx(0.025)

    def test_two_to_four_in_a_hundred_in_the_united_states(self) -> None:
        """1/4 to 1/2 inch in 12: 2.08 to 4.17 in 100."""
        shower = FLOOR_FALLS["shower, United States"].range
        assert (shower.low, shower.high) == pytest.approx((0.25 / 12, 0.5 / 12))


class TestScreeds:
    def test_kinds(self) -> None:
        assert set(SCREEDS) == set(SCREED)

    @pytest.mark.parametrize("name", SCREED)
    def test_as_published(self, name: str) -> None:
        least, most, documents = SCREED[name]
        one = SCREEDS[name]
        assert one.name == name
        assert one.least.value * 1000 == pytest.approx(least, abs=1e-12)
        assert any(document in one.least.document for document in documents)
        assert one.least.confidence == (QUOTED if one.least.document.startswith("BS") else READ)
        if most is None:
            assert one.most is None
        else:
            assert one.most is not None
            assert one.most.value * 1000 == pytest.approx(most, abs=1e-12)
            assert SOCIETY in one.most.document

    def test_over_pipes(self) -> None:
        """25 mm above the highest point of pipe or lagging: NHBC Standards 2011, 8.3-S2(b)."""
        assert SCREED_PIPES.value == 0.025
        assert (SCREED_PIPES.document, SCREED_PIPES.clause, SCREED_PIPES.edition) == (NHBC, "8.3-S2(b)", "2011")
        assert SCREED_PIPES.confidence == READ

    def test_thickness_to_design_for(self) -> None:
        """40 mm bonded: The Concrete Centre."""
        assert SCREED_DESIGN.value == 0.040
        assert SCREED_DESIGN.document == CENTRE

    def test_mix(self) -> None:
        """1:3 to 1:4.5, concrete over 40 mm: NHBC Standards 2020, 9.3.4."""
        assert (SCREED_MIX.range.low, SCREED_MIX.range.high) == (3.0, 4.5)
        assert (SCREED_MIX.document, SCREED_MIX.clause, SCREED_MIX.edition) == (NHBC, "9.3.4", "2020")
        assert "over 40 mm concrete" in SCREED_MIX.what


def everything() -> list[tuple[str, Any]]:
    """Every limit, range and class that the module holds, whatever it is called."""
    found: list[tuple[str, Any]] = []
    for name, held in vars(workmanship).items():
        if name.startswith("_") or not name.isupper():
            continue
        for key, one in held.items() if isinstance(held, dict) else [("", held)]:
            parts = [one.least, *([one.most] if one.most else [])] if isinstance(one, ScreedKind) else [one]
            found += [(f"{name} {key}", part) for part in parts if isinstance(part, (Limit, Published, Regularity))]
    return found


class TestSources:
    def test_all_are_looked_at(self) -> None:
        assert len(everything()) == 11 + 1 + 5 + 2 + 2 + 2 + 11 + 5 + 7

    @pytest.mark.parametrize(("name", "one"), everything(), ids=lambda value: value if isinstance(value, str) else "")
    def test_each_has_a_document_or_says_that_it_has_none(self, name: str, one: Any) -> None:
        assert one.confidence in (READ, QUOTED, MEMORY, PRACTICE)
        if one.confidence in (READ, QUOTED):
            assert one.document
        assert one.confidence in one.source
        assert one.document in one.source

    def test_what_is_common_practice_says_so(self) -> None:
        assert PADS.source == SCREED_WASTE.source == PRACTICE
        assert all(math.isfinite(value) for value in (*PADS.range.values, *SCREED_WASTE.range.values))


class TestByName:
    @pytest.mark.parametrize("name", ["SR4", "", None, 1, ["SR1"]])
    def test_one_that_is_not_there(self, name: Any) -> None:
        with pytest.raises(SurveyError, match=r"no class of regularity called .*'SR1', 'SR2', 'SR3'"):
            one_of(REGULARITY, name, "class of regularity")

    def test_one_that_is(self) -> None:
        assert one_of(REGULARITY, "SR2", "class of regularity").limit == 0.005
