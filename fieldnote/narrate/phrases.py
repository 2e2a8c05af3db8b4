"""Noun phrases and measures: where something is, how it is counted, and lists of both."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from fieldnote.narrate.wording import Wording
from fieldnote.records import Entry, Quantity

NOWHERE = "a spot whose place was not recorded"


@dataclass(frozen=True, slots=True)
class Subject:
    """A noun phrase: ``text`` with its article, and whether a verb after it is plural.

    ``where`` is the phrase that puts something there ("on the left D-pillar"), ``spot`` the finer position that has
    not gone into the noun ("at the lower rear corner").
    """

    text: str
    plural: bool
    where: str
    spot: str = ""


def series(items: Sequence[str]) -> str:
    """``a``, ``a and b``, ``a, b and c``; with semicolons where an item has a comma of its own."""
    if len(items) < 2:
        return "".join(items)
    comma = "; " if any(", " in item for item in items) else ", "
    return f"{comma.join(items[:-1])} and {items[-1]}"


def number(value: float | int) -> str:
    """A number as printed: no needless decimals, thousands set apart (``1.5``, ``62,305``)."""
    if float(value).is_integer():
        return f"{int(value):,}"
    whole, _, decimals = f"{value!r}".partition(".")
    return f"{int(whole):,}.{decimals}" if whole.lstrip("-").isdigit() and abs(value) >= 1 else f"{value!r}"


def measure(value: float | int, unit: str | None, wording: Wording) -> str:
    """A number with its unit (``2 inches``, ``1 minute``, ``35 inch-pounds``)."""
    forms = wording.unit(unit)
    word = forms.one if value == 1 else forms.many
    return f"{number(value)} {word}" if word else number(value)


def quantity(found: Quantity, wording: Wording, *, of_adjective: bool = False) -> str:
    """A measure with the words that say what was measured ("a gap of 2 inches", "cracked for 2 inches")."""
    forms = wording.quantity(found.what)
    reads = (of_adjective and forms.reads_is) or forms.reads
    return reads.format(measure(found.value, found.unit, wording))


def sentence(text: str) -> str:
    """The text with a capital and a full stop."""
    text = text[:1].upper() + text[1:]
    return text if text.endswith((".", "?", "!", ".”")) else text + "."


# ---- where ----------------------------------------------------------------------------------------------------

_EDGE = {"upper": "top", "lower": "bottom", "inner": "inside", "outer": "outside"}
_HEIGHT, _DEPTH, _ENDS = ("upper", "lower"), ("inner", "outer"), ("front", "rear", "middle")


def spot(at: Iterable[str], *, center: bool = False) -> str:
    """The finer position as a noun: ``the top``, ``the lower rear corner``, ``the upper center``; empty for none."""
    named = list(at)
    order = [w for group in (_HEIGHT, _DEPTH, _ENDS, ("corner",)) for w in named if w in group]
    order += [w for w in named if w not in order]
    if center:
        order.append("center")
    if not order:
        return ""
    last = _EDGE.get(order[-1], order[-1])
    return "the " + " ".join([*order[:-1], last])


def spot_phrase(at: Iterable[str], *, center: bool = False) -> str:
    """The finer position with its preposition (``at the top``, ``on the inside``, ``in the middle``)."""
    noun = spot(at, center=center)
    if not noun:
        return ""
    last = noun.rsplit(" ", 1)[-1]
    prep = {"inside": "on", "outside": "on", "middle": "in"}.get(last, "at")
    return f"{prep} {noun}"


def said_plural(entry: Entry, name: str, plural: str) -> bool:
    """Whether the words of the entry name the part in the plural ("the drain holes are clear")."""
    quote = entry.quote.lower().replace("-", " ")
    tail = plural.lower().replace("-", " ").rsplit(" ", 1)[-1]
    single = name.lower().replace("-", " ").rsplit(" ", 1)[-1]
    return tail != single and re.search(rf"\b{re.escape(tail)}\b", quote) is not None


def place_phrase(entry: Entry, wording: Wording) -> Subject:
    """The place with its side, without the part. ``entry.place`` must be there."""
    assert entry.place is not None
    name, many = wording.name("place", entry.place), wording.plural("place", entry.place)
    forms = wording.place(entry.place)
    plural = forms.number == "plural"
    if entry.side in ("left", "right"):
        text = f"the {entry.side} {name}" if wording.paired(entry.place) else f"the {entry.side} side of the {name}"
        plural = plural and wording.paired(entry.place)
    elif entry.side == "both":
        text = f"both {many}" if wording.paired(entry.place) else f"both sides of the {name}"
        plural = True
    elif entry.side == "center":
        text, plural = f"the center of the {name}", False
    else:
        text = f"the {name}"
    prep = "on" if entry.side in ("left", "right", "both") and not wording.paired(entry.place) else forms.prep
    prep = "at" if entry.side == "center" else prep
    return Subject(text, plural, f"{prep} {text}")


def counted_subject(entry: Entry, count: float, wording: Wording) -> Subject | None:
    """The subject with a count in it ("3 trim clips on the left D-pillar"); None where its parts cannot be counted."""
    if entry.part is None or entry.item is not None or entry.side == "both":
        return None
    if wording.part(entry.part).number != "count":
        return None
    many = wording.plural("part", entry.part)
    found = subject(replace(entry, quote=f"{entry.quote} {many}"), wording)
    if count == 1 or not found.text.startswith("the ") or many not in found.text:
        return None
    text = f"{number(count)} {found.text.removeprefix('the ')}"
    return Subject(text, True, f"on {text}", found.spot)


def subject(entry: Entry, wording: Wording) -> Subject:
    """Where an entry is: part, place, side, number and finer position, as one noun phrase.

    A side belongs to the place where that comes in pairs ("the left D-pillar"), else to the part ("the left grommet in
    the liftgate trough").
    """
    center = entry.side == "center" and bool(entry.at)
    finer = spot_phrase(entry.at, center=center)
    if center:
        entry = _without_side(entry)
    if entry.part is None:
        return _place_alone(entry, wording, finer)
    return _part(entry, wording, finer)


def _without_side(entry: Entry) -> Entry:
    return replace(entry, side=None)


def _place_alone(entry: Entry, wording: Wording, finer: str) -> Subject:
    if entry.place is not None:
        found = place_phrase(entry, wording)
    elif entry.side == "both":
        found = Subject("both sides", True, "on both sides")
    elif entry.side == "center":
        found = Subject("the center", False, "at the center")
    elif entry.side is not None:
        found = Subject(f"the {entry.side} side", False, f"on the {entry.side} side")
    else:
        found = Subject(NOWHERE, False, f"at {NOWHERE}")
    if entry.item is not None:
        text = f"number {entry.item} {found.where}"
        return Subject(text, False, f"at {text}", finer)
    return Subject(found.text, found.plural, found.where, finer)


def _part(entry: Entry, wording: Wording, finer: str) -> Subject:
    assert entry.part is not None
    name, many = wording.name("part", entry.part), wording.plural("part", entry.part)
    kind = wording.part(entry.part).number
    paired, mass = wording.paired(entry.place), kind == "mass"
    home = "" if entry.place is None else place_phrase(entry, wording).where
    bare = "" if entry.place is None else place_phrase(_without_side(entry), wording).where
    if entry.item is not None:
        both = entry.side == "both" and not mass
        text = f"{many if both else name} number {entry.item}"
        home = home or (_place_alone(_bare(entry), wording, "").where if entry.side else "")
        return _joined(text, home, plural=both, finer=finer)
    plural = kind == "plural" or (not mass and said_plural(entry, name, many))
    if entry.side == "both" and not mass:
        text, home = (f"the {many}", home) if paired else (f"both {many}", bare)
        return _joined(text, home, plural=True, finer=finer)
    noun = many if plural and kind != "plural" else name
    if paired or entry.side is None:
        return _joined(f"the {noun}", home, plural=plural, finer=finer)
    if entry.side == "both" or mass:
        home = home or _place_alone(_bare(entry), wording, "").where
        return _joined(f"the {noun}", home, plural=plural, finer=finer)
    if entry.side == "center":
        return _joined(f"the center {noun}", bare, plural=plural, finer=finer)
    return _joined(f"the {entry.side} {noun}", bare, plural=plural, finer=finer)


def _bare(entry: Entry) -> Entry:
    return replace(entry, part=None, item=None)


def _joined(text: str, home: str, *, plural: bool, finer: str) -> Subject:
    whole = f"{text} {home}" if home else text
    return Subject(whole, plural, f"on {whole}", finer)


def sides_apart(a: Entry, b: Entry, wording: Wording) -> Subject | None:
    """Left and right of one thing as one subject ("the seams on the right and left doors"); None where it is not so."""
    alike = (a.place, a.part, a.item, a.at) == (b.place, b.part, b.item, b.at)
    if not alike or {a.side, b.side} != {"left", "right"} or a.place is None or not wording.paired(a.place):
        return None
    home = f"the {a.side} and {b.side} {wording.plural('place', a.place)}"
    prep = wording.place(a.place).prep
    finer = spot_phrase(a.at)
    if a.item is not None:
        noun = f"{wording.plural('part', a.part)} number {a.item}" if a.part else f"number {a.item}"
        return Subject(f"{noun} {prep} {home}", True, f"on {noun} {prep} {home}", finer)
    if a.part is None:
        return Subject(home, True, f"{prep} {home}", finer)
    mass = wording.part(a.part).number == "mass"
    noun = wording.name("part", a.part) if mass else wording.plural("part", a.part)
    return Subject(f"the {noun} {prep} {home}", not mass, f"on the {noun} {prep} {home}", finer)


def together(found: Sequence[Subject]) -> Subject:
    """Several subjects as one, the shared end said once ("the seam and the gasket in the liftgate trough")."""
    if len(found) == 1:
        return found[0]
    shared = _shared_end([s.text for s in found])
    heads = [s.text[: len(s.text) - len(shared)] for s in found]
    text = series(heads) + shared
    prep = {s.where.split(" ", 1)[0] for s in found}
    where = f"{prep.pop()} {text}" if len(prep) == 1 else series([s.where for s in found])
    return Subject(text, True, where, found[0].spot)


def _shared_end(texts: Sequence[str]) -> str:
    """The end that all texts share, beginning at a preposition; empty where any text would be left without a head."""
    for match in re.finditer(r" (?:in|on|at) (?:the|both) ", texts[0]):
        tail = texts[0][match.start() :]
        if all(text.endswith(tail) and len(text) > len(tail) for text in texts):
            return tail
    return ""


__all__ = [
    "NOWHERE",
    "Subject",
    "counted_subject",
    "measure",
    "number",
    "place_phrase",
    "quantity",
    "sentence",
    "series",
    "sides_apart",
    "spot",
    "spot_phrase",
    "subject",
    "together",
]
