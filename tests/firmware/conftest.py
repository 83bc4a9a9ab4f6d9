"""The firmware's modules at hand under CPython, as they lie on the wagon."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2] / "firmware"))
