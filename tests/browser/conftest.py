"""A server and a browser for the tests of this folder, which run only when they are asked for."""

import importlib.util
import os
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

sys.path.insert(0, str(Path(__file__).parent))  # lets the tests of this folder import `lab`, `looks` and `timing`

from lab import ASKED, CHROMIUM, FLAGS, Desk, copy_of_workbook, hindrance, server


@pytest.fixture(scope="session")
def browser() -> Iterator[Any]:
    """Debian's chromium, without a screen."""
    why, failed = hindrance(os.environ.get(ASKED, ""), importlib.util.find_spec("playwright") is not None,
                            Path(CHROMIUM).is_file())
    if why:
        (pytest.fail if failed else pytest.skip)(why)
    from playwright.sync_api import sync_playwright
    with sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield chromium
        chromium.close()


@pytest.fixture(scope="module")
def desk(browser: Any, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Desk]:
    """A browser before JupyterLab, over a copy of the workbook of this module's own."""
    root = copy_of_workbook(tmp_path_factory.mktemp("desk"))
    with server(root) as (base, token):
        sat = Desk(root, base, token, browser)
        yield sat
        sat.context.close()
