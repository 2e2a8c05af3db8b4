"""What the record leaves open: said by the entries, or missing from them."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterable
from dataclasses import dataclass

from fieldnote.narrate.phrases import measure, sentence, series, subject
from fieldnote.narrate.predicates import item
from fieldnote.narrate.proof import (
    Leak,
    Proof,
    Retest,
    is_fault,
    leaked,
    leaked_after_s,
    ran_s,
    same_spot,
    same_zone,
    shows_water,
    stayed_dry,
)
from fieldnote.narrate.sequence import said, which
from fieldnote.narrate.trials import named_trial
from fieldnote.narrate.verdicts import ids
from fieldnote.narrate.wording import Wording
from fieldnote.records import MISHEARD_FROM, Aftercare, Entry, Job, OpenPoint

HARDLY_RIGHT = 0.75
"""Confidence below which a fact whose value is odd is to be settled; above it the oddity is a warning."""
DOUBTFUL_HEARING = MISHEARD_FROM
"""From this risk on an entry may well have been misheard, and is to be confirmed by ear."""
SIDED = ("evidence", "check", "test", "source", "access", "repair")


@dataclass(frozen=True, slots=True)
class Record:
    """A job's entries in order, with what they prove."""

    job: Job
    entries: tuple[Entry, ...]
    proof: Proof
    wording: Wording
    aftercare: tuple[Aftercare, ...] = ()

    def after(self, entry: Entry) -> tuple[Entry, ...]:
        """The entries that follow."""
        return self.entries[self.entries.index(entry) + 1 :]

    def of(self, *kinds: str) -> list[Entry]:
        """The entries of these kinds, present ones only."""
        return [e for e in self.entries if e.kind in kinds and e.present]


def open_points(record: Record) -> tuple[OpenPoint, ...]:
    """Everything that is open, in the order in which a reader wants it."""
    checks: tuple[Callable[[Record], Iterable[OpenPoint]], ...] = (
        _cause_open,
        _retests,
        _unmended,
        _still_off,
        _final_test,
        _aftercare,
        _plans,
        _uncertain,
        _sides,
        _places,
        _durations,
        _methods,
        _values_twice,
        _odd_values,
        _by_ear,
        _stranded,
        _complaint,
    )
    found = [point for check in checks for point in check(record)]
    return tuple(dict.fromkeys(found))


def _point(text: str, *entries: Entry | Iterable[Entry]) -> OpenPoint:
    return OpenPoint(sentence(text), ids(*entries))


# ---- cause and cure -------------------------------------------------------------------------------------------


def _cause_open(record: Record) -> Iterable[OpenPoint]:
    proved = [leak for leak in record.proof.leaks if leak.grade in ("water", "cured")]
    shown = record.of("evidence", "test", "check", "source", "repair")
    if not proved and shown:
        yield _point("where the water came in was not proved", shown)
    for leak in record.proof.leaks:
        if leak.grade == "water" and not leak.faults and leak.head.state in (None, "leak"):
            yield _point(f"the fault at {subject(leak.head, record.wording).text} was not recorded", leak.head)


def _retests(record: Record) -> Iterable[OpenPoint]:
    for leak in record.proof.leaks:
        if not leak.repairs:
            continue
        place = subject(dataclasses.replace(leak.head, at=()), record.wording).text
        if not leak.retests:
            yield _point(f"no retest of {place} after the repair was recorded", leak.head, leak.repairs)
        elif leak.cure is not None:
            yield from _cure_notes(leak.cure, record)
        else:
            yield from (_lack(r, leak, record) for r in leak.retests if r.lacks)


def _cure_notes(cure: Retest, record: Record) -> Iterable[OpenPoint]:
    name = named_trial(cure.entry, record.wording)
    if "time" in cure.notes:
        yield _point(f"after what time it had leaked was not recorded, to compare with {name}", cure.entry)


