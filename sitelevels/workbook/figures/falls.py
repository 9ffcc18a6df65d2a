"""Which way the water runs on a finished surface, facet by facet, in plan."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes

from ...design.brief import Brief
from ...surface.finish import Finish
from ...wording import word_fall
from . import style


def falls(finish: Finish, brief: Brief, *, ax: Axes | None = None) -> Axes:
    """An arrow down the steepest way of each facet of `finish` with its fall (1:N), and the lines where facets meet.

    Outline and walls are those of `brief`. Nothing is refused: a level facet has no arrow.
    """
    ax = style.plan(ax, brief)
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
        x, y = reach * dx, reach * dy
        if (dx, dy) != (0.0, 0.0):
            style.arrow(ax, (middle.x - x, middle.y - y), (middle.x + x, middle.y + y), zorder=7)
        ratio = word_fall(facet.plane.fall).split(" (")[0]  # room is short where pegs are named too
        style.note(ax, ratio, (middle.x, middle.y), (6, 6), fontweight="bold", color=style.WATER, zorder=8)
