"""The pages with the staff readings to look for: large type, in the order in which one walks."""

from __future__ import annotations

from collections.abc import Sequence

import shapely
from matplotlib.figure import Figure

from ..design.conditions import Spot
from ..design.unasked import MARKS
from ..errors import SurveyError
from ..surface.facet import REACH
from ..surface.shapes import Channel
from ..survey.book import ALLOWANCES
from ..wording import word_distance, word_fall, word_level, word_mm, word_number
from ..works.packer import packer
from ..works.setout import Peg, PegTable
from .figures import style
from .job import Job
from .page import ACROSS, LEFT, LINE, TALL, WIDE, broken, fitted, fitting, page_of, paragraphs, wide

LARGE = 15  # pt: read at arm's length, a staff in the other hand
ROWS = 24  # pegs on a page
MOST = 4 * ROWS
SURFACES = 5  # columns of readings that fit
NOTES = 3  # lines for pegs about which there is more to say
HEAD = 14  # lines above the readings
NAME = 88.0  # pt: room for the name of a peg, on two lines where it is long
LEVELS = (1.0, 1.2, 1.8, 2.0)  # m: usual lengths of a level


def peg_pages(job: Job, pegs: PegTable, number: int, of: int) -> list[Figure]:
    """The pages with the readings, numbered from `number` of `of`."""
    walked, names = printed(pegs), distinct([peg.point for peg in pegs.pegs])
    found: list[Figure] = []
    for start in range(0, len(walked), ROWS):
        page = page_of(job, f"levels sheet, page {number + len(found)} of {of}")
        told = fitting(_told(job, pegs), HEAD, "The rest is in notebook 4-cut-and-fill.") if not start else []
        top = paragraphs(page, 0.938, told)
        part = walked[start:start + ROWS]
        _rows(page, top - 0.012, part, names)
        notes: dict[str, list[str]] = {}
        for peg in part:
            notes.setdefault(pegs.note(peg), []).append(" ".join(names[peg.point]))
        noted = fitting([f"{', '.join(those)}: {note}." for note, those in notes.items() if note], NOTES,
                        "Notes on more of these pegs are in pegs.csv.")
        paragraphs(page, 0.062 + LINE * sum(len(broken(note)) for note in noted), noted)
        found.append(page)
    if len(walked) < len(pegs.pegs):
        found[-1].text(LEFT, 0.035, f"{len(pegs.pegs) - len(walked)} more pegs are in pegs.csv.", fontsize=style.TEXT,
                       color=style.NOT_MET)
    for page in found:
        style.plain_text(page)
    return found


def printed(pegs: PegTable) -> tuple[Peg, ...]:
    """The pegs that the sheet has room for, in the order in which one walks."""
    return (pegs.walked().pegs if len(pegs.pegs) <= 500 else pegs.pegs)[:MOST]


