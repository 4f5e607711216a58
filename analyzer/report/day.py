"""The day that stands on what is written."""

from __future__ import annotations

from datetime import date, datetime


def day_of(on: date | None) -> date:
    """The day that is given, by default today's, where this runs."""
    return datetime.now().astimezone().date() if on is None else on
