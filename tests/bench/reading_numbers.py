"""How fast numbers, quantities, dates, times, spelled strings and VINs are read from dictated words.

    python -m tests.bench.reading_numbers

Run it from the top of the repository. It reads the open labelled dictations over and over with the units of the shipped
pack, prints words a second and microseconds a word for each reader, and asserts nothing.
"""

from __future__ import annotations

import json
import time
from collections.abc import Callable
from pathlib import Path

from fieldnote.extract.clock_times import find_times
from fieldnote.extract.dates import find_dates
from fieldnote.extract.lexicon import compile_lexicon
from fieldnote.extract.numbers import find_numbers
from fieldnote.extract.spelled import find_spelled
from fieldnote.extract.tokens import tokenize
from fieldnote.extract.units import find_quantities
from fieldnote.extract.vin import find_vin
from fieldnote.vocabulary import load_pack

DICTATIONS = Path("tests/dictations/open")
ROUNDS = 10


def utterances() -> list[list[str]]:
    """The words of every utterance of the open dictations."""
    return [
        [token.text for token in tokenize(text)]
        for path in sorted(DICTATIONS.glob("*.jsonl"))
        for line in path.read_text(encoding="utf-8").splitlines()
        for text in json.loads(line)["utterances"]
    ]


def main() -> None:
    """Print the table."""
    units = compile_lexicon(load_pack("body-leaks")).units
    if units is None:
        raise SystemExit("the shipped pack has no units")
    readers: dict[str, Callable[[list[str]], object]] = {
        "numbers": find_numbers,
        "quantities": lambda words: find_quantities(words, units),
        "dates": find_dates,
        "times of day": find_times,
        "spelled strings": find_spelled,
        "VIN": find_vin,
    }
    texts = utterances()
    words = sum(map(len, texts))
    print(f"{words} words in {len(texts)} utterances, {ROUNDS} rounds")
    print(f"{'reader':18}{'words a second':>16}{'µs a word':>12}")
    total = 0.0
    for name, read in readers.items():
        for text in texts:
            read(text)
        began = time.perf_counter()
        for _ in range(ROUNDS):
            for text in texts:
                read(text)
        per_word = (time.perf_counter() - began) / ROUNDS / words
        total += per_word
        print(f"{name:18}{1 / per_word:16,.0f}{per_word * 1e6:12.2f}")
    print(f"{'all':18}{1 / total:16,.0f}{total * 1e6:12.2f}")


if __name__ == "__main__":
    main()
