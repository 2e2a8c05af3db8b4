"""Fetching and adding models: whole and verified, or not at all."""

from __future__ import annotations

import errno
import hashlib
import io
import json
import random
import shutil
import stat
import zipfile
from collections import namedtuple
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from fieldnote.errors import BadData, Clash, FieldnoteError, ModelMissing, NotFound, StoreFault, UserMistake, WrongHash
from fieldnote.recognize import model_download, model_files, model_install
from fieldnote.recognize.model_files import PinnedFile, PinnedModel
from tests.recognize.model_server import Server, serving

WEIGHTS = random.Random(1).randbytes(300_000)
TOKENIZER = b'{"tokens": []}'
CONFIG = json.dumps({"suppress_ids": [1], "lang_ids": [2]}).encode()


def zipped(files: dict[str, bytes]) -> bytes:
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in files.items():
            archive.writestr(name, content)
    return buffer.getvalue()


ARCHIVE = zipped({"vosk-x/am/final.mdl": WEIGHTS, "vosk-x/conf/model.conf": b"--beam=10\n"})


def pin_of(name: str, content: bytes, url: str) -> PinnedFile:
    return PinnedFile(name, len(content), hashlib.sha256(content).hexdigest(), f"{url}/{name}")


@pytest.fixture
def server() -> Iterator[Server]:
    files = {"model.bin": WEIGHTS, "tokenizer.json": TOKENIZER, "config.json": CONFIG, "vosk-x.zip": ARCHIVE}
    with serving(files) as running:
        yield running


@pytest.fixture
def known(server: Server, monkeypatch: pytest.MonkeyPatch) -> dict[str, PinnedModel]:
    """Two models on the loopback server: files with an unpinned configuration, and an archive."""
    about = {"language": "en", "about": "a", "licence": "b", "origin": "c"}
    whisper = PinnedModel(
        "w",
        "whisper",
        **about,
        files=(
            pin_of("model.bin", WEIGHTS, server.url),
            pin_of("tokenizer.json", TOKENIZER, server.url),
            PinnedFile("config.json", 0, "", f"{server.url}/config.json"),
        ),
    )
    vosk = PinnedModel("v", "vosk", **about, archive=pin_of("vosk-x.zip", ARCHIVE, server.url))
    manifest = {"w": whisper, "v": vosk}
    monkeypatch.setattr(model_install, "load_manifest", lambda: manifest)
    monkeypatch.setattr(model_files, "load_manifest", lambda path=None: manifest)
    return manifest


def quiet(what: str, done: int, total: int) -> None:
    """Progress that nobody watches."""


def fetch(name: str, home: Path, progress: Any = quiet) -> model_files.ModelFolder:
    return model_install.fetch(name, progress, home, pause_s=0.0)


def installed(home: Path) -> list[str]:
    """Models that stand in their place; what is still coming is not among them."""
    folder = home / "models"
    return sorted(p.name for p in folder.iterdir() if p.name != ".incoming") if folder.is_dir() else []


@pytest.mark.parametrize("name", ["w", "v"])
def test_fetch(known: dict[str, PinnedModel], tmp_path: Path, name: str) -> None:
    """A model comes whole, is verified, and leaves nothing else behind; progress reaches its end."""
    told: list[tuple[str, int, int]] = []
    folder = fetch(name, tmp_path, lambda *news: told.append(news))
    assert folder.path == tmp_path / "models" / name
    assert model_files.verify(folder)
    assert installed(tmp_path) == [name]
    assert not (tmp_path / "models" / ".incoming").exists()
    main = "model.bin" if name == "w" else "vosk-x.zip"
    assert [done for what, done, _ in told if what == main][-1] == [t for w, _, t in told if w == main][-1] > 0


def test_an_archive_is_unpacked_without_its_top_folder(known: dict[str, PinnedModel], tmp_path: Path) -> None:
    """The model's own folders stand directly in the model's folder, and later damage is noticed."""
    folder = fetch("v", tmp_path)
    assert (folder.path / "am" / "final.mdl").read_bytes() == WEIGHTS
    (folder.path / "conf" / "model.conf").write_text("--beam=99\n")
    with pytest.raises(WrongHash, match=r"conf.model\.conf"):
        model_files.verify(folder)


