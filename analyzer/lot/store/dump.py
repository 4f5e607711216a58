"""All that a store says, without the numbers and times of its writing: to compare two of them.

Two runs over the same recordings, whatever interrupted either, must dump alike.
"""

from __future__ import annotations

import hashlib
import zlib
from collections.abc import Iterator
from typing import Any

from analyzer.lot.store.database import Database

_SESSION = "a.serial, a.station, a.operator, a.repeat, a.inputs"  # for SESSION below
_TABLES: dict[str, str] = {
    "specifications": "SELECT digest, body FROM specifications ORDER BY digest",
    "analyses": """SELECT SESSION, folded_serial, place, instrument, recorded_at, recorded_s,
        m.method, complete, recordings, left_out, strings, strings_measured, s.digest
        FROM analyses AS a JOIN methods AS m ON m.id = a.method
        LEFT JOIN specifications AS s ON s.id = a.specification ORDER BY SESSION""",
    "reports": """SELECT SESSION, body
        FROM analyses AS a JOIN reports AS t ON t.analysis = a.id ORDER BY SESSION""",
    "strings": """SELECT SESSION, string, note, reason, open_hz, fretted_hz, error_cents,
        error_uncertainty_cents, open_drift_cents, fretted_drift_cents, sustain_drift_cents,
        saddle_move_mm, saddle_move_uncertainty_mm
        FROM analyses AS a JOIN strings AS t ON t.analysis = a.id ORDER BY SESSION, string""",
    "left_out": """SELECT SESSION, position, file, string, fret, reason
        FROM analyses AS a JOIN left_out AS t ON t.analysis = a.id ORDER BY SESSION, position""",
    "decisions": """SELECT SESSION, s.digest, verdict, reason, conformity_probability, more_takes
        FROM analyses AS a JOIN decisions AS d ON d.analysis = a.id
        JOIN specifications AS s ON s.id = d.specification ORDER BY SESSION, s.digest""",
    "value_decisions": """SELECT SESSION, s.digest, characteristic, string, value_cents,
        standard_uncertainty_cents, scatter_cents, scatter_freedom, known_cents, lower_cents,
        upper_cents, target_cents, conformity_probability, verdict, more_takes, reason
        FROM analyses AS a JOIN value_decisions AS v ON v.analysis = a.id
        JOIN specifications AS s ON s.id = v.specification
        ORDER BY SESSION, s.digest, characteristic, string""",
    "file_states": "SELECT place, file, token, sha256 FROM file_states ORDER BY place, file",
    "recordings": "SELECT key, measured FROM recordings ORDER BY key",
    "members": """SELECT lots.lot, m.serial, m.station, m.operator, m.repeat, a.inputs, m.reason
        FROM members AS m JOIN lots ON lots.id = m.lot
        LEFT JOIN analyses AS a ON a.id = m.analysis
        ORDER BY lots.lot, m.serial, m.station, m.operator, m.repeat""",
    "station_checks": """SELECT station, reference, characteristic, sha256, file, checked_at,
        checked_s, value, standard_uncertainty, lower_limit, upper_limit, verdict, remark
        FROM station_checks ORDER BY station, reference, characteristic, sha256""",
}
_PACKED = {"reports", "recordings"}  # their last column


def dump(database: Database) -> Iterator[tuple[Any, ...]]:
    """Every row of every table, the table's name first, in the order of the natural keys.

    Bytes stand in hexadecimal, what is packed as the SHA-256 of what it unpacks to.
    """
    for table, sql in _TABLES.items():
        for row in database.each(sql.replace("SESSION", _SESSION)):
            plain = (*row[:-1], _unpacked(row[-1])) if table in _PACKED else row
            yield (table, *(each.hex() if isinstance(each, bytes) else each for each in plain))


def _unpacked(body: bytes) -> bytes:
    try:
        return hashlib.sha256(zlib.decompress(body)).digest()
    except zlib.error:
        return body
