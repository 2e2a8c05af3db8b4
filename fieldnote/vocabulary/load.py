"""Reads a vocabulary pack strictly: all faults at once, each with file, line, key and the nearest valid value.

A pack is a folder of TOML files; any file may hold any table (the split into places, parts and so on is for people).
An overlay in ``<data folder>/vocab/<pack>`` adds rows, or adds phrases to rows that are there; it changes nothing else.
Files and tables of other rooms (the leak map, the cautions) are left to them.
"""

from __future__ import annotations

import hashlib
import itertools
import tomllib
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, get_type_hints

from fieldnote.errors import Fault, NotFound, PackFault
from fieldnote.resources import shipped
from fieldnote.vocabulary.lines import Lines
from fieldnote.vocabulary.nearest import nearest
from fieldnote.vocabulary.pack import (
    AT_WORDS,
    KINDS,
    LISTS,
    SIDE_WORDS,
    WORD_CLASSES,
    Matching,
    Pack,
    Term,
    columns,
)

OTHER_ROOMS = frozenset({"leak_map.toml", "cautions.toml", "wording.toml", "sketch.toml", "claim.toml"})
"""Files of the same folder that ``suggest`` and ``narrate`` read."""

PACK_KEYS = ("id", "name", "version", "unit_system")
WORD_TABLES = {"words": WORD_CLASSES, "sides": SIDE_WORDS, "at": AT_WORDS}
_PLAIN = {str: "text", bool: "true or false", int: "a whole number", float: "a number"}
_SPOKEN = frozenset("abcdefghijklmnopqrstuvwxyzàâäçéèêëíîïñóôöúûüæøåß' ")


def load_pack(name_or_folder: str | Path, home: Path | None = None) -> Pack:
    """The pack of this name, or in this folder, with the overlay of the data folder ``home`` where there is one.

    Raises:
        NotFound: there is no such pack.
        PackFault: the pack cannot be used; ``faults`` lists everything that is wrong.

    """
    folder = find_pack(name_or_folder)
    reader = _Reader()
    for path in _files(folder):
        reader.read(path, overlay=False)
    pack_id = str(reader.head.get("id", folder.name))
    folders = [folder]
    added = home / "vocab" / pack_id if home is not None else None
    if added is not None and added.is_dir():
        folders.append(added)
        for path in _files(added):
            reader.read(path, overlay=True)
    return reader.finish(folder, tuple(folders))


def find_pack(name_or_folder: str | Path) -> Path:
    """The folder of a pack.

    Raises:
        NotFound: neither a folder nor a shipped pack.

    """
    folder = Path(name_or_folder)
    if folder.is_dir():
        return folder
    root = shipped("vocab")
    if (root / str(name_or_folder)).is_dir():
        return root / str(name_or_folder)
    known = sorted(p.name for p in root.iterdir() if p.is_dir())
    raise NotFound(
        f"no vocabulary pack {str(name_or_folder)!r}",
        where=str(root),
        do=f"Shipped packs: {', '.join(known)}; or give the path of a folder.",
    )


def _files(folder: Path) -> list[Path]:
    return sorted(p for p in folder.glob("*.toml") if p.name not in OTHER_ROOMS)


@dataclass
class _Row:
    """One row as read, with where it stands."""

    values: dict[str, Any]
    file: str
    table: str
    lines: Lines
    index: int

    def line(self, key: str = "", value: str = "") -> int:
        return self.lines.of_row(self.table, self.index, key, value)


