"""A span of live sound as the file that is kept of it."""

from __future__ import annotations

import io

from fieldnote.capture.journal import RawSamples

SUFFIX = ".flac"


def clip_bytes(samples: RawSamples, rate_hz: int, note: str) -> bytes:
    """A FLAC file (lossless, 16-bit) of ``samples``.

    ``note`` says where they come from. It stands in the file, so that no two spans are the same file, silence included:
    clips are known by the hash of their bytes.
    """
    import soundfile

    out = io.BytesIO()
    with soundfile.SoundFile(out, "w", rate_hz, 1, subtype="PCM_16", format="FLAC") as file:
        file.comment = note
        file.write(samples)
    return out.getvalue()
