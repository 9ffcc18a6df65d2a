"""An independent reduction in decimal arithmetic, loop by loop as on a page of the book, against the package on random books."""

from __future__ import annotations

import math
import random
import warnings
from dataclasses import dataclass, field
from decimal import Decimal
from functools import cache
from itertools import pairwise

import pandas as pd
import pytest

from sitelevels import ReducedLevels, SurveyWarning, read_book, reduce_book

BOOKS = 1000  # of each of two kinds
METRES = 1e-9


@dataclass
class Page:
    """A made book. Of each set-up: the row of its backsight and of its shots, with their readings in mm."""

    rows: list[list[str]]
    setups: list[list[tuple[int, int]]]
    known: dict[str, Decimal]
    points: list[str] = field(default_factory=list)

    @property
    def text(self) -> str:
        """Known levels are marked as benchmarks, so that many of them are not taken for worked-out ones."""
        lines = [",".join([*row, "benchmark" if row[4] else ""]) for row in self.rows]
        return "point,bs,is,fs,rl,feature\n" + "\n".join(lines) + "\n"


def metres(millimetres: int) -> Decimal:
    return Decimal(millimetres) / 1000


def made(chance: random.Random, across: bool) -> Page:
    """A run of one to six set-ups over change points, with shots between, repeats, soffits, and readings wrong by up to 3 mm.

    `across`: a shot may be repeated from a later set-up.
    Known are one to three of the points on the way, the first row not always among them, so that parts are reduced backwards.
    """
    count = chance.randint(1, 6)
    truth = {f"T{number}": chance.randint(8000, 12000) for number in range(count + 1)}
    rows: list[list[str]] = []
    setups: list[list[tuple[int, int]]] = []
    extra = 0
    for number in range(count):
        line = chance.randint(9000, 12500)

        def read(point: str, line: int = line) -> int:
            return line - truth[point] + chance.randint(-3, 3)

        back = read(f"T{number}")
        if rows and chance.random() < 0.7:
            rows[-1][1] = str(metres(back))  # a change point on one row
        else:
            rows.append([f"T{number}", str(metres(back)), "", "", ""])
        sights, own = [(len(rows) - 1, back)], extra
        for _ in range(chance.randint(0, 3)):
            first = 0 if across else own
            if extra > first and chance.random() < 0.3:
                point = f"S{chance.randrange(first, extra)}"  # a repeat
            else:
                point = f"S{extra}"
                extra += 1
                truth[point] = line + chance.randint(100, 2500) if chance.random() < 0.2 else chance.randint(8000, 12000)
            reading = read(point)
            rows.append([point, "", str(metres(reading)), "", ""])
            sights.append((len(rows) - 1, reading))
        if number and chance.random() < 0.25:  # the backsight once more
            again = back + chance.choice([-9, -2, -1, 0, 1, 2])
            rows.append([f"T{number}", "", str(metres(again)), "", ""])
            sights.append((len(rows) - 1, again))
        fore = read(f"T{number + 1}")
        rows.append([f"T{number + 1}", "", "", str(metres(fore)), ""])
        sights.append((len(rows) - 1, fore))
        setups.append(sights)
    chosen = chance.sample(range(count + 1), k=min(count + 1, chance.choice([1, 1, 2, 2, 3])))
    known = {f"T{number}": metres(truth[f"T{number}"]) for number in sorted(chosen)}
    for point, level in known.items():
        chance.choice([row for row in rows if row[0] == point])[4] = str(level)
    return Page(rows, setups, known, [row[0] for row in rows])


@dataclass
class Worked:
    """What somebody with a pencil finds: HPC of each set-up, levels of the rows by both routes, closures, adjusted levels."""

    hpc: list[Decimal]
    by_hpc: list[Decimal]
    by_rise_and_fall: list[Decimal]
    closures: list[tuple[str, str, int, Decimal]]
    adjusted: list[Decimal]


def repeats_of(page: Page, number: int) -> list[int]:
    """Readings in mm of a set-up on its own backsight point, the backsight apart."""
    (at, _), *shots = page.setups[number]
    return [reading for row, reading in shots if page.points[row] == page.points[at]]


def moved_backsight(page: Page, number: int) -> Decimal:
    """By how much the mean of a backsight and its repeats lifts the HPC; nothing where one is over 5 mm off."""
    back, again = page.setups[number][0][1], repeats_of(page, number)
    if any(abs(reading - back) > 5 for reading in again):
        return Decimal(0)
    return metres(sum([back, *again])) / (len(again) + 1) - metres(back)


