"""What several tests share: the demo, a way to run the command, recordings with a known truth."""

from __future__ import annotations

import csv
import os
import shutil
import subprocess
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from fetch_recordings import cache
from forked import forked, standing_in
from pluck_model import PluckModel, recording
from threadpoolctl import threadpool_limits
from two_rounds import BEFORE, INSTRUMENT, write_round

from analyzer.analysis import analyze_folder
from analyzer.compiled import NUMBA_PLACE, use_own_place
from analyzer.report.files import as_json
from cli.main import main

ROOT = Path(__file__).parent.parent
SAMPLE_AUDIO = ROOT / "sample_audio"

# Tests use more of librosa than the program does, and two processes that fill one cache of compiled
# code at once spoil it. So those that run side by side have one each, which begins as the program's
# own and stays. Numba looks once, when it is imported.
if _WORKER := os.environ.get("PYTEST_XDIST_WORKER"):
    assert "numba" not in sys.modules
    # As many processes as cores: threads of each beside them wait for one another, busily.
    threadpool_limits(1)
    os.environ.setdefault("OMP_NUM_THREADS", "1")  # for what they start
    use_own_place()
    _COMPILED = ROOT / ".pytest_cache" / "numba" / f"{sys.implementation.cache_tag}-{_WORKER}"
    if NUMBA_PLACE in os.environ and not _COMPILED.exists():
        shutil.copytree(os.environ[NUMBA_PLACE], _COMPILED)
    os.environ[NUMBA_PLACE] = str(_COMPILED)
# Where tests run side by side, the terminal's width is in their environment; it is not the tests'.
os.environ.pop("COLUMNS", None)

Run = Callable[..., subprocess.CompletedProcess[Any]]
FAULTS = Path(__file__).parent / "faults"


def pytest_configure(config: pytest.Config) -> None:
    words = "fault(words): what is broken on purpose, in plain words; see tests/faults/table.py"
    config.addinivalue_line("markers", words)


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> Any:
    """Side by side (``-n``), who has done its tests takes some of another's, unless told otherwise.

    Tests of a file stay together until then, so that what they share is mostly made once.
    """
    from xdist.scheduler import WorkStealingScheduling

    return WorkStealingScheduling(config, log) if config.getoption("dist") == "load" else None


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """What stands in tests/faults is a fault, with the words of its name; but for the fuzzing."""
    for item in items:
        known = item.get_closest_marker("fault") is not None
        if FAULTS in item.path.parents and item.path.name != "test_fuzz.py" and not known:
            item.add_marker(pytest.mark.fault)


@pytest.fixture(scope="session")
def run() -> Run:
    """Run ``pluckcheck`` in a fork of this process; what comes of it is as ``started`` gives it."""

    def call(
        *words: object,
        cwd: Path = ROOT,
        env: dict[str, str] | None = None,
        stdout: int | None = None,
        text: bool = True,
    ) -> subprocess.CompletedProcess[Any]:
        done = forked(*words, prepare=standing_in(cwd, env), stdout=stdout)
        streams = [done.texts[each] for each in done.pipes]
        if text:
            streams = [each.decode().replace("\r\n", "\n") for each in streams]
        return subprocess.CompletedProcess(list(words), done.code, *streams)

    return call


@pytest.fixture(scope="session")
def started() -> Run:
    """Start ``pluckcheck`` in a process of its own, its output captured as text.

    It takes seconds to import all: for what is about its start, its encoding or its streams.
    """

    def call(*words: object, **options: object) -> subprocess.CompletedProcess[str]:
        command = [sys.executable, "-m", "cli", *map(str, words)]
        plain = {name: value for name, value in os.environ.items() if name != "COLUMNS"}
        captured = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, "text": True}
        settings = {**captured, "check": False, "cwd": ROOT, "env": plain}
        return subprocess.run(command, **{**settings, **options})  # noqa: PLW1510

    return call


@dataclass(frozen=True)
class Called:
    """What came of a command: exit code, standard output, standard error."""

    code: int
    out: str
    err: str


@pytest.fixture
def called(monkeypatch, capsys) -> Callable[..., Called]:
    """Call ``pluckcheck`` in this process: quicker than ``run`` where streams are not at stake."""

    def call(*words: object) -> Called:
        monkeypatch.setattr(sys, "argv", ["pluckcheck", *map(str, words)])
        with pytest.raises(SystemExit) as ended:
            main()
        code = ended.value.code
        return Called(code if isinstance(code, int) else 0, *capsys.readouterr())

    return call


@pytest.fixture(scope="session")
def demo_truth() -> list[dict[str, str]]:
    """Rows of truth.csv, which the script that made the demo wrote."""
    with (SAMPLE_AUDIO / "truth.csv").open(encoding="utf-8") as file:
        return list(csv.DictReader(file))


@pytest.fixture
def write_pluck(tmp_path: Path) -> Callable[..., Path]:
    """Write a synthetic take; the seed is that of the test's own generator."""

    def write(
        name: str, model: PluckModel, seed: int = 1, rate_hz: int = 44100, **take: object
    ) -> Path:
        samples = recording(model, np.random.default_rng(seed), rate_hz=rate_hz, **take)
        path = tmp_path / name
        path.parent.mkdir(parents=True, exist_ok=True)
        soundfile.write(path, samples, rate_hz, subtype="PCM_24")
        return path

    return write


@pytest.fixture
def record(tmp_path: Path) -> Callable[..., Path]:
    """Write a round into a folder of this test."""

    def write(name: str, errors, instrument: str = INSTRUMENT) -> Path:
        return write_round(tmp_path / name, errors, instrument)

    return write


@pytest.fixture(scope="session")
def first_round(tmp_path_factory) -> Path:
    """The folder ``before`` and its report, made once."""
    place = tmp_path_factory.mktemp("first_round")
    report = analyze_folder(write_round(place / "before", BEFORE), jobs=1)
    (place / "before.json").write_text(as_json(report), encoding="utf-8")
    return place


@pytest.fixture
def before(first_round, tmp_path) -> Path:
    """The JSON report of a first round; its folder ``before`` stands beside it."""
    shutil.copytree(first_round, tmp_path, dirs_exist_ok=True)
    return tmp_path / "before.json"


@pytest.fixture(scope="session")
def real_recordings() -> Path:
    """The cache of real recordings; without it the tests that need it are skipped."""
    if not (cache() / "acoustic").is_dir() or not (cache() / "electric").is_dir():
        reason = f"no real recordings in {cache()}: run python tests/fetch_recordings.py"
        if os.environ.get("PLUCKCHECK_NEED_RECORDINGS"):
            pytest.fail(reason)
        pytest.skip(reason)
    return cache()
