"""Draws the map of the house from what is there: rooms into DEVELOPERS.md, modules into MAP.md.

    python tests/draw_map.py

What imports another stands below it; where imports leave a choice, the order of the map that is
there stays. Words are the first sentences of the docstrings. Rooms that import each other in a
circle have no order, and are named.
"""

from __future__ import annotations

import ast
import re
import sys
from collections.abc import Iterator
from functools import cache
from pathlib import Path

ROOT = Path(__file__).parents[1]
MAP, GUIDE = ROOT / ".about" / "MAP.md", ROOT / "DEVELOPERS.md"
HOUSES = (Path("analyzer"), Path("cli"))
_BEGIN, _END = "<!-- rooms -->\n", "<!-- end of rooms -->\n"
_HEAD = """# Every module, in the order in which data passes it

Drawn by `python tests/draw_map.py`. A module imports only from those above it.
"""
_LINK = re.compile(r"\]\(\.\./([\w/.]+)\)")


def main() -> None:
    """The command: no arguments."""
    MAP.write_text(whole_map(), "utf-8")
    GUIDE.write_text(guide(), "utf-8")


def whole_map() -> str:
    """The text of MAP.md: a table for each folder, in order."""
    return _HEAD + "".join(_table(folder) for house in HOUSES for folder in _folders(house))


def guide() -> str:
    """The text of DEVELOPERS.md, with the rooms as they are."""
    before, _, rest = GUIDE.read_text("utf-8").partition(_BEGIN)
    rows = [_row(each, ".") for each in (*order(HOUSES[0]), HOUSES[1])]
    return f"{before}{_BEGIN}{_HEADING}{''.join(rows)}{_END}{rest.partition(_END)[2]}"


_HEADING = "| where | what |\n| --- | --- |\n"


def _folders(folder: Path) -> Iterator[Path]:
    yield folder
    for each in order(folder):
        if not each.suffix:
            yield from _folders(each)


def _table(folder: Path) -> str:
    rows = "".join(_row(each, "..") for each in order(folder))
    return f"\n## {folder}\n\n{_words(folder)}\n\n{_HEADING}{rows}"


def _row(unit: Path, up: str) -> str:
    name = unit.name if unit.suffix else f"{unit.name}/"
    return f"| [{name}]({up}/{unit}) | {_words(unit)} |\n"


def _words(unit: Path) -> str:
    """What a module, or the face of a folder, says that it is."""
    text = ast.get_docstring(_tree(unit if unit.suffix else unit / "__init__.py")) or ""
    return " ".join(text.partition("\n\n")[0].split()).replace("|", "\\|")


@cache
def order(folder: Path) -> tuple[Path, ...]:
    """The modules and folders in a folder, each below all that it imports of the others."""
    left = sorted(units(folder), key=lambda each: (_places().get(each, sys.maxsize), each))
    placed: list[Path] = []
    while left:
        ready = [each for each in left if not needed(each) - {*placed, each}]
        if not ready:
            raise SystemExit(f"A circle of imports: {', '.join(map(str, left))}")
        placed.append(ready[0])
        left.remove(ready[0])
    return tuple(placed)


def units(folder: Path) -> list[Path]:
    """What stands in a folder: modules but its own face, and folders of modules."""
    return [
        each.relative_to(ROOT)
        for each in (ROOT / folder).iterdir()
        if (each / "__init__.py").exists() or (each.suffix == ".py" and each.stem != "__init__")
    ]


def needed(unit: Path) -> set[Path]:
    """Those that stand beside a unit and that it, or anything in it, imports."""
    inside = [unit] if unit.suffix else (ROOT / unit).rglob("*.py")
    found = {name for module in inside for name in _imported(ROOT / module)}
    beside = set(units(unit.parent))
    return beside & {each for name in found for each in (Path(name), Path(f"{name}.py"))}


@cache
def _imported(module: Path) -> frozenset[str]:
    """What a module imports, when it is loaded or later, and the packages about that, as paths."""
    names: set[str] = set()
    for node in ast.walk(_tree(module)):
        if isinstance(node, ast.Import):
            names |= {each.name for each in node.names}
        elif isinstance(node, ast.ImportFrom):
            names |= {f"{node.module}.{each.name}" for each in node.names}
    parts = (name.split(".") for name in names)
    return frozenset("/".join(each[:end]) for each in parts for end in range(1, len(each) + 1))


@cache
def _places() -> dict[Path, int]:
    """Where each unit stood in the map until now."""
    listed = _LINK.findall(MAP.read_text("utf-8")) if MAP.exists() else []
    return {Path(each): place for place, each in enumerate(listed)}


@cache
def _tree(module: Path) -> ast.Module:
    return ast.parse((ROOT / module).read_text("utf-8"))


if __name__ == "__main__":
    main()
