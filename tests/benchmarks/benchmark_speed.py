"""How long one pluck takes against plain pYIN on the same audio, and what a long file needs.

    python tests/benchmarks/benchmark_speed.py

Both are timed in turn in one process on one core, warm: the whole analysis of a recording of three
seconds, reading included, and ``librosa.pyin(y, fmin=60, fmax=1500, sr=22050)`` alone. The memory
is what Python and NumPy hold at the highest while they measure ten minutes of 96 kHz.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import _paths  # noqa: F401
import librosa
import numpy as np
import soundfile
from pluck_model import PluckModel, recording
from threadpoolctl import threadpool_limits

from analyzer.instrument.model import assumed_instrument
from analyzer.measure import measure_recording

ROUNDS = 15
LONG_RATE_HZ = 96_000
LONG_S = 600


def median_ms(*works: Callable[[], object]) -> list[float]:
    """Medians of the works' times, taken in turn, milliseconds."""
    for work in works:
        for _ in range(3):
            work()
    times = np.zeros((ROUNDS, len(works)))
    for turn in range(ROUNDS):
        for number, work in enumerate(works):
            began = time.perf_counter()
            work()
            times[turn, number] = time.perf_counter() - began
    return [float(each) for each in 1000 * np.median(times, axis=0)]


def speed(folder: Path) -> None:
    path = folder / "s5_open_1.wav"
    samples = recording(PluckModel(110.0, 1e-4, 5.0, 0.2), np.random.default_rng(1))
    soundfile.write(path, samples, 44_100, subtype="PCM_16")
    lowered = librosa.resample(samples, orig_sr=44_100, target_sr=22_050)
    with threadpool_limits(1):
        plain, whole = median_ms(
            lambda: librosa.pyin(lowered, fmin=60, fmax=1500, sr=22_050),
            lambda: measure_recording(path, assumed_instrument()),
        )
    print(f"librosa {librosa.__version__}: pYIN {plain:.0f} ms, whole analysis {whole:.0f} ms, ")
    print(f"that is {plain / whole:.1f} times as fast.")


GROWTH = """
import sys, time, tracemalloc
from pathlib import Path
from analyzer.instrument.model import assumed_instrument
from analyzer.measure import measure_recording
short, long = map(Path, sys.argv[1:])
assert measure_recording(short, assumed_instrument()).pitch
began = time.perf_counter()
tracemalloc.start()
assert measure_recording(long, assumed_instrument()).pitch
highest = tracemalloc.get_traced_memory()[1] / 1e6
seconds = time.perf_counter() - began
print(f"Ten minutes of 96 kHz: {highest:.0f} MB at the highest, {seconds:.1f} s")
"""


def memory(folder: Path) -> None:
    """What Python and NumPy allocate at the highest, beside the libraries themselves."""
    path = folder / "s5_open_2.wav"
    note = recording(PluckModel(110.0), np.random.default_rng(1), rate_hz=LONG_RATE_HZ)
    with soundfile.SoundFile(path, "w", LONG_RATE_HZ, 1, subtype="PCM_16") as file:
        file.write(note)
        silence = np.random.default_rng(2).normal(0, 1e-4, LONG_RATE_HZ)
        for _ in range(LONG_S - 4):
            file.write(silence)
    short = folder / "s5_open_1.wav"
    subprocess.run([sys.executable, "-c", GROWTH, short, path], check=True)


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        speed(Path(folder))
        memory(Path(folder))


if __name__ == "__main__":
    main()
