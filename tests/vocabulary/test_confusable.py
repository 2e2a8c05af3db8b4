"""What sounds alike is listed with its risk; measured confusions too, and stale ones are told."""

from pathlib import Path

import pytest

from fieldnote.vocabulary import load_pack
from fieldnote.vocabulary.confusable import confusions
from fieldnote.vocabulary.phonetics import phrase_key, sound_key, vowel_key
from tests.vocabulary.small_pack import write_pack

# Pairs with equal codes in published tables: Double Metaphone of `metaphone` 0.6 (seam and seem SM, seal and ceil SL,
# gutter KTR), NYSIIS of jellyfish's table (Catherine = Katherine CATARAN).
PUBLISHED_SAME = [("seam", "seem"), ("seal", "ceil"), ("catherine", "katherine")]
# Different in the same tables: Smith SM0 and Schmidt XMT share no primary code; Bosch BAS and Joshua JAS in NYSIIS.
PUBLISHED_DIFFERENT = [("seam", "seal"), ("bosch", "joshua"), ("thumb", "through")]


@pytest.mark.parametrize(("one", "other"), PUBLISHED_SAME)
def test_words_with_one_published_code_share_a_sound_key(one: str, other: str) -> None:
    """Our key joins what published codes join (values as listed in those libraries' own tables)."""
    assert sound_key(one) == sound_key(other)


@pytest.mark.parametrize(("one", "other"), PUBLISHED_DIFFERENT)
def test_words_with_different_published_codes_have_different_sound_keys(one: str, other: str) -> None:
    """And keeps apart what they keep apart."""
    assert sound_key(one) != sound_key(other)


def test_joined_and_split_spelling_sound_the_same() -> None:
    """A recogniser writes either."""
    assert phrase_key("weather strip") == phrase_key("weatherstrip")


MORE = """
[[part]]
id = "sail"
say = ["seel"]

[[part]]
id = "post-b"
say = ["b post"]

[[part]]
id = "post-d"
say = ["d post"]

[[material]]
id = "tar"
say = ["tear off"]
"""


def test_terms_of_one_slot_with_the_same_sound_are_a_high_risk(tmp_path: Path) -> None:
    """Two parts: one misheard would be entered as the other."""
    pack = load_pack(write_pack(tmp_path / "p", more=MORE))
    found = {(p.one.phrase, p.other.phrase): p for p in confusions(pack).pairs}
    pair = found["seal", "seel"] if ("seal", "seel") in found else found["seel", "seal"]
    assert (pair.risk, pair.how) == ("high", "same sound")
    assert "part" in pair.why


def test_rhyming_letters_are_a_high_risk(tmp_path: Path) -> None:
    """B, D and the rest of the "E-set" are what listeners and recognisers mix up most (common knowledge, no source)."""
    pairs = confusions(load_pack(write_pack(tmp_path / "p", more=MORE))).pairs
    assert [(p.one.id, p.other.id, p.risk) for p in pairs if p.one.phrase == "b post"] == [("post-b", "post-d", "high")]


def test_forms_of_one_word_are_no_pair(tmp_path: Path) -> None:
    """Grammar tells "seal" and "seals" apart, not the ear."""
    more = '[[part]]\nid = "ring"\nsay = ["seals"]\n'
    assert confusions(load_pack(write_pack(tmp_path / "p", more=more))).pairs == ()


def test_words_that_are_held_apart_say_so(tmp_path: Path) -> None:
    """The matcher never joins them; a recogniser still may."""
    more = MORE + '[[apart]]\nwords = ["seal", "seel"]\nwhy = "two parts"\n'
    pairs = confusions(load_pack(write_pack(tmp_path / "p", more=more))).pairs
    assert [p.held_apart for p in pairs if "seel" in (p.one.phrase, p.other.phrase)] == [True]


def test_one_word_narrows_the_list(tmp_path: Path) -> None:
    """An editor asks about one word."""
    pack = load_pack(write_pack(tmp_path / "p", more=MORE))
    assert {p.one.phrase for p in confusions(pack, only="post").pairs} == {"b post"}


