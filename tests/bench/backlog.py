"""How well a backlog uses the cores.

    python -m tests.bench.backlog [RECORDINGS] [WORKERS]

Hears the same recordings (the demo job's clips, several times over, each copy a little quieter so that no two are the
same file) once as `take --many` does, and once by as many bare processes with one thread each that share them out
beforehand and keep nothing. Starting the processes and loading the model counts in both. Where dask.distributed is
installed, a cluster of as many worker processes hears them too; it is running before the clock starts, as clusters do.
"""

from __future__ import annotations

import multiprocessing
import sys
import tempfile
import time
from pathlib import Path

import soundfile

from fieldnote.flow.backlog import list_backlog, take_many
from fieldnote.flow.crew import LocalCrew, Task, cores, hear_task
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


def hear_share(tasks: list[Task]) -> int:
    """What one bare process does."""
    return sum(len(hear_task(task).utterances) for task in tasks)


def bare(folder: Path, home: Path, workers: int) -> tuple[float, int]:
    """Seconds and utterances of bare processes that share the recordings out beforehand."""
    settings = load_settings()
    tasks = [Task(str(item.path), settings, settings.pack.name, str(home)) for item in list_backlog(folder)]
    started = time.perf_counter()
    with multiprocessing.get_context("spawn").Pool(workers) as pool:
        heard = pool.map(hear_share, [tasks[number::workers] for number in range(workers)], chunksize=1)
    return time.perf_counter() - started, sum(heard)


def crew(folder: Path, home: Path, workers: int) -> tuple[float, int, float]:
    """Seconds and utterances of a backlog; and seconds without making the entries, which bare processes do not."""
    rooms = Rooms(home, settings=load_settings())
    rooms.extractor.run([])  # loaded before the clock starts
    started = time.perf_counter()
    done = take_many(rooms, list_backlog(folder), LocalCrew(workers))
    seconds = time.perf_counter() - started
    said = sum(len(rooms.store.job(job).utterances) for job in done.jobs)
    again = time.perf_counter()
    take_many(rooms, list_backlog(folder), LocalCrew(workers))
    return seconds, said, time.perf_counter() - again


def cluster(folder: Path, home: Path, workers: int) -> tuple[float, int] | None:
    """Seconds and utterances of a Dask cluster on this machine."""
    try:
        from distributed import LocalCluster
    except ImportError:
        return None
    from fieldnote.flow.cluster import ClusterCrew

    rooms = Rooms(home, settings=load_settings())
    rooms.extractor.run([])
    with LocalCluster(n_workers=workers, threads_per_worker=1, processes=True, dashboard_address=None) as running:
        crew = ClusterCrew(running.scheduler_address)
        started = time.perf_counter()
        done = take_many(rooms, list_backlog(folder), crew)
        seconds = time.perf_counter() - started
    return seconds, sum(len(rooms.store.job(job).utterances) for job in done.jobs)


def main(count: int, workers: int) -> None:
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made) / "recordings"
        length_s = make_recordings(folder, count)
        print(f"{count} recordings, {length_s / 60:.1f} min of sound, {workers} processes, {cores()} cores")
        bare_s, bare_said = bare(folder, Path(made) / "home-bare", workers)
        crew_s, crew_said, again_s = crew(folder, Path(made) / "home", workers)
        of_cluster = cluster(folder, Path(made) / "home-cluster", workers)
    print(f"{'':26}{'seconds':>9}{'times real time':>17}{'utterances':>12}")
    print(f"{'bare processes':26}{bare_s:9.1f}{length_s / bare_s:17.1f}{bare_said:12}")
    print(f"{'take --many':26}{crew_s:9.1f}{length_s / crew_s:17.1f}{crew_said:12}")
    print(f"{'take --many once more':26}{again_s:9.1f}")
    if of_cluster is not None:
        cluster_s, cluster_said = of_cluster
        print(f"{'take --many --scheduler':26}{cluster_s:9.1f}{length_s / cluster_s:17.1f}{cluster_said:12}")
        print(f"share of the bare processes' speed, cluster: {bare_s / cluster_s:.2f}")
    print(f"share of the bare processes' speed: {bare_s / crew_s:.2f}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 96, int(sys.argv[2]) if len(sys.argv) > 2 else cores())
