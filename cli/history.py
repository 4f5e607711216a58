"""``pluckcheck history``: what a store knows of an instrument, or of all since a date."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from analyzer.errors import UnusableInputError
from cli.app import Quiet, app, count, give

if TYPE_CHECKING:
    import pandas as pd

    from analyzer.lot.histories import History, InstrumentHistory
    from analyzer.lot.store import Store


@app.command(short_help="The analyses of an instrument over the years.")
def history(
    serial: Annotated[
        str | None,
        typer.Argument(
            metavar="SERIAL", help="Serial number of the instrument.", show_default=False
        ),
    ] = None,
    since: Annotated[
        str | None,
        typer.Option(
            metavar="DATE",
            help="Only from then on: ISO 8601, UTC if not said.",
        ),
    ] = None,
    by: Annotated[
        str,
        typer.Option(metavar="TIME", help="Dates of what: analyzed or recorded."),
    ] = "analyzed",
    most: Annotated[
        int | None,
        typer.Option(parser=count, metavar="N", help="At most so many, the oldest first."),
    ] = None,
    store: Annotated[
        Path,
        typer.Option(
            metavar="PATH",
            help="The store or its folder.  [default: this folder]",
            show_default=False,
        ),
    ] = Path(),
    json: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Write the history as JSON; - for standard output."),
    ] = None,
    csv: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE",
            help="Write a row an analysis, or of a SERIAL a string.",
        ),
    ] = None,
    xlsx: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Write a workbook (XLSX) of both.")
    ] = None,
    report: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE",
            help="Write the JSON report of SERIAL's newest analysis.",
        ),
    ] = None,
    html: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Write the page of SERIAL's newest analysis."),
    ] = None,
    quiet: Quiet = False,  # noqa: FBT002
) -> None:
    """Show the analyses of an instrument over the years, or of all instruments since a date.

    Example: pluckcheck history P00017 --store results
    """
    from analyzer.lot.histories import open_history, read_history, wanted_of
    from analyzer.lot.output.history_json import as_json
    from analyzer.lot.output.history_terminal import TerminalHistory
    from analyzer.lot.store import files_of
    from analyzer.report.tables import table_form
    from cli.outputs import check_outputs, outputs_of

    wanted = wanted_of(serial, since, by, most)
    _check_of_one(serial, {"--report": report, "--html": html})
    with open_history(store) as opened:
        outputs = outputs_of(
            json=(json, as_json),
            csv=(csv, table_form(csv, _table)),
            xlsx=(xlsx, _workbook),
            report=(report, partial(_report, opened)),
            html=(html, partial(_page, opened)),
        )
        check_outputs(outputs, files_of(store))
        give(read_history(opened, wanted), outputs, TerminalHistory, quiet=quiet)


def _check_of_one(serial: str | None, places: dict[str, Path | None]) -> None:
    for option, path in places.items():
        if path is not None and serial is None:
            raise UnusableInputError(option, "is of one instrument", "Give its serial number too")


# What is seldom asked for is imported when it is.
def _table(history: History) -> pd.DataFrame:
    from analyzer.lot.output.history_tables import history_table

    return history_table(history)


def _workbook(history: History) -> bytes:
    from analyzer.lot.output.history_tables import history_xlsx

    return history_xlsx(history)


def _report(store: Store, history: InstrumentHistory) -> str:
    return store.report_json(history.newest.analysis)


def _page(store: Store, history: InstrumentHistory) -> str:
    from analyzer.page.render import as_html

    return as_html(store.stored_report(history.newest.analysis))
