"""Adds words to a pack's overlay in the data folder: a spoken variant, a term, a whole place; and takes them back.

The shipped pack is never touched. tomlkit writes, so that comments and order stay as they are; before a file is put in
place the whole pack is loaded with it, strictly, so that what clashes is refused and nothing is half done. A journal
beside the files remembers each addition for ``undo``.
"""

from __future__ import annotations

import json
import shutil
import tempfile
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from hashlib import sha256
from pathlib import Path
from typing import Any, cast

import tomlkit
from tomlkit.exceptions import TOMLKitError
from tomlkit.items import AoT, Array, Table

from fieldnote.errors import BadData, Clash, NotFound, PackFault, StoreFault, UserMistake
from fieldnote.vocabulary.confusable import Confusions, confusions
from fieldnote.vocabulary.load import load_pack
from fieldnote.vocabulary.nearest import nearest
from fieldnote.vocabulary.pack import KINDS, Pack, Term, columns
from fieldnote.vocabulary.taken import refuse_taken, spoken_form

FILES = {kind: f"{kind}s.toml" for kind in KINDS} | {"quantity": "units.toml"}
"""Which file of the overlay a new row goes to; any file may hold any table."""

JOURNAL = "additions.jsonl"
_HEADER = "Words that were added here. The shipped pack stays as it is; see `fieldnote vocab add --help`."

CheckMap = Callable[[Pack, Path], object]
"""Reads a leak map with a pack and raises where it does not fit; it belongs to another room, so the caller gives it."""


@dataclass(frozen=True, slots=True)
class Added:
    """One addition as it was made. ``alike``: what the new words sound like, if anything."""

    what: str
    files: tuple[Path, ...]
    pack: Pack
    alike: Confusions


@dataclass(frozen=True, slots=True)
class Undone:
    """One addition taken back."""

    what: str
    files: tuple[Path, ...]
    left: int
    """How many additions are still there to be taken back."""


# ---- adding ---------------------------------------------------------------------------------------------------


def add_phrases(source: str | Path, home: Path, kind: str, id: str, phrases: Sequence[str], key: str = "say") -> Added:
    """Let ``phrases`` name a term that is there.

    ``kind``: place, part, state, …; ``key``: ``say``, or ``nouns``, ``verbs``, ``inside`` where the kind has them.

    Raises:
        NotFound: no such term.
        Clash: a phrase means something already.
        UserMistake: the kind, the key or a phrase cannot be used.
        BadData: the overlay or the pack cannot be used as it is.

    """
    pack = load_pack(source, home)
    _check_key(kind, key)
    term = _term(pack, kind, id)
    wanted = [spoken_form(p) for p in phrases]
    for phrase in wanted:
        if phrase in getattr(term, key):
            raise Clash(f"{phrase!r} names the {kind} {id} already", where=pack.id, do="Nothing is to be added.")
    refuse_taken(pack, wanted, own=(kind, id), kind=kind)
    edit = _Edit(pack, source, home)
    row = edit.row(kind, id)
    _extend(row, key, wanted)
    return edit.put(f"{', '.join(map(repr, wanted))} for the {kind} {id}", wanted)


def add_term(source: str | Path, home: Path, kind: str, id: str, values: Mapping[str, Any]) -> Added:
    """Add a row of its own. ``values``: the fields of that kind (``name``, ``say``, ``assembly``, …).

    Raises:
        Clash: the id or a phrase is taken.
        UserMistake: the kind, a field or a phrase cannot be used.
        BadData: the overlay or the pack cannot be used as it is.

    """
    pack = load_pack(source, home)
    edit = _Edit(pack, source, home)
    wanted = _new_row(edit, kind, id, values)
    return edit.put(f"the {kind} {id}", wanted)


def add_place(
    source: str | Path,
    home: Path,
    id: str,
    values: Mapping[str, Any],
    *,
    like: str,
    check_map: CheckMap,
    prior_prob: float | None = None,
) -> Added:
    """Add a whole new place: its row, itself as a neighbour of its neighbours, and its rows in the leak map.

    The leak map's rows are those of ``like``, a place that leaks in the same way, said of the new place; each is marked
    as an estimate in need of review. ``prior_prob``: how likely each of its sources is, where not as at ``like``.

    Raises:
        Clash: the id or a phrase is taken.
        NotFound: ``like`` is no place, or the leak map holds nothing of it.
        UserMistake: a field, a phrase or the probability cannot be used.
        BadData: the overlay, the pack or the leak map cannot be used as it is.

    """
    from fieldnote.vocabulary.map_rows import MAP_FILE, copy_rows

    pack = load_pack(source, home)
    _term(pack, "place", like)
    edit = _Edit(pack, source, home)
    wanted = _new_row(edit, "place", id, values)
    for neighbour in values.get("near", ()):
        _term(pack, "place", neighbour)
        _extend(edit.row("place", neighbour), "near", [id])
    name = str(values.get("name") or id.replace("-", " "))
    edit.texts[MAP_FILE] = copy_rows(pack, edit.current(MAP_FILE), like=like, id=id, name=name, prior_prob=prior_prob)
    return edit.put(f"the place {id}, which leaks like the {like}", wanted, check_map=check_map)


