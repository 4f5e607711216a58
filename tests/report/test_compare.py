"""Two rounds side by side: what counts as a change, and in which words and forms."""

from __future__ import annotations

import csv
import io
import json

import pytest
from two_rounds import loaded


def test_compare_marks_only_what_exceeds_both_uncertainties(before, called, tmp_path) -> None:
    """0.3 and 0.4 make 0.5 (root sum of squares): 0.49 is no sure change, 0.51 is one."""
    body = loaded(before)
    after = tmp_path / "after.json"
    figures = [(4.0, 0.3, 3.51, 0.4, "no sure change"), (4.0, 0.3, 3.49, 0.4, "better")]
    for place, (old, unsure, *_rest) in enumerate(figures):
        body["strings"][place].update(error_cents=old, error_uncertainty_cents=unsure)
    before.write_text(json.dumps(body), encoding="utf-8")
    for place, (_, _, new, unsure, _) in enumerate(figures):
        body["strings"][place].update(error_cents=new, error_uncertainty_cents=unsure)
    after.write_text(json.dumps(body), encoding="utf-8")
    rows = json.loads(called("compare", before, after, "--json", "-").out)["strings"]
    for row, (old, _, new, _, verdict) in zip(rows, figures, strict=True):
        assert row["change_cents"] == pytest.approx(new - old)
        assert row["change_uncertainty_cents"] == pytest.approx(0.5)
        assert row["verdict"] == verdict
    table = list(csv.DictReader(io.StringIO(called("compare", before, after, "--csv", "-").out)))
    assert [row["verdict"] for row in table] == ["no sure change", "better"]
    assert float(table[1]["change_cents"]) == pytest.approx(-0.51)


@pytest.mark.parametrize(
    ("old", "new", "verdict"),
    [(1.0, -4.0, "worse"), (-4.0, 1.0, "better"), (2.0, -2.0, "changed")],
)
def test_better_and_worse_are_by_the_size_of_the_error(
    before, called, tmp_path, old, new, verdict
) -> None:
    body = loaded(before)
    after = tmp_path / "after.json"
    body["strings"][0].update(error_cents=old, error_uncertainty_cents=0.2)
    before.write_text(json.dumps(body), encoding="utf-8")
    body["strings"][0].update(error_cents=new)
    after.write_text(json.dumps(body), encoding="utf-8")
    done = called("compare", before, after)
    assert done.code == 0
    row = next(line for line in done.out.splitlines() if line.strip().startswith("2 E2"))
    assert row.strip().endswith(verdict)


def test_compare_with_a_string_that_has_no_result(before, called, tmp_path) -> None:
    body = loaded(before)
    after = tmp_path / "after.json"
    body["strings"][0].update(error_cents=None, error_uncertainty_cents=None)
    after.write_text(json.dumps(body), encoding="utf-8")
    done = called("compare", before, after)
    assert done.code == 1
    assert "No result after." in done.out
    rows = json.loads(called("compare", before, after, "--json", "-").out)["strings"]
    assert rows[0]["change_cents"] is None


def test_compare_of_two_instruments(before, called, tmp_path) -> None:
    other = tmp_path / "other.json"
    body = loaded(before)
    body["instrument"]["name"] = "Knot"
    other.write_text(json.dumps(body), encoding="utf-8")
    done = called("compare", before, other)
    assert done.code == 2
    assert "before.json: is of 'Dunlin', and this is 'Knot'. Give the earlier report" in done.err


def test_compare_takes_folders(before, record, called) -> None:
    after = record("after", {2: 1.0, 1: -5.0})
    done = called("compare", before, after)
    assert done.code == 0
    lines = [line.strip() for line in done.out.splitlines()]
    assert next(line for line in lines if line.startswith("2 E2")).endswith("better")
    assert next(line for line in lines if line.startswith("1 A2")).endswith("no sure change")
    assert lines[-1].startswith("Of 2 strings: 1 better, 0 worse, 1 no sure change.")


def test_folders_of_strangers_are_read_under_limits(before, called) -> None:
    """The folder that the report came from; each of its recordings is longer than a second."""
    folder = before.parent / "before"
    done = called("compare", before, folder, "--untrusted", "--limit", "length_s=1")
    assert done.code == 1
    assert "No result after." in done.out
    assert called("compare", before, folder, "--untrusted").code == 0
    refused = called("compare", before, folder, "--limit", "files=1")
    assert (refused.code, refused.out) == (2, "")
    assert "--limit files" in refused.err
