"""The columns of a book judged one after the other, as each follows from the one before."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import cached_property, partial
from itertools import pairwise
from typing import TypeVar

from ..errors import plainly
from ..survey.linking import EXACT, Setup, Sight
from ..survey.reduction import ReducedLevels
from .exercise import Exercise, Own
from .filled import Cell, Filled
from .judging import Built, Judge, Key
from .reasons import Given, Guess, of_adjusted, of_hpc, of_level, of_level_by_step, of_step, of_sum, with_a_sign

MOST_NEAR = 60  # rows up or down the page where another number may have been taken from
Thing = TypeVar("Thing")


class Chain:
    """The columns of a book judged as its levels were found: set-up by set-up, outwards from the level that each stands on."""

    def __init__(self, exercise: Exercise, reduced: ReducedLevels, filled: Filled, judge: Judge) -> None:
        self.exercise, self.reduced, self.filled, self.judge, self.word = exercise, reduced, filled, judge, judge.word
        self.linkage = reduced.linkage
        self.right, self.right_adjusted = ({row.number: float(level) for row, level in zip(
            reduced.linkage.rows, exercise.right[column], strict=True)} for column in ("level", "adjusted"))
        self.by_hpc = filled.uses("hpc") or not filled.uses("rise", "fall")
        self.by_step = filled.uses("rise", "fall") or not filled.uses("hpc")
        self.sights = sorted((sight for setup in self.linkage.setups for sight in setup.sights),
                             key=lambda sight: (sight.row, sight.place == 0))
        self.planes: dict[int, list[Built]] = {}
        self.at: dict[Sight, list[Built]] = {}  # levels that a sight may give its point
        self.levels: dict[int, list[Built]] = {}  # levels that may stand in a row, by its number
        self.steps: dict[Sight, list[Built]] = {}
        for number in self.linkage.order:
            self._setup(number, self.linkage.setups[number])
        if exercise.adjusts:
            self._adjusted()
        self._stray_planes()
        for first, cells in judge.slips.items():
            judge.marks[first] = replace(judge.marks[first], check=self._check(first, cells))

    @property
    def own(self) -> Own:
        """The learner's levels and HPCs, with what follows from them where there are none."""
        hpcs = {self._number(self.linkage.setups[number].back): values[0].value for number, values in self.planes.items()}
        return Own({row: values[0].value for row, values in sorted(self.levels.items())}, dict(sorted(hpcs.items())))

    @cached_property
    def givers(self) -> dict[int, Sight]:
        """The sight that gives each row its level: its forward sight unless the level was carried to that from its backsight."""
        chosen = {sight.row: sight for sight in reversed(self.sights)}
        for row, sight in chosen.items():
            setup = self.linkage.setups[sight.setup]
            if sight is setup.anchor and setup.source is not None and setup.source.row == row:
                chosen[row] = setup.source
        return chosen

    def _number(self, sight: Sight) -> int:
        return self.linkage.rows[sight.row].number

    def _where(self, sight: Sight) -> str:
        return plainly(f"row {self._number(sight)}, {self.linkage.point(sight)}")

    def _named(self, sight: Sight) -> str:
        return "the backsight" if sight.place == 0 else "the foresight" if self.linkage.rows[sight.row].fs is not None else (
            "the intermediate sight")

    def _given(self, sight: Sight) -> Given:
        return Given(self._named(sight), sight.reading, "reading")

    def _readings(self, sight: Sight) -> list[Given]:
        """All other readings, with how they stand to this one."""
        near = {0: "of this row", 1: "of the next row", -1: "of the row before"}
        back = self.linkage.setups[sight.setup].back
        return [Given(f"{self._named(one)} of row {self._number(one)}", one.reading, "other reading",
                      near.get(one.row - sight.row, "back" if one is back else f"{self._number(one)} {one.place == 0}"),
                      far=abs(one.row - sight.row) > 1 and one is not back)
                for one in self._near(self.sights, self.sights.index(sight)) if one is not sight]

    @staticmethod
    def _near(every: Sequence[Thing], place: int) -> Sequence[Thing]:
        """Those not too far on the page from one of them: in a long book any number is met with somewhere, by chance."""
        return every[max(0, place - MOST_NEAR):place + MOST_NEAR]

    def _other_levels(self, sight: Sight) -> list[Given]:
        """The levels of all other rows, with how they stand to this one."""
        anchor = self.linkage.setups[sight.setup].carried_in.row
        near = {-1: "of the row before", 1: "of the next row"}
        return [Given(f"the level of row {row.number}", values[0].value, "other level",
                      near.get(place - sight.row, f"row {row.number}"),
                      far=abs(place - sight.row) > 1 and place not in (0, anchor))
                for place, row in self._near([*enumerate(self.linkage.rows)], sight.row)
                if place != sight.row and (values := self.levels.get(row.number))]

    def _other_planes(self, number: int) -> list[Given]:
        """The HPCs of other set-ups, the learner's own where there are any."""
        near = self._near([*enumerate(self.linkage.setups)], number)
        named = [(self._number(setup.back), setup.hpc) for place, setup in near if place != number]
        return [Given(f"the HPC of row {row}", value, "other set-up") for row, right in named
                for value in dict.fromkeys((self.filled.number(row, "hpc"), right)) if value is not None]

    def _setup(self, number: int, setup: Setup) -> None:
        anchor = setup.carried_in
        base = self.at[setup.source] if setup.source else [Built(self.reduced.book.known[self.linkage.point(anchor)])]
        giver = self.givers[anchor.row]
        known = all(one.source is None for one in (setup, self.linkage.setups[giver.setup]))
        if giver is anchor or (known and giver is self.linkage.setups[giver.setup].anchor):
            base = self.levels.get(self._number(giver)) or self._carried_in(giver, base, known=known)
        self.at[anchor] = base
        self._hpc(number, setup, base)
        for before, sight in pairwise(setup.sights[anchor.place:]):
            self._step(setup, before, sight)
            self._level(number, sight, before, sight, 1)
        for after, sight in pairwise(setup.sights[anchor.place::-1]):
            self._step(setup, sight, after)
            self._level(number, sight, after, after, -1)

    def _carried_in(self, anchor: Sight, base: list[Built], *, known: bool) -> list[Built]:
        """A level that is given, or stands in another row: it may be left empty."""
        row = self._number(anchor)
        if anchor.place == 0:
            strays = self._stray_step(anchor)
            base = [*base, *(one.plus(stray) for one in base for stray in strays)]
        rule = (f"The level of {plainly(self.linkage.point(anchor))} is given: {self.word.full(base[0].value)}." if known else
                f"It is the level carried to this point: {self.word.full(base[0].value)}.")
        values = self.judge.judge(
            (row, "level"), self._where(anchor), self.filled.cells.get((row, "level")), self.right[row], base,
            lambda wrote: [*(self._from_elsewhere(row) if known else []), *of_sum(
                self.word, wrote, Given("the level", base[0].value, "reading"), Given("", 0.0), None)], rule, required=False)
        self.levels[row] = values
        return values

    def _from_elsewhere(self, row: int) -> Iterator[Guess]:
        """What a row of known level gets from a known level that was put where it is not to be worked from."""
        for other in self.linkage.rows:
            level = self.filled.number(other.number, "level")
            for point, value in self.reduced.book.known.items():
                if level is not None and self.word.near(level, value) and not self.word.near(value, self.right[other.number]):
                    said = (f"you worked back from the known level of {plainly(point)}" if point == other.point else
                            f"you put the known level of {plainly(point)} in row {other.number} and worked from there")
                    yield Guess("other level", value + self.right[row] - self.right[other.number], said, "other end")

    def _stray_step(self, back: Sight) -> list[Built]:
        """A rise or fall in a row where nothing was read but a backsight, and no number belongs; nothing where none stands."""
        row = self._number(back)
        column, cell = self._step_cell(row, 0.0)
        if cell is None or (cell.value is not None and self.word.near(cell.value, 0.0)):
            return []
        last = [one.reading for one in self.sights[:self.sights.index(back)][-1:]]
        said, kind = "you went on from the reading before, and the instrument has been moved since", "across the change point"
        return self.judge.judge(
            (row, column), self._where(back), cell, 0.0, [Built(0.0)],
            lambda wrote: [Guess(kind, one - back.reading, said, kind) for one in last],
            "The first reading of a set-up has neither rise nor fall.")

    def _hpc(self, number: int, setup: Setup, base: list[Built]) -> None:
        row, anchor = self._number(setup.back), setup.carried_in
        cells = [self.filled.cells.get((self._number(sight), "hpc")) for sight in setup.sights
                 if sight.place == 0 or self.linkage.rows[sight.row].bs is None]  # some book it in every row
        follows = [one.plus(anchor.reading) for one in base]
        cell = next((cell for cell in cells if cell), None)
        out = cell.value - follows[0].value if cell and cell.value is not None else 0.0
        shown = anchor is setup.back and len(setup.sights) > 1 and self.word.near(self._out(setup.back, setup.sights[1]), out)
        rule = f"HPC = level + {self._named(anchor).removeprefix('the ')} = {self.word.full(follows[0].value)}."

        def guesses(wrote: float) -> Iterator[Guess]:
            elsewhere = self._readings(anchor), self._other_levels(anchor), self._other_planes(number)
            for level in base:
                yield from of_hpc(self.word, wrote, Given("the level", level.value), self._given(anchor), *elsewhere)
            for one in self._from_elsewhere(self._number(anchor)) if setup.source is None else ():
                yield replace(one, value=one.value + anchor.reading)
        self.planes[number] = self.judge.judge(
            (row, "hpc"), self._where(setup.back), cell, setup.hpc, follows, guesses, rule,
            required=self.by_hpc and len(setup.sights) > 1, twice=shown, changes=lambda out: [(anchor, out)])

    def _step_cell(self, row: int, right: float) -> tuple[str, Cell | None]:
        """Rise less fall as filled in, and the column where it stands. A minus under fall turns nothing."""
        filled = {column: cell for column in ("rise", "fall") if (cell := self.filled.cells.get((row, column)))}
        column = next((name for name, cell in filled.items() if cell.value is None or cell.value),
                      "rise" if right >= 0 else "fall")
        if column not in filled:
            return column, next(iter(filled.values()), None)
        if filled[column].value is None:
            return column, filled[column]
        rise, fall = self._rise_and_fall(row)
        text = f"{filled['rise'].text} and fall {filled['fall'].text}" if rise and fall else filled[column].text
        return column, Cell(text, rise - fall)

    def _rise_and_fall(self, row: int) -> tuple[float, float]:
        """Both columns of a row as filled in, nought where nothing stands."""
        rise, fall = (self.filled.number(row, name) or 0.0 for name in ("rise", "fall"))
        return rise, abs(fall)

    def _out(self, before: Sight, sight: Sight) -> float:
        """By how much the rise or fall into a row is out as written, m; nought where there is none."""
        right = before.reading - sight.reading
        cell = self._step_cell(self._number(sight), right)[1]
        return cell.value - right if cell and cell.value is not None else 0.0

    def _step(self, setup: Setup, before: Sight, sight: Sight) -> None:
        right = before.reading - sight.reading
        column, cell = self._step_cell(self._number(sight), right)
        after = setup.sights[sight.place + 1] if sight is not setup.sights[-1] else None
        way = "a rise of" if right > 0 else "a fall of" if right < 0 else "neither rise nor fall:"
        rule = (f"The reading before − this reading = {self.word.sum(before.reading, sight.reading, minus=True)}, "
                f"{way} {self.word.full(abs(right))}.")

        def guesses(wrote: float) -> Iterator[Guess]:
            befores = self._readings(before)
            if before is setup.back and before.setup:
                last = self.linkage.setups[before.setup - 1].sights[-1]
                named = f"{self._named(last)} of row {self._number(last)}"
                befores.insert(0, Given(named, last.reading, "across the change point"))
            return of_step(self.word, wrote, self._given(before), self._given(sight), befores, self._readings(sight))
        rise, fall = self._rise_and_fall(self._number(sight))
        both = Guess("both", rise - fall, "a row has a rise or a fall, not both", "both") if rise and fall else None
        turned = cell is not None and cell.value is not None and cell.value * right < 0
        steps = self.judge.judge(
            (self._number(sight), column), self._where(sight), cell, right, [Built(right)], guesses, rule, sure=both,
            put=with_a_sign(cell.text) if cell and column == "fall" and not both else None,
            shown=f"{'fall' if right < 0 else 'rise'} {self.word.full(abs(right))}" if turned else self.word.full(abs(right)),
            required=self.filled.uses("rise", "fall") and not self.word.near(right, 0.0),
            twice=after is not None and self.word.near(self._out(sight, after), -self._out(before, sight)),
            changes=lambda out: [] if both else [(sight, -out), (before, out)])
        if both:
            steps[1:1] = [replace(steps[0], value=value) for value in (rise, -fall)]
        self.steps[sight] = steps

    def _level(self, number: int, sight: Sight, before: Sight, step: Sight, side: int) -> None:
        """The level of a sight, from its HPC and from the level `before` it by the rise into `step`."""
        row, point = self._number(sight), self.linkage.point(sight)
        planes = self.planes[number]
        steps = [one.plus(two, side) for one in self.at[before] for two in self.steps[step]] if self.by_step else []
        follows = [*(plane.plus(-sight.reading) for plane in planes if self.by_hpc), *steps]
        if self.givers[sight.row] is not sight:
            self.at[sight] = follows
            return
        rule = "HPC − reading" if self.by_hpc else "level before + rise, or − fall"
        known = self.reduced.book.known.get(point)

        def guesses(wrote: float) -> Iterator[Guess]:
            yield from self._alike(number, sight, wrote)
            if known is not None:
                yield Guess("known level", known,
                            f"that is the known level of {plainly(point)}, and the level found belongs here", "known level")
            elsewhere = self._readings(sight), self._other_planes(number)
            for plane in planes if self.by_hpc else []:
                yield from of_level(self.word, wrote, Given("the HPC", plane.value), self._given(sight), *elsewhere)
            levels = self._other_levels(before)
            for level in self.at[before] if self.by_step else []:
                for one in self.steps[step]:
                    yield from of_level_by_step(self.word, wrote, Given("the level", level.value), side * one.value, levels)
        values = self.judge.judge(
            (row, "level"), self._where(sight), self.filled.cells.get((row, "level")), self.right[row], follows, guesses,
            f"Level = {rule} = {self.word.full(follows[0].value)}.",
            changes=lambda out: [(sight, -out)] if self.by_hpc else [])
        self.at[sight] = self.levels[row] = values

    def _alike(self, number: int, sight: Sight, wrote: float) -> Iterator[Guess]:
        """Levels of one set-up that are all out by as much from their HPC, and from no HPC that was found."""
        plane = self.planes[number][0].value
        found = {one: level + one.reading for one in self.linkage.setups[number].sights if self.givers[one.row] is one
                 and (level := self.filled.number(self._number(one), "level")) is not None}
        as_if = wrote + sight.reading
        same = [one for one, other in found.items() if self.word.near(other, as_if)]
        if self.by_hpc and len(same) > 1 and not any(self.word.near(as_if, one.value) for one in self._other_planes(number)):
            out = f"{self.word.amount(abs(as_if - plane))} too {'high' if as_if > plane else 'low'}"
            yield Guess("carry" if out.split()[0].strip("0.") == "1" else "arithmetic", wrote,
                        f"{len(same)} levels of this set-up are {out}, as if from HPC {self.word.full(as_if)}", f"{number} {out}")

    def _adjusted(self) -> None:
        """Adjusted levels: the learner's levels with the corrections of the book, and with those of the learner's misclosure."""
        closure = self.reduced.adjustment.closures[-1]
        own = self.levels[self._number(closure.sight)][0]
        closing = own.value - self.reduced.book.known[self.linkage.point(closure.sight)]
        shares = abs(closing) <= closure.allowable + EXACT  # a misclosure that is too great is sought, not shared out
        more = closing - closure.high
        parts = [place / len(closure.path) for place in range(len(closure.path) + 1)]
        every = sorted({-part * high for part in parts for high in (closing, closure.high)})
        for place, sight in sorted(self.givers.items()):
            row = self._number(sight)
            by_rows = -closing * place / max(self.givers)
            right = self.right_adjusted[row]
            correction = right - self.right[row]
            setup = self.linkage.setups[sight.setup]
            carrier = setup.source.setup if sight is setup.anchor and setup.source else sight.setup
            first = sight is setup.anchor and setup.source is None
            share = (0.0 if first else (closure.path.index(carrier) + 1) / len(closure.path) if carrier in closure.path else 1.0)
            found = self.levels[row]
            again = Built(-share * more, own.slips)
            fixed = self.reduced.book.known.get(self.linkage.point(sight))
            known = [] if fixed is None or not closure.closes else [Built(fixed)]
            follows = [*known, *(way for one in found for way in (
                one.plus(correction), one.plus(correction).plus(again), *([] if shares else [one])))]
            self.judge.judge(
                (row, "adjusted"), self._where(sight), self.filled.cells.get((row, "adjusted")), right, follows,
                partial(self._adjusted_guesses, found, correction, every, by_rows),
                f"Adjusted = level + correction = {self.word.full(follows[0].value)}.", required=not first)

    def _adjusted_guesses(self, found: list[Built], correction: float, every: list[float], by_rows: float,
                          wrote: float) -> Iterator[Guess]:
        for one in found:
            yield from of_adjusted(self.word, wrote, Given("the level", one.value), correction, every, by_rows)

    def _stray_planes(self) -> None:
        """An HPC in a row without a backsight: let pass where it is that of the set-up, else no number belongs there."""
        for sight in self.sights:
            key = (self._number(sight), "hpc")
            cell = self.filled.cells.get(key)
            planes = [*self.planes[sight.setup], Built(self.linkage.setups[sight.setup].hpc)]
            if cell and cell.value is not None and key not in self.judge.marks and self.linkage.rows[sight.row].bs is None and (
                    not any(self.word.near(cell.value, plane.value) for plane in planes)):
                self.judge.judge(key, self._where(sight), cell, planes[0].value, planes[:1], lambda wrote: [],
                                 "An HPC stands in the row of the backsight, and holds until the instrument is moved.")

    def _check(self, first: Key, cells: dict[Key, float]) -> str:
        """The check that shows, on this page, a slip made in these cells, each out by so much; "" where none does."""
        near, own = self.word.near, {row: values[0] for row, values in self.levels.items()}
        row, column = first
        if column == "adjusted":
            closing = [closure for closure in self.reduced.adjustment.closures[-1:] if closure.closes]
            return "the known level in the closing row" if any(
                (self._number(one.sight), column) in cells for one in closing) else ""
        carried = any(first in level.slips and not near(level.value, self.right[number]) for number, level in own.items())
        step, level = (sum(by for (_, name), by in cells.items() if name in names) for names in (("rise", "fall"), ("level",)))
        if column in ("rise", "fall"):
            page = sum(by for slip in self.judge.slips.values() for (_, name), by in slip.items() if name in ("rise", "fall"))
            shown = not near(step, 0.0) and not near(page, 0.0)
            return "Σrise − Σfall = ΣBS − ΣFS" if shown else "HPC and level beside it" if carried else ""
        for run in self.linkage.runs():
            ends = [self._number(self.linkage.setups[run[0]].back), self._number(self.linkage.setups[run[-1]].sights[-1])]
            out = [own[number].value - self.right[number] for number in ends]
            if (first in own[ends[0]].slips) != (first in own[ends[1]].slips) and not near(*out):
                return "ΣBS − ΣFS = last − first"
        for closure in self.reduced.adjustment.closures:
            number = self._number(closure.sight)
            high = [closure.high, closure.high + cells[first], closure.high + own[number].value - self.right[number]]
            if first in own[number].slips and [abs(one) <= closure.allowable + EXACT for one in high] == [True, False, False]:
                return "the misclosure"
        if column == "level" and any(setup.source is None and self._number(setup.carried_in) == row
                                     for setup in self.linkage.setups):
            return "the level given under rl"
        if not self.by_hpc:
            return "HPC and level beside it" if carried else ""
        page = sum(self.planes[sight.setup][0].value - sight.reading - own[self._number(sight)].value
                   for sight in self.sights if sight.place)
        if not near(page, 0.0) and (column == "hpc" or not near(level, 0.0)):
            return "Σ(HPC × shots) − Σ(IS + FS) = Σ levels"
        return "rise and fall beside it" if carried else ""
