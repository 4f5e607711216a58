"""Mutation testing: does a test fail when the program is changed in one place?

    python tests/mutation/run.py --module analyzer/bridge --module analyzer/music.py
    python tests/mutation/run.py --sample 200 --module analyzer/pitch

Needs cosmic-ray, which makes the mutants. It first runs the tests once, watched, to learn which of
them touch what (kept with ``--map``), then every mutant with the tests that touch its statement,
the quickest first and no more than ``--most-s`` seconds of them, in a process forked off with
everything imported. Where the tests that are left out would have told a mutant, it counts as
survived all the same. Results go to ``--out``, a line of JSON each; ``--again`` takes from such a
file the mutants that survived.

Subprocesses are not changed, so tests of the command in a process of its own tell nothing here.
"""

from __future__ import annotations

import argparse
import importlib
import json
import os
import random
import sys
import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Callable
from dataclasses import asdict
from functools import partial
from pathlib import Path

import patching
import pytest
from mutants import ROOT, Mutant, modules_in, mutants_of
from scipy.stats import binomtest
from touched import Touched, Watcher
from trial import (
    KILLED,
    SURVIVED,
    TIMED_OUT,
    UNTOUCHED,
    Chooser,
    InFunctions,
    Result,
    run_on_import,
)

MODULES = (
    *("analyzer/pitch", "analyzer/plucks.py", "analyzer/onsets.py", "analyzer/music.py"),
    *("analyzer/string_model", "analyzer/strings.py", "analyzer/frets", "analyzer/bridge"),
)
# Where these modules' tests are. Tests of pages, lots and faults go through them as well, slowly.
TESTS = ("bridge", "pitch", "strings", "outside", "recording", "report/test_examples.py")
_LEFT_OUT = ("--ignore-glob=*test_lot_*", "--ignore-glob=*test_decoder.py", "--ignore-glob=*phone*")
_QUIET = ("-q", "-p", "no:cacheprovider", *_LEFT_OUT)
_NEEDED = ("librosa", "pandas", "scipy.signal", "scipy.optimize", "scipy.stats", "jinja2", "rich")


def main() -> None:
    asked = _asked()
    os.chdir(ROOT)
    sys.path.insert(0, str(ROOT))
    tests = [f"tests/{each}" for each in TESTS] if not asked.tests else asked.tests
    touched = _touched(tests, asked.map)
    if not touched.seconds:
        sys.exit("No test passed; run them by pytest to see why.")
    wanted = _wanted(asked)
    print(f"{len(wanted)} mutants, {len(touched.seconds)} tests", file=sys.stderr)
    results = _tried(wanted, touched, asked.most_s, tests, asked.out)
    for line in _summary(results):
        print(line)


def _asked() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    add = parser.add_argument
    add("--module", action="append", help="a module or folder, from the root; repeatable")
    add("--tests", action="append", help="a test module or folder, from the root; repeatable")
    add("--sample", type=int, help="so many mutants, drawn at random; without it all")
    add("--seed", type=int, default=1, help="of the draw")
    add("--most-s", type=float, default=60.0, help="seconds of tests a mutant")
    add("--map", type=Path, help="keeps which tests touch what; used where it is there")
    add("--out", type=Path, default=Path(tempfile.gettempdir()) / "mutants.jsonl")
    add("--again", type=Path, help="the survivors in such a file, once more")
    add("--on-import", action="store_true", help="those alone that change what an import does")
    return parser.parse_args()


def _wanted(asked: argparse.Namespace) -> list[Mutant]:
    if asked.again:
        rows = map(json.loads, asked.again.read_text(encoding="utf-8").splitlines())
        return [Mutant(**row["mutant"]) for row in rows if row["outcome"] in {SURVIVED, UNTOUCHED}]
    modules = modules_in(asked.module or list(MODULES))
    every = [mutant for module in modules for mutant in mutants_of(module)]
    if asked.on_import:
        every = [mutant for mutant in every if patching.changed_functions(mutant) is None]
    if asked.sample is None or asked.sample >= len(every):
        return every
    drawn = random.Random(asked.seed).sample(every, asked.sample)  # noqa: S311 - no secret
    return sorted(drawn, key=every.index)


