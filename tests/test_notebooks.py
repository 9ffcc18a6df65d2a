"""Every notebook was run from top to bottom, so that comparing its outputs means something."""

import json
from pathlib import Path
from typing import Any

import pytest

NOTEBOOKS = sorted((Path(__file__).parents[1] / "notebooks").glob("*.ipynb"))
LONGEST_CELL = 8  # lines: the code lives in the package


def code_cells(path: Path) -> list[dict[str, Any]]:
    return [cell for cell in json.loads(path.read_text(encoding="utf-8"))["cells"] if cell["cell_type"] == "code"]


def not_run_in_order(cells: list[dict[str, Any]]) -> bool:
    return [cell["execution_count"] for cell in cells] != list(range(1, len(cells) + 1))


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
class TestNotebook:
    def test_every_code_cell_was_run_in_order(self, path: Path) -> None:
        assert not not_run_in_order(code_cells(path))

    def test_no_output_is_an_error_or_a_warning(self, path: Path) -> None:
        for cell in code_cells(path):
            for output in cell["outputs"]:
                assert output["output_type"] != "error"
                assert output.get("name") != "stderr"

    def test_every_cell_but_imports_and_assignments_shows_something(self, path: Path) -> None:
        for cell in code_cells(path):
            last = "".join(cell["source"]).splitlines()[-1]
            silent = last.startswith(("import ", "from ", "job = "))
            assert bool(cell["outputs"]) != silent, last

    def test_every_figure_has_a_sentence_made_from_what_it_drew(self, path: Path) -> None:
        for cell in code_cells(path):
            drawn = any("image/png" in output.get("data", {}) for output in cell["outputs"])
            said = "".join("".join(output["data"]["text/plain"]) for output in cell["outputs"]
                           if "text/html" in output.get("data", {}))
            assert drawn == ("figures." in "".join(cell["source"]))
            if drawn:
                assert any(character.isdigit() for character in said)
                assert said.rstrip().endswith(".")

    def test_cells_are_short(self, path: Path) -> None:
        for cell in code_cells(path):
            assert len("".join(cell["source"]).splitlines()) <= LONGEST_CELL

    def test_the_source_of_a_form_is_hidden(self, path: Path) -> None:
        for cell in code_cells(path):
            assert cell["metadata"].get("jupyter", {}).get("source_hidden", False) == (".forms." in "".join(cell["source"]))

    def test_opens_with_a_question(self, path: Path) -> None:
        first = json.loads(path.read_text(encoding="utf-8"))["cells"][0]
        assert first["cell_type"] == "markdown"
        assert "?" in "".join(first["source"]).splitlines()[0]


def test_all_notebooks_of_the_workbook_are_there() -> None:
    assert [path.stem for path in NOTEBOOKS] == ["0-start", "1-survey", "2-ground", "3-finish", "4-cut-and-fill",
                                                  "5-sensitivity", "6-laid", "7-screed", "8-learn", "9-words"]


def test_the_guard_sees_a_cell_that_was_not_run() -> None:
    cells = code_cells(NOTEBOOKS[0])
    cells[0]["execution_count"] = None
    assert not_run_in_order(cells)
