"""A seeded trial: books with one slip planted in each; how often it is noticed, and its row is among the first three.

`python tests/survey/slip_trial.py [trials for each line of the table]` prints the table. Beside each share stands the
best that a method could do that does not know which slips are common: rows that explain what the checks say equally
well cannot be told apart, so with m of them the first three hold the right one in 3 of m books. The equal rows are
counted here by trying every simple slip on every row and summing the book again in plain loops; nothing of
`sitelevels.survey.slips` is used for it.
"""

from __future__ import annotations

import itertools
import math
import random
import sys
import warnings
from collections.abc import Iterator
from dataclasses import dataclass, replace

import sitelevels as sl

PLACES = ("on the line", "on the line, no shots back", "intermediate")
KINDS = ("two digits swapped", "a digit misread", "1 m dropped", "100 mm dropped", "the sign lost")
SETUPS = (1, 3, 5)
NOISE = 0.001  # m: standard deviation of a reading
ROUGH = 0.003  # m: standard deviation of the ground about its plane
ALLOWED = 0.005  # m: misclosure × √set-ups, and the disagreement of a closing shot


@dataclass(frozen=True)
class Reading:
    """One reading in mm on its row; `role` is bs, is, fs, or again (the closing shot of a set-up)."""

    row: int
    point: str
    role: str
    mm: int
    x: float = 0.0
    y: float = 0.0
    feature: str = ""


def made_book(rng: random.Random, setups: int, *, inverted: bool, again: bool = True) -> list[Reading]:
    """A yard on a gentle slope read from so many set-ups and back to the benchmark, at noted places with a shot back in each.

    `inverted` holds the staff upside down on one change point and on the benchmark; `again` says whether set-ups close.
    """
    readings: list[Reading] = []
    level = {"BM": 10.0}
    for number in range(1, setups):
        level[f"CP{number}"] = 10.0 + rng.uniform(-0.5, 0.5)
    row = 1
    upside = {"BM", "CP1"} if inverted else set()
    for setup in range(setups):
        back = "BM" if setup == 0 else f"CP{setup}"
        front = "BM" if setup == setups - 1 else f"CP{setup + 1}"
        hpc = max(level[back], level[front]) + rng.uniform(0.9, 1.6)

        shots = [(back, level[back], "bs", 0.0, 0.0)]
        for x, y in itertools.product(range(6), (2 * setup, 2 * setup + 1)):
            shots.append((f"S{x}.{y}", 9.4 - 0.012 * x - 0.008 * y + rng.gauss(0.0, ROUGH), "is", float(x), float(y)))
        if inverted:  # a DPC overhead, under which the staff is held upside down
            shots += [(f"D{setup}.{x}", 12.6 + rng.gauss(0.0, ROUGH), "is", float(x), 2.0 * setup) for x in range(3)]
        if again and setup < setups - 1:
            shots.append((back, level[back], "again", 0.0, 0.0))
        shots.append((front, level[front], "fs", 0.0, 0.0))
        for point, height, role, x, y in shots:
            high = height + 3.2 if point in upside else height  # the soffit above the mark
            row += role != "bs"
            readings.append(Reading(row, point, role, round(1000 * (hpc - high + rng.gauss(0.0, NOISE))), x, y,
                                    "" if role != "is" else "dpc" if point.startswith("D") else "ground"))
    return readings


def text_of(readings: list[Reading]) -> str:
    """The book as somebody would type it."""
    lines = ["point,bs,is,fs,rl,x,y,feature"]
    for _, group in itertools.groupby(readings, key=lambda one: one.row):
        row = list(group)
        cells = {"again" if one.role == "again" else one.role: f"{one.mm / 1000:.3f}" for one in row}
        first, place = row[0], row[0].role == "is"
        known = "13.200" if first.point == "BM" and first.mm < 0 else "10.000"
        lines.append(",".join([first.point, cells.get("bs", ""), cells.get("is", cells.get("again", "")), cells.get("fs", ""),
                               known if first.row == 1 else "", str(first.x) if place else "", str(first.y) if place else "",
                               first.feature]))
    return "\n".join(lines) + "\n"


def slipped(mm: int) -> dict[str, set[int]]:
    """Every reading in mm that each kind of slip makes of this one."""
    sign, digits = (-1 if mm < 0 else 1), f"{abs(mm):04d}"
    found: dict[str, set[int]] = {kind: set() for kind in KINDS}
    for i, j in itertools.combinations(range(len(digits)), 2):
        swapped = list(digits)
        swapped[i], swapped[j] = swapped[j], swapped[i]
        found["two digits swapped"].add(sign * int("".join(swapped)))
    for place in range(len(digits)):
        found["a digit misread"] |= {sign * int(digits[:place] + new + digits[place + 1:]) for new in "0123456789"}
    found["1 m dropped"] = {mm - sign * 1000} if abs(mm) > 1000 else set()
    found["100 mm dropped"] = {mm - sign * 100} if abs(mm) > 100 else set()
    found["the sign lost"] = {-mm} if mm < 0 else set()
    return {kind: values - {mm} for kind, values in found.items()}


