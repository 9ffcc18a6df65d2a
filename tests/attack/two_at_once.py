"""Two processes save one job at once: nothing that was said to be saved is lost, and whoever was too late is told.

Each process opens the job, adds a line of its own and saves, again and again. What each was told is checked afterwards: the texts
that were accepted must make one chain, each begun from the one before; every text that was refused must be kept beside the file.

Run by hand: python tests/attack/two_at_once.py FOLDER WRITER ROUNDS SEED.
"""

from __future__ import annotations

import json
import random
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

from ledger import Ledger, unsaid

FILES = {"survey.csv": "survey_text", "brief.toml": "brief_text"}


def writer(folder: Path, name: str, rounds: int, seed: int) -> None:
    """One of the two: prints, a line for each round, what it saved and what it was told."""
    from sitelevels.workbook import drafts, open_job

    rng, draft = random.Random(f"{seed} {name}"), drafts.Draft(folder)
    (folder.parent / f"ready {name}").touch()
    go = folder.parent / "go"
    while not go.exists():
        time.sleep(0.005)
    job = open_job(folder)
    with (folder.parent / f"told {name}").open("w", encoding="utf-8") as log:  # no pipe, which would hold one of them up
        for number in range(rounds):
            job = one_round(folder, job, draft, name, number, rng, log)


def one_round(folder: Path, job: Any, draft: Any, name: str, number: int, rng: random.Random, log: Any) -> Any:
    """Type, keep the draft, save; what it was told is logged."""
    from sitelevels import SurveyError
    from sitelevels.workbook import open_job

    kinds = rng.choice((["survey.csv"], ["brief.toml"], ["survey.csv", "brief.toml"]))
    before = {kind: getattr(job, FILES[kind]) for kind in kinds}
    # the note of the last round is replaced, so that the files stay small
    after = {kind: text.partition("# writer")[0] + f"# writer {name} round {number}\n" for kind, text in before.items()}
    told: dict[str, Any] = {"before": before, "after": after, "said": "", "other": ""}
    typed = f"draft of {name} {number}\n"
    try:
        draft.keep(typed, "m")
        for path in draft.waiting("saved\n")[:1]:
            if rng.random() < 0.1:
                draft.take_up(path)
                draft.path = None  # it waits under its new name
                draft.keep(typed, "m")
    except SurveyError as error:
        told["draft"] = list(unsaid(error))
    try:
        job = job.saved(**{FILES[kind]: text for kind, text in after.items()})
    except SurveyError as error:
        told["said"] = str(error)
        told["unsaid"] = list(unsaid(error))
        job = open_job(folder)
    except Exception as error:
        told["other"] = f"{type(error).__name__}: {error}"
    print(json.dumps(told), file=log)
    if rng.random() < 0.3:
        time.sleep(rng.random() * 0.005)
    return job


def attack(rounds: int, seed: int) -> Ledger:
    """Two processes at one folder for so many rounds each; what was found."""
    ledger = Ledger("two notebooks on one job", seed)
    root = Path(__file__).parents[2]
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place).resolve() / "job"
        folder.mkdir()
        for name in FILES:
            shutil.copy(root / "data" / "pottery-yard" / name, folder / name)
        start = {name: (folder / name).read_bytes().decode() for name in FILES}
        running = [
            subprocess.Popen(
                [sys.executable, __file__, str(folder), name, str(rounds), str(seed)],
                stderr=subprocess.PIPE,
                text=True,
                encoding="utf-8",
            )
            for name in ("one", "two")
        ]
        ready = [folder.parent / f"ready {name}" for name in ("one", "two")]
        while not all(path.exists() for path in ready) and all(process.poll() is None for process in running):
            time.sleep(0.01)
        started = time.perf_counter()
        (folder.parent / "go").touch()
        for process in running:
            _, wrong = process.communicate(timeout=600)
            if process.returncode:
                ledger.fail(wrong[-300:], "a writer ended")
        took = time.perf_counter() - started
        told = [
            [json.loads(line) for line in (folder.parent / f"told {name}").read_text("utf-8").splitlines()]
            for name in ("one", "two")
        ]
        every = [one for lines in told for one in lines]
        ledger.tries, ledger.longest = len(every), took / max(1, rounds)
        ledger.refused = sum(bool(one["said"]) for one in every)
        ledger.taken = ledger.tries - ledger.refused
        for one in every:
            if one["other"] or one.get("unsaid") or one.get("draft"):
                ledger.fail(str(one)[-300:], f"no sentence: {one['other'] or one.get('unsaid') or one.get('draft')}")
        kept = {path.read_bytes().decode() for path in folder.iterdir()}
        for name in FILES:
            for fault in broken_chain(name, start[name], every, (folder / name).read_bytes().decode(), folder, kept):
                ledger.fail(name, fault)
        for lines, writer_name in zip(told, ("one", "two"), strict=True):
            if not any(f"draft of {writer_name} {len(lines) - 1}\n" in text for text in kept):
                ledger.fail(writer_name, "the last draft is lost")
        ledger.note = f"{ledger.refused} of {ledger.tries} were too late and were told; longest is the mean of a round"
    return ledger


def broken_chain(name: str, start: str, every: list[dict[str, Any]], now: str, folder: Path, kept: set[str]) -> list[str]:
    """What is wrong with the chain of texts of one file: a text lost, one saved over another, a refused one not kept."""
    accepted = [one for one in every if name in one["after"] and not one["said"]]
    following: dict[str, str] = {}
    faults = []
    for one in accepted:
        if one["before"][name] in following:
            faults.append("two were saved over one and the same text: one of them is lost")
        following[one["before"][name]] = one["after"][name]
    text, chain = start, [start]
    while text in following and len(chain) <= len(accepted):
        text = following[text]
        chain.append(text)
    if len(chain) != len(accepted) + 1:
        faults.append("texts that were accepted do not make one chain")
    if text != now:
        faults.append("the file is not the text that was accepted last")
    before = folder / f"{Path(name).stem}-before{Path(name).suffix}"
    if len(chain) > 1 and before.read_bytes().decode() != chain[-2]:
        faults.append("the version before is not kept")
    for one in every:
        if one["said"] and name in one["after"] and one["after"][name] not in kept and one["after"][name] not in chain:
            faults.append("a text that was refused is not kept beside the file")
    return faults


def see_a_loss() -> bool:
    """Whether the check sees a save over another's text, were there one."""
    one = {"before": {"survey.csv": "a"}, "after": {"survey.csv": "b"}, "said": ""}
    two = {"before": {"survey.csv": "a"}, "after": {"survey.csv": "c"}, "said": ""}
    with tempfile.TemporaryDirectory() as place:
        (Path(place) / "survey-before.csv").write_text("a")
        return bool(broken_chain("survey.csv", "a", [one, two], "c", Path(place), {"a", "c"}))


if __name__ == "__main__":
    writer(Path(sys.argv[1]), sys.argv[2], int(sys.argv[3]), int(sys.argv[4]))
