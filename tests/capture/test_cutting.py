"""Cutting sound into utterances: by scripted probabilities for the rules, by real speech for what they are for."""

from __future__ import annotations

import dataclasses
import itertools
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fieldnote.capture import RATE_HZ, Cutter, Piece, Sound, cut, read_sound
from fieldnote.capture.cutting import quietest
from fieldnote.capture.voice_activity import WINDOW_SAMPLES
from fieldnote.errors import UserMistake
from fieldnote.settings import CaptureSettings

CLIPS = Path(__file__).parents[1] / "data" / "human_clips"
SENTENCES = [f"sentence-{i}" for i in range(1, 6)]
WINDOW_S = WINDOW_SAMPLES / RATE_HZ
OPTIONS = CaptureSettings(
    end_silence_s=0.5,
    short_word_s=0.6,
    short_end_silence_s=0.9,
    longest_piece_s=28.0,
    speech_prob=0.5,
    pad_s=0.2,
    shortest_speech_s=0.1,
)


class Scripted:
    """A detector that says what the test wrote down, then 0."""

    def __init__(self, *runs: tuple[int, float]) -> None:
        self._probs = [prob for count, prob in runs for _ in range(count)]
        self._at = 0

    def feed(self, windows: np.ndarray) -> np.ndarray:
        n = len(windows) // WINDOW_SAMPLES
        got = [self._probs[i] if i < len(self._probs) else 0.0 for i in range(self._at, self._at + n)]
        self._at += n
        return np.array(got, np.float32)


def sound_of(samples: np.ndarray) -> Sound:
    return Sound(samples.astype(np.float32), "0" * 64, "test", RATE_HZ, 1, "test")


def windows(count: int) -> Sound:
    return sound_of(np.random.default_rng(0).normal(0, 0.1, count * WINDOW_SAMPLES))


def spans(pieces: tuple[Piece, ...]) -> list[tuple[float, float]]:
    return [(p.from_s, p.to_s) for p in pieces]


def test_a_pause_of_half_a_second_ends_an_utterance() -> None:
    """16 windows of silence (0.51 s) part two utterances, 15 (0.48 s) do not."""
    for silent, expected in ((15, 1), (16, 2)):
        detector = Scripted((10, 0.0), (20, 0.9), (silent, 0.0), (20, 0.9), (30, 0.0))
        assert len(cut(windows(120), OPTIONS, detector=detector)) == expected


def test_after_a_short_word_the_pause_may_be_longer() -> None:
    """Letters of 0.4 s with 0.8 s between stay one string (28 windows: 0.896 s); after 0.93 s they part."""
    for silent, expected in ((28, 1), (29, 2)):
        detector = Scripted((5, 0.0), (12, 0.9), (silent, 0.0), (12, 0.9), (40, 0.0))
        assert len(cut(windows(120), OPTIONS, detector=detector)) == expected


def test_a_sentence_that_ends_in_full_flow_is_not_held_back() -> None:
    """One long stretch of speech ends after the usual half second, whatever came before it."""
    detector = Scripted((12, 0.9), (10, 0.0), (40, 0.9), (60, 0.0))
    cutter = Cutter(OPTIONS, detector)
    pieces, count = [], 0
    while not pieces:
        pieces = cutter.push(np.zeros(WINDOW_SAMPLES, np.float32))
        count += 1
    assert count == 12 + 10 + 40 + 16


def test_padding_is_kept_on_both_sides() -> None:
    """0.2 s before the first and after the last window of speech belong to the piece."""
    pieces = cut(windows(100), OPTIONS, detector=Scripted((20, 0.0), (20, 0.9)))
    (begin, end) = spans(pieces)[0]
    assert begin == pytest.approx(20 * WINDOW_S - 0.2, abs=1e-3)
    assert end == pytest.approx(40 * WINDOW_S + 0.2, abs=1e-3)


def test_the_first_sound_of_a_file_is_kept() -> None:
    """Speech from the first sample on begins at 0, not before."""
    assert spans(cut(windows(60), OPTIONS, detector=Scripted((20, 0.9))))[0][0] == 0.0


def test_speech_up_to_the_end_of_the_file_is_kept() -> None:
    """What is still being said when the sound ends comes out, to the last sample."""
    sound = sound_of(np.zeros(50 * WINDOW_SAMPLES + 77))
    pieces = cut(sound, OPTIONS, detector=Scripted((20, 0.0), (31, 0.9)))
    assert pieces[-1].to_s == pytest.approx(sound.duration_s, abs=1e-6)
    assert len(pieces[-1].samples) == round((pieces[-1].to_s - pieces[-1].from_s) * RATE_HZ)


