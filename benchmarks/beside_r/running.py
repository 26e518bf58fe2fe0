"""Runs a case in turn with our engine and with other programs, each in a process of its own, on the same file."""

from __future__ import annotations

import os
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass, field
from pathlib import Path

from .cases import Case, Peer
from .simulating import write_records

HERE = Path(__file__).parent
ABSENT = 3
Said = dict[str, str]


@dataclass(frozen=True, slots=True)
class Programs:
    """Where the other programs are: the command of R, and a Python that has statsmodels; None where there is none."""

    rscript: str | None
    statsmodels: str | None

    def command(self, peer: Peer, folder: Path) -> list[str] | None:
        """How to run a peer on the records in a folder."""
        with_what = self.statsmodels if peer.script.endswith(".py") else self.rscript
        files = [str(folder / "records.csv"), str(folder / "small.csv")]
        return [with_what, str(HERE / peer.script), *files, *peer.words] if with_what else None

    def why_not(self, peer: Peer) -> str:
        """Why a peer was left out."""
        if peer.script.endswith(".py"):
            return f"{peer.name} was left out: no Python that has it was named (--statsmodels PYTHON)"
        return f"{peer.name} was left out: there is no Rscript here"


def find_programs(statsmodels: str | None = None) -> Programs:
    """The Rscript on the path, if any."""
    return Programs(shutil.which("Rscript"), statsmodels)


@dataclass(slots=True)
class Outcome:
    """What all programs said of one case, run by run; why some did not take part."""

    case: Case
    ours: list[Said] = field(default_factory=list)
    peers: dict[str, list[Said]] = field(default_factory=dict)
    reasons: list[str] = field(default_factory=list)
    not_built: bool = False

    def median(self, runs: list[Said], key: str) -> float | None:
        """The median of a number over runs; None where it was not said."""
        found = [float(run[key]) for run in runs if run.get(key, "NA") != "NA"]
        return statistics.median(found) if found else None

    def of_ours(self, key: str) -> float | None:
        """The median of one of our numbers."""
        return self.median(self.ours, key)

    def of_peer(self, key: str) -> float | None:
        """The median of a number of the timed peer."""
        timed = next((peer.name for peer in self.case.peers if peer.timed), None)
        return self.median(self.peers.get(timed, []), key) if timed else None

    def best_criterion(self) -> float | None:
        """The lowest criterion of any peer's run."""
        found = [float(run["criterion"]) for runs in self.peers.values() for run in runs if "criterion" in run]
        return min(found) if found else None


def quiet_environment() -> dict[str, str]:
    """The environment of every program: one thread, the same words for numbers."""
    one = dict.fromkeys(("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS", "BLIS_NUM_THREADS"), "1")
    return {**os.environ, **one, "LC_ALL": "C.UTF-8"}


def _listen(command: list[str], environment: dict[str, str], limit: float) -> tuple[int, Said, str]:
    """Run a command in the folder above this one; its status, the key=value lines it said, and its last complaint."""
    try:
        done = subprocess.run(
            command, cwd=HERE.parent, env=environment, capture_output=True, text=True, timeout=limit, check=False
        )
    except subprocess.TimeoutExpired:
        return 1, {}, f"was stopped after {limit:.0f} s"
    said = dict(line.split("=", 1) for line in done.stdout.splitlines() if "=" in line)
    return done.returncode, said, (done.stderr.strip().splitlines() or ["no reason given"])[-1]


def run_case(case: Case, programs: Programs, runs: int, limit: float = 1_800.0) -> Outcome:
    """Run ours and the peers in turn, so many times.

    A peer that is absent or fails is left out with the reason; a failure of ours is an error.
    """
    outcome = Outcome(case)
    with tempfile.TemporaryDirectory(prefix="firstsilk-beside-") as name:
        folder = Path(name)
        write_records(case.lay(), folder / "records.csv")
        write_records(case.small(), folder / "small.csv")
        waiting = list(case.peers)
        for at in range(runs):
            status, said, why = _listen(
                [sys.executable, "-m", f"{__package__}.ours", case.name, name], _with_path(quiet_environment()), limit
            )
            if status:
                raise RuntimeError(f"{case.name}: our own fit failed: {why}")
            if "not_built" in said:
                outcome.not_built = True
                return outcome
            outcome.ours.append(said)
            for peer in [one for one in waiting if at == 0 or not one.once]:
                if not _run_peer(outcome, peer, programs, folder, limit):
                    waiting.remove(peer)
    return outcome


def _with_path(environment: dict[str, str]) -> dict[str, str]:
    """Where this package can be imported under the name that it has now."""
    root = HERE.parents[len(__package__.split(".")) - 1] if __package__ else HERE.parent
    return {**environment, "PYTHONPATH": os.pathsep.join([str(root), *filter(None, [environment.get("PYTHONPATH")])])}


def _run_peer(outcome: Outcome, peer: Peer, programs: Programs, folder: Path, limit: float) -> bool:
    """One run of a peer; False if it takes no further part."""
    command = programs.command(peer, folder)
    if command is None:
        outcome.reasons.append(programs.why_not(peer))
        return False
    status, said, why = _listen(command, quiet_environment(), limit)
    if status == ABSENT and "absent" in said:
        outcome.reasons.append(f"{peer.name} was left out: {said['absent']} is not installed")
        return False
    if status:
        outcome.reasons.append(f"{peer.name} failed: {why}")
        return False
    outcome.peers.setdefault(peer.name, []).append(said)
    return True


def describe_beside(path: str) -> str:
    """What a library of R says of itself, asked in a process with R's settings."""
    code = (
        f"import sys; from {__package__}.blas import describe_library; print('told=' + describe_library(sys.argv[1]))"
    )
    _, said, _ = _listen([sys.executable, "-c", code, path], _with_path(quiet_environment()), 60.0)
    return said.get("told", "unknown")


def run_cold(case: Case) -> tuple[float, float]:
    """Seconds of a first fit where nothing was compiled before, and of the same in the next process."""
    with tempfile.TemporaryDirectory(prefix="firstsilk-cold-") as name:
        folder = Path(name)
        write_records(case.small(), folder / "small.csv")
        write_records(case.lay(), folder / "records.csv")
        environment = {**_with_path(quiet_environment()), "NUMBA_CACHE_DIR": str(folder / "compiled")}
        took = []
        for _ in range(2):
            begun = time.perf_counter()
            status, said, why = _listen(
                [sys.executable, "-m", f"{__package__}.ours", case.name, name], environment, 600.0
            )
            if status:
                raise RuntimeError(f"first fit failed: {why}")
            # The whole process less the second fit of it: starting, importing, compiling, fitting the small records.
            took.append(time.perf_counter() - begun - float(said["seconds"]))
        return took[0], took[1]
