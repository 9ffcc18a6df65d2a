"""A level book with shots that could still be taken, each finding the level that is there: what would they do to the errors?"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from ..survey.book import Row
from ..survey.reduction import reduce_book
from .propagation import LevelErrors


def with_shots(errors: LevelErrors, points: Sequence[str], *, fresh: bool = False) -> LevelErrors:
    """The errors of the book with further shots on points of it, that would find the levels it has.

    They are read from the last set-up, or from a `fresh` one on the first known point.
    """
    reduced = errors.reduced
    rows, setups = list(reduced.book.rows), reduced.linkage.setups
    number = rows[-1].number
    if fresh:
        mark = next(iter(reduced.book.known))
        hpc, number = reduced.book.known[mark] + 1.0, number + 1
        rows.append(Row(number, mark, bs=1.0, feature=reduced.about[mark]["feature"]))
    else:
        hpc = setups[-1].hpc
    for point in points:
        number += 1
        about = reduced.about[point]
        rows.append(Row(number, point, is_=hpc - reduced.level(point), feature=about["feature"], x=about["x"], y=about["y"]))
    return _again(errors, rows, errors.headings)


def turned_round(errors: LevelErrors) -> LevelErrors:
    """The errors of the book if every set-up were read again from the same place with the instrument turned half round."""
    reduced = errors.reduced
    rows, number = list(reduced.book.rows), reduced.book.rows[-1].number
    headings, instruments = dict(errors.headings), dict(errors.instruments)
    setups = reduced.linkage.setups
    for place, setup in enumerate(setups, start=1):
        facing = headings.setdefault(place, 0.0)
        headings[len(setups) + place] = facing + 180.0
        if place in instruments:
            instruments[len(setups) + place] = instruments[place]
        for sight in setup.sights:
            number += 1
            row = reduced.linkage.rows[sight.row]
            reading = {"bs": sight.reading} if sight.place == 0 else {"is_": sight.reading}
            rows.append(replace(row, number=number, **({"bs": None, "is_": None, "fs": None, "rl": None} | reading)))  # type: ignore[arg-type]
    return _again(errors, rows, headings, instruments)


def closed(errors: LevelErrors) -> LevelErrors:
    """The errors of the book if every set-up that has no check at its end had a shot back to where it began."""
    linkage = errors.reduced.linkage
    ending = {one.path[-1] for one in errors.reduced.adjustment.closures}
    rows: list[Row] = []
    lacking = {linkage.rows[setup.sights[-1].row].number: setup for number, setup in enumerate(linkage.setups)
               if number not in ending and not linkage.repeats(number) and len(setup.sights) > 1}
    for row in errors.reduced.book.rows:
        setup = lacking.get(row.number)
        if setup is not None:  # before the last shot, which may be a change point
            back = linkage.rows[setup.back.row]
            rows.append(replace(back, number=0, bs=None, is_=setup.back.reading, fs=None, rl=None))
        rows.append(row)
    return _again(errors, [replace(row, number=number) for number, row in enumerate(rows, start=1)], errors.headings)


def _again(errors: LevelErrors, rows: Iterable[Row], headings: Mapping[int, float],
           instruments: Mapping[int, Sequence[float]] | None = None) -> LevelErrors:
    adjustment = errors.reduced.adjustment
    book = replace(errors.reduced.book, rows=tuple(replace(row, hand_level=None) for row in rows))
    reduced = reduce_book(book, adjust=adjustment.adjust, allowable=adjustment.allowable)
    return errors.budget.errors(reduced, instruments=errors.instruments if instruments is None else instruments,
                                headings=headings)


def with_spots(errors: LevelErrors, spots: Sequence[tuple[str, float, float, float]]) -> LevelErrors:
    """The errors of the book with more spots on the ground, (point, x, y, level) in m, read from the last set-up."""
    if not spots:
        return errors
    rows, hpc = errors.reduced.book.rows, errors.reduced.linkage.setups[-1].hpc
    more = [Row(number, point, is_=hpc - level, feature="ground", x=x, y=y)
            for number, (point, x, y, level) in enumerate(spots, start=rows[-1].number + 1)]
    return _again(errors, [*rows, *more], errors.headings)
