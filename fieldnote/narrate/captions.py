"""What was said, as WebVTT captions for the sound (W3C WebVTT: header, cues with times to the millisecond)."""

from __future__ import annotations

from fieldnote.errors import UserMistake
from fieldnote.records import Clip, Job, Utterance

SHORTEST_S = 0.001


def captions(job: Job, clip_id: str | None = None) -> str:
    """Captions for one clip, or for all clips of the job played one after another.

    Raises:
        UserMistake: the job has no such clip.

    """
    clips = [c for c in job.clips if clip_id in (None, c.id)]
    if clip_id is not None and not clips:
        raise UserMistake(f"no clip {clip_id!r} in this job", where=job.name, do="List them with: fieldnote job show.")
    blocks = ["WEBVTT"]
    start = 0.0
    for index, clip in enumerate(clips, 1):
        if clip_id is None and len(clips) > 1:
            blocks.append(_note(f"clip {index}: {clip.source}, from {stamp(start)}"))
        blocks += [_cue(u, start) for u in _said_in(job, clip)]
        start += clip.duration_s
    return "\n\n".join(blocks) + "\n"


def _said_in(job: Job, clip: Clip) -> list[Utterance]:
    said = [u for u in job.utterances if u.clip_id == clip.id and u.from_s is not None and u.text.strip()]
    return sorted(said, key=lambda u: (u.from_s or 0.0, u.id))


def _cue(said: Utterance, start: float) -> str:
    begin = start + max(said.from_s or 0.0, 0.0)
    end = start + (said.to_s if said.to_s is not None else said.from_s or 0.0)
    return f"{_id(said.id)}\n{stamp(begin)} --> {stamp(max(end, begin + SHORTEST_S))}\n{_escaped(said.text)}"


def stamp(seconds: float) -> str:
    """A time as WebVTT writes it: ``hh:mm:ss.ttt``."""
    ms = round(seconds * 1000)
    return f"{ms // 3_600_000:02d}:{ms // 60_000 % 60:02d}:{ms // 1000 % 60:02d}.{ms % 1000:03d}"


def _escaped(text: str) -> str:
    """The text on one line, with what WebVTT would take for marks escaped."""
    return " ".join(text.split()).replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")


def _id(id: str) -> str:
    return " ".join(id.split()).replace("-->", "->") or "cue"


def _note(text: str) -> str:
    return "NOTE " + " ".join(text.split()).replace("-->", "->")


__all__ = ["captions", "stamp"]
