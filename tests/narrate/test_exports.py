"""Exports give back what went in, keep to their published shape, and can be read by other programs."""

import csv
import dataclasses
import html
import io
import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest
import webvtt
from hypothesis import given, settings
from hypothesis import strategies as st

from fieldnote.errors import BadData
from fieldnote.narrate import narrate, render
from fieldnote.narrate.captions import captions, stamp
from fieldnote.narrate.compose import numbered
from fieldnote.narrate.export import (
    COLUMNS,
    armed,
    defused,
    entries_from_csv,
    entries_from_json,
    entries_from_jsonl,
    job_from_json,
    nameless,
)
from fieldnote.records import Clip, Conditions, Edit, Entry, Intake, Job, Origin, Photo, Quantity, Utterance, Word

from .jobs import PACK, dev_jobs, entries, job

SCHEMA = json.loads((Path(__file__).parents[2] / "docs" / "schema" / "write-up.schema.json").read_text("utf-8"))


def full_job() -> Job:
    """A job that has something in every field."""
    spoken = Origin("spoken", "u1", 0, 9, 1.5, 2.5, "head")
    typed = Origin("typed", person="Kimberley-Ann", at="2026-01-05T09:00:00Z")
    return Job(
        id="j1",
        name="Unit 9, the “old” one",
        created_at="2026-01-05T08:00:00Z",
        status="closed",
        closed_at="2026-01-06T08:00:00Z",
        intake=Intake(
            vehicle="Van",
            order_number="=1+1",
            conditions=Conditions(liquid=("rain",), since="May"),
            technician="Kimberley-Ann",
        ),
        clips=(
            Clip("c1", "0" * 64, "a.wav", "clips/a.wav", 7.25, 48000, 2),
            Clip("c2", "1" * 64, "b.wav", "clips/b.wav", 3.0, 16000, 1),
        ),
        utterances=(
            Utterance("u1", "left & <right> --> hinge", "c1", 1.5, 3.25, 0.9, (Word("left", 1.5, 2.0, 0.8),)),
            Utterance("u2", "dry", "c2", 0.5, 1.0),
            Utterance("u3", "typed later"),
        ),
        entries=(
            Entry("check", "liftgate-hinge", "hinge-bolt", "left", "unsealed", item=2, at=("lower",),
                  quote='-2 "bolts", wet', id="a1", origins=(spoken,), confidence=0.91,
                  heard_from=1.5, heard_to=3.25, misheard_risk=0.2),
            Entry("test", "liftgate-hinge", None, "left", "dry", method="hose", masked=("tail-lamp",), clocked_s=61.5,
                  clocked_leak_s=40.0,
                  quantities=(Quantity("duration", 0.1, "min"), Quantity("pressure", 2, "bar")), id="a2",
                  origins=(typed,)),
            Entry("fact", what="unit-number", value="041", id="a3"),
            Entry("fact", what="odometer", value=62305, unit="mi", id="a4"),
            Entry("fact", what="technician", value="Kimberley-Ann", id="a5"),
        ),
        edits=(
            Edit("d1", "j1", "a1", "set", "side", "right", "left", "Kimberley-Ann", "2026-01-05T09:00:00Z"),
            Edit("d2", "j1", "j1", "set", "intake.technician", None, "Kimberley-Ann", "Lu", "2026-01-05T09:01:00Z"),
            Edit("d3", "j1", "a5", "set", "value", "Kim", "Kimberley-Ann", "Lu", "2026-01-05T09:02:00Z"),
        ),
        photos=(
            Photo("p1", "j1", "a1", "close-up", "2" * 64, "photos/22.jpg", 9, 4, 3, "2026-01-05T09:00:00Z",
                  "Kimberley-Ann"),
        ),
    )  # fmt: skip


def exported(job: Job, to: str, **more: Any) -> str:
    return render(narrate(job, PACK, **more), job, PACK, to, **more).decode("utf-8")


def test_json_gives_the_same_job() -> None:
    """With names let in, the exported JSON gives back the very same job."""
    whole = full_job()
    assert job_from_json(exported(whole, "json", names=True)) == whole


