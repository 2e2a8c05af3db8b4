"""What recurs, over jobs of which every count is known, with published intervals where there are any."""

from __future__ import annotations

import random

import pytest

from fieldnote.patterns import Survey
from fieldnote.patterns.statistics import wilson
from fieldnote.patterns.visits import Clock
from fieldnote.patterns.weeks import week_share
from fieldnote.records import Entry, Job, WeekShare
from tests.bench.plausible_jobs import plausible_jobs
from tests.patterns.jobs import job, leak, leak_map, look, minutes, showed

# ---- where water came in ----------------------------------------------------------------------------------------


def test_a_source_of_three_jobs_in_ten_has_the_published_interval() -> None:
    """3 of 10: .1077913 to .6032219 (R's prop.test, as SciPy's tests give it)."""
    jobs = [job(n, leak("sunroof", "drain-tube", "left" if n else "right")) for n in range(3)]
    jobs += [job(n, leak("windshield", "glass-adhesive")) for n in range(3, 10)]
    first, second = look(jobs).sources
    assert (first.place, first.share.count, first.share.of) == ("windshield", 7, 10)
    assert (second.place, second.part, second.share.count, second.share.of) == ("sunroof", "drain-tube", 3, 10)
    assert (second.share.low, second.share.high) == pytest.approx((0.1077913, 0.6032219), abs=5e-8)
    assert second.share.few and not first.share.few
    assert second.sides == {"left": 2, "right": 1}
    assert second.jobs == ("j000", "j001", "j002")


def test_the_sources_are_those_that_leaked_in_plausible_jobs() -> None:
    """Seeded jobs each tell which source was drawn: the counts are exactly theirs."""
    made = list(plausible_jobs(leak_map(), 200, seed=3))
    drawn: dict[tuple[str, str | None], int] = {}
    for one in made:
        source = next(s for s in leak_map().sources if s.id == one.source)
        drawn[source.place, source.part] = drawn.get((source.place, source.part), 0) + 1
    jobs = [Job(m.id, m.name, m.created_at, "closed", m.closed_at, intake=m.intake, entries=m.entries) for m in made]
    found = look(jobs)
    assert {(row.place, row.part): row.share.count for row in found.sources} == drawn
    assert found.found == 200


def test_only_leaks_of_the_grade_asked_for_count() -> None:
    """A named source is suspected, one that leaked in a test is water, one with a retest is cured."""
    jobs = [
        job(1, [Entry("source", "sunroof", "drain-tube", certainty="unsure")]),
        job(2, leak("sunroof", "drain-tube", mended=False)),
        job(3, leak("sunroof", "drain-tube")),
    ]
    counts = {g: look(jobs, Survey(grade=g)).found for g in ("suspected", "fault", "water", "cured")}  # type: ignore[arg-type]
    assert counts == {"suspected": 3, "fault": 2, "water": 2, "cured": 1}


def test_a_job_with_two_leaks_counts_at_both_and_once_at_each() -> None:
    """The share is of jobs, not of leaks."""
    both = job(1, [*leak("sunroof", "drain-tube", "left"), *leak("sunroof", "drain-tube", "right"), *leak("hood")])
    rows = {row.place: row.share for row in look([both]).sources}
    assert (rows["sunroof"].count, rows["sunroof"].of) == (1, 1)
    assert (rows["hood"].count, rows["hood"].of) == (1, 1)


def test_shrinking_draws_small_counts_towards_the_average_source() -> None:
    """(s m + x) / (s + n) with s = 10 jobs and m the average of the two sources, 1/2 of 4 jobs."""
    jobs = [job(n, leak("sunroof" if n else "hood")) for n in range(4)]
    first, second = look(jobs).sources
    assert (first.shrunk, second.shrunk) == pytest.approx(((5 + 3) / 14, (5 + 1) / 14))


def test_the_order_of_jobs_changes_nothing() -> None:
    """Shuffled jobs give the same patterns."""
    made = [
        Job(m.id, m.name, m.created_at, "closed", m.closed_at, intake=m.intake, entries=m.entries)
        for m in plausible_jobs(leak_map(), 40, seed=5)
    ]
    shuffled = random.Random(1).sample(made, len(made))
    first, second = look(made), look(shuffled)
    assert {f: getattr(first, f) for f in ("sources", "paths", "groups", "repeats", "weeks", "empty_checks")} == {
        f: getattr(second, f) for f in ("sources", "paths", "groups", "repeats", "weeks", "empty_checks")
    }


# ---- where it showed --------------------------------------------------------------------------------------------