def undone(mm: int) -> Iterator[int]:
    """Every reading in mm that one simple slip could have turned into this one."""
    backwards = slipped(mm)
    yield from backwards["two digits swapped"] | backwards["a digit misread"]
    sign = -1 if mm < 0 else 1
    yield from (mm + sign * 1000, mm - sign * 1000, mm + sign * 100, mm - sign * 100, -mm)


def disagreements(readings: list[Reading]) -> tuple[int, list[int]]:
    """Misclosure, and by how much each closing shot disagrees, mm."""
    back, total, again = 0, 0, []
    for one in readings:
        if one.role == "bs":
            back = one.mm
        elif one.role == "again":
            again.append(one.mm - back)
        elif one.role == "fs":
            total += back - one.mm
    return total, again


def agrees(readings: list[Reading], setups: int) -> bool:
    total, again = disagreements(readings)
    return abs(total) <= 1000 * ALLOWED * math.sqrt(setups) and all(abs(one) <= 1000 * ALLOWED for one in again)


def equal_rows(readings: list[Reading], setups: int) -> set[int]:
    """Rows on the line with a simple slip that, undone, leaves every check within what is allowed."""
    rows = set()
    for place, one in enumerate(readings):
        if one.role != "is" and one.row not in rows:
            for mm in undone(one.mm):
                changed = [*readings[:place], replace(one, mm=mm), *readings[place + 1:]]
                if agrees(changed, setups):
                    rows.add(one.row)
                    break
    return rows


@dataclass
class Tally:
    trials: int = 0
    noticed: int = 0
    large: int = 0  # slips of 10 mm or more
    large_noticed: int = 0
    first_three: int = 0
    best: float = 0.0
    few: int = 0  # noticed, with fewer than four equal rows
    few_found: int = 0


def planted(rng: random.Random, kind: str, place: str, setups: int) -> tuple[list[Reading], Reading, int]:
    """A book with one slip, the reading as it was, and the size of the slip in mm."""
    while True:
        readings = made_book(rng, setups, inverted=kind == "the sign lost", again=place != PLACES[1])
        if not agrees(readings, setups):
            continue
        able = [one for one in readings if (one.role == "is") == (place == "intermediate") and slipped(one.mm)[kind]]
        if not able:
            return readings, readings[0], 0
        one = rng.choice(able)
        wrong = rng.choice(sorted(slipped(one.mm)[kind]))
        return [replace(each, mm=wrong) if each is one else each for each in readings], one, abs(wrong - one.mm)


def trial(trials: int, seed: int = 20) -> dict[tuple[str, str, int], Tally]:
    """The tallies by kind of slip, place of the reading and number of set-ups."""
    tallies: dict[tuple[str, str, int], Tally] = {}
    for kind, place, setups in itertools.product(KINDS, PLACES, SETUPS):
        rng = random.Random(f"{seed} {kind} {place} {setups}")
        tally = tallies.setdefault((kind, place, setups), Tally())
        for _ in range(trials):
            readings, right, size = planted(rng, kind, place, setups)
            if not size:
                continue
            with warnings.catch_warnings():
                warnings.simplefilter("ignore", sl.SurveyWarning)
                found = sl.suspect_slips(sl.read_book(text_of(readings)))
            line = place != "intermediate"
            listed = found.on_the_line if line else found.odd_spots
            noticed = found.noticed if line else right.row in [one.row for one in listed]
            hit = right.row in [one.row for one in listed[:3]]
            equal = equal_rows(readings, setups) if line else {right.row}
            tally.trials += 1
            tally.noticed += noticed
            tally.large += size >= 10
            tally.large_noticed += noticed and size >= 10
            tally.first_three += hit
            tally.best += min(1.0, 3 / max(1, len(equal)))
            if noticed and len(equal) < 4:
                tally.few += 1
                tally.few_found += hit
    return tallies


def false_alarms(books: int, seed: int = 21) -> dict[int, float]:
    """The share of books without a slip that are suspected all the same, by number of set-ups."""
    shares = {}
    for setups in SETUPS:
        rng = random.Random(f"{seed} {setups}")
        suspected = 0
        for _ in range(books):
            with warnings.catch_warnings():
                warnings.simplefilter("ignore", sl.SurveyWarning)
                suspected += sl.suspect_slips(sl.read_book(text_of(made_book(rng, setups, inverted=False)))).noticed
        shares[setups] = suspected / books
    return shares


def main() -> int:
    trials = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    tallies = trial(trials)
    line = "{:<20}{:<28}{:>7}{:>7}{:>9}{:>13}{:>13}{:>9}{:>16}"
    heads = ("slip", "reading", "set-ups", "books", "noticed", "of >= 10 mm", "first three", "at best", "few equal rows")
    print(line.format(*heads), "", sep="\n")
    for (kind, place, setups), one in tallies.items():
        if one.trials:
            print(line.format(kind, place, setups, one.trials, f"{one.noticed / one.trials:.0%}",
                              f"{one.large_noticed / one.large:.0%}" if one.large else "", f"{one.first_three / one.trials:.0%}",
                              f"{one.best / one.trials:.0%}", f"{one.few_found} of {one.few}"))
    for setups, share in false_alarms(20 * trials).items():
        print(f"Books without a slip that were suspected, {setups} set-up{'s' if setups > 1 else ''}: {share:.1%}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
