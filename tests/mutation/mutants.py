"""Small faults that could have been written: every place in a source where one thing can be changed, and the changed source.

A mutant is the same file with one change: `<` for `<=`, `+` for `-`, a number a little larger, a `raise` left out. Docstrings,
strings, annotations, imports and `__all__` are left alone, and so are types joined by `|`, which would not even import.
"""

from __future__ import annotations

import ast
import copy
import random
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

ROOMS = ("survey", "surface", "design", "works")
NEAR = 40  # characters of a long expression that are shown on either side of the change
LONG = 120  # characters of the change itself

_BOUNDARY = {ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt}
_OPPOSITE = {ast.Lt: ast.GtE, ast.LtE: ast.Gt, ast.Gt: ast.LtE, ast.GtE: ast.Lt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq,
             ast.Is: ast.IsNot, ast.IsNot: ast.Is, ast.In: ast.NotIn, ast.NotIn: ast.In}
_ARITHMETIC = {ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.FloorDiv: ast.Div, ast.Mod: ast.Mult,
               ast.Pow: ast.Mult, ast.BitOr: ast.BitAnd, ast.BitAnd: ast.BitOr}
_PAIRS = (("min", "max"), ("any", "all"), ("argmin", "argmax"), ("minimum", "maximum"), ("floor", "ceil"), ("sin", "cos"))
_SWAPPED = {one: other for pair in _PAIRS for one, other in (pair, pair[::-1])}
_EMPTY = {"list": "[]", "dict": "{}", "set": "set()", "str": "''"}
_ANNOTATIONS = {"annotation", "returns", "format_spec"}


@dataclass(frozen=True)
class Site:
    """A node, where it hangs, and what surrounds it; `called` if it runs when a function is called and not at import."""

    node: ast.AST
    parent: ast.AST
    field: str
    index: int | None
    statement: ast.stmt
    function: str
    returns: str
    called: bool
    sliced: bool

    def put(self, node: ast.AST) -> None:
        if self.index is None:
            setattr(self.parent, self.field, node)
        else:
            getattr(self.parent, self.field)[self.index] = node


@dataclass(frozen=True)
class Mutant:
    """One change: the `site`th node of the file by the `choice`th of its changes, in a statement on lines `first` to `last`.

    `called` if it takes effect when a function is called and not at import.
    """

    file: str
    function: str
    first: int
    last: int
    kind: str
    old: str
    new: str
    repeat: int
    called: bool
    site: int
    choice: int

    @property
    def key(self) -> str:
        """What the change is called in reasons.toml: it does not hang on line numbers."""
        again = f" ({self.repeat})" if self.repeat > 1 else ""
        return f"{self.file} {self.function}: {self.old} → {self.new}{again}"

    @property
    def room(self) -> str:
        return self.file.split("/")[1]


def sites(tree: ast.Module) -> Iterator[Site]:
    """Every node that could be changed, in the order of the source."""
    def walk(parent: ast.AST, statement: ast.stmt | None, function: str, returns: str, called: bool,
             sliced: bool) -> Iterator[Site]:
        for field, value in ast.iter_fields(parent):
            if field in _ANNOTATIONS:
                continue
            inside = called or (isinstance(parent, ast.FunctionDef | ast.Lambda) and field == "body")
            into = sliced or (isinstance(parent, ast.Subscript) and field == "slice")
            for index, node in enumerate(value) if isinstance(value, list) else [(None, value)]:
                if not isinstance(node, ast.AST) or _left_alone(node):
                    continue
                here = node if isinstance(node, ast.stmt) else statement
                assert here is not None
                into_node = into and isinstance(node, ast.Constant | ast.UnaryOp | ast.Slice | ast.Tuple)
                yield Site(node, parent, field, index, here, function or "module", returns, inside, into_node)
                name, gives = function, returns
                if isinstance(node, ast.FunctionDef | ast.ClassDef):
                    name = f"{function}.{node.name}".lstrip(".")
                    gives = ast.unparse(node.returns) if isinstance(node, ast.FunctionDef) and node.returns else ""
                yield from walk(node, here, name, gives, inside, into_node)
    return walk(tree, None, "", "", False, False)


