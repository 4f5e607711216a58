"""A whole lot: time, memory, a second run, runs that are killed, and queries.

    python tests/benchmarks/benchmark_lot.py [--instruments 1000] [--folder FOLDER] [--only NAME]

The lot is generated (12 recordings an instrument, 3 s, 44.1 kHz) and measured by the command itself
in processes of its own, which are watched through /proc (Linux). FOLDER keeps the lots for the next
time; without it they go when the benchmark ends. A thousand instruments take 3.2 GB.
"""

from __future__ import annotations

import argparse
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import threading
import time
from dataclasses import dataclass
from pathlib import Path

import _paths
import numpy as np
from made_lots import made_lot, stored

from analyzer.lot.store import FILE_NAME, open_store

PLAYED = 40  # instruments that are synthesised; the others are these under noise of their own
KILLS = 10
AGAIN = 3  # a start of three seconds is at the mercy of what else the machine does
SCALES = (100, 1000)
_LOOK_S = 0.2


@dataclass
class Ran:
    seconds: float
    parent_mb: float
    worker_mb: float


def run(lot: Path, out: Path, *options: str) -> Ran:
    """The command on a lot, with the peaks of its memory."""
    command = [sys.executable, "-m", "cli", "lot", str(lot), "--out", str(out), "-q", *options]
    began = time.perf_counter()
    process = subprocess.Popen(command, cwd=_paths.ROOT)
    peaks = Peaks(process.pid)
    peaks.start()
    code = process.wait()
    seconds = time.perf_counter() - began
    peaks.join()
    if code not in {0, 1}:
        raise SystemExit(f"pluckcheck lot ended with {code}")
    return Ran(seconds, peaks.parent_mb, peaks.worker_mb)


class Peaks(threading.Thread):
    """Peak resident memory of a process and of the largest of its descendants, MB."""

    def __init__(self, pid: int) -> None:
        super().__init__(daemon=True)
        self._pid = pid
        self.parent_mb = self.worker_mb = 0.0

    def run(self) -> None:
        while (own := _peak_mb(self._pid)) > 0:
            self.parent_mb = max(self.parent_mb, own)
            for child in _descendants(self._pid):
                self.worker_mb = max(self.worker_mb, _peak_mb(child))
            time.sleep(_LOOK_S)


def _peak_mb(pid: int) -> float:
    try:
        text = Path(f"/proc/{pid}/status").read_text()
    except OSError:
        return 0.0
    found = [line for line in text.splitlines() if line.startswith("VmHWM")]
    return int(found[0].split()[1]) / 1024 if found else 0.0  # a process that ended has none


def _descendants(pid: int) -> list[int]:
    found = []
    try:
        for task in Path(f"/proc/{pid}/task").iterdir():
            for child in (task / "children").read_text().split():
                found += [int(child), *_descendants(int(child))]
    except OSError:
        pass
    return found


def dumped(out: Path) -> list[tuple[object, ...]]:
    with open_store(out / FILE_NAME, create=False, read_only=True) as store:
        return list(store.dump())


def scale(folder: Path, instruments: int) -> None:
    """One core and two, a hundred instruments and a thousand, and the same again."""
    lots = {count: lot_of(folder, count) for count in {min(SCALES), instruments}}
    for jobs in ("1", "2"):
        small = run(lots[min(SCALES)], fresh(folder), "--jobs", jobs)
        show(f"{min(SCALES)} instruments, {jobs} process(es)", small, min(SCALES))
    out = fresh(folder)
    one = run(lots[instruments], fresh(folder), "--jobs", "1")
    show(f"{instruments} instruments, 1 process", one, instruments)
    two = run(lots[instruments], out, "--jobs", "2")
    show(f"{instruments} instruments, 2 processes", two, instruments)
    print(f"  two cores against one: {one.seconds / two.seconds:.2f} times (aim 1.8)")
    again = [run(lots[instruments], out, "--jobs", "2") for _ in range(AGAIN)]
    for each in again:
        show("the same again", each, instruments)
    middle_s = float(np.median([each.seconds for each in again]))
    print(f"  {two.seconds / middle_s:.0f} times as fast (aim 50; the median of {AGAIN})")
    size = sum(each.stat().st_size for each in out.iterdir())
    print(f"  store: {size / instruments / 1e3:.1f} kB an instrument")


def show(what: str, ran: Ran, instruments: int) -> None:
    each_ms = 1000 * ran.seconds / instruments
    print(
        f"{what}: {ran.seconds:.1f} s, {each_ms:.0f} ms an instrument; "
        f"parent {ran.parent_mb:.0f} MB (aim 300), worker {ran.worker_mb:.0f} MB (aim 400)",
        flush=True,
    )


def killed(folder: Path, seed: int = 5) -> None:
    """Kill the command at random moments until it is through, and compare with a whole run."""
    lot = lot_of(folder, 60)
    whole, out = fresh(folder), fresh(folder)
    run(lot, whole, "--jobs", "2")
    moments = np.random.default_rng(seed)
    for _ in range(KILLS):
        command = [sys.executable, "-m", "cli", "lot", str(lot), "--out", str(out), "-q"]
        process = subprocess.Popen(
            [*command, "--jobs", "2"], cwd=_paths.ROOT, start_new_session=True
        )
        # At the start, while it works, or just when something is stored: as chance has it.
        target = stored(out) + int(moments.integers(0, 10))
        while stored(out) < target and process.poll() is None:
            time.sleep(0.01)
        time.sleep(moments.uniform(0.0, 0.5))
        os.killpg(process.pid, signal.SIGKILL)
        process.wait()
        print(f"  killed with {stored(out)} of 60 instruments stored", flush=True)
    run(lot, out, "--jobs", "2")
    same = dumped(out) == dumped(whole)
    print(f"killed {KILLS} times: the content is {'the same' if same else 'NOT THE SAME'}")


def lot_of(folder: Path, instruments: int) -> Path:
    """A lot of so many, made where it is not there yet."""
    lot = folder / f"lot{instruments}"
    if not lot.exists():
        print(f"making {instruments} instruments ...", flush=True)
        made_lot(lot, instruments, played=min(PLAYED, instruments), jobs=2)
    return lot


def fresh(folder: Path) -> Path:
    return Path(tempfile.mkdtemp(prefix="out", dir=folder))


PARTS = {"scale": scale, "killed": killed}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--instruments", type=int, default=max(SCALES))
    parser.add_argument("--folder", type=Path)
    parser.add_argument("--only", nargs="*", choices=PARTS, default=list(PARTS))
    asked = parser.parse_args()
    folder = asked.folder or Path(tempfile.mkdtemp())
    folder.mkdir(exist_ok=True)
    try:
        if "scale" in asked.only:
            scale(folder, asked.instruments)
        if "killed" in asked.only:
            killed(folder)
    finally:
        if asked.folder is None:
            shutil.rmtree(folder)
        else:
            for each in folder.glob("out*"):
                shutil.rmtree(each)


if __name__ == "__main__":
    main()
