"""How fast dictation is understood, and whether the time grows with the text alone.

    python -m tests.bench.understanding [REPEATS]

Prints words a second of processor time on one core with the shipped pack, over the labelled dictations; the time a word
for one, four and sixteen times the text as one job; and the same with a pack of 5,000 more terms beside how long that
pack takes to load. The machine's own pace stands at the end, so that figures of two machines can be compared.
"""

from __future__ import annotations

import json
import sys
import tempfile
import time
from pathlib import Path

from fieldnote.extract import Extractor
from fieldnote.vocabulary import Pack, load_pack

DICTATIONS = Path(__file__).parent.parent / "dictations" / "open"
MANY_TERMS = 5000
_PACE_LOOPS = 2_000_000


def read_jobs() -> list[list[str]]:
    """The utterances of every labelled job."""
    files = sorted(DICTATIONS.glob("*.jsonl"))
    return [
        json.loads(line)["utterances"] for f in files for line in f.read_text(encoding="utf-8").splitlines() if line
    ]


def words_in(jobs: list[list[str]]) -> int:
    return sum(len(utterance.split()) for job in jobs for utterance in job)


def seconds_for(extractor: Extractor, jobs: list[list[str]]) -> float:
    began = time.process_time()
    for job in jobs:
        extractor.run(job)
    return time.process_time() - began


def best_of(repeats: int, extractor: Extractor, jobs: list[list[str]]) -> float:
    return min(seconds_for(extractor, jobs) for _ in range(repeats))


def large_pack(folder: Path) -> tuple[Pack, float]:
    """The shipped pack with ``MANY_TERMS`` more parts in an overlay, and the seconds that loading took."""
    added = folder / "vocab" / "body-leaks"
    added.mkdir(parents=True)
    rows = (f'[[part]]\nid = "x{n}"\nsay = ["{_word(n)} piece", "{_word(n)} thing"]\n' for n in range(MANY_TERMS))
    (added / "many.toml").write_text("".join(rows), encoding="utf-8")
    began = time.process_time()
    pack = load_pack("body-leaks", folder)
    return pack, time.process_time() - began


def _word(n: int) -> str:
    return "zq" + "".join("bcdfghjklm"[int(digit)] + "aeiou"[int(digit) % 5] for digit in str(n))


def machine_pace() -> float:
    """Millions of turns a second of an empty loop: the yardstick."""
    began = time.process_time()
    total = 0
    for n in range(_PACE_LOOPS):
        total += n
    return _PACE_LOOPS / (time.process_time() - began) / 1e6


def main() -> None:
    repeats = int(sys.argv[1]) if len(sys.argv) > 1 else 3
    jobs = read_jobs()
    words = words_in(jobs)
    began = time.process_time()
    pack = load_pack("body-leaks")
    loaded = time.process_time() - began
    extractor = Extractor(pack)
    compiled = time.process_time() - began - loaded
    seconds_for(extractor, jobs)
    plain = best_of(repeats, extractor, jobs)
    print(
        f"{'shipped pack':28} load {loaded:5.2f} s   compile {compiled:5.2f} s   {words / plain:8,.0f} words a second"
    )
    whole = [utterance for job in jobs for utterance in job]
    for times in (1, 4, 16):
        one = best_of(1, extractor, [whole * times])
        print(f"{f'one job, {times} times the text':28} {one / (words * times) * 1e6:6.1f} microseconds a word")
    with tempfile.TemporaryDirectory() as folder:
        large, seconds = large_pack(Path(folder))
        big = Extractor(large)
        seconds_for(big, jobs)
        slow = best_of(repeats, big, jobs)
    terms = sum(len(rows) for rows in large.tables.values())
    print(
        f"{f'pack of {terms:,} terms':28} load {seconds:5.2f} s   {words / slow:8,.0f} words a second "
        f"({slow / plain:.2f} times the time)"
    )
    print(f"{'this machine':28} {machine_pace():5.1f} million empty turns a second")


if __name__ == "__main__":
    main()
