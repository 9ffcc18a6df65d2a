"""Every published case of the reference files through the public names, beside what was printed.

`python tests/reference/published.py` prints the table. A case counts as one check: all its printed numbers
are compared, each to half its last printed digit, and the worst is shown. Cases whose answer nobody printed,
or whose answer is quoted from memory, are cross-checks: compared in the same way, listed apart, not counted.
"""

from __future__ import annotations

import json
import math
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from finding import Case, Found, find

HERE = Path(__file__).parent
FILES = ("level_books.json", "gradients.json", "planes.json", "volumes.json", "instruments.json", "networks.json",
         "drainage.json", "quantities.json")
EXACT = 1e-9  # added to every tolerance: what binary numbers lose


@dataclass(frozen=True)
class Check:
    """One case: `expected`, `found`, `tolerance` are of its worst number; `numbers` is how many it has."""

    name: str
    source: str
    expected: str
    found: str
    tolerance: float
    agrees: bool
    numbers: int
    published: bool


def cases() -> dict[str, Case]:
    """The cases of the reference files by id, read anew."""
    read = [case for name in FILES for case in json.loads((HERE / name).read_text(encoding="utf-8"))]
    return {case["id"]: case for case in read}


def leaves(value: Any, name: str = "") -> list[tuple[str, Any]]:
    """The numbers of a nested value with their places, e.g. ("rl[2]", 29.231)."""
    if isinstance(value, dict):
        return [
            leaf
            for key, part in value.items()
            for leaf in leaves(part, f"{name}[{key}]" if name else str(key))
        ]
    if isinstance(value, (list, tuple)):
        return [leaf for place, part in enumerate(value) for leaf in leaves(part, f"{name}[{place}]")]
    return [(name, value)]


def tolerance_of(case: Case, quantity: str, printed: float) -> float:
    """Half the last printed digit of a quantity, unless the case gives a tolerance and says why."""
    if case.get("tolerance") == "relative":
        return float(case["rounding"] * abs(printed))
    key = quantity.partition("[")[0]
    if key in case.get("tolerance", {}):
        return float(case["tolerance"][key]) + EXACT
    rounding = case["rounding"]
    return float(rounding[key] if isinstance(rounding, dict) else rounding) / 2 + EXACT


def compare(case: Case, found: Found) -> Check:
    """Every printed number beside the one found; a number that is missing or not finite does not agree."""
    results = dict(leaves(found))
    lines = []
    for quantity, printed in leaves(case["expected"]):
        value = results.get(quantity, math.nan)
        if isinstance(printed, (bool, str)):
            lines.append((0.0 if value == printed else math.inf, quantity, printed, value, 0.0))
            continue
        allowed = tolerance_of(case, quantity, printed)
        strain = abs(float(value) - printed) / allowed
        lines.append((math.inf if math.isnan(strain) else strain, quantity, printed, value, allowed))
    strain, quantity, printed, value, allowed = max(lines, key=lambda line: line[0])
    in_words = isinstance(printed, (bool, str))
    return Check(
        name=case["id"],
        source=case["source"],
        expected=f"{quantity} = {printed if in_words else format(printed, '.9g')}",
        found=str(value) if in_words else f"{float(value):.7g}",
        tolerance=allowed,
        agrees=bool(strain <= 1),
        numbers=len(lines),
        published=case["published"],
    )


def all_checks() -> list[Check]:
    """Every case that has an answer, those that count first."""
    checks = [compare(case, find(case)) for case in cases().values() if case["expected"] is not None]
    return sorted(checks, key=lambda one: not one.published)


def lines_of(checks: list[Check]) -> list[str]:
    """A table for a terminal, the source cut to fit."""
    columns = "{:<13}{:<53.51}{:>7}  {:<36}{:>11}{:>11}{}"
    head = columns.format(
        "check", "source", "numbers", "expected (the worst of them)", "found", "tolerance", ""
    )
    body = [
        columns.format(
            one.name,
            one.source,
            one.numbers,
            one.expected,
            one.found,
            f"{one.tolerance:.2g}",
            "" if one.agrees else "   DOES NOT AGREE",
        )
        for one in checks
    ]
    return [head, "-" * len(head), *body]


def main() -> int:
    checks = all_checks()
    counted = [one for one in checks if one.published]
    print("Published", *lines_of(counted), sep="\n")
    print("\nCross-checks, not counted", *lines_of([one for one in checks if not one.published]), sep="\n")
    print(f"\n{len(counted)} published checks, {sum(one.agrees for one in counted)} agree")
    return 0 if all(one.agrees for one in checks) else 1


if __name__ == "__main__":
    sys.exit(main())