def test_paths_pair_where_it_showed_with_where_it_came_in() -> None:
    """Counts by pair; a sign found dry, and one after the repair, are no place where it showed."""
    dry = Entry("evidence", "rear-floor", state="dry")
    jobs = [
        job(1, [showed("front-footwell"), dry, *leak("windshield"), showed("rear-floor")]),
        job(2, [showed("front-footwell", "musty-odor"), showed("a-pillar"), *leak("windshield")]),
        job(3, leak("windshield")),
    ]
    counts = {(path.showed, path.came_in): path.jobs for path in look(jobs).paths}
    assert counts == {
        ("front-footwell", "windshield"): ("j001", "j002"),
        ("a-pillar", "windshield"): ("j002",),
        (None, "windshield"): ("j003",),
    }


# ---- groups of vehicles -----------------------------------------------------------------------------------------


def _families(many: int) -> list[Job]:
    """``many`` of 10 times as many jobs of family A leak at the hood, and none of family B."""
    jobs = [job(n, leak("hood" if n < 6 * many else "cowl"), family="A", year=2020) for n in range(10 * many)]
    return jobs + [job(1000 + n, leak("cowl"), family="B") for n in range(20 * many)]


def test_a_family_that_differs_by_more_than_chance_is_marked() -> None:
    """60 of 100 against 60 of 300 in all: above, and the other place below."""
    rows = {(row.group, row.place): row for row in look(_families(10)).groups if row.by == "family"}
    assert rows["A", "hood"].apart == "above" and rows["A", "cowl"].apart == "below"
    assert (rows["A", "hood"].share.count, rows["A", "hood"].share.of) == (60, 100)
    assert rows["A", "hood"].overall == pytest.approx(60 / 300)
    assert rows["A", "hood"].shrunk == pytest.approx((10 * 0.2 + 60) / 110)


def test_few_jobs_are_never_marked() -> None:
    """3 of 5 against 3 of 15: the same shares, and nothing said."""
    jobs = [job(n, leak("hood" if n < 3 else "cowl"), family="A") for n in range(5)]
    jobs += [job(100 + n, leak("cowl"), family="B") for n in range(10)]
    assert all(row.apart == "" for row in look(jobs).groups if row.place == "hood")


def test_chance_marks_no_group_among_many() -> None:
    """Sixty groups of ten jobs from one and the same source: none stands out."""
    rng = random.Random(7)
    jobs = [job(n, leak("hood" if rng.random() < 0.3 else "cowl"), family=f"F{n % 60}") for n in range(600)]
    assert [row for row in look(jobs).groups if row.apart] == []


def test_jobs_that_record_no_group_are_told() -> None:
    """The model year of 200 of 300 jobs is missing: in words, and in no row."""
    found = look(_families(10))
    assert "model year of 200" in found.denominators["groups"]
    assert {row.group for row in found.groups if row.by == "model_year"} == {"2020"}


# ---- minutes ----------------------------------------------------------------------------------------------------


def test_minutes_to_find_run_from_the_first_recording_to_the_leaking_test() -> None:
    """Ten, twenty and sixty minutes; a job without clock times counts for nothing."""
    jobs = [job(n, leak("hood")) for n in range(4)]
    clocks = {f"j{n:03d}": Clock(100.0, {f"e{n}-0": 100.0 + 60.0 * m}) for n, m in enumerate((10, 20, 60))}
    (row,) = look(jobs, clocks=clocks).times
    assert (row.measure, row.count, row.low, row.median, row.high) == ("clock", 3, 15.0, 20.0, 40.0)
    assert row.few and row.jobs == ("j000", "j001", "j002")


def test_a_search_interrupted_overnight_is_left_out() -> None:
    """More than the set minutes by the clock."""
    clocks = {"j001": Clock(0.0, {"e1-0": 481.0 * 60.0})}
    assert look([job(1, leak("hood"))], clocks=clocks).times == ()


def test_labor_counts_where_one_source_alone_took_it() -> None:
    """Hours and minutes add up; with two sources nobody said how much went to which."""
    labor = [Entry("fact", what="labor", value=1.5, unit="h"), Entry("fact", what="labor", value=15, unit="min")]
    jobs = [job(1, [*leak("hood"), *labor]), job(2, [*leak("hood"), *leak("cowl"), *labor])]
    (row,) = look(jobs).times
    assert (row.measure, row.median, row.jobs) == ("labor", 105.0, ("j001",))


