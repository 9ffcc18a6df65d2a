"""What was laid: how far its spots lie off the design in plan, and the straightedge over the greatest gap."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes

from ...design.laid import Laid
from ...design.mending import Lift, Mending
from ...surface.straightedge import SAME, Straightedge
from ...wording import word_change, word_distance, word_mm, word_place
from . import style
from .labels import beside, in_walls, spans

MANY, NAMED = 60, 25  # so many spots are all given their number; of more, the farthest off alone
PLACES = 201  # along a bar at which the surface under it is drawn


def laid(check: Laid, *, mending: Mending | None = None, ax: Axes | None = None) -> Axes:
    """Each laid spot as a cross with how far it lies off the design in mm; what is to be lifted is ringed and told.

    `check` is what `check_laid` gives, `mending` what `where_to_lift` does. Nothing is refused.
    """
    ax = style.plan(ax, check.brief)
    spots = check.spots
    off = spots["deviation"].to_numpy()
    most = max(float(np.abs(off).max()), 0.001)
    lifts = {lift.point: lift for lift in (mending.lifts if mending else ())}
    ax.plot(spots["x"], spots["y"], "+", color=style.INK, markersize=8, markeredgewidth=0.8, linestyle="none", clip_on=False,
            zorder=4)
    order = sorted(range(len(off)), key=lambda row: (spots["point"].iloc[row] not in lifts, -abs(off[row])))
    labels = []
    for rank, row in enumerate(order):
        point, x, y, by = str(spots["point"].iloc[row]), float(spots["x"].iloc[row]), float(spots["y"].iloc[row]), float(off[row])
        number = word_mm(abs(by)).removesuffix(" mm")
        if number != "0":
            ax.plot([x], [y], "^" if by > 0 else "v", color=style.EARTH if by > 0 else style.WATER,
                    markersize=4 + 6 * abs(by) / most, clip_on=False, zorder=5)
        if point in lifts:
            ax.plot([x], [y], "o", markersize=15, markerfacecolor="none", markeredgecolor=style.NOT_MET, markeredgewidth=1.6,
                    clip_on=False, zorder=6)
            labels.append((x, y, f"{point}: {_lifted(lifts[point])}", 9.0))
        elif len(off) <= MANY or rank < NAMED:
            labels.append((x, y, ("" if number == "0" else "+" if by > 0 else "−") + number, 4.0))
    under = (f"{len(off)} spots, mm above (▲ +) or below (▼ −) the design"
             f"{'; the farthest numbered' if len(off) > MANY else ''}{f'; ringed: {mending.act}' if mending and lifts else ''}")
    told = "; ".join(f"{point}, {_lifted(lift)}" for point, lift in lifts.items())
    lifting = "" if not mending else (f" Ringed to {mending.act}: {told}." if lifts else
                                      f" No spot is ringed to be {mending.act}ed.")
    style.titled(ax, "How far off the design was it laid?", under, f"{check.sentence()}{lifting}")
    places = spots[["x", "y"]].to_numpy()
    beside(ax, labels, lambda: [*spans(ax, places, 3.0), *spans(ax, places[spots["point"].isin(lifts)], 8.0),
                                *spans(ax, in_walls(check.brief), 5.0)])
    return ax


def _lifted(lift: Lift) -> str:
    return f"{'raise' if lift.by > 0 else 'lower'} {word_change(abs(lift.by), 'mm')}"


def straightedge(found: Straightedge, *, ax: Axes | None = None) -> Axes:
    """The surface under the bar where its gap is greatest, the bar on its two contacts, the gap in mm; heights too tall, as said.

    `found` is what `straightedge` of the package gives. Nothing is refused.
    """
    ax = style.axes(ax, (7.6, 3.6))
    first, way, length = np.array(found.ends[0]), np.array(found.direction), found.length
    one, two, deepest = (float(np.clip((np.array(place) - first) @ way, 0.0, length)) for place in (*found.contacts, found.where))
    along = np.unique(np.concatenate([np.linspace(0.0, length, PLACES), [one, two, deepest]]))
    levels = np.asarray(found.ground.level_at(*(first[:, None] + way[:, None] * along)))
    at_one, at_two = np.interp([one, two], along, levels)
    below = 1000 * (at_one + (at_two - at_one) * (along - one) / (two - one) - levels)  # mm from the underside of the bar
    tall = max(float(below.max()), 1.0)
    bottom, top = 1.45 * tall, -0.5 * tall
    ax.set_xlim(-0.04 * length, 1.04 * length)
    ax.set_ylim(bottom, top)
    ax.set_yticks([tick for tick in ax.get_yticks() if 0 <= tick <= bottom])
    ax.fill_between(along, bottom, below, facecolor=style.BED, linewidth=0.0, zorder=1)
    ax.plot(along, below, color=style.INK, linewidth=2.0, zorder=4)
    ax.fill_between([0.0, length], -0.13 * tall, 0.0, facecolor=style.SLAB, edgecolor=style.INK, linewidth=1.0, zorder=3)
    ax.plot([one, two], [0.0, 0.0], "o", color=style.INK, markersize=6, linestyle="none", clip_on=False, zorder=6)
    inwards = two - one > 0.3 * length
    for place, left in ((one, not inwards), (two, inwards)):
        style.note(ax, "rests here", (place, -0.13 * tall), (-3 if left else 3, 4), ha="right" if left else "left", backed=False)
    if found.gap > SAME:
        style.arrow(ax, (deepest, 0.0), (deepest, 1000 * found.gap), colour=style.NOT_MET, ends="<->", thick=1.4)
        side = "left" if deepest < 0.4 * length else "right" if deepest > 0.6 * length else "center"
        style.note(ax, f"gap {word_mm(found.gap, digits=1)}", (deepest, 1000 * found.gap), (0, -7), va="top", ha=side,
                   fontweight="bold", color=style.NOT_MET, bbox={**style.BACKED, "facecolor": style.BED})
    else:
        ax.text(length / 2, 0.4 * tall, "no gap: the surface touches the bar or bends down from it", ha="center", va="top",
                fontsize=style.TEXT, color=style.INK, zorder=6)
    style.name_axes(ax, "along the bar, m", "below the bar, mm")
    title = f"Where is the gap under a {word_distance(length)} straightedge greatest?"
    under = (f"the bar lies from {word_place(*found.ends[0])} to {word_place(*found.ends[1])}; "
             f"{style.too_tall(ax, title, each=1000.0)}")
    return style.titled(ax, title, under, found.sentence())
