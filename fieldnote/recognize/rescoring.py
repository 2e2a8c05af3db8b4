"""Which of a recogniser's readings was meant: how well each fits the sound, and how likely the trade is to say it.

The recogniser has the sense of language of a small model tuned on little text; that of the trade (``trade_language``)
knows every phrase of the pack. Both are added up, as in shallow fusion, but over whole readings after the search.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from fieldnote.recognize.trade_language import TradeLanguage, spoken

SHORT_S = 2.2
"""Up to this length an utterance may be a word or two said alone."""
_SENTENCE = (0.12, 0.5)
_ALONE = (0.2, 1.0)
"""The share of the language's log-probability, and what is given back for each word, since it takes something off for
every one and short readings would always win: for sentences, and for what may be said alone, where nothing else helps.
Found on the hearing bench with three voices never tuned on, clean, 10 and 5 dB: see docs/hearing.md."""
NOT_FOUND = 2.0
"""What a phrase has to make up for that the search did not find by itself, in nats. Without it other things said alone
("call him back") turn more often into what the trade says alone: 6 of 50 in a voice of flite, with it 4."""


@dataclass(frozen=True, slots=True)
class Fit:
    """A reading and how well it fits: the log-probability of all its tokens, given the sound."""

    text: str
    sound: float


def ranked(fits: Sequence[Fit], language: TradeLanguage, *, alone: bool = False) -> list[int]:
    """The readings' places in ``fits``, best first; ``alone`` where they may be a word or two said alone."""
    worth = [_worth(fit, language, *(_ALONE if alone else _SENTENCE)) for fit in fits]
    return sorted(range(len(fits)), key=lambda i: -worth[i])


def _worth(fit: Fit, language: TradeLanguage, share: float, a_word: float) -> float:
    words = spoken(fit.text)
    # How often the training text has one word alone says little about people: what is said alone is as likely, each.
    prior = -math.log(len(language.alone)) if words in language.known_alone else language.log_prob(words)
    return fit.sound + share * prior + a_word * len(words.split())
