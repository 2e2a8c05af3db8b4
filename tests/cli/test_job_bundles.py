from __future__ import annotations

import json
import os
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner, Result

from fieldnote.cli.app import app
from fieldnote.flow import Rooms, read_text
from fieldnote.store import Store
from tests.flow.doubles import Copier, SmallPack


@pytest.fixture(autouse=True)
def house(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Two machines; the command runs on the one that FIELDNOTE_HOME names."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("FIELDNOTE_HOME", str(tmp_path / "one"))
    monkeypatch.setattr(Rooms, "extractor", Copier())
    monkeypatch.setattr(Rooms, "pack", SmallPack())
    with Store(tmp_path / "one") as store:
        read_text(store, store.open_job("Unit 12/b"), "seam has a gap", Copier())


def run(*words: str) -> Result:
    return CliRunner().invoke(app, list(words), catch_exceptions=False)


def on(machine: str, *words: str) -> Result:
    os.environ["FIELDNOTE_HOME"] = str(Path.cwd() / machine)
    return run(*words)


def run_json(*words: str) -> Any:
    return json.loads(run(*words, "--json").stdout)


def test_jobs_move_between_machines(tmp_path: Path) -> None:
    """Exported under a plain file name, taken in once, and once only."""
    written = run_json("job", "export", "unit 12/b")
    assert written["file"] == "unit-12-b.zip"
    first = json.loads(on("two", "job", "import", "unit-12-b.zip", "--json").stdout)
    again = json.loads(on("two", "job", "import", "unit-12-b.zip", "--json").stdout)
    assert (first["jobs"][0]["new"], first["jobs"][0]["added"]) == (True, 2)
    assert again["jobs"][0]["added"] == 0
    assert "nothing new" in on("two", "job", "import", "unit-12-b.zip").stdout
    shown = json.loads(on("two", "job", "show", "unit 12", "--json").stdout)
    assert [entry["quote"] for entry in shown["entries"]] == ["seam has a gap"]


def test_words_from_two_machines_are_understood_together() -> None:
    """After the import the entries are those of all words, with no further command."""
    run("job", "export", "unit 12", "--out", "a.zip")
    on("two", "job", "import", "a.zip")
    for machine, text in (("one", "left side too"), ("two", "right side too")):
        with Store(Path.cwd() / machine) as store:
            read_text(store, "unit 12", text, Copier())
    on("two", "job", "export", "--out", "b.zip")
    assert "1 utterance" in on("one", "job", "import", "b.zip").stdout
    shown = json.loads(on("one", "job", "show", "unit 12", "--json").stdout)
    assert [entry["quote"] for entry in shown["entries"]] == ["seam has a gap", "left side too", "right side too"]


def test_a_difference_is_shown_and_settled() -> None:
    """Both changes are named with who made them, and correcting again settles it."""
    run("job", "export", "unit 12", "--out", "a.zip")
    on("two", "job", "import", "a.zip")
    with Store(Path.cwd() / "one") as store:
        entry = store.job("unit 12").entries[0].id
        store.correct(store.find_id("unit 12"), entry, "side", "left", "Kim")
    with Store(Path.cwd() / "two") as store:
        store.correct(store.find_id("unit 12"), entry, "side", "right", "Lee")
    on("two", "job", "export", "--out", "b.zip")
    assert "1 changed on both machines" in on("one", "job", "import", "b.zip").stdout
    shown = " ".join(on("one", "job", "show", "unit 12").stdout.split())
    assert "Changed on two machines" in shown
    assert "Kim: side: none → left" in shown
    assert "Lee: side: none → right" in shown
    with Store(Path.cwd() / "one") as store:
        job = store.job("unit 12")
        store.correct(job.id, entry, "side", job.entries[0].side, "Kim")
        assert store.job(job.id).differences == ()


def test_the_store_is_checked_and_backed_up(tmp_path: Path) -> None:
    """All is well, exit code 0; a missing sound is named, exit code 2; a backup passes its own check."""
    done = run("store", "check")
    assert (done.exit_code, "all is well" in done.stdout) == (0, True)
    assert run_json("store", "check")["findings"] == []
    assert "1 jobs" in run("store", "backup", str(tmp_path / "copy")).stdout
    assert on("copy", "store", "check").exit_code == 0
    with Store(tmp_path / "copy") as store, store.atomic() as db:
        db.execute("DELETE FROM search")
    assert on("copy", "store", "check").exit_code == 2
    assert on("copy", "store", "check", "--mend").exit_code == 0
