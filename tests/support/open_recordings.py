"""The cache of ``fetch_recordings`` for tests: what is not there is skipped, or must be there."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from fetch_recordings import cache


def fetched(name: str) -> Path:
    """The folder of one package; without it the test is skipped.

    With PLUCKCHECK_NEED_RECORDINGS set it fails instead.
    """
    folder = cache() / name
    if not folder.is_dir():
        reason = f"no recordings in {folder}: run python tests/fetch_recordings.py"
        if os.environ.get("PLUCKCHECK_NEED_RECORDINGS"):
            pytest.fail(reason)
        pytest.skip(reason)
    return folder
