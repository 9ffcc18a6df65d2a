"""The sheet written and read back from 4-cut-and-fill, and an exercise of 8-learn worked, spoilt and marked."""

import shutil
import subprocess
from typing import Any

import pytest
from lab import Desk, expect

# C1 by hand: HPC = 10.000 m + 1.405 m = 11.405 m; finished 10.060 m, 180 mm of layers, so 11.405 - 10.060 = 1.345 m and
# 11.405 - 9.880 = 1.525 m; with 1.500 m on the benchmark each is 95 mm more.
FINISHED, FORMATION = 1_345, 1_525


class TestSheet:
    def test_readings_follow_what_is_read_on_the_benchmark(self, desk: Desk) -> None:
        desk.open("4-cut-and-fill")
        desk.run_all()
        form = desk.form("Today's reading on the benchmark, m")
        row = form.locator("table").first.locator("tr", has_text="C1")
        expect(row.locator("td").nth(3)).to_have_text(f"{FORMATION / 1000:.3f}")
        field = form.get_by_label("Today's reading on the benchmark, m")
        field.fill("1,500")  # with a comma, as many write it
        field.press("Enter")
        expect(row.locator("td").nth(3)).to_have_text(f"{(FORMATION + 95) / 1000:.3f}")
        assert row.locator("td").nth(4).inner_text() == f"{(FINISHED + 95) / 1000:.3f}"

    def test_the_sheet_is_written_and_holds_them(self, desk: Desk) -> None:
        form = desk.form("Today's reading on the benchmark, m")
        form.get_by_role("button", name="Write the sheet").click()
        expect(form.get_by_role("status").first).to_contain_text("Written: data/pottery-yard/sheet/sheet.pdf")
        sheet = desk.root / "data" / "pottery-yard" / "sheet" / "sheet.pdf"
        assert sheet.read_bytes().startswith(b"%PDF")
        if shutil.which("pdftotext"):
            said = subprocess.run(["pdftotext", "-layout", sheet, "-"], check=True, capture_output=True, text=True).stdout
            line = next(line for line in said.splitlines() if line.split()[:1] == ["C1"])
            assert f"{(FORMATION + 95) / 1000:.3f}" in line
            assert f"{(FINISHED + 95) / 1000:.3f}" in line

    def test_the_link_opens_it(self, desk: Desk) -> None:
        with desk.page.expect_popup() as opened:
            desk.form("Today's reading on the benchmark, m").get_by_role("link", name="Open the sheet").click()
        other = opened.value
        other.wait_for_function("() => window.jupyterapp?.shell.currentWidget?.context?.path?.endsWith('sheet.pdf')")
        other.close()


@pytest.fixture(scope="class")
def exercise(desk: Desk) -> Any:
    """The first exercise of 8-learn, for a learner with a number of her own."""
    desk.open("8-learn")
    desk.run_all()
    learner = desk.form("My number")
    field = learner.get_by_label("My number", exact=True)
    field.fill("5")
    field.press("Enter")
    form = desk.page.locator(".jp-OutputArea-output", has=desk.page.locator(".book-grid")).first
    expect(form).to_contain_text("Practice 5: one set-up, usual")
    desk.idle()
    return form


class TestExercise:
    def test_it_is_filled_in_by_hand_with_one_slip_and_marked(self, exercise: Any) -> None:
        page = exercise.page
        cell = lambda row, column: exercise.get_by_label(f"row {row}, {column}, m", exact=True)  # noqa: E731
        rows = exercise.locator(".book-grid tbody tr:not(:has(.said))").count()
        read = [next(value for column in ("BS", "IS", "FS") if (value := cell(row, column).input_value()))
                for row in range(1, rows + 1)]
        mm = [int(reading.replace(".", "")) for reading in read]
        given = exercise.get_by_label("row 1, remarks", exact=True).input_value()
        known = int(given.partition("known: ")[2].removesuffix(" m").replace(".", ""))
        height = known + mm[0]
        levels = [known, *(height - reading for reading in mm[1:])]
        spoilt = height + mm[2]  # the reading added in place of taken off
        for row, level in enumerate(levels, start=1):
            cell(row, "level").focus()
            page.keyboard.type(f"{(spoilt if row == 3 else level) / 1000:.3f}")
            page.keyboard.press("Tab")
        cell(1, "HPC").fill(f"{height / 1000:.3f}")
        cell(1, "HPC").press("Tab")
        question = page.locator(".widget-vbox > .widget-html + .widget-hbox")  # a field stands under what it asks
        exercise.locator(question).locator("input").first.fill(f"{levels[-1] - known} mm")
        exercise.locator(question).locator("select").first.select_option("yes")
        exercise.get_by_role("button", name="Mark", exact=True).click()
        asked = len(levels) + 3  # levels, the HPC, two questions
        expect(exercise.get_by_role("status").last).to_contain_text(f"{asked - 1} of {asked} right. 1 slip: look first at row 3")
        expect(exercise.locator(".book-grid td.said")).to_contain_text(
            f"level {spoilt / 1000:.3f}: you added the intermediate sight: {height / 1000:.3f} + {mm[2] / 1000:.3f}.")
        expect(cell(3, "level")).to_have_attribute("aria-invalid", "true")
        assert exercise.locator("[aria-invalid=true]").count() == 1  # nothing else is called wrong
        cell(3, "level").fill(f"{levels[2] / 1000:.3f}")
        cell(3, "level").press("Tab")
        expect(exercise).to_contain_text("Changed since it was marked: press Mark again.")
        exercise.get_by_role("button", name="Mark", exact=True).click()
        expect(exercise.get_by_role("status").last).to_have_text(f"{asked} of {asked} right. No slip in the working.")
        assert exercise.locator("[aria-invalid=true]").count() == 0

    def test_what_was_typed_is_in_a_file_of_that_learner(self, desk: Desk, exercise: Any) -> None:
        kept = desk.root / "data" / "learning" / "5-one-set-up-usual.csv"
        assert kept.is_file()
        level = exercise.get_by_label("row 3, level, m", exact=True).input_value()
        assert f",{level}," in kept.read_text()

    def test_a_prediction_is_answered(self, desk: Desk, exercise: Any) -> None:
        asked = desk.page.locator(".jp-OutputArea-output", has=desk.page.get_by_role("button", name="Run it")).first
        asked.get_by_role("button", name="Run it").click()
        expect(asked.get_by_role("alert")).to_contain_text("Nothing is predicted yet")
        asked.locator("input[type=text]").first.fill("1")
        asked.locator("input[type=text]").first.press("Tab")
        asked.get_by_role("button", name="Run it").click()
        expect(asked.get_by_role("status")).to_contain_text("You said")
        expect(asked).to_contain_text("It comes out at")
