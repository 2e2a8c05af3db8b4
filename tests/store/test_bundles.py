from __future__ import annotations

import hashlib
import itertools
import json
import stat
import tempfile
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fieldnote.errors import BadData, FieldnoteError, NotFound, UserMistake, WrongHash
from fieldnote.records import Clip, Entry, Job, Utterance
from fieldnote.store import Store
from fieldnote.store.bundles import read_bundle, write_bundle
from fieldnote.store.identity import canonical
from fieldnote.store.portable import write_job
from tests.store.conftest import extract


def add_sound(store: Store, job: Job, content: bytes = b"abc", text: str = "seam leaks", engine: str = "fake") -> Clip:
    """A clip of these bytes, heard by ``engine`` as ``text``."""
    kept = store.sounds.keep_stream(_stream(content), ".wav")
    clip = store.add_clip(job.id, kept, Clip("", kept.sha256, "memo.wav", kept.path, 3.0, 16000, 1))
    hearing, _ = store.begin_hearing(job.id, clip, engine)
    store.add_heard(hearing, Utterance(f"u-{text}", text, clip.id, 0.0, 2.0, engine=engine), 2.0)
    store.end_hearing(hearing)
    return clip


def _stream(content: bytes) -> Any:
    import io

    return io.BytesIO(content)


def state_of(store: Store) -> dict[str, list[str]]:
    """Everything in a store that does not say which store it is or how rows are numbered."""
    tables = (
        "job", "sound", "clip", "hearing", "engine_settings", "utterance", "extraction", "entry", "entry_taken_out",
        "leftover", "edit", "version",
    )  # fmt: skip
    state = {name: sorted(canonical(dict(row)) for row in store.db.query(f"SELECT * FROM {name}")) for name in tables}
    sql = "SELECT job_id, name, vehicle, words, findings, dates FROM search JOIN search_row ON moment = search.rowid"
    state["search"] = sorted(canonical(dict(row)) for row in store.db.query(sql))
    state["files"] = sorted(path.name for path in store.sounds.folder.rglob("*") if path.is_file())
    return state


@pytest.fixture
def other(tmp_path: Path) -> Iterator[Store]:
    """A second machine's store."""
    with Store(tmp_path / "other") as opened:
        yield opened


