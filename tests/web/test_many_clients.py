"""Fifty clients at once: every answer is one, and every change that was confirmed is there afterwards."""

from __future__ import annotations

import asyncio
import shutil
import statistics
import time
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import httpx
import pytest

from fieldnote.flow import Rooms, open_job
from tests.web.conftest import rooms_in, token_in
from tests.web.serving import Serving

CLIENTS = 50
LINES = ("Left cowl drain is plugged.", "Hose on the left cowl for two minutes, dry.", "Right door seal is torn.")


@dataclass
class Tally:
    """What the clients met."""

    statuses: Counter[int] = field(default_factory=Counter)
    seconds: dict[str, list[float]] = field(default_factory=dict)
    written: Counter[str] = field(default_factory=Counter)

    def table(self, span_s: float) -> str:
        """What happened, by kind of request: how many, and how long they took."""
        rows = [f"{CLIENTS} clients for {span_s:.0f} s: {self.statuses.total()} answers, {dict(self.statuses)}"]
        for kind, times in sorted(self.seconds.items()):
            cuts = statistics.quantiles(times, n=20) if len(times) > 1 else times * 19
            rows.append(f"  {kind:<8} {len(times):>6}   median {cuts[9]:.3f} s   19 of 20 within {cuts[18]:.3f} s")
        return "\n".join(rows)


async def one(url: str, jobs: Sequence[tuple[str, str]], number: int, until: float, tally: Tally) -> None:
    """One person at work: writes into a job of their own and corrects it, looks at it, at the list, at another's."""
    name, job = jobs[number % len(jobs)]
    async with httpx.AsyncClient(base_url=url, timeout=120) as client:

        async def ask(kind: str, method: str, path: str, **sent: object) -> httpx.Response:
            begun = time.monotonic()
            answer = await client.request(method, path, **sent)  # type: ignore[arg-type]
            tally.seconds.setdefault(kind, []).append(time.monotonic() - begun)
            tally.statuses[answer.status_code] += 1
            return answer

        token = token_in((await ask("form", "GET", "/new")).text)
        turn = 0
        while turn == 0 or time.monotonic() < until:
            said = {"token": token, "text": LINES[turn % len(LINES)]}
            if (await ask("write", "POST", f"/jobs/{job}/lines", data=said)).status_code == 303:
                tally.written[name] += 1
            await ask("job", "GET", f"/jobs/{job}")
            await ask("bay", "GET", f"/jobs/{jobs[(number + turn) % len(jobs)][1]}/bay")
            await ask("list", "GET", "/")
            turn += 1


async def all_at_once(url: str, jobs: Sequence[tuple[str, str]], span_s: float) -> Tally:
    tally, until = Tally(), time.monotonic() + span_s
    await asyncio.gather(*(one(url, jobs, number, until, tally) for number in range(CLIENTS)))
    return tally


def many_clients(filled: Path, shipped: Rooms, tmp_path: Path, span_s: float) -> Tally:
    """Serve in a process of its own, let them work, and compare what was confirmed with what is there."""
    home = shutil.copytree(filled, tmp_path / "home")
    rooms = rooms_in(home, shipped)
    jobs = [(f"Load {n}", open_job(rooms.store, f"Load {n}").id) for n in range(CLIENTS)]
    serving = Serving(home)
    try:
        with httpx.Client(base_url=serving.url, timeout=60) as first:
            first.get(f"/jobs/{jobs[0][1]}/bay")  # the vocabulary is read once, before anybody is waiting
        tally = asyncio.run(all_at_once(serving.url, jobs, span_s))
    finally:
        serving.stop()
    print(tally.table(span_s))
    assert set(tally.statuses) <= {200, 303}, tally.statuses
    assert [line for line in serving.said if "Traceback" in line or "Exception" in line] == []
    for name, _ in jobs:
        said = [utterance.text for utterance in rooms.store.job(name).utterances]
        assert said == [LINES[n % len(LINES)] for n in range(tally.written[name])]
    rooms.store.close()
    return tally


@pytest.mark.soak
def test_fifty_clients_for_a_minute(filled: Path, shipped: Rooms, tmp_path: Path) -> None:
    """Fifty people for a minute; the table goes into DEVELOPERS.md."""
    many_clients(filled, shipped, tmp_path, 60)
