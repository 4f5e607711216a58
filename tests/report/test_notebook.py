"""The library in a notebook: a typed result, frames, a table that shows itself."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import replace

import pandas as pd
import pytest
from conftest import ROOT, SAMPLE_AUDIO
from page_checks import Checked

import analyzer
from analyzer.errors import UnusableInputError
from analyzer.report.model import AdjusterResult, Report, StringResult
from analyzer.report.tables import recordings_frame, strings_frame

HOSTILE = "<img src=x onerror=alert(1)>\"'&amp;\u202e"


@pytest.fixture(scope="module")
def result() -> analyzer.Analysis:
    return analyzer.analyze(SAMPLE_AUDIO / "own_saddles", jobs=1)


def test_result_is_typed_and_holds_the_report(result) -> None:
    assert type(result) is analyzer.Analysis
    assert isinstance(result.report, Report)
    assert len(result.report.recordings) == 16
    with pytest.raises(AttributeError):
        result.report = None
    text = repr(result)
    assert text.startswith("<Analysis of 'Demo One, a saddle for each string': 6 of 6 strings")
    assert "\n" not in text


def test_frames_are_those_of_the_tables(result, demo_truth) -> None:
    frame = result.to_frame()
    pd.testing.assert_frame_equal(frame, strings_frame(result.report))
    pd.testing.assert_frame_equal(result.recordings_frame(), recordings_frame(result.report))
    truth = {int(x["string"]): x for x in demo_truth if x["folder"] == "own_saddles"}
    for string, error in zip(frame.string, frame.error_cents, strict=True):
        assert error == pytest.approx(float(truth[string]["error_cents"]), abs=0.1)


def test_arguments_reach_the_analysis(tmp_path) -> None:
    with pytest.raises(UnusableInputError, match="--a4: is 300 Hz"):
        analyzer.analyze(SAMPLE_AUDIO / "own_saddles", a4_hz=300)
    with pytest.raises(UnusableInputError, match="--turned: stands alone"):
        analyzer.analyze(SAMPLE_AUDIO / "own_saddles", turned=tmp_path / "turned.csv")
    with pytest.raises(UnusableInputError, match=r"no\.toml"):
        analyzer.analyze(SAMPLE_AUDIO / "own_saddles", instrument_file=tmp_path / "no.toml")


def test_a_figure_without_matplotlib_is_one_line(result, monkeypatch) -> None:
    monkeypatch.setattr("analyzer.figures.style.find_spec", lambda _name: None)
    for draw in (result.plot_errors, result.plot_courses):
        with pytest.raises(UnusableInputError) as raised:
            draw()
        assert str(raised.value) == (
            "a figure: needs matplotlib, which is not installed. "
            "Install it with: pip install 'pluckcheck[plots]'."
        )


def test_it_shows_itself_as_a_table(result) -> None:
    page = Checked(result._repr_html_())
    assert page.open == []
    assert page.tags.count("tr") == 1 + 6
    assert page.values("scope") == ["col"] * 6 + ["row"] * 6
    assert "String 6 E2" not in page.text
    assert "6 E2" in page.text
    # The truth is 7.8 and 5.9 cents, of which the longer strings are the cure.
    assert "+7.8 ± 0.4 sharp" in page.text
    assert "saddle 6: 6 turns clockwise" in page.text
    assert result.report.verdict() in page.text
    assert "qualified repairer" in page.text


def test_table_brings_no_colours_and_no_script(result) -> None:
    """So that it has those of the notebook's theme, light or dark."""
    page = Checked(result._repr_html_())
    assert {"script", "style", "link", "img", "iframe"}.isdisjoint(page.tags)
    assert set(page.values("style")) == {"text-align: left"}
    assert not any(
        name.startswith("on") or name in {"bgcolor", "src"} for _, name, _ in page.attributes
    )


def test_hostile_names_show_as_text() -> None:
    found = StringResult(6, HOSTILE, error_cents=1.0, error_uncertainty_cents=0.5)
    lacking = StringResult(5, "A2", HOSTILE)
    adjuster = AdjusterResult(HOSTILE, (6,), "slide", {6: 1.0}, 1.0, 0.2, None, 0.0, move_mm=0.0)
    strings = (found, lacking)
    report = Report(HOSTILE, ("E2", "A2"), 440.0, strings, (), (), (), adjusters=(adjuster,))
    html = analyzer.Analysis(report)._repr_html_()
    page = Checked(html)
    assert "img" not in page.tags
    assert "\u202e" not in html
    assert page.text.count("<img src=x onerror=alert(1)>\"'&amp;\\u202e") == 4


def test_without_a_bridge_there_is_no_move(result) -> None:
    bare = [replace(each, saddle_move_mm=None) for each in result.report.strings]
    report = replace(result.report, strings=tuple(bare), adjusters=())
    text = Checked(analyzer.Analysis(report)._repr_html_()).text
    assert "away from nut" not in text
    assert "+7.8 ± 0.4 sharp" in text


def test_plots_are_on_axes(result) -> None:
    from matplotlib.axes import Axes

    assert isinstance(result.plot_errors(), Axes)
    assert isinstance(result.plot_course(6), Axes)
    assert [isinstance(each, Axes) for each in result.plot_courses()] == [True] * 6


def test_importing_the_package_loads_no_other() -> None:
    code = (
        "import sys; before = set(sys.modules); import analyzer\n"
        "assert 'analyze' in dir(analyzer) and 'Analysis' in dir(analyzer)\n"
        "loaded = {name.partition('.')[0] for name in set(sys.modules) - before} - {'analyzer'}\n"
        "sys.exit(', '.join(loaded - set(sys.stdlib_module_names)) or 0)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert (done.returncode, done.stderr) == (0, "")


def test_what_the_package_does_not_have() -> None:
    with pytest.raises(AttributeError, match="'analyzer' has no attribute 'analyse'"):
        _ = analyzer.analyse
