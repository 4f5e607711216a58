"""How every page is made: Jinja2, every value escaped, nothing undefined, no stray blank lines."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from jinja2 import (
    BaseLoader,
    ChoiceLoader,
    Environment,
    PackageLoader,
    PrefixLoader,
    StrictUndefined,
    Template,
)


def page_template(
    package: str,
    filters: dict[str, Callable[..., Any]],
    finalize: Callable[[Any], Any] | None = None,
    shares: str | None = None,
) -> Template:
    """``page.html.jinja`` of a package; ``finalize`` is given every value before it is written.

    What the package ``shares`` stands under ``shared/``, for templates that include it.
    """
    loaders: list[BaseLoader] = [PackageLoader(package, "")]
    if shares is not None:
        loaders.append(PrefixLoader({"shared": PackageLoader(shares, "")}))
    environment = _environment(loader=ChoiceLoader(loaders), finalize=finalize)
    environment.filters.update(filters)
    return environment.get_template("page.html.jinja")


def text_template(source: str, finalize: Callable[[Any], Any]) -> Template:
    """A template that stands in a module: a piece of a page."""
    return _environment(finalize=finalize).from_string(source)


def _environment(**options: Any) -> Environment:
    return Environment(
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        **options,
    )
