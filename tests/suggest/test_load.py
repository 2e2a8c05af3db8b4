"""A leak map is read strictly: every fault with its file, line and value."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from fieldnote.errors import BadData, NotFound, PackFault
from fieldnote.suggest import load_cautions, load_map
from tests.suggest.entries import pack, shipped

TEXT = Path(shipped().file).read_text(encoding="utf-8")
CAUTIONS = Path(shipped().file).with_name("cautions.toml").read_text(encoding="utf-8")


def faults_of(tmp_path: Path, text: str) -> list[str]:
    path = tmp_path / "leak_map.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(PackFault) as caught:
        load_map(pack(), path)
    assert caught.value.exit_code == 2
    assert str(path) in str(caught.value)
    return [str(fault) for fault in caught.value.faults]


FIRST = 'id = "cowl-drain"'
BAD = [
    ("a probability above one", "prior_prob = 0.003", "prior_prob = 1.7", "1.7", "a probability from 0 to 1", FIRST),
    (
        "a probability below nought",
        "prior_prob = 0.003",
        "prior_prob = -0.1",
        "-0.1",
        "a probability from 0 to 1",
        FIRST,
    ),
    (
        "a probability that is no number",
        "prior_prob = 0.003",
        'prior_prob = "often"',
        "'often'",
        "a probability",
        FIRST,
    ),
    (
        "a probability that is not a number at all",
        "prior_prob = 0.003",
        "prior_prob = nan",
        "nan",
        "a probability",
        FIRST,
    ),
    ("a cost of zero", "look_min = 6.0", "look_min = 0.0", "0.0", "a number above 0", FIRST),
    ("a cost below zero", "look_min = 6.0", "look_min = -3", "-3", "a number above 0", FIRST),
    ("a cost without end", "look_min = 6.0", "look_min = inf", "inf", "a number above 0", FIRST),
    ("an unknown place", 'place = "cowl"', 'place = "cowll"', "'cowll'", "did you mean 'cowl'", FIRST),
    (
        "an unknown part",
        'part = "drain-hole"',
        'part = "drian-hole"',
        "'drian-hole'",
        "did you mean 'drain-hole'",
        FIRST,
    ),
    ("an unknown state", 'states = ["blocked"]', 'states = ["bloked"]', "'bloked'", "did you mean 'blocked'", FIRST),
    ("an unknown liquid", 'liquid = "drain"', 'liquid = "drains"', "'drains'", "the id of a liquid", FIRST),
    (
        "an unknown access",
        'access = ["cowl-cover"]',
        'access = ["cowl-lid"]',
        "'cowl-lid'",
        "the id of a access",
        FIRST,
    ),
    ("an unknown side", 'sides = ["left", "right"]', 'sides = ["port"]', "'port'", "one of left, right, center", ""),
    (
        "an unknown relation",
        'side = "either" }',
        'side = "elsewhere" }',
        "'elsewhere'",
        "same, opposite, either, both",
        FIRST,
    ),
    (
        "an unknown place shown at",
        '{ place = "front-footwell"',
        '{ place = "footwell"',
        "'footwell'",
        "the id of a place",
        FIRST,
    ),
    ("a probability shown above one", "prob = 0.55", "prob = 5.5", "5.5", "a probability from 0 to 1", FIRST),
    ("an unknown condition", "nose-down = 2.0", "nose-dwn = 2.0", "'nose-dwn'", "did you mean 'nose-down'", FIRST),
    ("an odds factor of zero", "nose-down = 2.0", "nose-down = 0", "0", "an odds factor above 0", FIRST),
    ("an unknown key", "look_min = 6.0", "look_minutes = 6.0", "'look_minutes'", "a key of [source]", FIRST),
    ("an unknown confidence", 'confidence = "medium"', 'confidence = "good"', "'good'", "low, medium, high", FIRST),
    ("text where a list belongs", 'states = ["blocked"]', 'states = "blocked"', "'blocked'", "a list", FIRST),
    ("an unknown table", "\n[learning]\n", "\n[learnings]\n", "'learnings'", "a table of the schema", ""),
    ("a cap of nought", "present_cap = 10", "present_cap = 0", "0", "above 0", ""),
    ("an id twice", 'id = "cowl-seam"', 'id = "cowl-drain"', "'cowl-drain' again", "an id of its own", ""),
]


@pytest.mark.parametrize(("old", "new", "value", "wanted", "after"), [b[1:] for b in BAD], ids=[b[0] for b in BAD])
def test_a_fault_names_line_and_value(tmp_path: Path, old: str, new: str, value: str, wanted: str, after: str) -> None:
    """One wrong value gives a fault with the file, its line, the value and what may stand there."""
    at = TEXT.index(old, TEXT.index(after))
    text = TEXT[:at] + new + TEXT[at + len(old) :]
    found = faults_of(tmp_path, text)
    line = TEXT.count("\n", 0, at) + 1 + (len(new) - len(new.lstrip("\n")))
    assert any(f.startswith(f"leak_map.toml:{line}:") and value in f and wanted in f for f in found), found


def test_a_circle_of_what_comes_off_first(tmp_path: Path) -> None:
    """A after B after A is named with the whole circle."""
    text = TEXT.replace('id = "d-pillar-trim"\n', 'id = "d-pillar-trim"\nafter = ["quarter-trim"]\n', 1)
    (fault,) = faults_of(tmp_path, text)
    assert "circle" in fault
    assert "d-pillar-trim" in fault
    assert "quarter-trim" in fault
    assert fault.split(":")[1].isdigit()


def test_all_faults_are_listed_at_once(tmp_path: Path) -> None:
    """Three wrong values in three rows give three faults."""
    text = TEXT.replace("prior_prob = 0.003", "prior_prob = 3", 1).replace("look_min = 8.0", "look_min = 0", 1)
    text = text.replace('place = "liftgate-hinge"', 'place = "hinge-of-liftgate"', 1)
    assert len(faults_of(tmp_path, text)) >= 3


@pytest.mark.parametrize("missing", ["prior_prob", "look_min", "liquid", "place"])
def test_a_missing_key_is_named(tmp_path: Path, missing: str) -> None:
    """What a row must have and has not."""
    start = TEXT.index(FIRST)
    line = next(x for x in TEXT[start:].splitlines() if x.startswith(missing))
    text = TEXT[:start] + TEXT[start:].replace(line + "\n", "", 1)
    assert any(f"{missing}: missing" in f for f in faults_of(tmp_path, text))


def test_a_map_without_sources(tmp_path: Path) -> None:
    """An empty map is no map."""
    assert any("at least one [[source]]" in f for f in faults_of(tmp_path, TEXT[: TEXT.index("\n[[source]]")]))


@pytest.mark.parametrize(
    ("content", "error", "words"),
    [
        (b"[model\n", BadData, "not valid TOML"),
        (b"\xff\xfe", BadData, "not valid TOML"),
        (None, NotFound, "no such file"),
    ],
    ids=["no TOML", "no text", "no file"],
)
def test_a_file_that_is_no_map(tmp_path: Path, content: bytes | None, error: type[BadData], words: str) -> None:
    """One clear line, naming the file."""
    path = tmp_path / "leak_map.toml"
    if content is not None:
        path.write_bytes(content)
    with pytest.raises(error, match=words) as caught:
        load_map(pack(), path)
    assert str(path) in str(caught.value)


def test_cautions_are_read_as_strictly(tmp_path: Path) -> None:
    """An unknown place, an unknown action and a caution tied to nothing are named with their lines."""
    text = CAUTIONS.replace('places = ["fuel-door"]', 'places = ["fuel-dor"]')
    text = text.replace('actions = ["weld"]', 'actions = ["wield"]').replace('parts = ["drain-tube"]', "")
    path = tmp_path / "cautions.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(PackFault) as caught:
        load_cautions(pack(), path)
    told = [str(f) for f in caught.value.faults]
    assert any("'fuel-dor'" in f and "did you mean 'fuel-door'" in f for f in told)
    assert any("'wield'" in f for f in told)
    assert any("'drain-air' is tied to nothing" in f for f in told)


# ---- what was read --------------------------------------------------------------------------------------------


def test_sources_stand_once_on_each_side() -> None:
    """A row with sides gives one source a side; openings needed include those that come off before."""
    leak_map = shipped()
    assert len(leak_map.sources) == sum(max(1, len(r.sides)) for r in leak_map.rows.values())
    i = next(n for n, s in enumerate(leak_map.sources) if s.id == "windshield-top-side@left")
    needed = {leak_map.openings[o].id for o in leak_map.behind[i]}
    assert needed == {"headliner-front", "a-pillar-trim@left", "a-pillar-trim@right"}
    assert np.all((leak_map.prior > 0) & (leak_map.prior < 0.5))


def test_the_same_file_gives_the_same_hash() -> None:
    """The hash covers the file's text."""
    assert load_map(pack()).hash == shipped().hash