def send(source: Store, target: Store, *job_ids: str, sound: bool = True) -> Any:
    """Move jobs from one machine to another."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "jobs.zip"
        write_bundle(source, job_ids or [line.id for line in source.jobs()], path, sound=sound)
        return read_bundle(target, path)


def test_a_job_arrives_whole(store: Store, job: Job, other: Store) -> None:
    """Sound, words, entries and changes are the same on the other machine."""
    add_sound(store, job)
    extract(store, job.id)
    store.correct(job.id, job.entries[0].id, "side", "right", "kim")
    store.disregard(job.id, job.entries[1].id, "kim")
    taken = send(store, other)
    assert (taken.jobs[0].new, taken.sounds) == (True, 1)
    assert other.job("bus 7") == store.job("bus 7")
    clip = other.job("bus 7").clips[0]
    assert (other.home / clip.path).read_bytes() == b"abc"
    assert state_of(other) == state_of(store)
    assert [line.name for line in other.search(_words("skip"))] == ["bus 7"]


def _words(text: str) -> Any:
    from fieldnote.store import Query

    return Query(text)


def test_importing_twice_adds_nothing(store: Store, job: Job, other: Store) -> None:
    """The second time nothing changes, and the report says so."""
    add_sound(store, job)
    send(store, other)
    before = state_of(other)
    again = send(store, other)
    assert state_of(other) == before
    assert (again.jobs[0].added, again.sounds) == (0, 0)
    back = send(other, store)
    assert back.jobs[0].added == 0


def test_two_machines_that_changed_the_same_field_give_a_marked_difference(
    store: Store, job: Job, other: Store
) -> None:
    """Both changes are kept and shown on both machines, the same one is in force, and a later correction settles it."""
    send(store, other)
    entry = job.entries[0].id
    store.correct(job.id, entry, "side", "right", "kim")
    other.correct(job.id, entry, "side", "both", "lee")
    assert send(other, store).jobs[0].differences == 1
    send(store, other)
    for machine in (store, other):
        here = machine.job(job.id)
        (difference,) = here.differences
        assert {difference.stands.after, difference.other.after} == {"right", "both"}
        assert here.entries[0].side == difference.stands.after
    assert store.job(job.id).entries == other.job(job.id).entries
    # Settled by saying once more what stands: the same value counts while a difference is open.
    store.correct(job.id, entry, "side", store.job(job.id).entries[0].side, "kim")
    send(store, other)
    assert store.job(job.id).differences == other.job(job.id).differences == ()


def test_different_fields_of_one_entry_both_stand_and_are_marked(store: Store, job: Job, other: Store) -> None:
    """Changes that do not touch each other both hold; that two people changed one entry is shown."""
    send(store, other)
    store.correct(job.id, job.entries[0].id, "side", "right", "kim")
    other.correct(job.id, job.entries[0].id, "item", 3, "lee")
    send(other, store)
    here = store.job(job.id)
    assert (here.entries[0].side, here.entries[0].item) == ("right", 3)
    assert len(here.differences) == 1


def test_what_one_took_out_and_the_other_changed_stays(store: Store, job: Job, other: Store) -> None:
    """A removal never swallows a change that it did not know of."""
    send(store, other)
    store.disregard(job.id, job.entries[0].id, "kim")
    other.correct(job.id, job.entries[0].id, "side", "right", "lee")
    send(store, other)
    send(other, store)
    for machine in (store, other):
        assert machine.job(job.id).entries[0].side == "right"
        assert machine.job(job.id).differences[0].other.action == "remove"
    store.disregard(job.id, job.entries[0].id, "kim")  # knowing both now
    send(store, other)
    for machine in (store, other):
        assert len(machine.job(job.id).entries) == 2
        assert machine.job(job.id).differences == ()


def test_the_same_change_on_both_machines_is_no_difference(store: Store, job: Job, other: Store) -> None:
    """Agreement needs nobody's attention."""
    send(store, other)
    for machine, person in ((store, "kim"), (other, "lee")):
        machine.correct(job.id, job.entries[0].id, "side", "right", person)
    send(other, store)
    assert store.job(job.id).differences == ()
    assert store.job(job.id).entries[0].side == "right"


def test_a_copied_data_folder_is_told_apart_by_what_each_knew(store: Store, job: Job, tmp_path: Path) -> None:
    """Two folders with one machine's id (a copy) still give a difference: it rests on what each change knew."""
    import shutil

    store.close()
    shutil.copytree(store.home, tmp_path / "copy")
    with Store(tmp_path / "copy") as copied:
        assert copied.machine == store.machine
        store.correct(job.id, job.entries[0].id, "side", "right", "kim")
        copied.correct(job.id, job.entries[0].id, "side", "both", "kim")
        assert send(copied, store).jobs[0].differences == 1


def test_words_from_two_machines_come_together_and_ask_for_new_entries(store: Store, job: Job, other: Store) -> None:
    """Both machines' words are there; the entries are known to be older than them until they are made anew."""
    send(store, other)
    store.add_text(job.id, ["dried it out"])
    other.add_text(job.id, ["sealed it"])
    extract(other, job.id)
    merged = send(other, store).jobs[0]
    assert merged.stale
    assert {said.text for said in store.job(job.id).utterances} >= {"dried it out", "sealed it"}
    assert store.is_stale(job.id)
    extract(store, job.id)
    assert not store.is_stale(job.id)


def test_jobs_of_one_name_stay_two_jobs(store: Store, job: Job, other: Store) -> None:
    """Two shops may call a job the same: both are kept, and the name alone is then refused."""
    other.open_job("bus 7")
    send(store, other)
    assert len(other.jobs()) == 2
    with pytest.raises(UserMistake, match="several jobs fit"):
        other.job("bus 7")


def test_without_sound_the_words_still_arrive(store: Store, job: Job, other: Store) -> None:
    """A bundle without sound is smaller; the sound arrives with a later one."""
    add_sound(store, job)
    send(store, other, sound=False)
    assert other.job(job.id).clips[0].sha256 == store.job(job.id).clips[0].sha256
    assert state_of(other)["files"] == []
    send(store, other)
    assert state_of(other) == state_of(store)


