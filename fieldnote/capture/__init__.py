"""Sound from files and microphones, cut into utterances.

The way in: ``read_sound(path) -> Sound``, then ``cut(sound, settings) -> tuple[Piece, ...]``. Names are fetched on
first use, so that importing the room loads no heavy library.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from fieldnote.capture.cutting import Cutter, cut
    from fieldnote.capture.files import read_sound
    from fieldnote.capture.sound import RATE_HZ, Piece, Sound

__all__ = ["RATE_HZ", "Cutter", "Piece", "Sound", "cut", "read_sound"]

_HOME = {
    "RATE_HZ": "sound",
    "Piece": "sound",
    "Sound": "sound",
    "Cutter": "cutting",
    "cut": "cutting",
    "read_sound": "files",
}


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(importlib.import_module(f"{__name__}.{_HOME[name]}"), name)
