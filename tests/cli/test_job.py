from __future__ import annotations

import io
import json
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from rich.console import Console
from typer.testing import CliRunner

from fieldnote.cli.app import app, main
from fieldnote.cli.entry_table import short_ids
from fieldnote.errors import UserMistake
from fieldnote.flow import read_text
from fieldnote.flow.intake_answers import Answers, intake_of, read_odometer, vin_remark
from fieldnote.store import Store
from tests.flow.doubles import Copier


@pytest.fixture(autouse=True)
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("FIELDNOTE_HOME", str(tmp_path / "home"))
    monkeypatch.setenv("COLUMNS", "80")
    return tmp_path / "home"


@pytest.fixture
def filled(home: Path) -> Iterator[Store]:
    """A job "van 3" with two entries."""
    with Store(home) as store:
        opened = store.open_job("van 3")
        read_text(store, opened, "seam has a gap\nthe other seam [b]too[/b]", Copier())
        yield store


def run(*words: str) -> str:
    """What a command prints; it must succeed."""
    done = CliRunner().invoke(app, ["job", *words], catch_exceptions=False)
    assert done.exit_code == 0, done.output
    return done.stdout


def run_json(*words: str) -> Any:
    return json.loads(run(*words, "--json"))


def test_a_job_is_opened_with_nothing_but_a_name() -> None:
    """Everything else can be skipped, and the JSON is as the design has it."""
    opened = run_json("new", "unit 12")["job"]
    assert (opened["name"], opened["status"], opened["intake"]) == ("unit 12", "open", {})
    assert run_json("show", opened["id"])["job"] == opened
    assert set(run_json("show", "unit 12")) >= {"job", "utterances", "entries", "edits"}


def test_the_whole_intake_can_be_given_as_options() -> None:
    """Every question has an option, and conditions are looked up in the vocabulary."""
    opened = run_json(
        "new", "unit 12", "--vehicle", "van 12", "--family", "V2", "--model-year", "2019", "--build-month", "2019-04",
        "--vin", "zzz7a1b2c3d004352", "--odometer", "62,305 mi", "--order", "48813", "--complaint", "wet carpet",
        "--steering", "right", "--liquid", "car wash", "--liquid", "rain", "--parked", "nose-down", "--when", "driving",
        "--earlier-work", "glass", "--since", "last winter", "--technician", "Kim",
    )["job"]["intake"]  # fmt: skip
    assert opened == {
        "vehicle": "van 12",
        "family": "V2",
        "model_year": 2019,
        "build_month": "2019-04",
        "vin": "ZZZ7A1B2C3D004352",
        "odometer": 62305.0,
        "odometer_unit": "mi",
        "order_number": "48813",
        "complaint": "wet carpet",
        "steering": "right",
        "conditions": {
            "liquid": ["wash", "rain"],
            "parked": ["nose-down"],
            "when": ["driving"],
            "earlier_work": ["glass"],
            "since": "last winter",
        },
        "technician": "Kim",
    }


@pytest.mark.parametrize(
    ("typed", "reading"),
    [
        ("62,305 mi", (62305.0, "mi")),
        ("62305 miles", (62305.0, "mi")),
        ("100.200 km", (100200.0, "km")),
        ("100 200km", (100200.0, "km")),
        ("88012.4 km", (88012.4, "km")),
        ("1.234.567 km", (1234567.0, "km")),
        ("5", (5.0, None)),
    ],
)
def test_an_odometer_is_read_as_people_write_it(typed: str, reading: tuple[float, str | None]) -> None:
    """Points and commas of thousands are told from decimals; the unit may be missing."""
    assert read_odometer(typed) == reading


@pytest.mark.parametrize("typed", ["mi", "sixty", "12 furlongs"])
def test_an_odometer_that_is_none_is_refused(typed: str) -> None:
    with pytest.raises(UserMistake, match="not a reading"):
        read_odometer(typed)


@pytest.mark.parametrize(
    ("vin", "odd"),
    [("ZZZ7A1B2C3D004352", False), (None, False), ("ABC", True), ("OZZ7A1B2C3D004352", True)],
    ids=str,
)
def test_an_odd_vin_is_remarked_and_kept(vin: str | None, odd: bool) -> None:
    """A VIN has 17 characters and no I, O or Q (ISO 3779, from memory)."""
    assert (vin_remark(vin) is not None) == odd


