"""``fieldnote serve``: the pages, on this machine, or over https with a sign-in for a shop's network."""

from __future__ import annotations

import datetime
import ipaddress
import socket
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Optional
from urllib.parse import urlsplit

import typer

from fieldnote.errors import DeviceMissing, UserMistake

if TYPE_CHECKING:
    from fieldnote.flow import Rooms
    from fieldnote.web.certificates import Held, Pair
    from fieldnote.web.sign_in import SignIn

PORT = 8460
_HTTPS = 443
_AT_ONCE = 400
"""Requests and live connections at a time; more are told to come back (503)."""
_WAITING = 256
_LARGEST_MESSAGE = 1 << 20
_LARGEST_HEAD = 32 << 10


def serve(
    port: Annotated[int, typer.Option(min=0, max=65535, help="The port; 0 takes a free one.")] = PORT,
    host: Annotated[
        str,
        typer.Option(
            metavar="ADDRESS",
            help="The address to listen on; 0.0.0.0 is every address of this machine. Any but its own (loopback) is "
            "served over https, and asks for a sign-in.",
        ),
    ] = "127.0.0.1",
    sign_in: Annotated[
        bool, typer.Option("--sign-in", help="Ask for a sign-in (over https) on this machine, too.")
    ] = False,
    certificate: Annotated[
        Optional[Path],
        typer.Option(
            metavar="FILE", help="A certificate from elsewhere (PEM); otherwise that of fieldnote certificate."
        ),
    ] = None,
    key: Annotated[Optional[Path], typer.Option(metavar="FILE", help="Its key (PEM).")] = None,
    show: Annotated[bool, typer.Option("--open/--no-open", help="Open the pages in the browser.")] = False,
) -> None:
    """Serve the pages: jobs, one job at the desk and in the bay, sign-off, handing over, words, patterns.

    Without options only this machine can open them, and everybody at it may do
    everything. For phones and other machines of the shop: make a certificate,
    invite people, then serve on the network. Nothing goes out of the shop.
    Ctrl-C stops.

    Examples:

      fieldnote serve

      fieldnote serve --open --port 9000

      fieldnote certificate
      fieldnote people invite "Rosa" --as technician
      fieldnote serve --host 0.0.0.0
    """
    try:
        import uvicorn

        from fieldnote.web.app import create_app
    except ModuleNotFoundError as error:
        raise page_library_missing(error, "serve") from error
    from fieldnote.flow import Rooms

    rooms = Rooms()
    rooms.store.jobs(limit=1)  # a data folder that cannot be used is told now, and not on the first page
    secured = secure(rooms, host, certificate, key) if sign_in or certificate or not is_own(host) else None
    listening = listen_on(host, port)
    chosen = listening.getsockname()[1]
    if secured is None:
        app = create_app(rooms, hosts_of(host, chosen))
        url = f"http://{bracketed(host)}:{chosen}"
        tell(f"fieldnote: open {url}/ on this machine; Ctrl-C stops.")
    else:
        app = create_app(rooms, secured.hosts(chosen), sign_in=secured.sign_in, scheme="https")
        url = secured.url(host, chosen)
        secured.sign_in.people.address = url
        tell(secured.told(url))
    if show:
        typer.launch(f"{url}/")
    config = uvicorn.Config(
        app,
        log_level="warning",
        access_log=False,
        server_header=False,
        proxy_headers=False,  # nobody may say for another from where a request came
        timeout_graceful_shutdown=3,
        limit_concurrency=_AT_ONCE,
        h11_max_incomplete_event_size=_LARGEST_HEAD,
        ws_max_size=_LARGEST_MESSAGE,
        ssl_certfile=str(secured.pair.certificate) if secured else None,
        ssl_keyfile=str(secured.pair.key) if secured else None,
    )
    uvicorn.Server(config).run(sockets=[listening])


