"""One utterance's work in progress."""

from __future__ import annotations

from dataclasses import dataclass, field

from fieldnote.extract.items import Line
from fieldnote.extract.state import Focus, State
from fieldnote.records import Entry, Utterance


@dataclass(slots=True)
class Draft:
    """One utterance's work in progress: what it adds and changes, and what is carried on."""

    utterance: Utterance
    line: Line
    focus: Focus
    work: Focus
    places: list[str]
    recent: list[Entry]
    repaired: set[str]
    open_test: str | None
    masked: tuple[str, ...]
    last_said: tuple[str, ...]
    said_before: tuple[tuple[str, ...], ...]
    """Ids of what the utterances before the last one gave, the newest first."""
    added: list[Entry] = field(default_factory=list)
    changed: dict[str, Entry] = field(default_factory=dict)
    withdrawn: list[str] = field(default_factory=list)
    stay: bool = False
    topic: Focus | None = None
    """A place that this utterance named as what it speaks of: a test "there" is at it."""
    item: int | None = None
    """Number of the one of many spoken of in this utterance: it holds for what is said of it further on."""
    item_part: str | None = None
    item_end: int = 0
    """The part that was numbered last, and the word after it."""
    ids: dict[str, int] = field(default_factory=dict)

    @classmethod
    def of(cls, state: State, utterance: Utterance, line: Line) -> Draft:
        """Begin from what is remembered."""
        return cls(
            utterance, line, state.focus, state.work, list(state.places), list(state.recent), set(state.repaired),
            state.open_test, state.masked, state.said[0] if state.said else (), state.said[1:],
        )  # fmt: skip

    def find(self, id: str | None) -> Entry | None:
        """An entry by its id, among those still at hand."""
        for entry in reversed(self.recent):
            if entry.id == id:
                return entry
        return None

    def put(self, entry: Entry) -> Entry:
        """Add a new entry."""
        self.added.append(entry)
        self.recent.append(entry)
        return entry

    def change(self, entry: Entry) -> None:
        """Replace an entry by its next version."""
        for n, old in enumerate(self.recent):
            if old.id == entry.id:
                self.recent[n] = entry
        for n, old in enumerate(self.added):
            if old.id == entry.id:
                self.added[n] = entry
                return
        self.changed[entry.id] = entry

    def withdraw(self, id: str) -> None:
        """Take an entry back."""
        self.recent = [e for e in self.recent if e.id != id]
        self.changed.pop(id, None)
        if any(e.id == id for e in self.added):
            self.added = [e for e in self.added if e.id != id]
        else:
            self.withdrawn.append(id)
        if self.open_test == id:
            self.open_test = None

    def visit(self, place: str | None) -> None:
        """Note that a place was named: the last ones come first."""
        if place is not None:
            self.places = [place, *(p for p in self.places if p != place)][:8]

    def last_done(self) -> Entry | None:
        """The last entry that is no fact and no plan."""
        return next((e for e in reversed(self.recent) if e.kind not in ("fact", "plan")), None)

    def antecedent(self, part: str, kinds: tuple[str, ...]) -> Entry | None:
        """The last entry about this part: what "the tube" means when it is spoken of again."""
        for entry in reversed(self.recent):
            if entry.part == part and entry.kind in kinds and entry.place is not None:
                return entry
        return None

    def just_accessed(self) -> bool:
        """Whether the last thing done was to open or close something."""
        return bool(self.recent) and self.recent[-1].kind == "access"

    def both_before(self) -> bool:
        """Whether the last entry was about both sides."""
        return bool(self.recent) and self.recent[-1].side == "both"
