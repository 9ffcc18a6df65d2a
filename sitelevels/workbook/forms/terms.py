"""What a word means, asked for at the foot of a form."""

from __future__ import annotations

from html import escape

import ipywidgets as widgets

from ...teaching.glossary import meaning

_NONE = "choose a word"


def explained(word: str) -> str:
    """A word of the glossary and what it means, as HTML."""
    return f"<p role='status' style='line-height:1.4;margin:0.3em 0'><b>{escape(word)}</b>: {escape(meaning(word))}</p>"


class Terms(widgets.HBox):  # type: ignore[misc]
    """A folded list of words; what the chosen one means stands beside it, or under it where the page is narrow."""

    def __init__(self, words: tuple[str, ...]) -> None:
        self.list = widgets.Dropdown(options=[_NONE, *sorted(words, key=str.casefold)], description="What does it mean?",
                                     style={"description_width": "initial"}, layout=widgets.Layout(width="24em", max_width="99%"))
        self.said = widgets.HTML(layout=widgets.Layout(flex="1 1 20em", min_width="0"))
        super().__init__([self.list, self.said], layout=widgets.Layout(flex_flow="row wrap"))
        self.list.observe(lambda _: self.tell(), "value")

    def tell(self) -> None:
        """Show what the chosen word means, or nothing."""
        self.said.value = "" if self.list.value in (None, _NONE) else explained(self.list.value)
