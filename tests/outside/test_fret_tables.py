"""Where frets lie: published tables, and L 2^(-n/12) worked out apart from this project.

The program has no table of frets. Where it takes a fret to lie shows in the error of a string
without height, stretch and stiffness whose saddle is set back by d:
error = 1200 log2((L + d) / (2^(n/12) (X_n + d))).
"""

from __future__ import annotations

import pytest

from analyzer.string_model.fretting import FrettedString, Setbacks, fret_error_cents

TABLE = "A published fret table, scale of 635 mm"
TWELFTHS = "Frets by the twelfth root of two, L 2^(-n/12)"
pytestmark = pytest.mark.source(TWELFTHS, "published formula", "where frets lie")

SETBACK_MM = 5.0
# Computed: from the nut to frets 1 to 12, mm, by scale length, mm.
FROM_NUT_MM = {
    650.0: (
        *(36.482, 70.916, 103.417, 134.095, 163.050, 190.381),
        *(216.177, 240.526, 263.508, 285.200, 305.674, 325.000),
    ),
    647.7: (
        *(36.353, 70.665, 103.051, 133.620, 162.473, 189.707),
        *(215.412, 239.675, 262.575, 284.191, 304.593, 323.850),
    ),
    628.65: (
        *(35.283, 68.587, 100.020, 129.690, 157.695, 184.127),
        *(209.076, 232.625, 254.852, 275.832, 295.634, 314.325),
    ),
}


def to_saddle_mm(fret: int, length_mm: float) -> float:
    """From the fret to the nominal saddle line, out of the error that the program works out."""
    flat = FrettedString(length_mm, 0.0, 0.0, 0.0, 0.0)
    cents = fret_error_cents(flat, fret, Setbacks(SETBACK_MM))
    return (length_mm + SETBACK_MM) / 2 ** (fret / 12 + cents / 1200) - SETBACK_MM


@pytest.mark.source(TABLE, "published example", "where frets lie")
def test_published_table() -> None:
    """As published: fret to saddle, frets 1 to 10."""
    printed_mm = (
        *(599.360, 565.721, 533.969, 504.000, 475.712),
        *(449.013, 423.812, 400.025, 377.573, 356.382),
    )
    found = [to_saddle_mm(fret, 635.0) for fret in range(1, 11)]
    assert found == pytest.approx(list(printed_mm), abs=6e-4)


@pytest.mark.parametrize("length_mm", FROM_NUT_MM)
def test_from_the_nut(length_mm) -> None:
    found = [length_mm - to_saddle_mm(fret, length_mm) for fret in range(1, 13)]
    assert found == pytest.approx(list(FROM_NUT_MM[length_mm]), abs=6e-4)


@pytest.mark.source(TABLE, "published example", "where frets lie")
def test_divisor() -> None:
    """17.817 published, 17.817153745 computed: the rule of 18 misses fret 12 by 12.5 cents."""
    length_mm = 650.0
    assert length_mm / (length_mm - to_saddle_mm(1, length_mm)) == pytest.approx(
        17.817153745, abs=1e-6
    )
