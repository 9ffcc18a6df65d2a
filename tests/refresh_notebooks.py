"""Run every notebook on the demonstration job and store its outputs: python tests/refresh_notebooks.py"""

import os
from pathlib import Path

import nbformat
from nbclient import NotebookClient

NOTEBOOKS = Path(__file__).parents[1] / "notebooks"


def refresh(path: Path) -> None:
    notebook = nbformat.read(path, as_version=4)
    NotebookClient(notebook, timeout=120, record_timing=False, resources={"metadata": {"path": str(path.parent)}}).execute()
    for number, cell in enumerate(notebook.cells):
        cell.id = f"cell-{number}"  # a stable name, so that a refresh changes only what has changed
        for output in cell.get("outputs", []):
            # a stored widget cannot be shown before it is run, so only its name is kept
            output.get("data", {}).pop("application/vnd.jupyter.widget-view+json", None)
    notebook.metadata.pop("widgets", None)
    notebook.metadata["language_info"] = {"name": "python"}
    nbformat.write(notebook, path)


if __name__ == "__main__":
    os.environ["SITELEVELS_JOB"] = "pottery-yard"
    from sitelevels import workbook
    job = workbook.open_job(NOTEBOOKS.parent / "data" / "pottery-yard")
    workbook.figures.section(job.section()).get_figure().savefig(NOTEBOOKS / "section.png", dpi=110)
    for notebook_path in sorted(NOTEBOOKS.glob("*.ipynb")):
        refresh(notebook_path)
        print(f"refreshed {notebook_path.name}")