@dataclass
class _Reader:
    """Collects tables and faults over all files of a pack."""

    head: dict[str, Any] = field(default_factory=dict)
    rows: dict[str, dict[str, _Row]] = field(default_factory=lambda: {k: {} for k in KINDS})
    loose: dict[str, list[_Row]] = field(default_factory=lambda: {k: [] for k in LISTS})
    words: dict[str, dict[str, list[str]]] = field(default_factory=lambda: {t: {} for t in WORD_TABLES})
    matching: dict[str, Any] = field(default_factory=dict)
    faults: list[Fault] = field(default_factory=list)
    digest: Any = field(default_factory=hashlib.sha256)

    # -- reading ------------------------------------------------------------------------------------------------

    def read(self, path: Path, *, overlay: bool) -> None:
        raw = path.read_bytes()
        self.digest.update(path.name.encode() + b"\0" + raw + b"\0")
        try:
            text = raw.decode("utf-8")
            data = tomllib.loads(text)
        except UnicodeDecodeError as error:
            self._fault(path.name, 0, "", f"byte {error.start} is no UTF-8", "a text file in UTF-8")
            return
        except tomllib.TOMLDecodeError as error:
            self._fault(path.name, _toml_line(str(error)), "", str(error), "valid TOML")
            return
        lines = Lines(text)
        known = ("pack", "matching", *WORD_TABLES, *KINDS, *LISTS)
        for table, value in data.items():
            if table == "pack" and not overlay:
                self._read_head(path.name, lines, value)
            elif table == "matching":
                self._read_matching(path.name, lines, value)
            elif table in WORD_TABLES:
                self._read_words(path.name, lines, table, value)
            elif table in KINDS or table in LISTS:
                self._read_rows(path.name, lines, table, value, overlay=overlay)
            else:
                self._fault(
                    path.name, lines.of_table(table), table, "unknown table", "a table of the schema", table, known
                )

    def _read_head(self, file: str, lines: Lines, value: Any) -> None:
        if not isinstance(value, dict):
            self._fault(file, lines.of_table("pack"), "pack", "not a table", "[pack]")
            return
        for key, text in value.items():
            line = lines.of_key("pack", key)
            if key not in PACK_KEYS:
                self._fault(file, line, key, "unknown key", "a key of [pack]", key, PACK_KEYS)
            elif not isinstance(text, str) or not text:
                self._fault(file, line, key, repr(text), "text")
            else:
                self.head[key] = text
        for key in PACK_KEYS[:2]:
            if key not in value:
                self._fault(file, lines.of_table("pack"), key, "missing", "text")

    def _read_matching(self, file: str, lines: Lines, value: Any) -> None:
        hints = get_type_hints(Matching)
        for key, number in (value if isinstance(value, dict) else {"matching": value}).items():
            line = lines.of_key("matching", key)
            if key not in hints:
                self._fault(file, line, key, "unknown key", "a key of [matching]", key, hints)
            elif isinstance(number, bool) or not isinstance(number, (int, hints[key])):
                self._fault(file, line, key, repr(number), _PLAIN[hints[key]])
            else:
                self.matching[key] = number

    def _read_words(self, file: str, lines: Lines, table: str, value: Any) -> None:
        known = WORD_TABLES[table]
        for key, phrases in (value if isinstance(value, dict) else {table: value}).items():
            line = lines.of_key(table, key)
            if key not in known:
                self._fault(file, line, f"{table}.{key}", "unknown key", f"a key of [{table}]", key, known)
                continue
            if not _texts(phrases):
                self._fault(file, line, f"{table}.{key}", repr(phrases)[:60], "a list of texts")
                continue
            for phrase in phrases:
                if not _is_spoken(phrase):
                    self._bad_phrase(file, lines.of_key(table, key, phrase), f"{table}.{key}", phrase)
            have = self.words[table].setdefault(key, [])
            have.extend(p for p in phrases if p not in have)

    def _read_rows(self, file: str, lines: Lines, table: str, value: Any, *, overlay: bool) -> None:
        if not isinstance(value, list):
            self._fault(file, lines.of_table(table), table, "not a list of rows", f"[[{table}]]")
            return
        for index, values in enumerate(value):
            row = _Row(values, file, table, lines, index)
            if not isinstance(values, dict) or not self._check_shape(row):
                continue
            if table in LISTS:
                self.loose[table].append(row)
            else:
                self._add_row(row, overlay=overlay)

    def _add_row(self, row: _Row, *, overlay: bool) -> None:
        id, table = row.values["id"], self.rows[row.table]
        before = table.get(id)
        if before is None:
            table[id] = row
        elif not overlay:
            self._fault(
                row.file, row.line("id", id), "id", f"{id!r} again (first in {before.file}:{before.line()})", "a new id"
            )
        else:
            merged = dict(before.values)
            for key, value in row.values.items():
                if isinstance(value, list):
                    merged[key] = [*merged.get(key, []), *(v for v in value if v not in merged.get(key, []))]
                elif merged.get(key, value) != value:
                    self._fault(
                        row.file, row.line(key), key, repr(value), f"{merged[key]!r}: an overlay adds and never changes"
                    )
                else:
                    merged[key] = value
            table[id] = _Row(merged, before.file, before.table, before.lines, before.index)

    # -- checks -------------------------------------------------------------------------------------------------

    def _fault(
        self, file: str, line: int, key: str, found: str, expected: str, wrong: str = "", known: Iterable[str] = ()
    ) -> None:
        self.faults.append(Fault(file, line, key, found, expected, nearest(wrong, known) if wrong else ""))

    def _check_shape(self, row: _Row) -> bool:
        """Keys and types of one row; whether it can be used further."""
        record = KINDS.get(row.table) or LISTS[row.table]
        fields, hints, good = columns(record), _hints(record), True
        for key in list(row.values):
            value = row.values[key]
            if key not in fields:
                self._fault(row.file, row.line(key), key, "unknown key", f"a key of [[{row.table}]]", key, fields)
                good = False
            elif hints[key] in _PLAIN:
                if type(value) is not hints[key]:
                    self._fault(row.file, row.line(key), key, repr(value)[:60], _PLAIN[hints[key]])
                    good = False
            elif not _texts(value):
                self._fault(row.file, row.line(key), key, repr(value)[:60], "a list of texts")
                good = False
            elif fields[key].metadata.get("spoken"):
                for phrase in value:
                    if not _is_spoken(phrase):
                        self._bad_phrase(row.file, row.line(key, phrase), key, phrase)
        if "id" in fields and not row.values.get("id"):
            self._fault(row.file, row.line(), "id", "missing", "a stable id")
            return False
        return good

    def _bad_phrase(self, file: str, line: int, key: str, phrase: str) -> None:
        self._fault(file, line, key, repr(phrase), "a phrase as spoken: lower case, digits as words, hyphens as spaces")

    def _check_references(self, row: _Row) -> None:
        record = KINDS.get(row.table) or LISTS[row.table]
        for key, f in columns(record).items():
            value = row.values.get(key)
            if not value:
                continue
            for item in value if isinstance(value, list) else [value]:
                ref, choices = f.metadata.get("ref"), f.metadata.get("choices")
                if ref and item not in self.rows[ref]:
                    self._fault(
                        row.file, row.line(key, item), key, repr(item), f"the id of a {ref}", item, self.rows[ref]
                    )
                if choices and item not in choices:
                    self._fault(
                        row.file, row.line(key, item), key, repr(item), f"one of {', '.join(choices)}", item, choices
                    )

    def _check_clashes(self) -> None:
        """The same phrase may not name two places, two parts, a place and a part, or two states of one kind."""
        taken: dict[tuple[str, str], _Row] = {}
        for kind, rows in self.rows.items():
            for row in rows.values():
                for key, phrase, slot in _claims(kind, row.values):
                    before = taken.setdefault((slot, phrase), row)
                    if before is not row:
                        self._fault(
                            row.file,
                            row.line(key, phrase),
                            key,
                            f"{phrase!r} names {before.table} {before.values['id']!r} already"
                            f" ({before.file}:{before.line()})",
                            "a phrase of its own",
                        )

    # -- the end ------------------------------------------------------------------------------------------------

    def finish(self, folder: Path, folders: tuple[Path, ...]) -> Pack:
        if not self.head:
            self._fault("pack.toml", 0, "pack", "missing", "a file pack.toml with [pack]")
        for row in [*(r for t in self.rows.values() for r in t.values()), *(r for t in self.loose.values() for r in t)]:
            self._check_references(row)
        self._check_clashes()
        if self.faults:
            many = len(self.faults)
            raise PackFault(
                f"the pack has {many} fault{'s' if many > 1 else ''}, the first: {self.faults[0]}",
                where=str(folder),
                do="List them all with: fieldnote vocab check.",
                faults=tuple(sorted(self.faults, key=lambda f: (f.file, f.line))),
            )
        return Pack(
            id=self.head["id"],
            name=self.head["name"],
            version=self.head.get("version", ""),
            unit_system=self.head.get("unit_system", ""),
            hash=self.digest.hexdigest(),
            folders=folders,
            tables={
                kind: {id: _term(KINDS[kind], row.values) for id, row in rows.items()}
                for kind, rows in self.rows.items()
            },
            lists={kind: tuple(_record(LISTS[kind], row.values) for row in rows) for kind, rows in self.loose.items()},
            words={c: tuple(self.words["words"].get(c, ())) for c in WORD_CLASSES},
            sides={c: tuple(self.words["sides"].get(c, ())) for c in SIDE_WORDS},
            at={c: tuple(self.words["at"].get(c, ())) for c in AT_WORDS},
            matching=Matching(**self.matching),
        )


