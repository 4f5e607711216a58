"""A lot's summary: against lots whose truth is known, and of lots with little in them."""

from __future__ import annotations

import json
import math
from typing import Any

import numpy as np
import pandas as pd
import pytest
from jsonschema import Draft202012Validator
from made_lot_frames import DAY_S, START_S, Made, frames, left_out, specification
from scipy import stats

from analyzer.lot.judgement.specification import DecisionRule
from analyzer.lot.output.summary_json import as_json
from analyzer.lot.output.words import verdict_of_lot
from analyzer.lot.records import Fault
from analyzer.lot.statistics.figure import NotGiven
from analyzer.lot.statistics.trend import Trend
from analyzer.lot.summing.summary_model import LotSummary
from analyzer.schemas import schema_text

VALIDATOR = Draft202012Validator(json.loads(schema_text("lot")))
ERROR, PITCH, DRIFT = "error_cents", "open_pitch_cents", "open_drift_cents"


def body_of(summary: LotSummary) -> dict:
    """The JSON, held to its schema."""
    body = json.loads(as_json(summary))
    assert [f"{each.json_path}: {each.message}" for each in VALIDATOR.iter_errors(body)] == []
    return body


def normal_lot(count, seed=7, mean=0.0, sd=1.0, strings=(2, 1), u=0.1, **more: Any) -> list[Made]:
    rng = np.random.default_rng(seed)
    return [
        Made(
            f"{n:05d}",
            {(ERROR, string): float(rng.normal(mean, sd)) for string in strings},
            u=u,
            at_s=START_S + 600.0 * n,
            **more,
        )
        for n in range(count)
    ]


# What is counted.


def test_counts_and_yield_by_hand() -> None:
    spec = specification()
    made = [
        Made("a", {(ERROR, 1): 0.0}, at_s=START_S),
        Made("b", {(ERROR, 1): 9.0}, at_s=START_S + 60, left_out=2),
        Made("c", {(ERROR, 1): 3.0}, at_s=START_S + 120),
        Made("d", {(ERROR, 1): math.nan}),
        Made("e", {(ERROR, 1): 1.0}, at_s=START_S - 600),
        Made("e", {(ERROR, 1): 9.0}, at_s=START_S - 900, latest=False),
    ]
    found = frames(made, spec).summary(spec, faults=[Fault("f", "Bad.")], warnings=["Mind."])
    counts = found.counts
    assert (counts.sessions, counts.instruments) == (6, 5)
    assert (counts.conform, counts.not_conform, counts.not_decided) == (2, 1, 2)
    assert (counts.not_measured, counts.faults, counts.untimed) == (1, 1, 1)
    assert (counts.recordings, counts.left_out) == (24, 2)
    assert found.conforming_share.value == pytest.approx(2 / 3)
    exact = stats.binomtest(2, 3).proportion_ci(0.95, method="exact")
    assert (found.conforming_share.lower, found.conforming_share.upper) == pytest.approx(
        (exact.low, exact.high)
    )
    assert found.span is not None
    assert found.span.first == pd.to_datetime(START_S - 600, unit="s")
    assert found.span.last == pd.to_datetime(START_S + 120, unit="s")
    assert found.not_conform == 1
    body = body_of(found)
    assert body["verdict"] == (
        "Of 5 instruments, 2 conform, 1 does not and 2 are not decided (1 for want of a "
        "measurement); 1 fault."
    )
    (judged,) = body["judged"]
    assert (judged["conform"], judged["not_conform"], judged["not_decided"]) == (2, 1, 2)
    assert judged["not_measured"] == 1


@pytest.mark.parametrize(
    ("cents", "faults", "complete"),
    [(0.0, 0, True), (9.0, 0, True), (3.0, 0, True), (math.nan, 0, False), (0.0, 1, False)],
)
def test_a_lot_is_complete_where_everything_was_had(cents, faults, complete) -> None:
    spec = specification()
    made = [Made("a", {(ERROR, 1): cents}), Made("b", {(ERROR, 1): 0.0})]
    given = [Fault("c", "Bad.")] * faults
    assert frames(made, spec).summary(spec, faults=given).complete is complete


