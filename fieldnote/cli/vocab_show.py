"""How ``fieldnote vocab`` shows what it found: tables for people, plain records for ``--json``."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rich.console import Console
from rich.markup import escape
from rich.table import Table

from fieldnote.errors import Fault, PackFault
from fieldnote.records import Entry
from fieldnote.vocabulary.map_rows import behind_shipped
from fieldnote.vocabulary.pack import KINDS, Pack
from fieldnote.wire import entry_to_wire

if TYPE_CHECKING:
    from fieldnote.flow.explaining import Told
    from fieldnote.vocabulary.confusable import Confusions, Measured, Pair
    from fieldnote.vocabulary.editing import Added, Undone
    from fieldnote.vocabulary.measuring import Reading as Heard
    from fieldnote.vocabulary.measuring import Trial
    from fieldnote.vocabulary.proving import Proof, Verdict
    from fieldnote.vocabulary.unknown import UnknownPhrase

_MOST_PAIRS = 12
_RISK_STYLE = {"high": "bold", "medium": "", "low": "dim"}
_VERDICTS = {
    "kept": "helps",
    "understood": "understood already",
    "rare": "once only: chance",
    "breaks grammar": 'holds a number, a side or a "not"',
    "names another": "names another",
}
_BESIDE = ("quote", "span", "id", "confidence", "misheard_risk", "heard_from", "heard_to", "clocked_s")


def _console() -> Console:
    return Console(highlight=False)


def _table(*heads: str) -> Table:
    table = Table(box=None, pad_edge=False, header_style="bold", show_edge=False)
    for head in heads:
        table.add_column(head, overflow="fold")
    return table


# ---- check ----------------------------------------------------------------------------------------------------


def fault_json(fault: Fault) -> dict[str, Any]:
    """One fault."""
    return dataclasses.asdict(fault)


def faults(error: PackFault) -> None:
    """Every fault, with its line and what would be right."""
    console = _console()
    table = _table("line", "key", "found", "expected")
    for fault in error.faults:
        nearest = f"\ndid you mean {fault.nearest!r}?" if fault.nearest else ""
        where = f"{fault.file}:{fault.line}" if fault.line else fault.file
        table.add_row(*(escape(text) for text in (where, fault.key, fault.found, fault.expected + nearest)))
    console.print(table)
    many = len(error.faults)
    console.print(f"\n{many} fault{'s' if many != 1 else ''} in {escape(error.where)}")


def _counts(pack: Pack) -> dict[str, dict[str, int]]:
    return {
        kind: {"terms": len(pack.terms(kind)), "phrases": sum(len(t.say) for t in pack.terms(kind))}
        for kind in KINDS
        if pack.terms(kind)
    }


def check_json(pack: Pack, found: Confusions, additions: Sequence[Path], listing: bool) -> dict[str, Any]:
    """What ``check`` found in a good pack."""
    out: dict[str, Any] = {
        "good": True,
        "pack": pack.id,
        "version": pack.version,
        "hash": pack.hash,
        "folders": [str(f) for f in pack.folders],
        "counts": _counts(pack),
        "additions": [str(p) for p in additions],
        "map_behind_shipped": behind_shipped(pack),
        **confusions_json(found),
    }
    if listing:
        out["terms"] = {kind: [dataclasses.asdict(t) for t in pack.terms(kind)] for kind in KINDS}
    return out


def check(pack: Pack, found: Confusions, additions: Sequence[Path], listing: bool) -> None:
    """Counts, warnings and the riskiest pairs of a good pack."""
    console = _console()
    console.print(f"[bold]{escape(pack.name)}[/bold] ({escape(pack.id)} {escape(pack.version)}): no faults\n")
    table = _table("kind", "terms", "phrases")
    for kind, count in _counts(pack).items():
        table.add_row(kind, str(count["terms"]), str(count["phrases"]))
    console.print(table)
    if additions:
        console.print("\nAdded here: " + ", ".join(escape(str(p)) for p in additions))
    if listing:
        _list_terms(console, pack)
    _stale(console, found)
    if behind_shipped(pack):
        console.print(
            "\nWarning: your leak map is a copy of an older shipped one. What was improved since is not in it.",
            style="bold",
        )
    risky = [p for p in found.pairs if p.risk != "low" and not p.reviewed]
    reviewed = sum(bool(p.reviewed) for p in found.pairs)
    counts = f"{len(found.pairs)} pairs; {len(risky)} of high or medium risk not reviewed, {reviewed} reviewed"
    if risky:
        console.print(f"\nSound alike ({counts}):")
        console.print(_pairs_table(risky[:_MOST_PAIRS]))
        console.print(
            "Reviewed, and nobody would take one for the other? A row of told_apart in sounds.toml says so, and why.",
            style="dim",
        )
    elif found.pairs:
        console.print(f"\nSound alike: {counts}.")
    if found.pairs:
        console.print("All of them: fieldnote vocab confusable", style="dim")


def _list_terms(console: Console, pack: Pack) -> None:
    for kind in KINDS:
        if not pack.terms(kind):
            continue
        console.print(f"\n[bold]{kind}[/bold]")
        table = _table("id", "words")
        for term in pack.terms(kind):
            table.add_row(escape(term.id), escape(", ".join(term.say)))
        console.print(table)


def _stale(console: Console, found: Confusions) -> None:
    if found.stale:
        models = ", ".join(sorted({row.model[:12] for row in found.stale}))
        console.print(
            f"\nWarning: {len(found.stale)} confusions were measured with another recogniser ({models}) than the one "
            "in use. Measure them again, or they may mislead.",
            style="bold",
        )


# ---- confusable -----------------------------------------------------------------------------------------------


def confusions_json(found: Confusions) -> dict[str, Any]:
    """Pairs, measured confusions and stale rows."""
    return {
        "pairs": [_pair_json(p) for p in found.pairs],
        "measured": [_measured_json(m) for m in found.measured],
        "stale": [dataclasses.asdict(r) for r in found.stale],
    }


def _pair_json(pair: Pair) -> dict[str, Any]:
    out = dataclasses.asdict(pair)
    for side in ("one", "other"):
        del out[side]["slots"]
    return out


def _measured_json(row: Measured) -> dict[str, Any]:
    said = {"kind": row.said.kind, "id": row.said.id} if row.said else None
    return {**dataclasses.asdict(row.heard), "names": said, "risk": row.risk, "why": row.why}


def confusions(found: Confusions) -> None:
    """All pairs and all measured confusions."""
    console = _console()
    if not found.pairs and not found.measured:
        console.print("Nothing sounds alike.")
        return
    if found.pairs:
        console.print(_pairs_table(found.pairs))
    if found.measured:
        console.print("\nAs measured with a recogniser:")
        table = _table("risk", "said", "heard", "how often, and what of it")
        for row in found.measured:
            style = _RISK_STYLE[row.risk]
            table.add_row(row.risk, escape(row.heard.said), escape(row.heard.heard), escape(row.why), style=style)
        console.print(table)
    _stale(console, found)


def _pairs_table(pairs: Iterable[Pair]) -> Table:
    table = _table("risk", "words", "that name", "how")
    for pair in pairs:
        more = f" (and {pair.more} more like it)" if pair.more else ""
        cells = (
            pair.risk,
            f"{pair.one.phrase} / {pair.other.phrase}{more}",
            f"{pair.one.kind} {pair.one.id} / {pair.other.kind} {pair.other.id}",
            pair.how + (", held apart" if pair.held_apart else "") + (", reviewed" if pair.reviewed else ""),
        )
        table.add_row(*(escape(c) for c in cells), style=_RISK_STYLE[pair.risk])
    return table


# ---- add ------------------------------------------------------------------------------------------------------


def added_json(done: Added) -> dict[str, Any]:
    """One addition."""
    return {"added": done.what, "files": [str(f) for f in done.files], **confusions_json(done.alike)}


def added(done: Added) -> None:
    """One addition, with what it sounds like."""
    console = _console()
    console.print(f"Added {escape(done.what)}")
    for path in done.files:
        console.print(f"  in {escape(str(path))}", style="dim")
    if done.alike.pairs:
        console.print("\nTake care, this sounds like:")
        console.print(_pairs_table(done.alike.pairs))
    console.print("\nTake it back with: fieldnote vocab add --undo", style="dim")


def undone(done: Undone) -> None:
    """One addition taken back."""
    console = _console()
    left = f"{done.left} more can be taken back." if done.left else "Nothing more is left to be taken back."
    console.print(f"Took back {escape(done.what)}. {left}")


# ---- say ------------------------------------------------------------------------------------------------------


def told_json(told_all: Sequence[Told]) -> dict[str, Any]:
    """How sentences were understood."""
    return {
        "utterances": [
            {
                "text": told.utterance,
                "matched": [dataclasses.asdict(m) for m in told.matched],
                "entries": [entry_to_wire(e, with_origins=True) for e in told.entries],
                "leftovers": [dataclasses.asdict(o) for o in told.leftovers],
            }
            for told in told_all
        ]
    }


def told(told_all: Sequence[Told]) -> None:
    """How sentences were understood, one after another."""
    console = _console()
    for n, one in enumerate(told_all):
        if n:
            console.print()
        console.print(f"[bold]{escape(one.utterance)}[/bold]")
        if one.matched:
            table = _table("words", "may mean", "how", "sure")
            for m in one.matched:
                sure = "" if m.sure == 1.0 else f"{m.sure:.2f}"
                table.add_row(escape(m.text), escape("; ".join(m.meanings)), "" if m.how == "exact" else m.how, sure)
            console.print(table)
        for entry in one.entries:
            console.print(f"  → {escape(entry_line(entry))}")
            roles = ", ".join(f"{o.role} {o.start}:{o.end}" for o in entry.origins if o.role and o.start is not None)
            if roles:
                console.print(f"      from {escape(roles)}", style="dim")
        if not one.entries:
            console.print("  no entry", style="dim")
        if one.leftovers:
            console.print("  left over: " + ", ".join(repr(o.text) for o in one.leftovers), markup=False)


def entry_line(entry: Entry) -> str:
    """An entry on one line: its kind, then what it holds."""
    wire = {k: v for k, v in entry_to_wire(entry).items() if k not in _BESIDE and v not in (None, [], ())}
    kind = wire.pop("kind")
    if entry.kind == "fact":
        return f"{kind} {wire['what']} {wire.get('value')} {wire.get('unit', '')}".rstrip()
    amounts = wire.pop("quantities", [])
    parts = [f"{k} {', '.join(v) if isinstance(v, list) else v}" for k, v in wire.items() if k != "present"]
    if not entry.present:
        parts.append("absent")
    parts += [f"{q['what']} {q['value']:g} {q['unit']}".rstrip() for q in amounts]
    return f"{kind}: {'; '.join(parts)}"


# ---- measure --------------------------------------------------------------------------------------------------


def measured(heard: Sequence[Trial], found: Sequence[Heard], kept: Path | None) -> None:
    """What the recogniser made of words."""
    console = _console()
    right = sum(t.said == t.heard for t in heard)
    lost = sum(not t.heard for t in heard)
    console.print(f"{len(heard)} trials: {right} came back as said, {lost} not at all")
    if found:
        table = _table("times", "said", "heard", "")
        for row in found:
            style = {"kept": "bold", "names another": ""}.get(row.verdict, "dim")
            note = f"{row.verdict}: {row.why}" if row.why else _VERDICTS[row.verdict]
            table.add_row(f"{row.times}/{row.of}", *(escape(c) for c in (row.said, row.heard, note)), style=style)
        console.print(table)
    if kept:
        console.print(f"\nKept in {escape(str(kept))}")
    elif any(row.verdict == "kept" for row in found):
        console.print("\nKeep what helps with --keep", style="dim")


# ---- unknown --------------------------------------------------------------------------------------------------


def unknown(shown: Sequence[UnknownPhrase], of: int, *, kept: bool) -> None:
    """Unknown phrases by frequency; ``kept``: whether there was anything to look at."""
    console = _console()
    if not kept:
        console.print("No job is kept yet. Look at a text file with --text, or take a job first: fieldnote take.")
        return
    if not shown:
        console.print("Nothing was left over: the pack knows all that was said.")
        return
    table = _table("times", "jobs", "words", "for example", "known and alike")
    for row in shown:
        table.add_row(str(row.times), str(row.jobs), escape(row.phrase), escape(row.examples[0]), escape(row.near))
    console.print(table)
    if len(shown) < of:
        console.print(f"\n{len(shown)} of {of}; all of them with --limit 0", style="dim")
    console.print('\nAdd words with: fieldnote vocab add part grommet "…"', style="dim")


# ---- prove ----------------------------------------------------------------------------------------------------


def proof_json(pack: Pack, done: Proof) -> dict[str, Any]:
    """One proving run."""
    return {
        "pack": pack.id,
        "right": done.right,
        "of": len(done.verdicts),
        "first_run": done.first_run,
        "gained": [_verdict_json(v) for v in done.gained],
        "lost": [_verdict_json(v) for v in done.lost],
        "still_wrong": [_verdict_json(v) for v in done.still_wrong],
        "new": {"right": sum(v.right for v in done.new), "wrong": sum(not v.right for v in done.new)},
        "gone": list(done.gone),
    }


def _verdict_json(verdict: Verdict) -> dict[str, Any]:
    return {
        "job": verdict.job.key,
        "say": list(verdict.job.say),
        "expected": entry_to_wire(verdict.expected) if verdict.expected else None,
        "got": entry_to_wire(verdict.got) if verdict.got else None,
        "differs": list(verdict.differs),
        "extra": [entry_to_wire(e) for e in verdict.extra],
    }


def proof(pack: Pack, done: Proof) -> None:
    """One proving run against the last one."""
    console = _console()
    jobs = len({v.job.key for v in done.verdicts})
    console.print(f"[bold]{escape(pack.name)}[/bold]: {done.right} of {len(done.verdicts)} right in {jobs} dictations")
    if done.first_run:
        console.print("The first run: nothing to compare with yet.", style="dim")
    for title, verdicts in (
        ("Lost (worked before)", done.lost),
        ("Gained", done.gained),
        ("Still wrong", done.still_wrong),
        ("New and wrong", tuple(v for v in done.new if not v.right and not done.first_run)),
    ):
        if verdicts:
            console.print(f"\n[bold]{title}: {len(verdicts)}[/bold]")
            for verdict in verdicts:
                _verdict(console, verdict)
    if done.gone:
        console.print(f"\n{len(done.gone)} of the last run are no longer in the set.", style="dim")
    if done.lost:
        console.print("\nIf this is meant, say so with: fieldnote vocab prove --accept", style="dim")


def _verdict(console: Console, verdict: Verdict) -> None:
    console.print(f"  {escape(verdict.job.key)}")
    if verdict.right:
        return
    if verdict.expected is not None:
        console.print(f"    expected {escape(entry_line(verdict.expected))}")
        came = entry_line(verdict.got) if verdict.got else "nothing of that kind"
        differs = f"  (differs in {', '.join(verdict.differs)})" if verdict.got else ""
        console.print(f"    came     {escape(came)}{escape(differs)}")
    for entry in verdict.extra:
        console.print(f"    too much {escape(entry_line(entry))}")
