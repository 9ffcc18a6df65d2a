"""Text as a table of cells: found, read, and changed in one place without touching the rest."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import takewhile

from ..errors import SurveyError

PLAIN_NUMBER = re.compile(r"[-+−]?(?:\d+(?:[.,]\d*)?|[.,]\d+)", re.ASCII)
_LINE = re.compile(r"[^\r\n]*(?:\r\n|\r|\n|\Z)")  # csv knows these ends only; others may stand inside a remark
_WITHIN = re.compile(r"([,;\t\r\n]\s*)('*)(?=[=@+＝＋＠]|[-－](?!\d))")  # there another spreadsheet may part the cell
_RUNS = ("=", "+", "-", "@", "\t", "\r", "'", "＝", "＋", "－", "＠")  # a spreadsheet may take such a cell for a formula


@dataclass(frozen=True, eq=False)
class Page:
    """A table as it stands in a text. `records` are its cells with the first line of each and the line after it.

    The first record is the line of headings. Blank lines and notes, which start with #, are no records.
    """

    lines: tuple[str, ...]
    delimiter: str
    records: tuple[tuple[list[str], int, int], ...]

    @property
    def lost_rows(self) -> list[str]:
        """Notes that look like rows: as many cells as there are headings, and a number among them."""
        within = {line for _, first, after in self.records for line in range(first, after)}
        notes = [line.strip() for place, line in enumerate(self.lines) if place not in within and "#" in line]
        return [note for note in notes if len(cells := note.split(self.delimiter)) == len(self.records[0][0]) > 2
                and any(PLAIN_NUMBER.fullmatch(cell.strip()) for cell in cells)]

    def cell(self, row: int, column: int) -> str:
        """What a cell holds; row 0 are the headings, and a cell beyond the end is empty."""
        cells = self.records[row][0] if row < len(self.records) else []
        return plain(cells[column]) if column < len(cells) else ""

    def with_cells(self, changes: Mapping[tuple[int, int], str]) -> str:
        """The text with cells changed, by row and column; rows below the last are added, every other line stays as it is."""
        lines, records, width = [*self.lines], [*self.records], len(self.records[0][0])
        end = next(filter(None, map(_end_of, lines)), "\n")
        by_row: dict[int, dict[int, str]] = {}
        for (row, column), value in changes.items():
            by_row.setdefault(row, {})[column] = value
        if max(by_row, default=0) >= len(records) and not _end_of(lines[-1]):
            lines[-1] += end
        while max(by_row, default=0) >= len(records):
            records.append(([], len(lines), len(lines) + 1))
            lines.append(self.delimiter * max(1, width - 1) + end)
        for row, columns in by_row.items():
            cells, first, after = records[row]
            cells = [*cells, *[""] * (max(width, *(column + 1 for column in columns)) - len(cells))]
            for column, value in columns.items():
                cells[column] = safe(value)
            lines[first:after] = [csv_line(cells, self.delimiter, heads=row == 0) + end, *[""] * (after - first - 1)]
        return "".join(lines)

    def with_column(self, place: int, heading: str) -> str:
        """The text with an empty column put in at `place`."""
        lines: list[str] = [*self.lines]
        for row, (cells, first, after) in enumerate(self.records):
            end = _end_of(lines[after - 1])
            before = [*cells, *[""] * (place - len(cells))]
            cells = [*before[:place], "" if row else heading, *before[place:]]
            lines[first:after] = [csv_line(cells, self.delimiter, heads=row == 0) + end, *[""] * (after - first - 1)]
        return "".join(lines)

    def with_row(self, row: int) -> str:
        """The text with an empty row put in above a row, row 1 being the first under the headings."""
        at = self.records[row][1] if row < len(self.records) else len(self.lines)
        lines = [*self.lines[:at], self.delimiter * max(1, len(self.records[0][0]) - 1) + "\n", *self.lines[at:]]
        if at and not _end_of(lines[at - 1]):
            lines[at - 1] += "\n"
        return "".join(lines)

    def without_row(self, row: int) -> str:
        """The text without a row; as it is where there is none such."""
        first, after = self.records[row][1:] if 0 < row < len(self.records) else (0, 0)
        return "".join((*self.lines[:first], *self.lines[after:]))

    def made_safe(self) -> str:
        """The text with no cell that a spreadsheet would run as a formula, in a note neither."""
        unsafe = {(row, column): plain(cell) for row, (cells, *_) in enumerate(self.records) for column, cell in enumerate(cells)
                  if (not cell.startswith("'") and safe(cell) != cell) or any(not run[2] for run in _WITHIN.finditer(cell))}
        within = {line for _, first, after in self.records for line in range(first, after)}
        lines = tuple(line if place in within else guarded(line) for place, line in enumerate(self.lines))
        return replace(self, lines=lines).with_cells(unsafe)


def page_of(text: str, *, named: str = "level book", headings: str = "point,bs,is,fs") -> Page:
    """The table in a text whose cells are parted by commas, semicolons or tabs; a refusal calls it what it is `named`.

    Raises SurveyError where there is none, or a quotation mark is not closed.
    """
    lines = [line for line in _LINE.findall(text.lstrip("\ufeff")) if line]
    content = next((line for line in lines if not _passed_over(line)), None)
    if content is None:
        raise SurveyError(f"the {named} is empty", rule=f"It needs a line of headings ({headings}) and rows below.")
    bare = re.sub(r'"[^"]*"', "", "".join(lines[lines.index(content):])[:10_000])  # a heading may run over several lines
    delimiter = max("\t;,", key=re.split(r"[\r\n]", bare, maxsplit=1)[0].count)
    records: list[tuple[list[str], int, int]] = []
    start, place, fresh = 0, 0, True

    def following() -> Iterator[str]:
        nonlocal start, place, fresh
        for place, line in enumerate(lines, start=1):
            if not fresh or not _passed_over(line):
                start, fresh = place - 1 if fresh else start, False
                yield line

    reader = csv.reader(following(), delimiter=delimiter, strict=True)
    try:
        for cells in reader:
            records.append((cells, start, place))
            fresh = True
    except csv.Error as error:
        remedy = "One cell holds more than a book." if "limit" in str(error) else "Look for a quotation mark that is not closed."
        raise SurveyError(f"the text is not a table ({error})", remedy=remedy) from None
    return Page(tuple(lines), delimiter, tuple(records))


def _end_of(line: str) -> str:
    return line[len(line.rstrip("\r\n")):]


def _passed_over(line: str) -> bool:
    """Whether a line at which a record could start is blank or a note; cells that are all empty make a row."""
    return line.lstrip(" ").startswith("#") or not (line.strip() or "\t" in line)


def csv_line(cells: Sequence[str], delimiter: str = ",", *, heads: bool = False) -> str:
    """Cells as a line of CSV without its end, quoted where they must be; `heads` for the line that the delimiter is known by."""
    written = io.StringIO()
    noted = cells[0].lstrip().startswith("#")  # unquoted it would be a note when it is read again
    noted = noted or (heads and any(other in cell for cell in cells for other in ",;\t" if other != delimiter))
    csv.writer(written, delimiter=delimiter, lineterminator="\r\n", quoting=csv.QUOTE_ALL if noted else csv.QUOTE_MINIMAL,
               ).writerow(cells)
    return written.getvalue()[:-2]


def safe(text: str) -> str:
    """A cell that no spreadsheet runs as a formula: a ' before what could be one. `plain` takes it away.

    >>> safe("=1+1"), plain("'=1+1"), safe("-1.250")
    ("'=1+1", '=1+1', '-1.250')
    """
    text = _WITHIN.sub(r"\1\2'", text)
    return f"'{text}" if text.startswith(_RUNS) and not PLAIN_NUMBER.fullmatch(text) else text


def guarded(text: str) -> str:
    """Text that is no table, with a ' before whatever a spreadsheet would run in it."""
    return re.sub(r"(?m)(^\"?|[,;\t]\"?)([ ]*)(?=[=@+＝＋＠]|[-－](?!\d))", r"\1\2'", text)


def plain(text: str) -> str:
    """What was typed into a cell that `safe` may have changed."""
    text = text[1:] if text.startswith("'") and text[1:].startswith(_RUNS) else text
    return _WITHIN.sub(lambda run: run[1] + run[2][1:], text)


def number_of(text: str) -> float | None:
    """The number that a text is, with a decimal point or comma and any minus sign; None if it is none.

    >>> number_of("−1,250"), number_of("1.2 m")
    (-1.25, None)
    """
    return float(text.replace("−", "-").replace(",", ".")) if PLAIN_NUMBER.fullmatch(text) else None


def decimals(texts: Sequence[str]) -> int:
    """The most digits after the decimal point that any of the numbers shows."""
    return max((len("".join(takewhile(str.isdigit, text.strip().partition(".")[2]))) for text in texts), default=0)
