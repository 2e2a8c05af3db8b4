"""Where to check next in a kept job."""

from __future__ import annotations

from collections.abc import Sequence

from fieldnote.records import Advice, Conditions, Entry, Job, Rates
from fieldnote.store import Store
from fieldnote.suggest import Cautions, LeakMap, advise, learn, vehicle_of


def next_checks(
    store: Store, job: str | Job, leak_map: LeakMap, *, cautions: Cautions | None = None, rates: Rates | None = None
) -> Advice:
    """The candidates for the leak and the order of checks, from the entries in force and the intake of a job.

    Args:
        store: where the job is kept.
        job: the job, or its id, name or the start of either.
        leak_map: where water may come in.
        cautions: what to be careful with, shown with each step.
        rates: what closed jobs taught; the map's own rates where None.

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


def learned_rates(store: Store, leak_map: LeakMap, pack_id: str) -> Rates | None:
    """What the closed jobs of this pack taught; none where there are none.

    Raises:
        StoreFault: the data folder cannot be used.

    """
    if not store.jobs(status="closed", limit=1):
        return None
    rates = store.rates(pack_id, leak_map.hash, lambda jobs: learn(leak_map, jobs))
    return rates if rates.jobs or rates.withdrawn else None
