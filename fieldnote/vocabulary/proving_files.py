"""Reads a pack's proving set: short dictations with the entries that they must give, written by people in TOML.

::

    [[job]]
    id = "trough-skip"
    say = ["hose on the trough for forty seconds and it leaked"]

    [[job.entry]]
    kind = "test"
    place = "liftgate-trough"
    method = "hose"
    state = "leak"
    time-to-leak = "40 s"

Strict, as the loader of the pack is: every fault with file, line, key and the nearest valid value.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, cast

from fieldnote.errors import Fault, PackFault
from fieldnote.records import KINDS as ENTRY_KINDS
from fieldnote.records import SIDES, Entry, Quantity
from fieldnote.vocabulary.lines import Lines
from fieldnote.vocabulary.nearest import nearest
from fieldnote.vocabulary.pack import AT_WORDS, Pack, QuantityKind, State

JOB_KEYS = ("id", "say", "entry", "steering", "note")
FACT_KEYS = ("kind", "what", "value", "unit")
ENTRY_KEYS = ("kind", "place", "part", "side", "state", "present", "certainty", "stage", "method", "material")
MORE_KEYS = ("at", "item")
FOLDER = "proving"

_AMOUNT = re.compile(r"^(-?\d+(?:\.\d+)?)(?:\s+(\S+))?$")
_TEST_PLAN = "test"


@dataclass(frozen=True, slots=True)
class ProvingJob:
    """One labelled dictation: what is said, line by line, and the entries that must come out."""

    file: str
    line: int
    id: str
    say: tuple[str, ...]
    entries: tuple[Entry, ...]
    steering: str | None = None
    note: str = ""

    @property
    def key(self) -> str:
        """Names the job in the whole set."""
        return f"{self.file}/{self.id}"


def load_proving(pack: Pack, folders: Iterable[Path] | None = None) -> tuple[ProvingJob, ...]:
    """The proving jobs of a pack: those shipped, and those of its overlay (or of ``folders``).

    Raises:
        PackFault: a file cannot be used; ``faults`` lists everything that is wrong.

    """
    reader = _Reader(pack)
    for folder in folders if folders is not None else [f / FOLDER for f in pack.folders]:
        for path in sorted(folder.glob("*.toml")):
            reader.read(path)
    if reader.faults:
        many = len(reader.faults)
        raise PackFault(
            f"the proving set has {many} fault{'s' if many > 1 else ''}, the first: {reader.faults[0]}",
            where=str(pack.folders[0] / FOLDER),
            do="Mend the lines named.",
            faults=tuple(sorted(reader.faults, key=lambda f: (f.file, f.line))),
        )
    return tuple(reader.jobs)


@dataclass
class _Reader:
    pack: Pack
    jobs: list[ProvingJob] = field(default_factory=list)
    faults: list[Fault] = field(default_factory=list)
    seen: dict[str, str] = field(default_factory=dict)
    file: str = ""
    lines: Lines = field(default_factory=lambda: Lines(""))

    def fault(self, line: int, key: str, found: str, expected: str, wrong: str = "", known: Iterable[str] = ()) -> None:
        self.faults.append(Fault(self.file, line, key, found, expected, nearest(wrong, known) if wrong else ""))

    def read(self, path: Path) -> None:
        self.file = f"{FOLDER}/{path.name}"
        try:
            text = path.read_text(encoding="utf-8")
            data = tomllib.loads(text)
        except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
            line = re.search(r"line (\d+)", str(error))
            self.fault(int(line.group(1)) if line else 0, "", str(error), "valid TOML in UTF-8")
            return
        self.lines = Lines(text)
        for table in data:
            if table != "job":
                self.fault(self.lines.of_table(table), table, "unknown table", "[[job]]", table, ("job",))
        first_entry = 0
        for index, row in enumerate(data.get("job", ())):
            if not isinstance(row, dict):
                self.fault(self.lines.of_table("job"), "job", "not a row", "[[job]]")
                return
            self._job(path.name, index, row, first_entry)
            first_entry += len(row.get("entry", ()))

    def _job(self, name: str, index: int, row: Mapping[str, Any], first_entry: int) -> None:
        line = self.lines.of_row("job", index)
        before = len(self.faults)
        for key in row:
            if key not in JOB_KEYS:
                self.fault(self.lines.of_row("job", index, key), key, "unknown key", "a key of [[job]]", key, JOB_KEYS)
        id, say = row.get("id"), row.get("say")
        if not isinstance(id, str) or not id:
            self.fault(line, "id", "missing", "a name for the job")
        elif id in self.seen:
            self.fault(line, "id", f"{id!r} again (first in {self.seen[id]})", "a name of its own")
        else:
            self.seen[id] = f"{self.file}:{line}"
        if not isinstance(say, list) or not say or not all(isinstance(s, str) and s.strip() for s in say):
            self.fault(self.lines.of_row("job", index, "say"), "say", repr(say)[:60], "a list of sentences")
        if row.get("steering") not in (None, "left", "right"):
            self.fault(line, "steering", repr(row["steering"]), "left or right")
        entries = [
            self._entry(first_entry + i, values) for i, values in enumerate(row.get("entry", ())) if values is not None
        ]
        if len(self.faults) == before:
            self.jobs.append(
                ProvingJob(
                    Path(name).stem,
                    line,
                    str(id),
                    tuple(cast(list[str], say)),
                    tuple(e for e in entries if e is not None),
                    row.get("steering"),
                    str(row.get("note", "")),
                )
            )

    # -- entries ------------------------------------------------------------------------------------------------

    def _entry(self, index: int, values: Mapping[str, Any]) -> Entry | None:
        before = len(self.faults)
        kind = values.get("kind")
        if kind not in ENTRY_KINDS:
            self.fault(
                self._line(index, "kind"),
                "kind",
                repr(kind),
                f"one of {', '.join(ENTRY_KINDS)}",
                str(kind),
                ENTRY_KINDS,
            )
            return None
        entry = self._fact(index, values) if kind == "fact" else self._finding(index, values)
        return entry if len(self.faults) == before else None

    def _line(self, index: int, key: str = "") -> int:
        return self.lines.of_row("job.entry", index, key)

    def _choice(self, index: int, values: Mapping[str, Any], key: str, known: Iterable[str], what: str) -> Any:
        value = values.get(key)
        known = tuple(known)
        if value is not None and value not in known:
            self.fault(self._line(index, key), key, repr(value), what, str(value), known)
        return value

    def _fact(self, index: int, values: Mapping[str, Any]) -> Entry:
        for key in values:
            if key not in FACT_KEYS:
                self.fault(self._line(index, key), key, "unknown key", "a key of a fact", key, FACT_KEYS)
        what = self._choice(index, values, "what", [t.id for t in self.pack.terms("fact")], "a fact of the pack")
        if what is None:
            self.fault(self._line(index), "what", "missing", "a fact of the pack")
        if "value" not in values:
            self.fault(self._line(index), "value", "missing", "a number or a text")
        return Entry("fact", what=what, value=values.get("value"), unit=values.get("unit"))

    def _finding(self, index: int, values: Mapping[str, Any]) -> Entry:
        amounts = {q.id: q for q in self.pack.rows(QuantityKind)}
        known = (*ENTRY_KEYS, *MORE_KEYS, *amounts)
        for key in values:
            if key not in known:
                self.fault(self._line(index, key), key, "unknown key", "a key of an entry", key, known)
        kind = values["kind"]

        def ids(table: str) -> list[str]:
            return [term.id for term in self.pack.terms(table)]

        at = values.get("at", [])
        for word in at if isinstance(at, list) else [at]:
            if word not in AT_WORDS:
                self.fault(self._line(index, "at"), "at", repr(word), f"of {', '.join(AT_WORDS)}", str(word), AT_WORDS)
        if not isinstance(values.get("present", True), bool):
            self.fault(self._line(index, "present"), "present", repr(values["present"]), "true or false")
        return Entry(
            kind,
            place=self._choice(index, values, "place", ids("place"), "the id of a place"),
            part=self._choice(index, values, "part", ids("part"), "the id of a part"),
            side=self._choice(index, values, "side", SIDES, f"one of {', '.join(SIDES)}"),
            state=self._choice(index, values, "state", self._states(kind), f"a state of a {kind}"),
            present=values.get("present", True),
            certainty=self._choice(index, values, "certainty", ("sure", "unsure"), "sure or unsure") or "sure",
            stage=self._choice(index, values, "stage", ("find", "verify"), "find or verify") or "find",
            method=self._choice(index, values, "method", ids("method"), "the id of a method"),
            material=self._choice(index, values, "material", ids("material"), "the id of a material"),
            at=tuple(at) if isinstance(at, list) else (),
            item=values.get("item"),
            quantities=tuple(
                q
                for key in values
                if key in amounts and (q := self._amount(index, key, values[key], amounts[key])) is not None
            ),
        )

    def _states(self, kind: str) -> list[str]:
        """States that fit an entry of this kind: a source has those of a check, a plan what is to be done."""
        states = list(self.pack.rows(State))
        if kind == "plan":
            return [*(s.id for s in states if "repair" in s.kinds), _TEST_PLAN]
        wanted = "check" if kind == "source" else kind
        return [s.id for s in states if wanted in s.kinds]

    def _amount(self, index: int, key: str, value: Any, kind: QuantityKind) -> Quantity | None:
        units = [u for u in kind.units if u]
        expected = f'a text such as "3 {units[0]}" ({", ".join(units)})' if units else 'a text such as "2"'
        match = _AMOUNT.match(value) if isinstance(value, str) else None
        unit = (match.group(2) or "") if match else ""
        if match is None or (unit not in kind.units and (unit or units)):
            self.fault(self._line(index, key), key, repr(value), expected, unit, units)
            return None
        return Quantity(kind.id, float(match.group(1)), unit)
