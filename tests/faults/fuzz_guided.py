"""Fuzzing guided by coverage, where the package atheris installs: names, tables and TOML.

    pip install -e '.[test,fuzz]'
    python tests/faults/fuzz_guided.py instrument -max_total_time=60

The first word is a kind of text as in ``mutations``; the others are libFuzzer's. It starts from the
right files, and ends with a traceback and the content at the first fault.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

_TESTS = Path(__file__).parents[1]
sys.path[:0] = [str(_TESTS / each) for each in ("../sample_audio", "support", "published")]

import atheris  # noqa: E402

with atheris.instrument_imports(include=["analyzer"]):
    from mutations import judge, originals

TEXT_KINDS = ("label", "takes", "instrument", "strings", "turned", "lot")


def main() -> None:
    kind = sys.argv.pop(1) if len(sys.argv) > 1 else ""
    if kind not in TEXT_KINDS:
        sys.exit(f"give one of {', '.join(TEXT_KINDS)}")
    with tempfile.TemporaryDirectory() as corpus, tempfile.TemporaryDirectory() as scratch:
        for number, (_, content) in enumerate(originals(kind)):
            (Path(corpus) / str(number)).write_bytes(content)
        name = originals(kind)[0][0]

        def read(content: bytes) -> None:
            fault = judge(kind, name, content, Path(scratch))
            if fault is not None:
                raise AssertionError(fault)

        atheris.Setup([*sys.argv, corpus], read)
        atheris.Fuzz()


if __name__ == "__main__":
    main()
