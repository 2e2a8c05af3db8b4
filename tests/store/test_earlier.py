from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from fieldnote.store import Query, Store
from fieldnote.store.checking import check
from fieldnote.store.connection import FILE_NAME
from fieldnote.store.migrations import STEP_NAMES

EARLIER = Path(__file__).parent / "earlier"


def test_there_is_a_file_of_every_step() -> None:
    """Whoever adds a step also keeps a store as it was at that step."""
    assert [path.stem for path in sorted(EARLIER.glob("*.db"))] == list(STEP_NAMES)


@pytest.mark.parametrize("step", STEP_NAMES)
def test_a_store_of_an_earlier_version_is_brought_up_to_date(tmp_path: Path, step: str) -> None:
    """It opens, says what it said, is found by its words, can be changed, and passes its own check."""
    shutil.copy(EARLIER / f"{step}.db", tmp_path / FILE_NAME)
    with Store(tmp_path) as store:
        assert [(line.name, line.status) for line in store.jobs()] == [("van 3", "closed"), ("bus 7", "open")]
        job = store.job("bus 7")
        assert [said.text for said in job.utterances] == ["left seam has a gap", "tail lamp is dry"]
        assert [(entry.id, entry.side) for entry in job.entries] == [("e0", "right"), ("e1", None)]
        assert len(job.edits) == 3
        assert [line.name for line in store.search(Query("gap"))] == ["bus 7"]
        store.undo(job.id, "kim", job.edits[0].id)
        assert store.job("bus 7").entries[0].side == "left"
        findings = check(store).findings
        assert [finding.what for finding in findings] == ["a sound is missing; its words are still here"]
