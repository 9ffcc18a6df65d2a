"""Which way the water runs on a finished surface, facet by facet, in plan."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes

from ...design.brief import Brief
from ...surface.finish import Finish
from ...wording import word_fall
from . import style


def falls(finish: Finish, brief: Brief, *, ax: Axes | None = None) -> Axes:
    """An arrow down the steepest way of each facet with its fall, and the lines where facets meet."""
    ax = style.axes(ax, (7.6, 5.0))
    style.plan_axes(ax, brief)
    draw_falls(ax, finish)
    told = ", ".join(word_fall(facet.plane.fall) for facet in finish.facets)
    sentence = f"Facets of the surface: {len(finish.facets)}, with true falls of {told}."
    return style.titled(ax, "Which way does the water run?", "arrows point downhill, with the true fall of each facet", sentence)


def draw_falls(ax: Axes, finish: Finish) -> None:
    """The arrows and lines alone."""
    for facet in finish.facets:
        if len(finish.facets) > 1:
            ax.plot(*np.asarray(facet.area.exterior.coords).T, color=style.WATER, linewidth=0.9, linestyle=(0, (4, 3)), zorder=5)
        dx, dy = facet.plane.direction
        middle = facet.area.centroid if facet.area.contains(facet.area.centroid) else facet.area.representative_point()
        reach = 0.12 * facet.area.area**0.5
        if (dx, dy) != (0.0, 0.0):
            ax.annotate("", (middle.x + reach * dx, middle.y + reach * dy), xytext=(middle.x - reach * dx, middle.y - reach * dy),
                        zorder=7, arrowprops={"arrowstyle": "-|>", "color": style.WATER, "linewidth": 2.0})
        ratio = word_fall(facet.plane.fall).split(" (")[0]  # room is short where pegs are named too
        ax.annotate(ratio, (middle.x, middle.y), xytext=(6, 6), textcoords="offset points", zorder=8,
                    fontsize=style.TEXT, fontweight="bold", color=style.WATER, bbox=style.BACKED)
