"""``pluckcheck analyze``: a folder of recordings."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from analyzer.errors import UnusableInputError
from analyzer.music import ISO16_A4_HZ
from cli.app import ChangedLimits, Jobs, Quiet, Untrusted, app, give, hertz
from cli.streams import libraries_silenced

if TYPE_CHECKING:
    from analyzer.bench import Bench
    from analyzer.report.model import Report
    from cli.outputs import FolderOutput


@app.command(short_help="How far each string's 12th fret is off, and what to do.")
def analyze(
    folder: Annotated[
        Path,
        typer.Argument(metavar="FOLDER", help="Recordings such as s6_open_1.wav, s6_f12_1.wav."),
    ],
    instrument: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Its file.  [default: FOLDER/instrument.toml]"),
    ] = None,
    previous: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="JSON report of the round before, to learn from."),
    ] = None,
    turned: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE",
            help="What was turned, as CSV.  [default: as advised]",
        ),
    ] = None,
    json: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Write the report as JSON; - for standard output."),
    ] = None,
    csv: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE",
            help="Write a row a string, as CSV or FILE.parquet.",
        ),
    ] = None,
    recordings_csv: Annotated[
        Path | None, typer.Option(metavar="FILE", help="The same, a row a recording.")
    ] = None,
    xlsx: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Write both, and the settings, as a workbook."),
    ] = None,
    letter: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Write the finding for a customer (Markdown)."),
    ] = None,
    html: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE",
            help="Write a page; it prints as a card for the bench.",
        ),
    ] = None,
    plots: Annotated[
        Path | None,
        typer.Option(metavar="DIR", help="Write figures (PNG and SVG) into this folder."),
    ] = None,
    request: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE",
            help="Write a message that asks for what is missing.",
        ),
    ] = None,
    store: Annotated[
        Path | None,
        typer.Option(
            metavar="PATH",
            help="Keep it in this store, and measure nothing twice.",
        ),
    ] = None,
    serial: Annotated[
        str | None,
        typer.Option(
            metavar="TEXT",
            help="Kept under this number.  [default: FOLDER's name]",
            show_default=False,
        ),
    ] = None,
    untrusted: Untrusted = False,  # noqa: FBT002
    limit: ChangedLimits = None,
    a4: Annotated[
        float,
        typer.Option(
            parser=hertz,
            metavar="HZ",
            help="A4; the notes are named by it.",
        ),
    ] = ISO16_A4_HZ,
    jobs: Jobs = -1,
    quiet: Quiet = False,  # noqa: FBT002
) -> None:
    """Say for each string of an instrument how far its 12th fret is off, and what to do.

    Example: pluckcheck analyze my_guitar --json report.json
    """
    from analyzer.analysis import input_files, read_inputs, report_from
    from analyzer.recording.limits import ReadingRules, limits_with
    from analyzer.report.files import as_json
    from analyzer.report.request_text import as_request
    from analyzer.report.tables import recordings_frame, strings_frame, table_form
    from analyzer.report.terminal import TerminalReport
    from cli.outputs import AnyOutput, StoreOutput, check_outputs, outputs_of
    from cli.printing import Progress

    rules = ReadingRules(limits_with(limit or ()), untrusted)
    outputs: list[AnyOutput] = [
        *outputs_of(
            json=(json, as_json),
            csv=(csv, table_form(csv, strings_frame)),
            recordings_csv=(recordings_csv, table_form(recordings_csv, recordings_frame)),
            xlsx=(xlsx, _workbook),
            html=(html, _page),
            letter=(letter, _letter),
            request=(request, as_request),
        )
    ]
    if plots is not None:
        outputs.append(_figures(plots))
    bench = _bench(store, folder, serial)
    if bench is not None and store is not None:
        outputs.append(StoreOutput("--store", store, bench.files, bench.keep))
    inputs = input_files(folder, instrument, previous, turned, limits=rules.limits)
    check_outputs(outputs, inputs)
    reported = report_from if bench is None else bench.analyze
    with libraries_silenced(), Progress(quiet=quiet) as progress:
        given = read_inputs(
            folder, instrument, previous=previous, turned=turned, a4_hz=a4, rules=rules
        )
        report = reported(given, jobs=jobs, progress=progress.update)
    give(report, outputs, TerminalReport, quiet=quiet)


def _bench(store: Path | None, folder: Path, serial: str | None) -> Bench | None:
    if store is not None:
        from analyzer.bench import bench_of

        return bench_of(store, folder, serial)
    if serial is not None:
        raise UnusableInputError(
            "--serial", "stands alone", "Give the store that the report is kept in with --store"
        )
    return None


# What is seldom asked for is imported when it is: an analysis must not wait for it.
def _workbook(report: Report) -> bytes:
    from analyzer.report.spreadsheet import as_xlsx

    return as_xlsx(report)


def _page(report: Report) -> str:
    from analyzer.page.render import as_html

    return as_html(report)


def _letter(report: Report) -> str:
    from analyzer.letter.markdown import as_letter

    return as_letter(report)


def _figures(folder: Path) -> FolderOutput:
    from analyzer.figures.files import check_folder, figure_names, write_figures
    from cli.outputs import FolderOutput

    return FolderOutput("--plots", folder, figure_names(), check_folder, write_figures)
