"""How hypothesis chooses: the same examples every time, however fast the machine is."""

from __future__ import annotations

from hypothesis import HealthCheck, settings


def steady(examples: int) -> settings:
    return settings(
        max_examples=examples,
        deadline=None,
        derandomize=True,
        database=None,
        suppress_health_check=list(HealthCheck),
    )
