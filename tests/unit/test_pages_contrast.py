"""Contrast of every text colour on every ground, light and dark.

WCAG 2.2, success criterion 1.4.3 (AA): 4.5 to 1 for text; 1.4.11: 3 to 1 for shapes. Relative
luminance and contrast ratio as defined there; the check values are the definition's own ends.
"""

import re
from pathlib import Path

import pytest

from steadybead_dashboards import assets

CSS = (Path(assets.__file__).parent / "static" / "base.css").read_text("utf-8")
GROUNDS = ("ground", "plate")
TEXTS = ("ink", "soft", "high", "medium", "low")
SHAPES = ("bead", "line-strong", "medium-mark", "focus", "chart-line")


def palette(scheme: str) -> dict[str, str]:
    start = CSS.index(":root {", CSS.index("prefers-color-scheme: dark") if scheme == "dark" else 0)
    block = CSS[start : CSS.index("}", start)]
    return dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{6});", block))


def luminance(colour: str) -> float:
    channels = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return sum(w * c for w, c in zip((0.2126, 0.7152, 0.0722), linear, strict=True))


def contrast(one: str, other: str) -> float:
    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_the_formula_has_the_published_ends() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#777777", "#777777") == pytest.approx(1.0)


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("ground", GROUNDS)
@pytest.mark.parametrize("name", [*TEXTS, *SHAPES])
def test_contrast(scheme: str, ground: str, name: str) -> None:
    colours = palette(scheme)
    assert contrast(colours[name], colours[ground]) >= (4.5 if name in TEXTS else 3.0)


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_buttons_and_the_stale_banner_can_be_read(scheme: str) -> None:
    colours = palette(scheme)
    assert contrast(colours["on-action"], colours["action"]) >= 4.5
    assert contrast(colours["ink"], colours["high-ground"]) >= 4.5
