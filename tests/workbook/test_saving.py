"""Saving a job: whole or not at all, the version before kept, nobody's changes written over, nothing outside the folder."""

import os
import time
from pathlib import Path
from typing import Any

import pytest

from sitelevels import workbook
from sitelevels.errors import SurveyError
from sitelevels.workbook import saving


class TestSaved:
    def test_round_trip_and_the_version_before(self, demo: Any) -> None:
        before_brief, before_book = demo.brief, demo.book
        brief, book = before_brief + "# ä note\n", before_book.replace("1.331", "1.332")
        saved = demo.open().saved(brief_text=brief, survey_text=book)
        assert (saved.brief_text, saved.survey_text) == (brief, book) == (demo.brief, demo.book)
        assert (demo.path / "brief-before.toml").read_bytes().decode() == before_brief
        assert (demo.path / "survey-before.csv").read_bytes().decode() == before_book
        # C1 reads 1 mm more than before: 10.080 - 0.001
        assert saved.reduced.level("C1") == pytest.approx(10.079, abs=1e-9)

    def test_a_second_saving_keeps_the_first(self, demo: Any) -> None:
        once = demo.open().saved(survey_text=demo.book + "# one\n")
        once.saved(survey_text=once.survey_text + "# two\n")
        assert (demo.path / "survey-before.csv").read_bytes().decode() == once.survey_text

    def test_nothing_changed_writes_nothing(self, demo: Any) -> None:
        before = demo.files()
        demo.open().saved(brief_text=demo.brief, survey_text=demo.book)
        assert demo.files() == before

    def test_line_ends_of_windows_are_kept(self, demo: Any) -> None:
        text = demo.book.replace("\n", "\r\n")
        demo.write(book=text)
        demo.open().saved(survey_text=text.replace("1.331", "1.332"))
        assert demo.book == text.replace("1.331", "1.332")

    def test_a_file_changed_by_another_is_left_and_both_are_kept(self, demo: Any) -> None:
        job, theirs = demo.open(), demo.book + "# theirs\n"
        demo.write(book=theirs)
        mine = job.survey_text + "# mine\n"
        with pytest.raises(SurveyError, match=r"survey-not-saved\.csv"):
            job.saved(survey_text=mine)
        assert demo.book == theirs
        assert (demo.path / "survey-not-saved.csv").read_bytes().decode() == mine

    @pytest.mark.parametrize("changed", ["brief.toml", "survey.csv"])
    def test_where_one_of_two_files_is_refused_neither_is_written(self, demo: Any, changed: str) -> None:
        job = demo.open()
        (demo.path / changed).write_bytes((demo.path / changed).read_bytes() + b"# theirs\n")
        before = {name: (demo.path / name).read_bytes() for name in ("brief.toml", "survey.csv")}
        with pytest.raises(SurveyError):
            job.saved(brief_text=job.brief_text + "# mine\n", survey_text=job.survey_text + "# mine\n")
        assert {name: (demo.path / name).read_bytes() for name in before} == before

    def test_a_second_refusal_does_not_lose_what_the_first_kept(self, demo: Any) -> None:
        job = demo.open()
        demo.write(book=demo.book + "# theirs\n")
        for text in ("# mine, one\n", "# mine, two\n"):
            with pytest.raises(SurveyError):
                job.saved(survey_text=job.survey_text + text)
        kept = b"".join(demo.files().values()).decode()
        assert "# mine, one" in kept
        assert "# mine, two" in kept

    def test_a_brief_that_cannot_be_read_is_not_written(self, demo: Any) -> None:
        before = demo.files()
        with pytest.raises(SurveyError):
            demo.open().saved(brief_text="format = 1\n[job\n")
        assert demo.files()["brief.toml"] == before["brief.toml"]

    def test_a_lost_file_is_written_again(self, demo: Any) -> None:
        job = demo.open()
        (demo.path / "survey.csv").unlink()
        assert job.saved(survey_text=job.survey_text + "# x\n").survey_text.endswith("# x\n")


class TestWhole:
    @pytest.mark.parametrize("call", ["replace", "fsync", "chmod"])
    def test_a_failure_on_the_way_leaves_the_old_file_and_nothing_beside_it(self, demo: Any, monkeypatch: pytest.MonkeyPatch,
                                                                         call: str) -> None:
        job, before = demo.open(), demo.files()

        def fail(*_: Any, **__: Any) -> None:
            raise OSError(28, "no room")
        monkeypatch.setattr(saving.os, call, fail)
        with pytest.raises((OSError, SurveyError), match="no room"):
            saving.write_whole(demo.path / "survey.csv", b"half")
        assert demo.files() == before
        with pytest.raises(SurveyError, match="no room"):
            job.saved(survey_text=job.survey_text + "# x\n")
        assert demo.files() == before

    def test_the_new_file_is_synced_before_it_takes_the_old_ones_place(self, demo: Any, monkeypatch: pytest.MonkeyPatch) -> None:
        done: list[str] = []
        for call in ("fsync", "replace"):
            true = getattr(os, call)
            monkeypatch.setattr(saving.os, call, lambda *a, true=true, call=call: (done.append(call), true(*a))[1])
        saving.write_whole(demo.path / "survey.csv", b"new")
        assert done == ["fsync", "replace"]
        assert (demo.path / "survey.csv").read_bytes() == b"new"


