"""Templates and the words that they print: everything put into a page is escaped."""

from __future__ import annotations

from datetime import datetime
from functools import cache
from pathlib import Path

import jinja2

HERE = Path(__file__).parent
TEMPLATES = HERE / "templates"
STATIC = HERE / "static"


@cache
def environment() -> jinja2.Environment:
    """Where the templates are found."""
    made = jinja2.Environment(
        loader=jinja2.FileSystemLoader(TEMPLATES),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters["moment"] = moment
    made.filters["day"] = day
    made.filters["count"] = count
    made.filters["percent"] = percent
    made.filters["capital"] = capital
    made.tests["given_at_intake"] = lambda id: str(id).startswith("intake.")
    return made


def moment(text: str | None) -> str:
    """An RFC 3339 time as read on this machine's clock (``25 Nov 2026, 17:12``)."""
    return _local(text).strftime("%-d %b %Y, %H:%M") if text else ""


def day(text: str | None) -> str:
    """The day of an RFC 3339 time (``25 Nov 2026``)."""
    return _local(text).strftime("%-d %b %Y") if text else ""


def _local(text: str) -> datetime:
    return datetime.fromisoformat(text).astimezone()


def count(number: int, one: str, many: str = "") -> str:
    """A number with its noun (``1 entry``, ``2 entries``)."""
    return f"{number} {one if number == 1 else many or one + 's'}"


def percent(share: float) -> str:
    """A share for reading (``29%``)."""
    return f"{100 * share:.0f}%" if share >= 0.01 else "under 1%"


def capital(text: str) -> str:
    """The text with a capital at its beginning, the rest as it is."""
    return text[:1].upper() + text[1:]


__all__ = ["STATIC", "TEMPLATES", "capital", "count", "day", "environment", "moment", "percent"]
