"""pluckcheck: intonation at the 12th fret from recorded plucks. The library behind the command.

``analyze`` does all, from a folder of recordings to an ``Analysis``; it is imported when it is
first asked for, so that importing this package costs nothing.

>>> import analyzer
>>> result = analyzer.analyze("sample_audio/own_saddles", jobs=1)
>>> [each.note for each in result.report.strings]
['E2', 'A2', 'D3', 'G3', 'B3', 'E4']
"""

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from analyzer.notebook import Analysis, analyze

__version__ = "0.1.0"
__all__ = ["Analysis", "__version__", "analyze"]


def __getattr__(name: str) -> Any:
    if name not in __all__:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from analyzer import notebook

    return getattr(notebook, name)


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