def test_list_shows_newest_first_and_by_state() -> None:
    """Closed jobs can be left out."""
    for name in ("one", "two"):
        run("new", name)
    run("close", "one")
    assert [line["name"] for line in run_json("list")["jobs"]] == ["two", "one"]
    assert [line["name"] for line in run_json("list", "--state", "open")["jobs"]] == ["two"]
    assert run_json("list", "--limit", "1")["more"] is True
    assert "There are more" in run("list", "--limit", "1")
    run("reopen", "one")
    assert len(run_json("list", "--state", "open")["jobs"]) == 2


def test_correct_disregard_and_undo(filled: Store) -> None:
    """An entry is named by the start of its id as the table shows it, and every change can be taken back."""
    first, second = (entry["id"] for entry in run_json("show", "van 3")["entries"])
    short = short_ids((first, second))
    assert short[first] in run("show", "van 3")
    assert "right" in run("correct", "van 3", short[first], "side", "right", "--by", "Kim")
    run("disregard", "van 3", second)
    shown = run_json("show", "van 3")
    assert [entry["side"] for entry in shown["entries"]] == ["right"]
    assert (shown["edits"][0]["action"], shown["edits"][0]["person"]) == ("set", "Kim")
    assert "Took back: disregarded" in run("undo", "van 3")
    assert len(run_json("show", "van 3")["entries"]) == 2
    changes = run("show", "van 3", "--changes")
    assert "side: none → right" in " ".join(changes.split())


def test_the_intake_can_be_given_later(filled: Store) -> None:
    """What was skipped is added, what was wrong replaced, and what is not named stays."""
    run("intake", "van 3", "--order", "48813", "--liquid", "rain")
    run("intake", "van 3", "--order", "48814", "--name", "van 3b")
    shown = run_json("show", "van 3b")["job"]["intake"]
    assert shown == {"order_number": "48814", "conditions": {"liquid": ["rain"]}}


def test_find_by_words_and_by_finding(filled: Store) -> None:
    """Free words and the finding of one entry."""
    assert [line["name"] for line in run_json("find", "other", "seams")["jobs"]] == ["van 3"]
    assert [line["name"] for line in run_json("find", "--finding", "gap", "--place", "hood")["jobs"]] == ["van 3"]
    assert run_json("find", "elsewhere")["jobs"] == []
    assert "No job fits" in run("find", "elsewhere")


def test_what_is_shown_fits_80_columns_and_takes_no_text_for_markup(filled: Store) -> None:
    """Long names fold, and words that look like markup are printed as they are."""
    filled.amend_job(
        filled.find_id("van 3"), "name", "a minibus with a name longer than anybody would give [red]x", "k"
    )
    for words in (("list",), ("show", "a minibus", "--words", "--changes"), ("find", "seam")):
        shown = run(*words)
        assert all(len(line) <= 80 for line in shown.splitlines())
    assert "[b]too[/b]" in run("show", "a minibus", "--words")
    assert "[red]x" in " ".join(run("show", "a minibus").split())


