"""What a store costs: bytes an instrument, commits a second, and looking things up among 100,000.

Figures of this machine and its disk; no test hangs on them.
"""

from __future__ import annotations

import argparse
import sqlite3
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import closing, suppress
from dataclasses import replace
from pathlib import Path

import _paths
import numpy as np
from made_outcomes import METHOD, SPECIFICATION, UNDER, decided, outcome_of, session_of

from analyzer.cross_check import judge_together
from analyzer.errors import UnusableInputError
from analyzer.instrument.file import read_instrument
from analyzer.lot import identity
from analyzer.lot.judgement.specification import Limits, Requirement
from analyzer.lot.records import FileState, MeasuredFile, Outcome
from analyzer.lot.sessions.place import token
from analyzer.lot.store import Store, open_store
from analyzer.measure import measure_file
from analyzer.recording.limits import TRUSTED
from analyzer.report.build import build_report

DEMO = _paths.ROOT / "sample_audio" / "paired_saddles"
# As many figures as can be judged: error, open pitch and both drifts of each string.
EVERYTHING = replace(
    SPECIFICATION,
    open_pitch=Requirement(Limits(-5.0, 5.0)),
    sustain_drift=Requirement(Limits(-8.0, 2.0), take_scatter_cents=0.5),
)
COMMITS = 200
LOOKS = 50


def demo_outcomes(instruments: int) -> Iterator[Outcome]:
    """The demo's twelve recordings under several serial numbers, as if each had its own."""
    instrument = read_instrument(DEMO / "instrument.toml")
    paths = sorted(DEMO.glob("*.wav"))
    measured = [tuple(measure_file(path, (), instrument)) for path in paths]
    plucks = judge_together([each for file in measured for each in file], instrument, 440.0)
    report = build_report(instrument, 440.0, plucks, ())
    settings = identity.settings_digest(instrument, 440.0, TRUSTED, METHOD)
    for number in range(instruments):
        serial = f"26-W12-{number:05d}"
        files = tuple(
            _file(serial, path, each, settings) for path, each in zip(paths, measured, strict=True)
        )
        inputs = identity.inputs_digest([each.key for each in files], instrument, settings)
        session = session_of(serial, place=f"/srv/recordings/line 1/week 12/{serial}")
        yield Outcome(session, report, None, inputs, files, len(files), 2.0)


def _file(serial: str, path: Path, measured: tuple, settings: str) -> MeasuredFile:
    sha256 = identity.hashlib.sha256(f"{serial} {path.name}".encode()).hexdigest()
    state = FileState(path.name, token(str(path)), sha256)
    return MeasuredFile(state, identity.recording_key(sha256, path.name, (), settings), measured)


def bytes_by_table(path: Path, instruments: int) -> None:
    under = (EVERYTHING, identity.specification_digest(EVERYTHING))
    with open_store(path, create=True) as store:
        run = store.begin(METHOD, specification=under, lot="week 12")
        took_s = 0.0
        for outcome in demo_outcomes(instruments):
            decision = decided(outcome, EVERYTHING)
            start = time.perf_counter()
            store.add(run, outcome, decision)
            took_s += time.perf_counter() - start
    print(f"\nBytes an instrument of 12 recordings, from {instruments} of them, 24 values judged")
    print(f"{1000 * took_s / instruments:.1f} ms each to pack and keep")
    print("| table or index | rows | bytes |\n| --- | --- | --- |")
    with closing(sqlite3.connect(path)) as connection:
        rows = connection.execute(
            "SELECT d.name, sum(d.pgsize) FROM dbstat AS d GROUP BY 1 ORDER BY 2 DESC"
        ).fetchall()
        for name, size in rows:
            count = "" if name not in _TABLES else _count(connection, name) / instruments
            if size > _FEW_PAGES:
                print(f"| {name} | {count} | {size / instruments:.0f} |")
    print(f"| whole file | | {path.stat().st_size / instruments:.0f} |")


_FEW_PAGES = 5 * 4096  # what does not grow with the lot
_TABLES = set("analyses reports strings decisions value_decisions file_states recordings".split())


def _count(connection: sqlite3.Connection, table: str) -> float:
    return float(connection.execute(f"SELECT count(*) FROM {table}").fetchone()[0])  # noqa: S608


def commits(folder: Path) -> None:
    outcomes = [outcome_of(session_of(f"A-{number}")) for number in range(COMMITS)]
    decisions = [decided(each) for each in outcomes]
    print("\n| synchronous | commits a second, one an instrument | ms each |\n| --- | --- | --- |")
    for level in ("FULL", "NORMAL"):
        with open_store(folder / f"{level}.sqlite", create=True) as store:
            store._database._connection.execute(f"PRAGMA synchronous = {level}")
            run = store.begin(METHOD, specification=UNDER, lot="week 12")
            start = time.perf_counter()
            for outcome, decision in zip(outcomes, decisions, strict=True):
                store.add(run, outcome, decision)
            took_s = time.perf_counter() - start
        print(f"| {level} | {COMMITS / took_s:.0f} | {1000 * took_s / COMMITS:.1f} |")


