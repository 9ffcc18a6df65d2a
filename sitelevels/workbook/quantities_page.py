"""The page of the sheet with what is dug, bought, cut, and where the water goes."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from matplotlib.figure import Figure

from ..design.published import CAUTIONS
from ..wording import word_distance, word_fall, word_flow, word_mass, word_money, word_volume
from ..works.materials import word_carriers
from .figures import style
from .job import Job
from .page import LINE, WIDE, page_of, paragraphs, plain_table

COLUMNS = {"": 11, "what": 28, "loose, waste counted": 27, "mass": 9, "barrows": 9, "counted": 19, "cost": 9}  # characters
FOOT = 0.06  # of the page: where the line to sign begins


def quantities_page(job: Job, number: int, of: int) -> Figure:
    """The page, numbered."""
    page = page_of(job, f"levels sheet, page {number} of {of}")
    outdoor = job.outdoor
    fit = [outdoor.fit.sentence()] if outdoor.fit.rooms else []
    top = paragraphs(page, 0.938, [outdoor.dig.sentence(), *fit])
    top = _materials(page, top - 0.025, job)
    top = paragraphs(page, top, [outdoor.materials.sentence(), f"A load is of a {word_carriers(outdoor.carriers)}."])
    top = _titled(page, top - 0.015, "Laying and water", [*_laying(job), *_water(job)],
                  sum(len(textwrap.wrap(f"• {caution}", WIDE)) for caution in CAUTIONS) + 3)
    _titled(page, top - 0.015, "Before you dig", [f"• {caution}" for caution in CAUTIONS])
    style.plain_text(page)
    return page


def _titled(page: Figure, top: float, title: str, told: Sequence[str], keep: int = 0) -> float:
    """A title and paragraphs; those that would leave fewer than `keep` lines free are left to the notebooks."""
    page.text(0.07, top, title, fontsize=style.TEXT + 2, fontweight="bold", color=style.INK, va="top")
    room = int((top - 0.02 - FOOT) / LINE) - keep
    lines = [part for one in told for part in textwrap.wrap(one, WIDE)]
    if len(lines) > room:
        lines = [*lines[:room - 1], "The rest is in notebook 4-cut-and-fill."]
    return paragraphs(page, top - 0.02, lines)


def _materials(page: Figure, top: float, job: Job) -> float:
    """The table of what goes and comes, likely masses and costs; where it ends is given back."""
    found = job.outdoor.materials
    words = found.words
    words["mass"] = [word_mass(heap.mass.likely) for heap in found.heaps]
    words["barrows"] = [cell.partition(" ")[0] for cell in words["barrows"]]
    if "cost" in words:
        words["cost"] = ["" if heap.cost is None else word_money(heap.cost.likely) for heap in found.heaps]
    columns = [name for name in COLUMNS if name in words]
    rows = [tuple(row) for row in words[columns].itertuples(index=False, name=None)]
    widths = [COLUMNS[name] for name in columns]
    at = [sum(widths[:place]) / sum(COLUMNS.values()) for place in range(len(widths))]
    deep = [max(len(textwrap.wrap(str(cell), width)) for cell, width in zip(row, widths, strict=True)) for row in rows]
    step = 1.15 * LINE
    height = step * (1 + sum(1 + 0.82 * (one - 1) for one in deep))
    ax = page.add_axes((0.07, top - height, 0.86, height))
    plain_table(ax, "What goes, what comes", columns, at, rows, widths=widths, step=step / height)
    return top - height - 0.004


def _laying(job: Job) -> list[str]:
    outdoor = job.outdoor
    lifts = [f"{layer.name} in {layer.lifts} lifts" for layer in job.brief.layers if layer.lifts > 1]
    said = [outdoor.units.sentence()] if outdoor.units is not None else []
    said += [outdoor.post_check.sentence()] if outdoor.post_check is not None else []
    return [*said, *([f"Compact the {', '.join(lifts)}."] if lifts else [])]


def _water(job: Job) -> list[str]:
    """Where the water goes, without the sources, which the notebook has."""
    outdoor = job.outdoor
    said, flow, hole = [outdoor.catchments.sentence(), *outdoor.catchments.dead], outdoor.flow, outdoor.soakaway
    if flow is not None:
        said += [f"The {one.what} carries {word_flow(one.flow)} at {word_fall(one.fall)}; {word_flow(flow.flow)} comes: "
                 f"{'enough' if one.share(flow) <= 1 else 'NOT ENOUGH'}." for one in outdoor.conduits]
    if hole is not None:
        said.append(f"Soakaway {' × '.join(word_distance(side) for side in hole.size)}: {word_volume(hole.needed)} to be stored, "
                    f"{word_volume(hole.has)} of room between the stones: {'enough' if hole.enough else 'NOT ENOUGH'}. "
                    "A sum, not a design.")
        said += hole.cautions
    return said
