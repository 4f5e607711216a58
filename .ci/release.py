"""Makes a release: `python .ci/release.py 1.0.0`. Nothing leaves this machine.

Sets the version in ``analyzer/__init__.py`` and ``.about/CITATION.cff``, gives what is unreleased
in ``.about/CHANGELOG.md`` that version and today's date, runs ``.ci/run``, builds and tries the
wheel with ``.ci/wheel`` into ``dist``, and commits and tags. Where a step fails, nothing is
committed and the files are as they were.
"""

from __future__ import annotations

import re
import subprocess
import sys
from datetime import datetime
from pathlib import Path

ROOT = Path(__file__).parents[1]
_VERSION = re.compile(r"\d+\.\d+\.\d+")
_UNRELEASED = "## [Unreleased]\n"


def main() -> None:
    """The command: one argument, the version."""
    (version,) = sys.argv[1:] if len(sys.argv) == 2 else ("",)
    today = datetime.now().astimezone().date().isoformat()
    if not _VERSION.fullmatch(version):
        sys.exit("Give the version as three numbers, as in: python .ci/release.py 1.0.0")
    if _run("git", "status", "--porcelain"):
        sys.exit("Commit or put away what is changed first: git status")
    if _run("git", "tag", "--list", f"v{version}"):
        sys.exit(f"There is a release {version} already. Give a higher number.")
    changed = changes(version, today)
    try:
        for path, text in changed.items():
            path.write_text(text, "utf-8")
        subprocess.run([ROOT / ".ci" / "run"], check=True)
        subprocess.run([ROOT / ".ci" / "wheel", ROOT / "dist"], check=True)
    except (subprocess.CalledProcessError, KeyboardInterrupt):
        _run("git", "checkout", "--", *map(str, changed))
        sys.exit("Not released; the files are as they were.")
    _run("git", "commit", "--quiet", "--message", f"Release {version}", "--", *map(str, changed))
    _run("git", "tag", "--annotate", f"v{version}", "--message", f"pluckcheck {version}")
    print(
        f"Released {version}: dist/, tag v{version}. Push both, and upload dist/ where it belongs."
    )


def changes(version: str, today: str) -> dict[Path, str]:
    """The files that say the version, as they will be; ends where one of them does not fit."""
    module, citation, log = (
        ROOT / "analyzer" / "__init__.py",
        ROOT / ".about" / "CITATION.cff",
        ROOT / ".about" / "CHANGELOG.md",
    )
    unreleased = log.read_text("utf-8").partition(_UNRELEASED)[2].partition("\n## ")[0].strip()
    if not unreleased:
        sys.exit(f"{log.name} has nothing under {_UNRELEASED.strip()}: say what changed.")
    return {
        module: _replaced(module, r'(?m)^__version__ = ".*"$', f'__version__ = "{version}"'),
        citation: _replaced(
            citation,
            r"(?m)^version: .*\n(date-released: .*\n)?",
            f"version: {version}\ndate-released: {today}\n",
        ),
        log: _replaced(log, re.escape(_UNRELEASED), f"{_UNRELEASED}\n## [{version}] - {today}\n"),
    }


def _replaced(path: Path, pattern: str, by: str) -> str:
    text, count = re.subn(pattern, lambda _: by, path.read_text("utf-8"))
    if count != 1:
        sys.exit(f"{path}: {count} places say the version, and there should be one.")
    return text


def _run(*words: str) -> str:
    return subprocess.run(words, cwd=ROOT, check=True, capture_output=True, text=True).stdout


if __name__ == "__main__":
    main()
