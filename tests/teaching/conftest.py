"""Lets the tests of this folder import `learners`, which also runs outside pytest, and `finding` of the reference cases."""

import sys
from pathlib import Path

sys.path[:0] = [str(Path(__file__).parent), str(Path(__file__).parents[1] / "reference")]
