"""lot.csv and lot.parquet: what their rows become, and one line for each that cannot be used."""

from __future__ import annotations

import random
import tracemalloc
from datetime import UTC, datetime, timedelta, timezone
from typing import Any

import fsspec
import numpy as np
import pandas as pd
import pytest
from named_lots import AT_S, NOW_S, put, put_table

from analyzer.errors import UnusableInputError
from analyzer.lot.records import Session
from analyzer.lot.sessions.layout import Layout, find_sessions
from analyzer.recording.labels import Label
from analyzer.recording.limits import Limits, ReadingRules

HEAD = "serial,file,string,fret,station,operator,time,repeat\n"
FILES = ("A1/a.wav", "A1/b.wav", "A2/a.wav", "A2/b.wav", "good/a.wav")
GOOD = "good,good/a.wav,6,open,line 1,night,2031-05-17T14:30:00+02:00,\n"


@pytest.fixture
def lot(tmp_path):
    """The folder that a table stands in, with recordings."""
    return put(tmp_path / "lot", FILES)


def read(lot, text: str, head: str = HEAD, **options: Any) -> Layout:
    put_table(lot, head + text)
    return find_sessions(str(lot), now_s=NOW_S, **options)


def sessions(lot, text: str, head: str = HEAD, **options: Any) -> list[Session]:
    found = read(lot, text, head, **options)
    assert found.faults == ()
    return list(found.sessions())


def only_fault(lot, text: str, **options: Any) -> str:
    """The one fault of a table whose session ``good`` goes on."""
    found = read(lot, text + GOOD, **options)
    assert [each.serial for each in found.sessions()] == ["good"]
    (fault,) = found.faults
    line = f"{fault.where}: {fault.reason}"
    assert line.isprintable()
    return line


def refused(lot, text: str, head: str = HEAD) -> str:
    with pytest.raises(UnusableInputError) as error:
        read(lot, text, head)
    assert str(error.value).isprintable()
    return str(error.value)


def test_rows_become_sessions(lot) -> None:
    text = (
        "A2,A2/a.wav,6,open,line 1,night,2031-05-17T14:30:00+02:00,\n"
        "A1,A1/a.wav,1,12,line 2,day,2031-05-17 14:31:30,2\n"
        "A2,A2/b.wav,6,OPEN,line 1,night,2031-05-17T14:31:00.75+02:00,1\n"
        "A1,A1/b.wav,,,line 2,day,,2\n"
    )
    found = read(lot, text)
    assert (found.count, found.faults) == (2, ())
    assert (found.stations(), found.table) == (["line 1", "line 2"], str(lot / "lot.csv"))
    first, second = found.sessions()
    assert (first.serial, first.station, first.operator, first.repeat) == (
        *("A2", "line 1", "night"),
        1,
    )
    assert (first.place, first.files) == (str(lot / "A2"), ("a.wav", "b.wav"))
    assert [each.label for rows in first.listed.values() for each in rows] == [
        Label(6, "open", 1),
        Label(6, "open", 2),
    ]
    assert first.listed["b.wav"][0].file == "b.wav"
    assert first.listed["b.wav"][0].where == "lot.csv, line 4"
    # The newest time, as it stood at the station: 12:31 UTC.
    assert first.recorded_at == "2031-05-17T14:31:00+02:00"
    assert first.recorded_s == datetime(2031, 5, 17, 12, 31, tzinfo=UTC).timestamp() + 0.75
    assert (second.repeat, second.recorded_at) == (2, "2031-05-17T14:31:30")
    assert second.recorded_s == datetime(2031, 5, 17, 14, 31, 30, tzinfo=UTC).timestamp()
    assert {name: [each.label for each in rows] for name, rows in second.listed.items()} == {
        "a.wav": [Label(1, "f12", 1)]
    }


