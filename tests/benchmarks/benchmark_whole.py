"""One take of a whole instrument, wrong names, and good folders: how often each comes out right.

    python tests/benchmarks/benchmark_whole.py [takes] [names] [long]

* takes: 50 invented instruments, 36 plucks in one file each (6 strings, 2 notes, 3 repeats), gaps
  of 0.3 s to 2 s, the string before ringing on 30 dB below, spoken words between. Every pluck must
  be found and named, and its pitch agree with that of the same pluck in a file of its own. Words
  are those of Praat's speech synthesiser in every other take, and made ones in the rest.
* names: 200 folders with wrong names, 500 good ones. Caught is a folder of which every wrong file
  is left out; a false alarm is any file left out or cautioned, or a string without its result.
* long: ten minutes in one file, the time it takes to find the plucks in it.
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

import _paths  # noqa: F401
import joblib
import numpy as np
import soundfile
from made_folders import TUNINGS, analyzed, made_instrument, mislabelled, write_notes
from threadpoolctl import threadpool_limits
from whole_takes import RATE_HZ, WholeTake, alone, plan_of, spoken_word, spoken_words, whole_take

from analyzer.instrument.model import Instrument
from analyzer.measure import Measured, measure_recording, measure_whole
from analyzer.music import cents_between
from analyzer.recording.reading import open_recording
from analyzer.whole_take.segments import find_plucks

INSTRUMENTS, WRONG_FOLDERS, GOOD_FOLDERS = 50, 200, 500
KINDS = ("wrong string", "swapped notes", "octave")


def one_take(seed: int) -> tuple[int, int, int, list[float], list[float]]:
    """Plucks found and rightly named, found but wrong, cautions; differences from files of their
    own, and of the strings' errors, cents."""
    rng = np.random.default_rng(seed)
    made = made_instrument(rng, TUNINGS[0], tuned_cents=rng.uniform(-60, 60))
    with tempfile.TemporaryDirectory() as name, threadpool_limits(1):
        folder = Path(name)
        take = whole_take(plan_of(made, 3), rng, words=spoken_words() if seed % 2 else ())
        soundfile.write(folder / "whole.wav", take.samples, RATE_HZ, subtype="PCM_24")
        measured = measure_whole(folder / "whole.wav", made.instrument)
        right, pairs = _compared(folder, take, measured, made.instrument, seed)
    errors = []
    for string in made.instrument.strings:
        each = {
            fret: np.mean([d for s, f, d in pairs if (s, f) == (string, fret)])
            for fret in ("open", "f12")
        }
        errors.append(float(each["f12"] - each["open"]))
    cautions = sum(bool(each.cautions) for each in measured)
    return right, len(measured) - right, cautions, [d for *_, d in pairs], errors


def _compared(
    folder: Path,
    take: WholeTake,
    measured: list[Measured],
    instrument: Instrument,
    seed: int,
) -> tuple[int, list[tuple[int, str, float]]]:
    right, pairs = 0, []
    for number, each in enumerate(take.played):
        near = [m for m in measured if abs(m.part_s[0] - each.start_s) < 0.08 and m.pitch]
        if len(near) != 1 or (near[0].label.string, near[0].label.fret) != (each.string, each.fret):
            continue
        right += 1
        path = folder / f"s{each.string}_{each.fret}_1.wav"
        samples = alone(each, np.random.default_rng([seed, number]))
        soundfile.write(path, samples, RATE_HZ, subtype="PCM_24")
        own = measure_recording(path, instrument)
        off = cents_between(own.pitch.settled_hz, near[0].pitch.settled_hz)
        pairs.append((each.string, each.fret, off))
    return right, pairs


