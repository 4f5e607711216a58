"""The request as a short message in Markdown, for a customer."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

from analyzer.recording.labels import HARMONIC, OPEN
from analyzer.report.markdown import code, escaped
from analyzer.report.model import Report
from analyzer.report.request import Asked, Fault, Request, request_of

_REMINDER: Final = (
    "As before: same phone, same place; one string at a time, the others silenced with a hand; "
    "let each note ring for three seconds. Keep the ending that your phone gives the file, such as "
    ".m4a. All of them may also be in one long recording named whole.wav, with a second of silence "
    "between. If a string was retuned since the first recordings, record both of its notes again."
)


def as_request(report: Report) -> str:
    """The message that asks for what a report still lacks; it says so where nothing is lacking."""
    return "\n".join(_lines(request_of(report))) + "\n"


def _lines(request: Request) -> Iterator[str]:
    named = f" of {escaped(request.instrument)}" if request.instrument else ""
    yield f"# Your recordings{named}"
    yield ""
    yield f"Thank you. {_judged(request)}"
    if request.asked:
        yield ""
        yield f"Please record {_counted(len(request.asked))} and send {_it(request)}:"
        yield ""
        for number, each in enumerate(request.asked, 1):
            yield from _item(number, each)
        yield ""
        yield _REMINDER
    yield from _others("We could not tell which note these are:", request.unknown, remedies=True)
    yield from _others(
        "These were of no use, but there are others of the same note, so nothing need be done:",
        request.spare,
        remedies=False,
    )


def _judged(request: Request) -> str:
    if request.judged == request.strings and not request.asked:
        return "We have all that we need: every string could be measured."
    return f"{request.judged} of {request.strings} strings could be measured so far."


def _counted(number: int) -> str:
    return "this note" if number == 1 else f"these {number} notes"


def _it(request: Request) -> str:
    return "it to us" if len(request.asked) == 1 else "them to us"


def _item(number: int, asked: Asked) -> Iterator[str]:
    yield (
        f"{number}. **String {asked.string} ({escaped(asked.note)}), {place(asked.fret)}**, "
        f"named {code(asked.file)}."
    )
    if asked.found is not None:
        yield f"   - Why: {asked.found}"
    elif not asked.faults:
        yield "   - Why: we have no recording of it."
    for fault in asked.faults:
        yield f"   - Why: {_said(fault, remedies=True)}"


def place(fret: str) -> str:
    """Where the finger goes, in plain words."""
    if fret == OPEN:
        return "open, no finger on it"
    if fret == HARMONIC:
        return "touched lightly over the 12th fret, not pressed"
    return f"pressed down at the {_ordinal(int(fret[1:]))} fret"


def _ordinal(number: int) -> str:
    teen = 10 <= number % 100 <= 20
    return f"{number}{'th' if teen else {1: 'st', 2: 'nd', 3: 'rd'}.get(number % 10, 'th')}"


def _said(fault: Fault, *, remedies: bool) -> str:
    line = f"{code(fault.named)} {escaped(fault.fault)}."
    return f"{line} {fault.remedy}".rstrip() if remedies else line


def _others(heading: str, faults: Sequence[Fault], *, remedies: bool) -> Iterator[str]:
    if not faults:
        return
    yield ""
    yield heading
    yield ""
    for fault in faults:
        yield f"- {_said(fault, remedies=remedies)}"