def _new_row(edit: _Edit, kind: str, id: str, values: Mapping[str, Any]) -> list[str]:
    _check_kind(kind)
    if edit.pack.entry(kind, id):
        raise Clash(f"the {kind} {id} is there already", where=edit.pack.id, do=f"Add words to it: add {kind} {id} …")
    if id != id.lower() or not id.replace("-", "").isalnum():
        raise UserMistake(f"{id!r} cannot be an id", where=kind, do="Use small letters, digits and hyphens: deck-lid.")
    fields = columns(KINDS[kind])
    wanted: list[str] = []
    row = edit.row(kind, id)
    for key, value in values.items():
        if key not in fields:
            hint = nearest(key, fields)
            raise UserMistake(
                f"a {kind} has no {key!r}", where=id, do=f"Did you mean {hint!r}?" if hint else "See DEVELOPERS.md."
            )
        if fields[key].metadata.get("spoken"):
            value = [spoken_form(p) for p in value]
            wanted.extend(value)
        if isinstance(value, list | tuple):
            _extend(row, key, value)
        else:
            row[key] = value
    if not wanted:
        raise UserMistake(f"the {kind} {id} has no words", where="say", do='Say how it is called: --say "deck lid".')
    refuse_taken(edit.pack, wanted, own=(kind, id), kind=kind)
    return wanted


def _extend(row: Table, key: str, values: Iterable[str]) -> None:
    """Add to a list after what is there, in its own layout; a new list takes one value a line."""
    array = row.get(key)
    if array is None:
        row[key] = tomlkit.array().multiline(True)
        array = row[key]
    for value in values:
        if value not in array:
            cast(Array, array).append(value)


def _check_kind(kind: str) -> None:
    if kind not in KINDS:
        hint = nearest(kind, KINDS)
        raise UserMistake(
            f"there is no kind {kind!r}",
            where="kind",
            do=f"Kinds are: {', '.join(KINDS)}." + (f" Did you mean {hint!r}?" if hint else ""),
        )


def _check_key(kind: str, key: str) -> None:
    _check_kind(kind)
    keys = [name for name, f in columns(KINDS[kind]).items() if f.metadata.get("spoken")]
    if key not in keys:
        raise UserMistake(f"a {kind} has no {key!r}", where=kind, do=f"It has: {', '.join(keys)}.")


def _term(pack: Pack, kind: str, id: str) -> Term:
    if not pack.entry(kind, id):
        hint = nearest(id, (t.id for t in pack.terms(kind)))
        raise NotFound(
            f"there is no {kind} {id!r}",
            where=pack.id,
            do=f"Did you mean {hint!r}?" if hint else "List them with: fieldnote vocab check --list.",
        )
    return pack.term(kind, id)


# ---- one edit of the overlay ------------------------------------------------------------------------------------


class _Edit:
    """Files of the overlay being changed; nothing is written before ``put`` has found that it all fits."""

    def __init__(self, pack: Pack, source: str | Path, home: Path) -> None:
        self.pack = pack
        self.source = source
        self.folder = home / "vocab" / pack.id
        self.texts: dict[str, str] = {}
        self._docs: dict[str, tomlkit.TOMLDocument] = {}

    def current(self, name: str) -> str:
        """The text of a file of the overlay as it stands; empty where there is none."""
        return _read(self.folder / name) or ""

    def row(self, kind: str, id: str) -> Table:
        """The row of the overlay with this id, made where it is not there."""
        for name in self._file_names():
            for table in self._doc(name).get(kind, ()):
                if table.get("id") == id:
                    return cast(Table, table)
        doc = self._doc(FILES[kind])
        if kind not in doc:
            doc.append(kind, tomlkit.aot())
        table = tomlkit.table()
        table["id"] = id
        cast(AoT, doc[kind]).append(table)
        return cast(AoT, doc[kind])[-1]

    def _file_names(self) -> list[str]:
        return sorted({p.name for p in self.folder.glob("*.toml")} | set(self._docs))

    def _doc(self, name: str) -> tomlkit.TOMLDocument:
        if name not in self._docs:
            text = self.current(name)
            try:
                self._docs[name] = tomlkit.parse(text) if text else _new_document()
            except TOMLKitError as error:
                raise BadData(
                    f"not valid TOML ({error})", where=str(self.folder / name), do="Mend the file by hand."
                ) from error
        return self._docs[name]

    def put(self, what: str, phrases: Sequence[str], *, check_map: CheckMap | None = None) -> Added:
        """Check everything together, write the files, note it in the journal."""
        texts = {name: tomlkit.dumps(doc) for name, doc in self._docs.items()} | self.texts
        changed = {name: text for name, text in texts.items() if text != self.current(name)}
        with tempfile.TemporaryDirectory() as scratch:
            trial = Path(scratch) / "vocab" / self.pack.id
            if self.folder.is_dir():
                shutil.copytree(self.folder, trial)
            trial.mkdir(parents=True, exist_ok=True)
            for name, text in changed.items():
                (trial / name).write_text(text, encoding="utf-8")
            try:
                tried = load_pack(self.source, Path(scratch))
            except PackFault as error:
                fault = error.faults[0]
                raise Clash(
                    f"{what} cannot be added: {fault.found}; expected {fault.expected}",
                    where=f"{fault.file}:{fault.line}",
                    do="Nothing was changed.",
                ) from error
            if check_map is not None:
                for name in changed:
                    if name not in self._docs:
                        check_map(tried, trial / name)
        _write(self.folder, what, changed)
        pack = load_pack(self.source, self.folder.parent.parent)
        return Added(what, tuple(self.folder / n for n in changed), pack, _alike(pack, phrases))


