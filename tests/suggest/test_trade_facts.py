"""What the trade knows must come out of the shipped map. All of it: common practice, no source."""

from __future__ import annotations

from pathlib import Path

import pytest

from fieldnote.extract.conversions import factor
from fieldnote.records import Conditions, Entry
from fieldnote.suggest import advise, load_map
from fieldnote.suggest.conditions import weigh_conditions
from fieldnote.suggest.leak_map import LeakMap
from fieldnote.suggest.reading import read
from fieldnote.vocabulary import load_pack
from fieldnote.vocabulary.pack import Condition
from tests.suggest.entries import believe, by_row, check, shipped, sign

RISES = 2.5
"""A source that explains what is seen becomes at least this many times as likely as it was beforehand."""

REAR = (
    "quarter-glass-seat quarter-glass-mastic quarter-glass-flange trough-grommet trough-seam-sealer trough-seam "
    "hinge-side-seam trough-burn-through hinge-bolt hinge-locating-pin roof-joint-rear rack-rear-screw "
    "rack-rear-rivet-nut rack-rear-gasket"
)
STEP = (
    "track-flange-sealer track-seam-below-front track-seam-above sliding-door-weatherstrip "
    "sliding-door-weatherstrip-sealer sliding-door-bumper-plate rack-front-screw rack-center-screw "
    "roof-joint-burn-through track-vertical-seam"
)
PEDALS = (
    "windshield-side windshield-bottom sunroof-front-drain cowl-drain intake-seal firewall-harness-grommet heater-core "
    "condensate-drain roof-joint-front"
)


def beforehand() -> dict[str, float]:
    """The prior of each row, on one side."""
    return {row.id: row.prior_prob for row in shipped().rows.values()}


FACTS = [
    ("wet rear pillar trim", sign("d-pillar", "water", part="trim-panel", side="left"), REAR),
    ("carpet at the rear pillar's base", sign("rear-floor", "soaked", part="carpet", side="left"), REAR),
    ("wet carpet along the step", sign("scuff-plate", "damp", part="carpet", side="right"), STEP),
    ("droplets on the middle pillar trim", sign("b-pillar", "droplets", part="trim-panel", side="right"), STEP),
    (
        "pillar behind the sliding door",
        sign("c-pillar", "water", side="left"),
        "quarter-glass-seat track-vertical-seam c-pillar-pocket",
    ),
    (
        "inner side of a sliding door's trim",
        sign("sliding-door", "water", part="door-trim-panel", side="left"),
        "sliding-door-glass-butyl sliding-door-glass-studs sliding-door-water-shield sliding-door-drains",
    ),
    (
        "wet front step",
        sign("scuff-plate", "water", side="left"),
        "front-door-water-shield front-door-weatherstrip front-door-drains",
    ),
    ("wet under the pedals", sign("pedals", "water", side="left"), PEDALS),
    ("drip at the overhead console", sign("overhead-console", "drip"), "windshield-top-center mirror-cable-bead"),
]  # fmt: skip


@pytest.mark.parametrize(("entry", "rows"), [f[1:] for f in FACTS], ids=[f[0] for f in FACTS])
def test_what_is_seen_raises_what_the_trade_suspects(entry: Entry, rows: str) -> None:
    """Common practice, no source: the candidates that a practitioner would name rise, the far ones do not."""
    before, after = beforehand(), by_row(believe(entry))
    rises = {row: after[row] / before[row] for row in rows.split()}
    assert min(rises.values()) > RISES, rises


@pytest.mark.parametrize(
    ("entry", "leaders"),
    [
        (sign("overhead-console", "drip"), {"windshield-top-center", "mirror-cable-bead"}),
        (sign("scuff-plate", "water", side="left"), {"front-door-water-shield", "front-door-weatherstrip"}),
        (
            sign("sliding-door", "water", part="door-trim-panel", side="left"),
            {"sliding-door-glass-butyl", "sliding-door-water-shield"},
        ),
        (sign("d-pillar", "water", side="left"), {"trough-seam-sealer", "quarter-glass-seat"}),
        (sign("b-pillar", "water", side="left"), {"track-flange-sealer"}),
        (sign("c-pillar", "water", side="left"), {"quarter-glass-seat"}),
    ],
    ids=lambda v: v.place if isinstance(v, Entry) else None,
)  # fmt: skip
def test_the_usual_suspects_lead(entry: Entry, leaders: set[str]) -> None:
    """Common practice, no source: these stand among the first three."""
    after = by_row(believe(entry))
    assert leaders <= set(sorted(after, key=lambda r: -after[r])[:3])


