"""Which leaks a job holds, and how far each is proved.

Grades, from least to most: ``suspected``; ``fault`` (a fault was seen); ``water`` (water was seen to come in there);
``cured`` (water was seen, the fault was repaired, and a retest of the same zone by the same method stayed dry for at
least the time in which it had leaked). Only what the entries hold counts: nothing is inferred from likelihood.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from fieldnote.narrate.trials import of_kind
from fieldnote.narrate.wording import Wording
from fieldnote.records import Entry, Quantity

Grade = Literal["suspected", "fault", "water", "cured"]
SECONDS = {"s": 1.0, "min": 60.0, "h": 3600.0}


@dataclass(frozen=True, slots=True)
class Retest:
    """A test after the repair. ``lacks`` says why it does not cure (empty if it does), ``notes`` what it left open."""

    entry: Entry
    lacks: str = ""
    leaked: bool = False
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Leak:
    """One way in. ``head`` is the entry that names it best: a source, a fault, or a test that leaked there."""

    head: Entry
    grade: Grade
    sources: tuple[Entry, ...] = ()
    faults: tuple[Entry, ...] = ()
    leaks: tuple[Entry, ...] = ()
    openings: tuple[Entry, ...] = ()
    """Tests that showed an opening or a break in contact: no proof of water."""
    repairs: tuple[Entry, ...] = ()
    retests: tuple[Retest, ...] = ()

    @property
    def cure(self) -> Retest | None:
        """The retest that cured it."""
        return next((r for r in self.retests if not r.lacks), None) if self.grade == "cured" else None


@dataclass(frozen=True, slots=True)
class Proof:
    """The leaks of a job in the order in which they were come upon, and faults that nothing ties to a leak."""

    leaks: tuple[Leak, ...]
    loose_faults: tuple[Entry, ...]
    loose_repairs: tuple[Entry, ...]


# ---- zones ----------------------------------------------------------------------------------------------------


def same_side(a: Entry, b: Entry) -> bool:
    """Whether the sides of two entries can be the same: one not recorded can, and both holds either."""
    return a.side == b.side or None in (a.side, b.side) or "both" in (a.side, b.side)


def same_zone(a: Entry, b: Entry) -> bool:
    """Same place, and sides that can be the same."""
    return a.place is not None and a.place == b.place and same_side(a, b)


def same_spot(a: Entry, b: Entry) -> bool:
    """Same zone, and parts that can be the same."""
    return same_zone(a, b) and (a.part == b.part or None in (a.part, b.part)) and _same_item(a, b)


def _same_item(a: Entry, b: Entry) -> bool:
    return a.item == b.item or None in (a.item, b.item)


def is_fault(entry: Entry, wording: Wording) -> bool:
    """A check that found something wrong."""
    if entry.kind != "check" or entry.state is None or entry.place is None:
        return False
    return entry.present != wording.state(entry.state).faultless


def shows_water(entry: Entry, wording: Wording) -> bool:
    """Whether the test can show water coming in; a method that was not recorded is taken for water."""
    return wording.method(entry.method).shows == "water"


def leaked(entry: Entry) -> bool:
    """A test that leaked for sure."""
    return entry.kind == "test" and entry.state == "leak" and entry.present and entry.certainty == "sure"


def stayed_dry(entry: Entry) -> bool:
    """A test that stayed dry for sure."""
    return entry.kind == "test" and entry.state == "dry" and entry.present and entry.certainty == "sure"


def seconds(found: Quantity) -> float:
    """A time in seconds; a unit that is no time counts as none."""
    return found.value * SECONDS.get(found.unit, 0.0)


def ran_s(entry: Entry) -> float | None:
    """For how long a test ran, by what was said or by the test clock; None where neither was recorded."""
    said = [seconds(q) for q in of_kind(entry, "duration")]
    if entry.clocked_s is not None:
        said.append(entry.clocked_s)
    return max(said) if said else None


def leaked_after_s(entry: Entry) -> float | None:
    """After how long a test leaked; where only its duration was recorded, that is the most that it can have been."""
    said = [seconds(q) for q in of_kind(entry, "time-to-leak")]
    if entry.clocked_leak_s is not None:
        said.append(entry.clocked_leak_s)
    return max(said) if said else ran_s(entry)


# ---- leaks ----------------------------------------------------------------------------------------------------


def prove(entries: Sequence[Entry], wording: Wording) -> Proof:
    """The leaks of a job. ``entries`` are in the order in which they were made."""
    tests = [e for e in entries if e.kind == "test" and e.place is not None]
    sources = [e for e in entries if e.kind == "source" and e.present]
    faults = [e for e in entries if is_fault(e, wording)]
    heads = _heads(sources, faults, tests, wording)
    repairs = [e for e in entries if e.kind == "repair" and e.present and not wording.state(e.state).idle]
    mending = {r.id: _mended(r, heads, faults) for r in repairs}
    leaks = tuple(_leak(h, heads, sources, faults, tests, repairs, mending, entries, wording) for h in heads)
    tied = {e.id for leak in leaks for e in (*leak.faults, *leak.sources)}
    return Proof(
        leaks=leaks,
        loose_faults=tuple(f for f in faults if f.id not in tied),
        loose_repairs=tuple(r for r in repairs if mending[r.id] is None),
    )


def _heads(
    sources: Sequence[Entry], faults: Sequence[Entry], tests: Sequence[Entry], wording: Wording
) -> tuple[Entry, ...]:
    """One entry for each leak: sources first, then tests that leaked where no source was named, then nothing more."""
    heads: list[Entry] = []
    for source in sources:
        if not any(same_spot(source, h) and _one_side(source, h) for h in heads):
            heads.append(source)
    for test in tests:
        tells = leaked(test) and test.stage == "find"
        if tells and not any(same_zone(test, h) for h in heads):
            near = [f for f in faults if same_spot(test, f) and f.certainty == "sure"]
            heads.append(near[0] if len(near) == 1 else test)
    return tuple(heads)


def _one_side(a: Entry, b: Entry) -> bool:
    return a.side == b.side or None in (a.side, b.side)


def _mended(repair: Entry, heads: Sequence[Entry], faults: Sequence[Entry]) -> str | None:
    """The id of the leak that a repair belongs to: that of its part, else the only or the nearest one of its zone."""
    zone = [h for h in heads if same_zone(repair, h)]
    exact = [h for h in zone if h.part == repair.part and _same_item(h, repair)]
    if exact:
        return exact[-1].id
    other_faults = [f for f in faults if same_zone(repair, f) and f.part == repair.part and repair.part is not None]
    if len(zone) > 1 and other_faults:
        return None
    return zone[-1].id if zone else None


def _leak(
    head: Entry,
    heads: Sequence[Entry],
    sources: Sequence[Entry],
    faults: Sequence[Entry],
    tests: Sequence[Entry],
    repairs: Sequence[Entry],
    mending: dict[str, str | None],
    entries: Sequence[Entry],
    wording: Wording,
) -> Leak:
    order = {e.id: i for i, e in enumerate(entries)}
    own = [r for r in repairs if mending[r.id] == head.id]
    mended = max((order[r.id] for r in own), default=None)
    alone = not any(h is not head and same_zone(h, head) for h in heads)
    zone = [t for t in tests if same_spot(t, head) or (same_zone(t, head) and alone)]
    before = [t for t in zone if leaked(t) and (mended is None or order[t.id] < mended)]
    wet = [t for t in before if shows_water(t, wording)]
    air = [t for t in before if not shows_water(t, wording)]
    mine = [s for s in sources if s is head or (same_spot(s, head) and _one_side(s, head) and s not in heads)]
    seen = [f for f in faults if _belongs(f, head, heads)]
    later = [t for t in zone if mended is not None and order[t.id] > mended]
    retests = tuple(_judge(t, head, wet, wording) for t in later)
    grade: Grade = "suspected"
    if any(f.certainty == "sure" for f in seen) or (head.state is not None and _sure_source(head)):
        grade = "fault"
    if wet or any(r.leaked for r in retests):
        grade = "water"
        if wet and own and any(not r.lacks for r in retests) and not _leaks_again(retests):
            grade = "cured"
    return Leak(head, grade, tuple(mine), tuple(seen), tuple(wet), tuple(air), tuple(own), retests)


def _sure_source(entry: Entry) -> bool:
    return entry.kind == "source" and entry.certainty == "sure"


def _belongs(fault: Entry, head: Entry, heads: Sequence[Entry]) -> bool:
    """Whether a fault is that of the leak: of its part where the source names one, else any of its zone."""
    if not same_zone(fault, head):
        return False
    if head.part is not None and head.kind != "test":
        return (fault.part == head.part and _same_item(fault, head)) or fault is head
    return not any(h is not head and h.part is not None and same_spot(fault, h) for h in heads)


def _leaks_again(retests: Sequence[Retest]) -> bool:
    """Whether the zone leaked after the last retest that stayed dry."""
    return bool(retests) and any(r.leaked for r in retests[_last_good(retests) :])


def _last_good(retests: Sequence[Retest]) -> int:
    return max(i for i, r in enumerate(retests) if not r.lacks)


def _judge(test: Entry, head: Entry, wet: Sequence[Entry], wording: Wording) -> Retest:
    """Whether a test after the repair cures, and if not, why: same zone, same method, at least as long."""
    if leaked(test) and shows_water(test, wording):
        return Retest(test, "leaked", leaked=True)
    if not stayed_dry(test) and not leaked(test):
        return Retest(test, "unsure" if test.certainty == "unsure" else "no-result")
    if not shows_water(test, wording):
        return Retest(test, "no-water")
    if not wet:
        return Retest(test, "no-leak-before")
    alike = [w for w in wet if w.method == test.method or None in (w.method, test.method)]
    if not alike:
        return Retest(test, "method")
    if not all(_covers(test, w, head, wording) for w in alike):
        return Retest(test, "zone")
    ran = ran_s(test)
    if ran is None:
        return Retest(test, "no-duration")
    before = [s for s in (leaked_after_s(w) for w in alike) if s is not None]
    if before and ran < max(before):
        return Retest(test, "short")
    notes = []
    if test.method is None and any(w.method for w in alike):
        notes.append("method")
    if not before:
        notes.append("time")
    return Retest(test, notes=tuple(notes))


def _covers(test: Entry, leak: Entry, head: Entry, wording: Wording) -> bool:
    """Whether the retest took in the zone that leaked: all of it, or the part that was found to leak."""
    if test.side != leak.side and test.side != "both" and (test.side is not None or wording.paired(test.place)):
        return False
    if test.part not in (None, leak.part, head.part):
        return False
    return not test.at or set(test.at) == set(leak.at)


__all__ = [
    "Grade",
    "Leak",
    "Proof",
    "Retest",
    "is_fault",
    "leaked",
    "leaked_after_s",
    "prove",
    "ran_s",
    "same_side",
    "same_spot",
    "same_zone",
    "shows_water",
    "stayed_dry",
]
