"""``fieldnote serve``, ``certificate`` and ``people``: what is refused in one line, and what is printed."""

from __future__ import annotations

import json
import re
import socket
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

pytest.importorskip("fastapi", reason="the pages need fieldnote[page]")

from fieldnote.cli.app import app
from fieldnote.cli.serve import hosts_of, is_own, listen_on, secure
from fieldnote.errors import BadData, NotFound, UserMistake
from fieldnote.flow import Rooms


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("FIELDNOTE_HOME", str(tmp_path))
    return tmp_path


def run(*arguments: str) -> Any:
    return CliRunner().invoke(app, list(arguments))


def printed(*arguments: str) -> str:
    ran = run(*arguments)
    assert ran.exit_code == 0, ran.exception
    return str(ran.stdout)


@pytest.mark.parametrize("host", ["0.0.0.0", "::", "192.0.2.7", "2001:db8::1"])
def test_a_network_is_not_served_without_a_certificate(home: Path, host: str) -> None:
    """What others can reach goes over https or not at all (documentation addresses: RFC 5737, RFC 3849)."""
    ran = run("serve", "--host", host)
    assert isinstance(ran.exception, NotFound)
    assert "no certificate" in str(ran.exception) and "fieldnote certificate" in str(ran.exception)
    assert "\n" not in str(ran.exception)


@pytest.mark.parametrize("host", ["shop.example", "", "300.1.1.1", "127.0.0.1:8460"])
def test_what_is_no_address_is_told(home: Path, host: str) -> None:
    """One line that says what an address is."""
    ran = run("serve", "--host", host)
    assert isinstance(ran.exception, UserMistake)
    assert "not an address" in str(ran.exception)


@pytest.mark.parametrize(
    ("host", "own"),
    [
        ("127.0.0.1", True),
        ("127.8.8.8", True),
        ("::1", True),
        ("localhost", True),
        ("0.0.0.0", False),
        ("10.0.0.1", False),
    ],
)
def test_only_loopback_is_this_machine_alone(host: str, own: bool) -> None:
    """All of 127.0.0.0/8 (RFC 1122, section 3.2.1.3) and ::1 (RFC 4291, section 2.5.3)."""
    assert is_own(host) is own


def test_names_that_browsers_may_use() -> None:
    """With the port, as the Host header carries it (RFC 9110, section 7.2)."""
    assert hosts_of("127.0.0.1", 8460) == ("127.0.0.1:8460", "localhost:8460")
    assert hosts_of("::1", 80) == ("[::1]:80", "localhost:80")


def test_a_taken_port_is_told(home: Path) -> None:
    """One line with what to do."""
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        ran = run("serve", "--port", str(port))
    assert isinstance(ran.exception, UserMistake)
    assert f"port {port} cannot be used" in str(ran.exception)


def test_an_address_of_another_machine_is_told() -> None:
    """Listening where this machine is not is the same kind of mistake."""
    with pytest.raises(UserMistake, match=r"cannot be used at 192\.0\.2\.99"):
        listen_on("192.0.2.99", 0)


# ---- the certificate ------------------------------------------------------------------------------------------


def test_a_certificate_is_made_and_told_how_to_trust_it(home: Path) -> None:
    """What it holds for, its fingerprint, and what to do on each kind of phone."""
    ran = run("certificate", "--for", "shop-pc.local", "--for", "192.0.2.7")
    assert "shop-pc.local, 192.0.2.7" in ran.stdout and "localhost" in ran.stdout
    assert re.search(r"([0-9A-F]{2} ){15}[0-9A-F]{2}\n", ran.stdout)
    assert "iPhone" in ran.output and "Android" in ran.output and "https://shop-pc.local:8460/trust" in ran.output
    assert max(map(len, ran.stderr.splitlines())) <= 80
    assert json.loads(printed("certificate", "--show", "--json"))["names"][:2] == ["shop-pc.local", "192.0.2.7"]


def test_showing_a_certificate_that_is_not_there_is_told(home: Path) -> None:
    """And nothing is made."""
    assert isinstance(run("certificate", "--show").exception, NotFound)
    assert list(home.iterdir()) == []


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["--for", "shop pc"], "cannot be a host's name"),
        (["--for", "http://shop-pc"], "cannot be a host's name"),
        (["--only"], "nothing is named"),
    ],
    ids=["space", "address of a page", "only nothing"],
)
def test_a_name_that_no_host_can_have_is_told(home: Path, arguments: list[str], told: str) -> None:
    """A certificate for it would not work."""
    ran = run("certificate", *arguments)
    assert isinstance(ran.exception, UserMistake) and told in str(ran.exception)
    assert not (home / "certificate").exists()


