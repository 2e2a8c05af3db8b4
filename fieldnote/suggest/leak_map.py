"""What a leak map is: frozen rows by kind, and the same spread out by side into arrays for the reckoning.

The dataclasses here are the schema of ``leak_map.toml``; ``load.py`` reads a file into them and refuses what does not
fit. The head of the shipped file explains every field to the person who edits it.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from fieldnote.records import Side

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

Relation = Literal["same", "opposite", "either", "both"]
RELATIONS: tuple[Relation, ...] = ("same", "opposite", "either", "both")
SOURCE_SIDES = ("left", "right", "center")
LEVELS = ("low", "medium", "high")
SIDE_CODE: dict[str | None, int] = {None: 0, "left": 1, "right": 2, "center": 3}


def a_prob() -> Any:
    """A probability from 0 to 1."""
    return field(metadata={"prob": True})


def positive() -> Any:
    """A number above zero."""
    return field(metadata={"positive": True})


def refers(kind: str, default: Any = ()) -> Any:
    """One id, or a list of ids, of another kind."""
    return field(default=default, metadata={"ref": kind})


@dataclass(frozen=True, slots=True, kw_only=True)
class Model:
    """Weights that hold for the whole map. ``..._prob`` are probabilities."""

    finding_leak_prob: float = a_prob()
    """That a sign shows although no source of the map is behind it."""
    finding_base_prob: float = a_prob()
    """How often any one place shows a sign at all: turns trust in what was said into how often it is said in error."""
    own_place_prob: float = a_prob()
    """That a source shows at its own place, where its row does not say."""
    crossing_prob: float = a_prob()
    """The share of ``same`` (and of ``opposite``) that shows on the other side after all."""
    sure_prob: float = a_prob()
    """That a sign stated outright is there."""
    unsure_prob: float = a_prob()
    """That a hedged sign is there ("might be", "looks like")."""
    absent_sure_prob: float = a_prob()
    """That a sign which is there would have been seen by someone who says there is none."""
    absent_unsure_prob: float = a_prob()
    other_part_share: float = a_prob()
    """What remains of a link where another part of the same place was named."""
    told_apart_share: float = a_prob()
    """What remains where the map tells the part named and the one that the source shows at apart."""
    other_spot_share: float = a_prob()
    """What remains where another spot (upper, lower, ...) of the same part was named."""
    place_only_share: float = a_prob()
    """What remains of a look that named the place but no part."""
    other_fault_share: float = a_prob()
    """What remains where the fault found is not one that the source is known for."""
    repair_holds_prob: float = a_prob()
    """That a repair cures, before any retest."""
    leaks_again_odds: float = positive()
    """Where a mended place leaks again: factor on the odds of its other sources, since faults keep company."""
    said_source_prob: float = a_prob()
    """That someone who says "that is the leak" is right about a source of the map."""
    said_leak_prob: float = a_prob()
    complaint_prob: float = a_prob()
    """That a source leads to a complaint."""
    complaint_leak_prob: float = a_prob()
    unsaid_side_share: float = a_prob()
    """What a dry test of a zone with two sides says of each of them where no side was named."""
    no_cure: tuple[str, ...] = field(metadata={"ref": "state"})
    """Repairs that cure no leak (drying out)."""
    unsaid_min: float = positive()
    """Minutes taken for a test whose duration was not said."""
    carry_min: float = positive()
    """Water that shows sooner than this after the hose has moved may belong to the zone before."""
    carry_share: float = a_prob()
    worth_testing_prob: float = a_prob()
    """A lower zone is tested first only where it holds a source at least this likely."""
    least_prob: float = a_prob()
    """Candidates below this are left out of the list."""
    present_cap: int = positive()
    """At most so many present findings are reckoned with exactly; the weakest beyond it are listed as unused."""


@dataclass(frozen=True, slots=True)
class Learning:
    """How far cured jobs move the base rates. Strengths are pseudo-counts, in jobs."""

    strength: float = positive()
    family_strength: float = positive()
    vehicle_strength: float = positive()
    comeback_days: int = positive()


@dataclass(frozen=True, slots=True)
class ExtraTerm:
    """A place or part that only this map has: ``kind`` is place or part."""

    id: str
    kind: str = field(metadata={"choices": ("place", "part")})
    name: str = ""


@dataclass(frozen=True, slots=True)
class Liquid:
    """What a source lets in, as a note names it ("rain through an opening")."""

    id: str
    name: str


@dataclass(frozen=True, slots=True)
class Sign:
    """A sign and what it says of water being there: ``trust_prob`` is 0.5 where it says nothing."""

    id: str = field(metadata={"ref": "state"})
    trust_prob: float = a_prob()
    says_absent: bool = False
    unnamed_share: float = field(default=1.0, metadata={"prob": True})
    """What remains of a link where the source's row names no signs, and so not this one."""


