"""The risk that an entry was misheard."""

from __future__ import annotations

import math

import pytest

from fieldnote.recognize.doubt import DoubtCurve, Signs, marked, misheard_risk, signs_of
from fieldnote.recognize.model_files import load_manifest
from fieldnote.records import Alternative, Entry, Origin, Utterance, Word

CURVE = DoubtCurve(base=-2.0, whole=1.0, mean=1.0, worst=1.0, disputed=2.0)


def heard(*confidences: float, confidence: float | None = 0.9, others: tuple[Alternative, ...] = ()) -> Utterance:
    text = ["Left", "grommet", "is", "torn."]
    words = tuple(Word(t, i, i + 1, c) for i, (t, c) in enumerate(zip(text, confidences, strict=True)))
    return Utterance("u1", " ".join(text), confidence=confidence, words=words, alternatives=others, engine="whisper")


SURE = heard(0.9, 0.9, 0.9, 0.9)
ENTRY = Entry("check", side="left", part="grommet", state="torn", id="e1", origins=(Origin("spoken", "u1", 0, 12),))


def test_signs_by_hand() -> None:
    """Words under the span count, others do not: -ln 0.5 is the worst, the mean of two is half the sum."""
    signs = signs_of(heard(0.5, 0.8, 0.1, 0.1), [(0, 12)])
    assert signs is not None
    assert signs.worst == pytest.approx(math.log(2))
    assert signs.mean == pytest.approx((-math.log(0.5) - math.log(0.8)) / 2)
    assert signs.whole == pytest.approx(-math.log(0.9))
    assert signs.disputed == 0


def test_a_reading_that_lacks_the_word_disputes_it() -> None:
    """An equally good reading with "right" for "left" is half of the weight; one with the same words is none."""
    own = math.log(0.9)
    disputing = heard(0.9, 0.9, 0.9, 0.9, others=(Alternative("Right grommet is torn.", own),))
    agreeing = heard(0.9, 0.9, 0.9, 0.9, others=(Alternative("left grommet is torn", own),))
    assert signs_of(disputing, [(0, 12)]).disputed == pytest.approx(0.5)  # type: ignore[union-attr]
    assert signs_of(agreeing, [(0, 12)]).disputed == 0  # type: ignore[union-attr]


def test_risk_is_the_logistic_curve() -> None:
    """No sign: 1 / (1 + e^2); the signs add up in the exponent."""
    assert CURVE.risk(Signs(0, 0, 0, 0)) == pytest.approx(1 / (1 + math.e**2), abs=1e-3)
    assert CURVE.risk(Signs(1, 1, 0, 0)) == pytest.approx(0.5, abs=1e-3)


def test_less_sure_words_are_more_doubtful() -> None:
    """Risk rises as the words become less sure, and stays within 0 and 1."""
    risks = [misheard_risk(ENTRY, {"u1": heard(c, c, c, c, confidence=c)}, CURVE) for c in (0.99, 0.8, 0.5, 0.1, 0.0)]
    assert risks == sorted(risks)  # type: ignore[type-var]
    assert 0 < risks[0] < 0.2 and 0.9 < risks[-1] <= 1  # type: ignore[operator]


def test_typed_entries_have_no_risk() -> None:
    """What was typed, or heard by an engine without confidences, is not marked."""
    typed = Entry("check", id="e2", origins=(Origin("typed", person="a"),))
    assert misheard_risk(typed, {"u1": SURE}, CURVE) is None
    assert misheard_risk(ENTRY, {"u1": heard(0.1, 0.1, 0.1, 0.1, confidence=None)}, CURVE) is None


def test_marked_uses_the_curve_of_the_model_that_heard() -> None:
    """Entries of a model without a curve stay as they are; inputs are untouched."""
    from dataclasses import replace

    known = replace(SURE, settings={"model": "m"})
    assert marked([ENTRY], [known], {"m": CURVE})[0].misheard_risk is not None
    assert marked([ENTRY], [known], {}) == (ENTRY,)
    assert ENTRY.misheard_risk is None


def test_the_shipped_model_has_a_curve_that_rises() -> None:
    """No sign of trouble may lower the doubt."""
    curve = load_manifest()["fieldnote-tiny"].doubt
    assert curve is not None
    assert min(curve.whole, curve.mean, curve.worst, curve.disputed) >= 0
    assert curve.risk(Signs(0.05, 0.05, 0.05, 0)) < curve.risk(Signs(1.0, 1.0, 2.0, 0.5))
