"""``fieldnote guide``: for each place where water shows, a leaf on where to look and how to test."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Optional

import typer

from fieldnote.cli.narrate import put
from fieldnote.errors import DeviceMissing, UserMistake

if TYPE_CHECKING:
    from fieldnote.flow import Rooms
    from fieldnote.narrate.field_guide import Leaf

FORMATS = ("txt", "html", "pdf")


def guide(
    place: Annotated[
        Optional[list[str]],
        typer.Argument(metavar="PLACE", help="Where water shows, by name or id; none: every place of the map."),
    ] = None,
    to: Annotated[Optional[str], typer.Option("--to", help="Format: txt, html or pdf.")] = None,
    out: Annotated[
        Optional[Path], typer.Option("--out", help="Write to this file (its ending tells the format) or folder.")
    ] = None,
    pack: Annotated[Optional[str], typer.Option("--pack", help="Vocabulary pack.")] = None,
    learning: Annotated[
        bool, typer.Option("--learning/--no-learning", help="Use what closed jobs taught, or the map's own rates.")
    ] = True,
) -> None:
    """Print the field guide: where it may come in, in which order to look, how to test, what good and bad look like.

    Examples:

      fieldnote guide d-pillar

      fieldnote guide --out guide.pdf

      fieldnote guide "rear floor" --out rear-floor.html
    """
    from fieldnote.flow import Rooms
    from fieldnote.flow.guiding import guide as made

    wanted = to or (out.suffix.lstrip(".") if out is not None and not out.is_dir() else "txt")
    if wanted not in FORMATS:
        raise UserMistake(f"no format {wanted!r}", where="--to", do=f"Formats are: {', '.join(FORMATS)}.")
    rooms = Rooms(pack=pack)
    leaves, taught = made(rooms, [_place_id(name, rooms) for name in place or ()], learning=learning)
    name = leaves[0].place if len(leaves) == 1 else "field-guide"
    put(_written(leaves, taught, wanted, rooms), wanted, out, name)


def _place_id(name: str, rooms: Rooms) -> str:
    """The id of a place by its id, its name or the way it is spoken; what is none is left for the map to refuse."""
    said = " ".join(name.lower().replace("-", " ").split())
    for term in rooms.pack.terms("place"):
        if said in (term.id.replace("-", " "), term.name.lower().replace("-", " "), *term.say):
            return term.id
    return name


def _written(leaves: tuple[Leaf, ...], taught: str, to: str, rooms: Rooms) -> bytes:
    from fieldnote.narrate.sketch import load_sketch

    if to == "txt":
        return "\n\n".join(_text(leaf) for leaf in leaves).encode("utf-8")
    sketch = load_sketch(rooms.pack)
    if to == "html":
        from fieldnote.narrate.guide_page import guide_html

        return guide_html(leaves, sketch, taught=taught).encode("utf-8")
    try:
        from fieldnote.narrate.guide_pdf import guide_pdf
    except ModuleNotFoundError as error:
        raise DeviceMissing(
            f"the library {error.name} is not installed",
            where="--to pdf",
            do="Install: pip install 'fieldnote[documents]'.",
        ) from error
    return guide_pdf(leaves, sketch, taught=taught)


def _text(leaf: Leaf) -> str:
    from fieldnote.narrate.field_guide import RULE
    from fieldnote.narrate.guide_page import minutes, openings, share

    out = [f"Water shows at the {leaf.title}", RULE, ""]
    for index, c in enumerate(leaf.candidates, 1):
        where = f"{c.where}, {c.side}" if c.side else c.where
        out.append(f"{index:>2}. {c.name} ({where}; {share(c.share)})")
        first = f"; first off: {openings(c.opens)}" if c.opens else ""
        out.append(f"    look {minutes(c.minutes)}{first}; test: {c.test}")
        out.append(f"    good: {c.good}; bad: {c.bad}{f'; {c.note}' if c.note else ''}")
    if leaf.rest:
        out += ["", f"Less likely: {'; '.join(leaf.rest)}."]
    return "\n".join([*out, "", "Cautions", *(f"- {c}" for c in leaf.cautions), ""])


__all__ = ["guide"]
