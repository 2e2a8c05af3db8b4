"""Run as a child: makes a photo that may be kept of one that came in, or reads the bar codes in it, under limits.

``python -m fieldnote.web.photo_check keep IN OUT`` writes OUT and prints its size; ``… read IN`` prints what the bar
codes say. Either prints JSON, with ``what`` and ``do`` where the picture cannot be used.

What is kept is drawn anew: upright as the camera was held (Exif orientation), in sRGB, no longer than a screen needs,
as a JPEG without anything beside the picture: no position, no time, no serial number, no preview that still shows more.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

LONGEST_PX = 1800
MOST_PIXELS = 120_000_000
"""Phones take up to 108 or 200 million; those are scaled down by their own browser or refused."""
_QUALITY = 82
_MEMORY = 2_500_000_000
_CPU_S = 25
_KINDS = ("JPEG", "PNG", "WEBP", "MPO")
"""Of Pillow; MPO is what some phones write as .jpg. Others have decoders that fewer people look after."""
_DO = "Take the picture again, as JPEG or PNG. Nothing was kept."


def limit() -> None:
    """Bound this process, where the system can (POSIX)."""
    try:
        import resource
    except ImportError:
        return
    resource.setrlimit(resource.RLIMIT_AS, (_MEMORY, _MEMORY))
    resource.setrlimit(resource.RLIMIT_CPU, (_CPU_S, _CPU_S))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


def keep(source: Path, out: Path) -> dict[str, Any]:
    """Write the picture as it may be kept; ``width`` and ``height`` in pixels, or ``what`` is wrong."""
    picture = _opened(source)
    if isinstance(picture, dict):
        return picture
    made = _in_srgb(picture)
    made.thumbnail((LONGEST_PX, LONGEST_PX))
    made.save(out, "JPEG", quality=_QUALITY, optimize=True, progressive=True)
    return {"width": made.width, "height": made.height}


def read(source: Path) -> dict[str, Any]:
    """What the bar codes in a picture say: ``codes`` as pairs of kind and text, or ``what`` is wrong."""
    import zxingcpp

    picture = _opened(source)
    if isinstance(picture, dict):
        return picture
    kinds = zxingcpp.barcode_formats_from_str("Code39|Code128|DataMatrix|QRCode")
    grey = picture.convert("L")
    found = zxingcpp.read_barcodes(grey, formats=kinds)
    if not found:
        # A phone's picture may be finer than its lens: the bars come out of the noise in a smaller one.
        for share in (2, 4):
            if min(grey.size) // share < 200:
                break
            found = zxingcpp.read_barcodes(grey.reduce(share), formats=kinds)
            if found:
                break
    return {"codes": [[str(code.format).rpartition(".")[2], code.text] for code in found]}


def _opened(source: Path) -> Any:
    """The picture, upright; or what is wrong with it."""
    from PIL import Image, ImageOps

    Image.MAX_IMAGE_PIXELS = MOST_PIXELS
    try:
        with Image.open(source, formats=_KINDS) as opened:
            if opened.width * opened.height > MOST_PIXELS:
                return _refused("this picture is too large")
            # A JPEG is read at a fraction of its size where that is enough: less memory, and much less time.
            opened.draft(None, (2 * LONGEST_PX, 2 * LONGEST_PX))
            return ImageOps.exif_transpose(opened)
    except (Image.DecompressionBombError, Image.DecompressionBombWarning, MemoryError):
        return _refused("this picture is too large")
    except Exception:  # noqa: BLE001 - decoders raise whatever they like at broken files; all of it means the same
        return _refused("this is no picture that can be read")


def _in_srgb(picture: Any) -> Any:
    """The picture in the colours that every screen and printer assumes, on white where it was see-through."""
    import io

    from PIL import Image, ImageCms

    profile = picture.info.get("icc_profile")
    if "A" in picture.getbands() or picture.mode == "P":
        picture = picture.convert("RGBA")
        ground = Image.new("RGBA", picture.size, "white")
        ground.alpha_composite(picture)
        picture = ground
    picture = picture.convert("RGB")
    if profile:
        try:
            own = ImageCms.ImageCmsProfile(io.BytesIO(profile))
            picture = ImageCms.profileToProfile(picture, own, ImageCms.createProfile("sRGB")) or picture
        except (ImageCms.PyCMSError, OSError, ValueError):
            pass  # a profile that cannot be used: the colours are a little off, the picture is the same
    picture.info = {}
    return picture


def _refused(what: str) -> dict[str, Any]:
    return {"what": what, "do": _DO}


if __name__ == "__main__":
    limit()
    todo, *paths = sys.argv[1:]
    try:
        result = keep(Path(paths[0]), Path(paths[1])) if todo == "keep" else read(Path(paths[0]))
    except MemoryError:
        result = _refused("this picture is too large")
    sys.stdout.write(json.dumps(result))
