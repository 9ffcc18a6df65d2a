"""Files, text and tables into level books, with every fault told at once."""

from __future__ import annotations

import math
import os
import re
import warnings
from collections.abc import Iterable, Sequence
from dataclasses import replace
from decimal import Decimal
from numbers import Real
from pathlib import Path
from typing import Any, TextIO

import pandas as pd

from ..errors import SurveyError, SurveyWarning, finite, plainly
from ..wording import word_exactly, word_level
from .book import METRES_PER, Column, LevelBook, Row
from .cells import decimals, number_of, page_of, plain
from .faults import doubts_of, faults_between_rows, faults_of_rows
from .headings import LENGTHS, columns_of

_BENCHMARK = re.compile(r"\b[TO]?BM\d*\b|bench ?mark", re.IGNORECASE)
_MOVED = re.compile(r"\bmoved\b", re.IGNORECASE)
_COMMA = re.compile(r"[-+−]?\d*,(\d+)", re.ASCII)
_CONTROL = re.compile("[\x00-\x1f\x7f-\x9f\u2028\u2029]")
_HALF = re.compile("[\ud800-\udfff]")
_DECIMAL = "Numbers have a decimal point, no unit, no letters (O and l are letters, 0 and 1 are not)."


def read_book(source: str | Path | TextIO | pd.DataFrame, *, unit: str = "m") -> LevelBook:
    """A level book from a file, text or table.

    Parameters
    ----------
    source : path, open text file, CSV text or DataFrame
        Columns point, bs, is, fs and as needed x, y, feature, rl, hand_level, sight, wall, remarks, in any order and in the
        usual spellings (Backsight, B.S., Inter., with the unit in brackets behind); or the plain list point, reading, whose
        first reading is the backsight and whose last, if it is on the same point, is the check. A row of the plain list whose
        point is "moved" says that the instrument was: the next reading is a backsight.
        `rl` is a KNOWN level; `hand_level` is one that somebody worked out. Where rl is filled on most rows it holds worked-out
        levels, and only benchmarks, or the first, are taken as known. A staff held upside down is booked with a minus; a height
        taped from the line of sight under `up` or `down`, without a sign. A row of the feature line, with a level and no
        reading, is a line of known level to measure from. `sight` is the length of the sight; on a change point "foresight /
        backsight" if the two differ. Cells are parted by commas, semicolons or tabs, with one decimal sign throughout, a point
        or a comma; lines that start with # are notes.
    unit : {"m", "cm", "mm", "ft"}
        Unit of every length whose heading declares none: readings, levels, x, y and sights alike.

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
        Possible but doubtful values, each with its row: a reading over 5 m, a jump of over a metre between neighbours, a missing
        closing shot, a feature or a column that is not known.

    Notes
    -----
    The columns are those of the level book in any survey textbook. The plain list, rows called "moved" and lines of known level
    are our own, for people who keep no such book.

    >>> book = read_book("point,bs,is,fs,rl\\nBM,1.500,,,10.000\\nA,,1.625,,\\nBM,,,1.501,")
    >>> book.rows[1].point, book.rows[1].is_
    ('A', 1.625)
    """
    if not isinstance(unit, str) or unit not in METRES_PER:
        raise SurveyError(f"the unit {unit!r} is not known", rule=f"It can be {', '.join(METRES_PER)}.")
    lost: list[str] = []
    if isinstance(source, pd.DataFrame):
        headings = [_said(name) for name in source.columns]
        cells = [list(row) for row in source.itertuples(index=False, name=None)]
        _refuse_half_signs(cell for row in (headings, *cells) for cell in row if isinstance(cell, str))
    else:
        page = page_of(_text_of(source))
        headings, cells = page.records[0][0], [record[0] for record in page.records[1:]]
        lost = [f"The line {plainly(note)!r} starts with # and is passed over as a note. If it is a point, put its name in "
                "quotation marks." for note in page.lost_rows]
    book = _book_of_cells(headings, cells, unit, source=os.path.basename(source) if isinstance(source, Path) else "")
    book = replace(book, doubts=(*lost, *book.doubts))
    for doubt in book.doubts:
        warnings.warn(doubt, SurveyWarning, stacklevel=2)
    return book


