"""The words of the trade and of this workbook: type one, or choose it, and read what it means."""

from __future__ import annotations

import ipywidgets as widgets

from ...teaching.glossary import GLOSSARY, is_begun, meaning, words_like
from .base import Form, heed, wide
from .terms import explained


class WordsForm(Form):
    """A field to type a word into, the words that it may be, and what the chosen one means."""

    terms = ()

    def __init__(self) -> None:
        super().__init__(None)
        self.word = widgets.Text(description="Word", placeholder="such as HPC", **wide("24em", "7em"))
        self.list = widgets.Select(options=list(GLOSSARY), value=None, rows=10, description="All words",
                                   **wide("24em", "7em"))
        self.said = widgets.HTML(layout=widgets.Layout(flex="1 1 20em", min_width="0"))
        found = widgets.HBox([self.list, self.said], layout=widgets.Layout(flex_flow="row wrap"))
        self.children = [self.word, found, self.message]
        heed(self.look_up, self.word)
        heed(self.tell, self.list)

    def look_up(self) -> None:
        """List the words that may be meant by what is typed; one that it begins is chosen, else it is said that none is."""
        typed, self.message.value = self.word.value, ""
        found = self.attempt(lambda: words_like(typed)) or ()
        self.list.options = found
        self.list.description = "Words like it" if typed.strip() else "All words"
        begun = found[:1] if is_begun(typed) else ()
        self.list.value = next(iter(begun), None)
        if typed.strip() and not begun:
            self.attempt(lambda: meaning(typed))
        self.tell()

    def tell(self) -> None:
        """Show what the chosen word means."""
        self.said.value = explained(self.list.value) if self.list.value else ""
