"""Closures on known levels, and how a misclosure is shared out."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property
from itertools import accumulate
from typing import Any, Literal

from ..errors import SurveyError
from .book import ALLOWANCES
from .linking import EXACT, Linkage, Sight

Adjust = Literal["setups", "distance"] | None


@dataclass(frozen=True, eq=False)
class Closure:
    """A check on a known level, lengths in m.

    `path` are the set-ups over which the level was carried from the sight `start`, on the known level before, to the `sight`
    that closes; `high` is by how much the level found there is too high before anything is shared out, `misclosure` how much
    of it came over this path.
    """

    path: tuple[int, ...]
    sight: Sight
    start: Sight
    high: float
    misclosure: float
    allowable: float

    @property
    def closes(self) -> bool:
        """Within the allowance."""
        return abs(self.misclosure) <= self.allowable + EXACT


@dataclass(frozen=True, eq=False)
class Adjustment:
    """The closures of linked set-ups and the corrections that follow; `known` levels in m, `allowable` in m or by name."""

    linkage: Linkage
    known: Mapping[str, float]
    adjust: Adjust
    allowable: float | str | None

    def _checks(self, number: int) -> list[tuple[Sight, float]]:
        """Sights of a set-up on known levels that check it, with what they find too high; a mere repeat is not one."""
        setup = self.linkage.setups[number]
        repeats = set(self.linkage.repeats(number))
        return [(sight, setup.hpc - sight.reading - known) for sight in setup.sights[1:]
                if (known := self.known.get(self.linkage.point(sight))) is not None and sight is not setup.anchor
                and (sight not in repeats or sight is setup.sights[-1])]

    @cached_property
    def closures(self) -> list[Closure]:
        """In booking order. Each runs from the last known level on its way that was met and shared out."""
        found: list[Closure] = []
        met: dict[int, list[Closure]] = {}  # by the set-up that they end in
        for number in range(len(self.linkage.setups)):
            for sight, high in self._checks(number):
                path = self.linkage.path(number)
                before = next((place for place in range(len(path) - 2, -1, -1) if path[place] in met), None)
                start = met[path[before]] if before is not None else []
                path = path[before + 1:] if before is not None else path
                offset = sum(one.high for one in start) / len(start) if start else 0.0
                one = Closure(path, sight, start[-1].sight if start else self.linkage.setups[path[0]].carried_in, high,
                              high - offset, self._allowance(path, sight))
                found.append(one)
                if one.closes and len(path) > 1:
                    met.setdefault(number, []).append(one)
        return found

    def _allowance(self, path: tuple[int, ...], closing: Sight) -> float:
        if isinstance(self.allowable, float):
            return self.allowable
        rule = ALLOWANCES[self.allowable or "ordinary"]
        return rule.of(len(path) if rule.per == "setups" else sum(self._lengths(path, closing)) / 1000)

    @property
    def steady(self) -> float:
        """How far a repeat of a backsight may differ, m: the ordinary allowance for one set-up, or less if less is allowed."""
        return min(ALLOWANCES["ordinary"].of(1), self.for_one_setup)

    @property
    def for_one_setup(self) -> float:
        """The misclosure that is allowed over one set-up, m; the ordinary one where it goes by kilometres."""
        if isinstance(self.allowable, float):
            return self.allowable
        rule = ALLOWANCES[self.allowable or "ordinary"]
        return rule.of(1) if rule.per == "setups" else ALLOWANCES["ordinary"].of(1)

    def _lengths(self, path: tuple[int, ...], closing: Sight) -> list[float]:
        """Length in m of the sight into and the sight out of each set-up on the way."""
        leaving = [source for number in path[1:] if (source := self.linkage.setups[number].source)] + [closing]
        lengths = []
        for number, sight in zip(path, leaving, strict=True):
            entering = self.linkage.setups[number].carried_in
            if entering.length is None or sight.length is None:
                row = self.linkage.rows[entering.row if entering.length is None else sight.row]
                raise SurveyError("the length of this sight is not booked", where=row.where,
                                  rule="Sharing out or allowing by distance needs every sight of the run.",
                                  remedy="Fill in the column 'sight', or go by set-ups.")
            lengths.append(entering.length + sight.length)
        return lengths

    def _shares(self, closure: Closure) -> list[float]:
        """Share of the misclosure that the shots from each set-up on the path carry."""
        weights = [1.0] * len(closure.path)
        if self.adjust == "distance":
            weights = self._lengths(closure.path, closure.sight)
        if sum(weights) <= 0:
            raise SurveyError("the sights of the run have no length", remedy="Correct the column 'sight'.")
        whole = sum(weights)
        return [part / whole for part in accumulate(weights)]

    def _moved_backsight(self, number: int, reading: Callable[[Sight], Any]) -> Any:
        """Change of a set-up's HPC when its backsight is meaned with the repeats on the same point."""
        setup, repeats = self.linkage.setups[number], self.linkage.repeats(number)
        unsteady = any(abs(sight.reading - setup.back.reading) > self.steady + EXACT for sight in repeats)
        if setup.anchor is not setup.back or unsteady:
            return 0.0
        return sum(reading(sight) - reading(setup.back) for sight in repeats) / (len(repeats) + 1)

    @cached_property
    def corrections(self) -> list[float]:
        """What is added to every level that a set-up gave, in m."""
        return self.carried(lambda sight: sight.reading, lambda point: self.known[point])[1]

    def carried(self, reading: Callable[[Sight], Any], known: Callable[[str], Any]) -> tuple[list[Any], list[Any]]:
        """HPC of each set-up, and what every level that it gave is corrected by, from readings and known levels.

        Both are linear in them, so in place of numbers in m there may be arrays of what each reading brings. Which closures
        are within their allowance was decided by the readings as booked.
        """
        setups, order = self.linkage.setups, self.linkage.order
        hpc: dict[int, Any] = {}
        moved: dict[int, Any] = {}
        for number in order:
            source, anchor = setups[number].source, setups[number].carried_in
            level = known(self.linkage.point(anchor)) if source is None else hpc[source.setup] - reading(source)
            hpc[number] = level + reading(anchor)
            moved[number] = self._moved_backsight(number, reading) + (moved[source.setup] if source else 0.0)
        ends: dict[int, list[Closure]] = {}
        for one in self.closures:
            if len(one.path) > 1:
                ends.setdefault(one.path[-1], []).append(one)
        not_met = {number for end in ends.values() for one in end if not one.closes for number in one.path}
        share: dict[int, Any] = {}
        for number, end in ends.items():  # sections in booking order, each from where the one before it ended
            path = end[-1].path
            if not_met.intersection(path):
                continue
            source = setups[path[0]].source
            start = share.get(source.setup, 0.0) if source else 0.0
            high = sum(hpc[number] - reading(one.sight) - known(self.linkage.point(one.sight)) for one in end) / len(end)
            whole = -(high + moved[number]) - start
            share.update(zip(path, [start + whole * part for part in self._shares(end[-1])], strict=True))
        for number in order:  # a set-up off the section carries what the one it hangs on carries
            source = setups[number].source
            share.setdefault(number, share[source.setup] if source else 0.0)
        return [hpc[number] for number in range(len(setups))], [moved[number] + share[number] for number in range(len(setups))]