def test_a_click_is_no_utterance() -> None:
    """Three windows (0.096 s) of speech are noise, four are a word."""
    assert cut(windows(80), OPTIONS, detector=Scripted((20, 0.0), (3, 0.9))) == ()
    assert len(cut(windows(80), OPTIONS, detector=Scripted((20, 0.0), (4, 0.9)))) == 1


def test_doubtful_windows_do_not_begin_but_do_go_on() -> None:
    """Just under the threshold speech does not begin, but it does not end either."""
    assert cut(windows(80), OPTIONS, detector=Scripted((60, 0.4))) == ()
    one = cut(windows(120), OPTIONS, detector=Scripted((10, 0.9), (40, 0.4), (10, 0.9)))
    assert len(one) == 1


def test_long_speech_is_cut_at_its_quietest_breath_and_nothing_is_dropped() -> None:
    """70 s without a pause become pieces under 28 s that join without a gap, cut where a breath was put."""
    total = 70 * RATE_HZ
    samples = np.random.default_rng(5).normal(0, 0.1, total)
    for breath_s in (20.0, 44.0):
        at = round(breath_s * RATE_HZ)
        samples[at : at + RATE_HZ // 5] *= 0.01
    pieces = cut(sound_of(samples), OPTIONS, detector=Scripted((total // WINDOW_SAMPLES + 1, 0.9)))
    assert all(p.duration_s <= OPTIONS.longest_piece_s for p in pieces)
    cuts = [p.to_s for p in pieces[:-1]]
    assert cuts[0] == pytest.approx(20.1, abs=0.1)
    assert cuts[1] == pytest.approx(44.1, abs=0.1)
    assert np.array_equal(np.concatenate([p.samples for p in pieces]), samples.astype(np.float32))


def test_the_rest_after_a_forced_cut_is_kept_however_short() -> None:
    """Two windows of speech after a forced cut are the end of a sentence, not a click."""
    short = dataclasses.replace(OPTIONS, longest_piece_s=2.0)
    samples = np.full(200 * WINDOW_SAMPLES, 0.1)
    samples[58 * WINDOW_SAMPLES : 62 * WINDOW_SAMPLES] = 0
    pieces = cut(sound_of(samples), short, detector=Scripted((62, 0.9)))
    assert len(pieces) == 2
    assert pieces[0].to_s == pieces[1].from_s
    assert pieces[1].to_s >= 62 * WINDOW_S


def test_quietest_finds_a_breath_not_a_stop_consonant() -> None:
    """A dip of 50 ms to nothing loses against a pause of 200 ms that is merely quiet."""
    samples = np.random.default_rng(2).normal(0, 0.1, 4 * RATE_HZ).astype(np.float32)
    samples[RATE_HZ : RATE_HZ + RATE_HZ // 20] = 0
    samples[3 * RATE_HZ : 3 * RATE_HZ + RATE_HZ // 5] *= 0.2
    assert quietest(samples, from_sample=0) / RATE_HZ == pytest.approx(3.1, abs=0.1)


def joined(names: list[str], pause_s: float) -> tuple[np.ndarray, list[tuple[float, float]]]:
    """Real sentences with pauses between, and where each stands."""
    rng = np.random.default_rng(8)
    parts, where, at = [], [], 0

    def quiet(seconds: float) -> np.ndarray:
        return rng.normal(0, 0.0005, round(seconds * RATE_HZ)).astype(np.float32)

    for name in names:
        clip = read_sound(CLIPS / f"{name}.flac").samples
        for part in (quiet(pause_s), clip):
            parts.append(part)
            at += len(part)
        where.append(((at - len(clip)) / RATE_HZ, at / RATE_HZ))
    parts.append(quiet(pause_s))
    return np.concatenate(parts), where


def lost(samples: np.ndarray, where: list[tuple[float, float]], pieces: tuple[Piece, ...]) -> float:
    """How much of the sentences' energy lies outside the pieces."""
    outside = np.zeros(len(samples))
    for begin, end in where:
        outside[round(begin * RATE_HZ) : round(end * RATE_HZ)] = samples[round(begin * RATE_HZ) : round(end * RATE_HZ)]
    said = np.square(outside).sum()
    for piece in pieces:
        outside[round(piece.from_s * RATE_HZ) : round(piece.to_s * RATE_HZ)] = 0
    return float(np.square(outside).sum() / said)


@pytest.mark.parametrize("pause_s", [0.9, 3.0])
def test_real_sentences_are_parted_and_nothing_of_them_is_lost(pause_s: float) -> None:
    """Five people's sentences come out as five pieces, with a ten-thousandth of their energy outside at most."""
    samples, where = joined(SENTENCES, pause_s)
    pieces = cut(sound_of(samples), OPTIONS)
    assert len(pieces) == len(where)
    for piece, (begin, end) in zip(pieces, where, strict=True):
        assert begin - 0.5 < piece.from_s < begin + 0.3
        assert end - 0.3 < piece.to_s < end + 0.5
    assert lost(samples, where, pieces) < 1e-4


@pytest.mark.parametrize("gain_db", [-35, -20, 0, 12])
def test_level_does_not_matter(gain_db: int) -> None:
    """A far microphone or an overdriven one finds the same sentences."""
    samples, where = joined(SENTENCES[:3], 1.0)
    loud = np.clip(samples * 10 ** (gain_db / 20), -1, 1)
    assert len(cut(sound_of(loud), OPTIONS)) == len(where)


def test_silence_and_steady_noise_hold_no_speech() -> None:
    """One second of digital silence, and a minute of hiss and hum, give nothing."""
    assert cut(sound_of(np.zeros(RATE_HZ)), OPTIONS) == ()
    rng = np.random.default_rng(4)
    t = np.arange(60 * RATE_HZ) / RATE_HZ
    noise = 0.1 * rng.standard_normal(len(t)) + 0.1 * np.sin(2 * np.pi * 50 * t)
    assert cut(sound_of(noise), OPTIONS) == ()


@pytest.mark.parametrize("length", [0, 1, 511, 512, 513])
def test_sound_shorter_than_the_detector_hears(length: int) -> None:
    """A handful of samples is no speech and no fault."""
    assert cut(sound_of(np.zeros(length)), OPTIONS) == ()


def test_progress_reaches_the_end() -> None:
    """Progress only rises and ends at the length of the sound."""
    told: list[float] = []
    sound = windows(3000)
    cut(sound, OPTIONS, detector=Scripted(), progress=told.append)
    assert told == sorted(told)
    assert told[-1] == pytest.approx(sound.duration_s)


@settings(max_examples=25, deadline=None)
@given(
    runs=st.lists(st.tuples(st.integers(1, 60), st.sampled_from([0.0, 0.2, 0.4, 0.6, 0.95])), min_size=1, max_size=12),
    blocks=st.lists(st.integers(1, 5000), min_size=1, max_size=10),
)
def test_live_and_file_give_the_same(runs: list[tuple[int, float]], blocks: list[int]) -> None:
    """However the blocks come, the pieces are those of the whole; they are in order and never overlap."""
    sound = windows(sum(count for count, _ in runs) + 5)
    whole = cut(sound, OPTIONS, detector=Scripted(*runs))
    cutter, live, at, turn = Cutter(OPTIONS, Scripted(*runs)), [], 0, 0
    while at < len(sound.samples):
        block = sound.samples[at : at + blocks[turn % len(blocks)]]
        live += cutter.push(block)
        at, turn = at + len(block), turn + 1
    live += cutter.finish()
    assert spans(tuple(live)) == spans(whole)
    assert all(np.array_equal(a.samples, b.samples) for a, b in zip(live, whole, strict=True))
    assert all(a.to_s <= b.from_s for a, b in itertools.pairwise(whole))
    for piece in whole:
        begin = round(piece.from_s * RATE_HZ)
        assert np.array_equal(piece.samples, sound.samples[begin : begin + len(piece.samples)])


def test_what_is_being_said_can_be_looked_at() -> None:
    """While somebody speaks, the sound so far is there for captions."""
    cutter = Cutter(OPTIONS, Scripted((5, 0.0), (40, 0.9)))
    cutter.push(windows(30).samples)
    assert cutter.speaking
    assert len(cutter.pending()) == pytest.approx((25 * WINDOW_S + 0.16) * RATE_HZ, abs=WINDOW_SAMPLES)


@pytest.mark.parametrize(
    ("name", "value"), [("longest_piece_s", 60.0), ("speech_prob", 0.0), ("end_silence_s", -1.0), ("pad_s", 9.0)]
)
def test_impossible_settings(name: str, value: float) -> None:
    """A setting that no sound can be cut by is named with the values that can."""
    with pytest.raises(UserMistake, match=name):
        cut(windows(10), dataclasses.replace(OPTIONS, **{name: value}), detector=Scripted())
