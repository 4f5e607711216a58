"""Print the oldest versions that pyproject.toml allows, as constraints for pip.

    python tests/oldest.py > oldest.txt && pip install -c oldest.txt '.[test]'

What the program itself needs, with all its extras, goes back; what only tests it stays new.
"""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

PROJECT = Path(__file__).parents[1] / "pyproject.toml"
ONLY_FOR_TESTS = {"test", "references", "fuzz", "all"}
_LEAST = re.compile(r"(?P<name>[\w.-]+)>=(?P<version>[\w.]+)")


def oldest() -> list[str]:
    """``name==version`` of each; ValueError where a dependency states no least version."""
    project = tomllib.loads(PROJECT.read_text(encoding="utf-8"))["project"]
    needed = list(project["dependencies"])
    for extra, names in project["optional-dependencies"].items():
        needed += [] if extra in ONLY_FOR_TESTS else names
    found = []
    for each in needed:
        stated = _LEAST.fullmatch(each)
        if stated is None:
            raise ValueError(f"{PROJECT.name}: {each} states no least version; write name>=version")
        found.append(f"{stated['name']}=={stated['version']}")
    return sorted(set(found))


if __name__ == "__main__":
    print("\n".join(oldest()))
