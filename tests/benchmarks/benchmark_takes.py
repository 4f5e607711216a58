"""Does the interval of a string hold the truth 95 times in 100, with 1, 2, 3 and 5 takes?

    python tests/benchmarks/benchmark_takes.py [--instruments 400]

Virtual instruments of six strings. The pitch of each take strays from its note's by a normal
scatter, whose size differs from instrument to instrument as it was seen to on real guitars (0.3
cents at the median, 0.6 at the 90th percentile); what a pluck's own fit claims is 0.03 cents.
Besides, the scatter is held fixed at several sizes, which no interval that knows it only in
distribution can serve equally: the row shows by how much.
"""

from __future__ import annotations

import argparse
import math
from collections.abc import Callable

import _paths  # noqa: F401
import numpy as np

from analyzer.pitch.settle import SettledPitch
from analyzer.strings import combine_takes, intonation, pluck_scatter

STRINGS = 6
OWN_CENTS = 0.03


def take(hz: float, scatter_cents: float, rng: np.random.Generator) -> SettledPitch:
    strayed = hz * 2 ** (rng.normal(0, math.hypot(scatter_cents, OWN_CENTS / 1.96)) / 1200)
    nothing = math.nan
    return SettledPitch(
        settled_hz=strayed,
        settled_uncertainty_cents=OWN_CENTS,
        first_partial_hz=nothing,
        misfit_cents=0.0,
        sustain_drift_cents=0.0,
        glide_cents=0.0,
        glide_time_s=nothing,
        late_slope_cents_per_s=0.0,
        stiffness=nothing,
        stiffness_uncertainty=nothing,
        partials=20,
        beat_hz=nothing,
        clipped=False,
    )


def as_seen_on_guitars(rng: np.random.Generator) -> float:
    """Log-normal with the two published quantiles: median 0.3, 90th percentile 0.6 cents."""
    return float(0.3 * math.exp(rng.normal(0, math.log(2) / 1.2816)))


def coverage(
    takes: int, instruments: int, scatter: Callable[[np.random.Generator], float]
) -> tuple[float, float]:
    """Share of strings whose interval holds the truth, and the median half-width, cents."""
    rng = np.random.default_rng(20_261_125 + takes)
    held, widths = [], []
    for _ in range(instruments):
        scatter_cents = scatter(rng)
        truths = rng.uniform(-15, 15, STRINGS)
        notes = []
        for truth in truths:
            notes.append([take(110.0, scatter_cents, rng) for _ in range(takes)])
            fretted_hz = 220.0 * 2 ** (truth / 1200)
            notes.append([take(fretted_hz, scatter_cents, rng) for _ in range(takes)])
        pooled = pluck_scatter(notes)
        for number, truth in enumerate(truths):
            pair = [combine_takes(each, pooled) for each in notes[2 * number : 2 * number + 2]]
            found = intonation(pair[0], pair[1], pooled)
            held.append(abs(found.error_cents - truth) <= found.error_uncertainty_cents)
            widths.append(found.error_uncertainty_cents)
    return float(np.mean(held)), float(np.median(widths))


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__.split("\n", maxsplit=1)[0])
    options.add_argument("--instruments", type=int, default=400)
    instruments = options.parse_args().instruments
    print("| scatter from take to take, cents | takes | within 95 % interval | median half-width |")
    print("| --- | --- | --- | --- |")
    for name, scatter in (
        ("as seen on guitars", as_seen_on_guitars),
        ("0.15", lambda _: 0.15),
        ("0.3", lambda _: 0.3),
        ("0.6", lambda _: 0.6),
    ):
        for takes in (1, 2, 3, 5):
            share, width = coverage(takes, instruments, scatter)
            print(f"| {name} | {takes} | {100 * share:.1f} % | {width:.2f} |", flush=True)


if __name__ == "__main__":
    main()