@dataclass(frozen=True, slots=True)
class MethodRow:
    """A way to test: ``power_prob`` after long enough, of which half is reached after ``half_min`` minutes."""

    id: str = field(metadata={"ref": "method"})
    water: bool
    """Puts water on: only such a test proves."""
    power_prob: float = a_prob()
    half_min: float = positive()
    false_alarm_prob: float = a_prob()
    """That it shows something although no source of the zone is there."""
    clears_prob: float = a_prob()
    """The most that a dry result may count against a source."""
    finds: tuple[str, ...] = refers("liquid")
    """The liquids whose sources it can find."""
    minutes: float = field(default=10.0, metadata={"positive": True})
    """Long enough for a dry test of the whole vehicle."""
    whole: bool = False
    """Reaches the whole vehicle where no place is named."""


@dataclass(frozen=True, slots=True)
class Zone:
    """A place on which water can be put. ``level`` counts from the lowest; ``minutes`` is enough for a dry result."""

    id: str = field(metadata={"ref": "place"})
    level: int
    method: str = field(metadata={"ref": "method"})
    minutes: float = positive()
    access: tuple[str, ...] = refers("access")
    center_access: tuple[str, ...] = refers("access")
    """What must be off instead to see inside at its center."""
    sided: bool = False
    """Water is put on one side of it at a time."""


@dataclass(frozen=True, slots=True)
class RunsTo:
    """``share_prob`` of the water put on a place also wets this lower one."""

    place: str = field(metadata={"ref": "place"})
    share_prob: float = a_prob()


@dataclass(frozen=True, slots=True)
class Wets:
    """Run-off: water put on ``place`` wets what lies below."""

    place: str = field(metadata={"ref": "place"})
    runs_to: tuple[RunsTo, ...]


@dataclass(frozen=True, slots=True)
class Access:
    """Something that must come off to see: minutes to take off and to put back, and what comes off before it."""

    id: str
    name: str
    place: str = field(metadata={"ref": "place"})
    off_min: float = positive()
    on_min: float = positive()
    part: str = field(default="", metadata={"ref": "part"})
    after: tuple[str, ...] = refers("access")
    paired: bool = False


@dataclass(frozen=True, slots=True)
class ConditionWeight:
    """What a condition of the job does to the odds of sources: by the ``liquid`` that they let in, and by side."""

    id: str = field(metadata={"ref": "condition"})
    odds: Mapping[str, float] = field(default_factory=dict)
    side_odds: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Shows:
    """Where a source shows: with which probability and on which side of it."""

    place: str = field(metadata={"ref": "place"})
    prob: float = a_prob()
    side: Relation = field(default="same", metadata={"choices": RELATIONS})
    part: str = field(default="", metadata={"ref": "part"})
    signs: tuple[str, ...] = refers("state")


@dataclass(frozen=True, slots=True, kw_only=True)
class SourceRow:
    """A place with a part and ways to fail, on each of its ``sides``."""

    id: str
    name: str
    place: str = field(metadata={"ref": "place"})
    liquid: str = field(metadata={"ref": "liquid"})
    prior_prob: float = a_prob()
    """Per side, in a job of which nothing is known yet."""
    confidence: str = field(metadata={"choices": LEVELS})
    look_min: float = positive()
    look_power_prob: float = a_prob()
    """That a look at it finds the fault where there is one."""
    look_false_prob: float = a_prob()
    """That such a fault is found and is not the leak."""
    shows: tuple[Shows, ...]
    part: str = field(default="", metadata={"ref": "part"})
    also: tuple[str, ...] = refers("part")
    """Other parts whose look or fault means this source too."""
    states: tuple[str, ...] = refers("state")
    sides: tuple[str, ...] = field(default=(), metadata={"choices": SOURCE_SIDES})
    at: tuple[str, ...] = ()
    access: tuple[str, ...] = refers("access")
    slow: float = field(default=1.0, metadata={"positive": True})
    """Times the ``half_min`` of a test: how much longer its way inside is."""
    conditions: Mapping[str, float] = field(default_factory=dict)
    """Odds factors of single conditions of the job."""
    note: str = ""