def _touched(tests: list[str], kept: Path | None) -> Touched:
    """Learned in a process of its own: this one must hold nothing of the project."""
    path = kept or Path(tempfile.mkdtemp()) / "map.json"
    if not path.is_file():

        def learn() -> None:
            watcher = Watcher()
            pytest.main([*_QUIET, *tests], plugins=[watcher])
            watcher.touched.save(path)

        _aside(learn)
    return Touched.load(path)


def _tried(
    wanted: list[Mutant], touched: Touched, most_s: float, tests: list[str], out: Path
) -> list[Result]:
    _warm_up()
    out.write_text("", encoding="utf-8")
    tell = partial(_tell, out, len(wanted), time.monotonic())
    chooser = Chooser(touched, most_s)
    within = [mutant for mutant in wanted if patching.changed_functions(mutant) is not None]
    on_import = [mutant for mutant in wanted if mutant not in set(within)]
    if within:
        plugin = InFunctions(within, chooser, tell)
        _aside(lambda: pytest.main([*_QUIET, *tests], plugins=[plugin]))
    for mutant in on_import:
        tell(chooser.tried(mutant, run_on_import, when_imported=True))
    rows = map(json.loads, out.read_text(encoding="utf-8").splitlines())
    return [Result(Mutant(**row["mutant"]), row["outcome"], row["test"]) for row in rows]


def _tell(out: Path, count: int, began: float, result: Result) -> None:
    with out.open("a", encoding="utf-8") as file:
        file.write(json.dumps(asdict(result)) + "\n")
    done = len(out.read_text(encoding="utf-8").splitlines())
    text = f"{done}/{count} {time.monotonic() - began:.0f} s {result.outcome}: {result.mutant.name}"
    print(text, file=sys.__stderr__, flush=True)


def _warm_up() -> None:
    """Import the libraries and compile what compiles itself, once for all forks."""
    for name in _NEEDED:
        importlib.import_module(name)
    analysis = importlib.import_module("analyzer.analysis")
    analysis.analyze_folder(ROOT / "sample_audio" / "own_saddles", jobs=1)
    patching.forget_what_is_imported()


def _aside(work: Callable[[], object]) -> None:
    child = os.fork()
    if not child:
        code = 1
        try:
            os.dup2(os.open(os.devnull, os.O_WRONLY), 1)  # pytest's dots
            work()
            code = 0
        except BaseException:  # noqa: BLE001 - it ends here, whatever it is
            traceback.print_exc()
        finally:
            os._exit(code)
    if os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]):
        sys.exit("the tests could not be run, see above")


def _summary(results: list[Result]) -> list[str]:
    survivors = [r for r in results if r.outcome in {SURVIVED, UNTOUCHED}]
    lines = [f"{r.mutant.name}  [{r.outcome}]  {r.mutant.change()}" for r in survivors]
    modules = sorted({result.mutant.module for result in results})
    for module in [*modules, "all"]:
        outcomes = Counter(r.outcome for r in results if module in {r.mutant.module, "all"})
        lines.append(f"{module:42} {_figures(outcomes)}")
    return lines


def _figures(outcomes: Counter[str]) -> str:
    count, killed = outcomes.total(), outcomes[KILLED] + outcomes[TIMED_OUT]
    interval = binomtest(killed, count).proportion_ci(method="wilson")
    return (
        f"{count:5} mutants, {killed:5} killed ({outcomes[TIMED_OUT]} timed out), "
        f"{outcomes[SURVIVED]:4} survived, {outcomes[UNTOUCHED]:4} without a test: "
        f"{100 * killed / count:.1f} % ({100 * interval.low:.1f} to {100 * interval.high:.1f})"
    )


if __name__ == "__main__":
    main()
