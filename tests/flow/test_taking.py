from __future__ import annotations

import dataclasses
import signal
import subprocess
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import pytest

from fieldnote.capture import RATE_HZ
from fieldnote.errors import NotFound, StoreFault, UnreadableSound, UserMistake
from fieldnote.extract import Extractor
from fieldnote.flow import re_extract, read_text, take
from fieldnote.flow.understanding import understand
from fieldnote.records import Job
from fieldnote.settings import load_settings
from fieldnote.store import Store
from fieldnote.testing import FakeRecogniser
from fieldnote.vocabulary import load_pack
from tests.flow import doubles
from tests.flow.doubles import Copier, SmallPack, Speaker, write_sound

CLIPS = Path(__file__).parents[1] / "data" / "human_clips"


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store(tmp_path / "home") as opened:
        yield opened


@pytest.fixture
def job(store: Store) -> Job:
    return store.open_job("van 3")


@pytest.fixture
def even(monkeypatch: pytest.MonkeyPatch) -> None:
    """Cut into pieces of a second, whatever is in them."""
    monkeypatch.setattr("fieldnote.flow.taking.cut", doubles.cut_evenly)


@pytest.fixture
def sounds(tmp_path: Path) -> list[Path]:
    """Two recordings of three seconds and one of two."""
    return [write_sound(tmp_path / f"memo-{n}.wav", seconds, seed=n) for n, seconds in ((1, 3), (2, 2), (3, 3))]


def _kept(store: Store) -> tuple[object, ...]:
    """Everything that a job says, in order."""
    job = store.job("van 3")
    return job.clips, job.utterances, job.entries


def _without_order(store: Store) -> tuple[object, ...]:
    """The same, with the ids that hang on the job left out: for comparing stores."""
    job = store.job("van 3")
    return (
        [(clip.sha256, clip.source, clip.duration_s) for clip in job.clips],
        [(said.text, said.from_s, said.to_s, said.engine) for said in job.utterances],
        [entry.quote for entry in job.entries],
    )


@pytest.mark.usefixtures("even")
def test_taking_keeps_sound_words_and_entries(store: Store, job: Job, sounds: list[Path]) -> None:
    """Every recording is copied, heard piece by piece, and understood; the report says what came of each."""
    shares: list[float] = []
    taken = take(store, job, sounds, Speaker(), Copier(), lambda share, doing: shares.append(share))
    assert (taken.added, taken.already) == (3, 0)
    assert [len(file.utterances) for file in taken.files] == [3, 2, 3]
    kept = store.job(job.id)
    assert [clip.source for clip in kept.clips] == [str(path) for path in sounds]
    for clip, path in zip(kept.clips, sounds, strict=True):
        assert (store.home / clip.path).read_bytes() == path.read_bytes()
        assert clip.rate_hz == RATE_HZ
    assert taken.entries == kept.entries
    assert len(kept.entries) == 8
    assert shares == sorted(shares)
    assert shares[-1] == 1.0
    for entry in kept.entries:
        said = next(said for said in kept.utterances if said.id == entry.origins[0].utterance_id)
        assert said.text[entry.origins[0].start : entry.origins[0].end] == entry.quote


@pytest.mark.usefixtures("even")
def test_taking_the_same_again_adds_nothing(store: Store, job: Job, sounds: list[Path], tmp_path: Path) -> None:
    """The same bytes under any name add nothing: nothing is heard, nothing understood anew."""
    take(store, job, sounds, Speaker(), Copier())
    before = _kept(store)
    renamed = tmp_path / "other name.wav"
    renamed.write_bytes(sounds[0].read_bytes())
    engine, extractor = Speaker(), Copier()
    again = take(store, job, [*sounds, renamed], engine, extractor)
    assert (again.added, again.already) == (0, 4)
    assert (engine.heard, extractor.runs) == (0, 0)
    assert _kept(store) == before
    assert [len(file.utterances) for file in again.files] == [3, 2, 3, 3]


@pytest.mark.usefixtures("even")
@pytest.mark.parametrize("stop_at", range(8))
def test_a_take_that_was_stopped_goes_on(
    store: Store, job: Job, sounds: list[Path], stop_at: int, tmp_path: Path
) -> None:
    """Stopped before any utterance, it keeps those before, hears none twice, and ends where an unbroken one does."""
    with pytest.raises(KeyboardInterrupt):
        take(store, job, sounds, Speaker(stop_at), Copier())
    assert len(store.job(job.id).utterances) == stop_at
    assert len(store.job(job.id).clips) == 3  # the sound is safe before anything is heard
    for path in sounds:
        path.unlink()  # a card that was pulled meanwhile: the copies are enough
    engine = Speaker()
    copies = [store.home / clip.path for clip in store.job(job.id).clips]
    take(store, job, copies, engine, Copier())
    assert engine.heard == 8 - stop_at
    with Store(tmp_path / "unbroken") as other:
        other.open_job("van 3")
        again = [
            write_sound(path, seconds, seed=n)
            for n, (path, seconds) in enumerate(zip(sounds, (3, 2, 3), strict=True), 1)
        ]
        take(other, "van 3", again, Speaker(), Copier())
        assert _without_order(store) == _without_order(other)