HEARD = """
[[heard]]
heard = "bill edge"
said = "bilge"
times = 3
of = 4
model = "aaaa"

[[heard]]
heard = "hatch"
said = "seal"
times = 1
of = 10
model = "bbbb"

[[heard]]
heard = "some"
said = "sump"
times = 2
of = 10
model = "aaaa"
ordinary = true
"""


def test_measured_confusions_tell_how_often_and_what_else_they_mean(tmp_path: Path) -> None:
    """A confusion that names another term is the worst; one that is plain English needs its context."""
    found = confusions(load_pack(write_pack(tmp_path / "p", heard=HEARD)))
    by_heard = {m.heard.heard: m for m in found.measured}
    assert by_heard["hatch"].risk == "high"
    assert "place hatch" in by_heard["hatch"].why
    assert by_heard["some"].risk == "medium"
    assert by_heard["bill edge"].risk == "low"
    assert by_heard["bill edge"].why.startswith("3 of 4 trials")


def test_rows_of_another_model_are_stale(tmp_path: Path) -> None:
    """What one recogniser mixes up another may not."""
    pack = load_pack(write_pack(tmp_path / "p", heard=HEARD))
    assert [r.heard for r in confusions(pack, model_hash="aaaa").stale] == ["hatch"]
    assert confusions(pack, model_hash=None).stale == ()


def test_homophones_that_no_model_was_asked_about_are_never_stale(tmp_path: Path) -> None:
    """A row without a model was not measured: it holds for every ear."""
    heard = '[[heard]]\nheard = "sail"\nsaid = "seal"\nordinary = true\n'
    found = confusions(load_pack(write_pack(tmp_path / "p", heard=heard)), model_hash="aaaa")
    assert (found.stale, found.measured[0].why.split(";")[0]) == ((), "sounds the same")


# Rhymes and homophones that any dictionary gives (seam: M-S, pane/pain, brake/break), and words that no one rhymes.
SAME_VOWELS = [("seam", "seem"), ("pain", "pane"), ("plain", "plane"), ("boot", "booth"), ("weak", "week")]
OTHER_VOWELS = [("bend", "bond"), ("caked", "cocked"), ("cracked", "crooked"), ("slit", "slot"), ("tub", "tube")]


@pytest.mark.parametrize(("one", "other"), SAME_VOWELS)
def test_homophones_share_their_vowels(one: str, other: str) -> None:
    """However English spells them."""
    assert vowel_key(one) == vowel_key(other)


@pytest.mark.parametrize(("one", "other"), OTHER_VOWELS)
def test_words_with_other_vowels_are_no_homophones(one: str, other: str) -> None:
    """They share their consonants alone."""
    assert (sound_key(one), vowel_key(one)) != (sound_key(other), vowel_key(other))


def test_only_the_same_vowels_are_a_high_risk(tmp_path: Path) -> None:
    """Two parts with the same consonants alone are a medium risk; a part and a finding with them are no pair."""
    more = '[[part]]\nid = "soul"\nsay = ["soal"]\n[[part]]\nid = "sol"\nsay = ["seelo"]\n'
    pairs = confusions(load_pack(write_pack(tmp_path / "p", more=more))).pairs
    assert {(p.one.phrase, p.other.phrase): (p.risk, p.how) for p in pairs}["seal", "seelo"] == (
        "medium",
        "same consonants",
    )


def test_what_was_reviewed_says_why_and_comes_last(tmp_path: Path) -> None:
    """A row of ``told_apart`` marks a pair as looked at."""
    more = MORE + '[[told_apart]]\nwords = ["b", "d"]\nwhy = "said by the alphabet here"\n'
    pairs = confusions(load_pack(write_pack(tmp_path / "p", more=more))).pairs
    assert [p.reviewed for p in pairs if p.one.phrase == "b post"] == ["said by the alphabet here"]
    assert pairs[-1].reviewed and not pairs[0].reviewed
