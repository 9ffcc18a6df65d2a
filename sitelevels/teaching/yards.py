"""Invented yards to be levelled: the readings of each kind of book, in whole millimetres, and what is asked of it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from itertools import pairwise

from .asking import Asking
from .drawing import Booked, Draw, Place, Walk

PLACES = ("gate", "path", "kerb", "foot of steps", "lawn edge", "shed door", "middle of yard", "by the tree", "old slab",
          "edge of bed", "back door", "drain cover", "bin store", "corner of fence", "washing post")
OVERHEAD = (("DPC", "DPC of the upper yard"), ("L", "lintel"), ("B", "beam over the passage"), ("C", "canopy"))
EASY, USUAL, HARD = "easy", "usual", "hard"
REDUCE = "Reduce the book: HPC and levels, or rises, falls and levels."


@dataclass(frozen=True)
class Site:
    """What was read in one yard, what to do with it, and what is asked; a slip moves all points `kept` together, or none."""

    walk: Walk
    task: str = REDUCE
    given: tuple[str, ...] = ()
    ask: Callable[[Asking, Booked], None] = lambda asking, booked: None
    adjusts: bool = False
    kept: tuple[str, ...] = ()


@dataclass
class Yard:
    """Names and heights of one yard as it is drawn."""

    draw: Draw
    difficulty: str
    met: int = 0
    bench: Place = field(init=False)

    def __post_init__(self) -> None:
        easy, hard = self.difficulty == EASY, self.difficulty == HARD
        level = 10_000 if easy else self.draw.whole(8_000, 95_000) if hard else self.draw.one((10_000, 20_000, 50_000, 100_000))
        self.bench = Place("BM", level, "bolt in the wall", "benchmark")
        self.first = self.draw.whole(0, len(PLACES) - 1, 1)

    def by(self, *values: int) -> int:
        """One value for easy, usual, hard."""
        return values[(EASY, USUAL, HARD).index(self.difficulty)]

    def spot(self, level: int) -> Place:
        """A spot on the ground near this level."""
        self.met += 1
        return Place(f"S{self.met}", level, PLACES[(self.first + self.met) % len(PLACES)])

    def spots(self, count: int, start: int, end: int, rough: int = 100) -> list[Place]:
        """Spots between two levels, on ground as rough as that."""
        step = self.draw.step
        return [self.spot(start + (end - start) * number // (count + 1) // step * step + self.draw.whole(-rough, rough))
                for number in range(1, count + 1)]

    def noise(self, most: int) -> int:
        """What reading adds, nought where the book is easy."""
        return 0 if self.difficulty == EASY else self.draw.whole(-most, most)

    def again(self, mark: Place) -> Place:
        """A mark read a second time."""
        return Place(mark.point, mark.level + self.noise(1), "read again", mark.feature)


def one_setup(draw: Draw, difficulty: str) -> Site:
    """A laser in the middle of a yard."""
    yard = Yard(draw, difficulty)
    height = yard.bench.level + draw.whole(900, 1700)
    ground = height - draw.whole(1200, 1500)
    spots = yard.spots(yard.by(5, 7, 8), ground, ground - draw.whole(0, 250))
    spots += [yard.again(spots[draw.whole(0, 4, 1)])] * yard.by(0, 0, 1)
    walk = Walk({"BM": yard.bench.level})
    walk.set_up(height, yard.bench, spots, yard.bench, high=yard.noise(2))
    return Site(walk, f"A laser stands in one place for the whole yard. {REDUCE}")


def _line(yard: Yard, ends: list[Place], most: int, share: int | None = None) -> Walk:
    """Set-ups from each mark to the next, spots between; where hard, one overhead, one from two set-ups, one point apart."""
    draw, hard = yard.draw, yard.difficulty == HARD
    walk = Walk({mark.point: mark.level for mark in ends if mark.feature == "benchmark"})
    last: Place | None = None
    for number, (back, front) in enumerate(pairwise(ends)):
        height = max(back.level, front.level) + draw.whole(700 if number else 1150, 1500)
        spots = yard.spots(most, back.level, front.level)
        if hard and number == 1:
            assert last is not None
            name, remark = draw.one(OVERHEAD[1:])
            spots = [yard.again(last), *spots, Place(f"{name}1", height + draw.whole(600, 1300), remark)]
        if share is None and number > 0 and (hard or (yard.difficulty == USUAL and number == 1)):
            spots.append(yard.again(back))
        walk.set_up(height, back, spots, front, high=yard.noise(2) if share is None else share, apart=hard and number == 1)
        last = spots[-1]
    return walk


def change_points(draw: Draw, difficulty: str) -> Site:
    """Three set-ups over two change points and back to the benchmark."""
    yard = Yard(draw, difficulty)
    ends = [yard.bench]
    for number in (1, 2):
        ends.append(Place(f"CP{number}", ends[-1].level + draw.whole(-700, 700), "change point"))
    return Site(_line(yard, [*ends, yard.bench], yard.by(1, 2, 3)))


def inverted(draw: Draw, difficulty: str) -> Site:
    """One or two set-ups with readings on what stands over the line of sight."""
    yard = Yard(draw, difficulty)
    walk = Walk({"BM": yard.bench.level})
    setups = yard.by(1, draw.whole(1, 2, 1), 2)
    height = yard.bench.level + draw.whole(1000, 1600)
    over = draw.whole(600, 1300)
    change = Place("CP1", height + over, "underside of a beam") if difficulty == HARD else Place(
        "CP1", height - draw.whole(900, 1600), "change point")
    start, many = draw.whole(0, 3, 1), yard.by(1, 2, 3)
    marks = [yard.bench, *[change] * (setups - 1), yard.bench]
    for number, (back, front) in enumerate(pairwise(marks)):
        ground = height - draw.whole(1200, 1600)
        spots = yard.spots(yard.by(4, 5 - setups, 3), ground, ground - draw.whole(0, 200))
        for one in range(number, many, setups):
            name, remark = OVERHEAD[(start + one) % 4]
            high = draw.whole(150, 600) if name == "DPC" else draw.whole(600, 1300)
            spots.insert(draw.whole(0, len(spots), 1), Place(f"{name}{one + 1}", height + high, remark, "dpc" * (name == "DPC")))
        walk.set_up(height, back, spots, front, high=yard.noise(2))
        height += draw.whole(-200, 200)
    return Site(walk, f"A reading with a minus was taken with the staff upside down, its foot on the mark. {REDUCE}")


def _shares(setups: int) -> str:
    """What is taken off the levels of each set-up, in words."""
    parts = [f"{number}/{setups} of it off the levels read from set-up {number}" for number in range(1, setups)]
    return f"{', '.join(parts)}, all of it off those from set-up {setups}"


def closing(draw: Draw, difficulty: str) -> Site:
    """From one benchmark to another, the misclosure shared out by set-ups."""
    yard = Yard(draw, difficulty)
    setups, share = yard.by(2, 3, 4), yard.noise(2)
    ends = [Place("BM1", yard.bench.level, yard.bench.remark, "benchmark")]
    for number in range(1, setups):
        ends.append(Place(f"CP{number}", ends[-1].level + draw.whole(-600, 600), "change point"))
    ends.append(Place("BM2", ends[-1].level + draw.whole(-600, 600), "plate on the step", "benchmark"))
    return Site(_line(yard, ends, yard.by(1, 2, 2), share), f"{REDUCE} Find the misclosure on BM2. If it is allowed, share it "
                f"out equally by set-ups: take {_shares(setups)}; where the misclosure has a minus, that adds. If it is not "
                "allowed, share nothing out and write the levels as found: a slip is looked for, not spread.", adjusts=True)
