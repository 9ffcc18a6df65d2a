"""The class set: choose what it holds, and write it to print."""

from __future__ import annotations

from html import escape
from pathlib import Path

import ipywidgets as widgets

from ...errors import whole
from ...teaching.practice import DIFFICULTIES, KINDS, SLIP_CHOICES
from ..class_set import CLASS_FILES, LAST_SEED, MOST_LEARNERS, save_class_set
from ..folders import data_folder
from .base import Form, Number, button, link, row, wide

FOLDER = "class-set"  # beside the jobs


class ClassSetForm(Form):
    """Seed, learners, kinds, difficulty and slip of a class set; each set has a folder in data/class-set, beside the jobs."""

    terms = ("exercise", "seed", "level book", "slip", "planted", "change point", "two-peg test", "upside down")

    def __init__(self) -> None:
        super().__init__(None)
        self.seed = Number(1, description="Seed", **wide("18em", "9em"))
        self.learners = Number(12, description="Learners", **wide("18em", "9em"))
        self.kinds = widgets.SelectMultiple(options=[*KINDS], value=["change points"], rows=len(KINDS),
                                            description="Kinds, in turn", **wide("18em", "9em"))
        self.difficulty = widgets.Dropdown(options=[*DIFFICULTIES], value="usual", description="Difficulty",
                                           **wide("18em", "9em"))
        self.slip = widgets.Dropdown(options=["none", *SLIP_CHOICES], value="none", description="Planted slip",
                                     **wide("25em", "9em"))
        told = "".join(f"<li><b>{escape(kind)}</b>: {escape(said)}</li>" for kind, said in KINDS.items())
        several = f"<div style='line-height:1.4'>Several kinds: hold Ctrl or Shift; they take turns.<ul>{told}</ul></div>"
        kinds = widgets.HTML(several, layout=widgets.Layout(flex="1 1 20em", min_width="0"))
        self.children = [row(self.seed, self.learners, self.difficulty, self.slip), row(self.kinds, kinds),
                         button("Write the class set", self.write), self.message]

    def write(self) -> None:
        """Write exercises.pdf, answers.pdf and outdoor.pdf."""
        self.say("Writing the class set; this may take a minute …")
        place = self.attempt(self._write)
        if place is None:
            return
        said, folder = ", ".join(CLASS_FILES[:-1]), f"data/{FOLDER}/{place.name}"
        self.say(f"Written into {folder}: {said} and {CLASS_FILES[-1]}. The same seed and choices write the same again.")
        self.message.value += f"<p>{' · '.join(link(f'{folder}/{name}', name) for name in CLASS_FILES)}</p>"

    def _write(self) -> Path:
        seed = whole(_typed(self.seed), "the seed", 0, LAST_SEED)
        learners = whole(_typed(self.learners), "the number of learners", 1, MOST_LEARNERS)
        slip = None if self.slip.value == "none" else self.slip.value
        named = "-".join([str(seed), *self.kinds.value, self.difficulty.value, self.slip.value]).replace(" ", "-")
        return save_class_set(data_folder() / FOLDER / named, seed=seed, learners=learners, kinds=tuple(self.kinds.value),
                              difficulty=self.difficulty.value, slip=slip)


def _typed(field: Number) -> object:
    """What is typed as a whole number; a fraction, and what is no number at all, as it stands."""
    return int(field.value) if float(field.value).is_integer() else field.typed or field.value
