"""Every label of the dictations keeps to the closed list of identifiers, and the set covers that list."""

import json
import re
import tomllib
from collections import Counter
from pathlib import Path
from typing import Any

import pytest

HERE = Path(__file__).parent
IDS = tomllib.loads((HERE.parent / "scoring" / "ids.toml").read_text(encoding="utf-8"))
FILES = sorted(HERE.glob("open/*.jsonl")) + sorted(HERE.glob("held/*.jsonl"))
COMMON = {"kind", "place", "part", "side", "state", "present", "certainty", "at", "item", "quantities", "quote"}
OF_KIND = {"test": {"stage", "method"}, "repair": {"material"}}
FACT_KEYS = {"kind", "what", "value", "unit", "quote"}
AT = {"upper", "lower", "front", "rear", "inner", "outer", "corner", "middle"}
STATES = {
    **IDS["state"],
    "source": IDS["state"]["check"],
    "plan": [*IDS["state"]["repair"], "test"],
}
NEEDS_STATE = {"evidence", "check", "access", "repair"}
NUMERIC_FACTS: dict[str, Any] = {"odometer": int, "model-year": int, "labor": (int, float)}
FACT_UNITS: dict[str, set[str | None]] = {"odometer": {"mi", "km", None}, "labor": {"h"}}
FACT_SHAPES = {
    "vin": r"[A-HJ-NPR-Z0-9]{17}",
    "build-date": r"\d{4}-(0[1-9]|1[0-2])",
    "plate": r"[A-Z0-9]{4,8}",
    "unit-number": r"[A-Z0-9]+",
}
# Letter values and weights of the vehicle identification number: 49 CFR 565.15, tables III and IV.
VIN_LETTERS = dict(zip("ABCDEFGHJKLMNPRSTUVWXYZ", map(int, "12345678123457923456789"), strict=True))
OPEN_ONLY = ("third-crowd",)  # voices that the README lists as open only
NO_DIGIT = "Z"  # the filler that European makers put in position 9, where no check digit is asked
VIN_WEIGHTS = (8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2)


def jobs_of(path: Path) -> list[dict[str, Any]]:
    return [json.loads(line) for line in path.read_text(encoding="utf-8").splitlines() if line.strip()]


def faults_of_fact(entry: dict[str, Any]) -> list[str]:
    what, value = str(entry.get("what")), entry.get("value")
    found = [f"key {key} does not belong to a fact" for key in entry.keys() - FACT_KEYS]
    if what not in IDS["fact"]["what"]:
        return [*found, f"fact {what!r} is not listed"]
    if what in NUMERIC_FACTS:
        if not isinstance(value, NUMERIC_FACTS[what]):
            found.append(f"{what} {value!r} is not a number")
    elif not (isinstance(value, str) and value.strip()):
        found.append(f"{what} {value!r} is not a text")
    elif what in FACT_SHAPES and not re.fullmatch(FACT_SHAPES[what], value):
        found.append(f"{what} {value!r} has the wrong shape")
    if entry.get("unit") not in FACT_UNITS.get(what, {None}):
        found.append(f"unit {entry.get('unit')!r} does not fit {what}")
    return found


def faults_of_quantity(quantity: dict[str, Any]) -> list[str]:
    what = quantity.get("what")
    if what not in IDS["quantity"]:
        return [f"quantity {what!r} is not listed"]
    found = [] if quantity.get("unit") in IDS["quantity"][what] else [f"unit {quantity.get('unit')!r} of {what}"]
    return found if isinstance(quantity.get("value"), (int, float)) else [*found, f"value of {what} is not a number"]


