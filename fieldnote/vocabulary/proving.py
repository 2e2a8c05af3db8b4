"""Runs a pack's proving set and says what changed since the last run: gained, lost, still wrong.

Each expected entry is one thing to prove, and so is it that a job gives nothing beyond them. The last run is kept in
the data folder. What once was right and is wrong now is *lost*; it stays lost in every later run until it is right
again or someone accepts it, so that a regression cannot slip by between two runs.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from fieldnote.errors import BadData
from fieldnote.records import Entry, Quantity
from fieldnote.vocabulary.pack import Pack
from fieldnote.vocabulary.proving_files import ProvingJob
from fieldnote.wire import entry_to_wire

Understand = Callable[[ProvingJob], Sequence[Entry]]
"""From a job's sentences to entries; the extractor behind it is the caller's."""

NOTHING_MORE = "nothing more"
FORMAT = 1
_PLACES_OF_NUMBERS = 3


@dataclass(frozen=True, slots=True)
class Verdict:
    """One thing to prove. ``expected`` is None where it is that nothing more comes out (``extra`` lists what did)."""

    key: str
    job: ProvingJob
    expected: Entry | None
    right: bool
    got: Entry | None = None
    differs: tuple[str, ...] = ()
    extra: tuple[Entry, ...] = ()


@dataclass(frozen=True, slots=True)
class Proof:
    """One run, held against the last one."""

    verdicts: tuple[Verdict, ...]
    gained: tuple[Verdict, ...]
    lost: tuple[Verdict, ...]
    still_wrong: tuple[Verdict, ...]
    new: tuple[Verdict, ...]
    """Things to prove that the last run did not have, right or wrong."""
    gone: tuple[str, ...]
    """Keys that the last run had and the set has no more."""
    first_run: bool

    @property
    def right(self) -> int:
        """How many are right."""
        return sum(v.right for v in self.verdicts)


def prove(jobs: Sequence[ProvingJob], understand: Understand, last: LastRun | None) -> Proof:
    """Run every job through ``understand`` and compare with the last run."""
    verdicts = tuple(v for job in jobs for v in verdicts_of(job, understand(job)))
    if last is None:
        return Proof(verdicts, (), (), tuple(v for v in verdicts if not v.right), verdicts, (), True)
    keys = {v.key for v in verdicts}
    return Proof(
        verdicts=verdicts,
        gained=tuple(v for v in verdicts if v.right and v.key in last.known and v.key not in last.right),
        lost=tuple(v for v in verdicts if not v.right and v.key in last.right),
        still_wrong=tuple(v for v in verdicts if not v.right and v.key in last.known and v.key not in last.right),
        new=tuple(v for v in verdicts if v.key not in last.known),
        gone=tuple(sorted(last.known - keys)),
        first_run=False,
    )


def verdicts_of(job: ProvingJob, got: Sequence[Entry]) -> tuple[Verdict, ...]:
    """Pair a job's expected entries with what came out: equal ones first, then the nearest of what is left."""
    rest = list(got)
    counts: Counter[str] = Counter()
    paired: list[tuple[str, Entry, Entry | None]] = []
    for expected in job.entries:
        same = next((e for e in rest if not differences(expected, e)), None)
        if same is not None:
            rest.remove(same)
        paired.append((_key(job, expected, counts), expected, same))
    verdicts = []
    for key, expected, same in paired:
        if same is not None:
            verdicts.append(Verdict(key, job, expected, True, same))
            continue
        nearest = min(
            (e for e in rest if e.kind == expected.kind), key=lambda e: len(differences(expected, e)), default=None
        )
        if nearest is not None:
            rest.remove(nearest)
        verdicts.append(
            Verdict(key, job, expected, False, nearest, differences(expected, nearest) if nearest else ("missing",))
        )
    verdicts.append(Verdict(f"{job.key}: {NOTHING_MORE}", job, None, not rest, extra=tuple(rest)))
    return tuple(verdicts)


def differences(expected: Entry, got: Entry) -> tuple[str, ...]:
    """Names of the fields that differ; order within ``at`` and quantities does not matter, nor case of a text."""
    return tuple(name for name, value in _scored(expected).items() if _scored(got)[name] != value)


def _scored(entry: Entry) -> dict[str, Any]:
    if entry.kind == "fact":
        text = bool(str(entry.value or "").strip()) if entry.what == "complaint" else _plain(entry.value)
        return {**_EMPTY, "kind": "fact", "what": entry.what, "value": text, "unit": entry.unit or ""}
    return {
        **_EMPTY,
        **{name: getattr(entry, name) for name in _EMPTY if hasattr(entry, name)},
        "value": None,
        "at": frozenset(entry.at),
        "quantities": frozenset(_quantity(q) for q in entry.quantities),
        "unit": "",
    }


_EMPTY: dict[str, Any] = {
    **dict.fromkeys(("kind", "place", "part", "side", "state", "method", "material", "item", "what", "value")),
    "present": True,
    "certainty": "sure",
    "stage": "find",
    "at": frozenset(),
    "quantities": frozenset(),
    "unit": "",
}


def _plain(value: object) -> object:
    """Numbers rounded, texts without case, space and punctuation; a text that is a number counts as one."""
    text = str(value)
    try:
        return round(float(text), _PLACES_OF_NUMBERS)
    except ValueError:
        return "".join(c for c in text.casefold() if c.isalnum())


def _quantity(quantity: Quantity) -> tuple[str, object, str]:
    return quantity.what, _plain(quantity.value), quantity.unit


def _key(job: ProvingJob, expected: Entry, counts: Counter[str]) -> str:
    bare = replace(expected, quote="", id="", origins=())
    text = f"{job.key}: {json.dumps(entry_to_wire(bare), sort_keys=True, ensure_ascii=False)}"
    counts[text] += 1
    return text if counts[text] == 1 else f"{text} ({counts[text]})"


# ---- the last run ---------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class LastRun:
    """Which things to prove the last run had, and which of them were right."""

    known: frozenset[str]
    right: frozenset[str]


def last_run_path(home: Path, pack: Pack) -> Path:
    """Where the last run of this pack is kept in the data folder ``home``."""
    return home / "proving" / f"{pack.id}.json"


def read_last_run(path: Path) -> LastRun | None:
    """The last run, or None where there was none.

    Raises:
        BadData: the file is there and cannot be used.

    """
    try:
        data = json.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        return None
    except (OSError, ValueError) as error:
        raise BadData(
            f"the last proving run cannot be read ({error})", where=str(path), do="Remove the file and prove again."
        ) from error
    if not isinstance(data, dict) or data.get("format") != FORMAT:
        raise BadData("this is no proving run", where=str(path), do="Remove the file and prove again.")
    return LastRun(frozenset(data["known"]), frozenset(data["right"]))


def keep_run(path: Path, pack: Pack, proof: Proof, *, accept: bool = False) -> None:
    """Keep this run as the last one. What was lost stays listed as right, unless it is accepted.

    Raises:
        BadData: the data folder cannot be written.

    """
    right = {v.key for v in proof.verdicts if v.right}
    if not accept:
        right |= {v.key for v in proof.lost}
    data = {
        "format": FORMAT,
        "pack": pack.id,
        "pack_hash": pack.hash,
        "known": sorted(v.key for v in proof.verdicts),
        "right": sorted(right),
    }
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        beside = path.with_suffix(".part")
        beside.write_text(json.dumps(data, ensure_ascii=False, indent=1) + "\n", encoding="utf-8")
        beside.replace(path)
    except OSError as error:
        raise BadData(
            f"the proving run cannot be kept ({error.strerror})", where=str(path), do="Check the data folder."
        ) from error
