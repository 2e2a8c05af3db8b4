"""Gives a new place its rows in the leak map: those of a place that leaks in the same way, said of the new one.

The map itself is read and checked by ``suggest``; here only text is made. An overlay's map stands in place of the
shipped one, so it begins as a copy of it. Rows are appended; every line that was there stays as it is.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from hashlib import sha256
from typing import Any

import tomlkit

from fieldnote.errors import BadData, NotFound, UserMistake
from fieldnote.vocabulary.pack import Pack

MAP_FILE = "leak_map.toml"
_PLACE_KEY = {"source": "place", "wets": "place", "zone": "id"}
"""Tables of the map that speak of one place, and the key that names it."""
_COPIED = "# Copied from the shipped map "
_HEADER = re.compile(r"^\s*\[\[?\s*([A-Za-z_.\"-]+)\s*\]\]?")


def copy_rows(pack: Pack, overlay_map: str, *, like: str, id: str, name: str, prior_prob: float | None) -> str:
    """The text of the map with the rows of ``like`` added for the place ``id``.

    ``overlay_map``: the overlay's map as it stands, empty where it has none.

    Raises:
        NotFound: the pack has no leak map, or it holds no source at ``like``.
        UserMistake: ``prior_prob`` is no probability.

    """
    if prior_prob is not None and not 0.0 < prior_prob < 1.0:
        raise UserMistake(f"{prior_prob} is no probability", where="prior", do="Give a number between 0 and 1: 0.02.")
    text = overlay_map or _copy_of_shipped(pack)
    old_name = pack.term("place", like).name
    made = []
    for table, block in _blocks(text):
        row = _row_of(table, block, like)
        if row is not None:
            made.append(_renamed(table, block, like=like, id=id, names=(old_name, name), prior_prob=prior_prob))
    if not any(block.startswith("[[source]]") for block in made):
        raise NotFound(
            f"the leak map holds no source at {like!r}", where=MAP_FILE, do="Name a place that it has, with --like."
        )
    head = f"# ---- {name}: estimates taken over from the {old_name}, to be reviewed ----"
    return text.rstrip("\n") + "\n\n" + head + "\n\n" + "\n\n".join(made) + "\n"


def behind_shipped(pack: Pack) -> bool:
    """Whether the overlay's map is a copy of a shipped one that is no longer the shipped one."""
    for folder in pack.folders[1:]:
        if (folder / MAP_FILE).is_file():
            first = (folder / MAP_FILE).read_text(encoding="utf-8").partition("\n")[0]
            return first.startswith(_COPIED) and first.split()[-1] != _digest(_shipped(pack))
    return False


def _copy_of_shipped(pack: Pack) -> str:
    text = _shipped(pack)
    return f"{_COPIED}{_digest(text)}\n\n{text}"


def _digest(text: str) -> str:
    return sha256(text.encode("utf-8")).hexdigest()[:16]


def _shipped(pack: Pack) -> str:
    path = pack.folders[0] / MAP_FILE
    try:
        return path.read_text(encoding="utf-8")
    except FileNotFoundError as error:
        raise NotFound("the pack has no leak map", where=str(path), do="Add the place without --like.") from error
    except (OSError, UnicodeDecodeError) as error:
        raise BadData(f"cannot be read ({error})", where=str(path), do="Check the file.") from error


def _blocks(text: str) -> Iterator[tuple[str, str]]:
    """Every table with its text, from its header to the last line that is no comment and not empty."""
    table = ""
    lines: list[str] = []
    for line in [*text.splitlines(), "[end]"]:
        match = _HEADER.match(line)
        if match and not _inside_value(lines):
            while lines and (not lines[-1].strip() or lines[-1].lstrip().startswith("#")):
                lines.pop()
            if table:
                yield table, "\n".join(lines)
            table, lines = match.group(1).strip('"'), [line]
        else:
            lines.append(line)


def _inside_value(lines: list[str]) -> bool:
    """Whether a list that began in these lines is still open (a line may then begin with a bracket)."""
    bare = "\n".join(re.sub(r'"(?:[^"\\]|\\.)*"|#.*', "", line) for line in lines[1:])
    return bare.count("[") > bare.count("]")


def _row_of(table: str, block: str, place: str) -> dict[str, Any] | None:
    key = _PLACE_KEY.get(table)
    if key is None or place not in block:
        return None
    row: dict[str, Any] = tomlkit.parse(block).unwrap()[table][0]
    return row if row.get(key) == place else None


def _renamed(table: str, block: str, *, like: str, id: str, names: tuple[str, str], prior_prob: float | None) -> str:
    """The block said of the new place: its comments and its layout stay."""
    doc: Any = tomlkit.parse(block)
    row = doc[table][0]
    if table == "zone":
        row["id"] = id
    else:
        row["place"] = id
    if table == "source":
        old = str(row["id"])
        row["id"] = old.replace(like, id) if like in old else f"{id}-{old}"
        title = str(row.get("name", ""))
        row["name"] = title.replace(names[0], names[1]) if names[0] in title else f"{names[1]}: {title}"
        if prior_prob is not None:
            row["prior_prob"] = prior_prob
    text = tomlkit.dumps(doc).rstrip("\n")
    return text.replace(f'"{like}"', f'"{id}"')
