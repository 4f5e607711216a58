"""How every page is made: Jinja2, every value escaped, nothing undefined, no stray blank lines."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined, Template


def page_template(
    package: str,
    filters: dict[str, Callable[..., Any]],
    finalize: Callable[[Any], Any] | None = None,
) -> Template:
    """``page.html.jinja`` of a package; ``finalize`` is given every value before it is written."""
    environment = Environment(
        loader=PackageLoader(package, ""),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=finalize,
    )
    environment.filters.update(filters)
    return environment.get_template("page.html.jinja")
