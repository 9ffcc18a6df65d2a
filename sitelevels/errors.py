"""What wrong or doubtful input gets: a sentence that says what, where, the rule and what to do."""

from __future__ import annotations

import re
from collections.abc import Iterable


class SurveyWarning(UserWarning):
    """A value that is possible but doubtful; the message names the row or point."""


class SurveyError(ValueError):
    """Input that cannot be used, told in full sentences.

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

    Attributes
    ----------
    problems : tuple of str
        Every problem found, one sentence or two each; `str(error)` joins them by new lines.

    >>> print(SurveyError("the reading is empty", where="row 3, point A", rule="Every row needs one reading.",
    ...                   remedy="Fill it in or delete the row."))
    Row 3, point A: the reading is empty. Every row needs one reading. Fill it in or delete the row.
    """

    def __init__(self, what: str, *, where: str = "", rule: str = "", remedy: str = "") -> None:
        said = f"{where}: {what}" if where else what
        sentences = [said if said.endswith((".", "?", "!")) else said + "."]
        sentences += [part for part in (rule, remedy) if part]
        text = " ".join(sentences)
        if not re.match(r"\S+\.\w", text):  # the name of a file keeps its small letter
            text = text[:1].upper() + text[1:]
        self.problems: tuple[str, ...] = (text,)
        super().__init__(self.problems[0])

    def at(self, where: str) -> SurveyError:
        """The same problems, each told of a place.

        >>> print(SurveyError("least_mm is 'a'").at("brief.toml, [[demand]] number 1"))
        brief.toml, [[demand]] number 1: least_mm is 'a'.
        """
        return SurveyError.together(SurveyError(problem[:1].lower() + problem[1:], where=where) for problem in self.problems)

    def _render_traceback_(self) -> list[str]:
        """What a notebook shows instead of a traceback: the sentences."""
        return list(self.problems)

    @classmethod
    def together(cls, errors: Iterable[SurveyError]) -> SurveyError:
        """One error that holds every problem of `errors`, in order, each told once."""
        problems = tuple(dict.fromkeys(problem for error in errors for problem in error.problems))
        whole = cls("")
        whole.problems = problems
        whole.args = ("\n".join(problems),)
        return whole


def must_be(value: object, kind: type | tuple[type, ...], name: str) -> None:
    """Refuse a value of another kind, in words.

    >>> must_be(1.5, float, "the level")
    """
    if not isinstance(value, kind):
        kinds = kind if isinstance(kind, tuple) else (kind,)
        wanted = " or ".join(one.__name__ for one in kinds)
        raise SurveyError(f"{name} is a {type(value).__name__}", rule=f"It must be a {wanted}.")


def rows_named(numbers: Iterable[int]) -> str:
    """'row 3' or 'rows 3, 7 and 9'.

    >>> rows_named([3]), rows_named([3, 7, 9])
    ('row 3', 'rows 3, 7 and 9')
    """
    words = [str(number) for number in numbers]
    if len(words) == 1:
        return f"row {words[0]}"
    return f"rows {', '.join(words[:-1])} and {words[-1]}"
