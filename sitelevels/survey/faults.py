"""What is wrong with the rows of a level book, and what is possible but doubtful."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from itertools import pairwise

from ..errors import SurveyError, plainly, rows_named
from ..wording import word_level, word_mm, word_number, word_place
from .book import FEATURES, GROUND_FEATURES, METRES_PER, Column, Row
from .headings import READINGS, heading_of

LONGEST_READING = 5.0  # m: the common garden or site staff; a longer one is questioned, not refused
LARGEST_JUMP = 1.0 + 1e-9  # m: from one spot on the ground to the next; more is questioned
SAME_PLACE = 0.001  # m: tape measurements are booked to the millimetre at the finest
IN_MM, MANY = 100.0, 3  # m: longer readings were perhaps booked in mm; so many of them are told in one sentence
SMALL = 0.02  # m: a staff reading below this, in a book of smaller units than metres, was perhaps meant in m
SMALL_LEVEL = 0.1  # m: the same of a known level
SMALL_SITE = 0.5  # m: places in a book of mm or cm that all lie so near together were perhaps meant in m

_UPSIDE_DOWN = re.compile(r"upside|inverted|invert staff", re.IGNORECASE)


def faults_of_rows(rows: Sequence[Row], unclear: set[int]) -> list[SurveyError]:
    """What is wrong with single rows and their order; an `unclear` row, refused already, may have been any."""
    faults = []
    open_setup, closed_by = False, 0

    def fault(row: Row, what: str, *, rule: str = "", remedy: str, column: str = "") -> None:
        faults.append(SurveyError(what, where=row.where, rule=rule, remedy=remedy, row=row.number, column=column))

    for row in rows:
        open_setup = open_setup or row.number - 1 in unclear
        booked = [name for name, _ in row.readings()]
        if (row.x is None) != (row.y is None):
            fault(row, "it has one of x and y without the other", remedy="Fill in both or neither.",
                  column="y" if row.y is None else "x")
        if row.feature == "line" and row.rl is None:
            fault(row, "the line has no level", remedy="Give its level under rl, or call the row something else.", column="rl")
        elif not booked and row.feature != "instrument":
            fault(row, "there is no reading", rule="Every row needs one in bs, is or fs.",
                  remedy="Fill it in, or delete the row.")
        elif not booked and row.x is None:
            fault(row, "the instrument has no x and y", remedy="Give both, or delete the row.", column="x")
        elif "is" in booked and len(booked) > 1:
            fault(row, f"{' and '.join(map(repr, booked))} cannot stand on one row", column="is",
                  rule="Only a change point has two: the foresight that ends one set-up and the backsight that opens the next.",
                  remedy="Move one of them to the row it belongs to.")
        opens = "bs" in booked and "fs" not in booked
        if booked and not opens and not open_setup:
            if closed_by:
                fault(row, f"it is read after the foresight of row {closed_by}, from no set-up",
                      rule="A foresight is the last sight before the instrument moves; after it comes a backsight.",
                      remedy=f"Book row {closed_by} as 'is' if the instrument stayed where it was, or give the backsight of the "
                             "new set-up.")
            else:
                fault(row, "it is read before any backsight", rule="A book starts with a backsight on a point of known level.",
                      remedy="Book the first reading, on the benchmark, under bs.")
        if "fs" in booked:
            open_setup, closed_by = False, row.number
        if "bs" in booked or (booked and not open_setup and "fs" not in booked):  # told once, not for every row below
            open_setup = True
    return faults


def faults_between_rows(rows: Sequence[Row]) -> list[SurveyError]:
    """Points that stand at two places or have two known levels."""
    faults = []
    places: dict[str, Row] = {}
    known: dict[str, Row] = {}
    for row in rows:
        if row.x is not None and row.y is not None:
            first = places.setdefault(row.point, row)
            if max(abs(row.x - (first.x or 0)), abs(row.y - (first.y or 0))) > SAME_PLACE:
                both = f"{word_place(first.x or 0, first.y or 0)} and {word_place(row.x, row.y)}"
                faults.append(SurveyError(f"it stands at two places, {both}", where=_pair(first, row), row=row.number, column="x",
                                          remedy="Correct one, or give the second point a name of its own."))
        if row.rl is not None:
            first = known.setdefault(row.point, row)
            if abs(row.rl - (first.rl or 0)) > 1e-9:
                faults.append(SurveyError(f"it has two known levels, {word_level(first.rl or 0)} and {word_level(row.rl)}",
                                          where=_pair(first, row), row=row.number, column="rl",
                                          remedy="rl is for known levels only; a worked-out level goes under hand_level."))
    return faults


def _pair(first: Row, second: Row) -> str:
    return f"{rows_named([first.number, second.number])}, point {first.point}"


def places_in(unit: str, longest: float) -> str:
    """How places that were typed in m into a book of another `unit` are put right, by the `longest` stretch that it gives, m."""
    typed = longest / METRES_PER[unit]
    return (f"x and y are in the unit of the book, {unit}: for {word_number(typed)} m write "
            f"{word_number(typed / METRES_PER[unit])}, or say the unit in the headings, x (m) and y (m).")


def doubts_of(rows: Sequence[Row], columns: Sequence[Column]) -> list[str]:
    """Sentences on what is possible but questionable in rows that were booked under these columns."""
    units = {column.name: column.unit for column in columns}
    per = next(METRES_PER[units[name]] for name in units if name in READINGS)
    rl_per, place_unit = METRES_PER[units.get("rl", "m")], units.get("x", "m")
    doubts = []
    thousands = [(row, name) for row in rows for name, reading in row.readings() if per == 1 and abs(reading) > IN_MM]

    def doubt(row: Row, what: str) -> None:
        doubts.append(plainly(f"Row {row.number}, point {row.point}: {what}"))

    for row in rows:
        for column, reading in row.readings():
            name = heading_of(columns, row, column)
            in_mm = per == 1 and abs(reading) > IN_MM
            if abs(reading) > LONGEST_READING and not (in_mm and len(thousands) >= MANY):
                said = abs(reading) if row.taped else reading  # a tape has no minus
                hint = f" In mm it would be {word_level(said / 1000)}." if in_mm else ""
                doubt(row, f"'{name}' is {word_level(said)}, longer than a 5 m staff. Is the unit right?{hint}")
            if 0 < abs(reading) < SMALL and per < 0.1 and not row.taped:
                doubt(row, f"'{name}' is {word_mm(reading, digits=1)}. Is the unit right? "
                           f"In m it would be {word_level(reading / per)}.")
            upright = row.feature in ("ground", "corner") or (row.feature == "" and row.x is not None)
            if reading <= 0 and column == "is" and upright and not (row.taped or _UPSIDE_DOWN.search(row.remarks)):
                doubt(row, f"'{name}' is {word_level(reading)} on the ground. A minus is for a staff held upside down.")
            if reading > 0 and _UPSIDE_DOWN.search(row.remarks):
                doubt(row, f"the remark says that the staff was upside down, and '{name}' {word_level(reading)} has no minus. "
                           f"Book it as −{word_level(reading)} if it was.")
        if row.rl and abs(row.rl) < SMALL_LEVEL and rl_per != 1:
            doubt(row, f"the known level comes to {word_level(row.rl)}. rl is in the unit of the book.")
    if len(thousands) >= MANY:
        named, (first, column) = rows_named(dict.fromkeys(row.number for row, _ in thousands)), thousands[0]
        reading = abs(dict(first.readings())[column])
        doubts.append(plainly(
            f"{named[0].upper()}{named[1:]} have readings longer than a 5 m staff, such as "
            f"'{heading_of(columns, first, column)}' {word_level(reading)} on {first.point}. In mm that would be "
            f"{word_level(reading / 1000)}: choose mm under Unit, or write the unit in the headings."))
    placed = [(row.x, row.y) for row in rows if row.x is not None and row.y is not None]
    wide, deep = (max(ends) - min(ends) for ends in zip(*placed, strict=True)) if placed else (0.0, 0.0)
    if place_unit in ("mm", "cm") and 0 < max(wide, deep) <= SMALL_SITE:
        doubts.append(f"All places lie within {word_mm(wide, digits=1)} by {word_mm(deep, digits=1)}. Is that the site? "
                      + places_in(place_unit, max(wide, deep)))
    _doubt_jumps(rows, columns, doubt)
    _doubt_setups(rows, doubt)
    strange: dict[str, list[Row]] = {}
    for row in rows:
        if row.feature and row.feature not in FEATURES:
            strange.setdefault(row.feature, []).append(row)
    for feature, marked in strange.items():
        where = rows_named(row.number for row in marked) + (f", point {marked[0].point}" if len(marked) == 1 else "")
        doubts.append(plainly(f"{where[0].upper()}{where[1:]}: the feature {feature!r} is not known, so these points serve for "
                              f"nothing but their level. Known are {', '.join(FEATURES)}."))
    return doubts


def _doubt_jumps(rows: Sequence[Row], columns: Sequence[Column], doubt: Callable[[Row, str], None]) -> None:
    """A jump between two spots read one after the other; the way back from a lone one is not told again."""
    spike: Row | None = None
    marks = {row.point for row in rows if row.bs is not None or row.rl is not None}
    for before, row in pairwise(rows):
        spots = [one for one in (before, row) if one.is_ is not None and 0 < one.is_ <= LONGEST_READING and not one.taped
                 and one.feature in GROUND_FEATURES and one.point not in marks]
        if len(spots) < 2 or abs((row.is_ or 0) - (before.is_ or 0)) <= LARGEST_JUMP or spike is before:
            spike = None
        else:
            spike = row
            doubt(row, f"'{heading_of(columns, row, 'is')}' goes from {word_level(before.is_ or 0)} to "
                       f"{word_level(row.is_ or 0)}, more than a metre from one spot to the next. Is a metre or a digit wrong?")


def _doubt_setups(rows: Sequence[Row], doubt: Callable[[Row, str], None]) -> None:
    """Set-ups from which nothing, or one unchecked shot, was read; and an end without a shot on a point that can be checked."""
    setups: list[tuple[Row, list[Row]]] = []
    for row in rows:
        if setups and (row.is_ is not None or row.fs is not None):
            setups[-1][1].append(row)
        if row.bs is not None:
            setups.append((row, []))
    known = {row.point for row in rows if row.rl is not None}
    times: dict[str, int] = {}
    for row in rows:
        times[row.point] = times.get(row.point, 0) + len(row.readings())
    for number, (back, shots) in enumerate(setups, start=1):
        checked = [row for row in shots if row.point in known or times[row.point] > 1]
        if not shots:
            doubt(back, f"nothing is read from this set-up, number {number}.")
        elif not checked and back.feature == "line":
            doubt(shots[-1], "the book ends here and nothing is measured twice, so a slip would not show. Measure one point "
                             "again.")
        elif not checked and number == len(setups):
            doubt(shots[-1], "the book ends here without a closing shot, so a slip or an instrument that moved would not show. "
                             "Read the benchmark again at the end.")
        elif not checked and len(shots) == 1:
            doubt(shots[0], f"it is the one shot of set-up {number}, and nothing checks it.")
