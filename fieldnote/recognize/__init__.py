"""Sound to words: one seam, several engines.

The way in: ``open_engine(settings, pack) -> Engine``, then ``Engine.hear(samples, hints=()) -> Heard``. Names are
fetched on first use, so that importing the room loads no heavy library.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from fieldnote.recognize.engine import Engine, Heard, LiveEngine, WeighingEngine, chosen, open_engine

__all__ = ["Engine", "Heard", "LiveEngine", "WeighingEngine", "chosen", "open_engine"]


def __getattr__(name: str) -> Any:
    if name not in __all__:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(importlib.import_module(f"{__name__}.engine"), name)
