"""The sheet a person takes outside, on A4: verdicts, quantities, staff readings; and the tables beside it."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import shapely
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from ..errors import SurveyError
from ..survey.cells import safe
from ..wording import word_mm
from ..works.heaps import ENDS
from ..works.materials import Materials
from ..works.offcuts import STRAIGHT, Piece
from ..works.setout import PegTable
from ..works.units import UnitLayout
from .cuts_page import cuts_page
from .figures import style
from .figures.falls import draw_falls
from .figures.ground import mark_points
from .figures.labels import beside
from .job import Job
from .page import ACROSS, COLOURS, LEFT, LINE, as_pdf, broken, fitted, fitting, page_of, paragraphs, plain_table
from .pegs_page import NAME, distinct, marks_of, page_count, peg_pages, printed
from .quantities_page import quantities_page
from .saving import write_all, write_whole

SHEET_FILES = ("levels.csv", "pegs.csv", "materials.csv", "cuts.csv", "sheet.pdf", "verdicts.csv")
CUTS = "cuts.pdf"  # where units are laid out
REST = "The rest is in verdicts.csv and in the notebooks."
FOOT = 0.06  # of the page: where the line to sign begins
NEEDED = "Need: how wide a margin must be to be sure; errors of survey, setting out and laying are counted."


def save_sheet(job: Job, *, backsight: float | None = None) -> Path:
    """Write sheet.pdf and its tables (SHEET_FILES) into the job's folder `sheet`, and cuts.pdf where units are laid out.

    Parameters
    ----------
    job : Job
        As opened by `open_job`.
    backsight : float, optional
        Today's reading on the benchmark in m; the one in the brief if not given.

    Returns
    -------
    Path
        The folder written to; SHEET_FILES names what is in it.

    Raises
    ------
    SurveyError
        Whatever keeps the job from being worked out or the files from being written; a folder `sheet` that leads out of the
        job's own.
    """
    pegs = job.pegs(backsight)
    readings = pegs.readings.drop(columns=["point", "finished", "formation"]).add_prefix("reading_")
    contents = (_csv(job.reduced.table), _csv(pd.concat([pegs.table, readings], axis=1)), _csv(_materials(job)),
                _csv(_cuts(job)), as_pdf(f"Levels sheet: {job.name}", pages_of(job, pegs)), _csv(job.verdicts.words))
    cuts = None if job.outdoor.tried("units") is None else as_pdf(f"Units: {job.name}", [cuts_page(job)])
    folder = sheet_folder(job)
    bad = [name for name in (*SHEET_FILES, CUTS) if (folder / name).is_symlink() or (folder / name).is_dir()]
    if bad:
        raise SurveyError(f"{', '.join(bad)} in the folder sheet is a folder or a link", rule="The sheet is written into files.",
                          remedy="Remove it and write the sheet again.")
    write_all(folder, SHEET_FILES, contents)
    if cuts is not None:
        write_whole(folder / CUTS, cuts)
    else:
        (folder / CUTS).unlink(missing_ok=True)  # of units that are no longer in the brief
    return folder


def sheet_folder(job: Job) -> Path:
    """The folder `sheet` of a job, made if it is not there. Raises SurveyError where it leads out of the job's own, or cannot."""
    folder = job.folder / "sheet"
    if folder.is_symlink() or (folder.exists() and not folder.is_dir()):
        raise SurveyError(f"{job.folder.name}/sheet is not a folder of the job's own",
                          rule="Nothing is written outside a job folder.", remedy="Remove it and write the sheet again.")
    try:
        folder.mkdir(exist_ok=True)
    except OSError as error:
        raise SurveyError(f"the folder sheet cannot be made in {job.folder.name}: {error.strerror}",
                          remedy="Look whether the job's folder is still there and can be written to.") from None
    return folder


def _csv(table: pd.DataFrame) -> bytes:
    """A table as CSV, levels to a tenth of a millimetre; a text that a spreadsheet would take for a sum is quoted with '."""
    guarded = table.map(lambda cell: safe(cell) if isinstance(cell, str) else cell).rename(columns=safe)  # layers name columns
    return guarded.to_csv(index=False, float_format="%.4f").encode("utf-8-sig")  # the mark lets a spreadsheet see m³ and Σ


def _materials(job: Job) -> pd.DataFrame:
    """Quantities with their units in the headings; nothing where they cannot be worked out."""
    found: Materials | None = job.outdoor.tried("materials")
    if found is None:
        return pd.DataFrame(columns=["done", "what"])
    units = {"in_place": "in_place_m3", "loose": "loose_m3", "mass": "mass_kg"}
    return found.table.rename(columns={f"{name}_{end}": f"{told}_{end}" for name, told in units.items() for end in ENDS}
                              | {"area": "area_m2"})


def _cuts(job: Job) -> pd.DataFrame:
    """Which piece is cut from which unit, in m, and the middle of the place in plan that it is for; nothing without units."""
    layout: UnitLayout | None = job.outdoor.tried("units")
    if layout is None:
        return pd.DataFrame(columns=["piece", "unit"])
    cut = [piece for piece in layout.pieces if piece.kind == "cut"]
    middles = [piece.polygon.centroid for piece in cut]
    outlines = ["" if piece.shape == STRAIGHT else _outline(layout, piece) for piece in cut]
    return layout.cutting.table.rename(columns={"x": "saw_x", "y": "saw_y"}).assign(
        shape=[piece.shape for piece in cut], sliver=[piece.sliver for piece in cut],
        plan_x=[middle.x for middle in middles], plan_y=[middle.y for middle in middles], outline_mm=outlines)


