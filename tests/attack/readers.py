"""Whatever stands in its files, a job is opened or refused in sentences: every reader fed with spoilt copies of valid files."""

from __future__ import annotations

import io
import math
import random
import shutil
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from typing import Any

import pandas as pd
import spoiling
from ledger import Ledger, SlippedError, quiet, sound

import sitelevels
from sitelevels import LevelBook, SurveyError, mark_book, practice_book, read_book, reduce_book
from sitelevels.design.brief_file import read_brief, toml, with_value
from sitelevels.teaching.filled import read_page
from sitelevels.teaching.practice import KINDS
from sitelevels.workbook import Job, answers, open_job
from sitelevels.workbook.drafts import Draft

DATA = Path(sitelevels.__file__).parents[1] / "data"
STARTER = Path(sitelevels.__file__).parent / "workbook" / "starter"
FOLDERS = (DATA / "pottery-yard", DATA / "seed-store", STARTER)
TIES = b"point,from_a,a,from_b,b,side\nQ1,3.000,C1,4.000,C2,left\nQ2,2.500,Q1,3.100,C1,right\n"
UNITS = ("m", "m", "m", "mm", "cm", "ft")


@contextmanager
def scratch() -> Iterator[Path]:
    """A folder that goes away again."""
    with tempfile.TemporaryDirectory() as place:
        yield Path(place)


@cache
def books() -> tuple[bytes, ...]:
    """Valid level books: those of the jobs, of exercises, and a few ways of booking."""
    own = [folder / name for folder in FOLDERS for name in ("survey.csv", "laid.csv")]
    exercises = [practice_book(11, kind=kind).book for kind in KINDS]
    return (
        *(path.read_bytes() for path in own if path.is_file()),
        *(book.text.encode() for book in exercises if book),
        b"point,reading,rl\nBM,1.500,10.000\nA,1.250,\nmoved,,\nA,1.100,\nB,1.300,\nBM,1.600,\n",
        b"Point;Backsight (mm);Inter. (mm);F.S. (mm);sight\nBM;1500;;;20\nA;;1250;;20\nT;1400;;1300;20 / 10\nBM;;;1600;5\n",
    )


def level_book_holds(book: LevelBook) -> None:
    """A book that was read holds finite numbers, is read again as it is, and is reduced or refused in sentences."""
    for row in book.rows:
        for held in (row.bs, row.is_, row.fs, row.x, row.y, row.rl, row.hand_level, row.sight, row.sight_back):
            if held is not None and not math.isfinite(held):
                raise SlippedError(f"row {row.number} holds {held!r}")
    if not all(doubt.endswith((".", "?", "!")) for doubt in book.doubts):
        raise SlippedError("a doubt is no sentence")
    with quiet():
        if read_book(book.text).rows != book.rows:
            raise SlippedError("the book reads otherwise when it is written and read again")
        reduced = reduce_book(book)
    levels = reduced.table[["level", "adjusted_level"]].to_numpy(float)
    if not all(map(math.isfinite, levels.ravel().tolist())):
        raise SlippedError("a level is no number")


def text_of(content: bytes) -> str:
    try:
        return content.decode("utf-8", "surrogateescape" if b"\xff" in content else "strict")
    except UnicodeDecodeError:
        return content.decode("latin-1")


def book_from(way: str, content: bytes, folder: Path, unit: str) -> Any:
    """One of the ways in for a level book."""
    if way == "path":
        (folder / "book.csv").write_bytes(content)
        return read_book(folder / "book.csv", unit=unit)
    if way == "text":
        return read_book(text_of(content) + "\n", unit=unit)
    if way == "file":
        (folder / "book.csv").write_bytes(content)
        with (folder / "book.csv").open(encoding="utf-8") as file:
            return read_book(file, unit=unit)
    try:
        frame = pd.read_csv(io.BytesIO(content), on_bad_lines="skip", low_memory=False)
    except (ValueError, pd.errors.ParserError, UnicodeError, OverflowError):  # what pandas does not take is no table
        frame = pd.DataFrame({"point": text_of(content).split("\n")})
    return read_book(frame, unit=unit)


def attack_books(tries: int, seed: int, way: str) -> Ledger:
    """A level book by one of its ways in."""
    ledger, rng = Ledger(f"level book, {way}", seed), random.Random(seed)
    with scratch() as folder:
        for _ in range(tries):
            content, unit = spoiling.spoilt(rng, rng.choice(books()), spoiling.TABLE), rng.choice(UNITS)

            def act(content: bytes = content, unit: str = unit) -> Any:
                book = book_from(way, content, folder, unit)
                level_book_holds(book)
                return book

            ledger.attempt(f"{unit}: {content[:2000]!r}", act)
    return ledger


