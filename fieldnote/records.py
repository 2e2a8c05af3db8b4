"""All that flows through the house: frozen records, importing no room.

Units are in the names: ``_s`` seconds, ``_hz`` hertz, ``_min`` minutes, ``_prob`` a probability from 0 to 1.
Identifiers are text and never row numbers. A record is never changed; ``dataclasses.replace`` makes the next one.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

Kind = Literal["evidence", "check", "test", "source", "access", "repair", "plan", "fact"]
Side = Literal["left", "right", "both", "center"]
Certainty = Literal["sure", "unsure"]
Stage = Literal["find", "verify"]
OriginKind = Literal["spoken", "typed", "clock", "imported"]

KINDS: tuple[Kind, ...] = ("evidence", "check", "test", "source", "access", "repair", "plan", "fact")
SIDES: tuple[Side, ...] = ("left", "right", "both", "center")
MISHEARD_FROM = 0.35
"""From this ``Entry.misheard_risk`` on an entry carries a mark wherever marks are shown, and is to be confirmed by ear.
Chosen on the hearing bench; see docs/hearing.md for what it marks and what it misses."""


# ---- sound and words ------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Clip:
    """Sound on disk, kept as given.

    ``path`` is relative to the data folder; ``sha256`` is that of the file as given; ``rate_hz`` and ``channels``
    are those of the file as given (engines hear a 16 kHz mono copy made from it).
    """

    id: str
    sha256: str
    source: str
    path: str
    duration_s: float
    rate_hz: int
    channels: int
    started_at: str | None = None
    """RFC 3339 time at which the sound began, where known."""


@dataclass(frozen=True, slots=True)
class Word:
    """One recognised word. Times count from the start of its clip; ``confidence`` is 0 to 1, None where unknown."""

    text: str
    from_s: float
    to_s: float
    confidence: float | None = None


@dataclass(frozen=True, slots=True)
class Alternative:
    """Another reading of the same sound; ``score`` is the engine's own (higher is better)."""

    text: str
    score: float


@dataclass(frozen=True, slots=True)
class Utterance:
    """What was said in one breath, as text. Typed or read text has no clip and no times."""

    id: str
    text: str
    clip_id: str | None = None
    from_s: float | None = None
    to_s: float | None = None
    confidence: float | None = None
    words: tuple[Word, ...] = ()
    alternatives: tuple[Alternative, ...] = ()
    engine: str = "text"
    settings: Mapping[str, Any] = field(default_factory=dict)
    """The settings in force when it was heard, the model's hash among them."""


# ---- entries --------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Quantity:
    """A measured value: ``what`` (length, duration, ...), as spoken, with the canonical symbol of the spoken unit."""

    what: str
    value: float
    unit: str = ""


@dataclass(frozen=True, slots=True)
class Origin:
    """Where an entry, or part of it, comes from.

    ``spoken``: utterance, character span ``start:end`` in its text, clip seconds, and the role that those words
    played (``head``, ``place``, ``part``, ``side``, ``state``, ``quantity``, ``correction``, ...).
    ``typed``: person and time. ``clock``: the voice test clock. ``imported``: a bundle or file.
    """

    kind: OriginKind
    utterance_id: str | None = None
    start: int | None = None
    end: int | None = None
    from_s: float | None = None
    to_s: float | None = None
    role: str = ""
    person: str | None = None
    at: str | None = None


@dataclass(frozen=True, slots=True)
class Entry:
    """One thing that was found, done, measured or stated. Facts use ``what``, ``value``, ``unit`` alone."""

    kind: Kind
    place: str | None = None
    part: str | None = None
    side: Side | None = None
    state: str | None = None
    present: bool = True
    certainty: Certainty = "sure"
    stage: Stage = "find"
    method: str | None = None
    material: str | None = None
    at: tuple[str, ...] = ()
    item: int | None = None
    quantities: tuple[Quantity, ...] = ()
    quote: str = ""
    what: str | None = None
    value: str | float | int | None = None
    unit: str | None = None
    # beside the entry, not scored
    odd: str | None = None
    """Facts only: what is odd about the value as it was heard, in words ("check digit 4 does not fit, 7 would").
    Where ``confidence`` is high all the same it is a warning, and the value may well be right."""
    proposed: str | None = None
    """Facts only: the value that was probably meant, where exactly one slip of the ear explains what is odd. It is
    shown as proposed and never taken unasked."""
    id: str = ""
    origins: tuple[Origin, ...] = ()
    confidence: float | None = None
    misheard_risk: float | None = None
    """0 to 1: how likely the recogniser misheard it; apart from ``certainty``, which is the speaker's own doubt."""
    heard_from: float | None = None
    heard_to: float | None = None
    masked: tuple[str, ...] = ()
    """Tests only: places taped off while the water ran."""
    clocked_s: float | None = None
    """Tests only: seconds by the voice test clock, kept apart from what was spoken."""
    clocked_leak_s: float | None = None
    """Tests only: seconds until water came in, by the voice test clock."""


