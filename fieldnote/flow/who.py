"""Who is at the machine, where nobody says so."""

from __future__ import annotations

import getpass


def logged_in() -> str | None:
    """The name of who is logged in; None on a system without a user database entry, such as a bare container."""
    try:
        return getpass.getuser()
    except (KeyError, OSError):
        return None


def person_of(given: str | None) -> str:
    """Who makes a change: as given, else who is logged in."""
    return " ".join((given or "").split()) or logged_in() or "unknown"
