"""Does `firstsilk serve` mind its worker: start it, start it again, run a job by it, and leave nothing behind?"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from tests.journeys.serving import StationServer

pytestmark = pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="processes are read from /proc")

ASK = (
    "from datetime import date, datetime, UTC\n"
    "from firstsilk.faces.jobs import start_job\n"
    "from firstsilk.work.occasion import Occasion\n"
    "on = Occasion('eskerholm', date(2031, 12, 1), datetime.now(UTC), 'breeder')\n"
    "print(start_job(on, 'analyse', {'years': [2030]}))\n"
)
STATE = "from firstsilk.records.models import Job\nprint(*Job.objects.values_list('state', flat=True))\n"


@pytest.fixture
def served(tmp_path: Path) -> Iterator[tuple[StationServer, subprocess.Popen[bytes]]]:
    server = StationServer(tmp_path / "books")
    server.prepare()
    process = subprocess.Popen(
        [sys.executable, "-m", "firstsilk", "serve", "--port", str(server.port)],
        env=server.environment,
        start_new_session=True,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    yield server, process
    if list_group(process.pid):
        os.killpg(process.pid, signal.SIGKILL)
    process.wait(timeout=10)


def list_group(leader: int) -> dict[int, str]:
    """The living processes of a group, by number: their command lines."""
    found = {}
    for folder in Path("/proc").iterdir():
        if not folder.name.isdecimal():
            continue
        try:
            state, _, group = (folder / "stat").read_text().rpartition(")")[2].split()[:3]
            if int(group) == leader and state != "Z":
                found[int(folder.name)] = (folder / "cmdline").read_text().replace("\0", " ")
        except (OSError, ValueError):
            continue
    return found


def find_worker(leader: int) -> int | None:
    return next((number for number, line in list_group(leader).items() if "db_worker" in line), None)


def wait_until(holds: Callable[[], object], seconds: float = 45) -> object:
    deadline = time.monotonic() + seconds
    while time.monotonic() < deadline:
        answer = holds()
        if answer:
            return answer
        time.sleep(0.2)
    raise AssertionError("it did not come to pass")


def test_job_is_run_by_the_minded_worker_also_after_that_was_killed(served) -> None:
    server, process = served
    first = wait_until(lambda: find_worker(process.pid))
    server.run(ASK)
    wait_until(lambda: server.run(STATE).split() == ["failed"])  # there are no plots: an expected no, told as one
    os.kill(int(str(first)), signal.SIGKILL)
    second = wait_until(lambda: (found := find_worker(process.pid)) != first and found)
    assert second != first
    server.run(ASK)
    wait_until(lambda: server.run(STATE).split() == ["failed", "failed"])


def test_server_that_is_stopped_leaves_no_process_behind(served) -> None:
    _, process = served
    wait_until(lambda: find_worker(process.pid))
    os.kill(process.pid, signal.SIGINT)
    process.wait(timeout=20)
    wait_until(lambda: not list_group(process.pid))


def test_server_that_is_killed_takes_its_worker_along(served) -> None:
    _, process = served
    wait_until(lambda: find_worker(process.pid))
    os.kill(process.pid, signal.SIGKILL)
    process.wait(timeout=10)
    wait_until(lambda: find_worker(process.pid) is None)


def test_taken_port_is_told_in_one_sentence(served) -> None:
    server, process = served
    wait_until(lambda: find_worker(process.pid))
    again = subprocess.run(
        [sys.executable, "-m", "firstsilk", "serve", "--port", str(server.port)],
        env=server.environment,
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert again.returncode == 1
    assert f"port {server.port} at 127.0.0.1 is taken" in again.stderr
    assert "Traceback" not in again.stderr
