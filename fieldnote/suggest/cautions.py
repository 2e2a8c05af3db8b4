"""Cautions as data: texts tied to places, parts and actions, shown with a step and in the write-up."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from fieldnote.errors import PackFault
from fieldnote.records import Entry
from fieldnote.suggest.rows import open_reader
from fieldnote.vocabulary.pack import Pack

FILE = "cautions.toml"
_ACTIONS = ("look", "test", "access", "repair")
_KINDS = ("place", "part", "state", "method", "material", "command")


@dataclass(frozen=True, slots=True)
class CautionRow:
    """One caution. Every list that is not empty must be met by one of its ids; ``always`` is shown whatever is done.

    ``actions``: look, test, access, repair, or the id of a state, method or material that is used, or of a spoken
    command.
    """

    id: str
    text: str
    places: tuple[str, ...] = field(default=(), metadata={"ref": "place"})
    parts: tuple[str, ...] = field(default=(), metadata={"ref": "part"})
    actions: tuple[str, ...] = field(default=(), metadata={"ref": "action"})
    always: bool = False

    def fits(self, places: set[str], parts: set[str], actions: set[str]) -> bool:
        """Whether it bears on a step at these places and parts with these actions."""
        pairs = ((self.places, places), (self.parts, parts), (self.actions, actions))
        return self.always or all(not wanted or bool(set(wanted) & given) for wanted, given in pairs)


@dataclass(frozen=True, slots=True)
class Cautions:
    """The cautions of a pack, in file order."""

    rows: tuple[CautionRow, ...] = ()

    @property
    def always(self) -> tuple[str, ...]:
        """The sentences that are shown whatever is done."""
        return tuple(row.text for row in self.rows if row.always)

    def of(self, places: Iterable[str], parts: Iterable[str], actions: Iterable[str]) -> tuple[str, ...]:
        """Texts for one step, without those that are always shown."""
        given = set(places), set(parts), set(actions)
        return tuple(row.text for row in self.rows if not row.always and row.fits(*given))

    def of_entries(self, entries: Sequence[Entry]) -> tuple[str, ...]:
        """Texts for work that was done, entry by entry; those that are always shown come first."""
        texts = dict.fromkeys(self.always)
        for entry in entries:
            if entry.kind in ("check", "test", "access", "repair"):
                action = "look" if entry.kind == "check" else entry.kind
                actions = {action, *(a for a in (entry.state, entry.method, entry.material) if a)}
                places, parts = {entry.place or ""} - {""}, {entry.part or ""} - {""}
                texts.update(dict.fromkeys(self.of(places, parts, actions)))
        return tuple(texts)


def load_cautions(pack: Pack, path: Path | None = None) -> Cautions:
    """The cautions of ``pack``; none where it has no such file.

    Raises:
        PackFault: the file has faults, all of them listed.

    """
    file = path if path is not None else _find(pack)
    if file is None:
        return Cautions()
    known = {kind: {term.id for term in pack.terms(kind)} for kind in _KINDS}
    _add_extras(pack, known)
    known["action"] = {*_ACTIONS, *known["state"], *known["method"], *known["material"], *known["command"]}
    reader = open_reader(file, known)
    reader.check_tables(("caution",))
    rows = reader.rows("caution", CautionRow)
    for spot, row in rows:
        if not (row.always or row.places or row.parts or row.actions):
            reader.fault(reader.line(spot), "caution", f"{row.id!r} is tied to nothing", "places, parts or actions")
    if reader.faults:
        many = len(reader.faults)
        raise PackFault(
            f"the cautions have {many} fault{'s' if many != 1 else ''}, the first: {reader.faults[0]}",
            where=str(file),
            do="Mend the lines named.",
            faults=tuple(reader.faults),
        )
    return Cautions(tuple(row for _, row in rows))


def _find(pack: Pack) -> Path | None:
    return next((f / FILE for f in reversed(pack.folders) if (f / FILE).is_file()), None)


def _add_extras(pack: Pack, known: dict[str, set[str]]) -> None:
    """Places and parts that the leak map adds may be named too."""
    for folder in pack.folders:
        if (folder / "leak_map.toml").is_file():
            for row in open_reader(folder / "leak_map.toml", {}).data.get("extra", []):
                known.setdefault(str(row.get("kind")), set()).add(str(row.get("id")))
