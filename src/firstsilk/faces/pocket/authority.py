"""How does a phone on a farm's own network trust this station? A certificate authority of our own, for one host alone.

The authority's certificate may sign for the station's host name and its address and for nothing else: a phone that
trusts it trusts nobody more than this station. It is made once and kept; the server's own certificate is renewed at a
start when it is about to run out. Keys are readable by their owner only.
"""

from __future__ import annotations

import os
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from ipaddress import IPv4Address, IPv4Network, IPv6Network
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from firstsilk.answers import StationFault
from firstsilk.faces.pocket.fixed_address import FixedAddress

ROOT_LIVES = timedelta(days=3652)
SERVER_LIVES = timedelta(days=397)
"""Phones refuse a server's certificate that lives longer than 398 days (from memory, no stored source)."""
RENEW_WITHIN = timedelta(days=30)
BACKDATED = timedelta(days=2)
"""A phone whose clock is behind would call a certificate made today not valid yet. A choice of ours."""
ROOT, ROOT_KEY, SERVER, SERVER_KEY = "root.crt", "root.key", "server.crt", "server.key"


@dataclass(frozen=True, slots=True)
class Certificates:
    """Where the certificates lie, until when they hold, and the root's fingerprint to be compared by eye."""

    root: Path
    server: Path
    server_key: Path
    root_until: datetime
    server_until: datetime
    fingerprint: str
    renewed: bool


def keep_certificates(folder: Path, fixed: FixedAddress, now: datetime) -> Certificates:
    """The authority of this folder and its server certificate; made where there is none, renewed where it runs out.

    Raises
    ------
    StationFault
        If the authority itself has run out, or its files do not belong together.

    Notes
    -----
    Checked by tests/faces/test_authority.py with Python's own TLS.
    """
    folder.mkdir(parents=True, exist_ok=True)
    folder.chmod(0o700)
    if not (folder / ROOT).is_file():
        _make_root(folder, fixed, now)
    root, root_key = _read_root(folder)
    if root.not_valid_after_utc <= now + RENEW_WITHIN:
        told = f"the root certificate runs out on {root.not_valid_after_utc:%Y-%m-%d}"
        raise StationFault(f"{told}; make a new one with --new-address, and let every phone trust it")
    renewed = not _serves(folder, fixed, root, now)
    if renewed:
        _make_server(folder, fixed, root, root_key, now)
    server = x509.load_pem_x509_certificate((folder / SERVER).read_bytes())
    return Certificates(
        root=folder / ROOT,
        server=folder / SERVER,
        server_key=folder / SERVER_KEY,
        root_until=root.not_valid_after_utc,
        server_until=server.not_valid_after_utc,
        fingerprint=read_fingerprint(folder / ROOT),
        renewed=renewed,
    )


def read_fingerprint(root: Path) -> str:
    """The SHA-256 of a certificate in pairs of signs, as phones show it."""
    digest = x509.load_pem_x509_certificate(root.read_bytes()).fingerprint(hashes.SHA256())
    return digest.hex(":").upper()


def read_as_der(root: Path) -> bytes:
    """A certificate as phones take it."""
    return x509.load_pem_x509_certificate(root.read_bytes()).public_bytes(serialization.Encoding.DER)


def put_aside(folder: Path, now: datetime) -> None:
    """Move a former authority away whole, so that a new one is made; nothing is deleted."""
    if (folder / ROOT).is_file():
        away = folder / f"before-{now:%Y%m%d-%H%M%S}"
        away.mkdir(mode=0o700)
        for name in (ROOT, ROOT_KEY, SERVER, SERVER_KEY):
            if (folder / name).is_file():
                (folder / name).rename(away / name)


def _make_root(folder: Path, fixed: FixedAddress, now: datetime) -> None:
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, f"firstsilk station at {fixed.host}"[:64])])
    usage = x509.KeyUsage(
        digital_signature=False,
        content_commitment=False,
        key_encipherment=False,
        data_encipherment=False,
        key_agreement=False,
        key_cert_sign=True,
        crl_sign=True,
        encipher_only=False,
        decipher_only=False,
    )
    made = (
        _start(name, name, key, now, ROOT_LIVES)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(usage, critical=True)
        .add_extension(_constrain(fixed), critical=True)
        .sign(key, hashes.SHA256())
    )
    _write(folder / ROOT_KEY, _as_pem(key), 0o600)
    _write(folder / ROOT, made.public_bytes(serialization.Encoding.PEM), 0o644)


