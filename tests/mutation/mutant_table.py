"""The table of a mutation run, and each survivor with its reason from reasons.toml."""

from __future__ import annotations

import argparse
import platform
import tomllib
from collections import Counter
from collections.abc import Iterable, Mapping
from importlib.metadata import version
from math import sqrt
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from mutants import Mutant
    from run import Run

HEADS = ("", "mutants", "killed by the room's tests", "hung", "killed by other rooms' tests", "survived", "not decided",
         "not run", "killed in the first run", "killed with the tests written since")
PACKAGES = ("numpy", "pandas", "scipy", "shapely", "pytest", "hypothesis", "coverage")


def wilson(part: int, whole: int) -> tuple[float, float]:
    """95 % interval of a share, by Wilson: it stays inside 0 to 1 where the share is near either."""
    z = 1.959964
    middle = (part + z * z / 2) / (whole + z * z)
    half = z / (whole + z * z) * sqrt(part * (whole - part) / whole + z * z / 4)
    return middle - half, middle + half


def _share(part: int, whole: int) -> str:
    if not whole:
        return "–"
    low, high = wilson(part, whole)
    return f"{part / whole:.1%} ({low:.0%} to {high:.0%})"


def _row(name: str, some: Iterable[Mutant], run: Run) -> str:
    tally: Counter[str] = Counter()
    for one in some:
        outcome = run.outcome(one.key)
        unseen = run.results.get((one.key, "first"), {}).get("unseen", False)
        tally["all"] += 1
        tally["unseen" if outcome in ("killed", "hung") and unseen else outcome] += 1
        tally["since"] += run.lives(one.key) and run.killed_after(one.key)
    first = tally["killed"] + tally["hung"] + tally["unseen"]
    undecided = tally["not decided in time"] + tally["lives so far"] + tally["failed"]
    met = tally["all"] - tally["not run"]
    cells = (name, tally["all"], tally["killed"], tally["hung"], tally["unseen"], tally["survived"], undecided, tally["not run"],
             _share(first, met), _share(first + tally["since"], met))
    return "| " + " | ".join(map(str, cells)) + " |"


def _block(title: str, groups: Mapping[str, list[Mutant]], run: Run) -> list[str]:
    everything = [one for some in groups.values() for one in some]
    rows = [_row(name, some, run) for name, some in [*groups.items(), ("all", everything)]]
    return ["", f"## {title}", "", "| " + " | ".join(HEADS) + " |", "|" + " --- |" * len(HEADS), *rows]


def reasons() -> dict[str, str]:
    """What was found out by hand about survivors, by the key of the mutant."""
    place = Path(__file__).parent / "reasons.toml"
    return {one["mutant"]: one["why"] for one in tomllib.loads(place.read_text("utf-8"))["survivor"]} if place.exists() else {}


def _code(text: str) -> str:
    return f"`` {text} ``" if "`" in text else f"`{text}`"


def _survivors(run: Run) -> list[str]:
    known = reasons()
    lines = []
    for one in run.chosen.values():
        if not run.lives(one.key) or run.killed_after(one.key):
            continue
        outcome = run.outcome(one.key)
        note = "" if outcome == "survived" else f" ({outcome})"
        by = run.results.get((one.key, "first"), {}).get("by", "")
        unseen = " No test executes the line." if by.startswith("no test") else ""
        lines.append(f"- {one.file}:{one.first}, {one.function}, {one.kind}{note}: {_code(one.old)} → {_code(one.new)}. "
                     f"**{known.get(one.key, 'no reason yet')}**{unseen}")
    return lines


def table(run: Run, every: Mapping[str, list[Mutant]], given: argparse.Namespace) -> str:
    """The page, in Markdown."""
    chosen = list(run.chosen.values())
    versions = ", ".join(f"{name} {version(name)}" for name in PACKAGES)
    counts = ", ".join(f"{room} {len(some)}" for room, some in every.items())
    page = [
        "# Small faults planted in the package, and whether its tests notice", "",
        f"Written by `python tests/mutation/run.py --mutants {given.mutants} --seed {given.seed} --limit {given.limit:.0f}`; "
        f"Python {platform.python_version()}, {versions}.", "",
        f"{len(chosen)} mutants drawn at random (seed {given.seed}) from all {sum(map(len, every.values()))} that can be made "
        f"({counts}), each room in proportion. Each is one change to one file, and runs against the tests under `tests/<room>` "
        "that execute its line; a test that does not execute the line cannot kill it. Only where none does, the tests of the "
        "other rooms, of `tests/reference`, `tests/teaching` and `tests/workbook` are asked. Doctests and notebooks are not. "
        "Shares killed are of those that were run, with their 95 % Wilson interval. A mutant that changes nothing anybody could "
        f"see counts as a survivor, one not decided within {given.limit:.0f} s as not killed. Hung: one test took more than 5 "
        "times its own computing time and 20 s more. \"Lives so far\": it met the fastest of its tests only, and counts as not "
        "decided."]
    counted = Counter(run.outcome(one.key) for one in chosen)
    if counted["not run"] or counted["lives so far"]:
        page += ["", f"The run is not finished: {counted['not run']} mutants were not run, and {counted['lives so far']} met the "
                 "fastest of their tests only. `--resume` goes on with it."]
    page += _block("By room", {room: [one for one in chosen if one.room == room] for room in every}, run)
    page += _block("By kind of change", {kind: [one for one in chosen if one.kind == kind]
                                         for kind in sorted({one.kind for one in chosen})}, run)
    living = _survivors(run)
    page += ["", f"## What still lives ({len(living)})", "",
             "File and line (of the tree as it stood when the run began), function, kind, the change, and why it lives.", "",
             *living]
    since = [one for one in chosen if run.lives(one.key) and run.killed_after(one.key)]
    page += ["", f"## Killed by tests written since ({len(since)})", "",
             *(f"- {one.file}:{one.first}, {one.function}: {_code(one.old)} → {_code(one.new)}" for one in since)]
    page += ["", "## Tests left out", ""]
    for room, one in run.rooms.items():
        page.append(f"- tests/{room}: {len(one.tests)} tests ran. Fail unchanged: {', '.join(one.failed) or 'none'}. "
                    f"Measure time: {', '.join(one.clocked) or 'none'}.")
    return "\n".join(page) + "\n"
