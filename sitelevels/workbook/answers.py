"""The page that a learner fills in, as text that a spreadsheet opens, and the file in which it is kept as it is typed."""

from __future__ import annotations

from codecs import BOM_UTF8
from pathlib import Path

import pandas as pd

from ..errors import SurveyError
from ..teaching.exercise import Exercise
from ..teaching.filled import LONGEST_PAGE, read_page
from .folders import data_folder
from .saving import free_beside, table_text, write_whole

LEARNING = "learning"  # the folder in `data`
_LAST = "last-chosen.txt"


def read_last() -> tuple[str, ...]:
    """What was chosen last for the exercises, a line each, if anything was. Raises SurveyError without a folder `data`."""
    path = data_folder() / LEARNING / _LAST
    return tuple(path.read_bytes()[:500].decode(errors="replace").splitlines()) if path.is_file() else ()


def write_last(*chosen: str) -> None:
    """Keep what was chosen last. Raises SurveyError where it cannot be written."""
    _write(data_folder() / LEARNING / _LAST, "\n".join(chosen).encode())


def _write(path: Path, content: bytes) -> None:
    try:
        path.parent.mkdir(exist_ok=True)
    except OSError as error:
        raise SurveyError(f"the folder data/{LEARNING} cannot be made: {error.strerror}",
                          remedy="Look for a folder that is read-only, or a file of that name.") from error
    write_whole(path, content)


def page_text(sheet: pd.DataFrame) -> str:
    """A page as CSV text; no cell of it is run as a formula by a spreadsheet."""
    return table_text([str(name) for name in sheet.columns], sheet.itertuples(index=False, name=None))


def _bytes(page: pd.DataFrame) -> bytes:
    try:
        return page_text(page).encode()
    except UnicodeEncodeError:
        raise SurveyError("what was typed holds a sign that no file can keep", remedy="Type that cell again.") from None


class AnswerFile:
    """The file with what a learner has typed into one exercise: written whole each time, never over somebody else's."""

    def __init__(self, name: str) -> None:
        self.name = f"{name}.csv"
        self._mine: bytes | None = None

    @property
    def path(self) -> Path:
        """Where it stands. Raises SurveyError where there is no folder `data`."""
        return data_folder() / LEARNING / self.name

    def read(self, exercise: Exercise) -> pd.DataFrame:
        """The page as it was kept; a blank one where nothing was. Raises SurveyError where it holds something else."""
        if not self.path.is_file():
            return exercise.sheet()
        if self.path.stat().st_size > LONGEST_PAGE:
            raise SurveyError(f"the file {self.name} is longer than any page",
                              remedy=f"It is put aside in data/{LEARNING} as soon as you type.")
        content = self.path.read_bytes()
        try:
            page = read_page(exercise, content.decode("utf-8-sig")).table
        except UnicodeDecodeError:
            raise SurveyError(f"the file {self.name} is not text in UTF-8",
                              remedy=f"It is put aside in data/{LEARNING} as soon as you type.") from None
        read = content.removeprefix(BOM_UTF8).replace(b"\r\n", b"\n")
        self._mine = content if read == _bytes(page) else None  # what stands beside the page is put aside before it is written
        return page

    def keep(self, page: pd.DataFrame) -> str:
        """Write the page; "", or the name under which what somebody else has written there meanwhile was put aside.

        Raises SurveyError where it cannot be written, or holds a sign that no file can.
        """
        path, content = self.path, _bytes(page)
        there = path.read_bytes() if path.is_file() else content
        aside = "" if there in (self._mine, content) else self._beside(there)
        _write(path, content)
        self._mine = content
        return aside

    def put_aside(self, page: pd.DataFrame) -> str:
        """Write a page beside the file, under a name that is free, which is given back. Raises SurveyError as `keep`."""
        return self._beside(_bytes(page))

    def _beside(self, content: bytes, named: str = "before") -> str:
        beside = free_beside(self.path, named, content)
        _write(beside, content)
        return beside.name

    def save_blank(self, sheet: pd.DataFrame) -> str:
        """Write the blank page beside it, and give its name; one that was filled in meanwhile stays as it is."""
        return self._beside(_bytes(sheet), "blank")
