"""Fills the row records of a leak map or of the cautions from TOML, strictly: all faults at once, with their lines."""

from __future__ import annotations

import dataclasses
import functools
import tomllib
import typing
from collections.abc import Hashable, Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, TypeVar, cast

from fieldnote.errors import BadData, Fault, NotFound
from fieldnote.vocabulary.lines import Lines

T = TypeVar("T")
_PLAIN: dict[Any, str] = {str: "text", bool: "true or false", int: "a whole number", float: "a number"}


@dataclass(frozen=True, slots=True)
class Spot:
    """Where a row stands: table, index in it, and for a row within a row the key and the index there."""

    table: str
    index: int = -1
    inner_key: str = ""
    inner_index: int = 0


@dataclass
class Reader:
    """One file being read. ``known`` maps a kind (place, part, state, access, ...) to its valid ids."""

    file: str
    text: str
    data: Mapping[str, Any]
    known: dict[str, set[str]]
    faults: list[Fault] = field(default_factory=list)
    lines: Lines = field(init=False)

    def __post_init__(self) -> None:
        self.lines = Lines(self.text)

    # -- where -------------------------------------------------------------------------------------------------

    def line(self, spot: Spot, key: str = "", value: str = "") -> int:
        """The line of a key (or of a value of it) of the row at ``spot``."""
        if spot.inner_key:
            return self._inner_line(spot)
        if spot.index < 0:
            return self.lines.of_key(spot.table, key, value) or self.lines.of_table(spot.table)
        return self.lines.of_row(spot.table, spot.index, key, value)

    def _inner_line(self, spot: Spot) -> int:
        start = self.lines.of_row(spot.table, spot.index, spot.inner_key)
        seen = -1
        for number, line in enumerate(self.text.splitlines()[start - 1 :], start):
            seen += line.split("#")[0].count("{")
            if seen >= spot.inner_index:
                return number
        return start

    def fault(self, line: int, key: str, found: str, expected: str, known: Iterable[str] = ()) -> None:
        """Note a fault; ``known`` are the valid values, of which the nearest is named."""
        # The library of likeness is loaded only where there is a fault to help with.
        from fieldnote.vocabulary.nearest import nearest

        hint = nearest(found.strip("'"), known) if known else ""
        self.faults.append(Fault(self.file, line, key, found, expected, hint))

    # -- tables ------------------------------------------------------------------------------------------------

    def check_tables(self, allowed: Iterable[str]) -> None:
        """Refuse tables that the schema does not have."""
        for table in self.data:
            if table not in allowed:
                self.fault(self.lines.of_table(table), table, repr(table), "a table of the schema", allowed)

    def single(self, table: str, record: type[T]) -> T | None:
        """The one ``[table]`` of the file, which must be there."""
        values = self.data.get(table)
        if not isinstance(values, dict):
            self.fault(self.lines.of_table(table), table, "missing", f"a table [{table}]")
            return None
        return self.fill(record, values, Spot(table))

    def rows(self, table: str, record: type[T]) -> list[tuple[Spot, T]]:
        """The rows ``[[table]]`` that can be used, with their spots; ids must not come twice."""
        value = self.data.get(table, [])
        if not isinstance(value, list):
            self.fault(self.lines.of_table(table), table, "not a list of rows", f"[[{table}]]")
            return []
        out: list[tuple[Spot, T]] = []
        seen: dict[str, int] = {}
        for index, values in enumerate(value):
            spot = Spot(table, index)
            row = self.fill(record, values, spot)
            id = str(values.get("id", ""))
            if id and id in seen:
                first = self.line(Spot(table, seen[id]), "id")
                self.fault(self.line(spot, "id"), "id", f"{id!r} again (first in line {first})", "an id of its own")
            seen.setdefault(id, index)
            if row is not None:
                out.append((spot, row))
        return out

    # -- one row -----------------------------------------------------------------------------------------------

    def fill(self, record: type[T], values: Mapping[str, Any], spot: Spot) -> T | None:
        """A record from ``values``, or nothing where there are faults (all of them noted)."""
        fields, hints = _schema(cast(Hashable, record))
        before, filled = len(self.faults), {}
        for key in values:
            if key not in fields:
                self.fault(self.line(spot, key), key, repr(key), f"a key of [{spot.table}]", fields)
        for name, f in fields.items():
            if name in values:
                filled[name] = self._value(hints[name], values[name], spot, f)
            elif f.default is dataclasses.MISSING and f.default_factory is dataclasses.MISSING:
                self.fault(self.line(spot), name, "missing", self._wanted(hints[name], f))
        return record(**filled) if len(self.faults) == before else None

    def _value(self, hint: Any, value: Any, spot: Spot, f: dataclasses.Field[Any]) -> Any:
        if hint in (float, int) and f.metadata:
            return self._number(hint, value, spot, f)
        if hint is float and isinstance(value, int) and not isinstance(value, bool):
            return float(value)
        if hint in _PLAIN:
            if type(value) is not hint:
                self.fault(self.line(spot, f.name), f.name, repr(value), _PLAIN[hint])
            else:
                self._check_words(f, [value], spot)
            return value
        if typing.get_origin(hint) is typing.Literal:
            self._check_words(f, [value], spot)
            return value
        if typing.get_origin(hint) is tuple:
            return self._list(typing.get_args(hint)[0], value, spot, f)
        return self._odds(value, spot, f)

    def _number(self, hint: Any, value: Any, spot: Spot, f: dataclasses.Field[Any]) -> Any:
        wanted = self._wanted(hint, f)
        good = isinstance(value, (int, hint)) and not isinstance(value, bool)
        if good and f.metadata.get("prob"):
            good = 0.0 <= value <= 1.0
        if good and f.metadata.get("positive"):
            good = 0.0 < value < float("inf")
        if not good:
            self.fault(self.line(spot, f.name), f.name, repr(value), wanted)
            return value
        return hint(value)

    @staticmethod
    def _wanted(hint: Any, f: dataclasses.Field[Any]) -> str:
        if f.metadata.get("prob"):
            return "a probability from 0 to 1"
        if f.metadata.get("positive"):
            return f"{_PLAIN.get(hint, 'a number')} above 0"
        return _PLAIN.get(hint, "a list")

    def _check_words(self, f: dataclasses.Field[Any], items: Iterable[Any], spot: Spot) -> None:
        ref, choices = f.metadata.get("ref"), f.metadata.get("choices")
        for item in items:
            if choices and item not in choices:
                self.fault(
                    self.line(spot, f.name, str(item)), f.name, repr(item), f"one of {', '.join(choices)}", choices
                )
            elif ref and item and item not in self.known[ref]:
                self.fault(
                    self.line(spot, f.name, str(item)), f.name, repr(item), f"the id of a {ref}", self.known[ref]
                )

    def _list(self, kind: Any, value: Any, spot: Spot, f: dataclasses.Field[Any]) -> Any:
        if not isinstance(value, list):
            self.fault(self.line(spot, f.name), f.name, repr(value), "a list")
            return ()
        if kind is str:
            if not all(isinstance(v, str) for v in value):
                self.fault(self.line(spot, f.name), f.name, repr(value), "a list of texts")
                return ()
            self._check_words(f, value, spot)
            return tuple(value)
        if not all(isinstance(v, dict) for v in value):
            self.fault(self.line(spot, f.name), f.name, repr(value), "a list of tables { … }")
            return ()
        if not dataclasses.is_dataclass(kind):
            return tuple(value)
        inner = [self.fill(cast(type, kind), v, Spot(spot.table, spot.index, f.name, i)) for i, v in enumerate(value)]
        return tuple(row for row in inner if row is not None)

    def _odds(self, value: Any, spot: Spot, f: dataclasses.Field[Any]) -> Any:
        if not isinstance(value, dict):
            self.fault(self.line(spot, f.name), f.name, repr(value), "a table of odds factors { name = number }")
            return {}
        for key, factor in value.items():
            if not isinstance(factor, (int, float)) or isinstance(factor, bool) or not 0 < factor < float("inf"):
                self.fault(self.line(spot, f.name), f"{f.name}.{key}", repr(factor), "an odds factor above 0")
        return {k: float(v) for k, v in value.items() if isinstance(v, (int, float))}


@functools.cache
def _schema(record: Hashable) -> tuple[dict[str, dataclasses.Field[Any]], dict[str, Any]]:
    """The fields of a row record by name, and their resolved types."""
    return {f.name: f for f in dataclasses.fields(cast(Any, record))}, typing.get_type_hints(record)


def open_reader(path: Path, known: dict[str, set[str]]) -> Reader:
    """Read and parse the file at ``path``.

    Raises:
        NotFound: there is no such file.
        BadData: it cannot be read, or is no TOML.

    """
    try:
        text = path.read_text(encoding="utf-8")
        data = tomllib.loads(text)
    except FileNotFoundError:
        raise NotFound("no such file", where=str(path), do="The pack needs it; install fieldnote again.") from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise BadData(f"not valid TOML ({error})", where=str(path), do="Mend the line.") from error
    except OSError as error:
        raise BadData(f"cannot be read ({error.strerror})", where=str(path), do="Check its permissions.") from error
    return Reader(path.name, text, data, known)
