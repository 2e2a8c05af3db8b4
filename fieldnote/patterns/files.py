"""Files of what recurs, written into a folder."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from fieldnote.errors import StoreFault


def write_files(folder: Path, files: Mapping[str, bytes]) -> tuple[Path, ...]:
    """Write each of ``files`` (by name) into ``folder``, which is made where it is missing; gives their paths.

    Raises:
        StoreFault: one cannot be written.

    """
    written = []
    for name, data in files.items():
        path = folder / name
        try:
            folder.mkdir(parents=True, exist_ok=True)
            path.write_bytes(data)
        except OSError as error:
            raise StoreFault(
                f"cannot be written ({error.strerror})", where=str(path), do="Choose another folder."
            ) from error
        written.append(path)
    return tuple(written)