def test_a_broken_connection_is_taken_up_where_it_broke(
    known: dict[str, PinnedModel], server: Server, tmp_path: Path
) -> None:
    """After two breaks the rest alone is asked for: not one byte is sent twice."""
    server.breaks_after = [100_000, 50_000]
    fetch("w", tmp_path)
    asked = [wanted for name, wanted in server.asked if name == "model.bin"]
    assert asked == [None, "bytes=100000-", "bytes=150000-"]
    assert server.sent_bytes == len(WEIGHTS) + len(TOKENIZER) + len(CONFIG)


def test_a_connection_that_keeps_breaking_can_be_taken_up_later(
    known: dict[str, PinnedModel], server: Server, tmp_path: Path
) -> None:
    """The command gives up with how much is kept; the next run goes on from there."""
    server.breaks_after = [100_000, 0, 0, 0]
    with pytest.raises(ModelMissing, match="100,000 of 300,000 bytes are kept"):
        fetch("w", tmp_path)
    assert installed(tmp_path) == []
    fetch("w", tmp_path)
    assert server.asked[4] == ("model.bin", "bytes=100000-")
    assert installed(tmp_path) == ["w"]


def test_a_server_that_cannot_resume(known: dict[str, PinnedModel], server: Server, tmp_path: Path) -> None:
    """Where the server starts anew, so does the file."""
    server.breaks_after, server.ranges = [100_000], False
    assert model_files.verify(fetch("w", tmp_path))


def test_a_server_that_does_not_say_the_length(known: dict[str, PinnedModel], server: Server, tmp_path: Path) -> None:
    """Without a length in the answer the pinned size counts."""
    server.chunked = True
    assert model_files.verify(fetch("w", tmp_path))


@pytest.mark.parametrize("other", [random.Random(2).randbytes(len(WEIGHTS)), WEIGHTS + b"!", b"<html>sign in</html>"])
def test_the_wrong_file_is_thrown_away(
    known: dict[str, PinnedModel], server: Server, tmp_path: Path, other: bytes
) -> None:
    """Another file, a longer one, or a sign-in page of a hotel: refused, and no byte of it stays."""
    server.files["model.bin"] = other
    with pytest.raises((WrongHash, ModelMissing)):
        fetch("w", tmp_path)
    assert installed(tmp_path) == []
    if len(other) >= len(WEIGHTS):
        assert not list(tmp_path.rglob("model.bin*"))
    server.files["model.bin"] = WEIGHTS
    assert model_files.verify(fetch("w", tmp_path))


def test_a_wrong_beginning_is_not_built_upon(known: dict[str, PinnedModel], server: Server, tmp_path: Path) -> None:
    """A part left by another file is found out by the hash, and the file is fetched from its start."""
    part = tmp_path / "models" / ".incoming" / "w" / "model.bin.part"
    part.parent.mkdir(parents=True)
    part.write_bytes(b"x" * 1000)
    assert model_files.verify(fetch("w", tmp_path))


def test_a_part_longer_than_the_file(known: dict[str, PinnedModel], server: Server, tmp_path: Path) -> None:
    """Then the server has no such range, and the file is fetched from its start."""
    part = tmp_path / "models" / ".incoming" / "w" / "model.bin.part"
    part.parent.mkdir(parents=True)
    part.write_bytes(b"x" * (len(WEIGHTS) + 5))
    assert model_files.verify(fetch("w", tmp_path))


@pytest.mark.parametrize(
    ("statuses", "comes"), [([503, 500], True), ([404], False), ([503] * 9, False)], ids=["busy", "gone", "down"]
)
def test_a_server_that_refuses(
    known: dict[str, PinnedModel], server: Server, tmp_path: Path, statuses: list[int], comes: bool
) -> None:
    """A busy server is asked again; a file that is gone is told at once, with the way round."""
    server.statuses = statuses
    if comes:
        fetch("w", tmp_path)
        return
    with pytest.raises(ModelMissing, match="fieldnote models add"):
        fetch("w", tmp_path)
    assert len(server.asked) <= 4


