"""Advice as a whole: candidates, reasons, plan, conditions, cautions, and what it could not use."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace
from pathlib import Path

import pytest

from fieldnote.records import Advice, Conditions, Entry
from fieldnote.suggest import advise, load_cautions, load_map
from fieldnote.suggest.belief import posterior
from fieldnote.suggest.explain import shares
from fieldnote.suggest.reading import read
from fieldnote.vocabulary import load_pack
from tests.suggest.entries import check, pack, shipped, sign, test

WET = sign("d-pillar", "water", side="left")
FLOOR = sign("rear-floor", "soaked", part="carpet")
DRY = test("tail-lamp", "dry", 6, side="left")


def named(*entries: Entry) -> list[Entry]:
    return [replace(e, id=f"e{n}") for n, e in enumerate(entries, 1)]


def ask(*entries: Entry, **conditions: tuple[str, ...]) -> Advice:
    return advise(shipped(), named(*entries), Conditions(**conditions), cautions=load_cautions(pack()))


# ---- candidates and reasons -----------------------------------------------------------------------------------


def test_candidates_fall_in_probability_and_are_sources() -> None:
    """Ranks count from one, probabilities fall, every candidate is a row of the map with its place and part."""
    found = ask(WET, FLOOR).suggestions
    assert [s.rank for s in found] == list(range(1, len(found) + 1))
    assert all(a.probability >= b.probability for a, b in itertools.pairwise(found))
    for s in found:
        row = shipped().rows[s.source.split("@")[0]]
        assert (s.place, s.part or "", s.confidence) == (row.place, row.part, row.confidence)


def test_sides_that_nothing_tells_apart_are_one_line() -> None:
    """Without a side both are one candidate, likelier than either; with a side they part."""
    whole = {s.source: s for s in ask(FLOOR).suggestions}
    assert whole["trough-seam-sealer"].side is None
    one_side = {s.source: s for s in ask(FLOOR, WET).suggestions}
    assert one_side["trough-seam-sealer@left"].side == "left"
    net = read(shipped(), named(FLOOR)).network()
    i = [n for n, s in enumerate(shipped().sources) if s.row.id == "trough-seam-sealer"]
    single = posterior(net).prob[i]
    assert max(single) < whole["trough-seam-sealer"].probability <= single.sum() + 1e-6


def test_shares_of_log_odds_add_up() -> None:
    """Over all entries, the shares of a source add up to its change in log-odds."""
    reading = read(shipped(), named(WET, FLOOR, DRY, check("quarter-glass", "weatherstrip", side="left")))
    belief = posterior(reading.network())
    columns = [int(n) for n in belief.prob.argsort()[-5:]]
    table = shares(reading, columns, belief)
    for column, total in zip(columns, table.sum(axis=0), strict=True):
        p, before = belief.prob[column], reading.prior[column]
        change = math.log(p / (1 - p)) - math.log(before / (1 - before))
        assert total == pytest.approx(change, abs=1e-3)


def test_reasons_name_their_entries_and_direction() -> None:
    """Water raises the trough; a dry test of the lamp lowers the lamp and raises the trough a little."""
    found = {s.source: s for s in ask(WET, FLOOR, DRY).suggestions}
    reasons = {r.entries: r for r in found["trough-seam-sealer@left"].because}
    assert reasons[("e1",)].weight > 0.5
    assert "water" in reasons[("e1",)].text
    lamp = next((s for s in found.values() if s.source == "tail-lamp-gasket@left"), None)
    assert lamp is None or any(r.entries == ("e3",) and r.weight < 0 for r in lamp.because)
    assert all(set(r.entries) <= {"e1", "e2", "e3"} for s in found.values() for r in s.because)


def test_advice_is_the_same_each_time() -> None:
    """The same entries give the same advice, whatever was asked before."""
    assert ask(WET, FLOOR, DRY) == ask(WET, FLOOR, DRY)


def test_inputs_are_left_as_they_are_and_ids_are_made_up_where_missing() -> None:
    """Entries without an id are called by their number."""
    entries = [Entry(kind="plan", place="a-pillar"), WET]
    advice = advise(shipped(), entries)
    assert entries[0].id == ""
    assert advice.unused[0].entry == "entry 1"


def test_no_entries_at_all() -> None:
    """An empty job gives the commonest sources and a plan."""
    advice = ask()
    assert len(advice.suggestions) >= 3
    assert advice.plan


# ---- is it rain at all? ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("conditions", "rows"),
    [
        ({"liquid": ("coolant",)}, ("heater-core",)),
        ({"when": ("air-conditioning-on", "dry-weather")}, ("condensate-drain",)),
        ({"liquid": ("washer-fluid",)}, ("washer-hose-front", "washer-hose-rear")),
        ({"liquid": ("spill",), "when": ("dry-weather",)}, ("spill",)),
    ],
    ids=["coolant", "air conditioning on", "washer fluid", "spill"],
)
def test_inside_sources(conditions: dict[str, tuple[str, ...]], rows: tuple[str, ...]) -> None:
    """Common practice, no source: what is found and when it comes tells rain from what the vehicle carries itself."""
    advice = ask(sign("front-footwell", "soaked"), **conditions)
    assert advice.suggestions[0].source in rows
    plain = ask(sign("front-footwell", "soaked"))
    assert plain.suggestions[0].source not in rows


def test_parked_nose_down_brings_the_front_drains_forward() -> None:
    """Common practice, no source: a sunroof's front drains take the water then, its rear ones when parked nose up."""
    wet = (sign("front-footwell", "water", side="left"), sign("rear-floor", "water", side="left"))

    def of(source: str, parked: str) -> float:
        found = {s.source: s.probability for s in ask(*wet, parked=(parked,)).suggestions}
        return found.get(source, 0.0)

    assert of("sunroof-front-drain@left", "nose-down") > of("sunroof-front-drain@left", "nose-up")
    assert of("sunroof-rear-drain@left", "nose-up") > of("sunroof-rear-drain@left", "nose-down")