_HINTS: dict[type[Any], dict[str, Any]] = {
    record: get_type_hints(record) for record in (*KINDS.values(), *LISTS.values())
}


def _hints(record: type[Any]) -> dict[str, Any]:
    return _HINTS[record]


def _claims(kind: str, values: dict[str, Any]) -> Iterable[tuple[str, str, str]]:
    """What a row lays claim to: key, phrase, and the slot in which the phrase must be its own."""
    if kind in ("place", "part"):
        slots = ["thing"]
    elif kind == "state":
        slots = [f"state.{k}" for k in values.get("kinds", ())]
    else:
        slots = [kind]
    for key in ("say", "nouns", "verbs", "inside"):
        for phrase in dict.fromkeys(values.get(key, ())):
            for slot in slots:
                # A verb and an adjective may be spelled alike ("clean", "clear"): they are told apart by their use.
                yield key, phrase, f"{slot}.verb" if key == "verbs" else slot


def _record(record: type[Any], values: dict[str, Any]) -> Any:
    return record(**{k: tuple(v) if isinstance(v, list) else v for k, v in values.items()})


def _term(record: type[Term], values: dict[str, Any]) -> Term:
    filled = dict(values)
    filled.setdefault("name", str(filled["id"]).replace("-", " "))
    filled.setdefault("plural", filled["name"] + "s")
    term: Term = _record(record, filled)
    return term


def _is_spoken(phrase: str) -> bool:
    return bool(phrase) and phrase == " ".join(phrase.split()) and _SPOKEN.issuperset(phrase)


def _texts(value: Any) -> bool:
    return isinstance(value, list) and all(isinstance(v, str) for v in value)


def _toml_line(message: str) -> int:
    """The line that tomllib names in its message."""
    words = message.replace(",", " ").replace(")", " ").split()
    for word, after in itertools.pairwise(words):
        if word == "line" and after.isdigit():
            return int(after)
    return 0
