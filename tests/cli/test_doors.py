"""The command line as a whole: what each command loads, help with examples, errors as one line or as JSON."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from pathlib import Path

import click
import pytest
import typer

ROOT = Path(__file__).resolve().parent.parent.parent
HEAVY = ("spacy", "ctranslate2", "faster_whisper", "vosk", "sounddevice", "onnxruntime")
ENTRIES = json.dumps({"entries": [{"kind": "evidence", "place": "rear-floor", "part": "carpet", "state": "soaked"}]})


def _run(
    arguments: list[str], home: Path, given: str = "", blocked: tuple[str, ...] = ()
) -> tuple[int, str, str, list[str]]:
    """Run a command in a process of its own; also says which heavy libraries it loaded."""
    code = (
        "import json, sys\n"
        f"blocked = {set(blocked)!r}\n"
        "class Absent:\n"
        "    def find_spec(self, name, path=None, target=None):\n"
        "        if name.split('.')[0] in blocked:\n"
        "            raise ModuleNotFoundError(f'No module named {name!r}', name=name)\n"
        "sys.meta_path.insert(0, Absent())\n"
        f"sys.argv = {['fieldnote', *arguments]!r}\n"
        "from fieldnote.cli.app import main\n"
        "code = 0\n"
        "try:\n"
        "    main()\n"
        "except SystemExit as stop:\n"
        "    code = stop.code or 0\n"
        f"loaded = sorted({{m.split('.')[0] for m in sys.modules}} & {set(HEAVY)!r})\n"
        "print('\\n#loaded ' + json.dumps(loaded))\n"
        "sys.exit(code)\n"
    )
    environment = {**os.environ, "FIELDNOTE_HOME": str(home), "COLUMNS": "80"}
    done = subprocess.run(
        [sys.executable, "-c", code], input=given, capture_output=True, text=True, env=environment, cwd=ROOT
    )
    out, _, loaded = done.stdout.rpartition("\n#loaded ")
    return done.returncode, out, done.stderr, json.loads(loaded or "[]")


@pytest.mark.parametrize(
    "arguments",
    [["--help"], ["next", "--entries", "-"], ["job", "list"], ["narrate", "--entries", "-"], ["models", "list"]],
    ids=lambda arguments: arguments[0],
)
def test_light_commands_load_no_heavy_library(arguments: list[str], tmp_path: Path) -> None:
    """Help, next, job, narrate and models load neither the matcher's nor any recogniser's library."""
    code, out, err, loaded = _run(arguments, tmp_path, ENTRIES)
    assert code == 0, err
    assert out.strip()
    assert loaded == []


@pytest.mark.slow
def test_hearing_works_without_microphone_library_and_vosk(tmp_path: Path) -> None:
    """A machine that lacks PortAudio and vosk still recognises a recording with the embedded model."""
    clip = ROOT / "sample_audio" / "09-correction.flac"
    code, out, err, _ = _run(["hear", str(clip), "--json"], tmp_path, blocked=("sounddevice", "vosk"))
    assert code == 0, err
    assert "orrection" in json.loads(out)["clips"][0]["text"]


def test_missing_job_is_one_line_and_exit_code_1(tmp_path: Path) -> None:
    """A mistake of the user is one line that says what, where and what to do, without a traceback."""
    code, _, err, _ = _run(["job", "show", "nowhere"], tmp_path)
    assert code == 1
    assert len(err.strip().splitlines()) == 1
    assert err.startswith("fieldnote: ")


def test_errors_as_json(tmp_path: Path) -> None:
    """With --json an error is an object with what, where and do on standard error."""
    code, out, err, _ = _run(["job", "show", "nowhere", "--json"], tmp_path)
    assert code == 1
    assert out.strip() == ""
    assert set(json.loads(err)["error"]) == {"what", "where", "do"}


def _commands() -> list[tuple[str, click.Command]]:
    from fieldnote.cli.app import app

    def walk(name: str, command: click.Command) -> list[tuple[str, click.Command]]:
        inner = getattr(command, "commands", {})
        return [found for key, child in inner.items() for found in walk(f"{name} {key}".strip(), child)] or [
            (name, command)
        ]

    return walk("", typer.main.get_command(app))


@pytest.mark.parametrize("name, command", _commands(), ids=[name for name, _ in _commands()])
def test_every_command_is_explained_with_an_example(name: str, command: click.Command) -> None:
    """Each command's help says what it does and shows at least one example that begins with the command."""
    text = command.help or ""
    assert re.match(r"[A-Z].{8,}", text), f"{name} has no help"
    assert f"fieldnote {name}" in text, f"{name} has no example"


@pytest.mark.parametrize("name, command", _commands(), ids=[name for name, _ in _commands()])
def test_every_option_is_explained(name: str, command: click.Command) -> None:
    """No option and no argument without a word of help."""
    missing = [p.name for p in command.params if p.name not in ("help",) and not getattr(p, "help", None)]
    assert missing == []


@pytest.mark.parametrize(
    "arguments", [["extract", "--nonsense"], ["job", "show"], ["nonsense"]], ids=["option", "argument", "command"]
)
def test_wrong_usage_is_a_mistake_of_the_user(arguments: list[str], tmp_path: Path) -> None:
    """An unknown option or command, or a missing argument, is exit code 1 and one line that points to the help."""
    code, _, err, _ = _run(arguments, tmp_path)
    assert code == 1
    assert len(err.strip().splitlines()) == 1
    assert "--help" in err
