"""Plausible jobs out of thin air, seeded: which source leaks, where it shows, what is looked at and tested on the way.

The leak is drawn from the leak map by its base rates; so are the places where it shows. Vehicles, people and
numbers are invented. The same seed gives the same jobs.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from random import Random

from fieldnote.records import Entry, Intake, Origin, Quantity, Utterance
from fieldnote.store.identity import id_from
from fieldnote.suggest import LeakMap
from fieldnote.suggest.leak_map import Source

FAMILIES = ("F1", "F2", "F3", "F4", "F5", "F6")
PEOPLE = ("Alex", "Bo", "Chris", "Dana", "Eli", "Fran", "Gus", "Hal")
_LATEST = datetime(2026, 11, 1, tzinfo=UTC)
_DAYS = 5 * 365
_VIN_LETTERS = "ABCDEFGHJKLMNPRSTUVWXYZ0123456789"
_TIME = "%Y-%m-%dT%H:%M:%S.%fZ"


@dataclass(frozen=True, slots=True)
class PlausibleJob:
    """A whole job: ``closed_at`` is None where it is still open."""

    id: str
    name: str
    created_at: str
    closed_at: str | None
    intake: Intake
    utterances: tuple[Utterance, ...]
    entries: tuple[Entry, ...]
    source: str


def plausible_jobs(leak_map: LeakMap, count: int, seed: int = 1, *, entries: int = 15) -> Iterator[PlausibleJob]:
    """``count`` jobs of ``entries`` entries each, oldest first."""
    random = Random(seed)
    fleet = [_vehicle(random, number) for number in range(max(count // 4, 1))]
    step = timedelta(days=_DAYS) / max(count, 1)
    weights = [float(weight) for weight in leak_map.prior]
    for number in range(count):
        opened = _LATEST - timedelta(days=_DAYS) + number * step + timedelta(seconds=random.random() * 3600)
        source = random.choices(leak_map.sources, weights)[0]
        intake = random.choice(fleet)
        maker = _Maker(leak_map, random, id_from("j", seed, number), source)
        maker.make(entries, intake)
        days = random.expovariate(1 / 3)
        closed = opened + timedelta(days=days) if random.random() < 0.97 else None
        yield PlausibleJob(
            maker.job_id,
            f"{intake.vehicle} visit {number}",
            opened.strftime(_TIME),
            closed.strftime(_TIME) if closed else None,
            intake,
            tuple(maker.utterances),
            tuple(maker.entries),
            source.id,
        )


def _vehicle(random: Random, number: int) -> Intake:
    year = random.randint(2015, 2026)
    return Intake(
        vehicle=f"unit {number + 1}",
        family=random.choices(FAMILIES, weights=range(len(FAMILIES), 0, -1))[0],
        model_year=year,
        build_month=f"{year - 1 if random.random() < 0.3 else year}-{random.randint(1, 12):02d}",
        vin="ZZZ" + "".join(random.choice(_VIN_LETTERS) for _ in range(14)),
        odometer=float(random.randint(500, 180_000)),
        odometer_unit=random.choice(("mi", "km")),
        order_number=str(random.randint(10_000, 99_999)),
        technician=random.choice(PEOPLE),
    )


class _Maker:
    """Entries of one job with the words that they were spoken in."""

    def __init__(self, leak_map: LeakMap, random: Random, job_id: str, source: Source) -> None:
        self.map = leak_map
        self.random = random
        self.job_id = job_id
        self.source = source
        self.utterances: list[Utterance] = []
        self.entries: list[Entry] = []

    def make(self, count: int, intake: Intake) -> None:
        """Fill up to ``count`` entries: what shows, wrong places, then the leak, its repair and the retest."""
        end = self._end()
        self._add(
            Entry("fact", what="odometer", value=int(intake.odometer or 0), unit=intake.odometer_unit), "odometer"
        )
        self._shows()
        while len(self.entries) < count - len(end):
            self._wrong_place()
        del self.entries[count - len(end) :]
        del self.utterances[count - len(end) :]
        for entry, words in end:
            self._add(entry, words)

    def _shows(self) -> None:
        for shows in self.source.row.shows:
            if self.random.random() > shows.prob:
                continue
            sign = self.random.choice(shows.signs or ("water", "damp", "droplets", "soaked"))
            side = self.source.side if shows.side == "same" else None
            words = f"{side or ''} {self.map.name('place', shows.place)} {self.map.name('state', sign)}"
            self._add(Entry("evidence", shows.place, shows.part or None, side, sign), words)

    def _wrong_place(self) -> None:
        other = self.random.choice(self.map.sources)
        name = f"{other.side or ''} {other.row.name}"
        kind = self.random.random()
        if kind < 0.4:
            self._add(Entry("check", other.place, other.part, other.side, "ok"), f"{name} is good")
        elif kind < 0.6 and other.row.states:
            state = self.random.choice(other.row.states)
            words = f"no {self.map.name('state', state)} at the {name}"
            self._add(Entry("check", other.place, other.part, other.side, state, present=False), words)
        elif kind < 0.75:
            self._add(Entry("access", other.place, other.part, other.side, "removed"), f"took off the {name}")
        else:
            minutes = float(self.random.choice((2, 3, 5, 10)))
            entry = Entry(
                "test",
                other.place,
                None,
                other.side,
                "dry",
                method="hose",
                quantities=(Quantity("duration", minutes, "min"),),
            )
            self._add(entry, f"hose on the {name} for {minutes:g} minutes dry")

    def _end(self) -> list[tuple[Entry, str]]:
        place, part, side = self.source.place, self.source.part, self.source.side
        name = f"{side or ''} {self.source.row.name}"
        state = self.random.choice(self.source.row.states) if self.source.row.states else None
        seconds = float(self.random.choice((20, 40, 60, 90, 120)))
        repaired = self.random.choice(("reseal", "replace", "reseat", "unblock"))
        ten = (Quantity("duration", 10.0, "min"),)
        leak = (Quantity("time-to-leak", seconds, "s"),)
        return [
            (
                Entry("test", place, None, side, "leak", method="hose", quantities=leak),
                f"hose on the {name} leaked after {seconds:g} seconds",
            ),
            (Entry("source", place, part, side, state), f"the {name} is the leak {state or ''}"),
            (Entry("repair", place, part, side, repaired), f"{repaired} the {name}"),
            (
                Entry("test", place, None, side, "dry", stage="verify", method="hose", quantities=ten),
                f"retest the {name} ten minutes dry",
            ),
        ]

    def _add(self, entry: Entry, words: str) -> None:
        text = " ".join(words.replace("-", " ").split())
        number = len(self.utterances)
        said = Utterance(id_from("u", self.job_id, number), text)
        origin = Origin("spoken", said.id, 0, len(text), role="head")
        self.utterances.append(said)
        self.entries.append(replace(entry, id=id_from("e", said.id), quote=text, origins=(origin,)))
