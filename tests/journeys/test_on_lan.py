"""`firstsilk serve --lan`: a phone fetches the root, trusts the station under its one name, joins and brings notes."""

from __future__ import annotations

import base64
import http.client
import re
import shutil
import signal
import socket
import ssl
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from hashlib import sha256
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import serialization

from tests.journeys.chromium import CHROMIUM, FLAGS
from tests.journeys.phone import go_home, open_tag, send
from tests.journeys.serving import StationServer, find_port

# One server for all tests of this file, with and without a browser.
pytestmark = pytest.mark.xdist_group("test_on_lan")

HOST = "station.test"


class Lan:
    """A station that is served on its own network, which here is this machine."""

    def __init__(self, home: Path) -> None:
        self.books = StationServer(home)
        self.made = self.books.prepare()
        self.root_port = find_port()
        self.process: subprocess.Popen[bytes] | None = None
        self.told = home / "told.txt"

    @property
    def origin(self) -> str:
        return f"https://{HOST}:{self.books.port}"

    @property
    def root(self) -> Path:
        return self.books.home / "lan" / "root.crt"

    def command(self, *more: str) -> list[str]:
        given = ["serve", "--lan", "--root-port", str(self.root_port), "--no-worker", *more]
        return [sys.executable, "-m", "firstsilk", *given]

    def start(self, *more: str) -> None:
        with self.told.open("wb") as told:
            self.process = subprocess.Popen(
                self.command(*more), env=self.books.environment, start_new_session=True, stdout=told, stderr=told
            )
        deadline = time.monotonic() + 90
        while time.monotonic() < deadline:
            assert self.process.poll() is None, self.told.read_text()
            try:
                with socket.create_connection(("127.0.0.1", self.books.port), timeout=1):
                    return
            except OSError:
                time.sleep(0.1)
        raise AssertionError("it does not listen")

    def stop(self) -> None:
        if self.process is not None:
            self.process.send_signal(signal.SIGINT)
            self.process.wait(timeout=30)
            self.process = None

    def ask(self, path: str, host: str = HOST, name: str = HOST) -> http.client.HTTPResponse:
        """One request over TLS that trusts our root alone; `name` is asked of TLS, `host` of the station."""
        trust = ssl.create_default_context(cafile=str(self.root))
        plain = socket.create_connection(("127.0.0.1", self.books.port), timeout=20)
        with plain, trust.wrap_socket(plain, server_hostname=name) as line:
            line.sendall(f"GET {path} HTTP/1.1\r\nHost: {host}:{self.books.port}\r\nConnection: close\r\n\r\n".encode())
            answer = http.client.HTTPResponse(line)
            answer.begin()
            answer.read()
            return answer


@pytest.fixture(scope="module")
def lan(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Lan]:
    made = Lan(tmp_path_factory.mktemp("lan") / "books")
    made.start("--host", HOST, "--port", str(made.books.port), "--address", "127.0.0.1")
    yield made
    made.stop()


def test_root_is_given_on_a_plain_page_and_trusts_the_station_alone(lan: Lan) -> None:
    plain = f"http://127.0.0.1:{lan.root_port}"
    with urllib.request.urlopen(f"{plain}/", timeout=10) as page:
        text = page.read().decode()
    with urllib.request.urlopen(f"{plain}/firstsilk-root.crt", timeout=10) as given:
        assert given.headers["Content-Type"] == "application/x-x509-ca-cert"
        root = given.read()
    assert ssl.PEM_cert_to_DER_cert(lan.root.read_text()) == root
    assert ":".join(re.findall("..", sha256(root).hexdigest())).upper() in text
    assert "Certificate Trust Settings" in text
    with pytest.raises(urllib.error.HTTPError, match="404"):
        urllib.request.urlopen(f"{plain}/secret.txt", timeout=10)

    answer = lan.ask("/sign-in/")
    assert answer.status == 200
    assert "Secure" in answer.headers["Set-Cookie"]
    assert answer.headers["Strict-Transport-Security"] is None
    assert lan.ask("/pocket/", name="127.0.0.1", host="127.0.0.1").status == 200
    assert lan.ask("/pocket/", host="other.test").status == 400
    with pytest.raises(ssl.SSLCertVerificationError, match="mismatch"):
        lan.ask("/pocket/", name="other.test")


def test_terminal_tells_a_code_once_and_the_steps(lan: Lan) -> None:
    told = lan.told.read_text()
    assert f"Phones know this station as {lan.origin} all season" in told
    assert re.search(rf"{re.escape(lan.origin)}/pocket/#join=[0-9A-Z]{{4}}-[0-9A-Z]{{4}}", told)
    assert f"http://{HOST}:{lan.root_port}/" in told


def test_other_address_is_refused_and_a_start_again_keeps_the_root(lan: Lan) -> None:
    before = lan.root.read_bytes()
    lan.stop()
    refused = subprocess.run(
        lan.command("--host", "other.test"),
        env=lan.books.environment, capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip
    assert refused.returncode == 1
    assert "would open an empty store" in refused.stderr
    lan.start()
    assert lan.root.read_bytes() == before
    assert lan.ask("/pocket/").status == 200


@pytest.mark.browser
@pytest.mark.skipif(shutil.which(CHROMIUM) is None, reason=f"there is no chromium at {CHROMIUM}")
def test_phone_joins_by_the_picture_and_brings_its_notes_over_https(lan: Lan, tmp_path: Path) -> None:
    from playwright.sync_api import sync_playwright

    found = re.search(r"#join=(\S+)", lan.told.read_text())
    assert found is not None
    with sync_playwright() as driver:
        # The browser is told which key to take: it proves the page over HTTPS. Trust in the root is proven above.
        flags = [f"--host-resolver-rules=MAP {HOST} 127.0.0.1", f"--ignore-certificate-errors-spki-list={_pin(lan)}"]
        phone = driver.chromium.launch_persistent_context(
            tmp_path / "phone", executable_path=CHROMIUM, args=[*FLAGS, *flags], viewport={"width": 390, "height": 844}
        )
        phone.set_default_timeout(60_000)
        page = phone.pages[0]
        page.goto(f"{lan.origin}/pocket/#join={found[1]}")
        page.wait_for_selector("[data-screen=join]")
        assert page.evaluate("window.isSecureContext")
        assert page.input_value("#field") == found[1]
        page.press("#field", "Enter")
        go_home(page)
        page.evaluate("navigator.serviceWorker.ready.then(() => true)")
        open_tag(page, str(lan.made["tags"][0]))
        page.click("[data-kind=silk]")
        page.wait_for_selector(".saved")
        page.goto(f"{lan.origin}/pocket/")
        go_home(page)
        send(page, [1, 1, 1])
        phone.close()
    assert lan.books.run("from firstsilk.records.models import Note\nprint(Note.objects.count())\n").strip() == "1"


def _pin(lan: Lan) -> str:
    server = x509.load_pem_x509_certificate((lan.books.home / "lan" / "server.crt").read_bytes())
    key = server.public_key().public_bytes(serialization.Encoding.DER, serialization.PublicFormat.SubjectPublicKeyInfo)
    return base64.b64encode(sha256(key).digest()).decode()
