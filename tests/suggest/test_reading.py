"""How entries move belief. Trade facts here are common practice, no source, unless one is named."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from fieldnote.records import Entry, Quantity
from fieldnote.suggest.matching import power
from fieldnote.suggest.reading import read
from tests.suggest.entries import believe, by_row, check, fix, shipped, sign, test

WET = sign("d-pillar", "water", side="left")


def log_odds(p: float) -> float:
    return math.log(p / (1 - p))


# ---- looks ----------------------------------------------------------------------------------------------------


def test_an_ok_look_lowers_a_seam_but_does_not_clear_it() -> None:
    """A seam seen from one side: belief sinks, by no more than the power of the look."""
    before = believe(WET)["trough-seam@left"]
    after = believe(WET, check("liftgate-trough", "seam", side="left"))["trough-seam@left"]
    row = shipped().rows["trough-seam"]
    assert after < before
    assert log_odds(before) - log_odds(after) == pytest.approx(-math.log(1 - row.look_power_prob), abs=0.05)


def test_the_same_look_said_twice_counts_once() -> None:
    """Saying it again, or denying one fault after an ok, adds nothing."""
    ok = check("liftgate-trough", "seam", side="left")
    once = believe(WET, ok)
    assert believe(WET, ok, ok)["trough-seam@left"] == pytest.approx(once["trough-seam@left"])
    denied = check("liftgate-trough", "seam", "pinhole", side="left", present=False)
    assert believe(WET, ok, denied)["trough-seam@left"] == pytest.approx(once["trough-seam@left"])


def test_a_denied_fault_says_less_than_ok() -> None:
    """ "No pinholes" speaks of one way to fail only."""
    ok = believe(WET, check("liftgate-trough", "seam-sealer", side="left"))["trough-seam-sealer@left"]
    denied = check("liftgate-trough", "seam-sealer", "skip", side="left", present=False)
    assert ok < believe(WET, denied)["trough-seam-sealer@left"] < believe(WET)["trough-seam-sealer@left"]


def test_a_fault_found_raises_its_source_and_lowers_the_rest() -> None:
    """A skip in the sealer explains the water, so the others lose."""
    before = believe(WET)
    after = believe(WET, check("liftgate-trough", "seam-sealer", "skip", side="left"))
    assert after["trough-seam-sealer@left"] > 0.5 > before["trough-seam-sealer@left"]
    assert after["quarter-glass-seat@left"] < before["quarter-glass-seat@left"]


@pytest.mark.parametrize(
    ("sure", "unsure"),
    [
        (check("liftgate-trough", "seam", "pinhole", side="left"), None),
        (sign("c-pillar", "water", side="left"), None),
        (test("quarter-glass", "leak", 3, side="left"), None),
        (Entry(kind="source", place="liftgate-trough", part="seam", side="left", state="pinhole"), None),
    ],
    ids=["look", "sign", "test", "statement"],
)
def test_hedged_entries_weigh_less(sure: Entry, unsure: None) -> None:
    """ "Might be" moves every belief in the same direction, and less far."""
    base, said, hedged = believe(WET), believe(WET, sure), believe(WET, replace(sure, certainty="unsure"))
    moved = max(base, key=lambda s: said[s] - base[s])
    assert base[moved] < hedged[moved] < said[moved]


def test_words_likely_misheard_weigh_less() -> None:
    """The recogniser's own doubt counts apart from the speaker's."""
    sure = check("liftgate-trough", "seam", "pinhole", side="left")
    doubtful = replace(sure, misheard_risk=0.5)
    key = "trough-seam@left"
    assert believe(WET)[key] < believe(WET, doubtful)[key] < believe(WET, sure)[key]


def test_a_fault_of_a_part_that_the_map_lacks_speaks_for_its_place() -> None:
    """A torn trim clip at the tail lamp: the lamp's sources rise, less than by a fault of a part that it names."""
    known = believe(WET, check("tail-lamp", "gasket", "torn", side="left"))["tail-lamp-gasket@left"]
    other = believe(WET, check("tail-lamp", "trim-clip", "torn", side="left"))["tail-lamp-gasket@left"]
    assert believe(WET)["tail-lamp-gasket@left"] < other < known