def worked(page: Page) -> Worked:
    count = len(page.setups)
    ends = [(f"T{number}", f"T{number + 1}") for number in range(count)]
    hpc: list[Decimal | None] = [None] * count
    forwards = [False] * count
    # every set-up whose backsight is on a known point starts a section; the level is carried on until the next such
    for number, sights in enumerate(page.setups):
        level = page.known.get(ends[number][0])
        if level is None and number and hpc[number - 1] is not None:
            level = hpc[number - 1] - metres(page.setups[number - 1][-1][1])  # type: ignore[operator]
        if level is not None:
            hpc[number], forwards[number] = level + metres(sights[0][1]), True
    # before the first known backsight: backwards from the foresight
    for number in reversed(range(count)):
        if hpc[number] is None:
            level = page.known.get(ends[number][1])
            if level is None:
                level = hpc[number + 1] - metres(page.setups[number + 1][0][1])  # type: ignore[operator]
            hpc[number] = level + metres(page.setups[number][-1][1])
    found = [one for one in hpc if one is not None]
    assert len(found) == count

    by_hpc, second = [Decimal("NaN")] * len(page.rows), [Decimal("NaN")] * len(page.rows)
    last: list[Decimal] = []
    for number, sights in enumerate(page.setups):
        steps = [(row, found[number] - metres(reading)) for row, reading in sights]
        level = steps[0][1]
        carried = [level]
        for (_, before), (_, after) in pairwise(sights):
            level += metres(before) - metres(after)
            carried.append(level)
        last.append(carried[-1])
        for place, (row, one) in enumerate(steps):
            if place or by_hpc[row].is_nan():  # a change point shows what its foresight gave
                by_hpc[row], second[row] = one, carried[place]

    closures: list[tuple[str, str, int, Decimal]] = []
    shares = [Decimal(0)] * count
    moved = [moved_backsight(page, number) for number in range(count)]
    forward_moved = [moved[number] if forwards[number] else Decimal(0) for number in range(count)]
    start = next((number for number in range(count) if forwards[number]), count)
    total = Decimal(0)
    missed: set[str] = set()
    for number in range(start, count):
        if ends[number][0] in page.known:
            start, total = number, Decimal(0)
        total += forward_moved[number]
        point = ends[number][1]
        if point in page.known:
            high = last[number] - page.known[point]
            length = number - start + 1
            closures.append((ends[start][0], point, length, high))
            within = abs(high) <= Decimal("0.005") * Decimal(length).sqrt() + Decimal("1e-12")
            if not within:
                missed.add(point)
            elif length > 1:
                for k in range(length):
                    shares[start + k] = -(high + total) * (k + 1) / length
    corrections = [Decimal(0)] * count
    total = Decimal(0)
    for number in range(count):
        if forwards[number]:
            total = forward_moved[number] + (Decimal(0) if ends[number][0] in page.known else total)
            corrections[number] = total + shares[number]
    # set-ups before the first known backsight are carried backwards and not corrected
    adjusted = list(by_hpc)
    for number, sights in enumerate(page.setups):
        for place, (row, reading) in enumerate(sights):
            point, closing = page.points[row], place == len(sights) - 1
            if not place and number and page.setups[number - 1][-1][0] == row:
                continue  # a change point on one row shows what its foresight gave
            if point in page.known and not (closing and point in missed):
                adjusted[row] = page.known[point]
            elif not place and number and forwards[number]:  # carried in: as the set-up before gave it
                adjusted[row] = found[number] - metres(reading) + corrections[number - 1]
            else:
                adjusted[row] = found[number] - metres(reading) + corrections[number]
    return Worked(found, by_hpc, second, closures, adjusted)


def reduced(page: Page) -> ReducedLevels:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", SurveyWarning)
        return reduce_book(read_book(page.text))


@pytest.fixture(scope="module", params=[False, True], ids=["repeats from one set-up", "repeats from any set-up"])
def pages(request: pytest.FixtureRequest) -> list[tuple[Page, Worked, ReducedLevels]]:
    chance = random.Random(20_240_917)
    return [(page, worked(page), reduced(page)) for page in (made(chance, request.param) for _ in range(BOOKS))]


@cache
def table_of(ours: ReducedLevels) -> pd.DataFrame:
    return ours.table


def near(found: list[float], wanted: list[Decimal]) -> bool:
    return len(found) == len(wanted) and all(abs(one - float(other)) <= METRES for one, other in zip(found, wanted, strict=True))


def test_heights_of_collimation(pages: list[tuple[Page, Worked, ReducedLevels]]) -> None:
    for page, hand, ours in pages:
        assert near([setup.hpc for setup in ours.linkage.setups], hand.hpc), page.text


