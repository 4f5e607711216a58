"""A page in a real browser: what it asks for, what it complains of, whether it scrolls, axe-core.

Debian's chromium is driven through Playwright's Python package; axe-core is the npm package, whose
``axe.min.js`` the environment variable PLUCKCHECK_AXE names. What is missing skips, with a reason.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

BROWSER = shutil.which("chromium")
PHONE, DESK = 320, 1280
_HEIGHT = 900

Screen = tuple[int, str]  # its width in CSS pixels, and the scheme of its colours


@dataclass
class Seen:
    """What a page did and has.

    ``scrolls``: the screens on which it does, sideways. ``violations``: axe-core's on any of them;
    none where that is not at hand.
    """

    requests: list[str] = field(default_factory=list)
    messages: list[str] = field(default_factory=list)
    scrolls: list[Screen] = field(default_factory=list)
    opened_by_key: int = 0
    parts: int = 0
    text: str = ""
    violations: list[str] = field(default_factory=list)


def axe_source() -> str | None:
    """The script of axe-core, if it is named."""
    path = os.environ.get("PLUCKCHECK_AXE")
    return Path(path).read_text("utf-8") if path else None


@contextmanager
def browser() -> Iterator[Any]:
    """Chromium for as long as it is needed; skips without it."""
    api = pytest.importorskip("playwright.sync_api", reason="needs playwright")
    if BROWSER is None:
        pytest.skip("needs chromium")
    with api.sync_playwright() as driver:
        started = driver.chromium.launch(executable_path=BROWSER, args=["--no-sandbox"])
        try:
            yield started
        finally:
            started.close()


def listened(page: Any) -> Seen:
    """What a page asks for and complains of from now on."""
    seen = Seen()
    page.on("request", lambda request: seen.requests.append(request.url))
    page.on("console", lambda message: seen.messages.append(message.text))
    page.on("pageerror", lambda error: seen.messages.append(str(error)))
    return seen


def violations(page: Any) -> list[str] | None:
    """What axe-core holds against a page as it is now; None where it is not at hand."""
    axe = axe_source()
    if axe is None:
        return None
    if not page.evaluate("'axe' in window"):
        page.evaluate(axe)
    # All rules run; to describe what passed, node by node, would take longer than that.
    found = page.evaluate("axe.run({resultTypes: ['violations']}).then(all => all.violations)")
    return [f"{each['id']}: {each['nodes'][0]['html'][:200]}" for each in found]


def look_at(started: Any, file: Path, *screens: Screen, widths: Iterable[int] = ()) -> Seen:
    """Open a page on the first screen, unfold its parts by keyboard, and look at it on each.

    A page without scripts is on a screen what it is where it is opened there. ``widths``: more of
    them, at which it must not scroll.
    """
    context = started.new_context(viewport={"width": PHONE, "height": _HEIGHT}, bypass_csp=True)
    page = context.new_page()
    be_on(page, screens[0])
    seen = listened(page)
    page.goto(file.as_uri())
    for summary in page.query_selector_all("summary"):
        summary.focus()
        page.keyboard.press("Enter")
    seen.parts = len(page.query_selector_all("details"))
    seen.opened_by_key = len(page.query_selector_all("details[open]"))
    seen.text = page.inner_text("body")
    for width, scheme in screens:
        for each in (*widths, width):
            be_on(page, (each, scheme))
            if scrolls_sideways(page):
                seen.scrolls.append((each, scheme))
        seen.violations += violations(page) or []
    context.close()
    return seen


def scrolls_sideways(page: Any) -> bool:
    """Whether a page is wider than what it is shown on."""
    return bool(page.evaluate("document.documentElement.scrollWidth > innerWidth"))


def be_on(page: Any, screen: Screen) -> None:
    """From now on the page is shown on that screen."""
    width, scheme = screen
    page.set_viewport_size({"width": width, "height": _HEIGHT})
    page.emulate_media(color_scheme=scheme)
