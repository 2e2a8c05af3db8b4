"""``fieldnote next`` as it is used: JSON of the design, a screen of 80 columns, clear errors, nothing heavy loaded."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from fieldnote.cli.app import app, main
from fieldnote.errors import FieldnoteError

ENTRIES = [
    {"kind": "evidence", "place": "d-pillar", "part": "trim-panel", "side": "left", "state": "droplets"},
    {"kind": "evidence", "place": "rear-floor", "part": "carpet", "side": None, "state": "soaked"},
    {"kind": "check", "place": "liftgate-trough", "part": "grommet", "side": "left", "state": "ok"},
    {"kind": "fact", "what": "odometer", "value": 1200, "unit": "km"},
]


@pytest.fixture(autouse=True)
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("FIELDNOTE_HOME", str(tmp_path / "home"))
    monkeypatch.setenv("COLUMNS", "80")
    return tmp_path


@pytest.fixture
def file(tmp_path: Path) -> Path:
    path = tmp_path / "entries.json"
    path.write_text(json.dumps({"entries": ENTRIES, "conditions": {"liquid": "rain"}}), encoding="utf-8")
    return path


def run(*words: str, text: str | None = None) -> str:
    done = CliRunner().invoke(app, ["next", *words], input=text, catch_exceptions=False)
    assert done.exit_code == 0, done.output
    return done.stdout


def test_json_is_as_the_design_has_it(file: Path) -> None:
    """Suggestions, plan, unused and the id of the rates, each with the fields of DESIGN.md."""
    got: dict[str, Any] = json.loads(run("--entries", str(file), "--json"))
    assert {"suggestions", "plan", "unused", "rates"} <= set(got)
    assert {"rank", "place", "part", "side", "probability", "because"} <= set(got["suggestions"][0])
    keys = {"step", "do", "place", "part", "side", "method", "minutes", "opens", "cautions"}
    assert all(keys <= set(step) for step in got["plan"])
    assert {step["do"] for step in got["plan"]} <= {"look", "test"}
    assert got["unused"] == [{"entry": "entry 4", "why": "a fact about the job, not about where it leaks"}]


def test_standard_input_and_a_bare_list_are_read_too(file: Path) -> None:
    """The same advice from a file, from standard input, and from a list alone."""
    from_file = json.loads(run("--entries", str(file), "--json"))
    assert json.loads(run("--entries", "-", "--json", text=file.read_text(encoding="utf-8"))) == from_file
    bare = json.loads(run("--entries", "-", "--json", text=json.dumps(ENTRIES)))
    assert bare == json.loads(run("--entries", "-", "--json", text=json.dumps({"entries": ENTRIES})))


def test_the_screen_fits_eighty_columns(file: Path) -> None:
    """Candidates, order, cautions and what was not used are there, and no line is wider than 80."""
    for words in ((), ("--all",)):
        shown = run("--entries", str(file), *words)
        assert max(len(line) for line in shown.splitlines()) <= 80
        for head in ("Where the water may come in", "What to do next", "Cautions", "Not used"):
            assert head in shown
        assert "maker's procedure" in shown


BAD = [
    ("no JSON", "{", "no JSON", 2),
    ("no entries", "{}", '"entries"', 2),
    ("an entry that is text", '{"entries": ["wet"]}', "entry 1", 2),
    ("an unknown kind", '{"entries": [{"kind": "rumour"}]}', "kind 'rumour'", 2),
    ("an unknown field", '{"entries": [{"kind": "check", "colour": "red"}]}', "'colour'", 2),
    ("an unknown side", '{"entries": [{"kind": "check", "side": "port"}]}', "'port'", 2),
    ("unknown conditions", '{"entries": [], "conditions": {"mood": "bad"}}', "'mood'", 2),
    ("conditions of a wrong type", '{"entries": [], "conditions": {"liquid": 3}}', "conditions.liquid", 2),
]


@pytest.mark.parametrize(("content", "words", "code"), [b[1:] for b in BAD], ids=[b[0] for b in BAD])
def test_bad_input_gets_one_clear_line(
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    content: str,
    words: str,
    code: int,
) -> None:
    """What, where and what to do, with the exit code of bad data."""
    path = tmp_path / "bad.json"
    path.write_text(content, encoding="utf-8")
    monkeypatch.setattr(sys, "argv", ["fieldnote", "next", "--entries", str(path)])
    with pytest.raises(SystemExit) as stopped:
        main()
    told = capsys.readouterr().err
    assert stopped.value.code == code
    assert words in told
    assert str(path) in told
    assert len(told.strip().splitlines()) == 1


@pytest.mark.parametrize(
    ("args", "words"),
    [
        ((), "a job or --entries"),
        (("van", "--entries", "x"), "not both"),
        (("--entries", "missing.json"), "no such file"),
        (("nobody",), "nobody"),
    ],
    ids=["nothing", "both", "no file", "no job"],
)
def test_mistakes_are_told_apart_from_bad_data(args: tuple[str, ...], words: str) -> None:
    """Exit code 1, one line."""
    with pytest.raises(FieldnoteError, match=words) as caught:
        CliRunner().invoke(app, ["next", *args], catch_exceptions=False)
    assert caught.value.exit_code == 1


def test_a_kept_job_is_advised_on() -> None:
    """From the store, through the street; what closed jobs taught can be switched off, and shown."""
    runner = CliRunner()
    made = runner.invoke(app, ["job", "new", "unit 9", "--json"], catch_exceptions=False)
    assert made.exit_code == 0, made.output
    got = json.loads(run("unit 9", "--json"))
    assert got["rates"].startswith("map-")
    assert got["plan"]
    assert json.loads(run("unit 9", "--no-learning", "--json")) == got
    assert "No closed job has taught" in run("--changes")
    assert json.loads(run("--changes", "--json")) == {"rates": None, "changes": []}


def test_next_loads_nothing_heavy(file: Path) -> None:
    """No matcher, no recogniser, no page server: the command answers from entries alone."""
    code = (
        "import sys; from fieldnote.cli.app import app\n"
        f"sys.argv = ['fieldnote', 'next', '--entries', {str(file)!r}, '--json']\n"
        "try:\n    app()\nexcept SystemExit:\n    pass\n"
        "heavy = {'spacy', 'vosk', 'ctranslate2', 'faster_whisper', 'sounddevice', 'fastapi'} & set(sys.modules)\n"
        "print(sorted(heavy), file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60)
    assert done.stderr.strip().splitlines()[-1] == "[]"
    assert json.loads(done.stdout)["suggestions"]
