"""Every step of an exercise in a sentence, with its numbers."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise
from typing import Literal

from ..errors import SurveyError, must_be, plainly
from ..survey.linking import EXACT, Setup, Sight
from ..survey.reduction import ReducedLevels
from ..wording import whole_mm, word_level, word_mm
from .exercise import Exercise

Method = Literal["hpc", "rise and fall"]
METHODS: tuple[Method, ...] = ("hpc", "rise and fall")
"""Ways to reduce a book by hand."""


def worked_steps(exercise: Exercise, *, method: Method = "hpc") -> tuple[str, ...]:
    """Every step of an exercise in a sentence, with its numbers in m: levels, sums, misclosure, answers, the slip.

    Parameters
    ----------
    exercise : Exercise
        What `practice_book` gives, or `Exercise(book)`.
    method : {"hpc", "rise and fall"}
        How the levels are worked out.

    Raises
    ------
    SurveyError
        For what is no exercise, a method that is not known, and a book that cannot be reduced.

    Notes
    -----
    Both are the ways of any survey textbook; the numbers are those of `reduce_book`, in the order in which it finds them.

    >>> from sitelevels import read_book
    >>> book = read_book("point,bs,is,fs,rl\\nBM,1.384,,,10\\nS1,,1.500,,\\nBM,,,1.385,")
    >>> for step in worked_steps(Exercise(book))[:3]:
    ...     print(step)
    Row 1, BM: HPC = 10.000 + 1.384 = 11.384 m.
    Row 2, S1: level = 11.384 − 1.500 = 9.884 m.
    Row 3, BM: level = 11.384 − 1.385 = 9.999 m.
    >>> worked_steps(Exercise(book), method="rise and fall")[1]
    'Row 2, S1: 1.384 − 1.500 = −0.116, a fall; level = 10.000 − 0.116 = 9.884 m.'
    """
    must_be(exercise, Exercise, "the exercise")
    if not isinstance(method, str) or method not in METHODS:
        raise SurveyError(f"the method {method!r} is not known", rule=f"It can be {' or '.join(map(repr, METHODS))}.")
    steps: list[str] = []
    if exercise.reduced is not None:
        for number in exercise.reduced.linkage.order:
            setup = exercise.reduced.linkage.setups[number]
            steps += (_by_height if method == "hpc" else _by_rise_and_fall)(exercise.reduced, setup)
        steps += [*_sums(exercise.reduced, method), *_closures(exercise.reduced)]
        if exercise.adjusts:
            steps += _shared(exercise, exercise.reduced)
    steps += [f"{question.name[:1].upper()}{question.name[1:]}. {question.working}" for question in exercise.questions]
    return tuple(map(plainly, [*steps, *([exercise.slip.words] if exercise.slip else [])]))


def _bare(metres: float) -> str:
    """Metres without their unit, to a tenth of a millimetre where one is shared, a true minus before what is below nought."""
    digits = 3 if abs(metres - whole_mm(metres)) < EXACT else 4
    return word_level(metres, digits=digits).removesuffix(" m").replace("-", "−")


def _mm(metres: float) -> str:
    """The same in millimetres."""
    return word_mm(metres, digits=1).replace(".0 ", " ").replace("-", "−")


def _term(metres: float) -> str:
    """The same as a term after a plus or a minus."""
    return f"({_bare(metres)})" if metres < 0 else _bare(metres)


def _where(reduced: ReducedLevels, sight: Sight) -> str:
    row = reduced.linkage.rows[sight.row]
    upside = ", staff upside down" if sight.reading < 0 else ""
    return f"Row {row.number}, {row.point}{upside}"


def _by_height(reduced: ReducedLevels, setup: Setup) -> Iterator[str]:
    anchor = setup.carried_in
    yield (f"{_where(reduced, anchor)}: HPC = {_bare(setup.hpc - anchor.reading)} + {_term(anchor.reading)} = "
           f"{_bare(setup.hpc)} m.")
    for sight in setup.sights:
        if sight is not anchor:
            yield (f"{_where(reduced, sight)}: level = {_bare(setup.hpc)} − {_term(sight.reading)} = "
                   f"{_bare(setup.hpc - sight.reading)} m.")


def _by_rise_and_fall(reduced: ReducedLevels, setup: Setup) -> Iterator[str]:
    anchor = setup.carried_in
    onwards, back = setup.sights[anchor.place:], setup.sights[anchor.place::-1]
    row = reduced.linkage.rows[anchor.row]
    if setup.source is not None:
        yield (f"Row {row.number}, {row.point}: the instrument has moved, so go on from the new reading {_bare(anchor.reading)}; "
               f"level = {_bare(setup.hpc - anchor.reading)} m.")
    else:
        yield f"Row {row.number}, {row.point}: known level {_bare(setup.hpc - anchor.reading)} m."
    for before, sight in (*pairwise(onwards), *pairwise(back)):
        step, start = before.reading - sight.reading, setup.hpc - before.reading
        kind, sign = ("a fall", "−") if step < -EXACT else ("a rise" if step > EXACT else "neither rise nor fall", "+")
        yield (f"{_where(reduced, sight)}: {_bare(before.reading)} − {_term(sight.reading)} = {_bare(step)}, {kind}; level = "
               f"{_bare(start)} {sign} {_bare(abs(step))} = {_bare(setup.hpc - sight.reading)} m.")


def _sums(reduced: ReducedLevels, method: Method) -> Iterator[str]:
    for _, bs, fs, rise, fall, first, last in reduced.sums.itertuples(index=False, name=None):
        ends = f"Last − first level = {_bare(last)} − {_bare(first)} = {_bare(last - first)}: they agree."
        yield f"ΣBS − ΣFS = {_bare(bs)} − {_term(fs)} = {_bare(bs - fs)}. {ends}"
        if method == "rise and fall":
            yield f"Σrise − Σfall = {_bare(rise)} − {_bare(fall)} = {_bare(rise - fall)}. {ends}"


def _closures(reduced: ReducedLevels) -> Iterator[str]:
    for one in reduced.adjustment.closures:
        point, count = reduced.linkage.point(one.sight), len(one.path)
        known = reduced.book.known[point]
        yield (f"Level found at {point} − known level = {_bare(known + one.high)} − {_bare(known)} = {_mm(one.high)}. Allowed is "
               f"{word_mm(one.allowable, digits=1)} over {count} set-up{'s' if count > 1 else ''}: it "
               f"{'closes' if one.closes else 'does NOT close, so nothing is shared out'}.")


def _shared(exercise: Exercise, reduced: ReducedLevels) -> Iterator[str]:
    """What the misclosure does to each set-up and each row."""
    for one in reduced.adjustment.closures:
        if one.closes and abs(one.misclosure) < EXACT:
            yield "There is nothing to share out."
        elif one.closes and len(one.path) > 1:
            parts = range(1, len(one.path) + 1)
            shares = ", ".join(f"{_mm(-one.misclosure * part / len(one.path))} from set-up {part}" for part in parts)
            yield (f"The misclosure of {_mm(one.misclosure)} is shared out over {len(one.path)} set-ups; to each level add "
                   f"{shares}.")
    for row, level, adjusted in exercise.right[["level", "adjusted"]].itertuples(name=None):
        point = next(one.point for one in reduced.linkage.rows if one.number == row)
        change = adjusted - level
        if abs(change) > EXACT:
            yield (f"Row {row}, {point}: adjusted = {_bare(level)} {'−' if change < 0 else '+'} {_bare(abs(change))} = "
                   f"{_bare(adjusted)} m.")