PARTS = (
    "book",
    "reduced",
    "ground",
    "brief",
    "doubts",
    "choice",
    "start",
    "finish",
    "finish_words",
    "verdicts",
    "earthworks",
    "budget",
    "errors",
    "benchmark",
    "name",
    "invented",
    "counted",
    "wall_name",
)
DEAR = ("ground_fall", "sensitivity")


def worked_through(job: Job, ledger: Ledger, what: str, *, dear: bool) -> None:
    """Everything that can be asked of a job; each part is given, or refused in sentences."""
    asked: list[tuple[str, Callable[[], Any]]] = [(name, lambda name=name: getattr(job, name)) for name in PARTS]
    asked += [("pegs", job.pegs), ("section", job.section)]
    cheap = {
        "outdoor": ("fit", "dig", "carriers", "catchments", "flow", "conduits", "soakaway", "holes", "posts"),
        "as_built": ("there", "book", "reduced", "check", "lips", "pond"),
        "screeding": ("there", "found", "line", "pads", "departure"),
    }
    costly = {
        "outdoor": ("units", "post_check", "materials", "readings", "by_hand", "packers", "cuts", "faults"),
        "as_built": ("flatness", "mending", "water", "to_do", "lips_words", "doubts_words"),
        "screeding": ("pads_words", "verdicts", "flatness", "by_hand", "faults"),
    }
    for held in (cheap, costly) if dear else (cheap,):
        for whole, names in held.items():
            asked += [
                (f"{whole}.{name}", lambda whole=whole, name=name: getattr(getattr(job, whole), name))
                for name in names
                if hasattr(type(getattr(job, whole)), name)
            ]
    if dear:
        asked += [(name, lambda name=name: getattr(job, name)) for name in DEAR]
    inner = Ledger(ledger.attack)
    for name, ask in asked:
        found = inner.attempt(f"{name} of {what}", ask)
        if name in ("choice", "verdicts", "earthworks", "finish", "pegs"):
            inner.attempt(f"{name} of {what}", lambda name=name, found=found: sound(found, name))
    for failure in inner.unhandled:
        how, _, which = failure.partition(" <- ")
        ledger.fail(which, how)
    ledger.warned += bool(inner.warned)
    if inner.refused and any(refuses(job, name) for name in ("book", "ground", "brief")):
        ledger.refused, ledger.taken = ledger.refused + 1, ledger.taken - 1


def refuses(job: Job, name: str) -> bool:
    try:
        getattr(job, name)
    except SurveyError:
        return True
    except Exception:  # told by the ledger already
        return False
    return False


SPOILT = {"brief.toml": spoiling.TOML, "survey.csv": spoiling.TABLE, "laid.csv": spoiling.TABLE, "ties.csv": spoiling.TABLE}


def attack_folders(tries: int, seed: int, name: str, *, dear: bool = False) -> Ledger:
    """One file of a job folder spoilt, then the job opened and worked through."""
    ledger, rng = Ledger(f"job folder, {name}", seed), random.Random(seed)
    with scratch() as place:
        for number in range(tries):
            source, folder = rng.choice(FOLDERS), place / f"job{number}"
            shutil.copytree(source, folder)
            if name == "ties.csv":
                (folder / name).write_bytes(TIES)
            elif name == "laid.csv" and not (folder / name).is_file():
                shutil.copy(folder / "survey.csv", folder / name)
            content = spoiling.spoilt(rng, (folder / name).read_bytes(), SPOILT[name])
            (folder / name).write_bytes(content)
            what = f"{source.name}/{name}: {content[:60_000]!r}"
            job = ledger.attempt(what, lambda folder=folder: open_job(folder))
            if job is not None:
                worked_through(job, ledger, what, dear=dear)
            if name == "brief.toml" and job is not None:
                ledger.attempt(what, lambda job=job: changed(job))
            shutil.rmtree(folder)
    return ledger


def changed(job: Job) -> None:
    """A form changes one value of a brief that was read: what comes out is a brief again, with all that was in it."""
    text = with_value(job.brief_text, "job", 1, "note", toml("noted"))
    before, after = read_brief(job.brief_text), read_brief(text)
    if after.get("job", {}).pop("note", None) != "noted":
        raise SlippedError("a value that was changed was not kept")
    before.get("job", {}).pop("note", None)
    before.setdefault("job", {})
    if repr(before) != repr(after):
        raise SlippedError("changing one value changed another")


@cache
def exercises() -> tuple[Any, ...]:
    return tuple(practice_book(21, kind=kind, slip=None) for kind in KINDS)


