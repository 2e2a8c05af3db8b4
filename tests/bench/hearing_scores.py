"""What the hearing bench counts: words, trade words, entries, dangers, characters."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import pairwise

import jiwer
from num2words import num2words
from rapidfuzz.distance import Levenshtein

from fieldnote.extract import Extractor
from fieldnote.extract.spelled import read_spelled
from fieldnote.records import Entry, Utterance

_NUMBER = re.compile(r"\d[\d,]*(?:\.\d+)?")
_CORE = ("kind", "place", "part", "side", "state", "present")
_SIDES = {"left", "right"}


@lru_cache(maxsize=4096)
def plain(text: str) -> str:
    """Lower case, numbers as words, hyphens as spaces, no punctuation; "and" inside numbers is dropped."""

    def words(match: re.Match[str]) -> str:
        digits = match[0].replace(",", "").rstrip(".")
        return " " + num2words(float(digits) if "." in digits else int(digits)) + " "

    spoken = _NUMBER.sub(words, text.lower().replace("%", " percent "))
    spoken = re.sub(r"[^a-z' ]+", " ", spoken).replace(" '", " ")
    return re.sub(r"\b(hundred|thousand) and\b", r"\1", " ".join(spoken.split()))


def _joined_alike(said: str, heard: str) -> str:
    """``heard`` with words joined or split as in ``said`` ("over spray", "overspray"): spelling, not hearing."""
    pairs = {a + b: f"{a} {b}" for a, b in pairwise(said.split())}
    whole, words, out = set(said.split()), heard.split(), list[str]()
    while words:
        first, *rest = words
        if rest and first + rest[0] in whole and first + rest[0] not in heard.split():
            out.append(first + rest[0])
            words = rest[1:]
        else:
            out.append(first if first in whole else pairs.get(first, first))
            words = rest
    return " ".join(out)


@dataclass
class Words:
    """Errors over words, of all words and of those of the trade."""

    said: int = 0
    wrong: int = 0
    trade_said: int = 0
    trade_wrong: int = 0
    right_whole: int = 0
    utterances: int = 0

    def add(self, said: str, heard: str, trade: frozenset[str]) -> None:
        """Count one utterance."""
        reference, hypothesis = plain(said), _joined_alike(plain(said), plain(heard))
        self.utterances += 1
        self.right_whole += reference == hypothesis
        aligned = jiwer.process_words(reference, hypothesis)
        words = reference.split()
        self.said += len(words)
        self.wrong += aligned.substitutions + aligned.deletions + aligned.insertions
        kept: set[int] = set()
        for chunk in aligned.alignments[0]:
            if chunk.type == "equal":
                kept.update(range(chunk.ref_start_idx, chunk.ref_end_idx))
        for i, word in enumerate(words):
            if word in trade:
                self.trade_said += 1
                self.trade_wrong += i not in kept


@dataclass
class Entries:
    """Entries out of what was heard against entries out of what was said, and the mistakes that could hurt a job."""

    both: int = 0
    said: int = 0
    heard: int = 0
    dangers: Counter[str] = field(default_factory=Counter)
    flagged: int = 0
    unflagged: int = 0
    marked: int = 0
    """Entries that carry a mark of doubt, right or wrong."""

    def add(self, gold: Sequence[Entry], got: Sequence[Entry], doubtful: set[str]) -> None:
        """Count one utterance; ``doubtful`` holds the ids of entries in ``got`` that carry a mark."""
        self.said += len(gold)
        self.heard += len(got)
        self.marked += sum(entry.id in doubtful for entry in got)
        self.both += sum((Counter(map(_key, gold)) & Counter(map(_key, got))).values())
        for entry, danger in dangers(gold, got):
            self.dangers[danger] += 1
            if entry.id in doubtful:
                self.flagged += 1
            else:
                self.unflagged += 1

    @property
    def f1(self) -> float:
        """Of entries equal in kind, place, part, side, state and presence (facts: kind, what, value)."""
        return 2 * self.both / (self.said + self.heard) if self.said + self.heard else 1.0


def _key(entry: Entry) -> tuple[object, ...]:
    if entry.kind == "fact":
        return (entry.kind, entry.what, str(entry.value).lower())
    return tuple(getattr(entry, name) for name in _CORE)


def dangers(gold: Sequence[Entry], got: Sequence[Entry]) -> list[tuple[Entry, str]]:
    """Entries whose mistake misleads: side flipped, "no" lost or gained, wrong number, made-up source or repair."""
    found: list[tuple[Entry, str]] = []
    left = list(gold)
    for entry in got:
        twin = max(left, key=lambda g: _likeness(g, entry), default=None)
        if twin is None or _likeness(twin, entry) < 2:
            if entry.kind in ("source", "repair"):
                found.append((entry, f"made-up {entry.kind}"))
            continue
        left.remove(twin)
        if {twin.side, entry.side} == _SIDES:
            found.append((entry, "side flipped"))
        elif twin.present != entry.present or {twin.state, entry.state} in _OPPOSITES:
            found.append((entry, '"no" lost or gained'))
        elif _numbers(twin) != _numbers(entry) and _numbers(entry):
            found.append((entry, "wrong number"))
        elif entry.kind != twin.kind and entry.kind in ("source", "repair"):
            found.append((entry, f"made-up {entry.kind}"))
    return found


_OPPOSITES = ({"leak", "dry"}, {"water", "dry"}, {"soaked", "dry"}, {"damp", "dry"})


def _likeness(one: Entry, other: Entry) -> int:
    """How much two entries speak of the same thing."""
    if (one.kind == "fact") != (other.kind == "fact") or one.what != other.what:
        return 0
    return (
        2 * (one.kind == other.kind)
        + 2 * (one.place is not None and one.place == other.place)
        + 2 * (one.part is not None and one.part == other.part)
        + (one.state == other.state)
        + (one.side == other.side)
    )


def _numbers(entry: Entry) -> Counter[object]:
    fact = [entry.value] if entry.kind == "fact" and entry.what != "complaint" else []
    item = [entry.item] if entry.item is not None else []
    return Counter([*((q.what, q.value) for q in entry.quantities), *fact, *item])


def entries_of(extractor: Extractor, utterances: Iterable[Utterance | str]) -> tuple[Entry, ...]:
    """What the utterances of one dictated sentence give, as a job of their own."""
    return tuple(extractor.run(utterances).entries)


def characters_wrong(said: str, heard: str) -> int:
    """Edits between the characters spelled and those read out of what was heard, without a check digit's help."""
    tokens = [token for token in re.sub(r"[^a-z0-9' -]+", " ", heard.lower()).split() if token != "vin"]
    read, at = "", 0
    while at < len(tokens):
        mention = read_spelled(tokens, at)
        read += mention.text if mention else ""
        at = mention.end if mention else at + 1
    return int(Levenshtein.distance(said.upper(), read.upper()))


def percent(part: float, whole: float) -> str:
    """With two digits; a dash where there is nothing to divide by."""
    return f"{100 * part / whole:.2f}" if whole else "-"
