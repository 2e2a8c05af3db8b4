"""Which models there are, where they lie, and whether every byte of them is the right one.

``models/manifest.toml`` pins each model's files by size and SHA-256. A model lies in the shipped ``models`` folder or
in ``models`` under the data folder. Nothing here opens a network connection (see ``model_install.py``).
"""

from __future__ import annotations

import hashlib
import json
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from fieldnote.errors import BadData, ModelMissing, UserMistake, WrongHash
from fieldnote.recognize.doubt import DoubtCurve
from fieldnote.resources import data_home, shipped

MANIFEST = "manifest.toml"
RECEIPT = "installed.json"
"""Beside a model that came as an archive: the hash of every file in it, noted when the archive's own was verified."""
_READ_BYTES = 1 << 20

Progress = Callable[[int], None]
"""Told how many more bytes are done."""


@dataclass(frozen=True, slots=True)
class PinnedFile:
    """One file of a model. ``sha256`` is "" where no trustworthy hash is known; ``size_bytes`` is 0 likewise."""

    name: str
    size_bytes: int
    sha256: str
    url: str = ""


@dataclass(frozen=True, slots=True)
class PinnedModel:
    """A model that fieldnote knows. One of ``files`` and ``archive`` says what it consists of."""

    name: str
    engine: str
    language: str
    about: str
    licence: str
    origin: str
    input: str = "padded"
    """Whisper models: ``short`` where the encoder was tuned for short input, else ``padded`` (30 s)."""
    nothing_said_prob: float = 1.0
    """Whisper models: from this probability of no speech on, nothing was said. 1 never rejects."""
    doubt: DoubtCurve | None = None
    """How its confidences translate into the risk that an entry was misheard; None where nobody measured it."""
    files: tuple[PinnedFile, ...] = ()
    archive: PinnedFile | None = None

    @property
    def size_bytes(self) -> int:
        """What has to be fetched."""
        return self.archive.size_bytes if self.archive else sum(f.size_bytes for f in self.files)

    @property
    def can_be_fetched(self) -> bool:
        """Whether the manifest names an address for it."""
        return bool(self.archive.url) if self.archive else all(f.url for f in self.files)


@dataclass(frozen=True, slots=True)
class ModelFolder:
    """A model on this machine. ``pin`` is None for a folder of the user's own that no manifest knows."""

    path: Path
    pin: PinnedModel | None
    shipped: bool


def load_manifest(path: Path | None = None) -> dict[str, PinnedModel]:
    """The models that ``path`` (by default the shipped manifest) pins, by name.

    Raises:
        BadData: the manifest cannot be read.

    """
    source = path if path is not None else shipped("models") / MANIFEST
    try:
        table = tomllib.loads(source.read_text(encoding="utf-8"))
        models = [_model(row) for row in table["model"]]
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError, KeyError, TypeError) as error:
        raise BadData(
            f"the list of models cannot be read ({error})", where=str(source), do="Install fieldnote again."
        ) from error
    return {model.name: model for model in models}


def _model(row: Mapping[str, Any]) -> PinnedModel:
    values = dict(row)
    files = tuple(PinnedFile(**f) for f in values.pop("file", ()))
    archive = PinnedFile(**values.pop("archive")) if "archive" in values else None
    doubt = DoubtCurve(**values.pop("doubt")) if "doubt" in values else None
    return PinnedModel(**values, doubt=doubt, files=files, archive=archive)


def models_home(home: Path | None = None) -> Path:
    """Where added models lie."""
    return (home if home is not None else data_home()) / "models"


def locate(name: str, home: Path | None = None) -> ModelFolder | None:
    """Where the pinned model ``name`` lies on this machine, or None."""
    pin = load_manifest().get(name)
    if pin is None:
        return None
    for folder, is_shipped in ((shipped("models") / name, True), (models_home(home) / name, False)):
        if folder.is_dir():
            return ModelFolder(folder, pin, is_shipped)
    return None