def test_earlier_glass_work_points_to_the_glass() -> None:
    """Common practice, no source: a windshield that was changed is suspected first."""
    drip = sign("front-footwell", "water", side="left")
    before = {s.source: s.probability for s in ask(drip).suggestions}
    after = ask(drip, earlier_work=("glass",))
    assert after.suggestions[0].place == "windshield"
    assert after.suggestions[0].probability > before.get(after.suggestions[0].source, 0.0)


def test_a_condition_that_the_map_does_not_know_is_listed() -> None:
    """It is named with why, and nothing changes."""
    advice = ask(WET, liquid=("moonlight",), when=("full-moon",))
    assert {u.entry for u in advice.unused} == {"condition moonlight", "condition full-moon"}
    assert advice.suggestions == ask(WET).suggestions


def test_not_reproduced_is_an_outcome() -> None:
    """Tests that all stay dry raise the chance that it is nothing that the map knows, and the note says so."""
    zones = ("liftgate-trough", "liftgate-hinge", "quarter-glass", "tail-lamp")
    tests = [test(zone, "dry", 10, side=side) for zone in zones for side in ("left", "right")]
    advice = ask(WET, *tests)
    (note,) = [n for n in advice.notes if n.startswith("Not reproduced")]
    assert "8 tests" in note
    few = next(n for n in ask(WET, *tests[:2]).notes if n.startswith("Not reproduced"))
    chance = [int(n.rstrip(".%").rsplit(" ", 1)[1].rstrip("%.")) for n in (few, note)]
    assert chance[1] > chance[0]


# ---- the plan -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "entries",
    [
        (WET,),
        (WET, FLOOR),
        (sign("b-pillar", "water", side="right"),),
        (sign("pedals", "water"),),
        (sign("roof", "drip"),),
    ],
    ids=["rear pillar", "rear pillar and floor", "middle pillar", "pedals", "roof"],
)
def test_water_goes_on_low_before_high_within_a_side(entries: tuple[Entry, ...]) -> None:
    """No step puts water on a zone while a lower one on its side, still worth testing, is yet to come."""
    leak_map = shipped()
    tests = [s for s in ask(*entries).plan if s.do == "test" and s.stage == "find"]
    assert tests
    for step, later in itertools.combinations(tests, 2):
        if step.side is None or later.side is None or step.side == later.side:
            levels = [leak_map.zones[s.place or ""].level for s in (step, later)]
            assert levels[0] <= levels[1], (step.name, later.name)


def test_access_is_paid_once_and_said() -> None:
    """What must come off is named at its first step only, and its minutes, off and on, are in that step."""
    leak_map = shipped()
    plan = ask(sign("b-pillar", "water", side="left")).plan
    named_twice = [o for s in plan for o in s.opens]
    assert len(named_twice) == len(set(named_twice))
    step = next(s for s in plan if s.opens)
    row = next((r for r in leak_map.rows.values() if r.name == step.name), None)
    own = row.look_min if row is not None else leak_map.zones[step.place or ""].minutes
    cost = sum(o.minutes for o in leak_map.openings if (f"{o.side} " if o.side else "") + o.row.name in step.opens)
    assert cost > 0
    assert step.minutes == pytest.approx(own + cost, abs=0.1)


