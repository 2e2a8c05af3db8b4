"""One step of the plan as a record: minutes, what must come off, cautions, and what its result would change."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace

from fieldnote.records import Side, Step
from fieldnote.suggest import wording
from fieldnote.suggest.cautions import Cautions
from fieldnote.suggest.leak_map import LeakMap, MethodRow
from fieldnote.suggest.load import openings_needed
from fieldnote.suggest.zones import ZoneTest, zone_test

CURED = "Dry: it counts as cured. Leaks: the repair failed, or there is another leak."

UNPROVED = "Dry: the best proof left; it never leaked in a test. Leaks: the repair failed, or there is another."


@dataclass
class StepBook:
    """The steps so far, and what is off by then (``opened``, bits of openings)."""

    leak_map: LeakMap
    cautions: Cautions
    opened: int
    steps: list[Step] = field(default_factory=list)

    def planned(self, test: ZoneTest) -> bool:
        """Whether the plan has this test already."""
        return any(s.do == "test" and (s.place, s.side) == test.key for s in self.steps)

    def needs(self, test: ZoneTest) -> int:
        """Bits of the openings that a test wants off."""
        access = test.zone.access
        if test.side == "center" and test.zone.center_access:
            access = test.zone.center_access
        found = openings_needed(self.leak_map.openings, access, test.side)
        return sum(1 << i for i in found)

    def look(self, source: int, share: float, found_next: str) -> None:
        """Add a look at a source; ``share`` is its part of what is left to find."""
        row, side = self.leak_map.sources[source].row, self.leak_map.sources[source].side
        bits = sum(1 << i for i in self.leak_map.behind[source])
        opens, spent, risks = self._open(bits)
        missed = percent(1.0 - row.look_power_prob)
        own = self.cautions.of({row.place}, {row.part} - {""}, {"look"})
        self._add(
            Step(
                step=0,
                do="look",
                place=row.place,
                part=row.part or None,
                side=side,
                method=None,
                minutes=round(row.look_min + spent, 1),
                opens=opens,
                cautions=self._texts(own, risks),
                because=f"{row.name}: {percent(share)} of what is left to find",
                would_change=f"Fault found: {found_next}. Nothing found: a look misses {missed} of such faults.",
                name=row.name,
                probability=round(share * row.look_power_prob, 4),
            )
        )

    def look_alone(self, source: int) -> Step:
        """A look at a source as the only thing to do; the book stays as it is."""
        alone = StepBook(self.leak_map, self.cautions, self.opened)
        alone.look(source, 1.0, after_a_find(self.leak_map, source))
        return alone.steps[0]

    def test(self, test: ZoneTest, chance: float, because: str, would_change: str) -> None:
        """Add a search with water."""
        self._add(self._test(test, chance, because, would_change))

    def retest(self, test: ZoneTest, least_min: float, because: str, would_change: str = CURED) -> None:
        """Add a test that follows a repair, of at least ``least_min`` minutes."""
        fails = 1.0 - self.leak_map.model.repair_holds_prob
        step = self._test(test, fails, because, would_change)
        longer = max(0.0, least_min - test.zone.minutes)
        self._add(replace(step, stage="verify", minutes=round(step.minutes + longer, 1)))

    def whole(self, method: MethodRow, because: str) -> None:
        """Add the test of the whole vehicle that ends a job."""
        own = self.cautions.of(set(), set(), {"test", method.id})
        self._add(
            Step(
                step=0,
                do="test",
                place=None,
                part=None,
                side=None,
                method=method.id,
                minutes=method.minutes,
                cautions=self._texts(own, ()),
                because=because,
                would_change="Dry: the job can be closed. Leaks: there is another leak; note where it shows.",
                stage="verify",
                name="whole vehicle, with everything refitted",
            )
        )

    def _test(self, test: ZoneTest, chance: float, because: str, would_change: str) -> Step:
        opens, spent, risks = self._open(self.needs(test))
        own = self.cautions.of({test.zone.id}, set(), {"test", test.method.id})
        return Step(
            step=0,
            do="test",
            place=test.zone.id,
            part=None,
            side=test.side,
            method=test.method.id,
            minutes=round(test.zone.minutes + spent, 1),
            opens=opens,
            cautions=self._texts(own, risks),
            because=because,
            would_change=would_change,
            name=wording.spot(self.leak_map, test.zone.id, None, test.side),
            probability=round(chance, 4),
        )

    def _open(self, bits: int) -> tuple[tuple[str, ...], float, tuple[str, ...]]:
        """What of ``bits`` is still on, by name; minutes off and on; the cautions of taking it off."""
        names, spent, texts = [], 0.0, dict[str, None]()
        for i, opening in enumerate(self.leak_map.openings):
            if not bits >> i & 1 or self.opened >> i & 1:
                continue
            row = opening.row
            names.append(side_name(row.name, opening.side))
            spent += opening.minutes
            texts.update(dict.fromkeys(self.cautions.of({row.place}, {row.part} - {""}, {"access", "removed"})))
        self.opened |= bits
        return tuple(names), spent, tuple(texts)

    def _texts(self, own: Iterable[str], more: Iterable[str]) -> tuple[str, ...]:
        """Cautions without doubles; what is always shown comes last."""
        return tuple(dict.fromkeys((*own, *more, *self.cautions.always)))

    def _add(self, step: Step) -> None:
        self.steps.append(replace(step, step=len(self.steps) + 1))


def after_a_find(leak_map: LeakMap, source: int) -> str:
    """What to do once the fault of a source was found."""
    test = zone_test(leak_map, leak_map.sources[source])
    return "prove it with water on its zone" if test else "put it right and see that it stays dry"


def side_name(name: str, side: Side | None) -> str:
    """ "left tail lamp"."""
    return f"{side} {name}" if side else name


def percent(share: float) -> str:
    """A share as it is read: "43%"."""
    return f"{100 * share:.0f}%" if share >= 0.01 else "under 1%"
