"""How many rounds does it take? Virtual instruments are adjusted as they are told to be.

    python tests/benchmarks/benchmark_adjust.py [--instruments 200] [--takes 2] [--noise CENTS]
    python tests/benchmarks/benchmark_adjust.py --advice-only

Every kind of bridge, true errors up to 15 cents, real screw pitches, steps of 1/8 turn. A round is
recordings at 45 dB signal to noise (``sample_audio/pluck_model.py``, read by the whole analysis),
its advice, and moves made just as advised. The strings answer by their lengths, with a setback that
the instrument file does not tell; in the second and third row all moves do 15 % more or less than
that. A string has arrived when its error is within 0.5 cents of what it has at the best setting of
the bridge. That one is found here by trying every whole step: least worst error, to 0.05 cents,
then least squares. With ``--noise`` nothing is recorded: the errors are known up to normal noise of
that standard deviation. At the end stands how long the advice takes once the errors are known, of
which ``--advice-only`` prints nothing else.
"""

from __future__ import annotations

import argparse
import itertools
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import _paths  # noqa: F401
import joblib
import numpy as np
import soundfile
from pluck_model import PluckModel, recording

from analyzer.analysis import analyze_folder
from analyzer.bridge.response import Response
from analyzer.instrument.file import read_instrument
from analyzer.instrument.model import Instrument
from analyzer.report.adjustment import Adjustment, Done, adjust
from analyzer.report.model import ResponseResult, StringResult

ARRIVED_CENTS = 0.5
SAME_CENTS = 0.05  # settings whose worst errors are so near are equally good; least squares decide
FACTORS = (1.0, 1.15, 0.85)
ROUNDS = 2
SNR_DB = 45.0
RATE_HZ = 22050
TRAVEL = "travel_mm = [4.0, 6.0]\n"
SIX = 'tuning = ["E2", "A2", "D3", "G3", "B3", "E4"]\nscale_length_mm = 647.7\n'
TURNED = "smallest_turn = 0.125\n" + TRAVEL
M3 = 'thread = "M3"\nscrew_head = "tail"\n' + TURNED
UNC = 'thread = "6-32 UNC"\nscrew_head = "neck"\n' + TURNED
M4 = 'thread = "M4"\nscrew_head = "tail"\n' + TURNED
PAIRS = "saddles = [[6, 5], [4, 3], [2, 1]]\n"
KINDS = {
    "six saddles": SIX + "[bridge]\nsaddles = [[6], [5], [4], [3], [2], [1]]\n" + M3,
    "three of two": SIX + "[bridge]\n" + PAIRS + UNC,
    "two of three": SIX + "[bridge]\nsaddles = [[6, 5, 4], [3, 2, 1]]\n" + M4,
    "two screws each": SIX + '[bridge]\nkind = "two-screw saddles"\n' + PAIRS + M3,
    "swivelling": SIX + '[bridge]\nkind = "swivelling saddles"\n' + PAIRS + UNC,
    "two posts": SIX + '[bridge]\nkind = "two posts"\nstring_spread_mm = 52\n'
    "post_positions_mm = [-11, 63]\n" + M4,
    "floating": SIX + '[bridge]\nkind = "floating"\n' + TRAVEL,
    "filed": SIX + '[bridge]\nkind = "fixed"\nsaddle_width_mm = 6\nbreak_point_mm = 3\n',
    "bass, four": 'tuning = ["E1", "A1", "D2", "G2"]\nscale_length_mm = 863.6\n'
    "[bridge]\nsaddles = [[4], [3], [2], [1]]\n" + M4,
    "bass, five": 'tuning = ["B0", "E1", "A1", "D2", "G2"]\nscale_length_mm = 863.6\n'
    "[bridge]\nsaddles = [[5], [4], [3], [2], [1]]\n" + M3,
    "eight, fanned": 'tuning = ["F#1", "B1", "E2", "A2", "D3", "G3", "B3", "E4"]\n'
    "scale_length_mm = [711, 702, 693, 684, 675, 666, 657, 648]\n"
    "[bridge]\nsaddles = [[8], [7], [6], [5], [4], [3], [2], [1]]\n" + M3,
    "six courses": 'tuning = ["E3", "E2", "A3", "A2", "D4", "D3", "G4", "G3", "B3", "B3", '
    '"E4", "E4"]\nscale_length_mm = 647.7\n'
    "[bridge]\nsaddles = [[12, 11], [10, 9], [8, 7], [6, 5], [4, 3], [2, 1]]\n" + UNC,
    "re-entrant": 'tuning = ["G4", "C4", "E4", "A4"]\nscale_length_mm = 381\n'
    "[bridge]\nsaddles = [[4], [3], [2], [1]]\n" + M3,
}
Listen = Callable[[Instrument, np.ndarray, np.random.Generator], tuple[StringResult, ...]]


