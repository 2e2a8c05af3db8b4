"""The public spoken-number tables (``tests/data/spoken_numbers``), line by line."""

from __future__ import annotations

from pathlib import Path

FOLDER = Path(__file__).parent.parent / "data" / "spoken_numbers"


def rows(name: str, *, without: tuple[str, ...] = ()) -> list[tuple[str, str]]:
    """Pairs of spoken and written from one table; lines that hold a word of ``without`` are left out."""
    lines = (FOLDER / f"{name}.txt").read_text(encoding="utf-8").splitlines()
    pairs = [(spoken, written) for spoken, _, written in (line.partition("~") for line in lines if line.strip())]
    kept = [pair for pair in pairs if not set(pair[0].split()) & set(without)]
    if not kept:
        raise ValueError(f"no lines in {name}")
    return list(dict.fromkeys(kept))
