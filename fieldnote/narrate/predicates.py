"""What is said of a subject: the predicate of one entry, ready to be joined with others."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from fieldnote.narrate.phrases import NOWHERE, Subject, counted_subject, quantity, series, subject
from fieldnote.narrate.wording import StateForms, Wording
from fieldnote.records import Entry, Quantity

Verb = Literal["be", "have", "there"]
DOUBT = "possibly"


@dataclass(frozen=True, slots=True)
class Item:
    """One entry with its subject and predicate.

    ``words`` follow the verb; ``each`` says that they count one for every subject ("had a pinhole each"); ``plural``
    is the number of the noun in a "there was" sentence; ``tail`` holds measures, material and finer position.
    """

    entry: Entry
    subject: Subject
    verb: Verb
    words: str
    tail: str = ""
    each: bool = False
    plural: bool = False

    @property
    def predicate(self) -> tuple[str, ...]:
        """Equal for items that say the same of different subjects."""
        return (self.verb, self.words, self.tail, str(self.each), self.subject.spot)


def item(entry: Entry, wording: Wording) -> Item:
    """The predicate of an entry that is neither a test, nor a source, nor a fact."""
    found = subject(entry, wording)
    if entry.kind == "evidence":
        return _finding(entry, found, wording, noun_verb="there")
    if entry.kind == "check":
        return _finding(entry, found, wording, noun_verb="have")
    if entry.kind == "plan":
        words = _planned(entry, wording)
        denied = f"not {words.removeprefix('still ')}"
        return Item(entry, found, "be", _hedged(entry, words, negative=denied), _measures(entry, wording))
    return Item(entry, found, "be", _hedged(entry, _done(entry, wording)), _work_tail(entry, wording))


def finding(entry: Entry, wording: Wording) -> Item:
    """What a check or a source says of its subject ("was torn", "had a pinhole")."""
    return _finding(entry, subject(entry, wording), wording, noun_verb="have")


def _hedged(entry: Entry, words: str, *, negative: str = "") -> str:
    if not entry.present:
        words = negative or f"not {words}"
    return f"{DOUBT} {words}" if entry.certainty == "unsure" else words


def _tail(found: Iterable[Quantity], wording: Wording, *, of_adjective: bool = False) -> str:
    return " ".join(quantity(q, wording, of_adjective=of_adjective) for q in found)


def _work_tail(entry: Entry, wording: Wording) -> str:
    material = f"with {wording.name('material', entry.material)}" if entry.material else ""
    return " ".join(x for x in (_measures(entry, wording), material) if x)


def _done(entry: Entry, wording: Wording) -> str:
    if entry.state is None:
        return "repaired" if entry.kind == "repair" else "opened up"
    return wording.state(entry.state).done or wording.name("state", entry.state)


def _planned(entry: Entry, wording: Wording) -> str:
    if entry.state is None:
        return "still to come"
    if entry.state == "test":
        return "still to be tested"
    return f"still to be {wording.state(entry.state).done or wording.name('state', entry.state)}"


def _finding(entry: Entry, found: Subject, wording: Wording, *, noun_verb: Verb) -> Item:
    forms = wording.state(entry.state)
    if entry.state is None:
        if entry.kind == "evidence":
            return Item(
                entry,
                found,
                "there",
                _hedged(entry, "an unnamed sign", negative="no unnamed sign"),
                _measures(entry, wording),
            )
        return Item(entry, found, "be", _hedged(entry, "looked at, finding not recorded"), _measures(entry, wording))
    if not forms.has:
        words = _adjective(entry, forms, wording)
        count = next((q for q in entry.quantities if q.what == "count"), None)
        several = counted_subject(entry, count.value, wording) if count is not None else None
        if several is not None:
            rest = tuple(q for q in entry.quantities if q is not count)
            return Item(entry, several, "be", words, _tail(rest, wording, of_adjective=True))
        return Item(entry, found, "be", words, _measures(entry, wording))
    words, counted = _noun(entry, forms, wording)
    rest = tuple(q for q in entry.quantities if q is not counted)
    single = forms.number == "count" and entry.present and counted is None
    many = forms.number == "plural" or (forms.number == "count" and (not entry.present or counted is not None))
    return Item(entry, found, noun_verb, words, _tail(rest, wording), each=single, plural=many)


def _measures(entry: Entry, wording: Wording) -> str:
    return _tail(entry.quantities, wording, of_adjective=True)


def _adjective(entry: Entry, forms: StateForms, wording: Wording) -> str:
    state = entry.state or ""
    words = forms.is_ or forms.done or wording.name("state", state)
    if entry.kind == "check" and forms.faultless and wording.part(entry.part).ok:
        words = wording.part(entry.part).ok
    return _hedged(entry, words, negative=forms.is_not)


def _noun(entry: Entry, forms: StateForms, wording: Wording) -> tuple[str, Quantity | None]:
    """The noun of a finding with article, count or "no", and the count that went into it."""
    counted = next((q for q in entry.quantities if q.what == "count"), None)
    many = forms.has_many or forms.has
    if not entry.present:
        # "No 3 pinholes" says nothing: a count of what is absent stays behind, as a measure.
        return _hedged(entry, "", negative=f"no {many}"), None
    if counted is not None and forms.number != "mass":
        from fieldnote.narrate.phrases import number

        noun = many if counted.value != 1 else many.removesuffix("s")
        return _hedged(entry, f"{number(counted.value)} {noun}"), counted
    return _hedged(entry, forms.has), None


# ---- joining --------------------------------------------------------------------------------------------------


def joins_subject(a: Item, b: Item) -> bool:
    """Whether the same is said of both, so that the subjects can be named together."""
    if a.predicate != b.predicate or a.entry.kind != b.entry.kind or a.plural != b.plural:
        return False
    if NOWHERE in (a.subject.text, b.subject.text) and a.subject.text != b.subject.text:
        return False
    # "The seal and the seam in the trough" must not lend the trough to a seal whose place was not recorded.
    return (a.entry.place is None) == (b.entry.place is None) and (a.entry.side is None or a.entry.place is not None)


def joins_predicate(a: Item, b: Item) -> bool:
    """Whether both are said of one subject, so that it can be named once."""
    if a.subject.text != b.subject.text or a.entry.kind != b.entry.kind:
        return False
    if "there" in (a.verb, b.verb):
        return a.verb == b.verb and a.subject.spot == b.subject.spot
    return True


def clause(items: list[Item], subjects: Subject) -> str:
    """One clause out of items that share a predicate or a subject, without capital and full stop."""
    if items[0].verb == "there":
        return _there(items, subjects)
    if len({i.predicate for i in items}) == 1:
        return f"{subjects.text} {_verb_phrase(items[:1], subjects)}"
    phrases: list[str] = []
    group: list[Item] = []
    for found in {i.predicate: i for i in items}.values():
        if group and found.verb != group[-1].verb:
            phrases.append(_verb_phrase(group, subjects))
            group = []
        group.append(found)
    phrases.append(_verb_phrase(group, subjects))
    joint = ", and " if any(" and " in p or ", " in p for p in phrases) else " and "
    return f"{subjects.text} " + (series(phrases) if len(phrases) > 2 else joint.join(phrases))


def _verb_phrase(items: list[Item], subjects: Subject) -> str:
    plural = subjects.plural
    if items[0].verb == "be":
        return ("were " if plural else "was ") + series([_with_tail(i) for i in items])
    words = series([_with_tail(i) for i in items])
    each = "each " if plural and len(items) == 1 and items[0].each else ""
    doubt = f"{DOUBT} " if words.startswith(f"{DOUBT} ") else ""
    return f"{doubt}{each}had {words.removeprefix(doubt)}"


def _with_tail(found: Item) -> str:
    return " ".join(x for x in (found.words, found.tail, found.subject.spot) if x)


def _there(items: list[Item], subjects: Subject) -> str:
    distinct = list({i.predicate: i for i in items}.values())
    nouns = series([" ".join(x for x in (i.words, i.tail) if x) for i in distinct])
    verb = "were" if distinct[0].plural else "was"
    return " ".join(x for x in (f"there {verb}", nouns, subjects.where, subjects.spot) if x)


__all__ = ["DOUBT", "Item", "clause", "finding", "item", "joins_predicate", "joins_subject"]
