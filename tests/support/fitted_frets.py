"""Saddle, nut and stretch from errors at frets that are well known."""

from __future__ import annotations

from analyzer.frets.fit import FretError, fit_parts

LABELLED = (1, 3, 5, 7, 12, 17, 19)  # the frets that the manual asks for
FEW = (1, 5, 12)
SURE = 1e-4  # variance of a note, cents squared


def fit(errors, variance=SURE, scale_length_mm=650.0):
    notes = {fret: FretError(cents, variance) for fret, cents in errors.items()}
    return fit_parts(notes, variance, 2.0, scale_length_mm)
