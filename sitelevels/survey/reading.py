"""Files, text and tables into level books, with every fault told at once."""

from __future__ import annotations

import csv
import io
import math
import os
import re
import warnings
from collections.abc import Callable, Iterable
from dataclasses import replace
from decimal import Decimal
from functools import partial
from numbers import Real
from pathlib import Path
from typing import Any, TextIO

import pandas as pd

from ..errors import SurveyError, SurveyWarning, rows_named
from ..wording import word_level, word_number, word_place
from .book import LevelBook, Row

METRES_PER = {"m": 1.0, "cm": 0.01, "mm": 0.001, "ft": 0.3048}
"""Lengths in m of the units that may come in; the foot is the international foot, decimal."""

FEATURES = ("ground", "corner", "dpc", "threshold", "edge", "buried", "gully", "cover", "airbrick", "benchmark",
            "instrument")
"""What a point can be; an empty cell is an ordinary spot on the ground."""

COLUMNS = ("point", "reading", "bs", "is", "fs", "x", "y", "feature", "rl", "hand_level", "sight", "wall", "remarks")
LONGEST_READING = 5.0  # m: the common garden or site staff; a longer one is questioned, not refused
SMALL_LEVEL = 0.1  # m: a known level below this in a book of other units was perhaps meant in m
SAME_PLACE = 0.001  # m: tape measurements are booked to the millimetre at the finest

_UPSIDE_DOWN = re.compile(r"upside|invert", re.IGNORECASE)
_PLAIN_NUMBER = re.compile(r"[-+]?(\d+\.?\d*|\.\d+)")


def read_book(source: str | Path | TextIO | pd.DataFrame, *, unit: str = "m") -> LevelBook:
    """A level book from a file, text or table.

    Parameters
    ----------
    source : path, open text file, CSV text or DataFrame
        Columns point, bs, is, fs and as needed x, y, feature, rl, hand_level, sight, wall, remarks; or the plain list
        point, reading, whose first reading is the backsight and whose last, if it is on the same point, is the check.
        `rl` is a KNOWN level; `hand_level` is one that somebody worked out. A staff held upside down is booked with a
        minus. `sight` is the length of the sight; on a change point "foresight / backsight" if the two differ.
        Columns are parted by commas, semicolons or tabs; lines that start with # are notes.
    unit : {"m", "cm", "mm", "ft"}
        Unit of every length in the book: readings, levels, x, y and sights alike.

    Returns
    -------
    LevelBook
        Everything in metres.

    Raises
    ------
    SurveyError
        Names each faulty row and point, all of them at once. Row 1 is the first under the headings.

    Warns
    -----
    SurveyWarning
        Possible but doubtful values: a reading over 5 m, a feature or a column that is not known.

    >>> book = read_book("point,bs,is,fs,rl\\nBM,1.500,,,10.000\\nA,,1.625,,\\nBM,,,1.501,")
    >>> book.rows[1].point, book.rows[1].is_
    ('A', 1.625)
    """
    if not isinstance(unit, str) or unit not in METRES_PER:
        raise SurveyError(f"the unit {unit!r} is not known", rule=f"It can be {', '.join(METRES_PER)}.")
    headings, cells = _cells_of_frame(source) if isinstance(source, pd.DataFrame) else _cells_of_text(_text_of(source))
    return _book_of_cells(headings, cells, METRES_PER[unit], source=_name_of(source))


def _name_of(source: object) -> str:
    return os.path.basename(str(source)) if isinstance(source, Path) else ""


