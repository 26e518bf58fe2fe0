"""Under which one address do phones know this station, this whole season?

A phone keeps its notes under the address at which it opened the page: scheme, host name and port. At any other address
the same phone opens an empty store. So the address is chosen once, kept in a small file, and never changed silently.
"""

from __future__ import annotations

import json
import re
import socket
from dataclasses import asdict, dataclass
from ipaddress import IPv4Address
from pathlib import Path

from firstsilk.answers import StationFault, refuse

FILE = "address.json"
PORT = 8443
_NAME = re.compile(r"(?=.{1,253}$)[a-z0-9]([a-z0-9-]{0,61}[a-z0-9])?(\.[a-z0-9]([a-z0-9-]{0,61}[a-z0-9])?)*")


@dataclass(frozen=True, slots=True)
class FixedAddress:
    """The station's host name (or its number), its port, and its number on the network where it is known."""

    host: str
    port: int
    address: str = ""

    @property
    def origin(self) -> str:
        """The address as a browser writes it."""
        return f"https://{self.host}" + ("" if self.port == 443 else f":{self.port}")

    @staticmethod
    def is_number(text: str) -> bool:
        """Is this a number on the network, such as 192.168.1.20, and no name?"""
        try:
            IPv4Address(text)
        except ValueError:
            return False
        return True


def fix_address(folder: Path, host: str, port: int | None, address: str, confirmed: str) -> tuple[FixedAddress, bool]:
    """The station's address: as kept, or as chosen now; and whether it is a new one.

    Parameters
    ----------
    host, port, address
        As asked for; empty or None for what is kept.
    confirmed
        ``host:port`` typed out, which lets a kept address be changed.

    Raises
    ------
    InputRefused
        ``address_unset``, ``host_unfit``, ``port_unfit``, ``address_unfit``; ``address_fixed`` if another is kept.
    """
    kept = read_address(folder)
    if kept is None and not host:
        here = find_own_address()
        machine = socket.gethostname().split(".")[0].lower()
        told = "Phones need one address for the whole season, and none is chosen yet."
        yes_if = f"Choose a name that the network's router gives this machine ({machine}"
        yes_if += f"), or its fixed number ({here})" if here else ")"
        raise refuse("address_unset", told, f"{yes_if}: --host NAME --port {PORT}.")
    wanted = FixedAddress(
        _check_host(host) if host else kept.host if kept else "",
        _check_port(port) if port is not None else kept.port if kept else PORT,
        _check_number(address) if address else kept.address if kept and not host else "",
    )
    if kept is not None and host and not address and wanted.host == kept.host:
        wanted = FixedAddress(wanted.host, wanted.port, kept.address)
    if wanted == kept:
        return kept, False
    if kept is not None and confirmed != f"{wanted.host}:{wanted.port}":
        told = (
            f"Phones know this station as {kept.origin}. At {wanted.origin} each would open an empty store; notes that "
        )
        told += "it has not brought yet would stay behind under the old address."
        yes_if = f"Bring all phones' notes in first. Then repeat it with --new-address {wanted.host}:{wanted.port}."
        raise refuse("address_fixed", told, yes_if)
    if not wanted.address and not FixedAddress.is_number(wanted.host):
        wanted = FixedAddress(wanted.host, wanted.port, find_own_address())
    return wanted, True


def keep_address(folder: Path, fixed: FixedAddress) -> None:
    """Write the address down, whole or not at all."""
    folder.mkdir(parents=True, exist_ok=True)
    beside = folder / f"{FILE}.new"
    beside.write_text(json.dumps(asdict(fixed)) + "\n", encoding="utf-8")
    beside.replace(folder / FILE)


def read_address(folder: Path) -> FixedAddress | None:
    """The address that is kept; None if none was chosen yet."""
    path = folder / FILE
    try:
        return FixedAddress(**json.loads(path.read_text(encoding="utf-8")))
    except FileNotFoundError:
        return None
    except (OSError, ValueError, TypeError) as fault:
        raise StationFault(f"{path}: the station's address cannot be read: {fault}") from None


def find_own_address() -> str:
    """This machine's number on its network; empty if it is on none. Nothing is sent to find it."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            # Addresses of RFC 5737 belong to nobody: the socket is only bound to the way out.
            probe.connect(("192.0.2.1", 9))
            return str(probe.getsockname()[0])
        except OSError:
            return ""


def _check_host(host: str) -> str:
    host = host.strip().lower().rstrip(".")
    if not _NAME.fullmatch(host) or (host.replace(".", "").isdecimal() and not FixedAddress.is_number(host)):
        told = f"{host[:80]!r} is no host name and no number on a network."
        raise refuse("host_unfit", told, "Write it like station.lan or 192.168.1.20, without https and without a port.")
    return host


def _check_port(port: int) -> int:
    if not 1 <= port <= 65535:
        raise refuse("port_unfit", f"There is no port {port}.", f"Use 1024 to 65535; {PORT} is usual.")
    return port


def _check_number(address: str) -> str:
    if not FixedAddress.is_number(address):
        raise refuse("address_unfit", f"{address[:80]!r} is no number on a network.", "Write it like 192.168.1.20.")
    return address
