"""How the summaries of many jobs are best kept for patterns: the measurement that decided.

    python -m tests.bench.pattern_layouts FOLDER

FOLDER holds jobs (``python -m tests.bench.search 100000 FOLDER`` makes them). The same visits are laid out in several
ways, and the same counts are made of each: jobs by source, by where it showed and came in, by family, model year and
build month and source, by week and place, and checks that found nothing. Seconds of the process's own work; the middle
of five runs. What a way needs before it can answer (a Parquet file that follows the store) is told beside it.
"""

from __future__ import annotations

import os
import sqlite3
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import duckdb
import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from fieldnote.flow.recurring import summaries
from fieldnote.flow.rooms import Rooms
from fieldnote.patterns.chosen import Chosen, Survey
from fieldnote.patterns.empty_checks import empty_checks
from fieldnote.patterns.packing import Columns
from fieldnote.patterns.sources import groups, paths, sources
from fieldnote.patterns.weeks import week_charts
from fieldnote.store import summary_rows

ROUNDS = 5
WATER = 2
WEEK = 604_800_000_000
TABLES = {
    "visit": ("n", "opened", "family", "model_year", "build_month", "role"),
    "leak": ("n", "place", "part", "grade"),
    "sign": ("n", "place"),
    "checked": ("n", "test", "place", "part", "method", "made", "empty", "minutes"),
}
QUERIES = {
    "sources": f"SELECT place, part, count(DISTINCT n) FROM leak WHERE grade >= {WATER} GROUP BY place, part",
    "paths": f"""SELECT sign.place, leak.place, count(DISTINCT leak.n) FROM leak JOIN sign ON sign.n = leak.n
      WHERE grade >= {WATER} GROUP BY sign.place, leak.place""",
    **{
        by: f"""SELECT {by}, place, part, count(DISTINCT leak.n) FROM leak JOIN visit ON visit.n = leak.n
      WHERE grade >= {WATER} AND {by} > 0 GROUP BY {by}, place, part"""
        for by in ("family", "model_year", "build_month")
    },
    "weeks": f"""SELECT CAST(floor(opened / {WEEK}.0) AS INTEGER), place, count(DISTINCT leak.n)
      FROM leak JOIN visit ON visit.n = leak.n WHERE grade >= {WATER}
      GROUP BY CAST(floor(opened / {WEEK}.0) AS INTEGER), place""",
    "empty checks": """SELECT test, place, part, method, sum(made), sum(empty), sum(minutes) FROM checked
      GROUP BY test, place, part, method""",
}


def tables_of(columns: Columns) -> dict[str, pa.Table]:
    """The visits as four flat tables."""
    numbered = {
        "visit": (columns.head, np.arange(len(columns.head))), "leak": (columns.leaks, columns.leak_of),
        "sign": (columns.signs, columns.sign_of), "checked": (columns.checks, columns.check_of),
    }  # fmt: skip
    return {
        name: pa.table({c: of if c == "n" else np.ascontiguousarray(rows[c]) for c in TABLES[name]})
        for name, (rows, of) in numbered.items()
    }


def own_s() -> float:
    """Seconds that this process has worked."""
    return sum(os.times()[:2])


def measure(name: str, work: Callable[[], Any], note: str = "") -> Any:
    """Run ``work`` some times and print the middle of its times; gives its last result."""
    by_clock, own = [], []
    for _ in range(ROUNDS):
        began, used = time.perf_counter(), own_s()
        result = work()
        by_clock.append(time.perf_counter() - began)
        own.append(own_s() - used)
    print(f"{name:52}{statistics.median(own):8.2f}{statistics.median(by_clock):8.2f}{min(by_clock):8.2f}  {note}")
    return result


def all_of(run: Callable[[str], Any]) -> dict[str, int]:
    """Every query; gives how many rows each has."""
    return {name: len(run(sql)) for name, sql in QUERIES.items()}


