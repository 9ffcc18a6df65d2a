"""Sentences and tables of words in a notebook, set like the text around them."""

from __future__ import annotations

from html import escape
from typing import Any

import pandas as pd

from ..teaching.glossary import GLOSSARY
from ..wording import html_table, text_table, word_mm


class Shown:
    """Something for a notebook to show, as HTML and as plain text."""

    def __init__(self, html: str, text: str) -> None:
        self._html, self._text = html, text

    def __repr__(self) -> str:
        return self._text

    def _repr_html_(self) -> str:
        return self._html


def say(*sentences: str) -> None:
    """Show `sentences` in a notebook, a paragraph each. No numbers; nothing is refused: whatever is said stands as text."""
    from IPython.display import display
    display(Shown("".join(f"<p>{escape(sentence)}</p>" for sentence in sentences), "\n".join(sentences)))  # type: ignore[no-untyped-call]


def shown_or(result: Any, sentence: str) -> Any:
    """A `result`, a table as words, or a `sentence` where there is none. No numbers. Nothing is refused."""
    if isinstance(result, pd.DataFrame):
        return words_table(result)
    return Shown(f"<p>{escape(sentence)}</p>", sentence) if result is None else result


def units_table(table: pd.DataFrame, **units: str) -> Shown:
    """A `table` with the unit in the heading of each column named in `units`, in mm (from m), mm/m (from m/m) or as it stands.

    Refuses (KeyError) a column for mm or mm/m that the table has not.

    >>> units_table(pd.DataFrame({"gap": [0.0042]}), gap="mm")
    gap, mm
        4.2
    """
    shown = table.copy()
    for name, unit in units.items():
        if unit in ("mm", "mm/m"):
            shown[name] = [word_mm(value, digits=1).removesuffix(" mm") for value in shown[name]]
    return words_table(shown.rename(columns={name: f"{name}, {unit}" for name, unit in units.items()}))


def words_table(table: pd.DataFrame) -> Shown:
    """A `table` of words, ranged left and never cut short. No numbers. Nothing is refused."""
    return Shown(html_table(table, words=True), text_table(table))


def glossary_table() -> Shown:
    """Every word of the glossary and what it means. No numbers. Nothing is refused."""
    table = html_table(pd.DataFrame(GLOSSARY.items(), columns=["word", "meaning"]), words=True)
    return Shown(table, "\n".join(f"{word}: {said}" for word, said in GLOSSARY.items()))
