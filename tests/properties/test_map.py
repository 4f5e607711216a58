"""The map in the contributor guide is the house as it stands."""

from __future__ import annotations

import pytest
from draw_map import GUIDE, HOUSES, MAP, ROOT, guide, needed, order, whole_map

FOLDERS = [
    each.relative_to(ROOT)
    for house in HOUSES
    for each in (ROOT / house, *(ROOT / house).rglob("*"))
    if (each / "__init__.py").exists()
]


def test_the_map_is_drawn_from_what_is_there() -> None:
    """Else: python tests/draw_map.py."""
    assert MAP.read_text("utf-8") == whole_map()
    assert GUIDE.read_text("utf-8") == guide()


@pytest.mark.parametrize("folder", FOLDERS, ids=str)
def test_no_room_imports_from_one_below_it(folder) -> None:
    """Folders count as one, so that no two of them can lean on each other."""
    above = set()
    for unit in order(folder):
        assert needed(unit) <= {*above, unit}
        above.add(unit)


def test_every_module_says_what_it_is() -> None:
    rows = [line for line in MAP.read_text("utf-8").splitlines() if line.startswith("| [")]
    modules = [each for house in HOUSES for each in (ROOT / house).rglob("*.py")]
    inside = [
        each
        for each in modules
        if each.parent.relative_to(ROOT) not in HOUSES or each.stem != "__init__"
    ]
    assert len(rows) == len(inside)
    assert not [row for row in rows if row.endswith("|  |")]
