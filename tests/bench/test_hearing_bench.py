"""The hearing bench counts right: hand-worked cases, and its texts and noises are what they claim."""

from __future__ import annotations

import numpy as np
import pytest

from fieldnote.extract import Extractor
from fieldnote.extract.vin_rules import check_digit
from fieldnote.records import Entry, Quantity
from fieldnote.vocabulary import load_pack
from models.training.texts import make
from tests.bench import shop_noise
from tests.bench.hearing_scores import Entries, Words, characters_wrong, dangers, entries_of, plain
from tests.bench.speech import sections, vins

TRADE = frozenset({"grommet", "left"})


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("Left D-pillar, grommet is torn.", "left d pillar grommet is torn"),
        ("Odometer 84,160 miles.", "odometer eighty four thousand one hundred sixty miles"),
        ("one hundred and sixty", "one hundred sixty"),
        ("It's 2.5 hours", "it's two point five hours"),
        ("", ""),
    ],
)
def test_plain(text: str, expected: str) -> None:
    """Digits and words, hyphens and spaces compare equal."""
    assert plain(text) == expected


def test_word_errors_by_hand() -> None:
    """One substitution, one deletion and one insertion over five words; one of two trade words wrong."""
    words = Words()
    words.add("the left grommet is torn", "the left comet torn up", TRADE)
    assert (words.said, words.wrong, words.trade_said, words.trade_wrong) == (5, 3, 2, 1)
    assert words.right_whole == 0


@pytest.mark.parametrize(
    ("said", "heard", "wrong"),
    [
        ("overspray on it", "over spray on it", 0),
        ("does not stick any more", "does not stick anymore", 0),
        ("the seam is torn", "the seem is torn", 1),
        ("no leak", "know leak", 1),
    ],
)
def test_joined_and_split_words_are_no_errors(said: str, heard: str, wrong: int) -> None:
    """Where a space stands is spelling; another word is an error."""
    words = Words()
    words.add(said, heard, frozenset())
    assert words.wrong == wrong


CHECK = Entry("check", place="d-pillar", part="grommet", side="left", state="torn", id="e1")


@pytest.mark.parametrize(
    ("got", "danger"),
    [
        (CHECK, None),
        (Entry("check", place="d-pillar", part="grommet", side="right", state="torn", id="e1"), "side flipped"),
        (Entry("check", place="d-pillar", part="grommet", side=None, state="torn", id="e1"), None),
        (
            Entry("check", place="d-pillar", part="grommet", side="left", state="torn", present=False, id="e1"),
            '"no" lost or gained',
        ),
        (
            Entry("check", "d-pillar", "grommet", "left", "torn", quantities=(Quantity("length", 3, "in"),), id="e1"),
            "wrong number",
        ),
        (Entry("source", place="cowl", state="gap", id="e1"), "made-up source"),
        (Entry("repair", place="hood", part="latch", state="replace", id="e1"), "made-up repair"),
    ],
    ids=["same", "side", "side-lost", "no", "number", "source", "repair"],
)
def test_dangers_by_hand(got: Entry, danger: str | None) -> None:
    """Each kind of misleading mistake is counted once; what is merely missing is no danger."""
    assert [name for _, name in dangers([CHECK], [got])] == ([danger] if danger else [])


def test_entries_count_marks_and_f1() -> None:
    """Two of three right, one flipped and marked: F1 2/3, one flagged danger."""
    other = Entry("check", place="cowl", state="ok", id="e2")
    third = Entry("test", place="roof", state="dry", id="e3")
    flipped = Entry("check", place="d-pillar", part="grommet", side="right", state="torn", id="e1")
    entries = Entries()
    entries.add([CHECK, other, third], [flipped, other, third], {"e1"})
    assert entries.f1 == pytest.approx(2 / 3)
    assert (entries.flagged, entries.unflagged, entries.marked) == (1, 0, 1)


@pytest.mark.parametrize(
    ("said", "heard", "wrong"),
    [
        ("4A7BC902", "VIN four alfa seven bravo charlie nine zero two", 0),
        ("4A7BC902", "VIN 4A7BC902.", 0),
        ("77AB4412", "double seven alfa bravo double four one two", 0),
        ("4A7BC902", "four seven bravo charlie nine zero two", 1),
        ("4A7BC902", "nothing at all", 8),
    ],
)
def test_characters_by_hand(said: str, heard: str, wrong: int) -> None:
    """Words, letters and digits spell the same."""
    assert characters_wrong(said, heard) == wrong


def test_texts() -> None:
    """At least 150 dictated sentences, no two alike, and most of them give entries."""
    texts = sections()
    assert len(texts["dictation"]) >= 150
    assert all(len({plain(t) for t in lines}) == len(lines) for lines in texts.values())
    extractor = Extractor(load_pack("body-leaks"))
    silent = [t for t in texts["dictation"] if not entries_of(extractor, [t])]
    assert len(silent) < 0.2 * len(texts["dictation"])


def test_made_up_vins_are_valid() -> None:
    """Each has 17 characters, none of I, O and Q, and the check digit of 49 CFR 565.15; its spelling spells it."""
    for vin, spoken in vins(20):
        assert len(vin) == 17
        assert not set(vin) & set("IOQ")
        assert vin[8] == check_digit(vin)
        assert characters_wrong(vin, spoken) == 0


@pytest.mark.parametrize("kind", sorted(shop_noise.STEADY))
def test_noise_is_seeded_and_of_unit_strength(kind: str) -> None:
    """The same seed gives the same noise; its standard deviation is 1."""
    make = shop_noise.STEADY[kind]
    one, again = make(32_000, np.random.default_rng(3)), make(32_000, np.random.default_rng(3))
    assert np.array_equal(one, again)
    assert one.std() == pytest.approx(1.0, abs=0.01)
    assert np.isfinite(one).all()


@pytest.mark.parametrize("snr_db", [20.0, 10.0, 0.0])
def test_speech_in_noise_has_the_ratio_asked_for(snr_db: float) -> None:
    """Levels measured apart differ by the signal-to-noise ratio."""
    speech = 0.1 * np.sin(2 * np.pi * 300 * np.arange(32_000) / 16_000)
    noise = shop_noise.fan(80_000, np.random.default_rng(1))
    mixed = shop_noise.in_noise(speech, noise, snr_db)
    quiet = shop_noise.in_noise(speech, np.zeros(80_000), snr_db)
    scale = np.abs(mixed[:8000]).max() / (np.abs(noise[:8000]).max() * 0.1 / np.sqrt(2) * 10 ** (-snr_db / 20))
    ratio_db = 20 * np.log10((quiet * scale).std() / (mixed - quiet * scale).std())
    active = 10 * np.log10(len(speech) / len(mixed))  # the pauses around it hold no speech
    assert ratio_db - active == pytest.approx(snr_db, abs=0.5)


def test_no_dictated_sentence_is_in_the_training_text() -> None:
    """What training is made of, drawn many times over, never holds a sentence of the bench (of four words and more)."""
    trained = {plain(text) for text in make("body-leaks", 4000, seed=5, short_times=1)}
    dictated = {plain(text) for text in sections()["dictation"] if len(text.split()) > 3}
    assert len(dictated) > 140
    assert dictated & trained == set()
