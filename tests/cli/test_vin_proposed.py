"""A VIN that cannot be right is kept as heard, and what was probably meant is shown wherever it is seen.

The check digit is that of 49 CFR 565.15; the VINs are made up.
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from fieldnote.cli.app import app
from fieldnote.narrate.open_points import HARDLY_RIGHT
from fieldnote.store import Store
from fieldnote.web.doubts import doubts

HEARD, MEANT = "1KLDH41JXMN109186", "1KLBH41JXMN109186"
SAID = "VIN one k l d h four one j x m n one zero nine one eight six\nleft roof joint has a pinhole\n"


@pytest.fixture(autouse=True)
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("FIELDNOTE_HOME", str(tmp_path / "home"))
    monkeypatch.setenv("COLUMNS", "200")
    (tmp_path / "note.txt").write_text(SAID, encoding="utf-8")
    return tmp_path


def run(*words: str, text: str | None = None) -> str:
    done = CliRunner().invoke(app, words, input=text, catch_exceptions=False)
    assert done.exit_code == 0, done.output
    return done.stdout


def vin_of(shown: str) -> dict[str, str]:
    return next(e for e in json.loads(shown)["entries"] if e.get("what") == "vin")


def test_a_slip_is_proposed_and_not_taken(home: Path) -> None:
    """It is told everywhere; set by a person it is settled, and undone it is back."""
    run("job", "new", "van")
    taken = run("take", "van", str(home / "note.txt"))
    assert f"PROPOSED, not taken: {MEANT}" in " ".join(taken.split())
    assert f"value {MEANT}" in taken
    assert f"{MEANT} is proposed and was not taken" in run("narrate", "van")
    with Store(home / "home") as store:
        vin = next(e for e in store.job("van").entries if e.what == "vin")
        assert (vin.value, vin.proposed) == (HEARD, MEANT)
        assert any(MEANT in why for doubt in doubts(store.job("van")) for why in doubt.why)
    run("job", "correct", "van", vin.id, "value", MEANT)
    with Store(home / "home") as store:
        settled = next(e for e in store.job("van").entries if e.what == "vin")
        assert (settled.value, settled.odd, settled.proposed) == (MEANT, None, None)
    run("job", "undo", "van")
    with Store(home / "home") as store:
        assert next(e for e in store.job("van").entries if e.what == "vin").proposed == MEANT


def test_a_vin_over_two_utterances(home: Path) -> None:
    """A slip in the first half is found when the second has come."""
    said = "vin is one k l d h four one j x\nm n one zero nine one eight six\n"
    shown = vin_of(run("extract", "-", "--json", text=said))
    assert (shown["value"], shown["proposed"]) == (HEARD, MEANT)


def test_where_no_check_digit_is_required_it_is_a_warning(home: Path) -> None:
    """A maker outside North America need not use one: nothing is proposed, and the value is as sure as before."""
    vin = vin_of(run("extract", "-", "--json", text="vin w z k z z z t t z x seven k one two three four five\n"))
    assert "outside North America" in vin["odd"]
    assert "proposed" not in vin
    assert float(vin["confidence"]) >= HARDLY_RIGHT
