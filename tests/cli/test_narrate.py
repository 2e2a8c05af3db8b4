"""``fieldnote narrate``, ``fieldnote job handover`` and ``fieldnote guide`` as their users meet them."""

from __future__ import annotations

import functools
import json
from collections.abc import Iterator
from pathlib import Path

import pytest
from typer.testing import CliRunner

from fieldnote.cli.app import app
from fieldnote.errors import BadData, FieldnoteError, NotFound, UserMistake
from fieldnote.flow import read_text
from fieldnote.store import Store
from fieldnote.suggest import load_map
from fieldnote.vocabulary import load_pack
from tests.flow.doubles import Copier

PACKS = functools.cache(lambda name, home=None: load_pack(name))
_map = functools.cache(lambda id: load_map(PACKS(id)))

ENTRIES = {
    "entries": [
        {"kind": "test", "place": "tail-lamp", "side": "left", "method": "hose", "state": "leak"},
        {"kind": "check", "place": "tail-lamp", "part": "gasket", "side": "left", "state": "torn"},
    ]
}


@pytest.fixture(autouse=True)
def read_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """The pack and the map are read once for all tests here: they are shipped files and never change."""
    monkeypatch.setattr("fieldnote.vocabulary.load_pack", PACKS)
    monkeypatch.setattr("fieldnote.suggest.load_map", lambda pack: _map(pack.id))


@pytest.fixture(autouse=True)
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("FIELDNOTE_HOME", str(tmp_path / "home"))
    monkeypatch.setenv("COLUMNS", "100")
    return tmp_path / "home"


@pytest.fixture
def file(tmp_path: Path) -> Path:
    path = tmp_path / "unit-9.json"
    path.write_text(json.dumps(ENTRIES), "utf-8")
    return path


@pytest.fixture
def kept(home: Path) -> Iterator[str]:
    with Store(home) as store:
        opened = store.open_job("van 3")
        read_text(store, opened, "seam has a gap", Copier())
    yield "van 3"


def run(*words: str, given: str | None = None) -> str:
    done = CliRunner().invoke(app, list(words), input=given, catch_exceptions=False)
    assert done.exit_code == 0, done.output
    return done.stdout


def fails(error: type[FieldnoteError], *words: str, given: str | None = None) -> FieldnoteError:
    with pytest.raises(error) as caught:
        CliRunner().invoke(app, list(words), input=given, catch_exceptions=False)
    assert caught.value.what and caught.value.do
    return caught.value


def test_without_a_format_it_is_text_to_read(file: Path) -> None:
    """On the screen: headings, prose, steps, and what is open."""
    text = run("narrate", "--entries", str(file))
    for words in (
        "unit-9",
        "Cause",
        "Water came in at the gasket at the left tail lamp",
        "Order of work",
        "Not established",
    ):
        assert words in text


def test_standard_input(file: Path) -> None:
    """Entries may come from standard input."""
    text = run("narrate", "--entries", "-", "--to", "md", given=file.read_text("utf-8"))
    assert text.startswith("# Job\n")


def test_json_is_of_the_shape_of_the_design(file: Path) -> None:
    """``--json`` gives paragraphs with sentences and the ids of their entries, open points, version and hash."""
    wire = json.loads(run("narrate", "--entries", str(file), "--json"))
    assert {"paragraphs", "open_points", "version", "hash"} <= set(wire)
    assert [p["heading"] for p in wire["paragraphs"]][1:4] == ["Complaint", "Cause", "Correction"]
    sentence = wire["paragraphs"][2]["sentences"][0]
    assert set(sentence) == {"text", "entries"} and sentence["entries"]


def test_the_ending_of_the_file_tells_the_format(file: Path, tmp_path: Path) -> None:
    """``--out`` writes the format of its ending; into a folder it names the file after the job."""
    run("narrate", "--entries", str(file), "--out", str(tmp_path / "a.pdf"))
    assert (tmp_path / "a.pdf").read_bytes().startswith(b"%PDF-")
    run("narrate", "--entries", str(file), "--to", "html", "--out", str(tmp_path))
    assert (tmp_path / "unit-9.html").read_text("utf-8").startswith("<!doctype html>")
    assert not list(tmp_path.glob(".*.part"))