def with_known_level(text: str, point: str, level: float, *, unit: str = "m") -> str:
    """The text of a level book with a known level, in m, on the first row of `point`; the rest untouched.

    `unit` as in `read_book`. Raises SurveyError if the text is no level book or has no such point.
    """
    page = page_of(text)
    columns, _ = columns_of(page.records[0][0], unit)
    finite(level, f"the level of {point}", "It must be a finite number.")
    names = [column.name for column in columns]
    rows = [row for row in range(1, len(page.records)) if page.cell(row, names.index("point")).strip() == point]
    if not rows:
        raise SurveyError(f"no row of the book has the point {point!r}", remedy="Choose one that was read.")
    if "rl" not in names:
        columns, page = [*columns, Column("rl", "rl", unit)], page_of(page.with_cells({(0, len(names)): "rl"}))
        names.append("rl")
    place = names.index("rl")
    return page.with_cells({(rows[0], place): word_exactly(level, METRES_PER[columns[place].unit])})


def _text_of(source: str | Path | TextIO) -> str:
    if isinstance(source, str) and ("\n" in source or "\r" in source):
        text = source
    elif not isinstance(source, (str, Path)):
        try:
            text = source.read() if hasattr(source, "read") else None  # type: ignore[assignment]
        except (OSError, ValueError) as error:
            raise SurveyError(f"the open file cannot be read ({error})", rule="A level book is a CSV file in UTF-8.") from None
        if not isinstance(text, str):
            raise SurveyError(f"a level book cannot be read from {type(source).__name__}",
                              rule="It comes from a path, an open text file, CSV text or a DataFrame.")
    else:
        text = _text_of_file(Path(source))
    _refuse_half_signs([text])
    return text


def _refuse_half_signs(texts: Iterable[str]) -> None:
    if any(_HALF.search(text) for text in texts):
        raise SurveyError("the text has half a sign in it, which no file can hold", remedy="Type or paste it again.")


