"""A table that is typed into: Tab to the next cell, Enter to the next row."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import anywidget
import traitlets


class Grid(anywidget.AnyWidget):
    """Rows of cells to type into, with worked-out cells beside them and sentences under the rows that need one.

    `cells` are rows of texts under `headings`, `worked` rows of texts under `worked_headings`; `marks` are dicts of row,
    column (-1 for the row), said, doubt; rows and columns count from 0. Each cell that was changed comes as a message: a dict of
    row, column, value, and paste, which is true for a block of cells.
    """

    _esm = Path(__file__).with_name("grid.js")
    headings = traitlets.List(traitlets.Unicode()).tag(sync=True)
    widths = traitlets.List(traitlets.Int()).tag(sync=True)
    cells = traitlets.List(traitlets.List(traitlets.Unicode())).tag(sync=True)
    worked_headings = traitlets.List(traitlets.Unicode()).tag(sync=True)
    worked = traitlets.List(traitlets.List(traitlets.Unicode())).tag(sync=True)
    marks = traitlets.List(traitlets.Dict()).tag(sync=True)

    def __repr__(self) -> str:
        return f"Grid of {len(self.cells)} rows"

    def typed(self, row: int, column: int, value: str, *, paste: bool = False) -> None:
        """What a person does who types into a cell and leaves it, for scripts and tests."""
        message: dict[str, Any] = {"row": row, "column": column, "value": value, "paste": paste}
        self._handle_custom_msg(message, [])
