"""Fifty people at the pages for a minute: how long answers take, and whether anything that was confirmed is lost.

Usage: ``python -m tests.bench.pages [SECONDS] [CLIENTS]``. Each client reads the list, the desk and the bay of a job,
writes a line into it and corrects an entry of a job that all of them share. Prints a table; asserts nothing about time.
"""

from __future__ import annotations

import re
import socket
import sys
import tempfile
import threading
import time
from collections import defaultdict
from pathlib import Path

import httpx

from fieldnote.cli.serve import hosts_of
from fieldnote.flow import Rooms, open_job, read_text
from fieldnote.web.app import create_app

SECONDS, CLIENTS = 60.0, 50
LINES = "Carpet on the right rear floor is soaked.\nHose on the right tail lamp, leaks after two minutes.\n"


class Visitor(threading.Thread):
    """One person with a browser of their own."""

    def __init__(self, number: int, url: str, own: str, shared: str, entry: str, until: float) -> None:
        super().__init__()
        self.number, self.own, self.shared, self.entry, self.until = number, own, shared, entry, until
        self.client = httpx.Client(base_url=url, timeout=60)
        self.took: dict[str, list[float]] = defaultdict(list)
        self.confirmed = 0
        self.told = 0
        self.faults: list[str] = []

    def run(self) -> None:
        token = re.search(r'name="token" value="(\w+)"', self.client.get("/new").text)
        assert token is not None
        while time.monotonic() < self.until:
            self.get("list", "/")
            self.get("desk", f"/jobs/{self.own}")
            self.get("bay", f"/jobs/{self.own}/bay")
            self.post(
                "write a line", f"/jobs/{self.own}/lines", {"token": token[1], "text": "Left cowl drain blocked."}
            )
            self.correct(token[1])
        self.client.close()

    def get(self, what: str, path: str) -> str:
        began = time.perf_counter()
        answer = self.client.get(path)
        self.took[what].append(time.perf_counter() - began)
        if answer.status_code != 200:
            self.faults.append(f"{what}: {answer.status_code}")
        return answer.text

    def post(self, what: str, path: str, data: dict[str, str]) -> int:
        began = time.perf_counter()
        answer = self.client.post(path, data=data)
        self.took[what].append(time.perf_counter() - began)
        return answer.status_code

    def correct(self, token: str) -> None:
        """Turn the side of the shared entry round, as it was seen."""
        path = f"/jobs/{self.shared}/entries/{self.entry}"
        page = self.get("entry form", path)
        seen = re.search(r'name="seen" value="(\w+)"', page)
        was = re.search(r'name="was-side" value="(\w*)"', page)
        assert seen is not None and was is not None
        side = "right" if was[1] == "left" else "left"
        status = self.post("correct", path, {"token": token, "seen": seen[1], "was-side": was[1], "side": side})
        self.confirmed += status == 303
        self.told += status == 409
        if status not in (303, 409):
            self.faults.append(f"correct: {status}")


def main(seconds: float, clients: int) -> None:
    """Serve an empty data folder, let everybody in, and compare what was confirmed with what is kept."""
    import uvicorn

    with tempfile.TemporaryDirectory() as folder:
        rooms = Rooms(Path(folder))
        jobs = [open_job(rooms.store, f"Unit {n}").id for n in range(clients + 1)]
        for job in jobs:
            read_text(rooms.store, job, LINES, rooms.extractor)
        shared = rooms.store.job(jobs[-1])
        listening = socket.create_server(("127.0.0.1", 0), backlog=200)
        port = listening.getsockname()[1]
        server = uvicorn.Server(uvicorn.Config(create_app(rooms, hosts_of("127.0.0.1", port)), log_level="error"))
        serving = threading.Thread(target=server.run, kwargs={"sockets": [listening]})
        serving.start()
        until, url = time.monotonic() + seconds, f"http://127.0.0.1:{port}"
        visitors = [Visitor(n, url, jobs[n], shared.id, shared.entries[0].id, until) for n in range(clients)]
        for visitor in visitors:
            visitor.start()
        for visitor in visitors:
            visitor.join()
        server.should_exit = True
        serving.join()
        report(visitors, len(rooms.store.job(shared.id).edits), seconds)
        rooms.store.close()


def report(visitors: list[Visitor], kept: int, seconds: float) -> None:
    """Print the table."""
    took: dict[str, list[float]] = defaultdict(list)
    for visitor in visitors:
        for what, times in visitor.took.items():
            took[what] += times
    print(f"{len(visitors)} clients, {seconds:g} s")
    print(f"{'request':14}{'count':>8}{'median s':>10}{'95 % s':>9}{'worst s':>9}")
    for what, times in took.items():
        times.sort()
        late = times[min(len(times) - 1, int(0.95 * len(times)))]
        print(f"{what:14}{len(times):>8}{times[len(times) // 2]:>10.2f}{late:>9.2f}{times[-1]:>9.2f}")
    confirmed, told = sum(v.confirmed for v in visitors), sum(v.told for v in visitors)
    print(f"corrections confirmed {confirmed}, kept {kept}; second person told {told}")
    faults = [fault for visitor in visitors for fault in visitor.faults]
    print(f"answers that were no answer: {len(faults)}{' ' + ', '.join(sorted(set(faults))) if faults else ''}")


if __name__ == "__main__":
    given = [float(value) for value in sys.argv[1:3]]
    main(given[0] if given else SECONDS, int(given[1]) if len(given) > 1 else CLIENTS)
