"""Valid files spoilt by a seeded hand: bytes, encodings, lines, cells, values of TOML."""

from __future__ import annotations

import random
import re
from collections.abc import Callable

Spoil = Callable[[random.Random, bytes], bytes]

BITS = [
    b"\x00",
    b"\xff\xfe",
    b"\xef\xbb\xbf",
    b"\x1a",
    b"\xc3",
    b"\xe2\x80\xae",
    b"\xed\xa0\x80",
    b'"',
    b"'",
    b"''",
    b",",
    b";",
    b"\t",
    b"\n",
    b"\r",
    b"\r\n",
    b"#",
    b"[",
    b"]",
    b"[[",
    b"{",
    b"}",
    b"=",
    b"\\",
    b"\\u0000",
    b"-",
    b"\xe2\x88\x92",
    b"nan",
    b"inf",
    b"1e999",
    b"9" * 400,
    b"9" * 5000,
    b"_",
    b"0x10",
    b"\xf0\x9f\x91\xb7",
    b"\xe2\x80\xa8",
    b"\x85",
    b"\x0c",
    b"\x0b",
]


def flip(rng: random.Random, content: bytes) -> bytes:
    """A few bits turned."""
    spoilt = bytearray(content)
    for _ in range(rng.choice((1, 1, 2, 8))):
        if spoilt:
            spoilt[rng.randrange(len(spoilt))] ^= 1 << rng.randrange(8)
    return bytes(spoilt)


def cut(rng: random.Random, content: bytes) -> bytes:
    """The end, the beginning or a piece left out."""
    first, second = sorted(rng.randrange(len(content) + 1) for _ in range(2))
    return rng.choice((content[:first], content[first:], content[:first] + content[second:]))


def insert(rng: random.Random, content: bytes) -> bytes:
    """Something awkward put in."""
    for _ in range(rng.choice((1, 1, 3))):
        at = rng.randrange(len(content) + 1)
        content = content[:at] + rng.choice(BITS) + content[at:]
    return content


def lines(rng: random.Random, content: bytes) -> bytes:
    """Lines doubled, moved, left out."""
    parts = content.splitlines(keepends=True)
    if not parts:
        return content
    one, other = rng.randrange(len(parts)), rng.randrange(len(parts))
    how = rng.randrange(4)
    if how == 0:
        parts.insert(other, parts[one])
    elif how == 1:
        parts[one], parts[other] = parts[other], parts[one]
    elif how == 2:
        del parts[one]
    else:
        rng.shuffle(parts)
    return b"".join(parts)


def recode(rng: random.Random, content: bytes) -> bytes:
    """Another encoding, other ends of lines, a byte-order mark."""
    text = content.decode("utf-8", "replace")
    return rng.choice(
        [
            lambda: text.encode("utf-16"),
            lambda: text.encode("utf-16-le"),
            lambda: text.encode("utf-16-be"),
            lambda: text.encode("utf-32"),
            lambda: text.encode("utf-8-sig"),
            lambda: b"\xef\xbb\xbf" + text.encode("utf-8-sig"),
            lambda: text.replace("o", "ö").encode("latin-1", "replace"),
            lambda: text.encode("utf-7"),
            lambda: text.encode("cp500", "replace"),
            lambda: content.replace(b"\n", b"\r"),
            lambda: content.replace(b"\n", b"\r\n"),
            lambda: content.replace(b"\n", b"\r\r\n"),
            lambda: content.replace(b"\n", b"\n\n"),
            lambda: content.replace(b"\n", "\u2028".encode()),
            lambda: content.replace(b"\n", b"\x85"),
            lambda: content + b"\x1a",
            lambda: text.encode("utf-16")[:-1],
            lambda: content.replace(b" ", "\u00a0".encode()),
            lambda: content.rstrip(b"\n"),
            lambda: b"\x00" * len(content),
            lambda: content.upper(),
            lambda: content.title(),
        ]
    )()