def attack_pages(tries: int, seed: int) -> Ledger:
    """A learner's page, as text and as a table."""
    ledger, rng = Ledger("learner's page", seed), random.Random(seed)
    for _ in range(tries):
        exercise = rng.choice(exercises())
        content = spoiling.spoilt(rng, answers.page_text(exercise.sheet(filled=True)).encode(), spoiling.TABLE)
        page: Any = text_of(content)
        if rng.random() < 0.3:
            try:
                page = pd.read_csv(io.BytesIO(content), on_bad_lines="skip", dtype=rng.choice((None, object, str)))
            except (ValueError, pd.errors.ParserError, UnicodeError, OverflowError):
                page = pd.DataFrame([[page]])

        def act(exercise: Any = exercise, page: Any = page) -> Any:
            marked = mark_book(exercise, page)
            if not marked._repr_html_():
                raise SlippedError("a marked page shows nothing")
            sound(marked.table, "the marks")
            return marked

        ledger.attempt(f"{exercise.kind}: {content[:2000]!r}", act)
    return ledger


def attack_answers(tries: int, seed: int, monkey: Callable[[Path], None]) -> Ledger:
    """The file in which answers are kept: read as a page or refused, and what stood there is never lost by the next keeping."""
    ledger, rng = Ledger("answers file", seed), random.Random(seed)
    with scratch() as desk:
        (desk / "data" / "pottery-yard").mkdir(parents=True)
        (desk / "data" / "learning").mkdir()
        monkey(desk)
        for _ in range(tries):
            exercise = rng.choice(exercises())
            content = spoiling.spoilt(rng, answers.page_text(exercise.sheet(filled=True)).encode(), spoiling.TABLE)
            kept = answers.AnswerFile("typed")
            kept.path.write_bytes(content)
            shown = f"{exercise.kind}: {content[:2000]!r}"
            page = ledger.attempt(shown, lambda kept=kept, exercise=exercise: kept.read(exercise))
            typed = exercise.sheet() if page is None else page.copy()
            typed.loc[typed.index[0], typed.columns[-1]] = "typed just now"

            def keep(
                kept: Any = kept, typed: Any = typed, content: bytes = content, page: Any = page, exercise: Any = exercise
            ) -> None:
                kept.keep(typed)
                there = [path.read_bytes() for path in kept.path.parent.iterdir()]
                if content not in there and (page is None or not same_page(exercise, content, page)):
                    raise SlippedError("what stood in the file is gone")
                if "typed just now" not in kept.path.read_text("utf-8"):
                    raise SlippedError("what was typed was not kept")

            ledger.attempt(shown, keep)
            for path in kept.path.parent.iterdir():
                path.unlink()
    return ledger


def same_page(exercise: Any, content: bytes, page: pd.DataFrame) -> bool:
    """Whether a page says all that a text says, ends of lines and quotation marks apart."""
    again = read_page(exercise, content.decode("utf-8-sig")).table
    bare = [content.decode("utf-8-sig").replace("\r\n", "\n"), answers.page_text(page)]
    return bool(again.equals(page)) and bare[0] == bare[1]


def attack_drafts(tries: int, seed: int) -> Ledger:
    """A draft in a job folder: found, taken up with all its text, or refused in words."""
    ledger, rng = Ledger("drafts", seed), random.Random(seed)
    with scratch() as folder:
        for number in range(tries):
            content = spoiling.spoilt(rng, b"# typed in mm\n" + rng.choice(books()), spoiling.TABLE)
            path = folder / f"survey-draft-{number:08x}.txt"
            path.write_bytes(content)

            def act(path: Path = path, content: bytes = content) -> None:
                draft = Draft(folder)
                if path not in draft.waiting("saved\n") and content != b"saved\n":
                    raise SlippedError("a draft was not found")
                text, unit = draft.take_up(path)
                assert draft.path is not None
                if unit not in ("m", "cm", "mm", "ft") or draft.path.read_bytes() != content:
                    raise SlippedError("a draft was changed by taking it up")
                draft.keep(text, unit)
                again = draft.path.read_bytes().partition(b"\n")[2]
                if b"\xed" not in content and content.startswith(b"# typed in mm\n"):
                    whole = content.partition(b"\n")[2]
                    if again != whole and valid(whole):
                        raise SlippedError("a draft that was taken up and kept lost something")
                draft.throw_away(draft.path)

            ledger.attempt(f"{content[:2000]!r}", act)
    return ledger


def valid(content: bytes) -> bool:
    try:
        content.decode()
    except UnicodeDecodeError:
        return False
    return True
