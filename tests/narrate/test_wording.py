"""The wording file of a pack: strict, complete for the shipped pack, and not needed at all."""

import re
import shutil
from pathlib import Path

import pytest

from fieldnote.errors import PackFault
from fieldnote.narrate import narrate
from fieldnote.narrate.phrases import measure, number, series
from fieldnote.narrate.wording import check_ids, load_wording
from fieldnote.vocabulary import Pack, load_pack

from .jobs import IDS, PACK, job


def pack_with(folder: Path, wording: str) -> Pack:
    (folder / "pack.toml").write_text('[pack]\nid = "p"\nname = "p"\nversion = "1"\nunit_system = "si"\n', "utf-8")
    (folder / "wording.toml").write_text(wording, "utf-8")
    return load_pack(folder)


FAULTS = {
    "unknown table": ("[placs.hood]\nprep = 'on'\n", 1, "did you mean 'place'?"),
    "unknown key": ("[place]\ncowl.prep = 'at'\nhood.perp = 'on'\n", 3, "did you mean 'prep'?"),
    "number that is none": ("[part.lamp]\nok = 'fine'\nnumber = 'manny'\n", 3, "one of count, mass, plural"),
    "text that is a number": ("[state.torn]\nis = 3\n", 2, "expected text"),
    "truth that is text": ("[state.ok]\nfaultless = 'yes'\n", 2, "true or false"),
    "no place for the number": ("[quantity.length]\nreads = 'long'\n", 2, "one {}"),
    "list that is text": ("[state.torn]\ncloses = 'removed'\n", 2, "a list of texts"),
    "row that is text": ("[state]\ntorn = 'torn'\n", 2, "a table"),
    "no TOML": ("[state\n", 0, "valid TOML"),
}


@pytest.mark.parametrize("case", FAULTS)
def test_a_faulty_wording_is_refused_with_its_line(case: str, tmp_path: Path) -> None:
    """Each fault names file, line, what was found and what is valid."""
    text, line, words = FAULTS[case]
    with pytest.raises(PackFault) as caught:
        load_wording(pack_with(tmp_path, text))
    (fault,) = caught.value.faults
    assert fault.file == "wording.toml" and fault.line == line
    assert words in str(fault)


def test_all_faults_are_told_at_once(tmp_path: Path) -> None:
    """A file with several faults is refused once, with all of them."""
    with pytest.raises(PackFault) as caught:
        load_wording(pack_with(tmp_path, "[place]\nhood.perp = 'on'\n[state.torn]\nis = 3\n"))
    assert len(caught.value.faults) == 2


@pytest.mark.parametrize("name", ["body-leaks", "building-leaks"])
def test_the_shipped_wording_names_only_terms_that_there_are(name: str) -> None:
    """Every row of a shipped wording is of a term of its pack."""
    check_ids(load_pack(name))


def test_a_row_of_no_term_is_refused(tmp_path: Path) -> None:
    """A mistyped id is refused with its line; ids of the leak map may be allowed besides."""
    pack = pack_with(tmp_path, "[place]\nattic.prep = 'in'\n\n[state.torm]\nis = 'torn'\n")
    with pytest.raises(PackFault) as caught:
        check_ids(pack, [("place", "attic")])
    assert [(f.line, f.key) for f in caught.value.faults] == [(4, "state.torm")]


def test_a_pack_without_wording_can_be_written_up(tmp_path: Path) -> None:
    """Every term is printed by its name, or by its own id, where no wording is given."""
    (tmp_path / "pack.toml").write_text('[pack]\nid = "p"\nname = "p"\nversion = "1"\nunit_system = "si"\n', "utf-8")
    rows = [{"kind": "check", "place": "bay-window", "part": "sill-seal", "state": "perished"}]
    story = narrate(job(*rows), load_pack(tmp_path))
    assert "The sill seal at the bay window was perished." in [s.text for p in story.paragraphs for s in p.sentences]


