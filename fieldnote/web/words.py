"""For who looks after the words: what no rule took, adding a word, and which kept sentences it changes."""

from __future__ import annotations

from dataclasses import dataclass

from fastapi import APIRouter
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from fieldnote.errors import FieldnoteError, UserMistake
from fieldnote.flow.understanding import understand
from fieldnote.flow.words import unknown_of
from fieldnote.records import Entry, Job
from fieldnote.store import Query
from fieldnote.vocabulary import Pack, editing
from fieldnote.web.asking import House, OnPage, Page, Sent, text_of
from fieldnote.web.entry_views import entry_views
from fieldnote.web.roles import needs

router = APIRouter(prefix="/words", dependencies=[needs("change words")])
SHOWN = 200
KINDS = (
    ("part", "Parts"),
    ("place", "Places"),
    ("state", "Findings and actions"),
    ("method", "Test methods"),
    ("material", "Materials"),
)
MOST_JOBS = 100
"""Jobs that are read again for one word; the rest follow when they are next taken."""


@dataclass(frozen=True, slots=True)
class Changed:
    """A kept sentence that is understood in another way now."""

    job: Job
    text: str
    before: tuple[str, ...]
    after: tuple[str, ...]


@router.get("")
def show(page: OnPage, phrase: str = "") -> HTMLResponse:
    """Unplaced words and phrases of all kept jobs of the shop's vocabulary, the most frequent first."""
    return _list(page, phrase, "", None)


def _list(page: Page, phrase: str, chosen: str, error: FieldnoteError | None) -> HTMLResponse:
    rooms = page.house.rooms
    found = unknown_of(rooms)
    return page.render(
        "words.html.j2",
        422 if error else 200,
        phrases=found[:SHOWN],
        total=len(found),
        pack=rooms.pack,
        phrase=phrase,
        chosen=chosen,
        terms=terms_of(rooms.pack),
        error=error,
    )


def terms_of(pack: Pack) -> list[tuple[str, list[tuple[str, str]]]]:
    """What a word may mean, by kind: value and name."""
    return [
        (
            label,
            sorted(((f"{kind}:{term.id}", term.name) for term in pack.terms(kind)), key=lambda pair: pair[1].lower()),
        )
        for kind, label in KINDS
    ]


@router.post("")
def add(page: OnPage, form: Sent) -> Response:
    """Let a phrase mean something that the vocabulary knows, and show what that changes."""
    phrase, chosen = text_of(form, "phrase"), text_of(form, "means")
    kind, _, id = chosen.partition(":")
    rooms = page.house.rooms
    try:
        if not phrase or kind not in dict(KINDS) or not rooms.pack.entry(kind, id):
            raise UserMistake("a phrase and what it means are needed", where="words", do="Give both.")
        said_so = jobs_that_said(page.house, phrase)
        added = editing.add_phrases(rooms.settings.pack.name, rooms.home, kind, id, [phrase])
    except FieldnoteError as error:
        return _list(page, phrase, chosen, error)
    page.house.read_words_again()
    return page.render(
        "word_added.html.j2", phrase=phrase, what=added.what, changed=read_again(page.house, said_so), jobs=len(said_so)
    )


@router.post("/take-back")
def take_back(page: OnPage, form: Sent) -> RedirectResponse:
    """Take the latest addition back; the open jobs in which it was said are read again."""
    rooms = page.house.rooms
    said_so = jobs_that_said(page.house, text_of(form, "phrase"))
    editing.undo(rooms.settings.pack.name, rooms.home)
    page.house.read_words_again()
    read_again(page.house, said_so)
    return page.to("/words")


def jobs_that_said(house: House, phrase: str) -> list[str]:
    """Open jobs in which a phrase was said, newest first: what is closed stays as it was read."""
    words = phrase.replace('"', " ").replace("-", " ").split()
    if not any(any(c.isalnum() for c in word) for word in words):
        return []
    lines = house.rooms.store.search(Query(words=f'"{" ".join(words)}"', status="open"), limit=MOST_JOBS)
    jobs = (house.rooms.store.job(line.id) for line in lines)
    return [job.id for job in jobs if job.pack == house.rooms.pack.id]


def read_again(house: House, job_ids: list[str]) -> list[Changed]:
    """Read jobs again with the vocabulary as it is now: the sentences that changed."""
    found: list[Changed] = []
    for id in job_ids:
        before = house.rooms.store.job(id)
        understand(house.rooms.store, before, house.rooms.extractor, only_if_stale=True)
        after = house.rooms.store.job(id)
        was, now = by_sentence(before, house.rooms.pack), by_sentence(after, house.rooms.pack)
        found += [
            Changed(after, said.text, was.get(said.id, ()), now.get(said.id, ()))
            for said in after.utterances
            if was.get(said.id, ()) != now.get(said.id, ())
        ]
    return found


def by_sentence(job: Job, pack: Pack) -> dict[str, tuple[str, ...]]:
    """What came of each sentence of a job, in words, by the sentence's id."""
    found: dict[str, tuple[str, ...]] = {}
    for view in entry_views(job, pack):
        id = first_sentence(view.entry)
        if id:
            found[id] = (*found.get(id, ()), view.said)
    return found


def first_sentence(entry: Entry) -> str:
    """The sentence in which an entry was said; "" where it was not spoken."""
    return next((origin.utterance_id for origin in entry.origins if origin.utterance_id), "") or ""
