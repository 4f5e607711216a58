"""Where a benchmark, started on its own, finds what the tests find by pyproject.toml."""

import sys
import tomllib
from pathlib import Path

ROOT = Path(__file__).parents[2]
_SETTINGS = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["pytest"]
sys.path[:0] = [str(ROOT / each) for each in _SETTINGS["ini_options"]["pythonpath"]]