def _lack(retest: Retest, leak: Leak, record: Record) -> OpenPoint:
    test, wording = retest.entry, record.wording
    name = _the(named_trial(test, wording))
    before = leak.leaks
    if retest.leaked:
        return _point(f"{name} leaked: another way in, or the repair did not hold", test)
    if retest.lacks == "unsure":
        return _point(f"the result of {name} was not certain", test)
    if retest.lacks == "no-result":
        return _point(f"the result of {name} was not recorded", test)
    if retest.lacks == "method":
        used = series(list(dict.fromkeys(_the(named_trial(b, wording)) for b in before)))
        return _point(f"{name} was not by the method that had leaked before: {used}", test, before)
    if retest.lacks == "no-water":
        return _point(f"{name} put no water on, and so proves no cure", test)
    if retest.lacks == "no-leak-before":
        return _point(f"{name} proves no cure: no leak there was recorded before the repair", test)
    if retest.lacks == "zone":
        used = series(list(dict.fromkeys(_the(named_trial(b, wording)) for b in before)))
        return _point(f"{name} did not take in the same zone as before: {used}", test, before)
    if retest.lacks == "no-duration":
        return _point(f"the duration of {name} was not recorded", test)
    ran = _said_time(test, record)
    longest = max(before, key=lambda b: leaked_after_s(b) or 0.0)
    return _point(f"{name} ran for {ran}, which is less than the {_leak_time(longest, record)} before", test, longest)


def _the(noun: str) -> str:
    article, _, rest = noun.partition(" ")
    return f"the {rest}" if article in ("a", "an") else noun


def _said_time(test: Entry, record: Record) -> str:
    said_of = [q for q in test.quantities if q.what == "duration"]
    if said_of:
        return series([measure(q.value, q.unit, record.wording) for q in said_of])
    return measure(ran_s(test) or 0.0, "s", record.wording)


def _leak_time(test: Entry, record: Record) -> str:
    said_of = [q for q in test.quantities if q.what == "time-to-leak"]
    if said_of:
        return series([measure(q.value, q.unit, record.wording) for q in said_of])
    if test.clocked_leak_s is not None:
        return measure(test.clocked_leak_s, "s", record.wording)
    return _said_time(test, record)


def _unmended(record: Record) -> Iterable[OpenPoint]:
    """Faults and named sources without a repair after them."""
    told: list[Entry] = []
    mended = {r.id for leak in record.proof.leaks for r in leak.repairs}
    for entry in record.entries:
        fault = is_fault(entry, record.wording) or (entry.kind == "source" and entry.present)
        if not fault or entry.certainty == "unsure" or any(_same_fault(entry, t) for t in told):
            continue
        own = next((leak for leak in record.proof.leaks if entry in leak.sources or entry is leak.head), None)
        if own is not None and any(r.id in mended for r in own.repairs):
            continue
        if any(r.kind == "repair" and r.present and _mends(r, entry) for r in record.after(entry)):
            continue
        told.append(entry)
        what = f", {which(entry, record.wording)}," if entry.state else ""
        yield _point(f"no repair of {subject(_flat(entry), record.wording).text}{what} was recorded", entry)


def _flat(entry: Entry) -> Entry:
    """The entry without its finer position, for naming it."""
    return dataclasses.replace(entry, at=()) if entry.state else entry


def _same_fault(a: Entry, b: Entry) -> bool:
    return same_spot(a, b) and a.part == b.part and a.state == b.state and a.side == b.side


def _mends(repair: Entry, fault: Entry) -> bool:
    if fault.place is None:
        return repair.part == fault.part
    return same_spot(repair, fault)


# ---- work left over -------------------------------------------------------------------------------------------


def still_off(record: Record) -> list[Entry]:
    """What was taken off, loosened or lifted and not put back: the last word on each thing."""
    left: dict[tuple[str | None, ...], Entry] = {}
    for entry in record.entries:
        if not entry.present or entry.kind not in ("access", "repair") or entry.state is None:
            continue
        forms = record.wording.state(entry.state)
        if entry.kind == "access" and forms.opens:
            left[(entry.place, entry.part, entry.side, entry.state)] = entry
        elif forms.closes:
            for key, gone in list(left.items()):
                if gone.state in forms.closes and _puts_back(entry, gone):
                    del left[key]
    return list(left.values())