# ---- any order ------------------------------------------------------------------------------------------------


_ACTIONS = ("side", "item", "remove", "add", "undo", "text", "sound", "close", "rename", "hear", "extract")
_CHANGES = st.lists(
    st.tuples(
        st.integers(0, 2),  # which machine
        st.sampled_from(
            ["side", "item", "remove", "add", "undo", "text", "sound", "close", "rename", "hear", "extract"]
        ),
        st.integers(0, 3),  # which entry, value, words
        st.booleans(),  # whether it then sends what it has to the next machine
    ),
    min_size=2,
    max_size=9,
)


def _do(machine: Store, job_id: str, action: str, number: int) -> None:
    """One thing that a person does; what cannot be done just now is left."""
    job = machine.job(job_id)
    entry = job.entries[number % len(job.entries)].id if job.entries else "none"
    person = f"person {number}"
    try:
        if action == "side":
            machine.correct(job_id, entry, "side", ("left", "right", "both", "center")[number], person)
        elif action == "item":
            machine.correct(job_id, entry, "item", number, person)
        elif action == "remove":
            machine.disregard(job_id, entry, person)
        elif action == "add":
            machine.add_entry(job_id, Entry("check", "hood", state="ok", item=number), person)
        elif action == "undo":
            machine.undo(job_id, person)
        elif action == "text":
            machine.add_text(job_id, [f"line {number}"], once=number % 2 == 0)
        elif action == "sound":
            add_sound(machine, job, f"sound {number}".encode(), f"words {number}")
        elif action == "hear":
            add_sound(machine, job, b"sound 0", f"other words {number}", engine=f"engine {number}")
        elif action == "close":
            machine.amend_job(job_id, "status", ("open", "closed")[number % 2], person)
        elif action == "rename":
            machine.amend_job(job_id, "name", f"bus {number}", person)
        elif action == "extract":
            extract(machine, job_id, without=("", "skip", "dry", "")[number])
    except FieldnoteError:
        return


