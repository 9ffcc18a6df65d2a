"""The page of the sheet with what is dug, bought, cut, and where the water goes."""

from __future__ import annotations

from collections.abc import Sequence

from matplotlib.figure import Figure

from ..design.published import CAUTIONS
from ..wording import word_distance, word_fall, word_flow, word_mass, word_money, word_volume
from ..works.heaps import BUY, Carrier, Heap, word_carriers
from ..works.materials import Materials
from .figures import style
from .job import Job
from .page import ACROSS, LEFT, LINE, broken, fitting, page_of, paragraphs, plain_table

COLUMNS = {"": 54, "what": 123, "loose, waste counted": 136, "mass": 40, "loads": 62, "counted": 58, "cost": 50}  # pt
FOOT = 0.06  # of the page: where the line to sign begins
STEP = 15.0  # pt: height of a row of the table
TITLE = 0.02  # of the page: from a title to what stands under it
REST = "The rest is in notebook 4-cut-and-fill."
KEPT = 6  # lines for laying and water, however many materials there are


def quantities_page(job: Job, number: int, of: int) -> Figure:
    """The page, numbered."""
    page = page_of(job, f"levels sheet, page {number} of {of}")
    outdoor = job.outdoor
    cautions = [f"• {caution}" for caution in CAUTIONS]
    keep = FOOT + 0.015 + TITLE + LINE * sum(len(broken(caution)) for caution in cautions)  # nothing may push them off
    fit, found = outdoor.tried("fit"), outdoor.tried("materials")
    faults = [f"NOT WORKED OUT: {fault}" for fault in outdoor.faults]
    said = [*faults, *(f"LOOK AGAIN: {doubt}" for doubt in outdoor.doubts), outdoor.dig.sentence(),
            *([fit.sentence()] if fit is not None and fit.rooms else [])]
    top = paragraphs(page, 0.938, fitting(said, 12, REST))
    bought = [] if found is None else [found.sentence(), f"A load is of a {word_carriers(found.carriers)}."]
    bought = fitting(bought, 10, REST)
    told = LINE * (sum(len(broken(one)) for one in bought) + KEPT)
    top, left = (top, 0) if found is None else _materials(page, top - 0.025, found, keep + 0.015 + TITLE + told)
    top = paragraphs(page, top, [*([f"{left} more are in materials.csv."] if left else []), *bought])
    top = _titled(page, top - 0.015, "Water and laying", [*_water(job), *_laying(job)], keep)
    _titled(page, top - 0.015, "Before you dig", cautions, FOOT)
    style.plain_text(page)
    return page


def _titled(page: Figure, top: float, title: str, told: Sequence[str], foot: float) -> float:
    """A title and paragraphs; those that would reach below `foot` are left to the notebooks."""
    page.text(LEFT, top, title, fontsize=style.TEXT + 2, fontweight="bold", color=style.INK, va="top")
    return paragraphs(page, top - TITLE, fitting(told, int((top - TITLE - foot) / LINE + 1e-6), REST))


def _materials(page: Figure, top: float, found: Materials, foot: float) -> tuple[float, int]:
    """The table of what goes and comes, likely masses and costs; where it ends, and how many rows had no room above `foot`."""
    words = found.words
    words["mass"] = [word_mass(heap.mass.likely) for heap in found.heaps]
    by = {carrier.name: carrier for carrier in found.carriers}
    words["loads"] = [_loads(heap, by["barrow"] if heap.done != BUY else by["bulk bag"]) for heap in found.heaps]
    if "cost" in words:
        words["cost"] = ["" if heap.cost is None else word_money(heap.cost.likely) for heap in found.heaps]
    columns = [name for name in COLUMNS if name in words]
    rows = [tuple(row) for row in words[columns].itertuples(index=False, name=None)]
    widths = [COLUMNS[name] for name in columns]
    at = [sum(widths[:place]) / sum(COLUMNS.values()) for place in range(len(widths))]
    height = top - foot
    ax = page.add_axes((LEFT, foot, ACROSS, height))
    down, shown = plain_table(ax, "What goes, what comes", columns, at, rows, step=STEP, floor=LINE / height)
    return foot + down * height - 0.004, len(rows) - shown


def _loads(heap: Heap, carrier: Carrier) -> str:
    """How many, as carried off in barrows or bought in bags; units come as they are."""
    if heap.pieces is not None or heap.area is not None:
        return ""
    count = carrier.loads(heap.loose, heap.mass)[1]
    return f"{count} {carrier.name.removeprefix('bulk ')}{'s' * (count != 1)}"


def _laying(job: Job) -> list[str]:
    outdoor = job.outdoor
    lifts = [f"{layer.name} in {layer.lifts} lifts" for layer in job.brief.layers if layer.lifts > 1]
    said = [part.sentence() for part in map(outdoor.tried, ("units", "post_check")) if part is not None]
    return [*said, *([f"Compact the {', '.join(lifts)}."] if lifts else [])]


def _water(job: Job) -> list[str]:
    """Where the water goes, without the sources, which the notebook has."""
    outdoor = job.outdoor
    rain, flow, hole = map(outdoor.tried, ("catchments", "flow", "soakaway"))
    said = [*(() if rain is None else rain.dead), *(() if hole is None else hole.cautions)]  # what must not be cut off is first
    if flow is not None:
        said += [f"The {one.what} carries {word_flow(one.flow)} at {word_fall(one.fall)}; {word_flow(flow.flow)} comes: "
                 f"{'enough' if one.share(flow) <= 1 else 'NOT ENOUGH'}." for one in outdoor.tried("conduits") or ()]
    if hole is not None:
        unsure = "enough only if a test of a hole bears that out"
        enough = "NOT ENOUGH" if not hole.enough else "enough" if hole.tested else unsure
        said.append(f"Soakaway {' × '.join(word_distance(side) for side in hole.size)}: {word_volume(hole.needed)} to be stored, "
                    f"{word_volume(hole.has)} of room between the stones: {enough}. A sum, not a design.")
    return [*said, *([] if rain is None else [rain.sentence()])]
