"""How the terms of a pack read in print: names, plurals, and the forms that ``wording.toml`` gives.

``wording.toml`` lies beside the pack's other files (and in its overlay) and is read strictly: all faults at once, each
with its line. Every term works without a row in it. Ids that the pack does not know (an imported job, a wider leak map)
are printed as their own words.
"""

from __future__ import annotations

import dataclasses
import tomllib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any, Protocol, TypeVar, cast, get_type_hints

from fieldnote.errors import Fault, PackFault

FILE_NAME = "wording.toml"
NUMBERS = ("count", "mass", "plural")
SHOWS = ("water", "opening", "contact")
GROUPS = ("vehicle", "complaint", "labor")


class Named(Protocol):
    """What is needed of a row of the pack."""

    @property
    def name(self) -> str:
        """The singular, as printed."""

    @property
    def plural(self) -> str:
        """The plural, as printed."""


class Vocabulary(Protocol):
    """What is needed of a pack."""

    @property
    def folders(self) -> tuple[Path, ...]:
        """Where its files lie."""

    def entry(self, kind: str, id: str) -> bool:
        """Whether there is such a row."""

    def term(self, kind: str, id: str) -> Any:
        """The row."""

    def terms(self, kind: str) -> Sequence[Any]:
        """All rows of one kind."""


def choice(*values: str, default: str) -> Any:
    """A field that takes one of these values."""
    return dataclasses.field(default=default, metadata={"choices": values})


@dataclass(frozen=True, slots=True)
class PlaceForms:
    """``prep`` stands before the place; ``number`` is that of its name."""

    prep: str = "at"
    number: str = choice(*NUMBERS, default="count")


@dataclass(frozen=True, slots=True)
class PartForms:
    """``ok``: how soundness of this part reads."""

    number: str = choice(*NUMBERS, default="count")
    ok: str = ""


@dataclass(frozen=True, slots=True)
class StateForms:
    """See the head of the shipped ``wording.toml``."""

    is_: str = ""
    is_not: str = ""
    has: str = ""
    has_many: str = ""
    number: str = choice(*NUMBERS, default="count")
    done: str = ""
    result: str = ""
    result_not: str = ""
    faultless: bool = False
    opens: bool = False
    renews: bool = False
    idle: bool = False
    closes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class MethodForms:
    """``shows``: what the method can show; only ``water`` proves an entry or clears a zone."""

    test: str = ""
    shows: str = choice(*SHOWS, default="water")
    leak: str = ""
    dry: str = ""
    leak_not: str = ""
    dry_not: str = ""
    whole: bool = False


@dataclass(frozen=True, slots=True)
class UnitForms:
    """What is printed behind a number."""

    one: str = ""
    many: str = ""


@dataclass(frozen=True, slots=True)
class QuantityForms:
    """``reads``: the phrase, with ``{}`` for the number and its unit; ``reads_is``: the same behind an adjective."""

    reads: str = "measuring {}"
    reads_is: str = ""


@dataclass(frozen=True, slots=True)
class FactForms:
    """``reads``: the sentence, with ``{}`` for the value."""

    reads: str = ""
    group: str = choice(*GROUPS, default="vehicle")
    private: bool = False


@dataclass(frozen=True, slots=True)
class MaterialForms:
    """``cures``: it needs time before the vehicle is used or tested."""

    cures: bool = False


@dataclass(frozen=True, slots=True)
class WatchForms:
    """Something to be told when a job is handed over; ``say``: words that show that it was spoken of."""

    heading: str = ""
    say: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class AftercareForms:
    """``own``: the write-up finds this gap itself, in its own words."""

    own: bool = False


FORMS: dict[str, type[Any]] = {
    "place": PlaceForms,
    "part": PartForms,
    "state": StateForms,
    "method": MethodForms,
    "material": MaterialForms,
    "unit": UnitForms,
    "quantity": QuantityForms,
    "fact": FactForms,
    "aftercare": AftercareForms,
    "watch": WatchForms,
}
F = TypeVar("F")


