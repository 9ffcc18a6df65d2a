"""The section square to the wall."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from ...design.asked import ROUNDING
from ...design.section import Section
from ...wording import word_distance, word_fall, word_mm, word_times
from . import style

ENDS = 0.02  # m: the ends of the heights lie on whole multiples, so that the axis stays as a slider moves


def section(cut: Section, *, ax: Axes | None = None) -> Axes:
    """The section square to the wall: DPC, wall, layers, today's ground, clearance and fall; heights drawn too tall, as said."""
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
        ax.annotate("ground today", (place, level), xytext=(0, 7), textcoords="offset points", color=style.EARTH,
                    fontsize=style.TEXT, ha="center")
    good = style.MET if cut.clearance >= (cut.asked or 0.0) - ROUNDING else style.NOT_MET
    at = out[0] + 0.045 * length
    ax.annotate("", (at, finished[0]), xytext=(at, cut.dpc), arrowprops={"arrowstyle": "<->", "color": good, "linewidth": 1.3})
    ax.text(at + 0.012 * length, (cut.dpc + max(finished[0], float(cut.existing[0]) if len(known) and known[0] == 0 else 0)) / 2,
            _clear(cut) + (f" ({word_mm(cut.asked)} asked)" if cut.asked else ""), color=good,
            fontsize=style.TEXT, fontweight="bold", va="center")
    _draw_fall(ax, cut, length)
    ax.set_xlabel(f"out from the {cut.wall.name}, m", fontsize=style.TEXT, color=style.INK)
    ax.set_ylabel("level, m", fontsize=style.TEXT, color=style.INK)
    digging = "" if cut.deepest is None else f", and the deepest dig on this line is {word_mm(cut.deepest)}"
    title = f"Does it stay below the DPC and fall away, {word_distance(cut.along)} along the wall?"
    style.titled(ax, title, "heights", "")  # the room that titles take decides how tall the heights are drawn
    figure = ax.figure
    engine = figure.get_layout_engine() if isinstance(figure, Figure) else None
    if engine is not None and isinstance(figure, Figure):
        engine.execute(figure)
    frame = ax.get_window_extent()
    tall = ((ax.get_xlim()[1] - ax.get_xlim()[0]) / frame.width) / ((top - low) / frame.height)
    return style.titled(
        ax, title, f"heights drawn about {word_times(tall)} times too tall",
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
    ax.annotate("DPC", (face - thick, cut.dpc), xytext=(-4, 0), textcoords="offset points", ha="right", va="center",
                fontsize=style.TEXT, fontweight="bold", color=style.INK)


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
    ax.annotate("", places[1], xytext=places[0], zorder=7,
                arrowprops={"arrowstyle": "-|>", "color": style.WATER, "linewidth": 1.8})
    ax.annotate(word_fall(abs(fall)), (end, float(levels[1])), xytext=(8, 0), textcoords="offset points", va="center",
                fontsize=style.TEXT, color=style.WATER, fontweight="bold", zorder=7,
                bbox=style.BACKED)
