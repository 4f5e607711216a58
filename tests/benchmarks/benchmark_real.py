"""Real recordings moved by a known number of cents: is the change reported?

    python tests/benchmarks/benchmark_real.py

Each recording of ``fetch_recordings`` is resampled (soxr, very high quality) so that all of it lies
so many cents higher, and measured again. What the pitch of a recording is, nobody knows; by how
much it was moved is known exactly.
"""

from __future__ import annotations

import math
import sys
import tempfile
from pathlib import Path

import _paths  # noqa: F401
import joblib
import numpy as np
import soundfile
import soxr
from benchmark_pitch import measure
from fetch_recordings import cache
from threadpoolctl import threadpool_limits

SHIFTS_CENTS = (-10.0, -6.3, -2.1, 1.0, 3.7, 10.0)


def off_cents(path: Path) -> list[float]:
    """Reported change less the true one, for each shift."""
    samples, rate_hz = soundfile.read(path)
    with tempfile.TemporaryDirectory() as folder, threadpool_limits(1):
        moved = Path(folder) / "moved.wav"
        found = []
        for cents in (0.0, *SHIFTS_CENTS):
            ratio = 2 ** (cents / 1200)
            # The same route at 0 cents, so that only the move differs.
            higher = soxr.resample(samples, rate_hz, rate_hz / ratio, quality="VHQ")
            soundfile.write(moved, higher, rate_hz, subtype="FLOAT")
            found.append(measure(moved).settled_hz)
    changes = [1200 * math.log2(hz / found[0]) for hz in found[1:]]
    return [change - cents for change, cents in zip(changes, SHIFTS_CENTS, strict=True)]


def main() -> None:
    print("| recordings | median, cents | 90th percentile | worst |")
    print("| --- | --- | --- | --- |")
    everything = []
    for kind in ("acoustic", "electric"):
        paths = sorted((cache() / kind).glob("*.wav"))
        if not paths:
            sys.exit(f"no recordings in {cache()}: run python tests/fetch_recordings.py")
        rows = joblib.Parallel(n_jobs=-1)(joblib.delayed(off_cents)(path) for path in paths)
        everything.append(np.abs(np.array(rows)).ravel())
        print(row(f"{kind}, {len(paths)}", everything[-1]))
    print(row("all", np.concatenate(everything)))


def row(name: str, off: np.ndarray) -> str:
    numbers = (np.median(off), np.quantile(off, 0.9), np.max(off))
    return f"| {name} | " + " | ".join(f"{each:.3f}" for each in numbers) + " |"


if __name__ == "__main__":
    main()
