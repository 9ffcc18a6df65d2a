"""Text as a table of cells: found, read, and changed in one place without touching the rest."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import takewhile

from ..errors import SurveyError

PLAIN_NUMBER = re.compile(r"[-+−]?(\d+[.,]?\d*|[.,]\d+)", re.ASCII)
_LINE = re.compile(r"[^\r\n]*(?:\r\n|\r|\n|\Z)")  # csv knows these ends only; others may stand inside a remark
_RUNS = ("=", "+", "-", "@", "\t", "\r", "'", "＝", "＋", "－", "＠")  # a spreadsheet may take such a cell for a formula


@dataclass(frozen=True, eq=False)
class Page:
    """A table as it stands in a text. `records` are its cells with the first line of each and the line after it.

    The first record is the line of headings. Blank lines and notes, which start with #, are no records.
    """

    lines: tuple[str, ...]
    delimiter: str
    records: tuple[tuple[list[str], int, int], ...]

    def cell(self, row: int, column: int) -> str:
        """What a cell holds; row 0 are the headings, and a cell beyond the end is empty."""
        cells = self.records[row][0] if row < len(self.records) else []
        return plain(cells[column]) if column < len(cells) else ""

    def with_cells(self, changes: Mapping[tuple[int, int], str]) -> str:
        """The text with cells changed, by row and column; rows below the last are added, every other line stays as it is."""
        lines: list[str] = [*self.lines]
        end = next((line[len(line.rstrip("\r\n")):] for line in lines if line.endswith(("\r", "\n"))), "\n")
        for row in sorted({row for row, _ in changes}):
            cells, first, after = self.records[row] if row < len(self.records) else ([], len(lines), len(lines))
            columns = {column: value for (at, column), value in changes.items() if at == row}
            cells = [*cells, *[""] * (max(len(self.records[0][0]), *(column + 1 for column in columns)) - len(cells))]
            for column, value in columns.items():
                cells[column] = safe(value)
            if first and lines[first - 1] and not lines[first - 1].endswith(("\r", "\n")):
                lines[first - 1] += end
            lines[first:after] = [csv_line(cells, self.delimiter) + end, *[""] * (after - first - 1)]
        return "".join(lines)

    def made_safe(self) -> str:
        """The text with no cell that a spreadsheet would run as a formula."""
        unsafe = {(row, column): cell for row, (cells, *_) in enumerate(self.records) for column, cell in enumerate(cells)
                  if not cell.startswith("'") and safe(cell) != cell}
        return self.with_cells(unsafe) if unsafe else "".join(self.lines)


def page_of(text: str) -> Page:
    """The table in a text whose cells are parted by commas, semicolons or tabs.

    Raises SurveyError where there is none, or a quotation mark is not closed.
    """
    lines = [line for line in _LINE.findall(text.lstrip("\ufeff")) if line]
    content = next((line for line in lines if not _passed_over(line)), None)
    if content is None:
        raise SurveyError("the level book is empty", rule="It needs a line of headings (point,bs,is,fs) and rows below.")
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
        raise SurveyError(f"the text is not a table ({error})",
                          remedy="Look for a quotation mark that is not closed.") from None
    return Page(tuple(lines), delimiter, tuple(records))


def _passed_over(line: str) -> bool:
    """Whether a line at which a record could start is blank or a note; cells that are all empty make a row."""
    return line.lstrip(" ").startswith("#") or not (line.strip() or "\t" in line)


def csv_line(cells: Sequence[str], delimiter: str = ",") -> str:
    """Cells as a line of CSV without its end, quoted where they must be."""
    written = io.StringIO()
    noted = cells[0].lstrip().startswith("#")  # unquoted it would be a note when it is read again
    csv.writer(written, delimiter=delimiter, lineterminator="\r\n", quoting=csv.QUOTE_ALL if noted else csv.QUOTE_MINIMAL,
               ).writerow(cells)
    return written.getvalue()[:-2]


def safe(text: str) -> str:
    """A cell that no spreadsheet runs as a formula: a ' before what could be one. `plain` takes it away.

    >>> safe("=1+1"), plain("'=1+1"), safe("-1.250")
    ("'=1+1", '=1+1', '-1.250')
    """
    return f"'{text}" if text.startswith(_RUNS) and not PLAIN_NUMBER.fullmatch(text) else text


def plain(text: str) -> str:
    """What was typed into a cell that `safe` may have changed."""
    return text[1:] if text.startswith("'") and text[1:].startswith(_RUNS) else text


def decimals(texts: Sequence[str]) -> int:
    """The most digits after the decimal point that any of the numbers shows."""
    return max((len("".join(takewhile(str.isdigit, text.strip().partition(".")[2]))) for text in texts), default=0)