def test_serving_an_address_that_the_certificate_does_not_hold_for_is_refused(home: Path) -> None:
    """Browsers would refuse it; the line says how to mend that."""
    printed("certificate", "--for", "shop-pc.local", "--only")
    ran = run("serve", "--host", "192.0.2.7")
    assert isinstance(ran.exception, UserMistake)
    assert "fieldnote certificate --for 192.0.2.7" in str(ran.exception)


def test_what_is_served_is_named_by_the_certificate(home: Path) -> None:
    """A request may name what the certificate holds for, and nothing else."""
    printed("certificate", "--for", "shop-pc.local", "--for", "2001:db8::7", "--only")
    secured = secure(Rooms(home), "0.0.0.0", None, None)
    assert secured.hosts(8460) == ("[2001:db8::7]:8460", "shop-pc.local:8460")
    assert secured.hosts(443) == ("[2001:db8::7]", "[2001:db8::7]:443", "shop-pc.local", "shop-pc.local:443")
    assert secured.url("0.0.0.0", 8460) == "https://shop-pc.local:8460"
    told = secured.told("https://shop-pc.local:8460")
    assert "Nobody can sign in yet" in told and "/trust" in told and "[2001" not in told.split("names, too:")[0]


def test_a_key_of_another_certificate_is_refused(home: Path, tmp_path: Path) -> None:
    """Before anything is served."""
    first = json.loads(printed("certificate", "--json"))
    stale = Path(first["key"]).read_bytes()
    printed("certificate")
    Path(first["key"]).write_bytes(stale)
    assert isinstance(run("serve", "--host", "0.0.0.0").exception, BadData)


def test_half_a_pair_is_refused(home: Path, tmp_path: Path) -> None:
    """A certificate from elsewhere comes with its key."""
    ran = run("serve", "--certificate", str(tmp_path / "some.pem"))
    assert isinstance(ran.exception, UserMistake) and "belong together" in str(ran.exception)


# ---- people ---------------------------------------------------------------------------------------------------


def test_somebody_is_invited_listed_and_removed(home: Path) -> None:
    """From the invitation to the last day, by their name in any case."""
    out = printed("people", "invite", "Rosa", "--as", "technician")
    assert re.search(r"Code +([0-9A-Z]{4}-){2}[0-9A-Z]{4}\n", out)
    assert "/join?code=" in out and "█" not in out
    (one,) = json.loads(printed("people", "list", "--json"))
    assert (one["name"], one["roles"], one["joined"], one["signed_in"]) == ("Rosa", ["technician"], False, [])
    assert "never yet" in printed("people", "list")
    printed("people", "roles", "rosa", "--as", "lead", "--as", "clerk")
    assert json.loads(printed("people", "list", "--json"))[0]["roles"] == ["clerk", "lead"]
    assert "Rosa M." in printed("people", "rename", "ROSA", "Rosa M.")
    assert "0 devices" in printed("people", "sign-out", "Rosa M.")
    printed("people", "remove", "rosa m.")
    assert json.loads(printed("people", "list", "--json")) == []
    assert "Nobody yet" in printed("people", "list")


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["invite", "Rosa", "--as", "boss"], "no role 'boss'"),
        (["invite", "  ", "--as", "clerk"], "cannot be a person's name"),
        (["invite", "x" * 61, "--as", "clerk"], "cannot be a person's name"),
        (["remove", "Nobody"], "nobody of this name"),
        (["roles", "Nobody", "--as", "clerk"], "nobody of this name"),
        (["sign-out", "Nobody"], "nobody of this name"),
    ],
    ids=lambda value: value if isinstance(value, str) else " ".join(value)[:24],
)
def test_a_mistake_about_people_is_one_line(home: Path, arguments: list[str], told: str) -> None:
    """What, where, what to do."""
    ran = run("people", *arguments)
    assert isinstance(ran.exception, UserMistake)
    assert told in str(ran.exception) and "\n" not in str(ran.exception)