def page_count(pegs: PegTable) -> int:
    """How many pages the pegs take."""
    return -(-min(len(pegs.pegs), MOST) // ROWS)


def _told(job: Job, pegs: PegTable) -> list[str]:
    known, reading = pegs.backsight or (pegs.hpc, 0.0)
    steepest = max(job.finish.facets, key=lambda facet: facet.plane.fall).plane.fall
    blocks = ", ".join(f"{word_mm(packer(steepest, length), digits=1)} at {word_number(length)} m" for length in LEVELS)
    told = [
        f"Staff readings in m, in the order in which one walks. They hold with {word_level(reading)} read on {job.benchmark} "
        f"({word_level(known)}; plane of collimation {word_level(pegs.hpc)}). With another reading on {job.benchmark}, add the "
        f"difference (yours minus {word_level(reading)}) to every reading here, or print the sheet again. After moving the "
        "instrument, read a peg that is already set as well: it must read what this page then says, within "
        f"{word_mm(ALLOWANCES['ordinary'].of(2))}.",
        f"Steepest fall {word_fall(steepest)}: the block under the lower end of a level is {blocks}."]
    marks = [(mark, job.finish.level_at(mark.x, mark.y)) for mark in marks_of(job)
             if job.brief.area.distance(shapely.Point(mark.x, mark.y)) <= REACH]
    if marks:
        told.append("At the marks the staff on the finished surface reads " + ", ".join(
            f"{mark.point} {word_level(pegs.hpc - level)} ({word_mm(abs(level - mark.level))} "
            f"{'above' if level > mark.level else 'below'} it)" for mark, level in marks) + ".")
    setting = job.told.get("setting_out", {})
    if "grid_m" in setting:
        told.append(f"Peg g2.1 stands 2 squares of {word_distance(setting['grid_m'])} along the wall and 1 out from it"
                    f"{'; e1.2 is the second along side 1' if 'edges_m' in setting else ''}: see the plan on page 1.")
    if isinstance(job.shape, Channel) and "channel_mm" in job.told.get("rain", {}):
        depth = job.outdoor.conduits[0].size[1]
        ends = [pegs.peg(name) for name in ("channel start", "channel end")]
        reads = ", ".join(f"{word_level(peg.reading_finished + depth)} at the {peg.point}" for peg in ends)
        told.append(f"The invert of the channel lies {word_mm(depth)} below the paving beside it: the staff in it reads {reads}. "
                    "Dig its seat below that as its maker says; it is not in the volumes.")
    height = setting.get("string_mm")
    if height is None:
        return told
    try:
        first = pegs.strings(height / 1000).iloc[0]
    except SurveyError as error:
        raise error.at("brief.toml, [setting_out]") from None
    down = ", ".join(f"{word_mm(first[name])} to the {name.removeprefix('down to ')}" for name in first.index
                     if name.startswith("down to ")).replace("the finished", "the finished surface")
    told.append(f"String {word_mm(height / 1000)} above the finished surface, where the staff reads that much less: measure "
                f"down {down}.")
    return told


def marks_of(job: Job) -> list[Spot]:
    """The marks that were read and have a place: sills, paving that stays, what is buried, drains, covers, air bricks."""
    spots = job.reduced.spots()
    marks = spots[spots["feature"].isin(MARKS)].dropna(subset=["x", "y"])
    return [Spot(*one) for one in marks[["point", "x", "y", "level"]].itertuples(index=False, name=None)]


def _rows(page: Figure, top: float, pegs: Sequence[Peg], names: dict[str, list[str]]) -> None:
    every = list(pegs[0].readings)[::-1]  # in the order of the work: formation first
    surfaces = every if len(every) <= SURFACES else [*every[:SURFACES - 1], every[-1]]
    space = 0.6 * WIDE / len(surfaces)
    size = style.TEXT + (2 if len(surfaces) < SURFACES else 0)
    headings = _headings(every, space, size)
    head = (size + 4) * max(len(headings[name]) for name in surfaces) + 6  # pt
    foot = 0.065 + NOTES * LINE
    if len(every) > len(surfaces):
        page.text(LEFT, foot, f"Readings on {len(every) - len(surfaces)} more layers are in pegs.csv.", fontsize=style.TEXT,
                  color=style.NOT_MET)
        foot += LINE
    ax = page.add_axes((LEFT, foot, ACROSS, top - foot))
    ax.set_axis_off()
    ax.set_xlim(0, 1)
    ax.set_ylim((top - foot) * TALL, 0)  # pt down the page
    step = ((top - foot) * TALL - head) / ROWS
    at = [0.0, 0.185, *(0.40 + 0.6 * (number + 1) / len(surfaces) for number in range(len(surfaces)))]
    for x, heading in zip(at, (["peg"], ["how deep"], *(headings[name] for name in surfaces)), strict=True):
        ax.text(x, head - 4, "\n".join(heading), fontsize=size, fontweight="bold", color=style.INK, va="bottom",
                ha="left" if x < 0.3 else "right", linespacing=1.1)
    for row, peg in enumerate(pegs):
        ax.plot([0, 1], [head + row * step] * 2, color="#c9cfd3", linewidth=0.8, clip_on=False)
        middle, name = head + (row + 0.5) * step, names[peg.point]
        ax.text(0.0, middle, "\n".join(name), fontsize=LARGE if _is_short(name) else style.TEXT, color=style.INK, va="center",
                fontweight="bold", linespacing=1.0)
        said = [f"dig {word_mm(peg.dig or 0.0)}"] if peg.dig or not peg.fill else []
        said += [f"fill {word_mm(peg.fill)}"] if peg.fill else []
        ax.text(at[1], middle, "—" if peg.dig is None else "\n".join(said), fontsize=LARGE if len(said) < 2 else style.TEXT + 2,
                color=style.INK, va="center", linespacing=1.0)
        cells = tuple(word_level(peg.readings[surface]).removesuffix(" m") for surface in surfaces)
        for x, cell in zip(at[2:], cells, strict=True):
            ax.text(x, middle, cell, fontsize=LARGE, color=style.INK, va="center", ha="right")


def _headings(surfaces: Sequence[str], space: float, size: float) -> dict[str, list[str]]:
    """What stands above the readings on each surface, no two alike; `surfaces` from the bottom up."""
    found: dict[str, list[str]] = {}
    for number, surface in enumerate(reversed(surfaces), start=1):
        top, name = surface.startswith("top of "), surface.removeprefix("top of ")
        lines = ["top of"] * top + fitted(name, space - 6, size, most=3, bold=True)
        found[surface] = ["top of", f"layer {number}"] if top and (lines in found.values() or lines[-1].endswith("…")) else lines
    return found


def _is_short(name: Sequence[str]) -> bool:
    """Whether a name has room in large type."""
    return len(name) == 1 and wide(name[0], LARGE, bold=True) <= NAME


def distinct(names: Sequence[str]) -> dict[str, list[str]]:
    """Names on two lines at most, cut in the middle where they must be, and no two alike; whole in pegs.csv."""
    found: dict[str, list[str]] = {}
    for number, name in enumerate(names, start=1):
        lines, kept = broken(name, NAME, bold=True), len(name)
        while len(lines) > 2:
            kept -= 1
            lines = broken(f"{name[:kept - kept // 3].rstrip()}… {name[len(name) - kept // 3:].lstrip()}", NAME, bold=True)
        found[name] = lines if lines not in found.values() else [*fitted(name, NAME, bold=True), f"number {number}"]
    return found
