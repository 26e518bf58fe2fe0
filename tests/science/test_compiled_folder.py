"""Where does compiled code go, and does nothing but a compiled sum load the compiler?"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from firstsilk.compiling import FOLDER, SETTING, choose_compiled_folder

PACKAGE = Path("/opt/firstsilk")
HOME = Path("/srv/station")


TOLD = """
import os, pathlib, firstsilk.compiling as compiling
os.environ.pop(compiling.SETTING, None)
home = pathlib.Path({home!r})
folder = compiling.choose_compiled_folder(
    {{"FIRSTSILK_HOME": str(home)}}, pathlib.Path("/nowhere"), lambda one: {home_is_writable} and one == home
)
os.environ[compiling.SETTING] = str(folder)
from firstsilk.science.climate.own_heat import find_days_by_own_heat
print(find_days_by_own_heat([[10.0] * 4], [[20.0] * 4], [10.0], [30.0], [0], [15.0]).tolist())
"""


def choose(environment: dict[str, str], *writable: Path) -> Path | None:
    return choose_compiled_folder(environment, PACKAGE, lambda folder: folder in writable)


def test_a_folder_that_was_set_and_a_package_that_can_be_written_are_left_to_numba() -> None:
    assert choose({SETTING: "/var/cache/mine"}) is None
    assert choose({"FIRSTSILK_HOME": str(HOME)}, PACKAGE, HOME) is None


def test_a_read_only_install_takes_the_station_home_then_the_users_then_a_new_folder() -> None:
    environment = {"FIRSTSILK_HOME": str(HOME), "HOME": "/home/grower"}
    assert choose(environment, HOME, Path("/home/grower")) == HOME.absolute() / FOLDER
    assert choose(environment, Path("/home/grower")) is None
    first, second = choose(environment), choose(environment)
    assert first is not None
    assert first != second
    assert not first.exists()


@pytest.mark.parametrize("kept_in", ["home", "temporary"])
def test_a_sum_compiles_where_neither_package_nor_home_can_be_written(tmp_path, kept_in) -> None:
    told = TOLD.format(home=str(tmp_path), home_is_writable=kept_in == "home")
    environment = {**os.environ, "TMPDIR": str(tmp_path / "tmp")}
    (tmp_path / "tmp").mkdir()
    done = subprocess.run(
        [sys.executable, "-c", told], env=environment, capture_output=True, text=True, timeout=120, check=False
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout == "[[3]]\n"
    kept = tmp_path / FOLDER if kept_in == "home" else next((tmp_path / "tmp").glob("firstsilk-compiled-*"))
    assert list(kept.rglob("*.nbi"))


def test_help_a_heat_sum_and_the_pages_do_not_load_the_compiler() -> None:
    told = (
        "import os, sys; os.environ.setdefault('DJANGO_SETTINGS_MODULE', 'tests.settings');"
        "from firstsilk.faces.command.main import run; run(['heat', '--help']);"
        "import django; django.setup(); import firstsilk.faces.pages.urls;"
        "print('numba' in sys.modules, file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", told], capture_output=True, text=True, timeout=120, check=False)
    assert done.returncode == 0, done.stderr
    assert done.stderr.splitlines()[-1] == "False"
