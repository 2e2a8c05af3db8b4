"""The proving set is read strictly, and a run says what was gained, lost and is still wrong."""

import json
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

import pytest

from fieldnote.errors import BadData, PackFault
from fieldnote.records import Entry, Quantity
from fieldnote.vocabulary import Pack, load_pack
from fieldnote.vocabulary.proving import Proof, differences, keep_run, last_run_path, prove, read_last_run
from fieldnote.vocabulary.proving_files import ProvingJob, load_proving
from tests.vocabulary.small_pack import write_pack

JOBS = """\
[[job]]
id = "torn-seal"
say = ["hatch", "seal is torn"]

[[job.entry]]
kind = "check"
place = "hatch"
part = "seal"
state = "torn"

[[job]]
id = "new-seal"
say = ["new seal", "two minutes labor"]
note = "two entries"

[[job.entry]]
kind = "repair"
part = "seal"
state = "replace"
side = "left"
at = ["upper"]
duration = "2 min"
count = "3"

[[job.entry]]
kind = "fact"
what = "labor"
value = 2
unit = "h"

[[job]]
id = "nothing"
say = ["hand me that"]
"""

TORN = Entry("check", place="hatch", part="seal", state="torn")
NEW = Entry(
    "repair",
    part="seal",
    state="replace",
    side="left",
    at=("upper",),
    quantities=(Quantity("duration", 2, "min"), Quantity("count", 3)),
)
LABOR = Entry("fact", what="labor", value=2.0, unit="h")
RIGHT = {"torn-seal": [TORN], "new-seal": [NEW, LABOR], "nothing": []}


@pytest.fixture
def pack(tmp_path: Path) -> Pack:
    return load_pack(written(tmp_path, JOBS))


def written(folder: Path, jobs: str) -> Path:
    path = write_pack(folder / "boats")
    (path / "proving").mkdir(exist_ok=True)
    (path / "proving" / "a.toml").write_text(jobs, encoding="utf-8")
    return path


def says(answers: dict[str, list[Entry]]) -> Callable[[ProvingJob], Sequence[Entry]]:
    return lambda job: answers[job.id]


def run(pack: Pack, home: Path, answers: dict[str, list[Entry]], *, accept: bool = False) -> Proof:
    path = last_run_path(home, pack)
    proof = prove(load_proving(pack), says(answers), read_last_run(path))
    keep_run(path, pack, proof, accept=accept)
    return proof


def test_a_proving_file_gives_the_entries_that_it_writes(pack: Pack) -> None:
    """Amounts are written as they are read."""
    jobs = load_proving(pack)
    assert [(j.id, j.say, j.entries) for j in jobs] == [
        ("torn-seal", ("hatch", "seal is torn"), (TORN,)),
        ("new-seal", ("new seal", "two minutes labor"), (NEW, replace(LABOR, value=2))),
        ("nothing", ("hand me that",), ()),
    ]
    assert [j.line for j in jobs] == [1, 11, 31]


# ---- strict ----------------------------------------------------------------------------------------------------

ONE = '[[job]]\nid = "x"\nsay = ["seal is torn"]\n\n[[job.entry]]\nkind = "check"\n'

