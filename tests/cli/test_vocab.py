"""``fieldnote vocab`` as a person and as a script use it."""

import json
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from fieldnote.cli.app import app
from fieldnote.errors import FieldnoteError
from fieldnote.store import Store
from tests.vocabulary.small_pack import PLACES, write_pack


@pytest.fixture(autouse=True)
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("FIELDNOTE_HOME", str(tmp_path / "home"))
    monkeypatch.setenv("COLUMNS", "200")
    return tmp_path / "home"


def run(*words: str, code: int = 0, stdin: str | None = None) -> str:
    result = CliRunner().invoke(app, ["vocab", *words], input=stdin)
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    assert result.exit_code == code, result.output
    return result.output


def run_json(*words: str, code: int = 0, stdin: str | None = None) -> Any:
    return json.loads(run(*words, "--json", code=code, stdin=stdin))


@pytest.fixture
def boats(tmp_path: Path) -> str:
    """A pack of a few words: what the commands do does not hang on the trade."""
    return str(write_pack(tmp_path / "boats"))


# ---- check -----------------------------------------------------------------------------------------------------

BAD = [
    ("unknown-key", 'kin = "x"', "places.toml:7", "kin", "'id'|'near'|'name'|unknown key"),
    ("unknown-neighbour", 'near = ["hach"]', "places.toml:7", "near", "did you mean 'hatch'"),
    ("wrong-type", 'paired = "yes"', "places.toml:7", "paired", "true or false"),
    ("clash", 'say = ["deck hatch"]', "places.toml:15", "say", "names place 'hatch' already|'deck hatch'"),
    ("digits", 'say = ["bilge 2"]', "places.toml:7", "say", "digits as words"),
]


@pytest.mark.parametrize(("line", "where", "key", "message"), [pytest.param(*b[1:], id=b[0]) for b in BAD])
def test_check_tells_every_fault_with_its_line(tmp_path: Path, line: str, where: str, key: str, message: str) -> None:
    """File, line, key, what was found and what would be right; exit code 2."""
    bad = PLACES.split('near = ["hatch"]')[0] + line + "\n\n[[place]]\n" + PLACES.split("[[place]]\n")[2]
    folder = write_pack(tmp_path / "boats", places=bad)
    shown = run("check", "--pack", str(folder), code=2)
    told = run_json("check", "--pack", str(folder), code=2)
    assert told["good"] is False
    assert any(f"{f['file']}:{f['line']}" == where and f["key"] == key for f in told["faults"]), told
    assert any(part in shown for part in message.split("|"))


def test_check_of_the_shipped_pack_counts_and_lists_what_sounds_alike() -> None:
    """No faults, the counts, and the risky pairs."""
    shown = run("check")
    assert "no faults" in shown
    assert "Sound alike" in shown
    told = run_json("check", "--list")
    assert told["good"] is True
    assert told["counts"]["place"]["terms"] == len(told["terms"]["place"])


def test_check_warns_where_confusions_were_measured_with_another_model(tmp_path: Path) -> None:
    """Stale measurements may mislead."""
    heard = '[[heard]]\nheard = "bill edge"\nsaid = "bilge"\ntimes = 1\nof = 2\nmodel = "0123456789abcdef"\n'
    shown = run("check", "--pack", str(write_pack(tmp_path / "boats", heard=heard)))
    assert "another recogniser (0123456789ab)" in shown


def test_check_finds_faults_of_the_proving_set(tmp_path: Path) -> None:
    """The labelled dictations are checked with the words."""
    folder = write_pack(tmp_path / "boats")
    (folder / "proving").mkdir()
    (folder / "proving" / "a.toml").write_text('[[job]]\nid = "x"\n', encoding="utf-8")
    assert "proving/a.toml:1" in run("check", "--pack", str(folder), code=2)


# ---- add -------------------------------------------------------------------------------------------------------


def test_add_and_undo(home: Path, boats: str) -> None:
    """What was added is understood at once, and can be taken back."""
    assert "Added 'wire donut'" in run("add", "part", "seal", "wire donut", "--pack", boats)
    assert "part seal" in run("say", "wire donut is torn", "--pack", boats)
    assert run_json("add", "--undo", "--pack", boats)["undone"] == "'wire donut' for the part seal"
    assert not list(home.rglob("*.toml"))


