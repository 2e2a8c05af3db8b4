"""Brings models onto this machine and takes them away. A model is there whole and verified, or not at all.

Everything is put together in ``models/.incoming`` under the data folder and moved into place in one step.
"""

from __future__ import annotations

import json
import shutil
import stat
import zipfile
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from functools import partial
from pathlib import Path, PurePosixPath

from fieldnote.errors import BadData, Clash, ModelMissing, NotFound, StoreFault, UserMistake, WrongHash
from fieldnote.recognize.model_download import disk_fault, download
from fieldnote.recognize.model_files import (
    RECEIPT,
    ModelFolder,
    PinnedFile,
    PinnedModel,
    load_manifest,
    locate,
    models_home,
    sha256_of,
    verify,
)
from fieldnote.resources import shipped

Progress = Callable[[str, int, int], None]
"""Told what is being done, and how many bytes of how many."""
_INCOMING = ".incoming"
_MOST_FILES = 500
# Speech models are numbers that hardly shrink: theirs unpack to less than twice the archive. A bomb's grow a
# thousandfold.
_MOST_GROWTH = 8
_CONFIG_LIMIT_BYTES = 1 << 20
_CONFIG_KEYS = ("suppress_ids", "lang_ids")


def pinned(name: str) -> PinnedModel:
    """The model of that name in the manifest.

    Raises:
        NotFound: there is none.

    """
    manifest = load_manifest()
    if name not in manifest:
        raise NotFound(f"no model is called {name!r}", where="models", do=f"Known are: {', '.join(manifest)}.")
    return manifest[name]


def fetch(name: str, progress: Progress, home: Path | None = None, *, pause_s: float = 1.0) -> ModelFolder:
    """Fetch a model over the network, verify it, and put it in place. Goes on where it broke off.

    Raises:
        NotFound: no such model.
        Clash: it is here already.
        ModelMissing, WrongHash, StoreFault: see ``download``.

    """
    pin = pinned(name)
    _not_here_yet(name, home)
    if not pin.can_be_fetched:
        raise UserMistake(f"{name} comes with fieldnote", where="models", do="Install fieldnote again.")
    folder = models_home(home) / _INCOMING / name
    wanted = (pin.archive,) if pin.archive else pin.files
    _room_for(pin, folder)
    for file in wanted:
        target = folder / file.name
        if target.is_file() and file.sha256 and sha256_of(target) == file.sha256:
            continue
        if not _taken_from_shipped(file, target):
            download(file, target, partial(progress, file.name), pause_s=pause_s)
    return _put_in_place(pin, folder, progress, home)


def add(paths: Sequence[Path], progress: Progress, home: Path | None = None) -> list[ModelFolder]:
    """Install models from files brought to this machine: each is recognised by its SHA-256, whatever its name.

    ``paths`` are archives, files of a model, or folders with such files in them.

    Raises:
        NotFound: a path does not exist.
        WrongHash: none of the files belongs to a model that fieldnote knows.
        UserMistake: files of a model are missing.
        Clash: the model is here already.

    """
    found = {sha256_of(path): path for path in _files_in(paths, progress)}
    by_name = {path.name: path for path in found.values()}
    installed: list[ModelFolder] = []
    for pin in load_manifest().values():
        own = (pin.archive,) if pin.archive else tuple(f for f in pin.files if f.name == "model.bin")
        if not any(file.sha256 in found for file in own):
            continue
        _not_here_yet(pin.name, home)
        folder = models_home(home) / _INCOMING / pin.name
        _room_for(pin, folder)
        with _disk(folder):
            shutil.rmtree(folder, ignore_errors=True)
            folder.mkdir(parents=True)
            for file in (pin.archive,) if pin.archive else pin.files:
                source = found.get(file.sha256) if file.sha256 else by_name.get(file.name)
                if source is not None:
                    shutil.copyfile(source, folder / file.name)
                elif not _taken_from_shipped(file, folder / file.name):
                    raise UserMistake(
                        f"{file.name} of the model {pin.name!r} is missing",
                        where=", ".join(map(str, paths)),
                        do="Bring it too and name all its files, or the folder that they are in.",
                    )
        installed.append(_put_in_place(pin, folder, progress, home))
    if not installed:
        hashes = ", ".join(f"{path.name}: {sha[:12]}…" for sha, path in list(found.items())[:3])
        raise WrongHash(
            f"none of the models that fieldnote knows (SHA-256 of {hashes or 'nothing'})",
            where=", ".join(map(str, paths)),
            do="Bring it again; `fieldnote models list` shows what is known. A model of your own is used by setting "
            "[recognize] model to its folder.",
        )
    return installed