@dataclass(frozen=True, slots=True)
class AftercareRow:
    """What follows a proved leak. Applies to an entry with one of ``signs``, ``repairs`` or ``faults`` at
    one of ``places`` or ``parts`` (none: anywhere); with none of the three it always applies."""

    id: str
    text: str
    why: str
    signs: tuple[str, ...] = refers("state")
    places: tuple[str, ...] = refers("place")
    parts: tuple[str, ...] = refers("part")
    repairs: tuple[str, ...] = refers("state")
    faults: tuple[str, ...] = refers("state")
    done_by: tuple[Mapping[str, str], ...] = ()
    """Entries (kind, state, method, material, stage) that say it is done."""


@dataclass(frozen=True, slots=True)
class Source:
    """One source on one side. ``id`` is the row's, with ``@side`` where it has one."""

    id: str
    row: SourceRow
    side: Side | None

    @property
    def place(self) -> str:
        """Where it is."""
        return self.row.place

    @property
    def part(self) -> str | None:
        """Which part it is."""
        return self.row.part or None


@dataclass(frozen=True, slots=True)
class Opening:
    """One access row on one side; ``after`` lists openings by index."""

    id: str
    row: Access
    side: Side | None
    after: tuple[int, ...]

    @property
    def minutes(self) -> float:
        """Taking off and putting back."""
        return self.row.off_min + self.row.on_min


@dataclass(frozen=True, slots=True)
class Links:
    """The ``shows`` rows of one place, one column a row and side of a source."""

    source: Ints
    prob: Floats
    relation: Ints
    source_side: Ints
    parts: tuple[str, ...]
    signs: tuple[frozenset[str], ...]


@dataclass(frozen=True)
class LeakMap:
    """A checked map. ``hash`` covers the file; arrays run over ``sources``."""

    pack_id: str
    file: str
    hash: str
    model: Model
    learning: Learning
    rows: Mapping[str, SourceRow]
    sources: tuple[Source, ...]
    prior: Floats
    by_place: Mapping[str, Ints]
    links: Mapping[str, Links]
    signs: Mapping[str, Sign]
    methods: Mapping[str, MethodRow]
    zones: Mapping[str, Zone]
    runs_to: Mapping[str, tuple[RunsTo, ...]]
    openings: tuple[Opening, ...]
    behind: tuple[tuple[int, ...], ...]
    """For each source the openings that it lies behind, those that come off first included."""
    zone_behind: Mapping[str, tuple[str, ...]]
    conditions: Mapping[str, ConditionWeight]
    aftercare: tuple[AftercareRow, ...]
    names: Mapping[tuple[str, str], str]
    """Printed names by kind and id."""

    @cached_property
    def side_codes(self) -> Ints:
        """The side (n,) of each source, by ``SIDE_CODE``."""
        return np.array([SIDE_CODE[s.side] for s in self.sources], dtype=np.intp)

    @cached_property
    def slowness(self) -> Floats:
        """How much longer than usual (n,) the way inside of each source is."""
        return np.array([s.row.slow for s in self.sources])

    @cached_property
    def found_by(self) -> Mapping[str, NDArray[np.bool_]]:
        """By method, the sources (n,) that it can find, by what they let in."""
        return {m.id: np.array([s.row.liquid in m.finds for s in self.sources]) for m in self.methods.values()}

    def name(self, kind: str, id: str | None) -> str:
        """The printed name of a place, part, state, method."""
        return self.names.get((kind, id or ""), (id or "").replace("-", " "))


def columns(record: type[Any]) -> dict[str, dataclasses.Field[Any]]:
    """The fields of a row record by name."""
    return {f.name: f for f in dataclasses.fields(record)}