def test_add_tells_what_the_new_words_sound_like(boats: str) -> None:
    """An editor should know before a technician does."""
    told = run_json("add", "part", "seal", "gromble", "hetch", "--pack", boats)
    assert told["added"].startswith("'gromble', 'hetch'")
    assert [(p["one"]["phrase"], p["other"]["phrase"]) for p in told["pairs"]] == [("hatch", "hetch")]


@pytest.mark.parametrize(
    ("words", "message"),
    [
        pytest.param(("add",), "are needed", id="nothing-given"),
        pytest.param(("add", "part", "grommet", "bung"), "the part body-plug already", id="clash"),
        pytest.param(("add", "part", "grommet", "x y", "--name", "z"), "belongs to a new term", id="name-of-old-term"),
        pytest.param(("add", "--new", "part", "flap", "flappy", "--like", "hood"), "belongs to a place", id="like"),
        pytest.param(("add", "--undo"), "no addition is left", id="nothing-to-undo"),
        pytest.param(("say", " "), "nothing to understand", id="nothing-said"),
        pytest.param(("say", "x", "--steering", "up"), "left or right", id="steering"),
        pytest.param(("unknown", "job-1", "--text", "x"), "exclude each other", id="two-sources"),
        pytest.param(("check", "--pack", "no-such"), "no vocabulary pack", id="no-pack"),
    ],
)
def test_mistakes_get_one_clear_line(words: tuple[str, ...], message: str) -> None:
    """What is wrong, and what to do."""
    with pytest.raises(FieldnoteError, match=message) as caught:
        run(*words)
    assert caught.value.exit_code == 1
    assert caught.value.do


def test_a_new_place_is_understood_and_ranked(home: Path) -> None:
    """Its words, its side, and its rows in the leak map."""
    near = ["--near", "rear-floor", "--assembly", "trunk", "--like", "tail-lamp", "--paired"]
    run("add", "--new", "place", "deck-filler", "deck filler", "filler strip", "--name", "deck filler panel", *near)
    told = run_json("say", "left deck filler gasket is torn")
    entry = told["utterances"][0]["entries"][0]
    assert (entry["place"], entry["part"], entry["side"]) == ("deck-filler", "gasket", "left")
    map_text = next(home.rglob("leak_map.toml")).read_text(encoding="utf-8")
    assert 'place = "deck-filler"' in map_text
    assert run_json("check")["map_behind_shipped"] is False
    older = map_text.replace(map_text.splitlines()[0], "# Copied from the shipped map 0123456789abcdef")
    next(home.rglob("leak_map.toml")).write_text(older, encoding="utf-8")
    assert "copy of an older shipped one" in run("check")


# ---- say, unknown, confusable, prove -----------------------------------------------------------------------------


def test_say_shows_words_entries_and_what_was_left_over(boats: str) -> None:
    """Spans slice the sentence."""
    text = "left hatch seal torn blimey"
    told = run_json("say", text, "--pack", boats)["utterances"][0]
    assert all(text[m["start"] : m["end"]] == m["text"] for m in told["matched"])
    entry = told["entries"][0]
    assert (entry["kind"], entry["place"], entry["part"], entry["side"], entry["state"]) == (
        "check",
        "hatch",
        "seal",
        "left",
        "torn",
    )
    assert [o["text"] for o in told["leftovers"]] == ["blimey"]
    shown = run("say", text, "--pack", boats)
    assert "→ check: place hatch; part seal; side left; state torn" in shown
    assert "left over: 'blimey'" in shown


def test_say_reads_lines_and_carries_over_from_one_to_the_next(boats: str) -> None:
    """Several sentences are one job."""
    told = run_json("say", "-", "--pack", boats, stdin="left hatch\nseal torn\n")
    entry = told["utterances"][1]["entries"][0]
    assert (entry["place"], entry["side"]) == ("hatch", "left")


def test_unknown_reads_kept_jobs(home: Path) -> None:
    """Leftovers of the store, by frequency, with the job's own sentence."""
    from fieldnote.flow import read_text
    from fieldnote.flow.rooms import Rooms

    with Store(home) as store:
        job = store.open_job("van 3")
        read_text(store, job, "the gubbins is torn\nanother gubbins there\n", Rooms(home).extractor)
    told = run_json("unknown")
    row = next(u for u in told["unknown"] if "gubbins" in u["phrase"])
    assert row["times"] == 2
    assert "the gubbins is torn" in row["examples"]
    assert "gubbins" in run("unknown", "van 3")


def test_unknown_without_jobs_says_so() -> None:
    """An empty store is not a pack that knows everything."""
    assert "No job is kept yet" in run("unknown")


