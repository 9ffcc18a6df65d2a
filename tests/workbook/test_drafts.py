"""Nothing typed into a level book is lost: not by a killed kernel, a full disk, or a second form."""

from __future__ import annotations

import errno
import os
import shutil
import signal
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from jupyter_client.manager import KernelManager
from messages import refused, went_well

from sitelevels import SurveyError
from sitelevels.workbook import drafts, forms, job


def drafts_in(folder: Path) -> dict[str, str]:
    """Names and texts, without the note of the unit above each."""
    found = {path.name: path.read_bytes().decode() for path in sorted(folder.glob("survey-draft*"))}
    assert all(text.startswith("# typed in m") for text in found.values())
    return {name: text.partition("\n")[2] for name, text in found.items()}


def run_in(client: Any, code: str) -> str:
    """What a cell prints; an error in it fails the test."""
    printed: list[str] = []

    def heard(message: dict[str, Any]) -> None:
        if message["msg_type"] == "stream":
            printed.append(message["content"]["text"])
    reply = client.execute_interactive(code, timeout=60, output_hook=heard)
    assert reply["content"]["status"] == "ok", reply["content"]
    return "".join(printed)


def started_kernel() -> tuple[KernelManager, Any]:
    manager = KernelManager(kernel_name="python3")
    manager.start_kernel(stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    client = manager.client()
    client.start_channels()
    client.wait_for_ready(timeout=60)
    return manager, client


@pytest.mark.filterwarnings("ignore")  # those of the kernel client, not ours
def test_a_killed_kernel_loses_nothing_that_was_committed(hand: Any) -> None:
    opened = ("from sitelevels import workbook\n"
              f"form = workbook.forms.BookForm(workbook.open_job({str(hand.path)!r}))\n")
    saved = hand.book
    manager, client = started_kernel()
    pid = manager.provisioner.process.pid
    try:
        run_in(client, opened)
        for row in range(8):
            run_in(client, f"form.grid.typed({row}, 9, 'typed {row}')")
        os.kill(pid, signal.SIGKILL)
    finally:
        client.stop_channels()
        manager.shutdown_kernel(now=True)
    assert hand.book == saved  # the book itself is as it was saved
    (kept,) = drafts_in(hand.path).values()
    assert [f"typed {row}" in kept for row in range(8)] == [True] * 8
    manager, client = started_kernel()
    try:
        told = run_in(client, opened + "print(form.again.layout.display or 'shown', form.found.value)\n"
                                       "form.take_up()\nprint(form.text.value)")
    finally:
        client.stop_channels()
        manager.shutdown_kernel(now=True)
    assert "shown" in told
    assert "was typed and not saved was found" in told
    assert kept in told


def test_it_is_offered_back_and_taken_up(hand: Any) -> None:
    first = forms.BookForm(hand.open())
    assert first.again.layout.display == "none"
    first.grid.typed(3, 2, "1.640")
    again = forms.BookForm(hand.open())
    assert again.again.layout.display == ""
    assert again.text.value == hand.book
    again.take_up()
    assert again.text.value == first.text.value
    assert again.again.layout.display == "none"
    again.save_book()
    assert hand.book == first.text.value
    assert drafts_in(hand.path) == {}


def test_it_is_thrown_away_only_when_asked(hand: Any) -> None:
    forms.BookForm(hand.open()).grid.typed(3, 2, "1.640")
    forms.BookForm(hand.open())
    assert len(drafts_in(hand.path)) == 1
    forms.BookForm(hand.open()).throw_away()
    assert drafts_in(hand.path) == {}
    assert "1.640" in (hand.path / drafts.THROWN).read_text()  # and even then it is put aside


def test_what_is_typed_back_to_what_is_saved_leaves_no_draft(hand: Any) -> None:
    form = forms.BookForm(hand.open())
    form.grid.typed(3, 2, "1.640")
    form.grid.typed(3, 2, "1.620")
    assert form.text.value == hand.book
    assert drafts_in(hand.path) == {}


def test_two_forms_keep_two_drafts(hand: Any) -> None:
    one, two = forms.BookForm(hand.open()), forms.BookForm(hand.open())
    one.grid.typed(3, 9, "mine")
    two.grid.typed(3, 9, "yours")
    one.grid.typed(4, 9, "mine too")
    assert sorted(drafts_in(hand.path).values()) == sorted([one.text.value, two.text.value])


def test_two_forms_on_one_job_lose_nothing_when_both_save(hand: Any) -> None:
    one, two = forms.BookForm(hand.open()), forms.BookForm(hand.open())
    one.grid.typed(3, 9, "mine")
    two.grid.typed(4, 9, "yours")
    one.save_book()
    went_well(one)
    two.save_book()
    assert "survey-not-saved.csv" in refused(two)
    assert "mine" in hand.book
    assert "yours" not in hand.book
    assert "yours" in (hand.path / "survey-not-saved.csv").read_text()
    assert "yours" in two.text.value


def test_a_draft_that_another_form_takes_up_is_begun_anew_by_the_first(hand: Any) -> None:
    one = forms.BookForm(hand.open())
    one.grid.typed(3, 9, "mine")
    two = forms.BookForm(hand.open())
    two.take_up()
    two.grid.typed(4, 9, "and yours")
    one.grid.typed(5, 9, "mine still")
    assert sorted(drafts_in(hand.path).values()) == sorted([one.text.value, two.text.value])


def no_space(*_: object, **__: object) -> None:
    raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))


