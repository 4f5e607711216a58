"""``pluckcheck watch``: a station's folder, measured while it is filled."""

from __future__ import annotations

import signal
import threading
from datetime import datetime
from pathlib import Path
from queue import SimpleQueue
from types import FrameType
from typing import TYPE_CHECKING, Annotated

import typer

from analyzer.errors import printable
from analyzer.music import ISO16_A4_HZ
from cli.app import (
    ChangedLimits,
    InstrumentOfAll,
    Jobs,
    PitchStandard,
    Quiet,
    SpecificationFile,
    Strict,
    Untrusted,
    app,
    exit_of,
)
from cli.streams import LONGEST_LINE, libraries_silenced, print_text

if TYPE_CHECKING:
    from analyzer.lot.watch import Event


@app.command(short_help="Measure instruments as recordings arrive.")
def watch(
    folder: Annotated[
        str,
        typer.Argument(
            metavar="FOLDER",
            help="Where a folder for each instrument is recorded into.",
            show_default=False,
        ),
    ],
    out: Annotated[Path, typer.Option(metavar="DIR", help="Where results are kept.")],
    specification: SpecificationFile = None,
    instrument: InstrumentOfAll = None,
    strict: Strict = False,  # noqa: FBT002
    untrusted: Untrusted = False,  # noqa: FBT002
    limit: ChangedLimits = None,
    a4: PitchStandard = ISO16_A4_HZ,
    jobs: Jobs = -1,
    quiet: Quiet = False,  # noqa: FBT002
) -> None:
    """Measure each instrument as its recordings arrive, and print a line for it.

    An instrument is complete when both notes of every string are there, or its table, and nothing
    of it changes any more. Ctrl-C, or the signal TERM, ends it; the next time goes on.

    Example: pluckcheck watch station1 --out results
    """
    from analyzer.lot.analysis import Asked
    from analyzer.lot.watch import event_in_words
    from analyzer.lot.watch import watch as watch_folder
    from analyzer.recording.limits import ReadingRules, limits_with

    def tell(event: Event) -> None:
        if not quiet:
            now = datetime.now().astimezone().isoformat(" ", "seconds")
            print_text(f"{now[:19]}  {printable(event_in_words(event), LONGEST_LINE)}\n")

    def begin(known: int) -> None:
        if not quiet:
            counted = f"{known} {'analysis' if known == 1 else 'analyses'} known"
            watching = f"watching {printable(folder)}, {counted}; Ctrl-C ends"
            typer.echo(watching, err=True)

    rules = ReadingRules(limits_with(limit or ()), untrusted)
    asked = Asked(specification, instrument, a4, rules, jobs, strict=strict)
    stop = stopped_by_signals()
    with libraries_silenced():
        tally = watch_folder(folder, out, asked, stop, tell, begin)
    if not quiet:
        print_text(f"{tally.in_words()}\n")
    raise exit_of(tally)


def stopped_by_signals() -> threading.Event:
    """Set by the first Ctrl-C or TERM; the second Ctrl-C ends all at once.

    A thread of its own sets it: a signal may come while this one holds the lock of the event, and
    would then wait for itself. Of a queue, only the simple one may be used by what signals call.
    """
    stop = threading.Event()
    came: SimpleQueue[int] = SimpleQueue()

    def tell(number: int, _frame: FrameType | None) -> None:
        came.put(number)
        signal.signal(number, signal.SIG_DFL)

    def set_it() -> None:
        came.get()
        stop.set()

    threading.Thread(target=set_it, daemon=True).start()
    for each in (signal.SIGINT, signal.SIGTERM):
        signal.signal(each, tell)
    return stop