@dataclass(frozen=True, slots=True)
class Leftover:
    """Words that no rule took: they stay visible. ``start:end`` slices the utterance's text."""

    utterance_id: str
    start: int
    end: int
    text: str


# ---- the job --------------------------------------------------------------------------------------------------


PhotoKind = Literal["place", "close-up", "before", "after"]
PHOTO_KINDS: tuple[PhotoKind, ...] = ("place", "close-up", "before", "after")


@dataclass(frozen=True, slots=True)
class Photo:
    """A picture kept with a job, as JPEG without position or other notes of the camera.

    ``path`` is relative to the data folder, ``sha256`` is that of the file there; sizes are in pixels. ``entry_id`` is
    None for a picture of the job as a whole; the entry that it names may have vanished since.
    """

    id: str
    job_id: str
    entry_id: str | None
    kind: PhotoKind
    sha256: str
    path: str
    bytes: int
    width: int
    height: int
    added_at: str
    person: str
    deleted_at: str | None = None
    """When the picture was deleted on purpose: its hash and this line stay."""

    @property
    def is_here(self) -> bool:
        """Whether there still is a picture."""
        return self.deleted_at is None


@dataclass(frozen=True, slots=True)
class Conditions:
    """When and with which liquid it leaks: all optional, ids of the pack's ``conditions`` table.

    ``liquid``: rain, wash, ...; ``parked``: nose-up, nose-down, ...; ``when``: parked, driving, air-conditioning-on;
    ``earlier_work``: glass, collision, rack, fitted-parts; ``since``: as said.
    """

    liquid: tuple[str, ...] = ()
    parked: tuple[str, ...] = ()
    when: tuple[str, ...] = ()
    earlier_work: tuple[str, ...] = ()
    since: str | None = None


@dataclass(frozen=True, slots=True)
class Intake:
    """What was asked when the job was opened; every field may be missing."""

    vehicle: str | None = None
    family: str | None = None
    """Vehicle family or model line, as the shop calls it; used to group jobs."""
    model_year: int | None = None
    build_month: str | None = None
    vin: str | None = None
    odometer: float | None = None
    odometer_unit: str | None = None
    order_number: str | None = None
    complaint: str | None = None
    steering: Literal["left", "right"] | None = None
    conditions: Conditions = field(default_factory=Conditions)
    technician: str | None = None
    role: str | None = None
    """The technician's role, as the shop calls it ("apprentice"): jobs can be looked at by role, never by person."""


@dataclass(frozen=True, slots=True)
class Claim:
    """What a payer wants to know beside the story; every field may be missing.

    Days are ISO 8601 (``2026-11-25``), times of labor hours. What is asked at the intake (order number, VIN, odometer)
    stays there.
    """

    payer: str | None = None
    """Id of a payer of ``claim.toml``."""
    day_in: str | None = None
    day_out: str | None = None
    odometer_out: float | None = None
    failed_part: str | None = None
    """Number of the part that failed."""
    parts: tuple[str, ...] = ()
    """Parts used, each ``QUANTITY x NUMBER`` and, where known, its name."""
    sealer_batch: str | None = None
    sealer_expiry: str | None = None
    operations: tuple[str, ...] = ()
    """Codes of the operations, as the payer lists them."""
    diagnosis_h: float | None = None
    access_h: float | None = None
    repair_h: float | None = None
    refit_h: float | None = None
    retest_h: float | None = None
    authorization: str | None = None
    """Number or name under which the payer agreed."""
    other_work: str | None = None
    """Earlier work, or work done outside the shop."""
    outcome: Literal["paid", "returned"] | None = None
    outcome_day: str | None = None
    outcome_reason: str | None = None


@dataclass(frozen=True, slots=True)
class Edit:
    """A change that a person made to an entry; edits are only ever added.

    ``action``: ``set`` (``field`` from ``before`` to ``after``), ``remove``, ``add`` (``after`` is the whole entry as
    JSON text) or ``undo`` (``after`` names the edit taken back).
    """

    id: str
    job_id: str
    entry_id: str
    action: Literal["set", "remove", "add", "undo"]
    field: str | None
    before: str | None
    after: str | None
    person: str
    at: str
    quote: str = ""
    """The words of the entry when it was changed, so that the change can be read without it."""
    machine: str = ""
    """Id of the store in which the change was made."""
    turn: int = 0
    """One more than the highest turn among ``follows``: orders changes without trusting any clock."""
    follows: tuple[str, ...] = ()
    """The latest changes that were known when this one was made (ids)."""


