"""Complaint, cause, correction; open points; documents and exports."""

from __future__ import annotations

from typing import Any

__all__ = ["handover", "narrate", "render"]
_HOMES = {
    "narrate": "fieldnote.narrate.compose",
    "render": "fieldnote.narrate.formats",
    "handover": "fieldnote.narrate.handing_over",
}


def __getattr__(name: str) -> Any:
    """The public ways in, each loaded on first use."""
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    import importlib

    return getattr(importlib.import_module(_HOMES[name]), name)
