"""Do the doors run without a station: no books, no settings, no home folder, no Django?"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
DOORS = (
    "crew",
    "pollen-window",
    "heat",
    "frost",
    "ripen",
    "forecast",
    "kin",
    "pedigree",
    "markers",
    "marker-identity",
    "marker-parents",
    "marker-kin",
    "predict-lines",
    "design",
    "fit",
    "compare-models",
    "fit-traits",
    "genetic-correlation",
    "two-stage",
    "stability",
    "ability",
    "seed",
    "pollinations-needed",
    "plants-needed",
    "kernels-needed",
)


@pytest.mark.parametrize("door", DOORS)
def test_door_runs_without_a_station(door: str, tmp_path: Path) -> None:
    folder = tmp_path / door
    shutil.copytree(EXAMPLES / door, folder)
    (line,) = (text for text in (folder / "command.txt").read_text().splitlines() if text.strip())
    import shlex

    arguments = shlex.split(line)[1:]
    code = (
        "import sys; from firstsilk.faces.command.main import run;"
        f"code = run({arguments!r});"
        "print('django' in sys.modules, file=sys.stderr); sys.exit(code)"
    )
    bare = {name: value for name, value in os.environ.items() if name in ("PATH", "PYTHONPATH", "LD_LIBRARY_PATH")}
    done = subprocess.run(
        [sys.executable, "-c", code],
        cwd=folder,
        env={**bare, "HOME": str(tmp_path / "nobody"), "FIRSTSILK_HOME": str(tmp_path / "none")},
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert done.stderr.splitlines()[-1] == "False"
    assert not (tmp_path / "none").exists()
    assert not (tmp_path / "nobody").exists()
