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

JOINED = 1e-6  # m: corners of pieces nearer than this are drawn as one, so that contours run on
DIG_FILL = LinearSegmentedColormap.from_list("dig and fill", ["#5fb0ad", "#ffffff", "#c48f57"])


def earthworks(works: Earthworks, *, ax: Axes | None = None, brief: Brief | None = None) -> Axes:
    """Depth to dig (brown) and to fill (teal, dotted) in plan, with contours in mm and the line of no digging heavier."""
    ax = style.axes(ax, (7.6, 5.4))
    area = shapely.union_all([facet.area for facet in works.formation.facets]) if brief is None else brief.area
    style.plan_axes(ax, brief or Brief(area))
    places, corner = np.unique(np.rint(works.pieces.corners.reshape(-1, 2) / JOINED), axis=0, return_inverse=True)
    places *= JOINED
    depth = np.zeros(len(places))
    depth[corner] = works.depth.reshape(-1)
    triangles = corner.reshape(-1, 3)
    triangles = triangles[_area_of(places[triangles]) > 1e-9]
    mesh = Triangulation(places[:, 0], places[:, 1], triangles)
    largest = max(works.deepest, works.highest_fill, 0.001)
    bands = np.linspace(-largest, largest, 25)
    ax.tricontourf(mesh, depth, levels=bands, cmap=DIG_FILL, vmin=-1.15 * largest, vmax=1.15 * largest)
    if works.highest_fill > 0:
        dotted = ax.tricontourf(mesh, depth, levels=[-2 * largest, 0.0], colors="none", hatches=["..."])
        dotted.set_edgecolor(style.WATER)
        dotted.set_linewidth(0.0)
    steps = style.contour_steps(float(depth.min()), float(depth.max()))
    steps = steps[np.abs(steps) > 1e-9]
    if len(steps) and float(np.ptp(depth)) > 1e-6:
        lines = ax.tricontour(mesh, depth, levels=steps, colors=style.INK, linewidths=0.7, linestyles="solid")
        style.label_contours(ax, lines, area, lambda value: f"{'dig' if value > 0 else 'fill'} {word_mm(abs(value))}")
    if depth.min() < 0 < depth.max():
        ax.tricontour(mesh, depth, levels=[0.0], colors=style.INK, linewidths=2.2)
    if (at := works.deepest_at) is not None:
        ax.plot(*at, "o", markersize=8, markerfacecolor="none", markeredgecolor=style.INK, markeredgewidth=1.5, zorder=6)
        right = at[0] < (area.bounds[0] + area.bounds[2]) / 2
        ax.annotate(f"deepest {word_mm(works.deepest)}", at, xytext=(8 if right else -8, -9), textcoords="offset points",
                    fontsize=style.TEXT, ha="left" if right else "right", va="top", color=style.INK, zorder=6,
                    bbox=style.BACKED)
    under = (f"dig {word_volume(works.cut)} over {word_area(works.cut_area)} (brown), fill {word_volume(works.fill)} over "
             f"{word_area(works.fill_area)} (teal, dotted); heavy line: neither")
    return style.titled(ax, "How deep to dig, and where?", under, works.sentence())


def _area_of(corners: style.Floats) -> style.Floats:
    sides = corners[:, 1:] - corners[:, :1]
    return np.asarray(np.abs(sides[:, 0, 0] * sides[:, 1, 1] - sides[:, 0, 1] * sides[:, 1, 0]) / 2)