class Wording:
    """Names and forms of every term, for one pack."""

    def __init__(self, pack: Vocabulary, tables: Mapping[str, Mapping[str, Any]]) -> None:
        self._pack = pack
        self._tables = tables

    def name(self, kind: str, id: str) -> str:
        """The singular of a term."""
        return str(self._pack.term(kind, id).name) if self._pack.entry(kind, id) else id.replace("-", " ")

    def plural(self, kind: str, id: str) -> str:
        """The plural of a term."""
        return str(self._pack.term(kind, id).plural) if self._pack.entry(kind, id) else self.name(kind, id) + "s"

    def paired(self, place: str | None) -> bool:
        """Whether there is a left and a right one of this place."""
        if place is None or not self._pack.entry("place", place):
            return False
        return bool(getattr(self._pack.term("place", place), "paired", False))

    def known(self, kind: str, id: str) -> bool:
        """Whether the pack has the term."""
        return self._pack.entry(kind, id)

    def _forms(self, kind: str, id: str | None, record: type[F]) -> F:
        return cast(F, self._tables.get(kind, {}).get(id or "", None) or record())

    def place(self, id: str | None) -> PlaceForms:
        """Forms of a place."""
        return self._forms("place", id, PlaceForms)

    def part(self, id: str | None) -> PartForms:
        """Forms of a part."""
        return self._forms("part", id, PartForms)

    def state(self, id: str | None) -> StateForms:
        """Forms of a state."""
        return self._forms("state", id, StateForms)

    def method(self, id: str | None) -> MethodForms:
        """Forms of a method."""
        return self._forms("method", id, MethodForms)

    def unit(self, symbol: str | None) -> UnitForms:
        """Forms of a unit."""
        found = self._forms("unit", symbol, UnitForms)
        if found.one or not symbol:
            return found
        named = next((u for u in self._pack.terms("unit") if getattr(u, "symbol", "") == symbol), None)
        return UnitForms(named.name, named.plural) if named is not None else UnitForms(symbol, symbol)

    def quantity(self, what: str) -> QuantityForms:
        """Forms of a measured property."""
        return self._forms("quantity", what, QuantityForms)

    def material(self, id: str | None) -> MaterialForms:
        """Forms of a material."""
        return self._forms("material", id, MaterialForms)

    def watches(self) -> tuple[tuple[str, WatchForms], ...]:
        """What to tell when a job is handed over, in the order of the file."""
        return tuple(self._tables.get("watch", {}).items())

    def aftercare(self, id: str) -> AftercareForms:
        """Forms of something that follows a leak."""
        return self._forms("aftercare", id, AftercareForms)

    def fact(self, what: str | None) -> FactForms:
        """Forms of a fact."""
        found = self._forms("fact", what, FactForms)
        if found.reads:
            return found
        return dataclasses.replace(found, reads=f"The {self.name('fact', what or 'fact')} was {{}}.")


def load_wording(pack: Vocabulary) -> Wording:
    """The wording of a pack, those of its overlay laid over it.

    Raises:
        PackFault: a file cannot be used; ``faults`` lists everything that is wrong with it.

    """
    tables: dict[str, dict[str, Any]] = {kind: {} for kind in FORMS}
    faults: list[Fault] = []
    for folder in pack.folders:
        path = folder / FILE_NAME
        if path.is_file():
            found, wrong = _read(path.name, path.read_bytes())
            faults += wrong
            for kind, rows in found.items():
                tables[kind].update(rows)
    if faults:
        many = len(faults)
        raise PackFault(
            f"the wording has {many} fault{'s' if many > 1 else ''}, the first: {faults[0]}",
            where=str(pack.folders[0]),
            do=f"Mend {FILE_NAME}.",
            faults=tuple(faults),
        )
    return Wording(pack, tables)


def check_ids(pack: Vocabulary, more: Iterable[tuple[str, str]] = ()) -> None:
    """Refuse rows of terms that the pack does not have. ``more`` are further ids by kind, such as those of a leak map.

    Raises:
        PackFault: with all such rows.

    """
    known = set(more)
    symbols = {str(u.symbol) for u in pack.terms("unit")}
    faults: list[Fault] = []
    for folder in pack.folders:
        path = folder / FILE_NAME
        if not path.is_file():
            continue
        text = path.read_text(encoding="utf-8")
        for kind, rows in tomllib.loads(text).items():
            ids = symbols if kind == "unit" else {t.id for t in pack.terms(kind)} | {i for k, i in known if k == kind}
            for id in rows if kind not in ("aftercare", "watch") else ():
                if id not in ids:
                    faults.append(_fault(path.name, text, f"{kind}.{id}", repr(id), f"a {kind} of the pack", id, ids))
    if faults:
        raise PackFault(
            f"the wording names what is not in the pack, first: {faults[0]}",
            where=str(pack.folders[0]),
            do=f"Mend {FILE_NAME}.",
            faults=tuple(faults),
        )