class TestLinks:
    """A folder from a stranger may hold links; nothing is written through them."""

    @pytest.fixture
    def precious(self, tmp_path: Path) -> Path:
        (tmp_path / "precious").mkdir()
        return tmp_path / "precious"

    def test_sheet(self, hand: Any, precious: Path) -> None:
        (hand.path / "sheet").symlink_to(precious, target_is_directory=True)
        with pytest.raises(SurveyError, match="outside a job folder"):
            workbook.save_sheet(hand.open())
        assert list(precious.iterdir()) == []

    @pytest.mark.parametrize("kind", ["link", "folder"])
    @pytest.mark.parametrize("name", ["sheet.pdf", "pegs.csv", "verdicts.csv", "levels.csv", "cuts.pdf"])
    def test_files_of_the_sheet_are_refused_before_anything_is_written(self, hand: Any, precious: Path, name: str,
                                                                       kind: str) -> None:
        (precious / "file").write_text("keep")
        (hand.path / "sheet").mkdir()
        if kind == "link":
            (hand.path / "sheet" / name).symlink_to(precious / "file")
        else:
            (hand.path / "sheet" / name).mkdir()
        with pytest.raises(SurveyError, match=f"(?i){name} in the folder sheet is a folder or a link.*Remove it"):
            workbook.save_sheet(hand.open())
        assert (precious / "file").read_text() == "keep"
        assert [place.name for place in (hand.path / "sheet").iterdir()] == [name]

    def test_every_such_file_is_named_at_once(self, hand: Any) -> None:
        for name in ("cuts.csv", "sheet.pdf"):
            (hand.path / "sheet" / name).mkdir(parents=True)
        with pytest.raises(SurveyError, match=r"(?i)cuts\.csv, sheet\.pdf in the folder sheet"):
            workbook.save_sheet(hand.open())

    @pytest.mark.parametrize("name", ["brief.toml", "survey.csv", "brief-before.toml", "survey-before.csv",
                                      "survey-not-saved.csv"])
    def test_the_two_files_and_those_beside_them(self, hand: Any, precious: Path, name: str) -> None:
        content = (hand.path / name).read_text() if (hand.path / name).exists() else "keep"
        (precious / "file").write_text(content)
        (hand.path / name).unlink(missing_ok=True)
        (hand.path / name).symlink_to(precious / "file")
        if name in ("brief.toml", "survey.csv"):  # nor is anything read through one
            with pytest.raises(SurveyError, match="link to elsewhere"):
                hand.open()
            return
        job = hand.open()
        job.saved(brief_text=job.brief_text + "# x\n", survey_text=job.survey_text + "# x\n")
        with pytest.raises(SurveyError):
            job.saved(survey_text=job.survey_text + "# y\n")
        assert (precious / "file").read_text() == content

    @pytest.mark.parametrize("name", ["brief.toml", "survey.csv", "ties.csv", "laid.csv"])
    @pytest.mark.parametrize("to", ["nowhere", "itself"])
    def test_a_link_that_leads_nowhere_is_refused(self, hand: Any, name: str, to: str) -> None:
        (hand.path / name).unlink(missing_ok=True)
        (hand.path / name).symlink_to(name if to == "itself" else to)
        with pytest.raises(SurveyError, match=f"(?i){name} is a link to elsewhere"):
            hand.open()

    def test_a_new_job_is_not_made_through_a_dangling_link(self, tmp_path: Path, precious: Path) -> None:
        (tmp_path / "new").symlink_to(precious / "made", target_is_directory=True)
        with pytest.raises(SurveyError, match="there is something called 'new' already".capitalize()):
            workbook.new_job(tmp_path / "new")
        assert list(precious.iterdir()) == []


class TestOddFolders:
    """What a stranger's folder, a clock or a file server may hold, and a save must not wait for."""

    @pytest.mark.parametrize("kind", ["a link to nowhere", "a time to come"])
    def test_a_lock_that_nobody_holds(self, hand: Any, monkeypatch: pytest.MonkeyPatch, kind: str) -> None:
        monkeypatch.setattr(saving, "_PATIENCE", 0.05)
        lock = hand.path / ".saving"
        if kind == "a link to nowhere":
            lock.symlink_to("nowhere")
        else:
            lock.touch()
            os.utime(lock, (time.time() + 1e6,) * 2)
        hand.open().saved(survey_text=hand.book + "# x\n")
        assert hand.book.endswith("# x\n")
        assert not os.path.lexists(lock)

    @pytest.mark.parametrize("make", [os.mkfifo, os.mkdir, lambda place: os.symlink("/dev/zero", place)])
    def test_a_version_is_kept_beside_what_is_no_file(self, hand: Any, make: Any) -> None:
        job = hand.open()
        hand.write(book=job.survey_text + "# theirs\n")
        make(hand.path / "survey-not-saved.csv")
        with pytest.raises(SurveyError, match=r"kept as survey-not-saved1\.csv"):
            job.saved(survey_text=job.survey_text + "# mine\n")
        assert (hand.path / "survey-not-saved1.csv").read_text().endswith("# mine\n")
