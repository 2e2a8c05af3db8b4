"""What a recogniser makes of words becomes rows of the pack, where it helps and does no harm."""

from pathlib import Path

import pytest

from fieldnote.errors import BadData
from fieldnote.vocabulary import load_pack
from fieldnote.vocabulary.measuring import (
    FILE,
    Reading,
    Trial,
    keep_rows,
    plain_words,
    readings,
    rows_of,
    within_carrier,
)
from fieldnote.vocabulary.pack import HeardAs
from tests.vocabulary.small_pack import write_pack

KNOWN = {"bilge": "place bilge", "hatch": "place hatch", "bilges": "place bilge"}


def meanings(phrase: str) -> frozenset[str]:
    return frozenset({KNOWN[phrase]} if phrase in KNOWN else ())


@pytest.mark.parametrize(
    ("text", "inner"),
    [
        ("Now the deep pillar, again.", "deep pillar"),
        ("now the D-pillar again", "d pillar"),
        ("Now the pillar.", ""),
        ("another pillar again", ""),
        ("now the again", ""),
        ("", ""),
    ],
)
def test_what_stands_within_the_carrier_is_the_reading(text: str, inner: str) -> None:
    """Where the carrier did not come back nothing is sure about the rest."""
    assert within_carrier(("now the", "again"), text) == inner


def test_a_recognised_text_is_written_as_packs_write() -> None:
    """Lower case, no punctuation, hyphens as spaces, apostrophes kept."""
    assert plain_words(" It’s the B-pillar, isn't it? ") == "it's the b pillar isn't it"


VERDICTS = [
    ("helps", [("bilge", "bill edge")] * 2, "kept"),
    ("understood-already", [("bilge", "bilges")] * 3, "understood"),
    ("names-another", [("bilge", "hatch")] * 3, "names another"),
    ("once", [("bilge", "bill edge")], "rare"),
    ("a-number", [("bilge", "bill 8")] * 3, "breaks grammar"),
    ("a-negation", [("bilge", "not edge")] * 3, "breaks grammar"),
]


@pytest.mark.parametrize(("trials", "verdict"), [pytest.param(*v[1:], id=v[0]) for v in VERDICTS])
def test_only_what_helps_and_does_no_harm_is_kept(trials: list[tuple[str, str]], verdict: str) -> None:
    """Each reading says why it is kept or not."""
    found = readings(
        [Trial(*t) for t in [*trials, ("bilge", "bilge"), ("bilge", "")]],
        meanings=meanings,
        breaks=lambda said, heard: "not" in heard.split(),
    )
    assert [(r.verdict, r.times, r.of) for r in found] == [(verdict, len(trials), len(trials) + 2)]
    assert len(rows_of(found, "aaaa", lambda phrase: True)) == (verdict == "kept")


def test_rows_replace_older_ones_of_the_same_phrase_and_leave_the_rest(tmp_path: Path) -> None:
    """Measured again with another model, old rows of a phrase go; comments stay; the pack loads."""
    source = write_pack(tmp_path / "boats")
    pack = load_pack(source)
    folder = tmp_path / "home" / "vocab" / "boats"
    old = [HeardAs("bill edge", "bilge", 3, 9, "aaaa"), HeardAs("catch", "hatch", 2, 9, "aaaa", True)]
    path = keep_rows(folder, pack, old, ["bilge", "hatch"])
    path.write_text("# ours\n" + path.read_text(encoding="utf-8"), encoding="utf-8")
    keep_rows(folder, pack, [HeardAs("build", "bilge", 4, 9, "bbbb")], ["bilge"])
    rows = load_pack(source, tmp_path / "home").lists["heard"]
    assert [(r.heard, r.said, r.times, r.model, r.ordinary) for r in rows] == [
        ("catch", "hatch", 2, "aaaa", True),
        ("build", "bilge", 4, "bbbb", False),
    ]
    assert path.read_text(encoding="utf-8").startswith("# ours\n")
    keep_rows(folder, pack, [], ["bilge", "hatch"])
    assert load_pack(source, tmp_path / "home").lists["heard"] == ()


def test_a_broken_file_is_named(tmp_path: Path) -> None:
    """And stays as it is."""
    (tmp_path / FILE).write_text("[[heard]\n", encoding="utf-8")
    with pytest.raises(BadData, match="by hand"):
        keep_rows(tmp_path, load_pack(write_pack(tmp_path / "boats")), [], [])


def test_readings_come_most_frequent_first() -> None:
    """So that a person sees what matters."""
    found = readings([Trial("a", "x"), Trial("b", "y"), Trial("b", "y")], meanings=lambda phrase: frozenset())
    assert found == (Reading("b", "y", 2, 2, "kept"), Reading("a", "x", 1, 1, "rare"))