def takes() -> None:
    results = joblib.Parallel(n_jobs=-1)(joblib.delayed(one_take)(n) for n in range(INSTRUMENTS))
    rights = [right for right, *_ in results]
    wrong = sum(each[1] for each in results)
    cautions = sum(each[2] for each in results)
    notes = np.concatenate([each[3] for each in results])
    errors = np.concatenate([each[4] for each in results])
    print(f"{sum(r == 36 for r in rights)} of {INSTRUMENTS} takes: all 36 plucks found and named")
    print(
        f"{sum(rights)} plucks right, {wrong} found that are none or misnamed, "
        f"{cautions} with a caution"
    )
    print(
        f"pitch against files of their own: rms {_rms(notes):.3f}, worst "
        f"{np.max(np.abs(notes)):.3f} cents"
    )
    print(
        f"errors of the strings: rms {_rms(errors):.3f}, worst {np.max(np.abs(errors)):.3f} cents"
    )


def _rms(values: np.ndarray) -> float:
    return float(np.sqrt(np.mean(values**2)))


def one_wrong(seed: int) -> tuple[str, bool]:
    rng = np.random.default_rng([1, seed])
    kind = KINDS[seed % len(KINDS)]
    made = made_instrument(rng, TUNINGS[seed % len(TUNINGS)], rng.uniform(-40, 40))
    names, octaves, wrong = mislabelled(rng, made, kind)
    with tempfile.TemporaryDirectory() as name, threadpool_limits(1):
        folder = write_notes(Path(name) / "f", made, rng, names, octaves)
        rejected = {each.file for each in analyzed(folder, made.instrument).rejected}
    return f"{kind}, seed {seed}", wrong <= rejected


def one_good(seed: int) -> list[str]:
    rng = np.random.default_rng([2, seed])
    made = made_instrument(rng, TUNINGS[seed % len(TUNINGS)], rng.uniform(-120, 60))
    with tempfile.TemporaryDirectory() as name, threadpool_limits(1):
        report = analyzed(write_notes(Path(name) / "f", made, rng), made.instrument)
    said = [f"{seed}: {each.file}: {each.reason}" for each in report.rejected]
    said += [f"{seed}: {r.file}: {text}" for r in report.recordings for text in r.cautions]
    return said + [f"{seed}: {s.string}: {s.reason}" for s in report.strings if s.reason]


def names() -> None:
    pool = joblib.Parallel(n_jobs=-1)
    wrong = pool(joblib.delayed(one_wrong)(seed) for seed in range(WRONG_FOLDERS))
    print(f"{sum(caught for _, caught in wrong)} of {WRONG_FOLDERS} wrong names caught")
    for what, caught in wrong:
        if not caught:
            print(f"  not caught: {what}")
    good = pool(joblib.delayed(one_good)(seed) for seed in range(GOOD_FOLDERS))
    print(f"{sum(bool(said) for said in good)} of {GOOD_FOLDERS} good folders with a false alarm")
    for line in [line for said in good for line in said]:
        print(f"  {line}")


def long() -> None:
    rng = np.random.default_rng(3)
    made = made_instrument(rng, TUNINGS[0])
    pieces = []
    while sum(map(len, pieces)) < 600 * RATE_HZ:
        pieces.append(whole_take(plan_of(made, 3), rng).samples)
        pieces.append(0.1 * spoken_word(rng, 3.0))
    with tempfile.TemporaryDirectory() as name, threadpool_limits(1):
        path = Path(name) / "whole.wav"
        soundfile.write(path, np.concatenate(pieces)[: 600 * RATE_HZ], RATE_HZ)
        find_plucks(open_recording(path), 0.0, 5.0)  # compiles what is compiled once
        began = time.perf_counter()
        found = find_plucks(open_recording(path))
        print(f"600 s of sound, {len(found.plucks)} plucks: {time.perf_counter() - began:.1f} s")


def main() -> None:
    wanted = sys.argv[1:] or ["takes", "names", "long"]
    for name, work in (("takes", takes), ("names", names), ("long", long)):
        if name in wanted:
            began = time.perf_counter()
            work()
            print(f"  ({name}: {time.perf_counter() - began:.0f} s)", flush=True)


if __name__ == "__main__":
    main()
