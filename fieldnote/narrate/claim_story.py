"""What is recorded for the claim beside the story, in sentences."""

from __future__ import annotations

from fieldnote.narrate.payers import LABOR
from fieldnote.narrate.phrases import number, series
from fieldnote.records import Claim, Intake, Sentence

_PLAIN = {
    "day_in": "It came in on {}.",
    "day_out": "It went out on {}.",
    "failed_part": "The failed part was number {}.",
    "sealer_batch": "The sealer was of batch {}.",
    "sealer_expiry": "The sealer was good until {}.",
    "authorization": "Authorization: {}.",
    "other_work": "Earlier or outside work: {}.",
}


def claim_sentences(claim: Claim, intake: Intake) -> tuple[Sentence, ...]:
    """One sentence for each thing recorded, named ``claim.FIELD``. What the payer answered is not part of the story."""
    out: list[Sentence] = []

    def tell(field: str, text: str) -> None:
        out.append(Sentence(text, (f"claim.{field}",)))

    for field in ("day_in", "day_out"):
        if getattr(claim, field):
            tell(field, _PLAIN[field].format(getattr(claim, field)))
    if claim.odometer_out is not None:
        unit = f" {intake.odometer_unit}" if intake.odometer_unit else ""
        tell("odometer_out", f"The odometer read {number(claim.odometer_out)}{unit} when it went out.")
    if claim.failed_part:
        tell("failed_part", _PLAIN["failed_part"].format(claim.failed_part))
    if claim.parts:
        tell("parts", f"Parts used: {series(list(claim.parts))}.")
    if claim.operations:
        tell("operations", f"Operations: {series(list(claim.operations))}.")
    split = [f"{number(hours)} h {name}" for f, name in LABOR.items() if (hours := getattr(claim, f)) is not None]
    if split:
        total = number(sum(getattr(claim, f) or 0.0 for f in LABOR))
        out.append(
            Sentence(
                f"Labor: {series(split)}; {total} h in all.",
                tuple(f"claim.{f}" for f in LABOR if getattr(claim, f) is not None),
            )
        )
    for field in ("sealer_batch", "sealer_expiry", "authorization", "other_work"):
        if getattr(claim, field):
            tell(field, _PLAIN[field].format(str(getattr(claim, field)).rstrip(".")))
    return tuple(out)


__all__ = ["claim_sentences"]
