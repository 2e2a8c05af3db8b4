"""For who looks after the words: what no rule took, adding a word, and which kept sentences it changes."""

from __future__ import annotations

from dataclasses import dataclass

from fastapi import APIRouter
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from fieldnote.errors import FieldnoteError, UserMistake
from fieldnote.flow.understanding import understand
from fieldnote.flow.words import confusions_of, look_at_proof, prove_pack, unknown_of
from fieldnote.records import Entry, Job
from fieldnote.store import Query
from fieldnote.vocabulary import Pack, editing
from fieldnote.vocabulary.confusable import Pair, Spoken
from fieldnote.vocabulary.proving import Verdict
from fieldnote.web.asking import House, OnPage, Page, Sent, text_of
from fieldnote.web.entry_views import KIND_NAMES, Names, entry_views
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
KIND_WORDS = {"state": "finding or action", "method": "test method"}
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
        "word_added.html.j2",
        phrase=phrase,
        what=added.what,
        changed=read_again(page.house, said_so),
        jobs=len(said_so),
        alike=[pair_of(pair, rooms.pack) for pair in added.alike.pairs if pair.risk != "low" and not pair.reviewed],
        proof=look_at_proof(page.house.rooms),
    )


@router.get("/alike")
def show_alike(page: OnPage, q: str = "") -> HTMLResponse:
    """Words of the vocabulary that sound alike, those first that would put something wrong into a write-up."""
    rooms = page.house.rooms
    phrase = " ".join(q.lower().split())
    found = confusions_of(rooms, phrase)
    pairs = [pair_of(pair, rooms.pack) for pair in found.pairs if not pair.reviewed]
    return page.render(
        "words_alike.html.j2",
        q=phrase,
        pack=rooms.pack,
        pairs=[pair for pair in pairs if pair.risk != "low"],
        slight=[pair for pair in pairs if pair.risk == "low"],
        reviewed=[pair_of(pair, rooms.pack) for pair in found.pairs if pair.reviewed],
        measured=found.measured,
        stale=len(found.stale),
    )


@dataclass(frozen=True, slots=True)
class Alike:
    """Two phrases that sound alike, what each names, and what of it."""

    risk: str
    phrases: tuple[str, str]
    names: tuple[str, str]
    how: str
    why: str
    more: int


def pair_of(pair: Pair, pack: Pack) -> Alike:
    """A pair in words, with what somebody found who looked at it."""
    names = tuple(f"{KIND_WORDS.get(t.kind, t.kind)} {_name_of(t, pack)}" for t in (pair.one, pair.other))
    why = pair.why + (f"; looked at: {pair.reviewed}" if pair.reviewed else "")
    return Alike(pair.risk, (pair.one.phrase, pair.other.phrase), (names[0], names[1]), pair.how, why, pair.more)


def _name_of(term: Spoken, pack: Pack) -> str:
    return pack.term(term.kind, term.id).name if pack.entry(term.kind, term.id) else term.id


@router.get("/proving")
def show_proof(page: OnPage) -> HTMLResponse:
    """What the proving set gives with the words as they are now, against the run that was kept last."""
    return _proof(page, None)


@router.post("/proving")
def keep_proof(page: OnPage, form: Sent) -> Response:
    """Keep this run, to compare with it from now on; with ``accept`` what was lost counts as meant."""
    try:
        prove_pack(page.house.rooms, accept=text_of(form, "accept") == "yes")
    except FieldnoteError as error:
        return _proof(page, error)
    return page.to("/words/proving")


def _proof(page: Page, error: FieldnoteError | None) -> HTMLResponse:
    rooms = page.house.rooms
    proof = look_at_proof(rooms)
    names = Names(rooms.pack)
    fresh = () if proof.first_run else tuple(v for v in proof.new if not v.right)
    return page.render(
        "words_proof.html.j2",
        422 if error else 200,
        pack=rooms.pack,
        proof=proof,
        dictations=len({verdict.job.key for verdict in proof.verdicts}),
        groups=[
            (title, [shown_verdict(verdict, names) for verdict in verdicts])
            for title, verdicts in (
                ("Lost: right in the run kept last, wrong now", proof.lost),
                ("Gained: wrong in the run kept last, right now", proof.gained),
                ("Still wrong", proof.still_wrong),
                ("New in the set, and wrong", fresh),
            )
            if verdicts
        ],
        error=error,
    )


@dataclass(frozen=True, slots=True)
class ShownVerdict:
    """One thing to prove in words. ``came`` is empty where it is right."""

    say: tuple[str, ...]
    expected: str
    came: tuple[str, ...]
    differs: tuple[str, ...]


def shown_verdict(verdict: Verdict, names: Names) -> ShownVerdict:
    """A verdict with its entries in words."""
    expected = entry_words(verdict.expected, names) if verdict.expected else "nothing more than the other entries"
    came: tuple[str, ...] = ()
    if not verdict.right:
        came = tuple(entry_words(e, names) for e in ((verdict.got,) if verdict.got else verdict.extra)) or ("nothing",)
    return ShownVerdict(verdict.job.say, expected, came, verdict.differs if verdict.got else ())


def entry_words(entry: Entry, names: Names) -> str:
    """An entry on one line (``test: left tail lamp; hose, leak``)."""
    where = " ".join(filter(None, (entry.side, names.where(entry))))
    what = "; ".join(filter(None, (where, names.what(entry), "with doubt" if entry.certainty == "unsure" else "")))
    return f"{KIND_NAMES.get(entry.kind, entry.kind)}: {what or 'nothing said'}"


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