CELLS = [
    "",
    " ",
    "nan",
    "NaN",
    "inf",
    "-inf",
    "1e5",
    "1e400",
    "1_5",
    "１２",
    "١٢",
    "½",
    "--1",
    "0x10",
    "1,5",
    "1.5.5",
    "=1+1",
    "@SUM(A1)",
    "+1",
    "-1",
    "−1",
    "-0",
    "1e-320",
    "9999999.99999",
    "10000000",
    "9" * 400,
    "<img src=x onerror=alert(1)>",
    "$x^{$",
    "\u202egnp",
    "👷",
    "x" * 10_000,
    "..",
    "../../etc/passwd",
    "CON",
    "a\x00b",
    "a\tb",
    '"',
    "a\nb",
    "#",
    "# x",
    "'",
    "''",
    "moved",
    "line",
    "dpc",
    "corner",
    "benchmark",
    "None",
    "True",
    "\ufeff",
    "20 / 10",
    "/",
    "left",
    "C1",
    "BM",
]


def cell(rng: random.Random, content: bytes) -> bytes:
    """One cell, or a whole column, of a table filled with something else."""
    text = content.decode("utf-8", "replace")
    rows = [line.split(",") for line in text.split("\n")]
    row, column, value = rng.randrange(len(rows)), rng.randrange(max(map(len, rows))), rng.choice(CELLS)
    quoted = '"' + value.replace('"', '""') + '"' if rng.random() < 0.7 else value
    for number, one in enumerate(rows):
        if column < len(one) and (number == row or (number and rng.random() < 0.02)):
            one[column] = quoted
    return "\n".join(",".join(one) for one in rows).encode("utf-8", "replace")


def columns(rng: random.Random, content: bytes) -> bytes:
    """Columns moved, doubled, left out; 10,000 of them; rows of different lengths; endless fields and lines."""
    rows = [line.split(b",") for line in content.split(b"\n")]
    wide = max(map(len, rows))
    how = rng.randrange(9)
    one, other = rng.randrange(wide), rng.randrange(wide)
    if how == 0:
        rows = [[*row[:one], *row[one + 1 :]] for row in rows]
    elif how == 1:
        rows = [[*row, *row[one : one + 1]] for row in rows]
    elif how == 2:
        rows = [[row[other] if place == one and other < len(row) else cell for place, cell in enumerate(row)] for row in rows]
    elif how == 3:
        rows = [[*row, *[b"c%d" % number if not place else b"" for number in range(10_000)]] for place, row in enumerate(rows)]
    elif how == 4:
        rows = [row[: rng.randrange(1, len(row) + 2)] for row in rows]
    elif how == 5:
        rows[rng.randrange(len(rows))].append(b"," * 10_000)
    elif how == 6:
        rows[rng.randrange(len(rows))][0] = b"x" * 200_000
    elif how == 7:
        rows[rng.randrange(len(rows))][0] = b'"' + b"y, " * 70_000 + b'"'
    else:
        rows[0] = [b"" if rng.random() < 0.5 else name for name in rows[0]]
    return b"\n".join(b",".join(row) for row in rows)


