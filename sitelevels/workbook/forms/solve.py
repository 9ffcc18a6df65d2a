"""Find the surface that meets every demand, or see which of them fight."""

from __future__ import annotations

from html import escape
from itertools import pairwise

import ipywidgets as widgets
import shapely

from ...design.brief_file import with_value
from ...design.check import check_finish
from ...design.finish_file import written
from ...design.solve import AIMS, Solution, solve_finish
from ...errors import SurveyError
from ...surface.shapes import Channel, OnePlane, Outlet, Shape
from ...wording import word_distance
from ..job import Job
from .base import Form, Number, button, heed, row, scrolled, wide

PLANE, CHANNEL, OUTLET = "one plane", "two planes to a channel", "a floor to an outlet"
_HALF = wide("26em", "9em")
NEAREST, FARTHEST = 0.05, 100.0  # m: how far from its wall a channel may lie


class SolveForm(Form):
    """Choose a shape and an aim, find the best surface of that shape, and save it."""

    terms = ("along", "away", "binding", "channel", "conflict", "cure", "demand", "drain", "facet", "fall", "give", "outlet",
             "quarrel", "relief", "shape", "shared give", "target", "too close to call", "verdict", "cut", "fill")

    def __init__(self, job: Job) -> None:
        super().__init__(job)
        self.solution: Solution | None = None
        self.shown = widgets.HTML()
        self.children = [self.message]
        self.built = self.attempt(self._build)

    def _build(self) -> bool:
        job = self.needed()
        if job.screeding.there:
            raise SurveyError("this job is a screed", rule="Its floor hangs on its base, and is set in notebook 7-screed.",
                              remedy="There press *Save this floor as the finish*.")
        spots = job.reduced.spots().dropna(subset=["x", "y"])
        inside = spots[shapely.distance(job.brief.area, shapely.points(spots[["x", "y"]].to_numpy(dtype=float))) < 1e-6]
        inside = inside[~inside["feature"].isin(("dpc", "threshold", "airbrick", "buried"))]
        inside = inside.sort_values("feature", key=lambda feature: feature != "gully", kind="stable")  # most likely first
        names = {(float(x), float(y)): str(point) for point, x, y in zip(spots["point"], spots["x"], spots["y"], strict=True)}
        sides = list(pairwise(job.brief.area.exterior.coords))
        self.shape = widgets.Dropdown(options=[PLANE, CHANNEL, OUTLET], description="Shape", **_HALF)
        self.aim = widgets.Dropdown(options=AIMS, description="First aim", **_HALF)
        self.wall = widgets.Dropdown(options=[wall.name for wall in job.brief.walls], description="Along the", **_HALF)
        self.away = Number(0.5, description="At, m from it", **_HALF)
        self.outlet = widgets.Dropdown(options=list(inside["point"]), description="At the point", **_HALF)
        self.sides = widgets.SelectMultiple(
            options=[(f"{names.get(one, one)} to {names.get(other, other)}", (one, other)) for one, other in sides],
            description="From sides", **_HALF, rows=min(len(sides), 6))
        every = widgets.HTML("<p>No side chosen: the floor falls from all sides, which lie at one level.</p>")
        self.for_channel, self.for_outlet = row(self.wall, self.away), widgets.VBox([row(self.outlet, self.sides), every])
        heed(self._show_what_is_needed, self.shape)
        self._show_what_is_needed()
        self.children = [row(self.shape, self.aim), self.for_channel, self.for_outlet,
                         row(button("Find the best surface", self.find), button("Save it", self.save_found)), self.message,
                         self.shown]
        return True

    def _show_what_is_needed(self) -> None:
        self.for_channel.layout.display = "" if self.shape.value == CHANNEL else "none"
        self.for_outlet.layout.display = "" if self.shape.value == OUTLET else "none"

    def shapes(self) -> list[Shape]:
        """The shapes that the controls stand for: a channel may run either way."""
        brief = self.needed().brief
        if self.shape.value == CHANNEL:
            if self.wall.value is None:
                raise SurveyError("the brief has no wall for a channel to run along", remedy="Add one under [[wall]].")
            if not NEAREST <= self.away.value <= FARTHEST:
                raise SurveyError(f"the channel lies {self.away.typed or self.away.value!r} m from the wall",
                                  rule=f"It lies {word_distance(NEAREST)} to {word_distance(FARTHEST)} from it.")
            wall = brief.wall(self.wall.value)
            out = brief.outward(wall)
            first, second = ((x + self.away.value * out[0], y + self.away.value * out[1]) for x, y in (wall.first, wall.second))
            return [Channel((first, second)), Channel((second, first))]
        if self.shape.value == OUTLET:
            if self.outlet.value is None:
                raise SurveyError("no point that was read lies in the area", remedy="Read a shot at the outlet.")
            return [Outlet(self.needed().place_of(self.outlet.value), self.sides.value or None)]
        return [OnePlane()]

    def find(self) -> None:
        """Solve, and show the surface or the quarrel."""
        if not self.built:
            self.built = self.attempt(self._build)
            return
        self.message.value, self.solution = "", None
        self.shown.value = self.attempt(self._found) or ""

    def _found(self) -> str:
        job = self.needed()
        found = [solve_finish(job.brief, job.ground, shape=shape, aim=self.aim.value, budget=job.counted)
                 for shape in self.shapes()]
        best = self.solution = min(found, key=lambda one: (not one.solved, *(
            (one.off_target or 0.0, one.volume or 0.0)[::1 if self.aim.value == AIMS[0] else -1])))
        if best.finish is None:
            return scrolled(best._repr_html_(), tall=36)
        verdicts = check_finish(best.finish, job.brief, budget=job.counted)
        facets = best.finish._repr_html_() if len(best.finish.facets) > 1 else ""
        return (best._repr_html_() + f"<p>{escape(job.compared(best))}</p>" + facets
                + scrolled(verdicts.html()))

    def save_found(self) -> None:
        """Write the surface that was found into brief.toml."""
        solution = self.solution
        if solution is None or solution.finish is None:
            self.refuse(("There is no surface to save: find one first.",))
            return

        def changed() -> str:
            text = self.needed().brief_text
            wall = self.needed().wall_name if isinstance(solution.shape, OnePlane) else ""
            for key, value in written(solution, wall).items():
                text = with_value(text, "finish", 1, key, value)
            return text
        self.change_brief(changed, "Saved. Choose Run, then Run All Cells, to see it below and in notebook 4.")
