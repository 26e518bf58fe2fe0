"""Is a series of trials analysed in two stages the same whoever does stage one, and is no trial lost unsaid?"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from firstsilk.answers import InputRefused
from firstsilk.science.analysis.models import Model, RandomTerm
from firstsilk.work.analysis.staged_series import SeriesFit, fit_series, split_trials
from firstsilk.work.analysis.workers import Processes, Workers

Data = dict[str, list[object]]
FIRST = Model("y", (("line",),), (RandomTerm(("block",)),), genotype="line")
SECOND = Model("y", (("trial",),), (RandomTerm(("line",)), RandomTerm(("line", "trial"))), genotype="line")


def lay_series(seed: int, trials: int, lines: int = 12) -> Data:
    """Trials of two replicates in three blocks each; every line stands in about two thirds of them."""
    dice = np.random.default_rng(seed)
    worth = dice.normal(0, 1, lines)
    data: Data = {"trial": [], "block": [], "line": [], "year": [], "y": []}
    for t in range(trials):
        here = np.flatnonzero(dice.random(lines) < 0.67)
        for rep in range(2):
            shift = dice.normal(0, 0.5, 3)
            for place, k in enumerate(dice.permutation(here)):
                y = dice.normal(0, 1) * 0.7 + t / 10 + shift[place % 3] + worth[k]
                row = (t + 1, f"{rep}{place % 3}", f"L{k:02d}", 2030 + t % 2, y)
                for name, cell in zip(data, row, strict=True):
                    data[name].append(cell)
    return data


def print_of(found: SeriesFit) -> tuple[object, ...]:
    """All that a series says, exactly."""
    stages = [(s.trial, s.levels, s.means.tobytes(), s.covariance.tobytes(), s.variances) for s in found.stages]
    return (*stages, found.second.fit.random, found.second.fit.means, found.second.fit.variances, found.second.tests)


def test_trials_stand_in_the_order_of_their_numbers() -> None:
    tasks = split_trials(lay_series(1, 11), FIRST, SECOND, "trial")
    assert [task.trial for task in tasks] == [str(t) for t in range(1, 12)]


@pytest.mark.parametrize("weighting", ["full", "diagonal"])
def test_two_processes_give_the_bytes_of_one(weighting: str) -> None:
    data = lay_series(2, 8)
    told: list[tuple[int, int]] = []
    here = fit_series(data, FIRST, SECOND, weighting=weighting)  # type: ignore[arg-type]
    there = fit_series(
        data,
        FIRST,
        SECOND,
        weighting=weighting,  # type: ignore[arg-type]
        workers=Processes(2),
        progress=lambda done, of: told.append((done, of)),
    )
    assert print_of(here) == print_of(there)
    assert told == [(done, 8) for done in range(1, 9)]
    assert here.left_out == ()


def with_bad_trial(trials: int) -> Data:
    data = lay_series(3, trials)
    data["y"] = [5.0 if t == 2 else y for t, y in zip(data["trial"], data["y"], strict=True)]
    return data


@pytest.mark.parametrize("workers", [None, Processes(2)], ids=["here", "processes"])
def test_a_trial_that_cannot_be_fitted_stops_the_series_by_name_or_is_left_out_and_listed(
    workers: Workers | None,
) -> None:
    data = with_bad_trial(5)
    with pytest.raises(InputRefused, match=r"1 of 5 trials could not be fitted \(2: "):
        fit_series(data, FIRST, SECOND, workers=workers)
    found = fit_series(data, FIRST, SECOND, workers=workers, leave_out=True)
    assert [stage.trial for stage in found.stages] == ["1", "3", "4", "5"]
    ((trial, lost),) = found.left_out
    assert (trial, lost.code) == ("2", "no_variation")


def test_a_column_of_the_trials_goes_on_to_stage_two() -> None:
    second = Model("y", (("year",),), (RandomTerm(("line",)), RandomTerm(("trial",))))
    found = fit_series(lay_series(4, 6), FIRST, second)
    assert [line.level for line in found.second.fit.means if line.term == "year"] == ["2030", "2031"]


def test_stages_that_do_not_follow_each_other_are_refused() -> None:
    data = lay_series(5, 3)
    with pytest.raises(InputRefused, match="names no genotype"):
        fit_series(data, Model("y", (("line",),)), SECOND)
    with pytest.raises(InputRefused, match="'y' and stage two 'z'"):
        fit_series(data, FIRST, Model("z"))
    with pytest.raises(InputRefused, match="no column 'place'"):
        fit_series(data, FIRST, SECOND, "place")
    data["trial"][4] = ""
    with pytest.raises(InputRefused, match="record 5: the trial is missing"):
        fit_series(data, FIRST, SECOND)


ON_CLUSTER = """
import json, sys
from tests.work.test_staged_series import FIRST, SECOND, lay_series, print_of
from firstsilk.work.analysis.clusters import Cluster
from firstsilk.work.analysis.staged_series import fit_series
from tests.worker_tasks import do_task

if __name__ == "__main__":
    data = lay_series(6, 10)
    same = print_of(fit_series(data, FIRST, SECOND)) == print_of(
        fit_series(data, FIRST, SECOND, workers=Cluster("local", 2))
    )
    odd = Cluster("local", 2).spread(do_task, ["a", "refuse", "fail", "die", "b"])
    odd += Cluster("local", 1, limit_s=3.0).spread(do_task, ["c", "sleep"])
    print(json.dumps({"same": same, "odd": [getattr(o, "value", None) or o.code for o in odd]}))
"""


def run_script(text: str, tmp_path: Path) -> subprocess.CompletedProcess[str]:
    """A script of its own process, from the project's folder."""
    script = tmp_path / "on_cluster.py"
    script.write_text(text, encoding="utf-8")
    root = Path(__file__).parents[2]
    environment = {**os.environ, "PYTHONPATH": f"{root}{os.pathsep}{root / 'src'}", "OPENBLAS_NUM_THREADS": "1"}
    return subprocess.run(
        [sys.executable, str(script)],
        cwd=root,
        env=environment,
        capture_output=True,
        text=True,
        timeout=240,
        check=False,
    )


def test_a_local_cluster_gives_the_bytes_of_one_process_and_never_hangs(tmp_path: Path) -> None:
    pytest.importorskip("distributed", reason="firstsilk[cluster] is not installed")
    done = run_script(ON_CLUSTER, tmp_path)
    assert done.returncode == 0, done.stderr[-2000:]
    answer = json.loads(done.stdout)
    assert answer["same"] is True
    assert answer["odd"] == ["A", "not_today", "fault", "worker_died", "B", "C", "too_slow"]


SILENT = """
from firstsilk.work.analysis import clusters
from firstsilk.answers import InputRefused
clusters.MEETING_S = 2.0
if __name__ == "__main__":
    try:
        clusters.Cluster("tcp://127.0.0.1:9").spread(str, [1])
    except InputRefused as no:
        print(no)
"""


def test_a_cluster_that_does_not_answer_is_refused_by_a_sentence(tmp_path: Path) -> None:
    pytest.importorskip("distributed", reason="firstsilk[cluster] is not installed")
    done = run_script(SILENT, tmp_path)
    assert "No Dask scheduler answers at tcp://127.0.0.1:9" in done.stdout, done.stderr[-2000:]