def _text_of_file(path: Path) -> str:
    try:
        content = path.read_bytes()
    except (OSError, ValueError):
        raise SurveyError(f"there is no level book to read at {path.name!r}",
                          rule="It must be a file that can be opened.",
                          remedy="Check the folder and the spelling.") from None
    try:
        return content.decode("utf-16" if content[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8-sig")
    except UnicodeDecodeError:
        raise SurveyError(f"the file {path.name} is not plain text", rule="A level book is a CSV file in UTF-8.",
                          remedy="In the spreadsheet choose 'Save as CSV UTF-8'.") from None


def _is_empty(cell: object) -> bool:
    if cell is None or isinstance(cell, str):
        return not cell or cell.isspace()
    try:
        return pd.api.types.is_scalar(cell) and bool(pd.isna(cell))  # type: ignore[call-overload]
    except ArithmeticError:  # a Decimal that signals
        return False


def _number(cell: object, column: str, unit: str) -> float | None:
    """A finite number in m of a cell in `unit`, None for an empty cell."""
    if _is_empty(cell):
        return None
    text = plain(_said(cell)).strip().replace("−", "-")
    value = number_of(text) if isinstance(cell, str) and "," not in text else None
    if value is not None or (isinstance(cell, (Real, Decimal)) and not isinstance(cell, bool)):
        try:
            value = float(cell) if value is None else value  # type: ignore[arg-type]
        except (OverflowError, TypeError, ValueError):
            value = math.inf
        if abs(value) < 1e7:  # nothing on earth has a level or a grid coordinate of 10,000 km
            return value * METRES_PER[unit]
    comma = _COMMA.fullmatch(text)
    point, whole = text.replace(",", "."), text.replace(",", "")
    hint = "Look at the page it was booked on."
    if comma:
        either = {"m": point, "mm": whole}.get(unit, f"{point} or {whole}, whichever was read")
        hint = f"Write {either if len(comma[1]) == 3 else point}."
    raise SurveyError(f"{column!r} holds {text!r}, which is not a number", rule=_DECIMAL, remedy=hint)


def _text(cell: object) -> str:
    if cell is None or _is_empty(cell):
        return ""
    whole = isinstance(cell, float) and cell.is_integer()  # a column of numbers with a gap: 7.0 was booked as 7
    return plain(_said(int(cell) if whole else cell).strip())  # type: ignore[call-overload]


def _said(cell: object) -> str:
    try:
        return str(cell)
    except Exception:  # whatever it is, it has no name and is no number
        return f"a {type(cell).__name__}"


def _sights(cell: object, column: str, unit: str) -> tuple[float | None, float | None]:
    """Lengths in m of the forward and the back sight; one number serves both."""
    parts = [_number(part, column, unit) for part in (cell.split("/") if isinstance(cell, str) else [cell])]
    if len(parts) > 2 or any(part is not None and part < 0 for part in parts):
        raise SurveyError(f"'sight' holds {cell!r}", rule="It is a length, or 'foresight / backsight' on a change point.")
    return parts[0], parts[-1]


def _book_of_cells(headings: Sequence[str], cells: list[list[Any]], unit: str, *, source: str) -> LevelBook:
    columns, doubts = columns_of(headings, unit)
    names = [column.name for column in columns]
    faults: list[SurveyError] = []
    whole = [(number, row) for number, row in enumerate(cells, start=1) if not all(map(_is_empty, row))]
    sign = _one_decimal_sign(columns, whole)
    rows = _rows_of(columns, whole, faults)
    if "reading" in names:
        rows = _book_plain_list(rows, faults)
    if not rows and not faults:
        faults.append(SurveyError("the level book has headings but no rows"))
    unclear = {number for number, _ in whole} - {row.number for row in rows}
    faults += faults_of_rows(rows, unclear) + faults_between_rows(known := _known_rows(rows, "hand_level" in names, doubts))
    if faults:
        raise SurveyError.together(faults)
    worked = [column for column in columns if column.name == "hand_level"] or [
        column for column in columns if column.name == "rl" and known != rows]
    written = [row[columns.index(column)] for column in worked for _, row in whole if columns.index(column) < len(row)]
    shown = [cell for cell in written if not _is_empty(cell)]
    digits = decimals([str(cell) for cell in shown])
    if not all(isinstance(cell, str) for cell in shown) or not shown:  # numbers of a table do not show their noughts
        digits = max(digits, 3)
    filled = [sum(place < len(row) and not _is_empty(row[place]) for _, row in whole) for place in range(len(columns))]
    doubts += [f"A column without a heading holds {filled[place]} values, which are not used."
               for place, column in enumerate(columns) if not column.heading and filled[place]]
    return LevelBook(
        rows=tuple(known), doubts=(*doubts, *doubts_of(known, columns)), source=source, decimal_sign=sign,
        hand_digit=10.0**-digits * next((METRES_PER[column.unit] for column in worked), 1.0),
        columns=tuple(replace(column, filled=count) for column, count in zip(columns, filled, strict=True)))


def _one_decimal_sign(columns: Sequence[Column], whole: list[tuple[int, list[Any]]]) -> str:
    """Turn decimal commas into points where the whole book is written with commas; which sign it was.

    A book with both stays as it is and is refused cell by cell, as are commas that may part thousands of millimetres.
    """
    places = [place for place, column in enumerate(columns) if column.name in LENGTHS]
    found = []
    for _, row in whole:
        for place in places:
            cell = row[place] if place < len(row) else None
            if isinstance(cell, str):
                if "." in cell:
                    return "."
                if "," in cell and all(_COMMA.fullmatch(part.strip()) or part.strip().isdecimal() for part in cell.split("/")):
                    found.append((row, place))
    thousands = all((match := _COMMA.fullmatch(row[place].strip())) and len(match[1]) == 3 and columns[place].unit != "m"
                    for row, place in found)
    if not found or thousands:
        return "."
    for row, place in found:
        row[place] = row[place].replace(",", ".")
    return ","


def _rows_of(columns: Sequence[Column], whole: list[tuple[int, list[Any]]], faults: list[SurveyError]) -> list[Row]:
    """Rows in metres; what is wrong with a row is added to `faults`, and the row left out."""
    units = {column.name: column.unit for column in columns if column.name in LENGTHS}
    places = [(column.name, place) for place, column in enumerate(columns) if column.name]
    rows = []
    for number, row in whole:
        cells = {name: row[place] for name, place in places if place < len(row) and not _is_empty(row[place])}
        point, before = _text(cells.get("point")), len(faults)
        where = f"row {number}, point {point}" if point else f"row {number}"
        values: dict[str, Any] = {}
        if any(not _is_empty(cell) for cell in row[len(columns):]):
            faults.append(SurveyError("there are more cells than headings", where=where, row=number, remedy="Look for a comma in "
                                      "a number (write 1.245) or a remark (put it in quotation marks)."))
            continue
        if _CONTROL.search(point):
            faults.append(SurveyError(f"the name {point!r} has a sign in it that cannot be printed", where=f"row {number}",
                                      row=number, column="point", remedy="Type the name again."))
        if not point:
            faults.append(SurveyError("the point has no name", where=where, row=number, column="point",
                                      remedy="Give it the name chalked on the ground."))
        for name in (name for name in cells if name in units):
            try:
                values[name] = (_sights if name == "sight" else _number)(cells[name], name, units[name])
            except SurveyError as error:
                faults.append(error.at(where, row=number, column=name))
        if len(faults) == before and (made := _row_of(number, point, values, cells, where, faults)):
            rows.append(made)
    return rows


def _row_of(number: int, point: str, values: dict[str, Any], cells: dict[str, Any], where: str,
            faults: list[SurveyError]) -> Row | None:
    taped = [name for name in ("up", "down") if values.get(name) is not None]
    forward = [name for name in ("reading", "is") if values.get(name) is not None] + taped
    feature = _text(cells.get("feature")).lower()
    if len(forward) > 1:
        faults.append(SurveyError(f"{' and '.join(map(repr, forward))} cannot stand on one row", where=where, row=number,
                                  column=forward[-1], remedy="Keep the one that was measured."))
        return None
    if taped and values[taped[0]] < 0:
        faults.append(SurveyError(f"{taped[0]!r} holds {cells[taped[0]]!r}", where=where, row=number, column=taped[0],
                                  rule="What is taped up or down from the line has no sign.", remedy="Use the other column."))
        return None
    value = values[forward[0]] if forward else None
    sight, sight_back = values.get("sight", (None, None))
    bs = values.get("bs")
    line = feature == "line" or (point.lower() == "line" and "feature" not in cells)
    if line and not forward and bs is None and values.get("fs") is None:
        bs, feature = 0.0, "line"
    if value is not None and "up" in forward:
        value = -value
    return Row(number, point, bs=bs, is_=value, sight=sight, sight_back=sight_back, feature=feature, taped=bool(taped),
               wall=_text(cells.get("wall")), remarks=_text(cells.get("remarks")),
               **{name: values.get(name) for name in ("fs", "x", "y", "rl", "hand_level")})


def _book_plain_list(rows: list[Row], faults: list[SurveyError]) -> list[Row]:
    """The plain list: the first reading of a set-up is its backsight; the last, if it is on the same point, the check.

    A row called "moved" without a reading parts two set-ups, and a point read just before and just after it is a change point.
    """
    setups: list[list[Row]] = [[]]
    for row in rows:
        if row.is_ is None and _MOVED.search(row.point):
            setups.append([])
        else:
            setups[-1].append(row)
    booked = []
    for number, setup in enumerate(setups):
        read = [place for place, row in enumerate(setup) if row.is_ is not None and not row.taped]
        after = next((row.point for row in (setups[number + 1] if number + 1 < len(setups) else ()) if row.is_ is not None), None)
        last = len(read) > 1 and all(row.is_ is None for row in setup[read[-1] + 1:])  # nothing taped after it
        if last and setup[read[-1]].point in (setup[read[0]].point, after):
            setup[read[-1]] = replace(setup[read[-1]], is_=None, fs=setup[read[-1]].is_)
        if number:
            faults += [SurveyError("it is taped from a line whose backsight is not read yet", where=row.where, row=row.number,
                                   remedy="After moving the instrument read a point of known level, or one read before, first.")
                       for row in setup[:read[0] if read else None] if row.taped]
        if read and not any(row.feature == "line" for row in setup[:read[0]]):
            setup[read[0]] = replace(setup[read[0]], is_=None, bs=setup[read[0]].is_)
        booked += setup
    return booked


def _known_rows(rows: list[Row], apart: bool, doubts: list[str]) -> list[Row]:
    """Rows whose rl is known. A column rl that is filled on most rows holds worked-out levels: they become hand_level.

    Not where these have a column of their own, `apart`.
    """
    filled = [row for row in rows if row.rl is not None]
    if apart or len(filled) < 3 or 2 * len(filled) <= len(rows):
        return rows
    marked = [row for row in filled if row.feature in ("benchmark", "line") or _BENCHMARK.search(f"{row.point} {row.remarks}")]
    if len(marked) == len(filled):
        return rows
    keep: dict[str, Row] = {}
    for row in marked or filled[:1]:
        keep.setdefault(row.point, row)
    told = ", ".join(f"{row.point} (row {row.number}), {word_level(row.rl or 0)}" for row in keep.values())
    doubts.append(plainly(
        f"rl is filled on {len(filled)} of {len(rows)} rows, so most of it was worked out. Taken as known: {told}. The others "
        "are compared with ours as hand_level. If more are known, give them the feature benchmark."))
    return [replace(row, rl=None, hand_level=row.rl) if row.rl is not None and row is not keep.get(row.point)
            and row.feature != "line" else row for row in rows]
