"""Notebooks 0 to 4 in a browser: each runs from top to bottom and can be read, wide and narrow, light and dark."""

import pytest
from lab import Desk
from looks import problems_of


@pytest.mark.parametrize("name", ["0-start", "1-survey", "2-ground", "3-finish", "4-cut-and-fill"])
def test_runs_and_can_be_read(desk: Desk, name: str) -> None:
    assert problems_of(desk, name) == []
