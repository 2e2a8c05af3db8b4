"""How likely it is that an entry was misheard: from the confidences of its words and the engine's other readings.

This is the recogniser's doubt, apart from the speaker's own ("might be", "I think"). The model is a logistic curve over
four signs of trouble; its weights belong to one set of model weights, are fitted on the hearing bench
(``python -m tests.bench.calibrate``) and stand in ``models/manifest.toml``.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from fieldnote.records import Entry, Utterance

_LEAST = 1e-3
# Scores are mean log-probabilities of a token; readings differ by a few tokens out of about ten.
_TOKENS = 10.0


@dataclass(frozen=True, slots=True)
class Signs:
    """Signs of trouble, each 0 where there is none."""

    whole: float
    """Minus the log of the utterance's confidence."""
    mean: float
    """Minus the mean log confidence of the entry's words."""
    worst: float
    """Minus the log confidence of the least sure of them."""
    disputed: float
    """Share of the engine's readings, by weight, that lack one of them."""


@dataclass(frozen=True, slots=True)
class DoubtCurve:
    """Weights of the signs; ``base`` is the log-odds where there is no sign at all."""

    base: float
    whole: float
    mean: float
    worst: float
    disputed: float

    def risk(self, signs: Signs) -> float:
        """The chance that what shows these signs was misheard, 0 to 1."""
        odds = (
            self.base
            + self.whole * signs.whole
            + self.mean * signs.mean
            + self.worst * signs.worst
            + self.disputed * signs.disputed
        )
        return round(1 / (1 + math.exp(-max(-30.0, min(30.0, odds)))), 3)


def marked(
    entries: Iterable[Entry], utterances: Iterable[Utterance], curves: Mapping[str, DoubtCurve] | None = None
) -> tuple[Entry, ...]:
    """``entries`` with their ``misheard_risk``, where the model that heard them has a doubt curve.

    ``curves`` by model name; those of the shipped manifest where None.
    """
    known = curves if curves is not None else _shipped_curves()
    by_model: dict[str, dict[str, Utterance]] = {}
    for utterance in utterances:
        model = str(utterance.settings.get("model", ""))
        if model in known:
            by_model.setdefault(model, {})[utterance.id] = utterance
    out: list[Entry] = []
    for entry in entries:
        risks = [misheard_risk(entry, heard, known[model]) for model, heard in by_model.items()]
        found = [risk for risk in risks if risk is not None]
        out.append(replace(entry, misheard_risk=max(found)) if found else entry)
    return tuple(out)


def _shipped_curves() -> dict[str, DoubtCurve]:
    from fieldnote.recognize.model_files import load_manifest

    return {pin.name: pin.doubt for pin in load_manifest().values() if pin.doubt is not None}


def misheard_risk(entry: Entry, utterances: Mapping[str, Utterance], curve: DoubtCurve) -> float | None:
    """The chance that ``entry`` was misheard; None where none of it was heard by an engine that says how sure it is.

    ``utterances`` by id. An entry spoken in several utterances is as doubtful as the most doubtful of them.
    """
    spans: dict[str, list[tuple[int, int]]] = {}
    for origin in entry.origins:
        if origin.kind == "spoken" and origin.utterance_id in utterances and origin.start is not None:
            spans.setdefault(origin.utterance_id or "", []).append((origin.start, origin.end or origin.start))
    risks = [
        curve.risk(signs) for id, places in spans.items() if (signs := signs_of(utterances[id], places)) is not None
    ]
    return max(risks) if risks else None


def signs_of(utterance: Utterance, spans: Sequence[tuple[int, int]]) -> Signs | None:
    """The signs of trouble in the words of ``utterance`` that ``spans`` (characters of its text) touch.

    None where the utterance was typed, or the engine gave no confidence.
    """
    if utterance.confidence is None:
        return None
    sure = [c for c in _confidences(utterance, spans) if c is not None] or [utterance.confidence]
    logs = [-math.log(max(_LEAST, c)) for c in sure]
    return Signs(
        whole=-math.log(max(_LEAST, utterance.confidence)),
        mean=sum(logs) / len(logs),
        worst=max(logs),
        disputed=_disputed(utterance, spans),
    )


def _confidences(utterance: Utterance, spans: Sequence[tuple[int, int]]) -> list[float | None]:
    """Confidences of the words that the spans touch. Words joined by spaces are the text."""
    found: list[float | None] = []
    at = 0
    for word in utterance.words:
        start = utterance.text.find(word.text, at)
        if start < 0:
            continue
        at = start + len(word.text)
        if any(begin < at and end > start for begin, end in spans):
            found.append(word.confidence)
    return found


def _disputed(utterance: Utterance, spans: Sequence[tuple[int, int]]) -> float:
    if not utterance.alternatives or utterance.confidence is None:
        return 0.0
    needed = {word for begin, end in spans for word in _words(utterance.text[begin:end])}
    own = math.log(max(_LEAST, utterance.confidence))
    weights = [(1.0, True)]
    for other in utterance.alternatives:
        weights.append((math.exp(_TOKENS * min(0.0, other.score - own)), needed <= _words(other.text)))
    return sum(w for w, keeps in weights if not keeps) / sum(w for w, _ in weights)


def _words(text: str) -> set[str]:
    return set(re.findall(r"[a-z0-9']+", text.lower()))