@pytest.mark.slow
@settings(max_examples=5, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(_CHANGES)
def test_any_order_of_imports_gives_the_same_store(changes: list[tuple[int, str, int, bool]]) -> None:
    """Three machines change a job at will and now and then send it on; whoever then takes in all three bundles, in any
    order, holds the same store, and taking them in once more changes nothing."""
    _meet_in_any_order(changes)


@pytest.mark.soak
@settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(_CHANGES)
def test_any_order_of_imports_gives_the_same_store_at_length(changes: list[tuple[int, str, int, bool]]) -> None:
    """The same with many more histories."""
    _meet_in_any_order(changes)


def _meet_in_any_order(changes: list[tuple[int, str, int, bool]]) -> None:
    with tempfile.TemporaryDirectory() as folder:
        home = Path(folder)
        machines = [Store(home / f"machine-{number}") for number in range(3)]
        first = machines[0].open_job("bus 7")
        machines[0].add_text(first.id, ["one", "two", "three"])
        extract(machines[0], first.id)
        for target in machines[1:]:
            send(machines[0], target)
        for index, action, number, sends in changes:
            _do(machines[index], first.id, action, number)
            if sends:
                send(machines[index], machines[(index + 1) % 3])
        paths = [home / f"{index}.zip" for index in range(3)]
        for machine, path in zip(machines, paths, strict=True):
            write_bundle(machine, [first.id], path)
        states = []
        for order in itertools.permutations(paths):
            with tempfile.TemporaryDirectory() as empty, Store(Path(empty)) as collector:
                for path in order:
                    read_bundle(collector, path)
                states.append(state_of(collector))
                read_bundle(collector, order[0])
                assert state_of(collector) == states[-1]
        assert all(state == states[0] for state in states)
        for machine in machines:
            machine.close()


# ---- what is refused ------------------------------------------------------------------------------------------


@pytest.fixture
def bundle(store: Store, job: Job, tmp_path: Path) -> Path:
    """A good bundle with one sound."""
    add_sound(store, job)
    write_bundle(store, [job.id], tmp_path / "jobs.zip")
    return tmp_path / "jobs.zip"


def _rewrite(path: Path, change: Callable[[dict[str, bytes], dict[str, Any]], None]) -> None:
    """Unpack a bundle, change its members and its contents, and pack it again with the hashes right."""
    with zipfile.ZipFile(path) as old:
        members = {name: old.read(name) for name in old.namelist()}
    contents = json.loads(members.pop("bundle.json"))
    change(members, contents)
    contents["files"] = {
        name: contents["files"].get(name) if name.startswith("sound/") else hashlib.sha256(data).hexdigest()
        for name, data in members.items()
    }
    with zipfile.ZipFile(path, "w") as new:
        for name, data in {**members, "bundle.json": json.dumps(contents).encode()}.items():
            new.writestr(name, data)


def _change_job(edit: Callable[[dict[str, Any]], None]) -> Callable[[dict[str, bytes], dict[str, Any]], None]:
    def change(members: dict[str, bytes], contents: dict[str, Any]) -> None:
        name = next(name for name in members if name.startswith("jobs/"))
        job = json.loads(members[name])
        edit(job)
        members[name] = json.dumps(job).encode()

    return change


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (lambda members, contents: members.update({"../evil.json": b"x"}), "no bundle holds"),
        (lambda members, contents: members.update({"jobs/../../evil.json": b"x"}), "no bundle holds"),
        (lambda members, contents: members.update({"/etc/evil": b"x"}), "no bundle holds"),
        (lambda members, contents: members.update({"sound\\evil.wav": b"x"}), "no bundle holds"),
        (lambda members, contents: members.update({"notes.txt": b"x"}), "no bundle holds"),
        (lambda members, contents: contents.update(version=2), "newer version"),
        (lambda members, contents: contents.update(format="holiday pictures"), "no bundle of jobs"),
        (_change_job(lambda job: job["clip"][0].update(job_id="jother0000000")), "another job"),
        (_change_job(lambda job: job["clip"][0].update(rate_hz="fast")), "rate_hz"),
        (_change_job(lambda job: job["edit"].append({"id": "x"})), "other fields"),
        (_change_job(lambda job: job.update(more=[])), "not a job"),
        (_change_job(lambda job: job["said"].append({"kind": "check", "colour": "blue"})), "cannot be read"),
        (_change_job(lambda job: job["job"].update(opened="[]")), "cannot be read"),
        (_change_job(lambda job: job["job"].update(id="j000000000000")), "another job"),
    ],
    ids=[
        "out of the folder", "out of a folder inside", "absolute", "backslash", "a stray file", "a newer form",
        "something else", "a row of another job", "a wrong type", "missing fields", "unknown fields",
        "an unknown entry",        "no opening", "another id",
    ],
)  # fmt: skip
def test_a_bundle_that_was_tampered_with_is_refused_whole(
    bundle: Path, other: Store, change: Callable[[dict[str, bytes], dict[str, Any]], None], told: str
) -> None:
    """Nothing outside the data folder is written, and nothing is taken in."""
    _rewrite(bundle, change)
    _refused(bundle, other, told)


def _refused(bundle: Path, other: Store, told: str) -> None:
    before = {path for path in bundle.parent.rglob("*") if "other" not in path.parts}
    with pytest.raises(BadData, match=told) as caught:
        read_bundle(other, bundle)
    assert "\n" not in str(caught.value)
    assert other.jobs() == []
    assert [path for path in other.sounds.folder.rglob("*") if path.is_file()] == []
    assert {path for path in bundle.parent.rglob("*") if "other" not in path.parts} == before


def test_a_link_in_a_bundle_is_refused(bundle: Path, other: Store) -> None:
    """A symbolic link under a good name is no plain file."""
    with zipfile.ZipFile(bundle, "a") as opened:
        link = zipfile.ZipInfo(f"sound/{'0' * 64}.wav")
        link.external_attr = (stat.S_IFLNK | 0o777) << 16
        opened.writestr(link, "/etc/passwd")
    _refused(bundle, other, "a link")


