"""The field guide: for each place where water shows, one leaf on where it may come in and in which order to look.

Everything on a leaf comes from the pack's leak map, its wording and its cautions; base rates are those given (the map's
own, or what closed jobs taught). Order: the likeliest for each minute first, where what has come off stays off.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fieldnote.errors import NotFound
from fieldnote.narrate.phrases import measure, series
from fieldnote.narrate.wording import Vocabulary, Wording, load_wording

if TYPE_CHECKING:
    from fieldnote.suggest import Cautions, LeakMap
    from fieldnote.suggest.leak_map import Access, Shows, SourceRow

WORTH_A_LINE = 0.01
"""Share from which on a source can have a line of its own; the rest is listed by name."""
LINES = 12
"""Lines of a leaf at most, so that it fits the two sides of a sheet; the likeliest have them."""
RULE = (
    "Order: the likeliest for each minute of looking first; what has come off stays off. Within a side water goes on "
    "low first and works up, one zone at a time. Shares (of all leaks that show here) and minutes are estimates of the "
    "map."
)
SIDES = {
    "same": "same side",
    "opposite": "other side",
    "either": "either side",
    "both": "both sides",
}


@dataclass(frozen=True, slots=True)
class Opening:
    """What must come off, with the minutes to take it off and to put it back."""

    id: str
    name: str
    off_min: float
    on_min: float


@dataclass(frozen=True, slots=True)
class Candidate:
    """One way in. ``share`` is that of all the leaks which show here; ``opens`` what must come off that is still on."""

    source: str
    name: str
    place: str
    part: str | None
    where: str
    side: str
    share: float
    minutes: float
    opens: tuple[Opening, ...]
    test: str
    good: str
    bad: str
    note: str


@dataclass(frozen=True, slots=True)
class Leaf:
    """One place where water shows."""

    place: str
    title: str
    candidates: tuple[Candidate, ...]
    rest: tuple[str, ...]
    cautions: tuple[str, ...]

    @property
    def places(self) -> tuple[str, ...]:
        """The places of the candidates, in order, each once."""
        return tuple(dict.fromkeys(c.place for c in self.candidates))


def places_shown(leak_map: LeakMap) -> tuple[str, ...]:
    """The places where some source of the map shows, in the order of the map's rows."""
    return tuple(dict.fromkeys(s.place for row in leak_map.rows.values() for s in row.shows))


def field_guide(
    leak_map: LeakMap,
    pack: Vocabulary,
    cautions: Cautions,
    *,
    places: Sequence[str] = (),
    prior: Sequence[float] = (),
) -> tuple[Leaf, ...]:
    """The leaves of these places (none: all of them).

    ``prior`` is the base rate of each of ``leak_map.sources``, as learned; the map's own where it is left out.

    Raises:
        NotFound: nothing shows at a place.
        PackFault: the wording of the pack cannot be used.

    """
    wording = load_wording(pack)
    known = places_shown(leak_map)
    for place in places:
        if place not in known:
            raise NotFound(
                f"the map shows no water at {place!r}", where="--place", do=f"Places are: {', '.join(sorted(known))}."
            )
    rates = _rates(leak_map, prior)
    return tuple(_leaf(leak_map, wording, cautions, place, rates) for place in (places or known))


def _rates(leak_map: LeakMap, prior: Sequence[float]) -> dict[str, float]:
    """The base rate of each row, its sides taken together."""
    values = list(prior) if len(prior) else [float(p) for p in leak_map.prior]
    rates: dict[str, float] = {}
    for source, value in zip(leak_map.sources, values, strict=True):
        rates[source.row.id] = rates.get(source.row.id, 0.0) + float(value)
    return rates


def _leaf(leak_map: LeakMap, wording: Wording, cautions: Cautions, place: str, rates: Mapping[str, float]) -> Leaf:
    links: dict[str, list[Shows]] = {}
    for row in leak_map.rows.values():
        for shows in row.shows:
            if shows.place == place:
                links.setdefault(row.id, []).append(shows)
    weight = {id: rates.get(id, 0.0) * max(s.prob for s in found) for id, found in links.items()}
    total = sum(weight.values()) or 1.0
    share = {id: w / total for id, w in weight.items()}
    rows = [leak_map.rows[id] for id in links]
    rows.sort(key=lambda row: (-share[row.id], row.id))
    main = [row for row in rows[:LINES] if share[row.id] >= WORTH_A_LINE]
    rest = rows[len(main) :]
    ordered = _in_order(leak_map, main, share)
    candidates = tuple(
        _candidate(leak_map, wording, row, links[row.id], share[row.id], opens) for row, opens in ordered
    )
    return Leaf(
        place=place,
        title=leak_map.name("place", place),
        candidates=candidates,
        rest=tuple(row.name for row in rest),
        cautions=_cautions(leak_map, cautions, place, [row for row, _ in ordered]),
    )


# ---- order ----------------------------------------------------------------------------------------------------


