"""The certificate for this machine, checked by two verifiers that know nothing of how it was made."""

from __future__ import annotations

import datetime
import ipaddress
import ssl
import stat
import subprocess
import sys
from pathlib import Path

import pytest

pytest.importorskip("cryptography", reason="the pages need fieldnote[page]")

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509 import verification
from cryptography.x509.oid import ExtendedKeyUsageOID

from fieldnote.errors import BadData, NotFound, UserMistake
from fieldnote.web import certificates
from fieldnote.web.certificates import Pair, fingerprint_of, for_phones, make, own_names, read

NAMES = ("shop-pc.local", "localhost", "192.0.2.7", "2001:db8::7")
"""Names and addresses kept for documentation (RFC 6762, RFC 6761, RFC 5737, RFC 3849)."""


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Pair:
    pair, _ = make(tmp_path_factory.mktemp("home"), NAMES)
    return pair


def loaded(path: Path | None) -> x509.Certificate:
    assert path is not None
    return x509.load_pem_x509_certificate(path.read_bytes())


def verifies(authority: x509.Certificate, server: x509.Certificate, host: str) -> bool:
    """Whether the verifier of ``cryptography`` (the profile of the public web) takes it for this host."""
    try:
        subject: x509.DNSName | x509.IPAddress = x509.IPAddress(ipaddress.ip_address(host))
    except ValueError:
        subject = x509.DNSName(host)
    store = verification.Store([authority])
    try:
        verification.PolicyBuilder().store(store).build_server_verifier(subject).verify(server, [])
    except verification.VerificationError:
        return False
    return True


@pytest.mark.parametrize("host", NAMES)
def test_it_holds_for_every_name_that_was_asked_for(made: Pair, host: str) -> None:
    """A browser that trusts the authority takes the server under each of its names."""
    assert verifies(loaded(made.authority), loaded(made.certificate), host)


@pytest.mark.parametrize("host", ["shop.example", "other.local", "192.0.2.8", "2001:db8::8", "local"])
def test_it_holds_for_nothing_else(made: Pair, host: str) -> None:
    """Other names are refused."""
    assert not verifies(loaded(made.authority), loaded(made.certificate), host)


def test_openssl_finds_no_fault_in_it(made: Pair) -> None:
    """With its strict reading of RFC 5280 (``-x509_strict``)."""
    said = openssl("verify", "-x509_strict", "-purpose", "sslserver", "-CAfile", made.authority, made.certificate)
    assert said.endswith(": OK")


def openssl(*arguments: object) -> str:
    done = subprocess.run(["openssl", *map(str, arguments)], capture_output=True, text=True, check=False)
    return (done.stdout + done.stderr).strip()


