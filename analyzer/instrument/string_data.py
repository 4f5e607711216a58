"""What is known of the strings themselves: values of [[strings]], none of them needed.

Where material decides, the constants stand here with where they come from.
"""

from __future__ import annotations

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

    def over(self, other: StringData) -> StringData:
        """The string on the instrument of the other: its heights where not given."""
        return replace(
            self,
            height_at_fret_1_mm=_first(self.height_at_fret_1_mm, other.height_at_fret_1_mm),
            height_at_fret_12_mm=_first(self.height_at_fret_12_mm, other.height_at_fret_12_mm),
        )


def _first(value: float | None, otherwise: float | None) -> float | None:
    return otherwise if value is None else value
