"""Which demands fight, and what each would have to give."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from html import escape
from itertools import combinations

import numpy as np
import pandas as pd

from ..surface.plane import Floats
from ..surface.shapes import Outlet
from ..wording import html_table, word_distance, word_fall, word_mm, word_number, word_share
from .conditions import Demand
from .demands import Clearance, ClosedEdge, FallToDrain, Step
from .published import LIMITS, Limit
from .rows import SAME, Rows, least

SHOWN = 3  # places named at once
MOST_SETS, TOLD = 100, 12  # sets of demands that fight: those looked for, and those told; more, and the brief needs another look
LEVEL_ACCESS = (
    "Level access and clearance below the DPC pull against each other at almost every house: the sill of a door lies about as "
    "high as the DPC, so paving that a wheel can cross lies too near the DPC along the rest of the wall. The usual way out is to "
    "part the two: keep the paving down along the wall, and lead it up at the door alone, by a ramp or a short raised landing "
    "with a drained channel across the doorway, the wall behind it protected. Where the rules of your place ask for level "
    "access, that detail is for somebody who knows them. (Common practice, no source.)")
Field = tuple[int, str]


@dataclass(frozen=True)
class Conflict:
    """A smallest set of demands that no surface of the shape can meet together; without any one of them there is one."""

    demands: tuple[Demand, ...]

    @property
    def words(self) -> str:
        """The set in a sentence."""
        if len(self.demands) == 1:
            return f"This cannot be met even alone: {self.demands[0].words()}."
        both = "both" if len(self.demands) == 2 else "all"
        return f"These {len(self.demands)} cannot {both} be met: {'; '.join(demand.words() for demand in self.demands)}."

    @property
    def level_access(self) -> bool:
        """Whether it is the quarrel between level access at a door and clearance below a DPC."""
        return any(isinstance(one, Clearance) for one in self.demands) and any(isinstance(one, Step) and one.level_access
                                                                                for one in self.demands)


@dataclass(frozen=True)
class Change:
    """What one demand would give.

    `enough` says whether the whole brief has a surface once this demand alone gives way (for a shared give: together with the
    others). `values` are its new limits by field, m or m/m, to the last digit; `words` round them to the easier side.
    `demand` is as asked, `changed` as it would be: None where it would have to go altogether. `breaks` are published limits
    that it would be beyond.
    """

    demand: Demand
    enough: bool
    values: dict[str, float]
    changed: Demand | None
    words: str
    breaks: tuple[Limit, ...] = ()

    @property
    def warning(self) -> str:
        """Which published limits it would break, in a sentence; empty if none."""
        said = "; ".join(f"{_shown(limit.value, limit.unit)}, {limit.what} ({limit.source})" for limit in self.breaks)
        mind = dict.fromkeys(self.demand.bounds[field].mind for field in self.values)
        return " ".join(part for part in (f"That is beyond {said}." if said else "", *mind) if part)


@dataclass(frozen=True, eq=False)
class Quarrel:
    """The demands that fight. Made by `find_quarrel`; empty where a surface meets them all.

    `conflicts` are all smallest sets, the smallest first, or a hundred of them if there are more; `changes` what each demand in
    them would have to give alone; `shared` what they would give together if each gave the same share of its limit or less, that
    greatest share being `share`, or None where even that is of no use; `why` more about a single demand that cannot be met.
    """

    conflicts: tuple[Conflict, ...]
    changes: tuple[Change, ...]
    shared: tuple[Change, ...]
    share: float | None
    why: str = ""

    @property
    def table(self) -> pd.DataFrame:
        """A new table, a row a demand in conflict: demand enough change warning."""
        return pd.DataFrame([(one.demand.words(), one.enough, one.words, one.warning) for one in self.changes],
                            columns=["demand", "enough", "change", "warning"])

    @property
    def words(self) -> pd.DataFrame:
        """The same for reading."""
        shown = self.table.assign(enough=["yes" if one.enough else "no" for one in self.changes])
        return shown.rename(columns={"enough": "enough?", "change": "the least change to it alone", "warning": "mind"})

    @cached_property
    def level_access(self) -> bool:
        """Whether level access and clearance are in it."""
        return any(conflict.level_access for conflict in self.conflicts)

    def sentence(self) -> str:
        """The conflicts in words."""
        return " ".join(part for part in (*self._told, self.why) if part)

    @property
    def _told(self) -> list[str]:
        """The conflicts in words, cut where nobody would read on."""
        more = len(self.conflicts) - TOLD
        told = [conflict.words for conflict in self.conflicts[:TOLD]]
        many = "at least " if len(self.conflicts) == MOST_SETS else ""
        return [*told, f"There are {many}{more} more such sets."] if more > 0 else told

    @property
    def sharing(self) -> str:
        """The shared give in a sentence; empty where there is none."""
        if self.share is None or self.share > 1:  # a limit that would have to double is none that people share
            return ""
        breaks = dict.fromkeys(limit for one in self.shared for limit in one.breaks)
        mind = "; ".join(f"{_shown(limit.value, limit.unit)} ({limit.source})" for limit in breaks)
        return (f"Or share it, no limit giving more than {word_share(self.share, never='less')} of itself: "
                f"{'; '.join(one.words for one in self.shared)}.{f' That is beyond {mind}.' if mind else ''}")

    @property
    def advice(self) -> str:
        """What there is to say of the quarrel of level access and clearance; empty where it is not in it."""
        return LEVEL_ACCESS if self.level_access else ""

    def _repr_html_(self) -> str:
        if not self.conflicts:
            return ""
        fights = "".join(f"<li>{escape(said)}</li>" for said in self._told)
        after = "".join(f"<p>{escape(said)}</p>" for said in (self.why, self.sharing, self.advice) if said)
        return f"<ol>{fights}</ol><p>What would each have to give?</p>{html_table(self.words, words=True)}{after}"


def find_quarrel(rows: Rows) -> Quarrel:
    """The smallest sets of demands that cannot be met together, and what would mend it.

    Each demand bounds the unknowns to a convex set, so that by Helly's theorem no smallest set is larger than the unknowns
    and one more; all sets up to that are tried, those passed over that a surface found on the way is seen to meet.
    """
    sets = list(_smallest_sets(rows))
    if not sets:
        return Quarrel((), (), (), None)
    conflicts = tuple(Conflict(tuple(rows.demands[number] for number in one)) for one in sets)
    fighting = sorted({number for one in sets for number in one})
    changes = tuple(_alone(rows, number) for number in fighting)
    shared, share = _together(rows, fighting)
    return Quarrel(conflicts, changes, shared, share, _why(rows, conflicts))


def _smallest_sets(rows: Rows) -> Iterator[tuple[int, ...]]:
    """All smallest sets of demands, by number, that cannot be met together."""
    count = len(rows.demands)
    met: list[int] = []  # as bits, the demands that a surface found on the way meets
    found: list[int] = []
    for size in range(1, min(count, len(rows.base) + 1) + 1):
        for one in combinations(range(count), size):
            bits = sum(1 << number for number in one)
            if any(bits & known == known for known in found) or any(bits & known == bits for known in met):
                continue
            keep = np.zeros(count, dtype=bool)
            keep[list(one)] = True
            missed, x = rows.nearest(keep)
            if missed > SAME:
                found.append(bits)
                yield one
                if len(found) == MOST_SETS:
                    return
            else:
                kept = rows.broken(x) <= SAME
                met.append(bits | sum(1 << int(number) for number in np.flatnonzero(kept)))


def _fields(rows: Rows, number: int) -> dict[Field, float]:
    """The limits of a demand that could give, with their values."""
    demand = rows.demands[number]
    return {(number, field): value for field in demand.bounds if (value := demand.value(field)) is not None}


def _give(rows: Rows, fields: Mapping[Field, float], size: Floats) -> tuple[Floats, Floats] | None:
    """What some limits, given with their values, must give (q,) so that every demand can be met; and unknowns (n,) that do.

    The greatest give in parts of `size` is least, then the sum of these parts. None where no give is enough: a least limit
    gives way no further than nought.
    """
    n, q = len(rows.base), len(fields)
    most = [value if rows.demands[number].bounds[field].least else None for (number, field), value in fields.items()]
    low, high = np.zeros((len(rows.a), q)), np.zeros((len(rows.a), q))
    for place, (number, field) in enumerate(fields):
        low[:, place], high[:, place] = rows.given(number, field)
    below, above = np.isfinite(rows.high), np.isfinite(rows.low)
    a = np.vstack([np.column_stack([rows.a[below], -high[below]]), np.column_stack([-rows.a[above], -low[above]])])
    b = np.concatenate([rows.high[below], -rows.low[above]]) + SAME / 2
    parts = np.column_stack([np.zeros((q, n)), np.eye(q), -size])
    a = np.vstack([np.column_stack([a, np.zeros(len(a))]), parts])
    b = np.concatenate([b, np.zeros(q)])
    bounds = [*[(None, None)] * n, *((0.0, top) for top in most), (0.0, None)]
    first = least(np.append(np.zeros(n + q), 1.0), a, b, bounds)
    if first is None:
        return None
    bounds[-1] = (0.0, first[-1] * (1 + 1e-9) + 1e-12)
    second = least(np.concatenate([np.zeros(n), 1 / size, [0.0]]), a, b, bounds)
    found = first if second is None else second
    return found[n:n + q], found[:n]


def _alone(rows: Rows, number: int) -> Change:
    """The least change to one demand after which the whole brief has a surface."""
    demand, fields = rows.demands[number], _fields(rows, number)
    nothing = Change(demand, False, {}, None, "no change to this alone is enough")
    if not fields:
        keep = np.ones(len(rows.demands), dtype=bool)
        keep[number] = False
        if rows.nearest(keep)[0] > SAME:
            return nothing
        words = f"let water leave over the {demand.who}" if isinstance(demand, ClosedEdge) else f"give up {demand.words()}"
        return Change(demand, True, {}, None, words)
    for ways in ([{key: value} for key, value in fields.items()], [fields]):  # one limit, or where none is enough all of them
        tries = [(given, found) for given in ways if (found := _give(rows, given, np.ones(len(given)))) is not None]
        if tries:  # a cover is reset rather than left standing out, and of equal gives the higher limit: a low step trips
            left = [one for one in tries if (number, "within") not in one[0]] or tries
            least = min(float(gives[0]) for _, (gives, _) in left)
            given, (gives, x) = next(one for one in reversed(left) if one[1][0][0] <= least + SAME)
            return _change(rows, number, {field: float(give) for (_, field), give in zip(given, gives, strict=True)}, x)
    return nothing


def _change(rows: Rows, number: int, gives: dict[str, float], x: Floats) -> Change:
    """A demand whose limits give way by so much."""
    demand = rows.demands[number]
    values, words, breaks = {}, [], []
    eased = rows
    for field, give in gives.items():
        eased = eased.eased(number, field, give)
    way, where = _sense(eased, number, x)
    for field, give in gives.items():
        if give <= SAME:
            continue
        old = demand.value(field)
        assert old is not None
        bound = demand.bounds[field]
        low = bound.least
        new = values[field] = max(old - give, 0.0) if low else old + give
        for name in bound.limits:
            limit = LIMITS[name].value
            beyond, kept = (new < limit - 1e-9, old >= limit - 1e-9) if low else (new > limit + 1e-9, old <= limit + 1e-9)
            if beyond and (kept or name == bound.limits[0]):  # the first is the usual one; the others bear on those who keep them
                breaks.append(LIMITS[name])
        unit = "m" if demand.unit == "mm" else "m/m"
        words.append(bound.words.format(new=_shown(new, unit, low), old=_shown(old, unit), who=demand.who,
                                        way=way, where=where or demand.who))
    return Change(demand, True, values, demand.changed(**values), " and ".join(words), tuple(breaks))


def _sense(rows: Rows, number: int, x: Floats) -> tuple[str, str]:
    """Whether an eased demand is at its upper or its lower limit, and at which places."""
    found = rows.a @ x
    mine = rows.owner == number
    above, below = mine & (rows.high - found < 1e-6), mine & (found - rows.low < 1e-6)
    places = list(dict.fromkeys(rows.of[row].place for row in np.flatnonzero(above | below)))
    way = "proud of or below" if above.any() and below.any() else "below" if below.any() else "proud of"
    return way, ", ".join(places[:SHOWN]) + (" and others" if len(places) > SHOWN else "")


def _shown(value: float, unit: str, low: bool | None = None) -> str:
    """A limit in words, rounded to the easier side: a least limit down, a greatest one up."""
    if unit == "m":
        return word_mm(value, digits=0 if low is None else 1, never=None if low is None else "more" if low else "less")
    return word_fall(value, never=None if low is None else "steeper" if low else "flatter")


def _together(rows: Rows, fighting: Sequence[int]) -> tuple[tuple[Change, ...], float | None]:
    """What the fighting demands would give together, and the greatest share of a limit that any of them gives."""
    fields = {key: value for number in fighting for key, value in _fields(rows, number).items() if value > 0}
    size = np.array(list(fields.values()))
    found = _give(rows, fields, size) if fields else None
    if found is None:
        return (), None
    gives, x = found
    changes = []
    for number in fighting:
        mine = {field: float(give) for (owner, field), give in zip(fields, gives, strict=True) if owner == number and give > SAME}
        if mine:
            changes.append(_change(rows, number, mine, x))
    return tuple(changes), float((gives / size).max())


def _why(rows: Rows, conflicts: Sequence[Conflict]) -> str:
    """Why an outlet cannot have falls between two limits all round."""
    alone = [one.demands[0] for one in conflicts if len(one.demands) == 1 and isinstance(one.demands[0], FallToDrain)]
    if not alone or not isinstance(rows.shape, Outlet):
        return ""
    demand = alone[0]
    assert isinstance(demand, FallToDrain)
    if not demand.most or not demand.least:
        return ""
    steep = [part.facet([0.0, 1.0]).plane.fall for part in rows.parts]
    found, allowed = (word_number(ratio, figures=4) for ratio in (max(steep) / min(steep), demand.most / demand.least))
    return (f"The sides lie at one level, so that the shortest way to the outlet ({word_distance(1 / max(steep))}) falls "
            f"{found} times as steeply as the longest ({word_distance(1 / min(steep))}), and the limits allow {allowed} times. "
            "Let the floor fall from chosen sides only, or give it two outlets.")
