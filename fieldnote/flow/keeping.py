"""How long sound is kept: the shop's setting, and letting go of what is due once a day."""

from __future__ import annotations

import threading
from pathlib import Path

import tomlkit
from tomlkit.exceptions import TOMLKitError

from fieldnote.errors import BadData, FieldnoteError, StoreFault, UserMistake
from fieldnote.flow.rooms import Rooms
from fieldnote.settings import FILE_NAME, load_settings
from fieldnote.store.retention import LetGo, let_go

LONGEST_DAYS = 36_500
DAY_S = 24 * 3600.0


def set_sound_days(rooms: Rooms, days: int) -> None:
    """Set for how many days sound is kept after a job is closed; 0 keeps it until it is deleted by hand.

    The rest of the shop's settings file stays as it is, comments and order too.

    Raises:
        UserMistake: no number of days that can be.
        BadData: the settings file cannot be read.
        StoreFault: it cannot be written.

    """
    if not 0 <= days <= LONGEST_DAYS:
        raise UserMistake(f"{days} days cannot be", where="days", do=f"Give a number from 0 to {LONGEST_DAYS}.")
    path = rooms.home / FILE_NAME
    before = path.read_text(encoding="utf-8") if path.is_file() else ""
    try:
        file = tomlkit.parse(before)
        file.setdefault("keep", tomlkit.table())["sound_days"] = days
    except (TOMLKitError, TypeError) as error:
        raise BadData(f"not a settings file ({error})", where=str(path), do="Mend it by hand.") from error
    _put(path, tomlkit.dumps(file))
    rooms.__dict__["settings"] = load_settings(path)


def _put(path: Path, text: str) -> None:
    part = path.with_suffix(".part")
    try:
        part.write_text(text, encoding="utf-8")
        load_settings(part)  # what would be refused at the next start is refused now
        part.replace(path)
    except OSError as error:
        raise StoreFault(f"cannot be written ({error.strerror})", where=str(path), do="Check its folder.") from error
    finally:
        part.unlink(missing_ok=True)


def let_go_due(rooms: Rooms) -> LetGo:
    """Delete the sound that is due by the setting; nothing where it is kept until deleted by hand."""
    days = rooms.settings.keep.sound_days
    return let_go(rooms.store, days) if days > 0 else LetGo(0, 0)


class Daily:
    """Lets go of what is due when it is started and once a day from then on, in a thread of its own."""

    def __init__(self, rooms: Rooms, every_s: float = DAY_S) -> None:
        self.fault = ""
        """Why it could not be done the last time; "" where it was."""
        self._rooms = rooms
        self._every_s = every_s
        self._stopped = threading.Event()
        self._thread = threading.Thread(target=self._run, name="letting sound go", daemon=True)

    def start(self) -> None:
        """Begin."""
        self._thread.start()

    def close(self) -> None:
        """Stop; what is under way is finished."""
        self._stopped.set()
        if self._thread.is_alive():
            self._thread.join()

    def _run(self) -> None:
        while True:
            try:
                let_go_due(self._rooms)
                self.fault = ""
            except FieldnoteError as error:
                self.fault = str(error)
            if self._stopped.wait(self._every_s):
                return


__all__ = ["Daily", "let_go_due", "set_sound_days"]
