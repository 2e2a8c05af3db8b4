"""A certificate for this machine, signed by an authority that can do nothing else.

A browser gives the microphone only to pages that came over https, and https needs a certificate that the phone trusts.
So an authority is made here that phones are told to trust. It can only ever vouch for the names and addresses of this
machine (name constraints: RFC 5280, section 4.2.1.10), only for servers, and for nothing below it; and its key is never
written anywhere: it signs one certificate and is forgotten. So neither a stolen laptop nor we can make another one.
"""

from __future__ import annotations

import datetime
import ipaddress
import os
import secrets
import socket
import ssl
import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from fieldnote.errors import BadData, NotFound, UserMistake
from fieldnote.store.faults import file_fault

if TYPE_CHECKING:
    from cryptography import x509
    from cryptography.hazmat.primitives.asymmetric import ec

FOLDER = "certificate"
DAYS = 800
"""Phones refuse server certificates that hold for more than 825 days (from memory)."""
SOON_DAYS = 30
_BACKDATED = datetime.timedelta(days=1)
"""So that a phone whose clock is behind takes it."""


@dataclass(frozen=True, slots=True)
class Pair:
    """A server's certificate and key as files. ``authority``: what phones are to trust; None where made elsewhere."""

    certificate: Path
    key: Path
    authority: Path | None

    @staticmethod
    def of(home: Path) -> Pair:
        """Where the pair of a data folder lies, made or not."""
        folder = home / FOLDER
        return Pair(folder / "server.pem", folder / "server.key", folder / "fieldnote-authority.crt")


@dataclass(frozen=True, slots=True)
class Held:
    """What a certificate says: the names and addresses that it holds for, and until when."""

    names: tuple[str, ...]
    until: datetime.datetime

    def days_left(self, now: datetime.datetime) -> int:
        """Whole days until it ends; negative afterwards."""
        return (self.until - now).days

    def covers(self, host: str) -> bool:
        """Whether it holds for a name or an address."""
        return host.lower().strip("[]") in self.names


def make(home: Path, names: Sequence[str], *, days: int = DAYS) -> tuple[Pair, Held]:
    """Make an authority and a certificate for these names and addresses; what was there before is replaced.

    Args:
        home: the data folder; the files lie in ``certificate`` below it, the key for its owner alone.
        names: host names and addresses (IPv4 or IPv6).
        days: how long both hold.

    Raises:
        UserMistake: a name cannot be a host's name.
        StoreFault: the folder cannot be written.

    """
    from cryptography.hazmat.primitives.asymmetric import ec

    named = [_subject_name(name) for name in names]
    authority_key = ec.generate_private_key(ec.SECP256R1())
    server_key = ec.generate_private_key(ec.SECP256R1())
    now = datetime.datetime.now(datetime.UTC)
    span = (now - _BACKDATED, now + datetime.timedelta(days=days))
    authority = _authority(authority_key, named, span)
    server = _server(server_key, named, span, authority, authority_key)
    del authority_key
    pair = Pair.of(home)
    assert pair.authority is not None
    try:
        pair.key.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        # The key first: a server that starts between two of these sees that they do not belong together, and says so.
        _write(pair.key, _key_pem(server_key), mode=0o600)
        _write(pair.certificate, _pem(server), mode=0o644)
        _write(pair.authority, _pem(authority), mode=0o644)
    except OSError as error:
        raise file_fault(error, pair.key.parent) from error
    return pair, read(pair)


def _authority(
    key: ec.EllipticCurvePrivateKey,
    names: Sequence[x509.GeneralName],
    span: tuple[datetime.datetime, datetime.datetime],
) -> x509.Certificate:
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes
    from cryptography.x509.oid import ExtendedKeyUsageOID

    # A name of its own each time: phones tell authorities apart by it.
    subject = _called(f"fieldnote on {socket.gethostname()[:30]}, {secrets.token_hex(2)}")
    return (
        _begun(subject, subject, key.public_key(), span)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(_usage(signs_certificates=True), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(x509.NameConstraints([_subtree(name) for name in names], _nothing_else(names)), critical=True)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .sign(key, hashes.SHA256())
    )


def _server(
    key: ec.EllipticCurvePrivateKey,
    names: Sequence[x509.GeneralName],
    span: tuple[datetime.datetime, datetime.datetime],
    authority: x509.Certificate,
    authority_key: ec.EllipticCurvePrivateKey,
) -> x509.Certificate:
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes
    from cryptography.x509.oid import ExtendedKeyUsageOID

    signer = authority_key.public_key()
    return (
        _begun(_called("fieldnote"), authority.subject, key.public_key(), span)
        .add_extension(x509.SubjectAlternativeName(names), critical=False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(_usage(signs_certificates=False), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .add_extension(x509.AuthorityKeyIdentifier.from_issuer_public_key(signer), critical=False)
        .sign(authority_key, hashes.SHA256())
    )


def _begun(
    subject: x509.Name,
    issuer: x509.Name,
    key: ec.EllipticCurvePublicKey,
    span: tuple[datetime.datetime, datetime.datetime],
) -> x509.CertificateBuilder:
    from cryptography import x509

    made = x509.CertificateBuilder().subject_name(subject).issuer_name(issuer).public_key(key)
    return made.serial_number(x509.random_serial_number()).not_valid_before(span[0]).not_valid_after(span[1])


def _called(name: str) -> x509.Name:
    from cryptography import x509
    from cryptography.x509.oid import NameOID

    return x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, name)])


