"""The level book as it was booked, and how much misclosure it is allowed."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from types import MappingProxyType
from typing import Any, Literal

import pandas as pd

from ..errors import SurveyError, finite, plainly
from ..wording import html_table, word_exactly, word_level
from .cells import csv_line, safe

METRES_PER = {"m": 1.0, "cm": 0.01, "mm": 0.001, "ft": 0.3048}
"""Lengths in m of the units that may come in; the foot is the international foot, decimal."""

FEATURES = ("ground", "corner", "dpc", "threshold", "edge", "buried", "gully", "cover", "airbrick", "benchmark",
            "instrument", "line")
"""What a point can be; an empty cell is an ordinary spot on the ground. A line is one of known level to measure from."""

_READ = ("bs", "is", "fs", "up", "down")

GROUND_FEATURES = ("", "ground", "corner")
"""What lies on the surface of the ground."""


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
"""Allowances by name, in m for one set-up or one kilometre; "ordinary" is used where none is chosen."""


@dataclass(frozen=True)
class Row:
    """One row of a level book, lengths in m; an empty cell is None, `number` counts from 1 under the headings.

    `sight` is the length of the row's `is` or `fs`, `sight_back` of its `bs`. `taped` says that `is_` was taped up (minus) or
    down from the line of sight, without a staff.
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
    taped: bool = False

    @property
    def where(self) -> str:
        """'row 3, point C'."""
        return f"row {self.number}, point {self.point}"

    def cell(self, column: str) -> Any:
        """What stands in a column; None where it is empty, or no field of a row."""
        return getattr(self, "is_" if column == "is" else column, None)

    def readings(self) -> list[tuple[str, float]]:
        """The readings of the row in m with the names of their columns."""
        return [(name, reading) for name in ("bs", "is", "fs") if (reading := self.cell(name)) is not None]


@dataclass(frozen=True)
class Column:
    """A column as it was found: its heading, what it was taken as ("" where it is not used), its unit, its filled cells."""

    heading: str
    name: str
    unit: str
    filled: int = 0


@dataclass(frozen=True, eq=False)
class LevelBook:
    """A level book as booked, in m. Made by `read_book`.

    `doubts` are sentences on values that are possible but questionable; `hand_digit` is the last digit, in m, to which
    the column hand_level was written. `columns` say how the book was understood, `decimal_sign` how its numbers were written.
    """

    rows: tuple[Row, ...]
    doubts: tuple[str, ...] = ()
    hand_digit: float = 0.001
    source: str = ""
    columns: tuple[Column, ...] = ()
    decimal_sign: str = "."

    @property
    def understood(self) -> pd.DataFrame:
        """A new table of how the book was understood: heading, taken as, unit, filled cells, the number of them."""
        lines = [(one.heading, one.name or "not used", one.unit, one.filled) for one in self.columns]
        if self.decimal_sign == ",":
            lines.append(("(in numbers)", "decimal commas", "", sum(one.filled for one in self.columns if one.unit)))
        return pd.DataFrame(lines, columns=["heading", "taken as", "unit", "filled cells"])

    @property
    def known_words(self) -> str:
        """Which levels are taken as known, in a sentence, and where they stand."""
        told: dict[str, str] = {}
        for row in self.rows:
            if row.rl is not None:
                told.setdefault(row.point, f"{row.point} {word_level(row.rl)} (row {row.number})")
        return plainly(f"Taken as known: {', '.join(told.values())}.") if told else "No level is known."

    def unit_of(self, name: str) -> str:
        """The unit in which a column was written, or would be beside the others."""
        others = {"hand_level": ("rl",), "rl": ()}.get(name, ("reading", "bs", "is", "fs", "up", "down") if name in _READ else ())
        return next((one.unit for other in (name, *others) for one in self.columns if one.name == other), "m")

    @property
    def text(self) -> str:
        """The book as CSV text that `read_book` reads back the same, each length in the unit it was booked in.

        No cell of it is run as a formula by a spreadsheet.
        """
        lengths, words = (*_READ, "rl", "hand_level", "x", "y", "sight"), ("feature", "wall", "remarks")
        units = {name: self.unit_of(name) for name in lengths}
        per = {name: METRES_PER[unit] for name, unit in units.items()}
        lines = [csv_line(["point", *(f"{name} ({unit})" for name, unit in units.items()), *words])]
        for row in self.rows:
            lines += ["," * (len(lengths) + len(words))] * (row.number - len(lines))  # empty rows keep the numbers
            values = {name: row.cell(name) for name in lengths}
            if row.taped and row.is_ is not None:
                values |= {"is": None, "up": -row.is_} if row.is_ < 0 else {"is": None, "down": row.is_}
            if row.feature == "line" and row.readings() == [("bs", 0.0)]:
                values["bs"] = None  # so it is read: a line needs no reading
            cells = {name: "" if value is None else word_exactly(value, per[name]) for name, value in values.items()}
            if row.hand_level is not None:
                cells["hand_level"] = word_exactly(row.hand_level, per["hand_level"], digit=self.hand_digit)
            if row.sight != row.sight_back:
                cells["sight"] += "/" + ("" if row.sight_back is None else word_exactly(row.sight_back, per["sight"]))
            lines.append(csv_line([safe(row.point), *cells.values(), *(safe(getattr(row, name)) for name in words)]))
        return "\n".join(lines) + "\n"

    @property
    def table(self) -> pd.DataFrame:
        """A new table of the rows as booked, in m."""
        names = ("point", "feature", "x", "y", "bs", "is", "fs", "rl", "hand_level", "sight", "wall", "remarks")
        columns = {name: [row.cell(name) for row in self.rows] for name in names}
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
        finite(level, f"the level of {point}", "It must be a finite number in m.")
        return replace(self, rows=tuple(replace(row, rl=level) if row.point == point else row for row in self.rows))

    def with_places(self, places: Mapping[str, tuple[float, float]]) -> LevelBook:
        """The same book with the places of points, in m, where it has none of its own."""
        return replace(self, rows=tuple(replace(row, x=places[row.point][0], y=places[row.point][1])
                                        if row.x is None and row.point in places else row for row in self.rows))

    def __repr__(self) -> str:
        return f"LevelBook of {len(self.rows)} rows"

    def _repr_html_(self) -> str:
        return html_table(self.table, index=True)
