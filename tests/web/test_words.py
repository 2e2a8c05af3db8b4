"""The lead's pages of the vocabulary: words that sound alike, and what the proving set says."""

from __future__ import annotations

import json
import re

import pytest

from fieldnote.flow.words import confusions_of, look_at_proof
from fieldnote.vocabulary.proving import last_run_path
from tests.web.conftest import House, Shop


def test_pairs_that_sound_alike_are_listed_with_their_risk(still: House) -> None:
    """Each with what it names and what would come of it; what nobody looked at and is risky stands open at once."""
    text = still.client.get("/words/alike").text
    found = confusions_of(still.rooms)
    shown, *folded = text.split('<details class="left"')
    assert len(found.pairs) > 20
    for pair in found.pairs:
        phrases = f"{pair.one.phrase} / {pair.other.phrase}"
        if pair.risk != "low" and not pair.reviewed:
            assert phrases in shown
        else:
            assert phrases not in shown and any(phrases in part for part in folded)
    assert all(row.heard.heard in text for row in found.measured)


def test_pairs_of_one_word(still: House) -> None:
    """A word narrows the list; one that is in no pair gives none, and an odd one is no fault."""
    pair = confusions_of(still.rooms).pairs[0]
    text = still.client.get("/words/alike", params={"q": pair.one.phrase}).text
    assert f"{pair.one.phrase} / {pair.other.phrase}" in text
    for odd in ("zzz", '"', "<b>"):
        answer = still.client.get("/words/alike", params={"q": odd}).text
        assert "No pair of high or medium risk" in answer and " / " not in answer


def counted(text: str) -> tuple[int, int]:
    found = re.search(r"(\d+) of (\d+) right", text)
    assert found is not None
    return int(found[1]), int(found[2])


def test_the_proving_set_is_run_and_compared(house: House) -> None:
    """What was right in the run kept last and is wrong now is lost; what came right is gained."""
    first = house.client.get("/words/proving").text
    proof = look_at_proof(house.rooms)
    assert counted(first) == (proof.right, len(proof.verdicts)) and "No run was kept yet" in first
    assert not last_run_path(house.rooms.home, house.rooms.pack).exists()
    house.send("/words/proving")
    assert "0 lost" in house.client.get("/words/proving").text
    path = last_run_path(house.rooms.home, house.rooms.pack)
    run = json.loads(path.read_text())
    gained = next(v for v in proof.verdicts if v.right and v.expected)
    run["right"].remove(gained.key)
    path.write_text(json.dumps(run))
    text = house.client.get("/words/proving").text
    assert "1 gained" in text and gained.job.say[0] in text


def test_what_is_lost_is_shown_until_it_is_accepted(house: House, monkeypatch: pytest.MonkeyPatch) -> None:
    """With what was said, what was wanted and what came; kept runs do not make it forgotten."""
    house.send("/words/proving")
    extractor = house.rooms.extractor
    proof = look_at_proof(house.rooms)
    victim = next(v for v in proof.verdicts if v.expected and v.expected.kind == "test")

    class Worse:
        """Understands nothing of one dictation."""

        def run(self, utterances: object, intake: object) -> object:
            said = [u.text for u in utterances]  # type: ignore[attr-defined]
            return extractor.run([] if said == list(victim.job.say) else utterances, intake)  # type: ignore[arg-type]

    monkeypatch.setitem(house.rooms.__dict__, "extractor", Worse())
    for _ in range(2):
        text = house.client.get("/words/proving").text
        assert "Lost: right in the run kept last, wrong now" in text
        lost = text.split("Lost:")[1].split("<h2>")[0]
        assert victim.job.say[0] in lost and "wanted" in lost and "nothing" in lost
        house.send("/words/proving")
    house.send("/words/proving", accept="yes")
    text = house.client.get("/words/proving").text
    assert "0 lost" in text and "Still wrong" in text


def test_adding_a_word_tells_what_it_does_to_the_proving_set(house: House) -> None:
    """Before anybody relies on it."""
    text = house.send("/words", phrase="gungy", means="state:blocked").text  # type: ignore[attr-defined]
    assert "The proving set" in text and counted(text)[1] > 100


def test_the_pages_of_the_vocabulary_are_for_the_lead(shop: Shop) -> None:
    """Others are told whom they are for."""
    for path in ("/words", "/words/alike", "/words/proving"):
        assert shop.client("Lu").get(path).status_code == 200
        assert shop.client("Rosa").get(path).status_code == 403
