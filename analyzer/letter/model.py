"""The letter as values."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date


@dataclass(frozen=True)
class Point:
    """A sentence; ``files`` are the recordings that it is about, by name."""

    text: str
    files: tuple[str, ...] = ()


@dataclass(frozen=True)
class Section:
    """A heading, paragraphs, and the points below them."""

    heading: str
    paragraphs: tuple[str, ...] = ()
    points: tuple[Point, ...] = ()

    def __bool__(self) -> bool:
        return bool(self.paragraphs or self.points)


@dataclass(frozen=True)
class Letter:
    """``instrument`` is None where nobody has given it a name."""

    instrument: str | None
    on: date
    sections: tuple[Section, ...]
