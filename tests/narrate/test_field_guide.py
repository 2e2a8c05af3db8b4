"""The field guide holds what the map holds, and nothing else."""

import re
from pathlib import Path

import pytest

from fieldnote.errors import NotFound, PackFault
from fieldnote.narrate.field_guide import LINES, Leaf, field_guide, places_shown
from fieldnote.narrate.guide_page import guide_html
from fieldnote.narrate.guide_pdf import guide_pdf
from fieldnote.narrate.sketch import Mark, load_sketch, marks_of, placed, svg
from fieldnote.suggest import load_cautions, load_map
from fieldnote.vocabulary import load_pack
from fieldnote.vocabulary.pack import Place

from .jobs import PACK, job
from .test_documents import read_html, read_pdf, squeezed
from .test_proof import RESEAL, SKIP, SOURCE, leak, retest

MAP = load_map(PACK)
CAUTIONS = load_cautions(PACK)
LEAVES = {leaf.place: leaf for leaf in field_guide(MAP, PACK, CAUTIONS)}


def test_every_place_where_water_shows_has_a_leaf() -> None:
    """There is one leaf for each place in the map's rows of where a source shows."""
    shown = {s.place for row in MAP.rows.values() for s in row.shows}
    assert set(LEAVES) == shown == set(places_shown(MAP))


@pytest.mark.parametrize("place", LEAVES)
def test_a_leaf_holds_what_the_map_holds(place: str) -> None:
    """Each source that shows at the place stands on the leaf once, with the minutes and the openings of the map."""
    leaf = LEAVES[place]
    wanted = {row.id: row for row in MAP.rows.values() if any(s.place == place for s in row.shows)}
    names = [wanted[c.source].name for c in leaf.candidates] + list(leaf.rest)
    assert sorted(names) == sorted(row.name for row in wanted.values())
    assert len(leaf.candidates) <= LINES
    access = {o.row.id: o.row for o in MAP.openings}
    for candidate in leaf.candidates:
        assert candidate.minutes == wanted[candidate.source].look_min
        for opening in candidate.opens:
            assert (opening.off_min, opening.on_min) == (access[opening.id].off_min, access[opening.id].on_min)
    assert 0 < sum(c.share for c in leaf.candidates) <= 1 + 1e-9


@pytest.mark.parametrize("place", LEAVES)
def test_nothing_comes_off_twice(place: str) -> None:
    """What is off stays off: an opening stands at the first source that needs it and nowhere after."""
    opened = [o.id for c in LEAVES[place].candidates for o in c.opens]
    assert len(opened) == len(set(opened))


def test_the_order_is_by_share_over_minutes() -> None:
    """With nothing to open: by falling share over minutes (Kadane and Simon 1975/77, probability over cost)."""
    for leaf in LEAVES.values():
        free = [c for c in leaf.candidates if not c.opens]
        first = leaf.candidates[0]
        worth = first.share / (first.minutes + sum(o.off_min + o.on_min for o in first.opens))
        assert all(worth >= c.share / c.minutes - 1e-12 for c in free)


def test_what_closed_jobs_taught_moves_the_shares() -> None:
    """Other base rates give other shares: a source that never leaked before and now always does comes first."""
    place = "d-pillar"
    last = LEAVES[place].candidates[-1]
    prior = [0.9 if s.row.id == last.source else float(p) for s, p in zip(MAP.sources, MAP.prior, strict=True)]
    (leaf,) = field_guide(MAP, PACK, CAUTIONS, places=[place], prior=prior)
    assert leaf.candidates[0].source == last.source


# Common practice, no source: where water at these places is looked for.
TRADE = {
    "d-pillar": {"liftgate-trough", "quarter-glass", "liftgate-hinge", "roof-rack"},
    "overhead-console": {"windshield"},
    "pedals": {"windshield", "cowl"},
    "scuff-plate": {"sliding-door-track"},
}


@pytest.mark.parametrize("place", TRADE)
def test_the_usual_ways_in_are_on_the_leaf(place: str) -> None:
    """The ways in that the trade looks for first stand on the leaf (common practice, no source)."""
    assert TRADE[place] <= set(LEAVES[place].places)


def test_every_leaf_says_that_the_maker_comes_first() -> None:
    """Every leaf carries the cautions that always hold, and those of what must come off."""
    for leaf in LEAVES.values():
        assert leaf.cautions[: len(CAUTIONS.always)] == CAUTIONS.always
    airbags = [c for c in LEAVES["b-pillar"].cautions if "irbag" in c]
    assert airbags


def test_an_unknown_place_is_refused() -> None:
    """A place where the map shows nothing is refused, with the places that there are."""
    with pytest.raises(NotFound, match="d-pillar"):
        field_guide(MAP, PACK, CAUTIONS, places=["attic"])


def words_of(leaf: Leaf) -> list[str]:
    return [
        text
        for c in leaf.candidates
        for text in (c.name, c.where, c.test, c.good, c.bad, c.note, *(o.name for o in c.opens))
    ] + [*leaf.rest, *leaf.cautions]


