"""Where to check next in a kept job."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from fieldnote.errors import StoreFault
from fieldnote.records import Advice, Conditions, Entry, Job, Rates
from fieldnote.store import Store
from fieldnote.suggest import Cautions, LeakMap, Teacher, advise, families_of, vehicle_of

_AT_ONCE = 100
"""New or changed jobs that are learned from before advice is given; more of them wait for `all_lessons`."""

_COUNTED = 1000
"""What waits is counted up to this, so that advice does not wait for the count either; and so many are learned from
where somebody asks what was learned."""

Progress = Callable[[float, str], None]


def next_checks(
    store: Store, job: str | Job, leak_map: LeakMap, *, cautions: Cautions | None = None, rates: Rates | None = None
) -> Advice:
    """The candidates for the leak and the order of checks, from the entries in force and the intake of a job.

    Args:
        store: where the job is kept.
        job: the job, or its id, name or the start of either.
        leak_map: where water may come in.
        cautions: what to be careful with, shown with each step.
        rates: what closed jobs taught (``learned_rates`` for this job); the map's own rates where None.

    Raises:
        NotFound: no such job.
        StoreFault: the data folder cannot be used.

    """
    found = store.job(job if isinstance(job, str) else job.id)
    return advise(
        leak_map,
        found.entries,
        found.intake.conditions,
        rates,
        cautions=cautions,
        vehicle=vehicle_of(found),
    )


def advise_on(
    entries: Sequence[Entry],
    leak_map: LeakMap,
    *,
    conditions: Conditions | None = None,
    cautions: Cautions | None = None,
) -> Advice:
    """The same from entries alone, without a store and with the map's own rates."""
    return advise(leak_map, entries, conditions, cautions=cautions)


def learned_rates(store: Store, leak_map: LeakMap, pack_id: str, job: Job | None = None) -> Rates | None:
    """What the closed jobs of this pack taught; none where they taught nothing.

    For a ``job`` with what its vehicle's family and earlier visits taught, and without what it taught itself: asked
    again, a closed job would find its own cure confirmed by itself. Without one, the jobs behind the rates are named.

    Raises:
        StoreFault: the data folder cannot be used.

    """
    teacher = Teacher(leak_map, pack_id)
    unread = _catch_up(store, teacher, job)
    if job is not None:
        vehicle = vehicle_of(job)
        rates = store.rates(teacher, families=families_of(vehicle), vehicle=vehicle.id, but=job.id)
    else:
        taught, withdrawn = store.jobs_behind_rates(teacher)
        rates = replace(store.rates(teacher), jobs=taught, withdrawn=withdrawn)
    rates = replace(rates, unread=unread)
    return rates if rates.taught or rates.taken_back or rates.unread else None


def all_lessons(store: Store, leak_map: LeakMap, pack_id: str, progress: Progress | None = None) -> None:
    """Learn from every job that is new or changed, however many they are.

    Raises:
        StoreFault: the data folder cannot be used.

    """
    teacher = Teacher(leak_map, pack_id)
    due = store.count_due_lessons(teacher)

    def told(made: int) -> None:
        if progress is not None:
            progress(min(1.0, made / due), f"learning from jobs that are new or changed: {made} of {due}")

    if due:
        store.make_lessons(teacher, progress=told)


def _catch_up(store: Store, teacher: Teacher, job: Job | None) -> int:
    """Learn from the few jobs that have changed since somebody asked; gives how many are left.

    An open job that is being dictated changes all the time and teaches nothing: it is read only where its vehicle
    became known, which may withdraw what an earlier visit taught.
    """
    due = store.count_due_lessons(teacher, _COUNTED)
    if due == 1 and job is not None and job.status == "open" and not store.lesson_is_due(teacher, job):
        return 0
    if not due:
        return 0
    try:
        return max(0, due - store.make_lessons(teacher, _AT_ONCE if job is not None else _COUNTED))
    except StoreFault:
        # What cannot be written now is learned later: advice does not wait for it.
        return due
