"""Which tests run through which lines, and how long each takes: one run of them all, watched."""

from __future__ import annotations

import ast
import json
from collections import defaultdict
from dataclasses import asdict, dataclass, field
from functools import cache
from pathlib import Path

import coverage
import pytest
from mutants import ROOT, Mutant, text_of


@dataclass
class Touched:
    """``seconds`` of every test that passed; ``lines``: module -> line -> tests."""

    seconds: dict[str, float] = field(default_factory=dict)
    lines: dict[str, dict[str, list[str]]] = field(default_factory=dict)

    def tests_of(self, mutant: Mutant, *, when_imported: bool) -> list[str]:
        """Tests that the mutant may change, the quickest first.

        ``when_imported``: it changes what is done on import, and so all that use the module.
        """
        if when_imported:
            modules = [mutant.module, *_importers(mutant.module, tuple(self.lines))]
            found = {t for m in modules for tests in self.lines.get(m, {}).values() for t in tests}
            importing = _importers(mutant.module, tuple({_file(test) for test in self.seconds}))
            found |= {test for test in self.seconds if _file(test) in importing}
        else:
            lines = self.lines.get(mutant.module, {})
            found = {t for line in _statement(mutant) for t in lines.get(str(line), [])}
        return sorted(found & self.seconds.keys(), key=lambda test: self.seconds[test])

    def save(self, path: Path) -> None:
        path.write_text(json.dumps(asdict(self)), encoding="utf-8")

    @classmethod
    def load(cls, path: Path) -> Touched:
        return cls(**json.loads(path.read_text(encoding="utf-8")))


class Watcher:
    """A pytest plugin: coverage with the running test as its context."""

    def __init__(self) -> None:
        self.touched = Touched()
        self._failed: set[str] = set()
        watched = str(ROOT / "analyzer" / "*")
        self._coverage = coverage.Coverage(data_file=None, config_file=False, include=[watched])
        self._coverage.start()

    @pytest.hookimpl(hookwrapper=True)
    def pytest_runtest_protocol(self, item):
        self._coverage.switch_context(item.nodeid)
        yield
        self._coverage.switch_context("")

    def pytest_runtest_logreport(self, report) -> None:
        before = self.touched.seconds.get(report.nodeid, 0.0)
        self.touched.seconds[report.nodeid] = before + report.duration
        if not report.passed:
            self._failed.add(report.nodeid)

    def pytest_sessionfinish(self) -> None:
        self._coverage.stop()
        data = self._coverage.get_data()
        for file in data.measured_files():
            lines: dict[str, list[str]] = defaultdict(list)
            for line, tests in data.contexts_by_lineno(file).items():
                lines[str(line)] = [test for test in tests if test]
            self.touched.lines[Path(file).relative_to(ROOT).as_posix()] = dict(lines)
        for test in self._failed:
            del self.touched.seconds[test]


@cache
def _spans(module: str) -> list[range]:
    """The lines of every statement; of one with a body, those before its body."""
    spans = []
    for node in ast.walk(ast.parse(text_of(module))):
        if isinstance(node, ast.stmt):
            body = getattr(node, "body", None)
            spans.append(range(node.lineno, body[0].lineno if body else node.end_lineno + 1))
    return spans


def _statement(mutant: Mutant) -> range:
    holding = [span for span in _spans(mutant.module) if mutant.line in span]
    return min(holding, key=len, default=range(mutant.line, mutant.line + 1))


def _file(test: str) -> str:
    return test.partition("::")[0]


@cache
def _importers(module: str, modules: tuple[str, ...]) -> list[str]:
    name = module.removesuffix(".py").removesuffix("/__init__").replace("/", ".")
    return [each for each in modules if f"from {name} import" in text_of(each)]
