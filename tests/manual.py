"""Puts into the manual what the demo shows now: the first tables of the report, and the page.

    python tests/manual.py

Needs Debian's chromium, as the tests of pages do. Nobody edits either by hand.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).parents[1]
sys.path[:0] = [str(ROOT / "tests" / "benchmarks"), str(ROOT / "tests" / "support")]

from _readme import put_into_readme  # noqa: E402
from browser_checks import browser  # noqa: E402

DEMO = "sample_audio/own_saddles"
PICTURE = ROOT / ".about" / "page.png"
WIDTH, HEIGHT = 900, 1250  # down to the end of the table of results


def main() -> None:
    """The command: no arguments."""
    with tempfile.TemporaryDirectory() as folder:
        page = Path(folder, "page.html")
        command = [sys.executable, "-m", "cli", "analyze", DEMO, "--html", page]
        done = subprocess.run(command, cwd=ROOT, check=True, capture_output=True, text=True)
        put_into_readme("demo", f"```text\n{first_tables(done.stdout)}\n```")
        with browser() as chromium:
            shown = chromium.new_page(viewport={"width": WIDTH, "height": HEIGHT})
            shown.goto(page.as_uri())
            shown.screenshot(path=PICTURE)


def first_tables(report: str) -> str:
    """What is printed of a report before its words begin."""
    tables = report.partition("Largest gain first")[0]
    return "\n".join(line.rstrip() for line in tables.strip().splitlines())


if __name__ == "__main__":
    main()