def _outline(layout: UnitLayout, piece: Piece) -> str:
    """The corners of a piece that is no rectangle, in mm along and across the unit from its own lowest corner; holes apart."""
    rings = [layout.grid.into(shapely.get_coordinates(ring)) for ring in (piece.polygon.exterior, *piece.polygon.interiors)]
    low = rings[0].min(axis=0)
    return " / ".join("; ".join(" ".join(word_mm(value).removesuffix(" mm") for value in place - low) for place in ring[:-1])
                      for ring in rings)


def pages_of(job: Job, pegs: PegTable) -> list[Figure]:
    """The pages of the sheet: verdicts and plan, quantities, readings."""
    of = 2 + page_count(pegs)
    return [_first_page(job, pegs, of), quantities_page(job, 2, of), *peg_pages(job, pegs, 3, of)]


def _first_page(job: Job, pegs: PegTable, of: int) -> Figure:
    page = page_of(job, f"levels sheet, page 1 of {of}")
    layers = ", ".join(f"{word_mm(layer.thickness)} {layer.name}" for layer in job.brief.layers)
    built = f"Build-up {word_mm(job.brief.build_up)}: {layers or 'none'}."
    if len(broken(built)) > 3:
        built = f"Build-up {word_mm(job.brief.build_up)} in {len(job.brief.layers)} layers: pegs.csv names them."
    top = paragraphs(page, 0.938, fitting([f"Finished surface: {job.finish_words}", built], 7, "The rest is in the notebooks."))
    failed = job.verdicts.failed
    if failed:
        page.text(0.07, top, f"THIS SURFACE DOES NOT DO WHAT WAS ASKED: {failed} demand(s) not met. Do not dig to it.",
                  fontsize=style.TEXT + 1, fontweight="bold", color=style.NOT_MET, va="top")
        top -= 1.2 * LINE
    plan = page.add_axes((0.10, 0.515, 0.83, top - 0.0285 - 0.515))
    nameless = _peg_plan(plan, job, pegs)
    verdicts = page.add_axes((LEFT, FOOT, ACROSS, 0.425 - FOOT))
    words = job.verdicts.words.assign(told=job.verdicts.verdicts_told)
    words = words.sort_values("verdict", key=_news, kind="stable")  # worst news first
    if "give or take" in words:  # beside what is in hand, what would be needed to be sure
        words["margin"] = [f"{margin.partition(' ')[0]} of {give}" for margin, give in
                           zip(words["margin"], words["give or take"], strict=True)]
    rows = [tuple(row) for row in words[["demand", "place", "required", "found", "margin", "told"]].itertuples(index=False)]
    headings = ("demand", "where closest", "required", "found", "in hand, need" if job.counted else "in hand", "verdict")
    bottom, shown = plain_table(verdicts, "Does it do what was asked?", headings, (0.0, 0.14, 0.29, 0.515, 0.718, 0.878), rows,
                                floor=0.30)
    left = [f"{len(rows) - shown} more demands are in verdicts.csv."] if shown < len(rows) else []
    unsure = [f"{title} ({how})" for title, how in job.verdicts.unsure]
    left += [f"{nameless} pegs have no room for their names on the plan: pegs.csv has their x and y."] if nameless else []
    told = [*(f"LOOK AGAIN: {doubt}" for doubt in job.doubts), *left, job.reduced.closing,
            *(f"{'What would mend the design' if verdict == 'not met' else 'To be sure'}, {demand} ({place}): {mend}"
              for demand, place, verdict, mend in words[["demand", "place", "verdict", "mend"]].itertuples(index=False) if mend),
            NEEDED if job.counted else job.verdicts.basis,
            *([job.verdicts.nothing_in_hand] if job.verdicts.nothing_in_hand else []),
            *([f"Usual limits that no document seen bears out: {', '.join(unsure)}."] if unsure else [])]
    below = FOOT + bottom * (0.425 - FOOT) - 0.01
    paragraphs(page, below, fitting(told, int((below - 0.05) / LINE), REST))
    style.plain_text(page)
    return page


def _news(verdicts: pd.Series) -> pd.Series:
    """Order of verdicts, the worst first."""
    return -verdicts.map(list(COLOURS).index)


def _peg_plan(ax: Axes, job: Job, pegs: PegTable) -> int:
    """The plan with its pegs; how many there was no room to name."""
    style.plan(ax, job.brief)
    mark_points(ax, job, below=True)
    shown, names = printed(pegs), distinct([peg.point for peg in pegs.pegs])
    for peg in shown:
        ax.plot([peg.x], [peg.y], "+", color=style.INK, markersize=6)
    draw_falls(ax, job.finish)
    ax.set_title("Where are the pegs, and which way does the finish fall?", fontsize=style.TEXT + 2, fontweight="bold",
                 loc="left", color=style.INK)
    before = len(ax.texts)
    beside(ax, [(peg.x, peg.y, "\n".join(names[peg.point]), 4.0) for peg in shown])
    nameless = len(shown) - sum(bool(text.get_text()) for text in ax.texts[before:])
    pegged, spots = {peg.point for peg in shown}, job.reduced.spots().dropna(subset=["x", "y"])
    dpc = spots[spots["feature"] == "dpc"][["x", "y", "point"]].itertuples(index=False, name=None)
    marks = [*((mark.x, mark.y, mark.point) for mark in marks_of(job)), *dpc]
    beside(ax, [(x, y, fitted(point, NAME)[0], 5.0) for x, y, point in marks if point not in pegged])
    return nameless
