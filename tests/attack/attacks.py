"""All attacks with their budgets, and the table of what came back."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

from ledger import Ledger

HERE = Path(__file__).parent
SEED = 1
WORDS = "names through pages, pictures, tables"


def every(*, long: bool) -> Iterator[Callable[[], list[Ledger]]]:
    """The attacks one by one, each giving its rows."""
    import fields
    import numbers_everywhere
    import readers
    import shapes_and_names
    import sizes
    import strangers
    import two_at_once

    many = 6 if long else 1
    for way in ("path", "text", "file", "table"):
        yield lambda way=way: [readers.attack_books(200 * many, SEED, way)]
    yield lambda: [readers.attack_folders(60 * many, SEED, "brief.toml")]
    for name in ("survey.csv", "laid.csv", "ties.csv"):
        yield lambda name=name: [readers.attack_folders(12 * many, SEED, name)]
    if long:
        yield lambda: [
            renamed(readers.attack_folders(15, SEED + 1, "brief.toml", dear=True), "job folder, brief.toml, every result")
        ]
    yield lambda: [readers.attack_pages(200 * many, SEED)]
    yield lambda: [readers.attack_answers(120 * many, SEED, os.chdir)]
    yield lambda: [readers.attack_drafts(200 * many, SEED)]
    for attack in (
        shapes_and_names.attack_outlines,
        shapes_and_names.attack_limits,
        shapes_and_names.attack_sites,
        shapes_and_names.attack_names,
    ):
        yield lambda attack=attack: [attack(150 * many, SEED)]
    yield lambda: [strangers.attack_folders(None, SEED)]
    parts = 4 if long else 1  # of some seconds a name, so that neither process waits long for the other
    for part in range(parts):
        yield lambda part=part: [
            renamed(
                strangers.attack_words(list(strangers.NAMES)[part::parts], dear=long),
                f"{WORDS}, part {part + 1}" if long else WORDS,
            )
        ]
    yield lambda: [strangers.attack_runs()]
    yield lambda: [two_at_once.attack(200 if long else 30, SEED)]
    yield lambda: stopped(1 if long else 3)
    yield lambda: [numbers_everywhere.attack(None if long else 1500, SEED)]
    yield lambda: [fields.attack_fields(300 if long else 80, SEED)]
    yield lambda: [sizes.attack_small()]
    yield lambda: [sizes.attack_large(1_000_000 if long else 50_000)]


def run(number: int, long: bool) -> list[Ledger]:
    """One of the attacks by its place among them, in a process of its own."""
    import matplotlib

    matplotlib.use("Agg")
    here = Path.cwd()
    try:
        return list(every(long=long))[number]()
    finally:
        os.chdir(here)


def renamed(ledger: Ledger, attack: str) -> Ledger:
    ledger.attack = attack
    return ledger


def stopped(each: int) -> list[Ledger]:
    """Every kind of saving, stopped at every step, in a process of its own."""
    done = subprocess.run([sys.executable, str(HERE / "stopped.py"), str(each)], capture_output=True, text=True, check=True)
    ledgers = []
    for found in json.loads(done.stdout)["found"]:
        counts = {name: count for name, count in found["counts"].items() if count}
        ledger = Ledger(
            found["attack"],
            tries=found["tries"],
            refused=found["refused"],
            taken=found["taken"],
            unhandled=found["unhandled"],
            longest=found["longest"],
        )
        ledger.note = (
            f"{found['steps']} steps{'' if each == 1 else f', each {each}rd tried'}, stopped before, within, after each; "
            f"found afterwards: {', '.join(f'{name} {count} times' for name, count in counts.items())}; "
            f"a temporary file was left {found['strays']} times and did no harm"
        )
        ledgers.append(ledger)
    return ledgers


def table(ledgers: list[Ledger], *, long: bool) -> str:
    """The table as Markdown."""
    lines = [
        "# What came back from attacks on the package",
        "",
        f"Written by `python tests/attack/table.py{' --long' if long else ''}`; a short run of each is among the tests.",
        "",
        "Refused: in sentences (SurveyError), each looked at. Warned: taken with a doubt (SurveyWarning). Unhandled: any",
        "other exception or warning, a result with nan or infinity in it, something lost, run, put elsewhere. Longest: seconds",
        "of computing of one try. What a loss of power does to what a disk itself still holds back is not simulated.",
        "",
        "| attack | seed | tries | refused | warned | taken | unhandled | longest, s | note |",
        "|---|---|---|---|---|---|---|---|---|",
    ]
    for one in ledgers:
        lines.append(
            f"| {one.attack} | {'' if one.seed is None else one.seed} | {one.tries} | {one.refused} | {one.warned} | "
            f"{one.taken} | {len(one.unhandled)} | {one.longest:.2f} | {one.note} |"
        )
    wrong = [(one.attack, failure) for one in ledgers for failure in one.unhandled]
    if wrong:
        lines += [
            "",
            "## Unhandled",
            "",
            *(f"- {attack}: `{failure[:240].replace('`', ' ')}`".replace("\n", " ") for attack, failure in wrong),
        ]
    notes = HERE / "found.md"
    return "\n".join([*lines, "", *([notes.read_text("utf-8").rstrip()] if notes.is_file() else [])]) + "\n"
