"""The drawing of the vehicle as a picture of dots, for formats that take no drawing of lines."""

from __future__ import annotations

import io
from collections.abc import Sequence

from fontTools.pens.basePen import BasePen
from fontTools.svgLib.path import parse_path
from PIL import Image, ImageDraw

from fieldnote.narrate.sketch import Mark, MarkKind, Sketch, placed, shape, size_of

Points = list[tuple[float, float]]

PIXELS = 1440
"""Width of the picture: 8 dots a millimetre at 170 mm."""
_FINER = 2
"""Drawn larger by this and shrunk, so that slanting lines are smooth."""
_STEPS = 16
_INK, _SOFT = (22, 35, 42), (85, 99, 106)
_WHITE = (255, 255, 255)
# Fill of each mark as in print; the shapes differ too, so that grey paper shows which is which.
_FILLS: dict[MarkKind, tuple[int, int, int]] = {"showed": (12, 74, 91), "entry": _INK, "sound": _WHITE}


class _Flat(BasePen):  # type: ignore[misc]
    """Takes a path and gives its runs of straight lines."""

    def __init__(self) -> None:
        super().__init__(None)
        self.runs: list[Points] = []

    def _moveTo(self, pt: tuple[float, float]) -> None:  # noqa: N802 -- the library's name
        self.runs.append([pt])

    def _lineTo(self, pt: tuple[float, float]) -> None:  # noqa: N802
        self.runs[-1].append(pt)

    def _curveToOne(self, pt1: tuple[float, float], pt2: tuple[float, float], pt3: tuple[float, float]) -> None:  # noqa: N802
        x0, y0 = self.runs[-1][-1]
        for step in range(1, _STEPS + 1):
            t = step / _STEPS
            a, b, c, d = (1 - t) ** 3, 3 * t * (1 - t) ** 2, 3 * t * t * (1 - t), t**3
            self.runs[-1].append(
                (a * x0 + b * pt1[0] + c * pt2[0] + d * pt3[0], a * y0 + b * pt1[1] + c * pt2[1] + d * pt3[1])
            )

    def _closePath(self) -> None:  # noqa: N802
        self.runs[-1].append(self.runs[-1][0])

    def _endPath(self) -> None:  # noqa: N802
        """An open line stays open."""


def runs_of(path: str) -> list[Points]:
    """The straight lines of an SVG path (https://www.w3.org/TR/SVG2/paths.html), curves in small steps."""
    pen = _Flat()
    parse_path(path, pen)
    return pen.runs


def sketch_png(sketch: Sketch, marks: Sequence[Mark]) -> bytes:
    """The drawing with its marks as a PNG, ``PIXELS`` wide, on white."""
    scale = _FINER * PIXELS / sketch.width
    picture = Image.new("RGB", (round(sketch.width * scale), round(sketch.height * scale)), _WHITE)
    pencil = ImageDraw.Draw(picture)

    def scaled(points: Points) -> Points:
        return [(x * scale, y * scale) for x, y in points]

    for paths, colour, width in ((sketch.detail, _SOFT, 0.8), (sketch.outline, _INK, 2.0)):
        for path in paths:
            for run in runs_of(path):
                pencil.line(scaled(run), fill=colour, width=round(width * scale), joint="curve")
    for spot in placed(sketch, marks):
        for run in runs_of(shape(spot.mark.kind, spot.x, spot.y, size_of(spot.mark))):
            outline = scaled(run)
            pencil.polygon(outline, fill=_FILLS[spot.mark.kind])
            edge = _INK if spot.mark.kind == "sound" else _WHITE
            pencil.line([*outline, outline[0]], fill=edge, width=round(1.2 * scale), joint="curve")
    kept = io.BytesIO()
    picture.resize((PIXELS, round(PIXELS * sketch.height / sketch.width)), Image.Resampling.LANCZOS).save(
        kept, "PNG", optimize=True
    )
    return kept.getvalue()


__all__ = ["runs_of", "sketch_png"]
