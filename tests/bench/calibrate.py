"""Fits the doubt curve of a model on a log of the hearing bench, and shows what a mark of doubt is worth.

    python -m tests.bench.hearing --parts dictation --sentences 60 --snr clean,10,5 --log build/hearing.jsonl
    python -m tests.bench.calibrate build/hearing.jsonl

The weights go into models/manifest.toml. Fitted and tried on different sentences (five folds), so that the figures
shown are not those of what was learned by heart.
"""

from __future__ import annotations

import argparse
import json
import zlib
from collections import Counter
from collections.abc import Iterator
from dataclasses import astuple
from pathlib import Path

import numpy as np
from scipy.optimize import minimize

from fieldnote.extract import Extractor
from fieldnote.recognize.doubt import signs_of
from fieldnote.records import Alternative, Utterance, Word
from fieldnote.vocabulary import load_pack
from tests.bench.hearing_scores import _key, dangers, entries_of

FOLDS = 5
NAMES = ("base", "whole", "mean", "worst", "disputed")


def samples(paths: list[Path], engine: str) -> Iterator[tuple[str, list[float], bool, bool]]:
    """Sentence, signs, whether the entry is wrong, and whether dangerously so."""
    extractor = Extractor(load_pack("body-leaks"))
    for path in paths:
        for line in path.read_text(encoding="utf-8").splitlines():
            row = json.loads(line)
            if row["engine"] != engine or not row["said"] or len(row["confidence"]) != 1:
                continue
            words = tuple(Word(text, 0.0, 0.0, confidence) for text, confidence in row["words"])
            others = tuple(Alternative(text, score) for text, score in row["others"])
            heard = Utterance(
                "u", row["heard"], confidence=row["confidence"][0], words=words, alternatives=others, engine="whisper"
            )
            gold, got = entries_of(extractor, [row["said"]]), entries_of(extractor, [heard])
            if not gold:
                continue
            expected = Counter(map(_key, gold))
            dangerous = {entry.id for entry, _ in dangers(gold, got)}
            for entry in got:
                spans = [(o.start, o.end) for o in entry.origins if o.start is not None and o.end is not None]
                signs = signs_of(heard, spans)
                if signs is not None:
                    wrong = entry.id in dangerous or not expected[_key(entry)]
                    yield row["said"], [1.0, *astuple(signs)], wrong, entry.id in dangerous


def fit(signs: np.ndarray, wrong: np.ndarray, weight: float = 1.0) -> np.ndarray:
    """Weights of the logistic curve; a little ridge, and no sign may lower the doubt."""

    def loss(w: np.ndarray) -> float:
        odds = signs @ w
        return float(np.logaddexp(0, odds).sum() - (odds * wrong).sum() + weight * np.square(w[1:]).sum())

    bounds = [(None, None)] + [(0, None)] * (signs.shape[1] - 1)
    return np.asarray(minimize(loss, np.zeros(signs.shape[1]), method="L-BFGS-B", bounds=bounds).x)


def main() -> None:
    """Print the weights, and how many mistakes each threshold marks."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("logs", type=Path, nargs="+")
    parser.add_argument("--engine", default="default")
    arguments = parser.parse_args()
    rows = list(samples(arguments.logs, arguments.engine))
    signs = np.array([row[1] for row in rows])
    wrong = np.array([row[2] for row in rows])
    danger = np.array([row[3] for row in rows])
    fold = np.array([zlib.crc32(row[0].encode()) % FOLDS for row in rows])
    risk = np.zeros(len(rows))
    for i in range(FOLDS):
        risk[fold == i] = 1 / (1 + np.exp(-signs[fold == i] @ fit(signs[fold != i], wrong[fold != i])))
    print(f"{len(rows)} entries, {wrong.sum()} wrong, {danger.sum()} of them dangerously")
    for name, value in zip(NAMES, fit(signs, wrong), strict=True):
        print(f"{name} = {value:.3f}")
    print("\n| mark from | entries marked % | of these wrong % | dangers per 100 entries, unmarked |")
    print("| --- | --- | --- | --- |")
    for threshold in (0.1, 0.15, 0.2, 0.25, 0.3, 0.4, 0.5, 0.6):
        marked = risk >= threshold
        left = 100 * (danger & ~marked).sum() / len(rows)
        precision = 100 * wrong[marked].mean() if marked.any() else 0.0
        print(f"| {threshold} | {100 * marked.mean():.1f} | {precision:.0f} | {left:.2f} |")


if __name__ == "__main__":
    main()
