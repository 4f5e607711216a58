"""The figures through matplotlib: what is drawn is what the report says; and files of them."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest
from conftest import SAMPLE_AUDIO
from made_reports import SIX_TUNING, instrument_of, own_saddles, report_with

from analyzer.analysis import analyze_folder
from analyzer.errors import UnusableInputError
from analyzer.figures import plot_bridge, plot_course, plot_errors
from analyzer.figures.files import DPI, check_folder, figure_names, write_figures
from analyzer.figures.style import EARLIER, FAINT, INK, NOW
from analyzer.instrument.model import Instrument, assumed_instrument
from analyzer.report.build import build_report

pytest.importorskip("matplotlib")
ERRORS = {6: 9.4, 5: 4.1, 4: -3.2, 3: 12.5, 2: 0.0, 1: -1.1}
_PNG = b"\x89PNG\r\n\x1a\n"


@pytest.fixture(scope="module")
def demo():
    return analyze_folder(SAMPLE_AUDIO / "own_saddles", jobs=1)


@pytest.fixture
def own(tmp_path):
    return report_with(instrument_of(tmp_path, own_saddles()), ERRORS)


def test_errors_lie_where_they_are(own) -> None:
    ax = plot_errors(own)
    (container,) = ax.containers
    x, y = container[0].get_data()
    rows = {label.get_text(): at for label, at in zip(
        ax.get_yticklabels(), ax.get_yticks(), strict=True)}  # fmt: skip
    for each, at_x, at_y in zip(own.strings, x, y, strict=True):
        assert at_x == each.error_cents
        assert rows[f"string {each.string} ({each.note})"] == at_y
    segments = container[2][0].get_segments()
    for each, ((low, _), (high, _)) in zip(own.strings, segments, strict=True):
        assert (low + high) / 2 == pytest.approx(each.error_cents)
        assert (high - low) / 2 == pytest.approx(each.error_uncertainty_cents)
    assert "cents" in ax.get_xlabel()
    assert "plus is sharp" in ax.get_xlabel()
    left, right = ax.get_xlim()
    assert left < min(x) < max(x) < right
    bottom, top = ax.get_ylim()
    assert bottom > top  # string 6 above


def test_before_stands_below_now_and_looks_different(record, before) -> None:
    report = analyze_folder(record("after", {2: 0.3, 1: -0.4}), previous=before, jobs=1)
    now, earlier = plot_errors(report).containers
    assert list(earlier[0].get_xdata()) == [each.error_cents for each in report.errors_before]
    assert now[0].get_marker() != earlier[0].get_marker()
    for above, below in zip(now[0].get_ydata(), earlier[0].get_ydata(), strict=True):
        assert above < below
    assert [text.get_text() for text in plot_errors(report).get_legend().get_texts()] == [
        "now", "the round before"]  # fmt: skip


def test_course_is_that_of_the_recordings(demo) -> None:
    ax = plot_course(demo, 6)
    takes = [each for each in demo.recordings if each.string == 6]
    lines = {(tuple(line.get_xdata()), tuple(line.get_ydata())): line for line in ax.get_lines()}
    for each in takes:
        line = lines[each.course.times_s, each.course.cents]
        assert (line.get_linestyle() != "-") == (each.fret == "f12")
        assert each.track.times_s in {x for x, _ in lines}
    assert ax.get_xlabel() == "seconds after the pluck"
    assert ax.get_ylabel() == "cents above the settled pitch"
    names = [text.get_text() for text in ax.get_legend().get_texts()]
    assert len(names) == len(set(names))
    assert {"open, fit", "12th fret, fit"} <= set(names)
    with pytest.raises(UnusableInputError, match=r"string: is 9.*6, 5, 4, 3, 2, 1"):
        plot_course(demo, 9)


def test_bridge_moves_as_advised(own) -> None:
    ax = plot_bridge(own)
    moves = {string: move for each in own.saddles for string, move in each.moves_mm.items()}
    ticks = list(zip(ax.get_xticks(), (t.get_text() for t in ax.get_xticklabels()), strict=True))
    (x0, v0), (x1, v1) = ticks[0], ticks[-1]
    value = [float(each.replace("\u2212", "-")) for each in (v0, v1)]
    per_mm = (x1 - x0) / (value[1] - value[0])
    arrows = {}
    for each in ax.texts:
        if getattr(each, "arrow_patch", None) is not None:
            arrows[each.xy[1]] = (each.xy[0] - each.xyann[0]) / per_mm
    heights = dict(zip((each.string for each in own.strings), ax.get_yticks(), strict=True))
    for string, move in moves.items():
        if move:
            (height,) = (y for y in arrows if 0 < heights[string] - y < 20)
            assert arrows[height] == pytest.approx(move, abs=0.01)
    best = {line.get_ydata()[0]: line for line in ax.lines if line.get_marker() == "D"}
    for each in own.strings:  # on its own string, not between two
        off = best[heights[each.string]].get_xdata()[0] - (x0 - value[0] * per_mm)
        assert off / per_mm == pytest.approx(each.saddle_move_mm, abs=0.01)
    texts = [each.get_text() for each in ax.texts]
    sharp = own.adjusters[0]
    assert f"{sharp.turns:g} turns clockwise" in texts  # sharp, head at the tail: draws it there
    assert "mm" in ax.get_xlabel()


def test_where_there_is_nothing_to_draw_it_says_so() -> None:
    nothing = build_report(assumed_instrument(), 440.0, [], [])
    assert "No string" in plot_errors(nothing).texts[0].get_text()
    assert "bridge" in plot_bridge(nothing).texts[0].get_text()
    assert "no note" in plot_course(nothing, 6).texts[0].get_text()


def test_drawn_on_axes_that_are_given(own) -> None:
    from matplotlib.figure import Figure

    axes = Figure().subplots(1, 3)
    assert plot_errors(own, ax=axes[0]) is axes[0]
    assert plot_course(own, 6, ax=axes[1]) is axes[1]
    assert plot_bridge(own, axes[2]) is axes[2]


def test_nothing_of_pyplot_is_left_behind(tmp_path) -> None:
    """Nor is matplotlib loaded before something is drawn, nor pandas, which no analysis needs."""
    code = (
        "import sys\n"
        "from pathlib import Path\n"
        "from analyzer.analysis import analyze_folder\n"
        "from analyzer.figures.files import write_figures\n"
        "from cli.main import app\n"
        f"app(['analyze', {str(SAMPLE_AUDIO / 'paired_saddles')!r}], standalone_mode=False)\n"
        f"report = analyze_folder({str(SAMPLE_AUDIO / 'paired_saddles')!r}, jobs=1)\n"
        "assert not {'matplotlib', 'pandas'} & set(sys.modules)\n"
        f"write_figures(report, Path({str(tmp_path / 'out')!r}))\n"
        "import matplotlib as mpl\n"
        "assert 'matplotlib.pyplot' not in sys.modules\n"
        "assert mpl.rcParams['svg.hashsalt'] is None\n"
    )
    env = {name: value for name, value in os.environ.items() if name != "DISPLAY"}
    done = subprocess.run([sys.executable, "-c", code], env=env, capture_output=True, check=False,
                          text=True)  # fmt: skip
    assert (done.returncode, done.stderr) == (0, "")


def test_in_black_and_white_and_for_the_colour_blind() -> None:
    """The two colours differ from white, and their lines also in form (the tests above)."""
    from page_checks import contrast

    for colour in (INK, FAINT, NOW, EARLIER):
        assert contrast(colour, "#ffffff") >= 4.5


# Files


def written(report, folder: Path) -> dict[str, bytes]:
    write_figures(report, folder)
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def test_files_are_whole_and_alike_each_time(demo, tmp_path) -> None:
    one, again = (written(demo, tmp_path / name) for name in ("one", "again"))
    stems = ["errors", "bridge", *(f"string_{n}" for n in range(1, 7))]
    assert sorted(one) == sorted(f"{stem}.{kind}" for stem in stems for kind in ("png", "svg"))
    assert set(one) <= set(figure_names())
    assert one == again
    for name, content in one.items():
        if name.endswith("png"):
            assert content.startswith(_PNG)
            # pHYs (PNG specification, 11.3.5.3): dots a metre; 0.0254 m to the inch.
            at = content.index(b"pHYs") + 4
            assert int.from_bytes(content[at : at + 4], "big") == pytest.approx(DPI / 0.0254, abs=1)
        else:
            root = ET.fromstring(content)  # noqa: S314 - our own
            assert root.tag.endswith("svg")
            assert b"<script" not in content
        assert not re.search(rb"20[0-9]{2}-[0-9]{2}-[0-9]{2}", content)


def test_names_of_files_hold_no_user_text(tmp_path) -> None:
    name = "../../<b>$\\frac{"
    report = report_with(Instrument(name, SIX_TUNING), ERRORS)
    files = written(report, tmp_path / "out")
    assert set(files) <= set(figure_names())
    assert "bridge.png" not in files  # there is none
    for content in files.values():
        assert b"frac" not in content


def test_strings_without_notes_have_no_file(own, tmp_path) -> None:
    gone = [each for each in own.recordings if each.string != 4]
    files = written(replace(own, recordings=tuple(gone)), tmp_path / "out")
    assert "string_4.png" not in files
    assert "string_5.png" in files


@pytest.mark.fault("figures that have no place, or no matplotlib")
def test_places_are_looked_at_before_the_work(tmp_path) -> None:
    file = tmp_path / "file"
    file.touch()
    check_folder(tmp_path)
    check_folder(tmp_path / "new")
    (tmp_path / "errors.png").mkdir()
    for place, said in (
        (file, "is not a folder"),
        (tmp_path / "no" / "new", "cannot be made"),
        (tmp_path, "cannot be written"),
    ):
        with pytest.raises(UnusableInputError, match=said):
            check_folder(place)


def test_analyze_writes_figures(called, tmp_path, monkeypatch) -> None:
    source = SAMPLE_AUDIO / "paired_saddles"
    told = called("analyze", source, "--plots", tmp_path / "plots", "--jobs", "1")
    assert (told.code, told.err) == (0, "")
    assert "String" in told.out  # the tables are shown as well
    assert (tmp_path / "plots" / "string_6.svg").exists()
    for more, said in (
        (("--plots", "-"), "--plots: is -"),
        (("--plots", source / "s6_open_1.wav"), "is not a folder"),
        (
            ("--plots", tmp_path / "no" / "no"),
            "cannot be made (No such file or directory). Give a folder",
        ),
        (("--plots", tmp_path, "--html", tmp_path / "errors.svg"), "goes there too"),
    ):
        told = called("analyze", source, *more)
        assert (told.code, told.out) == (2, "")
        assert said in told.err
        assert told.err.count("\n") == 1
    monkeypatch.setattr("analyzer.figures.style.find_spec", lambda _: None)
    told = called("analyze", source, "--plots", tmp_path / "plots")
    assert told.code == 2
    assert "pip install 'pluckcheck[plots]'" in told.err


@pytest.mark.fault("figures that would take the place of an input")
def test_figures_take_no_inputs_place(called, tmp_path) -> None:
    """An instrument file of that name, and a link to a recording."""
    source = SAMPLE_AUDIO / "paired_saddles"
    (tmp_path / "errors.png").symlink_to(source / "s6_open_1.wav")
    told = called("analyze", source, "--plots", tmp_path)
    assert told.code == 2
    assert "would write over" in told.err
