"""Figures as text, rounded to what is known of them.

A value is rounded to the last place of its uncertainty, and that to one significant digit, or to
two where it begins with 1.00 to 3.54: the rule of the Particle Data Group (Review of Particle
Physics, Introduction, "Rounding"; recalled), which keeps within JCGM 100:2008, 7.2.6.
"""

from __future__ import annotations

import math

from analyzer.music import CENTS_PER_NEPER

MINUS = "\N{MINUS SIGN}"  # screen readers pass over a hyphen
NOT_HAD = "\N{EN DASH}"
MOST_DECIMALS = 3  # finer than any bench needs; an interval is then shown wider than it is
_TWO_DIGITS_TO = 354
_SUPERSCRIPTS = str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹")


def decimals_for(half_width: float, most: int = MOST_DECIMALS) -> int:
    """Decimal places that an uncertainty allows, from 0 to ``most``."""
    if not math.isfinite(half_width) or half_width <= 0:
        return most
    digits, exponent = f"{half_width:.2e}".split("e")
    kept = 2 if int(digits.replace(".", "")) <= _TWO_DIGITS_TO else 1
    return min(max(kept - 1 - int(exponent), 0), most)


def signed(value: float, decimals: int = 1) -> str:
    """With its sign; what rounds to nothing has none."""
    size = f"{abs(value):.{decimals}f}"
    if float(size) == 0:
        return size
    return f"{'+' if value > 0 else MINUS}{size}"


def plain(value: float, decimals: int) -> str:
    """With a sign only where it is negative."""
    return signed(value, decimals).removeprefix("+")


def half_width_text(half_width: float, decimals: int) -> str:
    """Never shown as nothing."""
    return f"{max(half_width, 10.0**-decimals):.{decimals}f}"


def with_interval(
    value: float | None, half_width: float | None, most: int = MOST_DECIMALS
) -> str | None:
    """A signed value and the half-width of its interval; None where either could not be had."""
    if value is None or half_width is None:
        return None
    decimals = decimals_for(half_width, most)
    return f"{signed(value, decimals)} ± {half_width_text(half_width, decimals)}"


def unsigned_with_interval(
    value: float | None, half_width: float | None, most: int = MOST_DECIMALS
) -> str | None:
    """The same of a size or a frequency."""
    text = with_interval(value, half_width, most)
    return None if text is None else text.removeprefix("+")


def hz_with_interval(hz: float, half_width_cents: float, most: int = MOST_DECIMALS) -> str | None:
    """A frequency and the half-width of its interval, both in Hz; the latter is given in cents."""
    return unsigned_with_interval(hz, hz * half_width_cents / CENTS_PER_NEPER, most)


def scientific(value: float | None, half_width: float | None) -> str | None:
    """A small number as a multiple of a power of ten."""
    if value is None or half_width is None or value == 0:
        return None
    exponent = math.floor(math.log10(abs(value)))
    unit = 10.0**exponent
    text = with_interval(value / unit, half_width / unit)
    return f"({str(text).removeprefix('+')}) × 10{str(exponent).translate(_SUPERSCRIPTS)}"


def sharp_or_flat(error_cents: float, half_width: float) -> str:
    """What the sign of an error means."""
    if abs(error_cents) <= half_width:
        return "in tune as far as can be told"
    return "sharp" if error_cents > 0 else "flat"
