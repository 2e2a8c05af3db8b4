"""Golden write-ups: ``tests/golden/CASE`` holds ``entries.json`` and the ``narrative.md`` that it gives.

A case is added by its ``entries.json`` alone. After a change that is meant, write them anew, and read the difference:

    python -m tests.narrate.golden
"""

from pathlib import Path

from fieldnote.narrate import narrate, render
from fieldnote.narrate.export import entries_from_json
from fieldnote.records import Job

from .jobs import PACK

FOLDER = Path(__file__).parents[1] / "golden"
CASES = sorted(path.parent.name for path in FOLDER.glob("*/entries.json"))


def written(case: str) -> str:
    """The write-up of a case as Markdown."""
    entries = entries_from_json((FOLDER / case / "entries.json").read_text(encoding="utf-8"), where=case)
    job = Job(id=case, name=case.replace("-", " ").capitalize(), created_at="2026-01-05T08:00:00Z", entries=entries)
    return render(narrate(job, PACK), job, PACK, "md").decode("utf-8")


def regenerate() -> None:
    """Write every ``narrative.md`` anew."""
    for case in CASES:
        (FOLDER / case / "narrative.md").write_text(written(case), encoding="utf-8")


if __name__ == "__main__":
    regenerate()
