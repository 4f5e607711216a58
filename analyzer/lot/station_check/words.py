"""What is said of a characteristic: its figures, and what to do when it has changed."""

from __future__ import annotations

import math

from analyzer.lot.station_check.thresholds import LEAST_SIGMA

_REMEDIES = {
    "pitch_cents": "Check with a second source; if that agrees, the recorder's clock has changed: "
    "compare open pitches with no earlier ones, and have the recorder seen to",
    "level_dbfs": "Check gain, source and placing, and check again",
    "noise_dbfs": "Listen for what is new in the room; check gain, cables and microphone",
    "hum_dbfs": "Look for a bad earth, cable or mains adapter nearby; leave mains wiring to an "
    "electrician",
    "distortion_db": "Lower the level and check again; then check source, microphone and input",
    "offset_percent": "Check the input, and have the recorder seen to if it stays",
    "breaks": "Samples are lost: larger buffers, no other work on the computer, one clock for "
    "all devices; then check again",
    "clipped_percent": "Lower the level until nothing is clipped, and check again",
    "rate_hz": "Set the rate back, or begin a new baseline with --new-baseline",
    "channels": "Set the channels back, or begin a new baseline with --new-baseline",
}
_OF_STRING = (
    "Check again with care for placing, plucking and fretting; if it stays, check the chain with "
    "a tone, and the instrument by another"
)


def remedy_of(key: str) -> str:
    """What to do where this characteristic has changed or could not be had."""
    return _REMEDIES.get(key, _OF_STRING)


def figure(value: float, unit: str, against: float | None = None) -> str:
    """A value with its unit, to two digits of ``against`` (by default of what matters).

    >>> figure(-20.504, "dBFS")
    '-20.50 dBFS'
    """
    least = LEAST_SIGMA.get(unit)
    if against:
        decimals = max(0, 1 - math.floor(math.log10(abs(against) / 10)))
    else:
        decimals = 0 if least is None else max(0, -math.floor(math.log10(least)))
    if not unit and not against:
        return f"{value:g}"
    text = f"{value:.{min(decimals, 6)}f}" if least is not None or against else f"{value:.6g}"
    return f"{text} {unit}".strip()
