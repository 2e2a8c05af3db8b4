"""When a source is closed, what follows a proved leak, and what closed jobs teach."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fieldnote.records import Entry, Intake, Job, Rates
from fieldnote.suggest import Vehicle, advise, changes, learn
from fieldnote.suggest.closing import standings
from fieldnote.suggest.leak_map import LeakMap
from fieldnote.suggest.learning import learned_prior
from tests.suggest.entries import check, fix, shipped, sign, test

WET = sign("d-pillar", "water", side="left")
LEAK = test("liftgate-trough", "leak", leaked_s=90, side="left")
RAN = test("liftgate-trough", "leak", 5, 60, side="left")
CLOCKED = replace(test("liftgate-trough", "leak", 5, side="left"), clocked_leak_s=180.0)
FOUND = check("liftgate-trough", "seam-sealer", "skip", side="left")
MENDED = fix("liftgate-trough", "seam-sealer", side="left")
ROW = "trough-seam-sealer"


def named(*entries: Entry) -> list[Entry]:
    return [replace(e, id=f"e{n}") for n, e in enumerate(entries, 1)]


def retest(minutes: float | None = 5, state: str = "dry", **more: object) -> Entry:
    return test("liftgate-trough", state, minutes, side="left", stage="verify", **more)


# ---- the rule of a cure ---------------------------------------------------------------------------------------

STANDINGS = [
    ("same zone and method, longer", (LEAK, FOUND, MENDED, retest()), ""),
    ("exactly as long as it leaked", (LEAK, FOUND, MENDED, retest(1.5)), ""),
    ("a retest that names no method", (LEAK, FOUND, MENDED, retest(method=None)), ""),
    ("as long as it took to leak, not as long as the water ran", (RAN, FOUND, MENDED, retest(2)), ""),
    ("shorter than it took to leak by the clock", (CLOCKED, FOUND, MENDED, retest(2)), "took 2 min"),
    ("as long as the slower of two leaks", (LEAK, RAN, FOUND, MENDED, retest(1.2)), "took 1.2 min"),
    ("no retest", (LEAK, FOUND, MENDED), "no retest yet"),
    ("too short", (LEAK, FOUND, MENDED, retest(1)), "took 1 min"),
    ("no duration", (LEAK, FOUND, MENDED, retest(None)), "duration of the retest"),
    ("another method", (LEAK, FOUND, MENDED, retest(method="spray-booth")), "another method"),
    ("another zone", (LEAK, FOUND, MENDED, test("tail-lamp", "dry", 9, side="left")), "no retest yet"),
    ("the other side", (LEAK, FOUND, MENDED, test("liftgate-trough", "dry", 9, side="right")), "no retest yet"),
    ("smoke is no water", (LEAK, FOUND, MENDED, retest(method="smoke")), "no retest yet"),
    ("leaks again", (LEAK, FOUND, MENDED, retest(state="leak")), "leaked"),
    ("dry, then leaks again", (LEAK, FOUND, MENDED, retest(), retest(state="leak")), "leaked"),
    ("mended twice, then dry", (LEAK, FOUND, MENDED, retest(state="leak"), MENDED, retest()), ""),
    ("never leaked in a test", (FOUND, MENDED, retest()), "never seen to leak"),
    ("dry before the repair", (LEAK, retest(), FOUND, MENDED), "no retest yet"),
    ("the whole place masked", (LEAK, FOUND, MENDED, retest(masked=("liftgate-trough",))), "no retest yet"),
]


@pytest.mark.parametrize(("entries", "missing"), [s[1:] for s in STANDINGS], ids=[s[0] for s in STANDINGS])
def test_what_closes_a_source(entries: tuple[Entry, ...], missing: str) -> None:
    """A repair, then a dry retest of the same zone and method, at least as long as it leaked: nothing less."""
    (standing,) = standings(shipped(), named(WET, *entries))
    assert shipped().sources[standing.source].id == f"{ROW}@left"
    assert standing.closed is (missing == "")
    assert missing in standing.missing


def test_drying_out_cures_nothing() -> None:
    """Drying the carpet is no repair of a leak."""
    assert standings(shipped(), named(WET, LEAK, fix("liftgate-trough", "seam-sealer", "dry-out", side="left"))) == ()


def test_a_closed_source_leaves_the_list_and_the_whole_vehicle_is_tested() -> None:
    """It is named as closed, is no candidate any more, and the plan ends with the test of the whole vehicle."""
    job = named(WET, LEAK, FOUND, MENDED, retest())
    advice = advise(shipped(), job)
    assert all(s.source != f"{ROW}@left" for s in advice.suggestions)
    assert any(note.startswith("Closed") for note in advice.notes)
    assert [(s.do, s.place, s.method, s.stage) for s in advice.plan] == [("test", None, "spray-booth", "verify")]
    done = replace(test(None, "dry", 15, method="spray-booth", stage="verify"), id="last")
    assert advise(shipped(), [*job, done]).plan == ()


def test_a_second_leak_is_searched_for_after_the_first_is_closed() -> None:
    """Water at the front right is not explained by the trough: the search goes on."""
    job = named(
        WET,
        LEAK,
        FOUND,
        MENDED,
        retest(),
        sign("scuff-plate", "soaked", side="right"),
        sign("front-footwell", "soaked", side="right"),
    )
    advice = advise(shipped(), job)
    assert advice.suggestions[0].place == "front-door"
    assert any(s.stage == "find" for s in advice.plan)


def test_a_repair_asks_for_its_retest_first() -> None:
    """The first step repeats the test that leaked, at least as long, and says what dry would mean."""
    slow = test("liftgate-trough", "leak", 9, side="left")
    step = advise(shipped(), named(WET, slow, FOUND, MENDED)).plan[0]
    assert (step.place, step.side, step.stage, step.method) == ("liftgate-trough", "left", "verify", "hose")
    assert step.minutes >= 9
    assert "cured" in step.would_change


def test_a_fault_found_is_proved_with_water_before_anything_else() -> None:
    """A skip was seen and no water through it yet: the next step is the test of its zone."""
    step = advise(shipped(), named(WET, FOUND)).plan[0]
    assert (step.do, step.place, step.side, step.stage) == ("test", "liftgate-trough", "left", "find")


# ---- after the leak -------------------------------------------------------------------------------------------


def test_nothing_follows_before_a_leak_is_proved() -> None:
    """Wet carpet alone asks for no aftercare."""
    assert advise(shipped(), named(WET, sign("rear-floor", "soaked", part="carpet"))).aftercare == ()


def test_a_proved_leak_asks_for_what_follows() -> None:
    """Dry-out, connectors, primer on bare metal, the whole-vehicle test and a recheck, each with its reason."""
    job = named(sign("rear-floor", "soaked", part="carpet"), LEAK, FOUND, fix("liftgate-trough", "spot-weld", "weld"))
    items = {a.id: a for a in advise(shipped(), job).aftercare}
    assert set(items) == {"dry-out", "connectors", "bare-metal", "whole-vehicle-test", "later-recheck"}
    assert "padding" in items["dry-out"].text
    assert items["dry-out"].entries == ("e1",)
    assert items["bare-metal"].entries == ("e4",)
    assert all(a.because and not a.done_by for a in items.values())


@pytest.mark.parametrize(
    ("entry", "id"),
    [
        (fix("rear-floor", "carpet", "dry-out"), "dry-out"),
        (check("rear-floor", "wiring-harness"), "connectors"),
        (fix("liftgate-trough", "seam", "reseal", material="primer"), "bare-metal"),
        (test(None, "dry", 15, method="spray-booth", stage="verify"), "whole-vehicle-test"),
    ],
    ids=["dry-out", "connectors", "bare-metal", "whole-vehicle-test"],
)
def test_an_open_point_is_done_once_it_is_said(entry: Entry, id: str) -> None:
    """The entry that says so is named."""
    job = named(sign("rear-floor", "soaked", part="carpet"), LEAK, fix("liftgate-trough", "spot-weld", "weld"), entry)
    items = {a.id: a.done_by for a in advise(shipped(), job).aftercare}
    assert items[id] == ("e4",)


# ---- learning -------------------------------------------------------------------------------------------------

CURED = (WET, LEAK, FOUND, MENDED, retest())


def job(
    id: str, entries: tuple[Entry, ...] = CURED, *, closed: str | None = "2026-03-02T10:00:00+00:00", **intake: object
) -> Job:
    made = "2026-03-01T10:00:00+00:00"
    status = "closed" if closed else "open"
    return Job(id, id, made, status, closed, intake=Intake(**intake), entries=tuple(named(*entries)))  # type: ignore[arg-type]


def index() -> int:
    return next(i for i, s in enumerate(shipped().sources) if s.id == f"{ROW}@left")


def with_prior(prior: tuple[float, ...], *, strength: float) -> LeakMap:
    """A map of so many sources with these priors."""
    known = shipped()
    learning = replace(known.learning, strength=strength)
    return replace(known, prior=np.array(prior), sources=known.sources[: len(prior)], learning=learning)


def share(rates: Rates, vehicle: Vehicle | None = None) -> float:
    prior = learned_prior(shipped(), rates, vehicle)
    return float(prior[index()] / shipped().prior.sum())


def test_base_rates_are_the_dirichlet_mean() -> None:
    """Dirichlet(a) plus counts x has mean (a_i + x_i) / (n + sum a) (SOURCES section 6, Berkeley STAT 238)."""
    rates = learn(shipped(), [job(f"j{n}", vin=None) for n in range(7)])
    strength = shipped().learning.strength
    before = shipped().prior[index()] / shipped().prior.sum()
    assert share(rates) == pytest.approx((strength * before + 7) / (strength + 7), rel=1e-12)
    assert learned_prior(shipped(), rates).sum() == pytest.approx(shipped().prior.sum(), rel=1e-12)


def test_the_posterior_mean_of_a_published_example() -> None:
    """Gelman et al., 437 of 980 with a uniform prior: Beta(438, 544) has mean .4460285 (SOURCES section 6)."""
    two = with_prior((0.5, 0.5), strength=2.0)
    ids = [s.id for s in two.sources]
    rates = Rates("r", two.hash, 980, counts={ids[0]: 437.0, ids[1]: 543.0})
    assert learned_prior(two, rates)[0] == pytest.approx(0.4460285, abs=5e-8)


def test_a_poll_with_three_answers() -> None:
    """BDA poll 727/583/137, flat prior: .5020690 .4027586 .0951724 (SOURCES section 6; counts from memory)."""
    three = with_prior((0.25, 0.25, 0.25), strength=3.0)
    ids = [s.id for s in three.sources]
    rates = Rates("r", three.hash, 1447, counts=dict(zip(ids, (727.0, 583.0, 137.0), strict=True)))
    mean = learned_prior(three, rates) / 0.75
    assert mean == pytest.approx([0.5020690, 0.4027586, 0.0951724], abs=5e-8)


def test_one_odd_job_cannot_swing_it() -> None:
    """After one cured job no source moves by more than two points of share, and the others hardly at all."""
    rates = learn(shipped(), [job("odd")])
    before = shipped().prior / shipped().prior.sum()
    after = learned_prior(shipped(), rates) / shipped().prior.sum()
    assert 0 < after[index()] - before[index()] < 0.02
    others = np.delete(np.abs(after - before) / before, index())
    assert others.max() < 0.02


def test_only_cured_jobs_teach() -> None:
    """Open jobs, jobs without a retest and jobs that leak again teach nothing."""
    jobs = [job("open", closed=None), job("untested", CURED[:-1]), job("again", (*CURED, retest(state="leak")))]
    assert learn(shipped(), jobs).jobs == ()
    assert learn(shipped(), [*jobs, job("cured")]).jobs == ("cured",)


def test_a_comeback_withdraws_what_the_earlier_job_taught() -> None:
    """The same vehicle back within the set time; a later visit, or another vehicle, changes nothing."""
    first = job("first", vin="V1")
    back = replace(job("back", (WET,), closed=None, vin="V1"), created_at="2026-04-01T09:00:00+00:00")
    late = replace(back, id="late", created_at="2026-12-01T09:00:00+00:00")
    other = replace(back, id="other", intake=Intake(vin="V2"))
    assert learn(shipped(), [first, late, other]).jobs == ("first",)
    withdrawn = learn(shipped(), [first, back])
    assert (withdrawn.jobs, withdrawn.withdrawn) == ((), ("first",))
    assert (withdrawn.taught, withdrawn.taken_back) == (0, 1)


def test_rates_are_a_pure_function_of_map_and_jobs() -> None:
    """The order of jobs does not matter; other jobs, or another map, give another id."""
    jobs = [job("a"), job("b"), job("c")]
    assert learn(shipped(), jobs) == learn(shipped(), jobs[::-1])
    assert learn(shipped(), jobs).id != learn(shipped(), jobs[:2]).id
    assert learn(replace(shipped(), hash="other"), jobs).id != learn(shipped(), jobs).id


def test_what_was_learned_differently_has_another_id() -> None:
    """The same jobs, one of them corrected: the counts differ, and so does the id that suggestions name."""
    other = tuple(replace(e, part="grommet") if e.part else e for e in CURED)
    assert learn(shipped(), [job("a"), job("b")]).id != learn(shipped(), [job("a"), job("b", other)]).id


def test_families_and_vehicles_start_from_what_is_known_of_all() -> None:
    """A family's jobs weigh more for the family, a vehicle's own for the vehicle; both start from the rest."""
    jobs = [job(f"j{n}", family="van", build_month="2025-05", vin="V1" if n == 0 else f"X{n}") for n in range(6)]
    rates = learn(shipped(), jobs)
    everyone = share(rates)
    family = share(rates, Vehicle(family="van", build_month="2025-05"))
    seen = share(rates, Vehicle(family="van", build_month="2025-05", id="V1"))
    assert shipped().prior[index()] / shipped().prior.sum() < everyone < family < seen
    assert share(rates, Vehicle(family="bus")) == pytest.approx(everyone)


def test_advice_names_the_rates_and_shows_the_change() -> None:
    """Each suggestion names its rates; the note says how many jobs and what moved; without rates it is the map."""
    rates = learn(shipped(), [job(f"j{n}") for n in range(9)])
    taught, plain = advise(shipped(), named(WET), rates=rates), advise(shipped(), named(WET))
    assert {s.rates for s in taught.suggestions} == {rates.id}
    assert plain.rates.startswith("map-")
    assert any("9 cured jobs" in n and shipped().rows[ROW].name in n for n in taught.notes)
    assert taught.suggestions[0].probability > plain.suggestions[0].probability
    (change,) = changes(shipped(), rates)
    assert (change.source, change.jobs) == (f"{ROW}@left", 9)
    assert change.after > change.before


def test_jobs_that_were_not_read_yet_are_said() -> None:
    """Where many jobs came at once, the advice says that it does not know them yet, and what reads them."""
    told = advise(shipped(), named(WET), rates=replace(learn(shipped(), [job("j")]), unread=1200))
    assert any("1200 new or changed jobs" in n and "--changes" in n for n in told.notes)


def test_rates_of_another_map_are_not_used() -> None:
    """They are named as such, and belief is as without them."""
    rates = replace(learn(shipped(), [job("j")]), map_hash="another")
    told = advise(shipped(), named(WET), rates=rates)
    assert [s.probability for s in told.suggestions] == [
        s.probability for s in advise(shipped(), named(WET)).suggestions
    ]
    assert any("another leak map" in n for n in told.notes)


# ---- a whole place repaired -----------------------------------------------------------------------------------


def test_a_repair_of_a_whole_place_asks_for_one_retest() -> None:
    """ "The windshield was set anew", no part, no side, never seen to leak: one test, both sides, and a short note."""
    advice = advise(shipped(), named(sign("overhead-console", "drip"), fix("windshield", None, "replace")))
    again = [s for s in advice.plan if s.stage == "verify"]
    assert [(s.place, s.side) for s in again] == [("windshield", None)]
    assert again[0].minutes >= 3 * shipped().zones["windshield"].minutes
    (note,) = [n for n in advice.notes if n.startswith("Repaired")]
    assert note.count(";") <= 3
    assert " more)" in note


def test_a_repair_on_both_sides_that_leaked_is_tested_side_by_side() -> None:
    """Where a test had leaked, each side keeps a retest of its own: it proves the cure."""
    leaks = [test("liftgate-trough", "leak", 2, side=side) for side in ("left", "right")]
    fixes = [fix("liftgate-trough", "seam-sealer", side=side) for side in ("left", "right")]
    again = [s for s in advise(shipped(), named(WET, *leaks, *fixes)).plan if s.stage == "verify"]
    assert {(s.place, s.side) for s in again} == {("liftgate-trough", "left"), ("liftgate-trough", "right")}