@pytest.mark.parametrize(
    "row",
    ["trough-seam-sealer", "trough-seam", "trough-burn-through", "hinge-side-seam", "hinge-bolt", "hinge-locating-pin"],
)
def test_hinge_and_trough_show_on_either_side(row: str) -> None:
    """Common practice, no source: the same side, the other or both; the same side is likelier."""
    prior = beforehand()[row]
    after = believe(sign("d-pillar", "water", side="left"))
    assert after[f"{row}@left"] > after[f"{row}@right"] > prior * 1.2
    both = believe(sign("d-pillar", "water", side="both"))
    assert both[f"{row}@left"] > after[f"{row}@right"]


def test_a_seam_pillar_shows_on_its_own_side_only() -> None:
    """Common practice, no source: a middle pillar's water comes from its own side."""
    prior, after = beforehand()["track-flange-sealer"], believe(sign("b-pillar", "water", side="left"))
    assert after["track-flange-sealer@left"] > 8 * prior
    assert after["track-flange-sealer@right"] < after["track-flange-sealer@left"] / 6


def test_water_between_the_layers_means_roof_joint_or_rack() -> None:
    """Common practice, no source: between the front pillar's layers: roof joint, or first or second rack fastener."""
    after = by_row(believe(sign("a-pillar", "water", part="between-layers", side="left")))
    above = ("roof-joint-front", "rack-front-screw", "roof-joint-burn-through")
    edge = ("windshield-side", "windshield-top-side", "windshield-bottom")
    assert min(after[r] for r in above) > max(after[r] for r in edge)


def test_dry_between_the_layers_but_wet_on_the_metal_means_the_windshield_edge() -> None:
    """Common practice, no source: left then tends to show left, right right."""
    after = believe(
        sign("a-pillar", "water", part="between-layers", side="left", present=False),
        sign("a-pillar", "water", part="panel-face", side="left"),
    )
    ranked = sorted(after, key=lambda s: -after[s])
    assert {"windshield-side@left", "windshield-top-side@left"} <= set(ranked[:3])
    assert after["windshield-side@left"] > 5 * after["windshield-side@right"]


def test_inside_sources_stay_candidates_under_the_pedals() -> None:
    """Common practice, no source: heater core and condensate drain are not forgotten for the rain."""
    after = by_row(believe(sign("front-footwell", "soaked", side="right"), sign("pedals", "water")))
    assert after["condensate-drain"] > 0.01
    assert after["heater-core"] > 0.005


def test_the_headliner_lets_water_out_elsewhere() -> None:
    """Common practice, no source: the headliner holds water like a basin and lets it out elsewhere."""
    places = {s.place for s in shipped().rows["windshield-top-center"].shows}
    assert {"overhead-console", "windshield", "roof", "a-pillar"} <= places


def test_the_seam_behind_the_track_comes_last() -> None:
    """Common practice, no source: the track must come off, so this look costs most and comes after the others."""
    leak_map = shipped()
    cost = [sum(leak_map.openings[o].minutes for o in behind) for behind in leak_map.behind]
    mine = [i for i, s in enumerate(leak_map.sources) if s.row.id == "track-vertical-seam"]
    assert min(cost[i] for i in mine) == max(cost)
    entries = [
        sign("b-pillar", "droplets", side="left"),
        sign("c-pillar", "water", side="left"),
        sign("scuff-plate", "damp", side="left"),
    ]
    for _ in range(3):
        plan = advise(leak_map, entries).plan
        track = [s for s in plan if s.do == "look" and s.place == "sliding-door-track"]
        names = [s.name for s in track]
        last = leak_map.rows["track-vertical-seam"].name
        assert last not in names[:-1]
        entries += [check(s.place or "", s.part, side=s.side) for s in plan if s.do == "look" and s.name != last]


