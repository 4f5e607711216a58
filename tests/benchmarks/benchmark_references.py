"""Reference libraries and pluckcheck side by side on the same audio.

    python tests/benchmarks/benchmark_references.py [--strings 8] [--readme]

Synthetic plucks are those of ``benchmark_pitch``: pairs of an open note and one at the 12th fret
whose settled first partial is known. Real recordings (``fetch_recordings``) are moved by a known
number of cents. How each reference is used, ``references`` says. pluckcheck is told nothing but the
file, and its time includes reading that and finding the pluck; the references get the samples.

*Settled pitch*: root mean square and worst, cents, of both notes of a pair. *Error at the 12th
fret*: the same of 1200 log2(f12 / (2 f_open)). *Scatter*: standard deviation of an open note that
is recorded again, with other noise and phases. *ms*: processor time of a pluck, the median, one
core. A tracker has lost a note where no frame of its steady part is voiced.
"""

from __future__ import annotations

import argparse
import math
import tempfile
import time
from collections import defaultdict
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

import _paths  # noqa: F401
import numpy as np
import soundfile
import soxr
from _readme import put_into_readme
from benchmark_pitch import Case, draw_string, measure
from fetch_recordings import cache
from pluck_model import PluckModel, recording
from references import REFERENCES, Take
from threadpoolctl import threadpool_limits

from analyzer.errors import RecordingError
from analyzer.music import note_hz, semitones_from_a4

RATE_HZ, SILENCE_S = 44_100, 0.25
USED_S = 2.3  # of a recording, for the references: their steady part ends before
RINGS_S = 3.0  # for pluckcheck, as its users are asked for
SEED = 20
SHIFTS_CENTS = (-10.0, -6.3, -2.1, 1.0, 3.7, 10.0)
EVERY = 3  # of the real recordings, so that the run stays short

CASES = (
    Case("55 dB", (0, 0)),
    Case("40 dB", (0, 0), take={"snr_db": 40.0}),
    Case("22 dB", (0, 0), take={"snr_db": 22.0}),
    Case("10 dB", (0, 0), take={"snr_db": 10.0}),
    Case("50 Hz hum", (0, 0), take={"hum_hz": 50.0}),
    Case("first partial -25 dB", (0, 0), model={"first_partial_db": -25.0}),
    Case("glide 20 cents, 0.5 s", (0, 0), model={"glide_cents": 20.0, "glide_time_s": 0.5}),
)
REAL = "real, moved"
PROGRAM = "pluckcheck"
SCATTERS = ("scatter, 55 dB", "scatter, 22 dB", "scatter, 10 dB")


@dataclass
class Found:
    """What came of one method in one case: how far off, cents, NaN where it found nothing."""

    pitch_off: list[float] = field(default_factory=list)
    error_off: list[float] = field(default_factory=list)
    again_off: list[float] = field(default_factory=list)


Table = defaultdict[tuple[str, str], Found]


def with_program(folder: Path) -> Callable[[Take], tuple[float, float]]:
    """pluckcheck on a file: Hz, and the seconds that took without writing it."""
    path = folder / "take.wav"

    def pitch(take: Take) -> tuple[float, float]:
        soundfile.write(path, take.samples, take.rate_hz, subtype="PCM_24")
        began = time.process_time()
        try:
            hz = measure(path).settled_hz
        except RecordingError:
            hz = math.nan
        return hz, time.process_time() - began

    return pitch


def all_methods(folder: Path, times: dict[str, list[float]]) -> Callable[[Take], dict[str, float]]:
    """Every method that is installed on one take, its time kept."""
    program = with_program(folder)

    def run(take: Take) -> dict[str, float]:
        found = {}
        found[PROGRAM], seconds = program(take)
        times[PROGRAM].append(seconds)
        short = take.samples[: round((take.onset_s + USED_S) * take.rate_hz)]
        told = Take(np.ascontiguousarray(short), take.rate_hz, take.note_hz, take.onset_s)
        for reference in REFERENCES:
            if not reference.missing:
                began = time.process_time()
                found[reference.name] = reference.pitch_hz(told)
                times[reference.name].append(time.process_time() - began)
        return found

    return run


def cents(hz: float, truth_hz: float) -> float:
    return 1200 * math.log2(hz / truth_hz)


def synthetic(
    case: Case, strings: int, run: Callable[[Take], dict[str, float]]
) -> dict[str, Found]:
    found: dict[str, Found] = defaultdict(Found)
    for seed in range(strings):
        rng = np.random.default_rng([SEED, seed])
        opened, fretted, error_cents = draw_string(case, rng)
        first, again, twelfth = (
            run(take_of(model, rng, case)) for model in (opened, opened, fretted)
        )
        for name, hz in first.items():
            row = found[name]
            row.pitch_off += [cents(hz, opened.f1_hz), cents(twelfth[name], fretted.f1_hz)]
            row.error_off.append(cents(twelfth[name], 2 * hz) - error_cents)
            row.again_off.append(cents(again[name], hz) / math.sqrt(2))
    return found


