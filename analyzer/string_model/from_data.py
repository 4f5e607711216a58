"""From what is known of a string to its model, or to the words for what is missing.

Tension: given, or m (2 L f)^2 from the mass per length m and the pitch f (Mersenne). kappa: 2 R + 1
from the measured response R ([AB24]); or E A / T from the modulus E and the core's cross-section A,
which carries the tension (the winding hardly stretches); or what nylon and fluorocarbon strings
showed. B0 = sqrt(kappa) r / (2 L), with r the radius of what bends: the core of a wound metal
string, else the whole string, as [AB24] has it.

Heights: the open string is straight and the frets' tops lie in a plane, so at fret n it is
b + c (1 - 1/gamma) high: from the heights at frets 1 and 12 come b and c.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from analyzer.instrument.string_data import MATERIALS, StringData, area_mm2
from analyzer.string_model.fretting import FrettedString, gamma

# The 18 nylon and fluorocarbon strings of three sets in [AB24], plain and wound, showed kappa from
# 44.6 to 58.6: their mean, and the half-width of a 95 % interval for one more string.
TYPICAL_KAPPA, TYPICAL_KAPPA_UNCERTAINTY = 51.1, 9.4
# Relative half-width of E A / T from a handbook's modulus: steels differ by some per cent, and a
# core that is not round by more. A judgement.
MODULUS_UNCERTAINTY = 0.1
# Where R comes without its own: three times the largest standard deviation in [AB24], 4 %.
RESPONSE_UNCERTAINTY = 0.12
# Heights of the open string above frets 1 and 12 where the file has none: b = 1 and c = 4 mm of
# [AB24] for plastic strings; for steel common practice of the trade, from memory.
PLASTIC_HEIGHTS_MM = (1.22, 3.0)
STEEL_HEIGHTS_MM = (0.5, 2.0)
_STRETCHED_STEEL_GPA = 50.0  # what is stiffer than this is metal


@dataclass(frozen=True)
class Modelled:
    """A string's model with what it rests on.

    ``kappa_uncertainty`` is the half-width of a 95 % interval; ``kappa_source`` says where kappa
    comes from: ``measured``, ``modulus`` or ``typical``. ``heights_given`` tells whether the file
    has the string's heights.
    """

    string: FrettedString
    kappa_uncertainty: float
    kappa_source: str
    tension_n: float | None
    heights_given: bool

    def with_kappa(self, kappa: float) -> FrettedString:
        """The string with another kappa, whose stiffness goes with its square root."""
        share = math.sqrt(kappa / self.string.kappa)
        return replace(self.string, kappa=kappa, stiffness=share * self.string.stiffness)


def model_string(
    data: StringData, scale_length_mm: float, open_hz: float
) -> tuple[Modelled | None, str | None]:
    """The model of one string, or None and what the file has to say for it, in words."""
    tension_n = data.tension_n or data.tension_by_pitch_n(scale_length_mm, open_hz)
    stretch = _kappa(data, tension_n)
    if data.diameter_mm is None and data.core_diameter_mm is None:
        return None, "diameter_mm"
    if stretch is None:
        return None, _what_kappa_needs(data)
    kappa, uncertainty, source = stretch
    stiffness = math.sqrt(kappa) * _bending_radius_mm(data) / (2 * scale_length_mm)
    nut_mm, rise_mm = _heights_mm(data)
    string = FrettedString(scale_length_mm, kappa, stiffness, nut_mm, rise_mm)
    given = data.height_at_fret_1_mm is not None
    return Modelled(string, uncertainty, source, tension_n, given), None


def _kappa(data: StringData, tension_n: float | None) -> tuple[float, float, str] | None:
    """kappa, its half-width, and where it comes from."""
    if data.stretch_response is not None:
        r, spread = data.stretch_response, data.stretch_response_uncertainty
        return 2 * r + 1, 2 * (RESPONSE_UNCERTAINTY * r if spread is None else spread), "measured"
    modulus_gpa = _modulus_gpa(data)
    core_mm = data.core_diameter_mm or data.diameter_mm
    if modulus_gpa is not None:
        if tension_n is None or core_mm is None:
            return None
        kappa = modulus_gpa * 1000 * area_mm2(core_mm) / tension_n
        return kappa, MODULUS_UNCERTAINTY * kappa, "modulus"
    if data.material is not None:
        return TYPICAL_KAPPA, TYPICAL_KAPPA_UNCERTAINTY, "typical"
    return None


def _modulus_gpa(data: StringData) -> float | None:
    if data.modulus_gpa is not None:
        return data.modulus_gpa
    return None if data.material is None else MATERIALS[data.material].modulus_gpa


def _what_kappa_needs(data: StringData) -> str:
    if data.material is None and data.modulus_gpa is None:
        return "material (or stretch_response)"
    return "mass_per_length_g_per_m or tension_n"


def _bending_radius_mm(data: StringData) -> float:
    return (data.core_diameter_mm or data.diameter_mm or 0.0) / 2


def _heights_mm(data: StringData) -> tuple[float, float]:
    """Heights b and c, mm."""
    first_mm, twelfth_mm = data.height_at_fret_1_mm, data.height_at_fret_12_mm
    if first_mm is None or twelfth_mm is None:
        modulus_gpa = _modulus_gpa(data)
        metal = modulus_gpa is not None and modulus_gpa > _STRETCHED_STEEL_GPA
        first_mm, twelfth_mm = STEEL_HEIGHTS_MM if metal else PLASTIC_HEIGHTS_MM
    return nut_and_rise_mm(first_mm, twelfth_mm)


def nut_and_rise_mm(fret_1_mm: float, fret_12_mm: float) -> tuple[float, float]:
    """Heights b and c from the open string's heights above frets 1 and 12, mm."""
    at_1, at_12 = 1 - 1 / gamma(1), 1 - 1 / gamma(12)
    rise_mm = (fret_12_mm - fret_1_mm) / (at_12 - at_1)
    return fret_1_mm - at_1 * rise_mm, rise_mm
