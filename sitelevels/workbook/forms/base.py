"""What all forms share: a place for messages, refusals in sentences, and pictures that follow without flicker."""

from __future__ import annotations

import io
import math
from collections.abc import Callable, Iterable
from html import escape
from pathlib import Path
from threading import RLock
from typing import Any, ClassVar
from urllib.parse import quote

import ipywidgets as widgets
import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.image import imsave
from traitlets import Float, validate

from ...errors import SurveyError
from ...survey.cells import number_of
from ...wording import word_number
from ..figures import style
from ..job import DEMONSTRATIONS, Job
from .grid import Quiet
from .terms import Terms

# Of the theme, and mixed with the colour of its text: alone they are too faint on white to be read by all.
GOOD, BAD, CLOSE = (f"color-mix(in srgb, var(--jp-{name}, {else_}) {share}%, var(--jp-content-font-color0, #000))"
                    for name, else_, share in (("success-color1", style.MET, 75), ("error-color1", style.NOT_MET, 85),
                                               ("warn-color0", style.TOO_CLOSE, 75)))
_MOST = 40  # sentences at once
_TURN = RLock()  # what a page sends may come in on two threads, and no form is made to be used by both at once
WIDE = widgets.Layout(width="auto", min_width="22em")


class Form(widgets.VBox):  # type: ignore[misc]
    """A form over a job. `job` is the job as last opened or saved by any form of this notebook.

    Two forms of one notebook change the same files; each must start from what the other saved. `terms` are the words of the
    glossary that a form uses, to be asked for at its foot.
    """

    terms: ClassVar[tuple[str, ...]] = ("level", "reading", "HPC", "rise", "fall")
    _saved: ClassVar[dict[Path, Job]] = {}
    _foot: tuple[widgets.Widget, ...] = ()

    def __init__(self, job: Job | None) -> None:
        super().__init__()
        self._foot = (*([Terms(self.terms)] if self.terms else []), Quiet())  # one of each: making them takes the browser long
        self._folder = job.folder.resolve() if job else None
        if job and self._folder and not self._newer(job):
            self._saved[self._folder] = job
        self.message = widgets.HTML()

    @validate("children")
    def _with_foot(self, proposal: dict[str, Any]) -> tuple[widgets.Widget, ...]:
        """Whatever a form holds, its words can be asked for at its foot, and its keys stay in it."""
        return (*(child for child in proposal["value"] if not isinstance(child, (Quiet, Terms))), *self._foot)

    def _newer(self, job: Job) -> bool:
        """Whether a form of this notebook saved what is on the disk now, and `job` was opened before that."""
        saved = self._saved.get(job.folder.resolve())
        return saved is not None and job.folder.exists() and saved.is_as_on_disk() and not job.is_as_on_disk()

    def __repr__(self) -> str:
        return f"{type(self).__name__} for {self.job.folder.name}" if self.job else type(self).__name__

    @property
    def job(self) -> Job | None:
        """The job as last opened or saved."""
        return self._saved[self._folder] if self._folder else None

    def attempt(self, act: Callable[[], Any]) -> Any:
        """What `act` gives; what it refuses is shown as sentences, and None given back."""
        try:
            with _TURN:
                return act()
        except SurveyError as error:
            self.refuse(error.problems)
        except Exception as error:  # a form never shows a traceback; whatever this is, it is ours
            self.refuse((f"The workbook itself has failed ({type(error).__name__}: {error}). Nothing was saved. "
                         "Please keep what you typed, and tell whoever looks after this workbook.",))
        return None

    def refuse(self, problems: tuple[str, ...]) -> None:
        """Show what is wrong, a line each."""
        self.message.value = f"<ul role='alert' style='color:{BAD}'>{listed(_few(problems))}</ul>"

    def question(self, doubts: tuple[str, ...]) -> None:
        """Show what is possible but doubtful, a line each."""
        bar = f"border-left:4px solid var(--jp-warn-color1, {style.NOT_MET})"
        self.message.value = f"<ul role='alert' style='{bar}'>{listed(_few(doubts))}</ul>"

    def say(self, sentence: str) -> None:
        """Show that something went well."""
        self.message.value = f"<p role='status' style='color:{GOOD}'>{escape(sentence)}</p>"

    def needed(self) -> Job:
        """The job of a form that cannot be without one."""
        assert self.job is not None
        return self.job

    def save(self, said: str, *, since: Job | None = None, **texts: str) -> bool:
        """Save changed files of the job as it was `since`, and say so. The demonstration stays as it is."""
        if self.needed().folder.name in DEMONSTRATIONS:
            self.refuse(("Nothing was saved: the demonstration stays as it is. In notebook 0-start, start a job of your own from "
                         "it, and change that.",))
            return False
        saved = self.attempt(lambda: (since or self.needed()).saved(**texts))
        if saved is None:
            return False
        self._saved[saved.folder.resolve()] = saved
        self.say(said)
        return True

    def change_brief(self, changed: Callable[[], str], said: str = "Saved. Choose Run, then Run All Cells.") -> bool:
        """Save the text of the brief that `changed` makes, and say so; what it refuses is shown."""
        text = self.attempt(changed)
        return text is not None and self.save(said, brief_text=text)