# A write-up is made again at every change of a job: the same file is read once.
@lru_cache(maxsize=8)
def _read(file: str, raw: bytes) -> tuple[dict[str, dict[str, Any]], tuple[Fault, ...]]:
    tables: dict[str, dict[str, Any]] = {kind: {} for kind in FORMS}
    faults: list[Fault] = []
    try:
        text = raw.decode("utf-8")
        data = tomllib.loads(text)
    except (UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        return tables, (Fault(file, 0, "", str(error), "valid TOML in UTF-8"),)
    for kind, rows in data.items():
        if kind not in FORMS or not isinstance(rows, dict):
            faults.append(_fault(file, text, kind, "unknown table", f"one of {', '.join(FORMS)}", kind, FORMS))
            continue
        for id, values in rows.items():
            forms = _row(file, text, f"{kind}.{id}", values, FORMS[kind], faults)
            if forms is not None:
                tables[kind][id] = forms
    return tables, tuple(faults)


def _row(file: str, text: str, key: str, values: Any, record: type[Any], faults: list[Fault]) -> Any:
    hints, columns = get_type_hints(record), {f.name.rstrip("_"): f for f in dataclasses.fields(record)}
    if not isinstance(values, dict):
        faults.append(_fault(file, text, key, repr(values)[:60], "a table"))
        return None
    filled: dict[str, Any] = {}
    good = True
    for name, value in values.items():
        where = f"{key}.{name}"
        column = columns.get(name)
        if column is None:
            faults.append(_fault(file, text, where, "unknown key", f"one of {', '.join(columns)}", name, columns))
            good = False
            continue
        kind = hints[column.name]
        choices = column.metadata.get("choices")
        if kind in (str, bool) and type(value) is not kind:
            faults.append(_fault(file, text, where, repr(value)[:60], "text" if kind is str else "true or false"))
            good = False
        elif kind not in (str, bool) and not (isinstance(value, list) and all(isinstance(v, str) for v in value)):
            faults.append(_fault(file, text, where, repr(value)[:60], "a list of texts"))
            good = False
        elif choices and value not in choices:
            faults.append(_fault(file, text, where, repr(value), f"one of {', '.join(choices)}", str(value), choices))
            good = False
        elif name in ("reads", "reads_is") and value.count("{}") != 1:
            faults.append(_fault(file, text, where, repr(value), "a phrase with one {}"))
            good = False
        else:
            filled[column.name] = tuple(value) if isinstance(value, list) else value
    return record(**filled) if good else None


def _fault(file: str, text: str, key: str, found: str, expected: str, wrong: str = "", known: Any = ()) -> Fault:
    from fieldnote.vocabulary.nearest import nearest

    return Fault(file, _line(text, key), key, found, expected, nearest(wrong, known) if wrong else "")


def _line(text: str, key: str) -> int:
    """The line on which ``kind.id.name`` stands: the last of its words after the first header or key that fits."""
    kind, _, rest = key.partition(".")
    id, _, name = rest.partition(".")
    inside = False
    fallback = 0
    for number, raw in enumerate(text.splitlines(), 1):
        line = raw.split("#")[0].strip()
        if line.startswith("["):
            header = line.strip("[] ").replace('"', "")
            inside = header in (kind, f"{kind}.{id}") if id else header.split(".")[0] == kind
            plain = header == f"{kind}.{id}"
            if inside and not fallback and (plain or not id):
                fallback = number
            if inside and not id:
                return number
            continue
        if inside and name and (line.startswith(f"{id}.{name}") or line.split("=")[0].strip() == name):
            return number
        if inside and id and line.startswith((f"{id}.", f"{id} ")):
            fallback = number
    return fallback


__all__ = ["FILE_NAME", "FORMS", "Vocabulary", "Wording", "check_ids", "load_wording"]
