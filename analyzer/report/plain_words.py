"""What was wrong with a recording, in words for whoever recorded it.

The reasons in the report are for the technician. Here each stands for a customer: by a phrase of
the reason, what was wrong with the recording, and what to do. A reason without a row keeps its own
words; a test holds that none has to.
"""

from __future__ import annotations

from typing import NamedTuple


class Plain(NamedTuple):
    """``fault`` continues the name of the recording; ``remedy`` is a sentence or two."""

    fault: str
    remedy: str


_ALONE = "Rest a hand lightly on the other strings so that only this one sounds."
_RING = "Let the note ring for three seconds before you stop it."
_NEARER = "Put the phone nearer, about a hand's width from the strings, in a quiet room."
_AGAIN = "Please send the file again straight from the phone, or record it again."
_SMALLER = "Please send it in shorter pieces, and the sound alone if it was a video."
_WAV = "Please record it again, or save it in another format if your recorder offers one."

# Where these are said nothing is wrong with the file.
READER_MISSING = "reader is not installed"
NO_ROOM = "no temporary file"

# The first row whose phrase is in the reason counts.
_ROWS: tuple[tuple[str, Plain], ...] = (
    ("is silent", Plain("is silent", "See that nothing covers the microphone.")),
    ("promises string", Plain("sounds like another note than its name says",
        "Check which string and which fret it was.")),
    ("which is neither", Plain("holds a note that belongs to none of the strings",
        "Tune the strings as usual first, then record them.")),
    ("names string", Plain("has the number of a string that the instrument does not have",
        "Name it as the guide says.")),
    ("names fret", Plain("has the number of a fret that is not there",
        "Name it as the guide says.")),
    ("of the tuning", Plain("has a name that does not say which string it is",
        "Name it with the number of the string, as the guide says.")),
    ("looks like a copy", Plain("looks like a copy of another file",
        "If it is a recording of its own, send it under the next free number.")),
    ("is the same sound", Plain("is the same recording as another one",
        "Please pluck the string anew for each recording.")),
    ("neither string nor fret", Plain("has a name from which we cannot tell the note",
        "Name it as the guide says.")),
    ("louder than its own", Plain("has another string sounding in it, louder than its own",
        _ALONE)),
    ("vibrato", Plain("has a pitch that goes up and down",
        "Keep the finger still while the note rings.")),
    ("is bent", Plain("has a pitch that rises while it rings",
        "Press straight down, keep the finger still, and pluck gently.")),
    ("never settles", Plain("has a pitch that never comes to rest",
        "Pluck more gently. If the string slips or is very new, wait a day and tune it again.")),
    ("more noise", Plain("has more noise than note", _NEARER)),
    ("noise", Plain("has too much noise in it", _NEARER)),
    ("is clipped", Plain("is too loud for the phone and sounds harsh",
        "Move the phone further away, or pluck more gently.")),
    ("too little for one so low", Plain("is too short", _RING)),
    ("of a note", Plain("is too short", _RING)),
    ("no plucked note", Plain("has no note in it that rings long enough", _RING)),
    ("no steady note", Plain("has no clear single note in it", f"{_ALONE} {_RING}")),
    ("notes are measured up to", Plain("sounds much higher than the note it should be",
        "Check which string and which fret it was.")),
    ("other takes of the same note", Plain("differs too much from the others of this note",
        "Pluck this string again, without retuning it in between.")),
    ("has nothing from", Plain("ends before the place where the note should be", _AGAIN)),
    ("not a regular file", Plain("is not a sound file", _AGAIN)),
    ("a link to", Plain("is not a sound file", _AGAIN)),
    ("cannot be read (", Plain("could not be opened", _AGAIN)),
    ("is empty", Plain("arrived empty", _AGAIN)),
    ("cannot be read as sound", Plain("is damaged, or is not a sound file", _AGAIN)),
    ("its header promises", Plain("arrived incomplete", _AGAIN)),
    ("holds no sound", Plain("has no sound in it", _AGAIN)),
    ("samples", Plain("is damaged", _AGAIN)),
    ("in its middle", Plain("is damaged", _AGAIN)),
    ("made its decoder crash", Plain("is damaged", _AGAIN)),
    ("sample rate", Plain("was recorded at a quality that we cannot use",
        "Choose the normal or the high quality in your recorder.")),
    ("channels", Plain("has more sound tracks than we can read", "Record it with a phone.")),
    ("MB", Plain("is too large for us to read", _SMALLER)),
    ("lasts", Plain("is too long for us to read", _SMALLER)),
    ("to decode", Plain("takes too long to read", _WAV)),
    (NO_ROOM, Plain("could not be read here", "")),
    (READER_MISSING, Plain("is in a format that we cannot read here", _WAV)),
    ("could not be measured", Plain("could not be measured", "Please record it again.")),
)  # fmt: skip


def in_plain_words(reason: str) -> Plain | None:
    """The row for a reason of the report, None where there is none."""
    found = (plain for phrase, plain in _ROWS if phrase in reason)
    return next(found, None)