def faults_of_entry(entry: dict[str, Any]) -> list[str]:
    kind = entry.get("kind")
    if kind == "fact":
        return faults_of_fact(entry)
    if kind not in {"evidence", "check", "test", "source", "access", "repair", "plan"}:
        return [f"kind {kind!r} is not listed"]
    found = [f"key {key} does not belong to a {kind}" for key in entry.keys() - COMMON - OF_KIND.get(kind, set())]
    allowed = {
        "place": IDS["place"],
        "part": IDS["part"],
        "side": IDS["side"],
        "state": STATES[kind],
        "method": IDS["method"]["ids"],
        "material": IDS["material"]["ids"],
        "present": [False],
        "certainty": ["unsure"],
        "stage": ["verify"],
    }
    found += [
        f"{k} {entry[k]!r} is not allowed in a {kind}" for k, v in allowed.items() if k in entry and entry[k] not in v
    ]
    if kind in NEEDS_STATE and "state" not in entry:
        found.append(f"a {kind} without a state")
    if kind != "evidence" and not entry.keys() & {"place", "part"}:
        found.append(f"a {kind} with neither place nor part")
    if "item" in entry and not isinstance(entry["item"], int):
        found.append("item is not a whole number")
    found += [f"at {word!r} is not listed" for word in entry.get("at", []) if word not in AT]
    for quantity in entry.get("quantities", []):
        found += faults_of_quantity(quantity)
    return found


def faults_of_job(job: dict[str, Any]) -> list[str]:
    found = [f"key {key}" for key in job.keys() ^ {"id", "voice", "utterances", "entries"}]
    if not 6 <= len(job["utterances"]) <= 14:
        found.append(f"{len(job['utterances'])} utterances")
    for entry in job["entries"]:
        found += [f"{fault} in {entry}" for fault in faults_of_entry(entry)]
        if not any(entry.get("quote") and entry["quote"] in said for said in job["utterances"]):
            found.append(f"quote {entry.get('quote')!r} was not said")
    alike = Counter(json.dumps({k: v for k, v in e.items() if k != "quote"}, sort_keys=True) for e in job["entries"])
    return found + [f"twice: {text}" for text, n in alike.items() if n > 1]


@pytest.mark.parametrize("path", FILES, ids=lambda p: f"{p.parent.name}-{p.stem}")
def test_labels_keep_to_the_contract(path: Path) -> None:
    """Each label uses only listed identifiers in the fields of its kind, and quotes words of its job."""
    faults = [f"{job['id']}: {fault}" for job in jobs_of(path) for fault in faults_of_job(job)]
    assert faults == []


def check_digit(vin: str) -> str:
    values = (int(c) if c.isdigit() else VIN_LETTERS[c] for c in vin)
    rest = sum(v * w for v, w in zip(values, VIN_WEIGHTS, strict=True)) % 11
    return "X" if rest == 10 else str(rest)


def test_vins_carry_the_check_digit_of_49_cfr_565() -> None:
    """Each vehicle identification number is valid by 49 CFR 565.15(c) or has a filler for the digit."""
    # 1M8GDM9AXKP042788 is the worked example of the Wikibooks page on vehicle identification numbers.
    spoken = [e["value"] for p in FILES for job in jobs_of(p) for e in job["entries"] if e.get("what") == "vin"]
    assert spoken
    assert [vin for vin in ["1M8GDM9AXKP042788", *spoken] if vin[8] not in (check_digit(vin), NO_DIGIT)] == []


def test_each_voice_is_split_in_halves() -> None:
    """Each voice but the open-only ones has halves of like size, and no job stands in both or twice."""
    halved = [path for path in FILES if not path.stem.startswith(OPEN_ONLY)]
    count = {side: {p.stem: len(jobs_of(p)) for p in halved if p.parent.name == side} for side in ("open", "held")}
    assert [path.name for path in FILES if path not in halved and path.parent.name != "open"] == []
    assert count["open"].keys() == count["held"].keys()
    assert all(abs(count["open"][voice] - count["held"][voice]) <= 1 for voice in count["open"])
    ids = [job["id"] for path in FILES for job in jobs_of(path)]
    assert [name for name, n in Counter(ids).items() if n > 1] == []


@pytest.mark.parametrize(
    ("slot", "wanted"),
    [
        ("place", IDS["place"]),
        ("part", IDS["part"]),
        ("side", IDS["side"]),
        ("method", IDS["method"]["ids"]),
        ("material", IDS["material"]["ids"]),
        ("what", IDS["fact"]["what"]),
        ("state", sorted({state for states in IDS["state"].values() if isinstance(states, list) for state in states})),
    ],
    ids=lambda v: v if isinstance(v, str) else "",
)
def test_the_set_covers_the_identifiers(slot: str, wanted: list[str]) -> None:
    """Every identifier of the closed list is used by some label."""
    used = {entry.get(slot) for path in FILES for job in jobs_of(path) for entry in job["entries"]}
    assert [name for name in wanted if name not in used] == []