@pytest.mark.parametrize(
    ("words", "code", "told"),
    [
        (("show", "nobody"), 1, "no such job"),
        (("new", "van 3"), 1, "there already"),
        (("new", " "), 1, "needs a name"),
        (("new", "x", "--steering", "up"), 1, "left or right"),
        (("new", "x", "--model-year", "19"), 1, "four digits"),
        (("new", "x", "--build-month", "April"), 1, "2019-04"),
        (("new", "x", "--liquid", "ran"), 1, "Did you mean 'rain'"),
        (("new", "x", "--ask"), 1, "nobody is here"),
        (("new", "x", "--pack", "nothing"), 1, "no vocabulary pack"),
        (("find",), 1, "nothing to look for"),
        (("find", "x", "--since", "soon"), 1, "not a date"),
        (("list", "--state", "lost"), 1, "open or closed"),
        (("close", "nobody"), 1, "no such job"),
        (("undo", "van 3"), 1, "no change to take back"),
        (("intake", "van 3"), 1, "nothing was given"),
        (("correct", "van 3", "zzz", "side", "left"), 1, "no such entry"),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, tuple) else None,
)
@pytest.mark.usefixtures("filled")
def test_mistakes_are_one_line_with_a_code(
    words: tuple[str, ...],
    code: int,
    told: str,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """What is wrong, where, what to do, on standard error, as text and as JSON."""
    monkeypatch.setattr("sys.stdin", io.StringIO())
    for extra in ((), ("--json",)):
        monkeypatch.setattr("sys.argv", ["fieldnote", "job", *words, *extra])
        with pytest.raises(SystemExit) as ended:
            main()
        shown = capsys.readouterr()
        assert ended.value.code == code
        assert told in shown.err
        assert len(shown.err.strip().splitlines()) == 1
        assert shown.out == ""
        if extra:
            assert set(json.loads(shown.err)["error"]) == {"what", "where", "do"}


def test_a_broken_store_is_code_2(home: Path) -> None:
    """Bad data has its own exit code."""
    home.mkdir()
    (home / "jobs.db").write_text("this is no database, and longer than a page of one would be" * 20)
    done = _process("job", "list")
    assert (done.returncode, "not a fieldnote database" in done.stderr) == (2, True)


def test_job_commands_never_load_the_matcher(filled: Store) -> None:
    """Showing and listing jobs imports neither spaCy nor a recogniser."""
    code = (
        "import sys\n"
        "from typer.testing import CliRunner\n"
        "from fieldnote.cli.app import app\n"
        "for words in (['list'], ['show', 'van 3'], ['find', 'seam'], ['new', 'x', '--liquid', 'rain']):\n"
        "    assert CliRunner().invoke(app, ['job', *words]).exit_code == 0\n"
        "heavy = ('spacy', 'ctranslate2', 'vosk', 'faster_whisper', 'sounddevice')\n"
        "print([name for name in heavy if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_closing_with_something_still_off_is_told(home: Path) -> None:
    """The job is closed as was asked; what was not put back is named, and nothing is once it is."""
    from fieldnote.extract import Extractor
    from fieldnote.vocabulary import load_pack

    extractor = Extractor(load_pack("body-leaks"))
    with Store(home) as store:
        read_text(store, store.open_job("van 4"), "Pulled the trim panel off the left D-pillar.", extractor)
    told = CliRunner().invoke(app, ["job", "close", "van 4"], catch_exceptions=False).stderr
    assert "still off: The trim panel on the left D-pillar" in told
    run("reopen", "van 4")
    with Store(home) as store:
        read_text(store, "van 4", "Trim panel refitted on the left D-pillar.", extractor)
    assert "still off" not in CliRunner().invoke(app, ["job", "close", "van 4"], catch_exceptions=False).stderr


def test_questions_are_asked_one_at_a_time(monkeypatch: pytest.MonkeyPatch) -> None:
    """Enter skips a question, a wrong answer is asked again, a dot skips the rest."""
    from fieldnote.cli import intake_form as form
    from fieldnote.vocabulary import load_pack

    typed = iter(["van 12", "19", "2019", "", "", "", "", "", "", "ran", "rain, wash", "."])
    asked: list[str] = []

    def answer(question: str, **_: Any) -> str:
        asked.append(question)
        return next(typed)

    monkeypatch.setattr(form, "sys", _Terminal())
    monkeypatch.setattr(form.typer, "prompt", answer)
    answers = form.ask(Answers(family="V2"), load_pack("body-leaks"))
    intake = intake_of(answers)
    assert (intake.vehicle, intake.family, intake.model_year, intake.vin) == ("van 12", "V2", 2019, None)
    assert intake.conditions.liquid == ("rain", "wash")
    assert not any("Family" in question for question in asked)


class _Terminal:
    """Standard input of somebody who sits there."""

    class stdin:  # noqa: N801
        @staticmethod
        def isatty() -> bool:
            return True


def _process(*words: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "fieldnote", *words]
    return subprocess.run(command, capture_output=True, text=True, stdin=subprocess.DEVNULL)


def test_a_table_of_entries_fits_80_columns(filled: Store) -> None:
    """The widest entry folds instead of running over."""
    from fieldnote.cli.entry_table import entry_table
    from fieldnote.records import Entry, Quantity

    entry = Entry(
        "evidence",
        "sliding-door-track",
        "door-trim-panel",
        "center",
        "standing-water",
        certainty="unsure",
        at=("upper", "lower", "front", "rear"),
        item=12,
        quantities=(Quantity("time-to-leak", 12.5, "min"), Quantity("distance", 12.5, "in")),
        id="e1234",
    )
    console = Console(width=80, record=True, file=io.StringIO())
    console.print(entry_table([entry]))
    text = console.export_text()
    assert all(len(line.rstrip()) <= 80 for line in text.splitlines())
    assert "standing-water ?" in text
