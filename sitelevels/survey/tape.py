"""Places in plan from a tape: two ties, or offsets along a wall and out from it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Literal

import numpy as np

from ..errors import SurveyError, finite, finite_list, must_be
from ..wording import word_level
from .cells import number_of, page_of, plain

Side = Literal["left", "right"]
Place = tuple[float, float]
_TIES = ("point", "from_a", "a", "from_b", "b", "side")
_LENGTH = "It must be a length in m."
ONE_PLACE = 1e-6  # m: no line runs between places that are nearer to each other


def from_ties(a: Sequence[float], b: Sequence[float], from_a: float, from_b: float, *, side: Side) -> Place:
    """Place (x, y) in m of a point that was taped from two others.

    Parameters
    ----------
    a, b : (x, y)
        The two places taped from, m.
    from_a, from_b : float
        The taped lengths, m, level (not down the slope).
    side : {"left", "right"}
        Where the point lies, as seen looking from a to b.

    Raises
    ------
    SurveyError
        If the three lengths make no triangle, or a value is no finite number.

    Notes
    -----
    Intersection of two circles, as in any survey textbook.

    >>> from_ties((0, 0), (4, 0), 3, 5, side="left")
    (0.0, 3.0)
    """
    one, other = _place(a, "a"), _place(b, "b")
    first, second = finite(from_a, "from_a", _LENGTH, least=0), finite(from_b, "from_b", _LENGTH, least=0)
    turn = _turn(side)
    base = math.dist(one, other)
    if base < ONE_PLACE:
        raise SurveyError("the two places taped from are one and the same", remedy="Tape from two places well apart.")
    along = ((first - second) * (first + second) / base + base) / 2
    square = (first - along) * (first + along)
    short, fits = base - first - second, abs(first - second) - base
    if max(short, fits) > 1e-6:  # m: what grid coordinates lose is a thousandth of that
        wrong = (f"the two ties are {word_level(short)} too short to meet" if short > 0
                 else f"one tie is {word_level(fits)} too long for the other")
        raise SurveyError(f"{wrong}: {word_level(first)} and {word_level(second)} from places {word_level(base)} apart",
                          rule="Each side of a triangle is shorter than the other two together.",
                          remedy="Tape them again, and see that they are booked from the right places.")
    return _beside(one, other, along, turn * math.sqrt(max(square, 0.0)))


def from_offsets(first: Sequence[float], second: Sequence[float], along: float, out: float, *, side: Side = "left") -> Place:
    """Place (x, y) in m from a distance `along` the line first to second (a wall) and a distance `out` from it, square, m.

    `side` is where the point lies, as seen looking from first to second. Refuses two ends that are one place, a distance out
    that is under nought, and what is no finite number.

    Source: offsets from a base line, as in any survey textbook.

    >>> from_offsets((0, 0), (0, 5), 2, 1.5, side="right")
    (1.5, 2.0)
    """
    start, end = _place(first, "first"), _place(second, "second")
    if math.dist(start, end) < ONE_PLACE:
        raise SurveyError("the two ends of the line are one and the same")
    along = finite(along, "along", _LENGTH)
    return _beside(start, end, along, _turn(side) * finite(out, "out", _LENGTH, least=0))


def places_from_ties(text: str, places: Mapping[str, Place]) -> dict[str, Place]:
    """Places in m by point from a table of tape ties, in the order in which they were taped.

    `text` is CSV with the columns point, from_a, a, from_b, b, side: the taped lengths in m from the points a and b, which have
    a place in `places` or were tied before, and the side as in `from_ties`. Raises SurveyError for every faulty row at once.

    >>> places_from_ties("point,from_a,a,from_b,b,side\\nP,3,C1,5,C2,left", {"C1": (0.0, 0.0), "C2": (4.0, 0.0)})
    {'P': (0.0, 3.0)}
    """
    must_be(text, str, "the table of ties")
    try:
        page = page_of(text, named="table", headings=",".join(_TIES))
    except SurveyError as error:
        raise error.at("ties.csv") from None
    headings, *records = (record[0] for record in page.records)
    names = [heading.strip().lower() for heading in headings]
    if sorted(names) != sorted(_TIES):
        raise SurveyError(f"the headings are {', '.join(names)}", where="ties.csv", rule=f"They are {', '.join(_TIES)}.")
    found: dict[str, Place] = {}
    faults = []
    for number, cells in enumerate(records, start=1):
        tie = dict(zip(names, (plain(cell.strip()) for cell in cells), strict=False))
        if not any(tie.values()):
            continue
        try:
            ends = [found.get(tie.get(end, "")) or places.get(tie.get(end, "")) for end in ("a", "b")]
            if any(cell.strip() for cell in cells[len(names):]):
                raise SurveyError("there are more cells than headings", remedy="Look for a comma in a number: write 1.245.")
            if tie.get("point") in found or tie.get("point") in places:
                raise SurveyError("it has a place already", rule="A point has x and y in the book, or one row here.")
            missing = [repr(tie.get(end, "")) for end, place in zip(("a", "b"), ends, strict=True) if place is None]
            if missing or not tie.get("point"):
                lacking = f"{' and '.join(missing)} {'have' if len(missing) > 1 else 'has'} no place"
                raise SurveyError(lacking if missing else "it has no name",
                                  rule="a and b are points with x and y in the book, or points tied in a row above.")
            lengths = [number_of(tie.get(name, "")) for name in ("from_a", "from_b")]
            if None in lengths:
                raise SurveyError(f"a length is {tie.get('from_b' if lengths[0] is not None else 'from_a', '')!r}", rule=_LENGTH)
            found[tie["point"]] = from_ties(*ends, *lengths, side=tie.get("side", ""))  # type: ignore[arg-type]
        except SurveyError as error:
            faults.append(error.at(f"ties.csv, row {number}, point {tie.get('point', '')}"))
    if faults:
        raise SurveyError.together(faults)
    return found


def ties_covariance(a: Sequence[float], b: Sequence[float], place: Sequence[float], *,
                    sd: float | tuple[float, float]) -> np.ndarray:
    """Covariance (2 × 2, m²) of a place taped from a and b.

    `place` is what `from_ties` gave; `sd` the standard deviation of a taped length, m, or a pair, one for each tie. Refuses ties
    that meet in line, or that have no length (the place is then free to slide), and an `sd` under nought.

    Source: linear propagation, JCGM 100:2008, clause 5.2.

    >>> ties_covariance((3, 0), (0, 4), (0, 0), sd=0.01).round(9).tolist()  # m²: square to each other, each tie moves one axis
    [[0.0001, 0.0], [0.0, 0.0001]]
    """
    x, y = _place(place, "place")
    towards = np.array([(x - px, y - py) for px, py in (_place(a, "a"), _place(b, "b"))])
    lengths = np.hypot(*towards.T)
    if (lengths < ONE_PLACE).any() or abs(np.linalg.det(towards / np.maximum(lengths, 1e-9)[:, None])) < 1e-4:
        raise SurveyError("the two ties meet in line, so the place can slide square to them", remedy="Tape from another place.")
    given = sd if isinstance(sd, tuple) else (sd, sd)
    both = np.array([finite(one, "sd", _LENGTH, least=0) for one in finite_list(given, "sd", _LENGTH, count=2)])
    inverse = np.linalg.inv(towards / lengths[:, None])
    return np.asarray(inverse @ np.diag(both**2) @ inverse.T)


def level_sd(covariance: np.ndarray, gx: float, gy: float) -> float:
    """Standard deviation in m that an unsure place gives to a level on ground with the gradients gx, gy (m/m).

    `covariance` of the place, 2 × 2, m². Refuses one of another shape, or with a negative variance.

    Source: linear propagation, JCGM 100:2008, clause 5.2.

    >>> level_sd(np.diag([0.01**2, 0.01**2]), 0.05, 0.0)
    0.0005
    """
    gradient = np.array([finite(one, name, "It must be a gradient in m per m.") for one, name in ((gx, "gx"), (gy, "gy"))])
    rule = "It is 2 × 2 numbers in m²."
    rows = list(covariance) if isinstance(covariance, (list, tuple)) or getattr(covariance, "ndim", 0) == 2 else []
    if len(rows) != 2:
        raise SurveyError("the covariance is no table of two rows", rule=rule)
    matrix = np.array([finite_list(row, "the covariance", rule, count=2) for row in rows])
    if (np.linalg.eigvalsh((matrix + matrix.T) / 2) < -1e-12).any():
        raise SurveyError("the covariance has a negative variance", rule="A variance is a square.")
    return math.sqrt(max(float(gradient @ matrix @ gradient), 0.0))


def _beside(start: Place, end: Place, along: float, out: float) -> Place:
    """The place so far along a line and square to it, to the left."""
    (ax, ay), (bx, by), base = start, end, math.dist(start, end)
    ux, uy = (bx - ax) / base, (by - ay) / base
    return ax + along * ux - out * uy, ay + along * uy + out * ux


def _turn(side: str) -> float:
    if not isinstance(side, str) or side not in ("left", "right"):
        raise SurveyError(f"the side is {side!r}",
                          rule="It is 'left' or 'right', as seen looking from the first place to the second.")
    return 1.0 if side == "left" else -1.0


def _place(value: object, name: str) -> Place:
    x, y = finite_list(value, name, "A place is a pair (x, y) of numbers in m.", count=2)
    return x, y
