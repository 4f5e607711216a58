"""The yield: how many of the lot conform."""

from __future__ import annotations

from analyzer.lot.statistics.figure import CONFIDENCE, Figure

_METHOD = "share that conforms"
_INTERVAL = "exact binomial (Clopper and Pearson)"


def conforming_share(conforming: int, count: int, confidence: float = CONFIDENCE) -> Figure:
    """The yield, 0 to 1, with the exact interval of C. J. Clopper and E. S. Pearson (1934).

    Its coverage is at least ``confidence`` whatever the true yield. ValueError unless
    0 <= conforming <= count.
    """
    from scipy.stats import binomtest

    if not 0 <= conforming <= count:
        raise ValueError(f"{conforming} conforming of {count}")
    if not count:
        return Figure(_METHOD, reason="nothing was decided yet")
    bounds = binomtest(conforming, count).proportion_ci(confidence, method="exact")
    low, high = float(bounds.low), float(bounds.high)
    return Figure(_METHOD, conforming / count, low, high, confidence, _INTERVAL)
