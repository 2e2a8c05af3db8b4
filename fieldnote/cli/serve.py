"""``fieldnote serve``: the pages, on this machine."""

from __future__ import annotations

import ipaddress
import socket
import sys
from typing import Annotated

import typer

from fieldnote.errors import DeviceMissing, UserMistake

PORT = 8460


def serve(
    port: Annotated[int, typer.Option(min=0, max=65535, help="The port; 0 takes a free one.")] = PORT,
    host: Annotated[
        str, typer.Option(help="The address to listen on. Only this machine's own (loopback) is possible so far.")
    ] = "127.0.0.1",
    show: Annotated[bool, typer.Option("--open/--no-open", help="Open the pages in the browser.")] = False,
) -> None:
    """Serve the pages: the list of jobs, one job at the desk and in the bay, sign-off, words not understood.

    Only this machine can open them: on a network they would need a sign-in, which is not there yet. Ctrl-C stops.

    Examples:

      fieldnote serve

      fieldnote serve --open --port 9000
    """
    refuse_network(host)
    try:
        import uvicorn

        from fieldnote.web.app import create_app
    except ModuleNotFoundError as error:
        raise DeviceMissing(
            f"the library {error.name} is not installed",
            where="serve",
            do="Install: pip install 'fieldnote[page]'.",
        ) from error
    from fieldnote.flow import Rooms

    rooms = Rooms()
    rooms.store.jobs(limit=1)  # a data folder that cannot be used is told now, and not on the first page
    listening = listen_on(host, port)
    chosen = listening.getsockname()[1]
    shown = f"[{host}]" if ":" in host else host
    app = create_app(rooms, hosts_of(host, chosen))
    print(f"fieldnote: open http://{shown}:{chosen}/ on this machine; Ctrl-C stops.", file=sys.stderr, flush=True)
    if show:
        typer.launch(f"http://{shown}:{chosen}/")
    config = uvicorn.Config(
        app, log_level="warning", access_log=False, server_header=False, timeout_graceful_shutdown=3
    )
    uvicorn.Server(config).run(sockets=[listening])


def refuse_network(host: str) -> None:
    """Refuse every address that others could reach.

    Raises:
        UserMistake: it is not loopback.

    """
    if host == "localhost":
        return
    try:
        own = ipaddress.ip_address(host).is_loopback
    except ValueError:
        own = False
    if not own:
        raise UserMistake(
            "the pages have no sign-in yet, so they are served to this machine alone",
            where=f"--host {host}",
            do="Leave --host out, or name 127.0.0.1.",
        )


def listen_on(host: str, port: int) -> socket.socket:
    """A listening socket.

    Raises:
        UserMistake: the port is taken, or this account may not use it.

    """
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    made = socket.socket(family, socket.SOCK_STREAM)
    made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        made.bind((host, port))
    except OSError as error:
        made.close()
        raise UserMistake(
            f"port {port} cannot be used ({error.strerror})",
            where="--port",
            do="Choose another with --port, or --port 0 for a free one.",
        ) from error
    return made


def hosts_of(host: str, port: int) -> tuple[str, ...]:
    """What a browser on this machine may call the server."""
    names = {"localhost", f"[{host}]" if ":" in host else host}
    return tuple(sorted(f"{name}:{port}" for name in names))


__all__ = ["hosts_of", "listen_on", "refuse_network", "serve"]