def test_unknown_reads_a_text(tmp_path: Path, boats: str) -> None:
    """Notes that were never kept as a job."""
    notes = tmp_path / "notes.txt"
    notes.write_text("the flibbet torn\n", encoding="utf-8")
    told = run_json("unknown", "--text", str(notes), "--pack", boats)
    assert [u["phrase"] for u in told["unknown"]] == ["flibbet"]
    assert "flibbet" in run("unknown", "--text", "-", "--pack", boats, stdin="the flibbet torn\n")


def test_confusable_narrows_to_a_word(tmp_path: Path) -> None:
    """Everything that sounds like a seal."""
    more = '[[part]]\nid = "ceiling"\nsay = ["seel", "hetch"]\n'
    folder = str(write_pack(tmp_path / "boats", more=more))
    assert len(run_json("confusable", "--pack", folder)["pairs"]) == 2
    told = run_json("confusable", "seal", "--pack", folder)
    assert [(p["one"]["phrase"], p["other"]["phrase"], p["risk"]) for p in told["pairs"]] == [("seal", "seel", "high")]
    assert "seal / seel" in run("confusable", "seal", "--pack", folder)
    assert "Nothing sounds alike." in run("confusable", "no such word", "--pack", folder)


def small_proof(folder: Path, state: str) -> str:
    write_pack(folder)
    (folder / "proving").mkdir(exist_ok=True)
    (folder / "proving" / "a.toml").write_text(
        '[[job]]\nid = "x"\nsay = ["hatch seal torn"]\n\n[[job.entry]]\n'
        f'kind = "check"\nplace = "hatch"\npart = "seal"\nstate = "{state}"\n',
        encoding="utf-8",
    )
    return str(folder)


def test_prove_fails_when_something_that_worked_stops_working(tmp_path: Path) -> None:
    """A word taken out of the pack is noticed, again and again, until it is back or accepted."""
    folder = small_proof(tmp_path / "boats", "torn")
    assert "2 of 2 right" in run("prove", "--pack", folder)
    rest = Path(folder) / "rest.toml"
    whole = rest.read_text(encoding="utf-8")
    rest.write_text(whole.replace('say = ["torn"]', 'say = ["chewed"]').replace('"tear"', '"chew"'), encoding="utf-8")
    assert "Lost (worked before)" in run("prove", "--pack", folder, code=1)
    told = run_json("prove", "--pack", folder, code=1)
    assert told["lost"][0]["expected"]["state"] == "torn"
    rest.write_text(whole, encoding="utf-8")
    assert run_json("prove", "--pack", folder)["lost"] == []


def test_prove_can_fail_for_anything_wrong(tmp_path: Path) -> None:
    """For those who want all of it right."""
    folder = small_proof(tmp_path / "boats", "ok")
    assert "Still wrong" in run("prove", "--pack", folder)
    run("prove", "--pack", folder, "--all-right", code=1)


@pytest.mark.parametrize("command", ["check", "add", "say", "confusable", "unknown", "prove", "measure"])
def test_help_gives_examples(command: str) -> None:
    """Every command shows how it is used."""
    assert f"fieldnote vocab {command}" in run(command, "--help")


def test_measure_tells_what_came_back_and_keeps_what_helps(
    home: Path, boats: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """From recordings, so that no voice is needed: the pack then takes the reading for the word."""
    from types import SimpleNamespace

    import numpy as np
    import soundfile

    from fieldnote.flow.rooms import Rooms

    monkeypatch.setattr(Rooms, "engine", SimpleNamespace(hear=lambda samples, hints=(): SimpleNamespace(text="Vilch.")))
    sounds = tmp_path / "sounds"
    sounds.mkdir()
    for n in (1, 2):
        soundfile.write(sounds / f"bilge-{n}.wav", np.full(1600, 0.1, dtype=np.float32), 16_000)
    told = run_json("measure", "--sound", str(sounds), "--keep", "--pack", boats)
    assert [(r["said"], r["heard"], r["times"], r["verdict"]) for r in told["readings"]] == [
        ("bilge", "vilch", 2, "kept")
    ]
    assert Path(told["file"]).is_file()
    assert "place bilge" in run("say", "vilch", "--pack", boats)
    assert "2 trials: 0 came back as said" in run("measure", "--sound", str(sounds), "--pack", boats)
    with pytest.raises(FieldnoteError, match="no words were named"):
        run("measure", "--pack", boats)
