"""Instruments with string data, for tests of what other strings change."""

from __future__ import annotations

from compensation_tables import SCALE_LENGTH_MM

from analyzer.instrument.model import Instrument
from analyzer.instrument.string_data import StringData

TUNING = ("E2", "A2", "D3", "G3", "B3", "E4")


HEIGHTS = {"height_at_fret_1_mm": 1.2245028, "height_at_fret_12_mm": 3.0}  # b = 1, c = 4 mm


def instrument_with(data, bridge=None, length_mm=SCALE_LENGTH_MM) -> Instrument:
    return Instrument("made", TUNING, (length_mm,) * 6, bridge, string_data=data)


def measured(row) -> StringData:
    return StringData(
        2 * row.radius_mm,
        mass_per_length_g_per_m=row.mass_g_per_m,
        tension_n=row.tension_n,
        stretch_response=row.response,
        stretch_response_uncertainty=2 * row.response_sd,
        **HEIGHTS,
    )


def steel(inches: float, **more: float) -> StringData:
    return StringData(25.4 * inches, material="steel", **more)
