"""The level book as it was booked, and how much misclosure it is allowed."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from numbers import Real
from types import MappingProxyType
from typing import Literal

import pandas as pd

from ..errors import SurveyError
from ..wording import html_table


@dataclass(frozen=True)
class Allowance:
    """How much misclosure is allowed: `coefficient` × √n, n set-ups or kilometres of sights.

    `coefficient` in m; `per` is "setups" or "km"; `source` says where it comes from.
    """

    coefficient: float
    per: Literal["setups", "km"]
    source: str

    def of(self, count: float) -> float:
        """The allowance in m for so many set-ups or kilometres."""
        return self.coefficient * math.sqrt(count)


_UTM = "Universiti Teknologi Malaysia, SKAA 1023 supplementary reading, Levelling part 3"
_EM = "US Army Corps of Engineers EM 1110-1-1005, from memory: check before use"
ALLOWANCES = {
    "ordinary": Allowance(0.005, "setups", f"{_UTM}: 5 mm × √set-ups, as in its example"),
    "steel and concrete": Allowance(0.003, "setups", f"{_UTM}: steel and concrete, 3 mm × √set-ups"),
    "earthworks": Allowance(0.030, "setups", f"{_UTM}: earthworks, 30 mm × √set-ups"),
    "third order": Allowance(0.012, "km", f"{_EM}: third order, 12 mm × √km"),
    "construction layout": Allowance(0.024, "km", f"{_EM}: construction layout, 24 mm × √km"),
}
"""Allowances by name; "ordinary" is used where none is chosen."""


@dataclass(frozen=True)
class Row:
    """One row of a level book, lengths in m; an empty cell is None, `number` counts from 1 under the headings.

    `sight` is the length of the row's `is` or `fs`, `sight_back` of its `bs`.
    """

    number: int
    point: str
    bs: float | None = None
    is_: float | None = None
    fs: float | None = None
    x: float | None = None
    y: float | None = None
    rl: float | None = None
    hand_level: float | None = None
    sight: float | None = None
    sight_back: float | None = None
    feature: str = ""
    wall: str = ""
    remarks: str = ""


@dataclass(frozen=True, eq=False)
class LevelBook:
    """A level book as booked, in m. Made by `read_book`.

    `doubts` are sentences on values that are possible but questionable; `hand_digit` is the last digit, in m, to which
    the column hand_level was written.
    """

    rows: tuple[Row, ...]
    doubts: tuple[str, ...] = ()
    hand_digit: float = 0.001
    source: str = ""

    @property
    def table(self) -> pd.DataFrame:
        """A new table of the rows as booked, in m."""
        names = ("point", "feature", "x", "y", "bs", "is", "fs", "rl", "hand_level", "sight", "wall", "remarks")
        columns = {name: [getattr(row, "is_" if name == "is" else name) for row in self.rows] for name in names}
        table = pd.DataFrame(columns, index=pd.Index([row.number for row in self.rows], name="row"))
        return table.astype(dict.fromkeys(("x", "y", "bs", "is", "fs", "rl", "hand_level", "sight"), float))

    @cached_property
    def known(self) -> Mapping[str, float]:
        """Known levels in m by point."""
        return MappingProxyType({row.point: row.rl for row in self.rows if row.rl is not None})

    def with_known(self, point: str, level: float) -> LevelBook:
        """The same book with the level of `point`, in m, taken as known.

        Raises SurveyError if no row has that point.
        """
        if point not in {row.point for row in self.rows}:
            raise SurveyError(f"no row of the book has the point {point!r}", remedy="Choose one that was read.")
        if not isinstance(level, Real) or not math.isfinite(level):
            raise SurveyError(f"the level of {point} is {level!r}", rule="It must be a finite number in m.")
        rows = tuple(replace(row, rl=level) if row.point == point else row for row in self.rows)
        return replace(self, rows=rows)

    def __repr__(self) -> str:
        return f"LevelBook of {len(self.rows)} rows"

    def _repr_html_(self) -> str:
        return html_table(self.table, index=True)
