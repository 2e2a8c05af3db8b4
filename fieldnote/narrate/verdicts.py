"""The wording of causes and corrections: each says no more than its grade of proof allows."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Sequence

from fieldnote.narrate.phrases import sentence, series, subject
from fieldnote.narrate.predicates import finding, item
from fieldnote.narrate.proof import Leak, Proof, is_fault
from fieldnote.narrate.sequence import grouped, in_order, said, source_clause, which
from fieldnote.narrate.trials import trial_clause
from fieldnote.narrate.wording import Wording
from fieldnote.records import Entry, Sentence

_ORDINALS = ("First", "Second", "Third", "Fourth", "Fifth", "Sixth", "Seventh", "Eighth", "Ninth", "Tenth")
NOT_SHOWN = "that water came in there was not shown"


def ids(*entries: Entry | Iterable[Entry]) -> tuple[str, ...]:
    """The ids of all these entries, each once, in the order given."""
    flat = [e for x in entries for e in ((x,) if isinstance(x, Entry) else x)]
    return tuple(dict.fromkeys(e.id for e in flat))


def prefix(index: int, many: int) -> str:
    """``First leak:`` where there are several."""
    if many < 2:
        return ""
    return f"{_ORDINALS[index]} leak: " if index < len(_ORDINALS) else f"Leak {index + 1}: "


# ---- cause ----------------------------------------------------------------------------------------------------


def causes(proof: Proof, entries: Sequence[Entry], wording: Wording) -> tuple[Sentence, ...]:
    """The cause of each leak in words that its proof allows, then faults that nothing ties to a leak."""
    many = len(proof.leaks)
    out = [_labelled(_cause(leak, wording), prefix(i, many)) for i, leak in enumerate(proof.leaks)]
    if proof.loose_faults:
        groups = grouped([item(f, wording) for f in proof.loose_faults])
        lead = "Not shown to let water in" if proof.leaks else "No entry of water was shown. Faults were seen"
        out.append(
            Sentence(sentence(f"{lead}: {'; '.join(said(g, wording) for g in groups)}"), ids(proof.loose_faults))
        )
    tried = [e for e in entries if e.kind in ("test", "check")]
    if not out and tried:
        out.append(Sentence(_nothing_found(tried, wording), ids(tried)))
    return tuple(out)


def _nothing_found(tried: Sequence[Entry], wording: Wording) -> str:
    tests = any(e.kind == "test" for e in tried)
    looks = any(e.kind == "check" for e in tried)
    said_of = series([x for x in ("no test leaked" if tests else "", "no fault was seen" if looks else "") if x])
    unsure = any(e.certainty == "unsure" and (is_fault(e, wording) or e.state == "leak") for e in tried)
    return sentence(f"No cause was found: {said_of}{' for certain' if unsure else ''}")


def _labelled(found: Sentence, label: str) -> Sentence:
    if not label:
        return Sentence(sentence(found.text), found.entries)
    return Sentence(sentence(label + found.text), found.entries)


def _cause(leak: Leak, wording: Wording) -> Sentence:
    if leak.grade in ("water", "cured"):
        return _water_cause(leak, wording)
    if leak.grade == "fault":
        return _fault_cause(leak, wording)
    return _suspected(leak, wording)


def _water_cause(leak: Leak, wording: Wording) -> Sentence:
    place, behind = _way_in(leak, wording)
    wet = leak.leaks or tuple(r.entry for r in leak.retests if r.leaked)
    shown = series([trial_clause(t, wording) for t in wet])
    text = f"water came in at {place}: {shown}"
    used: list[Entry] = [*behind, *wet]
    if leak.cure is not None:
        joint = "; " if len(wet) > 1 or ";" in shown else ", and "
        text += f"{joint}after the repair the retest stayed dry"
        used += [*leak.repairs, leak.cure.entry]
    return Sentence(text, ids(used))


def _way_in(leak: Leak, wording: Wording) -> tuple[str, tuple[Entry, ...]]:
    """Where the water came in, with what was wrong there, and the entries that say so."""
    faults = _faults(leak)
    if leak.head.kind == "test" and len(faults) > 1:
        there = [_without_home(f, leak.head) for f in faults]
        what = series([said(g, wording) for g in grouped([item(f, wording) for f in there])])
        return f"{subject(leak.head, wording).text}, where {what}; which of these let it in was not shown", faults
    main = _main(leak, faults)
    if main.kind == "test" or main.state is None:
        missing = "; no fault was recorded there" if not faults else ""
        return f"{subject(main, wording).text}{missing}", ids_of(leak)
    return f"{subject(main, wording).text}, {which(main, wording)}", (*ids_of(leak), main)


def _without_home(fault: Entry, head: Entry) -> Entry:
    """The fault without the place and side that the sentence has named already."""
    if fault.part is None:
        return fault
    return dataclasses.replace(fault, place=None, side=None if fault.side == head.side else fault.side)


def ids_of(leak: Leak) -> tuple[Entry, ...]:
    """The entries that name a leak."""
    return tuple(dict.fromkeys((leak.head, *leak.sources)))


def _faults(leak: Leak) -> tuple[Entry, ...]:
    sure = tuple(f for f in leak.faults if f.certainty == "sure")
    return sure or leak.faults


def _main(leak: Leak, faults: Sequence[Entry]) -> Entry:
    """The entry that says best what was wrong: the look that found what the source names, else the source itself."""
    head = leak.head
    alike = [f for f in faults if f.state == head.state and f.part == head.part]
    if head.state is not None and head.kind == "source":
        return _as_named(alike[0], head) if alike else head
    if head.kind == "source":
        own = [f for f in faults if f.part == head.part or head.part is None]
        return own[0] if len(own) == 1 else head
    return faults[0] if len(faults) == 1 else head


def _as_named(fault: Entry, source: Entry) -> Entry:
    """The look, with the side that the source gives where the look gave none."""
    return dataclasses.replace(fault, side=fault.side or source.side)


def _fault_cause(leak: Leak, wording: Wording) -> Sentence:
    main = _main(leak, _faults(leak))
    used = (*ids_of(leak), *((main,) if main.id else ()), *_opened(leak))
    opened = "".join(f"; {trial_clause(t, wording)}" for t in leak.openings)
    if leak.head.kind == "source":
        named = dataclasses.replace(main, kind="source", certainty=leak.head.certainty)
        if main is not leak.head and main.certainty != leak.head.certainty:
            named = leak.head
        return Sentence(f"{source_clause(named, wording)}{opened}; {NOT_SHOWN}", ids(used))
    seen = leak.faults if main.kind == "test" else (main,)
    listed = "; ".join(said(g, wording) for g in grouped([finding(f, wording) for f in seen]))
    return Sentence(f"{listed}{opened}; {NOT_SHOWN}", ids(used, seen))


def _opened(leak: Leak) -> tuple[Entry, ...]:
    return leak.openings


def _suspected(leak: Leak, wording: Wording) -> Sentence:
    head = leak.head
    if head.kind == "test":
        shown = series([trial_clause(t, wording) for t in (leak.openings or (head,))])
        return Sentence(f"{shown}; {NOT_SHOWN}", ids(head, leak.openings))
    if head.certainty == "sure":
        where = subject(head, wording)
        be = "were" if where.plural else "was"
        lacking = "neither a fault nor water coming in there was recorded"
        return Sentence(f"{where.text} {be} named as the source; {lacking}", ids(ids_of(leak)))
    where = subject(head, wording)
    be = "were" if where.plural else "was"
    what = f", {which(head, wording)}," if head.state else ""
    return Sentence(f"{where.text}{what} {be} suspected; this was not confirmed", ids(ids_of(leak)))


# ---- correction -----------------------------------------------------------------------------------------------


def corrections(proof: Proof, wording: Wording) -> tuple[Sentence, ...]:
    """Repairs and retests of each leak, then repairs that belong to none."""
    out: list[Sentence] = []
    many = len(proof.leaks)
    for index, leak in enumerate(proof.leaks):
        found = _correction(leak, wording)
        first = found[0]
        label = prefix(index, many)
        text = f"{label}{first.text[:1].lower()}{first.text[1:]}" if label else first.text
        out += [Sentence(text, first.entries), *found[1:]]
    return (*out, *in_order(proof.loose_repairs, wording))


def _correction(leak: Leak, wording: Wording) -> list[Sentence]:
    if not leak.repairs:
        return [Sentence("No repair was recorded.", ids(ids_of(leak)))]
    out = list(in_order(leak.repairs, wording))
    out += [Sentence(sentence(trial_clause(r.entry, wording)), (r.entry.id,)) for r in leak.retests]
    if leak.grade != "cured":
        out.append(Sentence("The cure was not proved.", ids(leak.head, leak.repairs, [r.entry for r in leak.retests])))
    return out


# ---- parts, materials and labor -------------------------------------------------------------------------------


def used_up(entries: Sequence[Entry], wording: Wording) -> tuple[Sentence, ...]:
    """Parts replaced and materials used."""
    mended = [e for e in entries if e.kind == "repair" and e.present]
    out: list[Sentence] = []
    parts = [e for e in mended if wording.state(e.state).renews]
    if parts:
        named = series([_certain(subject(e, wording).text, e) for e in parts])
        out.append(Sentence(sentence(f"replaced: {named}"), ids(parts)))
    with_material = [e for e in mended if e.material]
    if with_material:
        names = dict.fromkeys(wording.name("material", e.material or "") for e in with_material)
        out.append(Sentence(sentence(f"materials used: {series(list(names))}"), ids(with_material)))
    return tuple(out)


def _certain(text: str, entry: Entry) -> str:
    return f"possibly {text}" if entry.certainty == "unsure" else text


__all__ = ["causes", "corrections", "ids", "prefix", "used_up"]
