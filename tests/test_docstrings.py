"""Each public name says what it is, in which units, what it refuses, where it comes from, and shows it at work.

The examples themselves run as doctests with the rest. What a function returns may lean on that function: its class says
"Made by `solve_finish`", and what is refused, the source and the example are looked for there.
"""

import ast
import inspect
import re
import sys
from itertools import pairwise
from pathlib import Path

import pytest

import sitelevels

UNIT = re.compile(r"(?<![\w-])(mm|m|km|ft|m/m|m²|m³|kg|t|l/s|mm/h|m/s|m³/s|°|%|without a unit|no units?|no numbers?)(?!\w)"
                  r"|1:\d|1:N")
MADE_BY = re.compile(r"Made by `(?P<maker>[\w.]+)`")
CLASSES = [name for name in sitelevels.__all__ if inspect.isclass(getattr(sitelevels, name))]
FUNCTIONS = [name for name in sitelevels.__all__ if inspect.isfunction(getattr(sitelevels, name))]
DATA = [name for name in sitelevels.__all__ if name not in CLASSES + FUNCTIONS]


def lacking(text: str) -> list[str]:
    """Which of the five parts a docstring has not."""
    first = text.strip().split("\n\n")[0]
    wanted = {
        "summary": bool(re.match(r"[A-Z0-9`].*[.:?]$", first, re.DOTALL)),
        "units": bool(UNIT.search(text)),
        "errors": bool(re.search(r"^Raises$|Raises SurveyError|[Rr]efuse[sd]?\b|Nothing is refused", text, re.MULTILINE)),
        "source": bool(re.search(r"^Notes$|^Source: |^Reason: |common practice", text, re.MULTILINE)),
        "example": ">>> " in text,
    }
    return [part for part, there in wanted.items() if not there]


def found(name: str) -> object:
    value: object = sitelevels
    for part in name.split("."):
        value = getattr(value, part)
    return value


def words_below(name: str, code: str) -> str:
    """The string that stands below `name = …` in a module."""
    body = ast.parse(code).body
    return "".join(ast.literal_eval(after.value) for before, after in pairwise(body)
                   if ast.unparse(before).split(":")[0].split(" =")[0] == name and isinstance(after, ast.Expr))


@pytest.mark.parametrize("name", FUNCTIONS)
def test_functions_are_described(name: str) -> None:
    function = found(name)
    text = inspect.getdoc(function) or ""
    assert lacking(text) == []
    told = [given for given in inspect.signature(function).parameters if not re.search(rf"\b{given}\b", text)]  # type: ignore[arg-type]
    assert told == []


@pytest.mark.parametrize("name", CLASSES)
def test_classes_are_described(name: str) -> None:
    text = inspect.getdoc(found(name)) or ""
    lacks = lacking(text)
    makers = MADE_BY.findall(text)
    if makers:
        assert makers[0].split(".")[0] in sitelevels.__all__
        there = lacking(inspect.getdoc(found(makers[0])) or "")
        lacks = [part for part in lacks if part in ("summary", "units") or part in there]
    assert lacks == []


@pytest.mark.parametrize("name", DATA)
def test_tables_are_described(name: str) -> None:
    """A table's words stand below it in its file, where no interpreter shows them: what its entries are and their units."""
    value = found(name)
    homes = [module for key, module in sys.modules.items() if key.startswith("sitelevels.") and vars(module).get(name) is value]
    words = "".join(words_below(name, Path(str(home.__file__)).read_text(encoding="utf-8")) for home in homes)
    assert [part for part in lacking(words) if part in ("summary", "units")] == []


@pytest.mark.parametrize(("text", "lacks"), [
    ("", ["summary", "units", "errors", "source", "example"]),
    ("The level in m.", ["errors", "source", "example"]),
    ("the level in m\n\nRefuses what is no number.\n\nSource: any textbook.\n\n>>> 1", ["summary"]),
    ("The level.\n\nRaises\n------\n\nNotes\n-----\n\n>>> 1", ["units"]),
])
def test_what_is_lacking_is_found(text: str, lacks: list[str]) -> None:
    assert lacking(text) == lacks
