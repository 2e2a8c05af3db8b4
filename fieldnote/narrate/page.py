"""The write-up as one HTML file that needs nothing beside it: no script, no font, no picture from anywhere."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

from fieldnote.narrate.document import APPENDIX, CAUTIONS, Document, spans
from fieldnote.narrate.sketch import svg

TEMPLATES = Path(__file__).with_name("templates")


@cache
def environment() -> Any:
    """Where the templates are found; everything put into them is escaped."""
    import jinja2

    return jinja2.Environment(
        loader=jinja2.FileSystemLoader(TEMPLATES), autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=False
    )


def style() -> Any:
    """The style sheet of documents, for a page to put into its head."""
    from markupsafe import Markup

    return Markup(_faces() + (TEMPLATES / "document.css").read_text(encoding="utf-8"))


@cache
def _faces() -> str:
    """The shipped faces as CSS, with the fonts inside."""
    import base64

    rules = []
    for weight in (400, 600):
        raw = (TEMPLATES / "fonts" / f"source-sans-3-latin-{weight}-normal.woff2").read_bytes()
        data = base64.b64encode(raw).decode("ascii")
        rules.append(
            f'@font-face {{ font-family: "Fieldnote Text"; font-weight: {weight}; font-display: swap; '
            f'src: url(data:font/woff2;base64,{data}) format("woff2"); }}\n'
        )
    return "".join(rules)


def html(document: Document) -> str:
    """The document as an HTML page. Sentences carry the ids of their entries in ``data-entries``."""
    page: str = (
        environment()
        .get_template("document.html.j2")
        .render(
            drawing=_drawing(document),
            document=document,
            spans=spans,
            data_url=_data_url,
            style=style(),
            appendix_heading=APPENDIX,
            cautions_heading=CAUTIONS,
        )
    )
    return page


def _data_url(jpeg: bytes) -> str:
    """A picture within the page itself (RFC 2397)."""
    import base64

    return f"data:image/jpeg;base64,{base64.b64encode(jpeg).decode('ascii')}"


def _drawing(document: Document) -> Any:
    """The vehicle with the marks of the job; nothing where there is nothing to mark."""
    from markupsafe import Markup

    if document.sketch is None or not document.marks:
        return ""
    return Markup(svg(document.sketch, document.marks, title=document.drawing_title))


__all__ = ["TEMPLATES", "html", "style"]
