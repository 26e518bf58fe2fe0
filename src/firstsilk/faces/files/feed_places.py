"""Which folder or address may be looked at for weather, and what does it hold just now?

A server that fetches what it is told to can be used to reach what only it can reach. So an address is http or https,
holds no password, and leads to the public network, whatever its name turns into and wherever it is sent on; hosts of
the own network are reached only if the one who runs the station names them. A folder lies outside the station's own,
links in it are not followed, and a page can only name folders below those that the one who runs the station allowed.
"""

from __future__ import annotations

import http.client
import ipaddress
import os
import socket
import stat
import threading
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import unquote, urlsplit

from firstsilk.answers import refuse
from firstsilk.faces.files.guard import KNOWN, MOST_BYTES

STEADY_S = 2.0
"""A file changed within so many seconds may be half-written; it waits for the next look. Our own choice."""
MOST_FILES = 200
MOST_REDIRECTS = 3
TIMEOUT_S = 15.0
LONGEST_S = 60.0
CHUNK = 64 * 1024


class PlaceFault(Exception):
    """A place that could not be read just now, in words a person can use."""


@dataclass(frozen=True, slots=True)
class Rules:
    """What is allowed: `hosts` of the own network, `folders` that pages may name; `home` is the station's."""

    home: Path
    hosts: frozenset[str] = frozenset()
    folders: tuple[Path, ...] = ()


@dataclass(frozen=True, slots=True)
class Found:
    """A file that was found: its name and what it holds; or why it was not read."""

    name: str
    content: bytes = b""
    why_not: str = ""


def check_place(text: str, rules: Rules, by_page: bool = False) -> tuple[str, str]:
    """The kind of a place, ``folder`` or ``address``, and the place as it is kept.

    Raises
    ------
    InputRefused
        If it may not be looked at.
    """
    text = text.strip()
    if "://" in text:
        return "address", _check_address(text)
    return "folder", _check_folder(text, rules, by_page)


def _check_address(text: str) -> str:
    try:
        parts = urlsplit(text)
        port = parts.port
    except ValueError:
        raise refuse("address_unclear", "This is no address.", "Write it as https://host/path.") from None
    if parts.scheme not in ("http", "https") or not parts.hostname:
        raise refuse("address_unclear", f"An address of {parts.scheme} is not asked.", "Write http:// or https://.")
    if parts.username is not None or parts.password is not None:
        raise refuse("address_password", "A password does not belong in an address.", "Leave it out.")
    if any(sign.isspace() or ord(sign) < 32 for sign in text) or port == 0:
        raise refuse("address_unclear", "This is no address.", "Write it as https://host/path, without blanks.")
    return text


def _check_folder(text: str, rules: Rules, by_page: bool) -> str:
    folder = Path(text)
    if not text or not folder.is_absolute():
        raise refuse("folder_unclear", "A folder is named whole, from its root.", "Write it as /data/weather.")
    real = Path(os.path.realpath(folder))
    if by_page and not any(real.is_relative_to(os.path.realpath(one)) for one in rules.folders):
        raise refuse(
            "folder_not_allowed",
            "A page cannot have this folder looked at.",
            "Use the command firstsilk feed add, or have FIRSTSILK_FEED_FOLDERS name a folder above it.",
        )
    _keep_out_of_home(real, rules)
    if not real.is_dir():
        raise refuse("folder_missing", f"{text}: there is no such folder.", "Make it, or check the name.")
    return str(real)


def _keep_out_of_home(real: Path, rules: Rules) -> None:
    home = Path(os.path.realpath(rules.home))
    if real == home or real.is_relative_to(home):
        raise refuse("folder_of_station", "This folder is the station's own.", "Name one outside it.")