def remove(name: str, home: Path | None = None) -> int:
    """Take an added model away; returns how many bytes became free.

    Raises:
        NotFound: no such model, or it is not here.
        UserMistake: it comes with fieldnote.

    """
    pinned(name)
    folder = models_home(home) / name
    left = models_home(home) / _INCOMING / name
    if not folder.is_dir() and not left.is_dir():
        here = locate(name, home)
        if here is not None and here.shipped:
            raise UserMistake(f"{name} comes with fieldnote and stays", where=str(here.path), do="Leave it.")
        raise NotFound(f"the model {name!r} is not on this machine", where=str(folder.parent), do="Nothing to remove.")
    freed = sum(f.stat().st_size for d in (folder, left) if d.is_dir() for f in d.rglob("*") if f.is_file())
    with _disk(folder):
        for doomed in (folder, left):
            if doomed.is_dir():
                shutil.rmtree(doomed)
    return freed


def _not_here_yet(name: str, home: Path | None) -> None:
    here = locate(name, home)
    if here is not None:
        raise Clash(
            f"the model {name!r} is on this machine already",
            where=str(here.path),
            do=f"Check it with `fieldnote models verify {name}`.",
        )


def _room_for(pin: PinnedModel, folder: Path) -> None:
    """Refuse early where the disk cannot hold it: the download, and an archive's files beside it."""
    needed = pin.size_bytes * (3 if pin.archive else 1)
    with _disk(folder):
        folder.mkdir(parents=True, exist_ok=True)
        free = shutil.disk_usage(folder).free
    if free < needed:
        raise StoreFault(
            f"{pin.name} needs {needed / 1e6:,.0f} MB and the disk has {free / 1e6:,.0f} MB free",
            where=str(folder.parent.parent),
            do="Make room, then run it again.",
        )


def _taken_from_shipped(file: PinnedFile, target: Path) -> bool:
    """Copy the file from a shipped model where that has the very same (the .en models share their tokenizer)."""
    if not file.sha256:
        return False
    for pin in load_manifest().values():
        for own in pin.files:
            source = shipped("models") / pin.name / own.name
            if own.sha256 == file.sha256 and source.is_file() and sha256_of(source) == file.sha256:
                with _disk(target):
                    target.parent.mkdir(parents=True, exist_ok=True)
                    shutil.copyfile(source, target)
                return True
    return False


def _files_in(paths: Sequence[Path], progress: Progress) -> list[Path]:
    files: list[Path] = []
    for path in paths:
        if path.is_dir():
            files += sorted(p for p in path.iterdir() if p.is_file())
        elif path.is_file():
            files.append(path)
        else:
            raise NotFound("no such file", where=str(path), do="Check the name and the folder.")
    for file in files:
        progress(file.name, 0, file.stat().st_size)
    return files


def _put_in_place(pin: PinnedModel, folder: Path, progress: Progress, home: Path | None) -> ModelFolder:
    """Verify what is in ``folder`` (unpacking an archive) and move it to where models lie, in one step."""
    ready = folder
    if pin.archive is not None:
        archive = folder / pin.archive.name
        if sha256_of(archive) != pin.archive.sha256:
            raise WrongHash("the archive is not the pinned one", where=str(archive), do="Fetch or add it again.")
        ready = folder / "unpacked"
        with _disk(ready):
            shutil.rmtree(ready, ignore_errors=True)
            unpack(archive, ready, lambda done, total: progress("unpacking", done, total))
            _write_receipt(pin.archive, ready)
    for file in pin.files:
        if not file.sha256:
            _check_config(ready / file.name)
    verify(ModelFolder(ready, pin, shipped=False))
    target = models_home(home) / pin.name
    with _disk(target):
        ready.replace(target)
        shutil.rmtree(folder, ignore_errors=True)
        with suppress(OSError):  # other downloads may still be in it
            folder.parent.rmdir()
    return ModelFolder(target, pin, shipped=False)


