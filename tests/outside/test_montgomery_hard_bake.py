"""X-bar and R charts and capability of a worked example, 25 subgroups of 5 (``hard_bake``).

Once by the statistics themselves, once through the frames of a lot into the summary's JSON: that a
lot's rows reach them in the right order and groups, and leave under the right name. The printed
numbers are from memory, and the ones computed from the data agree with them.
"""

from __future__ import annotations

import json

import numpy as np
import pytest
from hard_bake import MONTGOMERY, WIDTHS
from lot_figures import hard_bake_capability, hard_bake_charts, spread_of
from made_lot_frames import START_S, Made, frames, shuffled, specification

from analyzer.lot.output.summary_json import as_json
from analyzer.lot.statistics.run_rules import (
    violations,
)

pytestmark = pytest.mark.source(MONTGOMERY, "published formula", "control limits and capability")


def test_hard_bake_mean_and_range_are_the_published_ones() -> None:
    """Computed; the book prints 1.5056, 1.69325, 1.31795, 0.32521, 0.68749 (from memory).

    The book's factors are rounded to three digits (A2 .577, D4 2.114), hence the tolerance.
    """
    found = hard_bake_charts()
    mean, scatter = found.location, found.scatter
    assert mean.centres[0] == pytest.approx(1.5056104, abs=5e-8)
    assert mean.upper_limits[0] == pytest.approx(1.693255, abs=1e-4)
    assert mean.lower_limits[0] == pytest.approx(1.317965, abs=1e-4)
    assert scatter.centres[0] == pytest.approx(0.325208, abs=5e-7)
    assert scatter.upper_limits[0] == pytest.approx(0.687490, abs=2e-4)
    assert scatter.lower_limits[0] == 0
    assert len(mean.points) == len(scatter.points) == 25
    assert violations(mean) == violations(scatter) == ()  # the book: in control (from memory)


def test_hard_bake_mean_and_s_use_the_published_factors() -> None:
    """s-bar 0.1315546 (computed) with A3 1.42730, B3 0, B4 2.08900 of the published table."""
    found = hard_bake_charts("sd")
    assert found.scatter.centres[0] == pytest.approx(0.1315546, abs=5e-8)
    assert found.scatter.upper_limits[0] == pytest.approx(2.08900 * 0.1315546, abs=2e-6)
    assert found.scatter.lower_limits[0] == 0
    for limits, sign in ((found.location.upper_limits, 1), (found.location.lower_limits, -1)):
        assert limits[0] == pytest.approx(1.5056104 + sign * 1.42730 * 0.1315546, abs=2e-6)


def test_hard_bake_capability_is_the_published_one() -> None:
    """Computed from the data; the book prints Cp 1.192 (from memory)."""
    found = hard_bake_capability()
    assert spread_of(found.within).sigma == pytest.approx(0.139814, abs=5e-5)  # book's d2 2.326
    assert spread_of(found.overall).sigma == pytest.approx(0.1332335, abs=5e-8)
    assert found.cp.value == pytest.approx(1.19206, abs=5e-5)
    assert found.cpk.value == pytest.approx(1.17868, abs=5e-5)
    assert found.pp.value == pytest.approx(1.25094, abs=5e-6)
    assert found.ppk.value == pytest.approx(1.23690, abs=5e-6)


def test_hard_bake_from_s() -> None:
    """s-bar 0.1315546 computed, over the published c4 of five."""
    found = hard_bake_capability("sd")
    assert spread_of(found.within).sigma == pytest.approx(0.1315546 / 0.93999, abs=1e-6)
    assert "s-bar/c4" in found.cp.method
    assert "R-bar/d2" in hard_bake_capability().cp.method
    assert "overall s" in found.pp.method


@pytest.fixture(scope="module")
def hard_bake() -> dict:
    """125 instruments of one string, one after the other: 25 subgroups of 5; limits 1.5 +- 0.5."""
    spec = specification(1.0, 2.0, 1.5)
    made = [
        Made(f"{n:03d}", {("error_cents", 1): width}, u=0.01, at_s=START_S + 60 * n)
        for n, width in enumerate(WIDTHS.ravel())
    ]
    return json.loads(as_json(shuffled(frames(made, spec)).summary(spec)))