def test_json_without_names_gives_the_same_job_but_for_the_names() -> None:
    """By default no person's name is anywhere in an export, and the rest is the same."""
    whole = full_job()
    for to in ("json", "jsonl", "csv", "md", "html", "vtt"):
        assert "Kimberley-Ann" not in exported(whole, to), to
    assert job_from_json(exported(whole, "json")) == nameless(whole, PACK)


def test_json_tells_the_same_story_again() -> None:
    """The write-up of the imported job has the same hash as the exported one."""
    whole = full_job()
    wire = json.loads(exported(whole, "json"))
    assert narrate(job_from_json(json.dumps(wire)), PACK).hash == wire["hash"]


@pytest.mark.parametrize("name", [*sorted(dev_jobs()), "full"])
def test_json_keeps_to_its_schema(name: str) -> None:
    """The JSON is of the published shape (JSON Schema draft 2020-12), each line of JSON Lines too."""
    found = full_job() if name == "full" else dev_jobs()[name]
    jsonschema.Draft202012Validator.check_schema(SCHEMA)
    jsonschema.validate(json.loads(exported(found, "json")), SCHEMA)
    entry = {"$ref": "#/$defs/entry", "$defs": SCHEMA["$defs"]}
    for line in exported(found, "jsonl").splitlines():
        jsonschema.validate(json.loads(line), entry)


def test_schema_and_columns_know_every_field_of_an_entry() -> None:
    """A field added to entries must be added to the published shapes."""
    fields = {f.name for f in dataclasses.fields(Entry)}
    assert set(SCHEMA["$defs"]["entry"]["properties"]) == fields | {"span"}
    assert set(COLUMNS) == fields - {"origins"}


def test_the_schema_can_refuse() -> None:
    """A sentence without an entry does not keep to the published shape."""
    wire = json.loads(exported(full_job(), "json"))
    wire["paragraphs"][0]["sentences"][0]["entries"] = []
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(wire, SCHEMA)


@settings(max_examples=60, deadline=None)
@given(st.lists(entries(), max_size=5))
def test_entries_come_back_from_csv_and_json_lines(found: list[Entry]) -> None:
    """Any entries come back from CSV and from JSON Lines as they were."""
    wanted = numbered(found)
    assert entries_from_csv(exported(job(*found), "csv")) == wanted
    assert entries_from_jsonl(exported(job(*found), "jsonl")) == wanted


@settings(max_examples=150, deadline=None)
@given(quote=st.text(max_size=30), value=st.one_of(st.text(max_size=12), st.integers(0, 10**9), st.floats(0, 1e9)))
def test_any_text_survives_csv(quote: str, value: str | float) -> None:
    """Quotes, commas, line breaks and formulas in a cell come back as they were."""
    text = quote.replace("\x00", "")
    held = value.replace("\x00", "") if isinstance(value, str) else value
    entry = Entry("fact", what="color", value=held, quote=text, id="a1")
    (back,) = entries_from_csv(exported(job(entry), "csv"))
    assert (back.value, back.quote) == (held if held != "" else None, text) or (held == "" and back.value in ("", None))


def test_csv_is_by_rfc_4180() -> None:
    """RFC 4180 (2005) section 2: CRLF ends records, all have as many fields as the header, inner quotes are doubled."""
    text = exported(full_job(), "csv")
    assert text.endswith("\r\n") and "\n" not in text.replace("\r\n", "")
    rows = list(csv.reader(io.StringIO(text, newline=""), strict=True))
    assert tuple(rows[0]) == COLUMNS
    assert {len(r) for r in rows} == {len(COLUMNS)}
    assert '""bolts""' in text


@pytest.mark.parametrize("cell", ["=1+1", "+1", "-2 bolts", "@sum", "\ttab", "'quoted", "\rx"])
def test_a_formula_in_a_cell_is_defused_and_restored(cell: str) -> None:
    """No cell begins as a spreadsheet's formula does, and reading it back gives the words as they were."""
    assert defused(cell)[0] == "'"
    assert armed(defused(cell)) == cell


