"""The claim of a job: who pays, what they want beside the story, and what became of it."""

from __future__ import annotations

import dataclasses
from collections.abc import Collection
from dataclasses import dataclass
from datetime import date
from typing import Any

from fieldnote.errors import UserMistake
from fieldnote.narrate import narrate
from fieldnote.narrate.payers import REQUIREMENTS, Known, Payer, find_payer, load_payers, missing, told_of
from fieldnote.narrate.proof import prove
from fieldnote.narrate.short_form import ShortPart, short_form
from fieldnote.narrate.wording import load_wording
from fieldnote.records import Claim, Edit, Job, Narrative
from fieldnote.store import Store
from fieldnote.vocabulary import Pack

DAYS = ("day_in", "day_out", "sealer_expiry", "outcome_day")
_MOST_HOURS = 1000.0


@dataclass(frozen=True, slots=True)
class ClaimState:
    """How a claim stands: its payer, what is missing (labels), and the story as the payer's form takes it.

    ``lacking``: the same as ``missing`` as ids of ``REQUIREMENTS``. ``odd``: what was given and can hardly be right.
    """

    payer: Payer | None
    missing: tuple[str, ...]
    short: tuple[ShortPart, ...]
    lacking: tuple[str, ...] = ()
    odd: tuple[str, ...] = ()


def payers(pack: Pack) -> tuple[Payer, ...]:
    """All payers that a claim may name.

    Raises:
        PackFault: ``claim.toml`` cannot be used.

    """
    return tuple(load_payers(pack).values())


def claim_state(job: Job, pack: Pack) -> ClaimState:
    """How the claim of a job stands.

    Raises:
        NotFound: the payer named is no longer in ``claim.toml``.
        PackFault: ``claim.toml`` cannot be used.

    """
    story = narrate(job, pack)
    payer = find_payer(job.claim.payer, pack) if job.claim.payer else None
    lacking = lacking_of(job, story, payer, pack) if payer is not None else ()
    labels = tuple(REQUIREMENTS[id].label for id in lacking)
    return ClaimState(payer, labels, short_form(story, payer), lacking, odd_of(job))


def lacking_of(job: Job, story: Narrative, payer: Payer, pack: Pack) -> tuple[str, ...]:
    """Ids of what a payer wants and a job with this write-up does not have."""
    return missing(Known(job, prove(job.entries, load_wording(pack)), told_of(story.paragraphs)), payer)


def odd_of(job: Job) -> tuple[str, ...]:
    """What was given for the claim and can hardly be right, in words: kept all the same."""
    claim, intake = job.claim, job.intake
    came, went = claim.day_in or "", claim.day_out or ""
    found = []
    if came and went and went < came:
        found.append(f"it went out on {went}, before it came in on {came}")
    if claim.odometer_out is not None and intake.odometer is not None and claim.odometer_out < intake.odometer:
        found.append("the odometer went backward while it was here")
    if claim.sealer_expiry and claim.sealer_expiry < (came or job.created_at[:10]):
        found.append(f"the sealer was good until {claim.sealer_expiry}: it was past its date before the job began")
    if came and claim.outcome_day and claim.outcome_day < came:
        found.append(f"the payer answered on {claim.outcome_day}, before it came in on {came}")
    return tuple(found)


def set_claim(
    store: Store, job: Job, changes: Claim, person: str, pack: Pack, *, clear: Collection[str] = ()
) -> tuple[Edit, ...]:
    """Set those fields that ``changes`` holds; what it leaves out stays. Each can be taken back.

    ``clear``: fields that are emptied.

    Raises:
        NotFound: there is no such payer.
        UserMistake: a value cannot be what it should be, or there is no such field to empty.

    """
    wanted = checked(changes, pack)
    fields = tuple(field.name for field in dataclasses.fields(Claim))
    for name in clear:
        if name not in fields:
            raise UserMistake(f"a claim has no {name!r}", where="claim", do=f"It has: {', '.join(fields)}.")
    made = []
    with store.atomic():
        for name in fields:
            value, before = getattr(wanted, name), getattr(job.claim, name)
            if name in clear:
                if before not in (None, ()):
                    made.append(store.amend_job(job.id, f"claim.{name}", None, person))
            elif value not in (None, (), before):
                held: Any = list(value) if isinstance(value, tuple) else value
                made.append(store.amend_job(job.id, f"claim.{name}", held, person))
    return tuple(made)


def checked(claim: Claim, pack: Pack) -> Claim:
    """The claim with its text tidied.

    Raises:
        NotFound: there is no such payer.
        UserMistake: a day, a number of hours or the like cannot be right.

    """
    if claim.payer:
        find_payer(claim.payer, pack)
    tidied: dict[str, Any] = {}
    for field in dataclasses.fields(Claim):
        value = getattr(claim, field.name)
        if isinstance(value, str):
            value = " ".join(value.split()) or None
        elif isinstance(value, tuple):
            value = tuple(text for one in value if (text := " ".join(one.split())))
        if value is not None and field.name in DAYS:
            value = _day(value, field.name)
        if isinstance(value, float) and not 0 <= value < (_MOST_HOURS if field.name.endswith("_h") else 1e8):
            name = field.name.removesuffix("_h").replace("_", " ")
            raise UserMistake(f"{value:g} cannot be right", where=name, do="Give a number that can be.")
        tidied[field.name] = value
    return Claim(**tidied)


def _day(text: str, where: str) -> str:
    try:
        return date.fromisoformat(text).isoformat()
    except ValueError:
        raise UserMistake(f"{text!r} is no day", where=where.replace("_", " "), do="Write it as 2026-11-25.") from None