@dataclass(frozen=True)
class Virtual:
    """An instrument and the truth about it: what each string reads for moves of its adjusters."""

    instrument: Instrument
    errors_cents: np.ndarray
    setbacks_mm: np.ndarray
    factor: float

    @property
    def shares(self) -> np.ndarray:
        adjusters = self.instrument.bridge.adjusters
        strings = self.instrument.strings
        return np.array([[each.share.get(string, 0.0) for each in adjusters] for string in strings])

    def errors_at(self, moves_mm: np.ndarray) -> np.ndarray:
        """True errors, (..., n), for moves (..., m): from lengths, nothing of the project's."""
        length = np.array([self.instrument.scale_length_mm(s) for s in self.instrument.strings])
        moved = self.factor * (moves_mm @ self.shares.T)

        def sharp(setback_mm: np.ndarray) -> np.ndarray:
            return 1200 * np.log2((length + setback_mm) / (length / 2 + setback_mm) / 2)

        return self.errors_cents + sharp(self.setbacks_mm + moved) - sharp(self.setbacks_mm)

    def best_errors(self) -> np.ndarray:
        """True errors at the best setting: every whole step of every part is tried."""
        best = np.array(self.errors_cents)
        for places, rows in _parts(self.shares):
            grids = [_steps_within(self.instrument.bridge.adjusters[k]) for k in places]
            tries = np.array(list(itertools.product(*grids)))
            moves = np.zeros((len(tries), self.shares.shape[1]))
            moves[:, places] = tries
            errors = self.errors_at(moves)[:, rows]
            worst = np.max(np.abs(errors), axis=1)
            squares = np.where(worst <= worst.min() + SAME_CENTS, np.sum(errors**2, axis=1), np.inf)
            best[rows] = errors[np.argmin(squares)]
        return best


def _parts(shares: np.ndarray) -> list[tuple[list[int], list[int]]]:
    """Adjusters and strings that hang together; here an adjuster's strings are all of its part."""
    parts: dict[tuple[int, ...], list[int]] = {}
    for place in range(shares.shape[1]):
        rows = np.flatnonzero(shares[:, place])
        near = [k for k in range(shares.shape[1]) if np.any(shares[rows, k])]
        everything = np.flatnonzero(np.any(shares[:, near] != 0, axis=1))
        parts.setdefault(tuple(everything), []).append(place)
    return [(places, list(rows)) for rows, places in parts.items()]


def _steps_within(adjuster) -> np.ndarray:
    step = adjuster.steps.smallest_mm
    low, high = adjuster.travel_mm
    return step * np.arange(-np.floor(low / step + 1e-9), np.floor(high / step + 1e-9) + 1)


def draw(number: int, factor: float) -> Virtual:
    """The virtual instrument of this number; kinds take turns."""
    rng = np.random.default_rng([number, 4])
    kind = list(KINDS)[number % len(KINDS)]
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "instrument.toml"
        path.write_text(f'[instrument]\nname = "{kind}"\n{KINDS[kind]}', encoding="utf-8")
        instrument = read_instrument(path)
    strings = len(instrument.strings)
    return Virtual(instrument, rng.uniform(-15, 15, strings), rng.uniform(0, 4, strings), factor)


def listen_to_recordings(takes: int) -> Listen:
    """Errors as the whole analysis hears them in ``takes`` recordings of each note."""

    def listen(
        instrument: Instrument, errors_cents: np.ndarray, rng: np.random.Generator
    ) -> tuple[StringResult, ...]:
        with tempfile.TemporaryDirectory() as name:
            folder = Path(name)
            for string, error in zip(instrument.strings, errors_cents, strict=True):
                _record(folder, instrument, string, error, takes, rng)
            named = ", ".join(f'"{note}"' for note in instrument.tuning)
            text = f"[instrument]\nscale_length_mm = 650\ntuning = [{named}]\n"
            (folder / "instrument.toml").write_text(text, encoding="utf-8")
            return analyze_folder(folder, jobs=1).strings

    return listen


def _record(folder, instrument, string, error_cents, takes, rng) -> None:
    open_hz = instrument.open_hz(string) * 2 ** (rng.uniform(-8, 8) / 1200)
    base = PluckModel(
        open_hz,
        stiffness=float(np.exp(rng.uniform(np.log(1e-5), np.log(1.5e-4)))),
        glide_cents=rng.uniform(0, 10),
        decay_s=rng.uniform(0.8, 2.5),
        pluck_position=rng.uniform(0.08, 0.3),
    )
    fretted_hz = 2 * open_hz * 2 ** (error_cents / 1200)
    fretted = replace(
        base, f1_hz=fretted_hz, stiffness=4 * base.stiffness, glide_cents=rng.uniform(0, 10)
    )
    for fret, model in (("open", base), ("f12", fretted)):
        for take in range(1, takes + 1):
            samples = recording(model, rng, duration_s=2.5, rate_hz=RATE_HZ, snr_db=SNR_DB)
            path = folder / f"s{string}_{fret}_{take}.wav"
            soundfile.write(path, samples, RATE_HZ, subtype="PCM_24")