def unpack(archive: Path, target: Path, progress: Callable[[int, int], None]) -> None:
    """Unpack a zip of one top folder into ``target``, without that folder.

    Raises:
        BadData: no zip, a name that leads out of the folder, a link, too many files, or far more bytes than such an
            archive can hold.

    """
    try:
        with zipfile.ZipFile(archive) as packed:
            members = [m for m in packed.infolist() if not m.is_dir()]
            limit = _MOST_GROWTH * archive.stat().st_size
            if len(members) > _MOST_FILES:
                raise _unsafe(archive, f"it holds {len(members):,} files")
            if sum(m.file_size for m in members) > limit:
                raise _unsafe(archive, "it would unpack to far more than it is")
            names = _without_top([_safe_name(m, archive) for m in members])
            done = 0
            for member, name in zip(members, names, strict=True):
                path = target.joinpath(*name.parts)
                path.parent.mkdir(parents=True, exist_ok=True)
                with packed.open(member) as source, path.open("wb") as file:
                    # The sizes in an archive's list can lie: what comes out is counted.
                    while block := source.read(1 << 20):
                        done += len(block)
                        if done > limit:
                            raise _unsafe(archive, "it unpacks to far more than it is")
                        file.write(block)
                        progress(done, sum(m.file_size for m in members))
    except (zipfile.BadZipFile, EOFError, NotImplementedError, RuntimeError) as error:
        raise BadData(f"no zip archive that can be read ({error})", where=str(archive), do="Bring it again.") from error


def _safe_name(member: zipfile.ZipInfo, archive: Path) -> PurePosixPath:
    name = PurePosixPath(member.filename.replace("\\", "/"))
    if name.is_absolute() or ".." in name.parts or ":" in member.filename or not name.parts:
        raise _unsafe(archive, f"the name {member.filename!r} leads out of the folder")
    if stat.S_ISLNK(member.external_attr >> 16):
        raise _unsafe(archive, f"{member.filename!r} is a link")
    return name


def _without_top(names: list[PurePosixPath]) -> list[PurePosixPath]:
    tops = {name.parts[0] for name in names}
    if len(tops) == 1 and all(len(name.parts) > 1 for name in names):
        return [PurePosixPath(*name.parts[1:]) for name in names]
    return names


def _unsafe(archive: Path, why: str) -> BadData:
    return BadData(f"this archive is not unpacked: {why}", where=str(archive), do="Do not use it; fetch it anew.")


def _write_receipt(archive: PinnedFile, folder: Path) -> None:
    files = [
        {"name": p.relative_to(folder).as_posix(), "size_bytes": p.stat().st_size, "sha256": sha256_of(p)}
        for p in sorted(folder.rglob("*"))
        if p.is_file()
    ]
    note = {"archive": archive.name, "archive_sha256": archive.sha256, "files": files}
    (folder / RECEIPT).write_text(json.dumps(note, indent=1) + "\n", encoding="utf-8")


def _check_config(path: Path) -> None:
    """A file without a pinned hash is only ever a model's configuration; anything else is refused."""
    try:
        if path.stat().st_size > _CONFIG_LIMIT_BYTES:
            raise ValueError("too large")
        config = json.loads(path.read_text(encoding="utf-8"))
        if not isinstance(config, dict) or not all(isinstance(config.get(key), list) for key in _CONFIG_KEYS):
            raise ValueError("its keys are not those of a Whisper model")
    except FileNotFoundError:
        raise ModelMissing(f"{path.name} is missing", where=str(path.parent), do="Bring it too.") from None
    except (ValueError, OSError) as error:
        path.unlink(missing_ok=True)
        raise WrongHash(
            f"{path.name} is not a model's configuration ({error})",
            where=str(path),
            do="It was thrown away; try again.",
        ) from error


@contextmanager
def _disk(path: Path) -> Iterator[None]:
    """Faults of the disk as one plain line."""
    try:
        yield
    except OSError as error:
        raise disk_fault(error, path) from error
