"""Parts that may have been meant: those of the place, and those that sound like the words heard."""

from __future__ import annotations

import pytest

from fieldnote.flow.likely_parts import LikelyParts
from fieldnote.records import Entry, Origin, Utterance
from fieldnote.suggest import LeakMap, load_map
from fieldnote.vocabulary import Pack, load_pack
from fieldnote.vocabulary.pack import Part


@pytest.fixture(scope="module")
def pack() -> Pack:
    return load_pack("body-leaks")


@pytest.fixture(scope="module")
def leak_map(pack: Pack) -> LeakMap:
    return load_map(pack)


@pytest.fixture(scope="module")
def likely(pack: Pack, leak_map: LeakMap) -> LikelyParts:
    return LikelyParts(pack, leak_map)


def test_the_parts_that_leak_at_a_place_come_first(likely: LikelyParts, leak_map: LeakMap) -> None:
    """Where no part was understood, those by which the map lets water in at that place are offered."""
    for place in sorted({source.place for source in leak_map.sources}):
        offered = likely.of(Entry("check", place), {}, most=1)
        leaks = {p for s in leak_map.sources if s.place == place for p in (s.part, *s.row.also) if p}
        assert not leaks or offered[0] in leaks, place


def test_the_part_itself_is_never_offered_and_none_twice(likely: LikelyParts, pack: Pack) -> None:
    """Every part at every place that it is at home in."""
    for part in pack.rows(Part):
        for place in (part.usual_place, *part.at_home):
            offered = likely.of(Entry("check", place or None, part.id), {})
            assert part.id not in offered and len(set(offered)) == len(offered) <= 4
            assert all(pack.entry("part", id) for id in offered)


def test_what_sounds_like_the_words_is_offered_without_a_place(likely: LikelyParts, pack: Pack) -> None:
    """Of two parts with phrases of one sound ("seal", "sill" share it) the other is offered; the words heard count."""
    said = Utterance("u1", "the clip is loose")
    entry = Entry("check", part="grommet", origins=(Origin("spoken", "u1", 4, 8, role="part"),))
    offered = likely.of(entry, {"u1": said})
    assert any("clip" in words for id in offered for words in pack.term("part", id).say)


def test_without_a_map_the_places_of_the_parts_count(pack: Pack) -> None:
    """A vocabulary without a leak map still offers what is at home there."""
    home = next(part for part in pack.rows(Part) if part.at_home)
    offered = LikelyParts(pack, None).of(Entry("check", home.at_home[0]), {}, most=200)
    assert home.id in offered


def test_nothing_is_made_up(likely: LikelyParts) -> None:
    """Neither place nor words: nothing to offer."""
    assert likely.of(Entry("check"), {}) == ()
