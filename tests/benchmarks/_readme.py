"""How a benchmark puts its tables into the README, so that nobody edits the numbers by hand."""

from __future__ import annotations

import _paths

README = _paths.ROOT / "README.md"


def put_into_readme(name: str, text: str) -> None:
    """Replace what stands between ``<!-- name -->`` and ``<!-- end of name -->``."""
    begin, end = f"<!-- {name} -->\n", f"<!-- end of {name} -->\n"
    before, rest = README.read_text(encoding="utf-8").split(begin)
    after = rest.split(end)[1]
    README.write_text(f"{before}{begin}{text}\n{end}{after}", encoding="utf-8")
