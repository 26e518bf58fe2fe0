"""Do workers give every answer in order, lose only what is lost, and end?"""

from __future__ import annotations

import multiprocessing
import os
import subprocess
import sys
import time
from pathlib import Path

import pytest

from firstsilk.answers import InputRefused
from firstsilk.work.analysis.workers import Done, Here, Lost, Processes, Workers, find_workers
from tests.worker_tasks import do_task


@pytest.mark.parametrize("workers", [Here(), Processes(2)], ids=["here", "processes"])
def test_answers_come_in_order_and_a_task_that_goes_wrong_stops_no_other(workers: Workers) -> None:
    told: list[tuple[int, int]] = []
    tasks = ["a", "refuse", "b", "fail", "c"]
    answers = workers.spread(do_task, tasks, lambda done, of: told.append((done, of)))
    assert answers == [
        Done("A"),
        Lost("not_today", "This task is refused."),
        Done("B"),
        Lost("fault", "The computation failed: ZeroDivisionError: by nothing"),
        Done("C"),
    ]
    assert told == [(done, 5) for done in range(1, 6)]


def test_a_worker_that_dies_loses_its_own_task_only() -> None:
    answers = Processes(2).spread(do_task, ["a", "b", "die", "c", "die", "d"])
    assert [answers[at] for at in (0, 1, 3, 5)] == [Done("A"), Done("B"), Done("C"), Done("D")]
    for at in (2, 4):
        lost = answers[at]
        assert isinstance(lost, Lost)
        assert lost.code == "worker_died"


def test_a_task_that_never_ends_is_given_up_and_no_worker_is_left() -> None:
    before = set(multiprocessing.active_children())
    begun = time.monotonic()
    answers = Processes(2, limit_s=3.0).spread(do_task, ["a", "sleep"])
    assert answers[0] == Done("A")
    assert isinstance(answers[1], Lost)
    assert answers[1].code == "too_slow"
    assert time.monotonic() - begun < 60
    assert set(multiprocessing.active_children()) == before


def test_who_stops_the_work_leaves_no_worker() -> None:
    before = set(multiprocessing.active_children())

    def stop(done: int, of: int) -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        Processes(2).spread(do_task, ["a", "sleep", "sleep"], stop)
    assert set(multiprocessing.active_children()) == before


KILLED = """
import multiprocessing, threading, time
from firstsilk.work.analysis.workers import Processes
from tests.worker_tasks import do_task

if __name__ == "__main__":
    threading.Thread(target=lambda: Processes(2).spread(do_task, ["sleep", "sleep"]), daemon=True).start()
    while len(multiprocessing.active_children()) < 2:
        time.sleep(0.05)
    print(*[child.pid for child in multiprocessing.active_children()], flush=True)
    time.sleep(600)
"""


def is_alive(pid: int) -> bool:
    stat = Path(f"/proc/{pid}/stat")
    return stat.exists() and stat.read_text(encoding="utf-8").rpartition(")")[2].split()[0] != "Z"


@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="only Linux tells of other processes in /proc")
def test_workers_of_a_process_that_was_killed_end_by_themselves(tmp_path: Path) -> None:
    script = tmp_path / "killed.py"
    script.write_text(KILLED, encoding="utf-8")
    root = Path(__file__).parents[2]
    paths = {**os.environ, "PYTHONPATH": f"{root}{os.pathsep}{root / 'src'}"}
    with subprocess.Popen([sys.executable, str(script)], cwd=root, env=paths, stdout=subprocess.PIPE, text=True) as one:
        assert one.stdout is not None
        workers = [int(pid) for pid in one.stdout.readline().split()]
        assert len(workers) == 2
        time.sleep(2.0)  # until both have begun
        one.kill()
        one.wait(30)
    until = time.monotonic() + 30
    while any(is_alive(pid) for pid in workers) and time.monotonic() < until:
        time.sleep(0.1)
    assert not any(is_alive(pid) for pid in workers)


def test_workers_have_one_thread_and_the_caller_keeps_its_own(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("OPENBLAS_NUM_THREADS", "7")
    assert Processes(2).spread(do_task, ["threads"]) == [Done("1")]
    assert os.environ["OPENBLAS_NUM_THREADS"] == "7"


def test_no_tasks_need_no_answers() -> None:
    assert Processes(2).spread(do_task, []) == []


def test_the_workers_asked_for_are_found() -> None:
    assert find_workers(1) == Here()
    assert find_workers(3) == Processes(3)
    with pytest.raises(InputRefused, match="at least one worker"):
        find_workers(0)


def test_a_cluster_without_its_package_is_refused_by_how_to_install_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("importlib.util.find_spec", lambda name: None)
    with pytest.raises(InputRefused, match=r"pip install 'firstsilk\[cluster\]'"):
        find_workers(2, "local")
