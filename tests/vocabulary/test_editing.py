"""Adding words to the overlay: comments and order stay, clashes are refused, and everything can be taken back."""

from pathlib import Path
from typing import Any

import pytest

from fieldnote.errors import BadData, Clash, FieldnoteError, NotFound, UserMistake
from fieldnote.vocabulary import load_pack
from fieldnote.vocabulary.editing import JOURNAL, add_phrases, add_place, add_term, undo
from tests.vocabulary.small_pack import write_pack

BY_HAND = """\
# Our shop's own words.

[[part]]
id = "seal"   # the one at the hatch
say = [
  "lip",     # old Joe's word
  # more to come
]
note_free = 1
"""


@pytest.fixture
def source(tmp_path: Path) -> Path:
    return write_pack(tmp_path / "boats")


@pytest.fixture
def home(tmp_path: Path) -> Path:
    return tmp_path / "home"


def overlay(home: Path) -> Path:
    return home / "vocab" / "boats"


def files(folder: Path) -> dict[str, bytes]:
    return {p.relative_to(folder).as_posix(): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


def test_an_added_phrase_names_the_term_and_the_shipped_files_stay(source: Path, home: Path) -> None:
    """The overlay is loaded over the pack; the pack is not touched."""
    before = files(source)
    added = add_phrases(source, home, "part", "seal", ["Rubber-Lip", "bead"])
    assert load_pack(source, home).term("part", "seal").say == ("seal", "rubber seal", "rubber lip", "bead")
    assert files(source) == before
    assert added.files == (overlay(home) / "parts.toml",)
    assert "say" in (overlay(home) / "parts.toml").read_text(encoding="utf-8")


def test_comments_and_order_of_a_file_edited_by_hand_stay(source: Path, home: Path) -> None:
    """Every line that was there is there afterwards, in the same order, and undo gives the same bytes back."""
    overlay(home).mkdir(parents=True)
    mine = overlay(home) / "ours.toml"
    mine.write_text(BY_HAND.replace("note_free = 1\n", ""), encoding="utf-8")
    before = mine.read_bytes()
    add_phrases(source, home, "part", "seal", ["bead"])
    after = mine.read_text(encoding="utf-8").splitlines()
    kept = [line for line in after if '"bead"' not in line]
    assert kept == before.decode().splitlines()
    assert undo(source, home).left == 0
    assert mine.read_bytes() == before


def test_additions_are_taken_back_one_by_one_to_the_first_byte(source: Path, home: Path) -> None:
    """Undo walks back through the journal, latest first."""
    states = []
    for phrases in (["bead"], ["lip", "edge"], ["rim"]):
        states.append(files(home))
        add_phrases(source, home, "part", "seal", phrases)
    for before in reversed(states):
        undo(source, home)
        assert files(home) == before
    with pytest.raises(NotFound, match="no addition is left"):
        undo(source, home)


def test_undo_refuses_where_a_file_was_changed_by_hand_since(source: Path, home: Path) -> None:
    """What a person wrote is never thrown away."""
    add_phrases(source, home, "part", "seal", ["bead"])
    path = overlay(home) / "parts.toml"
    path.write_text(path.read_text(encoding="utf-8") + "\n# mine\n", encoding="utf-8")
    with pytest.raises(Clash, match="changed by hand"):
        undo(source, home)
    assert "# mine" in path.read_text(encoding="utf-8")


CLASHES: list[tuple[str, tuple[str, str, list[str]], type[FieldnoteError], str]] = [
    ("own-word-again", ("part", "seal", ["seal"]), Clash, "names the part seal already"),
    ("word-of-a-place", ("part", "seal", ["sump"]), Clash, "is the place bilge already"),
    ("plural-of-a-place", ("part", "seal", ["hatches"]), Clash, r"is the place hatch already \(as 'hatch'\)"),
    ("joined-spelling", ("part", "seal", ["deckhatch"]), Clash, r"the place hatch already \(as 'deck hatch'\)"),
    ("a-side", ("part", "seal", ["port"]), Clash, "a word for the side left"),
    ("a-position", ("place", "bilge", ["upper"]), Clash, "a word for the position upper"),
    ("a-command", ("part", "seal", ["scratch that"]), Clash, "the command disregard"),
    ("a-negation", ("state", "torn", ["not"]), Clash, r"a word of the grammar \(negator\)"),
    ("a-unit", ("part", "seal", ["minutes"]), Clash, "the unit minute"),
    ("a-state-of-the-same-kind", ("state", "torn", ["sound"]), Clash, "'sound' for the state torn cannot be added"),
    ("no-such-term", ("part", "seel", ["bead"]), NotFound, "Did you mean 'seal'"),
    ("no-such-kind", ("parts", "seal", ["bead"]), UserMistake, "Did you mean 'part'"),
    ("digits", ("part", "seal", ["seal 2"]), UserMistake, "Write numbers as words"),
    ("nothing", ("part", "seal", [" - "]), UserMistake, "nothing in it"),
    ("strange-signs", ("part", "seal", ["be@d"]), Clash, "lower case"),
]


@pytest.mark.parametrize(("words", "error", "message"), [pytest.param(*c[1:], id=c[0]) for c in CLASHES])
def test_what_clashes_is_refused_with_what_and_changes_nothing(
    source: Path, home: Path, words: tuple[str, str, list[str]], error: type[FieldnoteError], message: str
) -> None:
    """Nothing is half done: neither a file nor the journal is written."""
    with pytest.raises(error, match=message):
        add_phrases(source, home, *words)
    assert files(home) == {} if home.exists() else True


def test_a_key_that_the_kind_does_not_have_is_refused(source: Path, home: Path) -> None:
    """Only states and methods have verbs."""
    with pytest.raises(UserMistake, match="It has: say"):
        add_phrases(source, home, "part", "seal", ["chafe"], "verbs")


def test_verbs_and_nouns_go_to_their_own_lists(source: Path, home: Path) -> None:
    """A verb of a state is inflected by the matcher, so it must stand among the verbs."""
    add_phrases(source, home, "state", "torn", ["rip"], "verbs")
    assert load_pack(source, home).term("state", "torn").verbs == ("tear", "rip")  # type: ignore[attr-defined]


def test_a_broken_overlay_is_named_and_stays_as_it_is(source: Path, home: Path) -> None:
    """A file that is no TOML gets a clear error and is not overwritten."""
    overlay(home).mkdir(parents=True)
    (overlay(home) / "parts.toml").write_text("[[part]\n", encoding="utf-8")
    with pytest.raises(BadData, match=r"parts\.toml"):
        add_phrases(source, home, "part", "seal", ["bead"])
    assert (overlay(home) / "parts.toml").read_text(encoding="utf-8") == "[[part]\n"


def test_a_torn_journal_is_named(source: Path, home: Path) -> None:
    """A journal line that cannot be read is said plainly."""
    add_phrases(source, home, "part", "seal", ["bead"])
    (overlay(home) / JOURNAL).write_text('{"what": \n', encoding="utf-8")
    with pytest.raises(BadData, match="Remove that line"):
        undo(source, home)


def test_a_new_term_is_added_whole(source: Path, home: Path) -> None:
    """A part with its name, plural and words."""
    add_term(source, home, "part", "drain-plug", {"name": "drain plug", "plural": "drain plugs", "say": ["drain plug"]})
    term = load_pack(source, home).term("part", "drain-plug")
    assert (term.name, term.plural, term.say) == ("drain plug", "drain plugs", ("drain plug",))


REFUSED: list[tuple[str, str, dict[str, Any], str]] = [
    ("bad-id", "Drain Plug", {"say": ["drain plug"]}, "cannot be an id"),
    ("taken-id", "seal", {"say": ["drain plug"]}, "is there already"),
    ("no-words", "drain-plug", {"name": "drain plug"}, "has no words"),
    ("unknown-field", "drain-plug", {"say": ["drain plug"], "plurals": "x"}, "Did you mean 'plural'"),
    ("unknown-reference", "drain-plug", {"say": ["drain plug"], "usual_place": "keel"}, "the id of a place"),
]


@pytest.mark.parametrize(("id", "values", "message"), [pytest.param(*c[1:], id=c[0]) for c in REFUSED])
def test_a_new_term_with_a_fault_is_refused(
    source: Path, home: Path, id: str, values: dict[str, Any], message: str
) -> None:
    """The strict loader judges before anything is written."""
    with pytest.raises(UserMistake, match=message):
        add_term(source, home, "part", id, values)
    assert not (overlay(home) / "parts.toml").exists()


# ---- a whole place, on the shipped pack ------------------------------------------------------------------------


def test_a_new_place_comes_with_neighbours_and_its_rows_in_the_leak_map(home: Path) -> None:
    """A sedan's parcel shelf, which leaks as the back glass does: ranked as a source once it is added."""
    from fieldnote.flow.words import check_map
    from fieldnote.suggest import load_map

    shipped = load_map(load_pack("body-leaks"))
    like = next(row.place for row in shipped.rows.values() if "glass" in row.place)
    values = {
        "name": "parcel shelf",
        "plural": "parcel shelves",
        "say": ["parcel shelf", "package tray"],
        "assembly": "parcel-shelf",
        "near": [like, "rear-floor"],
    }
    added = add_place("body-leaks", home, "parcel-shelf", values, like=like, check_map=check_map, prior_prob=0.03)
    pack = load_pack("body-leaks", home)
    assert "parcel-shelf" in pack.term("place", like).near  # type: ignore[attr-defined]
    leak_map = load_map(pack)
    new = [row for row in leak_map.rows.values() if row.place == "parcel-shelf"]
    assert len(new) == sum(row.place == like for row in shipped.rows.values())
    assert {row.prior_prob for row in new} == {0.03}
    assert all(shipped.rows[id] == leak_map.rows[id] for id in shipped.rows)
    assert {p.name for p in added.files} == {"places.toml", "leak_map.toml"}
    undo("body-leaks", home)
    assert load_pack("body-leaks", home).hash == load_pack("body-leaks").hash


@pytest.mark.parametrize(
    ("like", "prior", "error", "message"),
    [
        pytest.param("no-such-place", None, NotFound, "there is no place", id="unknown-place"),
        pytest.param("hood", 1.5, UserMistake, "is no probability", id="no-probability"),
    ],
)
def test_a_new_place_with_a_fault_changes_nothing(
    home: Path, like: str, prior: float | None, error: type[FieldnoteError], message: str
) -> None:
    """Neither its row nor its map rows are written."""
    with pytest.raises(error, match=message):
        add_place(
            "body-leaks", home, "parcel-shelf", {"say": ["parcel shelf"]}, like=like, check_map=print, prior_prob=prior
        )
    assert not home.exists()
