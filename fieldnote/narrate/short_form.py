"""The story in as few characters as a payer's form takes: complaint, cause and correction, ready to be pasted.

Whole sentences are left out, the later first, and what was left out is told: nothing is reworded, and no number gets
lost in the middle of a sentence.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass

from fieldnote.narrate.payers import PARTS, Payer
from fieldnote.records import Narrative, Sentence

_PLAIN = {
    "‘": "'", "’": "'", "“": '"', "”": '"', "–": "-", "—": "-", "…": "...", "×": "x", "·": "-", "°": " degrees ",
    "′": "'", "″": '"', "⁄": "/",
}  # fmt: skip
_CUT = " ..."


@dataclass(frozen=True, slots=True)
class ShortPart:
    """One part of the story as the form takes it. ``limit``: 0 for none. ``cut``: not even one sentence fitted."""

    part: str
    text: str
    limit: int
    left_out: tuple[str, ...] = ()
    cut: bool = False


def short_form(narrative: Narrative, payer: Payer | None = None) -> tuple[ShortPart, ...]:
    """Complaint, cause and correction for ``payer``; without one, whole."""
    told = {p.heading.lower(): p.sentences for p in narrative.paragraphs}
    plain = payer is not None and payer.letters == "plain"
    return tuple(_fit(part, told.get(part, ()), payer.limit(part) if payer else 0, plain=plain) for part in PARTS)


def short_text(parts: Sequence[ShortPart]) -> str:
    """The short form as text: a heading, the text, what was left out."""
    lines = []
    for part in parts:
        room = f" ({len(part.text)} of {part.limit} characters)" if part.limit else ""
        lines += [f"{part.part.upper()}{room}", part.text or "Not recorded.", ""]
        lines += [f"  left out: {text}" for text in part.left_out] + [""] * bool(part.left_out)
    return "\n".join(lines).rstrip() + "\n"


def _fit(part: str, sentences: Sequence[Sentence], limit: int, *, plain: bool) -> ShortPart:
    texts = [in_plain_letters(s.text) if plain else s.text for s in sentences]
    kept: list[str] = []
    left: list[str] = []
    for text in texts:
        if left or (limit and len(" ".join((*kept, text))) > limit):
            left.append(text)
        else:
            kept.append(text)
    if not kept and left and limit:
        return ShortPart(part, _cut(left[0], limit), limit, tuple(left), cut=True)
    return ShortPart(part, " ".join(kept), limit, tuple(left))


def _cut(text: str, limit: int) -> str:
    """As many whole words as fit, marked as cut."""
    room = limit - len(_CUT)
    if room <= 0:
        return text[:limit]
    words = text[: room + 1].rsplit(" ", 1)[0] if len(text) > room else text
    return words[:room].rstrip(" ,;") + _CUT


def in_plain_letters(text: str) -> str:
    """The text in ASCII: accents dropped, marks and fractions written out, and a question mark for what is left."""
    for mark, written in _PLAIN.items():
        text = text.replace(mark, written)
    spaced = "".join(f" {c}" if _is_fraction(c) and i and text[i - 1].isdigit() else c for i, c in enumerate(text))
    folded = unicodedata.normalize("NFKD", spaced).replace("⁄", "/")
    kept = "".join(c for c in folded if not unicodedata.combining(c))
    return " ".join(kept.encode("ascii", "replace").decode("ascii").split())


def _is_fraction(character: str) -> bool:
    return unicodedata.decomposition(character).startswith("<fraction>")


__all__ = ["ShortPart", "in_plain_letters", "short_form", "short_text"]
