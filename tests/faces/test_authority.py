"""A phone that trusts our root trusts this station under its own name, and nothing else; the root is made once."""

from __future__ import annotations

import json
import ssl
import stat
from datetime import UTC, datetime, timedelta
from ipaddress import IPv4Address
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec

from firstsilk.answers import InputRefused, StationFault
from firstsilk.faces.pocket.authority import (
    RENEW_WITHIN,
    ROOT_LIVES,
    SERVER_LIVES,
    keep_certificates,
    put_aside,
    read_fingerprint,
)
from firstsilk.faces.pocket.fixed_address import FixedAddress, fix_address, keep_address, read_address
from tests.faces.calling import call

# TLS itself looks at the machine's clock: certificates that are to be shaken hands with are made for today.
NOW = datetime.now(UTC)
FIXED = FixedAddress("station.test", 8443, "192.0.2.20")


def shake_hands(root: Path, cert: Path, key: Path, name: str) -> str:
    """What Python's own TLS says to a client that asks a server with this certificate for this name; empty if yes."""
    server = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    server.load_cert_chain(cert, key)
    client = ssl.create_default_context(cafile=str(root))
    to_server, to_client = ssl.MemoryBIO(), ssl.MemoryBIO()
    ends = (
        client.wrap_bio(to_client, to_server, server_hostname=name),
        server.wrap_bio(to_server, to_client, server_side=True),
    )
    for _ in range(6):
        for end in ends:
            try:
                end.do_handshake()
            except ssl.SSLWantReadError:
                continue
            except ssl.SSLCertVerificationError as no:
                return no.verify_message
            except ssl.SSLError as no:
                return str(no)
    return ""


def sign_for(folder: Path, names: list[x509.GeneralName]) -> tuple[Path, Path]:
    """A certificate for other names, signed by the root's own key: what somebody with the key could do."""
    root = x509.load_pem_x509_certificate((folder / "root.crt").read_bytes())
    root_key = serialization.load_pem_private_key((folder / "root.key").read_bytes(), None)
    key = ec.generate_private_key(ec.SECP256R1())
    made = (
        x509.CertificateBuilder()
        .subject_name(x509.Name([]))
        .issuer_name(root.subject)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(NOW - timedelta(days=1))
        .not_valid_after(NOW + timedelta(days=30))
        .add_extension(x509.SubjectAlternativeName(names), critical=True)
        .add_extension(x509.AuthorityKeyIdentifier.from_issuer_public_key(root_key.public_key()), critical=False)
        .sign(root_key, hashes.SHA256())
    )
    (folder / "other.crt").write_bytes(made.public_bytes(serialization.Encoding.PEM))
    plain = serialization.NoEncryption()
    pem = key.private_bytes(serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, plain)
    (folder / "other.key").write_bytes(pem)
    return folder / "other.crt", folder / "other.key"


@pytest.mark.parametrize("name", ["station.test", "192.0.2.20"])
def test_station_is_trusted_under_its_name_and_its_number(tmp_path: Path, name: str) -> None:
    made = keep_certificates(tmp_path, FIXED, NOW)
    assert shake_hands(made.root, made.server, made.server_key, name) == ""


@pytest.mark.parametrize("name", ["other.test", "192.0.2.21", "a.station.test"])
def test_station_is_not_trusted_under_another_name(tmp_path: Path, name: str) -> None:
    made = keep_certificates(tmp_path, FIXED, NOW)
    assert "mismatch" in shake_hands(made.root, made.server, made.server_key, name)


@pytest.mark.parametrize(
    ("fixed", "name", "wanted"),
    [
        (FIXED, x509.DNSName("bank.test"), "bank.test"),
        (FIXED, x509.IPAddress(IPv4Address("192.0.2.21")), "192.0.2.21"),
        (FixedAddress("station.test", 8443), x509.IPAddress(IPv4Address("192.0.2.20")), "192.0.2.20"),
        (FixedAddress("192.0.2.20", 8443), x509.DNSName("bank.test"), "bank.test"),
    ],
)
def test_root_whose_key_was_stolen_vouches_for_no_other_place(tmp_path: Path, fixed, name, wanted: str) -> None:
    made = keep_certificates(tmp_path, fixed, NOW)
    told = shake_hands(made.root, *sign_for(tmp_path, [name]), wanted)
    assert told in ("permitted subtree violation", "excluded subtree violation")


def test_the_same_key_does_vouch_for_the_station_itself(tmp_path: Path) -> None:
    # Without this the test above would pass for certificates that are wrong in any other way.
    made = keep_certificates(tmp_path, FIXED, NOW)
    assert shake_hands(made.root, *sign_for(tmp_path, [x509.DNSName("station.test")]), "station.test") == ""


def test_root_of_another_station_is_not_trusted(tmp_path: Path) -> None:
    ours = keep_certificates(tmp_path / "a", FIXED, NOW)
    theirs = keep_certificates(tmp_path / "b", FIXED, NOW)
    assert shake_hands(theirs.root, ours.server, ours.server_key, "station.test") != ""