def test_measurings_of_one_instrument_are_told_apart(lot) -> None:
    text = (
        "A1,A1/a.wav,6,open,line 1,night,,1\n"
        "A1,A1/b.wav,6,open,line 1,night,,2\n"
        "A1,A2/a.wav,6,open,line 1,day,,1\n"
        "A1,A2/b.wav,6,open,line 2,night,,1\n"
    )
    found = sessions(lot, text)
    assert [(each.station, each.operator, each.repeat) for each in found] == [
        ("line 1", "night", 1),
        ("line 1", "night", 2),
        ("line 1", "day", 1),
        ("line 2", "night", 1),
    ]
    labels = [rows[0].label for each in found for rows in each.listed.values()]
    assert labels == [Label(6, "open", 1)] * 4


def test_two_columns_are_enough(lot) -> None:
    found = read(lot, "A1,A1/a.wav\n", "serial,file\n")
    (session,) = found.sessions()
    assert (session.listed, session.station, session.operator, session.repeat) == ({}, "", "", 1)
    assert (session.recorded_at, session.recorded_s) == ("2031-05-17T12:30:00+00:00", AT_S)
    (warning,) = found.warnings
    assert warning.startswith("lot.csv gives no time for 1 measurings: when their files were last")


@pytest.mark.parametrize("between", [",", ";", "\t"])
@pytest.mark.parametrize("mark", ["", "\ufeff"])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_forms_of_csv(lot, between, mark, end) -> None:
    rows = (
        ("File", " SERIAL ", "String", "fret", "repeat"),
        ("A1\\a.wav", '"A;,1"', "6,0" if between == ";" else "6.0", "12.0", "1"),
        ("", "", "", "", ""),
        (".\\A1\\\\b.wav", '"A;,1"', "6", "f12", ""),
    )
    text = mark + end.join(between.join(row) for row in rows)
    (lot / "lot.csv").write_bytes(text.encode())
    (found,) = find_sessions(str(lot), now_s=NOW_S).sessions()
    assert (found.serial, found.files) == ("A;,1", ("a.wav", "b.wav"))
    labels = [rows[0].label for rows in found.listed.values()]
    assert labels == [Label(6, "f12", 1), Label(6, "f12", 2)]


def test_line_is_that_of_an_editor(lot) -> None:
    text = 'A1,A1/a.wav,6,open,"line\n1",,,\nA2,A2/a.wav,99,open,,,,\n'
    faults = read(lot, text + GOOD).faults
    assert [each.where for each in faults] == [
        "lot.csv, line 3, serial A1",  # where it ends
        "lot.csv, line 4, serial A2",
    ]


def test_table_may_be_given_itself(lot) -> None:
    table = put_table(lot, "serial;file\nA1;A1/a.wav\n", "Week 12.CSV")
    found = find_sessions(str(table), now_s=NOW_S)
    assert [each.place for each in found.sessions()] == [str(lot / "A1")]
    assert found.table == str(table)


def test_files_of_several_folders_have_the_folder_above(lot) -> None:
    put(lot, ["line 1/A3/open/a.wav", "line 1/A3/fretted/b.wav", "loose.wav"])
    one, other = sessions(
        lot, "A3,line 1/A3/open/a.wav\nA3,line 1/A3/fretted/b.wav\nA4,loose.wav\n", "serial,file\n"
    )
    assert (one.place, one.files) == (str(lot / "line 1" / "A3"), ("open/a.wav", "fretted/b.wav"))
    assert (other.place, other.files) == (str(lot), ("loose.wav",))


def test_nearest_instrument_file_holds(lot) -> None:
    put(lot, ["instrument.toml", "x/instrument.toml", "x/A3/a.wav", "A1/instrument.toml"])
    found = sessions(lot, "A1,A1/a.wav\nA2,A2/a.wav\nA3,x/A3/a.wav\n", "serial,file\n")
    assert [each.instrument_file for each in found] == [
        str(lot / "A1" / "instrument.toml"),
        str(lot / "instrument.toml"),
        str(lot / "x" / "instrument.toml"),
    ]


def frame() -> pd.DataFrame:
    """Two measurings with the types that a data frame has: holes make whole numbers floats."""
    zone = timezone(timedelta(hours=2))
    return pd.DataFrame(
        {
            "serial": [101, 101, 102],
            "file": ["A1/a.wav", "A1\\b.wav", "A2/a.wav"],
            "string": [6.0, np.nan, 5.0],
            "fret": ["open", None, "12"],
            "time": pd.to_datetime(
                [datetime(2031, 5, 17, 14, 30, tzinfo=zone), pd.NaT, pd.NaT], utc=True
            ),
        }
    )