def fill(path: Path, analyses: int) -> None:
    """So many analyses with strings and decisions, made by copying one in SQL."""
    with open_store(path, create=True) as store:
        run = store.begin(METHOD, specification=UNDER, lot="week 12")
        outcome = outcome_of(session_of("S-0"))
        store.add(run, outcome, decided(outcome), analyzed_s=0.0)
    numbers = "WITH RECURSIVE n(i) AS (VALUES(2) UNION ALL SELECT i+1 FROM n WHERE i < ?)"
    copies = {
        "analyses": {
            "id": "i",
            # Each instrument is measured twice.
            "serial": "'S-' || (i / 2)",
            "folded_serial": "'s-' || (i / 2)",
            "inputs": "randomblob(32)",
            "recorded_s": "(i * 7919) % 31536000",
            "analyzed_s": "i * 300.0",
        },
        "reports": {"analysis": "i"},
        "strings": {"analysis": "i"},
        "decisions": {"analysis": "i"},
        "value_decisions": {"analysis": "i"},
        "members": {"analysis": "i", "serial": "'S-' || (i / 2)", "repeat": "1 + i % 2"},
    }
    with closing(sqlite3.connect(path)) as connection:
        for table, changed in copies.items():
            names = [row[1] for row in connection.execute(f"PRAGMA table_info({table})")]
            values = ", ".join(changed.get(name, f"t.{name}") for name in names)
            one = "t.id = 1" if table == "analyses" else "t.analysis = 1"
            connection.execute(
                f"INSERT INTO {table} ({', '.join(names)}) {numbers} "  # noqa: S608
                f"SELECT {values} FROM n, {table} AS t WHERE {one}",
                (analyses,),
            )
        connection.commit()


def look_ups(path: Path, analyses: int) -> None:
    fill(path, analyses)
    print(f"\nAmong {analyses} analyses (a file of {path.stat().st_size / 1e6:.0f} MB)")
    print("| looked up | found | ms, median | ms, longest |\n| --- | --- | --- | --- |")
    late = 300.0 * (analyses - 1000)
    rng = np.random.default_rng(1)
    serials = iter(rng.integers(1, analyses // 2, 10 * LOOKS))
    asked: dict[str, Callable[[Store], int]] = {
        "the history of a serial number": lambda s: len(s.history_of(f"S-{next(serials)}")),
        "the first 100 since a moment": lambda s: len(list(s.since(late, most=100))),
        "all 1,001 since a moment": lambda s: len(list(s.since(late))),
        "the first 100 recorded since": lambda s: len(
            list(s.since(1000.0, by="recorded_s", most=100))
        ),
        "how many there are since a moment": lambda s: s.count_since(late),
        "how many there are at all": lambda s: s.count_since(0.0),
        "a serial number that is not there": _not_there,
    }
    for name, ask in asked.items():
        took_ms, found = [], 0
        for _ in range(LOOKS):
            with open_store(path, create=False) as store:
                start = time.perf_counter()
                found = ask(store)
                took_ms.append(1000 * (time.perf_counter() - start))
        print(f"| {name} | {found} | {np.median(took_ms):.2f} | {max(took_ms):.2f} |")
    with open_store(path, create=False) as store:
        for name, ask_frame in (("sessions", store.sessions_frame), ("values", store.values_frame)):
            start = time.perf_counter()
            frame = ask_frame("week 12")
            took_s = time.perf_counter() - start
            size = frame.memory_usage(deep=True).sum() / 1e6
            print(f"| the frame of {name} | {len(frame)} | {1000 * took_s:.0f} | {size:.0f} MB |")


def _not_there(store: Store) -> int:
    with suppress(UnusableInputError):
        return len(store.history_of("X"))
    return 0


def identities(folder: Path) -> None:
    path = folder / "large"
    path.write_bytes(np.random.default_rng(1).bytes(200_000_000))
    start = time.perf_counter()
    identity.sha256_of(path)
    print(f"\nSHA-256 of a file: {200 / (time.perf_counter() - start):.0f} MB/s")
    identity.method_version.cache_clear()
    start = time.perf_counter()
    identity.method_version()
    print(f"Version of the method, the first time: {1000 * (time.perf_counter() - start):.1f} ms")
    start = time.perf_counter()
    for number in range(1000):
        identity.recording_key("ab" * 32, f"s6_open_{number}.wav", (), "cd" * 32)
    print(f"Key of a recording: {1000 * (time.perf_counter() - start):.1f} us")


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__.split("\n", maxsplit=1)[0])
    options.add_argument("--instruments", type=int, default=200)
    options.add_argument("--analyses", type=int, default=100_000)
    given = options.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder)
        identities(place)
        commits(place)
        bytes_by_table(place / "bytes.sqlite", given.instruments)
        look_ups(place / "many.sqlite", given.analyses)


if __name__ == "__main__":
    main()
