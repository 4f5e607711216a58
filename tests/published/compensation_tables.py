"""Published tables of intonation and compensation, as data for tests.

[AB24] M. B. Anderson, R. G. Beausoleil, "Classical guitar intonation and compensation: The
well-tempered guitar", J. Acoust. Soc. Am. 156(1), 683 (2024), read in the authors' proof-stage
text. Scale length 650 mm, b = 1 mm, c = 4 mm, d = 0.

Printed: radius mm, g/m, tension N, R and its standard deviation, kappa, B0, E_eff GPa, setbacks of
saddle and nut mm, root mean square cents. Computed from these by the paper's formulas, apart from
this project: the error at fret 12 without compensation, cents, and the saddle's setback that takes
it to zero with the nut left where it is, mm.
"""

from __future__ import annotations

from typing import NamedTuple

AB24 = "Anderson, Beausoleil, J. Acoust. Soc. Am. 156, 683 (2024)"


class Row(NamedTuple):
    string: int
    radius_mm: float
    mass_g_per_m: float
    tension_n: float
    response: float
    response_sd: float
    kappa: float
    stiffness: float
    modulus_gpa: float
    saddle_mm: float
    nut_mm: float
    rms_cents: float
    error_12_cents: float
    null_12_mm: float


SCALE_LENGTH_MM, NUT_HEIGHT_MM, RISE_MM = 650.0, 1.0, 4.0
_TABLES = {
    "normal nylon": """
1 .356 .374 68.6 23.6 .5 48.2 .00190 8.33 1.48 -.36 .143 5.023 1.881
2 .409 .505 52.0 23.8 .7 48.7 .00220 4.82 1.69 -.36 .145 5.594 2.095
3 .512 .836 54.2 28.8 .6 58.6 .00301 3.87 2.33 -.43 .177 7.473 2.796
4 .368 1.920 70.0 22.5 .8 46.0 .00192 7.56 1.49 -.34 .137 4.979 1.865
5 .445 3.289 67.3 23.9 .7 48.7 .00239 5.28 1.83 -.36 .146 5.947 2.226
6 .546 5.470 62.8 28.6 .4 58.2 .00321 3.90 2.46 -.43 .177 7.838 2.932""",
    "hard nylon": """
1 .362 .386 70.9 23.5 .5 47.9 .00193 8.25 1.50 -.36 .143 5.067 1.898
2 .415 .522 53.8 26.2 .3 53.5 .00234 5.31 1.82 -.40 .160 6.030 2.257
3 .521 .856 55.6 28.3 1.0 57.5 .00304 3.75 2.34 -.42 .174 7.490 2.802
4 .381 2.007 73.1 22.7 .3 46.4 .00200 7.43 1.54 -.35 .138 5.141 1.925
5 .457 3.486 71.3 24.0 .2 49.0 .00246 5.32 1.88 -.36 .147 6.088 2.279
6 .559 5.666 65.0 25.5 .3 51.9 .00310 3.44 2.35 -.38 .158 7.399 2.768""",
    "normal carbon trebles": """
1 .305 .464 85.3 21.8 .4 44.6 .00157 13.04 1.23 -.33 .132 4.289 1.607
2 .345 .607 62.6 26.0 .6 53.1 .00194 8.86 1.53 -.40 .158 5.276 1.975
3 .420 .893 58.0 26.9 .8 54.7 .00239 5.71 1.86 -.41 .164 6.166 2.308
4 .356 1.643 59.9 24.3 .4 49.6 .00193 7.47 1.51 -.37 .148 5.130 1.921
5 .445 3.089 63.2 26.9 .4 54.7 .00253 5.57 1.96 -.41 .164 6.427 2.405
6 .559 5.715 65.6 23.5 .9 47.9 .00298 3.20 2.24 -.35 .145 7.025 2.629""",
}
TABLES = {
    name: tuple(
        Row(int(line.split()[0]), *map(float, line.split()[1:]))
        for line in text.strip().splitlines()
    )
    for name, text in _TABLES.items()
}
ALL_ROWS = tuple((f"{name} {row.string}", row) for name, rows in TABLES.items() for row in rows)

# Computed by the paper's formulas, apart from this project: cents at frets 1 to 12, no setbacks.
NORMAL_1_FRETS = (1.60, 1.45, 1.60, 1.85, 2.14, 2.47, 2.83, 3.21, 3.62, 4.06, 4.53, 5.02)
NORMAL_6_FRETS = (2.03, 1.96, 2.26, 2.68, 3.17, 3.70, 4.28, 4.90, 5.57, 6.28, 7.03, 7.84)
# The paper's default string (kappa 51, B0 0.00236: as published), likewise.
DEFAULT_KAPPA, DEFAULT_STIFFNESS = 51.0, 0.00236
DEFAULT_FRETS = (
    1.727, 1.609, 1.817, 2.124, 2.483, 2.883, 3.316, 3.782, 4.280, 4.810, 5.375, 5.975,
)  # fmt: skip
