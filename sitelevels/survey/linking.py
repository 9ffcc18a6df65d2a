"""How the set-ups of a level book hang together: which of them carries its level to which."""

from __future__ import annotations

import heapq
import math
from bisect import bisect_right, insort
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise

from ..errors import SurveyError
from .book import Row

EXACT = 1e-9  # m: what binary fractions may add to a difference of booked digits


@dataclass(frozen=True, eq=False)
class Sight:
    """One reading in m from set-up number `setup`; `row` is an index into the rows that carry readings."""

    setup: int
    place: int
    row: int
    reading: float
    length: float | None


@dataclass(eq=False)
class Setup:
    """The readings of one set-up; sights[0] is its backsight.

    `anchor` is the sight on the point whose level is carried in, `source` the sight of another set-up that gave that
    level (None if it is a known level), `hpc` the height of the plane of collimation in m.
    """

    sights: list[Sight]
    hpc: float = math.nan
    anchor: Sight | None = None
    source: Sight | None = None

    @property
    def back(self) -> Sight:
        """The backsight."""
        return self.sights[0]

    @property
    def carried_in(self) -> Sight:
        """The anchor, once the set-up is linked."""
        assert self.anchor is not None
        return self.anchor


@dataclass(frozen=True, eq=False)
class Linkage:
    """All set-ups of a book, and the `order` in which their levels were found."""

    rows: tuple[Row, ...]
    setups: tuple[Setup, ...]
    order: tuple[int, ...]

    @property
    def sights(self) -> list[Sight]:
        """Every sight, in booking order."""
        return [sight for setup in self.setups for sight in setup.sights]

    def point(self, sight: Sight) -> str:
        """Name of the point that a sight is on."""
        return self.rows[sight.row].point

    def path(self, number: int) -> tuple[int, ...]:
        """Set-ups from the one that stands on a known level to this one."""
        path = [number]
        while (source := self.setups[path[-1]].source) is not None:
            path.append(source.setup)
        return tuple(path[::-1])

    def repeats(self, number: int) -> list[Sight]:
        """Later sights of a set-up on its own backsight point."""
        setup = self.setups[number]
        return [sight for sight in setup.sights[1:] if self.point(sight) == self.point(setup.back)]

    def runs(self) -> list[list[int]]:
        """Unbroken runs: consecutive set-ups joined by change points over which the level was carried."""
        runs: list[list[int]] = []
        for number, setup in enumerate(self.setups):
            if len(setup.sights) == 1:
                continue  # a backsight with nothing read from it adds to no sum
            before = self.setups[number - 1] if runs and runs[-1][-1] == number - 1 else None
            forwards = before is not None and setup.anchor is setup.back and setup.source is before.sights[-1]
            backwards = before is not None and before.anchor is before.sights[-1] and before.source is setup.back
            if forwards or backwards:
                runs[-1].append(number)
            else:
                runs.append([number])
        return runs

    def rise_and_fall(self, known: Mapping[str, float]) -> dict[Sight, float]:
        """Level in m of each sight by the second route: previous reading − reading, never through an HPC."""
        levels: dict[Sight, float] = {}
        for number in self.order:
            setup = self.setups[number]
            anchor = setup.carried_in
            start = levels[setup.source] if setup.source is not None else known[self.point(anchor)]
            level = levels[anchor] = start
            for previous, sight in pairwise(setup.sights[anchor.place:]):
                level = levels[sight] = level + (previous.reading - sight.reading)
            level = start
            for following, sight in pairwise(setup.sights[anchor.place::-1]):
                level = levels[sight] = level - (sight.reading - following.reading)
        return levels


def link(rows: tuple[Row, ...], known: Mapping[str, float]) -> Linkage:
    """Give every set-up its height of collimation: forwards from a level that it backsights, else backwards.

    `known` holds levels in m by point. Raises SurveyError naming each set-up that touches no known level.
    """
    setups: list[Setup] = []
    for index, row in enumerate(rows):
        forward = row.fs if row.fs is not None else row.is_
        if forward is not None:
            sights = setups[-1].sights
            sights.append(Sight(len(setups) - 1, len(sights), index, forward, row.sight))
        if row.bs is not None:
            setups.append(Setup([Sight(len(setups), 0, index, row.bs, row.sight_back)]))
    order = _solve(rows, setups, known)
    _refuse_loose(rows, setups, known)
    return Linkage(rows, tuple(setups), tuple(order))


def _solve(rows: tuple[Row, ...], setups: list[Setup], known: Mapping[str, float]) -> list[int]:
    """Fill in hpc, anchor and source of each set-up that can be reached; their numbers in the order reached."""
    seen_from: dict[str, list[Sight]] = {}
    for setup in setups:
        for sight in setup.sights:
            seen_from.setdefault(rows[sight.row].point, []).append(sight)
    waiting = [(int(sight.place > 0), sight.setup, sight.place) for point in known for sight in seen_from.get(point, [])]
    heapq.heapify(waiting)  # over backsights first, then known levels, then change points, then any spot; in booking order
    spread = set(known)
    solved: dict[str, list[Sight]] = {}
    order: list[int] = []
    while waiting:
        _, number, place = heapq.heappop(waiting)
        setup = setups[number]
        if setup.anchor is not None:
            continue
        anchor = setup.sights[place]
        point = rows[anchor.row].point
        level = known.get(point)
        if level is None:
            given = solved[point]  # in booking order; the last before, or else the first: a change point's own row counts
            setup.source = given[max(bisect_right(given, (anchor.row, math.inf), key=_booked) - 1, 0)]
            level = setups[setup.source.setup].hpc - setup.source.reading
        setup.anchor, setup.hpc = anchor, level + anchor.reading
        order.append(number)
        for sight in setup.sights:
            reached = rows[sight.row].point
            if len(seen_from[reached]) > 1 and gives_level(rows, setup, sight):
                insort(solved.setdefault(reached, []), sight, key=_booked)
            if reached not in spread:
                spread.add(reached)
                for other in seen_from[reached]:
                    if setups[other.setup].anchor is None:
                        ends = other is setups[other.setup].sights[-1] and abs(other.setup - number) == 1
                        rank = 0 if other.place == 0 else 2 if ends else 3
                        heapq.heappush(waiting, (rank, other.setup, other.place))
    return order


def _booked(sight: Sight) -> tuple[int, float]:
    return sight.row, sight.setup


def gives_level(rows: tuple[Row, ...], setup: Setup, sight: Sight) -> bool:
    """Whether a sight of a linked set-up tells the level of its point.

    It does not where that level was carried in, nor where it repeats its own backsight: that moves the HPC instead.
    """
    carried_in = sight is setup.anchor and setup.source is not None
    repeat = sight.place > 0 and setup.anchor is setup.back and rows[sight.row].point == rows[setup.back.row].point
    return not (carried_in or repeat)


def _refuse_loose(rows: tuple[Row, ...], setups: list[Setup], known: Mapping[str, float]) -> None:
    loose = [rows[setup.back.row] for setup in setups if setup.anchor is None]
    if loose and not known:
        raise SurveyError("no level is known", row=loose[0].number, column="rl", where=loose[0].where,
                          rule="At least one point that is read needs a level under rl.",
                          remedy=f"If no benchmark is to hand, call {loose[0].point} 10.000 m and work from there.")
    if loose:
        raise SurveyError.together(
            SurveyError("this set-up is on a point that nothing links to a known level", where=row.where, row=row.number,
                        column="point",
                        rule="A backsight must be on a known point or on one that is read elsewhere in the book.",
                        remedy="Check the spelling of the point, or book the missing foresight on it.") for row in loose)