def require(name: str, engine: str, home: Path | None = None) -> ModelFolder:
    """The model ``name`` (of the manifest, or a folder of the user's own) for ``engine``.

    Raises:
        ModelMissing: known, but not on this machine.
        UserMistake: unknown, or made for another engine.

    """
    manifest = load_manifest()
    pin = manifest.get(name)
    if pin is None:
        own = Path(name).expanduser()
        if own.is_dir():
            return ModelFolder(own, None, shipped=False)
        known = ", ".join(m.name for m in manifest.values() if m.engine == engine)
        raise UserMistake(
            f"no model is called {name!r}", where="[recognize] model", do=f"Use one of: {known}; or name a folder."
        )
    if pin.engine != engine:
        raise UserMistake(
            f"the model {name!r} is for the engine {pin.engine!r}, not {engine!r}",
            where="[recognize] model",
            do=f"Set engine = {pin.engine!r}, or choose another model.",
        )
    found = locate(name, home)
    if found is None:
        way = f"Run `fieldnote models fetch {name}`" if pin.can_be_fetched else "Install fieldnote again"
        raise ModelMissing(
            f"the model {name!r} is not on this machine",
            where=str(models_home(home)),
            do=f"{way}, or `fieldnote models add FILE` on a machine without network.",
        )
    return found


def sha256_of(path: Path, progress: Progress | None = None) -> str:
    """The SHA-256 of a file, as hexadecimal digits.

    Raises:
        BadData: it cannot be read.

    """
    digest = hashlib.sha256()
    try:
        with path.open("rb") as file:
            while block := file.read(_READ_BYTES):
                digest.update(block)
                if progress is not None:
                    progress(len(block))
    except OSError as error:
        raise BadData(f"cannot be read ({error.strerror})", where=str(path), do="Check its permissions.") from error
    return digest.hexdigest()


def expected_files(folder: ModelFolder) -> tuple[PinnedFile, ...]:
    """The files that ``folder`` must hold, from the manifest or from its receipt; empty for a folder of one's own.

    Raises:
        WrongHash: an unpacked archive without its receipt: it was not installed by fieldnote.

    """
    if folder.pin is None:
        return ()
    if folder.pin.archive is None:
        return folder.pin.files
    receipt = folder.path / RECEIPT
    try:
        noted = json.loads(receipt.read_text(encoding="utf-8"))
        if noted["archive_sha256"] != folder.pin.archive.sha256:
            raise KeyError("archive_sha256")
        return tuple(PinnedFile(f["name"], f["size_bytes"], f["sha256"]) for f in noted["files"])
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise WrongHash(
            f"nothing shows where the model {folder.pin.name!r} came from",
            where=str(receipt),
            do=f"Run `fieldnote models remove {folder.pin.name}` and fetch or add it again.",
        ) from error


def verify(folder: ModelFolder, progress: Progress | None = None) -> dict[str, str]:
    """Compare every file of the model with its pin; returns the SHA-256 of each by name.

    Raises:
        WrongHash: a file is missing, has another size, or is not the one that was pinned.
        BadData: a file cannot be read.

    """
    found: dict[str, str] = {}
    for pin in expected_files(folder):
        path = folder.path / pin.name
        if not path.is_file():
            raise _damaged(folder, path, "is missing")
        if pin.size_bytes and path.stat().st_size != pin.size_bytes:
            raise _damaged(folder, path, f"has {path.stat().st_size:,} bytes instead of {pin.size_bytes:,}")
        found[pin.name] = sha256_of(path, progress)
        if pin.sha256 and found[pin.name] != pin.sha256:
            raise _damaged(folder, path, "is not the file that it should be (its SHA-256 differs)")
    return found


def _damaged(folder: ModelFolder, path: Path, what: str) -> WrongHash:
    name = folder.pin.name if folder.pin else folder.path.name
    if folder.shipped:
        way = "Install fieldnote again (in a clone: `git checkout -- models`)"
    else:
        way = f"Run `fieldnote models remove {name}` and fetch or add it again"
    return WrongHash(f"a file of the model {name!r} {what}", where=str(path), do=f"{way}.")
