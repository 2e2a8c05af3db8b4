"""What recurs across jobs, as a page: figures with charts and tables, each row opening the jobs behind it."""

from __future__ import annotations

import threading
from dataclasses import dataclass, replace
from typing import Annotated, Any
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, Query
from fastapi.responses import HTMLResponse, Response
from markupsafe import Markup

from fieldnote.errors import DeviceMissing, NotFound
from fieldnote.flow import Rooms, learned_rates
from fieldnote.flow.recurring import job_lines, packs, recurring, roles, summaries
from fieldnote.patterns import Survey
from fieldnote.patterns.drawings import Drawing, Name, drawings, figure_of
from fieldnote.patterns.grades import GRADES
from fieldnote.patterns.shown import Part, behind, parts
from fieldnote.patterns.tables import FIGURES
from fieldnote.records import Patterns
from fieldnote.suggest import changes
from fieldnote.web.asking import OnPage, Page
from fieldnote.web.chart_svg import inline_svg
from fieldnote.web.roles import needs

router = APIRouter(prefix="/patterns", dependencies=[needs("see patterns")])
PAGE = 100
_MANY_DUE = 1_000
"""More jobs than these are read before the page is made, not while the browser waits for it."""

GRADE_NAMES = {
    "suspected": "every leak named", "fault": "fault seen, or more", "water": "water seen to come in",
    "cured": "proved cured",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Filters:
    """What was asked for, as the form and the links of the page carry it."""

    since: str = ""
    until: str = ""
    place: str = ""
    role: str = ""
    grade: str = "water"
    within: int | None = None
    pack: str = ""

    def survey(self) -> Survey:
        """As the flow takes it."""
        grade = self.grade if self.grade in GRADES else "water"
        return Survey(self.since or None, self.until or None, self.place or None, grade, self.role or None)

    def query(self, **more: str) -> str:
        """As the end of an address."""
        plain = Filters()
        own = {name: getattr(self, name) for name in self.__slots__ if getattr(self, name) != getattr(plain, name)}
        return urlencode({**own, **more})

    @property
    def narrowed(self) -> bool:
        """Whether anything was asked for at all."""
        return self != Filters()


def filters_of(
    since: Annotated[str, Query(max_length=40)] = "",
    until: Annotated[str, Query(max_length=40)] = "",
    place: Annotated[str, Query(max_length=80)] = "",
    role: Annotated[str, Query(max_length=80)] = "",
    grade: Annotated[str, Query(max_length=20)] = "water",
    within: Annotated[str, Query(max_length=5, pattern=r"^\d*$")] = "",
    pack: Annotated[str, Query(max_length=80)] = "",
) -> Filters:
    """The filters of an address; what a form leaves empty counts as not asked."""
    days = int(within) if within and int(within) > 0 else None
    return Filters(since.strip(), until.strip(), place.strip(), role.strip(), grade, days, pack.strip())


Asked = Annotated[Filters, Depends(filters_of)]


@dataclass(frozen=True, slots=True)
class Chart:
    """One chart of a figure, for wide screens and for narrow ones."""

    stem: str
    title: str
    wide: Markup
    narrow: Markup


@dataclass(slots=True)
class Reading:
    """Jobs that are being read while the page waits."""

    due: int
    made: int = 0
    thread: threading.Thread | None = None


@router.get("")
def show(page: OnPage, asked: Asked) -> HTMLResponse:
    """All figures."""
    rooms = _rooms(page, asked)
    if (reading := _reading(page, rooms)) is not None:
        return page.render("patterns_reading.html.j2", made=reading.made, due=reading.due)
    columns = summaries(rooms)
    found = recurring(rooms, asked.survey(), repeat_days=asked.within, columns=columns, named=False)
    name = naming(rooms)
    charts, lack = _charts(found, name)
    return page.render(
        "patterns.html.j2", found=found, asked=asked, charts=charts, lack=lack, parts=parts(found, name),
        places=sorted(((p.id, p.name) for p in rooms.pack.terms("place")), key=lambda p: p[1].lower()),
        roles=roles(columns), packs=packs(rooms), pack=rooms.pack, grades=GRADE_NAMES,
    )  # fmt: skip


@router.get("/jobs")
def jobs_behind(
    page: OnPage,
    asked: Asked,
    figure: Annotated[str, Query(max_length=40)],
    row: Annotated[str, Query(max_length=400)],
    after: Annotated[int, Query(ge=0, le=10_000_000)] = 0,
) -> HTMLResponse:
    """The jobs behind one row.

    Raises:
        NotFound: there is no such row now.

    """
    rooms = _rooms(page, asked)
    found = _found(rooms, asked)
    title, line = behind(found, naming(rooms), figure, row)
    shown = line.jobs[after : after + PAGE]
    pairs = [(job,) if isinstance(job, str) else job for job in shown]
    lines = {one.id: one for one in job_lines(rooms, [job for pair in pairs for job in pair])}
    return page.render(
        "pattern_jobs.html.j2", title=title, line=line, asked=asked, figure=figure, after=after, page_size=PAGE,
        pairs=[[lines[job] for job in pair if job in lines] for pair in pairs],
        of=found.denominators[figure], paired=any(not isinstance(job, str) for job in shown),
    )  # fmt: skip


@router.get("/learned")
def learned(page: OnPage) -> HTMLResponse:
    """What closed jobs taught about where to look first: each source before and after."""
    rooms = page.house.rooms
    rates = learned_rates(rooms.store, rooms.leak_map, rooms.pack.id) if rooms.has_map else None
    rows = changes(rooms.leak_map, rates) if rates is not None and rates.jobs else ()
    return page.render("patterns_learned.html.j2", rates=rates, rows=rows, has_map=rooms.has_map)


@router.get("/files/{file}")
def download(page: OnPage, asked: Asked, file: str) -> Response:
    """A table as CSV or Parquet, a chart as SVG or PNG, or everything as PDF. Nobody's name is in any of them.

    Raises:
        NotFound: there is no such file, or it would be empty.
        DeviceMissing: what it is made with is not installed.

    """
    from fieldnote.patterns.plotting import picture
    from fieldnote.patterns.tables import as_csv, as_parquet, denominators_csv

    stem, _, suffix = file.rpartition(".")
    rooms = _rooms(page, asked)
    found, name = _found(rooms, asked), naming(rooms)
    data: bytes | None = None
    if file == "patterns.pdf":
        data = _report(found, name, rooms)
    elif file == "denominators.csv":
        data = denominators_csv(found).encode()
    elif stem in FIGURES and suffix in ("csv", "parquet"):
        data = as_csv(found, stem).encode() if suffix == "csv" else as_parquet(found, stem)
    elif suffix in ("svg", "png") and (drawn := drawings(found, name).get(stem)) is not None:
        data = picture(drawn, suffix)  # type: ignore[arg-type]
    if not data:
        raise NotFound("no such file, or nothing in it", where=file, do="Go back to the patterns.")
    kinds = {
        "pdf": "application/pdf", "csv": "text/csv; charset=utf-8", "parquet": "application/vnd.apache.parquet",
        "svg": "image/svg+xml", "png": "image/png",
    }  # fmt: skip
    return Response(
        data, media_type=kinds[suffix], headers={"content-disposition": f'attachment; filename="{stem}.{suffix}"'}
    )


def naming(rooms: Rooms) -> Name:
    """The printed name of an id by its kind."""
    pack = rooms.pack

    def name(kind: str, id: str) -> str:
        return pack.term(kind, id).name if id and pack.entry(kind, id) else id.replace("-", " ")

    return name


def _rooms(page: Page, asked: Filters) -> Rooms:
    """The rooms of the vocabulary asked for.

    Raises:
        NotFound: no job has it.

    """
    rooms = page.house.rooms
    if not asked.pack or asked.pack == rooms.pack.id:
        return rooms
    if asked.pack not in packs(rooms):
        raise NotFound("no job has this vocabulary", where=asked.pack, do="Choose one of the list.")
    return page.house.of_pack(asked.pack)


def _found(rooms: Rooms, asked: Filters) -> Patterns:
    return recurring(rooms, asked.survey(), repeat_days=asked.within, named=False)


def _reading(page: Page, rooms: Rooms) -> Reading | None:
    """What is being read first, where that takes longer than somebody waits for a page."""
    state: Any = page.request.app.state
    going: dict[str, Reading] = state.__dict__.setdefault("patterns_reading", {})
    one = going.get(rooms.summarizer.pack)
    if one is not None and one.thread is not None and one.thread.is_alive():
        return one
    going.pop(rooms.summarizer.pack, None)
    due = rooms.store.count_due(rooms.summarizer)
    if due <= _MANY_DUE:
        return None
    begun = Reading(due)

    def read() -> None:
        rooms.store.make_summaries(rooms.summarizer, lambda made: setattr(begun, "made", made))

    begun.thread = threading.Thread(target=read, name="patterns", daemon=True)
    going[rooms.summarizer.pack] = begun
    begun.thread.start()
    return begun


def _charts(found: Patterns, name: Name) -> tuple[dict[str, list[Chart]], str]:
    """Charts by figure, or why there are none."""
    charts: dict[str, list[Chart]] = {figure: [] for figure in FIGURES}
    try:
        for stem, drawing in drawings(found, name).items():
            charts[figure_of(stem)].append(_chart(stem, drawing))
    except DeviceMissing as error:
        return {figure: [] for figure in FIGURES}, f"{error.what}. {error.do}"
    return charts, ""


def _chart(stem: str, drawing: Drawing) -> Chart:
    # What stands below the picture anyway is no part of it: the same picture whatever was left out.
    bare = replace(drawing, told="")
    wide, narrow = (inline_svg(bare, f"{stem}-{n}", narrow=bool(n)) for n in (0, 1))
    return Chart(stem, drawing.title, wide, narrow)


def _report(found: Patterns, name: Name, rooms: Rooms) -> bytes:
    try:
        from fieldnote.patterns.report import report
    except ImportError as error:
        raise DeviceMissing(
            f"the report needs {error.name}, which is not installed",
            where="patterns.pdf",
            do="Install it with: pip install 'fieldnote[documents,patterns]'.",
        ) from error
    return report(found, name, rooms.pack.name)


__all__ = ["Filters", "Part", "naming", "router"]