def test_parquet_says_what_csv_says(lot) -> None:
    frame().to_parquet(lot / "lot.parquet", index=False)
    first, second = find_sessions(str(lot), now_s=NOW_S).sessions()
    assert (first.serial, first.files) == ("101", ("a.wav", "b.wav"))
    assert first.listed["a.wav"][0].label == Label(6, "open", 1)
    assert list(first.listed) == ["a.wav"]
    assert first.recorded_at == "2031-05-17T12:30:00+00:00"
    assert second.listed["a.wav"][0].where == "lot.parquet, row 3"
    (lot / "lot.parquet").rename(lot / "other.parquet")
    frame().to_csv(lot / "lot.csv", index=False)
    one, other = find_sessions(str(lot), now_s=NOW_S).sessions()
    assert (one.files, one.recorded_s) == (first.files, first.recorded_s)
    assert [each.label for rows in other.listed.values() for each in rows] == [Label(5, "f12", 1)]


def test_table_behind_a_url(lot) -> None:
    put_table(lot, "serial,file\nA1,A1/a.wav\nA2,A2/no.wav\nA3,no/a.wav\n")
    system = fsspec.filesystem("memory")
    system.put(str(lot), "/lot", recursive=True)
    try:
        for place in ("memory://lot", "memory://lot/lot.csv"):
            found = find_sessions(place, now_s=NOW_S)
            (session,) = found.sessions()
            assert (session.place, session.files) == ("memory://lot/A1", ("a.wav",))
            assert ["names file" in each.reason for each in found.faults] == [True, True]
    finally:
        system.rm("/", recursive=True)


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ("A1,A1/no.wav,6,open,,,,", "names file 'A1/no.wav', and there is none. Give the name"),
        ("A1,,6,open,,,,", "has file ''. Give the name of a recording"),
        ("A1,../a.wav,6,open,,,,", "names file '../a.wav', which is not given from the table's"),
        ("A1,A1\\..\\a.wav,6,open,,,,", "which is not given from the table's folder down. Put"),
        ("A1,/etc/passwd,,,,,,", "names file '/etc/passwd', which is not given from the table's"),
        ("A1,C:\\a.wav,,,,,,", "which is not given from the table's folder down"),
        ("A1,C:a.wav,,,,,,", "which is not given from the table's folder down"),
        ("A1,s3://bucket/a.wav,,,,,,", "which is not given from the table's folder down"),
        ("A1,a\0.wav,,,,,,", "which cannot be looked at ("),
        (f"A1,{'a' * 300}.wav,,,,,,", "which cannot be looked at (File name too long)"),
        ("A1,A1/a.wav,13,open,,,,", "has string '13'. Give 1 to 12. String 1 is the thinnest."),
        ("A1,A1/a.wav,0,open,,,,", "has string '0'. Give 1 to 12"),
        ("A1,A1/a.wav,E2,open,,,,", "has string 'E2'. Give 1 to 12"),
        ("A1,A1/a.wav,6.5,open,,,,", "has string '6.5'. Give 1 to 12"),
        ("A1,A1/a.wav,\u0666,open,,,,", "has string '\u0666'. Give 1 to 12"),
        ("A1,A1/a.wav,6,f37,,,,", "has fret 'f37'. Give open, f12, h12 or another fret up to 36"),
        ("A1,A1/a.wav,6,-1,,,,", "has fret '-1'. Give open"),
        ("A1,A1/a.wav,6,12.5,,,,", "has fret '12.5'. Give open"),
        ("A1,A1/a.wav,6,,,,,", "gives string '6' and no fret. Give both, or neither where"),
        ("A1,A1/a.wav,,12,,,,", "gives fret '12' and no string. Give both"),
        ("A1,A1/a.wav,6,open,,,17.05.2031 14:30,", "has time '17.05.2031 14:30'. Give ISO 8601"),
        ("A1,A1/a.wav,6,open,,,1931-05-17,", "has time '1931-05-17'. Give ISO 8601 from 1970 on"),
        ("A1,A1/a.wav,6,open,,,9999-12-31T23:59:59-14:00,", "has time '9999-12-31T23:59:59-14:00'"),
        ("A1,A1/a.wav,6,open,,,2031-02-30,", "has time '2031-02-30'. Give ISO 8601"),
        ("A1,A1/a.wav,6,open,,,,0", "has repeat '0'. Give 1 to 1000. Count an instrument's"),
        ("A1,A1/a.wav,6,open,,,,two", "has repeat 'two'. Give 1 to 1000"),
        ("A1,A1/a.wav,6,open,,,,1.5", "has repeat '1.5'. Give 1 to 1000"),
        ("A1,A1/a.wav,6,open,a\x1bb,,,", "has a station that holds characters that cannot be prin"),
        (f"A1,A1/a.wav,6,open,,{'x' * 201},,", "has a operator that has more than 200 characters"),
        ("A1,A1/a.wav,6,open,,,,,x", "has more cells than the head has columns. Put a cell"),
    ],
)
@pytest.mark.fault("a bad row in a lot's table")
def test_bad_row_costs_its_session(lot, row, words) -> None:
    line = only_fault(lot, f"A1,A1/b.wav,6,open,,,,\n{row}\n")
    assert line.startswith("lot.csv, line 3, serial A1: ")
    assert words in line


