"""One plane by sliders: section, verdicts, volumes and the picture of the choice follow."""

from __future__ import annotations

from dataclasses import replace
from html import escape
from typing import Any

import ipywidgets as widgets

from ...design.brief import Brief
from ...design.brief_file import toml, with_value
from ...design.check import SurfaceVerdicts, check_finish
from ...design.choice import Choice, Choosing
from ...design.demands import Clearance
from ...design.finish_file import at_wall
from ...design.section import cut_section
from ...design.solve import Solution, solve_finish
from ...wording import parse_fall, whole_mm, word_fall, word_level, word_mm, word_number, word_volume
from .. import figures
from ..figures import style
from ..folders import of_the_example
from ..job import Job
from .base import BAD, CLOSE, GOOD, WIDE, Form, Sketch, button, heed, listed, row, scrolled

SLIDER = widgets.Layout(width="34em", max_width="100%")
PICTURE = widgets.Layout(width="760px", max_width="100%", height="auto")
Surface = tuple[float, float, float]


def _slider(said: str, value: float, low: float, high: float, step: float, **more: Any) -> widgets.FloatSlider:
    """A slider that reaches from the lower of two numbers to the higher, or to where it stands."""
    return widgets.FloatSlider(description=said, value=value, min=min(low, value), max=max(high, value), step=step,
                               style={"description_width": "13em"}, **{"layout": WIDE} | more)


