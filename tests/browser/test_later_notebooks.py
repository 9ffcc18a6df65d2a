"""Notebooks 5 to 9 in a browser: each runs from top to bottom and can be read, wide and narrow, light and dark."""

import pytest
from lab import Desk
from looks import problems_of


@pytest.mark.parametrize("name", ["5-sensitivity", "6-laid", "7-screed", "8-learn", "9-words"])
def test_runs_and_can_be_read(desk: Desk, name: str) -> None:
    assert problems_of(desk, name) == []
