"""A screed in plan: how thick it is, where the base holds it up, and which way it falls."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Any

import numpy as np
import pandas as pd
import shapely
from matplotlib.axes import Axes
from matplotlib.colors import LinearSegmentedColormap
from matplotlib.contour import ContourSet
from matplotlib.transforms import Bbox

from ...design.asked import ROUNDING
from ...design.brief import Brief
from ...design.demands import Meet, Step
from ...surface.shapes import Outlet
from ...wording import word_fall, word_mm, word_volume
from ...works.pegs import standing
from ...works.screed import Screed
from . import style
from .earth import mesh_of
from .labels import beside, in_walls, label_lines, say, spans

THICK = LinearSegmentedColormap.from_list("thick", ["#fbf9f2", style.SUB_BASE])
RINGED = 5  # more places than these at the least thickness are not ringed one by one
LARGE = 0.06  # of the floor: smaller parts get no arrow
STEPS = 6  # contours, about
NEAR = 0.01  # m: a pad nearer than this to the outlet stands on it, and names it
UNKNOWN = 0.01  # m² without spots of the base that are told of

Arrow = tuple[style.Floats, style.Floats, str]


def screed(found: Screed, *, brief: Brief, pads: pd.DataFrame | Iterable[Any] | None = None, ax: Axes | None = None) -> Axes:
    """Contours of the thickness in mm, its thinnest and thickest place, what holds the floor up ringed, its falls and `pads`.

    `found` is what `base_to_screed` gives, `brief` that of the room; `pads` are columns or tuples of point, x, y in m, as
    `Screed.pads` gives or takes. Refuses (SurveyError) pads that are neither.
    """
    ax = style.plan(ax, brief)
    lines = _contours(ax, found, brief)
    places = np.unique(found.pieces.corners[found.depth <= found.least + ROUNDING], axis=0)
    rings = places if len(places) <= RINGED and lines is not None else places[:0]
    for x, y in rings:
        ax.plot([x], [y], "o", markersize=15, markerfacecolor="none", markeredgecolor=style.NOT_MET, markeredgewidth=1.8,
                clip_on=False, zorder=6)
    labels, marked = ([], []) if lines is None else _ends(ax, found)
    if isinstance(found.to, Outlet):
        ax.plot(*found.to.point, "o", markersize=9, color=style.WATER, markeredgecolor="white", clip_on=False, zorder=7)
        if not any(math.dist(found.to.point, one[1:]) < NEAR for one in ([] if pads is None else standing(pads))):
            labels.append((*found.to.point, "outlet", 9.0))
    elif found.to is not None:
        (ax_, ay), (bx, by) = found.to
        ax.plot([ax_, bx], [ay, by], color=style.WATER, linewidth=4.0, solid_capstyle="butt", zorder=5)
        labels.append(((ax_ + bx) / 2, (ay + by) / 2, "lower side", 5.0))
    arrows = _falls(found)
    for tail, head, words in arrows:
        style.arrow(ax, tuple(tail.tolist()), tuple(head.tolist()))
        labels.append((*((tail + head) / 2).tolist(), words, 6.0))
    doors = [spot for demand in brief.demands if isinstance(demand, (Meet, Step)) for spot in demand.spots]
    for spot in doors:
        ax.plot([spot.x], [spot.y], "D", markersize=5, color=style.EARTH, markeredgecolor="white", clip_on=False, zorder=6)
        labels.append((spot.x, spot.y, spot.point, 5.0))
    set_out = [] if pads is None else standing(pads)
    for name, x, y in set_out:
        ax.plot([x], [y], "s", markersize=6, markerfacecolor="white", markeredgecolor=style.INK, clip_on=False, zorder=6)
        labels.append((x, y, name, 5.0))
    falls = "level" if found.to is None else f"falls {word_fall(found.fall).split(' (')[0]} where flattest"
    under = (f"{'' if found.fits else 'DOES NOT FIT; '}{word_volume(found.volume)}, {falls}; "
             f"{_held(found, len(places), len(rings))}{'; blank: base not read' if found.uncovered > UNKNOWN else ''}")
    style.titled(ax, "How thick is the screed, and where does the base govern?", under, found.sentence())

    def marks() -> list[Bbox]:
        on = [tail + share * (head - tail) for tail, head, _ in arrows for share in np.linspace(0, 1, 12)]
        marks_at = [*marked, *((x, y) for _, x, y in set_out), *((spot.x, spot.y) for spot in doors), *on]
        return [*spans(ax, rings, 8.0), *spans(ax, in_walls(brief), 5.0), *spans(ax, marks_at, 4.0)]
    taken = beside(ax, labels, marks)
    if lines is not None:
        label_lines(ax, lines, brief.area, word_mm, taken)
    return ax


def _contours(ax: Axes, found: Screed, brief: Brief) -> ContourSet | None:
    """Bands and lines of equal thickness; None where it is the same all over."""
    mesh, thick = mesh_of(found.pieces.corners, found.depth)
    low, high = float(found.depth.min()), float(found.depth.max())
    if high - low <= ROUNDING:
        say(ax, brief.area, f"{word_mm(found.thinnest.level, digits=1)} everywhere", style.BED)
        return None
    steps = style.round_steps(low, high, least=0.001, most=STEPS)
    steps = steps[(steps > low + ROUNDING) & (steps < high - ROUNDING)]
    ax.tricontourf(mesh, thick, levels=[low - ROUNDING, *steps, high + ROUNDING], cmap=THICK, vmin=low, vmax=high, zorder=1)
    return ax.tricontour(mesh, thick, levels=steps if len(steps) else [(low + high) / 2], colors=style.INK, linewidths=0.8,
                         zorder=2)


def _ends(ax: Axes, found: Screed) -> tuple[list[tuple[float, float, str, float]], list[tuple[float, float]]]:
    """Words at the thinnest and the thickest place, which get a cross, and where these are."""
    thin, thick = found.thinnest, found.thickest
    ax.plot([thin.x, thick.x], [thin.y, thick.y], "x", color=style.INK, markersize=6, markeredgewidth=1.6, linestyle="none",
            clip_on=False, zorder=7)
    return [(thin.x, thin.y, f"thinnest {word_mm(thin.level, digits=1)}", 9.0),
            (thick.x, thick.y, f"thickest {word_mm(thick.level, digits=1)}", 5.0)], [(thin.x, thin.y), (thick.x, thick.y)]


def _falls(found: Screed) -> list[Arrow]:
    """Tail, head and words of an arrow down each large part of a floor that falls."""
    arrows = []
    for facet in found.finish.facets if found.to is not None else ():
        if facet.area.area < LARGE * found.area or facet.plane.fall < ROUNDING:
            continue
        inside = facet.area.contains(facet.area.centroid)
        middle = shapely.get_coordinates(facet.area.centroid if inside else facet.area.representative_point())[0]
        reach = 0.14 * facet.area.area**0.5 * np.array(facet.plane.direction)
        arrows.append((middle - reach, middle + reach, word_fall(facet.plane.fall).split(" (")[0]))
    return arrows


def _held(found: Screed, governing: int, ringed: int) -> str:
    """What holds the floor up, in words."""
    if found.higher:
        return f"laid {word_mm(found.higher, digits=1)} higher than need be"
    if governing:
        return "ringed: the base holds it up" if ringed else "the base holds it up at many places"
    first = found.limits[found.limits["needs"] == "at least"].iloc[0]
    return f"held up by {first['demand']}, at {first['place']}, not by the base"
