"""Writing the files of a job so that nothing is lost: not by a full disk, a killed process, or somebody else's version."""

from __future__ import annotations

import os
import re
import secrets
import tempfile
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from itertools import count
from pathlib import Path

from ..errors import SurveyError

_PATIENCE = 10.0  # s: saving takes a fraction of one
_HALF = re.compile("[\ud800-\udfff]")


def save_texts(changes: Sequence[tuple[Path, str, str]]) -> None:
    """Write changed files of one folder, each with the text it had when it was read and the new one; all of them or none.

    The version before is kept beside each. Raises SurveyError, overwriting nothing, where a file is not as it was read; the new
    texts are then kept beside it.
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
    while True:
        try:
            handle = os.open(lock, os.O_CREAT | os.O_EXCL | os.O_WRONLY)
            os.write(handle, token.encode())
            os.close(handle)
            break
        except FileExistsError:
            with suppress(FileNotFoundError):
                if time.time() - lock.stat().st_mtime > _PATIENCE:  # left behind by a process that was killed
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
    names = (f"{path.stem}-not-saved{number or ''}{path.suffix}" for number in count())
    kept = next(place for name in names if not (place := path.with_name(name)).exists() or place.read_bytes() == text.encode())
    write_whole(kept, text.encode())
    if not theirs:
        return SurveyError(f"the file {path.name} was not written either", remedy=f"Your version is kept as {kept.name}.")
    return SurveyError(f"the file {path.name} has been changed since this job was opened", rule="It was left as it is now.",
                       remedy=f"Your version is kept as {kept.name}. Choose Run, then Run All Cells, to open the job again, and "
                              "bring the two together.")


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
