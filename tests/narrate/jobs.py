"""Random entries and small jobs for the tests of the write-up."""

import json
import tomllib
from pathlib import Path
from typing import Any

from hypothesis import strategies as st

from fieldnote.records import Entry, Job, Quantity
from fieldnote.vocabulary import load_pack
from fieldnote.wire import entry_from_wire

IDS = tomllib.loads((Path(__file__).parents[1] / "scoring" / "ids.toml").read_text(encoding="utf-8"))
PACK = load_pack("body-leaks")
"""Read once for all tests of this folder."""
SIDES = st.sampled_from([None, "left", "right", "both", "center"])
WORDS_OF_PLACE = ("upper", "lower", "front", "rear", "inner", "outer", "corner", "middle")


def job(*entries: dict[str, Any] | Entry, **more: Any) -> Job:
    """A job of these entries, numbered ``e1``, ``e2``, … where they have no id."""
    found = [e if isinstance(e, Entry) else entry_from_wire(e) for e in entries]
    return Job(id="j1", name="Unit 9", created_at="2026-01-05T08:00:00Z", entries=tuple(found), **more)


def dev_jobs() -> dict[str, Job]:
    """The labelled example jobs."""
    path = Path(__file__).parents[1] / "scoring" / "dev.jsonl"
    rows = [json.loads(line) for line in path.read_text(encoding="utf-8").splitlines()]
    return {row["id"]: job(*row["entries"]) for row in rows}


def values() -> st.SearchStrategy[float]:
    """Numbers as people say them."""
    return st.one_of(
        st.integers(2, 5000), st.sampled_from([1, 0.25, 0.5, 1.5, 2.75, 12.125, 1000.5, 0.1]).map(lambda v: v)
    )


@st.composite
def quantities(draw: st.DrawFn, *kinds: str) -> tuple[Quantity, ...]:
    """Up to two measures of different kinds."""
    out = []
    for what in draw(st.lists(st.sampled_from(kinds), max_size=2, unique=True)):
        unit = draw(st.sampled_from(IDS["quantity"][what]))
        value = draw(st.integers(2, 40)) if what == "count" else draw(values())
        out.append(Quantity(what, value, unit))
    return tuple(out)


@st.composite
def entries(draw: st.DrawFn, *, kinds: tuple[str, ...] = ()) -> Entry:
    """One entry of the closed vocabulary, with anything that the contract allows."""
    kind = draw(st.sampled_from(kinds or ("evidence", "check", "test", "source", "access", "repair", "plan")))
    states = IDS["state"].get(kind)
    if kind == "source":
        states = IDS["state"]["check"]
    if kind == "plan":
        states = [*IDS["state"]["repair"], "test"]
    measured = {
        "evidence": ("length", "count", "distance", "temperature"),
        "check": ("length", "count", "distance"),
        "test": ("duration", "time-to-leak", "pressure", "distance"),
        "repair": ("torque", "duration", "length"),
    }.get(kind, ())
    part = draw(st.sampled_from([None, *IDS["part"]]))
    state = draw(st.sampled_from([*states, *states, None]))
    return Entry(
        kind=kind,
        place=draw(st.sampled_from([None, *IDS["place"]])),
        part=part,
        side=draw(SIDES),
        state=state,
        present=state is None or draw(st.sampled_from([True, True, True, False])),
        certainty=draw(st.sampled_from(["sure", "sure", "unsure"])),
        stage=draw(st.sampled_from(["find", "verify"])) if kind == "test" else "find",
        method=draw(st.sampled_from([None, *IDS["method"]["ids"]])) if kind == "test" else None,
        material=draw(st.sampled_from([None, *IDS["material"]["ids"]])) if kind == "repair" else None,
        at=tuple(draw(st.lists(st.sampled_from(WORDS_OF_PLACE), max_size=3, unique=True))),
        item=draw(st.sampled_from([None, None, 2, 7])) if part else None,
        quantities=draw(quantities(*measured)) if measured else (),
    )