def _left_alone(node: ast.AST) -> bool:
    if isinstance(node, ast.Import | ast.ImportFrom) or (isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)):
        return True
    if isinstance(node, ast.Assign | ast.AugAssign):
        return "__all__" in ast.unparse(node)
    return isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING"


def _changed(node: ast.AST, **fields: object) -> ast.AST:
    twin = copy.copy(node)
    for name, value in fields.items():
        setattr(twin, name, value)
    return twin


def changes(site: Site) -> list[tuple[str, ast.AST]]:
    """Kinds of change that this node allows, each with the node to put in its place."""
    node = site.node
    made: list[tuple[str, ast.AST]] = []
    if isinstance(node, ast.Compare):
        for place, sign in enumerate(node.ops):
            for kind, table in (("boundary", _BOUNDARY), ("comparison", _OPPOSITE)):
                if type(sign) in table:
                    made.append((kind, _changed(node, ops=[*node.ops[:place], table[type(sign)](), *node.ops[place + 1:]])))
    elif isinstance(node, ast.BinOp | ast.AugAssign):
        sides = (node.left, node.right) if isinstance(node, ast.BinOp) else (node.target, node.value)
        if type(node.op) in _ARITHMETIC and not any(map(_text_or_type, sides)):
            made.append(("arithmetic", _changed(node, op=_ARITHMETIC[type(node.op)]())))
    elif isinstance(node, ast.BoolOp):
        made.append(("and, or", _changed(node, op=ast.And() if isinstance(node.op, ast.Or) else ast.Or())))
    elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not | ast.USub):
        made.append(("not left out" if isinstance(node.op, ast.Not) else "arithmetic", node.operand))
    elif isinstance(node, ast.Constant):
        minus = isinstance(site.parent, ast.UnaryOp) and isinstance(site.parent.op, ast.USub)
        made += [("index" if site.sliced else "constant", ast.copy_location(ast.Constant(value), node))
                 for value in _other_numbers(node.value, minus)]
    elif isinstance(node, ast.Call):
        made += [("function", one) for one in _other_calls(node)]
    elif isinstance(node, ast.Return):
        made += [("returned value", _changed(node, value=value)) for value in _other_value(node.value, site.returns)]
    if isinstance(node, ast.expr) and _is_condition(site) and not isinstance(node, ast.Compare | ast.Constant | ast.UnaryOp):
        made.append(("negated condition", ast.copy_location(ast.UnaryOp(ast.Not(), node), node)))
    if _can_go(node):
        made.append(("statement left out", ast.copy_location(ast.Pass(), node)))
    return made


def _text_or_type(node: ast.AST) -> bool:
    if isinstance(node, ast.Constant):
        return isinstance(node.value, str) or node.value is None
    name = node.id if isinstance(node, ast.Name) else node.attr if isinstance(node, ast.Attribute) else ""
    return isinstance(node, ast.JoinedStr) or name in {"str", "int", "float", "list", "tuple", "dict"} or (
        name.istitle() and not name.isupper())


def _other_numbers(value: object, minus: bool) -> list[bool | int | float]:
    if isinstance(value, bool):
        return [not value]
    if isinstance(value, int):
        if value in (0, 1):
            return [1] if value == 0 else [0, 2]
        return [value + 1] if minus else [value + 1, -value]
    if isinstance(value, float):
        near = 1.0 if value == 0 else 0.0 if value == 1 else float(f"{value * 1.1:.12g}")
        return [near] if minus or value == 0 else [near, -value]
    return []


def _other_calls(node: ast.Call) -> list[ast.AST]:
    name = node.func.id if isinstance(node.func, ast.Name) else node.func.attr if isinstance(node.func, ast.Attribute) else ""
    if name in {"abs", "fabs"} and len(node.args) == 1:
        return [node.args[0]]
    if name not in _SWAPPED:
        return []
    return [_changed(node, func=_changed(node.func, **{"id" if isinstance(node.func, ast.Name) else "attr": _SWAPPED[name]}))]


