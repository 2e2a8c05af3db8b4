"""``fieldnote serve``: loopback only, and one line where it cannot be."""

from __future__ import annotations

import socket

import pytest
from typer.testing import CliRunner

from fieldnote.cli.app import app
from fieldnote.cli.serve import hosts_of, refuse_network
from fieldnote.errors import UserMistake


@pytest.mark.parametrize("host", ["0.0.0.0", "::", "192.0.2.7", "2001:db8::1", "shop.example", ""])
def test_an_address_that_others_reach_is_refused(host: str) -> None:
    """Without a sign-in only this machine is served (documentation addresses: RFC 5737, RFC 3849)."""
    ran = CliRunner().invoke(app, ["serve", "--host", host])
    assert isinstance(ran.exception, UserMistake)
    assert "no sign-in" in str(ran.exception) and "\n" not in str(ran.exception)


@pytest.mark.parametrize("host", ["127.0.0.1", "127.8.8.8", "::1", "localhost"])
def test_loopback_is_served(host: str) -> None:
    """All of 127.0.0.0/8 (RFC 1122, section 3.2.1.3) and ::1 (RFC 4291, section 2.5.3)."""
    refuse_network(host)


def test_names_that_browsers_may_use() -> None:
    """With the port, as the Host header carries it (RFC 9110, section 7.2)."""
    assert hosts_of("127.0.0.1", 8460) == ("127.0.0.1:8460", "localhost:8460")
    assert hosts_of("::1", 80) == ("[::1]:80", "localhost:80")


def test_a_taken_port_is_told(tmp_path: object, monkeypatch: pytest.MonkeyPatch) -> None:
    """One line with what to do."""
    monkeypatch.setenv("FIELDNOTE_HOME", str(tmp_path))
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        ran = CliRunner().invoke(app, ["serve", "--port", str(port)])
    assert isinstance(ran.exception, UserMistake)
    assert f"port {port} cannot be used" in str(ran.exception)