def listen_through_noise(noise_cents: float) -> Listen:
    """Errors with normal noise of that standard deviation, and the interval that belongs to it."""

    def listen(
        instrument: Instrument, errors_cents: np.ndarray, rng: np.random.Generator
    ) -> tuple[StringResult, ...]:
        return tuple(
            StringResult(
                string,
                instrument.note(string),
                error_cents=float(error + rng.normal(0, noise_cents)),
                error_uncertainty_cents=1.96 * noise_cents,
            )
            for string, error in zip(instrument.strings, errors_cents, strict=True)
        )

    return listen


def rounds_needed(number: int, listen: Listen) -> list[list[bool]]:
    """For each factor, whether every string has arrived after one round and after two."""
    virtual = draw(number, 1.0)
    rng = np.random.default_rng([number, 5])
    first = listen(virtual.instrument, virtual.errors_cents, rng)
    return [_rounds(draw(number, factor), first, listen, rng) for factor in FACTORS]


def _rounds(
    virtual: Virtual, first: tuple[StringResult, ...], listen: Listen, rng: np.random.Generator
) -> list[bool]:
    best = np.abs(virtual.best_errors())
    adjusters = virtual.instrument.bridge.adjusters
    moves = np.zeros(len(adjusters))
    done, arrived = None, []
    for number in range(ROUNDS):
        strings = (
            first if number == 0 else listen(virtual.instrument, virtual.errors_at(moves), rng)
        )
        found = adjust(virtual.instrument, strings, done)
        moves = moves + [each.move_mm for each in found.adjusters]
        _check_travel(adjusters, moves)
        done = _done(found, strings)
        off = np.abs(virtual.errors_at(moves)) - best
        arrived.append(bool(np.all(off <= ARRIVED_CENTS)))
    return arrived


def _check_travel(adjusters, moves) -> None:
    for each, move in zip(adjusters, moves, strict=True):
        low, high = each.travel_mm
        if not -low - 1e-9 <= move <= high + 1e-9:
            sys.exit(f"{each.name} was driven past its travel: {move}")


def _done(found: Adjustment, strings: Sequence[StringResult]) -> Done:
    """As the JSON report would carry it to the next round."""
    return Done(
        "before",
        {s.string: (s.error_cents, s.error_uncertainty_cents) for s in strings},
        {each.name: each.move_mm for each in found.adjusters},
        {each.name: each.travel_mm for each in found.adjusters},
        {each.name: each.moved_mm for each in found.adjusters},
        _response(found.response, [each.name for each in found.adjusters]),
        told=True,
    )


def _response(result: ResponseResult, names: Sequence[str]) -> Response:
    return Response(
        tuple(names), np.array(result.state), np.array(result.covariance), result.rounds
    )


def advice_milliseconds(kind: str, repeats: int = 20) -> float:
    """Median processor time of the advice once the errors are known.

    It is one thread's work, so this is what it takes on a machine that does nothing else.
    """
    virtual = draw(list(KINDS).index(kind), 1.0)
    strings = listen_through_noise(0.1)(
        virtual.instrument, virtual.errors_cents, np.random.default_rng(1)
    )
    times = []
    for _ in range(repeats):
        began = time.process_time()
        adjust(virtual.instrument, strings)
        times.append(1000 * (time.process_time() - began))
    return float(np.median(times))


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__.split("\n", maxsplit=1)[0])
    options.add_argument("--instruments", type=int, default=200)
    options.add_argument("--first", type=int, default=0, help="number of the first instrument")
    options.add_argument("--takes", type=int, default=2)
    options.add_argument("--noise", type=float, default=None)
    options.add_argument("--jobs", type=int, default=-1)
    options.add_argument("--advice-only", action="store_true")
    chosen = options.parse_args()
    if not chosen.advice_only:
        _print_rounds(chosen)
    for kind in KINDS:
        print(f"advice for {kind}: {advice_milliseconds(kind):.1f} ms")


def _print_rounds(chosen: argparse.Namespace) -> None:
    listen = (
        listen_to_recordings(chosen.takes)
        if chosen.noise is None
        else listen_through_noise(chosen.noise)
    )
    print("| response against the geometry | arrived after one round | after two | not after two |")
    print("| --- | --- | --- | --- |")
    with joblib.Parallel(n_jobs=chosen.jobs) as run:
        numbers = range(chosen.first, chosen.first + chosen.instruments)
        found = run(joblib.delayed(rounds_needed)(n, listen) for n in numbers)
    for k, factor in enumerate(FACTORS):
        one, two = (100 * np.mean([each[k][after] for each in found]) for after in (0, 1))
        late = sorted(
            {
                list(KINDS)[n % len(KINDS)]
                for n, each in zip(numbers, found, strict=True)
                if not each[k][1]
            }
        )
        print(f"| {factor} | {one:.1f} % | {two:.1f} % | {', '.join(late) or '-'} |", flush=True)


if __name__ == "__main__":
    main()
