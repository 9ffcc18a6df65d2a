"""A short run of every attack: nothing comes back but results and sentences.

`python tests/attack/table.py --long` runs them for longer.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import attacks
import fields
import matplotlib.pyplot as plt
import numbers_everywhere
import pytest
import readers
import shapes_and_names
import sizes
import strangers
import two_at_once
from ledger import Ledger, SlippedError, place_of, sound

import sitelevels
from sitelevels import SurveyError

SEED = 20


def clean(ledger: Ledger) -> Ledger:
    assert not ledger.unhandled, "\n".join(ledger.unhandled)
    assert ledger.tries == ledger.refused + ledger.taken
    return ledger


class TestTheLedger:
    """An attack that could see nothing would always pass."""

    @pytest.mark.parametrize(
        ("act", "seen"),
        [
            (lambda: 1 / 0, "ZeroDivisionError"),
            (lambda: sound(float("nan")), "nan"),
            (lambda: sound([1.0, {"a": float("inf")}]), "inf"),
            (lambda: int("x"), "ValueError"),
            (lambda: (_ for _ in ()).throw(SurveyError("it is so")), "no sentence"),
            (lambda: __import__("warnings").warn("a doubt", RuntimeWarning, stacklevel=1), "RuntimeWarning"),
            (lambda: sound(sitelevels.Plane(10.0, 0.0, 0.0)) or sound(1j), "1j"),
        ],
    )
    def test_sees(self, act: Any, seen: str) -> None:
        ledger = Ledger("control")
        ledger.attempt("control", act)
        assert any(seen in one for one in ledger.unhandled), ledger.unhandled

    def test_counts_what_is_refused_and_what_is_taken(self) -> None:
        ledger = Ledger("control")
        ledger.attempt("refused", lambda: sitelevels.parse_fall("steep"))
        assert ledger.attempt("taken", lambda: sitelevels.parse_fall("1:80")) == 0.0125
        assert (ledger.tries, ledger.refused, ledger.taken, ledger.unhandled) == (2, 1, 1, [])

    def test_names_the_line_of_the_package(self) -> None:
        with pytest.raises(TypeError) as caught:
            sitelevels.wording.word_mm("wide")  # type: ignore[arg-type]
        assert place_of(caught.value).startswith("wording.py:")


class TestReaders:
    @pytest.mark.parametrize("way", ["path", "text", "file", "table"])
    def test_level_books(self, way: str) -> None:
        found = clean(readers.attack_books(25, SEED, way))
        assert found.refused > 10
        assert found.taken > 1

    @pytest.mark.parametrize("name", readers.SPOILT)
    def test_job_folders(self, name: str) -> None:
        clean(readers.attack_folders({"brief.toml": 20}.get(name, 5), SEED, name))

    def test_learners_pages(self) -> None:
        found = clean(readers.attack_pages(60, SEED))
        assert found.refused > 10
        assert found.taken > 10

    def test_answers_files(self, monkeypatch: pytest.MonkeyPatch) -> None:
        clean(readers.attack_answers(40, SEED, monkeypatch.chdir))

    def test_drafts(self) -> None:
        clean(readers.attack_drafts(100, SEED))


class TestShapesAndNames:
    @pytest.mark.parametrize(
        "attack",
        [
            shapes_and_names.attack_outlines,
            shapes_and_names.attack_limits,
            shapes_and_names.attack_sites,
            shapes_and_names.attack_names,
        ],
    )
    def test_drawn_at_random(self, attack: Any) -> None:
        assert clean(attack(60, SEED)).refused > 10


class TestStrangers:
    def test_no_code_of_a_file_could_run(self) -> None:
        assert strangers.code_that_could_run() == []

    @pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no pipes in folders")
    @pytest.mark.parametrize(
        "trap",
        [
            "brief.toml is a link to brief.toml",
            "survey.csv is a link to OUT/secret",
            "ties.csv is a link to nowhere",
            "survey-not-saved.csv is a pipe",
            "survey-not-saved.csv is a folder",
            "survey-not-saved.csv is a link to /dev/zero",
            ".saving is a link to nowhere",
            ".saving is dated 100000000.0 s ahead",
            "sheet is a link to OUT",
            "survey.csv is a hard link",
            "survey-draft-0123abcd.txt is a pipe",
        ],
    )
    def test_traps(self, trap: str, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr(strangers, "TRAPS", {trap: strangers.TRAPS[trap]})
        clean(strangers.attack_folders(None, SEED))

    @pytest.mark.parametrize("name", ["html", "attribute", "mathtext", "emoji", "right to left", "formula"])
    def test_names_stay_words(self, name: str) -> None:
        clean(strangers.attack_words([name], dear=False))
        plt.close("all")

    def test_the_guard_sees_markup(self) -> None:
        with pytest.raises(SlippedError):
            strangers.harmless(f"<p title='{strangers.NAMES['attribute']}'>x</p>", "control")
        with pytest.raises(SlippedError):
            strangers.harmless(f"<p>{strangers.NAMES['html']}</p>", "control")

    def test_the_guard_sees_what_lies_outside(self, tmp_path: Path) -> None:
        assert list(strangers.outside("write", str(tmp_path / "x"), tmp_path / "job"))
        assert list(strangers.outside("subprocess.Popen", "x", tmp_path / "job"))
        assert not list(strangers.outside("write", str(tmp_path / "job" / "x"), tmp_path / "job"))


class TestSaving:
    def test_two_at_once(self) -> None:
        clean(two_at_once.attack(12, SEED))
        assert two_at_once.see_a_loss()

    @pytest.mark.skipif(not hasattr(os, "fork"), reason="this system has no fork")
    def test_stopped_on_the_way(self) -> None:
        done = subprocess.run(
            [sys.executable, str(Path(__file__).with_name("stopped.py")), "4"], capture_output=True, text=True, check=True
        )
        for found in json.loads(done.stdout)["found"]:
            assert found["unhandled"] == [], found["attack"]
            assert found["counts"]["old"] > 0
            assert found["counts"]["new"] > 0
            assert found["counts"]["one old, one new"] == 0 or "together" in found["attack"]


class TestNumbers:
    def test_every_public_name_is_tried_or_needs_none(self) -> None:
        tried = {name for name, *_ in numbers_everywhere.calls()}
        assert tried | set(numbers_everywhere.EXEMPT) == set(sitelevels.__all__)
        assert not tried & set(numbers_everywhere.EXEMPT)

    def test_the_calls_are_valid_as_they_are(self) -> None:
        ledger = Ledger("valid calls")
        for name, function, given in numbers_everywhere.calls():
            ledger.attempt(
                name,
                lambda function=function, given=given: [
                    numbers_everywhere.looked_at(one)
                    for one in (lambda found: found if isinstance(found, tuple) else (found,))(function(**given))
                ],
            )
        assert clean(ledger).refused == 0

    def test_none_is_taken_for_a_number(self) -> None:
        assert clean(numbers_everywhere.attack(500, SEED)).refused > 300

    def test_fields_of_forms(self) -> None:
        clean(fields.attack_fields(36, SEED))


class TestSizes:
    def test_nothing_and_next_to_nothing(self) -> None:
        assert clean(sizes.attack_small()).refused > 50

    def test_a_long_book(self) -> None:
        assert clean(sizes.attack_large(5_000)).longest < 20  # s of computing: a quarter of one


def test_the_table_has_a_row_for_each() -> None:
    ledgers = [Ledger("one", 1, tries=2, refused=1, taken=1), Ledger("two", unhandled=["ZeroDivisionError <- x"])]
    text = attacks.table(ledgers, long=False)
    assert "| one | 1 | 2 | 1 | 0 | 1 | 0 |" in text
    assert "ZeroDivisionError" in text
