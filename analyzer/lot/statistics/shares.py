"""The yield: how many of the lot conform."""

from __future__ import annotations

from scipy.special import betaincinv

from analyzer.lot.statistics.figure import CONFIDENCE, Figure

_METHOD = "share that conforms"
_INTERVAL = "exact binomial (Clopper and Pearson)"


def conforming_share(conforming: int, count: int, confidence: float = CONFIDENCE) -> Figure:
    """The yield, 0 to 1, with the exact interval of C. J. Clopper and E. S. Pearson (1934).

    Its coverage is at least ``confidence`` whatever the true yield. ValueError unless
    0 <= conforming <= count.
    """
    if not 0 <= conforming <= count:
        raise ValueError(f"{conforming} conforming of {count}")
    if not count:
        return Figure(_METHOD, reason="nothing was decided yet")
    tail, failing = (1 - confidence) / 2, count - conforming
    # The bounds in closed form, as quantiles of beta distributions.
    low = float(betaincinv(conforming, failing + 1, tail)) if conforming else 0.0
    high = float(betaincinv(conforming + 1, failing, 1 - tail)) if failing else 1.0
    return Figure(_METHOD, conforming / count, low, high, confidence, _INTERVAL)
