"""The models of an instrument's strings, as far as its file says enough."""

from __future__ import annotations

from collections.abc import Iterator

from analyzer.instrument.model import Instrument
from analyzer.music import ISO16_A4_HZ
from analyzer.string_model.effect import ModelledEffect
from analyzer.string_model.from_data import Modelled, model_string


def modelled(instrument: Instrument, number: int, a4_hz: float = ISO16_A4_HZ) -> Modelled | None:
    """The model of a string, or None where its data or its length are not given."""
    length_mm, data = instrument.scale_length_mm(number), instrument.string_data.get(number)
    if length_mm is None or data is None:
        return None
    return model_string(data, length_mm, instrument.open_hz(number, a4_hz))[0]


def modelled_effect(
    instrument: Instrument, number: int, a4_hz: float = ISO16_A4_HZ
) -> ModelledEffect | None:
    """What a move of its saddle does to a string by the full model; None without its data.

    Where the file does not say the setback, it is taken as none; that matters little.
    """
    found = modelled(instrument, number, a4_hz)
    return None if found is None else ModelledEffect(found.string, setback_mm(instrument, number))


def setback_mm(instrument: Instrument, number: int) -> float:
    """Where a string's break point lies beyond the nominal scale length; 0 where not given."""
    return instrument.bridge.setback_mm.get(number, 0.0) if instrument.bridge else 0.0


def unmodelled(instrument: Instrument, a4_hz: float = ISO16_A4_HZ) -> Iterator[str]:
    """What the data of a string lack for the full model, a line each."""
    for number, data in instrument.string_data.items():
        length_mm = instrument.scale_length_mm(number)
        if length_mm is None:
            continue
        found, missing = model_string(data, length_mm, instrument.open_hz(number, a4_hz))
        if found is None:
            yield (
                f"String {number}: [[strings]] has no {missing}, so its saddle move is by length "
                "alone (within 2 %)."
            )
