"""Strict loading: every fault at once, with file, line, key and the nearest valid value; and the overlay."""

from __future__ import annotations

import time
from pathlib import Path

import pytest

from fieldnote.errors import Fault, NotFound, PackFault
from fieldnote.vocabulary import load_pack
from fieldnote.vocabulary.pack import Place, State

HEAD = '[pack]\nid = "small"\nname = "Small"\nversion = "1"\nunit_system = "metric"\n'
GOOD = """
[[place]]
id = "hull"
assembly = "hull"
say = ["hull"]

[[part]]
id = "seal"
say = ["seal"]

[[state]]
id = "torn"
kinds = ["check"]
say = ["torn"]
"""


def folder(tmp_path: Path, rows: str = "", head: str = HEAD) -> Path:
    (tmp_path / "pack.toml").write_text(head, encoding="utf-8")
    (tmp_path / "rows.toml").write_text(GOOD + rows, encoding="utf-8")
    return tmp_path


def faults(path: Path, home: Path | None = None) -> tuple[Fault, ...]:
    with pytest.raises(PackFault) as caught:
        load_pack(path, home)
    assert caught.value.exit_code == 2
    return caught.value.faults


def test_good_pack(tmp_path: Path) -> None:
    """Names and plurals have sensible defaults; terms come by kind and id."""
    pack = load_pack(folder(tmp_path))
    assert (pack.id, pack.folders) == ("small", (tmp_path,))
    assert pack.term("place", "hull").plural == "hulls"
    assert [s.id for s in pack.rows(State)] == ["torn"]
    with pytest.raises(NotFound):
        pack.term("place", "mast")


BAD = {
    "unknown key": ('[[place]]\nid = "deck"\nsy = ["deck"]\n', "sy", "unknown key", "say", 3),
    "unknown table": ('[[plase]]\nid = "deck"\n', "plase", "unknown table", "place", 1),
    "wrong type": ('[[place]]\nid = "deck"\nsay = "deck"\n', "say", "'deck'", "", 3),
    "no id": ('[[place]]\nsay = ["deck"]\n', "id", "missing", "", 1),
    "same id twice": ('[[part]]\nid = "seal"\n', "id", "'seal' again (first in rows.toml:7)", "", 2),
    "clashing phrase": (
        '[[place]]\nid = "deck"\nsay = [\n  "deck",\n  "hull",\n]\n',
        "say",
        "'hull' names place 'hull' already (rows.toml:2)",
        "",
        5,
    ),
    "unknown reference": ('[[place]]\nid = "deck"\nnear = ["hul"]\n', "near", "'hul'", "hull", 3),
    "value not allowed": ('[[state]]\nid = "wet"\nkinds = ["evidense"]\n', "kinds", "'evidense'", "evidence", 3),
    "not as spoken": ('[[part]]\nid = "pin"\nsay = ["Pin 2"]\n', "say", "'Pin 2'", "", 3),
    "word class": ('[words]\nfillers = ["um"]\n', "words.fillers", "unknown key", "filler", 2),
}


@pytest.mark.parametrize(("rows", "key", "found", "nearest", "line"), BAD.values(), ids=list(BAD))
def test_fault(tmp_path: Path, rows: str, key: str, found: str, nearest: str, line: int) -> None:
    """Each kind of fault is told with its place and what was probably meant."""
    (fault,) = faults(folder(tmp_path, rows))
    before = GOOD.count("\n")
    assert (fault.file, fault.line, fault.key, fault.found, fault.nearest) == (
        "rows.toml", before + line, key, found, nearest,
    )  # fmt: skip


def test_all_faults_at_once(tmp_path: Path) -> None:
    """Nothing stops at the first fault."""
    rows = "".join(rows for rows, *_ in BAD.values() if not rows.startswith("[words]"))
    assert len(faults(folder(tmp_path, rows))) == len(BAD) - 1


@pytest.mark.parametrize(
    ("text", "line"),
    [('[[place]]\nid = "a\n', 2), ("[pack\n", 1)],
    ids=["open string", "open table"],
)
def test_broken_toml_is_told_with_its_line(tmp_path: Path, text: str, line: int) -> None:
    """A file that is no TOML is one fault of that file."""
    path = folder(tmp_path)
    (path / "broken.toml").write_text(text, encoding="utf-8")
    assert [(f.file, f.line) for f in faults(path)] == [("broken.toml", line)]


def test_not_text(tmp_path: Path) -> None:
    """A file that is no text is one fault of that file."""
    path = folder(tmp_path)
    (path / "photo.toml").write_bytes(b"\xff\xd8\xff")
    assert [f.file for f in faults(path)] == ["photo.toml"]


def test_no_such_pack() -> None:
    """An unknown name lists the packs that there are."""
    with pytest.raises(NotFound, match="body-leaks"):
        load_pack("body-leeks")


def overlay(home: Path, text: str) -> Path:
    added = home / "vocab" / "small"
    added.mkdir(parents=True)
    (added / "added.toml").write_text(text, encoding="utf-8")
    return home


def test_overlay_adds(tmp_path: Path) -> None:
    """The data folder's own words add rows and phrases, and show in the hash."""
    path, home = folder(tmp_path / "pack" if (tmp_path / "pack").mkdir() is None else tmp_path), tmp_path / "home"
    plain = load_pack(path)
    overlay(home, '[[place]]\nid = "deck"\nsay = ["deck"]\n[[place]]\nid = "hull"\nsay = ["bottom"]\n')
    pack = load_pack(path, home)
    assert [p.id for p in pack.rows(Place)] == ["hull", "deck"]
    assert pack.term("place", "hull").say == ("hull", "bottom")
    assert pack.hash != plain.hash
    assert pack.folders == (path, home / "vocab" / "small")
    assert load_pack(path, tmp_path / "elsewhere").hash == plain.hash


def test_overlay_changes_nothing(tmp_path: Path) -> None:
    """A value that is there already cannot be given anew."""
    path, home = folder(tmp_path / "pack" if (tmp_path / "pack").mkdir() is None else tmp_path), tmp_path / "home"
    overlay(home, '[[place]]\nid = "hull"\nassembly = "keel"\n')
    (fault,) = faults(path, home)
    assert (fault.file, fault.key, fault.found) == ("added.toml", "assembly", "'keel'")


def test_five_thousand_terms_load_in_a_second(tmp_path: Path) -> None:
    """Loading stays quick with a large vocabulary (processor time, generously bounded)."""
    rows = "".join(
        f'[[part]]\nid = "p{n}"\nsay = ["part {_word(n)}", "thing {_word(n)}", "{_word(n)} piece"]\n'
        for n in range(5000)
    )
    path = folder(tmp_path, rows)
    began = time.process_time()
    assert len(load_pack(path).terms("part")) == 5001
    assert time.process_time() - began < 5


def _word(n: int) -> str:
    letters = ""
    while True:
        letters += "bcdfghjklm"[n % 10] + "ae"[n % 2]
        n //= 10
        if not n:
            return letters
