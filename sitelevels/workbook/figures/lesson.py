"""Staffs and lines of sight: how readings become levels."""

from __future__ import annotations

from matplotlib.axes import Axes
from matplotlib.patches import Rectangle

from ...survey.linking import Linkage, Sight
from ...survey.reduction import ReducedLevels
from ...wording import word_level
from . import style

_WIDE = 0.10  # of a staff, where two stand 1 apart
_BEYOND = 0.12  # of the height of the picture: how far a staff reaches past the line of sight


def staffs(reduced: ReducedLevels, *, ax: Axes | None = None) -> Axes:
    """Each staff of a short book on its point, with the line of sight of its set-up, in m: heights to scale, distances not.

    `reduced` is what `reduce_book` gives. Nothing is refused; in a long book the staffs stand too close to be read.
    """
    ax = style.axes(ax, (7.6, 4.2))
    linkage = reduced.linkage
    places = _across(linkage)
    feet = {sight: linkage.setups[sight.setup].hpc - sight.reading for sight in places}
    heights = [*feet.values(), *(setup.hpc for setup in linkage.setups)]
    low, high = min(heights), max(heights)
    tall = max(high - low, 0.5)
    ax.set_ylim(low - 0.30 * tall, high + 0.36 * tall)
    ax.set_xlim(-0.7, max(places.values()) + 1.1)
    ax.set_xticks([])
    ax.spines["bottom"].set_visible(False)
    style.name_axes(ax, "", "level, m")
    upright = [sight for sight in places if sight.reading >= 0]
    ax.plot([places[sight] for sight in upright], [feet[sight] for sight in upright], color=style.EARTH, linewidth=1.6, zorder=2)
    for number, setup in enumerate(linkage.setups):
        across = [places[sight] for sight in setup.sights]
        ax.plot([across[0] - 0.1, across[-1] + 0.25], [setup.hpc] * 2, color=style.WATER, linewidth=1.6, linestyle=(0, (6, 3)),
                zorder=4)
        which = f"set-up {number + 1}: " if len(linkage.setups) > 1 else ""
        style.note(ax, f"{which}HPC {word_level(setup.hpc)}", ((across[0] + across[-1]) / 2, high + 0.30 * tall), ha="center",
                   va="center", fontweight="bold", color=style.WATER, backed=False)
    for sight, x in places.items():
        _staff(ax, x, feet[sight], sight, _BEYOND * tall)
    seen = set()
    for sight in places:
        point = linkage.point(sight)
        if (sight.row, point) not in seen:
            twice = [other for other in places if other.row == sight.row]
            middle = sum(places[other] for other in twice) / len(twice)
            over = sight.reading < 0
            style.note(ax, f"{point}\n{word_level(feet[sight])}", (middle, feet[sight]), (0, 5 if over else -5), ha="center",
                       va="bottom" if over else "top", linespacing=1.3, backed=False)
        seen.add((sight.row, point))
    under = "level = HPC − reading; heights to scale, distances across not"
    return style.titled(ax, "How does a reading become a level?", under, _told(linkage, feet))


def _across(linkage: Linkage) -> dict[Sight, float]:
    """Where each staff stands, one beside the other in the order of booking; a point read from two set-ups has both together."""
    places: dict[Sight, float] = {}
    at = -1.0
    last: Sight | None = None
    for setup in linkage.setups:
        for sight in setup.sights:
            at += 0.45 if last is not None and last.row == sight.row else 1.0
            places[sight], last = at, sight
    return places


def _staff(ax: Axes, x: float, foot: float, sight: Sight, beyond: float) -> None:
    """One staff from its foot past the line of sight, what is read on it measured beside it."""
    line = foot + sight.reading
    top = line + beyond if sight.reading >= 0 else line - beyond
    ax.add_patch(Rectangle((x - _WIDE / 2, min(foot, top)), _WIDE, abs(top - foot), facecolor="white", edgecolor=style.INK,
                           linewidth=1.0, zorder=3))
    ax.plot([x - _WIDE / 2, x + _WIDE / 2], [foot, foot], color=style.INK, linewidth=3, solid_capstyle="butt", zorder=5)
    side = x + 1.3 * _WIDE
    style.arrow(ax, (side, foot), (side, line), colour=style.INK, ends="<->", thick=1.0)
    upright = 90 if abs(sight.reading) > 4 * beyond else 0  # a short reading has no room for words along it
    style.note(ax, word_level(sight.reading), (side, foot + sight.reading / 2), (3, 0), va="center", rotation=upright)


def _told(linkage: Linkage, feet: dict[Sight, float]) -> str:
    """What is drawn, set-up by set-up."""
    told = []
    for number, setup in enumerate(linkage.setups):
        read = "; ".join(f"{linkage.point(sight)} {word_level(sight.reading)}, level {word_level(feet[sight])}"
                         for sight in setup.sights)
        told.append(f"Set-up {number + 1}: HPC {word_level(setup.hpc)}. Readings: {read}.")
    return " ".join(told)
