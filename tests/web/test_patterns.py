"""The page of patterns: every figure with its denominator and chart, each row opening its jobs, nobody's name in it."""

from __future__ import annotations

import csv
import io
import re
import xml.etree.ElementTree as ET
from collections.abc import Iterator
from dataclasses import replace
from html import unescape
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import pytest

pytest.importorskip("fastapi", reason="the pages need fieldnote[page]")

from fastapi.testclient import TestClient

from fieldnote.flow import Rooms
from fieldnote.flow.recurring import recurring
from fieldnote.patterns.shown import parts
from fieldnote.patterns.tables import FIGURES
from fieldnote.records import Patterns
from fieldnote.web.app import create_app
from fieldnote.web.patterns import naming
from tests.bench.filling import fill
from tests.bench.plausible_jobs import PEOPLE, plausible_jobs
from tests.web.conftest import HOST, rooms_in

JOBS = 80


@pytest.fixture(scope="module")
def many(shipped: Rooms, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Rooms]:
    """A store of plausible jobs, some worked on by apprentices, one of another vocabulary."""
    rooms = rooms_in(tmp_path_factory.mktemp("many") / "home", shipped)
    made = plausible_jobs(rooms.leak_map, JOBS, seed=11)
    fill(
        rooms.store,
        (replace(m, intake=replace(m.intake, role="Apprentice" if n % 4 == 0 else None)) for n, m in enumerate(made)),
    )
    rooms.store.open_job("wall 1", pack="building-leaks")
    yield rooms
    rooms.store.close()


@pytest.fixture(scope="module")
def client(many: Rooms) -> Iterator[TestClient]:
    with TestClient(create_app(many, [HOST]), base_url=f"http://{HOST}") as opened:
        yield opened


@pytest.fixture
def no_charts(monkeypatch: pytest.MonkeyPatch) -> None:
    """Pages of which the charts are not looked at: drawing takes most of their time."""
    monkeypatch.setattr("fieldnote.web.patterns.drawings", lambda *_: {})


@pytest.fixture(scope="module")
def page(client: TestClient) -> str:
    """The page with everything."""
    answer = client.get("/patterns")
    assert answer.status_code == 200
    return answer.text


@pytest.fixture(scope="module")
def found(many: Rooms) -> Patterns:
    return recurring(many)


def words(text: str) -> str:
    """What a page says, without its marks."""
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", text)).split())


def test_every_figure_says_what_its_shares_are_of(page: str, found: Patterns) -> None:
    """Each denominator, and that jobs are not vehicles built."""
    told = words(page)
    assert all(" ".join(of.split()) in told for of in found.denominators.values())
    assert "not vehicles built" in told and "Places looked at first are found more often" in told
    assert [f'id="{figure}"' in page for figure in FIGURES] == [True] * len(FIGURES)


def test_every_row_opens_the_jobs_behind_it(client: TestClient, many: Rooms, found: Patterns) -> None:
    """The first row of each table, whole: as many jobs as counted, each a link to the job itself."""
    opened = 0
    for part in parts(found, naming(many)):
        for grid in part.grids:
            for line in grid.lines[:1]:
                if not line.jobs:
                    continue
                address = f"/patterns/jobs?{urlencode({'figure': part.figure, 'row': line.key})}"
                answer = client.get(address)
                assert answer.status_code == 200, address
                ids = {job for pair in line.jobs[:100] for job in ((pair,) if isinstance(pair, str) else pair)}
                assert set(re.findall(r'href="/jobs/(j[0-9a-z]{12})"', answer.text)) == ids
                opened += 1
    assert opened >= 6


def test_the_addresses_of_the_page_are_those_that_answer(client: TestClient, page: str) -> None:
    """Every link of the page that is not a file, as it stands there."""
    links = {unescape(link) for link in re.findall(r'href="(/patterns[^"]*)"', page)}
    jobs = sorted(link for link in links if link.startswith("/patterns/jobs"))
    assert len(jobs) > 50
    for link in [*jobs[::9], "/patterns/learned"]:
        assert client.get(link).status_code == 200, link


@pytest.mark.usefixtures("no_charts")
def test_filters_narrow_the_jobs_and_stay_in_the_links(client: TestClient, many: Rooms) -> None:
    """Place, dates and role; what was asked for is in the form and in every link."""
    asked = {"since": "2024-01-01", "role": "apprentice", "grade": "cured"}
    answer = client.get(f"/patterns?{urlencode(asked)}")
    want = client.get("/patterns").text
    assert answer.status_code == 200
    (count,) = re.findall(r"What recurs in (\d+) job", answer.text)
    apprentices = [line for line in many.store.jobs(since="2024-01-01") if "visit" in line.name]
    assert 0 < int(count) < len(apprentices)
    assert 'value="2024-01-01"' in answer.text and "role=apprentice" in answer.text
    assert f"What recurs in {JOBS} jobs" in want


