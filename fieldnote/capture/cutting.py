"""Cuts sound into utterances where the speaker pauses. The same machine serves files and a live microphone.

A piece begins with the first window that is speech, and ends when nothing has been speech for ``end_silence_s``, or for
``short_end_silence_s`` where the last stretch of speech was shorter than ``short_word_s``: a string spelled with pauses
must stay together, for a letter alone is seldom recognised. Either way
``pad_s`` is kept on both sides, since the detector wakes late and soft endings fall below it. Pauses between pieces
are left out. Speech longer than ``longest_piece_s`` is cut where it is quietest, and nothing between the two halves
is dropped.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from fieldnote.capture.sound import RATE_HZ, Piece, Samples, Sound
from fieldnote.capture.voice_activity import WINDOW_SAMPLES, Detector, SpeechDetector
from fieldnote.errors import UserMistake
from fieldnote.settings import CaptureSettings

# Once speech has begun, a window may fall this much below the threshold and still be speech (Silero's own margin).
_HYSTERESIS = 0.15
# A breath lasts longer than the closure of a "t" or "p": loudness is compared over 160 ms.
_BREATH_WINDOWS = 5
# The first part of a long piece is never searched for a breath, or pieces would become needlessly short.
_SEARCH_FROM = 0.5
# Silence within a word (before a "t") is shorter than this; what follows a longer one is a new stretch of speech.
_WITHIN_WORD_SAMPLES = 6 * WINDOW_SAMPLES
_BATCH_SAMPLES = 30 * RATE_HZ // WINDOW_SAMPLES * WINDOW_SAMPLES


def cut(
    sound: Sound,
    settings: CaptureSettings,
    *,
    detector: Detector | None = None,
    progress: Callable[[float], None] | None = None,
) -> tuple[Piece, ...]:
    """The utterances in ``sound``, in order; none where nobody speaks.

    ``progress`` is told how many seconds of the sound are done. Pieces never overlap.

    Raises:
        UserMistake: a setting that no sound can be cut by.

    """
    cutter = Cutter(settings, detector)
    pieces: list[Piece] = []
    for start in range(0, len(sound.samples), _BATCH_SAMPLES):
        pieces += cutter.push(sound.samples[start : start + _BATCH_SAMPLES])
        if progress is not None:
            progress(min(sound.duration_s, (start + _BATCH_SAMPLES) / RATE_HZ))
    return tuple(pieces + cutter.finish())


class Cutter:
    """Takes sound as it comes and gives back each utterance once it has ended."""

    def __init__(self, settings: CaptureSettings, detector: Detector | None = None) -> None:
        _check(settings)
        self._detector = detector if detector is not None else SpeechDetector()
        self._threshold = settings.speech_prob
        self._keep_on = max(settings.speech_prob - _HYSTERESIS, 0.01)
        self._pad = round(settings.pad_s * RATE_HZ)
        self._end_silence = round(settings.end_silence_s * RATE_HZ)
        self._short_word = round(settings.short_word_s * RATE_HZ)
        self._short_end_silence = max(self._end_silence, round(settings.short_end_silence_s * RATE_HZ))
        self._shortest_windows = max(1, math.ceil(settings.shortest_speech_s * RATE_HZ / WINDOW_SAMPLES))
        self._longest = max(round(settings.longest_piece_s * RATE_HZ), 2 * _BREATH_WINDOWS * WINDOW_SAMPLES)
        self._kept = np.zeros(0, np.float32)
        self._kept_from = 0  # where in the stream _kept begins
        self._seen = 0  # samples that the detector has judged
        self._free_from = 0  # end of the last piece: the next one may begin here
        self._begin: int | None = None  # start of the piece that is being spoken
        self._voice_end = 0  # end of its last window of speech
        self._stretch_begin = 0  # start of its last stretch of speech
        self._voiced: list[int] = []  # starts of its windows of speech
        self._after_cut = False

    @property
    def speaking(self) -> bool:
        """Whether an utterance has begun and not ended."""
        return self._begin is not None

    def pending(self) -> Samples:
        """What has been said so far of the utterance that has not ended; empty where nobody speaks."""
        if self._begin is None:
            return np.zeros(0, np.float32)
        return self._slice(self._begin, self._seen)

    def expected(self) -> Piece | None:
        """The utterance as it will be if the pause lasts; None while somebody speaks, and where nobody has spoken.

        Its sound is whole as soon as the pause is as long as what is kept after an utterance (``pad_s``).
        """
        enough = 1 if self._after_cut else self._shortest_windows
        if self._begin is None or len(self._voiced) < enough or self._seen - self._voice_end < self._pad:
            return None
        return self._piece(self._begin, self._voice_end + self._pad)

    def push(self, samples: Samples) -> list[Piece]:
        """Add sound (any number of samples); returns the utterances that ended with it."""
        self._kept = np.concatenate([self._kept, samples])
        whole = (self._kept_from + len(self._kept) - self._seen) // WINDOW_SAMPLES * WINDOW_SAMPLES
        if not whole:
            return []
        done = [self._judge(float(p)) for p in self._detector.feed(self._slice(self._seen, self._seen + whole))]
        self._forget()
        return [piece for piece in done if piece is not None]

    def finish(self) -> list[Piece]:
        """The sound has ended: returns what was still being said."""
        total = self._kept_from + len(self._kept)
        rest = total - self._seen
        pieces = self.push(np.zeros(WINDOW_SAMPLES - rest, np.float32)) if rest else []
        if self._begin is not None:
            pieces += self._close(min(self._voice_end + self._pad, total))
        self._begin = None
        return [self._without_tail(piece, total) for piece in pieces]

    def _judge(self, speech_prob: float) -> Piece | None:
        """Move on by one window; returns the utterance that ends with it, if one does."""
        start, self._seen = self._seen, self._seen + WINDOW_SAMPLES
        if self._begin is None:
            if speech_prob >= self._threshold:
                self._begin = max(self._free_from, start - self._pad)
                self._voiced, self._voice_end, self._after_cut = [start], self._seen, False
                self._stretch_begin = start
            return None
        if speech_prob >= self._keep_on:
            if start - self._voice_end >= _WITHIN_WORD_SAMPLES:
                self._stretch_begin = start
            self._voice_end = self._seen
            self._voiced.append(start)
        was_short = self._voice_end - self._stretch_begin < self._short_word
        if self._seen - self._voice_end >= (self._short_end_silence if was_short else self._end_silence):
            ended = self._close(min(self._voice_end + self._pad, self._seen))
            return ended[0] if ended else None
        if self._seen - self._begin >= self._longest - WINDOW_SAMPLES:
            return self._cut_at_breath()
        return None

    def _close(self, end: int) -> list[Piece]:
        begin, self._begin = self._begin, None
        if begin is None or end <= begin:
            return []
        # What follows a forced cut is kept however short: it is the rest of a sentence, not a click.
        enough = 1 if self._after_cut else self._shortest_windows
        if len(self._voiced) < enough:
            return []
        self._free_from = end
        return [self._piece(begin, end)]

    def _cut_at_breath(self) -> Piece:
        begin = self._begin or 0
        at = begin + quietest(self._slice(begin, self._seen), from_sample=int(_SEARCH_FROM * self._longest))
        piece = self._piece(begin, at)
        self._begin, self._free_from, self._after_cut = at, at, True
        self._voiced = [start for start in self._voiced if start + WINDOW_SAMPLES > at]
        return piece

    def _piece(self, begin: int, end: int) -> Piece:
        return Piece(self._slice(begin, end).copy(), begin / RATE_HZ, end / RATE_HZ)

    def _slice(self, begin: int, end: int) -> Samples:
        return self._kept[begin - self._kept_from : end - self._kept_from]

    def _forget(self) -> None:
        """Let go of sound that no piece can need any more."""
        needed = self._seen - self._pad if self._begin is None else self._begin
        drop = max(0, needed - self._kept_from)
        self._kept, self._kept_from = self._kept[drop:].copy(), self._kept_from + drop

    @staticmethod
    def _without_tail(piece: Piece, total: int) -> Piece:
        """The piece without the zeros that filled up the last window."""
        begin, end = round(piece.from_s * RATE_HZ), round(piece.to_s * RATE_HZ)
        if end <= total:
            return piece
        return Piece(piece.samples[: total - begin], piece.from_s, total / RATE_HZ)


def _check(settings: CaptureSettings) -> None:
    """Refuse settings that cannot be met; engines hear at most 30 s at once."""
    for name, least, most in (
        ("end_silence_s", 0.1, 10.0),
        ("short_word_s", 0.0, 5.0),
        ("short_end_silence_s", 0.1, 10.0),
        ("longest_piece_s", 2.0, 30.0),
        ("speech_prob", 0.05, 0.99),
        ("pad_s", 0.0, 2.0),
        ("shortest_speech_s", 0.0, 2.0),
    ):
        value = getattr(settings, name)
        if not least <= value <= most:
            raise UserMistake(
                f"{name} = {value:g} cannot be", where="[capture]", do=f"Give a value from {least:g} to {most:g}."
            )


def quietest(samples: Samples, *, from_sample: int) -> int:
    """Where in ``samples`` (from ``from_sample`` on) it is quietest over 160 ms: the middle of that stretch."""
    count = len(samples) // WINDOW_SAMPLES
    power: NDArray[np.float64] = np.square(
        samples[: count * WINDOW_SAMPLES].reshape(count, WINDOW_SAMPLES).astype(np.float64)
    ).mean(axis=1)
    if count < _BREATH_WINDOWS:
        return len(samples)
    smooth = np.convolve(power, np.ones(_BREATH_WINDOWS), mode="valid")
    first = min(from_sample // WINDOW_SAMPLES, len(smooth) - 1)
    # Among equally quiet places the latest is taken, so that the piece is as long as it may be.
    least = len(smooth) - 1 - int(np.argmin(smooth[first:][::-1]))
    return least * WINDOW_SAMPLES + _BREATH_WINDOWS * WINDOW_SAMPLES // 2
