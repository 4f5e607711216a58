"""``pluckcheck sheet``: a page for whoever records."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from cli.app import app


@app.command(short_help="A guide for whoever records this instrument.")
def sheet(
    instrument: Annotated[
        Path,
        typer.Argument(
            metavar="INSTRUMENT",
            help="Instrument file, or the folder that its instrument.toml is in.",
        ),
    ],
    markdown: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Write it as Markdown, for a message; - to print it so."),
    ] = None,
    html: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Write it as a page (HTML) that prints to one sheet."),
    ] = None,
) -> None:
    """Print a guide for whoever records this instrument: which notes, in which order, and how.

    Example: pluckcheck sheet instrument.toml --html how_to_record.html
    """
    from analyzer.sheet.content import instrument_in, read_sheet
    from analyzer.sheet.markdown import as_markdown
    from analyzer.sheet.page import as_page
    from analyzer.sheet.text import as_text
    from cli.outputs import check_outputs, deliver_all, outputs_of
    from cli.printing import text_columns
    from cli.streams import print_text

    outputs = outputs_of(markdown=(markdown, as_markdown), html=(html, as_page))
    instrument_file = instrument_in(instrument)
    check_outputs(outputs, [instrument_file])
    guide = read_sheet(instrument_file)
    deliver_all(outputs, guide)
    if not outputs:
        print_text(as_text(guide, text_columns()))