@pytest.mark.usefixtures("no_charts")
@pytest.mark.parametrize(
    ("query", "status", "tells"),
    [
        ("since=yesterday", 422, "this is not a date"),
        ("place=nowhere", 404, "no such place"),
        ("role=boss", 404, "Jobs name: Apprentice"),
        ("pack=hats", 404, "no job has this vocabulary"),
        ("within=soon", 422, "cannot be read"),
        ("since=2031-01-01", 200, "No job fits"),
    ],
    ids=["date", "place", "role", "pack", "days", "none"],
)
def test_mistakes_in_an_address_are_told(client: TestClient, query: str, status: int, tells: str) -> None:
    """A page that says what is wrong."""
    answer = client.get(f"/patterns?{query}")
    assert (answer.status_code, tells.lower() in words(answer.text).lower()) == (status, True)


@pytest.mark.usefixtures("no_charts")
def test_another_vocabulary_has_its_own_figures(client: TestClient) -> None:
    """One job of the other pack, without a leak."""
    answer = client.get("/patterns?pack=building-leaks")
    assert answer.status_code == 200
    assert "What recurs in 1 job" in answer.text


def test_a_row_that_is_gone_is_told(client: TestClient) -> None:
    """Somebody kept the address of a row, and the jobs changed."""
    answer = client.get("/patterns/jobs?figure=sources&row=hood~roof-tile")
    assert answer.status_code == 404 and "No such row" in answer.text


def test_charts_carry_no_style_of_their_own(page: str) -> None:
    """The policy of the page forbids inline styles; every chart has a name, and ids are not used twice."""
    charts = re.findall(r"<svg[^>]*role=\"img\".*?</svg>", page, re.DOTALL)
    assert len(charts) >= 8
    for chart in charts:
        assert " style=" not in chart and "<style" not in chart and "<script" not in chart
        root = ET.fromstring(chart.replace("<svg ", '<svg xmlns:x="x" ', 1))
        assert root.attrib["aria-label"]
        assert re.search(r'class="[fs]-', chart)
    ids = re.findall(r'\sid="([^"]+)"', page)
    assert len(ids) == len(set(ids))
    used = set(re.findall(r'href="#([^"]+)"', page)) | set(re.findall(r"url\(#([^)]+)\)", page))
    assert used <= set(ids)


def test_files_to_take_away(client: TestClient, found: Patterns) -> None:
    """Tables as CSV and Parquet, charts as SVG and PNG, and everything as PDF."""
    rows = list(csv.DictReader(io.StringIO(client.get("/patterns/files/sources.csv").text)))
    assert [row["place"] for row in rows] == [row.place for row in found.sources]
    for name, begins in (
        ("sources.parquet", b"PAR1"), ("sources.svg", b"<?xml"), ("sources.png", b"\x89PNG"), ("patterns.pdf", b"%PDF"),
    ):  # fmt: skip
        answer = client.get(f"/patterns/files/{name}")
        assert answer.content.startswith(begins)
        assert f'filename="{name}"' in answer.headers["content-disposition"]
    assert client.get("/patterns/files/hats.csv").status_code == 404
    assert client.get("/patterns/files/..%2f..%2fjobs.db").status_code == 404


def test_nobody_is_named(client: TestClient, page: str) -> None:
    """No technician in the page or a file, though every job names one."""
    texts = [page, client.get("/patterns/files/groups.csv").text]
    assert not {word for text in texts for word in re.findall(r"\w+", words(text))} & set(PEOPLE)


@pytest.mark.usefixtures("no_charts")
def test_many_new_jobs_are_read_while_the_page_waits(
    shipped: Rooms, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The page says how far it is and comes by itself; then it is there."""
    monkeypatch.setattr("fieldnote.web.patterns._MANY_DUE", 5)
    rooms = rooms_in(tmp_path / "home", shipped)
    fill(rooms.store, plausible_jobs(rooms.leak_map, 60, seed=4))
    app: Any = create_app(rooms, [HOST])
    with TestClient(app, base_url=f"http://{HOST}") as client:
        first = client.get("/patterns").text
        assert "of 60." in words(first) and 'http-equiv="refresh"' in first
        reading = app.state.patterns_reading["body-leaks"]
        reading.thread.join(20)
        assert "What recurs in 60 jobs" in client.get("/patterns").text
    rooms.store.close()


def test_what_was_learned_is_shown_before_and_after(client: TestClient, many: Rooms) -> None:
    """The shares of cured jobs and how far they moved the map."""
    text = words(client.get("/patterns/learned").text)
    assert re.search(r"From \d+ cured and closed jobs", text)
    assert "The map’s own" in text and "up" in text
