"""The manifest of models, and finding them."""

from __future__ import annotations

import hashlib
import re
from pathlib import Path

import pytest

from fieldnote.errors import BadData, WrongHash
from fieldnote.recognize.model_files import (
    RECEIPT,
    ModelFolder,
    PinnedFile,
    PinnedModel,
    load_manifest,
    locate,
    sha256_of,
    verify,
)
from fieldnote.resources import shipped

# Sizes and hashes from the git LFS pointers and package recipes that several unrelated public sources agree on.
PUBLISHED = {
    "vosk-small-en-us": (41_205_931, "30f26242c4eb449f948e42cb302dd7a686cb29a3423a8367f99ff41780942498"),
    "vosk-en-us-lgraph": (130_557_655, "d9838b4aaa82a75c4a17f5aca300eaca129aaab2a7cbf951bafbb500eb9c4334"),
    "whisper-tiny.en": (75_537_502, "1a5afae06a4db91c975c9a9d78be5cc110ee4ea022ad57d55492e4550e936b2a"),
    "whisper-base.en": (145_216_508, "2a166925539a16005f14ff328359f9b9adb9dc4fb631bb3b227526862e93e2ef"),
    "whisper-small.en": (483_545_366, "62b2a45b05ee59acb4a5341b33ee35e041395d378d418a18acfe4c9e768ee37a"),
}


@pytest.mark.parametrize("name", sorted(PUBLISHED))
def test_pins_are_the_published_ones(name: str) -> None:
    """Each model's main file is pinned by the size and hash that independent sources publish."""
    pin = load_manifest()[name]
    main = pin.archive or next(f for f in pin.files if f.name == "model.bin")
    assert (main.size_bytes, main.sha256) == PUBLISHED[name]
    assert main.url.startswith("https://")


def test_every_pin_is_whole() -> None:
    """Every file has a hash and a size, except configurations; every address is encrypted and ends in the file."""
    for pin in load_manifest().values():
        for file in (pin.archive,) if pin.archive else pin.files:
            if file.sha256:
                assert re.fullmatch(r"[0-9a-f]{64}", file.sha256)
                assert file.size_bytes > 0
            else:
                assert file.name == "config.json"
            assert not file.url or (file.url.startswith("https://") and file.url.endswith("/" + file.name))
        assert pin.engine in ("whisper", "vosk")
        assert pin.licence and pin.origin and pin.about


def test_the_shipped_model_is_the_pinned_one() -> None:
    """Every byte of the embedded default is right, by Python's own hashing too."""
    folder = locate("fieldnote-tiny")
    assert folder is not None and folder.shipped
    hashes = verify(folder)
    for name, sha in hashes.items():
        assert hashlib.sha256((folder.path / name).read_bytes()).hexdigest() == sha
    assert set(hashes) == {"model.bin", "config.json", "tokenizer.json", "vocabulary.txt"}


def test_hash_of_a_known_message(tmp_path: Path) -> None:
    """SHA-256 of "abc" is the example of FIPS 180-4 (NIST, appendix B.1 of FIPS 180-2)."""
    (tmp_path / "abc").write_bytes(b"abc")
    assert sha256_of(tmp_path / "abc") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


def test_an_unpacked_archive_needs_its_receipt(tmp_path: Path) -> None:
    """A folder put there by hand under a pinned name is not trusted."""
    pin = PinnedModel("x", "vosk", "en", "a", "b", "c", archive=PinnedFile("x.zip", 3, "0" * 64))
    with pytest.raises(WrongHash, match="came from"):
        verify(ModelFolder(tmp_path, pin, shipped=False))
    (tmp_path / RECEIPT).write_text('{"archive_sha256": "1", "files": []}')
    with pytest.raises(WrongHash, match="came from"):
        verify(ModelFolder(tmp_path, pin, shipped=False))


@pytest.mark.parametrize("text", ["", "[[model]]\nname = 3", "not toml ["], ids=["empty", "wrong", "no-toml"])
def test_a_broken_manifest(tmp_path: Path, text: str) -> None:
    """A manifest that cannot be read is one clear line."""
    (tmp_path / "manifest.toml").write_text(text)
    with pytest.raises(BadData, match="list of models"):
        load_manifest(tmp_path / "manifest.toml")


def test_the_card_tells_the_truth_about_hashes() -> None:
    """The model card names the hash of these weights and of the base that the manifest pins."""
    card = (shipped("models") / "fieldnote-tiny" / "README.md").read_text(encoding="utf-8")
    pins = load_manifest()
    for name in ("fieldnote-tiny", "whisper-tiny.en"):
        assert next(f for f in pins[name].files if f.name == "model.bin").sha256 in card
    assert "no technician's voice was used" in card
