"""What to do to an adjuster, in words: the same in every output."""

from __future__ import annotations

from analyzer.report.model import AdjusterResult, Report

_SLANTS = 0.5  # a share so far below nought is that of a slant, not of strings beyond a post


def way(move_mm: float) -> str:
    """Which way a saddle moves."""
    return "away from nut" if move_mm > 0 else "toward nut"


def turned(turns: float, direction: str | None) -> str:
    """Turns of a screw, as seen facing its head."""
    return f"{turns_named(turns)} {direction}"


def turns_named(turns: float) -> str:
    """How many turns, whichever way."""
    return f"{turns:g} turn{'' if turns <= 1 else 's'}"


def moved(adjuster: AdjusterResult, move_mm: float) -> str:
    """How far and which way; what turns about its middle goes both ways."""
    side = "bass side " if min(adjuster.share.values()) < -_SLANTS else ""
    return f"{abs(move_mm):.2f} mm {side}{way(move_mm)}"


def moves_since(report: Report) -> str:
    """Where what was moved since the round before is known from."""
    return "as told" if report.moves_told else "taken to be as it advised"


def in_one_line(adjuster: AdjusterResult) -> str:
    """The whole advice for an adjuster, its name first."""
    if adjuster.move_mm is None:
        return f"{adjuster.name}: no advice"
    if adjuster.move_mm == 0:
        return f"{adjuster.name}: leave it"
    if adjuster.turns is not None:
        return f"{adjuster.name}: {turned(adjuster.turns, adjuster.direction)}"
    verb = "file " if adjuster.action == "file" else ""
    return f"{adjuster.name}: {verb}{moved(adjuster, adjuster.move_mm)}"
