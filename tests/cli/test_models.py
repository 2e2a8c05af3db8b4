"""``fieldnote models``: list, verify, add, remove as a user meets them."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest
from typer.testing import CliRunner

from fieldnote.cli.app import app
from fieldnote.errors import FieldnoteError
from fieldnote.resources import shipped


@pytest.fixture(autouse=True)
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("FIELDNOTE_HOME", str(tmp_path / "home"))
    return tmp_path / "home"


def run(*arguments: str) -> tuple[int, str]:
    result = CliRunner().invoke(app, ["models", *arguments])
    if isinstance(result.exception, FieldnoteError):
        return result.exception.exit_code, str(result.exception)
    return result.exit_code, result.output


def test_list() -> None:
    """Every known model is listed; the shipped one is here and in use."""
    code, out = run("list", "--json")
    rows = {row["name"]: row for row in json.loads(out)["models"]}
    assert code == 0
    assert {"fieldnote-tiny", "vosk-small-en-us", "vosk-en-us-lgraph", "whisper-base.en", "whisper-small.en"} <= set(
        rows
    )
    assert rows["fieldnote-tiny"]["here"] and rows["fieldnote-tiny"]["shipped"] and rows["fieldnote-tiny"]["in_use"]
    assert not rows["whisper-small.en"]["here"]
    assert "fieldnote-tiny" in run("list")[1]


def test_verify() -> None:
    """The shipped model is right, byte for byte."""
    code, out = run("verify", "--json")
    assert code == 0
    assert [(row["name"], row["ok"]) for row in json.loads(out)["models"]] == [("fieldnote-tiny", True)]
    assert "every byte is right" in run("verify", "fieldnote-tiny")[1]


def test_verify_finds_damage(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """One changed byte is found: exit code 2, and what to do."""
    whole = tmp_path / "models"
    shutil.copytree(shipped("models"), whole, ignore=shutil.ignore_patterns("training"))
    with (whole / "fieldnote-tiny" / "vocabulary.txt").open("r+b") as file:
        file.seek(1000)
        file.write(b"?")
    monkeypatch.setattr("fieldnote.recognize.model_files.shipped", lambda name: whole)
    code, out = run("verify")
    assert code == 2
    assert "vocabulary.txt" in out and "Install fieldnote again" in out


@pytest.mark.parametrize(
    ("arguments", "code", "says"),
    [
        (("verify", "whisper-base.en"), 3, "not on this machine"),
        (("verify", "nothing"), 1, "Known are"),
        (("fetch", "nothing"), 1, "Known are"),
        (("fetch", "fieldnote-tiny"), 1, "already"),
        (("remove", "fieldnote-tiny"), 1, "stays"),
        (("remove", "whisper-base.en"), 1, "not on this machine"),
        (("add", "/no/such/file.zip"), 1, "no such file"),
    ],
)
def test_what_cannot_be_done(arguments: tuple[str, ...], code: int, says: str) -> None:
    """Each mistake has its exit code and one line that helps."""
    got, out = run(*arguments)
    assert got == code
    assert says in out


def test_add_what_is_no_model(tmp_path: Path) -> None:
    """A file that is none of the known models is bad data."""
    (tmp_path / "m.zip").write_bytes(b"x")
    code, out = run("add", str(tmp_path / "m.zip"))
    assert code == 2
    assert "SHA-256" in out