class SurfaceForm(Form):
    """Choose the level at the wall, the falls and the clearance asked for; everything else follows."""

    terms = ("along", "away", "clearance", "cut", "demand", "DPC", "fall", "fill", "finish", "level", "limit",
             "margin", "section", "target", "too close to call", "verdict")

    def __init__(self, job: Job) -> None:
        super().__init__(job)
        self.said, self.shown = widgets.HTML(), widgets.HTML()
        self.picture, self.map = (widgets.Image(format="png", layout=PICTURE) for _ in range(2))
        self.children = [self.message]
        self.verdicts: SurfaceVerdicts | None = None
        self.best: Solution | None = None
        self.start: Surface | None = None
        self.moving = False
        self.sketch, self.chart = Sketch((7.6, 3.9)), _Chart()
        self.attempt(self._build)

    def _build(self) -> None:
        job = self.needed()
        wall = job.brief.wall(job.wall_name)
        stations = job.brief.stations(wall)
        dpc = wall.dpc_at(stations[0])
        self.start = job.start
        self.unchosen = ("No surface is chosen yet: the sliders start at the least clearance below the DPC and a fall of 1:60."
                         if "level_at_wall_m" not in job.told.get("finish", {}) else
                         "No surface of your own is chosen yet: this is the example's." if of_the_example(job) else "")
        level, away, along = self._began()
        self.exact = [level, away, along]
        low, high = whole_mm(min(level, dpc - 0.4)), whole_mm(max(level, dpc))
        self.level = _slider("Level at the wall, m", min(max(level, low), high), low, high, 0.001, readout_format=".3f")
        self.away = _slider("Fall away", away * 1000, -10.0, 60.0, 0.1, readout=False, layout=SLIDER)
        self.along = _slider("Fall along", along * 1000, -25.0, 25.0, 0.1, readout=False, layout=SLIDER)
        asked = [one.least for one in job.brief.demands if isinstance(one, Clearance) and one.wall == wall.name]
        self.asked = max(asked, default=0.0)
        self.clearance = _slider("Clearance asked for, mm", self.asked * 1000, 0.0, 300.0, 1.0, readout_format=".0f",
                                 disabled=not asked)
        self.place = _slider("Section at, m along", (stations[0] + stations[-1]) / 2, stations[0], stations[-1], 0.05)
        self.away_words, self.along_words = (widgets.Text(continuous_update=False, layout=widgets.Layout(width="13em"))
                                             for _ in range(2))
        for which, slider, words in ((1, self.away, self.away_words), (2, self.along, self.along_words)):
            words.observe(lambda change, which=which, slider=slider: self.attempt(
                lambda: self._typed_fall(which, slider, change["new"])), "value")
        heed(lambda: self.attempt(self.follow), self.level, self.away, self.along, self.place)
        heed(lambda: self.attempt(self._asked_anew), self.clearance)
        self.children = [self.level, row(self.away, self.away_words), row(self.along, self.along_words), self.clearance,
                         self.place, row(button("Put the sliders at the best surface", self.go_to_best),
                                         button("Save this surface", self.save_surface)),
                         self.message, self.said, self.picture, self.map, self.shown]
        self._asked_anew()

    def _typed_fall(self, which: int, slider: widgets.FloatSlider, words: str) -> None:
        """Take a fall that was typed, e.g. 1:60, and move the slider there; what the form wrote itself is passed over."""
        if words != word_fall(self.chosen()[which]):
            fall = self.exact[which] = parse_fall(words)
            slider.max, slider.min = max(slider.max, fall * 1000), min(slider.min, fall * 1000)  # never cut down what is typed
            slider.value = self.exact[which] * 1000
            self.follow()  # the slider may have stood there already, to its step

    def _began(self) -> Surface:
        """The surface that the sliders started from."""
        assert self.start is not None
        return self.start

    def chosen(self) -> Surface:
        """Level (m) and falls (m/m): as typed or read from the file, to the last digit, until a slider is moved off it."""
        sliders = (self.level.value, self.away.value / 1000, self.along.value / 1000)
        steps = (0.0005, 0.00005, 0.00005)  # half of a slider's step
        level, away, along = (exact if abs(slider - exact) <= step else slider
                              for exact, slider, step in zip(self.exact, sliders, steps, strict=True))
        return level, away, along

    @property
    def brief(self) -> Brief:
        """The brief with the clearance that the slider asks for."""
        job = self.needed()
        if abs(self.clearance.value / 1000 - self.asked) < 5e-5:
            return job.brief
        least = self.clearance.value / 1000
        return replace(job.brief, demands=tuple(
            replace(one, least=least) if isinstance(one, Clearance) and one.wall == job.wall_name else one
            for one in job.brief.demands))

    def _asked_anew(self) -> None:
        """Solve for the clearance asked for, and lay the choice open anew."""
        job, brief = self.needed(), self.brief
        self.best = solve_finish(brief, job.ground, budget=job.counted)
        self.chart.about(Choosing(brief, job.ground, job.wall_name), self._solved())
        self.follow()

    def _solved(self) -> Surface | None:
        """The best surface; None where there is none."""
        if self.best is None or self.best.finish is None:
            return None
        return at_wall(self.best.finish, self.best.brief, self.needed().wall_name)

    def go_to_best(self) -> None:
        """Move the sliders to the surface that meets every demand with its falls nearest their targets."""
        if self.start is None:
            self.attempt(self._build)
            return
        solved = self._solved()
        if solved is None:
            assert self.best is not None
            self.refuse((self.best.sentence(),))
            return
        self.exact = list(solved)
        level, away, along = solved
        self.moving = True
        for slider, value in ((self.level, level), (self.away, away * 1000), (self.along, along * 1000)):
            slider.max, slider.min = max(slider.max, value), min(slider.min, value)
            slider.value = value
        self.moving = False
        self.attempt(self.follow)

    def follow(self) -> None:
        """Numbers first, then the pictures."""
        if self.moving:  # several sliders at once: once they all stand
            return
        self.message.value = ""
        job = self.needed()
        level, away, along = self.chosen()
        finish = job.finish_of(level, away, along)
        self.verdicts = check_finish(finish, self.brief, budget=job.counted)
        works = job.earthworks_of(finish)
        said = self.verdicts.counted or "every demand met"
        colour = BAD if self.verdicts.failed else CLOSE if self.verdicts.too_close else GOOD
        unsaved = "" if self.chosen() == self._began() and job.by_hand else " <i>Not saved yet.</i>"
        unsaved = f" <i>{self.unchosen}</i>" if self.unchosen and self.chosen() == self._began() else unsaved
        self.away_words.value, self.along_words.value = word_fall(away), word_fall(along)
        self.said.value = (
            f"<p>{word_level(level)} at the wall; it {escape(job.falls_words(away, along))}: "
            f"<b class='surface-said' style='color:{colour}'>{said}</b>.{unsaved}{self._instead()}{self._what_if()}<br>"
            f"{escape(works.sentence())}<br>{escape(self._against_best(works.cut + works.fill))}</p>")
        aims = listed(f"{one.demand.title}, {one.condition.place}: {one.aim}" for one in self.verdicts.worst if one.u is not None)
        self.shown.value = scrolled(self.verdicts.html(), tall=44)
        self.shown.value += f"<ul class='surface-aims'>{aims}</ul>" if aims else ""
        cut = cut_section(self.brief, finish, job.ground, job.wall_name, self.place.value)
        self.sketch.draw(lambda ax: figures.section(cut, ax=ax))
        self.picture.value = self.sketch.png()
        self.map.value = self.chart.png(self.chosen())

    def _instead(self) -> str:
        job = self.needed()
        if job.by_hand:
            return ""
        return (f" <i>The surface that is saved is another: {escape(job.finish_words)} Saving here puts one plane in its "
                "place.</i>")

    def _what_if(self) -> str:
        if abs(self.clearance.value / 1000 - self.asked) < 5e-5:
            return ""
        return (f" <i>What if {word_mm(self.clearance.value / 1000)} of clearance were asked for instead of "
                f"{word_mm(self.asked)}? To keep that, change it in the brief above.</i>")

    def _against_best(self, moved: float) -> str:
        if self.best is None or self.best.volume is None:
            return "No plane meets every demand: see above which of them fight."
        return f"{word_volume(moved)} are moved, dig and fill together; the best plane moves {word_volume(self.best.volume)}."

    def save_surface(self) -> None:
        """Write the choice into brief.toml."""
        if self.start is None:  # the job cannot be worked out yet: say again why
            self.attempt(self._build)
            return
        level, away, along = self.chosen()
        falls = [toml(f"{word_number(fall * 1000, figures=12)} mm/m") for fall in (away, along)]
        written = zip(("level_at_wall_m", "fall_away", "fall_along"), (toml(level), *falls), strict=True)

        def changed() -> str:
            text = self.needed().brief_text
            told = self.needed().told.get("finish", {})
            for (key, value), new, old in zip(written, self.chosen(), self._began(), strict=True):
                if new != old or key not in told:
                    text = with_value(text, "finish", 1, key, value)
            return text if told.get("shape", "plane") == "plane" else with_value(text, "finish", 1, "shape", toml("plane"))
        if self.change_brief(changed, "Saved. Choose Run, then Run All Cells, to see it below and in notebook 4."):
            self.start, self.unchosen = self.needed().choice, ""
            self.exact = list(self.start)
            self.said.value = self.said.value.replace(" <i>Not saved yet.</i>", "")


