"""Lots with next to nothing in them, or all alike: every figure is a number, or has a reason."""

from __future__ import annotations

import json
import math

from hypothesis import given, settings
from hypothesis import strategies as st
from jsonschema import Draft202012Validator
from made_lot_frames import START_S, Made, frames, specification

from analyzer.lot.output.summary_json import as_json
from analyzer.lot.output.terminal import TerminalLot
from analyzer.lot.page.render import as_html
from analyzer.schemas import schema_text

VALIDATOR = Draft202012Validator(json.loads(schema_text("lot")))
# Few values, so that many are alike; and one that only rounding tells from another.
CENTS = st.sampled_from([0.0, 0.0, 1.0, -1.0, 0.1 + 0.2, 0.3, 3.0, math.nan])
OF_ALL = [("error_cents", 2), ("error_cents", 1), ("open_pitch_cents", 1), ("open_drift_cents", 1)]
SESSION = st.builds(
    Made,
    st.sampled_from([f"P{n}" for n in range(9)]),
    st.fixed_dictionaries(dict.fromkeys(OF_ALL, CENTS)),
    u=st.sampled_from([0.01, 0.1, 5.0]),
    station=st.sampled_from(["", "line 1", "line 2"]),
    operator=st.sampled_from(["", "first", "second"]),
    repeat=st.integers(1, 3),
    at_s=st.sampled_from([math.nan, START_S, START_S + 60, START_S + 90_000, START_S + 180_000]),
)

SESSIONS = st.lists(
    SESSION,
    min_size=1,
    max_size=16,
    unique_by=lambda made: (made.serial, made.station, made.operator, made.repeat),
)


@settings(deadline=None, max_examples=20, derandomize=True)
@given(SESSIONS, st.sampled_from(["count", "station", "day"]))
def test_a_small_lot_is_said_in_every_form(sessions, by) -> None:
    spec = specification(by=by)
    found = frames(sessions, spec)
    summary = found.summary(spec)
    body = json.loads(as_json(summary))
    assert [f"{each.json_path}: {each.message}" for each in VALIDATOR.iter_errors(body)] == []
    said = as_html(summary, found.sessions, found.judged, None)
    for wrong in ("nan", "inf ", "None"):
        assert f" {wrong}" not in said.casefold().replace("infor", "").replace("none", "")
    assert TerminalLot(summary)
