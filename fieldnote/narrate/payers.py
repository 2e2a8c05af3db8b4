"""Who pays for a job and what each payer wants to have: ``claim.toml`` of the pack, and of the shop's own folder.

Read strictly: all faults at once, each with its line.
"""

from __future__ import annotations

import dataclasses
import tomllib
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from fieldnote.errors import Fault, NotFound, PackFault
from fieldnote.narrate.proof import Proof
from fieldnote.narrate.wording import Vocabulary
from fieldnote.records import Job, Paragraph

FILE_NAME = "claim.toml"
PARTS = ("complaint", "cause", "correction")
"""What the story of a claim consists of, and what a payer's form may limit."""
_LETTERS = ("any", "plain")


@dataclass(frozen=True, slots=True)
class Payer:
    """A payer: what it requires (ids of ``REQUIREMENTS``), and how many characters its form takes (0: any number)."""

    id: str
    name: str
    requires: tuple[str, ...] = ()
    complaint: int = 0
    cause: int = 0
    correction: int = 0
    letters: str = "any"

    def limit(self, part: str) -> int:
        """The most characters of one of ``PARTS``."""
        return int(getattr(self, part))


@dataclass(frozen=True, slots=True)
class Known:
    """What is known of a job when its claim is looked over. ``told``: parts of the story of which something is said."""

    job: Job
    proof: Proof
    told: frozenset[str]

    def has(self, field: str) -> bool:
        """Whether a field of the intake or of the claim holds something."""
        held = getattr(self.job.intake if hasattr(self.job.intake, field) else self.job.claim, field)
        return held not in (None, (), "")

    def said(self, what: str) -> bool:
        """Whether a fact was dictated."""
        return any(e.kind == "fact" and e.what == what and e.present for e in self.job.entries)

    def pictured(self, kind: str) -> bool:
        """Whether there is a photo of this kind."""
        return any(photo.kind == kind and photo.is_here for photo in self.job.photos)

    def explained(self) -> bool:
        """Whether it is known where the water came in."""
        return any(leak.grade != "suspected" for leak in self.proof.leaks)

    def repaired(self) -> bool:
        """Whether something was repaired."""
        return any(e.kind == "repair" and e.present for e in self.job.entries)

    def retested(self) -> bool:
        """Whether a retest proves each repair."""
        leaks = [leak for leak in self.proof.leaks if leak.repairs]
        return bool(leaks) and all(leak.cure is not None for leak in leaks)


@dataclass(frozen=True, slots=True)
class Requirement:
    """Something that a payer may want: what it is called, and whether it is there."""

    label: str
    there: Callable[[Known], bool]


LABOR: Mapping[str, str] = {
    "diagnosis_h": "diagnosis",
    "access_h": "access",
    "repair_h": "repair",
    "refit_h": "refitting",
    "retest_h": "retest",
}
"""Fields of a claim that split the labor, with what they are called."""

REQUIREMENTS: Mapping[str, Requirement] = {
    "order-number": Requirement("the order number", lambda k: k.has("order_number")),
    "vin": Requirement("the VIN", lambda k: k.has("vin") or k.said("vin")),
    "day-in": Requirement("the day that it came in", lambda k: k.has("day_in") or bool(k.job.created_at)),
    "day-out": Requirement("the day that it went out", lambda k: k.has("day_out") or bool(k.job.closed_at)),
    "odometer-in": Requirement("the odometer when it came in", lambda k: k.has("odometer") or k.said("odometer")),
    "odometer-out": Requirement("the odometer when it went out", lambda k: k.has("odometer_out")),
    "complaint": Requirement("a complaint", lambda k: "complaint" in k.told),
    "cause": Requirement("a cause", Known.explained),
    "correction": Requirement("a correction", Known.repaired),
    "retest": Requirement("a retest that proves each repair", Known.retested),
    "failed-part": Requirement("the number of the part that failed", lambda k: k.has("failed_part")),
    "parts": Requirement("the parts used, with quantities", lambda k: k.has("parts")),
    "sealer": Requirement("batch and expiry of the sealer", lambda k: k.has("sealer_batch") and k.has("sealer_expiry")),
    "operations": Requirement("the codes of the operations", lambda k: k.has("operations")),
    "labor-split": Requirement("the labor, split by kind", lambda k: any(k.has(field) for field in LABOR)),
    "authorization": Requirement("an authorization", lambda k: k.has("authorization")),
    "other-work": Requirement("earlier or outside work, or that there was none", lambda k: k.has("other_work")),
    "photo-before": Requirement("a photo from before the repair", lambda k: k.pictured("before")),
    "photo-after": Requirement("a photo from after the repair", lambda k: k.pictured("after")),
}
"""All that a payer can be said to require, by id."""


