"""A mutant put in the place of a module, in a process that will do nothing else.

What lies within a function is exchanged in the functions that are alive, so that everybody who
holds them has it at once. What is done when the module is imported (a number that has a name, a
class, a default) cannot be: it needs a process in which nothing of the project is imported yet.
"""

from __future__ import annotations

import functools
import gc
import importlib.abc
import importlib.util
import sys
from collections.abc import Iterator
from pathlib import Path
from types import CodeType, FunctionType, ModuleType

from mutants import ROOT, Mutant, text_of

_IN_FUNCTION = 1  # CO_OPTIMIZED: the body of a function, not of a class or a module
OURS = ("analyzer", "cli")


def changed_functions(mutant: Mutant) -> dict[str, CodeType] | None:
    """The functions that the mutant changes, by qualified name; None where it changes more."""
    file = str(ROOT / mutant.module)
    before = compile(text_of(mutant.module), file, "exec", dont_inherit=True)
    after = compile(mutant.source(), file, "exec", dont_inherit=True)
    if _skeleton(before) != _skeleton(after):
        return None
    old, new = dict(_functions(before)), dict(_functions(after))
    return {name: code for name, code in new.items() if code != old[name]}


def put_in_place(mutant: Mutant) -> None:
    """Exchange the functions of a mutant that changes nothing else."""
    file, codes = ROOT / mutant.module, changed_functions(mutant)
    assert codes is not None
    for function in living_functions():
        code = function.__code__
        if code.co_qualname in codes and Path(code.co_filename) == file:
            function.__code__ = codes[code.co_qualname]


@functools.cache
def living_functions() -> list[FunctionType]:
    """The project's functions; asked for once, before processes fork off."""
    return [
        each
        for each in gc.get_objects()
        if type(each) is FunctionType and each.__module__ and _is_ours(each.__module__)
    ]


def forget_what_is_cached() -> None:
    """What ``functools.cache`` keeps, everywhere but in the libraries."""
    for each in gc.get_objects():
        if type(each) is functools._lru_cache_wrapper:  # isinstance would wake weak references
            file = getattr(sys.modules.get(each.__module__), "__file__", None) or ""
            if file.startswith(str(ROOT)) and "site-packages" not in file:
                each.cache_clear()


def forget_what_is_imported() -> None:
    """The project's modules, so that they are imported anew."""
    for name in [name for name in sys.modules if _is_ours(name)]:
        del sys.modules[name]


class Finder(importlib.abc.MetaPathFinder, importlib.abc.Loader):
    """Gives the mutant to whoever imports its module."""

    def __init__(self, mutant: Mutant) -> None:
        self._mutant = mutant
        parts = Path(mutant.module).with_suffix("").parts
        self._package = parts[-1] == "__init__"
        self._name = ".".join(parts[:-1] if self._package else parts)

    def find_spec(self, fullname, *_: object):
        if fullname != self._name:
            return None
        file = ROOT / self._mutant.module
        places = [str(file.parent)] if self._package else None
        return importlib.util.spec_from_file_location(
            fullname, file, loader=self, submodule_search_locations=places
        )

    def exec_module(self, module: ModuleType) -> None:
        code = compile(self._mutant.source(), str(ROOT / self._mutant.module), "exec")
        exec(code, module.__dict__)  # noqa: S102 - our own module, with one change


def _is_ours(name: str) -> bool:
    return name.partition(".")[0] in OURS


def _functions(code: CodeType) -> Iterator[tuple[str, CodeType]]:
    for each in code.co_consts:
        if isinstance(each, CodeType):
            if each.co_flags & _IN_FUNCTION:
                yield each.co_qualname, each
            else:
                yield from _functions(each)


def _skeleton(code: CodeType) -> tuple[object, ...]:
    """All of a module or class but what lies within its functions."""
    consts = [
        each.co_qualname
        if isinstance(each, CodeType) and each.co_flags & _IN_FUNCTION and "<" not in each.co_name
        else _skeleton(each)
        if isinstance(each, CodeType)
        else (type(each), repr(each))
        for each in code.co_consts
    ]
    return (code.co_code, code.co_names, code.co_varnames, *consts)