def test_guard_bands_are_those_of_the_median_uncertainty() -> None:
    """1.644854 u inside and outside, one-sided at 95 % (the normal table)."""
    spec = specification(-3.0, 3.0)
    made = [Made(str(n), {(ERROR, 1): 0.0}, u=u) for n, u in enumerate((0.1, 0.2, 0.9), 1)]
    body = body_of(frames(made, spec).summary(spec))
    (judged,) = body["judged"]
    bands = judged["guard_bands"]
    assert judged["median_uncertainty_cents"] == pytest.approx(0.2)
    assert bands["guard_band_cents"] == pytest.approx(0.2 * 1.644854, abs=1e-6)
    assert bands["acceptance"]["upper_cents"] == pytest.approx(3 - 0.2 * 1.644854, abs=1e-6)
    assert bands["rejection"]["lower_cents"] == pytest.approx(-3 - 0.2 * 1.644854, abs=1e-6)
    shared = specification(-3.0, 3.0, rule=DecisionRule("shared risk"))
    (judged,) = body_of(frames(made, shared).summary(shared))["judged"]
    assert judged["guard_bands"]["acceptance"] == {"lower_cents": -3.0, "upper_cents": 3.0}


WRONG = [
    ("a key too many", lambda b: b["judged"][0].update(error=1)),
    ("a key too few", lambda b: b["counts"].pop("faults")),
    ("a yield beyond 1 as text", lambda b: b["conforming_share"].update(value="1.2")),
    ("neither value nor reason", lambda b: b["conforming_share"].update(value=None)),
    ("a chart and a reason", lambda b: b["control"]["charts"][0].update(reason="None.")),
    ("no such characteristic", lambda b: b["judged"][0].update(characteristic="error")),
    ("a share beyond 100 %", lambda b: b["judged"][0]["measuring"]["result"].update(
        share_percent=101.0)),
    ("another schema", lambda b: b.update(schema_version=2)),
]  # fmt: skip


@pytest.mark.parametrize(("what", "edit"), WRONG, ids=[each[0] for each in WRONG])
def test_a_wrong_summary_is_refused_by_the_schema(what, edit) -> None:
    spec = specification()
    body = body_of(frames(normal_lot(20), spec).summary(spec))
    edit(body)
    assert list(VALIDATOR.iter_errors(body)), what


# Risks, with the truth known.


@pytest.mark.parametrize("kind", ["guarded", "shared risk"])
def test_risks_of_a_lot_are_what_really_went_wrong(kind) -> None:
    """True errors spread evenly, so that nothing is known beforehand; two strings to each.

    Of the accepted as many are really bad as stated, of the rejected as many good, within four
    standard deviations of the count.
    """
    rng = np.random.default_rng(12)
    spec = specification(-3.0, 3.0, rule=DecisionRule(kind, 0.8))
    truth = rng.uniform(-6, 6, (2000, 2))
    u = rng.uniform(0.2, 0.8, 2000)
    read = truth + u[:, None] * rng.standard_normal(truth.shape)
    made = [
        Made(f"{n:04d}", {(ERROR, 1): float(one), (ERROR, 2): float(two)}, u=float(u[n]))
        for n, (one, two) in enumerate(read)
    ]
    given = frames(made, spec)
    risk = given.summary(spec).risk
    good = np.all(np.abs(truth) <= 3, axis=1)
    verdicts = given.sessions["verdict"].to_numpy()
    wrongly_in = np.sum((verdicts == "conform") & ~good)
    wrongly_out = np.sum((verdicts == "not conform") & good)
    for expected, happened in (
        (risk.expected_nonconforming_accepted, wrongly_in),
        (risk.expected_conforming_rejected, wrongly_out),
    ):
        assert expected > 5
        assert happened == pytest.approx(expected, abs=4 * math.sqrt(expected))
    assert risk.consumers_risk == pytest.approx(
        risk.expected_nonconforming_accepted / np.sum(verdicts == "conform")
    )