VALUES = [
    "nan",
    "inf",
    "-inf",
    "+nan",
    "1e400",
    "1e308",
    "-1e308",
    "1e-320",
    "0",
    "-1",
    "-0.0",
    "0.0",
    "true",
    "false",
    '""',
    '" "',
    '"nan"',
    '"1:60"',
    '"level"',
    '"1:1e999"',
    "[]",
    "[[]]",
    "[[[]]]",
    "[nan, inf]",
    "[1e308, -1e308]",
    "[1, 2, 3]",
    "{}",
    "{a = 1}",
    "[{}]",
    "1979-05-27",
    "1979-05-27T07:32:00Z",
    "07:32:00",
    "0x10",
    "0o7",
    "0b1",
    "1_000",
    "9" * 400,
    "-" + "9" * 400,
    "9" * 5000,
    '"""\nlong\n"""',
    "'''x'''",
    '"\\u202e"',
    '"\\u0000"',
    '"<img src=x onerror=alert(1)>"',
    '"$\\\\frac{$"',
    '"' + "x" * 10_000 + '"',
    '"C1"',
    '["C1"]',
    '["C1", "C1", "C1"]',
    '[["C1", "C2"]]',
    '["C1", 3]',
    '"plane"',
    '"channel"',
    '"outlet"',
    '"dpc"',
    '"corner"',
    '"ground"',
    '"="',
    "[" * 40 + "]" * 40,
    "[" * 3000 + "]" * 3000,
    "[[0,0],[1,1],[0,1],[1,0]]",
    "[[0,0],[0,0],[0,0]]",
    "[[0,0],[1e-9,0],[0,1e-9]]",
    "[[0,0],[9e6,0],[0,9e6]]",
    "[[nan,0],[1,0],[0,1]]",
    "[[0,0,0],[1,0,0],[0,1,0]]",
    '[[true, "C1"]]',
    "[[10, 12.7]]",
    "1" + "0" * 6,
    "9999999",
    "1e-9",
]
HEADS = [
    "[a]",
    "[[a]]",
    "[job]",
    "[[job]]",
    "[area]",
    "[[layer]]",
    "[layer]",
    "[[wall]]",
    "[wall.x]",
    "[[demand]]",
    "[demand.kind]",
    "[finish]",
    "[" + ".".join("abcdefgh" * 200) + "]",
    "[[variant]]",
    "[[variant.demand]]",
    "[errors]",
    "[screed]",
    "[laid]",
    "[units]",
    "[rain]",
    "[soakaway]",
    "[[post]]",
    "[[hole]]",
    "[[footing]]",
    "[old_floor]",
    "[taking_up]",
    "[instrument]",
    "[survey]",
    "[format]",
    "['']",
    '["\\u0000"]',
    "[setting_out]",
]

DOTTED = ["a.b.c", "name.x", '""', "wall", "job.name", "x" * 5000, "a" + ".a" * 2000]


def value(rng: random.Random, content: bytes) -> bytes:
    """The value of a key of TOML replaced, its key kept."""
    parts = content.decode("utf-8", "replace").split("\n")
    keyed = [number for number, line in enumerate(parts) if re.match(r"\s*[\w\"'.-]+\s*=", line)]
    for _ in range(rng.choice((1, 1, 1, 2))):
        if keyed:
            number = rng.choice(keyed)
            parts[number] = parts[number].split("=", 1)[0] + "= " + rng.choice(VALUES)
    return "\n".join(parts).encode()


def key(rng: random.Random, content: bytes) -> bytes:
    """Keys and headings of TOML renamed, dotted, doubled, put in."""
    parts = content.decode("utf-8", "replace").split("\n")
    known = [line for line in parts if "=" in line or line.startswith("[")] or [""]
    at, how = rng.randrange(len(parts)), rng.randrange(6)
    if how == 0:
        parts.insert(at, rng.choice(HEADS))
    elif how == 1:
        parts.insert(at, rng.choice(known))
    elif how == 2:
        parts.insert(at, f"{rng.choice(DOTTED)} = {rng.choice(VALUES)}")
    elif how == 3:
        parts[at] = parts[at].replace("=", ".x =", 1)
    elif how == 4:
        parts.append("\n".join(f"k{number} = {number}" for number in range(10_000)))
    else:
        where = rng.choice(("wall", "layer", "demand", "post", "hole", "footing", "variant"))
        parts.append(
            f"[[{where}]]\n"
            + "\n".join(
                f"{name} = {rng.choice(VALUES)}"
                for name in rng.sample(
                    [
                        "name",
                        "first",
                        "second",
                        "dpc_m",
                        "thickness_mm",
                        "kind",
                        "wall",
                        "least_mm",
                        "points",
                        "least",
                        "most",
                        "at",
                        "size_mm",
                        "corners_m",
                        "top_m",
                        "price",
                        "density_kg_m3",
                        "loose",
                        "mix",
                        "waste_percent",
                    ],
                    5,
                )
            )
        )
    return "\n".join(parts).encode()


BYTES: list[Spoil] = [flip, cut, insert, lines, recode]
TABLE: list[Spoil] = [*BYTES, cell, cell, cell, columns]
TOML: list[Spoil] = [*BYTES, value, value, value, value, key, key]


def spoilt(rng: random.Random, content: bytes, ways: list[Spoil]) -> bytes:
    """The content, spoilt once, or now and then more often."""
    for _ in range(rng.choice((1, 1, 1, 2, 3))):
        content = rng.choice(ways)(rng, content)[:3_000_000]
    return content