def test_more_bad_rows_are_counted(lot) -> None:
    line = only_fault(lot, "A1,no,,,,,,\nA1,A1/a.wav,,,,,,\nA1,nor,,,,,,\nA1,not,,,,,,\n")
    assert line.startswith("lot.csv, line 2, serial A1: names file 'no'")
    assert line.endswith("And 2 more of its rows have faults.")


def test_row_whose_measuring_is_not_known_costs_all_of_its_instrument(lot) -> None:
    text = "A1,A1/a.wav,,,line 1,,,1\nA1,A1/b.wav,,,line 1,,,x\nA1,A2/a.wav,,,line 1,,,2\n"
    line = only_fault(lot, text)
    assert line.startswith("lot.csv, line 3, serial A1: has repeat 'x'")


@pytest.mark.fault("a row without serial number")
def test_row_without_serial_number(lot) -> None:
    line = only_fault(lot, ",A1/b.wav,6,open,,,,\n")
    assert line == "lot.csv, line 2: has a serial that is empty. Give the serial in plain text."


@pytest.mark.fault("a file listed twice")
def test_file_listed_twice(lot) -> None:
    line = only_fault(lot, "A1,A1/a.wav,6,open,,,,\nA1,.\\A1\\a.wav,6,12,,,,\n")
    assert line == (
        "lot.csv, line 2 and 3: list file 'A1/a.wav' twice for serial A1. A recording counts once; "
        "delete a line."
    )


@pytest.mark.parametrize(
    ("other", "serials"),
    [("A2,A1/a.wav,6,open,,,,", "A1 and A2"), ("A1,A1/a.wav,6,open,,,,2", "A1")],
)
@pytest.mark.fault("one file listed for two measurings")
def test_one_file_of_two_measurings_costs_both(lot, other, serials) -> None:
    found = read(lot, f"A1,A1/a.wav,6,open,,,,\n{other}\n{GOOD}")
    assert [each.serial for each in found.sessions()] == ["good"]
    assert [each.where for each in found.faults] == ["lot.csv, line 2 and 3"] * 2
    (reason,) = {each.reason for each in found.faults}
    assert reason.startswith(f"list file 'A1/a.wav' in several measurings, of serial {serials}. ")
    assert reason.endswith("Give each measuring recordings of its own.")


def test_two_files_of_one_name(lot) -> None:
    line = only_fault(lot, "A1,A1/a.wav,6,open,,,,\nA1,A2/a.wav,6,12,,,,\n")
    assert line.startswith("lot.csv, line 2 and 3: list two files called 'a.wav' for serial A1.")


@pytest.mark.fault("one serial number spelled in two ways")
def test_one_serial_number_spelled_in_two_ways(lot) -> None:
    line = only_fault(lot, "A1,A1/a.wav,6,open,,,,\na1,A1/b.wav,6,open,line 2,,,\n")
    assert line == (
        "lot.csv, line 2 and 3: spell one serial number in ways of their own: A1, a1. Spell it "
        "alike."
    )


