"""Is stage one of a series of 200 trials the same to the last byte in one process, in two, and on a cluster?"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
SCRIPT = """
import hashlib, json, sys
from benchmarks.series import lay_series
from firstsilk.work.analysis.clusters import Cluster
from firstsilk.work.analysis.staged_series import fit_trial, split_trials
from firstsilk.work.analysis.workers import Done, Here, Processes

if __name__ == "__main__":
    data, one, two = lay_series(200)
    tasks = split_trials(data, one, two, "trial")
    told = {}
    for name, workers in (("here", Here()), ("two", Processes(2)), ("cluster", Cluster("local", 2))):
        answers = workers.spread(fit_trial, tasks)
        digest = hashlib.sha256()
        for answer in answers:
            assert isinstance(answer, Done), answer
            stage = answer.value
            digest.update(repr((stage.trial, stage.levels, stage.variances)).encode())
            digest.update(stage.means.tobytes() + stage.covariance.tobytes() + stage.weights.tobytes())
        told[name] = [len(answers), digest.hexdigest()]
    print(json.dumps(told))
"""


def test_200_trials_give_the_same_bytes_whoever_does_them(tmp_path: Path) -> None:
    pytest.importorskip("distributed", reason="firstsilk[cluster] is not installed")
    script = tmp_path / "series_of_200.py"
    script.write_text(SCRIPT, encoding="utf-8")
    paths = os.pathsep.join([str(ROOT), str(ROOT / "src")])
    environment = {**os.environ, "PYTHONPATH": paths, "OPENBLAS_NUM_THREADS": "1"}
    done = subprocess.run(
        [sys.executable, str(script)],
        cwd=ROOT,
        env=environment,
        capture_output=True,
        text=True,
        timeout=900,
        check=False,
    )
    assert done.returncode == 0, done.stderr[-2000:]
    told = json.loads(done.stdout)
    assert [count for count, _ in told.values()] == [200, 200, 200]
    assert len({digest for _, digest in told.values()}) == 1
