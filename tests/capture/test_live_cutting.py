"""Cutting a running stream: the same utterances as from a file, found as soon as they have ended."""

from __future__ import annotations

import itertools
from pathlib import Path

import numpy as np
import pytest

from fieldnote.capture import RATE_HZ, cut, read_sound
from fieldnote.capture.live_cutting import SILENCE_DB, LiveCutter, loudness
from fieldnote.capture.sound import Piece, Sound
from fieldnote.settings import load_settings
from tests.flow.spoken_tones import ToneDetector, number_in, saying

CLIPS = Path(__file__).parents[1] / "data" / "human_clips"
OPTIONS = load_settings(Path("none")).capture


def raw(samples: np.ndarray) -> np.ndarray:
    return (np.clip(samples, -1, 1) * 32767).astype(np.int16)


def live(samples: np.ndarray, block: int, rate_hz: int = RATE_HZ, **options: object) -> list[Piece]:
    cutter = LiveCutter(OPTIONS, rate_hz, **options)  # type: ignore[arg-type]
    pieces = [p for at in range(0, len(samples), block) for p in cutter.push(samples[at : at + block])]
    return pieces + cutter.finish()


def joined_speech() -> np.ndarray:
    """Two sentences of a real speaker, a second of silence between them."""
    found = [read_sound(CLIPS / f"sentence-{n}.flac").samples for n in (1, 2)]
    return raw(np.concatenate([found[0], np.zeros(RATE_HZ, np.float32), found[1], np.zeros(RATE_HZ, np.float32)]))


@pytest.mark.parametrize("block", [160, 1111, 16000])
def test_a_stream_gives_the_utterances_of_a_file(block: int) -> None:
    """The same real speech, in blocks of any size, is cut where a file is cut, sample for sample."""
    samples = joined_speech()
    whole = Sound(samples.astype(np.float32) / 32768, "0" * 64, "test", RATE_HZ, 1, "test")
    expected, found = cut(whole, OPTIONS), live(samples, block)
    assert [(p.from_s, p.to_s) for p in found] == [(p.from_s, p.to_s) for p in expected]
    assert all(np.array_equal(a.samples, b.samples) for a, b in zip(found, expected, strict=True))


@pytest.mark.parametrize("rate_hz", [8000, 44100, 48000])
def test_another_rate_keeps_its_times(rate_hz: int) -> None:
    """A device of another rate gives the same utterances within a window of the detector (32 ms)."""
    import soxr

    samples = saying(1, 2, 3)
    other = raw(soxr.resample(samples.astype(np.float32) / 32768, RATE_HZ, rate_hz))
    reference = live(samples, 320, detector=ToneDetector())
    found = live(other, rate_hz // 50, rate_hz, detector=ToneDetector())
    assert [number_in(p.samples) for p in found] == [1, 2, 3]
    for a, b in zip(found, reference, strict=True):
        assert abs(a.from_s - b.from_s) <= 0.033 and abs(a.to_s - b.to_s) <= 0.033


def test_an_utterance_ends_half_a_second_after_the_last_word() -> None:
    """From the last sample of the tone until it is given: 0.5 s, and at most two windows and a block more."""
    samples, cutter = saying(1, gap_s=1.0), LiveCutter(OPTIONS, RATE_HZ, detector=ToneDetector())
    last = int(np.nonzero(samples)[0][-1])
    for end in itertools.count(320, 320):
        if cutter.push(samples[end - 320 : end]):
            break
    assert 0.5 <= (end - last) / RATE_HZ <= 0.5 + 2 * 0.032 + 0.02


def test_nothing_is_cut_off_at_the_front() -> None:
    """Speech from the very first sample, and after a pause, is whole."""
    for gap_s in (0.0, 0.65):
        samples = np.concatenate([np.zeros(round(gap_s * RATE_HZ), np.int16), saying(1)[round(0.65 * RATE_HZ) :]])
        piece = live(samples, 320, detector=ToneDetector())[0]
        assert piece.from_s <= gap_s


def test_long_speech_is_cut_at_its_breath_and_nothing_is_lost() -> None:
    """35 s without a pause but for a breath of 0.3 s at 20 s are cut within it; the two halves touch."""
    t = np.arange(35 * RATE_HZ) / RATE_HZ
    tone = raw(0.3 * np.sin(2 * np.pi * 500 * t))
    tone[20 * RATE_HZ : round(20.3 * RATE_HZ)] = 0
    first, second = live(tone, 1600, detector=ToneDetector())
    assert 20.0 < first.to_s < 20.3
    assert first.to_s == second.from_s
    assert first.from_s == 0.0 and second.to_s == pytest.approx(35.0, abs=0.001)


def test_what_is_heard_ahead_is_what_ends() -> None:
    """The utterance expected during a pause is the one that is given at its end."""
    samples, cutter = joined_speech(), LiveCutter(OPTIONS, RATE_HZ)
    expected: list[Piece] = []
    matched = 0
    for at in range(0, len(samples), 320):
        for piece in cutter.push(samples[at : at + 320]):
            assert np.array_equal(piece.samples, expected[-1].samples)
            assert (piece.from_s, piece.to_s) == (expected[-1].from_s, expected[-1].to_s)
            matched += 1
        ahead = cutter.expected()
        if ahead is not None:
            expected.append(ahead)
    assert matched == 2


def test_going_on_in_mid_stretch_counts_from_its_start() -> None:
    """A listener that goes on at a sample gives times from the start of the stretch."""
    samples = saying(1, 2)
    start = round(1.6 * RATE_HZ)
    whole, rest = (
        live(samples, 320, detector=ToneDetector()),
        live(samples[start:], 320, start=start, detector=ToneDetector()),
    )
    assert [number_in(p.samples) for p in rest] == [2]
    assert rest[0].from_s == pytest.approx(whole[1].from_s, abs=0.033)


@pytest.mark.parametrize(
    ("samples", "level_db", "clipped"),
    [
        pytest.param(np.zeros(100, np.int16), SILENCE_DB, 0.0, id="digital silence"),
        pytest.param(np.full(100, 32767, np.int16), 0.0, 1.0, id="full scale is 0 dB and clipped"),
        pytest.param(np.full(100, 16384, np.int16), -6.02, 0.0, id="half is 6.02 dB below"),
        pytest.param(np.zeros(0, np.int16), SILENCE_DB, 0.0, id="nothing"),
    ],
)
def test_loudness_is_measured_against_full_scale(samples: np.ndarray, level_db: float, clipped: float) -> None:
    """20 log10 of the root mean square over full scale (IEC 61606, from memory, without the 3 dB of a sine)."""
    found = loudness(samples)
    assert found.level_db == pytest.approx(level_db, abs=0.01)
    assert found.clipped == clipped
