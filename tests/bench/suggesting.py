"""How long advice takes, by size of the map and number of findings, and with many closed jobs to learn from.

    python -m tests.bench.suggesting [JOBS] [FOLDER]

With JOBS a second table follows: what learning costs in a store of so many plausible jobs of 15 entries, made in FOLDER
unless it is there. Maps of any size are made from the shipped one: its sources again and again under new ids, with
priors scaled down so that as many leaks are expected as before. Times are of the processor, since the machine may be
shared; nothing is asserted about them.
"""

from __future__ import annotations

import re
import statistics
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from pathlib import Path

from fieldnote.flow import Rooms, all_lessons, learned_rates, next_checks
from fieldnote.records import Entry, Job, Quantity
from fieldnote.suggest import LeakMap, Teacher, advise, load_cautions, load_map
from fieldnote.suggest.belief import posterior
from fieldnote.suggest.explain import shares
from fieldnote.suggest.reading import read
from fieldnote.vocabulary import Pack, load_pack
from tests.bench.filling import fill
from tests.bench.plausible_jobs import plausible_jobs

ROUNDS = 7
SIZES = (0, 300, 1000, 3000)
FINDINGS = (1, 3, 5, 10)
_SIGNS = (
    "d-pillar left,rear-floor left,b-pillar left,scuff-plate right,front-footwell left,pedals,overhead-console,"
    "c-pillar right,quarter-panel left,spare-wheel-well,roof,liftgate"
)


def grown(pack: Pack, sources: int) -> LeakMap:
    """The shipped map with at least so many sources; 0 for the shipped one as it is."""
    shipped = load_map(pack)
    if not sources:
        return shipped
    text = Path(shipped.file).read_text(encoding="utf-8")
    blocks = re.findall(r"^\[\[source\]\]\n.*?(?=^\[\[|^# ----|\Z)", text, re.DOTALL | re.MULTILINE)
    times = -(-sources // len(shipped.sources))
    scaled = re.sub(
        r"(?m)^prior_prob = ([\d.e-]+)", lambda m: f"prior_prob = {float(m[1]) / times:.9f}", "".join(blocks)
    )
    more = [re.sub(r'(?m)^id = "(.*)"', rf'id = "\1-{n}"', scaled) for n in range(1, times)]
    kept = re.sub(r"(?m)^prior_prob = ([\d.e-]+)", lambda m: f"prior_prob = {float(m[1]) / times:.9f}", text)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "leak_map.toml"
        path.write_text("\n".join([kept, *more]), encoding="utf-8")
        return load_map(pack, path)


def job(findings: int) -> list[Entry]:
    """So many wet spots, two looks and two tests."""
    spots = [spot.split() for spot in _SIGNS.split(",")][:findings]
    entries = [
        Entry(kind="evidence", place=s[0], side=s[1] if len(s) > 1 else None, state="water")  # type: ignore[arg-type]
        for s in spots
    ]
    entries += [
        Entry(kind="check", place="liftgate-trough", part="grommet", side="left", state="ok"),
        Entry(kind="check", place="quarter-glass", part="weatherstrip", side="left", state="ok"),
        Entry(
            kind="test", place="tail-lamp", side="left", method="hose", state="dry",
            quantities=(Quantity("duration", 5, "min"),),
        ),
        Entry(
            kind="test", place="quarter-panel", side="left", method="hose", state="dry",
            quantities=(Quantity("duration", 5, "min"),),
        ),
    ]  # fmt: skip
    return entries


def millis(run: Callable[[], object]) -> float:
    """The median of several runs, in ms of processor time (the machine may be shared)."""
    times = []
    for _ in range(ROUNDS):
        start = time.process_time()
        run()
        times.append((time.process_time() - start) * 1000)
    return statistics.median(times)


def row(leak_map: LeakMap, entries: Sequence[Entry], pack: Pack) -> tuple[float, float, float]:
    """Belief alone, explanations alone, and the whole advice, in ms."""
    named = [Entry(kind=e.kind, place=e.place, part=e.part, side=e.side, state=e.state, method=e.method,
                   quantities=e.quantities, id=f"e{n}") for n, e in enumerate(entries)]  # fmt: skip
    cautions = load_cautions(pack)
    reading = read(leak_map, named)
    net = reading.network()
    belief = posterior(net)
    return (
        millis(lambda: posterior(net).prob),
        millis(lambda: shares(reading, range(12), belief)),
        millis(lambda: advise(leak_map, named, cautions=cautions)),
    )


def sizes() -> None:
    """Print the table by size of the map."""
    pack = load_pack("body-leaks")
    load = millis(lambda: load_map(pack))
    print(f"loading the shipped map: {load:.0f} ms\n")
    print(f"{'sources':>8} {'findings':>8} {'belief':>9} {'reasons':>9} {'advice':>9}   (ms, median of {ROUNDS})")
    for size in SIZES:
        leak_map = grown(pack, size)
        for findings in FINDINGS:
            belief, reasons, whole = row(leak_map, job(findings), pack)
            print(f"{len(leak_map.sources):>8} {findings:>8} {belief:>9.1f} {reasons:>9.1f} {whole:>9.1f}")


def learning(jobs: int, folder: Path) -> None:
    """Print what learning costs where so many jobs are kept."""
    rooms = Rooms(folder)
    store, leak_map, pack = rooms.store, rooms.leak_map, rooms.pack.id
    if len(store.jobs(limit=jobs)) < jobs:
        fill(store, plausible_jobs(leak_map, jobs))
    teacher = Teacher(leak_map, pack)
    due = store.count_due_lessons(teacher)
    start = time.process_time()
    all_lessons(store, leak_map, pack)
    print(f"\n{len(store.jobs())} jobs; learned from the {due} not learned from: {time.process_time() - start:.1f} s")

    def asked(one: Job) -> Callable[[], object]:
        return lambda: learned_rates(store, leak_map, pack, one)

    for status in ("open", "closed"):
        one = store.job(store.jobs(status=status, limit=1)[0].id)
        rates = learned_rates(store, leak_map, pack, one)
        advice = millis(lambda one=one, rates=rates: next_checks(store, one, leak_map, rates=rates))  # type: ignore[misc]
        print(f"{status} job: rates {millis(asked(one)):.1f} ms, advice {advice:.1f} ms")
    new = store.open_job(f"bench {time.time_ns()}")
    start = time.process_time()
    asked(new)()
    print(f"rates after a job was opened: {(time.process_time() - start) * 1000:.1f} ms")


def main(words: Sequence[str]) -> None:
    """Print the tables."""
    sizes()
    if not words:
        return
    if len(words) > 1:
        learning(int(words[0]), Path(words[1]))
        return
    with tempfile.TemporaryDirectory() as made:
        learning(int(words[0]), Path(made))


if __name__ == "__main__":
    main(sys.argv[1:])
