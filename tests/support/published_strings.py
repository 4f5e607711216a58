"""The strings of ``compensation_tables`` in the program's model."""

from __future__ import annotations

import pytest
from compensation_tables import (
    ALL_ROWS,
    DEFAULT_KAPPA,
    DEFAULT_STIFFNESS,
    NUT_HEIGHT_MM,
    RISE_MM,
    SCALE_LENGTH_MM,
)

from analyzer.string_model.fretting import FrettedString

ROWS = pytest.mark.parametrize("row", [row for _, row in ALL_ROWS], ids=[n for n, _ in ALL_ROWS])


def string_of(row) -> FrettedString:
    return FrettedString(SCALE_LENGTH_MM, row.kappa, row.stiffness, NUT_HEIGHT_MM, RISE_MM)


DEFAULT = FrettedString(SCALE_LENGTH_MM, DEFAULT_KAPPA, DEFAULT_STIFFNESS, NUT_HEIGHT_MM, RISE_MM)
