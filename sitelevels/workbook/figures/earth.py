"""Cut and fill in plan, with the line where they meet."""

from __future__ import annotations

import numpy as np
import shapely
from matplotlib.axes import Axes
from matplotlib.colors import LinearSegmentedColormap
from matplotlib.tri import Triangulation

from ...design.brief import Brief
from ...wording import word_area, word_mm, word_volume
from ...works.earthworks import Earthworks
from . import style
from .labels import beside, in_walls, label_lines, spans

JOINED = 1e-6  # m: corners of pieces nearer than this are drawn as one, so that contours run on
DIG_FILL = LinearSegmentedColormap.from_list("dig and fill", ["#5fb0ad", "#ffffff", "#c48f57"])


def earthworks(works: Earthworks, *, ax: Axes | None = None, brief: Brief | None = None) -> Axes:
    """Depth to dig (brown) and to fill (teal, dotted) in plan, with contours in mm and the line of no digging heavier.

    `works` is what `cut_and_fill` gives; the outline and the walls are those of `brief`, else the outline of the formation
    alone. Nothing is refused.
    """
    brief = brief or Brief(shapely.union_all([facet.area for facet in works.formation.facets]))
    ax, area = style.plan(ax, brief), brief.area
    mesh, depth = mesh_of(works.pieces.corners, works.depth)
    largest = max(works.deepest, works.highest_fill, 0.001)
    bands = np.linspace(-largest, largest, 25)
    ax.tricontourf(mesh, depth, levels=bands, cmap=DIG_FILL, vmin=-1.15 * largest, vmax=1.15 * largest)
    if works.highest_fill > 0:
        dotted = ax.tricontourf(mesh, depth, levels=[-2 * largest, 0.0], colors="none", hatches=["..."])
        dotted.set_edgecolor(style.WATER)
        dotted.set_linewidth(0.0)
    steps = style.round_steps(float(depth.min()), float(depth.max()), least=0.005, most=11)
    steps = steps[(np.abs(steps) > 1e-9) & (steps > depth.min() + JOINED) & (steps < depth.max() - JOINED)]
    drawn = None
    if len(steps):
        drawn = ax.tricontour(mesh, depth, levels=steps, colors=style.INK, linewidths=0.7, linestyles="solid")
    if depth.min() < 0 < depth.max():
        ax.tricontour(mesh, depth, levels=[0.0], colors=style.INK, linewidths=2.2)
    if (at := works.deepest_at) is not None:
        ax.plot(*at, "o", markersize=8, markerfacecolor="none", markeredgecolor=style.INK, markeredgewidth=1.5, zorder=6)
    under = (f"dig {word_volume(works.cut)} over {word_area(works.cut_area)} (brown), fill {word_volume(works.fill)} over "
             f"{word_area(works.fill_area)} (teal, dotted); heavy line: neither")
    style.titled(ax, "How deep to dig, and where?", under, works.sentence())
    deepest = [] if at is None else [(*at, f"deepest {word_mm(works.deepest)}", 8.0)]
    taken = beside(ax, deepest, lambda: spans(ax, in_walls(brief), 5.0))
    if drawn is not None:
        label_lines(ax, drawn, area, lambda value: f"{'dig' if value > 0 else 'fill'} {word_mm(abs(value))}", taken)
    return ax


def mesh_of(corners: style.Floats, value: style.Floats) -> tuple[Triangulation, style.Floats]:
    """Triangles (k, 3, 2) with a value at each corner (k, 3), joined where place and value agree, so that contours run on."""
    every = np.column_stack([corners.reshape(-1, 2), value.reshape(-1)])
    nodes, number = np.unique(np.rint(every / JOINED), axis=0, return_inverse=True)
    triangles, places = number.reshape(-1, 3), nodes * JOINED
    one, two = (places[triangles[:, corner], :2] - places[triangles[:, 0], :2] for corner in (1, 2))
    triangles = triangles[np.abs(one[:, 0] * two[:, 1] - one[:, 1] * two[:, 0]) > 1e-9]
    return Triangulation(places[:, 0], places[:, 1], triangles), places[:, 2]
