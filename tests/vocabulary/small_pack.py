"""A pack of a few words in a folder, for tests that change it."""

from pathlib import Path

PACK = """\
[pack]
id = "boats"
name = "Leaks of small boats"
version = "1"
unit_system = "metric"
"""

PLACES = """\
# Where water stands.
[[place]]
id = "bilge"   # the lowest place
name = "bilge"
plural = "bilges"
assembly = "hull"
near = ["hatch"]
say = [
  "bilge", # bottom of the boat
  "sump",
]

[[place]]
id = "hatch"
name = "hatch"
plural = "hatches"
assembly = "deck"
near = ["bilge"]
say = ["hatch", "deck hatch"]
"""

REST = """\
[[part]]
id = "seal"
name = "seal"
plural = "seals"
say = ["seal", "rubber seal"]

[[state]]
id = "torn"
name = "torn"
kinds = ["check"]
say = ["torn"]
nouns = ["tear"]
verbs = ["tear"]

[[state]]
id = "ok"
name = "sound"
kinds = ["check"]
say = ["ok", "sound"]

[[state]]
id = "replace"
name = "replaced"
kinds = ["repair"]
verbs = ["replace"]

[[unit]]
id = "minute"
symbol = "min"
measures = "time"
say = ["minute"]

[[quantity]]
id = "duration"
units = ["min", "s"]

[[quantity]]
id = "count"
units = [""]

[[fact]]
id = "labor"
value = "number"
units = ["h"]
say = ["labor"]

[[command]]
id = "disregard"
effect = "take-back"
say = ["scratch that"]

[words]
negator = ["no", "not"]
filler = ["um"]
function = ["the"]

[sides]
left = ["left", "port"]

[at]
upper = ["upper"]

[[spelling]]
word = "color"
also = ["colour"]
"""


def write_pack(folder: Path, **changed: str) -> Path:
    """The pack in ``folder``; ``changed`` replaces or adds files by stem."""
    folder.mkdir(parents=True, exist_ok=True)
    for stem, text in {"pack": PACK, "places": PLACES, "rest": REST, **changed}.items():
        (folder / f"{stem}.toml").write_text(text, encoding="utf-8")
    return folder