def test_a_source_shows_at_its_own_place() -> None:
    """A stain at the antenna raises the antenna, though its row names the headliner only."""
    before, after = by_row(believe()), by_row(believe(sign("antenna", "stain", part="headliner")))
    assert after["antenna-gasket"] > 5 * before["antenna-gasket"]


# ---- signs ----------------------------------------------------------------------------------------------------


def test_a_dry_surface_lowers_what_would_show_there() -> None:
    """The right pillar is dry: what shows there sinks, what shows on the left does not."""
    dry = sign("b-pillar", "dry", side="right")
    denied = sign("b-pillar", "water", side="right", present=False)
    before = believe(WET)
    for said in (dry, denied):
        after = believe(WET, said)
        assert after["track-flange-sealer@right"] < before["track-flange-sealer@right"]
        assert after["trough-seam-sealer@left"] >= before["trough-seam-sealer@left"]


def test_several_signs_of_one_spot_count_once() -> None:
    """Droplets, then a stain, on the same trim are one finding."""
    once = believe(sign("b-pillar", "droplets", part="trim-panel", side="left"))
    twice = believe(
        sign("b-pillar", "droplets", part="trim-panel", side="left"), sign("b-pillar", "stain", side="left")
    )
    assert twice["track-flange-sealer@left"] == pytest.approx(once["track-flange-sealer@left"], rel=0.05)


def test_more_than_one_source_may_be_there() -> None:
    """Water at the rear left and at the front right: both leaders stay likely side by side."""
    after = believe(
        sign("sliding-door", "water", part="door-trim-panel", side="left"),
        check("sliding-door", "water-shield", "torn", side="left"),
        sign("scuff-plate", "soaked", side="right"),
        check("front-door", "water-shield", "wrinkled", side="right"),
    )
    assert after["sliding-door-water-shield@left"] + after["front-door-water-shield@right"] > 1.1


# ---- tests ----------------------------------------------------------------------------------------------------


def test_dry_after_enough_minutes_lowers_and_after_seconds_hardly() -> None:
    """Ten minutes of water tell; fifteen seconds do not."""
    key = "quarter-glass-seat@left"
    base = log_odds(believe(WET)[key])
    short = log_odds(believe(WET, test("quarter-glass", "dry", 0.25, side="left"))[key])
    long = log_odds(believe(WET, test("quarter-glass", "dry", 10, side="left"))[key])
    assert base - short < 0.25
    assert base - long > 2.0


def test_power_grows_with_duration_to_its_ceiling() -> None:
    """Half of the power after the method's half time, all of it in the end."""
    method = shipped().methods["hose"]
    i = next(n for n, s in enumerate(shipped().sources) if s.row.slow == 1.0)
    curve = [power(shipped(), method, m)[i] for m in (0.0, method.half_min, 2 * method.half_min, 60.0)]
    assert curve == pytest.approx([0.0, method.power_prob / 2, 0.75 * method.power_prob, method.power_prob])


@pytest.mark.parametrize("method", ["smoke", "ultrasonic", "soap-bubble", "chalk", "paper"])
def test_what_shows_openings_or_contact_neither_proves_nor_clears(method: str) -> None:
    """A smoke test that shows something, or nothing, moves far less than water does."""
    key = "quarter-glass-seat@left"
    base = log_odds(believe(WET)[key])
    for state in ("leak", "dry"):
        by_water = abs(log_odds(believe(WET, test("quarter-glass", state, 5, side="left"))[key]) - base)
        other = log_odds(believe(WET, test("quarter-glass", state, 5, side="left", method=method))[key]) - base
        assert 0.0 < abs(other) < by_water / 2
    assert not shipped().methods[method].water