def test_what_is_off_already_costs_nothing() -> None:
    """With the pillar trim off, no step asks for it; once it is refitted, one may again."""
    wet = sign("b-pillar", "water", side="left")
    off = Entry(kind="access", place="b-pillar", part="trim-panel", side="left", state="removed")
    name = "left middle pillar trim"
    assert any(name in s.opens for s in ask(wet).plan)
    assert not any(name in s.opens for s in ask(wet, off).plan)
    assert any(name in s.opens for s in ask(wet, off, replace(off, state="refitted")).plan)


def test_a_zone_that_was_dry_long_enough_is_not_tested_again() -> None:
    """Nor one that leaked: its next test is the one after the repair."""
    first = next(s for s in ask(WET, FLOOR).plan if s.do == "test")
    done = test(first.place, "dry", 30, side=first.side)
    assert not any(
        s.do == "test" and (s.place, s.side) == (first.place, first.side) for s in ask(WET, FLOOR, done).plan
    )


def test_every_candidate_says_what_a_look_at_it_takes() -> None:
    """Minutes, what must come off and the cautions, whether it is in the plan or not; less once the trim is off."""
    leak_map, cautions = shipped(), load_cautions(pack())
    name, wet = "left middle pillar trim", sign("b-pillar", "water", side="left")
    off = Entry(kind="access", place="b-pillar", part="trim-panel", side="left", state="removed")
    rows = {source.id: source.row for source in leak_map.sources} | leak_map.rows
    before = {found.source: found for found in ask(wet).suggestions}
    for found in before.values():
        row = rows[found.source]
        assert found.minutes >= row.look_min > 0
        assert (found.minutes > row.look_min) == bool(found.opens)
        told = {*cautions.of({row.place}, {row.part} - {""}, {"look"}), *cautions.always}
        assert told <= set(found.cautions)
        assert found.would_change.startswith("Fault found: ") and "Nothing found: a look misses" in found.would_change
    hidden = [found for found in before.values() if name in found.opens]
    after = {found.source: found for found in ask(wet, off).suggestions}
    assert hidden
    for found in hidden:
        if found.source in after:
            assert name not in after[found.source].opens
            assert after[found.source].minutes < found.minutes


def test_every_step_says_what_its_result_would_change() -> None:
    """Reason, consequence and minutes stand with each step."""
    for step in ask(WET, FLOOR, DRY).plan:
        assert step.because
        assert step.would_change
        assert step.minutes > 0
        assert 0 <= step.probability <= 1


# ---- cautions -------------------------------------------------------------------------------------------------

CAUTIONS = [
    ("airbags at a pillar", ({"a-pillar"}, {"trim-panel"}, {"access"}), "maker's stated time"),
    ("a restraint unit under wet carpet", ({"front-footwell"}, {"carpet"}, {"access"}), "restraint control unit"),
    ("high voltage", ({"rear-floor"}, {"carpet"}, {"access"}), "qualified"),
    ("water near electrics", ({"tail-lamp"}, set(), {"test", "hose"}), "live electrics"),
    ("wet floor", ({"tail-lamp"}, set(), {"test", "hose"}), "slippery"),
    ("no hard jet", ({"windshield"}, set(), {"test", "hose"}), "No hard jet"),
    ("height", ({"roof-joint"}, {"seam-sealer"}, {"look"}), "height"),
    ("struts", ({"liftgate-hinge"}, {"hinge-bolt"}, {"repair", "tighten"}), "strut"),
    ("sharp flanges", ({"quarter-glass"}, {"flange"}, {"look"}), "sharp"),
    ("glass", ({"windshield"}, {"glass"}, {"repair", "replace"}), "eye protection"),
    ("isocyanates", ({"liftgate-trough"}, {"seam-sealer"}, {"repair", "reseal", "urethane"}), "NIOSH 96-111"),
    ("cure before driving", ({"windshield"}, {"glass-adhesive"}, {"repair", "patch"}), "no driving"),
    ("solvents", ({"windshield"}, {"flange"}, {"repair", "clean"}), "flammable"),
    ("silicone", ({"tail-lamp"}, {"gasket"}, {"repair", "silicone"}), "Silicone"),
    ("welding", ({"roof-joint"}, {"spot-weld"}, {"repair", "weld"}), "foam"),
    ("mold", ({"rear-floor"}, {"carpet"}, {"repair", "dry-out"}), "Mold"),
    ("belt pretensioners", ({"b-pillar"}, {"trim-panel"}, {"access"}), "pretensioners"),
    ("lifting", ({"wheelhouse"}, {"seam"}, {"look"}), "stands"),
]  # fmt: skip


@pytest.mark.parametrize(("given", "words"), [c[1:] for c in CAUTIONS], ids=[c[0] for c in CAUTIONS])
def test_where_work_can_hurt_the_caution_is_shown(given: tuple[set[str], set[str], set[str]], words: str) -> None:
    """SOURCES section 9 and common practice: each danger of the work has its caution at its place, part and action."""
    assert any(words in text for text in load_cautions(pack()).of(*given))


