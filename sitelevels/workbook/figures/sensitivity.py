"""What moves a verdict, and where the staff goes before one is made."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.text import Annotation

from ...design.sensitivity import SHOWN, Sensitivity
from ...design.shot_plan import ShotPlan
from ...wording import word_share
from . import style
from .labels import beside, settle, spans


def sensitivity(found: Sensitivity, demand: int, *, ax: Axes | None = None) -> Axes:
    """Bars about the margin of one demand, by its number: how far a standard deviation of each input moves it, both ways.

    `found` is what `sensitivity` of the package gives, `demand` counts from 0; bars are in the unit of the demand, mm or mm/m.
    Raises SurveyError for a number that no demand has.
    """
    ax = style.axes(ax, (7.6, 3.9))
    found.verdicts.worst_row(demand)
    finding, (verdict, _) = found.verdicts.worst[demand], found.verdicts.judged[demand]
    table = found.inputs(demand)
    shown, rest = table.iloc[:SHOWN], table.iloc[SHOWN:]
    bars = [(name, abs(moves)) for name, moves in zip(shown["input"], shown["moves"], strict=True)]
    if len(rest):
        bars.append((f"the other {len(rest)} together", float(np.sqrt((rest["moves"]**2).sum()))))
    bars.append((f"all, {word_share(finding.sure)} sure", finding.give * 1000))
    margin, unit = finding.margin * 1000, finding.demand.unit
    reach = max(*(size for _, size in bars), 1e-3)
    places = np.arange(len(bars))
    colours = [style.EARTH] * (len(bars) - 1) + [{"met": style.MET, "not met": style.NOT_MET}.get(verdict, style.TOO_CLOSE)]
    ax.barh(places, [2 * size for _, size in bars], left=[margin - size for _, size in bars], color=colours, height=0.62)
    for place, (_, size) in zip(places, bars, strict=True):
        style.note(ax, finding.wide(size / 1000), (margin + size, place), (4, 0), va="center", backed=False)
    ax.axvline(margin, color="white", linewidth=1.2)
    ax.axvline(0.0, color=style.NOT_MET, linewidth=1.6)
    style.note(ax, "the limit", (0.0, 1.0), (3, -2), xycoords=("data", "axes fraction"), va="top", color=style.NOT_MET)
    ax.set_yticks(places, [name if len(name) <= 46 else name[:45] + "…" for name, _ in bars])
    ax.set_ylim(len(bars) - 0.5, -0.8)
    ax.set_xlim(min(margin - 1.1 * reach, -0.1 * reach), max(margin + 1.45 * reach, 0.1 * reach))
    style.name_axes(ax, f"margin, {unit}", "")
    named = f"'{finding.demand.title}' ({finding.condition.place})"
    most = f"{bars[0][0]} moves it most, by {finding.wide(bars[0][1] / 1000)} either way" if len(table) else "nothing moves it"
    style.titled(
        ax, "What moves this verdict most?", f"{named}: {verdict}, margin {finding.in_hand}",
        f"{named} has a margin of {finding.in_hand}; of single errors {most}, and in {word_share(finding.sure)} of cases all "
        f"together move it by no more than {finding.wide(finding.give)} the wrong way: {verdict}.")
    settle(ax)
    for text in ax.texts:
        long = text.get_window_extent().x1 > ax.figure.bbox.x1
        if isinstance(text, Annotation) and text.get_gid() == "under" and long:  # over the names at the left instead
            text.xy = (1, 1)
            text.set_horizontalalignment("right")
    return ax


def shot_plan(plan: ShotPlan, *, ax: Axes | None = None) -> Axes:
    """Where the staff goes, numbered in the order of reading; a place that is read again carries all its numbers.

    `plan` is what `shot_plan` of the package gives, places in m. Nothing is refused.
    """
    ax = style.plan(ax, plan.brief, margin=0.6)
    numbers: dict[tuple[float, float], list[int]] = {}
    for shot in plan.shots:
        if shot.x is not None and shot.y is not None:
            numbers.setdefault((shot.x, shot.y), []).append(shot.number)
    ax.plot(*np.array(list(numbers)).reshape(-1, 2).T, "o", color=style.WATER, markersize=4, zorder=6, linestyle="none",
            clip_on=False)
    away = "" if any(shot.x is not None for shot in plan.shots[:1]) else "; 1 is the benchmark, where you have it"
    style.titled(ax, "Where does the staff go?", f"numbers in the order of reading{away}",
                 f"{len(plan.shots)} readings at {len(numbers)} places, numbered in the order of reading{away}.")
    beside(ax, [(x, y, ", ".join(map(str, here)), 4.0) for (x, y), here in numbers.items()], lambda: spans(ax, [*numbers], 2.0))
    return ax
