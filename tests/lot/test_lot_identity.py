"""What makes a figure old, and what does not."""

from __future__ import annotations

import json
import math
import os
import shutil
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from analyzer.instrument.file import read_instrument
from analyzer.instrument.model import Instrument
from analyzer.instrument.string_data import StringData
from analyzer.lot import identity
from analyzer.lot.judgement.specification import (
    DecisionRule,
    Limits,
    Requirement,
    Specification,
    Subgroups,
)
from analyzer.lot.sessions.place import token
from analyzer.recording.labels import Label
from analyzer.recording.limits import Limits as ReadingLimits
from analyzer.recording.limits import ReadingRules
from analyzer.recording.table import Listed

ROOT = Path(__file__).parents[2]
PACKAGE = ROOT / "analyzer"
FIGURES = identity._MAKES_FIGURES


def test_a_token_changes_with_the_file(tmp_path) -> None:
    path = tmp_path / "s6_open_1.wav"
    path.write_bytes(b"one")
    os.utime(path, ns=(1, 1_000_000_000))
    first = token(str(path))
    assert token(str(path)) == first
    path.write_bytes(b"three")
    os.utime(path, ns=(1, 1_000_000_000))
    assert token(str(path)) != first
    path.write_bytes(b"two")
    os.utime(path, ns=(1, 1_000_000_001))
    assert token(str(path)) != first


LOADED = """
import json, sys
from pathlib import Path
from analyzer.beside import instrument_beside, table_beside
from analyzer.cross_check import judge_together
from analyzer.measure import measure_file, measure_whole
from analyzer.recording.finding import find_recordings
from analyzer.recording.limits import ReadingRules
from analyzer.report.build import build_report
folder = Path("sample_audio/own_saddles")
rules = ReadingRules(untrusted=True)
files = find_recordings(folder)[:4]
instrument, warnings = instrument_beside(folder, None, rules)
table_beside(folder, instrument, files, rules)
found = [each for path in files for each in measure_file(path, (), instrument, 440.0, rules)]
found += measure_whole(files[0], instrument)
build_report(instrument, 440.0, judge_together(found, instrument, 440.0), warnings)
print(json.dumps([name for name in sys.modules if name.startswith("analyzer.")]))
"""


def test_the_method_is_all_that_python_loads_to_make_a_report() -> None:
    """Python's own list of what it imported, of an analysis that measures in every way."""
    done = subprocess.run(
        [sys.executable, "-c", LOADED], cwd=ROOT, capture_output=True, text=True, check=True
    )
    loaded = {name.removeprefix("analyzer.") for name in json.loads(done.stdout)}
    known = set(identity.sources_of(PACKAGE, FIGURES))
    assert {"pitch.settle", "quality.thresholds", "whole_take.naming", "strings"} <= loaded
    # Which recordings there are is for the layout of the lot, and stands in the inputs.
    assert loaded - known == {"recording.finding"}
    assert "recording.decoder" in known  # runs as a process of its own
    drawn = {name for name in known if name.startswith(("page", "figures", "lot", "letter"))}
    assert not drawn


@pytest.fixture
def copied(tmp_path) -> Path:
    copy = tmp_path / "analyzer"
    shutil.copytree(PACKAGE, copy, ignore=shutil.ignore_patterns("__pycache__"))
    return copy


def test_every_source_of_a_figure_counts(copied) -> None:
    first = identity.sources_digest(copied, FIGURES)
    assert first == identity.sources_digest(PACKAGE, FIGURES)
    for name in identity.sources_of(copied, FIGURES):
        path = copied / f"{name.replace('.', '/')}.py"
        path = path if path.is_file() else path.with_suffix("") / "__init__.py"
        text = path.read_text(encoding="utf-8")
        path.write_text(f"{text}\n", encoding="utf-8")
        assert identity.sources_digest(copied, FIGURES) != first, name
        path.write_text(text, encoding="utf-8")
    for name in ("page/card.py", "report/terminal.py", "lot/judgement/decision.py", "html.py"):
        path = copied / name
        path.write_text(f"{path.read_text(encoding='utf-8')}\n", encoding="utf-8")
    assert identity.sources_digest(copied, FIGURES) == first
    assert identity.sources_digest(copied, ("lot.judgement.decision",)) != identity.sources_digest(
        PACKAGE, ("lot.judgement.decision",)
    )


def test_a_root_that_is_not_there_makes_no_digest() -> None:
    with pytest.raises(KeyError, match=r"lot\.nowhere"):
        identity.sources_digest(PACKAGE, ("gate", "lot.nowhere"))


def test_a_new_module_is_found_however_it_is_imported(copied) -> None:
    gate = copied / "gate.py"
    text = gate.read_text(encoding="utf-8")
    (copied / "new").mkdir()
    for name in ("__init__", "inner"):
        (copied / "new" / f"{name}.py").write_text("", encoding="utf-8")
    for line in (
        "import analyzer.new.inner",
        "from analyzer.new import inner",
        "def later():\n    from analyzer.new.inner import (\n        what,\n    )",
    ):
        gate.write_text(f"{text}\n{line}\n", encoding="utf-8")
        assert {"new", "new.inner"} <= set(identity.sources_of(copied, FIGURES)), line


