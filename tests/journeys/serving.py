"""A station of its own for a journey: its books in a folder, its server in a process group, phones that talk to it."""

from __future__ import annotations

import atexit
import http.client
import json
import os
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import time
import urllib.error
import urllib.request
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

HERE = Path(__file__).resolve().parent
APPLICATION = "firstsilk.station.wsgi:application"


@cache
def _find_empty_books() -> Path:
    """Where this process keeps books that have all tables and no rows: to make the tables takes seconds each time."""
    folder = Path(tempfile.mkdtemp(prefix="firstsilk-empty-"))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    return folder / "books.sqlite3"


def find_port() -> int:
    """A port that is free now."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@dataclass
class StationServer:
    """A served station. `start` and `kill` may be called in turn as often as wanted."""

    home: Path
    application: str = APPLICATION
    port: int = field(default_factory=find_port)
    extra: dict[str, str] = field(default_factory=dict)
    process: subprocess.Popen[bytes] | None = None

    @property
    def address(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    @property
    def environment(self) -> dict[str, str]:
        paths = os.pathsep.join([str(HERE), os.environ.get("PYTHONPATH", "")])
        settings = {"DJANGO_SETTINGS_MODULE": "firstsilk.station.settings"}
        return {**os.environ, **settings, "FIRSTSILK_HOME": str(self.home), "PYTHONPATH": paths, **self.extra}

    def prepare(self) -> dict[str, object]:
        """Make the books; gives the rows' tags and an enrolment code, which is good for ten minutes."""
        script = [sys.executable, str(HERE / "prepare_books.py"), str(_find_empty_books())]
        done = subprocess.run(script, env=self.environment, capture_output=True, text=True, check=False)
        assert done.returncode == 0, done.stderr
        return json.loads(done.stdout)

    def run(self, script: str) -> str:
        """Run a few lines with the station's books open."""
        opening = "import django; django.setup()\n"
        environment = {**self.environment, "DJANGO_SETTINGS_MODULE": "firstsilk.station.settings"}
        done = subprocess.run(
            [sys.executable, "-c", opening + script], env=environment, capture_output=True, text=True, check=False
        )
        assert done.returncode == 0, done.stderr
        return done.stdout

    def start(self) -> None:
        """Serve in a process group of its own, and wait until it answers."""
        command = [sys.executable, "-m", "granian", "--interface", "wsgi", self.application]
        command += ["--host", "127.0.0.1", "--port", str(self.port), "--no-ws", "--log-level", "critical"]
        self.process = subprocess.Popen(
            command, env=self.environment, start_new_session=True, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE
        )
        deadline = time.monotonic() + 30
        while time.monotonic() < deadline:
            try:
                with urllib.request.urlopen(f"{self.address}/pocket/manifest.json", timeout=5):
                    return
            except (OSError, http.client.HTTPException):
                assert self.process.poll() is None, self.process.stderr.read()
                time.sleep(0.02)
        raise AssertionError("the server did not answer within 30 s")

    def kill(self, sign: signal.Signals = signal.SIGKILL) -> None:
        """End the whole process group at once."""
        if self.process is None:
            return
        os.killpg(self.process.pid, sign)
        self.process.wait(timeout=10)
        self.process.stderr.close()
        self.process = None

    def send(self, path: str, body: object = None, token: str = "") -> tuple[int, dict[str, object]]:
        """One request to the sync door; gives status and answer."""
        headers = {"Content-Type": "application/json"}
        if token:
            headers["Authorization"] = f"Bearer {token}"
        data = None if body is None else json.dumps(body).encode()
        request = urllib.request.Request(f"{self.address}/pocket/api/v1/{path}", data=data, headers=headers)
        try:
            with urllib.request.urlopen(request, timeout=10) as answer:
                return answer.status, json.load(answer)
        except urllib.error.HTTPError as no:
            with no:
                return no.code, json.load(no)


@dataclass
class WarmServer(StationServer):
    """A served station that is loaded once and then starts within milliseconds (see `warm_server`)."""

    loaded: subprocess.Popen[str] | None = None
    copy: int = 0

    def start(self) -> None:
        """Let a new process listen; requests wait for it in the meantime."""
        if self.loaded is None:
            self.loaded = subprocess.Popen(
                [sys.executable, str(HERE / "warm_server.py"), self.application, str(self.port)],
                env=self.environment,
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL,
                text=True,
            )
            assert self.loaded.stdout.readline() == "loaded\n"
        self.loaded.stdin.write("start\n")
        self.loaded.stdin.flush()
        self.copy = int(self.loaded.stdout.readline())

    def kill(self, sign: signal.Signals = signal.SIGKILL) -> None:
        """End the whole process group at once, and wait until it is gone."""
        if not self.copy:
            return
        os.killpg(self.copy, sign)
        deadline = time.monotonic() + 10
        while _lives(self.copy):
            assert time.monotonic() < deadline, "the server does not end"
            time.sleep(0.001)
        self.copy = 0

    def close(self) -> None:
        """End the server and the process that made it."""
        try:
            self.kill()
        except ProcessLookupError:
            self.copy = 0
        if self.loaded is not None:
            self.loaded.stdin.close()
            self.loaded.stdout.close()
            self.loaded.wait(timeout=10)
            self.loaded = None


def _lives(process: int) -> bool:
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    return True
