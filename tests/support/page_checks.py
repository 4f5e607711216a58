"""What tests of a page share: a reader of HTML, and WCAG's contrast."""

from __future__ import annotations

from html.parser import HTMLParser
from typing import Any

VOID = {"meta", "input", "br", "hr", "img", "link"}  # HTML 13.1.2: elements without an end


class Checked(HTMLParser):
    """What a page holds; fails where a tag is closed that is not the one open last."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.open: list[str] = []
        self.attributes: list[tuple[str, str, str | None]] = []
        self.data: list[tuple[str, str]] = []  # value and text of every <data>
        self.texts: list[str] = []
        self.feed(page)
        self.close()

    def handle_starttag(self, tag, attrs) -> None:
        self.tags.append(tag)
        self.attributes += [(tag, key, value) for key, value in attrs]
        if tag == "data":
            self.data.append((dict(attrs)["value"], ""))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs) -> None:
        """``<path/>`` of SVG closes itself."""
        self.tags.append(tag)
        self.attributes += [(tag, key, value) for key, value in attrs]

    def handle_endtag(self, tag) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data) -> None:
        if self.open[-1:] == ["data"]:
            self.data[-1] = (self.data[-1][0], self.data[-1][1] + data)
        if not {"style", "title"} & set(self.open[-1:]):
            self.texts.append(data)

    def values(self, key: str) -> list[str | None]:
        return [value for _, name, value in self.attributes if name == key]

    @property
    def text(self) -> str:
        return " ".join(" ".join(self.texts).split())


def luminance(colour: str) -> float:
    """Relative luminance of ``#rgb`` or ``#rrggbb`` (WCAG 2.2, "relative luminance")."""
    digits = colour.removeprefix("#")
    digits = "".join(each * 2 for each in digits) if len(digits) == 3 else digits
    parts = (int(digits[place : place + 2], 16) / 255 for place in (0, 2, 4))
    r, g, b = (
        part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts
    )
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


def contrast(one: str, other: str) -> float:
    """WCAG 2.2, "contrast ratio": (L1 + 0.05) / (L2 + 0.05), the lighter above."""
    darker, lighter = sorted((luminance(one), luminance(other)))
    return (lighter + 0.05) / (darker + 0.05)


def figures_on_page(report: dict[str, Any]) -> list[float]:
    """The numbers that the page of a report has as such, of its JSON: four a string, known ones."""
    then = {
        int(string): cents
        for each in report["saddles"]
        for string, cents in (each["residual_cents"] or {}).items()
    }
    return [
        value
        for each in report["strings"]
        for value in (
            each["error_cents"],
            each["sustain_drift_cents"],
            each["saddle_move_mm"],
            then.get(each["string"]),
        )
        if value is not None
    ]
