"""The page that a learner fills in, as text that a spreadsheet opens, and the file in which it is kept as it is typed."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import pandas as pd

from ..errors import SurveyError
from ..survey.cells import csv_line, number_of, page_of, safe
from ..teaching.exercise import GIVEN, WORKED
from .folders import data_folder
from .saving import write_whole

FILLED = (*WORKED, "answer")
"""Columns of a page that a learner fills in."""
LEARNING = "learning"  # the folder in `data`


def page_text(sheet: pd.DataFrame) -> str:
    """A page as CSV text; no cell of it is run as a formula by a spreadsheet."""
    lines = [csv_line([str(name) for name in sheet.columns])]
    lines += [csv_line([safe(cell) for cell in cells]) for cells in sheet.itertuples(index=False, name=None)]
    return "\n".join(lines) + "\n"


def filled_in(text: str, sheet: pd.DataFrame) -> pd.DataFrame:
    """A new page with what a text of it was filled in with; what is given stays as in `sheet`.

    Columns go by their headings, rows of the book by `row` or else in order, questions by their names under `point`.
    Raises SurveyError for a text that is no page, and for the page of another exercise.
    """
    page = page_of(text, named="page", headings=",".join(map(str, sheet.columns)))
    heads = {page.cell(0, place).strip().lower(): place for place in range(len(page.records[0][0]))}
    if "point" not in heads or not any(name in heads for name in FILLED):
        raise SurveyError("the text is not the page of an exercise",
                          rule=f"Its first line has the headings {', '.join(map(str, sheet.columns))}.",
                          remedy="Save the blank page, fill that in, and paste all of it.")
    result, places = sheet.copy(), _places(sheet)
    faults = []
    booked = 0
    for row in range(1, len(page.records)):
        cells = {name: page.cell(row, place) for name, place in heads.items()}
        point, number = cells["point"].strip(), cells.get("row", "").strip()
        if not any(cell.strip() for cell in cells.values()):
            continue
        if ("", point) not in places:
            booked += 1
            number = number or str(booked)
        at = places.get((number, "")) if number else places.get(("", point))
        if at is None or _differs(cells, sheet.iloc[at]):
            faults.append(SurveyError(f"line {row} of the page, {point or 'without a point'}, is not of this exercise",
                                      remedy="Look at the learner's number, the difficulty and the slips on the page."))
            continue
        for name in FILLED:
            if name in heads and name in sheet.columns:
                result.loc[sheet.index[at], name] = cells[name].strip()
    if faults:
        raise SurveyError.together(faults)
    return result


def _places(sheet: pd.DataFrame) -> Mapping[tuple[str, str], int]:
    """Where the rows stand: of the book by number, questions by name."""
    return {(row, "" if row else point): place
            for place, (row, point) in enumerate(zip(sheet["row"], sheet["point"], strict=True))}


def _differs(cells: Mapping[str, str], given: pd.Series[str]) -> bool:
    """Whether what is given on a line is not as it was given out; a spreadsheet may have dropped noughts and put in commas."""
    for name in GIVEN[1:-1]:
        if name in cells:
            typed, right = cells[name].strip(), str(given[name]).strip()
            if typed != right and (number_of(typed) is None or number_of(typed) != number_of(right)):
                return True
    return False


class AnswerFile:
    """The file with what a learner has typed into one exercise: written whole each time, never over somebody else's."""

    def __init__(self, name: str) -> None:
        self.name = f"{name}.csv"
        self._mine: bytes | None = None

    @property
    def path(self) -> Path:
        """Where it stands. Raises SurveyError where there is no folder `data`."""
        return data_folder() / LEARNING / self.name

    def _write(self, path: Path, content: bytes) -> None:
        try:
            path.parent.mkdir(exist_ok=True)
        except OSError as error:
            raise SurveyError(f"the folder data/{LEARNING} cannot be made: {error.strerror}",
                              remedy="Look for a folder that is read-only, or a file of that name.") from error
        write_whole(path, content)

    def read(self, sheet: pd.DataFrame) -> pd.DataFrame:
        """The page as it was kept; a blank one where nothing was. Raises SurveyError where it holds something else."""
        if not self.path.is_file():
            return sheet.copy()
        content = self.path.read_bytes()
        page = filled_in(content.decode("utf-8-sig", errors="replace"), sheet)
        self._mine = content
        return page

    def keep(self, page: pd.DataFrame) -> None:
        """Write the page. What another form has written there meanwhile is put aside first."""
        path, content = self.path, page_text(page).encode(errors="replace")
        if path.is_file() and path.read_bytes() not in (self._mine, content):
            self.put_aside()
        self._write(path, content)
        self._mine = content

    def put_aside(self) -> str:
        """Copy what is kept beside it, under a name that is free; that name, or "" where nothing is kept."""
        if not self.path.is_file():
            return ""
        content = self.path.read_bytes()
        names = (f"{self.path.stem}-before{number or ''}.csv" for number in range(10_000))
        places = (self.path.with_name(name) for name in names)
        beside = next(place for place in places if not place.exists() or place.read_bytes() == content)
        self._write(beside, content)
        return beside.name

    def save_blank(self, sheet: pd.DataFrame) -> str:
        """Write the blank page beside it, and give its name."""
        beside = self.path.with_name(f"{self.path.stem}-blank.csv")
        self._write(beside, page_text(sheet).encode())
        return beside.name