def test_a_locking_torque_of_thirty_inch_pounds_converts() -> None:
    """One maker's value for the studs (the maker's value rules); lbf.in = 0.1129848290276167 N.m, SOURCES section 3."""
    assert 30 * float(factor("in_lb")) == pytest.approx(30 * 0.1129848290276167, rel=1e-12)
    assert "little torque" in shipped().rows["sliding-door-glass-butyl"].note


# ---- the map as a whole ---------------------------------------------------------------------------------------


def test_the_map_is_as_wide_as_the_job() -> None:
    """At least 60 sources, over every area that the job names, each with a confidence."""
    rows = shipped().rows
    assert len(rows) >= 60
    places = {row.place for row in rows.values()}
    wanted = (
        "cowl firewall fresh-air-intake windshield a-pillar b-pillar c-pillar front-door rear-door sliding-door "
        "sliding-door-track roof-joint roof-rack sunroof antenna quarter-glass back-glass liftgate-trough liftgate "
        "liftgate-hinge tail-lamp high-stop-lamp spare-wheel-well rear-floor center-floor front-footwell wheelhouse"
    )
    assert set(wanted.split()) <= places
    parts = {row.part for row in rows.values()}
    assert {"pressure-vent", "body-plug", "hinge-bolt", "drain-tube"} <= parts


@pytest.mark.parametrize("liquid", ["coolant", "condensate", "washer", "condensation", "spill"])
def test_inside_sources_are_in_the_map(liquid: str) -> None:
    """Is it rain at all? Heater core, condensate drain, rear air-conditioning, washer hoses, condensation, spills."""
    assert any(row.liquid == liquid for row in shipped().rows.values())


def test_the_file_says_that_it_is_an_estimate() -> None:
    """Probabilities are estimates, and the head of the file says so."""
    head = Path(shipped().file).read_text(encoding="utf-8")[:2000]
    assert "ESTIMATE" in head
    assert "common practice" in head


def test_every_source_can_be_found() -> None:
    """Each source shows somewhere, and what lets rain in can be wetted by a zone or is looked at."""
    leak_map: LeakMap = shipped()
    for row in leak_map.rows.values():
        assert row.shows, row.id
        assert sum(s.prob for s in row.shows) >= 0.4, row.id


def test_every_sign_and_method_of_the_pack_is_weighed() -> None:
    """No sign of the pack, and no method, is unknown to the map."""
    from tests.suggest.entries import pack

    signs = {s.id for s in pack().terms("state") if "evidence" in s.kinds}  # type: ignore[attr-defined]
    assert signs <= set(shipped().signs)
    assert {m.id for m in pack().terms("method")} <= set(shipped().methods)


@pytest.mark.parametrize("vocabulary", ["body-leaks", "building-leaks"])
def test_every_condition_of_the_job_weighs_in(vocabulary: str) -> None:
    """What intake asks moves the odds of some source by a tenth at least; nothing is asked for nothing."""
    asked = load_pack(vocabulary)
    leak_map = load_map(asked)
    for condition in asked.rows(Condition):
        given = Conditions(**{condition.group: (condition.id,)})  # type: ignore[arg-type]
        weighed, unknown = weigh_conditions(leak_map, read(leak_map, []), given)
        assert unknown == ()
        (item,) = (i for i in weighed.items if i.text.startswith("condition of the job"))
        assert item.log_odds is not None
        assert abs(item.log_odds).max() > 0.09, condition.id


def test_the_low_side_takes_the_water() -> None:
    """Common practice, no source: a vehicle that leans left leaks on the left rather than on the right."""
    leaning = {
        side: advise(shipped(), [sign("rear-floor", "soaked")], Conditions(parked=(f"leaning-{side}",)))
        for side in ("left", "right")
    }
    sides = {side: [s.side for s in advice.suggestions[:5] if s.side] for side, advice in leaning.items()}
    assert set(sides["left"]) == {"left"}
    assert set(sides["right"]) == {"right"}
