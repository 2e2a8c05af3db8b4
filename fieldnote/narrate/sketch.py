"""A plain vehicle with marks on it: where water showed, where it came in, what was found sound.

The drawing is data of the pack (``sketch.toml``). A mark differs by shape, and again by fill, so that it can be told in
grey print and without colour: a drop (water showed), a diamond (it came in), a square (looked at or dry).
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from fieldnote.errors import Fault, PackFault
from fieldnote.narrate.proof import leaked, prove, stayed_dry
from fieldnote.narrate.wording import Vocabulary, load_wording
from fieldnote.records import Entry, Side

FILE_NAME = "sketch.toml"
MarkKind = Literal["showed", "entry", "sound"]
LEGEND: dict[MarkKind, str] = {"showed": "water showed", "entry": "where it comes in", "sound": "sound or dry"}
SIZE = 8.5
OFF_AXIS = 16.0
"""How far from the middle a side is drawn at a place that has no pair."""
Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Sketch:
    """The drawing: size, paths, the axis of the view from above, and where each place lies in both views."""

    width: float
    height: float
    axis: float
    outline: tuple[str, ...]
    detail: tuple[str, ...]
    side: Mapping[str, Point]
    top: Mapping[str, Point]


@dataclass(frozen=True, slots=True)
class Mark:
    """Something to be shown at a place; ``label`` stands beside it."""

    kind: MarkKind
    place: str
    side: Side | None = None
    label: str = ""


@dataclass(frozen=True, slots=True)
class Spot:
    """A mark where it is drawn."""

    mark: Mark
    x: float
    y: float


def load_sketch(pack: Vocabulary) -> Sketch | None:
    """The drawing of a pack; None where it has none.

    Raises:
        PackFault: the file cannot be used.

    """
    path = next((f / FILE_NAME for f in reversed(pack.folders) if (f / FILE_NAME).is_file()), None)
    if path is None:
        return None
    try:
        return _read(tomllib.loads(path.read_text(encoding="utf-8")), path)
    except (UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise _unusable(path, "", str(error), "valid TOML in UTF-8") from error


def _read(data: dict[str, Any], path: Path) -> Sketch:
    head = data.get("sketch", {})
    for key in ("width", "height", "axis"):
        if not isinstance(head.get(key), (int, float)) or head[key] <= 0:
            raise _unusable(path, f"sketch.{key}", repr(head.get(key)), "a number above zero")
    points: dict[str, dict[str, Point]] = {"side": {}, "top": {}}
    for id, views in data.get("place", {}).items():
        for view, at in views.items():
            good = isinstance(at, list) and len(at) == 2 and all(isinstance(v, (int, float)) for v in at)
            if view not in points or not good or not (0 <= at[0] <= head["width"] and 0 <= at[1] <= head["height"]):
                raise _unusable(path, f"place.{id}.{view}", repr(at), "side or top = [x, y] within the drawing")
            points[view][id] = (float(at[0]), float(at[1]))
    return Sketch(
        width=float(head["width"]),
        height=float(head["height"]),
        axis=float(head["axis"]),
        outline=tuple(head.get("outline", ())),
        detail=tuple(head.get("detail", ())),
        side=points["side"],
        top=points["top"],
    )


def _unusable(path: Path, key: str, found: str, expected: str) -> PackFault:
    fault = Fault(path.name, 0, key, found, expected)
    return PackFault(f"the sketch cannot be used: {fault}", where=str(path), do="Mend the file.", faults=(fault,))


# ---- marks ----------------------------------------------------------------------------------------------------


def marks_of(entries: Sequence[Entry], pack: Vocabulary) -> tuple[Mark, ...]:
    """The marks of a job: signs seen, ways in that were proved or seen as a fault, places found sound or dry."""
    wording = load_wording(pack)
    showed = [
        Mark("showed", e.place, e.side)
        for e in entries
        if e.kind == "evidence" and e.place and e.present != wording.state(e.state).faultless
    ]
    came_in = [
        Mark("entry", leak.head.place, leak.head.side)
        for leak in prove(entries, wording).leaks
        if leak.head.place and leak.grade != "suspected"
    ]
    wet = {(e.place, e.side) for e in entries if leaked(e)} | {(m.place, m.side) for m in came_in}
    sound = [
        Mark("sound", e.place, e.side)
        for e in entries
        if e.place
        and (e.place, e.side) not in wet
        and (stayed_dry(e) or (e.kind == "check" and e.present and wording.state(e.state).faultless))
    ]
    return tuple(dict.fromkeys((*showed, *came_in, *sound)))


def side_seen(marks: Sequence[Mark]) -> Side:
    """Which side the side view shows: the one with more marks, the left where there are as many."""
    count = {side: sum(m.side == side for m in marks) for side in ("left", "right")}
    return "right" if count["right"] > count["left"] else "left"


def caption(marks: Sequence[Mark]) -> str:
    """What the views show, for the line under the drawing."""
    if side_seen(marks) == "left":
        return "Left side, and from above; front to the left."
    return "Right side (drawn with its front to the left), and from above."


def placed(sketch: Sketch, marks: Sequence[Mark]) -> tuple[Spot, ...]:
    """Marks in both views, moved aside where they would cover another. The side view shows one side and the middle."""
    out: list[Spot] = []
    away = "left" if side_seen(marks) == "right" else "right"
    for mark in marks:
        if mark.place in sketch.top:
            x, y = sketch.top[mark.place]
            off = y - sketch.axis or OFF_AXIS
            for way in _ways(mark.side, paired=y != sketch.axis):
                out.append(_free(out, Spot(mark, x, sketch.axis + way * off)))
        if mark.place in sketch.side and mark.side != away:
            x, y = sketch.side[mark.place]
            out.append(_free(out, Spot(mark, x, y)))
    return tuple(out)


def _ways(side: Side | None, *, paired: bool) -> tuple[int, ...]:
    """1 for the left side (towards the foot of the drawing), -1 for the right, 0 for the middle."""
    unsaid = (1, -1) if paired else (0,)
    return {"left": (1,), "right": (-1,), "both": (1, -1), "center": (0,)}.get(side or "", unsaid)


def size_of(mark: Mark) -> float:
    """A mark with a label is larger."""
    return SIZE * (1.3 if mark.label else 1.0)


def _free(taken: Sequence[Spot], wanted: Spot) -> Spot:
    """The spot, or the nearest one beside it that no other mark covers."""
    for ring in range(6):
        for dx, dy in ((ring, 0), (-ring, 0), (0, ring), (0, -ring)):
            step = 1.7 * size_of(wanted.mark)
            x, y = wanted.x + dx * step, wanted.y + dy * step
            if not any(_covers(x, y, wanted.mark, other) for other in taken):
                return Spot(wanted.mark, x, y)
    return wanted


def _covers(x: float, y: float, mark: Mark, other: Spot) -> bool:
    apart = 0.85 * (size_of(mark) + size_of(other.mark))
    return abs(x - other.x) < apart and abs(y - other.y) < apart


# ---- SVG ------------------------------------------------------------------------------------------------------


def svg(sketch: Sketch, marks: Sequence[Mark], *, title: str) -> str:
    """The drawing as SVG; the page's style gives the colours, and ``title`` is what a screen reader says."""
    from xml.sax.saxutils import escape

    spots = placed(sketch, marks)
    body = [f'<path class="outline" d="{escape(d)}"/>' for d in sketch.outline]
    body += [f'<path class="detail" d="{escape(d)}"/>' for d in sketch.detail]
    body += [_drawn(spot) for spot in spots]
    return (
        f'<svg class="sketch" role="img" viewBox="0 0 {sketch.width:g} {sketch.height:g}" '
        f'xmlns="http://www.w3.org/2000/svg"><title>{escape(title)}</title>{"".join(body)}</svg>'
    )


