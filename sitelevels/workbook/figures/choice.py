"""The choice of a plane: which levels at the wall and falls away are allowed, and what each moves."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes

from ...design.choice import Choice
from ...wording import word_fall, word_volume
from . import style


def choice(laid_open: Choice, *, ax: Axes | None = None, solved: tuple[float, float] | None = None) -> Axes:
    """Volumes moved in m³ as contours over level (m) and fall (mm/m); the allowed part white, a solved surface starred.

    `laid_open` is what `Job.laid_open` gives, `solved` a level at the wall in m and a fall in m/m. Nothing is refused: a solved
    surface outside the picture has no star.
    """
    ax = style.axes(ax, (7.6, 3.6))
    levels, falls = laid_open.levels, laid_open.falls * 1000
    ax.set_xlim(levels[0], levels[-1])
    ax.set_ylim(falls[0], falls[-1])
    ax.locator_params(axis="y", nbins=6)
    ax.locator_params(axis="x", nbins=8)
    ax.set_facecolor("#efe7e2")
    allowed = laid_open.allowed
    if not allowed.is_empty:
        ring = np.asarray(allowed.exterior.coords) * [1, 1000]
        ax.fill(*ring.T, facecolor="white", edgecolor=style.MET, linewidth=2.0, zorder=2)
    steps = style.round_steps(float(laid_open.volume.min()), float(laid_open.volume.max()), least=0.1, most=8)
    lines = ax.contour(levels, falls, laid_open.volume, levels=steps, colors=style.EARTH, linewidths=0.7, zorder=3)
    ax.clabel(lines, fmt=word_volume, fontsize=style.TEXT, colors=style.EARTH, use_clabeltext=False)
    for title, (level, fall), (right, up) in laid_open.edges:
        if right > 0 and level > levels[0] + 0.85 * (levels[-1] - levels[0]):
            right, up = -1.0, up or -1.0  # no room on the right: beside it on the left, below its middle
        style.note(ax, title, (level, fall * 1000), (4 if right > 0 else -4, 3 if up > 0 else -3 if up < 0 else 0), zorder=4,
                   color=style.MET, ha="left" if right > 0 else "right",
                   va="bottom" if up > 0 else "top" if up < 0 else "center")
    if solved is not None and levels[0] <= solved[0] <= levels[-1] and falls[0] <= solved[1] * 1000 <= falls[-1]:
        ax.plot(solved[0], solved[1] * 1000, "*", markersize=15, markerfacecolor=style.MET, markeredgecolor="white", zorder=6)
        style.note(ax, "best", (solved[0], solved[1] * 1000), (8, -12), fontweight="bold", color=style.MET)
    style.name_axes(ax, "level of the finish at the first end of the wall, m", "fall away, mm/m")
    met = "nowhere is every demand met" if allowed.is_empty else "white: every demand met, by the margin alone"
    under = f"{word_fall(laid_open.along).split(' (')[0]} along the wall; {met}; brown lines: dig and fill together"
    return style.titled(ax, "Which level and fall may I choose, and what does each move?", under, laid_open.sentence())
