"""Makes the language model of a pack's trade: models/language/PACK.npz, from the same text that the recogniser is tuned on.

    python models/training/language.py body-leaks

Run it after the pack was extended. The pack's own proving dictations, written as people talk, count three times.
"""

from __future__ import annotations

import argparse
import sys
import tomllib
from pathlib import Path

from fieldnote.recognize.trade_language import TradeLanguage
from fieldnote.resources import shipped

sys.path.insert(0, str(Path(__file__).parent))  # run as a program or imported by the tests: its neighbour is found
from texts import make

PROVING_TIMES = 3


def proving(pack_folder: Path) -> list[str]:
    """The utterances of a pack's labelled dictations."""
    said: list[str] = []
    for path in sorted((pack_folder / "proving").glob("*.toml")):
        jobs = tomllib.loads(path.read_text(encoding="utf-8")).get("job", [])
        said += [text for job in jobs for text in job.get("say", [])]
    return said


def main() -> None:
    """Write the model and say how large it is."""
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("pack", nargs="?", default="body-leaks")
    ask.add_argument("--count", type=int, default=15_000)
    ask.add_argument("--seed", type=int, default=11)
    given = ask.parse_args()
    texts = make(given.pack, given.count, given.seed, short_times=9)
    texts += proving(shipped("vocab") / given.pack) * PROVING_TIMES
    path = Path(__file__).parents[1] / "language" / f"{given.pack}.npz"
    TradeLanguage.of_texts(texts).save(path)
    print(f"{path}: {path.stat().st_size / 1e6:.1f} MB, {len(texts)} sentences")


if __name__ == "__main__":
    main()
