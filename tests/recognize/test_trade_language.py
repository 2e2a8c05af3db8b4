"""The trade's language: likely is what the pack's text says often, and nothing is impossible."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from fieldnote.errors import BadData
from fieldnote.recognize.rescoring import Fit, ranked
from fieldnote.recognize.trade_language import TradeLanguage, language_of, spoken

TEXTS = ["The left grommet is torn.", "The right grommet is torn.", "Dry.", "Dry.", "Leaks.", "Read back."]


@pytest.fixture(scope="module")
def language() -> TradeLanguage:
    return TradeLanguage.of_texts(TEXTS)


def test_a_probability_by_hand() -> None:
    """Two sentences of one word: P(a) = (2 - .75)/3 + the share of the discount that falls to single words."""
    small = TradeLanguage.of_texts(["a", "a", "b"])
    # single words: a 2, b 1, end 3 of 6, three kinds; nothing below them but the unknown word's 1e-7
    single = (2 - 0.75) / 6 + 0.75 * 3 / 6 * 1e-7
    pair = (2 - 0.75) / 3 + 0.75 * 2 / 3 * single
    triple = (2 - 0.75) / 3 + 0.75 * 2 / 3 * pair
    end_single = (3 - 0.75) / 6 + 0.75 * 3 / 6 * 1e-7
    end_pair = (2 - 0.75) / 2 + 0.75 * 1 / 2 * end_single
    end_triple = (2 - 0.75) / 2 + 0.75 * 1 / 2 * end_pair
    assert small.log_prob("A.") == pytest.approx(math.log(triple) + math.log(end_triple), abs=1e-6)


@pytest.mark.parametrize(
    ("likely", "unlikely"),
    [
        ("dry", "try"),
        ("the left grommet is torn", "the left comet is torn"),
        ("the right grommet is torn", "grommet the torn is"),
    ],
)
def test_the_trade_says_it_sooner(language: TradeLanguage, likely: str, unlikely: str) -> None:
    """What the text has is more likely than what merely sounds alike, or has the words in another order."""
    assert language.log_prob(likely) > language.log_prob(unlikely)


def test_nothing_is_impossible(language: TradeLanguage) -> None:
    """A sentence of unknown words has a finite probability, lower with each word."""
    assert -math.inf < language.log_prob("quite other words") < language.log_prob("quite other") < 0


def test_a_word_that_was_added_is_no_stranger(language: TradeLanguage) -> None:
    """What a lead adds to the pack is likelier than an unknown word, without the model being made anew."""
    added = language.knowing(["rubber doughnut"])
    assert added.log_prob("the doughnut is torn") > language.log_prob("the doughnut is torn")
    assert added.log_prob("the doughnut is torn") > added.log_prob("the donut is torn")
    assert added.log_prob("the doughnuts are torn") > language.log_prob("the doughnuts are torn")
    assert added.log_prob("the left grommet is torn") == pytest.approx(
        language.log_prob("the left grommet is torn"), abs=0.1
    )


def test_case_and_marks_do_not_count(language: TradeLanguage) -> None:
    """Capitals, hyphens and full stops are how it is written, not what is said."""
    assert spoken("Left D-pillar, it's torn.") == "left d pillar it's torn"
    assert language.log_prob("Read-back!") == language.log_prob("read back")


def test_saved_and_read_again(language: TradeLanguage, tmp_path: Path) -> None:
    """A model says the same after it was written to disk."""
    language.save(tmp_path / "trade.npz")
    again = TradeLanguage.load(tmp_path / "trade.npz")
    assert again.alone == language.alone == ("dry", "leaks", "read back")
    assert again.log_prob("The left grommet is dry.") == language.log_prob("The left grommet is dry.")


def test_a_damaged_file_is_one_clear_line(tmp_path: Path) -> None:
    """Something else under that name is refused with what and where."""
    (tmp_path / "trade.npz").write_bytes(b"not arrays at all")
    with pytest.raises(BadData, match="language model cannot be read"):
        TradeLanguage.load(tmp_path / "trade.npz")


def test_the_shipped_one_knows_the_trade() -> None:
    """The pack's model prefers the trade's words, and a pack without one has none."""
    shipped = language_of("body-leaks")
    assert shipped is not None
    assert shipped.log_prob("seam sealer is missing") > shipped.log_prob("seem sailor is messing")
    assert {"dry", "read back", "scratch that"} <= shipped.known_alone
    assert language_of("no-such-pack") is None


@pytest.mark.parametrize(
    ("gap", "first"), [(0.5, "Dry."), (20.0, "Try.")], ids=["about as well", "far better"]
)  # fmt: skip
def test_sound_and_language_are_weighed(language: TradeLanguage, gap: float, first: str) -> None:
    """The trade's word wins where it fits about as well; where the other fits far better, the sound decides."""
    fits = [Fit("Try.", -1.0), Fit("Dry.", -1.0 - gap)]
    assert fits[ranked(fits, language)[0]].text == first


def test_a_longer_reading_can_win(language: TradeLanguage) -> None:
    """Words that were clearly heard are not dropped because fewer words are likelier."""
    fits = [Fit("The left grommet is torn.", -3.0), Fit("Dry.", -9.0)]
    assert ranked(fits, language)[0] == 0
