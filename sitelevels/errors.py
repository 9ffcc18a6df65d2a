"""What wrong or doubtful input gets: a sentence that says what, where, the rule and what to do."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Sequence
from numbers import Integral, Real

_TURNS = re.compile("[\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069]")
_LONG = re.compile(r"\S{81,}")


def plainly(text: str) -> str:
    """Text that somebody typed, safe to stand in a sentence: marks that turn its direction are spelt out, endless words cut.

    >>> plainly("peg\\u202e7")
    'peg\\\\u202e7'
    """
    text = _TURNS.sub(lambda mark: f"\\u{ord(mark[0]):04x}", text)
    return _LONG.sub(lambda word: f"{word[0][:60]}…", text)


class SurveyWarning(UserWarning):
    """A value that is possible but doubtful; the message names the row or point, and the value with its unit (m, mm, m/m).

    Nothing is refused: the value is used as it was given.

    Reason: a staff of 5.2 m may be right; only whoever read it can tell.

    >>> import warnings
    >>> from sitelevels import read_book
    >>> with warnings.catch_warnings(record=True) as told:
    ...     warnings.simplefilter("always")
    ...     book = read_book("point,bs,is,fs,rl\\nBM,5.200,,,10.000\\nBM,,,5.200,")
    >>> print(told[0].message)
    Row 1, point BM: 'bs' is 5.200 m, longer than a 5 m staff. Is the unit right?
    """


class SurveyError(ValueError):
    """Input that cannot be used, told in full sentences; numbers in them carry their unit (m, mm, m/m).

    Parameters
    ----------
    what : str
        What is wrong, with the value seen, e.g. "the reading 'l.452' is not a number".
    where : str
        The row or point, e.g. "row 7, point C".
    rule : str
        What it must be.
    remedy : str
        What to do about it.
    row : int
        Number of the row of a level book that it is about; 0 where it is about none, or more than one.
    column : str
        Name of the column, where it is about one cell.

    Attributes
    ----------
    problems : tuple of str
        Every problem found, one sentence or two each; `str(error)` joins them by new lines.
    parts : tuple of SurveyError
        The problems one by one, each with its row and column.

    Notes
    -----
    Nothing is refused: what is wrong has to be told, whatever it is; `plainly` makes what was typed safe to show. Where, what,
    the rule, what to do: the order in which somebody mends a row.

    >>> print(SurveyError("the reading is empty", where="row 3, point A", rule="Every row needs one reading.",
    ...                   remedy="Fill it in or delete the row."))
    Row 3, point A: the reading is empty. Every row needs one reading. Fill it in or delete the row.
    """

    def __init__(self, what: str, *, where: str = "", rule: str = "", remedy: str = "", row: int = 0,
                 column: str = "") -> None:
        said = f"{where}: {what}" if where else what
        sentences = [said if said.endswith((".", "?", "!")) else said + "."]
        sentences += [part for part in (rule, remedy) if part]
        text = " ".join(sentences)
        if not re.match(r"\S+\.\w", text):  # the name of a file keeps its small letter
            text = text[:1].upper() + text[1:]
        self.problems: tuple[str, ...] = (plainly(text),)
        self.row, self.column = row, column
        self.parts: tuple[SurveyError, ...] = (self,)
        super().__init__(self.problems[0])

    def at(self, where: str, *, row: int = 0, column: str = "") -> SurveyError:
        """The same problems, each told of a place.

        >>> print(SurveyError("least_mm is 'a'").at("brief.toml, [[demand]] number 1"))
        brief.toml, [[demand]] number 1: least_mm is 'a'.
        """
        return SurveyError.together(
            SurveyError(problem[:1].lower() + problem[1:], where=where, row=row or part.row, column=column or part.column)
            for part in self.parts for problem in part.problems)

    def _render_traceback_(self) -> list[str]:
        """What a notebook shows instead of a traceback: the sentences."""
        return list(self.problems)

    @classmethod
    def together(cls, errors: Iterable[SurveyError]) -> SurveyError:
        """One error that holds every problem of `errors`, in order, each told once."""
        parts = {problem: part for error in errors for part in error.parts for problem in part.problems}
        whole = cls("")
        whole.problems, whole.parts = tuple(parts), tuple(parts.values())
        whole.args = ("\n".join(parts),)
        return whole


def must_be(value: object, kind: type | tuple[type, ...], name: str) -> None:
    """Refuse a value of another kind, in words.

    >>> must_be(1.5, float, "the level")
    """
    if not isinstance(value, kind) or (kind is Iterable and getattr(value, "ndim", 1) == 0):  # an array of no dimension
        kinds = kind if isinstance(kind, tuple) else (kind,)
        raise SurveyError(f"{name} is {_a(type(value))}", rule=f"It must be {' or '.join(map(_a, kinds))}.")


def _a(kind: type) -> str:
    """What a value is called by its kind."""
    return "None" if kind is type(None) else f"{'an' if kind.__name__[0] in 'AEIOUaeiou' else 'a'} {kind.__name__}"


def finite(value: object, name: str, rule: str = "It must be a number in m.", *, least: float = -math.inf,
           over: float = -math.inf, most: float = math.inf, under: float = math.inf) -> float:
    """A finite number from `least` to `most`, over `over` and under `under`, as a float; else a refusal with the rule.

    >>> finite(3, "the length", least=0)
    3.0
    """
    try:
        number = float(value) if isinstance(value, Real) and not isinstance(value, bool) else math.nan
    except OverflowError:
        raise SurveyError(f"{name} is a number of hundreds of digits", rule=rule) from None
    if not (abs(number) < 1e12 and least <= number <= most and over < number < under):
        raise SurveyError(f"{name} is {value!r}", rule=rule)
    return number


def whole(value: object, name: str, least: int, most: int, *, remedy: str = "") -> int:
    """A whole number from `least` to `most`, as an int; else a refusal with the rule.

    >>> whole(3, "the number of learners", 1, 60)
    3
    """
    number = int(value) if isinstance(value, Integral) and not isinstance(value, bool) else None
    if number is None or not least <= number <= most:
        said = repr(value) if number is None else str(number) if abs(number) < 10**99 else "a number of hundreds of digits"
        raise SurveyError(f"{name} is {said}", rule=f"It must be a whole number from {least:,} to {most:,}.", remedy=remedy)
    return number


def finite_list(value: object, name: str, rule: str, *, count: int = 0) -> list[float]:
    """Finite numbers of a list or of an array in one dimension, `count` of them if that is given; else a refusal with the rule.

    >>> finite_list((1, 2.5), "the place", "A pair (x, y) in m.", count=2)
    [1.0, 2.5]
    """
    listed = getattr(value, "ndim", 0) == 1 or (isinstance(value, Sequence) and not isinstance(value, (str, bytes, bytearray)))
    numbers = [finite(one, name, rule) for one in value] if listed else []  # type: ignore[attr-defined]
    if not numbers or (count and len(numbers) != count):
        raise SurveyError(f"{name} is {value!r}", rule=rule)
    return numbers


def rows_named(numbers: Iterable[int]) -> str:
    """'row 3' or 'rows 3, 7 and 9'.

    >>> rows_named([3]), rows_named([3, 7, 9])
    ('row 3', 'rows 3, 7 and 9')
    """
    words = [str(number) for number in numbers]
    if len(words) == 1:
        return f"row {words[0]}"
    if len(words) > 20:
        words = [*words[:12], f"{len(words) - 12} more"]
    return f"rows {', '.join(words[:-1])} and {words[-1]}"
