"""Machine code that is made once: two first runs at once, no room for it, a compiler that fails."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile
from conftest import ROOT, SAMPLE_AUDIO

from analyzer import compiled

# Counts what numba has compiled of librosa before and after all that this program does with it.
COMPILED_BY_USE = """
import gc, sys
from analyzer.analysis import analyze_folder
from analyzer.compiled import compile_all, use_own_place

use_own_place()
compile_all()
from numba.core.dispatcher import Dispatcher
from numba.np.ufunc.dufunc import DUFunc
from numba.np.ufunc.gufunc import GUFunc

def counted():
    kinds = Dispatcher | DUFunc | GUFunc
    found = [each for each in gc.get_objects() if issubclass(type(each), kinds)]
    own = [each for each in found if str(each.__module__).startswith("librosa")]
    return {(each.__module__, each.__name__): len(signatures(each)) for each in own}

def signatures(each):
    return each.signatures if issubclass(type(each), Dispatcher) else each.types

before = counted()
used = [analyze_folder(each, jobs=1) for each in sys.argv[1:]]
assert all(each.strings for each in used)
after = counted()
later = {name for name, count in after.items() if before.get(name) != count}
print(len(before), len(used), "later:", later or {})
"""


@pytest.fixture
def home(tmp_path, monkeypatch) -> Path:
    """An empty cache, and a process that has not met numba yet."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "home"))
    monkeypatch.setenv(compiled.NUMBA_PLACE, "")  # so that it is put back afterwards
    monkeypatch.delenv(compiled.NUMBA_PLACE)
    monkeypatch.delitem(sys.modules, "numba", raising=False)
    return tmp_path / "home" / "pluckcheck" / "compiled"


def compiler(monkeypatch, work) -> list[Path]:
    """In place of the process that compiles: what it does; the folders that it was asked for."""
    asked = []

    def run(_words: object, *, env: dict[str, str], **_options: object) -> None:
        made = Path(env[compiled.NUMBA_PLACE])
        asked.append(made)
        work(made)

    monkeypatch.setattr(compiled.subprocess, "run", run)
    return asked


def write(made: Path) -> None:
    (made / "code").write_text("whole")


@pytest.mark.fault("the first run on a new machine")
def test_it_is_compiled_once_in_a_folder_that_nobody_else_knows(home, monkeypatch) -> None:
    asked = compiler(monkeypatch, write)
    for _ in range(2):
        monkeypatch.delenv(compiled.NUMBA_PLACE, raising=False)
        compiled.use_own_place()
        (place,) = home.iterdir()
        assert os.environ[compiled.NUMBA_PLACE] == str(place)
        assert (place / "code").read_text() == "whole"
    assert len(asked) == 1
    assert asked[0] != place


@pytest.mark.fault("two first runs at once")
def test_of_two_at_once_the_quicker_folder_stays_whole(home, monkeypatch) -> None:
    def be_slower(made: Path) -> None:
        write(made)
        if len(asked) == 1:  # meanwhile another run begins and ends
            compiled.use_own_place()
            monkeypatch.delenv(compiled.NUMBA_PLACE)
            (quicker,) = [each for each in home.iterdir() if not each.name.startswith(".")]
            (quicker / "code").write_text("quicker")

    asked = compiler(monkeypatch, be_slower)
    compiled.use_own_place()
    (place,) = home.iterdir()
    assert len(set(asked)) == 2
    assert (place / "code").read_text() == "quicker"
    assert os.environ[compiled.NUMBA_PLACE] == str(place)


def fail(_made: Path) -> None:
    raise subprocess.CalledProcessError(1, "compiler")


def be_slow(_made: Path) -> None:
    raise subprocess.TimeoutExpired("compiler", 300)


@pytest.mark.parametrize("fault", [fail, be_slow])
@pytest.mark.fault("a compiler that fails or hangs")
def test_without_it_numba_is_left_to_itself(home, monkeypatch, fault) -> None:
    compiler(monkeypatch, fault)
    compiled.use_own_place()
    assert compiled.NUMBA_PLACE not in os.environ
    assert list(home.iterdir()) == []


@pytest.mark.fault("a librosa that needs no numba")
def test_without_numba_there_is_nothing_to_do(home, monkeypatch) -> None:
    def version(name: str) -> str:
        raise compiled.metadata.PackageNotFoundError(name)

    monkeypatch.setattr(compiled.metadata, "version", version)
    compiled.use_own_place()
    assert compiled.NUMBA_PLACE not in os.environ
    assert not home.exists()


@pytest.mark.fault("a home that is a file")
def test_no_home_for_it(home, monkeypatch) -> None:
    compiler(monkeypatch, write)
    home.parent.parent.write_text("no folder")
    compiled.use_own_place()
    assert compiled.NUMBA_PLACE not in os.environ


def test_who_names_a_cache_keeps_it(home, monkeypatch, tmp_path) -> None:
    asked = compiler(monkeypatch, write)
    monkeypatch.setenv(compiled.NUMBA_PLACE, str(tmp_path))
    compiled.use_own_place()
    assert (os.environ[compiled.NUMBA_PLACE], asked, home.exists()) == (str(tmp_path), [], False)


def test_nothing_is_compiled_later(tmp_path) -> None:
    """Else runs at once would compile it at once after all: one signature more, one more file."""
    demo = SAMPLE_AUDIO / "own_saddles"
    notes = [soundfile.read(each) for each in sorted(demo.glob("s?_*_1.wav"))]
    soundfile.write(
        tmp_path / "whole.wav", np.concatenate([each for each, _ in notes]), notes[0][1]
    )
    shutil.copy(demo / "instrument.toml", tmp_path)
    done = subprocess.run(
        [sys.executable, "-c", COMPILED_BY_USE, demo, tmp_path],
        cwd=ROOT, capture_output=True, text=True, check=False,
    )  # fmt: skip
    functions, used, _, later = done.stdout.split(" ", 3)
    assert (int(functions) >= 15, int(used)) == (True, 2), done.stderr
    assert later.strip() == "{}"
