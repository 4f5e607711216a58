"""Screw threads by their standard designation: how far a turn moves the saddle.

Metric coarse pitches as in ISO 261 / ISO 262; unified threads as in ASME B1.1, whose designation
holds the threads per inch. The coarse pitches M2 to M4 and the sizes 4-40, 6-32 and 8-32 were
checked against tables of general CAD parts after ISO 4762 and ASME B18.3; the others are recalled.
"""

from __future__ import annotations

import re
from typing import Literal

INCH_MM = 25.4
METRIC_COARSE_MM = {
    "M1.6": 0.35,
    "M2": 0.4,
    "M2.5": 0.45,
    "M3": 0.5,
    "M4": 0.7,
    "M5": 0.8,
    "M6": 1.0,
}
UNIFIED_COARSE = {"1-64", "2-56", "3-48", "4-40", "5-40", "6-32", "8-32", "10-24"}
UNIFIED_FINE = {"0-80", "1-72", "2-64", "3-56", "4-48", "5-44", "6-40", "8-36", "10-32"}
_SIZES = sorted(UNIFIED_COARSE | UNIFIED_FINE, key=lambda size: [*map(int, size.split("-"))])
KNOWN_THREADS = (
    f"{', '.join(METRIC_COARSE_MM)}, each also with a finer pitch, and {', '.join(_SIZES)}"
)
FINEST_PITCH_MM = 0.1  # no screw of a saddle is finer; less is a slip of the pen
_UNIFIED = re.compile(r"#?(\d+)-(\d+)(?:\s*(UNC|UNF))?", re.ASCII)
_LEFT_HAND = re.compile(r"\s*-?\s*LH\s*$", re.ASCII | re.IGNORECASE)
_METRIC_FINE = re.compile(r"(M\d+(?:\.\d+)?)\s*[X×]\s*(0?\.\d+|1(?:\.0+)?)", re.ASCII)


def thread_pitch_mm(designation: str) -> float:
    """Advance per turn, mm, of a thread such as ``M3``, ``M3x0.35``, ``6-32`` or ``6-32 UNC``.

    Raises ValueError for a designation that is in neither standard's list, and for a fine pitch
    under 0.1 mm or over the coarse one.

    >>> thread_pitch_mm("M4"), thread_pitch_mm("M3x0.35"), thread_pitch_mm("6-32 UNC")
    (0.7, 0.35, 0.79375)
    >>> thread_pitch_mm("M7")
    Traceback (most recent call last):
    ValueError: 'M7' is not a known thread
    """
    name = designation.strip().upper()
    if name in METRIC_COARSE_MM:
        return METRIC_COARSE_MM[name]
    fine = _METRIC_FINE.fullmatch(name)
    if fine and FINEST_PITCH_MM <= float(fine[2]) <= METRIC_COARSE_MM.get(fine[1], 0):
        return float(fine[2])
    unified = _UNIFIED.fullmatch(name)
    if unified:
        size = f"{unified[1]}-{unified[2]}"
        series = {"UNC": UNIFIED_COARSE, "UNF": UNIFIED_FINE}
        if size in series.get(unified[3], UNIFIED_COARSE | UNIFIED_FINE):
            return INCH_MM / int(unified[2])
    raise ValueError(f"{designation!r} is not a known thread")


def size_and_hand(designation: str) -> tuple[str, Literal["left"] | None]:
    """A designation without its ``LH``, which stands for a left-hand thread, and the hand it names.

    As in ``M3-LH`` and ``6-32 UNC-LH``: ISO 965-1 and ASME B1.1 (recalled, not looked up). Without
    it nothing is said, and a thread is right-hand.

    >>> size_and_hand("M3-LH"), size_and_hand("M3")
    (('M3', 'left'), ('M3', None))
    """
    size, marks = _LEFT_HAND.subn("", designation)
    return size, "left" if marks else None
