"""What a vocabulary pack is: frozen rows by kind, and the word lists of its grammar.

The dataclasses here are the schema. ``load.py`` reads a folder into them and refuses what does not fit; a field's
metadata says what may stand in it: ``ref`` (ids of another kind), ``choices`` (a closed list), ``spoken`` (phrases as
they are spoken: lower case, digits as words, hyphens as spaces).
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, TypeVar, cast

from fieldnote.errors import NotFound
from fieldnote.vocabulary.word_classes import AT_WORDS, SIDE_WORDS, WORD_CLASSES

ENTRY_KINDS = ("evidence", "check", "test", "access", "repair")
COMMAND_EFFECTS = ("correct", "take-back", "repeat", "drop", "none")
POS = ("noun", "verb", "adjective")
FACT_VALUES = ("vin", "number", "spelled", "text", "month", "year", "choice")


def spoken(**more: Any) -> Any:
    """A list of phrases as they are spoken."""
    return field(default=(), metadata={"spoken": True, **more})


def refers(kind: str, **more: Any) -> Any:
    """A list of ids of another kind."""
    return field(default=(), metadata={"ref": kind, **more})


@dataclass(frozen=True, slots=True)
class Term:
    """One row with a stable ``id``: ``name`` as the write-up prints it, ``plural``, ``say`` as it is spoken."""

    id: str
    name: str = ""
    plural: str = ""
    say: tuple[str, ...] = spoken()


@dataclass(frozen=True, slots=True)
class Place(Term):
    """A zone of the vehicle. Sides hold within one ``assembly``; ``paired``: there is a left and a right one."""

    assembly: str = ""
    paired: bool = False
    near: tuple[str, ...] = refers("place")
    also_in: tuple[str, ...] = ()
    """Further assemblies whose side holds for it (a step belongs to every door)."""


@dataclass(frozen=True, slots=True)
class Part(Term):
    """A component. ``usual_place``: where it belongs when no place was said and only one is possible."""

    pos: str = field(default="noun", metadata={"choices": POS})
    usual_place: str = field(default="", metadata={"ref": "place"})
    at_home: tuple[str, ...] = refers("place")
    """Where it can be: said without a place, it is at the one of these that was named last."""
    kind_of: str = field(default="", metadata={"ref": "part"})
    """A wider part: "the seal" said after "the weatherstrip" means the same thing."""
    several: bool = False
    """Of which there are more than one at a place: "both studs" of the left lamp names no two sides."""


@dataclass(frozen=True, slots=True)
class State(Term):
    """A sign, finding, result or action.

    ``say``: adjectives and participles ("torn", "pulled away"); ``nouns``: names of it ("tear", "rip"; plurals are
    folded); ``verbs``: base forms, inflected by the matcher. The verbs of an ``access`` or ``repair`` state are what
    people did ("peel back"); those of other states are what the thing does ("drip", "spin").
    """

    kinds: tuple[str, ...] = field(default=(), metadata={"choices": ENTRY_KINDS})
    denies: str = field(default="", metadata={"ref": "state"})
    nouns: tuple[str, ...] = spoken()
    verbs: tuple[str, ...] = spoken()
    wet: bool = False
    """Evidence only: a sign that, seen while a test runs, means that it leaks."""
    sound: bool = False
    """Check only: says that all is well, and is no fault."""
    tidies: bool = False
    """Repair only: no cure of a leak ("dried the carpet"), so that a test after it is no retest."""


@dataclass(frozen=True, slots=True)
class Method(Term):
    """A way to test. ``say``: names ("smoke test"); ``verbs``: base forms of putting it on ("hose")."""

    verbs: tuple[str, ...] = spoken()
    shows: bool = False
    """What it is made with is itself seen where it comes out ("smoke at the corner"): then it leaked."""


@dataclass(frozen=True, slots=True)
class Material(Term):
    """What a repair uses. ``action``: the repair meant where it is only put on ("ran some sealer along the seam")."""

    action: str = field(default="", metadata={"ref": "state"})


@dataclass(frozen=True, slots=True)
class Unit(Term):
    """A unit of measure with its canonical ``symbol``; ``measures`` is length, time, torque, pressure, … ."""

    symbol: str = ""
    measures: str = ""


@dataclass(frozen=True, slots=True)
class QuantityKind(Term):
    """A measured property: which ``units`` it takes, and the words ``before`` and ``after`` that tell it."""

    units: tuple[str, ...] = ()
    before: tuple[str, ...] = spoken()
    after: tuple[str, ...] = spoken()


@dataclass(frozen=True, slots=True)
class FactKind(Term):
    """A fact about the job. ``value`` says how it is read; ``units``: what may follow the number (first: default)."""

    value: str = field(default="text", metadata={"choices": FACT_VALUES})
    units: tuple[str, ...] = ()
    choices: tuple[str, ...] = spoken()
    after: tuple[str, ...] = spoken()
    """Words that tell it only behind a number of a thousand or more ("112,450 ON HER")."""


@dataclass(frozen=True, slots=True)
class Command(Term):
    """A spoken command. ``effect`` on what was dictated: correct, take-back, repeat, drop (side, place, part), none.

    ``say`` counts where it is the whole utterance; ``inside`` also within one.
    """

    effect: str = field(default="none", metadata={"choices": COMMAND_EFFECTS})
    inside: tuple[str, ...] = spoken()


@dataclass(frozen=True, slots=True)
class Condition(Term):
    """A choice of the intake form; ``group``: liquid, parked, when, earlier_work."""

    group: str = field(default="", metadata={"choices": ("liquid", "parked", "when", "earlier_work")})


@dataclass(frozen=True, slots=True)
class Generic:
    """A word that names one of several places by what was named before ("the door", "the track").

    With no fitting place named before it stands for ``otherwise`` (a place id) or, as a part, for ``part``. A row with
    ``parts`` is a word for one of several parts ("the panel"): the one named last, else ``part``.
    """

    say: tuple[str, ...] = spoken()
    places: tuple[str, ...] = refers("place")
    otherwise: str = field(default="", metadata={"ref": "place"})
    part: str = field(default="", metadata={"ref": "part"})
    parts: tuple[str, ...] = refers("part")


@dataclass(frozen=True, slots=True)
class Reading:
    """A word whose state hangs on the part it is said of ("loose": a screw, a weatherstrip)."""

    say: tuple[str, ...] = spoken()
    state: str = field(default="", metadata={"ref": "state"})
    parts: tuple[str, ...] = refers("part")
    """Of which parts; none: of any part that no other reading of the word names."""
    places: tuple[str, ...] = refers("place")
    kinds: tuple[str, ...] = field(default=(), metadata={"choices": ENTRY_KINDS})
    instead_of: str = field(default="", metadata={"ref": "state"})
    """For work: what is called this (without ``say``) is ``state`` where it is done to these parts."""


@dataclass(frozen=True, slots=True)
class Compound:
    """A phrase that names a part and a place at once ("rear carpet"), or a part whose words name no place."""

    say: tuple[str, ...] = spoken()
    part: str = field(default="", metadata={"ref": "part"})
    place: str = field(default="", metadata={"ref": "place"})


@dataclass(frozen=True, slots=True)
class Irregular:
    """A verb whose forms do not follow the rule."""

    base: str = ""
    past: str = ""
    participle: str = ""
    ing: str = ""


@dataclass(frozen=True, slots=True)
class Spelling:
    """Other spellings of one word, folded before matching ("moulding" to "molding")."""

    word: str = ""
    also: tuple[str, ...] = spoken()


@dataclass(frozen=True, slots=True)
class ShortForm:
    """Letters said for words ("l r": "left rear")."""

    say: tuple[str, ...] = spoken()
    means: str = ""


@dataclass(frozen=True, slots=True)
class Apart:
    """Words that must never be taken for each other, however alike they sound."""

    words: tuple[str, ...] = spoken()
    why: str = ""


@dataclass(frozen=True, slots=True)
class ToldApart:
    """Words or phrases that sound alike and were reviewed: ``why`` nobody takes one for the other all the same."""

    words: tuple[str, ...] = spoken()
    why: str = ""


@dataclass(frozen=True, slots=True)
class HeardAs:
    """What a recogniser made of a phrase: ``times`` out of ``of`` trials by the model with this hash.

    ``ordinary``: the heard phrase is also plain English and counts only beside words of the trade.
    """

    heard: str = ""
    said: str = ""
    times: int = 0
    of: int = 0
    model: str = ""
    ordinary: bool = False


@dataclass(frozen=True, slots=True)
class Matching:
    """How far a word may be from what it is taken for. Likeness is 0 to 1."""

    exact_up_to: int = 4
    """Words of so many letters or fewer match exactly only."""
    likeness_short: float = 0.86
    """For words of up to seven letters."""
    likeness_long: float = 0.82
    likeness_sound: float = 0.72
    """Enough where both words also sound the same."""


KINDS: dict[str, type[Term]] = {
    "place": Place,
    "part": Part,
    "state": State,
    "method": Method,
    "material": Material,
    "unit": Unit,
    "quantity": QuantityKind,
    "fact": FactKind,
    "command": Command,
    "condition": Condition,
}
"""Tables of rows with an id."""

LISTS: dict[str, type[Any]] = {
    "generic": Generic,
    "reading": Reading,
    "compound": Compound,
    "irregular": Irregular,
    "spelling": Spelling,
    "short_form": ShortForm,
    "apart": Apart,
    "told_apart": ToldApart,
    "heard": HeardAs,
}
"""Tables of rows without an id."""

T = TypeVar("T", bound=Term)


@dataclass(frozen=True, slots=True)
class Pack:
    """A trade's words. ``hash`` covers every file read, those of the overlay included."""

    id: str
    name: str
    version: str
    unit_system: str
    hash: str
    folders: tuple[Path, ...]
    """The shipped folder, and the overlay's where there is one."""
    tables: Mapping[str, Mapping[str, Term]]
    lists: Mapping[str, tuple[Any, ...]]
    words: Mapping[str, tuple[str, ...]]
    """Word lists of the grammar by class (``word_classes.WORD_CLASSES``)."""
    sides: Mapping[str, tuple[str, ...]]
    at: Mapping[str, tuple[str, ...]]
    matching: Matching = Matching()

    def term(self, kind: str, id: str) -> Term:
        """The row with this id.

        Raises:
            NotFound: there is no such row.

        """
        try:
            return self.tables[kind][id]
        except KeyError:
            raise NotFound(
                f"no {kind} {id!r} in the pack", where=self.id, do="List them with: fieldnote vocab check --list."
            ) from None

    def terms(self, kind: str) -> tuple[Term, ...]:
        """All rows of one kind, in file order."""
        return tuple(self.tables.get(kind, {}).values())

    def rows(self, record: type[T]) -> Iterator[T]:
        """All rows of one kind, typed: ``pack.rows(Place)``."""
        kind = next(k for k, r in KINDS.items() if r is record)
        return cast(Iterator[T], iter(self.tables.get(kind, {}).values()))

    def entry(self, kind: str, id: str) -> bool:
        """Whether there is such a row."""
        return id in self.tables.get(kind, {})


def columns(record: type[Any]) -> dict[str, dataclasses.Field[Any]]:
    """The fields of a row record by name."""
    return {f.name: f for f in dataclasses.fields(record)}


__all__ = [
    "AT_WORDS",
    "KINDS",
    "LISTS",
    "SIDE_WORDS",
    "WORD_CLASSES",
    "Apart",
    "Command",
    "Compound",
    "Condition",
    "FactKind",
    "Generic",
    "HeardAs",
    "Irregular",
    "Matching",
    "Material",
    "Method",
    "Pack",
    "Part",
    "Place",
    "QuantityKind",
    "Reading",
    "ShortForm",
    "Spelling",
    "State",
    "Term",
    "ToldApart",
    "Unit",
    "columns",
]