@pytest.mark.parametrize("cell", ["", "plain", "2 - 1", "a=b"])
def test_a_harmless_cell_is_left_alone(cell: str) -> None:
    """Other cells stay as they are."""
    assert defused(cell) == cell and armed(cell) == cell


BAD = {
    "not json": (entries_from_json, "[1,", "not JSON"),
    "no entries": (entries_from_json, '{"a": 1}', 'no list "entries"'),
    "no object": (entries_from_json, "[]", "not a JSON object"),
    "an entry that is text": (entries_from_json, '{"entries": ["x"]}', "not an object"),
    "unknown kind": (entries_from_json, '{"entries": [{"kind": "guess"}]}', "kind 'guess'"),
    "unknown field": (entries_from_json, '{"entries": [{"kind": "check", "zone": "x"}]}', "unknown field 'zone'"),
    "place that is a number": (entries_from_json, '{"entries": [{"kind": "check", "place": 3}]}', "place 3"),
    "quantity without number": (
        entries_from_json,
        '{"entries": [{"kind": "test", "quantities": [{"what": "duration", "value": "x"}]}]}',
        "quantity 'x'",
    ),
    "item in words": (entries_from_json, '{"entries": [{"kind": "check", "item": "two"}]}', "item 'two'"),
    "no job": (job_from_json, "{}", "no job in it"),
    "later format": (job_from_json, '{"job": {}, "format": 9}', "format 9"),
    "job that is none": (job_from_json, '{"job": {"id": 1}, "format": 1}', "cannot be read"),
    "unknown column": (entries_from_csv, "kind,zone\r\ncheck,x\r\n", "unknown column 'zone'"),
    "short row": (entries_from_csv, "kind,place\r\ncheck\r\n", "1 cells under 2 columns"),
    "number in words": (entries_from_csv, "kind,item\r\ncheck,two\r\n", "item 'two'"),
    "open quote": (entries_from_csv, 'kind,place\r\ncheck,"x', "not CSV"),
    "empty csv": (entries_from_csv, "", "no column 'kind'"),
    "json line": (entries_from_jsonl, '{"kind": "check"}\nnope\n', "not JSON"),
}


@pytest.mark.parametrize("case", BAD)
def test_bad_files_are_refused_in_one_line(case: str) -> None:
    """What cannot be read is refused, with what is wrong and where."""
    read, text, words = BAD[case]
    with pytest.raises(BadData) as caught:
        read(text, where="file")
    assert words in caught.value.what
    assert caught.value.where.startswith("file") and caught.value.do


# ---- captions (W3C WebVTT; read back with webvtt-py) --------------------------------------------------------------


def test_captions_parse_and_hold_what_was_said(tmp_path: Path) -> None:
    """webvtt-py reads the captions: words, times in order, each clip after the one before."""
    path = tmp_path / "a.vtt"
    path.write_text(captions(full_job()), encoding="utf-8")
    cues = list(webvtt.read(str(path)))
    assert [html.unescape(c.text) for c in cues] == ["left & <right> --> hinge", "dry"]
    assert [(c.start, c.end) for c in cues] == [
        ("00:00:01.500", "00:00:03.250"),
        ("00:00:07.750", "00:00:08.250"),
    ]


def test_captions_of_one_clip_count_from_its_start() -> None:
    """Asked for one clip, the times are those of that clip."""
    assert "00:00:00.500 --> 00:00:01.000\ndry" in captions(full_job(), "c2")


def test_an_arrow_in_the_words_cannot_break_a_cue() -> None:
    """No cue text or name holds "-->"."""
    lines = captions(full_job()).splitlines()
    assert sum("-->" in line for line in lines) == 2


@pytest.mark.parametrize(
    ("seconds", "written"),
    [(0, "00:00:00.000"), (59.9996, "00:01:00.000"), (3599.9994, "00:59:59.999"), (360000, "100:00:00.000")],
)
def test_times_are_written_as_webvtt_does(seconds: float, written: str) -> None:
    """Hours, minutes and seconds from 00 to 59, three decimals (W3C WebVTT, section on timestamps)."""
    assert stamp(seconds) == written
