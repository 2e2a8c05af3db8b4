"""What follows a proved leak: suggestions with reasons, open points until an entry says that they are done."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from fieldnote.records import Aftercare, Entry
from fieldnote.suggest import wording
from fieldnote.suggest.leak_map import AftercareRow, LeakMap
from fieldnote.suggest.trials import LEAK


def aftercare(leak_map: LeakMap, entries: Sequence[Entry]) -> tuple[Aftercare, ...]:
    """What the proved leaks of a job ask for; nothing before a leak was proved, stated or mended."""
    proved = [n for n, e in enumerate(entries) if _proves(e, leak_map)]
    if not proved:
        return ()
    out = []
    for row in leak_map.aftercare:
        reasons = [e for e in entries if _applies(row, e)]
        always = not (row.signs or row.repairs or row.faults)
        if not (reasons or always):
            continue
        done = [e.id for n, e in enumerate(entries) if n > proved[0] and any(_matches(e, d) for d in row.done_by)]
        why = row.why
        if reasons:
            why = f"{why} ({wording.said(leak_map, reasons[0])})"
        named = tuple(e.id for e in reasons) or (entries[proved[0]].id,)
        out.append(Aftercare(row.id, row.text, why, named, tuple(done)))
    return tuple(out)


def _proves(entry: Entry, leak_map: LeakMap) -> bool:
    if entry.kind == "test":
        row = leak_map.methods.get(entry.method or "")
        return entry.state == LEAK and (row is None or row.water)
    return entry.kind == "source" or (entry.kind == "repair" and entry.state not in leak_map.model.no_cure)


def _applies(row: AftercareRow, entry: Entry) -> bool:
    """Whether an entry asks for it: a sign at one of the places, a repair or a fault of the kinds named."""
    if not entry.present:
        return False
    anywhere = not (row.places or row.parts)
    here = anywhere or entry.place in row.places or entry.part in row.parts
    by_kind = {"evidence": row.signs, "repair": row.repairs, "check": row.faults, "source": row.faults}
    return here and entry.state in by_kind.get(entry.kind, ())


def _matches(entry: Entry, wanted: Mapping[str, str]) -> bool:
    return all(getattr(entry, name, None) == value for name, value in wanted.items())