@pytest.mark.parametrize("failing", ["fsync", "replace"])
def test_on_a_full_disk_the_old_file_is_whole_and_a_sentence_is_shown(
        hand: Any, monkeypatch: pytest.MonkeyPatch, failing: str) -> None:
    form = forms.BookForm(hand.open())
    saved = hand.book
    monkeypatch.setattr(os, failing, no_space)
    form.grid.typed(3, 2, "1.640")
    assert "No space left on device" in refused(form)
    assert form.grid.worked[3][1] == "9.860"  # worked out all the same
    form.save_book()
    assert "No space left on device" in refused(form)
    assert hand.book == saved
    assert "1.640" in form.text.value
    monkeypatch.undo()
    form.save_book()
    went_well(form)
    assert "1.640" in hand.book


LIMITED = """
import resource, signal, sys
from pathlib import Path
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
resource.setrlimit(resource.RLIMIT_FSIZE, (300, 300))
from sitelevels import SurveyError
from sitelevels.workbook import forms, open_job
form = forms.BookForm(open_job(sys.argv[1]))
form.grid.typed(3, 9, "a long remark " * 40)
print(form.message.value)
form.save_book()
print(form.message.value)
print("kept in the form" if "a long remark" in form.text.value else "lost")
"""


@pytest.mark.skipif(not hasattr(signal, "SIGXFSZ"), reason="this system sets no limit on the size of files")
def test_a_write_that_really_fails_half_way_leaves_the_old_file(hand: Any) -> None:
    """The system itself ends the write after 300 bytes, in a process of its own."""
    saved = hand.book
    ran = subprocess.run([sys.executable, "-c", LIMITED, str(hand.path)], capture_output=True, text=True, check=True)
    assert ran.stdout.count("cannot be written into the folder") >= 2
    assert "kept in the form" in ran.stdout
    assert hand.book == saved
    assert [path.name for path in hand.path.iterdir() if path.name.startswith(".")] == []


def test_the_demonstration_keeps_no_draft_and_says_so(desk: Path) -> None:
    form = forms.BookForm(job.open_job(desk / "pottery-yard"))
    form.grid.typed(3, 9, "mine")
    assert "what you change here is not kept" in went_well(form)
    assert drafts_in(desk / "pottery-yard") == {}


def test_a_folder_that_is_gone_is_told_and_the_text_stays(hand: Any) -> None:
    form = forms.BookForm(hand.open())
    shutil.rmtree(hand.path)
    form.grid.typed(3, 2, "1.640")
    assert "cannot be written into the folder" in refused(form)
    assert "1.640" in form.text.value


def test_a_draft_that_was_taken_by_another_is_refused_in_words(hand: Any) -> None:
    draft = drafts.Draft(hand.path)
    with pytest.raises(SurveyError, match="not there any more"):
        draft.take_up(hand.path / "survey-draft-00000000.txt")
    assert drafts_in(hand.path) == {}


def test_a_form_that_takes_up_anothers_draft_keeps_its_own(hand: Any) -> None:
    one, two = forms.BookForm(hand.open()), forms.BookForm(hand.open())
    one.grid.typed(3, 9, "mine")
    two.grid.typed(3, 9, "yours")
    two._look_for_drafts()
    yours = two.text.value
    two.take_up()
    assert sorted(drafts_in(hand.path).values()) == sorted([one.text.value, yours])


def test_three_forms_never_share_a_file(hand: Any) -> None:
    one, two = forms.BookForm(hand.open()), forms.BookForm(hand.open())
    one.grid.typed(3, 9, "ONE")
    two._look_for_drafts()
    two.take_up()
    two.save_book()
    three = forms.BookForm(hand.open())
    three.grid.typed(4, 9, "THREE")
    one.grid.typed(5, 9, "ONE again")
    one.undo()
    one.undo()
    assert "THREE" in "".join(drafts_in(hand.path).values())


def test_the_unit_that_it_was_typed_in_comes_back_with_it(hand: Any) -> None:
    form = forms.BookForm(hand.open())
    form.unit.value = "mm"
    form.text.value = "point,bs,is,fs,rl\nBM,1500,,,10000\nBM,,,1500,\n"
    again = forms.BookForm(hand.open())
    again.take_up()
    assert again.unit.value == "mm"
    assert again.grid.worked[0] == ["11.500", "10.000"]