def take_of(model: PluckModel, rng: np.random.Generator, case: Case) -> Take:
    samples = recording(model, rng, rate_hz=RATE_HZ, silence_s=SILENCE_S, **case.take)
    nearest = round(12 * math.log2(model.f1_hz / 440))
    return Take(samples, RATE_HZ, 440 * 2 ** (nearest / 12), SILENCE_S)


def real(run: Callable[[Take], dict[str, float]]) -> dict[str, Found]:
    """Change that is reported of recordings that are moved, less the true one."""
    found: dict[str, Found] = defaultdict(Found)
    for number, path in enumerate(real_paths()):
        shift = SHIFTS_CENTS[number % len(SHIFTS_CENTS)]
        before, after = (run(moved(path, each)) for each in (0.0, shift))
        for name, hz in before.items():
            found[name].error_off.append(cents(after[name], hz) - shift)
    return found


def real_paths() -> Iterator[Path]:
    for kind in ("acoustic", "electric", "bass"):
        paths = sorted(
            (cache() / kind).glob("*.wav"), key=lambda path: semitones_from_a4(path.stem)
        )
        yield from (path for path in paths[::EVERY] if note_hz(path.stem) < 1400)


def moved(path: Path, shift_cents: float) -> Take:
    samples, rate_hz = soundfile.read(path, frames=round(RINGS_S * 48_000))
    higher = soxr.resample(samples, rate_hz, rate_hz / 2 ** (shift_cents / 1200), quality="VHQ")
    return Take(higher, rate_hz, note_hz(path.stem), 0.0)


def cell(off: list[float]) -> str:
    """Root mean square and worst, and how many had no figure."""
    if not off:
        return ""
    known = np.array([each for each in off if math.isfinite(each)])
    lost = len(off) - known.size
    if known.size == 0:
        return "all lost"
    text = f"{figure(math.sqrt(np.mean(known**2)))} ({figure(np.max(np.abs(known)))})"
    return f"{text}, {lost} lost" if lost else text


def figure(value: float) -> str:
    return f"{value:.3f}" if value < 0.1 else f"{value:.2f}" if value < 10 else f"{value:.0f}"


def scatter(off: list[float]) -> str:
    known = [each for each in off if math.isfinite(each)]
    return figure(math.sqrt(np.mean(np.square(known)))) if known else ""


def markdown(head: str, columns: list[str], cell_of: Callable[[str, str], str]) -> str:
    """A table with a row for each method; one whose package is missing says so."""
    lines = [f"| {head} | " + " | ".join(columns) + " |", "| --- " * (len(columns) + 1) + "|"]
    missing = {each.name: each.package for each in REFERENCES if each.missing}
    for name in (PROGRAM, *(each.name for each in REFERENCES)):
        cells = [cell_of(name, column) for column in columns]
        if name in missing:
            cells = [f"no package {missing[name]}", *[""] * (len(columns) - 1)]
        lines.append(f"| {name} | " + " | ".join(cells) + " |")
    return "\n".join(lines)


def tables(found: dict[str, dict[str, Found]], times: dict[str, list[float]]) -> list[str]:
    """Errors at the 12th fret, settled pitches, and how each was used."""
    settings = {each.name: each.setting for each in REFERENCES}

    def used(name: str, column: str) -> str:
        if column == "how used":
            return settings.get(name, "told nothing but the file")
        if column == "ms a pluck":
            return f"{1000 * np.median(times[name]):.0f}"
        return scatter(found[column.removeprefix("scatter, ")][name].again_off)

    return [
        markdown(
            "error at the 12th fret", [*found], lambda name, case: cell(found[case][name].error_off)
        ),
        markdown(
            "settled pitch",
            [each for each in found if each != REAL],
            lambda name, case: cell(found[case][name].pitch_off),
        ),
        markdown("method", ["how used", *SCATTERS, "ms a pluck"], used),
    ]


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__.split("\n", maxsplit=1)[0])
    options.add_argument("--strings", type=int, default=8)
    options.add_argument("--readme", action="store_true", help="put the tables into README.md")
    chosen = options.parse_args()
    times: dict[str, list[float]] = defaultdict(list)
    found: dict[str, dict[str, Found]] = {}
    with tempfile.TemporaryDirectory() as folder, threadpool_limits(1):
        run = all_methods(Path(folder), times)
        run(take_of(PluckModel(110.0), np.random.default_rng(1), CASES[0]))  # what compiles, does
        times.clear()
        for case in CASES:
            found[case.name] = synthetic(case, chosen.strings, run)
        found[REAL] = real(run)
    text = "\n\n".join(tables(found, times))
    print(text)
    if chosen.readme:
        put_into_readme("references", text)


if __name__ == "__main__":
    main()