# ---- repeat visits ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("place", "side", "vin", "day", "back"),
    [
        ("tail-lamp", "left", "V1", 60.0, 1),
        ("tail-lamp", None, "V1", 60.0, 1),
        ("tail-lamp", "right", "V1", 60.0, 0),
        ("hood", None, "V1", 60.0, 0),
        ("tail-lamp", "left", "V2", 60.0, 0),
        ("tail-lamp", "left", "V1", 90.9, 1),
        ("tail-lamp", "left", "V1", 91.1, 0),
        ("tail-lamp", "left", "V1", 0.5, 0),
    ],
    ids=[
        "same zone",
        "no side said",
        "other side",
        "other place",
        "other vehicle",
        "in time",
        "too late",
        "not closed",
    ],
)
def test_a_repeat_visit_is_the_same_vehicle_and_zone_in_time(
    place: str, side: str | None, vin: str, day: float, back: int
) -> None:
    """Closed a day after it was opened, so its 90 days are over on day 91."""
    jobs = [
        job(1, leak("tail-lamp", "gasket", "left"), vin="V1"),
        job(2, leak(place, None, side, mended=False), vin=vin, day=day),  # type: ignore[arg-type]
    ]
    row = look(jobs).repeats[0]
    assert (row.place, row.share.count, row.share.of) == (None, back, 1)
    assert row.jobs == ((("j001", "j002"),) if back else ())
    assert (row.share.low, row.share.high) == wilson(back, 1)


def test_visits_whose_days_are_not_over_wait() -> None:
    """A job closed 10 days before now is not counted, even where the vehicle is back already."""
    late = 315.0
    jobs = [job(1, leak("hood"), vin="V1", day=late - 1), job(2, leak("hood"), vin="V1", day=late + 2)]
    found = look(jobs)
    assert found.repeats == ()
    assert "2 are still waiting" in found.denominators["repeats"]


def test_a_visit_counts_once_all_together_and_once_at_each_place() -> None:
    """Two places mended, one of which leaks again."""
    jobs = [
        job(1, [*leak("hood"), *leak("cowl")], vin="V1"),
        job(2, leak("cowl", mended=False), vin="V1", day=20.0),
    ]
    assert {r.place: (r.share.count, r.share.of) for r in look(jobs).repeats} == {
        None: (1, 1),
        "cowl": (1, 1),
        "hood": (0, 1),
    }


def test_none_of_twenty_came_back_has_the_published_interval() -> None:
    """0 of 20: 0 to .1611 (Newcombe 1998); twenty visits are not few, though no return is."""
    row = look([job(n, leak("hood"), vin=f"V{n}") for n in range(20)]).repeats[0]
    assert (row.share.count, row.share.of, row.share.few) == (0, 20, False)
    assert (row.share.low, row.share.high) == pytest.approx((0.0, 0.1611), abs=5e-5)


# ---- weeks ------------------------------------------------------------------------------------------------------


def _week(count: int, of: int, center: float) -> WeekShare:
    return week_share("2026-W01", tuple(str(n) for n in range(count)), of, center)


def test_limits_and_marks_of_the_wafers() -> None:
    """Samples of 50, mean .2313: limits .0524 and .4102 (NIST/SEMATECH e-Handbook, 6.3.3.2)."""
    weeks = {count: _week(count, 50, 0.2313) for count in (1, 2, 3, 20, 21, 22)}
    assert (weeks[20].lower, weeks[20].upper) == pytest.approx((0.0524, 0.4102), abs=5e-5)
    assert {count: bool(week.mark) for count, week in weeks.items()} == {
        1: True, 2: True, 3: False, 20: False, 21: True, 22: True,
    }  # fmt: skip
    assert weeks[1].mark == "below" and weeks[22].mark == "above"


def test_one_job_of_a_rare_source_is_too_few_to_tell() -> None:
    """1 of 4 at a mean of 1 %: beyond the limit (.159), though it happens in 1 of 25 such weeks."""
    assert _week(1, 4, 0.01).mark == "too few"
    assert _week(3, 4, 0.01).mark == "above"


def test_jobs_fall_into_the_weeks_of_iso_8601() -> None:
    """1 January 2027 is in week 53 of 2026, 4 January in week 1 (ISO 8601)."""
    jobs = [job(n, leak("hood"), day=day) for n, day in enumerate((361.0, 364.0))]
    weeks = look(jobs, few=1).weeks[0].weeks
    assert [week.week for week in weeks] == ["2026-W53", "2027-W01"]


