"""How well a backlog uses the cores.

    python -m tests.bench.backlog [RECORDINGS] [WORKERS] [TURNS]

Hears the same recordings (the demo job's clips, several times over, each copy a little quieter so that no two are the
same file) once as `take --many` does, and once by as many bare processes with one thread each that share them out
beforehand and keep nothing. Starting the processes and loading the model counts in both. Where dask.distributed is
installed, a cluster of as many worker processes hears them too; it is running before the clock starts, as clusters do.

Where other programs use the machine, the ways do not meet the same conditions, since they run one after another: then
the processor seconds tell more than the clock.
"""

from __future__ import annotations

import importlib.util
import multiprocessing
import resource
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import soundfile

from fieldnote.flow.backlog import list_backlog, take_many
from fieldnote.flow.crew import Crew, LocalCrew, Task, cores, hear_task
from fieldnote.flow.rooms import Rooms
from fieldnote.resources import shipped
from fieldnote.settings import load_settings


def make_recordings(folder: Path, count: int) -> float:
    """Write ``count`` recordings in folders of twelve; gives their length in seconds."""
    clips = sorted(shipped("sample_audio").glob("*.flac"))
    length_s = 0.0
    for number in range(count):
        samples, rate = soundfile.read(clips[number % len(clips)])
        path = folder / f"unit {number // len(clips)}" / f"{number % len(clips):02d}.flac"
        path.parent.mkdir(parents=True, exist_ok=True)
        soundfile.write(path, samples * (1 - number / (20 * count)), rate)
        length_s += len(samples) / rate
    return length_s


@dataclass(frozen=True, slots=True)
class Run:
    """What one way took: seconds in all, seconds after the first recording was done, and utterances heard."""

    seconds: float
    steady_s: float
    said: int


def hear_share(tasks: list[Task]) -> tuple[int, float]:
    """What one bare process does: utterances, and when (time of day) the first recording was done."""
    said, first = 0, 0.0
    for task in tasks:
        said += len(hear_task(task).utterances)
        first = first or time.time()
    return said, first


def used_s() -> float:
    """Processor seconds that this process and its ended children have used."""
    used = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(one.ru_utime + one.ru_stime for one in used)


def bare(folder: Path, home: Path, workers: int) -> Run:
    """Bare processes that share the recordings out beforehand."""
    settings = load_settings()
    tasks = [Task(str(item.path), settings, settings.pack.name, str(home)) for item in list_backlog(folder)]
    started = time.time()
    with multiprocessing.get_context("spawn").Pool(workers) as pool:
        heard = pool.map(hear_share, [tasks[number::workers] for number in range(workers)], chunksize=1)
        ended = time.time()
        pool.close()
        pool.join()
    return Run(ended - started, ended - min(first for _, first in heard), sum(said for said, _ in heard))


def take(folder: Path, home: Path, crew: Callable[[], Crew]) -> Run:
    """`take --many` with a crew."""
    rooms = Rooms(home, settings=load_settings())
    rooms.extractor.run([])  # loaded before the clock starts
    firsts: list[float] = []
    started = time.time()
    done = take_many(
        rooms,
        list_backlog(folder),
        crew(),
        progress=lambda report: firsts.append(time.time()) if report.files_done and not firsts else None,
    )
    ended = time.time()
    said = sum(len(rooms.store.job(job).utterances) for job in done.jobs)
    return Run(ended - started, ended - firsts[0], said)


def crew(folder: Path, home: Path, workers: int) -> Run:
    """`take --many`."""
    return take(folder, home, lambda: LocalCrew(workers))


def cluster(folder: Path, home: Path, workers: int) -> Run:
    """`take --many --scheduler` with a Dask cluster on this machine."""
    from distributed import LocalCluster

    from fieldnote.flow.cluster import ClusterCrew

    with LocalCluster(n_workers=workers, threads_per_worker=1, processes=True, dashboard_address=None) as running:
        return take(folder, home, lambda: ClusterCrew(running.scheduler_address))


def in_turns(folder: Path, made: Path, workers: int, rounds: int) -> None:
    """Steady states against each other: bare processes and a cluster, both with their models loaded, hear a share of
    the recordings in turns. What else the machine does meanwhile meets both alike, and the middle of the ratios tells.
    """
    from distributed import LocalCluster

    from fieldnote.flow.cluster import ClusterCrew

    settings = load_settings()
    items = list_backlog(folder)
    shares = [items[number::rounds] for number in range(rounds)]
    print(f"\n{'in turns, models loaded':26}{'bare s':>17}{'cluster s':>17}{'of bare':>17}")
    ratios = []
    with (
        multiprocessing.get_context("spawn").Pool(workers) as pool,
        LocalCluster(n_workers=workers, threads_per_worker=1, processes=True, dashboard_address=None) as running,
    ):
        for number, share in enumerate([shares[0], *shares]):  # the first round loads the models and is not counted
            tasks = [Task(str(item.path), settings, settings.pack.name, str(made)) for item in share]
            started = time.time()
            pool.map(hear_share, [tasks[part::workers] for part in range(workers)], chunksize=1)
            bare_s = time.time() - started
            rooms = Rooms(made / f"home of turn {number}", settings=settings)
            rooms.extractor.run([])
            assert rooms.store
            crew = ClusterCrew(running.scheduler_address)
            started = time.time()
            take_many(rooms, share, crew)
            cluster_s = time.time() - started
            if number:
                ratios.append(bare_s / cluster_s)
                print(f"{f'turn {number}':26}{bare_s:17.1f}{cluster_s:17.1f}{ratios[-1]:17.2f}", flush=True)
    print(f"{'middle':26}{'':34}{statistics.median(ratios):17.2f}")


def main(count: int, workers: int, rounds: int) -> None:
    ways = {"bare processes": bare, "take --many": crew}
    if importlib.util.find_spec("distributed") is not None:
        ways["take --many --scheduler"] = cluster
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made) / "recordings"
        length_s = make_recordings(folder, count)
        print(f"{count} recordings, {length_s / 60:.1f} min of sound, {workers} processes, {cores()} cores")
        titles = ("seconds", "after the first", "processor s", "times real time", "utterances", "of bare: whole")
        titles += ("after first", "processor")
        print(f"{'':26}" + "".join(f"{title:>17}" for title in titles))
        first: tuple[Run, float] | None = None
        for name, way in ways.items():
            before = used_s()
            run = way(folder, Path(made) / f"home {name}", workers)
            used = used_s() - before
            first = first or (run, used)
            shares = (first[0].seconds / run.seconds, first[0].steady_s / run.steady_s, first[1] / used)
            numbers = f"{run.seconds:17.1f}{run.steady_s:17.1f}{used:17.1f}{length_s / run.seconds:17.1f}{run.said:17}"
            print(f"{name:26}{numbers}" + "".join(f"{share:17.2f}" for share in shares), flush=True)
        if importlib.util.find_spec("distributed") is not None:
            in_turns(folder, Path(made), workers, rounds)


def whole_number(place: int, otherwise: int) -> int:
    """An argument of the command line."""
    return int(sys.argv[place]) if len(sys.argv) > place else otherwise


if __name__ == "__main__":
    main(whole_number(1, 96), whole_number(2, cores()), whole_number(3, 4))