def _usage(*, signs_certificates: bool) -> x509.KeyUsage:
    from cryptography import x509

    return x509.KeyUsage(
        digital_signature=not signs_certificates,
        content_commitment=False,
        key_encipherment=False,
        data_encipherment=False,
        key_agreement=False,
        key_cert_sign=signs_certificates,
        crl_sign=signs_certificates,
        encipher_only=False,
        decipher_only=False,
    )


def _subject_name(name: str) -> x509.GeneralName:
    from cryptography import x509

    plain = name.strip().strip("[]").lower().rstrip(".")
    try:
        return x509.IPAddress(ipaddress.ip_address(plain))
    except ValueError:
        pass
    labels = plain.split(".")
    fits = all(0 < len(part) <= 63 and not part.startswith("-") and not part.endswith("-") for part in labels)
    if not fits or len(plain) > 253 or not all(c.isascii() and (c.isalnum() or c in "-.") for c in plain):
        raise UserMistake("this cannot be a host's name or address", where=name, do="Such as shop-pc.local.")
    return x509.DNSName(plain)


def _subtree(name: x509.GeneralName) -> x509.GeneralName:
    """The name as a constraint; an address is a network of one (RFC 5280, section 4.2.1.10)."""
    from cryptography import x509

    if isinstance(name, x509.IPAddress):
        return x509.IPAddress(ipaddress.ip_network(name.value))
    return name


def _nothing_else(names: Sequence[x509.GeneralName]) -> list[x509.GeneralName] | None:
    """A kind of name of which none is permitted is left open by RFC 5280: it is shut by excluding all of it."""
    from cryptography import x509

    shut: list[x509.GeneralName] = []
    addresses = [name.value for name in names if isinstance(name, x509.IPAddress)]
    if not any(isinstance(a, ipaddress.IPv4Address) for a in addresses):
        shut.append(x509.IPAddress(ipaddress.ip_network("0.0.0.0/0")))
    if not any(isinstance(a, ipaddress.IPv6Address) for a in addresses):
        shut.append(x509.IPAddress(ipaddress.ip_network("::/0")))
    if not any(isinstance(name, x509.DNSName) for name in names):
        shut.append(x509.DNSName(""))
    return shut or None


def _pem(certificate: x509.Certificate) -> bytes:
    from cryptography.hazmat.primitives.serialization import Encoding

    return certificate.public_bytes(Encoding.PEM)


def _key_pem(key: ec.EllipticCurvePrivateKey) -> bytes:
    from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, PrivateFormat

    return key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())


def _write(path: Path, data: bytes, *, mode: int) -> None:
    """Write a file whole or not at all, from the first byte readable only by whom it is for."""
    part = path.with_name(f".{path.name}-{uuid.uuid4().hex}")
    handle = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, mode)
    with os.fdopen(handle, "wb") as writer:
        writer.write(data)
        writer.flush()
        os.fsync(writer.fileno())
    part.replace(path)


# ---- reading --------------------------------------------------------------------------------------------------


def read(pair: Pair) -> Held:
    """What a server's certificate says.

    Raises:
        NotFound: there is none.
        BadData: it cannot be read, or the key does not belong to it.

    """
    from cryptography import x509

    try:
        loaded = x509.load_pem_x509_certificate(pair.certificate.read_bytes())
        # Loads key and certificate as the server will, which also tells whether they belong together.
        ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER).load_cert_chain(pair.certificate, pair.key)
    except FileNotFoundError as error:
        raise NotFound(
            "there is no certificate for this machine",
            where=str(error.filename or pair.key),
            do="Make one: fieldnote certificate.",
        ) from error
    except (ValueError, OSError) as error:  # ssl.SSLError is an OSError
        raise BadData(
            "certificate and key cannot be used together",
            where=str(pair.certificate),
            do="Make them anew: fieldnote certificate.",
        ) from error
    try:
        named = loaded.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    except x509.ExtensionNotFound as error:
        raise BadData(
            "this certificate names no host", where=str(pair.certificate), do="Use one with subject alternative names."
        ) from error
    names = tuple(str(n.value).lower() for n in named if isinstance(n, (x509.DNSName, x509.IPAddress)))
    return Held(names, loaded.not_valid_after_utc)


def fingerprint_of(pem: bytes) -> str:
    """The SHA-256 of a certificate as phones show it: pairs of digits with spaces between them."""
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes

    return x509.load_pem_x509_certificate(pem).fingerprint(hashes.SHA256()).hex(" ").upper()


def for_phones(pem: bytes) -> bytes:
    """A certificate in the form that phones take from a page (DER)."""
    from cryptography import x509
    from cryptography.hazmat.primitives.serialization import Encoding

    return x509.load_pem_x509_certificate(pem).public_bytes(Encoding.DER)


# ---- this machine ---------------------------------------------------------------------------------------------


def own_names() -> list[str]:
    """The names and addresses under which this machine may be reached; asks no other machine."""
    import psutil

    whole = socket.gethostname().lower()
    host = whole.split(".")[0]
    names = dict.fromkeys(name for name in (f"{host}.local", whole, host, "localhost") if _is_host(name))
    found = [
        ipaddress.ip_address(card.address.split("%")[0])
        for cards in psutil.net_if_addrs().values()
        for card in cards
        if card.family in (socket.AF_INET, socket.AF_INET6)
    ]
    own = sorted((a for a in found if not a.is_link_local and not a.is_loopback), key=lambda a: (a.version, int(a)))
    return [*names, *dict.fromkeys(map(str, own)), "127.0.0.1", "::1"]


def _is_host(name: str) -> bool:
    try:
        _subject_name(name)
    except UserMistake:
        return False
    return True


__all__ = ["DAYS", "SOON_DAYS", "Held", "Pair", "fingerprint_of", "for_phones", "make", "own_names", "read"]