def _text_of(source: str | Path | TextIO) -> str:
    if isinstance(source, str) and ("\n" in source or "\r" in source):
        return source
    if not isinstance(source, (str, Path)):
        text = source.read() if hasattr(source, "read") else None
        if not isinstance(text, str):
            raise SurveyError(f"a level book cannot be read from {type(source).__name__}",
                              rule="It comes from a path, an open text file, CSV text or a DataFrame.")
        return text
    try:
        return Path(source).read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError:
        raise SurveyError(f"the file {Path(source).name} is not plain text", rule="A level book is a CSV file in UTF-8.",
                          remedy="In the spreadsheet choose 'Save as CSV UTF-8'.") from None
    except (OSError, ValueError):
        raise SurveyError(f"there is no level book to read at {Path(source).name!r}",
                          rule="It must be a file that can be opened.",
                          remedy="Check the folder and the spelling.") from None


def _lines_of(text: str) -> list[str]:
    return [line for line in text.lstrip("\ufeff").splitlines() if line.strip() and not line.lstrip().startswith("#")]


def _cells_of_text(text: str) -> tuple[list[str], list[list[Any]]]:
    """Headings and rows of cells; blank lines and notes are passed over."""
    lines = _lines_of(text)
    if not lines:
        raise SurveyError("the level book is empty", rule="It needs a line of headings (point,bs,is,fs) and rows below.")
    delimiter = max(",;\t", key=lines[0].count)
    try:
        table = list(csv.reader(io.StringIO("\n".join(lines)), delimiter=delimiter, strict=True))
    except csv.Error as error:
        raise SurveyError(f"the text is not a table ({error})", remedy="Look for a quotation mark that is not closed.",
                          ) from None
    return table[0], table[1:]


def with_known_level(text: str, point: str, level: float) -> str:
    """The text of a level book with a known level, in the book's own unit, on the first row of `point`; the rest untouched.

    Raises SurveyError if the text is no table or has no such point.
    """
    headings, _ = _cells_of_text(text)
    names = [heading.strip().lower() for heading in headings]
    if "point" not in names:
        raise SurveyError.together(_faults_of_headings(names))
    delimiter = max(",;\t", key=_lines_of(text)[0].count)
    if not math.isfinite(level):
        raise SurveyError(f"the level of {point} is {level}", rule="It must be a finite number.")
    lines = text.splitlines(keepends=True)
    heads, index = True, 0
    while index < len(lines):
        if not lines[index].strip() or lines[index].lstrip().startswith("#"):
            index += 1
            continue
        reader = csv.reader(lines[index:], delimiter=delimiter)
        cells = next(reader)
        record = slice(index, index + reader.line_num)  # a remark in quotation marks may run over several lines
        end = lines[record][-1][len(lines[record][-1].rstrip("\r\n")):]
        if heads and "rl" not in names:
            names.append("rl")
            lines[record] = [_csv_row([*cells, "rl"], delimiter) + end]
        elif not heads and cells[names.index("point")].strip() == point:
            cells += [""] * (len(names) - len(cells))
            cells[names.index("rl")] = word_number(level, figures=12)
            lines[record] = [_csv_row(cells, delimiter) + end]
            return "".join(lines)
        heads, index = False, record.stop
    raise SurveyError(f"no row of the book has the point {point!r}", remedy="Choose one that was read.")


def _csv_row(cells: list[str], delimiter: str) -> str:
    written = io.StringIO()
    csv.writer(written, delimiter=delimiter, lineterminator="\n").writerow(cells)
    return written.getvalue()[:-1]


def _cells_of_frame(frame: pd.DataFrame) -> tuple[list[str], list[list[Any]]]:
    return [str(name) for name in frame.columns], [list(row) for row in frame.itertuples(index=False, name=None)]


def _is_empty(cell: object) -> bool:
    if cell is None or isinstance(cell, str):
        return not (cell or "").strip()
    return pd.api.types.is_scalar(cell) and bool(pd.isna(cell))  # type: ignore[call-overload]


