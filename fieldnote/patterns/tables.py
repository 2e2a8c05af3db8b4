"""Patterns as flat tables, one a figure, for spreadsheets and other programs: ids and plain numbers, no wording."""

from __future__ import annotations

import csv
import dataclasses
import io
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from fieldnote.errors import DeviceMissing
from fieldnote.records import Patterns, Share

Flat = dict[str, Any]

FIGURES = ("sources", "paths", "groups", "times", "repeats", "weeks", "empty-checks")
"""Every figure, in the order in which they are shown."""


def rows_of(patterns: Patterns, figure: str) -> Sequence[Any]:
    """The records behind one of ``FIGURES``."""
    rows: Sequence[Any] = getattr(patterns, figure.replace("-", "_"))
    return rows


def flat_rows(patterns: Patterns, figure: str) -> Iterator[Flat]:
    """One dict a row. ``jobs`` are ids with spaces between them; pairs of visits are joined by ``>``."""
    if figure == "weeks":
        for chart in patterns.weeks:
            for week in chart.weeks:
                yield {"place": chart.place, "center": chart.center, **_flat(week)}
        return
    for row in rows_of(patterns, figure):
        yield _flat(row)


def _flat(record: Any) -> Flat:
    out: Flat = {}
    for f in dataclasses.fields(record):
        value = getattr(record, f.name)
        if isinstance(value, Share):
            out |= {"count": value.count, "of": value.of, "share": value.share}
            out |= {"low": value.low, "high": value.high, "few": value.few}
        elif f.name == "jobs":
            out["jobs"] = " ".join(job if isinstance(job, str) else ">".join(job) for job in value)
        elif isinstance(value, Mapping):
            out[f.name] = " ".join(f"{key or 'unsaid'}:{count}" for key, count in value.items())
        else:
            out[f.name] = value
    return out


def as_csv(patterns: Patterns, figure: str) -> str:
    """One figure as CSV (RFC 4180) with a head line; "" where it has no rows."""
    rows = list(flat_rows(patterns, figure))
    if not rows:
        return ""
    out = io.StringIO()
    writer = csv.DictWriter(out, fieldnames=list(rows[0]), lineterminator="\r\n")
    writer.writeheader()
    writer.writerows(
        {name: round(value, 6) if isinstance(value, float) else _inert(value) for name, value in row.items()}
        for row in rows
    )
    return out.getvalue()


def as_parquet(patterns: Patterns, figure: str) -> bytes:
    """One figure as Parquet, ``jobs`` as lists of text, and what its shares are shares of in the metadata; b"" where
    it has no rows.

    Raises:
        DeviceMissing: pyarrow is not installed.

    """
    try:
        from pyarrow import Table, parquet
    except ImportError as error:
        raise DeviceMissing(
            "Parquet needs pyarrow, which is not installed",
            where="--parquet",
            do="Install it with: pip install 'fieldnote[patterns]'. CSV needs nothing more.",
        ) from error
    rows = list(flat_rows(patterns, figure))
    if not rows:
        return b""
    told = {b"of": patterns.denominators[figure].encode(), b"every": patterns.denominators["every"].encode()}
    table = Table.from_pylist([{**row, "jobs": row["jobs"].split()} for row in rows])
    out = io.BytesIO()
    parquet.write_table(table.replace_schema_metadata(told), out)
    return out.getvalue()


def _inert(value: Any) -> Any:
    """Text that a spreadsheet would take for a formula, as text (a vehicle family is whatever was typed)."""
    return f"'{value}" if isinstance(value, str) and value[:1] in "=+-@\t\r" and value else value


def denominators_csv(patterns: Patterns) -> str:
    """What the shares of each figure are shares of, as CSV."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(["figure", "of"])
    writer.writerows(patterns.denominators.items())
    return out.getvalue()