def test_no_caution_names_one_wait_for_airbags() -> None:
    """Waiting times are the maker's (stored texts run from 1 to 30 minutes): no text on airbags gives a number."""
    texts = [row.text for row in load_cautions(pack()).rows if "irbag" in row.text or "pretension" in row.text]
    assert len(texts) >= 3
    assert not any(c.isdigit() for text in texts for c in text.replace("12-volt", ""))


def test_the_maker_comes_first_everywhere() -> None:
    """Every step carries the sentence, and so do the advice and the cautions of a write-up."""
    cautions = load_cautions(pack())
    (always,) = cautions.always
    assert always == "The maker's procedure, local rules and licensed practice come first."
    advice = ask(WET, FLOOR)
    assert advice.cautions == (always,)
    assert all(step.cautions[-1] == always for step in advice.plan)
    assert cautions.of_entries([])[0] == always


def test_taking_off_a_pillar_trim_for_a_look_shows_the_airbag_caution() -> None:
    """What comes off for a step brings its own cautions along."""
    plan = ask(sign("b-pillar", "water", side="left")).plan
    step = next(s for s in plan if "left middle pillar trim" in s.opens)
    assert any("Airbags" in text for text in step.cautions)


# ---- the room as a whole --------------------------------------------------------------------------------------


def test_a_second_trade_needs_no_code() -> None:
    """The building pack's map loads and advises by the same code."""
    buildings = load_pack("building-leaks")
    leak_map = load_map(buildings)
    place = next(iter(leak_map.links))
    advice = advise(leak_map, [Entry(kind="evidence", place=place, state=next(iter(leak_map.signs)), id="e")])
    assert advice.suggestions
    assert {s.place for s in advice.suggestions} <= {r.place for r in leak_map.rows.values()}


def test_no_place_or_part_of_the_trade_is_in_the_code() -> None:
    """The trade is data: no id of a place, a part or a source stands in the room's modules."""
    ids = {t.id for kind in ("place", "part") for t in pack().terms(kind)} | set(shipped().rows)
    wordy = {i for i in ids if "-" in i}
    folder = Path(__file__).parents[2] / "fieldnote" / "suggest"
    for module in folder.glob("*.py"):
        text = module.read_text(encoding="utf-8")
        assert not [i for i in wordy if f'"{i}"' in text], module.name


# ---- as it is read --------------------------------------------------------------------------------------------


def test_a_sign_on_both_sides_is_named_by_side() -> None:
    """Soaked left and right are two findings, and a reason says which it means."""
    advice = ask(sign("rear-floor", "soaked", part="carpet", side="both"))
    for suggestion in advice.suggestions:
        texts = [r.text for r in suggestion.because]
        assert len(texts) == len(set(texts)), texts
    assert any(r.text.startswith("left rear floor") for s in advice.suggestions for r in s.because)


def test_fogged_glass_does_not_point_to_its_seal() -> None:
    """Common practice, no source: fogging is moist air or coolant; it says next to nothing of the bead around it."""
    fogged = {s.source: s.probability for s in ask(sign("windshield", "fogging")).suggestions}
    inside = [p for id, p in fogged.items() if id in ("condensation", "heater-core")]
    bead = [p for id, p in fogged.items() if id.startswith("windshield")]
    assert len(inside) == 2
    assert min(inside) > max(bead, default=0.0)


def test_what_must_come_off_at_the_center_is_the_overhead_console() -> None:
    """Common practice, no source: water at the top center of a windshield shows there, not behind the pillar trims."""
    found = check("windshield", "glass-adhesive", "thin", side="center", at=("upper",))
    step = ask(sign("overhead-console", "drip"), found).plan[0]
    assert (step.do, step.place, step.side) == ("test", "windshield", "center")
    assert step.opens == ("overhead console",)


def test_a_test_that_hardly_leaks_says_why_it_comes_first() -> None:
    """A low zone is wetted before those above it, however little is expected of it."""
    steps = [s for s in ask(WET, FLOOR).plan if s.do == "test" and s.stage == "find"]
    low = [s for s in steps if s.probability < 0.15 and "low first" in s.because]
    assert low
    levels = [shipped().zones[s.place or ""].level for s in steps]
    assert shipped().zones[low[0].place or ""].level < max(levels)


def test_consequences_name_a_source_shortly_with_its_side_after_it() -> None:
    """ "Quarter-glass weatherstrip, left (47%)": not "left quarter-glass weatherstrip: how it sits on the flange"."""
    told = [s.would_change for s in ask(WET, FLOOR).plan if s.do == "test" and s.stage == "find"]
    assert any(", left (" in text for text in told)
    assert not any("Leaks: left " in text or text.count(":") > 2 for text in told)