def _other_value(value: ast.expr | None, returns: str) -> list[ast.expr]:
    if value is None or returns == "None" or (isinstance(value, ast.Constant) and value.value is None):
        return []
    text = ast.unparse(value)
    outer = returns.split("[")[0]
    if returns == "bool":
        new = f"not ({text})"
    elif returns in ("int", "float"):
        new = f"({text}) + 1"
    elif outer == "tuple" and returns.endswith(", ...]"):
        new = "()"
    else:
        new = "None" if "|" in returns else _EMPTY.get(outer, "None")
    return [] if new == text else [ast.parse(new, mode="eval").body]


def _is_condition(site: Site) -> bool:
    return (site.field == "test" and isinstance(site.parent, ast.If | ast.While | ast.IfExp)) or (
        site.field == "ifs" and isinstance(site.parent, ast.comprehension))


def _can_go(node: ast.AST) -> bool:
    if isinstance(node, ast.Expr):
        return isinstance(node.value, ast.Call)
    if isinstance(node, ast.Assign):
        return any(isinstance(target, ast.Attribute | ast.Subscript) for target in node.targets)
    return isinstance(node, ast.Raise | ast.AugAssign | ast.Continue | ast.Break | ast.Delete) or (
        isinstance(node, ast.Return) and node.value is None)


def _words(site: Site, new: ast.AST) -> tuple[str, str]:
    """The change as text, with what stands round it."""
    inner = isinstance(site.node, ast.expr) and not isinstance(site.parent, ast.stmt | ast.FormattedValue)
    whole = site.parent if inner or isinstance(site.parent, ast.Assign | ast.AnnAssign | ast.Return | ast.Expr) else None
    was = ast.unparse(whole or site.node)
    site.put(new)
    now = ast.unparse(ast.fix_missing_locations(whole or new))
    site.put(site.node)
    was, now = " ".join(was.split()), " ".join(now.split())
    start = next((at for at, (one, other) in enumerate(zip(was, now, strict=False)) if one != other), 0)
    end = next((at for at, (one, other) in enumerate(zip(was[start:][::-1], now[start:][::-1], strict=False)) if one != other), 0)
    head = was[:start] if start <= NEAR else "…" + was[start - NEAR:start]
    rest = was[len(was) - end:]
    tail = rest if end <= NEAR else rest[:NEAR] + "…"
    middles = (text[start:len(text) - end] for text in (was, now))
    old, new_text = (head + (one if len(one) <= LONG else one[:LONG] + "…") + tail for one in middles)
    return old, new_text


def possible(root: Path, room: str) -> list[Mutant]:
    """All mutants of a room, in the order of files and of the source."""
    found = []
    for path in sorted((root / "sitelevels" / room).rglob("*.py")):
        file = path.relative_to(root).as_posix()
        seen: Counter[tuple[str, str, str]] = Counter()
        for number, site in enumerate(sites(ast.parse(path.read_text("utf-8")))):
            for choice, (kind, new) in enumerate(changes(site)):
                old_text, new_text = _words(site, new)
                seen[site.function, old_text, new_text] += 1
                whole = site.node if hasattr(site.statement, "body") else site.statement
                last = getattr(whole, "end_lineno", site.statement.lineno)
                found.append(Mutant(file, site.function, site.statement.lineno, last, kind, old_text, new_text,
                                    seen[site.function, old_text, new_text], site.called, number, choice))
    return found


def drawn(every: dict[str, list[Mutant]], count: int, seed: int) -> list[Mutant]:
    """A random choice of mutants, from each room in proportion to how many it has."""
    total = sum(map(len, every.values()))
    shares = {room: count * len(some) / total for room, some in every.items()}
    counts = {room: int(share) for room, share in shares.items()}
    for room in sorted(shares, key=lambda room: counts[room] - shares[room])[:count - sum(counts.values())]:
        counts[room] += 1
    return [one for room, some in every.items() for one in random.Random(f"{seed} {room}").sample(some, counts[room])]


def mutated(source: str, mutant: Mutant) -> ast.Module:
    """The tree of the source with the one change made."""
    tree = ast.parse(source)
    site = next(one for number, one in enumerate(sites(tree)) if number == mutant.site)
    site.put(changes(site)[mutant.choice][1])
    return ast.fix_missing_locations(tree)
