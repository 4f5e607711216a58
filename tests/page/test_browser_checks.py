"""What looks at pages in a browser finds what is wrong: each check of it can fail."""

from __future__ import annotations

import pytest
from browser_checks import PHONE, axe_source, browser, look_at

SPOILED = """<!DOCTYPE html><html lang="en"><head><title>Spoiled</title></head><body><main>
<h1>Spoiled</h1>
<p style="color: #aaa; background: #fff">Pale: 2.3 to 1, where WCAG 2.2 asks for 4.5.</p>
<button></button><img src="absent.png">
<div style="width: 700px">Wider than a phone.</div>
<details><summary tabindex="-1" onkeydown="event.preventDefault()">Stuck</summary>.</details>
<script>console.log("a complaint")</script>
</main></body></html>"""
IN_ORDER = """<!DOCTYPE html><html lang="en"><head><title>In order</title></head><body><main>
<h1>In order</h1><details><summary>More</summary>There.</details></main></body></html>"""


@pytest.fixture(scope="module")
def seen(tmp_path_factory):
    place = tmp_path_factory.mktemp("pages")
    found = {}
    with browser() as started:
        for name, html in (("spoiled", SPOILED), ("in order", IN_ORDER)):
            file = place / f"{name}.html"
            file.write_text(html, encoding="utf-8")
            found[name] = look_at(started, file, (PHONE, "light"), widths=(1280,))
    return found


def test_what_is_wrong_is_seen(seen) -> None:
    spoiled = seen["spoiled"]
    assert len(spoiled.requests) == 2  # the page, and its image
    assert any("a complaint" in each for each in spoiled.messages)
    assert spoiled.scrolls == [(PHONE, "light")]
    assert (spoiled.parts, spoiled.opened_by_key) == (1, 0)


def test_axe_core_names_what_is_wrong(seen) -> None:
    if axe_source() is None:
        pytest.skip("needs axe-core, which PLUCKCHECK_AXE names")
    found = {each.split(":")[0] for each in seen["spoiled"].violations}
    assert {"color-contrast", "button-name", "image-alt"} <= found


def test_what_is_in_order_passes(seen) -> None:
    page = seen["in order"]
    assert (len(page.requests), page.messages, page.scrolls) == (1, [], [])
    assert (page.parts, page.opened_by_key, page.violations) == (1, 1, [])