def test_a_leaking_test_lifts_its_zone() -> None:
    """What was wetted rises, the rest falls."""
    before, after = by_row(believe(WET)), by_row(believe(WET, test("quarter-glass", "leak", 2, 40, side="left")))
    assert after["quarter-glass-seat"] > 3 * before["quarter-glass-seat"]
    assert after["high-stop-lamp-gasket"] < before["high-stop-lamp-gasket"]


def test_run_off_shares_the_credit_until_the_lower_zone_is_tested_alone() -> None:
    """Water on the roof joint also wets the quarter glass; once that was dry alone, the joint takes the credit."""
    leak = test("roof-joint", "leak", 3, side="left")
    shared = believe(WET, leak)
    alone = believe(WET, test("quarter-glass", "dry", 8, side="left"), leak)
    assert shared["quarter-glass-seat@left"] > believe(WET)["quarter-glass-seat@left"]
    assert alone["quarter-glass-seat@left"] < shared["quarter-glass-seat@left"] / 3
    assert alone["roof-joint-rear@left"] > shared["roof-joint-rear@left"]


def test_water_soon_after_the_hose_has_moved_may_belong_to_the_zone_before() -> None:
    """Twenty seconds after moving up from the tail lamp, some of the credit stays with the lamp."""
    first = test("tail-lamp", "dry", 2, side="left")
    soon = believe(WET, first, test("liftgate-hinge", "leak", leaked_s=20, side="left"))
    later = believe(WET, first, test("liftgate-hinge", "leak", leaked_s=240, side="left"))
    assert soon["tail-lamp-gasket@left"] > 1.5 * later["tail-lamp-gasket@left"]
    assert soon["hinge-bolt@left"] > 0.05


def test_isolation_proves() -> None:
    """Masked: dry; bare: leaks. The masked place takes the credit; without the masking the trough shares it."""
    masked = test("liftgate-trough", "dry", 6, side="left", masked=("liftgate-hinge",))
    bare = test("liftgate-trough", "leak", 3, side="left")
    after = believe(WET, masked, bare)
    hinge = sum(after[s.id] for s in shipped().sources if s.place == "liftgate-hinge" and s.side == "left")
    trough = sum(after[s.id] for s in shipped().sources if s.place == "liftgate-trough" and s.side == "left")
    assert hinge > 3 * trough
    only = believe(WET, bare)
    assert sum(only[s.id] for s in shipped().sources if s.place == "liftgate-trough" and s.side == "left") > trough


def test_a_test_without_a_side_says_less_of_each_side() -> None:
    """Dry on the tail lamp, side not said: it counts for half on either."""
    said = believe(WET, test("tail-lamp", "dry", 6, side="left"))["tail-lamp-gasket@left"]
    unsaid = believe(WET, test("tail-lamp", "dry", 6))["tail-lamp-gasket@left"]
    assert said < unsaid < believe(WET)["tail-lamp-gasket@left"]


@pytest.mark.parametrize(("value", "unit"), [(5.0, "min"), (300.0, "s"), (1 / 12, "h")])
def test_durations_in_any_unit_are_the_same(value: float, unit: str) -> None:
    """Five minutes are 300 seconds (exact by definition)."""
    said = replace(test("tail-lamp", "dry", side="left"), quantities=(Quantity("duration", value, unit),))
    key = "tail-lamp-gasket@left"
    assert believe(WET, said)[key] == pytest.approx(believe(WET, test("tail-lamp", "dry", 5, side="left"))[key])


def test_the_clock_outranks_what_was_said() -> None:
    """ "About ten minutes" that the clock saw as twenty seconds counts as twenty seconds."""
    key = "tail-lamp-gasket@left"
    clocked = replace(test("tail-lamp", "dry", 10, side="left"), clocked_s=20.0)
    short = test("tail-lamp", "dry", 1 / 3, side="left")
    assert believe(WET, clocked)[key] == pytest.approx(believe(WET, short)[key])


