"""Jobs: opened with an intake of which every field may be skipped, amended, closed, found."""

from __future__ import annotations

import dataclasses
from collections.abc import Collection
from typing import Any

from fieldnote.errors import UserMistake
from fieldnote.records import Edit, Intake, Job
from fieldnote.store import Store
from fieldnote.store.fields import JOB_FIELDS
from fieldnote.vocabulary import Pack
from fieldnote.vocabulary.nearest import nearest
from fieldnote.vocabulary.pack import Condition

CONDITION_GROUPS = ("liquid", "parked", "when", "earlier_work")


def open_job(
    store: Store,
    name: str,
    intake: Intake | None = None,
    pack: Pack | None = None,
    *,
    pack_name: str = "body-leaks",
) -> Job:
    """Open a job. Where ``pack`` is given, the intake's conditions are checked against it and the job uses it.

    Otherwise the job uses the pack called ``pack_name``, and the intake is kept as it is.

    Raises:
        Clash: a job has that name.
        UserMistake: the name is empty, or a condition is not in the pack.

    """
    intake = intake or Intake()
    if pack is None:
        return store.open_job(name, intake, pack=pack_name)
    return store.open_job(name, checked_intake(intake, pack), pack=pack.id)


def checked_intake(intake: Intake, pack: Pack) -> Intake:
    """The intake with its conditions as ids of the pack (they may be given as they are spoken).

    Raises:
        UserMistake: a condition is not in the pack.

    """
    groups: dict[str, Any] = {
        group: tuple(condition_id(pack, group, value) for value in getattr(intake.conditions, group))
        for group in CONDITION_GROUPS
    }
    return dataclasses.replace(intake, conditions=dataclasses.replace(intake.conditions, **groups))


def conditions_of(pack: Pack, group: str) -> tuple[Condition, ...]:
    """The choices of one group of the intake form."""
    return tuple(condition for condition in pack.rows(Condition) if condition.group == group)


def condition_id(pack: Pack, group: str, value: str) -> str:
    """The id of a condition by its id, its name or the way it is spoken.

    Raises:
        UserMistake: it is not in the pack; the message names the choices.

    """
    wanted = " ".join(value.lower().split())
    choices = conditions_of(pack, group)
    for choice in choices:
        if wanted in (choice.id, choice.name.lower()) or wanted.replace("-", " ") in choice.say:
            return choice.id
    ids = [choice.id for choice in choices]
    close = nearest(wanted, ids)
    raise UserMistake(
        f"{value!r} is not a choice here",
        where=group.replace("_", " "),
        do=(f"Did you mean {close!r}? " if close else "") + f"It can be: {', '.join(ids)}.",
    )


def amend(
    store: Store,
    job: str | Job,
    changes: Intake,
    person: str,
    pack: Pack | None = None,
    *,
    clear: Collection[str] = (),
) -> tuple[Edit, ...]:
    """Set those fields of the intake that ``changes`` holds; what it leaves out stays as it is.

    ``clear``: fields that are emptied (``order_number``, ``conditions.liquid``).

    Raises:
        NotFound: no such job.
        UserMistake: a condition is not in the pack.

    """
    found = store.job(job if isinstance(job, str) else job.id)
    wanted = checked_intake(changes, pack) if pack is not None else changes
    made = []
    with store.atomic():
        for field in JOB_FIELDS:
            if not field.startswith("intake."):
                continue
            value, before = _field(wanted, field), _field(found.intake, field)
            if field.removeprefix("intake.") in clear:
                if before not in (None, ()):
                    made.append(store.amend_job(found.id, field, None, person))
            elif value not in (None, (), before):
                made.append(store.amend_job(found.id, field, value, person))
    return tuple(made)


def _field(intake: Intake, field: str) -> Any:
    value: Any = intake
    for name in field.split(".")[1:]:
        value = getattr(value, name)
    return value


def rename(store: Store, job: str | Job, name: str, person: str) -> Edit:
    """Give a job another name.

    Raises:
        Clash: another job has it.

    """
    return store.amend_job(store.find_id(job if isinstance(job, str) else job.id), "name", name, person)


def close_job(store: Store, job: str | Job, person: str) -> Edit:
    """Close a job.

    Raises:
        UserMistake: it is closed already.

    """
    return _set_status(store, job, "closed", person)


def reopen_job(store: Store, job: str | Job, person: str) -> Edit:
    """Open a closed job again.

    Raises:
        UserMistake: it is open.

    """
    return _set_status(store, job, "open", person)


def _set_status(store: Store, job: str | Job, status: str, person: str) -> Edit:
    found = store.job(job if isinstance(job, str) else job.id)
    if found.status == status:
        raise UserMistake(f"this job is {status} already", where=found.name, do="Nothing was changed.")
    return store.amend_job(found.id, "status", status, person)