def _number(cell: object, column: str) -> float | None:
    """A finite number, None for an empty cell."""
    if _is_empty(cell):
        return None
    text = str(cell).strip().replace("−", "-")
    plain = isinstance(cell, str) and _PLAIN_NUMBER.fullmatch(text)
    if plain or (isinstance(cell, (Real, Decimal)) and not isinstance(cell, bool)):
        value = float(text) if plain else float(cell)  # type: ignore[arg-type]
        if abs(value) < 1e7:  # nothing on earth has a level or a grid coordinate of 10,000 km
            return value
    hint = f"Write {text.replace(',', '.')}." if re.fullmatch(r"[-+]?\d+,\d+", text) else "Look at the page it was booked on."
    raise SurveyError(f"{column} holds {text!r}, which is not a number", rule="A decimal point, no unit, no letters.",
                      remedy=hint)


def _text(cell: object) -> str:
    if _is_empty(cell):
        return ""
    whole = isinstance(cell, float) and cell.is_integer()  # a column of numbers with a gap: 7.0 was booked as 7
    return str(int(cell) if whole else cell).strip()  # type: ignore[call-overload]


def _sights(cell: object) -> tuple[float | None, float | None]:
    """Lengths of the forward and the back sight; one number serves both."""
    parts = [_number(part, "sight") for part in cell.split("/")] if isinstance(cell, str) else [_number(cell, "sight")]
    if len(parts) > 2 or any(part is not None and part < 0 for part in parts):
        raise SurveyError(f"sight holds {cell!r}", rule="It is a length, or 'foresight / backsight' on a change point.")
    return parts[0], parts[-1]


def _digit(cells: Iterable[object]) -> float:
    """The last printed digit of a column, e.g. 0.01 where its longest cell shows two decimals; numbers do not show theirs."""
    places = [len(cell.strip().partition(".")[2]) for cell in cells if isinstance(cell, str) and cell.strip()]
    return float(10.0 ** -max(places, default=3))


def _book_of_cells(headings: list[str], cells: list[list[Any]], scale: float, *, source: str) -> LevelBook:
    names = [heading.strip().lower().replace(" ", "_") for heading in headings]
    names = ["remarks" if name == "remark" else name for name in names]
    faults = _faults_of_headings(names)
    if faults:
        raise SurveyError.together(faults)
    doubts = [f"The column {name!r} is not one that a level book has, and is not used." for name in names
              if name and name not in COLUMNS]
    rows: list[Row] = []
    blank: set[int] = set()
    for number, row_cells in enumerate(cells, start=1):
        if all(map(_is_empty, row_cells)):
            blank.add(number)
            continue
        row = _row_of_cells(number, dict(zip(names, row_cells, strict=False)), row_cells[len(names):], scale, faults)
        if row is not None:
            rows.append(row)
    if "reading" in names:
        rows = _book_plain_list(rows)
    if not rows and not faults:
        faults.append(SurveyError("the level book has headings but no rows"))
    unclear = set(range(1, len(cells) + 1)) - {row.number for row in rows} - blank
    faults += _faults_of_rows(rows, unclear) + _faults_between_rows(rows)
    if faults:
        raise SurveyError.together(faults)
    doubts += _doubts(rows) + [
        f"Row {row.number}, point {row.point}: the known level comes to {word_level(row.rl)}. rl is in the unit of the book."
        for row in rows if scale != 1 and row.rl and abs(row.rl) < SMALL_LEVEL]
    for doubt in doubts:
        warnings.warn(doubt, SurveyWarning, stacklevel=3)
    hand = [dict(zip(names, row, strict=False)).get("hand_level") for row in cells]
    return LevelBook(rows=tuple(rows), doubts=tuple(doubts), hand_digit=_digit(hand) * scale, source=source)


