"""Lets the tests of this folder import `published` and `finding`, which also run outside pytest."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
