"""Run as a child: decodes one file under limits of time and memory, and prints what it is as JSON."""

from __future__ import annotations

import json
import sys
from pathlib import Path

from fieldnote.errors import FieldnoteError

_MEMORY = 4_000_000_000
"""Bytes of address space: four hours at 16 kHz take 0.9 GB, the file as given and the libraries come on top."""
_CPU_S = 50


def limit() -> None:
    """Bound this process, where the system can (POSIX)."""
    try:
        import resource
    except ImportError:
        return
    resource.setrlimit(resource.RLIMIT_AS, (_MEMORY, _MEMORY))
    resource.setrlimit(resource.RLIMIT_CPU, (_CPU_S, _CPU_S))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


def check(path: Path) -> dict[str, object]:
    """``duration_s``, ``rate_hz`` and ``channels``, or ``what`` is wrong and what to ``do``."""
    from fieldnote.capture import read_sound

    try:
        sound = read_sound(path)
    except FieldnoteError as error:
        return {"what": error.what, "do": error.do}
    return {"duration_s": sound.duration_s, "rate_hz": sound.rate_hz, "channels": sound.channels}


if __name__ == "__main__":
    limit()
    sys.stdout.write(json.dumps(check(Path(sys.argv[1]))))
