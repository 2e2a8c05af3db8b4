"""What the payer of a job requires and does not get yet: open points of the write-up."""

from __future__ import annotations

from collections.abc import Iterator

from fieldnote.narrate.payers import REQUIREMENTS, Known, load_payers, missing
from fieldnote.narrate.phrases import sentence
from fieldnote.narrate.wording import Vocabulary
from fieldnote.records import OpenPoint


def claim_points(known: Known, pack: Vocabulary) -> tuple[OpenPoint, ...]:
    """One point for each thing that is missing; none where no payer was named.

    Raises:
        PackFault: ``claim.toml`` cannot be used.

    """
    return tuple(OpenPoint(sentence(text)) for text in _texts(known, pack)) if known.job.claim.payer else ()


def _texts(known: Known, pack: Vocabulary) -> Iterator[str]:
    claim = known.job.claim
    payer = load_payers(pack).get(claim.payer or "")
    if payer is None:
        yield f"the payer {claim.payer} is not in the list of payers"
        return
    for id in missing(known, payer):
        yield f"{payer.name} wants {REQUIREMENTS[id].label}: not recorded"
    if claim.outcome == "returned":
        yield f"the claim was returned: {claim.outcome_reason or 'no reason was recorded'}"


__all__ = ["claim_points"]