def test_what_no_form_has_written_is_not_offered(hand: Any, tmp_path: Path) -> None:
    (hand.path / "survey-draft-of-mine.csv").write_text("point,bs,is\nX,1,2\n")
    (tmp_path / "outside.txt").write_text("secret")
    (hand.path / "survey-draft-0123abcd.txt").symlink_to(tmp_path / "outside.txt")
    (hand.path / "survey-draft-0123abce.txt").mkdir()
    assert forms.BookForm(hand.open()).again.layout.display == "none"


def test_running_the_cell_of_a_form_again_shows_what_was_saved(hand: Any) -> None:
    opened = hand.open()
    form = forms.BookForm(opened)
    form.grid.typed(3, 9, "first")
    form.save_book()
    forms.InstrumentForm(opened)  # of the same old variable
    form.grid.typed(4, 9, "second")
    form.save_book()
    assert "Not saved" not in went_well(form)
    assert "first" in hand.book
    assert "second" in hand.book
    assert forms.BookForm(opened).text.value == hand.book


def test_both_files_are_saved_or_neither(hand: Any) -> None:
    form = forms.BookForm(hand.open())
    (hand.path / "survey-before.csv").mkdir()  # so that keeping the version before fails
    brief, book = hand.brief, hand.book
    form.unit.value = "mm"
    form.text.value = "point,bs,is,fs,rl\nBM,1500,,,10000\nBM,,,1500,\n"
    form.save_book()
    assert "cannot be written into the folder" in refused(form)
    assert (hand.brief, hand.book) == (brief, book)
    (hand.path / "survey-before.csv").rmdir()
    form.save_book()
    went_well(form)
    assert hand.open().reduced.level("BM") == pytest.approx(10.0)


def test_a_unit_that_cannot_be_saved_with_its_book_is_kept_with_it(hand: Any) -> None:
    form = forms.BookForm(hand.open())
    form.unit.value = "mm"
    form.text.value = "point,bs,is,fs,rl\nBM,1500,,,10000\nBM,,,1500,\n"
    hand.write(book=hand.book + "# theirs\n")
    form.save_book()
    told = refused(form)
    assert "survey-not-saved.csv" in told
    assert "brief-not-saved.toml" in told
    assert 'unit = "mm"' in (hand.path / "brief-not-saved.toml").read_text()
    form.save_book()  # again: the same version is not kept twice
    assert sorted(path.name for path in hand.path.glob("*not-saved*")) == ["brief-not-saved.toml", "survey-not-saved.csv"]


SAVING = """
import sys
from dataclasses import replace
from sitelevels import SurveyError
from sitelevels.workbook import open_job
for step in range(25):
    job = open_job(sys.argv[1])
    try:
        job.saved(survey_text=f"point,bs,is,remarks\\nBM,1.5,,{sys.argv[2]}-{step}\\nBM,,1.5,\\n")
        print(f"{sys.argv[2]}-{step}")
    except SurveyError:
        pass
"""


def test_processes_that_save_at_the_same_moment_take_turns(hand: Any) -> None:
    """Whatever was told as saved is in the file, or was the version before a save of somebody who had read it."""
    running = [subprocess.Popen([sys.executable, "-c", SAVING, str(hand.path), name], stdout=subprocess.PIPE, text=True)
               for name in ("one", "two", "three")]
    told = [line for process in running for line in process.communicate(timeout=120)[0].splitlines()]
    assert len(told) >= 25
    assert not (hand.path / ".saving").exists()
    last = hand.book.splitlines()[1].rpartition(",")[2]
    assert last in told
    assert (hand.path / "survey-before.csv").read_text() != hand.book


def test_the_unit_survives_a_second_mishap_and_a_choice_made_later(hand: Any) -> None:
    first = forms.BookForm(hand.open())
    first.text.value = "point,bs,is,fs,rl\nBM,1500,,,10000\nBM,,,1500,\n"
    first.unit.value = "mm"  # after the book was typed
    second = forms.BookForm(hand.open())
    second.take_up()
    assert second.unit.value == "mm"
    third = forms.BookForm(hand.open())
    third.take_up()
    assert (third.unit.value, third.text.value) == ("mm", first.text.value)


def test_a_unit_that_another_form_saved_is_not_put_back(hand: Any) -> None:
    one, two = forms.BookForm(hand.open()), forms.BookForm(hand.open())
    one.unit.value = "cm"
    one.save_book()
    two.text.value += "\n"
    two.save_book()
    assert 'unit = "cm"' in hand.brief
    assert two.unit.value == "cm"


def test_nothing_is_said_to_be_put_aside_that_was_not(hand: Any) -> None:
    one = forms.BookForm(hand.open())
    one.grid.typed(3, 9, "mine")
    two = forms.BookForm(hand.open())
    one.draft.drop()
    two.throw_away()
    assert "not there any more" in refused(two)
