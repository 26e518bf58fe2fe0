"""How is the station put on a farm's own network, so that phones trust it and know it all season?"""

from __future__ import annotations

import os
import sys
from dataclasses import dataclass
from datetime import UTC, datetime

from firstsilk.answers import FirstsilkError
from firstsilk.faces.command.giving import say
from firstsilk.faces.files.home import find_home
from firstsilk.faces.pocket.authority import Certificates, keep_certificates, put_aside
from firstsilk.faces.pocket.fixed_address import FixedAddress, find_own_address, fix_address, keep_address
from firstsilk.faces.pocket.qr import draw_in_terminal

FOLDER = "lan"
EVERYWHERE = "0.0.0.0"  # noqa: S104  phones on the network are to reach it; that is what --lan asks for


@dataclass(frozen=True, slots=True)
class Lan:
    """The station on its network: its address, its certificates, and where the root certificate is given."""

    fixed: FixedAddress
    certificates: Certificates
    root_port: int
    listen: str = EVERYWHERE

    @property
    def root_page(self) -> str:
        """The plain address of the page that gives the root certificate."""
        return f"http://{self.fixed.host}:{self.root_port}/"


def prepare_lan(host: str, port: int | None, address: str, confirmed: str, root_port: int) -> Lan:
    """Choose or find the address, make or find the certificates, and let the station know that it speaks HTTPS."""
    folder, now = find_home() / FOLDER, datetime.now(UTC)
    fixed, is_new = fix_address(folder, host, port, address, confirmed)
    if is_new:
        put_aside(folder, now)
    certificates = keep_certificates(folder, fixed, now)
    if is_new:
        keep_address(folder, fixed)
    lan = Lan(fixed, certificates, root_port)
    hosts = [os.environ.get("FIRSTSILK_HOSTS", ""), fixed.host, fixed.address]
    os.environ["FIRSTSILK_HOSTS"] = ",".join(one for one in hosts if one)
    os.environ["FIRSTSILK_HTTPS"] = "own"
    os.environ["FIRSTSILK_ROOT_PAGE"] = lan.root_page
    return lan


def tell_lan(lan: Lan) -> None:
    """Say what a crew leader needs to get phones on: both codes, the steps, and what has to stay as it is."""
    certificates, fixed = lan.certificates, lan.fixed
    here = find_own_address()
    say(f"Phones know this station as {fixed.origin} all season. Another host or port would be an empty store to them.")
    if not FixedAddress.is_number(fixed.host):
        say(f"The network must lead {fixed.host} to this machine{f' ({here})' if here else ''}: a name in the router.")
    if fixed.address and here and here != fixed.address:
        say(f"This machine is now at {here}; it was at {fixed.address} when the address was chosen.")
    say(f"Certificates: the server's until {certificates.server_until:%Y-%m-%d}{', made now' * certificates.renewed};")
    say(f"the root until {certificates.root_until:%Y-%m-%d}, SHA-256 {certificates.fingerprint}")
    say(f"Step 1, once for each phone: trust the root certificate. Page with the steps: {lan.root_page}")
    _show(lan.root_page)
    opened = _open_first_place(fixed)
    if opened:
        address, until = opened
        say(f"Step 2: join. This code works once, until {until}; the page Flowering, Phones makes more: {address}")
        _show(address)


def _open_first_place(fixed: FixedAddress) -> tuple[str, str] | None:
    """The address with a code for one phone, where there is one station; None otherwise."""
    from firstsilk.work.flowering.devices import open_enrolment
    from firstsilk.work.occasion import Occasion
    from firstsilk.work.station import list_stations

    stations = list_stations()
    if len(stations) != 1:
        return None
    now = datetime.now(UTC)
    try:
        code = open_enrolment(Occasion(stations[0].code, stations[0].today(now), now))
    except FirstsilkError as no:
        say(str(no))
        return None
    return f"{fixed.origin}/pocket/#join={code.code}", f"{code.until:%H:%M} UTC"


def _show(address: str) -> None:
    """A code for a camera, where somebody looks at a terminal."""
    if sys.stderr.isatty():
        say(draw_in_terminal(address))
