"""The tool that plants small faults: what it changes, what it leaves alone, and that a choice repeats."""

import ast
from pathlib import Path

import pytest
from mutant_table import wilson
from mutants import drawn, mutated, possible

SOURCE = '''"""A yard, 3 m wide."""

from math import pi

__all__ = ["far"]
WIDE: "1 m" = 3.0


def far(x: int = 1, *, about: str = "2 m") -> bool:
    """More than 2 m."""
    if not x:
        raise ValueError(f"{x} is less than 1")
    return abs(x) < 2 and x != 5
'''


@pytest.fixture
def room(tmp_path: Path) -> Path:
    (tmp_path / "sitelevels" / "works").mkdir(parents=True)
    (tmp_path / "sitelevels" / "works" / "yard.py").write_text(SOURCE, "utf-8")
    return tmp_path


def test_every_change_that_can_be_made_and_no_other(room: Path) -> None:
    found = [(one.kind, one.function, one.first, one.old, one.new, one.called) for one in possible(room, "works")]
    told = "raise ValueError(f'{x} is less than 1')"
    assert sorted(found) == sorted([
        ("constant", "module", 6, "WIDE: '1 m' = 3.0", "WIDE: '1 m' = 3.3", False),
        ("constant", "module", 6, "WIDE: '1 m' = 3.0", "WIDE: '1 m' = -3.0", False),
        ("constant", "far", 9, "x: int=1, *, about: str='2 m'", "x: int=0, *, about: str='2 m'", False),
        ("constant", "far", 9, "x: int=1, *, about: str='2 m'", "x: int=2, *, about: str='2 m'", False),
        ("not left out", "far", 11, "not x", "x", True),
        ("statement left out", "far", 12, told, "pass", True),
        ("returned value", "far", 13, "return abs(x) < 2 and x != 5", "return not (abs(x) < 2 and x != 5)", True),
        ("and, or", "far", 13, "return abs(x) < 2 and x != 5", "return abs(x) < 2 or x != 5", True),
        ("boundary", "far", 13, "abs(x) < 2 and x != 5", "abs(x) <= 2 and x != 5", True),
        ("comparison", "far", 13, "abs(x) < 2 and x != 5", "abs(x) >= 2 and x != 5", True),
        ("function", "far", 13, "abs(x) < 2", "x < 2", True),
        ("constant", "far", 13, "abs(x) < 2", "abs(x) < 3", True),
        ("constant", "far", 13, "abs(x) < 2", "abs(x) < -2", True),
        ("comparison", "far", 13, "abs(x) < 2 and x != 5", "abs(x) < 2 and x == 5", True),
        ("constant", "far", 13, "x != 5", "x != 6", True),
        ("constant", "far", 13, "x != 5", "x != -5", True)])


def test_a_mutant_has_its_one_change_and_no_other(room: Path) -> None:
    every = possible(room, "works")
    trees = [ast.unparse(mutated(SOURCE, one)) for one in every]
    unchanged = ast.unparse(ast.parse(SOURCE)).splitlines()
    assert len(set(trees)) == len({one.key for one in every}) == len(every)
    for tree in trees:
        assert sum(one != other for one, other in zip(tree.splitlines(), unchanged, strict=True)) == 1


def test_the_same_number_draws_the_same_mutants(room: Path) -> None:
    every = {"works": possible(room, "works"), "survey": []}
    assert drawn(every, 5, 1) == drawn(every, 5, 1)
    assert len(drawn(every, 5, 1)) == 5
    assert drawn(every, 5, 1) != drawn(every, 5, 2)


def test_the_interval_of_a_share() -> None:
    # z = 1.96: for 0 of 10 the upper end is z² / (10 + z²) = 3.8415 / 13.8415; for 5 of 10 the half is z / 2 / √(10 + z²)
    assert wilson(0, 10) == pytest.approx((0.0, 3.8415 / 13.8415), abs=1e-5)
    assert wilson(5, 10) == pytest.approx((0.5 - 0.98 / 13.8415 ** 0.5, 0.5 + 0.98 / 13.8415 ** 0.5), abs=1e-4)
