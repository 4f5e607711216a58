"""The digest that tells recordings apart."""

from __future__ import annotations

import pytest

from analyzer.lot import identity

pytestmark = pytest.mark.source("FIPS 180-4, example messages", "from memory", "digest of a file")


def test_sha256_as_published(tmp_path) -> None:
    """NIST's example of FIPS 180-4: "abc", and the empty message (from memory)."""
    path = tmp_path / "abc"
    path.write_bytes(b"abc")
    assert identity.sha256_of(path) == (
        "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    )
    path.write_bytes(b"")
    assert identity.sha256_of(path) == (
        "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"
    )