def in_sqlite(path: Path, tables: dict[str, pa.Table]) -> sqlite3.Connection:
    """Flat tables in a SQLite file, with the indexes that the queries want."""
    db = sqlite3.connect(path)
    for name, columns in TABLES.items():
        db.execute(f"CREATE TABLE {name} ({', '.join(columns)})")
        rows = zip(*(tables[name][c].to_pylist() for c in columns), strict=True)
        db.executemany(f"INSERT INTO {name} VALUES ({', '.join('?' for _ in columns)})", rows)
    db.execute("CREATE INDEX leak_by_source ON leak (place, part, grade, n)")
    db.execute("CREATE INDEX leak_by_visit ON leak (n, grade, place, part)")
    db.execute("CREATE INDEX sign_by_visit ON sign (n, place)")
    db.execute("CREATE UNIQUE INDEX visit_by_n ON visit (n, family, model_year, build_month, opened)")
    db.execute("CREATE INDEX checked_by_kind ON checked (test, place, part, method, made, empty, minutes)")
    db.execute("ANALYZE")
    db.commit()
    return db


def main(folder: Path, made: Path) -> None:
    """Print the table."""
    rooms = Rooms(folder)
    columns = summaries(rooms)
    settings = rooms.settings.patterns
    tables = tables_of(columns)
    print(f"{len(columns.head)} jobs, {len(columns.leaks)} leaks, {len(columns.checks)} kinds of check")
    print(f"{'':52}{'own s':>8}{'median':>8}{'best':>8}")

    def packed() -> Columns:
        with rooms.store.reading() as db:
            from fieldnote.patterns.packing import unpack

            return unpack(summary_rows.rows(db, rooms.pack.id), summary_rows.words(db))

    def figures(read: Columns) -> dict[str, int]:
        chosen = Chosen(read, Survey())
        found = sources(chosen, settings)
        return {
            "sources": len(found), "paths": len([p for p in paths(chosen) if p.showed]),
            "groups": len(groups(chosen, found, settings)), "weeks": len(week_charts(chosen, settings)),
            "empty checks": len(empty_checks(chosen, settings)),
        }  # fmt: skip

    measure("packed in the store, numpy: read", packed)
    kept = measure("packed in the store, numpy: read and all counts", lambda: figures(packed()), "with the jobs behind")
    db = in_sqlite(made / "flat.db", tables)
    flat = measure("flat tables in SQLite, SQL in place", lambda: all_of(lambda sql: db.execute(sql).fetchall()))
    duck = duckdb.connect()
    duck.execute("SET threads = 2")
    for name, table in tables.items():
        pq.write_table(table, made / f"{name}.parquet")
        duck.execute(f"CREATE VIEW {name} AS SELECT * FROM read_parquet('{made / name}.parquet')")
    parquet = measure("Parquet, DuckDB", lambda: all_of(lambda sql: duck.execute(sql).fetchall()))
    measure(
        "  writing Parquet anew from the store",
        lambda: [pq.write_table(t, made / f"{n}.parquet") for n, t in tables_of(packed()).items()],
        "after every change",
    )

    def over_sqlite() -> dict[str, int]:
        over = duckdb.connect()
        over.execute("SET threads = 2")
        for name, names in TABLES.items():
            rows = db.execute(f"SELECT * FROM {name}").fetchall()
            over.register(name, pa.table(dict(zip(names, map(pa.array, zip(*rows, strict=True)), strict=True))))
        return all_of(lambda sql: over.execute(sql).fetchall())

    measure("flat tables in SQLite, fetched into DuckDB", over_sqlite, "its SQLite reader needs a download")
    assert flat == parquet, (flat, parquet)
    assert kept["sources"] == flat["sources"] and kept["paths"] == flat["paths"]
    assert kept["groups"] == sum(flat[by] for by in ("family", "model_year", "build_month"))


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as scratch:
        main(Path(sys.argv[1]), Path(scratch))
