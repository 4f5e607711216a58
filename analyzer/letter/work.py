"""What was done at the bridge since the round before, and what will be done."""

from __future__ import annotations

from collections.abc import Container, Iterator

from analyzer.bridge.setting import NOT_SURE
from analyzer.letter.model import Point, Section
from analyzer.letter.words import beginning, error_in_words, is_in_tune, length_in_words
from analyzer.report.causes import nut_first
from analyzer.report.model import Report, SaddleResult, StringResult

_MOVING = (
    "The place at the bridge where a string rests can be moved, which makes its sounding length a "
    "little longer or shorter. The string is slackened first and tuned again afterwards."
)
_MOVING_LOOSE = (
    "The bridge is moved a little, which makes the sounding lengths of the strings longer or "
    "shorter. Only the strings hold it, so they are eased a little for it, one after another, and "
    "tuned again afterwards."
)
_FILING = (
    "Here that place is moved by filing. What is filed away does not come back, so it is done in "
    "small steps."
)
_NOTHING = "Nothing need be moved at the bridge."
_NOT_KNOWN = (
    "How far the resting points at the bridge have to move cannot be said without the length of "
    "the strings. A repairer can say so at the instrument."
)
_ALL_FIRST = (
    "Strings that rest on one piece at the bridge are moved together, so nothing is moved before "
    "all of them have been measured."
)
_CAUSE_FIRST = "nothing is moved before it is known why it is so far off."
_NO_BRIDGE = (
    "To be in tune, the strings would need the lengths below. Whether the bridge allows for it, a "
    "repairer has to see."
)
_TOLD = " By our notes, this has been done at the bridge so far:"
_AS_ADVISED = " This was advised for the bridge, and we take it to have been done:"
_BEST = "That is the best that can be had at this bridge."
_BEST_OF_ALL = "Of all strings on the same piece together, that is the best that can be had."
_UNCERTAIN = "Whether a small move would better it is not sure; more recordings would show."
_NUT_FIRST = (
    "{} first need{} work at the nut, the slotted piece at the head end of the neck. Only then, "
    "and after new recordings, is the bridge moved for {}."
)


def done(report: Report) -> Section:
    """What the strings were moved by so far, where an earlier round is known."""
    if report.previous is None:
        return Section("")
    moves_mm = {
        each.string: sum(
            adjuster.share.get(each.string, 0.0) * adjuster.moved_mm
            for adjuster in report.adjusters
        )
        for each in report.strings
    }
    points = tuple(
        Point(f"String {string}: made {length_in_words(move_mm)}.")
        for string, move_mm in moves_mm.items()
        if move_mm
    )
    text = "This instrument was measured before, and the figures above show what has changed since."
    if points:
        text += _TOLD if report.moves_told else _AS_ADVISED
    return Section("What was done", (text,), points)


def to_do(report: Report) -> Section:
    """What is advised for each string, and what it should then read."""
    heading = "What will be done" if report.previous is None else "What is still to be done"
    if not report.measured:
        return Section(heading)
    if not report.saddles:
        return Section(heading, *_without_bridge(report))
    known = {each.string for each in report.measured}
    without = [each for each in report.saddles if each.moves_mm is None]
    too_far = [each for each in without if known >= set(each.strings)]
    if len(without) == len(report.saddles) and not too_far:
        return Section(heading, (_ALL_FIRST,))
    at_nut = nut_first(report.frets, report.strings)
    moved = [each for each in report.saddles if any((each.moves_mm or {}).values())]
    loose = any(each.loose for each in report.adjusters)
    paragraphs = [_MOVING_LOOSE if loose else _MOVING] if moved else [_NOTHING] * (not too_far)
    if moved and any(each.action == "file" and each.move_mm for each in report.adjusters):
        paragraphs.append(_FILING)
    if at_nut:
        named, one = beginning(at_nut), len(at_nut) == 1
        paragraphs.append(_NUT_FIRST.format(named, "s" if one else "", "it" if one else "them"))
    shown = report.saddles if moved or too_far else ()
    points = tuple(point for each in shown for point in _of_saddle(each, known, report))
    return Section(heading, tuple(paragraphs), points)


def _of_saddle(saddle: SaddleResult, known: Container[int], report: Report) -> Iterator[Point]:
    if saddle.moves_mm is None or saddle.residual_cents is None:
        if all(string in known for string in saddle.strings):
            yield Point(f"{beginning(saddle.strings)}: {_CAUSE_FIRST}")
            return
        first = "it is" if len(saddle.strings) == 1 else "all of them are"
        text = f"{beginning(saddle.strings)}: nothing can be said before {first} measured."
        yield Point(text)
        return
    why = _why_not_nearer(saddle, report)
    for string, move_mm in saddle.moves_mm.items():
        half_width = (saddle.residual_uncertainty_cents or {}).get(string, 0.0)
        then_cents = saddle.residual_cents[string]
        text = f"String {string}: "
        if move_mm:
            text += f"made {length_in_words(move_mm)}. "
            text += f"It should then be {error_in_words(then_cents, half_width)}."
        else:
            text += f"stays as it is, {error_in_words(then_cents, half_width)}."
        yield Point(text if is_in_tune(then_cents, half_width) else f"{text} {why}")


def _why_not_nearer(saddle: SaddleResult, report: Report) -> str:
    """Why a string of it is not brought nearer than it is going to be."""
    own = [each for each in report.adjusters if set(saddle.strings) & set(each.strings)]
    stays = not any((saddle.moves_mm or {}).values())
    if stays and any(NOT_SURE in (each.reason or "") for each in own):
        return _UNCERTAIN
    return _BEST_OF_ALL if any(len(each.strings) > 1 for each in own) else _BEST


def _without_bridge(report: Report) -> tuple[tuple[str, ...], tuple[Point, ...]]:
    known = [each for each in report.measured if each.saddle_move_mm is not None]
    if not known:
        return (_NOT_KNOWN,), ()
    return (_NO_BRIDGE,), tuple(map(_wanted, known))


def _wanted(each: StringResult) -> Point:
    move_mm, half_mm = each.saddle_move_mm or 0.0, each.saddle_move_uncertainty_mm or 0.0
    if abs(move_mm) <= half_mm:
        return Point(f"String {each.string}: as it is.")
    return Point(f"String {each.string}: {length_in_words(move_mm, 1)}.")
