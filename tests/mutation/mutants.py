"""Which mutants of a module there are: cosmic-ray's, those of them that say something.

Left out: what changes an annotation, which is never evaluated; how much is kept of what was worked
out, which changes the time alone; and operators of another type (a bitwise one on floats raises at
once, and every test would count as good for it).
"""

from __future__ import annotations

import ast
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from cosmic_ray.ast import ast_nodes, get_ast
from cosmic_ray.mutating import mutate_code
from cosmic_ray.plugins import get_operator

ROOT = Path(__file__).parents[2]
_BINARY = (
    *("Add_Sub", "Sub_Add", "Mul_Div", "Div_Mul", "Pow_Mul", "FloorDiv_Div", "Mod_Mul"),
    *("BitAnd_BitOr", "BitOr_BitAnd"),
)
# each comparison with its limit on the other side, and turned round
_COMPARISON = (
    *("Lt_LtE", "Lt_GtE", "LtE_Lt", "LtE_Gt", "Gt_GtE", "Gt_LtE", "GtE_Gt", "GtE_Lt"),
    *("Eq_NotEq", "NotEq_Eq", "Is_IsNot", "IsNot_Is"),
)
_OTHER = (
    *("AddNot", "ExceptionReplacer", "NumberReplacer", "RemoveDecorator", "ZeroIterationForLoop"),
    *("ReplaceAndWithOr", "ReplaceOrWithAnd", "ReplaceTrueWithFalse", "ReplaceFalseWithTrue"),
    *("ReplaceBreakWithContinue", "ReplaceContinueWithBreak"),
    *("ReplaceUnaryOperator_Delete_Not", "ReplaceUnaryOperator_Delete_USub"),
    "ReplaceUnaryOperator_Delete_Invert",
)
OPERATORS = (
    *(f"core/{name}" for name in _OTHER),
    *(f"core/ReplaceBinaryOperator_{pair}" for pair in _BINARY),
    *(f"core/ReplaceComparisonOperator_{pair}" for pair in _COMPARISON),
)
Place = tuple[int, int]


@dataclass(frozen=True)
class Mutant:
    """The ``occurrence``-th place in ``module`` (from the root) where ``operator`` can change."""

    module: str
    operator: str
    occurrence: int
    line: int

    @property
    def name(self) -> str:
        return f"{self.module}:{self.line} {self.operator.removeprefix('core/')} {self.occurrence}"

    def source(self) -> str:
        """The module with this one change."""
        changed = mutate_code(text_of(self.module), get_operator(self.operator)(), self.occurrence)
        assert changed is not None
        return str(changed)

    def change(self) -> str:
        """The first line that differs, before and after."""
        pairs = zip(text_of(self.module).splitlines(), self.source().splitlines(), strict=False)
        before, after = next((a.strip(), b.strip()) for a, b in pairs if a != b)
        return f"{before}  ->  {after}"


@cache
def text_of(module: str) -> str:
    return (ROOT / module).read_text(encoding="utf-8")


def modules_in(paths: list[str]) -> list[str]:
    """Modules from the root, of files and of folders, in order."""
    found = [ROOT / path for path in paths]
    files = [file for path in found for file in (path.rglob("*.py") if path.is_dir() else [path])]
    return sorted({file.relative_to(ROOT).as_posix() for file in files})


def mutants_of(module: str) -> list[Mutant]:
    text = text_of(module)
    nodes = list(ast_nodes(get_ast(text)))
    ignored = list(_of_no_effect(text))
    found = []
    for operator in OPERATORS:
        changing = get_operator(operator)()
        places = [begin for node in nodes for begin, _ in changing.mutation_positions(node)]
        found += [
            Mutant(module, operator, occurrence, place[0])
            for occurrence, place in enumerate(places)
            if not any(begin <= place < end for begin, end in ignored)
        ]
    return found


def _of_no_effect(text: str) -> Iterator[tuple[Place, Place]]:
    """Begin and end of annotations and of ``functools.cache``, ``lru_cache``."""
    for node in ast.walk(ast.parse(text)):
        parts = [getattr(node, "annotation", None), getattr(node, "returns", None)]
        parts += [each for each in getattr(node, "decorator_list", []) if _keeps(each)]
        for each in filter(None, parts):
            begin = each.col_offset - (each in getattr(node, "decorator_list", []))  # its @ too
            yield (each.lineno, begin), (each.end_lineno, each.end_col_offset)


def _keeps(decorator: ast.expr) -> bool:
    name = decorator.func if isinstance(decorator, ast.Call) else decorator
    return isinstance(name, ast.Name) and name.id in {"cache", "lru_cache"}
