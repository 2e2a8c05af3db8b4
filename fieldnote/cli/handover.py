"""``fieldnote job handover``: one leaf and one spoken minute for the colleague who takes over."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Optional

import typer

from fieldnote.cli.narrate import put
from fieldnote.errors import UserMistake

if TYPE_CHECKING:
    from fieldnote.narrate.handing_over import Handover

FORMATS = ("txt", "md", "html", "pdf", "json")


def handover(
    job: Annotated[str, typer.Argument(metavar="JOB", help="A kept job: its name, id, or the start of either.")],
    spoken: Annotated[bool, typer.Option("--spoken", help="Only what to say: at most one minute.")] = False,
    to: Annotated[Optional[str], typer.Option("--to", help="Format: txt, md, html, pdf or json.")] = None,
    out: Annotated[
        Optional[Path], typer.Option("--out", help="Write to this file (its ending tells the format) or folder.")
    ] = None,
    accept: Annotated[bool, typer.Option("--accept", help="Take the job over as the leaf describes it.")] = False,
    by: Annotated[Optional[str], typer.Option("--by", help="With --accept: who; otherwise who is logged in.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="The same as --to json.")] = False,
) -> None:
    """Hand a job over: where it stands, what is proved and cleared, the next check, what is off, drying or awaited.

    Examples:

      fieldnote job handover "Unit 217"

      fieldnote job handover "Unit 217" --spoken

      fieldnote job handover "Unit 217" --out leaf.pdf

      fieldnote job handover "Unit 217" --accept --by Bo
    """
    if accept:
        _accept(job, by)
        return
    wanted = to or ("json" if as_json else None) or (out.suffix.lstrip(".") if out and not out.is_dir() else "txt")
    if wanted not in FORMATS:
        raise UserMistake(f"no format {wanted!r}", where="--to", do=f"Formats are: {', '.join(FORMATS)}.")
    leaf = _leaf(job)
    if spoken:
        print(leaf.spoken)
        return
    put(_made(leaf, wanted), wanted, out, leaf.title)


def _accept(ref: str, by: str | None) -> None:
    from fieldnote.flow import Rooms
    from fieldnote.flow.confirming import accept_handover
    from fieldnote.flow.who import person_of

    store = Rooms().store
    found = store.job(ref)
    edit = accept_handover(store, found, _leaf(ref).text, person_of(by))
    print(f"{edit.person} took over {found.name}.")


def _leaf(ref: str) -> Handover:
    from fieldnote.flow import Rooms, next_checks
    from fieldnote.narrate import handover as write

    rooms = Rooms()
    found = rooms.store.job(ref)
    rooms = rooms.for_pack(found.pack)
    advice = None
    if any((folder / "leak_map.toml").is_file() for folder in rooms.pack.folders):
        advice = next_checks(rooms.store, found, rooms.leak_map, cautions=rooms.cautions)
    leaf: Handover = write(found, rooms.pack, advice)
    return leaf


def _made(leaf: Handover, to: str) -> bytes:
    if to == "txt":
        return leaf.text.encode("utf-8")
    if to == "json":
        parts = [
            {
                "heading": p.heading,
                "sentences": [{"text": s.text, "entries": list(s.entries)} for s in p.lines],
                "empty": p.empty,
            }
            for p in leaf.parts
        ]
        wire = {"title": leaf.title, "parts": parts, "spoken": leaf.spoken}
        return (json.dumps(wire, ensure_ascii=False, indent=2) + "\n").encode("utf-8")
    from fieldnote.narrate.formats import document_as

    return document_as(leaf.document(), to)


__all__ = ["handover"]
