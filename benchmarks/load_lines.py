"""How fast is a line's page in large books? `python -m benchmarks.load_lines [FOLDER] [LINES NOTES FACTS]`.

Builds 200,000 lines, 3 million notes and one line with 5,000 facts in a folder, once, and asks for the page through
Django's test client and through the real server over HTTP. Prints the median and the 95th percentile.
"""

from __future__ import annotations

import http.cookiejar
import os
import re
import resource
import shutil
import socket
import statistics
import subprocess
import sys
import time
import urllib.parse
import urllib.request
from collections.abc import Callable
from pathlib import Path

TIMES = 40
WARM_UP = 3
BAR_MS = 300.0
PASSWORD = "early-silk-2031"


def main() -> None:
    """Build what is not there yet, then ask for the page."""
    given = sys.argv[1:]
    home = Path(given[0] if given else ".made/load-lines").absolute()
    lines, notes, facts = (int(one) for one in given[1:4]) if len(given) > 3 else (200_000, 3_000_000, 5_000)
    os.environ["FIRSTSILK_HOME"] = str(home)
    os.environ["DJANGO_SETTINGS_MODULE"] = "firstsilk.station.settings"
    import django

    done = home / f"built-{lines}-{notes}-{facts}.txt"
    if not done.exists() and home.exists():
        shutil.rmtree(home)
    django.setup()
    if not done.exists():
        done.write_text(build(lines, notes, facts), encoding="utf-8")
    print(done.read_text(encoding="utf-8"))
    from benchmarks.line_facts import LINE

    pages = (f"/lineage/line/{LINE}/", f"/lineage/line/{LINE}/?notes=7")
    for page in pages:
        tell(f"test client  {page}", ask_client(page), TIMES)
    with_server(home, pages)
    print(f"peak memory of this process {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6:.2f} GB")


def build(lines: int, notes: int, facts: int) -> str:
    """Draw the books; returns what was built, in words."""
    from benchmarks.big_books import fill_books
    from benchmarks.big_pen import Size
    from benchmarks.line_facts import add_facts
    from django.core.management import call_command
    from django.db import connection, transaction

    from firstsilk.records import models as books

    print(f"Building {lines:,} lines and {notes:,} notes; this takes minutes, once.", flush=True)
    call_command("migrate", verbosity=0)
    start = time.perf_counter()
    with connection.cursor() as cursor:
        # Nothing is lost if these books are: they are drawn again.
        cursor.execute("PRAGMA synchronous=OFF")
    with transaction.atomic():
        pen = fill_books(Size(lines, notes, max(10, lines // 1000), 400 if lines > 50_000 else 100))
        given = add_facts(pen, facts)
    station = books.Station.objects.get()
    account = books.Account(username="breeder", station=station, role="breeder")
    account.set_password(PASSWORD)
    account.save()
    tables = (books.Line, books.Lot, books.Movement, books.Row, books.Note, books.Plot, books.Estimate, books.Verdict)
    counts = ", ".join(f"{one.objects.count():,} {one._meta.verbose_name_plural}" for one in tables)
    return f"{counts}; {given:,} facts of one line; built in {time.perf_counter() - start:.0f} s"


def ask_client(page: str) -> Callable[[], int]:
    """Ask through Django's test client; gives the size of the answer."""
    from django.conf import settings
    from django.test import Client

    from firstsilk.records.models import Account

    settings.ALLOWED_HOSTS = [*settings.ALLOWED_HOSTS, "testserver"]
    client = Client()
    client.force_login(Account.objects.get(username="breeder"))

    def ask() -> int:
        answer = client.get(page)
        assert answer.status_code == 200, answer.status_code
        return len(answer.content)

    return ask


def with_server(home: Path, pages: tuple[str, ...]) -> None:
    """Serve the books as a station does, sign in, and ask over HTTP."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    command = [sys.executable, "-m", "granian", "--interface", "wsgi", "firstsilk.station.wsgi:application"]
    command += ["--host", "127.0.0.1", "--port", str(port), "--no-ws", "--log-level", "critical"]
    command += ["--blocking-threads", "4"]
    server = subprocess.Popen(command, env=os.environ.copy())
    try:
        root = f"http://127.0.0.1:{port}"
        browser = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(http.cookiejar.CookieJar()))
        door = f"{root}/sign-in/?next={pages[0]}"
        form = wait_for(browser, door)
        token = re.search(r'name="csrfmiddlewaretoken" value="([^"]+)"', form)
        assert token is not None
        typed = {"name": "breeder", "password": PASSWORD, "csrfmiddlewaretoken": token[1]}
        browser.open(door, urllib.parse.urlencode(typed).encode(), timeout=30).read()
        for page in pages:
            tell(f"real server  {page}", lambda page=page: len(browser.open(root + page, timeout=60).read()), TIMES)
    finally:
        server.terminate()
        server.wait(timeout=20)


def wait_for(browser: urllib.request.OpenerDirector, address: str) -> str:
    """The page, as soon as the server answers."""
    deadline = time.monotonic() + 60
    while True:
        try:
            return str(browser.open(address, timeout=10).read().decode())
        except OSError:
            if time.monotonic() > deadline:
                raise
            time.sleep(0.1)


def tell(what: str, ask: Callable[[], int], times: int) -> None:
    """Ask so often and print how long it took."""
    for _ in range(WARM_UP):
        size = ask()
    took, worked = [], time.process_time()
    for _ in range(times):
        start = time.perf_counter()
        size = ask()
        took.append((time.perf_counter() - start) * 1000.0)
    own = (time.process_time() - worked) / times * 1000.0
    took.sort()
    p95 = took[min(len(took) - 1, int(0.95 * len(took)))]
    beside = f", {own:.0f} ms of one core" if what.startswith("test") else ""
    print(
        f"{what}: median {statistics.median(took):.0f} ms, 95th percentile {p95:.0f} ms (bar {BAR_MS:.0f}){beside}, "
        f"{size / 1000:.0f} kB, load {os.getloadavg()[0]:.1f}",
        flush=True,
    )


if __name__ == "__main__":
    main()
