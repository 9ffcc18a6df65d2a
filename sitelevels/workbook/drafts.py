"""What is typed into a level book and not saved yet, kept in the job folder as it is committed."""

from __future__ import annotations

import os
from itertools import count
from pathlib import Path

from ..errors import SurveyError
from .job import write_whole


class Draft:
    """The file that holds what one form has typed. It has a name of its own, so that two forms keep both."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.path: Path | None = None

    def _claimed(self) -> Path:
        for number in count(1):
            path = self.folder / f"survey-draft{'' if number == 1 else number}.csv"
            try:
                os.close(os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o644))
                return path
            except FileExistsError:
                continue
            except OSError as error:
                raise SurveyError(f"{path.name} cannot be written into the folder {self.folder.name}: {error.strerror}",
                                  remedy="Look for a full disk or a folder that is read-only.") from error
        raise AssertionError  # count does not end

    def keep(self, text: str) -> None:
        """Keep a text, the file whole whatever happens. Raises SurveyError where it cannot be written."""
        if self.path is None:
            self.path = self._claimed()
        write_whole(self.path, text.encode(errors="surrogatepass"))

    def drop(self) -> None:
        """Take the file away: what it held is saved, or was thrown away."""
        if self.path is not None:
            self.path.unlink(missing_ok=True)
            self.path = None

    def waiting(self, saved: str) -> list[Path]:
        """Other drafts in the folder that hold something else than is saved, the newest first."""
        found = [path for path in self.folder.glob("survey-draft*.csv") if path != self.path and path.is_file()]
        held = [path for path in found if path.read_bytes() not in (b"", saved.encode())]
        return sorted(held, key=lambda path: path.stat().st_mtime, reverse=True)

    def take_up(self, path: Path) -> str:
        """Make another's draft this one, and return its text. Raises SurveyError where it is gone."""
        own = self._claimed()
        try:
            os.replace(path, own)
        except OSError:
            own.unlink(missing_ok=True)
            raise SurveyError(f"{path.name} is not there any more") from None
        self.drop()
        self.path = own
        return own.read_bytes().decode(errors="replace")