@pytest.fixture
def thief(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> tuple[ec.EllipticCurvePrivateKey, Pair]:
    """Somebody who got hold of the authority's key while it existed."""
    keys: list[ec.EllipticCurvePrivateKey] = []
    real = ec.generate_private_key

    def kept(curve: ec.EllipticCurve) -> ec.EllipticCurvePrivateKey:
        keys.append(real(curve))
        return keys[-1]

    monkeypatch.setattr(ec, "generate_private_key", kept)
    pair, _ = make(tmp_path, NAMES)
    monkeypatch.undo()
    public = loaded(pair.authority).public_key()
    (key,) = [k for k in keys if k.public_key() == public]
    return key, pair


@pytest.mark.parametrize(
    ("name", "taken"),
    [
        ("shop-pc.local", True),
        ("192.0.2.7", True),
        ("bank.example", False),
        ("local", False),
        ("evilshop-pc.local", False),
        ("192.0.2.8", False),
        ("127.0.0.1", False),
        ("2001:db8::9", False),
    ],
)
def test_the_authority_can_vouch_for_nothing_else(
    thief: tuple[ec.EllipticCurvePrivateKey, Pair], name: str, taken: bool, tmp_path: Path
) -> None:
    """Name constraints (RFC 5280, section 4.2.1.10): even with its key, a certificate for another host is refused."""
    key, pair = thief
    authority = loaded(pair.authority)
    try:
        subject: x509.GeneralName = x509.IPAddress(ipaddress.ip_address(name))
    except ValueError:
        subject = x509.DNSName(name)
    forged = forge(authority, key, subject)
    assert verifies(authority, forged, name) is taken
    path = tmp_path / "forged.pem"
    path.write_bytes(forged.public_bytes(serialization.Encoding.PEM))
    said = openssl("verify", "-x509_strict", "-CAfile", pair.authority, path)
    assert said.endswith(": OK") if taken else "permitted subtree violation" in said


def forge(
    authority: x509.Certificate, key: ec.EllipticCurvePrivateKey, name: x509.GeneralName, *, ca: bool = False
) -> x509.Certificate:
    own = ec.generate_private_key(ec.SECP256R1())
    now = datetime.datetime.now(datetime.UTC)
    built = (
        x509.CertificateBuilder()
        .subject_name(x509.Name([]))
        .issuer_name(authority.subject)
        .public_key(own.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - datetime.timedelta(hours=1))
        .not_valid_after(now + datetime.timedelta(days=30))
        .add_extension(x509.SubjectAlternativeName([name]), critical=True)
        .add_extension(x509.BasicConstraints(ca=ca, path_length=None), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(own.public_key()), critical=False)
        .add_extension(x509.AuthorityKeyIdentifier.from_issuer_public_key(key.public_key()), critical=False)
    )
    return built.sign(key, hashes.SHA256())


@pytest.mark.parametrize(
    ("names", "other"),
    [(("192.0.2.7",), "bank.example"), (("shop-pc.local",), "192.0.2.7"), (("shop-pc.local",), "2001:db8::1")],
    ids=["no names", "no IPv4", "no IPv6"],
)
def test_a_kind_of_name_that_is_not_needed_is_shut_off(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, names: tuple[str, ...], other: str
) -> None:
    """RFC 5280 leaves open what is not named at all; here it is excluded as a whole."""
    keys: list[ec.EllipticCurvePrivateKey] = []
    real = ec.generate_private_key
    monkeypatch.setattr(ec, "generate_private_key", lambda curve: keys.append(real(curve)) or keys[-1])
    pair, _ = make(tmp_path, names)
    monkeypatch.undo()
    authority = loaded(pair.authority)
    (key,) = [k for k in keys if k.public_key() == authority.public_key()]
    try:
        subject: x509.GeneralName = x509.IPAddress(ipaddress.ip_address(other))
    except ValueError:
        subject = x509.DNSName(other)
    path = tmp_path / "forged.pem"
    path.write_bytes(forge(authority, key, subject).public_bytes(serialization.Encoding.PEM))
    assert "subtree violation" in openssl("verify", "-x509_strict", "-CAfile", pair.authority, path)
    assert openssl("verify", "-x509_strict", "-CAfile", pair.authority, pair.certificate).endswith(": OK")


def test_the_authority_is_for_servers_alone_and_has_nothing_below_it(made: Pair) -> None:
    """Critical constraints (RFC 5280, sections 4.2.1.9 and 4.2.1.10), and nothing but server certificates."""
    extensions = loaded(made.authority).extensions
    basic = extensions.get_extension_for_class(x509.BasicConstraints)
    assert basic.critical and basic.value.ca and basic.value.path_length == 0
    assert extensions.get_extension_for_class(x509.NameConstraints).critical
    usage = extensions.get_extension_for_class(x509.KeyUsage)
    assert usage.critical and usage.value.key_cert_sign and not usage.value.digital_signature
    assert list(extensions.get_extension_for_class(x509.ExtendedKeyUsage).value) == [ExtendedKeyUsageOID.SERVER_AUTH]


def test_the_authoritys_key_is_nowhere(made: Pair) -> None:
    """The one key in the data folder is the server's."""
    public = loaded(made.authority).public_key()
    found = 0
    for path in made.key.parent.rglob("*"):
        if b"PRIVATE KEY" in path.read_bytes():
            key = serialization.load_pem_private_key(path.read_bytes(), None)
            assert key.public_key() != public
            assert key.public_key() == loaded(made.certificate).public_key()
            found += 1
    assert found == 1


@pytest.mark.skipif(sys.platform == "win32", reason="modes of files are POSIX")
def test_the_key_is_for_its_owner_alone(made: Pair) -> None:
    """Nobody else on the machine reads it."""
    assert stat.S_IMODE(made.key.stat().st_mode) == 0o600
    assert stat.S_IMODE(made.key.parent.stat().st_mode) == 0o700


def test_how_long_it_holds(made: Pair) -> None:
    """Less than the 825 days from which on phones refuse (from memory), and from yesterday for slow clocks."""
    server = loaded(made.certificate)
    span = server.not_valid_after_utc - server.not_valid_before_utc
    assert datetime.timedelta(days=365) < span < datetime.timedelta(days=825)
    now = datetime.datetime.now(datetime.UTC)
    assert server.not_valid_before_utc < now - datetime.timedelta(hours=23)
    assert read(made).days_left(now) == certificates.DAYS - 1 or read(made).days_left(now) == certificates.DAYS


def test_the_fingerprint_is_that_of_openssl(made: Pair) -> None:
    """What a phone shows of the file that it downloads."""
    assert made.authority is not None
    said = openssl("x509", "-in", made.authority, "-noout", "-fingerprint", "-sha256")
    assert said.split("=")[1].replace(":", " ") == fingerprint_of(made.authority.read_bytes())
    assert x509.load_der_x509_certificate(for_phones(made.authority.read_bytes())) == loaded(made.authority)


def test_made_again_it_replaces_the_first(tmp_path: Path) -> None:
    """The earlier authority does not vouch for the new certificate."""
    first, _ = make(tmp_path, NAMES)
    earlier = loaded(first.authority)
    second, held = make(tmp_path, ("shop-pc.local",))
    assert held.names == ("shop-pc.local",)
    assert not verifies(earlier, loaded(second.certificate), "shop-pc.local")
    assert loaded(second.authority).subject != earlier.subject
    assert sorted(p.name for p in second.key.parent.iterdir()) == [
        "fieldnote-authority.crt",
        "server.key",
        "server.pem",
    ]


@pytest.mark.parametrize("name", ["", "a b", "-x", "http://x", "x" * 64, "x/y", "*.example", "\n"])
def test_what_is_no_host_is_refused(tmp_path: Path, name: str) -> None:
    """And nothing is written."""
    with pytest.raises(UserMistake, match="cannot be a host's name"):
        make(tmp_path, [name])
    assert list(tmp_path.iterdir()) == []


def test_the_names_of_this_machine_are_found() -> None:
    """Itself is always among them, and no address that holds on one cable only."""
    names = own_names()
    assert {"localhost", "127.0.0.1", "::1"} <= set(names)
    assert not any(name.startswith(("fe80", "169.254.")) for name in names)


def test_a_pair_that_is_not_there_or_broken_is_told(tmp_path: Path) -> None:
    """One line each."""
    with pytest.raises(NotFound, match="no certificate"):
        read(Pair.of(tmp_path))
    pair, _ = make(tmp_path, NAMES)
    pair.certificate.write_text("nonsense")
    with pytest.raises(BadData, match="cannot be used together"):
        read(pair)


def test_a_browser_like_client_connects(made: Pair) -> None:
    """A handshake by the standard library's strict client (OpenSSL), which checks the name too."""
    server, client = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER), ssl.create_default_context(cafile=str(made.authority))
    client.verify_flags |= ssl.VERIFY_X509_STRICT
    server.load_cert_chain(made.certificate, made.key)
    to_server, to_client = ssl.MemoryBIO(), ssl.MemoryBIO()
    here = client.wrap_bio(to_client, to_server, server_hostname="shop-pc.local")
    there = server.wrap_bio(to_server, to_client, server_side=True)
    for _ in range(6):
        for side in (here, there):
            try:
                side.do_handshake()
            except ssl.SSLWantReadError:
                continue
    assert here.version() in ("TLSv1.2", "TLSv1.3")
