"""A tone as measured -> the values that are kept of it, and the words for them."""

from __future__ import annotations

from analyzer.errors import some_of
from analyzer.lot.station_check.model import Value
from analyzer.lot.station_check.tone import Tone

PITCH, CHANNEL = "pitch_cents", "channel"
WHAT_IT_FINDS = (
    "A tone finds the recorder's clock and chain, not what an instrument meets. It cannot tell "
    "the recorder's clock from the source's own: hold a change against a second source before "
    "blaming either. Errors at the 12th fret are ratios of two notes, in which a clock that is "
    "merely wrong cancels; open pitches are not."
)
_NOT_STEADY = "the tone dies away or swells while recorded, as a fork's does: no level to compare"


def tone_values(tone: Tone) -> tuple[Value, ...]:
    """Everything that is kept of a check by a tone."""
    level = tone.level_dbfs if tone.steady else None
    return (
        Value(
            PITCH,
            "pitch",
            "cents",
            "charted",
            tone.pitch_cents,
            tone.pitch_standard_uncertainty_cents,
            held=True,
            stated=0.0,
        ),
        Value(
            "level_dbfs",
            "level",
            "dBFS",
            "charted" if tone.steady else "shown",
            level,
            tone.level_standard_uncertainty_db,
            "" if tone.steady else _NOT_STEADY,
        ),
        Value("noise_dbfs", "noise", "dBFS", "charted", tone.noise_dbfs),
        Value("hum_dbfs", "hum", "dBFS", "charted", tone.hum_dbfs),
        Value("distortion_db", "distortion", "dB", "charted", tone.distortion_db),
        Value("offset_percent", "offset", "% of full scale", "charted", tone.offset_percent),
        Value("breaks", "breaks", "", "fault", len(tone.breaks), remark=_breaks(tone)),
        Value("clipped_percent", "clipped", "%", "fault", 100 * tone.clipped_share),
        Value("rate_hz", "sample rate", "Hz", "setting", tone.rate_hz),
        Value("channels", "channels", "", "setting", tone.channels),
        Value(CHANNEL, "channel", "", "shown", tone.channel),
    )


def tone_told(tone: Tone) -> tuple[tuple[str, str], ...]:
    """What is said of a tone beside its values."""
    ppm_uncertainty = 1e6 * tone.standard_uncertainty_hz / tone.frequency_hz
    return (
        (
            "Frequency",
            (
                f"{tone.frequency_hz:.6f} Hz by the recorder's clock, standard uncertainty "
                f"{tone.standard_uncertainty_hz:.1g} Hz (noise alone allows {tone.bound_hz:.1g} Hz)"
            ),
        ),
        (
            "Clock error",
            (
                f"{tone.clock_error_ppm:+.3f} parts in a million against the stated tone "
                f"(standard uncertainty {ppm_uncertainty:.1g}; positive: the recorder runs fast)"
            ),
        ),
        ("Tone over noise", f"{tone.signal_to_noise_db:.1f} dB"),
        ("Used", f"{tone.used_s:.1f} s of channel {tone.channel} of {tone.channels}"),
        ("It finds", WHAT_IT_FINDS),
    )


def _breaks(tone: Tone) -> str:
    """Where, and how much was lost."""
    period = tone.rate_hz / tone.frequency_hz
    parts = []
    for each in tone.breaks[:3]:
        lost = "a gap"
        if each.lost_samples is not None:
            lost = f"{each.lost_samples:+.1f} samples, give or take whole periods of {period:.1f}"
        parts.append(f"at {each.at_s:.2f} s ({lost})")
    return some_of(parts, len(tone.breaks))
