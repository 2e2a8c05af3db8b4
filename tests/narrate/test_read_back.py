"""The prose says what the entries hold, no more and no less: it is read back and compared."""

import dataclasses

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fieldnote.narrate import narrate
from fieldnote.narrate.compose import ORDER, numbered
from fieldnote.records import Entry, Sentence
from fieldnote.vocabulary import Pack

from .jobs import PACK, dev_jobs, entries, job
from .reading import Reader, Said

READER = Reader()


def held(entry: Entry) -> Said:
    """What an entry holds, in the reader's terms."""
    return Said(
        entry.place, entry.part, entry.side, entry.state, entry.present, entry.certainty, set(entry.at), entry.item,
        [(q.what, float(q.value), q.unit) for q in entry.quantities], entry.method, entry.material,
        entry.stage == "verify",
    )  # fmt: skip


def order_of_work(found: list[Entry], pack: Pack = PACK) -> tuple[Sentence, ...]:
    story = narrate(job(*found), pack)
    return next(p for p in story.paragraphs if p.heading == ORDER).sentences


def check(found: list[Entry]) -> None:
    named = {e.id: e for e in numbered(found)}
    sentences = order_of_work(found)
    for said in sentences:
        # Two entries that say the very same are said once.
        got = {s.key() for s in READER.read(said.text)}
        wanted = {held(named[i]).key() for i in said.entries}
        assert got == wanted, said.text
    told = [i for s in sentences for i in s.entries]
    assert sorted(told) == sorted(i for i, e in named.items() if e.kind != "fact")


@settings(max_examples=120, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(entries())
def test_one_entry_reads_back_exactly(entry: Entry) -> None:
    """Any single entry comes back out of its sentence with every field."""
    check([entry])


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(entries(), min_size=2, max_size=7))
def test_any_job_reads_back_exactly(found: list[Entry]) -> None:
    """Any list of entries comes back out of the order of work: each in one sentence, nothing besides."""
    check(found)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.data())
def test_joined_sentences_read_back_exactly(data: st.DataObject) -> None:
    """Neighbours that share a state or a subject are joined without losing or lending anything."""
    first = data.draw(entries(kinds=("evidence", "check", "access", "repair", "plan")))
    group = [first]
    for _ in range(data.draw(st.integers(1, 4))):
        other = data.draw(entries(kinds=(first.kind,)))
        shared = data.draw(
            st.sampled_from(
                (("state", "present", "certainty", "quantities", "at"), ("place", "part", "side", "item"), ("place",))
            )
        )
        last = group[-1]
        group.append(dataclasses.replace(other, **{f: getattr(last, f) for f in (*shared, "material")}))
        if data.draw(st.booleans()):
            flipped = {"left": "right", "right": "left"}.get(last.side or "", last.side)
            group[-1] = dataclasses.replace(last, side=flipped)
    check(group)


def mentioned(text: str) -> set[tuple[str, str]]:
    """Places, parts, sides, finer positions and numbers in a text, without knowing what is said of them."""
    out: set[tuple[str, str]] = set()
    for token in READER.tokens(text):
        named = {(kind, id) for kind, id in token.kinds if kind in ("place", "part", "material")}
        if named:
            out.add(("any", "|".join(sorted(f"{k}:{i}" for k, i in named))))
        elif token.text in ("left", "right"):
            out.add(("side", token.text))
        elif token.number is not None:
            out.add(("number", f"{token.number:g}"))
    return out


def allowed(found: list[Entry]) -> set[tuple[str, str]]:
    """What the entries let a sentence mention."""
    out: set[tuple[str, str]] = set()
    for e in found:
        out |= {("place", e.place or ""), ("part", e.part or ""), ("material", e.material or "")}
        out |= {("side", s) for s in ("left", "right") if e.side in (s, "both")}
        out |= {("number", f"{float(q.value):g}") for q in e.quantities}
        out |= {("number", f"{e.item}")} if e.item is not None else set()
    return out


@settings(max_examples=80, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(entries(kinds=("check", "test", "source", "repair", "evidence")), min_size=1, max_size=8))
def test_no_sentence_mentions_what_its_entries_do_not_hold(found: list[Entry]) -> None:
    """In every paragraph and open point each place, part, side and number is one of the entries that it names."""
    named = {e.id: e for e in numbered(found)}
    story = narrate(job(*found), PACK)
    said = [s for p in story.paragraphs for s in p.sentences] + list(story.open_points)
    for sentence in said:
        held_by = allowed([named[i] for i in sentence.entries])
        for kind, id in mentioned(sentence.text):
            if kind == "any":
                assert {tuple(x.split(":")) for x in id.split("|")} & held_by, (sentence.text, id)
            else:
                assert (kind, id) in held_by, (sentence.text, id)


@pytest.mark.parametrize("name", sorted(dev_jobs()))
def test_the_example_jobs_read_back_exactly(name: str) -> None:
    """The labelled example jobs come back out of their order of work."""
    check(list(dev_jobs()[name].entries))


@pytest.mark.soak
@settings(max_examples=4000, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(entries(), min_size=1, max_size=10))
def test_many_jobs_read_back_exactly(found: list[Entry]) -> None:
    """The same over thousands of jobs."""
    check(found)
