"""Things named in an utterance: a place, a part, a side, a finer position, a number, put together from their words."""

from __future__ import annotations

from dataclasses import dataclass, fields
from operator import attrgetter
from typing import Any


@dataclass(slots=True, unsafe_hash=True)
class Span:
    """Words ``start:end`` of the utterance and the role that they played."""

    start: int
    end: int
    role: str


@dataclass(slots=True, unsafe_hash=True)
class Thing:
    """What one noun phrase names; None and empty where it does not say."""

    place: str | None = None
    part: str | None = None
    generic: int = -1
    """Index of a generic word ("the door") that stands for a place still to be told."""
    part_word: int = -1
    """Index of a word ("the panel") that stands for one of several parts."""
    side: str | None = None
    at: tuple[str, ...] = ()
    item: int | None = None
    count: int | None = None
    new: bool = False
    material: str | None = None
    both: bool = False
    """Both of a pair were named ("both grommets", "neither lamp")."""
    other_side: bool = False
    halves: tuple[Thing, Thing] | None = None
    """The two things that it may be instead, where two names stand side by side ("the door card, the barrier …")."""
    spans: tuple[Span, ...] = ()
    sure: float = 1.0
    start: int = 0
    end: int = 0

    @property
    def bare(self) -> bool:
        """Only a side or a finer position: says nothing of which thing."""
        return self.place is None and self.part is None and self.generic < 0 and self.part_word < 0

    @property
    def named(self) -> bool:
        """Whether a place is named, if only by a generic word."""
        return self.place is not None or self.generic >= 0


_values = attrgetter(*(f.name for f in fields(Thing)))


def changed(thing: Thing, **values: Any) -> Thing:
    """``dataclasses.replace`` for things, several times as fast: names are put together from many small steps."""
    new = Thing(*_values(thing))
    for name, value in values.items():
        setattr(new, name, value)
    return new


def within(inner: Thing, outer: Thing) -> Thing:
    """``inner`` with what it does not say filled from ``outer``: "the grommet" in "the left front door"."""
    takes_place = not inner.named
    same_place = takes_place or (inner.place is not None and inner.place == outer.place)
    same_place = same_place or (inner.place is None and inner.generic >= 0 and inner.generic == outer.generic)
    return changed(
        inner,
        place=outer.place if takes_place else inner.place,
        generic=outer.generic if takes_place else inner.generic,
        part=inner.part or (outer.part if takes_place and inner.part_word < 0 else None),
        part_word=inner.part_word if inner.part or inner.part_word >= 0 or not takes_place else outer.part_word,
        side=inner.side or (outer.side if same_place or outer.bare else None),
        at=tuple(dict.fromkeys((*inner.at, *(outer.at if same_place or outer.bare else ())))),
        item=inner.item if inner.item is not None else outer.item,
        count=inner.count if inner.count is not None else outer.count,
        new=inner.new or outer.new,
        material=inner.material or outer.material,
        both=inner.both or outer.both,
        other_side=inner.other_side or outer.other_side,
        spans=tuple(dict.fromkeys((*inner.spans, *outer.spans))),
        sure=min(inner.sure, outer.sure),
        start=min(inner.start, outer.start),
        end=max(inner.end, outer.end),
    )


def located(thing: Thing, where: Thing) -> Thing:
    """``thing`` placed by a later phrase ("the grommet IN THE FIREWALL"): it keeps what it says itself."""
    loose = thing.place is None and thing.part is not None
    if thing.named and where.named and not loose and not same_thing(thing, where):
        # Named already: the other place says at which end of it.
        return changed(
            thing,
            side=thing.side or where.side,
            spans=(*thing.spans, *where.spans),
            start=min(thing.start, where.start),
            end=max(thing.end, where.end),
        )
    if thing.side == "both" and where.named and where.side in ("left", "right"):
        thing = changed(thing, side=None, both=False)  # "both screws at the left foot"
    part = thing.part or where.part
    if thing.place is None and thing.part is not None and where.named:
        thing = changed(thing, generic=-1)  # "the lamp gasket on the liftgate": the place said outright counts
    return changed(
        thing,
        place=thing.place or where.place,
        generic=thing.generic if thing.named else where.generic,
        part=part,
        side=thing.side or where.side,
        at=tuple(dict.fromkeys((*thing.at, *where.at))),
        item=thing.item if thing.item is not None else where.item,
        both=thing.both or where.both,
        other_side=thing.other_side or where.other_side,
        spans=(*thing.spans, *where.spans),
        sure=min(thing.sure, where.sure),
        start=min(thing.start, where.start),
        end=max(thing.end, where.end),
    )


def placed(said: Thing, where: Thing) -> Thing:
    """What a state was said of, with the place named after it; a bare side or position gives way to the thing."""
    return within(where, said) if said.bare else located(said, where)


def may_be_same(one: Thing, other: Thing) -> bool:
    """Whether two things may be one: of one part, and not at two places."""
    return one.part == other.part and (not one.named or not other.named or one.place == other.place)


def same_thing(one: Thing, other: Thing) -> bool:
    """Whether two things are one, as far as they say."""
    return (one.place, one.generic) == (other.place, other.generic) and (
        one.part == other.part or one.part is None or other.part is None
    )
