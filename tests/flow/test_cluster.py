from __future__ import annotations

import importlib
import logging
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from fieldnote.errors import DeviceMissing, UserMistake
from fieldnote.flow import Rooms
from fieldnote.flow.backlog import list_backlog, take_many
from fieldnote.flow.cluster import ClusterCrew
from fieldnote.settings import load_settings
from tests.flow.deadly import die_over_sent
from tests.flow.doubles import Copier, SmallPack

# The library warns of its own ports and of processes that were killed, which is what is tested here.
pytestmark = [pytest.mark.slow, pytest.mark.filterwarnings("ignore"), pytest.mark.enable_socket]


@pytest.fixture
def cluster(monkeypatch: pytest.MonkeyPatch) -> Iterator[Any]:
    """Two worker processes of this machine."""
    distributed = importlib.import_module("distributed")
    logging.getLogger("distributed").setLevel(logging.CRITICAL)
    monkeypatch.chdir(Path(__file__).parents[2])
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None, silence_logs=logging.CRITICAL
    ) as running:
        yield running


@pytest.fixture
def rooms(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Rooms]:
    monkeypatch.setattr(Rooms, "extractor", Copier())
    monkeypatch.setattr(Rooms, "pack", SmallPack())
    made = Rooms(tmp_path / "home", settings=load_settings())
    yield made
    made.store.close()


@pytest.mark.parametrize(
    "deadly", [pytest.param(False, id="one death"), pytest.param(True, id="given up", marks=pytest.mark.soak)]
)
def test_a_lost_worker_costs_only_its_recording(
    cluster: Any, rooms: Rooms, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, deadly: bool
) -> None:
    """A worker is killed over one recording, which another hears; every other one is kept once. A recording that kills
    every worker is given up and named."""
    monkeypatch.setattr("fieldnote.flow.cluster.hear_sent", die_over_sent)
    folder = tmp_path / "archive" / "unit 5"
    folder.mkdir(parents=True)
    names = ["a", "b", "unlucky", "c", "d", *(["deadly"] if deadly else []), "e", "f"]
    for name in names:
        (folder / f"{name}.wav").write_text(f"{name}|{tmp_path}")
    done = take_many(rooms, list_backlog(tmp_path / "archive"), ClusterCrew(cluster.scheduler_address))
    assert [error.where for error in done.errors] == ([str(folder / "deadly.wav")] if deadly else [])
    assert all("were lost" in error.what for error in done.errors)
    assert (done.report.added, done.report.failed) == (7, int(deadly))
    said = [utterance.text for utterance in rooms.store.job("unit 5").utterances]
    assert said == [f"said {name}" for name in sorted(names) if name != "deadly"]
    assert (tmp_path / "unlucky.tried").exists()
    heard = (tmp_path / "heard.log").read_text().split()
    assert set(heard) == set(names) - {"deadly"}
    if not deadly:
        # What went with the worker, in its hands or on its way, is heard once more; nothing is heard a third time.
        assert max(heard.count(name) for name in names) <= 2


_ALLOCATE = """
import resource, sys
import numpy as np
from fieldnote.flow.cluster import _keep_memory
if sys.argv[1] == "keep":
    _keep_memory()
for _ in range(300):
    np.ones(1_000_000)
print(resource.getrusage(resource.RUSAGE_SELF).ru_minflt)
"""


def test_a_worker_keeps_the_memory_that_it_freed() -> None:
    """As Dask starts its workers every large block is cleared anew by the system; hearing undoes that (glibc)."""
    environment = {**os.environ, "MALLOC_TRIM_THRESHOLD_": "65536"}
    faults = {
        how: int(subprocess.check_output([sys.executable, "-c", _ALLOCATE, how], env=environment))
        for how in ("keep", "leave")
    }
    assert faults["keep"] < faults["leave"] / 4


def test_an_address_without_a_scheduler_is_said() -> None:
    """One line, and what to do."""
    with pytest.raises(UserMistake, match="no scheduler answers"):
        ClusterCrew("not an address")


def test_without_the_library_the_extra_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    """A machine that lacks it is told what to install; exit code 3."""

    def missing(name: str) -> Any:
        raise ImportError(name)

    monkeypatch.setattr("fieldnote.flow.cluster.importlib.import_module", missing)
    with pytest.raises(DeviceMissing, match=r"fieldnote\[cluster\]") as caught:
        ClusterCrew("tcp://127.0.0.1:1")
    assert caught.value.exit_code == 3