def _faults_of_headings(names: list[str]) -> list[SurveyError]:
    faults = []
    found = f"The headings found are {', '.join(name for name in names if name) or 'empty'}."
    if not set(names) & set(COLUMNS):
        return [SurveyError(f"the first line {','.join(names)!r} is not a line of headings",
                            rule="A book starts with one: point,bs,is,fs or, for a plain list, point,reading.",
                            remedy="Add it above the readings.")]
    if "point" not in names:
        faults.append(SurveyError("the level book has no column 'point'", rule=found))
    if "reading" not in names and "bs" not in names:
        faults.append(SurveyError("the level book has no column 'bs'", rule=found,
                                  remedy="Use point, bs, is, fs, or the plain list point, reading."))
    elif "reading" in names and {"bs", "is", "fs"} & set(names):
        faults.append(SurveyError("the level book has 'reading' beside bs, is or fs", remedy="Keep the one or the others."))
    elif "reading" not in names and not {"is", "fs"} & set(names):
        faults.append(SurveyError("the level book has neither a column 'is' nor a column 'fs'", rule=found))
    twice = sorted({name for name in names if name and names.count(name) > 1})
    faults += [SurveyError(f"two columns are called {name!r}", remedy="Rename one of them.") for name in twice]
    return faults


def _row_of_cells(number: int, cells: dict[str, Any], beyond: list[Any], scale: float, faults: list[SurveyError]) -> Row | None:
    """One row in metres; what is wrong with it is added to `faults`."""
    point = _text(cells.get("point"))
    where = f"row {number}, point {point}" if point else f"row {number}"

    def kept(read: Callable[[], Any]) -> Any:
        try:
            return read()
        except SurveyError as error:
            faults.append(error.at(where))
            return None

    if any(not _is_empty(cell) for cell in beyond):
        faults.append(SurveyError("there are more cells than headings", where=where,
                                  remedy="Look for a comma in a number (write 1.245) or a remark (put it in quotation marks)."))
        return None
    if not point.isprintable():
        faults.append(SurveyError(f"the name {point!r} has a sign in it that cannot be printed", where=f"row {number}",
                                  remedy="Type the name again."))
        return None
    if not point:
        faults.append(SurveyError("the point has no name", where=where, remedy="Give it the name chalked on the ground."))
    before = len(faults)
    value = {name: kept(partial(_number, cells.get(name), name))
             for name in ("reading", "bs", "is", "fs", "x", "y", "rl", "hand_level")}
    sight, sight_back = kept(partial(_sights, cells.get("sight"))) or (None, None)
    if len(faults) > before or not point:
        return None
    metres = {name: None if number is None else number * scale for name, number in value.items()}
    return Row(number=number, point=point, bs=metres["bs"], is_=metres["reading"] if "reading" in cells else metres["is"],
               fs=metres["fs"], x=metres["x"], y=metres["y"], rl=metres["rl"], hand_level=metres["hand_level"],
               sight=None if sight is None else sight * scale, sight_back=None if sight_back is None else sight_back * scale,
               feature=_text(cells.get("feature")).lower(), wall=_text(cells.get("wall")), remarks=_text(cells.get("remarks")))


def _book_plain_list(rows: list[Row]) -> list[Row]:
    """The plain list: the first reading is the backsight, a last one on the same point is the check."""
    read = [index for index, row in enumerate(rows) if row.is_ is not None]
    if read:
        first, last = read[0], read[-1]
        if last != first and rows[last].point == rows[first].point:
            rows[last] = replace(rows[last], is_=None, fs=rows[last].is_)
        rows[first] = replace(rows[first], is_=None, bs=rows[first].is_)
    return rows