def _constrain(fixed: FixedAddress) -> x509.NameConstraints:
    """Names of a kind that is not named at all would be free: so both kinds are, with a name nobody has if need be."""
    names, addresses = _names_of(fixed)
    permitted: list[x509.GeneralName] = [x509.DNSName(name) for name in names] or [x509.DNSName("none.invalid")]
    permitted += [x509.IPAddress(IPv4Network(address)) for address in addresses]
    every = [x509.IPAddress(IPv4Network("0.0.0.0/0")), x509.IPAddress(IPv6Network("::/0"))]
    return x509.NameConstraints(permitted_subtrees=permitted, excluded_subtrees=None if addresses else every)


def _names_of(fixed: FixedAddress) -> tuple[list[str], list[IPv4Address]]:
    """The host name, and the addresses, that the station may be reached by."""
    found = [IPv4Address(one) for one in dict.fromkeys((fixed.host, fixed.address)) if one and fixed.is_number(one)]
    return ([] if fixed.is_number(fixed.host) else [fixed.host]), found


def _start(
    subject: x509.Name, issuer: x509.Name, key: ec.EllipticCurvePrivateKey, now: datetime, lives: timedelta
) -> x509.CertificateBuilder:
    return (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(issuer)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - BACKDATED)
        .not_valid_after(now - BACKDATED + lives)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
    )


def _read_root(folder: Path) -> tuple[x509.Certificate, ec.EllipticCurvePrivateKey]:
    try:
        root = x509.load_pem_x509_certificate((folder / ROOT).read_bytes())
        key = serialization.load_pem_private_key((folder / ROOT_KEY).read_bytes(), None)
    except (OSError, ValueError) as fault:
        raise StationFault(f"{folder}: the root certificate or its key cannot be read: {fault}") from None
    if not isinstance(key, ec.EllipticCurvePrivateKey) or key.public_key() != root.public_key():
        raise StationFault(f"{folder}: {ROOT_KEY} is not the key of {ROOT}; put the right one back from a copy")
    return root, key


def _serves(folder: Path, fixed: FixedAddress, root: x509.Certificate, now: datetime) -> bool:
    """Is there a server certificate of this root, for this host, that holds for a while yet?"""
    try:
        server = x509.load_pem_x509_certificate((folder / SERVER).read_bytes())
        key = serialization.load_pem_private_key((folder / SERVER_KEY).read_bytes(), None)
        server.verify_directly_issued_by(root)
        told = server.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    except Exception:  # whatever is wrong with the files: the certificate is made anew
        return False
    fits = key.public_key() == server.public_key() and list(told) == list(_tell_names(fixed))
    return fits and server.not_valid_after_utc > now + RENEW_WITHIN


def _tell_names(fixed: FixedAddress) -> Sequence[x509.GeneralName]:
    names, addresses = _names_of(fixed)
    return [*(x509.DNSName(name) for name in names), *(x509.IPAddress(address) for address in addresses)]


def _make_server(
    folder: Path, fixed: FixedAddress, root: x509.Certificate, root_key: ec.EllipticCurvePrivateKey, now: datetime
) -> None:
    key = ec.generate_private_key(ec.SECP256R1())
    subject = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "firstsilk station")])
    lives = min(SERVER_LIVES, root.not_valid_after_utc - (now - BACKDATED))
    made = (
        _start(subject, root.subject, key, now, lives)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(x509.SubjectAlternativeName(_tell_names(fixed)), critical=False)
        .add_extension(x509.AuthorityKeyIdentifier.from_issuer_public_key(root_key.public_key()), critical=False)
        .sign(root_key, hashes.SHA256())
    )
    chain = made.public_bytes(serialization.Encoding.PEM) + root.public_bytes(serialization.Encoding.PEM)
    _write(folder / SERVER_KEY, _as_pem(key), 0o600)
    _write(folder / SERVER, chain, 0o644)


def _as_pem(key: ec.EllipticCurvePrivateKey) -> bytes:
    return key.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )


def _write(path: Path, content: bytes, mode: int) -> None:
    """Write a file beside its place and move it there; a key is never readable by others, not even for a moment."""
    handle, beside = tempfile.mkstemp(dir=path.parent)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        Path(beside).chmod(mode)
        Path(beside).replace(path)
    except BaseException:
        Path(beside).unlink(missing_ok=True)
        raise
