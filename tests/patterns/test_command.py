"""``fieldnote patterns`` as it is used: 80 columns, JSON, CSV, charts, clear errors, nothing about a person."""

from __future__ import annotations

import builtins
import csv
import json
import xml.etree.ElementTree as ET
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from fieldnote.cli.app import app
from fieldnote.errors import DeviceMissing, FieldnoteError, NotFound, StoreFault, UserMistake
from fieldnote.flow.recurring import recurring
from fieldnote.flow.rooms import Rooms
from fieldnote.patterns import Survey, survey
from fieldnote.patterns.drawings import drawings, figure_of
from fieldnote.patterns.report import asked_words
from fieldnote.patterns.rows import read_clocks, read_jobs
from fieldnote.patterns.tables import FIGURES, as_csv
from fieldnote.records import Clip, Entry, Intake, Origin, Patterns, Utterance
from fieldnote.store import Making, Store
from tests.bench.filling import fill
from tests.bench.plausible_jobs import PEOPLE, plausible_jobs
from tests.patterns.jobs import NOW, SETTINGS, job, leak, leak_map, look, pack

JOBS = 60


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """A store of plausible jobs."""
    folder = tmp_path_factory.mktemp("many") / "home"
    with Store(folder) as store:
        fill(store, plausible_jobs(leak_map(), JOBS, seed=11))
    yield folder