def test_levels_by_height_of_collimation(pages: list[tuple[Page, Worked, ReducedLevels]]) -> None:
    for page, hand, ours in pages:
        assert near(table_of(ours)["level"].tolist(), hand.by_hpc), page.text


def test_levels_by_rise_and_fall(pages: list[tuple[Page, Worked, ReducedLevels]]) -> None:
    """Theirs from the rises and falls of the table, a level on from the row before; ours in decimal arithmetic exactly equal."""
    for page, hand, ours in pages:
        assert hand.by_rise_and_fall == hand.by_hpc
        table = table_of(ours)
        steps = (table["rise"].fillna(0) - table["fall"].fillna(0)).tolist()
        for sights in page.setups:
            level = float(hand.hpc[page.setups.index(sights)]) - sights[0][1] / 1000
            for row, _ in sights[1:]:
                level += steps[row]
                assert abs(level - float(hand.by_rise_and_fall[row])) <= METRES, page.text


def test_the_two_routes_agree_on_every_book(pages: list[tuple[Page, Worked, ReducedLevels]]) -> None:
    for page, _, ours in pages:
        sums = ours.arithmetic
        assert sums["agrees"].all(), page.text
        assert (sums["left"] - sums["right"]).abs().max() <= METRES


def test_misclosures(pages: list[tuple[Page, Worked, ReducedLevels]]) -> None:
    closed = 0
    for page, hand, ours in pages:
        found = ours.closures
        assert found[["from", "to", "setups"]].to_numpy().tolist() == [[*one[:3]] for one in hand.closures], page.text
        assert near(found["misclosure"].tolist(), [one[3] for one in hand.closures]), page.text
        for (_, _, length, high), closes in zip(hand.closures, found["closes"], strict=True):
            if abs(abs(float(high)) - 0.005 * math.sqrt(length)) > METRES:
                assert bool(closes) is (abs(float(high)) < 0.005 * math.sqrt(length))
                closed += bool(closes)
    assert closed > 100  # so that something was shown


def test_adjusted_levels_by_set_ups(pages: list[tuple[Page, Worked, ReducedLevels]]) -> None:
    shared = 0
    for page, hand, ours in pages:
        found = table_of(ours)["adjusted_level"].tolist()
        for row, (one, other) in enumerate(zip(found, hand.adjusted, strict=True)):
            assert abs(one - float(other)) <= METRES, f"row {row + 1}\n{page.text}{hand}"
        shared += any(abs(float(one - other)) > 1e-6 for one, other in zip(hand.adjusted, hand.by_hpc, strict=True))
    assert shared > 100


def test_the_books_hold_what_they_are_meant_to_hold(pages: list[tuple[Page, Worked, ReducedLevels]]) -> None:
    """Several set-ups, change points on one row and on two, repeats, soffits, levels known in the middle and only at the end."""
    kinds = {"several": 0, "one row": 0, "two rows": 0, "repeat": 0, "soffit": 0, "backwards": 0, "only the last": 0, "steady": 0}
    for page, _, _ in pages:
        kinds["several"] += len(page.setups) > 2
        kinds["one row"] += any(row[1] and row[3] for row in page.rows)
        kinds["two rows"] += any(row[1] and not row[3] for row in page.rows[1:])
        shots = [row[0] for row in page.rows if row[2]]
        kinds["repeat"] += len(shots) > len(set(shots))
        kinds["soffit"] += any(row[2].startswith("-") for row in page.rows)
        kinds["backwards"] += "T0" not in page.known
        kinds["only the last"] += list(page.known) == [f"T{len(page.setups)}"]
        kinds["steady"] += any(repeats_of(page, number) for number in range(len(page.setups)))
    assert all(times > 50 for times in kinds.values()), kinds


def test_a_set_up_that_ends_on_a_benchmark_is_carried_from_it_and_not_over_a_spot_shot_from_elsewhere() -> None:
    """The first set-up ends on BM, known; it also shoots S, which the second set-up, on BM, shoots again 16 mm differently.

    By hand: HPC 10.000 + 1.500 = 11.500 in the first, backwards from BM; so P = 11.500 − 1.200 = 10.300.
    """
    book = read_book("point,bs,is,fs,rl\nP,1.200,,,\nS,,1.300,,\nBM,1.400,,1.500,10.000\nS,,1.216,,\nQ,,1.100,,\n")
    assert reduce_book(book).level("P") == pytest.approx(10.3, abs=METRES)
