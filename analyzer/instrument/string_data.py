"""What is known of the strings themselves: values of [[strings]], none of them needed.

Where material decides, the constants stand here with where they come from.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType


@dataclass(frozen=True)
class Material:
    """Density, and Young's modulus where it is a constant: plastics stiffen under tension."""

    density_kg_per_m3: float
    modulus_gpa: float | None


# Handbook values, from memory. Bulk nylon has 2 to 4 GPa; as a string under tension it showed 3.7
# to 8.3 ([AB24], see ``string_model``), so its response to stretching is taken from there instead.
MATERIALS: Mapping[str, Material] = MappingProxyType(
    {
        "steel": Material(7850.0, 200.0),
        "nylon": Material(1140.0, None),
        "fluorocarbon": Material(1780.0, None),
    }
)


@dataclass(frozen=True)
class StringData:
    """One string; None is what the file does not say. ``material`` is that of the core.

    ``stretch_response`` is R, the relative rise of pitch for a relative stretch at fixed ends, and
    its uncertainty the half-width of a 95 % interval. Heights are those of the open string above
    the fret.
    """

    diameter_mm: float | None = None
    core_diameter_mm: float | None = None
    material: str | None = None
    modulus_gpa: float | None = None
    mass_per_length_g_per_m: float | None = None
    tension_n: float | None = None
    stretch_response: float | None = None
    stretch_response_uncertainty: float | None = None
    height_at_fret_1_mm: float | None = None
    height_at_fret_12_mm: float | None = None

    @property
    def wound(self) -> bool:
        return self.core_diameter_mm is not None and self.core_diameter_mm != self.diameter_mm

    @property
    def mass_kg_per_m(self) -> float | None:
        """Given, or the density times the cross-section of a plain string."""
        if self.mass_per_length_g_per_m is not None:
            return self.mass_per_length_g_per_m / 1000
        if self.material is None or self.diameter_mm is None or self.wound:
            return None
        return MATERIALS[self.material].density_kg_per_m3 * area_mm2(self.diameter_mm) * 1e-6

    def tension_by_pitch_n(self, length_mm: float, pitch_hz: float) -> float | None:
        """The tension m (2 L f)^2 at a pitch (Mersenne); None where the mass is not known."""
        mass = self.mass_kg_per_m
        return None if mass is None else mass * (2 * length_mm / 1000 * pitch_hz) ** 2

    def over(self, other: StringData) -> StringData:
        """The string on the instrument of the other: its heights where not given."""
        return replace(
            self,
            height_at_fret_1_mm=_first(self.height_at_fret_1_mm, other.height_at_fret_1_mm),
            height_at_fret_12_mm=_first(self.height_at_fret_12_mm, other.height_at_fret_12_mm),
        )


def area_mm2(diameter_mm: float) -> float:
    """The cross-section of a round wire, mm^2."""
    return math.pi * diameter_mm**2 / 4


def _first(value: float | None, otherwise: float | None) -> float | None:
    return otherwise if value is None else value