@dataclass(frozen=True, slots=True)
class Difference:
    """Two changes of one entry that did not know of each other (made on two machines); ``stands`` is in force."""

    entry_id: str
    stands: Edit
    other: Edit


@dataclass(frozen=True, slots=True)
class FrozenVersion:
    """A write-up as it was handed out: never changed afterwards. ``number`` counts within the job."""

    job_id: str
    number: int
    hash: str
    made_at: str
    person: str
    narrative: Narrative


@dataclass(frozen=True, slots=True)
class JobLine:
    """One job in a list. ``excerpt`` shows the words that a search found, with the hits between ``[`` and ``]``."""

    id: str
    name: str
    status: Literal["open", "closed"]
    created_at: str
    closed_at: str | None = None
    vehicle: str | None = None
    entries: int = 0
    excerpt: str = ""


@dataclass(frozen=True, slots=True)
class Job:
    """One vehicle's visit: intake, what was said, what it meant, what people changed."""

    id: str
    name: str
    created_at: str
    status: Literal["open", "closed"] = "open"
    closed_at: str | None = None
    pack: str = "body-leaks"
    intake: Intake = field(default_factory=Intake)
    claim: Claim = field(default_factory=Claim)
    clips: tuple[Clip, ...] = ()
    utterances: tuple[Utterance, ...] = ()
    entries: tuple[Entry, ...] = ()
    leftovers: tuple[Leftover, ...] = ()
    edits: tuple[Edit, ...] = ()
    stranded_edits: tuple[Edit, ...] = ()
    """Edits whose entry no longer comes out of the words: shown, never dropped."""
    differences: tuple[Difference, ...] = ()
    """Changes from two machines that met and were not settled yet."""
    photos: tuple[Photo, ...] = ()
    """In the order in which they were added; deleted ones stay as a line."""


# ---- what to do next ------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Reason:
    """Why a source rose or sank. ``weight`` is its share of the change in log-odds; ``entries`` names its entries."""

    text: str
    weight: float = 0.0
    entries: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Suggestion:
    """A candidate source of the leak, never a test. ``probability`` is 0 to 1 and is its own: several may be true.

    ``minutes``, ``opens``, ``cautions`` and ``would_change`` are those of a look at it alone, from how the vehicle
    stands now: taking off and putting back counted, what must come off first, texts ready to be shown, what either
    result means.
    """

    rank: int
    source: str
    place: str
    part: str | None
    side: Side | None
    probability: float
    because: tuple[Reason, ...] = ()
    rates: str = ""
    name: str = ""
    """The source in words: several may share place and part."""
    at: tuple[str, ...] = ()
    confidence: str = ""
    """How sure the map is of its estimates for this source: low, medium, high."""
    minutes: float = 0.0
    opens: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    would_change: str = ""


@dataclass(frozen=True, slots=True)
class Step:
    """One thing to do. ``opens`` lists what must come off first; ``cautions`` are texts ready to be shown.

    ``minutes`` include taking off and putting back. A test of the whole vehicle has no place.
    """

    step: int
    do: Literal["look", "test"]
    place: str | None
    part: str | None
    side: Side | None
    method: str | None
    minutes: float
    opens: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    because: str = ""
    would_change: str = ""
    stage: Stage = "find"
    name: str = ""
    probability: float = 0.0
    """Chance that it shows what it looks for: the fault at a look, water inside at a test."""


@dataclass(frozen=True, slots=True)
class Aftercare:
    """Something that follows a proved leak; an open point until ``done_by`` names the entries that say it is done."""

    id: str
    text: str
    because: str
    entries: tuple[str, ...] = ()
    done_by: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Rates:
    """What cured jobs taught: how often each source (id with its side) was the leak.

    A pure function of the map's hash and what the jobs taught: the same give the same ``id``. ``counts`` are of all
    jobs; ``by_family`` and ``by_vehicle`` of those of one family (with its build month where known) and of one
    vehicle; of these the store gives only those asked for.
    """

    id: str
    map_hash: str
    taught: int = 0
    """Cured jobs behind it."""
    taken_back: int = 0
    """Cured jobs that teach nothing any more, since the vehicle came back."""
    counts: Mapping[str, float] = field(default_factory=dict)
    by_family: Mapping[str, Mapping[str, float]] = field(default_factory=dict)
    by_vehicle: Mapping[str, Mapping[str, float]] = field(default_factory=dict)
    jobs: tuple[str, ...] = ()
    """The jobs behind it, where they were asked for."""
    withdrawn: tuple[str, ...] = ()
    """Those taken back, where they were asked for."""
    unread: int = 0
    """Jobs that are new or changed and were not read yet."""


@dataclass(frozen=True, slots=True)
class Unused:
    """An entry that the map could not use, and why."""

    entry: str
    why: str


