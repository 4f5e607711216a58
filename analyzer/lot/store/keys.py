"""Text, digests and serial numbers in the form that the tables hold; rows that replace rows."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from analyzer.lot.records import Session


def stored_text(text: str) -> str:
    r"""Text that is UTF-8: bytes of a name that are none stand as ``\udc80``, as in the JSON."""
    return text.encode("utf-8", "backslashreplace").decode("utf-8")


def text_or_none(text: str | None) -> str | None:
    return None if text is None else stored_text(text)


def digest_bytes(digest: str) -> bytes:
    """A hexadecimal digest as it is kept; ValueError for any other text."""
    return bytes.fromhex(digest)


def session_key(session: Session) -> tuple[str, str, str, int]:
    """Serial number, station, operator and repeat: which measuring of which instrument."""
    return (
        stored_text(session.serial),
        stored_text(session.station),
        stored_text(session.operator),
        session.repeat,
    )


def by_stored(files: Sequence[str]) -> Mapping[str, str]:
    """File names by the form in which they are stored."""
    return {stored_text(each): each for each in files}


def upsert(table: str, columns: Sequence[str], key: int, kept: Sequence[str] = ()) -> str:
    """SQL that puts a row in, or over the one of the same key: its first ``key`` columns.

    What is ``kept`` stays as it was, where there was one.

    >>> upsert("lots", ("lot", "size"), 1)
    'INSERT INTO lots (lot, size) VALUES (?, ?) ON CONFLICT (lot) DO UPDATE SET size=excluded.size'
    """
    changed = [each for each in columns[key:] if each not in kept]
    return (
        f"INSERT INTO {table} ({', '.join(columns)}) VALUES ({', '.join('?' * len(columns))}) "  # noqa: S608 - names of this program's tables
        f"ON CONFLICT ({', '.join(columns[:key])}) "
        f"DO UPDATE SET {', '.join(f'{each}=excluded.{each}' for each in changed)}"
    )