FAULTS = [
    ("no-toml", "[[job]\n", 1, "", "valid TOML"),
    ("unknown-table", '[[jobs]]\nid = "x"\n', 1, "jobs", "did you mean 'job'"),
    ("unknown-job-key", '[[job]]\nid = "x"\nsays = ["a"]\nsay = ["a"]\n', 3, "says", "did you mean 'say'"),
    ("no-id", '[[job]]\nsay = ["a"]\n', 1, "id", "a name for the job"),
    (
        "same-id",
        '[[job]]\nid = "x"\nsay = ["a"]\n[[job]]\nid = "x"\nsay = ["b"]\n',
        4,
        "id",
        "first in proving/a.toml:1",
    ),
    ("nothing-said", '[[job]]\nid = "x"\nsay = []\n', 3, "say", "a list of sentences"),
    ("steering", '[[job]]\nid = "x"\nsteering = "middle"\nsay = ["a"]\n', 1, "steering", "left or right"),
    ("kind", ONE.replace('"check"', '"checks"'), 6, "kind", "did you mean 'check'"),
    ("no-kind", ONE.replace('kind = "check"', 'part = "seal"'), 5, "kind", "one of evidence"),
    ("place", ONE + 'place = "hatches"\n', 7, "place", "did you mean 'hatch'"),
    ("state-of-another-kind", ONE + 'state = "replace"\n', 7, "state", "a state of a check"),
    ("side", ONE + 'side = "lefts"\n', 7, "side", "did you mean 'left'"),
    ("position", ONE + 'at = ["uper"]\n', 7, "at", "did you mean 'upper'"),
    ("present", ONE + 'present = "no"\n', 7, "present", "true or false"),
    ("unknown-key", ONE + 'stat = "torn"\n', 7, "stat", "did you mean 'state'"),
    ("amount-without-unit", ONE + 'duration = "3"\n', 7, "duration", "3 min"),
    ("amount-with-another-unit", ONE + 'duration = "3 h"\n', 7, "duration", "min, s"),
    ("amount-as-number", ONE + "count = 3\n", 7, "count", 'a text such as "2"'),
    ("fact", ONE.replace('"check"', '"fact"') + 'what = "labour"\nvalue = 1\n', 7, "what", "did you mean 'labor'"),
    ("fact-without-value", ONE.replace('"check"', '"fact"') + 'what = "labor"\n', 5, "value", "missing"),
    (
        "key-of-no-fact",
        ONE.replace('"check"', '"fact"') + 'what = "labor"\nvalue = 1\nside = "left"\n',
        9,
        "side",
        "fact",
    ),
]


@pytest.mark.parametrize(("text", "line", "key", "message"), [pytest.param(*f[1:], id=f[0]) for f in FAULTS])
def test_a_fault_is_told_with_file_line_key_and_what_would_be_right(
    tmp_path: Path, text: str, line: int, key: str, message: str
) -> None:
    """A person who writes no code must find the line."""
    with pytest.raises(PackFault) as caught:
        load_proving(load_pack(written(tmp_path, text)))
    fault = caught.value.faults[0]
    assert (fault.file, fault.line, fault.key) == ("proving/a.toml", line, key)
    assert message in str(fault)


def test_all_faults_are_told_at_once(tmp_path: Path) -> None:
    """One run of the check is enough to mend a file."""
    with pytest.raises(PackFault) as caught:
        load_proving(load_pack(written(tmp_path, ONE + 'place = "hat"\npart = "sea"\nside = "up"\n')))
    assert [f.key for f in caught.value.faults] == ["place", "part", "side"]


def test_the_overlay_has_its_own_proving_set(tmp_path: Path) -> None:
    """A shop proves what it added, beside what is shipped."""
    source = written(tmp_path, JOBS)
    added = tmp_path / "home" / "vocab" / "boats" / "proving"
    added.mkdir(parents=True)
    (added / "ours.toml").write_text('[[job]]\nid = "ours"\nsay = ["seal is fine"]\n', encoding="utf-8")
    jobs = load_proving(load_pack(source, tmp_path / "home"))
    assert [j.key for j in jobs] == ["a/torn-seal", "a/new-seal", "a/nothing", "ours/ours"]


# ---- comparing --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("changes", "differ"),
    [
        pytest.param({}, (), id="the-same"),
        pytest.param({"quote": "x", "confidence": 0.4, "id": "e1"}, (), id="beside-the-entry"),
        pytest.param({"side": "right"}, ("side",), id="side"),
        pytest.param({"present": False}, ("present",), id="present"),
        pytest.param({"at": ("front", "upper")}, ("at",), id="position"),
        pytest.param({"quantities": NEW.quantities[::-1]}, (), id="order-of-amounts"),
        pytest.param(
            {"quantities": (Quantity("duration", 2.0, "s"), Quantity("count", 3))}, ("quantities",), id="unit"
        ),
        pytest.param({"state": "torn", "part": None}, ("part", "state"), id="two-fields"),
    ],
)
def test_entries_differ_in_what_the_score_counts(changes: dict[str, object], differ: tuple[str, ...]) -> None:
    """Order, quote and confidence do not matter; every field of the contract does."""
    assert differences(NEW, replace(NEW, **changes)) == differ  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("what", "value", "other", "same"),
    [
        ("complaint", "carpet is wet", "the carpet gets wet", True),
        ("complaint", "carpet is wet", "", False),
        ("plate", "AB 123", "ab123", True),
        ("unit-number", "41", 41, True),
        ("odometer", 62305, 62305.0, True),
        ("odometer", 62305, 62306, False),
    ],
)
def test_facts_are_the_same_as_the_score_sees_them(what: str, value: object, other: object, same: bool) -> None:
    """Any text will do for a complaint; codes count by letters and digits; numbers as numbers."""
    one, two = (Entry("fact", what=what, value=v) for v in (value, other))  # type: ignore[arg-type]
    assert (differences(one, two) == ()) is same