def test_another_trade_needs_no_code() -> None:
    """The pack of another trade is written up in its own words, by its own wording file alone."""
    pane = {"place": "skylight", "part": "flashing", "side": "left"}
    rows = [
        {"kind": "fact", "what": "complaint", "value": "brown ring on the ceiling"},
        {"kind": "evidence", "place": "ceiling", "state": "stain"},
        {"kind": "test", "place": "skylight", "side": "left", "method": "hose", "state": "leak",
         "quantities": [{"what": "time-to-leak", "value": 3, "unit": "min"}]},
        {"kind": "check", "state": "lifted", **pane},
        {"kind": "repair", "state": "refix", "material": "lead", **pane},
        {"kind": "test", "place": "skylight", "side": "left", "method": "hose", "state": "dry", "stage": "verify",
         "quantities": [{"what": "duration", "value": 15, "unit": "min"}]},
    ]  # fmt: skip
    story = narrate(job(*rows), load_pack("building-leaks"))
    texts = [s.text for p in story.paragraphs for s in p.sentences]
    assert "The occupant stated: “Brown ring on the ceiling.”" in texts
    assert any(t.startswith("Water came in at the flashing") and t.endswith("the retest stayed dry.") for t in texts)
    assert "A hose retest on the left side of the skylight stayed dry for 15 minutes." in texts


def test_an_overlay_changes_the_wording(tmp_path: Path) -> None:
    """A shop's own wording is laid over the shipped one."""
    overlay = tmp_path / "vocab" / "body-leaks"
    overlay.mkdir(parents=True)
    (overlay / "wording.toml").write_text("[state.torn]\nis = 'ripped'\n", "utf-8")
    rows = [{"kind": "check", "place": "cowl", "part": "gasket", "state": "torn"}]
    story = narrate(job(*rows), load_pack("body-leaks", home=tmp_path))
    assert "The gasket at the cowl was ripped." in [s.text for p in story.paragraphs for s in p.sentences]


@pytest.mark.parametrize(
    ("kind", "ids"),
    [
        ("state", [i for k in ("evidence", "check", "test", "access", "repair") for i in IDS["state"][k]]),
        ("method", IDS["method"]["ids"]),
    ],
)
def test_every_state_and_method_is_worded(kind: str, ids: list[str]) -> None:
    """Each state and method of the closed list has a row, so that none is printed by its id."""
    text = (PACK.folders[0] / "wording.toml").read_text("utf-8")
    assert [i for i in ids if not re.search(rf"^\[{kind}\.{re.escape(i)}\]", text, re.MULTILINE)] == []


def test_only_water_proves() -> None:
    """Smoke, sound and bubbles show openings, chalk and paper contact (common practice, no source)."""
    wording = load_wording(PACK)
    assert {m for m in IDS["method"]["ids"] if wording.method(m).shows == "water"} == {
        "hose",
        "spray-booth",
        "pour",
        "dye",
    }


@pytest.mark.parametrize(
    ("value", "unit", "written"),
    [
        (1, "min", "1 minute"),
        (2, "in", "2 inches"),
        (1.5, "min", "1.5 minutes"),
        (62305, "mi", "62,305 miles"),
        (0.25, "in", "0.25 inches"),
        (1234.5, "mm", "1,234.5 mm"),
        (4, "N_m", "4 N·m"),
        (7, "furlong", "7 furlong"),
        (3, "", "3"),
    ],
)
def test_measures(value: float, unit: str, written: str) -> None:
    """Numbers lose nothing, and the unit's number follows the value."""
    assert measure(value, unit, load_wording(PACK)) == written


@pytest.mark.parametrize("value", [0.1, 12.125, 1e6, 1000.5, 3, 0, 99999.99])
def test_a_printed_number_is_the_number(value: float) -> None:
    """What is printed reads back as the same number."""
    assert float(number(value).replace(",", "")) == value


@pytest.mark.parametrize(
    ("items", "written"),
    [
        ([], ""),
        (["a"], "a"),
        (["a", "b"], "a and b"),
        (["a", "b", "c"], "a, b and c"),
        (["a, x", "b", "c"], "a, x; b and c"),
    ],
)
def test_lists(items: list[str], written: str) -> None:
    """Lists are joined as they are in print."""
    assert series(items) == written


def test_the_shipped_pack_is_found_from_anywhere(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A copy of the pack elsewhere is worded the same as the shipped one."""
    copy = tmp_path / "copy"
    shutil.copytree(PACK.folders[0], copy)
    monkeypatch.chdir(tmp_path)
    rows = [{"kind": "test", "place": "cowl", "state": "leak", "method": "hose"}]
    assert narrate(job(*rows), load_pack(copy)).hash == narrate(job(*rows), PACK).hash
