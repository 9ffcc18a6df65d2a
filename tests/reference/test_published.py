"""What other people printed, through the public names; and proof that each printed number is compared."""

from __future__ import annotations

import copy
from typing import Any

import pytest
from finding import find
from published import Case, cases, compare, leaves, tolerance_of

import sitelevels as sl

CASES = {name: case for name, case in cases().items() if case["expected"] is not None}
LEAST_COUNTED = 30  # what the project promises


@pytest.mark.parametrize("name", CASES)
def test_agrees_with_what_was_printed(name: str) -> None:
    check = compare(CASES[name], find(CASES[name]))
    assert check.agrees, (
        f"{check.source}: printed {check.expected}, found {check.found}, tolerance {check.tolerance}"
    )


def test_enough_cases_are_counted() -> None:
    assert sum(case["published"] for case in CASES.values()) >= LEAST_COUNTED


@pytest.mark.parametrize("case", CASES.values(), ids=CASES)
def test_every_case_names_its_source(case: Case) -> None:
    assert case["source"]
    assert case["source_url"].startswith("http")


def changed(case: Case, quantity: str, by: float) -> Case:
    """A copy of the case with one of its printed numbers moved, or its word turned into the opposite."""
    other = copy.deepcopy(case)

    def walk(value: Any, name: str = "") -> Any:
        if isinstance(value, dict):
            return {key: walk(part, f"{name}[{key}]" if name else key) for key, part in value.items()}
        if isinstance(value, list):
            return [walk(part, f"{name}[{place}]") for place, part in enumerate(value)]
        if name != quantity:
            return value
        return not value if isinstance(value, bool) else value + by

    other["expected"] = walk(case["expected"])
    return other


@pytest.mark.parametrize("name", CASES)
def test_a_printed_number_altered_by_its_last_digit_does_not_agree(name: str) -> None:
    """For every printed number of every case, up and down: nothing printed goes uncompared."""
    case = CASES[name]
    found = find(case)
    for quantity, printed in leaves(case["expected"]):
        digit = 2 * tolerance_of(case, quantity, printed)
        for by in (digit, -digit):
            assert not compare(changed(case, quantity, by), found).agrees, (quantity, by)


@pytest.mark.parametrize(
    ("words", "one_in", "half_digit"),
    [
        # the table of W06 read the other way: the printed degrees and percentages go in, 1:N comes out
        ("1.15°", 50, "0.005°"),
        ("1.19°", 48, "0.005°"),
        ("2.86°", 20, "0.005°"),
        ("4.76°", 12, "0.005°"),
        ("2.08 %", 48, "0.005 %"),
        ("8.3 %", 12, "0.05 %"),
    ],
)
def test_printed_degrees_and_percentages_read_back(words: str, one_in: int, half_digit: str) -> None:
    # the tangent grows by a hundredth over its angle at 4.76°: hence 1.01
    assert sl.parse_fall(words) == pytest.approx(1 / one_in, abs=1.01 * sl.parse_fall(half_digit))
    assert sl.parse_fall(words) != pytest.approx(1 / (one_in + 1), abs=1.01 * sl.parse_fall(half_digit))


def yard_of_w57(raised: float, one_in: float) -> sl.Verdicts:
    """The paving of W57, `raised` in m and laid to a fall of our choice, held against the limits that it names."""
    given = CASES["W57"]["inputs"]
    area = [(0.0, 0.0), (6.0, 0.0), (6.0, given["run_m"]), (0.0, given["run_m"])]
    brief = sl.Brief(
        area,
        walls=(sl.Wall("wall", (0.0, 0.0), (6.0, 0.0), dpc=given["DPC_m"]),),
        demands=(sl.Clearance("wall", given["clearance_mm"] / 1000), sl.FallAway("wall", 1 / given["one_in"])),
        layers=(sl.Layer("slab", 0.040), sl.Layer("bed", 0.040), sl.Layer("sub-base", 0.100)),
    )
    top = CASES["W57"]["expected"]["top_wall"] + raised
    return sl.check_finish(sl.Finish.plane(sl.Plane(top, 0.0, -1 / one_in), area), brief)


@pytest.mark.parametrize(
    ("raised", "one_in", "found", "margins", "verdicts"),
    [
        # found: 9.950 m DPC less the level at the wall, mm; 1000 over 1:N, mm/m. Margins against 150 mm and 12.5 mm/m.
        (0.0, 80, (150.0, 12.5), (0.0, 0.0), ["met", "met"]),
        (0.001, 80, (149.0, 12.5), (-1.0, 0.0), ["not met", "met"]),
        (-0.005, 100, (155.0, 10.0), (5.0, -2.5), ["met", "not met"]),
    ],
)
def test_clearance_and_fall_of_w57(
    raised: float, one_in: float, found: tuple[float, float], margins: tuple[float, float], verdicts: list[str]
) -> None:
    """Limits printed by NHBC (150 mm, 1:80), numbers worked by hand: a cross-check, not counted as published."""
    table = yard_of_w57(raised, one_in).table
    assert table["unit"].tolist() == ["mm", "mm/m"]
    assert table["found"].tolist() == pytest.approx(found, abs=1e-6)
    assert table["margin"].tolist() == pytest.approx(margins, abs=1e-6)
    assert table["verdict"].tolist() == verdicts