def test_an_export_is_read_back(file: Path, tmp_path: Path) -> None:
    """The JSON of a job can be written up again, and says the same."""
    first = run("narrate", "--entries", str(file), "--json")
    (tmp_path / "again.json").write_text(first, "utf-8")
    again = json.loads(run("narrate", "--entries", str(tmp_path / "again.json"), "--json"))
    assert again["hash"] == json.loads(first)["hash"]


def test_a_kept_job(kept: str) -> None:
    """A job of the store is written up by its name."""
    text = run("narrate", kept, "--to", "md")
    assert text.startswith("# van 3\n")


BAD = {
    "neither job nor file": (UserMistake, ("narrate",), None, "a job or --entries FILE is needed"),
    "both": (UserMistake, ("narrate", "x", "--entries", "-"), None, "and not both"),
    "no such job": (NotFound, ("narrate", "nobody"), None, "nobody"),
    "no such file": (NotFound, ("narrate", "--entries", "nowhere.json"), None, "no such file"),
    "a folder": (BadData, ("narrate", "--entries", "."), None, "cannot be read"),
    "no such format": (UserMistake, ("narrate", "--entries", "-", "--to", "xls"), None, "no format 'xls'"),
    "not json": (BadData, ("narrate", "--entries", "-"), "soup", "not JSON"),
    "no entries in it": (BadData, ("narrate", "--entries", "-"), "{}", 'no list "entries"'),
    "no such pack": (
        NotFound,
        ("narrate", "--entries", "-", "--pack", "roofs"),
        '{"entries": []}',
        "no vocabulary pack",
    ),
    "no such folder": (
        BadData,
        ("narrate", "--entries", "-", "--out", "nowhere/a.md"),
        '{"entries": []}',
        "cannot be written",
    ),
    "handover of nobody": (NotFound, ("job", "handover", "nobody"), None, "nobody"),
    "guide to nowhere": (NotFound, ("guide", "attic"), None, "the map shows no water at 'attic'"),
    "guide as what": (UserMistake, ("guide", "--to", "csv"), None, "no format 'csv'"),
}


@pytest.mark.parametrize("case", BAD)
def test_mistakes_get_one_clear_line(case: str) -> None:
    """What is wrong, where and what to do, and no traceback."""
    kind, words, given, told = BAD[case]
    error = fails(kind, *words, given=given)
    assert told in f"{error.what} {error.where}"
    assert "\n" not in str(error)


def test_a_handover_as_text_spoken_and_file(kept: str, tmp_path: Path) -> None:
    """The leaf as text, as the minute to be said, and as a PDF."""
    assert "Battery and restraints\n- Nothing recorded; ask." in run("job", "handover", kept)
    assert run("job", "handover", kept, "--spoken").startswith("Handover: van 3. State: The job is open")
    assert set(json.loads(run("job", "handover", kept, "--json"))) == {"title", "parts", "spoken"}
    run("job", "handover", kept, "--out", str(tmp_path / "leaf.pdf"))
    assert (tmp_path / "leaf.pdf").read_bytes().startswith(b"%PDF-")


def test_a_guide_by_the_spoken_name_of_a_place(tmp_path: Path) -> None:
    """A place may be named as it is spoken; the leaf tells how to look and test, and the cautions."""
    text = run("guide", "rear pillar")
    assert text.startswith("Water shows at the D-pillar") and "\n 1. " in text and "\nCautions\n" in text
    run("guide", "d-pillar", "--out", str(tmp_path / "leaf.html"))
    assert "<svg" in (tmp_path / "leaf.html").read_text("utf-8")


@pytest.mark.parametrize("words", [("narrate",), ("job", "handover"), ("guide",)])
def test_help_shows_examples(words: tuple[str, ...]) -> None:
    """The help of each command shows how it is used."""
    text = run(*words, "--help")
    assert "Examples:" in text and f"fieldnote {' '.join(words)}" in text
