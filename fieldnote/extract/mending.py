"""Changes of mind inside an utterance: "the left no the right hinge", "two no call it three minutes"."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from fieldnote.extract.constituent import Constituent
from fieldnote.extract.noun_phrases import Thing, within

_BETWEEN = frozenset(
    {
        "skip",
        "determiner",
        "unknown",
        "preposition",
        "link",
        "mend",
        "to_place",
        "lasting",
        "took",
        "off",
        "of",
        "hedge",
        "pronoun",
        "and",
        "subject",
        "function",
    }
)
_WEAK_MENDS = ("no", "not", "nah", "nope", "rather", "actually", "wait", "well no")


def mend(row: Sequence[Constituent]) -> list[Constituent]:
    """The row without what was replaced: of two things of one kind around a change of mind, the second stays."""
    out = list(row)
    i = 0
    while i < len(out):
        if _changes_mind(out[i]):
            before, after = _neighbour(out, i, -1), _neighbour(out, i, 1)
            if before is not None and after is not None:
                merged = _merged(out[before], out[after], weak=out[i].item.text in _WEAK_MENDS)
                if merged is not None:
                    out[before : after + 1] = [merged]
                    i = before + 1
                    continue
        i += 1
    return out


def _changes_mind(c: Constituent) -> bool:
    return c.kind in ("mend", "take_back") or (c.kind == "negator" and c.is_a("mend"))


def _neighbour(row: Sequence[Constituent], i: int, step: int) -> int | None:
    j = i + step
    while 0 <= j < len(row) and (row[j].kind in _BETWEEN or _changes_mind(row[j])):
        j += step
    return j if 0 <= j < len(row) else None


def _merged(old: Constituent, new: Constituent, *, weak: bool) -> Constituent | None:
    if old.kind == "quantity" and new.kind == "quantity":
        return new
    if old.kind == "number" and new.kind == "quantity":
        return new
    if old.kind == "number" and new.kind == "number":
        return new
    if old.kind == "thing" and new.kind == "thing" and old.thing is not None and new.thing is not None:
        thing = _mended(old.thing, new.thing, weak=weak)
        return None if thing is None else replace(new, thing=thing, start=old.start)
    return None


def _mended(old: Thing, new: Thing, *, weak: bool) -> Thing | None:
    """The second thing, with what only the first one said; None where both may stand."""
    rivals = (
        (old.side and new.side and old.side != new.side)
        or (old.place and new.place and old.place != new.place)
        or (old.item is not None and new.item is not None)
        or (old.at and new.at and new.bare)
        or (old.part and new.part and old.part != new.part and not weak)
        or (old.material and new.material and old.material != new.material)
    )
    if not rivals:
        return None
    if old.named and new.named and old.place != new.place:
        old = replace(old, place=None, generic=-1, side=None if new.side else old.side)
        return within(new, replace(old, at=())) if old.part and not new.part else new
    if new.at and old.at:
        old = replace(old, at=())
    return within(new, old)