@pytest.mark.fault("more files in an instrument than may be")
def test_more_files_than_may_be(lot) -> None:
    text = "A1,A1/a.wav,,,,,,\nA1,A1/b.wav,,,,,,\n"
    line = only_fault(lot, text, rules=ReadingRules(Limits(files=1)))
    assert line.startswith("lot.csv, serial A1: holds more than 1 recordings")


@pytest.mark.fault("a stranger's link out of the lot")
def test_link_out_of_the_lot_of_a_stranger(lot, tmp_path) -> None:
    (lot / "x").symlink_to(put(tmp_path / "elsewhere", ["a.wav"]))
    text = "A1,x/a.wav,,,,,,\n"
    assert read(lot, text).count == 1
    line = only_fault(lot, text, rules=ReadingRules(untrusted=True))
    assert "which a link takes out of the table's folder. Put the recording itself" in line


@pytest.mark.parametrize(
    ("head", "words"),
    [
        ("", "lacks the column serial and file; its head has nothing. Give a table with"),
        ("serial,name\n", "lacks the column file; its head has serial, name"),
        ("serial|file\n", "lacks the column serial and file; its head has serial|file"),
        ("serial,file,File\n", "has the column 'file' twice. Keep one."),
        ('"serial,file\n', "lacks the column serial and file; its head has serial,file"),
        ("serial,file\n", "has no row below its head. Give a row for each recording."),
        ("serial,file\n,\n\n , \n", "has no row below its head"),
        ('serial,file\nA1,"A1/a.wav" x\n', "line 2: is no CSV"),
        ('serial,file\nA1,"A1/a.wav\nA2,A2/a.wav\n', "is no CSV (unexpected end of data)"),
        (f"serial,file\nA1,{'x' * 100_001}\n", "line 2: has more than 100000 characters"),
    ],
)
@pytest.mark.fault("a lot's table that is none")
def test_wrong_table(lot, head, words) -> None:
    line = refused(lot, "", head)
    assert line.startswith("lot.csv")
    assert words in line


@pytest.mark.fault("a lot's table in another encoding")
def test_table_in_another_encoding(lot) -> None:
    (lot / "lot.csv").write_bytes("serial,file\nA1,A1/a.wav\nÄ2,b\n".encode("latin-1"))
    with pytest.raises(UnusableInputError, match=r"is not plain text in UTF-8\. Save it again as"):
        find_sessions(str(lot))


@pytest.mark.parametrize("content", [b"", b"PAR1", b"PAR1" + bytes(100) + b"PAR1"])
@pytest.mark.fault("a lot's table that is damaged")
def test_damaged_parquet(lot, content) -> None:
    (lot / "lot.parquet").write_bytes(content)
    with pytest.raises(UnusableInputError, match=r"lot\.parquet: cannot be read as Parquet"):
        find_sessions(str(lot))


@pytest.mark.fault("a lot's table that is a folder")
def test_table_that_is_a_folder(lot) -> None:
    (lot / "lot.csv").mkdir()
    with pytest.raises(UnusableInputError, match=r"lot\.csv: is not a regular file\. Put the"):
        find_sessions(str(lot))


def test_unknown_columns_are_named(lot) -> None:
    head = "serial,file,operater,time,comment\n"
    found = read(lot, "A1,A1/a.wav,x,2031-05-17,y\n", head)
    assert found.warnings == ("lot.csv: not read: operater, comment. Mend a misspelt column.",)


def timed(lot, *rows: tuple[str, str]) -> tuple[str, ...]:
    """Warnings of a table with stations and times in the order of its rows."""
    put(lot, (f"T/{number}.wav" for number in range(len(rows))))
    lines = (f"T{n},T/{n}.wav,{station},{at}\n" for n, (station, at) in enumerate(rows))
    found = read(lot, "".join(lines), "serial,file,station,time\n")
    assert found.faults == ()
    return found.warnings