def _faults_of_rows(rows: list[Row], unclear: set[int]) -> list[SurveyError]:
    """What is wrong with single rows and their order; an `unclear` row, refused already, may have been any."""
    faults = []
    open_setup, closed_by = False, 0
    for row in rows:
        open_setup = open_setup or row.number - 1 in unclear
        where = f"row {row.number}, point {row.point}"
        booked = [name for name, reading in (("bs", row.bs), ("is", row.is_), ("fs", row.fs)) if reading is not None]
        if (row.x is None) != (row.y is None):
            faults.append(SurveyError("it has one of x and y without the other", where=where, remedy="Fill in both or neither."))
        if not booked and row.feature != "instrument":
            faults.append(SurveyError("there is no reading", where=where, rule="Every row needs one in bs, is or fs.",
                                      remedy="Fill it in, or delete the row."))
        elif not booked and row.x is None:
            faults.append(SurveyError("the instrument has no x and y", where=where, remedy="Give both, or delete the row."))
        elif "is" in booked and len(booked) > 1:
            faults.append(SurveyError(f"{' and '.join(booked)} cannot stand on one row", where=where,
                                      rule="Only a change point has two: the foresight that ends one set-up and the backsight "
                                           "that opens the next.", remedy="Move one of them to the row it belongs to."))
        opens = "bs" in booked and "fs" not in booked
        if booked and not opens and not open_setup:
            if closed_by:
                faults.append(SurveyError(f"it is read after the foresight of row {closed_by}, from no set-up", where=where,
                                          rule="A foresight is the last sight before the instrument moves; after it comes a "
                                               "backsight.",
                                          remedy=f"Book row {closed_by} as 'is' if the instrument stayed where it was, or give "
                                                 "the backsight of the new set-up."))
            else:
                faults.append(SurveyError("it is read before any backsight", where=where,
                                          rule="A book starts with a backsight on a point of known level.",
                                          remedy="Book the first reading, on the benchmark, under bs."))
        if "fs" in booked:
            open_setup, closed_by = False, row.number
        if "bs" in booked or (booked and not open_setup and "fs" not in booked):  # told once, not for every row below
            open_setup = True
    return faults


def _faults_between_rows(rows: list[Row]) -> list[SurveyError]:
    faults = []
    places: dict[str, Row] = {}
    known: dict[str, Row] = {}
    for row in rows:
        if row.x is not None and row.y is not None:
            first = places.setdefault(row.point, row)
            if max(abs(row.x - (first.x or 0)), abs(row.y - (first.y or 0))) > SAME_PLACE:
                both = f"{word_place(first.x or 0, first.y or 0)} and {word_place(row.x, row.y)}"
                faults.append(SurveyError(f"it stands at two places, {both}", where=_pair(first, row),
                                          remedy="Correct one, or give the second point a name of its own."))
        if row.rl is not None:
            first = known.setdefault(row.point, row)
            if abs(row.rl - (first.rl or 0)) > 1e-9:
                faults.append(SurveyError(f"it has two known levels, {word_level(first.rl or 0)} and {word_level(row.rl)}",
                                          where=_pair(first, row),
                                          remedy="rl is for known levels only; a worked-out level goes under hand_level."))
    return faults


def _pair(first: Row, second: Row) -> str:
    return f"{rows_named([first.number, second.number])}, point {first.point}"


def _doubts(rows: list[Row]) -> list[str]:
    doubts = []
    for row in rows:
        for name, reading in (("bs", row.bs), ("is", row.is_), ("fs", row.fs)):
            if reading is not None and abs(reading) > LONGEST_READING:
                doubts.append(f"Row {row.number}, point {row.point}: {name} is {word_level(reading)}, longer than a 5 m staff. "
                              "Is the unit right?")
            if reading is not None and reading > 0 and _UPSIDE_DOWN.search(row.remarks):
                doubts.append(f"Row {row.number}, point {row.point}: the remark says that the staff was upside down, and {name} "
                              f"{word_level(reading)} has no minus. Book it as −{word_level(reading)} if it was.")
    strange: dict[str, list[Row]] = {}
    for row in rows:
        if row.feature and row.feature not in FEATURES:
            strange.setdefault(row.feature, []).append(row)
    for feature, marked in strange.items():
        where = rows_named(row.number for row in marked) + (f", point {marked[0].point}" if len(marked) == 1 else "")
        doubts.append(f"{where[0].upper()}{where[1:]}: the feature {feature!r} is not known, so these points serve for "
                      f"nothing but their level. Known are {', '.join(FEATURES)}.")
    return doubts