def _typed(text: str, field: Number) -> float:
    """What is typed, a comma being a point; not a number where it is none, and the text is kept."""
    field.typed = text
    number = number_of(text.strip())
    return number if number is not None and math.isfinite(number) else math.nan


class Number(widgets.Text):  # type: ignore[misc]
    """A number to type, with a point or a comma: a browser's own field for numbers drops the comma without a word."""

    value = Float(0.0).tag(sync=True, from_json=_typed,
                           to_json=lambda number, field: field.typed if math.isnan(number) else word_number(number, figures=9))
    typed = ""

    def __init__(self, value: float, **more: Any) -> None:
        super().__init__(value=value, continuous_update=False, **more)

    @property
    def number(self) -> float:
        """The number typed, in the unit that the field names. Raises SurveyError where it is none."""
        if not math.isfinite(self.value):
            typed = self.typed if math.isnan(self.value) else self.value
            raise SurveyError(f"{typed!r} in the field {self.description!r} is not a number",
                              rule="It is written with digits and one point or comma, without its unit.")
        return float(self.value)


def wide(width: str, about: str = "initial") -> dict[str, Any]:
    """How wide a control is, never wider than the page, and how wide the words before it."""
    return {"layout": widgets.Layout(width=width, max_width="99%"), "style": {"description_width": about}}


def heed(act: Callable[[], Any], *controls: widgets.Widget) -> None:
    """Act whenever one of the controls is changed."""
    for control in controls:
        control.observe(lambda _: act(), "value")


def listed(sentences: Iterable[str]) -> str:
    """Sentences as the lines of a list."""
    return "".join(f"<li>{escape(one)}</li>" for one in sentences)


def _few(sentences: tuple[str, ...]) -> list[str]:
    """The sentences, cut where nobody would read on."""
    more = len(sentences) - _MOST
    return [*sentences[:_MOST], *([f"{more} more like these."] if more > 0 else [])]


def paragraphs(sentences: Iterable[str]) -> str:
    """Sentences as paragraphs."""
    return "".join(f"<p>{escape(one)}</p>" for one in sentences)


def link(place: str, words: str) -> str:
    """A link to a file below the folder of the workbook, beside which the notebooks lie."""
    return f"<a href='../{quote(place)}' target='_blank'>{escape(words)}</a>"


def button(words: str, act: Callable[[], Any]) -> widgets.Button:
    """A button with plain words."""
    made = widgets.Button(description=words, layout=widgets.Layout(width="fit-content", min_width="8em"))

    def pressed(_: widgets.Button) -> None:
        with _TURN:
            act()
    made.on_click(pressed)
    return made


def row(*controls: widgets.Widget) -> widgets.HBox:
    """Controls side by side, on more lines where the page is narrow."""
    return widgets.HBox(controls, layout=widgets.Layout(flex_flow="row wrap"))


def scrolled(html: str, tall: int = 24) -> str:
    """HTML in a box that scrolls and makes nothing beside it wider, its lines as close as those of a table elsewhere."""
    return f"<div style='max-height:{tall}em;overflow:auto;line-height:1.5;width:0;min-width:100%'>{html}</div>"


class Sketch:
    """A picture drawn off screen again and again, as a slider moves.

    Making axes and drawing their numbers takes longer than all the rest: the axes stay, and so does what was drawn of them
    until their ends or their names change.
    """

    def __init__(self, size: tuple[float, float], bottom: float = 0.13) -> None:
        self.figure = Figure(figsize=size, dpi=100)
        self.figure.subplots_adjust(left=0.09, right=0.98, bottom=bottom, top=0.83)  # fixed: no layout has to be worked out
        self.canvas: Any = FigureCanvasAgg(self.figure)
        self.ax: Axes = self.figure.add_subplot()
        self.framed: tuple[Any, ...] = ()

    def _artists(self) -> list[Artist]:
        ax = self.ax
        return sorted((*ax.collections, *ax.lines, *ax.patches, *ax.texts), key=lambda artist: artist.get_zorder())

    def draw(self, draw: Callable[[Axes], Any]) -> None:
        """Draw anew."""
        ax = self.ax
        while artists := (*ax.collections, *ax.lines, *ax.patches, *ax.texts):
            artists[0].remove()  # contours first: they take their labels with them
        draw(ax)
        framed = (*ax.get_xlim(), *ax.get_ylim(), ax.get_title(loc="left"), ax.get_xlabel(), ax.get_ylabel())
        if framed != self.framed:
            for artist in self._artists():
                artist.set_animated(True)
            self.canvas.draw()
            self.frame, self.framed = self.canvas.copy_from_bbox(self.figure.bbox), framed
        self.canvas.restore_region(self.frame)
        for artist in self._artists():
            ax.draw_artist(artist)

    def png(self) -> bytes:
        """What is drawn, as PNG."""
        buffer = io.BytesIO()
        imsave(buffer, np.asarray(self.canvas.buffer_rgba()), format="png", pil_kwargs={"compress_level": 1})
        return buffer.getvalue()