def told_of(paragraphs: Iterable[Paragraph]) -> frozenset[str]:
    """Parts of the story of which something is recorded: a sentence that rests on no entry says that nothing is."""
    return frozenset(p.heading.lower() for p in paragraphs if any(s.entries for s in p.sentences))


def load_payers(pack: Vocabulary) -> dict[str, Payer]:
    """The payers by id; the shop's own take the place of shipped ones of the same id.

    Raises:
        PackFault: a file cannot be used; ``faults`` lists all that is wrong with it.

    """
    found: dict[str, Payer] = {}
    for folder in pack.folders:
        path = folder / FILE_NAME
        if path.is_file():
            found.update(_read(path))
    return found


def find_payer(id: str, pack: Vocabulary) -> Payer:
    """The payer with this id.

    Raises:
        NotFound: there is none; those that there are are named.
        PackFault: the file cannot be used.

    """
    payers = load_payers(pack)
    if id not in payers:
        known = ", ".join(payers) or "none yet"
        raise NotFound("no such payer", where=id, do=f"{FILE_NAME} has: {known}.")
    return payers[id]


def missing(known: Known, payer: Payer) -> tuple[str, ...]:
    """Ids of what the payer requires and the job does not have, in the payer's order."""
    return tuple(id for id in payer.requires if not REQUIREMENTS[id].there(known))


def _read(path: Path) -> dict[str, Payer]:
    faults: list[Fault] = []
    try:
        text = path.read_text(encoding="utf-8")
        data = tomllib.loads(text)
    except (UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise _refused(path, [Fault(path.name, 0, "", str(error), "valid TOML in UTF-8")]) from error
    found = {}
    for table, rows in data.items():
        if table != "payer" or not isinstance(rows, dict):
            faults.append(Fault(path.name, _line(text, "", table), table, "unknown table", "payer.ID"))
            continue
        for id, values in rows.items():
            filled = _row(path.name, text, id, values, faults)
            if filled is not None:
                found[id] = filled
    if faults:
        raise _refused(path, faults)
    return found


def _refused(path: Path, faults: list[Fault]) -> PackFault:
    many = f"{len(faults)} fault{'s' if len(faults) > 1 else ''}"
    return PackFault(
        f"the payers have {many}, the first: {faults[0]}",
        where=str(path),
        do=f"Mend {path.name}.",
        faults=tuple(faults),
    )


def _row(file: str, text: str, id: str, values: Any, faults: list[Fault]) -> Payer | None:
    before = len(faults)
    columns = {f.name for f in dataclasses.fields(Payer)} - {"id"}

    def fault(key: str, found: str, expected: str, wrong: str = "", known: Any = ()) -> None:
        from fieldnote.vocabulary.nearest import nearest

        hint = nearest(wrong, known) if wrong else ""
        faults.append(Fault(file, _line(text, id, key), f"payer.{id}.{key}".rstrip("."), found, expected, hint))

    if not isinstance(values, dict):
        fault("", repr(values)[:60], "a table")
        return None
    for key, value in values.items():
        if key not in columns:
            fault(key, "unknown key", f"one of {', '.join(sorted(columns))}", key, columns)
        elif key in PARTS and (type(value) is not int or value < 0):
            fault(key, repr(value)[:60], "a whole number of characters, 0 or more")
        elif key == "letters" and value not in _LETTERS:
            fault(key, repr(value)[:60], f"one of {', '.join(_LETTERS)}", str(value), _LETTERS)
        elif key == "name" and (not isinstance(value, str) or not value.strip()):
            fault(key, repr(value)[:60], "a name")
        elif key == "requires":
            for one in value if isinstance(value, list) else [value]:
                if one not in REQUIREMENTS:
                    fault(key, repr(one)[:60], f"one of {', '.join(REQUIREMENTS)}", str(one), REQUIREMENTS)
    if "name" not in values:
        fault("", "no name", 'name = "…"')
    if len(faults) > before:
        return None
    return Payer(id, **(values | {"requires": tuple(values.get("requires", ()))}))


def _line(text: str, id: str, key: str = "") -> int:
    """The line of a key of a payer, else that of the payer's head, else 0."""
    inside, head = not id, 0
    for number, raw in enumerate(text.splitlines(), 1):
        line = raw.split("#")[0].strip()
        if line.startswith("["):
            name = line.strip("[] ").replace('"', "")
            inside = name == f"payer.{id}" if id else name.split(".")[0] == key
            if inside:
                head = number
                if not id:
                    return number
        elif inside and key and line.split("=")[0].strip() == key:
            return number
    return head


__all__ = [
    "FILE_NAME",
    "LABOR",
    "PARTS",
    "REQUIREMENTS",
    "Known",
    "Payer",
    "find_payer",
    "load_payers",
    "missing",
    "told_of",
]