def _alike(pack: Pack, phrases: Sequence[str]) -> Confusions:
    found = confusions(pack)
    new = set(phrases)
    return Confusions(
        tuple(p for p in found.pairs if p.one.phrase in new or p.other.phrase in new),
        tuple(m for m in found.measured if m.heard.heard in new or m.heard.said in new),
        (),
    )


def _new_document() -> tomlkit.TOMLDocument:
    doc = tomlkit.document()
    doc.add(tomlkit.comment(_HEADER))
    doc.add(tomlkit.nl())
    return doc


# ---- files and journal ----------------------------------------------------------------------------------------


def _read(path: Path) -> str | None:
    try:
        return path.read_text(encoding="utf-8")
    except FileNotFoundError:
        return None
    except (OSError, UnicodeDecodeError) as error:
        raise BadData(f"cannot be read ({error})", where=str(path), do="Check the file.") from error


def _write(folder: Path, what: str, changed: Mapping[str, str]) -> None:
    entry = {
        "at": datetime.now(UTC).isoformat(timespec="seconds"),
        "what": what,
        "files": [
            {"file": name, "before": _read(folder / name), "after": _hash(text)} for name, text in changed.items()
        ],
    }
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, text in changed.items():
            _replace(folder / name, text)
        with (folder / JOURNAL).open("a", encoding="utf-8") as journal:
            journal.write(json.dumps(entry, ensure_ascii=False) + "\n")
    except OSError as error:
        raise StoreFault(
            f"the words cannot be written ({error.strerror})", where=str(folder), do="Check its permissions."
        ) from error


def _replace(path: Path, text: str) -> None:
    beside = path.with_name(path.name + ".part")
    beside.write_text(text, encoding="utf-8")
    beside.replace(path)


def _hash(text: str) -> str:
    return sha256(text.encode("utf-8")).hexdigest()


def undo(source: str | Path, home: Path) -> Undone:
    """Take the latest addition back: its files become, byte for byte, what they were before it.

    Raises:
        NotFound: there is nothing to take back.
        Clash: a file was changed by hand since; nothing is undone.
        BadData: the journal or a file cannot be used.

    """
    folder = home / "vocab" / load_pack(source).id
    lines = (_read(folder / JOURNAL) or "").splitlines()
    if not lines:
        raise NotFound("no addition is left to take back", where=str(folder), do="Edit the files by hand.")
    try:
        entry = json.loads(lines[-1])
        files = [(folder / f["file"], f["before"], f["after"]) for f in entry["files"]]
    except (ValueError, KeyError, TypeError) as error:
        raise BadData(
            f"the journal's last line cannot be read ({error})", where=str(folder / JOURNAL), do="Remove that line."
        ) from error
    for path, _, after in files:
        if _hash(_read(path) or "") != after:
            raise Clash(
                f"{path.name} was changed by hand since {entry['what']} was added",
                where=str(path),
                do="Take the line out by hand.",
            )
    for path, before, _ in files:
        if before is None:
            path.unlink()
        else:
            _replace(path, before)
    rest = lines[:-1]
    if rest:
        _replace(folder / JOURNAL, "\n".join(rest) + "\n")
    else:
        (folder / JOURNAL).unlink()
    return Undone(entry["what"], tuple(p for p, _, _ in files), len(rest))