def read_folder(place: str, rules: Rules, now_s: float | None = None) -> tuple[Found, ...]:
    """The files of weather in a folder, by name; what cannot be read is told beside them.

    Raises
    ------
    PlaceFault
        If the folder is gone, cannot be read, or has become the station's own.
    """
    now_s = time.time() if now_s is None else now_s
    folder = Path(place)
    if Path(os.path.realpath(folder)) != folder or folder.is_relative_to(os.path.realpath(rules.home)):
        raise PlaceFault("The folder is not where it was: it has become a link, or the station's own.")
    try:
        entries = sorted(one.name for one in os.scandir(folder) if _may_hold_weather(one))
    except OSError as fault:
        raise PlaceFault(f"The folder cannot be read: {fault.strerror or fault}.") from None
    if len(entries) > MOST_FILES:
        raise PlaceFault(f"The folder holds {len(entries)} files of weather; at most {MOST_FILES} are looked at.")
    return tuple(found for name in entries if (found := _read_file(folder / name, now_s)) is not None)


def _may_hold_weather(entry: os.DirEntry[str]) -> bool:
    return not entry.name.startswith((".", "~")) and Path(entry.name).suffix.lower() in KNOWN


def _read_file(path: Path, now_s: float) -> Found | None:
    """One file; None if it may be half-written."""
    try:
        handle = os.open(path, os.O_RDONLY | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0))
    except OSError as fault:
        return Found(path.name, why_not="it is a link" if path.is_symlink() else f"{fault.strerror or fault}")
    before = os.fstat(handle)
    if not stat.S_ISREG(before.st_mode):
        os.close(handle)
        return Found(path.name, why_not="it is no file")
    with os.fdopen(handle, "rb") as file:
        if before.st_size > MOST_BYTES:
            return Found(path.name, why_not=f"it is larger than {MOST_BYTES // 1024**2} MB")
        # A file from the future cannot be waited for; its clock is wrong.
        if 0 <= now_s - before.st_mtime < STEADY_S:
            return None
        content = file.read(MOST_BYTES + 1)
        after = os.fstat(file.fileno())
    if (after.st_size, after.st_mtime_ns) != (before.st_size, before.st_mtime_ns):
        return None
    return Found(path.name, content)


def fetch_address(place: str, rules: Rules) -> Found:
    """What an address gives, at most 10 MB of it, within a minute.

    Raises
    ------
    PlaceFault
        If it may not be asked, does not answer, or answers with something else than a file.
    """
    request = urllib.request.Request(place, headers={"User-Agent": "firstsilk", "Accept": "text/csv, */*;q=0.5"})  # noqa: S310
    began = time.monotonic()
    links: list[socket.socket] = []
    # A server that sends a sign now and then never times out: after a minute its connection is cut.
    cutter = threading.Timer(LONGEST_S, _cut, (links,))
    cutter.daemon = True
    cutter.start()
    try:
        with _make_opener(rules, links).open(request, timeout=TIMEOUT_S) as answer:
            if answer.status != 200:
                raise PlaceFault(f"The address answered with {answer.status}.")
            content = b"".join(_read_parts(answer, began))
            path = urlsplit(answer.url).path
    except urllib.error.HTTPError as fault:
        raise PlaceFault(f"The address answered with {fault.code}.") from None
    except urllib.error.URLError as fault:
        raise PlaceFault(_say_fault(fault.reason)) from None
    except (OSError, http.client.HTTPException, ValueError) as fault:
        raise PlaceFault(_say_fault(fault)) from None
    finally:
        cutter.cancel()
        for link in links:
            link.close()
    name = unquote(path.rsplit("/", 1)[-1])[-80:] or "weather"
    return Found(name if Path(name).suffix.lower() in KNOWN else f"{name}.csv", content)


def _cut(links: list[socket.socket]) -> None:
    for link in list(links):
        with suppress(OSError):
            link.shutdown(socket.SHUT_RDWR)


def _say_fault(fault: object) -> str:
    if isinstance(fault, PlaceFault):
        return str(fault)
    if isinstance(fault, TimeoutError):
        return f"The address did not answer within {TIMEOUT_S:.0f} seconds."
    if isinstance(fault, socket.gaierror):
        return "The address has a name that leads nowhere."
    if isinstance(fault, OSError) and fault.strerror:
        return f"The address cannot be reached: {fault.strerror}."
    return "The address cannot be reached, or its answer broke off."


