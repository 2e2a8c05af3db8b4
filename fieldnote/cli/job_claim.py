"""``fieldnote job claim``: what a payer wants beside the story, the short form for pasting, paid or returned."""

from __future__ import annotations

import json
from datetime import date
from typing import TYPE_CHECKING, Annotated, Optional

import typer
from rich.console import Console
from rich.markup import escape

from fieldnote.errors import UserMistake

if TYPE_CHECKING:
    from fieldnote.flow.claiming import ClaimState
    from fieldnote.records import Claim, Job

_Text = Optional[str]
_Hours = Optional[float]


def claim(
    job: Annotated[str, typer.Argument(metavar="JOB", help="The job's name or id, or the start of either.")],
    payer: Annotated[_Text, typer.Option(help="Who pays: an id of claim.toml (--payers lists them).")] = None,
    day_in: Annotated[_Text, typer.Option("--in", metavar="DATE", help="The day that it came in.")] = None,
    day_out: Annotated[_Text, typer.Option("--out", metavar="DATE", help="The day that it went out.")] = None,
    odometer_out: Annotated[_Hours, typer.Option(help="The odometer when it went out.")] = None,
    failed_part: Annotated[_Text, typer.Option(help="Number of the part that failed.")] = None,
    part: Annotated[Optional[list[str]], typer.Option(help='"2 x 55012-A clip"; all parts, one option each.')] = None,
    operation: Annotated[Optional[list[str]], typer.Option(help="Code of an operation; one option each.")] = None,
    sealer_batch: Annotated[_Text, typer.Option(help="Batch of the sealer.")] = None,
    sealer_expiry: Annotated[_Text, typer.Option(metavar="DATE", help="The day until which it was good.")] = None,
    diagnosis: Annotated[_Hours, typer.Option(metavar="HOURS", help="Labor of the diagnosis.")] = None,
    access: Annotated[_Hours, typer.Option(metavar="HOURS", help="… of taking off what was in the way.")] = None,
    repair: Annotated[_Hours, typer.Option(metavar="HOURS", help="… of the repair.")] = None,
    refit: Annotated[_Hours, typer.Option(metavar="HOURS", help="… of putting back.")] = None,
    retest: Annotated[_Hours, typer.Option(metavar="HOURS", help="… of the retest.")] = None,
    authorization: Annotated[_Text, typer.Option(help="Number or name under which the payer agreed.")] = None,
    other_work: Annotated[_Text, typer.Option(help="Earlier or outside work.")] = None,
    paid: Annotated[bool, typer.Option("--paid", help="The claim was paid.")] = False,
    returned: Annotated[_Text, typer.Option("--returned", metavar="WHY", help="It was sent back, and why.")] = None,
    on: Annotated[_Text, typer.Option("--on", metavar="DATE", help="With --paid or --returned: the day.")] = None,
    clear: Annotated[
        Optional[list[str]],
        typer.Option("--clear", metavar="OPTION", help="Empty what an option set, such as failed-part; one each."),
    ] = None,
    payers: Annotated[bool, typer.Option("--payers", help="List the payers and what each wants.")] = False,
    short: Annotated[bool, typer.Option("--short", help="Print the short form alone, to be pasted.")] = False,
    by: Annotated[_Text, typer.Option("--by", help="Who says so; otherwise who is logged in.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON.")] = False,
) -> None:
    """Show how a job's claim stands, or add to it: what the payer wants beside the story, and what became of it.

    What each payer requires, and how many characters its form takes, stands in claim.toml of the vocabulary; a shop
    puts its own into its data folder. The payer's own rules come first.

    Examples:

      fieldnote job claim "unit 12"

      fieldnote job claim "unit 12" --payer maker --failed-part 55012-A --diagnosis 0.8 --repair 1.2

      fieldnote job claim "unit 12" --short

      fieldnote job claim "unit 12" --returned "no retest" --on 2026-11-25

      fieldnote job claim "unit 12" --clear failed-part
    """
    from fieldnote.cli.job import _changed
    from fieldnote.flow import Rooms
    from fieldnote.flow.claiming import claim_state, set_claim
    from fieldnote.flow.who import person_of
    from fieldnote.narrate.short_form import short_text
    from fieldnote.records import Claim

    if paid and returned is not None:
        raise UserMistake("a claim cannot be paid and returned", where="--paid", do="Give one of them.")
    if on is not None and not paid and returned is None:
        raise UserMistake("the day of what?", where="--on", do="Give --paid or --returned with it.")
    rooms = Rooms()
    found = rooms.store.job(job)
    pack = rooms.for_pack(found.pack).pack
    if payers:
        _list_payers(pack, as_json)
        return
    outcome = "paid" if paid else "returned" if returned is not None else None
    wanted = Claim(
        payer=payer, day_in=day_in, day_out=day_out, odometer_out=odometer_out, failed_part=failed_part,
        parts=tuple(part or ()), sealer_batch=sealer_batch, sealer_expiry=sealer_expiry,
        operations=tuple(operation or ()), diagnosis_h=diagnosis, access_h=access, repair_h=repair, refit_h=refit,
        retest_h=retest, authorization=authorization, other_work=other_work,
        outcome=outcome,  # type: ignore[arg-type]
        outcome_day=(on or date.today().isoformat()) if outcome else None, outcome_reason=returned,
    )  # fmt: skip
    if wanted != Claim() or clear:
        emptied = [field for option in clear or () for field in _fields_of(option)]
        made = set_claim(rooms.store, found, wanted, person_of(by), pack, clear=emptied)
        if not made:
            raise UserMistake("nothing was given that differs", where=found.name, do="The claim is so already.")
        _changed(rooms.store.job(found.id), made, as_json)
        return
    state = claim_state(found, pack)
    if short:
        print(short_text(state.short), end="")
    elif as_json:
        print(json.dumps(as_wire(found.claim, state), ensure_ascii=False, indent=2))
    else:
        _show(found, state)


