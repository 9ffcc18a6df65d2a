"""A table that is typed into, Tab to the next cell, Enter to the next row; and quiet for the keys of a form."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import anywidget
import ipywidgets as widgets
import traitlets

_HERE = Path(__file__).parent


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

    def typed(self, row: int, column: int, value: str, *, paste: bool = False) -> None:
        """What a person does who types into a cell and leaves it, for scripts and tests."""
        message: dict[str, Any] = {"row": row, "column": column, "value": value, "paste": paste, "count": self.received + 1}
        self._handle_custom_msg(message, [])


class Quiet(anywidget.AnyWidget):
    """Keeps keys that are typed on the lists and buttons of the form around it from being taken for JupyterLab's commands."""

    _esm = _HERE / "quiet.js"

    def __init__(self) -> None:
        super().__init__(layout=widgets.Layout(width="0", height="0", margin="0"))
