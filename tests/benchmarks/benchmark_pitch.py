"""How near the settled pitch comes to the truth: every case as a row of a table.

    python tests/benchmarks/benchmark_pitch.py [--strings 200] [--only WORDS] [--readme]

A virtual string is an open pluck and one at the 12th fret with a known error between them, made by
``sample_audio/pluck_model.py``. f from 30.9 Hz to 1319 Hz, B from 1e-5 to 6e-4, glides from 0 to 10
cents, as an exponential of its own (0.05 s to 0.6 s) or tied to the string's decaying energy.
"""

from __future__ import annotations

import argparse
import math
import sys
import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import _paths  # noqa: F401
import joblib
import numpy as np
import soundfile
from _readme import put_into_readme
from pluck_model import PluckModel, early_drift_cents, recording
from threadpoolctl import threadpool_limits

from analyzer.errors import RecordingError
from analyzer.pitch.note import cut_note
from analyzer.pitch.settle import SettledPitch, settle
from analyzer.plucks import find_pluck
from analyzer.recording.reading import open_recording

LOWEST_HZ, HIGHEST_HZ = 30.9, 1319.0


@dataclass(frozen=True)
class Case:
    """``model`` and ``take`` change every pluck; ``limits``: root mean square and worst, cents."""

    name: str
    limits: tuple[float, float]
    model: dict[str, float] = field(default_factory=dict)
    take: dict[str, float] = field(default_factory=dict)
    rates_hz: Sequence[int] = (44100,)
    spoil: str = ""


CASES = (
    Case("55 dB signal to noise", (0.01, 0.04)),
    Case("22 dB", (0.04, 0.15), take={"snr_db": 22.0}),
    Case("50 Hz hum at -40 dBFS", (0.10, 0.5), take={"hum_hz": 50.0}),
    Case("60 Hz hum at -40 dBFS", (0.10, 0.5), take={"hum_hz": 60.0}),
    Case("first partial 25 dB down", (0.10, 0.5), model={"first_partial_db": -25.0}),
    Case("two polarisations 0.6 cents apart", (0.10, 0.5), {"polarisation_split_cents": 0.6}),
    Case("1.3 s left of the note", (0.10, 0.5), take={"duration_s": 1.3}),
    Case("rates 8 kHz to 192 kHz", (0.10, 0.5), rates_hz=(8000, 11025, 16000, 96000, 192000)),
    Case("partials scattered by 0.5 cents", (0.35, 1.1), model={"partial_scatter_cents": 0.5}),
    Case("MP3 at 64 kbit/s", (0.1, 0.4), spoil="mp3"),
    Case("hard clipping of 12 dB", (0.1, 0.4), spoil="clip"),
)


@dataclass(frozen=True)
class Measured:
    """One virtual string: what was off, cents, and the interval that was claimed."""

    error_off: float
    claimed: float
    drift_off: float
    stiffness_off: float
    seconds: float


def draw_string(case: Case, rng: np.random.Generator) -> tuple[PluckModel, PluckModel, float]:
    """An open pluck, one at the 12th fret, and the true error, cents."""
    stiffness = math.exp(rng.uniform(math.log(1e-5), math.log(1.5e-4)))
    base = PluckModel(
        f1_hz=math.exp(rng.uniform(math.log(LOWEST_HZ), math.log(HIGHEST_HZ / 2.02))),
        stiffness=stiffness,
        glide_cents=rng.uniform(0, 10),
        glide_time_s=_glide_time_s(rng),
        decay_s=rng.uniform(0.8, 2.5),
        pluck_position=rng.uniform(0.08, 0.3),
    )
    error_cents = rng.uniform(-15, 15)
    fretted = replace(
        base,
        f1_hz=2 * base.f1_hz * 2 ** (error_cents / 1200),
        stiffness=4 * stiffness,
        glide_cents=rng.uniform(0, 10),
        glide_time_s=_glide_time_s(rng),
        decay_s=base.decay_s * rng.uniform(0.5, 1),
        pluck_position=rng.uniform(0.1, 0.4),
    )
    return replace(base, **case.model), replace(fretted, **case.model), error_cents


def _glide_time_s(rng: np.random.Generator) -> float | None:
    own = math.exp(rng.uniform(math.log(0.05), math.log(0.6)))
    return own if rng.random() < 0.5 else None


