"""One job as JSON that another store can take in, and the merging of it.

What a job consists of only ever grows: sound, hearings, changes, frozen write-ups. Merging is the union of both, and
wherever one of two has to be chosen, the choice depends on the two alone (never on which came first). So any number of
stores that exchange their jobs in any order come to the same jobs.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from fieldnote.errors import BadData, FieldnoteError
from fieldnote.records import PHOTO_KINDS
from fieldnote.store import entry_rows, job_rows, search, word_rows
from fieldnote.store.database import Database
from fieldnote.store.identity import canonical, digest_of
from fieldnote.store.job_rows import first
from fieldnote.store.rows import edit_from_row, entry_from_json, entry_to_json, intake_from_json, version_from_row

_HASH = re.compile(r"[0-9a-f]{64}")
ELSEWHERE = "elsewhere"
"""In place of the time at which a sound was let go: it is on the machine that the job came from."""

_TEXT, _MAYBE_TEXT, _NUMBER, _MAYBE_NUMBER = (str,), (str, type(None)), (int, float), (int, float, type(None))
_SHAPES: dict[str, dict[str, tuple[type, ...]]] = {
    "job": {"id": _TEXT, "created_at": _TEXT, "opened": _TEXT},
    "sound": {"sha256": _TEXT, "path": _TEXT, "bytes": (int,), "let_go_at": _MAYBE_TEXT},
    "clip": {
        "id": _TEXT, "job_id": _TEXT, "sha256": _TEXT, "source": _TEXT, "duration_s": _NUMBER, "rate_hz": (int,),
        "channels": (int,), "started_at": _MAYBE_TEXT, "order_key": _TEXT,
    },
    "hearing": {
        "id": _TEXT, "job_id": _TEXT, "clip_id": _MAYBE_TEXT, "source": _TEXT, "engine": _TEXT, "person": _MAYBE_TEXT,
        "at": _TEXT, "machine": _TEXT, "heard_to_s": _NUMBER, "done": (int,),
    },
    "engine_settings": {"id": _TEXT, "body": _TEXT},
    "utterance": {
        "hearing_id": _TEXT, "id": _TEXT, "job_id": _TEXT, "order_key": _TEXT, "text": _TEXT, "from_s": _MAYBE_NUMBER,
        "to_s": _MAYBE_NUMBER, "confidence": _MAYBE_NUMBER, "words": _MAYBE_TEXT, "alternatives": _MAYBE_TEXT,
        "engine": _TEXT, "settings_id": _TEXT,
    },
    "edit": {
        "id": _TEXT, "job_id": _TEXT, "entry_id": _TEXT, "action": _TEXT, "field": _MAYBE_TEXT, "before": _MAYBE_TEXT,
        "after": _MAYBE_TEXT, "person": _TEXT, "at": _TEXT, "quote": _TEXT, "machine": _TEXT, "turn": (int,),
        "follows": _TEXT,
    },
    "version": {
        "id": _TEXT, "job_id": _TEXT, "number": (int,), "hash": _TEXT, "made_at": _TEXT, "person": _TEXT,
        "narrative": _TEXT,
    },
    "extraction": {
        "job_id": _TEXT, "pack": _TEXT, "pack_hash": _TEXT, "extractor": _TEXT, "made_at": _TEXT, "words_hash": _TEXT,
        "utterances": (int,),
    },
    "photo": {
        "id": _TEXT, "job_id": _TEXT, "entry_id": _MAYBE_TEXT, "kind": _TEXT, "sha256": _TEXT, "path": _TEXT,
        "bytes": (int,), "width": (int,), "height": (int,), "added_at": _TEXT, "person": _TEXT, "machine": _TEXT,
        "deleted_at": _MAYBE_TEXT,
    },
    "leftover": {
        "job_id": _TEXT, "position": (int,), "utterance_id": _TEXT, "start": (int,), "end": (int,), "text": _TEXT,
    },
}  # fmt: skip
_LISTS = (
    "sound",
    "clip",
    "engine_settings",
    "hearing",
    "utterance",
    "edit",
    "version",
    "leftover",
    "extraction",
    "photo",
)
_JSON_COLUMNS = {
    "engine_settings": ("body",),
    "utterance": ("words", "alternatives"),
    "edit": ("follows",),
    "version": ("narrative",),
}

Portable = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Merged:
    """What taking in one job did. ``new``: the job was not here; ``stale``: its entries must be made anew."""

    job_id: str
    name: str
    new: bool
    clips: int
    utterances: int
    edits: int
    differences: int
    stale: bool

    @property
    def added(self) -> int:
        """How many pieces were not here before."""
        return int(self.new) + self.clips + self.utterances + self.edits


def write_job(db: Database, job_id: str, *, photos: bool = False) -> Portable:
    """A job with everything that belongs to it; its photos only where they are asked for."""
    queries = {
        "sound": "SELECT DISTINCT sound.* FROM sound JOIN clip USING (sha256) WHERE job_id = ? ORDER BY sha256",
        "engine_settings": """SELECT DISTINCT engine_settings.* FROM engine_settings
            JOIN utterance ON settings_id = engine_settings.id WHERE job_id = ? ORDER BY engine_settings.id""",
        "clip": "SELECT * FROM clip WHERE job_id = ? ORDER BY id",
        "hearing": "SELECT * FROM hearing WHERE job_id = ? ORDER BY id",
        "utterance": "SELECT * FROM utterance WHERE job_id = ? ORDER BY hearing_id, id",
        "edit": "SELECT * FROM edit WHERE job_id = ? ORDER BY turn, at, id",
        "version": "SELECT * FROM version WHERE job_id = ? ORDER BY number, made_at, id",
        "extraction": "SELECT * FROM extraction WHERE job_id = ?",
        "leftover": "SELECT * FROM leftover WHERE job_id = ? ORDER BY position",
    }
    out: Portable = {"job": _shaped("job", first(db, "SELECT * FROM job WHERE id = ?", [job_id]) or {})}
    for table, sql in queries.items():
        out[table] = [_shaped(table, row) for row in db.query(sql, [job_id])]
    rows = db.query("SELECT * FROM photo WHERE job_id = ? ORDER BY id", [job_id]) if photos else ()
    out["photo"] = [_shaped("photo", row) for row in rows]
    out["said"] = [entry_to_json(entry) for entry in entry_rows.said_entries(db, job_id)]
    return out


def _shaped(table: str, row: Mapping[str, Any]) -> dict[str, Any]:
    return {name: row[name] for name in _SHAPES[table]}


def read_job(value: Any, where: str) -> Portable:
    """The same, from outside: every field is there, is known, and is of its type.

    Raises:
        BadData: something is not as ``write_job`` writes it.

    """
    if isinstance(value, dict):
        value = {"photo": [], **value}  # bundles of before photos have no such list
    if not isinstance(value, dict) or set(value) != {"job", "said", *_LISTS}:
        raise _unfit("it is not a job as fieldnote writes one", where)
    job_id = _check_row("job", value["job"], where)["id"]
    for table in _LISTS:
        if not isinstance(value[table], list):
            raise _unfit(f"{table} is not a list", where)
        for row in value[table]:
            _check_row(table, row, where)
            if row.get("job_id", job_id) != job_id:
                raise _unfit(f"{table} belongs to another job", where)
    if len(value["extraction"]) > 1 or not isinstance(value["said"], list):
        raise _unfit("its entries are not as fieldnote writes them", where)
    try:
        opened = json.loads(value["job"]["opened"])
        intake_from_json(opened["intake"])
        if not all(isinstance(opened[name], str) for name in ("name", "status", "pack")):
            raise TypeError("name, status or pack is no text")
        for row in value["edit"]:
            edit_from_row(row)
        for row in value["version"]:
            version_from_row(row)
        for entry in value["said"]:
            entry_from_json(entry)
        for row in value["photo"]:
            if row["kind"] not in PHOTO_KINDS or not _HASH.fullmatch(row["sha256"]):
                raise TypeError("this is no photo")
    except (TypeError, ValueError, KeyError, AttributeError) as error:
        raise _unfit(f"something in it cannot be read ({error})", where) from error
    return value


def _check_row(table: str, row: Any, where: str) -> dict[str, Any]:
    shape = _SHAPES[table]
    if not isinstance(row, dict) or set(row) != set(shape):
        raise _unfit(f"a row of {table} has other fields", where)
    for name, types in shape.items():
        if not isinstance(row[name], types) or (isinstance(row[name], bool)):
            raise _unfit(f"{table}.{name} is {row[name]!r}", where)
    for name in _JSON_COLUMNS.get(table, ()):
        try:
            json.loads(row[name] or "[]")
        except ValueError as error:
            raise _unfit(f"{table}.{name} is not JSON", where) from error
    return row


def _unfit(what: str, where: str) -> FieldnoteError:
    return BadData(what, where=where, do="Export the job again; nothing was taken in.")


def merge_job(db: Database, value: Portable, sound_paths: Mapping[str, str]) -> Merged:
    """Take a job in, inside ``atomic``.

    Args:
        db: the store's database.
        value: as ``read_job`` gives it.
        sound_paths: for each sound that is on the shelf now, its path below the data folder.

    Raises:
        BadData: the store has another job under this id.

    """
    job = value["job"]
    job_id = job["id"]
    before = _counts(db, job_id)
    there = first(db, "SELECT opened, created_at FROM job WHERE id = ?", [job_id])
    if there is None:
        job_rows.insert_job(db, job_id, job["created_at"], json.loads(job["opened"]))
    elif (there["opened"], there["created_at"]) != (canonical(json.loads(job["opened"])), job["created_at"]):
        raise _unfit("the store has another job under this id", job_id)
    for row in value["sound"]:
        _merge_sound(db, row, sound_paths.get(row["sha256"]))
    db.table("engine_settings").insert_all(value["engine_settings"], ignore=True)
    for row in value["clip"]:
        _keep_smaller(db, "clip", ("id",), row, "order_key")
    for row in value["hearing"]:
        _merge_hearing(db, row)
    for row in value["utterance"]:
        _keep_smaller(db, "utterance", ("hearing_id", "id"), row, "order_key")
    for row in value["clip"]:
        word_rows.choose_current(db, row["id"])
    db.table("edit").insert_all(value["edit"], ignore=True)
    db.table("version").insert_all(value["version"], ignore=True)
    for row in value["photo"]:
        _merge_photo(db, row, sound_paths.get(row["sha256"]))
    _merge_extraction(db, job_id, value)
    job_rows.refresh_header(db, job_id, entry_rows.edits_of(db, job_id))
    search.index_job(db, job_id)
    return _report(db, job_id, before, new=there is None)


def _report(db: Database, job_id: str, before: Sequence[int], *, new: bool) -> Merged:
    clips, utterances, edits = (now - then for now, then in zip(_counts(db, job_id), before, strict=True))
    row = first(db, "SELECT name FROM job WHERE id = ?", [job_id])
    made = first(db, "SELECT words_hash FROM extraction WHERE job_id = ?", [job_id])
    words, count = word_rows.words_hash_of(db, job_id)
    return Merged(
        job_id,
        str(row["name"]) if row else "",
        new,
        clips,
        utterances,
        edits,
        differences=len(entry_rows.in_force(db, job_id).differences),
        stale=count > 0 and (made is None or made["words_hash"] != words),
    )


def _counts(db: Database, job_id: str) -> list[int]:
    return [db.table(table).count_where("job_id = ?", [job_id]) for table in ("clip", "utterance", "edit")]


def _merge_sound(db: Database, row: Mapping[str, Any], path: str | None) -> None:
    """A sound is here where any of the stores had it and sent it along."""
    if path is not None:
        db.table("sound").insert({**row, "path": path, "let_go_at": None}, ignore=True)
        db.execute("UPDATE sound SET path = ?, let_go_at = NULL WHERE sha256 = ?", [path, row["sha256"]])
        return
    db.table("sound").insert({**row, "let_go_at": row["let_go_at"] or ELSEWHERE}, ignore=True)
    # Of two that lack it, the one that let it go on purpose knows more ("2026…" sorts before "elsewhere").
    db.execute(
        "UPDATE sound SET let_go_at = min(let_go_at, ?) WHERE sha256 = ? AND let_go_at IS NOT NULL",
        [row["let_go_at"] or ELSEWHERE, row["sha256"]],
    )


def _merge_photo(db: Database, row: Mapping[str, Any], path: str | None) -> None:
    """A photo that came along is here; one that was deleted on any machine is deleted on all of them."""
    if path is None and row["deleted_at"] is None:
        return
    # Never the path that came along: files are deleted by it.
    own = path or f"photo/{row['sha256'][:2]}/{row['sha256']}.jpg"
    db.table("photo").insert({**row, "path": own}, ignore=True)
    if row["deleted_at"] is not None:
        deleted = "UPDATE photo SET deleted_at = min(coalesce(deleted_at, ?), ?) WHERE id = ?"
        db.execute(deleted, [row["deleted_at"], row["deleted_at"], row["id"]])


def _merge_hearing(db: Database, row: Mapping[str, Any]) -> None:
    """The same hearing from two stores: the earlier beginning (of a text read in twice), and how far it got at most."""
    _keep_smaller(db, "hearing", ("id",), {**row, "current": 1}, "at", but=("heard_to_s", "done", "current"))
    db.execute(
        "UPDATE hearing SET heard_to_s = max(heard_to_s, ?), done = max(done, ?) WHERE id = ?",
        [row["heard_to_s"], row["done"], row["id"]],
    )


def _keep_smaller(
    db: Database,
    table: str,
    key: tuple[str, ...],
    row: Mapping[str, Any],
    by: str,
    *,
    but: tuple[str, ...] = (),
) -> None:
    """Insert a row; where another stands under its key, the smaller by ``by`` (then by all of it) stays."""
    where = " AND ".join(f"{name} = ?" for name in key)
    there = first(db, f"SELECT * FROM {table} WHERE {where}", [row[name] for name in key])
    if there is None:
        db.table(table).insert(dict(row))
        return
    compared = [name for name in row if name not in (*key, *but)]

    def rank(candidate: Mapping[str, Any]) -> tuple[Any, str]:
        return candidate[by], canonical([candidate[name] for name in compared])

    if rank(row) < rank(there):
        setting = ", ".join(f'"{name}" = ?' for name in compared)
        values = [row[name] for name in compared] + [row[name] for name in key]
        db.execute(f"UPDATE {table} SET {setting} WHERE {where}", values)


def _merge_extraction(db: Database, job_id: str, value: Portable) -> None:
    """Of two makings of the entries the one from more words stays, then the later; changes are replayed either way."""
    here = first(db, "SELECT * FROM extraction WHERE job_id = ?", [job_id])
    said = entry_rows.said_entries(db, job_id)
    given = value["extraction"][0] if value["extraction"] else None
    if given is not None and (
        here is None or _rank(given, value["said"]) > _rank(here, [entry_to_json(entry) for entry in said])
    ):
        db.table("extraction").insert(given, pk="job_id", replace=True)
        db.execute("DELETE FROM leftover WHERE job_id = ?", [job_id])
        db.table("leftover").insert_all(value["leftover"])
        said = tuple(entry_from_json(entry) for entry in value["said"])
    entry_rows.write_entries(db, job_id, said)


def _rank(made: Mapping[str, Any], said: Sequence[Any]) -> tuple[int, str, str]:
    return made["utterances"], made["made_at"], digest_of([dict(made), list(said)])