def test_no_connection(known: dict[str, PinnedModel], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nobody answers: one line, with the way round."""
    gone = PinnedModel(
        "g", "whisper", "en", "a", "b", "c", files=(PinnedFile("m", 5, "0" * 64, "http://127.0.0.1:9/m"),)
    )
    monkeypatch.setitem(known, "g", gone)
    with pytest.raises(ModelMissing, match="refused"):
        fetch("g", tmp_path)


def test_a_configuration_that_is_none(known: dict[str, PinnedModel], server: Server, tmp_path: Path) -> None:
    """The one file without a pin is refused unless it is a model's configuration."""
    server.files["config.json"] = b"<html>sign in</html>"
    with pytest.raises(WrongHash, match="configuration"):
        fetch("w", tmp_path)
    assert installed(tmp_path) == []
    server.files["config.json"] = CONFIG
    fetch("w", tmp_path)


def test_a_disk_without_room_is_noticed_before(
    known: dict[str, PinnedModel], server: Server, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nothing is asked of the server when the disk cannot hold it."""
    usage = namedtuple("usage", "total used free")
    monkeypatch.setattr(shutil, "disk_usage", lambda path: usage(10**9, 10**9, 1000))
    with pytest.raises(StoreFault, match="MB free"):
        fetch("w", tmp_path)
    assert server.asked == []


def test_a_disk_that_fills_up(
    known: dict[str, PinnedModel], server: Server, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """When it fills up in the middle, what came is kept, one line says so, and the next run goes on."""
    real = Path.open

    class Full:
        def __init__(self, file: Any) -> None:
            self.file, self.left = file, 100_000

        def __enter__(self) -> Any:
            return self

        def __exit__(self, *args: Any) -> None:
            self.file.close()

        def write(self, block: bytes) -> int:
            if len(block) > self.left:
                raise OSError(errno.ENOSPC, "No space left on device")
            self.left -= len(block)
            return int(self.file.write(block))

    def opened(self: Path, mode: str = "r", *args: Any, **kwargs: Any) -> Any:
        file = real(self, mode, *args, **kwargs)
        return Full(file) if mode in ("wb", "ab") and self.name == "model.bin.part" else file

    with monkeypatch.context() as patch:
        patch.setattr(Path, "open", opened)
        with pytest.raises(StoreFault, match="disk is full"):
            fetch("w", tmp_path)
    assert installed(tmp_path) == []
    kept = (tmp_path / "models" / ".incoming" / "w" / "model.bin.part").stat().st_size
    assert 0 < kept <= 100_000
    fetch("w", tmp_path)
    assert ("model.bin", f"bytes={kept}-") in server.asked


def link_entry() -> bytes:
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as archive:
        info = zipfile.ZipInfo("vosk-x/am")
        info.external_attr = (stat.S_IFLNK | 0o777) << 16
        archive.writestr(info, "/etc")
    return buffer.getvalue()


def lying_bomb() -> bytes:
    """A zip whose list says 100 bytes of a file that unpacks to 20 MB."""
    content = bytearray(zipped({"vosk-x/am/final.mdl": bytes(20_000_000)}))
    at = content.rfind(b"PK\x01\x02")
    content[at + 24 : at + 28] = (100).to_bytes(4, "little")
    return bytes(content)


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (zipped({"vosk-x/../../../evil": b"x"}), "leads out"),
        (zipped({"/etc/evil": b"x"}), "leads out"),
        (zipped({"vosk-x\\..\\..\\evil": b"x"}), "leads out"),
        (zipped({"C:/evil": b"x"}), "leads out"),
        (link_entry(), "link"),
        (zipped({"vosk-x/am/final.mdl": bytes(20_000_000)}), "far more"),
        (lying_bomb(), "archive"),
        (zipped({f"vosk-x/{i}": b"" for i in range(600)}), "600 files"),
        (ARCHIVE[: len(ARCHIVE) // 2], "no zip archive"),
        (b"not a zip", "no zip archive"),
    ],
    ids=["dot-dot", "absolute", "backslash", "drive", "link", "bomb", "lying-bomb", "many", "cut-off", "text"],
)
def test_a_hostile_archive(tmp_path: Path, content: bytes, says: str) -> None:
    """Nothing is written outside the folder, and no bomb fills the disk."""
    (tmp_path / "a.zip").write_bytes(content)
    target = tmp_path / "in" / "deep" / "target"
    with pytest.raises(BadData, match=says):
        model_install.unpack(tmp_path / "a.zip", target, lambda done, total: None)
    assert not list(tmp_path.rglob("evil"))
    assert sum(p.stat().st_size for p in tmp_path.rglob("*") if p.is_file()) < 3_000_000


def test_a_hostile_archive_with_the_pinned_hash(
    known: dict[str, PinnedModel], server: Server, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Even under a right hash it is not unpacked, and no half model stands in its place."""
    evil = zipped({"vosk-x/../evil": b"x" * 100})
    server.files["vosk-x.zip"] = evil
    row = PinnedModel("v", "vosk", "en", "a", "b", "c", archive=pin_of("vosk-x.zip", evil, server.url))
    monkeypatch.setitem(known, "v", row)
    with pytest.raises(BadData, match="leads out"):
        fetch("v", tmp_path)
    assert installed(tmp_path) == []


def test_add_knows_files_by_their_hash(known: dict[str, PinnedModel], server: Server, tmp_path: Path) -> None:
    """An archive under another name is recognised; no connection is opened."""
    (tmp_path / "download (1).zip").write_bytes(ARCHIVE)
    folders = model_install.add([tmp_path / "download (1).zip"], quiet, tmp_path / "home")
    assert [folder.pin.name for folder in folders if folder.pin] == ["v"]
    assert model_files.verify(folders[0])
    assert server.asked == []


def test_add_a_folder_of_files(known: dict[str, PinnedModel], tmp_path: Path) -> None:
    """A folder with a model's files, and others, gives the model."""
    stick = tmp_path / "stick"
    stick.mkdir()
    for name, content in (("model.bin", WEIGHTS), ("tokenizer.json", TOKENIZER), ("config.json", CONFIG), ("x", b"x")):
        (stick / name).write_bytes(content)
    model_install.add([stick], quiet, tmp_path / "home")
    assert sorted(p.name for p in (tmp_path / "home" / "models" / "w").iterdir()) == [
        "config.json",
        "model.bin",
        "tokenizer.json",
    ]


def test_add_names_the_file_that_is_missing(known: dict[str, PinnedModel], tmp_path: Path) -> None:
    """Weights alone are not a model."""
    (tmp_path / "model.bin").write_bytes(WEIGHTS)
    with pytest.raises(UserMistake, match=r"tokenizer\.json"):
        model_install.add([tmp_path / "model.bin"], quiet, tmp_path / "home")
    assert installed(tmp_path / "home") == []


@pytest.mark.parametrize(
    ("content", "error"), [(None, NotFound), (b"something else", WrongHash)], ids=["missing", "unknown"]
)
def test_add_what_is_no_model(
    known: dict[str, PinnedModel], tmp_path: Path, content: bytes | None, error: type[FieldnoteError]
) -> None:
    """What is not there, or is none of the known models, is refused in one line."""
    if content is not None:
        (tmp_path / "m.zip").write_bytes(content)
    with pytest.raises(error):
        model_install.add([tmp_path / "m.zip"], quiet, tmp_path / "home")


def test_fetch_twice_and_remove(known: dict[str, PinnedModel], server: Server, tmp_path: Path) -> None:
    """What is there is not fetched again; removed, it is gone and can come again."""
    fetch("w", tmp_path)
    with pytest.raises(Clash, match="already"):
        fetch("w", tmp_path)
    assert model_install.remove("w", tmp_path) == len(WEIGHTS) + len(TOKENIZER) + len(CONFIG)
    assert installed(tmp_path) == []
    with pytest.raises(NotFound):
        model_install.remove("w", tmp_path)
    fetch("w", tmp_path)


def test_remove_takes_a_half_fetched_model_away(known: dict[str, PinnedModel], server: Server, tmp_path: Path) -> None:
    """What broke off can be thrown away too."""
    server.breaks_after = [1000, 0, 0, 0]
    with pytest.raises(ModelMissing):
        fetch("w", tmp_path)
    assert model_install.remove("w", tmp_path) == 1000


def test_the_shipped_model_stays() -> None:
    """What comes with fieldnote is not removed and not fetched."""
    with pytest.raises(UserMistake, match="stays"):
        model_install.remove("fieldnote-tiny", Path("/nowhere"))
    with pytest.raises(Clash):
        model_install.fetch("fieldnote-tiny", quiet, Path("/nowhere"))


def test_only_one_module_can_open_a_connection() -> None:
    """No other module of recognize or capture names a library that speaks to a network."""
    package = Path(model_download.__file__).parents[1]
    for module in [*(package / "recognize").glob("*.py"), *(package / "capture").glob("*.py")]:
        if module.name != "model_download.py":
            text = module.read_text(encoding="utf-8")
            assert not any(name in text for name in ("urllib", "import socket", "http.client", "requests", "httpx"))
