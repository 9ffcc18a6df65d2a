"""Books to practise on, drawn from a seed: the same seed gives the same book on every machine."""

from __future__ import annotations

from ..errors import SurveyError, whole
from . import tasks, yards
from .asking import ALLOWED, Asking, ask_closing, ask_slip
from .drawing import Booked, Draw
from .exercise import Exercise, Slip
from .planting import SLIPS, explaining, plant, why_not

KINDS = {
    "one set-up": "a laser set up once in a yard, spots all round, closed on its benchmark",
    "change points": "three set-ups over two change points and back to the benchmark",
    "staff inverted": "one or two set-ups, with a DPC or a soffit overhead read with the staff upside down",
    "closing": "from one benchmark to another, the misclosure shared out by set-ups",
    "two pegs": "a two-peg test of the level: readings and sights, no book",
    "a fall": "spots along a line of drainage: drop, fall, and whether it falls enough",
    "a dig": "from DPC and ground to formation: how deep to dig, and the staff reading to dig to",
    "a yard": "from readings to verdict: the governing DPC mark, finished levels, clearance, dig and staff reading",
}
"""Kinds of practice book, and what each is."""

DIFFICULTIES = {
    "easy": "fewer rows, readings to 5 mm, no misclosure",
    "usual": "readings to the millimetre, a small misclosure",
    "hard": "more rows or parts; over change points also points read twice, a staff upside down, one point booked on two rows",
}
"""How hard a book can be."""

SEEDS = 10**9
"""The greatest seed."""

PERHAPS, ANY = "perhaps", "any"
SLIP_CHOICES = (PERHAPS, ANY, *SLIPS)
"""What can be asked to be planted."""

_DRAWN = {"one set-up": yards.one_setup, "change points": yards.change_points, "staff inverted": yards.inverted,
          "closing": yards.closing, "a fall": tasks.a_fall, "a dig": tasks.a_dig, "a yard": tasks.a_yard}


def practice_book(seed: int, *, kind: str = "change points", difficulty: str = "usual", slip: str | None = None) -> Exercise:
    """A book to reduce by hand, with questions and, if asked for, one slip planted in it.

    Parameters
    ----------
    seed : int
        0 to 1,000,000,000; the same seed gives the same book, on every machine.
    kind : str
        One of `KINDS`.
    difficulty : {"usual", "easy", "hard"}
    slip : str, optional
        One of `SLIPS`, "any", or "perhaps": that of "any" or none, as likely, and nothing that is given or asked tells which.
        None is planted if not given. The rest of the book is as it would be without.

    Returns
    -------
    Exercise

    Raises
    ------
    SurveyError
        For a seed, kind, difficulty or slip that is not known, and for a slip that the book cannot have.

    Notes
    -----
    Yards, points and levels are invented. Whether a check shows the slip is worked out in whole millimetres: a misclosure over
    5 mm × √set-ups, repeats more than 5 mm apart, a remark without its minus.

    >>> practice = practice_book(7, slip="two digits swapped")
    >>> practice.title
    'Practice 7: change points, usual, slip two digits swapped (an invented yard)'
    >>> print(practice.slip.words)
    A slip was planted in row 1, point BM: two digits swapped. 1.493 m is booked where 1.439 m was read. The closing reading \
on BM shows it.
    """
    seed = whole(seed, "the seed", 0, SEEDS)
    for said, value, known in (("kind", kind, KINDS), ("difficulty", difficulty, DIFFICULTIES)):
        if not isinstance(value, str) or value not in known:
            raise SurveyError(f"the {said} {value!r} is not known", rule=f"It can be {', '.join(known)}.")
    if slip is not None and (not isinstance(slip, str) or slip not in SLIP_CHOICES):
        raise SurveyError(f"the slip {slip!r} is not known", rule=f"It can be None, {', '.join(SLIP_CHOICES)}.")
    # each kind of a number has a yard of its own; numbers 100 apart leave room for further kinds without a change of books
    own = 100 * seed + 10 * list(DIFFICULTIES).index(difficulty) + list(KINDS).index(kind)
    draw = Draw(own, 5 if difficulty == "easy" else 1)
    asked = "none" if slip is None else slip  # as chosen: it does not tell whether there is one
    title = f"Practice {seed}: {kind}, {difficulty}, slip {asked} (an invented yard)"
    if kind == "two pegs":
        if slip is not None:
            raise SurveyError(f"a two-peg test cannot have the slip {slip!r}", rule="It has no level book to plant one in.",
                              remedy="Leave the slip out, or choose another kind.")
        task, given, asking = tasks.two_pegs(draw, difficulty)
        return Exercise(None, title, task, given, tuple(asking.questions), seed=seed, kind=kind, difficulty=difficulty)
    site = _DRAWN[kind](draw, difficulty)
    meant = booked = Booked(tuple(site.walk.shots), site.walk.known)
    planted = None
    if slip is not None:
        booked, planted = plant(meant, ANY if slip == PERHAPS else slip, draw, kept=site.kept)
        if slip == PERHAPS and draw.whole(0, 1, 1):
            booked, planted = meant, None
    asking = Asking({row: level / 1000 for row, level in booked.by_row.items()},
                    {shot.row: booked.heights[shot.setup] / 1000 for shot in booked.shots if shot.column == "bs"})
    ask_closing(asking, booked)
    if slip is not None:
        ask_slip(asking, planted, *_other_rows(booked, planted))
    site.ask(asking, booked)
    warned = () if slip is None else ("One reading may be booked wrongly, or all from some row on. Answer the rest from the book "
                                      "as it stands; on site nothing is dug from such a book before it is read again.",)
    given = (f"Misclosure allowed: 5 mm × √set-ups. Source: {ALLOWED.source.partition(': ')[0]}.", *warned, *site.given)
    return Exercise(booked.book, title, site.task, given, tuple(asking.questions), planted, site.adjusts, seed, kind, difficulty)


def _other_rows(booked: Booked, slip: Slip | None) -> tuple[tuple[str, ...], dict[str, str]]:
    """Other rows where a slip would explain what the checks say as well, and wrong rows that are often named."""
    last, rows = booked.shots[-1].row, {slip.row} if slip else set()
    if slip is None or not slip.caught_by:
        return tuple(map(str, rows)), {str(last): f"row {last} is where the check is made, and it agrees"}
    rows |= explaining(booked)
    wrong = {str(row): why_not(booked, row) for row in booked.by_row if row not in rows}
    return tuple(map(str, sorted(rows - {slip.row}))), wrong | {"none": f"a check does show one: {slip.caught_by}"}