def test_process_behind_the_values_and_its_risk() -> None:
    """Made by a normal process, 0.6 +- 1.2, read with u = 0.5: s^2 is 1.44 + 0.25.

    The global risks against the counts of the same process simulated apart, 400,000 instruments.
    """
    rng = np.random.default_rng(3)
    spec = specification(-2.0, 2.0, rule=DecisionRule("shared risk"))
    truth = rng.normal(0.6, 1.2, 4000)
    read = truth + 0.5 * rng.standard_normal(4000)
    made = [Made(f"{n:04d}", {(ERROR, 1): float(each)}, u=0.5) for n, each in enumerate(read)]
    (judged,) = body_of(frames(made, spec).summary(spec))["judged"]
    share, risk = judged["measuring"]["result"], judged["process_risk"]["result"]
    of_sd = 5 / math.sqrt(2 * 4000)  # five relative standard errors of an s
    assert share["process_sd_cents"] == pytest.approx(1.2, rel=of_sd * 1.69 / 1.44)
    assert share["share_percent"] == pytest.approx(100 * 0.25 / 1.69, rel=2 * of_sd)
    assert risk["process"]["mean_cents"] == pytest.approx(0.6, abs=5 * 1.3 / math.sqrt(4000))
    true = rng.normal(0.6, 1.2, 400_000)
    seen = true + 0.5 * rng.standard_normal(400_000)
    good, accepted = np.abs(true) <= 2, np.abs(seen) <= 2
    assert risk["shares"]["consumers_risk"] == pytest.approx(np.mean(~good & accepted), rel=0.12)
    assert risk["shares"]["producers_risk"] == pytest.approx(np.mean(good & ~accepted), rel=0.12)
    assert sum(risk["shares"].values()) == pytest.approx(1.0, abs=1e-9)


# The process watched.


def test_a_shift_is_seen_on_its_string_and_soon() -> None:
    """String 2 of 200 instruments goes up by two standard deviations at the 101st.

    Limits come from all points, so the first half lies low and the second high: with means of
    five, one standard deviation is 2.2 of theirs. Subgroup 21 (place 20) is the first after it.
    """
    spec = specification(-9.0, 9.0)
    made = normal_lot(200)
    shifted = [
        Made(each.serial, {**each.cents, (ERROR, 2): each.cents[ERROR, 2] + 2.0}, at_s=each.at_s)
        for each in made[100:]
    ]
    body = body_of(frames(made[:100] + shifted, spec).summary(spec))
    charts = {each["string"]: each for each in body["control"]["charts"]}
    above, below = (
        [each for each in charts[2]["location"]["signals"] if each["side"] == side]
        for side in ("above", "below")
    )
    assert min(place for each in above for place in each["subgroups"]) >= 20
    assert min(max(each["subgroups"]) for each in above) <= 24
    assert max(place for each in below for place in each["subgroups"]) < 20
    assert len(charts[1]["location"]["signals"]) < len(charts[2]["location"]["signals"])
    assert "(00100 to 00104)" in body["control"]["subgroups"][20]["label"]


def test_mean_and_farthest_of_an_instruments_strings() -> None:
    """By hand: strings at +1 and -2 from targets of 0: mean -0.5, farthest 2."""
    spec = specification(size=1)
    cents = [(1.0, -2.0), (0.0, 4.0), (2.0, 2.0), (1.0, math.nan)]
    made = [
        Made(str(n), {(ERROR, 2): two, (ERROR, 1): one}, at_s=START_S + n)
        for n, (two, one) in enumerate(cents)
    ]
    body = body_of(frames(made, spec).summary(spec))
    charts = {each["charted"]: each for each in body["control"]["charts"]}
    assert charts["mean of strings"]["location"]["points_cents"] == [-0.5, 2.0, 2.0]
    assert charts["farthest string"]["location"]["points_cents"] == [2.0, 4.0, 2.0]
    assert charts["string"]["location"]["points_cents"] == [-2.0, 4.0, 2.0]
    assert charts["farthest string"]["location"]["subgroups"] == [0, 1, 2]
    assert body["control"]["subgroups"][3]["label"] == "3"


