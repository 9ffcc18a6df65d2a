"""Lets the tests of this folder import `random_jobs` and `own_programme`, which hold no tests."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
