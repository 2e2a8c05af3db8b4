"""From a Whisper model's tokens to words with times and confidences, and the check for a model that loops."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence

from fieldnote.records import Word

_STEP_S = 0.02  # one encoder position
_WORD_START = "Ġ"  # how the byte-level vocabulary writes a leading space
_LONGEST_REPEAT = 6
_REPEATED_WORDS_PER_S = 2.5


def words_from_alignment(
    pieces: Sequence[str],
    text_of: Callable[[int, int], str],
    probs: Sequence[float],
    alignments: Sequence[tuple[int, int]],
    *,
    ends_at_s: float,
) -> tuple[Word, ...]:
    """The words that ``pieces`` (vocabulary entries of the tokens) spell.

    Args:
        pieces: one vocabulary entry a token.
        text_of: the text of the tokens from one index up to another.
        probs: probability of each token, given the sound and the tokens before it.
        alignments: (token, encoder position) pairs along the path of dynamic time warping.
        ends_at_s: length of the speech; no word ends after it.

    A word's confidence is its least likely token's: one doubtful syllable makes a doubtful word. Joined by spaces
    the words are the text.

    """
    begins = _begins(alignments, len(pieces))
    starts = [i for i, piece in enumerate(pieces) if i == 0 or piece.startswith(_WORD_START)]
    words: list[Word] = []
    for first, last in zip(starts, [*starts[1:], len(pieces)], strict=True):
        text = text_of(first, last)
        if not text:
            continue
        from_s = min(begins[first], ends_at_s)
        to_s = min(max(begins[last], from_s), ends_at_s)
        known = list(probs[first:last])
        words.append(Word(text, round(from_s, 2), round(to_s, 2), round(min(known), 4) if known else None))
    return tuple(words)


def _begins(alignments: Sequence[tuple[int, int]], tokens: int) -> list[float]:
    """When each token begins, and at the end when the last one stops, in seconds."""
    first: dict[int, int] = {}
    for token, position in alignments:
        first.setdefault(token, position)
    last = max((position for _, position in alignments), default=0) + 1
    begins: list[float] = []
    for token in range(tokens + 1):
        # Tokens that the path skips begin where the next one does.
        begins.append(_STEP_S * min((at for t, at in first.items() if t >= token), default=last))
    return begins


def looping(text: str) -> bool:
    """Whether the text says the same over and over, as a model does that has lost the sound.

    A run of one to six words that follows on itself three times or more, over at least eight words, is a loop.
    People do say a digit or "no" three times; eight words of it they do not.
    """
    words = text.lower().split()
    for length in range(1, _LONGEST_REPEAT + 1):
        run = 0
        for i in range(length, len(words)):
            run = run + 1 if words[i] == words[i - length] else 0
            if run + length >= max(8, 3 * length):
                return True
    return _one_word_fills(words)


def bare(text: str) -> str:
    """Lower case letters, digits and single spaces."""
    return " ".join("".join(c if c.isalnum() or c in "'-" else " " for c in text.lower()).split())


def said_twice(text: str, length_s: float) -> str | None:
    """The words that ``text`` consists of twice or more, where ``length_s`` is too short to have said them so; or None.

    People say "seven seven" in 1.3 s with the pauses kept around it, not in 0.8 s: from 2.5 words a second on a
    repetition is the model's own.
    """
    words = bare(text).split()
    if len(words) < _REPEATED_WORDS_PER_S * length_s:
        return None
    for length in range(1, len(words) // 2 + 1):
        if len(words) % length == 0 and words == words[:length] * (len(words) // length):
            return " ".join(words[:length])
    return None


def _one_word_fills(words: Sequence[str]) -> bool:
    """Whether one word is more than half of a long text."""
    return len(words) >= 16 and Counter(words).most_common(1)[0][1] > len(words) / 2
