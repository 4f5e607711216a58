"""The reference of the library, made from its docstrings by pdoc, into ``build/reference``."""

from __future__ import annotations

import pkgutil
import shutil
import sys
import warnings
from pathlib import Path

import pdoc
import pdoc.render

ROOT = Path(__file__).parents[1]
sys.path.insert(0, str(ROOT))  # what is here, and not what may be installed

import analyzer  # noqa: E402


def main() -> None:
    """The command: no arguments."""
    warnings.simplefilter("error")
    for name in analyzer.__all__:  # pdoc shows what a module has, and these come when asked for
        setattr(analyzer, name, getattr(analyzer, name))
    parts = [each.name for each in pkgutil.iter_modules(analyzer.__path__, "analyzer.")]
    into = ROOT / "build" / "reference"
    shutil.rmtree(into, ignore_errors=True)
    pdoc.render.configure(docformat="numpy")
    pdoc.pdoc("analyzer", *parts, output_directory=into)
    print(f"{into / 'index.html'}: {len(list(into.rglob('*.html')))} pages")


if __name__ == "__main__":
    main()
