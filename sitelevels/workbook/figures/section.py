"""The section square to the wall."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes

from ...design.asked import ROUNDING
from ...design.section import Section
from ...wording import word_distance, word_fall, word_mm
from . import style

ENDS = 0.02  # m: the ends of the heights lie on whole multiples, so that the axis stays as a slider moves


def section(cut: Section, *, ax: Axes | None = None) -> Axes:
    """The section square to the wall: DPC, wall, layers (mm), today's ground, clearance, fall; heights too tall, as said.

    `cut` is what `cut_section` or `Job.section` gives. Nothing is refused.
    """
    ax = style.axes(ax, (7.6, 3.9))
    out, finished, brief = cut.out, cut.finished, cut.brief
    length = float(out[-1] - out[0])
    bottom = float(finished.min()) - brief.build_up
    top = max(cut.dpc, float(np.nanmax(np.append(cut.existing, finished)))) + 0.25 * (cut.dpc - bottom)
    low = bottom - 0.10 * (top - bottom)
    low, top = float(np.floor(low / ENDS) * ENDS), float(np.ceil(top / ENDS) * ENDS)
    ax.set_xlim(out[0] - 0.16 * length, out[-1] + 0.30 * length)
    ax.set_ylim(low, top)
    _draw_wall(ax, cut, low, top, 0.07 * length)
    _draw_layers(ax, cut, length)
    ax.plot(out, cut.existing, color=style.EARTH, linewidth=1.6, linestyle=(0, (5, 3)), zorder=5)
    known = np.flatnonzero(~np.isnan(cut.existing))
    if len(known):
        place = float(np.interp(0.72, [0, 1], out[known[[0, -1]]]))
        level = max(float(np.interp(place, out[known], cut.existing[known])), float(np.interp(place, out, finished)))
        style.note(ax, "ground today", (place, level), (0, 7), color=style.EARTH, ha="center", backed=False)
    good = style.MET if cut.clearance >= (cut.asked or 0.0) - ROUNDING else style.NOT_MET
    at = out[0] + 0.045 * length
    style.arrow(ax, (at, cut.dpc), (at, finished[0]), colour=good, ends="<->", thick=1.3)
    ax.text(at + 0.012 * length, (cut.dpc + max(finished[0], float(cut.existing[0]) if len(known) and known[0] == 0 else 0)) / 2,
            _clear(cut) + (f" ({word_mm(cut.asked)} asked)" if cut.asked else ""), color=good,
            fontsize=style.TEXT, fontweight="bold", va="center")
    _draw_fall(ax, cut, length)
    style.name_axes(ax, f"out from the {cut.wall.name}, m", "level, m")
    digging = "" if cut.deepest is None else f", and the deepest dig on this line is {word_mm(cut.deepest)}"
    title = f"Does it stay below the DPC and fall away, {word_distance(cut.along)} along the wall?"
    return style.titled(
        ax, title, style.too_tall(ax, title),
        f"At {word_distance(cut.along)} along the {cut.wall.name} the finish lies {_clear(cut)} and {_falls(cut)}{digging}.")


def _falls(cut: Section) -> str:
    """How the finish falls, part by part."""
    told = [f"falls {'away' if fall >= 0 else 'towards the wall'} {word_fall(abs(fall))}"
            + (f" from {word_distance(first)} to {word_distance(last)} out" if len(cut.falls) > 1 else "")
            for first, last, fall in cut.falls]
    return ", ".join(told)


def _clear(cut: Section) -> str:
    return f"{word_mm(abs(cut.clearance))} {'below' if cut.clearance >= 0 else 'above'} the DPC"


def _draw_wall(ax: Axes, cut: Section, low: float, top: float, thick: float) -> None:
    face = cut.out[0]
    ax.fill_between([face - thick, face], low + 0.04 * (top - low), top, facecolor=style.WALL, edgecolor=style.INK, hatch="///",
                    linewidth=0.9)
    ax.plot([face - thick, face + 0.35 * thick], [cut.dpc, cut.dpc], color="black", linewidth=3.2, solid_capstyle="butt")
    ax.plot([face, face + 1.6 * thick], [cut.dpc, cut.dpc], color=style.INK, linewidth=0.7)
    style.note(ax, "DPC", (face - thick, cut.dpc), (-4, 0), ha="right", va="center", fontweight="bold", backed=False)


def _draw_layers(ax: Axes, cut: Section, length: float) -> None:
    upper = cut.finished
    labels = []
    for number, layer in enumerate(cut.brief.layers):
        lower = upper - layer.thickness
        ax.fill_between(cut.out, lower, upper, facecolor=style.LAYERS[min(number, len(style.LAYERS) - 1)], edgecolor="white",
                        linewidth=1.0)
        labels.append(((lower[-1] + upper[-1]) / 2, f"{word_mm(layer.thickness)} {layer.name}"))
        upper = lower
    ax.plot(cut.out, cut.finished, color=style.INK, linewidth=2.2, zorder=6)
    tight = 0.055 * (ax.get_ylim()[1] - ax.get_ylim()[0])  # the height of a line of text
    shown = float("inf")
    for level, words in labels:
        shown = min(level, shown - tight)
        ax.text(cut.out[-1] + 0.02 * length, shown, words, fontsize=style.TEXT, va="center", color=style.INK)


def _draw_fall(ax: Axes, cut: Section, length: float) -> None:
    """An arrow downhill beside the layers, on the longest straight part; below the formation where there is nothing else."""
    first, last, fall = max(cut.falls, key=lambda part: part[1] - part[0])
    start, end = first + 0.30 * (last - first), first + 0.30 * (last - first) + 0.22 * min(length, last - first)
    below = 0.055 * (ax.get_ylim()[1] - ax.get_ylim()[0])
    under = cut.brief.build_up / 2 if cut.brief.layers else below
    levels = np.interp([start, end], cut.out, cut.finished) - under
    places = [(start, float(levels[0])), (end, float(levels[1]))][:: 1 if fall >= 0 else -1]
    style.arrow(ax, *places, zorder=7)
    style.note(ax, word_fall(abs(fall)), (end, float(levels[1])), (8, 0), va="center", color=style.WATER, fontweight="bold",
               zorder=7)
