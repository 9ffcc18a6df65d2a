"""The ground in plan: spot levels, contours, and how far the spots lie from the plane through them."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely
from matplotlib.axes import Axes
from matplotlib.tri import Triangulation

from ...design.brief import Brief
from ...surface.hiding import hidden_slip
from ...surface.plane import PlaneFit, name_of
from ...wording import word_fall, word_level, word_mm
from . import style

if TYPE_CHECKING:
    from ..job import Job

_MARKS = {"edge": ("s", style.INK, "paving that stays"), "dpc": ("^", style.INK, "DPC"),
          "threshold": ("D", style.INK, "threshold"),
          "buried": ("X", style.EARTH, "buried"), "gully": ("o", style.WATER, "gully"), "cover": ("h", style.INK, "cover"),
          "airbrick": ("v", style.INK, "air brick"), "benchmark": ("*", style.INK, "benchmark")}


def plan(job: Job, *, ax: Axes | None = None, levels: bool = False) -> Axes:
    """The plan of a `job`: spots as crosses (with `levels` in m, if asked), contours of today's ground, walls, named points.

    Raises SurveyError where the job's ground or brief cannot be worked out.
    """
    ground, brief = job.ground, job.brief
    ax = style.plan(ax, brief, (7.6, 6.0), 0.6)
    mesh = Triangulation(ground.x, ground.y, ground.triangles)
    steps = style.round_steps(float(ground.level.min()), float(ground.level.max()), least=0.005, most=11)
    lines = ax.tricontour(mesh, ground.level, levels=steps, colors=style.EARTH, linewidths=1.0)
    lines.set_clip_path(style.area_path(brief.area), ax.transData)
    if not levels:
        fine = len(steps) > 1 and steps[1] - steps[0] < 0.0099
        style.label_contours(ax, lines, brief.area, lambda level: word_level(level, digits=3 if fine else 2))
    ax.plot(ground.x, ground.y, "+", color=style.INK, markersize=5, linestyle="none")
    if levels:
        for x, y, level in zip(ground.x, ground.y, ground.level, strict=True):
            style.note(ax, word_level(level).removesuffix(" m"), (x, y), (0, -4), ha="center", va="top")
    mark_points(ax, job)
    low, high = word_level(ground.level.min()), word_level(ground.level.max())
    step = word_mm(float(steps[1] - steps[0])) if len(steps) > 1 else "no step"
    return style.titled(ax, "How does the ground lie today?", f"{len(ground.x)} spots; contours every {step}",
                        f"The ground lies between {low} and {high} at {len(ground.x)} spots; contours are drawn every {step}.")


def mark_points(ax: Axes, job: Job, *, below: bool = False) -> None:
    """The points that are not ground, each kind with its mark, and a key beside the plan or `below` it."""
    spots = job.reduced.spots()
    for feature, (marker, colour, words) in _MARKS.items():
        here = spots[(spots["feature"] == feature) & spots["x"].notna()]
        if len(here):
            ax.plot(here["x"], here["y"], marker, color=colour, markersize=6, linestyle="none", clip_on=False, zorder=7,
                    label=words)
    if ax.get_legend_handles_labels()[0]:
        where: dict[str, Any] = {"loc": "upper left", "bbox_to_anchor": (1.0, 1.0)}
        if below:
            where = {"loc": "upper center", "bbox_to_anchor": (0.5, -0.12), "ncols": 5, "columnspacing": 1.0}
        ax.legend(fontsize=style.TEXT, frameon=False, **where)


def residuals(fit: PlaneFit, *, ax: Axes | None = None, brief: Brief | None = None) -> Axes:
    """How far each spot lies above or below the plane through all of them, in mm; suspects are ringed.

    `fit` is what `fit_plane` gives; outline and walls are those of `brief`, else the hull of the spots. Nothing is refused.
    """
    ax = style.plan(ax, brief or Brief(shapely.MultiPoint(np.column_stack([fit.x, fit.y])).convex_hull))
    suspects = set(fit.suspects["point"])
    for (point, x, y, _, residual, _) in fit.table.itertuples(index=False, name=None):
        high = residual >= 0
        ax.plot([x], [y], "^" if high else "v", color=style.EARTH if high else style.WATER, markersize=5,
                clip_on=False, zorder=5)
        number = word_mm(abs(residual)).removesuffix(" mm")
        style.note(ax, ("" if number == "0" else "+" if high else "−") + number, (x, y), (0, -5), ha="center", va="top")
        if point in suspects:
            ax.plot([x], [y], "o", markersize=16, markerfacecolor="none", markeredgecolor=style.NOT_MET, markeredgewidth=1.5)
    spread = "unchecked" if fit.sd is None else f"spots lie about {word_mm(fit.sd)} from it"
    ringed = f" Ringed as suspects: {', '.join(sorted(suspects))}." if suspects else f" No spot stands out{_hidden(fit)}."
    worst = int(np.abs(fit.residuals).argmax())
    under = f"mm above (▲ +) or below (▼ −) the best plane, which falls {word_fall(fit.plane.fall)}"
    return style.titled(
        ax, "Where is the ground not flat?", under,
        f"The best plane falls {word_fall(fit.plane.fall)}; {spread}; the furthest is {name_of(fit.points, worst)}, "
        f"{word_mm(abs(fit.residuals[worst]))} {'above' if fit.residuals[worst] > 0 else 'below'} it.{ringed}")


def _hidden(fit: PlaneFit) -> str:
    """How large a slip would not stand out either."""
    spot, slip = hidden_slip(fit)
    if math.isinf(slip) and len(fit.x) < 5:
        return f", but among {len(fit.x)} none could, however large a slip: read more"
    most = "however large" if math.isinf(slip) else f"up to {word_mm(slip, never='less')}"
    return f"; but among {len(fit.x)} spots a slip at {name_of(fit.points, spot)} would not either, {most}"
