"""Both shipped packs can be used whole, and nothing of either stands in the program."""

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

import fieldnote
from fieldnote.flow.rooms import Rooms
from fieldnote.flow.words import check_all, prove_pack
from fieldnote.vocabulary import load_pack
from fieldnote.vocabulary.proving_files import load_proving

PACKS = ["body-leaks", "building-leaks"]
LEAST_PROVING = {"body-leaks": 30, "building-leaks": 10}
GENERAL = {
    "color",
    "floor",
    "wall",
    "ridge",
    "seam",
    "joint",
    "drain",
    "frame",
    "lamp",
    "bolt",
    "stud",
    "hinge",
    "glass",
}
"""Ids that are also words of a program or of plain English."""


@pytest.mark.parametrize("name", PACKS)
def test_a_shipped_pack_has_no_faults(name: str, tmp_path: Path) -> None:
    """Words, proving set, leak map and cautions load strictly."""
    check_all(Rooms(tmp_path, pack=name))


@pytest.mark.parametrize("name", PACKS)
def test_a_shipped_pack_has_a_proving_set(name: str) -> None:
    """Enough short dictations to show that a change broke something, over all kinds that the pack has."""
    jobs = load_proving(load_pack(name))
    kinds = {entry.kind for job in jobs for entry in job.entries}
    assert len(jobs) >= LEAST_PROVING[name]
    assert {"evidence", "check", "test", "source", "access", "repair", "fact"} <= kinds


def test_the_second_pack_shares_no_trade_with_the_first() -> None:
    """It is another trade: hardly any place is the same."""
    one, other = ({t.id for t in load_pack(name).terms("place")} for name in PACKS)
    assert len(one & other) <= 1


def _literals(tree: ast.AST) -> Iterator[str]:
    """String constants that are no docstrings."""
    texts = {id(n.value) for n in ast.walk(tree) if isinstance(n, ast.Expr) and isinstance(n.value, ast.Constant)}
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in texts:
            yield node.value


def test_no_place_and_no_part_of_a_pack_stands_in_the_program() -> None:
    """The trade is data: no identifier of a place or a part is a string of the code."""
    packs = [load_pack(name) for name in PACKS]
    trade = {t.id for pack in packs for kind in ("place", "part") for t in pack.terms(kind)} - GENERAL
    package = Path(fieldnote.__file__).parent
    found = {
        (path.relative_to(package).as_posix(), text)
        for path in package.rglob("*.py")
        if "_shipped" not in path.parts
        for text in _literals(ast.parse(path.read_text(encoding="utf-8")))
        if text in trade
    }
    assert found == set()


@pytest.mark.parametrize(("name", "least"), [("body-leaks", 0.9), ("building-leaks", 0.95)])
def test_the_proving_set_of_a_shipped_pack_is_understood(name: str, least: float, tmp_path: Path) -> None:
    """The same program understands both trades from their files alone."""
    proof = prove_pack(Rooms(tmp_path, pack=name))
    wrong = [(v.key, v.differs) for v in proof.verdicts if not v.right]
    assert proof.right / len(proof.verdicts) >= least, wrong
