"""Serial numbers that are spelled nearly like one that is not there."""

from __future__ import annotations

from collections.abc import Iterator
from difflib import get_close_matches
from functools import partial
from itertools import takewhile

from analyzer.lot.sessions.names import folded
from analyzer.lot.store.database import Database
from analyzer.lot.store.keys import stored_text

_NEIGHBOURS = 5000  # on each side in the order of spelling; a choice: some 0.2 s of comparing
_CLOSE = 50  # of which those are taken that begin alike; a choice
_MOST = 3
_ONE_OF = "SELECT serial FROM analyses WHERE folded_serial = ? ORDER BY id DESC LIMIT 1"
# One step in the index from each to the next, however many analyses each has.
AFTER = "SELECT min(folded_serial) FROM analyses WHERE folded_serial > ?"
BEFORE = "SELECT max(folded_serial) FROM analyses WHERE folded_serial < ?"


def nearest_serials(database: Database, serial: str) -> tuple[str, ...]:
    """A few serial numbers of nearly this spelling, the nearest first; none where none is near.

    Of many thousands only those are looked at that stand near it in the order of spelling.
    """
    wanted = folded(stored_text(serial))
    known = [each for sql in (BEFORE, AFTER) for each in _beside(database, sql, wanted)]
    close = get_close_matches(wanted, known, _CLOSE)
    # Numbers of one series are all close: those that begin alike come first.
    found = sorted(close, key=partial(_alike, wanted), reverse=True)[:_MOST]
    rows = (database.first(_ONE_OF, (each,)) for each in found)
    return tuple(str(row[0]) for row in rows if row is not None)


def _alike(one: str, other: str) -> int:
    """How many characters both begin with."""
    pairs = zip(one, other, strict=False)
    return sum(1 for _ in takewhile(lambda pair: pair[0] == pair[1], pairs))


def _beside(database: Database, sql: str, place: str) -> Iterator[str]:
    """Each from there on, in the order of spelling or against it."""
    for _ in range(_NEIGHBOURS):
        row = database.first(sql, (place,))
        if row is None or not isinstance(row[0], str):
            return
        place = row[0]
        yield place