@dataclass(frozen=True, slots=True)
class Advice:
    """What ``suggest`` gives: candidates, the order of work, what it could not use, and the rates it used."""

    suggestions: tuple[Suggestion, ...]
    plan: tuple[Step, ...]
    unused: tuple[Unused, ...] = ()
    aftercare: tuple[Aftercare, ...] = ()
    rates: str = ""
    notes: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    """Those that are shown whatever is done."""


# ---- many jobs together ---------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Share:
    """``count`` of ``of`` jobs, with the limits (0 to 1) of its interval. ``few``: too small a count to rest on."""

    count: int
    of: int
    low: float
    high: float
    few: bool

    @property
    def share(self) -> float:
        """0 to 1; 0 where there is nothing to be a share of."""
        return self.count / self.of if self.of else 0.0


@dataclass(frozen=True, slots=True)
class SourceShare:
    """How often water came in at a place and part. ``shrunk``: its share drawn towards that of an average source."""

    place: str
    part: str | None
    share: Share
    shrunk: float
    sides: Mapping[str, int]
    """Jobs by side; "" where none was named."""
    jobs: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class WaterPath:
    """Jobs in which it showed at one place (none: nothing was noted) and came in at another."""

    showed: str | None
    came_in: str
    jobs: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class GroupShare:
    """A source among the jobs of one group of vehicles. ``shrunk``: drawn towards its share of all jobs."""

    by: Literal["family", "model_year", "build_month"]
    group: str
    place: str
    part: str | None
    share: Share
    shrunk: float
    overall: float
    apart: Literal["above", "below", ""]
    """Whether the group differs from all jobs by more than chance, allowing for how many rows were compared."""
    jobs: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class FindingTime:
    """Minutes by source: quartiles of ``count`` jobs. ``measure``: by the clock of the recordings, or labor stated."""

    place: str
    part: str | None
    measure: Literal["clock", "labor"]
    count: int
    low: float
    median: float
    high: float
    few: bool
    jobs: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class RepeatVisits:
    """Vehicles that came back with a leak of the same zone. ``place`` None: all zones together.

    ``jobs``: pairs of the visit that mended and the one that came back.
    """

    place: str | None
    share: Share
    jobs: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class WeekShare:
    """One week of a p-chart. ``mark``: beyond a limit, beyond it with too few jobs to tell, or within."""

    week: str
    count: int
    of: int
    lower: float
    upper: float
    mark: Literal["above", "below", "too few", ""]
    jobs: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class WeekChart:
    """A share by week with its center line. ``place`` None: closed jobs without a proved cure."""

    place: str | None
    center: float
    weeks: tuple[WeekShare, ...]


@dataclass(frozen=True, slots=True)
class EmptyCheck:
    """A look or test that found nothing, all jobs together. ``share``: of all such checks, those without a finding.

    ``minutes`` are the leak map's (a test's own where said); None where the map has none.
    """

    do: Literal["look", "test"]
    place: str
    part: str | None
    method: str | None
    share: Share
    minutes: float | None
    jobs: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Patterns:
    """What recurs across the jobs of one pack. ``jobs`` were looked at, ``found`` of them hold a leak of the grade."""

    pack: str
    grade: str
    since: str | None
    until: str | None
    place: str | None
    level: float
    repeat_days: int
    few: int
    jobs: int
    found: int
    sources: tuple[SourceShare, ...] = ()
    paths: tuple[WaterPath, ...] = ()
    groups: tuple[GroupShare, ...] = ()
    times: tuple[FindingTime, ...] = ()
    repeats: tuple[RepeatVisits, ...] = ()
    weeks: tuple[WeekChart, ...] = ()
    empty_checks: tuple[EmptyCheck, ...] = ()
    denominators: Mapping[str, str] = field(default_factory=dict)
    """By figure, what its shares are shares of, and what was left out."""
    names: Mapping[str, str] = field(default_factory=dict)
    """Names of the jobs by id."""
    role: str | None = None
    """The role of technicians to whose jobs this is narrowed."""


# ---- the write-up ---------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Sentence:
    """One sentence and the ids of the entries that it rests on (never none)."""

    text: str
    entries: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Paragraph:
    """A heading (``Complaint``, ``Cause``, ``Correction``, ...) and its sentences."""

    heading: str
    sentences: tuple[Sentence, ...]


@dataclass(frozen=True, slots=True)
class OpenPoint:
    """Something that the record leaves open, and the entries that raise it."""

    text: str
    entries: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Narrative:
    """The write-up of one job. ``hash`` is over all that it says; ``version`` counts its frozen versions."""

    paragraphs: tuple[Paragraph, ...]
    open_points: tuple[OpenPoint, ...]
    cautions: tuple[str, ...] = ()
    version: int = 0
    hash: str = ""
