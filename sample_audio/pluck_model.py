"""A plucked stiff string as a sum of decaying partials, for signals whose truth is known.

The model follows published physics and nothing in ``analyzer``:

* partial k sounds at ``k f0 sqrt(1 + B k^2)`` (H. Fletcher, J. Acoust. Soc. Am. 36, 203, 1964);
* an ideal string plucked at the fraction p of its length starts with displacement amplitudes
  ``sin(k pi p) / k^2`` (P. Morse, Vibration and Sound, 1948; recalled, not looked up); a pickup
  of velocity sees them times k;
* each partial decays by itself, the higher ones faster;
* the note starts sharp by ``glide_cents`` and settles: as an exponential of its own, or with the
  string's decaying energy (tension modulation goes with the square of the slope, that is with the
  sum of ``k^2`` times the squared displacement amplitudes).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Signal = NDArray[np.float64]


@dataclass(frozen=True)
class PluckModel:
    """What is plucked. ``f1_hz`` is the settled frequency of the first partial: the truth."""

    f1_hz: float
    stiffness: float = 5e-5  # B
    glide_cents: float = 4.0  # sharpness at the onset
    glide_time_s: float | None = 0.2  # None: tied to the decaying energy
    decay_s: float = 1.6  # amplitude time constant of the first partial
    decay_growth: float = 0.05  # partial k decays (1 + growth (k^2 - 1)^(1/2)) times as fast
    pluck_position: float = 0.19  # fraction of the string's length
    n_partials: int = 24
    first_partial_db: float = 0.0  # level change of the first partial
    partial_scatter_cents: float = 0.0  # standard deviation, partials above the first
    polarisation_split_cents: float = 0.0  # a second, weaker polarisation this much sharper
    attack_s: float = 0.003
    pick_noise: float = 0.05  # burst at the attack, against the note's peak


def partial_frequencies_hz(model: PluckModel) -> Signal:
    """Settled frequencies of the partials, shape (n_partials,), Hz (Fletcher 1964)."""
    k = np.arange(1, model.n_partials + 1)
    b = model.stiffness
    return np.asarray(k * model.f1_hz * np.sqrt((1 + b * k**2) / (1 + b)))


def _envelopes(model: PluckModel, t_s: Signal) -> Iterator[Signal]:
    """Of one partial after another: all at once they take 25 MB, and longer."""
    k = np.arange(1, model.n_partials + 1)
    amplitude = np.abs(np.sin(k * np.pi * model.pluck_position)) / k
    amplitude[0] *= 10 ** (model.first_partial_db / 20)
    rate = (1 + model.decay_growth * np.sqrt(k**2 - 1)) / model.decay_s
    for at_onset, falling in zip(amplitude, rate, strict=True):
        yield at_onset * np.exp(-t_s * falling)


def glide_shape(model: PluckModel, t_s: Signal) -> Signal:
    """The glide against its size at the onset: 1 at ``t_s`` = 0, falling to 0."""
    if model.glide_time_s is not None:
        return np.asarray(np.exp(-t_s / model.glide_time_s))
    # Velocity amplitudes: k^2 is in them.
    energy, at_onset = (sum(each**2 for each in _envelopes(model, t)) for t in (t_s, np.zeros(1)))
    return np.asarray(energy / at_onset)


def early_drift_cents(model: PluckModel) -> float:
    """Settled pitch less the mean pitch from 0.1 s to 0.3 s after the onset, cents."""
    t_s = np.linspace(0.1, 0.3, 2001)
    return float(-model.glide_cents * np.mean(glide_shape(model, t_s)))


def pluck(model: PluckModel, duration_s: float, rate_hz: int, rng: np.random.Generator) -> Signal:
    """The sounding note, shape (duration_s * rate_hz,), peak 1, onset at sample 0."""
    t_s = np.arange(round(duration_s * rate_hz)) / rate_hz
    cents = model.glide_cents * glide_shape(model, t_s)
    stretched_s = np.cumsum(2 ** (cents / 1200)) / rate_hz  # the integral of f(t)/f_settled
    out = np.zeros_like(t_s)
    spread = rng.normal(0, model.partial_scatter_cents, model.n_partials)
    spread[0] = 0.0
    frequencies = partial_frequencies_hz(model) * 2 ** (spread / 1200)
    for envelope, f_hz in zip(_envelopes(model, t_s), frequencies, strict=True):
        if f_hz > 0.47 * rate_hz:
            continue
        out += envelope * np.sin(2 * np.pi * f_hz * stretched_s + rng.uniform(0, 2 * np.pi))
        if model.polarisation_split_cents:
            second_hz = f_hz * 2 ** (model.polarisation_split_cents / 1200)
            phase = 2 * np.pi * second_hz * stretched_s + rng.uniform(0, 2 * np.pi)
            out += 0.4 * envelope * np.exp(-0.3 * t_s / model.decay_s) * np.sin(phase)
    out *= 1 - np.exp(-t_s / model.attack_s)
    out /= np.max(np.abs(out))
    out += model.pick_noise * rng.standard_normal(t_s.size) * np.exp(-t_s / 0.004)
    return out


def recording(
    model: PluckModel,
    rng: np.random.Generator,
    *,
    duration_s: float = 3.0,
    silence_s: float = 0.25,
    rate_hz: int = 44100,
    snr_db: float = 55.0,
    hum_hz: float = 0.0,
    hum_dbfs: float = -40.0,
    peak: float = 0.5,
) -> Signal:
    """A take: silence, then the pluck, then noise over all of it.

    ``snr_db`` is the root mean square of the note's first half second against the white noise's.
    The mains hum holds the fundamental and two weaker harmonics.
    """
    note = pluck(model, duration_s, rate_hz, rng) * peak
    take = np.concatenate([np.zeros(round(silence_s * rate_hz)), note])
    loud = np.sqrt(np.mean(note[: rate_hz // 2] ** 2))
    take += rng.normal(0, loud * 10 ** (-snr_db / 20), take.size)
    if hum_hz:
        t_s = np.arange(take.size) / rate_hz
        for harmonic, level in ((1, 1.0), (2, 0.3), (3, 0.2)):
            angle = 2 * np.pi * hum_hz * harmonic * t_s + rng.uniform(0, 2 * np.pi)
            take += 10 ** (hum_dbfs / 20) * level * np.sin(angle)
    return take