def test_the_first_run_lists_what_is_wrong_and_loses_nothing(pack: Pack, tmp_path: Path) -> None:
    """There is nothing to compare with yet."""
    proof = run(pack, tmp_path, {**RIGHT, "torn-seal": []})
    assert (proof.first_run, proof.right, len(proof.verdicts)) == (True, 5, 6)
    assert [v.expected for v in proof.still_wrong] == [TORN]
    assert proof.lost == ()


def test_a_regression_is_lost_until_it_is_mended(pack: Pack, tmp_path: Path) -> None:
    """It does not slip by because somebody ran the proof in between."""
    run(pack, tmp_path, RIGHT)
    broken = {**RIGHT, "torn-seal": [replace(TORN, side="left")]}
    for _ in range(2):
        proof = run(pack, tmp_path, broken)
        assert [(v.expected, v.differs) for v in proof.lost] == [(TORN, ("side",))]
    assert run(pack, tmp_path, RIGHT).lost == ()


def test_what_was_accepted_is_lost_no_longer(pack: Pack, tmp_path: Path) -> None:
    """A change that is meant is said to be."""
    run(pack, tmp_path, RIGHT)
    run(pack, tmp_path, {**RIGHT, "torn-seal": []}, accept=True)
    proof = run(pack, tmp_path, {**RIGHT, "torn-seal": []})
    assert (proof.lost, len(proof.still_wrong)) == ((), 1)
    assert [v.expected for v in run(pack, tmp_path, RIGHT).gained] == [TORN]


def test_an_entry_too_much_is_a_regression_too(pack: Pack, tmp_path: Path) -> None:
    """That nothing more comes out worked before."""
    run(pack, tmp_path, RIGHT)
    proof = run(pack, tmp_path, {**RIGHT, "nothing": [LABOR]})
    assert [(v.job.id, v.expected, v.extra) for v in proof.lost] == [("nothing", None, (LABOR,))]


def test_a_changed_label_is_new_and_not_lost(pack: Pack, tmp_path: Path) -> None:
    """Whoever edits the set starts afresh with that entry."""
    run(pack, tmp_path, RIGHT)
    changed = load_pack(written(tmp_path, JOBS.replace('state = "torn"', 'state = "ok"')))
    proof = run(changed, tmp_path, RIGHT)
    assert [v.expected.state for v in proof.new if v.expected] == ["ok"]
    assert (len(proof.gone), [v.expected for v in proof.lost if v.expected]) == (1, [])


def test_two_equal_entries_are_two_things_to_prove(tmp_path: Path) -> None:
    """One of them missing is seen."""
    text = JOBS.split('[[job]]\nid = "new-seal"')[0]
    again = text + "\n[[job.entry]]\n" + text.split("[[job.entry]]\n")[1]
    pack = load_pack(written(tmp_path, again))
    proof = run(pack, tmp_path, {"torn-seal": [TORN]})
    assert (proof.right, len({v.key for v in proof.verdicts})) == (2, 3)


@pytest.mark.parametrize("content", ["{", "[]", json.dumps({"format": 99})], ids=["torn", "no-run", "other-format"])
def test_a_last_run_that_cannot_be_read_is_told(pack: Pack, tmp_path: Path, content: str) -> None:
    """It is not taken for a first run, which would hide what was lost."""
    path = last_run_path(tmp_path, pack)
    path.parent.mkdir(parents=True)
    path.write_text(content, encoding="utf-8")
    with pytest.raises(BadData, match="prove again"):
        read_last_run(path)