def test_the_method_of_a_changed_package_is_another(copied) -> None:
    code = "from analyzer.lot.identity import method_version; print(method_version())"
    shutil.copytree(ROOT / "cli", copied.parent / "cli")

    def method() -> str:
        options = {"cwd": copied.parent, "capture_output": True, "text": True, "check": True}
        return subprocess.run([sys.executable, "-c", code], **options).stdout.strip()  # noqa: PLW1510

    assert method() == identity.method_version()
    for library in ("numpy", "scipy", "librosa", "soundfile", "libsndfile"):
        assert f", {library} " in method()
    strings = copied / "strings.py"
    strings.write_text(f"{strings.read_text(encoding='utf-8')}\n", encoding="utf-8")
    assert method() != identity.method_version()


def test_a_library_counts_by_its_version(monkeypatch) -> None:
    first = identity.method_version()
    identity.method_version.cache_clear()
    try:
        monkeypatch.setattr(identity.metadata, "version", lambda _: "9.9")
        assert identity.method_version() != first
    finally:
        identity.method_version.cache_clear()


SIX = Instrument("made", ("E2", "A2", "D3", "G3", "B3", "E4"), (647.7,) * 6)
RULES = ReadingRules()
ROW = Listed("a.wav", "takes.csv, line 2", 0.5, math.inf, Label(6, "open"))


def settings(instrument=SIX, a4_hz=440.0, rules=RULES, method="m") -> str:
    return identity.settings_digest(instrument, a4_hz, rules, method)


def test_what_a_recordings_figures_hang_on() -> None:
    def key(sha256="ab" * 32, file="a.wav", listed=(ROW,), common=settings()) -> str:  # noqa: B008
        return identity.recording_key(sha256, file, listed, common)

    others = [
        key(sha256="cd" * 32),
        key(file="b.wav"),
        key(file="a\udc80.wav"),
        key(file="a\\udc80.wav"),
        key(listed=()),
        key(listed=(ROW, ROW)),
        key(listed=(replace(ROW, start_s=0.25),)),
        key(listed=(replace(ROW, end_s=3.0),)),
        key(listed=(replace(ROW, label=None),)),
        key(listed=(replace(ROW, label=Label(6, "open", 2)),)),
        key(common=settings(a4_hz=442.0)),
        key(common=settings(replace(SIX, tuning=("D2", *SIX.tuning[1:])))),
        key(common=settings(replace(SIX, scale_lengths_mm=(648.0,) * 6))),
        key(common=settings(rules=ReadingRules(ReadingLimits(length_s=60.0)))),
        key(common=settings(rules=ReadingRules(untrusted=True))),
        key(common=settings(method="n")),
    ]
    assert len({key(), *others}) == 1 + len(others)
    assert all(len(bytes.fromhex(each)) == 32 for each in others)
    # Another line of the table, another name of the instrument, another limit on the whole folder.
    assert key(listed=(replace(ROW, where="takes.csv, line 9"),)) == key()
    assert key(common=settings(replace(SIX, name="other", name_given=False))) == key()
    assert key(common=settings(rules=ReadingRules(ReadingLimits(files=10_000)))) == key()


def test_an_instrument_counts_by_its_values_not_by_its_file(tmp_path) -> None:
    plain = '[instrument]\nscale_length_mm = 648\ntuning = ["E2", "A2"]\nname = "Knot"\n'
    again = '# by hand\n[instrument]\nname = "Knot"\ntuning=["E2","A2"]\nscale_length_mm = 648.0\n'
    found = []
    for name, text in (("one", plain), ("two", again)):
        path = tmp_path / f"{name}.toml"
        path.write_text(text, encoding="utf-8")
        found.append(settings(read_instrument(path)))
    assert found[0] == found[1]
    one, two = StringData(diameter_mm=0.25), StringData(diameter_mm=1)
    assert settings(replace(SIX, string_data={1: one, 6: two})) == settings(
        replace(SIX, string_data={6: replace(two, diameter_mm=1.0), 1: one})
    )


def test_what_a_report_is_made_from() -> None:
    keys = ["ab" * 32, "cd" * 32]
    first = identity.inputs_digest(keys, SIX, settings())
    assert identity.inputs_digest(keys[::-1], SIX, settings()) == first
    assert identity.inputs_digest(keys[:1], SIX, settings()) != first
    assert identity.inputs_digest([*keys, keys[0]], SIX, settings()) != first
    assert identity.inputs_digest(keys, replace(SIX, name="other"), settings()) != first
    assert identity.inputs_digest(keys, SIX, settings(method="n")) != first


def test_a_specification_counts_by_what_it_decides() -> None:
    base = Specification("made", error=Requirement(Limits(-3.0, 3.0), {6: Limits(-4.0, 4.0)}))
    first = identity.specification_digest(base)
    same = [
        replace(base, name="other"),
        replace(base, stations=("bench 1",)),
        replace(base, subgroups=Subgroups("day", None)),
    ]
    assert {identity.specification_digest(each) for each in same} == {first}
    others = [
        replace(base, error=replace(base.error, limits=Limits(-3.0, None))),
        replace(base, error=replace(base.error, limits=Limits(-3.0, 3.0, 0.5))),
        replace(base, error=replace(base.error, by_string={5: Limits(-4.0, 4.0)})),
        replace(base, error=replace(base.error, reproducibility_cents=0.2)),
        replace(base, error=None, open_pitch=base.error),
        replace(base, rule=DecisionRule("shared risk")),
        replace(base, rule=DecisionRule(confidence=0.9)),
    ]
    digests = {identity.specification_digest(each) for each in others}
    assert len(digests | {first}) == 1 + len(others)