def _read_parts(answer: Any, began: float) -> Iterator[bytes]:
    size = 0
    while part := answer.read1(CHUNK):
        size += len(part)
        if size > MOST_BYTES:
            raise PlaceFault(f"The address gives more than {MOST_BYTES // 1024**2} MB.")
        if time.monotonic() - began > LONGEST_S:
            raise PlaceFault(f"The address did not end its answer within {LONGEST_S:.0f} seconds.")
        yield part
    # The library reads a part of an answer that broke off without a word.
    if answer.length:
        raise PlaceFault("The answer of the address broke off.")


def _make_opener(rules: Rules, links: list[socket.socket]) -> urllib.request.OpenerDirector:
    """Opens http and https only, through no proxy, connects only where it may, and puts its connections in `links`."""

    def connect(address: tuple[str, int], timeout: float, source: object = None) -> socket.socket:
        link = _connect_where_allowed(address[0], address[1], rules)
        links.append(link.dup())
        return link

    class Plain(http.client.HTTPConnection):
        def __init__(self, *args: Any, **more: Any) -> None:
            super().__init__(*args, **more)
            self._create_connection = connect

    class Secret(http.client.HTTPSConnection):
        def __init__(self, *args: Any, **more: Any) -> None:
            super().__init__(*args, **more)
            self._create_connection = connect

    class OpenPlain(urllib.request.HTTPHandler):
        def http_open(self, req: urllib.request.Request) -> Any:
            return self.do_open(Plain, req)

    class OpenSecret(urllib.request.HTTPSHandler):
        def https_open(self, req: urllib.request.Request) -> Any:
            return self.do_open(Secret, req)

    opener = urllib.request.OpenerDirector()
    handlers = (OpenPlain, OpenSecret, _Redirect, urllib.request.HTTPDefaultErrorHandler)
    for handler in (*handlers, urllib.request.HTTPErrorProcessor):
        opener.add_handler(handler())
    return opener


class _Redirect(urllib.request.HTTPRedirectHandler):
    """Follows a few times, to http and https without a password, and never from https to http."""

    max_redirections = MOST_REDIRECTS
    max_repeats = 1

    def redirect_request(self, req: Any, fp: Any, code: int, msg: str, headers: Any, newurl: str) -> Any:
        target = urlsplit(newurl)
        if target.scheme not in ("http", "https") or target.username is not None:
            raise PlaceFault("The address sends on to a place that is not asked.")
        if req.type == "https" and target.scheme == "http":
            raise PlaceFault("The address sends on from https to http.")
        return super().redirect_request(req, fp, code, msg, headers, newurl)


def _connect_where_allowed(host: str, port: int, rules: Rules) -> socket.socket:
    """Connect to a host if every number its name turns into is public, or the host is allowed by name."""
    found = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)
    if host.lower() not in rules.hosts:
        for *_, target in found:
            if not _is_public(str(target[0])):
                raise PlaceFault(
                    "The address leads to this machine or its own network, which is not asked unless "
                    "FIRSTSILK_FEED_HOSTS names the host."
                )
    fault: OSError | None = None
    for family, kind, protocol, _, target in found:
        link = socket.socket(family, kind, protocol)
        link.settimeout(TIMEOUT_S)
        try:
            link.connect(target)
        except OSError as error:
            link.close()
            fault = error
            continue
        return link
    raise fault or OSError("no number behind this name")


def _is_public(number: str) -> bool:
    try:
        found = ipaddress.ip_address(number.partition("%")[0])
    except ValueError:
        return False
    inner = getattr(found, "ipv4_mapped", None) or getattr(found, "sixtofour", None)
    return found.is_global and not found.is_multicast and (inner is None or inner.is_global)
