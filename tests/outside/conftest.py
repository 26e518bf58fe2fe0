"""Lets the tests in this folder share `trial_tables`, whichever way they are imported."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
