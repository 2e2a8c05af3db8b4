"""How long a search takes over many jobs.

    python -m tests.bench.search [JOBS] [FOLDER]

Makes a store of plausible jobs (100,000 of 15 entries unless told otherwise) in FOLDER, or uses the one that is there,
then times each search 15 times: the first on a connection just opened, the others on the same one.
"""

from __future__ import annotations

import statistics
import sys
import tempfile
import time
from pathlib import Path

from fieldnote.store import Query, Store
from fieldnote.suggest import load_map
from fieldnote.vocabulary import load_pack
from tests.bench.filling import fill
from tests.bench.plausible_jobs import plausible_jobs

QUERIES = {
    "one common word": Query("seam"),
    "two common words": Query("seam dry"),
    "three common words": Query("left seam leaked"),
    "a phrase": Query('"tail lamp"'),
    "an unfinished word": Query("weatherst"),
    "one letter, unfinished": Query("w"),
    "common words that seldom meet": Query("sunroof antenna hood cowl"),
    "a word that never occurs": Query("zebra"),
    "a finding": Query(state="pinhole"),
    "place and finding": Query(place="liftgate-trough", state="skip"),
    "place, part, finding, side": Query(place="a-pillar", part="seam", state="gap", side="left"),
    "a finding that no entry has": Query(place="hood", state="punctured"),
    "a month": Query("seam", since="2023-05", until="2023-05"),
    "before a day": Query("seam", until="2022-01-01"),
    "only open ones": Query("seam", status="open"),
    "open ones of a place": Query(place="tail-lamp", status="open"),
}


def main(count: int, folder: Path) -> None:
    store = Store(folder)
    have = len(store.jobs(limit=count))
    if have < count:
        started = time.perf_counter()
        pack = load_pack("body-leaks")
        fill(store, plausible_jobs(load_map(pack), count))
        print(f"wrote {count} jobs in {time.perf_counter() - started:.0f} s")
    vin = store.job(store.jobs(limit=1, until="2024-01-01")[0].id).intake.vin or ""
    queries = QUERIES | {"a VIN": Query(vin), "the end of a VIN": Query(vin[-6:])}
    print(f"{count} jobs, {store.path.stat().st_size / 1e6:.0f} MB")
    print(f"{'search':34}{'hits':>6}{'first ms':>10}{'median ms':>11}{'worst ms':>10}")
    for name, query in queries.items():
        with Store(folder) as fresh:
            times = []
            for _ in range(15):
                started = time.perf_counter()
                hits = fresh.search(query)
                times.append((time.perf_counter() - started) * 1e3)
        print(f"{name:34}{len(hits):6}{times[0]:10.1f}{statistics.median(times):11.1f}{max(times[1:]):10.1f}")
    started = time.perf_counter()
    store.jobs(limit=50)
    print(f"{'job list':34}{'':6}{(time.perf_counter() - started) * 1e3:10.1f}")
    store.close()


if __name__ == "__main__":
    wanted = int(sys.argv[1]) if len(sys.argv) > 1 else 100_000
    if len(sys.argv) > 2:
        main(wanted, Path(sys.argv[2]))
    else:
        with tempfile.TemporaryDirectory() as made:
            main(wanted, Path(made))