def shape(kind: MarkKind, x: float, y: float, size: float = SIZE) -> str:
    """The path of a mark around its middle."""
    s = size
    if kind == "showed":
        return (
            f"M{x:g} {y - 1.25 * s:g} C{x + 0.5 * s:g} {y - 0.4 * s:g} {x + s:g} {y:g} {x + s:g} {y + 0.35 * s:g} "
            f"A{s:g} {0.9 * s:g} 0 0 1 {x - s:g} {y + 0.35 * s:g} "
            f"C{x - s:g} {y:g} {x - 0.5 * s:g} {y - 0.4 * s:g} {x:g} {y - 1.25 * s:g} Z"
        )
    if kind == "entry":
        return f"M{x:g} {y - 1.2 * s:g} L{x + 1.2 * s:g} {y:g} L{x:g} {y + 1.2 * s:g} L{x - 1.2 * s:g} {y:g} Z"
    return f"M{x - 0.7 * s:g} {y - 0.7 * s:g} h{1.4 * s:g} v{1.4 * s:g} h{-1.4 * s:g} Z"


def _drawn(spot: Spot) -> str:
    from xml.sax.saxutils import escape

    path = f'<path class="mark {spot.mark.kind}" d="{shape(spot.mark.kind, spot.x, spot.y, size_of(spot.mark))}"/>'
    if not spot.mark.label:
        return path
    where = f'x="{spot.x:g}" y="{spot.y + 3.6:g}"'
    return f'{path}<text class="mark-label {spot.mark.kind}" {where}>{escape(spot.mark.label)}</text>'


__all__ = [
    "LEGEND",
    "Mark",
    "Sketch",
    "Spot",
    "caption",
    "load_sketch",
    "marks_of",
    "placed",
    "shape",
    "size_of",
    "svg",
]
