"""Lets `run.py` find the modules beside it when pytest imports it."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
