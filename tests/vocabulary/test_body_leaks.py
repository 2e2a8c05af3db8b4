"""The shipped words of body leaks: every identifier of the contract is there, called by what people call it."""

import tomllib
from pathlib import Path

import pytest

from fieldnote.vocabulary import Pack, load_pack
from fieldnote.vocabulary.confusable import phrases_of
from fieldnote.vocabulary.pack import FactKind, Material, Method, Part, Place, QuantityKind, State, Unit

IDS = tomllib.loads((Path(__file__).parent.parent / "scoring" / "ids.toml").read_text(encoding="utf-8"))
STATE_KINDS = ("evidence", "check", "test", "access", "repair")
FEWEST_PHRASES = 3


@pytest.fixture(scope="module")
def pack() -> Pack:
    return load_pack("body-leaks")


@pytest.mark.parametrize(
    ("record", "wanted"),
    [
        pytest.param(Place, IDS["place"], id="places"),
        pytest.param(Part, IDS["part"], id="parts"),
        pytest.param(Method, IDS["method"]["ids"], id="methods"),
        pytest.param(Material, IDS["material"]["ids"], id="materials"),
        pytest.param(FactKind, IDS["fact"]["what"], id="facts"),
        pytest.param(QuantityKind, list(IDS["quantity"]), id="quantities"),
    ],
)
def test_the_pack_has_the_identifiers_of_the_contract_and_no_others(
    pack: Pack, record: type, wanted: list[str]
) -> None:
    """Identifiers are those of the contract's list, which is closed."""
    assert {term.id for term in pack.rows(record)} == set(wanted)


@pytest.mark.parametrize("kind", STATE_KINDS)
def test_states_of_a_kind_are_those_of_the_contract(pack: Pack, kind: str) -> None:
    """Every sign, finding, result and action is there with its kind, and no other."""
    assert {s.id for s in pack.rows(State) if kind in s.kinds} == set(IDS["state"][kind])


def test_units_of_a_quantity_are_those_of_the_contract(pack: Pack) -> None:
    """A quantity takes the units that the contract lists, each of them defined."""
    symbols = {u.symbol for u in pack.rows(Unit)} | {""}
    for quantity in pack.rows(QuantityKind):
        assert set(quantity.units) == set(IDS["quantity"][quantity.id])
        assert set(quantity.units) <= symbols


@pytest.mark.parametrize("kind", ["place", "part", "state", "method", "material", "fact"])
def test_every_term_is_called_by_several_phrases(pack: Pack, kind: str) -> None:
    """People have at least three ways to say each."""
    few = {t.id: list(phrases_of(t)) for t in pack.terms(kind) if len(list(phrases_of(t))) < FEWEST_PHRASES}
    assert few == {}


@pytest.mark.parametrize("kind", ["place", "part"])
def test_places_and_parts_have_a_name_and_a_plural_for_the_write_up(pack: Pack, kind: str) -> None:
    """The write-up prints names, so none is left to a guess."""
    assert [t.id for t in pack.terms(kind) if not t.name or not t.plural or t.name == t.plural] == []


def test_neighbours_are_other_places(pack: Pack) -> None:
    """No place is next to itself, and each has a neighbour."""
    assert [p.id for p in pack.rows(Place) if p.id in p.near or not p.near] == []


# Commonwealth words and shop words for the same thing: common practice, no source.
MEANS = [
    ("place", "bonnet", "hood"),
    ("place", "scuttle", "cowl"),
    ("place", "bulkhead", "firewall"),
    ("place", "windscreen", "windshield"),
    ("place", "a post", "a-pillar"),
    ("place", "b post", "b-pillar"),
    ("place", "wing mirror", "door-mirror"),
    ("place", "tailgate", "liftgate"),
    ("place", "rear screen", "back-glass"),
    ("place", "quarter light", "quarter-glass"),
    ("place", "rear wing", "quarter-panel"),
    ("place", "wheel arch", "wheelhouse"),
    ("place", "sill", "rocker"),
    ("place", "drip rail", "roof-joint"),
    ("place", "aerial", "antenna"),
    ("place", "shark fin", "antenna"),
    ("place", "third brake light", "high-stop-lamp"),
    ("place", "boot floor", "rear-floor"),
    ("place", "fuel flap", "fuel-door"),
    ("part", "door card", "door-trim-panel"),
    ("part", "bung", "body-plug"),
    ("part", "loom", "wiring-harness"),
    ("part", "pinch weld", "flange"),
    ("part", "rivnut", "rivet-nut"),
    ("part", "vapor barrier", "water-shield"),
    ("part", "underlay", "carpet"),
    ("part", "striker", "latch"),
    ("part", "caulk", "seam-sealer"),
]


@pytest.mark.parametrize(("kind", "said", "id"), [pytest.param(*row, id=row[1].replace(" ", "-")) for row in MEANS])
def test_a_word_of_the_trade_names_what_the_trade_means_by_it(pack: Pack, kind: str, said: str, id: str) -> None:
    """US, Commonwealth and shop words lead to the same thing (common practice, no source)."""
    assert [t.id for t in pack.terms(kind) if said in t.say] == [id]


# The contract's rule 14: taken off, pulled, dropped, popped is removed; peeled back, eased down, raised is lifted.
ACTS = [
    ("removed", "take off"),
    ("removed", "pull"),
    ("removed", "drop"),
    ("removed", "pop"),
    ("lifted", "peel back"),
    ("lifted", "ease down"),
    ("lifted", "raise"),
    ("refitted", "put back"),
]


@pytest.mark.parametrize(("id", "verb"), ACTS, ids=[verb.replace(" ", "-") for _, verb in ACTS])
def test_access_verbs_mean_what_the_contract_says(pack: Pack, id: str, verb: str) -> None:
    """One verb, one access (rule 14 of the contract)."""
    assert [s.id for s in pack.rows(State) if "access" in s.kinds and verb in s.verbs] == [id]


APART = [("seal", "sill"), ("left", "lift"), ("door", "floor"), ("cowl", "bowl"), ("roof", "hood"), ("rail", "nail")]


@pytest.mark.parametrize("words", APART, ids=["-".join(w) for w in APART])
def test_words_that_sound_alike_are_held_apart(pack: Pack, words: tuple[str, str]) -> None:
    """The must-not-match table has the pairs that a matcher would most like to join."""
    assert any(set(words) <= set(row.words) for row in pack.lists["apart"])


def test_every_row_of_words_held_apart_says_why(pack: Pack) -> None:
    """An editor must be able to judge a row."""
    assert [row.words for row in pack.lists["apart"] if not row.why or len(set(row.words)) < 2] == []
