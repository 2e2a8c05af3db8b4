"""Puts a training folder together: the manifest with token ids, and tokens.json with special tokens and hints.

Input: ``clips.jsonl`` in DATA, one ``{"file", "domain": "trade"|"general", "text", "set"?}`` a line (``set`` names a
measuring set, never trained on)::

    python models/training/prepare.py DATA --model models/fieldnote-tiny --pack body-leaks
"""

from __future__ import annotations

import argparse
import json
import random
from pathlib import Path

from faster_whisper.feature_extractor import FeatureExtractor
from tokenizers import Tokenizer

from fieldnote.vocabulary import load_pack


def hint_lists(pack_name: str, tokenizer: Tokenizer, seed: int, count: int = 80) -> list[list[int]]:
    """Short lists of terms as they may stand in front of an utterance, as token ids."""
    dice = random.Random(seed)
    pack = load_pack(pack_name)
    terms = [term.name for kind in ("place", "part") for term in pack.terms(kind)]
    fronts = ("", "Notes: ", "Words used: ")
    made = (
        dice.choice(fronts) + ", ".join(dice.sample(terms, min(len(terms), dice.randint(5, 14)))) + "."
        for _ in range(count)
    )
    return [tokenizer.encode(" " + text, add_special_tokens=False).ids for text in made]


def prepare(data: Path, model: Path, pack: str, seed: int) -> int:
    """Write ``man.jsonl`` and ``tokens.json``; the number of clips is returned."""
    tokenizer = Tokenizer.from_file(str(model / "tokenizer.json"))
    lines = [json.loads(line) for line in (data / "clips.jsonl").read_text(encoding="utf-8").splitlines()]
    with (data / "man.jsonl").open("w", encoding="utf-8") as out:
        for line in lines:
            line["ids"] = tokenizer.encode(" " + line["text"], add_special_tokens=False).ids
            out.write(json.dumps(line) + "\n")
    special = {
        "sot": "<|startoftranscript|>",
        "nots": "<|notimestamps|>",
        "prev": "<|startofprev|>",
        "eot": "<|endoftext|>",
        "nospeech": "<|nocaptions|>",
    }
    tokens: dict[str, object] = {name: tokenizer.token_to_id(text) for name, text in special.items()}
    tokens["hints"] = hint_lists(pack, tokenizer, seed)
    tokens["mel_filters"] = FeatureExtractor(feature_size=80).mel_filters.astype(float).round(10).tolist()
    (data / "tokens.json").write_text(json.dumps(tokens), encoding="utf-8")
    return len(lines)


def main() -> None:
    """Read the options and prepare."""
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("data", type=Path)
    ask.add_argument("--model", type=Path, default=Path("models/fieldnote-tiny"))
    ask.add_argument("--pack", default="body-leaks")
    ask.add_argument("--seed", type=int, default=5)
    given = ask.parse_args()
    print(prepare(given.data, given.model, given.pack, given.seed), "clips")


if __name__ == "__main__":
    main()