def test_page_and_pdf_hold_every_word(tmp_path: Path) -> None:
    """HTML and PDF hold all words of the leaves; the page fetches nothing."""
    leaves = [LEAVES[p] for p in ("d-pillar", "overhead-console")]
    sketch = load_sketch(PACK)
    page = read_html(guide_html(leaves, sketch, taught="3 closed jobs moved the shares.").encode("utf-8"))
    pdf = squeezed(read_pdf(guide_pdf(leaves, sketch), tmp_path))
    html = squeezed("".join(page.parts))
    for leaf in leaves:
        for text in words_of(leaf):
            assert squeezed(text) in html
            assert squeezed(text) in pdf
    assert page.fetched == [] and "3closedjobs" in html


def test_each_leaf_begins_a_sheet_and_fits_its_two_sides() -> None:
    """No leaf takes more than the two sides of one sheet."""
    sketch = load_sketch(PACK)
    longest = sorted(LEAVES.values(), key=lambda leaf: -sum(map(len, words_of(leaf))))[:5]
    for leaf in longest:
        raw = guide_pdf([leaf], sketch)
        assert raw.count(b"/Type /Page\n") <= 2, leaf.place


# ---- the sketch -------------------------------------------------------------------------------------------------


def test_every_place_of_the_pack_lies_on_the_sketch() -> None:
    """Every place of the pack can be marked in the view from above."""
    sketch = load_sketch(PACK)
    assert sketch is not None
    assert {p.id for p in PACK.rows(Place)} == set(sketch.top)


def test_left_and_right_are_drawn_on_their_own_sides() -> None:
    """The view from above has its front to the left, so that the left side of the vehicle lies towards the foot."""
    sketch = load_sketch(PACK)
    assert sketch is not None
    (left,) = [s for s in placed(sketch, [Mark("showed", "b-pillar", "left")]) if s.y > 150]
    (right,) = [s for s in placed(sketch, [Mark("showed", "b-pillar", "right")]) if s.y > 150]
    assert left.y > sketch.axis > right.y
    assert left.x == right.x


def test_marks_do_not_cover_each_other() -> None:
    """Marks of one place lie beside each other."""
    sketch = load_sketch(PACK)
    assert sketch is not None
    spots = placed(sketch, [Mark(kind, "d-pillar", "left") for kind in ("showed", "entry", "sound")])
    assert len({(s.x, s.y) for s in spots}) == len(spots) == 6


def test_a_job_is_marked_by_what_was_found() -> None:
    """Signs, proved ways in and sound places are told apart; a zone that leaked is never marked as sound."""
    rows = [
        {"kind": "evidence", "place": "rear-floor", "side": "right", "state": "soaked"},
        {"kind": "evidence", "place": "cowl", "state": "dry"},
        {"kind": "check", "place": "sunroof", "part": "drain-tube", "state": "ok"},
        *[leak(), SKIP, SOURCE, RESEAL, retest()],
    ]
    marks = {(m.kind, m.place) for m in marks_of(job(*rows).entries, PACK)}
    assert marks == {("showed", "rear-floor"), ("entry", "liftgate-trough"), ("sound", "sunroof")}


def test_the_drawing_says_in_words_what_it_shows() -> None:
    """The SVG has a title for who cannot see it, and shapes that differ without colour."""
    sketch = load_sketch(PACK)
    assert sketch is not None
    drawn = svg(sketch, [Mark("showed", "cowl"), Mark("entry", "hood", None, "1<")], title="a & b")
    assert "<title>a &amp; b</title>" in drawn and "1&lt;" in drawn
    paths = re.findall(r'class="mark (\w+)" d="(\w)[^"]*?([A-Za-z])', drawn)
    assert {kind for kind, *_ in paths} == {"showed", "entry"}


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("[sketch]\nwidth = 1.0\nheight = 1.0\n", "sketch.axis"),
        ("[sketch]\nwidth = 1.0\nheight = 1.0\naxis = 1.0\n[place.hood]\ntop = [9, 0]\n", "place.hood.top"),
        ("[sketch\n", "valid TOML"),
    ],
)
def test_a_faulty_sketch_is_refused(text: str, words: str, tmp_path: Path) -> None:
    """A sketch that cannot be drawn is refused with the key that is wrong."""
    (tmp_path / "pack.toml").write_text('[pack]\nid = "p"\nname = "p"\nversion = "1"\nunit_system = "si"\n')
    (tmp_path / "sketch.toml").write_text(text)
    with pytest.raises(PackFault, match=re.escape(words)):
        load_sketch(load_pack(tmp_path))


def test_a_pack_without_a_sketch_has_none(tmp_path: Path) -> None:
    """A pack needs no drawing."""
    (tmp_path / "pack.toml").write_text('[pack]\nid = "p"\nname = "p"\nversion = "1"\nunit_system = "si"\n')
    assert load_sketch(load_pack(tmp_path)) is None
