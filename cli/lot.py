"""``pluckcheck lot``: a decision for every instrument of a production lot."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from analyzer.music import ISO16_A4_HZ
from cli.app import (
    ChangedLimits,
    InstrumentOfAll,
    Jobs,
    PitchStandard,
    Quiet,
    SpecificationFile,
    StoppedError,
    Strict,
    Untrusted,
    app,
    give,
)
from cli.streams import libraries_silenced

if TYPE_CHECKING:
    import pandas as pd
    from rich.console import RenderableType

    from analyzer.lot.analysis import LotResult

PAGE_NAME = "lot.html"


@app.command(short_help="A decision for each instrument of a lot.")
def lot(
    place: Annotated[
        str,
        typer.Argument(
            metavar="FOLDER",
            help="A folder an instrument, named by its serial; or a table.",
            show_default=False,
        ),
    ],
    out: Annotated[
        Path,
        typer.Option(metavar="DIR", help="Keep results here, and go on from them."),
    ],
    specification: SpecificationFile = None,
    instrument: InstrumentOfAll = None,
    strict: Strict = False,  # noqa: FBT002
    json: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Write the summary as JSON; - for standard output."),
    ] = None,
    csv: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE",
            help="Write a row an instrument, as CSV or .parquet.",
        ),
    ] = None,
    values_csv: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="The same with a row a value that was judged."),
    ] = None,
    xlsx: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Write a workbook (XLSX) of both.")
    ] = None,
    html: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Where its page goes.  [default: DIR/lot.html]"),
    ] = None,
    pages: Annotated[  # noqa: FBT002
        bool,
        typer.Option(
            "--pages",
            help="Also write a page of each that is not accepted.",
        ),
    ] = False,
    read_again: Annotated[  # noqa: FBT002
        bool,
        typer.Option("--read-again", help="Read even files that look unchanged."),
    ] = False,
    scheduler: Annotated[
        str | None,
        typer.Option(metavar="ADDRESS", help="Measure on workers of a Dask scheduler."),
    ] = None,
    untrusted: Untrusted = False,  # noqa: FBT002
    limit: ChangedLimits = None,
    a4: PitchStandard = ISO16_A4_HZ,
    jobs: Jobs = -1,
    quiet: Quiet = False,  # noqa: FBT002
) -> None:
    """Decide for each instrument of a lot: conform, not conform, or not decided.

    Example: pluckcheck lot week12 --out results
    """
    from analyzer.lot.analysis import Asked, analyze_lot
    from analyzer.recording.limits import ReadingRules, limits_with
    from analyzer.report.tables import table_form
    from cli.outputs import check_outputs, outputs_of
    from cli.printing import Progress

    rules = ReadingRules(limits_with(limit or ()), untrusted)
    asked = Asked(
        specification, instrument, a4, rules, jobs, scheduler, read_again=read_again, strict=strict
    )
    page = html or out / PAGE_NAME
    outputs = outputs_of(
        json=(json, _json),
        csv=(csv, table_form(csv, _sessions)),
        values_csv=(values_csv, table_form(values_csv, _values)),
        xlsx=(xlsx, _workbook),
        html=(page, partial(_page, at=page, own_pages=pages)),
    )
    out.mkdir(parents=True, exist_ok=True)
    check_outputs(outputs, [])
    try:
        with libraries_silenced(), Progress(quiet=quiet, of="instruments") as progress:
            result = analyze_lot(place, out, asked, progress.update)
    except KeyboardInterrupt as stopped:
        raise StoppedError("Give it again to go on") from stopped
    give(result, outputs, _tables, quiet=quiet)


# What is seldom asked for is imported when it is.
def _tables(result: LotResult) -> RenderableType:
    from analyzer.lot.output.terminal import TerminalLot

    return TerminalLot(result.summary, result.run_in_words(), list(result.named()))


def _json(result: LotResult) -> str:
    from analyzer.lot.output.summary_json import as_json

    return as_json(result.summary)


def _sessions(result: LotResult) -> pd.DataFrame:
    from analyzer.lot.output.tables import sessions_table

    return sessions_table(result.sessions)


def _values(result: LotResult) -> pd.DataFrame:
    from analyzer.lot.output.tables import values_table

    return values_table(result.values)


def _workbook(result: LotResult) -> bytes:
    from analyzer.lot.output.tables import lot_xlsx

    return lot_xlsx(result.sessions, result.values, result.left_out)


def _page(result: LotResult, *, at: Path, own_pages: bool) -> str:
    from analyzer.lot.page.own_pages import write_own_pages
    from analyzer.lot.page.render import as_html

    links = write_own_pages(result.sessions, result.store, at) if own_pages else None
    return as_html(result.summary, result.sessions, result.values, links)
