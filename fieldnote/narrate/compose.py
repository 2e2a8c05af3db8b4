"""The write-up of a job: paragraphs of sentences that name their entries, open points, cautions, and a hash."""

from __future__ import annotations

import dataclasses
import hashlib
import json
from collections.abc import Iterable, Sequence

from fieldnote.narrate.claim_points import claim_points
from fieldnote.narrate.claim_story import claim_sentences
from fieldnote.narrate.open_points import Record, open_points
from fieldnote.narrate.payers import Known, told_of
from fieldnote.narrate.phrases import series
from fieldnote.narrate.proof import prove
from fieldnote.narrate.sequence import fact_sentence, fact_text, in_order
from fieldnote.narrate.verdicts import causes, corrections, used_up
from fieldnote.narrate.wording import Vocabulary, Wording, load_wording
from fieldnote.records import Aftercare, Entry, Intake, Job, Narrative, Paragraph, Sentence
from fieldnote.wire import plain

VEHICLE = "Vehicle"
COMPLAINT = "Complaint"
CAUSE = "Cause"
CORRECTION = "Correction"
ORDER = "Order of work"
USED = "Parts, materials and labor"
CLAIM = "For the claim"
"""A paragraph that is there only where something was recorded for the claim."""
HEADINGS = (VEHICLE, COMPLAINT, CAUSE, CORRECTION, ORDER, USED)


def narrate(
    job: Job,
    pack: Vocabulary,
    cautions: Sequence[str] = (),
    *,
    names: bool = False,
    aftercare: Sequence[Aftercare] = (),
) -> Narrative:
    """The write-up of ``job``, from its entries and its intake alone.

    Every sentence names the entries behind it (``intake.FIELD`` for an answer given at intake). ``names`` also lets in
    facts that the pack marks private, such as who did the work. ``aftercare`` is what follows the leaks found; what is
    not done of it becomes an open point.

    Raises:
        PackFault: the wording of the pack cannot be used.

    """
    wording = load_wording(pack)
    entries = shown(numbered(job.entries), wording, names=names)
    proof = prove(entries, wording)
    facts = [e for e in entries if e.kind == "fact"]
    work = [e for e in entries if e.kind != "fact"]
    paragraphs: tuple[Paragraph, ...] = (
        Paragraph(VEHICLE, (*_facts(facts, "vehicle", wording), *_intake(job.intake, facts, wording))),
        Paragraph(COMPLAINT, (*_facts(facts, "complaint", wording), *_complaint(job.intake, facts, pack, wording))),
        Paragraph(CAUSE, causes(proof, entries, wording)),
        Paragraph(CORRECTION, corrections(proof, wording)),
        Paragraph(ORDER, in_order(work, wording)),
        Paragraph(USED, (*used_up(entries, wording), *_facts(facts, "labor", wording))),
    )
    claimed = claim_sentences(job.claim, job.intake)
    if claimed:
        paragraphs = (*paragraphs, Paragraph(CLAIM, claimed))
    told = told_of(paragraphs)
    record = Record(job, entries, proof, wording, tuple(aftercare))
    points = (*open_points(record), *claim_points(Known(job, proof, told), pack))
    story = Narrative(paragraphs, points, tuple(cautions))
    return dataclasses.replace(story, hash=story_hash(story))


def story_hash(story: Narrative) -> str:
    """SHA-256 over all that the write-up says, as canonical JSON."""
    said = {"paragraphs": plain(story.paragraphs), "open_points": plain(story.open_points), "cautions": story.cautions}
    return hashlib.sha256(json.dumps(said, ensure_ascii=False, sort_keys=True).encode("utf-8")).hexdigest()


def numbered(entries: Iterable[Entry]) -> tuple[Entry, ...]:
    """The entries, those without an id given one by their order (``e1``, ``e2``, ...)."""
    found = tuple(entries)
    taken = {e.id for e in found if e.id}
    out: list[Entry] = []
    for index, entry in enumerate(found, 1):
        id = entry.id
        if not id:
            id = f"e{index}"
            while id in taken:
                id += "+"
            taken.add(id)
        out.append(entry if entry.id else dataclasses.replace(entry, id=id))
    return tuple(out)


def shown(entries: Iterable[Entry], wording: Wording, *, names: bool = False) -> tuple[Entry, ...]:
    """The entries that may be printed: private facts only where names are asked for."""
    return tuple(e for e in entries if names or e.kind != "fact" or not wording.fact(e.what).private)


def _facts(facts: Sequence[Entry], group: str, wording: Wording) -> tuple[Sentence, ...]:
    return tuple(fact_sentence(f, wording) for f in facts if wording.fact(f.what).group == group)


_AS_FACT = (("model_year", "model-year"), ("build_month", "build-date"), ("vin", "vin"), ("odometer", "odometer"))


def _intake(intake: Intake, facts: Sequence[Entry], wording: Wording) -> Iterable[Sentence]:
    """What the intake says of the vehicle and the dictation does not."""
    spoken = {f.what for f in facts}
    if intake.vehicle:
        yield Sentence(f"The vehicle was entered as “{intake.vehicle}”.", ("intake.vehicle",))
    if intake.family:
        yield Sentence(f"Its model line was entered as “{intake.family}”.", ("intake.family",))
    if intake.order_number:
        yield Sentence(f"The order number was {intake.order_number}.", ("intake.order_number",))
    for field, what in _AS_FACT:
        value = getattr(intake, field)
        if value is not None and what not in spoken:
            unit = intake.odometer_unit if field == "odometer" else None
            yield Sentence(fact_text(what, value, unit, wording), (f"intake.{field}",))


def _complaint(intake: Intake, facts: Sequence[Entry], pack: Vocabulary, wording: Wording) -> Iterable[Sentence]:
    if intake.complaint and not any(wording.fact(f.what).group == "complaint" for f in facts):
        yield Sentence(fact_text("complaint", intake.complaint, None, wording), ("intake.complaint",))
    told = intake.conditions
    named = [_condition(id, pack) for group in (told.liquid, told.when, told.parked, told.earlier_work) for id in group]
    if named:
        yield Sentence(f"Conditions given at intake: {series(named)}.", ("intake.conditions",))
    if told.since:
        yield Sentence(f"Since when, as given at intake: “{told.since}”.", ("intake.since",))


def _condition(id: str, pack: Vocabulary) -> str:
    return str(pack.term("condition", id).name) if pack.entry("condition", id) else id.replace("-", " ")


__all__ = ["HEADINGS", "narrate", "numbered", "shown", "story_hash"]
