"""Real notes in one take, as a phone encodes it, against the same take without loss.

    python tests/benchmarks/benchmark_phone.py

The noise of the room under the notes is synthetic: see ``phone_takes``.
"""

from __future__ import annotations

import tempfile
from pathlib import Path

import _paths  # noqa: F401
import numpy as np
from fetch_recordings import cache
from phone_takes import GUITARS, LOSSLESS, PHONES, agreements, lossless, real_take, sent


def main() -> None:
    print(
        "| guitar | sent as | notes | change of the error, cents: median | rms | worst | within |"
    )
    print("| --- | --- | --- | --- | --- | --- | --- |")
    with tempfile.TemporaryDirectory() as scratch:
        for guitar in GUITARS:
            take = real_take(cache(), guitar)
            whole = lossless(take, Path(scratch))
            for form in (LOSSLESS, *PHONES):
                measured = sent(take, Path(scratch), form)
                found = agreements(whole, measured)
                off = np.array([each.off_cents for each in found])
                inside = sum(abs(each.off_cents) < each.interval_cents for each in found)
                used = sum(each.pitch is not None for each in measured)
                print(
                    f"| {guitar} | {form.file.rpartition('.')[0]} | {used} of {len(take.places)} | "
                    f"{np.median(np.abs(off)):.3f} | {np.sqrt(np.mean(off**2)):.3f} | "
                    f"{np.max(np.abs(off)):.3f} | "
                    f"{inside} of {len(found)} |"
                )


if __name__ == "__main__":
    main()