# ---- repairs --------------------------------------------------------------------------------------------------


def test_a_leaking_retest_points_to_another_source() -> None:
    """After the repair the same zone leaks again: what was mended falls back, its neighbours rise."""
    found = check("liftgate-trough", "seam-sealer", "skip", side="left")
    job = (
        WET,
        test("liftgate-trough", "leak", 2, side="left"),
        found,
        fix("liftgate-trough", "seam-sealer", side="left"),
    )
    mended = believe(*job)
    again = believe(*job, test("liftgate-trough", "leak", 3, side="left", stage="verify"))
    assert again["trough-seam@left"] > 2 * mended["trough-seam@left"]
    others = sum(p for id, p in again.items() if id.startswith(("trough", "hinge")) and id != "trough-seam-sealer@left")
    assert others > again["trough-seam-sealer@left"]


# ---- nothing is dropped silently ------------------------------------------------------------------------------


UNUSABLE = [
    (Entry(kind="fact", what="odometer", value=1000, unit="km", id="x"), "fact"),
    (Entry(kind="plan", place="a-pillar", id="x"), "still to be done"),
    (sign("nowhere", id="x"), "shows at"),
    (Entry(kind="evidence", place=None, state="water", id="x"), "no place"),
    (Entry(kind="evidence", place="d-pillar", state=None, id="x"), "does not know"),
    (check("overhead-console", "latch", "bent", id="x"), "no source"),
    (check("quarter-glass", "weatherstrip", "rusted", present=False, id="x"), "do not fail"),
    (test("overhead-console", "dry", 2, id="x"), "reaches"),
    (test("tail-lamp", "leak", 2, method="x-ray", id="x"), "method"),
    (Entry(kind="test", place="tail-lamp", method="hose", id="x"), "result"),
    (Entry(kind="access", place="hood", part="latch", state="removed", id="x"), "lies behind"),
    (Entry(kind="source", place="overhead-console", part="latch", id="x"), "no source"),
    (fix("overhead-console", "latch", id="x"), "no source"),
]


@pytest.mark.parametrize(("entry", "why"), UNUSABLE, ids=[f"{e.kind}-{n}" for n, (e, _) in enumerate(UNUSABLE)])
def test_what_cannot_be_used_is_said_with_its_reason(entry: Entry, why: str) -> None:
    """An entry that fits nothing is listed with why, and changes nothing."""
    reading = read(shipped(), [entry])
    assert [u.entry for u in reading.unused] == ["x"]
    assert why in reading.unused[0].why
    assert len(reading.items) == 1


def test_every_entry_is_used_or_listed() -> None:
    """Over one long job, each entry id is in an item or in what was not used, or says what is off or mended."""
    entries = [replace(e, id=f"e{n}") for n, (e, _) in enumerate(UNUSABLE)]
    entries += [replace(WET, id="w1"), replace(WET, id="w2"), replace(WET, id="w3", state="dry")]
    reading = read(shipped(), entries)
    named = {i for item in reading.items for i in item.entries} | {u.entry for u in reading.unused}
    assert named == {e.id for e in entries}
    assert reading.repaired == frozenset()


def test_beyond_the_cap_the_weakest_findings_are_listed() -> None:
    """More present findings than are reckoned with exactly: the rest is named, never dropped silently."""
    places = ["front-footwell", "rear-footwell", "scuff-plate", "b-pillar", "d-pillar", "c-pillar", "quarter-panel"]
    entries = [sign(p, "water", side=s, id=f"{p}-{s}") for p in places for s in ("left", "right")]
    reading = read(shipped(), entries)
    cap = shipped().model.present_cap
    assert sum(i.links is not None for i in reading.items) == cap
    assert len(reading.unused) == len(entries) - cap
    assert all(f"more than {cap}" in u.why for u in reading.unused)
