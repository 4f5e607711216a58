"""What the report says in the words of the trade, in words for a customer.

The causes are those of ``analyzer.findings``, and the cautions those that recordings are used with,
each by a phrase of it. What has no row keeps its own words; a test holds that nothing has to.
"""

from __future__ import annotations

from collections.abc import Sequence

from analyzer.instrument.model import strings_named
from analyzer.page.rounding import decimals_for
from analyzer.report.words import way

_NUT = "the slotted piece at the head end of the neck"
_CAUSES = {
    "worn or wrong string": "perhaps worn, or of another kind than belongs there. A new string is "
    "the first thing to try.",
    "open and fretted notes of two strings": "the two notes do not seem to be of one string. They "
    "should be recorded again; if it stays so, the string is uneven.",
    "magnet's pull": "perhaps pulled by the magnet of a pickup beneath. Lowering the pickup a "
    "little would show.",
    "uneven string, or retuned between takes": "uneven along its length, or retuned between its "
    "recordings.",
    "not settled": "not come to rest yet: the tuning still creeps, as that of new strings does. It "
    "should be measured again in a few days.",
    "plucked too hard": "plucked so hard that the notes start too high. Recordings that are "
    "plucked more gently would be surer.",
    "repeats scatter": "recorded several times, and the recordings differ more than we like. More "
    "of them would be surer.",
    "high nut": f"perhaps too high at the nut, {_NUT}. What has to be pressed far down at the "
    "first frets sounds too high there.",
    "high action": "high above the frets, which makes every fretted note too high.",
    "nut too far from the saddle": "too high at every fret alike, which points to the nut, "
    f"{_NUT}.",
    "high action, or a nut too far from the saddle": "too high at every fret alike: high above "
    f"the frets, or the nut ({_NUT}) not quite in its place.",
    "saddle on the wrong side of its travel": "at the wrong end of its range at the bridge. The "
    "bridge, or the piece that the string rests on, may not be in its place.",
    "more than a saddle can be out of place": "further off than the bridge could ever make up for. "
    "Perhaps another string or fret was recorded; else the bridge is not where it belongs.",
    "scale length or bridge position": "all off alike, which points to a bridge that is not where "
    "it belongs. Its place should be measured.",
}
_CAUTIONS = (
    ("was taken for", "a note of which we are not quite sure which string it is"),
    ("very quiet", "very quiet"),
    ("too loud", "too loud for the recorder"),
    ("hardly longer", "rather short"),
    ("is noisy", "some noise in it"),
    ("hums", "a hum in it, as from mains leads or lamps"),
    ("something else sounding", "something else sounding in it"),
    ("vibrato", "a pitch that goes up and down a little"),
    ("rises by", "a pitch that rises while it rings"),
    ("still falls", "a pitch that has not quite come to rest"),
    ("two devices", "recorded on another device than the other note of its string"),
    ("like the harmonic", "perhaps touched over the 12th fret, and not pressed down"),
    ("where the other strings are tuned", "a string well out of tune with the others"),
)


def cause_in_plain_words(cause: str) -> str | None:
    """What follows ``String 3:`` or ``Strings 4 and 3:``; None where there is no row."""
    return _CAUSES.get(cause)


def caution_in_plain_words(caution: str) -> str | None:
    """What was not perfect about a recording; None where there is no row."""
    return next((plain for phrase, plain in _CAUTIONS if phrase in caution), None)


def error_in_words(error_cents: float, half_width_cents: float, good: str = "in tune") -> str:
    """An error with its interval; ``good`` where it is none beyond that.

    >>> error_in_words(7.81, 0.42), error_in_words(-0.2, 0.55)
    ('7.8 cents sharp, give or take 0.4', 'in tune, give or take 0.6 cents')
    """
    decimals = decimals_for(half_width_cents, 1)
    half_width = f"{max(half_width_cents, 10.0**-decimals):.{decimals}f}"
    size = f"{abs(error_cents):.{decimals}f}"
    if is_in_tune(error_cents, half_width_cents) or float(size) == 0:
        return f"{good}, give or take {half_width} cents"
    return f"{size} cents {'sharp' if error_cents > 0 else 'flat'}, give or take {half_width}"


def is_in_tune(error_cents: float, half_width_cents: float) -> bool:
    """Whether an error is none beyond its interval."""
    return abs(error_cents) <= half_width_cents


def length_in_words(move_mm: float, decimals: int = 2) -> str:
    """What a move of the saddle, mm away from the nut, does to the string.

    What is advised or done goes to the hundredth, as in every other output: no part of a step must
    seem to have been lost.

    >>> length_in_words(4.25), length_in_words(3.0), length_in_words(-0.004)
    ('4.25 mm longer', '3 mm longer', 'less than 0.01 mm shorter')
    """
    size = f"{abs(move_mm):.{decimals}f}"
    least = 10.0**-decimals
    size = f"{size.rstrip('0').rstrip('.')} mm" if float(size) else f"less than {least:g} mm"
    return f"{size} {'longer' if way(move_mm) == way(1.0) else 'shorter'}"


def beginning(strings: Sequence[int]) -> str:
    """The strings at the beginning of a sentence."""
    return strings_named(strings).capitalize()
