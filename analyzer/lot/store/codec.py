"""Values as bytes and back, exactly, and never more than a bounded amount of them.

What was measured is kept as MessagePack (which has NaN and infinity), a report as its public JSON;
both through zlib. Both are decoded into the types that they must have and nothing else: the
bytes may be a stranger's.
"""

from __future__ import annotations

import json
import zlib
from collections.abc import Sequence
from functools import cache
from typing import Any, get_origin

import msgspec
import numpy as np

from analyzer.instrument.tables import shown
from analyzer.lot.judgement.specification import Specification
from analyzer.measure import Measured
from analyzer.report.files import as_json, report_body
from analyzer.report.json_text import json_text
from analyzer.report.model import SCHEMA_VERSION, Report

_MOST_BYTES = 256_000_000  # a report of ten thousand recordings has some 40 MB
_QUICK = 3  # most of what was measured is a piece of sound, which more effort makes no smaller
_SAMPLE = np.dtype(np.int8)


class CorruptError(ValueError):
    """Bytes that are not what they should be."""


def pack_measured(measured: Sequence[Measured]) -> bytes | None:
    """What was measured in a recording; None where a name in it is no UTF-8.

    Such a recording is measured again where it is needed again.
    """
    try:
        return zlib.compress(_measured_encoder().encode(tuple(measured)), _QUICK)
    except UnicodeEncodeError:
        return None


def unpack_measured(packed: bytes) -> tuple[Measured, ...]:
    """The same back; raises CorruptError."""
    try:
        found: tuple[Measured, ...] = _measured_decoder().decode(_decompressed(packed))
    except (msgspec.MsgspecError, ValueError, RecursionError) as error:
        raise CorruptError(str(error)) from error
    return found


def pack_report(report: Report) -> bytes:
    """A report as its public JSON, but for the space in it."""
    try:
        text = msgspec.json.encode(report_body(report), enc_hook=_plain)
    except UnicodeEncodeError:  # a name of bytes that are no UTF-8, for which that has an escape
        text = as_json(report).encode("utf-8")
    return zlib.compress(text)


def unpack_report_json(packed: bytes) -> str:
    """The JSON of a report as it is written; raises CorruptError."""
    try:
        return json_text(json.loads(_decompressed(packed)))
    except (ValueError, RecursionError) as error:
        raise CorruptError(str(error)) from error


def unpack_report(packed: bytes) -> Report:
    """A report from its JSON, but for ``reading``, which that has not; raises CorruptError.

    Bytes of a file name that are no UTF-8 stay as the JSON has them: ``json_text``.
    """
    try:
        body = json.loads(_decompressed(packed))
        if body.pop("schema_version") != SCHEMA_VERSION:
            raise CorruptError("it is of another schema")
        about = body.pop("instrument")
        body |= {"instrument": about.pop("name"), **about}
        return msgspec.convert(body, Report, str_keys=True)
    except (msgspec.MsgspecError, ValueError, RecursionError) as error:
        raise CorruptError(str(error)) from error
    except (KeyError, TypeError, AttributeError) as error:
        raise CorruptError(f"it lacks {shown(str(error))}") from error


def specification_json(specification: Specification) -> str:
    """A specification as JSON text, to look it up."""
    # Strings are keys, and only keys of text can be put in order.
    plain = msgspec.to_builtins(specification, str_keys=True)
    return msgspec.json.encode(plain, order="deterministic").decode("utf-8")


@cache
def _measured_encoder() -> msgspec.msgpack.Encoder:
    return msgspec.msgpack.Encoder(enc_hook=_plain)


@cache
def _measured_decoder() -> msgspec.msgpack.Decoder[tuple[Measured, ...]]:
    return msgspec.msgpack.Decoder(tuple[Measured, ...], dec_hook=_of_type)


def _plain(value: Any) -> Any:
    """What MessagePack has no form for: arrays of bytes, and numpy's scalars."""
    if isinstance(value, np.ndarray) and value.dtype == _SAMPLE and value.ndim == 1:
        return value.tobytes()
    if isinstance(value, np.generic):
        return value.item()
    raise NotImplementedError(f"cannot keep {type(value).__name__}")


def _of_type(kind: Any, value: Any) -> Any:
    if get_origin(kind) is np.ndarray and isinstance(value, bytes):
        return np.frombuffer(value, _SAMPLE)
    raise NotImplementedError(f"cannot read {kind}")


def _decompressed(packed: bytes) -> bytes:
    """A few bytes can stand for a flood of them: no more than a bound is let out."""
    stream = zlib.decompressobj()
    try:
        plain = stream.decompress(packed, _MOST_BYTES)
    except zlib.error as error:
        raise CorruptError(str(error)) from error
    if not stream.eof:
        raise CorruptError("it is cut off, or larger than anything that is kept here")
    return plain
