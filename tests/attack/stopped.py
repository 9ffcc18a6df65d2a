"""The process stopped before, in the middle of and after every step of a save; then the job opened and saved again.

Run by hand: python tests/attack/stopped.py [every]. Steps are open, write, flush, sync, replace, rename, link, unlink, chmod and
mkdir. What a loss of power does to what the disk itself still held back is not simulated.
"""

from __future__ import annotations

import json
import os
import shutil
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from ledger import Ledger, SlippedError

STOPPED, DONE, FAILED = 77, 0, 99
CALLS = ("open", "write", "fsync", "replace", "rename", "link", "unlink", "chmod", "mkdir")
WHENS = ("before", "half", "after")


class Stops:
    """Counts the steps of a save, and ends the process at one of them without any tidying up."""

    def __init__(self, at: int, when: str) -> None:
        self.at, self.when, self.count, self.names = at, when, 0, []

    def step(self, name: str, act: Callable[[], Any], half: Callable[[], Any] | None = None) -> Any:
        self.count += 1
        mine = self.count == self.at
        if mine and self.when == "before":
            os._exit(STOPPED)
        if mine and self.when == "half":
            if half is not None:
                half()
            os._exit(STOPPED)
        try:
            return act()
        finally:
            if mine:
                os._exit(STOPPED)

    def arm(self) -> None:
        for name in CALLS:
            true = getattr(os, name)

            def wrapped(*given: Any, true: Any = true, name: str = name, **more: Any) -> Any:
                def half() -> Any:
                    return true(given[0], given[1][: len(given[1]) // 2])

                return self.step(name, lambda: true(*given, **more), half if name == "write" else None)

            setattr(os, name, wrapped)
        true_file = os.fdopen
        os.fdopen = lambda *given, **more: File(true_file(*given, **more), self)  # type: ignore[assignment]


class File:
    """A file whose writing and flushing are steps too."""

    def __init__(self, file: Any, stops: Stops) -> None:
        self._file, self._stops = file, stops

    def __enter__(self) -> File:
        return self

    def __exit__(self, *_: object) -> None:
        self._stops.step("close", self._file.close)

    def write(self, content: bytes) -> Any:
        def half() -> None:
            self._file.write(content[: len(content) // 2])
            self._file.flush()

        return self._stops.step("write", lambda: self._file.write(content), half)

    def flush(self) -> None:
        self._stops.step("flush", self._file.flush)

    def fileno(self) -> int:
        return int(self._file.fileno())


def in_child(act: Callable[[], Any], at: int, when: str) -> int:
    """How a child that does it ends, stopped at a step or not."""
    child = os.fork()
    if child == 0:
        code = FAILED
        try:
            Stops(at, when).arm()
            act()
            code = DONE
        except BaseException as error:
            sys.stderr.write(f"{type(error).__name__}: {error}\n")
        finally:
            os._exit(code)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


class Save:
    """Something that is saved: how a folder is prepared, the save itself, what must hold after it."""

    def __init__(
        self, name: str, prepare: Callable[[Path], None], act: Callable[[Path], Any], whole: Callable[[Path], str]
    ) -> None:
        self.name, self.prepare, self.act, self.whole = name, prepare, act, whole


def one_of(path: Path, *texts: bytes | None) -> str:
    """Which of the contents a file has, None for no file; anything else is a failure."""
    there = path.read_bytes() if path.exists() else None
    if there not in texts:
        raise SlippedError(f"{path.name} is neither the old file nor the new one: {there!r:.80}")
    return "old" if there == texts[0] else "new"


def saves(source: Path, text: dict[str, str]) -> list[Save]:
    """Every kind of saving in the workbook, on copies of a job."""
    from sitelevels import SurveyError, practice_book, workbook
    from sitelevels.workbook import answers, drafts, saving

    brief, book = text["brief.toml"], text["survey.csv"]
    brief_new, book_new = brief + "# note of the new brief\n", book + "# note of the new book\n"
    exercise = practice_book(3)
    first, second = exercise.sheet(), exercise.sheet()
    first.loc[first.index[0], "level"], second.loc[second.index[0], "level"] = "1.000", "2.000"
    old_page, new_page = (answers.page_text(page).encode() for page in (first, second))
    job_name = "job"
    sheet_old, sheet_new = b"old " * 5000, b"new " * 5000

    def copied(place: Path) -> None:
        shutil.copytree(source, place / job_name)

    def on_desk(place: Path) -> None:
        (place / "data" / "learning").mkdir(parents=True)
        for name in ("pottery-yard", "other"):
            shutil.copytree(source, place / "data" / name)
        os.chdir(place)

    def opened(place: Path) -> Any:
        job = workbook.open_job(place / job_name)
        assert job.reduced is not None
        return job

    def files(place: Path, *names: str) -> str:
        opened(place)
        said = {
            name: one_of(place / job_name / name, text[name].encode(), changed.encode())
            for name, changed in (("brief.toml", brief_new), ("survey.csv", book_new))
            if name in names
        }
        if len(set(said.values())) > 1:
            return "one old, one new"
        return next(iter(said.values()))

    def kept_answers(place: Path, page: Any, old: bytes) -> None:
        file = answers.AnswerFile("typed")
        file._mine = old  # as after reading it
        file.keep(page)

    def keep_draft(place: Path) -> None:
        draft = drafts.Draft(place / job_name)
        draft.path = place / job_name / "survey-draft-00000000.txt"
        draft.keep("new text\n", "m")

    def draft_there(place: Path) -> str:
        path = place / job_name / "survey-draft-00000000.txt"
        said = one_of(path, b"# typed in m\nold text\n", b"# typed in m\nnew text\n")
        waiting = drafts.Draft(place / job_name).waiting(book)
        if waiting != [path]:
            raise SlippedError(f"drafts that wait are {[one.name for one in waiting]}")
        return said

    def with_draft(place: Path) -> None:
        copied(place)
        (place / job_name / "survey-draft-00000000.txt").write_bytes(b"# typed in m\nold text\n")

    def answers_there(place: Path) -> str:
        path = place / "data" / "learning" / "typed.csv"
        said = one_of(path, old_page, new_page)
        answers.AnswerFile("typed").read(exercise)
        return said

    def with_answers(place: Path) -> None:
        on_desk(place)
        (place / "data" / "learning" / "typed.csv").write_bytes(old_page)

    def with_choice(place: Path) -> None:
        on_desk(place)
        (place / "data" / ".chosen").write_bytes(b"pottery-yard")

    def chosen(place: Path) -> str:
        return {"pottery-yard": "old", "other": "new"}[workbook.current_job().folder.name]

    def sheet_file(place: Path) -> None:
        copied(place)
        (place / job_name / "sheet").mkdir()
        (place / job_name / "sheet" / "sheet.pdf").write_bytes(sheet_old)

    def start_job(place: Path) -> None:
        try:
            workbook.new_job(place / job_name)
        except SurveyError as error:  # the name is taken by what was left, and that is told; another is free
            if "already" not in str(error):
                raise
            workbook.new_job(place / "job again")

    def new_job_there(place: Path) -> str:
        found = [path.parent for path in place.glob("*/brief.toml")]  # what makes a folder a job of the list
        for folder in found:
            workbook.open_job(folder)
        return "new" if found else "old"

    return [
        Save(
            "brief.toml",
            copied,
            lambda place: opened(place).saved(brief_text=brief_new),
            lambda place: files(place, "brief.toml"),
        ),
        Save(
            "survey.csv",
            copied,
            lambda place: opened(place).saved(survey_text=book_new),
            lambda place: files(place, "survey.csv"),
        ),
        Save(
            "brief and survey together",
            copied,
            lambda place: opened(place).saved(brief_text=brief_new, survey_text=book_new),
            lambda place: files(place, "brief.toml", "survey.csv"),
        ),
        Save(
            "a file of the sheet",
            sheet_file,
            lambda place: saving.write_whole(place / job_name / "sheet" / "sheet.pdf", sheet_new),
            lambda place: one_of(place / job_name / "sheet" / "sheet.pdf", sheet_old, sheet_new),
        ),
        Save("a draft", with_draft, keep_draft, draft_there),
        Save("answers", with_answers, lambda place: kept_answers(place, second, old_page), answers_there),
        Save("the job that is chosen", with_choice, lambda place: workbook.choose_job("other"), chosen),
        Save("a new job", lambda place: None, start_job, new_job_there),
    ]


def stopped_everywhere(save: Save, every: int = 1) -> dict[str, Any]:
    """One kind of saving stopped at every step (or every so many): what was found."""
    ledger = Ledger(f"stopped while saving: {save.name}")
    counts, at, strays = {"old": 0, "new": 0, "one old, one new": 0}, 1, 0
    while True:
        ended = STOPPED
        for when in WHENS:
            with tempfile.TemporaryDirectory() as folder:
                place = Path(folder).resolve()
                save.prepare(place)
                before = {path.name for path in place.rglob("*")}
                ended = in_child(lambda place=place: save.act(place), at, when)
                what = f"stopped {when} step {at}"

                def check(place: Path = place, before: set[str] = before) -> None:
                    nonlocal strays
                    counts[save.whole(place)] += 1
                    strays += any(
                        path.name.startswith(".") and path.name not in before | {".chosen"} for path in place.rglob("*")
                    )

                def again(place: Path = place) -> None:
                    save.act(place)
                    if save.whole(place) != "new":
                        raise SlippedError("the next save did not take")

                if ended not in (DONE, STOPPED):
                    ledger.fail(what, f"the save itself failed ({ended})")
                ledger.attempt(what, check)
                refused = ledger.refused
                ledger.attempt(f"the next save after: {what}", again)
                if ledger.refused > refused:
                    ledger.fail(what, "the next save was refused")
                os.chdir("/")
            if ended == DONE:
                break
        if ended == DONE:
            break
        at += every
    return {
        "attack": ledger.attack,
        "tries": ledger.tries,
        "refused": ledger.refused,
        "taken": ledger.taken,
        "unhandled": ledger.unhandled,
        "longest": ledger.longest,
        "steps": at - 1,
        "counts": counts,
        "strays": strays,
    }


def main(every: int, names: list[str]) -> None:
    """Try every kind of saving in this process and its children; the findings as JSON."""
    os.environ.pop("SITELEVELS_JOB", None)
    from sitelevels.workbook import saving
    from sitelevels.workbook.job import open_job

    saving._PATIENCE = 0.0  # s: a lock that was left behind is taken away at once; how long that takes is tried elsewhere
    root = Path(__file__).parents[2]
    with tempfile.TemporaryDirectory() as folder:
        source = Path(folder) / "source"
        source.mkdir()
        for name in ("brief.toml", "survey.csv"):
            shutil.copy(root / "data" / "pottery-yard" / name, source / name)
        job = open_job(source)
        started = time.process_time()
        found = [
            stopped_everywhere(save, every)
            for save in saves(source, {"brief.toml": job.brief_text, "survey.csv": job.survey_text})
            if not names or save.name in names
        ]
        json.dump({"found": found, "seconds": time.process_time() - started}, sys.stdout)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1, sys.argv[2:])
