"""Charts inside a page: SVG without inline styles (the page's policy forbids them), in the colors of the page.

A drawing always gives the same picture, so that it is drawn once, however often a page shows it.
"""

from __future__ import annotations

import xml.etree.ElementTree as ET
from functools import lru_cache

from markupsafe import Markup

from fieldnote.patterns import plotting
from fieldnote.patterns.drawings import Drawing

_SVG = "{http://www.w3.org/2000/svg}"
_LINK = "{http://www.w3.org/1999/xlink}href"
_INKS = {
    plotting.INK: "ink", plotting.SOFT: "soft", plotting.TINT: "tint", plotting.GRID: "grid", plotting.PALE: "pale",
    plotting.PAPER: "paper", "#000000": "ink",
}  # fmt: skip
_DROPPED = frozenset(("font-family", "stroke-miterlimit"))
_KEPT = 256
"""Pictures; each is some 25 kB."""


@lru_cache(maxsize=_KEPT)
def inline_svg(drawing: Drawing, ident: str, *, narrow: bool) -> Markup:
    """The chart as an SVG element. ``ident`` begins every id in it, so that several stand in one page.

    Raises:
        DeviceMissing: matplotlib is not installed.

    """
    root = ET.fromstring(plotting.picture(drawing, "svg", narrow=narrow, bare=True).decode())
    for parent in list(root.iter()):
        for child in list(parent):
            if child.tag in (f"{_SVG}metadata", f"{_SVG}style"):
                parent.remove(child)
    for element in root.iter():
        _plain(element, ident)
    for name in ("width", "height", "version"):
        root.attrib.pop(name, None)
    root.set("role", "img")
    root.set("aria-label", f"{drawing.title}. {_summary(drawing)} The same numbers stand in the table.")
    root.set("focusable", "false")
    ET.register_namespace("", _SVG.strip("{}"))
    return Markup(ET.tostring(root, encoding="unicode"))


def _plain(element: ET.Element, ident: str) -> None:
    """Styles become attributes, colors classes, and ids are made the chart's own."""
    inks: list[str] = []
    for rule in filter(None, (rule.strip() for rule in element.attrib.pop("style", "").split(";"))):
        name, _, value = (part.strip() for part in rule.partition(":"))
        if name in ("fill", "stroke") and value in _INKS:
            inks.append(f"{name[0]}-{_INKS[value]}")
        elif name not in _DROPPED:
            element.set(name, value)
    if inks:
        element.set("class", " ".join(inks))
    if "id" in element.attrib:
        element.set("id", f"{ident}-{element.attrib['id']}")
    if _LINK in element.attrib:
        element.set("href", f"#{ident}-{element.attrib.pop(_LINK).lstrip('#')}")
    if "clip-path" in element.attrib:
        element.set("clip-path", element.attrib["clip-path"].replace("url(#", f"url(#{ident}-"))


def _summary(drawing: Drawing) -> str:
    """The first row in words."""
    rows = getattr(drawing, "rows", None)
    if rows and hasattr(rows[0], "label"):
        return f"First: {rows[0].label}, {rows[0].told}."
    return ""


__all__ = ["inline_svg"]