@pytest.mark.usefixtures("even")
def test_sound_that_was_let_go_and_is_given_again_is_kept_again(store: Store, job: Job, sounds: list[Path]) -> None:
    """Nothing is heard anew, but the recording is there again."""
    from fieldnote.store.checking import check

    take(store, job, sounds[:1], Speaker(), Copier())
    clip = store.job(job.id).clips[0]
    with store.atomic() as db:
        db.execute("UPDATE sound SET let_go_at = '2026-01-01'")
    store.sounds.drop(clip.path)
    engine = Speaker()
    assert take(store, job, sounds[:1], engine, Copier()).already == 1
    assert engine.heard == 0
    assert (store.home / clip.path).is_file()
    assert (check(store).sounds, check(store).findings) == (1, ())


_KILLED = """
import sys
from pathlib import Path
import fieldnote.flow.taking as taking
from fieldnote.store import Store
from tests.flow import doubles
taking.cut = doubles.cut_evenly
with Store(Path(sys.argv[1])) as store:
    taking.take(store, "van 3", [Path(sys.argv[2])], doubles.Speaker(2, doubles.die), doubles.Copier())
"""


@pytest.mark.usefixtures("even")
def test_a_take_that_was_killed_goes_on(store: Store, job: Job, sounds: list[Path]) -> None:
    """The same when the process is killed outright."""
    done = subprocess.run(
        [sys.executable, "-c", _KILLED, str(store.home), str(sounds[0])], cwd=Path(__file__).parents[2]
    )
    assert done.returncode == -signal.SIGKILL
    assert len(store.job(job.id).utterances) == 2
    engine = Speaker()
    taken = take(store, job, sounds[:1], engine, Copier())
    assert engine.heard == 1
    assert (taken.added, len(taken.entries)) == (1, 3)


@pytest.mark.usefixtures("even")
def test_what_cannot_be_used_is_reported_and_the_rest_is_done(
    store: Store, job: Job, sounds: list[Path], tmp_path: Path
) -> None:
    """A missing file, a folder and a text file named .wav are told by the names given; nothing of them is kept."""
    fake = tmp_path / "fake.wav"
    fake.write_text("this is no sound")
    empty = tmp_path / "empty.wav"
    empty.touch()
    missing = tmp_path / "missing.wav"
    taken = take(store, job, [missing, sounds[0], tmp_path, fake, empty, sounds[1]], Speaker(), Copier())
    errors = [file.error for file in taken.files]
    assert [type(error) for error in errors] == [
        NotFound,
        type(None),
        UserMistake,
        UnreadableSound,
        UnreadableSound,
        type(None),
    ]
    for error, path in ((errors[0], missing), (errors[3], fake), (errors[4], empty)):
        assert error is not None
        assert error.where == str(path)
        assert "\n" not in str(error)
    assert taken.added == 2
    assert len([path for path in store.sounds.folder.rglob("*") if path.is_file()]) == 2


