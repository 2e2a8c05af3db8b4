"""Says entries in one line each, so that tables of expectations can be read."""

from __future__ import annotations

from collections.abc import Sequence

from fieldnote.extract import Extractor
from fieldnote.records import Entry, Intake


def tell(entry: Entry) -> str:
    """Such as "check liftgate-trough/seam-sealer left no skip? upper length 2in #3"."""
    if entry.kind == "fact":
        return f"fact {entry.what} {entry.value}{entry.unit or ''}"
    where = "/".join(filter(None, (entry.place or "", entry.part)))
    words = [entry.kind, where, entry.side or ""]
    words.append(("" if entry.present else "no ") + (entry.state or "-") + ("?" if entry.certainty == "unsure" else ""))
    words += [entry.method or "", f"with {entry.material}" if entry.material else ""]
    words += ["verify" if entry.stage == "verify" else "", " ".join(sorted(entry.at))]
    words += [f"{q.what} {q.value:g}{q.unit}" for q in entry.quantities]
    words.append(f"#{entry.item}" if entry.item is not None else "")
    return " ".join(filter(None, words))


def told(extractor: Extractor, *utterances: str, steering: str | None = None) -> Sequence[str]:
    intake = Intake(steering=steering) if steering else None  # type: ignore[arg-type]
    return [tell(entry) for entry in extractor.run(utterances, intake).entries]