def _puts_back(back: Entry, gone: Entry) -> bool:
    if back.place is None and back.part is None:
        return back.kind == "access"  # "put everything back together"
    if back.part != gone.part and not (back.kind == "access" and back.part is None):
        return False
    if back.item is not None and gone.item is not None and back.item != gone.item:
        return False
    here = back.place == gone.place or None in (back.place, gone.place)
    if gone.side == "both" and back.side in ("left", "right"):
        return False
    return here and (back.side == gone.side or None in (back.side, gone.side) or back.side == "both")


def _still_off(record: Record) -> Iterable[OpenPoint]:
    for entry in still_off(record):
        found = item(entry, record.wording)
        yield _point(f"{said([found], record.wording)}, and no refitting was recorded", entry)


def _final_test(record: Record) -> Iterable[OpenPoint]:
    mended = record.of("repair")
    if not mended:
        return
    last = mended[-1]
    for test in record.after(last):
        whole = record.wording.method(test.method).whole or (test.place is None and test.part is None)
        if stayed_dry(test) and whole and shows_water(test, record.wording):
            return
    yield _point("no final test of the whole vehicle after the last repair was recorded", last)


def _aftercare(record: Record) -> Iterable[OpenPoint]:
    """What follows a leak and was not said to be done."""
    known = {e.id for e in record.entries}
    for care in record.aftercare:
        if not care.done_by and not record.wording.aftercare(care.id).own:
            named = tuple(id for id in care.entries if id in known)
            yield OpenPoint(sentence(f"still to follow: {care.text[:1].lower()}{care.text[1:]}"), named)


def plans_left(record: Record) -> list[Entry]:
    """Plans that nothing after them carries out."""
    return [p for p in record.of("plan") if not any(_carries_out(e, p) for e in record.after(p))]


def _carries_out(entry: Entry, plan: Entry) -> bool:
    if not entry.present or entry.kind in ("plan", "fact"):
        return False
    if plan.place is not None and not (same_zone(entry, plan) or (entry.place == plan.place and plan.side is None)):
        return False
    if plan.part is not None and entry.part not in (plan.part, None):
        return False
    if plan.state is None:
        return plan.place is not None or plan.part is not None
    if plan.state == "test":
        return entry.kind == "test"
    return entry.kind in ("repair", "access") and entry.state == plan.state


def _plans(record: Record) -> Iterable[OpenPoint]:
    for plan in plans_left(record):
        found = item(plan, record.wording)
        what = said([found], record.wording) if plan.state else found.subject.text
        yield _point(f"planned and not done on record: {what}", plan)


# ---- doubt and gaps -------------------------------------------------------------------------------------------


def _uncertain(record: Record) -> Iterable[OpenPoint]:
    for entry in record.entries:
        if entry.certainty != "unsure" or entry.kind not in ("evidence", "check"):
            continue
        settled = any(
            e.kind in (entry.kind, "source")
            and e.certainty == "sure"
            and same_spot(e, entry)
            and (e.part == entry.part or e.part is None)
            and (e.state == entry.state or e.state == "ok")
            for e in record.after(entry)
        )
        if not settled:
            yield _point(f"not confirmed: {said([item(entry, record.wording)], record.wording)}", entry)
    for test in record.of("test"):
        if test.certainty == "unsure":
            yield _point(f"the result of {_the(named_trial(test, record.wording))} was not certain", test)


def _sides(record: Record) -> Iterable[OpenPoint]:
    missing: dict[str, list[Entry]] = {}
    for entry in record.entries:
        if entry.kind in SIDED and entry.side is None and record.wording.paired(entry.place):
            missing.setdefault(subject(_flat_at(entry), record.wording).text, []).append(entry)
    if missing:
        yield _point(f"the side was not recorded for {series(list(missing))}", *missing.values())


def _flat_at(entry: Entry) -> Entry:
    return dataclasses.replace(entry, at=(), item=None, quote="")


def _places(record: Record) -> Iterable[OpenPoint]:
    nowhere = [e for e in record.entries if e.kind in SIDED and e.place is None and _needs_place(e, record)]
    if nowhere:
        named = dict.fromkeys(_thing(e, record) for e in nowhere)
        yield _point(f"the place was not recorded for {series(list(named))}", nowhere)