@dataclass(frozen=True)
class Secured:
    """What serving over https needs."""

    pair: Pair
    held: Held
    sign_in: SignIn

    def hosts(self, port: int) -> tuple[str, ...]:
        """What a browser may call the server: the names that its certificate holds for."""
        names = [bracketed(name) for name in self.held.names]
        bare = names if port == _HTTPS else []
        return tuple(sorted({*(f"{name}:{port}" for name in names), *bare}))

    def url(self, host: str, port: int) -> str:
        """The address to open: that of ``--host``, or this machine's name where it listens on all of them."""
        name = self.held.names[0] if is_everywhere(host) else host
        return f"https://{bracketed(name)}:{port}"

    def told(self, url: str) -> str:
        """What is printed when the server starts."""
        from fieldnote.web.certificates import SOON_DAYS, fingerprint_of

        lines = [f"fieldnote: open {url}/ ; Ctrl-C stops."]
        others = [name for name in self.held.names if bracketed(name) != urlsplit(url).netloc.rpartition(":")[0]]
        if others:
            lines.append(f"It answers to these names, too: {', '.join(others)}.")
        left = self.held.days_left(datetime.datetime.now(datetime.UTC))
        if left < SOON_DAYS:
            when = f"ends in {left} days" if left >= 0 else "has ended: browsers will refuse it"
            lines.append(f"The certificate {when}. Make another: fieldnote certificate.")
        if self.sign_in.authority:
            lines.append(f"A phone that does not trust it yet: open {url}/trust and compare there:")
            lines.append(f"  {fingerprint_of(self.sign_in.authority)}")
        if not self.sign_in.people.all():
            lines.append('Nobody can sign in yet: fieldnote people invite "NAME" --as lead')
        return "\n".join(lines)


def secure(rooms: Rooms, host: str, certificate: Path | None, key: Path | None) -> Secured:
    """The certificate and the people for serving over https.

    Raises:
        UserMistake: only one of certificate and key is given, or the certificate does not hold for ``host``.
        NotFound: there is no certificate.
        BadData: certificate and key cannot be used, or the settings name an unknown role.

    """
    from fieldnote.web.certificates import Pair, read
    from fieldnote.web.people import People
    from fieldnote.web.sign_in import SignIn

    if (certificate is None) != (key is None):
        raise UserMistake("a certificate and its key belong together", where="--certificate", do="Give both, or none.")
    pair = Pair(certificate, key, None) if certificate and key else Pair.of(rooms.home)
    held = read(pair)
    name = "localhost" if host == "localhost" else host
    if not is_everywhere(host) and not held.covers(name):
        raise UserMistake(
            f"the certificate does not hold for this address (it holds for: {', '.join(held.names)})",
            where=f"--host {host}",
            do=f"Make another: fieldnote certificate --for {host}.",
        )
    authority = pair.authority.read_bytes() if pair.authority is not None and pair.authority.is_file() else b""
    people = People(rooms.home, rooms.settings.sign_in)
    return Secured(pair, held, SignIn(people, rooms.settings.roles, authority=authority))


def page_library_missing(error: ModuleNotFoundError, where: str) -> DeviceMissing:
    """The error where a library of the pages is not installed."""
    return DeviceMissing(
        f"the library {error.name} is not installed", where=where, do="Install: pip install 'fieldnote[page]'."
    )


def tell(text: str) -> None:
    """Print beside the data."""
    print(text, file=sys.stderr, flush=True)


def is_own(host: str) -> bool:
    """Whether only this machine can reach an address (loopback).

    Raises:
        UserMistake: it is no address.

    """
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host.strip("[]")).is_loopback
    except ValueError as error:
        raise UserMistake(
            "this is not an address of a machine",
            where=f"--host {host}",
            do="Give an IP address, such as 0.0.0.0 for all of this machine's.",
        ) from error


def is_everywhere(host: str) -> bool:
    """Whether it means every address of this machine (RFC 1122, section 3.2.1.3; RFC 4291, section 2.5.2)."""
    return host != "localhost" and ipaddress.ip_address(host.strip("[]")).is_unspecified


def bracketed(host: str) -> str:
    """A host as it stands in an address: IPv6 in brackets (RFC 3986, section 3.2.2)."""
    return f"[{host.strip('[]')}]" if ":" in host else host


def listen_on(host: str, port: int) -> socket.socket:
    """A listening socket.

    Raises:
        UserMistake: the port is taken, or this account may not use it, or the address is not of this machine.

    """
    plain = host.strip("[]")
    family = socket.AF_INET6 if ":" in plain else socket.AF_INET
    made = socket.socket(family, socket.SOCK_STREAM)
    made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    if family == socket.AF_INET6 and is_everywhere(host):
        made.setsockopt(socket.IPPROTO_IPV6, socket.IPV6_V6ONLY, 0)  # "::" takes IPv4 in as well
    try:
        made.bind((plain, port))
        made.listen(_WAITING)  # at once: who opens the page before the server is up waits for it
    except OSError as error:
        made.close()
        raise UserMistake(
            f"port {port} cannot be used at {host} ({error.strerror})",
            where="--port",
            do="Choose another with --port, or --port 0 for a free one.",
        ) from error
    return made


def hosts_of(host: str, port: int) -> tuple[str, ...]:
    """What a browser on this machine may call the server."""
    return tuple(sorted(f"{name}:{port}" for name in {"localhost", bracketed(host)}))


__all__ = ["Secured", "hosts_of", "is_own", "listen_on", "page_library_missing", "secure", "serve", "tell"]
