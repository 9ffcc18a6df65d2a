"""What is typed into a level book and not saved yet, kept in the job folder as it is committed."""

from __future__ import annotations

import os
import re
import secrets
from collections.abc import Callable
from pathlib import Path

from ..errors import SurveyError
from .saving import write_whole

THROWN = "survey-thrown-away.txt"
_UNIT = re.compile(r"# typed in (m|cm|mm|ft)\n")


class Draft:
    """The file that holds what one form has typed of a book, under a name of its own, so that two forms keep both.

    It is no .csv, because what is typed may hold what a spreadsheet would run.
    """

    def __init__(self, folder: Path, book: str = "survey") -> None:
        self.folder = folder
        self.path: Path | None = None
        self.book = book
        self.thrown = THROWN.replace("survey", book)

    def _new(self) -> Path:
        return self.folder / f"{self.book}-draft-{secrets.token_hex(4)}.txt"

    def keep(self, text: str, unit: str) -> None:
        """Keep a text and its unit, the file whole whatever happens. Raises SurveyError where it cannot be written."""
        self.path = self.path or self._new()
        write_whole(self.path, f"# typed in {unit}\n{text}".encode(errors="surrogatepass"))

    def drop(self) -> None:
        """Take the file away: what it held is saved. Raises SurveyError where that cannot be done."""
        if self.path is not None:
            path, self.path = self.path, None
            _moving(lambda: path.unlink(missing_ok=True))

    def waiting(self, saved: str) -> list[Path]:
        """Other drafts in the folder that hold something else than is saved, the newest first."""
        found = []
        named = re.compile(rf"{self.book}-draft-[0-9a-f]{{8}}\.txt")
        for path in self.folder.iterdir():
            if named.fullmatch(path.name) and path != self.path and path.is_file() and not path.is_symlink():
                try:
                    if _parted(path)[0] != saved:
                        found.append((path.stat().st_mtime, path))
                except OSError:  # taken up or saved by another form just now
                    continue
        return [path for _, path in sorted(found, reverse=True)]

    def take_up(self, path: Path) -> tuple[str, str]:
        """Make another's draft this one; its text and unit. Raises SurveyError where it is gone.

        What this form has kept before stays waiting.
        """
        own = self._new()
        _moving(lambda: os.replace(path, own))
        self.path = own
        return _parted(own)

    def throw_away(self, path: Path) -> bool:
        """True, once a draft is put aside as `thrown`, where the last of them can still be found."""
        _moving(lambda: os.replace(path, self.folder / self.thrown))
        return True


def _parted(path: Path) -> tuple[str, str]:
    content = path.read_bytes()
    try:
        text = content.decode(errors="surrogatepass")
    except UnicodeDecodeError:  # not written by a form
        text = content.decode(errors="replace")
    head = _UNIT.match(text)
    return (text[head.end():], head[1]) if head else (text, "m")


def _moving(act: Callable[[], None]) -> None:
    try:
        act()
    except FileNotFoundError:
        raise SurveyError("that draft is not there any more", remedy="Another form has taken it up, or saved it.") from None
    except OSError as error:
        raise SurveyError(f"the draft cannot be moved or taken away: {error.strerror}",
                          remedy="Look for a folder that is read-only.") from error
