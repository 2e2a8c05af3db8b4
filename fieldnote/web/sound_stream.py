"""Sound from phones over a WebSocket: numbered frames come in, what is on the disk is confirmed, what happens is told.

The phone begins with ``{"take", "age_s", "token"}`` and is told from which frame to send (``have``). Frames are binary
(``flow.phone_recording.frame_of``). ``kept`` says how many of them are on the disk and may be forgotten; after
``{"end", "samples"}`` comes ``done`` when all of them are, and ``heard`` when all was listened to. Between these come
the words so far, entries, answers and notices of the job (``live_jobs.py``).
"""

from __future__ import annotations

import asyncio
import contextlib
import hmac
import ipaddress
import json
import time
from dataclasses import dataclass
from typing import Any

from fastapi import APIRouter, WebSocket, WebSocketDisconnect
from starlette.concurrency import run_in_threadpool

from fieldnote.errors import BadData, FieldnoteError
from fieldnote.flow.phone_recording import FRAME_SAMPLES, Take, frame_of
from fieldnote.web.asking import House, visit_of
from fieldnote.web.live_jobs import LiveJob, LiveJobs, Told
from fieldnote.web.roles import may

router = APIRouter(prefix="/jobs/{job_id}")
_CONFIRM_S = 0.4
_OPENING_S = 10.0
_MOST_WAITING = 2000
"""Messages that wait for a phone which does not read them; then it is let go, and comes back."""
_LONGEST_TEXT = 1000
REFUSED, FAULT, OUT_OF_DATE, OVERRUN = 4403, 4503, 4401, 4429
"""Codes with which the connection is closed (RFC 6455, section 7.4.2: 4000 to 4999 are for private use)."""


@dataclass
class _Line:
    """One phone's connection."""

    socket: WebSocket
    live_jobs: LiveJobs
    live: LiveJob | None = None
    take: Take | None = None

    def __post_init__(self) -> None:
        self.waiting: asyncio.Queue[Told | None] = asyncio.Queue(_MOST_WAITING)
        self.loop = asyncio.get_running_loop()
        self.confirmed_at = time.monotonic()
        self.gone: asyncio.Task[None] | None = None

    def tell(self, told: Told) -> None:
        """Tell the phone something, from any thread."""
        with contextlib.suppress(RuntimeError):  # the server stops: nobody is told any more
            self.loop.call_soon_threadsafe(self.put, told)

    def put(self, told: Told | None) -> None:
        """The same from the loop's own thread."""
        try:
            self.waiting.put_nowait(told)
        except asyncio.QueueFull:
            self.gone = self.gone or self.loop.create_task(self.socket.close(OVERRUN))

    async def send_all(self) -> None:
        """Send what is to be told, as it comes; None ends it."""
        while (told := await self.waiting.get()) is not None:
            await self.socket.send_text(json.dumps(told))


@router.websocket("/stream")
async def stream(socket: WebSocket, job_id: str) -> None:
    """Take in the sound of one take of a phone."""
    if not is_private(socket):
        await socket.close(REFUSED, "Sound comes over https, or from this machine itself.")
        return
    if not may(socket, "dictate"):
        await socket.close(REFUSED, "Your sign-in does not allow this.")
        return
    await socket.accept()
    line = _Line(socket, socket.app.state.live)
    try:
        if await _begin(line, job_id):
            await _talk(line)
    except WebSocketDisconnect:
        pass
    except FieldnoteError as error:
        why = line.live.fault if line.live is not None else ""
        await _close(socket, FAULT, BadData(f"not heard, but kept: {why}") if why else error)
    finally:
        if line.live is not None and line.take is not None:
            line.live.watchers.remove(line.tell)
            await run_in_threadpool(line.live.recorder.leave, line.take)


def is_private(socket: WebSocket) -> bool:
    """Whether nobody on the way can listen: an encrypted connection, or one that does not leave this machine."""
    if socket.url.scheme in ("wss", "https"):
        return True
    host = socket.client.host if socket.client is not None else ""
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host in ("localhost", "testclient")


async def _begin(line: _Line, job_id: str) -> bool:
    """Hear which take is sent, and say from where; False where the connection was closed instead."""
    socket, house = line.socket, _house(line.socket)
    try:
        opening = await asyncio.wait_for(socket.receive_json(), _OPENING_S)
        take_id, age_s = str(opening["take"]), float(opening["age_s"])
        token = str(opening["token"])
    except (TimeoutError, ValueError, KeyError, TypeError):
        await _close(socket, REFUSED, BadData("this is no recording of a phone", do="Load the page again."))
        return False
    visit = visit_of(socket)
    if not visit or not hmac.compare_digest(token.encode(), house.token(visit).encode()):
        await _close(socket, OUT_OF_DATE, BadData("this page is older than the server", do="Load the page again."))
        return False
    job = await run_in_threadpool(house.rooms.store.job, job_id)
    rooms = await run_in_threadpool(house.of, job)
    live, take = await run_in_threadpool(line.live_jobs.begin, rooms, job, take_id, age_s, line.tell)
    line.live, line.take = live, take
    line.put({"have": take.next_frame, "done": take.total is not None})
    return True


async def _talk(line: _Line) -> None:
    sending = asyncio.create_task(line.send_all())
    try:
        while True:
            message = await line.socket.receive()
            if message["type"] == "websocket.disconnect":
                return
            if message.get("bytes") is not None:
                await _frame(line, message["bytes"])
            elif message.get("text") is not None:
                await _text(line, message["text"])
            if sending.done():
                return
    finally:
        sending.cancel()
        with contextlib.suppress(asyncio.CancelledError, WebSocketDisconnect, RuntimeError):
            await sending


async def _frame(line: _Line, data: bytes) -> None:
    """One frame: into the journal, and confirmed where some time has passed since the last confirmation."""
    take, live = _open(line)
    frame = frame_of(data)
    if frame.number > take.next_frame:
        line.put({"have": take.next_frame})
        return
    due = time.monotonic() - line.confirmed_at >= _CONFIRM_S

    def keep() -> int | None:
        live.recorder.receive(take, [frame])
        return live.recorder.confirm(take) if due else None

    kept = await run_in_threadpool(keep)
    if kept is not None:
        line.confirmed_at = time.monotonic()
        line.put({"kept": kept // FRAME_SAMPLES})


async def _text(line: _Line, text: str) -> None:
    """The end of the take, a question, or a touch that stands for a word."""
    take, live = _open(line)
    try:
        said: Any = json.loads(text[:_LONGEST_TEXT])
        total = int(said["samples"]) if "end" in said else None
    except (ValueError, KeyError, TypeError):
        raise BadData("this is nothing that fieldnote's page says", where="sound", do="Load the page again.") from None
    if total is None:
        kept = await run_in_threadpool(live.recorder.confirm, take)
        line.put({"kept": kept // FRAME_SAMPLES})
        return
    if await run_in_threadpool(live.recorder.end, take, total):
        line.put({"kept": -(-total // FRAME_SAMPLES), "done": True})
    else:
        line.put({"have": take.next_frame})


def _open(line: _Line) -> tuple[Take, LiveJob]:
    assert line.take is not None and line.live is not None
    return line.take, line.live


def _house(socket: WebSocket) -> House:
    found: House = socket.app.state.house
    return found


async def _close(socket: WebSocket, code: int, error: FieldnoteError) -> None:
    with contextlib.suppress(RuntimeError, WebSocketDisconnect):
        await socket.send_text(json.dumps({"fault": error.what, "do": error.do}))
        await socket.close(code)


__all__ = ["is_private", "router"]
