"""Each name that a notebook uses says what it is, in which unit its numbers are, what it refuses, and what it takes."""

import inspect
import re

import pytest

from sitelevels import workbook
from sitelevels.workbook import figures, forms

FUNCTIONS = [(module, name) for module in (workbook, figures) for name in module.__all__
             if inspect.isfunction(getattr(module, name))]
UNIT = re.compile(r"(?<![\w-])(mm|m|mm/m|m/m|m²|m³|%|[Nn]o numbers)(?!\w)|1:N")


@pytest.mark.parametrize(("module", "name"), FUNCTIONS, ids=[name for _, name in FUNCTIONS])
def test_functions(module: object, name: str) -> None:
    function = getattr(module, name)
    text = inspect.getdoc(function) or ""
    assert re.match(r"[A-Z].*[.:]", text)
    assert UNIT.search(text)
    assert re.search(r"Raises|[Rr]efuse", text)
    untold = [given for given in inspect.signature(function).parameters if not re.search(rf"\b{given}\b", text)]
    assert [given for given in untold if given != "ax"] == []  # told once, of all pictures


def test_axes_are_told_of_once() -> None:
    assert "`ax`" in (figures.__doc__ or "")


@pytest.mark.parametrize("name", forms.__all__)
def test_forms_say_what_they_are_for_and_explain_words(name: str) -> None:
    form = getattr(forms, name)
    assert re.match(r"[A-Z].{20,}\.", inspect.getdoc(form) or "")
    assert "terms" in vars(form)
