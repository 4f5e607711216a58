"""What is held against the outside: every test here says its source, and one table sums them up.

    pytestmark = pytest.mark.source(source, mark, held)

``source`` is what somebody else published, measured or built, with its place; ``mark`` is one of
``MARKS``; ``held`` says in a few words what of the program is held against it. A test's own
decorator goes before its module's. A test without all three stops the collection.
"""

from __future__ import annotations

import textwrap
from collections import Counter
from pathlib import Path

import pytest

HERE = Path(__file__).parent
# What each mark means; the table ends with how many checks bear it.
MARKS = {
    "standard": "a standard or a guide that stands for one",
    "published example": "numbers as printed in a paper, a book or a table",
    "published formula": "values worked out of one, apart from this project",
    "open data": "data or recordings that anyone may have",
    "reference library": "a general-purpose library of somebody else",
    "common practice": "what the trade does; no source",
    "from memory": "recalled and not looked up",
}
WIDTH = 80
_KEY = "outside"


def pytest_configure(config: pytest.Config) -> None:
    config.addinivalue_line("markers", "source(source, mark, held): see tests/outside/conftest.py")


def _fault(item: pytest.Item) -> str | None:
    marker = item.get_closest_marker("source")
    if marker is None:
        return "has no pytest.mark.source(source, mark, held)"
    if len(marker.args) != 3 or marker.kwargs or not all(map(str.strip, marker.args)):
        return "must say source, mark and what is held against it"
    if marker.args[1] not in MARKS:
        return f"has the mark {marker.args[1]!r}. Give one of: {', '.join(MARKS)}"
    return None


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    here = [item for item in items if HERE in item.path.parents]
    faults = [f"{item.nodeid.split('[')[0]}: {said}" for item in here if (said := _fault(item))]
    if faults:
        raise pytest.UsageError("\n".join(dict.fromkeys(faults)))
    for item in here:
        item.user_properties.append((_KEY, item.get_closest_marker("source").args))


def _counted(reporter) -> dict[tuple[str, str, str], Counter]:
    """Row of the table -> how many checks it has, and how many of them passed."""
    rows: dict[tuple[str, str, str], Counter] = {}
    for outcome, reports in reporter.stats.items():
        for report in reports:
            if not isinstance(report, pytest.TestReport):
                continue  # warnings, and tests that were not chosen
            row = dict(report.user_properties).get(_KEY)
            # A test reports setup, call and teardown; the first two tell what became of it.
            if row and (report.when == "call" or outcome in {"skipped", "error"}):
                rows.setdefault(tuple(row), Counter()).update(["checks", outcome])
    return rows


def _lines(rows: dict[tuple[str, str, str], Counter]) -> list[str]:
    lines = [f"{'source':<58}", f"  {'mark':<18} {'what is held against it':<36} checks  passed"]
    last = ""
    for source, mark, held in sorted(rows):
        if source != last:
            lines += ["", *textwrap.wrap(source, WIDTH)]
            last = source
        first, *rest = textwrap.wrap(held, 40)
        count = rows[source, mark, held]
        lines.append(f"  {mark:<18} {first:<40} {count['checks']:>7} {count['passed']:>7}")
        lines += [f"{'':21}{each}" for each in rest]
    return lines


def _totals(rows: dict[tuple[str, str, str], Counter]) -> list[str]:
    marks: Counter = Counter()
    for (_, mark, _), count in rows.items():
        marks[mark] += count["checks"]
    every = sum(rows.values(), Counter())
    lines = [f"{marks[mark]:>6}  {mark}: {said}" for mark, said in MARKS.items() if marks[mark]]
    skipped = f", {every['skipped']} skipped" if every["skipped"] else ""
    sources = len({source for source, *_ in rows})
    summed = f"{every['checks']} checks of {sources} sources, {every['passed']} passed{skipped}"
    return ["", *lines, "", summed]


def pytest_terminal_summary(terminalreporter) -> None:
    rows = _counted(terminalreporter)
    if rows:
        terminalreporter.section("held against the outside")
        for line in [*_lines(rows), *_totals(rows)]:
            terminalreporter.write_line(line.rstrip())