@pytest.mark.usefixtures("even")
def test_a_fault_of_the_store_ends_the_take(
    store: Store, job: Job, sounds: list[Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A full disk is not the recording's fault: it ends the call instead of being told of each file."""

    def full(path: Path) -> None:
        raise StoreFault("the disk is full", where=str(path), do="Free some space.")

    monkeypatch.setattr(store.sounds, "keep", full)
    with pytest.raises(StoreFault, match="disk is full"):
        take(store, job, sounds, Speaker(), Copier())


def test_notes_are_taken_a_line_an_utterance(store: Store, job: Job, tmp_path: Path) -> None:
    """A text file is kept line by line, once, however often it is given."""
    notes = tmp_path / "notes.txt"
    notes.write_text("\ufefftail lamp is dry\r\n\r\n  seam   has a gap \n", encoding="utf-8")
    taken = take(store, job, [notes], Speaker(), Copier())
    assert [said.text for said in store.job(job.id).utterances] == ["tail lamp is dry", "seam has a gap"]
    assert [entry.quote for entry in taken.entries] == ["tail lamp is dry", "seam has a gap"]
    again = take(store, job, [notes], Speaker(), Copier())
    assert (again.added, again.already) == (0, 1)
    assert again.entries == taken.entries


def test_text_that_is_none_is_refused(store: Store, job: Job, tmp_path: Path) -> None:
    """Bytes that are no UTF-8 are reported and nothing is kept."""
    notes = tmp_path / "notes.txt"
    notes.write_bytes(b"\xff\xfe\x00broken")
    taken = take(store, job, [notes], Speaker(), Copier())
    assert "UTF-8" in str(taken.files[0].error)
    assert store.job(job.id).utterances == ()


def test_typed_words_may_repeat(store: Store, job: Job) -> None:
    """The same words typed twice were said twice; with ``once`` the second adds nothing."""
    for _ in range(2):
        read_text(store, job, "retest dry", Copier(), person="kim")
    assert len(store.job(job.id).entries) == 2
    for _ in range(2):
        read_text(store, job, "sealed it", Copier(), once=True)
    assert len(store.job(job.id).entries) == 3
    with pytest.raises(UserMistake, match="nothing in this text"):
        read_text(store, job, "  \n ", Copier())


def test_entries_are_made_anew_only_where_something_changed(store: Store, job: Job) -> None:
    """Another vocabulary or another version of the rules makes entries stale; the same ones do not."""
    read_text(store, job, "seam has a gap", Copier())
    extractor = Copier()
    understand(store, job, extractor, only_if_stale=True)
    assert extractor.runs == 0
    for changed in (Copier(pack=SmallPack(hash="two")), Copier(pack=SmallPack(hash="two"), version="2")):
        understand(store, job, changed, only_if_stale=True)
        assert changed.runs == 1
    re_extract(store, job, extractor)
    assert extractor.runs == 1


@pytest.mark.slow
def test_speech_is_cut_and_silence_gives_no_words(store: Store, job: Job, tmp_path: Path) -> None:
    """A person's recording gives utterances whose times lie in it; a second of silence is kept and says nothing."""
    speech = next(path for path in sorted(CLIPS.iterdir()) if path.name == "sentence-1.flac")
    silence = write_sound(tmp_path / "silence.wav", 1)
    engine = FakeRecogniser(["one", "two", "three", "four", "five"])
    taken = take(store, job, [speech, silence], engine, Copier(), settings=load_settings().capture)
    assert taken.files[0].utterances
    assert taken.files[1].utterances == ()
    clip = store.job(job.id).clips[0]
    for said in taken.files[0].utterances:
        assert said.from_s is not None
        assert said.to_s is not None
        assert 0 <= said.from_s < said.to_s <= clip.duration_s + 0.5
        assert said.clip_id == clip.id
        assert said.settings == {"model": "fake"}


@pytest.mark.usefixtures("even")
def test_a_change_holds_when_the_same_words_are_heard_again(store: Store, job: Job, sounds: list[Path]) -> None:
    """Another hearing that gives the same words keeps the ids, and so the corrections."""
    take(store, job, sounds[:1], Speaker(), Copier())
    entry = store.job(job.id).entries[1]
    store.correct(job.id, entry.id, "side", "left", "kim")
    clip = store.job(job.id).clips[0]
    other = Speaker()
    other.name = "other"  # type: ignore[misc]
    from fieldnote.flow.taking import hear_clip

    hear_clip(store, job.id, clip, other, load_settings().capture, lambda share: None)
    re_extract(store, job, Copier())
    heard = store.job(job.id)
    assert {said.engine for said in heard.utterances} == {"other"}
    assert heard.entries[1] == dataclasses.replace(entry, side="left")
    assert heard.stranded_edits == ()


@pytest.mark.usefixtures("even")
@pytest.mark.parametrize(
    ("said", "kept"),
    [
        pytest.param(
            ["Correction.", "Screw number four."], ["Correction.", "Correction, Screw number four."], id="alone"
        ),
        pytest.param(
            ["Um, I mean", "the right one."], ["Um, I mean", "Correction, the right one."], id="worded otherwise"
        ),
        pytest.param(["Correction.", *[""] * 7, "Screw four."], ["Correction.", "Screw four."], id="too long ago"),
        pytest.param(["Correction, four.", "It leaks."], ["Correction, four.", "It leaks."], id="not alone"),
    ],
)
def test_a_correction_said_by_itself_goes_with_what_follows(
    store: Store, job: Job, tmp_path: Path, said: list[str], kept: list[str]
) -> None:
    """In a recording as in live dictation; by the shipped vocabulary, a second an utterance."""
    memo = write_sound(tmp_path / "memo.wav", len(said), seed=9)
    take(store, job, [memo], FakeRecogniser(said), Extractor(load_pack("body-leaks")))
    assert [u.text for u in store.job(job.id).utterances] == kept


@pytest.mark.usefixtures("even")
def test_a_lone_correction_holds_over_a_stop(store: Store, job: Job, tmp_path: Path) -> None:
    """Stopped between the word and what it belongs to, the same call again joins them."""
    memo, extractor = write_sound(tmp_path / "memo.wav", 2, seed=9), Extractor(load_pack("body-leaks"))

    class Stops(FakeRecogniser):
        def hear(self, samples: Any, hints: Sequence[str] = ()) -> Any:
            if self.heard_s:
                raise KeyboardInterrupt
            return super().hear(samples, hints)

    with pytest.raises(KeyboardInterrupt):
        take(store, job, [memo], Stops(["Correction."]), extractor)
    take(store, job, [memo], FakeRecogniser(["Screw four."]), extractor)
    assert [u.text for u in store.job(job.id).utterances] == ["Correction.", "Correction, Screw four."]