def write_take(path: Path, samples: np.ndarray, rate_hz: int, spoil: str) -> Path:
    if spoil == "clip":
        peak = np.max(np.abs(samples)) * 10 ** (-12 / 20)
        samples = np.clip(samples, -peak, peak)
    if spoil == "mp3":
        path = path.with_suffix(".mp3")
        with soundfile.SoundFile(
            path,
            "w",
            rate_hz,
            1,
            format="MP3",
            compression_level=MP3_LEVEL,
            bitrate_mode="CONSTANT",
        ) as file:
            file.write(samples)
        return path
    soundfile.write(path, samples, rate_hz, subtype="PCM_24")
    return path


MP3_LEVEL = 0.75


def measure(path: Path) -> SettledPitch:
    found = open_recording(path)
    return settle(cut_note(found, find_pluck(found)))


def try_string(case: Case, seed: int) -> Measured:
    rng = np.random.default_rng([seed, len(case.name)])
    models = draw_string(case, rng)
    rate_hz = int(rng.choice(case.rates_hz))
    found, drifts, seconds = [], [], 0.0
    with tempfile.TemporaryDirectory() as folder, threadpool_limits(1):
        for number, model in enumerate(models[:2]):
            samples = recording(model, rng, rate_hz=rate_hz, **case.take)
            path = write_take(Path(folder) / f"{number}.wav", samples, rate_hz, case.spoil)
            began = time.perf_counter()
            try:
                found.append(measure(path))
            except RecordingError as error:
                sys.exit(f"{case.name}, seed {seed}: {error}")
            seconds += (time.perf_counter() - began) / 2
            drifts.append(found[-1].sustain_drift_cents - early_drift_cents(model))
    error = 1200 * math.log2(found[1].settled_hz / (2 * found[0].settled_hz))
    return Measured(
        error - models[2],
        math.hypot(*(each.settled_uncertainty_cents for each in found)),
        max(drifts, key=abs),
        found[0].stiffness / models[0].stiffness - 1,
        seconds,
    )


@dataclass(frozen=True)
class Row:
    """What came of a case over all its strings."""

    case: Case
    rms: float
    worst: float
    covered: float
    half_width: float
    drift_rms: float
    drift_worst: float
    stiffness: float
    milliseconds: float

    @classmethod
    def of(cls, case: Case, all_of: list[Measured]) -> Row:
        off = np.array([each.error_off for each in all_of])
        claimed = np.array([each.claimed for each in all_of])
        drift = np.array([each.drift_off for each in all_of])
        return cls(
            case,
            float(np.sqrt(np.mean(off**2))),
            float(np.max(np.abs(off))),
            float(np.mean(np.abs(off) <= claimed)),
            float(np.median(claimed)),
            float(np.sqrt(np.nanmean(drift**2))),
            float(np.nanmax(np.abs(drift))),
            float(np.median([abs(each.stiffness_off) for each in all_of])),
            1000 * float(np.median([each.seconds for each in all_of])),
        )

    @property
    def short(self) -> str:
        rms, worst = self.case.limits
        return (
            f"| {self.case.name} | {self.rms:.4f} ({rms}) | {self.worst:.3f} ({worst}) "
            f"| {100 * self.covered:.1f} % | {self.half_width:.4f} |"
        )

    @property
    def whole(self) -> str:
        met = self.rms <= self.case.limits[0] and self.worst <= self.case.limits[1]
        return (
            f"{self.short} {'met' if met else 'NOT MET'} | {self.drift_rms:.3f} "
            f"| {self.drift_worst:.2f} | {100 * self.stiffness:.2f} % | {self.milliseconds:.0f} |"
        )


SHORT = (
    "| case | root mean square (aim) | worst (aim) | within 95 % interval | median half-width |\n"
    "| --- | --- | --- | --- | --- |"
)
WHOLE = (
    "| case | root mean square (aim) | worst (aim) | within 95 % interval | median half-width | "
    "| drift rms | drift worst | B off, median | ms a pluck |\n" + "| --- " * 10 + "|"
)


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__.split("\n", maxsplit=1)[0])
    options.add_argument("--strings", type=int, default=150)
    options.add_argument("--only", default="")
    options.add_argument("--readme", action="store_true", help="put the table into README.md")
    chosen = options.parse_args()
    print(WHOLE, flush=True)
    rows = []
    with joblib.Parallel(n_jobs=-1) as run:
        for case in CASES:
            if chosen.only in case.name:
                tasks = (joblib.delayed(try_string)(case, seed) for seed in range(chosen.strings))
                rows.append(Row.of(case, run(tasks)))
                print(rows[-1].whole, flush=True)
    if chosen.readme:
        put_into_readme("benchmark", "\n".join([SHORT, *(each.short for each in rows)]))


if __name__ == "__main__":
    main()
