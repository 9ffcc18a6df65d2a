"""Books of no rows, of one, and of a million: read, or refused in sentences, in a stated time and room."""

from __future__ import annotations

import time
import tracemalloc
from typing import Any

from ledger import Ledger, SlippedError, quiet

from sitelevels import mark_book, practice_book, read_book, reduce_book
from sitelevels.design.brief_file import read_brief
from sitelevels.survey.tape import places_from_ties

HEADS = "point,bs,is,fs,rl"
SMALL: dict[str, str] = {
    "nothing": "",
    "a blank line": "\n",
    "only blank lines": "\n \n\t\n\r\n" * 50,
    "only a mark of the byte order": "\ufeff",
    "only a note": "# none\n",
    "only headings": HEADS + "\n",
    "headings without an end": HEADS,
    "headings twice": f"{HEADS}\n{HEADS}\n",
    "empty cells": f"{HEADS}\n,,,,\n,,,,\n",
    "one row": f"{HEADS}\nBM,1.5,,,10\n",
    "one row with a reading alone": f"{HEADS}\nA,,1.5,,\n",
    "one cell": "point",
    "one number": "1.5\n",
    "one row of a plain list": "point,reading\nA,1.5\n",
    "one comma": ",\n",
    "a quotation mark": '"\n',
    "two rows": f"{HEADS}\nBM,1.5,,,10\nA,,1.2,,\n",
    "blank lines between": f"\n\n{HEADS}\n\n\nBM,1.5,,,10\n\n\nBM,,,1.5,\n\n",
}


def attack_small() -> Ledger:
    """Files of nothing and of next to nothing, to every reader of text."""
    ledger = Ledger("empty files and files of one row")
    exercise = practice_book(1)
    readers: list[tuple[str, Any]] = [
        ("book", lambda text: reduce_book(read_book(text + "\n"))),
        ("brief.toml", read_brief),
        ("ties.csv", lambda text: places_from_ties(text, {"A": (0.0, 0.0), "B": (1.0, 0.0)})),
        ("page", lambda text: mark_book(exercise, text)),
    ]
    for name, text in SMALL.items():
        for reader, read in readers:
            ledger.attempt(f"{reader}: {name}", lambda read=read, text=text: read(text))
    return ledger


def book_of(rows: int) -> str:
    """A book of one set-up with so many rows."""
    lines = ["point,bs,is,fs,x,y,rl", "BM,1.500,,,,,10.000"]
    lines += [f"P{number},,{1.2 + number % 400 / 1000:.3f},,{number % 1000},{number // 1000}," for number in range(rows - 2)]
    return "\n".join([*lines, "BM,,,1.500,,,"]) + "\n"


def attack_large(rows: int) -> Ledger:
    """A book of very many rows: how long, and how much room."""
    ledger = Ledger(f"a level book of {rows:,} rows")
    text = book_of(rows)

    def act() -> None:
        with quiet():
            started = time.process_time()
            book = read_book(text)
            between = time.process_time()
            reduced = reduce_book(book)
            ended = time.process_time()
        if len(book.rows) != rows or abs(reduced.level("P0") - 10.3) > 1e-9:
            raise SlippedError("rows were lost")
        ledger.note = f"read in {between - started:.1f} s, reduced in {ended - between:.1f} s of computing"

    ledger.attempt(f"{rows:,} rows", act)
    part = book_of(max(rows // 20, 10))
    tracemalloc.start()
    with quiet():
        reduce_book(read_book(part))
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    ledger.note += (
        f"; {peak / max(rows // 20, 10) / 1000:.1f} kB of memory a row at most (measured on {max(rows // 20, 10):,} rows)"
    )
    return ledger
