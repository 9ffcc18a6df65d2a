"""Units laid over an area, in plan: which are whole, which are cut, and where to start."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import PathCollection
from matplotlib.patches import PathPatch

from ...design.brief import Brief
from ...wording import word_mm
from ...works.offcuts import STRAIGHT, Piece
from ...works.units import UnitLayout
from . import style
from .labels import beside

WHOLE, CUT = "#f4f5f5", "#c3cacd"
NAMED = 5  # sizes written on the picture, and slivers named


def units(layout: UnitLayout, *, ax: Axes | None = None, brief: Brief | None = None) -> Axes:
    """Whole units plain, cut ones shaded and hatched, slivers with a heavy outline; the sizes of some in mm, and the start.

    `layout` is what `lay_out_units` gives; walls are those of `brief`, where it is given. Nothing is refused.
    """
    x_min, y_min, x_max, y_max = layout.area.bounds
    ax = style.plan(ax, brief or Brief(layout.area), (7.6, 5.8), max(0.5, 0.07 * max(x_max - x_min, y_max - y_min)))
    cut = [piece for piece in layout.pieces if piece.kind == "cut"]
    slivers = [piece for piece in cut if piece.sliver]
    slanting = min(abs(part) for part in layout.along) > 0.4  # a hatch at 45° would be taken for joints
    kinds = (("whole", [piece for piece in layout.pieces if piece.kind == "whole"], WHOLE, None, style.INK, 0.4),
             ("cut", [piece for piece in cut if not piece.sliver], CUT, "----" if slanting else "////", style.INK, 0.6),
             ("sliver", slivers, CUT, "++++" if slanting else "xxxx", style.NOT_MET, 2.0))
    for name, pieces, colour, hatch, edge, width in kinds:
        drawn = PathCollection([style.area_path(piece.polygon) for piece in pieces], facecolors=colour, edgecolors=edge,
                               linewidths=width, hatch=hatch, zorder=2 if name != "sliver" else 4)
        drawn.set_gid(name)
        drawn.set_snap(False)  # narrow joints would come out uneven
        ax.add_collection(drawn, autolim=False)
    for hole in layout.holes:
        ax.add_patch(PathPatch(style.area_path(hole), facecolor=style.INK, edgecolor=style.INK, zorder=5))
    ax.plot(*layout.start, "o", markersize=9, markerfacecolor="white", markeredgecolor=style.INK, markeredgewidth=2.2, zorder=8)
    named = [(*_middle(piece), f"sliver {_size(piece)}" if piece.shape == STRAIGHT else "sliver: narrow leg")
             for piece in _some(slivers, layout.start)]
    named += [(*_middle(piece), _size(piece)) for piece in _some([piece for piece in cut if not piece.sliver], layout.start)]
    for x, y, _ in named:
        ax.plot(x, y, ".", markersize=5, color=style.INK, zorder=6)
    under = (f"{layout.whole} whole (plain), {layout.cut} cut (hatched)"
             f"{f', {layout.slivers} of them slivers (heavy)' if layout.slivers else ', no slivers'}; sizes in mm; "
             f"order {layout.order} units")
    style.titled(ax, "Where to start, and what is cut?", under, f"{_laid(layout)} {layout.sentence()}")
    beside(ax, [(x, y, words, 4.0) for x, y, words in ((*layout.start, "start"), *named)])
    return ax


def _laid(layout: UnitLayout) -> str:
    length, width = (word_mm(side, digits=1).replace(".0 mm", " mm") for side in layout.unit)
    return f"Units of {length} by {width} with joints of {word_mm(layout.joint)}."


def _size(piece: Piece) -> str:
    return " × ".join(word_mm(side).removesuffix(" mm") for side in (piece.length, piece.width))


def _middle(piece: Piece) -> tuple[float, float]:
    place = piece.polygon.representative_point()
    return float(place.x), float(place.y)


def _some(pieces: list[Piece], start: tuple[float, float]) -> list[Piece]:
    """One piece of each size, the commonest sizes first, far from the start and from those chosen already."""
    sizes: dict[str, list[Piece]] = {}
    for piece in pieces:
        sizes.setdefault(_size(piece), []).append(piece)
    chosen: list[Piece] = []
    for group in sorted(sizes.values(), key=len, reverse=True)[:NAMED]:
        places = np.array([_middle(piece) for piece in group])
        before = np.array([start, *(_middle(piece) for piece in chosen)])[:, None]
        chosen.append(group[int(np.hypot(*(places - before).transpose(2, 0, 1)).min(axis=0).argmax())])
    return chosen
