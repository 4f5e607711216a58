"""Makes the demo recordings and ``truth.csv`` beside this file. The seed makes them repeatable.

    python sample_audio/make_demo.py

The scene is invented: a repair bench records two instruments before a set-up, Demo One with a
saddle for each string and Demo Two with a saddle for each pair. Every string's settled frequencies
are chosen here, so the true error is known; ``pluck_model`` makes the sound.
"""

from __future__ import annotations

import csv
from dataclasses import replace
from pathlib import Path

import numpy as np
import soundfile
from pluck_model import PluckModel, early_drift_cents, recording

SEED = 20_261_125
RATE_HZ = 22_050
DURATION_S = 2.7
HERE = Path(__file__).parent
A4_HZ = 440.0

# string: (semitones from A4, cents off that pitch, true error in cents, B of the open string)
DEMO_ONE = {
    6: (-29, -3.0, 7.8, 1.1e-4),
    5: (-24, 1.5, 5.9, 6.0e-5),
    4: (-19, 0.4, -2.1, 4.0e-5),
    3: (-14, -1.2, 11.4, 1.0e-4),
    2: (-10, 2.2, 3.2, 4.2e-5),
    1: (-5, -0.6, -0.9, 1.6e-5),
}
DEMO_TWO = {
    6: (-29, 0.8, 6.4, 1.3e-4),
    5: (-24, -2.4, 2.0, 7.5e-5),
    4: (-19, 1.1, -3.0, 4.6e-5),
    3: (-14, 0.2, 4.6, 1.2e-4),
    2: (-10, -0.9, 1.1, 5.0e-5),
    1: (-5, 3.0, -5.2, 2.0e-5),
}
SECOND_TAKES = {("own_saddles", 6), ("own_saddles", 3)}
WITH_HUM = ("own_saddles", 5)


def open_string(semitones: int, off_cents: float, stiffness: float, string: int) -> PluckModel:
    """An open string; the thick ones glide more and ring longer."""
    return PluckModel(
        f1_hz=A4_HZ * 2 ** (semitones / 12 + off_cents / 1200),
        stiffness=stiffness,
        glide_cents=1.0 + 0.8 * string,
        glide_time_s=None if string % 2 else 0.12 + 0.02 * string,
        decay_s=0.9 + 0.12 * string,
    )


def stopped_at_12(model: PluckModel, error_cents: float) -> PluckModel:
    """The same string at the 12th fret: half as long, so B is four times as large."""
    return replace(
        model,
        f1_hz=2 * model.f1_hz * 2 ** (error_cents / 1200),
        stiffness=4 * model.stiffness,
        glide_cents=0.7 * model.glide_cents,
        decay_s=0.6 * model.decay_s,
        pluck_position=0.34,
    )


def write_take(path: Path, model: PluckModel, rng: np.random.Generator, hum_hz: float) -> None:
    take = recording(
        model, rng, duration_s=DURATION_S, silence_s=0.2, rate_hz=RATE_HZ, snr_db=50, hum_hz=hum_hz
    )
    take += rng.triangular(-1, 0, 1, take.size) / 2**15  # dither
    soundfile.write(path, take, RATE_HZ, subtype="PCM_16")


def make_instrument(folder: str, strings: dict[int, tuple[int, float, float, float]]) -> list[list]:
    rows = []
    for string, (semitones, off_cents, error_cents, stiffness) in strings.items():
        rng = np.random.default_rng([SEED, len(folder), string])
        models = {"open": open_string(semitones, off_cents, stiffness, string)}
        models["f12"] = stopped_at_12(models["open"], error_cents)
        takes = (1, 2) if (folder, string) in SECOND_TAKES else (1,)
        hum_hz = 50.0 if (folder, string) == WITH_HUM else 0.0
        for fret, model in models.items():
            for take in takes:
                write_take(HERE / folder / f"s{string}_{fret}_{take}.wav", model, rng, hum_hz)
        numbers = [error_cents]
        numbers += [model.f1_hz for model in models.values()]
        numbers += [early_drift_cents(model) for model in models.values()]
        rows.append([folder, string, *(f"{number:.6f}" for number in numbers), stiffness])
    return rows


def main() -> None:
    rows = make_instrument("own_saddles", DEMO_ONE) + make_instrument("paired_saddles", DEMO_TWO)
    with (HERE / "truth.csv").open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file, lineterminator="\n")
        heading = (
            "folder,string,error_cents,open_hz,fretted_hz,open_drift_cents,fretted_drift_cents"
        )
        writer.writerow([*heading.split(","), "open_stiffness"])
        writer.writerows(rows)


if __name__ == "__main__":
    main()