@pytest.mark.parametrize(("by", "points", "off"), [("station", 2, 1), ("day", 3, 1)])
def test_subgroups_by_what_the_specification_says(by, points, off) -> None:
    """30 instruments over three days at two stations; one names no station, and one no time."""
    spec = specification(by=by)
    rng = np.random.default_rng(0)
    made = [
        Made(
            f"{n:02d}",
            {(ERROR, 1): float(rng.normal())},
            station="" if n == 4 else f"line {n % 2}",
            at_s=math.nan if n == 7 else START_S + DAY_S * (n // 10),
        )
        for n in range(30)
    ]
    body = body_of(frames(made, spec).summary(spec))
    (chart,) = body["control"]["charts"]
    assert len(chart["location"]["points_cents"]) == points
    assert body["control"]["uncharted"] == off
    assert sum(chart["location"]["sizes"]) == 29
    largest = max(chart["location"]["sizes"])
    assert chart["scatter"]["drawn"] == ("s" if largest > 10 else "range")


def test_a_station_with_a_trend_is_found_and_no_other() -> None:
    """Station b rises by 0.5 cents a day over ten days; Bonferroni over stations and values."""
    spec = specification(-20.0, 20.0)
    rng = np.random.default_rng(8)
    made = []
    for n in range(200):
        day, station = n / 20, "ab"[n % 2]
        pitch, error = rng.normal(size=2)
        rise = 0.5 * day if station == "b" else 0.0
        cents = {(ERROR, 1): float(error + rise), (PITCH, 1): float(pitch)}
        made.append(Made(f"{n:03d}", cents, station=station, at_s=START_S + DAY_S * day))
    found = frames(made, spec).summary(spec)
    assert found.trends.tested == 4
    assert found.trends.confidence == pytest.approx(1 - 0.05 / 4)
    assert "all 4 together (Bonferroni)" in found.trends.method
    (sure,) = found.trends.sure
    assert (sure.station, sure.characteristic) == ("b", ERROR)
    line = sure.trend
    assert isinstance(line, Trend)
    assert line.lower_per_day < 0.5 < line.upper_per_day
    half = stats.t.ppf(1 - 0.05 / 8, line.count - 2) * line.slope_uncertainty_per_day
    assert line.upper_per_day - line.slope_per_day == pytest.approx(half)
    assert sure.words.startswith("Station b: 12th-fret error rises by 0.")
    body_of(found)


def test_groups_by_station_and_day() -> None:
    spec = specification()
    made = [
        Made("a", {(ERROR, 2): 1.0, (ERROR, 1): 2.0}, station="x", at_s=START_S),
        Made("b", {(ERROR, 2): 9.0, (ERROR, 1): 2.0}, station="y", at_s=START_S + 5 * DAY_S),
        Made("c", {(ERROR, 2): 3.0, (ERROR, 1): 0.0}, station="y", at_s=START_S + 5 * DAY_S),
        Made("d", {(ERROR, 2): 1.0, (ERROR, 1): math.nan}, at_s=math.nan),
    ]
    found = frames(made, spec).summary(spec)
    tables = {(each.by, each.characteristic): each.groups for each in found.groups}
    assert set(tables) == {("station", None), ("station", ERROR), ("day", None), ("day", ERROR)}
    rows = [(g.name, g.rows, g.decided, g.moments.mean) for g in tables["station", ERROR]]
    assert rows == [("x", 1, 1, 1.5), ("y", 2, 1, 3.5), ("not said", 1, 0, None)]
    assert [each.conforming.value for each in tables["station", None]] == [1.0, 0.0, None]
    assert [each.name for each in tables["day", None]] == ["2031-01-24", "2031-01-29", "not said"]
    body_of(found)


# Causes, and what is to be done again.


def test_causes_are_counted_without_their_numbers() -> None:
    spec = specification()
    made = [
        Made("a", {(ERROR, 6): 8.1, (DRIFT, 6): -9.5}),
        Made("b", {(ERROR, 6): 5.2, (DRIFT, 6): 0.0}),
        Made("c", {(ERROR, 6): -7.0, (DRIFT, 6): 0.0}),
        Made("d", {(ERROR, 6): 3.0, (DRIFT, 6): 0.0}),
        Made("e", {(ERROR, 6): math.nan, (DRIFT, 6): math.nan, (ERROR, 1): 0.0}),
        Made("f", {(ERROR, 6): math.nan}, why="The fretted note is +71 cents from it. Again?"),
        Made("g", {(ERROR, 6): math.nan}, why="The fretted note is -93 cents from it. Again?"),
        Made("h", {}, reason="h: holds more than 4096 recordings. Give a folder of one."),
        Made("h", {(ERROR, 6): 50.0}, latest=False),
    ]
    given = frames(made, spec)
    dropped = left_out(
        "is silent (loudest -92 dBFS). Check the cable.",
        "is silent (loudest -80 dBFS). Check the cable.",
        "holds more noise than note (3 dB between them, 6 is the least). Go nearer.",
    )
    found = type(given)(given.sessions, given.judged, dropped).summary(spec)
    assert [(each.cause, each.count) for each in found.causes.not_conform] == [
        ("string 6, 12th-fret error sharp", 2),
        ("string 6, 12th-fret error flat", 1),
        ("string 6, drift of the open note too far down", 1),
    ]
    not_decided = {each.cause: each.count for each in found.causes.not_decided}
    assert not_decided == {
        "string 6, 12th-fret error: too near a limit for its uncertainty": 1,
        "string 6: No usable open recording": 1,
        "string 6: The fretted note is … cents from it": 2,
        "h: holds more than … recordings": 1,
    }
    assert [each.count for each in found.causes.left_out] == [2, 1]
    assert found.causes.left_out[0].example == "is silent (loudest -92 dBFS). Check the cable."
    assert found.causes.left_out[0].share == pytest.approx(2 / 3)
    body_of(found)


def test_one_sided_limits_fail_on_their_side() -> None:
    for lower, upper, value, word in ((None, 3.0, 9.0, "sharp"), (-3.0, None, -9.0, "flat")):
        spec = specification(lower, upper)
        found = frames([Made("a", {(ERROR, 1): value})], spec).summary(spec)
        assert [each.cause for each in found.causes.not_conform] == [
            f"string 1, 12th-fret error {word}"
        ]
        body_of(found)


def test_more_takes_count_a_shared_note_once() -> None:
    """The error asks for k takes of both notes, the open pitch for m of one: max(k, m) + k."""
    spec = specification(-3.0, 3.0)
    given = frames(
        [
            Made("a", {(ERROR, 1): 2.9, (PITCH, 1): 2.9}, u=0.1, station="x"),
            Made("b", {(ERROR, 1): 3.0}, u=0.1),
            Made("c", {(ERROR, 1): 0.0}, u=0.1),
        ],
        spec,
    )
    open_rows = given.judged[given.judged["verdict"] == "not decided"]
    assert set(open_rows["serial"]) == {"a", "b"}
    given.judged.loc[0, "more_takes"], given.judged.loc[1, "more_takes"] = 3, 5
    given.judged.loc[2, "more_takes"] = math.nan
    found = given.summary(spec).more_takes
    assert (found.recordings, found.instruments, found.unsettled) == (5 + 3, 1, 1)
    assert [(each.serial, each.station, each.recordings) for each in found.of] == [
        ("a", "x", 8),
        ("b", "", None),
    ]


# Repeats for the gauge.


def test_no_repeats_is_a_reason_and_a_stray_one_spoils_no_study() -> None:
    spec = specification(-20.0, 20.0)
    assert isinstance(frames(normal_lot(5), spec).summary(spec).gauge, NotGiven)
    rng = np.random.default_rng(1)

    def repeated(serial, operator, repeats, value) -> list[Made]:
        return [
            Made(
                serial,
                {(ERROR, 1): value + float(rng.normal(0, 0.1))},
                operator=operator,
                repeat=repeat,
                latest=operator == "bo" and repeat == repeats,
            )
            for repeat in range(1, repeats + 1)
        ]

    made = [
        each
        for n in range(4)
        for operator in ("ann", "bo")
        for each in repeated(f"part {n}", operator, 2, 2.0 * n)
    ]
    made += repeated("stray", "bo", 2, 0.0) + normal_lot(3, strings=(1,), operator="bo")
    found = frames(made, spec).summary(spec)
    assert not isinstance(found.gauge, NotGiven)
    (study,) = found.gauge
    assert (study.parts, study.unused_parts, study.operators) == (4, 1, ("ann", "bo"))
    assert not isinstance(study.anova, NotGiven)
    assert study.anova.shares.repeatability.sd == pytest.approx(0.1, rel=0.8)
    assert study.anova.shares.part.sd == pytest.approx(np.std([0, 2, 4, 6], ddof=1), rel=0.2)
    body_of(found)


def test_an_uneven_study_says_what_it_lacks() -> None:
    spec = specification(-20.0, 20.0)
    made = [
        Made("p", {(ERROR, 1): 0.1}, operator="ann", latest=False),
        Made("p", {(ERROR, 1): 0.2}, operator="ann", repeat=2, latest=False),
        Made("p", {(ERROR, 1): 0.3}, operator="bo"),
        Made("q", {(ERROR, 1): 0.3}, operator="bo"),
    ]
    found = frames(made, spec).summary(spec)
    assert not isinstance(found.gauge, NotGiven)
    (study,) = found.gauge
    assert isinstance(study.anova, NotGiven)
    assert "two are the least" in study.anova.reason
    body_of(found)


# Lots with little or nothing in them.


def test_an_empty_lot() -> None:
    spec = specification()
    found = frames([], spec).summary(spec, faults=[Fault("a", "Bad.")] * 3)
    assert not found.complete
    assert found.conforming_share.value is None
    body = body_of(found)
    assert body["verdict"] == "No instrument was judged; 3 faults."
    assert (body["judged"], body["control"]["charts"], body["groups"]) == ([], [], [])


LITTLE = {
    "one": [Made("a", {(ERROR, 1): 0.1}, at_s=START_S)],
    "two alike": [Made("a", {(ERROR, 1): 0.1}), Made("b", {(ERROR, 1): 0.1})],
    "all alike": [Made(str(n), {(ERROR, 1): 0.1}, at_s=START_S) for n in range(30)],
    "nothing measured": [Made(str(n), {(ERROR, 1): math.nan}) for n in range(12)],
    "nothing judged": [Made(str(n), {}) for n in range(12)],
    "no uncertainty to speak of": normal_lot(12, u=0.0),
    "more uncertainty than scatter": normal_lot(12, u=30.0, sd=0.1),
    "one station": normal_lot(12, station="x"),
    "other strings": [*normal_lot(12), *(Made(f"x{n}", {(ERROR, 9): 0.1}) for n in range(3))],
    "far off": normal_lot(12, mean=90.0),
}


@pytest.mark.parametrize(
    ("by", "rule"),
    [
        ("count", "guarded"),
        ("count", "shared risk"),
        ("station", "guarded"),
        ("operator", "guarded"),
        ("hour", "shared risk"),
        ("day", "guarded"),
    ],
)
@pytest.mark.parametrize("name", LITTLE)
def test_lots_with_little_in_them(name, by, rule) -> None:
    """Whatever is there, the JSON keeps its schema, and no instrument is lost."""
    spec = specification(by=by, rule=DecisionRule(rule))
    made = LITTLE[name]
    found = frames(made, spec).summary(spec)
    body = body_of(found)
    counts = body["counts"]
    parts = counts["conform"] + counts["not_conform"] + counts["not_decided"]
    assert parts == counts["instruments"] == len({each.serial for each in made})
    risk = body["risk"]
    assert risk["accepted"] + risk["rejected"] + risk["not_decided"] == parts


def test_what_the_order_of_the_rows_is_does_not_matter() -> None:
    spec = specification()
    given = frames(normal_lot(60, station="x"), spec)
    turned = type(given)(given.sessions[::-1], given.judged.sample(frac=1, random_state=1))
    assert as_json(turned.summary(spec)) == as_json(given.summary(spec))


def test_texts_may_be_categories() -> None:
    """As a store may give them, since a lot repeats few texts in many rows."""
    spec = specification()
    made = [*normal_lot(40, station="x"), Made("lost", {(ERROR, 1): math.nan})]
    made += [Made(f"{n:05d}", {(ERROR, 1): 0.1}, repeat=2, latest=False) for n in range(3)]
    given = frames(made, spec)
    texts = ["serial", "station", "operator", "characteristic", "verdict", "reason"]
    by_category = type(given)(
        given.sessions.astype(dict.fromkeys(set(texts) & set(given.sessions), "category")),
        given.judged.astype(dict.fromkeys(texts, "category")),
    )
    assert as_json(by_category.summary(spec)) == as_json(given.summary(spec))


def test_a_value_that_is_missing_leaves_a_lot_incomplete_whatever_was_decided() -> None:
    """One string far off decides the instrument; that another was not measured is told as well."""
    spec = specification()
    found = frames([Made("a", {(ERROR, 2): 30.0, (ERROR, 1): math.nan})], spec).summary(spec)
    assert (found.counts.not_conform, found.counts.not_measured) == (1, 0)
    assert not found.complete
    assert verdict_of_lot(found).endswith("not decided; 1 value could not be measured.")
    whole = frames([Made("a", {(ERROR, 2): 30.0, (ERROR, 1): 0.0})], spec).summary(spec)
    assert whole.complete
    assert "measured" not in verdict_of_lot(whole)


@pytest.mark.parametrize(("apart_s", "given"), [(60.0, False), (240.0, True)])
def test_seconds_tell_nothing_of_a_trend_by_the_day(apart_s, given) -> None:
    """Twenty instruments within twenty minutes, or over an hour and a quarter."""
    spec = specification()
    made = [
        Made(f"{n:02d}", {(ERROR, 1): 0.01 * n}, at_s=START_S + apart_s * n, station="a")
        for n in range(20)
    ]
    (line,) = [each.trend for each in frames(made, spec).summary(spec).trends.of]
    assert isinstance(line, Trend) == given
    if given:
        assert line.slope_per_day == pytest.approx(0.01 * 86_400 / apart_s)
    else:
        assert "within an hour" in line.reason
