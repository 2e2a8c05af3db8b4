"""The seven clips of real people, their words, and how words are compared."""

from __future__ import annotations

import re
from pathlib import Path

import jiwer

from fieldnote.capture import cut, read_sound
from fieldnote.recognize import Engine
from tests.recognize.conftest import defaults

CLIPS = Path(__file__).parents[1] / "data" / "human_clips"
_DIGITS = {"2": "two"}


def texts() -> dict[str, str]:
    """Clip name to text, from the table beside the clips."""
    rows = re.findall(r"^\| (\S+\.flac) \| (.+?) \|", (CLIPS / "README.md").read_text(encoding="utf-8"), re.M)
    return dict(rows)


def plain(text: str) -> str:
    """Lower case, no punctuation, digits as words: what a word error rate compares."""
    words = re.sub(r"[^a-z0-9' ]+", " ", text.lower().replace("-", " ")).split()
    return " ".join(_DIGITS.get(word, word) for word in words)


def heard_by(engine: Engine) -> dict[str, str]:
    """What ``engine`` makes of each clip, cut as users' files are."""
    settings = defaults().capture
    out: dict[str, str] = {}
    for name in texts():
        pieces = cut(read_sound(CLIPS / name), settings)
        out[name] = " ".join(engine.hear(piece.samples).text for piece in pieces)
    return out


def word_error_rate(heard: dict[str, str]) -> float:
    """Errors over words of the texts (jiwer), all clips together."""
    names = sorted(heard)
    said = texts()
    return float(jiwer.wer([plain(said[n]) for n in names], [plain(heard[n]) for n in names]))