def test_a_bad_week_is_marked_and_names_its_jobs() -> None:
    """Twenty weeks of 20 jobs with 2 at the hood each, and one with 12."""
    jobs = []
    for week in range(21):
        hood = 12 if week == 10 else 2
        jobs += [job(100 * week + n, leak("hood" if n < hood else "cowl"), day=7.0 * week) for n in range(20)]
    charts = {chart.place: chart for chart in look(jobs).weeks}
    assert charts["hood"].center == pytest.approx(52 / 420)
    (out,) = [week for week in charts["hood"].weeks if week.mark]
    assert (out.count, out.of, out.mark, len(out.jobs)) == (12, 20, "above", 12)
    assert [week.mark for week in charts["cowl"].weeks].count("below") == 1
    assert charts[None].center == 0.0


# ---- checks that found nothing ----------------------------------------------------------------------------------


def test_minutes_come_from_the_leak_map_and_what_comes_off_counts_once() -> None:
    """Two looks behind the same trim, in one job: the trim once; in another job it comes off again."""
    source = next(s for i, s in enumerate(leak_map().sources) if leak_map().behind[i] and s.part)
    index = leak_map().sources.index(source)
    off = sum(leak_map().openings[i].minutes for i in leak_map().behind[index])
    ok = Entry("check", source.place, source.part, source.side, "ok")
    (row,) = look([job(1, [ok, ok]), job(2, [ok])]).empty_checks
    assert row.minutes == pytest.approx(3 * source.row.look_min + 2 * off)
    assert (row.do, row.share.count, row.share.of, row.jobs) == ("look", 3, 3, ("j001", "j002"))


def test_a_test_takes_the_minutes_said_and_else_those_of_its_zone() -> None:
    """A dry test of seven minutes, one without time, and one that leaked, which found something."""
    zone = next(z for z in leak_map().zones.values() if not z.access)
    said = Entry("test", zone.id, state="dry", method="hose", quantities=minutes("duration", 7.0))
    unsaid = Entry("test", zone.id, state="dry", method="hose")
    leaks = Entry("test", zone.id, state="leak", method="hose")
    (row,) = look([job(1, [said, unsaid, leaks])]).empty_checks
    assert row.minutes == pytest.approx(7.0 + zone.minutes)
    assert (row.do, row.share.count, row.share.of) == ("test", 2, 3)


def test_a_check_that_found_a_fault_and_one_after_the_repair_are_no_waste() -> None:
    """Neither a torn grommet nor the look after the repair."""
    fault = Entry("check", "liftgate-trough", "grommet", state="torn")
    after = Entry("check", "liftgate-trough", "grommet", state="ok")
    assert look([job(1, [fault, *leak("liftgate-trough", "grommet"), after])]).empty_checks == ()


def test_without_a_leak_map_minutes_are_unknown() -> None:
    """Counts stay, minutes are none, and the figure says so."""
    found = look([job(1, [Entry("check", "hood", state="ok")])], with_map=False)
    assert found.empty_checks[0].minutes is None
    assert "no leak map" in found.denominators["empty-checks"]


# ---- which jobs -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("asked", "jobs"),
    [
        (Survey(), 3),
        (Survey(since="2026-02"), 2),
        (Survey(until="2026-02"), 2),
        (Survey(since="2026-02", until="2026-02"), 1),
        (Survey(until="2026-01-05"), 1),
        (Survey(since="2027"), 0),
        (Survey(place="hood"), 2),
        (Survey(place="rear-floor"), 1),
    ],
    ids=["all", "since", "until", "month", "day", "none", "came in", "showed"],
)
def test_dates_and_places_choose_the_jobs(asked: Survey, jobs: int) -> None:
    """Opened in January, February and March; two at the hood, one of which showed at the rear floor."""
    made = [
        job(1, leak("hood")),
        job(2, [showed("rear-floor"), *leak("hood")], day=31.0),
        job(3, leak("cowl"), day=60.0),
    ]
    assert look(made, asked).jobs == jobs


def test_a_role_chooses_the_jobs_in_any_case() -> None:
    """Two apprentices, one of them written with a capital; a repeat visit is still looked up among all jobs."""
    made = [
        job(1, leak("hood"), role="apprentice", vin="V1"),
        job(2, leak("hood"), role="Apprentice", day=3.0),
        job(3, leak("hood"), role="lead", day=20.0, vin="V1"),
        job(4, leak("cowl"), day=5.0),
    ]
    found = look(made, Survey(role="APPRENTICE"))
    assert (found.jobs, found.role, found.sources[0].jobs) == (2, "APPRENTICE", ("j001", "j002"))
    assert found.repeats[0].jobs == (("j001", "j003"),)


def test_no_jobs_give_no_figures() -> None:
    """Nothing to look at is no error."""
    found = look([])
    assert (found.jobs, found.sources, found.weeks, found.repeats) == (0, (), (), ())