def _in_order(
    leak_map: LeakMap, rows: Sequence[SourceRow], share: Mapping[str, float]
) -> list[tuple[SourceRow, tuple[Opening, ...]]]:
    """Rows by share over minutes, an opening paid for once; ties by id. With each what must come off before it."""
    left = list(rows)
    opened: set[str] = set()
    out: list[tuple[SourceRow, tuple[Opening, ...]]] = []
    while left:
        row = min(left, key=lambda r: (-share[r.id] / _minutes(leak_map, r, frozenset(opened)), r.id))
        needed = tuple(Opening(a.id, a.name, a.off_min, a.on_min) for a in _behind(leak_map, row) if a.id not in opened)
        opened |= {o.id for o in needed}
        left.remove(row)
        out.append((row, needed))
    return out


def _minutes(leak_map: LeakMap, row: SourceRow, opened: frozenset[str]) -> float:
    """Minutes of a look, with taking off and putting back what is still on."""
    still_on = [a for a in _behind(leak_map, row) if a.id not in opened]
    return row.look_min + sum(a.off_min + a.on_min for a in still_on)


def _behind(leak_map: LeakMap, row: SourceRow) -> list[Access]:
    """What the row lies behind, those that come off first included, first things first."""
    index = next(i for i, s in enumerate(leak_map.sources) if s.row.id == row.id)
    found: dict[str, Access] = {}

    def add(opening: int) -> None:
        for before in leak_map.openings[opening].after:
            add(before)
        found.setdefault(leak_map.openings[opening].row.id, leak_map.openings[opening].row)

    for opening in leak_map.behind[index]:
        add(opening)
    return list(found.values())


# ---- words ----------------------------------------------------------------------------------------------------


def _candidate(
    leak_map: LeakMap,
    wording: Wording,
    row: SourceRow,
    links: Sequence[Shows],
    share: float,
    opens: tuple[Opening, ...],
) -> Candidate:
    part = leak_map.name("part", row.part) if row.part else ""
    place = leak_map.name("place", row.place)
    relations = list(dict.fromkeys(SIDES[s.side] for s in links))
    sided = bool({"left", "right"} & set(row.sides))
    return Candidate(
        source=row.id,
        name=row.name,
        place=row.place,
        part=row.part or None,
        where=f"{place}: {part}" if part else place,
        side=_relation(relations) if sided else "",
        share=share,
        minutes=row.look_min,
        opens=opens,
        test=_test(leak_map, wording, row),
        good=_good(wording, row.part),
        bad=_bad(wording, row.states),
        note=row.note,
    )


def _relation(relations: Sequence[str]) -> str:
    """Sides in words ("same or other side")."""
    heads = [r.rpartition(" ")[0] for r in relations]
    return f"{' or '.join(heads)} {relations[-1].rpartition(' ')[2]}"


def _test(leak_map: LeakMap, wording: Wording, row: SourceRow) -> str:
    """How to prove it: the test of its zone where that can show such a leak, else the map's other ways."""
    zone = leak_map.zones.get(row.place)
    if zone is not None and _finds(leak_map, zone.method, row.liquid):
        off = [o.row.name for o in leak_map.openings if o.row.id in zone.access]
        once = f", with the {series(list(dict.fromkeys(off)))} off" if off else ""
        minutes = measure(zone.minutes * max(row.slow, 1.0), "min", wording)
        return f"{_name(wording, zone.method)} on the {leak_map.name('place', row.place)}, {minutes}{once}"
    other = [id for id in leak_map.methods if _finds(leak_map, id, row.liquid)]
    named = [_name(wording, id) for id in other]
    return f"no test of its own zone; {series(named)} can show it" if named else "no test can show it: look"


def _finds(leak_map: LeakMap, method: str, liquid: str) -> bool:
    row = leak_map.methods.get(method)
    return row is not None and row.water and liquid in row.finds


def _name(wording: Wording, method: str) -> str:
    return wording.method(method).test or wording.name("method", method)


def _good(wording: Wording, part: str) -> str:
    return wording.part(part).ok or wording.state("ok").is_ or "sound"


def _bad(wording: Wording, states: Sequence[str]) -> str:
    adjectives: list[str] = []
    nouns: list[str] = []
    for id in states:
        forms = wording.state(id)
        (nouns if forms.has else adjectives).append(forms.has or forms.is_ or wording.name("state", id))
    found = [_either(adjectives)] if adjectives else []
    return ", or ".join([*found, f"with {_either(nouns)}"] if nouns else found)


def _either(words: Sequence[str]) -> str:
    return " or ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)


def _cautions(leak_map: LeakMap, cautions: Cautions, place: str, rows: Sequence[SourceRow]) -> tuple[str, ...]:
    """The cautions of all steps of the leaf, those that hold always first."""
    texts = dict.fromkeys(cautions.always)
    for row in rows:
        texts.update(dict.fromkeys(cautions.of([row.place], [row.part] if row.part else [], ["look"])))
        zone = leak_map.zones.get(row.place)
        if zone is not None:
            texts.update(dict.fromkeys(cautions.of([row.place], [], ["test", zone.method])))
        for access in _behind(leak_map, row):
            texts.update(dict.fromkeys(cautions.of([access.place], [access.part] if access.part else [], ["access"])))
    texts.update(dict.fromkeys(cautions.of([place], [], ["look"])))
    return tuple(texts)


__all__ = ["RULE", "Candidate", "Leaf", "Opening", "field_guide", "places_shown"]
