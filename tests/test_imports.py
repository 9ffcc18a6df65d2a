"""How the package is built: which room may use which, and where things are rounded, printed and read."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

import sitelevels

HOME = Path(sitelevels.__file__).parent
MODULES = sorted(HOME.rglob("*.py"))
ROOMS = ("errors", "wording", "survey", "surface", "design", "works", "teaching", "workbook", "__main__")
"""Each may use those before it; the public names in sitelevels/__init__.py stand above all of them."""
HEAVY = ("matplotlib", "ipywidgets", "jupyterlab", "scipy")
OUTSIDE = ("workbook", "__main__")
"""Rooms that may draw, print and open files."""


def parts_of(path: Path) -> tuple[str, ...]:
    """('survey', 'book') for sitelevels/survey/book.py."""
    parts = path.relative_to(HOME).with_suffix("").parts
    return parts[:-1] if parts[-1] == "__init__" else parts


def statements(tree: ast.AST) -> Iterator[ast.AST]:
    """Every node save what stands under `if TYPE_CHECKING:`."""
    for node in ast.iter_child_nodes(tree):
        if isinstance(node, ast.If) and "TYPE_CHECKING" in ast.unparse(node.test):
            for other in node.orelse:
                yield other
                yield from statements(other)
            continue
        yield node
        yield from statements(node)


def uses(code: str, package: tuple[str, ...]) -> set[tuple[str, ...]]:
    """What code in a package of sitelevels imports from sitelevels, as parts below it; () is sitelevels itself."""
    found: set[tuple[str, ...]] = set()
    for node in statements(ast.parse(code)):
        if isinstance(node, ast.Import):
            found |= {tuple(name.name.split(".")[1:]) for name in node.names if name.name.split(".")[0] == "sitelevels"}
        elif isinstance(node, ast.ImportFrom):
            named = tuple((node.module or "").split(".")) if node.module else ()
            if node.level:
                base = package[:len(package) - node.level + 1] + named
            elif named[:1] == ("sitelevels",):
                base = named[1:]
            else:
                continue
            found |= {base} if node.module and base else {(*base, name.name) for name in node.names}
    return found


def wrong_arrows(code: str, parts: tuple[str, ...], *, package: bool = False) -> list[str]:
    """Imports of a module that point the wrong way."""
    own = ROOMS.index(parts[0])
    rank = {room: place for place, room in enumerate(ROOMS)}
    return sorted(".".join(used) or "sitelevels" for used in uses(code, parts if package else parts[:-1])
                  if not used or rank.get(used[0], len(ROOMS)) > own)


INNER = [path for path in MODULES if parts_of(path)]


@pytest.mark.parametrize("path", INNER, ids=lambda path: ".".join(parts_of(path)))
def test_imports_run_one_way(path: Path) -> None:
    assert wrong_arrows(path.read_text(encoding="utf-8"), parts_of(path), package=path.name == "__init__.py") == []


@pytest.mark.parametrize(("code", "parts"), [
    ("from ..works.earthworks import cut_and_fill", ("surface", "ground")),
    ("from ..design import brief", ("survey", "book")),
    ("from .survey import book", ("wording",)),
    ("from .wording import word_mm", ("errors",)),
    ("import sitelevels.works", ("design", "check")),
    ("from sitelevels.workbook import job", ("works", "setout")),
    ("def later():\n    from ..works import setout", ("design", "check")),
    ("from sitelevels import cut_and_fill", ("design", "check")),
    ("from .. import works", ("design", "check")),
])
def test_a_wrong_arrow_is_found(code: str, parts: tuple[str, ...]) -> None:
    assert len(wrong_arrows(code, parts)) == 1


@pytest.mark.parametrize(("code", "parts"), [
    ("from ..errors import SurveyError", ("survey", "book")),
    ("from ..surface.plane import Plane", ("works", "earthworks")),
    ("from .demands import Clearance", ("design", "brief")),
    ("if TYPE_CHECKING:\n    from ..works.setout import PegTable", ("design", "check")),
    ("import numpy as np", ("surface", "plane")),
])
def test_a_right_arrow_is_let_pass(code: str, parts: tuple[str, ...]) -> None:
    assert wrong_arrows(code, parts) == []


def test_no_two_modules_use_each_other_in_a_ring() -> None:
    known = {parts_of(path): path for path in INNER}
    arrows = {parts: {used for used in uses(path.read_text(encoding="utf-8"),
                                            parts if path.name == "__init__.py" else parts[:-1]) if used in known}
              for parts, path in known.items()}
    done: set[tuple[str, ...]] = set()
    while ready := [parts for parts, needed in arrows.items() if parts not in done and needed <= done]:
        done.update(ready)
    assert set(arrows) - done == set()
    assert len(arrows[("works", "earthworks")]) >= 3  # the arrows were really read


def test_importing_the_package_loads_nothing_heavy() -> None:
    code = "import sys; import sitelevels; print(*sorted({name.split('.')[0] for name in sys.modules}))"
    loaded = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout.split()
    assert "sitelevels" in loaded
    assert [name for name in HEAVY if name in loaded] == []


def test_every_public_name_is_there_and_listed_once() -> None:
    assert len(set(sitelevels.__all__)) == len(sitelevels.__all__)
    assert [name for name in sitelevels.__all__ if not hasattr(sitelevels, name)] == []


@pytest.mark.parametrize("path", MODULES, ids=lambda path: ".".join(parts_of(path)) or "sitelevels")
def test_no_file_is_longer_than_four_hundred_lines(path: Path) -> None:
    assert len(path.read_text(encoding="utf-8").splitlines()) <= 400


DRAWS = ("matplotlib", "ipywidgets", "IPython")
OPENS = ("open", "print", "input")
FILES = ("read_text", "read_bytes", "write_text", "write_bytes", "to_csv", "to_excel", "read_csv", "savefig", "mkdir", "unlink",
         "open")


def reaches_out(code: str) -> list[str]:
    """What in the code draws, prints or touches files."""
    found = []
    for node in ast.walk(ast.parse(code)):
        if isinstance(node, ast.Import):
            found += [name.name for name in node.names if name.name.split(".")[0] in DRAWS]
        elif isinstance(node, ast.ImportFrom) and (node.module or "").split(".")[0] in DRAWS:
            found.append(str(node.module))
        elif isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in OPENS:
            found.append(f"line {node.lineno}: {node.func.id}")
        elif isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr in FILES:
            found.append(f"line {node.lineno}: {node.func.attr}")
    return found


QUIET = [path for path in INNER if parts_of(path)[0] not in OUTSIDE and parts_of(path) != ("survey", "reading")]


@pytest.mark.parametrize("path", QUIET, ids=lambda path: ".".join(parts_of(path)))
def test_nothing_inside_draws_prints_or_opens_files(path: Path) -> None:
    assert reaches_out(path.read_text(encoding="utf-8")) == []


@pytest.mark.parametrize("code", ["print(1)", "open('a')", "Path('a').read_text()", "import matplotlib.pyplot as plt",
                                  "def draw():\n    from matplotlib import pyplot", "frame.to_csv('a')", "import ipywidgets"])
def test_drawing_printing_and_opening_are_found(code: str) -> None:
    assert len(reaches_out(code)) == 1


def roundings(code: str) -> list[str]:
    """Calls of round, and numbers formatted to so many digits."""
    found = []
    for node in ast.walk(ast.parse(code)):
        if isinstance(node, ast.Call) and ast.unparse(node.func).split(".")[-1] == "round":
            found.append(f"line {node.lineno}: {ast.unparse(node)}")
        elif isinstance(node, ast.FormattedValue) and node.format_spec is not None:
            spec = "".join(str(part.value) for part in node.format_spec.values  # type: ignore[attr-defined]
                           if isinstance(part, ast.Constant))
            if re.search(r"[efgEFG%]$", spec):
                found.append(f"line {node.lineno}: {ast.unparse(node.value)}:{spec}")
    return found


@pytest.mark.parametrize("path", [path for path in INNER if parts_of(path) != ("wording",)],
                         ids=lambda path: ".".join(parts_of(path)))
def test_only_wording_rounds(path: Path) -> None:
    assert roundings(path.read_text(encoding="utf-8")) == []


@pytest.mark.parametrize("code", ["round(x, 3)", "np.round(x)", "f'{x:.3f}'", "f'{x:g}'", "f'{x:.0%}'", "f'{x:.{digits}f}'"])
def test_rounding_is_found(code: str) -> None:
    assert len(roundings(code)) == 1


def test_writing_a_whole_number_or_a_word_is_not_rounding() -> None:
    assert roundings("f'{name!r} {count} {word:>8} {ground(3)}'") == []