def test_start_again_keeps_root_and_server_and_renews_the_server_alone_when_it_runs_out(tmp_path: Path) -> None:
    first = keep_certificates(tmp_path, FIXED, NOW)
    assert first.renewed
    assert timedelta(days=360) < first.server_until - NOW <= SERVER_LIVES
    assert timedelta(days=3640) < first.root_until - NOW <= ROOT_LIVES
    files = {path.name: path.read_bytes() for path in tmp_path.iterdir()}
    soon = first.server_until - RENEW_WITHIN - timedelta(minutes=1)
    assert not keep_certificates(tmp_path, FIXED, soon).renewed
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == files
    later = keep_certificates(tmp_path, FIXED, soon + timedelta(minutes=2))
    assert later.renewed
    assert later.fingerprint == first.fingerprint
    assert later.server_until > first.server_until + timedelta(days=300)
    assert (tmp_path / "root.crt").read_bytes() == files["root.crt"]


def test_root_that_runs_out_is_told_and_never_made_anew_silently(tmp_path: Path) -> None:
    made = keep_certificates(tmp_path, FIXED, NOW)
    with pytest.raises(StationFault, match="runs out"):
        keep_certificates(tmp_path, FIXED, made.root_until - timedelta(days=5))
    assert read_fingerprint(tmp_path / "root.crt") == made.fingerprint


def test_keys_are_readable_by_their_owner_alone(tmp_path: Path) -> None:
    keep_certificates(tmp_path / "lan", FIXED, NOW)
    assert stat.S_IMODE((tmp_path / "lan").stat().st_mode) == 0o700
    for name in ("root.key", "server.key"):
        assert stat.S_IMODE((tmp_path / "lan" / name).stat().st_mode) == 0o600


def test_damaged_server_certificate_is_made_anew_and_a_wrong_root_key_is_told(tmp_path: Path) -> None:
    made = keep_certificates(tmp_path, FIXED, NOW)
    made.server.write_text("not a certificate")
    assert keep_certificates(tmp_path, FIXED, NOW).renewed
    (tmp_path / "root.key").write_bytes((tmp_path / "server.key").read_bytes())
    with pytest.raises(StationFault, match="not the key"):
        keep_certificates(tmp_path, FIXED, NOW)


def _code_of(no: pytest.ExceptionInfo[InputRefused]) -> str:
    assert no.value.refusal is not None
    return no.value.refusal.code


def test_address_is_chosen_once_and_changed_only_when_it_is_typed_out(tmp_path: Path) -> None:
    with pytest.raises(InputRefused) as no:
        fix_address(tmp_path, "", None, "", "")
    assert _code_of(no) == "address_unset"
    fixed, is_new = fix_address(tmp_path, "Station.test.", 9443, "192.0.2.20", "")
    assert (fixed, is_new) == (FixedAddress("station.test", 9443, "192.0.2.20"), True)
    keep_address(tmp_path, fixed)
    for host, port in (("", None), ("station.test", None), ("", 9443), ("station.test", 9443)):
        assert fix_address(tmp_path, host, port, "", "") == (fixed, False)
    for host, port, typed in (("other.test", None, ""), ("", 9444, ""), ("other.test", None, "yes")):
        with pytest.raises(InputRefused, match="empty store") as no:
            fix_address(tmp_path, host, port, "", typed)
        assert _code_of(no) == "address_fixed"
    changed, is_new = fix_address(tmp_path, "other.test", None, "", "other.test:9443")
    assert (changed.host, changed.port, is_new) == ("other.test", 9443, True)
    assert read_address(tmp_path) == fixed, "chosen, and not kept before its certificates are made"


@pytest.mark.parametrize("host", ["bad host", "https://station.test", "station.test:8443", "", "-a.test", "999.1.1.1"])
def test_host_that_is_none_is_refused(tmp_path: Path, host: str) -> None:
    with pytest.raises(InputRefused):
        fix_address(tmp_path, host, 8443, "", "")


def test_damaged_address_is_told(tmp_path: Path) -> None:
    (tmp_path / "address.json").write_text(json.dumps({"host": "x"}))
    with pytest.raises(StationFault, match="cannot be read"):
        fix_address(tmp_path, "station.test", 8443, "", "")


def test_former_root_is_put_aside_whole_for_a_new_address(tmp_path: Path) -> None:
    first = keep_certificates(tmp_path, FIXED, NOW)
    put_aside(tmp_path, NOW)
    again = keep_certificates(tmp_path, FixedAddress("other.test", 8443), NOW)
    assert again.fingerprint != first.fingerprint
    (away,) = tmp_path.glob("before-*")
    assert sorted(path.name for path in away.iterdir()) == ["root.crt", "root.key", "server.crt", "server.key"]


def test_options_of_the_network_without_lan_are_refused(capsys) -> None:
    code, _, told = call(capsys, "serve", "--new-address", "a:1")
    assert (code, "belong to --lan" in told) == (1, True)