@pytest.mark.fault("a station's clock that runs backwards")
def test_clock_that_runs_backwards(lot) -> None:
    (warning,) = timed(
        lot,
        ("line 1", "2031-05-17T14:30:00Z"),
        ("line 2", "2031-05-17T14:00:00Z"),  # another clock
        ("line 1", "2031-05-17T14:31:00Z"),
        ("line 1", "2031-05-17T14:30:30Z"),
        ("line 1", "2031-05-17T14:30:10Z"),
    )
    assert warning == (
        "lot.csv, line 5: time at station line 1 runs backwards, from 2031-05-17T14:31:00+00:00 to "
        "2031-05-17T14:30:30+00:00, and so 1 more times. The charts go by time; check the clock of "
        "that recorder, or mend the times."
    )


def test_summer_time_does_not_run_backwards(lot) -> None:
    assert timed(lot, ("", "2031-10-26T02:30+02:00"), ("", "2031-10-26T02:10+01:00"))[1:] == ()
    (warning,) = timed(lot, ("", "2031-03-26T02:10+01:00"), ("", "2031-03-26T02:30+02:00"))
    assert "line 3: time runs backwards, from 2031-03-26T02:10:00+01:00 to 2031-03-2" in warning


def test_clocks_of_many_stations_stay_few_lines(lot) -> None:
    rows = [(f"line {n}", at) for n in range(30) for at in ("2031-05-17Z", "2031-05-16Z")]
    rows = [(station, f"{at[:-1]}T00:00Z") for station, at in rows]
    found = timed(lot, *rows)
    assert len(found) == 21
    assert found[-1] == "Time runs backwards at 10 more stations."


@pytest.mark.fault("times that lie in the future")
def test_times_in_the_future(lot) -> None:
    # Now is 2031-06-01T00:00Z; without an offset it may be a clock of the zone UTC+14.
    assert timed(lot, ("a", "2031-06-01T00:01Z")) == ()
    assert timed(lot, ("a", "2031-06-01T13:59")) == ()
    (warning,) = timed(lot, ("a", "2031-06-01T00:10Z"))
    assert warning == (
        "lot.csv, line 2: time 2031-06-01T00:10:00+00:00 lies in the future. Check the clock of "
        "that recorder."
    )
    (warning,) = timed(lot, ("a", "2031-06-01T14:10"))
    assert "lies in the future" in warning


def test_offsets_now_and_then(lot) -> None:
    (warning,) = timed(lot, ("a", "2031-05-17T10:00"), ("b", "2031-05-17T10:00+09:00"))
    assert warning == (
        "Some times have an offset from UTC (2031-05-17T10:00:00+09:00 in lot.csv, line 3) and "
        "some have none (2031-05-17T10:00:00 in lot.csv, line 2): those without count as UTC. "
        "Give all with an offset."
    )


def test_rows_in_any_order_give_the_same_sessions(lot) -> None:
    rows = [f"A{n % 40},B/{n}.wav,{1 + n // 40},open,line {n % 3},,,\n" for n in range(240)]
    put(lot, (f"B/{n}.wav" for n in range(240)))

    def of(text: str) -> set[tuple[object, ...]]:
        found = sessions(lot, text)
        return {(each.serial, each.station, frozenset(each.files)) for each in found}

    shuffled = random.Random(7).sample(rows, len(rows))  # noqa: S311
    assert of("".join(rows)) == of("".join(shuffled))
    assert sum(len(files) for _, _, files in of("".join(shuffled))) == 240


def peak_bytes(lot, count: int) -> int:
    put_table(lot, "serial,file\n" + "".join(f"A{n // 2},B/{n}.wav\n" for n in range(count)))
    tracemalloc.start()
    found = find_sessions(str(lot), now_s=NOW_S)
    assert sum(len(each.files) for each in found.sessions()) == count
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return peak


def test_memory_does_not_grow_with_the_table(lot) -> None:
    put(lot, (f"B/{n}.wav" for n in range(3600)))
    peak_bytes(lot, 3600)  # what is imported on the way, and the lists of free objects
    # 1400 sessions more, as for folders.
    assert peak_bytes(lot, 3600) - peak_bytes(lot, 800) < 1400 * 50
