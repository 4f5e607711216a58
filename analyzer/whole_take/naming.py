"""Which string and fret each pluck of a whole take is: by pitch and, where two agree, by order.

The open strings and their 12th frets are the notes that are looked for. The instrument may as a
whole be tuned up or down, so that is found first. Where two of its notes are the same, as those of
two strings an octave apart, the one is taken that continues the order best: string by string or
all open strings first, takes of a note in a row or in rounds.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from analyzer.instrument.model import Instrument
from analyzer.music import cents_between
from analyzer.recording.labels import OPEN, TWELFTH_FRET, Label

# From a note of the tuning, as a whole tuned up or down; the next is 100 away.
FURTHEST_CENTS = 90.0
_MOST_TUNED_CENTS = 150.0  # as for a file with a name (``gate``)
_TUNED_STEP_CENTS = 5.0
_NEAR_CENTS = 30.0  # a string in tune to the others lies so near
# What a step in the order costs, in strings passed over. All four are choices; they only order.
_OTHER_POSITION = 0.5
_AGAIN = 1.5  # for each earlier run of the same note
_MOST_STRINGS = 3.0
_CLEARLY_BETTER = 1.0
# Strings passed over at a step, on average: 1 in every order that is one, 2 when they are shuffled.
_NO_ORDER = 1.35
_PATHS = 64

Place = tuple[int, str]  # string, fret


@dataclass(frozen=True)
class Named:
    """What a pluck was taken for; ``label`` is None where its pitch is none of the instrument's.

    ``shared`` says which notes agree where the pitch alone does not tell; ``clear`` is False where
    the order of the plucks does not either.
    """

    label: Label | None
    shared: str | None = None
    clear: bool = True


@dataclass(frozen=True)
class _Path:
    """One way to name the runs so far."""

    cost: float
    places: tuple[Place, ...]


def name_plucks(
    pitches_hz: Sequence[float], instrument: Instrument, a4_hz: float
) -> tuple[Named, ...]:
    """Name plucks by their pitches, in order of time; takes count from 1 for each note."""
    tuned_cents = _tuned_cents(pitches_hz, instrument, a4_hz)
    choices = [_choices(hz, instrument, a4_hz, tuned_cents) for hz in pitches_hz]
    runs = list(_runs(choices))
    chosen, sure = _in_order([options for options, _ in runs])
    places: list[Place | None] = [None] * len(choices)
    shared: list[str | None] = [None] * len(choices)
    clear = [True] * len(choices)
    for (options, members), place, certain in zip(runs, chosen, sure, strict=True):
        for member in members:
            places[member], clear[member] = place, certain
            if len(options) > 1:
                shared[member] = _shared(options, instrument)
    return tuple(_numbered(places, shared, clear))


def _numbered(
    places: Sequence[Place | None], shared: Sequence[str | None], clear: Sequence[bool]
) -> Iterator[Named]:
    takes: dict[Place, int] = {}
    for place, words, certain in zip(places, shared, clear, strict=True):
        if place is None:
            yield Named(None)
            continue
        takes[place] = takes.get(place, 0) + 1
        yield Named(Label(*place, takes[place]), words, certain)


def _notes_hz(instrument: Instrument, a4_hz: float) -> dict[Place, float]:
    opens = {string: instrument.open_hz(string, a4_hz) for string in instrument.strings}
    return {
        (string, fret): octave * hz
        for string, hz in opens.items()
        for fret, octave in ((OPEN, 1), (TWELFTH_FRET, 2))
    }


def _tuned_cents(pitches_hz: Sequence[float], instrument: Instrument, a4_hz: float) -> float:
    """How far the instrument as a whole is tuned up: where the most plucks fall on a note."""
    if not pitches_hz:
        return 0.0
    notes = np.log2(np.array(list(_notes_hz(instrument, a4_hz).values())))
    pitches = np.log2(np.array(pitches_hz))
    shifts = np.arange(-_MOST_TUNED_CENTS, _MOST_TUNED_CENTS + 1, _TUNED_STEP_CENTS)
    shifts = shifts[np.argsort(np.abs(shifts), kind="stable")]  # of equals, the smallest
    cents = 1200 * (pitches[:, None] - notes) - shifts[:, None, None]
    nearest = np.min(np.abs(cents), axis=2)
    return float(shifts[np.argmax(np.sum(np.exp(-((nearest / _NEAR_CENTS) ** 2)), axis=1))])


def _choices(
    hz: float, instrument: Instrument, a4_hz: float, tuned_cents: float
) -> tuple[Place, ...]:
    """The places whose note lies nearest; more than one where the tuning has it twice."""
    notes = _notes_hz(instrument, a4_hz)
    off = {place: abs(cents_between(note, hz) - tuned_cents) for place, note in notes.items()}
    nearest = min(off.values())
    if nearest > FURTHEST_CENTS:
        return ()
    # The notes of a tuning lie 0 or 100 cents and more apart.
    best = min(notes, key=lambda place: off[place])
    return tuple(p for p, note in notes.items() if abs(cents_between(notes[best], note)) < 1)


def _runs(choices: Sequence[tuple[Place, ...]]) -> Iterator[tuple[tuple[Place, ...], list[int]]]:
    """Plucks of one note in a row; what is no note at all neither counts nor interrupts."""
    options: tuple[Place, ...] = ()
    members: list[int] = []
    for index, each in enumerate(choices):
        if not each:
            continue
        if members and each != options:
            yield options, members
            members = []
        options = each
        members.append(index)
    if members:
        yield options, members


def _in_order(runs: Sequence[tuple[Place, ...]]) -> tuple[list[Place], list[bool]]:
    """The places that continue the order best, and where that is clear."""
    paths = [_Path(0.0, ())]
    for options in runs:
        longer = [
            _Path(path.cost + _cost(path, place), (*path.places, place))
            for path in paths
            for place in options
        ]
        paths = sorted(longer, key=lambda path: path.cost)[:_PATHS]
    best = paths[0]
    ordered = _passed_a_step(best.places) < _NO_ORDER
    clear = [
        ordered
        and all(
            other.places[i] == place or other.cost > best.cost + _CLEARLY_BETTER for other in paths
        )
        for i, place in enumerate(best.places)
    ]
    return list(best.places), clear


def _passed_a_step(places: Sequence[Place]) -> float:
    steps = [_passed(*pair) for pair in pairwise(places)]
    return sum(steps) / len(steps) if steps else 0.0


def _cost(path: _Path, place: Place) -> float:
    cost = _AGAIN * path.places.count(place)
    return cost + _passed(path.places[-1], place) if path.places else cost


def _passed(place: Place, following: Place) -> float:
    """What a step costs."""
    passed = min(abs(following[0] - place[0]), _MOST_STRINGS)
    return passed + _OTHER_POSITION * (following[1] != place[1])


def _shared(options: Sequence[Place], instrument: Instrument) -> str:
    places = " and ".join(Label(*each).named for each in options)
    return f"{places} are one note in {' '.join(instrument.tuning)}"
