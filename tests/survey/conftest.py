"""The trial of planted slips stands in a module of its own, so that it can be run as a script."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
