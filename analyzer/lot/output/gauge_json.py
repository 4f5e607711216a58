"""Measurement system analysis as values for JSON."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from analyzer.lot.output.statistics_json import or_reason
from analyzer.lot.statistics.figure import NotGiven
from analyzer.lot.statistics.gauge_anova import GaugeAnova
from analyzer.lot.statistics.gauge_model import GaugeShare, GaugeShares
from analyzer.lot.statistics.gauge_range import GaugeRange
from analyzer.lot.summing.summary_model import GaugeStudy

_SOURCES = ("repeatability", "operator", "interaction", "reproducibility", "gauge", "part", "total")


def gauge_as_value(found: Sequence[GaugeStudy] | NotGiven) -> dict[str, Any]:
    """All studies, or why there is none."""
    if isinstance(found, NotGiven):
        return {"reason": found.reason, "studies": []}
    return {"reason": None, "studies": [_study(each) for each in found]}


def _study(each: GaugeStudy) -> dict[str, Any]:
    return {
        "characteristic": each.characteristic,
        "string": each.string,
        "parts": each.parts,
        "unused_parts": each.unused_parts,
        "operators": list(each.operators),
        "operators_are": each.operators_are,
        "tolerance_width_cents": each.tolerance_width,
        "caution": each.caution,
        "anova": or_reason(each.anova, _anova),
        "average_and_range": or_reason(each.average_and_range, _range),
    }


def _anova(found: GaugeAnova) -> dict[str, Any]:
    return {
        "table": [
            {
                "source": row.source,
                "squares_cents2": row.squares,
                "freedom": row.freedom,
                "mean_square_cents2": row.mean_square,
                "f": row.f,
                "p": row.p,
            }
            for row in found.table
        ],
        "interaction_p": found.interaction_p,
        "pooled": found.pooled,
        "unused": found.unused,
        "shares": _shares(found.shares),
    }


def _range(found: GaugeRange) -> dict[str, Any]:
    return {
        "mean_range_cents": found.mean_range,
        "part_range_cents": found.part_range,
        "range_limit_cents": found.range_limit,
        "by_operator": [
            {
                "operator": each.operator,
                "mean_cents": each.mean,
                "mean_range_cents": each.mean_range,
            }
            for each in found.by_operator
        ],
        "beyond": [{"part": part, "operator": operator} for part, operator in found.beyond],
        "unused": found.unused,
        "shares": _shares(found.shares),
    }


def _shares(shares: GaugeShares) -> dict[str, Any]:
    return {
        **{name: _share(getattr(shares, name)) for name in _SOURCES},
        "categories": shares.categories,
    }


def _share(share: GaugeShare | None) -> dict[str, Any] | None:
    if share is None:
        return None
    return {
        "variance_cents2": share.variance,
        "sd_cents": share.sd,
        "contribution_percent": share.contribution_percent,
        "study_percent": share.study_percent,
        "tolerance_percent": share.tolerance_percent,
    }
