"""Fetches one pinned file over HTTP: goes on where it broke off, never keeps what is not the pinned file.

The only module of recognize that opens a network connection; only ``fieldnote models fetch`` comes here.
"""

from __future__ import annotations

import errno
import http.client
import time
import urllib.error
import urllib.request
from collections.abc import Callable
from pathlib import Path

from fieldnote import __version__
from fieldnote.errors import ModelMissing, StoreFault, WrongHash
from fieldnote.recognize.model_files import PinnedFile, sha256_of

Progress = Callable[[int, int], None]
"""Told bytes done and bytes in all (0 where unknown) of the file."""
_BLOCK_BYTES = 1 << 16
_TIMEOUT_S = 30.0
_TRIES = 4
_UNPINNED_LIMIT_BYTES = 1 << 20
_TRY_AGAIN = "It was thrown away. Try again later, or bring the file and use `fieldnote models add FILE`."


def download(pin: PinnedFile, target: Path, progress: Progress, *, pause_s: float = 1.0) -> None:
    """Fetch ``pin`` into ``target``; ``target`` appears only when it is whole and verified.

    What has come so far stays in ``target`` with ``.part`` added, and the next call goes on from there.

    Raises:
        ModelMissing: no connection, or it broke off again and again.
        WrongHash: what came is not the pinned file; it is thrown away.
        StoreFault: the disk is full or cannot be written.

    """
    part = target.with_name(target.name + ".part")
    resumed = part.is_file() and part.stat().st_size > 0
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        _fill(pin, part, progress, pause_s)
        try:
            _check(pin, part)
        except WrongHash:
            part.unlink()
            if not resumed:
                raise
            # The beginning may have been another file's: once more from the start.
            _fill(pin, part, progress, pause_s)
            _check(pin, part)
        part.replace(target)
    except WrongHash:
        part.unlink(missing_ok=True)
        raise
    except OSError as error:
        raise disk_fault(error, target) from error


def _fill(pin: PinnedFile, part: Path, progress: Progress, pause_s: float) -> None:
    """Add to ``part`` until it is whole; a broken connection is taken up again a few times."""
    reason = ""
    for attempt in range(_TRIES):
        if attempt:
            time.sleep(pause_s * attempt)
        try:
            if _receive(pin, part, progress):
                return
            reason = "it broke off"
        except urllib.error.HTTPError as error:
            reason = f"the server answered {error.code} {error.reason}"
            if error.code < 500:
                break
        except urllib.error.URLError as error:
            if isinstance(error.reason, OSError) and error.reason.errno in _DISK_ERRORS:
                raise error.reason from error
            reason = str(error.reason)
        except (http.client.HTTPException, TimeoutError, ConnectionError) as error:
            reason = str(error) or type(error).__name__
    have = part.stat().st_size if part.is_file() else 0
    kept = f" {have:,} of {pin.size_bytes:,} bytes are kept; run the command again to go on." if have else ""
    raise ModelMissing(
        f"{pin.name} could not be fetched ({reason})",
        where=pin.url,
        do=f"Check the connection.{kept} Or bring the file and use `fieldnote models add FILE`.",
    )


def _receive(pin: PinnedFile, part: Path, progress: Progress) -> bool:
    """One connection's worth; True when the file is whole."""
    have = part.stat().st_size if part.is_file() else 0
    if pin.size_bytes and have == pin.size_bytes:
        return True
    request = urllib.request.Request(pin.url, headers={"User-Agent": f"fieldnote/{__version__}"})
    if have:
        request.add_header("Range", f"bytes={have}-")
    try:
        answer = urllib.request.urlopen(request, timeout=_TIMEOUT_S)
    except urllib.error.HTTPError as error:
        if error.code != http.client.REQUESTED_RANGE_NOT_SATISFIABLE or not have:
            raise
        part.unlink()  # more is here than there: it cannot be a part of that file
        return _receive(pin, part, progress)
    limit = pin.size_bytes or _UNPINNED_LIMIT_BYTES
    with answer:
        goes_on = answer.status == http.client.PARTIAL_CONTENT
        have = have if goes_on else 0
        announced = answer.headers.get("Content-Length")
        expected = have + int(announced) if announced and announced.isdigit() else 0
        with part.open("ab" if goes_on else "wb") as file:
            progress(have, pin.size_bytes or expected)
            while block := answer.read(_BLOCK_BYTES):
                have += len(block)
                if have > limit:
                    raise WrongHash(
                        f"{pin.name} is larger than the {limit:,} bytes that it should be",
                        where=pin.url,
                        do=_TRY_AGAIN,
                    )
                file.write(block)
                progress(have, pin.size_bytes or expected)
    return have == pin.size_bytes if pin.size_bytes else have == expected or not expected


def _check(pin: PinnedFile, part: Path) -> None:
    if pin.sha256 and sha256_of(part) != pin.sha256:
        raise WrongHash(
            f"what came as {pin.name} is not the file that it should be (its SHA-256 differs)",
            where=pin.url,
            do=_TRY_AGAIN,
        )


_DISK_ERRORS = (errno.ENOSPC, errno.EDQUOT, errno.EROFS, errno.EACCES, errno.EPERM)


def disk_fault(error: OSError, target: Path) -> StoreFault:
    """A full or closed disk as one plain line."""
    what = (
        "the disk is full" if error.errno in (errno.ENOSPC, errno.EDQUOT) else f"cannot be written ({error.strerror})"
    )
    return StoreFault(what, where=str(target.parent), do="Make room or check the permissions, then run it again.")
