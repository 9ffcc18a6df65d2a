"""A table that is typed into, Tab to the next cell, Enter to the next row; and quiet for the keys of a form."""

from __future__ import annotations

import csv
import io
from pathlib import Path
from typing import Any

import anywidget
import ipywidgets as widgets
import traitlets

from ...errors import SurveyError

_HERE = Path(__file__).parent
LONGEST = 100_000  # signs that are pasted at once


class Grid(anywidget.AnyWidget):
    """Rows of cells to type into, with worked-out cells beside them and sentences under the rows that need one.

    `cells` are rows of texts under `headings`, `worked` rows of texts under `worked_headings`; `marks` are dicts of row,
    column (-1 for the row), said, doubt; `row` is the one that was last typed into; rows and columns count from 0. Columns that
    are `locked` cannot be typed into, and a grid that has some grows no row below its last. Each cell that was changed comes as
    a message: a dict of row, column, value, paste (true for a block of cells) and count; `received` is the count of the last
    that arrived, so that the browser notices a kernel that is gone.
    """

    _esm = _HERE / "grid.js"
    headings = traitlets.List(traitlets.Unicode()).tag(sync=True)
    widths = traitlets.List(traitlets.Int()).tag(sync=True)
    cells = traitlets.List(traitlets.List(traitlets.Unicode())).tag(sync=True)
    locked = traitlets.List(traitlets.Int()).tag(sync=True)
    worked_headings = traitlets.List(traitlets.Unicode()).tag(sync=True)
    worked = traitlets.List(traitlets.List(traitlets.Unicode())).tag(sync=True)
    marks = traitlets.List(traitlets.Dict()).tag(sync=True)
    row = traitlets.Int(0).tag(sync=True)
    received = traitlets.Int(0).tag(sync=True)

    def __repr__(self) -> str:
        return f"Grid of {len(self.cells)} rows"

    def heard(self, content: dict[str, Any], deep: int, wide: int) -> tuple[int, int, list[list[str]]]:
        """The row and the column that a message of the browser is about, and the cells typed or pasted from there on.

        Raises SurveyError where it begins outside so many rows and columns, or is too long to be typed or pasted by a person.
        """
        row, column, value, count = (content.get(name) for name in ("row", "column", "value", "count"))
        self.received = max(self.received, count if isinstance(count, int) else 0)
        if not (isinstance(row, int) and isinstance(column, int) and isinstance(value, str)
                and 0 <= row < deep and 0 <= column < wide):
            raise SurveyError("a cell was typed that the grid does not have", remedy="Choose Run, then Run All Cells.")
        if len(value) > LONGEST:
            raise SurveyError("the block is too long for the grid", remedy="Paste it into the box above or below the grid.")
        block = csv.reader(io.StringIO(value, newline=""), delimiter="\t")
        return row, column, [*block] if content.get("paste") else [[value]]

    def typed(self, row: int, column: int, value: str, *, paste: bool = False) -> None:
        """What a person does who types into a cell and leaves it, for scripts and tests."""
        message: dict[str, Any] = {"row": row, "column": column, "value": value, "paste": paste, "count": self.received + 1}
        self._handle_custom_msg(message, [])


class Quiet(anywidget.AnyWidget):
    """Keeps keys that are typed on the lists and buttons of the form around it from being taken for JupyterLab's commands."""

    _esm = _HERE / "quiet.js"

    def __init__(self) -> None:
        super().__init__(layout=widgets.Layout(width="0", height="0", margin="0"))
