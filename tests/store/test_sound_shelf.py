from __future__ import annotations

from pathlib import Path

import pytest

from fieldnote.errors import NotFound, UserMistake
from fieldnote.records import Clip, Utterance
from fieldnote.store import Store
from fieldnote.store.sound_shelf import SoundShelf

# SHA-256 of "abc": FIPS 180-4, example of the Secure Hash Standard (NIST's published example values).
_ABC = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


def test_sound_is_kept_as_given_under_its_hash(tmp_path: Path) -> None:
    """The bytes are the same, and the name is their SHA-256."""
    (tmp_path / "memo.WAV").write_bytes(b"abc")
    kept = SoundShelf(tmp_path / "home").keep(tmp_path / "memo.WAV")
    assert kept.sha256 == _ABC
    assert kept.path == f"sound/ba/{_ABC}.wav"
    assert (tmp_path / "home" / kept.path).read_bytes() == b"abc"
    assert kept.new


def test_the_same_sound_is_kept_once_whatever_it_is_called(tmp_path: Path) -> None:
    """A second file with the same bytes adds nothing."""
    shelf = SoundShelf(tmp_path / "home")
    for name in ("one.wav", "two.flac"):
        (tmp_path / name).write_bytes(b"abc")
        kept = shelf.keep(tmp_path / name)
    assert not kept.new
    assert len([path for path in shelf.folder.rglob("*") if path.is_file()]) == 1


@pytest.mark.parametrize("suffix", [".wav; rm -rf", ".å", ".averylongsuffix", ""], ids=repr)
def test_only_a_plain_suffix_is_taken_over(tmp_path: Path, suffix: str) -> None:
    """What a file is called cannot choose a name on the shelf."""
    source = tmp_path / f"memo{suffix}"
    source.write_bytes(b"abc")
    assert SoundShelf(tmp_path / "home").keep(source).path == f"sound/ba/{_ABC}"


def test_a_broken_copy_is_mended(tmp_path: Path) -> None:
    """A file of another size under the sound's name is replaced by the sound."""
    (tmp_path / "memo.wav").write_bytes(b"abc")
    shelf = SoundShelf(tmp_path / "home")
    path = tmp_path / "home" / shelf.keep(tmp_path / "memo.wav").path
    path.write_bytes(b"a")
    assert shelf.keep(tmp_path / "memo.wav").new
    assert path.read_bytes() == b"abc"


def test_what_cannot_be_copied_is_said(tmp_path: Path) -> None:
    """A missing file and a folder are the user's to mend."""
    shelf = SoundShelf(tmp_path / "home")
    with pytest.raises(NotFound):
        shelf.keep(tmp_path / "nothing.wav")
    with pytest.raises(UserMistake, match="folder"):
        shelf.keep(tmp_path)


def test_the_newest_finished_hearing_gives_the_words(store: Store, tmp_path: Path) -> None:
    """A clip heard again by another engine speaks with its new words; the old hearing is kept beside."""
    (tmp_path / "memo.wav").write_bytes(b"abc")
    job = store.open_job("van 3")
    kept = store.sounds.keep(tmp_path / "memo.wav")
    clip = store.add_clip(job.id, kept, Clip("", kept.sha256, "memo.wav", kept.path, 3.0, 16000, 1))
    for engine, text in (("first", "the ceiling leaks"), ("second", "the sealer leaks")):
        hearing, heard_to_s = store.begin_hearing(job.id, clip, engine)
        assert heard_to_s == 0.0
        store.add_heard(hearing, Utterance(f"u-{engine}", text, clip.id, 0.0, 2.0), 2.0)
        assert store.utterances(job.id)[0].text == "the ceiling leaks"  # not finished: the words of before stand
        store.end_hearing(hearing)
    assert [said.text for said in store.utterances(job.id)] == ["the sealer leaks"]
    assert store.db.table("utterance").count == 2


def test_a_hearing_goes_on_where_it_stopped(store: Store, tmp_path: Path) -> None:
    """A hearing that was not finished is taken up again with what it had."""
    (tmp_path / "memo.wav").write_bytes(b"abc")
    job = store.open_job("van 3")
    kept = store.sounds.keep(tmp_path / "memo.wav")
    clip = store.add_clip(job.id, kept, Clip("", kept.sha256, "memo.wav", kept.path, 3.0, 16000, 1))
    hearing, _ = store.begin_hearing(job.id, clip, "fake")
    store.add_heard(hearing, Utterance("u1", "one", clip.id, 0.0, 1.0), 1.0)
    store.add_heard(hearing, Utterance("u2", "", clip.id, 1.5, 2.0), 2.0)
    assert store.unheard_clips(job.id) == (clip,)
    assert store.begin_hearing(job.id, clip, "fake") == (hearing, 2.0)
    store.end_hearing(hearing)
    assert store.unheard_clips(job.id) == ()
    assert [said.text for said in store.utterances(job.id)] == ["one"]


def test_words_keep_their_order_when_the_clock_is_set_back(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    """What was said later stays later, though the clock says otherwise."""
    job = store.open_job("van 3")
    for moment, line in (("2026-01-05T10:00:00.000000Z", "first"), ("2026-01-05T08:00:00.000000Z", "second")):
        monkeypatch.setattr("fieldnote.store.word_rows.now", lambda moment=moment: moment)
        store.add_text(job.id, [line])
    assert [said.text for said in store.utterances(job.id)] == ["first", "second"]