def _fields_of(option: str) -> tuple[str, ...]:
    """The fields of a claim that an option sets."""
    from fieldnote.narrate.payers import LABOR

    hours = {field.removesuffix("_h"): (field,) for field in LABOR}
    answer = ("outcome", "outcome_day", "outcome_reason")
    named = {"in": ("day_in",), "out": ("day_out",), "part": ("parts",), "operation": ("operations",)}
    name = option.lstrip("-").replace("-", "_")
    return {**hours, **named, "paid": answer, "returned": answer}.get(name, (name,))


def as_wire(claim: Claim, state: ClaimState) -> dict[str, object]:
    """A claim as JSON values: what is recorded, what is missing, the short form."""
    from fieldnote.wire import plain

    return {
        "claim": plain(claim),
        "payer": plain(state.payer) if state.payer else None,
        "missing": list(state.missing),
        "short": [plain(part) for part in state.short],
    }


def _list_payers(pack: object, as_json: bool) -> None:
    from fieldnote.flow.claiming import payers
    from fieldnote.narrate.payers import PARTS, REQUIREMENTS
    from fieldnote.wire import plain

    found = payers(pack)  # type: ignore[arg-type]
    if as_json:
        print(json.dumps({"payers": [plain(one) for one in found]}, ensure_ascii=False, indent=2))
        return
    console = Console(highlight=False)
    for one in found:
        limits = ", ".join(f"{part} {one.limit(part)}" for part in PARTS if one.limit(part))
        console.print(f"[bold]{escape(one.id)}[/bold]  {escape(one.name)}")
        console.print(f"  wants {', '.join(REQUIREMENTS[id].label for id in one.requires)}")
        if limits:
            console.print(f"  its form takes, in characters: {limits}")


def _show(job: Job, state: ClaimState) -> None:
    from fieldnote.narrate.claim_story import claim_sentences

    console = Console(highlight=False)
    named = escape(state.payer.name) if state.payer else "no payer named yet (--payer)"
    console.print(f"[bold]{escape(job.name)}[/bold]  {named}")
    for sentence in claim_sentences(job.claim, job.intake):
        console.print(f"  {escape(sentence.text)}")
    claim = job.claim
    if claim.outcome:
        why = f": {escape(claim.outcome_reason)}" if claim.outcome_reason and claim.outcome == "returned" else ""
        console.print(f"  {claim.outcome.capitalize()} on {claim.outcome_day}{why}.")
    if state.missing:
        console.print("Missing:")
        for label in state.missing:
            console.print(f"  - {escape(label)}")
    elif state.payer:
        console.print("Nothing that this payer wants is missing.")
    over = [part for part in state.short if part.left_out]
    for part in over:
        what = "is cut" if part.cut else f"leaves out {len(part.left_out)} of its sentences"
        console.print(f"The short form's {part.part} {what} ({part.limit} characters): --short shows it.")
