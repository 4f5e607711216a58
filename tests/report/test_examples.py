"""The examples in the library's docstrings, run as they stand there (the standard doctest)."""

from __future__ import annotations

import doctest
import importlib

import pytest
from conftest import ROOT

EXAMPLE = ">>> "
MODULES = sorted(
    ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")
    for path in (ROOT / "analyzer").rglob("*.py")
    if EXAMPLE in path.read_text(encoding="utf-8")
)
PUBLIC = {"analyzer", "analyzer.analysis", "analyzer.notebook", "analyzer.schemas"}


def test_the_public_modules_have_examples() -> None:
    assert set(MODULES) >= PUBLIC


@pytest.mark.parametrize("name", MODULES)
def test_examples(name, monkeypatch) -> None:
    """Paths in them are those of a checkout."""
    monkeypatch.chdir(ROOT)
    module = importlib.import_module(name)
    failed, tried = doctest.testmod(module, optionflags=doctest.ELLIPSIS)
    assert failed == 0
    assert tried > 0
