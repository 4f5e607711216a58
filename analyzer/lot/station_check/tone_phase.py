r"""The frequency of a steady tone, from its phase: least squares, near the least that noise allows.

The recording is taken down to zero frequency in overlapping windows,

    z_b = sum over n of w_n x_n exp(-i omega t_n),                                       (1)

whose side lobes (92 dB down: F. J. Harris, Proc. IEEE 66, 51, 1978) keep harmonics, hum and
offset out. Near the true omega the part of z across its own direction is linear in what is wrong,

    Im(z_b e^{-i theta_s}) = a_b (d theta_s + t_b d omega) + noise,                      (2)

with a_b the amplitude there and a phase theta_s for each stretch s between breaks. Solved and
repeated, that is maximum likelihood for a tone of slowly changing amplitude in noise that is white
about the tone, of density S (one-sided, full scale squared per Hz). With X the columns of (2),

    cov = S / h (X^T X)^-1,                                                              (3)

h the step of the windows; for a steady tone of amplitude A and length T this is the Cramer-Rao
bound of a real tone (D. C. Rife and R. R. Boorstyn, IEEE Trans. IT-20, 591, 1974, for the complex
one),

    var(f) >= 3 S / (pi^2 A^2 T^3),                                                      (4)

times what the tapered ends cost, some 10 %. A source that wanders is known less well: the slowest
part of what (2) leaves over, terms 2 to 5 of its cosine transform c, stands for S / h in (3) where
it is the larger. Where it is so by far, the wander is taken for a random walk of the phase. Of n
windows and steps of variance s^2, that has c_k^2 = n^2 s^2 / (pi k)^2 and shifts the slope by
6 s^2 / 5 n (its variance), as S / h = n^2 s^2 / 10 would, which is 8.5 times the mean of these c^2.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.fft import dct
from scipy.signal.windows import blackmanharris

from analyzer.lot.station_check.thresholds import LEAST_COHERENCE

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]
_WINDOWS = 20  # in the length of the tone, end to end
_OVERLAP = 4  # windows at any place; they add up to a constant
_ZERO_PADDING = 16
_ROUNDS = 6
_SLOW_TERMS = slice(2, 6)  # the first two are what the fit takes
_SURE_WANDER = 4.6  # over the noise: chi-square of four terms, once in a thousand by chance
_RANDOM_WALK = 8.5  # see above


@dataclass(frozen=True)
class ToneFit:
    """``frequency_hz`` by the recorder's clock, with its standard uncertainty.

    ``bound_hz``: equation (4), the least standard uncertainty that noise allows. ``amplitude``,
    full scale = 1; ``change_db``: from the first quarter of the tone to its last. ``coherence``, 0
    to 1: how far the tone keeps to one frequency.
    """

    frequency_hz: float
    standard_uncertainty_hz: float
    bound_hz: float
    amplitude: float
    change_db: float
    coherence: float

    @property
    def steady_pitch(self) -> bool:
        return self.coherence >= LEAST_COHERENCE


@dataclass(frozen=True)
class _Base:
    """z of equation (1) at ``times_s`` (n,), the middles of windows a ``step_s`` apart."""

    z: Complex
    times_s: Real
    step_s: float
    window_s: float


def cramer_rao_hz(noise_density: float, amplitude: float, length_s: float) -> float:
    """Equation (4) as a standard uncertainty. ``noise_density``: one-sided, per Hz."""
    return math.sqrt(3 * noise_density / (math.pi**2 * amplitude**2 * length_s**3))


def fit_tone(
    samples: Real, rate_hz: float, near_hz: float, noise_density: float, breaks_s: Sequence[float]
) -> ToneFit:
    """The tone near ``near_hz`` (within a few Hz) in samples (n,), whole at the ``breaks_s``.

    ``breaks_s``: seconds from the first sample at which its phase jumps. ``noise_density``: of the
    noise about the tone, full scale squared per Hz, one-sided.
    """
    base = _down(samples, rate_hz, near_hz)
    stretches, used = _stretches(base, breaks_s)
    omega = _coarse(base, stretches, used)
    turned, omega = _refined(base, stretches, used, omega)
    across, along = turned.imag[used], turned.real[used]
    columns = _columns(along, base.times_s[used], stretches[used])
    variance = _slow_variance(across, noise_density / base.step_s)
    covariance = variance * np.linalg.pinv(columns.T @ columns)
    amplitude = float(np.median(along))
    bound_hz = cramer_rao_hz(noise_density, amplitude, samples.size / rate_hz)
    return ToneFit(
        near_hz + omega / (2 * math.pi),
        max(math.sqrt(float(covariance[0, 0])) / (2 * math.pi), bound_hz),
        bound_hz,
        amplitude,
        _change_db(along),
        float(along @ np.abs(turned[used]) / np.sum(np.abs(turned[used]) ** 2)),
    )


def _down(samples: Real, rate_hz: float, near_hz: float) -> _Base:
    """Equation (1), scaled so that |z| is the amplitude."""
    step = max(1, samples.size // (_WINDOWS * _OVERLAP))
    size = _OVERLAP * step
    window = blackmanharris(size, sym=False)
    kernel = window * np.exp(-2j * np.pi * near_hz / rate_hz * np.arange(size))
    kernel *= 2 / np.sum(window)
    starts = np.arange(0, samples.size - size + 1, step)
    z = np.array([samples[start : start + size] @ kernel for start in starts])
    z *= np.exp(-2j * np.pi * near_hz / rate_hz * starts)
    middles_s: Real = np.asarray((starts + (size - 1) / 2) / rate_hz, dtype=np.float64)
    return _Base(z, middles_s, step / rate_hz, size / rate_hz)


def _stretches(
    base: _Base, breaks_s: Sequence[float]
) -> tuple[NDArray[np.intp], NDArray[np.bool_]]:
    """The stretch in which each window lies, and whether it holds no break and has neighbours."""
    breaks = np.sort(np.asarray(breaks_s, dtype=float))
    stretches = np.searchsorted(breaks, base.times_s)
    used = np.ones(base.z.size, dtype=bool)
    for at_s in breaks:
        used &= np.abs(base.times_s - at_s) > base.window_s / 2
    counts = np.bincount(stretches[used], minlength=breaks.size + 1)
    used &= counts[stretches] >= 2
    if np.sum(used) < 4:  # as many breaks as windows: the caller has said so already
        used[:] = True
    return stretches, used


def _coarse(base: _Base, stretches: NDArray[np.intp], used: NDArray[np.bool_]) -> float:
    """Where the longest stretch has its highest line, rad/s from where (1) took it down to."""
    longest = np.argmax(np.bincount(stretches[used]))
    z = base.z[used & (stretches == longest)]
    size = _ZERO_PADDING * z.size
    place = int(np.argmax(np.abs(np.fft.fft(z, size))))
    return float(2 * math.pi * np.fft.fftfreq(size, base.step_s)[place])


def _refined(
    base: _Base, stretches: NDArray[np.intp], used: NDArray[np.bool_], omega: float
) -> tuple[Complex, float]:
    """Equation (2), repeated: z turned to lie along the real axis, and omega."""
    phases = np.zeros(int(stretches.max()) + 1)
    members = np.unique(stretches[used])
    turned = base.z * np.exp(-1j * omega * base.times_s)
    for stretch in members:
        phases[stretch] = np.angle(np.sum(turned[used & (stretches == stretch)]))
    for _ in range(_ROUNDS):
        turned = base.z * np.exp(-1j * (omega * base.times_s + phases[stretches]))
        part = turned[used]
        columns = _columns(np.abs(part.real), base.times_s[used], stretches[used])
        found = np.linalg.lstsq(columns, part.imag, rcond=None)[0]
        omega += float(found[0])
        phases[members] += found[1:] - found[0] * _middle(base.times_s[used])
    turned = base.z * np.exp(-1j * (omega * base.times_s + phases[stretches]))
    return turned, omega


def _columns(amplitudes: Real, times_s: Real, stretches: NDArray[np.intp]) -> Real:
    """What stands beside d omega, then beside each d theta, in equation (2)."""
    own = [np.where(stretches == each, amplitudes, 0.0) for each in np.unique(stretches)]
    return np.column_stack([amplitudes * (times_s - _middle(times_s)), *own])


def _middle(times_s: Real) -> float:
    return float(np.mean(times_s))


def _slow_variance(across: Real, of_noise: float) -> float:
    """What stands for S / h in (3), given what the noise alone makes of it."""
    terms = dct(across, norm="ortho")[_SLOW_TERMS]
    slow = float(np.mean(terms**2)) if terms.size else 0.0
    return _RANDOM_WALK * slow if slow > _SURE_WANDER * of_noise else max(slow, of_noise)


def _change_db(along: Real) -> float:
    quarter = max(1, along.size // 4)
    first, last = (abs(float(np.median(part))) for part in (along[:quarter], along[-quarter:]))
    return 20 * math.log10(max(last, 1e-12) / max(first, 1e-12))
