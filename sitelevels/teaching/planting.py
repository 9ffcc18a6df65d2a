"""Slips planted in a drawn book, and the checks that show them, by sums in whole millimetres."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import combinations
from math import isqrt

from ..errors import SurveyError
from .drawing import Booked, Draw
from .exercise import Change, Slip

SLIPS = {
    "two digits swapped": "two neighbouring digits of a reading written the wrong way round",
    "a digit misread": "one digit of a reading taken for another that looks like it",
    "1 m dropped": "a reading booked a metre short",
    "100 mm dropped": "a reading booked 100 mm short",
    "the sign lost": "a staff held upside down booked without its minus",
    "the instrument was knocked": "every reading of a set-up from some row on shifted by the same 15 to 40 mm",
}
"""Kinds of slip that can be planted, and what each is."""

KNOCK = 15, 40  # mm, as SLIPS says
REPEAT = 5  # mm: repeats of one point that differ by more show a slip, as in `reduce_book`
LEAST, LONGEST = 10, 4200  # mm: smaller slips pass for reading errors; no staff that is carried about a yard is longer
KNOCKED = "the instrument was knocked"
_ALIKE = {"0": "8", "1": "7", "2": "7", "3": "8", "4": "9", "5": "6", "6": "59", "7": "12", "8": "03", "9": "46"}
"""Digits taken for each other: common practice, no source."""


COUNTED = ("a digit misread, two digits swapped, a minus lost, or exactly 100 mm or 1 m out",
           f"{LEAST} to {KNOCK[1]} mm")
"""Slips in one reading, and sizes of a knock, that `explaining` looks for, in words."""


def shown_by(booked: Booked) -> tuple[str, ...]:
    """The checks of a book that fail, those first that say most about where."""
    return tuple(said for said, out, allowed in _checks(booked) if abs(out) > allowed)


def _checks(booked: Booked) -> Iterator[tuple[str, int, int]]:
    """Each check of a book with how far it is out, and how far it may be, in mm; a lost minus is out by 1."""
    shots = booked.shots
    backs = {shot.setup: shot for shot in shots if shot.column == "bs"}
    first: dict[str, int] = {}
    for shot, level in zip(shots[:-1], booked.levels, strict=False):
        if shot.column == "is":
            back = backs[shot.setup]
            if back.point == shot.point:
                yield f"the shot back to {shot.point} from its own set-up", shot.mm - back.mm, REPEAT
            else:
                yield f"the second reading of {shot.point}", level - first.setdefault(shot.point, level), REPEAT
    yield f"the closing reading on {shots[-1].point}", booked.misclosure, isqrt(25 * len(booked.heights))
    yield from ((f"the missing minus beside the remark in row {shot.row}", int(shot.mm > 0), 0) for shot in shots
                if "inverted" in shot.remark)


def plant(booked: Booked, kind: str, draw: Draw, *, kept: Sequence[str] = ()) -> tuple[Booked, Slip]:
    """The same readings with a slip of a kind in them ("any" draws one).

    It moves all points `kept` together alike or none; where nothing else can have it, one of them, but keeps them in order.
    Raises SurveyError if no reading of the book can have it.
    """
    shift = draw.whole(*KNOCK)
    if kind == "any":
        kind = draw.one([one for one in SLIPS if any(_ways(booked, one, shift, kept))])
    ways = list(_ways(booked, kind, shift, kept))
    if not ways and kind != "the sign lost":
        ways = [way for way in _ways(booked, kind, shift) if _in_order(booked, way, kept)]
    if not ways:
        lost = "A lost sign needs a reading with the staff upside down that nothing else is worked out from."
        raise SurveyError(f"no reading of this book can have the slip {kind!r}", rule=lost if kind == "the sign lost" else "",
                          remedy="Choose another slip, another seed, the kind 'staff inverted', or None.")
    caught = [way for way in ways if shown_by(_spoilt(booked, way))]
    unseen = [way for way in ways if way not in caught]
    way = draw.one(caught if caught and (draw.whole(1, 4, 1) > 1 or not unseen) else unseen)
    spoilt = _spoilt(booked, way)
    changes = tuple(Change(shot.row, shot.column, shot.mm / 1000, way[place] / 1000)
                    for place, shot in enumerate(booked.shots) if place in way)
    return spoilt, Slip(kind, booked.shots[min(way)].point, changes, next(iter(shown_by(spoilt)), ""))


def explaining(booked: Booked) -> set[int]:
    """Rows where one slip, put right, lets every check pass: a simple slip in one reading, or a knock whatever was planted.

    What `suspect_slips` looks for, and knocks, without its ranking and many times as fast.
    """
    points = [shot.point for shot in booked.shots]
    checked = [place for place, shot in enumerate(booked.shots)
               if shot.column != "is" or points.count(shot.point) > 1 or "inverted" in shot.remark]
    ways = [{place: mm} for place in checked for mm in _undone(booked.shots[place].mm)]
    for shift in range(-KNOCK[1], KNOCK[1] + 1):  # errors of reading may hide some of a knock, so it is let look smaller
        if abs(shift) >= LEAST and _spoilt(booked, {len(booked.shots) - 1: booked.shots[-1].mm + shift}).closes:
            ways += _shifted(booked, shift)
    return {booked.shots[min(way)].row for way in ways if not shown_by(_spoilt(booked, way))}


def why_not(booked: Booked, row: int) -> str:
    """Why a row is none of those that `explaining` gives, in a clause: what any mistake in one reading of it would mend."""
    mended: set[str] = set()
    for place, shot in enumerate(booked.shots):
        if shot.row != row:
            continue
        low, high = -LONGEST, LONGEST
        for (said, out, allowed), (_, moved, _) in zip(
                _checks(booked), _checks(_spoilt(booked, {place: shot.mm + 1})), strict=True):
            if moved != out:
                ends = sorted((moved - out) * (one - out) for one in (-allowed, allowed))
                low, high = max(low, ends[0]), min(high, ends[1])
                mended.add(said)
            elif abs(out) > allowed:
                high = -LONGEST - 1
        if low <= high:
            return (f"a mistake in row {row} would explain what the checks show too, but no single digit misread, no two digits "
                    "swapped, no lost minus, and not 100 mm or 1 m would make it, "
                    f"nor would a knock of {COUNTED[1]} from there on")
    still = next((said for said in shown_by(booked) if said not in mended), "")
    every = "all that the checks show"
    return (f"no mistake in row {row} alone would explain {still or every}, "
            f"and no knock of {COUNTED[1]} from there on would explain {every if still else 'it'}")


def _spoilt(booked: Booked, way: Mapping[int, int]) -> Booked:
    return replace(booked, shots=tuple(replace(shot, mm=way[place]) if place in way else shot
                                       for place, shot in enumerate(booked.shots)))


def _shifted(booked: Booked, shift: int) -> Iterator[dict[int, int]]:
    """Readings in mm by their place, all from one shot to the last of its set-up shifted."""
    for place, shot in enumerate(booked.shots):
        if shot.column != "bs":
            yield {other: later.mm + shift for other, later in enumerate(booked.shots)
                   if other >= place and later.setup == shot.setup}


def _in_order(booked: Booked, way: Mapping[int, int], kept: Sequence[str]) -> bool:
    """Whether no two of the points kept together change places, or come much nearer to each other in height."""
    pairs = [(shot.mm, way.get(place, shot.mm)) for place, shot in enumerate(booked.shots) if shot.point in kept]
    return all(3 * (new - later) * (old - other) >= 2 * (old - other)**2 for (old, new), (other, later) in combinations(pairs, 2))


def _ways(booked: Booked, kind: str, shift: int, kept: Sequence[str] = ()) -> Iterator[dict[int, int]]:
    """Readings in mm by their place that a slip would have changed; one that moves the closing is big enough to be shown."""
    if kind == KNOCKED:
        ways = [*_shifted(booked, shift), *_shifted(booked, -shift)]
    else:
        ways = [{place: mm} for place, shot in enumerate(booked.shots) for mm in sorted(set(_spellings(shot.mm, kind)))]
    for way in ways:
        if 0 < len({booked.shots[place].point for place in way} & {*kept}) < len(kept):
            continue
        changed = [(booked.shots[place].mm, mm) for place, mm in way.items()]
        if all(100 < abs(new) <= LONGEST and abs(new - old) >= LEAST and (new * old > 0 or new == -old) for old, new in changed):
            spoilt = _spoilt(booked, way)
            if spoilt.misclosure == booked.misclosure or not spoilt.closes:
                yield way


def _spellings(mm: int, kind: str) -> Iterator[int]:
    sign, digits = -1 if mm < 0 else 1, str(abs(mm)).zfill(4)
    if kind == "two digits swapped":
        yield from (sign * int(digits[:i] + digits[i + 1] + digits[i] + digits[i + 2:]) for i in range(3))
    elif kind == "a digit misread":
        yield from (sign * int(digits[:i] + new + digits[i + 1:]) for i in range(4) for new in _ALIKE.get(digits[i], ""))
    elif kind == "the sign lost":
        yield from [-mm] * (mm < 0)
    elif kind in ("1 m dropped", "100 mm dropped"):
        yield mm - sign * (1000 if kind == "1 m dropped" else 100)


def _undone(mm: int) -> Iterator[int]:
    """Readings that a simple slip could have turned into this one."""
    sign, digits = -1 if mm < 0 else 1, str(abs(mm)).zfill(4)
    for i in range(4):
        yield from (sign * int(digits[:i] + new + digits[i + 1:]) for new in "0123456789")
        yield from (sign * int(digits[:i] + digits[j] + digits[i + 1:j] + digits[i] + digits[j + 1:]) for j in range(i + 1, 4))
    yield from (mm + 1000, mm - 1000, mm + 100, mm - 100, -mm)
