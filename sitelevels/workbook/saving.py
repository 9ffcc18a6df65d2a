"""Writing the files of a job so that nothing is lost: not by a full disk, a killed process, or somebody else's version."""

from __future__ import annotations

import os
import re
import secrets
import tempfile
import time
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager, suppress
from itertools import count
from pathlib import Path

from ..errors import SurveyError
from ..survey.cells import csv_line, safe

_PATIENCE = 10.0  # s: saving takes a fraction of one
_HALF = re.compile("[\ud800-\udfff]")


def save_texts(changes: Sequence[tuple[Path, str, str]]) -> None:
    """Write changed files of one folder, each with the text it had when it was read and the new one; all of them or none.

    The version before is kept beside each; a process that is killed on the way may leave some of the files new and some as
    they were. Raises SurveyError, overwriting nothing, where a file is not as it was read; the new texts are then kept beside it.
    """
    if not changes:
        return
    if any(_HALF.search(text) for _, _, text in changes):
        raise SurveyError("the text has half a sign in it, which no file can hold", remedy="Type or paste it again.")
    folder = changes[0][0].parent
    with _told(folder), _one_at_a_time(folder):
        theirs = [path for path, before, _ in changes if path.exists() and path.read_bytes() not in as_written(before)]
        if theirs:
            raise SurveyError.together(_set_aside(path, text, path in theirs) for path, _, text in changes)
        for path, _, _ in changes:
            if path.exists():
                write_whole(path.with_name(f"{path.stem}-before{path.suffix}"), path.read_bytes())
        staged: list[Path] = []
        originals = [path.read_bytes() if path.exists() else None for path, _, _ in changes]
        try:
            for path, _, text in changes:
                staged.append(_staged(path, text.encode()))
            for beside, (path, _, _) in zip(staged, changes, strict=True):
                os.replace(beside, path)
        except BaseException:
            for beside, original, (path, _, _) in zip(staged, originals, changes, strict=False):
                if beside.exists():
                    beside.unlink()
                elif original is None:  # it took its place already, and is taken away or put back
                    path.unlink(missing_ok=True)
                else:
                    os.replace(_staged(path, original), path)
            raise


@contextmanager
def _told(folder: Path) -> Iterator[None]:
    """An error of the disk, in words."""
    try:
        yield
    except OSError as error:
        name = Path(error.filename or folder).name
        name = name[1:].rpartition("-")[0] if name.startswith(".") and "-" in name else name  # the file that it stands beside
        what = f"{name} cannot be written into the folder {folder.name}"
        raise SurveyError(f"{what}: {error.strerror}", remedy="Look for a full disk, a folder that is read-only, or something "
                          "else of that name.") from error


@contextmanager
def _one_at_a_time(folder: Path) -> Iterator[None]:
    """While one process saves, others wait: what is compared must still be there when it is replaced."""
    lock, token = folder / ".saving", secrets.token_hex(8)
    seen, since = None, time.monotonic()
    while True:
        try:
            handle = os.open(lock, os.O_CREAT | os.O_EXCL | os.O_WRONLY)
            os.write(handle, token.encode())
            os.close(handle)
            break
        except FileExistsError:
            with suppress(FileNotFoundError):
                there = lock.lstat()
                if (mark := (there.st_ino, there.st_mtime_ns)) != seen:
                    seen, since = mark, time.monotonic()
                waited = max(time.monotonic() - since, time.time() - there.st_mtime)  # a clock may have been put back since
                if waited > _PATIENCE:  # left behind by a process that was killed
                    os.replace(lock, gone := lock.with_name(f".saving-{token}"))
                    gone.unlink()
            time.sleep(0.01)
    try:
        yield
    finally:
        with suppress(FileNotFoundError):
            if lock.read_bytes() == token.encode():
                lock.unlink()


def as_written(text: str) -> tuple[bytes, bytes]:
    """A text as a file holds it, without and with a byte-order mark."""
    return text.encode(), b"\xef\xbb\xbf" + text.encode()


def _set_aside(path: Path, text: str, theirs: bool) -> SurveyError:
    """Keep a version that cannot take its place beside it, under a name of its own, and say so.

    `theirs` says that the file itself was changed by another; else it waits for one that was.
    """
    kept = free_beside(path, "not-saved", text.encode())
    write_whole(kept, text.encode())
    if not theirs:
        return SurveyError(f"the file {path.name} was not written either", remedy=f"Your version is kept as {kept.name}.")
    return SurveyError(f"the file {path.name} has been changed since this job was opened", rule="It was left as it is now.",
                       remedy=f"Your version is kept as {kept.name}. Choose Run, then Run All Cells, to open the job again, and "
                              "bring the two together.")


def free_beside(path: Path, named: str, content: bytes) -> Path:
    """The first name of that kind beside a file that is free, or that of a file which holds the same already."""
    places = (path.with_name(f"{path.stem}-{named}{number or ''}{path.suffix}") for number in count())
    return next(place for place in places if not os.path.lexists(place) or (
        place.is_file() and not place.is_symlink() and place.read_bytes() == content))


def write_whole(path: Path, content: bytes) -> None:
    """Write a file so that it is either the old or the new one, whole, whatever happens: write beside, sync, replace.

    Raises SurveyError where the folder cannot be written to.
    """
    with _told(path.parent):
        beside = _staged(path, content)
        try:
            os.replace(beside, path)
        except BaseException:
            beside.unlink(missing_ok=True)
            raise


def write_all(folder: Path, names: Sequence[str], contents: Sequence[bytes]) -> Path:
    """Write files of a folder, each whole, and give the folder back. Raises SurveyError where it cannot be written to."""
    for name, content in zip(names, contents, strict=True):
        write_whole(folder / name, content)
    return folder


def table_text(headings: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """Headings and rows of texts as CSV; no cell of a row is run as a formula by a spreadsheet."""
    return "".join(f"{line}\n" for line in (csv_line(headings), *(csv_line([safe(cell) for cell in row]) for row in rows)))


def _staged(path: Path, content: bytes) -> Path:
    """A file beside the one that it is to replace, written and synced."""
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}-")
    beside = Path(name)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        beside.chmod(0o644)
    except BaseException:
        beside.unlink(missing_ok=True)
        raise
    return beside
