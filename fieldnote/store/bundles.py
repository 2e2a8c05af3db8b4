"""Bundles: jobs with their sound in one ZIP file, to move them between machines.

``bundle.json`` (what is in it, and the SHA-256 of every other member), ``jobs/ID.json``, ``sound/HASH.ext``, and where
they were asked for ``photo/HASH.jpg``. A bundle
comes from outside and is read as such: only these names, only plain files, no more bytes than announced, every hash
right, every row of the right shape; and all of it is checked before anything is taken in.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import stat
import uuid
import zipfile
import zlib
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fieldnote.errors import BadData, NotFound, UserMistake, WrongHash
from fieldnote.store.faults import file_fault
from fieldnote.store.identity import compact, now
from fieldnote.store.portable import Merged, Portable, merge_job, read_job, write_job

if TYPE_CHECKING:
    from fieldnote.store.store import Store

FORMAT = "fieldnote jobs"
VERSION = 1
_CONTENTS = "bundle.json"
_JOB = re.compile(r"jobs/(j[0-9a-z]{12})\.json")
_PHOTO = re.compile(r"photo/([0-9a-f]{64})(\.jpg)")
_SOUND = re.compile(r"sound/([0-9a-f]{64})(\.[a-z0-9]{1,8})?")
_FIXED_DATE = (1980, 1, 1, 0, 0, 0)
"""A ZIP has no time before this one; the same job gives the same bytes."""
_CHUNK = 1 << 20
_MOST_MEMBERS = 500_000
_MOST_TEXT_BYTES = 256_000_000
"""Of one job or of the contents: a job of a thousand utterances has about two million."""
_MOST_RATIO = 200
"""Of a text to its packed form; ours come to about 10."""

Progress = Callable[[float, str], None]


@dataclass(frozen=True, slots=True)
class Taken:
    """What taking in a bundle did: one report a job, and how many sounds were new."""

    jobs: tuple[Merged, ...]
    sounds: int


# ---- writing ----------------------------------------------------------------------------------------------------


def write_bundle(
    store: Store,
    job_ids: Sequence[str],
    out: Path,
    *,
    sound: bool = True,
    photos: bool = False,
    progress: Progress | None = None,
) -> None:
    """Write jobs into a bundle, with their photos where these are asked for; it is whole or absent.

    Raises:
        BadData: a sound is not what its hash says.
        StoreFault: the file cannot be written.

    """
    told = progress or (lambda share, doing: None)
    part = out.with_name(f".{out.name}.{uuid.uuid4().hex}")
    try:
        with zipfile.ZipFile(part, "w", zipfile.ZIP_DEFLATED) as bundle:
            hashes: dict[str, str] = {}
            for number, job_id in enumerate(job_ids):
                told(number / len(job_ids), f"job {number + 1} of {len(job_ids)}")
                with store.reading() as db:
                    job = write_job(db, job_id, photos=photos)
                _add_text(bundle, f"jobs/{job_id}.json", compact(job), hashes)
                if sound:
                    for row in job["sound"]:
                        _add_sound(bundle, store.home, row, hashes)
                for row in job["photo"]:
                    _add_sound(bundle, store.home, {**row, "let_go_at": row["deleted_at"]}, hashes, "photo")
            contents = {
                "format": FORMAT,
                "version": VERSION,
                "made_at": now(),
                "machine": store.machine,
                "jobs": list(job_ids),
                "files": hashes,
            }
            _add_text(bundle, _CONTENTS, compact(contents), {})
        with part.open("rb+") as written:
            os.fsync(written.fileno())
        part.replace(out)
        told(1.0, "done")
    except OSError as error:
        raise file_fault(error, out) from error
    finally:
        part.unlink(missing_ok=True)


def _add_text(bundle: zipfile.ZipFile, name: str, text: str, hashes: dict[str, str]) -> None:
    data = text.encode()
    hashes[name] = hashlib.sha256(data).hexdigest()
    member = zipfile.ZipInfo(name, _FIXED_DATE)
    member.compress_type = zipfile.ZIP_DEFLATED
    bundle.writestr(member, data)


def _add_sound(
    bundle: zipfile.ZipFile, home: Path, row: dict[str, Any], hashes: dict[str, str], what: str = "sound"
) -> None:
    """Add a sound (or photo) where it is here; one that was let go travels as a row alone."""
    path = home / row["path"]
    name = f"{what}/{path.name}"
    if name in hashes or row["let_go_at"] is not None or not path.is_file():
        return
    member = zipfile.ZipInfo(name, _FIXED_DATE)
    member.compress_type = zipfile.ZIP_STORED  # sound hardly packs
    member.file_size = row["bytes"]
    digest = hashlib.sha256()
    with path.open("rb") as reader, bundle.open(member, "w") as writer:
        while chunk := reader.read(_CHUNK):
            digest.update(chunk)
            writer.write(chunk)
    if digest.hexdigest() != row["sha256"]:
        raise WrongHash(
            f"this {what} is not what it was when it was kept",
            where=str(path),
            do=f"Run `fieldnote store check`; leave it out with --no-{what if what == 'sound' else 'photos'}.",
        )
    hashes[name] = row["sha256"]


# ---- reading ----------------------------------------------------------------------------------------------------


def read_bundle(store: Store, path: Path, *, progress: Progress | None = None) -> Taken:
    """Take the jobs of a bundle into the store: all of them, or none.

    Raises:
        NotFound: there is no such file.
        BadData: it is no bundle, is damaged, or holds what no bundle holds.
        StoreFault: the data folder cannot be used.

    """
    told = progress or (lambda share, doing: None)
    with _opened(path) as bundle:
        members = _members(bundle, path)
        contents = _contents(bundle, members, path)
        hashes: dict[str, str] = contents["files"]
        jobs = [_read_one(bundle, members[name], hashes[name], path) for name in hashes if _JOB.fullmatch(name)]
        sounds = [name for name in hashes if _SOUND.fullmatch(name)]
        kept = []
        try:
            for number, name in enumerate(sounds):
                told(0.9 * number / len(sounds), f"sound {number + 1} of {len(sounds)}")
                kept.append(_keep_sound(store, bundle, members[name], path))
            pictures = []
            for name in (name for name in hashes if _PHOTO.fullmatch(name)):
                pictures.append(_keep_sound(store, bundle, members[name], path))
                kept.append(pictures[-1])
            paths = {one.sha256: one.path for one in kept} | _on_the_shelf(store, jobs)
            told(0.9, "putting the jobs together")
            with store.atomic() as db:
                merged = tuple(merge_job(db, job, paths) for job in jobs)
        except BaseException:
            for one in kept:
                store.drop_unclaimed(one)
            raise
    told(1.0, "done")
    return Taken(merged, sum(1 for one in kept if one.new and one not in pictures))


@contextmanager
def _opened(path: Path) -> Iterator[zipfile.ZipFile]:
    if path.is_dir():
        raise UserMistake("this is a folder", where=str(path), do="Name the bundle itself.")
    try:
        with zipfile.ZipFile(path) as bundle:
            yield bundle
    except FileNotFoundError as error:
        raise NotFound("there is no such file", where=str(path), do="Check the name.") from error
    except (zipfile.BadZipFile, zipfile.LargeZipFile, EOFError, NotImplementedError, zlib.error) as error:
        raise _refused(f"this is no bundle, or it is damaged ({error})", path) from error
    except PermissionError as error:
        raise UserMistake("this file cannot be read", where=str(path), do="Check its permissions.") from error


def _refused(what: str, path: Path) -> BadData:
    return BadData(what, where=str(path), do="Nothing was taken in. Export the jobs again, or fetch the file again.")


def _members(bundle: zipfile.ZipFile, path: Path) -> dict[str, zipfile.ZipInfo]:
    """The members by name, after everything that needs no reading was checked."""
    infos = bundle.infolist()
    if len(infos) > _MOST_MEMBERS:
        raise _refused(f"it holds {len(infos)} files, more than any bundle", path)
    members: dict[str, zipfile.ZipInfo] = {}
    for info in infos:
        if info.filename in members:
            raise _refused(f"it holds {info.filename!r} twice", path)
        members[info.filename] = info
        if info.filename != _CONTENTS and not _JOB.fullmatch(info.filename) and not _file(info.filename):
            raise _refused(f"it holds {info.filename!r}, which no bundle holds", path)
        mode = info.external_attr >> 16
        if mode and not stat.S_ISREG(mode) and stat.S_IFMT(mode):
            raise _refused(f"{info.filename!r} in it is a link or no plain file", path)
        if info.flag_bits & 1:
            raise _refused(f"{info.filename!r} in it is encrypted", path)
        _refuse_bomb(info, path)
    if sum(info.compress_size for info in infos) > path.stat().st_size:
        raise _refused("its files overlap: it would unpack to more than it holds", path)
    if _CONTENTS not in members:
        raise _refused("it has no list of contents: it is no bundle of jobs", path)
    return members


def _file(name: str) -> re.Match[str] | None:
    """The name of a sound or photo: its hash and its ending."""
    return _SOUND.fullmatch(name) or _PHOTO.fullmatch(name)


def _refuse_bomb(info: zipfile.ZipInfo, path: Path) -> None:
    if _file(info.filename):
        if info.compress_type != zipfile.ZIP_STORED or info.file_size != info.compress_size:
            raise _refused(f"{info.filename!r} in it is packed; a photo or sound never is", path)
    elif info.file_size > _MOST_TEXT_BYTES or info.file_size > max(info.compress_size, 1) * _MOST_RATIO:
        raise _refused(f"{info.filename!r} in it would unpack to {info.file_size} bytes", path)


def _contents(bundle: zipfile.ZipFile, members: dict[str, zipfile.ZipInfo], path: Path) -> dict[str, Any]:
    value = _json(_read(bundle, members[_CONTENTS]), _CONTENTS, path)
    if not isinstance(value, dict) or value.get("format") != FORMAT:
        raise _refused("it is no bundle of jobs", path)
    if value.get("version") != VERSION:
        raise BadData(
            f"a newer version of fieldnote wrote this bundle (form {value.get('version')!r})",
            where=str(path),
            do="Update fieldnote on this machine. Nothing was taken in.",
        )
    files = value.get("files")
    if not isinstance(files, dict) or set(files) != set(members) - {_CONTENTS}:
        raise _refused("its list of contents does not fit what it holds", path)
    for name, digest in files.items():
        if not isinstance(digest, str) or (_file(name) and digest not in name):
            raise _refused(f"the hash of {name!r} does not fit its name", path)
    return value


def _read(bundle: zipfile.ZipFile, member: zipfile.ZipInfo) -> bytes:
    with bundle.open(member) as reader:
        return reader.read(_MOST_TEXT_BYTES + 1)


def _read_one(bundle: zipfile.ZipFile, member: zipfile.ZipInfo, digest: str, path: Path) -> Portable:
    data = _read(bundle, member)
    if hashlib.sha256(data).hexdigest() != digest:
        raise _wrong_hash(member.filename, path)
    where = f"{path}, {member.filename}"
    job = read_job(_json(data, member.filename, path), where)
    if f"jobs/{job['job']['id']}.json" != member.filename:
        raise _refused(f"{member.filename!r} in it holds another job", path)
    return job


def _json(data: bytes, name: str, path: Path) -> Any:
    try:
        return json.loads(data)
    except (ValueError, RecursionError) as error:
        raise _refused(f"{name!r} in it is no JSON", path) from error


def _wrong_hash(name: str, path: Path) -> WrongHash:
    what = f"{name!r} in it is not what was packed"
    return WrongHash(what, where=str(path), do="Nothing was taken in. Fetch the file again.")


def _keep_sound(store: Store, bundle: zipfile.ZipFile, member: zipfile.ZipInfo, path: Path) -> Any:
    match = _file(member.filename)
    assert match is not None  # _members let no other name through
    shelf = store.pictures if member.filename.startswith("photo/") else store.sounds
    with bundle.open(member) as reader:
        kept = shelf.keep_stream(reader, match[2] or "")
    if kept.sha256 != match[1]:
        store.drop_unclaimed(kept)
        raise _wrong_hash(member.filename, path)
    return kept


def _on_the_shelf(store: Store, jobs: Iterable[Portable]) -> dict[str, str]:
    """Sounds of the jobs that are here although the bundle does not bring them."""
    wanted = {row["sha256"] for job in jobs for row in job["sound"]}
    there = {sha256: found for sha256 in wanted if (found := store.sounds.find(sha256)) is not None}
    photos = {row["sha256"] for job in jobs for row in job["photo"]}
    return there | {sha256: found for sha256 in photos if (found := store.pictures.find(sha256)) is not None}