@pytest.fixture(autouse=True)
def here(home: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("FIELDNOTE_HOME", str(home))
    monkeypatch.setenv("COLUMNS", "80")
    # The vocabulary is read once for all calls.
    monkeypatch.setattr("fieldnote.vocabulary.load_pack", lambda *_: pack())
    monkeypatch.setattr("fieldnote.suggest.load_map", lambda _: leak_map())


@pytest.fixture(scope="module")
def found(home: Path) -> Patterns:
    """What the command shows of the store."""
    return recurring(Rooms(home))


def run(*words: str) -> str:
    done = CliRunner().invoke(app, ["patterns", *words], catch_exceptions=False)
    assert done.exit_code == 0, done.output
    return done.stdout


def refused(*words: str) -> FieldnoteError:
    with pytest.raises(FieldnoteError) as caught:
        CliRunner().invoke(app, ["patterns", *words], catch_exceptions=False)
    return caught.value


# ---- what is read -----------------------------------------------------------------------------------------------


def test_what_is_read_straight_from_the_tables_gives_what_whole_jobs_give(home: Path) -> None:
    """The short way and ``Store.outlines`` (entries whole, with all that was changed) give the same patterns."""
    with Store(home) as store:
        whole = store.outlines("body-leaks")
        with store.reading() as db:
            short = read_jobs(db, [job.id for job in whole])
    assert len(short) == len(whole) == JOBS
    assert survey(short, pack(), SETTINGS, leak_map=leak_map(), now=NOW) == survey(
        whole, pack(), SETTINGS, leak_map=leak_map(), now=NOW
    )


def test_minutes_to_find_come_from_the_clips_clock(tmp_path: Path) -> None:
    """A recording begun at 8:00 and one at 8:30, in which the leak is told after two minutes: 32 minutes."""
    with Store(tmp_path / "home") as store:
        opened = store.open_job("unit 1", Intake(vehicle="unit 1"))
        for name, started, words in (
            ("a", "2026-05-04T08:00:00Z", "carpet is wet"),
            ("b", "2026-05-04T08:30:00Z", "the hood is the leak"),
        ):
            sound = tmp_path / f"{name}.wav"
            sound.write_bytes(name.encode())
            kept = store.sounds.keep(sound)
            clip = store.add_clip(opened.id, kept, Clip("", kept.sha256, name, "", 300.0, 16_000, 1, started))
            hearing, _ = store.begin_hearing(opened.id, clip, "fake")
            store.add_heard(hearing, Utterance(f"u{name}", words, clip.id, 120.0, 123.0, engine="fake"), 300.0)
            store.end_hearing(hearing)
        whole = store.job(opened.id)
        said = whole.utterances[1]
        origin = Origin("spoken", said.id, 0, len(said.text), role="head")
        source = Entry("source", "hood", state="gap", quote=said.text, id="e1", origins=(origin,))
        store.put_extraction(whole, [source], [], Making("body-leaks", "hash", "1"))
        with store.reading() as db:
            jobs, clocks = read_jobs(db, [opened.id]), read_clocks(db, [opened.id])
    (row,) = look(jobs, Survey(grade="fault"), clocks=dict(clocks)).times
    assert (row.measure, row.median) == ("clock", pytest.approx(32.0))


# ---- the command ------------------------------------------------------------------------------------------------


def test_all_figures_fit_eighty_columns_and_say_what_they_are_shares_of(found: Patterns) -> None:
    """Every figure with its denominator; the first line says how many jobs."""
    text = run()
    assert max(len(line) for line in text.splitlines()) <= 80
    flowing = " ".join(text.split())
    assert flowing.startswith(f"What recurs in {JOBS} jobs")
    assert "not vehicles built" in flowing and "Places looked at first are found more often" in flowing
    assert set(found.denominators) == {"every", *FIGURES}
    assert all(" ".join(told.split()) in flowing for told in found.denominators.values())


def test_json_holds_every_row_with_the_jobs_behind_it() -> None:
    """The counts are those of the ids given, and each id has its name."""
    got: dict[str, Any] = json.loads(run("--json"))
    assert got["jobs"] == JOBS
    for row in got["sources"]:
        assert len(row["jobs"]) == row["share"]["count"]
        assert set(row["jobs"]) <= set(got["names"])
    assert all(len(w["jobs"]) == w["count"] for chart in got["weeks"] for w in chart["weeks"])
    assert {figure.replace("-", "_") for figure in FIGURES} <= set(got)


def test_figures_asked_for_are_the_only_ones_shown() -> None:
    """In JSON and on the screen."""
    got = json.loads(run("repeats", "--json"))
    assert "repeats" in got and "sources" not in got
    assert "Where water came in" not in run("repeats")


def test_jobs_are_named_behind_every_row(found: Patterns) -> None:
    """The first source's jobs, by name."""
    first = found.sources[0]
    assert 1 < len(first.jobs) <= 6
    text = " ".join(run("sources", "--jobs").split())
    assert all(found.names[id] in text for id in first.jobs)


def test_nothing_is_told_about_a_person(tmp_path: Path) -> None:
    """No technician's name in any output, though every job has one."""
    run("--csv", str(tmp_path))
    texts = [run("--jobs"), run("--json"), *(path.read_text() for path in tmp_path.glob("*.csv"))]
    words = {word for text in texts for word in text.replace('"', " ").replace(",", " ").split()}
    assert not words & set(PEOPLE)


def test_dates_and_places_narrow_the_jobs() -> None:
    """A place may be named as it is spoken."""
    got = json.loads(run("sources", "--json", "--since", "2024", "--place", "sliding door track"))
    assert got["place"] == "sliding-door-track"
    assert 0 < got["jobs"] < JOBS


def test_no_job_fits_is_said() -> None:
    """Not an error."""
    assert "No job fits" in run("--since", "2031")


@pytest.mark.parametrize(
    ("words", "kind", "tells"),
    [
        (["sorces"], UserMistake, "sources"),
        (["--grade", "wet"], UserMistake, "suspected, fault, water, cured"),
        (["--since", "yesterday"], UserMistake, "2026-11-25"),
        (["--until", "20261125"], UserMistake, "2026-11-25"),
        (["--place", "windsheld"], NotFound, "windshield"),
        (["--role", "boss"], NotFound, "fieldnote job intake JOB --role ROLE"),
        (["--picture", "gif", "--charts", "x"], UserMistake, "svg, png"),
    ],
    ids=["figure", "grade", "date", "no hyphens", "place", "role", "picture"],
)
def test_mistakes_are_told_in_one_line(words: list[str], kind: type[FieldnoteError], tells: str) -> None:
    """What is wrong, and what it can be."""
    error = refused(*words)
    assert isinstance(error, kind)
    assert tells in str(error) and "\n" not in str(error)


# ---- tables -----------------------------------------------------------------------------------------------------


def test_csv_holds_one_row_a_source_and_week(tmp_path: Path, found: Patterns) -> None:
    """Read back by a CSV reader: counts, intervals and ids as in the records."""
    run("--csv", str(tmp_path / "new" / "tables"))
    with (tmp_path / "new" / "tables" / "sources.csv").open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert [(r["place"], r["count"], r["jobs"].split()) for r in rows] == [
        (s.place, str(s.share.count), list(s.jobs)) for s in found.sources
    ]
    assert float(rows[0]["low"]) == pytest.approx(found.sources[0].share.low, abs=1e-6)
    weeks = (tmp_path / "new" / "tables" / "weeks.csv").read_text(encoding="utf-8").splitlines()
    assert len(weeks) == 1 + sum(len(chart.weeks) for chart in found.weeks)
    with (tmp_path / "new" / "tables" / "denominators.csv").open(newline="", encoding="utf-8") as file:
        assert dict(list(csv.reader(file))[1:]) == dict(found.denominators)


def test_parquet_holds_the_same_rows(tmp_path: Path, found: Patterns) -> None:
    """Read back by another library: counts, jobs as lists, and what the shares are of in the metadata."""
    from pyarrow import parquet

    run("sources", "repeats", "--parquet", str(tmp_path / "new"))
    table = parquet.read_table(tmp_path / "new" / "sources.parquet")
    assert table.column("count").to_pylist() == [row.share.count for row in found.sources]
    assert table.column("jobs").to_pylist() == [list(row.jobs) for row in found.sources]
    assert table.schema.metadata[b"of"].decode() == found.denominators["sources"]
    pairs = parquet.read_table(tmp_path / "new" / "repeats.parquet").column("jobs").to_pylist()
    assert pairs == [[">".join(pair) for pair in row.jobs] for row in found.repeats]


def test_a_family_that_looks_like_a_formula_stays_text() -> None:
    """A spreadsheet must not run what somebody typed as a vehicle family."""
    text = as_csv(look([job(1, leak("hood"), family="=1+1")]), "groups")
    assert "'=1+1" in text and ",=1+1" not in text


def test_a_folder_that_cannot_be_written_is_told(tmp_path: Path) -> None:
    """A file stands where the folder should be."""
    (tmp_path / "taken").write_text("")
    for option in ("--csv", "--parquet", "--charts"):
        assert isinstance(refused(option, str(tmp_path / "taken")), StoreFault)


# ---- charts -----------------------------------------------------------------------------------------------------


def _texts(path: Path) -> str:
    return " ".join(" ".join(ET.parse(path).getroot().itertext()).split())


def _with_a_bad_week() -> Patterns:
    jobs = []
    for week in range(12):
        hood = 11 if week == 6 else 2
        jobs += [
            job(100 * week + n, [Entry("evidence", "rear-floor", state="water"), *leak("hood" if n < hood else "cowl")],
                day=7.0 * week)
            for n in range(20)
        ]  # fmt: skip
    return look(jobs)


def test_charts_tell_their_numbers_as_text(tmp_path: Path) -> None:
    """Counts, denominators and the week out of control can be read in the SVG itself."""
    from fieldnote.patterns.charts import draw

    files = draw(_with_a_bad_week(), lambda _, id: id, tmp_path)
    assert [path.name for path in files] == [
        "sources.svg", "paths.svg", "weeks-01-cowl.svg", "weeks-02-hood.svg", "weeks-03-unproved.svg",
    ]  # fmt: skip
    assert "33 of 240" in _texts(files[0]) and "Of 240 jobs in which water was seen" in _texts(files[0])
    assert "33" in _texts(files[1]) and "rear-floor" in _texts(files[1])
    assert "2026-W08 11 of 20" in _texts(files[3])


def test_the_same_jobs_give_the_same_chart(tmp_path: Path) -> None:
    """Byte for byte: no date and no random mark inside."""
    from fieldnote.patterns.charts import draw

    found = look([job(1, leak("hood")), job(2, leak("cowl"))])
    first, second = (draw(found, lambda _, id: id, tmp_path / name)[0].read_bytes() for name in "ab")
    assert first == second


def test_the_report_holds_every_figure_and_nobodys_name(tmp_path: Path, found: Patterns) -> None:
    """As PDF, read back: titles, what shares are of, charts as pictures with a text in their place."""
    run("--report", str(tmp_path / "new" / "recurring.pdf"))
    data = (tmp_path / "new" / "recurring.pdf").read_bytes()
    assert data.startswith(b"%PDF")
    assert data.count(b"/Subtype /Image") >= 5
    asked = asked_words(found, lambda _, id: id)
    assert asked == "opened at any time to now; counted: leaks seen to let water in"


def test_every_figure_with_rows_has_a_chart() -> None:
    """By the stems of their files; a chart says what its shares are of."""
    drawn = drawings(_with_a_bad_week(), lambda _, id: id)
    assert {figure_of(stem) for stem in drawn} == {"sources", "paths", "weeks"}
    assert all("not vehicles built" in drawing.told for drawing in drawn.values())
    jobs = [job(n, [*leak("hood"), Entry("fact", what="labor", value=2, unit="h")], vin=f"V{n}") for n in range(8)]
    jobs += [job(50 + n, [Entry("check", "hood", state="ok"), *leak("cowl")], family="A") for n in range(40)]
    jobs += [job(100 + n, leak("hood"), family="B") for n in range(40)]
    assert {"groups-family", "times-labor", "repeats", "empty-checks"} <= set(drawings(look(jobs), lambda _, id: id))


def test_charts_without_their_library_say_what_to_install(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Exit code 3, and the name of the extra."""
    real = builtins.__import__

    def without(name: str, *rest: Any) -> Any:
        if name.split(".")[0] == "matplotlib":
            raise ImportError(name)
        return real(name, *rest)

    monkeypatch.setattr(builtins, "__import__", without)
    error = refused("--charts", str(tmp_path))
    assert isinstance(error, DeviceMissing)
    assert "fieldnote[patterns]" in str(error)
