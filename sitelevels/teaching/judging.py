"""One cell judged: against the right number, and against what follows from the learner's own."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from ..errors import plainly, rows_named
from ..survey.linking import EXACT, Sight
from .filled import Cell
from .reasons import Figures, Guess, in_another_unit, no_reason, of_any

Verdict = Literal["right", "carried", "wrong", "again", "missing"]
Key = tuple[int, str]
MOST = 6  # numbers that a cell may be built on: more are slip upon slip, which nobody can tell apart


@dataclass(frozen=True)
class Mark:
    """What is said of one cell: `row` is 0 for a question; `written` is as typed, `right` has its unit.

    `kind` is that of the slip, `check` the check that would have shown it, `since` the cells of the earlier slips that it follows
    from, or for a slip made again of the first.
    """

    row: int
    where: str
    column: str
    written: str
    right: str
    verdict: Verdict
    reason: str = ""
    kind: str = ""
    check: str = ""
    since: tuple[Key, ...] = ()

    @property
    def key(self) -> Key:
        """Its cell, or for a question 0 and the name."""
        return self.row, self.column if self.row else self.where


@dataclass(frozen=True)
class Built:
    """A number in m that later cells may be built on, and the cells where the slips in it were made."""

    value: float
    slips: tuple[Key, ...] = ()

    def plus(self, other: Built | float, side: int = 1) -> Built:
        """The sum, or the difference if `side` is −1, with the slips of both."""
        if isinstance(other, Built):
            return Built(self.value + side * other.value, tuple(dict.fromkeys((*self.slips, *other.slips))))
        return Built(self.value + side * other, self.slips)


class Judge:
    """Marks as they are given. `slips` are the cells of each slip, the first of them wrong, with what it put them out by, m."""

    def __init__(self, word: Figures) -> None:
        self.word = word
        self.marks: dict[Key, Mark] = {}
        self.slips: dict[Key, dict[Key, float]] = {}
        self.made: dict[str, Key] = {}  # ways of working that were wrong before
        self.misused: list[tuple[Sight, float, Key, bool]] = []  # readings taken too great by so much before; surely so

    def _same_reading(self, changes: Iterable[tuple[Sight, float]], *, sure: bool = False) -> Key | None:
        """Where one of these readings was taken too great by as much before."""
        return next((key for sight, by in changes for other, before, key, surely in self.misused
                     if other is sight and surely >= sure and self.word.near(by, before)), None)

    def judge(self, key: Key, where: str, cell: Cell | None, right: float, follows: Iterable[Built],
              guesses: Callable[[float], Iterable[Guess]], rule: str, *, required: bool = True, twice: bool = False,
              shown: str = "", sure: Guess | None = None, put: Guess | None = None,
              changes: Callable[[float], Sequence[tuple[Sight, float]]] = lambda out: ()) -> list[Built]:
        """Mark a cell, and return the numbers that may follow from it: the learner's first, then what it should have been.

        `twice` says that the next row shows the same reading taken for another; `sure` that it is this slip whatever the number;
        `put` what is wrong with the way it is written where its number is right;
        `changes` which readings would explain that the cell is out by so much. `shown` is the right number in other words.
        """
        ways: list[Built] = []
        for way in follows:
            if len(ways) < MOST and all(abs(way.value - other.value) > EXACT for other in ways):
                ways.append(way)
        mark = Mark(key[0], where, key[1], plainly(cell.text) if cell else "", shown or self.word.full(right), "right")
        if cell is None or cell.value is None:
            if cell or required:
                self.marks[key] = missing(mark)
            return ways
        wrote = self.word.meant(cell.value, [right, *(way.value for way in ways)])
        slips: tuple[Key, ...] = ()
        if sure or not self.word.near(wrote, right):
            out = wrote - ways[0].value
            fits = [] if sure else [way for way in ways if self.word.near(way.value, wrote)]
            if fits and not self._same_reading(changes(out), sure=True):
                slips = fits[0].slips
                mark = replace(mark, verdict="carried", reason=carried_from(slips), since=slips)
            else:
                best = sure or self._best([*guesses(wrote), *(guess for way in ways for guess in of_any(
                    self.word, wrote, way.value, cell.text))], wrote, ways[0].value, twice)
                first = self._same_reading(changes(out)) or self.made.get(best.same)
                mark = self.slip(mark, best, rule, first)
                self.slips.setdefault(first or key, {})[key] = out
                self.misused += [(sight, by, first or key, best.reading) for sight, by in changes(out)]
                slips = (*ways[0].slips, first or key)
        badly = next(in_another_unit(self.word.unit, cell.value, wrote)) if wrote != cell.value else put
        if badly and mark.verdict in ("right", "carried"):  # the number is right, and so it is built on
            mark = self.slip(mark, badly, rule, self.made.get(badly.same))
        self.marks[key] = mark
        return [Built(wrote, slips), *ways]

    def slip(self, mark: Mark, guess: Guess, rule: str, first: Key | None) -> Mark:
        """The mark of a slip: wrong, or the same as one made before, carried where all but the unit, or the sign, is right."""
        if first is None:
            if guess.same:
                self.made[guess.same] = mark.key
            return replace(mark, verdict="wrong", kind=guess.kind, reason=f"{guess.said}. {rule}", since=())
        named = f"row {first[0]}" if first[0] else plainly(repr(first[1]))
        if guess.kind in ("unit", "column"):
            return replace(mark, verdict="carried", kind=guess.kind, since=(first, *mark.since),
                           reason=f"Right but for the {'unit' if guess.kind == 'unit' else 'sign'}, as in {named}.")
        return replace(mark, verdict="again", kind=guess.kind, since=(first,), reason=f"The slip of {named} again. {rule}")

    def _best(self, guesses: Iterable[Guess], wrote: float, result: float, twice: bool) -> Guess:
        """The likeliest: a slip made before, then by rank, then what gives the number exactly."""
        fits = [guess for guess in guesses if self.word.near(guess.value, wrote)]
        return min(fits, key=lambda one: (one.same not in self.made, twice and not one.reading, one.rank,
                                          abs(one.value - wrote) > self.word.digit / 100),
                   default=no_reason(self.word, wrote, result))


def missing(mark: Mark, rule: str = "a number") -> Mark:
    """The mark of a cell that is empty, or cannot be read, which counts as empty."""
    said = f"This cannot be read as {rule}, so it counts as empty." if mark.written else "Left empty."
    return replace(mark, verdict="missing", reason=said)


def carried_from(slips: Sequence[Key]) -> str:
    """That a number follows from slips made before."""
    rows = list(dict.fromkeys(row for row, _ in slips if row))
    return f"Right, carried from {rows_named(rows)}." if rows else "Right, carried from your own numbers."