def test_a_bomb_is_refused_before_it_is_unpacked(bundle: Path, other: Store) -> None:
    """A member that would unpack to far more than it holds is not read at all."""
    with zipfile.ZipFile(bundle, "a", zipfile.ZIP_DEFLATED) as opened:
        opened.writestr("jobs/j000000000000.json", b" " * 50_000_000)
    _refused(bundle, other, "would unpack to 50000000 bytes")


def test_a_packed_sound_is_refused(bundle: Path, other: Store) -> None:
    """Sound is never packed, so a packed one can only be a bomb."""
    with zipfile.ZipFile(bundle, "a", zipfile.ZIP_DEFLATED) as opened:
        opened.writestr(f"sound/{'0' * 64}.wav", b" " * 1_000_000)
    _refused(bundle, other, "sound never is")


def test_members_that_overlap_are_refused(bundle: Path, other: Store) -> None:
    """Two entries of the directory that point at the same bytes (a bomb of another kind) are refused."""
    whole = bundle.read_bytes()
    start = whole.index(b"PK\x01\x02")
    with zipfile.ZipFile(bundle) as opened:
        sound = next(info for info in opened.infolist() if info.filename.startswith("sound/"))
    record = whole.index(sound.filename.encode(), start) - 46
    length = 46 + len(sound.filename)
    copy = whole[record : record + 46] + f"sound/{'0' * 64}.wav".encode()
    end = whole.index(b"PK\x05\x06")
    tail = bytearray(whole[end:])
    count = int.from_bytes(tail[10:12], "little")
    size = int.from_bytes(tail[12:16], "little")
    for at in (8, 10):
        tail[at : at + 2] = (count + 1).to_bytes(2, "little")
    tail[12:16] = (size + len(copy)).to_bytes(4, "little")
    assert length == len(copy)
    bundle.write_bytes(whole[:end] + copy + bytes(tail))
    _refused(bundle, other, r"overlap|does not fit|damaged")


@pytest.mark.parametrize("member", ["sound", "jobs"])
def test_damage_is_found_by_the_hashes(bundle: Path, other: Store, member: str) -> None:
    """A member whose bytes are not those that were packed is refused, though the archive itself is sound."""
    with zipfile.ZipFile(bundle) as old:
        members = {name: old.read(name) for name in old.namelist()}
    with zipfile.ZipFile(bundle, "w") as new:
        for name, data in members.items():
            new.writestr(name, data.replace(b"a", b"b") if name.startswith(member) else data)
    with pytest.raises(WrongHash, match="not what was packed"):
        read_bundle(other, bundle)
    assert other.jobs() == []
    assert [path for path in other.sounds.folder.rglob("*") if path.is_file()] == []


@pytest.mark.parametrize("keep", [0.0, 0.3, 0.7, 0.99], ids=lambda share: f"{share:.0%}")
def test_a_bundle_cut_short_is_refused(bundle: Path, other: Store, keep: float) -> None:
    """A download that broke off is no bundle."""
    whole = bundle.read_bytes()
    bundle.write_bytes(whole[: int(len(whole) * keep)])
    _refused(bundle, other, "no bundle, or it is damaged")


def test_what_is_no_file_is_said(other: Store, tmp_path: Path) -> None:
    """A missing file and a folder are the user's to mend."""
    with pytest.raises(NotFound):
        read_bundle(other, tmp_path / "nothing.zip")
    with pytest.raises(UserMistake, match="folder"):
        read_bundle(other, tmp_path)


def test_sound_that_rotted_is_not_sent_on(store: Store, job: Job, tmp_path: Path) -> None:
    """A sound that is no longer what its hash says is not packed; no half bundle is left."""
    clip = add_sound(store, job)
    (store.home / clip.path).write_bytes(b"abd")
    with pytest.raises(WrongHash, match="not what it was"):
        write_bundle(store, [job.id], tmp_path / "jobs.zip")
    assert list(tmp_path.glob("*.zip*")) == []
    assert list(tmp_path.glob(".jobs*")) == []


def test_a_job_written_and_read_is_the_same(store: Store, job: Job) -> None:
    """Writing a job twice gives the same JSON."""
    with store.reading() as db:
        assert write_job(db, job.id) == json.loads(json.dumps(write_job(db, job.id)))
