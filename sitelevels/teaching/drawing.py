"""Whole numbers out of a seed, and a walk of set-ups drawn with them in whole millimetres."""

from __future__ import annotations

import random
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Literal, TypeVar

from ..survey.book import LevelBook, Row

Thing = TypeVar("Thing")


class Draw:
    """Whole numbers out of a seed, the same on every machine: of `random` only `Random(seed).random()` is promised to stay."""

    def __init__(self, seed: int, step: int = 1) -> None:
        self._next, self.step = random.Random(seed).random, step

    def whole(self, low: int, high: int, step: int = 0) -> int:
        """A whole number from `low` to `high`, both included, in steps: those of the readings unless given."""
        step = step or self.step
        return low + step * int(self._next() * ((high - low) // step + 1))

    def one(self, things: Sequence[Thing]) -> Thing:
        """One of several things."""
        return things[int(self._next() * len(things))]


@dataclass(frozen=True)
class Place:
    """A place that the staff is held at; its level in mm."""

    point: str
    level: int
    remark: str = ""
    feature: str = ""


@dataclass(frozen=True)
class Shot:
    """A staff reading in mm, where it is booked, and the set-up that it was read from, counted from nought."""

    row: int
    setup: int
    column: Literal["bs", "is", "fs"]
    point: str
    mm: int
    remark: str
    feature: str


@dataclass
class Walk:
    """Set-ups one after the other from the known levels in mm, booked as they are read."""

    known: Mapping[str, int]
    shots: list[Shot] = field(default_factory=list)

    def set_up(self, height: int, back: Place, spots: Sequence[Place], front: Place, *, high: int = 0,
               apart: bool = False) -> None:
        """One more set-up at a height of collimation: a backsight, spots and a foresight, whose level is found `high` by so much.

        `apart` gives the backsight a row of its own, where the foresight on that point was booked before.
        """
        last = self.shots[-1] if self.shots else None
        setup = last.setup + 1 if last else 0
        row = last.row + apart if last else 1
        self.shots.append(self._shot(row, setup, "bs", back, height - back.level))
        for number, spot in enumerate(spots, start=row + 1):
            self.shots.append(self._shot(number, setup, "is", spot, height - spot.level))
        self.shots.append(self._shot(row + len(spots) + 1, setup, "fs", front, height - front.level - high))

    @staticmethod
    def _shot(row: int, setup: int, column: Literal["bs", "is", "fs"], mark: Place, mm: int) -> Shot:
        inverted = "staff inverted" if mm < 0 else ""
        return Shot(row, setup, column, mark.point, mm, ": ".join(filter(None, (inverted, mark.remark))), mark.feature)


@dataclass(frozen=True)
class Booked:
    """Readings as they stand in a book, slips and all, with what follows from them in whole mm."""

    shots: tuple[Shot, ...]
    known: Mapping[str, int]

    @cached_property
    def heights(self) -> tuple[int, ...]:
        """Height of collimation of each set-up."""
        found: list[int] = []
        level = self.known[self.shots[0].point]
        for shot in self.shots:
            if shot.column == "bs":
                found.append(level + shot.mm)
            else:
                level = found[-1] - shot.mm
        return tuple(found)

    @cached_property
    def levels(self) -> tuple[int, ...]:
        """The level that each shot gives."""
        return tuple(self.heights[shot.setup] - shot.mm for shot in self.shots)

    @cached_property
    def by_row(self) -> dict[int, int]:
        """The level found in each row."""
        return dict(zip((shot.row for shot in self.shots), self.levels, strict=True))

    @property
    def misclosure(self) -> int:
        """Observed minus known at the last shot."""
        return self.levels[-1] - self.known[self.shots[-1].point]

    @property
    def closes(self) -> bool:
        """Within 5 mm × √set-ups."""
        return self.misclosure**2 <= 25 * len(self.heights)

    def row(self, point: str) -> int:
        """The row where a point is read first."""
        return next(shot.row for shot in self.shots if shot.point == point)

    @property
    def book(self) -> LevelBook:
        """The level book."""
        rows: dict[int, Row] = {}
        met: set[str] = set()
        for shot in self.shots:
            rl = self.known.get(shot.point) if shot.point not in met else None
            read = {shot.column: shot.mm / 1000}
            fs = rows[shot.row].fs if shot.row in rows else read.get("fs")  # a change point stands on one row with two readings
            rows[shot.row] = Row(shot.row, shot.point, read.get("bs"), read.get("is"), fs, rl=None if rl is None else rl / 1000,
                                 feature=shot.feature, remarks=shot.remark)
            met.add(shot.point)
        return LevelBook(tuple(rows.values()))
