"""Entries in the order in which they were made, as sentences that join what belongs together."""

from __future__ import annotations

import itertools
from collections.abc import Sequence

from fieldnote.narrate.phrases import measure, sentence, sides_apart, together
from fieldnote.narrate.predicates import DOUBT, Item, clause, finding, item, joins_predicate, joins_subject
from fieldnote.narrate.trials import trial_clause
from fieldnote.narrate.wording import Wording
from fieldnote.records import Entry, Sentence

LONGEST = 4
"""Entries in one sentence at most: more is hard to read in print."""


def in_order(entries: Sequence[Entry], wording: Wording) -> tuple[Sentence, ...]:
    """One sentence or more for each run of entries of one kind; every entry stands in exactly one."""
    out: list[Sentence] = []
    for kind, run in itertools.groupby(entries, key=lambda e: e.kind):
        found = list(run)
        if kind == "test":
            out += [Sentence(sentence(trial_clause(e, wording)), (e.id,)) for e in found]
        elif kind == "source":
            out += [Sentence(sentence(source_clause(e, wording)), (e.id,)) for e in found]
        elif kind == "fact":
            out += [fact_sentence(e, wording) for e in found]
        else:
            out += [_sentence(group, wording) for group in grouped([item(e, wording) for e in found])]
    return tuple(out)


def grouped(items: Sequence[Item]) -> list[list[Item]]:
    """Neighbours put together that share a predicate, or else a subject."""
    groups: list[list[Item]] = []
    for found in items:
        if groups and len(groups[-1]) < LONGEST and _fits(groups[-1], found):
            groups[-1].append(found)
        else:
            groups.append([found])
    return groups


def _fits(group: list[Item], found: Item) -> bool:
    same_said = all(joins_subject(a, b) for a, b in itertools.pairwise(group))
    same_thing = all(joins_predicate(a, b) for a, b in itertools.pairwise(group))
    return (same_said and joins_subject(group[-1], found)) or (same_thing and joins_predicate(group[-1], found))


def _sentence(group: list[Item], wording: Wording) -> Sentence:
    return Sentence(sentence(said(group, wording)), tuple(i.entry.id for i in group))


def said(group: list[Item], wording: Wording) -> str:
    """One group as a clause."""
    distinct = {i.subject.text: i.subject for i in group}
    counted = any(i.subject.text[:1].isdigit() for i in group)
    if len(group) == len(distinct) == 2 and not counted:
        pair = sides_apart(group[0].entry, group[1].entry, wording)
        if pair is not None:
            return clause(group, pair)
    return clause(group, together(list(distinct.values())))


def source_clause(entry: Entry, wording: Wording) -> str:
    """A statement of the cause as it was made."""
    found = finding(entry, wording)
    be = "were" if found.subject.plural else "was"
    what = f", {which(entry, wording)}," if entry.state else ""
    spot = f" {found.subject.spot}" if found.subject.spot and not entry.state else ""
    tail = f" {found.tail}" if found.tail and not entry.state else ""
    hedge = f"{DOUBT} " if entry.certainty == "unsure" else ""
    if not entry.present:
        return f"{found.subject.text}{spot}{what} {be} {hedge}ruled out as the source{tail}"
    doubt = "a possible" if entry.certainty == "unsure" else "the"
    return f"{found.subject.text}{spot}{what} {be} named as {doubt} source{tail}"


def which(entry: Entry, wording: Wording) -> str:
    """A finding as a relative clause (``which was torn``)."""
    found = finding(entry, wording)
    whole = clause([found], found.subject)
    return f"which {whole.removeprefix(found.subject.text).strip()}"


def fact_sentence(entry: Entry, wording: Wording) -> Sentence:
    """A fact about the job."""
    return Sentence(fact_text(entry.what or "fact", entry.value, entry.unit, wording), (entry.id,))


def fact_text(what: str, value: str | float | int | None, unit: str | None, wording: Wording) -> str:
    """A fact in the words that the pack has for it."""
    if value is None:
        shown = "not recorded"
    elif isinstance(value, (int, float)) and not isinstance(value, bool):
        shown = measure(value, unit, wording) if unit else f"{value:g}" if isinstance(value, float) else str(value)
    else:
        shown = str(value).strip().rstrip(".")
        shown = f"{shown} {wording.unit(unit).many}" if unit else shown
    reads = wording.fact(what).reads
    if "“{}" in reads:
        shown = shown[:1].upper() + shown[1:]
    return reads.format(shown)


__all__ = ["fact_sentence", "fact_text", "grouped", "in_order", "said", "source_clause", "which"]
