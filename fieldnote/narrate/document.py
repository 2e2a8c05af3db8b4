"""One write-up laid out for reading: the same sections for every format, before any of them is written.

A sentence keeps the numbers of its entries (their place in the appendix), so that every format can show them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from fieldnote.narrate.compose import CLAIM, ORDER, USED, VEHICLE, numbered, shown
from fieldnote.narrate.phrases import measure, number, quantity, subject
from fieldnote.narrate.pictures import PHOTOS, Picture, ReadPhoto, pictures_of
from fieldnote.narrate.sequence import in_order
from fieldnote.narrate.sketch import LEGEND, Mark, Sketch, caption, load_sketch, marks_of
from fieldnote.narrate.trials import trial_name
from fieldnote.narrate.wording import Vocabulary, Wording, load_wording
from fieldnote.records import Entry, Job, Narrative, Paragraph

MISSING = "Not recorded."
OPEN = "Not established"
CAUTIONS = "Cautions"
TESTS = "Tests"
DRAWN = "Drop: water showed. Diamond: where it came in. Square: sound or dry."
NUMBERS = "Small numbers name the entries that a sentence rests on."
APPENDIX = "Entries and the words behind them"

Shape = Literal["prose", "steps", "list", "table", "grid"]


@dataclass(frozen=True, slots=True)
class Line:
    """A piece of text with the numbers and ids of the entries behind it; ``label`` says what kind of line it is."""

    text: str
    refs: tuple[int, ...] = ()
    ids: tuple[str, ...] = ()
    label: str = ""


@dataclass(frozen=True, slots=True)
class Table:
    """Column heads and rows of cells; ``widths`` are shares of the line, ``keys`` the entry number of each row."""

    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    widths: tuple[float, ...]
    keys: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Section:
    """A heading and what stands under it. ``main``: belongs to the claim itself (complaint, cause, correction)."""

    heading: str
    shape: Shape
    lines: tuple[Line, ...] = ()
    table: Table | None = None
    main: bool = False
    empty: str = MISSING
    pictures: tuple[Picture, ...] = ()
    """One to a line, in formats that can hold them."""

    @property
    def anchor(self) -> str:
        """A name to link to."""
        return "-".join(self.heading.lower().replace(",", "").split())


@dataclass(frozen=True, slots=True)
class Document:
    """A whole write-up, ready to be set."""

    title: str
    kind: str
    facts: tuple[tuple[str, str], ...]
    sections: tuple[Section, ...]
    version: str
    hash: str
    status: str
    notice: str = ""
    sketch: Sketch | None = None
    marks: tuple[Mark, ...] = ()

    @property
    def drawing_title(self) -> str:
        """The drawing in words, for who cannot see it."""
        told = [f"{LEGEND[m.kind]}: {m.side or ''} {m.place}".replace("  ", " ") for m in self.marks]
        return "Vehicle from the left and from above. " + "; ".join(told)

    @property
    def drawn(self) -> str:
        """The line under the drawing."""
        return f"{caption(self.marks)} {DRAWN}"

    @property
    def foot(self) -> str:
        """The line that tells which text this is."""
        named = f"text hash {self.hash[:16]}" if self.hash else ""
        return " · ".join(x for x in (self.version, named) if x)

    @property
    def over(self) -> str:
        """The line above the title."""
        return " · ".join(x for x in (self.kind, self.version) if x)

    @property
    def closing(self) -> str:
        """What stands under the last section."""
        return f"{NUMBERS} Text hash (SHA-256): {self.hash}" if self.hash else self.notice


def lay_out(
    narrative: Narrative, job: Job, pack: Vocabulary, *, names: bool = False, photos: ReadPhoto | None = None
) -> Document:
    """The document of a write-up; ``photos`` gives the pictures, None leaves them out.

    Raises:
        PackFault: the wording of the pack cannot be used.

    """
    wording = load_wording(pack)
    entries = shown(numbered(job.entries), wording, names=names)
    order = {e.id: i for i, e in enumerate(entries, 1)}
    paragraphs = {p.heading: p for p in narrative.paragraphs}
    sections: list[Section] = []
    for paragraph in narrative.paragraphs:
        if paragraph.heading in (VEHICLE, ORDER, USED, CLAIM):
            continue
        sections.append(Section(paragraph.heading, "prose", _lines(paragraph, order), main=True))
    kinds = {e.id: e.kind for e in entries}
    sections.append(_steps(paragraphs.get(ORDER), order, kinds))
    tests = _tests(entries, order, wording)
    if tests.rows:
        sections.append(Section(TESTS, "table", table=tests))
    sections.append(Section(USED, "list", _lines(paragraphs.get(USED), order)))
    points = tuple(Line(p.text, _refs(p.entries, order), p.entries) for p in narrative.open_points)
    sections.append(Section(OPEN, "list", points, empty="Nothing is open."))
    if CLAIM in paragraphs:
        sections.append(Section(CLAIM, "list", _lines(paragraphs[CLAIM], order)))
    if narrative.cautions:
        sections.append(Section(CAUTIONS, "list", tuple(Line(c) for c in narrative.cautions)))
    pictures = pictures_of(job.photos, entries, wording, photos) if photos is not None else ()
    if pictures:
        told = tuple(Line(f"{p.caption}.", _refs([p.entry], order), (p.entry,) if p.entry else ()) for p in pictures)
        sections.append(Section(PHOTOS, "list", told, pictures=pictures))
    sections.append(Section(APPENDIX, "table", table=_appendix(entries, job, wording), empty="No entries."))
    return Document(
        title=job.name,
        kind="Leak write-up",
        facts=_facts(job, entries, wording),
        sections=tuple(sections),
        version=f"Version {narrative.version}" if narrative.version else "Draft, not signed off",
        hash=narrative.hash,
        status=job.status,
        sketch=load_sketch(pack),
        marks=marks_of(entries, pack),
    )


def _refs(ids: Sequence[str], order: Mapping[str, int]) -> tuple[int, ...]:
    return tuple(sorted({order[i] for i in ids if i in order}))


def _lines(paragraph: Paragraph | None, order: Mapping[str, int]) -> tuple[Line, ...]:
    if paragraph is None:
        return ()
    return tuple(Line(s.text, _refs(s.entries, order), s.entries) for s in paragraph.sentences)


_LABELS = {"evidence": "sign", "check": "look", "access": "access", "plan": "to do"}


def _steps(paragraph: Paragraph | None, order: Mapping[str, int], kinds: Mapping[str, str]) -> Section:
    lines = []
    for sentence in paragraph.sentences if paragraph else ():
        kind = kinds.get(sentence.entries[0], "") if sentence.entries else ""
        label = _LABELS.get(kind, kind)
        lines.append(Line(sentence.text, _refs(sentence.entries, order), sentence.entries, label))
    return Section(ORDER, "steps", tuple(lines), empty="No work was recorded.")


def spans(refs: Sequence[int]) -> str:
    """Entry numbers in short: ``3``, ``9–11``, ``2, 5, 9–11``."""
    parts: list[str] = []
    run: list[int] = []
    for n in [*refs, None]:
        if n is not None and (not run or n == run[-1] + 1):
            run.append(n)
            continue
        if run:
            parts.append(str(run[0]) if len(run) == 1 else f"{run[0]}{'–' if len(run) > 2 else ', '}{run[-1]}")
        run = [] if n is None else [n]
    return ", ".join(parts)


def _facts(job: Job, entries: Sequence[Entry], wording: Wording) -> tuple[tuple[str, str], ...]:
    """What identifies the vehicle and the order, as label and value; what was not recorded says so."""
    intake = job.intake
    spoken: dict[str, list[str]] = {}
    for entry in entries:
        if entry.kind == "fact" and entry.what and wording.fact(entry.what).group == "vehicle":
            spoken.setdefault(entry.what, []).append(_value(entry.value, entry.unit, wording))
    given = {
        "vin": intake.vin,
        "odometer": _value(intake.odometer, intake.odometer_unit, wording) if intake.odometer is not None else None,
        "model-year": str(intake.model_year) if intake.model_year else None,
        "build-date": intake.build_month,
    }
    for what, value in given.items():
        if value and what not in spoken:
            spoken[what] = [value]
    out = [("Order", intake.order_number or "not recorded"), ("Vehicle", intake.vehicle or "not recorded")]
    if intake.family:
        out.append(("Model line", intake.family))
    for what in ("vin", "odometer"):
        spoken.setdefault(what, ["not recorded"])
    out += [(_label(what, wording), " / ".join(dict.fromkeys(values))) for what, values in spoken.items()]
    out.append(("Opened", job.created_at[:10] or "not recorded"))
    out.append(("State", f"closed {job.closed_at[:10]}" if job.closed_at else job.status))
    return tuple(out)


def _label(what: str, wording: Wording) -> str:
    name = wording.name("fact", what)
    return name[:1].upper() + name[1:] if len(name) < 16 else what.upper()


def _value(value: object, unit: str | None, wording: Wording) -> str:
    if isinstance(value, (int, float)):
        shown_number = number(value) if unit else f"{value:g}" if isinstance(value, float) else str(value)
        return f"{shown_number} {wording.unit(unit).many}" if unit else shown_number
    return str(value)


def _tests(entries: Sequence[Entry], order: Mapping[str, int], wording: Wording) -> Table:
    rows, keys = [], []
    for test in (e for e in entries if e.kind == "test"):
        times = [
            measure(q.value, q.unit, wording) if q.what == "duration" else quantity(q, wording) for q in test.quantities
        ]
        if test.clocked_s is not None:
            times.append(f"{number(test.clocked_s)} s by the test clock")
        if test.clocked_leak_s is not None:
            times.append(f"leaked at {number(test.clocked_leak_s)} s by the test clock")
        outcome = {"leak": "leaked", "dry": "dry"}.get(test.state or "", "not recorded")
        own = wording.method(test.method)
        outcome = {"leak": own.leak, "dry": own.dry}.get(test.state or "", "") or outcome
        outcome = outcome if test.present else f"not {outcome}"
        outcome += " (not certain)" if test.certainty == "unsure" else ""
        where = subject(test, wording)
        place = _capital(where.text) if test.place or test.part or test.side else "Not recorded"
        name = trial_name(test, wording) if test.method else f"{trial_name(test, wording)}, method not recorded"
        rows.append(
            (
                place + (f", {where.spot}" if where.spot else ""),
                name,
                ", ".join(times) or "not recorded",
                outcome,
            )
        )
        keys.append(order[test.id])
    return Table(("Where", "Test", "Time", "Result"), tuple(rows), (0.38, 0.22, 0.22, 0.18), tuple(keys))


def _capital(text: str) -> str:
    """The text without its article, as the head of a row."""
    text = text.removeprefix("the ")
    return text[:1].upper() + text[1:]


def _appendix(entries: Sequence[Entry], job: Job, wording: Wording) -> Table:
    rows, keys = [], []
    for index, entry in enumerate(entries, 1):
        said = " ".join(s.text for s in in_order([entry], wording))
        rows.append((str(index), _LABELS.get(entry.kind, entry.kind), said, entry.quote or "—", _heard(entry, job)))
        keys.append(index)
    return Table(
        ("No.", "Kind", "Recorded as", "Words", "Heard"), tuple(rows), (0.06, 0.1, 0.4, 0.32, 0.12), tuple(keys)
    )


def _heard(entry: Entry, job: Job) -> str:
    """Where and how surely the words were heard: clip and second, confidence, or who or what put them in."""
    parts: list[str] = []
    clips = {c.id: i for i, c in enumerate(job.clips, 1)}
    utterances = {u.id: u for u in job.utterances}
    spoken = next((o for o in entry.origins if o.kind == "spoken"), None)
    if spoken is not None and spoken.from_s is not None:
        utterance = utterances.get(spoken.utterance_id or "")
        clip = clips.get(utterance.clip_id or "") if utterance else None
        parts.append((f"clip {clip}, " if clip else "") + clock(spoken.from_s))
    elif entry.heard_from is not None:
        parts.append(clock(entry.heard_from))
    if any(o.kind == "typed" for o in entry.origins):
        parts.append("typed")
    if any(o.kind == "imported" for o in entry.origins):
        parts.append("imported")
    if entry.confidence is not None:
        parts.append(f"{entry.confidence:.0%}")
    return ", ".join(parts) or "—"


def clock(seconds: float) -> str:
    """Minutes and seconds (``1:05``)."""
    whole = int(seconds)
    return f"{whole // 60}:{whole % 60:02d}"


__all__ = [
    "APPENDIX",
    "CAUTIONS",
    "OPEN",
    "TESTS",
    "Document",
    "Line",
    "Section",
    "Table",
    "clock",
    "lay_out",
    "spans",
]
