"""What a recogniser makes of the pack's words: from trials to rows of ``heard_as.toml``.

A trial is one phrase, spoken once within a short carrier sentence and recognised. Only what helps is kept: a reading
that comes more than once, that the pack does not understand already, that names nothing else, and that holds no word
which would change what a sentence says (a side, "not").
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

import tomlkit

from fieldnote.errors import BadData, StoreFault
from fieldnote.vocabulary.pack import HeardAs, Pack

FILE = "heard_as.toml"
LEAST_TIMES = 2
"""A reading that came once is chance."""
CARRIERS = (("now the", "again"), ("this is the", "here"))
"""Words before and after the phrase: single words are recognised poorly (plain English, of no trade)."""

Verdict = Literal["kept", "understood", "names another", "breaks grammar", "rare"]

_PUNCTUATION = re.compile(r"[^\w\s']|_", re.UNICODE)


@dataclass(frozen=True, slots=True)
class Trial:
    """One phrase as it was recognised; ``heard`` is empty where the carrier did not come back."""

    said: str
    heard: str


@dataclass(frozen=True, slots=True)
class Reading:
    """What a phrase was recognised as, how often, and what becomes of that."""

    said: str
    heard: str
    times: int
    of: int
    verdict: Verdict
    why: str = ""


def plain_words(text: str) -> str:
    """A recognised text as packs hold phrases: lower case, no punctuation, hyphens as spaces."""
    return " ".join(_PUNCTUATION.sub(" ", text.lower().replace("-", " ").replace("’", "'")).split())


def within_carrier(carrier: tuple[str, str], text: str) -> str:
    """What stands between the carrier's words in a recognised text; empty where they did not come back."""
    words, before, after = plain_words(text).split(), carrier[0].split(), carrier[1].split()
    inner = words[len(before) : len(words) - len(after)]
    return " ".join(inner) if [*before, *inner, *after] == words else ""


def readings(
    trials: Iterable[Trial],
    *,
    meanings: Callable[[str], frozenset[str]],
    breaks: Callable[[str, str], bool] = lambda said, heard: False,
) -> tuple[Reading, ...]:
    """What became of each phrase, most frequent first.

    ``meanings`` tells what the pack takes a phrase for; ``breaks`` whether a reading, beyond what was said, holds words
    that the grammar needs.
    """
    said: Counter[str] = Counter()
    heard: Counter[tuple[str, str]] = Counter()
    for trial in trials:
        said[trial.said] += 1
        if trial.heard and trial.heard != trial.said:
            heard[trial.said, trial.heard] += 1
    out = [_judge(s, h, times, said[s], meanings, breaks) for (s, h), times in heard.items()]
    return tuple(sorted(out, key=lambda r: (-r.times, r.said, r.heard)))


def _judge(
    said: str,
    heard: str,
    times: int,
    of: int,
    meanings: Callable[[str], frozenset[str]],
    breaks: Callable[[str, str], bool],
) -> Reading:
    meant, taken = meanings(said), meanings(heard)
    if meant & taken:
        return Reading(said, heard, times, of, "understood")
    if taken:
        return Reading(said, heard, times, of, "names another", ", ".join(sorted(taken)))
    if any(c.isdigit() for c in heard) or breaks(said, heard):
        return Reading(said, heard, times, of, "breaks grammar")
    return Reading(said, heard, times, of, "kept" if times >= LEAST_TIMES else "rare")


def rows_of(found: Iterable[Reading], model_hash: str, ordinary: Callable[[str], bool]) -> tuple[HeardAs, ...]:
    """Rows for the readings that are kept. ``ordinary``: whether a phrase is plain English."""
    return tuple(
        HeardAs(r.heard, r.said, r.times, r.of, model_hash, ordinary(r.heard)) for r in found if r.verdict == "kept"
    )


def keep_rows(folder: Path, pack: Pack, rows: Sequence[HeardAs], measured: Iterable[str]) -> Path:
    """Put ``rows`` into the folder's ``heard_as.toml`` in place of older ones of the phrases ``measured``.

    Raises:
        BadData: the file is there and is no valid TOML.
        StoreFault: it cannot be written.

    """
    path = folder / FILE
    try:
        doc: Any = tomlkit.parse(path.read_text(encoding="utf-8")) if path.is_file() else tomlkit.document()
    except (ValueError, OSError) as error:
        raise BadData(f"cannot be read ({error})", where=str(path), do="Mend the file by hand.") from error
    if not path.is_file():
        doc.add(
            tomlkit.comment(f"What a recogniser makes of words of {pack.id}: see `fieldnote vocab measure --help`.")
        )
    again = set(measured)
    kept = [row for row in doc.get("heard", ()) if row.get("said") not in again]
    table = tomlkit.aot()
    for row in kept:
        table.append(row)
    for new in rows:
        item = tomlkit.table()
        item.update({"heard": new.heard, "said": new.said, "times": new.times, "of": new.of, "model": new.model})
        if new.ordinary:
            item["ordinary"] = True
        table.append(item)
    doc.pop("heard", None)
    if kept or rows:
        doc["heard"] = table
    try:
        folder.mkdir(parents=True, exist_ok=True)
        beside = path.with_name(path.name + ".part")
        beside.write_text(tomlkit.dumps(doc), encoding="utf-8")
        beside.replace(path)
    except OSError as error:
        raise StoreFault(
            f"the confusions cannot be written ({error.strerror})", where=str(path), do="Check its permissions."
        ) from error
    return path
