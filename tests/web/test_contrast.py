"""Contrast of the colours in both schemes, by the formula of WCAG 2.2 (relative luminance, contrast ratio)."""

from __future__ import annotations

import re

import pytest

from fieldnote.web.looks import STATIC

CSS = (STATIC / "page.css").read_text(encoding="utf-8")


def luminance(colour: str) -> float:
    """Relative luminance as WCAG 2.2 defines it."""
    channels = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    r, g, b = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels)
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


def contrast(one: str, other: str) -> float:
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


@pytest.mark.parametrize(
    ("grey", "ratio"), [("#767676", 4.542), ("#777777", 4.478), ("#949494", 3.034), ("#959595", 2.995)]
)
def test_the_formula(grey: str, ratio: float) -> None:
    """Known greys on white (computed from the formula of WCAG 2.2, 1.4.3)."""
    assert contrast(grey, "#ffffff") == pytest.approx(ratio, abs=1e-3)


def scheme(dark: bool) -> dict[str, str]:
    blocks = re.findall(r":root \{(.*?)\}", CSS, re.DOTALL)
    assert len(blocks) == 2
    return dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{6});", blocks[int(dark)]))


BAY = (STATIC / "bay.css").read_text(encoding="utf-8")


def more_contrast(dark: bool) -> dict[str, str]:
    """The colours of whoever asks for more contrast (Media Queries Level 5, prefers-contrast)."""
    blocks = re.findall(r":root \{(.*?)\}", BAY, re.DOTALL)
    assert len(blocks) == 2
    return dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{6});", blocks[int(dark)]))


TEXT = [("ink", back) for back in ("paper", "raised", "tint", "lit")]
TEXT += [("soft", back) for back in ("paper", "raised", "tint")]
TEXT += [("deep", back) for back in ("paper", "raised", "tint", "lit")]
TEXT += [("on-deep", "deep")]


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
@pytest.mark.parametrize(("front", "back"), TEXT, ids=lambda name: str(name))
def test_text_is_readable(dark: bool, front: str, back: str) -> None:
    """4.5:1 for text of any size (WCAG 2.2, 1.4.3)."""
    colours = scheme(dark)
    assert contrast(colours[front], colours[back]) >= 4.5


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
@pytest.mark.parametrize(("front", "back"), TEXT, ids=lambda name: str(name))
def test_in_the_sun_text_is_readable(dark: bool, front: str, back: str) -> None:
    """7:1 (WCAG 2.2, 1.4.6, enhanced) where more contrast is asked for; all colours are set anew."""
    colours = more_contrast(dark)
    assert set(colours) == set(scheme(dark))
    assert contrast(colours[front], colours[back]) >= 7


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
@pytest.mark.parametrize("back", ["paper", "raised"])
def test_edges_of_controls_are_seen(dark: bool, back: str) -> None:
    """3:1 for what shows a field or a button (WCAG 2.2, 1.4.11)."""
    colours = scheme(dark)
    assert contrast(colours["edge"], colours[back]) >= 3
