"""takes.csv: what it says goes before what a file's name says, and every cell is checked."""

from __future__ import annotations

import numpy as np
import pytest
import soundfile
from made_folders import TUNINGS, analyzed, made_instrument
from whole_takes import RATE_HZ, plan_of, whole_take

from analyzer.errors import UnusableInputError
from analyzer.instrument.model import assumed_instrument
from analyzer.recording.labels import Label
from analyzer.recording.table import MOST_ROWS, read_table

SIX = assumed_instrument()
HEAD = "file,start_s,end_s,string,fret\n"


def table(tmp_path, text: str, head: str = HEAD):
    path = tmp_path / "takes.csv"
    path.write_text(head + text, encoding="utf-8")
    return read_table(path, SIX, [tmp_path / "a.wav", tmp_path / "b, c.wav"])


def test_rows_become_labels_with_takes_in_order(tmp_path) -> None:
    rows = table(
        tmp_path,
        "a.wav,1.5,5,6,open\n"
        "a.wav, 6 , ,E2, F12\n"
        '"b, c.wav",,,6,0\n'
        "a.wav,9,12.25,1,h12\n"
        '"b, c.wav",3,,,\n',
    )
    first, second, third = rows["a.wav"]
    assert (first.start_s, first.end_s, first.label) == (1.5, 5.0, Label(6, "open", 1))
    assert (second.start_s, second.end_s, second.label) == (6.0, np.inf, Label(6, "f12", 1))
    assert (third.end_s, third.label) == (12.25, Label(1, "h12", 1))
    take, whole = rows["b, c.wav"]
    assert take.label == Label(6, "open", 2)
    assert (whole.start_s, whole.label) == (3.0, None)


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ("no.wav,,,6,open", "names file 'no.wav', and there is no such recording"),
        ("../a.wav,,,6,open", "which is not in the table's own folder. Give the name"),
        ("/etc/passwd,,,6,open", "which is not in the table's own folder"),
        ("..\\a.wav,,,6,open", "which is not in the table's own folder"),
        ("C:a.wav,,,6,open", "which is not in the table's own folder"),
        ("a.wav,x,,6,open", "has start_s 'x'. Give seconds from 0 to 36000"),
        ("a.wav,-1,,6,open", "has start_s '-1'. Give seconds"),
        ("a.wav,,nan,6,open", "has end_s 'nan'. Give seconds"),
        ("a.wav,,99999,6,open", "has end_s '99999'. Give seconds"),
        ("a.wav,5,5,6,open", "has end_s 5, which is not after start_s 5"),
        ("a.wav,,,7,open", "names string '7'. This instrument has strings 6 to 1"),
        ("a.wav,,,0,open", "names string '0'"),
        ("a.wav,,,C4,open", "names string 'C4'"),
        ("a.wav,,,6,f37", "has fret 'f37'. Give open, f12, h12 or another fret up to 36"),
        ("a.wav,,,6,twelve", "has fret 'twelve'"),
        ("a.wav,,,6,", "gives string '6' and no fret. Give both, or neither"),
        ("a.wav,,,,open", "gives fret 'open' and no string. Give both, or neither"),
        ("a.wav,,,6,open,more", "has more cells than the head has columns"),
        ('"a.wav,,,6,open', "is no CSV"),
    ],
)
@pytest.mark.fault("a wrong row in takes.csv")
def test_faults_name_the_line_the_value_and_the_remedy(tmp_path, row, words) -> None:
    with pytest.raises(UnusableInputError) as caught:
        table(tmp_path, row + "\n")
    message = str(caught.value)
    assert message.startswith("takes.csv, line 2: ") or "is no CSV" in message
    assert words in message
    assert message.isprintable()


@pytest.mark.fault("takes.csv without its columns, or too large")
def test_heads_and_sizes(tmp_path) -> None:
    with pytest.raises(UnusableInputError, match="Give a table with the columns file, start_s"):
        table(tmp_path, "", head="file,string,fret\n")
    with pytest.raises(UnusableInputError, match="columns of an empty file"):
        table(tmp_path, "", head="")
    with pytest.raises(UnusableInputError, match=rf"is row {MOST_ROWS + 1}\. Keep to {MOST_ROWS}"):
        table(tmp_path, "a.wav,,,6,open\n" * (MOST_ROWS + 1))
    with pytest.raises(UnusableInputError, match="larger than 1 MB"):
        table(tmp_path, "a.wav,,,6,open\n" * 100_000)


def test_table_goes_before_names_and_beyond_the_end_is_said(tmp_path, called) -> None:
    """The table tells the truth of a file whose name does not, and of the strings in a long one."""
    rng = np.random.default_rng(5)
    made = made_instrument(rng, TUNINGS[4])
    take = whole_take(plan_of(made, 1), rng)
    soundfile.write(tmp_path / "s1_f12_1.wav", take.samples, RATE_HZ, subtype="PCM_24")
    rows = [
        f"s1_f12_1.wav,{each.start_s - 0.2:.2f},{each.start_s + each.rings_s:.2f},"
        f"{each.string},{each.fret}\n"
        for each in take.played
    ]
    (tmp_path / "takes.csv").write_text(HEAD + "".join(rows), encoding="utf-8")
    report = analyzed(tmp_path, made.instrument)
    assert report.complete
    for string in report.strings:
        assert string.error_cents == pytest.approx(made.errors_cents[string.string], abs=0.5)
    (tmp_path / "takes.csv").write_text(HEAD + "s1_f12_1.wav,900,,4,open\n", encoding="utf-8")
    (left_out,) = analyzed(tmp_path, made.instrument).rejected
    assert left_out.reason.startswith("has nothing from 900 s on: it is ")
    (tmp_path / "takes.csv").write_text(HEAD + "../x.wav,,,4,open\n", encoding="utf-8")
    done = called("analyze", tmp_path)
    assert (done.code, done.out) == (2, "")
    assert "takes.csv, line 2: names file '../x.wav'" in done.err


def test_table_may_say_that_a_file_holds_many(tmp_path) -> None:
    rng = np.random.default_rng(6)
    made = made_instrument(rng, TUNINGS[4])
    soundfile.write(tmp_path / "phone.wav", whole_take(plan_of(made, 1), rng).samples, RATE_HZ)
    (tmp_path / "takes.csv").write_text(HEAD + "phone.wav,,,,\n", encoding="utf-8")
    assert analyzed(tmp_path, made.instrument).complete
