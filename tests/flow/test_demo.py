"""The demo job: the shipped recordings give the labelled entries, and the documents are written."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from fieldnote.flow.demo import DOCUMENTS, Told, read_script, run
from fieldnote.flow.rooms import Rooms
from fieldnote.resources import shipped
from fieldnote.wire import entry_to_wire
from tests.scoring import score


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory) -> Told:
    """The demo, run once with the embedded recogniser."""
    home = tmp_path_factory.mktemp("demo")
    return run(Rooms(home / "data"), read_script(), home / "out", lambda share, doing: None)


def _score(told: Told) -> tuple[float, float]:
    """Core-slot and exact-entry F1 of the demo's entries against its labels."""
    gold = json.loads((shipped("sample_audio") / "entries.json").read_text(encoding="utf-8"))["entries"]
    slots, exact = [0, 0, 0], [0, 0, 0]
    for want, got in score.pairs(gold, [entry_to_wire(entry) for entry in told.taken.entries]):
        a, b = score.core(want) if want else set(), score.core(got) if got else set()
        slots = [slots[0] + len(a & b), slots[1] + len(b - a), slots[2] + len(a - b)]
        same = bool(want) and bool(got) and a == b
        exact = [exact[0] + same, exact[1] + (bool(got) and not same), exact[2] + (bool(want) and not same)]
    return score.f1(*slots), score.f1(*exact)


@pytest.mark.slow
def test_recordings_give_labelled_entries(told: Told) -> None:
    """Sound to entries: at most one of the labelled entries is missed or wrong in a slot."""
    core, exact = _score(told)
    assert core >= 0.97
    assert exact >= 0.94


@pytest.mark.slow
def test_spoken_correction_reaches_its_entry(told: Told) -> None:
    """ "Correction, screw number four" changes the screw's number and nothing else."""
    checks = [e for e in told.taken.entries if e.kind == "check" and e.place == "roof-rack"]
    assert {(e.part, e.state, e.item) for e in checks} == {("screw", "loose-fastener", 4), ("gasket", "torn", None)}


@pytest.mark.slow
def test_midway_advice_offers_the_true_source(told: Told) -> None:
    """Asked while only the water has been seen, testing the roof rack, where it came in, is in the plan."""
    assert any(step.place == "roof-rack" for step in told.midway.plan)


@pytest.mark.slow
def test_documents_are_written(told: Told) -> None:
    """One file a format, none empty, and the story says cause, correction and retest."""
    assert [path.suffix.lstrip(".") for path in told.files] == list(DOCUMENTS)
    text = told.files[0].read_text(encoding="utf-8")
    assert all(path.stat().st_size > 500 for path in told.files)
    assert "gasket on the right roof rack" in text
    assert "stayed dry for 10 minutes" in text


def test_demo_clips_are_all_there() -> None:
    """Every clip that the script names lies beside it, under 3 MB together."""
    script = read_script()
    assert all(Path(clip).is_file() for clip in script.clips)
    assert sum(clip.stat().st_size for clip in script.clips) < 3_000_000
