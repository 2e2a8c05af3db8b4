"""Finds what is shipped (vocabulary, models, demo sound) and where this machine keeps its own data.

The same three folders stand at the top of a clone, and inside the package in a wheel. Shipped files are read-only;
whatever a shop adds lives in the data folder.
"""

from __future__ import annotations

import os
from pathlib import Path

from fieldnote.errors import BadData

HOME_VARIABLE = "FIELDNOTE_HOME"


def shipped(name: str) -> Path:
    """The folder ``vocab``, ``models`` or ``sample_audio`` as shipped.

    Raises:
        BadData: the installation is incomplete.

    """
    package = Path(__file__).resolve().parent
    # A wheel carries the folders inside the package; a clone and an editable install have them beside it.
    for folder in (package / "_shipped" / name, package.parent / name):
        if folder.is_dir():
            return folder
    raise BadData(
        f"the shipped folder {name!r} is missing",
        where=str(package),
        do="Install fieldnote again; this installation is incomplete.",
    )


def data_home() -> Path:
    """The folder for jobs, sound and additions: ``FIELDNOTE_HOME``, else the system's place for user data."""
    named = os.environ.get(HOME_VARIABLE)
    if named:
        return Path(named).expanduser()
    import platformdirs

    return Path(platformdirs.user_data_dir("fieldnote", appauthor=False))