def _needs_place(entry: Entry, record: Record) -> bool:
    """A test of the whole vehicle and "put everything back" need none."""
    if entry.kind == "test":
        return not record.wording.method(entry.method).whole
    return entry.kind != "access" or entry.part is not None


def _thing(entry: Entry, record: Record) -> str:
    if entry.kind == "test":
        return _the(named_trial(entry, record.wording))
    if entry.part is not None or entry.side is not None:
        return subject(_flat_at(entry), record.wording).text
    return f"“{entry.quote}”" if entry.quote else f"one entry ({entry.kind})"


def _durations(record: Record) -> Iterable[OpenPoint]:
    lacking = {
        id for leak in record.proof.leaks for r in leak.retests if r.lacks == "no-duration" for id in ids(r.entry)
    }
    for test in record.of("test"):
        name = _the(named_trial(test, record.wording))
        if test.state is None and not _retest_told(test, record):
            yield _point(f"the result of {name} was not recorded", test)
        elif not shows_water(test, record.wording):
            continue
        elif leaked(test) and leaked_after_s(test) is None:
            yield _point(f"after what time {name} leaked was not recorded", test)
        elif stayed_dry(test) and ran_s(test) is None and test.id not in lacking:
            yield _point(f"the duration of {name} was not recorded", test)


def _retest_told(test: Entry, record: Record) -> bool:
    return any(r.entry is test and r.lacks == "no-result" for leak in record.proof.leaks for r in leak.retests)


def _methods(record: Record) -> Iterable[OpenPoint]:
    unsaid = [t for t in record.of("test") if t.method is None]
    if unsaid:
        named = dict.fromkeys(_the(named_trial(t, record.wording)) for t in unsaid)
        yield _point(f"the method was not recorded for {series(list(named))}", unsaid)


def _values_twice(record: Record) -> Iterable[OpenPoint]:
    """Facts of the vehicle with more than one value."""
    values: dict[str, list[Entry]] = {}
    for fact in record.of("fact"):
        if fact.what and record.wording.fact(fact.what).group == "vehicle":
            values.setdefault(fact.what, []).append(fact)
    for what, facts in values.items():
        if len({(f.value, f.unit) for f in facts}) > 1:
            name = record.wording.name("fact", what)
            yield _point(f"more than one value was recorded for the {name}", facts)


def _odd_values(record: Record) -> Iterable[OpenPoint]:
    """Facts whose value cannot be right as it was heard; what is proposed instead is only told."""
    for entry in record.of("fact"):
        if entry.odd and (entry.confidence or 0.0) < HARDLY_RIGHT:
            instead = f"; {entry.proposed} is proposed and was not taken" if entry.proposed else ""
            name = record.wording.name("fact", entry.what or "fact")
            yield _point(f"{name} {entry.value}: {entry.odd}{instead}", entry)


def _by_ear(record: Record) -> Iterable[OpenPoint]:
    doubtful = [e for e in record.entries if (e.misheard_risk or 0.0) >= DOUBTFUL_HEARING]
    for entry in doubtful:
        words = f": “{entry.quote}”" if entry.quote else ""
        yield _point(f"to be confirmed by ear{words}", entry)


def _stranded(record: Record) -> Iterable[OpenPoint]:
    for edit in record.job.stranded_edits:
        words = f" (“{edit.quote}”)" if edit.quote else ""
        yield OpenPoint(sentence(f"a change made by hand no longer fits any entry{words}"), (edit.entry_id,))
    for two in record.job.differences:
        words = f" (“{two.stands.quote}”)" if two.stands.quote else ""
        yield OpenPoint(
            sentence(f"one entry was changed in two ways on two machines and not settled{words}"), (two.entry_id,)
        )


def _complaint(record: Record) -> Iterable[OpenPoint]:
    told = any(record.wording.fact(e.what).group == "complaint" for e in record.of("fact"))
    if not told and not record.job.intake.complaint:
        yield OpenPoint("The complaint was not recorded.")


__all__ = ["Record", "open_points", "plans_left", "still_off"]