@pytest.mark.source(MONTGOMERY, "published formula", "the same of a lot, in its JSON")
def test_hard_bake_charts_are_the_published_ones(hard_bake) -> None:
    """Computed; the book prints 1.5056, 1.69325, 1.31795, 0.32521 and 0.68749 (from memory)."""
    (chart,) = hard_bake["control"]["charts"]
    mean, scatter = chart["location"], chart["scatter"]
    (limits,), (spread,) = mean["limits"], scatter["limits"]
    assert (mean["drawn"], scatter["drawn"]) == ("mean", "range")
    assert limits["centre_cents"] == pytest.approx(1.5056104, abs=5e-8)
    assert limits["upper_cents"] == pytest.approx(1.693255, abs=1e-4)
    assert limits["lower_cents"] == pytest.approx(1.317965, abs=1e-4)
    assert spread["centre_cents"] == pytest.approx(0.325208, abs=5e-7)
    assert spread["upper_cents"] == pytest.approx(0.687490, abs=2e-4)
    assert spread["lower_cents"] == 0
    assert mean["points_cents"] == pytest.approx(WIDTHS.mean(axis=1).tolist())
    assert scatter["points_cents"] == pytest.approx(np.ptp(WIDTHS, axis=1).tolist())
    first = hard_bake["control"]["subgroups"][0]
    assert (first["first_serial"], first["last_serial"]) == ("000", "004")
    assert "beyond limits" not in {each["rule"] for each in mean["signals"]}
    assert scatter["signals"] == []


@pytest.mark.source(MONTGOMERY, "published formula", "the same of a lot, in its JSON")
def test_capability_of_the_lot_is_the_published_one(hard_bake) -> None:
    """Computed with sigma = R-bar / 2.326; the book prints Cp 1.192 (from memory)."""
    (judged,) = hard_bake["judged"]
    found = judged["capability"]
    values = {"cp": 1.19206, "cpk": 1.17868, "pp": 1.25094, "ppk": 1.23690}
    for name, value in values.items():
        assert found[name]["value"] == pytest.approx(value, abs=1e-4)
        assert found[name]["lower"] < value < found[name]["upper"]
    assert "R-bar/d2" in found["cp"]["method"]
    assert "overall s" in found["pp"]["method"]
    assert found["overall"]["result"]["sigma_cents"] == pytest.approx(0.1332335, abs=5e-8)


@pytest.mark.source(MONTGOMERY, "published formula", "the measurement's share of a lot's scatter")
def test_hard_bake_without_the_measurements_share(hard_bake) -> None:
    """By hand: s^2 - u^2 = 0.1332335^2 - 0.01^2; C_m = T / (4 u) (JCGM 106:2012, 7.6.3)."""
    found = hard_bake["judged"][0]["measuring"]["result"]
    left = (0.1332335**2 - 0.01**2) ** 0.5
    assert found["process_sd_cents"] == pytest.approx(left, abs=1e-7)
    assert found["share_percent"] == pytest.approx(100 * (0.01 / 0.1332335) ** 2, rel=1e-5)
    assert found["capability_index"] == pytest.approx(1.0 / (4 * 0.01))
    assert found["process_pp"]["value"] == pytest.approx(1 / (6 * left), rel=1e-6)


@pytest.mark.source(MONTGOMERY, "from memory", "the figures that the book prints")
def test_what_the_book_prints() -> None:
    charts, found = hard_bake_charts(), hard_bake_capability()
    assert charts.location.centres[0] == pytest.approx(1.5056, abs=5e-5)
    assert charts.scatter.centres[0] == pytest.approx(0.32521, abs=5e-6)
    # The book's A2 .577 and D4 2.114 are rounded: 0.0002 and 0.0005 times R-bar.
    assert charts.location.upper_limits[0] == pytest.approx(1.69325, abs=1e-4)
    assert charts.location.lower_limits[0] == pytest.approx(1.31795, abs=1e-4)
    assert charts.scatter.upper_limits[0] == pytest.approx(0.68749, abs=2e-4)
    assert found.cp.value == pytest.approx(1.192, abs=5e-4)