class _Chart:
    """The picture of the choice: drawn once for a fall along, the mark of today's choice moved over it."""

    def __init__(self) -> None:
        self.sketch = Sketch((7.6, 3.6), bottom=0.15)
        self.drawn: Choice | None = None

    def about(self, choosing: Choosing, solved: Surface | None) -> None:
        """Take another brief."""
        self.choosing, self.solved, self.stale = choosing, solved, True

    def png(self, now: Surface) -> bytes:
        """The picture with a mark at today's choice."""
        level, away, along = now
        drawn = self.drawn
        inside = (drawn is not None and drawn.levels[0] <= level <= drawn.levels[-1]
                  and drawn.falls[0] <= away <= drawn.falls[-1])
        if drawn is None or self.stale or along != drawn.along or not inside:
            self._draw(level, away, along)
        self.sketch.canvas.restore_region(self.bare)
        self.mark.set_data([level], [away * 1000])
        self.name.xy = (level, away * 1000)
        for artist in (self.mark, self.name):
            self.sketch.ax.draw_artist(artist)
        return self.sketch.png()

    def _draw(self, level: float, away: float, along: float) -> None:
        laid_open = self.choosing.about(along, [(level, away), *([self.solved[:2]] if self.solved else [])], self.drawn)
        solved = self.solved[:2] if self.solved and abs(self.solved[2] - along) < 5e-5 else None
        self.sketch.draw(lambda ax: figures.choice(laid_open, ax=ax, solved=solved))
        self.bare = self.sketch.canvas.copy_from_bbox(self.sketch.figure.bbox)
        ax = self.sketch.ax
        self.mark, = ax.plot([], [], "o", markersize=9, markerfacecolor=style.WATER, markeredgecolor="white", zorder=9)
        self.name = ax.annotate("now", (level, away * 1000), xytext=(8, -4), textcoords="offset points", fontsize=style.TEXT,
                                fontweight="bold", color=style.WATER, zorder=9, bbox=style.BACKED)
        self.drawn, self.stale = laid_open, False
